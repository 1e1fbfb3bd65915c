"""Everything that knows HTTP: one thin module per resource, reading bodies, writing answers and problems."""

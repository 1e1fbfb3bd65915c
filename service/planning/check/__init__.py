"""A check (POST /v1/warnings): what people intend, seen against every rule that there is a warning for."""

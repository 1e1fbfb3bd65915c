"""A plain aim under many courses of markets: what holds on all of them, and how far they differ."""

"""POST /v1/lump-sum-timing as JSON."""

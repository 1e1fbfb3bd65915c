"""POST /v1/withdrawal-tax as JSON."""

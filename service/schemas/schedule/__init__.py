"""POST /v1/allowance-schedule as JSON."""

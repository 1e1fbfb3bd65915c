"""POST /v1/warnings and GET /v1/warning-codes as JSON."""

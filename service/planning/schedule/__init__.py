"""A schedule (POST /v1/allowance-schedule): what to draw and subscribe in each tax year."""

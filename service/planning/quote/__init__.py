"""A quote (POST /v1/withdrawal-tax): one withdrawal, one person, one tax year."""

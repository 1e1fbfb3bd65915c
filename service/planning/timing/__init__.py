"""Timing (POST /v1/lump-sum-timing): ways to take the tax-free lump sum, side by side."""

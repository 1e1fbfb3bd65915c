"""Measurements of the service: how fast it answers, what the rules cost, how soon it starts. Not run by pytest."""

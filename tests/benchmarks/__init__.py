"""Measurements of the service: how fast it answers, what the rules cost, how soon it starts. Pytest runs them at
their smallest only, to see that they run."""

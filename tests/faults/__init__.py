"""Faults brought about on purpose, under load, with a count of the requests that are lost. Pytest runs each at its smallest."""

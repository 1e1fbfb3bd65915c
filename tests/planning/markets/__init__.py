"""Plans on many courses of markets."""

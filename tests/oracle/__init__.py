"""A second, independent and deliberately slow way of computing the tax, kept apart from the service."""

"""Published worked examples as data, and the tests that put them to the service."""

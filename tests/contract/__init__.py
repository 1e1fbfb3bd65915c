"""Tests that hold the service to its agreement, openapi/openapi.yaml, and the agreement to the service."""

"""Requests and answers as JSON: strict marshmallow schemas in, plain dictionaries out."""

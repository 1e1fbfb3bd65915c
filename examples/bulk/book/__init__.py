"""A book of clients: read from a file, sent in chunks, saved part by part, joined at the end."""

"""The command for people at a terminal: it asks the service inside this process, and prints the answer as a page."""

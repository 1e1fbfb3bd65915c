"""The agreement, as the file that is served: ``openapi.yaml``."""

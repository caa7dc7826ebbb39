"""The HTTP API and the pages."""

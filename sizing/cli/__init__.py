"""The cli layer."""

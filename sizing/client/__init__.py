"""The client layer."""

"""The survey layer."""

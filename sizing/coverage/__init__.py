"""The coverage layer."""

"""The fit layer."""

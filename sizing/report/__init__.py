"""The report layer."""

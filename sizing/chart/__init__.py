"""The chart layer."""

"""The teaching layer."""

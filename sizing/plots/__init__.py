"""The plots layer."""

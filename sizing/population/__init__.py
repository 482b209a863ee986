"""The population layer."""

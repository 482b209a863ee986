"""The stock layer."""

"""Figures with provenance, and the scripts that derived them."""

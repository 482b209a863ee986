"""The banding layer."""

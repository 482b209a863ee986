"""The study of nine sizes: what it works out, and its files."""

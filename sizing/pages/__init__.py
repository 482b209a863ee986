"""Printable pages: results in, HTML out."""

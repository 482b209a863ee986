"""Tests of the printable pages."""

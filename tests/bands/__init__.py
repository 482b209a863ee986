"""Tests of bands."""

"""Tests of coverage."""

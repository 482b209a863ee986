"""Tests of lesson."""

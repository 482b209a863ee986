"""Tests of stats."""

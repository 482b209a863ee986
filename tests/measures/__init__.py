"""Tests of measures."""

"""Tests of charts."""

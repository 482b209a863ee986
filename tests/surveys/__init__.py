"""Tests of surveys."""

"""Estimates from survey samples: each formula once, arrays in and arrays out."""

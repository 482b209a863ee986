"""Broken files of every kind the kit reads, made by code, and what becomes of them."""

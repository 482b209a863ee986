"""The notebooks, which ``python -m sizing lab`` lays in a folder of the user's."""

"""The notebooks, which ``sizing lab`` lays in a folder of the user's."""

"""What is said of results, in plain words."""

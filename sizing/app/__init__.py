"""What runs in a browser on this machine: the user's own state, and servers."""

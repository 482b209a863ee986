"""What mutates the code is no test, and its library need not be installed."""

collect_ignore_glob = ["*.py"]

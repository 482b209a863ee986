"""Entry point of ``python -m sizing``."""

import sys

from sizing.cli.main import main

if __name__ == "__main__":
    sys.exit(main())

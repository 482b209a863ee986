"""Entry point of ``python -m sizing``, for where ``sizing`` is not on the path."""

import sys

from sizing.cli.main import main

if __name__ == "__main__":
    sys.exit(main())

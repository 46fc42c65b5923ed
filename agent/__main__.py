"""`python -m agent` is `millpond`."""

import sys

from agent.cli import main

if __name__ == "__main__":
    sys.exit(main())

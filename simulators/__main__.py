"""`python -m simulators` is `millpond-sim`."""

import sys

from simulators.cli import main

if __name__ == "__main__":
    sys.exit(main())

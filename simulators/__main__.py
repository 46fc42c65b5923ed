"""The command line, as ``python -m simulators``."""

from simulators.cli import main

if __name__ == "__main__":
    raise SystemExit(main())

"""The command line, as ``python -m simulators``."""

from simulators.cli import main

raise SystemExit(main())

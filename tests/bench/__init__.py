"""What things cost, measured: `make bench`. Never asserted, never in the tests' way."""

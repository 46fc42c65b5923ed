"""A plant to test against. Takes units and geometry from `advisor`, never its judgement."""

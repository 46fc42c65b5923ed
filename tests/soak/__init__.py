"""A long time of a plant in a short one, with everything that can fail failing at random."""

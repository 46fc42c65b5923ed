"""Seeded randomness: one stream for each source, so that a new source changes no other."""

from zlib import crc32

import numpy as np

_BLOCK = 512


def root_of(name: str, seed: int) -> int:
    """Seed of everything in a scenario of that name."""
    return (crc32(name.encode()) << 64) + seed


class Draws:
    """One stream of random numbers, named by what it is for.

    Numbers are drawn from the generator in blocks: single draws cost twenty times as much.
    """

    def __init__(self, generator: np.random.Generator) -> None:
        self._normal_source, self._uniform_source = generator.spawn(2)
        self._normals: list[float] = []
        self._uniforms: list[float] = []

    @classmethod
    def named(cls, seed: int, *names: str) -> "Draws":
        """Stream of this seed for the source with these names, the same on every machine."""
        keys = [crc32(name.encode()) for name in names]
        return cls(np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *keys]))))

    def normal(self) -> float:
        """Standard normal. [1]"""
        if not self._normals:
            self._normals = self._normal_source.standard_normal(_BLOCK).tolist()
        return self._normals.pop()

    def uniform(self) -> float:
        """Evenly between 0 and 1. [1]"""
        if not self._uniforms:
            self._uniforms = self._uniform_source.random(_BLOCK).tolist()
        return self._uniforms.pop()

    def between(self, low: float, high: float) -> float:
        """Evenly between two values, in their unit."""
        return low + (high - low) * self.uniform()

    def around(self, mean: float, sd: float) -> float:
        """Normal about a mean, in its unit."""
        return mean + sd * self.normal()

    def waiting(self, mean: float) -> float:
        """Exponential waiting time, in the unit of its mean."""
        return -mean * float(np.log1p(-self.uniform()))

    def chance(self, share: float) -> bool:
        """Say yes in this share of the cases."""
        return self.uniform() < share

"""Hypothesis strategies, built of the words of the code: tanks and what stands in them."""

from hypothesis import strategies as st

from advisor.geometry import Box, LyingCylinder, Table, Tank, UprightCylinder, capacity, height

LENGTHS = st.floats(50.0, 5000.0)
"""Of a tank's side. [mm]"""

FRACTIONS = st.floats(0.0, 1.0)


@st.composite
def tables(draw: st.DrawFn, *, flat: bool = True) -> Table:
    """Strapping tables of two to eight rows; `flat` allows volumes that stay the same."""
    steps = draw(st.lists(st.floats(1.0, 500.0), min_size=1, max_size=7))
    least = 0.0 if flat else 0.01
    rises = [draw(st.floats(least, 300.0)) for _ in steps]
    rises[draw(st.integers(0, len(rises) - 1))] = draw(st.floats(1.0, 300.0))
    depth, volume = [0.0], [draw(st.sampled_from([0.0, 3.5]))]
    for step, rise in zip(steps, rises, strict=True):
        depth.append(depth[-1] + step)
        volume.append(volume[-1] + rise)
    return Table(depth=tuple(depth), volume=tuple(volume))


def tanks(*, flat: bool = True) -> st.SearchStrategy[Tank]:
    """Tanks of every shape, from a jug to a pit; `flat` allows tables with flat stretches."""
    return st.one_of(
        st.builds(Box, length=LENGTHS, width=LENGTHS, height=LENGTHS),
        st.builds(UprightCylinder, diameter=LENGTHS, height=LENGTHS),
        st.builds(LyingCylinder, diameter=LENGTHS, length=LENGTHS),
        tables(flat=flat),
    )


@st.composite
def tanks_with_depth(draw: st.DrawFn, *, flat: bool = True) -> tuple[Tank, float]:
    """A tank, and a depth that fluid can have in it. [mm]"""
    tank = draw(tanks(flat=flat))
    return tank, draw(FRACTIONS) * height(tank)


@st.composite
def tanks_with_volume(draw: st.DrawFn) -> tuple[Tank, float]:
    """A tank, and a volume that it can hold. [L]"""
    tank = draw(tanks())
    least = tank.volume[0] if isinstance(tank, Table) else 0.0
    return tank, min(least + draw(FRACTIONS) * (capacity(tank) - least), capacity(tank))

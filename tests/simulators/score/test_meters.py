"""What went through the make-up meters, as the yardstick books it."""

import numpy as np
import pytest

from simulators.instants import MINUTE
from simulators.score import places as p
from simulators.score.kalman import Gaussian
from simulators.score.meters import Meters
from simulators.score.told import Blemish, Sight
from tests.simulators.floors import plant
from tests.simulators.score.witnesses import BEGIN, made_up, poured

METERED = """
[each.signals.water_meter]
rollover = 1000.0
[each.signals.concentrate_meter]
unit = "gal"
"""


def meters(*blemishes: Blemish) -> Meters:
    """Two meters, water in litres and concentrate in gallons."""
    witness = made_up()
    witness.spec = plant(METERED).scenario.sump[0]
    witness.blemishes = list(blemishes)
    return Meters(witness)


def sight(minute: float, **values: float) -> Sight:
    """Totals read so many minutes after the beginning."""
    at = BEGIN + round(minute * MINUTE)
    return Sight(at, running=False, holdup=0.0, salts=1.0, mixed=True, values=values, spoilt={})


def test_totals_grow_by_what_was_poured():
    """The first total is a beginning; from then on growth is told in litres."""
    both = meters()
    assert both.grown(sight(0, water_meter=990.0, concentrate_meter=5.0)) == []
    assert both.grown(sight(1, water_meter=995.0, concentrate_meter=5.1)) == [
        ("water_meter", pytest.approx(5.0)),
        ("concentrate_meter", pytest.approx(0.3785411784)),
    ]


def test_a_rollover_is_growth():
    """From 995 to 3 at a rollover of 1000 are 8 L."""
    both = meters()
    both.grown(sight(0, water_meter=995.0))
    assert both.grown(sight(1, water_meter=3.0)) == [("water_meter", pytest.approx(8.0))]


def test_a_fall_without_a_rollover_is_nothing():
    """A total that falls where it does not roll over was set back, and says nothing."""
    both = meters()
    both.grown(sight(0, concentrate_meter=5.0))
    assert both.grown(sight(1, concentrate_meter=0.1)) == []


def test_across_a_fault_nothing_is_booked():
    """A meter that was stuck in between begins anew; what is poured meanwhile is not metered."""
    stuck = Blemish("water_meter", "stuck", BEGIN + 5 * MINUTE, BEGIN + 60 * MINUTE)
    both = meters(stuck)
    both.grown(sight(4, water_meter=100.0))
    assert both.grown(sight(61, water_meter=130.0)) == []
    assert both.grown(sight(62, water_meter=131.0)) == [("water_meter", pytest.approx(1.0))]
    assert not both.counts(poured(30, metered=True))
    assert both.counts(poured(120, metered=True))
    assert not both.counts(poured(120, metered=False))


def test_a_booking_carries_the_meters_own_error():
    """100 L on a meter that may be 2 % off are known to 2 L, and teach its gain when seen."""
    both = meters()
    sds = np.zeros(p.SIZE)
    sds[p.WATER_GAIN] = 0.02
    belief = Gaussian(np.zeros(p.SIZE), sds)
    both.book(belief, "water_meter", 100.0)
    volume, sd = belief.sum((p.V,), np.ones(1))
    assert (volume, sd) == (pytest.approx(100.0), pytest.approx(2.0, rel=1e-3))

    belief.read((p.V,), np.ones(1), 98.0, 1e-6)
    assert belief.mean[p.WATER_GAIN] == pytest.approx(0.02, rel=1e-2)

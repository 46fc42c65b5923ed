"""Advice carried out on the true sump."""

import numpy as np
import pytest

from simulators.instants import HOUR
from simulators.score.dosing import pour_all
from simulators.score.published import AdviceWord
from tests.simulators.score.witnesses import BEGIN, made_up


def advice(water: float, concentrate: float, drain: float = 0.0, name: str = "x") -> AdviceWord:
    """An advice given ten hours after the beginning."""
    return AdviceWord(BEGIN + 10 * HOUR, name, "top-up", drain, water, concentrate)


def test_a_top_up_ends_where_arithmetic_says():
    """300 L at 8 % and 45 L of water with 5 L of concentrate: 350 L at 8.29 %, 0.29 % off 8 %."""
    poured = pour_all(made_up(), [advice(45.0, 5.0)])[0]

    assert poured.off_target == pytest.approx(29.0 / 350.0 - 0.08)
    assert poured.fill == pytest.approx(350.0 / 400.0)
    assert poured.in_band
    assert not poured.overfills


def test_oil_fills_the_sump_as_well():
    """With 5 L of oil afloat, 96 L into 300 L run over a brim of 400 L."""
    poured = pour_all(made_up(oil=np.full(2880, 5.0)), [advice(90.0, 6.0)])[0]
    assert poured.overfills


def test_an_exchange_drains_first():
    """100 L out at 8 %, 100 L of water in: 16 L of concentrate in 300 L is out of the band."""
    poured = pour_all(made_up(), [advice(100.0, 0.0, drain=100.0)])[0]

    assert poured.off_target == pytest.approx(16.0 / 300.0 - 0.08)
    assert poured.was_in_band
    assert not poured.in_band


def test_each_advice_is_carried_out_once():
    """Published again under its id it is the same advice."""
    assert len(pour_all(made_up(), [advice(9.0, 1.0), advice(9.0, 1.0)])) == 1
    assert len(pour_all(made_up(), [advice(9.0, 1.0), advice(9.0, 1.0, name="y")])) == 2

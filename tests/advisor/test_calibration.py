"""A reading of a fresh charge: a correction, or a new factor."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from advisor.calibration import Charged, calibrate, correction
from advisor.effects import Mix
from advisor.errors import AdvisorError
from advisor.mixing import blend, mix_of
from advisor.units import GALLON

FRESH = Charged(volume=300.0, strength=0.08, target=0.08, weakest=0.0, strongest=0.20)


def test_a_reading_as_expected_asks_for_nothing():
    """8 % by a factor of 1.25 are 6.4 °Brix; 6.3 is no other to a handheld refractometer."""
    found = calibrate(FRESH, 6.3, 1.25)

    assert found.expected == pytest.approx(6.4)
    assert found.is_as_expected
    assert found.add is None


def test_a_reading_speaks_for_a_factor():
    """8 % that read 6 °Brix: 8 / 6, within a tenth of the data sheet's."""
    found = calibrate(FRESH, 6.0, 1.25)

    assert found.factor == pytest.approx(8 / 6)
    assert found.is_plausible
    assert found.strength == pytest.approx(0.075)


@pytest.mark.parametrize(
    ("reading", "factor", "plausible"),
    [(2.5, 1.25, False), (12.0, 1.25, False), (5.0, None, True), (15.0, None, False)],
)
def test_a_factor_that_no_concentrate_has_is_not_plausible(reading, factor, plausible):
    """Far from the data sheet's; without one, outside what there is."""
    assert calibrate(FRESH, reading, factor).is_plausible is plausible


@settings(max_examples=100)
@given(st.floats(0.02, 0.15), st.floats(0.0, 0.02))
def test_the_correction_leads_to_the_target(strength, weakest):
    """Blended with what is in the sump it gives the target, by the blend's own reckoning."""
    charged = Charged(volume=300.0, strength=0.08, target=0.08, weakest=weakest, strongest=0.20)
    add = correction(charged, strength)

    if add is None:
        assert strength == 0.08
    else:
        mixed = blend(mix_of(300.0, strength), add)
        assert mixed.strength == pytest.approx(0.08)
        assert weakest - 1e-12 <= add.strength <= 0.20 + 1e-12


def test_no_mix_corrects_what_lies_beyond_all_that_may_be_added():
    """A target under the weakest mix, or over the strongest, is reached by none."""
    lean = Charged(volume=300.0, strength=0.08, target=0.22, weakest=0.0, strongest=0.20)
    rich = Charged(volume=300.0, strength=0.08, target=0.01, weakest=0.02, strongest=0.20)

    assert correction(lean, 0.10) is None
    assert correction(rich, 0.05) is None


def test_by_hand():
    """300 L at 7.5 % take 300 x 0.5 / 12 = 12.5 L of 20 % to 8 %."""
    add = correction(FRESH, 0.075)

    assert add is not None
    assert add.volume == pytest.approx(12.5)
    assert add.concentrate == pytest.approx(2.5)


@pytest.mark.parametrize("reading", [0.0, -1.0, 95.0, float("nan")])
def test_a_reading_that_no_charge_has_is_refused(reading):
    """By name."""
    with pytest.raises(AdvisorError, match="reading"):
        calibrate(FRESH, reading, 1.25)


@settings(max_examples=100)
@given(st.floats(0.02, 0.15), st.sampled_from([0.0, 0.01]), st.sampled_from([0.1, 0.5, GALLON / 2]))
def test_a_correction_stands_on_marks(strength, weakest, mark):
    """Whole marks of a mix that may be made; no farther from the target than doing nothing."""
    charged = Charged(
        volume=300.0, strength=0.08, target=0.08, weakest=weakest, strongest=0.20, mark=mark
    )
    add = correction(charged, strength)

    if add is None:
        assert strength == 0.08
        return
    for part in (add.water, add.concentrate):
        assert part / mark == pytest.approx(round(part / mark), abs=1e-6)
    assert weakest - 1e-9 <= add.strength <= 0.20 + 1e-9
    pure = 300.0 * strength + add.concentrate
    assert abs(pure / (300.0 + add.volume) - 0.08) <= max(abs(strength - 0.08), mark / 300.0)


def test_a_correction_in_marks_of_half_a_litre():
    """For 300 L at 7.5 % and 7.6 % the exact amounts stand on marks, at 7.55 % they do not."""
    halves = replace(FRESH, mark=0.5)

    assert correction(halves, 0.075) == Mix(10.0, 2.5)
    assert correction(halves, 0.076) == Mix(8.0, 2.0)
    assert correction(FRESH, 0.0755).concentrate == pytest.approx(2.25)
    assert correction(halves, 0.0755) == Mix(12.0, 2.5)

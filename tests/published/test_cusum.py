"""The CUSUM against printed run lengths and printed worked data."""

import random
from statistics import fmean

import pytest

from advisor.cusum import Cusum, accumulate

# Average run lengths, one-sided for the shift towards the sum, k = 0.5, zero state:
# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.1, table of the CUSUM's ARL (two-sided;
# from shift 1 on the far side's share is under the print's last digit).
RUN_LENGTHS = [
    pytest.param(1.0, 4.0, 8.38, id="nist-shift-1-h-4"),
    pytest.param(1.5, 4.0, 4.75, id="nist-shift-1.5-h-4"),
    pytest.param(2.0, 4.0, 3.34, id="nist-shift-2-h-4"),
    pytest.param(3.0, 4.0, 2.19, id="nist-shift-3-h-4"),
    pytest.param(1.0, 5.0, 10.4, id="nist-shift-1-h-5"),
    pytest.param(2.0, 5.0, 4.01, id="nist-shift-2-h-5"),
]


def run_length(shift: float, limit: float, dice: random.Random) -> int:
    """Values until either sum passes the limit."""
    sums, length = Cusum(), 0
    while max(sums) <= limit:
        sums = accumulate(sums, dice.gauss(shift, 1.0), 0.5)
        length += 1
    return length


@pytest.mark.parametrize(("shift", "limit", "printed"), RUN_LENGTHS)
def test_run_lengths_agree_with_print(shift, limit, printed):
    """A shifted normal series is called after as many values as the table says, within 2 %."""
    dice = random.Random(20260302)

    mean = fmean(run_length(shift, limit, dice) for _ in range(10_000))

    assert mean == pytest.approx(printed, rel=0.02)


def test_run_length_in_control_agrees_with_print():
    """Without a shift one side alone runs 336 values at h = 4 (NIST 6.3.2.3.1), within 10 %."""
    dice = random.Random(20260303)

    def one_sided() -> int:
        sums, length = Cusum(), 0
        while sums.up <= 4.0:
            sums = accumulate(sums, dice.gauss(0.0, 1.0), 0.5)
            length += 1
        return length

    assert fmean(one_sided() for _ in range(600)) == pytest.approx(336.0, rel=0.1)


# Montgomery, Introduction to Statistical Quality Control, the 30 values of the CUSUM and EWMA
# chapter: mean 10, sd 1; the last ten come from a mean of 11.
VALUES = (
    "9.45 7.99 9.29 11.66 12.16 10.18 8.04 11.46 9.20 10.34 9.03 11.47 10.51 9.40 10.08 "
    "9.37 10.62 10.31 8.52 10.84 10.90 9.33 12.29 11.50 10.60 11.08 10.38 11.62 11.31 10.52"
)


def test_worked_data_are_called_where_the_book_calls_them():
    """With K = 0.5 and H = 5 the upper sum is 4.47 at value 28 and first out, 5.28, at 29."""
    sums, path = Cusum(), []
    for text in VALUES.split():
        sums = accumulate(sums, float(text) - 10.0, 0.5)
        path.append(sums)

    assert path[27].up == pytest.approx(4.47, abs=0.005)
    assert path[28].up == pytest.approx(5.28, abs=0.005)
    assert next(n for n, at in enumerate(path, 1) if max(at) > 5.0) == 29
    assert path[2].down == max(at.down for at in path) == pytest.approx(1.77, abs=0.005)


# NIST/SEMATECH e-Handbook 6.3.2.3, worked example; the data from memory, target 325.
NIST = (
    "324.93 324.68 324.73 324.35 325.35 325.23 324.13 324.53 325.23 324.60 "
    "324.63 325.15 328.33 327.25 327.83 328.50 326.68 327.78 326.88 328.35"
)


def test_nist_example_is_called_at_value_fourteen():
    """With k = 0.3175 and h = 4.1959 the first signal comes at value 14, the sum being 4.94."""
    sums, path = Cusum(), []
    for text in NIST.split():
        sums = accumulate(sums, float(text) - 325.0, 0.3175)
        path.append(sums)

    assert next(n for n, at in enumerate(path, 1) if max(at) > 4.1959) == 14
    assert path[13].up == pytest.approx(4.94, abs=0.01)
    assert path[19].up == pytest.approx(19.06, abs=0.01)

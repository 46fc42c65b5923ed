"""A shop's alarms, counted as in the long run: a few sumps for a few days, and the counting."""

from datetime import UTC, datetime

import pytest

from advisor.words import HOUR, MINUTE, Instant
from tests.soak.shop import Heard, holds, report, run_parts, say, scenario, understood

NIGHT: Instant = int(datetime(2026, 1, 8, 2, 0, tzinfo=UTC).timestamp() * 1000)
NOON: Instant = NIGHT + 10 * HOUR


@pytest.mark.slow
def test_a_small_shop_gets_few_alarms_and_none_that_wakes_people_in_vain() -> None:
    """Three sumps for five days with their troubles: within the targets of the large one."""
    heard = run_parts([0], 3, 5.0, seed=2)

    assert heard.sump_days == 15.0
    assert holds(heard, 5.0), list(report(heard, 3, 5.0))


def test_the_most_in_ten_minutes_are_counted_in_any_ten() -> None:
    """Eleven within ten minutes are too many; ten and one more after them are not."""
    within = Heard(raised=[(NOON + n * MINUTE // 2, "a", "level-low", "high") for n in range(11)])
    beyond = Heard(raised=[(NOON + n * MINUTE, "a", "level-low", "high") for n in range(11)])

    assert (within.most_in_ten_minutes(), holds(within, 30.0)) == (11, False)
    assert (beyond.most_in_ten_minutes(), holds(beyond, 30.0)) == (10, True)
    assert Heard().most_in_ten_minutes() == 0


def test_what_one_process_tells_another_understands(capsys: pytest.CaptureFixture[str]) -> None:
    """Each alarm and message, the plant's own too."""
    raised = [(NOON, "", "feed-lost", "high"), (NIGHT, "mill-0-1", "signal-stale/brix", "low")]
    heard = Heard(sump_days=160.0, raised=raised, notices=[(NOON, "high")])

    say(heard)

    assert understood(capsys.readouterr().out.splitlines()) == heard


def test_more_than_ten_a_day_are_too_many() -> None:
    """On average over all days."""
    raised = [(NOON + n * HOUR, "a", "level-low", "high") for n in range(21)]

    assert not holds(Heard(raised=raised), 2.0)
    assert holds(Heard(raised=raised), 2.1)


def test_a_message_at_night_must_be_of_high_priority() -> None:
    """The night is that of the plant's clock."""
    assert holds(Heard(notices=[(NIGHT, "high"), (NOON, "low")]), 1.0)
    assert not holds(Heard(notices=[(NIGHT, "medium")]), 1.0)


def test_outages_are_those_of_the_whole_shop_and_troubles_each_sumps_own() -> None:
    """Two plants of one shop lose their network together, and nothing else."""
    first, second = (scenario(part, 5, 200.0, seed=1) for part in (0, 1))

    def outages(text: str) -> str:
        return next(line for line in text.splitlines() if line.startswith("outage"))

    assert outages(first) == outages(second)
    assert "begin" in outages(first)
    assert first.count("[[sump.") > 5
    assert first.partition("[[sump]]")[2] != second.partition("[[sump]]")[2].replace("-1-", "-0-")

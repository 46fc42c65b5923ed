"""What holds for alarms whatever happens: no chatter, no memory of the past, the same after a
restart."""

from collections import defaultdict
from dataclasses import dataclass
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from advisor.alarm_conditions import Verdict, judgements
from advisor.alarm_machine import TRANSITIONS
from advisor.alarms import AlarmBoard, Outage, Surroundings, assess, command, standing
from advisor.effects import AlarmReport, AlarmState
from advisor.plan import AlarmPlan, SumpPlan
from advisor.words import MINUTE, AlarmOrder, Estimate, Instant, Quality, Signal, SumpEvent
from tests.alarm_watch import START, a_finding, a_state
from tests.plants import a_sump

NAMES = (
    "level-low",
    "level-high",
    "concentration-low",
    "signal-stale",
    "sensor-fault",
    "water-gain",
    "wrong-concentrate",
)
CODEC = TypeAdapter(AlarmBoard)


@dataclass(frozen=True)
class Moment:
    """One call: how far data and clock have moved, what is known, and what somebody orders."""

    data_step: int
    clock_step: int
    depth: float | None
    concentration: float
    bad: bool
    charging: bool
    filling: bool
    found: tuple[str, ...]
    silence: int
    outage: bool
    order: tuple[str, str, Signal | None, int | None] | None


FINDINGS = (
    ("water-gain", None),
    ("wrong-concentrate", None),
    ("sensor-fault", Signal.BRIX),
    ("sensor-fault", Signal.LEVEL),
)
VERBS = (
    "acknowledge",
    "shelve",
    "unshelve",
    "suppress",
    "out-of-service",
    "return-to-service",
    "reset",
)
ORDERS = st.tuples(
    st.sampled_from(VERBS),
    st.sampled_from((*NAMES, "no-such-alarm")),
    st.sampled_from((None, Signal.BRIX, Signal.LEVEL)),
    st.none() | st.integers(-60_000, 7_200_000),
)
MOMENTS = st.builds(
    Moment,
    data_step=st.sampled_from((0, 1, 20_000, MINUTE, MINUTE, 40 * MINUTE)),
    clock_step=st.sampled_from((0, 1, 10, 20_000, MINUTE, MINUTE, 40 * MINUTE)),
    depth=st.sampled_from((None, 100.0, 170.0, 185.0, 350.0, 420.0)),
    concentration=st.sampled_from((0.05, 0.0595, 0.08, 0.12)),
    bad=st.booleans(),
    charging=st.sampled_from((False, False, False, True)),
    filling=st.booleans(),
    found=st.lists(st.sampled_from(range(len(FINDINGS))), max_size=3).map(tuple),
    silence=st.sampled_from((0, 0, 5 * MINUTE, 20 * MINUTE)),
    outage=st.sampled_from((False, False, True)),
    order=st.none() | ORDERS,
)
DELAYS = st.none() | st.sampled_from((0.0, 30.0, 60.0, 600.0))
RULES = st.builds(
    AlarmPlan,
    limit=st.none() | st.sampled_from((0.085, 360.0)),
    on_delay=DELAYS,
    off_delay=DELAYS,
    deadband=st.none() | st.sampled_from((0.0, 20.0)),
    latching=st.none() | st.booleans(),
    re_alarm=st.none() | st.sampled_from((0.0, 600.0)),
    enabled=st.sampled_from((None, True, False)),
)
PLANS = st.dictionaries(st.sampled_from(NAMES), RULES, max_size=4).map(
    lambda rules: a_sump(alarms=rules)
)
SCENES = st.lists(MOMENTS, min_size=1, max_size=60)


class Run:
    """A board driven through moments; keeps all reports with the clock at which they came."""

    def __init__(self, plan: SumpPlan, board: AlarmBoard | None = None) -> None:
        self.plan = plan
        self.board = AlarmBoard() if board is None else board
        self.at = self.now = START
        self.reports: list[tuple[Instant, AlarmReport]] = []

    def step(self, moment: Moment) -> None:
        """Let one moment happen."""
        self.at += moment.data_step
        self.now = max(self.now + moment.clock_step, self.at)
        pour = SumpEvent(
            id="a", at=self.at, kind="addition", source="report", volume=None, strength=None
        )
        state = a_state(
            self.at,
            depth=None if moment.depth is None else Estimate(moment.depth, 1.0),
            concentration=Estimate(moment.concentration, 0.0005),
            qualities={Signal.LEVEL: Quality.BAD if moment.bad else Quality.GOOD},
            last_seen={
                Signal.LEVEL: self.now - moment.silence,
                Signal.BRIX: self.now - moment.silence // 2,
            },
            charging=moment.charging,
            events=(pour,) if moment.filling else (),
            findings=tuple(a_finding(*FINDINGS[index]) for index in moment.found),
        )
        outage = Outage(alarm="feed-lost", since=self.now) if moment.outage else None
        self.board, reports = assess(
            self.board,
            state,
            self.plan,
            at=self.at,
            now=self.now,
            around=Surroundings(outage=outage),
        )
        self.reports.extend((self.now, report) for report in reports)
        if moment.order is not None:
            self.obey(*moment.order)

    def obey(self, verb: str, alarm: str, signal: Signal | None, until: int | None) -> None:
        """Order something, sensible or not."""
        order = AlarmOrder(
            sump="mill-07",
            at=self.now,
            alarm=alarm,
            signal=signal,
            verb=verb,  # type: ignore[arg-type]
            until=None if until is None else self.now + until,
            by="ann",
        )
        before = self.board
        self.board, reports, refusal = command(self.board, order, self.plan, at=self.now)
        assert refusal is None or (self.board is before and reports == ())
        self.reports.extend((self.now, report) for report in reports)

    def by_alarm(self) -> dict[tuple[str, Signal | None], list[tuple[Instant, AlarmReport]]]:
        """Reports of each alarm, in order."""
        alarms = defaultdict(list)
        for now, report in self.reports:
            alarms[report.name, report.signal].append((now, report))
        return alarms


def run(plan: SumpPlan, scene: list[Moment]) -> Run:
    """Drive an empty board through a scene."""
    it = Run(plan)
    for moment in scene:
        it.step(moment)
    return it


@given(PLANS, SCENES)
def test_no_alarm_is_raised_and_cleared_three_times_in_a_minute(plan, scene):
    """Whatever the delays and however fast the data come: no chatter by the standard's measure."""
    for reports in run(plan, scene).by_alarm().values():
        changes = []
        active = False
        for now, report in reports:
            if report.active != active:
                active = report.active
                changes.append(now)
        for first, sixth in zip(changes, changes[5:], strict=False):
            assert sixth - first >= MINUTE


@given(
    st.lists(st.booleans(), min_size=20, max_size=100),
    st.sampled_from((0, 1, 5_000, 20_000)),
    st.sampled_from((0, 20_000, MINUTE, 40 * MINUTE)),
    st.sampled_from(("water-gain", "wrong-concentrate")),
)
def test_an_alarm_without_delays_cannot_flicker_either(holds, clock_step, data_step, name):
    """Delays of zero, and a condition that comes and goes in a backlog worked off in seconds."""
    plan = a_sump(alarms={name: AlarmPlan(on_delay=0.0, off_delay=0.0, latching=False)})
    board, at, now, cleared = AlarmBoard(), START, START, []
    for hold in holds:
        at, now = at + data_step, now + clock_step
        state = a_state(at, findings=(a_finding(name),) if hold else ())
        board, reports = assess(board, state, plan, at=at, now=max(now, START))
        cleared += [now for report in reports if report.name == name and not report.active]

    for first, second in pairwise(cleared):
        assert second - first >= MINUTE


@given(PLANS, SCENES)
def test_every_published_change_follows_an_arrow(plan, scene):
    """Two reports of one alarm in a row are joined by arrows of the diagram, never by a jump."""
    arrows = {(state, to) for (state, _), to in TRANSITIONS.items()}
    arrows |= {
        (AlarmState.UNACKNOWLEDGED, AlarmState.LATCHED_UNACKNOWLEDGED),
        (AlarmState.ACKNOWLEDGED, AlarmState.LATCHED_ACKNOWLEDGED),
    }
    over = {AlarmState.SHELVED, AlarmState.SUPPRESSED, AlarmState.OUT_OF_SERVICE}
    for reports in run(plan, scene).by_alarm().values():
        before = AlarmState.NORMAL
        for _, report in reports:
            if before not in over and report.state not in over:
                assert report.state is before or (before, report.state) in arrows
            before = report.state


@given(PLANS, SCENES)
def test_nothing_is_told_twice(plan, scene):
    """A report differs from the one before it, and normal is told only after something else."""
    for reports in run(plan, scene).by_alarm().values():
        assert reports[0][1].state is not AlarmState.NORMAL
        for (_, one), (_, other) in pairwise(reports):
            assert one != other


@given(PLANS, SCENES)
def test_what_was_published_last_is_what_stands(plan, scene):
    """Whoever reads the retained messages sees the board."""
    it = run(plan, scene)
    last = {key: reports[-1][1] for key, reports in it.by_alarm().items()}
    shown = {key: r for key, r in last.items() if r.state is not AlarmState.NORMAL}

    listed = {(r.name, r.signal): r for r in standing(it.board, plan)}
    assert {k: (r.state, r.because_of) for k, r in listed.items()} == {
        k: (r.state, r.because_of) for k, r in shown.items()
    }


@given(PLANS, SCENES, st.integers(0, 60))
def test_a_restart_anywhere_changes_nothing(plan, scene, cut):
    """A board written to JSON and read again goes on as if nothing had happened."""
    straight = Run(plan)
    stopped = Run(plan)
    for index, moment in enumerate(scene):
        if index == cut:
            stopped.board = CODEC.validate_json(CODEC.dump_json(stopped.board))
        straight.step(moment)
        stopped.step(moment)

    assert stopped.board == straight.board
    assert stopped.reports == straight.reports


@given(PLANS, SCENES)
def test_the_board_is_bounded(plan, scene):
    """There is never more than one entry for an alarm, or for an alarm and signal."""
    it = run(plan, scene)
    keys = [alarm.key for alarm in it.board.alarms]

    assert keys == sorted(set(keys))


@given(PLANS, MOMENTS)
def test_passing_over_a_sump_in_good_order_misses_nothing(plan, moment):
    """The quick look finds whatever the full one finds beyond its limit."""
    state = a_state(
        depth=None if moment.depth is None else Estimate(moment.depth, 1.0),
        concentration=Estimate(moment.concentration, 0.0005),
    )
    full, quick = (
        [
            judgement
            for judgement in judgements(state, plan, at=START, now=START, remembered=remembered)
            if judgement.verdict is Verdict.BEYOND
        ]
        for remembered in (True, False)
    )

    assert quick == full


@given(st.lists(st.sampled_from((1, MINUTE, 40 * MINUTE, 500 * MINUTE)), max_size=40))
def test_a_silent_plant_shows_no_alarm_of_a_sump(steps):
    """However the clock goes on during an outage, no stale signal is shown as new."""
    board, now, shown = AlarmBoard(), START, set()
    around = Surroundings(outage=Outage(alarm="feed-lost", since=START))
    for step in steps:
        now += step
        board, reports = assess(board, a_state(), a_sump(), at=START, now=now, around=around)
        shown |= {report.state for report in reports}

    assert shown <= {AlarmState.SUPPRESSED}

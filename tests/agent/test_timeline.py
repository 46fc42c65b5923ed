"""Evidence takes its place by its own time, whatever the order in which it arrived."""

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from advisor import estimate
from advisor.words import MINUTE, Addition, Evidence, Reading, Signal
from agent.store.batch import evidence_order
from agent.timeline import Timeline
from tests.plants import a_sump

START = 1_772_431_200_000
LATENESS = 10 * MINUTE


def folded(evidence: list[Evidence]) -> estimate.Belief:
    """The belief from all the evidence in the order of its time, without any timeline."""
    plan = a_sump()
    belief = estimate.begin(plan)
    for item in sorted(evidence, key=evidence_order):
        belief = estimate.absorb(belief, item, plan)
    return belief


@st.composite
def histories(draw: st.DrawFn) -> list[Evidence]:
    """Up to a quarter of an hour of readings and additions, each (signal, time) once."""
    readings = draw(
        st.lists(
            st.builds(
                Reading,
                at=st.integers(0, 15 * 6).map(lambda tens: START + 10_000 * tens),
                signal=st.sampled_from([Signal.LEVEL, Signal.BRIX, Signal.RUNNING]),
                value=st.just(0.0),
            ),
            min_size=1,
            max_size=40,
            unique_by=lambda reading: (reading.signal, reading.at),
        )
    )
    values = {
        Signal.LEVEL: st.floats(200.0, 400.0),
        Signal.BRIX: st.floats(5.0, 8.0),
        Signal.RUNNING: st.sampled_from([0.0, 1.0]),
    }
    history: list[Evidence] = [r._replace(value=draw(values[r.signal])) for r in readings]
    for number, at in enumerate(draw(st.lists(st.integers(0, 900_000), max_size=3))):
        history.append(Addition(at=START + at, id=f"e{number}", water=10.0, concentrate=0.5))
    return history


@settings(max_examples=60, deadline=None)
@given(st.data(), histories())
def test_any_order_within_the_lateness_gives_the_belief_of_the_right_order(data, history):
    """What arrives late is folded where it belongs, also when the belief was asked for between."""
    shuffled = sorted(
        history, key=lambda item: item.at + data.draw(st.integers(0, LATENESS // 2 - MINUTE))
    )
    timeline = Timeline(a_sump(), LATENESS)

    for item in shuffled:
        assert timeline.reaches(item.at)
        timeline.add(item)
        if data.draw(st.booleans()):
            assert timeline.belief is not None

    assert timeline.belief == folded(history)


@settings(max_examples=30, deadline=None)
@given(histories(), st.integers(0, 39))
def test_a_replaced_report_is_as_if_it_had_never_been_made(history, place):
    """Taking out an entry gives the belief without it; one that memory does not hold is said so."""
    timeline = Timeline(a_sump(), LATENESS)
    wrong = Addition(at=history[place % len(history)].at, id="wrong", water=99.0, concentrate=0.0)
    for item in sorted(history, key=evidence_order):
        timeline.add(item)
    assume(timeline.reaches(wrong.at))
    timeline.add(wrong)

    assert timeline.remove("wrong")

    assert timeline.belief == folded(history)
    assert not timeline.remove("wrong")


def test_memory_reaches_back_as_far_as_the_lateness_and_not_much_further():
    """Minutes that nothing late can reach are let go, and the belief before them is settled."""
    timeline = Timeline(a_sump(), LATENESS)
    history = [Reading(START + MINUTE * n, Signal.LEVEL, 300.0 - 0.01 * n) for n in range(60)]
    for item in history:
        timeline.add(item)

    assert timeline.reaches(history[-1].at - LATENESS)
    assert not timeline.reaches(history[-1].at - LATENESS - 2 * MINUTE)
    settled = timeline.settled
    assert settled is not None
    until, belief = settled
    assert belief == folded([item for item in history if item.at <= until])


def test_going_on_from_a_settled_belief_is_as_if_it_had_not_stopped():
    """A timeline rebuilt from a kept belief and the evidence since has the same tip."""
    timeline = Timeline(a_sump(), LATENESS)
    history = [Reading(START + MINUTE * n, Signal.LEVEL, 300.0 - 0.01 * n) for n in range(60)]
    for item in history:
        timeline.add(item)
    assert timeline.settled is not None
    until, belief = timeline.settled

    again = Timeline(a_sump(), LATENESS)
    again.rebuild(belief, [item for item in history if item.at > until], reach=until + 1)

    assert again.belief == timeline.belief
    assert again.newest == timeline.newest

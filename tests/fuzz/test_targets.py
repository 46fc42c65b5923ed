"""Every target of the fuzzer with bytes of Hypothesis: good ones spoilt, and any at all."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.fuzz.__main__ import LONGEST, SHARES
from tests.fuzz.targets import SPARKPLUG_TOPICS, TARGETS, TOPICS, seeds

SEEDS = {target: seeds(target) for target in TARGETS}


def test_every_target_has_its_time_and_good_input():
    """A target that is added is fuzzed, begins with something good, and that fits in."""
    assert TARGETS.keys() == SHARES.keys() == LONGEST.keys()
    assert sum(SHARES.values()) == pytest.approx(1.0)
    for target, found in SEEDS.items():
        assert len(found) > 2
        assert max(map(len, found)) <= LONGEST[target]
    assert {seed[0] for seed in SEEDS["message"]} == set(range(len(TOPICS) - 3))
    assert len(SPARKPLUG_TOPICS) == 6


@pytest.mark.parametrize("target", TARGETS)
def test_good_input_keeps_the_promises(target: str):
    """What the fuzzer begins with is no finding."""
    for octets in SEEDS[target]:
        TARGETS[target](octets)


@pytest.mark.parametrize("target", TARGETS)
@given(octets=st.binary(max_size=300))
def test_any_bytes_keep_the_promises(target: str, octets: bytes):
    """No bytes whatever raise."""
    TARGETS[target](octets)


@pytest.mark.parametrize("target", TARGETS)
@given(data=st.data())
def test_spoilt_input_keeps_the_promises(target: str, data: st.DataObject):
    """A stretch of good input taken out, doubled, or put in place of another's."""
    octets = data.draw(st.sampled_from(SEEDS[target]))
    begin = data.draw(st.integers(0, len(octets)))
    end = data.draw(st.integers(begin, min(len(octets), begin + 40)))
    other = data.draw(st.sampled_from([b"", octets[begin:end] * 2, b"\xff\x00", b"9" * 400]))

    TARGETS[target](octets[:begin] + other + octets[end:])

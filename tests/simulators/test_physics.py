"""Nothing is lost and nothing comes from nowhere; pumps, pours and spills move it as they do."""

import math

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from simulators.fluid import Trouble
from simulators.physics import Sump
from tests.simulators.floors import a_sump, plant, run

ACTIONS = st.one_of(
    st.tuples(st.just("run"), st.booleans(), st.integers(1, 120)),
    st.tuples(st.just("pour"), st.floats(0.0, 80.0), st.floats(0.0, 0.25)),
    st.tuples(st.just("drain"), st.floats(0.0, 400.0), st.none()),
    st.tuples(st.just("leak"), st.floats(0.0, 0.02), st.booleans()),
    st.tuples(st.just("ingress"), st.floats(0.0, 0.05), st.booleans()),
    st.tuples(st.just("skim"), st.floats(0.0, 1.0), st.floats(0.0, 2.0)),
    st.tuples(st.just("oil"), st.floats(0.0, 5.0), st.none()),
    st.tuples(st.just("foreign"), st.floats(0.0, 5.0), st.none()),
    st.tuples(st.just("bin"), st.floats(0.5, 1.5), st.none()),
    st.tuples(st.just("precipitate"), st.floats(0.0, 1.0), st.none()),
)


def stepped(sump: Sump, running: bool, steps: int) -> None:
    """Some steps of a machine that cuts a third of the time it runs."""
    for i in range(steps):
        sump.step(running, cutting=i % 3 == 0, air=21.0, vapour=1200.0)


def disturbed(sump: Sump, rate: float, kind: str) -> None:
    """Leaks and ingress of a rate, some only while running."""
    sump.trouble = Trouble(**{kind: rate, f"{kind}_running": 0.5 * rate})


def raked(sump: Sump, factor: float) -> None:
    """A bin and a part leave."""
    sump.empty_bin(factor)
    sump.finish_part(factor)


DOING = {
    "run": stepped,
    "pour": lambda sump, v, c: sump.add(v * (1.0 - c), v * c, sump.back),
    "drain": lambda sump, v, _: sump.drain(v),
    "leak": lambda sump, rate, _: disturbed(sump, rate, "leak"),
    "ingress": lambda sump, rate, _: disturbed(sump, rate, "ingress"),
    "skim": lambda sump, share, mix: sump.skim(share, mix),
    "oil": lambda sump, v, _: sump.spill_oil(v),
    "foreign": lambda sump, v, _: sump.add_foreign(v, sump.suction),
    "bin": lambda sump, factor, _: raked(sump, factor),
    "precipitate": lambda sump, share, _: sump.precipitate(share),
}


@settings(max_examples=150)
@given(st.lists(ACTIONS, min_size=1, max_size=25), st.sampled_from([1.0, 10.0, 60.0]))
@example([("drain", 347.0, None), ("foreign", 1.628187982034244, None), ("drain", 2.0, None)], 1.0)
def test_what_came_in_less_what_went_out_is_there(actions, step_s):
    """Whatever happens, water, concentrate, oil and salts balance to 1e-9."""
    sump = a_sump(step_s)
    water, concentrate = sump.volume - sump.concentrate, sump.concentrate
    chloride, hardness = sump.chloride, sump.hardness

    for kind, first, second in actions:
        DOING[kind](sump, first, second)

    book = sump.book
    water_now = (
        water + book.water_added + book.ingress - book.evaporation - book.carry_off_water
        - book.leak_water - book.spilled_water - book.drained_water
    )  # fmt: skip
    concentrate_now = (
        concentrate + book.concentrate_added - book.carry_off_concentrate - book.depletion
        - book.leak_concentrate - book.spilled_concentrate - book.drained_concentrate
    )  # fmt: skip
    turnover = water + concentrate + book.water_added + book.concentrate_added + book.ingress
    assert sump.volume - sump.concentrate == pytest.approx(water_now, abs=1e-9 * turnover)
    assert sump.concentrate == pytest.approx(concentrate_now, abs=1e-9 * turnover)
    assert sump.oil == pytest.approx(book.oil_in - book.oil_out, abs=1e-9 * (1.0 + book.oil_in))
    salts = chloride + book.chloride_in
    assert sump.chloride == pytest.approx(salts - book.chloride_out, abs=1e-9 * salts)
    left = hardness + book.hardness_in - book.hardness_out - book.hardness_precipitated
    assert sump.hardness == pytest.approx(left, abs=1e-9 * (hardness + book.hardness_in))
    for place in (sump.suction, sump.back, sump.machine):
        assert place.water >= 0.0
        assert place.concentrate >= 0.0
    assert 0.0 <= sump.foreign <= sump.concentrate + 1e-9


def test_fortnight_balances():
    """After two weeks of ten-second steps the rounding is still below 1e-9."""
    sump = a_sump()
    start = sump.volume
    for i in range(14 * 8640):
        sump.step(i % 2000 < 1200, cutting=i % 100 < 60, air=21.0, vapour=1200.0)
        if i % 4000 == 0:
            sump.add(8.0, 0.5, sump.back)
    book = sump.book
    went = book.evaporation + book.carry_off_water + book.carry_off_concentrate + book.depletion
    went += book.spilled_water + book.spilled_concentrate
    came = book.water_added + book.concentrate_added
    assert sump.volume == pytest.approx(start + came - went, rel=1e-9)


def test_machine_fills_in_under_a_minute_and_drains_over_minutes():
    """Holdup is nearly all up after a minute, half down after two, nearly all down after forty."""
    sump = a_sump(step_s=1.0, carry_off=0.0)
    for _ in range(60):
        sump.step(running=True, cutting=False, air=21.0, vapour=1200.0)
    up = sump.holdup
    for _ in range(120):
        sump.step(running=False, cutting=False, air=21.0, vapour=1200.0)
    after_two_minutes = sump.holdup
    for _ in range(2400):
        sump.step(running=False, cutting=False, air=21.0, vapour=1200.0)

    assert up == pytest.approx(30.0, rel=0.06)
    assert 0.4 * up < after_two_minutes < 0.7 * up
    assert sump.holdup < 0.05 * up


def test_level_falls_by_the_holdup_when_the_pumps_start():
    """30 L over 1.05 m² are 28.6 mm."""
    sump = a_sump(step_s=1.0)
    before = sump.depth
    for _ in range(180):
        sump.step(running=True, cutting=False, air=21.0, vapour=1200.0)
    assert before - sump.depth == pytest.approx(30.0 / 1.05, abs=0.3)


def strength(place) -> float:
    """Concentration of a place."""
    return place.concentrate / place.volume


def test_poured_mix_reaches_the_suction_over_minutes():
    """Concentrate poured on the return side is far from mixed after 20 s and mixed after 40 min."""
    sump = a_sump(step_s=5.0, depletion=0.0, carry_off=0.0)
    for _ in range(240):
        sump.step(running=True, cutting=False, air=21.0, vapour=1200.0)
    before = strength(sump.suction)
    sump.add(8.0, 2.0, sump.back)
    mixed = sump.concentrate / sump.volume
    for _ in range(4):
        sump.step(running=True, cutting=False, air=21.0, vapour=1200.0)
    early = strength(sump.suction)
    for _ in range(480):
        sump.step(running=True, cutting=False, air=21.0, vapour=1200.0)

    assert early - before < 0.35 * (mixed - before)
    assert strength(sump.suction) == pytest.approx(sump.concentrate / sump.volume, rel=2e-3)


def test_poured_mix_stays_apart_while_the_pumps_stand():
    """With the pumps off half an hour mixes little of what was poured."""
    sump = a_sump(step_s=10.0)
    before = strength(sump.suction)
    sump.add(8.0, 2.0, sump.back)
    mixed = sump.concentrate / sump.volume
    for _ in range(180):
        sump.step(running=False, cutting=False, air=21.0, vapour=1200.0)
    # levelling out brings some of it over at once; the rest stays
    assert strength(sump.suction) - before < 0.75 * (mixed - before)
    assert strength(sump.back) > strength(sump.suction) + 0.2 * (mixed - before)


def test_too_much_spills_at_the_brim():
    """What is poured beyond the brim is booked as spilled, and the depth stays at the brim."""
    sump = a_sump()
    sump.add(200.0, 0.0, sump.back)
    sump.step(running=False, cutting=False, air=21.0, vapour=1200.0)
    assert sump.book.spilled_water + sump.book.spilled_concentrate > 100.0
    assert sump.depth == pytest.approx(400.0, abs=0.05)


def test_drained_back_holdup_can_spill_when_the_pumps_stop():
    """A sump filled to the brim while running overflows when the machine drains back."""
    sump = a_sump()
    for _ in range(60):
        sump.step(running=True, cutting=False, air=21.0, vapour=1200.0)
    sump.add(sump.body.tank.volume(399.0) - sump.suction.volume - sump.back.volume, 0.0, sump.back)
    for _ in range(3):
        sump.step(running=True, cutting=False, air=21.0, vapour=1200.0)
    spilled_running = sump.book.spilled_water
    for _ in range(400):
        sump.step(running=False, cutting=False, air=21.0, vapour=1200.0)
    assert sump.book.spilled_water > spilled_running + 15.0


def test_carry_off_while_cutting_has_the_stated_rate():
    """Steady and lumpy together carry off what the machine is said to lose."""
    sump = a_sump(carry_off=0.4 / 3600.0)
    for i in range(360 * 24):
        sump.step(running=True, cutting=True, air=21.0, vapour=1200.0)
        if i % 60 == 0:
            sump.finish_part(1.0)
        if i % 3000 == 0:
            sump.empty_bin(1.0)
        if i % 360 == 0:
            sump.add(1.0, 0.0, sump.back)
    gone = sump.book.carry_off_water + sump.book.carry_off_concentrate
    owed = sump.owed_parts + sump.owed_bin
    assert gone + owed == pytest.approx(0.4 * 24, rel=1e-9)
    assert gone > 0.85 * 0.4 * 24


def test_depletion_takes_its_share_a_day():
    """With 1 % a day and nothing else lost, 99 % of the concentrate is left after a day."""
    k = -math.log1p(-0.01) / 86_400.0
    sump = a_sump(depletion=k, carry_off=0.0)
    before = sump.concentrate
    for _ in range(8640):
        sump.step(running=False, cutting=False, air=21.0, vapour=1200.0)
    assert sump.concentrate / before == pytest.approx(0.99, rel=1e-5)


def test_salts_build_up_as_the_cycles_of_concentration_say():
    """Evaporation 15, carry-off 5 L a day from 300 L: 219.08 mg/L of 150 after ten days.

    Values: approach to h0 M / D, FACTS of the trade, cycles of concentration (closed form
    h(t) = h0 M/D - (M/D - 1) h0 exp(-D t / V)).
    """
    sump = a_sump(step_s=60.0, depth=300.0 / 1.05, depletion=0.0, carry_off=0.0, spray_area=0.0,
                  open_share=0.0, water_hardness=150.0)  # fmt: skip
    per_step = 1.0 / 1440.0
    for _ in range(10 * 1440):
        place = sump.suction
        place.water -= 15.0 * per_step
        sump.book.evaporation += 15.0 * per_step
        sump._lose(place, 5.0 * per_step)
        sump.add(20.0 * per_step, 0.0, place)
        sump._level_out()
    assert sump.hardness / sump.volume == pytest.approx(219.08, rel=1e-3)


def test_part_of_the_hardness_falls_out_as_water_goes():
    """In two weeks of work chloride gathers more than hardness does, and the rest is booked."""
    floor = plant("days = 15\nstep_s = 60\n[each.operators]\nbelow_mm = 8\n")
    run(floor, 14.0 * 24.0)
    sump = floor.tools["m1"].sump
    chloride = sump.chloride / sump.volume / sump.body.water_chloride
    hardness = sump.hardness / sump.volume / sump.body.water_hardness

    assert chloride > 1.2
    assert 1.0 < hardness < chloride - 0.01
    assert sump.book.hardness_precipitated > 0.0


@pytest.mark.parametrize("step_s", [1.0, 5.0, 20.0, 60.0])
def test_result_does_not_hang_on_the_step(step_s):
    """A day of work loses the same to 1 %, and warms to the same to 0.3 °C, at any step."""
    sump = a_sump(step_s)
    for i in range(round(86_400 / step_s)):
        at = i * step_s
        sump.step(21_600 < at < 72_000, cutting=at % 720 < 480, air=21.0, vapour=1200.0)
    fine = a_sump(2.0)
    for i in range(43_200):
        at = i * 2.0
        fine.step(21_600 < at < 72_000, cutting=at % 720 < 480, air=21.0, vapour=1200.0)
    assert sump.book.evaporation == pytest.approx(fine.book.evaporation, rel=0.01)
    assert sump.volume == pytest.approx(fine.volume, abs=0.15)
    assert sump.celsius == pytest.approx(fine.celsius, abs=0.3)


def test_running_warms_the_fluid_and_standing_cools_it():
    """A working day warms it by several degrees; a night brings it near the hall again."""
    sump = a_sump()
    for i in range(5760):
        sump.step(running=True, cutting=i % 3 < 2, air=21.0, vapour=1200.0)
    warm = sump.celsius
    for _ in range(4320):
        sump.step(running=False, cutting=False, air=21.0, vapour=1200.0)
    assert 24.0 < warm < 38.0
    assert sump.celsius < warm - 2.0


def test_pumps_suck_air_when_the_tank_is_nearly_empty():
    """No circulation, and no holdup, where there is nothing to pump."""
    sump = a_sump(depth=8.0)
    for _ in range(60):
        sump.step(running=True, cutting=True, air=21.0, vapour=1200.0)
    assert not sump.running
    assert sump.holdup < 1.0

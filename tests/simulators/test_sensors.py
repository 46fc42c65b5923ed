"""What instruments make of the truth, one effect at a time."""

import statistics

import pytest

from simulators.instants import DAY, HOUR, MINUTE
from simulators.sensors.units import LEVEL_UNITS
from simulators.water import brix_correction, density
from tests.simulators.floors import plant, run, said, values


@pytest.mark.parametrize(
    ("kind", "unit", "extra"),
    [
        ("depth", "mm", ""),
        ("depth", "inch", ""),
        ("air-gap", "mm", "mount_mm = 700"),
        ("volume", "L", ""),
        ("percent", "%", ""),
        ("pressure", "hPa", ""),
    ],
)
def test_faultless_level_sensor_tells_the_depth(kind, unit, extra):
    """Each kind, turned back by hand, gives the true depth to 0.02 mm."""
    floor = plant(
        f'[each.signals.level]\nkind = "{kind}"\nunit = "{unit}"\nair_c_share = 0\n'
        f"resolution = 0.00001\n{extra}"
    )
    reading = values(run(floor, 0.1), "level")[-1] * LEVEL_UNITS[kind][unit]
    sump = floor.tools["m1"].sump
    depth = {
        "depth": reading,
        "air-gap": 700.0 - reading,
        "volume": reading / 1.05,
        "percent": reading * 400.0,
        "pressure": reading / (density(sump.celsius) * 9.80665 * (1.0 - 0.03 * 0.08)) * 1e3,
    }[kind]
    assert depth == pytest.approx(sump.depth, abs=0.02)


def test_air_gap_shortens_in_a_warm_hall():
    """At 30 °C instead of 20, a gap of 400 mm reads 1.74 % less where nothing compensates."""
    warm = plant(
        "[climate]\nmean_c = 30\nday_swing_c = 0\nweather_c = 0\nmachines_c = 0\n"
        '[each.signals.level]\nkind = "air-gap"\nmount_mm = 730\nair_c_share = 1.0\n'
    )
    gap = values(run(warm, 0.1), "level")[-1]
    true = 730.0 - warm.tools["m1"].sump.depth
    assert gap / true == pytest.approx(343.42 / 349.48, rel=1e-4)


def test_warm_fluid_stands_higher():
    """330 mm at 20 °C stand 0.85 mm higher at 30 °C: 0.257 % (see the test of the density)."""
    floor = plant()
    sump = floor.tools["m1"].sump
    sump.celsius = 20.0
    cold = sump.depth
    sump.celsius = 30.0
    assert sump.depth - cold == pytest.approx(330.0 * 0.00257, rel=0.01)


def test_white_noise_has_the_stated_spread():
    """With 1.2 mm of white noise the readings of a still night spread by 1.2 mm."""
    floor = plant("[each.signals.level]\nsd_mm = 1.2\ninterval_s = 10\n[work]\nweekdays = []\n")
    read = values(run(floor, 3), "level")
    slope = (statistics.fmean(read[-300:]) - statistics.fmean(read[:300])) / (len(read) - 300)
    flat = [value - slope * i for i, value in enumerate(read)]
    assert statistics.stdev(flat) == pytest.approx(1.2, rel=0.07)


def test_waves_only_while_the_pumps_run():
    """Waves of 3 mm are there by day and gone by night."""
    floor = plant("[each.signals.level]\nwave_mm = 3.0\nwave_s = 20\n")
    run(floor, 4)
    day = values(run(floor, 0.4), "level")
    run(floor, 14.6)
    night = values(run(floor, 1), "level")
    assert statistics.stdev(day) > 1.5
    assert statistics.stdev(night) < 0.2


def test_tilt_and_foam_lift_the_level_only_while_the_pumps_run():
    """A surface that stands 3 mm askew under 2 mm of foam reads 5 mm higher, and not by night."""
    plain, lifted = plant(), plant("[each.signals.level]\ntilt_mm = 3.0\nfoam_mm = 2.0\n")
    day = [values(run(floor, 9.0), "level")[-400:] for floor in (plain, lifted)]
    night = [values(run(floor, 13.0), "level")[-60:] for floor in (plain, lifted)]

    assert statistics.fmean(day[1]) - statistics.fmean(day[0]) == pytest.approx(5.0, abs=2.5)
    assert statistics.fmean(night[1]) == pytest.approx(statistics.fmean(night[0]), abs=0.01)


@pytest.mark.parametrize(("signal", "step"), [("level", 0.5), ("brix", 0.05)])
def test_readings_come_in_steps_of_the_resolution(signal, step):
    """Half a millimetre, a twentieth of a degree: nothing between, and more than one step seen."""
    noise = f"sd_{'mm' if signal == 'level' else 'brix'} = {step}"
    floor = plant(f"[each.signals.{signal}]\nresolution = {step}\n{noise}\n")
    read = values(run(floor, 3.0), signal)
    assert all(value / step == pytest.approx(round(value / step), abs=1e-6) for value in read)
    assert len(set(read)) > 2


def test_prism_reading_stands_with_the_pumps():
    """Concentrate poured at night is not seen until the pumps run."""
    floor = plant("days = 2\n[work]\nbreaks = []")
    run(floor, 18)  # 23:00
    tool = floor.tools["m1"]
    before = values(run(floor, 0.1), "brix")[-1]
    tool.sump.add(0.0, 6.0, tool.sump.back)
    standing = values(run(floor, 2), "brix")
    run(floor, 6)
    assert max(abs(value - before) for value in standing) < 0.003
    after = values(run(floor, 0.5), "brix")[-1]
    assert after > before + 1.0


def test_refractometer_in_the_tank_sees_it_at_once():
    """Without the need of flow, concentrate poured beside the prism shows within minutes."""
    floor = plant("[each.signals.brix]\nneeds_flow = false\n[work]\nweekdays = []")
    before = values(run(floor, 0.1), "brix")[-1]
    tool = floor.tools["m1"]
    tool.sump.add(0.0, 6.0, tool.sump.suction)
    assert values(run(floor, 0.1), "brix")[-1] > before + 1.0


def test_brix_is_concentration_over_factor():
    """8 % at a factor of 1.25 reads 6.4 °Brix."""
    floor = plant("[each.signals.brix]\nneeds_flow = false\n")
    assert values(run(floor, 0.05), "brix")[0] == pytest.approx(6.4, abs=0.01)


def test_uncompensated_refractometer_reads_low_when_warm():
    """At 30 °C the reading lacks what the published correction gives, 0.7 to 0.8 °Brix."""
    floor = plant("[each.signals.brix]\ncompensated = false\nneeds_flow = false\n")
    sump = floor.tools["m1"].sump
    sump.celsius = 30.0
    reading = values(floor_step(floor), "brix")[0]
    true = 100.0 * sump.concentrate / sump.volume / 1.25
    assert true - reading == pytest.approx(brix_correction(sump.celsius, true), abs=0.01)
    assert 0.65 < true - reading < 0.85


def floor_step(floor):
    """Messages of the next half minute."""
    return run(floor, 0.01)


def test_film_grows_at_its_rate_and_is_wiped_off():
    """Half a degree a day of wetted prism, until somebody cleans it."""
    floor = plant(
        "days = 3\n[work]\nshifts = [['00:00', '24:00']]\nweekdays = [0,1,2,3,4,5,6]\nbreaks = []\n"
        "[each.signals.brix]\nfilm_brix_per_day = 0.3\nfilm_limit_brix = 1000\n"
    )
    run(floor, 48)
    brix = floor.tools["m1"].outfit.brix
    assert brix.film == pytest.approx(0.6, rel=0.06)
    brix.clean()
    assert brix.film < 0.05


def test_tramp_oil_lifts_level_and_every_refractometer():
    """Five litres of oil lift the level by 4.8 mm, and both refractometers by the same."""
    floor = plant("[each.signals.brix]\nneeds_flow = false\n[each.machine]\noil_brix_per_l = 0.3\n")
    tool = floor.tools["m1"]
    sump = tool.sump
    depth, hand = sump.depth, tool.drawn.optics.reading(0.08, sump)
    inline = values(run(floor, 0.02), "brix")[-1]
    sump.spill_oil(5.0)
    lifted = 0.3 * 5.0 / sump.volume * 100.0
    assert sump.depth - depth == pytest.approx(5.0 / 1.05, abs=0.02)
    assert tool.drawn.optics.reading(0.08, sump) - hand == pytest.approx(lifted, rel=1e-3)
    assert values(run(floor, 0.02), "brix")[-1] - inline == pytest.approx(lifted, abs=0.01)


@pytest.mark.parametrize(
    ("work", "hours"),
    [
        ("", 15.0 + 1.0 / 3.0),
        ("pumps_in_breaks = true\n", 16.0),
        ("shifts = [['22:00', '06:00']]\nbreaks = []\n", 8.0),
        ("shifts = [['00:00', '24:00']]\nbreaks = []\n", 24.0),
    ],
)
def test_a_day_of_work_brings_the_oil_it_is_to(work, hours):
    """Two litres a day of work, in 15 h of pumps as in 24: measured over a Tuesday to its night."""
    toml = "days = 3\n[each.machine]\ntramp_oil_l_per_day = 2.0\n[work]\n" + work
    floor = plant(toml)
    assert floor.scenario.work.running_h == pytest.approx(hours)
    run(floor, 25.0)
    before = floor.tools["m1"].sump.book.oil_in
    run(floor, 24.0)
    assert floor.tools["m1"].sump.book.oil_in - before == pytest.approx(2.0, rel=0.005)


def test_salts_raise_the_reading_as_water_goes():
    """Make-up water of 0.3 °Brix counts double where half of it has evaporated."""
    floor = plant("[water]\nbrix = 0.3\n")
    tool = floor.tools["m1"]
    fresh = tool.drawn.optics.reading(0.0, tool.sump)
    for place in (tool.sump.suction, tool.sump.back):
        place.water -= place.volume / 2.0
    assert fresh == pytest.approx(0.3, rel=1e-9)
    assert tool.drawn.optics.reading(0.0, tool.sump) == pytest.approx(0.6, rel=1e-9)


def test_bubbles_push_single_readings_down():
    """With a fifth of the readings spoilt, about a fifth lie low and none lies high."""
    floor = plant("[work]\nbreaks = []\n[each.signals.brix]\ninterval_s = 10\nbubble_share = 0.2\n")
    run(floor, 2)
    read = values(run(floor, 3), "brix")
    middle = statistics.median(read)
    low = sum(value < middle - 0.05 for value in read) / len(read)
    assert 0.12 < low < 0.27
    assert max(read) < middle + 0.1


def test_totaliser_counts_with_its_gain_rolls_over_and_is_set_back():
    """Ten litres past the rollover, then zero after a reset."""
    floor = plant(
        "[each.signals.water_meter]\ngain_error = 0\nresolution = 0.1\nbegins_at = 995\n"
        "rollover = 1000\n"
        '[[each.fault]]\nsignal = "water_meter"\nkind = "reset"\nbegin = "0d 06:00"\n'
    )
    run(floor, 0.2)
    floor.tools["m1"].outfit.water_meter.pass_through(10.0)
    assert values(run(floor, 0.1), "water_meter")[-1] == pytest.approx(5.0)
    assert values(run(floor, 1), "water_meter")[-1] == 0.0


def test_running_is_told_at_each_change():
    """The switch says on within a step of the pumps' start, and repeats itself at intervals."""
    floor = plant("[work]\nbreaks = []\n")
    told = said(run(floor, 3), "/running")
    first = next(body for body in told if body["value"] == "on")
    assert first["time"][11:16] == "06:00"
    assert len(told) == pytest.approx(3 * 12 + 2, abs=2)


def test_part_counter_counts_parts():
    """As a counter, cutting tells finished parts, one more each dozen minutes."""
    floor = plant("[each.signals.cutting]\ncounter = true\n[work]\nbreaks = []\n")
    told = [int(body["value"]) for body in said(run(floor, 5), "/cutting")]
    assert told == sorted(told)
    assert 15 <= told[-1] <= 26


def test_conductivity_and_ph_are_those_of_a_fluid():
    """A fresh 8 % mix in tap water: 1.5 to 4 mS/cm, pH 8.8 to 9.6 (common practice)."""
    floor = plant(
        '[each.signals.conductivity]\nunit = "mS/cm"\nresolution = 0.01\n'
        '[each.signals.ph]\nresolution = 0.01\n[each.signals.humidity]\nunit = "%"\n'
        '[each.signals.air_temperature]\nunit = "degF"\n'
    )
    messages = run(floor, 0.2)
    assert 1.5 < values(messages, "conductivity")[-1] < 4.0
    assert 8.8 < values(messages, "ph")[-1] < 9.6
    assert 20.0 < values(messages, "humidity")[-1] < 80.0
    assert 60.0 < values(messages, "air_temperature")[-1] < 85.0


def test_hall_is_warmest_in_the_afternoon_and_driest_then():
    """The daily swing peaks at 15:00; relative humidity falls as the air warms."""
    floor = plant(
        "days = 2\n[climate]\nweather_c = 0\nhumidity_spread_pct = 0\n"
        '[each.signals.air_temperature]\nunit = "degC"\n[each.signals.humidity]\nunit = "%"\n'
        "resolution = 0.01\n[work]\nweekdays = []\n"
    )
    messages = run(floor, 24)
    air = values(messages, "air_temperature")
    humid = values(messages, "humidity")
    warmest = air.index(max(air)) * 300_000 + floor.tools["m1"].calendar.begin
    assert abs((warmest % DAY) - 15 * HOUR) < 100 * MINUTE
    assert humid.index(min(humid)) == pytest.approx(air.index(max(air)), abs=20)

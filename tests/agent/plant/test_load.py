"""A plant file as the agent works with it: every key taken, every unit converted."""

import re
from pathlib import Path

import pytest

from advisor.geometry import Box, LyingCylinder, Table, UprightCylinder
from advisor.words import Signal
from agent.plant.load import load_plant, parse_plant
from agent.plant.plant import Plant, Sparkplug
from agent.resources import shipped

EXAMPLE = shipped("plant.example.toml").read_text(encoding="utf-8")


def plant_with(*changes: tuple[str, str]) -> Plant:
    """The example after replacements, each of which must apply."""
    text = EXAMPLE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return parse_plant(text, Path("/plants/north.toml"))


def test_the_example_is_read_as_it_says() -> None:
    """Each fixed key of the plant file arrives where the computation looks for it."""
    plant = load_plant(shipped("plant.example.toml"))
    sump = plant.sumps["mill-07"]

    assert (plant.id, plant.units, plant.timezone) == ("north", "metric", "Europe/Dublin")
    assert plant.prefix == "millpond/north"
    assert (plant.broker.host, plant.broker.port, plant.broker.tls) == ("127.0.0.1", 1883, False)
    assert plant.store == shipped("plant.example.toml").parent / "north.db"
    assert sump.tank == Box(length=1500.0, width=700.0, height=450.0)
    assert (sump.levels.low, sump.levels.target, sump.levels.brim) == (180.0, 380.0, 430.0)
    assert sump.holdup == 35.0
    assert sump.fluid.refractometer_factor == 1.25
    assert (sump.fluid.band_low, sump.fluid.band_high, sump.fluid.target) == (0.06, 0.10, 0.08)
    assert (sump.fluid.premix_max, sump.fluid.weak_mix) == (0.20, 0.01)
    assert [(v.id, v.volume, v.graduation, v.fill) for v in sump.vessels] == [
        ("bucket", 20.0, 0.5, 16.0)
    ]
    assert [(s.id, s.kind, s.fluid, s.volume) for s in sump.supplies] == [
        ("drum-1", "drum", "semi-a", 200.0)
    ]
    assert sump.station is not None
    assert (sump.station.max_dose, sump.station.max_day) == (40.0, 120.0)


def test_what_the_file_leaves_out_has_the_documented_default() -> None:
    """Top-up midway from low to target, 15 mm of headroom, 10 minutes, 7 days, the usual words."""
    plant = plant_with()
    sump = plant.sumps["mill-07"]
    (running,) = (b for b in plant.bindings if b.signal is Signal.RUNNING)

    assert sump.levels.top_up == 280.0
    assert (sump.headroom, sump.margin_sd) == (15.0, 2.0)
    assert (plant.lateness_ms, plant.backlog_max_ms) == (600_000, 604_800_000)
    assert running.true_values == {"1", "on", "true", "running"}


def test_a_plant_may_do_without_most_of_the_file() -> None:
    """No signal, vessel, supply, store or prefix is required."""
    plant = parse_plant(
        """
        plant.id = "small"
        broker.url = "mqtt://broker"
        [[concentrate]]
        id = "a"
        refractometer_factor = 1
        band_pct = [4, 8]
        target_pct = 5
        [[sump]]
        id = "one"
        concentrate = "a"
        tank = { shape = "table", depth_mm = [0, 100, 450], volume_l = [0, 80, 410] }
        level_mm = { low = 100, target = 300, brim = 400 }
        """,
        Path("/plants/small.toml"),
    )
    sump = plant.sumps["one"]

    assert (plant.prefix, plant.timezone) == ("millpond/small", "UTC")
    assert plant.store == Path("/plants/small.db")
    assert (plant.broker.port, plant.broker.client_id) == (1883, "millpond-small")
    assert sump.tank == Table(depth=(0.0, 100.0, 450.0), volume=(0.0, 80.0, 410.0))
    assert not sump.signals
    assert not plant.bindings
    assert sump.holdup is None


@pytest.mark.parametrize(
    ("tank", "shape"),
    [
        (
            '{ shape = "upright-cylinder", diameter_mm = 900, height_mm = 500 }',
            UprightCylinder(diameter=900.0, height=500.0),
        ),
        (
            '{ shape = "lying-cylinder", diameter_mm = 600, length_mm = 1200 }',
            LyingCylinder(diameter=600.0, length=1200.0),
        ),
    ],
)
def test_every_shape_of_tank_is_read(tank: str, shape: object) -> None:
    """The shapes of the plant file are those of the computation."""
    box = '{ shape = "box", length_mm = 1500, width_mm = 700, height_mm = 450 }'
    plant = plant_with((box, tank))

    assert plant.sumps["mill-07"].tank == shape


# unit and kind of the level signal, a reading, and what it is inside. Definitions of the units:
# 1 inch = 25.4 mm (NIST Handbook 44, appendix C), 1 bar = 1e5 Pa (SI brochure, table 8),
# 1 US gallon = 3.785411784 L (Handbook 44).
LEVELS = [
    ("mm", "depth", 412.5, 412.5),
    ("m", "depth", 0.4125, 412.5),
    ("inch", "depth", 10.0, 254.0),
    ("cm", 'air-gap"\nmount_mm = 500\nname = "l', 12.0, 120.0),
    ("L", "volume", 300.0, 300.0),
    ("gal", "volume", 100.0, 378.5411784),
    ("%", "percent", 85.0, 0.85),
    ("bar", "pressure", 0.04, 4000.0),
]


@pytest.mark.parametrize(("unit", "kind", "reading", "inside"), LEVELS)
def test_a_level_in_any_unit_becomes_the_internal_one(
    unit: str, kind: str, reading: float, inside: float
) -> None:
    """Internal = per_unit x reading + offset, and the sd scales along."""
    plant = plant_with(('unit = "mm"', f'unit = "{unit}"'), ('kind = "depth"', f'kind = "{kind}"'))
    level = plant.sumps["mill-07"].signals[Signal.LEVEL]

    assert level.per_unit * reading + level.offset == pytest.approx(inside, rel=1e-12)
    assert level.sd == pytest.approx(1.5 * level.per_unit, rel=1e-12)
    assert level.unit == unit


def test_fahrenheit_has_an_offset_and_its_spread_has_none() -> None:
    """212 °F are 100 °C; an sd of 1.8 °F is one of 1 °C: exact, by definition."""
    plant = plant_with(
        (
            "[sump.signals.running]",
            (
                '[sump.signals.temperature]\ntopic = "t"\nunit = "degF"\nsd = 1.8\n'
                "range = [32, 212]\n[sump.signals.running]"
            ),
        )
    )
    temperature = plant.sumps["mill-07"].signals[Signal.TEMPERATURE]
    (binding,) = (b for b in plant.bindings if b.signal is Signal.TEMPERATURE)

    assert temperature.per_unit * 212.0 + temperature.offset == pytest.approx(100.0)
    assert temperature.sd == pytest.approx(1.0)
    assert (binding.low, binding.high) == (pytest.approx(0.0, abs=1e-9), pytest.approx(100.0))


def test_a_meter_in_gallons_rolls_over_in_litres() -> None:
    """A totaliser's rollover stands in its own unit."""
    plant = plant_with(('unit = "L"', 'unit = "gal"'), ("sd_pct = 1.0", "sd_pct = 2.5"))
    meter = plant.sumps["mill-07"].signals[Signal.WATER_METER]

    assert meter.rollover == pytest.approx(37_854.11784)
    assert meter.sd_fraction == 0.025


def test_signals_are_bound_as_they_say() -> None:
    """Pointers, words, lateness and Sparkplug reach the decoder."""
    plant = plant_with(
        (
            'topic = "north/mill-07/pumps"',
            (
                'sparkplug = { group = "g", edge = "e", device = "d", metric = "pumps/on" }\n'
                'true_values = ["Laufend", "EIN"]\nlateness_s = 30'
            ),
        ),
        (
            'topic = "north/mill-07/brix"',
            (
                'topic = "north/mill-07/brix"\nvalue_pointer = "/v"\ntime_pointer = "/t"\n'
                'unit_pointer = "/u"\ninterval_s = 5\nstale_after_s = 60'
            ),
        ),
    )
    bound = {binding.signal: binding for binding in plant.bindings}

    running, brix = bound[Signal.RUNNING], bound[Signal.BRIX]
    assert running.topic is None
    assert running.sparkplug == Sparkplug(group="g", edge="e", device="d", metric="pumps/on")
    assert running.true_values == {"laufend", "ein"}
    assert running.lateness_ms == 30_000
    assert (brix.value_pointer, brix.time_pointer, brix.unit_pointer) == ("/v", "/t", "/u")
    plan = plant.sumps["mill-07"].signals[Signal.BRIX]
    assert (plan.interval, plan.stale_after) == (5.0, 60.0)


def test_a_sump_takes_water_and_its_own_concentrate() -> None:
    """Supplies of other concentrates are no supplies of this sump; strengths are fractions."""
    plant = plant_with(
        (
            "[[vessel]]",
            """
            [[supply]]
            id = "town"
            kind = "water"
            hardness_mg_l = 180
            [[supply]]
            id = "mixer"
            kind = "proportioner"
            concentrate = "semi-a"
            settings_pct = [5, 2, 1]
            [[concentrate]]
            id = "other"
            refractometer_factor = 1
            band_pct = [4, 8]
            target_pct = 5
            [[supply]]
            id = "tote"
            kind = "premix"
            concentrate = "other"
            strength_pct = 8
            [[vessel]]""",
        )
    )
    supplies = {supply.id: supply for supply in plant.sumps["mill-07"].supplies}

    assert list(supplies) == ["drum-1", "town", "mixer"]
    assert supplies["town"].hardness == 180.0
    assert supplies["mixer"].settings == (0.01, 0.02, 0.05)
    assert plant.supplies["tote"].strength == 0.08


def test_a_dial_is_set_to_its_marks() -> None:
    """From 1 to 3 % in steps of half a percent there are five settings."""
    plant = plant_with(
        (
            "[[vessel]]",
            """
            [[supply]]
            id = "mixer"
            kind = "proportioner"
            concentrate = "semi-a"
            dial_pct = [1, 3]
            [[vessel]]""",
        )
    )

    assert plant.supplies["mixer"].settings == pytest.approx((0.01, 0.015, 0.02, 0.025, 0.03))


def test_circulating_is_as_the_data_sheet_says() -> None:
    """Minutes, or turnovers with the pumps' flow."""
    plant = plant_with(
        ("target_pct = 8.0", "target_pct = 8.0\ncirculate_min = 20\nturnovers = 4"),
        ("holdup_l = 35", "pump_l_min = 70\nholdup_l = 35"),
    )
    sump = plant.sumps["mill-07"]

    assert (sump.fluid.circulate, sump.fluid.turnovers, sump.pump_flow) == (20.0, 4.0, 70.0)


def test_alarms_are_overridden_in_the_units_of_people() -> None:
    """Limits of concentrations stand in % of the mix in the file and are fractions inside."""
    plant = plant_with(
        (
            "# [sump.alarms.level-low]",
            (
                "[sump.alarms.concentration-low]\nlimit = 5\ndeadband = 0.2\non_delay_s = 60\n"
                'priority = "high"\n[sump.alarms.level-low]\nlimit = 150\n'
                '[sump.alarms."signal-stale/brix"]\nenabled = false\n#'
            ),
        )
    )
    alarms = plant.sumps["mill-07"].alarms

    assert alarms["concentration-low"].limit == pytest.approx(0.05)
    assert alarms["concentration-low"].deadband == pytest.approx(0.002)
    assert (alarms["concentration-low"].on_delay, alarms["concentration-low"].priority) == (
        60.0,
        "high",
    )
    assert alarms["level-low"].limit == 150.0
    assert alarms["signal-stale/brix"].enabled is False


@pytest.mark.parametrize(
    ("url", "host", "port", "tls"),
    [
        ("mqtt://broker.north.example", "broker.north.example", 1883, False),
        ("mqtts://broker.north.example", "broker.north.example", 8883, True),
        ("mqtts://[::1]:1884/", "::1", 1884, True),
    ],
)
def test_the_brokers_address_is_taken_apart(url: str, host: str, port: int, tls: bool) -> None:
    """Host, port and TLS; the ports are those registered with IANA for mqtt and secure-mqtt."""
    broker = plant_with(("mqtt://127.0.0.1:1883", url)).broker

    assert (broker.host, broker.port, broker.tls) == (host, port, tls)


def test_certificates_stand_relative_to_the_plant_file() -> None:
    """Files named in a plant file move with it."""
    broker = plant_with(
        (
            'url = "mqtt://127.0.0.1:1883"',
            (
                'url = "mqtts://broker"\nca_file = "tls/ca.pem"\ncert_file = "/etc/c.pem"\n'
                'key_file = "k.pem"'
            ),
        )
    ).broker

    assert broker.ca_file == Path("/plants/tls/ca.pem")
    assert broker.cert_file == Path("/etc/c.pem")
    assert broker.key_file == Path("/plants/k.pem")


def test_a_file_from_windows_is_read(tmp_path: Path) -> None:
    """A byte order mark and CR LF line ends do no harm."""
    path = tmp_path / "plant.toml"
    path.write_bytes(b"\xef\xbb\xbf" + EXAMPLE.replace("\n", "\r\n").encode())

    assert load_plant(path).id == "north"


def test_every_commented_key_of_the_example_is_a_key() -> None:
    """What the example shows in comments can be switched on by taking the # away."""
    switched_on = re.sub(r"(?m)^# (?=[a-z_]+ = |\[[a-z])", "", EXAMPLE)
    assert switched_on.count("\n# ") < EXAMPLE.count("\n# ")
    switched_on = switched_on.replace('[[supply]] id = "', '#"').replace("  #", "#", 1)

    sump = parse_plant(switched_on, Path("/plants/north.toml")).sumps["mill-07"]

    assert sump.fluid.density == 0.98
    assert sump.alarms["level-low"].on_delay == 600.0
    assert len(sump.checks) == 4

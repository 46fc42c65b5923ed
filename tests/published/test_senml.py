"""SenML against the examples of RFC 8428 and the unit names of RFC 8428 and RFC 8798.

The packs and their resolved forms are those of the working group's repository
(github.com/core-wg/senml-spec, files named beside each), from which the standard's were made.
"""

import json

import pytest

from advisor.plan import SignalPlan
from advisor.words import Signal
from agent.decode.json_payload import parse
from agent.decode.problem import PayloadError
from agent.decode.results import Reason, Refusal, Sample
from agent.decode.senml import Record, resolve
from tests.bindings import NOW, bound, decoded

DEVICE = "urn:dev:ow:10e2073a01080063"

# pack, resolved form
EXAMPLES = {
    # RFC 8428, 5.1.2 (ex3.gen.json, ex3.gen.resolved.json): current at each of the last seconds
    "multiple data points": (
        """[{"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
        "n":"voltage","u":"V","v":120.1},{"n":"current","t":-5,"v":1.2},
        {"n":"current","t":-4,"v":1.3},{"n":"current","t":-3,"v":1.4},
        {"n":"current","t":-2,"v":1.5},{"n":"current","t":-1,"v":1.6},{"n":"current","v":1.7}]""",
        [
            ("urn:dev:ow:10e2073a0108006:current", "A", 1.276020071001e09, 1.2),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1.276020072001e09, 1.3),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1.276020073001e09, 1.4),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1.276020074001e09, 1.5),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1.276020075001e09, 1.6),
            ("urn:dev:ow:10e2073a0108006:voltage", "V", 1.276020076001e09, 120.1),
            ("urn:dev:ow:10e2073a0108006:current", "A", 1.276020076001e09, 1.7),
        ],
    ),
    # RFC 8428, 5.1.3 and 5.1.4 (ex5.gen.json, ex5.gen.resolved.json): a moving humidity sensor
    "multiple measurements": (
        """[{"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
        {"u":"lon","v":24.30621},{"u":"lat","v":60.07965},{"t":60,"v":20.3},
        {"u":"lon","t":60,"v":24.30622},{"u":"lat","t":60,"v":60.07965},{"t":120,"v":20.7},
        {"u":"lon","t":120,"v":24.30623},{"u":"lat","t":120,"v":60.07966},
        {"u":"%EL","t":150,"v":98},{"t":180,"v":21.2},{"u":"lon","t":180,"v":24.30628},
        {"u":"lat","t":180,"v":60.07967}]""",
        [
            (DEVICE, "%RH", 1.320067464e09, 20),
            (DEVICE, "lon", 1.320067464e09, 24.30621),
            (DEVICE, "lat", 1.320067464e09, 60.07965),
            (DEVICE, "%RH", 1.320067524e09, 20.3),
            (DEVICE, "lon", 1.320067524e09, 24.30622),
            (DEVICE, "lat", 1.320067524e09, 60.07965),
            (DEVICE, "%RH", 1.320067584e09, 20.7),
            (DEVICE, "lon", 1.320067584e09, 24.30623),
            (DEVICE, "lat", 1.320067584e09, 60.07966),
            (DEVICE, "%EL", 1.320067614e09, 98),
            (DEVICE, "%RH", 1.320067644e09, 21.2),
            (DEVICE, "lon", 1.320067644e09, 24.30628),
            (DEVICE, "lat", 1.320067644e09, 60.07967),
        ],
    ),
    # RFC 8428, 5.1.6 (ex6.gen.resolved.json): a base name gives way to the next, the time stays
    "collection of resources": (
        """[{"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
        {"n":"humidity","u":"%RH","v":30},
        {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
        {"n":"humidity","u":"%RH","v":67}]""",
        [
            ("2001:db8::2/temperature", "Cel", 1.320078429e09, 25.2),
            ("2001:db8::2/humidity", "%RH", 1.320078429e09, 30),
            ("2001:db8::1/temperature", "Cel", 1.320078429e09, 12.3),
            ("2001:db8::1/humidity", "%RH", 1.320078429e09, 67),
        ],
    ),
}


def resolved(pack: str | bytes) -> list[Record]:
    """A pack's records, arriving at `NOW`."""
    return resolve(parse(pack.encode() if isinstance(pack, str) else pack), NOW)


@pytest.mark.parametrize(("pack", "expected"), EXAMPLES.values(), ids=EXAMPLES)
def test_the_published_packs_resolve_as_published(pack, expected):
    """Names, units, times and values are those of the printed resolved form, in its order."""
    records = resolved(pack)

    assert [
        (record.name, record.unit, record.at / 1000, record.value) for record in records
    ] == expected
    assert not any(record.relative for record in records)


def test_the_example_of_one_data_point():
    """RFC 8428, 5.1.1: one value, taken now."""
    (record,) = resolved('[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]')

    assert record == Record(DEVICE, "Cel", NOW, 23.1, None, relative=True)


def test_the_example_of_data_types():
    """RFC 8428, 5.1.5 (ex7.gen.json): numbers, text, truth and bytes."""
    records = resolved(
        """[{"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
        {"n":"label","vs":"Machine Room"},{"n":"open","vb":false},
        {"n":"nfv-reader","vd":"aGkgCg"}]"""
    )

    assert [record.value for record in records] == [23.1, "Machine Room", False, b"hi \n"]


@pytest.mark.parametrize(
    ("seconds", "instant", "relative"),
    [
        (0, NOW, True),
        (-5, NOW - 5_000, True),
        (60, NOW + 60_000, True),
        (268_435_455, NOW + 268_435_455_000, True),
        (268_435_456, 268_435_456_000, False),  # 1978-07-04T21:24:16Z: RFC 8428, 4.5.3
    ],
)
def test_times_from_2_to_the_28_on_are_absolute(seconds, instant, relative):
    """RFC 8428, 4.5.3: smaller times are relative to now, negative ones in the past."""
    (record,) = resolved(json.dumps([{"n": "a", "t": seconds, "v": 1}]))

    assert (record.at, record.relative) == (instant, relative)


def test_base_value_and_base_sum_are_added():
    """RFC 8428, 4.5.4 and 4.5.5: a missing own or base part counts as zero."""
    records = resolved(
        """[{"bn":"a","bv":10,"bs":100,"v":1,"s":5},{"v":2},{"vb":true},{"bv":0,"s":1}]"""
    )

    assert [(record.value, record.sum) for record in records] == [
        (11, 105),
        (12, 100),
        (True, 100),
        (None, 101),
    ]


@pytest.mark.parametrize("version", [1, 5, 10, 26])
def test_understood_versions(version):
    """RFC 8428, 4.4 and RFC 9100: up to 10, and 26 with the feature "secondary units"."""
    assert resolved(json.dumps([{"bver": version, "n": "a", "v": 1}]))


REFUSED = {
    "a later version (4.4)": '[{"bver":11,"n":"a","v":1}]',
    "an unknown feature (RFC 9100)": '[{"bver":42,"n":"a","v":1}]',
    "two versions in one pack (4.4)": '[{"bver":5,"n":"a","v":1},{"bver":10,"n":"a","v":1}]',
    "a version of nothing (4.1)": '[{"bver":0,"n":"a","v":1}]',
    "half a version": '[{"bver":9.5,"n":"a","v":1}]',
    "a field that must be understood (4.4)": '[{"n":"a","v":1,"calibrated_":true}]',
    "no name at all (4.2)": '[{"v":1}]',
    "a name with a blank (4.5.1)": '[{"n":"mill 07","v":1}]',
    "a name that begins with a mark (4.5.1)": '[{"n":"/a","v":1}]',
    "a name of another script (4.5.1)": '[{"n":"Fräse","v":1}]',
    "no value and no sum (4.2)": '[{"n":"a","t":0}]',
    "two values (4.2)": '[{"n":"a","v":1,"vs":"1"}]',
    "a number as text": '[{"n":"a","v":"1"}]',
    "truth as a number": '[{"n":"a","v":true}]',
    "a time as text": '[{"n":"a","t":"0","v":1}]',
    "a base name that is none": '[{"bn":7,"v":1}]',
    "an infinite value": '[{"n":"a","v":1e999}]',
    "values that overflow": '[{"n":"a","bv":1e308,"v":1e308}]',
    "data that is no base64url": '[{"n":"a","vd":"?"}]',
    "data of an impossible length": '[{"n":"a","vd":"abcde"}]',
    "a record that is a number": "[1]",
    "an empty pack": "[]",
}


@pytest.mark.parametrize("pack", REFUSED.values(), ids=REFUSED)
def test_what_the_standard_forbids_is_refused(pack):
    """Such a pack is refused as a whole, with the record and what was expected."""
    with pytest.raises(PayloadError) as caught:
        resolved(pack)

    assert caught.value.reason is Reason.SENML
    assert caught.value.detail


def test_unknown_fields_are_passed_over():
    """RFC 8428, 4.4: a field that is not known is ignored, base fields too."""
    (record,) = resolved('[{"n":"a","v":1,"site":"north","bx":{"y":1}}]')

    assert record.value == 1


@pytest.mark.parametrize("seconds", [1.7724312e12, -1e12, 1e300])
def test_times_beyond_the_calendar_are_refused(seconds):
    """Milliseconds where seconds belong are told as a wrong time, not read as another age."""
    with pytest.raises(PayloadError) as caught:
        resolved(json.dumps([{"n": "a", "t": seconds, "v": 1}]))

    assert caught.value.reason is Reason.TIME


def level(kind: str) -> SignalPlan:
    """A level sensor of a kind."""
    return SignalPlan(signal=Signal.LEVEL, kind=kind)  # type: ignore[arg-type]


# signal, kind of level, unit of SenML, value, value inside. Scales: RFC 8428, 12.1 (primary units;
# "%" is the ratio), RFC 8798, table 2 ("/100", "mm", "hPa", ...); 1 S/m = 10 mS/cm, 1 m3 = 1000 L.
UNITS = [
    (Signal.LEVEL, "depth", "m", 0.4125, 412.5),
    (Signal.LEVEL, "depth", "mm", 412.5, 412.5),
    (Signal.LEVEL, "depth", "cm", 41.25, 412.5),
    (Signal.LEVEL, "volume", "m3", 0.3124, 312.4),
    (Signal.LEVEL, "volume", "l", 312.4, 312.4),
    (Signal.LEVEL, "percent", "/", 0.85, 0.85),
    (Signal.LEVEL, "percent", "%", 0.85, 0.85),
    (Signal.LEVEL, "percent", "/100", 85.0, 0.85),
    (Signal.LEVEL, "percent", "/1000", 850.0, 0.85),
    (Signal.LEVEL, "pressure", "Pa", 4038.0, 4038.0),
    (Signal.LEVEL, "pressure", "hPa", 40.38, 4038.0),
    (Signal.BRIX, "depth", "/100", 7.9, 7.9),
    (Signal.BRIX, "depth", "%", 0.079, 7.9),
    (Signal.BRIX, "depth", "degBrix", 7.9, 7.9),  # none of SenML's: taken as the registry's
    (Signal.TEMPERATURE, "depth", "Cel", 25.5, 25.5),
    (Signal.TEMPERATURE, "depth", "K", 298.65, 25.5),
    (Signal.HUMIDITY, "depth", "%RH", 45.0, 0.45),
    (Signal.PH, "depth", "pH", 9.1, 9.1),
    (Signal.CONDUCTIVITY, "depth", "S/m", 0.21, 2.1),
    (Signal.WATER_METER, "depth", "m3", 1.25, 1250.0),
    (Signal.WATER_METER, "depth", "l", 1250.0, 1250.0),
]


@pytest.mark.parametrize(("signal", "kind", "unit", "value", "inside"), UNITS)
def test_registered_units(signal, kind, unit, value, inside):
    """Each unit of the registries comes out in the signal's internal unit."""
    plans = (level(kind),) if signal is Signal.LEVEL else ()
    pack = json.dumps([{"n": "a", "u": unit, "v": value}])

    (sample,) = decoded(pack, bound(signal), plans=plans)

    assert isinstance(sample, Sample)
    assert sample.value == pytest.approx(inside, rel=1e-12)


@pytest.mark.parametrize(
    ("signal", "unit"),
    [
        (Signal.LEVEL, "Cel"),
        (Signal.LEVEL, "kW"),
        (Signal.LEVEL, "/"),
        (Signal.TEMPERATURE, "/100"),
        (Signal.PH, "m"),
        (Signal.BRIX, "kg/m3"),
        (Signal.LEVEL, "furlongs?"),
        (Signal.WATER_METER, "l/s"),
    ],
)
def test_units_of_something_else_are_refused(signal, unit):
    """A unit that is not one of the signal is refused, and the refusal names it."""
    (refusal,) = decoded(json.dumps([{"n": "a", "u": unit, "v": 1.0}]), bound(signal))

    assert isinstance(refusal, Refusal)
    assert refusal.reason is Reason.UNIT
    assert unit in refusal.detail


def test_per_cent_in_the_wrong_name_is_out_of_range():
    """RFC 8428 calls the ratio "%": 85 of it is no level, and is refused, not divided."""
    (refusal,) = decoded('[{"n":"a","u":"%","v":85}]', bound(), plans=(level("percent"),))

    assert isinstance(refusal, Refusal)
    assert refusal.reason is Reason.RANGE


@pytest.mark.parametrize(("unit", "total", "litres"), [("l/s", 12.5, 12.5), ("m3/s", 0.5, 500.0)])
def test_the_sum_of_a_flow_is_a_totaliser(unit, total, litres):
    """RFC 8428, 4.2: a sum is in the unit times seconds; that of a flow is a volume."""
    pack = json.dumps([{"n": "a", "u": unit, "v": 0.1, "s": total}])

    (sample,) = decoded(pack, bound(Signal.WATER_METER))

    assert isinstance(sample, Sample)
    assert sample.value == pytest.approx(litres)

"""People who pour, report, measure, follow advice and change out, and what the truth says of it."""

import json

import pytest

from simulators.instants import DAY, HOUR, MINUTE, instant, rfc3339
from tests.simulators.floors import plant, run, said, values

CREW = "[each.operators]\nbelow_mm = 5\n"
WEEK = "days = 9\nstep_s = 60\n"


def events(floor, kind="addition"):
    """True events of a kind so far."""
    return [r for r in floor.take_truth() if r["type"] == "event" and r["kind"] == kind]


def test_unreported_additions_are_in_the_truth_alone():
    """People pour about once a day, and say nothing."""
    floor = plant(WEEK + CREW + "reports_share = 0\n")
    messages = run(floor, 24 * 9)
    poured = events(floor)
    assert 5 <= len(poured) <= 20
    assert said(messages, "/addition") == []
    assert all(not event["reported"] for event in poured)
    total = sum(event["water_l"] for event in poured)
    assert total == pytest.approx(floor.tools["m1"].sump.book.water_added, abs=1e-3)


def test_reports_agree_with_the_truth_to_their_error():
    """Each addition is reported once, under the id that the truth has, at its own minute."""
    floor = plant(WEEK + CREW + "reports_share = 1\nreport_error = 0\nstrength_error = 0\n")
    reports = {body["id"]: body for body in said(run(floor, 24 * 9), "/addition")}
    poured = [event for event in events(floor) if event["report"] in reports]
    assert len(poured) >= 5
    for event in poured:
        report = reports[event["report"]]
        assert report["volume_l"] == pytest.approx(event["volume_l"], rel=0.05)
        assert report["strength_pct"] == pytest.approx(event["strength_pct"] or 0.0, abs=0.01)
        assert 0 <= instant(event["at"]) - instant(report["at"]) < MINUTE


def test_wrong_digit_is_corrected_by_an_entry_that_replaces_it():
    """With every report mistyped, each has a tenfold volume and a later correction."""
    floor = plant(WEEK + CREW + "reports_share = 1\ntyping_share = 1\n")
    reports = said(run(floor, 24 * 9), "/addition")
    wrong = {body["id"]: body for body in reports if "replaces" not in body}
    corrections = [body for body in reports if "replaces" in body]
    assert len(corrections) >= 4
    for body in corrections:
        first = wrong[body["replaces"]]
        assert first["volume_l"] == pytest.approx(10.0 * body["volume_l"])
        assert first["at"] == body["at"]


def test_reported_twice_under_the_same_id_or_by_a_second_person():
    """Every addition is told twice, with one id or with two."""
    floor = plant(WEEK + CREW + "reports_share = 1\ntwice_share = 1\n")
    reports = said(run(floor, 24 * 9), "/addition")
    poured = events(floor)
    assert len(reports) >= 2 * len(poured) - 2
    floor = plant(WEEK + CREW + "reports_share = 1\ntwice_share = 0.6\n", seed=2)
    reports = said(run(floor, 24 * 9), "/addition")
    assert {"foreman"} < {body["by"] for body in reports}


def test_additions_at_the_pump_start_are_marked():
    """With every addition at the start, all begin within two minutes of one, and say so."""
    floor = plant(WEEK + CREW + "at_start_share = 1\n")
    run(floor, 24 * 9)
    poured = events(floor)
    starts = floor.tools["m1"].starts
    assert len(poured) >= 5
    for event in poured:
        at = instant(event["at"])
        assert event["near_start"]
        assert min(abs(at - start) for start in starts) <= 2 * MINUTE + 60_000


def test_metered_additions_show_in_the_totals():
    """What people pour through the meters is what the meters count, within their gain."""
    floor = plant(
        WEEK
        + CREW
        + "metered = true\n[each.signals.water_meter]\n[each.signals.concentrate_meter]\n"
        "resolution = 0.01\n"
    )
    counted = values(run(floor, 24 * 9), "water_meter")[-1]
    assert counted == pytest.approx(floor.tools["m1"].sump.book.water_added, rel=0.04)


def test_checks_come_on_their_days_with_their_error():
    """A refractometer and a titration, each on its weekday, near what is truly there."""
    floor = plant(
        WEEK + "[water]\nbrix = 0.0\n"
        "[[each.checks]]\nkind = 'refractometer'\nweekdays = [1, 3]\nmissed_share = 0\nsd = 0\n"
        "[[each.checks]]\nkind = 'titration'\nweekdays = [2]\nmissed_share = 0\nsd = 0\n"
        "[[each.checks]]\nkind = 'refractometer'\nunit = '%'\nweekdays = [4]\nmissed_share = 0\n"
    )
    checks = said(run(floor, 24 * 9), "/check")
    brix = [body for body in checks if body["unit"] == "degBrix"]
    acid = [body for body in checks if body["kind"] == "titration"]
    assert len(brix) == 3
    assert len(acid) == 1
    for body in brix:
        assert body["value"] * 1.25 == pytest.approx(10.0, abs=2.5)
    assert all(body["unit"] == "%" for body in checks if body["kind"] == "titration")


def test_titration_does_not_see_the_oil_that_refractometers_see():
    """With 3 L of oil at 0.5 °Brix per litre in 100 L the refractometer is 0.45 °Brix high."""
    floor = plant(
        "days = 2\n[each]\noil_l = 3.0\n[each.machine]\noil_brix_per_l = 0.5\n"
        "[[each.checks]]\nkind = 'refractometer'\nweekdays = [0, 1]\nsd = 0\nmissed_share = 0\n"
        "[[each.checks]]\nkind = 'refractometer'\nweekdays = [0, 1]\nsd = 0\nmissed_share = 0\n"
        "sample = 'filtered'\n"
        "[[each.checks]]\nkind = 'titration'\nweekdays = [0, 1]\nsd = 0\nmissed_share = 0\n"
    )
    checks = said(run(floor, 12), "/check")
    by_kind = {(body["kind"], body["sample"]): body["value"] for body in checks}
    acid = by_kind["titration", "as-is"]
    assert by_kind["refractometer", "as-is"] * 1.25 - acid > 0.35
    assert abs(by_kind["refractometer", "filtered"] * 1.25 - acid) < 0.2


def test_dipstick_waits_for_the_pumps():
    """A dipstick asked for at ten is read after the shift, with everything drained back."""
    floor = plant(
        "days = 2\n[[each.checks]]\nkind = 'dipstick'\nweekdays = [0]\nsd = 0\nmissed_share = 0\n"
        "[work]\nbreaks = []\n"
    )
    messages = run(floor, 24)
    body = said(messages, "/check")[0]
    assert instant(body["at"]) - floor.tools["m1"].calendar.begin > 17 * HOUR
    assert body["value"] == pytest.approx(floor.tools["m1"].rest_depth, abs=6.0)


def test_prism_rounds_clean_and_skimming_takes_oil():
    """Every second day, reported; the oil goes down by 85 % each time."""
    floor = plant(
        WEEK + "[each]\noil_l = 4.0\n[each.skim]\nevery_days = 5\nat = '05:40'\n"
        "[each.clean_prism]\nevery_days = 5\nat = '10:00'\n"
    )
    kinds = [body["kind"] for body in said(run(floor, 24 * 9), "/service")]
    assert set(kinds) == {"prism-cleaned", "skimmed"}
    assert floor.tools["m1"].sump.oil < 0.2


def advice(**changes):
    """An advice to top up."""
    body = {
        "schema": 1, "id": "adv-1", "sump": "m1", "kind": "top-up", "drain_l": 0.0,
        "valid_until": rfc3339(10**13), "mix": {"water_l": 22.0, "concentrate_l": 1.5},
    }  # fmt: skip
    return json.dumps(body | changes).encode()


def test_advice_is_carried_out_once_and_reported_with_its_id():
    """At the next look the crew pours what was advised, within the error of its marks."""
    floor = plant(
        "days = 3\n[each.operators]\nlooks_share = 1\nfollow_share = 1\nonly_advised = true\n"
    )
    floor.hear("millpond/shop/m1/advice", advice())
    messages = run(floor, 60)
    reports = said(messages, "/addition")
    poured = events(floor)
    assert len(poured) == len(reports) == 1
    assert reports[0]["advice"] == "adv-1"
    assert reports[0]["water_l"] == 22.0
    assert poured[0]["water_l"] == pytest.approx(22.0, rel=0.1)
    assert poured[0]["concentrate_l"] == pytest.approx(1.5, rel=0.1)


def test_check_that_is_advised_is_made_once():
    """Asked for a check, the crew measures at its next look and reports it."""
    floor = plant("days = 3\n[each.operators]\nlooks_share = 1\nfollow_share = 1\n")
    floor.hear("millpond/shop/m1/advice", advice(kind="check", mix=None))
    checks = said(run(floor, 50), "/check")
    assert [body["kind"] for body in checks] == ["refractometer"]


def test_exchange_drains_first():
    """An exchange takes fluid out, reports it, and pours afterwards."""
    floor = plant("days = 2\n[each.operators]\nlooks_share = 1\nfollow_share = 1\n")
    floor.hear("millpond/shop/m1/advice", advice(kind="exchange", drain_l=30.0))
    messages = run(floor, 12)
    drained, poured = said(messages, "/drain"), said(messages, "/addition")
    assert drained[0]["volume_l"] == 30.0
    assert poured[0]["at"] > drained[0]["at"]


def test_withdrawn_or_expired_advice_is_left_alone():
    """Nothing is poured on advice that is withdrawn, old, or says nothing."""
    crew = "days = 2\n[each.operators]\nlooks_share = 1\nfollow_share = 1\nonly_advised = true\n"
    for payloads in ([advice(), b""], [advice(valid_until=rfc3339(0))], [advice(kind="none")]):
        floor = plant(crew)
        for payload in payloads:
            floor.hear("millpond/shop/m1/advice", payload)
        assert said(run(floor, 24), "/addition") == []


def test_change_out_in_its_stages():
    """Begun, drained, filled to the target, sensors back, done; the level's zero is another."""
    floor = plant(
        "days = 2\n[each.signals.level]\noffset_mm = 3\n"
        '[[each.disturbance]]\nkind = "charge"\nbegin = "0d 09:00"\n[work]\nbreaks = []\n'
    )
    tool = floor.tools["m1"]
    before = tool.outfit.level.offset
    messages = run(floor, 8)
    stages = said(messages, "/charge")
    sump = tool.sump
    assert [body["stage"] for body in stages] == ["begun", "filled", "done"]
    assert len({body["id"] for body in stages}) == 1
    assert stages[1]["water_l"] + stages[1]["concentrate_l"] == pytest.approx(346.5, abs=0.2)
    assert 100.0 * sump.concentrate / sump.volume == pytest.approx(8.0, abs=0.15)
    assert tool.outfit.level.offset != before
    records = [r for r in floor.take_truth() if r["type"] == "event"]
    drained, charge = records[0], records[-1]
    assert (drained["kind"], charge["kind"]) == ("drain", "charge")
    assert drained["volume_l"] > 300.0
    assert charge["volume_l"] == pytest.approx(346.5, rel=1e-3)
    during = [
        json.loads(m.payload)["value"]
        for m in messages
        if m.topic.endswith("/level") and "09:30" < json.loads(m.payload)["time"][11:16] < "09:55"
    ]
    assert max(abs(value) for value in during) < 80.0


def test_leak_starts_grows_and_is_mended():
    """24 L/d that grow for a day and last two: 36 L, and none after."""
    floor = plant(
        'days = 5\nstep_s = 60\n[[each.disturbance]]\nkind = "leak"\nbegin = "0d 12:00"\n'
        'end = "2d 12:00"\nl_per_day = 24\ngrows_h = 24\n[work]\nweekdays = []\n'
    )
    run(floor, 24 * 5 - 6)
    book = floor.tools["m1"].sump.book
    assert book.leak_water + book.leak_concentrate == pytest.approx(36.0, rel=0.01)


@pytest.mark.parametrize(("only_running", "litres"), [("false", 24.0), ("true", 24.0 * 16 / 24)])
def test_ingress_by_day_and_by_night(only_running, litres):
    """A valve passes all day; a coil drips only while the machine runs, sixteen hours."""
    floor = plant(
        'days = 3\nstep_s = 60\n[[each.disturbance]]\nkind = "ingress"\nbegin = "1d 00:00"\n'
        f'end = "2d 00:00"\nl_per_day = 24\nonly_running = {only_running}\n'
        "[work]\nbreaks = []\n"
    )
    run(floor, 60)
    assert floor.tools["m1"].sump.book.ingress == pytest.approx(litres, rel=0.02)


def test_wrong_concentrate_reads_by_its_own_factor():
    """5 L of factor 2.5 among the 27.7 L there raise the reading by only 0.5 °Brix, not 1.1."""
    floor = plant(
        '[each.signals.brix]\nneeds_flow = false\n[[each.disturbance]]\nkind = "wrong-concentrate"'
        '\nbegin = "0d 05:30"\nvolume_l = 5\nfactor = 2.5\nreported = false\n'
        "[work]\nweekdays = []\n"
    )
    run(floor, 6)
    tool = floor.tools["m1"]
    strength = tool.sump.concentrate / tool.sump.volume
    reading = tool.drawn.optics.reading(strength, tool.sump)
    own = 100.0 * (tool.sump.concentrate - tool.sump.foreign) / tool.sump.volume
    foreign = 100.0 * tool.sump.foreign / tool.sump.volume
    assert reading == pytest.approx(own / 1.25 + foreign / 2.5, rel=1e-6)
    assert tool.sump.foreign > 4.9


def test_drain_and_top_up_at_their_moment():
    """Both happen when the scenario says, and are reported unless it says not."""
    floor = plant(
        '[[each.disturbance]]\nkind = "drain"\nbegin = "0d 06:10"\nvolume_l = 30\n'
        '[[each.disturbance]]\nkind = "top-up"\nbegin = "0d 07:00"\nvolume_l = 24\n'
        "strength_pct = 5\nreported = false\n"
    )
    messages = run(floor, 4)
    records = [r for r in floor.take_truth() if r["type"] == "event"]
    assert [r["kind"] for r in records] == ["drain", "addition"]
    assert records[0]["volume_l"] == pytest.approx(30.0)
    assert records[1]["strength_pct"] == pytest.approx(5.0)
    assert len(said(messages, "/drain")) == 1
    assert said(messages, "/addition") == []


def test_shutdown_stands_still():
    """No pump runs in a shutdown; before and after it they do."""
    floor = plant(
        "days = 5\nstep_s = 60\n[work]\nlate_min = 0\n"
        'shutdown = [{ begin = "1d 00:00", end = "3d 00:00" }]\n'
    )
    starts = floor.tools["m1"].starts
    begin = floor.tools["m1"].calendar.begin - 5 * HOUR
    days = {(at - begin) // DAY for at in starts}
    assert 0 in days
    assert 1 not in days
    assert 2 not in days
    assert 3 in days

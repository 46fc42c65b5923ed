"""Charge and change-out: worked out, printed, carried out step by step, taken back."""

import json
import re
from dataclasses import replace

import pytest

from advisor import estimate
from agent.page.charging import begin, moment, reported, ticked
from agent.page.office import Office
from agent.page.recipe_form import asked
from agent.page.speech import Speech
from agent.page.visitor import speech_for
from tests.page.shop import NOW, SUMP, Shop, token_of, words_of

PAGE = f"/sumps/{SUMP}/charge"
LARGE = {
    "volume": "399 L",
    "target": "8",
    "premix": "4:1",
    "weak_mix": "1",
    "bucket": "140 L",
    "factor": "1.25",
    "change_out": "1",
}
"""The plant file's charge, in batches that a test pours quickly."""


def step_form(page: str, **more: str) -> dict[str, str]:
    """The form of the step that is to be done now."""
    number = re.search(r'name="number" value="(\d+)"', page)
    assert number is not None, "no step is to be done"
    return {"token": token_of(page), "number": number.group(1), "done": "1", **more}


def begun(client) -> str:
    """Begin what the plant file says, in few large batches; the page of the list."""
    page = client.get(PAGE, params=LARGE).text
    fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', page))
    return client.post(PAGE, data=fields).text


def bodies(shop: Shop, channel: str) -> list[dict[str, object]]:
    """What was sent on a channel."""
    return [json.loads(m.payload) for m in shop.sent if m.topic.endswith(f"/{channel}")]


def test_the_calculation_begins_with_what_the_plant_file_says(shop: Shop):
    """399 L at 8 %: the target level of a tank of 1.05 m², 31.9 L of concentrate; by hand."""
    with shop.client() as client:
        page = words_of(client.get(PAGE).text)
    assert "Fill up with 399 L of fresh mix" in page
    assert "semi-a 31.9 L" in page or "semi-a 32" in page
    assert "6.4 °Brix" in page


def test_other_numbers_are_worked_out_as_on_the_command_line(shop: Shop):
    """420 L at 7 parts per 100 with 5:1 in buckets of 20 L: the command's own answer."""
    typed = {
        "volume": "420 L", "target": "7", "convention": "per-water", "premix": "5:1",
        "bucket": "20 L", "weak_mix": "0", "graduation": "", "residue": "", "factor": "",
        "price": "", "hardness": "", "change_out": "0",
    }  # fmt: skip
    with shop.client() as client:
        answer = client.get(PAGE, params=typed)
    assert answer.status_code == 200
    # 7 to 100 of water is 6.542 % of the mix: 27.48 L of concentrate in 420 L
    assert "27.5 L" in words_of(answer.text)


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("volume", "none", "Enter a volume"),
        ("target", "0", "more than 0 and less than 100"),
        ("premix", "strong", "Enter a ratio"),
        ("weak_mix", "50", "up to the strongest mix"),
        ("residue", "900", "less than the charge"),
        ("hardness", "wet", "its unit"),
    ],
)
def test_what_makes_no_sense_is_said_beside_its_field(
    shop: Shop, field: str, value: str, said: str
):
    """The field, what would do; no recipe."""
    with shop.client() as client:
        page = client.get(PAGE, params={"volume": "300", "target": "8", field: value}).text
    assert said in words_of(page)
    assert "Begin the" not in words_of(page)


def test_the_sheet_is_printed_under_a_policy_of_its_own(shop: Shop):
    """One style of ours, known by its hash; still no script and nothing from elsewhere."""
    with shop.client() as client:
        answer = client.get(f"{PAGE}/sheet", params={"volume": "300", "target": "8"})
    policy = answer.headers["content-security-policy"]
    assert "'sha256-" in policy
    assert "unsafe" not in policy
    assert "300 L" in words_of(answer.text)


def test_a_change_out_from_the_first_step_to_the_last(shop: Shop):
    """Begun, drained, each batch told, done with what was poured, and the reading after it."""
    with shop.client() as client:
        page = begun(client)
        for _ in range(80):
            if "All done" in page:
                break
            more = {"reading": "6.1"} if 'name="reading"' in page else {"to": "tank 2"}
            page = client.post(f"{PAGE}/step", data=step_form(page, **more)).text

    charges = bodies(shop, "charge")
    assert [c["stage"] for c in charges][:1] == ["begun"]
    assert charges[-1]["stage"] == "done"
    filled = [c for c in charges if c["stage"] == "filled"]
    amounts = [c["water_l"] + c["concentrate_l"] for c in filled]  # type: ignore[operator]  # numbers
    assert amounts == sorted(amounts)
    assert amounts[-1] == pytest.approx(399.0, abs=0.6)
    assert all("replaces" in c for c in filled[1:])
    assert bodies(shop, "drain") == [
        {"id": bodies(shop, "drain")[0]["id"], "at": bodies(shop, "drain")[0]["at"], "by": "",
         "all": True, "to": "tank 2"}
    ]  # fmt: skip
    [check] = bodies(shop, "check")
    assert (check["value"], check["unit"]) == (6.1, "degBrix")
    assert check["at"] > charges[-1]["at"]  # type: ignore[operator]  # both RFC 3339
    assert "factor is 1.31" in words_of(page)


def test_the_balance_begins_anew_from_what_was_poured(shop: Shop):
    """The entries that were stored, folded: the charge's volume and strength, by the balance."""
    with shop.client() as client:
        page = begun(client)
        while "All done" not in page:
            page = client.post(f"{PAGE}/step", data=step_form(page)).text
    plan = shop.plant.sumps[SUMP]
    belief = estimate.begin(plan)
    logged = [e for e in shop.office.logbook.entries(SUMP, 0, 2**53, 200) if not e.is_replaced]
    for entry in sorted((e.entry for e in logged), key=lambda entry: entry.at):
        belief = estimate.absorb(belief, entry, plan)
    state = estimate.state_at(belief, belief.at, plan)
    assert state.volume is not None
    assert state.concentration is not None
    assert state.volume.value == pytest.approx(399.0, abs=3.0 * state.volume.sd)
    assert state.concentration.value == pytest.approx(0.08, abs=3.0 * state.concentration.sd)


def test_another_device_goes_on_and_so_does_a_restart(shop: Shop):
    """The list is the server's: another browser sees the same step, and a new process too."""
    with shop.client() as one, shop.client() as other:
        page = begun(one)
        page = one.post(f"{PAGE}/step", data=step_form(page)).text
        assert "step 2 of" in words_of(other.get(PAGE).text)
        page = other.get(PAGE).text
        other.post(f"{PAGE}/step", data=step_form(page))
        assert "step 3 of" in words_of(one.get(PAGE).text)
    again = Office(
        plant=shop.plant, settings=shop.office.settings, database=shop.office.database,
        mailbox=shop.office.mailbox,
    )  # fmt: skip
    kept = again.pours.work(SUMP, NOW)
    assert kept == shop.office.pours.work(SUMP, NOW)
    assert kept is not None
    assert len(kept.done) == 2


def test_a_list_that_cannot_be_read_begins_anew(shop: Shop, caplog: pytest.LogCaptureFixture):
    """A damaged file is said in the log, and takes nothing else down."""
    path = shop.plant.store.with_suffix(".lists.json")
    path.write_text("{", "utf-8")
    again = Office(
        plant=shop.plant, settings=shop.office.settings, database=shop.office.database,
        mailbox=shop.office.mailbox,
    )  # fmt: skip
    assert again.pours.work(SUMP, NOW) is None
    assert "lists begin anew" in caplog.text


def test_a_batch_by_mistake_is_taken_back(shop: Shop):
    """The total that is told goes down again, in place of the one before."""
    with shop.client() as client:
        page = begun(client)
        while bodies(shop, "charge")[-1]["stage"] != "filled":
            page = client.post(f"{PAGE}/step", data=step_form(page)).text
        page = client.post(f"{PAGE}/step", data=step_form(page)).text
        work = shop.office.pours.work(SUMP, NOW)
        assert work is not None
        form = {"token": token_of(page), "number": str(work.last_item), "done": "0"}
        client.post(f"{PAGE}/step", data=form)
    first, second, third = bodies(shop, "charge")[-3:]
    assert second["water_l"] > first["water_l"]  # type: ignore[operator]  # numbers
    assert third["water_l"] == first["water_l"]
    assert third["replaces"] == second["id"]


def test_the_pumps_have_their_time(shop: Shop):
    """Half an hour from when somebody starts it; the step may be ticked before, by who knows."""
    with shop.client() as client:
        page = begun(client)
        while "start the time" not in words_of(page):
            page = client.post(f"{PAGE}/step", data=step_form(page)).text
        form = step_form(page) | {"action": "time"}
        page = words_of(client.post(f"{PAGE}/step", data=form).text)
    assert "Mixed at 06:30." in page
    assert "30 minutes to go" in page


@pytest.mark.parametrize("value", ["deep", "-1", "0", "200"])
def test_a_reading_that_is_none_is_not_taken(shop: Shop, value: str):
    """It is said beside the field, and the step stays."""
    with shop.client() as client:
        page = begun(client)
        while 'name="reading"' not in page:
            page = client.post(f"{PAGE}/step", data=step_form(page)).text
        page = client.post(f"{PAGE}/step", data=step_form(page, reading=value)).text
    assert 'id="e-reading"' in page
    assert not bodies(shop, "check")


def test_what_did_not_happen_is_taken_back_and_stays_in_the_records(shop: Shop):
    """Each report gives its place to a note."""
    with shop.client() as client:
        page = begun(client)
        while not any(c["stage"] == "filled" for c in bodies(shop, "charge")):
            page = client.post(f"{PAGE}/step", data=step_form(page)).text
        client.post(f"{PAGE}/end", data={"token": token_of(page), "action": "withdraw"})
        assert "Begin the change-out" in words_of(client.get(PAGE).text)
    notes = bodies(shop, "service")
    assert {n["replaces"] for n in notes} == {
        bodies(shop, "charge")[0]["id"], bodies(shop, "charge")[-1]["id"],
        bodies(shop, "drain")[0]["id"],
    }  # fmt: skip


def test_while_the_broker_is_away_nothing_is_ticked(shop: Shop):
    """A batch that cannot be reported stays undone, and the page says why."""
    with shop.client() as client:
        page = begun(client)
        while (
            shop.office.pours.work(SUMP, NOW)
            .items[  # type: ignore[union-attr]  # it was begun
                int(step_form(page)["number"])
            ]
            .kind
            != "pour"
        ):
            page = client.post(f"{PAGE}/step", data=step_form(page)).text
        shop.is_connected = False
        page = client.post(f"{PAGE}/step", data=step_form(page)).text
        assert "Nothing was reported" in words_of(page)
    assert bodies(shop, "charge") == bodies(shop, "charge")[:1]


def test_reports_about_one_moment_keep_their_order(shop: Shop):
    """A clock that stands still gives each report a moment of its own, later than the last."""
    recipe = asked(shop.office.card(SUMP), {}, _speech(shop)).recipe
    assert recipe is not None
    work = begin(recipe, NOW, "ann")
    work = reported(work, "begun", "a", moment(work, "begun", NOW))
    work = reported(work, "filled", "b", moment(work, "filled", NOW))
    assert moment(work, "done", NOW) > work.times["filled"] > work.times["begun"]
    assert moment(work, "filled", NOW + 99) == work.times["filled"]
    assert ticked(work, 0, done=True, now=NOW, by="").by == "ann"
    assert replace(work, done=frozenset(range(len(work.items)))).is_complete


def _speech(shop: Shop) -> Speech:
    """English, metric."""
    return speech_for("en", "metric", shop.plant.timezone)

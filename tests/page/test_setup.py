"""Set-up: forms for the plant file that keep its comments, check it, and write it in one step."""

import json
import stat
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from agent.page.people import new_user, write_users
from agent.page.setup.editing import Change, EditError, edited
from agent.page.setup.strapping import read_strapping
from agent.page.setup.writing import COPIES, PlantEditor, WritingError
from agent.plant.journal import written_by
from agent.plant.load import load_plant
from agent.resources import shipped
from tests.page.setting_up import HEAD, SetupShop, fields_of, write_plant
from tests.page.shop import NOW, SUMP, Shop, token_of, words_of
from tests.page.test_hostile import EVIL, assert_harmless

EXAMPLE = shipped("plant.example.toml").read_text("utf-8")
DEMO = shipped("demo.toml").read_text("utf-8")


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[SetupShop]:
    """The example's plant, its file beside it."""
    shop = SetupShop(tmp_path)
    yield shop
    shop.close()


def change(client: TestClient, path: str, *, apply: bool = True, **fields: str) -> tuple[int, str]:
    """Fill a form in, look at the change and write it; status and text of the last page."""
    form = fields_of(client.get(path).text) | fields
    answer = client.post(path, data={**form, "action": "look"})
    if answer.status_code == 200 and apply:
        again = fields_of(answer.text)
        answer = client.post(path, data={**again, "action": "apply"}, follow_redirects=False)
    return answer.status_code, answer.text


def lines_changed(before: str, after: str) -> tuple[list[str], list[str]]:
    """Lines that went and lines that came."""
    old, new = before.splitlines(), after.splitlines()
    return [x for x in old if x not in new], [x for x in new if x not in old]


# --- editing -------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", [EXAMPLE, DEMO, EXAMPLE.replace("\n", "\r\n")])
def test_a_change_touches_its_own_lines_only(text: str):
    """Every other line, comments and blanks included, stays as it was, with its line ends."""
    data = tomllib.loads(text)
    sump = data["sump"][0]["id"]
    changed = edited(text, Change("sump", sump, {"name": 'Big "one"', "level_mm": {"low": 150}}))
    gone, came = lines_changed(text, changed)
    assert all("level_mm" in line or line.startswith("name") for line in (*gone, *came))
    assert len(came) == 2
    assert ("\r\n" in changed) is ("\r\n" in text)
    data["sump"][0]["name"] = 'Big "one"'
    data["sump"][0]["level_mm"]["low"] = 150
    assert tomllib.loads(changed) == data


def test_what_is_added_stands_apart_by_blank_lines():
    """A new sump, a new concentrate and a new signal each begin a paragraph of their own."""
    tank = {"shape": "box", "length_mm": 900.0, "width_mm": 500.0, "height_mm": 400.0}
    levels = {"low": 100.0, "target": 300.0, "brim": 380.0, "top_up": None}
    text = EXAMPLE
    for each in (
        Change("sump", "new-one", {"concentrate": "semi-a", "tank": tank, "level_mm": levels}),
        Change("sump", SUMP, {"topic": "a/b", "unit": "degC"}, signal="temperature"),
        Change("concentrate", "other", {"refractometer_factor": 1.0, "band_pct": [5, 8]}),
    ):
        text = edited(text, each)
    lines = text.split("\n")
    for header in ('id = "new-one"', "[sump.signals.temperature]", 'id = "other"'):
        place = lines.index(header)
        start = place if header.startswith("[") else place - 1
        assert lines[start - 1] == ""
        assert lines[start - 2] != ""
    assert (
        'tank = { shape = "box", length_mm = 900.0, width_mm = 500.0, height_mm = 400.0 }' in lines
    )
    assert lines_changed(EXAMPLE, text)[0] == []


def test_a_removed_signal_takes_nothing_else_along():
    """The table of the signal goes, those around it stay."""
    text = edited(EXAMPLE, Change("sump", SUMP, signal="brix", is_removal=True))
    found = tomllib.loads(text)["sump"][0]["signals"]
    assert list(found) == ["level", "running", "water_meter"]
    assert "# totaliser" in text


def test_a_text_that_is_no_toml_is_left_alone():
    """An error says so; nothing is guessed."""
    with pytest.raises(EditError):
        edited("[[sump]\nid = 1", Change("sump", "x", {"name": "y"}))


# --- strapping tables ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "pasted",
    [
        "0\t0\n100\t80,5\n450\t410",
        "depth [mm];volume [L]\n0;0\n100;80,5\n450;410\n",
        "0 0\n100 80.5\n450 410",
        "0,0\n100,80.5\n450,410",
        "# from the brim down\n450 | 410\n100 | 80.5\n0 | 0",
        "0, 0\r\n\r\n100, 80.5\r\n450, 410",
    ],
)
def test_a_table_is_understood_as_people_paste_it(pasted: str):
    """By tabs, semicolons, commas or blanks; with a heading; from the top or from the floor."""
    table = read_strapping(pasted)
    assert table.problems == ()
    assert table.depths == (0.0, 100.0, 450.0)
    assert table.volumes == (0.0, 80.5, 410.0)


@pytest.mark.parametrize(
    ("pasted", "line"), [("0 0\n100 x\n450 410", 2), ("0 0\n100 80 3\n", 2), ("0 0", 1), ("", 1)]
)
def test_what_is_no_table_is_told_by_its_line(pasted: str, line: int):
    """A person finds the line at once."""
    assert [number for number, _ in read_strapping(pasted).problems] == [line]


# --- writing -------------------------------------------------------------------------------------


def test_a_file_is_replaced_in_one_step_and_its_former_self_kept(tmp_path: Path):
    """Same rights, a copy of what was there, a line in the journal."""
    path = write_plant(tmp_path)
    path.chmod(0o640)
    before = path.read_text("utf-8")
    editor = PlantEditor(path)
    draft = editor.draft(Change("sump", SUMP, {"name": "Mill 7"}))
    editor.write(draft, by="ann", what="Sump Mill 7", now=NOW)

    assert path.read_text("utf-8") == draft.text
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    [copy] = editor.copies()
    assert copy.read_text("utf-8") == before
    assert load_plant(path).sumps[SUMP].name == "Mill 7"
    [entry] = editor.history(10)
    assert (entry.by, entry.what) == ("ann", "Sump Mill 7")
    assert entry.lines == ('+name = "Mill 7"',)
    assert written_by(path) == "ann"
    path.write_text(draft.text + "# by hand\n", "utf-8")
    assert written_by(path) == ""
    assert not list(tmp_path.glob("*.partial"))


def test_former_files_are_bounded(tmp_path: Path):
    """The newest twenty are kept."""
    editor = PlantEditor(write_plant(tmp_path))
    for number in range(COPIES + 3):
        draft = editor.draft(Change("sump", SUMP, {"name": f"Mill {number}"}))
        editor.write(draft, by="", what="x", now=NOW + number * 1000)
    assert len(editor.copies()) == COPIES
    assert f"Mill {COPIES + 1}" in editor.copies()[0].read_text("utf-8")


def test_a_draft_of_a_file_that_has_changed_is_not_written(tmp_path: Path):
    """What somebody else has written meanwhile is not undone."""
    path = write_plant(tmp_path)
    editor = PlantEditor(path)
    draft = editor.draft(Change("sump", SUMP, {"name": "Mill 7"}))
    path.write_text(path.read_text("utf-8") + "# by hand\n", "utf-8")
    with pytest.raises(WritingError, match="meanwhile"):
        editor.write(draft, by="ann", what="x", now=NOW)
    assert path.read_text("utf-8").endswith("# by hand\n")


def test_what_cannot_be_used_is_not_written(tmp_path: Path):
    """All that is wrong is told, and the file stays."""
    path = write_plant(tmp_path)
    editor = PlantEditor(path)
    draft = editor.draft(Change("sump", SUMP, {"level_mm": {"brim": 9000.0, "low": 400.0}}))
    assert len(draft.problems) >= 2
    with pytest.raises(WritingError):
        editor.write(draft, by="ann", what="x", now=NOW)
    assert path.read_text("utf-8").startswith(HEAD)
    assert editor.copies() == []


def test_a_file_that_cannot_be_written_stays_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """A failing disk leaves the old file and no half of a new one."""
    path = write_plant(tmp_path)
    editor = PlantEditor(path)
    draft = editor.draft(Change("sump", SUMP, {"name": "Mill 7"}))

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("agent.page.setup.writing.os.fsync", full)
    before = path.read_text("utf-8")
    with pytest.raises(WritingError, match="No space left"):
        editor.write(draft, by="ann", what="x", now=NOW)
    assert path.read_text("utf-8") == before
    assert not list(tmp_path.glob("*.partial"))


# --- on the page ---------------------------------------------------------------------------------


@pytest.mark.parametrize("path", [f"sumps/{SUMP}", "concentrates/semi-a"])
@pytest.mark.parametrize("wishes", ["lang=en&units=metric", "lang=de&units=us"])
def test_a_form_that_is_not_touched_changes_nothing(shop: SetupShop, path: str, wishes: str):
    """Whatever language and units it is shown in."""
    with shop.client() as client:
        client.cookies.set("millpond-wishes", wishes)
        before = shop.path.read_text("utf-8")
        status, page = change(client, f"/setup/{path}", apply=False)
        assert status == 200
        assert "is-in" not in page
        assert "is-out" not in page
        assert shop.path.read_text("utf-8") == before


def test_a_sump_is_changed_from_the_page(shop: SetupShop):
    """Looked at, written, the agent asked to read it; the journal says who."""
    with shop.client() as client:
        status, _ = change(client, f"/setup/sumps/{SUMP}", name="Mill 7", top_up="300")
        assert status == 303
        plan = load_plant(shop.path).sumps[SUMP]
        assert (plan.name, plan.levels.top_up) == ("Mill 7", 300.0)
        assert shop.asked == 1
        assert "# pumps stopped, everything drained back" in shop.path.read_text("utf-8")
        page = words_of(client.get("/setup?said=written").text)
        assert "The agent is taking it up" in page
        assert "Sump Mill 7" in page


def test_inches_and_gallons_are_taken_as_such(shop: SetupShop):
    """20 in is 508 mm (exact, by definition of the inch), 10 gal 37.9 L (3.785411784 L each)."""
    with shop.client() as client:
        client.cookies.set("millpond-wishes", "lang=en&units=us")
        status, _ = change(client, f"/setup/sumps/{SUMP}", height="20", holdup="10", low="18 cm")
        assert status == 303
        found = tomllib.loads(shop.path.read_text("utf-8"))["sump"][0]
        assert found["tank"]["height_mm"] == 508.0
        assert found["holdup_l"] == 37.9
        assert found["level_mm"] == {"low": 180.0, "target": 380, "brim": 430}


def test_a_strapping_table_takes_the_place_of_measures(shop: SetupShop):
    """Pasted in cm and gallons; drawn with its points; written in mm and litres."""
    with shop.client() as client:
        path = f"/setup/sumps/{SUMP}"
        fields = {
            "shape": "table",
            "table": "0\t0\n10\t20\n45\t110",
            "depth_unit": "cm",
            "volume_unit": "gal",
        }
        form = fields_of(client.get(path).text) | fields
        drawn = client.post(path, data={**form, "action": "draw"}).text
        assert drawn.count("<circle") == 3
        assert change(client, path, **fields)[0] == 303
        found = tomllib.loads(shop.path.read_text("utf-8"))["sump"][0]["tank"]
        assert found == {
            "shape": "table",
            "depth_mm": [0.0, 100.0, 450.0],
            "volume_l": [0.0, 75.708, 416.395],
        }


def test_a_new_sump_and_a_new_concentrate(shop: SetupShop):
    """Each gets its id once; an id that is taken or no id is refused beside its field."""
    with shop.client() as client:
        fluid = {
            "id": "clear-b", "name": "Clear B", "factor": "1,9", "band_low": "3",
            "target_pct": "4.5", "band_high": "6", "price": "7.20",
        }  # fmt: skip
        assert change(client, "/setup/concentrates/new", **fluid)[0] == 303
        sump = {
            "id": "grinder-1", "name": "Grinder", "concentrate": "clear-b", "shape": "box",
            "length": "800", "width": "500", "height": "400", "low": "120", "target": "300",
            "brim": "370",
        }  # fmt: skip
        assert change(client, "/setup/sumps/new", **sump)[0] == 303
        plan = load_plant(shop.path).sumps["grinder-1"]
        assert (plan.fluid.price, plan.fluid.refractometer_factor) == (7.2, 1.9)
        for wrong in (SUMP, "Grinder 2", "", "x" * 65):
            status, page = change(client, "/setup/sumps/new", **(sump | {"id": wrong}))
            assert status == 422
            assert 'id="e-id"' in page


@pytest.mark.parametrize(
    ("fields", "beside"),
    [
        ({"brim": "900"}, "brim"),
        ({"low": "lots"}, "low"),
        ({"target": ""}, "target"),
        ({"length": "-5"}, "length"),
        ({"holdup": "12 apples"}, "holdup"),
        ({"shape": "table", "table": "0 0\n100 x"}, "table"),
        ({"shape": "table", "table": "0 0\n100 80\n90 100"}, "table"),
        ({"shape": "egg"}, "shape"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(
    shop: SetupShop, fields: dict[str, str], beside: str
):
    """Nothing is written; what was typed is still there."""
    with shop.client() as client:
        before = shop.path.read_text("utf-8")
        status, page = change(client, f"/setup/sumps/{SUMP}", **fields)
        assert status == 422
        assert f'id="e-{beside}"' in page
        assert shop.path.read_text("utf-8") == before
        assert shop.asked == 0


def test_a_change_that_was_looked_at_long_ago_is_shown_again(shop: SetupShop):
    """The file was changed by somebody else meanwhile: no blind write."""
    with shop.client() as client:
        path = f"/setup/sumps/{SUMP}"
        form = fields_of(client.get(path).text) | {"name": "Mill 7"}
        shown = fields_of(client.post(path, data={**form, "action": "look"}).text)
        shop.path.write_text(shop.path.read_text("utf-8") + "# by hand\n", "utf-8")
        answer = client.post(path, data={**shown, "action": "apply"})
        assert answer.status_code == 422
        assert "by somebody else meanwhile" in words_of(answer.text)


def test_a_file_that_was_broken_by_hand_is_told_with_all_that_is_wrong(shop: SetupShop):
    """Line by line; nothing on the page fails by it."""
    text = shop.path.read_text("utf-8")
    shop.path.write_text(text.replace("brim = 430", "brim = 43").replace("sd = 1.5", "sd = -1"))
    with shop.client() as client:
        page = words_of(client.get("/setup").text)
        assert "2 things are wrong" in page
        assert "level_mm" in page
        assert "Line" in page
        shop.path.write_text("[[sump")
        assert client.get("/setup").status_code == 200
        assert client.get(f"/setup/sumps/{SUMP}").status_code == 503


def test_only_who_may_change_sets_up(tmp_path: Path):
    """Others get no form and no list; nothing is offered to them."""
    path = write_plant(tmp_path, page='users = "users.toml"')
    password = "correct horse battery"  # noqa: S105  a test's
    write_users(
        tmp_path / "users.toml",
        {
            name: new_user(name, role, password)
            for name, role in (("eve", "enter"), ("cyd", "change"))
        },
    )
    shop = SetupShop(tmp_path, path)
    for name, allowed in (("eve", False), ("cyd", True)):
        with shop.client() as client:
            form = {
                "name": name,
                "password": password,
                "token": token_of(client.get("/sign-in").text),
            }
            client.post("/sign-in", data=form)
            assert ('href="/setup"' in client.get("/").text) is allowed
            for place in ("", "/listen", f"/sumps/{SUMP}", "/heard", "/topic?topic=x", "/taken"):
                assert (client.get(f"/setup{place}").status_code == 200) is allowed, place
            answer = client.post("/setup/listen", data={"token": "0" * 64})
            assert answer.status_code == 403
    shop.close()


def test_without_a_plant_file_there_is_no_set_up(tmp_path: Path):
    """A page that was not told of a file says that there is no such page."""
    shop = Shop(tmp_path)
    with shop.client() as client:
        assert client.get("/setup").status_code == 404
    shop.close()


@pytest.mark.parametrize("evil", EVIL)
def test_hostile_names_of_the_file_are_only_names(tmp_path: Path, evil: str):
    """On every page of set-up, and in the journal."""
    name = json.dumps(evil, ensure_ascii=False)
    shop = SetupShop(tmp_path, write_plant(tmp_path, name=name))
    with shop.client() as client:
        path = f"/setup/sumps/{SUMP}"
        status, page = change(client, path, holdup="36")
        assert status == 303, page
        for place in (
            "/setup",
            path,
            f"{path}/signals/level",
            "/setup/listen",
            "/setup/bind?topic=x",
        ):
            answer = client.get(place)
            assert answer.status_code == 200
            assert_harmless(answer.text)
    shop.close()


def anything_typed() -> list[dict[str, Any]]:
    """Hostile fields of a sump's form."""
    return [{"name": evil, "table": evil, "id": evil, "low": evil} for evil in EVIL]


@pytest.mark.parametrize("fields", anything_typed())
def test_hostile_fields_come_back_as_text(shop: SetupShop, fields: dict[str, str]):
    """In the form and in the review; the file stays readable."""
    with shop.client() as client:
        path = f"/setup/sumps/{SUMP}"
        _, page = change(client, path, **fields, shape="table")
        assert_harmless(page)
        status, page = change(client, path, apply=False, name=fields["name"])
        assert_harmless(page)
        assert status in {200, 422}
    load_plant(shop.path)

"""Setting the plant up: sumps with their tanks, concentrates, what was changed and by whom."""

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response

from advisor.geometry import height, volume_at
from advisor.plan import Fluid
from agent.errors import MillpondError
from agent.instants import instant_of
from agent.page.office import Office
from agent.page.routes.common import TheForm, TheOffice, TheVisitor
from agent.page.setup.desk import SetupDesk
from agent.page.setup.editing import Change
from agent.page.setup.forms import (
    CONCENTRATE,
    SUMP,
    TANKS,
    Field,
    Filled,
    place_problems,
    read,
    shown,
)
from agent.page.setup.tank_form import (
    DEPTH_UNITS,
    VOLUME_UNITS,
    drawn,
    read_tank,
    tank_shown,
)
from agent.page.setup.writing import Draft
from agent.page.visitor import Visitor
from agent.plant.plant import Plant

router = APIRouter(default_response_class=HTMLResponse)

NEW = "new"
HISTORY = 20


def setup_desk(office: TheOffice, visitor: TheVisitor) -> SetupDesk:
    """Set-up, for whoever may change the plant.

    Raises
    ------
    HTTPException
        If this person may not, or the page was not told of a plant file.
    """
    if not visitor.may_change:
        raise HTTPException(403, "role")
    if office.setup is None:
        raise HTTPException(404, "setup")
    return office.setup


TheDesk = Annotated[SetupDesk, Depends(setup_desk)]


@router.get("/setup")
def overview(office: TheOffice, visitor: TheVisitor, desk: TheDesk, said: str = "") -> HTMLResponse:
    """What the plant consists of, and what was changed lately."""
    return office.page(
        "setup.html",
        visitor,
        desk=desk,
        problems=desk.editor.problems(),
        is_taken_up=desk.is_taken_up,
        history=desk.editor.history(HISTORY),
        instant_of=instant_of,
        fluids=_fluids_in_use(office.plant),
        brim_of=lambda plan: volume_at(plan.tank, min(plan.levels.brim, height(plan.tank))),
        said=said if said in {"written", "changed"} else "",
    )


@router.get("/setup/taken", response_model=None)
def taken(desk: TheDesk) -> Response:
    """Whether the agent works by the file as it stands now."""
    return PlainTextResponse("1" if desk.is_taken_up() else "0")


# --- what all forms share ------------------------------------------------------------------------


def entry_of(desk: SetupDesk, table: str, name: str) -> Mapping[str, Any]:
    """An entry as it stands in the file; empty of a new one.

    Raises
    ------
    HTTPException
        If there is none of that name, or the file cannot be read.
    """
    if name == NEW:
        return {}
    try:
        found = desk.entry(table, name)
    except MillpondError:
        raise HTTPException(503, "setup") from None
    if found is None:
        raise HTTPException(404, "setup")
    return found


def drafted(desk: SetupDesk, change: Change, errors: dict[str, str]) -> Draft | None:
    """The file with a change made; trouble is put among the errors."""
    try:
        return desk.editor.draft(change)
    except MillpondError as error:
        errors[""] = str(error)
        return None


def review(
    office: Office, visitor: Visitor, draft: Draft, form: Mapping[str, str], what: str
) -> HTMLResponse:
    """What would be written, line by line, before it is."""
    return office.page(
        "setup_review.html",
        visitor,
        draft=draft,
        what=what,
        fields={k: v for k, v in form.items() if k not in {"action", "base", "token"}},
    )


def written(
    desk: SetupDesk, office: Office, visitor: Visitor, draft: Draft, what: str
) -> Response | str:
    """Write a draft and have the agent read it; what went wrong, if something did."""
    by = visitor.name
    try:
        desk.editor.write(draft, by=by, what=what, now=office.wall_now)
    except MillpondError as error:
        return str(error)
    desk.ask()
    return RedirectResponse("/setup?said=written", 303)


def settled(
    office: Office,
    visitor: Visitor,
    desk: SetupDesk,
    form: Mapping[str, str],
    draft: Draft,
    what: str,
) -> Response | str:
    """Show a valid draft, or write it where it was shown already; trouble as text."""
    if form.get("action") != "apply":
        return review(office, visitor, draft, form, what)
    if form.get("base") != draft.base:
        return visitor.speech.text("setup.error.changed")
    return written(desk, office, visitor, draft, what)


# --- a sump --------------------------------------------------------------------------------------


@router.get("/setup/sumps/{name}")
def sump_form(name: str, office: TheOffice, visitor: TheVisitor, desk: TheDesk) -> HTMLResponse:
    """A sump's form: what stands in the file, or an empty one."""
    entry = entry_of(desk, "sump", name)
    fields = sump_shown(entry, visitor) | {"id": ""}
    return _sump_page(office, visitor, desk, name, fields, {})


def sump_shown(entry: Mapping[str, Any], visitor: Visitor) -> dict[str, str]:
    """Text of every field of a sump's form."""
    return shown(SUMP, entry, visitor.speech) | tank_shown(entry, visitor.speech)


@router.post("/setup/sumps/{name}", response_model=None)
def sump_change(
    name: str, office: TheOffice, visitor: TheVisitor, form: TheForm, desk: TheDesk
) -> Response:
    """Look at a changed sump, draw it, or write it."""
    entry, say = entry_of(desk, "sump", name), visitor.speech
    fields = sump_shown(entry, visitor) | form
    if form.get("action") in {"draw", "edit"}:
        return _sump_page(office, visitor, desk, name, fields, {})
    filled, tank = read(SUMP, form, entry, say), read_tank(form, entry, say)
    sump = form.get("id", "") if name == NEW else name
    errors = {**filled.errors, **tank.errors} | _id_error(desk.plant.sumps, name, sump, visitor)
    if not errors:
        change = Change("sump", sump, {**filled.values, **tank.values})
        draft = drafted(desk, change, errors)
        if draft is not None:
            beside = [*SUMP, *TANKS[form["shape"]], Field("table", ("tank", "depth_mm"))]
            beside += [Field("table", ("tank", "volume_l")), Field("id", ("id",))]
            _place(draft, beside, f"sump[{sump}]", errors)
            if not errors:
                what = say.text("setup.what.sump", name=form.get("name") or sump)
                answer = settled(office, visitor, desk, form, draft, what)
                if isinstance(answer, Response):
                    return answer
                errors[""] = answer
    return _sump_page(office, visitor, desk, name, fields, errors)


def _id_error(
    known: Mapping[str, object], name: str, chosen: str, visitor: Visitor
) -> dict[str, str]:
    """What is wrong with the id of something new."""
    if name != NEW:
        return {}
    good = chosen.isascii() and chosen.replace("-", "").isalnum() and chosen == chosen.lower()
    if not good or len(chosen) > 64:
        return {"id": visitor.speech.text("setup.error.id")}
    if chosen in known:
        return {"id": visitor.speech.text("setup.error.id_taken")}
    return {}


def _place(draft: Draft, fields: list[Field], prefix: str, errors: dict[str, str]) -> None:
    """Put what is wrong with a draft beside its fields, the rest on top."""
    beside, elsewhere = place_problems(draft.problems, fields, prefix)
    errors |= beside
    if elsewhere:
        errors[""] = "\n".join(elsewhere)


def _sump_page(
    office: Office,
    visitor: Visitor,
    desk: SetupDesk,
    name: str,
    fields: Mapping[str, str],
    errors: Mapping[str, str],
) -> HTMLResponse:
    """The form of a sump."""
    entry = entry_of(desk, "sump", name)
    return office.page(
        "setup_sump.html",
        visitor,
        status=422 if errors else 200,
        sump=name,
        is_new=name == NEW,
        fields=fields,
        errors=errors,
        spec={each.name: each for each in (*SUMP, *(f for fs in TANKS.values() for f in fs))},
        tanks=TANKS,
        concentrates=_fluids(desk),
        depth_units=list(DEPTH_UNITS),
        volume_units=list(VOLUME_UNITS),
        drawing=drawn(fields, entry, visitor.speech),
        signals=dict(entry.get("signals") or {}),
    )


def _fluids(desk: SetupDesk) -> list[tuple[str, str]]:
    """Id and name of every concentrate of the file."""
    rows = desk.data().get("concentrate", [])
    return [(str(row.get("id")), str(row.get("name") or row.get("id"))) for row in rows]


@router.post("/setup/drawing", response_model=None)
def drawing(office: TheOffice, visitor: TheVisitor, form: TheForm, desk: TheDesk) -> Response:
    """The drawing of a sump's form while it is being filled in."""
    name = form.get("sump", NEW)
    entry = entry_of(desk, "sump", name)
    fields = sump_shown(entry, visitor) | form
    return office.page("_tank.html", visitor, drawing=drawn(fields, entry, visitor.speech))


# --- a concentrate -------------------------------------------------------------------------------


@router.get("/setup/concentrates/{name}")
def concentrate_form(
    name: str, office: TheOffice, visitor: TheVisitor, desk: TheDesk
) -> HTMLResponse:
    """A concentrate's form."""
    fields = shown(CONCENTRATE, entry_of(desk, "concentrate", name), visitor.speech)
    return _concentrate_page(office, visitor, name, fields | {"id": ""}, {})


@router.post("/setup/concentrates/{name}", response_model=None)
def concentrate_change(
    name: str, office: TheOffice, visitor: TheVisitor, form: TheForm, desk: TheDesk
) -> Response:
    """Look at a changed concentrate, or write it."""
    entry, say = entry_of(desk, "concentrate", name), visitor.speech
    fields = shown(CONCENTRATE, entry, say) | {"id": ""} | form
    if form.get("action") == "edit":
        return _concentrate_page(office, visitor, name, fields, {})
    filled: Filled = read(CONCENTRATE, form, entry, say)
    fluid = form.get("id", "") if name == NEW else name
    known = dict.fromkeys(key for key, _ in _fluids(desk))
    errors = filled.errors | _id_error(known, name, fluid, visitor)
    if not errors:
        draft = drafted(desk, Change("concentrate", fluid, filled.values), errors)
        if draft is not None:
            _place(draft, [*CONCENTRATE, Field("id", ("id",))], f"concentrate[{fluid}]", errors)
            if not errors:
                what = say.text("setup.what.concentrate", name=form.get("name") or fluid)
                answer = settled(office, visitor, desk, form, draft, what)
                if isinstance(answer, Response):
                    return answer
                errors[""] = answer
    return _concentrate_page(office, visitor, name, fields, errors)


def _concentrate_page(
    office: Office,
    visitor: Visitor,
    name: str,
    fields: Mapping[str, str],
    errors: Mapping[str, str],
) -> HTMLResponse:
    """The form of a concentrate."""
    return office.page(
        "setup_concentrate.html",
        visitor,
        status=422 if errors else 200,
        concentrate=name,
        is_new=name == NEW,
        fields=fields,
        errors=errors,
        spec={each.name: each for each in CONCENTRATE},
    )


def _fluids_in_use(plant: Plant) -> list[Fluid]:
    """Concentrates of the plant's sumps, in the order in which they are first used."""
    return list({plan.fluid.id: plan.fluid for plan in plant.sumps.values()}.values())

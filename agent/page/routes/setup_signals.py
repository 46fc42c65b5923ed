"""Binding signals: what arrives on a topic, the value picked in a real payload, what it gives."""

from collections.abc import Mapping
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from advisor.words import Signal
from agent.arrival import Arrival
from agent.errors import MillpondError
from agent.page.office import Office
from agent.page.routes.common import TheForm, TheOffice, TheVisitor
from agent.page.routes.setup import TheDesk, drafted, entry_of, settled
from agent.page.setup.desk import SetupDesk
from agent.page.setup.ear import Heard, filter_problem
from agent.page.setup.editing import Change
from agent.page.setup.forms import Filled, place_problems, read, shown, signal_fields
from agent.page.setup.payloads import Payload, take_apart
from agent.page.setup.trying import Reading, try_out
from agent.page.visitor import Visitor
from agent.refusals import excerpt

router = APIRouter(default_response_class=HTMLResponse)

LEVEL_KINDS = ("depth", "air-gap", "volume", "percent", "pressure")
CUTTING_KINDS = ("on-off", "counter")
PROBLEMS = {"filter_wrong", "filter_hash", "filter_plus", "broker"}
PICKED = ("topic", "value_pointer", "record")
"""What a click on a value brings along."""


def _picked(topic: str = "", value_pointer: str = "", record: str = "") -> dict[str, str]:
    """Where a picked value stands."""
    found = {"topic": topic, "value_pointer": value_pointer, "record": record}
    return {key: value for key, value in found.items() if value}


def _wanted(desk: TheDesk, sump: str = "", signal: str = "") -> dict[str, str]:
    """Sump and signal that a value is looked for, where they are known."""
    return _target(desk, sump, signal)


ThePick = Annotated[dict[str, str], Depends(_picked)]
TheTarget = Annotated[dict[str, str], Depends(_wanted)]


# --- listening -----------------------------------------------------------------------------------


@router.get("/setup/listen")
def listen_page(
    office: TheOffice,
    visitor: TheVisitor,
    desk: TheDesk,
    target: TheTarget,
    problem: str = "",
) -> HTMLResponse:
    """What was heard, by topic; `sump` and `signal` say what a value is looked for."""
    return office.page(
        "setup_listen.html",
        visitor,
        desk=desk,
        heard=desk.ear.look(),
        glimpse=_glimpse,
        filter=desk.ear.filter or _usual_filter(desk),
        problem=problem
        if problem in {"filter_wrong", "filter_hash", "filter_plus", "broker"}
        else "",
        target=target,
        query=urlencode(target),
    )


@router.post("/setup/listen", response_model=None)
def listen(office: TheOffice, visitor: TheVisitor, form: TheForm, desk: TheDesk) -> Response:
    """Begin to listen, or stop."""
    del office, visitor
    query: dict[str, str] = dict(_target(desk, form.get("sump", ""), form.get("signal", "")))
    if form.get("action") == "stop":
        desk.ear.close()
    else:
        wanted = form.get("filter", "")
        problem = filter_problem(wanted)
        if problem is not None:
            query["problem"] = problem.rpartition(".")[2]
        else:
            try:
                desk.ear.listen(wanted)
            except MillpondError:
                query["problem"] = "broker"
    return RedirectResponse(f"/setup/listen?{urlencode(query)}", 303)


@router.get("/setup/heard")
def heard(office: TheOffice, visitor: TheVisitor, desk: TheDesk, target: TheTarget) -> HTMLResponse:
    """The list of topics alone, for a page that is open."""
    return office.page(
        "_heard.html",
        visitor,
        desk=desk,
        heard=desk.ear.look(),
        glimpse=_glimpse,
        query=urlencode(target),
    )


@router.get("/setup/topic")
def topic_page(
    office: TheOffice,
    visitor: TheVisitor,
    desk: TheDesk,
    target: TheTarget,
    topic: str,
) -> HTMLResponse:
    """The last payload of a topic, taken apart: a click on a value goes on to bind it."""
    found = desk.ear.last(topic)
    payload = None if found is None else take_apart(found.payload, found.size, office.now)
    return office.page(
        "setup_topic.html",
        visitor,
        topic=topic[:1024],
        heard=found,
        payload=payload,
        target=target,
        links={} if payload is None else _links(topic, payload, target),
        users=[b for b in office.plant.bindings if b.topic == topic],
    )


def _links(topic: str, payload: Payload, target: Mapping[str, str]) -> dict[int, str]:
    """Where a click on each value leads, by its place."""
    links = {}
    for place, piece in enumerate(payload.pieces):
        if piece.is_value:
            picked = {"topic": topic}
            if piece.name is not None:
                picked["record"] = piece.name
            elif payload.form == "json":
                picked["value_pointer"] = piece.pointer or ""
            links[place] = f"/setup/bind?{urlencode(picked | dict(target))}"
    return links


def _target(desk: SetupDesk, sump: str, signal: str) -> dict[str, str]:
    """Sump and signal that a value is looked for, where they are known."""
    known = {"sump": sump} if sump in desk.plant.sumps else {}
    return known | ({"signal": signal} if signal in set(Signal) else {})


def _glimpse(found: Heard) -> str:
    """Beginning of a payload; how long it is, where it was too long to be kept."""
    return excerpt(found.payload) if found.size <= len(found.payload) else f"{found.size} B"


def _usual_filter(desk: SetupDesk) -> str:
    """Where a plant's signals mostly are: the first level of the topics that are bound."""
    topics = [binding.topic for binding in desk.plant.bindings if binding.topic]
    return f"{topics[0].partition('/')[0]}/#" if topics else "#"


@router.get("/setup/bind", response_model=None)
def bind(
    office: TheOffice, visitor: TheVisitor, desk: TheDesk, picked: ThePick, target: TheTarget
) -> Response:
    """Say which signal of which sump a picked value is; where that is known, go on at once."""
    if len(target) == 2:
        path = f"/setup/sumps/{target['sump']}/signals/{target['signal']}"
        return RedirectResponse(f"{path}?{urlencode(picked)}", 303)
    return office.page(
        "setup_bind.html",
        visitor,
        picked=picked,
        target=target,
        sumps=[(plan.id, plan.name) for plan in desk.plant.sumps.values()],
        signals=list(Signal),
    )


# --- one signal ----------------------------------------------------------------------------------


@router.get("/setup/sumps/{sump}/signals/{signal}")
def signal_form(
    sump: str,
    signal: Signal,
    office: TheOffice,
    visitor: TheVisitor,
    desk: TheDesk,
    picked: ThePick,
) -> HTMLResponse:
    """A signal's form: what stands in the file, or what was just picked."""
    entry = _entry(desk, sump, signal)
    fields = shown(signal_fields(signal), entry, visitor.speech)
    if "topic" in picked:
        fields |= dict.fromkeys(PICKED, "") | picked
        same = picked["topic"] == entry.get("topic")
        fields |= {} if same else {"time_pointer": "", "unit_pointer": ""}
    return _signal_page(office, visitor, desk, (sump, signal), fields, {})


@router.post("/setup/sumps/{sump}/signals/{signal}", response_model=None)
def signal_change(
    sump: str, signal: Signal, office: TheOffice, visitor: TheVisitor, form: TheForm, desk: TheDesk
) -> Response:
    """Try a binding out, look at the change, or write it."""
    entry, say = _entry(desk, sump, signal), visitor.speech
    fields = shown(signal_fields(signal), entry, say) | form
    if form.get("action") in {"edit", "try"}:
        return _signal_page(office, visitor, desk, (sump, signal), fields, {})
    removal = form.get("removal") == "1" or form.get("action") == "remove"
    filled = _filled(signal, form, entry, visitor)
    errors = {} if removal else dict(filled.errors)
    if not errors:
        change = Change("sump", sump, filled.values, signal, is_removal=removal)
        draft = drafted(desk, change, errors)
        if draft is not None:
            _place(draft.problems, signal, sump, errors)
            if not errors:
                key = "setup.what.unbound" if removal else "setup.what.signal"
                what = say.text(key, signal=say.text(f"signal.{signal}"), name=sump)
                kept = {**form, "removal": "1"} if removal else form
                answer = settled(office, visitor, desk, kept, draft, what)
                if isinstance(answer, Response):
                    return answer
                errors[""] = answer
    return _signal_page(office, visitor, desk, (sump, signal), fields, errors)


def _place(problems: Any, signal: Signal, sump: str, errors: dict[str, str]) -> None:  # noqa: ANN401  of a draft
    """Put what is wrong beside its fields, the rest on top."""
    prefix = f"sump[{sump}].signals.{signal}"
    beside, elsewhere = place_problems(problems, signal_fields(signal), prefix)
    errors |= beside
    if elsewhere:
        errors[""] = "\n".join(elsewhere)


def _entry(desk: SetupDesk, sump: str, signal: Signal) -> Mapping[str, Any]:
    """A signal as it stands in the file; empty where it is not bound.

    Raises
    ------
    HTTPException
        If there is no such sump.
    """
    found = (entry_of(desk, "sump", sump).get("signals") or {}).get(signal.value) or {}
    if sump not in desk.plant.sumps:
        raise HTTPException(404, "setup")
    return dict(found)


def _filled(
    signal: Signal, form: Mapping[str, str], entry: Mapping[str, Any], visitor: Visitor
) -> Filled:
    """Values of a signal's form; by Sparkplug nothing more is kept once there is a topic."""
    filled = read(signal_fields(signal), form, entry, visitor.speech)
    if "sparkplug" in entry:
        filled.values["sparkplug"] = None
    return filled


def _signal_page(
    office: Office,
    visitor: Visitor,
    desk: SetupDesk,
    place: tuple[str, Signal],
    fields: Mapping[str, str],
    errors: Mapping[str, str],
) -> HTMLResponse:
    """The form of a signal, and what the last payload would give by it."""
    sump, signal = place
    entry = _entry(desk, sump, signal)
    found = desk.ear.last(fields.get("topic", ""))
    payload = None if found is None else take_apart(found.payload, found.size, office.now)
    reading = None if found is None else _tried(office, visitor, desk, place, fields)
    return office.page(
        "setup_signal.html",
        visitor,
        status=422 if errors else 200,
        sump=desk.plant.sumps[sump],
        signal=signal,
        fields=fields,
        errors=errors,
        spec=signal_fields(signal),
        kinds=LEVEL_KINDS if signal is Signal.LEVEL else CUTTING_KINDS,
        is_bound=bool(entry),
        sparkplug=entry.get("sparkplug"),
        heard=found,
        payload=payload,
        pointers=[p for p in payload.pieces if p.pointer and p.shown] if payload else [],
        reading=reading,
    )


def _tried(
    office: Office,
    visitor: Visitor,
    desk: SetupDesk,
    place: tuple[str, Signal],
    fields: Mapping[str, str],
) -> Reading:
    """What the last payload would give by a form, read by the agent's own decoder."""
    sump, signal = place
    filled = _filled(signal, fields, _entry(desk, sump, signal), visitor)
    if filled.errors:
        return Reading(" ".join(filled.errors.values()))
    errors: dict[str, str] = {}
    draft = drafted(desk, Change("sump", sump, filled.values, signal), errors)
    if draft is None or draft.plant is None:
        told = errors.values() if draft is None else map(str, draft.problems[:3])
        return Reading("\n".join(told))
    found = desk.ear.last(fields.get("topic", ""))
    arrival = Arrival(office.now, fields.get("topic", ""), b"" if found is None else found.payload)
    return try_out(draft.plant, sump, signal, arrival, visitor.speech)

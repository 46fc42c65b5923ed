"""Lines that the historian is sent: the line protocol's own rules, and one type a field."""

from advisor.words import Addition, Check, CheckKind, Estimate, Signal, SumpEvent
from agent.historian.lines import Lines, escaped, line
from agent.store.batch import Batch, StoredEntry
from agent.store.changes import AlarmChange
from agent.store.extract import Summed
from tests.bindings import NOW, a_plant, bound
from tests.historians import BUCKET, ORG, TOKEN, StrictHistorian

SUMP = "mill-07"
PLANT = a_plant(bound(Signal.LEVEL))


def lines_of(**what: object) -> list[str]:
    """Lines of a batch."""
    return Lines(PLANT).of_batch(Batch(**what))  # type: ignore[arg-type]  # fields of a batch


def test_a_reading_is_a_point_of_its_signals_series() -> None:
    """Measurement, tags in order, value, milliseconds; one that is not used says so."""
    rows = [(SUMP, Signal.LEVEL, NOW, 380.5, True), (SUMP, Signal.RUNNING, NOW, 1.0, False)]

    assert lines_of(readings=rows) == [
        f"reading,plant=north,sump=mill-07,signal=level,unit=mm value=380.5 {NOW}",
        f"reading,plant=north,sump=mill-07,signal=running value=1.0,used=false {NOW}",
    ]


def test_reports_events_and_alarms_have_series_too() -> None:
    """Numbers are floats whatever they were, texts are quoted, what is absent is left out."""
    poured = Addition(at=NOW, id="a", water=15, concentrate=1.5, by='Ann "the hose"')
    checked = Check(at=NOW, id="b", kind=CheckKind.PH, value=9)
    event = SumpEvent(
        id="e",
        at=NOW,
        kind="addition",
        source="meter",
        volume=Estimate(16.04, 1.0),
        strength=None,
    )
    change = AlarmChange(
        at=NOW,
        about=SUMP,
        name="level-low",
        signal=None,
        was="normal",
        state="unacknowledged",
        priority="medium",
        by=None,
        value=170.0,
        limit=180.0,
        unit="mm",
        raised_at=NOW,
        because_of=None,
        until=None,
    )
    found = lines_of(
        entries=[StoredEntry(SUMP, poured, NOW), StoredEntry(SUMP, checked, NOW)],
        events=[(SUMP, event)],
        changes=[change],
    )

    tags = "plant=north,sump=mill-07"
    state = 'state="unacknowledged",priority="medium",value=170.0'
    poured_fields = 'id="a",water=15.0,concentrate=1.5,by="Ann \\"the hose\\""'
    event_fields = 'id="e",kind="addition",source="meter",volume_l=16.04,volume_l_sd=1.0'
    assert found == [
        f"sump_event,{tags} {event_fields} {NOW}",
        f"report,{tags},kind=addition {poured_fields} {NOW}",
        f'report,{tags},kind=check id="b",what="ph",value=9.0,sample="as-is" {NOW}',
        f"alarm,plant=north,about=mill-07,name=level-low {state} {NOW}",
    ]


def test_what_a_strict_server_checks_is_kept() -> None:
    """Every kind of line, and texts with all that has a meaning of its own in the protocol."""
    text = 'a "quoted", back\\slashed\nline = trouble'
    historian = StrictHistorian()
    found = lines_of(
        readings=[(SUMP, Signal.LEVEL, NOW, 1e-7, True)],
        entries=[StoredEntry(SUMP, Addition(at=NOW, id=text, water=1, concentrate=0, by=text), 0)],
    )
    path = f"/api/v2/write?org={ORG}&bucket={BUCKET}&precision=ms"

    assert historian.judge(path, f"Token {TOKEN}", "\n".join(found)) == (204, "")
    assert len(historian.points) == 2


def test_minutes_and_hours_are_measurements_of_their_own() -> None:
    """So that a mean never stands among readings."""
    hour = Summed(NOW, SUMP, "level", "hour", 360, 1.0, 3.0, 2.0, used=True)

    assert Lines(PLANT).of_summed(hour) == (
        "reading_hour,plant=north,sump=mill-07,signal=level,unit=mm "
        f"low=1.0,high=3.0,mean=2.0,readings=360.0 {NOW}"
    )


def test_a_line_without_fields_is_none() -> None:
    """The protocol has no such line."""
    assert line("m", (("a", None),), NOW) is None
    assert escaped("a b,c=d") == r"a\ b\,c\=d"

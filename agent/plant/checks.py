"""What must hold between the keys of a plant file: ids, references, strengths, the broker."""

import zoneinfo
from collections.abc import Iterator
from itertools import pairwise
from urllib.parse import SplitResult, urlsplit

from agent.plant.alarm_checks import OF_ALL, alarm_faults
from agent.plant.notify_checks import notify_faults
from agent.plant.operation_checks import operation_faults
from agent.plant.page_checks import page_faults
from agent.plant.parts import Part
from agent.plant.problems import Fault
from agent.plant.sump_checks import sump_faults
from agent.plant.topic_checks import RESERVED, prefix_fault, topic_faults
from agent.plant.units import scale
from agent.quantities import QuantityError

MOST_MARKS = 1000
"""On a proportioner's dial. [1]"""


def faults_between(top: Part) -> Iterator[Fault]:
    """Everything that is wrong between keys, as far as the keys themselves can be read."""
    yield from _plant_faults(top.part("plant"))
    yield from broker_faults(top.part("broker"))
    yield from page_faults(top.part("page"))
    yield from operation_faults(top.part("operation"))
    for kind in ("concentrate", "supply", "vessel", "notify", "sump"):
        yield from _repeated_ids(top, kind)
    for concentrate in top.parts("concentrate"):
        yield from _strength_faults(concentrate)
    yield from _reference_faults(top)
    for supply in top.parts("supply"):
        yield from _dial_faults(supply)
    for vessel in top.parts("vessel"):
        yield from _vessel_faults(vessel)
    for sump in top.parts("sump"):
        yield from sump_faults(sump)
    yield from topic_faults(top)
    yield from alarm_faults(top, OF_ALL)
    for target in top.parts("notify"):
        yield from notify_faults(target, _ids(top, "sump"))


def _plant_faults(plant: Part) -> Iterator[Fault]:
    """The time zone exists."""
    zone = plant.text("timezone")
    if zone is not None and not _is_zone(zone):
        yield plant.fault("timezone", "expected an IANA time zone, such as Europe/Dublin")


def _is_zone(name: str) -> bool:
    """Whether the system or the tzdata package knows a time zone."""
    try:
        zoneinfo.ZoneInfo(name)
    except (ValueError, OSError, zoneinfo.ZoneInfoNotFoundError):
        return False
    return True


# --- broker --------------------------------------------------------------------------------------

_FILES = ("ca_file", "cert_file", "key_file")


def broker_faults(broker: Part) -> Iterator[Fault]:
    """List what is wrong with the broker's address and with the files that go with it."""
    url = broker.text("url")
    if url is not None:
        yield from _url_faults(broker, url)
    for secret in ("user", "username", "password"):
        if secret in broker:
            yield broker.fault(secret, _SECRETS, shown=False)
    if ("cert_file" in broker) != ("key_file" in broker):
        given, other = ("cert_file", "key_file")[:: 1 if "cert_file" in broker else -1]
        yield broker.fault(given, f"expected {other} beside it: a certificate needs its key")
    prefix = broker.text("prefix")
    if prefix is not None and (what := prefix_fault(prefix)):
        yield broker.fault("prefix", what)


_SECRETS = (
    "credentials do not belong in this file; set MILLPOND_BROKER_USER and "
    "MILLPOND_BROKER_PASSWORD, or name files that hold them in MILLPOND_BROKER_USER_FILE and "
    "MILLPOND_BROKER_PASSWORD_FILE"
)


def split_url(url: str) -> tuple[SplitResult, int | None] | None:
    """Parts of a URL and its port, if it is one at all."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        return None
    return parts, port


def _url_faults(broker: Part, url: str) -> Iterator[Fault]:
    """An address is of MQTT, and holds no credentials."""
    form = "expected mqtt://HOST:PORT or mqtts://HOST:PORT"
    split = split_url(url)
    if split is None:
        yield broker.fault("url", form, shown="@" not in url)
        return
    parts, port = split
    if "@" in url:
        yield broker.fault("url", _SECRETS, shown=False)
    elif parts.scheme not in {"mqtt", "mqtts"} or not parts.hostname or not url.isprintable():
        yield broker.fault("url", form, shown=not parts.query)
    elif parts.path not in {"", "/"} or parts.query or parts.fragment:
        yield broker.fault("url", f"{form}, and nothing after the port", shown=not parts.query)
    elif port == 0:
        yield broker.fault("url", "expected a port from 1 to 65535")
    if parts.scheme == "mqtt":
        for key in _FILES:
            if key in broker:
                yield broker.fault(key, "is for TLS; expected mqtts:// in broker.url")


# --- ids and what refers to them -----------------------------------------------------------------


_RESERVED = "expected none of " + ", ".join(sorted(RESERVED))


def _repeated_ids(top: Part, kind: str) -> Iterator[Fault]:
    """Ids name one thing of their kind, and no level of the agent's topics."""
    seen = set()
    for part in top.parts(kind):
        name = part.text("id")
        if name in seen:
            yield part.fault("id", f"expected another id; a {kind} has this one already")
        if name is not None:
            seen.add(name)
        if kind == "sump" and name in RESERVED:
            yield part.fault("id", f"stands for something else under the prefix: {_RESERVED}")


def _reference_faults(top: Part) -> Iterator[Fault]:
    """What is referred to exists, and fits."""
    concentrates = _ids(top, "concentrate")
    vessels = _ids(top, "vessel")
    supplies = {part.text("id"): part for part in top.parts("supply")}
    for part in (*top.parts("supply"), *top.parts("sump")):
        name = part.text("concentrate")
        if name is not None and name not in concentrates:
            yield part.fault("concentrate", _none_such("concentrate", concentrates))
    for sump in top.parts("sump"):
        for index, name in enumerate(sump.texts("vessels")):
            if name not in vessels:
                yield sump.part("vessels").fault(index, _none_such("vessel", vessels))
        for index, name in enumerate(sump.texts("supplies")):
            if name not in supplies:
                yield sump.part("supplies").fault(index, _none_such("supply", _ids(top, "supply")))
            elif supplies[name].text("concentrate") not in {None, sump.text("concentrate")}:
                what = "expected a supply of water or of the concentrate of this sump"
                yield sump.part("supplies").fault(index, what)


def _ids(top: Part, kind: str) -> list[str]:
    """Ids of all things of a kind."""
    return [name for part in top.parts(kind) if (name := part.text("id")) is not None]


def _none_such(kind: str, known: list[str]) -> str:
    """Words for a reference that leads nowhere."""
    return f"no such {kind}; there is {', '.join(sorted(known)) or 'none'}"


# --- strengths and vessels -----------------------------------------------------------------------


def _strength_faults(concentrate: Part) -> Iterator[Fault]:
    """Weak mix under the target, target in the band, premix above the target."""
    target = concentrate.number("target_pct")
    yield from _order_faults(concentrate, "band_pct")
    yield from _order_faults(concentrate, "ph_band")
    yield from _order_faults(concentrate, "conductivity_band_ms_cm")
    band = concentrate.numbers("band_pct")
    if band is not None and len(band) == 2 and band[1] >= 100.0:
        yield concentrate.fault("band_pct", "expected less than 100 % of the mix")
    if target is None:
        return
    if band is not None and len(band) == 2 and not min(band) <= target <= max(band):
        yield concentrate.fault("target_pct", f"expected inside band_pct, {_span(sorted(band))}")
    premix = concentrate.number("premix_max_pct")
    if (20.0 if premix is None else premix) <= target:
        key = "target_pct" if premix is None else "premix_max_pct"
        what = (
            f"expected more than target_pct ({target:g})"
            if premix is not None
            else "expected less than premix_max_pct (20 unless set)"
        )
        yield concentrate.fault(key, what)
    weak = concentrate.number("weak_mix_pct")
    if weak is not None and weak >= target:
        yield concentrate.fault("weak_mix_pct", f"expected less than target_pct ({target:g})")


def _span(pair: list[float]) -> str:
    """Words for a band."""
    return f"{pair[0]:g} to {pair[1]:g}"


def _order_faults(part: Part, key: str) -> Iterator[Fault]:
    """Pairs of lowest and highest are in that order."""
    pair = part.numbers(key)
    if pair is not None and any(low >= high for low, high in pairwise(pair)):
        yield part.fault(key, "expected the lower value first")


def _dial_faults(supply: Part) -> Iterator[Fault]:
    """A proportioner has settings or a dial, whose marks can be told apart."""
    if supply.text("kind") != "proportioner":
        return
    if ("settings_pct" in supply) == ("dial_pct" in supply):
        yield supply.fault("settings_pct", "expected either settings_pct or dial_pct")
    yield from _order_faults(supply, "dial_pct")
    dial, step = supply.numbers("dial_pct"), supply.number("dial_step_pct")
    if dial is None or len(dial) != 2:
        return
    if dial[1] >= 100.0:
        yield supply.fault("dial_pct", "expected less than 100 % of the mix")
    least = (dial[1] - dial[0]) / MOST_MARKS
    if step is not None and 0.0 < step < least:
        yield supply.fault("dial_step_pct", f"expected at least {least:g}: {MOST_MARKS} marks")


def _vessel_faults(vessel: Part) -> Iterator[Fault]:
    """One mark of a vessel can be filled and carried, and is read in a unit of volume."""
    unit = vessel.text("graduation_unit")
    if unit is not None:
        try:
            scale(unit, "L")
        except QuantityError as error:
            yield vessel.fault("graduation_unit", f"expected a unit of volume, such as L: {error}")
    volume, graduation = vessel.number("volume_l"), vessel.number("graduation_l")
    fill = vessel.number("carry_fill")
    if volume is None or volume <= 0.0:
        return
    carried = volume * (0.8 if fill is None else fill)
    if graduation is not None and graduation > carried > 0.0:
        what = f"expected at most what is carried in it, volume_l x carry_fill = {carried:g}"
        yield vessel.fault("graduation_l", what)

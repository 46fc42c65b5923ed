"""A plant whose one sump has every signal, bound as a test wants it."""

from pathlib import Path
from typing import Any

from advisor.plan import SignalPlan, Supply
from advisor.words import Signal
from agent.arrival import Arrival
from agent.decode.decoder import Decoder
from agent.decode.results import Decoded
from agent.plant.plant import Binding, BrokerSettings, Plant
from tests.plants import a_sump

NOW = 1_772_431_200_000
"""2026-03-02T06:00:00Z."""

PREFIX = "millpond/north"


def bound(signal: Signal = Signal.LEVEL, topic: str | None = "t", **fields: Any) -> Binding:
    """A signal of mill-07, bound to a topic."""
    return Binding(**{"sump": "mill-07", "signal": signal, "topic": topic, **fields})


def a_plant(*bindings: Binding, plans: tuple[SignalPlan, ...] = (), **changes: Any) -> Plant:
    """A plant with sumps mill-07 and mill-08; `plans` replace those of mill-07's signals."""
    signals = {signal: SignalPlan(signal=signal) for signal in Signal}
    signals.update({plan.signal: plan for plan in plans})
    sumps = {name: a_sump(id=name, name=name, signals=signals) for name in ("mill-07", "mill-08")}
    fields: dict[str, Any] = {
        "id": "north",
        "name": "North",
        "units": "metric",
        "timezone": "UTC",
        "prefix": PREFIX,
        "broker": BrokerSettings(host="127.0.0.1", port=1883, tls=False),
        "store": Path("north.db"),
        "sumps": sumps,
        "bindings": bindings,
        "supplies": {"drum-1": Supply(id="drum-1", kind="drum")},
        "vessels": {},
    }
    return Plant(**{**fields, **changes})


def decoded(
    payload: str | bytes,
    *bindings: Binding,
    topic: str = "t",
    plans: tuple[SignalPlan, ...] = (),
    **how: Any,
) -> list[Decoded]:
    """What a payload on a topic turns out to be, arriving at `NOW`."""
    octets = payload.encode() if isinstance(payload, str) else payload
    decoder = Decoder(a_plant(*bindings, plans=plans))
    return list(decoder.decode(Arrival(NOW, topic, octets, **how)))

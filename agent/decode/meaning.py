"""What a found value means for its signal: a number with a unit, or on and off.

Each meaning reads a value from a bare payload, from a JSON document and from a SenML record, and
gives it in the signal's internal unit.
"""

from collections.abc import Iterable
from math import nan
from typing import Protocol

from advisor.plan import SignalPlan
from advisor.words import Signal
from agent.decode.bare import number, number_in, text_of
from agent.decode.problem import PayloadError
from agent.decode.results import Reason
from agent.decode.scale import PURE_NUMBER, Scale, plausible
from agent.decode.senml import Record
from agent.plant.plant import Binding
from agent.refusals import shown


class Meaning(Protocol):
    """How a signal's values are read; each method raises `PayloadError` where one cannot be."""

    def of_payload(self, payload: bytes) -> float:
        """Value of a payload that is nothing else."""

    def of_json(self, found: object, unit: str | None) -> float:
        """Value found in a JSON document, with its unit where that stands there too."""

    def of_record(self, record: Record) -> float:
        """Value of a resolved SenML record."""


def meaning_of(binding: Binding, plan: SignalPlan) -> Meaning:
    """Choose how the values of a signal are read."""
    if binding.signal is Signal.RUNNING or (binding.signal is Signal.CUTTING and not plan.counter):
        return Switch(binding)
    return Measure(binding, plan)


class Measure:
    """A signal that is a number with a unit.

    Parameters
    ----------
    binding : Binding
        Its bound unit and its limits.
    plan : SignalPlan
        The kind of the level, which decides its internal unit.
    """

    def __init__(self, binding: Binding, plan: SignalPlan) -> None:
        self._scale = Scale(binding, plan)
        self._factor, self._offset = self._scale.bound
        low, high = plausible(binding.signal, plan.kind)
        self._low = low if binding.low is None else max(low, binding.low)
        self._high = high if binding.high is None else min(high, binding.high)

    def of_payload(self, payload: bytes) -> float:
        """Value of a bare number, in the bound unit."""
        # The usual case costs one conversion; `number` looks closely at what it refuses, and at
        # what it takes too kindly: NaN, infinity, underscores.
        try:
            value = float(payload) * self._factor + self._offset
        except ValueError:
            value = nan
        if self._low <= value <= self._high and b"_" not in payload:
            return value
        return self._converted(number(payload), self._scale.bound)

    def of_json(self, found: object, unit: str | None) -> float:
        """Value of a JSON number, or of text that is one; null, true and false are none."""
        if isinstance(found, str):
            found = number_in(found)
        if not isinstance(found, float):
            raise PayloadError(
                Reason.NOT_A_NUMBER, f"the value is {shown(found)}; expected a number"
            )
        return self._converted(found, self._scale.bound if unit is None else self._scale.of(unit))

    def of_record(self, record: Record) -> float:
        """Value of a record; of a totaliser also the sum of a flow over time."""
        litres = self._scale.of_flow_sum(record.unit)
        if litres is not None:
            if record.sum is None:
                raise PayloadError(
                    Reason.UNIT,
                    f"{record.unit} is a flow without its sum; expected a total, or s with it",
                )
            return self._converted(record.sum, litres)
        if not isinstance(record.value, float):
            found = "only a sum" if record.value is None else _said(record.value)
            raise PayloadError(Reason.NOT_A_NUMBER, f"the record has {found}; expected v")
        return self._converted(record.value, self._scale.of_senml(record.unit))

    def _converted(self, found: float, scale: tuple[float, float]) -> float:
        """Convert to the internal unit and check the range."""
        value = found * scale[0] + scale[1]
        if self._low <= value <= self._high:
            return value
        raise self._outside(value)

    def _outside(self, value: float) -> PayloadError:
        """Say that a value is out of range; one that is no number lands here too."""
        unit = "" if self._scale.internal == PURE_NUMBER else f" {self._scale.internal}"
        return PayloadError(
            Reason.RANGE,
            f"the value is {shown(value)}{unit}; "
            f"expected {shown(self._low)} to {shown(self._high)}{unit}",
        )


_PAIRS = (("1", "0"), ("on", "off"), ("true", "false"), ("running", "stopped"), ("yes", "no"))
"""Words for on, each with its word for off."""

_TRUE_VALUES = ("1", "on", "true", "running")
"""What means on unless a binding says otherwise."""


class Switch:
    """A signal that is on or off, 1 or 0 inside.

    On is what the binding's `true_values` say, without regard to case. Off are the words that are
    commonly their opposites: ``0``, ``off``, ``false``, ``stopped``, ``no``; where a binding takes
    one of them for on (a contact that opens), its opposite is off. JSON's true and false and the
    numbers 1 and 0, however they are written, are read as these words. Any other word is refused,
    and so is an empty payload: it is how a retained message is withdrawn, and no state.
    """

    def __init__(self, binding: Binding) -> None:
        on = frozenset(word.lower() for word in binding.true_values) or frozenset(_TRUE_VALUES)
        self._values = {
            **dict.fromkeys(_off_words(on), 0.0),
            **dict.fromkeys(on, 1.0),
        }

    def of_payload(self, payload: bytes) -> float:
        """Value of a bare word or number."""
        return self._of_word(text_of(payload))

    def of_json(self, found: object, unit: str | None) -> float:
        """Value of true, false, a number or a word; a unit says nothing here."""
        del unit
        if isinstance(found, bool | float | str):
            return self._of_value(found)
        raise PayloadError(Reason.WORD, f"the value is {shown(found)}; {self._expected()}")

    def of_record(self, record: Record) -> float:
        """Value of a record's `vb`, `v` or `vs`."""
        if isinstance(record.value, bool | float | str):
            return self._of_value(record.value)
        raise PayloadError(Reason.WORD, f"the record has neither vb, v nor vs; {self._expected()}")

    def _of_value(self, found: bool | float | str) -> float:  # noqa: FBT001  a found value, no flag
        """Value of what stands in a document."""
        return self._of_word(found if isinstance(found, str) else shown(found))

    def _of_word(self, text: str) -> float:
        """1 for on, 0 for off."""
        word = text.strip().lower()
        value = self._values.get(word)
        if value is None:
            value = self._values.get(_as_whole_number(word))
        if value is None:
            reason = Reason.WORD if word else Reason.EMPTY
            raise PayloadError(reason, f"{shown(text)} is neither on nor off; {self._expected()}")
        return value

    def _expected(self) -> str:
        """Say which words are known."""
        on = [word for word, value in self._values.items() if value]
        off = [word for word, value in self._values.items() if not value]
        return f"expected {', '.join(sorted(on))} for on, {', '.join(sorted(off))} for off"


def _off_words(on: Iterable[str]) -> set[str]:
    """Words that mean off where these mean on."""
    words = set(on)
    turned = {true for true, false in _PAIRS if false in words}
    return ({false for _, false in _PAIRS} | turned) - words


def _as_whole_number(word: str) -> str:
    """Write a number such as ``1.0`` as ``1``; anything else as it is."""
    try:
        return shown(number_in(word) + 0.0)  # which makes 0 of -0
    except PayloadError:
        return word


def _said(value: str | bool | bytes) -> str:  # noqa: FBT001  a found value, no flag
    """Name a value of a record that is no number."""
    return "data" if isinstance(value, bytes) else shown(value)

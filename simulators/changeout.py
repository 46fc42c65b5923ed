"""A charge: pumps and sensors lifted out, drained, filled with water and premix, started again."""

from simulators.fluid import Mix
from simulators.instants import MINUTE, SECOND, rfc3339
from simulators.machine_tool import MachineTool, Pour
from simulators.truth import TrueEvent

_RESIDUE = 0.02  # share of the old fluid that stays in corners and pipes: common practice


def change_out(tool: MachineTool, now: int, *, reported: bool) -> None:
    """Begin a change-out: the machine stands, everything is out of the tank."""
    _lift(tool, out=True)
    ident = f"{tool.spec.id}-charge-{now // MINUTE}"
    _say(tool, now, ident, "begun", reported=reported)
    tool.agenda.at(now + 20 * MINUTE, lambda then: _empty(tool, then, ident, reported=reported))


def _say(
    tool: MachineTool, now: int, ident: str, stage: str, *, reported: bool, mix: Mix | None = None
) -> None:
    """Report a stage, with what was poured so far."""
    if not reported:
        return
    body: dict[str, object] = {"id": ident, "at": rfc3339(now), "stage": stage, "by": "service"}
    if mix is not None:
        body |= {"water_l": round(mix.water, 1), "concentrate_l": round(mix.concentrate, 1)}
    tool.say(now, "charge", body)


def _empty(tool: MachineTool, now: int, ident: str, *, reported: bool) -> None:
    """Skim, drain all but a residue, then fill: water first, then premix into it."""
    sump = tool.sump
    oil = sump.skim(0.97, 0.0)
    inside = sump.suction.volume + sump.back.volume
    drained = tool.journal.event(tool.spec.id, "drain", now)
    drained.water, drained.concentrate = sump.drain(inside * (1.0 - _RESIDUE))
    drained.until = now
    drained.details = {"reported": reported, "all": True, "oil_l": round(oil, 4)}
    tool.journal.write(drained.record())
    if tool.outfit.brix is not None:
        tool.outfit.brix.clean()
    target = tool.scenario.fluid(tool.spec.concentrate).target_pct / 100.0
    volume = tool.drawn.drawing.volume(tool.spec.level_mm.target)
    mix = Mix(volume * (1.0 - target), volume * target)
    event = tool.journal.event(tool.spec.id, "charge", now)
    event.details = {"reported": reported, "metered": False}
    tool.agenda.at(now + 40 * MINUTE, lambda then: _fill(tool, then, event, (mix, ident, reported)))


def _fill(tool: MachineTool, now: int, event: TrueEvent, what: tuple[Mix, str, bool]) -> None:
    """Pour three quarters of the water, then a premix of 1 to 4 with all the concentrate."""
    mix, ident, reported = what
    event.at = now
    first = mix.water - 4.0 * mix.concentrate

    def filled(then: int) -> None:
        """All is in: sensors and pumps go back, the machine may start."""
        _say(tool, then, ident, "filled", reported=reported, mix=mix)
        tool.agenda.at(then + 15 * MINUTE, lambda later: _back(tool, later, ident, mix, reported))

    def premix(then: int) -> None:
        """After the water the premix."""
        rest = Pour(event, mix.water - first, mix.concentrate, 0.25, tool.pour_place, False, True)
        rest.done = filled
        tool.agenda.at(then + 20 * SECOND, lambda _later: tool.pours.append(rest))

    water = Pour(event, first, 0.0, 0.4, tool.pour_place, metered=False, last=False)
    water.done = premix
    tool.pours.append(water)


def _back(tool: MachineTool, now: int, ident: str, mix: Mix, reported: bool) -> None:  # noqa: FBT001
    """The level sensor hangs again, a little differently; work goes on."""
    _lift(tool, out=False)
    if tool.outfit.level is not None:
        tool.outfit.level.mounted_again()
    later = now + 40 * MINUTE
    tool.agenda.at(later, lambda then: _say(tool, then, ident, "done", reported=reported, mix=mix))


def _lift(tool: MachineTool, *, out: bool) -> None:
    """Pumps and sensors come out of the tank, or go back."""
    tool.out_of_service = out
    for sensor in (tool.outfit.level, tool.outfit.brix):
        if sensor is not None:
            sensor.out_of_tank = out

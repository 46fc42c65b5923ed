"""Everything that was measured, as plain values for JSON."""

import dataclasses
from collections.abc import Sequence

from simulators.instants import rfc3339
from simulators.score.matching import Found, Story
from simulators.score.metrics import (
    LOSSES,
    SHOWN,
    coverage_of,
    errors_of,
    geometric_mean,
    yardstick_coverage_of,
    yardstick_tuning,
)
from simulators.score.run import SumpRun
from simulators.score.tallies import tally_advice, tally_events, tally_faults
from simulators.score.yardstick import QUANTITIES

Plain = dict[str, object]


def report(runs: Sequence[SumpRun], failures: Sequence[str]) -> Plain:
    """All scenarios, the summary over them, and each run."""
    names = list(dict.fromkeys(run.scenario for run in runs))
    by_name = {name: [run for run in runs if run.scenario == name] for name in names}
    return {
        "schema": 1,
        "summary": _group(runs) | {"ratios": ratios(by_name)},
        "scenarios": [{"scenario": name} | _group(own) for name, own in by_name.items()],
        "runs": [_run(run) for run in runs],
        "failures": list(failures),
    }


def ratios(by_name: dict[str, list[SumpRun]]) -> Plain:
    """Geometric means over scenarios, and the worst of them."""
    each = {
        name: [errors_of(runs, quantity).ratio for quantity in QUANTITIES]
        for name, runs in by_name.items()
    }
    means = {name: geometric_mean(values) for name, values in each.items()}
    known = {name: mean for name, mean in means.items() if mean is not None}
    worst = max(known, key=lambda name: known[name], default=None)
    return {
        "geometric_mean": geometric_mean(list(means.values())),
        "by_quantity": {
            quantity: geometric_mean([values[i] for values in each.values()])
            for i, quantity in enumerate(QUANTITIES)
        },
        "by_scenario": means,
        "worst_scenario": worst,
    }


def _group(runs: Sequence[SumpRun]) -> Plain:
    """What many runs came to."""
    losses, losses_interval = coverage_of(runs, LOSSES)
    stick, stick_interval = yardstick_coverage_of(runs, QUANTITIES)
    return {
        "group": sorted({run.group for run in runs}),
        "runs": len(runs),
        "sump_days": round(sum(run.days for run in runs), 3),
        "quantities": {
            name: {"unit": SHOWN[name][1]} | dataclasses.asdict(errors_of(runs, name))
            for name in QUANTITIES
        },
        "coverage_losses": losses,
        "coverage_losses_interval": losses_interval,
        "yardstick_coverage": stick,
        "yardstick_coverage_interval": stick_interval,
        "yardstick_error_over_sd": yardstick_tuning(runs),
        "events": dataclasses.asdict(tally_events(runs)),
        "faults": dataclasses.asdict(tally_faults(runs)),
        "advice": dataclasses.asdict(tally_advice(runs)),
    }


def _run(run: SumpRun) -> Plain:
    """One sump of one run, with its events and faults one by one."""
    return {
        "scenario": run.scenario,
        "seed": run.seed,
        "sump": run.sump,
        "days": run.days,
        "quantities": {name: dataclasses.asdict(errors_of([run], name)) for name in QUANTITIES},
        "events": [_found(found) for found in run.events.found],
        "false_events": [_story(story) for story in run.events.false],
        "faults": [
            {
                "signal": fault.blemish.signal,
                "kind": fault.blemish.kind,
                "begin": rfc3339(fault.blemish.begin),
                "shows": rfc3339(fault.shows),
                "end": rfc3339(fault.blemish.end),
                "flagged": fault.flagged,
                "delay_min": fault.delay,
            }
            for fault in run.flags.faults
        ],
        "false_flags": [
            {"signal": signal, "begin": rfc3339(begin), "end": rfc3339(end)}
            for signal, begin, end in run.flags.false
        ],
        "advice": [
            dataclasses.asdict(poured) | {"at": rfc3339(poured.clock)} for poured in run.advice
        ],
    }


def _found(found: Found) -> Plain:
    """One true event, and what became of it."""
    event = found.event
    return {
        "kind": event.kind,
        "at": rfc3339(event.at),
        "until": rfc3339(event.until),
        "volume_l": event.volume,
        "strength": event.strength,
        "metered": event.metered,
        "reported": event.reported,
        "near_start": event.near_start,
        "large": found.large,
        "told": found.told,
        "source": found.source,
        "delay_min": found.delay,
        "strength_delay_min": found.strength_delay,
        "volume_error_sd_l": found.volume,
        "strength_error_sd": found.strength,
    }


def _story(story: Story) -> Plain:
    """One published event that was none."""
    last = story.last
    return {
        "id": story.id,
        "kind": last.kind,
        "source": last.source,
        "at": rfc3339(last.at),
        "first_told": rfc3339(story.words[0].clock),
        "volume_l_sd": last.volume,
        "withdrawn": story.withdrawn,
    }

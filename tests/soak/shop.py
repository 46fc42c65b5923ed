"""A shop of many sumps over a long time: how many alarms its people get, and when.

``python -m tests.soak.shop [--sumps N] [--days N] [--jobs N]``, as `make soak-shop`: plants of some
sumps each are simulated with the troubles that a shop has, drawn for each sump, at a reading every
five minutes; the agent reads them, and what it raises and whom it notifies is counted over all
plants as one shop.
"""

import argparse
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from advisor.estimate import SCHEMA
from advisor.words import DAY, MINUTE, Instant
from agent.pipeline import Pipeline
from agent.plant.load import load_plant
from agent.recording import read_recording
from agent.store.ledger import Ledger
from tests.e2e.plant_north import ROOT

PART = 10
"""Sumps of one plant: each is simulated and read by processes of its own. [1]"""
ZONE = ZoneInfo("Europe/Dublin")
NIGHT = (22, 6)
"""Quiet hours of the target below. [h]"""
WINDOW: Instant = 10 * MINUTE
WHOLE = "-"
"""How one process tells another that an alarm is about the whole plant."""
A_DAY, IN_TEN_MINUTES = 10.0, 10
"""Targets: alarms of the shop in a day on average, and in any ten minutes. [1]"""

NOTIFY = """
[[notify]]
id = "maintenance"
hours = "06:00-22:00"
days = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
"""

HEAD = """
title = "A shop's sumps with the troubles that come in a year"
like = "{base}"
days = {days}
step_s = 60
tick_s = 300
truth_s = 86400
begin = 2026-01-05T05:00:00

[plant]
id = "shop-{part}"
timezone = "Europe/Dublin"

[climate]
season_c = 4

[network]
outage = [{outages}]

[each.operators]
reports_share = 0.8

[each.signals.level]
interval_s = 300
[each.signals.brix]
interval_s = 300
film_brix_per_day = 0.01
[each.signals.temperature]
unit = "degC"
sd = 0.1
interval_s = 300

[each.clean_prism]
every_days = 14
at = "10:20"

[[each.checks]]
kind = "refractometer"
weekdays = [1]
"""

TROUBLES: tuple[tuple[float, str, str], ...] = (
    (1.0, "disturbance", 'kind = "leak"\nl_per_day = 8'),
    (0.3, "disturbance", 'kind = "leak"\nl_per_day = 480'),
    (0.5, "disturbance", 'kind = "ingress"\nl_per_day = 15'),
    (1.0, "disturbance", 'kind = "drain"\nvolume_l = 30\nreported = false'),
    (2.0, "fault", 'signal = "level"\nkind = "dropout"'),
    (2.0, "fault", 'signal = "brix"\nkind = "dropout"'),
    (0.5, "fault", 'signal = "level"\nkind = "step"\nsize = 15'),
    (0.5, "fault", 'signal = "brix"\nkind = "stuck"'),
    (0.5, "fault", 'signal = "level"\nkind = "garbage"'),
)
"""How often each comes to a sump in a year, and what it is, *invented*. [1]"""
LASTS_H = {"l_per_day = 480": 4.0, "leak": 168.0, "ingress": 72.0}
OUTAGES_A_YEAR = 8.0
"""Of the plant's network, of some hours, half of them with a gateway that keeps readings. [1]"""


def scenario(part: int, sumps: int, days: float, seed: int) -> str:
    """One plant of the shop; the outages are those of the whole shop."""
    draws = Random(seed)
    outages = ", ".join(
        f'{{ begin = "{_moment(begin)}", end = "{_moment(begin + draws.uniform(2.0, 8.0))}", '
        f"buffered = {'true' if draws.random() < 0.5 else 'false'} }}"
        for begin in _times(draws, OUTAGES_A_YEAR, days)
    )
    base = ROOT / "config" / "scenarios" / "base" / "mill"
    text = HEAD.format(base=base, days=days, part=part, outages=outages)
    own = Random(1000 * seed + part)
    for number in range(sumps):
        text += f'\n[[sump]]\nid = "mill-{part}-{number}"\n'
        for often, table, what in TROUBLES:
            for begin in _times(own, often, days):
                lasts = next((h for word, h in LASTS_H.items() if word in what), 9.0)
                end = min(begin + own.uniform(0.5, 1.5) * lasts, 24.0 * days - 1.0)
                until = "" if 'kind = "drain"' in what else f'end = "{_moment(end)}"\n'
                text += f'[[sump.{table}]]\n{what}\nbegin = "{_moment(begin)}"\n{until}'
    return text


def _times(draws: Random, a_year: float, days: float) -> Iterator[float]:
    """Moments of a Poisson process, not in the first two days nor at the very end. [h]"""
    at = 48.0 + draws.expovariate(a_year / (365.0 * 24.0))
    while at < 24.0 * days - 12.0:
        yield at
        at += 12.0 + draws.expovariate(a_year / (365.0 * 24.0))


def _moment(hours: float) -> str:
    """A moment of a scenario."""
    minutes = round(hours * 60.0)
    return f"{minutes // 1440}d {minutes // 60 % 24:02d}:{minutes % 60:02d}"


@dataclass
class Heard:
    """What the people of a shop got."""

    sump_days: float = 0.0
    raised: list[tuple[Instant, str, str, str]] = field(default_factory=list)
    """When, about what, alarm, priority: each time that one began to ask for somebody."""
    notices: list[tuple[Instant, str]] = field(default_factory=list)
    """Messages sent: when, and the highest priority in it."""

    def a_day(self, days: float) -> float:
        """Alarms of the shop in a day. [1/d]"""
        return len(self.raised) / days

    def most_in_ten_minutes(self) -> int:
        """Most alarms in any ten minutes. [1]"""
        times = sorted(at for at, *_ in self.raised)
        most, first = 0, 0
        for last, at in enumerate(times):
            while times[first] <= at - WINDOW:
                first += 1
            most = max(most, last - first + 1)
        return most

    def notified_at_night(self) -> int:
        """Messages at night in which nothing is of high priority. [1]"""
        return sum(1 for at, priority in self.notices if priority != "high" and _is_night(at))

    def raised_at_night(self) -> Counter[str]:
        """Alarms below high priority that began at night, by name."""
        return Counter(
            name for at, _, name, priority in self.raised if priority != "high" and _is_night(at)
        )


def _is_night(at: Instant) -> bool:
    """Whether a moment is in the quiet hours."""
    hour = datetime.fromtimestamp(at / 1000, UTC).astimezone(ZONE).hour
    return hour >= NIGHT[0] or hour < NIGHT[1]


def part_of_shop(part: int, sumps: int, days: float, seed: int) -> Heard:
    """Simulate and read one plant."""
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        file, plant_file = folder / "shop.toml", folder / "plant.toml"
        file.write_text(scenario(part, sumps, days, seed), "utf-8")
        command = [sys.executable, "-m", "simulators", "record", str(file), "--out", "-"]
        command += ["--seed", str(1000 * seed + part), "--plant", str(plant_file)]
        with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE) as simulator:
            assert simulator.stdout is not None
            heard = listen(plant_file, simulator.stdout)
        assert simulator.returncode == 0
    heard.sump_days = sumps * days
    return heard


def listen(plant_file: Path, lines: Iterable[bytes]) -> Heard:
    """Read a recording with the agent, and note what people get."""
    recording = iter(lines)
    first = next(recording)  # by now the plant file is written
    plant_file.write_text(plant_file.read_text("utf-8") + NOTIFY, "utf-8")
    plant = load_plant(plant_file)
    ledger = Ledger.open(None, belief_schema=SCHEMA)
    pipeline, heard, asking = Pipeline(plant, ledger), Heard(), set[tuple[str, str]]()
    pipeline.around.notifies = True
    kept = 0

    def seal() -> None:
        batch = pipeline.seal()
        for change in batch.changes:
            name = change.name if change.signal is None else f"{change.name}/{change.signal}"
            key = (change.about, name)
            if change.state == "unacknowledged" and key not in asking:
                heard.raised.append((change.at, change.about, name, change.priority))
            (asking.add if change.state == "unacknowledged" else asking.discard)(key)
        heard.notices.extend((notice.at, notice.priority) for notice in batch.notices)
        ledger.commit(batch)

    for number, item in enumerate(read_recording(_all(first, recording))):
        pipeline.take(item)
        if number % 1000 == 999:
            seal()
        if item.at > kept + DAY:
            kept = item.at
            ledger.housekeep()
    seal()
    ledger.close()
    return heard


def _all(first: bytes, rest: Iterator[bytes]) -> Iterator[bytes]:
    """A line and those behind it."""
    yield first
    yield from rest


def run_parts(which: Iterable[int], sumps: int, days: float, seed: int) -> Heard:
    """Some plants one after the other, as one."""
    whole = Heard()
    for part in which:
        heard = part_of_shop(part, sumps, days, seed)
        whole.sump_days += heard.sump_days
        whole.raised += heard.raised
        whole.notices += heard.notices
    return whole


def report(heard: Heard, sumps: int, days: float) -> Iterator[str]:
    """What is told of a run."""
    night = heard.raised_at_night()
    yield f"{sumps} sumps for {days:g} days, a reading every 5 min: {heard.sump_days:.0f} sump-days"
    yield f"alarms a day in all: {heard.a_day(days):.2f} (target {A_DAY:g})"
    yield f"most in ten minutes: {heard.most_in_ten_minutes()} (target {IN_TEN_MINUTES})"
    yield f"messages at night with nothing of high priority: {heard.notified_at_night()} (target 0)"
    yield f"messages in all: {len(heard.notices)}"
    yield f"raised at night below high priority, told when the hours begin: {dict(night)}"
    yield "by name:"
    names = Counter(f"{name} ({priority})" for _, _, name, priority in heard.raised)
    yield from (f"    {count} x {name}" for name, count in names.most_common())


def holds(heard: Heard, days: float) -> bool:
    """Whether the targets are met."""
    return (
        heard.a_day(days) <= A_DAY
        and heard.most_in_ten_minutes() <= IN_TEN_MINUTES
        and heard.notified_at_night() == 0
    )


def main(arguments: Sequence[str]) -> int:
    """Run it; 0 where the targets are met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sumps", type=int, default=100)
    parser.add_argument("--days", type=float, default=365.0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--part", type=int, help="only this plant of the shop (for --jobs)")
    parser.add_argument("--sum-up", nargs="+", type=Path, help="what --part printed into files")
    options = parser.parse_args(arguments)
    began, days = time.monotonic(), options.days
    if options.sum_up:
        lines = (line for file in options.sum_up for line in file.read_text("utf-8").splitlines())
        return summed_up(understood(lines), PART * len(options.sum_up), days)
    parts = range(-(-options.sumps // PART))
    size = min(PART, options.sumps)
    if options.part is not None:
        say(run_parts([options.part], size, days, options.seed))
        return 0
    with ThreadPoolExecutor(options.jobs) as pool:
        asked = [
            pool.submit(_in_a_process, part, options.sumps, days, options.seed) for part in parts
        ]
        whole = Heard()
        for number, each in enumerate(asked, start=1):
            heard = each.result()
            whole.sump_days += heard.sump_days
            whole.raised += heard.raised
            whole.notices += heard.notices
            print(
                f"# {number} of {len(parts)} plants, {time.monotonic() - began:.0f} s", flush=True
            )
    return summed_up(whole, options.sumps, days)


def summed_up(whole: Heard, sumps: int, days: float) -> int:
    """Tell what came of it all; 0 where the targets are met."""
    print("\n".join(report(whole, sumps, days)))
    return 0 if holds(whole, days) else 1


def say(heard: Heard) -> None:
    """Print what one plant's people got, for the process that asked."""
    print("days", heard.sump_days)
    for at, about, name, priority in heard.raised:
        print("raised", at, about or WHOLE, name, priority)
    for notice in heard.notices:
        print("notice", *notice)


def _in_a_process(part: int, sumps: int, days: float, seed: int) -> Heard:
    """Have one plant run in a process of its own."""
    command = [sys.executable, "-m", "tests.soak.shop", "--part", str(part), "--days", str(days)]
    command += ["--sumps", str(sumps), "--seed", str(seed)]
    done = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True)
    return understood(done.stdout.splitlines())


def understood(lines: Iterable[str]) -> Heard:
    """What another process printed."""
    heard = Heard()
    for line in lines:
        kind, *words = line.split()
        if kind == "days":
            heard.sump_days += float(words[0])
        elif kind == "raised":
            at, about, name, priority = words
            heard.raised.append((int(at), "" if about == WHOLE else about, name, priority))
        elif kind == "notice":
            heard.notices.append((int(words[0]), words[1]))
    return heard


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

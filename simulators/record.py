"""Writes a recording of a scenario, the truth beside it, and the plant file."""

import base64
import json
from collections.abc import Iterator
from typing import TextIO

from simulators.instants import SECOND, rfc3339
from simulators.payloads import Message
from simulators.shop_floor import ShopFloor


def line_of(message: Message) -> str:
    """A message as a line of a recording."""
    body: dict[str, object] = {"at": rfc3339(message.at), "topic": message.topic}
    try:
        body["payload"] = message.payload.decode()
    except UnicodeDecodeError:
        body["payload_base64"] = base64.b64encode(message.payload).decode()
    if message.retain:
        body["retain"] = True
    return json.dumps(body, ensure_ascii=False)


def lines(floor: ShopFloor) -> Iterator[str]:
    """Lines of a recording up to the scenario's end: messages, and a tick every `tick_s`."""
    tick = floor.scenario.tick_s * SECOND
    while floor.now < floor.end:
        for message in floor.step():
            yield line_of(message)
        if floor.now % tick == 0:
            yield json.dumps({"at": rfc3339(floor.now)})


def record(floor: ShopFloor, out: TextIO, truth: TextIO | None) -> int:
    """Write the whole scenario: number of messages."""
    written = 0
    for line in lines(floor):
        out.write(line + "\n")
        written += 1
        if truth is not None and written % 1000 == 0:
            write_truth(floor, truth)
    if truth is not None:
        write_truth(floor, truth)
    return written


def write_truth(floor: ShopFloor, truth: TextIO) -> None:
    """Write what has become known of the truth."""
    truth.writelines(json.dumps(entry) + "\n" for entry in floor.take_truth())

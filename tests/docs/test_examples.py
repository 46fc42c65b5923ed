"""Every example of the pages works as it stands there."""

import doctest
import json
from functools import cache
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from advisor.words import Signal
from agent.arrival import Arrival
from agent.decode.decoder import Decoder
from agent.decode.results import Sample
from agent.messages.schemas import documents
from agent.plant.plant import Plant
from tests.docs.blocks import Block, every_block
from tests.docs.plant_parts import plant_with
from tests.docs.sandbox import MONDAY, Sandbox, commands

BLOCKS = every_block()
PAGES = sorted({block.page for block in BLOCKS})
LANGUAGES = {"console", "sh", "python", "toml", "json", "text"}
RUN = {"console", "sh"}


def of(*languages: str, mark: str | None = None) -> list[Block]:
    """Blocks in some languages that are to be tried."""
    return [
        block
        for block in BLOCKS
        if block.language in languages
        and block.mark != "not run"
        and (mark is None or block.mark == mark)
    ]


def test_every_block_says_what_it_is():
    """Without a language nobody knows how to try a block."""
    assert [str(block) for block in BLOCKS if block.language not in LANGUAGES] == []


def test_what_is_not_run_says_why():
    """In a sentence, where there is something to run, and rarely."""
    left_out = [block for block in BLOCKS if block.mark == "not run"]

    assert [str(block) for block in left_out if len(block.said.split()) < 4] == []
    assert [str(block) for block in left_out if block.language not in RUN] == []
    assert len(left_out) < len(of(*RUN))


@pytest.mark.broker
@pytest.mark.parametrize("page", sorted({block.page for block in of(*RUN)}))
def test_commands_do_what_the_page_shows(page: str, tmp_path: Path):
    """One after another, as a reader types them; what is printed is what is shown."""
    mine = [block for block in BLOCKS if block.page == page]
    alive = any(block.mark == "goes on" for block in mine)
    with Sandbox(tmp_path, alive=alive) as sandbox:
        for block in mine:
            if block.mark == "file":
                sandbox.write(block.said, block.text)
            elif block.language in RUN and block.mark != "not run":
                for command in commands(block):
                    if block.mark == "goes on":
                        sandbox.start(command)
                    else:
                        sandbox.run(command, int(block.said) if block.mark == "exits" else 0)


@pytest.mark.parametrize("page", sorted({block.page for block in of("python")}))
def test_code_answers_what_the_page_shows(page: str):
    """All the blocks, one after another, as if typed by one person."""
    text = "\n".join(block.text for block in of("python") if block.page == page)
    test = doctest.DocTestParser().get_doctest(text, {}, page, page, 0)
    said: list[str] = []
    runner = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE | doctest.ELLIPSIS)
    runner.run(test, out=said.append)

    assert runner.tries > 0
    assert not runner.failures, "".join(said)


@pytest.mark.parametrize("block", of("toml"), ids=str)
def test_a_plant_file_or_a_part_of_one_is_valid(block: Block):
    """As it stands, or put into the example."""
    assert plant_with(block.text).sumps


@cache
def schemas() -> list[dict[str, object]]:
    """Schema of every message."""
    return [
        json.loads(text)
        for path, text in documents().items()
        if path.startswith("schemas/") and not path.endswith("plant.json")
    ]


@pytest.mark.parametrize("block", [b for b in of("json") if b.mark == ""], ids=str)
def test_a_message_is_one_that_the_agent_says_or_understands(block: Block):
    """Each line, or the whole block, is valid by the schema of a message."""
    texts = block.text.splitlines() if block.text.startswith('{"') else [block.text]
    for text in texts:
        body = json.loads(text)
        found = [s["$id"] for s in schemas() if Draft202012Validator(s).is_valid(body)]
        assert found, text


@pytest.mark.parametrize("block", [b for b in BLOCKS if b.mark == "payload of"], ids=str)
def test_a_payload_is_read_as_the_page_says(block: Block):
    """By the last plant file above it, or part of one."""
    name, _, value = block.said.partition(" = ")
    read = _sample(_plant_above(block), Signal(name), block.text.strip().encode())

    assert read.value == pytest.approx(float(value), rel=1e-6)


def _plant_above(block: Block) -> Plant:
    """Plant of the nearest TOML block before."""
    above = [b for b in of("toml") if b.page == block.page and b.line < block.line]
    return plant_with(above[-1].text)


def _sample(plant: Plant, signal: Signal, payload: bytes) -> Sample:
    """What the first sump's sensor is understood to say."""
    binding = next(b for b in plant.bindings if b.signal is signal and b.topic is not None)
    decoded = Decoder(plant).decode(Arrival(at=MONDAY, topic=str(binding.topic), payload=payload))
    samples = [one for one in decoded if isinstance(one, Sample) and one.signal is signal]

    assert samples, decoded
    return samples[0]

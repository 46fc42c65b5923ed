"""Page on the messages, from the AsyncAPI document that the models give."""

import re
from collections.abc import Iterator, Mapping

from agent.messages.schemas import asyncapi
from tests.docs.schema_words import Schema, cell, definitions, kind, without

_AFTER = """
This page is made from the same models as [asyncapi.json](../config/asyncapi.json), which programs
read, and the JSON Schemas beside it. What the agent hears is checked against them: a message with a
key that nobody knows, a time without its offset or a number out of range is refused with the
reason, counted, and changes nothing.
"""


def page() -> str:
    """Write the page."""
    document = asyncapi()
    text = f"# Every message\n\n{document['info']['description']}\n{_AFTER}"
    for action, title in (("send", "What millpond says"), ("receive", "What millpond hears")):
        operations = {k: v for k, v in document["operations"].items() if v["action"] == action}
        text += f"\n## {title}\n"
        for name, topics in _topics(operations, document["channels"]).items():
            text += _message(name, topics, operations, document["components"])
    return text + _parts(document["components"])


def _topics(operations: Schema, channels: Schema) -> dict[str, list[str]]:
    """Topics by message, in the order of the document."""
    found: dict[str, list[str]] = {}
    for key in operations:
        channel = channels[key]
        for message in channel["messages"]:
            found.setdefault(message, []).append(_spoken(channel["address"]))
    return found


def _spoken(address: str) -> str:
    """Write a topic as people do: variables in capitals."""
    return re.sub(r"\{(\w+)\}", lambda found: found[1].upper(), address).replace("/ALARM", "/NAME")


def _message(name: str, topics: list[str], operations: Schema, components: Schema) -> str:
    """Section of one message."""
    message = components["messages"][name]
    schema = components["schemas"][message["payload"]["$ref"].rsplit("/", 1)[-1]]
    retained = operations[name]["bindings"]["mqtt"].get("retain")
    where = ", ".join(f"`{topic}`" for topic in topics)
    how = {True: ", retained", False: ", not retained", None: ""}[retained]
    said = operations[name]["action"] == "send"
    return (
        f"\n### `{name}` {{ #{name} }}\n\n{message['summary']}\n\nOn {where}{how}.\n\n"
        f"{_table(schema, whole=said)}"
    )


def _table(schema: Schema, *, whole: bool) -> str:
    """Keys of an object; where it is always whole, nothing is said of keys that are left out."""
    required = schema.get("required", ())
    rows = [["key", "takes", "what it says"], ["---"] * 3]
    rows += [
        [f"`{key}`", kind(value, _Links(), null=True), str(value.get("description", ""))]
        for key, value in schema["properties"].items()
    ]
    if not whole:
        last = [without(v, required=k in required) for k, v in schema["properties"].items()]
        rows = [[*row, more] for row, more in zip(rows, ["without it", "---", *last], strict=True)]
    return "".join(f"| {' | '.join(map(cell, row))} |\n" for row in rows)


def _parts(components: Schema) -> str:
    """Objects and lists of words of which messages are made."""
    schemas: Mapping[str, Schema] = components["schemas"]
    bodies = {m["payload"]["$ref"].rsplit("/", 1)[-1] for m in components["messages"].values()}
    text = "\n## What they are made of\n"
    for name in _used(schemas, bodies):
        schema = schemas[name]
        text += f"\n### {name.removesuffix('Body')} {{ #{name.lower()} }}\n\n"
        text += " ".join(str(schema.get("description", "")).split("\n\n")[0].split()) + "\n\n"
        text += (
            _table(schema, whole=True)
            if "properties" in schema
            else f"{kind(schema, {}, null=True)}\n"
        )
    return text


def _used(schemas: Mapping[str, Schema], bodies: set[str]) -> Iterator[str]:
    """Definitions that messages lead to, and these to others; each once."""
    waiting, seen = sorted(bodies), set(bodies)
    while waiting:
        for value in schemas[waiting.pop(0)].get("properties", {}).values():
            for name in definitions(value):
                if name not in seen:
                    seen.add(name)
                    waiting.append(name)
                    yield name


class _Links(dict[str, str]):
    """Links to the parts."""

    def __missing__(self, name: str) -> str:
        """Whatever the definition is called, its section is."""
        return f"[{name.removesuffix('Body')}](#{name.lower()})"

"""Sparkplug B's payload, as its specification's protobuf schema has it.

The schema is written down here field by field and given to Google's protobuf runtime, so that no
generated code has to be kept; the runtime is loaded with the first plant file that has a Sparkplug
signal.

References
----------
.. [1] "Sparkplug 3.0.0", Eclipse Foundation 2022 (ISO/IEC 20237:2023), section 6.4.1, Google
   Protocol Buffer schema. Field numbers from memory, held by the tests to the schema that the
   package pysparkplug ships.
"""

from functools import cache
from typing import Any, TypeAlias

from agent.errors import MillpondError

Proto: TypeAlias = Any
"""A class or message of protobuf, made at run time."""

PACKAGE = "millpond.sparkplug"
REPEATED = "*"
SCHEMA: dict[str, dict[str, tuple[int, str]]] = {
    "PropertyValue": {
        "type": (1, "uint32"),
        "is_null": (2, "bool"),
        "int_value": (3, "uint32|value"),
        "long_value": (4, "uint64|value"),
        "float_value": (5, "float|value"),
        "double_value": (6, "double|value"),
        "boolean_value": (7, "bool|value"),
        "string_value": (8, "string|value"),
    },
    "PropertySet": {"keys": (1, "string*"), "values": (2, "PropertyValue*")},
    "Metric": {
        "name": (1, "string"),
        "alias": (2, "uint64"),
        "timestamp": (3, "uint64"),
        "datatype": (4, "uint32"),
        "is_historical": (5, "bool"),
        "is_transient": (6, "bool"),
        "is_null": (7, "bool"),
        "properties": (9, "PropertySet"),
        "int_value": (10, "uint32|value"),
        "long_value": (11, "uint64|value"),
        "float_value": (12, "float|value"),
        "double_value": (13, "double|value"),
        "boolean_value": (14, "bool|value"),
        "string_value": (15, "string|value"),
        "bytes_value": (16, "bytes|value"),
    },
    "Payload": {
        "timestamp": (1, "uint64"),
        "metrics": (2, "Metric*"),
        "seq": (3, "uint64"),
        "uuid": (4, "string"),
        "body": (5, "bytes"),
    },
}
"""Number and type of each field; `|value` of a choice of one, `*` of a list."""


@cache
def payload_class() -> Proto:
    """Class of payloads.

    Raises
    ------
    MillpondError
        If the protobuf runtime is not installed.
    """
    try:
        from google.protobuf import descriptor_pb2, descriptor_pool, message_factory
    except ImportError as error:
        raise MillpondError(
            'Sparkplug needs the package protobuf: pip install "millpond[sparkplug]"'
        ) from error
    kinds = descriptor_pb2.FieldDescriptorProto
    file = descriptor_pb2.FileDescriptorProto(
        name="millpond_sparkplug_b.proto", package=PACKAGE, syntax="proto2"
    )
    for name, fields in SCHEMA.items():
        message = file.message_type.add(name=name)
        if any("|" in kind for _, kind in fields.values()):
            message.oneof_decl.add(name="value")
        for key, (number, text) in fields.items():
            kind, _, choice = text.removesuffix(REPEATED).partition("|")
            field = message.field.add(name=key, number=number, label=kinds.LABEL_OPTIONAL)
            if text.endswith(REPEATED):
                field.label = kinds.LABEL_REPEATED
            if choice:
                field.oneof_index = 0
            if kind in SCHEMA:
                field.type, field.type_name = kinds.TYPE_MESSAGE, f".{PACKAGE}.{kind}"
            else:
                field.type = getattr(kinds, f"TYPE_{kind.upper()}")
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    return message_factory.GetMessageClass(pool.FindMessageTypeByName(f"{PACKAGE}.Payload"))

"""Where the agent tells how it does: what must hold of the section, and what it means."""

from collections.abc import Iterator

from agent.plant.operation_model import OperationSection
from agent.plant.page_checks import split_listen
from agent.plant.parts import Part
from agent.plant.plant import OperationSettings
from agent.plant.problems import Fault


def operation_faults(operation: Part) -> Iterator[Fault]:
    """The address is one."""
    listen = operation.text("listen")
    if listen is not None and split_listen(listen) is None:
        yield operation.fault("listen", "expected ADDRESS:PORT, such as 127.0.0.1:9187")


def operation_settings(section: OperationSection) -> OperationSettings:
    """Settings of a section that was checked."""
    host, port = ("", 0) if section.listen is None else (split_listen(section.listen) or ("", 0))
    return OperationSettings(host=host, port=port, log=section.log)

"""No file and no function grows beyond what a person reads in one go."""

import ast
from pathlib import Path

ROOT = Path(__file__).parents[1]
MODULE_LINES, BODY_LINES = 400, 60


def modules() -> list[Path]:
    """Every module that is shipped."""
    return [
        path
        for package in ("advisor", "agent", "simulators")
        for path in sorted((ROOT / package).rglob("*.py"))
    ]


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its signature and docstring."""
    body = function.body[1:] if ast.get_docstring(function) else function.body
    return (function.end_lineno or 0) - body[0].lineno + 1 if body else 0


def test_no_module_is_longer_than_can_be_read():
    """A file at the limit hides a word that wants a file of its own."""
    lengths = {path: len(path.read_text("utf-8").splitlines()) for path in modules()}
    worst = sorted(lengths, key=lengths.__getitem__)[-5:]

    assert lengths[worst[-1]] <= MODULE_LINES, [(str(p.name), lengths[p]) for p in worst]


def test_no_function_is_longer_than_can_be_read():
    """Sixty lines of body at most, docstring apart."""
    lengths = {
        f"{path.name}:{node.name}": body_lines(node)
        for path in modules()
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    }
    worst = sorted(lengths, key=lengths.__getitem__)[-5:]

    assert lengths[worst[-1]] <= BODY_LINES, [(name, lengths[name]) for name in worst]

"""What the solver's wrapper promises."""

import subprocess
import sys

import pytest

from advisor.program import Program


def test_whole_numbers_come_back_whole():
    """Two kinds of coin to the sum of 17, fewest coins: exact integers."""
    program = Program()
    fives, twos = program.column(integer=True), program.column(integer=True)
    program.row({fives: 5.0, twos: 2.0}, 17.0, 17.0)

    assert program.minimise({fives: 1.0, twos: 1.0}) == [3.0, 1.0]


def test_what_cannot_be_met_has_no_answer():
    """A program without a solution gives `None`, not the nearest thing."""
    program = Program()
    column = program.column(upper=1.0)
    program.row({column: 1.0}, lower=2.0)

    assert program.minimise({column: 1.0}) is None


def test_solving_prints_nothing():
    """The solver's banner would spoil a JSON object on standard output."""
    code = (
        "from advisor.program import Program\n"
        "p = Program(); c = p.column(lower=1.0, integer=True); p.minimise({c: 1.0})\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)

    assert (done.stdout, done.stderr) == (b"", b"")


@pytest.mark.parametrize("module", ["advisor.dose", "advisor.advice", "agent.commands.charge"])
def test_the_solver_is_not_loaded_before_it_is_needed(module):
    """Importing the dose, or registering a command, does not load the solver or the units."""
    code = f"import sys, {module}; sys.exit('highspy' in sys.modules or 'pint' in sys.modules)"

    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

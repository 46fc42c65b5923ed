"""A small mixed-integer program and its solver, HiGHS."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import accumulate
from math import inf
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from highspy import Highs, HighsLp

_OPTIONS: dict[str, bool | float | str] = {
    "threads": 1,
    "parallel": "off",
    "mip_rel_gap": 0.0,
    "mip_abs_gap": 1e-6,
    "mip_feasibility_tolerance": 1e-7,  # with 1e-9 the presolver loses solutions that there are
    "primal_feasibility_tolerance": 1e-9,
    "mip_heuristic_run_feasibility_jump": False,  # 1 ms a program instead of 7
}
SLACK = 5e-7
"""By which a goal that was reached may be missed again by the next one."""


class SolverError(ArithmeticError):
    """The solver gave up on a program that has a solution."""


@dataclass(slots=True)
class Program:
    """Columns (unknowns) and rows (linear limits), solved for one goal after another.

    Examples
    --------
    >>> program = Program()
    >>> buckets = program.column(upper=10.0, integer=True)
    >>> _ = program.row({buckets: 16.0}, lower=40.0)  # 40 L in buckets of 16 L
    >>> program.minimise({buckets: 1.0})
    [3.0]
    """

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    integer: list[bool] = field(default_factory=list)
    rows: list[tuple[Mapping[int, float], float, float]] = field(default_factory=list)
    presolve: bool = True
    """Let the solver shrink the program first: three times faster, a little less robust."""

    def column(self, lower: float = 0.0, upper: float = inf, *, integer: bool = False) -> int:
        """Add an unknown between two bounds; its number."""
        self.lower.append(lower)
        self.upper.append(upper)
        self.integer.append(integer)
        return len(self.lower) - 1

    def row(self, terms: Mapping[int, float], lower: float = -inf, upper: float = inf) -> int:
        """Hold the sum of coefficient times column between two bounds; the row's number."""
        self.rows.append((terms, lower, upper))
        return len(self.rows) - 1

    def bound(self, row: int, lower: float, upper: float) -> None:
        """Hold a row between other bounds."""
        self.rows[row] = (self.rows[row][0], lower, upper)

    def minimise(self, cost: Mapping[int, float]) -> list[float] | None:
        """Values of all columns where the cost is least; `None` where no values fit.

        Whole numbers come back whole.

        Raises
        ------
        SolverError
            If the solver ends without an answer.
        """
        # Imported here on purpose: 0.1 s and 30 MB that a command without a dose does not pay.
        import highspy

        solver = _quiet_solver()
        solver.setOptionValue("presolve", "choose" if self.presolve else "off")
        solver.passModel(self._model(cost))
        solver.run()
        status = solver.getModelStatus()
        if status == highspy.HighsModelStatus.kInfeasible:
            return None
        if status != highspy.HighsModelStatus.kOptimal:
            raise SolverError(f"HiGHS ended with {status.name}, expected an optimum")
        values = zip(solver.getSolution().col_value, self.integer, strict=True)
        return [float(round(value)) if integer else float(value) for value, integer in values]

    def _model(self, cost: Mapping[int, float]) -> "HighsLp":
        """Lay the program out as HiGHS reads it, row by row."""
        import highspy

        model = highspy.HighsLp()
        kinds = highspy.HighsVarType
        model.num_col_ = len(self.lower)
        model.num_row_ = len(self.rows)
        model.col_cost_ = [cost.get(column, 0.0) for column in range(len(self.lower))]
        model.col_lower_ = self.lower
        model.col_upper_ = self.upper
        model.integrality_ = [kinds.kInteger if i else kinds.kContinuous for i in self.integer]
        model.row_lower_ = [lower for _, lower, _ in self.rows]
        model.row_upper_ = [upper for _, _, upper in self.rows]
        matrix = model.a_matrix_
        matrix.format_ = highspy.MatrixFormat.kRowwise
        matrix.start_ = list(accumulate((len(terms) for terms, _, _ in self.rows), initial=0))
        matrix.index_ = [column for terms, _, _ in self.rows for column in terms]
        matrix.value_ = [value for terms, _, _ in self.rows for value in terms.values()]
        return model


def _quiet_solver() -> "Highs":
    """HiGHS with one thread, no gap left open, and nothing printed."""
    import highspy

    class Quiet(highspy.Highs):
        """HiGHS whose constructor does not print its banner, which would spoil ``--json``."""

        def __init__(self) -> None:
            super(highspy.Highs, self).__init__()  # past the callbacks: they print it
            self.setOptionValue("output_flag", False)

    solver = Quiet()
    for option, value in _OPTIONS.items():
        solver.setOptionValue(option, value)
    return solver

"""A linear program that grows and is solved again and again: the thin layer over HiGHS. It knows nothing of pensions.

    maximise c'x  subject to  row_low <= A x <= row_high,  low <= x <= high

Rows are made empty and columns bring their entries. New rows and columns are gathered and handed to the solver together.
Each solve starts from the basis of the one before. One release of HiGHS, one thread: one program has one answer.
HiGHS is given ``-c`` to minimise, because it stops at an objective bound only there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import Enum
from typing import NamedTuple

from service.planning.optimiser.work import (
    COLUMN_ADDED,
    COLUMN_READ,
    ITERATION,
    ITERATION_FOR_COLUMN,
    SOLVE,
    Work,
)

INF = float("inf")

Entries = Sequence[tuple[int, float]]
"""A column's entries: row and coefficient. Coefficients of 0 are left out."""


class Outcome(Enum):
    """How a solve ended: with an optimum; with the proof that there is none, or none above the cutoff; or with neither,
    since the work was over or the solver lost its way."""

    OPTIMAL = "optimal"
    INFEASIBLE = "infeasible"
    BELOW_CUTOFF = "below cutoff"
    CUT_OFF = "cut off"
    UNSOLVED = "unsolved"


class _Column(NamedTuple):
    """A column: its coefficient in the objective, its bounds, its entries."""

    objective: float
    low: float
    high: float
    entries: Entries


class LinearProgram:
    """One program to be maximised. ``solves`` counts runs of the simplex method; what they cost is counted as work, and
    none takes more iterations than are left.

    After an optimal ``solve``: ``values`` of the columns, ``duals`` of the rows (what one more unit on the right hand side
    is worth), and ``objective``. After one that ended below the cutoff: the ``duals`` that prove it.
    """

    def __init__(self, work: Work) -> None:
        """No rows and no columns."""
        self.solves = 0
        self._work = work
        self.values: list[float] = []
        self.duals: list[float] = []
        self.objective = 0.0
        self._rows = self._columns = 0
        self._objective: dict[int, float] = {}
        self._new_rows: list[tuple[float, float]] = []
        self._new_columns: list[_Column] = []
        import highspy  # with the first plan that needs it: with numpy it takes longer to load than all of the service

        class Silent(highspy.Highs):
            """The solver, told to be silent before the first thing it would print: it names itself when it is made."""

            def enableCallbacks(self) -> None:
                self.setOptionValue("output_flag", False)
                super().enableCallbacks()

        self._highs = Silent()
        self._highs.setOptionValue("threads", 1)
        self._highs.setOptionValue("presolve", "off")
        self._outcomes = {
            highspy.HighsModelStatus.kObjectiveBound: Outcome.BELOW_CUTOFF,
            highspy.HighsModelStatus.kIterationLimit: Outcome.CUT_OFF,
            highspy.HighsModelStatus.kOptimal: Outcome.OPTIMAL,
            highspy.HighsModelStatus.kInfeasible: Outcome.INFEASIBLE,
        }

    def add_row(self, low: float, high: float) -> int:
        """A row without entries; its number."""
        self._new_rows.append((low, high))
        self._rows += 1
        return self._rows - 1

    def add_column(self, entries: Entries, *, objective: float = 0.0, low: float = 0.0, high: float = INF) -> int:
        """A column with its entries in rows that are there; its number."""
        self._new_columns.append(_Column(objective, low, high, [(row, value) for row, value in entries if value]))
        if objective:
            self._objective[self._columns] = objective
        self._columns += 1
        return self._columns - 1

    def bound_columns(self, bounds: Mapping[int, tuple[float, float]]) -> None:
        """Other bounds for columns."""
        if bounds:
            self._flush()
            lower, upper = [low for low, _ in bounds.values()], [high for _, high in bounds.values()]
            self._highs.changeColsBounds(len(bounds), list(bounds), lower, upper)

    def bound_row(self, row: int, low: float, high: float) -> None:
        """Other bounds for a row."""
        self._flush()
        self._highs.changeRowBounds(row, low, high)

    def objective_row(self) -> int:
        """A row that is the objective as it is; its number."""
        row = self.add_row(-INF, INF)
        for column, value in self._objective.items():
            self.set_coefficient(row, column, value)
        return row

    def set_objective(self, objective: Mapping[int, float]) -> None:
        """Another objective: its coefficients that are not nil."""
        self._flush()
        changed = dict.fromkeys(self._objective, 0.0) | dict(objective)
        self._highs.changeColsCost(len(changed), list(changed), [-value for value in changed.values()])
        self._objective = dict(objective)

    def set_coefficient(self, row: int, column: int, value: float) -> None:
        """Another coefficient for a column that is there."""
        self._flush()
        self._highs.changeCoeff(row, column, value)

    def solve(self, cutoff: float = -INF) -> Outcome:
        """Solve from the last basis, and no further than to the proof that no optimum is above ``cutoff``.

        Where the solver loses its way, rarely, it starts afresh and presolves first.
        """
        self._flush()
        self._highs.setOptionValue("objective_bound", -cutoff)
        outcome = self._run()
        if outcome is Outcome.UNSOLVED:
            self._highs.clearSolver()
            self._highs.setOptionValue("presolve", "on")
            outcome = self._run()
            self._highs.setOptionValue("presolve", "off")
        if outcome in (Outcome.OPTIMAL, Outcome.BELOW_CUTOFF):
            solution = self._highs.getSolution()
            self.values, self.duals = solution.col_value, [-value for value in solution.row_dual]
            self._work.add(COLUMN_READ * self._columns)
            self.objective = -self._highs.getInfo().objective_function_value
        return outcome

    def _run(self) -> Outcome:
        iteration = ITERATION + ITERATION_FOR_COLUMN * self._columns
        most = int((self._work.left - SOLVE) / iteration)
        if most <= 0:
            return Outcome.CUT_OFF
        self._highs.setOptionValue("simplex_iteration_limit", most)
        self._highs.run()
        self.solves += 1
        self._work.add(SOLVE + iteration * max(0, self._highs.getInfo().simplex_iteration_count))
        return self._outcomes.get(self._highs.getModelStatus(), Outcome.UNSOLVED)

    def _flush(self) -> None:
        """Hand new rows and columns to the solver."""
        if self._new_rows:
            lower, upper = [low for low, _ in self._new_rows], [high for _, high in self._new_rows]
            self._highs.addRows(len(lower), lower, upper, 0, [0] * len(lower), [], [])
            self._new_rows = []
        if self._new_columns:
            self._work.add(COLUMN_ADDED * len(self._new_columns))
            objective = [-column.objective for column in self._new_columns]
            lower, upper = [column.low for column in self._new_columns], [column.high for column in self._new_columns]
            starts: list[int] = []
            rows: list[int] = []
            values: list[float] = []
            for column in self._new_columns:
                starts.append(len(rows))
                rows += [row for row, _ in column.entries]
                values += [value for _, value in column.entries]
            self._highs.addCols(len(objective), objective, lower, upper, len(rows), starts, rows, values)
            self._new_columns = []

"""A linear program that grows and is solved again and again: the thin layer over HiGHS. It knows nothing of pensions.

    maximise c'x  subject to  row_low <= A x <= row_high,  low <= x <= high

Columns bring their entries in rows that are there, and rows theirs in columns that are. New rows, columns and bounds are
gathered and handed to the solver together. Each solve starts from the basis of the one before. One release of HiGHS, one
thread: one program has one answer.
HiGHS is given ``-c`` to minimise, because it stops at an objective bound only there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from enum import Enum

from service.planning.optimiser.work import (
    COLUMN_ADDED,
    COLUMN_READ,
    ITERATION,
    ITERATION_FOR_COLUMN,
    PART_FROM_NOTHING,
    SOLVE,
    Work,
)

INF = float("inf")

Entries = Sequence[tuple[int, float]]
"""A column's entries, each a row and a coefficient, or a row's, each a column and a coefficient. Coefficients of 0 are left
out."""

_DUAL_SIMPLEX, _PRIMAL_SIMPLEX = 1, 4
"""What HiGHS calls the two methods."""


class Outcome(Enum):
    """How a solve ended: with an optimum; with the proof that there is none, or none above the cutoff; or with neither,
    since the work was over or the solver lost its way."""

    OPTIMAL = "optimal"
    INFEASIBLE = "infeasible"
    BELOW_CUTOFF = "below cutoff"
    CUT_OFF = "cut off"
    UNSOLVED = "unsolved"


class _Gathered:
    """New rows or columns as the solver takes them: bounds, coefficients in the objective, where the entries of each begin, the
    numbers of all entries and their coefficients."""

    def __init__(self) -> None:
        """None yet."""
        self.low: list[float] = []
        self.high: list[float] = []
        self.objective: list[float] = []
        self.starts: list[int] = []
        self.numbers: list[int] = []
        self.values: list[float] = []

    def __len__(self) -> int:
        """How many rows or columns."""
        return len(self.low)

    def add(self, low: float, high: float, objective: float, entries: Entries) -> None:
        """One more."""
        self.low.append(low)
        self.high.append(high)
        self.objective.append(objective)
        self.starts.append(len(self.numbers))
        for number, value in entries:
            if value:
                self.numbers.append(number)
                self.values.append(value)


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
        self._new_rows, self._new_columns = _Gathered(), _Gathered()
        self._new_bounds: dict[int, tuple[float, float]] = {}
        self._new_row_bounds: dict[int, tuple[float, float]] = {}
        import highspy  # with the first plan that needs it: with numpy it takes longer to load than all of the service

        class Silent(highspy.Highs):
            """The solver, told to be silent before the first thing it would print: it names itself when it is made."""

            def enableCallbacks(self) -> None:
                self.setOptionValue("output_flag", False)
                super().enableCallbacks()

        # The solver keeps a thread's workers from one program to the next, and refuses to run with another number of them than a
        # program of somebody else's left behind.
        highspy.Highs.resetGlobalScheduler(True)
        self._highs = Silent()
        self._highs.setOptionValue("threads", 1)
        self._highs.setOptionValue("presolve", "off")
        # The optima have many like columns, so that what is perturbed has to be solved once more without.
        self._highs.setOptionValue("dual_simplex_cost_perturbation_multiplier", 0.0)
        self._highs.setOptionValue("primal_simplex_bound_perturbation_multiplier", 0.0)
        self._basic, self._at_bound = highspy.HighsBasisStatus.kBasic, highspy.HighsBasisStatus.kLower
        self._outcomes = {
            highspy.HighsModelStatus.kObjectiveBound: Outcome.BELOW_CUTOFF,
            highspy.HighsModelStatus.kIterationLimit: Outcome.CUT_OFF,
            highspy.HighsModelStatus.kOptimal: Outcome.OPTIMAL,
            highspy.HighsModelStatus.kInfeasible: Outcome.INFEASIBLE,
        }

    def add_row(self, low: float, high: float, entries: Entries = ()) -> int:
        """A row with its entries in columns that are there; its number."""
        if entries and self._new_columns:
            self._flush()
        self._new_rows.add(low, high, 0.0, entries)
        self._rows += 1
        return self._rows - 1

    def add_column(self, entries: Entries, *, objective: float = 0.0, low: float = 0.0, high: float = INF) -> int:
        """A column with its entries in rows that are there; its number."""
        self._new_columns.add(low, high, -objective, entries)
        if objective:
            self._objective[self._columns] = objective
        self._columns += 1
        return self._columns - 1

    def bound_columns(self, bounds: Mapping[int, tuple[float, float]]) -> None:
        """Other bounds for columns."""
        self._new_bounds.update(bounds)

    def bound_row(self, row: int, low: float, high: float) -> None:
        """Other bounds for a row."""
        self._new_row_bounds[row] = low, high

    def objective_row(self, low: float) -> int:
        """A row that is the objective as it is, at least ``low``; its number."""
        return self.add_row(low, INF, list(self._objective.items()))

    def set_objective(self, objective: Mapping[int, float]) -> None:
        """Another objective: its coefficients that are not nil."""
        self._flush()
        changed = dict.fromkeys(self._objective, 0.0) | dict(objective)
        self._highs.changeColsCost(len(changed), list(changed), [-value for value in changed.values()])
        self._objective = dict(objective)

    def enter_basis(self, columns: Mapping[int, int]) -> None:
        """Put columns into the last basis, by the rows of whose slack they take the place there: where a new row is met by a new
        column of its own, the last solution goes on being feasible."""
        self._flush()
        basis = self._highs.getBasis()
        of_rows, of_columns = list(basis.row_status), list(basis.col_status)
        for row, column in columns.items():
            of_rows[row], of_columns[column] = self._at_bound, self._basic
        basis.row_status, basis.col_status = of_rows, of_columns
        self._highs.setBasis(basis)

    def solve(self, cutoff: float = -INF, *, primal: bool = False) -> Outcome:
        """Solve from the last basis, and no further than to the proof that no optimum is above ``cutoff``.

        ``primal``: by the primal simplex method, which takes few iterations where the last solution is feasible still, as with
        another objective. The dual method takes few where the last prices are, as with other bounds; only it heeds a cutoff.
        From nothing the primal method's iterations are the quicker ones. Where the solver loses its way, rarely, it starts afresh
        and presolves first.
        """
        self._flush()
        self._highs.setOptionValue("simplex_strategy", _PRIMAL_SIMPLEX if primal else _DUAL_SIMPLEX)
        self._highs.setOptionValue("objective_bound", -cutoff)
        outcome = self._run(from_nothing=primal and not self.solves)
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

    def _run(self, *, from_nothing: bool = False) -> Outcome:
        iteration = ITERATION + ITERATION_FOR_COLUMN * self._columns
        if from_nothing:
            iteration *= PART_FROM_NOTHING
        most = int((self._work.left - SOLVE) / iteration)
        if most <= 0:
            return Outcome.CUT_OFF
        self._highs.setOptionValue("simplex_iteration_limit", most)
        self._highs.run()
        self.solves += 1
        self._work.add(SOLVE + iteration * max(0, self._highs.getInfo().simplex_iteration_count))
        return self._outcomes.get(self._highs.getModelStatus(), Outcome.UNSOLVED)

    def _flush(self) -> None:
        """Hand new rows, columns and bounds to the solver."""
        rows, columns = self._new_rows, self._new_columns
        if rows:
            entries = len(rows.numbers), rows.starts, rows.numbers, rows.values
            self._highs.addRows(len(rows), rows.low, rows.high, *entries)
            self._new_rows = _Gathered()
        if columns:
            self._work.add(COLUMN_ADDED * len(columns))
            entries = len(columns.numbers), columns.starts, columns.numbers, columns.values
            self._highs.addCols(len(columns), columns.objective, columns.low, columns.high, *entries)
            self._new_columns = _Gathered()
        if self._new_bounds:
            lower, upper = (
                [low for low, _ in self._new_bounds.values()],
                [high for _, high in self._new_bounds.values()],
            )
            self._highs.changeColsBounds(len(lower), list(self._new_bounds), lower, upper)
            self._new_bounds = {}
        for row, (low, high) in self._new_row_bounds.items():
            self._highs.changeRowBounds(row, low, high)
        self._new_row_bounds = {}

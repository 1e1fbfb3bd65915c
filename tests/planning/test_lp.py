"""The layer over the solver, on programs small enough to be solved by hand."""

from __future__ import annotations

import random
from concurrent.futures import ThreadPoolExecutor

import highspy
import pytest

from service.planning.optimiser.lp import INF, LinearProgram, Outcome
from service.planning.optimiser.work import COLUMN_ADDED, COLUMN_READ, ITERATION, ITERATION_FOR_COLUMN, SOLVE, Work

PLENTY = 1e12


def diet(work: Work) -> tuple[LinearProgram, list[int], list[int]]:
    """Maximise 3x + 2y with x + y <= 4, x + 3y <= 9 and x <= 3: 11, at x = 3 and y = 1."""
    program = LinearProgram(work)
    rows = [program.add_row(-INF, 4.0), program.add_row(-INF, 9.0)]
    columns = [
        program.add_column([(rows[0], 1.0), (rows[1], 1.0)], objective=3.0, high=3.0),
        program.add_column([(rows[0], 1.0), (rows[1], 3.0)], objective=2.0),
    ]
    return program, rows, columns


def test_an_optimum_with_its_duals() -> None:
    program, rows, columns = diet(Work(PLENTY))
    assert program.solve() is Outcome.OPTIMAL
    assert program.objective == pytest.approx(11.0)
    assert [program.values[column] for column in columns] == pytest.approx([3.0, 1.0])
    assert [program.duals[row] for row in rows] == pytest.approx([2.0, 0.0])


def test_it_runs_beside_a_program_of_the_solver_with_more_threads() -> None:
    """In a thread of its own, since the solver keeps its workers by thread."""

    def after_another() -> tuple[highspy.HighsStatus, Outcome, int]:
        other = highspy.Highs()
        other.setOptionValue("output_flag", False)
        other.setOptionValue("threads", 2)
        other.addVar(0.0, 1.0)
        status = other.run()
        program, _, _ = diet(Work(PLENTY))
        return status, program.solve(), program.solves

    with ThreadPoolExecutor(1) as pool:
        assert pool.submit(after_another).result() == (highspy.HighsStatus.kOk, Outcome.OPTIMAL, 1)


def test_it_grows_and_is_solved_again() -> None:
    program, rows, columns = diet(Work(PLENTY))
    program.solve()
    program.add_column([(rows[0], 0.5)], objective=2.0)
    assert program.solve() is Outcome.OPTIMAL
    assert program.objective == pytest.approx(16.0)
    program.bound_columns({columns[0]: (0.0, 0.0), columns[1]: (1.0, 1.0)})
    program.bound_row(rows[0], -INF, 2.0)
    assert program.solve() is Outcome.OPTIMAL
    assert program.objective == pytest.approx(6.0)
    program.add_row(-INF, 9.0, [(columns[1], 17.0)])
    assert program.solve() is Outcome.INFEASIBLE
    assert program.solves == 4


def test_it_goes_no_further_than_to_the_proof_that_no_optimum_is_above_a_cutoff() -> None:
    """That of the dense program is known from a solve without one; weak duality is the proof of what is said."""
    whole = dense(Work(PLENTY))
    whole.solve()
    stopped = dense(Work(PLENTY))
    stopped.solve()
    # With less room the last basis is dual feasible still, and the optimum falls.
    less = [high * (0.1 if row % 2 else 0.6) for row, high in enumerate(rights())]
    for row, high in enumerate(less):
        stopped.bound_row(row, -INF, high)
    cutoff = 0.7 * whole.objective
    assert stopped.solve(cutoff) is Outcome.BELOW_CUTOFF
    assert min(stopped.duals) >= -1e-9
    proven = sum(dual * high for dual, high in zip(stopped.duals, less, strict=True))
    assert proven <= cutoff + 1e-6
    assert stopped.solve() is Outcome.OPTIMAL
    assert stopped.objective < proven - 1e-3  # it had not been looked for to the end


def test_it_ends_when_the_work_is_over() -> None:
    program, _, _ = diet(Work(SOLVE / 2))
    assert program.solve() is Outcome.CUT_OFF
    assert program.solves == 0


def rights() -> list[float]:
    """The right hand sides of the dense program."""
    chance = random.Random(2)
    return [chance.uniform(5.0, 6.0) for _ in range(60)]


def dense(work: Work) -> LinearProgram:
    """Sixty rows and sixty columns without a zero, and an optimum that takes more than a dozen iterations."""
    chance = random.Random(1)
    program = LinearProgram(work)
    rows = [program.add_row(-INF, high) for high in rights()]
    for _ in range(60):
        program.add_column([(row, chance.uniform(0.0, 1.0)) for row in rows], objective=chance.uniform(1.0, 1.1))
    return program


def test_a_run_takes_no_more_iterations_than_are_left() -> None:
    plenty = Work(PLENTY)
    assert dense(plenty).solve() is Outcome.OPTIMAL
    iterations = (plenty.done - SOLVE - 60 * (COLUMN_ADDED + COLUMN_READ)) / (ITERATION + 60 * ITERATION_FOR_COLUMN)
    assert iterations > 12
    limited = Work(60 * COLUMN_ADDED + SOLVE + (iterations - 5) * (ITERATION + 60 * ITERATION_FOR_COLUMN))
    program = dense(limited)
    assert program.solve() is Outcome.CUT_OFF
    assert limited.done <= limited.limit
    limited.limit = PLENTY
    assert program.solve() is Outcome.OPTIMAL


def test_another_objective_by_the_primal_method_comes_to_the_same() -> None:
    """As a program that never had another one."""
    chance = random.Random(3)
    other = {column: chance.uniform(-1.0, 1.0) for column in range(60)}
    anew, again = dense(Work(PLENTY)), dense(Work(PLENTY))
    again.solve()
    for program in (anew, again):
        program.set_objective(other)
    assert anew.solve() is again.solve(primal=True) is Outcome.OPTIMAL
    assert again.objective == pytest.approx(anew.objective)


def test_a_new_row_met_by_a_column_in_the_basis_leaves_the_solution_feasible() -> None:
    """Of all solutions with at least 0.99 of the optimum, the least difference of two columns: the same without the basis, and in
    fewer iterations with it."""
    found = []
    for enters in (False, True):
        work = Work(PLENTY)
        program = dense(work)
        program.solve()
        most = program.objective
        first, second = sorted(range(60), key=lambda column: program.values[column])[-2:]
        program.objective_row(0.99 * most)
        row = program.add_row(0.0, 0.0, [(second, 1.0), (first, -1.0)])
        rise, fall = program.add_column([(row, -1.0)]), program.add_column([(row, 1.0)])
        if enters:
            program.enter_basis({row: rise})
        program.set_objective({rise: -1.0, fall: -1.0})
        before = work.done
        assert program.solve(primal=True) is Outcome.OPTIMAL
        found.append((program.objective, work.done - before))
    (objective, takes), (with_basis, takes_with_basis) = found
    assert with_basis == pytest.approx(objective)
    assert takes_with_basis <= takes

"""What the search for the best plan sees of a person's tax, against the rules: never more, and at its points the same.

Invented people. The convex hull of the points is found here by a linear model of its own.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import date

import highspy
import pytest

from service.law.lump_sums import Pension
from service.planning.household import Assumptions, DatedIncome, Household, Member
from service.planning.optimiser.relaxation import Relaxation
from service.planning.optimiser.tax_cells import Region, TaxDomain
from service.planning.projection.timeline import timeline
from tests.households import BOOK

POUND = 100
HALF_A_POUND = 0.50
"""The taper's whole pounds are 40 pence on two pounds of income; a tax on a line through its stairs may be off by that."""


def domain(chance: random.Random, cap: int) -> TaxDomain:
    """A year of an invented person, its tax on interest looked at closely up to so many pence."""
    incomes = [
        DatedIncome(kind, chance.randint(least, most) * POUND)
        for kind, least, most, odds in (
            ("state_pension", 3_000, 12_500, 0.6),
            ("employment", 5_000, 90_000, 0.3),
            ("savings_interest", 100, 7_000, 0.4),
            ("dividends", 100, 9_000, 0.3),
            ("property", 100, 9_000, 0.2),
        )
        if chance.random() < odds
    ]
    person = Member(
        date(1958, 6, 1),
        chance.choice(("england", "scotland", "wales")),
        Pension(40_000_000),
        income=tuple(incomes),
        marriage_allowance=chance.choice(("none", "none", "gives", "receives")),
        gift_aid_donations=chance.choice((0, 0, 100_000)),
        blind_persons_allowance=chance.random() < 0.1,
    )
    first = chance.choice((2025, 2026, 2029))
    household = Household(
        date(first, 4, 6), date(first + 2, 4, 5), (person,), assumptions=Assumptions(cash_interest=300)
    )
    model = Relaxation(timeline(household, BOOK))
    model.refine_interest(0, 1, cap)
    return model.domains[0][1]


def hull(seen: TaxDomain, region: Region, income: int, savings: int) -> float:
    """The convex hull of the points in a region, at pence of income and savings."""
    points = list(seen.points(region))
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(points), 3
    model.row_lower_ = model.row_upper_ = [1.0, income / POUND, savings / POUND]
    model.col_cost_ = [point.tax for point in points]
    model.col_lower_, model.col_upper_ = [0.0] * len(points), [1.0] * len(points)
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_ = list(range(0, 3 * len(points) + 1, 3))
    model.a_matrix_.index_ = [0, 1, 2] * len(points)
    model.a_matrix_.value_ = [value for point in points for value in (1.0, point.income, point.savings / POUND)]
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.passModel(model)
    solver.run()
    assert solver.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return solver.getInfo().objective_function_value


def regions(chance: random.Random, seen: TaxDomain, income: int, savings: int) -> Iterator[Region]:
    """All there is, and parts that have an amount at or near their border."""
    near, total = income / POUND, (income + savings) / POUND
    yield Region()
    yield chance.choice((Region(low=near), Region(high=near), Region(low=max(0.0, near - 900), high=near + 700)))
    yield chance.choice(
        (Region(total_low=total), Region(total_high=total), Region(total_low=total - 800, total_high=total + 50))
    )


@pytest.mark.parametrize("seed", range(40))
def test_the_hull_is_nowhere_above_the_tax(seed: int) -> None:
    chance = random.Random(seed)
    cap = chance.choice((1_000, 3_000, 10_000, 25_000)) * POUND
    seen = domain(chance, cap)
    for _ in range(12):
        savings = seen.savings + chance.randint(0, cap)
        income = seen.income + chance.randint(0, chance.choice((20_000, 60_000, 150_000)) * POUND)
        tax = seen.surface.tax(income, savings)
        for region in regions(chance, seen, income, savings):
            assert hull(seen, region, income, savings) <= tax + HALF_A_POUND, (income, savings, region)


@pytest.mark.parametrize("seed", range(40))
def test_a_level_is_the_rules_own_tax(seed: int) -> None:
    chance = random.Random(seed)
    seen = domain(chance, 5_000 * POUND)
    for savings in seen.levels[:-1]:
        line = seen.surface.section(savings)
        for _ in range(20):
            income = chance.randint(0, 150_000 * POUND)
            assert abs(line.at(income / POUND) - seen.surface.tax(income, savings)) <= HALF_A_POUND

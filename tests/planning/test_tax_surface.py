"""What the search for the best plan sees of a person's tax, against the rules: never more, and at its points nearly the same.

Invented people of every nation and tax year. The convex hull of the points is found here by a linear model of its own.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import highspy
import pytest

from service.law.income_tax import MARRIAGE_ALLOWANCES, NATIONS, IncomeTaxRules, Taxpayer, liability, taxpayer_year
from service.planning.optimiser.arrangement import FAR_PENCE
from service.planning.optimiser.tax_surface import Region, Surface, TaxPoint
from service.planning.optimiser.work import Work
from tests.households import BOOK

POUND = 100
ROUNDED = 0.02
"""Pounds: the year's tax is rounded to the penny, and the points are whole pence."""
A_STAIR = 1.20
"""Pounds: a pound of allowance, at what a pound of income may cost in the taper."""


def person(chance: random.Random) -> tuple[Taxpayer, IncomeTaxRules]:
    """Somebody with any kind of income but that of the two amounts, and the rules of some year and nation."""
    nation = chance.choice(NATIONS)
    rules = chance.choice(list(BOOK.years.values())).income_tax[nation]
    return (
        Taxpayer(
            nation,
            property_income=chance.choice((0, 0, chance.randint(1, 30_000) * POUND)),
            dividends=chance.choice((0, 0, chance.randint(1, 9_000) * POUND, chance.randint(1, 150_000) * POUND)),
            relief_at_source=chance.choice((0, 0, 0, chance.randint(1, 40_000) * POUND)),
            gift_aid=chance.choice((0, 0, 0, chance.randint(1, 5_000) * POUND)),
            blind=chance.random() < 0.1,
            marriage_allowance=chance.choice(("none", *MARRIAGE_ALLOWANCES)),
            child_benefit=chance.choice((0, 0, 0, 2_251_60)),
        ),
        rules,
    )


def surface(chance: random.Random) -> tuple[Surface, Taxpayer, IncomeTaxRules]:
    """A surface, and whose it is."""
    taxpayer, rules = person(chance)
    return Surface(taxpayer, rules, Work(FAR_PENCE)), taxpayer, rules


def region(chance: random.Random) -> Region:
    """Some incomes and savings from some on, now and then with both together bounded."""
    income = chance.choice((0, chance.randint(0, 30_000), chance.randint(0, 150_000))) * POUND
    savings = chance.choice((0, chance.randint(0, 7_000), chance.randint(0, 60_000))) * POUND
    found = Region(
        income,
        income + chance.choice((0, *[chance.randint(2_000, 900_000)] * 5)) * POUND,
        savings,
        savings + chance.choice((0, 5_000, 40_000, 300_000, 3_000_000)) * POUND,
    )
    total = income + savings + chance.randint(0, 100_000) * POUND
    if chance.random() < 0.2 and total < found.income_high + found.savings_high:
        return found._replace(total_low=total)
    return found._replace(total_high=total) if chance.random() < 0.2 else found


def inside(chance: random.Random, where: Region) -> Iterator[tuple[int, int]]:
    """A dozen or fewer incomes and savings inside, some of them near the region's low corner."""
    for _ in range(40):
        income = where.income_low + chance.randint(0, chance.choice((2_000, 20_000, 150_000))) * POUND
        savings = where.savings_low + chance.randint(0, chance.choice((1_500, 10_000, 60_000))) * POUND
        income, savings = min(income, where.income_high), min(savings, where.savings_high)
        if where.has(income, savings):
            yield income, savings


def hull(points: list[TaxPoint], income: int, savings: int) -> float:
    """The lower convex hull of points at pence of income and savings."""
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(points), 3
    model.row_lower_ = model.row_upper_ = [1.0, income / POUND, savings / POUND]
    model.col_cost_ = [point.tax for point in points]
    model.col_lower_, model.col_upper_ = [0.0] * len(points), [1.0] * len(points)
    model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
    model.a_matrix_.start_ = list(range(0, 3 * len(points) + 1, 3))
    model.a_matrix_.index_ = [0, 1, 2] * len(points)
    model.a_matrix_.value_ = [value for point in points for value in (1.0, point.income / POUND, point.savings / POUND)]
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.passModel(model)
    solver.run()
    assert solver.getModelStatus() == highspy.HighsModelStatus.kOptimal, "the points do not surround the region"
    return solver.getInfo().objective_function_value


def rules_own(taxpayer: Taxpayer, rules: IncomeTaxRules, income: int, savings: int) -> float:
    """The rules' tax, pounds."""
    return liability(taxpayer_year(taxpayer._replace(savings=savings), rules), income).total / POUND


@pytest.mark.parametrize("seed", range(300))
def test_the_hull_is_nowhere_above_the_tax(seed: int) -> None:
    chance = random.Random(seed)
    seen, taxpayer, rules = surface(chance)
    where = region(chance)
    points = seen.vertices(where)
    for income, savings in list(inside(chance, where))[:12]:
        tax = rules_own(taxpayer, rules, income, savings)
        assert hull(points, income, savings) <= tax + ROUNDED, (income, savings)


@pytest.mark.parametrize("seed", range(200))
def test_it_is_nowhere_above_the_tax_along_an_edge_in_the_taper(seed: int) -> None:
    """Cells are split at totals. Corners on such an edge are halves of a penny of both amounts, and are not to be lost."""
    chance = random.Random(seed)
    seen, taxpayer, rules = surface(chance)
    first = max(0, seen._taper.first)
    total = first + round(max(POUND, seen._taper.last - first) * chance.random())
    where = Region(0, FAR_PENCE, 0, FAR_PENCE, total, total + 50_000 * POUND)
    points = seen.vertices(where)
    for _ in range(20):
        income = chance.randint(0, total)
        tax = rules_own(taxpayer, rules, income, total - income)
        assert hull(points, income, total - income) <= tax + ROUNDED, (income, total - income)


@pytest.mark.parametrize("seed", range(300))
def test_where_other_income_is_all_there_is_its_few_lines_suffice(seed: int) -> None:
    """The hull of their points is nowhere above the rules' tax, and is that of the points on all lines."""
    chance = random.Random(seed)
    taxpayer, rules = person(chance)
    taxpayer = taxpayer._replace(property_income=0, dividends=0)
    seen, all_lines = (Surface(taxpayer, rules, Work(FAR_PENCE)) for _ in range(2))
    all_lines._has_more_layers = True  # so that no lines are left out
    low = chance.choice((0, chance.randint(0, 150_000))) * POUND
    where = Region(low, low + chance.choice((20_000, 100_000, 900_000)) * POUND, 0, 0)
    points, more = seen.vertices(where), all_lines.vertices(where)
    assert {point.income for point in points} <= {point.income for point in more}
    incomes = [chance.randint(low, min(where.income_high, low + 150_000 * POUND)) for _ in range(12)]
    for income in (*incomes, *(point.income + penny for point in more[:-1] for penny in (0, 1))):
        of_few, of_all = hull(points, income, 0), hull(more, income, 0)
        assert of_few == pytest.approx(of_all, abs=1e-6), income
        assert of_few <= rules_own(taxpayer, rules, income, 0) + ROUNDED, income


def donor(chance: random.Random) -> tuple[Surface, Taxpayer, IncomeTaxRules]:
    """A surface of somebody with little income who gives much, so that the tax must cover the gifts."""
    taxpayer, rules = person(chance)
    taxpayer = taxpayer._replace(
        gift_aid=chance.choice((chance.randint(1, 3_000), chance.randint(1, 60_000))) * POUND,
        dividends=min(taxpayer.dividends, chance.randint(0, 20_000) * POUND),
        property_income=min(taxpayer.property_income, chance.randint(0, 8_000) * POUND),
    )
    return Surface(taxpayer, rules, Work(FAR_PENCE)), taxpayer, rules


def overstated(seeds: range) -> list[tuple[int, int, int]]:
    """Where the hull of a donor's points is above the rules' tax: seed, income and savings."""
    found = []
    for seed in seeds:
        chance = random.Random(seed)
        seen, taxpayer, rules = donor(chance)
        where = region(chance)._replace(income_low=0, savings_low=0, total_low=-FAR_PENCE)
        points = seen.vertices(where)
        for income, savings in list(inside(chance, where))[:12]:
            if hull(points, income, savings) > rules_own(taxpayer, rules, income, savings) + ROUNDED:
                found.append((seed, income, savings))
    return found


def test_the_hull_is_nowhere_above_the_tax_of_donors() -> None:
    assert overstated(range(250)) == []


def test_a_donors_tax_without_the_place_where_it_begins_to_rise_would_be_noticed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(Surface, "_where_tax_begins", lambda self, crossings: ())
    assert len(overstated(range(60))) > 10


def test_a_line_left_out_would_be_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same check on hulls of half of the lines: it must find tax that is overstated."""
    whole = Surface.lines.fget
    assert whole is not None
    monkeypatch.setattr(Surface, "lines", property(lambda self: whole(self)[::2]))
    too_high = 0
    for seed in range(60):
        chance = random.Random(seed)
        seen, taxpayer, rules = surface(chance)
        where = region(chance)
        points = seen.vertices(where)
        for income, savings in list(inside(chance, where))[:12]:
            too_high += hull(points, income, savings) > rules_own(taxpayer, rules, income, savings) + ROUNDED
    assert too_high > 10


@pytest.mark.parametrize("seed", range(100))
def test_the_surface_is_the_rules_tax_but_for_stairs(seed: int) -> None:
    chance = random.Random(seed)
    seen, taxpayer, rules = surface(chance)
    for _ in range(40):
        income, savings = chance.randint(0, 200_000) * POUND, chance.choice((0, chance.randint(0, 50_000))) * POUND
        tax, own = seen.tax(income, savings), rules_own(taxpayer, rules, income, savings)
        assert tax <= own + ROUNDED
        if taxpayer.marriage_allowance != "gives" and not taxpayer.child_benefit:
            # A step may be passed by the stair.
            before = rules_own(taxpayer, rules, max(0, income - 2 * POUND), savings)
            assert tax >= min(own, before) - A_STAIR


@pytest.mark.parametrize("seed", range(40))
def test_a_smaller_region_has_a_hull_no_lower(seed: int) -> None:
    chance = random.Random(seed)
    seen, _, _ = surface(chance)
    where = region(chance)
    points = seen.vertices(where)
    for income, savings in list(inside(chance, where))[:4]:
        low = hull(points, income, savings)
        for smaller in (
            where._replace(income_high=income),
            where._replace(income_low=income),
            where._replace(savings_high=savings),
            where._replace(total_low=income + savings),
        ):
            assert low - ROUNDED <= hull(seen.vertices(smaller), income, savings) <= seen.tax(income, savings) + ROUNDED

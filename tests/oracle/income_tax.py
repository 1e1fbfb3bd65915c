"""Income tax of one person in one tax year, recomputed slowly in exact fractions of a pound.

Written from the Income Tax Act 2007 (ITA), the Finance Act 2004 and ITEPA 2003, and from nothing else in
this repository but the figures. Nothing here is quick: the best use of the allowances (ITA s.25(2)) is found
by trying very many ways of using them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from typing import Any

from .figures import Band, Figures, bands, has, pounds, value

Number = int | Fraction

NOTHING = Fraction(0)

NOT_ABOVE_BASIC = {
    "nil_rate",
    "starter_rate",
    "basic_rate",
    "intermediate_rate",
    "property_basic_rate",
    "savings_basic_rate",
    "dividend_ordinary_rate",
}
"""Rates that a person may pay and still give or receive the marriage allowance (ITA ss.55B(2), 55C(1))."""

EVERY_POUND = 3_000
"""When there are no more whole-pound ways than this of using the allowances, all of them are tried."""

GRID = 6
"""Otherwise this many even steps each way are tried beside the breakpoints."""


@dataclass(frozen=True)
class Slice:
    """Some pounds of one kind of income charged at one rate."""

    kind: str
    name: str
    amount: Fraction
    rate: Fraction


@dataclass(frozen=True)
class Year:
    """What the charge needs to know of the year and of the person's nation."""

    main: list[Band]
    property: list[Band]
    savings: list[Band]
    dividends: list[Band]
    starting_rate_limit: Fraction
    savings_allowance: Fraction
    dividend_allowance: Fraction
    separate_property: bool
    other_income_first: bool


def extended(table: list[Band], extension: Fraction, fixed: frozenset[str] = frozenset()) -> list[Band]:
    """Limits raised by relief at source and Gift Aid (FA 2004 s.192(4), (4A); ITA s.414)."""
    return [(name, rate, limit if limit is None or name in fixed else limit + extension) for name, rate, limit in table]


def in_bands(kind: str, table: list[Band], start: Fraction, amount: Fraction) -> list[Slice]:
    """Charge `amount` pounds that lie on top of `start` pounds of taxable income."""
    slices = []
    end = start + amount
    lower = NOTHING
    for name, rate, limit in table:
        upper = end if limit is None else min(limit, end)
        part = upper - max(lower, start)
        if part > 0:
            slices.append(Slice(kind, name, part, rate))
        if limit is None:
            break
        lower = limit
    return slices


def charge(year: Year, other: Fraction, prop: Fraction, savings: Fraction, dividends: Fraction) -> list[Slice]:
    """Charge the taxable amounts, each kind on top of the one before (ITA s.16, from 2027-28 s.16A)."""
    slices = in_bands("non_savings", year.main, NOTHING, other)
    slices += in_bands("property", year.property, other, prop)
    position = other + prop

    # The starting rate for savings is 0% and what other taxable income leaves of its limit (ITA ss.7, 12).
    # Next comes the savings nil rate (s.12A). Both use up room in the bands.
    starting = min(savings, max(NOTHING, year.starting_rate_limit - position))
    nil = starting + min(savings - starting, year.savings_allowance)
    if nil > 0:
        slices.append(Slice("savings", "nil_rate", nil, NOTHING))
    slices += in_bands("savings", year.savings, position + nil, savings - nil)
    position += savings

    nil = min(dividends, year.dividend_allowance)
    if nil > 0:
        slices.append(Slice("dividends", "nil_rate", nil, NOTHING))
    slices += in_bands("dividends", year.dividends, position + nil, dividends - nil)
    return slices


def tax_of(slices: list[Slice]) -> Fraction:
    """The tax on the slices, before any tax reduction."""
    return sum((part.amount * part.rate for part in slices), NOTHING)


def amount_of(slices: list[Slice], *kinds: str) -> Fraction:
    """The taxable amount of some kinds of income."""
    return sum((part.amount for part in slices if part.kind in kinds), NOTHING)


def pays_above_basic(slices: list[Slice]) -> bool:
    """Whether anything is charged at a rate that bars the marriage allowance; nil rates do not bar it."""
    return any(part.name not in NOT_ABOVE_BASIC for part in slices)


def ways_to_leave(
    year: Year, fixed: Fraction, first: Fraction, savings: Fraction, dividends: Fraction, allowances: Fraction
) -> Iterator[tuple[Fraction, Fraction, Fraction]]:
    """Ways of using `allowances` against three amounts: yields what is left of each.

    `fixed` is taxable income below the three that no allowance can reach any more. Within one way of charging,
    tax is a plane over the possible splits, so its least value lies at a corner where two of the lines on
    which the way of charging changes cross. Every such line holds constant what is left of the first amount,
    of savings or of dividends. All crossings are tried, and beside them a grid, in case a line was forgotten:
    of every whole pound when that is few enough, otherwise a coarse one.
    """
    left = first + savings + dividends - allowances
    if left <= 0:
        yield NOTHING, NOTHING, NOTHING
        return
    total = fixed + left

    places = {NOTHING, year.starting_rate_limit}
    for table in (year.main, year.property, year.savings, year.dividends):
        places |= {limit for _, _, limit in table if limit is not None}
    for width in (year.savings_allowance, year.dividend_allowance):
        places |= {place + width for place in places} | {place - width for place in places}

    def within(candidates: set[Fraction], least: Fraction, most: Fraction) -> set[Fraction]:
        return {each for each in candidates if least <= each <= most} | {least, most}

    of_first = within({p - fixed for p in places}, max(NOTHING, first - allowances), first)
    of_savings = within(
        places | {year.savings_allowance, year.starting_rate_limit - fixed + year.savings_allowance},
        max(NOTHING, savings - allowances),
        savings,
    )
    of_dividends = within(
        places | {total - p for p in places} | {year.dividend_allowance},
        max(NOTHING, dividends - allowances),
        dividends,
    )
    tried = {(f, s, left - f - s) for f in of_first for s in of_savings}
    tried |= {(f, left - f - d, d) for f in of_first for d in of_dividends}
    tried |= {(left - s - d, s, d) for s in of_savings for d in of_dividends}

    reach_first, reach_savings = min(first, allowances), min(savings, allowances)
    few = (reach_first + 1) * (reach_savings + 1) <= EVERY_POUND
    steps_first = floor(reach_first) if few else GRID
    steps_savings = floor(reach_savings) if few else GRID
    for i in range(steps_first + 1):
        used_first = Fraction(i) if few else reach_first * i / GRID
        for j in range(steps_savings + 1):
            used_savings = Fraction(j) if few else reach_savings * j / GRID
            f, s = first - used_first, savings - used_savings
            tried.add((f, s, left - f - s))

    for f, s, d in tried:
        if 0 <= f <= first and 0 <= s <= savings and 0 <= d <= dividends:
            yield f, s, d


def all_charges(
    year: Year, other: Fraction, prop: Fraction, savings: Fraction, dividends: Fraction, allowances: Fraction
) -> Iterator[list[Slice]]:
    """The charge for each way of using the allowances that is tried (ITA s.25(2); from 2027-28 s.25(3A))."""
    if not year.separate_property:
        other, prop = other + prop, NOTHING
    if year.other_income_first:
        used = min(other, allowances)
        ways = ways_to_leave(year, other - used, prop, savings, dividends, allowances - used)
        for p, s, d in ways:
            yield charge(year, other - used, p, s, d)
    else:
        for n, s, d in ways_to_leave(year, NOTHING, other, savings, dividends, allowances):
            yield charge(year, n, NOTHING, s, d)


def tapered_allowance(figures: Figures, adjusted_net_income: Fraction) -> Fraction:
    """The personal allowance, less half the excess over the threshold, up to a whole pound (ITA s.35)."""
    full = pounds(figures, "income_tax.personal_allowance")
    threshold = pounds(figures, "income_tax.personal_allowance_taper_threshold")
    excess = max(NOTHING, adjusted_net_income - threshold)
    return Fraction(max(0, ceil(full - excess / 2)))


def savings_allowance(figures: Figures, taxable: Fraction, extension: Fraction) -> Fraction:
    """1,000, 500 or nothing by the highest UK band that any taxable income reaches (ITA s.12B)."""
    basic_limit, higher_limit = (
        limit for _, _, limit in extended(bands(figures, "income_tax.savings_bands"), extension) if limit is not None
    )
    if taxable > higher_limit:
        return NOTHING
    if taxable > basic_limit:
        return pounds(figures, "income_tax.personal_savings_allowance_higher")
    return pounds(figures, "income_tax.personal_savings_allowance_basic")


def child_benefit_charge(figures: Figures, adjusted_net_income: Number, child_benefit: Number) -> int:
    """The high income child benefit charge: benefit, percentage and charge each down (ITEPA s.681C)."""
    threshold = pounds(figures, "income_tax.child_benefit_charge_threshold")
    step = pounds(figures, "income_tax.child_benefit_charge_step")
    percent = min(100, floor(max(NOTHING, adjusted_net_income - threshold) / step))
    return floor(Fraction(floor(child_benefit) * percent, 100))


def relief_at_source(
    figures: Figures, paid: Number, earnings: Number, net_pay: Number = 0, *, reached_the_age: bool = False
) -> Fraction:
    """What of contributions paid with relief at source has relief (FA 2004 ss.188(3)(a), 190(1)-(4)); pounds.

    ``earnings`` are relevant UK earnings after net pay contributions, which have their relief first.
    """
    if reached_the_age:
        return NOTHING
    most_in_all = max(Fraction(earnings) + net_pay, pounds(figures, "pension.relief_basic_amount"))
    return max(NOTHING, min(Fraction(paid), most_in_all - net_pay))


def year_of(figures: Figures, nation: str, taxable: Fraction, extension: Fraction) -> Year:
    """The rates and limits that apply to one person, limits already extended."""
    starter = frozenset({"starter_rate"})
    main = extended(bands(figures, f"income_tax.bands_{nation}"), extension, starter)
    separate = has(figures, "income_tax.property_bands")
    # ITA s.11CA, which sets the property rates, gives way to s.11A: no Scottish property rates are in force,
    # so a Scottish taxpayer's property income is taken to stay at the Scottish main rates.
    own_property_rates = separate and nation != "scotland"
    return Year(
        main=main,
        property=(extended(bands(figures, "income_tax.property_bands"), extension) if own_property_rates else main),
        savings=extended(bands(figures, "income_tax.savings_bands"), extension),
        dividends=extended(bands(figures, "income_tax.dividend_bands"), extension),
        starting_rate_limit=pounds(figures, "income_tax.starting_rate_for_savings_limit"),
        savings_allowance=savings_allowance(figures, taxable, extension),
        dividend_allowance=pounds(figures, "income_tax.dividend_allowance"),
        separate_property=separate,
        other_income_first=value(figures, "income_tax.allowance_order") == "other_income_first",
    )


def income_tax(
    figures: Figures,
    nation: str,
    non_savings: Number = 0,
    property: Number = 0,
    savings: Number = 0,
    dividends: Number = 0,
    relief_extension: Number = 0,
    blind: bool = False,
    marriage: str = "none",
    child_benefit: Number = 0,
    gift_aid: Number = 0,
) -> dict[str, Any]:
    """The year's income tax, unrounded, and the amounts on the way to it; everything in pounds.

    `relief_extension` is the gross relief at source plus the gross Gift Aid, which `gift_aid` is once more by itself.
    `marriage` is "none", "gives" or "receives". `tax` is after the marriage allowance reduction, with what is made up to cover
    gifts, and without the child benefit charge.
    """
    other, prop = Fraction(non_savings), Fraction(property)
    saved, shares = Fraction(savings), Fraction(dividends)
    extension = Fraction(relief_extension)
    total = other + prop + saved + shares
    adjusted = total - extension
    personal = tapered_allowance(figures, adjusted)
    blind_allowance = pounds(figures, "income_tax.blind_persons_allowance") if blind else NOTHING
    transfer = pounds(figures, "income_tax.marriage_allowance")

    def charges(allowance: Fraction) -> tuple[Year, list[list[Slice]]]:
        allowances = allowance + blind_allowance
        year = year_of(figures, nation, max(NOTHING, total - allowances), extension)
        return year, list(all_charges(year, other, prop, saved, shares, allowances))

    given = NOTHING
    year, tried = charges(personal)
    if marriage == "gives":
        reduced_year, reduced = charges(max(NOTHING, personal - transfer))
        least = min(reduced, key=lambda slices: (tax_of(slices), pays_above_basic(slices)))
        if not pays_above_basic(least):
            given = min(transfer, personal)
            year, tried = reduced_year, reduced

    basic_rate = bands(figures, "income_tax.bands_england")[0][1]

    def reduction(slices: list[Slice]) -> Fraction:
        if marriage != "receives" or pays_above_basic(slices):
            return NOTHING
        return min(transfer * basic_rate, tax_of(slices))

    def preference(slices: list[Slice]) -> tuple[Fraction, Fraction, Fraction, Fraction]:
        """Least tax first; of equals, allowances against other income, then against savings, as is customary.

        Where the reduction would leave no tax either way, the less of it that is needed the better.
        """
        return (
            tax_of(slices) - reduction(slices),
            tax_of(slices),
            amount_of(slices, "non_savings", "property"),
            amount_of(slices, "savings"),
        )

    best = min(tried, key=preference)

    def tax_on(kind: str) -> Fraction:
        return tax_of([part for part in best if part.kind == kind])

    # Gifts are made after deduction of basic rate tax (ITA s.414). ITA s.423 takes allowances away, as far as necessary, until
    # the tax is as much as that; s.424 charges what is then still short. Here only the sum of the two is worked out: each
    # ends at the same total.
    own_tax = tax_of(best) - reduction(best)
    short = Fraction(gift_aid) * basic_rate - own_tax

    return {
        "tax": own_tax + max(NOTHING, short),
        "gift_aid_tax": max(NOTHING, short),
        "child_benefit_charge": child_benefit_charge(figures, adjusted, Fraction(child_benefit)),
        "personal_allowance": personal - given,
        "marriage_reduction": reduction(best),
        "adjusted_net_income": max(NOTHING, adjusted),
        "taxable": max(NOTHING, total - personal + given - blind_allowance),
        "tax_on_non_savings": tax_on("non_savings") + tax_on("property"),
        "tax_on_savings": tax_on("savings"),
        "tax_on_dividends": tax_on("dividends"),
        "savings_allowance": year.savings_allowance,
        "starting_rate_left": max(
            NOTHING,
            year.starting_rate_limit - amount_of(best, "non_savings", "property"),
        ),
        "slices": best,
    }

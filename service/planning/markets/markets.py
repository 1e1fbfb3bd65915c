"""A plain aim on many paths: how often spending is met, what differs, what is the same, and which of several aims to regret
least."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

from service.law.ages import age_on
from service.law.rulebook import RuleBook
from service.law.units import BasisPoints, Pence, Years
from service.planning.household import Household, LumpSums
from service.planning.markets.path import PathYears, carried_out, years_of
from service.planning.markets.percentiles import Percentiles, Spread, percentiles, spread
from service.planning.markets.regret import Regret, WorstPath, ends, least_regret, not_met, regrets, worse
from service.planning.markets.returns import Source, count_of, paths_of
from service.planning.projection.balances import cash_held, isa_held, pension_held
from service.planning.projection.policies import PlainPlan, Projection
from service.planning.projection.settlement import PersonRecord, Settled, wealth_after_tax
from service.planning.projection.timeline import Period, Timeline, deflated

MOST_PATHS = 1_000
MOST_COMPARED = 4
MOST_PERSON_YEARS = 60_000
"""Years of a person on all paths, of all plans together, that one request may ask for: 1,000 paths of a couple over 30 years. One
takes 40 to 200 microseconds of a processor, so none is far from 12 seconds."""

FIRST_YEARS = 2
"""How many tax years are told person by person."""

Beneficiaries = Callable[[Projection], Pence | None]
"""What beneficiaries would receive if everybody died on the last day of what is given; None where that is not computed."""


class Option(NamedTuple):
    """A plain plan, and how it takes lump sums; None as the household does."""

    plan: PlainPlan
    lump_sums: LumpSums | None = None


@dataclass(frozen=True, slots=True)
class Markets:
    """Where the paths come from, and options that are compared with the plan on the same paths."""

    source: Source
    compare: tuple[Option, ...] = ()


class PersonSpread(NamedTuple):
    """What one person does in a tax year, over all paths."""

    withdrawn: Spread
    isa_subscription: Spread
    isa_withdrawal: Spread


class MarketYear(NamedTuple):
    """One period over all paths, with everybody's ages on its last day. ``spending_met``: on how many of them spending is met in
    this period and all before it."""

    period: Period
    ages: tuple[Years, ...]
    spending_met: int
    wealth_before_tax: Percentiles
    wealth_before_tax_in_prices_of_start: Percentiles
    income_after_tax: Percentiles
    income_tax: Percentiles
    withdrawn: Percentiles
    beneficiaries_receive: Percentiles | None


class Compared(NamedTuple):
    """One option over all paths, and how far it is behind the best of them."""

    option: Option
    met_throughout: int
    outcome: Percentiles
    regret: Regret


class OverPaths(NamedTuple):
    """All of it. Wealth at the end is after tax. ``first_years[t][i]`` is person i in period t. ``compared`` are the plan itself
    and then the options asked for; none where none were. ``least_regret``: the place there of that with the least largest
    loss. ``names`` are the people's, None where none was given."""

    markets: Markets
    paths: int
    years: tuple[MarketYear, ...]
    wealth_after_tax: Percentiles
    wealth_after_tax_in_prices_of_start: Percentiles
    worst: WorstPath
    first_years: tuple[tuple[PersonSpread, ...], ...]
    compared: tuple[Compared, ...]
    least_regret: int
    names: tuple[str | None, ...]

    @property
    def met_throughout(self) -> int:
        """On how many paths spending is met in every period."""
        return self.years[-1].spending_met


def person_years(household: Household, markets: Markets, years: int) -> int:
    """The work of a request: years of a person on all paths, of all plans together."""
    return count_of(markets.source, years) * years * len(household.people) * (1 + len(markets.compare))


def over_paths(
    base: Timeline,
    plan: PlainPlan,
    markets: Markets,
    charge: BasisPoints,
    book: RuleBook,
    beneficiaries: Beneficiaries | None = None,
) -> OverPaths:
    """Carry a plan out on every path, and the options with it."""
    gathered = _Gathered(base)
    options = (Option(plan), *markets.compare)
    outcomes = [array("q") for _ in options]
    met = [0] * len(options)
    periods, levels_of_base = len(base.periods), tuple(base.price_levels())
    for place, path in enumerate(paths_of(markets.source, base.household.assumptions, charge, periods)):
        years = years_of(base, path, book)
        levels = levels_of_base if years.whole is base else tuple(years.whole.price_levels())
        for number, option in enumerate(options):
            own = _taking(years, option.lump_sums)
            settled = tuple(carried_out(own, option.plan))
            wealth = wealth_after_tax(own.whole, settled[-1].holdings)
            real = deflated(wealth, levels[-1])
            missing = not_met(own.whole, settled, levels)
            outcomes[number].append(real - missing)
            met[number] += not any(year.short for year in settled)
            if number == 0:
                gathered.add(own.whole, settled, levels, beneficiaries)
                gathered.add_end(ends(place, path, settled, missing, wealth, real))
    compared = _compared(options, outcomes, met) if markets.compare else ()
    return gathered.over_paths(markets, compared)


def _taking(years: PathYears, lump_sums: LumpSums | None) -> PathYears:
    """The same tax years, with lump sums taken in another way."""
    if lump_sums is None or lump_sums == years.whole.household.lump_sums:
        return years

    def taking(one: Timeline) -> Timeline:
        return replace(one, household=replace(one.household, lump_sums=lump_sums))

    return PathYears(taking(years.whole), tuple(taking(year) for year in years.each))


_MEASURES = (
    "wealth_before_tax",
    "wealth_before_tax_in_prices_of_start",
    "income_after_tax",
    "income_tax",
    "withdrawn",
    "beneficiaries_receive",
)
_OF_A_PERSON = ("withdrawn", "isa_subscription", "isa_withdrawal")


class _Gathered:
    """What is kept of the paths: some amounts of each period, one number each, and the worst path."""

    def __init__(self, base: Timeline) -> None:
        periods = range(len(base.periods))
        self.base = base
        self.paths = 0
        self.met = [0] * len(base.periods)
        self.amounts = [{name: array("q") for name in _MEASURES} for _ in periods]
        self.first = [
            [{name: array("q") for name in _OF_A_PERSON} for _ in base.people] for _ in base.periods[:FIRST_YEARS]
        ]
        self.at_the_end, self.at_the_end_real = array("q"), array("q")
        self.worst: WorstPath | None = None

    def add(
        self,
        whole: Timeline,
        settled: Sequence[Settled],
        levels: Sequence[Fraction],
        beneficiaries: Beneficiaries | None,
    ) -> None:
        """Another path's periods."""
        self.paths += 1
        met = True
        for position, (year, level) in enumerate(zip(settled, levels, strict=True)):
            met = met and not year.short
            self.met[position] += met
            amounts = self.amounts[position]
            wealth = pension_held(year) + isa_held(year) + cash_held(year)
            amounts["wealth_before_tax"].append(wealth)
            amounts["wealth_before_tax_in_prices_of_start"].append(deflated(wealth, level))
            amounts["income_after_tax"].append(sum([_income_after_tax(record) for record in year.people]))
            amounts["income_tax"].append(sum([record.income_tax for record in year.people]))
            amounts["withdrawn"].append(sum([record.gross for record in year.people]))
            if beneficiaries is not None:
                until = replace(whole, periods=whole.periods[: position + 1])
                received = beneficiaries(Projection(until, (year,)))
                if received is not None:
                    amounts["beneficiaries_receive"].append(received)
        for people, year in zip(self.first, settled, strict=False):
            for person, record in zip(people, year.people, strict=True):
                person["withdrawn"].append(record.gross)
                person["isa_subscription"].append(record.subscribed)
                person["isa_withdrawal"].append(record.from_isa)

    def add_end(self, end: WorstPath) -> None:
        """How that path ends, and whether it is the worst so far."""
        self.at_the_end.append(end.wealth_after_tax)
        self.at_the_end_real.append(end.wealth_in_prices_of_start)
        self.worst = worse(self.worst, end)

    def over_paths(self, markets: Markets, compared: tuple[Compared, ...]) -> OverPaths:
        """All of it."""
        assert self.worst is not None
        return OverPaths(
            markets=markets,
            paths=self.paths,
            years=tuple(self._years()),
            wealth_after_tax=percentiles(self.at_the_end),
            wealth_after_tax_in_prices_of_start=percentiles(self.at_the_end_real),
            worst=self.worst,
            first_years=tuple(
                tuple(PersonSpread(*(spread(person[name]) for name in _OF_A_PERSON)) for person in people)
                for people in self.first
            ),
            compared=compared,
            least_regret=least_regret([one.regret for one in compared]) if compared else 0,
            names=tuple(member.name for member in self.base.household.people),
        )

    def _years(self) -> Iterator[MarketYear]:
        for period, met, amounts in zip(self.base.periods, self.met, self.amounts, strict=True):
            wealth, real, income, tax, withdrawn, received = (amounts[name] for name in _MEASURES)
            yield MarketYear(
                period,
                tuple(age_on(member.date_of_birth, period.last) for member in self.base.household.people),
                met,
                percentiles(wealth),
                percentiles(real),
                percentiles(income),
                percentiles(tax),
                percentiles(withdrawn),
                percentiles(received) if len(received) == self.paths else None,
            )


def _income_after_tax(record: PersonRecord) -> Pence:
    """What a person has of a period: income, interest and withdrawals, less the income tax."""
    return record.opened.year.income_inside + record.opened.interest + record.gross - record.income_tax


def _compared(options: Sequence[Option], outcomes: Sequence[array[int]], met: Sequence[int]) -> tuple[Compared, ...]:
    rows = zip(options, met, outcomes, regrets(outcomes), strict=True)
    return tuple(Compared(option, throughout, percentiles(own), regret) for option, throughout, own, regret in rows)

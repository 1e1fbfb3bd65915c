"""The options on many courses of markets: what each leaves on all of them, to which age its spending is met, what each death
would leave, and which option is to be regretted least.

On a path an option is carried out anew, by the same rules as on the course that is assumed. So it reacts: a band is filled from
what there is by then. What the paths are, and how outcomes are compared, is ``planning/markets``.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from service.law.ages import age_on
from service.law.rulebook import RuleBook
from service.law.units import BasisPoints, Pence, Years
from service.planning.estates import EstateFacts
from service.planning.faults import RuleViolation
from service.planning.household import Household
from service.planning.markets.path import years_of
from service.planning.markets.percentiles import Percentiles, Spread, percentiles, spread
from service.planning.markets.regret import Regret, WorstPath, ends, least_regret, not_met, regrets, worse
from service.planning.markets.returns import MarketPath, Source, count_of, moves_prices, paths_of
from service.planning.projection.timeline import Period, Timeline, deflated
from service.planning.timing.deaths import Death, DeathYears, death_years, outcome, survivors_death_day
from service.planning.timing.options import Course, Option, carried_out

FIRST_YEARS = 2
"""How many tax years are told person by person."""


class PersonSpread(NamedTuple):
    """What one person does in a tax year, over all paths; ``withdrawn`` includes lump sums."""

    withdrawn: Spread
    isa_subscription: Spread
    isa_withdrawal: Spread


class OptionYear(NamedTuple):
    """One period of an option over all paths, with everybody's ages on its last day. ``spending_met``: on how many of them
    spending is met in this period and all before it. Wealth is after tax."""

    period: Period
    ages: tuple[Years, ...]
    spending_met: int
    wealth: Percentiles
    wealth_in_prices_of_start: Percentiles
    income_tax: Percentiles


class DeathAmounts(NamedTuple):
    """What a death comes to under one option over all paths. ``met_throughout``: on how many of them spending is met until the
    last death of it; ``outcome`` is what beneficiaries receive less all spending that is not met, in prices of the start."""

    met_throughout: int
    received: Percentiles
    received_in_prices_of_start: Percentiles
    outcome: Percentiles
    regret: Regret


class DeathOverPaths(NamedTuple):
    """A death asked about, under one option; ``amounts`` are None where a path has one that cannot be computed, for a
    ``reason``."""

    asked: Death
    amounts: DeathAmounts | None
    reason: str = ""


class OptionOverPaths(NamedTuple):
    """One option over all paths. ``outcome`` is the wealth after tax at the end less all spending that is not met, in prices of
    the start. ``first_years[t][i]`` is person i in period t."""

    years: tuple[OptionYear, ...]
    outcome: Percentiles
    regret: Regret
    worst: WorstPath
    first_years: tuple[tuple[PersonSpread, ...], ...]
    deaths: tuple[DeathOverPaths, ...]

    @property
    def met_throughout(self) -> int:
        """On how many paths spending is met in every period."""
        return self.years[-1].spending_met


class OptionsOverPaths(NamedTuple):
    """All options, in the request's order. ``least_regret``: the place of that with the least largest loss."""

    source: Source
    paths: int
    options: tuple[OptionOverPaths, ...]
    least_regret: int


class Asked(NamedTuple):
    """What is carried out on the paths."""

    options: tuple[Option, ...]
    deaths: tuple[Death, ...]
    estate: EstateFacts
    beneficiary_rate: BasisPoints


def person_years(household: Household, asked: Asked, source: Source, years: int) -> int:
    """The work of a request: years of a person on all paths, of all options, and of the survivors of all deaths."""
    people = len(household.people)
    each = years * people
    for death in asked.deaths:
        each += people
        if people > 1:
            age_then = death.age + household.people[death.person].date_of_birth.year
            each += max(0, survivors_death_day(household, death).year - age_then + 1)
    return count_of(source, years) * each * len(asked.options)


def over_paths(
    base: Timeline, deaths: Sequence[DeathYears], asked: Asked, source: Source, charge: BasisPoints, book: RuleBook
) -> OptionsOverPaths:
    """Carry all options out on every path. ``base`` and ``deaths`` are the tax years as assumed; ``charge`` is that of the
    pensions a year."""
    gathered = [_Gathered(base, len(deaths)) for _ in asked.options]
    count = 0
    prices_move = moves_prices(source)
    on_deaths = [_OfDeath.of(death) for death in deaths]
    for place, path in enumerate(paths_of(source, base.household.assumptions, charge, len(base.periods))):
        count += 1
        whole = years_of(base, path, book).whole if prices_move else base
        if prices_move:
            on_deaths = [_OfDeath.of(death_years(whole, death, asked.estate, book)) for death in asked.deaths]
        levels = tuple(whole.price_levels())
        for option, own in zip(asked.options, gathered, strict=True):
            course = carried_out(whole, option, path=path)
            own.add(place, path, course, levels)
            for number, death in enumerate(on_deaths):
                own.add_death(number, _died(course, death, asked, path, levels, book))
    by_wealth = regrets([own.outcomes for own in gathered])
    by_death = [list(_deaths(gathered, number, death)) for number, death in enumerate(asked.deaths)]
    options = tuple(
        own.over_paths(regret, tuple(each[number] for each in by_death))
        for number, (own, regret) in enumerate(zip(gathered, by_wealth, strict=True))
    )
    return OptionsOverPaths(source, count, options, least_regret(by_wealth))


class _OfDeath(NamedTuple):
    """The tax years of a death, with the price levels at the ends of the survivor's."""

    years: DeathYears
    after: tuple[Fraction, ...]

    @staticmethod
    def of(years: DeathYears) -> _OfDeath:
        first, _ = years.levels
        return _OfDeath(
            years, () if years.after is None else tuple(first * level for level in years.after.price_levels())
        )


class _Died(NamedTuple):
    """What one death on one path comes to; nothing where it cannot be computed, for a ``reason``."""

    reason: str
    met: bool = False
    received: Pence = 0
    real: Pence = 0
    outcome: Pence = 0


def _died(
    course: Course, death: _OfDeath, asked: Asked, path: MarketPath, levels: Sequence[Fraction], book: RuleBook
) -> _Died:
    try:
        found = outcome(course, death.years, asked.estate, asked.beneficiary_rate, book, path)
    except RuleViolation as error:
        return _Died(" ".join(fault.detail for fault in error.faults))
    last = death.years.until.periods[-1].position
    before = [*(year.settled for year in course.years[:last]), found.last_year.settled]
    missing = not_met(course.timeline, before, (*levels[:last], death.years.levels[0]))
    after = [] if found.survivor is None else [year.settled for year in found.survivor.years]
    missing += not_met(course.timeline, after, death.after if after else ())
    real = found.net_in_prices_of_start
    return _Died("", not any(year.short for year in (*before, *after)), found.net, real, real - missing)


class _Gathered:
    """What is kept of one option's paths: some amounts of each period, one number each, and the worst path."""

    def __init__(self, base: Timeline, deaths: int) -> None:
        self.base = base
        self.met = [0] * len(base.periods)
        self.amounts = [(array("q"), array("q"), array("q")) for _ in base.periods]
        self.first = [[(array("q"), array("q"), array("q")) for _ in base.people] for _ in base.periods[:FIRST_YEARS]]
        self.outcomes = array("q")
        self.worst: WorstPath | None = None
        self.deaths: list[list[_Died]] = [[] for _ in range(deaths)]

    def add(self, place: int, path: MarketPath, course: Course, levels: Sequence[Fraction]) -> None:
        """Another path."""
        met, wealth, in_prices = True, 0, 0
        for position, (year, level, amounts) in enumerate(zip(course.years, levels, self.amounts, strict=True)):
            met = met and not year.settled.short
            self.met[position] += met
            wealth = course.wealth_at(position)
            in_prices = deflated(wealth, level)
            tax = sum(record.income_tax for record in year.settled.people)
            for kept, amount in zip(amounts, (wealth, in_prices, tax), strict=True):
                kept.append(amount)
        for people, year in zip(self.first, course.years, strict=False):
            for kept_of_person, (first, record) in zip(people, year.people(), strict=True):
                done = (first.lump_sum + record.gross, first.subscribed + record.subscribed, record.from_isa)
                for kept, amount in zip(kept_of_person, done, strict=True):
                    kept.append(amount)
        settled = [year.settled for year in course.years]
        missing = not_met(course.timeline, settled, levels)
        self.outcomes.append(in_prices - missing)
        self.worst = worse(self.worst, ends(place, path, settled, missing, wealth, in_prices))

    def add_death(self, number: int, died: _Died) -> None:
        """What a death asked about comes to on that path."""
        self.deaths[number].append(died)

    def over_paths(self, regret: Regret, deaths: tuple[DeathOverPaths, ...]) -> OptionOverPaths:
        """All of it."""
        assert self.worst is not None
        return OptionOverPaths(
            years=tuple(self._years()),
            outcome=percentiles(self.outcomes),
            regret=regret,
            worst=self.worst,
            first_years=tuple(
                tuple(PersonSpread(*(spread(amounts) for amounts in person)) for person in people)
                for people in self.first
            ),
            deaths=deaths,
        )

    def _years(self) -> Iterator[OptionYear]:
        people = self.base.household.people
        for period, met, (wealth, real, tax) in zip(self.base.periods, self.met, self.amounts, strict=True):
            ages = tuple(age_on(member.date_of_birth, period.last) for member in people)
            yield OptionYear(period, ages, met, percentiles(wealth), percentiles(real), percentiles(tax))


def _deaths(gathered: Sequence[_Gathered], number: int, asked: Death) -> Iterator[DeathOverPaths]:
    """One death asked about, for each option; those for which it cannot be computed are compared with none."""
    of_options = [own.deaths[number] for own in gathered]
    reasons = [next((died.reason for died in of_option if died.reason), "") for of_option in of_options]
    outcomes = [[died.outcome for died in of_option] for of_option in of_options]
    compared = iter(regrets([own for own, reason in zip(outcomes, reasons, strict=True) if not reason]))
    for of_option, own, reason in zip(of_options, outcomes, reasons, strict=True):
        if reason:
            yield DeathOverPaths(asked, None, reason)
            continue
        amounts = DeathAmounts(
            sum(died.met for died in of_option),
            percentiles(died.received for died in of_option),
            percentiles(died.real for died in of_option),
            percentiles(own),
            next(compared),
        )
        yield DeathOverPaths(asked, amounts)

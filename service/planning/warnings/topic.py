"""How a rule stands in its topic's module: beside what the catalogue says of the warning, and which answers run it.

    @TOPIC.of_a_year(
        "child_benefit_charge",
        "costs",
        "The child benefit charge rises",
        "Withdrawals take adjusted net income further above the threshold of the high income child benefit charge.",
        facts=("child_benefit", "income", "withdrawals.amount"),
        sources=("Income Tax (Earnings and Pensions) Act 2003 ss.681B-681H",),
        figures={"adjusted_net_income": "pounds", "child_benefit_charge_rise": "pounds"},
    )
    def child_benefit_charge(year: YearFacts, entry: Entry) -> Found:
        ...
        return entry.warn(...)

The name after the topic says what a rule looks at. A topic's warnings are listed in the catalogue, and its rules are run, in
the order in which they stand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache, partial
from types import MappingProxyType
from typing import Generic, Literal, NamedTuple, TypeVar

from service.figures import history
from service.figures.loader import STANDINGS, Standing, TaxYearFigures
from service.law.units import BasisPoints, Pence
from service.planning.household import Path
from service.planning.warnings.circumstances import (
    Circumstances,
    OptionFacts,
    PensionCase,
    PersonCase,
    PersonFacts,
    Taken,
    YearFacts,
)
from service.planning.warnings.warning import NO_FIGURES, ClientWarning, Effect, Found, Severity, Unit
from service.planning.wording import YOU

_NO_UNITS: Mapping[str, Unit] = MappingProxyType({})

_PLAIN_GROUPS = ("income_tax", "pension", "benefits")

Only = Literal["in_a_plan", "with_facts"]
"""The answers that alone run a rule: plans over years and lump sum timing, or POST /v1/warnings, which alone has ``Facts``."""


LawDay = Callable[[Mapping[str, TaxYearFigures]], date | None]
"""A day of the law, read off the figures of all tax years; see ``figures.history``."""


def first_day_with(name: str, word: str | None = None) -> LawDay:
    """The first day on which there is a figure, or on which it says a word."""
    return partial(history.first_day_with, name=name, word=word)


def last_day_with(name: str, word: str | None = None) -> LawDay:
    """The last day on which there is a figure, or on which it says a word."""
    return partial(history.last_day_with, name=name, word=word)


def last_day_before_change(name: str) -> LawDay:
    """The day before a figure changes."""
    return partial(history.last_day_before_change, name=name)


@cache
def figure_key(name: str) -> str:
    """The name under which a warning tells a tax year's figure: the group is left out where the name says enough. In answers
    ``personal_allowance`` is the person's own, after what the taper takes from it."""
    if name == "income_tax.personal_allowance":
        return "standard_personal_allowance"
    group, _, rest = name.partition(".")
    return rest if group in _PLAIN_GROUPS else f"{group}_{rest}"


class _Told(NamedTuple):
    """What a warning tells of the figures that it rests on: the weakest standing, their values by kind, and their caveats."""

    standing: Standing
    money: Mapping[str, Pence]
    counts: Mapping[str, int]
    rates: Mapping[str, BasisPoints]
    caveats: tuple[str, ...]


def _told_of(figures: TaxYearFigures, names: tuple[str, ...]) -> _Told:
    """What is told of a tax year's figures of these names."""
    standing: Standing = "enacted"
    values: dict[str, dict[str, int]] = {"money": {}, "rate": {}, "count": {}}
    caveats: dict[str, None] = {}
    for name in names:
        figure = figures.figures[name]
        standing = max(standing, figure.standing, key=STANDINGS.index)
        if isinstance(figure.value, int):
            values[figure.kind if figure.kind in values else "count"][figure_key(name)] = figure.value
        if figure.caveat is not None:
            caveats[figure.caveat] = None
    return _Told(standing, values["money"], values["count"], values["rate"], tuple(caveats))


@dataclass(frozen=True, slots=True)
class Entry:
    """A warning in the catalogue. ``facts`` are the fields of a request that it looks at, in POST /v1/warnings' words.

    ``since`` and ``until`` find in the figures the first and the last day of the law that it is about; None where it ran
    before the first tax year held, or runs on. Amounts and days stand in the figures, not here.

    ``figures`` are the units of all figures that the warning may tell, by name; it need not tell all of them.
    ``of_one_pension``: it is about one pension of the person. ``severity`` decides its place among those of its effect.
    """

    code: str
    effect: Effect
    title: str
    applies_when: str
    facts: tuple[str, ...]
    sources: tuple[str, ...]
    figures: Mapping[str, Unit]
    since: LawDay | None = None
    until: LawDay | None = None
    of_one_pension: bool = False
    severity: Severity = "amount"
    in_codes: bool = False

    def warn(
        self,
        detail: str,
        path: Path,
        *,
        figures: TaxYearFigures,
        about: PersonFacts | None = None,
        rests_on: tuple[str, ...] = (),
        standing: Standing = "enacted",
        money: Mapping[str, Pence] = NO_FIGURES,
        counts: Mapping[str, int] = NO_FIGURES,
        rates: Mapping[str, BasisPoints] = NO_FIGURES,
        cost: Pence = 0,
        caveats: tuple[str, ...] = (),
        not_given: bool = False,
        in_notice: str = "",
    ) -> Found:
        """The one warning that a rule has found; an entry ``in_codes`` tells what decides its place, and makes nothing else.

        ``rests_on`` names figures of the tax year ``figures``: their values go with the warning, its standing is the weakest of
        theirs and ``standing``, and what is not certain of them follows ``caveats``. ``about`` is the person concerned, None
        where it is the household. Of two people, a detail that does not name the one concerned begins with the name.
        ``not_given``: it says no more than that a fact is missing; ``in_notice`` is the sentence that says so in the notice.
        """
        if self.in_codes:
            return self.code_alone(cost)
        if rests_on:
            told = figures.worked_out.get(rests_on)
            if told is None:
                told = figures.worked_out[rests_on] = _told_of(figures, rests_on)
            if told.standing != "enacted":
                standing = max(standing, told.standing, key=STANDINGS.index)
            if told.money:
                money = {**money, **told.money}
            if told.counts:
                counts = {**counts, **told.counts}
            if told.rates:
                rates = {**rates, **told.rates}
            if told.caveats:
                caveats = (*caveats, *[caveat for caveat in told.caveats if caveat not in caveats])
        if about is not None and about.who != YOU and about.you not in detail and about.who not in detail:
            detail = f"{about.who}: {detail}"
        # By position, in the order of the class: by name it takes several times as long, three times for a quote.
        return (
            ClientWarning(
                self.code,
                self.effect,
                self.title,
                detail,
                path,
                self.sources,
                standing,
                money,
                counts,
                rates,
                cost,
                self.severity,
                figures.name,
                None if about is None else about.place,
                about.pension if about is not None and self.of_one_pension else None,
                (),
                caveats,
                not_given,
                (),
                False,
                in_notice,
            ),
        )

    def code_alone(self, cost: Pence = 0) -> Found:
        """The warning by its code and what decides its place. A rule that many quotes keep to asks ``in_codes`` itself, and then
        makes no words and no figures that nobody reads."""
        return (
            ClientWarning(
                code=self.code,
                effect=self.effect,
                title="",
                detail="",
                path=(),
                sources=(),
                cost=cost,
                severity=self.severity,
            ),
        )


OfAWithdrawal = Callable[[YearFacts, Taken, Entry], Found]
OfAYear = Callable[[YearFacts, Entry], Found]
OfAPerson = Callable[[PersonCase, Entry], Found]
OfAPension = Callable[[PensionCase, Entry], Found]
OfTheHousehold = Callable[[Circumstances, Entry], Found]
OfAnOption = Callable[[OptionFacts, Entry], Found]
OfMissingFacts = Callable[[tuple[ClientWarning, ...], Entry], Found]
"""What a rule looks at, the entry by which it warns, and what it finds."""

Find = TypeVar("Find")


class Rule(Generic[Find]):
    """A rule with its warning. ``only``: the answers that run it, None for all. ``after``: the code after which it is run,
    where that is not its place in the catalogue."""

    def __init__(self, find: Find, entry: Entry, only: Only | None, after: str | None) -> None:
        self.find = find
        self.entry = entry
        self.only = only
        self.after = after


class Rules(Generic[Find]):
    """The rules of a topic that look at the same: called, it gives the decorator that adds one."""

    def __init__(self, entries: list[Entry]) -> None:
        self.entries = entries
        self.rules: list[Rule[Find]] = []

    def __call__(
        self,
        code: str,
        effect: Effect,
        title: str,
        applies_when: str,
        *,
        facts: tuple[str, ...],
        sources: tuple[str, ...],
        figures: Mapping[str, Unit] = _NO_UNITS,
        since: LawDay | None = None,
        until: LawDay | None = None,
        of_one_pension: bool = False,
        severity: Severity = "amount",
        only: Only | None = None,
        after: str | None = None,
    ) -> Callable[[Find], Find]:
        """The decorator of a rule; see ``Entry`` and ``Rule``."""
        entry = Entry(
            code, effect, title, applies_when, facts, sources, figures, since, until, of_one_pension, severity
        )

        def add(find: Find) -> Find:
            self.entries.append(entry)
            self.rules.append(Rule(find, entry, only, after))
            return find

        return add


class Topic:
    """The warnings of a topic, and its rules by what they look at.

    ``of_a_pension`` is run by POST /v1/warnings alone, ``of_a_couple`` where there are two people, ``of_a_plan`` where there
    is a plan, ``of_an_option`` by lump sum timing alone. ``of_missing_facts`` looks at what POST /v1/warnings has found that
    says no more than that a fact is missing.
    """

    def __init__(self) -> None:
        self.entries: list[Entry] = []
        self.of_a_withdrawal: Rules[OfAWithdrawal] = Rules(self.entries)
        self.of_a_year: Rules[OfAYear] = Rules(self.entries)
        self.of_a_person: Rules[OfAPerson] = Rules(self.entries)
        self.of_a_pension: Rules[OfAPension] = Rules(self.entries)
        self.of_a_couple: Rules[OfTheHousehold] = Rules(self.entries)
        self.of_a_plan: Rules[OfTheHousehold] = Rules(self.entries)
        self.of_the_household: Rules[OfTheHousehold] = Rules(self.entries)
        self.of_an_option: Rules[OfAnOption] = Rules(self.entries)
        self.of_missing_facts: Rules[OfMissingFacts] = Rules(self.entries)

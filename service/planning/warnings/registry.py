"""All topics together: the catalogue, and everything that the rules find in given circumstances."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import NamedTuple

from service.planning.warnings import (
    access,
    benefits,
    collection,
    death,
    income_tax,
    isas,
    lump_sums,
    missing,
    not_yet_law,
    recycling,
    saving,
    scheme,
    spending,
)
from service.planning.warnings.circumstances import Circumstances, OptionFacts
from service.planning.warnings.topic import (
    Entry,
    Find,
    OfAPension,
    OfAPerson,
    OfAWithdrawal,
    OfAYear,
    OfTheHousehold,
    Only,
    Rule,
    Topic,
)
from service.planning.warnings.warning import ClientWarning, in_order

TOPICS: tuple[Topic, ...] = (
    access.TOPIC,
    saving.TOPIC,
    lump_sums.TOPIC,
    recycling.TOPIC,
    income_tax.TOPIC,
    collection.TOPIC,
    not_yet_law.TOPIC,
    spending.TOPIC,
    isas.TOPIC,
    death.TOPIC,
    benefits.TOPIC,
    scheme.TOPIC,
    missing.TOPIC,
)
"""In the order of the catalogue, which is that in which rules are run as well."""

CATALOGUE: Mapping[str, Entry] = MappingProxyType({entry.code: entry for topic in TOPICS for entry in topic.entries})
"""Every warning by its code."""


def run_in(
    answer: Only | None, rules: Iterable[Rule[Find]], *, in_codes: bool = False
) -> tuple[tuple[Find, Entry], ...]:
    """Of the rules that look at the same, those that an answer runs, in order: what every answer runs comes first. Each with
    its entry, by which it warns, or with one that warns ``in_codes``."""
    run = [rule for rule in rules if rule.only in (None, answer)]
    placed = sorted((rule for rule in run if rule.after is None), key=lambda rule: rule.only is not None)
    for rule in run:
        if rule.after is not None:
            codes = [before.entry.code for before in placed]
            placed.insert(codes.index(rule.after) + 1, rule)
    return tuple((rule.find, replace(rule.entry, in_codes=in_codes)) for rule in placed)


class RulesOf(NamedTuple):
    """The rules that an answer runs, by what they look at, each with the entry by which it warns."""

    a_withdrawal: tuple[tuple[OfAWithdrawal, Entry], ...]
    a_year: tuple[tuple[OfAYear, Entry], ...]
    a_person: tuple[tuple[OfAPerson, Entry], ...]
    a_pension: tuple[tuple[OfAPension, Entry], ...]
    the_household: tuple[tuple[OfTheHousehold, Entry], ...]


def _rules_of(answer: Only | None, *, in_codes: bool = False) -> RulesOf:
    return RulesOf(
        run_in(answer, (rule for topic in TOPICS for rule in topic.of_a_withdrawal.rules), in_codes=in_codes),
        run_in(answer, (rule for topic in TOPICS for rule in topic.of_a_year.rules), in_codes=in_codes),
        run_in(answer, (rule for topic in TOPICS for rule in topic.of_a_person.rules), in_codes=in_codes),
        run_in(answer, (rule for topic in TOPICS for rule in topic.of_a_pension.rules), in_codes=in_codes),
        run_in(answer, (rule for topic in TOPICS for rule in topic.of_the_household.rules), in_codes=in_codes),
    )


_OF_A_QUOTE_IN_CODES = _rules_of(None, in_codes=True)
_OF_A_QUOTE, _OF_A_PLAN, _WITH_FACTS = _rules_of(None), _rules_of("in_a_plan"), _rules_of("with_facts")
_OF_COUPLES = run_in(None, (rule for topic in TOPICS for rule in topic.of_a_couple.rules))
_OF_PLANS = run_in(None, (rule for topic in TOPICS for rule in topic.of_a_plan.rules))
_OF_MISSING_FACTS = run_in("with_facts", (rule for topic in TOPICS for rule in topic.of_missing_facts.rules))
_OF_OPTIONS = run_in(None, (rule for topic in TOPICS for rule in topic.of_an_option.rules))


def all_found(case: Circumstances) -> list[ClientWarning]:
    """Every warning of the circumstances, what is missing told as one where all facts are asked for."""
    return found_and_missing(case)[0] if _asks_for_facts(case) else each_found(case)


def found_and_missing(case: Circumstances) -> tuple[list[ClientWarning], tuple[ClientWarning, ...]]:
    """Where all facts are asked for: every warning, what is missing as one of them at most, and each missing fact in order."""
    found = each_found(case)
    missing = tuple(in_order(one for one in found if one.not_given))
    as_one = [warning for find, entry in _OF_MISSING_FACTS for warning in find(missing, entry)]
    return [one for one in found if not one.not_given] + as_one, missing


def _asks_for_facts(case: Circumstances) -> bool:
    return case.people[0].person.facts is not None


def each_found(case: Circumstances) -> list[ClientWarning]:
    """Every warning of the circumstances by itself, person by person, year by year and pension by pension, then those of the
    household."""
    return _found(case, _WITH_FACTS if _asks_for_facts(case) else _OF_A_PLAN if case.together else _OF_A_QUOTE)


def found_in_quote_in_codes(case: Circumstances) -> list[ClientWarning]:
    """The same of a quote, each by code, effect and cost alone."""
    return _found(case, _OF_A_QUOTE_IN_CODES)


def _found(case: Circumstances, rules: RulesOf) -> list[ClientWarning]:
    found: list[ClientWarning] = []
    for one in case.people:
        for year in one.years:
            for taken in year.taken:
                of_its_pension = year.of_pension(taken.pension)
                for find_in_withdrawal, entry in rules.a_withdrawal:
                    if some := find_in_withdrawal(of_its_pension, taken, entry):
                        found += some
            for find_in_year, entry in rules.a_year:
                if some := find_in_year(year, entry):
                    found += some
        for find_in_person, entry in rules.a_person:
            if some := find_in_person(one, entry):
                found += some
        for pension in one.pensions:
            for find_in_pension, entry in rules.a_pension:
                found += find_in_pension(pension, entry)
    of_couples = _OF_COUPLES if len(case.people) == 2 else ()
    of_plans = _OF_PLANS if case.together else ()
    for find_in_household, entry in (*of_couples, *of_plans, *rules.the_household):
        found += find_in_household(case, entry)
    return found


def found_in_option(option: OptionFacts) -> list[ClientWarning]:
    """Every warning that an option for the tax-free lump sum brings with it, besides those of its circumstances."""
    return [warning for find_in_option, entry in _OF_OPTIONS for warning in find_in_option(option, entry)]


def the_first_of_each(found: Iterable[ClientWarning]) -> Iterator[ClientWarning]:
    """Of each code and place the first alone: in a plan, the first tax year it applies to."""
    known: set[tuple[object, ...]] = set()
    for warning in found:
        if (warning.code, warning.path) not in known:
            known.add((warning.code, warning.path))
            yield warning

"""Tax-free cash that goes back into a pension (Finance Act 2004 Sch.29 para 3A; HMRC PTM133800-133860)."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import NamedTuple

from service.law.lump_sums import WHOLE
from service.law.pension_age import birthday
from service.law.rounding import down_to_the_penny
from service.planning.faults import pounds
from service.planning.timeline import tax_year_of
from service.planning.warnings.catalogue import per_cent, warn
from service.planning.warnings.circumstances import Contribution, PersonCase, Taken, YearFacts
from service.planning.warnings.warning import Found

_LIMIT, _SHARE, _WINDOW = (
    "pension.recycling_lump_sum_limit",
    "pension.recycling_increase_share",
    "pension.recycling_window_years",
)
_METHODS = ("pcls", "pcls_and_drawdown")
"""The methods that pay a pension commencement lump sum: a UFPLS and a small pot are outside the rule."""


class LumpSum(NamedTuple):
    """A lump sum with those of the twelve months that end with it, and the contributions of its five tax years."""

    year: YearFacts
    taken: Taken
    in_twelve_months: int
    contributions: int
    tax_years_of_saving: int


def _lump_sums(case: PersonCase) -> Iterator[LumpSum]:
    """Each lump sum that is over the limit with those of the twelve months before."""
    facts = case.person.facts
    assert facts is not None
    all_taken = [(year, taken) for year in case.years for taken in year.taken if taken.method in _METHODS]
    earliest = min((taken.day for _, taken in all_taken if taken.day is not None), default=None)
    for year, taken in all_taken:
        assert taken.day is not None
        assert earliest is not None
        year_before = birthday(taken.day, -1)
        total = sum(
            other.tax_free for _, other in all_taken if other.day is not None and year_before < other.day <= taken.day
        )
        if earliest > year_before:
            total += facts.lump_sums_in_last_12_months
        if taken.tax_free and total > year.figures.money(_LIMIT):
            window = _in_window(facts.contributions or (), taken.day, year.figures.count(_WINDOW))
            saved = sum(one.amount for one in window)
            yield LumpSum(year, taken, total, saved, len({tax_year_of(one.day) for one in window}))


def _in_window(contributions: tuple[Contribution, ...], day: date, years: int) -> list[Contribution]:
    middle = int(tax_year_of(day)[:4])
    return [one for one in contributions if abs(int(tax_year_of(one.day)[:4]) - middle) <= years]


def recycling(case: PersonCase) -> Found:
    """A lump sum that pays for more saving: whether all conditions hold, with the client's figures."""
    facts = case.person.facts
    if facts is None or not facts.contributions or facts.increase_planned is False:
        return
    person = case.person
    for lump_sum in _lump_sums(case):
        figures = lump_sum.year.figures
        share = figures.rate(_SHARE)
        part = down_to_the_penny(lump_sum.in_twelve_months * share)
        rests_on = (_LIMIT, _SHARE, _WINDOW)
        if facts.usual_contributions is None:
            if lump_sum.contributions > part:
                yield warn(
                    "usual_contributions_not_given",
                    f"Tax-free lump sums of {pounds(lump_sum.in_twelve_months)} in twelve months are more than "
                    f"{pounds(figures.money(_LIMIT))}, and {pounds(lump_sum.contributions)} is saved around them. What "
                    f"is usually saved was not given and decides whether the increase is more than {per_cent(share)} of "
                    f"it and of the lump sum ({pounds(part)}). Ask for the contributions of the years before.",
                    (*person.path, "usual_contributions"),
                    figures=figures,
                    rests_on=rests_on,
                    money={
                        "lump_sums_in_twelve_months": lump_sum.in_twelve_months,
                        "contributions": lump_sum.contributions,
                        "part_of_the_lump_sum": part,
                    },
                )
                return
            continue
        usual = facts.usual_contributions * lump_sum.tax_years_of_saving
        extra = lump_sum.contributions - usual
        if extra * WHOLE <= usual * share or extra <= part:
            continue
        told = (
            f"Tax-free lump sums of {pounds(lump_sum.in_twelve_months)} in twelve months are more than "
            f"{pounds(figures.money(_LIMIT))}; contributions of {pounds(lump_sum.contributions)} are {pounds(extra)} "
            f"more than the usual {pounds(usual)}, which is more than {per_cent(share)} of it and of the lump sum "
            f"({pounds(part)})."
        )
        money = {
            "lump_sums_in_twelve_months": lump_sum.in_twelve_months,
            "contributions": lump_sum.contributions,
            "usual_contributions": usual,
            "increase": extra,
            "part_of_the_lump_sum": part,
        }
        if facts.increase_planned:
            yield warn(
                "recycling_rule_applies",
                f"{told} As this was planned, the whole lump sum of {pounds(lump_sum.taken.tax_free)} is an unauthorised "
                "payment. Do not pay it back in.",
                lump_sum.taken.path,
                figures=figures,
                rests_on=rests_on,
                money={**money, "unauthorised_payment": lump_sum.taken.tax_free},
            )
        else:
            yield warn(
                "recycling_may_apply",
                f"{told} Whether the increase was planned when the lump sum was taken was not given and decides whether it is "
                "an unauthorised payment. Keep a record of the reason for the saving.",
                (*person.path, "increase_planned"),
                figures=figures,
                rests_on=rests_on,
                money=money,
            )
        return

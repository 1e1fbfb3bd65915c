"""How far a plan carries its spending."""

from __future__ import annotations

from service.law.units import WHOLE, BasisPoints, Years
from service.planning.warnings.circumstances import NOTHING_MUCH, Circumstances, PersonCase
from service.planning.warnings.topic import Entry, Topic
from service.planning.warnings.warning import Found
from service.planning.wording import pounds, starting

TOPIC: Topic = Topic()


@TOPIC.of_a_plan(
    "spending_drawn_beyond_the_band",
    "check",
    "Spending takes income above the chosen band",
    "In a plan, spending is met by drawing more than fills the chosen band.",
    facts=("spending", "aim"),
    sources=("Income Tax Act 2007 ss.10, 23",),
    figures={"spending": "pounds", "drawn_above_the_band": "pounds", "extra_income_tax": "pounds"},
    after="isa_allowance_used_up",
)
def spending_drawn_beyond_the_band(case: Circumstances, entry: Entry) -> Found:
    """In a plan: spending is met by drawing more than fills the band that the plan aims at."""
    for year in case.together:
        if not year.beyond_the_band:
            continue
        return entry.warn(
            f"In {year.rules.figures.name}, cash and ISAs do not cover spending of {pounds(year.spending)}. "
            f"{pounds(year.beyond_the_band)} of taxable pension is drawn above the {year.fill.replace('_', ' ')}, which adds "
            f"{pounds(year.beyond_tax)} of tax.",
            ("household", "spending"),
            figures=year.rules.figures,
            money={
                "spending": year.spending,
                "drawn_above_the_band": year.beyond_the_band,
                "extra_income_tax": year.beyond_tax,
            },
            cost=year.beyond_tax,
        )
    return ()


_FAR_OFF: BasisPoints = 500
"""How far the flat rate on what is left may be from the tax of drawing it before that is said: our choice."""


@TOPIC.of_a_person(
    "flat_tax_on_remaining_pension",
    "check",
    "Flat tax rate on what is left",
    "In a plan, a flat rate is assumed on the pension left at the end. Drawn evenly, it would be taxed at least five "
    "percentage points higher or lower.",
    facts=("pensions.uncrystallised", "pensions.drawdown", "income"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 s.579A", "Income Tax Act 2007 s.10"),
    figures={"taxed_part_left": "pounds", "tax_assumed": "pounds", "tax_if_drawn_evenly": "pounds"},
    only="in_a_plan",
)
def flat_tax_on_remaining_pension(case: PersonCase, entry: Entry) -> Found:
    """In a plan: the flat rate on what is left is far from the tax of drawing it."""
    left = case.left
    if left is None or left.taxed < NOTHING_MUCH or WHOLE * abs(left.drawn - left.flat) < _FAR_OFF * left.taxed:
        return ()
    last = case.years[-1]
    return entry.warn(
        f"The plan takes {pounds(left.flat)} of tax off what is left in {case.person.your} pension. Drawn evenly over "
        f"{left.years} years on top of income as in {last.name}, it would bear about {pounds(left.drawn)}. With that tax another "
        "plan may leave more.",
        ("assumptions",),
        about=case.person,
        figures=last.figures,
        money={"taxed_part_left": left.taxed, "tax_assumed": left.flat, "tax_if_drawn_evenly": left.drawn},
    )


_LASTS_TO: Years = 85
"""The age to which money that is drawn year after year should last before nothing is said: our choice. At 65 about half of all
people live longer."""


@TOPIC.of_a_person(
    "withdrawals_not_sustainable",
    "check",
    "The pension may run out",
    "Withdrawals are planned in two tax years or more, less than half of them for ISAs. At the pace of the last, "
    "without growth, the pension is empty before age 85.",
    facts=("withdrawals.amount", "withdrawals.date", "date_of_birth", "isa_subscriptions"),
    sources=("FCA Handbook COBS 19.7",),
    figures={"withdrawals_in_the_year": "pounds", "pension_left": "pounds", "pension_empty_at": "age"},
    only="with_facts",
    severity="lasting",
)
def withdrawals_not_sustainable(case: PersonCase, entry: Entry) -> Found:
    """At the pace of the last tax year the money would not last; what goes into ISAs is not spent."""
    paid, facts = [year for year in case.years if year.gross], case.person.facts
    if len(paid) < 2 or facts is None:
        return ()
    kept = sum(each.amount for each in facts.isas.subscriptions)
    if 2 * kept >= sum(year.drawn_after_tax for year in paid):
        return ()
    last = paid[-1]
    years_left = last.held_after // last.gross
    empty_at = last.age + years_left
    if empty_at >= _LASTS_TO:
        return ()
    left = f"{pounds(last.held_after)} would be left" if last.held_after >= NOTHING_MUCH else "nothing would be left"
    pace = f", which at this pace would last until about age {empty_at} without growth" if years_left else ""
    return entry.warn(
        f"{pounds(last.gross)} is withdrawn in {last.name}. After that {left}{pace}. Withdrawals cannot be put back. Other "
        "income, rising prices and anyone who depends on this money matter too.",
        last.path,
        about=case.person,
        figures=last.figures,
        money={"withdrawals_in_the_year": last.gross, "pension_left": last.held_after},
        counts={"pension_empty_at": empty_at},
    )


@TOPIC.of_a_person(
    "pension_runs_out",
    "check",
    "The pension runs out",
    "In a plan, a pension is used up before the plan ends.",
    facts=("pensions.uncrystallised", "pensions.drawdown"),
    sources=("Finance Act 2004 s.165",),
    figures={"withdrawals_in_the_year": "pounds"},
    of_one_pension=True,
    only="in_a_plan",
)
def pension_runs_out(case: PersonCase, entry: Entry) -> Found:
    """In a plan: the pension is spent before the plan ends."""
    if case.person.facts is not None:
        return ()
    for year in case.years[:-1]:
        if year.held_after < NOTHING_MUCH <= year.held_before:
            return entry.warn(
                f"{starting(case.person.your)} pension is used up in {year.name}, before the plan ends in "
                f"{case.years[-1].name}. Spending after that must come from other income, ISAs and cash.",
                case.person.pension_path,
                about=case.person,
                figures=year.figures,
                money={"withdrawals_in_the_year": year.gross},
            )
    return ()

"""The warnings that lump sum timing carries. Each is one small function; it points at the option it is about."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from service.law.pension_age import access_age, may_take_benefits
from service.planning.faults import pounds
from service.planning.timing import OptionResult, Timing
from service.planning.timing_summary import described
from service.planning.warning import Warning, in_order

Found = Iterator[Warning]


def timing_warnings(result: Timing) -> list[Warning]:
    """The warnings of all options: what is not permitted, costs by amount, then what to check."""
    found: list[Warning] = []
    for k, option in enumerate(result.options):
        if option.course is not None:
            for of_option in _OF_EACH_OPTION:
                found.extend(of_option(result, k, option))
    for rule in _OF_ALL:
        found.extend(rule(result))
    return in_order(found)


def _who(result: Timing, i: int) -> str:
    if len(result.question.household.people) == 1:
        return "this person"
    return ("the first person", "the second person")[i]


def lump_sum_too_early(result: Timing, k: int, option: OptionResult) -> Found:
    """A lump sum wanted before the minimum pension age is computed from the first tax year in which it is permitted."""
    if option.option.take not in ("all_now", "phased", "at_age"):
        return
    first = result.timeline.periods[0]
    for i, member in enumerate(result.question.household.people):
        pension = member.pension
        rules = first.rules
        allowed = may_take_benefits(
            member.date_of_birth, first.first, rules.minimum_pension_age, pension.minimum_pension_age
        )
        wanted = option.option.age is None or option.option.age < (
            pension.minimum_pension_age or rules.minimum_pension_age
        )
        if allowed or not wanted or pension.uncrystallised == 0:
            continue
        age, day = access_age(
            member.date_of_birth,
            rules.minimum_pension_age,
            rules.next_minimum_pension_age,
            pension.minimum_pension_age,
        )
        taken = next((year.period.first for year in option.years if year.people[i].lump_sum), None)
        computed = (
            f"it is computed as taken from {taken.isoformat()} on"
            if taken is not None
            else "none is taken within these years"
        )
        yield Warning(
            "lump_sum_too_early",
            "not_permitted",
            "Too young for a lump sum now",
            f"For {_who(result, i)} no benefits may be taken before age {age}, reached on {day.isoformat()}: with "
            f"{described(option.option)}, {computed}. Taken earlier it would be an unauthorised payment with heavy tax "
            "charges. Ask the scheme whether a protected pension age or ill-health allows it earlier.",
            ("options", k),
            ("Finance Act 2004 ss.165, 208-213, 279", "Finance Act 2022 s.10"),
            counts={"minimum_pension_age": age},
        )


def nothing_to_take(result: Timing, k: int, option: OptionResult) -> Found:
    """An option that asks for tax-free cash where there is none."""
    if option.option.take == "never" or option.totals is None:
        return
    if any(person.tax_free_cash.at_the_end for person in option.totals.people):
        return
    yield Warning(
        "no_tax_free_cash",
        "check",
        "There is no tax-free cash to take",
        f"With {described(option.option)} nothing is paid tax free: there is nothing uncrystallised, or the lump sum "
        "allowance is used up. Check what was crystallised before, and whether a protected lump sum is held.",
        ("options", k),
        ("Finance Act 2004 Sch.29 paras 1-3", "Income Tax (Earnings and Pensions) Act 2003 s.637P"),
    )


def tax_free_cash_fixed(result: Timing, k: int, option: OptionResult) -> Found:
    """All taken at once: later growth brings no more of it."""
    if option.option.take != "all_now" or option.totals is None:
        return
    for i, person in enumerate(option.totals.people):
        cash = person.tax_free_cash
        if cash.in_lump_sums and cash.forgone:
            yield Warning(
                "tax_free_cash_fixed",
                "check",
                "Taking it all now fixes the tax-free cash",
                f"With all tax-free cash now {_who(result, i)} receives {pounds(cash.in_lump_sums)}; left alone until "
                f"{result.question.household.end.isoformat()} it would be {pounds(cash.at_the_end)} at the growth assumed. "
                "This cannot be undone. Check what the money is needed for.",
                ("options", k),
                ("Finance Act 2004 Sch.29 paras 1-3",),
                money={"received": cash.in_lump_sums, "if_left_to_the_end": cash.at_the_end},
            )


def above_the_allowance(result: Timing, k: int, option: OptionResult) -> Found:
    """The lump sum allowance cuts a quarter short: growth beyond it brings no tax-free cash."""
    if option.option.take == "never" or option.totals is None:
        return
    for i, person in enumerate(option.totals.people):
        cash = person.tax_free_cash
        if cash.above_allowance >= 100:
            yield Warning(
                "quarter_above_lump_sum_allowance",
                "check",
                "The lump sum allowance is less than a quarter",
                f"With {described(option.option)}, {pounds(cash.above_allowance)} of a quarter of the pension of "
                f"{_who(result, i)} is above the lump sum allowance and is taxed like the rest. Check what earlier "
                "benefits used, and whether any protection is held.",
                ("options", k),
                ("Income Tax (Earnings and Pensions) Act 2003 ss.637P-637S", "Finance Act 2024 Sch.9"),
                money={"above_allowance": cash.above_allowance},
            )


def cash_waits(result: Timing, k: int, option: OptionResult) -> Found:
    """More cash than the ISAs take in a tax year."""
    found = option.totals
    if found is None or found.most_cash_waiting < 100:
        return
    until = f"until {found.cash_waits_until}" if found.cash_waits_until else "to the end"
    tax = sum(person.tax_on_interest for person in found.people)
    yield Warning(
        "isa_room_used_up",
        "check",
        "Money waits outside ISAs",
        f"With {described(option.option)} up to {pounds(found.most_cash_waiting)} waits outside ISAs, {until}; the tax on its "
        f"interest comes to {pounds(tax)} over these years. Check whether so much need be taken so early, and what deposit "
        "protection covers.",
        ("options", k),
        ("SI 1998/1870 reg.4ZA",),
        money={"most_cash_waiting": found.most_cash_waiting, "tax_on_interest": tax},
    )


def money_purchase_annual_allowance(result: Timing) -> Found:
    """Flexible income cuts what may be paid into money purchase pensions; a lump sum alone does not."""
    computed = [option for option in result.options if option.totals is not None]
    for i in range(len(result.question.household.people)):
        since = [option.totals.people[i].money_purchase_annual_allowance_from for option in computed if option.totals]
        first = min((name for name in since if name is not None), default=None)
        if first is None:
            continue
        period = next(period for period in result.timeline.periods if period.name == first)
        amount = period.rules.money_purchase_annual_allowance
        which = "every option" if None not in since else f"{len(since) - since.count(None)} of the {len(since)} options"
        yield Warning(
            "money_purchase_annual_allowance_triggered",
            "costs",
            "Future pension saving is cut back",
            f"With {which} {_who(result, i)} takes income flexibly, in {first} at the earliest: from the next day only "
            f"{pounds(amount)} a year may be paid into money purchase pensions without a charge. A tax-free lump sum on its "
            "own does not do that. Check whether anything is still paid in.",
            ("options",),
            ("Finance Act 2004 ss.227ZA-227G",),
            money={"money_purchase_annual_allowance": amount},
        )


def pension_in_the_estate(result: Timing) -> Found:
    """From 6 April 2027 unused pension money bears inheritance tax, whatever the option."""
    most = 0
    for option in result.options:
        for death in option.deaths:
            for left in death.outcome.deaths if death.outcome else ():
                most = max(most, left.tax.tax_on_pension)
    if most:
        yield Warning(
            "pension_in_the_estate",
            "costs",
            "Inheritance tax on unused pension money",
            f"On one of the deaths asked about unused pension money bears up to {pounds(most)} of inheritance tax: it counts "
            "in the estate for deaths on or after 6 April 2027, unless it passes to a spouse, civil partner or charity. "
            "Check the nomination with the scheme.",
            ("deaths",),
            ("Finance Act 2026 ss.66-71",),
            money={"inheritance_tax_on_pension": most},
            cost=most,
        )


def residence_band_tapered(result: Timing) -> Found:
    """An estate above the threshold loses residence nil-rate band, which the pension may bring about."""
    most = 0
    for option in result.options:
        for death in option.deaths:
            for left in death.outcome.deaths if death.outcome else ():
                if left.estate.home_to_descendants:
                    most = max(most, left.tax.residence_band.taper)
    if most:
        yield Warning(
            "residence_nil_rate_band_tapered",
            "check",
            "The residence nil-rate band is withdrawn",
            f"On one of the deaths asked about the estate is so large that up to {pounds(most)} of the residence nil-rate "
            "band is lost. Check which option keeps the estate below the threshold.",
            ("estate",),
            ("Inheritance Tax Act 1984 s.8D(5)",),
            money={"residence_nil_rate_band_lost": most},
        )


def rates_not_yet_set(result: Timing) -> Found:
    """From some year on the figures are not all law yet."""
    figures = result.timeline.first_not_law
    if figures is not None:
        yield Warning(
            "rates_not_yet_set",
            "check",
            "Later tax years' rates are not all law yet",
            f"Some of the figures from {figures.name} on are announced or carried forward from the last year that is known; "
            "rules.assumptions lists them. Compare again once they are set.",
            ("to_age",),
            ("Income Tax Act 2007 s.10", "Finance Act 2026 ss.5-10"),
            status=figures.status,
        )


_OF_EACH_OPTION: tuple[Callable[[Timing, int, OptionResult], Found], ...] = (
    lump_sum_too_early,
    nothing_to_take,
    tax_free_cash_fixed,
    above_the_allowance,
    cash_waits,
)
_OF_ALL: tuple[Callable[[Timing], Found], ...] = (
    money_purchase_annual_allowance,
    pension_in_the_estate,
    residence_band_tapered,
    rates_not_yet_set,
)

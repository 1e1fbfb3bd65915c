"""ISA limits and conditions (SI 1998/1870), and cash that waits outside them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from typing import NamedTuple

from service.law import isa
from service.law.ages import birthday
from service.law.dates import day_month_year
from service.law.units import BasisPoints, Pence
from service.planning.household import PEOPLE, Path
from service.planning.warnings.circumstances import Circumstances, PersonCase, Subscription, YearFacts
from service.planning.warnings.topic import Entry, Topic, first_day_with
from service.planning.warnings.warning import Found
from service.planning.wording import per_cent, pounds

TOPIC: Topic = Topic()

_SUBSCRIPTIONS: Path = ("isa_subscriptions",)

_LIMIT = "isa.subscription_limit"


class IsaYear(NamedTuple):
    """A person's ISA year: what is planned, and the ISA allowance left without and with flexible replacement; pence."""

    planned: Pence
    left: Pence
    with_replacement: Pence


def _planned(year: YearFacts) -> tuple[Subscription, ...]:
    facts = year.person.facts
    if facts is None:
        return ()
    return tuple(one for one in facts.isas.subscriptions if year.figures.start <= one.day <= year.figures.end)


def _isa_year(year: YearFacts, today: date | None) -> IsaYear:
    facts = year.person.facts
    assert facts is not None
    this_year = today is not None and year.figures.start <= today <= year.figures.end
    used = facts.isas.subscribed_this_year if this_year else 0
    withdrawn = facts.isas.withdrawn_this_year if this_year else 0
    left = max(0, year.figures.money(_LIMIT) - used)
    planned = sum(one.amount for one in _planned(year))
    return IsaYear(planned, left, left + withdrawn)


class Excess(NamedTuple):
    """A person's ISA year in which more is planned than the allowance left. ``above`` is what is planned beyond it even if all
    that was taken out can be replaced, where that is not ruled out; 0 where replacement makes it fit. ``asked``: whether it can
    is not known, and it matters."""

    one: PersonCase
    year: YearFacts
    found: IsaYear
    above: Pence
    asked: bool

    @property
    def at_least(self) -> str:
        """The words before an amount that may be higher."""
        return "at least " if self.asked else ""


def _excesses(case: Circumstances) -> Iterator[Excess]:
    for one in case.people:
        facts = one.person.facts
        if facts is None:
            continue
        for year in one.years:
            found = _isa_year(year, case.today)
            if found.planned > found.left:
                flexible = facts.isas.flexible
                most = found.left if flexible is False else found.with_replacement
                asked = flexible is None and most > found.left
                yield Excess(one, year, found, max(0, found.planned - most), asked)


@TOPIC.of_the_household(
    "isa_limit_exceeded",
    "not_permitted",
    "Above the ISA limit",
    "More would be paid into ISAs in a tax year than the limit leaves, with what can be replaced in a flexible ISA.",
    facts=("isa_subscriptions", "isa.subscribed_this_year", "isa.withdrawn_this_year", "isa.flexible"),
    sources=("SI 1998/1870 reg.4ZA",),
    figures={
        "isa_allowance_left": "pounds",
        "isa_allowance_left_if_flexible": "pounds",
        "subscriptions_planned": "pounds",
        "above_isa_allowance": "pounds",
        "above_isa_allowance_if_flexible": "pounds",
        "isa_subscription_limit": "pounds",
    },
    only="with_facts",
)
def isa_limit_exceeded(case: Circumstances, entry: Entry) -> Found:
    """More is to be subscribed in a tax year than the limit leaves."""
    told: Found = ()
    for one, year, found, above, asked in _excesses(case):
        if not above:
            continue
        facts = one.person.facts
        replaced = facts is not None and facts.isas.flexible is True
        left = found.with_replacement if replaced else found.left
        money = {
            "isa_allowance_left": left,
            "subscriptions_planned": found.planned,
            "above_isa_allowance": found.planned - left,
        }
        if asked:
            money |= {
                "isa_allowance_left_if_flexible": found.with_replacement,
                "above_isa_allowance_if_flexible": above,
            }
            detail = (
                f"{year.person.who} can still pay {pounds(left)} into ISAs in {year.name}, or "
                f"{pounds(found.with_replacement)} if the money taken out was in a flexible ISA. {pounds(found.planned)} is "
                f"planned, {pounds(found.planned - left)} or {pounds(above)} too much. We were not told whether the ISA is "
                "flexible."
            )
        else:
            detail = (
                f"{year.person.who} can still pay {pounds(left)} into ISAs in {year.name}. {pounds(found.planned)} is planned, "
                f"{pounds(above)} too much."
            )
        told += entry.warn(
            detail, _SUBSCRIPTIONS, about=year.person, figures=year.figures, rests_on=(_LIMIT,), money=money
        )
    return told


@TOPIC.of_the_household(
    "isa_rest_next_tax_year",
    "check",
    "The rest fits the next tax year",
    "More would be paid in than the limit leaves, and the next tax year's limit can take some of it.",
    facts=("isa_subscriptions", "date"),
    sources=("SI 1998/1870 reg.4ZA",),
    figures={"next_tax_years_isa_limit": "pounds", "fits_next_tax_year": "pounds", "days_left_in_tax_year": "days"},
    only="with_facts",
)
def isa_rest_next_tax_year(case: Circumstances, entry: Entry) -> Found:
    """What is too much for one tax year fits, in part at least, into the next."""
    told: Found = ()
    for excess in _excesses(case):
        year, above = excess.year, excess.above
        next_start = year.figures.end + timedelta(days=1)
        next_limit = case.isa_limits.get(next_start)
        if not above or case.today is None or next_limit is None:
            continue
        days = (year.figures.end - max(case.today, year.figures.start)).days
        told += entry.warn(
            f"{days} days are left in {year.name}. From {day_month_year(next_start)}, {excess.at_least}"
            f"{pounds(min(above, next_limit))} of the excess would fit the next tax year's limit of {pounds(next_limit)}.",
            _SUBSCRIPTIONS,
            about=year.person,
            figures=year.figures,
            money={"next_tax_years_isa_limit": next_limit, "fits_next_tax_year": min(above, next_limit)},
            counts={"days_left_in_tax_year": days},
        )
    return told


@TOPIC.of_the_household(
    "partner_has_isa_allowance_left",
    "check",
    "The partner has ISA allowance left",
    "More would be paid in than one person's limit leaves, and the other has allowance left.",
    facts=("isa_subscriptions", "isa.subscribed_this_year"),
    sources=("SI 1998/1870 reg.4ZA",),
    figures={"partners_isa_allowance_left": "pounds", "fits_partners_allowance": "pounds"},
    only="with_facts",
)
def partner_has_isa_allowance_left(case: Circumstances, entry: Entry) -> Found:
    """What is too much for one of a couple fits, in part at least, into the other's limit."""
    told: Found = ()
    for excess in _excesses(case):
        one, year, above = excess.one, excess.year, excess.above
        for other in case.people:
            theirs = next((found for found in other.years if found.name == year.name), None)
            if not above or other is one or theirs is None:
                continue
            partners = _isa_year(theirs, case.today)
            free = partners.left - partners.planned
            if free > 0:
                told += entry.warn(
                    f"{other.person.who} has {pounds(free)} of ISA allowance left in {year.name}; {excess.at_least}"
                    f"{pounds(min(free, above))} of the excess would fit. The money must belong to {other.person.you}; a gift "
                    "between spouses is possible.",
                    (*other.person.path, "isa"),
                    about=other.person,
                    figures=year.figures,
                    money={"partners_isa_allowance_left": free, "fits_partners_allowance": min(free, above)},
                )
    return told


@TOPIC.of_the_household(
    "isa_flexibility_not_given",
    "check",
    "A flexible ISA may allow this",
    "What is planned fits only if money taken out this tax year can be replaced, and whether the ISA is flexible "
    "is not given.",
    facts=("isa.flexible", "isa.withdrawn_this_year", "isa_subscriptions"),
    sources=(
        "SI 1998/1870 reg.5DDB",
        "gov.uk, Individual Savings Accounts: withdrawing your money",
    ),
    figures={"subscriptions_planned": "pounds", "isa_allowance_left": "pounds", "withdrawn_this_year": "pounds"},
    only="with_facts",
)
def isa_flexibility_not_given(case: Circumstances, entry: Entry) -> Found:
    """What is planned fits only if money taken out may be put back, and whether it may was not given."""
    told: Found = ()
    for one, year, found, above, _ in _excesses(case):
        facts = one.person.facts
        if facts is None or above or facts.isas.flexible is not None:
            continue
        withdrawn = facts.isas.withdrawn_this_year
        told += entry.warn(
            f"{pounds(found.planned)} is planned for {year.name}, and the limit leaves {pounds(found.left)}. The "
            f"{pounds(withdrawn)} taken out can be replaced on top only if the ISA is flexible. We were not told; ask the "
            "ISA manager.",
            (*one.person.path, "isa", "flexible"),
            about=one.person,
            figures=year.figures,
            not_given=True,
            money={
                "subscriptions_planned": found.planned,
                "isa_allowance_left": found.left,
                "withdrawn_this_year": withdrawn,
            },
        )
    return told


@TOPIC.of_the_household(
    "flexible_isa_replacement",
    "check",
    "Some of this replaces flexible ISA money",
    "What is planned fits because money taken out of a flexible ISA this tax year is replaced.",
    facts=("isa.flexible", "isa.withdrawn_this_year", "isa_subscriptions"),
    sources=(
        "SI 1998/1870 reg.5DDB",
        "SI 2025/733 reg.5",
    ),
    figures={"flexible_isa_replacement": "pounds"},
    only="with_facts",
)
def flexible_isa_replacement(case: Circumstances, entry: Entry) -> Found:
    """What is planned fits because money taken out of a flexible ISA is put back."""
    told: Found = ()
    for one, year, found, above, _ in _excesses(case):
        facts = one.person.facts
        if facts is None or above or not facts.isas.flexible:
            continue
        told += entry.warn(
            f"{pounds(found.planned - found.left)} of what is paid in replaces money taken out of a flexible ISA. It must be "
            f"paid by {day_month_year(year.figures.end)}. Money from earlier tax years must go back to the same account.",
            _SUBSCRIPTIONS,
            about=one.person,
            figures=year.figures,
            money={"flexible_isa_replacement": found.planned - found.left},
        )
    return told


@TOPIC.of_a_year(
    "cash_isa_limit_exceeded",
    "not_permitted",
    "Above the cash ISA limit",
    "From 2027-28, a person under 65 plans to pay more into cash ISAs than their limit.",
    facts=("isa_subscriptions.cash_isa", "isa_subscriptions", "date_of_birth", "isa.cash_subscribed_this_year"),
    sources=("HMRC, Tax-free savings newsletter 19", "gov.uk technical note of 26 November 2025"),
    figures={
        "cash_isa_allowance_left": "pounds",
        "cash_isa_subscriptions_planned": "pounds",
        "above_cash_isa_limit": "pounds",
        "isa_cash_limit_under_65": "pounds",
        "isa_cash_interest_charge": "fraction",
    },
    since=first_day_with("isa.cash_limit_ends_at_age"),
    only="with_facts",
)
def cash_isa_limit_exceeded(year: YearFacts, entry: Entry) -> Found:
    """More is to go into cash ISAs in a tax year that ends below 65 than is allowed in it. What already went into ISAs counts
    as far as it is known to have gone into cash."""
    found = _cash_year(year)
    if found is None or found.which != "lower" or found.planned <= found.left:
        return ()
    return entry.warn(
        f"{year.person.who} can pay {pounds(found.left)} {'more ' if found.before else ''}into cash ISAs in {year.name}, as the "
        f"limit for people under {year.figures.count(_CASH_ENDS)} is {pounds(found.limit)}. {pounds(found.planned)} is planned, "
        f"{pounds(found.planned - found.left)} too much. This limit does not apply to stocks and shares ISAs.",
        _SUBSCRIPTIONS,
        about=year.person,
        figures=year.figures,
        rests_on=("isa.cash_limit_under_65",),
        money={
            "cash_isa_allowance_left": found.left,
            "cash_isa_subscriptions_planned": found.planned,
            "above_cash_isa_limit": found.planned - found.left,
        },
        rates=_announced_rate(year),
        caveats=(_announced_as_well(year),),
    )


_CASH_ENDS = "isa.cash_limit_ends_at_age"
_CHARGE = "isa.cash_interest_charge"


def _announced_rate(year: YearFacts) -> Mapping[str, BasisPoints]:
    return {"isa_cash_interest_charge": year.figures.rate(_CHARGE)}


def _announced_as_well(year: YearFacts) -> str:
    """The other rules announced with the cash limit, for those under its age."""
    return (
        f"Also announced for people under {year.figures.count(_CASH_ENDS)}: no transfers from stocks and shares ISAs to cash "
        f"ISAs. Interest on cash in a stocks and shares ISA may be charged at {per_cent(year.figures.rate(_CHARGE))}."
    )


class CashYear(NamedTuple):
    """A person's cash ISAs in a tax year with a lower limit below some age; pence. ``before`` is what is known to have gone in
    already, ``unknown`` what may have; ``left`` is what ``before`` leaves of the ``limit``."""

    which: isa.CashLimit
    limit: Pence
    planned: Pence
    before: Pence
    unknown: Pence
    left: Pence


def _cash_year(year: YearFacts) -> CashYear | None:
    """None where nothing is planned for cash ISAs, or the year has no lower limit for the person."""
    facts, figures = year.person.facts, year.figures
    if facts is None or not facts.isas.subscriptions or not figures.has(_CASH_ENDS):
        return None
    planned = sum(one.amount for one in _planned(year) if one.cash_isa)
    which = isa.cash_limit(figures, year.person.born)
    if not planned or which == "none":
        return None
    so_far = facts.isas.subscribed_this_year if facts.isas.of_tax_year == year.name else 0
    in_cash = facts.isas.cash_subscribed_this_year
    before = 0 if in_cash is None else min(in_cash, so_far)
    limit = figures.money("isa.cash_limit_under_65")
    return CashYear(which, limit, planned, before, so_far if in_cash is None else 0, max(0, limit - before))


@TOPIC.of_a_year(
    "cash_isa_limit_depends_on_age",
    "check",
    "The cash ISA limit changes at 65",
    "From 2027-28, more is planned for cash ISAs than the limit under 65 in the tax year of the 65th birthday.",
    facts=("isa_subscriptions.cash_isa", "isa_subscriptions", "date_of_birth", "isa.cash_subscribed_this_year"),
    sources=("HMRC, Tax-free savings newsletter 19", "gov.uk technical note of 26 November 2025"),
    figures={
        "cash_isa_subscriptions_planned": "pounds",
        "cash_isa_subscriptions_before_the_age": "pounds",
        "isa_cash_limit_under_65": "pounds",
        "isa_subscription_limit": "pounds",
    },
    since=first_day_with("isa.cash_limit_ends_at_age"),
    only="with_facts",
)
def cash_isa_limit_depends_on_age(year: YearFacts, entry: Entry) -> Found:
    """The tax year in which 65 is reached: how the age is tested is not settled, so nothing is refused."""
    found = _cash_year(year)
    if found is None or found.which != "reached_in_the_year" or found.planned <= found.left:
        return ()
    age = year.figures.count(_CASH_ENDS)
    reached = birthday(year.person.born, age)
    early = sum(one.amount for one in _planned(year) if one.cash_isa and one.day < reached)
    told_early = "all" if early == found.planned else pounds(early) if early else "none"
    return entry.warn(
        f"{year.person.who} will reach {age} on {day_month_year(reached)}. Under {age}, at most {pounds(found.limit)} a tax year "
        f"can go into cash ISAs, and {pounds(year.figures.money(_LIMIT))} after that. {pounds(found.planned)} is planned for "
        f"{year.name}, {told_early} of it before the birthday. Ask the ISA manager which limit applies.",
        _SUBSCRIPTIONS,
        about=year.person,
        figures=year.figures,
        rests_on=("isa.cash_limit_under_65", _LIMIT),
        money={"cash_isa_subscriptions_planned": found.planned, "cash_isa_subscriptions_before_the_age": early},
    )


@TOPIC.of_a_year(
    "cash_isa_subscriptions_not_given",
    "check",
    "Earlier cash ISA payments matter",
    "From 2027-28, what is planned for cash ISAs may not fit the limit under 65. How much of what was paid in already "
    "went into cash is not given.",
    facts=("isa.cash_subscribed_this_year", "isa.subscribed_this_year", "isa_subscriptions.cash_isa", "date_of_birth"),
    sources=("HMRC, Tax-free savings newsletter 19", "gov.uk technical note of 26 November 2025"),
    figures={
        "cash_isa_subscriptions_planned": "pounds",
        "subscribed_already": "pounds",
        "isa_cash_limit_under_65": "pounds",
    },
    since=first_day_with("isa.cash_limit_ends_at_age"),
    only="with_facts",
)
def cash_isa_subscriptions_not_given(year: YearFacts, entry: Entry) -> Found:
    """What was paid into ISAs already may have gone into cash."""
    found = _cash_year(year)
    if found is None or found.planned > found.left or found.planned + found.unknown <= found.left:
        return ()
    return entry.warn(
        f"{pounds(found.planned)} is planned for cash ISAs in {year.name}. The limit for people under "
        f"{year.figures.count(_CASH_ENDS)} is {pounds(found.limit)}. We were not told how much of the {pounds(found.unknown)} "
        "already paid in went into cash ISAs.",
        (*year.person.path, "isa"),
        about=year.person,
        figures=year.figures,
        not_given=True,
        rests_on=("isa.cash_limit_under_65",),
        money={"cash_isa_subscriptions_planned": found.planned, "subscribed_already": found.unknown},
    )


@TOPIC.of_a_year(
    "cash_isa_limit_in_doubt",
    "check",
    "Cash ISA limit for people under 65",
    "In a plan, new money goes into a cash ISA in a tax year with a lower limit under 65.",
    facts=("isa.cash_isa", "date_of_birth"),
    sources=("HMRC, Tax-free savings newsletter 19", "gov.uk technical note of 26 November 2025"),
    figures={"isa_cash_limit_under_65": "pounds", "isa_cash_interest_charge": "fraction"},
    since=first_day_with("isa.cash_limit_ends_at_age"),
    only="in_a_plan",
)
def cash_isa_limit_in_doubt(year: YearFacts, entry: Entry) -> Found:
    """In a plan: the lower limit for cash ISAs below 65, and what is announced with it."""
    limit = year.cash_isa_limit
    if limit is None or limit != year.figures.money("isa.cash_limit_under_65") or limit >= year.figures.money(_LIMIT):
        return ()
    age = year.figures.count(_CASH_ENDS)
    return entry.warn(
        f"From {year.name}, people under {age} can pay at most {pounds(limit)} a tax year into cash ISAs. The plan uses this "
        f"limit up to the end of the tax year in which {year.person.you} {year.person.does('turn', 'turns')} {age}. Ask the ISA "
        "manager which limit applies in that year.",
        (*year.person.path, "isa", "cash_isa"),
        about=year.person,
        figures=year.figures,
        rests_on=("isa.cash_limit_under_65",),
        rates=_announced_rate(year),
        caveats=(_announced_as_well(year),),
    )


@TOPIC.of_a_year(
    "isa_not_uk_resident",
    "not_permitted",
    "ISA payments need UK residence",
    "A person who is not UK resident, and is not a Crown employee abroad, plans to pay into an ISA.",
    facts=("circumstances.uk_resident", "circumstances.crown_employee_abroad", "isa_subscriptions"),
    sources=("SI 1998/1870 reg.10",),
    only="with_facts",
)
def isa_not_uk_resident(year: YearFacts, entry: Entry) -> Found:
    """A subscription by someone who is neither UK resident nor a Crown employee abroad."""
    facts = year.person.facts
    if facts is None or facts.uk_resident is not False or facts.crown_employee_abroad is not False:
        return ()
    if not _planned(year):
        return ()
    return entry.warn(
        f"Nobody who is not UK resident can pay into an ISA in {year.name}, except in the tax year of leaving. "
        "ISAs already held can be kept.",
        (*year.person.path, "circumstances", "uk_resident"),
        about=year.person,
        figures=year.figures,
    )


@TOPIC.of_a_year(
    "crown_service_not_given",
    "check",
    "Crown service abroad matters",
    "A person who is not UK resident plans to pay into an ISA, and Crown service is not given.",
    facts=("circumstances.uk_resident", "circumstances.crown_employee_abroad", "isa_subscriptions"),
    sources=("SI 1998/1870 reg.10",),
    only="with_facts",
)
def crown_service_not_given(year: YearFacts, entry: Entry) -> Found:
    """A subscription by someone who is not UK resident, of whom Crown service was not given."""
    facts = year.person.facts
    if facts is None or facts.uk_resident is not False or facts.crown_employee_abroad is not None:
        return ()
    if not _planned(year):
        return ()
    return entry.warn(
        f"Without UK residence, only Crown employees abroad and their spouses or civil partners can pay into an ISA in "
        f"{year.name}. We were not told whether that applies.",
        (*year.person.path, "circumstances", "crown_employee_abroad"),
        about=year.person,
        figures=year.figures,
        not_given=True,
    )


@TOPIC.of_the_household(
    "additional_permitted_subscription",
    "check",
    "A late spouse's ISAs may raise the limit",
    "One person plans to pay into ISAs, and nil-rate bands of a spouse or civil partner who has died are given.",
    facts=(
        "isa_subscriptions",
        "estate.nil_rate_band_brought_forward",
        "estate.residence_nil_rate_band_brought_forward",
    ),
    sources=(
        "SI 1998/1870 regs 5DDA, 5DFA",
        "gov.uk, Manage additional permitted subscriptions into an ISA",
    ),
    figures={"isa_additional_subscription_years": "years", "isa_additional_subscription_days": "days"},
    only="with_facts",
)
def additional_permitted_subscription(case: Circumstances, entry: Entry) -> Found:
    """A survivor may pay in the value of the ISAs of the spouse or civil partner who died, besides the year's limit."""
    estate = case.estate
    if estate is None or len(case.people) > 1:
        return ()
    if not estate.nil_rate_band_brought_forward and not estate.residence_nil_rate_band_brought_forward:
        return ()
    (one,) = case.people
    year = next((year for year in one.years if _planned(year)), None)
    if year is None:
        return ()
    years = year.figures.count("isa.additional_subscription_years")
    days = year.figures.count("isa.additional_subscription_days")
    return entry.warn(
        f"If {year.person.your} spouse or civil partner had ISAs when they died, their value can be paid into ISAs on top of the "
        f"limit. This lasts {years} years from the death, or until {days} days after administration of the estate if later. Ask "
        "the ISA manager.",
        _SUBSCRIPTIONS,
        about=year.person,
        figures=year.figures,
        rests_on=("isa.additional_subscription_years", "isa.additional_subscription_days"),
    )


@TOPIC.of_the_household(
    "subscribed_before_paid_out",
    "check",
    "The money has not arrived yet",
    "By some day more would be paid in than the cash and payments until then, while payments follow later.",
    facts=("isa_subscriptions", "cash", "withdrawals.date", "withdrawals.amount"),
    sources=("SI 1998/1870 reg.4",),
    figures={"subscriptions_by_then": "pounds", "money_available_by_then": "pounds"},
    only="with_facts",
)
def subscribed_before_paid_out(case: Circumstances, entry: Entry) -> Found:
    """A subscription before the money for it has left a pension: nothing moves from a pension to an ISA directly."""
    if not any(one.person.facts for one in case.people):
        return ()
    in_hand = sum(one.person.facts.cash for one in case.people if one.person.facts is not None)
    paid = [
        (taken.day, taken.payment.gross)
        for one in case.people
        for year in one.years
        for taken in year.taken
        if taken.day
    ]
    subscriptions = sorted(
        (
            (subscription.day, i, subscription.amount)
            for i, one in enumerate(case.people)
            if one.person.facts is not None
            for subscription in one.person.facts.isas.subscriptions
        ),
    )
    subscribed = 0
    for day, i, amount in subscriptions:
        subscribed += amount
        there = in_hand + sum(gross for paid_on, gross in paid if paid_on <= day)
        if subscribed > there and any(paid_on > day for paid_on, _ in paid):
            person = case.people[i].person
            return entry.warn(
                f"By {day_month_year(day)}, {pounds(subscribed)} would be paid into ISAs, but only {pounds(there)} is "
                f"available. Pension money cannot go straight into an ISA: it is first paid to {person.you}.",
                _SUBSCRIPTIONS,
                about=person,
                figures=case.people[i].years[0].figures,
                money={"subscriptions_by_then": subscribed, "money_available_by_then": there},
            )
    return ()


_LATER_PAYMENT = (
    "Whether income from drawdown counts as paid on retirement is not certain; ask the firm that holds the cash."
)


@TOPIC.of_the_household(
    "cash_above_deposit_protection",
    "check",
    "More cash than is protected",
    "Cash after tax and ISA payments is more than is protected at the firms that hold it.",
    facts=("cash", "circumstances.deposit_firms", "isa_subscriptions", "withdrawals.amount"),
    sources=("PRA PS24/25", "Financial Services Compensation Scheme"),
    figures={
        "cash_outside_isas": "pounds",
        "deposit_protection_limit": "pounds",
        "deposit_protection_later_limit": "pounds",
        "deposit_protection_temporary_limit": "pounds",
        "deposit_protection_later_temporary_limit": "pounds",
        "deposit_protection_temporary_months": "count",
    },
    only="with_facts",
)
def cash_above_deposit_protection(case: Circumstances, entry: Entry) -> Found:
    """Cash that waits is more than the protection of deposits covers."""
    told: Found = ()
    for one in case.people:
        facts = one.person.facts
        if facts is None:
            continue
        waits = facts.cash
        for year in one.years:
            waits += year.drawn_after_tax
            waits -= sum(subscription.amount for subscription in _planned(year))
            day = max((taken.day for taken in year.taken if taken.day), default=case.today) or year.last_day
            figures = year.figures
            later = figures.has("deposit_protection.changes_on") and day >= figures.day("deposit_protection.changes_on")
            name = "deposit_protection.later_limit" if later else "deposit_protection.limit"
            high = "deposit_protection.later_temporary_limit" if later else "deposit_protection.temporary_limit"
            limit = figures.money(name)
            if waits <= limit * (facts.deposit_firms or 1):
                continue
            unknown = "" if facts.deposit_firms else " We were not told how many firms hold it."
            paid = any(taken.payment.gross for taken in year.taken)
            lump_sum = any(taken.payment.tax_free for taken in year.taken)
            months = figures.count("deposit_protection.temporary_months")
            on_retirement = (
                f" Money paid on retirement may be protected up to {pounds(figures.money(high))} for {months} months."
                if paid
                else ""
            )
            told += entry.warn(
                f"About {pounds(waits)} of {one.person.your} cash would be held outside ISAs in {year.name}. {pounds(limit)} "
                f"is protected for each person at each authorised firm.{on_retirement}{unknown}",
                (*one.person.path, *(("circumstances", "deposit_firms") if facts.deposit_firms is None else ("cash",))),
                about=one.person,
                figures=figures,
                rests_on=(name, high, "deposit_protection.temporary_months") if paid else (name,),
                money={"cash_outside_isas": waits},
                caveats=(_LATER_PAYMENT,) if paid and not lump_sum else (),
            )
            break
    return told


@TOPIC.of_a_plan(
    "isa_allowance_used_up",
    "check",
    "Some cash stays outside ISAs",
    "In a plan, all ISA allowance of a tax year is used and cash remains.",
    facts=("cash", "isa"),
    sources=("SI 1998/1870 reg.4ZA",),
    figures={"most_cash_outside_isas": "pounds"},
)
def isa_allowance_used_up(case: Circumstances, entry: Entry) -> Found:
    """In a plan: there is more money than ISAs can take, and it waits as cash."""
    waiting = [year for year in case.together if year.waits]
    if not waiting:
        return ()
    most = max(year.waits for year in waiting)
    return entry.warn(
        f"In {waiting[0].rules.figures.name} the ISA allowance is used up. Up to {pounds(most)} is held in cash outside "
        "ISAs during the plan. Interest on it is taxable.",
        PEOPLE,
        figures=waiting[0].rules.figures,
        money={"most_cash_outside_isas": most},
    )

"""ISA limits and conditions (SI 1998/1870), and cash that waits outside them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from typing import NamedTuple

from service.law import isa
from service.law.dates import day_month_year
from service.law.units import Pence
from service.planning.household import PEOPLE, Path
from service.planning.warnings.circumstances import Circumstances, PersonCase, Subscription, YearFacts
from service.planning.warnings.topic import Entry, Topic, first_day_with
from service.planning.warnings.warning import Found
from service.planning.wording import pounds

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
    """A person's ISA year in which more is planned than the allowance left. ``permitted`` is what is left, with replacement
    unless it is known that nothing may be put back; ``above`` what is planned beyond it, 0 where replacement makes it fit."""

    one: PersonCase
    year: YearFacts
    found: IsaYear
    permitted: Pence
    above: Pence


def _excesses(case: Circumstances) -> Iterator[Excess]:
    for one in case.people:
        facts = one.person.facts
        if facts is None:
            continue
        for year in one.years:
            found = _isa_year(year, case.today)
            if found.planned > found.left:
                permitted = found.left if facts.isas.flexible is False else found.with_replacement
                yield Excess(one, year, found, permitted, max(0, found.planned - permitted))


@TOPIC.of_the_household(
    "isa_limit_exceeded",
    "not_permitted",
    "Above the ISA limit",
    "More would be paid into ISAs in a tax year than the limit leaves, with what can be replaced in a flexible ISA.",
    facts=("isa_subscriptions", "isa.subscribed_this_year", "isa.withdrawn_this_year", "isa.flexible"),
    sources=("SI 1998/1870 reg.4ZA",),
    figures={
        "isa_allowance_left": "pounds",
        "subscriptions_planned": "pounds",
        "above_isa_allowance": "pounds",
        "isa_subscription_limit": "pounds",
    },
    only="with_facts",
)
def isa_limit_exceeded(case: Circumstances, entry: Entry) -> Found:
    """More is to be subscribed in a tax year than the limit leaves."""
    told: Found = ()
    for one, year, found, permitted, above in _excesses(case):
        if above:
            facts = one.person.facts
            asked = facts is not None and facts.isas.flexible is None and permitted > found.left
            if_flexible = ", if the money taken out was in a flexible ISA" if asked else ""
            unknown = " We were not told whether the ISA is flexible." if asked else ""
            told += entry.warn(
                f"{year.person.who} can still pay {pounds(permitted)} into ISAs in {year.name}{if_flexible}. "
                f"{pounds(found.planned)} is planned, {pounds(above)} too much.{unknown}",
                _SUBSCRIPTIONS,
                about=year.person,
                figures=year.figures,
                rests_on=(_LIMIT,),
                money={
                    "isa_allowance_left": permitted,
                    "subscriptions_planned": found.planned,
                    "above_isa_allowance": above,
                },
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
    for _, year, _, _, above in _excesses(case):
        next_start = year.figures.end + timedelta(days=1)
        next_limit = case.isa_limits.get(next_start)
        if not above or case.today is None or next_limit is None:
            continue
        days = (year.figures.end - max(case.today, year.figures.start)).days
        told += entry.warn(
            f"{days} days are left in {year.name}. From {day_month_year(next_start)}, {pounds(min(above, next_limit))} of "
            f"the excess would fit the next tax year's limit of {pounds(next_limit)}.",
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
    for one, year, _, _, above in _excesses(case):
        for other in case.people:
            theirs = next((found for found in other.years if found.name == year.name), None)
            if not above or other is one or theirs is None:
                continue
            partners = _isa_year(theirs, case.today)
            free = partners.left - partners.planned
            if free > 0:
                told += entry.warn(
                    f"{other.person.who} has {pounds(free)} of ISA allowance left in {year.name}; {pounds(min(free, above))} "
                    f"of the excess would fit. The money must belong to {other.person.you}; a gift between spouses is "
                    "possible.",
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
    for one, year, found, _, above in _excesses(case):
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
    for one, year, found, _, above in _excesses(case):
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
    facts=("isa_subscriptions.cash_isa", "isa_subscriptions", "date_of_birth"),
    sources=("HMRC, Tax-free savings newsletter 19", "gov.uk technical note of 26 November 2025"),
    figures={
        "cash_isa_subscriptions_planned": "pounds",
        "above_cash_isa_limit": "pounds",
        "isa_cash_limit_under_65": "pounds",
    },
    since=first_day_with("isa.cash_limit_ends_at_age"),
    only="with_facts",
)
def cash_isa_limit_exceeded(year: YearFacts, entry: Entry) -> Found:
    """More is to go into cash ISAs than is allowed below 65."""
    planned = [one for one in _planned(year) if one.cash_isa]
    if not planned:
        return ()
    last = max(one.day for one in planned)
    limit = isa.subscription_limit(year.figures, year.person.born, last, cash=True)
    total = sum(one.amount for one in planned)
    if total <= limit or limit == year.figures.money(_LIMIT):
        return ()
    return entry.warn(
        f"{year.person.who} can pay {pounds(limit)} into cash ISAs in {year.name}, the limit for people under "
        f"{year.figures.count('isa.cash_limit_ends_at_age')}. {pounds(total)} is planned, {pounds(total - limit)} too much. "
        "This limit does not apply to stocks and shares ISAs.",
        _SUBSCRIPTIONS,
        about=year.person,
        figures=year.figures,
        rests_on=("isa.cash_limit_under_65",),
        money={"cash_isa_subscriptions_planned": total, "above_cash_isa_limit": total - limit},
    )


@TOPIC.of_a_year(
    "cash_isa_limit_in_doubt",
    "check",
    "Cash ISA limit for people under 65",
    "In a plan, new money goes into a cash ISA in a tax year with a lower limit under 65.",
    facts=("isa.cash_isa", "date_of_birth"),
    sources=("HMRC, Tax-free savings newsletter 19", "gov.uk technical note of 26 November 2025"),
    figures={"isa_cash_limit_under_65": "pounds"},
    since=first_day_with("isa.cash_limit_ends_at_age"),
    only="in_a_plan",
)
def cash_isa_limit_in_doubt(year: YearFacts, entry: Entry) -> Found:
    """In a plan: the lower limit for cash ISAs below 65 is not verified in the regulations."""
    limit = year.cash_isa_limit
    if limit is None or limit != year.figures.money("isa.cash_limit_under_65") or limit >= year.figures.money(_LIMIT):
        return ()
    age = year.figures.count("isa.cash_limit_ends_at_age")
    return entry.warn(
        f"From {year.name}, people under {age} can pay at most {pounds(limit)} a tax year into cash ISAs. The plan uses this "
        f"limit until the tax year in which {year.person.you} {year.person.does('turn', 'turns')} {age}.",
        (*year.person.path, "isa", "cash_isa"),
        about=year.person,
        figures=year.figures,
        rests_on=("isa.cash_limit_under_65",),
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
        f"A person who is not UK resident cannot pay into an ISA in {year.name}, except in the tax year of leaving the UK. "
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
        f"Without UK residence, only a Crown employee abroad, or the spouse or civil partner of one, can pay into an ISA in "
        f"{year.name}. We were not told whether that applies.",
        (*year.person.path, "circumstances", "crown_employee_abroad"),
        about=year.person,
        figures=year.figures,
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
            limit = figures.money(name)
            if waits <= limit * (facts.deposit_firms or 1):
                continue
            unknown = "" if facts.deposit_firms else " We were not told how many firms hold it."
            told += entry.warn(
                f"About {pounds(waits)} of {one.person.your} cash would be held outside ISAs in {year.name}. {pounds(limit)} "
                "is protected for each person at each authorised firm. Money paid on retirement may be protected up to a "
                f"higher limit for six months.{unknown}",
                (*one.person.path, *(("circumstances", "deposit_firms") if facts.deposit_firms is None else ("cash",))),
                about=one.person,
                figures=figures,
                rests_on=(name,),
                money={"cash_outside_isas": waits},
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

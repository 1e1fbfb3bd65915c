"""What a plan assumes that people do in its first two years: by which day, who, and by which rule.

Each step is read off the settled years or off a warning of the plan, so it says nothing that the plan does not. A plan moves
all money on the last day of a tax year, so that is the day by which its payments have to be made.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from typing import Literal, NamedTuple

from service.law.ages import birthday
from service.law.dates import day_month_year
from service.law.lump_sums import Payment
from service.law.units import POUND, Pence
from service.planning.household import Income, Member, Person
from service.planning.payroll import payroll_outcome
from service.planning.projection.balances import parts
from service.planning.schedule.chosen_claims import chosen_claim
from service.planning.schedule.schedule import Schedule, SchedulePerson, ScheduleYear
from service.planning.warnings.household_facts import works
from service.planning.warnings.warning import ClientWarning
from service.planning.wording import YOU, inside, listed, rounded_pounds, who

YEARS = 2
"""How far steps look ahead: details beyond will have changed."""

Basis = Literal["law", "guidance", "practice"]
"""What a step rests on: a rule of law, official guidance, or common practice alone."""

_BUDGET_TOLD_BY = (12, 1)
"""By this month and day a Budget held in autumn has been published: common practice of governments, no rule."""

_CLAIM_YEARS = "income_tax.marriage_allowance_claim_years"
_CERTIFICATE_MONTHS = "pension.transitional_certificate_months"
_MONTHS_OF_A_YEAR = 12


class Step(NamedTuple):
    """Something to be done by a day. ``person`` is the place of whoever does it, None for the household; ``amount`` is pence;
    ``sources`` are empty where the ``basis`` is practice."""

    code: str
    day: date
    title: str
    detail: str
    basis: Basis
    sources: tuple[str, ...] = ()
    person: int | None = None
    amount: Pence | None = None
    tax_year: str | None = None


class _Doer(NamedTuple):
    """A person as steps name them."""

    place: int
    who: str

    @property
    def you(self) -> str:
        return inside(self.who)

    @property
    def your(self) -> str:
        return "your" if self.who == YOU else f"{self.you}'s"

    def does(self, verb: str, third: str) -> str:
        return verb if self.who == YOU else third


def steps(result: Schedule, warnings: Iterable[ClientWarning]) -> list[Step]:
    """The steps of the first two years of a plan, by day; ``warnings`` are the plan's."""
    household = result.question.household
    until = birthday(household.start, YEARS)
    found = {(warning.code, warning.person): warning for warning in warnings}
    told: list[Step] = [*_after_budgets(household.start, min(until, household.end))]
    for place, member in enumerate(household.people):
        doer = _Doer(place, who(place, len(household.people), member.name))
        told += _of_a_person(result, doer, member, found, until)
    for year in result.years:
        if year.period.last <= until:
            told.append(_tax_year_ends(year))
            told += _marriage_allowance(household.people, year)
    return sorted((step for step in told if step.day <= until), key=lambda step: step.day)


def _of_a_person(
    result: Schedule,
    doer: _Doer,
    member: Member,
    found: dict[tuple[str, int | None], ClientWarning],
    until: date,
) -> Iterator[Step]:
    accessed = member.pension.flexibly_accessed or bool(member.pension.drawdown)
    start = result.question.household.start
    asked = paid = paid_taxable = False
    for year in result.years:
        if year.period.last > until:
            break
        one = year.people[doer.place]
        if (one.record.gross or one.record.opened.year.from_small_pots) and not (accessed or paid):
            paid = True
            yield from _guidance(doer, member, year, result.question.household.start)
        if one.record.tax_free and not asked and year.period.rules.figures.has(_CERTIFICATE_MONTHS):
            asked = True
            yield from _certificate(doer, year, found, result.question.household.start)
        yield from _paid_in(doer, member, year, start)
        yield from _payments(doer, member, year, one)
        if one.record.taxable and not paid_taxable:
            paid_taxable = True
            if not accessed:
                yield from _claim(doer, member, year, one)
        limited = ("money_purchase_annual_allowance_triggered", doer.place) in found
        if one.money_purchase_allowance.triggered and limited and (member.contributions or works(member.income)):
            yield _before_first_income(doer, year, start)
            yield _tell_other_schemes(doer, year)
    yield from _nominations(result, doer, until)


def _from_which(of: Member, one: SchedulePerson) -> str:
    """Which of several pensions the withdrawal comes from, by their places in the request."""
    found = [part for part in parts(of, one.record, one.pension, one.withdrawal) if part.withdrawal.gross >= POUND]
    if not one.record.after.pots or not found:
        return ""
    told = [f"{rounded_pounds(part.withdrawal.gross)} from {_pensions_at(part.places)}" for part in found]
    return f" It takes {listed(told)}."


def _pensions_at(places: Sequence[int]) -> str:
    """Pensions by their numbers in the request."""
    numbers = [str(place + 1) for place in places]
    return f"pension {numbers[0]}" if len(numbers) == 1 else f"pensions {listed(numbers)}"


def _named(place: int, of: Member) -> str:
    """One of a person's pensions, by its number in the request where there are several."""
    return "pension" if len(of.pensions) == 1 else _pensions_at((place,))


def _payments(doer: _Doer, of: Member, year: ScheduleYear, one: SchedulePerson) -> Iterator[Step]:
    """What the plan pays out of the pension and the ISA, and into the ISA."""
    record, drawn, last = one.record, one.withdrawal, year.period.last
    by, name = f"By {day_month_year(last)}", year.period.name
    if one.lump_sum:
        yield Step(
            "take_lump_sum",
            last,
            "Tax-free lump sum",
            f"{by}, the plan takes the tax-free lump sum of {rounded_pounds(one.lump_sum)} from {doer.your} pension. Ask the "
            "scheme how long a payment takes.",
            "law",
            ("Finance Act 2004 Sch.29 paras 1-3",),
            doer.place,
            one.lump_sum,
            name,
        )
    for pot in record.opened.year.small_pots:
        if pot.gross:
            most = year.period.rules.figures.count("pension.small_pots_from_personal_schemes")
            yield Step(
                "take_small_pot",
                last,
                "Small pot lump sum",
                f"{by}, the plan takes all of {doer.your} {_named(pot.place, of)}, {rounded_pounds(pot.gross)}, as a small pot "
                f"lump sum. {rounded_pounds(pot.tax_free)} is tax free. Ask the scheme first whether it pays small pot lump "
                f"sums. At most {most} can be taken from personal schemes in a lifetime. Without a tax code, the scheme deducts "
                "basic rate tax from the rest.",
                "law",
                (
                    "SI 2009/1171 regs 11-12",
                    "Income Tax (Earnings and Pensions) Act 2003 s.637G",
                    "PAYE Regulations 2003 reg.58A",
                ),
                doer.place,
                pot.gross,
                name,
            )
    if drawn.gross:
        tax_free = f", {rounded_pounds(drawn.tax_free)} of it tax free" if drawn.tax_free else ""
        yield Step(
            "withdraw",
            last,
            "Withdrawal from the pension",
            f"{by}, the plan takes {rounded_pounds(drawn.gross)} from {doer.your} pension{tax_free}.{_from_which(of, one)} "
            "Ask the scheme how long a payment takes.",
            "law",
            ("Finance Act 2004 Sch.29 para 4A",) if drawn.tax_free else ("Finance Act 2004 s.165",),
            doer.place,
            drawn.gross,
            name,
        )
    if record.from_isa >= POUND:
        yield Step(
            "take_from_isa",
            last,
            "Withdrawal from an ISA",
            f"{by}, the plan takes {rounded_pounds(record.from_isa)} from {doer.your} ISAs for spending. Only a flexible ISA "
            "lets the money be put back in the same tax year.",
            "law",
            ("SI 1998/1870 reg.5DDB",),
            doer.place,
            record.from_isa,
            name,
        )
    if record.subscribed:
        yield Step(
            "pay_into_isa",
            last,
            "Payment into an ISA",
            f"{by}, the plan pays {rounded_pounds(record.subscribed)} into {doer.your} ISAs. Allowance of {name} that is not "
            "used then is lost.",
            "law",
            ("SI 1998/1870 reg.4ZA",),
            doer.place,
            record.subscribed,
            name,
        )


def _paid_in(doer: _Doer, member: Member, year: ScheduleYear, start: date) -> Iterator[Step]:
    """What is paid into pensions in a tax year from the plan's start on, and how far one's own contributions have relief; only of
    contributions that the plan counts."""
    first, last = max(start, year.period.first), year.period.last
    own, others = 0, 0
    for paid in member.contributions_in_plans:
        amount = paid.within(first, last).between(*_tax_year(year))
        own, others = (own + amount, others) if paid.payer == "self" else (own, others + amount)
    if own + others < POUND:
        return
    relief = year.period.rules.relief
    limit = (
        f"Own contributions get tax relief up to the year's earnings, or {rounded_pounds(relief.basic_amount)} if that is more, "
        f"and none from age {relief.ends_at_age} on."
    )
    by_others = f", {rounded_pounds(others) if own else 'all'} of it by an employer or another" if others else ""
    yield Step(
        "pay_into_pension",
        last,
        "Payment into the pension",
        f"By {day_month_year(last)}, {rounded_pounds(own + others)} is paid into {doer.your} pensions{by_others}. "
        f"{limit if own else 'Contributions of an employer use the annual allowance too.'}",
        "law",
        ("Finance Act 2004 ss.188-190",) if own else ("Finance Act 2004 s.233",),
        doer.place,
        own + others,
        year.period.name,
    )


def _tax_year(year: ScheduleYear) -> tuple[date, date]:
    figures = year.period.rules.figures
    return figures.start, figures.end


def _before_first_income(doer: _Doer, year: ScheduleYear, start: date) -> Step:
    """What may still be paid in before the money purchase annual allowance applies (FA 2004 ss.227B, 227G)."""
    limit = rounded_pounds(year.period.rules.money_purchase_annual_allowance)
    return Step(
        "check_contributions_first",
        max(start, _months_before(year.period.last, 1)),
        "Contributions before the first income",
        f"After the first flexible payment to {doer.you}, paying more than {limit} a year into money purchase "
        "pensions brings a tax charge. Check what is still to be paid in before, also by an employer.",
        "law",
        ("Finance Act 2004 ss.227ZA-227G",),
        doer.place,
        tax_year=year.period.name,
    )


def _guidance(doer: _Doer, member: Member, year: ScheduleYear, start: date) -> Iterator[Step]:
    age = year.period.rules.figures.count("pension.guidance_age")
    day = max(start, _months_before(year.period.last, 1), birthday(member.date_of_birth, age))
    yield Step(
        "book_guidance",
        day,
        "Free guidance",
        f"From {age} on, {doer.you} can usually have a free Pension Wise appointment before a pension is first accessed. It is "
        "booked with MoneyHelper.",
        "guidance",
        ("Financial Guidance and Claims Act 2018", "FCA Handbook COBS 19.7"),
        doer.place,
        tax_year=year.period.name,
    )


def _certificate(
    doer: _Doer, year: ScheduleYear, found: dict[tuple[str, int | None], ClientWarning], start: date
) -> Iterator[Step]:
    """The application for a certificate, where the plan's warnings say that it would help or may."""
    helps = found.get(("transitional_certificate_worth_considering", doer.place))
    unknown = found.get(("tax_free_received_before_april_2024_decides", doer.place))
    if helps is None and unknown is None:
        return
    months = year.period.rules.figures.count(_CERTIFICATE_MONTHS)
    day = max(start, _months_before(year.period.last, months))
    if helps is not None:
        gained = helps.money["allowance_gained_by_certificate"]
        yield Step(
            "apply_for_certificate",
            day,
            "Application for a certificate",
            f"A transitional tax-free amount certificate would leave {rounded_pounds(gained)} more allowance. It must be applied "
            f"for before the first lump sum, with full evidence. The scheme has {months} months to decide.",
            "law",
            helps.sources,
            doer.place,
            gained,
            year.period.name,
        )
    elif unknown is not None:
        yield Step(
            "find_tax_free_received",
            day,
            "Earlier tax-free cash",
            "Ask earlier schemes how much was paid tax free before 6 April 2024. If it is less than assumed, a certificate "
            "leaves more allowance. It must be applied for before the first lump sum.",
            "law",
            unknown.sources,
            doer.place,
            tax_year=year.period.name,
        )


def _claim(doer: _Doer, member: Member, year: ScheduleYear, one: SchedulePerson) -> Iterator[Step]:
    """The claim for tax that an emergency code takes too much from the first taxable payment."""
    record, period = one.record, year.period
    kinds = {
        income.kind
        for income in member.income
        if (income.first is None or income.first <= period.last)
        and (income.last is None or income.last >= period.first)
        and (income.kind != "state_pension" or record.opened.year.state_pension)
    }
    payroll = payroll_outcome(
        "ufpls" if record.tax_free else "drawdown",
        Payment(one.withdrawal.gross, one.withdrawal.tax_free, one.withdrawal.taxable),
        None,
        period.rules,
        person=Person(member.date_of_birth, member.tax_residence, tuple(Income(kind, POUND) for kind in sorted(kinds))),
        tax_before=record.opened.taxed(0, record.chosen_claim).total,
        tax_after=record.liability.total,
        emptied=one.pension.closing == 0,
    )
    if payroll.over_deducted < POUND:
        return
    yield Step(
        "claim_tax_back",
        period.last,
        "Claim for tax deducted in excess",
        f"If the provider uses the emergency code, about {rounded_pounds(payroll.over_deducted)} too much is deducted from the "
        f"payment to {doer.you}. {payroll.reclaim.reason}",
        "guidance",
        ("PAYE Regulations 2003 reg.58", "HMRC PAYE Manual PAYE94055", "Taxes Management Act 1970 Sch.1AB para 3(1)"),
        doer.place,
        payroll.over_deducted,
        period.name,
    )


def _tell_other_schemes(doer: _Doer, year: ScheduleYear) -> Step:
    figures = year.period.rules.figures
    statement = figures.count("pension.flexible_access_statement_days")
    days = figures.count("pension.notice_to_other_schemes_days")
    return Step(
        "tell_other_schemes",
        year.period.last + timedelta(days=statement + days),
        "Notice to other schemes",
        f"{doer.who} must tell every other scheme {doer.does('you pay', 'they pay')} into, within {days} days of getting the "
        f"scheme's statement. The scheme sends it within {statement} days of the first flexible access.",
        "law",
        ("SI 2006/567 regs 14ZA-14ZB", "HMRC Pensions Tax Manual PTM166200", "HMRC Pensions Tax Manual PTM166400"),
        doer.place,
        tax_year=year.period.name,
    )


def _nominations(result: Schedule, doer: _Doer, until: date) -> Iterator[Step]:
    """A look at who is nominated, before unused pensions come to count in estates or within a year of the start."""
    start = result.question.household.start
    first = result.years[0].people[doer.place]
    if not first.pension.opening:
        return
    changed = next(
        (
            year.period.first
            for year, before in zip(result.years[1:], result.years, strict=False)
            if year.period.rules.inheritance_tax.unused_pensions_in_estate
            and not before.period.rules.inheritance_tax.unused_pensions_in_estate
        ),
        None,
    )
    if changed is not None and changed <= until:
        why = (
            f"From {day_month_year(changed)}, unused pension funds are included in the estate. Check who is nominated for "
            f"{doer.your} pension and what the will says."
        )
        yield Step(
            "review_nominations",
            changed - timedelta(days=1),
            "Review of nominations",
            why,
            "law",
            ("Finance Act 2004 Sch.28 Part 2", "Finance Act 2026 ss.66-71"),
            doer.place,
        )
    else:
        yield Step(
            "review_nominations",
            min(birthday(start, 1), until),
            "Review of nominations",
            f"Check who is nominated for {doer.your} pension and whether the scheme still holds that nomination.",
            "practice",
            (),
            doer.place,
        )


def _after_budgets(start: date, until: date) -> Iterator[Step]:
    for year in range(start.year, until.year + 1):
        day = date(year, *_BUDGET_TOLD_BY)
        if start <= day:
            yield Step(
                "look_again_after_budget",
                day,
                "Review after the Budget",
                "An autumn Budget may have changed rates or limits from next April. Ask for this plan again with the new figures "
                "and with what is held by then.",
                "practice",
            )


def _tax_year_ends(year: ScheduleYear) -> Step:
    unused = sum(one.isa_unused for one in year.people if one.isa_unused >= POUND)
    left = (
        f"In this plan, {rounded_pounds(unused)} of ISA allowance stays unused and is lost."
        if unused
        else "In this plan, all ISA allowance is used."
    )
    return Step(
        "tax_year_ends",
        year.period.last,
        "Check at the end of the tax year",
        f"Check that this year's payments have arrived, and keep their records. {left} Unused personal allowance cannot be "
        "carried forward either.",
        "law",
        ("SI 1998/1870 reg.4ZA", "Income Tax Act 2007 s.35"),
        tax_year=year.period.name,
    )


def _marriage_allowance(people: Sequence[Member], year: ScheduleYear) -> Iterator[Step]:
    """The claim that the plan chose for a tax year, once the year's incomes are known (Income Tax Act 2007 ss.55C, 55D)."""
    claim = chosen_claim(year)
    if claim is None:
        return
    giver, receiver = (inside(who(place, len(people), people[place].name)) for place in (claim.giver, claim.receiver))
    figures = year.period.rules.figures
    yield Step(
        "claim_marriage_allowance",
        figures.end + timedelta(days=1),
        "Claim for the marriage allowance",
        f"Once the tax year has ended, {giver} can claim the marriage allowance for it, for up to {figures.count(_CLAIM_YEARS)} "
        f"years. The claim takes {rounded_pounds(claim.taken_off)} off the tax of {receiver}. A claim made before the year ends "
        "goes on in later years until it is cancelled.",
        "law",
        ("Income Tax Act 2007 ss.55B-55D",),
        claim.giver,
        claim.saved,
        year.period.name,
    )


def _months_before(day: date, months: int) -> date:
    """The same day of the month so many months before, or the last of a shorter month."""
    number = day.year * _MONTHS_OF_A_YEAR + day.month - 1 - months
    year, month = divmod(number, _MONTHS_OF_A_YEAR)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))

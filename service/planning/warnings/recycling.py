"""Tax-free cash that goes back into a pension (Finance Act 2004 Sch.29 para 3A; HMRC PTM133800-133860)."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from typing import NamedTuple

from service.figures import tax_years
from service.law.ages import birthday
from service.law.lump_sums import PENSION_COMMENCEMENT
from service.law.rounding import down_to_the_penny
from service.law.unauthorised_payments import UnauthorisedPayment, reference_periods
from service.law.units import WHOLE, Pence, Years
from service.planning.warnings.circumstances import PersonCase, Taken, YearFacts
from service.planning.warnings.topic import Entry, Topic
from service.planning.warnings.warning import Found
from service.planning.wording import per_cent, pounds

TOPIC: Topic = Topic()

_LIMIT, _SHARE, _WINDOW = (
    "pension.recycling_lump_sum_limit",
    "pension.recycling_increase_share",
    "pension.recycling_window_years",
)
_RESTS_ON = (_LIMIT, _SHARE, _WINDOW)


class LumpSum(NamedTuple):
    """A lump sum with those of the twelve months that end with it, and the contributions of its five tax years."""

    year: YearFacts
    taken: Taken
    in_twelve_months: Pence
    contributions: Pence
    tax_years_of_saving: int


def _lump_sums(case: PersonCase) -> Iterator[LumpSum]:
    """Each lump sum that is over the limit with those of the twelve months before."""
    saving = case.person.saving
    assert saving is not None
    all_taken = [
        (year, taken)
        for year in case.years
        for taken in year.taken
        # Before the minimum age it is no such lump sum, and is charged for that.
        # A UFPLS and a small pot are outside the rule.
        if taken.method in PENSION_COMMENCEMENT and not year.too_early(taken)
    ]
    days = [_day(year, taken) for year, taken in all_taken]
    for (year, taken), day in zip(all_taken, days, strict=True):
        year_before = birthday(day, -1)
        total = sum(
            other.payment.tax_free
            for (_, other), its_day in zip(all_taken, days, strict=True)
            if year_before < its_day <= day
        )
        if min(days) > year_before:
            total += saving.lump_sums_before
        if taken.payment.tax_free and total > year.figures.money(_LIMIT):
            window = _in_window(saving.paid_in, year.name, year.figures.count(_WINDOW))
            yield LumpSum(year, taken, total, sum(window), len(window))


def _day(year: YearFacts, taken: Taken) -> date:
    """The day of a lump sum; a quote need not give it, and has no other one."""
    return taken.day or year.figures.start


def _in_window(paid_in: Mapping[str, Pence], middle: str, years: Years) -> list[Pence]:
    return [amount for name, amount in paid_in.items() if abs(tax_years.between(name, middle)) <= years]


class Charged(NamedTuple):
    """The charges on a lump sum that counts as an unauthorised payment, in all, and in words."""

    amount: Pence
    surcharged: bool
    told: str


class Increase(NamedTuple):
    """A lump sum around which saving rises by more than the share of what is usual and of the lump sum; pence."""

    lump_sum: LumpSum
    usual: Pence
    extra: Pence
    part: Pence

    @property
    def told(self) -> str:
        """The amounts as a sentence."""
        figures, of = self.lump_sum.year.figures, self.lump_sum
        return (
            f"Tax-free lump sums of {pounds(of.in_twelve_months)} in 12 months exceed {pounds(figures.money(_LIMIT))}. "
            f"Contributions of {pounds(of.contributions)} are {pounds(self.extra)} above the usual {pounds(self.usual)}. "
            f"This is more than {per_cent(figures.rate(_SHARE))} of the usual amount and more than "
            f"{per_cent(figures.rate(_SHARE))} of the lump sum ({pounds(self.part)})."
        )

    @property
    def charged(self) -> Charged:
        """The charges if the lump sum is an unauthorised payment. Its share of the fund is taken just before it is paid, our
        choice: by law it counts as paid when all conditions are met, which may be later."""
        figures, taken = self.lump_sum.year.figures, self.lump_sum.taken
        charge, surcharge = (
            figures.rate("pension.unauthorised_payment_charge"),
            figures.rate("pension.unauthorised_payment_surcharge"),
        )
        held = taken.before.uncrystallised + taken.before.drawdown
        (period,) = reference_periods(
            [UnauthorisedPayment(_day(self.lump_sum.year, taken), taken.payment.tax_free, held)],
            figures.rate("pension.unauthorised_payment_surcharge_share"),
        )
        amount = period.charges(charge, surcharge)
        told = (
            f"a {per_cent(charge)} charge and a {per_cent(surcharge)} surcharge, {pounds(amount)} in all"
            if period.surcharged
            else f"a {per_cent(charge)} charge, {pounds(amount)}"
        )
        return Charged(amount, period.surcharged, told)

    @property
    def money(self) -> dict[str, Pence]:
        """The amounts by name."""
        return {
            "lump_sums_in_12_months": self.lump_sum.in_twelve_months,
            "contributions_in_recycling_window": self.lump_sum.contributions,
            "usual_contributions_in_recycling_window": self.usual,
            "contributions_above_usual": self.extra,
            "increase_threshold_by_lump_sums": self.part,
        }


def _part(lump_sum: LumpSum) -> Pence:
    """The share of the lump sums that an increase must exceed; pence."""
    return down_to_the_penny(lump_sum.in_twelve_months * lump_sum.year.figures.rate(_SHARE))


def _increase(case: PersonCase) -> Increase | None:
    """The first lump sum for which the amounts are those of the rule; None where usual saving was not given."""
    saving = case.person.saving
    if saving is None or saving.usual is None:
        return None
    for lump_sum in _lump_sums(case):
        usual = saving.usual * lump_sum.tax_years_of_saving
        extra, part = lump_sum.contributions - usual, _part(lump_sum)
        if extra * WHOLE > usual * lump_sum.year.figures.rate(_SHARE) and extra > part:
            return Increase(lump_sum, usual, extra, part)
    return None


@TOPIC.of_a_person(
    "recycling_rule_applies",
    "not_permitted",
    "The lump sum is treated as recycled",
    "Lump sums of twelve months exceed the limit, and this was planned. Contributions around them rise by more than the "
    "share of the usual and of the lump sum.",
    facts=(
        "withdrawals.method",
        "withdrawals.amount",
        "circumstances.lump_sums_in_last_12_months",
        "contributions",
        "circumstances.usual_contributions",
        "circumstances.contribution_increase_planned",
    ),
    sources=("Finance Act 2004 Sch.29 para 3A", "Finance Act 2006 s.159", "HMRC Pensions Tax Manual PTM133800-133860"),
    figures={
        "lump_sums_in_12_months": "pounds",
        "contributions_in_recycling_window": "pounds",
        "usual_contributions_in_recycling_window": "pounds",
        "contributions_above_usual": "pounds",
        "increase_threshold_by_lump_sums": "pounds",
        "unauthorised_payment": "pounds",
        "recycling_lump_sum_limit": "pounds",
        "recycling_increase_share": "fraction",
        "recycling_window_years": "years",
    },
    severity="lasting",
)
def recycling_rule_applies(case: PersonCase, entry: Entry) -> Found:
    """All conditions hold: the whole lump sum is an unauthorised payment."""
    found = _applies(case)
    if found is None:
        return ()
    taken = found.lump_sum.taken
    return entry.warn(
        f"{found.told} As this was planned, the whole lump sum of {pounds(taken.payment.tax_free)} is treated as an "
        "unauthorised payment.",
        taken.path,
        about=case.person,
        figures=found.lump_sum.year.figures,
        rests_on=_RESTS_ON,
        money={**found.money, "unauthorised_payment": taken.payment.tax_free},
        cost=found.charged.amount,
    )


@TOPIC.of_a_person(
    "recycling_charges",
    "costs",
    "Tax charges on the recycled lump sum",
    "The recycling rule applies; a surcharge is added where the lump sum is a large share of the fund.",
    facts=("withdrawals.amount", "contributions", "circumstances.contribution_increase_planned"),
    sources=(
        "Finance Act 2004 Sch.29 para 3A, ss.208-210 and 213",
        "HMRC Pensions Tax Manual PTM133840, PTM134400",
    ),
    figures={
        "unauthorised_payment": "pounds",
        "tax_charges": "pounds",
        "unauthorised_payment_charge": "fraction",
        "unauthorised_payment_surcharge": "fraction",
        "unauthorised_payment_surcharge_share": "fraction",
    },
)
def recycling_charges(case: PersonCase, entry: Entry) -> Found:
    """What the charges on a recycled lump sum come to."""
    found = _applies(case)
    if found is None:
        return ()
    figures, amount, charged = found.lump_sum.year.figures, found.lump_sum.taken.payment.tax_free, found.charged
    detail = f"The lump sum of {pounds(amount)} brings {charged.told}, reported on a tax return. "
    if charged.surcharged:
        share = figures.rate("pension.unauthorised_payment_surcharge_share")
        detail += f"The surcharge applies because it is {per_cent(share)} or more of the fund. "
    return entry.warn(
        f"{detail}Tax is due for the year in which the last condition of the recycling rule is met.",
        found.lump_sum.taken.path,
        about=case.person,
        figures=figures,
        rests_on=(
            "pension.unauthorised_payment_charge",
            "pension.unauthorised_payment_surcharge",
            "pension.unauthorised_payment_surcharge_share",
        ),
        money={"unauthorised_payment": amount, "tax_charges": charged.amount},
        cost=charged.amount,
    )


def _applies(case: PersonCase) -> Increase | None:
    saving = case.person.saving
    return None if saving is None or not saving.planned else _increase(case)


@TOPIC.of_a_person(
    "recycling_may_apply",
    "check",
    "The recycling rule may apply",
    "The amounts are those of the recycling rule, and whether the rise was planned is not given.",
    facts=(
        "withdrawals.method",
        "withdrawals.amount",
        "circumstances.lump_sums_in_last_12_months",
        "contributions",
        "circumstances.usual_contributions",
        "circumstances.contribution_increase_planned",
    ),
    sources=("Finance Act 2004 Sch.29 para 3A", "Finance Act 2006 s.159", "HMRC Pensions Tax Manual PTM133800-133860"),
    figures={
        "lump_sums_in_12_months": "pounds",
        "contributions_in_recycling_window": "pounds",
        "usual_contributions_in_recycling_window": "pounds",
        "contributions_above_usual": "pounds",
        "increase_threshold_by_lump_sums": "pounds",
        "tax_charges_if_planned": "pounds",
        "recycling_lump_sum_limit": "pounds",
        "recycling_increase_share": "fraction",
        "recycling_window_years": "years",
    },
)
def recycling_may_apply(case: PersonCase, entry: Entry) -> Found:
    """All conditions hold but one that was not given: whether the increase was planned."""
    saving = case.person.saving
    if saving is None or saving.planned is not None or (found := _increase(case)) is None:
        return ()
    return entry.warn(
        f"{found.told} If this was planned when the lump sum was taken, it brings {found.charged.told}. We were not told. Keep "
        "a record of the reason for the contributions.",
        (*case.person.path, "circumstances", "contribution_increase_planned"),
        about=case.person,
        figures=found.lump_sum.year.figures,
        rests_on=_RESTS_ON,
        money={**found.money, "tax_charges_if_planned": found.charged.amount},
    )


@TOPIC.of_a_person(
    "usual_contributions_not_given",
    "check",
    "Usual contributions matter for the recycling rule",
    "Lump sums exceed the limit and contributions the share of them, and usual contributions are not given.",
    facts=("circumstances.usual_contributions", "contributions", "withdrawals.method", "withdrawals.amount"),
    sources=("Finance Act 2004 Sch.29 para 3A", "HMRC Pensions Tax Manual PTM133830"),
    figures={
        "lump_sums_in_12_months": "pounds",
        "contributions_in_recycling_window": "pounds",
        "increase_threshold_by_lump_sums": "pounds",
        "recycling_lump_sum_limit": "pounds",
        "recycling_increase_share": "fraction",
        "recycling_window_years": "years",
    },
)
def usual_contributions_not_given(case: PersonCase, entry: Entry) -> Found:
    """Enough is saved around a lump sum, and what is usual was not given."""
    saving = case.person.saving
    if saving is None or saving.usual is not None or saving.planned is False:
        return ()
    lump_sum = next((one for one in _lump_sums(case) if one.contributions > _part(one)), None)
    if lump_sum is None:
        return ()
    figures, part = lump_sum.year.figures, _part(lump_sum)
    return entry.warn(
        f"Tax-free lump sums of {pounds(lump_sum.in_twelve_months)} in 12 months exceed {pounds(figures.money(_LIMIT))}, and "
        f"{pounds(lump_sum.contributions)} is paid in around them. The recycling rule needs a rise above "
        f"{per_cent(figures.rate(_SHARE))} of usual contributions, and above the same share of the lump sum, {pounds(part)}. We "
        "were not told what is usual.",
        (*case.person.path, "circumstances", "usual_contributions"),
        about=case.person,
        figures=figures,
        not_given=True,
        rests_on=_RESTS_ON,
        money={
            "lump_sums_in_12_months": lump_sum.in_twelve_months,
            "contributions_in_recycling_window": lump_sum.contributions,
            "increase_threshold_by_lump_sums": part,
        },
    )

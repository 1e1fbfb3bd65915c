"""What a beneficiary keeps of unused pension money: inheritance tax first, then income tax on what is not tax free.

ITEPA 2003 ss.567B, 637H-637M, 637R-637T; Finance Act 2004 s.206; Taxation of Pensions Act 2014 Sch.2. All amounts are
pence. Whoever receives the money bears the inheritance tax on it: where executors pay that from the rest of the estate and do
not recover it, nothing is deducted (s.567B).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple, get_args

from service.figures.loader import TaxYearFigures
from service.law.lump_sums import Allowances
from service.law.rounding import down_to_the_penny, years_tax_to_the_penny
from service.law.units import BasisPoints, Pence, Years

Form = Literal["lump_sum", "drawdown"]
"""How a beneficiary is paid; an annuity is taxed like drawdown."""

FORMS: tuple[Form, ...] = get_args(Form)


@dataclass(frozen=True, slots=True)
class DeathBenefitRules:
    """One tax year's figures: ``special_charge`` is the rate on taxable lump sums to non-qualifying persons;
    ``taxed_from_age`` the member's age at death from which all of it is the beneficiary's income."""

    special_charge: BasisPoints
    taxed_from_age: Years


@dataclass(frozen=True, slots=True)
class DeathBenefit:
    """Pension money that one beneficiary receives after a member's death.

    ``form`` is "lump_sum" or "drawdown" (an annuity is taxed like it). ``member_age`` is in whole years at death.
    ``within_two_years``: paid or designated within two years of the day the scheme administrator first knew, or could
    have known, of the death. ``inheritance_tax`` is what of the estate's tax this money bears. ``qualifying`` is false
    for trustees, companies and other non-qualifying persons, who can only receive a lump sum. ``already_in_drawdown`` is
    what of the amount was in drawdown at the death.

    ValueError for an unknown form, an amount or age below nought, more tax than money, more in drawdown than there is, and
    drawdown for a non-qualifying person.
    """

    amount: Pence
    form: Form
    member_age: Years
    within_two_years: bool
    inheritance_tax: Pence = 0
    qualifying: bool = True
    already_in_drawdown: Pence = 0

    def __post_init__(self) -> None:
        if self.form not in FORMS:
            raise ValueError(f"form must be one of {', '.join(FORMS)}")
        if min(self.amount, self.member_age, self.inheritance_tax, self.already_in_drawdown) < 0:
            raise ValueError("amounts and ages must not be negative")
        if self.inheritance_tax > self.amount:
            raise ValueError("the inheritance tax is more than the amount it is paid from")
        if self.already_in_drawdown > self.amount:
            raise ValueError("more was in drawdown than the amount")
        if not self.qualifying and self.form != "lump_sum":
            raise ValueError("a non-qualifying person can only receive a lump sum")


class Received(NamedTuple):
    """``amount`` = ``inheritance_tax`` + ``tax_free`` + ``taxable``; ``net`` is what both taxes leave.

    ``rate`` is the rate of ``income_tax``, or of the special charge. ``allowance_used`` is what this payment takes of
    the member's lump sum and death benefit allowance; the next beneficiary's payment has that much less.
    """

    amount: Pence
    inheritance_tax: Pence
    tax_free: Pence
    taxable: Pence
    rate: BasisPoints
    income_tax: Pence
    net: Pence
    allowance_used: Pence


def rules_for(figures: TaxYearFigures) -> DeathBenefitRules:
    """One year's rules from its figures."""
    return DeathBenefitRules(
        special_charge=figures.rate("pension.special_lump_sum_death_benefits_charge"),
        taxed_from_age=figures.count("pension.beneficiaries_taxed_from_age"),
    )


def tax_free_part(
    benefit: DeathBenefit, after_inheritance_tax: Pence, rules: DeathBenefitRules, left: Allowances
) -> Pence:
    """What of the money that inheritance tax leaves is free of income tax; ``left`` is what the member's allowances left.

    At 75 and over none of it is. Under 75, within two years, all of it is, but a lump sum only up to the lump sum and death
    benefit allowance (ss.637R, 637S); drawdown is not tested (HMRC PTM072430). That inheritance tax comes off before that
    test is our reading of s.637T.

    After two years only drawdown from funds that were in drawdown already is free: for drawdown the two years are a condition of
    uncrystallised funds alone (Taxation of Pensions Act 2014 Sch.2 para 25). Those funds bear inheritance tax by value, to
    the penny above: our choice.

    Before 6 April 2024 the lifetime allowance was the limit instead. What is within it is tax free as now. What is over it
    was tested only if it had not been crystallised before, and then bore a charge, or in 2023-24 income tax, which is not
    computed here: ValueError.
    """
    if benefit.member_age >= rules.taxed_from_age:
        return 0
    if not benefit.within_two_years:
        in_time = benefit.already_in_drawdown if benefit.form == "drawdown" else 0
        return after_inheritance_tax * in_time // benefit.amount if in_time else 0
    if left.lump_sum_and_death_benefit_allowance is not None:
        if benefit.form == "drawdown":
            return after_inheritance_tax
        return min(after_inheritance_tax, left.lump_sum_and_death_benefit_allowance)
    if left.lifetime_allowance is not None and after_inheritance_tax > left.lifetime_allowance:
        raise ValueError("death benefits over the lifetime allowance, before 6 April 2024, are not computed")
    return after_inheritance_tax


def received(
    benefit: DeathBenefit, beneficiary_rate: BasisPoints, rules: DeathBenefitRules, left: Allowances
) -> Received:
    """What a beneficiary keeps. ``beneficiary_rate`` is the income tax rate on the taxable part, in basis points.

    Inheritance tax paid on the money is deducted from what income tax is charged on (s.567B), and before the special
    charge too, our reading: s.567B speaks of taxable pension income alone. One rate stands for all of a beneficiary's
    income tax: a large sum taken at once may reach higher bands, which ``income_tax.liability`` computes. Income tax is to
    the nearest penny, the special charge down to it. ValueError as in ``tax_free_part``.
    """
    rest = benefit.amount - benefit.inheritance_tax
    tax_free = tax_free_part(benefit, rest, rules, left)
    taxable = rest - tax_free
    if benefit.qualifying:
        rate = beneficiary_rate
        income_tax = years_tax_to_the_penny(taxable * rate)
    else:
        rate = rules.special_charge
        income_tax = down_to_the_penny(taxable * rate)
    tested = benefit.form == "lump_sum"
    return Received(
        amount=benefit.amount,
        inheritance_tax=benefit.inheritance_tax,
        tax_free=tax_free,
        taxable=taxable,
        rate=rate,
        income_tax=income_tax,
        net=rest - income_tax,
        allowance_used=tax_free if tested else 0,
    )

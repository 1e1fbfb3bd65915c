"""What part of a pension payment is tax free, what is taxed as income, and what the lump sum allowances leave.

Finance Act 2004 Sch.29 and Sch.36; ITEPA 2003 ss.637A-637S; Finance Act 2024 Sch.9. Three regimes follow one another:
to 2022-23 the lifetime allowance with its charge, in 2023-24 the lifetime allowance without a charge, from 2024-25 the
lump sum allowance and the lump sum and death benefit allowance. All amounts are pence.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, cast, get_args

from service.figures.keys import LumpSumRegime
from service.figures.loader import TaxYearFigures
from service.law.rounding import down_to_the_penny, half_up
from service.law.units import WHOLE, BasisPoints, Pence, Years
from service.law.value import Value

Method = Literal["pcls", "pcls_and_drawdown", "ufpls", "drawdown", "small_pot"]
"""A way to take money: a pension commencement lump sum alone or with the drawdown that it opens, an uncrystallised funds
pension lump sum, income from drawdown funds, a small pot lump sum."""

METHODS: tuple[Method, ...] = get_args(Method)

PENSION_COMMENCEMENT: tuple[Method, ...] = ("pcls", "pcls_and_drawdown")
"""The methods that pay a pension commencement lump sum."""

_TESTED_UNTIL = "pension.lifetime_allowance_tested_until_age"


class Pension(Value, frozen=True):
    """A money purchase pension and what has been used of the allowances. ``lifetime_allowance_used`` is in hundredths
    of a per cent (4,000 is 40%), for benefits before 6 April 2024. ``protected_tax_free_share`` is the share of the
    uncrystallised funds that the scheme protects as a lump sum, 0 where it protects none."""

    uncrystallised: Pence
    drawdown: Pence = 0
    lump_sum_allowance_used: Pence = 0
    lump_sum_and_death_benefit_allowance_used: Pence | None = None
    lifetime_allowance_used: BasisPoints = 0
    protected_lump_sum_allowance: Pence | None = None
    protected_lump_sum_and_death_benefit_allowance: Pence | None = None
    flexibly_accessed: bool = False
    protected_pension_age: Years | None = None
    protected_tax_free_share: BasisPoints = 0

    def holding(self, uncrystallised: Pence, drawdown: Pence) -> Pension:
        """The same pension with other funds. Written out, because plans over years make so many."""
        return Pension(
            uncrystallised,
            drawdown,
            self.lump_sum_allowance_used,
            self.lump_sum_and_death_benefit_allowance_used,
            self.lifetime_allowance_used,
            self.protected_lump_sum_allowance,
            self.protected_lump_sum_and_death_benefit_allowance,
            self.flexibly_accessed,
            self.protected_pension_age,
            self.protected_tax_free_share,
        )


@dataclass(frozen=True, slots=True)
class LumpSumRules:
    """One tax year's lump sum figures. A figure that did not exist in the year is None. ``tested_until_age`` is the age from
    which a payment is not tested against the lifetime allowance, and ``tested`` whether it is."""

    regime: LumpSumRegime
    tax_free_rate: BasisPoints
    small_pot_limit: Pence
    lifetime_allowance: Pence | None
    charge_on_lump_sum: BasisPoints
    charge_on_retained: BasisPoints
    lump_sum_allowance: Pence | None
    lump_sum_and_death_benefit_allowance: Pence | None
    standard_lifetime_allowance_before_2024: Pence
    tested_until_age: Years | None = None
    tested: bool = True


class Allowances(Value, frozen=True):
    """What is left before a payment. ``tax_free`` is the most that may be paid tax free."""

    tax_free: Pence
    lifetime_allowance: Pence | None
    lump_sum_allowance: Pence | None
    lump_sum_and_death_benefit_allowance: Pence | None


class Payment(Value, frozen=True):
    """A pension payment taken apart: ``gross`` = ``tax_free`` + ``taxable`` + ``excess``.

    ``excess`` is the part that is neither tax free nor income (to 2022-23): all that is over the lifetime allowance
    where that is paid as a lump sum and bears 55%, or the charge of 25% itself where it is kept for income. ``charge``
    is the lifetime allowance charge. ``from_*`` says which funds it leaves, ``designated`` what moves from
    uncrystallised funds to drawdown and stays there. ``excess_lump_sum`` is the part that is a lifetime allowance excess
    lump sum, and no uncrystallised funds pension lump sum (to 2023-24).
    """

    gross: Pence
    tax_free: Pence
    taxable: Pence
    excess: Pence = 0
    charge: Pence = 0
    charge_rate: BasisPoints = 0
    crystallised: Pence = 0
    over_lifetime_allowance: Pence = 0
    designated: Pence = 0
    from_uncrystallised: Pence = 0
    from_drawdown: Pence = 0
    excess_lump_sum: Pence = 0

    @property
    def gives_income(self) -> bool:
        """Whether any of it is pension income other than by a lifetime allowance excess lump sum, which opens no flexible
        access (FA 2004 s.227G; Sch.29 para 11 as it stood)."""
        return self.taxable > 0 and self.excess_lump_sum < self.gross


def rules_for(figures: TaxYearFigures) -> LumpSumRules:
    """One year's lump sum rules from its figures."""

    def money(name: str) -> Pence | None:
        return figures.money(f"pension.{name}") if figures.has(f"pension.{name}") else None

    def rate(name: str) -> BasisPoints:
        return figures.rate(f"pension.{name}") if figures.has(f"pension.{name}") else 0

    return LumpSumRules(
        regime=cast(LumpSumRegime, figures.text("pension.lump_sum_regime")),
        tax_free_rate=figures.rate("pension.tax_free_fraction"),
        small_pot_limit=figures.money("pension.small_pot_limit"),
        lifetime_allowance=money("lifetime_allowance"),
        charge_on_lump_sum=rate("lifetime_allowance_charge_lump_sum"),
        charge_on_retained=rate("lifetime_allowance_charge_retained"),
        lump_sum_allowance=money("lump_sum_allowance"),
        lump_sum_and_death_benefit_allowance=money("lump_sum_and_death_benefit_allowance"),
        standard_lifetime_allowance_before_2024=(
            money("standard_lifetime_allowance_before_2024") or money("lifetime_allowance") or 0
        ),
        tested_until_age=figures.count(_TESTED_UNTIL) if figures.has(_TESTED_UNTIL) else None,
    )


def at_age(rules: LumpSumRules, age: Years) -> LumpSumRules:
    """The rules for a payment to somebody of an age, whole years on its day.

    From the 75th birthday no payment of a money purchase pension is tested against the lifetime allowance, so none is charged
    (FA 2004 s.216(1), Sch.32 para 2; HMRC PTM088650). What is left of the allowance still limits the tax-free part. How far
    the test at 75 itself used it is the scheme's to say; here it is what was given as used, which is our choice.
    """
    if rules.tested_until_age is None or age < rules.tested_until_age:
        return rules
    return replace(rules, regime="lifetime_allowance_no_charge", tested=False)


def quarter(amount: Pence, rules: LumpSumRules) -> Pence:
    """The tax-free quarter of a crystallisation, down to the penny so that it never exceeds 25%."""
    return down_to_the_penny(amount * rules.tax_free_rate)


def personal_lifetime_allowance(pension: Pension, rules: LumpSumRules) -> Pence:
    """The standard lifetime allowance, or four times a protected lump sum allowance (Sch.36; FA 2024 Sch.9 para 126)."""
    if pension.protected_lump_sum_allowance is not None:
        protected = pension.protected_lump_sum_allowance * WHOLE // rules.tax_free_rate
        return max(protected, rules.standard_lifetime_allowance_before_2024)
    return rules.standard_lifetime_allowance_before_2024


def percentage_used(crystallised: Pence, lifetime_allowance: Pence) -> BasisPoints:
    """The share of the lifetime allowance an event uses, in hundredths of a per cent, dropped (HMRC RPSM12306030)."""
    return crystallised * WHOLE // lifetime_allowance


def most_dropped(pension: Pension, rules: LumpSumRules) -> Pence:
    """Of the tax-free part of one event before 6 April 2024, what ``percentage_used`` may leave uncounted at the most."""
    return quarter(-(-personal_lifetime_allowance(pension, rules) // WHOLE), rules)


def previously_used(pension: Pension, rules: LumpSumRules) -> Pence:
    """The lifetime allowance used by earlier benefits in money (FA 2024 Sch.9 para 125), to the nearest penny."""
    if pension.lifetime_allowance_used == 0:
        return 0
    whole = personal_lifetime_allowance(pension, rules)
    return half_up(whole * pension.lifetime_allowance_used, WHOLE)


def available(pension: Pension, rules: LumpSumRules) -> Allowances:
    """What the allowances leave before the payment."""
    used_before = previously_used(pension, rules) if pension.lifetime_allowance_used else 0
    lump_sum, death_benefit = rules.lump_sum_allowance, rules.lump_sum_and_death_benefit_allowance
    if lump_sum is None or death_benefit is None:
        left = max(0, personal_lifetime_allowance(pension, rules) - used_before)
        return Allowances(quarter(left, rules), left, None, None)
    # A protected amount below the standard one protects nothing, of either allowance.
    protected = pension.protected_lump_sum_allowance
    if protected is not None and protected > lump_sum:
        lump_sum = protected
    whole = pension.protected_lump_sum_and_death_benefit_allowance
    if whole is None:
        whole = lump_sum * WHOLE // rules.tax_free_rate
    if whole > death_benefit:
        death_benefit = whole
    used_since = pension.lump_sum_allowance_used
    used_since_of_both = pension.lump_sum_and_death_benefit_allowance_used
    lump_sum_left = lump_sum - used_since
    death_benefit_left = death_benefit - (used_since if used_since_of_both is None else used_since_of_both)
    if used_before:
        # FA 2024 Sch.9 paras 125-129: a quarter of what was used comes off both, and nothing is left of the second once
        # the whole lifetime allowance had been used.
        reduction = half_up(used_before * rules.tax_free_rate, WHOLE)
        lump_sum_left -= reduction
        death_benefit_left -= reduction
        if used_before >= personal_lifetime_allowance(pension, rules):
            death_benefit_left = 0
    if lump_sum_left < 0:
        lump_sum_left = 0
    if death_benefit_left < 0:
        death_benefit_left = 0
    tax_free = lump_sum_left if lump_sum_left < death_benefit_left else death_benefit_left
    return Allowances(tax_free, None, lump_sum_left, death_benefit_left)


def tax_free_cash_left(pension: Pension, rules: LumpSumRules, left: Allowances) -> Pence:
    """The most that may still be taken tax free from what is uncrystallised: a quarter of it, within the allowances; pence."""
    return min(quarter(pension.uncrystallised, rules), left.tax_free)


def most_permitted(method: Method, pension: Pension, rules: LumpSumRules, left: Allowances) -> Pence:
    """The most that may be taken by a method: the funds it draws on, and the limits of the payment itself; pence.

    A pcls is at most the tax-free quarter of what is left uncrystallised and what the allowances leave (Sch.29 paras
    1-3), or what the scheme protects (``protected_lump_sum``); a small pot is at most its limit (SI 2009/1171 reg.11). From
    the 75th birthday a ufpls needs some lifetime allowance, to 2023-24 (Sch.29 para 4A(1)(b) as it stood).
    """
    if method == "drawdown":
        return pension.drawdown
    if method == "small_pot":
        return min(rules.small_pot_limit, pension.uncrystallised + pension.drawdown)
    if method == "pcls":
        return max(tax_free_cash_left(pension, rules, left), protected_lump_sum(pension, rules, left))
    if method == "ufpls" and left.lifetime_allowance == 0 and not rules.tested:
        return 0
    return pension.uncrystallised


def protected_lump_sum(pension: Pension, rules: LumpSumRules, left: Allowances) -> Pence:
    """The lump sum that a scheme protects where that is more than a quarter; 0 where it protects none. Pence.

    Sch.36 paras 31-34: all pensions under the scheme have to begin on the same day, so it is only had with the whole of the
    uncrystallised funds and where nothing is in drawdown yet. From 2024-25 it needs some lump sum and death benefit
    allowance and no lump sum allowance (para 34(2)), and the allowances do not limit it (our reading, because para 34
    replaces para 2). To 2023-24 it is only counted within the lifetime allowance, which is our choice.
    """
    share = pension.protected_tax_free_share
    if share <= rules.tax_free_rate or pension.drawdown:
        return 0
    if left.lifetime_allowance is not None:
        if pension.uncrystallised > left.lifetime_allowance:
            return 0
    elif not left.lump_sum_and_death_benefit_allowance:
        return 0
    return down_to_the_penny(pension.uncrystallised * share)


def comes_with_the_last_penny(method: Method, pension: Pension, rules: LumpSumRules, left: Allowances) -> bool:
    """Whether a protected lump sum is had by a method with the whole of the uncrystallised funds, and with no less."""
    return method == "pcls_and_drawdown" and protected_lump_sum(pension, rules, left) > 0


def takes_protected_lump_sum(
    method: Method, gross: Pence, pension: Pension, rules: LumpSumRules, left: Allowances
) -> bool:
    """Whether a payment has a tax-free part that only a protected lump sum permits: it takes the whole pension on one day."""
    protected = protected_lump_sum(pension, rules, left)
    if protected == 0:
        return False
    if method == "pcls":
        return gross > tax_free_cash_left(pension, rules, left)
    return method == "pcls_and_drawdown" and gross == pension.uncrystallised


Split = tuple[Pence, Pence, Pence, Pence]
"""Taxable part, lifetime allowance charge, tax-free part and excess, pence."""


def splitter(method: Method, pension: Pension, rules: LumpSumRules, left: Allowances) -> Callable[[Pence], Split]:
    """How a gross payment of a method splits: a function of the gross amount. Each of the four parts never falls, but for the
    last penny of a pension with a protected lump sum, which turns some of the taxable part into tax-free cash."""
    rate = rules.tax_free_rate
    if method == "drawdown":
        return lambda gross: (gross, 0, 0, 0)
    if method == "pcls":
        return lambda gross: (0, 0, gross, 0)
    protected = protected_lump_sum(pension, rules, left) if method == "pcls_and_drawdown" else 0
    if protected:
        divided = splitter(method, pension._replace(protected_tax_free_share=0), rules, left)
        whole = (pension.uncrystallised - protected, 0, protected, 0)
        return lambda gross: divided(gross) if gross < pension.uncrystallised else whole
    # ITEPA 2003 ss.637A, 637D: a quarter, and no more than the allowances leave; in 2023-24 what is over the lifetime
    # allowance is pension income (F(No.2)A 2023 s.19). A small pot uses no allowance, but only what was uncrystallised
    # has a tax-free quarter (s.637G).
    most = quarter(pension.uncrystallised, rules) if method == "small_pot" else left.tax_free

    def plain(gross: Pence) -> Split:
        tax_free = gross * rate // WHOLE
        if tax_free > most:
            tax_free = most
        return gross - tax_free, 0, tax_free, 0

    allowance = left.lifetime_allowance
    if method == "small_pot" or allowance is None or rules.regime != "lifetime_allowance_charge":
        return plain

    def charged(gross: Pence) -> Split:
        over = gross - allowance
        if over <= 0:
            return plain(gross)
        tax_free = min(gross * rate // WHOLE, most)
        if method == "ufpls":
            # An excess paid as a lump sum is no UFPLS but a lifetime allowance excess lump sum (Sch.29 paras 4A(2) and 11 as
            # they stood): it bears 55% and no income tax (FA 2004 s.215(2); ITEPA 2003 s.636A(4)).
            charge = down_to_the_penny(over * rules.charge_on_lump_sum)
            return gross - tax_free - over, charge, tax_free, over
        # An excess kept for income bears 25%; what is left of it is drawn and taxed as pension income.
        charge = down_to_the_penny(over * rules.charge_on_retained)
        return gross - tax_free - charge, charge, tax_free, charge

    return charged


def gross_within(
    method: Method, pension: Pension, rules: LumpSumRules, left: Allowances
) -> Callable[[Pence], Pence] | None:
    """The largest gross payment whose taxable part is at most a given amount, as a function of that amount.

    It turns ``splitter`` round; None where a lifetime allowance charge makes that more than a division.
    """
    if method == "pcls" or (method not in ("drawdown", "small_pot") and rules.regime == "lifetime_allowance_charge"):
        return None
    if method == "drawdown":
        return lambda taxable: taxable
    most = quarter(pension.uncrystallised, rules) if method == "small_pot" else left.tax_free
    taxed = WHOLE - rules.tax_free_rate
    return lambda taxable: min(taxable * WHOLE // taxed, taxable + most)


def bends(method: Method, pension: Pension, rules: LumpSumRules, left: Allowances) -> tuple[Pence, ...]:
    """The gross payments of a method from which on more of it is divided in another way than before; pence.

    Between them each part of ``splitter`` rises evenly, but for the dropped pennies.
    """
    if method in ("drawdown", "pcls"):
        return ()
    if method == "small_pot":
        return (pension.uncrystallised,)
    if left.lifetime_allowance is not None and rules.regime == "lifetime_allowance_charge":
        return (left.lifetime_allowance,)
    return (left.tax_free * WHOLE // rules.tax_free_rate,)


def take(method: Method, gross: Pence, pension: Pension, rules: LumpSumRules, left: Allowances) -> Payment:
    """A payment of ``gross`` pence by a method, with its parts and the funds it leaves.

    ``gross`` must not exceed ``most_permitted``.
    """
    if method == "drawdown":
        return Payment(gross, 0, gross, 0, 0, 0, 0, 0, 0, 0, gross)  # by position: plans make so many
    if method == "pcls":
        crystallised = gross * WHOLE // rules.tax_free_rate
        if takes_protected_lump_sum(method, gross, pension, rules, left):
            crystallised = pension.uncrystallised
        return Payment(
            gross,
            gross,
            0,
            crystallised=crystallised,
            designated=crystallised - gross,
            from_uncrystallised=crystallised,
        )
    taxable, charge, tax_free, excess = splitter(method, pension, rules, left)(gross)
    if method == "small_pot":
        uncrystallised = min(gross, pension.uncrystallised)
        return Payment(
            gross, tax_free, taxable, from_uncrystallised=uncrystallised, from_drawdown=gross - uncrystallised
        )
    over = max(0, gross - left.lifetime_allowance) if left.lifetime_allowance is not None and rules.tested else 0
    charge_rate = rules.charge_on_lump_sum if method == "ufpls" else rules.charge_on_retained
    return Payment(
        gross,
        tax_free,
        taxable,
        excess=excess,
        charge=charge,
        charge_rate=charge_rate if charge else 0,
        crystallised=gross,
        over_lifetime_allowance=over,
        from_uncrystallised=gross,
        excess_lump_sum=over if method == "ufpls" else 0,
    )


def pension_after(pension: Pension, payment: Payment) -> tuple[Pence, Pence]:
    """Uncrystallised and drawdown funds after a payment, pence. What is designated moves from the one to the other."""
    return (
        pension.uncrystallised - payment.from_uncrystallised,
        pension.drawdown - payment.from_drawdown + payment.designated,
    )


def uses_allowances(method: Method) -> bool:
    """Whether a payment's tax-free part counts against the allowances: a small pot's does not (ITEPA ss.637Q, 637S)."""
    return method != "small_pot"


def without_lump_sum(gross: Pence) -> Payment:
    """Uncrystallised funds designated to drawdown without a lump sum and drawn at once: all of it is pension income."""
    return Payment(gross, 0, gross, crystallised=gross, from_uncrystallised=gross)


def then(pension: Pension, payment: Payment, rules: LumpSumRules) -> Pension:
    """The pension after a payment of any method but a small pot: its funds, and what is used of the allowances."""
    uncrystallised, drawdown = pension_after(pension, payment)
    flexible = pension.flexibly_accessed or payment.gives_income
    if not payment.tax_free and not payment.crystallised and flexible == pension.flexibly_accessed:
        return pension.holding(uncrystallised, drawdown)
    if rules.lump_sum_allowance is None:
        whole = personal_lifetime_allowance(pension, rules)
        return pension._replace(
            uncrystallised=uncrystallised,
            drawdown=drawdown,
            lifetime_allowance_used=pension.lifetime_allowance_used + percentage_used(payment.crystallised, whole),
            flexibly_accessed=flexible,
        )
    both = pension.lump_sum_and_death_benefit_allowance_used
    return Pension(
        uncrystallised,
        drawdown,
        pension.lump_sum_allowance_used + payment.tax_free,
        None if both is None else both + payment.tax_free,
        pension.lifetime_allowance_used,
        pension.protected_lump_sum_allowance,
        pension.protected_lump_sum_and_death_benefit_allowance,
        flexible,
        pension.protected_pension_age,
        pension.protected_tax_free_share,
    )

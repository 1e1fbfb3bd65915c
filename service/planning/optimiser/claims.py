"""The claims to the marriage allowance of two people in a tax year, as the relaxation sees them.

A claim says what each of the two does. Under one that has an effect, whoever gives has a smaller personal allowance and whoever
receives has a reduction of tax (ITA 2007 s.55B). So each part in a claim has a tax surface of its own. Whoever gives may do so
up to some total of income (s.55C): up to one they surely may, and above another they surely may not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from service.law.income_tax import IncomeTaxRules, MarriageAllowance, Taxpayer
from service.planning.optimiser.tax_cells import TaxDomain
from service.planning.optimiser.tax_surface import ANYWHERE, Region

Claim = tuple[MarriageAllowance, ...]
"""What each person does with the marriage allowance in a tax year."""

PARTS: tuple[MarriageAllowance, ...] = ("gives", "receives")
"""What somebody may do under a claim."""


def unclaimed(people: int) -> Claim:
    """No claim of two people that has an effect."""
    alone: Claim = ("none",)
    return alone * people


def taxed_under(part: MarriageAllowance, taxpayer: Taxpayer, rules: IncomeTaxRules) -> tuple[Taxpayer, IncomeTaxRules]:
    """A taxpayer without a claim, and the rules, with a part in a claim that has an effect."""
    if part == "receives":
        return taxpayer._replace(marriage_allowance="receives"), rules
    return taxpayer, replace(rules, personal_allowance=rules.personal_allowance - rules.marriage_allowance)


def standing_claims(domains: Sequence[TaxDomain], claim: Claim) -> tuple[Claim, ...]:
    """The same claim in every tax year, and none where whoever gives may not; with the incomes at which that is so."""
    giver = domains[claim.index("gives")]
    gives = giver.under("gives")
    giver.in_effect = {
        "gives": ANYWHERE._replace(total_high=gives.may_be_open_to),
        "none": ANYWHERE._replace(total_low=gives.open_to + 1),
    }
    found = []
    if _is_open(giver, "gives"):
        found.append(claim)
    if giver.may("none", giver.region):
        found.append(unclaimed(2))
    return tuple(found)


def worth_a_claim(first: TaxDomain, second: TaxDomain) -> tuple[Claim, ...]:
    """The claims that can be the best in a period for any income that the two may come to, none the first; with the incomes at
    which they can be."""
    for domain in (first, second):
        domain.in_effect = {"gives": _gains_by_giving(domain), "receives": _gains_by_receiving(domain)}
    claims: list[Claim] = [unclaimed(2)]
    if _is_open(first, "gives") and _is_open(second, "receives"):
        claims.append(("gives", "receives"))
    if _is_open(first, "receives") and _is_open(second, "gives"):
        claims.append(("receives", "gives"))
    return tuple(claims)


def _is_open(domain: TaxDomain, part: MarriageAllowance) -> bool:
    """Whether somebody may have a part in a claim: at some income it may be in effect, and at the least income nothing bears a
    rate that rules it out. No income of the plan opens it again."""
    return domain.may(part, domain.region) and domain.under(part).is_open(domain.income, domain.savings)


def _gains_by_giving(domain: TaxDomain) -> Region:
    """Where a smaller allowance may be permitted and cost less than the basic rate on what is given."""
    taxpayer, rules = domain.surface.taxpayer, domain.surface.rules
    permitted = ANYWHERE._replace(total_high=domain.under("gives").may_be_open_to)
    if taxpayer.gift_aid:
        return permitted  # Tax that has to cover gifts may be due anyway, and giving cost nothing.
    bands = zip(rules.scales.lower.rates, rules.scales.lower.limits, strict=False)
    cheap = max((limit for rate, limit in bands if rate < rules.basic_rate), default=0)
    # Above this income, all that the allowance no longer covers bears the basic rate at least.
    return permitted._replace(income_high=_allowances(domain) + cheap - taxpayer.property_income)


def _gains_by_receiving(domain: TaxDomain) -> Region:
    """Where there may be tax to be reduced, and none of it above the basic rates."""
    taxpayer = domain.surface.taxpayer
    least = _allowances(domain) - taxpayer.property_income - taxpayer.dividends
    return ANYWHERE._replace(total_low=least, total_high=domain.under("receives").may_be_open_to)


def _allowances(domain: TaxDomain) -> int:
    taxpayer, rules = domain.surface.taxpayer, domain.surface.rules
    return rules.personal_allowance + (rules.blind_persons_allowance if taxpayer.blind else 0)

"""Where the tax may bend, as far as the figures tell."""

from __future__ import annotations

from service.law.income_tax import IncomeTaxRules, Taxpayer, TaxpayerYear
from service.law.set_off import Scales
from service.law.units import POUND, Pence
from service.planning.curve.piece import STAIR
from service.planning.curve.tax_function import TaxFunction

BEYOND = 1_000 * POUND  # how far past the asked amount the last piece is followed


def taper_of(year: TaxpayerYear, rules: TaxFunction) -> tuple[Pence, Pence]:
    """The taxable withdrawals between which the personal allowance is withdrawn; the first may be negative."""
    adjusted = rules(0).net_income - year.taxpayer.relief_at_source - year.taxpayer.gift_aid
    first = year.rules.taper_threshold - adjusted
    return first, first + 2 * year.rules.personal_allowance


def points(year: TaxpayerYear, rules: TaxFunction, taper: tuple[Pence, Pence], to: Pence) -> list[Pence]:
    """Where the slope may change: each height of the stack at each level that matters to it, turned into a withdrawal.

    A height is a fixed sum plus the withdrawal less the allowances. While the allowance is withdrawn it rises three
    pounds for two, and the stair that holds the change is marked off on both sides.
    """
    taxpayer, its_rules, scales = year.taxpayer, year.rules, year.scales
    beyond = to + BEYOND
    first, last = taper
    found = {0, beyond}
    for at in taper:
        if 0 < at < beyond:
            found.add(at)
    full = its_rules.personal_allowance + rules(0).blind_persons_allowance
    levels = _levels(taxpayer, its_rules, scales)
    if taxpayer.marriage_allowance != "none" and (taxpayer.savings or taxpayer.dividends):
        levels.append((taxpayer.income, tuple(_most_taxed_at_basic_rates(taxpayer, scales))))
    if taxpayer.marriage_allowance == "gives":
        levels += [(fixed + its_rules.marriage_allowance, at) for fixed, at in levels]
    for fixed, heights in levels:
        rise = full - fixed
        for level in heights:
            at = rise + level
            if at > first:
                if first < beyond:
                    found.update([x for x in _reached_late(at, first, last) if 0 < x < beyond])
            elif 0 < at < beyond:
                found.add(at)
    return sorted(found)


def _most_taxed_at_basic_rates(taxpayer: Taxpayer, scales: Scales) -> set[Pence]:
    """Totals up to which the marriage allowance can stay open: whatever lies above the basic limit is inside its nil rate.

    Savings and dividends may fill their nil rates or be less. A Scottish taxpayer's other income reaches its own limit
    before the UK one, and all savings may lie between the two.
    """
    savings, dividends, nil_dividends = taxpayer.savings, taxpayer.dividends, scales.dividend_allowance
    uk_limit, own_limit = scales.savings.limits[0], scales.lower.limits[scales.last_basic_band]
    free_dividends = min(dividends, nil_dividends)
    tops: set[Pence] = set()
    for nil in scales.savings_allowances:
        free_savings = savings if savings < nil else nil
        tops.update((uk_limit + nil, uk_limit + nil + nil_dividends, uk_limit + free_savings + free_dividends))
    if own_limit < uk_limit:
        tops.add(own_limit + savings + free_dividends)
    return tops


def _levels(taxpayer: Taxpayer, its_rules: IncomeTaxRules, scales: Scales) -> list[tuple[Pence, tuple[Pence, ...]]]:
    """Pairs of a height's fixed sum and the levels at which its passing may change the slope; pence."""
    other, held = taxpayer.other_income, taxpayer.property_income
    savings, dividends = taxpayer.savings, taxpayer.dividends
    uk_limits = scales.savings.limits
    everything = taxpayer.income
    levels: list[tuple[Pence, tuple[Pence, ...]]] = [
        (everything, (0, *uk_limits)),
        (other + held, (0, *scales.lower.limits)),
    ]
    if its_rules.other_income_first and held:
        levels.append((other, (0, *scales.lower.limits)))
        levels.append((other + held, scales.property.limits if scales.property else ()))
    nil_dividends = scales.dividend_allowance
    if savings or dividends:
        levels.append((other + held, uk_limits))
        levels.append((other + held + savings, uk_limits))
    if savings <= scales.savings_allowances[1] and dividends <= nil_dividends:
        # All inside the nil rates, until the highest UK band takes the savings allowance away.
        return levels
    # Where savings end to be free of tax, for each savings allowance, and where dividends above them do. A smaller
    # allowance than the first matters there only to a stack that reaches a higher band from so low down.
    full_nil = scales.starting_rate_limit + scales.savings_allowances[0]
    reached = full_nil + savings + dividends
    nil_savings = [
        scales.starting_rate_limit + allowance
        for allowance, floor in zip(scales.savings_allowances, scales.savings.floors, strict=True)
        if reached >= floor
    ]
    if savings:
        levels.append((other + held, (scales.starting_rate_limit,)))
        levels.append((other + held + savings, (0, *nil_savings)))
        levels.append((everything, (savings, *nil_savings)))
    if dividends:
        levels.append((other + held + savings, (0, *[limit - nil_dividends for limit in uk_limits])))
        levels.append((everything, (nil_dividends, savings + nil_dividends)))
    if savings and dividends:
        levels.append((everything, tuple([top + nil_dividends for top in nil_savings])))
    return levels


def _reached_late(before: Pence, first: Pence, last: Pence) -> tuple[Pence, ...]:
    """The withdrawals at which a height comes to a level that the full allowance would have let it reach at ``before``.

    While the allowance is withdrawn the height rises by three halves of the withdrawal, so the level is reached sooner;
    the stair on which it is reached is marked off. Once the allowance is gone the height runs ahead by its amount.
    """
    after = before - (last - first) // 2
    if after >= last:
        return (after,)
    stair = first + (before - first) * 2 // 3 // STAIR * STAIR
    return stair, stair + STAIR

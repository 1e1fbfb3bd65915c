"""A year's income tax, step by step (ITA 2007 s.23), with the child benefit charge beside it.

``rules_for`` turns one tax year's figures into the rules for one nation; ``taxpayer_year`` adds the taxpayer; ``liability``
computes the year for any taxable withdrawal on top. Nothing else in the service computes income tax.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from service.figures.loader import TaxYearFigures
from service.law import child_benefit, gift_aid, personal_allowances, rounding
from service.law.scale import Scale
from service.law.set_off import Scales, Stack, charged_above_basic, set_off, taxed
from service.law.units import BasisPoints, Pence, TaxUnits
from service.law.value import Value

Nation = Literal["england", "northern_ireland", "scotland", "wales"]
"""The nation of which a taxpayer is a resident for income tax."""

NATIONS: tuple[Nation, ...] = get_args(Nation)

MarriageAllowance = Literal["none", "gives", "receives"]
"""Whether a taxpayer gives or receives the transferable marriage allowance (ITA 2007 ss.55A-55E)."""

MARRIAGE_ALLOWANCES: tuple[MarriageAllowance, ...] = get_args(MarriageAllowance)


class Taxpayer(Value, frozen=True):
    """One person's year apart from the withdrawal. Money in pence a year, gross.

    ``other_income`` is everything that is not property, savings or dividends.
    """

    nation: Nation
    other_income: Pence = 0
    property_income: Pence = 0
    savings: Pence = 0
    dividends: Pence = 0
    relief_at_source: Pence = 0
    gift_aid: Pence = 0
    blind: bool = False
    marriage_allowance: MarriageAllowance = "none"
    child_benefit: Pence = 0

    @property
    def income(self) -> Pence:
        """All income of the year without the withdrawal."""
        return self.other_income + self.property_income + self.savings + self.dividends


@dataclass(frozen=True, slots=True)
class IncomeTaxRules:
    """One tax year's income tax for one nation. Money in pence, rates in basis points."""

    nation: Nation
    personal_allowance: Pence
    taper_threshold: Pence
    blind_persons_allowance: Pence
    marriage_allowance: Pence
    basic_rate: BasisPoints
    scales: Scales
    first_extended_band: int
    other_income_first: bool
    child_benefit_threshold: Pence
    child_benefit_step: Pence


class TaxpayerYear(Value, frozen=True):
    """A taxpayer with the rules of a year, the limits already raised by the reliefs (FA 2004 s.192, ITA 2007 s.414).

    ``treated_as_deducted`` is the tax that the year's tax must cover because of gifts, in ten-thousandths of a penny."""

    taxpayer: Taxpayer
    rules: IncomeTaxRules
    scales: Scales
    treated_as_deducted: TaxUnits = 0


class Liability(Value, frozen=True):
    """The year's tax and how it came about. Pence, but for the ``_tax`` parts in ten-thousandths of a penny.

    ``fixed_to``, ``other_to``, ``savings_to`` and ``taxable`` are heights in the stack of taxable income (see ``set_off``):
    the tops of the income that leaves no choice, of all income but savings and dividends, of savings, and of everything;
    ``savings_nil_to`` is the height up to which savings bear a nil rate.
    ``income_tax`` is after the marriage allowance reduction, with ``gift_aid_tax`` so that it covers gifts, and before the
    child benefit charge; ``total`` is both, to the penny.
    """

    net_income: Pence
    adjusted_net_income: Pence
    personal_allowance: Pence
    blind_persons_allowance: Pence
    marriage_allowance_given: Pence
    fixed_to: Pence
    other_to: Pence
    savings_to: Pence
    taxable: Pence
    savings_nil_to: Pence
    savings_allowance: Pence
    other_tax: TaxUnits
    savings_tax: TaxUnits
    dividend_tax: TaxUnits
    marriage_allowance_reduction: TaxUnits
    marriage_allowance_open: bool
    gift_aid_tax: TaxUnits
    income_tax: TaxUnits
    child_benefit_charge: Pence
    total: Pence

    @property
    def allowances(self) -> Pence:
        """All allowances that may be set against income, pence."""
        return self.personal_allowance + self.blind_persons_allowance


def rules_for(figures: TaxYearFigures, nation: Nation) -> IncomeTaxRules:
    """The income tax rules of one year for a resident of one nation, from that year's figures."""
    lower = Scale.of_bands(figures.bands(f"income_tax.bands_{nation}"))
    savings = Scale.of_bands(figures.bands("income_tax.savings_bands"))
    dividends = Scale.of_bands(figures.bands("income_tax.dividend_bands"))
    scottish = nation == "scotland"
    # The Scottish rate for property income is not in force: property stays with a Scottish taxpayer's other income.
    own_property_rates = figures.has("income_tax.property_bands") and not scottish
    property_scale = Scale.of_bands(figures.bands("income_tax.property_bands")) if own_property_rates else None
    starting_rate_limit = figures.money("income_tax.starting_rate_for_savings_limit")
    uk_bands = figures.bands("income_tax.bands_england")
    return IncomeTaxRules(
        nation=nation,
        personal_allowance=figures.money("income_tax.personal_allowance"),
        taper_threshold=figures.money("income_tax.personal_allowance_taper_threshold"),
        blind_persons_allowance=figures.money("income_tax.blind_persons_allowance"),
        marriage_allowance=figures.money("income_tax.marriage_allowance"),
        basic_rate=uk_bands[0].rate,
        scales=Scales(
            lower=lower,
            property=property_scale,
            savings=savings,
            dividends=dividends,
            starting_rate_limit=starting_rate_limit,
            savings_allowances=(
                figures.money("income_tax.personal_savings_allowance_basic"),
                figures.money("income_tax.personal_savings_allowance_higher"),
                0,
            ),
            dividend_allowance=figures.money("income_tax.dividend_allowance"),
            plain_order_is_best=_plain_order_is_best(property_scale or lower, savings, dividends, starting_rate_limit),
            # ITA 2007 s.55B(3): no rate above basic; for a Scottish taxpayer none above intermediate.
            last_basic_band=lower.names.index("intermediate_rate" if scottish else "basic_rate"),
        ),
        # FA 2004 s.192(4A): the Scottish starter limit does not move; the basic limit and all above it do.
        first_extended_band=lower.names.index("basic_rate"),
        other_income_first=figures.text("income_tax.allowance_order") == "other_income_first",
        child_benefit_threshold=figures.money("income_tax.child_benefit_charge_threshold"),
        child_benefit_step=figures.money("income_tax.child_benefit_charge_step"),
    )


def taxpayer_year(taxpayer: Taxpayer, rules: IncomeTaxRules) -> TaxpayerYear:
    """The taxpayer's year: limits raised by gross relief-at-source contributions and gross Gift Aid donations."""
    relief = taxpayer.relief_at_source + taxpayer.gift_aid
    scales = rules.scales
    if relief:
        scales = scales._replace(
            lower=scales.lower.extended(relief, rules.first_extended_band),
            property=scales.property and scales.property.extended(relief),
            savings=scales.savings.extended(relief),
            dividends=scales.dividends.extended(relief),
        )
    if taxpayer.marriage_allowance == "receives":
        scales = scales._replace(reduction=rules.marriage_allowance * rules.basic_rate)
    treated_as_deducted = gift_aid.tax_treated_as_deducted(taxpayer.gift_aid, rules.basic_rate)
    return TaxpayerYear(taxpayer, rules, scales, treated_as_deducted)


def liability(
    year: TaxpayerYear, withdrawal: Pence = 0, interest: Pence = 0, personal_allowance: Pence | None = None
) -> Liability:
    """The year's tax with ``withdrawal`` pence of taxable pension income on top of the taxpayer's other income, and so much
    ``interest`` on top of their savings. ``personal_allowance`` is what is left of it where the caller has tapered it already.

    The steps are those of ITA 2007 s.23: total income, reliefs and allowances, tax at each rate, tax reductions, what is
    made up to cover gifts, and the charge added last.
    """
    taxpayer, rules, scales = year.taxpayer, year.rules, year.scales
    other_income = taxpayer.other_income + withdrawal
    savings = taxpayer.savings + interest
    net_income = other_income + taxpayer.property_income + savings + taxpayer.dividends
    adjusted = personal_allowances.adjusted_net_income(net_income, taxpayer.relief_at_source, taxpayer.gift_aid)
    allowance = rules.personal_allowance if personal_allowance is None else personal_allowance
    if personal_allowance is None and adjusted > rules.taper_threshold:
        allowance = personal_allowances.personal_allowance(adjusted, allowance, rules.taper_threshold)
    blind = rules.blind_persons_allowance if taxpayer.blind else 0
    marriage = taxpayer.marriage_allowance
    given = min(rules.marriage_allowance, allowance) if marriage == "gives" else 0
    stack = _stack(year, other_income, savings, allowance + blind - given)
    # A reduction was given only where it is open.
    marriage_open = marriage == "none" or stack[-1] > 0 or not _charged_above_basic(scales, stack)
    if given and not marriage_open:
        # ITA 2007 s.55C: no election for someone who would then pay more than the basic rates.
        given = 0
        stack = _stack(year, other_income, savings, allowance + blind)
    charge = 0
    if taxpayer.child_benefit:
        charge = child_benefit.charge(
            adjusted, taxpayer.child_benefit, rules.child_benefit_threshold, rules.child_benefit_step
        )
    tax, fixed_to, other_to, savings_to, taxable, nil_to, nil_savings, on_lower, on_savings, on_dividends, reduction = (
        stack
    )
    made_up = 0
    if year.treated_as_deducted > tax:
        made_up = gift_aid.tax_made_up(tax, year.treated_as_deducted)
        tax += made_up
    # By position, in the order of the class: it is made six times for a quote, and by name takes six times as long.
    return Liability(
        net_income,
        adjusted,
        allowance - given,
        blind,
        given,
        fixed_to,
        other_to,
        savings_to,
        taxable,
        nil_to,
        nil_savings,
        on_lower,
        on_savings,
        on_dividends,
        reduction,
        marriage_open,
        made_up,
        tax,
        charge,
        rounding.years_tax_to_the_penny(tax) + charge,
    )


def taxable_income(year: TaxpayerYear, withdrawal: Pence = 0) -> Pence:
    """The height of all taxable income, pence, as ``liability`` has it, without the tax on it: for somebody who gives no marriage
    allowance. Whichever income the allowances are set against, they take the same off all of it (ITA 2007 ss.23 and 25)."""
    net_income = year.taxpayer.income + withdrawal
    return max(0, net_income - allowances(year, net_income))


def allowances(year: TaxpayerYear, net_income: Pence) -> Pence:
    """The personal allowance that a net income leaves, with the blind person's allowance, pence (ITA 2007 ss.35 and 38)."""
    taxpayer, rules = year.taxpayer, year.rules
    adjusted = personal_allowances.adjusted_net_income(net_income, taxpayer.relief_at_source, taxpayer.gift_aid)
    personal = personal_allowances.personal_allowance(adjusted, rules.personal_allowance, rules.taper_threshold)
    return personal + rules.blind_persons_allowance if taxpayer.blind else personal


def _stack(year: TaxpayerYear, other_income: Pence, savings: Pence, allowance: Pence) -> Stack:
    """The taxable stack that bears the least tax."""
    taxpayer, rules, scales = year.taxpayer, year.rules, year.scales
    property_income, dividends = taxpayer.property_income, taxpayer.dividends
    if rules.other_income_first:
        if other_income > allowance:
            floor, allowance = other_income - allowance, 0
        else:
            floor, allowance = 0, allowance - other_income
        layer = property_income
    else:
        floor = 0
        layer = other_income + property_income
    if savings == 0 and dividends == 0:
        lower = floor + layer - allowance if layer > allowance else floor
        return taxed(scales, floor, lower, lower, lower, 0)
    return set_off(scales, floor, layer, savings, dividends, allowance)


def _charged_above_basic(scales: Scales, stack: Stack) -> bool:
    """Whether the stack rules the marriage allowance out."""
    _, _, lower, savings, total, savings_nil_to, *_ = stack
    return charged_above_basic(scales, lower, savings, total, savings_nil_to)


def _plain_order_is_best(
    lower: Scale, savings: Scale, dividends: Scale, starting_rate_limit: Pence
) -> tuple[bool, ...]:
    """For each UK band: does other income always bear at least what savings bear there, and savings what dividends do?

    Where the starting rate still runs, a pound more of other income displaces no savings from a nil rate, so only the
    rates above its limit count against the savings rate.
    """
    answers = []
    for band, (savings_rate, dividend_rate) in enumerate(zip(savings.rates, dividends.rates, strict=True)):
        floor = savings.floors[band]
        top = savings.limits[band] if band < len(savings.limits) else None
        inside = [
            (rate, limit)
            for rate, lower_floor, limit in zip(lower.rates, lower.floors, (*lower.limits, None), strict=True)
            if (limit is None or limit > floor) and (top is None or lower_floor < top)
        ]
        above_start = [rate for rate, limit in inside if limit is None or limit > starting_rate_limit]
        answers.append(
            all(rate >= savings_rate for rate in above_start)
            and all(rate >= dividend_rate for rate, _ in inside)
            and savings_rate >= dividend_rate
        )
    return tuple(answers)


def basic_rate_band_unused(year: TaxpayerYear, with_it: Liability) -> Pence:
    """Room before more pension income bears a rate above basic (Scotland: above intermediate), pence."""
    if year.taxpayer.nation == "scotland":
        limit = year.scales.lower.limits[year.scales.last_basic_band]
        unused = limit - with_it.other_to
    else:
        unused = year.scales.lower.limits[0] - with_it.taxable
    return unused if unused > 0 else 0

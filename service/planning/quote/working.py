"""How an answer came out, step by step, for somebody who has to check it.

A step's name is fixed, for programs. The year's tax is worked out twice, so the names of its steps end in ``_without`` and
``_with``: without and with the withdrawal.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

from service.law import lump_sums, payroll
from service.law.income_tax import Liability, TaxpayerYear
from service.law.scale import Scale
from service.law.units import PENNY, POUND, WHOLE, Pence, TaxUnits
from service.planning.quote.quote import Quote
from service.planning.wording import pounds, starting

_IN_A_POUND = PENNY * POUND  # ten-thousandths of a penny

Value = int | tuple[int, int] | str | bool
"""A whole number is pence. Any other number is so many parts and how many of them make one, of a pound where it is money."""


class Step(NamedTuple):
    """One step: its fixed name, what was computed, how, from what, with which result, by which section."""

    step: str
    title: str
    detail: str
    inputs: tuple[tuple[str, Value], ...]
    result: Value
    section: str


def working(quote: Quote) -> list[Step]:
    """Every step of the answer, in the order the law takes them."""
    bands = _bands(quote.year)
    return [
        *_payment_steps(quote),
        *_liability_steps(quote.year, bands, quote.without, "without", 0),
        *_liability_steps(quote.year, bands, quote.with_it, "with", quote.payment.taxable),
        Step(
            "tax_on_withdrawal",
            "Tax on the withdrawal",
            "The year's tax with the withdrawal less the year's tax without it.",
            (("with", quote.with_it.total), ("without", quote.without.total)),
            quote.on_withdrawal,
            "Income Tax Act 2007 s.23",
        ),
        *_payroll_steps(quote),
    ]


def _exact(ten_thousandths: TaxUnits) -> tuple[int, int]:
    """Tax before the year's rounding."""
    return ten_thousandths, _IN_A_POUND


_TAX_FREE_PART = "A quarter of what is crystallised, down to the penny, and no more than the allowances leave."
_PROTECTED = "Within the share of the pension that the scheme protects, because the whole pension is taken on one day."


def _payment_steps(quote: Quote) -> Iterator[Step]:
    payment, left, pension = quote.payment, quote.left_before, quote.question.pension
    if left.lifetime_allowance is not None:
        yield Step(
            "lifetime_allowance_available",
            "Lifetime allowance available",
            "The personal lifetime allowance less what earlier benefits used.",
            (("lifetime_allowance_used", (pension.lifetime_allowance_used, WHOLE)),),
            left.lifetime_allowance,
            "Finance Act 2004 ss.216-219",
        )
    elif left.lump_sum_allowance is not None and left.lump_sum_and_death_benefit_allowance is not None:
        yield Step(
            "lump_sum_allowance_available",
            "Lump sum allowance available",
            "The allowance less a quarter of the lifetime allowance used before 6 April 2024 and less what was used since.",
            (
                ("lifetime_allowance_used", (pension.lifetime_allowance_used, WHOLE)),
                ("lump_sum_allowance_used", pension.lump_sum_allowance_used),
            ),
            left.lump_sum_allowance,
            "ITEPA 2003 ss.637P-637Q; Finance Act 2024 Sch.9 paras 125-127",
        )
        yield Step(
            "lump_sum_and_death_benefit_allowance_available",
            "Lump sum and death benefit allowance available",
            "Reduced in the same way.",
            (),
            left.lump_sum_and_death_benefit_allowance,
            "ITEPA 2003 ss.637R-637S; Finance Act 2024 Sch.9",
        )
    sections = {
        "pcls": "Finance Act 2004 Sch.29 paras 1-3; ITEPA 2003 s.637A",
        "pcls_and_drawdown": "Finance Act 2004 Sch.29 paras 1-3; ITEPA 2003 ss.579A, 637A",
        "ufpls": "Finance Act 2004 Sch.29 para 4A; ITEPA 2003 s.637D",
        "drawdown": "ITEPA 2003 s.579A",
        "small_pot": "SI 2009/1171 regs 11-12; ITEPA 2003 s.637G",
    }
    method = quote.question.withdrawal.method
    section = sections[method]
    protected = lump_sums.takes_protected_lump_sum(method, payment.gross, pension, quote.lump_sum_rules, left)
    if protected:
        section = f"{section}; Finance Act 2004 Sch.36 paras 31-34"
    yield Step(
        "tax_free_part",
        "Tax-free part",
        _TAX_FREE_PART if not protected else _PROTECTED,
        (("gross", payment.gross), ("most_tax_free", left.tax_free)),
        payment.tax_free,
        section,
    )
    yield Step(
        "taxable_part",
        "Taxable part",
        "What is taxed as pension income of the year.",
        (),
        payment.taxable,
        section,
    )
    if payment.charge:
        yield Step(
            "lifetime_allowance_charge",
            "Lifetime allowance charge",
            "On what is over the allowance, down to the penny.",
            (("excess", payment.over_lifetime_allowance), ("rate", (payment.charge_rate, WHOLE))),
            payment.charge,
            "Finance Act 2004 ss.214-215",
        )


def _bands(year: TaxpayerYear) -> str:
    """The bands of income other than savings and dividends, their limits already raised by the reliefs; with those of property
    income, which lies above other income, where there is any with rates of its own."""
    of_property = year.scales.property if year.taxpayer.property_income else None
    own = f" Property income, which lies above the rest: {_told(of_property)}" if of_property is not None else ""
    return f"{starting(_told(year.scales.lower))}{own}"


def _told(scale: Scale) -> str:
    return " ".join(
        (name if i == 0 else starting(name)).replace("_", " ")
        + f" {rate / 100:g}%"
        + (f" to {pounds(limit)}." if limit is not None else ".")
        for i, (name, rate, limit) in enumerate(zip(scale.names, scale.rates, (*scale.limits, None), strict=True))
    )


def _liability_steps(
    year: TaxpayerYear, bands: str, result: Liability, which: Literal["without", "with"], withdrawal: Pence
) -> Iterator[Step]:
    taxpayer, rules, scales = year.taxpayer, year.rules, year.scales
    label = f"{which} the withdrawal"
    yield Step(
        f"net_income_{which}",
        f"Net income {label}",
        "All income of the year"
        + (", the taxable part of the withdrawal included." if which == "with" else ", before the withdrawal."),
        (
            ("other_income", taxpayer.other_income),
            ("withdrawal", withdrawal),
            ("property_income", taxpayer.property_income),
            ("savings_interest", taxpayer.savings),
            ("dividends", taxpayer.dividends),
        ),
        result.net_income,
        "Income Tax Act 2007 s.23 steps 1-2",
    )
    yield Step(
        f"adjusted_net_income_{which}",
        f"Adjusted net income {label}",
        "Less gross relief-at-source contributions and gross Gift Aid donations.",
        (
            ("relief_at_source_contributions", taxpayer.relief_at_source),
            ("gift_aid_donations", taxpayer.gift_aid),
        ),
        result.adjusted_net_income,
        "Income Tax Act 2007 s.58",
    )
    given = (
        f"; {pounds(result.marriage_allowance_given)} of it is given to the partner"
        if result.marriage_allowance_given
        else ""
    )
    to_cover = " What is taken away to cover Gift Aid is not in it, but told below." if result.gift_aid_tax else ""
    yield Step(
        f"personal_allowance_{which}",
        f"Personal allowance {label}",
        f"Reduced by half of the adjusted net income above the threshold, up to the pound{given}.{to_cover}",
        (
            ("full_allowance", rules.personal_allowance),
            ("threshold", rules.taper_threshold),
        ),
        result.personal_allowance,
        "Income Tax Act 2007 s.35, s.55B(6)",
    )
    if result.blind_persons_allowance:
        yield Step(
            f"blind_persons_allowance_{which}",
            f"Blind person's allowance {label}",
            "Added in full.",
            (),
            result.blind_persons_allowance,
            "Income Tax Act 2007 s.38",
        )
    order = (
        "Set against income other than property, savings and dividends first, the rest where it saves most."
        if rules.other_income_first
        else "Set against the kinds of income in the way that saves most."
    )
    yield Step(
        f"taxable_income_{which}",
        f"Taxable income {label}",
        f"Income less allowances. {order}",
        (
            ("below_savings", result.other_to),
            ("savings", result.savings_to - result.other_to),
            ("dividends", result.taxable - result.savings_to),
        ),
        result.taxable,
        "Income Tax Act 2007 ss.16A, 25(3A)" if rules.other_income_first else "Income Tax Act 2007 ss.16, 25(2)",
    )
    yield Step(
        f"tax_below_savings_{which}",
        f"Tax on income other than savings and dividends {label}",
        bands,
        (("taxable", result.other_to),),
        _exact(result.other_tax),
        "Income Tax Act 2007 ss.10, 11A; Finance Act 2004 s.192 for extended limits",
    )
    if taxpayer.savings:
        yield Step(
            f"tax_on_savings_{which}",
            f"Tax on savings {label}",
            "After the starting rate for savings and the personal savings allowance.",
            (
                ("savings_allowance", result.savings_allowance),
                ("nil_rate_up_to", result.savings_nil_to),
                ("top_of_savings", result.savings_to),
            ),
            _exact(result.savings_tax),
            "Income Tax Act 2007 ss.7, 12, 12A, 12B",
        )
    if taxpayer.dividends:
        yield Step(
            f"tax_on_dividends_{which}",
            f"Tax on dividends {label}",
            "After the dividend nil rate; the top slice of income.",
            (
                ("dividend_allowance", scales.dividend_allowance),
                ("top_of_income", result.taxable),
            ),
            _exact(result.dividend_tax),
            "Income Tax Act 2007 ss.8, 13, 13A, 16",
        )
    if taxpayer.marriage_allowance == "receives":
        yield Step(
            f"marriage_allowance_{which}",
            f"Marriage allowance {label}",
            "A tax reduction at the basic rate, if no income is taxed above it.",
            (
                ("transferred", rules.marriage_allowance),
                ("available", result.marriage_allowance_open),
            ),
            _exact(result.marriage_allowance_reduction),
            "Income Tax Act 2007 ss.55A-55B",
        )
    if result.gift_aid_tax:
        yield Step(
            f"gift_aid_tax_{which}",
            f"Tax to cover Gift Aid {label}",
            "What the tax above falls short of the basic rate on the gross gifts. Allowances are reduced, or the rest is "
            "charged, so that the year's tax covers it. Capital gains tax is not known and counts as nothing.",
            (("gift_aid_donations", taxpayer.gift_aid), ("tax_treated_as_deducted", _exact(year.treated_as_deducted))),
            _exact(result.gift_aid_tax),
            "Income Tax Act 2007 ss.414, 423-425",
        )
    if taxpayer.child_benefit:
        yield Step(
            f"child_benefit_charge_{which}",
            f"High income child benefit charge {label}",
            "Benefit, percentage and charge each down to a whole number.",
            (
                ("child_benefit", taxpayer.child_benefit),
                ("threshold", rules.child_benefit_threshold),
            ),
            result.child_benefit_charge,
            "ITEPA 2003 ss.681B-681H",
        )
    yield Step(
        f"income_tax_of_year_{which}",
        f"Income tax of the year {label}",
        "The sum of the parts, to the nearest penny, with the charge.",
        (),
        result.total,
        "Income Tax Act 2007 s.23 steps 4-7",
    )


def _payroll_steps(quote: Quote) -> Iterator[Step]:
    outcome = quote.payroll
    routine = "HMRC Specification for PAYE Tax Table Routines v24.0"
    if quote.payment.taxable:
        code = payroll.parse_code(outcome.facts.code)
        if code.kind in ("suffix", "k"):
            yield Step(
                "free_pay",
                "Free pay",
                "The code's pay adjustment; negative where a K code adds to pay.",
                (
                    ("code", outcome.facts.code),
                    ("basis", outcome.facts.basis),
                    ("month", (outcome.facts.month, 1)),
                ),
                outcome.deduction.free_pay,
                f"{routine} para 4.3.1",
            )
        yield Step(
            "taxable_pay",
            "Taxable pay",
            "Pay after the adjustment, down to the pound.",
            (
                ("payment", quote.payment.taxable),
                ("pay_to_date", outcome.facts.pay_to_date),
            ),
            outcome.deduction.taxable_pay,
            f"{routine} para 4.3.2",
        )
        yield Step(
            "payroll_deduction",
            "Payroll deduction",
            "Tax on that by the code, dropped to the penny"
            + (", limited to half of the payment." if outcome.deduction.limited else "."),
            (("tax_to_date", outcome.facts.tax_to_date),),
            outcome.deduction.tax,
            f"{routine} paras 4.4-4.5",
        )
    yield Step(
        "deduction_less_tax_on_withdrawal",
        "Deduction less the tax on the withdrawal",
        "What payroll takes from this payment less what the withdrawal adds to the year's tax.",
        (("deducted", outcome.deduction.tax), ("due", quote.on_withdrawal)),
        outcome.deduction.tax - quote.on_withdrawal,
        "PAYE moves cash; the year's liability is Income Tax Act 2007 s.23",
    )
    if outcome.deducted_in_year is not None and outcome.due_in_year is not None:
        yield Step(
            "over_or_under_deducted",
            "Deducted too much or too little",
            "What payroll has taken in the year less the tax of the income it answers for; below nil where it has taken too "
            "little.",
            (("deducted_in_year", outcome.deducted_in_year), ("due_in_year", outcome.due_in_year)),
            outcome.over_deducted - outcome.under_deducted,
            "PAYE moves cash; the year's liability is Income Tax Act 2007 s.23",
        )

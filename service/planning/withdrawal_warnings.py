"""The warnings a single withdrawal carries. Each is one small function that returns a warning or None."""

from __future__ import annotations

from collections.abc import Callable

from service.law.pension_age import access_age, age_on, birthday
from service.planning.faults import pounds
from service.planning.warning import Warning, in_order
from service.planning.withdrawal import Quote


def warnings_for(answer: Quote) -> list[Warning]:
    """The warnings of an answer: what is not permitted first, then costs by amount, then what to check."""
    return in_order(warning for rule in _RULES if (warning := rule(answer)) is not None)


def below_minimum_pension_age(answer: Quote) -> Warning | None:
    """Money taken before normal minimum pension age, or perhaps before it when the day is not given."""
    question, figures = answer.question, answer.rules.figures
    least = question.pension.minimum_pension_age or answer.rules.minimum_pension_age
    born, day = question.person.date_of_birth, question.withdrawal.day
    if age_on(born, day or figures.start) >= least:
        return None
    allowed_from = birthday(born, least)
    sources = ("Finance Act 2004 ss.165, 279", "Finance Act 2022 s.10")
    counts = {"minimum_pension_age": least}
    if day is None and allowed_from <= figures.end:
        return Warning(
            "minimum_pension_age_depends_on_the_day",
            "check",
            "The day of payment decides whether this is permitted",
            f"Benefits may be taken from age {least}, which is reached on {allowed_from.isoformat()}, in this tax year. "
            "Take the money on or after that day.",
            ("withdrawal",),
            sources,
            counts=counts,
        )
    age, reached = access_age(
        born,
        answer.rules.minimum_pension_age,
        answer.rules.next_minimum_pension_age,
        question.pension.minimum_pension_age,
    )
    return Warning(
        "below_minimum_pension_age",
        "not_permitted",
        "Too young to take this",
        f"Benefits may be taken from age {age}, which is reached on {reached.isoformat()}, unless ill-health or a "
        "protected pension age applies. Money paid earlier is an unauthorised payment, which bears charges of up to 55%. "
        "Do not take it before checking with the scheme.",
        ("withdrawal",),
        (*sources, "Finance Act 2004 ss.208-213"),
        counts={"minimum_pension_age": age},
    )


def money_purchase_annual_allowance(answer: Quote) -> Warning | None:
    """Flexible access cuts what may be paid into money purchase pensions from now on."""
    if not answer.money_purchase_triggered:
        return None
    amount = answer.rules.money_purchase_annual_allowance
    return Warning(
        "money_purchase_annual_allowance_triggered",
        "costs",
        "Future pension saving is cut back",
        f"This payment is flexible access: from the next day only {pounds(amount)} a year may be paid into money purchase "
        "pensions without a charge, and unused allowance of earlier years cannot raise that. Tell every other scheme you "
        "save in within 91 days of the scheme's statement.",
        ("withdrawal", "method"),
        ("Finance Act 2004 ss.227ZA-227G", "SI 2006/567 reg.14ZB"),
        money={"money_purchase_annual_allowance": amount},
    )


def marriage_allowance_lost(answer: Quote) -> Warning | None:
    """The withdrawal ends the marriage allowance, on either side of it."""
    kind = answer.question.person.marriage_allowance
    if kind == "none" or answer.with_it.marriage_allowance_open:
        return None
    sources = ("Income Tax Act 2007 ss.55B-55C",)
    path = ("person", "marriage_allowance")
    if kind == "receives":
        lost = answer.without.marriage_allowance_reduction // 10_000
        if lost:
            return Warning(
                "marriage_allowance_lost",
                "costs",
                "The marriage allowance is lost",
                f"With this withdrawal some income is taxed above the basic rate, so the reduction of {pounds(lost)} falls "
                "away for the year. A smaller withdrawal this tax year would keep it.",
                path,
                sources,
                money={"marriage_allowance_reduction": lost},
                cost=lost,
            )
    return Warning(
        "marriage_allowance_not_available",
        "check",
        "The marriage allowance has no effect",
        "Some income of this year is taxed above the basic rate, so no marriage allowance can be "
        + (
            "received"
            if kind == "receives"
            else "given; a claim already made would be withdrawn and the partner's tax rise"
        )
        + ". Check the claim with HMRC.",
        path,
        sources,
    )


def payroll_takes_more(answer: Quote) -> Warning | None:
    """The first payment is taxed as if it came every month."""
    over = answer.payroll.over_deducted
    if over == 0 or answer.payroll.reclaim.form == "none":
        return None
    form = answer.payroll.reclaim.form
    return Warning(
        "payroll_takes_more_than_is_due",
        "check",
        "Payroll takes more than is due",
        f"Payroll takes {pounds(answer.payroll.deduction.tax)}, which is {pounds(over)} more than this withdrawal adds to "
        f"the year's tax. Claim it back with form {form}, or wait until HMRC settles the year. Check the form with HMRC "
        "before a second payment.",
        ("payroll",),
        ("HMRC PAYE manual PAYE94055",),
        money={"over_deducted": over},
    )


def payroll_takes_less(answer: Quote) -> Warning | None:
    """Payroll takes too little, so a bill follows."""
    under = answer.payroll.under_deducted
    if under == 0:
        return None
    return Warning(
        "payroll_takes_less_than_is_due",
        "check",
        "More tax will be due later",
        f"Payroll takes {pounds(under)} less than this withdrawal adds to the year's tax. Keep that much back: HMRC collects "
        "it by a changed code, by Simple Assessment or through a tax return.",
        ("payroll",),
        ("Income Tax (Earnings and Pensions) Act 2003 s.684",),
        money={"under_deducted": under},
    )


def no_tax_free_part_left(answer: Quote) -> Warning | None:
    """A UFPLS with no lump sum allowance left: the statute and the manual do not say the same."""
    if answer.question.withdrawal.method != "ufpls" or answer.left_before.lump_sum_allowance is None:
        return None
    if answer.left_before.tax_free > 0:
        return None
    return Warning(
        "no_lump_sum_allowance_left",
        "check",
        "No tax-free part is left",
        "All of this payment is taxed, because nothing is left of the lump sum allowances. The statute allows such a "
        "payment; an HMRC manual heading suggests some allowance is needed. Ask the scheme whether it will pay it.",
        ("pension",),
        ("Finance Act 2004 Sch.29 para 4A", "HMRC Pensions Tax Manual PTM172000"),
    )


def lifetime_allowance_excess(answer: Quote) -> Warning | None:
    """More is taken than the lifetime allowance leaves."""
    over = answer.payment.over_lifetime_allowance
    if over == 0:
        return None
    charge = answer.payment.charge
    detail = (
        f"{pounds(over)} of this is more than the lifetime allowance leaves and bears a charge of {pounds(charge)}."
        if answer.rules.lump_sums.regime == "lifetime_allowance_charge"
        else f"{pounds(over)} of this is more than the lifetime allowance leaves; in this tax year there is no charge and it is "
        "taxed as pension income."
    )
    return Warning(
        "lifetime_allowance_exceeded",
        "costs",
        "The lifetime allowance is exceeded",
        detail + " Check the percentage already used with every scheme.",
        ("pension", "lifetime_allowance_used_percent"),
        ("Finance Act 2004 ss.214-215", "Finance (No. 2) Act 2023 ss.18-19"),
        money={"excess": over, "charge": charge},
        cost=charge,
    )


def small_pot_leaves_something(answer: Quote) -> Warning | None:
    """A small pot lump sum must end the arrangement it comes from."""
    left = answer.uncrystallised_after + answer.drawdown_after
    if answer.question.withdrawal.method != "small_pot" or left == 0:
        return None
    return Warning(
        "small_pot_must_end_the_arrangement",
        "check",
        "A small pot must be taken whole",
        f"{pounds(left)} would be left. A small pot lump sum must end the arrangement it is paid from: check with the "
        "scheme that what is left belongs to other arrangements.",
        ("withdrawal", "method"),
        ("SI 2009/1171 regs 11, 11A, 12",),
        money={"left": left},
    )


def rates_not_yet_set(answer: Quote) -> Warning | None:
    """The year's figures are not all law yet."""
    figures = answer.rules.figures
    if figures.status == "enacted":
        return None
    return Warning(
        "rates_not_yet_set",
        "check",
        "This tax year's rates are not all law yet",
        f"Some of the figures for {figures.name} are announced or carried forward from the last year that is known; "
        "rules.assumptions lists them. Work it out again once they are set.",
        ("tax_year",),
        ("Income Tax Act 2007 s.10", "Finance Act 2026 ss.5-10"),
        status=figures.status,
    )


def scottish_property_income(answer: Quote) -> Warning | None:
    """Property rates begin in 2027-28, and how they reach a Scottish taxpayer is a reading of the statute."""
    person = answer.question.person
    if person.tax_residence != "scotland" or not person.income_of("property"):
        return None
    if not answer.rules.figures.has("income_tax.property_bands"):
        return None
    return Warning(
        "scottish_property_income",
        "check",
        "Property income of a Scottish taxpayer is doubtful",
        "From 2027-28 property income has its own rates. The power for Scottish property rates is not in force, so it is "
        "taxed here at the Scottish rates for other income: a reading of the statute that no guidance confirms.",
        ("person", "income"),
        ("Income Tax Act 2007 ss.11A, 11CA", "Finance Act 2026 s.8, Sch.2"),
        status="announced",
    )


def k_code(answer: Quote) -> Warning | None:
    """HMRC's routine for K codes was not read in the original."""
    if not answer.payroll.facts.code.lstrip("SC").startswith("K") or answer.payment.taxable == 0:
        return None
    return Warning(
        "k_code_adjustment",
        "check",
        "The deduction under a K code may differ by pennies",
        "The pay adjustment of a K code is worked out as that of a suffix code; HMRC's own text was not read for it. "
        "The payer's payroll decides.",
        ("payroll", "code"),
        ("HMRC Specification for PAYE Tax Table Routines v24.0 para 4.3.1",),
    )


_RULES: tuple[Callable[[Quote], Warning | None], ...] = (
    below_minimum_pension_age,
    lifetime_allowance_excess,
    money_purchase_annual_allowance,
    marriage_allowance_lost,
    payroll_takes_more,
    payroll_takes_less,
    no_tax_free_part_left,
    small_pot_leaves_something,
    scottish_property_income,
    k_code,
    rates_not_yet_set,
)

"""What withdrawals do to the tax of a year: bands entered, allowances lost, charges met, and what payroll makes of it."""

from __future__ import annotations

from dataclasses import replace

from service.law.income_tax import Liability, YearOf, liability
from service.law.rounding import down_to_the_penny
from service.law.scale import Scale
from service.law.units import PENNY, POUND, WHOLE
from service.planning.warnings.catalogue import warn
from service.planning.warnings.circumstances import Circumstances, Taken, YearFacts
from service.planning.warnings.warning import Found
from service.planning.wording import per_cent, pounds


def _pension_income(year: YearFacts, found: Liability) -> int:
    """Up to where pension income reaches on its scale: below property from 2027-28 on, beside it before."""
    return found.fixed_to if year.tax_rules.other_income_first else found.other_to


_TOLD_WHEN_ENTERED = {
    name: f"{name}_entered" for name in ("higher_rate", "advanced_rate", "additional_rate", "top_rate")
}
"""The codes of the bands above the basic rates, the UK's and Scotland's."""


def higher_bands_entered(year: YearFacts) -> Found:
    """Bands above the basic rates that the withdrawals reach into and the other income does not: a warning for each."""
    rules, top = year.tax_rules, _pension_income(year, year.with_it)
    # Reliefs only raise the limits, so that most years are done with before theirs are looked at.
    if not year.taxable or top <= rules.scales.lower.limits[rules.scales.last_basic_band]:
        return ()
    scale, before = year.year.scales.lower, _pension_income(year, year.without)
    told: Found = ()
    for band in range(rules.scales.last_basic_band + 1, len(scale.names)):
        if scale.names[band] in _TOLD_WHEN_ENTERED and before <= scale.floors[band] < top:
            told += _band_entered(year, scale, band, top)
    return told


def _band_entered(year: YearFacts, scale: Scale, band: int, top: int) -> Found:
    """What the withdrawals inside a band bear more than in the band below it."""
    name, rate, below = scale.names[band], scale.rates[band], scale.rates[band - 1]
    inside = (min(top, scale.limits[band]) if band < len(scale.limits) else top) - scale.floors[band]
    if not year.taken and inside < POUND:
        return ()  # a plan that fills a band to the brim may miss it by pennies
    cost = down_to_the_penny(inside * (rate - below))
    return warn(
        _TOLD_WHEN_ENTERED[name],
        f"In {year.name} {pounds(inside)} of the withdrawals of {year.person.whose} bears the {name.replace('_', ' ')} of "
        f"{per_cent(rate)} instead of {per_cent(below)}: {pounds(cost)} more. A smaller withdrawal this tax year, and more in "
        "another, may avoid it.",
        year.path,
        figures=year.figures,
        rests_on=(f"income_tax.bands_{year.person.nation}",),
        money={"amount_in_the_band": inside, "extra_tax": cost},
        rates={"rate_in_the_band": rate},
        cost=cost,
    )


def personal_allowance_withdrawn(year: YearFacts) -> Found:
    """Income above the taper threshold takes the personal allowance away."""
    rules = year.tax_rules
    if not year.taxable or year.with_it.adjusted_net_income <= rules.taper_threshold:
        return ()
    without, income = year.without, year.with_it.adjusted_net_income
    lost = without.personal_allowance - year.with_it.personal_allowance
    if lost <= 0:
        return ()
    kept = YearOf(year.taxpayer, replace(rules, taper_threshold=income), year.year.scales)
    cost = year.with_it.total - liability(kept, year.taxable).total
    if without.adjusted_net_income > rules.taper_threshold:
        cost -= without.total - liability(kept).total
    cost = max(0, cost)
    return warn(
        "personal_allowance_withdrawn",
        f"In {year.name} the withdrawals take the adjusted net income of {year.person.whose} to "
        f"{pounds(income)}, over {pounds(rules.taper_threshold)}: {pounds(lost)} of the "
        f"personal allowance is lost, which costs {pounds(cost)}. A pension contribution or Gift Aid would lower that income.",
        year.path,
        figures=year.figures,
        rests_on=("income_tax.personal_allowance_taper_threshold",),
        status=year.figures.status,
        money={"adjusted_net_income": income, "personal_allowance_lost": lost, "extra_tax": cost},
        cost=cost,
    )


def savings_allowance_lost(year: YearFacts) -> Found:
    """A higher band makes the personal savings allowance smaller."""
    savings = year.taxpayer.savings
    if not year.taxable or not savings:
        return ()
    after = year.with_it.savings_allowance
    before = year.without.savings_allowance
    exposed = min(before, savings) - min(after, savings)
    if exposed <= 0:
        return ()
    scale = year.year.scales.savings
    cost = down_to_the_penny(exposed * scale.rates[scale.band(year.with_it.taxable)])
    return warn(
        "savings_allowance_lost",
        f"In {year.name} the withdrawals lift {year.person.whose} into a higher band, so the savings allowance falls from "
        f"{pounds(before)} to {pounds(after)}: up to {pounds(cost)} more tax on {pounds(savings)} of interest. A smaller "
        "withdrawal this tax year would keep it.",
        year.path,
        figures=year.figures,
        status=year.figures.status,
        money={
            "savings_allowance_before": before,
            "savings_allowance_after": after,
            "savings_interest": savings,
            "extra_tax": cost,
        },
        cost=cost,
    )


def marriage_allowance_lost(year: YearFacts) -> Found:
    """The withdrawals end a marriage allowance received."""
    if year.person.marriage_allowance != "receives" or year.with_it.marriage_allowance_open:
        return ()
    lost = year.without.marriage_allowance_reduction // PENNY
    if not lost:
        return ()
    return warn(
        "marriage_allowance_lost",
        f"With the withdrawals of {year.name} some income of {year.person.whose} is taxed above the basic rate, so the "
        f"reduction of {pounds(lost)} falls away for the year. A smaller withdrawal this tax year would keep it.",
        (*year.person.path, "marriage_allowance"),
        figures=year.figures,
        money={"marriage_allowance_reduction": lost},
        cost=lost,
    )


def marriage_allowance_not_available(year: YearFacts) -> Found:
    """Income above the basic rate voids the marriage allowance on either side, with or without the withdrawals."""
    kind = year.person.marriage_allowance
    if kind == "none" or year.with_it.marriage_allowance_open:
        return ()
    if kind == "receives" and year.without.marriage_allowance_reduction // PENNY:
        return ()
    side = (
        "received"
        if kind == "receives"
        else "given; a claim already made would be withdrawn and the partner's tax rise"
    )
    return warn(
        "marriage_allowance_not_available",
        f"In {year.name} some income of {year.person.whose} is taxed above the basic rate, so no marriage allowance can be "
        f"{side}. Check the claim with HMRC.",
        (*year.person.path, "marriage_allowance"),
        figures=year.figures,
    )


def child_benefit_charge(year: YearFacts) -> Found:
    """The withdrawals bring, or raise, the high income child benefit charge."""
    if not year.with_it.child_benefit_charge or not year.taxable:
        return ()
    more = year.with_it.child_benefit_charge - year.without.child_benefit_charge
    if more <= 0:
        return ()
    threshold = "income_tax.child_benefit_charge_threshold"
    return warn(
        "child_benefit_charge",
        f"In {year.name} the withdrawals take the adjusted net income of {year.person.whose} to "
        f"{pounds(year.with_it.adjusted_net_income)}, over {pounds(year.figures.money(threshold))}: the child benefit "
        f"charge rises by {pounds(more)}. A smaller withdrawal, a pension contribution or Gift Aid would lower it.",
        year.path,
        figures=year.figures,
        rests_on=(threshold,),
        money={"adjusted_net_income": year.with_it.adjusted_net_income, "child_benefit_charge": more},
        cost=more,
    )


def child_benefit_charge_falls_on_partner(case: Circumstances) -> Found:
    """Child benefit is given for one of a couple, and the withdrawals make the other's income the higher."""
    told: Found = ()
    if len(case.people) != 2:
        return ()
    for one, other in (case.people, case.people[::-1]):
        theirs = {year.name: year for year in other.years}
        for year in one.years:
            partner = theirs.get(year.name)
            if partner is None or not year.taxpayer.child_benefit or not partner.taxable:
                continue
            threshold = year.figures.money("income_tax.child_benefit_charge_threshold")
            income, higher = year.with_it.adjusted_net_income, partner.with_it.adjusted_net_income
            if higher <= max(income, threshold):
                continue
            told += warn(
                "child_benefit_charge_falls_on_partner",
                f"In {year.name} {other.person.whose} has the higher adjusted net income, {pounds(higher)} against "
                f"{pounds(income)}, and it is over {pounds(threshold)}: the child benefit charge falls there. Give the "
                "child benefit with that person instead.",
                (*one.person.path, "child_benefit"),
                figures=year.figures,
                rests_on=("income_tax.child_benefit_charge_threshold",),
                money={"higher_income": higher, "lower_income": income},
            )
            break
    return told


def tax_free_childcare_lost(year: YearFacts) -> Found:
    """Income over the limit ends tax-free childcare."""
    facts = year.person.facts
    if facts is None or not facts.tax_free_childcare or not year.taxable:
        return ()
    limit = year.figures.money("childcare.income_limit")
    if year.with_it.adjusted_net_income <= limit or year.without.adjusted_net_income > limit:
        return ()
    return warn(
        "tax_free_childcare_lost",
        f"In {year.name} the withdrawals take the adjusted net income of {year.person.whose} to "
        f"{pounds(year.with_it.adjusted_net_income)}, over {pounds(limit)}: {pounds(facts.tax_free_childcare)} of "
        "tax-free childcare is lost for both parents. A smaller withdrawal this tax year would keep it.",
        year.path,
        figures=year.figures,
        rests_on=("childcare.income_limit",),
        money={
            "adjusted_net_income": year.with_it.adjusted_net_income,
            "tax_free_childcare": facts.tax_free_childcare,
        },
        cost=facts.tax_free_childcare,
    )


def family_facts_not_given(year: YearFacts) -> Found:
    """Income passes a limit that matters to parents, and whether there are children, or what is paid, was not given."""
    facts = year.person.facts
    if facts is None or facts.children == 0 or not year.taxable:
        return ()
    asked = {
        "child_benefit": (facts.child_benefit_given, "income_tax.child_benefit_charge_threshold", "child benefit"),
        "tax_free_childcare": (
            facts.tax_free_childcare is not None,
            "childcare.income_limit",
            "tax-free childcare",
        ),
    }
    income, before = year.with_it.adjusted_net_income, year.without.adjusted_net_income
    missing = [
        (field, name, what)
        for field, (given, name, what) in asked.items()
        if not given and before <= year.figures.money(name) < income
    ]
    if not missing:
        return ()
    whats = " and ".join(what for _, _, what in missing)
    limits = " and ".join(pounds(year.figures.money(name)) for _, name, _ in missing)
    return warn(
        "family_facts_not_given",
        f"In {year.name} the withdrawals take the adjusted net income of {year.person.whose} from {pounds(before)} to "
        f"{pounds(income)}, past {limits}. "
        f"{'Whether there are children was' if facts.children is None else 'What is received was'} not given and decides "
        f"what {whats} costs. Ask.",
        (*year.person.path, "children" if facts.children is None else missing[0][0]),
        figures=year.figures,
        rests_on=tuple(name for _, name, _ in missing),
        money={"adjusted_net_income": income, "adjusted_net_income_before": before},
    )


_LOANS = ("plan_1", "plan_2", "plan_4", "plan_5")


def _repayment(year: YearFacts, unearned: int, earned: int, plans: tuple[str, ...]) -> int:
    """What is repaid in the year; pence. Of several plans of one rate the lowest threshold counts."""
    figures = year.figures
    counted = earned + (unearned if unearned > figures.money("student_loan.unearned_income_limit") else 0)
    repaid = 0
    thresholds = [
        figures.money(f"student_loan.{plan}_threshold")
        for plan in _LOANS
        if plan in plans and figures.has(f"student_loan.{plan}_threshold")
    ]
    if thresholds:
        repaid += max(0, counted - min(thresholds)) * figures.rate("student_loan.rate")
    if "postgraduate" in plans:
        over = counted - figures.money("student_loan.postgraduate_threshold")
        repaid += max(0, over) * figures.rate("student_loan.postgraduate_rate")
    return down_to_the_penny(repaid)


def student_loan_repayment(year: YearFacts) -> Found:
    """Pension income of someone who files a return counts for student loans."""
    facts = year.person.facts
    if facts is None or not facts.student_loans or not year.taxable:
        return ()
    earned = year.earned
    unearned = year.taxpayer.income - earned
    before = _repayment(year, unearned, earned, facts.student_loans)
    after = _repayment(year, unearned + year.taxable, earned, facts.student_loans)
    if after <= before:
        return ()
    names = [f"student_loan.{plan}_threshold" for plan in facts.student_loans]
    return warn(
        "student_loan_repayment",
        f"In {year.name} pension income counts towards the student loan of whoever files a tax return: "
        f"{pounds(after - before)} more is repaid on {pounds(year.taxable)} of taxable withdrawals. Keep that much back.",
        (*year.person.path, "student_loans"),
        figures=year.figures,
        rests_on=("student_loan.unearned_income_limit", *(name for name in names if year.figures.has(name))),
        money={"taxable_withdrawals": year.taxable, "repayment": after - before},
        cost=after - before,
    )


def payments_on_account(year: YearFacts) -> Found:
    """Tax not deducted at source leads to payments on account for the next year."""
    facts = year.person.facts
    if facts is None or facts.self_assessment is not True:
        return ()
    under = sum(taken.payroll.under_deducted for taken in year.taken if taken.payroll is not None)
    figures = year.figures
    limit = figures.money("self_assessment.payments_on_account_limit")
    share = figures.rate("self_assessment.payments_on_account_share")
    if under <= limit or under * WHOLE <= year.with_it.total * (WHOLE - share):
        return ()
    return warn(
        "payments_on_account",
        f"Payroll takes {pounds(under)} less in {year.name} than the withdrawals add to the tax: more than "
        f"{pounds(limit)}, and less than {per_cent(share)} of the year's tax is deducted at source, so half as much "
        "again is due on account by 31 January and the other half by 31 July (days from memory). Claim to reduce it if "
        "the withdrawals do not come again.",
        (*year.person.path, "self_assessment"),
        figures=figures,
        rests_on=("self_assessment.payments_on_account_limit", "self_assessment.payments_on_account_share"),
        money={"under_deducted": under},
    )


def tax_return_needed(year: YearFacts) -> Found:
    """The child benefit charge has to be told to HMRC."""
    facts = year.person.facts
    if facts is None or facts.self_assessment or not year.with_it.child_benefit_charge or not year.taxable:
        return ()
    if year.without.child_benefit_charge:
        return ()
    return warn(
        "tax_return_needed",
        f"The child benefit charge of {pounds(year.with_it.child_benefit_charge)} for {year.name} has to be told to "
        "HMRC: by a tax return, or by asking that it be collected through the tax code. Register by 5 October after the "
        "tax year.",
        (*year.person.path, "self_assessment"),
        figures=year.figures,
        money={"child_benefit_charge": year.with_it.child_benefit_charge},
    )


# Payroll


def payroll_takes_more_than_is_due(year: YearFacts, taken: Taken) -> Found:
    """The first payment is taxed as if it came every month."""
    payroll = taken.payroll
    if payroll is None or payroll.over_deducted == 0 or payroll.reclaim.form == "none":
        return ()
    return warn(
        "payroll_takes_more_than_is_due",
        f"Payroll takes {pounds(payroll.deduction.tax)}, which is {pounds(payroll.over_deducted)} more than this "
        f"withdrawal adds to the year's tax. Claim it back with form {payroll.reclaim.form}, or wait until HMRC settles "
        "the year. Check the form with HMRC before a second payment.",
        taken.payroll_path,
        figures=year.figures,
        money={"over_deducted": payroll.over_deducted, "deducted": payroll.deduction.tax},
    )


def payroll_takes_less_than_is_due(year: YearFacts, taken: Taken) -> Found:
    """Payroll takes too little, so a bill follows."""
    payroll = taken.payroll
    if payroll is None or payroll.under_deducted == 0:
        return ()
    return warn(
        "payroll_takes_less_than_is_due",
        f"Payroll takes {pounds(payroll.under_deducted)} less than this withdrawal adds to the year's tax. Keep that "
        "much back: HMRC collects it by a changed code, by Simple Assessment or through a tax return.",
        taken.payroll_path,
        figures=year.figures,
        money={"under_deducted": payroll.under_deducted},
    )


def second_payment_in_the_year(year: YearFacts) -> Found:
    """A second taxable payment: the code may have changed, and the form for a single payment does not fit."""
    paid = [taken for taken in year.taken if taken.payment.taxable]
    if len(paid) < 2:
        return ()
    return warn(
        "second_payment_in_the_year",
        f"{len(paid)} taxable payments are planned in {year.name}. After the first, HMRC may give the payer a code that "
        "settles the year at once, and form P55 fits only where no more payments follow. Wait for that code before the second.",
        paid[1].path,
        figures=year.figures,
        counts={"payments": len(paid)},
    )


def state_pension_uses_personal_allowance(year: YearFacts) -> Found:
    """The State Pension alone is more than the personal allowance, so that every pound drawn is taxed."""
    allowance = year.tax_rules.personal_allowance
    if year.state_pension <= allowance:
        return ()
    return warn(
        "state_pension_uses_personal_allowance",
        f"From {year.name} the State Pension of {year.person.whose}, {pounds(year.state_pension)} in that tax year, is "
        f"more than the personal allowance of {pounds(allowance)}: whatever is drawn then is taxed from the first pound. "
        "Drawing more before that year may use allowances that would otherwise be lost.",
        (*year.person.path, "income"),
        figures=year.figures,
        rests_on=("income_tax.personal_allowance",),
        status=year.figures.status,
        money={"state_pension": year.state_pension},
    )


def state_pension_untaxed_at_source(year: YearFacts) -> Found:
    """The State Pension uses the allowance that an emergency code gives to the payment."""
    if not year.state_pension or year.with_it.total == 0:
        return ()
    first = next((taken for taken in year.taken if taken.payment.taxable), None)
    if first is None or first.payroll is None or not first.payroll.assumed:
        return ()
    return warn(
        "state_pension_untaxed_at_source",
        f"The State Pension of {pounds(year.state_pension)} is taxable but paid without tax, and uses that much of the "
        f"allowance in {year.name}; the emergency code gives the allowance again. HMRC takes the tax through the code of "
        "this pension or asks for it afterwards. Keep it back.",
        (*year.person.path, "income"),
        figures=year.figures,
        money={"state_pension": year.state_pension},
    )


def k_code_adjustment(year: YearFacts, taken: Taken) -> Found:
    """HMRC's routine for K codes was not read in the original."""
    if taken.payroll is None or not taken.payment.taxable or "K" not in taken.payroll.facts.code:
        return ()
    return warn(
        "k_code_adjustment",
        "The pay adjustment of a K code is worked out as that of a suffix code; HMRC's own text was not read for it. "
        "The payer's payroll decides.",
        (*taken.payroll_path, "code"),
        figures=year.figures,
    )


def scottish_property_income(year: YearFacts) -> Found:
    """Property rates begin in 2027-28, and how they reach a Scottish taxpayer is a reading of the statute."""
    if year.person.nation != "scotland" or not year.taxpayer.property_income or not year.taken:
        return ()
    if not year.figures.has("income_tax.property_bands"):
        return ()
    return warn(
        "scottish_property_income",
        f"From {year.name} property income has its own rates. The power for Scottish property rates is not in force, so it is "
        "taxed here at the Scottish rates for other income: a reading of the statute that no guidance confirms.",
        (*year.person.path, "income"),
        figures=year.figures,
        status="announced",
    )


def rates_not_yet_set(case: Circumstances) -> Found:
    """The figures of some year are not all law yet."""
    unsettled = [year.figures for one in case.people for year in one.years if year.figures.status != "enacted"]
    if not unsettled:
        return ()
    first = min(unsettled, key=lambda figures: figures.name)
    since = "for" if first.name == max(one.years[-1].name for one in case.people) else "from"
    return warn(
        "rates_not_yet_set",
        f"Some of the figures {since} {first.name}{'' if since == 'for' else ' on'} are announced or carried forward from the "
        "last year that is known; rules.assumptions lists them. Work it out again once they are set.",
        case.year_path,
        figures=first,
        status=first.status,
    )


def spending_drawn_beyond_the_band(case: Circumstances) -> Found:
    """In a plan: spending is met by drawing more than fills the band that the plan aims at."""
    for year in case.together:
        if not year.beyond_the_band:
            continue
        return warn(
            "spending_drawn_beyond_the_band",
            f"In {year.rules.figures.name} cash and ISAs do not cover the spending of {pounds(year.spending)}: "
            f"{pounds(year.beyond_the_band)} of taxable pension is drawn beyond what fills the "
            f"{year.fill.replace('_', ' ')}, which adds {pounds(year.beyond_tax)} to that tax year's tax. Check whether "
            "some of it can be drawn in an earlier year or spent later.",
            ("spending",),
            figures=year.rules.figures,
            money={
                "spending": year.spending,
                "beyond_the_band": year.beyond_the_band,
                "income_tax": year.beyond_tax,
            },
            cost=year.beyond_tax,
        )
    return ()

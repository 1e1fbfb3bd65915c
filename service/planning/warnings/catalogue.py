"""The catalogue: what each warning is, once. Every warning is made from its entry by ``warn``.

An entry's dates say when the law it tells of runs; None where it ran before the first tax year held or runs on. What the
law will be is told by the figures of each tax year. Amounts stand in the figures, not here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from types import MappingProxyType

from service.figures.loader import STATUSES, TaxYear
from service.planning.warnings.warning import NO_FIGURES, Found, Path, Warning


@dataclass(frozen=True, slots=True)
class Entry:
    """A warning in the catalogue. ``facts`` are the fields of a request that it looks at, in POST /v1/warnings' words."""

    code: str
    effect: str
    title: str
    applies_when: str
    facts: tuple[str, ...]
    sources: tuple[str, ...]
    since: date | None = None
    until: date | None = None


_FA4, _FA24 = "Finance Act 2004", "Finance Act 2024 Sch.9"
_ITA, _ITEPA = "Income Tax Act 2007", "Income Tax (Earnings and Pensions) Act 2003"
_IHTA, _FA26 = "Inheritance Tax Act 1984", "Finance Act 2026"
_ISA = "SI 1998/1870"
_BORN, _DAY, _METHOD, _AMOUNT = "date_of_birth", "withdrawals.date", "withdrawals.method", "withdrawals.amount"
_INCOME, _POT, _DRAWDOWN = "income", "pension.uncrystallised", "pension.drawdown"
_NATION, _USED = "tax_residence", "pension.lump_sum_allowance_used"
_PERCENT, _ISAS, _CONTRIBUTIONS = "pension.lifetime_allowance_used_percent", "isa.subscriptions", "contributions"
_LUMP_SUM_ALLOWANCE_FROM, _PENSIONS_IN_ESTATE_FROM = date(2024, 4, 6), date(2027, 4, 6)

_ENTRIES = (
    # Access
    Entry(
        "below_minimum_pension_age",
        "not_permitted",
        "Too young to take this",
        "A withdrawal is dated before the minimum pension age, or a protected one, is reached.",
        (_BORN, _DAY, "pension.minimum_pension_age"),
        (f"{_FA4} ss.165, 279", "Finance Act 2022 s.10", f"{_FA4} ss.208-213"),
    ),
    Entry(
        "minimum_pension_age_depends_on_the_day",
        "check",
        "The day of payment decides whether this is permitted",
        "The minimum pension age is reached within the tax year, and no day of payment is given.",
        (_BORN, _DAY, "pension.minimum_pension_age"),
        (f"{_FA4} ss.165, 279", "Finance Act 2022 s.10"),
    ),
    Entry(
        "minimum_pension_age_not_reached",
        "check",
        "Too young to draw this pension for a time",
        "In a plan, the minimum pension age is not reached on the last day of some tax year.",
        (_BORN, "pension.minimum_pension_age"),
        (f"{_FA4} ss.165, 279", "Finance Act 2022 s.10"),
    ),
    Entry(
        "access_closes_again",
        "check",
        "Access closes again when the minimum age rises",
        "The minimum age is reached now, but the higher one of 6 April 2028 is reached only after that day, and something is "
        "left uncrystallised.",
        (_BORN, _DAY, "pension.minimum_pension_age"),
        ("Finance Act 2022 s.10",),
        until=date(2028, 4, 5),
    ),
    Entry(
        "unauthorised_payment_charges",
        "costs",
        "An unauthorised payment bears charges",
        "A withdrawal is dated before the minimum pension age; the surcharge is added where it is a large share of the fund.",
        (_BORN, _DAY, _AMOUNT, _POT, _DRAWDOWN),
        (f"{_FA4} ss.208-213", "HMRC Pensions Tax Manual PTM134100"),
    ),
    Entry(
        "ill_health_route",
        "check",
        "Ill-health may allow it earlier",
        "The minimum pension age is not reached, and ill-health is given, or was not said to be absent.",
        ("ill_health", _BORN, _DAY),
        (f"{_FA4} ss.164-165 and Sch.28 para 1, Sch.29 para 4 (from memory)", f"{_ITEPA} s.637C"),
    ),
    # Saving
    Entry(
        "money_purchase_annual_allowance_triggered",
        "costs",
        "Future pension saving is cut back",
        "Income is taken flexibly for the first time: a UFPLS, or income from drawdown.",
        (_METHOD, "pension.flexibly_accessed"),
        (f"{_FA4} ss.227ZA-227G", "HMRC Pensions Tax Manual PTM056520"),
    ),
    Entry(
        "tell_other_schemes",
        "check",
        "Other schemes must be told",
        "Income is taken flexibly for the first time by someone who works, saves, or may save in another scheme.",
        ("saves_in_other_schemes", _CONTRIBUTIONS, _INCOME, "relief_at_source_contributions"),
        ("SI 2006/567 reg.14ZB", "HMRC Pensions Tax Manual PTM166400"),
    ),
    Entry(
        "contributions_above_money_purchase_annual_allowance",
        "costs",
        "Planned saving exceeds the money purchase annual allowance",
        "Money purchase contributions of a tax year after the first flexible access are more than the allowance.",
        (_CONTRIBUTIONS, _DAY, _METHOD, "pension.flexibly_accessed"),
        (f"{_FA4} ss.227-227B, 227ZA",),
    ),
    Entry(
        "annual_allowance_tapered",
        "costs",
        "The withdrawals lower the annual allowance",
        "Taxable withdrawals lift threshold and adjusted income so far that the annual allowance falls, and something "
        "is saved.",
        (_CONTRIBUTIONS, _INCOME, _AMOUNT),
        (f"{_FA4} s.228ZA",),
    ),
    Entry(
        "annual_allowance_exceeded",
        "costs",
        "Planned saving exceeds the annual allowance",
        "All saving of a tax year is more than the annual allowance and what is carried forward.",
        (_CONTRIBUTIONS, "carry_forward", _INCOME),
        (f"{_FA4} ss.227-228ZA, 228A",),
    ),
    Entry(
        "carry_forward_decides",
        "check",
        "What is carried forward decides",
        "All saving of a tax year is more than the annual allowance, and what is carried forward is not given.",
        (_CONTRIBUTIONS, "carry_forward", _INCOME),
        (f"{_FA4} ss.228-228A",),
    ),
    Entry(
        "defined_benefit_saving_above_alternative_allowance",
        "costs",
        "Defined benefit saving exceeds the alternative allowance",
        "The money purchase annual allowance is exceeded and defined benefit saving is more than the alternative allowance.",
        (_CONTRIBUTIONS, "pension.flexibly_accessed"),
        (f"{_FA4} ss.227B, 227ZA", "HMRC Pensions Tax Manual PTM056510"),
    ),
    Entry(
        "contributions_not_given",
        "check",
        "Planned contributions decide",
        "Somebody with income from work takes income flexibly, or lump sums over the recycling limit, and the contributions "
        "planned are not given.",
        (_CONTRIBUTIONS, _INCOME, _METHOD, _AMOUNT),
        (f"{_FA4} ss.227ZA-227G and Sch.29 para 3A",),
    ),
    # Lump sums
    Entry(
        "lump_sum_above_permitted_maximum",
        "not_permitted",
        "More than the tax-free lump sum may be",
        "A lump sum is more than a quarter of the uncrystallised funds, or than the allowances leave.",
        (_METHOD, _AMOUNT, _POT, _USED, _PERCENT),
        (f"{_FA4} Sch.29 paras 1-3",),
    ),
    Entry(
        "small_pot_above_limit",
        "not_permitted",
        "Too much for a small pot",
        "A small pot of more than its limit is asked for.",
        (_METHOD, _AMOUNT),
        ("SI 2009/1171 regs 11, 11A, 12",),
    ),
    Entry(
        "too_many_small_pots",
        "not_permitted",
        "Too many small pots",
        "With those taken before, more small pots come from personal schemes than a lifetime allows.",
        ("pension.small_pots_taken", "pension.scheme", _METHOD),
        ("SI 2009/1171 regs 11-11A", "HMRC Pensions Tax Manual PTM063700"),
    ),
    Entry(
        "small_pots_not_given",
        "check",
        "Earlier small pots decide",
        "A small pot is taken, and how many were taken before, or the kind of scheme, is not given.",
        ("pension.small_pots_taken", "pension.scheme", _METHOD),
        ("SI 2009/1171 regs 11-11A", "HMRC Pensions Tax Manual PTM063700"),
    ),
    Entry(
        "small_pot_must_end_the_arrangement",
        "check",
        "A small pot must be taken whole",
        "Something would be left after a small pot.",
        (_METHOD, _AMOUNT, _POT, _DRAWDOWN),
        ("SI 2009/1171 regs 11, 11A, 12",),
    ),
    Entry(
        "tax_free_allowance_used_up",
        "check",
        "The tax-free allowance is used up",
        "Nothing is left of the lump sum allowances, or before 6 April 2024 of the lifetime allowance, while something is "
        "uncrystallised.",
        (_USED, _PERCENT, _POT, _AMOUNT),
        (f"{_FA4} Sch.29", f"{_ITEPA} ss.637P-637S", _FA24),
    ),
    Entry(
        "lump_sum_allowance_nearly_used",
        "check",
        "The lump sum allowance is nearly used",
        "Less is left of the lump sum allowance than a quarter of what is still uncrystallised.",
        (_USED, _PERCENT, _POT, _AMOUNT),
        (f"{_ITEPA} ss.637P-637Q", _FA24),
        since=_LUMP_SUM_ALLOWANCE_FROM,
    ),
    Entry(
        "death_benefit_allowance_nearly_used",
        "check",
        "The lump sum and death benefit allowance is nearly used",
        "Less is left of the lump sum and death benefit allowance than the pension holds, before the age from which heirs are "
        "taxed anyway.",
        (_USED, "pension.lump_sum_and_death_benefit_allowance_used", _PERCENT, _POT, _BORN),
        (f"{_ITEPA} ss.637R-637S, 637H-637M", _FA24),
        since=_LUMP_SUM_ALLOWANCE_FROM,
    ),
    Entry(
        "no_lump_sum_allowance_left",
        "check",
        "No tax-free part is left",
        "A UFPLS is taken and nothing is left of the lump sum allowances.",
        (_METHOD, _USED, _PERCENT),
        (f"{_FA4} Sch.29 para 4A", "HMRC Pensions Tax Manual PTM172000"),
        since=_LUMP_SUM_ALLOWANCE_FROM,
    ),
    Entry(
        "no_tax_free_cash",
        "check",
        "There is no tax-free cash to take",
        "Options for the tax-free lump sum are compared where nothing is uncrystallised or no lump sum allowance is left.",
        (_POT, _USED, _PERCENT),
        (f"{_FA4} Sch.29 paras 1-3", f"{_ITEPA} s.637P"),
    ),
    Entry(
        "all_tax_free_cash_at_once",
        "check",
        "All tax-free cash at once",
        "All that is uncrystallised is crystallised, some stays in drawdown, and some lump sum allowance stays unused.",
        (_METHOD, _AMOUNT, _POT, _USED),
        (f"{_FA4} Sch.29 paras 1-3", f"{_ITEPA} s.637P"),
        since=_LUMP_SUM_ALLOWANCE_FROM,
    ),
    Entry(
        "lifetime_allowance_exceeded",
        "costs",
        "The lifetime allowance is exceeded",
        "More is crystallised before 6 April 2024 than the lifetime allowance leaves; the charge ended on 5 April 2023.",
        (_PERCENT, _POT, _AMOUNT),
        (f"{_FA4} ss.214-215", "Finance (No. 2) Act 2023 ss.18-19"),
        until=date(2024, 4, 5),
    ),
    Entry(
        "lifetime_allowance_nearly_used",
        "check",
        "The lifetime allowance is nearly used",
        "Less is left of the lifetime allowance than is still uncrystallised.",
        (_PERCENT, _POT, _AMOUNT),
        (f"{_FA4} ss.214-216",),
        until=date(2024, 4, 5),
    ),
    Entry(
        "tax_free_received_before_april_2024_decides",
        "check",
        "Tax-free cash received before 6 April 2024 decides",
        "Benefits were taken before 6 April 2024, none since, and what was received tax free is not given.",
        ("tax_free_received_before_april_2024", _PERCENT, _USED),
        (f"{_FA24} paras 125-128", "HMRC Pensions Tax Manual PTM174300"),
        since=_LUMP_SUM_ALLOWANCE_FROM,
    ),
    Entry(
        "transitional_certificate_worth_considering",
        "check",
        "A transitional certificate is worth considering",
        "Less was received tax free before 6 April 2024 than is assumed, and no lump sum has been taken since.",
        ("tax_free_received_before_april_2024", _PERCENT, _USED),
        (f"{_FA24} paras 125-128", "HMRC Pensions Tax Manual PTM174300"),
        since=_LUMP_SUM_ALLOWANCE_FROM,
    ),
    Entry(
        "transitional_certificate_harmful",
        "check",
        "A transitional certificate would do harm",
        "More was received tax free before 6 April 2024 than is assumed, and no lump sum has been taken since.",
        ("tax_free_received_before_april_2024", _PERCENT, _USED),
        (f"{_FA24} paras 125-128", "HMRC Pensions Tax Manual PTM174100"),
        since=_LUMP_SUM_ALLOWANCE_FROM,
    ),
    # Recycling
    Entry(
        "recycling_rule_applies",
        "not_permitted",
        "The lump sum is recycled",
        "Lump sums of twelve months are over the limit, contributions of the five tax years around them rise by more than the "
        "share of what is usual and of the lump sum, and the rise was planned.",
        (_METHOD, _AMOUNT, "lump_sums_in_last_12_months", _CONTRIBUTIONS, "usual_contributions", "increase_planned"),
        (f"{_FA4} Sch.29 para 3A", "Finance Act 2006 s.159", "HMRC Pensions Tax Manual PTM133800-133860"),
    ),
    Entry(
        "recycling_may_apply",
        "check",
        "The recycling rule may apply",
        "The amounts are those of the recycling rule, and whether the rise was planned is not given.",
        (_METHOD, _AMOUNT, "lump_sums_in_last_12_months", _CONTRIBUTIONS, "usual_contributions", "increase_planned"),
        (f"{_FA4} Sch.29 para 3A", "Finance Act 2006 s.159", "HMRC Pensions Tax Manual PTM133800-133860"),
    ),
    Entry(
        "usual_contributions_not_given",
        "check",
        "Usual contributions decide on recycling",
        "Lump sums are over the limit and contributions over the share of them, and what is usually saved is not given.",
        ("usual_contributions", _CONTRIBUTIONS, _METHOD, _AMOUNT),
        (f"{_FA4} Sch.29 para 3A", "HMRC Pensions Tax Manual PTM133830"),
    ),
    # Income tax
    *(
        Entry(
            f"{band}_rate_entered",
            "costs",
            f"Some of this bears the {band} rate",
            f"Taxable withdrawals reach into the {band} rate band, and the other income does not{where}.",
            (_INCOME, _NATION, _AMOUNT, "relief_at_source_contributions", "gift_aid_donations"),
            sources,
            since=since,
        )
        for band, where, sources, since in (
            ("higher", "", (f"{_ITA} ss.10, 11A", f"{_FA4} s.192"), None),
            ("advanced", " (Scotland)", (f"{_ITA} s.11A", "Scottish rate resolutions"), date(2024, 4, 6)),
            ("additional", "", (f"{_ITA} s.10",), None),
            ("top", " (Scotland)", (f"{_ITA} s.11A", "Scottish rate resolutions"), None),
        )
    ),
    Entry(
        "personal_allowance_withdrawn",
        "costs",
        "The personal allowance is withdrawn",
        "Withdrawals take adjusted net income over the limit above which the allowance is tapered.",
        (_INCOME, _AMOUNT, "relief_at_source_contributions", "gift_aid_donations"),
        (f"{_ITA} ss.35, 58",),
    ),
    Entry(
        "savings_allowance_lost",
        "costs",
        "Part of the savings allowance is lost",
        "There is interest, and withdrawals take some income into a band with a smaller savings allowance.",
        (_INCOME, _AMOUNT),
        (f"{_ITA} s.12B",),
    ),
    Entry(
        "marriage_allowance_lost",
        "costs",
        "The marriage allowance is lost",
        "The person receives a marriage allowance, and only with the withdrawals is income taxed above the basic rate.",
        ("marriage_allowance", _INCOME, _NATION, _AMOUNT),
        (f"{_ITA} ss.55B-55C",),
    ),
    Entry(
        "marriage_allowance_not_available",
        "check",
        "The marriage allowance has no effect",
        "The person gives a marriage allowance, or receives one already without effect, and income is taxed above the basic "
        "rate.",
        ("marriage_allowance", _INCOME, _NATION, _AMOUNT),
        (f"{_ITA} ss.55B-55C",),
    ),
    Entry(
        "child_benefit_charge",
        "costs",
        "The child benefit charge rises",
        "Withdrawals take adjusted net income further above the threshold of the high income child benefit charge.",
        ("child_benefit", _INCOME, _AMOUNT),
        (f"{_ITEPA} ss.681B-681H",),
    ),
    Entry(
        "child_benefit_charge_falls_on_partner",
        "check",
        "The child benefit charge falls on the partner",
        "Child benefit is given for one of a couple, and the other has the higher adjusted net income, over the threshold.",
        ("child_benefit", _INCOME, _AMOUNT),
        (f"{_ITEPA} s.681B",),
    ),
    Entry(
        "tax_free_childcare_lost",
        "costs",
        "Tax-free childcare is lost",
        "Tax-free childcare is received, and withdrawals take adjusted net income over its limit.",
        ("tax_free_childcare", _INCOME, _AMOUNT),
        ("SI 2015/448 reg.15",),
    ),
    Entry(
        "family_facts_not_given",
        "check",
        "Children decide what this costs",
        "Withdrawals take adjusted net income past a limit that matters to parents, and whether there are children, or what is "
        "received for them, is not given.",
        ("children", "child_benefit", "tax_free_childcare", _INCOME, _AMOUNT),
        (f"{_ITEPA} ss.681B-681H", "SI 2015/448 reg.15"),
    ),
    Entry(
        "student_loan_repayment",
        "costs",
        "More of a student loan is repaid",
        "There is a student loan, unearned income is over its limit, and income over the threshold rises.",
        ("student_loans", _INCOME, _AMOUNT),
        ("SI 2009/470 reg.29(4)(c)", "HMRC CSLM16035"),
    ),
    Entry(
        "payments_on_account",
        "check",
        "Payments on account are due",
        "A return is filed, payroll takes less than is due by more than the limit, and too little of the year's tax is "
        "deducted at source.",
        ("self_assessment", _AMOUNT, _INCOME),
        ("Taxes Management Act 1970 s.59A (from memory)", "SI 1996/1654 (from memory)"),
    ),
    Entry(
        "tax_return_needed",
        "check",
        "HMRC has to be told",
        "The withdrawals bring the child benefit charge for the first time, and no return is filed, or that is not given.",
        ("self_assessment", "child_benefit", _INCOME, _AMOUNT),
        ("Taxes Management Act 1970 s.7 (from memory)", f"{_ITEPA} s.681B"),
    ),
    Entry(
        "payroll_takes_more_than_is_due",
        "check",
        "Payroll takes more than is due",
        "Payroll deducts more from a payment than it adds to the year's tax, and a form claims it back.",
        (_METHOD, _AMOUNT, _INCOME),
        ("PAYE Regulations 2003 reg.58", "HMRC PAYE manual PAYE94055"),
    ),
    Entry(
        "payroll_takes_less_than_is_due",
        "check",
        "More tax will be due later",
        "Payroll deducts less from a payment than it adds to the year's tax.",
        (_METHOD, _AMOUNT, _INCOME),
        (f"{_ITEPA} s.684",),
    ),
    Entry(
        "second_payment_in_the_year",
        "check",
        "Wait for the code before a second payment",
        "Two or more taxable payments are planned in one tax year.",
        (_DAY, _METHOD, _AMOUNT),
        ("PAYE Regulations 2003 regs 55-58", "HMRC PAYE manual PAYE94045, PAYE94055"),
    ),
    Entry(
        "state_pension_uses_personal_allowance",
        "check",
        "The State Pension uses the whole personal allowance",
        "The State Pension of a tax year is more than the personal allowance.",
        (_INCOME,),
        (f"{_ITEPA} s.577", f"{_ITA} s.35"),
    ),
    Entry(
        "state_pension_untaxed_at_source",
        "check",
        "The State Pension is taxed through the other pension",
        "There is a State Pension, the emergency code is assumed for a taxable payment, and the year bears tax.",
        (_INCOME, _AMOUNT),
        (f"{_ITEPA} ss.577, 684",),
    ),
    Entry(
        "k_code_adjustment",
        "check",
        "The deduction under a K code may differ by pennies",
        "In a quote, the payer operates a K code on a taxable payment.",
        ("payroll.code",),
        ("HMRC Specification for PAYE Tax Table Routines v24.0 para 4.3.1",),
    ),
    Entry(
        "scottish_property_income",
        "check",
        "Property income of a Scottish taxpayer is doubtful",
        "A Scottish taxpayer has property income in a tax year with property rates.",
        (_INCOME, _NATION),
        (f"{_ITA} ss.11A, 11CA", f"{_FA26} s.8, Sch.2"),
        since=date(2027, 4, 6),
    ),
    Entry(
        "rates_not_yet_set",
        "check",
        "Not all rates are law yet",
        "Some figures of a tax year are announced or carried forward.",
        ("date", _DAY),
        (f"{_ITA} s.10", f"{_FA26} ss.5-10"),
    ),
    Entry(
        "spending_drawn_beyond_the_band",
        "check",
        "Spending takes more than the band",
        "In a plan, spending is met by drawing more than fills the band aimed at.",
        ("spending", "aim"),
        (f"{_ITA} ss.10, 23",),
    ),
    Entry(
        "pension_runs_out",
        "check",
        "The pension runs out",
        "In a plan, a pension is drawn to its end before the plan ends.",
        (_POT, _DRAWDOWN),
        (f"{_FA4} s.165",),
    ),
    # ISAs and cash
    Entry(
        "isa_limit_exceeded",
        "not_permitted",
        "More than the ISA limit",
        "More is to be subscribed in a tax year than the limit leaves, replacement of flexible withdrawals counted in unless "
        "the ISA is not flexible.",
        (_ISAS, "isa.subscribed_this_year", "isa.withdrawn_this_year", "isa.flexible"),
        (f"{_ISA} reg.4ZA",),
    ),
    Entry(
        "isa_rest_next_tax_year",
        "check",
        "The next tax year's limit takes more",
        "More is to be subscribed than a tax year's limit leaves, and the next limit can take some of it.",
        (_ISAS, "date"),
        (f"{_ISA} reg.4ZA",),
    ),
    Entry(
        "partner_has_isa_room",
        "check",
        "The partner has ISA room",
        "More is to be subscribed than one person's limit leaves, and the other's leaves room.",
        (_ISAS, "isa.subscribed_this_year"),
        (f"{_ISA} reg.4ZA", f"{_ITA} s.1011 (from memory)"),
    ),
    Entry(
        "isa_flexibility_not_given",
        "check",
        "Whether the ISA is flexible decides",
        "What is planned fits only if money taken out this tax year may be put back, and whether it may is not given.",
        ("isa.flexible", "isa.withdrawn_this_year", _ISAS),
        (f"{_ISA} reg.5D (from memory)", "gov.uk, Individual Savings Accounts: withdrawing your money"),
    ),
    Entry(
        "flexible_isa_replacement",
        "check",
        "Some of this puts back flexible money",
        "What is planned fits because money taken out of a flexible ISA this tax year is put back.",
        ("isa.flexible", "isa.withdrawn_this_year", _ISAS),
        (f"{_ISA} reg.5D (from memory)", "SI 2025/733 reg.5"),
    ),
    Entry(
        "cash_isa_limit_exceeded",
        "not_permitted",
        "More than the cash ISA limit",
        "From 2027-28, someone below 65 plans to put more into cash ISAs than their limit.",
        ("isa.subscriptions.cash_isa", _ISAS, _BORN),
        ("HMRC, Tax-free savings newsletter 19", "gov.uk technical note of 26 November 2025"),
        since=date(2027, 4, 6),
    ),
    Entry(
        "cash_isa_limit_in_doubt",
        "check",
        "The lower limit for cash ISAs is doubtful",
        "In a plan, new money goes into a cash ISA in a tax year with a lower limit below 65.",
        ("isa.cash_isa", _BORN),
        ("HMRC, Tax-free savings newsletter 19", "gov.uk technical note of 26 November 2025"),
        since=date(2027, 4, 6),
    ),
    Entry(
        "isa_not_uk_resident",
        "not_permitted",
        "Not UK resident, no ISA subscription",
        "Somebody who is not UK resident, and is no Crown employee abroad, plans to subscribe.",
        ("uk_resident", "crown_employee_abroad", _ISAS),
        (f"{_ISA} reg.10 (from memory)",),
    ),
    Entry(
        "crown_service_not_given",
        "check",
        "Crown service decides",
        "Somebody who is not UK resident plans to subscribe, and whether they are a Crown employee abroad is not given.",
        ("uk_resident", "crown_employee_abroad", _ISAS),
        (f"{_ISA} reg.10 (from memory)",),
    ),
    Entry(
        "subscribed_before_paid_out",
        "check",
        "The money is not there yet",
        "By some day more is to be subscribed than cash and the payments until then, while payments follow later.",
        (_ISAS, "cash", _DAY, _AMOUNT),
        (f"{_ISA} reg.4 (from memory)",),
    ),
    Entry(
        "cash_above_deposit_protection",
        "check",
        "More cash than is protected",
        "Cash that waits, after tax and planned subscriptions, is more than is protected at the firms it is spread over.",
        ("cash", "deposit_firms", _ISAS, _AMOUNT),
        ("PRA PS24/25", "Financial Services Compensation Scheme"),
    ),
    Entry(
        "isa_room_used_up",
        "check",
        "Money waits outside ISAs",
        "In a plan, all ISA room of a tax year is used and cash is left.",
        ("cash", "isa"),
        (f"{_ISA} reg.4ZA",),
    ),
    # Death
    Entry(
        "withdrawal_enters_the_estate",
        "costs",
        "Money drawn enters the estate",
        "Before unused pensions count in the estate, what is drawn takes the estate over its bands.",
        ("estate.value", "estate.home_to_descendants", "estate.bands_of_late_spouse", _AMOUNT),
        (f"{_IHTA} ss.1, 4, 8D-8M and Sch.1",),
        until=date(2027, 4, 5),
    ),
    Entry(
        "pension_counts_in_the_estate",
        "costs",
        "The pension counts in the estate",
        "From 6 April 2027, what is left in the pension takes the estate over its bands.",
        ("estate.value", "estate.home_to_descendants", "estate.bands_of_late_spouse", _POT, _DRAWDOWN),
        (f"{_FA26} ss.66-71", f"{_IHTA} s.150A"),
        since=_PENSIONS_IN_ESTATE_FROM,
    ),
    Entry(
        "pension_counts_later",
        "check",
        "The pension will count in the estate",
        "Before 6 April 2027, what is left in the pension would take the estate over its bands once it counts.",
        ("estate.value", "estate.home_to_descendants", "estate.bands_of_late_spouse", _POT, _DRAWDOWN),
        (f"{_FA26} ss.66-71",),
        until=date(2027, 4, 5),
    ),
    Entry(
        "spouse_exemption_postpones",
        "check",
        "The spouse exemption only postpones",
        "All goes to the spouse, and what is left is more than the bands.",
        ("estate.value", "estate.all_to_spouse", _POT),
        (f"{_IHTA} ss.8A, 18",),
    ),
    Entry(
        "spouse_exemption_not_given",
        "check",
        "Who inherits decides",
        "What is left is more than the bands, and whether it goes to a spouse is not given.",
        ("estate.all_to_spouse", "estate.value"),
        (f"{_IHTA} s.18",),
    ),
    Entry(
        "estate_facts_decide",
        "check",
        "Facts of the estate decide",
        "What is left is between the least and the most that the bands may be, and the facts that decide are not given.",
        ("estate.value", "estate.home_to_descendants", "estate.bands_of_late_spouse"),
        (f"{_IHTA} ss.8A, 8D-8M and Sch.1",),
    ),
    Entry(
        "residence_band_tapered",
        "costs",
        "The residence nil-rate band is tapered",
        "The home goes to descendants, and the estate, from 6 April 2027 with the pension, is over the taper threshold.",
        ("estate.value", "estate.home_to_descendants", "estate.bands_of_late_spouse", _POT, _AMOUNT),
        (f"{_IHTA} s.8D(5)", f"{_FA26} ss.66-72"),
    ),
    Entry(
        "estate_not_given",
        "check",
        "The estate decides",
        "Pensions, ISAs and cash alone are more than the nil-rate band, and the estate is not given.",
        ("estate", _POT, "cash", "isa.value"),
        (f"{_IHTA} ss.4, 7 and Sch.1", f"{_FA26} ss.66-72"),
    ),
    Entry(
        "heirs_pay_income_tax",
        "check",
        "Heirs pay income tax",
        "The person has reached the age from which heirs pay income tax, and something is left in the pension.",
        (_BORN, _POT, _DRAWDOWN),
        (f"{_ITEPA} ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    ),
    Entry(
        "heirs_pay_income_tax_soon",
        "check",
        "Heirs will pay income tax soon",
        "The person is within a year of the age from which heirs pay income tax, and something is left in the pension.",
        (_BORN, _POT, _DRAWDOWN),
        (f"{_ITEPA} ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    ),
    Entry(
        "nominations_to_review",
        "check",
        "Review who is nominated",
        "No nomination is held, or it was last reviewed before unused pensions came to count in the estate.",
        ("pension.nomination", "pension.nomination_reviewed_on"),
        (f"{_FA4} Sch.28 Part 2 (from memory)", f"{_FA26} ss.66-71", f"{_IHTA} s.18"),
    ),
    Entry(
        "two_year_window_running",
        "check",
        "Two years to take the inherited pension",
        "A pension was inherited from someone who died before 75, and two years since the scheme knew have not ended.",
        ("inherited_pension.scheme_knew_on", "inherited_pension.died_before_75", "date"),
        (f"{_ITEPA} ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    ),
    Entry(
        "two_year_window_passed",
        "costs",
        "The two years for the inherited pension have ended",
        "A pension was inherited from someone who died before 75, and two years since the scheme knew have ended.",
        ("inherited_pension.scheme_knew_on", "inherited_pension.died_before_75", "date"),
        (f"{_ITEPA} ss.637H-637M", "Taxation of Pensions Act 2014 Sch.2"),
    ),
    # Benefits and care
    Entry(
        "universal_credit_reduced",
        "costs",
        "Universal Credit is reduced",
        "Universal Credit is received, and withdrawals raise cash and ISAs above the lower capital limit.",
        ("benefits.universal_credit", "cash", "isa.value", _AMOUNT),
        ("Universal Credit Regulations 2013 regs 18, 72",),
    ),
    Entry(
        "universal_credit_ends",
        "costs",
        "Universal Credit ends",
        "Universal Credit is received, and withdrawals raise cash and ISAs above the upper capital limit.",
        ("benefits.universal_credit", "cash", "isa.value", _AMOUNT),
        ("Universal Credit Regulations 2013 reg.18",),
    ),
    Entry(
        "pension_credit_reduced",
        "costs",
        "Pension Credit is reduced",
        "Pension Credit is received, and withdrawals raise cash and ISAs above what is disregarded.",
        ("benefits.pension_credit", "cash", "isa.value", _AMOUNT),
        ("State Pension Credit Regulations 2002",),
    ),
    Entry(
        "notional_income",
        "check",
        "The pension counts as income even if not drawn",
        "A means-tested benefit is received, State Pension age is reached, and something is left in the pension.",
        ("benefits", _BORN, _POT, _DRAWDOWN),
        ("Universal Credit Regulations 2013 reg.74(3)-(4)", "State Pension Credit Regulations 2002 reg.18"),
    ),
    Entry(
        "deprivation_of_capital",
        "check",
        "Giving money away may not lower capital",
        "Benefits or care that depend on capital are received, money is withdrawn, and gifts are planned or not given.",
        ("benefits", "gifts_planned", _AMOUNT),
        (
            "Universal Credit Regulations 2013 reg.50 (from memory)",
            "State Pension Credit Regulations 2002 reg.21 (from memory)",
        ),
    ),
    Entry(
        "winter_fuel_payment_repaid",
        "costs",
        "The winter fuel payment is repaid",
        "State Pension age is reached, no benefit spares it, and withdrawals take total income over the limit.",
        (_BORN, _INCOME, "benefits", _AMOUNT),
        (f"{_ITEPA} s.681I", f"{_FA26} Sch.10"),
        since=date(2025, 4, 6),
    ),
    Entry(
        "council_tax_support_may_fall",
        "check",
        "Council tax support may fall",
        "Council tax support is received and money is withdrawn.",
        ("benefits.council_tax_support", _AMOUNT),
        ("Local Government Finance Act 1992 s.13A (from memory)",),
    ),
    Entry(
        "care_support_ends",
        "costs",
        "Help with care ends",
        "In England, help with care is received, and withdrawals raise cash and ISAs above the upper capital limit.",
        ("benefits.care_support", "cash", "isa.value", _AMOUNT, _NATION),
        ("Care and Support (Charging and Assessment of Resources) Regulations 2014 (from memory)", "LAC(DHSC)(2024)1"),
    ),
    Entry(
        "care_contribution_rises",
        "costs",
        "The contribution to care rises",
        "In England, help with care is received, and withdrawals raise cash and ISAs above the lower capital limit.",
        ("benefits.care_support", "cash", "isa.value", _AMOUNT, _NATION),
        ("Care and Support (Charging and Assessment of Resources) Regulations 2014 (from memory)", "LAC(DHSC)(2024)1"),
    ),
    Entry(
        "care_limits_of_the_nation_not_held",
        "check",
        "Help with care has other limits here",
        "Outside England, help with care is received and money is withdrawn.",
        ("benefits.care_support", _NATION, _AMOUNT),
        ("the charging rules of each nation",),
    ),
    Entry(
        "benefits_not_given",
        "check",
        "Benefits decide what this costs",
        "Other income is below the personal allowances, cash and ISAs are not over Universal Credit's upper limit, and "
        "benefits are not given.",
        ("benefits", _INCOME, "cash", "isa.value"),
        ("Universal Credit Regulations 2013 regs 18, 72", "State Pension Credit Regulations 2002"),
    ),
    # The scheme
    Entry(
        "advice_required_for_safeguarded_benefits",
        "check",
        "Advice is required first",
        "Safeguarded benefits are worth more than the threshold, and something is crystallised or transferred.",
        ("pension.safeguarded_benefits", _METHOD, "pension.transfer"),
        ("Pension Schemes Act 2015 s.48 (from memory)", "SI 2015/742 (from memory)"),
    ),
    Entry(
        "guaranteed_annuity_rate_lost",
        "costs",
        "A guaranteed annuity rate is given up",
        "There is a guaranteed annuity rate, and something is crystallised in another way or transferred.",
        ("pension.guaranteed_annuity_rate", _METHOD, _AMOUNT, "pension.transfer"),
        ("Pension Schemes Act 2015 s.48 (from memory)",),
    ),
    Entry(
        "protected_lump_sum_lost",
        "costs",
        "A protected lump sum is lost",
        "The scheme protects a tax-free share of more than a quarter, and a UFPLS or a transfer gives it up.",
        ("pension.protected_tax_free_share", _METHOD, _AMOUNT, "pension.transfer"),
        (f"{_FA4} Sch.36 paras 31-34",),
    ),
    Entry(
        "exit_charge",
        "costs",
        "The scheme takes an exit charge",
        "There is an exit charge, and money is withdrawn or transferred.",
        ("pension.exit_charge", _AMOUNT, "pension.transfer"),
        ("Financial Services and Markets Act 2000 s.137FBA (from memory)",),
    ),
    Entry(
        "employer_contributions_lost",
        "costs",
        "The employer's contributions end",
        "The employer pays in, and the pension is emptied or transferred.",
        ("pension.employer_contributions", _AMOUNT, "pension.transfer"),
        ("Pensions Act 2008 s.3 (from memory)",),
    ),
    Entry(
        "pension_features_not_given",
        "check",
        "What the scheme guarantees decides",
        "More is crystallised than the advice threshold, and nothing is given of safeguarded benefits, guarantees or "
        "protected lump sums.",
        (
            "pension.safeguarded_benefits",
            "pension.guaranteed_annuity_rate",
            "pension.protected_tax_free_share",
            _AMOUNT,
        ),
        ("Pension Schemes Act 2015 s.48 (from memory)", "SI 2015/742 (from memory)", f"{_FA4} Sch.36 paras 31-34"),
    ),
    Entry(
        "transfer_red_flag",
        "not_permitted",
        "A red flag stops the transfer",
        "A transfer is planned and the scheme sees a red flag.",
        ("pension.transfer", "date"),
        ("SI 2021/1237",),
        since=date(2021, 11, 30),
    ),
    Entry(
        "transfer_amber_flag",
        "check",
        "An amber flag holds the transfer up",
        "A transfer is planned and the scheme sees an amber flag.",
        ("pension.transfer", "date"),
        ("SI 2021/1237",),
        since=date(2021, 11, 30),
    ),
    Entry(
        "unexpected_contact",
        "check",
        "A call out of the blue",
        "Somebody got in touch about the pension without being asked.",
        ("unexpected_contact",),
        ("SI 2018/1269 (from memory)",),
    ),
    Entry(
        "guidance_appointment",
        "check",
        "A free guidance appointment",
        "Benefits are first taken at an age with a right to guidance, and no appointment or adviser is given.",
        ("guidance_taken", "regulated_adviser", _BORN, "date"),
        ("Financial Guidance and Claims Act 2018 (from memory)", "FCA Handbook COBS 19.7"),
    ),
    Entry(
        "take_regulated_advice",
        "check",
        "Take regulated advice",
        "Safeguarded benefits, a guaranteed annuity rate or a protected lump sum are given up, and no adviser is given.",
        (
            "regulated_adviser",
            "pension.safeguarded_benefits",
            "pension.guaranteed_annuity_rate",
            "pension.protected_tax_free_share",
        ),
        ("Financial Services and Markets Act 2000 s.19 (from memory)", "Pension Schemes Act 2015 s.48 (from memory)"),
    ),
)

CATALOGUE: Mapping[str, Entry] = MappingProxyType({entry.code: entry for entry in _ENTRIES})
"""Every warning by its code, in the order of the topics."""

_PLAIN_GROUPS = ("income_tax", "pension", "benefits")


def in_force(code: str, day: date | None) -> bool:
    """Whether the law that a warning tells of runs on a day; without a day, whether it runs at all."""
    entry = CATALOGUE[code]
    if day is None:
        return True
    return (entry.since is None or entry.since <= day) and (entry.until is None or day <= entry.until)


@cache
def figure_key(name: str) -> str:
    """The name under which a warning tells a tax year's figure: the group is left out where the name says enough."""
    group, _, rest = name.partition(".")
    return rest if group in _PLAIN_GROUPS else f"{group}_{rest}"


def per_cent(rate: int) -> str:
    """A rate for people: 8.75%, or 20% when there are no decimals."""
    whole, rest = divmod(rate, 100)
    return f"{whole}.{rest:02d}".rstrip("0") + "%" if rest else f"{whole}%"


def warn(
    code: str,
    detail: str,
    path: Path,
    *,
    figures: TaxYear,
    rests_on: tuple[str, ...] = (),
    status: str = "enacted",
    money: Mapping[str, int] = NO_FIGURES,
    counts: Mapping[str, int] = NO_FIGURES,
    rates: Mapping[str, int] = NO_FIGURES,
    cost: int = 0,
) -> Found:
    """The one warning that a rule has found, made from its entry.

    ``rests_on`` names figures of the tax year ``figures``: their values go with the warning, its status is the weakest of
    theirs and ``status``, and what is doubtful about them ends the detail.
    """
    entry = CATALOGUE[code]
    doubts: tuple[str, ...] = ()
    for name in rests_on:
        figure = figures.figures[name]
        value, kind, key = figure.value, figure.kind, figure_key(name)
        if figure.status != "enacted":
            status = max(status, figure.status, key=STATUSES.index)
        if isinstance(value, int):
            if kind == "money":
                money = {**money, key: value}
            elif kind == "rate":
                rates = {**rates, key: value}
            else:
                counts = {**counts, key: value}
        if figure.doubt is not None and figure.doubt not in doubts:
            doubts += (figure.doubt,)
    if doubts:
        detail = f"{detail} In doubt: {' '.join(doubts)}"
    return (
        Warning(
            code,
            entry.effect,
            entry.title,
            detail,
            path,
            entry.sources,
            status,
            money,
            counts,
            rates,
            cost,
            figures.name,
        ),
    )

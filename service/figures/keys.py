"""Every figure there is: its dotted name, what kind of value it has, and the tax years that have it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, get_args


@dataclass(frozen=True, slots=True)
class Key:
    """What a file must hold under one name.

    ``kind`` is one of: "money" (pounds), "rate" (a fraction), "count" (a whole number), "text" (one of ``words``),
    "code" (an emergency tax code), "date" (a day), "bands" (``words`` are the bands there must be, in this order; others may
    stand between them), "rates" (a rate for each tax code; ``words`` are the codes there must be).
    ``since`` and ``until`` are the first and last tax year that have the figure: it is required in those and refused in
    all others. ``limits_of`` names the bands whose limits these bands share. ``divides``: the law divides by it, so it is more
    than nought, and a rate less than the whole.
    """

    kind: str
    words: tuple[str, ...] = ()
    since: str | None = None
    until: str | None = None
    limits_of: str | None = None
    divides: bool = False

    def belongs_to(self, tax_year: str) -> bool:
        """Whether the tax year, such as "2026-27", has this figure."""
        return (self.since is None or self.since <= tax_year) and (self.until is None or tax_year <= self.until)


_MONEY = Key("money")
_DIVISOR = Key("money", divides=True)
_RATE = Key("rate")
_COUNT = Key("count")
_UK_LIMITS = "income_tax.bands_england"
_UK_BANDS = ("basic_rate", "higher_rate", "additional_rate")
_SCOTTISH_BANDS = ("starter_rate", "basic_rate", "intermediate_rate", "higher_rate", "top_rate")
_SAVINGS_BANDS = ("savings_basic_rate", "savings_higher_rate", "savings_additional_rate")
_DIVIDEND_BANDS = ("dividend_ordinary_rate", "dividend_upper_rate", "dividend_additional_rate")
_PROPERTY_BANDS = ("property_basic_rate", "property_higher_rate", "property_additional_rate")
_FLAT_RATE_CODES = ("BR", "D0", "D1", "SBR", "SD0", "SD1", "SD2", "CBR", "CD0", "CD1")
LumpSumRegime = Literal["lifetime_allowance_charge", "lifetime_allowance_no_charge", "lump_sum_allowance"]
"""What limits tax-free lump sums: see ``law.lump_sums``."""


KEYS: Mapping[str, Key] = MappingProxyType(
    {
        "income_tax.personal_allowance": _MONEY,
        "income_tax.personal_allowance_taper_threshold": _MONEY,
        "income_tax.blind_persons_allowance": _MONEY,
        "income_tax.marriage_allowance": _MONEY,
        "income_tax.marriage_allowance_claim_years": _COUNT,
        "income_tax.bands_england": Key("bands", _UK_BANDS),
        "income_tax.bands_northern_ireland": Key("bands", _UK_BANDS),
        "income_tax.bands_wales": Key("bands", _UK_BANDS),
        "income_tax.bands_scotland": Key("bands", _SCOTTISH_BANDS),
        "income_tax.savings_bands": Key("bands", _SAVINGS_BANDS, limits_of=_UK_LIMITS),
        "income_tax.dividend_bands": Key("bands", _DIVIDEND_BANDS, limits_of=_UK_LIMITS),
        "income_tax.property_bands": Key("bands", _PROPERTY_BANDS, since="2027-28", limits_of=_UK_LIMITS),
        "income_tax.starting_rate_for_savings_limit": _MONEY,
        "income_tax.personal_savings_allowance_basic": _MONEY,
        "income_tax.personal_savings_allowance_higher": _MONEY,
        "income_tax.dividend_allowance": _MONEY,
        "income_tax.allowance_order": Key("text", ("most_favourable", "other_income_first")),
        "income_tax.child_benefit_charge_threshold": _MONEY,
        "income_tax.child_benefit_charge_step": _DIVISOR,
        "payroll.emergency_code": Key("code"),
        "payroll.flat_rate_codes": Key("rates", _FLAT_RATE_CODES),
        "payroll.overriding_limit": _RATE,
        "payroll.overpayment_claim_years": _COUNT,
        "pension.minimum_pension_age": _COUNT,
        "pension.annual_allowance": _MONEY,
        "pension.annual_allowance_threshold_income": _MONEY,
        "pension.annual_allowance_adjusted_income": _MONEY,
        "pension.annual_allowance_tapered_minimum": _MONEY,
        "pension.money_purchase_annual_allowance": _MONEY,
        "pension.relief_basic_amount": _MONEY,
        "pension.relief_ends_at_age": _COUNT,
        "pension.small_pot_limit": _MONEY,
        "pension.tax_free_fraction": Key("rate", divides=True),
        "pension.lump_sum_regime": Key("text", get_args(LumpSumRegime)),
        "pension.lifetime_allowance": Key("money", until="2023-24", divides=True),
        "pension.lifetime_allowance_charge_lump_sum": Key("rate", until="2022-23"),
        "pension.lifetime_allowance_charge_retained": Key("rate", until="2022-23"),
        "pension.lifetime_allowance_tested_until_age": Key("count", until="2023-24"),
        "pension.lump_sum_allowance": Key("money", since="2024-25"),
        "pension.lump_sum_and_death_benefit_allowance": Key("money", since="2024-25"),
        "pension.standard_lifetime_allowance_before_2024": Key("money", since="2024-25"),
        "pension.special_lump_sum_death_benefits_charge": _RATE,
        "pension.unauthorised_payment_charge": _RATE,
        "pension.unauthorised_payment_surcharge": _RATE,
        "pension.unauthorised_payment_surcharge_share": _RATE,
        "pension.notice_to_other_schemes_days": _COUNT,
        "pension.flexible_access_statement_days": _COUNT,
        "pension.transitional_certificate_months": Key("count", since="2024-25"),
        "pension.recycling_lump_sum_limit": _MONEY,
        "pension.recycling_increase_share": _RATE,
        "pension.recycling_window_years": _COUNT,
        "pension.small_pots_from_personal_schemes": _COUNT,
        "pension.safeguarded_benefits_advice_threshold": _MONEY,
        "pension.transfer_conditions_from": Key("date", since="2021-22"),
        "pension.guidance_age": _COUNT,
        "pension.exit_charge_limit_share": _RATE,
        "pension.protection_kept_if_applied_for_before": Key("date", since="2023-24"),
        "pension.serious_ill_health_lump_sum_taxed_from_age": _COUNT,
        "pension.flexi_access_drawdown_from": Key("date"),
        "pension.beneficiaries_taxed_from_age": _COUNT,
        "pension.beneficiaries_window_years": _COUNT,
        "isa.subscription_limit": _MONEY,
        "isa.cash_limit_under_65": _MONEY,
        "isa.cash_limit_ends_at_age": Key("count", since="2027-28"),
        "isa.cash_interest_charge": Key("rate", since="2027-28"),
        "isa.additional_subscription_from": Key("date"),
        "isa.additional_subscription_value_at_end_from": Key("date"),
        "isa.additional_subscription_years": _COUNT,
        "isa.additional_subscription_days": _COUNT,
        "inheritance_tax.nil_rate_band": _MONEY,
        "inheritance_tax.residence_nil_rate_band": _MONEY,
        "inheritance_tax.residence_taper_threshold": _MONEY,
        "inheritance_tax.rate": _RATE,
        "inheritance_tax.charity_rate": _RATE,
        "inheritance_tax.charity_least_share": _RATE,
        "inheritance_tax.gift_years": _COUNT,
        "inheritance_tax.annual_gift_exemption": _MONEY,
        "inheritance_tax.unused_pensions_in_estate": Key("text", ("no", "yes")),
        "state_pension.new_full_weekly": _MONEY,
        "state_pension.basic_full_weekly": _MONEY,
        "self_assessment.payments_on_account_limit": _MONEY,
        "self_assessment.payments_on_account_share": _RATE,
        "winter_fuel.income_limit": Key("money", since="2025-26"),
        "winter_fuel.payment": Key("money", since="2025-26"),
        "winter_fuel.payment_from_higher_age": Key("money", since="2025-26"),
        "winter_fuel.higher_age": Key("count", since="2025-26"),
        "winter_fuel.shared_payment": Key("money", since="2025-26"),
        "winter_fuel.shared_payment_older_of_two": Key("money", since="2025-26"),
        "winter_fuel.shared_payment_from_higher_age": Key("money", since="2025-26"),
        "winter_fuel.scottish_payment": Key("money", since="2025-26"),
        "winter_fuel.scottish_payment_from_higher_age": Key("money", since="2025-26"),
        "winter_fuel.scottish_shared_payment": Key("money", since="2025-26"),
        "winter_fuel.scottish_shared_payment_from_higher_age": Key("money", since="2025-26"),
        "childcare.income_limit": _MONEY,
        "student_loan.plan_1_threshold": _MONEY,
        "student_loan.plan_2_threshold": _MONEY,
        "student_loan.plan_4_threshold": Key("money", since="2021-22"),
        "student_loan.plan_5_threshold": Key("money", since="2026-27"),
        "student_loan.postgraduate_threshold": _MONEY,
        "student_loan.unearned_income_limit": _MONEY,
        "student_loan.rate": _RATE,
        "student_loan.postgraduate_rate": _RATE,
        "benefits.universal_credit_lower_capital": _MONEY,
        "benefits.universal_credit_upper_capital": _MONEY,
        "benefits.universal_credit_capital_step": _DIVISOR,
        "benefits.universal_credit_monthly_income": _MONEY,
        "benefits.pension_credit_lower_capital": _MONEY,
        "benefits.pension_credit_capital_step": _DIVISOR,
        "benefits.pension_credit_weekly_income": _MONEY,
        "benefits.housing_benefit_lower_capital": _MONEY,
        "benefits.housing_benefit_upper_capital": _MONEY,
        "benefits.housing_benefit_capital_step": _DIVISOR,
        "benefits.housing_benefit_lower_capital_pension_age": _MONEY,
        "benefits.housing_benefit_capital_step_pension_age": _DIVISOR,
        "benefits.housing_benefit_weekly_income": _MONEY,
        "benefits.housing_benefit_reduction_share": _RATE,
        "benefits.council_tax_support_lower_capital": _MONEY,
        "benefits.council_tax_support_upper_capital": _MONEY,
        "benefits.employment_and_support_allowance_pension_limit": _MONEY,
        "benefits.employment_and_support_allowance_pension_share": _RATE,
        "benefits.jobseekers_allowance_pension_limit": _MONEY,
        "care.lower_capital": _MONEY,
        "care.upper_capital": _MONEY,
        "care.capital_step": _DIVISOR,
        "care.weekly_income": _MONEY,
        "care.northern_ireland_lower_capital": _MONEY,
        "care.northern_ireland_upper_capital": _MONEY,
        "care.scotland_lower_capital": Key("money", until="2025-26"),
        "care.scotland_upper_capital": Key("money", until="2025-26"),
        "care.wales_home_upper_capital": Key("money", since="2020-21"),
        "care.wales_home_weekly_limit": Key("money", since="2020-21"),
        "care.wales_residential_upper_capital": Key("money", since="2020-21"),
        "deposit_protection.limit": _MONEY,
        "deposit_protection.temporary_limit": _MONEY,
        "deposit_protection.temporary_months": _COUNT,
        "deposit_protection.later_limit": Key("money", since="2025-26", until="2025-26"),
        "deposit_protection.later_temporary_limit": Key("money", since="2025-26", until="2025-26"),
        "deposit_protection.changes_on": Key("date", since="2025-26", until="2025-26"),
    }
)
"""Every figure by its dotted name, in the order of the files: what it is, and the tax years that have it."""

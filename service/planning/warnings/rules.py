"""Every rule, by what it looks at, and all that they find in given circumstances.

The rules "with facts" find nothing without ``Facts``, which only POST /v1/warnings has, and those of a plan nothing without
a plan: the others are spared them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import NamedTuple

from service.planning.warnings import access, allowances, benefits, death, income_tax, isas, recycling, scheme
from service.planning.warnings.circumstances import Circumstances, PersonCase, Taken, YearFacts
from service.planning.warnings.warning import ClientWarning, Found

OfAWithdrawal = Callable[[YearFacts, Taken], Found]
OfAYear = Callable[[YearFacts], Found]
OfAPerson = Callable[[PersonCase], Found]
OfTheHousehold = Callable[[Circumstances], Found]

OF_A_WITHDRAWAL: tuple[OfAWithdrawal, ...] = (
    access.below_minimum_pension_age,
    access.minimum_pension_age_depends_on_the_day,
    access.unauthorised_payment_charges,
    access.access_closes_again,
    allowances.lifetime_allowance_exceeded,
    allowances.no_lump_sum_allowance_left,
    allowances.small_pot_must_end_the_arrangement,
    allowances.all_tax_free_cash_at_once,
    income_tax.payroll_takes_more_than_is_due,
    income_tax.payroll_takes_less_than_is_due,
    income_tax.k_code_adjustment,
)
OF_A_WITHDRAWAL_WITH_FACTS: tuple[OfAWithdrawal, ...] = (
    access.ill_health_route,
    allowances.lump_sum_above_permitted_maximum,
    allowances.small_pot_above_limit,
)
OF_A_YEAR: tuple[OfAYear, ...] = (
    allowances.money_purchase_annual_allowance_triggered,
    allowances.tell_other_schemes,
    allowances.tax_free_allowance_used_up,
    allowances.lump_sum_allowance_nearly_used,
    allowances.death_benefit_allowance_nearly_used,
    allowances.lifetime_allowance_nearly_used,
    income_tax.higher_bands_entered,
    income_tax.personal_allowance_withdrawn,
    income_tax.savings_allowance_lost,
    income_tax.marriage_allowance_lost,
    income_tax.marriage_allowance_not_available,
    income_tax.child_benefit_charge,
    income_tax.state_pension_uses_personal_allowance,
    income_tax.state_pension_untaxed_at_source,
    income_tax.scottish_property_income,
    benefits.winter_fuel_payment_repaid,
)
OF_A_YEAR_OF_A_PLAN: tuple[OfAYear, ...] = (isas.cash_isa_limit_in_doubt,)
OF_A_YEAR_WITH_FACTS: tuple[OfAYear, ...] = (
    allowances.contributions_above_money_purchase_annual_allowance,
    allowances.annual_allowance_tapered,
    allowances.annual_allowance_exceeded,
    allowances.carry_forward_decides,
    allowances.defined_benefit_saving_above_alternative_allowance,
    income_tax.tax_free_childcare_lost,
    income_tax.family_facts_not_given,
    income_tax.student_loan_repayment,
    income_tax.payments_on_account,
    income_tax.tax_return_needed,
    income_tax.second_payment_in_the_year,
    isas.cash_isa_limit_exceeded,
    isas.isa_not_uk_resident,
    isas.crown_service_not_given,
)
OF_A_PERSON_WITH_A_PLAN: tuple[OfAPerson, ...] = (
    access.minimum_pension_age_not_reached,
    scheme.pension_runs_out,
)
OF_A_PERSON_WITH_FACTS: tuple[OfAPerson, ...] = (
    allowances.contributions_not_given,
    allowances.too_many_small_pots,
    allowances.small_pots_not_given,
    allowances.tax_free_received_before_april_2024_decides,
    allowances.transitional_certificate_worth_considering,
    allowances.transitional_certificate_harmful,
    recycling.recycling_rule_applies,
    recycling.recycling_may_apply,
    recycling.usual_contributions_not_given,
    death.heirs_pay_income_tax,
    death.heirs_pay_income_tax_soon,
    benefits.notional_income,
    benefits.deprivation_of_capital,
    benefits.council_tax_support_may_fall,
    scheme.advice_required_for_safeguarded_benefits,
    scheme.guaranteed_annuity_rate_lost,
    scheme.protected_lump_sum_lost,
    scheme.exit_charge,
    scheme.employer_contributions_lost,
    scheme.pension_features_not_given,
    scheme.unexpected_contact,
    scheme.take_regulated_advice,
)
OF_A_COUPLE: tuple[OfTheHousehold, ...] = (income_tax.child_benefit_charge_falls_on_partner,)
OF_A_PLAN: tuple[OfTheHousehold, ...] = (
    isas.isa_room_used_up,
    income_tax.spending_drawn_beyond_the_band,
)
OF_THE_HOUSEHOLD: tuple[OfTheHousehold, ...] = (income_tax.rates_not_yet_set,)
OF_THE_HOUSEHOLD_WITH_FACTS: tuple[OfTheHousehold, ...] = (
    isas.isa_limit_exceeded,
    isas.isa_rest_next_tax_year,
    isas.partner_has_isa_room,
    isas.isa_flexibility_not_given,
    isas.flexible_isa_replacement,
    isas.subscribed_before_paid_out,
    isas.cash_above_deposit_protection,
    death.spouse_exemption_postpones,
    death.estate_facts_decide,
    death.spouse_exemption_not_given,
    death.pension_counts_in_the_estate,
    death.withdrawal_enters_the_estate,
    death.pension_counts_later,
    death.residence_band_tapered,
    death.estate_not_given,
    death.nominations_to_review,
    death.two_year_window_running,
    death.two_year_window_passed,
    benefits.universal_credit_ends,
    benefits.universal_credit_reduced,
    benefits.pension_credit_reduced,
    benefits.care_support_ends,
    benefits.care_contribution_rises,
    benefits.care_limits_of_the_nation_not_held,
    benefits.benefits_not_given,
    scheme.transfer_red_flag,
    scheme.transfer_amber_flag,
    scheme.guidance_appointment,
)


class Rules(NamedTuple):
    """The rules that an answer runs, by what they look at."""

    of_a_withdrawal: tuple[OfAWithdrawal, ...]
    of_a_year: tuple[OfAYear, ...]
    of_a_person: tuple[OfAPerson, ...]
    of_the_household: tuple[OfTheHousehold, ...]


_QUOTE = Rules(OF_A_WITHDRAWAL, OF_A_YEAR, (), OF_THE_HOUSEHOLD)
_PLAN = Rules(
    OF_A_WITHDRAWAL,
    OF_A_YEAR + OF_A_YEAR_OF_A_PLAN,
    OF_A_PERSON_WITH_A_PLAN,
    OF_A_COUPLE + OF_A_PLAN + OF_THE_HOUSEHOLD,
)
_WITH_FACTS = Rules(
    OF_A_WITHDRAWAL + OF_A_WITHDRAWAL_WITH_FACTS,
    OF_A_YEAR + OF_A_YEAR_WITH_FACTS,
    OF_A_PERSON_WITH_FACTS,
    OF_A_COUPLE + OF_THE_HOUSEHOLD + OF_THE_HOUSEHOLD_WITH_FACTS,
)


def all_found(case: Circumstances) -> list[ClientWarning]:
    """Every warning of the circumstances, person by person and year by year, then the household's."""
    asked = case.people[0].person.facts is not None
    rules = _WITH_FACTS if asked else _PLAN if case.together else _QUOTE
    found: list[ClientWarning] = []
    for one in case.people:
        for year in one.years:
            for taken in year.taken:
                for find_in_withdrawal in rules.of_a_withdrawal:
                    found += find_in_withdrawal(year, taken)
            for find_in_year in rules.of_a_year:
                found += find_in_year(year)
        for find_in_person in rules.of_a_person:
            found += find_in_person(one)
    for find_in_household in rules.of_the_household:
        found += find_in_household(case)
    return found


def the_first_of_each(found: Iterable[ClientWarning]) -> Iterator[ClientWarning]:
    """Of each code and place the first alone: in a plan, the first tax year it applies to."""
    known: set[tuple[object, ...]] = set()
    for warning in found:
        if (warning.code, warning.path) not in known:
            known.add((warning.code, warning.path))
            yield warning

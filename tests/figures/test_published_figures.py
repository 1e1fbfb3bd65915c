"""The figures against tables typed again from the published sources, which are named beside each row.

Pounds and fractions here are as published, in text so that nothing is lost. "From memory" in a comment means that the
source itself was not at hand.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from service.figures.loader import KEYS, TaxYearFigures, load_tax_years

YEARS = load_tax_years()
FIRST, LAST_SET, FIRST_UNSET, LAST = "2019-20", "2026-27", "2027-28", "2030-31"
UNSET = ("2027-28", "2028-29", "2029-30", "2030-31")


def pence(pounds: str) -> int:
    amount = Decimal(pounds.replace(",", "")) * 100
    assert amount == int(amount)
    return int(amount)


def basis_points(percent: str) -> int:
    rate = Decimal(percent) * 100
    assert rate == int(rate)
    return int(rate)


def years(first: str, last: str) -> list[TaxYearFigures]:
    names = [name for name in YEARS if first <= name <= last]
    assert (names[0], names[-1]) == (first, last)
    return [YEARS[name] for name in names]


# Name, first and last tax year, pounds, and the words by which the file must name the source of the row.
MONEY = [
    # Finance Act 2019 s.5; SI 2021/111 art.3; Finance Act 2021 s.5, amended by Finance Act 2023 s.5; Finance Act 2026 s.10
    ("income_tax.personal_allowance", "2019-20", "2020-21", "12,500", "Finance Act 2019 s.5"),
    ("income_tax.personal_allowance", "2021-22", "2021-22", "12,570", "SI 2021/111"),
    ("income_tax.personal_allowance", "2022-23", "2027-28", "12,570", "Finance Act 2021 s.5"),
    ("income_tax.personal_allowance", "2028-29", "2030-31", "12,570", "Finance Act 2026 s.10"),
    # Income Tax Act 2007 s.35(2)
    ("income_tax.personal_allowance_taper_threshold", "2019-20", "2030-31", "100,000", "Income Tax Act 2007 s.35"),
    # The yearly indexation orders
    ("income_tax.blind_persons_allowance", "2019-20", "2019-20", "2,450", "Indexation Order"),
    ("income_tax.blind_persons_allowance", "2020-21", "2020-21", "2,500", "SI 2020/343"),
    ("income_tax.blind_persons_allowance", "2021-22", "2021-22", "2,520", "SI 2021/111"),
    ("income_tax.blind_persons_allowance", "2022-23", "2022-23", "2,600", "SI 2021/1421"),
    ("income_tax.blind_persons_allowance", "2023-24", "2023-24", "2,870", "SI 2023/36"),
    ("income_tax.blind_persons_allowance", "2024-25", "2024-25", "3,070", "Indexation Order"),
    ("income_tax.blind_persons_allowance", "2025-26", "2025-26", "3,130", "Indexation Order"),
    ("income_tax.blind_persons_allowance", "2026-27", "2026-27", "3,250", "20 January 2026"),
    ("income_tax.blind_persons_allowance", "2027-28", "2030-31", "3,250", "carried forward from 2026-27"),
    # Income Tax Act 2007 s.55B: a tenth of the personal allowance, up to 10 pounds
    ("income_tax.marriage_allowance", "2019-20", "2020-21", "1,250", "Income Tax Act 2007 s.55B"),
    ("income_tax.marriage_allowance", "2021-22", "2030-31", "1,260", "Income Tax Act 2007 s.55B"),
    # Income Tax Act 2007 s.12(3); Finance Act 2014 s.3; Finance Act 2026 s.9
    ("income_tax.starting_rate_for_savings_limit", "2019-20", "2025-26", "5,000", "Finance Act 2014 s.3"),
    ("income_tax.starting_rate_for_savings_limit", "2026-27", "2030-31", "5,000", "Finance Act 2026 s.9"),
    # Income Tax Act 2007 s.12B
    ("income_tax.personal_savings_allowance_basic", "2019-20", "2030-31", "1,000", "Income Tax Act 2007 s.12B"),
    ("income_tax.personal_savings_allowance_higher", "2019-20", "2030-31", "500", "Income Tax Act 2007 s.12B"),
    # Finance (No. 2) Act 2017 s.8; Finance Act 2023 s.7
    ("income_tax.dividend_allowance", "2019-20", "2022-23", "2,000", "Finance (No. 2) Act 2017 s.8"),
    ("income_tax.dividend_allowance", "2023-24", "2023-24", "1,000", "Finance Act 2023 s.7"),
    ("income_tax.dividend_allowance", "2024-25", "2030-31", "500", "Finance Act 2023 s.7"),
    # Income Tax (Earnings and Pensions) Act 2003 s.681C; Finance (No. 2) Act 2024 s.5
    ("income_tax.child_benefit_charge_threshold", "2019-20", "2023-24", "50,000", "s.681C"),
    ("income_tax.child_benefit_charge_threshold", "2024-25", "2030-31", "60,000", "Finance (No. 2) Act 2024 s.5"),
    ("income_tax.child_benefit_charge_step", "2019-20", "2023-24", "100", "s.681C"),
    ("income_tax.child_benefit_charge_step", "2024-25", "2030-31", "200", "Finance (No. 2) Act 2024 s.5"),
    # Finance Act 2004 ss.227-228ZA; Finance Act 2020 s.22; Finance (No. 2) Act 2017 s.7; Finance (No. 2) Act 2023 ss.20-22
    ("pension.annual_allowance", "2019-20", "2022-23", "40,000", "Finance Act 2004 s.228"),
    ("pension.annual_allowance", "2023-24", "2030-31", "60,000", "Finance (No. 2) Act 2023"),
    ("pension.annual_allowance_threshold_income", "2019-20", "2019-20", "110,000", "Finance Act 2004 s.228ZA"),
    ("pension.annual_allowance_threshold_income", "2020-21", "2030-31", "200,000", "Finance Act 2020 s.22"),
    ("pension.annual_allowance_adjusted_income", "2019-20", "2019-20", "150,000", "Finance Act 2004 s.228ZA"),
    ("pension.annual_allowance_adjusted_income", "2020-21", "2022-23", "240,000", "Finance Act 2020 s.22"),
    ("pension.annual_allowance_adjusted_income", "2023-24", "2030-31", "260,000", "Finance (No. 2) Act 2023"),
    ("pension.annual_allowance_tapered_minimum", "2019-20", "2019-20", "10,000", "Finance Act 2004 s.228ZA"),
    ("pension.annual_allowance_tapered_minimum", "2020-21", "2022-23", "4,000", "Finance Act 2020 s.22"),
    ("pension.annual_allowance_tapered_minimum", "2023-24", "2030-31", "10,000", "Finance (No. 2) Act 2023"),
    ("pension.money_purchase_annual_allowance", "2019-20", "2022-23", "4,000", "Finance (No. 2) Act 2017 s.7"),
    ("pension.money_purchase_annual_allowance", "2023-24", "2030-31", "10,000", "Finance (No. 2) Act 2023"),
    # SI 2009/1171 regs 11, 11A, 12
    ("pension.small_pot_limit", "2019-20", "2030-31", "10,000", "SI 2009/1171"),
    # gov.uk policy paper of 3 March 2021; Finance (No. 2) Act 2023 ss.18-19
    ("pension.lifetime_allowance", "2019-20", "2019-20", "1,055,000", "Finance Act 2004"),
    ("pension.lifetime_allowance", "2020-21", "2022-23", "1,073,100", "policy paper of 3 March 2021"),
    ("pension.lifetime_allowance", "2023-24", "2023-24", "1,073,100", "Finance (No. 2) Act 2023 ss.18-19"),
    # Income Tax (Earnings and Pensions) Act 2003 ss.637P, 637R; Finance Act 2024 Sch.9
    ("pension.lump_sum_allowance", "2024-25", "2030-31", "268,275", "s.637P"),
    ("pension.lump_sum_and_death_benefit_allowance", "2024-25", "2030-31", "1,073,100", "s.637R"),
    # Finance Act 2024 Sch.9 paras 125-129
    ("pension.standard_lifetime_allowance_before_2024", "2024-25", "2030-31", "1,073,100", "Finance Act 2024 Sch.9"),
    # SI 1998/1870 reg.4ZA(1); HMRC, Tax-free savings newsletter 19, 27 November 2025
    ("isa.subscription_limit", "2019-20", "2026-27", "20,000", "SI 1998/1870 reg.4ZA(1)"),
    ("isa.subscription_limit", "2027-28", "2030-31", "20,000", "newsletter 19"),
    ("isa.cash_limit_under_65", "2019-20", "2026-27", "20,000", "SI 1998/1870 reg.4ZA(1)"),
    ("isa.cash_limit_under_65", "2027-28", "2030-31", "12,000", "newsletter 19"),
    # Inheritance Tax Act 1984 Sch.1, s.8D; Finance Act 2021 s.86; Finance Act 2026 s.72
    ("inheritance_tax.nil_rate_band", "2019-20", "2020-21", "325,000", "Inheritance Tax Act 1984"),
    ("inheritance_tax.nil_rate_band", "2021-22", "2030-31", "325,000", "Finance Act 2021 s.86"),
    ("inheritance_tax.residence_nil_rate_band", "2019-20", "2019-20", "150,000", "s.8D"),
    ("inheritance_tax.residence_nil_rate_band", "2020-21", "2030-31", "175,000", "s.8D"),
    ("inheritance_tax.residence_taper_threshold", "2019-20", "2030-31", "2,000,000", "s.8D(5)"),
    ("inheritance_tax.annual_gift_exemption", "2019-20", "2030-31", "3,000", "s.19"),  # from secondary sources
    # House of Commons Library, CBP-8458 and SN05649; Hansard, 4 November 2019 and 26 November 2025
    ("state_pension.new_full_weekly", "2019-20", "2019-20", "168.60", "CBP-8458"),
    ("state_pension.new_full_weekly", "2020-21", "2020-21", "175.20", "Hansard, 4 November 2019"),
    ("state_pension.new_full_weekly", "2021-22", "2021-22", "179.60", "CBP-8458"),
    ("state_pension.new_full_weekly", "2022-23", "2022-23", "185.15", "CBP-8458"),
    ("state_pension.new_full_weekly", "2023-24", "2023-24", "203.85", "CBP-8458"),
    ("state_pension.new_full_weekly", "2024-25", "2024-25", "221.20", "CBP-8458"),
    ("state_pension.new_full_weekly", "2025-26", "2025-26", "230.25", "CBP-8458"),
    ("state_pension.new_full_weekly", "2026-27", "2026-27", "241.30", "26 November 2025"),
    ("state_pension.new_full_weekly", "2027-28", "2030-31", "241.30", "carried forward from 2026-27"),
    ("state_pension.basic_full_weekly", "2019-20", "2019-20", "129.20", "SN05649"),
    ("state_pension.basic_full_weekly", "2020-21", "2020-21", "134.25", "Hansard, 4 November 2019"),
    ("state_pension.basic_full_weekly", "2021-22", "2021-22", "137.60", "SN05649"),
    ("state_pension.basic_full_weekly", "2022-23", "2022-23", "141.85", "SN05649"),
    ("state_pension.basic_full_weekly", "2023-24", "2023-24", "156.20", "SN05649"),
    ("state_pension.basic_full_weekly", "2024-25", "2024-25", "169.50", "SN05649"),
    ("state_pension.basic_full_weekly", "2025-26", "2025-26", "176.45", "SN05649"),
    ("state_pension.basic_full_weekly", "2026-27", "2026-27", "184.90", "26 November 2025"),
    ("state_pension.basic_full_weekly", "2027-28", "2030-31", "184.90", "carried forward from 2026-27"),
    # Finance Act 2004 Sch.29 para 3A as HMRC's PTM133800 gives it; SI 2015/742 reg.5
    ("pension.recycling_lump_sum_limit", "2019-20", "2030-31", "7,500", "PTM133800"),
    ("pension.safeguarded_benefits_advice_threshold", "2019-20", "2030-31", "30,000", "Pension Schemes Act 2015 s.48"),
    # Taxes Management Act 1970 s.59A and SI 1996/1654, from memory
    ("self_assessment.payments_on_account_limit", "2019-20", "2030-31", "1,000", "s.59A"),
    # Finance Act 2026 Sch.10; SI 2025/969
    ("winter_fuel.income_limit", "2025-26", "2030-31", "35,000", "s.681I"),
    ("winter_fuel.payment", "2025-26", "2026-27", "200", "SI 2025/969"),
    ("winter_fuel.payment", "2027-28", "2030-31", "200", "carried forward from 2026-27"),
    ("winter_fuel.payment_from_higher_age", "2025-26", "2026-27", "300", "SI 2025/969"),
    ("winter_fuel.payment_from_higher_age", "2027-28", "2030-31", "300", "carried forward from 2026-27"),
    # SI 2000/729 reg.2, the model of SI 2025/969: two people who qualify and live together
    ("winter_fuel.shared_payment", "2025-26", "2026-27", "100", "SI 2025/969"),
    ("winter_fuel.shared_payment", "2027-28", "2030-31", "100", "carried forward from 2026-27"),
    ("winter_fuel.shared_payment_older_of_two", "2025-26", "2026-27", "200", "SI 2025/969"),
    ("winter_fuel.shared_payment_older_of_two", "2027-28", "2030-31", "200", "carried forward from 2026-27"),
    ("winter_fuel.shared_payment_from_higher_age", "2025-26", "2026-27", "150", "SI 2025/969"),
    ("winter_fuel.shared_payment_from_higher_age", "2027-28", "2030-31", "150", "carried forward from 2026-27"),
    # The Scottish Government's rates as its release of 2025 and the press of 4 February 2026 give them; 152.55 is half of 305.10
    ("winter_fuel.scottish_payment", "2025-26", "2025-26", "203.40", "rates for 2025-26"),
    ("winter_fuel.scottish_payment", "2026-27", "2026-27", "211.15", "rates for 2026-27"),
    ("winter_fuel.scottish_payment", "2027-28", "2030-31", "211.15", "carried forward from 2026-27"),
    ("winter_fuel.scottish_payment_from_higher_age", "2025-26", "2025-26", "305.10", "rates for 2025-26"),
    ("winter_fuel.scottish_payment_from_higher_age", "2026-27", "2026-27", "316.70", "rates for 2026-27"),
    ("winter_fuel.scottish_payment_from_higher_age", "2027-28", "2030-31", "316.70", "carried forward from 2026-27"),
    ("winter_fuel.scottish_shared_payment", "2025-26", "2025-26", "101.70", "rates for 2025-26"),
    ("winter_fuel.scottish_shared_payment", "2026-27", "2026-27", "105.55", "rates for 2026-27"),
    ("winter_fuel.scottish_shared_payment", "2027-28", "2030-31", "105.55", "carried forward from 2026-27"),
    ("winter_fuel.scottish_shared_payment_from_higher_age", "2025-26", "2025-26", "152.55", "rates for 2025-26"),
    ("winter_fuel.scottish_shared_payment_from_higher_age", "2026-27", "2026-27", "158.35", "rates for 2026-27"),
    (
        "winter_fuel.scottish_shared_payment_from_higher_age",
        "2027-28",
        "2030-31",
        "158.35",
        "carried forward from 2026-27",
    ),
    # SI 2015/448 reg.15
    ("childcare.income_limit", "2019-20", "2030-31", "100,000", "SI 2015/448"),
    # SI 2009/470 reg.29(4)(c) and HMRC's CSLM16035; thresholds as cited by an open tax and benefit model
    ("student_loan.unearned_income_limit", "2019-20", "2030-31", "2,000", "reg.29"),
    ("student_loan.plan_1_threshold", "2019-20", "2019-20", "18,935", "SI 2009/470"),
    ("student_loan.plan_1_threshold", "2020-21", "2020-21", "19,390", "SI 2009/470"),
    ("student_loan.plan_1_threshold", "2021-22", "2021-22", "19,895", "SI 2009/470"),
    ("student_loan.plan_1_threshold", "2022-23", "2022-23", "20,195", "SI 2009/470"),
    ("student_loan.plan_1_threshold", "2023-24", "2023-24", "22,015", "SI 2009/470"),
    ("student_loan.plan_1_threshold", "2024-25", "2024-25", "24,990", "SI 2009/470"),
    ("student_loan.plan_1_threshold", "2025-26", "2025-26", "26,065", "SI 2009/470"),
    ("student_loan.plan_1_threshold", "2026-27", "2026-27", "26,900", "SI 2009/470"),
    ("student_loan.plan_1_threshold", "2027-28", "2030-31", "26,900", "carried forward from 2026-27"),
    ("student_loan.plan_2_threshold", "2019-20", "2019-20", "25,725", "SI 2009/470"),
    ("student_loan.plan_2_threshold", "2020-21", "2020-21", "26,575", "SI 2009/470"),
    ("student_loan.plan_2_threshold", "2021-22", "2024-25", "27,295", "SI 2009/470"),
    ("student_loan.plan_2_threshold", "2025-26", "2025-26", "28,470", "SI 2009/470"),
    ("student_loan.plan_2_threshold", "2026-27", "2026-27", "29,385", "SI 2009/470"),
    ("student_loan.plan_2_threshold", "2027-28", "2029-30", "29,385", "Budget 2025"),
    ("student_loan.plan_2_threshold", "2030-31", "2030-31", "29,385", "carried forward from 2026-27"),
    ("student_loan.plan_4_threshold", "2021-22", "2021-22", "25,000", "SI 2009/470"),
    ("student_loan.plan_4_threshold", "2022-23", "2022-23", "25,375", "SI 2009/470"),
    ("student_loan.plan_4_threshold", "2023-24", "2023-24", "27,660", "SI 2009/470"),
    ("student_loan.plan_4_threshold", "2024-25", "2024-25", "31,395", "SI 2009/470"),
    ("student_loan.plan_4_threshold", "2025-26", "2025-26", "32,745", "SI 2009/470"),
    ("student_loan.plan_4_threshold", "2026-27", "2026-27", "33,795", "SI 2009/470"),
    ("student_loan.plan_4_threshold", "2027-28", "2030-31", "33,795", "carried forward from 2026-27"),
    ("student_loan.plan_5_threshold", "2026-27", "2026-27", "25,000", "SI 2009/470"),
    ("student_loan.plan_5_threshold", "2027-28", "2030-31", "25,000", "carried forward from 2026-27"),
    ("student_loan.postgraduate_threshold", "2019-20", "2026-27", "21,000", "SI 2009/470"),
    ("student_loan.postgraduate_threshold", "2027-28", "2030-31", "21,000", "carried forward from 2026-27"),
    # Universal Credit Regulations 2013 regs 18 and 72; State Pension Credit Regulations 2002
    ("benefits.universal_credit_lower_capital", "2019-20", "2030-31", "6,000", "regs 18 and 72"),
    ("benefits.universal_credit_upper_capital", "2019-20", "2030-31", "16,000", "regs 18 and 72"),
    ("benefits.universal_credit_capital_step", "2019-20", "2030-31", "250", "regs 18 and 72"),
    ("benefits.universal_credit_monthly_income", "2019-20", "2030-31", "4.35", "regs 18 and 72"),
    ("benefits.pension_credit_lower_capital", "2019-20", "2030-31", "10,000", "Credit Regulations 2002"),
    ("benefits.pension_credit_capital_step", "2019-20", "2030-31", "500", "Credit Regulations 2002"),
    ("benefits.pension_credit_weekly_income", "2019-20", "2030-31", "1", "Credit Regulations 2002"),
    # SI 2006/213 regs 43, 52; SI 2006/214 reg.29, as SI 2012/2886 para 71 has it
    ("benefits.housing_benefit_lower_capital", "2019-20", "2030-31", "6,000", "SI 2006/213"),
    ("benefits.housing_benefit_upper_capital", "2019-20", "2030-31", "16,000", "SI 2006/213"),
    ("benefits.housing_benefit_capital_step", "2019-20", "2030-31", "250", "SI 2006/213"),
    ("benefits.housing_benefit_lower_capital_pension_age", "2019-20", "2030-31", "10,000", "SI 2006/214"),
    ("benefits.housing_benefit_capital_step_pension_age", "2019-20", "2030-31", "500", "SI 2006/214"),
    ("benefits.housing_benefit_weekly_income", "2019-20", "2030-31", "1", "SI 2006/213"),
    # SI 2012/2886 para 71
    ("benefits.council_tax_support_lower_capital", "2019-20", "2030-31", "10,000", "SI 2012/2886 para 71"),
    ("benefits.council_tax_support_upper_capital", "2019-20", "2030-31", "16,000", "SI 2012/2886 para 71"),
    # SI 2008/794 reg.74; JSA Regulations reg.51
    ("benefits.employment_and_support_allowance_pension_limit", "2019-20", "2030-31", "85", "SI 2008/794"),
    ("benefits.jobseekers_allowance_pension_limit", "2019-20", "2030-31", "50", "reg.51"),
    # Northern Ireland from secondary sources; the Scottish instruments of each year; WSI 2017/214, 2019/234, 2020/131
    ("care.northern_ireland_lower_capital", "2019-20", "2026-27", "14,250", "Northern Ireland"),
    ("care.northern_ireland_lower_capital", "2027-28", "2030-31", "14,250", "carried forward from 2026-27"),
    ("care.northern_ireland_upper_capital", "2019-20", "2026-27", "23,250", "Northern Ireland"),
    ("care.northern_ireland_upper_capital", "2027-28", "2030-31", "23,250", "carried forward from 2026-27"),
    ("care.scotland_lower_capital", "2019-20", "2019-20", "17,500", "1992"),
    ("care.scotland_upper_capital", "2019-20", "2019-20", "28,000", "1992"),
    ("care.scotland_lower_capital", "2020-21", "2020-21", "18,000", "replaced by SSI 2021/77"),
    ("care.scotland_upper_capital", "2020-21", "2020-21", "28,500", "replaced by SSI 2021/77"),
    ("care.scotland_lower_capital", "2021-22", "2021-22", "18,000", "SSI 2021/77"),
    ("care.scotland_upper_capital", "2021-22", "2021-22", "28,750", "SSI 2021/77"),
    ("care.scotland_lower_capital", "2022-23", "2022-23", "18,500", "SSI 2022/71"),
    ("care.scotland_upper_capital", "2022-23", "2022-23", "29,750", "SSI 2022/71"),
    ("care.scotland_lower_capital", "2023-24", "2023-24", "20,250", "SSI 2024/21"),
    ("care.scotland_upper_capital", "2023-24", "2023-24", "32,750", "SSI 2024/21"),
    ("care.scotland_lower_capital", "2024-25", "2024-25", "21,500", "SSI 2024/21"),
    ("care.scotland_upper_capital", "2024-25", "2024-25", "35,000", "SSI 2024/21"),
    ("care.scotland_lower_capital", "2025-26", "2025-26", "22,000", "SSI 2025/31"),
    ("care.scotland_upper_capital", "2025-26", "2025-26", "35,500", "SSI 2025/31"),
    ("care.wales_home_upper_capital", "2020-21", "2026-27", "24,000", "WSI 2017/214"),
    ("care.wales_home_upper_capital", "2027-28", "2030-31", "24,000", "carried forward from 2026-27"),
    ("care.wales_home_weekly_limit", "2020-21", "2026-27", "100", "WSI 2020/131"),
    ("care.wales_home_weekly_limit", "2027-28", "2030-31", "100", "carried forward from 2026-27"),
    ("care.wales_residential_upper_capital", "2020-21", "2026-27", "50,000", "WSI 2019/234"),
    ("care.wales_residential_upper_capital", "2027-28", "2030-31", "50,000", "carried forward from 2026-27"),
    # LAC(DHSC)(2024)1
    ("care.lower_capital", "2019-20", "2026-27", "14,250", "LAC(DHSC)(2024)1"),
    ("care.lower_capital", "2027-28", "2030-31", "14,250", "carried forward from 2026-27"),
    ("care.upper_capital", "2019-20", "2026-27", "23,250", "LAC(DHSC)(2024)1"),
    ("care.upper_capital", "2027-28", "2030-31", "23,250", "carried forward from 2026-27"),
    ("care.capital_step", "2019-20", "2026-27", "250", "LAC(DHSC)(2024)1"),
    ("care.capital_step", "2027-28", "2030-31", "250", "carried forward from 2026-27"),
    ("care.weekly_income", "2019-20", "2026-27", "1", "LAC(DHSC)(2024)1"),
    ("care.weekly_income", "2027-28", "2030-31", "1", "carried forward from 2026-27"),
    # PRA PS24/25: 85,000, and 120,000 for failures from 1 December 2025
    ("deposit_protection.limit", "2019-20", "2025-26", "85,000", "PS24/25"),
    ("deposit_protection.limit", "2026-27", "2030-31", "120,000", "PS24/25"),
    ("deposit_protection.later_limit", "2025-26", "2025-26", "120,000", "PS24/25"),
    # Temporary high balances: 1,000,000, and 1,400,000 for failures from 1 December 2025
    ("deposit_protection.temporary_limit", "2019-20", "2025-26", "1,000,000", "temporary high balances"),
    ("deposit_protection.temporary_limit", "2026-27", "2030-31", "1,400,000", "PS24/25"),
    ("deposit_protection.later_temporary_limit", "2025-26", "2025-26", "1,400,000", "PS24/25"),
    # Finance Act 2004 s.190(4)
    ("pension.relief_basic_amount", "2019-20", "2030-31", "3,600", "s.190"),
]

# Name, first and last tax year, percent, source as above.
RATES = [
    # Finance Act 2004 Sch.29 paras 1-3 and 4A: a third of what is designated, a quarter of the whole
    ("pension.tax_free_fraction", "2019-20", "2030-31", "25", "Finance Act 2004 Sch.29"),
    # Finance Act 2004 s.215; from 2023-24 no charge, Finance (No. 2) Act 2023 ss.18-19
    ("pension.lifetime_allowance_charge_lump_sum", "2019-20", "2022-23", "55", "Finance Act 2004 s.215"),
    ("pension.lifetime_allowance_charge_retained", "2019-20", "2022-23", "25", "Finance Act 2004 s.215"),
    # PAYE Regulations 2003 reg.23(5); HMRC PAYE11095
    ("payroll.overriding_limit", "2019-20", "2030-31", "50", "reg.23(5)"),
    # Finance Act 2004 s.206; HMRC PTM165400
    ("pension.special_lump_sum_death_benefits_charge", "2019-20", "2030-31", "45", "Finance Act 2004 s.206"),
    # Inheritance Tax Act 1984 Sch.1 and Sch.1A
    ("inheritance_tax.rate", "2019-20", "2030-31", "40", "Sch.1"),
    ("inheritance_tax.charity_rate", "2019-20", "2030-31", "36", "Sch.1A"),
    ("inheritance_tax.charity_least_share", "2019-20", "2030-31", "10", "Sch.1A"),
    # Finance Act 2004 ss.208-213 and Sch.29 para 3A
    ("pension.exit_charge_limit_share", "2019-20", "2030-31", "1", "PS16/24"),
    ("pension.unauthorised_payment_charge", "2019-20", "2030-31", "40", "s.208"),
    ("pension.unauthorised_payment_surcharge", "2019-20", "2030-31", "15", "ss.209-213"),
    ("pension.unauthorised_payment_surcharge_share", "2019-20", "2030-31", "25", "ss.210-213"),
    ("pension.recycling_increase_share", "2019-20", "2030-31", "30", "PTM133830"),
    # HMRC, Tax-free savings newsletter 19, has the charge; its rate is from secondary summaries
    ("isa.cash_interest_charge", "2027-28", "2030-31", "22", "newsletter 19"),
    # Taxes Management Act 1970 s.59A, from memory; SI 2009/470
    ("self_assessment.payments_on_account_share", "2019-20", "2030-31", "80", "s.59A"),
    ("student_loan.rate", "2019-20", "2030-31", "9", "SI 2009/470"),
    ("student_loan.postgraduate_rate", "2019-20", "2030-31", "6", "SI 2009/470"),
    # SI 2006/213 reg.71, from memory; SI 2008/794 reg.74
    ("benefits.housing_benefit_reduction_share", "2019-20", "2030-31", "65", "reg.71"),
    ("benefits.employment_and_support_allowance_pension_share", "2019-20", "2030-31", "50", "SI 2008/794"),
]

# Name, first and last tax year, word, source as above.
WORDS = [
    # Income Tax Act 2007 s.25(2); s.25(3A) inserted by Finance Act 2026 s.6
    ("income_tax.allowance_order", "2019-20", "2026-27", "most_favourable", "s.25(2)"),
    ("income_tax.allowance_order", "2027-28", "2030-31", "other_income_first", "Finance Act 2026 s.6"),
    # gov.uk, Emergency tax codes; PAYE Regulations 2003 reg.58
    ("payroll.emergency_code", "2019-20", "2020-21", "1250L", "Emergency tax codes"),
    ("payroll.emergency_code", "2021-22", "2026-27", "1257L", "Emergency tax codes"),
    ("payroll.emergency_code", "2027-28", "2030-31", "1257L", "carried forward from 2026-27"),
    # Finance Act 2004 ss.214-215; Finance (No. 2) Act 2023 ss.18-19; Finance Act 2024 s.14 and Sch.9
    ("pension.lump_sum_regime", "2019-20", "2022-23", "lifetime_allowance_charge", "Finance Act 2004"),
    (
        "pension.lump_sum_regime",
        "2023-24",
        "2023-24",
        "lifetime_allowance_no_charge",
        "Finance (No. 2) Act 2023 ss.18-19",
    ),
    ("pension.lump_sum_regime", "2024-25", "2030-31", "lump_sum_allowance", "Finance Act 2024 s.14"),
    # Finance Act 2026 ss.66-71: deaths on or after 6 April 2027. Before it, from memory.
    ("inheritance_tax.unused_pensions_in_estate", "2019-20", "2026-27", "no", "Inheritance Tax Act 1984"),
    ("inheritance_tax.unused_pensions_in_estate", "2027-28", "2030-31", "yes", "Finance Act 2026 ss.66-71"),
]

# First and last tax year, limits of the UK bands. Finance Act 2019 s.5; SI 2021/111 art.2; Finance Act 2021 s.5; Finance
# Act 2023 ss.5-6; Finance Act 2026 s.10; Income Tax Act 2007 s.10.
UK_LIMITS = [
    ("2019-20", "2020-21", ["37,500", "150,000"]),
    ("2021-22", "2022-23", ["37,700", "150,000"]),
    ("2023-24", "2030-31", ["37,700", "125,140"]),
]

# Name, first and last tax year, percent, source as above. The main rates are those of Finance Act 2026 s.2 carried on.
UK_RATES = [
    ("income_tax.bands_england", "2019-20", "2030-31", ["20", "40", "45"], ""),
    ("income_tax.bands_england", "2026-27", "2026-27", ["20", "40", "45"], "Finance Act 2026 ss.2-3"),
    ("income_tax.bands_northern_ireland", "2019-20", "2030-31", ["20", "40", "45"], ""),
    # Welsh rates of 10p in every year: Income Tax Act 2007 s.6B and the Senedd's resolutions
    ("income_tax.bands_wales", "2019-20", "2020-21", ["20", "40", "45"], "Income Tax Act 2007 s.6B"),
    ("income_tax.bands_wales", "2021-22", "2021-22", ["20", "40", "45"], "NDM7611"),
    ("income_tax.bands_wales", "2022-23", "2022-23", ["20", "40", "45"], "NDM7941"),
    ("income_tax.bands_wales", "2023-24", "2023-24", ["20", "40", "45"], "NDM8215"),
    ("income_tax.bands_wales", "2024-25", "2024-25", ["20", "40", "45"], "NDM8501"),
    ("income_tax.bands_wales", "2025-26", "2025-26", ["20", "40", "45"], "NDM8833"),
    ("income_tax.bands_wales", "2026-27", "2026-27", ["20", "40", "45"], "NDM9117"),
    ("income_tax.bands_wales", "2027-28", "2030-31", ["20", "40", "45"], "carried forward from 2026-27"),
    # Income Tax Act 2007 s.7; Finance Act 2026 ss.3 and 5; Budget 2025
    ("income_tax.savings_bands", "2019-20", "2025-26", ["20", "40", "45"], "Income Tax Act 2007 s.7"),
    ("income_tax.savings_bands", "2026-27", "2026-27", ["20", "40", "45"], "Finance Act 2026 s.3"),
    ("income_tax.savings_bands", "2027-28", "2027-28", ["22", "42", "47"], "Finance Act 2026 s.5"),
    ("income_tax.savings_bands", "2028-29", "2030-31", ["22", "42", "47"], "Budget 2025"),
    # Income Tax Act 2007 s.8; Finance Act 2022 s.4; Finance Act 2026 s.4
    ("income_tax.dividend_bands", "2019-20", "2021-22", ["7.5", "32.5", "38.1"], "Income Tax Act 2007 s.8"),
    ("income_tax.dividend_bands", "2022-23", "2025-26", ["8.75", "33.75", "39.35"], "Finance Act 2022 s.4"),
    ("income_tax.dividend_bands", "2026-27", "2030-31", ["10.75", "35.75", "39.35"], "Finance Act 2026 s.4"),
    # Finance Act 2026 ss.6-7; Budget 2025
    ("income_tax.property_bands", "2027-28", "2027-28", ["22", "42", "47"], "Finance Act 2026 ss.6-7"),
    ("income_tax.property_bands", "2028-29", "2030-31", ["22", "42", "47"], "Budget 2025"),
]

FIVE = ["starter_rate", "basic_rate", "intermediate_rate", "higher_rate", "top_rate"]
SIX = ["starter_rate", "basic_rate", "intermediate_rate", "higher_rate", "advanced_rate", "top_rate"]
# First and last tax year, bands, percent, upper limits as published with the personal allowance, source as above.
SCOTLAND = [
    # gov.uk, Scottish Income Tax HMRC annual report 2020
    ("2019-20", "2019-20", FIVE, "19 20 21 41 46", "14,549 24,944 43,430 150,000", "annual report 2020"),
    # Scottish Parliament motion S5M-21090
    ("2020-21", "2020-21", FIVE, "19 20 21 41 46", "14,585 25,158 43,430 150,000", "S5M-21090"),
    # Scottish Parliament motion S5M-24225
    ("2021-22", "2021-22", FIVE, "19 20 21 41 46", "14,667 25,296 43,662 150,000", "S5M-24225"),
    # gov.scot, Scottish Rate Resolution 2022-23
    ("2022-23", "2022-23", FIVE, "19 20 21 41 46", "14,732 25,688 43,662 150,000", "Scottish Rate Resolution 2022-23"),
    # Scottish Parliament motion S6M-07853
    ("2023-24", "2023-24", FIVE, "19 20 21 42 47", "14,732 25,688 43,662 125,140", "S6M-07853"),
    # gov.uk and gov.scot, rates and bands
    ("2024-25", "2024-25", SIX, "19 20 21 42 45 48", "14,876 26,561 43,662 75,000 125,140", "gov.scot"),
    # Scottish Parliament motion S6M-16531
    ("2025-26", "2025-26", SIX, "19 20 21 42 45 48", "15,397 27,491 43,662 75,000 125,140", "S6M-16531"),
    # Scottish Parliament motion S6M-20844
    ("2026-27", "2026-27", SIX, "19 20 21 42 45 48", "16,537 29,526 43,662 75,000 125,140", "S6M-20844"),
    ("2027-28", "2030-31", SIX, "19 20 21 42 45 48", "16,537 29,526 43,662 75,000 125,140", "carried forward"),
]


@pytest.mark.parametrize(("name", "first", "last", "pounds", "source"), MONEY)
def test_money(name: str, first: str, last: str, pounds: str, source: str) -> None:
    for year in years(first, last):
        assert year.money(name) == pence(pounds), year.name
        assert source in year.figures[name].source, year.name


@pytest.mark.parametrize(("name", "first", "last", "percent", "source"), RATES)
def test_rate(name: str, first: str, last: str, percent: str, source: str) -> None:
    for year in years(first, last):
        assert year.rate(name) == basis_points(percent), year.name
        assert source in year.figures[name].source, year.name


@pytest.mark.parametrize(("name", "first", "last", "word", "source"), WORDS)
def test_word(name: str, first: str, last: str, word: str, source: str) -> None:
    for year in years(first, last):
        assert year.text(name) == word, year.name
        assert source in year.figures[name].source, year.name


@pytest.mark.parametrize(("name", "first", "last", "percents", "source"), UK_RATES)
def test_rates_of_the_uk_bands(name: str, first: str, last: str, percents: list[str], source: str) -> None:
    for year in years(first, last):
        assert [band.rate for band in year.bands(name)] == [basis_points(percent) for percent in percents], year.name
        assert source in year.figures[name].source, year.name


@pytest.mark.parametrize(("first", "last", "limits"), UK_LIMITS)
def test_limits_of_the_uk_bands(first: str, last: str, limits: list[str]) -> None:
    expected = [*(pence(limit) for limit in limits), None]
    for year in years(first, last):
        for name in KEYS:
            if KEYS[name].kind == "bands" and name != "income_tax.bands_scotland" and year.has(name):
                assert [band.up_to for band in year.bands(name)] == expected, (year.name, name)


@pytest.mark.parametrize(("first", "last", "names", "percents", "limits_with_allowance", "source"), SCOTLAND)
def test_scottish_bands(
    first: str, last: str, names: list[str], percents: str, limits_with_allowance: str, source: str
) -> None:
    for year in years(first, last):
        bands = year.bands("income_tax.bands_scotland")
        allowance = year.money("income_tax.personal_allowance")
        assert [band.name for band in bands] == names
        assert [band.rate for band in bands] == [basis_points(percent) for percent in percents.split()]
        # Nobody at the last limit keeps an allowance, so it is published without one.
        *inner, last_limit = [pence(limit) for limit in limits_with_allowance.split()]
        assert [band.up_to for band in bands] == [*(limit - allowance for limit in inner), last_limit, None]
        assert source in year.figures["income_tax.bands_scotland"].source


@pytest.mark.parametrize(
    # Taxable income, pounds: the same source as the row of the year above.
    ("year", "limits"),
    [
        ("2019-20", "2,049 12,444 30,930 150,000"),
        ("2020-21", "2,085 12,658 30,930 150,000"),
        ("2021-22", "2,097 12,726 31,092 150,000"),
        ("2022-23", "2,162 13,118 31,092 150,000"),
        ("2023-24", "2,162 13,118 31,092 125,140"),
        ("2024-25", "2,306 13,991 31,092 62,430 125,140"),
        ("2025-26", "2,827 14,921 31,092 62,430 125,140"),
        ("2026-27", "3,967 16,956 31,092 62,430 125,140"),
    ],
)
def test_scottish_limits_of_taxable_income(year: str, limits: str) -> None:
    bands = YEARS[year].bands("income_tax.bands_scotland")
    assert [band.up_to for band in bands[:-1]] == [pence(limit) for limit in limits.split()]


@pytest.mark.parametrize(
    # HMRC, Specification for PAYE Tax Table Routines (read in extracts).
    ("first", "last", "scottish"),
    [
        ("2019-20", "2022-23", {"SBR": "20", "SD0": "21", "SD1": "41", "SD2": "46"}),
        ("2023-24", "2023-24", {"SBR": "20", "SD0": "21", "SD1": "42", "SD2": "47"}),
        ("2024-25", "2030-31", {"SBR": "20", "SD0": "21", "SD1": "42", "SD2": "45", "SD3": "48"}),
    ],
)
def test_codes_with_one_rate(first: str, last: str, scottish: dict[str, str]) -> None:
    others = {"BR": "20", "D0": "40", "D1": "45", "CBR": "20", "CD0": "40", "CD1": "45"}
    expected = {code: basis_points(percent) for code, percent in (others | scottish).items()}
    for year in years(first, last):
        assert dict(year.rates("payroll.flat_rate_codes")) == expected, year.name


@pytest.mark.parametrize("year", YEARS.values(), ids=list(YEARS))
def test_codes_with_one_rate_follow_the_bands(year: TaxYearFigures) -> None:
    codes = year.rates("payroll.flat_rate_codes")
    for prefix, nation, first in (("", "england", 0), ("C", "wales", 0), ("S", "scotland", 1)):
        rates = [band.rate for band in year.bands(f"income_tax.bands_{nation}")][first:]
        names = [f"{prefix}BR", *(f"{prefix}D{number}" for number in range(len(rates) - 1))]
        assert [codes[name] for name in names] == rates


@pytest.mark.parametrize(
    # Finance Act 2004 s.279; 57 from 6 April 2028, Finance Act 2022 s.10.
    ("first", "last", "age"),
    [("2019-20", "2027-28", 55), ("2028-29", "2030-31", 57)],
)
def test_minimum_pension_age(first: str, last: str, age: int) -> None:
    assert {year.count("pension.minimum_pension_age") for year in years(first, last)} == {age}


@pytest.mark.parametrize(
    # gov.uk, Income Tax rates and Personal Allowances: where the higher rate starts with a full allowance, and where the
    # allowance is nil (Income Tax Act 2007 s.35: half of what is over 100,000).
    ("first", "last", "higher_rate_from", "no_allowance_from"),
    [("2019-20", "2020-21", "50,000", "125,000"), ("2021-22", "2030-31", "50,270", "125,140")],
)
def test_known_points_of_total_income(first: str, last: str, higher_rate_from: str, no_allowance_from: str) -> None:
    for year in years(first, last):
        allowance = year.money("income_tax.personal_allowance")
        basic_rate_limit = year.bands("income_tax.bands_england")[0].up_to
        assert basic_rate_limit is not None
        assert allowance + basic_rate_limit == pence(higher_rate_from)
        assert year.money("income_tax.personal_allowance_taper_threshold") + 2 * allowance == pence(no_allowance_from)


@pytest.mark.parametrize("year", years("2023-24", LAST), ids=lambda year: year.name)
def test_higher_rate_limit_follows_the_allowance(year: TaxYearFigures) -> None:
    # Income Tax Act 2007 s.10(5A), from 2023-24: 100,000 and twice the personal allowance.
    limit = year.bands("income_tax.bands_england")[1].up_to
    assert limit == pence("100,000") + 2 * year.money("income_tax.personal_allowance")


@pytest.mark.parametrize(
    # Income Tax (Earnings and Pensions) Act 2003 s.681C; Finance (No. 2) Act 2024 s.5.
    ("first", "last", "whole_charge_from"),
    [("2019-20", "2023-24", "60,000"), ("2024-25", "2030-31", "80,000")],
)
def test_child_benefit_is_all_charged(first: str, last: str, whole_charge_from: str) -> None:
    for year in years(first, last):
        step = year.money("income_tax.child_benefit_charge_step")
        assert year.money("income_tax.child_benefit_charge_threshold") + 100 * step == pence(whole_charge_from)


def test_lump_sum_allowance_is_a_quarter_of_the_other() -> None:
    # Finance (No. 2) Act 2023 ss.18-19 (a cap of 268,275 in 2023-24); Finance Act 2024 Sch.9.
    for year in years("2024-25", LAST):
        whole = year.money("pension.lump_sum_and_death_benefit_allowance")
        assert 4 * year.money("pension.lump_sum_allowance") == whole
    assert YEARS["2023-24"].money("pension.lifetime_allowance") == 4 * pence("268,275")


def test_state_pension_rise_of_april_2026() -> None:
    # Hansard, written statement of 26 November 2025: 4.8%; weekly rates go to the nearest 5p (from memory).
    for name in ("state_pension.new_full_weekly", "state_pension.basic_full_weekly"):
        risen = Decimal(YEARS["2025-26"].money(name)) * Decimal("1.048")
        assert abs(YEARS["2026-27"].money(name) - risen) <= Decimal("2.5")


@pytest.mark.parametrize(
    # House of Commons Library, CBP-8458: 52 weeks of the full new State Pension.
    ("year", "pounds"),
    [
        ("2019-20", "8,767.20"),
        ("2020-21", "9,110.40"),
        ("2021-22", "9,339.20"),
        ("2022-23", "9,627.80"),
        ("2023-24", "10,600.20"),
        ("2024-25", "11,502.40"),
        ("2025-26", "11,973.00"),
        ("2026-27", "12,547.60"),
    ],
)
def test_a_year_of_new_state_pension(year: str, pounds: str) -> None:
    assert 52 * YEARS[year].money("state_pension.new_full_weekly") == pence(pounds)


def test_status_of_the_years() -> None:
    assert {year.name: year.standing for year in YEARS.values()} == {
        name: "assumed" if name in UNSET else "enacted" for name in YEARS
    }


@pytest.mark.parametrize("year", years(FIRST, LAST_SET), ids=lambda year: year.name)
def test_everything_to_2026_27_is_law_but_one_threshold(year: TaxYearFigures) -> None:
    found = {name: figure.standing for name, figure in year.figures.items() if figure.standing != "enacted"}
    # A consumer association's table of winter 2025-26 calls it expected; no instrument was found.
    assert found == ({"student_loan.plan_4_threshold": "announced"} if year.name == "2026-27" else {})


@pytest.mark.parametrize("year", years(FIRST_UNSET, LAST), ids=lambda year: year.name)
def test_what_is_not_law_from_2027_28(year: TaxYearFigures) -> None:
    # Main rates need an annual Act (Income Tax Act 2007 s.10), Scottish and Welsh ones a resolution, the blind person's
    # allowance an order (s.57), the State Pension an order; savings and property rates are in Finance Act 2026 ss.5 and 7
    # for 2027-28 alone; the ISA limits are in HMRC's newsletter 19.
    assumed = {
        "income_tax.blind_persons_allowance",
        "income_tax.bands_england",
        "income_tax.bands_northern_ireland",
        "income_tax.bands_wales",
        "income_tax.bands_scotland",
        "payroll.emergency_code",
        "payroll.flat_rate_codes",
        "state_pension.new_full_weekly",
        "state_pension.basic_full_weekly",
    }
    assumed |= {"care.lower_capital", "care.upper_capital", "care.capital_step", "care.weekly_income"}
    assumed |= {name for name in KEYS if name.startswith("winter_fuel.") and "payment" in name}
    assumed |= {name for name in KEYS if name.startswith(("care.northern_ireland_", "care.wales_"))}
    assumed |= {f"student_loan.{plan}_threshold" for plan in ("plan_1", "plan_4", "plan_5", "postgraduate")}
    announced = {"isa.subscription_limit", "isa.cash_limit_under_65", "isa.cash_limit_ends_at_age"}
    announced.add("isa.cash_interest_charge")
    (announced if year.name <= "2029-30" else assumed).add("student_loan.plan_2_threshold")
    if year.name >= "2028-29":
        announced |= {"income_tax.savings_bands", "income_tax.property_bands"}
    found = {name: figure.standing for name, figure in year.figures.items() if figure.standing != "enacted"}
    assert found == dict.fromkeys(assumed, "assumed") | dict.fromkeys(announced, "announced")
    for name in assumed:
        assert year.figures[name].source.startswith("carried forward from 2026-27")
        assert year.name in (year.figures[name].caveat or "")
        assert year.figures[name].value == YEARS[LAST_SET].figures[name].value


# Name, first and last tax year, whole number, and the words by which the file must name the source.
COUNTS = [
    # SI 2006/567 reg.14ZB: 13 weeks
    ("pension.notice_to_other_schemes_days", "2019-20", "2030-31", 91, "reg.14ZB"),
    # SI 2006/567 reg.14ZA: the scheme's statement to the member
    ("pension.flexible_access_statement_days", "2019-20", "2030-31", 31, "reg.14ZA"),
    # HMRC's PTM174300: the administrator decides on the application within three months
    ("pension.transitional_certificate_months", "2024-25", "2030-31", 3, "PTM174300"),
    # HMRC's PTM133830: the tax year of the lump sum, two before and two after
    ("pension.recycling_window_years", "2019-20", "2030-31", 2, "PTM133830"),
    # SI 2009/1171 reg.11A
    ("pension.small_pots_from_personal_schemes", "2019-20", "2030-31", 3, "SI 2009/1171"),
    # From memory
    ("pension.guidance_age", "2019-20", "2030-31", 50, "COBS 19.7"),
    # ITEPA 2003 ss.637H-637M; before 6 April 2024 from memory
    ("pension.beneficiaries_taxed_from_age", "2019-20", "2023-24", 75, "Part 9"),
    ("pension.beneficiaries_taxed_from_age", "2024-25", "2030-31", 75, "ss.637H-637M"),
    ("pension.beneficiaries_window_years", "2019-20", "2023-24", 2, "Part 9"),
    ("pension.beneficiaries_window_years", "2024-25", "2030-31", 2, "ss.637H-637M"),
    # ITEPA 2003 s.637C, read for 2024-25 on; before from memory
    ("pension.serious_ill_health_lump_sum_taxed_from_age", "2019-20", "2030-31", 75, "ss.636A, 637C"),
    # HMRC PTM088650: nothing but an increased scheme pension is tested after the 75th birthday
    ("pension.lifetime_allowance_tested_until_age", "2019-20", "2023-24", 75, "PTM088650"),
    # Inheritance Tax Act 1984 s.7(1)
    ("inheritance_tax.gift_years", "2019-20", "2030-31", 7, "s.7(1)"),
    # Taxes Management Act 1970 Sch.1AB para 3(1); the four years are from memory
    ("payroll.overpayment_claim_years", "2019-20", "2030-31", 4, "Sch.1AB para 3(1)"),
    # From memory.
    ("income_tax.marriage_allowance_claim_years", "2019-20", "2030-31", 4, "Income Tax Act 2007 s.55D"),
    # Finance Act 2004 s.188(3)(a)
    ("pension.relief_ends_at_age", "2019-20", "2030-31", 75, "s.188(3)"),
    # SI 1998/1870 reg.5DFA(3)
    ("isa.additional_subscription_years", "2019-20", "2030-31", 3, "reg.5DFA(3)"),
    ("isa.additional_subscription_days", "2019-20", "2030-31", 180, "reg.5DFA(3)"),
    ("deposit_protection.temporary_months", "2019-20", "2030-31", 6, "temporary high balances"),
    # HMRC, Tax-free savings newsletter 19, 27 November 2025
    ("isa.cash_limit_ends_at_age", "2027-28", "2030-31", 65, "newsletter 19"),
    # SI 2025/969
    ("winter_fuel.higher_age", "2025-26", "2030-31", 80, "SI 2025/969"),
]


@pytest.mark.parametrize(("name", "first", "last", "number", "source"), COUNTS)
def test_count(name: str, first: str, last: str, number: int, source: str) -> None:
    for year in years(first, last):
        assert year.count(name) == number
        assert source in year.figures[name].source


def test_the_day_on_which_more_of_a_deposit_is_protected() -> None:
    """PRA PS24/25: for failures from 1 December 2025."""
    assert YEARS["2025-26"].day("deposit_protection.changes_on") == date(2025, 12, 1)


def test_the_day_before_which_protection_is_kept() -> None:
    """Finance (No. 2) Act 2023 s.23; the day from memory."""
    for year in years("2023-24", LAST):
        assert year.day("pension.protection_kept_if_applied_for_before") == date(2023, 3, 15)
        assert "Finance (No. 2) Act 2023 s.23" in year.figures["pension.protection_kept_if_applied_for_before"].source


def test_the_day_from_which_new_drawdown_is_never_capped() -> None:
    """Taxation of Pensions Act 2014; the day from memory."""
    for year in YEARS.values():
        assert year.day("pension.flexi_access_drawdown_from") == date(2015, 4, 6)
        assert "Taxation of Pensions Act 2014" in year.figures["pension.flexi_access_drawdown_from"].source


def test_the_day_from_which_transfers_have_conditions() -> None:
    """SI 2021/1237: from 30 November 2021."""
    for year in years("2021-22", LAST):
        assert year.day("pension.transfer_conditions_from") == date(2021, 11, 30)
        assert year.figures["pension.transfer_conditions_from"].source == "SI 2021/1237"


@pytest.mark.parametrize("year", YEARS.values(), ids=list(YEARS))
def test_the_days_from_which_a_survivor_has_more_isa_room(year: TaxYearFigures) -> None:
    """gov.uk, Manage additional permitted subscriptions into an ISA: deaths from 3 December 2014, and from 6 April 2018."""
    assert year.day("isa.additional_subscription_from") == date(2014, 12, 3)
    assert year.day("isa.additional_subscription_value_at_end_from") == date(2018, 4, 6)


WITH_A_CAVEAT = {
    "income_tax.blind_persons_allowance": " ".join(name for name in YEARS if name >= "2027-28"),
    "income_tax.bands_england": " ".join(name for name in YEARS if name >= "2027-28"),
    "income_tax.bands_northern_ireland": " ".join(name for name in YEARS if name >= "2027-28"),
    "income_tax.bands_wales": " ".join(name for name in YEARS if name >= "2027-28"),
    "income_tax.bands_scotland": " ".join(name for name in YEARS if name >= "2027-28"),
    "income_tax.savings_bands": "2028-29 2029-30 2030-31",
    "income_tax.property_bands": " ".join(name for name in YEARS if name >= "2027-28"),
    "payroll.emergency_code": " ".join(name for name in YEARS if name >= "2027-28"),
    "payroll.flat_rate_codes": " ".join(name for name in YEARS if name >= "2027-28"),
    "pension.special_lump_sum_death_benefits_charge": " ".join(name for name in YEARS if name >= "2027-28"),
    "pension.recycling_window_years": " ".join(YEARS),
    "inheritance_tax.charity_least_share": " ".join(name for name in YEARS if name >= "2027-28"),
    "isa.subscription_limit": " ".join(name for name in YEARS if name >= "2027-28"),
    "isa.cash_limit_under_65": " ".join(name for name in YEARS if name >= "2027-28"),
    "isa.cash_limit_ends_at_age": " ".join(name for name in YEARS if name >= "2027-28"),
    "isa.cash_interest_charge": " ".join(name for name in YEARS if name >= "2027-28"),
    "inheritance_tax.unused_pensions_in_estate": "2019-20 2020-21 2021-22 2022-23 2023-24 2024-25 2025-26 2026-27",
    "state_pension.new_full_weekly": " ".join(name for name in YEARS if name >= "2027-28"),
    "state_pension.basic_full_weekly": " ".join(name for name in YEARS if name >= "2027-28"),
    "winter_fuel.payment": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.payment_from_higher_age": " ".join(name for name in YEARS if name >= "2025-26"),
    "student_loan.plan_1_threshold": " ".join(name for name in YEARS if name >= "2027-28"),
    "student_loan.plan_2_threshold": " ".join(name for name in YEARS if name >= "2027-28"),
    "student_loan.plan_4_threshold": " ".join(name for name in YEARS if name >= "2026-27"),
    "student_loan.plan_5_threshold": " ".join(name for name in YEARS if name >= "2027-28"),
    "student_loan.postgraduate_threshold": " ".join(name for name in YEARS if name >= "2027-28"),
    "care.lower_capital": " ".join(name for name in YEARS if name >= "2025-26"),
    "care.upper_capital": " ".join(name for name in YEARS if name >= "2025-26"),
    "care.capital_step": " ".join(name for name in YEARS if name >= "2025-26"),
    "care.weekly_income": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.shared_payment": " ".join(name for name in YEARS if name >= "2027-28"),
    "winter_fuel.shared_payment_older_of_two": " ".join(name for name in YEARS if name >= "2027-28"),
    "winter_fuel.shared_payment_from_higher_age": " ".join(name for name in YEARS if name >= "2027-28"),
    "winter_fuel.scottish_payment": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.scottish_payment_from_higher_age": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.scottish_shared_payment": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.scottish_shared_payment_from_higher_age": " ".join(name for name in YEARS if name >= "2025-26"),
    "care.northern_ireland_lower_capital": " ".join(YEARS),
    "care.northern_ireland_upper_capital": " ".join(YEARS),
    "care.scotland_lower_capital": "2019-20 2020-21",
    "care.scotland_upper_capital": "2019-20 2020-21",
    "care.wales_home_upper_capital": " ".join(name for name in YEARS if name >= "2020-21"),
    "care.wales_home_weekly_limit": " ".join(name for name in YEARS if name >= "2020-21"),
    "care.wales_residential_upper_capital": " ".join(name for name in YEARS if name >= "2020-21"),
}
"""The tax years in which a figure has a sentence on what is not certain for a client."""

EVIDENCE = {
    "income_tax.marriage_allowance_claim_years": " ".join(YEARS),
    "income_tax.personal_allowance": "2019-20 2020-21",
    "income_tax.blind_persons_allowance": "2019-20 2020-21 2024-25 2025-26 2026-27 2027-28 2028-29 2029-30 2030-31",
    "income_tax.bands_england": "2019-20 2020-21 2027-28 2028-29 2029-30 2030-31",
    "income_tax.bands_northern_ireland": "2019-20 2020-21 2027-28 2028-29 2029-30 2030-31",
    "income_tax.bands_wales": "2019-20 2020-21 2026-27 2027-28 2028-29 2029-30 2030-31",
    "income_tax.bands_scotland": " ".join(name for name in YEARS if name >= "2026-27"),
    "income_tax.savings_bands": "2019-20 2020-21 2021-22 2022-23 2023-24 2024-25 2025-26 2028-29 2029-30 2030-31",
    "income_tax.dividend_bands": "2019-20 2020-21 2021-22 2022-23 2023-24 2024-25 2025-26",
    "income_tax.property_bands": " ".join(name for name in YEARS if name >= "2027-28"),
    "income_tax.personal_savings_allowance_higher": " ".join(YEARS),
    "income_tax.dividend_allowance": "2022-23",
    "payroll.emergency_code": " ".join(YEARS),
    "payroll.flat_rate_codes": " ".join(YEARS),
    "payroll.overriding_limit": " ".join(YEARS),
    "pension.annual_allowance_threshold_income": "2019-20",
    "pension.annual_allowance_adjusted_income": "2019-20",
    "pension.annual_allowance_tapered_minimum": "2019-20",
    "pension.money_purchase_annual_allowance": " ".join(YEARS),
    "pension.tax_free_fraction": "2019-20 2020-21 2021-22 2022-23 2023-24",
    "pension.lump_sum_regime": "2019-20 2020-21 2021-22 2022-23 2024-25 2025-26 2026-27 2027-28 2028-29 2029-30 2030-31",
    "pension.lifetime_allowance": "2019-20",
    "pension.lifetime_allowance_charge_lump_sum": "2019-20 2020-21 2021-22 2022-23",
    "pension.lifetime_allowance_charge_retained": "2019-20 2020-21 2021-22 2022-23",
    "pension.lifetime_allowance_tested_until_age": "2019-20 2020-21 2021-22 2022-23 2023-24",
    "pension.special_lump_sum_death_benefits_charge": " ".join(name for name in YEARS if name >= "2027-28"),
    "pension.recycling_lump_sum_limit": " ".join(YEARS),
    "pension.recycling_increase_share": " ".join(YEARS),
    "pension.recycling_window_years": " ".join(YEARS),
    "pension.unauthorised_payment_charge": " ".join(YEARS),
    "pension.unauthorised_payment_surcharge": " ".join(YEARS),
    "pension.unauthorised_payment_surcharge_share": " ".join(YEARS),
    "isa.additional_subscription_from": " ".join(YEARS),
    "isa.subscription_limit": " ".join(name for name in YEARS if name >= "2027-28"),
    "pension.safeguarded_benefits_advice_threshold": " ".join(YEARS),
    "pension.guidance_age": " ".join(YEARS),
    "pension.exit_charge_limit_share": " ".join(YEARS),
    "pension.protection_kept_if_applied_for_before": " ".join(name for name in YEARS if name >= "2023-24"),
    "pension.serious_ill_health_lump_sum_taxed_from_age": " ".join(YEARS),
    "pension.flexi_access_drawdown_from": " ".join(YEARS),
    "pension.beneficiaries_taxed_from_age": "2019-20 2020-21 2021-22 2022-23 2023-24",
    "pension.beneficiaries_window_years": "2019-20 2020-21 2021-22 2022-23 2023-24",
    "isa.cash_limit_under_65": " ".join(name for name in YEARS if name >= "2027-28"),
    "isa.cash_limit_ends_at_age": " ".join(name for name in YEARS if name >= "2027-28"),
    "isa.cash_interest_charge": " ".join(name for name in YEARS if name >= "2027-28"),
    "isa.additional_subscription_years": " ".join(YEARS),
    "isa.additional_subscription_days": " ".join(YEARS),
    "deposit_protection.temporary_limit": " ".join(YEARS),
    "deposit_protection.temporary_months": " ".join(YEARS),
    "pension.relief_basic_amount": " ".join(YEARS),
    "pension.relief_ends_at_age": " ".join(YEARS),
    "inheritance_tax.annual_gift_exemption": " ".join(YEARS),
    "inheritance_tax.charity_rate": " ".join(YEARS),
    "inheritance_tax.charity_least_share": " ".join(YEARS),
    "inheritance_tax.unused_pensions_in_estate": " ".join(YEARS),
    "state_pension.new_full_weekly": "2019-20 2021-22 2022-23 2023-24 2024-25 2025-26 2027-28 2028-29 2029-30 2030-31",
    "state_pension.basic_full_weekly": "2019-20 2021-22 2022-23 2023-24 2024-25 2025-26 2027-28 2028-29 2029-30 2030-31",
    "self_assessment.payments_on_account_limit": " ".join(YEARS),
    "self_assessment.payments_on_account_share": " ".join(YEARS),
    "winter_fuel.income_limit": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.payment": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.payment_from_higher_age": " ".join(name for name in YEARS if name >= "2025-26"),
    "childcare.income_limit": " ".join(YEARS),
    "student_loan.plan_1_threshold": "2019-20 2020-21 2021-22 2022-23 2023-24 2024-25 2025-26 2026-27",
    "student_loan.plan_2_threshold": "2019-20 2020-21 2021-22 2022-23 2023-24 2024-25 2025-26 2026-27 2027-28 2028-29 2029-30",
    "student_loan.plan_4_threshold": "2021-22 2022-23 2023-24 2024-25 2025-26 2026-27",
    "student_loan.plan_5_threshold": "2026-27",
    "student_loan.postgraduate_threshold": "2019-20 2020-21 2021-22 2022-23 2023-24 2024-25 2025-26 2026-27",
    "care.lower_capital": "2019-20 2020-21 2021-22 2022-23 2023-24 2025-26 2026-27 2027-28 2028-29 2029-30 2030-31",
    "care.upper_capital": "2019-20 2020-21 2021-22 2022-23 2023-24 2025-26 2026-27 2027-28 2028-29 2029-30 2030-31",
    "care.capital_step": "2019-20 2020-21 2021-22 2022-23 2023-24 2025-26 2026-27 2027-28 2028-29 2029-30 2030-31",
    "care.weekly_income": "2019-20 2020-21 2021-22 2022-23 2023-24 2025-26 2026-27 2027-28 2028-29 2029-30 2030-31",
    "winter_fuel.shared_payment": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.shared_payment_older_of_two": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.shared_payment_from_higher_age": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.scottish_payment": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.scottish_payment_from_higher_age": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.scottish_shared_payment": " ".join(name for name in YEARS if name >= "2025-26"),
    "winter_fuel.scottish_shared_payment_from_higher_age": " ".join(name for name in YEARS if name >= "2025-26"),
    "benefits.housing_benefit_capital_step": " ".join(YEARS),
    "benefits.housing_benefit_lower_capital_pension_age": " ".join(YEARS),
    "benefits.housing_benefit_capital_step_pension_age": " ".join(YEARS),
    "benefits.housing_benefit_reduction_share": " ".join(YEARS),
    "benefits.council_tax_support_lower_capital": " ".join(YEARS),
    "benefits.council_tax_support_upper_capital": " ".join(YEARS),
    "benefits.employment_and_support_allowance_pension_limit": " ".join(YEARS),
    "benefits.employment_and_support_allowance_pension_share": " ".join(YEARS),
    "benefits.jobseekers_allowance_pension_limit": " ".join(YEARS),
    "care.northern_ireland_lower_capital": " ".join(YEARS),
    "care.northern_ireland_upper_capital": " ".join(YEARS),
    "care.scotland_lower_capital": "2019-20 2020-21 2021-22 2025-26",
    "care.scotland_upper_capital": "2019-20 2020-21 2021-22 2025-26",
    "care.wales_home_upper_capital": " ".join(name for name in YEARS if name >= "2020-21"),
    "care.wales_home_weekly_limit": " ".join(name for name in YEARS if name >= "2020-21"),
    "care.wales_residential_upper_capital": " ".join(name for name in YEARS if name >= "2020-21"),
}
"""The tax years in which a figure says how it was found."""


@pytest.mark.parametrize("name", KEYS)
def test_caveats_stand_where_they_belong(name: str) -> None:
    found = [year.name for year in YEARS.values() if year.has(name) and year.figures[name].caveat is not None]
    assert found == WITH_A_CAVEAT.get(name, "").split()
    told = [year.name for year in YEARS.values() if year.has(name) and year.figures[name].evidence is not None]
    assert told == EVIDENCE.get(name, "").split()


@pytest.mark.parametrize("year", YEARS.values(), ids=list(YEARS))
def test_caveats_are_sentences(year: TaxYearFigures) -> None:
    for figure in year.figures.values():
        for text in (figure.evidence, figure.caveat, figure.note):
            if text is not None:
                assert text[0].isupper() or text[0].isdigit(), (figure.name, text)
                assert text.endswith("."), (figure.name, text)


@pytest.mark.parametrize("name", KEYS)
def test_every_figure_is_checked_here(name: str) -> None:
    checked = {row[0] for table in (MONEY, RATES, WORDS, UK_RATES, COUNTS) for row in table}
    elsewhere = {"income_tax.bands_scotland", "payroll.flat_rate_codes", "pension.minimum_pension_age"} | {
        "deposit_protection.changes_on",
        "pension.transfer_conditions_from",
        "pension.flexi_access_drawdown_from",
        "pension.protection_kept_if_applied_for_before",
        "isa.additional_subscription_from",
        "isa.additional_subscription_value_at_end_from",
    }
    assert name in checked | elsewhere
    if name in checked:
        covered = {
            year.name
            for table in (MONEY, RATES, WORDS, UK_RATES, COUNTS)
            for row in table
            if row[0] == name
            for year in years(row[1], row[2])
        }
        assert covered == {year.name for year in YEARS.values() if year.has(name)}

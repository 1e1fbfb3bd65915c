"""Lump sum timing: an example by hand, what holds whatever the household, and what decides between the options."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from fractions import Fraction
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from service.law import lump_sums
from service.law.death_benefits import Form
from service.law.lump_sums import Pension
from service.planning.estates import TO_BENEFICIARIES, EstateFacts, Gift, HomeGivenUp
from service.planning.faults import RuleViolation
from service.planning.household import (
    Assumptions,
    Contribution,
    DatedIncome,
    Household,
    Isa,
    Member,
    PensionHeld,
    Spending,
)
from service.planning.projection.policies import BANDS
from service.planning.projection.timeline import timeline
from service.planning.timing.break_even import shifted
from service.planning.timing.caveats import timing_caveats
from service.planning.timing.circumstances import timing_warnings
from service.planning.timing.comparison import Timing, TimingQuestion, timing
from service.planning.timing.deaths import Death, Outcome, death_years, outcome
from service.planning.timing.options import ISA_ALLOWANCE, SPENDING_ONLY, Course, Option, carried_out
from service.planning.timing.summary import summary
from service.planning.wording import rounded_pounds
from tests.benchmarks.households import couple, timing_of
from tests.benchmarks.questions import question
from tests.households import BOOK, plans

BORN = date(1963, 4, 5)
START = date(2026, 4, 6)
ALLOWANCE = 1_257_000
FLAT = Assumptions(tax_rate_on_remaining_pension=2_000)
"""What is left in the pension bears a flat 20%, so that it can be reckoned by hand."""
OPTIONS = (
    Option("all_now", BANDS[0]),
    Option("phased", BANDS[0], ISA_ALLOWANCE),
    Option("phased", SPENDING_ONLY, 700_000),
    Option("with_each_withdrawal", BANDS[1]),
    Option("at_age", BANDS[0], age=62),
    Option("never", SPENDING_ONLY),
)


def person(**facts: Any) -> Member:
    return Member(**{"date_of_birth": BORN, "tax_residence": "england", "pension": Pension(10_000_000), **facts})


def asked(*people: Member, options: tuple[Option, ...], to_age: int = 66, start: date = START, **facts: Any) -> Timing:
    """An answer for people from a day to the birthday on which the first reaches an age."""
    of_household = {"assumptions": FLAT} | {
        name: facts.pop(name) for name in ("spending", "assumptions") if name in facts
    }
    born = people[0].date_of_birth
    household = Household(start, born.replace(year=born.year + to_age), people, **of_household)
    return timing(TimingQuestion(household, to_age, options, **facts), BOOK)


def course_of(result: Timing, option: int) -> Course:
    course = result.options[option].course
    assert course is not None, result.options[option].reason
    return course


def inherited_by(survivor: Course) -> int:
    """What is left of pension money inherited free of income tax, pence."""
    return sum(one.amount for one in survivor.inherited)


def beneficiaries_receive(course: Course, death: Death, facts: EstateFacts, beneficiary_rate: int) -> Outcome:
    """What comes of a death under an option."""
    return outcome(course, death_years(course.timeline, death, facts, BOOK), facts, beneficiary_rate, BOOK)


# By hand. One person with £100,000, nothing else; pension and ISAs grow by 4% a year, cash earns 2%; the personal
# allowance of £12,570 is filled each 5 April; 20% tax is assumed on what is left of the pension. No tax falls due: what
# is drawn fits the allowance, and the interest is within the starting rate for savings.
#
# all_now: £25,000 on 6 April 2026, of which the ISA takes £20,000
#
#            6 April       | growth in the year             | 5 April
# tax year   into   cash   | pension    ISA       interest  | drawn   into   pension    ISA        cash
# 2026-27    20,000  5,000 | 3,000.00     800.00  100.00    | 12,570      0  65,430.00  20,800.00  17,670.00
# 2027-28    17,670      0 | 2,617.20   1,538.80    0.00    | 12,570  2,330  55,477.20  42,338.80  10,240.00
# 2028-29    10,240      0 | 2,219.09   2,103.15    0.00    | 12,570  9,760  45,126.29  64,441.95   2,810.00
# left: 64,441.95 + 2,810.00 + 45,126.29 x 0.8 (36,101.03) = 103,352.98
#
# with_each_withdrawal: £16,760 each 5 April, of which a quarter, £4,190, is tax free; all of it fits into the ISA
#
# tax year   growth: pension  ISA       | drawn   into    pension    ISA        cash
# 2026-27           4,000.00       0.00 | 16,760  16,760  87,240.00  16,760.00  0.00
# 2027-28           3,489.60     670.40 | 16,760  16,760  73,969.60  34,190.40  0.00
# 2028-29           2,958.78   1,367.62 | 16,760  16,760  60,168.38  52,318.02  0.00
# left: 52,318.02 + a quarter of 60,168.38 (15,042.09) + 45,126.29 x 0.8 (36,101.03) = 103,461.14

BY_HAND = {
    0: (
        (2_500_000, 1_257_000, 2_000_000, 300_000, 80_000, 10_000, 6_543_000, 2_080_000, 1_767_000),
        (0, 1_257_000, 2_000_000, 261_720, 153_880, 0, 5_547_720, 4_233_880, 1_024_000),
        (0, 1_257_000, 2_000_000, 221_909, 210_315, 0, 4_512_629, 6_444_195, 281_000),
    ),
    1: (
        (0, 1_676_000, 1_676_000, 400_000, 0, 0, 8_724_000, 1_676_000, 0),
        (0, 1_676_000, 1_676_000, 348_960, 67_040, 0, 7_396_960, 3_419_040, 0),
        (0, 1_676_000, 1_676_000, 295_878, 136_762, 0, 6_016_838, 5_231_802, 0),
    ),
}


def by_hand() -> Timing:
    assumed = replace(FLAT, pension_growth=400, isa_growth=400, cash_interest=200, price_inflation=250)
    return asked(
        person(), options=(Option("all_now", BANDS[0]), Option("with_each_withdrawal", BANDS[0])), assumptions=assumed
    )


def test_two_options_over_three_years_by_hand() -> None:
    result = by_hand()
    for k, expected in BY_HAND.items():
        years = [year.people[0] for year in result.options[k].years]
        assert [
            (
                year.lump_sum,
                year.record.gross,
                year.subscribed,
                year.pension.growth,
                year.isa.growth,
                year.cash.growth,
                year.pension.closing,
                year.isa.closing,
                year.cash.closing,
            )
            for year in years
        ] == list(expected)
        assert all(year.record.income_tax == 0 for year in years)
    assert [(placed.option, placed.amount) for placed in result.by_wealth] == [(1, 10_346_114), (0, 10_335_298)]
    now, with_income = (option.totals for option in result.options)
    assert now is not None
    assert with_income is not None
    # In prices of the start: divided by 1.025 three times, to the nearest penny.
    assert now.wealth_in_prices_of_start == round(Fraction(10_335_298) / Fraction(1025, 1000) ** 3)
    assert now.people[0].tax_free_cash.received == 2_500_000
    # Left alone: 100,000, 104,000, 108,160, 112,486.40; a quarter is 28,121.60.
    assert now.people[0].tax_free_cash.at_the_end == 2_812_160
    assert now.people[0].tax_free_cash.forgone == 312_160
    assert with_income.people[0].tax_free_cash.with_withdrawals == 3 * 419_000
    assert with_income.people[0].tax_free_cash.available == 1_504_209
    assert (now.most_cash_waiting, now.cash_waits_until) == (1_767_000, None)
    assert (with_income.most_cash_waiting, with_income.cash_waits_until) == (0, "2026-27")
    assert now.people[0].money_purchase_allowance.tax_year == "2026-27"


# Whatever the household


def courses(household: Household) -> list[Course]:
    """The options that can be carried out."""
    years, found = timeline(household, BOOK), []
    for option in OPTIONS:
        try:
            found.append(carried_out(years, option))
        except RuleViolation:
            continue
    return found


ANY = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@ANY
@given(household=plans(2_500))
def test_money_is_conserved_to_the_penny(household: Household) -> None:
    for course in courses(household):
        held = None
        for period, year in zip(course.timeline.periods, course.years, strict=True):
            moved = 0
            for first, record in year.people():
                before, begun, after = first.before, first.after, record.after
                assert before.cash + first.lump_sum + first.moved == begun.cash + first.subscribed
                assert before.isa + first.subscribed == begun.isa
                funds = before.pension.uncrystallised + before.pension.drawdown - first.lump_sum
                assert funds == begun.pension.uncrystallised + begun.pension.drawdown
                grown = record.pension_growth
                put_in = record.opened.year.paid_in
                assert (
                    funds + grown + put_in.amount - record.gross
                    == after.pension.uncrystallised + after.pension.drawdown
                )
                assert begun.isa + record.isa_growth + record.subscribed - record.from_isa == after.isa
                received = record.opened.year.received + record.gross + record.from_isa + record.moved
                paid = record.income_tax + record.spent + record.subscribed
                assert begun.cash + record.opened.interest + received - paid == after.cash
                assert min(first.lump_sum, first.subscribed, after.cash, after.isa) >= 0
                assert min(after.pension.uncrystallised, after.pension.drawdown) >= 0
                moved += first.moved
            assert moved == 0
            assert sum(record.spent for record in year.settled.people) == course.timeline.spending[period.position]
            if held is not None:
                assert tuple(first.before for first in year.begun) == held
            held = year.settled.holdings


@ANY
@given(household=plans(2_500))
def test_tax_free_cash_and_subscriptions_keep_within_their_limits(household: Household) -> None:
    years = timeline(household, BOOK)
    for course in courses(household):
        for i, member in enumerate(household.people):
            rules = years.periods[-1].rules.lump_sums
            taken = sum(year.begun[i].lump_sum + year.settled.people[i].tax_free for year in course.years)
            # Years with the lifetime allowance and years with the lump sum allowance come to the same quarter of it, but
            # for the hundredths of a per cent that are dropped in the first.
            slack = 0 if years.periods[0].rules.lump_sums.lump_sum_allowance is not None else 30_000 * len(course.years)
            assert taken <= lump_sums.available(member.pension, rules).tax_free + slack
            if course.option.lump_sums == "never":
                assert taken == 0
            for period, year in zip(years.periods, course.years, strict=True):
                subscribed = year.begun[i].subscribed + year.settled.people[i].subscribed
                assert subscribed <= years.people[i][period.position].isa_allowance_left


@ANY
@given(household=plans(1_500), day=st.integers(0, 1_500))
def test_years_cut_short_are_the_same_until_then(household: Household, day: int) -> None:
    """Whatever ends the years, what came before does not depend on it."""
    whole = timeline(household, BOOK)
    for course in courses(household):
        kept = len([period for period in whole.periods if period.last < household.end])
        if kept == 0:
            continue
        end = whole.periods[min(kept - 1, day % kept)].last
        part = carried_out(timeline(replace(household, end=end), BOOK), course.option)
        assert [year.settled.holdings for year in part.years] == [
            year.settled.holdings for year in course.years[: len(part.years)]
        ]


@given(
    pot=st.integers(0, 150_000_000),
    growth=st.sampled_from((0, 137, 300)),
    years=st.integers(1, 25),
)
@settings(max_examples=60, deadline=None)
def test_all_now_and_with_each_withdrawal_differ_only_by_the_allowance(pot: int, growth: int, years: int) -> None:
    """The same growth everywhere, no income drawn, interest within the nil rates: what is taken now grows outside the
    pension as it would inside. Only what a quarter grows to beyond the allowance is taxed at last, at the exit rate."""
    assumed = Assumptions(growth, growth, growth, tax_rate_on_remaining_pension=2_000)
    options = (Option("all_now", SPENDING_ONLY), Option("with_each_withdrawal", SPENDING_ONLY))
    result = asked(person(pension=Pension(pot)), options=options, to_age=63 + years, assumptions=assumed)
    now, later = course_of(result, 0), course_of(result, 1)
    assume(now.income_tax == 0)
    allowance = 26_827_500
    factor = (1 + Fraction(growth, 10_000)) ** years
    lump_sum = min(Fraction(pot, 4), allowance)
    beyond = lump_sum * factor - min(Fraction(pot, 4) * factor, allowance)
    difference = Fraction(2_000, 10_000) * beyond
    assert abs(now.wealth - later.wealth - difference) <= 10 * years  # pennies of rounding


@given(
    pot=st.integers(100_000, 300_000_000),
    yearly=st.integers(100_000, 6_000_000),
    used=st.sampled_from((0, 10_000_000, 26_827_500)),
)
@settings(max_examples=60, deadline=None)
def test_without_growth_stages_come_to_the_same_tax_free_cash(pot: int, yearly: int, used: int) -> None:
    pension = Pension(pot, lump_sum_allowance_used=used)
    options = (Option("all_now", SPENDING_ONLY), Option("phased", SPENDING_ONLY, yearly))
    now, phased = (option.totals for option in asked(person(pension=pension), options=options, to_age=75).options)
    assert now is not None
    assert phased is not None
    assert now.people[0].tax_free_cash.received == min(pot // 4, 26_827_500 - used)
    stages = phased.people[0].tax_free_cash
    # Each stage crystallises whole pennies.
    assert 0 <= now.people[0].tax_free_cash.received - (stages.received + stages.available) <= 12


def test_the_lump_sum_allowance_and_protected_ones() -> None:
    """£268,275, and £450,000 and £312,500 under fixed protection 2012 and 2016 (ITEPA 2003 s.637P; gov.uk, Taking higher
    tax-free lump sums with protected allowances, from memory)."""
    for protected, most in ((None, 26_827_500), (45_000_000, 45_000_000), (31_250_000, 31_250_000)):
        pension = Pension(300_000_000, protected_lump_sum_allowance=protected)
        result = asked(person(pension=pension), options=(Option("all_now", SPENDING_ONLY),))
        totals = result.options[0].totals
        assert totals is not None
        assert totals.people[0].tax_free_cash.received == most
        assert totals.people[0].tax_free_cash.above_allowance == 75_000_000 - most
        assert totals.people[0].tax_free_cash.allowance_used_up == "2026-27"


def test_stages_fill_both_allowances_this_tax_year_and_the_next() -> None:
    """With a spouse who has no pension, £40,000 goes into ISAs each tax year, the first one at once."""
    options = (Option("phased", SPENDING_ONLY), Option("all_now", SPENDING_ONLY))
    couple = (person(pension=Pension(40_000_000)), person(pension=Pension(0)))
    stages, now = asked(*couple, options=options, start=date(2027, 3, 1), to_age=65).options
    assert [sum(one.lump_sum for one in year.people) for year in stages.years] == [4_000_000, 4_000_000]
    assert [[one.subscribed for one in year.people] for year in stages.years] == [[2_000_000] * 2] * 2
    assert [year.waiting for year in stages.years] == [0, 0]
    # £100,000 at once: £40,000 goes in on 1 March, £40,000 on 6 April; £20,000 waits.
    assert [[one.subscribed for one in year.people] for year in now.years] == [[2_000_000] * 2] * 2
    assert [year.waiting for year in now.years] == [6_000_000, 2_000_000]


def test_a_lump_sum_alone_does_not_trigger_the_money_purchase_annual_allowance() -> None:
    """Finance Act 2004 s.227G: income does, a pension commencement lump sum does not."""
    options = (Option("all_now", SPENDING_ONLY), Option("all_now", BANDS[0]), Option("with_each_withdrawal", BANDS[0]))
    totals = [option.totals for option in asked(person(), options=options).options]
    assert [found.people[0].money_purchase_allowance.tax_year for found in totals if found] == [
        None,
        "2026-27",
        "2026-27",
    ]


def test_contributions_are_paid_in_and_no_income_is_drawn_before_the_last_large_one() -> None:
    """By hand: the employer pays 20,000 in each of two tax years. Before the last day of the second only a lump sum is drawn.
    Left alone, a quarter of all could be taken free of tax. Finance Act 2004 s.227B: 10,000 once income is drawn."""
    employer = Contribution(payer="employer", yearly=2_000_000, last=date(2028, 4, 5), pension=0)
    worker = person(pension=Pension(10_000_000), pensions=(PensionHeld(10_000_000),), contributions=(employer,))
    options = (Option("never", "personal_allowance"), Option("all_now", "personal_allowance"))
    found = asked(worker, options=options)
    never, now = (option.years for option in found.options)
    assert [year.people[0].pension.paid_in for year in never][:3] == [2_000_000, 2_000_000, 0]
    assert [bool(year.people[0].record.taxable) for year in never][:3] == [False, True, True]
    assert now[0].people[0].lump_sum == 2_500_000
    totals = found.options[0].totals
    assert totals is not None
    assert totals.people[0].tax_free_cash.at_the_end == (10_000_000 + 2 * 2_000_000) // 4


def test_at_age_takes_it_on_the_first_6_april_from_then_on() -> None:
    born = date(1964, 9, 10)
    options = (Option("at_age", SPENDING_ONLY, age=65),)
    years = asked(person(date_of_birth=born), options=options, to_age=68).options[0].years
    assert [year.period.name for year in years if year.people[0].lump_sum] == ["2030-31"]
    exactly = asked(person(date_of_birth=date(1965, 4, 6)), options=options, to_age=68).options[0].years
    assert [year.period.name for year in exactly if year.people[0].lump_sum] == ["2030-31"]


def test_too_young_is_computed_from_the_first_permitted_day() -> None:
    """Born on 20 April 1973: 55 only after the minimum has become 57, on 6 April 2028 (Finance Act 2022 s.10)."""
    young = person(date_of_birth=date(1973, 4, 20))
    result = asked(young, options=(Option("all_now", SPENDING_ONLY),), to_age=60)
    assert [year.period.name for year in result.options[0].years if year.people[0].lump_sum] == ["2031-32"]
    (found,) = [warning for warning in timing_warnings(result) if warning.effect == "not_permitted"]
    assert "20 April 2030" in found.detail
    assert "6 April 2031" in found.detail
    protected = young._replace(pension=Pension(10_000_000, protected_pension_age=50))
    allowed = asked(protected, options=(Option("all_now", SPENDING_ONLY),), to_age=60)
    assert allowed.options[0].years[0].people[0].lump_sum == 2_500_000
    assert not [warning for warning in timing_warnings(allowed) if warning.effect == "not_permitted"]


# Deaths


def left_by(result: Timing, option: int = 0, death: int = 0) -> Any:
    found = result.options[option].deaths[death].outcome
    assert found is not None, result.options[option].deaths[death].reason
    return found


@pytest.mark.parametrize(("born", "tax"), [(date(1954, 4, 5), 19_000_000), (date(1954, 4, 6), 47_000_000)])
def test_unused_pension_counts_in_the_estate_from_6_april_2027(born: date, tax: int) -> None:
    """A pension of £700,000 and £800,000 besides, age 73, no spouse: £190,000 before and £470,000 after.

    Consultation "Inheritance Tax on pensions: liability, reporting and payment", Annex A, case study 1 (through a
    reproduction). Death on 5 and on 6 April 2027 differ by nothing else.
    """
    result = asked(
        person(date_of_birth=born, pension=Pension(70_000_000)),
        options=(Option("never", SPENDING_ONLY),),
        to_age=75,
        deaths=(Death(0, 73),),
        estate=EstateFacts(other_assets=80_000_000),
    )
    assert left_by(result).inheritance_tax == tax
    (left,) = left_by(result).deaths
    assert left.estate.pension == 70_000_000
    assert left.tax.free_estate == 80_000_000


@pytest.mark.parametrize(
    ("estate", "day", "tax", "source"),
    [
        (EstateFacts(other_assets=50_000_000), date(2026, 5, 6), 7_000_000, "gov.uk, Inheritance Tax (from memory)"),
        (
            EstateFacts(home=25_000_000, home_to_descendants=True, other_assets=55_000_000),
            date(2024, 5, 10),
            12_000_000,
            "ACCA Advanced Taxation notes, illustration on a home left to descendants, May 2024",
        ),
        (
            EstateFacts(
                home=40_000_000,
                home_to_descendants=True,
                other_assets=60_000_000,
                residence_nil_rate_band_brought_forward=10_000,
            ),
            date(2019, 7, 30),
            (100_000_000 - 30_000_000 - 32_500_000) * 4 // 10,
            "HMRC, residence nil-rate band case study 5.1: £300,000 with a band brought forward",
        ),
    ],
)
def test_published_estates(estate: EstateFacts, day: date, tax: int, source: str) -> None:
    born = day.replace(year=day.year - 80)
    start = date(day.year, 4, 6)
    result = asked(
        person(date_of_birth=born, pension=Pension(0)),
        options=(Option("never", SPENDING_ONLY),),
        start=start,
        to_age=81,
        deaths=(Death(0, 80),),
        estate=estate,
    )
    assert left_by(result).inheritance_tax == tax, source


def test_beneficiaries_pay_income_tax_on_what_inheritance_tax_leaves() -> None:
    """£100,000 of pension, all of it taxed at 40%; a beneficiary at 40%; death at 75 or over: £36,000 is left (ITEPA 2003
    s.567B). Under 75 the £60,000 is free of income tax."""
    for age, net in ((75, 3_600_000), (74, 6_000_000)):
        born = date(1953, 5, 1)
        start = date(1953 + age, 4, 6)
        result = asked(
            person(date_of_birth=born, pension=Pension(10_000_000)),
            options=(Option("never", SPENDING_ONLY),),
            start=start,
            to_age=age + 1,
            deaths=(Death(0, age),),
            estate=EstateFacts(other_assets=32_500_000),
            beneficiary_tax_rate=4_000,
        )
        (left,) = left_by(result).deaths
        # Beside an estate that uses the nil-rate band, tax falls on both in proportion: the pension bears its share.
        assert left.tax.tax == 4_000_000
        assert left.pension.inheritance_tax == 4_000_000 * 10_000_000 // 42_500_000
        rest = 10_000_000 - left.pension.inheritance_tax
        assert left.pension.net == (rest if age == 74 else rest - (rest * 4 + 5) // 10)
        # The shape of the published example, with all bands used by the rest.
        used = replace(result.question.estate, gifts=(Gift(start, 32_500_000),), other_assets=0)
        whole = beneficiaries_receive(course_of(result, 0), Death(0, age), used, 4_000)
        assert whole.net == net


def test_a_lump_sum_under_75_is_free_up_to_the_allowance() -> None:
    """Lump sum and death benefit allowance of £1,073,100 (ITEPA 2003 s.637R); drawdown is not tested."""
    facts = {
        "options": (Option("never", SPENDING_ONLY),),
        "to_age": 70,
        "deaths": (Death(0, 65),),
        "beneficiary_tax_rate": 4_500,
    }
    rich = person(pension=Pension(120_000_000), date_of_birth=date(1961, 4, 6))
    lump_sum = left_by(asked(rich, **facts)).deaths[0].pension
    assert (lump_sum.tax_free, lump_sum.taxable) == (107_310_000, 12_690_000)
    drawdown = left_by(asked(rich, **facts, estate=EstateFacts(pension_paid_as="drawdown"))).deaths[0].pension
    assert (drawdown.tax_free, drawdown.taxable) == (120_000_000, 0)


@pytest.mark.parametrize(
    ("given_up", "lost", "addition", "tax"),
    [
        # Other assets of £600,000 and no home, death in 2026-27, by hand (IHTA 1984 ss.8FA-8FE; HMRC IHTM46060). A home of
        # £300,000 given up when the full band was £150,000 had all of the band: £175,000 is lost and comes back, and
        # (600,000 - 325,000 - 175,000) at 40% is due.
        (HomeGivenUp(30_000_000, 15_000_000), 17_500_000, 17_500_000, 4_000_000),
        # Of one of £75,000 half of the band: £87,500. (600,000 - 325,000 - 87,500) at 40%.
        (HomeGivenUp(7_500_000, 15_000_000), 8_750_000, 8_750_000, 7_500_000),
        # Nothing comes back where descendants inherit nothing: (600,000 - 325,000) at 40%.
        (HomeGivenUp(30_000_000, 15_000_000, rest_to_descendants=False), 17_500_000, 0, 11_000_000),
    ],
)
def test_a_home_given_up_may_earn_an_addition(given_up: HomeGivenUp, lost: int, addition: int, tax: int) -> None:
    result = asked(
        person(date_of_birth=date(1951, 5, 1), pension=Pension(0)),
        options=(Option("never", SPENDING_ONLY),),
        to_age=76,
        deaths=(Death(0, 75),),
        estate=EstateFacts(other_assets=60_000_000, home_given_up=given_up),
    )
    (left,) = left_by(result).deaths
    band = left.tax.residence_band
    assert (band.lost_by_downsizing, band.downsizing_addition, left.tax.tax) == (lost, addition, tax)


def test_of_a_couples_home_each_gave_up_their_share() -> None:
    given_up = HomeGivenUp(20_000_000, 10_000_000)
    result = asked(
        *COUPLE,
        options=(Option("never", SPENDING_ONLY),),
        to_age=80,
        deaths=(Death(0, 66),),
        estate=EstateFacts(other_assets=90_000_000, home_given_up=given_up, first_person_share=6_000),
    )
    first, second = left_by(result).deaths
    assert first.estate.former_home is None  # all passes to the spouse
    assert second.estate.former_home.value == 8_000_000


@pytest.mark.parametrize(
    ("facts", "tax_free", "rate", "income_tax"),
    [
        # Death at 74, £100,000 paid as a lump sum within two years: free of income tax (ITEPA 2003 s.637R).
        ({}, 10_000_000, 4_000, 0),
        # Later than two years all of it is the beneficiary's income (FA 2004 Sch.29 para 13; ITEPA 2003 s.636A).
        ({"pension_paid_within_two_years": False}, 0, 4_000, 4_000_000),
        # Trustees bear the special lump sum death benefits charge of 45% instead (FA 2004 s.206).
        ({"pension_paid_within_two_years": False, "pension_to_non_qualifying_person": True}, 0, 4_500, 4_500_000),
    ],
)
def test_late_payments_and_non_qualifying_persons(
    facts: dict[str, bool], tax_free: int, rate: int, income_tax: int
) -> None:
    result = asked(
        person(date_of_birth=date(1952, 5, 1), pension=Pension(10_000_000)),
        options=(Option("never", SPENDING_ONLY),),
        to_age=75,
        deaths=(Death(0, 74),),
        estate=EstateFacts(**facts),
        beneficiary_tax_rate=4_000,
    )
    pension = left_by(result).deaths[0].pension
    assert (pension.tax_free, pension.rate, pension.income_tax) == (tax_free, rate, income_tax)


@pytest.mark.parametrize(
    # £60,000 of £100,000 were in drawdown at the death. By hand at 40%.
    ("paid_as", "income_tax"),
    [("drawdown", 1_600_000), ("lump_sum", 4_000_000)],
)
def test_drawdown_that_goes_on_late_is_free_of_income_tax(paid_as: Form, income_tax: int) -> None:
    """The two years are a condition of uncrystallised funds alone (Taxation of Pensions Act 2014 Sch.2 para 25)."""
    result = asked(
        person(date_of_birth=date(1952, 5, 1), pension=Pension(4_000_000, 6_000_000)),
        options=(Option("never", SPENDING_ONLY),),
        to_age=75,
        deaths=(Death(0, 74),),
        estate=EstateFacts(pension_paid_as=paid_as, pension_paid_within_two_years=False),
        beneficiary_tax_rate=4_000,
    )
    pension = left_by(result).deaths[0].pension
    assert (pension.amount, pension.income_tax) == (10_000_000, income_tax)


@pytest.mark.parametrize(("trust", "age", "told"), [(True, 75, True), (True, 74, False), (False, 75, False)])
def test_the_charge_on_a_trust_comes_with_its_caveat(trust: bool, age: int, told: bool) -> None:
    """Whether inheritance tax comes off first is open from 6 April 2027; under 75 there is no charge (FA 2004 s.206)."""
    result = asked(
        person(date_of_birth=date(1953, 5, 1), pension=Pension(10_000_000)),
        options=(Option("never", SPENDING_ONLY),),
        start=date(1953 + age, 4, 6),
        to_age=age + 1,
        deaths=(Death(0, age),),
        estate=EstateFacts(pension_to_non_qualifying_person=trust),
    )
    named = {caveat.figure for caveat in timing_caveats(result)}
    assert ("pension.special_lump_sum_death_benefits_charge" in named) == told


COUPLE = (
    person(pension=Pension(40_000_000), isa=Isa(5_000_000), cash=3_000_000),
    person(date_of_birth=date(1966, 8, 20), pension=Pension(10_000_000), isa=Isa(2_000_000, 500_000)),
)
HOME = EstateFacts(home=60_000_000, home_to_descendants=True, first_person_share=6_000)


def test_the_first_death_passes_all_to_the_spouse() -> None:
    """Exempt (s.18), whole bands brought forward (ss.8A, 8G), ISAs by an additional permitted subscription."""
    for who, age in ((0, 66), (1, 64)):
        result = asked(
            *COUPLE, options=(Option("all_now", BANDS[0]),), to_age=80, deaths=(Death(who, age),), estate=HOME
        )
        found = left_by(result)
        first, second = found.deaths
        assert (first.person, second.person) == (who, 1 - who)
        assert first.to_spouse
        assert first.tax.tax == 0
        assert first.tax.chargeable == 0
        assert first.additional_permitted_subscription == first.estate.isa
        assert (first.tax.nil_rate_band_unused, first.tax.residence_band_unused) == (1_000_000, 1_000_000)
        assert first.estate.home == (36_000_000, 24_000_000)[who]
        # The survivor starts with all of both.
        start = [one.before for one in found.survivor.years[0].begun]
        assert len(start) == 1
        assert second.estate.home == 60_000_000
        assert second.tax.nil_rate_band.whole == 65_000_000
        assert second.tax.residence_band.default_allowance == 35_000_000
        assert second.day == result.question.household.end


@pytest.mark.parametrize("take", ["all_now", "phased", "with_each_withdrawal", "never"])
@pytest.mark.parametrize("day", [date(2031, 4, 5), date(2031, 4, 6), date(2031, 7, 1), date(2032, 2, 29)])
def test_nothing_is_lost_or_used_twice_when_one_of_two_dies(take: str, day: date) -> None:
    first = COUPLE[0]._replace(date_of_birth=day.replace(year=day.year - 68))
    household = Household(
        START, date(2040, 4, 5), (first, COUPLE[1]), (Spending(4_000_000),), assumptions=Assumptions(400, 400, 200)
    )
    course = carried_out(timeline(household, BOOK), Option(take, BANDS[1]))
    found = beneficiaries_receive(course, Death(0, 68), HOME, 2_000)
    died = found.deaths[0]
    survivor = found.survivor
    assert survivor is not None
    assert died.day == day
    (begun,) = survivor.years[0].begun
    # What the two held on the day of the death, from an independent run to that day.
    cut = first._replace(income=tuple(income._replace(last=min(income.last or day, day)) for income in first.income))
    until = carried_out(timeline(replace(household, end=day, people=(cut, COUPLE[1])), BOOK), course.option)
    held = until.holdings
    assert begun.before.isa == sum(one.isa for one in held)
    assert begun.before.cash == sum(one.cash for one in held)
    inherited = held[0].pension.uncrystallised + held[0].pension.drawdown  # died at 68: free of income tax
    assert begun.before.pension == held[1].pension
    # What is drawn of it counts among what is received.
    later = sum(
        year.settled.people[0].opened.year.received - alone.received
        for year, alone in zip(survivor.years, survivor.timeline.people[0], strict=True)
    )
    assert inherited_by(survivor) + later >= inherited > 0
    # One ISA limit in the tax year of the death.
    last = until.years[-1]
    if day != date(2031, 4, 5):
        subscribed = last.begun[1].subscribed + last.settled.people[1].subscribed
        subscribed += survivor.years[0].begun[0].subscribed + survivor.years[0].settled.people[0].subscribed
        assert subscribed <= 2_000_000
        # One basic rate band: the tax year's withdrawals of the survivor stay within it.
        taxable = last.settled.people[1].taxable + survivor.years[0].settled.people[0].taxable
        assert taxable <= 5_027_000


def test_money_inherited_from_someone_of_75_is_taxed_with_the_survivors_income() -> None:
    older = COUPLE[0]._replace(date_of_birth=date(1953, 6, 1))
    result = asked(
        older, COUPLE[1], options=(Option("never", BANDS[0]),), to_age=90, deaths=(Death(0, 75), Death(0, 74))
    )
    taxed, free = left_by(result, death=0), left_by(result, death=1)
    assert inherited_by(taxed.survivor) == 0
    assert taxed.survivor.years[0].begun[0].before.pension.drawdown > 30_000_000
    assert inherited_by(free.survivor) > 30_000_000
    assert free.survivor.years[0].begun[0].before.pension.drawdown == 0


def test_a_first_death_to_beneficiaries_is_taxed_and_the_survivor_keeps_only_their_own() -> None:
    facts = replace(HOME, first_death=TO_BENEFICIARIES, other_assets=50_000_000)
    result = asked(*COUPLE, options=(Option("never", SPENDING_ONLY),), to_age=70, deaths=(Death(0, 66),), estate=facts)
    found = left_by(result)
    first, second = found.deaths
    # 36,000,000 of the home, 30,000,000 of other assets, the pension of 40,000,000, and of 8,000,000 in ISA and cash what is
    # left when 1,000,000 has gone into the other's ISAs.
    assert first.tax.estate == 113_000_000
    assert first.tax.tax == (113_000_000 - 32_500_000 - 17_500_000) * 4 // 10
    assert second.estate.home == 24_000_000
    assert second.tax.nil_rate_band.brought_forward == 0
    assert second.estate.isa + second.estate.cash == 3_000_000
    assert found.net == first.net + second.net


@pytest.mark.parametrize(("spouses", "tax"), [(True, 0), (False, 11_700_000)])
def test_bands_left_unused_serve_the_survivor_of_spouses_whoever_inherits(spouses: bool, tax: int) -> None:
    """£32,500 to beneficiaries leaves nine tenths of the band (s.8A); with them the survivor's £617,500 bears no tax."""
    poor = person(pension=Pension(0), cash=3_250_000, isa=Isa(0, 2_000_000))
    rich = person(date_of_birth=date(1966, 8, 20), pension=Pension(0), cash=61_750_000, isa=Isa(0, 2_000_000))
    result = asked(
        poor,
        rich,
        options=(Option("never", SPENDING_ONLY),),
        start=date(2027, 1, 1),
        to_age=64,
        deaths=(Death(0, 64),),
        estate=EstateFacts(first_death=TO_BENEFICIARIES, spouses=spouses),
    )
    found = left_by(result)
    assert found.deaths[0].tax.tax == 0
    assert found.inheritance_tax == tax


@pytest.mark.parametrize("to_age", [66, 67, 70])
@pytest.mark.parametrize("age", [64, 65, 66, 67, 70])
@pytest.mark.parametrize("partner_born", [date(1963, 4, 5), date(1963, 4, 6), date(1960, 2, 29), date(1970, 11, 3)])
def test_a_fault_of_an_age_names_all_ages_that_would_do_and_no_other(to_age: int, age: int, partner_born: date) -> None:
    """Every age is tried for the survivor, and for the one who dies first."""
    partner = person(date_of_birth=partner_born)

    def refused(*deaths: Death) -> dict[str, str]:
        try:
            asked(person(), partner, options=(Option("never", SPENDING_ONLY),), to_age=to_age, deaths=deaths)
        except RuleViolation as error:
            return {str(fault.path[-1]): fault.detail for fault in error.faults}
        return {}

    for field, of_age in (("age", lambda tried: Death(0, tried)), ("survivor_age", lambda tried: Death(0, age, tried))):
        told = {tried: refused(of_age(tried)).get(field) for tried in range(40, 90)}
        allowed = [tried for tried, detail in told.items() if detail is None]
        if field == "survivor_age" and "age" in refused(Death(0, age)):
            continue
        for detail in filter(None, told.values()):
            if not allowed:
                assert "There is no such birthday: leave this out" in detail
            elif len(allowed) == 1:
                assert detail.endswith(f"Give {allowed[0]}.")
            else:
                assert detail.endswith(f"Give an age from {allowed[0]} to {allowed[-1]}.")


def test_gifts_count_for_seven_years_and_use_the_band_first() -> None:
    gifts = (Gift(date(2026, 5, 1), 10_000_000), Gift(date(2020, 1, 1), 99_000_000))
    for age, band in ((66, 22_500_000), (69, 22_500_000), (70, 22_500_000), (71, 32_500_000)):
        result = asked(
            person(date_of_birth=date(1963, 4, 30)),
            options=(Option("never", SPENDING_ONLY),),
            to_age=75,
            deaths=(Death(0, age),),
            estate=EstateFacts(gifts=gifts),
        )
        (left,) = left_by(result).deaths
        older = 99_000_000 if left.day < date(2027, 1, 1) else 0
        assert left.tax.nil_rate_band.available == max(0, band - older)


@given(
    other=st.integers(0, 300_000_000),
    more=st.integers(0, 50_000_000),
    home=st.integers(0, 80_000_000),
    share=st.sampled_from((0, 500, 1_000, 5_000)),
    who=st.sampled_from((0, 1)),
)
@settings(max_examples=40, deadline=None)
def test_more_left_is_never_less_tax_and_none_is_due_below_the_bands(
    other: int, more: int, home: int, share: int, who: int
) -> None:
    years = timeline(Household(START, date(2030, 4, 5), COUPLE), BOOK)
    course = carried_out(years, Option("never", SPENDING_ONLY))
    facts = EstateFacts(home=home, home_to_descendants=True, other_assets=other, charity_share=share)
    death = Death(who, 65 if who == 0 else 61)
    found = beneficiaries_receive(course, death, facts, 2_000)
    richer = beneficiaries_receive(course, death, replace(facts, other_assets=other + more), 2_000)
    if share == 0:
        assert richer.inheritance_tax >= found.inheritance_tax
        assert richer.net >= found.net
    last = found.deaths[-1]
    if last.tax.chargeable <= last.tax.nil_rate_band.available + last.tax.residence_band.used:
        assert found.inheritance_tax == 0
    left = last.estate
    after = last.net + last.to_charity + found.inheritance_tax + found.beneficiaries_income_tax
    assert after == left.free_estate + left.pension


# Orders and break-evens


def lively(**facts: Any) -> Timing:
    """A couple with interest to pay tax on, a State Pension to come, and three options that change places."""
    people = (
        person(
            pension=Pension(90_000_000),
            income=(DatedIncome("state_pension", share_of_full_rate=10_000, increases="prices"),),
        ),
        person(date_of_birth=date(1965, 9, 1), pension=Pension(12_000_000), tax_residence="scotland"),
    )
    options = (
        Option("all_now", BANDS[0]),
        Option("with_each_withdrawal", BANDS[0]),
        Option("at_age", BANDS[0], age=70),
    )
    assumed = replace(FLAT, pension_growth=450, isa_growth=450, cash_interest=300, price_inflation=200)
    given = {"to_age": 88, "options": options, "assumptions": assumed, "spending": (Spending(2_900_000),), **facts}
    return asked(*people, **given)


def test_options_are_in_order_by_each_measure() -> None:
    result = lively(deaths=(Death(0, 80), Death(1, 70, 80)), scenarios={"low": replace(FLAT, price_inflation=200)})
    orders = [result.by_wealth, *result.by_beneficiaries, *result.by_scenario.values()]
    for order in orders:
        amounts = [placed.amount for placed in order]
        assert amounts == sorted(amounts, reverse=True)
        assert {placed.option for placed in order} == {0, 1, 2}
    taxes = [placed.amount for placed in result.by_income_tax]
    assert taxes == sorted(taxes)
    assert {placed.option: placed.amount for placed in result.by_wealth} == {
        k: course_of(result, k).wealth for k in range(3)
    }


def test_at_a_break_even_of_growth_the_two_are_equal_within_a_pound() -> None:
    result = lively()
    solved = 0
    for pair in result.break_evens:
        for found in pair.growth or ():
            assumed = result.question.household.assumptions
            for shift, leader in ((-20_000, found.below), (0, None), (20_000, found.above)):
                moved = replace(
                    assumed,
                    pension_growth=shifted(assumed.pension_growth, found.shift + shift),
                    isa_growth=shifted(assumed.isa_growth, found.shift + shift),
                )
                again = lively(assumptions=moved)
                first, second = (course_of(again, k).wealth for k in pair.options)
                if leader is None:
                    assert abs(first - second) <= 100
                    assert first - second == found.difference
                else:
                    assert (first > second) == (leader == 0)
            solved += 1
    assert solved


def test_at_a_break_even_of_age_the_lead_passes_that_day() -> None:
    result = lively()
    household = result.question.household
    solved = 0
    for pair in result.break_evens:
        for found in pair.ages or ():
            differences = []
            for day in (found.day, date.fromordinal(found.day.toordinal() - 1)):
                years = timeline(replace(household, end=day), BOOK)
                first, second = (carried_out(years, result.question.options[k]).wealth for k in pair.options)
                differences.append(first - second)
            assert differences == [found.difference, found.difference_the_day_before]
            assert (found.difference > 0) == (found.leader == 0)
            solved += 1
    assert solved


def crowded(to_age: int) -> Timing:
    """Ten options of a couple over many years, whose taxed interest differs at every growth."""
    saver = {"isa": Isa(1_000_000), "cash": 30_000_000, "pension": Pension(60_000_000)}
    two = (person(**saver), person(**saver, date_of_birth=date(1965, 8, 9), tax_residence="scotland"))
    stages = tuple(Option("phased", BANDS[0], 400_000 * k) for k in range(1, 8))
    assumptions = Assumptions(pension_growth=400, isa_growth=300, cash_interest=300, price_inflation=200)
    options = (
        Option("all_now", BANDS[0]),
        Option("never", BANDS[0]),
        *stages,
        Option("with_each_withdrawal", BANDS[0]),
    )
    return asked(*two, options=options, to_age=to_age, assumptions=assumptions, growth_range=(-500, 1_500))


def test_break_evens_for_which_there_is_no_work_are_left_out_and_said_so() -> None:
    result = crowded(110)
    left = [pair for pair in result.break_evens if not pair.complete]
    assert 0 < len(left) < len(result.break_evens) == 45
    assert all(pair.growth is None or pair.ages is None for pair in left)
    assert any(f"For {len(left)} of 45 pairs" in sentence for sentence in summary(result))
    best = {placed.option for placed in result.by_wealth[:2]}
    assert all(set(pair.options) != best for pair in left)
    assert result.break_evens == crowded(110).break_evens


def test_what_is_worked_out_of_many_pairs_is_what_two_options_alone_have() -> None:
    """A break-even found after many others is one that the two options have: within a pound, or a leap."""
    result = crowded(110)
    done = [pair for pair in result.break_evens if pair.growth]
    assert done
    for pair in done[:3]:
        assumed = result.question.household.assumptions
        for found in pair.growth or ():
            moved = replace(
                assumed,
                pension_growth=shifted(assumed.pension_growth, found.shift),
                isa_growth=shifted(assumed.isa_growth, found.shift),
            )
            years = timeline(replace(result.question.household, assumptions=moved), BOOK)
            first, second = (carried_out(years, result.question.options[k]).wealth for k in pair.options)
            assert first - second == found.difference


def test_a_break_even_is_the_same_whatever_other_options_there_are() -> None:
    """Which of the rates within a pound is the answer depends on the two options alone."""
    asked_for = question("lump-sum-timing", timing_of(couple(Random(0), "personal_allowance")))
    found = [pair for pair in timing(asked_for, BOOK).break_evens if pair.growth]
    assert len(found) > 1
    for pair in found:
        two = replace(asked_for, options=tuple(asked_for.options[k] for k in pair.options))
        (alone,) = timing(two, BOOK).break_evens
        assert (alone.growth, alone.ages) == (pair.growth, pair.ages)


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(random=st.randoms(use_true_random=False))
def test_six_options_and_two_deaths_over_forty_years_leave_nothing_out(random: Random) -> None:
    asked_for = question("lump-sum-timing", timing_of(couple(random, "personal_allowance")))
    try:
        result = timing(asked_for, BOOK)
    except RuleViolation:
        assume(False)
        raise
    assert len(result.question.options) == 6
    assert all(pair.complete for pair in result.break_evens)


def test_options_that_are_the_same_never_change_places() -> None:
    twice = (Option("with_each_withdrawal", BANDS[0]), Option("with_each_withdrawal", BANDS[0]))
    (pair,) = asked(person(), options=twice, to_age=80).break_evens
    assert pair.growth == ()
    assert pair.ages == ()


def test_an_option_whose_spending_cannot_be_met_says_so_and_the_others_stand() -> None:
    """£2,750 a year for three years from £10,000: with its tax-free part £8,500 is left of it, without only £8,000."""
    poor = person(pension=Pension(1_000_000))
    options = (Option("with_each_withdrawal", SPENDING_ONLY), Option("never", SPENDING_ONLY))
    income = (DatedIncome("employment", 1_257_000),)
    result = asked(poor._replace(income=income), options=options, to_age=66, spending=(Spending(1_257_000 + 275_000),))
    assert [option.course is not None for option in result.options] == [True, False]
    assert "cannot be met" in result.options[1].reason
    assert [placed.option for placed in result.by_wealth] == [0]
    assert any(
        sentence.startswith("The second option, no tax-free cash, cannot be carried out. ")
        for sentence in summary(result)
    )


def test_the_summary_of_two_options_by_hand() -> None:
    """In prices of the start 103,461.14 / 1.025 x 1.025 x 1.025 = 96,073.95; the options are the first and the second."""
    assert summary(by_hand()) == [
        "At 66, the second option leaves the most: a quarter tax free with each withdrawal. That is £103,461 after tax, or "
        "£96,074 in the prices of April 2026.",
        "It is £108 more than the first option, all tax-free cash now.",
        "All options pay the same income tax, £0.",
        "If the pension grows by more than 2.00% a year, the second option leaves more than the first option. The comparison "
        "assumes 4.00% a year.",
    ]


def test_the_summary_says_what_is_the_same() -> None:
    """£100,000 without growth: a quarter and four fifths of the rest are £85,000; who dies at 65 leaves all of it, untaxed."""
    options = (Option("with_each_withdrawal", SPENDING_ONLY), Option("with_each_withdrawal", SPENDING_ONLY))
    facts = {"deaths": (Death(0, 65),), "scenarios": {"high": replace(FLAT, pension_growth=100)}}
    assert summary(asked(person(), options=options, to_age=66, **facts)) == [
        "At 66, the first and second options leave the same, within a pound. That is £85,000 after tax.",
        "All options pay the same income tax, £0.",
        "If you die at 65, beneficiaries would receive the same from the first and second options. That is £100,000 after "
        "inheritance and income tax.",
        "The first and second options leave the same in every growth scenario.",
    ]


def test_the_summary_of_one_option_compares_nothing() -> None:
    """£100,000 without growth: a quarter and four fifths of the rest are £85,000; who dies at 65 leaves all of it, untaxed."""
    facts = {"deaths": (Death(0, 65),), "scenarios": {"high": replace(FLAT, pension_growth=100)}}
    assert summary(asked(person(), options=(Option("never", SPENDING_ONLY),), to_age=66, **facts)) == [
        "At 66, the only option, no tax-free cash, leaves £85,000 after tax.",
        "If you die at 65, beneficiaries would receive £100,000 after inheritance and income tax.",
    ]


def test_the_summary_calls_two_people_by_the_names_that_were_given() -> None:
    """Who has no name is the first or the second person."""
    couple, options = (person(), person()), (Option("never", SPENDING_ONLY), Option("all_now", SPENDING_ONLY))
    for names, first, second in (
        (("Wren", "Ash"), "Wren", "Ash"),
        (("Wren", None), "Wren", "the second person"),
        ((None, None), "the first person", "the second person"),
    ):
        people = tuple(one._replace(name=name) for one, name in zip(couple, names, strict=True))
        told = summary(asked(*people, options=options, to_age=66, deaths=(Death(0, 65, 66),)))
        assert told[0].startswith(f"When {first} is 66, ")
        assert any(sentence.startswith(f"If {first} dies at 65 and {second} at 66, ") for sentence in told)


def test_the_summary_tells_the_results_in_numbers() -> None:
    result = lively(deaths=(Death(0, 80),), scenarios={"high": Assumptions(900, 900, 300, 200)})
    told = " ".join(summary(result))
    best, second = result.by_wealth[:2]
    assert rounded_pounds(best.amount) in told
    assert rounded_pounds(best.amount - second.amount) in told
    assert rounded_pounds(result.by_beneficiaries[0][0].amount) in told
    assert rounded_pounds(result.by_income_tax[0].amount) in told
    totals = result.options[best.option].totals
    assert totals is not None
    assert rounded_pounds(totals.wealth_in_prices_of_start) in told


# Warnings, on both sides


def codes(result: Timing) -> set[str]:
    return {warning.code for warning in timing_warnings(result)}


def test_each_warning_on_both_sides() -> None:
    now, never = Option("all_now", SPENDING_ONLY), Option("never", SPENDING_ONLY)
    steady = asked(person(), options=(now,), start=date(2026, 4, 6), to_age=64)
    assert codes(steady) == {"isa_allowance_used_up", "all_tax_free_cash_at_once"}
    small = person(pension=Pension(8_000_000))
    assert "isa_allowance_used_up" not in codes(asked(small, options=(now,), to_age=64))
    assert codes(asked(small, options=(never,), to_age=64)) == set()
    assert codes(asked(small, options=(never,), to_age=65)) == set()
    assert "no_tax_free_cash" in codes(asked(person(pension=Pension(0, 5_000_000)), options=(now,)))
    assert "no_tax_free_cash" not in codes(asked(person(pension=Pension(0, 5_000_000)), options=(never,)))
    assert "no_tax_free_cash" not in codes(asked(small, options=(now,)))
    at_limit, above = (person(pension=Pension(pot)) for pot in (107_310_000, 107_311_000))
    assert "tax_free_allowance_used_up" not in codes(asked(at_limit, options=(now,)))
    assert "tax_free_allowance_used_up" in codes(asked(above, options=(now,)))
    filled = Option("all_now", BANDS[0])
    assert "money_purchase_annual_allowance_triggered" in codes(asked(small, options=(filled,)))
    assert "money_purchase_annual_allowance_triggered" not in codes(asked(small, options=(now,)))
    rich = EstateFacts(other_assets=32_500_000)
    for born, told in ((date(1963, 4, 5), False), (date(1963, 4, 6), True)):
        dies = asked(person(date_of_birth=born), options=(never,), to_age=66, deaths=(Death(0, 64),), estate=rich)
        assert ("pension_counts_in_the_estate" in codes(dies)) == told
    for other, told in ((150_000_000, False), (150_000_200, True)):
        facts = EstateFacts(home=40_000_000, home_to_descendants=True, other_assets=other)
        dies = asked(person(), options=(never,), to_age=66, deaths=(Death(0, 65),), estate=facts)
        assert ("residence_band_tapered" in codes(dies)) == told


def test_what_all_options_share_is_said_once() -> None:
    options = (Option("all_now", BANDS[0]), Option("with_each_withdrawal", BANDS[0]), Option("never", BANDS[0]))
    found = timing_warnings(asked(person(), options=options))
    shared = [warning for warning in found if warning.code == "money_purchase_annual_allowance_triggered"]
    assert [warning.path for warning in shared] == [("household", "people", 0, "pensions", 0)]
    of_one = [warning for warning in found if warning.code == "all_tax_free_cash_at_once"]
    assert [warning.path for warning in of_one] == [("options", 0)]
    assert (of_one[0].options, shared[0].options) == ((0,), ())

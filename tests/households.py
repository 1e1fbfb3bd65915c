"""Random people, pensions, withdrawals and households for the property tests: ordinary amounts, and amounts at the edges
of bands."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from hypothesis import strategies as st

from service.figures.loader import load_tax_years
from service.law.income_tax import NATIONS, Taxpayer
from service.law.lump_sums import Pension
from service.law.rulebook import rule_book
from service.planning.household import (
    NOTHING_YET,
    WITH_PRICES,
    Already,
    Assumptions,
    Contribution,
    DatedIncome,
    Household,
    Income,
    Isa,
    Member,
    PensionHeld,
    Spending,
    after_charge,
)

BOOK = rule_book(load_tax_years())
YEARS = tuple(BOOK.years)

# Pounds at which something happens in one year or another, before and after allowances.
EDGES = (
    0, 500, 1_000, 1_250, 2_000, 5_000, 6_000, 12_500, 12_570, 17_570, 31_092, 37_700, 43_662, 50_000, 50_270, 60_000,
    75_000, 80_000, 100_000, 112_570, 125_140, 150_000,
)  # fmt: skip


def amounts(largest: int = 200_000) -> st.SearchStrategy[int]:
    """Pence from nothing to ``largest`` pounds: whole pounds, odd pennies, and a little either side of the edges."""
    near = st.tuples(st.sampled_from(EDGES), st.integers(-300, 300)).map(lambda pair: max(0, pair[0] * 100 + pair[1]))
    return st.one_of(
        st.just(0),
        st.integers(0, largest).map(lambda pounds: pounds * 100),
        st.integers(0, largest * 100),
        near.filter(lambda pence: pence <= largest * 100),
    )


@st.composite
def taxpayers(draw: Any, nations: tuple[str, ...] = NATIONS) -> Taxpayer:
    """A person's year without the withdrawal. Most have few kinds of income, as most people do."""
    seldom = st.one_of(st.just(0), amounts(30_000))
    return Taxpayer(
        nation=draw(st.sampled_from(nations)),
        other_income=draw(amounts(160_000)),
        property_income=draw(seldom),
        savings=draw(seldom),
        dividends=draw(seldom),
        relief_at_source=draw(st.one_of(st.just(0), amounts(20_000))),
        gift_aid=draw(st.one_of(st.just(0), amounts(3_000))),
        blind=draw(st.booleans()),
        marriage_allowance=draw(st.sampled_from(("none", "none", "gives", "receives"))),
        child_benefit=draw(st.sampled_from((0, 0, 0, 135_460, 225_160, 314_899))),
    )


years = st.sampled_from(YEARS)


def pounds(pence: int) -> float:
    """Pence as the JSON number of pounds."""
    return pence / 100


@st.composite
def requests(draw: Any) -> dict[str, Any]:
    """A well-formed request for the tax on a withdrawal; whether the rules allow it is another matter."""
    kinds = (
        "employment", "self_employment", "state_pension", "defined_benefit_pension", "annuity", "other_taxable",
        "property_income", "savings_interest", "dividends",
    )  # fmt: skip
    person: dict[str, Any] = {
        "date_of_birth": draw(st.dates(date(1940, 1, 1), date(1975, 1, 1))).isoformat(),
        "tax_residence": draw(st.sampled_from(NATIONS)),
    }
    income = draw(
        st.lists(
            st.fixed_dictionaries({"kind": st.sampled_from(kinds), "amount": amounts(60_000).map(pounds)}), max_size=4
        )
    )
    if income or draw(st.booleans()):
        person["income"] = income
    optional = {
        "contributions": amounts(20_000).map(lambda amount: [{"yearly": pounds(amount), "relief": "relief_at_source"}]),
        "flexibly_accessed": st.booleans(),
        "lump_sum_allowances": st.fixed_dictionaries(
            {},
            optional={
                "lifetime_allowance_used": st.sampled_from((0, 0.1234, 0.4, 0.9999, 1)),
                "protected_lump_sum_allowance": st.sampled_from((312_500, 375_000)),
            },
        ),
        "gift_aid_donations": amounts(3_000).map(pounds),
        "marriage_allowance": st.sampled_from(("none", "gives", "receives")),
        "blind_persons_allowance": st.booleans(),
        "child_benefit": st.sampled_from((0, 1354.6, 2251.6)),
    }
    person.update(draw(st.fixed_dictionaries({}, optional=optional)))
    person["pensions"] = [
        {"uncrystallised": pounds(draw(amounts(600_000))), "drawdown": pounds(draw(amounts(300_000)))}
    ]
    method = draw(st.sampled_from(("pcls", "pcls_and_drawdown", "ufpls", "drawdown", "small_pot")))
    withdrawal: dict[str, Any] = {"method": method}
    withdrawal[draw(st.sampled_from(("amount", "net_wanted")))] = pounds(draw(amounts(200_000)))
    request: dict[str, Any] = {
        "household": {"people": [person]}, "tax_year": draw(years), "withdrawal": withdrawal
    }  # fmt: skip
    if draw(st.booleans()):
        basis = draw(st.sampled_from(("month_1", "cumulative")))
        payroll: dict[str, Any] = {
            "code": draw(st.sampled_from(("1257L", "S1257L", "C1131N", "K475", "SK12", "0T", "BR", "SD1", "D1", "NT"))),
            "basis": basis,
        }
        if basis == "cumulative":
            payroll["month"] = draw(st.integers(1, 12))
            payroll["pay_to_date"] = pounds(draw(amounts(60_000)))
            payroll["tax_to_date"] = pounds(draw(amounts(20_000)))
        request["payroll"] = payroll
    return request


# Households for plans over years

PLAN_STARTS = st.one_of(
    st.sampled_from([date(year, 4, 6) for year in (2019, 2022, 2023, 2024, 2026, 2027, 2030)]),
    st.dates(date(2019, 4, 6), date(2031, 4, 5)),
)


@st.composite
def dated_incomes(draw: Any, start: date, born: date) -> DatedIncome:
    """An income of a plan; a share of the full State Pension only where that does not depend on sex."""
    kind = draw(st.sampled_from(("state_pension", "employment", "defined_benefit_pension", "property_income", "dividends",
                                 "savings_interest")))  # fmt: skip
    increases = draw(st.sampled_from((0, WITH_PRICES, 250, -100)))
    if kind == "state_pension" and born >= date(1953, 4, 6) and draw(st.booleans()):
        return DatedIncome(kind, share_of_full_rate=draw(st.integers(0, 12_000)), increases=increases)
    first = draw(st.none() | st.integers(-500, 2_500).map(lambda days: start + timedelta(days=days)))
    last = draw(st.none() | st.integers(0, 2_500).map(lambda days: (first or start) + timedelta(days=days)))
    return DatedIncome(kind, draw(amounts(60_000)), first=first, last=last, increases=increases)


SAVED = Contribution(relief="relief_at_source", yearly=360_000)
PAID_IN = (
    Contribution(relief="relief_at_source", yearly=180_000, pension=0),
    Contribution(payer="employer", yearly=150_000, last=date(2027, 9, 1), pension=0),
    Contribution(relief="none", amount=60_000, day=date(2026, 11, 11), pension=0),
)
HAD = Already((Income("employment", 1_500_000), Income("dividends", 60_000)), 700_000)


OTHER_TERMS = (
    {"growth": 700},
    {"growth": -250, "yearly_charge": 90},
    {"protected_pension_age": 50},
    {"protected_pension_age": 60, "growth": 100},
)
"""What sets one pension of a person apart from another."""


def in_pots(member: Member, *terms: dict[str, int]) -> Member:
    """The same person with a part of the pension money in further pensions, on other terms: a third of what is left in each."""
    uncrystallised, drawdown = member.pension.uncrystallised, member.pension.drawdown
    pensions = []
    for other in terms:
        part = uncrystallised // 3, drawdown // 3
        pensions.append(PensionHeld(*part, **{"protected_pension_age": member.pension.protected_pension_age, **other}))
        uncrystallised, drawdown = uncrystallised - part[0], drawdown - part[1]
    rest = PensionHeld(uncrystallised, drawdown, member.pension.protected_pension_age)
    return member._replace(pensions=(rest, *pensions))


def growing_apart(assumed: Assumptions, *people: Member) -> Assumptions:
    """Assumptions with the growth of each pot, where one person's differ."""
    growths = tuple(tuple(after_charge(pot.growth, pot.yearly_charge) for pot in person.pots) for person in people)
    return replace(assumed, pot_growths=growths) if any(len(set(own)) > 1 for own in growths) else assumed


@st.composite
def members(draw: Any, start: date) -> Member:
    """A person of a plan, with a small pension or a large one."""
    born = draw(st.dates(date(1942, 1, 1), date(1978, 1, 1)))
    pot = draw(st.sampled_from((1_000, 50_000, 400_000, 2_500_000)))
    old = start < date(2024, 4, 6)
    pension = Pension(
        uncrystallised=draw(amounts(pot)),
        drawdown=draw(st.one_of(st.just(0), amounts(pot // 3))),
        lump_sum_allowance_used=0 if old else draw(st.sampled_from((0, 0, 10_000_000, 26_827_500))),
        lifetime_allowance_used=draw(st.sampled_from((0, 0, 4_000, 10_000))),
        flexibly_accessed=draw(st.booleans()),
        protected_pension_age=draw(st.sampled_from((None, None, 50))),
    )
    return Member(
        born,
        draw(st.sampled_from(NATIONS)),
        pension,
        Isa(draw(amounts(100_000)), draw(st.sampled_from((0, 0, 500_000, 2_000_000))), draw(st.booleans())),
        draw(st.one_of(st.just(0), amounts(80_000))),
        tuple(draw(st.lists(dated_incomes(start, born), max_size=3))),
        contributions=draw(st.sampled_from(((), (), (SAVED,), PAID_IN))),
        pensions=(PensionHeld(pension.uncrystallised, pension.drawdown, pension.protected_pension_age),),
        marriage_allowance=draw(st.sampled_from(("none", "none", "gives", "receives"))),
        blind_persons_allowance=draw(st.sampled_from((False, False, False, True))),
        child_benefit=draw(st.sampled_from((0, 0, 0, 225_160))),
        already=draw(st.sampled_from((NOTHING_YET, NOTHING_YET, HAD))) if start.day != 6 else NOTHING_YET,
    )


@st.composite
def plans(draw: Any, most_days: int = 3_000) -> Household:
    """A household of one or two people with a plan of up to ``most_days`` days, whole tax years or not."""
    start = draw(PLAN_STARTS)
    end = start + timedelta(days=draw(st.integers(0, most_days)))
    people = draw(st.lists(members(start), min_size=1, max_size=2))
    rate = st.sampled_from((0, 0, 200, 450, -300))
    assumed = Assumptions(
        draw(rate),
        draw(rate),
        draw(st.sampled_from((0, 0, 200, 450))),
        draw(rate),
        draw(st.sampled_from(("frozen", "prices"))),
        draw(st.sampled_from((0, 2_000, 4_000, 10_000))),
        draw(st.sampled_from(("evenly", "evenly", "start", "end"))),
    )
    if len(people) > 1 and draw(st.integers(0, 3)) == 0:
        assumed = replace(assumed, pension_growths=(assumed.pension_growth, 500))
    spending = draw(
        st.lists(st.builds(Spending, amounts(20_000), increases=st.sampled_from((0, WITH_PRICES))), max_size=2)
    )
    lump_sums = draw(st.sampled_from(("with_each_withdrawal", "with_each_withdrawal", "all_now", "never")))
    minimum_cash = draw(st.sampled_from((0, 0, 0, 300_000, 1_234_567)))
    cap = draw(st.sampled_from((None, None, None, 0, 1_500_000, 3_000_001)))
    of_one_age = [terms for terms in OTHER_TERMS if "protected_pension_age" not in terms]
    terms = st.sampled_from(of_one_age if lump_sums == "all_now" else OTHER_TERMS)
    several = st.one_of(st.just(()), st.just(()), st.lists(terms, min_size=1, max_size=3, unique_by=str).map(tuple))
    everybody = tuple(in_pots(person._replace(withdrawal_cap=cap), *draw(several)) for person in people)
    if len(everybody) > 1 and draw(st.integers(0, 3)) == 0:
        everybody = tuple(person._replace(marriage_allowance="as_best") for person in everybody)
    return Household(
        start,
        end,
        everybody,
        tuple(spending),
        lump_sums,
        growing_apart(assumed, *everybody),
        minimum_cash=minimum_cash,
    )

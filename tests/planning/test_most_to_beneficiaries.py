"""The plan that leaves the most to beneficiaries: against every plan in steps, against its own bound, and by hand.

What a death leaves and the taxes on it are checked by themselves (``test_plan_estate.py``, ``tests/law``). Here it is checked
that no other plan leaves more, and that the tax in the linear program is nowhere above the law's.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from itertools import product
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from service.law.lump_sums import Pension, available
from service.planning.estates import EstateFacts, Gift, HomeGivenUp
from service.planning.faults import RuleViolation
from service.planning.household import Assumptions, DatedIncome, Household, Isa, Member, Spending
from service.planning.optimiser.branch_and_bound import left_alone
from service.planning.optimiser.last_day import Box, PensionRows
from service.planning.optimiser.lp import INF, LinearProgram, Outcome
from service.planning.optimiser.taxed_estate import TaxedEstate, TaxedEstateModel
from service.planning.optimiser.work import Work
from service.planning.projection.policies import Projection, projected
from service.planning.projection.settlement import Choice, Draw, Opened
from service.planning.projection.timeline import Timeline, timeline
from service.planning.schedule.estate import estate_at_the_end
from service.planning.schedule.schedule import (
    MOST_AFTER_TAX,
    MOST_TO_BENEFICIARIES,
    Proof,
    Schedule,
    ScheduleQuestion,
    schedule,
)
from service.planning.schedule.to_beneficiaries import taxed_estate
from tests.benchmarks.households import couple
from tests.benchmarks.questions import question
from tests.households import BOOK

POUND = 100
RATES = (0, 2_000, 4_000, 4_500)


def person(born: int, uncrystallised: int = 0, drawdown: int = 0, **facts: Any) -> Member:
    """Pensions in pounds."""
    return Member(date(born, 6, 1), "england", Pension(uncrystallised * POUND, drawdown * POUND), **facts)


def household(*people: Member, first: int = 2028, years: int = 2, spending: int = 0, **more: Any) -> Household:
    """Whole tax years; spending in pounds a year, and the assumptions by name."""
    assumed = {name: more.pop(name) for name in tuple(more) if name in Assumptions.__dataclass_fields__}
    items = (Spending(spending * POUND),) if spending else ()
    return Household(
        date(first, 4, 6), date(first + years, 4, 5), people, items, assumptions=Assumptions(**assumed), **more
    )


def asked(of: Household, facts: EstateFacts, rate: int = 2_000, **more: Any) -> ScheduleQuestion:
    return ScheduleQuestion(
        of, MOST_TO_BENEFICIARIES, estate=facts, estate_given=True, beneficiary_tax_rate=rate, **more
    )


def answered(of: ScheduleQuestion) -> tuple[Schedule, Proof]:
    result = schedule(of, BOOK)
    assert result.proof is not None
    return result, result.proof


def received(plan: Projection, of: ScheduleQuestion) -> int:
    """What beneficiaries receive of a plan, pence."""
    return estate_at_the_end(plan, of.estate, of.beneficiary_tax_rate).beneficiaries_receive


# The tax in the linear program is nowhere above the law's


class _Amounts:
    """A program of the last day alone, in which everything that a plan leaves is given."""

    def __init__(self, plan: Projection, facts: TaxedEstate, box: Box | None) -> None:
        held, rules = plan.years[-1].holdings, plan.timeline.periods[0].rules.lump_sums
        self.lp = LinearProgram(Work(10**9))
        self.model = TaxedEstateModel(facts, self.lp)
        money = sum(one.isa + one.cash for one in held) / POUND / 1_000
        self.model.add_money([(self.lp.add_row(money, money), 1.0)])
        for place, one in enumerate(held):
            funds = one.pension.uncrystallised / POUND / 1_000, one.pension.drawdown / POUND / 1_000
            tax_free_left = available(plan.timeline.household.people[place].pension, rules).tax_free / POUND / 1_000
            first, then = (self.lp.add_row(amount, amount) for amount in funds)
            # Nothing was drawn, so all of the allowance is left.
            rows = PensionRows((first,), (then,), self.lp.add_row(-INF, 0.0), 0.25, tax_free_left, tax_free_left, 0.0)
            self.model.add_pension(place, rows)
        self.model.restrict(box)

    def worth(self) -> float | None:
        """The most that the program takes it to be worth, pounds; None where the box leaves that out."""
        return 1_000 * self.lp.objective if self.lp.solve() is Outcome.OPTIMAL else None


money = st.one_of(st.just(0), st.integers(0, 3_000_000), st.integers(0, 300_000)).map(lambda pounds: pounds * POUND)


@st.composite
def estates(draw: Any) -> tuple[Household, EstateFacts, int]:
    """One or two people on the last day of one tax year, and what they own besides."""
    count = draw(st.integers(1, 2))
    first = draw(st.sampled_from((2025, 2027, 2029)))
    people = tuple(
        Member(
            date(first + 1 - draw(st.integers(56, 85)), 1, 1),
            "england",
            Pension(draw(money), draw(money), draw(st.sampled_from((0, 0, 20_000_000)))),
            isa=Isa(draw(money)),
            cash=draw(money),
        )
        for _ in range(count)
    )
    spouses = draw(st.booleans())
    bands = (0, 10_000, 3_333) if count == 1 else (0,)
    given_up = HomeGivenUp(draw(money), draw(st.sampled_from((100_000, 175_000))) * POUND, draw(st.booleans()))
    facts = EstateFacts(
        home=draw(money),
        home_to_descendants=draw(st.booleans()),
        other_assets=draw(money),
        debts=draw(st.sampled_from((0, 0, 30_000_000))),
        first_person_share=draw(st.sampled_from((0, 5_000, 7_000, 10_000))),
        charity_share=draw(st.sampled_from((0, 0, 500, 1_000, 3_000))),
        gifts=tuple(
            Gift(date(first - 2, 5, 5), draw(money), draw(st.integers(0, count - 1)))
            for _ in range(draw(st.integers(0, 2)))
        ),
        nil_rate_band_brought_forward=draw(st.sampled_from(bands)),
        residence_nil_rate_band_brought_forward=draw(st.sampled_from(bands)),
        spouses=spouses,
        first_death="to_spouse" if spouses and draw(st.booleans()) else "to_beneficiaries",
        home_given_up=draw(st.one_of(st.none(), st.just(given_up))),
        pension_paid_as=draw(st.sampled_from(("lump_sum", "drawdown"))),
        pension_paid_within_two_years=draw(st.booleans()),
    )
    if facts.pension_paid_as == "lump_sum":
        facts = replace(facts, pension_to_non_qualifying_person=draw(st.booleans()))
    return household(*people, first=first, years=1), facts, draw(st.sampled_from(RATES))


def boxes(facts: TaxedEstate, draws: random.Random) -> Iterator[Box | None]:
    """Everything, and smaller and smaller parts of it; but where debts may be unpaid, what is in a part is not known."""
    yield None
    if facts.unpaid:
        return
    box = facts.largest
    for _ in range(8):
        low, high, taxed_low, taxed_high, *_ = box
        at, taxed_at = draws.uniform(low, high), draws.uniform(taxed_low, taxed_high)
        box = draws.choice(
            (
                box._replace(estate_low=at),
                box._replace(estate_high=at),
                box._replace(taxed_low=taxed_at),
                box._replace(taxed_high=taxed_at),
            )
        )
        yield box


@given(estates(), st.randoms(use_true_random=False))
@settings(max_examples=300, deadline=None, suppress_health_check=list(HealthCheck))
def test_the_program_never_takes_an_estate_to_be_worth_less_than_it_is(
    drawn: tuple[Household, EstateFacts, int], draws: random.Random
) -> None:
    of, facts, rate = drawn
    tax_years = timeline(of, BOOK)
    plan = left_alone(tax_years)
    law = estate_at_the_end(plan, facts, rate)
    assert law.deaths, law.reason
    lines = taxed_estate(tax_years, facts, rate)
    for box in boxes(lines, draws):
        worth = _Amounts(plan, lines, box).worth()
        if worth is not None:
            assert worth >= law.beneficiaries_receive / POUND - 0.03
        else:
            assert box is not None
    if lines.one_estate:
        for halved in ("unpaid", "lower_rate"):
            both = [_Amounts(plan, lines, lines.largest._replace(**{halved: half})).worth() for half in (True, False)]
            assert max(worth for worth in both if worth is not None) >= law.beneficiaries_receive / POUND - 0.03


@given(estates(), st.randoms(use_true_random=False))
@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
def test_in_a_small_box_it_is_what_the_law_says(
    drawn: tuple[Household, EstateFacts, int], draws: random.Random
) -> None:
    """Where the lines leave nothing out: one taxed estate, no large first one, no home given up, no charity beside a taper or
    beside debts that property does not cover."""
    of, facts, rate = drawn
    facts = replace(
        facts, home_given_up=None, home_to_descendants=facts.home_to_descendants and not facts.charity_share
    )
    if len(of.people) > 1:
        if not facts.spouses:
            return
        of = replace(of, people=(person(1950), of.people[1]))
        facts = replace(facts, first_death="to_spouse", first_person_share=0)
    tax_years = timeline(of, BOOK)
    plan = left_alone(tax_years)
    lines = taxed_estate(tax_years, facts, rate)
    if lines.charity is not None and lines.unpaid:
        return
    amounts = _Amounts(plan, lines, None)
    found, box, worth = amounts.model, lines.largest, amounts.worth()
    assert worth is not None
    for _ in range(40):
        misjudged = found.misjudged(amounts.lp.values)
        if misjudged.pounds < 0.2 or not misjudged.boxes:
            break
        # The half that the estate is in, whichever that is.
        for box in misjudged.boxes:
            found.restrict(box)
            if (again := amounts.worth()) is not None:
                worth = again
                break
    assert worth == pytest.approx(estate_at_the_end(plan, facts, rate).beneficiaries_receive / POUND, abs=1.0)


# By trying


SMALL: dict[str, tuple[Household, EstateFacts, int]] = {
    "over 75, above the bands": (
        household(person(1945, 180_000, 60_000, isa=Isa(120_000 * POUND))),
        EstateFacts(home=400_000 * POUND, home_to_descendants=True),
        2_000,
    ),
    "over 75, beneficiaries at 40%": (
        household(person(1945, 250_000, isa=Isa(20_000 * POUND)), pension_growth=400, isa_growth=400),
        EstateFacts(other_assets=300_000 * POUND),
        4_000,
    ),
    "dies before 75, so no income tax": (
        household(person(1965, 200_000, isa=Isa(30_000 * POUND))),
        EstateFacts(home=500_000 * POUND, home_to_descendants=True),
        4_000,
    ),
    "before April 2027, pensions outside the estate": (
        household(person(1945, 300_000, isa=Isa(300_000 * POUND)), first=2025),
        EstateFacts(home=200_000 * POUND),
        2_000,
    ),
    "in the taper of the residence nil-rate band": (
        household(person(1945, 500_000, isa=Isa(400_000 * POUND))),
        EstateFacts(home=1_200_000 * POUND, home_to_descendants=True),
        2_000,
    ),
    "a couple, all to the survivor": (
        household(
            person(1947, 150_000),
            person(1949, 220_000, income=(DatedIncome("state_pension", 900_000),)),
            spending=30_000,
        ),
        EstateFacts(home=900_000 * POUND, home_to_descendants=True),
        2_000,
    ),
    "a couple who are not married": (
        household(person(1947, 260_000), person(1949, 90_000, 40_000, isa=Isa(200_000 * POUND))),
        EstateFacts(home=600_000 * POUND, spouses=False, first_death="to_beneficiaries"),
        2_000,
    ),
    "late payment, so taxed under 75": (
        household(person(1965, 150_000, 80_000)),
        EstateFacts(
            home=450_000 * POUND, pension_paid_within_two_years=False, pension_paid_as="drawdown", other_assets=POUND
        ),
        4_000,
    ),
    "to trustees": (
        household(person(1945, 200_000)),
        EstateFacts(home=450_000 * POUND, pension_to_non_qualifying_person=True),
        2_000,
    ),
    "a tenth to charity": (
        household(person(1945, 200_000, isa=Isa(250_000 * POUND))),
        EstateFacts(home=350_000 * POUND, charity_share=1_000),
        2_000,
    ),
    "debts beyond the property": (
        household(person(1945, 420_000, isa=Isa(20_000 * POUND))),
        EstateFacts(debts=60_000 * POUND),
        2_000,
    ),
}

STEP = 2_500
"""Pounds by which withdrawals of one person are tried; of two it is six times as much."""


def every_plan(tax_years: Timeline) -> Iterator[Projection]:
    """All withdrawals in steps: uncrystallised funds first or drawdown first, of each person in each year."""
    people = tax_years.household.people
    many = len(people) > 1
    step = STEP * (6 if many else 1)
    most = [(member.pension.uncrystallised + member.pension.drawdown) // POUND + step for member in people]
    steps = [range(0, min(top, 160_000), step) for top in most]
    periods = range(len(tax_years.periods))
    for order in ("uncrystallised", "drawdown"):
        if order == "drawdown" and not any(member.pension.drawdown for member in people):
            continue
        for amounts in product(*(steps[person] for _ in periods for person in range(len(people)))):

            def choose(
                position: int,
                opened: tuple[Opened, ...],
                amounts: tuple[int, ...] = amounts,
                order: str = order,
            ) -> Choice:
                own = amounts[position * len(opened) : (position + 1) * len(opened)]
                return Choice(tuple(_draw(one, amount * POUND, order) for one, amount in zip(opened, own, strict=True)))

            try:
                yield projected(tax_years, choose)
            except RuleViolation:
                continue


def _draw(one: Opened, amount: int, order: str) -> Draw:
    if order == "uncrystallised":
        first = min(amount, one.most_uncrystallised)
        return Draw(first, min(amount - first, one.most_drawdown))
    first = min(amount, one.most_drawdown)
    return Draw(min(amount - first, one.most_uncrystallised), first)


@pytest.mark.parametrize("name", SMALL)
def test_no_plan_in_steps_leaves_more(name: str) -> None:
    of, facts, rate = SMALL[name]
    wanted = asked(of, facts, rate)
    result, proof = answered(wanted)
    tried = max(received(plan, wanted) for plan in every_plan(result.timeline))
    assert tried <= proof.bound
    # What is given up for the choice among plans that are as good, a pound a year, and to stay clear of steps.
    assert tried <= proof.worth + 2 * POUND * len(result.years) + proof.given_up_at_steps
    assert proof.proven


@pytest.mark.parametrize("name", SMALL)
def test_the_gap_is_closed_but_where_it_is_said_to_be_wide(name: str) -> None:
    of, facts, rate = SMALL[name]
    _, proof = answered(asked(of, facts, rate))
    assert proof.gap <= 3 * POUND * 2 + proof.given_up_at_steps or name == "a couple who are not married"
    assert ("two estates" in proof.leaves_out) == (name == "a couple who are not married")


@pytest.mark.parametrize("name", SMALL)
def test_the_value_is_the_estate_in_the_answer(name: str) -> None:
    of, facts, rate = SMALL[name]
    wanted = asked(of, facts, rate)
    result, proof = answered(wanted)
    assert proof.worth == received(result.projection, wanted)


@pytest.mark.parametrize("seed", range(6))
def test_no_plan_is_above_the_bound_of_a_couple(seed: int) -> None:
    """Invented couples over nine years with spending and savings: the plans for other aims, and the plan itself changed."""
    body = couple(random.Random(300 + seed), MOST_TO_BENEFICIARIES)
    body["end_date"] = "2035-04-05"
    body["household"]["estate"] = {"home": 500_000, "home_to_descendants": seed % 2 == 0}
    body["household"]["spending"] = body["household"].get("spending", [])[: seed % 3]
    wanted = question("allowance-schedule", body)
    result, proof = answered(wanted)
    assert proof.gap <= 30 * POUND * len(result.years)
    for goal in ("personal_allowance", "basic_rate_band", "higher_rate_band", MOST_AFTER_TAX):
        other = schedule(replace(wanted, goal=goal), BOOK)
        assert received(other.projection, wanted) <= proof.bound
        assert received(other.projection, wanted) <= proof.worth + POUND * len(result.years) + proof.given_up_at_steps
    chance = random.Random(seed)
    drawn = [
        [(one.withdrawal.from_uncrystallised, one.withdrawal.from_drawdown) for one in year.people]
        for year in result.years
    ]
    for _ in range(60):
        shift = [[chance.choice((0, 0.9, 0.99, 1, 1, 1.01, 1.1, 2)) for _ in year.people] for year in result.years]

        def choose(position: int, people: tuple[Opened, ...], shift: list[list[float]] = shift) -> Choice:
            return Choice(
                tuple(
                    Draw(
                        min(int(funds * by), one.most_uncrystallised),
                        min(int(rest * by), one.most_drawdown),
                    )
                    for one, (funds, rest), by in zip(people, drawn[position], shift[position], strict=True)
                )
            )

        try:
            plan = projected(result.timeline, choose)
        except RuleViolation:
            continue
        assert received(plan, wanted) <= proof.bound


@pytest.mark.parametrize("drawdown", [0, 50_000])
@pytest.mark.parametrize("years", [2, 3])
def test_the_bound_counts_what_of_the_lifetime_allowance_is_dropped(drawdown: int, years: int) -> None:
    """What was taken before 6 April 2024 comes off the lump sum and death benefit allowance by a percentage of two places, and
    what is less is dropped (HMRC RPSM12306030; FA 2024 Sch.9 paras 125-129)."""
    of = household(person(1955, 1_200_000, drawdown), first=2023, years=years)
    _, proof = answered(asked(of, EstateFacts()))
    assert proof.proven
    assert proof.gap <= 30 * POUND * years


# By hand


def test_where_no_tax_is_due_on_the_estate_it_is_the_plan_that_leaves_the_most_after_tax() -> None:
    """Below the nil-rate band of 325,000 (IHTA 1984 s.7), over 75, and drawdown alone: beneficiaries keep 80% of the pension at a
    rate of 20% (ITEPA 2003 s.637H), as the household does with a flat 20% on what is left."""
    alone = person(1945, 0, 200_000, income=(DatedIncome("annuity", 900_000),))
    of = household(alone, years=3, tax_rate_on_remaining_pension=2_000, pension_growth=300, isa_growth=300)
    result, proof = answered(asked(of, EstateFacts(), 2_000))
    most, _ = answered(replace(asked(of, EstateFacts(), 2_000), goal=MOST_AFTER_TAX))
    assert abs(proof.worth - most.projection.wealth) <= 3 * POUND
    assert proof.worth == result.projection.wealth


def test_under_75_nothing_is_drawn_beyond_the_personal_allowance() -> None:
    """No income tax on death before 75 (ITEPA 2003 ss.637H-637M): drawing is worth it only where it bears no tax, and then comes
    to the same. 12,570 is the personal allowance."""
    of = household(person(1965, 0, 300_000), years=2)
    result, _ = answered(asked(of, EstateFacts(home=400_000 * POUND)))
    # Plans within a pound a year are as good, so that much may go in tax.
    assert all(year.people[0].record.gross <= 12_580 * POUND for year in result.years)
    assert result.totals.income_tax <= 2 * POUND


def test_over_75_it_is_drawn_up_to_the_rate_that_beneficiaries_would_pay() -> None:
    """Beneficiaries at 30%: a pound drawn at 20% leaves more, and one at 40% less. The basic rate band ends at 50,270. Plans
    within a pound a year are as good, so up to 20 pounds may be drawn at 40%."""
    of = household(person(1945, 0, 300_000), years=2)
    result, _ = answered(asked(of, EstateFacts(), 3_000))
    assert all(abs(year.people[0].record.gross - 50_270 * POUND) <= 20 * POUND for year in result.years)


def test_what_cannot_be_is_refused_with_what_to_send() -> None:
    of = household(person(1945, 100_000))
    with pytest.raises(RuleViolation) as refused:
        schedule(ScheduleQuestion(of, MOST_TO_BENEFICIARIES), BOOK)
    (fault,) = refused.value.faults
    assert (fault.path, fault.code) == (("household", "estate"), "estate-needed")
    pair = household(person(1945, 100_000), person(1945))
    with pytest.raises(RuleViolation) as refused:
        schedule(asked(pair, EstateFacts(nil_rate_band_brought_forward=10_000)), BOOK)
    assert [fault.code for fault in refused.value.faults] == ["bands-of-one-person"]
    with pytest.raises(RuleViolation) as refused:
        schedule(asked(household(person(1945, 100_000), first=2022), EstateFacts()), BOOK)
    assert [fault.code for fault in refused.value.faults] == ["deaths-before-april-2024"]


def test_spending_that_cannot_be_met_is_told_with_the_nearest_that_can() -> None:
    of = household(person(1981, 200_000, cash=30_000 * POUND), first=2026, years=10, spending=20_000)
    with pytest.raises(RuleViolation) as refused:
        schedule(asked(of, EstateFacts()), BOOK)
    assert refused.value.faults[0].detail.endswith("A plan with this aim can meet £3,000 a year instead of £20,000.")


def test_scenarios_and_little_work() -> None:
    of, facts, rate = SMALL["a couple, all to the survivor"]
    low = replace(of.assumptions, isa_growth=-300, pension_growth=-300)
    result, proof = answered(asked(of, facts, rate, scenarios={"low": low}, effort="quick"))
    assert result.scenarios[0].projection is not None
    assert received(result.scenarios[0].projection, asked(of, facts, rate)) < proof.worth


def test_a_couple_hears_that_both_are_assumed_to_live(client: FlaskClient) -> None:
    """What the survivor of an earlier death should do is not planned. One person alone hears nothing of it."""
    one = {"date_of_birth": "1956-06-01", "tax_residence": "england", "pensions": [{"uncrystallised": 100_000}]}
    request: dict[str, Any] = {
        "household": {"people": [one, one], "estate": {}},
        "start_date": "2026-04-06",
        "end_date": "2028-04-05",
        "aim": {"goal": "most_to_beneficiaries"},
    }
    said = "Both people are assumed to live until the last day of the plan."
    assert said in client.post("/v1/allowance-schedule", json=request).get_json()["notice"]
    request["aim"] = {"goal": "most_after_tax"}
    assert said not in client.post("/v1/allowance-schedule", json=request).get_json()["notice"]
    request["household"]["people"] = [one]
    request["aim"] = {"goal": "most_to_beneficiaries"}
    assert said not in client.post("/v1/allowance-schedule", json=request).get_json()["notice"]

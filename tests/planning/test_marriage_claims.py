"""The marriage allowance claimed as leaves two people the least tax: by hand from the statute, and by trying every claim."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date
from itertools import product
from typing import Any

import pytest
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings

from service.law.income_tax import NATIONS, IncomeTaxRules, Liability, Taxpayer, liability, taxpayer_year
from service.law.lump_sums import Pension
from service.planning.faults import RuleViolation
from service.planning.household import DatedIncome, Household, Member, Spending
from service.planning.marriage_claims import chosen_by_both, only_what_is_claimed
from service.planning.optimiser.branch_and_bound import BestPlan, most_after_tax
from service.planning.optimiser.claims import taxed_under, worth_a_claim
from service.planning.optimiser.tax_cells import TaxDomain
from service.planning.optimiser.tax_surface import Region, Surface
from service.planning.optimiser.work import LIMITS, Work
from service.planning.projection.policies import Projection, filling, projected
from service.planning.projection.settlement import Choice, Draw, PersonRecord
from service.planning.projection.timeline import timeline
from service.planning.schedule.chosen_claims import chosen_claim
from service.planning.schedule.schedule import Schedule, ScheduleQuestion, schedule
from service.planning.schedule.steps import steps
from service.planning.schedule.told import told
from tests.benchmarks.households import couple
from tests.benchmarks.questions import question
from tests.contract.agreement import component, validator
from tests.households import BOOK, plans
from tests.oracle.best_plan import Judge, corners

POUND = 100
CLAIMS = (("none", "none"), ("gives", "receives"), ("receives", "gives"))


def person(*incomes: tuple[str, int], pot: int = 0, born: str = "1964-06-01", **facts: Any) -> Member:
    """Somebody with yearly incomes and a pension, in pounds, who leaves the claim to the plan."""
    facts = {"nation": "england", "marriage_allowance": "as_best"} | facts
    income = tuple(DatedIncome(kind, amount * POUND) for kind, amount in incomes)
    return Member(date.fromisoformat(born), facts.pop("nation"), Pension(pot * POUND), income=income, **facts)


def plan(*people: Member, goal: str = "personal_allowance", start: str = "2026-04-06", end: str = "2027-04-05",
         **household: Any) -> Schedule:  # fmt: skip
    days = date.fromisoformat(start), date.fromisoformat(end)
    return schedule(ScheduleQuestion(Household(*days, people, **household), goal), BOOK)


def first_year(*people: Member) -> tuple[tuple[int, ...], int]:
    """What each gives of the personal allowance, in pounds, and the tax of both, pence, without any withdrawal."""
    years = timeline(Household(date(2026, 4, 6), date(2027, 4, 5), people), BOOK)
    records = projected(years, lambda _, people: Choice(tuple(Draw() for _ in people))).years[0].people
    given = tuple(record.liability.marriage_allowance_given // POUND for record in records)
    return given, sum(record.income_tax for record in records)


@pytest.mark.parametrize(
    ("first", "second", "given", "tax"),
    [
        # 20% of 20,000 - 12,570 is 1,486.00, less 20% of 1,260.
        ((("annuity", 8_000),), (("annuity", 20_000),), (1_260, 0), 1_234_00),
        ((("annuity", 20_000),), (("annuity", 8_000),), (0, 1_260), 1_234_00),
        # 11,310 are left of the allowance, so that 690 of 12,000 bear 138.00.
        ((("annuity", 12_000),), (("annuity", 20_000),), (1_260, 0), 1_372_00),
        # What is given costs as much as it saves, so there is nothing to be claimed.
        ((("annuity", 12_570),), (("annuity", 20_000),), (0, 0), 1_486_00),
        # The tax is reduced to nothing and no further: 20% of 430.
        ((("annuity", 8_000),), (("annuity", 13_000),), (1_260, 0), 0),
        # A pound above the basic rate, nobody may receive it (s.55B(2)(b)): 37,700 at 20% and a pound at 40%.
        ((("annuity", 8_000),), (("annuity", 50_270),), (1_260, 0), 7_288_00),
        ((("annuity", 8_000),), (("annuity", 50_271),), (0, 0), 7_540_40),
        # Neither pays tax.
        ((("annuity", 8_000),), (("annuity", 9_000),), (0, 0), 0),
        # Interest of 1,000 is in its nil rate, and the allowance covers no other income: nothing is lost by giving.
        ((("annuity", 11_300), ("savings_interest", 6_000)), (("annuity", 20_000),), (1_260, 0), 1_234_00),
    ],
)
def test_claims_by_hand(
    first: tuple[tuple[str, int], ...], second: tuple[tuple[str, int], ...], given: tuple[int, int], tax: int
) -> None:
    """ITA 2007 ss.35, 55B, 55C in 2026-27: an allowance of 12,570, of which 1,260 can be given."""
    assert first_year(person(*first), person(*second)) == (given, tax)


def test_in_a_part_year_all_that_a_claim_saves_is_counted() -> None:
    """1,486.00 of tax on 20,000 a year, of which 264 days of 365 are before the plan: 1,074.81 was borne there. The claim is for
    the whole tax year (ITA 2007 s.55B(1)), and takes 252.00 off."""
    result = plan(person(("annuity", 8_000)), person(("annuity", 20_000)), start="2026-12-26")
    assert [one.record.income_tax for one in result.years[0].people] == [0, 1_486_00 - 1_074_81 - 252_00]


def totals(record: PersonRecord) -> dict[str, int]:
    """The tax of a settled year under each part in a claim, by the rules alone; None where it is void."""
    opened = record.opened
    found: dict[str, Liability] = {
        claim: opened.year.liability(opened.interest, record.taxable, marriage_allowance=claim)
        for claim in ("none", "gives", "receives")
    }
    return {claim: one.total for claim, one in found.items() if claim != "gives" or one.marriage_allowance_open}


def assert_least(plan: Projection) -> None:
    for year in plan.years:
        first, second = (totals(record) for record in year.people)
        least = min(first[one] + second[other] for one, other in CLAIMS if one in first and other in second)
        assert sum(record.liability.total for record in year.people) == least
        given = [bool(record.liability.marriage_allowance_given) for record in year.people]
        received = [bool(record.liability.marriage_allowance_reduction) for record in year.people]
        assert given == received[::-1]
        assert sum(given) < 2


@given(plans().filter(lambda household: len(household.people) == 2))
@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
def test_every_year_has_the_claim_with_the_least_tax(household: Household) -> None:
    people = tuple(member._replace(marriage_allowance="as_best") for member in household.people)
    years = timeline(replace(household, people=people), BOOK)
    try:
        assert_least(projected(years, filling(years, "basic_rate_band")))
    except RuleViolation:
        return


def brute(pots: tuple[int, int], incomes: tuple[int, int], **facts: Any) -> Household:
    people = [person(("annuity", amount), pot=pot, **facts) for pot, amount in zip(pots, incomes, strict=True)]
    return Household(date(2026, 4, 6), date(2028, 4, 5), tuple(people))


@pytest.mark.parametrize(
    "household",
    [
        brute((20_000, 60_000), (0, 9_000)),
        brute((45_000, 90_000), (6_000, 15_000)),
        brute((30_000, 30_000), (11_000, 12_000)),
        brute((70_000, 150_000), (3_000, 40_000)),
        brute((40_000, 60_000), (2_000, 11_500), nation="scotland"),
    ],
)
def test_two_years_of_two_people_by_trying_all_corners(household: Household) -> None:
    """Every draw to every corner of everybody's tax, under every claim, up to 60,000 pounds, and all there is: no such plan
    leaves more. Nothing grows, and what is left is taxed at a flat rate."""
    assumed = replace(household.assumptions, tax_rate_on_remaining_pension=3_000)
    years = timeline(replace(household, assumptions=assumed), BOOK)
    found, judge = most_after_tax(years), Judge(years)
    assert_least(found.projection)
    edges = [
        [Draw(corner * 4 // 3) for corner in corners(own[0], claims=True) if corner < 60_000 * POUND]
        for own in years.people
    ]
    both = [(*own, Draw(10**12)) for own in edges]
    first_years = [Choice(draws) for draws in product(*both)]
    most = max(
        judge.wealth((first, last)) for first in first_years for last in random.Random(1).sample(first_years, 12)
    )
    every = max(judge.wealth((choice, choice)) for choice in first_years)
    assert max(most, every) <= found.projection.wealth + 50
    assert found.projection.wealth <= found.bound <= found.projection.wealth + POUND


@pytest.mark.parametrize("seed", [0, 2, 3, 7, 12, 39])
def test_no_standing_claim_leaves_more(seed: int) -> None:
    """Over forty years: what a couple gains by choosing each year is never negative, and the bound on it holds."""
    found = {}
    for claims in (("as_best", "as_best"), *CLAIMS):
        asked = couple(random.Random(seed), "most_after_tax")
        for one, claim in zip(asked["household"]["people"], claims, strict=True):
            one["marriage_allowance"] = claim
        years = timeline(question("allowance-schedule", asked).household, BOOK)
        found[claims] = most_after_tax(years, Work(LIMITS["standard"]))
    best = found.pop(("as_best", "as_best"))
    assert best.agreed
    assert_least(best.projection)
    for other in found.values():
        assert other.agreed
        assert other.projection.wealth <= best.bound + 20 * 40
        assert other.projection.wealth <= best.projection.wealth + POUND * 40


def _most_after_tax(seed: int, claim: str, effort: str) -> BestPlan:
    """The best plan of an invented couple over forty years, with claims as best or none."""
    asked = couple(random.Random(seed), "most_after_tax")
    for one in asked["household"]["people"]:
        one["marriage_allowance"] = claim
    return most_after_tax(timeline(question("allowance-schedule", asked).household, BOOK), Work(LIMITS[effort]))


@pytest.mark.parametrize("seed", [4, 11, 15, 22, 41])
def test_little_work_does_not_lose_by_choosing_claims_what_it_would_find_without(seed: int) -> None:
    """Where interest has to be refined for each claim, and the work would be over at the root: but for a pound in a thousand, the
    plan leaves what one without claims does, and what more work finds is not above its bound."""
    quick = _most_after_tax(seed, "as_best", "quick")
    without, thorough = _most_after_tax(seed, "none", "quick"), _most_after_tax(seed, "as_best", "standard")
    assert quick.agreed
    assert quick.projection.wealth >= 0.999 * without.projection.wealth
    assert thorough.projection.wealth <= quick.bound


def test_the_bound_counts_what_a_partner_loses() -> None:
    """One gives the marriage allowance every year and may not where more is drawn; the other pays 252 more then."""
    gives = person(pot=760_000, born="1962-05-05", marriage_allowance="gives")
    receives = person(("annuity", 15_000), pot=20_000, born="1951-01-08", marriage_allowance="receives")
    spent = (Spending(80_000 * POUND),)
    household = Household(date(2027, 4, 6), date(2032, 4, 5), (gives, receives), spent)
    found = most_after_tax(timeline(household, BOOK))
    assert any(not year.people[0].liability.marriage_allowance_open for year in found.projection.years)
    assert found.bound - found.projection.wealth <= 5 * POUND


# What the relaxation rests on


def taxpayer(chance: random.Random) -> Taxpayer:
    """Somebody with little or much of every kind of income."""
    return Taxpayer(
        chance.choice(NATIONS),
        other_income=chance.choice((0, chance.randint(0, 20_000), chance.randint(0, 60_000))) * POUND,
        property_income=chance.choice((0, 0, chance.randint(0, 20_000))) * POUND,
        savings=chance.choice((0, chance.randint(0, 8_000))) * POUND,
        dividends=chance.choice((0, 0, chance.randint(0, 60_000))) * POUND,
        relief_at_source=chance.choice((0, 0, chance.randint(1, 20_000))) * POUND,
        gift_aid=chance.choice((0, 0, chance.randint(1, 2_000))) * POUND,
        blind=chance.random() < 0.1,
    )


def test_surfaces_under_a_claim_are_its_tax_where_it_has_an_effect() -> None:
    """Whoever gives is taxed as with a smaller allowance, and nobody above the surface's limit may give or receive."""
    chance, was_open = random.Random(5), 0
    for _ in range(1_500):
        alone, rules = taxpayer(chance), chance.choice(list(BOOK.years.values()))
        own = rules.income_tax[alone.nation]
        for part in ("gives", "receives"):
            surface = Surface(*taxed_under(part, alone, own), Work(10**12))
            found = liability(taxpayer_year(alone._replace(marriage_allowance=part), own))
            total = alone.other_income + alone.savings
            if not found.marriage_allowance_open:
                assert total > surface.open_to
                continue
            was_open += 1
            assert total <= surface.may_be_open_to
            tax = surface.tax(alone.other_income, alone.savings)
            assert tax <= found.total / POUND + 0.01
            assert tax >= found.total / POUND - 1 - 0.2 * (alone.relief_at_source > 0)
    assert was_open > 1_000


def domain(alone: Taxpayer, rules: IncomeTaxRules) -> TaxDomain:
    """What somebody may come to who can draw much and have much interest, under every part in a claim."""
    work, income, savings = Work(10**12), alone.other_income, alone.savings
    surface = Surface(alone, rules, work)
    found = TaxDomain(surface, income, savings, True, True, income + 9 * 10**6, savings + 10**6)
    found.claimed = {part: Surface(*taxed_under(part, surface.taxpayer, rules), work) for part in ("gives", "receives")}
    return found


def test_a_claim_that_is_left_out_never_pays() -> None:
    """Over whatever withdrawals and interest: the tax of both by the rules is no less under a claim that is not looked at."""
    chance, left_out = random.Random(6), 0
    for _ in range(300):
        rules = chance.choice(list(BOOK.years.values()))
        both = [taxpayer(chance) for _ in range(2)]
        own = [rules.income_tax[one.nation] for one in both]
        domains = [domain(one, its_rules) for one, its_rules in zip(both, own, strict=True)]
        kept = worth_a_claim(*domains)
        for claim, _ in product(CLAIMS[1:], range(8)):
            drawn = [(chance.randint(0, 9 * 10**6), chance.choice((0, chance.randint(0, 10**6)))) for _ in range(2)]
            at = [(one.other_income + draw, one.savings + more) for one, (draw, more) in zip(both, drawn, strict=True)]
            looked_at = claim in kept and all(
                each.may(part, Region(income, income, savings, savings))
                for each, part, (income, savings) in zip(domains, claim, at, strict=True)
            )
            if looked_at:
                continue
            left_out += 1
            with_claim, without = (
                [
                    liability(taxpayer_year(one._replace(savings=savings, marriage_allowance=part), its_rules), draw)
                    for one, its_rules, part, (draw, _), (_, savings) in zip(both, own, under, drawn, at, strict=True)
                ]
                for under in (claim, CLAIMS[0])
            )
            if all(each.marriage_allowance_open for each in with_claim):
                assert sum(each.total for each in with_claim) >= sum(each.total for each in without) - 1
    assert left_out > 1_000


# Faults


OLD = person(born="1935-04-05")


@pytest.mark.parametrize(
    ("people", "codes"),
    [
        ((person(), person()), []),
        ((person(), person(marriage_allowance="none")), [(0, "as-best-by-one")]),
        ((person(marriage_allowance="receives"), person()), [(1, "as-best-by-one")]),
        ((person(),), [(0, "as-best-by-one")]),
        # Income Tax Act 2007 ss.45, 46: the married couple's allowance, where one was born before 6 April 1935.
        ((OLD, person()), [(0, "as-best-born-before-1935"), (1, "as-best-born-before-1935")]),
        ((person(born="1935-04-06"), person()), []),
    ],
)
def test_both_leave_it_to_the_plan_or_neither(people: tuple[Member, ...], codes: list[tuple[int, str]]) -> None:
    found = list(chosen_by_both(people))
    assert [(fault.path, fault.code) for fault in found] == [
        (("household", "people", place, "marriage_allowance"), code) for place, code in codes
    ]


def test_without_a_plan_there_is_nothing_to_choose() -> None:
    (fault,) = only_what_is_claimed((person(marriage_allowance="none"), person()))
    assert (fault.path, fault.code) == (("household", "people", 1, "marriage_allowance"), "as-best-without-a-plan")


# What is told


def test_a_plan_says_who_gives_what_it_saves_and_when_to_claim() -> None:
    """The claim of 2026-27 can be made until 5 April 2031 (ITA 2007 s.55D, from memory: four years after the tax year)."""
    result = plan(
        person(("annuity", 12_000), name="Ada"),
        person(("annuity", 20_000), name="Bo"),
        end="2028-04-05",
        goal="most_after_tax",
    )
    claims = [chosen_claim(year) for year in result.years]
    assert [(claim.giver, claim.given, claim.taken_off, claim.added, claim.saved) for claim in claims if claim] == [
        (0, 1_260_00, 252_00, 138_00, 114_00)
    ] * 2
    words = told(result)
    [reason] = [reason for reason in words.because[0][0] if reason.code == "gives_marriage_allowance"]
    assert reason.detail == (
        "£1,260 of this personal allowance is given to Bo. That takes £252 off the tax of Bo. It adds £138 to the tax of Ada."
    )
    assert not any(reason.code == "gives_marriage_allowance" for reason in words.because[0][1])
    assert (
        "The plan counts on a claim to the marriage allowance in 2 tax years, which saves £228 of tax in all. The tax "
        "assumed on what is left counts no claim." in words.summary
    )
    asked = [step for step in steps(result, ()) if step.code == "claim_marriage_allowance"]
    assert [(step.day, step.person, step.amount, step.tax_year) for step in asked] == [
        (date(2027, 4, 6), 0, 114_00, "2026-27"),
        (date(2028, 4, 6), 0, 114_00, "2027-28"),
    ]


# Of two who are no spouses


HERE = {"date_of_birth": "1962-06-01", "tax_residence": "england", "pensions": [{"uncrystallised": 100_000}]}
ASKED = {
    "/v1/withdrawal-tax": {
        "tax_year": "2026-27",
        "withdrawal": {"person": 0, "method": "ufpls", "amount": 10_000},
    },
    "/v1/allowance-schedule": {
        "start_date": "2026-04-06",
        "end_date": "2028-04-05",
        "aim": {"goal": "personal_allowance"},
    },
    "/v1/lump-sum-timing": {"start_date": "2026-04-06", "to_age": 67, "options": [{"lump_sums": "never"}]},
    "/v1/warnings": {"date": "2026-06-01"},
}


@pytest.mark.parametrize("url", ASKED)
@pytest.mark.parametrize("claims", [("gives", "receives"), ("as_best", "as_best"), ("none", "gives")])
def test_only_spouses_and_civil_partners_claim(client: FlaskClient, url: str, claims: tuple[str, str]) -> None:
    """Income Tax Act 2007 ss.55A(1)(a) and 55B(2)(a): the two are married to, or in a civil partnership with, each other."""
    people = [HERE | {"marriage_allowance": claim} for claim in claims]
    body = ASKED[url] | {"household": {"people": people, "estate": {"spouses": False}}}
    reply = client.post(url, json=body)
    (error,) = reply.get_json()["errors"]
    assert (reply.status_code, error["pointer"], error["code"]) == (422, "#/household/estate", "not-spouses")
    # Said as it asks for, it is answered.
    unclaimed = [HERE | {"marriage_allowance": "none"}, HERE]
    assert (
        client.post(url, json=body | {"household": {"people": unclaimed, "estate": {"spouses": False}}}).status_code
        == 200
    )
    if "as_best" not in claims:
        assert client.post(url, json=body | {"household": {"people": people, "estate": {}}}).status_code == 200
    # Of one person it says nothing: the spouse is not in the request.
    alone = [HERE | {"marriage_allowance": "gives"}]
    assert (
        client.post(url, json=body | {"household": {"people": alone, "estate": {"spouses": False}}}).status_code == 200
    )


def test_a_claim_may_bring_back_tax_in_a_part_of_a_tax_year(client: FlaskClient) -> None:
    """22 days of a year of 15,000: their share of its tax of 486 is some 29, and a claim saves 252, a fifth of 1,260 (Income Tax
    Act 2007 s.55B). The claim is for the whole year, so all of it counts. The agreement knows that this is below nil."""
    works = HERE | {"income": [{"kind": "employment", "amount": 15_000}], "marriage_allowance": "as_best"}
    household = {"people": [works, HERE | {"marriage_allowance": "as_best", "pensions": []}]}
    part_year = {"start_date": "2027-03-15", "household": household}
    plan = ASKED["/v1/allowance-schedule"] | part_year | {"end_date": "2028-04-05"}
    timing = (
        ASKED["/v1/lump-sum-timing"]
        | part_year
        | {"options": [{"lump_sums": "never", "aim": {"goal": "spending_only"}}]}
    )
    for url, body, schema in (
        ("/v1/allowance-schedule", plan, "AllowanceScheduleAnswer"),
        ("/v1/lump-sum-timing", timing, "LumpSumTimingAnswer"),
    ):
        found = client.post(url, json=body).get_json()
        years = found["years"] if "years" in found else found["options"][0]["years"]
        assert years[0]["people"][0]["income_tax"] < 0
        assert [error.message for error in validator(component(schema)).iter_errors(found)] == []

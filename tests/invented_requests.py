"""Invented requests of every calculation, in the request's own words, the same ones every time.

They know nothing of the service but its interface, so that any two versions of it can be asked the same. Each function
takes a generator of random numbers and gives one request as a JSON object. Most are answered; some ask for what the rules
do not allow, and ``spoiled`` makes text with a fault of any request.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from random import Random
from typing import Any

JsonObject = dict[str, Any]

NATIONS = ("england", "northern_ireland", "scotland", "wales")
TAX_YEARS = tuple(f"{year}-{(year + 1) % 100:02d}" for year in range(2019, 2031))
FIRST_DAY, LAST_DAY = date(2019, 4, 6), date(2031, 4, 5)
METHODS = ("ufpls", "drawdown", "pcls_and_drawdown", "pcls", "small_pot")
PLAIN_AIMS = ("personal_allowance", "basic_rate_band", "higher_rate_band")
# Pounds at which something happens in one year or another, before and after allowances.
EDGES = (
    0, 500, 1_000, 1_250, 2_000, 5_000, 6_000, 12_500, 12_570, 17_570, 31_092, 37_700, 43_662, 50_000, 50_270, 60_000,
    75_000, 80_000, 100_000, 112_570, 125_140, 150_000,
)  # fmt: skip

_MAIN_KINDS = (
    "employment", "self_employment", "state_pension", "defined_benefit_pension", "annuity", "other_taxable",
)  # fmt: skip
_CODES = (
    "1257L", "1257L", "S1257L", "C1257L", "1131N", "C1383M", "K475", "SK12", "CK3", "0T", "S0T", "BR", "SBR", "CBR", "D0",
    "SD0", "D1", "SD1", "SD2", "SD3", "NT",
)  # fmt: skip
_LARGEST_SMALL_POT = 10_000
# The search for the most after tax takes long where dividends meet other income, and plans each scenario anew.
_MOST_YEARS_WITH_DIVIDENDS = 8
_MOST_YEARS_WITH_SCENARIOS = 8
_MOST_YEARS = 45


def amount(random: Random, most: float) -> int | float:
    """Pounds up to ``most``: none, whole pounds, odd pence, and a little either side of where something happens."""
    kind = random.randrange(4)
    if kind == 0:
        edge = random.choice(EDGES) + random.choice((0, 0, 0.01, -0.01, 1, -1))
        return round(min(max(edge, 0), most), 2)
    if kind == 1:
        return round(random.random() * most, 2)
    return random.randint(0, int(most))


def day(random: Random, first: date, last: date) -> str:
    """A day from ``first`` to ``last``."""
    return (first + timedelta(days=random.randint(0, (last - first).days))).isoformat()


def withdrawal(random: Random) -> JsonObject:
    """A request of POST /v1/withdrawal-tax."""
    tax_year = random.choice(TAX_YEARS)
    start = date(int(tax_year[:4]), 4, 6)
    method = random.choice(METHODS)
    person, pension = _person(random), _pension(random)
    asked: JsonObject = {"method": method}
    if method == "small_pot":
        pension = {"uncrystallised": amount(random, _LARGEST_SMALL_POT)}
        asked["amount"] = pension["uncrystallised"]
    else:
        held = pension.get("drawdown", 0) if method == "drawdown" else pension["uncrystallised"]
        most = {"pcls": 0.2, "pcls_and_drawdown": 1.0}.get(method, 1.0) * held
        if method != "pcls" and random.random() < 0.4:
            asked["net_wanted"] = amount(random, 0.5 * most)
        else:
            asked["amount"] = amount(random, most)
    if random.random() < 0.3:
        asked["date"] = day(random, start, start + timedelta(days=364))
    person |= _used(random, start)
    person["pensions"] = [pension]
    people = [person]
    if random.random() < 0.15:
        person["pensions"] = [_pension(random), pension]
        asked["pension"] = 1
    if random.random() < 0.15:
        people = [_person(random), person]
        asked["person"] = 1
    request = {"household": {"people": people}, "tax_year": tax_year, "withdrawal": asked}
    if random.random() < 0.5:
        request["payroll"] = _payroll(random)
    return request


def plan(random: Random) -> JsonObject:
    """A request of POST /v1/allowance-schedule, of which two in five ask for the most after tax."""
    start = random.choice((date(random.randint(2019, 2030), 4, 6), date(2026, 4, 6), _random_day(random)))
    least = random.random() < 0.4
    people = [_plan_person(random, start) for _ in range(random.choice((1, 2)))]
    household: JsonObject = {"people": people}
    request: JsonObject = {"household": household, "start_date": start.isoformat()}
    years = random.choice((random.randint(0, 6), *(random.randint(0, _MOST_YEARS - 1) for _ in range(2))))
    assumptions = _assumptions(random)
    if random.random() < 0.2:
        assumptions["scenarios"] = _scenarios(random)
    if least and any(income["kind"] == "dividends" for one in people for income in one.get("income", ())):
        years = min(years, _MOST_YEARS_WITH_DIVIDENDS - 1)
    if least and "scenarios" in assumptions:
        years = min(years, _MOST_YEARS_WITH_SCENARIOS - 1)
    whole_years = date(start.year + years + 1, 4, 5) if (start.month, start.day) == (4, 6) else None
    request["end_date"] = (whole_years or start + timedelta(days=365 * years + 200)).isoformat()
    request["aim"] = {"goal": "most_after_tax" if least else random.choice(PLAIN_AIMS)}
    _sometimes(
        random,
        request,
        (0.5, "lump_sums", lambda: random.choice(("with_each_withdrawal", "all_now", "never"))),
        (0.8, "assumptions", lambda: assumptions),
    )
    _sometimes(
        random,
        household,
        (0.4, "spending", lambda: [_spending(random, start) for _ in range(random.choice((1, 1, 2)))]),
    )
    _what_plans_alone_take(random, request, start)
    _claim_as_best(random, people)
    _only_spouses_claim(household)
    return request


def _what_plans_alone_take(random: Random, request: JsonObject, start: date) -> None:
    """Give a request for a plan some of what no other operation takes, or takes otherwise."""
    household = request["household"]
    _sometimes(random, household, (0.15, "minimum_cash", lambda: amount(random, 20_000)))
    for person in household["people"]:
        _sometimes(
            random,
            person,
            (0.1, "withdrawal_cap", lambda: amount(random, 40_000)),
            (0.15, "contributions", lambda: [_paid_in(random)]),
        )
        if (start.month, start.day) != (4, 6):
            _sometimes(random, person, (0.2, "already_this_tax_year", lambda: _already(random)))
    if random.random() < 0.1:
        # One rate for all pensions of a person.
        growth, charge = random.choice((0.03, 0.055)), random.choice((0.002, 0.0125))
        for person in household["people"]:
            person["pensions"] = [{**one, "growth": growth, "yearly_charge": charge} for one in person["pensions"]]
    elif random.random() < 0.2:
        _set_pensions_apart(random, request)
    if request["aim"]["goal"] == "most_after_tax":
        if "scenarios" not in request.get("assumptions", {}) and random.random() < 0.15:
            request["aim"] = {"goal": "steady_income"}
        elif random.random() < 0.25:
            request["aim"] = {"goal": "most_to_beneficiaries"}
            household["estate"] = _estate_facts(random, start, couple=len(household["people"]) == 2)
            request["beneficiary_tax_rate"] = random.choice((0, 0.2, 0.4, 0.45))
    elif random.random() < 0.15 and not _apart(household):
        request["markets"] = _some_markets(random, 20)
        return
    if random.random() < 0.1:
        request["sensitivity"] = random.choice(({}, {"growth": 0.005, "length_of_life": 2}))


def _apart(household: JsonObject) -> bool:
    """Whether somebody's pensions grow differently, or those of two people."""
    pensions = [one for person in household["people"] for one in person["pensions"]]
    return len({(one.get("growth"), one.get("yearly_charge", 0)) for one in pensions}) > 1


def _set_pensions_apart(random: Random, request: JsonObject) -> None:
    """Give each pension terms of its own: growth, charge, and where the lump sums allow it an age."""
    for person in request["household"]["people"]:
        for pension in person["pensions"]:
            _sometimes(
                random,
                pension,
                (0.6, "growth", lambda: random.choice((0.01, 0.03, 0.055, -0.02))),
                (0.4, "yearly_charge", lambda: random.choice((0.002, 0.0125))),
            )
            if request.get("lump_sums") != "all_now":
                _sometimes(random, pension, (0.3, "protected_pension_age", lambda: random.choice((50, 55, 60))))


def _some_markets(random: Random, most_paths: int) -> JsonObject:
    """A few courses of markets, drawn at random."""
    return {
        "source": "random",
        "seed": random.randint(0, 1_000),
        "number_of_paths": random.randint(1, most_paths),
        "volatility": {"pension_growth": random.choice((0, 0.15)), "isa_growth": 0.1, "price_inflation": 0.01},
    }


def _claim_as_best(random: Random, people: list[JsonObject]) -> None:
    """Leave the marriage allowance to the plan for one couple in four."""
    if len(people) == 2 and random.random() < 0.25:
        for person in people:
            person["marriage_allowance"] = "as_best"


def _only_spouses_claim(household: JsonObject) -> None:
    """Leave out the marriage allowance of two people who are said to be no spouses."""
    if len(household["people"]) == 2 and household.get("estate", {}).get("spouses") is False:
        for person in household["people"]:
            person.pop("marriage_allowance", None)


def _paid_in(random: Random) -> JsonObject:
    """A contribution that is paid into the first pension."""
    if random.random() < 0.4:
        return {"yearly": amount(random, 9_000), "payer": "employer", "pension": 0}
    relief = random.choice(("relief_at_source", "net_pay"))
    return {"yearly": amount(random, 6_000), "relief": relief, "pension": 0}


def _already(random: Random) -> JsonObject:
    found: JsonObject = {}
    _sometimes(
        random,
        found,
        (0.6, "income", lambda: [{"kind": random.choice(("employment", "annuity")), "amount": amount(random, 30_000)}]),
        (0.6, "taxable_withdrawals", lambda: amount(random, 15_000)),
        (0.4, "tax_free_withdrawals", lambda: amount(random, 8_000)),
    )
    return found or {"taxable_withdrawals": 1_000}


def timing(random: Random) -> JsonObject:
    """A request of POST /v1/lump-sum-timing."""
    start = random.choice((date(2026, 4, 6), date(2025, 4, 6), date(2027, 4, 6), _random_day(random)))
    people = [_plan_person(random, start) for _ in range(random.choice((1, 2)))]
    age = start.year - int(people[0]["date_of_birth"][:4])
    to_age = min(120, age + random.choice((random.randint(2, 10), random.randint(2, 35))))
    household: JsonObject = {"people": people}
    request: JsonObject = {
        "household": household,
        "start_date": start.isoformat(),
        "to_age": to_age,
        "options": [_option(random, age) for _ in range(random.randint(1, 6))],
    }
    couple = len(people) == 2

    def death() -> JsonObject:
        found: JsonObject = {"person": 0, "age": random.randint(min(age + 1, to_age), to_age)}
        if couple and random.random() < 0.5:
            older = start.year - int(people[1]["date_of_birth"][:4])
            found["survivor_age"] = max(18, min(120, older + to_age - age - 1))
            found["age"] = min(age + 1, to_age)
        return found

    _sometimes(
        random,
        request,
        (0.5, "aim", lambda: _income_plan(random)),
        (0.7, "deaths", lambda: [death() for _ in range(random.choice((1, 2)))]),
        (0.5, "beneficiary_tax_rate", lambda: random.choice((0, 0.2, 0.4, 0.45, 0.3333))),
        (0.8, "assumptions", lambda: _assumptions(random)),
        (
            0.3,
            "break_even_growth",
            lambda: {"low": random.choice((-0.05, 0, 0.01)), "high": random.choice((0.05, 0.08))},
        ),
    )
    _sometimes(
        random,
        household,
        (0.6, "estate", lambda: _estate_facts(random, start, couple=couple)),
        (0.4, "spending", lambda: [_spending(random, start)]),
    )
    if random.random() < 0.15:
        request["markets"] = _some_markets(random, 5)
        request.get("assumptions", {}).pop("thresholds_after_freeze", None)
    elif random.random() < 0.25:
        _set_pensions_apart(random, request)
    _claim_as_best(random, people)
    _only_spouses_claim(household)
    return request


def warnings(random: Random) -> JsonObject:
    """A request of POST /v1/warnings, from bare to rich."""
    today = random.choice((date(2026, 6, 1), date(2027, 4, 6), _random_day(random), _random_day(random)))
    richness = random.choice((0.05, 0.2, 0.5, 0.9))
    people = [_warned_person(random, today, richness) for _ in range(random.choice((1, 1, 2)))]
    household: JsonObject = {"people": people}
    request: JsonObject = {"household": household, "date": today.isoformat()}
    for key in ("withdrawals", "isa_subscriptions"):
        listed = [{"person": i, **item} for i, person in enumerate(people) for item in person.pop(key, ())]
        if listed:
            request[key] = listed
    if random.random() < richness:
        household["estate"] = _estate_facts(random, today, couple=len(people) == 2)
    _only_spouses_claim(household)
    return request


def spoiled(random: Random, request: JsonObject) -> str:
    """The request as text with something wrong in it: a value of another kind, a key too many or too few, or no JSON."""
    whole = copy.deepcopy(request)
    kind = random.randrange(5)
    if kind == 0:
        text = json.dumps(whole)
        return random.choice(
            (text[: len(text) // 2], text.replace("{", "", 1), text.replace(":", ": NaN,", 1), "[]", "")
        )
    objects = list(_objects(whole))
    for _ in range(random.choice((1, 1, 3))):
        place = random.choice(objects)
        if kind == 1:
            place[random.choice(("amounts", "Date", "pot", "~/"))] = 1
        elif place:
            key = random.choice(sorted(place))
            if kind == 2:
                del place[key]
            else:
                place[key] = copy.deepcopy(random.choice(_WRONG))
    return json.dumps(whole)


_WRONG: tuple[Any, ...] = (
    None, True, -1, 1.234, 1e30, 12.5, "", "text", "2026-02-30", "1899-12-31", [], {}, ["text"], [1], {"amount": "x"}, [[]],
)  # fmt: skip


def _objects(node: Any) -> Iterator[JsonObject]:
    """Every object in a document, itself included."""
    if isinstance(node, dict):
        yield node
    for value in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from _objects(value)


def _sometimes(random: Random, target: JsonObject, *parts: tuple[float, str, Callable[[], Any]]) -> None:
    """Give ``target`` each part with its own chance."""
    for share, name, make in parts:
        if random.random() < share:
            target[name] = make()


def _truth(random: Random) -> Callable[[], bool]:
    return lambda: random.random() < 0.5


def _random_day(random: Random) -> date:
    return FIRST_DAY + timedelta(days=random.randint(0, 12 * 365))


def _income(random: Random) -> list[JsonObject]:
    """Most people have one main income, and one in a few something of savings, dividends or property."""
    found = []
    for _ in range(random.choice((0, 1, 1, 1, 2))):
        most = random.choice((12_570, 60_000, 60_000, 160_000))
        found.append({"kind": random.choice(_MAIN_KINDS), "amount": amount(random, most)})
    for kind, share, most in (
        ("savings_interest", 0.3, 9_000),
        ("dividends", 0.25, 40_000),
        ("property_income", 0.15, 20_000),
    ):
        if random.random() < share:
            found.append({"kind": kind, "amount": amount(random, most)})
    random.shuffle(found)
    return found


def _person(random: Random) -> JsonObject:
    person: JsonObject = {
        "date_of_birth": day(random, date(1940, 1, 1), date(1978, 1, 1)),
        "tax_residence": random.choice(NATIONS),
    }
    income = _income(random)
    _sometimes(
        random,
        person,
        (0.95, "income", lambda: income),
        (0.15, "contributions", lambda: [{"yearly": amount(random, 20_000), "relief": "relief_at_source"}]),
        (0.15, "gift_aid_donations", lambda: amount(random, 3_000)),
        (0.3, "marriage_allowance", lambda: random.choice(("none", "gives", "receives"))),
        (0.1, "blind_persons_allowance", _truth(random)),
        (0.2, "child_benefit", lambda: random.choice((0, 1_354.6, 2_251.6, 3_148.99))),
    )
    return person


def _pension(random: Random) -> JsonObject:
    pension: JsonObject = {"uncrystallised": amount(random, random.choice((20_000, 300_000, 900_000, 2_500_000)))}
    held = random.choice((0, 0, 50_000, 400_000, 1_500_000))
    pension["drawdown"] = amount(random, held) if held else 0
    _sometimes(random, pension, (0.1, "protected_pension_age", lambda: random.choice((50, 52, 55))))
    return pension


def _used(random: Random, start: date) -> JsonObject:
    """What a person has used of the lump sum allowances, in the tax year that begins or goes on from a day."""
    allowances: JsonObject = {}
    if start >= date(2024, 4, 6):
        _sometimes(
            random,
            allowances,
            (0.2, "lump_sum_allowance_used", lambda: amount(random, random.choice((20_000, 268_275, 400_000)))),
            (0.05, "lump_sum_and_death_benefit_allowance_used", lambda: amount(random, 1_073_100)),
            (0.05, "protected_lump_sum_allowance", lambda: random.choice((312_500, 375_000))),
            (0.05, "protected_lump_sum_and_death_benefit_allowance", lambda: random.choice((1_250_000, 1_500_000))),
        )
    _sometimes(
        random, allowances, (0.15, "lifetime_allowance_used", lambda: random.choice((0, 0.1234, 0.4, 0.4, 0.9999, 1)))
    )
    used: JsonObject = {"lump_sum_allowances": allowances} if allowances else {}
    _sometimes(random, used, (0.3, "flexibly_accessed", _truth(random)))
    return used


def _payroll(random: Random) -> JsonObject:
    payroll: JsonObject = {"code": random.choice(_CODES), "basis": random.choice(("month_1", "cumulative"))}
    if payroll["basis"] == "cumulative":
        payroll["month"] = random.randint(1, 12)
        pay = amount(random, 60_000)
        _sometimes(
            random,
            payroll,
            (0.8, "pay_to_date", lambda: pay),
            (0.6, "tax_to_date", lambda: amount(random, 0.3 * pay)),
        )
    return payroll


def _increases(random: Random) -> Any:
    return random.choice(("none", "prices", "prices", 0.025, -0.01))


def _dated_income(random: Random, start: date, born: str) -> list[JsonObject]:
    found = _income(random)
    for income in found:
        if income["kind"] == "state_pension" and born >= "1953-04-06" and random.random() < 0.7:
            del income["amount"]
            income["share_of_full_rate"] = random.choice((1, 0.5, 0.8714, 1.2))
        _dated(random, income, start + timedelta(days=random.randint(-400, 2_500)))
    return found


def _dated(random: Random, item: JsonObject, first: date) -> None:
    """Give an income or spending days and increases, or some of these."""
    _sometimes(
        random,
        item,
        (0.3, "from", first.isoformat),
        (0.3, "to", lambda: (first + timedelta(days=random.randint(0, 3_000))).isoformat()),
        (0.5, "increases", lambda: _increases(random)),
    )


def _plan_person(random: Random, start: date) -> JsonObject:
    person = _person(random)
    income = _dated_income(random, start, person["date_of_birth"])
    person["income"] = income
    person |= _used(random, start)
    # The same terms of all pensions of a person, which courses of markets need.
    pension = _pension(random)
    person["pensions"] = [pension, *({**pension, "drawdown": 0} for _ in range(random.choice((0, 0, 0, 1, 2))))]
    _sometimes(
        random,
        person,
        (0.7, "isa", lambda: _isa(random)),
        (0.7, "cash", lambda: amount(random, random.choice((5_000, 80_000)))),
    )
    return person


def _isa(random: Random) -> JsonObject:
    isa: JsonObject = {}
    _sometimes(
        random,
        isa,
        (0.8, "value", lambda: amount(random, 150_000)),
        (0.3, "subscribed_this_year", lambda: random.choice((0, 5_000, 12_000, 20_000))),
        (0.3, "cash_isa", _truth(random)),
    )
    return isa


def _spending(random: Random, start: date) -> JsonObject:
    spending: JsonObject = {"amount": amount(random, random.choice((4_000, 12_000, 20_000)))}
    _dated(random, spending, start + timedelta(days=random.randint(-200, 2_000)))
    return spending


def _assumptions(random: Random) -> JsonObject:
    found: JsonObject = {}
    growth = (0, 0.02, 0.04, 0.05, 0.03125, -0.03)
    _sometimes(
        random,
        found,
        (0.8, "pension_growth", lambda: random.choice(growth)),
        (0.8, "isa_growth", lambda: random.choice(growth)),
        (0.6, "cash_interest", lambda: random.choice((0, 0.015, 0.03, 0.045))),
        (0.6, "price_inflation", lambda: random.choice((0, 0.02, 0.0225, -0.01))),
        (0.6, "thresholds_after_freeze", lambda: random.choice(("frozen", "prices"))),
        (0.4, "tax_rate_on_remaining_pension", lambda: random.choice((0, 0.2, 0.4, 1))),
        (0.5, "spending_met", lambda: random.choice(("start", "evenly", "end"))),
    )
    if "tax_rate_on_remaining_pension" not in found and random.random() < 0.5:
        found["tax_on_remaining_pension"] = random.choice(
            ({"rate": 0.45}, {"drawn_over_years": 1}, {"drawn_over_years": random.randint(2, 40)})
        )
    return found


def _scenarios(random: Random) -> JsonObject:
    scenarios: JsonObject = {}
    for name in ("low", "middle", "high"):
        if random.random() < 0.6:
            scenarios[name] = {"pension_growth": random.choice((-0.01, 0.03, 0.06)), "isa_growth": 0.03}
    return scenarios


def _income_plan(random: Random) -> JsonObject:
    return {"goal": random.choice((*PLAIN_AIMS, "spending_only"))}


def _option(random: Random, age: int) -> JsonObject:
    take = random.choice(("all_now", "phased", "with_each_withdrawal", "at_age", "never"))
    option: JsonObject = {"lump_sums": take}
    if take == "at_age":
        option["age"] = max(20, min(120, age + random.randint(0, 15)))
    if take == "phased" and random.random() < 0.6:
        option["yearly"] = random.choice(("isa_allowance", amount(random, 40_000)))
    if random.random() < 0.3:
        option["aim"] = _income_plan(random)
    return option


def _estate_facts(random: Random, start: date, *, couple: bool) -> JsonObject:
    estate: JsonObject = {}
    gifts = [
        {"date": day(random, start - timedelta(days=3_000), start), "amount": amount(random, 400_000), "person": 0}
        for _ in range(random.choice((0, 1, 2)))
    ]
    _sometimes(
        random,
        estate,
        (0.7, "home", lambda: amount(random, 900_000)),
        (0.5, "home_to_descendants", _truth(random)),
        (0.6, "other_assets", lambda: amount(random, 1_500_000)),
        (0.3, "debts", lambda: amount(random, 100_000)),
        (0.5, "increases", lambda: _increases(random)),
        (0.3, "first_person_share", lambda: random.choice((0, 0.5, 0.25, 1))),
        (0.3, "charity_share", lambda: random.choice((0, 0.04, 0.1, 0.5))),
        (0.4, "lifetime_gifts", lambda: gifts),
        (0.4, "pension_paid_as", lambda: random.choice(("lump_sum", "drawdown"))),
    )
    if couple:
        _sometimes(
            random,
            estate,
            (0.3, "spouses", _truth(random)),
            (0.3, "survivor_spending", lambda: random.choice((0.5, 0.7, 1))),
        )
        if estate.get("spouses", True):
            _sometimes(random, estate, (0.3, "first_death", lambda: random.choice(("to_spouse", "to_beneficiaries"))))
    else:
        _sometimes(
            random,
            estate,
            (0.3, "nil_rate_band_brought_forward", lambda: random.choice((0.5, 1))),
            (0.3, "residence_nil_rate_band_brought_forward", lambda: random.choice((0.5, 1))),
        )
    return estate


def _warned_person(random: Random, today: date, richness: float) -> JsonObject:
    """A person of a request for warnings, with each optional fact given with a chance of ``richness``."""
    person = _person(random) | _used(random, today)
    pensions = [_warned_pension(random, today, richness) for _ in range(random.choice((1, 1, 1, 2, 3)))]
    person["pensions"] = pensions
    latest = min(today + timedelta(days=random.choice((300, 900))), LAST_DAY)

    def to_come() -> str:
        return day(random, today, latest)

    def near() -> str:
        return day(random, max(today - timedelta(days=500), FIRST_DAY), latest)

    def past() -> str:
        return day(random, today - timedelta(days=1_000), today)

    def planned() -> list[JsonObject]:
        count = random.choice((0, 1, 1, 2, 4))
        places = [random.randrange(len(pensions)) for _ in range(count)]
        return [{"pension": k, **_planned(random, pensions[k], count, to_come())} for k in places]

    def subscriptions() -> list[JsonObject]:
        found = []
        for _ in range(random.choice((0, 1, 2, 3))):
            one: JsonObject = {"amount": amount(random, random.choice((8_000, 20_000, 30_000))), "date": to_come()}
            _sometimes(random, one, (0.4, "cash_isa", _truth(random)))
            found.append(one)
        return found

    def flags(*names: str) -> Callable[[], JsonObject]:
        return lambda: {name: random.random() < 0.5 for name in names if random.random() < 0.6}

    _sometimes(
        random,
        person,
        (0.85, "withdrawals", planned),
        (richness, "isa_subscriptions", subscriptions),
        (richness, "isa", lambda: _warned_isa(random)),
        (richness, "cash", lambda: amount(random, 300_000)),
        (richness, "contributions", lambda: _contributions(random, near)),
    )
    if random.random() < richness:
        person.setdefault("lump_sum_allowances", {})["tax_free_received_before_6_april_2024"] = amount(random, 300_000)
    circumstances: JsonObject = {}
    _sometimes(
        random,
        circumstances,
        *(
            (richness, name, make)
            for name, make in (
                ("deposit_firms", lambda: random.randint(1, 5)),
                ("usual_contributions", lambda: amount(random, 20_000)),
                ("contribution_increase_planned", _truth(random)),
                ("lump_sums_in_last_12_months", lambda: amount(random, 20_000)),
                ("carry_forward", lambda: amount(random, 120_000)),
                ("saves_in_other_schemes", _truth(random)),
                ("small_pots_taken", lambda: random.randint(0, 4)),
                ("benefits", flags(
                    "universal_credit", "pension_credit", "housing_benefit", "council_tax_support", "care_support",
                    "new_style_employment_and_support_allowance", "new_style_jobseekers_allowance",
                )),
                ("gifts_planned", lambda: amount(random, 50_000)),
                ("student_loans", flags("plan_1", "plan_2", "plan_4", "plan_5", "postgraduate")),
                ("children", lambda: random.randint(0, 4)),
                ("tax_free_childcare", lambda: amount(random, 2_000)),
                ("child_has_maintenance_loan", _truth(random)),
                ("self_assessment", _truth(random)),
                ("ill_health", lambda: random.choice(("none", "unable_to_work", "life_expectancy_under_a_year"))),
                ("uk_resident", _truth(random)),
                ("crown_employee_abroad", _truth(random)),
                ("inherited_pension", lambda: {"scheme_knew_on": past(), "died_before_75": random.random() < 0.5}),
                ("guidance_taken", _truth(random)),
                ("regulated_adviser", _truth(random)),
                ("unexpected_contact", _truth(random)),
            )
        ),
    )  # fmt: skip
    if circumstances:
        person["circumstances"] = circumstances
    return person


def _contributions(random: Random, near: Callable[[], str]) -> list[JsonObject]:
    found = []
    for _ in range(random.choice((0, 1, 2, 5))):
        most = random.choice((4_000, 20_000, 70_000))
        one: JsonObject = {"yearly": amount(random, most)}
        if random.random() < 0.7:
            one = {"amount": amount(random, most), "date": near()}
        _sometimes(
            random,
            one,
            (0.5, "payer", lambda: random.choice(("self", "employer", "third_party"))),
            (0.3, "saving", lambda: random.choice(("money_purchase", "defined_benefit"))),
        )
        if one.get("payer") != "employer":
            one["relief"] = random.choice(("relief_at_source", "net_pay", "none"))
        found.append(one)
    return found


def _planned(random: Random, pension: JsonObject, count: int, on: str) -> JsonObject:
    """One of so many withdrawals, nearly always no more than its part of what is held."""
    method = random.choice(METHODS)
    held = pension["drawdown"] if method == "drawdown" else pension["uncrystallised"]
    most = held / count / (4 if method == "pcls" else 1)
    if method == "small_pot":
        most = min(most, random.choice((_LARGEST_SMALL_POT, 12_000)))
    if random.random() < 0.02:
        most = 80_000
    return {"method": method, "amount": amount(random, random.choice((most, min(most, 60_000)))), "date": on}


def _warned_isa(random: Random) -> JsonObject:
    isa: JsonObject = {}
    _sometimes(
        random,
        isa,
        (0.6, "value", lambda: amount(random, 150_000)),
        (0.5, "subscribed_this_year", lambda: amount(random, 20_000)),
        (0.3, "cash_subscribed_this_year", lambda: amount(random, 12_000)),
        (0.4, "withdrawn_this_year", lambda: amount(random, 10_000)),
        (0.5, "flexible", _truth(random)),
    )
    return isa


def _warned_pension(random: Random, today: date, richness: float) -> JsonObject:
    pension = _pension(random)
    _sometimes(
        random,
        pension,
        *(
            (richness, name, make)
            for name, make in (
                ("safeguarded_benefits", lambda: amount(random, 80_000)),
                ("guaranteed_annuity_rate", _truth(random)),
                ("protected_tax_free_share", lambda: random.choice((0, 0.25, 0.3, 0.4123, 1))),
                ("exit_charge", lambda: amount(random, 2_000)),
                ("scheme_kind", lambda: random.choice(("personal", "occupational"))),
                ("transfer_planned", _truth(random)),
                ("transfer_flag", lambda: random.choice(("none", "amber", "red"))),
                ("nomination", lambda: random.choice(("none", "made"))),
                ("nomination_reviewed_on", lambda: day(random, today - timedelta(days=3_000), today)),
            )
        ),
    )
    return pension

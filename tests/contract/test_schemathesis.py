"""Requests generated from the agreement: every answer keeps to it, and what it forbids is refused."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from itertools import combinations
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.config import SchemathesisConfig

from service import create_app
from service.settings import Settings

from .agreement import DOCUMENT_PATH, JSON, NDJSON, operations

# A body may keep to the agreement and still be impossible, such as a payment of more than the pot holds or a plan that
# ends before it starts. That is a 422 of its own type; the check below holds it to that type.
POSSIBLY_IMPOSSIBLE = ("calculateWithdrawalTax", "planAllowanceSchedule", "compareLumpSumTiming", "findWarnings")
IN_BULK = "calculateInBulk"
CONFIG = SchemathesisConfig.from_dict(
    {
        "generation": {"deterministic": True, "max-examples": 50},
        "operations": [
            {
                "include-operation-id": operation_id,
                "checks": {"positive_data_acceptance": {"expected-statuses": ["2xx", "422"]}},
            }
            for operation_id in POSSIBLY_IMPOSSIBLE
        ]
        + [
            {
                # The body is text: whatever is sent keeps to its shape, but there may be no record in it. And what is
                # wrong with a record is told inside a 200. test_bulk.py holds the lines to their shapes.
                "include-operation-id": IN_BULK,
                "checks": {
                    "positive_data_acceptance": {"expected-statuses": ["2xx", "400", "422"]},
                    "negative_data_rejection": {"enabled": False},
                },
            }
        ],
    }
)


@schemathesis.serializer(NDJSON)
def json_lines(_: schemathesis.SerializationContext, value: Any) -> bytes:
    """A body as it is sent: text as it is, anything else as one line of JSON."""
    text = value if isinstance(value, str) else json.dumps(value)
    return text.encode("utf-8", "surrogatepass")


@schemathesis.check
def well_formed_body_is_refused_only_as_a_rule_violation(
    ctx: schemathesis.CheckContext, response: schemathesis.Response, case: schemathesis.Case
) -> None:
    """A body that keeps to the agreement may be impossible to compute, but is never called malformed."""
    if case.method == "POST" and case.media_type == JSON and response.status_code == 422 and is_well_formed(case):
        assert response.json()["code"] == "rule-violation", response.text


@schemathesis.check
def answer_adds_up(ctx: schemathesis.CheckContext, response: schemathesis.Response, case: schemathesis.Case) -> None:
    """The parts of an answer agree with one another, to the penny."""
    if case.method == "POST" and case.media_type == JSON and response.status_code == 200:
        answer = response.json()
        checks = {
            "options": sums_of_a_comparison_that_fail,
            "years": sums_of_a_plan_that_fail,
            "counts": counts_that_fail,
        }
        check = next((check for key, check in checks.items() if key in answer), sums_that_fail)
        assert check(answer) == []


def is_well_formed(case: schemathesis.Case) -> bool:
    """Return whether every part of the generated request was made to keep to the agreement."""
    return case.meta is not None and case.meta.generation.mode.is_positive


def pence(pounds: float) -> int:
    return round(pounds * 100)


def sums_that_fail(answer: dict[str, Any]) -> list[str]:
    """Return the names of the sums of a calculation answer that do not hold."""
    withdrawal, tax, payroll = answer["withdrawal"], answer["income_tax"], answer["payroll"]
    excess = withdrawal.get("taxed_as_excess", 0)
    charge = answer.get("lifetime_allowance", {}).get("charge", 0)
    net = pence(withdrawal["gross"]) - pence(tax["on_withdrawal"]) - pence(charge)
    sums = {
        "parts": pence(withdrawal["gross"])
        == pence(withdrawal["tax_free"]) + pence(withdrawal["taxable"]) + pence(excess),
        "total": pence(tax["total"]) == pence(tax["on_other_income"]) + pence(tax["on_withdrawal"]),
        "slices": pence(tax["on_withdrawal"]) == sum(pence(part["tax"]) for part in tax["slices"]),
        "net": pence(answer["net_after_tax"]) == net,
        "paid out": pence(payroll["paid_out"])
        == pence(withdrawal["gross"]) - pence(charge) - pence(payroll["tax_deducted"]),
        "one way": payroll["over_deducted"] == 0 or payroll["under_deducted"] == 0,
    }
    return [name for name, holds in sums.items() if not holds]


def counts_that_fail(answer: dict[str, Any]) -> list[str]:
    """Return the effects of which an answer with warnings counts more or fewer than it holds, or tells out of order."""
    effects = [warning["effect"] for warning in answer["warnings"]]
    wrong = [effect for effect, count in answer["counts"].items() if effects.count(effect) != count]
    in_order = sorted(effects, key=list(answer["counts"]).index)
    return wrong if effects == in_order else [*wrong, "order"]


def sums_of_a_plan_that_fail(plan: dict[str, Any]) -> list[str]:
    """Return the names of the sums of a plan that do not hold, each with its tax year."""
    failed: list[str] = []
    before: list[dict[str, Any]] = []
    tax_so_far = 0
    for year in plan["years"]:
        people, household = year["people"], year["household"]
        tax_so_far += pence(household["income_tax"])
        sums = {
            "tax so far": pence(household["income_tax_so_far"]) == tax_so_far,
            "spending": pence(year["spending"]) == sum(pence(person["spent"]) for person in people),
            "withdrawn": pence(household["withdrawn"]) == sum(pence(one["withdrawal"]["gross"]) for one in people),
            "income tax": pence(household["income_tax"]) == sum(pence(one["income_tax"]) for one in people),
            "subscribed": pence(household["isa_subscriptions"])
            == sum(pence(one["isa_subscription"]) for one in people),
            "moved": sum(pence(one["moved_from_partner"]) for one in people) == 0,
            "carried over": all(
                pence(one[where]["opening"]) == pence(earlier[where]["closing"])
                for one, earlier in zip(people, before, strict=False)
                for where in ("pension", "isa", "cash")
            ),
        }
        for where in ("pension", "isa", "cash"):
            sums[where] = pence(household[where]) == sum(pence(one[where]["closing"]) for one in people)
        failed += [f"{name} in {year['tax_year']}" for name, holds in sums.items() if not holds]
        failed += [f"{name} in {year['tax_year']}" for person in people for name in sums_of_a_person_that_fail(person)]
        before = people
    totals = plan["totals"]
    of_years = {
        "withdrawn": sum(pence(year["household"]["withdrawn"]) for year in plan["years"]),
        "income_tax": tax_so_far,
        "isa_subscriptions": sum(pence(year["household"]["isa_subscriptions"]) for year in plan["years"]),
        "spent": sum(pence(year["spending"]) for year in plan["years"]),
        **{where: pence(plan["years"][-1]["household"][where]) for where in ("pension", "isa", "cash")},
    }
    failed += [f"{name} in all" for name, amount in of_years.items() if pence(totals[name]) != amount]
    if pence(totals["withdrawn"]) != pence(totals["tax_free"]) + pence(totals["taxable"]):
        failed.append("parts in all")
    for other in plan["compared_with"]:
        if other["possible"]:
            gain = pence(totals["wealth_after_tax"]) - pence(other["wealth_after_tax"])
            if pence(other["gain"]) != gain:
                failed.append(f"gain over {other['plan']}")
    if "proof" in plan:
        proof = plan["proof"]
        if pence(proof["objective"]) != pence(totals["wealth_after_tax"]):
            failed.append("objective")
        if pence(proof["gap"]) != pence(proof["bound"]) - pence(proof["objective"]):
            failed.append("gap")
    return failed


def sums_of_a_person_that_fail(person: dict[str, Any]) -> list[str]:
    """Return the names of the sums of one person's tax year that do not hold."""
    withdrawal, pension, isa, cash = person["withdrawal"], person["pension"], person["isa"], person["cash"]
    gross, moved = pence(withdrawal["gross"]), pence(person["moved_from_partner"])
    came = pence(person["income_received"]) + gross + pence(person["isa_withdrawal"]) + max(0, moved)
    went = pence(person["income_tax"]) + pence(person["spent"]) + pence(person["isa_subscription"]) + max(0, -moved)
    sums = {
        "parts": gross == pence(withdrawal["tax_free"]) + pence(withdrawal["taxable"]),
        "funds": gross == pence(withdrawal["from_uncrystallised"]) + pence(withdrawal["from_drawdown"]),
        "pension left": pence(pension["closing"])
        == pence(pension["opening"]) + pence(pension["growth"]) - pence(pension["withdrawn"])
        == pence(pension["uncrystallised"]) + pence(pension["drawdown"]),
        "withdrawn from the pension": gross == pence(pension["withdrawn"]),
        "isa left": pence(isa["closing"])
        == pence(isa["opening"]) + pence(isa["growth"]) + pence(isa["paid_in"]) - pence(isa["paid_out"]),
        "into the isa": pence(isa["paid_in"]) == pence(person["isa_subscription"]),
        "out of the isa": pence(isa["paid_out"]) == pence(person["isa_withdrawal"]),
        "cash left": pence(cash["closing"])
        == pence(cash["opening"]) + pence(cash["interest"]) + pence(cash["paid_in"]) - pence(cash["paid_out"]),
        "interest": pence(person["interest"]) == pence(cash["interest"]),
        "into cash": pence(cash["paid_in"]) == came,
        "out of cash": pence(cash["paid_out"]) == went,
    }
    return [name for name, holds in sums.items() if not holds]


def sums_of_a_comparison_that_fail(answer: dict[str, Any]) -> list[str]:
    """Return the names of the sums of a comparison of options that do not hold."""
    failed: list[str] = []
    for k, option in enumerate(answer["options"]):
        if option["possible"]:
            failed += [f"{name} in option {k}" for name in sums_of_an_option_that_fail(option)]
            for death in option["deaths"]:
                if death["possible"]:
                    rate = answer["assumptions"]["beneficiary_tax_rate"]
                    failed += [f"{name} in option {k}" for name in sums_of_a_death_that_fail(death, rate)]
    return failed + orders_that_fail(answer) + break_evens_that_fail(answer)


def sums_of_an_option_that_fail(option: dict[str, Any]) -> list[str]:
    """Return the names of the sums of one option that do not hold, those of its years with the tax year."""
    failed: list[str] = []
    totals, years = option["totals"], option["years"]
    before: list[dict[str, Any]] = []
    tax_so_far = tax_free_so_far = 0
    for year in years:
        people, household = year["people"], year["household"]
        tax_so_far += pence(household["income_tax"])
        tax_free_so_far += sum(pence(one["lump_sum"]) + pence(one["withdrawal"]["tax_free"]) for one in people)
        sums = {
            "income tax": pence(household["income_tax"]) == sum(pence(one["income_tax"]) for one in people),
            "tax so far": pence(household["income_tax_so_far"]) == tax_so_far,
            "tax-free cash so far": pence(household["tax_free_cash_so_far"]) == tax_free_so_far,
            "waiting": pence(household["cash_waiting"]) == sum(pence(one["cash"]["closing"]) for one in people),
            "moved": sum(pence(one["moved_from_partner"]) for one in people) == 0,
            "carried over": all(
                pence(one[where]["opening"]) == pence(earlier[where]["closing"])
                for one, earlier in zip(people, before, strict=False)
                for where in ("pension", "isa", "cash")
            ),
        }
        failed += [f"{name} in {year['tax_year']}" for name, holds in sums.items() if not holds]
        failed += [f"{name} in {year['tax_year']}" for one in people for name in balances_that_fail(one)]
        before = people
    last = years[-1]
    of_years = {
        "tax_free_cash": tax_free_so_far,
        "withdrawn": sum(pence(one["pension"]["paid_out"]) for year in years for one in year["people"]),
        "income_tax": tax_so_far,
        "interest_on_waiting_cash": sum(pence(one["cash"]["interest"]) for year in years for one in year["people"]),
        "tax_on_interest": sum(pence(one["tax_on_interest"]) for year in years for one in year["people"]),
        "most_cash_waiting": max(pence(year["household"]["cash_waiting"]) for year in years),
        "spent": sum(pence(one["spent"]) for year in years for one in year["people"]),
        **{where: sum(pence(one[where]["closing"]) for one in last["people"]) for where in ("pension", "isa", "cash")},
        **{name: pence(last["household"][name]) for name in last["household"] if name.startswith("wealth")},
    }
    failed += [f"{name} in all" for name, amount in of_years.items() if pence(totals[name]) != amount]
    for i, person in enumerate(totals["people"]):
        failed += totals_of_a_person_that_fail(person, [year["people"][i] for year in years])
    return failed


def balances_that_fail(person: dict[str, Any]) -> list[str]:
    """Return the names of the sums of one person's tax year of an option that do not hold."""
    withdrawal, pension, isa, cash = person["withdrawal"], person["pension"], person["isa"], person["cash"]
    gross, lump_sum = pence(withdrawal["gross"]), pence(person["lump_sum"])
    came = lump_sum + gross + pence(person["income_received"]) + pence(person["isa_withdrawal"])
    went = pence(person["income_tax"]) + pence(person["spent"]) + pence(person["isa_subscription"])
    sums = {
        "parts": gross == pence(withdrawal["tax_free"]) + pence(withdrawal["taxable"]),
        "out of the pension": pence(pension["paid_out"]) == lump_sum + gross,
        "into the pension": pension["paid_in"] == 0,
        "into the isa": pence(isa["paid_in"]) == pence(person["isa_subscription"]),
        "out of the isa": pence(isa["paid_out"]) == pence(person["isa_withdrawal"]),
        "through cash": pence(cash["paid_in"]) - pence(cash["paid_out"])
        == came - went + pence(person["moved_from_partner"]),
    }
    for where, growth in (("pension", "growth"), ("isa", "growth"), ("cash", "interest")):
        held = {name: pence(amount) for name, amount in person[where].items()}
        sums[f"{where} left"] = held["closing"] == held["opening"] + held[growth] + held["paid_in"] - held["paid_out"]
    return [name for name, holds in sums.items() if not holds]


def totals_of_a_person_that_fail(person: dict[str, Any], years: list[dict[str, Any]]) -> list[str]:
    """Return the names of one person's totals of an option that are not those of the years."""
    tax_free = {name: pence(person["tax_free_cash"][name]) for name in person["tax_free_cash"] if name[-3:] != "_in"}
    first = next((year for year in years if year["money_purchase_annual_allowance_applies"]), None)
    sums = {
        "received": tax_free["received"] == tax_free["in_lump_sums"] + tax_free["with_withdrawals"],
        "lump sums": tax_free["in_lump_sums"] == sum(pence(year["lump_sum"]) for year in years),
        "with withdrawals": tax_free["with_withdrawals"]
        == sum(pence(year["withdrawal"]["tax_free"]) for year in years),
        "forgone": tax_free["forgone"]
        == max(0, tax_free["if_left_to_the_end"] - tax_free["received"] - tax_free["still_available"]),
        "own tax": pence(person["income_tax"]) == sum(pence(year["income_tax"]) for year in years),
        "own interest": pence(person["interest_on_waiting_cash"])
        == sum(pence(year["cash"]["interest"]) for year in years),
        "own tax on interest": pence(person["tax_on_interest"])
        == sum(pence(year["tax_on_interest"]) for year in years),
        "own cash": pence(person["most_cash_waiting"]) == max(pence(year["cash"]["closing"]) for year in years),
        "triggered": first is not None or not person["money_purchase_annual_allowance"]["triggered"],
    }
    return [name for name, holds in sums.items() if not holds]


def sums_of_a_death_that_fail(death: dict[str, Any], beneficiary_tax_rate: float) -> list[str]:
    """Return the names of the sums of one death asked about that do not hold."""
    to_heirs = [left["heirs"] for left in death["deaths"] if left["passes_to"] == "heirs"]
    sums = {
        "heirs": pence(death["heirs_receive"]) == sum(pence(heirs["receive"]) for heirs in to_heirs),
        "all tax": pence(death["inheritance_tax"])
        == sum(pence(left["inheritance_tax"]["total"]) for left in death["deaths"]),
        "heirs' tax": pence(death["heirs_income_tax"])
        == sum(pence(heirs["pension"]["income_tax"]) for heirs in to_heirs),
        "asked": (death["person"], death["at_age"]) == (death["deaths"][0]["person"], death["deaths"][0]["age"]),
    }
    failed = [name for name, holds in sums.items() if not holds]
    for left in death["deaths"]:
        failed += [f"{name} on {left['date']}" for name in sums_of_an_estate_that_fail(left, beneficiary_tax_rate)]
    return failed


def sums_of_an_estate_that_fail(left: dict[str, Any], beneficiary_tax_rate: float) -> list[str]:
    """Return the names of the sums of what one person leaves that do not hold."""
    estate = {name: pence(amount) for name, amount in left["estate"].items()}
    tax = {name: pence(amount) for name, amount in left["inheritance_tax"].items() if name != "rate"}
    bands = [left[name] for name in ("residence_nil_rate_band", "nil_rate_band")]
    counted = estate["unused_pension"] if left["estate"]["pension_in_estate"] else 0
    sums = {
        "free estate": estate["free_estate"]
        == estate["isa"] + estate["cash"] + estate["home"] + estate["other_assets"] - estate["debts"],
        "value": estate["value"] == estate["free_estate"] + counted,
        "chargeable": estate["chargeable"] == estate["value"] - estate["exempt"],
        "taxable": tax["taxable"] == estate["chargeable"] - sum(pence(band["used"]) for band in bands),
        "within the bands": all(band["used"] <= band["available"] for band in bands),
        "tax": tax["total"] == tax["taxable"] * round(left["inheritance_tax"]["rate"] * 10_000) // 10_000,
        "parts of the tax": tax["total"] == tax["on_free_estate"] + tax["on_pension"],
        "only one receives": ("heirs" in left) != ("additional_permitted_subscription" in left),
    }
    if "additional_permitted_subscription" in left:
        sums["to the spouse"] = estate["chargeable"] == 0
        sums["additional subscription"] = pence(left["additional_permitted_subscription"]) == estate["isa"]
    if "heirs" in left:
        heirs, pension = left["heirs"], {name: pence(amount) for name, amount in left["heirs"]["pension"].items()}
        from_free, charity = pence(heirs["from_free_estate"]), pence(heirs["to_charity"])
        rate = round(beneficiary_tax_rate * 10_000)
        sums |= {
            "receive": pence(heirs["receive"]) == from_free + pension["net"],
            "from the free estate": from_free == estate["free_estate"] - charity - tax["on_free_estate"],
            "charity": charity == estate["exempt"],
            "pension": pension["amount"]
            == estate["unused_pension"]
            == pension["inheritance_tax"] + pension["tax_free"] + pension["taxable"],
            "tax on the pension": pension["inheritance_tax"] == tax["on_pension"],
            "income tax": pension["income_tax"] == (pension["taxable"] * rate + 5_000) // 10_000,
            "net": pension["net"] == pension["amount"] - pension["inheritance_tax"] - pension["income_tax"],
        }
    return [name for name, holds in sums.items() if not holds]


def orders_that_fail(answer: dict[str, Any]) -> list[str]:
    """Return the names of the orders of a comparison that are not the options in order."""
    possible = {k: option for k, option in enumerate(answer["options"]) if option["possible"]}
    wealth = {k: pence(option["totals"]["wealth_after_tax"]) for k, option in possible.items()}
    orders = {
        "wealth": (answer["ranking"]["wealth_after_tax"], wealth, -1),
        "tax": (
            answer["ranking"]["income_tax"],
            {k: pence(option["totals"]["income_tax"]) for k, option in possible.items()},
            1,
        ),
    }
    for j, order in enumerate(answer["ranking"]["heirs"]):
        deaths = {k: option["deaths"][j] for k, option in possible.items()}
        received = {k: pence(death["heirs_receive"]) for k, death in deaths.items() if death["possible"]}
        orders[f"heirs of death {j}"] = (order, received, -1)
    failed = []
    for name, (order, amounts, sign) in orders.items():
        found = [(placed["option"], pence(placed["amount"])) for placed in order]
        if found != sorted(amounts.items(), key=lambda one: (sign * one[1], one[0])):
            failed.append(f"order by {name}")
    for name, order in answer["ranking"].get("scenarios", {}).items():
        keys = [(-pence(placed["amount"]), placed["option"]) for placed in order]
        if keys != sorted(keys) or not {option for _, option in keys} <= set(range(len(answer["options"]))):
            failed.append(f"order in scenario {name}")
    return failed


def break_evens_that_fail(answer: dict[str, Any]) -> list[str]:
    """Return the names of what does not hold of the places at which options change places."""
    found, assumed = answer["break_evens"], answer["assumptions"]
    possible = [k for k, option in enumerate(answer["options"]) if option["possible"]]
    failed = []
    if [pair["options"] for pair in found["pairs"]] != [list(pair) for pair in combinations(possible, 2)]:
        failed.append("pairs")
    for pair in found["pairs"]:
        first, second = pair["options"]
        rates = [change["pension_growth"] for change in pair["growth"]["at"]]
        days = [change["date"] for change in pair["age"]["at"]]
        holds = {
            "growth within the range": all(found["growth_from"] <= rate <= found["growth_to"] for rate in rates),
            "rates in order": rates == sorted(set(rates)),
            "growth moves together": all(
                round((change["isa_growth"] - assumed["isa_growth"]) * 10**8)
                == round((change["pension_growth"] - assumed["pension_growth"]) * 10**8)
                for change in pair["growth"]["at"]
            ),
            "growth changes the lead": all(
                {change["more_below"], change["more_above"]} == {first, second} for change in pair["growth"]["at"]
            ),
            "days in order": days == sorted(set(days)) and all(answer["from"] <= day <= answer["to"] for day in days),
            "the other leads": all(
                change["more_from_then_on"] == (first if change["difference"] > 0 else second)
                for change in pair["age"]["at"]
            ),
            "changes where there are any": [pair[way]["status"] == "changes" for way in ("growth", "age")]
            == [bool(pair[way]["at"]) for way in ("growth", "age")],
        }
        failed += [f"{name} of {first} and {second}" for name, held in holds.items() if not held]
    return failed


schema = schemathesis.openapi.from_path(DOCUMENT_PATH, config=CONFIG)
schema.app = create_app(Settings.for_tests())


@schema.parametrize()
@settings(suppress_health_check=list(HealthCheck))
def test_generated_requests(case: schemathesis.Case) -> None:
    case.call_and_validate()


def test_journeys_along_the_links() -> None:
    schema.as_state_machine().run(
        settings=settings(
            max_examples=15,
            stateful_step_count=3,
            derandomize=True,
            database=None,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        )
    )


def planted(answer: dict[str, Any], *path: str, value: Any) -> dict[str, Any]:
    """Return the answer with one value changed."""
    key, *rest = path
    return {**answer, key: planted(answer[key], *rest, value=value) if rest else value}


@pytest.mark.parametrize(
    ("path", "name"),
    [
        (("withdrawal", "tax_free"), "parts"),
        (("income_tax", "total"), "total"),
        (("income_tax", "slices"), "slices"),
        (("net_after_tax",), "net"),
        (("payroll", "paid_out"), "paid out"),
    ],
)
def test_check_of_the_sums_finds_a_wrong_penny(path: tuple[str, ...], name: str) -> None:
    answer: dict[str, Any] = {
        "withdrawal": {"gross": 100.0, "tax_free": 25.0, "taxable": 75.0},
        "income_tax": {
            "on_other_income": 10.0,
            "on_withdrawal": 15.0,
            "total": 25.0,
            "slices": [{"tax": 15.0}],
        },
        "net_after_tax": 85.0,
        "payroll": {"paid_out": 80.0, "tax_deducted": 20.0, "over_deducted": 5.0, "under_deducted": 0.0},
    }
    assert sums_that_fail(answer) == []
    wrong: Any = [{"tax": 14.99}] if name == "slices" else 24.99
    assert sums_that_fail(planted(answer, *path, value=wrong)) == [name]


def values_of(node: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    """Yield the paths of all numbers of an answer, at every depth."""
    if isinstance(node, dict | list):
        for key, value in node.items() if isinstance(node, dict) else enumerate(node):
            yield from values_of(value, (*path, key))
    elif isinstance(node, int | float) and not isinstance(node, bool):
        yield path


# What no sum of the answer holds to another number of it: the model alone says what these are.
WITHOUT_A_SUM = {
    "assumptions",
    "scenarios",
    "warnings",
    "allowances",
    "in_todays_prices",
    "wealth_after_tax_in_todays_prices",
    "gain_in_todays_prices",
}


@pytest.mark.parametrize("name", ["corin_and_linnet_least_tax", "fern_fills_her_personal_allowance"])
def test_check_of_the_sums_of_a_plan_finds_a_wrong_penny(name: str) -> None:
    [plan] = [operation for operation in operations() if operation.id == "planAllowanceSchedule"]
    [answer] = [example for _, found, example in plan.response_examples_of("200") if found == name]
    assert sums_of_a_plan_that_fail(answer) == []
    unseen = []
    for path in values_of(answer):
        changed = copy.deepcopy(answer)
        here: Any = changed
        for key in path[:-1]:
            here = here[key]
        here[path[-1]] += 0.01
        if not sums_of_a_plan_that_fail(changed):
            unseen.append(path)
    assert [path for path in unseen if WITHOUT_A_SUM.isdisjoint(path)] == [
        ("compared_with", position, "income_tax") for position in range(2)
    ]


# What the model alone says, in a comparison: what a sum of the answer does not hold to another number of it.
OF_A_COMPARISON_WITHOUT_A_SUM = WITHOUT_A_SUM | {
    "above_allowance",
    "given_up",
    "tax_free_cash_left",
    "heirs_receive_in_todays_prices",
    "survivor",
    "brought_forward",
    "taper",
    "used_by_gifts",
    "available",
    "unused_share",
    "growth_from",
    "growth_to",
}


# Besides: a rate of no tax, what is available where nothing is forgone, wealth before the end, and the survivor's age.
@pytest.mark.parametrize(
    ("name", "besides"),
    [
        ("alder_and_bryony_now_or_in_stages", {"rate", "wealth_after_tax", "difference", "age"}),
        ("sorrel_before_and_after_6_april_2027", {"rate", "wealth_after_tax", "difference", "still_available"}),
    ],
)
def test_check_of_the_sums_of_a_comparison_finds_a_wrong_penny(name: str, besides: set[str]) -> None:
    [comparison] = [operation for operation in operations() if operation.id == "compareLumpSumTiming"]
    [answer] = [example for _, found, example in comparison.response_examples_of("200") if found == name]
    assert sums_of_a_comparison_that_fail(answer) == []
    unseen = []
    changed = copy.deepcopy(answer)
    for path in values_of(answer):
        here: Any = changed
        for key in path[:-1]:
            here = here[key]
        right = here[path[-1]]
        here[path[-1]] = right + 0.01
        if not sums_of_a_comparison_that_fail(changed) and OF_A_COMPARISON_WITHOUT_A_SUM.isdisjoint(path):
            unseen.append(path)
        here[path[-1]] = right
    assert {path[-1] for path in unseen} == besides
    assert not [path for path in unseen if "years" not in path and path[-1] == "wealth_after_tax"]

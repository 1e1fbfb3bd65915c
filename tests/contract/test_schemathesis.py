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
from service.http.problems import KINDS
from service.settings import Settings

from .agreement import JSON, NDJSON, STRICT, operations

# A body may keep to the agreement and still be impossible, such as a payment of more than the pot holds or a plan that
# ends before it starts. That is a 422 too, but not for its shape; the check below holds it to that.
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


# What fields say together, and which of the people and pensions listed are meant, no shape of the agreement says.
OF_THE_SHAPE = {*KINDS["invalid-request"].faults["schemas/problems.py"], "query"}
OF_SEVERAL_FIELDS = {
    code
    for module in ("schemas/together.py", "schemas/household.py", "schemas/places.py")
    for code in KINDS["invalid-request"].faults[module]
}


def is_of_the_shape(fault: dict[str, str]) -> bool:
    """Return whether a fault is one of a single field. One that is missing whatever the others say is shown by an example."""
    if fault["code"] in OF_SEVERAL_FIELDS:
        return "is required, for example" in fault["detail"]
    return fault["code"] in OF_THE_SHAPE


@schemathesis.serializer(NDJSON)
def json_lines(_: schemathesis.SerializationContext, value: Any) -> bytes:
    """A body as it is sent: text as it is, anything else as one line of JSON."""
    text = value if isinstance(value, str) else json.dumps(value)
    return text.encode("utf-8", "surrogatepass")


@schemathesis.check
def well_formed_body_is_never_refused_for_its_shape(
    ctx: schemathesis.CheckContext, response: schemathesis.Response, case: schemathesis.Case
) -> None:
    """A body that keeps to the agreement may be impossible to compute, but each fault of it is one that no shape can say."""
    if case.method == "POST" and case.media_type == JSON and response.status_code == 422 and is_well_formed(case):
        faults = response.json()["errors"]
        assert faults, response.text
        assert not [fault for fault in faults if is_of_the_shape(fault)], response.text


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
        "in the year": pence(payroll.get("deducted_in_year", 0)) - pence(payroll.get("due_in_year", 0))
        == pence(payroll["over_deducted"]) - pence(payroll["under_deducted"]),
        "curve": all(point_adds_up(point) for point in answer.get("curve", {}).get("points", ())),
    }
    return [name for name, holds in sums.items() if not holds]


def point_adds_up(point: dict[str, Any]) -> bool:
    """Return whether the parts of a point of the curve agree with one another."""
    parts = sum(pence(point.get(name, 0)) for name in ("tax_free", "taxable", "taxed_as_excess"))
    costs = pence(point["tax"]) + pence(point.get("lifetime_allowance_charge", 0))
    return pence(point["gross"]) == parts == pence(point["net"]) + costs


def counts_that_fail(answer: dict[str, Any]) -> list[str]:
    """Return the effects of which an answer with warnings counts more or fewer than it holds, or tells out of order."""
    effects = [warning["effect"] for warning in answer["warnings"]]
    wrong = [effect for effect, count in answer["counts"].items() if effects.count(effect) != count]
    # What is open to somebody who is ill stands before all else.
    rest = [one["effect"] for k, one in enumerate(answer["warnings"]) if one["code"] != "ill_health_route" or k > 1]
    in_order = sorted(rest, key=list(answer["counts"]).index)
    return wrong if rest == in_order else [*wrong, "order"]


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
            "withdrawn": pence(household["withdrawn"])
            == sum(pence(one["lump_sum"]) + drawn(one, "gross") for one in people),
            "income tax": pence(household["income_tax"]) == sum(pence(one["income_tax"]) for one in people),
            "subscribed": pence(household["isa_subscriptions"])
            == sum(pence(one["isa_subscription"]) for one in people),
            "moved": sum(pence(one["moved_from_partner"]) for one in people) == 0,
            "carried over": carried_over(before, people),
            "spent during the year": spent_during_the_year(year, plan["assumptions"]["spending_met"]),
            "wealth before tax": pence(household["wealth_before_tax"])
            == sum(pence(household[name]) for name in HELD_IN),
        }
        for name, where in HELD_IN.items():
            sums[name] = pence(household[name]) == sum(moved(one, where, "closing") for one in people)
        failed += [f"{name} in {year['tax_year']}" for name, holds in sums.items() if not holds]
        failed += [f"{name} in {year['tax_year']}" for person in people for name in sums_of_a_person_that_fail(person)]
        before = people
    failed += sums_at_the_start_that_fail(plan["at_start"], plan["years"][0]["people"])
    totals = plan["totals"]
    of_years = {
        "withdrawn": sum(pence(year["household"]["withdrawn"]) for year in plan["years"]),
        "income_tax": tax_so_far,
        "isa_subscriptions": sum(pence(year["household"]["isa_subscriptions"]) for year in plan["years"]),
        "spent": sum(pence(year["spending"]) for year in plan["years"]),
        **{name: pence(plan["years"][-1]["household"][name]) for name in HELD_IN},
    }
    failed += [f"{name} in all" for name, amount in of_years.items() if pence(totals[name]) != amount]
    held = sum(pence(totals[name]) for name in ("in_pensions", "in_isas", "in_cash"))
    if held - pence(totals["tax_assumed_on_remaining_pension"]) != pence(totals["wealth_after_tax"]):
        failed.append("tax on what is left")
    if [pence(at["wealth_after_tax"]) for at in totals["wealth_at_flat_rates"] if not at["rate"]] != [held]:
        failed.append("what is left untaxed")
    if pence(totals["withdrawn"]) != pence(totals["tax_free"]) + pence(totals["taxable"]):
        failed.append("parts in all")
    for other in plan["compared_with"]:
        if other["outcome"] == "found":
            gain = pence(totals["wealth_after_tax"]) - pence(other["wealth_after_tax"])
            if pence(other["gain"]) != gain:
                failed.append(f"gain over {other['plan']}")
            if "beneficiaries_receive" in other:
                gain = pence(plan["proof"]["beneficiaries_receive"]) - pence(other["beneficiaries_receive"])
                if pence(other["gain_to_beneficiaries"]) != gain:
                    failed.append(f"gain to beneficiaries over {other['plan']}")
    if "proof" in plan:
        proof = plan["proof"]
        if pence(proof["wealth_after_tax"]) != pence(totals["wealth_after_tax"]):
            failed.append("wealth after tax")
        worth = pence(proof.get("beneficiaries_receive", proof["wealth_after_tax"]))
        if "beneficiaries_receive" in proof and worth != pence(plan["estate_at_the_end"]["beneficiaries_receive"]):
            failed.append("beneficiaries_receive")
        if pence(proof["gap"]) != pence(proof["bound"]) - worth:
            failed.append("gap")
        if "equally_good" in proof:
            equal = {name: pence(amount) for name, amount in proof["equally_good"].items()}
            if equal["within"] != 100 * len(plan["years"]) or not 0 <= equal["given_up"] <= equal["within"]:
                failed.append("equally good")
            if not 0 <= equal["least_left_in_pensions"] <= equal["most_left_in_pensions"]:
                failed.append("left by plans as good")
    return failed


def spent_during_the_year(year: dict[str, Any], met: str) -> bool:
    """Whether what income and lump sums do not cover is paid during the year, or else all that is drawn is."""
    people = year["people"]
    received = sum(
        pence(one["income_received"])
        + pence(one["lump_sum"])
        + in_small_pots(one)
        - pence(paid_into_pensions(one)["own_money"])
        for one in people
    )
    needed = max(0, pence(year["spending"]) - received) if met != "end" else 0
    early = [{name: pence(amount) for name, amount in one["spent_during_year"].items()} for one in people]
    paid_out = [
        (one["from_pension"] - drawn(person, "gross"), one["from_isas"] - pence(person["isa_withdrawal"]))
        for one, person in zip(early, people, strict=True)
    ]
    in_all = sum(sum(one.values()) for one in early)
    everything_is = all(pension == isas == 0 for pension, isas in paid_out)
    return (in_all == needed or (in_all < needed and everything_is)) and all(max(over) <= 0 for over in paid_out)


def sums_at_the_start_that_fail(start: dict[str, Any], people: list[dict[str, Any]]) -> list[str]:
    """Return the names of the amounts of the row before the first year that differ from what everybody begins it with."""
    household = start["household"]
    failed = []
    for name, where in HELD_IN.items():
        held = [moved(one, where, "opening") for one in people]
        if [pence(one[name]) for one in start["people"]] != held or pence(household[name]) != sum(held):
            failed.append(f"{name} at the start")
    if pence(household["wealth_before_tax"]) != sum(pence(household[name]) for name in HELD_IN):
        failed.append("wealth before tax at the start")
    return failed


HELD_IN = {"in_pensions": "pensions", "in_isas": "isa", "in_cash": "cash"}
"""What the household holds, and of which balances of its people that is the sum."""


def drawn(person: dict[str, Any], part: str) -> int:
    """Return what a person withdraws from all pensions, or a part of it, in pence."""
    return sum(pence(withdrawal[part]) for withdrawal in person["withdrawals"])


def in_small_pots(person: dict[str, Any]) -> int:
    """Return what of a person's withdrawals are small pots, in pence."""
    return sum(pence(one["gross"]) for one in person["withdrawals"] if one.get("small_pot"))


def moved(person: dict[str, Any], where: str, how: str) -> int:
    """Return one amount of a person's balances in pence: of all pensions, of the ISAs, of cash."""
    balances = person[where] if where == "pensions" else [person[where]]
    return sum(pence(balance[how]) for balance in balances)


def carried_over(before: list[dict[str, Any]], people: list[dict[str, Any]]) -> bool:
    """Return whether everybody begins a tax year with what they ended the last one with, and at most a year older."""
    return all(
        moved(one, where, "opening") == moved(earlier, where, "closing") and one["age"] - earlier["age"] in (0, 1)
        for one, earlier in zip(people, before, strict=False)
        for where in HELD_IN.values()
    )


def sums_of_a_person_that_fail(person: dict[str, Any]) -> list[str]:
    """Return the names of the sums of one person's tax year, of a plan, that do not hold."""
    cash, partner = person["cash"], pence(person["moved_from_partner"])
    came = pence(person["lump_sum"]) + drawn(person, "gross") + pence(person["income_received"])
    went = pence(person["income_tax"]) + pence(person["spent"]) + pence(person["isa_subscription"])
    went += pence(paid_into_pensions(person)["own_money"])
    sums = {
        "interest": pence(person["interest"]) == pence(cash["interest"]),
        "into cash": pence(cash["paid_in"]) == came + pence(person["isa_withdrawal"]) + max(0, partner),
        "out of cash": pence(cash["paid_out"]) == went + max(0, -partner),
    }
    return [*balances_that_fail(person), *(name for name, holds in sums.items() if not holds)]


def paid_into_pensions(person: dict[str, Any]) -> dict[str, float]:
    """What is paid into a person's pensions in a tax year, and what of it they pay themselves."""
    paid: dict[str, float] = person.get("contributions", {"paid_in": 0, "own_money": 0})
    return paid


def sums_of_a_comparison_that_fail(answer: dict[str, Any]) -> list[str]:
    """Return the names of the sums of a comparison of options that do not hold."""
    failed: list[str] = []
    for k, option in enumerate(answer["options"]):
        if option["option"] != k:
            failed.append(f"place of option {k}")
        if option["outcome"] == "found":
            failed += [f"{name} in option {k}" for name in sums_of_an_option_that_fail(option)]
            for death in option["deaths"]:
                if death["outcome"] == "found":
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
        tax_free_so_far += sum(pence(one["lump_sum"]) + drawn(one, "tax_free") for one in people)
        sums = {
            "income tax": pence(household["income_tax"]) == sum(pence(one["income_tax"]) for one in people),
            "tax so far": pence(household["income_tax_so_far"]) == tax_so_far,
            "tax-free cash so far": pence(household["tax_free_cash_so_far"]) == tax_free_so_far,
            "waiting": pence(household["in_cash"]) == sum(pence(one["cash"]["closing"]) for one in people),
            "moved": sum(pence(one["moved_from_partner"]) for one in people) == 0,
            "carried over": carried_over(before, people),
        }
        failed += [f"{name} in {year['tax_year']}" for name, holds in sums.items() if not holds]
        failed += [f"{name} in {year['tax_year']}" for one in people for name in balances_that_fail(one)]
        before = people
    last = years[-1]
    of_years = {
        "tax_free_cash": tax_free_so_far,
        "withdrawn": sum(moved(one, "pensions", "paid_out") for year in years for one in year["people"]),
        "income_tax": tax_so_far,
        "interest_on_waiting_cash": sum(pence(one["cash"]["interest"]) for year in years for one in year["people"]),
        "tax_on_interest": sum(pence(one["tax_on_interest"]) for year in years for one in year["people"]),
        "most_cash_waiting": max(pence(year["household"]["in_cash"]) for year in years),
        "spent": sum(pence(one["spent"]) for year in years for one in year["people"]),
        **{name: sum(moved(one, where, "closing") for one in last["people"]) for name, where in HELD_IN.items()},
        **{name: pence(last["household"][name]) for name in last["household"] if name.startswith("wealth")},
    }
    failed += [f"{name} in all" for name, amount in of_years.items() if pence(totals[name]) != amount]
    for i, person in enumerate(totals["people"]):
        failed += totals_of_a_person_that_fail(person, [year["people"][i] for year in years])
    return failed


def balances_that_fail(person: dict[str, Any]) -> list[str]:
    """Return the names of the sums of one person's tax year, of a plan or an option, that do not hold."""
    isa, cash = person["isa"], person["cash"]
    paid = paid_into_pensions(person)
    gross, lump_sum = drawn(person, "gross"), pence(person["lump_sum"])
    came = lump_sum + gross + pence(person["income_received"]) + pence(person["isa_withdrawal"])
    went = pence(person["income_tax"]) + pence(person["spent"]) + pence(person["isa_subscription"])
    went += pence(paid["own_money"])
    sums = {
        "places": [withdrawal["pension"] for withdrawal in person["withdrawals"]]
        == [pension["pension"] for pension in person["pensions"]]
        == list(range(len(person["pensions"]))),
        "parts": all(
            pence(one["gross"]) == pence(one["tax_free"]) + pence(one["taxable"]) for one in person["withdrawals"]
        ),
        "funds": all(
            pence(one["gross"]) == pence(one["from_uncrystallised"]) + pence(one["from_drawdown"])
            for one in person["withdrawals"]
        ),
        "out of the pension": moved(person, "pensions", "paid_out") == lump_sum + gross,
        "into the pension": moved(person, "pensions", "paid_in") == pence(paid["paid_in"]),
        "funds left": all(
            pence(one["closing"]) == pence(one["uncrystallised"]) + pence(one["drawdown"]) for one in person["pensions"]
        ),
        "into the isa": pence(isa["paid_in"]) == pence(person["isa_subscription"]),
        "out of the isa": pence(isa["paid_out"]) == pence(person["isa_withdrawal"]),
        "through cash": pence(cash["paid_in"]) - pence(cash["paid_out"])
        == came - went + pence(person["moved_from_partner"]),
    }
    balances = (("isa", isa, "growth"), ("cash", cash, "interest"))
    for where, balance, growth in (*(("pension", one, "growth") for one in person["pensions"]), *balances):
        held = {name: pence(amount) for name, amount in balance.items()}
        sums[f"{where} left"] = held["closing"] == held["opening"] + held[growth] + held["paid_in"] - held["paid_out"]
    return [name for name, holds in sums.items() if not holds]


def totals_of_a_person_that_fail(person: dict[str, Any], years: list[dict[str, Any]]) -> list[str]:
    """Return the names of one person's totals of an option that are not those of the years."""
    parts = person["tax_free_cash_parts"]
    tax_free = {name: pence(amount) for name, amount in parts.items() if name[-3:] != "_in"}
    limited = [year["allowances"]["money_purchase_annual_allowance"] for year in years]
    triggering = next((year for year in limited if year["triggered"]), None)
    in_all = person["money_purchase_annual_allowance"]
    sums = {
        "received": pence(person["tax_free_cash"]) == tax_free["in_lump_sums"] + tax_free["with_withdrawals"],
        "lump sums": tax_free["in_lump_sums"] == sum(pence(year["lump_sum"]) for year in years),
        "with withdrawals": tax_free["with_withdrawals"] == sum(drawn(year, "tax_free") for year in years),
        "forgone": tax_free["forgone"]
        == max(0, tax_free["if_left_to_the_end"] - pence(person["tax_free_cash"]) - tax_free["still_available"]),
        "own tax": pence(person["income_tax"]) == sum(pence(year["income_tax"]) for year in years),
        "own interest": pence(person["interest_on_waiting_cash"])
        == sum(pence(year["cash"]["interest"]) for year in years),
        "own tax on interest": pence(person["tax_on_interest"])
        == sum(pence(year["tax_on_interest"]) for year in years),
        "own cash": pence(person["most_cash_waiting"]) == max(pence(year["cash"]["closing"]) for year in years),
        "triggered": in_all["triggered"] == (triggering is not None) and in_all["applies"] == limited[-1]["applies"],
        "triggered when": all(in_all.get(key) == (triggering or {}).get(key) for key in ("from", "tax_year")),
    }
    return [name for name, holds in sums.items() if not holds]


def sums_of_a_death_that_fail(death: dict[str, Any], beneficiary_tax_rate: float) -> list[str]:
    """Return the names of the sums of one death asked about that do not hold."""
    estates = death["estates"]
    received = [left["beneficiaries"] for left in estates if left["passes_to"] == "beneficiaries"]
    sums = {
        "received": pence(death["beneficiaries_receive"]) == sum(pence(one["total"]) for one in received),
        "all tax": pence(death["inheritance_tax"]) == sum(pence(left["inheritance_tax"]) for left in estates),
        "beneficiaries' tax": pence(death["beneficiaries_income_tax"])
        == sum(pence(one["pension_money"]["income_tax"]) for one in received),
        "asked": (death["person"], death["age"]) == (estates[0]["person"], estates[0]["age"]),
        "survivor": [left["person"] for left in estates[1:]] in ([], [1 - death["person"]])
        and death.get("survivor_age", estates[-1]["age"]) == estates[-1]["age"],
    }
    failed = [name for name, holds in sums.items() if not holds]
    for left in estates:
        failed += [f"{name} on {left['date']}" for name in sums_of_an_estate_that_fail(left, beneficiary_tax_rate)]
    return failed


def sums_of_an_estate_that_fail(left: dict[str, Any], beneficiary_tax_rate: float) -> list[str]:
    """Return the names of the sums of what one person leaves that do not hold."""
    estate = {name: pence(amount) for name, amount in left["estate"].items()}
    parts = left["inheritance_tax_parts"]
    tax = {name: pence(amount) for name, amount in parts.items() if name != "rate"}
    total = pence(left["inheritance_tax"])
    bands = [left[name] for name in ("residence_nil_rate_band", "nil_rate_band")]
    counted = estate["unused_pension"] if left["estate"]["pension_in_estate"] else 0
    sums = {
        "free estate": estate["free_estate"]
        == estate["in_isas"] + estate["in_cash"] + estate["home"] + estate["other_assets"] - estate["debts"],
        "value": estate["value"] == estate["free_estate"] + counted,
        "chargeable": estate["chargeable"] == estate["value"] - estate["exempt"],
        "taxable": tax["taxable"] == estate["chargeable"] - sum(pence(band["used"]) for band in bands),
        "within the bands": all(band["used"] <= band["available"] for band in bands),
        "tax": total == tax["taxable"] * round(parts["rate"] * 10_000) // 10_000,
        "parts of the tax": total == tax["on_free_estate"] + tax["on_pension"],
        "only one receives": ("beneficiaries" in left) != ("additional_permitted_subscription" in left),
    }
    if "additional_permitted_subscription" in left:
        sums["to the spouse"] = estate["chargeable"] == 0
        sums["additional subscription"] = pence(left["additional_permitted_subscription"]) == estate["in_isas"]
    if "beneficiaries" in left:
        received = left["beneficiaries"]
        pension = {name: pence(amount) for name, amount in received["pension_money"].items()}
        from_free, charity = pence(received["from_free_estate"]), pence(received["to_charity"])
        rate = round(beneficiary_tax_rate * 10_000)
        sums |= {
            "received": pence(received["total"]) == from_free + pension["net"],
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
    possible = {k: option for k, option in enumerate(answer["options"]) if option["outcome"] == "found"}
    wealth = {k: pence(option["totals"]["wealth_after_tax"]) for k, option in possible.items()}
    orders = {
        "wealth": (answer["ranking"]["wealth_after_tax"], wealth, -1),
        "tax": (
            answer["ranking"]["income_tax"],
            {k: pence(option["totals"]["income_tax"]) for k, option in possible.items()},
            1,
        ),
    }
    for j, order in enumerate(answer["ranking"]["beneficiaries"]):
        deaths = {k: option["deaths"][j] for k, option in possible.items()}
        found_for = {k: death for k, death in deaths.items() if death["outcome"] == "found"}
        received = {k: pence(death["beneficiaries_receive"]) for k, death in found_for.items()}
        orders[f"beneficiaries of death {j}"] = (order, received, -1)
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
    possible = [k for k, option in enumerate(answer["options"]) if option["outcome"] == "found"]
    low, high = found["growth"]["low"], found["growth"]["high"]
    # Of pensions that grow differently the rate told is their average, which is rounded with the shift and without it.
    on_average = found["growth"].get("assumed_on_average", assumed["pension_growth"])
    rounded_twice = 1.5e-8 if "assumed_on_average" in found["growth"] else 5e-9
    failed = []
    if [pair["options"] for pair in found["pairs"]] != [list(pair) for pair in combinations(possible, 2)]:
        failed.append("pairs")
    for pair in found["pairs"]:
        first, second = pair["options"]
        rates = [change["pension_growth"] for change in pair["growth"]["changes"]]
        days = [change["date"] for change in pair["age"]["changes"]]
        holds = {
            "growth within the range": all(low <= rate <= high for rate in rates),
            "rates in order": rates == sorted(set(rates)),
            "growth moves together": all(
                abs((change["isa_growth"] - assumed["isa_growth"]) - (change["pension_growth"] - on_average))
                <= rounded_twice
                for change in pair["growth"]["changes"]
            ),
            "growth changes the lead": all(
                {change["more_below"], change["more_above"]} == {first, second} for change in pair["growth"]["changes"]
            ),
            "days in order": days == sorted(set(days)) and all(answer["from"] <= day <= answer["to"] for day in days),
            "the other leads": all(
                change["more_from_then_on"] == (first if change["difference"] > 0 else second)
                for change in pair["age"]["changes"]
            ),
            "age on that day": all(
                change["age_then"] in ages_around(answer["options"][first], change["date"])
                for change in pair["age"]["changes"]
            ),
            "changes where there are any": [pair[way]["outcome"] == "changes" for way in ("growth", "age")]
            == [bool(pair[way]["changes"]) for way in ("growth", "age")],
        }
        failed += [f"{name} of {first} and {second}" for name, held in holds.items() if not held]
    return failed


def ages_around(option: dict[str, Any], day: str) -> tuple[int, int]:
    """Return how old the first person may be on a day, by their age at the end of its tax year."""
    [age] = [year["people"][0]["age"] for year in option["years"] if year["from"] <= day <= year["to"]]
    return age - 1, age


schema = schemathesis.openapi.from_dict(STRICT, config=CONFIG)
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
        (("payroll", "due_in_year"), "in the year"),
        (("curve", "points"), "curve"),
    ],
)
def test_check_of_the_sums_finds_a_wrong_penny(path: tuple[str, ...], name: str) -> None:
    point = {"gross": 40.0, "tax_free": 10.0, "taxable": 30.0, "tax": 6.0, "net": 34.0}
    answer: dict[str, Any] = {
        "withdrawal": {"gross": 100.0, "tax_free": 25.0, "taxable": 75.0},
        "income_tax": {
            "on_other_income": 10.0,
            "on_withdrawal": 15.0,
            "total": 25.0,
            "slices": [{"tax": 15.0}],
        },
        "net_after_tax": 85.0,
        "payroll": {
            "paid_out": 80.0,
            "tax_deducted": 20.0,
            "deducted_in_year": 20.0,
            "due_in_year": 15.0,
            "over_deducted": 5.0,
            "under_deducted": 0.0,
        },
        "curve": {"points": [point]},
    }
    assert sums_that_fail(answer) == []
    wrong = {"slices": [{"tax": 14.99}], "curve": [{**point, "net": 33.99}]}.get(name, 24.99)
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
    "events",
    "given_up_at_tax_steps",
    "given_up",
    "least_left_in_pensions",
    "most_left_in_pensions",
    "wealth_at_flat_rates",
    "allowances",
    "wealth_before_tax_in_prices_of_start",
    "wealth_after_tax_in_prices_of_start",
    "gain_in_prices_of_start",
}


@pytest.mark.parametrize("name", ["corin_and_linnet_most_after_tax", "fern_fills_her_personal_allowance"])
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
    "beneficiaries_receive_in_prices_of_start",
    "survivor",
    "brought_forward",
    "taper",
    "used_by_gifts",
    "available",
    "unused_share",
    "low",
    "high",
}


# Besides: a rate of no tax, what is available where nothing is forgone, and wealth before the end.
@pytest.mark.parametrize(
    ("name", "besides"),
    [
        ("alder_and_bryony_now_or_in_stages", {"rate", "wealth_after_tax", "difference"}),
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

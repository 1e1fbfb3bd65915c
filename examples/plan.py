"""Print a readable plan of pension withdrawals over tax years, computed by a running service.

    python examples/plan.py examples/requests/plan-couple-most-after-tax.json [http://127.0.0.1:8000]

Exit status: 0 when a plan was printed, 1 when the service answered with a problem or could not be reached.
"""

from __future__ import annotations

import json
import sys
import textwrap
from datetime import date
from pathlib import Path
from typing import Any

import requests

USE = "python examples/plan.py REQUEST.json [http://127.0.0.1:8000]"
WIDTH = 116
GOALS = {
    "personal_allowance": "fill the personal allowance each tax year",
    "basic_rate_band": "fill the basic rate band each tax year",
    "higher_rate_band": "fill the higher rate band each tax year",
    "most_after_tax": "leave the most after tax",
}
LUMP_SUMS = {
    "with_each_withdrawal": "tax-free part with each withdrawal",
    "all_now": "all tax-free cash at once",
    "never": "no tax-free cash",
}
STOPPED_BY = {
    "gap": "The search ended because nothing more is to be gained.",
    "work_limit": "The search ended with its limit of work; a longer one might find more.",
    "search_complete": "The search ended with nothing left to look at.",
}
PLANS = {
    "pension_left_until_state_pension_age": "pension left until State Pension age",
    "personal_allowance_filled": "personal allowance filled each tax year",
}


def pounds(amount: float) -> str:
    """Whole pounds, for a table; a dash for nothing."""
    return f"{amount:,.0f}" if round(amount) else "-"


def money(amount: float) -> str:
    """Pounds and pence."""
    return f"{'-' if amount < 0 else ''}£{abs(amount):,.2f}"


def line(label: str, amount: float, beside: str = "") -> str:
    """One line of sums: what, how much, and a remark."""
    return f"  {label:<48}{money(amount):>16}{f'  {beside}' if beside else ''}"


def paragraph(text: str, indent: str = "  ") -> list[str]:
    """A text as lines that fit the page."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def prices(plan: dict[str, Any]) -> str:
    """The prices that the plan starts with, by their month."""
    return f"the prices of {date.fromisoformat(plan['years'][0]['from']):%B %Y}"


def drawn(person: dict[str, Any]) -> float:
    """What a person takes from all pensions in a tax year, a lump sum included."""
    return float(person["lump_sum"] + sum(withdrawal["gross"] for withdrawal in person["withdrawals"]))


def table(plan: dict[str, Any]) -> list[str]:
    """The plan with one line a tax year, in whole pounds."""
    people = len(plan["years"][0]["people"])
    who = ["1st draws", "2nd draws"] if people > 1 else ["drawn"]
    width = 4 + 3 * (people - 1)
    heads = [*who, "tax", "into ISA", "from ISA", "spent", "pension", "ISA", "cash"]
    first = f"  {'tax year':<9}{'age' if people == 1 else 'ages':>{width}}"
    lines = [first + "".join(f"{head:>11}" for head in heads)]
    for year in plan["years"]:
        ages = "/".join(str(person["age"]) for person in year["people"])
        household = year["household"]
        amounts = [
            *(drawn(person) for person in year["people"]),
            household["income_tax"],
            household["isa_subscriptions"],
            sum(person["isa_withdrawal"] for person in year["people"]),
            year["spending"],
            household["in_pensions"],
            household["in_isas"],
            household["in_cash"],
        ]
        start = f"  {year['tax_year']:<9}{ages:>{width}}"
        lines.append(start + "".join(f"{pounds(amount):>11}" for amount in amounts))
    return lines


def beyond(gain: float) -> str:
    """How much more than another this plan leaves, in words."""
    if gain == 0:
        return "this plan leaves the same"
    return f"this plan leaves {money(abs(gain))} {'more' if gain > 0 else 'less'}"


def compared(plan: dict[str, Any]) -> list[str]:
    """What this plan leaves beyond the plainer ones."""
    lines = []
    for other in plan["compared_with"]:
        name = PLANS.get(other["plan"], other["plan"].replace("_", " "))
        if other["outcome"] == "found":
            lines.append(line(name, other["wealth_after_tax"], beyond(other["gain"])))
        else:
            lines += paragraph(f"{name}: not possible. {other['reason']}")
    return lines


def scenarios(plan: dict[str, Any]) -> list[str]:
    """What is left under other assumptions."""
    lines = []
    for name, found in plan.get("scenarios", {}).items():
        if found["outcome"] == "found":
            totals = found["totals"]
            lines.append(line(name, totals["wealth_after_tax"], f"income tax {money(totals['income_tax'])}"))
        else:
            lines += paragraph(f"{name}: not possible. {found['reason']}")
    return lines


def proved(plan: dict[str, Any]) -> list[str]:
    """How close to the best a plan for the most after tax is."""
    proof = plan["proof"]
    ended = STOPPED_BY.get(proof["stopped_by"], "")
    if not proof["proven"]:
        near = f"Another plan might leave about {money(proof['bound'])}, {money(proof['gap'])} beyond this; it is not proved."
        return paragraph(f"{near} {ended}")
    most = f"No plan of the same model leaves more than {money(proof['bound'])}, {money(proof['gap'])} beyond this."
    return [*paragraph(f"{most} {ended}"), *paragraph(proof["leaves_out"])]


def printed(plan: dict[str, Any]) -> str:
    """The plan as text: tax year by tax year, then its sums, its rivals, its proof, and points to note."""
    assumed, totals, first, last = plan["assumptions"], plan["totals"], plan["years"][0], plan["years"][-1]
    lines = [
        f"Plan from {first['from']} to {last['to']}: {GOALS[plan['aim']['goal']]}; {LUMP_SUMS[plan['lump_sums']]}",
        f"Assumed a year: pension {assumed['pension_growth']:+.2%}, ISA {assumed['isa_growth']:+.2%}, "
        f"cash {assumed['cash_interest']:+.2%}, prices {assumed['price_inflation']:+.2%}; "
        f"tax on what is left in the pension {assumed['tax_rate_on_remaining_pension']:.2%}",
        "",
        "Whole pounds; ages and balances at the end of each tax year:",
        *table(plan),
        "",
        "In all",
        line("drawn from pensions", totals["withdrawn"], f"of it tax free {money(totals['tax_free'])}"),
        line("income tax", totals["income_tax"]),
        line("into ISAs", totals["isa_subscriptions"]),
        line("spent", totals["spent"]),
        line("left after tax", totals["wealth_after_tax"]),
        line(f"the same in {prices(plan)}", totals["wealth_after_tax_in_prices_of_start"]),
        "",
        "Left after tax by plainer plans",
        *compared(plan),
    ]
    if "scenarios" in plan:
        lines += ["", "Left after tax in other scenarios", *scenarios(plan)]
    if "proof" in plan:
        lines += ["", "How good it is", *proved(plan)]
    if plan["warnings"]:
        lines += ["", "Points to note"]
        for warning in plan["warnings"]:
            told = [f"{warning['title']}. {warning['detail']}", *warning.get("caveats", [])]
            lines += paragraph(" ".join(told))
    return "\n".join([*lines, "", *paragraph(plan["notice"], "")])


def answered(file: str, base: str, path: str) -> dict[str, Any]:
    """What the service answers to the request in a file. SystemExit, with what went wrong, where it gives no answer."""
    if not base.startswith(("http://", "https://")):
        raise SystemExit(f"The address {base} must begin with http:// or https://.")
    try:
        request = json.loads(Path(file).read_text(encoding="utf-8"))
    except OSError as error:
        raise SystemExit(f"{file} cannot be read: {error.strerror}.") from None
    except ValueError:
        raise SystemExit(f"{file} is not JSON.") from None
    try:
        response = requests.post(f"{base.rstrip('/')}{path}", json=request, timeout=60)
        answer: dict[str, Any] = response.json()
    except requests.JSONDecodeError:
        raise SystemExit(f"What answers at {base} is not this service.") from None
    except requests.RequestException:
        raise SystemExit(f"No service answers at {base}. Start it first; README.md says how.") from None
    if response.status_code != 200:
        faults = [f"  {fault['pointer']}: {fault['detail']}" for fault in answer.get("errors", ())]
        raise SystemExit("\n".join([f"{answer['title']}: {answer['detail']}", *faults]))
    return answer


def main(arguments: list[str]) -> int:
    """Read a request file, ask the service, print the plan."""
    if "--help" in arguments or not 1 <= len(arguments) <= 2:
        print(USE)
        return 0 if "--help" in arguments else 1
    file, base = arguments if len(arguments) == 2 else (arguments[0], "http://127.0.0.1:8000")
    print(printed(answered(file, base, "/v1/allowance-schedule")))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

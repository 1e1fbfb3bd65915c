"""Print a readable plan of pension withdrawals over tax years, computed by a running service.

    python examples/plan.py examples/requests/plan-couple-least-tax.json [http://127.0.0.1:8000]

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

WIDTH = 116
AIMS = {
    "personal_allowance": "fill the personal allowance each tax year",
    "basic_rate_band": "fill the basic rate band each tax year",
    "higher_rate_band": "fill the higher rate band each tax year",
    "least_tax": "the least tax",
}
LUMP_SUMS = {
    "with_each_withdrawal": "tax-free part with each withdrawal",
    "first": "tax-free lump sum first",
    "none": "no tax-free lump sums",
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


def age(born: str, day: str) -> int:
    """The age of somebody born on a day, on another day."""
    birth, now = date.fromisoformat(born), date.fromisoformat(day)
    return now.year - birth.year - ((now.month, now.day) < (birth.month, birth.day))


def table(request: dict[str, Any], plan: dict[str, Any]) -> list[str]:
    """The plan with one line a tax year, in whole pounds."""
    people = request["people"]
    drawn = ["drawn A", "drawn B"] if len(people) > 1 else ["drawn"]
    width = 4 + 3 * (len(people) - 1)
    heads = [*drawn, "tax", "into ISA", "from ISA", "spent", "pension", "ISA", "cash"]
    first = f"  {'tax year':<9}{'age':>{width}}"
    lines = [first + "".join(f"{head:>11}" for head in heads)]
    for year in plan["years"]:
        ages = "/".join(str(age(person["date_of_birth"], year["to"])) for person in people)
        household = year["household"]
        amounts = [
            *(person["withdrawal"]["gross"] for person in year["people"]),
            household["income_tax"],
            household["isa_subscriptions"],
            sum(person["isa_withdrawal"] for person in year["people"]),
            year["spending"],
            household["pension"],
            household["isa"],
            household["cash"],
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
        if other["possible"]:
            lines.append(line(name, other["wealth_after_tax"], beyond(other["gain"])))
        else:
            lines += paragraph(f"{name}: not possible. {other['reason']}")
    return lines


def scenarios(plan: dict[str, Any]) -> list[str]:
    """What is left under other assumptions."""
    lines = []
    for name, found in plan.get("scenarios", {}).items():
        if "totals" in found:
            totals = found["totals"]
            lines.append(line(name, totals["wealth_after_tax"], f"income tax {money(totals['income_tax'])}"))
        else:
            lines += paragraph(f"{name}: not possible. {found['reason']}")
    return lines


def proved(plan: dict[str, Any]) -> list[str]:
    """How close to the best a plan of the least tax is."""
    proof = plan["proof"]
    if not proof["holds"]:
        near = f"Another plan might leave about {money(proof['bound'])}, {money(proof['gap'])} beyond this; it is not proved."
        return paragraph(near)
    return [
        *paragraph(
            f"No plan of the same model leaves more than {money(proof['bound'])}, {money(proof['gap'])} beyond this."
        ),
        *paragraph(proof["leaves_out"]),
    ]


def printed(request: dict[str, Any], plan: dict[str, Any]) -> str:
    """The plan as text: tax year by tax year, then its sums, its rivals, its proof, and what to mind."""
    assumed, totals, first, last = plan["assumptions"], plan["totals"], plan["years"][0], plan["years"][-1]
    born = [person["date_of_birth"] for person in request["people"]]
    who = f"; A was born on {born[0]}, B on {born[1]}" if len(born) > 1 else ""
    lines = [
        f"Plan from {first['from']} to {last['to']}: {AIMS[plan['aim']['fill']]}; {LUMP_SUMS[plan['lump_sums']]}",
        f"Assumed a year: pension {assumed['pension_growth']:+.2%}, ISA {assumed['isa_growth']:+.2%}, "
        f"cash {assumed['cash_interest']:+.2%}, prices {assumed['price_inflation']:+.2%}; "
        f"tax on what is left in the pension {assumed['exit_tax_rate']:.2%}",
        "",
        f"Whole pounds; ages and balances at the end of each tax year{who}:",
        *table(request, plan),
        "",
        "In all",
        line("drawn from pensions", totals["withdrawn"], f"of it tax free {money(totals['tax_free'])}"),
        line("income tax", totals["income_tax"]),
        line("into ISAs", totals["isa_subscriptions"]),
        line("spent", totals["spent"]),
        line("left after tax", totals["wealth_after_tax"]),
        line("the same in prices of the start", totals["wealth_after_tax_in_todays_prices"]),
        "",
        "Left after tax by plainer plans",
        *compared(plan),
    ]
    if "scenarios" in plan:
        lines += ["", "Left after tax in other scenarios", *scenarios(plan)]
    if "proof" in plan:
        lines += ["", "How good it is", *proved(plan)]
    if plan["warnings"]:
        lines += ["", "Mind"]
        for warning in plan["warnings"]:
            told = [f"{warning['title']}. {warning['detail']}", *warning.get("caveats", [])]
            lines += paragraph(" ".join(told))
    return "\n".join([*lines, "", *paragraph(plan["notice"], "")])


def main(arguments: list[str]) -> int:
    """Read a request file, ask the service, print the plan."""
    if not 1 <= len(arguments) <= 2:
        print(__doc__, file=sys.stderr)
        return 1
    request = json.loads(Path(arguments[0]).read_text(encoding="utf-8"))
    base = arguments[1] if len(arguments) == 2 else "http://127.0.0.1:8000"
    try:
        response = requests.post(f"{base}/v1/allowance-schedule", json=request, timeout=60)
    except requests.ConnectionError:
        print(f"No service answers at {base}. Start it first; README.md says how.", file=sys.stderr)
        return 1
    answer = response.json()
    if response.status_code != 200:
        print(f"{answer['title']}: {answer['detail']}", file=sys.stderr)
        for fault in answer["errors"]:
            print(f"  {fault['pointer']}: {fault['detail']}", file=sys.stderr)
        return 1
    print(printed(request, answer))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

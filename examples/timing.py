"""Print ways to time the tax-free lump sum side by side, computed by a running service.

    python examples/timing.py examples/requests/timing-couple.json [http://127.0.0.1:8000]

Exit status: 0 when a comparison was printed, 1 when the service answered with a problem or could not be reached.
"""

from __future__ import annotations

import json
import sys
import textwrap
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import requests

WIDTH = 116
LABEL, COLUMN = 41, 15
MOST_COLUMNS = 5
TAKES = {
    "all_now": "all tax-free cash now",
    "phased": "tax-free cash in stages",
    "with_income": "tax-free cash with each withdrawal",
    "at_age": "all tax-free cash at an age",
    "never": "no tax-free cash",
}
FILLS = {
    "personal_allowance": "draw what fills the personal allowance",
    "basic_rate_band": "draw what fills the basic rate band",
    "higher_rate_band": "draw what fills the higher rate band",
    "spending_only": "draw only what is spent",
}
PEOPLE = {"first": "A", "second": "B"}

Cell = Callable[[dict[str, Any]], str]


def pounds(amount: float) -> str:
    """Whole pounds, for a table; a dash for nothing."""
    return f"{amount:,.0f}" if round(amount) else "-"


def money(amount: float) -> str:
    """Pounds and pence."""
    return f"{'-' if amount < 0 else ''}£{abs(amount):,.2f}"


def paragraph(text: str, indent: str = "  ", hanging: str = "") -> list[str]:
    """A text as lines that fit the page."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + hanging, break_on_hyphens=False)


def age(born: str, day: str) -> int:
    """The age of somebody born on a day, on another day."""
    birth, now = date.fromisoformat(born), date.fromisoformat(day)
    return now.year - birth.year - ((now.month, now.day) < (birth.month, birth.day))


def described(option: dict[str, Any]) -> str:
    """An option in words."""
    words = TAKES[option["take"]]
    if option["take"] == "at_age":
        words = f"all tax-free cash at {option['age']}"
    if option["take"] == "phased":
        yearly = option["yearly"]
        words += " that fit into ISAs" if yearly == "isa_room" else f" of {money(yearly)} a year"
    return f"{words}; {FILLS[option['aim']['fill']]}"


def columns(options: dict[int, dict[str, Any]]) -> Iterator[dict[int, dict[str, Any]]]:
    """The options that can be carried out, as many at a time as fit the page."""
    numbers = list(options)
    for start in range(0, len(numbers), MOST_COLUMNS):
        yield {number: options[number] for number in numbers[start : start + MOST_COLUMNS]}


def row(label: str, cells: list[str]) -> str:
    """One line of a table."""
    return f"  {label:<{LABEL}}" + "".join(f"{cell:>{COLUMN}}" for cell in cells)


def table(options: dict[int, dict[str, Any]], rows: dict[str, Cell], heading: str = "option") -> list[str]:
    """Lines by name, options in columns."""
    lines: list[str] = []
    for some in columns(options):
        lines += [""] if lines else []
        lines.append(row(heading, [str(number) for number in some]))
        lines += [row(label, [cell(option) for option in some.values()]) for label, cell in rows.items()]
    return lines


def of_totals(*path: str | int) -> Cell:
    """A cell with one of the amounts of an option's totals."""

    def cell(option: dict[str, Any]) -> str:
        found: Any = option["totals"]
        for key in path:
            found = found[key]
        return pounds(found)

    return cell


def of_people(*path: str) -> Cell:
    """A cell with an amount of the totals of all people together."""

    def cell(option: dict[str, Any]) -> str:
        whole = 0.0
        for person in option["totals"]["people"]:
            found: Any = person
            for key in path:
                found = found[key]
            whole += found
        return pounds(whole)

    return cell


def waits_until(option: dict[str, Any]) -> str:
    """From which tax year no cash waits any more."""
    return str(option["totals"].get("no_cash_waits_from", "to the end")) if waits(option) else "-"


def waits(option: dict[str, Any]) -> bool:
    """Whether any cash ever waits at the end of a tax year."""
    return bool(option["totals"]["most_cash_waiting"])


def triggered(i: int) -> Cell:
    """A cell with the tax year from which a person may pay less into pensions."""

    def cell(option: dict[str, Any]) -> str:
        found = option["totals"]["people"][i]["money_purchase_annual_allowance"]
        return str(found.get("tax_year", "-"))

    return cell


def side_by_side(options: dict[int, dict[str, Any]], people: int) -> list[str]:
    """The totals of the options, in whole pounds."""
    names = [f" of {letter}" for letter in PEOPLE.values()][:people] if people > 1 else [""]
    rows: dict[str, Cell] = {
        "tax-free cash received": of_totals("tax_free_cash"),
        "  in lump sums": of_people("tax_free_cash", "in_lump_sums"),
        "  with withdrawals": of_people("tax_free_cash", "with_withdrawals"),
        "could still be taken at the end": of_people("tax_free_cash", "still_available"),
        "forgone against leaving it to the end": of_people("tax_free_cash", "forgone"),
        "cut off by the lump sum allowance": of_people("tax_free_cash", "above_allowance"),
        "left out of withdrawals": of_people("tax_free_cash", "given_up"),
        "drawn from pensions in all": of_totals("withdrawn"),
        "income tax": of_totals("income_tax"),
        "most cash waiting outside ISAs": of_totals("most_cash_waiting"),
        "  none waits from": waits_until,
        "  its interest": of_totals("interest_on_waiting_cash"),
        "  tax on that interest": of_totals("tax_on_interest"),
    }
    rows |= {f"pension contributions limited from{name}": triggered(i) for i, name in enumerate(names)}
    rows |= {
        "spent": of_totals("spent"),
        "pension at the end": of_totals("pension"),
        "ISA at the end": of_totals("isa"),
        "cash at the end": of_totals("cash"),
        "left after tax": of_totals("wealth_after_tax"),
        "the same in prices of the start": of_totals("wealth_after_tax_in_todays_prices"),
    }
    return table(options, rows)


def year_by_year(options: dict[int, dict[str, Any]], born: list[str]) -> list[str]:
    """What each option would leave after tax at the end of each tax year, in whole pounds."""
    years = next(iter(options.values()))["years"]
    rows: dict[str, Cell] = {}
    for position, year in enumerate(years):
        ages = "/".join(str(age(day, year["to"])) for day in born)
        rows[f"{year['tax_year']}  to {year['to']}  {ages:>7}"] = wealth_at(position)
    return table(options, rows, f"{'tax year':<9}{'':<15}{'age' if len(born) == 1 else 'ages':>7}")


def wealth_at(position: int) -> Cell:
    """A cell with what is left after tax at the end of a tax year."""
    return lambda option: pounds(option["years"][position]["household"]["wealth_after_tax"])


def order(ranking: list[dict[str, Any]]) -> str:
    """Options from the best to the worst."""
    return ", ".join(f"{placed['option'] + 1} (£{placed['amount']:,.0f})" for placed in ranking) or "none"


def orders(answer: dict[str, Any]) -> list[str]:
    """The options in order by each measure."""
    ranking = answer["ranking"]
    found = {
        "most left after tax": ranking["wealth_after_tax"],
        "least income tax": ranking["income_tax"],
        **{f"most to heirs, death {k + 1}": placed for k, placed in enumerate(ranking["heirs"])},
        **{f"most left, {name} growth": placed for name, placed in ranking.get("scenarios", {}).items()},
    }
    width = max(len(name) for name in found) + 2
    return [
        line
        for name, placed in found.items()
        for line in paragraph(f"{name:<{width}}{order(placed)}", "  ", " " * width)
    ]


def changes(answer: dict[str, Any]) -> list[str]:
    """At which growth and at which age two options change places."""
    found = answer["break_evens"]
    lines = []
    for pair in found["pairs"]:
        first, second = (place + 1 for place in pair["options"])
        words = [growth_change(change) for change in pair["growth"]["at"]]
        if pair["growth"]["status"] == "not_computed":
            words = ["not computed: at some growth one of them cannot be carried out"]
        words += [age_change(change) for change in pair["age"]["at"]]
        lines += paragraph(f"{first} and {second}: {'; '.join(words) or 'never'}", "  ", "  ")
    return lines


def growth_change(change: dict[str, Any]) -> str:
    """A growth at which two options change places, in words."""
    words = f"at pension growth of {change['pension_growth']:.2%}, above it {change['more_above'] + 1} leaves more"
    if abs(change["difference"]) > 1:
        words += f" (a step of the tax: there {money(abs(change['difference']))} between them)"
    return words


def age_change(change: dict[str, Any]) -> str:
    """An age at which two options change places, in words."""
    return f"from {change['date']}, at {change['age']}, {change['more_from_then_on'] + 1} leaves more"


def who_dies(answer: dict[str, Any], k: int) -> str:
    """Who dies when, from the first option that tells."""
    for option in answer["options"]:
        if option["possible"] and option["deaths"][k]["possible"]:
            return ", then ".join(
                f"{PEOPLE[left['person']]} dies at {left['age']}, on {left['date']}"
                for left in option["deaths"][k]["deaths"]
            )
    return "cannot be computed"


def of_death(k: int, name: str) -> Cell:
    """A cell with an amount of a death."""
    return lambda option: pounds(option["deaths"][k][name]) if option["deaths"][k]["possible"] else "*"


def of_estates(k: int, *path: str) -> Cell:
    """A cell with an amount of the last estate of a death, that which heirs receive."""

    def cell(option: dict[str, Any]) -> str:
        if not option["deaths"][k]["possible"]:
            return "*"
        found: Any = option["deaths"][k]["deaths"][-1]
        for key in path:
            found = found[key]
        return pounds(found)

    return cell


def deaths(answer: dict[str, Any], options: dict[int, dict[str, Any]], asked: int) -> list[str]:
    """What heirs receive on each death asked about, in whole pounds."""
    lines: list[str] = []
    for k in range(asked):
        rows: dict[str, Cell] = {
            "estate of the last to die": of_estates(k, "estate", "value"),
            "unused pension of the last to die": of_estates(k, "estate", "unused_pension"),
            "residence nil-rate band": of_estates(k, "residence_nil_rate_band", "available"),
            "  lost by its taper": of_estates(k, "residence_nil_rate_band", "taper"),
            "nil-rate band": of_estates(k, "nil_rate_band", "available"),
            "inheritance tax": of_death(k, "inheritance_tax"),
            "heirs' income tax on pension money": of_death(k, "heirs_income_tax"),
            "heirs receive": of_death(k, "heirs_receive"),
            "the same in prices of the start": of_death(k, "heirs_receive_in_todays_prices"),
        }
        lines += ["", f"Death {k + 1}: {who_dies(answer, k)}", *table(options, rows)]
        for number, option in options.items():
            if not option["deaths"][k]["possible"]:
                lines += paragraph(f"* {number}: {option['deaths'][k]['reason']}")
    return lines


def told(warning: dict[str, Any]) -> str:
    """A warning with the options it is about, by their numbers from 1, and what is not certain of it."""
    numbers = [str(place + 1) for place in warning.get("options", [])]
    about = f" (option{'s' if len(numbers) > 1 else ''} {', '.join(numbers)})" if numbers else ""
    return " ".join([f"{warning['title']}{about}. {warning['detail']}", *warning.get("caveats", [])])


def printed(request: dict[str, Any], answer: dict[str, Any]) -> str:
    """The comparison as text: in short, side by side, year by year, deaths, orders, where they change places, what to mind."""
    assumed, born = answer["assumptions"], [person["date_of_birth"] for person in request["people"]]
    options = {k + 1: option for k, option in enumerate(answer["options"]) if option["possible"]}
    who = f"; A was born on {born[0]}, B on {born[1]}" if len(born) > 1 else f"; A was born on {born[0]}"
    lines = [
        f"When to take the tax-free lump sum, from {answer['from']} to {answer['to']}{who}",
        f"Assumed a year: pension {assumed['pension_growth']:+.2%}, ISA {assumed['isa_growth']:+.2%}, "
        f"cash {assumed['cash_interest']:+.2%}, prices {assumed['price_inflation']:+.2%}",
        f"Tax on what is left in the pension {assumed['exit_tax_rate']:.2%}, "
        f"of heirs on pension money {assumed['beneficiary_tax_rate']:.2%}",
        "",
        "Options",
    ]
    for k, option in enumerate(answer["options"]):
        lines += paragraph(f"{k + 1}. {described(option)}", "  ", "   ")
        if not option["possible"]:
            lines += paragraph(f"Not possible. {option['reason']}", "     ")
    lines += ["", "In short"]
    for sentence in answer["summary"]:
        lines += paragraph(sentence)
    if options:
        lines += ["", "Side by side, in whole pounds", *side_by_side(options, len(born))]
        lines += ["", "Left after tax if all ended then, in whole pounds", *year_by_year(options, born)]
        lines += deaths(answer, options, len(request.get("deaths", [])))
        lines += ["", "In order", *orders(answer)]
    if answer["break_evens"]["pairs"]:
        low, high = (f"{answer['break_evens'][end]:.2%}" for end in ("growth_from", "growth_to"))
        lines += [
            "",
            f"Where two change places, at a pension growth from {low} to {high} or at an age",
            *changes(answer),
        ]
    if answer["warnings"]:
        lines += ["", "Mind"]
        for warning in answer["warnings"]:
            lines += paragraph(told(warning))
    return "\n".join([*lines, "", *paragraph(answer["notice"], "")])


def main(arguments: list[str]) -> int:
    """Read a request file, ask the service, print the comparison."""
    if not 1 <= len(arguments) <= 2:
        print(__doc__, file=sys.stderr)
        return 1
    request = json.loads(Path(arguments[0]).read_text(encoding="utf-8"))
    base = arguments[1] if len(arguments) == 2 else "http://127.0.0.1:8000"
    try:
        response = requests.post(f"{base}/v1/lump-sum-timing", json=request, timeout=60)
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

"""How much turns on each assumption: a bar on each side of the plan, or of the option that leaves the most, as assumed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

from service.charts.look import Spec, forecast, pence
from service.charts.rows import Row, rows_chart

Case = Mapping[str, Any]

_POINTS = {
    "growth": ("Growth", " a year"),
    "price_inflation": ("Rise in prices", " a year"),
    "tax_rate_on_remaining_pension": ("Tax on what is left", ""),
}
"""Assumptions that are rates, in words, and whether their step is one a year."""
_FIRST_YEAR = "The first tax year changes"


def plan_sensitivity(document: Mapping[str, Any]) -> Iterator[Spec]:
    """The chart of a plan's answer; none where nothing was changed, or where the plan as assumed is not possible."""
    found = document.get("sensitivity")
    if found is None or found["as_assumed"]["outcome"] != "found":
        return
    steady = "yearly_income" in found["as_assumed"]
    key = "yearly_income" if steady else "wealth_after_tax_in_prices_of_start"
    title = "The yearly income" if steady else "What is left"
    unit = "Pounds a year more or less" if steady else "Pounds after tax in prices of the start, more or less"
    if "beneficiaries_receive" in found["as_assumed"]:
        key, title, unit = "beneficiaries_receive", "What beneficiaries receive", "Pounds more or less"
    base = found["as_assumed"][key]
    yield _drawn(
        f"{title} if one assumption changes",
        f"{unit} than the plan as assumed. Dark: {_FIRST_YEAR.lower()} too.",
        found["cases"],
        lambda case: case[key] - base,
        lambda case: f". {_FIRST_YEAR}" if case["first_year_changes"] else "",
    )


def timing_sensitivity(document: Mapping[str, Any], shorts: Mapping[int, str]) -> Iterator[Spec]:
    """The chart of a comparison's answer, about the option that leaves the most as assumed; ``shorts`` are the options in a few
    words."""
    found = document.get("sensitivity")
    if found is None or found["as_assumed"]["outcome"] != "found":
        return
    leader = found["as_assumed"]["wealth_after_tax"][0]

    def difference(case: Case) -> float | None:
        amounts = {each["option"]: each["amount"] for each in case["wealth_after_tax"]}
        return amounts[leader["option"]] - leader["amount"] if leader["option"] in amounts else None

    def remark(case: Case) -> str:
        if not case["leader_changes"]:
            return ""
        return f". Option {case['wealth_after_tax'][0]['option'] + 1} then leaves the most"

    yield _drawn(
        "What is left if one assumption changes",
        f"Pounds after tax on the last day, more or less than as assumed. {shorts[leader['option']]}, which leaves the most as "
        "assumed. Dark: the first tax year changes, or another option leads.",
        found["cases"],
        difference,
        remark,
    )


def _drawn(
    title: str,
    unit: str,
    cases: Sequence[Case],
    difference: Callable[[Case], float | None],
    remark: Callable[[Case], str],
) -> Spec:
    rows: list[Row] = []
    told: dict[str, float] = {}
    changed = possible = 0
    for case in cases:
        if not case["by"]:
            continue  # the assumption is at its end already
        words = _words(case)
        amount = difference(case) if case["outcome"] == "found" else None
        if amount is None:
            rows.append(Row(f"{words}: not possible"))
            continue
        possible += 1
        changed += case["first_year_changes"]
        told[words] = amount
        dark = case["first_year_changes"] or case.get("leader_changes", False)
        rows.append(Row(f"{words}{remark(case)}", _more(amount), 0, amount, "main" if dark else "other"))
    most = sorted(told, key=lambda words: abs(told[words]), reverse=True)[:2]
    said = [f"{words}: {_more(told[words])}." for words in most if pence(told[words])]
    if changed:
        said.append(f"In {changed} of {possible} cases the first tax year changes.")
    else:
        said.append("The first tax year is the same in all cases.")
    return rows_chart("sensitivity", title, said, unit, rows)


def _more(amount: float) -> str:
    if not pence(amount):
        return "the same"
    return f"{forecast(abs(amount))} {'more' if amount > 0 else 'less'}"


def _words(case: Case) -> str:
    """What is changed in a case, which way and how far."""
    up, by, what = case["change"] == "up", case["by"], case["assumption"]
    if what in _POINTS:
        name, a_year = _POINTS[what]
        points = round(by * 100, 2)
        return (
            f"{name} {'higher' if up else 'lower'} by {points:g} percentage point{'' if points == 1 else 's'}{a_year}"
        )
    years = "year" if by == 1 else "years"
    if what == "drawn_over_years":
        return f"What is left is drawn over {by} {'more' if up else 'fewer'} {years}"
    return f"The end {by} {years} {'later' if up else 'earlier'}"

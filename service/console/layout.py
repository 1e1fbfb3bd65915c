"""How a page is laid out: 80 columns, amounts lined up, long texts wrapped."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from datetime import date
from typing import Any

WIDTH = 80
SUM_WIDTH = 66
"""The width of a line with an amount at its end: at the edge of the page it would stand too far from its words."""
EFFECTS = {
    "not_permitted": "not permitted",
    "costs": "has a cost",
    "check": "to check",
}


def money(amount: float) -> str:
    """Pounds and pence."""
    return f"{'-' if amount < 0 else ''}£{abs(amount):,.2f}"


def pounds(amount: float) -> str:
    """Whole pounds, for a table; a dash for nothing."""
    return f"{amount:,.0f}" if round(amount) else "-"


def share(fraction: float) -> str:
    """A fraction as a percentage."""
    return f"{fraction:.2%}"


def tax_on_what_is_left(rates: dict[str, Any]) -> str:
    """The tax assumed on the pension left at the end, in words."""
    tax = rates["tax_on_remaining_pension"]
    if "rate" in tax:
        return share(tax["rate"])
    years = tax["drawn_over_years"]
    return f"as if it were drawn evenly over {years} year{'s' if years > 1 else ''}"


def day(iso: str) -> str:
    """A day as people write it."""
    found = date.fromisoformat(iso)
    return f"{found.day} {found:%B %Y}"


def month(iso: str) -> str:
    """The month of a day."""
    return f"{date.fromisoformat(iso):%B %Y}"


def words(name: str) -> str:
    """A name of the interface in words."""
    return name.replace("_", " ")


def headed(title: str, lines: Iterable[str]) -> list[str]:
    """A part of the page with its title; nothing where it has no lines."""
    found = list(lines)
    return ["", title, *found] if found else []


def title(text: str) -> list[str]:
    """The title of the page, underlined as far as it goes."""
    lines = textwrap.wrap(text, WIDTH)
    return [*lines, "=" * max(map(len, lines))]


def paragraph(text: str, indent: str = "  ", hanging: str = "") -> list[str]:
    """A text as lines that fit the page."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + hanging, break_on_hyphens=False)


def line(label: str, value: str) -> str:
    """What, and how much."""
    start = f"  {label}"
    return f"{start}{value:>{max(SUM_WIDTH - len(start), len(value) + 1)}}"


def effect_of(warning: dict[str, Any]) -> str:
    """What kind of effect a warning is about, in words."""
    return EFFECTS.get(warning["effect"], words(warning["effect"]))


def points(warnings: list[dict[str, Any]], remarks: Iterable[str]) -> list[str]:
    """Warnings in the service's order, each with a remark: title, remark, text, and what is not certain of it."""
    lines: list[str] = []
    for warning, remark in zip(warnings, remarks, strict=True):
        lines += [""] if lines else []
        lines += paragraph(f"* {warning['title']}{f' ({remark})' if remark else ''}", hanging="  ")
        lines += paragraph(" ".join([warning["detail"], *warning.get("caveats", ())]), "    ")
    return lines


def beside(compared: dict[str, Any]) -> list[str]:
    """What is otherwise under another law: the differences of what stands in no list, and the warnings that come or go."""
    if compared["outcome"] != "found":
        return paragraph(compared["reason"])
    told = [text for sentence in compared["summary"] for text in paragraph(sentence)]
    lines = [
        line(words(each["pointer"][2:].replace("/", ", ")), f"{each['value']:,} -> {each['compared']:,}")
        for each in compared["differences"]
        if not any(part.isdecimal() for part in each["pointer"].split("/"))
    ]
    for said, codes in (("Warnings that come", "warnings_come"), ("Warnings that go", "warnings_go")):
        if compared[codes]:
            lines += paragraph(f"{said}: {', '.join(words(code) for code in compared[codes])}.")
    return [*told, *([""] if lines else []), *lines, *paragraph(compared["notice"])]


def ending(answer: dict[str, Any]) -> list[str]:
    """What ends every page: figures that are not certain, the notice, and what the answer was worked out by."""
    rules = answer["rules"]
    lines: list[str] = []
    if "compared_law" in answer:
        other = answer["compared_law"]
        lines = headed(f"Compared with another law: {other.get('title', 'the law as known')}", beside(other))
    lines += headed("Figures that are not certain", uncertain(rules["caveats"]))
    made = f"Version {rules['software_version']}, rules {rules['version']}, law as known on {day(rules['law_as_of'])}."
    return [*lines, "", *paragraph(answer["notice"], ""), "", made]


def uncertain(caveats: list[dict[str, Any]]) -> list[str]:
    """Each caveat once: one sentence may stand for several figures."""
    said = dict.fromkeys(each["caveat"] for each in caveats)
    return [line for text in said for line in paragraph(f"* {text}", hanging="  ")]

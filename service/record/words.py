"""What a request says, as words for a page: keys, amounts, shares, days and the places of people."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from typing import Any

from service.planning.wording import pounds, starting

SHARES = frozenset(
    {
        "beneficiary_tax_rate",
        "cash_interest",
        "charity_share",
        "first_person_share",
        "growth",
        "high",
        "increases",
        "isa_growth",
        "lifetime_allowance_used",
        "low",
        "nil_rate_band_brought_forward",
        "pension_growth",
        "price_inflation",
        "protected_tax_free_share",
        "rate",
        "residence_nil_rate_band_brought_forward",
        "share_of_full_rate",
        "survivor_spending",
        "tax_rate_on_remaining_pension",
        "yearly_charge",
    }
)
"""Keys of a request whose numbers are fractions."""
COUNTS = frozenset(
    {
        "age",
        "cash_prices",
        "children",
        "deposit_firms",
        "drawn_over_years",
        "isa_cash",
        "isa_prices",
        "length_of_life",
        "month",
        "number_of_paths",
        "pension_cash",
        "pension_isa",
        "pension_prices",
        "protected_pension_age",
        "seed",
        "small_pots_taken",
        "survivor_age",
        "to_age",
    }
)
"""Keys whose numbers stand for themselves."""
PEOPLE = ("the first person", "the second person")
PLACES = {"person": PEOPLE, "pension": None}
"""Keys whose numbers are places, counted from 0."""

_WRITTEN = {
    "england": "England",
    "ireland": "Ireland",
    "isa": "ISA",
    "isas": "ISAs",
    "northern": "Northern",
    "pcls": "tax-free lump sum",
    "scotland": "Scotland",
    "ufpls": "UFPLS",
    "uk": "UK",
    "wales": "Wales",
}
"""Parts of keys that are not written as they stand."""
_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def day(written: str) -> str:
    """A day as people write it."""
    found = date.fromisoformat(written)
    return f"{found.day} {found:%B %Y}"


def money(amount: float) -> str:
    """Pounds, and pence where there are any."""
    return pounds(round(amount * 100))


def share(part: float) -> str:
    """A fraction as a percentage."""
    return f"{round(part * 100, 4):g}%"


def words(key: str) -> str:
    """A key or a word of a request as words."""
    return " ".join(_WRITTEN.get(word, word) for word in key.split("_"))


def told(key: str, value: Any) -> str:
    """A single value in words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return day(value) if _DAY.fullmatch(value) else value if key in ("name", "code") else words(value)
    if key in PLACES:
        people = PLACES[key]
        return people[value] if people else f"number {value + 1}"
    if key in SHARES:
        return share(value)
    if key in COUNTS:
        return str(value) if isinstance(value, int) else f"{value:g}"
    return money(value)


def facts(node: dict[str, Any], heading: str = "") -> Iterator[tuple[str, list[tuple[str, str]]]]:
    """What a request says as groups: a heading, and lines of what and how much."""
    lines = []
    later: list[tuple[dict[str, Any], str]] = []
    for key, value in node.items():
        if key == "people":
            later += [(person, name) for person, name in zip(value, _people(value), strict=True)]
        elif isinstance(value, dict):
            if _is_flat(value):
                lines.append((starting(words(key)), _in_one_line(value)))
            else:
                later.append((value, starting(words(key)) if key != "household" else ""))
        elif _holds_objects(value):
            for number, item in enumerate(value, 1):
                which = starting(words(key.removesuffix("s"))) + (f" {number}" if len(value) > 1 else "")
                if all(_is_flat(inner) for inner in item.values() if isinstance(inner, dict)) and not _lists(item):
                    lines.append((which, _in_one_line(item)))
                else:
                    later.append((item, which))
        elif isinstance(value, list):
            lines.append((starting(words(key)), ", ".join(told(key, item) for item in value) or "none"))
        else:
            lines.append((starting(words(key)), told(key, value)))
    if lines:
        yield heading, lines
    for inner, name in later:
        yield from facts(inner, name or heading)


def _people(people: list[Any]) -> list[str]:
    places = ("First person", "Second person") if len(people) > 1 else ("About you",)
    return [
        f"{place}, {person['name']}" if "name" in person else place
        for place, person in zip(places, people, strict=True)
    ]


def _is_flat(value: dict[str, Any]) -> bool:
    return not any(isinstance(inner, dict) or _holds_objects(inner) for inner in value.values())


def _lists(value: dict[str, Any]) -> bool:
    return any(_holds_objects(inner) for inner in value.values())


def _holds_objects(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and isinstance(value[0], dict)


def _in_one_line(value: dict[str, Any]) -> str:
    parts = []
    for key, inner in value.items():
        if isinstance(inner, dict):
            text = _in_one_line(inner)
        else:
            text = ", ".join(told(key, item) for item in inner) if isinstance(inner, list) else told(key, inner)
        parts.append(text if key in ("kind", "method", "lump_sums", "goal") else f"{words(key)} {text}")
    return "; ".join(parts)

"""The pages of figures: the tax years there are, and the figures of one of them with source and standing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.console.layout import day, line, money, paragraph, share, title, words

STANDINGS = {
    "enacted": "law",
    "announced": "announced, not yet law",
    "assumed": "assumed",
    "proposed": "proposed, not law",
}


def standing(of: Mapping[str, Any]) -> str:
    """How firm a figure or a tax year is, in words."""
    return STANDINGS.get(of["standing"], words(of["standing"]))


def list_page(listing: dict[str, Any]) -> list[str]:
    """The lines of the page of all tax years."""
    years = listing["tax_years"]
    return [
        *title("Tax years with figures"),
        "",
        *(f"  {year['tax_year']}  {standing(year)}" for year in years),
        "",
        *paragraph(f"To see the figures of a tax year, name it: pension-to-isa figures {years[-1]['tax_year']}", ""),
    ]


def page(year: dict[str, Any], kinds: Mapping[str, str], part: str = "") -> list[str]:
    """The lines of the page of a tax year. ``kinds`` says whether a figure is money, a rate or something else. With ``part`` only
    those figures are shown whose name has that text in it."""
    lines = title(f"Figures of {year['tax_year']}, {day(year['from'])} to {day(year['to'])}")
    group = ""
    for figure in year["figures"]:
        if part not in figure["name"]:
            continue
        of_group, _, name = figure["name"].rpartition(".")
        if of_group != group:
            group = of_group
            lines += ["", words(group).upper() if group == "isa" else words(group).capitalize()]
        lines += entry(figure, words(name), kinds.get(figure["name"], ""))
    return lines if group else []


def entry(figure: dict[str, Any], name: str, kind: str) -> list[str]:
    """A figure: its value, then where it is from, how firm it is, and what is not certain of it."""
    value = figure["value"]
    if isinstance(value, list):
        lines = [f"  {name}", *(line(f"  {band}", rate) for band, rate in bands(value))]
    elif isinstance(value, dict):
        lines = [f"  {name}", *(line(f"  {key}", share(rate)) for key, rate in value.items())]
    else:
        lines = [line(name, written(value, kind))]
    about = [f"{figure['source']} ({standing(figure)})", *([figure["caveat"]] if "caveat" in figure else [])]
    return [*lines, *(part for text in about for part in paragraph(text, "      "))]


def written(value: Any, kind: str) -> str:
    """A value as people write it."""
    if kind == "money":
        return money(value)
    if kind == "rate":
        return share(value)
    return day(value) if kind == "date" else str(value)


def bands(found: list[dict[str, Any]]) -> list[tuple[str, str]]:
    """The bands of a rate of tax, each with its rate and where it ends."""
    return [
        (words(band["name"]), share(band["rate"]) + (f" up to {money(band['up_to'])}" if "up_to" in band else " above"))
        for band in found
    ]

"""What all charts share: colours, letters, the frame around a picture, and amounts as words.

A description is that of Vega-Lite 6 with its data inside. The colours are a choice of the palette of Okabe and Ito ("Color
Universal Design", 2008), which people with any colour vision can tell apart. They are so combined that they differ in grey as
well, and no chart relies on them: marks have words beside them, or differ in shape or dashes.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from service.planning import wording

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"

BLUE, SKY, ORANGE, YELLOW = "#0072B2", "#56B4E9", "#E69F00", "#F0E442"
VERMILION, GREEN, PURPLE, BLACK = "#D55E00", "#009E73", "#CC79A7", "#000000"
INK, PALE = "#222222", "#DDDDDD"

WIDTH = 640
"""Pixels, where the page does not say another: with ``"width": "container"`` a picture is as wide as its place."""
_ACROSS = 40
"""Letters of a heading that fit a telephone's width of 390 pixels; other words are smaller."""
_SMALL_ACROSS = 50

CAUTION = "An illustration, not advice."
"""Stands in every picture, which may be shown without the answer's notice."""

_CONFIG = {
    "font": "Arial, Helvetica, sans-serif",
    "view": {"stroke": None},
    "title": {
        "anchor": "start",
        "frame": "bounds",
        "fontSize": 15,
        "fontWeight": "bold",
        "color": INK,
        "subtitleFontSize": 12,
        "subtitleColor": INK,
        "subtitlePadding": 4,
        "offset": 12,
    },
    "axis": {
        "labelFontSize": 12,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
        "labelColor": INK,
        "titleColor": INK,
        "gridColor": PALE,
        "domainColor": INK,
        "tickColor": INK,
    },
    "legend": {"labelFontSize": 12, "labelColor": INK, "labelLimit": 340, "symbolStrokeWidth": 2, "title": None},
    "text": {"fontSize": 12, "color": INK},
}

Spec = dict[str, Any]


def pence(amount: float) -> int:
    """An answer's pounds, exactly."""
    return round(amount * 100)


def money(amount: float) -> str:
    """An answer's pounds in words: £1,234.56, or £1,234 when there are no pence."""
    return wording.pounds(pence(amount))


def forecast(amount: float) -> str:
    """What is assumed for later years, in whole pounds: pence would claim more than anybody knows."""
    return "less than £1" if 0 < abs(amount) < 0.5 else money(round(amount))


def wrapped(words: str, across: int = _SMALL_ACROSS) -> list[str]:
    """Words as lines that fit the narrowest screen."""
    return textwrap.wrap(words, across)


def chart(name: str, title: str, told: Sequence[str], unit: str, spec: Mapping[str, Any]) -> Spec:
    """A chart as the answer has it: ``text`` says in sentences what the picture shows, and is its description for those who
    cannot see it; ``unit`` stands below the title."""
    text = list(told)
    return {
        "name": name,
        "title": title,
        "text": text,
        "spec": {
            "$schema": SCHEMA,
            "description": " ".join([f"{title}.", *text, CAUTION]),
            "title": {"text": wrapped(title, _ACROSS), "subtitle": wrapped(f"{unit} {CAUTION}")},
            "width": WIDTH,
            "autosize": {"type": "fit-x", "contains": "padding"},
            "background": "#ffffff",
            "padding": 8,
            **spec,
            "config": _CONFIG,
        },
    }


LINE = 16
"""Pixels of a line of words inside a picture."""


def lined(lines: int, height: int) -> float:
    """By how much an axis has to be longer so that so many lines of words have room beyond a part of this height in pixels."""
    return (lines * LINE + LINE / 2) / height if lines else 0.04


def line_at(line: int, lines: int, height: int, low: float, high: float) -> float:
    """The place of a line of words, from 0, above what reaches from low to high."""
    return high + (high - low) * ((lines - line - 0.5) * LINE + LINE / 4) / height


def over_lines(layer: Mapping[str, Any]) -> list[Spec]:
    """Words that may lie on a line: the line is interrupted there, so that they can be read."""
    behind = {**layer, "mark": {**layer["mark"], "stroke": "#ffffff", "strokeWidth": 4, "strokeJoin": "round"}}
    return [behind, dict(layer)]


def apart(places: Sequence[float], least: float) -> list[float]:
    """Places along a line for labels, at least so far from each other and near to where they are wanted: those that would
    overlap stand around the middle of their wanted places."""
    crowds: list[list[int]] = []

    def middle(crowd: Sequence[int]) -> float:
        return sum(places[i] for i in crowd) / len(crowd)

    for i in sorted(range(len(places)), key=lambda i: places[i]):
        crowds.append([i])
        while (
            len(crowds) > 1
            and middle(crowds[-1]) - middle(crowds[-2]) < least * (len(crowds[-1]) + len(crowds[-2])) / 2
        ):
            crowds[-2:] = [crowds[-2] + crowds[-1]]
    found = list(places)
    for crowd in crowds:
        for place, i in enumerate(crowd):
            found[i] = middle(crowd) + least * (place - (len(crowd) - 1) / 2)
    return found

"""A chart of amounts one below the other: words, and under them a bar with its amount.

The words stand above their bar and not beside it, so that a telephone's screen has room for both.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from service.charts.look import BLUE, GREEN, INK, ORANGE, SKY, Spec, chart, wrapped

_LINE, _BAR, _GAP = 17, 20, 12  # pixels
_ROOM = 0.32
"""The part of a telephone's width that an amount needs."""

_COLOURS = {"main": BLUE, "other": SKY, "change": ORANGE, "back": GREEN}
_ON = {"main": "#ffffff", "other": "#000000", "change": "#000000", "back": "#000000"}


class Row(NamedTuple):
    """A bar from ``start`` to ``end`` pounds, with its ``amount`` in words. Without an amount there is no bar, only words.
    The kinds are main, other, change (less than the amount above), back (more than it) and heading."""

    words: str
    amount: str = ""
    start: float = 0.0
    end: float = 0.0
    kind: str = "other"


def rows_chart(name: str, title: str, told: Sequence[str], unit: str, rows: Sequence[Row]) -> Spec:
    """The chart of these rows, in their order. Heights are pixels from the top, so that each row has those it needs."""
    low, high = (bound(0.0, *(place(row) for row in rows)) for bound, place in ((min, _left), (max, _right)))
    values, height = [], 0
    for row in rows:
        values.append(_value(row, height, low, high))
        height += len(wrapped(row.words)) * _LINE + (_BAR if row.amount else 0) + _GAP
    height -= _GAP
    down = {"type": "quantitative", "axis": None, "scale": {"domain": [height, 0], "nice": False, "zero": False}}
    x = {"field": "start", "type": "quantitative", "axis": None, "scale": {"domain": [low, high or 1.0], "nice": False}}
    return chart(
        name,
        title,
        told,
        unit,
        {
            "height": height,
            "data": {"values": values},
            "layer": [
                {
                    "transform": [{"filter": "datum.amount != ''"}],
                    "mark": {"type": "rect", "stroke": INK, "strokeWidth": 0.5},
                    "encoding": {
                        "x": x,
                        "x2": {"field": "end"},
                        "y": down | {"field": "bar"},
                        "y2": {"field": "foot"},
                        "color": {"field": "colour", "type": "nominal", "scale": None},
                    },
                },
                *(
                    {
                        "transform": [{"filter": f"datum.heading == {heading}"}],
                        "mark": {
                            "type": "text",
                            "align": "left",
                            "baseline": "line-top",
                            "fontWeight": "bold" if heading else "normal",
                        },
                        "encoding": {
                            "x": {"value": 0},
                            "y": down | {"field": "top"},
                            "text": {"field": "words", "type": "nominal"},
                        },
                    }
                    for heading in sorted({value["heading"] for value in values})
                ),
                *(
                    {
                        "transform": [{"filter": f"datum.place == '{place}'"}],
                        "mark": {"type": "text", "align": align, "dx": dx, "fontWeight": "bold"},
                        "encoding": {
                            "x": x | {"field": field},
                            "y": down | {"field": "middle"},
                            "text": {"field": "amount", "type": "nominal"},
                            "color": {"field": "on" if place == "inside" else "ink", "type": "nominal", "scale": None},
                        },
                    }
                    for place, align, dx, field in (
                        ("inside", "right", -6, "right"),
                        ("after", "left", 6, "right"),
                        ("before", "right", -6, "left"),
                    )
                ),
            ],
        },
    )


def _left(row: Row) -> float:
    return min(row.start, row.end)


def _right(row: Row) -> float:
    return max(row.start, row.end)


def _value(row: Row, top: int, low: float, high: float) -> dict[str, Any]:
    left, right, width = _left(row), _right(row), (high - low) or 1.0
    if not row.amount:
        place = "none"
    elif right - left >= _ROOM * width:
        place = "inside"
    else:
        place = "after" if high - right >= _ROOM * width else "before"
    words = wrapped(row.words)
    bar = top + len(words) * _LINE
    return {
        "words": words,
        "heading": int(row.kind == "heading"),
        "amount": row.amount,
        "start": row.start,
        "end": row.end,
        "left": left,
        "right": right,
        "top": top,
        "bar": bar,
        "middle": bar + _BAR / 2,
        "foot": bar + _BAR,
        "place": place,
        "colour": _COLOURS.get(row.kind, SKY),
        "on": _ON.get(row.kind, INK),
        "ink": INK,
    }

"""Charts of a quote: where the money of a withdrawal goes, and the tax curve with the withdrawal on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from service.charts.look import BLUE, INK, VERMILION, Spec, chart, money, pence
from service.charts.rows import Row, rows_chart

_SEEN = 2
"""The curve is shown up to so many times the withdrawal, so that this stands in the middle."""
_MOST_LABELS = 3
_WIDE = 0.14
"""Labels stand at pieces of the curve that are at least this part of its width."""


def quote_charts(document: Mapping[str, Any]) -> list[Spec]:
    """The charts of a quote's document, which must have its curve."""
    if not document["withdrawal"]["gross"]:
        return []
    flat = not any(point["tax"] for point in document["curve"]["points"])
    return [_money(document)] if flat else [_money(document), _curve(document)]


def _money(document: Mapping[str, Any]) -> Spec:
    withdrawal, payroll = document["withdrawal"], document["payroll"]
    gross, paid, net = withdrawal["gross"], payroll["paid_out"], document["net_after_tax"]
    charge = document.get("lifetime_allowance", {}).get("charge", 0.0)
    told = [f"{money(gross)} leaves the pension, and {money(paid)} arrives in the bank."]
    rows = [Row("Leaves the pension", money(gross), 0, gross, "main")]
    if charge:
        rows.append(Row("Lifetime allowance charge", money(charge), gross - charge, gross, "change"))
    deducted, before = gross - charge - paid, gross - charge
    if pence(deducted):
        words = "Tax deducted by the provider" if deducted > 0 else "Tax paid back by the provider"
        rows.append(Row(words, money(abs(deducted)), paid, before, "change" if deducted > 0 else "back"))
    rows.append(Row("Arrives in the bank", money(paid), 0, paid, "main"))
    later = net - paid
    # What the answer says of the year is of all its pay. Where that is more than this payment, the difference here is neither
    # what comes back nor what is still due.
    of_this_alone = pence(later) == pence(payroll["over_deducted"]) - pence(payroll["under_deducted"])
    if pence(later) and not of_this_alone:
        rows.append(
            Row("Difference from the tax that it adds", money(abs(later)), paid, net, "back" if later > 0 else "change")
        )
        told.append(
            "The deduction depends on other pay of the year too, so it is not the tax that this withdrawal adds."
        )
    elif pence(later) > 0:
        rows.append(Row("Comes back once the year's tax is settled", money(later), paid, net, "back"))
        told.append(f"The provider deducts {money(later)} more than this withdrawal adds to the year's tax.")
    elif pence(later) < 0:
        rows.append(Row("Still to be paid for the year", money(-later), net, paid, "change"))
        told.append(f"A further {money(-later)} of tax is due for the year.")
    rows.append(Row("Kept after the year's tax", money(net), 0, net, "main"))
    share = f"about {round(100 * net / gross)}p of each pound" if net < gross else "all of it"
    told.append(f"After the year's tax, {money(net)} is kept, {share}.")
    return rows_chart("money", "Where the money goes", told, f"Tax year {document['tax_year']}.", rows)


def _curve(document: Mapping[str, Any]) -> Spec:
    points = _seen(document["curve"]["points"], document["withdrawal"]["gross"])
    gross, tax = document["withdrawal"]["gross"], document["income_tax"]["on_withdrawal"]
    adds = _adds(tax)
    here = {"gross": gross, "tax": tax, "label": [money(gross), f"{adds} tax"]}
    width, height = points[-1]["gross"], max(point["tax"] for point in points)
    told = [f"A withdrawal of {money(gross)} {adds} tax to the year."]
    slope = next((rate for low, high, rate in _slopes(points) if low["gross"] <= gross < high["gross"]), None)
    if slope is not None:
        further = _adds(round(100 * slope, 2), "about ")
        told.append(f"Around this amount, each further £100 {further} tax.")
    widest = sorted(_slopes(points), key=lambda piece: piece[0]["gross"] - piece[1]["gross"])[:_MOST_LABELS]
    labels = [
        _label(low, high, rate, width) for low, high, rate in widest if high["gross"] - low["gross"] >= _WIDE * width
    ]
    aside = {"align": "left", "baseline": "line-top", "dx": 9, "dy": 8}
    if gross > width / 2:
        aside = {"align": "right", "baseline": "line-top", "dx": -9, "dy": -38}
    x = {"field": "gross", "type": "quantitative", "scale": {"domain": [0, width], "nice": False}}
    y = {"field": "tax", "type": "quantitative"}
    bottom = min(0.0, *(point["tax"] for point in points))
    x_axis = {"title": "Taken from the pension", "format": ",.0f", "labelExpr": "'£' + datum.label", "tickCount": 4}
    y_axis = {"title": None, "format": ",.0f", "labelExpr": "'£' + datum.label", "tickCount": 5}
    return chart(
        "tax_curve",
        "Tax that a withdrawal of any size adds",
        told,
        f"Tax added to the year {document['tax_year']}, by the amount taken.",
        {
            "height": 300,
            "encoding": {
                "x": x | {"axis": x_axis},
                "y": y | {"axis": y_axis, "scale": {"domain": [bottom, height * 1.25]}},
            },
            "layer": [
                {
                    "data": {"values": [{"gross": point["gross"], "tax": point["tax"]} for point in points]},
                    "mark": {"type": "line", "color": BLUE, "strokeWidth": 2.5},
                },
                {
                    "data": {"values": [here]},
                    "layer": [
                        {
                            "mark": {"type": "rule", "strokeDash": [4, 3], "color": INK},
                            "encoding": {"y2": {"datum": bottom}},
                        },
                        {
                            "mark": {"type": "rule", "strokeDash": [4, 3], "color": INK},
                            "encoding": {"x2": {"datum": 0}},
                        },
                        {"mark": {"type": "point", "filled": True, "size": 110, "color": VERMILION, "opacity": 1}},
                        {
                            "mark": {"type": "text", "fontWeight": "bold", **aside},
                            "encoding": {"text": {"field": "label", "type": "nominal"}},
                        },
                    ],
                },
                {
                    "data": {"values": [label for label in labels if label is not None]},
                    "mark": {"type": "text", "align": "right", "dx": -5, "dy": -8},
                    "encoding": {"text": {"field": "label", "type": "nominal"}},
                },
            ],
        },
    )


Point = Mapping[str, Any]


def _adds(tax: float, about: str = "") -> str:
    """What an amount does to the year, to stand before the word tax."""
    if not pence(tax):
        return "adds no"
    return f"{'adds' if tax > 0 else 'saves'} {about}{money(abs(tax))} of"


def _label(low: Point, high: Point, rate: float, width: float) -> dict[str, Any] | None:
    """What a straight piece costs, to stand to the left of a place on it; None where that would be beyond the axis."""
    part = next(
        (part for part in (0.55, 1.0) if low["gross"] + part * (high["gross"] - low["gross"]) > 0.33 * width), None
    )
    if part is None:
        return None
    return {
        "gross": low["gross"] + part * (high["gross"] - low["gross"]),
        "tax": low["tax"] + part * (high["tax"] - low["tax"]),
        "label": f"{money(round(100 * rate, 2))} of each £100",
    }


def _seen(points: Sequence[Point], gross: float) -> list[Point]:
    """The points of the part of the curve that is shown, cut off on the straight line on which it ends."""
    end = min(points[-1]["gross"], _SEEN * gross)
    inside = [point for point in points if point["gross"] <= end]
    if inside[-1]["gross"] == end:
        return inside
    low, high = inside[-1], points[len(inside)]
    part = (end - low["gross"]) / (high["gross"] - low["gross"])
    return [*inside, {"gross": end, "tax": round(low["tax"] + part * (high["tax"] - low["tax"]), 2)}]


def _slopes(points: Sequence[Point]) -> list[tuple[Point, Point, float]]:
    """The straight pieces between points, with the tax on each pound taken; without steps, which are a penny wide."""
    return [
        (low, high, (high["tax"] - low["tax"]) / (high["gross"] - low["gross"]))
        for low, high in pairwise(points)
        if pence(high["gross"] - low["gross"]) > 1
    ]

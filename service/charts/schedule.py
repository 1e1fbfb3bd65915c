"""Charts of a plan: what is held by tax year, what is drawn and paid in tax, and what is left beside plainer plans."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import ceil
from typing import Any, NamedTuple

from service.charts.look import (
    BLUE,
    INK,
    ORANGE,
    PALE,
    SKY,
    VERMILION,
    YELLOW,
    Spec,
    chart,
    forecast,
    line_at,
    lined,
    over_lines,
    pence,
)
from service.charts.rows import Row, rows_chart
from service.charts.sensitivity import plan_sensitivity
from service.planning.wording import listed

Year = Mapping[str, Any]

_HELD = (("in_pensions", "Pensions", BLUE), ("in_isas", "ISAs", ORANGE), ("in_cash", "Cash", YELLOW))
"""From the bottom up; from dark to light, so that they differ in grey."""
_PLANS = {
    "pension_left_until_state_pension_age": "Equal shares up to age 90, from State Pension age at the earliest",
    "personal_allowance_filled": "Drawing only what is free of tax, and more only for spending",
}
_POUNDS_AXIS = {"title": None, "format": ",.0f", "labelExpr": "'£' + datum.label", "tickCount": 5, "minExtent": 70}
_EVENTS = {
    "figures_not_law": "Rates not yet law from here",
    "minimum_pension_age_reached": "Minimum pension age reached",
    "state_pension_begins": "State Pension begins",
    "income_begins": "Other income begins",
    "income_ends": "Other income ends",
    "small_pot_taken": "Small pot taken",
    "pension_used_up": "Pension used up",
}
"""Events of an answer that are marked, in a few words."""
_MOST_EVENTS = 6
_START = "start"
"""The place of what is held before the first tax year."""
_HEIGHT = 280  # pixels
_BESIDE = 0.25
"""Over this part of the bars an amount may reach that stands above one of them."""


class Event(NamedTuple):
    """Something that happens in a tax year, in a few words."""

    tax_year: str
    words: str


def schedule_charts(document: Mapping[str, Any]) -> list[Spec]:
    """The charts of a plan's document."""
    over_paths = [_over_paths(document["markets"])] if "markets" in document else []
    return [_holdings(document), _flows(document), _left(document), *over_paths, *plan_sensitivity(document)]


def _years_axis(places: Sequence[str]) -> dict[str, Any]:
    return {
        "field": "tax_year",
        "type": "ordinal",
        "scale": {"domain": list(places)},
        "axis": {"title": "Tax year", "labelAngle": 0, "labelOverlap": "greedy", "labelSeparation": 6},
    }


def _holdings(document: Mapping[str, Any]) -> Spec:
    years = document["years"]
    rows = [(_START, document["at_start"]["household"]), *((year["tax_year"], year["household"]) for year in years)]
    order = [row for row, _ in rows]
    values = [
        {"tax_year": row, "held": word, "place": place, "amount": household[key]}
        for row, household in rows
        for place, (key, word, _) in enumerate(_HELD)
    ]
    most = max(sum(household[key] for key, _, _ in _HELD) for _, household in rows) or 1.0
    events = list(_events(years))[:_MOST_EVENTS]
    lines = len(events) + 1  # the lowest one is for amounts above bars
    top = most * (1 + lined(lines, _HEIGHT))
    half = len(rows) / 2
    totals = [sum(household[key] for key, *_ in _HELD) for _, household in rows]
    beside = ceil(_BESIDE * len(rows))
    ends = [
        {"tax_year": place, "amount": max(near), "label": forecast(total), "align": align}
        for place, total, near, align in (
            (order[0], totals[0], totals[:beside], "left"),
            (order[-1], totals[-1], totals[-beside:], "right"),
        )
    ]
    told = [_told_holdings(years[-1])]
    if events:
        told.append(_told_events(events))
    return chart(
        "holdings",
        "What is held at the end of each tax year",
        told,
        "Pounds, before tax on what remains in the pension.",
        {
            "height": round(_HEIGHT * top / most),
            "encoding": {
                "x": _years_axis(order),
                "y": {
                    "field": "amount",
                    "type": "quantitative",
                    "axis": _POUNDS_AXIS,
                    "scale": {"domain": [0, top], "nice": False},
                },
            },
            "layer": [
                {
                    "data": {
                        "values": [
                            {
                                "tax_year": event.tax_year,
                                "amount": line_at(i, lines, _HEIGHT, 0, most),
                                "label": event.words,
                                "align": "left" if order.index(event.tax_year) < half else "right",
                            }
                            for i, event in enumerate(events)
                        ]
                    },
                    "layer": [
                        {
                            "mark": {"type": "rule", "strokeDash": [3, 3], "color": INK},
                            "encoding": {"y2": {"datum": 0}},
                        },
                        {"mark": {"type": "point", "filled": True, "size": 45, "color": INK, "opacity": 1}},
                        *(
                            layer
                            for side, dx in (("left", 7), ("right", -7))
                            for layer in over_lines(
                                {
                                    "transform": [{"filter": f"datum.align == '{side}'"}],
                                    "mark": {"type": "text", "align": side, "dx": dx},
                                    "encoding": {"text": {"field": "label", "type": "nominal"}},
                                }
                            )
                        ),
                    ],
                },
                {
                    "data": {"values": values},
                    "mark": {"type": "bar", "stroke": INK, "strokeWidth": 0.5, "width": {"band": 0.78}},
                    "encoding": {
                        "color": {
                            "field": "held",
                            "type": "nominal",
                            "scale": {
                                "domain": [word for _, word, _ in _HELD],
                                "range": [colour for *_, colour in _HELD],
                            },
                            "legend": {"orient": "top", "symbolStrokeColor": INK},
                        },
                        "order": {"field": "place", "type": "quantitative"},
                    },
                },
                *_amounts(ends),
            ],
        },
    )


def _amounts(values: Sequence[Mapping[str, Any]]) -> list[Spec]:
    """Amounts in words above bars."""
    return [
        layer
        for side, dx in (("left", -10), ("center", 0), ("right", 10))
        if any(value["align"] == side for value in values)
        for layer in over_lines(
            {
                "data": {"values": [value for value in values if value["align"] == side]},
                "mark": {"type": "text", "align": side, "dx": dx, "dy": -8, "fontWeight": "bold"},
                "encoding": {
                    "y": {"field": "amount", "type": "quantitative"},
                    "text": {"field": "label", "type": "nominal"},
                },
            }
        )
    ]


def _told_holdings(last: Year) -> str:
    held = [
        f"{forecast(last['household'][key])} in {word.lower().replace('isas', 'ISAs')}"
        for key, word, _ in _HELD
        if last["household"][key] >= 1
    ]
    return f"At the end of {last['tax_year']} there is {listed(held) if held else 'nothing left'}."


def _told_events(events: Sequence[Event]) -> str:
    first, *_ = events
    return f"Marked: {first.words[0].lower() + first.words[1:]} in {first.tax_year}."


def _events(years: Sequence[Year]) -> Iterator[Event]:
    """What happens in a plan, in order: what the answer names, and what is there for the first time."""
    found = []
    for words, happens in (
        ("Tax-free lump sum", lambda year, _: any(person["lump_sum"] for person in year["people"])),
        ("First withdrawal", lambda year, _: year["household"]["withdrawn"] > 0),
        ("ISAs and cash used up", _used_up),
    ):
        for year, before in zip(years, (None, *years), strict=False):
            if happens(year, before):
                found.append((years.index(year), words))
                break
    for place, year in enumerate(years):
        found += [(place, _EVENTS[event["code"]]) for event in year.get("events", ()) if event["code"] in _EVENTS]
    for place, words in list(dict.fromkeys(sorted(found, key=lambda pair: pair[0])))[:_MOST_EVENTS]:
        yield Event(years[place]["tax_year"], words)


def _used_up(year: Year, before: Year | None) -> bool:
    """Whether the ISAs and cash of a year before are gone, but for pence."""
    keys = ("in_isas", "in_cash")
    return before is not None and (
        sum(before["household"][key] for key in keys) >= 1 > sum(year["household"][key] for key in keys)
    )


def _flows(document: Mapping[str, Any]) -> Spec:
    years, totals = document["years"], document["totals"]
    values = [
        {
            "tax_year": year["tax_year"],
            "withdrawn": year["household"]["withdrawn"],
            "tax": year["household"]["income_tax"],
        }
        for year in years
    ]
    told = [
        f"In all, {forecast(totals['withdrawn'])} is drawn from pensions.",
        f"In all, {forecast(totals['income_tax'])} is paid in income tax.",
    ]
    most = max(years, key=lambda year: year["household"]["income_tax"])
    if pence(most["household"]["income_tax"]):
        told.append(f"The most tax falls in {most['tax_year']}: {forecast(most['household']['income_tax'])}.")
    top = max(*(value[key] for value in values for key in ("withdrawn", "tax")), 1.0) * 1.15
    named = [_highest(values, key) for key in ("withdrawn", "tax")]
    if abs(named[0]["amount"] - named[1]["amount"]) < 0.1 * top:
        named = named[:1]  # the two would lie on each other
    scale = {"domain": ["Drawn from pensions", "Income tax"], "range": [PALE, VERMILION]}
    return chart(
        "draws_and_tax",
        "What is drawn, and the income tax",
        told,
        "Pounds in each tax year. The tax is that on all income.",
        {
            "height": 200,
            "data": {"values": values},
            "encoding": {"x": _years_axis([year["tax_year"] for year in years])},
            "layer": [
                {
                    "transform": [{"calculate": f"'{word}'", "as": "kind"}],
                    "mark": {"type": "bar", "stroke": INK, "strokeWidth": 0.5, "width": {"band": band}},
                    "encoding": {
                        "y": {
                            "field": key,
                            "type": "quantitative",
                            "axis": _POUNDS_AXIS,
                            "scale": {"domain": [0, top], "nice": False},
                        },
                        "color": {"field": "kind", "type": "nominal", "scale": scale, "legend": {"orient": "top"}},
                    },
                }
                for key, word, band in (
                    ("withdrawn", "Drawn from pensions", 0.78),
                    ("tax", "Income tax", 0.36),
                )
            ]
            + _amounts([value for value in named if pence(value["amount"])]),
        },
    )


def _highest(values: Sequence[Mapping[str, Any]], key: str) -> dict[str, Any]:
    """The highest bar of its kind, with its amount."""
    place = max(range(len(values)), key=lambda place: values[place][key])
    edge = 0.15 * len(values)
    align = "left" if place + 0.5 < edge else "right" if place + 0.5 > len(values) - edge else "center"
    amount = values[place][key]
    return {
        "tax_year": values[place]["tax_year"],
        "amount": amount,
        "label": forecast(amount),
        "align": align,
    }


def _left(document: Mapping[str, Any]) -> Spec:
    # What plans are compared by: what is left after tax, or what beneficiaries would receive where that is the aim.
    by, gain = "wealth_after_tax", "gain"
    title, unit = "What this plan and plainer ones leave", _AFTER_TAX
    left = document["totals"][by]
    told = [f"After tax, this plan leaves {forecast(left)}."]
    if "beneficiaries_receive" in document.get("proof", {}):
        by, gain = "beneficiaries_receive", "gain_to_beneficiaries"
        title, unit = "What this plan and plainer ones leave to beneficiaries", _TO_BENEFICIARIES
        left = document["proof"][by]
        told = [f"Beneficiaries would receive {forecast(left)} of this plan."]
    rows = [Row("This plan", forecast(left), 0, left, "main")]
    for other in document["compared_with"]:
        words = _PLANS.get(other["plan"], other["plan"].replace("_", " ").capitalize())
        if other["outcome"] != "found":
            rows.append(Row(f"{words}: not possible"))
            continue
        rows.append(Row(words, forecast(other[by]), 0, other[by]))
        told.append(f"{words} would leave {_difference(other[gain])}.")
    return rows_chart("left_after_tax", title, told, unit, rows)


_AFTER_TAX = "Pensions, ISAs and cash at the end, after tax on what remains in the pension. Dark: this plan."
_TO_BENEFICIARIES = (
    "If everybody died on the last day, after inheritance tax and beneficiaries' income tax. Dark: this plan."
)


def _difference(gain: float) -> str:
    if not pence(gain):
        return "the same"
    return f"{forecast(abs(gain))} {'less' if gain > 0 else 'more'}"


_REACHES = (("p5", "p95", SKY), ("p25", "p75", BLUE))
"""The parts of the fan, from the outer one in: where nine in ten of the courses lie, and half of them."""


def _over_paths(found: Mapping[str, Any]) -> Spec:
    """What is held on all courses of markets, as a fan of percentiles."""
    key = "wealth_before_tax_in_prices_of_start"
    years, paths = found["years"], found["paths"]
    values = [{"tax_year": year["tax_year"], **year[key]} for year in years]
    last = years[-1]
    met = found["spending_met_throughout"]["paths"]
    on = f"all {paths:,}" if met == paths else f"{met:,} of {paths:,}"
    held = {name: forecast(last[key][name]) for name in ("p5", "p50", "p95")}
    told = [
        f"Spending is met to the end on {on} courses of markets.",
        f"At the end of {last['tax_year']}, the middle one holds {held['p50']}.",
        f"Nine in ten hold between {held['p5']} and {held['p95']}.",
    ]
    unit = (
        "Pounds in prices of the start, before tax on what remains in the pension. Line: the middle. Dark: half of all "
        "courses. Light: nine in ten."
    )
    amount = {"type": "quantitative", "axis": _POUNDS_AXIS, "scale": {"zero": True}}
    return chart(
        "held_on_many_courses",
        "What is held on many courses of markets",
        told,
        unit,
        {
            "height": _HEIGHT,
            "data": {"values": values},
            "encoding": {"x": _years_axis([year["tax_year"] for year in years])},
            "layer": [
                *(
                    {
                        "mark": {"type": "area", "color": colour, "opacity": 1, "interpolate": "linear"},
                        "encoding": {"y": amount | {"field": low}, "y2": {"field": high}},
                    }
                    for low, high, colour in _REACHES
                ),
                {
                    "mark": {"type": "line", "color": "#ffffff", "strokeWidth": 3},
                    "encoding": {"y": amount | {"field": "p50"}},
                },
            ],
        },
    )

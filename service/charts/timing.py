"""Charts of lump sum timing: what each option leaves, how far apart they are over the years, and what beneficiaries receive."""

from __future__ import annotations

import operator
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from service.charts.look import (
    BLACK,
    BLUE,
    GREEN,
    INK,
    LINE,
    ORANGE,
    PALE,
    PURPLE,
    SKY,
    VERMILION,
    Spec,
    apart,
    chart,
    forecast,
    line_at,
    lined,
    over_lines,
    pence,
)
from service.charts.rows import Row, rows_chart
from service.charts.sensitivity import timing_sensitivity
from service.planning.wording import NAMELESS, inside, listed, lump_sums_in_words, starting, who

Option = Mapping[str, Any]

_LINES = (
    (BLACK, [1, 0]),
    (BLUE, [8, 4]),
    (VERMILION, [2, 3]),
    (GREEN, [12, 3, 2, 3]),
    (PURPLE, [5, 2]),
    (ORANGE, [1, 0]),
    (SKY, [8, 4]),
    (BLACK, [2, 3]),
    (BLUE, [12, 3, 2, 3]),
    (VERMILION, [5, 2]),
)
"""Colour and dashes of each option's line, for as many as there can be; no two have both alike."""
_SHORT = {
    "all_now": "all now",
    "phased": "in stages",
    "with_each_withdrawal": "with each withdrawal",
    "never": "none",
}
"""When the tax-free cash is taken, beside the name of an option."""
_MOST_LINES = 5
"""So many options have a line of their own look; where there are more, the first and those that lead most often."""
_HEIGHT = 280  # pixels
_TICKS = 6
_MOST_DEATHS = 5
_MOST_CHANGES = 8


def timing_charts(document: Mapping[str, Any], names: Sequence[str | None] = ()) -> list[Spec]:
    """The charts of a comparison's document; ``names`` are those of the people, where the request gives them."""
    found = [option for option in document["options"] if option["outcome"] == "found"]
    many = [_over_paths(document)] if "markets" in document else []
    if not found:
        return many
    of = len(found[0]["totals"]["people"])
    people = [who(i, of, names[i] if i < len(names) else None) for i in range(of)]
    charts = [_left(document)]
    if len(found[0]["years"]) > 1 and len(found) > 1:
        charts.append(_over_the_years(document, found, people))
    charts += many
    growth = list(_growth_changes(document))
    if growth:
        charts.append(_growth(document, growth))
    if any(death["outcome"] == "found" for option in found for death in option["deaths"]):
        charts.append(_beneficiaries(document, found, people))
    return [*charts, *timing_sensitivity(document, _shorts(document))]


def _named(option: Option) -> str:
    return f"Option {option['option'] + 1}"


def _described(option: Option) -> str:
    yearly = option.get("yearly")
    stages = pence(yearly) if isinstance(yearly, int | float) else None
    return f"{_named(option)}, {lump_sums_in_words(option['lump_sums'], option.get('age'), stages)}"


def _shorts(document: Mapping[str, Any]) -> dict[int, str]:
    """The options in a few words, by their places. What else is drawn is said where they differ in it."""
    options = document["options"]
    differ = _differ_in_income(document)
    return {
        option["option"]: f"{_named(option)}: {_SHORT.get(option['lump_sums']) or 'at {age}'.format(**option)}"
        + (f", {option['aim']['goal'].replace('_', ' ')}" if differ else "")
        for option in options
    }


def _differ_in_income(document: Mapping[str, Any]) -> bool:
    return len({option["aim"]["goal"] for option in document["options"]}) > 1


def _by(document: Mapping[str, Any]) -> str:
    """What the few words of an option say."""
    besides = ", and by the income beside it" if _differ_in_income(document) else ""
    return f"Options by when the tax-free cash is taken{besides}."


def _left(document: Mapping[str, Any]) -> Spec:
    order = document["ranking"]["wealth_after_tax"]
    most = order[0]["amount"]
    shorts, rows = _shorts(document), []
    for option in document["options"]:
        short = shorts[option["option"]]
        if option["outcome"] != "found":
            rows.append(Row(f"{short}: not possible"))
            continue
        left = option["totals"]["wealth_after_tax"]
        rows.append(Row(short, forecast(left), 0, left, "main" if left == most else "other"))
    first, last = (document["options"][order[i]["option"]] for i in (0, -1))
    told = [f"{_described(first)}, leaves {forecast(most)} after tax."]
    if len(order) > 1:
        told = [
            f"{_described(first)}, leaves {'the most, ' if len(_first(order)) == 1 else ''}{forecast(most)} after tax."
        ]
        told.append(f"{_described(last)}, leaves {_less(most - order[-1]['amount'])}.")
    unit = (
        f"Pounds on {_day(document['to'])}, after tax on what remains in the pension. {_by(document)} Dark: the most."
    )
    return rows_chart("left_after_tax", "What each option leaves after tax", told, unit, rows)


def _over_paths(document: Mapping[str, Any]) -> Spec:
    """Where nine in ten of each option's outcomes lie on many courses of markets, with the middle one in words."""
    found, shorts = document["markets"], _shorts(document)
    paths, rows, key = found["paths"], [], "outcome_in_prices_of_start"
    most = max(option["best_in"]["paths"] for option in found["options"])
    for option in found["options"]:
        best, reach = option["best_in"]["paths"], option[key]
        often = f"Best on {best:,} of {paths:,}" if best else f"Best on none of {paths:,}"
        words = f"{shorts[option['option']]}. {often}" if len(found["options"]) > 1 else shorts[option["option"]]
        kind = "main" if best == most else "other"
        rows.append(Row(words, forecast(reach["p50"]), reach["p5"], reach["p95"], kind))
    first, *others = [option["option"] + 1 for option in found["options"] if option["best_in"]["paths"] == most]
    least = found["options"][found["least_regret"]]
    told = []
    if len(found["options"]) > 1 and not others:
        told.append(f"Option {first} is the best on {most:,} of {paths:,} courses of markets.")
    if least["largest_loss"]:
        told.append(f"{_named(least)} loses the least at worst: {forecast(least['largest_loss'])}.")
    told.append(f"With {_named(least).lower()}, the middle course leaves {forecast(least[key]['p50'])}.")
    unit = (
        "Pounds in prices of the start, after tax, less spending that is not met. A bar holds nine in ten of the courses; its "
        f"amount is the middle one. Dark: the best on the most. {_by(document)}"
    )
    return rows_chart("options_on_many_courses", "What options leave on many courses of markets", told, unit, rows)


def _first(order: Sequence[Mapping[str, Any]]) -> list[int]:
    """The numbers, from 1, of the options that come first."""
    return sorted(each["option"] + 1 for each in order if each["amount"] == order[0]["amount"])


def _leaders(order: Sequence[Mapping[str, Any]]) -> str:
    """The options that come first, before the word leave or leaves."""
    numbers = [str(number) for number in _first(order)]
    return f"option {numbers[0]} leaves" if len(numbers) == 1 else f"options {listed(numbers)} leave"


def _less(difference: float) -> str:
    return f"{forecast(difference)} less" if pence(difference) else "the same"


def _day(written: str) -> str:
    day = date.fromisoformat(written)
    return f"{day.day} {day:%B %Y}"


def _over_the_years(document: Mapping[str, Any], found: Sequence[Option], people: Sequence[str]) -> Spec:
    base, *_ = found
    against = [year["household"]["wealth_after_tax"] for year in base["years"]]
    lines = {
        option["option"]: [
            round(year["household"]["wealth_after_tax"] - other, 2)
            for year, other in zip(option["years"], against, strict=True)
        ]
        for option in found
    }
    days = [year["to"] for year in base["years"]]
    low, high = (bound(bound(line) for line in lines.values()) for bound in (min, max))
    low, high = (low, high) if pence(high - low) else (low - 1, high + 1)
    span = high - low
    marks = list(_death_days(found, people))[:_MOST_DEATHS]
    top, bottom = high + span * lined(len(marks), _HEIGHT), low - span * 0.04
    ends = apart([line[-1] for line in lines.values()], span * (LINE - 1) / _HEIGHT)
    shorts = _shorts(document)
    own_look = _with_a_look_of_their_own(lines)
    domain = [shorts[number] for number in own_look]
    styles = [_LINES[number % len(_LINES)] for number in own_look]
    values: dict[bool, list[dict[str, Any]]] = {True: [], False: []}
    for number, line in lines.items():
        values[number in own_look] += [
            {"day": day, "amount": amount, "option": shorts[number]} for day, amount in zip(days, line, strict=True)
        ]
    crossings = [crossing for crossing in _age_changes(document, days, lines, own_look) if crossing is not None]
    unit = f"Pounds after tax, more or less than {_named(base).lower()}, at the end of each tax year."
    if crossings:
        unit += " At a ring, another option starts to leave more."
    if values[False]:
        unit += " Grey: the other options."
    told = [_told_leader(found, lines)]
    told += [f"{mark['label']}: {_day(mark['day'])}." for mark in marks[:1]]
    return chart(
        "over_the_years",
        f"How far each option is from {_named(base).lower()}",
        told,
        unit,
        {
            "height": round(_HEIGHT * (top - bottom) / span),
            "encoding": {
                "x": {
                    "field": "day",
                    "type": "temporal",
                    "scale": {"type": "utc", "domain": [days[0], days[-1]]},
                    "axis": {"title": "End of tax year", "format": "%Y", "values": days[:: -(-len(days) // _TICKS)]},
                },
                "y": {
                    "field": "amount",
                    "type": "quantitative",
                    "scale": {"domain": [bottom, top], "nice": False},
                    "axis": {
                        "title": None,
                        "format": ",.0f",
                        "tickCount": 6,
                        "labelExpr": "replace('£' + datum.label, /^£([\\u2212-])/, '$1£')",
                    },
                },
            },
            "layer": [
                {
                    "data": {
                        "values": [
                            mark | {"amount": line_at(i, len(marks), _HEIGHT, low, high)}
                            for i, mark in enumerate(marks)
                        ]
                    },
                    "layer": [
                        {
                            "mark": {"type": "rule", "color": "#888888"},
                            "encoding": {"y2": {"datum": bottom}},
                        },
                        *(
                            layer
                            for side, dx in (("left", 5), ("right", -5))
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
                    "data": {"values": values[False]},
                    "mark": {"type": "line", "strokeWidth": 1.5, "color": "#AAAAAA"},
                    "encoding": {"detail": {"field": "option", "type": "nominal"}},
                },
                {
                    "data": {"values": values[True]},
                    "mark": {"type": "line", "strokeWidth": 2.5},
                    "encoding": {
                        "color": {
                            "field": "option",
                            "type": "nominal",
                            "scale": {"domain": domain, "range": [colour for colour, _ in styles]},
                            "legend": {
                                "orient": "top",
                                "labelFontSize": 11 if _differ_in_income(document) else 12,
                                "columns": 1,
                                "symbolType": "stroke",
                                "symbolSize": 700,
                                "rowPadding": -10,
                            },
                        },
                        "strokeDash": {
                            "field": "option",
                            "type": "nominal",
                            "scale": {"domain": domain, "range": [dashes for _, dashes in styles]},
                        },
                    },
                },
                {
                    "data": {"values": crossings},
                    "mark": {
                        "type": "point",
                        "size": 90,
                        "color": INK,
                        "fill": "#ffffff",
                        "opacity": 1,
                        "strokeWidth": 2,
                    },
                },
                {
                    "data": {
                        "values": [
                            {"amount": end, "label": _named(option)} for option, end in zip(found, ends, strict=True)
                        ]
                    },
                    "mark": {"type": "text", "align": "left", "dx": 6},
                    "encoding": {"x": {"value": "width"}, "text": {"field": "label", "type": "nominal"}},
                },
            ],
        },
    )


def _with_a_look_of_their_own(lines: Mapping[int, Sequence[float]]) -> list[int]:
    """The options whose lines a reader has to tell apart: all of a few, otherwise the first and those that lead most often."""
    if len(lines) <= _MOST_LINES:
        return list(lines)
    base, *_ = lines
    ahead = _years_ahead(lines)
    leading = sorted(
        (number for number in lines if ahead[number] and number != base), key=lambda number: -ahead[number]
    )
    return sorted([base, *leading[: _MOST_LINES - 1]])


def _years_ahead(lines: Mapping[int, Sequence[float]]) -> dict[int, int]:
    """At the end of how many tax years each option leaves the most, or as much as any."""
    most = [max(at_once) for at_once in zip(*lines.values(), strict=True)]
    return {number: sum(map(operator.eq, line, most)) for number, line in lines.items()}


def _told_leader(found: Sequence[Option], lines: Mapping[int, Sequence[float]]) -> str:
    """Which option leaves most at the end of most tax years."""
    years = len(next(iter(lines.values())))
    ahead = _years_ahead(lines)
    leader = max(found, key=lambda option: ahead[option["option"]])
    return f"{_named(leader)} leaves the most, or as much as any, at the end of {ahead[leader['option']]} of {years} tax years."


def _age_changes(
    document: Mapping[str, Any], days: Sequence[str], lines: Mapping[int, Sequence[float]], shown: Collection[int]
) -> Iterator[dict[str, Any] | None]:
    """Where one of the options shown overtakes another with time, on the line of the second of them."""
    for pair in document["break_evens"]["pairs"]:
        if not set(pair["options"]) <= set(shown):
            continue
        for change in pair["age"]["changes"]:
            yield _on_line(change["date"], days, lines[pair["options"][1]])


def _on_line(day: str, days: Sequence[str], line: Sequence[float]) -> dict[str, Any] | None:
    """The place of a day on a line; None before it begins."""
    for i in range(len(days) - 1):
        if days[i] <= day <= days[i + 1]:
            start, then, end = (date.fromisoformat(each) for each in (days[i], day, days[i + 1]))
            part = (then - start) / (end - start)
            return {"day": day, "amount": round(line[i] + part * (line[i + 1] - line[i]), 2)}
    return None


def _death_days(found: Sequence[Option], people: Sequence[str]) -> Iterator[dict[str, Any]]:
    """Each day of a death that is asked about, with who and how old."""
    seen = set()
    first, last = (date.fromisoformat(found[0]["years"][i]["to"]) for i in (0, -1))
    for option in found:
        for death in option["deaths"]:
            if death["outcome"] != "found":
                continue
            left = death["estates"][0]
            key = (left["person"], left["date"])
            if key in seen or not first <= date.fromisoformat(left["date"]) <= last:
                continue
            seen.add(key)
            early = (date.fromisoformat(left["date"]) - first) * 2 < last - first
            yield {
                "day": left["date"],
                "label": f"If {_dies(people, left)}",
                "align": "left" if early else "right",
            }


def _dies(people: Sequence[str], left: Mapping[str, Any]) -> str:
    person = people[left["person"]]
    return f"{inside(person)} {'die' if person == NAMELESS[0] else 'dies'} at {left['age']}"


def _growth_changes(document: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Each growth at which two options change places, and between which others this holds for the two."""
    limits = document["break_evens"]["growth"]
    for pair in document["break_evens"]["pairs"]:
        changes = pair["growth"]["changes"]
        places = [limits["low"], *(change["pension_growth"] for change in changes), limits["high"]]
        for change, start, end in zip(changes, places, places[2:], strict=False):
            yield {
                "growth": change["pension_growth"],
                "from": start,
                "to": end,
                "percent": _per_cent(change["pension_growth"]),
                "above": change["more_above"] + 1,
                "below": change["more_below"] + 1,
            }


def _per_cent(share: float) -> str:
    return f"{share * 100:.2f}%"


_ONE_GROWTH = ("the pension", "it grows", "", "")
_SEVERAL = ("the pensions", "they grow", " on average", " The growth of each is changed by as much.")


def _growth(document: Mapping[str, Any], changes: Sequence[dict[str, Any]]) -> Spec:
    limits = document["break_evens"]["growth"]
    assumed = limits.get("assumed_on_average", document["assumptions"]["pension_growth"])
    whose, grow, on_average, together = _ONE_GROWTH if "assumed_on_average" not in limits else _SEVERAL
    nearest = sorted(changes, key=lambda change: abs(change["growth"] - assumed))[:_MOST_CHANGES]
    ordered = sorted(nearest, key=lambda change: change["growth"])
    low, high = limits["low"], limits["high"]
    values = [
        {
            **{key: change[key] for key in ("growth", "from", "to")},
            "row": i,
            "label": f"Below {change['percent']} option {change['below']}, above it option {change['above']}",
        }
        for i, change in enumerate(ordered)
    ]
    first, *_ = nearest
    told = [
        f"The growth assumed for {whose} is {_per_cent(assumed)} a year{on_average}.{together}",
        f"If {grow} by more than {first['percent']}, option {first['above']} leaves more than option {first['below']}.",
        f"If {grow} by less, option {first['below']} leaves more.",
    ]
    few = " Those nearest to the assumed growth." if len(changes) > len(nearest) else ""
    x = {
        "field": "growth",
        "type": "quantitative",
        "scale": {"domain": [low, high], "nice": False},
        "axis": {"title": f"Pension growth a year{on_average}", "format": ".0%", "tickCount": 6, "grid": False},
    }
    return chart(
        "growth_break_evens",
        "Which of two options leaves more depends on growth",
        told,
        f"Two options in each row. Left of its dot the first named leaves more, right of it the other.{few}",
        {
            "height": {"step": 42},
            "encoding": {"y": {"field": "row", "type": "ordinal", "axis": None}, "x": x},
            "layer": [
                {
                    "data": {"values": [{"growth": assumed, "label": f"| assumed: {_per_cent(assumed)}"}]},
                    "layer": [
                        {
                            "mark": {"type": "text", "align": "left", "baseline": "line-bottom", "dx": -2, "dy": -3},
                            "encoding": {"y": {"value": 0}, "text": {"field": "label", "type": "nominal"}},
                        },
                    ],
                },
                {
                    "data": {"values": values},
                    "layer": [
                        *(
                            {
                                "mark": {"type": "rule", "color": colour, "strokeWidth": 6, "yOffset": 8},
                                "encoding": {"x": start, "x2": end},
                            }
                            for colour, start, end in (
                                (PALE, {"field": "from"}, {"field": "growth"}),
                                (SKY, {"field": "growth"}, {"field": "to"}),
                            )
                        ),
                        {
                            "mark": {"type": "tick", "color": INK, "size": 18, "thickness": 2, "yOffset": 8},
                            "encoding": {"x": {"datum": assumed}},
                        },
                        {
                            "mark": {
                                "type": "point",
                                "filled": True,
                                "size": 90,
                                "color": BLUE,
                                "opacity": 1,
                                "yOffset": 8,
                            }
                        },
                        {
                            "mark": {"type": "text", "align": "left", "dy": -9},
                            "encoding": {"x": {"value": 0}, "text": {"field": "label", "type": "nominal"}},
                        },
                    ],
                },
            ],
        },
    )


def _beneficiaries(document: Mapping[str, Any], found: Sequence[Option], people: Sequence[str]) -> Spec:
    shorts = _shorts(document)
    rows, told = [], []
    for place, order in enumerate(document["ranking"]["beneficiaries"]):
        deaths = {
            option["option"]: option["deaths"][place]
            for option in found
            if option["deaths"][place]["outcome"] == "found"
        }
        if not deaths:
            continue
        heading = _when(next(iter(deaths.values())), people)
        rows.append(Row(heading, kind="heading"))
        for option in found:
            if option["option"] not in deaths:
                rows.append(Row(f"{shorts[option['option']]}: not possible"))
                continue
            amount = deaths[option["option"]]["beneficiaries_receive"]
            kind = "main" if amount == order[0]["amount"] else "other"
            rows.append(Row(shorts[option["option"]], forecast(amount), 0, amount, kind))
        told.append(f"{heading}, {_leaders(order)} beneficiaries the most: {forecast(order[0]['amount'])}.")
    home = any(
        left["estate"]["home"] for option in found for death in option["deaths"] for left in death.get("estates", ())
    )
    unit = f"Pounds after inheritance tax and income tax{', with the home' if home else ''}. {_by(document)} Dark: the most."
    return rows_chart("beneficiaries", "What beneficiaries would receive", told[:2], unit, rows)


def _when(death: Mapping[str, Any], people: Sequence[str]) -> str:
    first, *others = death["estates"]
    later = [f"{inside(people[left['person']])} at {left['age']}" for left in others]
    return starting(" and ".join([f"if {_dies(people, first)}", *later]))

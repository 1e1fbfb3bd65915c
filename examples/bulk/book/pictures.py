"""Three charts of what another law does to a book, in the form of the charts in the service's answers.

Apart from the rest, because the frame and the bars are the service's own, which has to be installed here.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from service.charts.look import Spec, money
from service.charts.rows import Row, rows_chart

_MOST_ROWS = 12
_DRAWN_AS = "6.4"
CAUTION = "A proposal is not law, and may never be."


def charts_of(changes: Mapping[str, Any]) -> list[Spec]:
    """The charts of the changes of a summary: how many gain and lose, whose change is the largest, which warnings come and go.
    Of several measures the one with most clients is shown."""
    before, after = changes["laws"]
    unit = f"Under {after}, beside {before}. {CAUTION}"
    found = []
    measures = sorted(changes["measures"], key=lambda of: -of["compared"])
    if measures:
        found += [_who(measures[0], unit), _largest(changes, measures[0], unit)]
    return [*found, _warnings(changes, unit)]


def _who(of: Mapping[str, Any], unit: str) -> Spec:
    told = [
        f"Of {of['compared']:,} clients {of['gain']:,} gain and {of['lose']:,} lose by £1 or more.",
        f"Together they gain {money(of['gained'])} and lose {money(of['lost'])}.",
    ]
    rows = [
        Row(_begun(each["group"]), f"{each['clients']:,}", 0, each["clients"], _kind(each["group"]))
        for each in of["groups"]
        if each["clients"]
    ]
    return rows_chart("gain_or_lose", "Who gains and who loses", told, f"Clients by {of['measure']}. {unit}", rows)


def _largest(changes: Mapping[str, Any], of: Mapping[str, Any], unit: str) -> Spec:
    largest = [each for each in changes["largest"] if each["measure"] == of["measure"]][:_MOST_ROWS]
    told = (
        [f"The largest change is {_signed(largest[0]['gain'])}, of record {largest[0]['record']:,}."]
        if largest
        else ["No amount changes."]
    )
    rows = [
        Row(
            f"Record {each['record']:,}",
            _signed(each["gain"]),
            0,
            each["gain"],
            "main" if each["gain"] > 0 else "change",
        )
        for each in largest
    ] or [Row("No amount changes", kind="heading")]
    return rows_chart("largest_changes", "The largest changes", told, f"Change in {of['measure']}. {unit}", rows)


def _warnings(changes: Mapping[str, Any], unit: str) -> Spec:
    come, go = changes["warnings_come"], changes["warnings_go"]
    told = [f"{sum(come.values()):,} warnings come and {sum(go.values()):,} go."]
    rows: list[Row] = []
    for heading, counts, kind in (("Come", come, "change"), ("Go", go, "main")):
        if counts:
            rows.append(Row(heading, kind="heading"))
            rows += [
                Row(_begun(code.replace("_", " ")), f"{number:,}", 0, number, kind)
                for code, number in list(counts.items())[:_MOST_ROWS]
            ]
    rows = rows or [Row("No warning comes or goes", kind="heading")]
    return rows_chart("warnings", "Warnings that come and go", told, f"Clients by warning. {unit}", rows)


def _kind(group: str) -> str:
    return {"lose": "change", "gain": "main"}.get(group.split()[0], "other")


def _begun(words: str) -> str:
    return words[:1].upper() + words[1:]


def _signed(amount: float) -> str:
    return f"+{money(amount)}" if amount >= 0 else f"-{money(-amount)}"


def write(folder: Path, changes: Mapping[str, Any]) -> list[str]:
    """The charts as data in one file and, where vl-convert is installed, each as a picture; the names of the files."""
    charts = charts_of(changes)
    (folder / "charts.json").write_text(json.dumps(charts, indent=1, ensure_ascii=False) + "\n", "utf-8")
    names = ["charts.json"]
    if find_spec("vl_convert") is not None:
        from vl_convert import vegalite_to_svg

        for each in charts:
            names.append(f"chart-{each['name']}.svg")
            (folder / names[-1]).write_text(vegalite_to_svg(each["spec"], vl_version=_DRAWN_AS), "utf-8")
    return names

"""The page of a record, made from its document alone: the same document is the same page, byte for byte.

A document has ``operation``, ``request``, ``answer``, ``figures`` (a tax year's, with sources), ``pictures`` (the answer's
charts as SVG) and, where it was given, ``made_on``.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from hashlib import sha256
from html import escape
from typing import Any

from service.planning.wording import income_in_words, listed, lump_sums_in_words, starting
from service.record.words import PEOPLE, day, facts, money, share, words

TITLES = {
    "withdrawal-tax": "A pension withdrawal and its tax",
    "allowance-schedule": "A plan of pension withdrawals",
    "lump-sum-timing": "When to take the tax-free lump sum",
    "warnings": "Points to check before a pension withdrawal",
}
_FEW_OPTIONS = 6
"""With more options, a table of them needs smaller letters to fit the paper."""
EFFECTS = {"not_permitted": "Not permitted", "costs": "Has a cost", "check": "To check"}
_PLANS = {
    "pension_left_until_state_pension_age": "Pension left until State Pension age",
    "personal_allowance_filled": "Personal allowance filled each tax year",
}

_STYLE = """
@page { size: A4; margin: 12mm 16mm 15mm;
  @bottom-left { content: "An illustration, not advice"; font: 8pt sans-serif; color: #444 }
  @bottom-right { content: "Page " counter(page) " of " counter(pages); font: 8pt sans-serif; color: #444 } }
html { color-scheme: light }
body { font: 9.2pt/1.32 "DejaVu Sans", Verdana, sans-serif; color: #222; background: #fff; margin: 0 auto; max-width: 178mm }
@media screen { body { padding: 1.5rem } .wide { overflow-x: auto } }
h1 { font-size: 17pt; line-height: 1.2; margin: 0 0 3mm }
h2 { font-size: 12pt; margin: 5mm 0 2mm; border-bottom: .4mm solid #222; break-after: avoid }
h3 { font-size: 10pt; margin: 4mm 0 1mm; break-after: avoid }
p, ul { margin: 0 0 2mm }
.notice { border: .3mm solid #222; padding: 2mm 3mm; margin: 0 0 4mm }
table { border-collapse: collapse; width: 100%; margin: 0 0 2mm; font-size: 9pt }
caption { text-align: left; font-weight: bold; padding: 2mm 0 1mm }
th, td { text-align: left; vertical-align: top; padding: .7mm 2mm .7mm 0; border-bottom: .15mm solid #bbb; font-weight: normal;
  overflow-wrap: anywhere }
thead th { font-weight: bold; border-bottom-color: #222 }
tr { break-inside: avoid }
.number { text-align: right; white-space: nowrap; font-variant-numeric: tabular-nums }
.small, .small td, .small th { font-size: 7.5pt; line-height: 1.3 }
.narrow { font-size: 6.6pt; line-height: 1.2 }
.narrow th, .narrow td { padding: .5mm 1mm .5mm 0 }
.small tbody th:nth-last-child(n + 4), .narrow th { white-space: nowrap }
.narrow thead th { white-space: normal }
.columns { columns: 2 18rem; column-gap: 7mm }
.point { margin: 0 0 2mm; font-size: 8.5pt }
h4 { font-size: 8.5pt; margin: 0 0 .5mm; break-after: avoid }
.point p { margin: 0 0 .5mm; break-inside: avoid }
.point .small { break-before: avoid }
.asked th { width: 30%; overflow-wrap: normal }
.value { width: 24% }
figure { margin: 0 0 4mm; break-inside: avoid }
figure svg { width: 100%; height: auto; display: block }
figcaption { font-size: 8pt; line-height: 1.3 }
code { font: 7.5pt "DejaVu Sans Mono", monospace; overflow-wrap: anywhere }
"""


def page(document: dict[str, Any], text_of: Any) -> str:
    """The page; ``text_of`` writes a value as canonical JSON (RFC 8785)."""
    operation, request, answer = document["operation"], document["request"], document["answer"]
    title, rules = TITLES[operation], answer["rules"]
    made_on = document.get("made_on")
    body = [
        f"<h1>{escape(title)}</h1>",
        f"<p>{escape(_subject(operation, answer))}{escape(f' Record made on {day(made_on)}.') if made_on else ''}</p>",
        f'<p class="notice">{escape(answer["notice"])}</p>',
        *_section("The answer", _BRIEF[operation](answer)),
        *_section("Under another law", _other_law(answer)),
        '<div class="columns">',
        *_section("Pictures", _pictures(answer, document["pictures"])),
        *_section("Points to note", _points(answer["warnings"])),
        *_section("What was asked", _asked(request)),
        "</div>",
        *_section("How it was worked out", _working(answer)),
        *_section("Figures used", _figures(document["figures"], rules)),
        *_section("How to check this record", _identity(document, text_of)),
    ]
    embedded = json.dumps(document, ensure_ascii=False, separators=(",", ":")).replace("<", "\\u003c")
    return "\n".join(
        [
            "<!doctype html>",
            '<html lang="en-GB">',
            "<head>",
            '<meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
            f"<title>{escape(title)}</title>",
            f"<style>{_STYLE}</style>",
            "</head>",
            "<body>",
            "<main>",
            *body,
            "</main>",
            f'<script type="application/json" id="record">{embedded}</script>',
            "</body>",
            "</html>",
            "",
        ]
    )


def digest(value: Any, text_of: Any) -> str:
    """SHA-256 of a value's canonical JSON."""
    return sha256(text_of(value).encode("utf-8")).hexdigest()


def _section(heading: str, content: Sequence[str]) -> list[str]:
    return [f"<section><h2>{escape(heading)}</h2>", *content, "</section>"] if content else []


def _subject(operation: str, answer: dict[str, Any]) -> str:
    if operation == "withdrawal-tax":
        return f"Tax year {answer['tax_year']}."
    if operation == "warnings":
        return f"As things stand on {day(answer['date'])}."
    if operation == "lump-sum-timing":
        return f"From {day(answer['from'])} to {day(answer['to'])}."
    return f"From {day(answer['years'][0]['from'])} to {day(answer['years'][-1]['to'])}."


def _table(rows: Iterable[Sequence[str]], heads: Sequence[str] = (), caption: str = "", kind: str = "") -> str:
    """A table whose first column says what, and whose other columns are numbers."""

    def cells(row: Sequence[str]) -> str:
        first, *others = row
        return f'<th scope="row">{escape(first)}</th>' + "".join(
            f'<td class="number">{escape(other)}</td>' for other in others
        )

    head = "".join(
        f'<th scope="col"{" class=number" if place else ""}>{escape(text)}</th>' for place, text in enumerate(heads)
    )
    return "".join(
        [
            f"<table{f' class={kind}' if kind else ''}>",
            f"<caption>{escape(caption)}</caption>" if caption else "",
            f"<thead><tr>{head}</tr></thead>" if heads else "",
            "<tbody>",
            *(f"<tr>{cells(row)}</tr>\n" for row in rows),
            "</tbody></table>",
        ]
    )


def _list(sentences: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(sentence)}</li>" for sentence in sentences) + "</ul>"


def _quote(answer: dict[str, Any]) -> list[str]:
    withdrawal, tax, payroll = answer["withdrawal"], answer["income_tax"], answer["payroll"]
    rows = [
        ("Leaves the pension", money(withdrawal["gross"])),
        ("Of this, tax free", money(withdrawal["tax_free"])),
        ("Of this, taxable", money(withdrawal["taxable"])),
        ("Tax deducted by the provider", money(payroll["tax_deducted"])),
        ("Arrives in the bank", money(payroll["paid_out"])),
    ]
    if payroll["over_deducted"]:
        rows.append(("Too much deducted, which can be reclaimed", money(payroll["over_deducted"])))
    if payroll["under_deducted"]:
        rows.append(("Too little deducted, still to be paid", money(payroll["under_deducted"])))
    if "lifetime_allowance" in answer:
        rows.append(("Lifetime allowance charge", money(answer["lifetime_allowance"]["charge"])))
    rows += [
        ("Tax that the withdrawal adds to the year", money(tax["on_withdrawal"])),
        ("Kept after the year's tax", money(answer["net_after_tax"])),
        ("Tax as a share of the withdrawal", share(tax["effective_rate"])),
        ("Left in the pension, not yet accessed", money(answer["pension_after"]["uncrystallised"])),
        ("Left in the pension, in drawdown", money(answer["pension_after"]["drawdown"])),
    ]
    slices = [
        (
            f"{money(piece['from'])} to {money(piece['to'])}: {', '.join(map(words, piece['because']))}",
            share(piece.get("average_rate", piece["rate"])) if "rate" in piece else "all at once",
            money(piece["tax"]),
        )
        for piece in tax["slices"]
    ]
    reclaim = payroll["reclaim"]
    how = [payroll["explanation"], *([reclaim["reason"]] if payroll["over_deducted"] else [])]
    content = [_table(rows), *(f"<p>{escape(text)}</p>" for text in how)]
    if slices:
        content.append(_table(slices, ("Part of the taxable amount", "Rate", "Tax"), "How the taxable part is taxed"))
    return content


def _plan(answer: dict[str, Any]) -> list[str]:
    totals = answer["totals"]
    rows = [
        ("Drawn from pensions", money(totals["withdrawn"])),
        ("Of this, tax free", money(totals["tax_free"])),
        ("Income tax", money(totals["income_tax"])),
        ("Paid into ISAs", money(totals["isa_subscriptions"])),
        ("Spent", money(totals["spent"])),
        ("Left after tax", money(totals["wealth_after_tax"])),
        ("The same in the prices of the first day", money(totals["wealth_after_tax_in_prices_of_start"])),
    ]
    others = [
        (
            _PLANS.get(other["plan"], starting(words(other["plan"]))),
            money(other["wealth_after_tax"]) if other["outcome"] == "found" else "not possible",
        )
        for other in answer["compared_with"]
    ]
    told = [_list(answer["summary"])] if answer.get("summary") else []
    return [*told, _table(rows), _table(others, ("Plainer plans", "Left after tax")), *_assumed(answer)]


def _timing(answer: dict[str, Any]) -> list[str]:
    rows: list[tuple[str, ...]] = []
    for option in answer["options"]:
        name = f"Option {option['option'] + 1}, {_way(option)}"
        if option["outcome"] != "found":
            rows.append((f"{name}: not possible. {option['reason']}", "", "", ""))
            continue
        totals = option["totals"]
        rows.append((name, *(money(totals[key]) for key in ("tax_free_cash", "income_tax", "wealth_after_tax"))))
    heads = ("Option", "Tax-free cash", "Income tax", "Left after tax")
    return [_list(answer["summary"]), _table(rows, heads), *_assumed(answer)]


def _way(option: dict[str, Any]) -> str:
    yearly = option.get("yearly")
    stages = None if yearly is None or isinstance(yearly, str) else round(yearly * 100)
    return f"{lump_sums_in_words(option['lump_sums'], option.get('age'), stages)}; {income_in_words(option['aim']['goal'])}"


def _assumed(answer: dict[str, Any]) -> list[str]:
    told = [
        f"{words(key)} {_assumption(value)}"
        for key, value in answer["assumptions"].items()
        if not isinstance(value, dict)
    ]
    return [f"<p><b>Assumed, a year:</b> {escape('; '.join(told))}.</p>"]


def _assumption(value: float | str | list[Any]) -> str:
    if isinstance(value, list):
        return " and ".join(_growth_of(one) if isinstance(one, dict) else share(one) for one in value)
    return words(value) if isinstance(value, str) else share(value)


def _growth_of(one: dict[str, Any]) -> str:
    """The growth of one pension, or of several that count as one; people count pensions from 1."""
    places = [str(place + 1) for place in (one["pension"], *one.get("together_with", ()))]
    which = f"{'pension' if len(places) == 1 else 'pensions'} {listed(places)}"
    return f"{PEOPLE[one['person']]}'s {which} {share(one['growth'])}"


def _warned(answer: dict[str, Any]) -> list[str]:
    return [_table([(EFFECTS[effect], str(count)) for effect, count in answer["counts"].items()], ("Points", "Number"))]


_BRIEF = {"withdrawal-tax": _quote, "allowance-schedule": _plan, "lump-sum-timing": _timing, "warnings": _warned}


def _other_law(answer: dict[str, Any]) -> list[str]:
    """What is otherwise under another law, where the answer is compared with one; of a plan, the income tax of each year too."""
    if "compared_law" not in answer:
        return []
    other = answer["compared_law"]
    if other["outcome"] != "found":
        return [f"<p>{escape(other['reason'])}</p>"]
    rows = [
        (year["tax_year"], *(money(year["income_tax"][key]) for key in ("value", "compared", "difference")))
        for year in other.get("years", ())
    ]
    heads = ("Income tax in", "This answer", "The other law", "More, or less")
    table = [_table(rows, heads, kind="small")] if rows else []
    return [_list(other["summary"]), *table, f'<p class="notice">{escape(other["notice"])}</p>']


def _pictures(answer: dict[str, Any], pictures: Sequence[str]) -> list[str]:
    return [
        f"<figure>{_own_names(picture, place)}<figcaption>{escape(' '.join(chart['text']))}</figcaption></figure>"
        for place, (chart, picture) in enumerate(zip(answer.get("charts", ()), pictures, strict=True))
    ]


def _own_names(picture: str, place: int) -> str:
    """A picture whose parts have names of their own: on one page no two may share one."""
    return re.sub(r'(id="|url\(#)', rf"\g<1>picture{place}-", picture)


def _points(warnings: Sequence[dict[str, Any]]) -> list[str]:
    """The points in the answer's order. Those of one kind, such as of several options, stand together where the first one is."""
    kinds: dict[str, dict[str, list[dict[str, Any]]]] = {}
    for warning in warnings:
        kinds.setdefault(warning["effect"], {}).setdefault(warning["title"], []).append(warning)
    return [
        line
        for effect, titles in kinds.items()
        for line in (f"<h3>{EFFECTS[effect]}</h3>", *(_point(title, found) for title, found in titles.items()))
    ]


def _point(title: str, found: Sequence[dict[str, Any]]) -> str:
    sources = dict.fromkeys(source for warning in found for source in warning["sources"])
    told = ((warning.get("options"), " ".join([warning["detail"], *warning.get("caveats", [])])) for warning in found)
    return (
        f'<div class="point"><h4>{escape(title)}</h4>'
        + "".join(f"<p>{_of_options(options)}{escape(text)}</p>" for options, text in told)
        + f'<p class="small">{escape("; ".join(sources))}</p></div>'
    )


def _of_options(places: Sequence[int] | None) -> str:
    """Which options a point is about, to stand before it."""
    if not places:
        return ""
    *others, last = (str(place + 1) for place in places)
    which = f"Options {', '.join(others)} and {last}" if others else f"Option {last}"
    return f"<b>{which}:</b> "


def _asked(request: dict[str, Any]) -> list[str]:
    tables = []
    for heading, lines in facts(request):
        rows = "".join(f'<tr><th scope="row">{escape(what)}</th><td>{escape(text)}</td></tr>\n' for what, text in lines)
        caption = f"<caption>{escape(heading)}</caption>" if heading else ""
        tables.append(f'<table class="small asked">{caption}<tbody>{rows}</tbody></table>')
    return tables


def _working(answer: dict[str, Any]) -> list[str]:
    if "working" in answer:
        return _steps(answer["working"])
    if "compared_with" in answer:
        return _years(answer["years"])
    if "options" in answer:
        return _years_of_options([option for option in answer["options"] if option["outcome"] == "found"])
    return []


def _steps(steps: Sequence[dict[str, Any]]) -> list[str]:
    rows = "".join(
        f'<tr><th scope="row">{escape(step["title"])}<br>{escape(step["detail"])}</th>'
        f'<td class="number">{escape(_result(step["result"]))}</td><td>{escape(step["section"])}</td></tr>\n'
        for step in steps
    )
    return [f'<table class="small">{_head("Step", "number", "Result", "Law")}<tbody>{rows}</tbody></table>']


def _years(years: Sequence[dict[str, Any]]) -> list[str]:
    keys = ("withdrawn", "income_tax", "isa_subscriptions", "in_pensions", "in_isas", "in_cash")
    rows = [(year["tax_year"], *(money(year["household"][key]) for key in keys)) for year in years]
    heads = ("Tax year", "Drawn", "Income tax", "Into ISAs", "Pensions", "ISAs", "Cash")
    return [_table(rows, heads, "Balances at the end of each tax year", "small")]


def _years_of_options(found: Sequence[dict[str, Any]]) -> list[str]:
    if not found:
        return []
    rows = [
        (year["tax_year"], *(_whole(option["years"][i]["household"]["wealth_after_tax"]) for option in found))
        for i, year in enumerate(found[0]["years"])
    ]
    heads = ("Tax year", *(f"Option {option['option'] + 1}" for option in found))
    caption = "What would be left after tax at the end of each tax year, in whole pounds"
    if len(found) <= _FEW_OPTIONS:
        return [_table(rows, heads, caption, "small")]
    # On a telephone the table is moved sideways by itself: by a finger, or by the keyboard once it has the focus.
    table = _table(rows, heads, caption, "narrow")
    return [f'<div class="wide" role="region" tabindex="0" aria-label="{escape(caption)}">{table}</div>']


def _whole(amount: float) -> str:
    return money(round(amount))


def _head(first: str, kind: str, middle: str, last: str) -> str:
    cells = (
        f'<th scope="col">{first}</th>',
        f'<th scope="col" class="{kind}">{middle}</th>',
        f'<th scope="col">{last}</th>',
    )
    return f"<thead><tr>{''.join(cells)}</tr></thead>"


def _result(value: Any) -> str:
    return money(value) if isinstance(value, int | float) else str(value)


def _figures(figures: dict[str, Any], rules: dict[str, Any]) -> list[str]:
    content = [_list(dict.fromkeys(caveat["caveat"] for caveat in rules["caveats"]))] if rules["caveats"] else []
    rows = "".join(
        f'<tr><th scope="row">{escape(": ".join(words(part) for part in figure["name"].split(".")))}</th>'
        f'<td class="value">{escape(_figure(figure["value"]))}</td>'
        f"<td>{escape(figure['source'])}{escape(_STANDING[figure['standing']])}</td></tr>\n"
        for figure in figures["figures"]
    )
    head = _head("Figure", "value", "Value", "Source")
    heading = f"<h3>The main figures, for {escape(figures['tax_year'])}</h3>"
    return [*content, heading, f'<table class="small">{head}<tbody>{rows}</tbody></table>']


_STANDING = {
    "enacted": "",
    "announced": ". Announced, not yet law",
    "assumed": ". Not yet set",
    "proposed": ". Proposed, not law",
}


def _figure(value: Any) -> str:
    if isinstance(value, list):
        return "; ".join(
            f"{share(band['rate'])}{' to ' + money(band['up_to']) if 'up_to' in band else ' above'}" for band in value
        )
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return share(value) if 0 < value < 1 else money(value) if value >= 100 else f"{value:g}"
    return day(value) if re.fullmatch(r"\d{4}-\d\d-\d\d", str(value)) else words(str(value))


def _identity(document: dict[str, Any], text_of: Any) -> list[str]:
    rules = document["answer"]["rules"]
    rows = [
        ("Rules", rules["version"]),
        ("Figures", rules["figures_version"]),
        ("Software", rules["software_version"]),
        ("Law as of", day(rules["law_as_of"])),
        ("Status of the figures", words(rules["standing"])),
        ("SHA-256 of the request", digest(document["request"], text_of)),
        ("SHA-256 of the answer", digest(document["answer"], text_of)),
    ]
    lines = "".join(
        f'<tr><th scope="row">{what}</th><td><code>{escape(value)}</code></td></tr>\n' for what, value in rows
    )
    return [
        "<p>The request and the whole answer are inside the page's file. The same request under the same rules always has "
        "this answer. The digests are of their canonical JSON (RFC 8785).</p>",
        f'<table class="small"><tbody>{lines}</tbody></table>',
    ]

"""The page of a comparison: ways to time the tax-free lump sum side by side, deaths, and where two ways change places."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from math import ceil
from typing import Any

from service.console.layout import (
    day,
    effect_of,
    ending,
    headed,
    money,
    month,
    paragraph,
    points,
    pounds,
    share,
    tax_on_what_is_left,
    title,
)
from service.console.plan import pension_growth

LABEL, COLUMN = 34, 11
MOST_COLUMNS = 4
LUMP_SUMS = {
    "all_now": "all tax-free cash now",
    "phased": "tax-free cash in stages",
    "with_each_withdrawal": "tax-free cash with each withdrawal",
    "at_age": "all tax-free cash at an age",
    "never": "no tax-free cash",
}
GOALS = {
    "personal_allowance": "draw what fills the personal allowance",
    "basic_rate_band": "draw what fills the basic rate band",
    "higher_rate_band": "draw what fills the higher rate band",
    "spending_only": "draw only what is spent",
}
ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")

_WIDTHS = (9, 12, 12, 12, 16)
"""Of the columns about many courses of markets, after the option."""

Cell = Callable[[dict[str, Any]], str]


def page(answer: dict[str, Any]) -> list[str]:
    """The lines of the page."""
    options = {option["option"]: option for option in answer["options"] if option["outcome"] == "found"}
    lines = [
        *title(f"When to take the tax-free lump sum, from {day(answer['from'])} to {day(answer['to'])}"),
        *headed("Options", described_all(answer["options"])),
        *headed("In short", [line for sentence in answer["summary"] for line in paragraph(sentence)]),
        *headed("Assumed", assumed(answer["assumptions"])),
    ]
    if options:
        lines += headed("Side by side, in whole pounds", side_by_side(options, month(answer["from"])))
        lines += headed("Left after tax if all ended then, in whole pounds", year_by_year(options))
        lines += deaths(answer, options)
        lines += headed("In order", orders(answer))
    if "markets" in answer:
        lines += headed(
            "On many courses of markets, in prices of the start and whole pounds", on_courses(answer["markets"])
        )
    return [
        *lines,
        *headed(f"Where two options change places{between(answer)}", changes(answer)),
        *headed("Points to note", points(answer["warnings"], [remark(each) for each in answer["warnings"]])),
        *ending(answer),
    ]


def remark(warning: dict[str, Any]) -> str:
    """What kind of effect a warning is about, and which options."""
    which = [ORDINALS[place] for place in warning.get("options", ())]
    return (
        f"{effect_of(warning)}; {'option' if len(which) == 1 else 'options'} {', '.join(which)}"
        if which
        else effect_of(warning)
    )


def between(answer: dict[str, Any]) -> str:
    """The range of growth that is looked at for a change of places, in words."""
    growth = answer["break_evens"].get("growth")
    return f", at a growth of {share(growth['low'])} to {share(growth['high'])} or an age" if growth else ""


def assumed(rates: dict[str, Any]) -> list[str]:
    """The rates that were assumed."""
    return paragraph(
        f"Each year {pension_growth(rates)}, ISAs by {share(rates['isa_growth'])}, cash by "
        f"{share(rates['cash_interest'])}, and prices by {share(rates['price_inflation'])}. Tax on what is left in the "
        f"pension: {tax_on_what_is_left(rates)}. Tax of beneficiaries on pension money: "
        f"{share(rates['beneficiary_tax_rate'])}."
    )


def described_all(options: list[dict[str, Any]]) -> list[str]:
    """Each option in words, and why one is not possible."""
    lines: list[str] = []
    for option in options:
        lines += paragraph(f"{ORDINALS[option['option']]}: {described(option)}", "  ", "  ")
        if option["outcome"] != "found":
            lines += paragraph(f"Not possible. {option['reason']}", "    ")
    return lines


def described(option: dict[str, Any]) -> str:
    """An option in words."""
    words = LUMP_SUMS[option["lump_sums"]]
    if option["lump_sums"] == "at_age":
        words = f"all tax-free cash at {option['age']}"
    if option["lump_sums"] == "phased":
        yearly = option["yearly"]
        words += " that fit the ISA allowance" if yearly == "isa_allowance" else f" of {money(yearly)} a year"
    return f"{words}; {GOALS[option['aim']['goal']]}"


def columns(options: dict[int, dict[str, Any]]) -> Iterator[dict[int, dict[str, Any]]]:
    """The options that can be carried out, as many at a time as fit the page, and no option alone where it can be helped."""
    places = list(options)
    at_a_time = ceil(len(places) / ceil(len(places) / MOST_COLUMNS))
    for start in range(0, len(places), at_a_time):
        yield {place: options[place] for place in places[start : start + at_a_time]}


def row(label: str, cells: list[str]) -> str:
    """One line of a table."""
    return f"  {label:<{LABEL}}" + "".join(f"{cell:>{COLUMN}}" for cell in cells)


def table(options: dict[int, dict[str, Any]], rows: dict[str, Cell], heading: str = "option") -> list[str]:
    """Lines by name, options in columns."""
    lines: list[str] = []
    for some in columns(options):
        lines += [""] if lines else []
        lines.append(row(heading, [ORDINALS[place] for place in some]))
        lines += [row(label, [cell(option) for option in some.values()]) for label, cell in rows.items()]
    return lines


def of_totals(*path: str | int) -> Cell:
    """A cell with one of the amounts of an option's totals."""

    def cell(option: dict[str, Any]) -> str:
        found: Any = option["totals"]
        for key in path:
            found = found[key]
        return pounds(found)

    return cell


def of_people(*path: str) -> Cell:
    """A cell with an amount of the totals of all people together."""

    def cell(option: dict[str, Any]) -> str:
        whole = 0.0
        for person in option["totals"]["people"]:
            found: Any = person
            for key in path:
                found = found[key]
            whole += found
        return pounds(whole)

    return cell


def waits_until(option: dict[str, Any]) -> str:
    """From which tax year no cash waits any more."""
    return str(option["totals"].get("no_cash_waits_from", "to the end")) if waits(option) else "-"


def waits(option: dict[str, Any]) -> bool:
    """Whether any cash ever waits at the end of a tax year."""
    return bool(option["totals"]["most_cash_waiting"])


def triggered(i: int) -> Cell:
    """A cell with the tax year from which a person may pay less into pensions."""

    def cell(option: dict[str, Any]) -> str:
        found = option["totals"]["people"][i]["money_purchase_annual_allowance"]
        return str(found.get("tax_year", "-"))

    return cell


def side_by_side(options: dict[int, dict[str, Any]], start: str) -> list[str]:
    """The totals of the options, in whole pounds."""
    people = len(next(iter(options.values()))["totals"]["people"])
    names = [f", {ordinal} person" for ordinal in ORDINALS[:people]] if people > 1 else [""]
    rows: dict[str, Cell] = {
        "tax-free cash received": of_totals("tax_free_cash"),
        "  in lump sums": of_people("tax_free_cash_parts", "in_lump_sums"),
        "  with withdrawals": of_people("tax_free_cash_parts", "with_withdrawals"),
        "could still be taken at the end": of_people("tax_free_cash_parts", "still_available"),
        "less than if left to the end": of_people("tax_free_cash_parts", "forgone"),
        "lost to the lump sum allowance": of_people("tax_free_cash_parts", "above_allowance"),
        "left out of withdrawals": of_people("tax_free_cash_parts", "given_up"),
        "drawn from pensions in all": of_totals("withdrawn"),
        "income tax": of_totals("income_tax"),
        "most cash waiting outside ISAs": of_totals("most_cash_waiting"),
        "  none waits from": waits_until,
        "  its interest": of_totals("interest_on_waiting_cash"),
        "  tax on that interest": of_totals("tax_on_interest"),
    }
    rows |= {f"paying in limited{name}": triggered(i) for i, name in enumerate(names)}
    rows |= {
        "spent": of_totals("spent"),
        "pension at the end": of_totals("in_pensions"),
        "ISA at the end": of_totals("in_isas"),
        "cash at the end": of_totals("in_cash"),
        "left after tax": of_totals("wealth_after_tax"),
        f"  in prices of {start}": of_totals("wealth_after_tax_in_prices_of_start"),
    }
    return table(options, rows)


def year_by_year(options: dict[int, dict[str, Any]]) -> list[str]:
    """What each option would leave after tax at the end of each tax year, in whole pounds."""
    years = next(iter(options.values()))["years"]
    rows: dict[str, Cell] = {}
    for position, year in enumerate(years):
        ages = "/".join(str(person["age"]) for person in year["people"])
        rows[f"{year['tax_year']}  to {day_in_short(year['to'])}  {ages:>5}"] = wealth_at(position)
    return table(options, rows, f"{'tax year':<25}{'ages' if len(years[0]['people']) > 1 else 'age':>5}")


def day_in_short(iso: str) -> str:
    """A day in a column."""
    return f"{date.fromisoformat(iso).day:>2} {date.fromisoformat(iso):%b %Y}"


def wealth_at(position: int) -> Cell:
    """A cell with what is left after tax at the end of a tax year."""
    return lambda option: pounds(option["years"][position]["household"]["wealth_after_tax"])


def order(ranking: list[dict[str, Any]]) -> str:
    """Options from the best to the worst."""
    return ", ".join(f"{ORDINALS[placed['option']]} (£{placed['amount']:,.0f})" for placed in ranking) or "none"


def orders(answer: dict[str, Any]) -> list[str]:
    """The options in order by each measure."""
    ranking = answer["ranking"]
    found = {
        "most left after tax": ranking["wealth_after_tax"],
        "least income tax": ranking["income_tax"],
        **{f"most received, {ORDINALS[k]} case": placed for k, placed in enumerate(ranking["beneficiaries"])},
        **{f"most left, {name} growth": placed for name, placed in ranking.get("scenarios", {}).items()},
    }
    width = max(len(name) for name in found) + 2
    return [
        line
        for name, placed in found.items()
        for line in paragraph(f"{name:<{width}}{order(placed)}", "  ", " " * width)
    ]


def on_courses(found: dict[str, Any]) -> list[str]:
    """What many courses of markets come to: the sentences, and each option beside the others."""
    lines = [part for sentence in found["summary"] for part in paragraph(sentence)]
    heads = ("best on", "5% at most", "half", "95%", "loses at worst")
    lines.append(f"  {'option':<10}" + "".join(f"{head:>{width}}" for head, width in zip(heads, _WIDTHS, strict=True)))
    for option in found["options"]:
        outcome = option["outcome_in_prices_of_start"]
        amounts = (outcome["p5"], outcome["p50"], outcome["p95"], option["largest_loss"])
        cells = (share(option["best_in"]["share"]), *(pounds(amount) for amount in amounts))
        name = ORDINALS[option["option"]]
        lines.append(f"  {name:<10}" + "".join(f"{cell:>{width}}" for cell, width in zip(cells, _WIDTHS, strict=True)))
    return lines


def changes(answer: dict[str, Any]) -> list[str]:
    """At which growth and at which age two options change places."""
    found = answer["break_evens"]
    lines = []
    for pair in found["pairs"]:
        first, second = (ORDINALS[place] for place in pair["options"])
        words = [growth_change(change) for change in pair["growth"]["changes"]]
        if pair["growth"]["outcome"] == "not_computed":
            words = ["not computed: at some growth one of them cannot be carried out"]
        words += [age_change(change) for change in pair["age"]["changes"]]
        lines += paragraph(f"{first} and {second}: {'; '.join(words) or 'never'}", "  ", "  ")
    return lines


def growth_change(change: dict[str, Any]) -> str:
    """A growth at which two options change places, in words."""
    on_average = " on average" if "above_assumed" in change else ""
    growth = f"{share(change['pension_growth'])}{on_average}"
    words = f"at pension growth of {growth}, above it the {ORDINALS[change['more_above']]} leaves more"
    if abs(change["difference"]) > 1:
        words += f" (a step of the tax: there {money(abs(change['difference']))} between them)"
    return words


def age_change(change: dict[str, Any]) -> str:
    """An age at which two options change places, in words."""
    return (
        f"from {day(change['date'])}, at {change['age_then']}, the {ORDINALS[change['more_from_then_on']]} leaves more"
    )


def who_dies(answer: dict[str, Any], k: int) -> str:
    """Who dies when, from the first option that tells."""
    for option in answer["options"]:
        if option["outcome"] == "found" and option["deaths"][k]["outcome"] == "found":
            return ", then ".join(
                f"the {ORDINALS[left['person']]} person dies at {left['age']}, on {day(left['date'])}"
                for left in option["deaths"][k]["estates"]
            )
    return "cannot be computed"


def of_death(k: int, name: str) -> Cell:
    """A cell with an amount of a death."""
    return lambda option: pounds(option["deaths"][k][name]) if option["deaths"][k]["outcome"] == "found" else "*"


def of_estates(k: int, *path: str) -> Cell:
    """A cell with an amount of the last estate of a death, that which beneficiaries receive."""

    def cell(option: dict[str, Any]) -> str:
        if option["deaths"][k]["outcome"] != "found":
            return "*"
        found: Any = option["deaths"][k]["estates"][-1]
        for key in path:
            found = found[key]
        return pounds(found)

    return cell


def deaths(answer: dict[str, Any], options: dict[int, dict[str, Any]]) -> list[str]:
    """What beneficiaries receive on each death asked about, in whole pounds."""
    lines: list[str] = []
    for k in range(len(answer["ranking"]["beneficiaries"])):
        rows: dict[str, Cell] = {
            "estate of the last to die": of_estates(k, "estate", "value"),
            "their unused pension": of_estates(k, "estate", "unused_pension"),
            "residence nil-rate band": of_estates(k, "residence_nil_rate_band", "available"),
            "  lost by its taper": of_estates(k, "residence_nil_rate_band", "taper"),
            "nil-rate band": of_estates(k, "nil_rate_band", "available"),
            "inheritance tax": of_death(k, "inheritance_tax"),
            "income tax on pension money": of_death(k, "beneficiaries_income_tax"),
            "beneficiaries receive": of_death(k, "beneficiaries_receive"),
            f"  in prices of {month(answer['from'])}": of_death(k, "beneficiaries_receive_in_prices_of_start"),
        }
        lines += [
            "",
            *paragraph(f"{ORDINALS[k].capitalize()} case: {who_dies(answer, k)}", "", "  "),
            *table(options, rows),
        ]
        for place, option in options.items():
            if option["deaths"][k]["outcome"] != "found":
                lines += paragraph(f"* {ORDINALS[place]}: {option['deaths'][k]['reason']}")
    return lines

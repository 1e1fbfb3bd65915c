"""The page of a plan: its tax years, its sums, plainer plans beside it, its proof, and points to note."""

from __future__ import annotations

from typing import Any

from service.console.layout import (
    day,
    effect_of,
    ending,
    headed,
    line,
    money,
    month,
    paragraph,
    points,
    pounds,
    share,
    tax_on_what_is_left,
    title,
    words,
)

COLUMN = 10
GOALS = {
    "personal_allowance": "fill the personal allowance each tax year",
    "basic_rate_band": "fill the basic rate band each tax year",
    "higher_rate_band": "fill the higher rate band each tax year",
    "most_after_tax": "leave the most after tax",
    "steady_income": "pay the highest steady income",
    "most_to_beneficiaries": "leave the most to beneficiaries",
}
LUMP_SUMS = {
    "with_each_withdrawal": "a tax-free part with each withdrawal",
    "all_now": "all tax-free cash at once",
    "never": "no tax-free cash",
}
STOPPED_BY = {
    "gap": "The search ended because nothing more is to be gained.",
    "work_limit": "The search ended at its limit of work. A longer one might find more.",
    "search_complete": "The search ended with nothing left to look at.",
}
PLANS = {
    "pension_left_until_state_pension_age": "pension left until State Pension age",
    "personal_allowance_filled": "personal allowance filled each tax year",
}


def page(plan: dict[str, Any]) -> list[str]:
    """The lines of the page."""
    first, last = plan["years"][0], plan["years"][-1]
    goal = GOALS.get(plan["aim"]["goal"], words(plan["aim"]["goal"]))
    return [
        *title(f"A plan from {day(first['from'])} to {day(last['to'])}: {goal}"),
        *headed("In short", [part for sentence in plan["summary"] for part in paragraph(sentence)]),
        *headed("Assumed", assumed(plan)),
        *headed("What moves in each tax year, in whole pounds", moved(plan)),
        *headed("What is held at the end of each tax year, in whole pounds", held(plan)),
        *headed("In all", totals(plan)),
        *headed("To beneficiaries, if everybody died on the last day", estate(plan.get("estate_at_the_end"))),
        *headed("Left after tax by simpler plans", compared(plan["compared_with"])),
        *headed("To beneficiaries by simpler plans", compared_for_beneficiaries(plan["compared_with"])),
        *headed("Left after tax with other growth", scenarios(plan.get("scenarios", {}))),
        *headed(
            "On many courses of markets, in prices of the start and whole pounds",
            over_paths(plan["markets"]) if "markets" in plan else [],
        ),
        *headed("How good the plan is", proved(plan["proof"]) if "proof" in plan else []),
        *headed("Points to note", points(plan["warnings"], map(effect_of, plan["warnings"]))),
        *ending(plan),
    ]


def assumed(plan: dict[str, Any]) -> list[str]:
    """The rates that were assumed, a year."""
    rates = plan["assumptions"]
    lump_sums = LUMP_SUMS.get(plan["lump_sums"], words(plan["lump_sums"]))
    return [
        *paragraph(f"The tax-free cash: {lump_sums}."),
        *paragraph(
            f"Each year {pension_growth(rates)}, ISAs by {share(rates['isa_growth'])}, cash by "
            f"{share(rates['cash_interest'])}, and prices by {share(rates['price_inflation'])}. Tax on what is left in the "
            f"pension: {tax_on_what_is_left(rates)}."
        ),
    ]


def pension_growth(rates: dict[str, Any]) -> str:
    """By how much the pension grows, or the pensions of two people, or several of one."""
    several = rates.get("growth_by_pension", [])
    if several:
        return "by pension: " + ", ".join(_one_of_several(one) for one in several)
    growths = rates.get("pension_growths")
    if growths is None:
        return f"the pension grows by {share(rates['pension_growth'])}"
    return f"the first person's pension grows by {share(growths[0])}, the second person's by {share(growths[1])}"


def _one_of_several(one: dict[str, Any]) -> str:
    """Whose pensions grow by how much. They are numbered from 0, as in the request."""
    places = " and ".join(str(place) for place in (one["pension"], *one.get("together_with", ())))
    return f"{('the first', 'the second')[one['person']]} person's {places} by {share(one['growth'])}"


def drawn(person: dict[str, Any]) -> float:
    """What a person takes from all pensions in a tax year, a lump sum included."""
    return float(person["lump_sum"] + sum(withdrawal["gross"] for withdrawal in person["withdrawals"]))


def table(plan: dict[str, Any], heads: list[str], amounts: list[list[float]]) -> list[str]:
    """A line for each tax year, with the ages at its end."""
    people = len(plan["years"][0]["people"])
    start = f"  {'tax year':<9}{'age' if people == 1 else 'ages':>6}"
    lines = [start + "".join(f"{head:>{COLUMN}}" for head in heads)]
    for year, row in zip(plan["years"], amounts, strict=True):
        ages = "/".join(str(person["age"]) for person in year["people"])
        lines.append(f"  {year['tax_year']:<9}{ages:>6}" + "".join(f"{pounds(amount):>{COLUMN}}" for amount in row))
    return lines


def moved(plan: dict[str, Any]) -> list[str]:
    """What is drawn, taxed, paid into and out of ISAs, and spent."""
    who = ["1st draws", "2nd draws"] if len(plan["years"][0]["people"]) > 1 else ["drawn"]
    amounts = [
        [
            *(drawn(person) for person in year["people"]),
            year["household"]["income_tax"],
            year["household"]["isa_subscriptions"],
            sum(person["isa_withdrawal"] for person in year["people"]),
            year["spending"],
        ]
        for year in plan["years"]
    ]
    return table(plan, [*who, "tax", "into ISA", "from ISA", "spent"], amounts)


def held(plan: dict[str, Any]) -> list[str]:
    """What is in pensions, in ISAs and in cash."""
    names = ("in_pensions", "in_isas", "in_cash", "wealth_before_tax")
    amounts = [[year["household"][name] for name in names] for year in plan["years"]]
    return table(plan, ["pension", "ISA", "cash", "in all"], amounts)


def totals(plan: dict[str, Any]) -> list[str]:
    """The sums of all years."""
    found = plan["totals"]
    lines = {
        "drawn from pensions": found["withdrawn"],
        "  of it tax free": found["tax_free"],
        "income tax": found["income_tax"],
        "paid into ISAs": found["isa_subscriptions"],
        "spent": found["spent"],
        "left after tax": found["wealth_after_tax"],
    }
    later = found["wealth_after_tax_in_prices_of_start"]
    lines[f"  the same in the prices of {month(plan['years'][0]['from'])}"] = later
    return [line(label, money(amount)) for label, amount in lines.items()]


def beyond(gain: float) -> str:
    """How much more than another this plan leaves, in words."""
    if gain == 0:
        return "this plan leaves the same"
    return f"this plan leaves {money(abs(gain))} {'more' if gain > 0 else 'less'}"


def compared(others: list[dict[str, Any]]) -> list[str]:
    """What this plan leaves beyond the simpler ones."""
    lines = []
    for other in others:
        name = PLANS.get(other["plan"], words(other["plan"]))
        if other["outcome"] == "found":
            lines += [line(name, money(other["wealth_after_tax"])), f"    {beyond(other['gain'])}"]
        else:
            lines += paragraph(f"{name}: not possible. {other['reason']}")
    return lines


def estate(found: dict[str, Any] | None) -> list[str]:
    """What beneficiaries would receive, where an estate is given."""
    if found is None:
        return []
    if found["outcome"] != "found":
        return paragraph(f"Not worked out. {found['reason']}")
    lines = {
        "inheritance tax": found["inheritance_tax"],
        f"their income tax at {share(found['beneficiary_tax_rate'])}": found["beneficiaries_income_tax"],
        "beneficiaries receive": found["beneficiaries_receive"],
    }
    return [line(label, money(amount)) for label, amount in lines.items()]


def compared_for_beneficiaries(others: list[dict[str, Any]]) -> list[str]:
    """What beneficiaries would receive beyond the simpler plans, where that is the aim."""
    lines = []
    for other in others:
        if "beneficiaries_receive" in other:
            name = PLANS.get(other["plan"], words(other["plan"]))
            lines += [
                line(name, money(other["beneficiaries_receive"])),
                f"    {beyond(other['gain_to_beneficiaries'])}",
            ]
    return lines


def scenarios(found: dict[str, Any]) -> list[str]:
    """What is left under other assumptions."""
    lines = []
    for name, scenario in found.items():
        if scenario["outcome"] == "found":
            lines.append(line(name, money(scenario["totals"]["wealth_after_tax"])))
        else:
            lines += paragraph(f"{name}: not possible. {scenario['reason']}")
    return lines


def proved(proof: dict[str, Any]) -> list[str]:
    """How close to the best a plan is that was searched for."""
    ended = STOPPED_BY.get(proof["stopped_by"], "")
    them = " to beneficiaries" if "beneficiaries_receive" in proof else ""
    if not proof["proven"]:
        near = (
            f"Another plan might leave about {money(proof['bound'])}{them}, {money(proof['gap'])} more than this one."
        )
        return paragraph(f"{near} That is not proved. {ended}")
    most = (
        f"No plan of this model leaves more than {money(proof['bound'])}{them}, which is {money(proof['gap'])} more than this "
        "one."
    )
    given_up = proof.get("equally_good", {}).get("given_up", 0)
    less = (
        f" Of that, {money(given_up)} is given up so that less depends on the tax on what is left." if given_up else ""
    )
    return [*paragraph(f"{most}{less} {ended}"), *paragraph(proof["leaves_out"])]


def over_paths(found: dict[str, Any]) -> list[str]:
    """What many courses of markets come to: the sentences, and the share with spending met by tax year."""
    lines = [part for sentence in found["summary"] for part in paragraph(sentence)]
    lines.append(f"  {'tax year':<9}{'ages':>6}{'met':>8}{'5% hold at most':>18}{'half':>12}{'95%':>12}")
    for year in found["years"]:
        held = year["wealth_before_tax_in_prices_of_start"]
        ages = "/".join(str(age) for age in year["ages"])
        amounts = "".join(f"{pounds(held[name]):>{width}}" for name, width in (("p5", 18), ("p50", 12), ("p95", 12)))
        lines.append(f"  {year['tax_year']:<9}{ages:>6}{share(year['spending_met']['share']):>8}{amounts}")
    return lines

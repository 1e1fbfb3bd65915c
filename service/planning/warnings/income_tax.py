"""What withdrawals do to the tax of a year: bands entered, allowances lost, charges met."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

from service.law.income_tax import IncomeTaxRules, Liability, liability
from service.law.rounding import down_to_the_penny, years_tax_to_the_penny
from service.law.units import PENNY, POUND, Pence
from service.planning.household import Path
from service.planning.search import first_where
from service.planning.warnings.circumstances import Circumstances, Facts, PersonCase, YearFacts
from service.planning.warnings.topic import Entry, Topic, first_day_with
from service.planning.warnings.warning import NO_FIGURES, Found, Unit
from service.planning.wording import listed, per_cent, pounds

TOPIC: Topic = Topic()


def _pension_income(rules: IncomeTaxRules, found: Liability) -> Pence:
    """Up to where pension income reaches on its scale: below property from 2027-28 on, beside it before."""
    return found.fixed_to if rules.other_income_first else found.other_to


def _entered(year: YearFacts, entry: Entry, name: str) -> Found:
    """What the withdrawals bear above the band that other income reaches, told once, under the highest band they enter."""
    if not year.taxable:
        return ()
    rules = year.tax_rules
    own = rules.scales.lower
    top = _pension_income(rules, year.with_it)
    # Reliefs only raise the limits, so that most years are done with before theirs are looked at.
    if top <= own.limits[rules.scales.last_basic_band] or name not in own.names:
        return ()
    scale = year.year.scales.lower
    least = 0 if year.taken else POUND - 1  # a plan that fills a band to the brim may miss it by pennies
    highest = scale.band(top - least)
    if scale.names[highest] != name:
        return ()
    reached = _pension_income(rules, year.without)
    if reached > scale.floors[highest]:
        return ()
    inside: dict[int, Pence] = {}
    lowest, below, more = 0, 0, 0
    for band in range(rules.scales.last_basic_band + 1, highest + 1):
        if reached <= scale.floors[band]:
            if not inside:
                lowest, below = band, scale.rates[band - 1]
            part = (min(top, scale.limits[band]) if band < len(scale.limits) else top) - scale.floors[band]
            inside[band] = part
            more += part * (scale.rates[band] - below)
    cost = down_to_the_penny(more)
    if entry.in_codes:
        return entry.code_alone(cost)
    several = len(inside) > 1
    named = "" if several else f"the {name.replace('_', ' ')} of "
    rates = [
        f"{pounds(part)}{f' of {year.person.your} withdrawals is taxed' if band == lowest else ''} at "
        f"{named}{per_cent(scale.rates[band])}"
        for band, part in inside.items()
    ]
    lower = {f"taxed_at_{scale.names[band]}": part for band, part in inside.items() if band < highest}
    return entry.warn(
        f"In {year.name}, {listed(rates)}{',' if several else ''} instead of {per_cent(below)}. This adds {pounds(cost)}.",
        year.path,
        about=year.person,
        figures=year.figures,
        rests_on=(f"income_tax.bands_{year.person.nation}",),
        money={**lower, "taxed_in_the_band": inside[highest], "extra_income_tax": cost},
        rates={"rate_in_the_band": scale.rates[highest]},
        cost=cost,
    )


_OF_A_BAND: dict[str, Unit] = {
    "taxed_in_the_band": "pounds",
    "extra_income_tax": "pounds",
    "rate_in_the_band": "fraction",
}
"""The figures of a band that is entered; of bands below it that are entered too, there is the part taxed in each."""


@TOPIC.of_a_year(
    "higher_rate_entered",
    "costs",
    "Some is taxed at the higher rate",
    "Taxable withdrawals reach the higher rate band and no higher one, and other income does not.",
    facts=("income", "tax_residence", "withdrawals.amount", "contributions", "gift_aid_donations"),
    sources=("Income Tax Act 2007 ss.10, 11A", "Finance Act 2004 s.192"),
    figures=_OF_A_BAND,
)
def higher_rate_entered(year: YearFacts, entry: Entry) -> Found:
    """The withdrawals reach into the higher rate band."""
    return _entered(year, entry, "higher_rate")


@TOPIC.of_a_year(
    "advanced_rate_entered",
    "costs",
    "Some is taxed at the advanced rate",
    "Taxable withdrawals reach the advanced rate band in Scotland and no higher one, and other income does not. Lower "
    "bands that they enter are told with it.",
    facts=("income", "tax_residence", "withdrawals.amount", "contributions", "gift_aid_donations"),
    sources=("Income Tax Act 2007 s.11A", "Scottish rate resolutions"),
    figures={**_OF_A_BAND, "taxed_at_higher_rate": "pounds"},
    since=first_day_with("income_tax.bands_scotland", "advanced_rate"),
)
def advanced_rate_entered(year: YearFacts, entry: Entry) -> Found:
    """The withdrawals reach into the advanced rate band."""
    return _entered(year, entry, "advanced_rate")


@TOPIC.of_a_year(
    "additional_rate_entered",
    "costs",
    "Some is taxed at the additional rate",
    "Taxable withdrawals reach the additional rate band, and other income does not; a higher rate band that they enter as well "
    "is told with it.",
    facts=("income", "tax_residence", "withdrawals.amount", "contributions", "gift_aid_donations"),
    sources=("Income Tax Act 2007 s.10",),
    figures={**_OF_A_BAND, "taxed_at_higher_rate": "pounds"},
)
def additional_rate_entered(year: YearFacts, entry: Entry) -> Found:
    """The withdrawals reach into the additional rate band."""
    return _entered(year, entry, "additional_rate")


@TOPIC.of_a_year(
    "top_rate_entered",
    "costs",
    "Some is taxed at the top rate",
    "Taxable withdrawals reach the top rate band in Scotland, and other income does not; lower bands that they enter as well are "
    "told with it.",
    facts=("income", "tax_residence", "withdrawals.amount", "contributions", "gift_aid_donations"),
    sources=("Income Tax Act 2007 s.11A", "Scottish rate resolutions"),
    figures={**_OF_A_BAND, "taxed_at_higher_rate": "pounds", "taxed_at_advanced_rate": "pounds"},
)
def top_rate_entered(year: YearFacts, entry: Entry) -> Found:
    """The withdrawals reach into the top rate band."""
    return _entered(year, entry, "top_rate")


@TOPIC.of_a_year(
    "personal_allowance_withdrawn",
    "costs",
    "Part of the personal allowance is lost",
    "Withdrawals take adjusted net income above the limit over which the personal allowance is reduced.",
    facts=("income", "withdrawals.amount", "contributions", "gift_aid_donations"),
    sources=("Income Tax Act 2007 ss.35, 58",),
    figures={
        "adjusted_net_income": "pounds",
        "personal_allowance_lost": "pounds",
        "extra_income_tax": "pounds",
        "personal_allowance_taper_threshold": "pounds",
    },
)
def personal_allowance_withdrawn(year: YearFacts, entry: Entry) -> Found:
    """Income above the taper threshold takes the personal allowance away."""
    rules = year.tax_rules
    if not year.taxable or year.with_it.adjusted_net_income <= rules.taper_threshold:
        return ()
    without, income = year.without, year.with_it.adjusted_net_income
    lost = without.personal_allowance - year.with_it.personal_allowance
    if lost <= 0:
        return ()
    kept = year.year._replace(rules=replace(rules, taper_threshold=income))
    cost = year.with_it.total - liability(kept, year.taxable).total
    if without.adjusted_net_income > rules.taper_threshold:
        cost -= without.total - liability(kept).total
    cost = max(0, cost)
    if entry.in_codes:
        return entry.code_alone(cost)
    return entry.warn(
        f"The withdrawals of {year.name} take {year.person.your} adjusted net income to {pounds(income)}, above "
        f"{pounds(rules.taper_threshold)}. {pounds(lost)} of the personal allowance is lost, which adds {pounds(cost)} of tax.",
        year.path,
        about=year.person,
        figures=year.figures,
        rests_on=("income_tax.personal_allowance_taper_threshold",),
        standing=year.figures.standing,
        money={"adjusted_net_income": income, "personal_allowance_lost": lost, "extra_income_tax": cost},
        cost=cost,
    )


def _cost_of_a_smaller_allowance(year: YearFacts) -> Pence:
    """Tax on the interest that a savings allowance no longer covers, at the highest rate that savings reach; pence."""
    savings, after, before = year.taxpayer.savings, year.with_it.savings_allowance, year.without.savings_allowance
    scale = year.year.scales.savings
    lost = max(0, min(before, savings) - min(after, savings))
    return down_to_the_penny(lost * scale.rates[scale.band(year.with_it.taxable)])


def _taxed_higher(
    year: YearFacts,
    kind: str,
    income: Pence,
    cost: Pence,
    entry: Entry,
    more: tuple[str, Mapping[str, Pence]] = ("", NO_FIGURES),
) -> Found:
    """What the withdrawals add to the tax of another kind of income, because they use allowances and lower bands first.
    ``more``: what else is to be said, with its amounts."""
    if cost < POUND:
        return ()
    if entry.in_codes:
        return entry.code_alone(cost)
    said, amounts = more
    return entry.warn(
        f"The withdrawals of {year.name} use allowances and lower tax bands first. {pounds(cost)} more tax is then due on "
        f"{year.person.your} {kind.replace('_', ' ')} of {pounds(income)}.{said}",
        year.path,
        about=year.person,
        figures=year.figures,
        standing=year.figures.standing,
        money={kind: income, "extra_income_tax": cost, **amounts},
        cost=cost,
    )


@TOPIC.of_a_year(
    "dividends_taxed_higher",
    "costs",
    "More tax is due on dividends",
    "There are dividends, and withdrawals take allowances or lower bands from them.",
    facts=("income", "tax_residence", "withdrawals.amount"),
    sources=("Income Tax Act 2007 ss.8, 13, 13A, 16, 25",),
    figures={"dividends": "pounds", "extra_income_tax": "pounds"},
)
def dividends_taxed_higher(year: YearFacts, entry: Entry) -> Found:
    """Dividends lie on top of everything else, so that more pension income lifts them."""
    dividends = year.taxpayer.dividends
    if not dividends or not year.taxable:
        return ()
    cost = down_to_the_penny(year.with_it.dividend_tax - year.without.dividend_tax)
    return _taxed_higher(year, "dividends", dividends, cost, entry)


@TOPIC.of_a_year(
    "savings_taxed_higher",
    "costs",
    "More tax is due on interest",
    "There is interest, and withdrawals take the personal allowance, the starting rate for savings, lower bands or the savings "
    "allowance from it.",
    facts=("income", "tax_residence", "withdrawals.amount"),
    sources=("Income Tax Act 2007 ss.7, 12, 12B, 16, 25",),
    figures={
        "savings_interest": "pounds",
        "extra_income_tax": "pounds",
        "savings_allowance_before": "pounds",
        "savings_allowance_after": "pounds",
    },
)
def savings_taxed_higher(year: YearFacts, entry: Entry) -> Found:
    """Interest lies above pension income, which takes the personal allowance and the starting rate from it. A higher band makes
    the savings allowance smaller."""
    savings = year.taxpayer.savings
    if not savings or not year.taxable:
        return ()
    # Where the personal allowance covers what the savings allowance no longer does, other income bears the tax.
    cost = max(
        down_to_the_penny(year.with_it.savings_tax - year.without.savings_tax), _cost_of_a_smaller_allowance(year)
    )
    after, before = year.with_it.savings_allowance, year.without.savings_allowance
    if entry.in_codes or min(before, savings) <= min(after, savings):
        return _taxed_higher(year, "savings_interest", savings, cost, entry)
    said = f" In the higher tax band, the savings allowance falls from {pounds(before)} to {pounds(after)}."
    amounts = {"savings_allowance_before": before, "savings_allowance_after": after}
    return _taxed_higher(year, "savings_interest", savings, cost, entry, (said, amounts))


@TOPIC.of_a_year(
    "property_taxed_higher",
    "costs",
    "More tax is due on rent",
    "There is property income with rates of its own, and withdrawals take allowances or lower bands from it.",
    facts=("income", "tax_residence", "withdrawals.amount"),
    sources=("Income Tax Act 2007 ss.11CA, 16A, 25(3A)",),
    figures={"property_income": "pounds", "extra_income_tax": "pounds"},
    since=first_day_with("income_tax.property_bands"),
)
def property_taxed_higher(year: YearFacts, entry: Entry) -> Found:
    """Rent lies above pension income from 2027-28 on, and has rates of its own."""
    rent = year.taxpayer.property_income
    if not rent or not year.taxable or year.tax_rules.scales.property is None:
        return ()
    scale = year.year.scales.lower
    with_it, without = (found.other_tax - scale.tax(found.fixed_to) for found in (year.with_it, year.without))
    return _taxed_higher(year, "property_income", rent, down_to_the_penny(with_it - without), entry)


_NEAR = 50 * POUND
"""So near to a step of the tax, and for so much tax at least, it is told: our choice."""


@TOPIC.of_a_year(
    "income_just_below_a_tax_step",
    "check",
    "Slightly more income would cost a lot",
    "With the withdrawals, income is within 50 pounds of a step of the tax. There a savings allowance or the marriage "
    "allowance is lost, which costs at least as much.",
    facts=("income", "marriage_allowance", "withdrawals.amount"),
    sources=("Income Tax Act 2007 ss.12B, 55B",),
    figures={"income_left_below_the_step": "pounds", "tax_at_the_step": "pounds"},
)
def income_just_below_a_tax_step(year: YearFacts, entry: Entry) -> Found:
    """A little more income, such as interest that is higher than expected, would lose a relief all at once."""
    taxpayer, here = year.taxpayer, year.with_it
    if not year.taxable or not (taxpayer.savings or taxpayer.marriage_allowance == "receives"):
        return ()

    scales = year.year.scales
    # While the personal allowance is withdrawn, the stack of income rises by three pounds for two.
    reached = scales.savings.band(here.taxable + 2 * _NEAR)
    if scales.savings_allowances[reached] == here.savings_allowance and taxpayer.marriage_allowance == "none":
        return ()

    def there(more: Pence) -> Liability:
        return liability(year.year, year.taxable + more)

    def first_without(is_lost: Callable[[Liability], bool]) -> Pence | None:
        """How much more income first loses a relief, if that is near and costs enough."""
        if not is_lost(there(_NEAR)):
            return None
        first = first_where(lambda more: is_lost(there(more)), 0, _NEAR)
        return first if there(first).total - there(first - 1).total >= _NEAR else None

    losses = (
        ("the savings allowance would fall", first_without(lambda it: it.savings_allowance < here.savings_allowance)),
        (
            "the marriage allowance would be lost",
            first_without(lambda it: it.marriage_allowance_open != here.marriage_allowance_open),
        ),
    )
    first = min((at for _, at in losses if at is not None), default=None)
    if first is None:
        return ()
    what = " and ".join(words for words, at in losses if at == first)
    step = there(first).total - there(first - 1).total
    return entry.warn(
        f"{year.person.who} would have {pounds(first - 1)} of room in {year.name} before {pounds(step)} of tax is due at once: "
        f"{what}. Interest or other income that is higher than expected could use this room.",
        year.path,
        about=year.person,
        figures=year.figures,
        money={"income_left_below_the_step": first - 1, "tax_at_the_step": step},
    )


def _highest(year: YearFacts) -> str:
    """The highest rate at which a marriage allowance is still open, in words."""
    return "intermediate rate" if year.person.nation == "scotland" else "basic rate"


@TOPIC.of_a_year(
    "marriage_allowance_lost",
    "costs",
    "The marriage allowance is lost",
    "The marriage allowance is received, and only with the withdrawals is income taxed above the basic rate (in "
    "Scotland, above the intermediate rate).",
    facts=("marriage_allowance", "income", "tax_residence", "withdrawals.amount"),
    sources=("Income Tax Act 2007 ss.55B-55C",),
    figures={"marriage_allowance_reduction_lost": "pounds"},
)
def marriage_allowance_lost(year: YearFacts, entry: Entry) -> Found:
    """The withdrawals end a marriage allowance received."""
    if year.person.marriage_allowance != "receives" or year.with_it.marriage_allowance_open:
        return ()
    lost = year.without.marriage_allowance_reduction // PENNY
    if not lost:
        return ()
    return entry.warn(
        f"With the withdrawals of {year.name}, some of {year.person.your} income is taxed above the {_highest(year)}. The "
        f"marriage allowance, worth {pounds(lost)} off the tax, is lost for the year.",
        (*year.person.path, "marriage_allowance"),
        about=year.person,
        figures=year.figures,
        money={"marriage_allowance_reduction_lost": lost},
        cost=lost,
    )


@TOPIC.of_a_year(
    "marriage_allowance_not_available",
    "check",
    "The marriage allowance is not available",
    "Income is taxed above the basic rate (in Scotland, above the intermediate rate), and a marriage allowance is "
    "given, or received without effect.",
    facts=("marriage_allowance", "income", "tax_residence", "withdrawals.amount"),
    sources=("Income Tax Act 2007 ss.55B-55C",),
)
def marriage_allowance_not_available(year: YearFacts, entry: Entry) -> Found:
    """Income above the basic rate voids the marriage allowance on either side, with or without the withdrawals."""
    kind = year.person.marriage_allowance
    if kind == "none" or year.with_it.marriage_allowance_open:
        return ()
    if kind == "receives" and year.without.marriage_allowance_reduction // PENNY:
        return ()
    side = (
        "received. Check the claim with HMRC."
        if kind == "receives"
        else "given. A claim already made would be withdrawn, and the partner's tax would rise."
    )
    return entry.warn(
        f"In {year.name} some of {year.person.your} income is taxed above the {_highest(year)}, so no marriage allowance can "
        f"be {side}",
        (*year.person.path, "marriage_allowance"),
        about=year.person,
        figures=year.figures,
    )


@TOPIC.of_a_year(
    "gift_aid_not_covered",
    "check",
    "Gift Aid exceeds the tax paid",
    "The year's income tax does not cover the basic-rate tax on gifts under Gift Aid, which the charity reclaims.",
    facts=("gift_aid_donations", "income", "withdrawals.amount"),
    sources=("Income Tax Act 2007 ss.423-425",),
    figures={"gift_aid_donations": "pounds", "gift_aid_tax": "pounds"},
)
def gift_aid_not_covered(year: YearFacts, entry: Entry) -> Found:
    """Tax has to be made up so that it covers the gifts; capital gains tax might cover them and is not known."""
    if not year.with_it.gift_aid_tax:
        return ()
    # POST /v1/warnings shows no tax.
    included = ", and the tax shown here includes it" if year.person.facts is None else ""
    gifts, made_up = year.taxpayer.gift_aid, years_tax_to_the_penny(year.with_it.gift_aid_tax)
    return entry.warn(
        f"In {year.name} {year.person.your} gifts under Gift Aid come to {pounds(gifts)}. The charity reclaims basic-rate "
        f"tax on them, and {year.person.your} own tax falls {pounds(made_up)} short of it. HMRC can ask for this "
        f"amount{included}. Capital gains tax paid in the year could cover it.",
        (*year.person.path, "gift_aid_donations"),
        about=year.person,
        figures=year.figures,
        money={"gift_aid_donations": gifts, "gift_aid_tax": made_up},
    )


@TOPIC.of_a_year(
    "child_benefit_charge",
    "costs",
    "The child benefit charge rises",
    "Withdrawals raise the high income child benefit charge; a new charge has to be told to HMRC, unless a return is filed.",
    facts=("child_benefit", "income", "withdrawals.amount", "circumstances.self_assessment"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.681B-681H", "Taxes Management Act 1970 s.7"),
    figures={
        "adjusted_net_income": "pounds",
        "child_benefit_charge_rise": "pounds",
        "child_benefit_charge_threshold": "pounds",
    },
)
def child_benefit_charge(year: YearFacts, entry: Entry) -> Found:
    """The withdrawals bring, or raise, the high income child benefit charge."""
    if not year.with_it.child_benefit_charge or not year.taxable:
        return ()
    more = year.with_it.child_benefit_charge - year.without.child_benefit_charge
    if more <= 0:
        return ()
    threshold = "income_tax.child_benefit_charge_threshold"
    return entry.warn(
        f"The withdrawals of {year.name} take {year.person.your} adjusted net income to "
        f"{pounds(year.with_it.adjusted_net_income)}, above {pounds(year.figures.money(threshold))}. The high income child "
        f"benefit charge rises by {pounds(more)}.{_to_report(year)}",
        year.path,
        about=year.person,
        figures=year.figures,
        rests_on=(threshold,),
        money={"adjusted_net_income": year.with_it.adjusted_net_income, "child_benefit_charge_rise": more},
        cost=more,
    )


def _to_report(year: YearFacts) -> str:
    """That a charge has to be told to HMRC, where it is new and no return is known; as sentences."""
    facts = year.person.facts
    if facts is None or facts.self_assessment or year.without.child_benefit_charge:
        return ""
    not_told = "" if facts.self_assessment is False else " We were not told whether a return is already filed."
    return (
        f" It must be reported to HMRC. To file a tax return for it, registration is needed by 5 October "
        f"{year.figures.end.year}.{not_told}"
    )


@TOPIC.of_a_couple(
    "child_benefit_charge_falls_on_partner",
    "check",
    "The partner pays the child benefit charge",
    "Child benefit is given for one of a couple, and the other has the higher adjusted net income, above the "
    "threshold.",
    facts=("child_benefit", "income", "withdrawals.amount"),
    sources=("Income Tax (Earnings and Pensions) Act 2003 s.681B",),
    figures={
        "higher_adjusted_net_income": "pounds",
        "lower_adjusted_net_income": "pounds",
        "child_benefit_charge_threshold": "pounds",
    },
)
def child_benefit_charge_falls_on_partner(case: Circumstances, entry: Entry) -> Found:
    """Child benefit is given for one of a couple, and the withdrawals make the other's income the higher."""
    told: Found = ()
    if len(case.people) != 2:
        return ()
    for one, other in (case.people, case.people[::-1]):
        theirs = {year.name: year for year in other.years}
        for year in one.years:
            partner = theirs.get(year.name)
            if partner is None or not year.taxpayer.child_benefit or not partner.taxable:
                continue
            threshold = year.figures.money("income_tax.child_benefit_charge_threshold")
            income, higher = year.with_it.adjusted_net_income, partner.with_it.adjusted_net_income
            if higher <= max(income, threshold):
                continue
            told += entry.warn(
                f"In {year.name}, {other.person.you} has the higher adjusted net income: {pounds(higher)} against "
                f"{pounds(income)}, and above {pounds(threshold)}. The charge falls on the partner with the higher income. "
                f"Here child benefit is entered for {one.person.you}.",
                (*one.person.path, "child_benefit"),
                about=one.person,
                figures=year.figures,
                rests_on=("income_tax.child_benefit_charge_threshold",),
                money={"higher_adjusted_net_income": higher, "lower_adjusted_net_income": income},
            )
            break
    return told


@TOPIC.of_the_household(
    "tax_free_childcare_lost",
    "costs",
    "Tax-Free Childcare is lost",
    "Tax-Free Childcare is received, and withdrawals take the adjusted net income of either of a couple above its limit.",
    facts=("circumstances.tax_free_childcare", "income", "withdrawals.amount", "tax_residence"),
    sources=("SI 2015/448 reg.15", "SI 2022/1134 regs 14-15"),
    figures={"adjusted_net_income": "pounds", "tax_free_childcare": "pounds", "childcare_income_limit": "pounds"},
    only="with_facts",
)
def tax_free_childcare_lost(case: Circumstances, entry: Entry) -> Found:
    """Income over the limit, of a parent or of their partner, ends Tax-Free Childcare; in England the funded hours of working
    parents too. Both ask what is expected for the tax year of the declaration."""
    told: Found = ()
    received = max((one.person.facts.tax_free_childcare or 0 for one in case.people if one.person.facts), default=0)
    if not received:
        return ()
    limit_of = {year.name: year.figures.money("childcare.income_limit") for one in case.people for year in one.years}
    ended = {
        year.name for one in case.people for year in one.years if year.without.adjusted_net_income > limit_of[year.name]
    }
    for one in case.people:
        for year in one.years:
            limit, income = limit_of[year.name], year.with_it.adjusted_net_income
            if not year.taxable or income <= limit or year.name in ended:
                continue
            ended.add(year.name)
            hours = (
                " Funded childcare hours for working parents end at the same limit."
                if one.person.nation == "england"
                else ""
            )
            told += entry.warn(
                f"The withdrawals of {year.name} take {one.person.your} adjusted net income to {pounds(income)}, above "
                f"{pounds(limit)}. Tax-Free Childcare of {pounds(received)} is lost for both parents.{hours} The limit applies "
                "to the income expected for the tax year when the account is reconfirmed.",
                year.path,
                about=one.person,
                figures=year.figures,
                rests_on=("childcare.income_limit",),
                money={"adjusted_net_income": income, "tax_free_childcare": received},
                cost=received,
            )
    return told


_NOT_GIVEN: dict[str, Path] = {
    "children": ("circumstances", "children"),
    "child_benefit": ("child_benefit",),
    "tax_free_childcare": ("circumstances", "tax_free_childcare"),
}
"""Where the facts on a family stand in a person's record."""


def _may_receive(field: str, year: YearFacts) -> bool:
    """Whether to ask for what a parent receives: Tax-Free Childcare needs work (SI 2015/448). Child benefit is not asked for
    from State Pension age on where children were not given (our choice)."""
    person = year.person
    if field == "tax_free_childcare":
        return person.works
    retired = person.has_state_pension_age and (
        person.state_pension_from is None or person.state_pension_from <= year.figures.end
    )
    return not retired or (person.facts is not None and person.facts.children is not None)


@TOPIC.of_a_person(
    "family_facts_not_given",
    "check",
    "Children may change the cost",
    "Withdrawals take adjusted net income above a limit for parents, and children, or what is received, are not given.",
    facts=(
        "circumstances.children",
        "child_benefit",
        "circumstances.tax_free_childcare",
        "income",
        "withdrawals.amount",
    ),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.681B-681H", "SI 2015/448 reg.15"),
    figures={
        "adjusted_net_income": "pounds",
        "adjusted_net_income_before": "pounds",
        "child_benefit_charge_threshold": "pounds",
        "childcare_income_limit": "pounds",
    },
    only="with_facts",
)
def family_facts_not_given(case: PersonCase, entry: Entry) -> Found:
    """Income passes a limit that matters to parents, and whether there are children, or what is paid, was not given. A planner
    asks once: a later tax year is told only of what no earlier one asks for. Whoever lives abroad is not asked (our choice)."""
    facts = case.person.facts
    if facts is None or facts.children == 0 or case.person.lives_abroad:
        return ()
    told: Found = ()
    asked: set[str] = set()
    for year in case.years:
        missing = [one for one in _family_facts_missing(year, facts) if one[0] not in asked]
        if missing:
            asked |= {field for field, _, _ in missing}
            told += _ask_for_family_facts(year, facts, missing, entry)
    return told


def _family_facts_missing(year: YearFacts, facts: Facts) -> list[tuple[str, str, str]]:
    """Field, figure of its limit and name of what a parent may receive, where the year's withdrawals pass the limit."""
    if not year.taxable:
        return []
    asked = {
        "child_benefit": (facts.child_benefit_given, "income_tax.child_benefit_charge_threshold", "child benefit"),
        "tax_free_childcare": (
            facts.tax_free_childcare is not None,
            "childcare.income_limit",
            "Tax-Free Childcare",
        ),
    }
    income, before = year.with_it.adjusted_net_income, year.without.adjusted_net_income
    return [
        (field, name, what)
        for field, (given, name, what) in asked.items()
        if not given and _may_receive(field, year) and before <= year.figures.money(name) < income
    ]


def _ask_for_family_facts(year: YearFacts, facts: Facts, missing: list[tuple[str, str, str]], entry: Entry) -> Found:
    income, before = year.with_it.adjusted_net_income, year.without.adjusted_net_income
    whats = " and ".join(what for _, _, what in missing)
    limits = " and ".join(pounds(year.figures.money(name)) for _, name, _ in missing)
    unknown = (
        f"With children, {whats} would be affected. We were not told whether there are any."
        if facts.children is None
        else f"There are children, but we were not told what {whats} is received."
    )
    return entry.warn(
        f"The withdrawals of {year.name} take {year.person.your} adjusted net income from {pounds(before)} to {pounds(income)}, "
        f"above {limits}. {unknown}",
        (*year.person.path, *_NOT_GIVEN["children" if facts.children is None else missing[0][0]]),
        about=year.person,
        figures=year.figures,
        not_given=True,
        rests_on=tuple(name for _, name, _ in missing),
        money={"adjusted_net_income": income, "adjusted_net_income_before": before},
    )

"""Tax-free cash: what a lump sum may be, and the allowances it uses up (Finance Act 2004 Sch.29; FA 2024 Sch.9)."""

from __future__ import annotations

from service.law.ages import birthday
from service.law.dates import day_month_year
from service.law.lump_sums import PENSION_COMMENCEMENT, previously_used, quarter
from service.law.rounding import down_to_the_penny
from service.law.units import Pence
from service.planning.warnings.circumstances import NOTHING_MUCH, OptionFacts, PersonCase, Taken, YearFacts
from service.planning.warnings.topic import Entry, Topic, first_day_with, last_day_with
from service.planning.warnings.warning import Found
from service.planning.wording import per_cent, pounds

TOPIC: Topic = Topic()

_SINCE_2024 = "lump_sum_allowance"
_RECEIVED = "tax_free_received_before_6_april_2024"
_KEPT = "pension.protection_kept_if_applied_for_before"
_SMALL_POTS = "pension.small_pots_from_personal_schemes"


@TOPIC.of_a_withdrawal(
    "lump_sum_above_permitted_maximum",
    "not_permitted",
    "Lump sum above the permitted maximum",
    "A tax-free lump sum is more than a quarter of the uncrystallised funds, a protected amount, or what the allowances "
    "leave. Or a UFPLS is asked for from age 75, with no lifetime allowance left.",
    facts=(
        "withdrawals.method",
        "withdrawals.amount",
        "pensions.uncrystallised",
        "pensions.drawdown",
        "pensions.protected_tax_free_share",
        "lump_sum_allowances.lump_sum_allowance_used",
        "lump_sum_allowances.lifetime_allowance_used",
    ),
    sources=("Finance Act 2004 Sch.29 paras 1-4A", "Finance Act 2004 Sch.36 paras 31-34"),
    figures={"permitted_lump_sum": "pounds", "above_permitted_lump_sum": "pounds"},
    of_one_pension=True,
    only="with_facts",
)
def lump_sum_above_permitted_maximum(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """A tax-free lump sum of more than its permitted maximum, or a UFPLS where none can be paid."""
    if taken.method not in ("pcls", "ufpls") or taken.asked <= taken.permitted:
        return ()
    above = pounds(taken.asked - taken.permitted)
    if taken.method == "ufpls":
        detail = (
            "Nothing is left of the lifetime allowance, and from age 75 nothing can then be paid as a UFPLS. The rest of this "
            f"answer leaves out the {above}. Drawdown would be possible, taxed as income."
        )
    else:
        detail = (
            f"At most {pounds(taken.permitted)} can be paid as a tax-free lump sum; {above} more was asked for. The excess would "
            "be an unauthorised payment. The rest of this answer uses the permitted amount."
        )
        if taken.before.drawdown and taken.before.protected_tax_free_share > year.rules.lump_sums.tax_free_rate:
            detail = (
                "A protected lump sum can be paid only if all benefits of the scheme are taken on one day. Some are in drawdown "
                f"already. {detail}"
            )
    return entry.warn(
        detail,
        taken.path,
        about=year.person,
        figures=year.figures,
        money={"permitted_lump_sum": taken.permitted, "above_permitted_lump_sum": taken.asked - taken.permitted},
    )


@TOPIC.of_a_withdrawal(
    "small_pot_above_limit",
    "not_permitted",
    "Too large for a small pot",
    "A small pot lump sum of more than its limit is asked for.",
    facts=("withdrawals.method", "withdrawals.amount"),
    sources=("SI 2009/1171 regs 11, 11A, 12",),
    figures={"amount_asked_for": "pounds", "small_pot_limit": "pounds"},
    of_one_pension=True,
    only="with_facts",
)
def small_pot_above_limit(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """A small pot of more than its limit."""
    limit = year.figures.money("pension.small_pot_limit")
    if taken.method != "small_pot" or taken.asked <= limit:
        return ()
    return entry.warn(
        f"A small pot lump sum can be at most {pounds(limit)}; {pounds(taken.asked)} was asked for. It must also use up the "
        f"whole arrangement. The rest of this answer uses {pounds(limit)}.",
        taken.path,
        about=year.person,
        figures=year.figures,
        rests_on=("pension.small_pot_limit",),
        money={"amount_asked_for": taken.asked},
    )


def _last_small_pot(case: PersonCase) -> tuple[YearFacts, Taken | None, int] | None:
    """The last small pot planned that is not from an occupational scheme, in its tax year, and how many are; None without any.
    Of a plan over years only their number is known."""
    small: list[tuple[YearFacts, Taken | None]] = []
    for year in case.years:
        for taken in year.taken:
            if taken.method == "small_pot" and _scheme_kind(case, taken) != "occupational":
                small.append((year, taken))
        small += [(year, None)] * year.small_pots
    return (*small[-1], len(small)) if small else None


def _scheme_kind(case: PersonCase, taken: Taken) -> str | None:
    """The kind of scheme that a withdrawal is from, where it was given."""
    if not case.pensions or taken.pension is None:
        return case.person.scheme_kind
    return case.pensions[taken.pension].features.scheme_kind


@TOPIC.of_a_person(
    "too_many_small_pots",
    "not_permitted",
    "Too many small pots",
    "With earlier ones, more small pots are taken from personal schemes than a lifetime allows.",
    facts=("circumstances.small_pots_taken", "pensions.scheme_kind", "withdrawals.method"),
    sources=("SI 2009/1171 regs 11-11A", "HMRC Pensions Tax Manual PTM063700"),
    figures={"small_pots_in_all": "count", "small_pots_from_personal_schemes": "count"},
)
def too_many_small_pots(case: PersonCase, entry: Entry) -> Found:
    """More small pots from personal schemes than a lifetime allows."""
    before = case.person.small_pots_taken
    last = None if before is None else _last_small_pot(case)
    if before is None or last is None:
        return ()
    year, taken, planned = last
    if taken is None or _scheme_kind(case, taken) != "personal":
        return ()
    limit = year.figures.count(_SMALL_POTS)
    number = before + planned
    if number <= limit:
        return ()
    return entry.warn(
        f"At most {limit} small pots can be taken from personal schemes in a lifetime. With these there would be {number}. "
        "Occupational schemes have no such limit.",
        taken.path,
        about=case.person,
        figures=year.figures,
        rests_on=(_SMALL_POTS,),
        counts={"small_pots_in_all": number},
    )


@TOPIC.of_a_person(
    "small_pots_not_given",
    "check",
    "Earlier small pots count",
    "A small pot is taken, and the number taken before, or the kind of scheme, is not given.",
    facts=("circumstances.small_pots_taken", "pensions.scheme_kind", "withdrawals.method"),
    sources=("SI 2009/1171 regs 11-11A", "HMRC Pensions Tax Manual PTM063700"),
    figures={"small_pots_from_personal_schemes": "count"},
    of_one_pension=True,
)
def small_pots_not_given(case: PersonCase, entry: Entry) -> Found:
    """How many small pots were taken before decides, or the kind of scheme does."""
    last = _last_small_pot(case)
    if last is None:
        return ()
    year, taken, planned = last
    kind = None if taken is None else _scheme_kind(case, taken)
    if kind == "occupational":
        return ()
    before, limit = case.person.small_pots_taken, year.figures.count(_SMALL_POTS)
    if before is not None and (kind == "personal" or before + planned <= limit):
        return ()
    return entry.warn(
        f"At most {limit} small pots can be taken from personal schemes in a lifetime. We were not told "
        f"{'how many have been taken' if before is None else 'whether this is a personal or an occupational scheme'}. "
        "Occupational schemes have no such limit.",
        taken.path if taken and before is not None else (*case.person.path, "circumstances", "small_pots_taken"),
        about=case.person,
        figures=year.figures,
        not_given=True,
        rests_on=(_SMALL_POTS,),
    )


@TOPIC.of_a_withdrawal(
    "small_pot_must_end_the_arrangement",
    "check",
    "A small pot must be taken whole",
    "Funds would remain after a small pot lump sum.",
    facts=("withdrawals.method", "withdrawals.amount", "pensions.uncrystallised", "pensions.drawdown"),
    sources=("SI 2009/1171 regs 11, 11A, 12",),
    figures={"pension_left": "pounds"},
    of_one_pension=True,
    severity="lasting",
)
def small_pot_must_end_the_arrangement(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """A small pot lump sum must end the arrangement it comes from."""
    # Of what is above the limit it is told already that it does not fit.
    if taken.method != "small_pot" or taken.asked > taken.payment.gross:
        return ()
    left = taken.after.uncrystallised + taken.after.drawdown
    if left == 0:
        return ()
    return entry.warn(
        f"{pounds(left)} would remain. A small pot lump sum must use up the arrangement it comes from. Ask the scheme "
        "whether the remaining money is in another arrangement.",
        (*taken.path, "method"),
        about=year.person,
        figures=year.figures,
        money={"pension_left": left},
    )


@TOPIC.of_a_year(
    "tax_free_allowance_used_up",
    "check",
    "No tax-free cash remains",
    "No lump sum allowance, or before 6 April 2024 no lifetime allowance, is left while funds are uncrystallised.",
    facts=(
        "lump_sum_allowances.lump_sum_allowance_used",
        "lump_sum_allowances.lifetime_allowance_used",
        "pensions.uncrystallised",
        "withdrawals.amount",
    ),
    sources=(
        "Finance Act 2004 Sch.29",
        "Income Tax (Earnings and Pensions) Act 2003 ss.637P-637S",
        "Finance Act 2024 Sch.9",
    ),
    figures={"uncrystallised_left": "pounds"},
    of_one_pension=True,
)
def tax_free_allowance_used_up(year: YearFacts, entry: Entry) -> Found:
    """Nothing more can be paid tax free, though there is still a pension."""
    left = year.after.uncrystallised
    if not year.lump_sums_wanted or year.left_after.tax_free > 0 or left < NOTHING_MUCH:
        return ()
    if year.taken and not (year.left_before.tax_free and year.tax_free):
        return ()
    lifetime = year.left_after.lifetime_allowance is not None
    return entry.warn(
        f"By the end of {year.name} {year.person.your} {'lifetime allowance is' if lifetime else 'lump sum allowances are'} "
        f"used up. The remaining {pounds(left)} not yet accessed will have no tax-free part. Check what earlier benefits "
        "used, and whether any protection is held.",
        year.person.pension_path,
        about=year.person,
        figures=year.figures,
        money={"uncrystallised_left": left},
        caveats=_from_75(year),
    )


@TOPIC.of_a_year(
    "lump_sum_allowance_nearly_used",
    "check",
    "Little lump sum allowance is left",
    "The lump sum allowance left is less than a quarter of the uncrystallised funds.",
    facts=(
        "lump_sum_allowances.lump_sum_allowance_used",
        "lump_sum_allowances.lifetime_allowance_used",
        "pensions.uncrystallised",
        "withdrawals.amount",
    ),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.637P-637Q", "Finance Act 2024 Sch.9"),
    figures={"lump_sum_allowance_left": "pounds", "uncrystallised_left": "pounds"},
    since=first_day_with("pension.lump_sum_allowance"),
    of_one_pension=True,
)
def lump_sum_allowance_nearly_used(year: YearFacts, entry: Entry) -> Found:
    """What is left of the allowance is less than a quarter of what is left uncrystallised."""
    if not year.tax_free or not (left := year.left_after.lump_sum_allowance):
        return ()
    possible = quarter(year.after.uncrystallised, year.rules.lump_sums)
    if left >= possible:
        return ()
    return entry.warn(
        f"After {year.name}, {pounds(left)} of {year.person.your} lump sum allowance is left. This is less than a quarter of "
        f"the {pounds(year.after.uncrystallised)} not yet accessed. A protected lump sum allowance would change this; ask "
        "whether one is held.",
        year.person.pension_path,
        about=year.person,
        figures=year.figures,
        money={"lump_sum_allowance_left": left, "uncrystallised_left": year.after.uncrystallised},
    )


@TOPIC.of_a_year(
    "death_benefit_allowance_nearly_used",
    "check",
    "The pension exceeds the death benefit allowance",
    "The lump sum and death benefit allowance left is less than the pension, before the age from which "
    "beneficiaries are taxed anyway.",
    facts=(
        "lump_sum_allowances.lump_sum_allowance_used",
        "lump_sum_allowances.lump_sum_and_death_benefit_allowance_used",
        "lump_sum_allowances.lifetime_allowance_used",
        "pensions.uncrystallised",
        "date_of_birth",
    ),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.637R-637S, 637H-637M", "Finance Act 2024 Sch.9"),
    figures={"lump_sum_and_death_benefit_allowance_left": "pounds", "pension_left": "pounds"},
    since=first_day_with("pension.lump_sum_allowance"),
    of_one_pension=True,
    severity="on_death",
)
def death_benefit_allowance_nearly_used(year: YearFacts, entry: Entry) -> Found:
    """The pension left is more than could be paid tax free as a lump sum on death before 75."""
    left = year.left_after.lump_sum_and_death_benefit_allowance
    if not year.tax_free or left is None or left >= year.held_after:
        return ()
    if year.age >= year.figures.count("pension.beneficiaries_taxed_from_age"):
        return ()
    return entry.warn(
        f"{pounds(left)} of {year.person.your} lump sum and death benefit allowance is left after {year.name}; the pension "
        f"is {pounds(year.held_after)}. On a death under 75, lump sums above the allowance are taxed as the beneficiaries' "
        "income. Beneficiaries' drawdown is usually not tested against it.",
        year.person.pension_path,
        about=year.person,
        figures=year.figures,
        money={"lump_sum_and_death_benefit_allowance_left": left, "pension_left": year.held_after},
    )


@TOPIC.of_a_year(
    "protected_tax_free_share_not_used",
    "check",
    "More may be tax free in this scheme",
    "In a plan, the scheme protects more than a quarter tax free, and uncrystallised funds are drawn.",
    facts=("pensions.protected_tax_free_share", "withdrawals.method"),
    sources=("Finance Act 2004 Sch.36 paras 31-34",),
    figures={
        "protected_tax_free_share": "fraction",
        "tax_free_fraction": "fraction",
        "protection_lost_on": "pounds",
        "tax_free_cash_lost": "pounds",
    },
    of_one_pension=True,
    only="in_a_plan",
    severity="lasting",
)
def protected_tax_free_share_not_used(year: YearFacts, entry: Entry) -> Found:
    """The scheme protects a larger tax-free part than a plan counts; quotes and POST /v1/warnings count it."""
    person, rules = year.person, year.rules.lump_sums
    share, rate = person.protected_tax_free_share, rules.tax_free_rate
    untouched = not year.tax_free and year.after.uncrystallised >= year.before.uncrystallised
    if share <= rate or untouched:
        return ()
    held = year.before.uncrystallised
    lost = down_to_the_penny(held * share) - min(quarter(held, rules), year.left_before.tax_free)
    # Of several pensions together it is not known how much of the funds the share is of.
    known = person.pension is not None and lost > 0
    less = f": of {pounds(held)}, {pounds(lost)} less is tax free" if known else ""
    return entry.warn(
        f"The scheme protects {per_cent(share)} of the pension as tax-free cash, if all its benefits are taken on one day. In "
        f"{year.name} these amounts use {per_cent(rate)}{less}. Ask the scheme how the protected part can be taken.",
        (*person.pension_path, "protected_tax_free_share"),
        about=person,
        figures=year.figures,
        rests_on=("pension.tax_free_fraction",),
        rates={"protected_tax_free_share": share},
        money={"protection_lost_on": held, "tax_free_cash_lost": lost} if known else {},
    )


@TOPIC.of_a_withdrawal(
    "protected_lump_sum_relied_on",
    "check",
    "A protected lump sum is relied on",
    "More than a quarter is paid tax free, because the scheme protects it and the whole pension is taken on one day.",
    facts=("pensions.protected_tax_free_share", "withdrawals.method", "withdrawals.amount"),
    sources=("Finance Act 2004 Sch.36 paras 31-34",),
    figures={"tax_free_by_protection": "pounds", "above_the_quarter": "pounds"},
    of_one_pension=True,
    severity="lasting",
)
def protected_lump_sum_relied_on(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """Permitted by a scheme's protection alone."""
    share, rules = taken.before.protected_tax_free_share, year.rules.lump_sums
    if share <= rules.tax_free_rate:
        return ()
    ordinary, paid = (
        min(quarter(taken.before.uncrystallised, rules), taken.left_before.tax_free),
        taken.payment.tax_free,
    )
    if paid <= ordinary:
        return ()
    return entry.warn(
        f"{pounds(paid)} is paid tax free, {pounds(paid - ordinary)} more than without the scheme's protection. This relies on "
        "all benefits of the scheme being taken on one day. The scheme works out the protected amount; ask it for the figure.",
        (*year.person.pension_path, "protected_tax_free_share"),
        about=year.person,
        figures=year.figures,
        money={"tax_free_by_protection": paid, "above_the_quarter": paid - ordinary},
    )


@TOPIC.of_a_person(
    "lump_sum_allowances_used_disagree",
    "check",
    "The allowances used do not agree",
    "Less of the lump sum and death benefit allowance is given as used than of the lump sum allowance.",
    facts=(
        "lump_sum_allowances.lump_sum_allowance_used",
        "lump_sum_allowances.lump_sum_and_death_benefit_allowance_used",
    ),
    sources=("Income Tax (Earnings and Pensions) Act 2003 ss.637P-637S",),
    figures={"lump_sum_allowance_used": "pounds", "lump_sum_and_death_benefit_allowance_used": "pounds"},
    since=first_day_with("pension.lump_sum_allowance"),
)
def lump_sum_allowances_used_disagree(case: PersonCase, entry: Entry) -> Found:
    """Whatever uses the lump sum allowance uses the lump sum and death benefit allowance as well."""
    year = case.years[0]
    used, of_both = case.given.lump_sum_allowance_used, case.given.lump_sum_and_death_benefit_allowance_used
    if of_both is None or of_both >= used:
        return ()
    return entry.warn(
        f"{pounds(used)} of the lump sum allowance was given as used, but only {pounds(of_both)} of the lump sum and death "
        "benefit allowance. Whatever uses the first uses the second as well. Check both amounts with every scheme.",
        (*case.person.path, "lump_sum_allowances", "lump_sum_and_death_benefit_allowance_used"),
        about=case.person,
        figures=year.figures,
        money={"lump_sum_allowance_used": used, "lump_sum_and_death_benefit_allowance_used": of_both},
    )


@TOPIC.of_a_person(
    "protected_lump_sum_allowance_ignored",
    "check",
    "The protected lump sum allowance is ignored",
    "A protected allowance that is given is less than the standard one of the tax year. Before 6 April 2024, it is less "
    "than a quarter of the lifetime allowance.",
    facts=(
        "lump_sum_allowances.protected_lump_sum_allowance",
        "lump_sum_allowances.protected_lump_sum_and_death_benefit_allowance",
    ),
    sources=(
        "Income Tax (Earnings and Pensions) Act 2003 ss.637P-637S",
        "Finance Act 2024 Sch.9",
        "Finance Act 2004 Sch.36",
    ),
    figures={
        "protected_lump_sum_allowance": "pounds",
        "standard_lump_sum_allowance": "pounds",
        "protected_lump_sum_and_death_benefit_allowance": "pounds",
        "standard_lump_sum_and_death_benefit_allowance": "pounds",
    },
)
def protected_lump_sum_allowance_ignored(case: PersonCase, entry: Entry) -> Found:
    """A protected allowance counts only where it is more than everybody has."""
    rules, pension = case.years[0].rules.lump_sums, case.given
    standard = rules.lump_sum_allowance
    if standard is None:
        standard = quarter(rules.standard_lifetime_allowance_before_2024, rules)
    both = rules.lump_sum_and_death_benefit_allowance
    told: Found = ()
    given = pension.protected_lump_sum_allowance
    if given is not None and given < standard:
        told += _ignored(case, "lump_sum_allowance", given, standard, entry)
    given = pension.protected_lump_sum_and_death_benefit_allowance
    if given is not None and both is not None and given < both:
        told += _ignored(case, "lump_sum_and_death_benefit_allowance", given, both, entry)
    return told


def _ignored(case: PersonCase, name: str, given: Pence, standard: Pence, entry: Entry) -> Found:
    year = case.years[0]
    return entry.warn(
        f"A protected {name.replace('_', ' ')} of {pounds(given)} was given. It is ignored, because it is less than the standard "
        f"{pounds(standard)} that everybody has in {year.name}. Check the amount, or leave it out if there is no protection.",
        (*case.person.path, "lump_sum_allowances", f"protected_{name}"),
        about=case.person,
        figures=year.figures,
        money={f"protected_{name}": given, f"standard_{name}": standard},
    )


@TOPIC.of_a_person(
    "contributions_may_end_protection",
    "check",
    "New contributions may end protection",
    "A protected allowance above the standard one is given, and contributions are made or planned.",
    facts=(
        "lump_sum_allowances.protected_lump_sum_allowance",
        "lump_sum_allowances.protected_lump_sum_and_death_benefit_allowance",
        "contributions",
    ),
    sources=(
        "Finance Act 2004 Sch.36",
        "Finance Act 2011 Sch.18",
        "Finance Act 2013 Sch.22",
        "Finance (No. 2) Act 2023 s.23",
    ),
    figures={"contributions_made_or_planned": "pounds"},
    since=first_day_with(_KEPT),
    only="with_facts",
    severity="lasting",
)
def contributions_may_end_protection(case: PersonCase, entry: Entry) -> Found:
    """Fixed and enhanced protection can be lost by new contributions, but not where it was applied for before 15 March 2023."""
    facts, year, rules = case.person.facts, case.years[0], case.years[0].rules.lump_sums
    if facts is None or not facts.contributions or not year.figures.has(_KEPT):
        return ()
    given = case.given
    of_one = rules.lump_sum_allowance or quarter(rules.standard_lifetime_allowance_before_2024, rules)
    of_both = rules.lump_sum_and_death_benefit_allowance or rules.standard_lifetime_allowance_before_2024
    if (given.protected_lump_sum_allowance or 0) <= of_one and (
        given.protected_lump_sum_and_death_benefit_allowance or 0
    ) <= of_both:
        return ()
    day = day_month_year(year.figures.day(_KEPT))
    paid = sum(one.amount for one in facts.contributions)
    return entry.warn(
        f"Contributions of {pounds(paid)} are made or planned, and an allowance is protected. They can end fixed or enhanced "
        f"protection that was applied for on or after {day}. Protection applied for before then is kept. We were not told when "
        "it was.",
        (*case.person.path, "contributions"),
        about=case.person,
        figures=year.figures,
        money={"contributions_made_or_planned": paid},
    )


@TOPIC.of_a_withdrawal(
    "no_lump_sum_allowance_left",
    "check",
    "All of this payment is taxable",
    "A UFPLS is taken and no lump sum allowance is left.",
    facts=(
        "withdrawals.method",
        "lump_sum_allowances.lump_sum_allowance_used",
        "lump_sum_allowances.lifetime_allowance_used",
    ),
    sources=("Finance Act 2004 Sch.29 para 4A", "HMRC Pensions Tax Manual PTM172000"),
    since=first_day_with("pension.lump_sum_allowance"),
    of_one_pension=True,
)
def no_lump_sum_allowance_left(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """A UFPLS with no lump sum allowance left: the Act no longer asks for any, though the heading of PTM172000 suggests so."""
    if taken.method != "ufpls" or taken.left_before.lump_sum_allowance is None or taken.left_before.tax_free > 0:
        return ()
    alike = [
        one.path
        for one in year.taken
        if one.method == "ufpls" and one.pension == taken.pension and one.left_before.tax_free == 0
    ]
    if taken.path != alike[0]:
        return ()
    return entry.warn(
        "No lump sum allowance is left, so all that is taken as a UFPLS is taxed. The law still allows this. Ask the scheme "
        "whether it offers it.",
        year.person.pension_path,
        about=year.person,
        figures=year.figures,
    )


@TOPIC.of_an_option(
    "no_tax_free_cash",
    "check",
    "There is no tax-free cash",
    "Options for tax-free cash are compared where nothing is uncrystallised or no lump sum allowance is left.",
    facts=(
        "pensions.uncrystallised",
        "lump_sum_allowances.lump_sum_allowance_used",
        "lump_sum_allowances.lifetime_allowance_used",
    ),
    sources=("Finance Act 2004 Sch.29 paras 1-3", "Income Tax (Earnings and Pensions) Act 2003 s.637P"),
)
def no_tax_free_cash(option: OptionFacts, entry: Entry) -> Found:
    """An option asks for tax-free cash where there is none."""
    if not option.wants_tax_free_cash or option.tax_free_cash:
        return ()
    return entry.warn(
        "Nothing can be paid tax free: all funds are already in drawdown, or the lump sum allowances are used up. Check what "
        "was taken before, and whether a protected lump sum is held.",
        option.path,
        figures=option.figures,
    )


@TOPIC.of_a_withdrawal(
    "all_tax_free_cash_at_once",
    "check",
    "No more tax-free cash after this",
    "All uncrystallised funds are moved to drawdown, and some lump sum allowance stays unused.",
    facts=(
        "withdrawals.method",
        "withdrawals.amount",
        "pensions.uncrystallised",
        "lump_sum_allowances.lump_sum_allowance_used",
    ),
    sources=("Finance Act 2004 Sch.29 paras 1-3", "Income Tax (Earnings and Pensions) Act 2003 s.637P"),
    figures={"drawdown_left": "pounds", "lump_sum_allowance_left": "pounds"},
    since=first_day_with("pension.lump_sum_allowance"),
    of_one_pension=True,
)
def all_tax_free_cash_at_once(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """All that is uncrystallised is crystallised, while some allowance stays unused."""
    if taken.method not in PENSION_COMMENCEMENT:
        return ()
    left = taken.left_after.lump_sum_allowance
    if not left or not taken.payment.gross:
        return ()
    if taken.after.uncrystallised >= NOTHING_MUCH or taken.after.drawdown < NOTHING_MUCH:
        return ()
    return entry.warn(
        f"This takes all the tax-free cash that is left in {year.person.the_pension}. Later growth on the "
        f"{pounds(taken.after.drawdown)} in drawdown is taxed in full when paid out. {pounds(left)} of the lump sum allowance "
        "stays unused.",
        taken.path,
        about=year.person,
        figures=year.figures,
        money={"drawdown_left": taken.after.drawdown, "lump_sum_allowance_left": left},
    )


@TOPIC.of_a_withdrawal(
    "lifetime_allowance_exceeded",
    "costs",
    "Above the lifetime allowance",
    "Before 6 April 2024 and under 75, more is taken than the lifetime allowance leaves; the charge ended on 5 April 2023.",
    facts=(
        "lump_sum_allowances.lifetime_allowance_used",
        "pensions.uncrystallised",
        "withdrawals.amount",
        "withdrawals.date",
        "date_of_birth",
    ),
    sources=(
        "Finance Act 2004 ss.214-216 and Sch.29 para 11",
        "Finance (No. 2) Act 2023 ss.18-19",
        "HMRC Pensions Tax Manual PTM088650",
    ),
    figures={"above_lifetime_allowance": "pounds", "lifetime_allowance_charge": "pounds"},
    until=last_day_with("pension.lifetime_allowance"),
    of_one_pension=True,
)
def lifetime_allowance_exceeded(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """More is taken than the lifetime allowance leaves."""
    over = taken.payment.over_lifetime_allowance
    if over == 0:
        return ()
    charge = taken.payment.charge
    charged = year.rules.lump_sums.regime == "lifetime_allowance_charge"
    lump_sum = (
        "is a lifetime allowance excess lump sum"
        if taken.payment.excess_lump_sum
        else "is above the lifetime allowance"
    )
    detail = (
        f"{pounds(over)} of this {lump_sum} and is charged {pounds(charge)}."
        if charged
        else f"{pounds(over)} of this is above the lifetime allowance. There is no charge in {year.name}; it is taxed as "
        "pension income."
    )
    until = year.rules.lump_sums.tested_until_age
    if charged and until is not None and taken.day is None and taken.age >= until:
        reached = day_month_year(birthday(year.person.born, until))
        detail += f" From {reached}, at {until}, nothing is charged. We were not told the payment date."
    return entry.warn(
        detail + " Check with every scheme the percentage already used.",
        (*year.person.path, "lump_sum_allowances", "lifetime_allowance_used"),
        about=year.person,
        figures=year.figures,
        money={"above_lifetime_allowance": over, "lifetime_allowance_charge": charge},
        cost=charge,
    )


@TOPIC.of_a_year(
    "lifetime_allowance_nearly_used",
    "check",
    "Little lifetime allowance is left",
    "The lifetime allowance left is less than the uncrystallised funds.",
    facts=("lump_sum_allowances.lifetime_allowance_used", "pensions.uncrystallised", "withdrawals.amount"),
    sources=("Finance Act 2004 ss.214-216",),
    figures={"lifetime_allowance_left": "pounds", "uncrystallised_left": "pounds"},
    until=last_day_with("pension.lifetime_allowance"),
    of_one_pension=True,
)
def lifetime_allowance_nearly_used(year: YearFacts, entry: Entry) -> Found:
    """The lifetime allowance left is less than what is left uncrystallised."""
    left = year.left_after.lifetime_allowance
    if left is None or not year.tax_free or not 0 < left < year.after.uncrystallised:
        return ()
    return entry.warn(
        f"After {year.name}, {pounds(left)} of {year.person.your} lifetime allowance is left. The funds not yet accessed are "
        f"{pounds(year.after.uncrystallised)}. Check with every scheme the percentage already used.",
        year.person.pension_path,
        about=year.person,
        figures=year.figures,
        money={"lifetime_allowance_left": left, "uncrystallised_left": year.after.uncrystallised},
        caveats=_from_75(year),
    )


def _from_75(year: YearFacts) -> tuple[str, ...]:
    """What is not certain of tax-free cash once the scheme has made its test of the lifetime allowance at 75."""
    until = year.rules.lump_sums.tested_until_age
    if until is None or year.age < until:
        return ()
    return (f"How much tax-free cash is left from age {until} depends on the scheme's test at {until}.",)


def _transition(case: PersonCase) -> tuple[YearFacts, int] | None:
    """The tax year of the first lump sum after benefits before 6 April 2024, and the tax-free cash that those are taken to
    have used; None where no certificate can be applied for."""
    for year in case.years:
        if year.tax_free and year.rules.lump_sums.regime == _SINCE_2024:
            if not year.before.lifetime_allowance_used or year.before.lump_sum_allowance_used:
                return None
            return year, quarter(previously_used(year.before, year.rules.lump_sums), year.rules.lump_sums)
    return None


@TOPIC.of_a_person(
    "tax_free_received_before_april_2024_decides",
    "check",
    "Tax-free cash before April 2024 matters",
    "Benefits were taken before 6 April 2024, no lump sum since, and the tax-free cash received is not given.",
    facts=(
        "lump_sum_allowances.tax_free_received_before_6_april_2024",
        "lump_sum_allowances.lifetime_allowance_used",
        "lump_sum_allowances.lump_sum_allowance_used",
    ),
    sources=("Finance Act 2024 Sch.9 paras 125-128", "HMRC Pensions Tax Manual PTM174300"),
    figures={"lump_sum_allowance_assumed_used": "pounds"},
    since=first_day_with("pension.lump_sum_allowance"),
    severity="lasting",
)
def tax_free_received_before_april_2024_decides(case: PersonCase, entry: Entry) -> Found:
    """What was really received tax free was not given, and decides whether a certificate would help."""
    found = None if case.person.tax_free_received is not None else _transition(case)
    if found is None:
        return ()
    year, assumed = found
    return entry.warn(
        f"Benefits before 6 April 2024 are assumed to have used {pounds(assumed)} of the lump sum allowance. A certificate "
        "can replace this with what was actually paid tax free. It must be applied for before the lump sum of "
        f"{year.name}. We were not told the amount.",
        (*case.person.path, "lump_sum_allowances", _RECEIVED),
        about=case.person,
        figures=year.figures,
        money={"lump_sum_allowance_assumed_used": assumed},
    )


@TOPIC.of_a_person(
    "transitional_certificate_worth_considering",
    "check",
    "A certificate could increase the allowance",
    "Less was received tax free before 6 April 2024 than is assumed, and no lump sum has been taken since.",
    facts=(
        "lump_sum_allowances.tax_free_received_before_6_april_2024",
        "lump_sum_allowances.lifetime_allowance_used",
        "lump_sum_allowances.lump_sum_allowance_used",
    ),
    sources=("Finance Act 2024 Sch.9 paras 125-128", "HMRC Pensions Tax Manual PTM174300"),
    figures={
        "lump_sum_allowance_assumed_used": "pounds",
        "tax_free_received_before_april_2024": "pounds",
        "allowance_gained_by_certificate": "pounds",
    },
    since=first_day_with("pension.lump_sum_allowance"),
    severity="lasting",
)
def transitional_certificate_worth_considering(case: PersonCase, entry: Entry) -> Found:
    """Less was received tax free than is assumed."""
    received = case.person.tax_free_received
    found = None if received is None else _transition(case)
    if received is None or found is None:
        return ()
    year, assumed = found
    if received >= assumed:
        return ()
    return entry.warn(
        f"Benefits before 6 April 2024 are assumed to have used {pounds(assumed)}, but only {pounds(received)} was received "
        "tax free. A transitional tax-free amount certificate would leave "
        f"{pounds(assumed - received)} more allowance. It must be applied for, with full evidence, before the lump sum of "
        f"{year.name}.",
        (*case.person.path, "lump_sum_allowances", _RECEIVED),
        about=case.person,
        figures=year.figures,
        money={
            "lump_sum_allowance_assumed_used": assumed,
            "tax_free_received_before_april_2024": received,
            "allowance_gained_by_certificate": assumed - received,
        },
    )


@TOPIC.of_a_person(
    "transitional_certificate_harmful",
    "check",
    "A certificate would reduce the allowance",
    "More was received tax free before 6 April 2024 than is assumed, and no lump sum has been taken since.",
    facts=(
        "lump_sum_allowances.tax_free_received_before_6_april_2024",
        "lump_sum_allowances.lifetime_allowance_used",
        "lump_sum_allowances.lump_sum_allowance_used",
    ),
    sources=("Finance Act 2024 Sch.9 paras 125-128", "HMRC Pensions Tax Manual PTM174100"),
    figures={
        "lump_sum_allowance_assumed_used": "pounds",
        "tax_free_received_before_april_2024": "pounds",
        "allowance_lost_by_certificate": "pounds",
    },
    since=first_day_with("pension.lump_sum_allowance"),
    severity="lasting",
)
def transitional_certificate_harmful(case: PersonCase, entry: Entry) -> Found:
    """More was received tax free than is assumed."""
    received = case.person.tax_free_received
    found = None if received is None else _transition(case)
    if received is None or found is None:
        return ()
    year, assumed = found
    if received <= assumed:
        return ()
    return entry.warn(
        f"Benefits before 6 April 2024 are assumed to have used {pounds(assumed)}, although {pounds(received)} was received "
        "tax free. A transitional tax-free amount certificate would leave "
        f"{pounds(received - assumed)} less allowance for {year.name}. Nobody is required to apply.",
        (*case.person.path, "lump_sum_allowances", _RECEIVED),
        about=case.person,
        figures=year.figures,
        money={
            "lump_sum_allowance_assumed_used": assumed,
            "tax_free_received_before_april_2024": received,
            "allowance_lost_by_certificate": received - assumed,
        },
    )

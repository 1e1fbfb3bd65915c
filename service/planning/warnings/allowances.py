"""Allowances used up or triggered: for saving (Finance Act 2004 ss.227-228A) and for lump sums (FA 2024 Sch.9)."""

from __future__ import annotations

from service.law import annual_allowance
from service.law.lump_sums import previously_used, quarter
from service.planning.warnings.catalogue import warn
from service.planning.warnings.circumstances import Contribution, PersonCase, Taken, YearFacts
from service.planning.warnings.warning import Found
from service.planning.wording import pounds

NOTHING_MUCH = 100
"""Pence: less than a pound left in a pension is nothing left."""

_SINCE_2024 = "lump_sum_allowance"
_RECEIVED = "tax_free_received_before_april_2024"
_MPAA = "pension.money_purchase_annual_allowance"
_SMALL_POTS = "pension.small_pots_from_personal_schemes"


# Saving


def money_purchase_annual_allowance_triggered(year: YearFacts) -> Found:
    """Flexible access cuts what may be paid into money purchase pensions from then on."""
    if not year.triggered:
        return ()
    figures, amount = year.figures, year.rules.money_purchase_annual_allowance
    rest = annual_allowance.alternative(figures.money("pension.annual_allowance"), amount)
    return warn(
        "money_purchase_annual_allowance_triggered",
        f"{year.person.who} takes income flexibly in {year.name}: from the next day only {pounds(amount)} a year may be paid "
        "into money purchase pensions without a charge, and unused allowance of earlier years cannot raise that; "
        f"{pounds(rest)} a year is left for defined benefit saving. Settle how saving goes on before taking this.",
        year.path,
        figures=figures,
        rests_on=(_MPAA,),
        money={"alternative_annual_allowance": rest},
    )


def tell_other_schemes(year: YearFacts) -> Found:
    """The duty to tell every other scheme still saved in that income was taken flexibly."""
    if not year.triggered:
        return ()
    facts = year.person.facts
    saves = None if facts is None else facts.saves_in_other_schemes
    planned = facts is not None and bool(facts.contributions)
    if saves is False or not (saves or planned or year.person.works or year.taxpayer.relief_at_source):
        return ()
    days = year.figures.count("pension.notice_to_other_schemes_days")
    unknown = "" if saves else " Whether there is one was not given and decides."
    return warn(
        "tell_other_schemes",
        f"After the flexible access of {year.name}, {year.person.whose} must tell every other scheme still saved in within "
        f"{days} days of the scheme's statement, or of joining it; otherwise there are penalties.{unknown} Make a note of "
        "the day.",
        year.path,
        figures=year.figures,
        rests_on=("pension.notice_to_other_schemes_days",),
    )


def _saved(year: YearFacts) -> tuple[Contribution, ...]:
    facts = year.person.facts
    given = () if facts is None or facts.contributions is None else facts.contributions
    return tuple(one for one in given if year.figures.start <= one.day <= year.figures.end)


def _after_access(year: YearFacts) -> int:
    """Money purchase contributions after the first flexible access, which is known to be in force or triggered."""
    if not year.after.flexibly_accessed:
        return 0
    day = None if year.before.flexibly_accessed else year.triggered_on
    return sum(one.amount for one in _saved(year) if one.saving == "money_purchase" and (day is None or one.day > day))


def _charge(year: YearFacts, excess: int) -> int:
    """The annual allowance charge on an excess at the person's own rates; pence."""
    return annual_allowance.charge(excess, year.with_it.taxable, year.year.scales.lower)


def contributions_above_money_purchase_annual_allowance(year: YearFacts) -> Found:
    """Planned contributions after flexible access exceed what may be paid in."""
    limit = year.figures.money(_MPAA)
    excess = _after_access(year) - limit
    if excess <= 0:
        return ()
    cost = _charge(year, excess)
    return warn(
        "contributions_above_money_purchase_annual_allowance",
        f"{pounds(excess + limit)} is to be paid into money purchase pensions in {year.name} after flexible access, "
        f"{pounds(excess)} more than the {pounds(limit)} allowed: the charge is about {pounds(cost)}, to be told in a tax "
        "return. Pay it in before the first flexible payment, or pay less.",
        (*year.person.path, "contributions"),
        figures=year.figures,
        rests_on=(_MPAA,),
        status=year.figures.status,
        money={"contributions": excess + limit, "excess": excess, "charge": cost},
        cost=cost,
    )


def _allowance(year: YearFacts, net_income: int) -> int:
    """The annual allowance for an income, after its taper (s.228ZA). Employers' contributions add to adjusted income."""
    figures = year.figures
    employer = sum(one.amount for one in _saved(year) if one.payer == "employer")
    return annual_allowance.tapered(
        figures.money("pension.annual_allowance"),
        figures.money("pension.annual_allowance_tapered_minimum"),
        figures.money("pension.annual_allowance_threshold_income"),
        figures.money("pension.annual_allowance_adjusted_income"),
        max(0, net_income - year.taxpayer.relief_at_source),
        net_income + employer,
    )


def annual_allowance_tapered(year: YearFacts) -> Found:
    """The withdrawals lower the annual allowance of someone who saves."""
    saved = sum(one.amount for one in _saved(year))
    if not saved or not year.taxable:
        return ()
    now, before = _allowance(year, year.with_it.net_income), _allowance(year, year.taxpayer.income)
    if now >= before:
        return ()
    return warn(
        "annual_allowance_tapered",
        f"The withdrawals of {year.name} raise income so far that the annual allowance falls from {pounds(before)} to "
        f"{pounds(now)}, while {pounds(saved)} is to be saved. Withdraw less this tax year, or save less.",
        (*year.person.path, "contributions"),
        figures=year.figures,
        money={"annual_allowance_before": before, "annual_allowance_after": now, "contributions": saved},
        cost=_charge(year, max(0, saved - now)) - _charge(year, max(0, saved - before)),
    )


def _above(year: YearFacts) -> tuple[int, int]:
    """How much all saving of the year exceeds the annual allowance, and that allowance; pence."""
    allowance = _allowance(year, year.with_it.net_income)
    return max(0, sum(one.amount for one in _saved(year)) - allowance), allowance


def annual_allowance_exceeded(year: YearFacts) -> Found:
    """More is saved than the annual allowance and what is carried forward."""
    facts = year.person.facts
    if facts is None or facts.carry_forward is None or not _saved(year):
        return ()
    above, allowance = _above(year)
    excess = above - facts.carry_forward
    if excess <= 0:
        return ()
    cost = _charge(year, excess)
    return warn(
        "annual_allowance_exceeded",
        f"The saving of {year.name} is {pounds(excess)} more than the annual allowance of {pounds(allowance)} and the "
        f"{pounds(facts.carry_forward)} carried forward: the charge is about {pounds(cost)}, to be told in a tax return. "
        "Save less, or in another tax year.",
        (*year.person.path, "contributions"),
        figures=year.figures,
        status=year.figures.status,
        money={
            "excess": excess,
            "allowance_of_the_person": allowance,
            "carried_forward": facts.carry_forward,
            "charge": cost,
        },
        cost=cost,
    )


def carry_forward_decides(year: YearFacts) -> Found:
    """More is saved than the annual allowance, and what is carried forward was not given."""
    facts = year.person.facts
    if facts is None or facts.carry_forward is not None or not _saved(year):
        return ()
    above, allowance = _above(year)
    if not above:
        return ()
    return warn(
        "carry_forward_decides",
        f"The saving of {year.name} is {pounds(above)} more than the annual allowance of {pounds(allowance)}. Unused "
        "allowance of the three tax years before was not given and decides whether there is a charge. Ask each scheme for "
        "its figures.",
        (*year.person.path, "carry_forward"),
        figures=year.figures,
        money={"excess": above, "allowance_of_the_person": allowance},
    )


def defined_benefit_saving_above_alternative_allowance(year: YearFacts) -> Found:
    """Defined benefit saving exceeds the allowance that flexible access leaves for it."""
    if not year.after.flexibly_accessed or _after_access(year) <= year.figures.money(_MPAA):
        return ()
    saved = sum(one.amount for one in _saved(year) if one.saving == "defined_benefit")
    limit = annual_allowance.alternative(_allowance(year, year.with_it.net_income), year.figures.money(_MPAA))
    if saved <= limit:
        return ()
    return warn(
        "defined_benefit_saving_above_alternative_allowance",
        f"The defined benefit saving of {year.name}, {pounds(saved)}, is {pounds(saved - limit)} more than the alternative "
        f"allowance of {pounds(limit)} that applies once the money purchase allowance is exceeded. Check what can be carried "
        "forward to it.",
        (*year.person.path, "contributions"),
        figures=year.figures,
        money={
            "defined_benefit_saving": saved,
            "alternative_annual_allowance": limit,
            "excess": saved - limit,
        },
        cost=_charge(year, saved - limit),
    )


def contributions_not_given(case: PersonCase) -> Found:
    """Someone works and takes benefits, and whether saving goes on was not given."""
    person, facts = case.person, case.person.facts
    if facts is None or facts.contributions is not None:
        return ()
    saves = person.works or any(year.taxpayer.relief_at_source for year in case.years)
    year = next((year for year in case.years if year.triggered or _recyclable(year)), None)
    if year is None or not saves or facts.saves_in_other_schemes is False:
        return ()
    return warn(
        "contributions_not_given",
        f"{person.who} still has income from work, and the contributions planned were not given. They decide whether the "
        f"withdrawals of {year.name} bring an annual allowance charge or fall under the recycling rule. Ask for them, the "
        "employer's included.",
        (*person.path, "contributions"),
        figures=year.figures,
    )


def _recyclable(year: YearFacts) -> bool:
    lump_sums = sum(taken.payment.tax_free for taken in year.taken if taken.method in ("pcls", "pcls_and_drawdown"))
    return lump_sums > year.figures.money("pension.recycling_lump_sum_limit")


# Lump sums


def tax_free_allowance_used_up(year: YearFacts) -> Found:
    """Nothing more can be paid tax free, though there is still a pension."""
    left = year.after.uncrystallised
    if not year.lump_sums_wanted or year.left_after.tax_free > 0 or left < NOTHING_MUCH:
        return ()
    if year.taken and not (year.left_before.tax_free and year.tax_free):
        return ()
    lifetime = year.left_after.lifetime_allowance is not None
    return warn(
        "tax_free_allowance_used_up",
        f"By the end of {year.name} nothing is left of the {'lifetime allowance' if lifetime else 'lump sum allowances'} of "
        f"{year.person.whose}: the {pounds(left)} not yet crystallised then has no tax-free part. Check what earlier "
        "benefits used, and whether any protection is held.",
        year.person.pension_path,
        figures=year.figures,
        money={"uncrystallised_left": left},
    )


def lump_sum_allowance_nearly_used(year: YearFacts) -> Found:
    """What is left of the allowance is less than a quarter of what is left uncrystallised."""
    if not year.tax_free or not (left := year.left_after.lump_sum_allowance):
        return ()
    possible = quarter(year.after.uncrystallised, year.rules.lump_sums)
    if left >= possible:
        return ()
    return warn(
        "lump_sum_allowance_nearly_used",
        f"After {year.name} {pounds(left)} is left of the lump sum allowance of {year.person.whose}, less than a quarter of "
        f"the {pounds(year.after.uncrystallised)} not yet crystallised. Check whether a larger protected amount is held.",
        year.person.pension_path,
        figures=year.figures,
        money={"lump_sum_allowance_left": left, "uncrystallised_left": year.after.uncrystallised},
    )


def death_benefit_allowance_nearly_used(year: YearFacts) -> Found:
    """The pension left is more than could be paid tax free as a lump sum on death before 75."""
    left = year.left_after.lump_sum_and_death_benefit_allowance
    if not year.tax_free or left is None or left >= year.held_after:
        return ()
    if year.age >= year.figures.count("pension.beneficiaries_taxed_from_age"):
        return ()
    return warn(
        "death_benefit_allowance_nearly_used",
        f"After {year.name} {pounds(left)} is left of the lump sum and death benefit allowance of {year.person.whose}, "
        f"less than the {pounds(year.held_after)} in the pension: on death before 75 the rest of a lump sum would be taxed. "
        "Check whether heirs can be paid as drawdown instead, which is not tested.",
        year.person.pension_path,
        figures=year.figures,
        money={"lump_sum_and_death_benefit_allowance_left": left, "pension_left": year.held_after},
    )


def lump_sum_above_permitted_maximum(year: YearFacts, taken: Taken) -> Found:
    """A tax-free lump sum of more than its permitted maximum."""
    if taken.method != "pcls" or taken.asked <= taken.permitted:
        return ()
    return warn(
        "lump_sum_above_permitted_maximum",
        f"At most {pounds(taken.permitted)} can be paid as a tax-free lump sum, {pounds(taken.asked - taken.permitted)} less "
        "than is asked for; the rest would be an unauthorised payment. Ask for less: everything else here is worked out "
        "as if the most permitted were taken.",
        taken.path,
        figures=year.figures,
        money={"permitted": taken.permitted, "above": taken.asked - taken.permitted},
    )


def small_pot_above_limit(year: YearFacts, taken: Taken) -> Found:
    """A small pot of more than its limit."""
    limit = year.figures.money("pension.small_pot_limit")
    if taken.method != "small_pot" or taken.asked <= limit:
        return ()
    return warn(
        "small_pot_above_limit",
        f"A small pot may be taken as one lump sum up to {pounds(limit)}, and {pounds(taken.asked)} is asked for. Use another "
        "way for the whole: everything else here is worked out as if the most permitted were taken.",
        taken.path,
        figures=year.figures,
        rests_on=("pension.small_pot_limit",),
        money={"asked": taken.asked},
    )


def small_pot_must_end_the_arrangement(year: YearFacts, taken: Taken) -> Found:
    """A small pot lump sum must end the arrangement it comes from."""
    if taken.method != "small_pot":
        return ()
    left = taken.after.uncrystallised + taken.after.drawdown
    if left == 0:
        return ()
    return warn(
        "small_pot_must_end_the_arrangement",
        f"{pounds(left)} would be left. A small pot lump sum must end the arrangement it is paid from: check with the "
        "scheme that what is left belongs to other arrangements.",
        (*taken.path, "method"),
        figures=year.figures,
        money={"left": left},
    )


def _last_small_pot(case: PersonCase) -> tuple[YearFacts, Taken, int] | None:
    """The last small pot planned, in its tax year, and how many are planned; None without any."""
    small = [(year, taken) for year in case.years for taken in year.taken if taken.method == "small_pot"]
    return (*small[-1], len(small)) if small else None


def too_many_small_pots(case: PersonCase) -> Found:
    """More small pots from personal schemes than a lifetime allows."""
    facts, last = case.person.facts, _last_small_pot(case)
    if facts is None or last is None or facts.features.scheme != "personal":
        return ()
    year, taken, planned = last
    limit = year.figures.count(_SMALL_POTS)
    if facts.features.small_pots_taken is None or facts.features.small_pots_taken + planned <= limit:
        return ()
    number = facts.features.small_pots_taken + planned
    return warn(
        "too_many_small_pots",
        f"With these, {number} small pots would have been taken from personal schemes, and at most {limit} may be in a "
        "lifetime. Take the money in another way.",
        taken.path,
        figures=year.figures,
        rests_on=(_SMALL_POTS,),
        counts={"small_pots": number},
    )


def small_pots_not_given(case: PersonCase) -> Found:
    """How many small pots were taken before decides, or the kind of scheme does."""
    facts, last = case.person.facts, _last_small_pot(case)
    if facts is None or last is None or facts.features.scheme == "occupational":
        return ()
    year, _, planned = last
    before, limit = facts.features.small_pots_taken, year.figures.count(_SMALL_POTS)
    if before is not None and (facts.features.scheme == "personal" or before + planned <= limit):
        return ()
    return warn(
        "small_pots_not_given",
        f"At most {limit} small pots may be taken from personal schemes in a lifetime, without limit from occupational ones; "
        f"{'how many were taken' if before is None else 'what kind of scheme this is'} was not given and decides. Ask before "
        "taking it.",
        (*case.person.pension_path, "small_pots_taken" if before is None else "scheme"),
        figures=year.figures,
        rests_on=(_SMALL_POTS,),
    )


def no_lump_sum_allowance_left(year: YearFacts, taken: Taken) -> Found:
    """A UFPLS with no lump sum allowance left: the statute and the manual do not say the same."""
    if taken.method != "ufpls" or taken.left_before.lump_sum_allowance is None or taken.left_before.tax_free > 0:
        return ()
    return warn(
        "no_lump_sum_allowance_left",
        "All of this payment is taxed, because nothing is left of the lump sum allowances. The statute allows such a "
        "payment; an HMRC manual heading suggests some allowance is needed. Ask the scheme whether it will pay it.",
        year.person.pension_path,
        figures=year.figures,
    )


def lifetime_allowance_exceeded(year: YearFacts, taken: Taken) -> Found:
    """More is taken than the lifetime allowance leaves."""
    over = taken.payment.over_lifetime_allowance
    if over == 0:
        return ()
    charge = taken.payment.charge
    charged = year.rules.lump_sums.regime == "lifetime_allowance_charge"
    detail = (
        f"{pounds(over)} of this is more than the lifetime allowance leaves and bears a charge of {pounds(charge)}."
        if charged
        else f"{pounds(over)} of this is more than the lifetime allowance leaves; in this tax year there is no charge and it "
        "is taxed as pension income."
    )
    return warn(
        "lifetime_allowance_exceeded",
        detail + " Check the percentage already used with every scheme.",
        (*year.person.pension_path, "lifetime_allowance_used_percent"),
        figures=year.figures,
        money={"excess": over, "charge": charge},
        cost=charge,
    )


def lifetime_allowance_nearly_used(year: YearFacts) -> Found:
    """The lifetime allowance left is less than what is left uncrystallised."""
    left = year.left_after.lifetime_allowance
    if left is None or not year.tax_free or not 0 < left < year.after.uncrystallised:
        return ()
    return warn(
        "lifetime_allowance_nearly_used",
        f"After {year.name} {pounds(left)} is left of the lifetime allowance of {year.person.whose}, less than the "
        f"{pounds(year.after.uncrystallised)} not yet crystallised. Check the percentage already used with every scheme.",
        year.person.pension_path,
        figures=year.figures,
        money={"lifetime_allowance_left": left, "uncrystallised_left": year.after.uncrystallised},
    )


def all_tax_free_cash_at_once(year: YearFacts, taken: Taken) -> Found:
    """All that is uncrystallised is crystallised, while some allowance stays unused."""
    if taken.method not in ("pcls", "pcls_and_drawdown"):
        return ()
    left = taken.left_after.lump_sum_allowance
    if not left or not taken.payment.gross:
        return ()
    if taken.after.uncrystallised >= NOTHING_MUCH or taken.after.drawdown < NOTHING_MUCH:
        return ()
    return warn(
        "all_tax_free_cash_at_once",
        f"This takes all the tax-free cash there is. Whatever the {pounds(taken.after.drawdown)} in drawdown grows by is taxed "
        f"in full when it is drawn, though {pounds(left)} of the lump sum allowance stays unused. Check whether a part "
        "would do for now.",
        taken.path,
        figures=year.figures,
        money={"drawdown": taken.after.drawdown, "lump_sum_allowance_left": left},
    )


def _transition(case: PersonCase) -> tuple[YearFacts, int] | None:
    """The tax year of the first lump sum after benefits before 6 April 2024, and the tax-free cash that those are taken to
    have used; None where no certificate can be applied for."""
    year = next((year for year in case.years if year.tax_free and year.rules.lump_sums.regime == _SINCE_2024), None)
    if year is None or not year.before.lifetime_allowance_used or year.before.lump_sum_allowance_used:
        return None
    return year, quarter(previously_used(year.before, year.rules.lump_sums), year.rules.lump_sums)


def tax_free_received_before_april_2024_decides(case: PersonCase) -> Found:
    """What was really received tax free was not given, and decides whether a certificate would help."""
    facts, found = case.person.facts, _transition(case)
    if facts is None or found is None or facts.tax_free_received_before_april_2024 is not None:
        return ()
    year, assumed = found
    return warn(
        "tax_free_received_before_april_2024_decides",
        f"Benefits before 6 April 2024 are taken to have used {pounds(assumed)} of the lump sum allowance. The tax-free cash "
        "really received was not given and decides whether a certificate would help: it must be applied for before this lump "
        "sum. Find the evidence first.",
        (*case.person.path, _RECEIVED),
        figures=year.figures,
        money={"assumed": assumed},
    )


def transitional_certificate_worth_considering(case: PersonCase) -> Found:
    """Less was received tax free than is assumed."""
    facts, found = case.person.facts, _transition(case)
    if facts is None or found is None or facts.tax_free_received_before_april_2024 is None:
        return ()
    (year, assumed), received = found, facts.tax_free_received_before_april_2024
    if received >= assumed:
        return ()
    return warn(
        "transitional_certificate_worth_considering",
        f"Benefits before 6 April 2024 are taken to have used {pounds(assumed)} of the lump sum allowance, and "
        f"{pounds(received)} was received: a transitional tax-free amount certificate would leave {pounds(assumed - received)} "
        "more. Apply with complete evidence before taking this.",
        (*case.person.path, _RECEIVED),
        figures=year.figures,
        money={"assumed": assumed, "received": received, "more_allowance": assumed - received},
    )


def transitional_certificate_harmful(case: PersonCase) -> Found:
    """More was received tax free than is assumed."""
    facts, found = case.person.facts, _transition(case)
    if facts is None or found is None or facts.tax_free_received_before_april_2024 is None:
        return ()
    (year, assumed), received = found, facts.tax_free_received_before_april_2024
    if received <= assumed:
        return ()
    return warn(
        "transitional_certificate_harmful",
        f"Benefits before 6 April 2024 are taken to have used {pounds(assumed)} of the lump sum allowance, though "
        f"{pounds(received)} was received: a transitional tax-free amount certificate would take away "
        f"{pounds(received - assumed)}. Do not apply for one.",
        (*case.person.path, _RECEIVED),
        figures=year.figures,
        money={"assumed": assumed, "received": received, "less_allowance": received - assumed},
    )

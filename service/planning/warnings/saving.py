"""Allowances for saving, used up or cut back by what is withdrawn (Finance Act 2004 ss.227-228A)."""

from __future__ import annotations

from service.law import annual_allowance
from service.law.units import Pence
from service.planning.warnings.circumstances import PaidIn, PersonCase, YearFacts
from service.planning.warnings.topic import Entry, Topic
from service.planning.warnings.warning import Found
from service.planning.wording import pounds

TOPIC: Topic = Topic()

_MPAA = "pension.money_purchase_annual_allowance"


@TOPIC.of_a_year(
    "money_purchase_annual_allowance_triggered",
    "costs",
    "Future pension contributions are limited",
    "Income is taken flexibly for the first time: a UFPLS, or income from drawdown.",
    facts=("withdrawals.method", "flexibly_accessed"),
    sources=("Finance Act 2004 ss.227ZA-227G", "HMRC Pensions Tax Manual PTM056520"),
    figures={"alternative_annual_allowance": "pounds", "money_purchase_annual_allowance": "pounds"},
)
def money_purchase_annual_allowance_triggered(year: YearFacts, entry: Entry) -> Found:
    """Flexible access cuts what may be paid into money purchase pensions from then on."""
    if not year.triggered:
        return ()
    if entry.in_codes:
        return entry.code_alone()
    figures, amount = year.figures, year.rules.money_purchase_annual_allowance
    rest = annual_allowance.alternative(figures.money("pension.annual_allowance"), amount)
    return entry.warn(
        f"Taking income flexibly in {year.name} triggers {year.person.your} money purchase annual allowance. From the next "
        f"day, paying more than {pounds(amount)} a year into money purchase pensions brings a tax charge. Carry forward "
        f"cannot raise this limit. If it is exceeded, other pension saving is tested against {pounds(rest)} plus any carry "
        "forward.",
        year.path,
        about=year.person,
        figures=figures,
        rests_on=(_MPAA,),
        money={"alternative_annual_allowance": rest},
    )


@TOPIC.of_a_person(
    "flexible_access_not_given",
    "check",
    "Earlier flexible access matters",
    "There are drawdown funds or money purchase contributions, and earlier flexible access is not given.",
    facts=("flexibly_accessed", "pensions.drawdown", "contributions"),
    sources=("Finance Act 2004 ss.227B-227G",),
    figures={"money_purchase_annual_allowance": "pounds"},
)
def flexible_access_not_given(case: PersonCase, entry: Entry) -> Found:
    """Whether income was taken flexibly before decides whether the lower allowance applies already."""
    person, figures = case.person, case.years[0].figures
    if not person.earlier_access_matters:
        return ()
    return entry.warn(
        f"We were not told whether {person.you} {person.does('have', 'has')} taken income flexibly from any pension before. If "
        f"so, the money purchase annual allowance of {pounds(figures.money(_MPAA))} applies already.",
        (*person.path, "flexibly_accessed"),
        about=person,
        figures=figures,
        rests_on=(_MPAA,),
    )


@TOPIC.of_a_year(
    "tell_other_schemes",
    "check",
    "Other schemes must be told",
    "Income is taken flexibly for the first time by someone who works, pays in, or may pay in to another scheme.",
    facts=("circumstances.saves_in_other_schemes", "contributions", "income", "contributions"),
    sources=("SI 2006/567 reg.14ZB", "HMRC Pensions Tax Manual PTM166400"),
    figures={"notice_to_other_schemes_days": "days"},
)
def tell_other_schemes(year: YearFacts, entry: Entry) -> Found:
    """The duty to tell every other scheme still saved in that income was taken flexibly."""
    if not year.triggered:
        return ()
    facts = year.person.facts
    saves = None if facts is None else facts.saves_in_other_schemes
    planned = facts is not None and bool(facts.contributions)
    if saves is False or not (saves or planned or year.person.works or year.taxpayer.relief_at_source):
        return ()
    if entry.in_codes:
        return entry.code_alone()
    days = year.figures.count("pension.notice_to_other_schemes_days")
    # Quotes and plans do not look at the circumstances, so they cannot say what was not told.
    unknown = "" if saves or facts is None else " We were not told whether there is another scheme."
    return entry.warn(
        f"After the flexible access of {year.name}, the scheme sends a statement. {year.person.who} must tell every other "
        f"scheme {year.person.does('you', 'they')} pay into within {days} days of getting it. A scheme joined "
        f"later must be told within the same time. There are penalties for not doing so.{unknown}",
        year.path,
        about=year.person,
        figures=year.figures,
        rests_on=("pension.notice_to_other_schemes_days",),
    )


def _saved(year: YearFacts) -> tuple[PaidIn, ...]:
    facts = year.person.facts
    given = () if facts is None or facts.contributions is None else facts.contributions
    return tuple(one for one in given if year.figures.start <= one.day <= year.figures.end)


def _after_access(year: YearFacts) -> Pence:
    """Money purchase contributions after the first flexible access, which is known to be in force or triggered."""
    if not year.after.flexibly_accessed:
        return 0
    day = None if year.before.flexibly_accessed else year.triggered_on
    return sum(one.amount for one in _saved(year) if one.saving == "money_purchase" and (day is None or one.day > day))


def _charge(year: YearFacts, excess: Pence) -> Pence:
    """The annual allowance charge on an excess at the person's own rates; pence."""
    return annual_allowance.charge(excess, year.with_it.taxable, year.year.scales.lower)


@TOPIC.of_a_year(
    "contributions_above_money_purchase_annual_allowance",
    "costs",
    "Contributions exceed the money purchase annual allowance",
    "Money purchase contributions of a tax year after the first flexible access are more than the allowance.",
    facts=("contributions", "withdrawals.date", "withdrawals.method", "flexibly_accessed"),
    sources=("Finance Act 2004 ss.227-227B, 227ZA",),
    figures={
        "money_purchase_contributions": "pounds",
        "above_money_purchase_annual_allowance": "pounds",
        "annual_allowance_charge": "pounds",
        "money_purchase_annual_allowance": "pounds",
    },
    only="with_facts",
)
def contributions_above_money_purchase_annual_allowance(year: YearFacts, entry: Entry) -> Found:
    """Planned contributions after flexible access exceed what may be paid in."""
    limit = year.figures.money(_MPAA)
    excess = _after_access(year) - limit
    if excess <= 0:
        return ()
    cost = _charge(year, excess)
    return entry.warn(
        f"After flexible access, {pounds(excess + limit)} is to be paid into money purchase pensions in {year.name}. This is "
        f"{pounds(excess)} more than the {pounds(limit)} allowed. The annual allowance charge would be about {pounds(cost)}, "
        "reported on a tax return.",
        (*year.person.path, "contributions"),
        about=year.person,
        figures=year.figures,
        rests_on=(_MPAA,),
        standing=year.figures.standing,
        money={
            "money_purchase_contributions": excess + limit,
            "above_money_purchase_annual_allowance": excess,
            "annual_allowance_charge": cost,
        },
        cost=cost,
    )


def _allowance(year: YearFacts, net_income: Pence) -> Pence:
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


@TOPIC.of_a_year(
    "annual_allowance_tapered",
    "costs",
    "The withdrawals reduce the annual allowance",
    "Taxable withdrawals lift threshold and adjusted income far enough to reduce the annual allowance, and "
    "contributions are planned.",
    facts=("contributions", "income", "withdrawals.amount"),
    sources=("Finance Act 2004 s.228ZA",),
    figures={"annual_allowance_before": "pounds", "annual_allowance_after": "pounds", "pension_saving": "pounds"},
    only="with_facts",
)
def annual_allowance_tapered(year: YearFacts, entry: Entry) -> Found:
    """The withdrawals lower the annual allowance of someone who saves."""
    saved = sum(one.amount for one in _saved(year))
    if not saved or not year.taxable:
        return ()
    now, before = _allowance(year, year.with_it.net_income), _allowance(year, year.taxpayer.income)
    if now >= before:
        return ()
    left = (
        " These are still within it."
        if saved <= now
        else " The excess brings a charge, unless unused allowance of the three previous tax years covers it."
    )
    return entry.warn(
        f"The withdrawals of {year.name} reduce {year.person.your} annual allowance from {pounds(before)} to {pounds(now)}. "
        f"Contributions of {pounds(saved)} are planned.{left}",
        (*year.person.path, "contributions"),
        about=year.person,
        figures=year.figures,
        money={"annual_allowance_before": before, "annual_allowance_after": now, "pension_saving": saved},
        cost=_charge(year, max(0, saved - now)) - _charge(year, max(0, saved - before)),
    )


def _above(year: YearFacts) -> tuple[Pence, Pence]:
    """How much all saving of the year exceeds the annual allowance, and that allowance; pence."""
    allowance = _allowance(year, year.with_it.net_income)
    return max(0, sum(one.amount for one in _saved(year)) - allowance), allowance


@TOPIC.of_a_year(
    "annual_allowance_exceeded",
    "costs",
    "Contributions exceed the annual allowance",
    "All pension saving of a tax year is more than the annual allowance and the carry forward.",
    facts=("contributions", "circumstances.carry_forward", "income"),
    sources=("Finance Act 2004 ss.227-228ZA, 228A",),
    figures={
        "above_annual_allowance_and_carry_forward": "pounds",
        "persons_annual_allowance": "pounds",
        "carry_forward": "pounds",
        "annual_allowance_charge": "pounds",
    },
    only="with_facts",
)
def annual_allowance_exceeded(year: YearFacts, entry: Entry) -> Found:
    """More is saved than the annual allowance and what is carried forward."""
    facts = year.person.facts
    if facts is None or facts.carry_forward is None or not _saved(year):
        return ()
    above, allowance = _above(year)
    excess = above - facts.carry_forward
    if excess <= 0:
        return ()
    cost = _charge(year, excess)
    carried = f" plus {pounds(facts.carry_forward)} carried forward" if facts.carry_forward else ""
    return entry.warn(
        f"Pension saving in {year.name} is {pounds(excess)} more than the annual allowance of {pounds(allowance)}{carried}. "
        f"The charge would be about {pounds(cost)}, reported on a tax return.",
        (*year.person.path, "contributions"),
        about=year.person,
        figures=year.figures,
        standing=year.figures.standing,
        money={
            "above_annual_allowance_and_carry_forward": excess,
            "persons_annual_allowance": allowance,
            "carry_forward": facts.carry_forward,
            "annual_allowance_charge": cost,
        },
        cost=cost,
    )


@TOPIC.of_a_year(
    "carry_forward_decides",
    "check",
    "Carry forward may cover the excess",
    "All pension saving of a tax year is more than the annual allowance, and carry forward is not given.",
    facts=("contributions", "circumstances.carry_forward", "income"),
    sources=("Finance Act 2004 ss.228-228A",),
    figures={"above_annual_allowance": "pounds", "persons_annual_allowance": "pounds"},
    only="with_facts",
)
def carry_forward_decides(year: YearFacts, entry: Entry) -> Found:
    """More is saved than the annual allowance, and what is carried forward was not given."""
    facts = year.person.facts
    if facts is None or facts.carry_forward is not None or not _saved(year):
        return ()
    above, allowance = _above(year)
    if not above:
        return ()
    return entry.warn(
        f"Pension saving in {year.name} is {pounds(above)} more than the annual allowance of {pounds(allowance)}. Unused "
        "allowance of the three previous tax years may cover it. We were not told how much there is.",
        (*year.person.path, "circumstances", "carry_forward"),
        about=year.person,
        figures=year.figures,
        money={"above_annual_allowance": above, "persons_annual_allowance": allowance},
    )


@TOPIC.of_a_year(
    "defined_benefit_saving_above_alternative_allowance",
    "costs",
    "Other pension saving exceeds the alternative allowance",
    "The money purchase annual allowance is exceeded, and defined benefit saving is more than the alternative "
    "allowance.",
    facts=("contributions", "flexibly_accessed"),
    sources=("Finance Act 2004 ss.227B, 227ZA", "HMRC Pensions Tax Manual PTM056510"),
    figures={
        "defined_benefit_saving": "pounds",
        "persons_alternative_annual_allowance": "pounds",
        "above_alternative_annual_allowance": "pounds",
    },
    only="with_facts",
)
def defined_benefit_saving_above_alternative_allowance(year: YearFacts, entry: Entry) -> Found:
    """Defined benefit saving exceeds the allowance that flexible access leaves for it."""
    if not year.after.flexibly_accessed or _after_access(year) <= year.figures.money(_MPAA):
        return ()
    saved = sum(one.amount for one in _saved(year) if one.saving == "defined_benefit")
    limit = annual_allowance.alternative(_allowance(year, year.with_it.net_income), year.figures.money(_MPAA))
    if saved <= limit:
        return ()
    return entry.warn(
        f"Defined benefit saving in {year.name} is {pounds(saved)}. This is {pounds(saved - limit)} more than the "
        f"alternative annual allowance of {pounds(limit)}. This allowance applies because the money purchase annual allowance "
        "is exceeded. Any carry forward would raise it.",
        (*year.person.path, "contributions"),
        about=year.person,
        figures=year.figures,
        money={
            "defined_benefit_saving": saved,
            "persons_alternative_annual_allowance": limit,
            "above_alternative_annual_allowance": saved - limit,
        },
        cost=_charge(year, saved - limit),
    )


def _recyclable(year: YearFacts) -> bool:
    lump_sums = sum(taken.payment.tax_free for taken in year.taken if taken.method in ("pcls", "pcls_and_drawdown"))
    return lump_sums > year.figures.money("pension.recycling_lump_sum_limit")


@TOPIC.of_a_person(
    "contributions_not_given",
    "check",
    "Planned contributions may change the tax",
    "There is income from work, income is taken flexibly or lump sums exceed the recycling limit, and planned "
    "contributions are not given.",
    facts=("contributions", "income", "withdrawals.method", "withdrawals.amount"),
    sources=("Finance Act 2004 ss.227ZA-227G and Sch.29 para 3A",),
    only="with_facts",
)
def contributions_not_given(case: PersonCase, entry: Entry) -> Found:
    """Someone works and takes benefits, and whether saving goes on was not given."""
    person, facts = case.person, case.person.facts
    if facts is None or facts.contributions is not None:
        return ()
    saves = person.works or any(year.taxpayer.relief_at_source for year in case.years)
    year = next((year for year in case.years if year.triggered or _recyclable(year)), None)
    if year is None or not saves or facts.saves_in_other_schemes is False:
        return ()
    return entry.warn(
        f"We were not told what will be paid into {person.your} pensions. Contributions could bring an annual allowance "
        f"charge or bring the withdrawals of {year.name} under the recycling rule. Employer contributions count too.",
        (*person.path, "contributions"),
        about=person,
        figures=year.figures,
    )

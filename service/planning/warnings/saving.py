"""Relief on contributions (Finance Act 2004 ss.188-190), and the allowances for saving, used up or cut back by what is
withdrawn (ss.227-228A)."""

from __future__ import annotations

from datetime import date

from service.law import annual_allowance
from service.law.ages import age_on, birthday
from service.law.annual_allowance import Excess, Saving
from service.law.income_tax import liability, taxpayer_year
from service.law.lump_sums import PENSION_COMMENCEMENT
from service.law.rounding import down_to_the_penny
from service.law.units import Pence
from service.planning.warnings.circumstances import PaidIn, PersonCase, YearFacts
from service.planning.warnings.topic import Entry, Topic
from service.planning.warnings.warning import Found
from service.planning.wording import pounds

TOPIC: Topic = Topic()

_MPAA = "pension.money_purchase_annual_allowance"
_NOTICE = "pension.notice_to_other_schemes_days"


@TOPIC.of_a_year(
    "money_purchase_annual_allowance_triggered",
    "costs",
    "Future pension contributions are limited",
    "Income is taken flexibly for the first time, as a UFPLS or income from drawdown. Other schemes have to be told, "
    "where something is or may be paid into them.",
    facts=(
        "withdrawals.method",
        "flexibly_accessed",
        "circumstances.saves_in_other_schemes",
        "contributions",
        "income",
    ),
    sources=(
        "Finance Act 2004 ss.227ZA-227G",
        "SI 2006/567 reg.14ZB",
        "HMRC Pensions Tax Manual PTM056520, PTM166400",
    ),
    figures={
        "alternative_annual_allowance": "pounds",
        "money_purchase_annual_allowance": "pounds",
        "notice_to_other_schemes_days": "days",
    },
)
def money_purchase_annual_allowance_triggered(year: YearFacts, entry: Entry) -> Found:
    """Flexible access cuts what may be paid into money purchase pensions from then on, and other schemes have to be told."""
    if not year.triggered or _nothing_will_be_paid_in(year) or _has_retired(year):
        return ()
    if _relief_has_ended(year) and not _saves_elsewhere(year):
        return ()
    if year.triggered_too_early:
        return ()
    if entry.in_codes:
        return entry.code_alone()
    figures, amount = year.figures, year.rules.money_purchase_annual_allowance
    rest = annual_allowance.alternative(figures.money("pension.annual_allowance"), amount)
    others = (
        f" If it is exceeded, other pension saving is tested against {pounds(rest)} plus any carry forward."
        if _saving(year).defined_benefit
        else ""
    )
    tells = _must_tell(year)
    return entry.warn(
        f"Taking income flexibly in {year.name} triggers {year.person.your} money purchase annual allowance. From the next "
        f"day, paying more than {pounds(amount)} a year into money purchase pensions brings a tax charge. Carry forward "
        f"cannot raise this limit.{others}{tells}",
        year.path,
        about=year.person,
        figures=figures,
        rests_on=(_MPAA, _NOTICE) if tells else (_MPAA,),
        money={"alternative_annual_allowance": rest},
    )


def _nothing_will_be_paid_in(year: YearFacts) -> bool:
    """Whether it is known that nothing more goes into any pension."""
    facts = year.person.facts
    return facts is not None and facts.contributions == () and facts.saves_in_other_schemes is False


def _saves_elsewhere(year: YearFacts) -> bool:
    """Whether it was said that the person saves in another scheme, which then has to be told."""
    facts = year.person.facts
    return facts is not None and facts.saves_in_other_schemes is True


def _has_retired(year: YearFacts) -> bool:
    """Whether nothing is likely to be paid in, so that the allowance limits nothing (our choice): nothing was said of
    contributions, and the person is over State Pension age without income from work, or is not expected to live a year."""
    person, facts = year.person, year.person.facts
    if facts is not None:
        if facts.ill_health == "life_expectancy_under_a_year" and not facts.contributions:
            return True
        if facts.contributions is not None or facts.saves_in_other_schemes:
            return False
    if person.works or year.paid_at_source or year.taxed_pay or not person.has_state_pension_age:
        return False
    day = year.triggered_on or year.last_day
    return person.state_pension_from is None or person.state_pension_from <= day


def _relief_has_ended(year: YearFacts) -> bool:
    """Whether the person is too old for relief when income is first taken flexibly, and no employer is known to pay in, so that
    the allowance limits nothing (s.188(3)(a)). From 75 on no employer has to pay in (Pensions Act
    2008 s.1(1)(c)): that none does, where nothing is said, is our choice."""
    day = year.triggered_on or year.last_day
    if age_on(year.person.born, day) < year.rules.relief.ends_at_age:
        return False
    facts = year.person.facts
    if facts is None or facts.contributions is None:
        return True
    return not any(one.payer == "employer" for one in facts.contributions)


@TOPIC.of_a_year(
    "later_contributions_limited",
    "check",
    "Later contributions would be limited",
    "Income is taken flexibly for the first time, and nothing is to be paid into any pension.",
    facts=("withdrawals.method", "flexibly_accessed", "contributions", "circumstances.saves_in_other_schemes"),
    sources=("Finance Act 2004 ss.227ZA-227G", "HMRC Pensions Tax Manual PTM056520"),
    figures={"money_purchase_annual_allowance": "pounds"},
    only="with_facts",
)
def later_contributions_limited(year: YearFacts, entry: Entry) -> Found:
    """The money purchase annual allowance for someone who pays nothing in, and still could."""
    if not year.triggered or not _nothing_will_be_paid_in(year) or _relief_has_ended(year):
        return ()
    return entry.warn(
        f"Taking income flexibly in {year.name} would limit later money purchase contributions to "
        f"{pounds(year.rules.money_purchase_annual_allowance)} a year. No contributions are planned.",
        year.path,
        about=year.person,
        figures=year.figures,
        rests_on=(_MPAA,),
    )


@TOPIC.of_a_person(
    "flexible_access_not_given",
    "check",
    "Earlier flexible access matters",
    "There are drawdown funds or money purchase contributions, something may be paid in, and earlier flexible access is not "
    "given.",
    facts=("flexibly_accessed", "pensions.drawdown", "contributions", "date_of_birth"),
    sources=("Finance Act 2004 ss.227B-227G",),
    figures={"money_purchase_annual_allowance": "pounds"},
)
def flexible_access_not_given(case: PersonCase, entry: Entry) -> Found:
    """Whether income was taken flexibly before decides whether the lower allowance applies already."""
    person, figures = case.person, case.years[0].figures
    first = case.years[0]
    if not person.earlier_access_matters or _nothing_will_be_paid_in(first) or _relief_has_ended(first):
        return ()
    return entry.warn(
        f"We were not told whether {person.you} {person.does('have', 'has')} taken income flexibly from any pension before. If "
        f"so, the money purchase annual allowance of {pounds(figures.money(_MPAA))} applies already.",
        (*person.path, "flexibly_accessed"),
        about=person,
        figures=figures,
        not_given=True,
        rests_on=(_MPAA,),
    )


def _must_tell(year: YearFacts) -> str:
    """The duty to tell every other scheme that is or will be paid into, as a sentence (SI 2006/567 reg.14ZB); empty where there
    is none, or nothing is likely to be paid in."""
    facts = year.person.facts
    saves = None if facts is None else facts.saves_in_other_schemes
    if saves is False or not (saves or _pays_in(year)):
        return ""
    days, verb = year.figures.count(_NOTICE), year.person.does("pay", "pays")
    return (
        f" The scheme then sends a statement. Any other scheme that {year.person.you} {verb} into, now or later, must be told "
        f"within {days} days, or there are penalties."
    )


def _pays_in(year: YearFacts) -> bool:
    """Whether something is paid into pensions, or may be: by someone who works, where that was not given."""
    facts = year.person.facts
    if facts is not None and facts.contributions is not None:
        return bool(facts.contributions)
    return bool(year.paid_at_source) or (year.person.works and not _relief_has_ended(year))


@TOPIC.of_a_year(
    "contribution_relief_limited",
    "costs",
    "Tax relief on contributions is limited",
    "More is paid in with relief at source than earnings, or the basic amount, allow, or something is paid in from age 75 on.",
    facts=("contributions", "income", "date_of_birth"),
    sources=("Finance Act 2004 ss.188-191",),
    figures={
        "paid_with_relief_at_source": "pounds",
        "contributions_with_relief": "pounds",
        "contributions_without_relief": "pounds",
        "basic_rate_relief_lost": "pounds",
        "relief_basic_amount": "pounds",
        "relief_ends_at_age": "age",
    },
)
def contribution_relief_limited(year: YearFacts, entry: Entry) -> Found:
    """What is paid in beyond the earnings, or from 75 on, has no relief."""
    relieved = year.taxpayer.relief_at_source
    at_source, from_pay = year.paid_at_source - relieved, year.taxed_pay
    if not at_source and not from_pay:
        return ()
    if entry.in_codes:
        return entry.code_alone(_basic_rate_of(year, at_source))
    person, age, least = year.person, year.rules.relief.ends_at_age, year.rules.relief.basic_amount
    turned = age_on(person.born, year.figures.end) >= age
    lost = _basic_rate_of(year, at_source)
    if not at_source:
        detail = (
            f"Contributions paid from age {age} on get no tax relief. {pounds(from_pay)} is to be paid from pay in {year.name}. "
            "That pay is taxable, and the tax here includes it."
        )
    elif turned and not relieved:
        detail = (
            f"Contributions paid from age {age} on get no tax relief. {pounds(at_source)} is to be paid into {person.your} "
            f"pensions in {year.name}. The scheme cannot claim the basic-rate relief of {pounds(lost)}."
        )
    else:
        why = (
            f"Contributions paid from age {age} on get none."
            if turned
            else f"The limit is the year's earnings from work, or {pounds(least)} if that is more."
        )
        detail = (
            f"{pounds(year.paid_at_source)} is to be paid into {person.your} pensions with relief at source in {year.name}, "
            f"but only {pounds(relieved)} gets relief. {why} On the other {pounds(at_source)}, the scheme cannot claim the "
            f"basic-rate relief of {pounds(lost)}."
        )
    return entry.warn(
        detail,
        (*person.path, "contributions"),
        about=person,
        figures=year.figures,
        rests_on=("pension.relief_basic_amount", "pension.relief_ends_at_age"),
        money={
            "paid_with_relief_at_source": year.paid_at_source,
            "contributions_with_relief": relieved,
            "contributions_without_relief": at_source + from_pay,
            "basic_rate_relief_lost": lost,
        },
        cost=lost,
    )


def _basic_rate_of(year: YearFacts, amount: Pence) -> Pence:
    return down_to_the_penny(amount * year.tax_rules.basic_rate)


@TOPIC.of_a_year(
    "relief_method_not_given",
    "check",
    "How contributions get relief matters",
    "Defined benefit saving of the person's own is planned, how it gets tax relief is not given, and relief at source would "
    "change the tax.",
    facts=("contributions.relief", "contributions", "income"),
    sources=("Finance Act 2004 ss.188-194",),
    figures={"defined_benefit_saving": "pounds"},
    only="with_facts",
)
def relief_method_not_given(year: YearFacts, entry: Entry) -> Found:
    """What a member pays into a defined benefit scheme may come off pay before tax, or have relief at source."""
    own = sum(
        one.amount
        for one in _planned(year)
        if one.saving == "defined_benefit" and one.payer != "employer" and one.relief is None
    )
    if not own:
        return ()
    relieved = year.taxpayer._replace(relief_at_source=year.taxpayer.relief_at_source + own)
    if liability(taxpayer_year(relieved, year.tax_rules), year.taxable).total == year.with_it.total:
        return ()
    return entry.warn(
        f"{pounds(own)} of defined benefit saving is planned in {year.name}. We were not told whether {year.person.your} own "
        f"contributions are paid from pay before tax or after it. This affects {year.person.your} adjusted net income and tax.",
        (*year.person.path, "contributions"),
        about=year.person,
        figures=year.figures,
        not_given=True,
        money={"defined_benefit_saving": own},
    )


def _planned(year: YearFacts) -> tuple[PaidIn, ...]:
    facts = year.person.facts
    if facts is None or not facts.contributions:
        return ()
    return tuple(one for one in facts.contributions if year.figures.start <= one.day <= year.figures.end)


def _relief_ended(year: YearFacts) -> date | None:
    """From when in the year the person's own contributions are not relievable, None where they all may be."""
    if age_on(year.person.born, year.figures.end) < year.rules.relief.ends_at_age:
        return None
    return birthday(year.person.born, year.rules.relief.ends_at_age)


def _is_too_late(one: PaidIn, ended: date | None) -> bool:
    """Whether the person pays this into a money purchase pension once the age for relief is reached."""
    return ended is not None and one.payer != "employer" and one.saving == "money_purchase" and one.day >= ended


def _paid_too_late(year: YearFacts) -> tuple[PaidIn, ...]:
    """What the person pays into money purchase pensions once the age for relief is reached: no relievable contribution."""
    ended = _relief_ended(year)
    return () if ended is None else tuple(one for one in _planned(year) if _is_too_late(one, ended))


def _saved(year: YearFacts) -> tuple[PaidIn, ...]:
    """What counts against the annual allowance: of a person's own contributions only relievable ones (s.233(1))."""
    planned = _planned(year)
    if not planned:
        return ()
    ended = _relief_ended(year)
    return tuple(one for one in planned if not _is_too_late(one, ended))


def _counted(year: YearFacts) -> tuple[PaidIn, ...]:
    """The same, also where a plan pays contributions in."""
    return _saved(year) or year.saved


def _saving(year: YearFacts) -> Saving:
    """The year's saving by what it is tested against (s.227F(3)-(4)): what is paid into money purchase pensions up to the day
    of the first flexible access counts with defined benefit saving."""
    saved = _saved(year)
    if not saved:
        return Saving(0, 0)
    total = sum(one.amount for one in saved)
    if not year.after.flexibly_accessed:
        return Saving(0, total)
    day = None if year.before.flexibly_accessed else year.triggered_on
    tested = sum(one.amount for one in saved if one.saving == "money_purchase" and (day is None or one.day > day))
    return Saving(tested, total - tested)


def _carried_forward(year: YearFacts) -> Pence | None:
    facts = year.person.facts
    return None if facts is None else facts.carry_forward


def _excess(year: YearFacts, carried_forward: Pence) -> Excess:
    """By how much the year's saving is above the allowances, with so much carried forward."""
    allowance = _allowance(year, year.with_it.net_income) + carried_forward
    return annual_allowance.excess(_saving(year), allowance, year.rules.money_purchase_annual_allowance)


def _charge(year: YearFacts, excess: Pence) -> Pence:
    """The annual allowance charge on an excess at the person's own rates; pence."""
    return annual_allowance.charge(excess, year.with_it.taxable, year.year.scales.lower)


@TOPIC.of_a_year(
    "contributions_above_money_purchase_annual_allowance",
    "costs",
    "Contributions exceed the money purchase annual allowance",
    "Money purchase contributions of a tax year after the first flexible access are more than the allowance. The annual "
    "allowance charge is on this excess.",
    facts=(
        "contributions",
        "withdrawals.date",
        "withdrawals.method",
        "flexibly_accessed",
        "circumstances.carry_forward",
    ),
    sources=("Finance Act 2004 ss.227, 227ZA, 227B and 227F",),
    figures={
        "money_purchase_contributions": "pounds",
        "above_money_purchase_annual_allowance": "pounds",
        "annual_allowance_charge": "pounds",
        "annual_allowance_charge_without_carry_forward": "pounds",
        "money_purchase_annual_allowance": "pounds",
    },
    only="with_facts",
)
def contributions_above_money_purchase_annual_allowance(year: YearFacts, entry: Entry) -> Found:
    """Planned contributions after flexible access exceed what may be paid in, and nothing else would be charged more."""
    if not _planned(year):
        return ()
    carried = _carried_forward(year)
    found = _excess(year, carried or 0)
    excess = found.above_money_purchase
    if not excess or not (found.alternative or carried is None):
        return ()
    limit, cost = year.rules.money_purchase_annual_allowance, _charge(year, excess)
    without, more = "", {}
    if carried is None and found.chargeable > excess:
        in_all = _charge(year, found.chargeable)
        without = f" Without any carry forward it would be about {pounds(in_all)} in all."
        more = {"annual_allowance_charge_without_carry_forward": in_all}
    return entry.warn(
        f"After flexible access, {pounds(excess + limit)} is to be paid into money purchase pensions in {year.name}. This is "
        f"{pounds(excess)} more than the {pounds(limit)} allowed. The annual allowance charge would be about {pounds(cost)}, "
        f"reported on a tax return.{without}",
        (*year.person.path, "contributions"),
        about=year.person,
        figures=year.figures,
        rests_on=(_MPAA,),
        standing=year.figures.standing,
        money={
            "money_purchase_contributions": excess + limit,
            "above_money_purchase_annual_allowance": excess,
            "annual_allowance_charge": cost,
            **more,
        },
        cost=cost,
    )


def _allowance(year: YearFacts, net_income: Pence) -> Pence:
    """The annual allowance for an income, after its taper (s.228ZA). Employers' contributions add to adjusted income, and so do
    contributions by net pay, which income is without (s.228ZA(4))."""
    figures = year.figures
    added = sum(one.amount for one in _counted(year) if one.payer == "employer" or one.relief == "net_pay")
    return annual_allowance.tapered(
        figures.money("pension.annual_allowance"),
        figures.money("pension.annual_allowance_tapered_minimum"),
        figures.money("pension.annual_allowance_threshold_income"),
        figures.money("pension.annual_allowance_adjusted_income"),
        max(0, net_income - year.taxpayer.relief_at_source),
        net_income + added,
    )


@TOPIC.of_a_year(
    "annual_allowance_tapered",
    "check",
    "The withdrawals reduce the annual allowance",
    "Taxable withdrawals lift threshold and adjusted income far enough to reduce the annual allowance, and "
    "contributions are planned.",
    facts=("contributions", "income", "withdrawals.amount"),
    sources=("Finance Act 2004 s.228ZA",),
    figures={"annual_allowance_before": "pounds", "annual_allowance_after": "pounds", "pension_saving": "pounds"},
)
def annual_allowance_tapered(year: YearFacts, entry: Entry) -> Found:
    """The withdrawals lower the annual allowance of someone who saves. The charge itself is another warning's."""
    counted = _counted(year)
    if not counted or not year.taxable:
        return ()
    saved = sum(one.amount for one in counted)
    if not saved:
        return ()
    now, before = _allowance(year, year.with_it.net_income), _allowance(year, year.taxpayer.income)
    if now >= before:
        return ()
    left = "These are still within it." if saved <= now else "The excess can bring a charge."
    return entry.warn(
        f"The withdrawals of {year.name} reduce {year.person.your} annual allowance from {pounds(before)} to {pounds(now)}. "
        f"Contributions of {pounds(saved)} are planned. {left}",
        (*year.person.path, "contributions"),
        about=year.person,
        figures=year.figures,
        money={"annual_allowance_before": before, "annual_allowance_after": now, "pension_saving": saved},
    )


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
    """More is saved than the annual allowance and what is carried forward, and no more would be charged after flexible access."""
    carried_forward = _carried_forward(year)
    if carried_forward is None or not _planned(year):
        return ()
    found = _excess(year, carried_forward)
    if not found.chargeable or found.alternative:
        return ()
    excess, allowance = found.chargeable, _allowance(year, year.with_it.net_income)
    cost = _charge(year, excess)
    carried = f" plus {pounds(carried_forward)} carried forward" if carried_forward else ""
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
            "carry_forward": carried_forward,
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
    figures={
        "above_annual_allowance": "pounds",
        "persons_annual_allowance": "pounds",
        "annual_allowance_charge_without_carry_forward": "pounds",
    },
    only="with_facts",
)
def carry_forward_decides(year: YearFacts, entry: Entry) -> Found:
    """More is saved than the annual allowance, and what is carried forward was not given."""
    if _carried_forward(year) is not None or not _planned(year):
        return ()
    found = _excess(year, 0)
    if not found.chargeable or found.above_money_purchase:
        return ()
    allowance, cost = _allowance(year, year.with_it.net_income), _charge(year, found.chargeable)
    return entry.warn(
        f"Pension saving in {year.name} is {pounds(found.chargeable)} more than the annual allowance of {pounds(allowance)}. "
        "Unused allowance of the three previous tax years may cover it. We were not told how much there is. Without any, the "
        f"charge would be about {pounds(cost)}.",
        (*year.person.path, "circumstances", "carry_forward"),
        about=year.person,
        figures=year.figures,
        money={
            "above_annual_allowance": found.chargeable,
            "persons_annual_allowance": allowance,
            "annual_allowance_charge_without_carry_forward": cost,
        },
    )


@TOPIC.of_a_year(
    "defined_benefit_saving_above_alternative_allowance",
    "check",
    "Other pension saving exceeds the alternative allowance",
    "The money purchase annual allowance is exceeded, and all other pension saving is more than the alternative "
    "allowance. Carry forward, which would raise it, is not given.",
    facts=("contributions", "flexibly_accessed", "circumstances.carry_forward"),
    sources=("Finance Act 2004 ss.227ZA, 227B and 227F", "HMRC Pensions Tax Manual PTM056510"),
    figures={
        "defined_benefit_saving": "pounds",
        "persons_alternative_annual_allowance": "pounds",
        "above_alternative_annual_allowance": "pounds",
    },
    only="with_facts",
)
def defined_benefit_saving_above_alternative_allowance(year: YearFacts, entry: Entry) -> Found:
    """All other saving exceeds the allowance that flexible access leaves for it. With carry forward known, the default test
    charges as much, and says so."""
    if _carried_forward(year) is not None or not _planned(year):
        return ()
    above = _excess(year, 0).above_alternative
    if not above:
        return ()
    saved = _saving(year).defined_benefit
    return entry.warn(
        f"Pension saving in {year.name} other than money purchase saving after flexible access is {pounds(saved)}. This is "
        f"{pounds(above)} more than the alternative annual allowance of {pounds(saved - above)}. We were not told about carry "
        "forward, which would raise this allowance.",
        (*year.person.path, "circumstances", "carry_forward"),
        about=year.person,
        figures=year.figures,
        money={
            "defined_benefit_saving": saved,
            "persons_alternative_annual_allowance": saved - above,
            "above_alternative_annual_allowance": above,
        },
    )


def _recyclable(year: YearFacts) -> bool:
    lump_sums = sum(
        taken.payment.tax_free
        for taken in year.taken
        if taken.method in PENSION_COMMENCEMENT and not year.too_early(taken)
    )
    return lump_sums > year.figures.money("pension.recycling_lump_sum_limit")


@TOPIC.of_a_person(
    "contributions_not_given",
    "check",
    "Contributions may affect tax-free cash",
    "There is income from work, lump sums exceed the recycling limit, and planned contributions are not given.",
    facts=("contributions", "income", "withdrawals.method", "withdrawals.amount"),
    sources=("Finance Act 2004 Sch.29 para 3A",),
    only="with_facts",
)
def contributions_not_given(case: PersonCase, entry: Entry) -> Found:
    """Someone works and takes tax-free cash, and whether saving goes on was not given. What flexible access does to
    contributions is told by itself."""
    person, facts = case.person, case.person.facts
    if facts is None or facts.contributions is not None:
        return ()
    saves = person.works or any(year.taxpayer.relief_at_source for year in case.years)
    year = next((year for year in case.years if _recyclable(year)), None)
    if year is None or not saves or facts.saves_in_other_schemes is False:
        return ()
    return entry.warn(
        f"If contributions rise because of the tax-free cash of {year.name}, it could be taxed under the recycling rule. "
        f"We were not told what will be paid into {person.your} pensions. Employer contributions count too.",
        (*person.path, "contributions"),
        about=person,
        figures=year.figures,
        not_given=True,
    )

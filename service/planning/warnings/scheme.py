"""What the scheme gives up, asks for or guards against, and the help there is: guidance, advice, warning signs."""

from __future__ import annotations

from collections.abc import Iterator

from service.law.ages import age_on
from service.law.lump_sums import PENSION_COMMENCEMENT, quarter
from service.law.rounding import down_to_the_penny
from service.law.units import WHOLE, BasisPoints, Pence
from service.planning.warnings.circumstances import (
    NOTHING_MUCH,
    Circumstances,
    PensionCase,
    PersonCase,
    PersonFacts,
    Taken,
    YearFacts,
)
from service.planning.warnings.topic import Entry, Topic, first_day_with
from service.planning.warnings.warning import Found
from service.planning.wording import per_cent, pounds, starting

TOPIC: Topic = Topic()

_ADVICE = "pension.safeguarded_benefits_advice_threshold"
_EXIT_CHARGE = "pension.exit_charge_limit_share"


def _first_crystallising(case: PensionCase) -> tuple[YearFacts, Taken] | None:
    return next(
        (
            (year, taken)
            for year in case.years
            for taken in year.taken
            if taken.payment.from_uncrystallised and taken.payment.gross
        ),
        None,
    )


def _worth_advice(case: PensionCase) -> tuple[YearFacts, Pence] | None:
    """The tax year in which safeguarded benefits of more than the threshold are given up, and what they are worth; None where no
    advice is asked for by law.

    Pension Schemes Act 2015 s.48(1): a transfer for flexible benefits, a conversion into them, and a UFPLS. A guaranteed annuity
    rate is a safeguarded benefit. Where the value of those benefits was not given, or as nothing, it is that of the
    uncrystallised funds, which is our choice.
    """
    features = case.features
    if not features.safeguarded_benefits and not features.guaranteed_annuity_rate:
        return None
    found = _first_crystallising(case)
    if found is None and not features.leaves:
        return None
    year = found[0] if found else case.years[0]
    value = features.safeguarded_benefits or year.before.uncrystallised
    return (year, value) if value > year.figures.money(_ADVICE) else None


@TOPIC.of_a_pension(
    "advice_required_for_safeguarded_benefits",
    "check",
    "Advice is required by law first",
    "Safeguarded benefits, a guaranteed annuity rate among them, are worth more than the threshold. Some of the pension "
    "is taken, moved to drawdown or transferred.",
    facts=(
        "pensions.safeguarded_benefits",
        "pensions.guaranteed_annuity_rate",
        "pensions.uncrystallised",
        "withdrawals.method",
        "pensions.transfer_planned",
    ),
    sources=(
        "Pension Schemes Act 2015 s.48",
        "SI 2015/742 reg.5",
    ),
    figures={
        "safeguarded_benefits": "pounds",
        "uncrystallised_before": "pounds",
        "safeguarded_benefits_advice_threshold": "pounds",
    },
    of_one_pension=True,
    only="with_facts",
    severity="lasting",
)
def advice_required_for_safeguarded_benefits(case: PensionCase, entry: Entry) -> Found:
    """Safeguarded benefits over the threshold may be given up only after advice."""
    found = _worth_advice(case)
    if found is None:
        return ()
    year, value = found
    limit, known = year.figures.money(_ADVICE), bool(case.features.safeguarded_benefits)
    taken_advice = f"{case.person.you} {case.person.does('have', 'has')} taken advice from an authorised adviser"
    if known:
        detail = (
            f"This pension has safeguarded benefits worth {pounds(value)}, more than {pounds(limit)}. By law the scheme must "
            f"check that {taken_advice}. It must do so before it pays or transfers this money."
        )
    else:
        detail = (
            f"This pension has a guaranteed annuity rate, with {pounds(value)} not yet accessed. If its transfer value is more "
            f"than {pounds(limit)}, the scheme must by law check that {taken_advice}. It must do so before it pays or transfers "
            "this money."
        )
    return entry.warn(
        detail,
        (*case.path, "safeguarded_benefits" if known else "guaranteed_annuity_rate"),
        about=case.person,
        figures=year.figures,
        rests_on=(_ADVICE,),
        money={"safeguarded_benefits" if known else "uncrystallised_before": value},
    )


@TOPIC.of_a_pension(
    "guaranteed_annuity_rate_lost",
    "costs",
    "A guaranteed annuity rate is given up",
    "There is a guaranteed annuity rate, and funds are taken by another method or transferred.",
    facts=("pensions.guaranteed_annuity_rate", "withdrawals.method", "withdrawals.amount", "pensions.transfer_planned"),
    sources=("Pension Schemes Act 2015 s.48",),
    figures={"guarantee_lost_on": "pounds"},
    of_one_pension=True,
    only="with_facts",
    severity="lasting",
)
def guaranteed_annuity_rate_lost(case: PensionCase, entry: Entry) -> Found:
    """A guaranteed rate is lost on what is taken in another form."""
    if not case.features.guaranteed_annuity_rate:
        return ()
    found = _first_crystallising(case)
    if found is None and not case.features.leaves:
        return ()
    year = found[0] if found else case.years[0]
    taken = sum(one.payment.from_uncrystallised for every in case.years for one in every.taken)
    amount = case.years[0].held_before if case.features.leaves else taken
    if amount <= 0:
        return ()
    return entry.warn(
        f"{starting(case.person.your)} pension has a guaranteed annuity rate. It is lost on the {pounds(amount)} that is "
        f"{'transferred' if case.features.leaves else 'taken by another method'}. Ask the scheme what income the guarantee would "
        "pay and when it can be taken.",
        (*case.path, "guaranteed_annuity_rate"),
        about=case.person,
        figures=year.figures,
        money={"guarantee_lost_on": amount},
    )


@TOPIC.of_a_person(
    "protected_lump_sum_lost",
    "costs",
    "A protected lump sum is lost",
    "The scheme protects more than a quarter tax free. The pension is transferred, or not all of it is taken on one day "
    "as the protected lump sum with drawdown.",
    facts=(
        "pensions.protected_tax_free_share",
        "withdrawals.method",
        "withdrawals.amount",
        "pensions.transfer_planned",
    ),
    sources=("Finance Act 2004 Sch.36 para 31(3)", "Finance Act 2004 Sch.36 paras 31-34"),
    figures={"protection_lost_on": "pounds", "tax_free_cash_lost": "pounds", "protected_tax_free_share": "fraction"},
    of_one_pension=True,
    severity="lasting",
)
def protected_lump_sum_lost(case: PersonCase, entry: Entry) -> Found:
    """A scheme's protected lump sum of more than a quarter is lost where not all its pensions begin on the same day.

    The protection is of the whole pension, so the loss is that on all of it. It is tax-free cash and no tax, so it has no cost
    beside other costs.
    """
    told: Found = ()
    known: set[int | None] = set()
    for year in case.years:
        for taken in year.taken:
            share = taken.before.protected_tax_free_share
            if share > year.rules.lump_sums.tax_free_rate and taken.pension not in known:
                if not taken.payment.from_uncrystallised or not taken.payment.gross:
                    continue
                known.add(taken.pension)
                told += _lost_by(year, taken, entry)
    for one in case.pensions:
        if one.features.leaves and one.person.pension not in known:
            told += _lost_by_transfer(one, entry)
    return told


def _lost_by(year: YearFacts, taken: Taken, entry: Entry) -> Found:
    """What the first withdrawal from the uncrystallised funds of a pension loses of its protected lump sum."""
    rules, pension = year.rules.lump_sums, taken.before
    held, share = pension.uncrystallised, pension.protected_tax_free_share
    protected = down_to_the_penny(held * share)
    whole = taken.payment.from_uncrystallised == held and taken.method in PENSION_COMMENCEMENT
    had = taken.payment.tax_free if whole else min(quarter(held, rules), taken.left_before.tax_free)
    lost = protected - had
    if lost <= 0:
        return ()
    if entry.in_codes:
        return entry.code_alone()
    how = "the pension is taken in parts"
    if taken.method in ("ufpls", "small_pot"):
        how = f"it is taken as a {'UFPLS' if taken.method == 'ufpls' else 'small pot'}"
    elif whole:
        how = ""
    return _told_of_loss(year.of_pension(taken.pension), share, held, lost, how, entry)


def _lost_by_transfer(case: PensionCase, entry: Entry) -> Found:
    year, share = case.years[0], case.features.protected_tax_free_share or 0
    rules, held = year.rules.lump_sums, year.before.uncrystallised
    lost = down_to_the_penny(held * share) - min(quarter(held, rules), year.left_before.tax_free)
    if share <= rules.tax_free_rate or lost <= 0:
        return ()
    return _told_of_loss(year, share, held, lost, "it is transferred", entry, case.person)


def _told_of_loss(
    year: YearFacts,
    share: BasisPoints,
    held: Pence,
    lost: Pence,
    how: str,
    entry: Entry,
    person: PersonFacts | None = None,
) -> Found:
    about = person or year.person
    lost_by = (
        f"That is lost because {how}. Of {pounds(held)}, {pounds(lost)} less is tax free. All of the scheme's benefits must be "
        "taken on one day to keep it."
        if how
        else f"Of {pounds(held)}, {pounds(lost)} less is taken now. It cannot be taken tax free later."
    )
    return entry.warn(
        f"This scheme protects {per_cent(share)} of the pension as tax-free cash. {lost_by} Ask the scheme for the exact amount.",
        (*about.pension_path, "protected_tax_free_share"),
        about=about,
        figures=year.figures,
        money={"protection_lost_on": held, "tax_free_cash_lost": lost},
        rates={"protected_tax_free_share": share},
    )


@TOPIC.of_a_pension(
    "exit_charge",
    "costs",
    "The scheme makes an exit charge",
    "There is an exit charge, and money is withdrawn or transferred.",
    facts=(
        "pensions.exit_charge",
        "pensions.scheme_kind",
        "withdrawals.amount",
        "pensions.transfer_planned",
        "date_of_birth",
    ),
    sources=("Financial Services and Markets Act 2000 s.137FBB", "FCA policy statement PS16/24"),
    figures={
        "exit_charge": "pounds",
        "pension_before": "pounds",
        "exit_charge_limit": "pounds",
        "exit_charge_limit_share": "fraction",
    },
    of_one_pension=True,
    only="with_facts",
)
def exit_charge(case: PensionCase, entry: Entry) -> Found:
    """The scheme takes a charge for paying out."""
    if not case.features.exit_charge:
        return ()
    year = next((year for year in case.years if year.gross), None)
    if year is None and not case.features.leaves:
        return ()
    year = year or case.years[0]
    held = year.held_before
    if held <= 0:
        return ()
    charge, limit = case.features.exit_charge, year.figures.rate(_EXIT_CHARGE)
    share = charge * WHOLE // held
    of_age = age_on(case.person.born, year.figures.start) >= year.rules.minimum_pension_age
    text = f"The scheme makes an exit charge of {pounds(charge)} on {pounds(held)}, {_about(share)}."
    most = down_to_the_penny(held * limit)
    capped = case.features.scheme_kind != "occupational" and of_age and charge > most
    if capped:
        text += (
            f" From the minimum pension age a personal pension can usually charge at most {per_cent(limit)}, here "
            f"{pounds(most)}. Contracts made since 31 March 2017 can charge nothing. Ask the scheme why it charges more."
        )
    else:
        text += " Ask the scheme whether and when the charge ends."
    return entry.warn(
        text,
        (*case.path, "exit_charge"),
        about=case.person,
        figures=year.figures,
        rests_on=(_EXIT_CHARGE,) if capped else (),
        money={"exit_charge": charge, "pension_before": held, **({"exit_charge_limit": most} if capped else {})},
        cost=charge,
    )


def _about(share: BasisPoints) -> str:
    """A share of a fund as a sentence tells it."""
    return f"{per_cent(share)} of it" if share else "a small part of it"


@TOPIC.of_a_person(
    "employer_contributions_lost",
    "check",
    "Employer contributions would end",
    "The employer pays in, and the pension is emptied or transferred.",
    facts=("contributions", "withdrawals.amount", "pensions.transfer_planned"),
    sources=("Pensions Act 2008 s.3",),
    figures={"employer_contributions": "pounds"},
    only="with_facts",
    severity="support",
)
def employer_contributions_lost(case: PersonCase, entry: Entry) -> Found:
    """A pension that is emptied or left takes no more from the employer."""
    facts = case.person.facts
    if facts is None or not facts.employer_contributions:
        return ()
    year = next(filter(None, map(_ends_in, case.pensions)), None)
    if year is None:
        return ()
    yearly = facts.employer_contributions
    into = "this pension" if len(case.pensions) == 1 else "a pension"
    return entry.warn(
        f"The employer pays {pounds(yearly)} a year into {into}. If the pension is emptied or left, these "
        "contributions may end. Ask the employer whether they would continue elsewhere.",
        (*case.person.path, "contributions"),
        about=case.person,
        figures=year.figures,
        money={"employer_contributions": yearly},
    )


def _ends_in(case: PensionCase) -> YearFacts | None:
    """The tax year in which a pension is emptied, or the first one where it is to be transferred."""
    emptied = next((year for year in case.years if year.gross and year.held_after < NOTHING_MUCH), None)
    return emptied or (case.years[0] if case.features.leaves else None)


@TOPIC.of_a_pension(
    "pension_features_not_given",
    "check",
    "The pension may have valuable guarantees",
    "More than the advice threshold is taken or moved to drawdown, and nothing is known of guarantees or "
    "protected lump sums.",
    facts=(
        "pensions.safeguarded_benefits",
        "pensions.guaranteed_annuity_rate",
        "pensions.protected_tax_free_share",
        "withdrawals.amount",
    ),
    sources=(
        "Pension Schemes Act 2015 s.48",
        "SI 2015/742 reg.5",
        "Finance Act 2004 Sch.36 paras 31-34",
    ),
    figures={"from_uncrystallised": "pounds", "safeguarded_benefits_advice_threshold": "pounds"},
    of_one_pension=True,
    only="with_facts",
    severity="lasting",
)
def pension_features_not_given(case: PensionCase, entry: Entry) -> Found:
    """Much is taken, and what the scheme would give up was not given."""
    if not case.features.nothing_known:
        return ()
    year = case.years[0]
    taken = sum(one.payment.from_uncrystallised for every in case.years for one in every.taken)
    limit = year.figures.money(_ADVICE)
    if taken <= limit:
        return ()
    return entry.warn(
        f"{pounds(taken)} is taken or moved to drawdown. Guarantees or a protected lump sum could be lost, and we were not told "
        f"whether {case.person.the_pension} has any. Above {pounds(limit)} of safeguarded benefits, advice is required by law.",
        (*case.path, "safeguarded_benefits"),
        about=case.person,
        figures=year.figures,
        not_given=True,
        in_notice=f"We were not told whether {case.person.your} pension has guarantees or a protected lump sum. A withdrawal can "
        f"end them for good. Above {pounds(limit)} of safeguarded benefits, advice is required by law.",
        rests_on=(_ADVICE,),
        money={"from_uncrystallised": taken},
    )


_TRANSFERS_ARE_CHECKED_FROM = "pension.transfer_conditions_from"


def _flagged(case: Circumstances, flag: str) -> Iterator[PensionCase]:
    """The pensions whose transfer has a flag, once its law runs."""
    figures = case.people[0].years[0].figures
    if not figures.has(_TRANSFERS_ARE_CHECKED_FROM):
        return
    if case.today is not None and case.today < figures.day(_TRANSFERS_ARE_CHECKED_FROM):
        return
    yield from (one for person in case.people for one in person.pensions if one.features.transfer_flag == flag)


@TOPIC.of_the_household(
    "transfer_red_flag",
    "not_permitted",
    "A red flag stops the transfer",
    "A transfer is planned and the scheme finds a red flag.",
    facts=("pensions.transfer_flag", "date"),
    sources=("SI 2021/1237",),
    since=first_day_with(_TRANSFERS_ARE_CHECKED_FROM),
    of_one_pension=True,
    only="with_facts",
    severity="lasting",
)
def transfer_red_flag(case: Circumstances, entry: Entry) -> Found:
    """Signs that stop a transfer."""
    told: Found = ()
    for one in _flagged(case, "red"):
        told += entry.warn(
            "The scheme has found a red flag, so the legal right to this transfer is lost. Ask the scheme which flag it "
            "found. A suspected scam can be reported to the FCA, and to Report Fraud or, in Scotland, the police.",
            (*one.path, "transfer_flag"),
            about=one.person,
            figures=one.years[0].figures,
        )
    return told


@TOPIC.of_the_household(
    "transfer_amber_flag",
    "check",
    "An amber flag pauses the transfer",
    "A transfer is planned and the scheme finds an amber flag.",
    facts=("pensions.transfer_flag", "date"),
    sources=("SI 2021/1237",),
    since=first_day_with(_TRANSFERS_ARE_CHECKED_FROM),
    of_one_pension=True,
    only="with_facts",
    severity="lasting",
)
def transfer_amber_flag(case: Circumstances, entry: Entry) -> Found:
    """Signs that bring an appointment before a transfer."""
    told: Found = ()
    for one in _flagged(case, "amber"):
        told += entry.warn(
            "The scheme has found an amber flag. The transfer can go ahead only after a free pensions safeguarding "
            "appointment with MoneyHelper. The scheme needs the appointment's reference.",
            (*one.path, "transfer_flag"),
            about=one.person,
            figures=one.years[0].figures,
        )
    return told


@TOPIC.of_a_person(
    "unexpected_contact",
    "check",
    "Unsolicited contact may be a scam",
    "Someone made contact about the pension without being asked.",
    facts=("circumstances.unexpected_contact",),
    sources=(
        "SI 2018/1396 reg.2",
        "SI 2003/2426 reg.21B",
    ),
    only="with_facts",
    severity="lasting",
)
def unexpected_contact(case: PersonCase, entry: Entry) -> Found:
    """Somebody called out of the blue."""
    facts = case.person.facts
    if facts is None or not facts.unexpected_contact:
        return ()
    return entry.warn(
        "Unsolicited marketing calls about pensions are banned. An offer of early access or free money is a common sign of a "
        "scam. The FCA's register shows whether a firm is authorised.",
        (*case.person.path, "circumstances", "unexpected_contact"),
        about=case.person,
        figures=case.years[0].figures,
    )


@TOPIC.of_the_household(
    "guidance_appointment",
    "check",
    "Free guidance is available",
    "Benefits are first taken at an age with a right to guidance, no appointment has taken place, and no adviser is given.",
    facts=("circumstances.guidance_taken", "circumstances.regulated_adviser", "date_of_birth", "date"),
    sources=(
        "Financial Guidance and Claims Act 2018",
        "FCA Handbook COBS 19.7",
    ),
    figures={"guidance_age": "age"},
    only="with_facts",
)
def guidance_appointment(case: Circumstances, entry: Entry) -> Found:
    """The free appointment for those of 50 and over, before benefits are first taken. Where it was not said whether one has taken
    place, the notice of every answer tells of it (our choice)."""
    told: Found = ()
    for one in case.people:
        facts = one.person.facts
        if facts is None or facts.guidance_taken is not False or facts.regulated_adviser:
            continue
        found = next(((year, taken) for year in one.years for taken in year.taken if taken.payment.gross), None)
        if found is None:
            continue
        year, taken = found
        before, limit = taken.before, year.figures.count("pension.guidance_age")
        touched = before.drawdown or before.flexibly_accessed or before.lump_sum_allowance_used
        if touched or before.lifetime_allowance_used or age_on(one.person.born, case.today or year.last_day) < limit:
            continue
        told += entry.warn(
            f"Aged {limit} or over, {one.person.you} can usually have a free, impartial Pension Wise appointment before a "
            "pension pot is first accessed. It covers how long the money must last, who depends on it, rising prices, charges, "
            "debts and other offers. It is booked with MoneyHelper.",
            (*one.person.path, "circumstances", "guidance_taken"),
            about=one.person,
            figures=year.figures,
            rests_on=("pension.guidance_age",),
        )
    return told


@TOPIC.of_the_household(
    "creditors_can_reach_cash",
    "check",
    "Creditors can reach cash and ISAs",
    "There are debts, and money is taken out of a pension.",
    facts=("estate.debts", "withdrawals.amount"),
    sources=("Welfare Reform and Pensions Act 1999 s.11",),
    figures={"debts": "pounds", "withdrawals": "pounds"},
    only="with_facts",
    severity="lasting",
)
def creditors_can_reach_cash(case: Circumstances, entry: Entry) -> Found:
    """Rights under a registered pension scheme are not in a bankrupt's estate; what was taken out is."""
    if case.estate is None or not case.estate.debts:
        return ()
    gross = sum(year.gross for one in case.people for year in one.years)
    if not gross:
        return ()
    return entry.warn(
        f"Debts of {pounds(case.estate.debts)} were given. In a bankruptcy, money in a registered pension is usually protected. "
        f"The {pounds(gross)} withdrawn, as cash or in an ISA, is not.",
        ("household", "estate", "debts"),
        figures=case.last_year.figures,
        money={"debts": case.estate.debts, "withdrawals": gross},
    )


@TOPIC.of_a_pension(
    "take_regulated_advice",
    "check",
    "These rights cannot be regained",
    "Safeguarded benefits, a guaranteed annuity rate or a protected lump sum are given up, no advice is required by law, and no "
    "adviser is given.",
    facts=(
        "circumstances.regulated_adviser",
        "pensions.safeguarded_benefits",
        "pensions.guaranteed_annuity_rate",
        "pensions.protected_tax_free_share",
    ),
    sources=(
        "Financial Services and Markets Act 2000 s.19",
        "Pension Schemes Act 2015 s.48",
    ),
    of_one_pension=True,
    only="with_facts",
    severity="lasting",
)
def take_regulated_advice(case: PensionCase, entry: Entry) -> Found:
    """Something of lasting value is given up, and no adviser is named."""
    facts = case.person.facts
    if facts is None or facts.regulated_adviser:
        return ()
    features = case.features
    valuable = (
        features.safeguarded_benefits
        or features.guaranteed_annuity_rate
        or (features.protected_tax_free_share or 0) > case.years[0].rules.lump_sums.tax_free_rate
    )
    if (
        not valuable
        or _worth_advice(case) is not None
        or (_first_crystallising(case) is None and not case.features.leaves)
    ):
        return ()
    return entry.warn(
        f"{starting(case.person.your)} pension has rights that cannot be regained once given up. An adviser authorised by "
        "the FCA can say whether giving them up is suitable. Pension Wise offers free guidance.",
        (*case.person.path, "circumstances", "regulated_adviser"),
        about=case.person,
        figures=case.years[0].figures,
    )

"""A plan in a few plain sentences, for a portal or a letter: what is drawn when, what that leaves, and what would change it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

from service.law.ages import birthday
from service.law.dates import day_month_year, month_year
from service.law.units import POUND, WHOLE, BasisPoints, Pence
from service.planning.optimiser.last_day import taxed_left
from service.planning.optimiser.ties import AS_GOOD_POUNDS_A_PERIOD, Tie
from service.planning.projection.balances import cash_held, isa_held, pension_held
from service.planning.projection.policies import SPREAD_TO_AGE, Projection
from service.planning.schedule.chosen_claims import chosen_claim
from service.planning.schedule.estates_told import WHAT_WOULD_CHANGE_IT, EstatesOfPlans
from service.planning.schedule.reasons import Reason
from service.planning.schedule.schedule import Schedule
from service.planning.schedule.small_pots import SmallPotsChosen
from service.planning.schedule.to_know import benefits, to_know
from service.planning.wording import inside, listed, per_cent, rounded_pounds, starting, who

_MOST_PHASES = 3
_PHASE_COSTS = 0.35
"""What one phase more has to save, where 1 is what a person and year weigh whose withdrawal is wholly unlike the phase's."""

_LEAST_TOLD_APART: Pence = 5_000 * POUND
"""Withdrawals that are all below this are much alike: our choice."""

_NOTHING = "nothing"
"""What a phase counts as the reason of a year in which nothing is drawn, whatever it is."""

_EQUAL: Pence = POUND
_ALIKE: Pence = 100 * POUND
_LEAST_RATE: BasisPoints = 50
_MOST_RATE: BasisPoints = 4_500
"""At rates on what is left between these it is said where another plan would leave more: our choice."""

_SMALL_A_YEAR: Pence = 50 * POUND
"""A gain of less than this for each tax year is said to be small: our choice."""

_LEAST_SPREAD: Pence = 1_000 * POUND
"""Where amounts of a phase differ by less, no year is named as unlike the others: our choice."""

_FEW_OF_MANY = 6
"""In a phase of so many tax years, two may be unlike the others; in a shorter one of three or more, one: our choice."""

_LEAVES = ("left_for_later", "left_in_the_pension")
_EITHER_WAY = "same_either_way"
"""The reason that the summary of a plan that was chosen among equals tells once for all phases."""

_ITSELF = ("personal_allowance_filled", "personal_allowance")
"""The plainer plan that a plan with this aim is itself."""

_WHY = {
    "fills_personal_allowance": "fills the personal allowance",
    "adds_no_tax": "is the most that adds no tax",
    "stops_at_basic_rate": "stops where the basic rate begins",
    "stops_at_intermediate_rate": "stops where the intermediate rate begins",
    "stops_at_higher_rate": "stops where the higher rate begins",
    "stops_at_advanced_rate": "stops where the advanced rate begins",
    "stops_at_additional_rate": "stops where the additional rate begins",
    "stops_at_top_rate": "stops where the top rate begins",
    "stops_where_the_personal_allowance_falls": "stops where the personal allowance would be reduced",
    "stops_at_the_child_benefit_charge": "stops below the child benefit charge",
    "stops_where_dividends_are_taxed_more": "stops where more tax would be due on dividends",
    "stops_where_interest_is_taxed_more": "stops where more tax would be due on interest",
    "stops_where_rent_is_taxed_more": "stops where more tax would be due on rent",
    "stays_below_a_tax_step": "stays below a point where tax is due all at once",
    "draws_for_spending": "pays for spending",
    "drawn_ahead_of_spending": "prepares for later spending, when tax would be higher",
    "uses_up_the_pension": "uses up the pension",
    "uses_up_what_is_unlocked": "is all that may be drawn yet",
    "reaches_the_cap": "is the most you want to draw",
    "fits_the_isa_allowance": "is what the ISA allowance can take",
    "drawn_now_comes_to_more": "comes to more than leaving it for later",
    "same_either_way": "comes to much the same as leaving it for later",
    "left_for_later": "leaves the rest for later, when drawing it comes to more",
    "left_in_the_pension": "leaves the rest in the pension, where it comes to more",
}

_NONE_DRAWN = {
    "pension_locked": "the minimum pension age is not reached",
    "waits_for_contributions": "contributions of a later year would be above the money purchase annual allowance",
    "left_for_later": "drawing it later comes to more",
    "left_in_the_pension": "leaving it in the pension comes to more",
    "other_income_fills_the_band": "other income leaves nothing to fill",
    "pension_used_up": "the pension is used up",
    "same_either_way": "drawing it now or later comes to much the same",
}


class _Phase(NamedTuple):
    """Tax years in a row, from a position to the last."""

    first: int
    last: int


def summary(result: Schedule, because: Sequence[Sequence[Sequence[Reason]]]) -> list[str]:
    """What the plan comes to; ``because`` are its reasons."""
    drawn = [sentence for phase in phases(result, because) for sentence in _told(result, because, phase)]
    drawn += _small_pots(result)
    if result.question.is_for_beneficiaries:
        return [*benefits(result), *drawn, *_to_beneficiaries(result, because)]
    return [
        *benefits(result),
        *_income(result),
        *drawn,
        *_as_good(result, because),
        *_isas(result),
        *_claims(result),
        *_outcome(result),
        *_against_others(result),
        *_in_whose_name(result),
        *_rate_on_what_is_left(result),
        *to_know(result),
        *_scenarios(result),
    ]


def _to_beneficiaries(result: Schedule, because: Sequence[Sequence[Sequence[Reason]]]) -> Iterator[str]:
    """What beneficiaries receive, against other plans, and what would change it."""
    estates = EstatesOfPlans(result)
    named = [(compared, _plainer(result, compared.plan)) for compared in result.comparisons]
    yield from _as_good(result, because)
    yield from estates.outcome()
    for compared, plainer in named:
        yield from estates.against(compared, plainer.full)
    yield from estates.pension_left([(compared, plainer.short) for compared, plainer in named])
    yield from to_know(result)
    yield from _scenarios(result)
    yield WHAT_WOULD_CHANGE_IT


def _income(result: Schedule) -> Iterator[str]:
    """The steady income that is the aim, and how near to the highest it is."""
    found, household = result.steady_income, result.question.household
    if found is None:
        return
    prices = household.assumptions.price_inflation
    rising = (
        f". It {'rises' if prices > 0 else 'falls'} with prices by {per_cent(abs(prices))} a year" if prices else ""
    )
    besides = " besides the other spending" if len(household.spending) > 1 else ""
    yield (
        f"This plan pays {rounded_pounds(found.amount)} a year after tax{besides} until {day_month_year(household.end)}{rising}."
    )
    gap = found.bound - found.amount
    yield (
        f"A higher income might be found, but no more than {rounded_pounds(gap)} a year higher."
        if gap
        else "One pound a year more could not be paid throughout."
    )


def _claims(result: Schedule) -> Iterator[str]:
    """In how many tax years the plan claims the marriage allowance, and what that saves."""
    claims = [claim for claim in map(chosen_claim, result.years) if claim is not None]
    if claims:
        saved = rounded_pounds(sum(claim.saved for claim in claims))
        years = "one tax year" if len(claims) == 1 else f"{len(claims)} tax years"
        yield (
            f"The plan counts on a claim to the marriage allowance in {years}, which saves {saved} of tax in all. The tax "
            "assumed on what is left counts no claim."
        )


# What is drawn, in phases


def phases(result: Schedule, because: Sequence[Sequence[Sequence[Reason]]]) -> list[_Phase]:
    """The tax years in at most three runs in which about the same is drawn for about the same reason."""
    count = len(result.years)
    people = range(len(result.question.household.people))
    drawn = [[year.people[place].record.gross for year in result.years] for place in people]
    codes = [
        [_main(because[position][place]) if drawn[place][position] else _NOTHING for position in range(count)]
        for place in people
    ]
    largest = max(_LEAST_TOLD_APART, *(max(amounts) for amounts in drawn))

    def cost(first: int, last: int) -> float:
        total = 0.0
        for amounts, reasons in zip(drawn, codes, strict=True):
            part = amounts[first : last + 1]
            mean = sum(part) / len(part)
            total += sum(((amount - mean) / largest) ** 2 for amount in part)
            total += (len(part) - Counter(reasons[first : last + 1]).most_common(1)[0][1]) / 4
        return total

    # The best runs that end with each year, by their number.
    best: list[list[tuple[float, list[_Phase]]]] = [[(cost(0, last), [_Phase(0, last)]) for last in range(count)]]
    for _ in range(1, min(_MOST_PHASES, count)):
        longer = []
        for last in range(count):
            options = [
                (
                    best[-1][middle - 1][0] + cost(middle, last) + _PHASE_COSTS,
                    [*best[-1][middle - 1][1], _Phase(middle, last)],
                )
                for middle in range(1, last + 1)
            ]
            longer.append(min([best[-1][last], *options], key=lambda option: option[0]))
        best.append(longer)
    return best[-1][-1][1]


def _main(reasons: Sequence[Reason]) -> str:
    """The code of the reason that a phase is told by."""
    return next((reason.code for reason in reasons if reason.code in _WHY or reason.code in _NONE_DRAWN), "")


def _told(result: Schedule, because: Sequence[Sequence[Sequence[Reason]]], phase: _Phase) -> Iterator[str]:
    names = [result.years[phase.first].period.name, result.years[phase.last].period.name]
    when = f"In {names[0]}" if phase.first == phase.last else f"From {names[0]} to {names[1]}"
    members = result.question.household.people
    for place, member in enumerate(members):
        years = range(phase.first, phase.last + 1)
        if not any(result.years[position].people[place].pension.opening >= POUND for position in years):
            continue
        drawn = [result.years[position].people[place].record.gross for position in years]
        of_years = [result.years[position].period.name for position in years]
        you = inside(who(place, len(members), member.name))
        verb = "draw" if len(members) == 1 else "draws"
        reasons = Counter(_main(because[position][place]) for position in years)
        code, times = reasons.most_common(1)[0]
        if max(drawn) < POUND:
            why = f", because {_NONE_DRAWN[code]}" if code in _NONE_DRAWN and times == len(drawn) else ""
            yield f"{when}, {you} {verb} nothing{why}."
            continue
        lump_sum = sum(result.years[position].people[place].lump_sum for position in years)
        taken = f" The tax-free lump sum is {rounded_pounds(lump_sum)} of it." if lump_sum else ""
        yield f"{when}, {you} {verb} {_amounts(drawn, of_years)}.{taken or _why(result, code, times, len(drawn))}"


def _amounts(drawn: Sequence[Pence], names: Sequence[str]) -> str:
    """What is drawn in the tax years of these names; years that are unlike the others are named with their amounts."""
    odd = _unlike(drawn)
    if odd and max(amount for position, amount in enumerate(drawn) if position not in odd) < POUND:
        return f"{listed([f'{rounded_pounds(drawn[position])} in {names[position]}' for position in odd])}, and nothing else"
    if odd:
        most_years = _range([amount for position, amount in enumerate(drawn) if position not in odd])
        others = listed([f"{rounded_pounds(drawn[position]) or 'nothing'} in {names[position]}" for position in odd])
        return f"{most_years}, but {others.replace('£0 ', 'nothing ')}"
    return _range(drawn)


def _range(drawn: Sequence[Pence]) -> str:
    least, most = min(drawn), max(drawn)
    a_year = " a year" if len(drawn) > 1 else ""
    if most < POUND:
        return "nothing"
    if least < POUND and most < _ALIKE:
        return f"at most {rounded_pounds(most)}{a_year}"
    if most - least < _ALIKE:
        return f"{'about ' if most != least else ''}{rounded_pounds(most)}{a_year}"
    return f"between {rounded_pounds(least) if least else 'nothing'} and {rounded_pounds(most)}{a_year}"


def _unlike(drawn: Sequence[Pence]) -> list[int]:
    """The positions of one or two amounts without which the others lie within half as wide a range; none where the range is
    narrow, or where that takes more of them."""
    if max(drawn) - min(drawn) < _LEAST_SPREAD:
        return []
    left = list(range(len(drawn)))
    for number in range(1, 1 + (len(drawn) >= _FEW_OF_MANY) + (len(drawn) > 2)):
        spread = max(drawn[position] for position in left) - min(drawn[position] for position in left)
        left.remove(_farthest(drawn, left))
        rest = [drawn[position] for position in left]
        if 2 * (max(rest) - min(rest)) <= spread and len(rest) > number:
            return [position for position in range(len(drawn)) if position not in left]
    return []


def _farthest(drawn: Sequence[Pence], left: Sequence[int]) -> int:
    """The position of the least or the most, whichever is farther from the next."""
    in_order = sorted(left, key=lambda position: drawn[position])
    below = drawn[in_order[1]] - drawn[in_order[0]]
    above = drawn[in_order[-1]] - drawn[in_order[-2]]
    return in_order[0] if below > above else in_order[-1]


def _why(result: Schedule, code: str, times: int, count: int) -> str:
    if code not in _WHY or (code == _EITHER_WAY and _tie(result) is not None):
        return ""
    # A plan that fills a band does not ask what comes to more.
    if code in _LEAVES and result.proof is None:
        return ""
    if count == 1:
        return f" This {_WHY[code]}."
    if times == count:
        return f" Each year, this {_WHY[code]}."
    return f" In {times} of these {count} years, this {_WHY[code]}." if times > 1 else ""


# What it leaves, and against other plans


def _outcome(result: Schedule) -> Iterator[str]:
    found, household = result.totals, result.question.household
    in_prices = found.wealth_after_tax_in_prices_of_start
    prices = (
        f", or {rounded_pounds(in_prices)} in {month_year(household.start)} prices"
        if in_prices != found.wealth_after_tax
        else ""
    )
    yield (
        f"On {day_month_year(household.end)}, the plan leaves {rounded_pounds(found.wealth_after_tax)} after tax{prices}. "
        + (
            f"Income tax until then is {rounded_pounds(found.income_tax)}."
            if found.income_tax
            else "No income tax is due until then."
        )
    )


def _in_whose_name(result: Schedule) -> Iterator[str]:
    """Of a couple, what each holds at the end, and that both are taken to live until then."""
    people = result.question.household.people
    if len(people) == 1:
        return
    last = result.years[-1]
    held = [one.pension.closing + one.isa.closing + one.cash.closing for one in last.people]
    (first, second), (in_first, in_second) = (
        [f"{inside(who(place, len(people), member.name))}'s" for place, member in enumerate(people)],
        [rounded_pounds(amount) if amount else "nothing" for amount in held],
    )
    yield (
        f"At the end, {in_first} is in {first} name and {in_second} in {second}, before tax on pensions. The plan assumes that "
        "both people live until then."
    )


def _small_pots(result: Schedule) -> Iterator[str]:
    """What is taken as small pots, which is in none of the draws, and what the plan chose of it."""
    chosen = result.small_pots
    left_open = {(pot.person, pot.place) for pot in chosen.pots} if chosen else set()
    taken = [
        (year.period.name, pot.gross, (person, pot.place) in left_open)
        for year in result.years
        for person, one in enumerate(year.people)
        for pot in one.record.opened.year.small_pots
        if pot.gross >= POUND
    ]
    for by_plan in (False, True):
        own = [(name, gross) for name, gross, was_open in taken if was_open is by_plan]
        if own:
            amount = rounded_pounds(sum(gross for _, gross in own))
            names = listed(list(dict.fromkeys(name for name, _ in own)))
            what = "a small pot" if len(own) == 1 else f"{len(own)} small pots"
            asked = "" if by_plan else ", as asked for"
            yield f"Besides that, the plan takes {amount} from {what} in {names}{asked}. A quarter of it is tax free."
    if chosen is not None:
        yield from _how_chosen(result, chosen)


def _how_chosen(result: Schedule, chosen: SmallPotsChosen) -> Iterator[str]:
    """How the tax years of small pots were chosen that were left to the plan, and what that gains."""
    taken, of_several = sum(pot.tax_year is not None for pot in chosen.pots), len(chosen.pots) > 1
    pots = "the small pots" if of_several else "the small pot"
    if not chosen.is_best:
        first = "the first possible tax year of each" if taken > 1 else "the first possible tax year"
        yield f"That is {first}. A plan with this aim does not compare tax years."
    elif taken:
        yield "The plan chose these tax years." if taken > 1 else "The plan chose this tax year."
    if taken < len(chosen.pots):
        what = "The other small pots are" if taken else "The small pots are" if of_several else "The small pot is"
        yield f"{what} drawn like any other pension."
    if chosen.gain is None:
        return
    instead, in_the_best = (
        f"Taking {pots} whole",
        ", whichever tax years they are taken in" if of_several else ", whichever tax year it is taken in",
    )
    if taken:
        instead, in_the_best = f"Drawing on {pots} like any other pension", ""
    if chosen.gain <= round(AS_GOOD_POUNDS_A_PERIOD * POUND) * len(result.years):
        yield f"{instead} would come to much the same."
    else:
        leave = "leave beneficiaries" if result.question.is_for_beneficiaries else "leave"
        yield f"{instead} would {leave} {rounded_pounds(chosen.gain)} less{in_the_best}."


def _isas(result: Schedule) -> Iterator[str]:
    """What goes into ISAs and out of them in all."""
    paid_in = result.totals.isa_subscriptions
    taken_out = sum(one.record.from_isa for year in result.years for one in year.people)
    if paid_in >= POUND and taken_out >= POUND:
        yield (
            f"In all, the plan pays {rounded_pounds(paid_in)} into ISAs and takes {rounded_pounds(taken_out)} out of ISAs. "
            "What is in an ISA grows free of tax until then."
        )
    elif paid_in >= POUND:
        yield f"In all, the plan pays {rounded_pounds(paid_in)} into ISAs."
    elif taken_out >= POUND:
        yield f"In all, the plan takes {rounded_pounds(taken_out)} out of ISAs."


class _Plainer(NamedTuple):
    """How a plainer plan is named inside a sentence: in full, and in short once it has been."""

    full: str
    short: str


def _plainer(result: Schedule, plan: str) -> _Plainer:
    """A plainer plan by what it does."""
    timeline = result.timeline
    if plan == "personal_allowance_filled":
        spending = any(timeline.spending)
        short = "drawing only what is free of tax"
        return _Plainer(f"{short}{', and more only for spending' if spending else ''}", short)
    holders = [
        (reached is not None and reached > timeline.periods[0].last, birthday(member.date_of_birth, SPREAD_TO_AGE))
        for reached, member in zip(timeline.state_pension_from, result.question.household.people, strict=True)
        if member.pension.uncrystallised or member.pension.drawdown
    ]
    shares = f"equal shares up to age {SPREAD_TO_AGE}"
    if any(last < timeline.periods[-1].last for _, last in holders):
        shares += " or the plan's end"
    if not any(waits for waits, _ in holders):
        return _Plainer(f"drawing {shares}", f"drawing {shares}")
    each = "each person " if len(holders) > 1 else ""
    return _Plainer(
        f"{each}drawing nothing until State Pension age and then {shares}", "equal shares from State Pension age"
    )


def _against_others(result: Schedule) -> Iterator[str]:
    """The plan against the plainer ones that are not itself."""
    others = [one for one in result.comparisons if (one.plan, result.question.goal) != _ITSELF]
    told_before: Pence | None = None
    for compared in others:
        full, that = _plainer(result, compared.plan).full, "That" if compared is others[0] else "It"
        other = compared.projection
        if other is None:
            yield f"{starting(full)}{',' if ',' in full else ''} could not meet all spending."
            continue
        gain = result.projection.wealth - other.wealth
        tie = _tie(result)
        if abs(gain) <= _EQUAL or (tie is not None and -tie.given_up <= gain <= 0):
            yield f"{starting(full)}{',' if ',' in full else ''} would leave the same."
        elif told_before is not None and abs(gain - told_before) <= _EQUAL:
            amount, more = rounded_pounds(abs(gain)), "more" if gain > 0 else "less"
            yield f"It is also {amount} {more} than {_plainer(result, compared.plan).short}."
        else:
            told_before = gain
            amount, more = rounded_pounds(abs(gain)), "more" if gain > 0 else "less"
            yield f"{that} is {amount} {more} than {full}. {_what_makes_it(result, other)}".rstrip()


def _what_makes_it(result: Schedule, other: Projection) -> str:
    """Where a difference comes from; of a small one, that it is small."""
    plan, years = result.projection, len(result.years)
    gain = plan.wealth - other.wealth
    if abs(gain) < _SMALL_A_YEAR * years and years > 1:
        a_year = rounded_pounds(max(POUND, abs(gain) // years // POUND * POUND))
        return f"Over {years} tax years that is about {a_year} a year, which a small change in growth or tax could reverse."
    tax = _all_tax(other) - _all_tax(plan)
    growth = tax - gain
    parts = [
        f"{rounded_pounds(abs(amount))} {'more' if amount > 0 else 'less'} {words}"
        for amount, words in ((tax, "tax, now or assumed at the end,"), (growth, "growth"))
        if abs(amount) >= _EQUAL
    ]
    return f"The other plan has {' and '.join(parts).rstrip(',')}." if parts else ""


def _tie(result: Schedule) -> Tie | None:
    return None if result.proof is None else result.proof.tie


def _all_tax(plan: Projection) -> Pence:
    """Income tax inside the plan, and what is taken off for tax on the pensions that are left; pence."""
    return plan.income_tax + _held(plan) - plan.wealth


def _held(plan: Projection) -> Pence:
    last = plan.years[-1]
    return pension_held(last) + isa_held(last) + cash_held(last)


# What would change it


def _rate_on_what_is_left(result: Schedule) -> Iterator[str]:
    left = taxed_left(result.projection)
    if left < _ALIKE:
        return
    assumed, tax = result.question.household.assumptions, result.totals.tax_assumed_on_remaining_pension
    flat = assumed.tax_rate_on_remaining_pension
    at_the_end = f"The pension left at the end, {rounded_pounds(result.totals.in_pensions)}, counts"
    if flat is not None:
        yield f"{at_the_end} after tax of {per_cent(flat)} on all but its tax-free part."
    elif not tax:
        years = assumed.remaining_pension_drawn_over
        yield f"{at_the_end} without tax: drawn evenly over {years} years on top of the income given, none would be due."
    else:
        on_top = "your income" if len(result.question.household.people) == 1 else "each person's income"
        years = assumed.remaining_pension_drawn_over
        yield (
            f"{at_the_end} after {rounded_pounds(tax)} of tax. That is as if it were drawn evenly over {years} "
            f"year{'s' if years > 1 else ''}, on top of {on_top} in {result.timeline.periods[-1].name}."
        )
    changes = []
    for compared in result.comparisons:
        if compared.projection is None or result.projection.wealth - compared.projection.wealth <= _EQUAL:
            continue
        more = left - taxed_left(compared.projection)
        ahead = _held(result.projection) - _held(compared.projection)
        if more:
            rate = Fraction(ahead * WHOLE, more)
            if _LEAST_RATE <= rate <= _MOST_RATE:
                changes.append((abs(rate - Fraction(tax * WHOLE, left)), compared.plan, rate, more))
    if changes:
        _, plan, rate, more = min(changes)
        beyond = "more" if more > 0 else "less"
        # Near the rate assumed, whole per cents would not say on which side it is.
        step = 100 if abs(rate - Fraction(tax * WHOLE, left)) > 100 else 10
        about = per_cent(round(rate / step) * step)
        other = _plainer(result, plan).short
        yield f"If its taxable part bore {beyond} than about {about} tax, {other} would leave more."


def _as_good(result: Schedule, because: Sequence[Sequence[Sequence[Reason]]]) -> Iterator[str]:
    """That drawing and leaving come to the same, told once, and by what rule the plan was chosen among equals."""
    tie = _tie(result)
    if tie is None:
        return
    members = result.question.household.people
    for place, member in enumerate(members):
        years = [
            (year.period.name, _main(because[position][place]))
            for position, year in enumerate(result.years)
            if year.people[place].record.gross >= POUND
        ]
        either_way = [name for name, code in years if code == _EITHER_WAY]
        if not either_way:
            continue
        if len(either_way) == 1:
            when = f"in {either_way[0]}"
        elif len(either_way) == len(years):
            when = "in every year with withdrawals"
        else:
            when = f"in {len(either_way)} of {len(years)} years with withdrawals"
        whose = f"for {inside(who(place, len(members), member.name))}, " if len(members) > 1 else ""
        yield starting(f"{whose}{when}, drawing the last £100 or leaving it for later comes to much the same.")
    if tie.most_left - tie.least_left >= _LEAST_TOLD_APART:
        there = rounded_pounds(tie.least_left) if tie.least_left >= _ALIKE else "next to nothing"
        taxed, that_tax = " that would be taxed", "that tax"
        if result.question.is_for_beneficiaries:
            taxed, that_tax = "", "how beneficiaries will be taxed on it"
        yield (
            f"Plans within {rounded_pounds(tie.within)} of this one leave up to {rounded_pounds(tie.most_left)} in "
            f"pensions{taxed}. This one was chosen because it leaves the least, {there}: nobody can know {that_tax} today."
        )


def _scenarios(result: Schedule) -> Iterator[str]:
    for scenario in result.scenarios:
        name = f"In the {scenario.name} growth scenario"
        if scenario.projection is None:
            yield f"{name}, the spending cannot be met."
        elif scenario.steady_income is not None:
            yield f"{name}, the income is {rounded_pounds(scenario.steady_income.amount)} a year."
        elif result.question.is_for_beneficiaries:
            received = result.question.estate_left(scenario.projection).beneficiaries_receive
            yield f"{name}, beneficiaries would receive {rounded_pounds(received)}."
        else:
            yield f"{name}, the plan leaves {rounded_pounds(scenario.projection.wealth)}."

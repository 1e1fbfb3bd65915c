"""The aim of leaving the most to beneficiaries: what a plan's last day is worth to them, and how the search counts that.

Everybody dies on the last day, the first person first, as in ``estate.py``. What a plan is worth is what that says to the penny.
For the search the taxes become lines that are nowhere above the law's; ``LEAVES_OUT`` says where they are below it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

from service.law import lump_sums
from service.law.ages import age_on
from service.law.inheritance_tax import (
    WHOLE_BAND,
    Estate,
    EstateTax,
    FormerHome,
    InheritanceTaxRules,
    brought_forward,
    estate_tax,
    gift_counts,
    unused_share,
)
from service.law.units import POUND, WHOLE, BasisPoints, Pence
from service.planning.estates import SHARES_IN_A_RATE, TO_SPOUSE, EstateFacts, owned, shares
from service.planning.faults import Fault
from service.planning.household import Household
from service.planning.optimiser.data import most_wealth
from service.planning.optimiser.last_day import Box, LastDayModel
from service.planning.optimiser.lp import LinearProgram
from service.planning.optimiser.taxed_estate import AboveAllowance, ForCharity, Stretch, TaxedEstate, TaxedEstateModel
from service.planning.projection.policies import Projection
from service.planning.projection.timeline import Timeline
from service.planning.schedule.estate import estate_at_the_end
from service.planning.search import first_where

LEAVES_OUT = (
    "The bound takes the taxes along lines that are nowhere above the law's, so it may be higher than it need be."
)
"""Of every bound on what beneficiaries receive."""

OF_A_COUPLE = " It leaves out that a large first estate leaves less of the residence nil-rate band to the second."
OF_CHARITY = " It leaves out that gifts to charity count where the residence nil-rate band is tapered."
"""What else is left out of it, where it may concern the household."""

OF_TWO_ESTATES = (
    " Where the first death of a couple passes to beneficiaries, the bound takes the two estates together. It takes pension "
    "money as charged with the most inheritance tax that there can be, and debts beyond what they own as not paid. There it may "
    "be far too high."
)
"""What it leaves out where two estates are taxed."""

_ALLOWANCES_FROM = date(2024, 4, 6)


@dataclass(frozen=True, slots=True)
class ToBeneficiaries:
    """What beneficiaries receive after inheritance tax and their income tax at a rate, basis points, if everybody died on the
    last day."""

    facts: EstateFacts
    beneficiary_tax_rate: BasisPoints
    besides: Pence

    def worth(self, plan: Projection) -> Pence:
        """What beneficiaries receive, pence."""
        return estate_at_the_end(plan, self.facts, self.beneficiary_tax_rate).beneficiaries_receive

    def at_risk(self, plan: Projection) -> Pence:
        """All that is left in pensions: whether and how beneficiaries are taxed on it is the least certain."""
        held = plan.years[-1].holdings
        return sum(one.pension.uncrystallised + one.pension.drawdown for one in held)

    def model(self, timeline: Timeline, lp: LinearProgram) -> LastDayModel:
        """The same in a linear program, nowhere too little."""
        return TaxedEstateModel(taxed_estate(timeline, self.facts, self.beneficiary_tax_rate), lp)


def to_beneficiaries(timeline: Timeline, facts: EstateFacts, rate: BasisPoints) -> ToBeneficiaries:
    """The aim for a household; ``rate`` is the beneficiaries' income tax rate."""
    property_of_all = sum(
        part.home + part.other for part in (owned(facts, timeline, share) for share in _parts(timeline, facts))
    )
    return ToBeneficiaries(facts, rate, property_of_all)


def beneficiaries_faults(household: Household, *, estate_given: bool) -> Iterator[Fault]:
    """What in a request with this aim cannot be, besides faults of the estate itself."""
    if not estate_given:
        yield Fault(
            ("household", "estate"),
            "estate-needed",
            "What beneficiaries receive depends on the whole estate. Give `estate`: the home, other assets, debts and gifts. "
            "If there is nothing besides pensions, ISAs and cash, give an empty object.",
        )
    if household.start <= household.end < _ALLOWANCES_FROM:
        yield Fault(
            ("end_date",),
            "deaths-before-april-2024",
            "A plan that leaves the most to beneficiaries has to end on or after 6 April 2024. For earlier deaths, the charge "
            "above the lifetime allowance is not computed.",
        )


def leaves_out_of_the_bound(household: Household, facts: EstateFacts | None) -> str:
    """What the bound on what beneficiaries receive does not count, for those whom it may concern."""
    concerns = {
        OF_A_COUPLE: len(household.people) > 1,
        OF_CHARITY: facts is not None and facts.charity_share > 0,
        OF_TWO_ESTATES: facts is not None and two_estates(household, facts),
    }
    return LEAVES_OUT + "".join(sentences for sentences, concerned in concerns.items() if concerned)


def two_estates(household: Household, facts: EstateFacts) -> bool:
    """Whether beneficiaries receive something on each of two deaths."""
    return len(household.people) > 1 and facts.first_death != TO_SPOUSE


# The taxes as lines


def taxed_estate(timeline: Timeline, facts: EstateFacts, rate: BasisPoints) -> TaxedEstate:
    """The taxes on the last day for the search, from the law's answers at each bend; ``rate`` is the beneficiaries' income tax
    rate."""
    rules = timeline.periods[-1].rules
    parts = [owned(facts, timeline, share) for share in _parts(timeline, facts)]
    net = [part.home + part.other - part.debts for part in parts]
    home = sum(part.home for part in parts) if facts.home_to_descendants else 0
    # Charity takes its share of all but the home, so of the home that share stays.
    share = (WHOLE - facts.charity_share) / WHOLE
    besides = (share * sum(net) + (1 - share) * home) / POUND
    unpaid = share * sum(max(0, -amount) for amount in net) / POUND
    pooled = two_estates(timeline.household, facts)
    most = besides + unpaid + most_wealth(timeline) / POUND
    least = min(rules.inheritance_tax.rate, rules.inheritance_tax.charity_rate) if facts.charity_share else None
    stretches = tuple(_stretches(timeline, facts, most, least, pooled=pooled))
    income_tax_rate = rules.death_benefits.special_charge if facts.pension_to_non_qualifying_person else rate
    taxed, above = _taxed(timeline, facts, pooled=pooled)
    any_taxed = income_tax_rate > 0 and any(any(kinds) for kinds in taxed)
    return TaxedEstate(
        share=share,
        besides=besides,
        unpaid=unpaid,
        one_estate=not pooled,
        pensions_count=rules.inheritance_tax.unused_pensions_in_estate,
        stretches=stretches,
        charity=None if pooled else _charity(timeline, facts, most, home),
        income_tax_rate=income_tax_rate / WHOLE,
        taxed=taxed if any_taxed else tuple((False, False) for _ in taxed),
        above=above if any_taxed else None,
        largest=Box(max(0.0, besides), max(most, 1.0), 0.0, most_wealth(timeline) / POUND if any_taxed else 0.0),
    )


def _charity(timeline: Timeline, facts: EstateFacts, most: float, home: Pence) -> ForCharity | None:
    """When what goes to charity earns the lower rate (Sch.1A paras 2-5): it is at least a share of itself and of the estate above
    the nil-rate band. Both are linear in what a plan leaves."""
    if not facts.charity_share:
        return None
    rules = timeline.periods[-1].rules.inheritance_tax
    last = _last(timeline, facts, rules, _gifts(timeline, facts))
    band = _asked(last, _pence(most), rules).nil_rate_band.available
    part = owned(facts, timeline, WHOLE)
    net = part.home + part.other - part.debts
    given, wanted = facts.charity_share / WHOLE, rules.charity_least_share / WHOLE
    return ForCharity(
        of_money=given - wanted,
        of_pensions=-wanted if rules.unused_pensions_in_estate else 0.0,
        besides=(given * (net - home) - wanted * (net - band)) / POUND,
        otherwise=tuple(_stretches(timeline, facts, most, None, pooled=False)),
    )


def _parts(timeline: Timeline, facts: EstateFacts) -> tuple[BasisPoints, ...]:
    """The shares of the household's property that the estates have which are taxed."""
    return shares(facts) if two_estates(timeline.household, facts) else (WHOLE,)


def _taxed(
    timeline: Timeline, facts: EstateFacts, *, pooled: bool
) -> tuple[tuple[tuple[bool, bool], ...], AboveAllowance | None]:
    """Which pension money bears beneficiaries' income tax, by the rules of ``death_benefits.tax_free_part``, and where only what
    is above an allowance does, whose it is. Where that would be one allowance for each of two, no such tax is counted."""
    people, period = timeline.household.people, timeline.periods[-1]
    from_age = period.rules.death_benefits.taxed_from_age
    ages = [age_on(member.date_of_birth, period.last) for member in people]
    last = len(people) - 1
    kinds = []
    above = None
    for person in range(len(people)):
        # What passes to a spouse is taxed by the spouse's own death.
        dies = person if pooled else last
        if ages[dies] >= from_age:
            kinds.append((True, True))
        elif not facts.pension_paid_within_two_years:
            # Drawdown funds stay free of it, and what a spouse left counts as such.
            late = facts.pension_paid_as != "drawdown"
            kinds.append((late or person == dies, late))
        elif facts.pension_paid_as == "drawdown" or pooled:
            kinds.append((False, False))
        else:
            kinds.append((True, True))
            left = lump_sums.available(people[last].pension, period.rules.lump_sums)
            allowance = left.lump_sum_and_death_benefit_allowance
            above = None if allowance is None else AboveAllowance(last, allowance / POUND)
    return tuple(kinds), above


def _stretches(
    timeline: Timeline, facts: EstateFacts, most: float, rate: BasisPoints | None, *, pooled: bool
) -> Iterator[Stretch]:
    """The inheritance tax on estates up to some pounds, at the usual rate or another, from the law's own answer at each place
    where it may bend."""
    rules = timeline.periods[-1].rules.inheritance_tax
    gifts = _gifts(timeline, facts)
    within = [min(rules.nil_rate_band, amount) for amount in gifts]
    like = _pooled(timeline, facts, rules, sum(within)) if pooled else _last(timeline, facts, rules, gifts)
    if rate is not None:
        rules = replace(rules, rate=rate)
    if pooled:
        # Each of two estates has a threshold of its own, and it is not known which of them has what.
        rules = replace(rules, residence_taper_threshold=2 * _pence(most))
    # What a pension bears on the average is at most what an estate bears that has nothing but the least band.
    least = rules.nil_rate_band - max(within)
    top = _pence(most) + POUND
    bends = sorted({0, *(bend for bend in (least, *_bends(like, rules, top)) if 0 < bend < top)})
    taxes = [_asked(like, estate, rules).tax for estate in (*bends, top)]
    for (low, high), (tax, tax_then) in zip(pairwise((*bends, top)), pairwise(taxes), strict=True):
        steep = (tax_then - tax) / (high - low)
        less = (steep * low - tax) / POUND
        average, average_less = steep, less
        if not rules.unused_pensions_in_estate:
            average = average_less = 0.0
        elif pooled:
            average = timeline.periods[-1].rules.inheritance_tax.rate / WHOLE if low >= least else 0.0
            average_less = average * least / POUND
        yield Stretch(low / POUND, steep, less, average, average_less)


def _gifts(timeline: Timeline, facts: EstateFacts) -> list[Pence]:
    """By person, the gifts that take of their nil-rate band on the last day."""
    period = timeline.periods[-1]
    counted = [gift for gift in facts.gifts if gift_counts(gift.day, period.last, period.rules.inheritance_tax)]
    people = range(len(timeline.household.people))
    return [sum(gift.amount for gift in counted if gift.giver == person) for person in people]


def _last(timeline: Timeline, facts: EstateFacts, rules: InheritanceTaxRules, gifts: Sequence[Pence]) -> Estate:
    """The estate that is taxed, without the money: a single person's, or that of whoever dies second and inherits all."""
    couple = len(gifts) > 1
    band = facts.nil_rate_band_brought_forward * SHARES_IN_A_RATE
    residence = facts.residence_nil_rate_band_brought_forward * SHARES_IN_A_RATE
    if couple:
        left = max(0, rules.nil_rate_band - gifts[0])
        band, residence = unused_share(left, rules.nil_rate_band), WHOLE_BAND
    home = owned(facts, timeline, WHOLE).home
    given_up = facts.home_given_up
    own_share = shares(facts)[1] if couple else WHOLE
    return Estate(
        home=home,
        home_to_descendants=home if facts.home_to_descendants else 0,
        lifetime_gifts=gifts[-1],
        nil_rate_band_brought_forward=band,
        residence_nil_rate_band_brought_forward=residence,
        former_home=None
        if given_up is None
        else FormerHome(given_up.value * own_share // WHOLE, given_up.residence_nil_rate_band, 0),
    )


def _pooled(timeline: Timeline, facts: EstateFacts, rules: InheritanceTaxRules, gifts: Pence) -> Estate:
    """Two estates as one with the bands of both: it bears no more tax than they do, whoever has what. A home given up counts as
    large enough for all that it could earn."""
    home = sum(owned(facts, timeline, share).home for share in shares(facts))
    given_up = facts.home_given_up
    return Estate(
        home=home,
        home_to_descendants=home if facts.home_to_descendants else 0,
        lifetime_gifts=gifts,
        nil_rate_band_brought_forward=WHOLE_BAND,
        residence_nil_rate_band_brought_forward=WHOLE_BAND,
        former_home=None
        if given_up is None
        else FormerHome(home + 2 * rules.residence_nil_rate_band, rules.residence_nil_rate_band, 0),
    )


def _asked(like: Estate, estate: Pence, rules: InheritanceTaxRules) -> EstateTax:
    """The law's answer for an estate of so much in all: the home is a part of it, and the rest goes to descendants too."""
    home = min(like.home, estate)
    former = like.former_home
    asked = replace(
        like,
        home=home,
        cash=estate - home,
        home_to_descendants=min(like.home_to_descendants, home),
        former_home=None if former is None else replace(former, other_to_descendants=estate - home),
    )
    return estate_tax(asked, rules)


def _bends(like: Estate, rules: InheritanceTaxRules, top: Pence) -> Iterator[Pence]:
    """Where the tax may bend: where the home is all there is, where tax begins, and in the taper of the residence nil-rate band
    where that begins, comes down to the home or to what a former home earns, and is gone."""
    yield like.home
    if _asked(like, top, rules).tax:
        yield first_where(lambda estate: _asked(like, estate, rules).tax > 0, 0, top) - 1
    allowance = rules.residence_nil_rate_band + brought_forward(
        like.residence_nil_rate_band_brought_forward, rules.residence_nil_rate_band
    )
    former = like.former_home
    levels = [allowance, like.home_to_descendants, 0]
    if former is not None:
        then = former.residence_nil_rate_band_then + allowance - rules.residence_nil_rate_band
        levels += [like.home * then // min(former.value, then)] if former.value else []
        yield max(like.home, allowance * min(former.value, then) // then)
    for level in levels:
        yield rules.residence_taper_threshold + 2 * max(0, allowance - level)


def _pence(pounds: float) -> Pence:
    return round(pounds * POUND)

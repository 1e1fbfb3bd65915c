"""What beneficiaries would receive if everybody died on the last day of a plan, where an estate is given.

Lump sum timing asks about deaths on other days, and follows a survivor. Here both of a couple die on the last day, the first
person first, so that a plan can be compared by what it leaves to others.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from service.law.units import WHOLE, BasisPoints, Pence
from service.planning.estates import (
    TO_SPOUSE,
    Died,
    EstateFacts,
    Left,
    after_inheriting,
    estate_faults,
    left_by,
    owned,
    shares,
)
from service.planning.faults import RuleViolation
from service.planning.projection.policies import Projection
from service.planning.projection.settlement import Holdings
from service.planning.projection.timeline import Timeline


class EstateAtTheEnd(NamedTuple):
    """What deaths on the last day leave, the first death first; ``deaths`` are empty where the law then would charge what is not
    computed, for a ``reason``. Pence."""

    deaths: tuple[Left, ...]
    beneficiary_tax_rate: BasisPoints
    reason: str = ""

    @property
    def inheritance_tax(self) -> Pence:
        """All inheritance tax."""
        return sum(left.tax.tax for left in self.deaths)

    @property
    def beneficiaries_income_tax(self) -> Pence:
        """The beneficiaries' income tax on pension money."""
        return sum(left.pension.income_tax for left in self.deaths if left.pension)

    @property
    def taxable(self) -> Pence:
        """The pension money that is taxed as the beneficiaries' income."""
        return sum(left.pension.taxable for left in self.deaths if left.pension)

    @property
    def rate(self) -> BasisPoints:
        """The rate at which it is taxed: the beneficiaries' own, or that of the special charge."""
        return next((left.pension.rate for left in self.deaths if left.pension), self.beneficiary_tax_rate)

    @property
    def beneficiaries_receive(self) -> Pence:
        """What is left after all taxes."""
        return sum(left.net for left in self.deaths)


def estate_at_the_end(plan: Projection, facts: EstateFacts | None, beneficiary_tax_rate: BasisPoints) -> EstateAtTheEnd:
    """The estate of a plan on its last day, after inheritance tax and the beneficiaries' income tax (basis points); ``facts``
    are None where it is not clear who made a gift. A plan does not fail for its estate."""
    return estate_of(plan.timeline, plan.years[-1].holdings, facts, beneficiary_tax_rate)


def estate_of(
    timeline: Timeline, held: Sequence[Holdings], facts: EstateFacts | None, beneficiary_tax_rate: BasisPoints
) -> EstateAtTheEnd:
    """The same of what people hold on the last day."""
    if facts is None:
        return EstateAtTheEnd((), beneficiary_tax_rate, "It is not said which of the two people made a lifetime gift.")
    faults = tuple(estate_faults(facts, couple=len(timeline.household.people) > 1))
    if faults:
        return EstateAtTheEnd((), beneficiary_tax_rate, " ".join(fault.detail for fault in faults))
    try:
        return EstateAtTheEnd(_deaths(timeline, held, facts, beneficiary_tax_rate), beneficiary_tax_rate)
    except RuleViolation as error:
        return EstateAtTheEnd((), beneficiary_tax_rate, " ".join(fault.detail for fault in error.faults))


def _deaths(timeline: Timeline, held: Sequence[Holdings], facts: EstateFacts, rate: BasisPoints) -> tuple[Left, ...]:
    people, period = timeline.household.people, timeline.periods[-1]
    couple = len(people) > 1
    own = shares(facts) if couple else (WHOLE, 0)
    first = left_by(
        Died(
            person=0,
            member=people[0],
            period=period,
            held=held[0],
            owned=owned(facts, timeline, own[0]),
            own_share=own[0],
            to_spouse=couple and facts.first_death == TO_SPOUSE,
        ),
        facts,
        rate,
    )
    if not couple:
        return (first,)
    survivor, inherited = after_inheriting(held, 0, first)
    second = left_by(
        Died(
            person=1,
            member=people[1],
            period=period,
            held=survivor,
            inherited=inherited,
            owned=owned(facts, timeline, WHOLE if first.to_spouse else own[1]),
            own_share=own[1],
            nil_rate_band=first.tax.nil_rate_band_unused if facts.spouses else 0,
            residence_band=first.tax.residence_band_unused if facts.spouses else 0,
        ),
        facts,
        rate,
    )
    return (first, second)

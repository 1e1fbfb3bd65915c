"""What beneficiaries would receive, in sentences: where that is the aim of a plan, its estate beside those of plainer plans."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from fractions import Fraction

from service.law.dates import day_month_year, month_year
from service.law.units import POUND, WHOLE, BasisPoints, Pence
from service.planning.projection.balances import cash_held, isa_held, pension_held
from service.planning.projection.policies import Projection
from service.planning.schedule.estate import EstateAtTheEnd
from service.planning.schedule.schedule import Comparison, Schedule
from service.planning.wording import listed, per_cent, rounded_pounds, starting

WHAT_WOULD_CHANGE_IT = (
    "The plan is made for deaths on that day, and for other days another plan may leave more. Later gifts, the scheme's rules, "
    "the beneficiaries' own incomes and changes in the law would also change these amounts."
)
"""What is not known of an estate, whatever the plan."""

_EQUAL: Pence = POUND
_NOTABLE: Pence = 100 * POUND
_LEAST_RATE: BasisPoints = 50
_MOST_RATE: BasisPoints = 4_500
"""At rates between these it is said where another plan would leave beneficiaries more: our choice."""


_MOST_IN_A_SENTENCE = 4
"""So many parts of a difference are told at once."""


class EstatesOfPlans:
    """The estate of a plan, and those of the plans it is compared with."""

    def __init__(self, result: Schedule) -> None:
        """The plan's own."""
        self._result = result
        self._own = result.question.estate_left(result.projection)

    def outcome(self) -> Iterator[str]:
        """What beneficiaries receive, and after which taxes."""
        household, own, plan = self._result.question.household, self._own, self._result.projection
        who = "you" if len(household.people) == 1 else "both people"
        in_prices = plan.in_prices_of_start(own.beneficiaries_receive)
        prices = ""
        if in_prices != own.beneficiaries_receive:
            prices = f", or {rounded_pounds(in_prices)} in {month_year(household.start)} prices"
        yield (
            f"If {who} died on {day_month_year(household.end)}, beneficiaries would receive "
            f"{rounded_pounds(own.beneficiaries_receive)}{prices}."
        )
        yield (
            f"That is after {_of(own.inheritance_tax)} inheritance tax and {_of(own.beneficiaries_income_tax)} income tax on "
            "pension money. "
            + (
                f"Income tax until then is {rounded_pounds(plan.income_tax)}."
                if plan.income_tax
                else "No income tax is due until then."
            )
        )

    def against(self, compared: Comparison, doing: str) -> Iterator[str]:
        """The plan against a plainer one that does this."""
        other, comma = compared.projection, "," if "," in doing else ""
        if other is None:
            yield f"{starting(doing)}{comma} could not meet all spending."
            return
        theirs = self._result.question.estate_left(other)
        gain = self._own.beneficiaries_receive - theirs.beneficiaries_receive
        tie = None if self._result.proof is None else self._result.proof.tie
        if abs(gain) <= _EQUAL or (tie is not None and -tie.given_up <= gain <= 0):
            yield f"{starting(doing)}{comma} would leave beneficiaries the same."
            return
        told = f"For them, that is {rounded_pounds(abs(gain))} {'more' if gain > 0 else 'less'} than {doing}."
        yield f"{told} {self._what_makes_it(other, theirs, gain)}".rstrip()

    def _what_makes_it(self, other: Projection, theirs: EstateAtTheEnd, gain: Pence) -> str:
        """Where a difference comes from: what the other plan has more or less of. Debts that nobody pays are not told apart, so
        where there are any the parts do not add up and are not told."""
        plan, own = self._result.projection, self._own
        growth = _held(other) + other.income_tax - _held(plan) - plan.income_tax
        less = (
            (theirs.inheritance_tax - own.inheritance_tax, "inheritance tax"),
            (theirs.beneficiaries_income_tax - own.beneficiaries_income_tax, "income tax for beneficiaries"),
            (other.income_tax - plan.income_tax, "income tax until then"),
            (_to_charity(theirs) - _to_charity(own), "for charity"),
        )
        if abs(sum(amount for amount, _ in less) - growth - gain) > _EQUAL:
            return ""
        parts = [
            f"{rounded_pounds(abs(amount))} {'more' if amount > 0 else 'less'} {words}"
            for amount, words in (*less, (growth, "growth"))
            if abs(amount) >= _EQUAL
        ]
        told = f"The other plan has {listed(parts[:_MOST_IN_A_SENTENCE])}." if parts else ""
        rest = parts[_MOST_IN_A_SENTENCE:]
        return f"{told} It also has {listed(rest)}." if rest else told

    def pension_left(self, others: Iterable[tuple[Comparison, str]]) -> Iterator[str]:
        """How beneficiaries are taken to be taxed on what is left in pensions, and the rate at which another plan would leave
        them more; with the words for each plan."""
        left, own = pension_held(self._result.projection.years[-1]), self._own
        if left < _NOTABLE:
            return
        taxed = own.beneficiaries_income_tax
        rate = own.rate
        how = (
            f"Their income tax on it is {per_cent(rate)} of what is taxable."
            if taxed
            else "No income tax on it is due from beneficiaries."
        )
        counts = "counts" if own.deaths[-1].pension_in_estate else "does not count"
        told = f"The pension left at the end, {rounded_pounds(left)}, {counts} for inheritance tax. {how}"
        changes = []
        for compared, doing in others:
            if compared.projection is None:
                continue
            theirs = self._result.question.estate_left(compared.projection)
            gain = own.beneficiaries_receive - theirs.beneficiaries_receive
            more_taxed = own.taxable - theirs.taxable
            if gain > _EQUAL and more_taxed:
                at = rate + Fraction(gain * WHOLE, more_taxed)
                if _LEAST_RATE <= at <= _MOST_RATE:
                    changes.append((abs(at - rate), doing, at, more_taxed))
        if changes:
            _, doing, at, more_taxed = min(changes)
            beyond = "more" if more_taxed > 0 else "less"
            step = 100 if abs(at - rate) > 100 else 10
            about = per_cent(round(at / step) * step)
            told += f" If they paid {beyond} than about {about}, {doing} would leave them more."
        yield told


def _of(tax: Pence) -> str:
    return f"{rounded_pounds(tax)} of" if tax >= POUND else "no"


def _to_charity(found: EstateAtTheEnd) -> Pence:
    return sum(left.to_charity for left in found.deaths)


def _held(plan: Projection) -> Pence:
    last = plan.years[-1]
    return pension_held(last) + isa_held(last) + cash_held(last)

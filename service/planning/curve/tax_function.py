"""A taxpayer's year that is asked for its tax at single amounts."""

from __future__ import annotations

from service.law.income_tax import Liability, TaxpayerYear, liability
from service.law.units import Pence


class TaxFunction:
    """A taxpayer's year, asked for its liability at single taxable withdrawals: each amount once, and counted."""

    def __init__(self, year: TaxpayerYear) -> None:
        self.year = year
        self._known: dict[int, Liability] = {}
        self._beside: TaxFunction | None = None

    def __call__(self, amount: Pence) -> Liability:
        """The year's liability with a taxable withdrawal of ``amount`` pence."""
        answer = self._known.get(amount)
        if answer is None:
            answer = self._known[amount] = liability(self.year, amount)
        return answer

    @property
    def uncovered(self) -> TaxFunction:
        """The same year, but that its tax need not cover gifts under Gift Aid. What is asked of it is counted here too."""
        if self._beside is None:
            self._beside = TaxFunction(self.year._replace(treated_as_deducted=0))
        return self._beside

    def asked_between(self, start: Pence, end: Pence) -> Pence:
        """An amount strictly between two that are more than a penny apart: one asked before, if there is one."""
        for amount in self._known:
            if start < amount < end:
                return amount
        return start + 1

    @property
    def evaluations(self) -> int:
        """How often the rules have been asked."""
        return len(self._known) + (0 if self._beside is None else self._beside.evaluations)

"""What cannot be computed, and why: the one exception of the planning layer."""

from __future__ import annotations

from dataclasses import dataclass

from service.law.lump_sums import Pension
from service.law.rulebook import TaxYearRules
from service.law.units import Pence
from service.planning.household import Path

OF_THE_REQUEST = frozenset(
    {
        "age-already-reached",
        "as-best-born-before-1935",
        "as-best-by-one",
        "as-best-without-a-plan",
        "before-the-date",
        "correlation-impossible",
        "death-outside-the-years",
        "deaths-before-april-2024",
        "end-before-start",
        "estate-needed",
        "history-of-another-length",
        "history-too-short",
        "in-the-future",
        "less-used-than-withdrawn",
        "markets-need-a-plain-aim",
        "no-band",
        "no-figures",
        "no-such-pension",
        "no-survivor",
        "not-one-a-year",
        "not-yet-born",
        "nothing-before-start",
        "outside-tax-year",
        "pensions-on-different-terms",
        "plan-too-long",
        "range-empty",
        "small-pot-left-open-with-all-now",
        "small-pot-outside-the-plan",
        "small-pot-paid-into",
        "small-pots-with-markets",
        "thresholds-on-many-paths",
        "to-before-from",
        "too-many-paths",
    }
)
"""Codes of faults that lie in the request alone: two things that it says do not go together, or it asks for days that this
service does not answer for. Every other fault is what the law or the pension does not allow."""

_USED_SINCE_2024 = ("lump_sum_allowance_used", "lump_sum_and_death_benefit_allowance_used")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a request: where (path of keys and indexes), a short code, and a sentence for people."""

    path: Path
    code: str
    detail: str


class RuleViolation(Exception):
    """A request that is well formed but asks for what cannot be, or what the rules do not allow. ``permitted`` is the figure
    that would be allowed, in pence, where there is one: at the first of the faults that are about an amount."""

    def __init__(self, faults: tuple[Fault, ...], permitted: Pence | None = None) -> None:
        super().__init__("; ".join(fault.code for fault in faults))
        self.faults = faults
        self.permitted = permitted

    @property
    def lies_in_the_request(self) -> bool:
        """Whether any of it is a fault of the request alone, so that it has to be put right whatever the rules allow."""
        return any(fault.code in OF_THE_REQUEST for fault in self.faults)


def no_such_allowance_yet(pension: Pension, rules: TaxYearRules, path: Path, where: str = "") -> tuple[Fault, ...]:
    """A person who is said to have used allowances which the tax year does not have yet; ``path`` is the person's, and
    ``where`` follows the name of the tax year."""
    if rules.lump_sums.lump_sum_allowance is not None:
        return ()
    return tuple(
        Fault(
            (*path, "lump_sum_allowances", name),
            "no-such-allowance-yet",
            f"There was no such allowance in {rules.figures.name}{where}: it began on 6 April 2024. Give "
            "`lifetime_allowance_used` instead.",
        )
        for name in _USED_SINCE_2024
        if getattr(pension, name)
    )

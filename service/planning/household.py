"""What the adviser knows of a person: the inputs every question shares. Money in pence a year, gross."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from service.law.income_tax import Taxpayer

INCOME_KINDS = (
    "employment",
    "self_employment",
    "state_pension",
    "defined_benefit_pension",
    "annuity",
    "other_taxable",
    "property",
    "savings_interest",
    "dividends",
)
_KINDS_OF_THEIR_OWN = ("property", "savings_interest", "dividends")


@dataclass(frozen=True, slots=True)
class Income:
    """One income of the tax year asked about."""

    kind: str
    amount: int


@dataclass(frozen=True, slots=True)
class Person:
    """A person in the tax year asked about. Reliefs are gross."""

    date_of_birth: date
    tax_residence: str
    income: tuple[Income, ...] = ()
    relief_at_source_contributions: int = 0
    gift_aid_donations: int = 0
    marriage_allowance: str = "none"
    blind_persons_allowance: bool = False
    child_benefit: int = 0

    def income_of(self, kind: str) -> int:
        """All income of one kind."""
        return sum(income.amount for income in self.income if income.kind == kind)

    def income_kinds(self) -> frozenset[str]:
        """The kinds of income there is any of."""
        return frozenset(income.kind for income in self.income if income.amount > 0)

    def taxpayer(self) -> Taxpayer:
        """The person as the income tax rules see them."""
        own_kinds = dict.fromkeys(_KINDS_OF_THEIR_OWN, 0)
        other_income = 0
        for income in self.income:
            if income.kind in own_kinds:
                own_kinds[income.kind] += income.amount
            else:
                other_income += income.amount
        return Taxpayer(
            nation=self.tax_residence,
            other_income=other_income,
            property_income=own_kinds["property"],
            savings=own_kinds["savings_interest"],
            dividends=own_kinds["dividends"],
            relief_at_source=self.relief_at_source_contributions,
            gift_aid=self.gift_aid_donations,
            blind=self.blind_persons_allowance,
            marriage_allowance=self.marriage_allowance,
            child_benefit=self.child_benefit,
        )

"""What is known of the people a warning may concern: plain facts, per person and tax year.

Money is pence, gross, unless said otherwise; shares and rates are basis points. A fact that was not given is None and is
never guessed: a rule that would need it either says which fact decides, or stays silent because it cannot matter. What a
quote or a plan never asks for is in ``Facts``, which those leave out as a whole.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import NamedTuple

from service.figures.loader import TaxYearFigures
from service.law.income_tax import (
    IncomeTaxRules,
    Liability,
    MarriageAllowance,
    Nation,
    Taxpayer,
    TaxpayerYear,
    taxpayer_year,
)
from service.law.lump_sums import Allowances, Method, Payment, Pension
from service.law.pension_age import may_have_begun
from service.law.rulebook import TaxYearRules
from service.law.units import BasisPoints, Pence, Years
from service.law.value import Value
from service.planning.household import Path, Payer, ReliefMethod, Saving, SavingFacts
from service.planning.payroll import PayrollOutcome
from service.planning.wording import YOU, inside

NOTHING_MUCH = 100
"""Pence: less than a pound left in a pension is nothing left."""


@dataclass(frozen=True, slots=True)
class PaidIn:
    """A pension contribution on a day, made or planned, or an instalment of a yearly one; for a defined benefit pension the
    pension input amount."""

    amount: Pence
    day: date
    payer: Payer = "self"
    saving: Saving = "money_purchase"
    relief: ReliefMethod | None = None


@dataclass(frozen=True, slots=True)
class Subscription:
    """A planned ISA subscription."""

    amount: Pence
    day: date
    cash_isa: bool = False


@dataclass(frozen=True, slots=True)
class Isas:
    """A person's ISAs: ``of_tax_year`` is that of the request's date, in which ``withdrawn_this_year`` was taken out and
    ``subscribed_this_year`` paid in, of it ``cash_subscribed_this_year`` into cash ISAs."""

    value: Pence = 0
    subscribed_this_year: Pence = 0
    cash_subscribed_this_year: Pence | None = None
    withdrawn_this_year: Pence = 0
    flexible: bool | None = None
    subscriptions: tuple[Subscription, ...] = ()
    of_tax_year: str = ""


@dataclass(frozen=True, slots=True)
class Features:
    """What a pension scheme gives that a withdrawal may cost."""

    safeguarded_benefits: Pence | None = None
    guaranteed_annuity_rate: bool | None = None
    protected_tax_free_share: BasisPoints | None = None
    exit_charge: Pence | None = None
    scheme_kind: str | None = None
    transfer_planned: bool = False
    transfer_flag: str = "none"
    nomination: str | None = None
    nomination_reviewed_on: date | None = None

    @property
    def leaves(self) -> bool:
        """Whether the pension is to be transferred."""
        return self.transfer_planned or self.transfer_flag != "none"

    @property
    def nothing_known(self) -> bool:
        """Whether nothing was said of what could be lost."""
        return (
            self.safeguarded_benefits is None
            and self.guaranteed_annuity_rate is None
            and self.protected_tax_free_share is None
        )


@dataclass(frozen=True, slots=True)
class Benefits:
    """The benefits and support a person receives; all are known once any is asked about."""

    universal_credit: bool = False
    pension_credit: bool = False
    housing_benefit: bool = False
    council_tax_support: bool = False
    care_support: bool = False
    new_style_employment_and_support_allowance: bool = False
    new_style_jobseekers_allowance: bool = False

    @property
    def depends_on_capital(self) -> bool:
        """Whether any of them looks at what the person owns."""
        return (
            self.universal_credit
            or self.pension_credit
            or self.housing_benefit
            or self.council_tax_support
            or self.care_support
        )

    @property
    def spares_winter_fuel(self) -> bool:
        """Whether the winter fuel payment is kept whatever the income (ITEPA 2003 s.681I)."""
        return self.universal_credit or self.pension_credit


@dataclass(frozen=True, slots=True)
class Inherited:
    """A pension inherited from somebody: when its scheme knew of the death, and whether they died before 75."""

    scheme_knew_on: date
    died_before_75: bool


@dataclass(frozen=True, slots=True)
class Facts:
    """What only POST /v1/warnings looks at. ``employer_contributions`` is what the employer pays into money purchase pensions in
    a year."""

    isas: Isas = Isas()
    cash: Pence = 0
    deposit_firms: int | None = None
    contributions: tuple[PaidIn, ...] | None = None
    employer_contributions: Pence = 0
    carry_forward: Pence | None = None
    saves_in_other_schemes: bool | None = None
    benefits: Benefits | None = None
    gifts_planned: Pence | None = None
    student_loans: tuple[str, ...] | None = None
    children: int | None = None
    child_benefit_given: bool = False
    tax_free_childcare: Pence | None = None
    child_has_maintenance_loan: bool | None = None
    self_assessment: bool | None = None
    ill_health: str | None = None
    uk_resident: bool | None = None
    crown_employee_abroad: bool | None = None
    inherited: Inherited | None = None
    guidance_taken: bool | None = None
    regulated_adviser: bool | None = None
    unexpected_contact: bool | None = None


class Partner(Value, frozen=True):
    """What a person's winter fuel payment turns on of the other of a couple. ``spares_winter_fuel``: a benefit is received
    with which the payment is not taken back."""

    born: date
    state_pension_from: date | None
    spares_winter_fuel: bool = False


class PersonFacts(Value, frozen=True):
    """A person. ``who`` starts a sentence; ``path`` and ``pension_path`` point into the request, ``place`` and ``pension`` are
    the person's place among the people and the pension's among the person's, None where it is about several together.
    ``earlier_access_matters``: it was not said whether income was taken flexibly before, and it matters;
    ``protected_tax_free_share`` is the largest that a scheme protects. ``tax_free_received`` is the tax-free cash received before
    6 April 2024, ``small_pots_taken`` the number of small pots from personal schemes, ``scheme_kind`` that of a quote's pension;
    each None where it was not given. ``saving`` is what the recycling rule looks at, None where nothing is known to be paid in or
    the answer does not ask. ``lives_abroad``: said not to be UK resident. ``works``: there is income from work.
    ``state_pension_from`` is None for whoever reached State Pension age before the first tax year held. ``partner`` is the
    other of a couple."""

    who: str
    path: Path
    pension_path: Path
    born: date
    nation: Nation
    marriage_allowance: MarriageAllowance = "none"
    place: int = 0
    pension: int | None = 0
    earlier_access_matters: bool = False
    protected_tax_free_share: BasisPoints = 0
    tax_free_received: Pence | None = None
    small_pots_taken: int | None = None
    scheme_kind: str | None = None
    saving: SavingFacts | None = None
    lives_abroad: bool = False
    works: bool = False
    has_state_pension_age: bool = False
    state_pension_from: date | None = None
    facts: Facts | None = None
    partner: Partner | None = None

    def with_pension(self, place: int) -> PersonFacts:
        """The same person with one of several pensions."""
        return self._replace(pension=place, pension_path=(*self.path, "pensions", place))

    @property
    def you(self) -> str:
        """The person inside a sentence: you, the first person, or the name."""
        return inside(self.who)

    @property
    def ill_health_given(self) -> bool:
        """Whether ill-health was given, which permits payment at any age with medical evidence (FA 2004 s.165, pension
        rule 1)."""
        return self.facts is not None and self.facts.ill_health not in (None, "none")

    @property
    def the_pension(self) -> str:
        """The pension that it is about, or the several together, inside a sentence."""
        return "this pension" if self.pension is not None else "the pensions"

    @property
    def your(self) -> str:
        """What is the person's, inside a sentence: your, or the first person's."""
        return "your" if self.who == YOU else f"{self.you}'s"

    def does(self, verb: str, third: str) -> str:
        """A verb after the person: you have, the first person has."""
        return verb if self.who == YOU else third


class Taken(Value, frozen=True):
    """One withdrawal, carried out as far as the rules permit: ``asked`` is what was asked for, ``permitted`` the most of
    this method. ``age`` is the person's on the day or, where that is not given, on the last of the tax year;
    ``minimum_age`` is the tax year's minimum pension age, or a protected one. ``left_before`` is what the allowances left.
    ``pension`` is the place of the pension among the person's, None where it is several together. ``triggers``: the first
    flexible access. ``pay_not_in_the_income`` is pay to date that no income given can be."""

    method: Method
    day: date | None
    age: Years
    minimum_age: Years
    asked: Pence
    permitted: Pence
    payment: Payment
    path: Path
    before: Pension
    after: Pension
    left_before: Allowances
    left_after: Allowances
    pension: int | None = 0
    triggers: bool = False
    payroll: PayrollOutcome | None = None
    payroll_path: Path = ()
    pay_not_in_the_income: Pence = 0


class YearFacts(Value, frozen=True):
    """A person in one tax year: the tax with all that is withdrawn in it and without, and the pension before and after.

    ``path`` is the place of the withdrawals. ``taken`` holds them one by one where they are known so; a plan knows sums
    only, and of ``small_pots`` the number that are not from occupational schemes. ``held_before`` is what the pension holds
    before the year's withdrawals, growth included. ``age`` is the person's on the last day. ``paid_at_source`` is what is paid
    into pensions with relief at source, whether it has relief or not; ``taxed_pay`` is pay that goes into them without relief,
    and is in the income. ``saved`` is what counts as saving where a plan pays contributions in.
    """

    person: PersonFacts
    rules: TaxYearRules
    path: Path
    taxpayer: Taxpayer
    without: Liability
    with_it: Liability
    gross: Pence
    tax_free: Pence
    taxable: Pence
    before: Pension
    after: Pension
    left_before: Allowances
    left_after: Allowances
    held_before: Pence
    last_day: date
    age: Years
    state_pension: Pence = 0
    taken: tuple[Taken, ...] = ()
    known_year: TaxpayerYear | None = None
    earned: Pence = 0
    lump_sums_wanted: bool = True
    cash_isa_limit: Pence | None = None
    paid_at_source: Pence = 0
    taxed_pay: Pence = 0
    saved: tuple[PaidIn, ...] = ()
    small_pots: int = 0

    def of_pension(self, place: int | None) -> YearFacts:
        """The same year, told as one of the pension at a place; of None, as one of all pensions together."""
        return (
            self
            if place is None or self.person.pension == place
            else self._replace(person=self.person.with_pension(place))
        )

    @property
    def figures(self) -> TaxYearFigures:
        """The tax year's figures."""
        return self.rules.figures

    @property
    def tax_rules(self) -> IncomeTaxRules:
        """The income tax rules of the year for the person's nation."""
        return self.rules.income_tax[self.person.nation]

    @property
    def name(self) -> str:
        """The tax year, such as "2026-27"."""
        return self.rules.figures.name

    @property
    def held_after(self) -> Pence:
        """What the pension holds at the end."""
        return self.after.uncrystallised + self.after.drawdown

    @property
    def year(self) -> TaxpayerYear:
        """The year as the income tax rules see it."""
        return self.known_year or taxpayer_year(self.taxpayer, self.tax_rules)

    @property
    def drawn_after_tax(self) -> Pence:
        """What the withdrawals leave of themselves after the tax that they add; pence."""
        return self.gross - max(0, self.with_it.total - self.without.total) if self.gross else 0

    @property
    def triggered(self) -> bool:
        """Whether income is first taken flexibly in this year."""
        return self.after.flexibly_accessed and not self.before.flexibly_accessed

    def runs_on(self, taken: Taken) -> bool:
        """Whether a payment is income from drawdown that may have begun before the minimum age last rose.

        FA 2004 s.165, pension rule 1, bars pension "before the day on which the member reaches normal minimum pension age",
        which somebody did who was 55 before 6 April 2028. In 2010, when it rose in the same words, HMRC let such payments go
        on. It has not said so of 2028: unsettled, and so neither permitted nor refused.
        """
        return (
            taken.method == "drawdown"
            and taken.before.protected_pension_age is None
            and may_have_begun(self.person.born, self.rules.earlier_minimum_pension_age)
        )

    def too_early(self, taken: Taken) -> bool:
        """Whether a payment is before the minimum age, and nothing was given that may permit it."""
        return taken.age < taken.minimum_age and not self.person.ill_health_given and not self.runs_on(taken)

    @property
    def triggered_too_early(self) -> bool:
        """Whether what first takes income flexibly is too early: unauthorised, it triggers nothing (FA 2004 s.227G)."""
        return any(taken.triggers and self.too_early(taken) for taken in self.taken)

    @property
    def triggered_on(self) -> date | None:
        """The day of it, where it is known."""
        for taken in self.taken:
            if taken.triggers:
                return taken.day
        return None


class PensionCase(Value, frozen=True):
    """One of a person's pensions, with what its scheme gives: the tax years that matter, each with the withdrawals from this
    pension alone, and what it holds before and after them."""

    person: PersonFacts
    path: Path
    features: Features
    years: tuple[YearFacts, ...]


class LeftInPension(Value, frozen=True):
    """What a plan leaves of a pension beyond its tax-free part, ``taxed``, and the tax on it: at the flat rate assumed, and as
    drawn evenly over ``years`` on top of the income of the last tax year. Pence."""

    taxed: Pence
    flat: Pence
    drawn: Pence
    years: Years


class PersonCase(Value, frozen=True):
    """A person with the tax years that matter, in order; ``pensions`` one by one where they were asked about. ``held`` is the
    pension as the request gives it, where that is not what it is before the first year's withdrawals. ``left`` is what a plan
    leaves in the pension, where it is taxed at a flat rate."""

    person: PersonFacts
    years: tuple[YearFacts, ...]
    pensions: tuple[PensionCase, ...] = ()
    held: Pension | None = None
    left: LeftInPension | None = None

    @property
    def given(self) -> Pension:
        """The pension as the request gives it."""
        return self.held or self.years[0].before


class Given(NamedTuple):
    """A chargeable gift made, by the person at a place; None where that was not given of two."""

    day: date
    amount: Pence
    giver: int | None = None


@dataclass(frozen=True, slots=True)
class Estate:
    """What would be left at death, the pensions apart: ``value`` is after ``debts``. Shares of bands brought forward are basis
    points. ``gifts`` is None where nothing was said of any."""

    value: Pence
    debts: Pence = 0
    home_to_descendants: bool | None = None
    nil_rate_band_brought_forward: BasisPoints | None = None
    residence_nil_rate_band_brought_forward: BasisPoints | None = None
    all_to_spouse: bool | None = None
    gifts: tuple[Given, ...] | None = None
    some_to_charity: bool = False


class Together(Value, frozen=True):
    """A household in one tax year of a plan. ``beyond_the_band`` is what spending draws beyond the band aimed at, and
    ``beyond_tax`` the tax of that; ``waits`` is the cash that no ISA allowance is left for."""

    rules: TaxYearRules
    spending: Pence = 0
    beyond_the_band: Pence = 0
    beyond_tax: Pence = 0
    fill: str = ""
    waits: Pence = 0


class Circumstances(Value, frozen=True):
    """Everything that is known. ``year_path`` points to what says the tax years; ``pensions_in_estate_from`` is the day
    from which unused pensions count in the estate; ``isa_limits`` are the limits by the first day of their tax years.
    ``today`` is None where the request has no such day, and ``together`` empty where there is no plan."""

    people: tuple[PersonCase, ...]
    year_path: Path
    today: date | None = None
    estate: Estate | None = None
    estate_asked: bool = False
    pensions_in_estate_from: date | None = None
    together: tuple[Together, ...] = ()
    isa_limits: Mapping[date, Pence] = MappingProxyType({})

    @property
    def last_year(self) -> YearFacts:
        """The last tax year that is known of anybody: the first person's, where it is known of both."""
        return max((one.years[-1] for one in self.people), key=lambda year: year.name)

    @property
    def cash_and_isas(self) -> Pence:
        """What everybody holds in cash and ISAs, as far as it was given; pence."""
        return sum(
            one.person.facts.cash + one.person.facts.isas.value for one in self.people if one.person.facts is not None
        )

    @property
    def drawn_after_tax(self) -> Pence:
        """What all withdrawals of everybody leave after the tax that they add; pence."""
        return sum(year.drawn_after_tax for one in self.people for year in one.years)


class OptionFacts(NamedTuple):
    """An option for the tax-free lump sum, carried out. ``tax_free_cash`` is what it pays tax free, and what there would be
    to take at the end if the pension were left alone until then."""

    figures: TaxYearFigures
    path: Path
    wants_tax_free_cash: bool
    tax_free_cash: Pence

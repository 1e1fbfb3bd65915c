"""The household: the one record of a client, or a couple, that every request begins with."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from service.law.death_benefits import FORMS
from service.law.income_tax import NATIONS
from service.law.lump_sums import Pension
from service.law.units import Years
from service.planning.estates import TO_BENEFICIARIES, TO_SPOUSE
from service.planning.household import (
    AS_BEST,
    INCOME_KINDS,
    MARRIAGE_CLAIMS,
    WITH_PRICES,
    Already,
    Contribution,
    DatedIncome,
    Income,
    Isa,
    Member,
    Payer,
    PensionHeld,
    ReliefMethod,
    Saving,
    Spending,
    YearlyRate,
)
from service.schemas.fields import (
    Choice,
    Growth,
    Increases,
    IsoDate,
    Money,
    Rate,
    StrictBoolean,
    TaxYear,
    Text,
    WholeNumber,
)
from service.schemas.shared import ObjectList, StrictNested, StrictSchema
from service.schemas.together import OneOfTwo, OnlyWith, Rule, Said, Together

MOST_PEOPLE = 2
MOST_INCOMES = 50
MOST_CONTRIBUTIONS = 100
MOST_PENSIONS = 20
MOST_SPENDING = 50
MOST_GIFTS = 50
LONGEST_NAME = 60


class DatedSchema(StrictSchema):
    """What runs from one day to another."""

    first = IsoDate(data_key="from")
    last = IsoDate(data_key="to")


class IncomeSchema(DatedSchema):
    """An income: a year's amount, or a share of the full State Pension."""

    rules = (
        OneOfTwo("amount", "share_of_full_rate"),
        OnlyWith("share_of_full_rate", "kind", "state_pension"),
    )

    kind = Choice(INCOME_KINDS, required=True)
    amount = Money()
    share_of_full_rate = Rate(least=0, largest=2)
    increases = Increases()


@dataclass(frozen=True)
class ReliefOfContribution(Rule):
    """How a contribution has its relief is said of money purchase contributions that are not an employer's, and of those alone
    it has to be."""

    @property
    def names(self) -> tuple[str, ...]:
        return "relief", "payer", "saving"

    def faults(self, given: Mapping[str, Any]) -> Iterator[tuple[str, Said]]:
        if any(name in given and given[name] is None for name in ("payer", "saving")):
            return  # one that was refused: what it was meant to be decides
        employers = given.get("payer") == "employer"
        if employers and "relief" in given:
            yield "relief", Said("only-with", "Leave this out: an employer's contribution has no relief of this kind.")
        elif not employers and "relief" not in given and given.get("saving") != "defined_benefit":
            yield (
                "relief",
                Said(
                    "missing",
                    "This field is required: how does the contribution get tax relief? One of: "
                    f"{', '.join(get_args(ReliefMethod))}.",
                ),
            )


class ContributionSchema(DatedSchema):
    """A pension contribution, on a day or yearly."""

    rules = (
        OneOfTwo("amount", "yearly", " with its `date`"),
        Together("amount", "date", "yearly"),
        ReliefOfContribution(),
        OnlyWith("pension", "saving", "money_purchase"),
    )

    amount = Money()
    day = IsoDate(data_key="date")
    yearly = Money()
    payer = Choice(get_args(Payer))
    relief = Choice(get_args(ReliefMethod))
    saving = Choice(get_args(Saving))
    pension = WholeNumber(least=0, largest=MOST_PENSIONS - 1)

    def example(self) -> dict[str, Any]:
        """A yearly contribution, which has no day."""
        return {"yearly": 3_600, "relief": "relief_at_source"}


class PensionSchema(StrictSchema):
    """A money purchase pension, with what its scheme guarantees, charges and asks for."""

    name = Text(longest=LONGEST_NAME)
    uncrystallised = Money(required=True)
    drawdown = Money()
    protected_pension_age = WholeNumber(least=20, largest=75)
    protected_tax_free_share = Rate(least=0, largest=1)
    safeguarded_benefits = Money()
    guaranteed_annuity_rate = StrictBoolean()
    exit_charge = Money()
    scheme_kind = Choice(("personal", "occupational"))
    transfer_planned = StrictBoolean()
    transfer_flag = Choice(("none", "amber", "red"))
    nomination = Choice(("none", "made"))
    nomination_reviewed_on = IsoDate()
    growth = Growth()
    yearly_charge = Rate(least=0, largest=1)
    small_pot_in = TaxYear(instead=AS_BEST)


class IncomeHadSchema(StrictSchema):
    """An income that was had, and does not run on."""

    kind = Choice(INCOME_KINDS, required=True)
    amount = Money(required=True)


class AlreadySchema(StrictSchema):
    """What was had in the tax year before the day that a question starts from."""

    income = ObjectList(IncomeHadSchema, most=MOST_INCOMES)
    taxable_withdrawals = Money()
    tax_free_withdrawals = Money()


class LumpSumAllowancesSchema(StrictSchema):
    """What is used of a person's lump sum allowances, and what is protected."""

    lump_sum_allowance_used = Money()
    lump_sum_and_death_benefit_allowance_used = Money()
    lifetime_allowance_used = Rate(least=0, largest=1)
    protected_lump_sum_allowance = Money()
    protected_lump_sum_and_death_benefit_allowance = Money()
    tax_free_received_before_6_april_2024 = Money()


class IsaSchema(StrictSchema):
    """A person's ISAs."""

    value = Money()
    subscribed_this_year = Money()
    cash_subscribed_this_year = Money()
    withdrawn_this_year = Money()
    cash_isa = StrictBoolean()
    flexible = StrictBoolean()


class BenefitsSchema(StrictSchema):
    """Benefits and support received."""

    universal_credit = StrictBoolean()
    pension_credit = StrictBoolean()
    housing_benefit = StrictBoolean()
    council_tax_support = StrictBoolean()
    care_support = StrictBoolean()
    new_style_employment_and_support_allowance = StrictBoolean()
    new_style_jobseekers_allowance = StrictBoolean()


class StudentLoansSchema(StrictSchema):
    """Student loans not yet repaid, by plan."""

    plan_1 = StrictBoolean()
    plan_2 = StrictBoolean()
    plan_4 = StrictBoolean()
    plan_5 = StrictBoolean()
    postgraduate = StrictBoolean()


class InheritedPensionSchema(StrictSchema):
    """A pension inherited from somebody."""

    scheme_knew_on = IsoDate(required=True)
    died_before_75 = StrictBoolean(required=True)


class CircumstancesSchema(StrictSchema):
    """What else is known of a person."""

    deposit_firms = WholeNumber(least=1, largest=50)
    usual_contributions = Money()
    contribution_increase_planned = StrictBoolean()
    lump_sums_in_last_12_months = Money()
    carry_forward = Money()
    saves_in_other_schemes = StrictBoolean()
    small_pots_taken = WholeNumber(least=0, largest=50)
    benefits = StrictNested(BenefitsSchema)
    gifts_planned = Money()
    student_loans = StrictNested(StudentLoansSchema)
    children = WholeNumber(least=0, largest=30)
    tax_free_childcare = Money()
    child_has_maintenance_loan = StrictBoolean()
    self_assessment = StrictBoolean()
    ill_health = Choice(("none", "unable_to_work", "life_expectancy_under_a_year"))
    uk_resident = StrictBoolean()
    crown_employee_abroad = StrictBoolean()
    inherited_pension = StrictNested(InheritedPensionSchema)
    guidance_taken = StrictBoolean()
    regulated_adviser = StrictBoolean()
    unexpected_contact = StrictBoolean()


class PersonSchema(StrictSchema):
    """A person: what decides their tax, and what they hold."""

    name = Text(longest=LONGEST_NAME)
    date_of_birth = IsoDate(required=True, example="1966-05-14")
    tax_residence = Choice(NATIONS, required=True)
    income = ObjectList(IncomeSchema, most=MOST_INCOMES)
    contributions = ObjectList(ContributionSchema, most=MOST_CONTRIBUTIONS)
    gift_aid_donations = Money()
    marriage_allowance = Choice(MARRIAGE_CLAIMS)
    blind_persons_allowance = StrictBoolean()
    child_benefit = Money()
    pensions = ObjectList(PensionSchema, most=MOST_PENSIONS)
    lump_sum_allowances = StrictNested(LumpSumAllowancesSchema)
    flexibly_accessed = StrictBoolean()
    isa = StrictNested(IsaSchema)
    cash = Money()
    withdrawal_cap = Money()
    already_this_tax_year = StrictNested(AlreadySchema)
    circumstances = StrictNested(CircumstancesSchema)


class SpendingSchema(DatedSchema):
    """What the household spends a year."""

    amount = Money(required=True)
    increases = Increases()


class GiftSchema(StrictSchema):
    """A chargeable lifetime gift."""

    date = IsoDate(required=True)
    amount = Money(required=True)
    person = WholeNumber(least=0, largest=MOST_PEOPLE - 1)


class HomeGivenUpSchema(StrictSchema):
    """A home that was given up and may earn a downsizing addition."""

    value = Money(required=True)
    residence_nil_rate_band = Money(required=True)
    rest_to_descendants = StrictBoolean()


class EstateSchema(StrictSchema):
    """What there is besides pensions, ISAs and cash, and where it goes on a death."""

    home = Money()
    home_to_descendants = StrictBoolean()
    other_assets = Money()
    debts = Money()
    increases = Increases()
    first_person_share = Rate(least=0, largest=1)
    charity_share = Rate(least=0, largest=1)
    lifetime_gifts = ObjectList(GiftSchema, most=MOST_GIFTS)
    nil_rate_band_brought_forward = Rate(least=0, largest=1)
    residence_nil_rate_band_brought_forward = Rate(least=0, largest=1)
    spouses = StrictBoolean()
    first_death = Choice((TO_SPOUSE, TO_BENEFICIARIES))
    home_given_up = StrictNested(HomeGivenUpSchema)
    pension_paid_as = Choice(FORMS)
    pension_paid_within_two_years = StrictBoolean()
    pension_to_non_qualifying_person = StrictBoolean()
    survivor_spending = Rate(least=0, largest=1)


@dataclass(frozen=True)
class ClaimsOfSpouses(Rule):
    """Only spouses and civil partners have the marriage allowance (Income Tax Act 2007 ss.55A-55B): two people who are said to be
    neither claim nothing."""

    @property
    def names(self) -> tuple[str, ...]:
        return "estate", "people"

    def faults(self, given: Mapping[str, Any]) -> Iterable[tuple[str, Said]]:
        return self._not_spouses(given) if "estate" in given else ()

    def _not_spouses(self, given: Mapping[str, Any]) -> Iterator[tuple[str, Said]]:
        estate, people = given.get("estate"), given.get("people")
        if not isinstance(estate, Mapping) or estate.get("spouses") is not False:
            return
        if not isinstance(people, Sequence) or len(people) < MOST_PEOPLE:
            return
        claims = [one.get(_CLAIM, "none") for one in people if isinstance(one, Mapping)]
        if any(claim != "none" for claim in claims):
            yield (
                "estate",
                Said(
                    "not-spouses",
                    "Only spouses and civil partners can claim the marriage allowance, and `spouses` is false. If they are "
                    f"spouses or civil partners, leave `spouses` out. If not, give `{_CLAIM}` as `none` for both.",
                ),
            )


_CLAIM = "marriage_allowance"


class HouseholdSchema(StrictSchema):
    """One person, or two who are a couple, with what they spend and would leave."""

    rules = (ClaimsOfSpouses(),)

    people = ObjectList(PersonSchema, least=1, most=MOST_PEOPLE, required=True)
    spending = ObjectList(SpendingSchema, most=MOST_SPENDING)
    minimum_cash = Money()
    estate = StrictNested(EstateSchema)


_OF_THE_PENSION = frozenset(
    (
        "uncrystallised",
        "drawdown",
        "protected_pension_age",
        "growth",
        "yearly_charge",
        "protected_tax_free_share",
        "scheme_kind",
        "small_pot_in",
    )
)
_NOT_OF_THE_ALLOWANCES = "tax_free_received_before_6_april_2024"
_OF_THE_ISA = frozenset(("value", "subscribed_this_year", "cash_isa"))
_OF_THE_CIRCUMSTANCES = frozenset(
    (
        "small_pots_taken",
        "carry_forward",
        "usual_contributions",
        "contribution_increase_planned",
        "lump_sums_in_last_12_months",
        "uk_resident",
    )
)
_PLAIN = frozenset(
    (
        "date_of_birth",
        "tax_residence",
        "gift_aid_donations",
        "marriage_allowance",
        "blind_persons_allowance",
        "child_benefit",
        "cash",
        "withdrawal_cap",
        "name",
    )
)
_NOTHING: Mapping[str, Any] = {}


def member(values: Mapping[str, Any], growth: YearlyRate = 0) -> Member:
    """A person from loaded values; ``growth`` is that of pensions which have none of their own."""
    pensions = tuple([_pension(one, growth) for one in values.get("pensions", ())])
    given: dict[str, Any] = {key: value for key, value in values.items() if key in _PLAIN}
    if "isa" in values:
        given["isa"] = Isa(**_those(values["isa"], _OF_THE_ISA))
    if "contributions" in values:
        given["contributions"] = tuple([Contribution(**one) for one in values["contributions"]])
    if "already_this_tax_year" in values:
        given["already"] = _already(values["already_this_tax_year"])
    if "circumstances" in values:
        given |= _those(values["circumstances"], _OF_THE_CIRCUMSTANCES)
    return Member(
        pension=_together(values, pensions),
        pensions=pensions,
        income=tuple([_income(one) for one in values.get("income", ())]),
        flexible_access_known="flexibly_accessed" in values,
        tax_free_received_before_6_april_2024=values.get("lump_sum_allowances", _NOTHING).get(_NOT_OF_THE_ALLOWANCES),
        **given,
    )


def _those(values: Mapping[str, Any], names: frozenset[str]) -> Mapping[str, Any]:
    """Of loaded values those with these names."""
    return values if values.keys() <= names else {key: value for key, value in values.items() if key in names}


def _pension(values: Mapping[str, Any], growth: YearlyRate) -> PensionHeld:
    of_the_pension = _those(values, _OF_THE_PENSION)
    return PensionHeld(**of_the_pension) if "growth" in values else PensionHeld(growth=growth, **of_the_pension)


def _together(values: Mapping[str, Any], pensions: tuple[PensionHeld, ...]) -> Pension:
    """All pensions of a person as one, with what is used of the allowances. Its protected age is that of the first pension with
    anything in it: where others differ, who puts them together has to refuse."""
    used = values.get("lump_sum_allowances", _NOTHING)
    if _NOT_OF_THE_ALLOWANCES in used:
        used = {key: value for key, value in used.items() if key != _NOT_OF_THE_ALLOWANCES}
    had = values.get("already_this_tax_year", _NOTHING).get("tax_free_withdrawals", 0)
    if had and "lump_sum_allowance_used" not in used:
        used = {**used, "lump_sum_allowance_used": had}
    uncrystallised = drawdown = 0
    protected_age: Years | None = None
    nothing_yet = True
    for one in pensions:
        uncrystallised += one.uncrystallised
        drawdown += one.drawdown
        if nothing_yet and one.held:
            protected_age, nothing_yet = one.protected_pension_age, False
    return Pension(
        uncrystallised,
        drawdown,
        protected_pension_age=protected_age,
        flexibly_accessed=values.get("flexibly_accessed", False),
        **used,
    )


def _already(values: Mapping[str, Any]) -> Already:
    given = {key: value for key, value in values.items() if key != "income"}
    return Already(income=tuple([Income(**one) for one in values.get("income", ())]), **given)


def _income(values: Mapping[str, Any]) -> DatedIncome:
    if values["kind"] == "state_pension" and "increases" not in values:
        return DatedIncome(increases=WITH_PRICES, **values)
    return DatedIncome(**values)


def spending(values: Mapping[str, Any]) -> tuple[Spending, ...]:
    """What a household spends, from its loaded values."""
    return tuple([Spending(**one) for one in values.get("spending", ())])

"""The request of POST /v1/warnings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from service.law.lump_sums import METHODS
from service.planning.check.check import PersonAsked, Planned, WarningsQuestion
from service.planning.warnings.circumstances import (
    Benefits,
    Contribution,
    Estate,
    Facts,
    Features,
    Inherited,
    Isas,
    Subscription,
)
from service.schemas.fields import Choice, IsoDate, Money, Rate, StrictBoolean, WholeNumber
from service.schemas.shared import (
    MOST_PEOPLE,
    ObjectList,
    PensionSchema,
    PersonSchema,
    StrictNested,
    StrictSchema,
    pension,
    person,
)

MOST_WITHDRAWALS = 50
MOST_CONTRIBUTIONS = 100
MOST_SUBSCRIPTIONS = 50


class WarningsPensionSchema(PensionSchema):
    """A pension, with what its scheme guarantees, charges and asks for."""

    safeguarded_benefits = Money()
    guaranteed_annuity_rate = StrictBoolean()
    protected_tax_free_share = Rate(least=0, largest=1)
    exit_charge = Money()
    employer_contributions = Money()
    scheme = Choice(("personal", "occupational"))
    small_pots_taken = WholeNumber(least=0, largest=50)
    transfer = Choice(("none", "planned", "amber_flag", "red_flag"))
    nomination = Choice(("none", "made"))
    nomination_reviewed_on = IsoDate()


class PlannedWithdrawalSchema(StrictSchema):
    """A withdrawal intended."""

    method = Choice(METHODS, required=True)
    amount = Money(required=True)
    day = IsoDate(data_key="date", required=True)


class ContributionSchema(StrictSchema):
    """A pension contribution, made or planned."""

    amount = Money(required=True)
    day = IsoDate(data_key="date", required=True)
    payer = Choice(("self", "employer", "third_party"))
    saving = Choice(("money_purchase", "defined_benefit"))


class SubscriptionSchema(StrictSchema):
    """A planned ISA subscription."""

    amount = Money(required=True)
    day = IsoDate(data_key="date", required=True)
    cash_isa = StrictBoolean()


class WarningsIsaSchema(StrictSchema):
    """A person's ISAs and what is to go into them."""

    value = Money()
    subscribed_this_year = Money()
    withdrawn_this_year = Money()
    flexible = StrictBoolean()
    subscriptions = ObjectList(SubscriptionSchema, most=MOST_SUBSCRIPTIONS)


class BenefitsSchema(StrictSchema):
    """Benefits and support received."""

    universal_credit = StrictBoolean()
    pension_credit = StrictBoolean()
    housing_benefit = StrictBoolean()
    council_tax_support = StrictBoolean()
    care_support = StrictBoolean()


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


class WarningsPersonSchema(PersonSchema):
    """A person, with what they hold, receive and intend."""

    pension = StrictNested(WarningsPensionSchema, required=True)
    withdrawals = ObjectList(PlannedWithdrawalSchema, most=MOST_WITHDRAWALS)
    isa = StrictNested(WarningsIsaSchema)
    cash = Money()
    deposit_firms = WholeNumber(least=1, largest=50)
    contributions = ObjectList(ContributionSchema, most=MOST_CONTRIBUTIONS)
    usual_contributions = Money()
    increase_planned = StrictBoolean()
    lump_sums_in_last_12_months = Money()
    carry_forward = Money()
    saves_in_other_schemes = StrictBoolean()
    tax_free_received_before_april_2024 = Money()
    benefits = StrictNested(BenefitsSchema)
    gifts_planned = Money()
    student_loans = StrictNested(StudentLoansSchema)
    children = WholeNumber(least=0, largest=30)
    tax_free_childcare = Money()
    self_assessment = StrictBoolean()
    ill_health = Choice(("none", "unable_to_work", "life_expectancy_under_a_year"))
    uk_resident = StrictBoolean()
    crown_employee_abroad = StrictBoolean()
    inherited_pension = StrictNested(InheritedPensionSchema)
    guidance_taken = StrictBoolean()
    regulated_adviser = StrictBoolean()
    unexpected_contact = StrictBoolean()


class EstateSchema(StrictSchema):
    """What would be left at death, the pensions apart."""

    value = Money(required=True)
    home_to_descendants = StrictBoolean()
    bands_of_late_spouse = StrictBoolean()
    all_to_spouse = StrictBoolean()


class WarningsSchema(StrictSchema):
    """The whole request."""

    date = IsoDate(required=True)
    people = ObjectList(WarningsPersonSchema, least=1, most=MOST_PEOPLE, required=True)
    estate = StrictNested(EstateSchema)


def question(values: Mapping[str, Any]) -> WarningsQuestion:
    """A WarningsQuestion from loaded values."""
    return WarningsQuestion(
        today=values["date"],
        people=tuple(_person(one) for one in values["people"]),
        estate=Estate(**values["estate"]) if "estate" in values else None,
    )


_STUDENT_LOANS = tuple(StudentLoansSchema().load_fields)
_OF_THE_PERSON = frozenset(PersonSchema().load_fields)
_OF_THE_SCHEME = frozenset(WarningsPensionSchema().load_fields) - frozenset(PensionSchema().load_fields)


def _person(values: Mapping[str, Any]) -> PersonAsked:
    own = {key: value for key, value in values.items() if key in _OF_THE_PERSON}
    scheme = {key: value for key, value in values["pension"].items() if key in _OF_THE_SCHEME}
    held = {key: value for key, value in values["pension"].items() if key not in _OF_THE_SCHEME}
    facts = {
        key: value
        for key, value in values.items()
        if key not in _OF_THE_PERSON and key not in ("pension", "withdrawals", "isa", "inherited_pension")
    }
    if "contributions" in facts:
        facts["contributions"] = tuple(Contribution(**one) for one in facts["contributions"])
    if "benefits" in facts:
        facts["benefits"] = Benefits(**facts["benefits"])
    if "student_loans" in facts:
        facts["student_loans"] = tuple(plan for plan in _STUDENT_LOANS if facts["student_loans"].get(plan))
    if "inherited_pension" in values:
        facts["inherited"] = Inherited(**values["inherited_pension"])
    return PersonAsked(
        person=person(own),
        pension=pension(held),
        facts=Facts(
            **facts,
            features=Features(**scheme),
            isas=_isas(values.get("isa", {})),
            child_benefit_given="child_benefit" in values,
        ),
        withdrawals=tuple(Planned(**one) for one in values.get("withdrawals", ())),
    )


def _isas(values: Mapping[str, Any]) -> Isas:
    given = dict(values)
    given["subscriptions"] = tuple(Subscription(**one) for one in given.get("subscriptions", ()))
    return Isas(**given)

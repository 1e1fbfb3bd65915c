"""Each request shape of the agreement is the one the service reads: names, what is required, bounds, words.

The agreement wins: where the two differ, one of them is wrong and a person decides which.
"""

from __future__ import annotations

import copy
import re
from decimal import Decimal
from typing import Any

import pytest
from flask.testing import FlaskClient
from marshmallow import RAISE, Schema
from marshmallow.fields import Field

from service.figures.loader import load_tax_years
from service.schemas.assumptions import (
    AssumptionsSchema,
    RemainingPensionTaxSchema,
    ScenarioSchema,
    ScenariosSchema,
)
from service.schemas.check.request import PlannedWithdrawalSchema, SubscriptionSchema, WarningsSchema
from service.schemas.fields import (
    LARGEST_MONEY,
    LARGEST_YEARLY_RATE,
    LEAST_YEARLY_RATE,
    Choice,
    Growth,
    Increases,
    IsoDate,
    LawName,
    Money,
    OrWord,
    PayeCode,
    Rate,
    RateList,
    StrictBoolean,
    TaxYear,
    Text,
    WholeNumber,
)
from service.schemas.household import (
    AlreadySchema,
    BenefitsSchema,
    CircumstancesSchema,
    ContributionSchema,
    EstateSchema,
    GiftSchema,
    HomeGivenUpSchema,
    HouseholdSchema,
    IncomeHadSchema,
    IncomeSchema,
    InheritedPensionSchema,
    IsaSchema,
    LumpSumAllowancesSchema,
    PensionSchema,
    PersonSchema,
    SpendingSchema,
    StudentLoansSchema,
)
from service.schemas.markets import (
    ComparedOptionSchema,
    CorrelationSchema,
    CoursesSchema,
    HistorySchema,
    MarketPathSchema,
    MarketsSchema,
    VolatilitySchema,
)
from service.schemas.quote.request import PayrollSchema, WithdrawalSchema, withdrawal_tax_schema
from service.schemas.schedule.request import AimSchema, ScheduleSchema, SearchSchema
from service.schemas.sensitivity import SensitivitySchema
from service.schemas.shared import ObjectList, StrictNested
from service.schemas.timing.request import (
    DeathSchema,
    GrowthRangeSchema,
    IncomePlanSchema,
    OptionSchema,
    TimingSchema,
)

from .agreement import DATE_PATTERN, Operation, branch_of, follow, object_shape, operations

TAX_YEARS = tuple(load_tax_years())
SCHEMAS: dict[str, Schema] = {
    "Household": HouseholdSchema(),
    "Person": PersonSchema(),
    "Income": IncomeSchema(),
    "AlreadyThisTaxYear": AlreadySchema(),
    "IncomeHad": IncomeHadSchema(),
    "Contribution": ContributionSchema(),
    "Pension": PensionSchema(),
    "LumpSumAllowances": LumpSumAllowancesSchema(),
    "Isa": IsaSchema(),
    "Circumstances": CircumstancesSchema(),
    "Benefits": BenefitsSchema(),
    "StudentLoans": StudentLoansSchema(),
    "InheritedPension": InheritedPensionSchema(),
    "Spending": SpendingSchema(),
    "Estate": EstateSchema(),
    "LifetimeGift": GiftSchema(),
    "HomeGivenUp": HomeGivenUpSchema(),
    "WithdrawalTaxRequest": withdrawal_tax_schema(TAX_YEARS),
    "Withdrawal": WithdrawalSchema(),
    "Payroll": PayrollSchema(),
    "AllowanceScheduleRequest": ScheduleSchema(),
    "Aim": AimSchema(),
    "SensitivityAsked": SensitivitySchema(),
    "Search": SearchSchema(),
    "Assumptions": AssumptionsSchema(),
    "RemainingPensionTax": RemainingPensionTaxSchema(),
    "Scenarios": ScenariosSchema(),
    "Scenario": ScenarioSchema(),
    "Markets": MarketsSchema(),
    "CoursesOfMarkets": CoursesSchema(),
    "Volatility": VolatilitySchema(),
    "Correlation": CorrelationSchema(),
    "MarketPath": MarketPathSchema(),
    "MarketHistory": HistorySchema(),
    "ComparedOption": ComparedOptionSchema(),
    "WarningsRequest": WarningsSchema(),
    "PlannedWithdrawal": PlannedWithdrawalSchema(),
    "IsaSubscription": SubscriptionSchema(),
    "LumpSumTimingRequest": TimingSchema(),
    "TimingOption": OptionSchema(),
    "IncomePlan": IncomePlanSchema(),
    "DeathAsked": DeathSchema(),
    "GrowthRange": GrowthRangeSchema(),
}
RATES_OF_MARKETS = ("MarketReturn", "MarketInterest", "MarketPrices")
COMPONENT_OF = {type(schema): name for name, schema in SCHEMAS.items()}


def constraints(field: Field[Any]) -> dict[str, Any]:
    """Return what the agreement must say of a field, as JSON Schema words."""
    match field:
        case Money():
            return {"type": "number", "minimum": 0, "maximum": LARGEST_MONEY, "multipleOf": 0.01}
        case Rate():
            return rates(field.least, field.largest)
        case Growth():
            return rates(LEAST_YEARLY_RATE, LARGEST_YEARLY_RATE, decimals=8)
        case Increases():
            words = {"type": "string", "enum": ["none", "prices"]}
            return {"oneOf": [words, rates(LEAST_YEARLY_RATE, LARGEST_YEARLY_RATE)]}
        case OrWord():
            return {"oneOf": [{"type": "string", "enum": [field.word]}, constraints(field.field)]}
        case WholeNumber():
            return {"type": "integer", "minimum": field.least, "maximum": field.largest}
        case StrictBoolean():
            return {"type": "boolean"}
        case IsoDate():
            return {"type": "string", "format": "date", "pattern": DATE_PATTERN}
        case Choice():
            if field.choices == TAX_YEARS:
                # Each year adds one: the list of the agreement, closed here, is open.
                return {"type": "string", "pattern": "^[0-9]{4}-[0-9]{2}$", "enum": sorted(TAX_YEARS)}
            return {"type": "string", "enum": sorted(field.choices)}
        case Text():
            pattern = f"^{field.pattern.pattern}$"
            return {"type": "string", "minLength": 1, "maxLength": field.longest, "pattern": pattern}
        case LawName():
            pattern = f"^{field.pattern.pattern}$"
            return {"type": "string", "maxLength": field.longest, "pattern": pattern, "enum": ["known"]}
        case PayeCode() | TaxYear():
            return {"type": "string", "pattern": f"^{field.pattern.pattern}$"}
        case RateList():
            rate = constraints(field.rate)
            [items] = [name for name in RATES_OF_MARKETS if agreed_constraints(name, named(name)) == rate]
            return {"type": "array", "minItems": 1, "maxItems": field.most, "items": items}
        case ObjectList():
            least = {"minItems": field.least} if field.least else {}
            items = COMPONENT_OF[type(field.inner.schema)]
            return {"type": "array", **least, "maxItems": field.most, "items": items}
        case StrictNested():
            return {"component": COMPONENT_OF[type(field.schema)]}
    raise AssertionError(f"no rule for {field!r}")


def rates(least: int | Decimal, largest: int | Decimal, *, decimals: int = 4) -> dict[str, Any]:
    """Return what the agreement must say of a rate: a fraction with so many decimals at most."""
    return {"type": "number", "minimum": float(least), "maximum": float(largest), "multipleOf": float(f"1e-{decimals}")}


CONSTRAINTS = (
    "type",
    "format",
    "minimum",
    "maximum",
    "multipleOf",
    "enum",
    "pattern",
    "maxItems",
    "minItems",
    "minLength",
    "maxLength",
)


def named(name: str) -> dict[str, str]:
    """Return a reference to a schema of the agreement."""
    return {"$ref": f"#/components/schemas/{name}"}


def agreed_constraints(name: str, stated: dict[str, Any]) -> dict[str, Any]:
    """Return what the agreement says of a property, in the same words."""
    schema = follow(stated)
    branches = [follow(branch) for branch in schema.get("oneOf", [schema])]
    if all("properties" in branch for branch in branches):
        return {"component": stated["$ref"].rsplit("/", 1)[-1]}
    if "oneOf" in schema:
        return {"oneOf": [agreed_constraints(name, branch) for branch in branches]}
    found = {word: schema[word] for word in CONSTRAINTS if word in schema}
    if "enum" in found:
        # The order of words means nothing, and branches may list them in another one.
        found["enum"] = sorted(found["enum"])
    if "items" in schema:
        found["items"] = schema["items"]["$ref"].rsplit("/", 1)[-1]
    return found


def named_fields(schema: Schema) -> dict[str, Field[Any]]:
    """Return the fields by the names that a request uses, which may differ from those inside the program."""
    return {field.data_key or key: field for key, field in schema.load_fields.items()}


@pytest.mark.parametrize("name", SCHEMAS)
def test_shape(name: str) -> None:
    agreed, schema = object_shape(name), SCHEMAS[name]
    fields = named_fields(schema)
    assert set(agreed["properties"]) == set(fields)
    assert agreed["closed"]
    assert schema.unknown == RAISE
    assert agreed["required"] == {key for key, field in fields.items() if field.required}
    assert [key for key, field in fields.items() if field.allow_none] == []


PROPERTIES = [(name, key) for name, schema in SCHEMAS.items() for key in named_fields(schema)]


@pytest.mark.parametrize(("name", "key"), PROPERTIES, ids=[f"{name}.{key}" for name, key in PROPERTIES])
def test_property(name: str, key: str) -> None:
    agreed = object_shape(name, follow_properties=False)["properties"][key]
    assert agreed_constraints(key, agreed) == constraints(named_fields(SCHEMAS[name])[key])


LEFT_OUT: dict[str, Any] = {"no": False, "yes": True, "none": 0, "nothing": 0}
"""What a description's words about a field that is left out stand for, where they are no value themselves."""


def default_of(stated: dict[str, Any]) -> Any:
    """Return the value that a description gives for a field that is left out; None where it gives none."""
    schema = follow(stated)
    found = re.search(
        r"Left out, (?:there are |it is )?(?:`([a-z_]+)`|(no|yes|none|nothing|[0-9.]+))\.", schema["description"]
    )
    if found is None:
        return None
    if schema.get("type") == "array":
        return []
    if "properties" in schema:
        return {}
    word, value = found.groups()
    return word or (LEFT_OUT[value] if value in LEFT_OUT else float(value))


def with_defaults(name: str, value: dict[str, Any]) -> dict[str, Any]:
    """Return an object with every stated default filled in, at every depth."""
    filled = copy.deepcopy(value)
    for key, stated in branch_of(name, value)["properties"].items():
        schema = follow(stated)
        if key not in filled and (default := default_of(stated)) is not None:
            filled[key] = default
        if isinstance(filled.get(key), dict):
            filled[key] = with_defaults(stated["$ref"].rsplit("/", 1)[-1], filled[key])
        elif isinstance(filled.get(key), list):
            items = schema["items"]["$ref"].rsplit("/", 1)[-1]
            filled[key] = [with_defaults(items, item) for item in filled[key]]
    return filled


REQUESTS = {
    "calculateWithdrawalTax": "WithdrawalTaxRequest",
    "planAllowanceSchedule": "AllowanceScheduleRequest",
    "findWarnings": "WarningsRequest",
    "compareLumpSumTiming": "LumpSumTimingRequest",
}
REQUEST_EXAMPLES = [
    (operation, name) for operation in operations() if operation.id in REQUESTS for name in operation.request_examples()
]


def test_every_operation_with_a_body_has_its_shapes_compared() -> None:
    with_body = {operation.id for operation in operations() if operation.takes_json}
    assert with_body == set(REQUESTS)


@pytest.mark.parametrize(
    ("operation", "name"), REQUEST_EXAMPLES, ids=[f"{operation.id} {name}" for operation, name in REQUEST_EXAMPLES]
)
def test_defaults_are_what_is_taken_when_a_field_is_left_out(
    client: FlaskClient, operation: Operation, name: str
) -> None:
    body = operation.request_examples()[name]
    filled = with_defaults(REQUESTS[operation.id], body)
    assert filled != body
    assert client.post(operation.path, json=filled).data == client.post(operation.path, json=body).data


# What an income rises by when nothing is said depends on its kind, which no default of a schema can tell.
@pytest.mark.parametrize(
    ("income", "increases"),
    [
        ({"kind": "state_pension", "share_of_full_rate": 0.5}, "prices"),
        ({"kind": "state_pension", "amount": 6000}, "prices"),
        ({"kind": "annuity", "amount": 6000}, "none"),
    ],
)
def test_increases_left_out(client: FlaskClient, income: dict[str, Any], increases: str) -> None:
    [plan] = [operation for operation in operations() if operation.id == "planAllowanceSchedule"]

    def answer(**more: str) -> bytes:
        body = copy.deepcopy(plan.request_examples()["fern_fills_her_personal_allowance"])
        body["household"]["people"][0]["income"] = [{**income, "from": "2026-04-06", **more}]
        return client.post(plan.path, json=body).data

    other = {"prices": "none", "none": "prices"}[increases]
    assert answer() == answer(increases=increases) != answer(increases=other)

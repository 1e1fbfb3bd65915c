"""Each request shape of the agreement is the one the service reads: names, what is required, bounds, words.

The agreement wins: where the two differ, one of them is wrong and a person decides which.
"""

from __future__ import annotations

import copy
from typing import Any

import pytest
from flask.testing import FlaskClient
from marshmallow import RAISE, Schema
from marshmallow.fields import Field

from service.figures.loader import load_tax_years
from service.schemas.fields import (
    LARGEST_MONEY,
    Choice,
    IsoDate,
    Matching,
    Money,
    Percentage,
    StrictBoolean,
    WholeNumber,
)
from service.schemas.shared import IncomeSchema, ObjectList, PensionSchema, PersonSchema, StrictNested
from service.schemas.withdrawal import PayrollSchema, WithdrawalSchema, withdrawal_tax_schema

from .agreement import DATE_PATTERN, follow, object_shape, operations

URL = "/v1/withdrawal-tax"

SCHEMAS: dict[str, Schema] = {
    "WithdrawalTaxRequest": withdrawal_tax_schema(tuple(load_tax_years())),
    "Person": PersonSchema(),
    "Income": IncomeSchema(),
    "Pension": PensionSchema(),
    "Withdrawal": WithdrawalSchema(),
    "Payroll": PayrollSchema(),
}
COMPONENT_OF = {type(schema): name for name, schema in SCHEMAS.items()}


def constraints(field: Field[Any]) -> dict[str, Any]:
    """Return what the agreement must say of a field, as JSON Schema words."""
    match field:
        case Money():
            return {"type": "number", "minimum": 0, "maximum": LARGEST_MONEY, "multipleOf": 0.01}
        case Percentage():
            return {"type": "number", "minimum": 0, "maximum": field.largest, "multipleOf": 0.01}
        case WholeNumber():
            return {"type": "integer", "minimum": field.least, "maximum": field.largest}
        case StrictBoolean():
            return {"type": "boolean"}
        case IsoDate():
            return {"type": "string", "format": "date", "pattern": DATE_PATTERN}
        case Choice():
            return {"type": "string", "enum": list(field.choices)}
        case Matching():
            return {"type": "string", "pattern": f"^{field.pattern.pattern}$"}
        case ObjectList():
            return {"type": "array", "maxItems": field.most, "items": COMPONENT_OF[type(field.inner.schema)]}
        case StrictNested():
            return {"component": COMPONENT_OF[type(field.schema)]}
    raise AssertionError(f"no rule for {field!r}")


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
)


def agreed_constraints(name: str, stated: dict[str, Any]) -> dict[str, Any]:
    """Return what the agreement says of a property, in the same words."""
    schema = follow(stated)
    found = {word: schema[word] for word in CONSTRAINTS if word in schema}
    if "items" in schema:
        found["items"] = schema["items"]["$ref"].rsplit("/", 1)[-1]
    if name in ("person", "pension", "withdrawal", "payroll"):
        return {"component": stated["$ref"].rsplit("/", 1)[-1]}
    if name == "tax_year":
        # The list of years says all; the pattern beside it is for people.
        del found["pattern"]
    return found


@pytest.mark.parametrize("name", SCHEMAS)
def test_shape(name: str) -> None:
    agreed, schema = object_shape(name), SCHEMAS[name]
    fields = schema.load_fields
    assert set(agreed["properties"]) == set(fields)
    assert agreed["closed"]
    assert schema.unknown == RAISE
    assert agreed["required"] == {key for key, field in fields.items() if field.required}
    assert [key for key, field in fields.items() if field.allow_none or field.data_key not in (None, key)] == []


PROPERTIES = [(name, key) for name, schema in SCHEMAS.items() for key in schema.load_fields]


@pytest.mark.parametrize(("name", "key"), PROPERTIES, ids=[f"{name}.{key}" for name, key in PROPERTIES])
def test_property(name: str, key: str) -> None:
    agreed = object_shape(name, follow_properties=False)["properties"][key]
    assert agreed_constraints(key, agreed) == constraints(SCHEMAS[name].load_fields[key])


def with_defaults(name: str, value: dict[str, Any]) -> dict[str, Any]:
    """Return an object with every stated default filled in, at every depth."""
    filled = copy.deepcopy(value)
    for key, stated in object_shape(name, follow_properties=False)["properties"].items():
        schema = follow(stated)
        if key in filled and "$ref" in stated and isinstance(filled[key], dict):
            filled[key] = with_defaults(stated["$ref"].rsplit("/", 1)[-1], filled[key])
        elif key not in filled and "default" in schema:
            filled[key] = schema["default"]
    return filled


REQUEST_EXAMPLES = {
    name: body
    for operation in operations()
    if operation.id == "calculateWithdrawalTax"
    for name, body in operation.request_examples().items()
}


@pytest.mark.parametrize("name", REQUEST_EXAMPLES)
def test_defaults_are_what_is_taken_when_a_field_is_left_out(client: FlaskClient, name: str) -> None:
    body = REQUEST_EXAMPLES[name]
    filled = with_defaults("WithdrawalTaxRequest", body)
    assert filled != body
    assert client.post(URL, json=filled).data == client.post(URL, json=body).data

"""The figures of warnings: each is declared with its unit, and none is declared that no warning has."""

from __future__ import annotations

from collections.abc import Iterator
from random import Random
from typing import Any, get_args

import pytest
from flask.testing import FlaskClient

from service.planning.warnings.registry import CATALOGUE
from service.planning.warnings.topic import figure_key
from service.planning.warnings.warning import ClientWarning, Unit
from service.schemas.warnings import warning as document_of
from tests.households import BOOK
from tests.invented_requests import withdrawal
from tests.planning.warning_requests import found_in, request, w
from tests.planning.warnings.test_words import every_warning

BARE = {
    "above", "allowance", "amount", "band", "bands", "charge", "charges", "cost", "excess", "held", "income", "increase",
    "left", "limit", "part", "permitted", "planned", "rate", "received", "room", "share", "tax", "used", "withdrawn",
}  # fmt: skip
"""Words that alone do not say what a number is."""


def wrongly_declared(warning: ClientWarning) -> list[str]:
    """The figures of a warning that its entry does not declare, or declares with a unit of another kind."""
    declared = CATALOGUE[warning.code].figures
    kinds = {"money": {"pounds"}, "rates": {"fraction"}, "counts": set(get_args(Unit)) - {"pounds", "fraction"}}
    return [name for kind, units in kinds.items() for name in getattr(warning, kind) if declared.get(name) not in units]


def names_of(warning: ClientWarning) -> set[str]:
    return {*warning.money, *warning.rates, *warning.counts}


def test_no_rule_gives_a_figure_that_is_not_declared() -> None:
    assert [(warning.code, name) for warning in every_warning() for name in wrongly_declared(warning)] == []


def test_every_figure_that_is_declared_is_given_by_some_case() -> None:
    given: dict[str, set[str]] = {code: set() for code in CATALOGUE}
    for warning in every_warning():
        given[warning.code] |= names_of(warning)
    assert {code: set(entry.figures) for code, entry in CATALOGUE.items()} == given


def test_a_figure_that_is_not_declared_is_seen() -> None:
    (found,) = [one for one in found_in(request(w("small_pot", 10_001))) if one.code == "small_pot_above_limit"]
    assert wrongly_declared(found) == []
    assert wrongly_declared(found._replace(money={**found.money, "excess": 1})) == ["excess"]
    assert wrongly_declared(found._replace(money={}, counts={"small_pot_limit": 1})) == ["small_pot_limit"]


@pytest.mark.parametrize("code", CATALOGUE)
def test_a_name_says_what_the_number_is(code: str) -> None:
    assert not BARE & set(CATALOGUE[code].figures)


def test_a_name_has_one_unit() -> None:
    """In all warnings, and the kind of the figure that the tax years have under the same name."""
    units: dict[str, set[str]] = {}
    for entry in CATALOGUE.values():
        for name, unit in entry.figures.items():
            units.setdefault(name, set()).add(unit)
    assert {name: unit for name, unit in units.items() if len(unit) > 1} == {}
    kinds = {figure_key(name): f.kind for rules in BOOK.years.values() for name, f in rules.figures.figures.items()}
    of_kind = {"money": {"pounds"}, "rate": {"fraction"}, "count": {"days", "years", "age", "month", "count"}}
    told = {name: (kinds[name], unit) for name, unit in units.items() if name in kinds}
    assert told
    assert [name for name, (kind, unit) in told.items() if not unit <= of_kind[kind]] == []


def test_the_list_of_codes_tells_the_units(client: FlaskClient) -> None:
    listed = {entry["code"]: entry for entry in client.get("/v1/warning-codes").get_json()["warning_codes"]}
    assert {
        code: {figure["name"]: figure["unit"] for figure in entry["figures"]} for code, entry in listed.items()
    } == {code: dict(entry.figures) for code, entry in CATALOGUE.items()}


def numbers_in(answer: Any, name: str = "") -> Iterator[tuple[str, float]]:
    """The numbers of an answer with their keys, those of warnings left out."""
    if isinstance(answer, dict):
        for key, value in answer.items():
            if key != "warnings":
                yield from numbers_in(value, key)
    elif isinstance(answer, list):
        for value in answer:
            yield from numbers_in(value)
    elif isinstance(answer, int | float) and not isinstance(answer, bool):
        yield name, answer


def test_a_name_that_the_answer_has_too_means_the_same_there(client: FlaskClient) -> None:
    random, names = Random(5), set()
    for _ in range(500):
        answer = client.post("/v1/withdrawal-tax", json=withdrawal(random)).get_json()
        for warning in answer.get("warnings", ()):
            for name, number in numbers_in(answer):
                if name in warning["figures"]:
                    names.add(name)
                    assert warning["figures"][name] == number, (warning["code"], name)
    assert names >= {"over_deducted", "under_deducted", "tax_deducted", "refund"}


# Whom a warning is about


def test_a_warning_says_whom_it_is_about() -> None:
    """Where it points at a person's facts it is about that person, and where it points into a pension about that pension.
    Benefits are received by the household, though they are given for a person."""
    for warning in every_warning():
        if warning.path[:1] == ("people",) and len(warning.path) > 1 and warning.person is None:
            assert warning.path[2:] == ("benefits",), warning
        elif warning.path[:1] == ("people",) and len(warning.path) > 1:
            assert warning.person == warning.path[1], warning
        if "pension" in warning.path[:3]:
            assert warning.person is not None, warning
            assert warning.pension == (0 if CATALOGUE[warning.code].of_one_pension else None), warning
    assert {warning.person for warning in every_warning()} == {None, 0, 1}
    assert {warning.pension for warning in every_warning()} == {None, 0}


def test_a_text_that_names_a_person_is_about_that_person() -> None:
    for warning in every_warning():
        named = [
            i for i, words in enumerate(("the first person", "the second person")) if words in warning.detail.lower()
        ]
        if len(named) == 1:
            assert warning.person == named[0], warning


def test_what_is_the_households_has_no_person() -> None:
    body = request(
        w("drawdown", 50_000, "2027-09-01"),
        date="2027-06-01",
        estate={"home": 900_000},
        benefits={"pension_credit": True},
    )
    assert {warning.code for warning in found_in(body) if warning.person is None} == {
        "pension_counts_in_the_estate",
        "pension_credit_reduced",
    }


# As JSON


def test_what_does_not_apply_is_left_out() -> None:
    found = {one["code"]: one for one in map(document_of, found_in(request(w("ufpls", 40_000), w("drawdown", 60_000))))}
    costs, reach = found["higher_rate_entered"], found["money_purchase_annual_allowance_triggered"]
    assert costs["amount"] == costs["figures"]["extra_income_tax"] > 0
    assert set(costs) == {
        "code", "effect", "title", "detail", "amount", "figures", "person", "pointer", "sources", "standing", "tax_year",
    }  # fmt: skip
    assert set(reach) == set(costs) - {"amount"}
    assert set(found["payroll_takes_more_than_is_due"]) == set(reach) | {"pension"}


def test_what_is_not_certain_is_told_apart_from_the_text() -> None:
    told = [warning for warning in every_warning() if warning.caveats]
    assert {document_of(warning)["caveats"] == warning.caveats for warning in told} == {True}
    assert [warning.code for warning in told for caveat in warning.caveats if caveat in warning.detail] == []

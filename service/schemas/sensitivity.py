"""How sure an answer is: the same question again, with one assumption at a time a step up and a step down.

The cases are made of the request's own values, so they mean what a request with these values means, whatever the model does with
them. Of a case only what it comes to is told: scenarios are left out, and a search has little work.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from marshmallow import ValidationError

from service.planning.cases import Case, Cases, Change
from service.planning.household import Assumptions
from service.schemas.fields import Rate, WholeNumber
from service.schemas.shared import StrictSchema
from service.schemas.together import Said
from service.schemas.units import fraction

SENSITIVITY = "sensitivity"
MOST_YEARS_ON = 20
_MOST_YEARS_DRAWN = 60
_GROWTH, _PRICES, _LIFE = "growth", "price_inflation", "length_of_life"
_FLAT, _DRAWN = "tax_rate_on_remaining_pension", "drawn_over_years"
_STEPS: Mapping[str, int] = {_GROWTH: 100, _PRICES: 100, _FLAT: 500, _DRAWN: 5, _LIFE: 5}
"""How far each goes where the request does not say: basis points, and years."""
_MOST_STEP = Decimal("0.05")
_WHOLE = 10_000


class SensitivitySchema(StrictSchema):
    """How far each assumption goes up and down."""

    growth = Rate(least=0, largest=_MOST_STEP, example=0.01)
    price_inflation = Rate(least=0, largest=_MOST_STEP, example=0.01)
    tax_rate_on_remaining_pension = Rate(least=0, largest=Decimal("0.5"), example=0.05)
    drawn_over_years = WholeNumber(least=1, largest=40)
    length_of_life = WholeNumber(least=1, largest=MOST_YEARS_ON)


def cases_of(values: Mapping[str, Any], build: Callable[[Mapping[str, Any]], Any]) -> Cases:
    """The cases of a request, in order. ValidationError for a step of an assumption that the request does not make."""
    steps = dict(values[SENSITIVITY])
    assumed = values.get("assumptions", {})
    flat = _flat_rate(assumed)
    other = _DRAWN if flat is not None else _FLAT
    if other in steps:
        raise ValidationError({SENSITIVITY: {other: [Said("only-with", _WRONG_BASIS[other])]}})
    plain = _plain(values)
    return Cases(
        build(plain),
        tuple(
            Case(what, change, by, build(changed))
            for what in _STEPS
            if what != other
            for change, by, changed in _both(what, steps.get(what, _STEPS[what]), plain, flat)
        ),
    )


_WRONG_BASIS = {
    _DRAWN: "What is left in the pension bears a flat rate here. Give `tax_rate_on_remaining_pension` instead.",
    _FLAT: "What is left in the pension is taxed as if drawn evenly here. Give `drawn_over_years` instead.",
}


def _both(
    what: str, step: int, values: Mapping[str, Any], flat: int | None
) -> Iterator[tuple[Change, int, Mapping[str, Any]]]:
    ways: tuple[tuple[Change, int], ...] = (("up", step), ("down", -step))
    for change, by in ways:
        if what == _GROWTH:
            yield change, step, _grown(values, by)
        elif what == _PRICES:
            yield change, step, _assuming(values, price_inflation=values["assumptions"].get("price_inflation", 0) + by)
        elif what == _FLAT:
            rate = min(_WHOLE, max(0, (flat or 0) + by))
            yield change, abs(rate - (flat or 0)), _taxed(values, {"rate": rate})
        elif what == _DRAWN:
            now = _drawn_over(values["assumptions"])
            years = min(_MOST_YEARS_DRAWN, max(1, now + by))
            yield change, abs(years - now), _taxed(values, {"drawn_over_years": years})
        else:
            yield change, step, _living(values, by)


def _plain(values: Mapping[str, Any]) -> Mapping[str, Any]:
    """The values of a question without what makes it more than one plan, and with little work for a search."""
    left_out = (SENSITIVITY, "deaths", "break_even_growth", "markets")
    assumed = {name: value for name, value in values.get("assumptions", {}).items() if name != "scenarios"}
    return {name: value for name, value in values.items() if name not in left_out} | {"assumptions": assumed}


def _assuming(values: Mapping[str, Any], **changed: Any) -> Mapping[str, Any]:
    return {**values, "assumptions": {**values["assumptions"], **changed}}


def _grown(values: Mapping[str, Any], by: int) -> Mapping[str, Any]:
    """Pensions and ISAs grow by more: also pensions with a growth of their own."""
    assumed = values["assumptions"]
    household = values["household"]
    people = [
        {
            **person,
            "pensions": [
                {**pension, "growth": _plus(pension["growth"], by)} if "growth" in pension else pension
                for pension in person["pensions"]
            ],
        }
        if "pensions" in person
        else person
        for person in household["people"]
    ]
    grown = {name: _plus(assumed.get(name, 0), by) for name in ("pension_growth", "isa_growth")}
    return {**_assuming(values, **grown), "household": {**household, "people": people}}


def _plus(rate: int | Fraction, by: int) -> int | Fraction:
    return rate + by


def _flat_rate(assumed: Mapping[str, Any]) -> int | None:
    """The flat rate on what is left in pensions; None where it is taxed as if drawn evenly."""
    rate: int | None = assumed.get("tax_on_remaining_pension", {}).get("rate", assumed.get(_FLAT))
    return rate


def _drawn_over(assumed: Mapping[str, Any]) -> int:
    years: int = assumed.get("tax_on_remaining_pension", {}).get(_DRAWN, Assumptions().remaining_pension_drawn_over)
    return years


def _taxed(values: Mapping[str, Any], how: Mapping[str, int]) -> Mapping[str, Any]:
    assumed = {name: value for name, value in values["assumptions"].items() if name != _FLAT}
    return {**values, "assumptions": {**assumed, "tax_on_remaining_pension": dict(how)}}


def _living(values: Mapping[str, Any], years: int) -> Mapping[str, Any]:
    """The plan ends so many years later, or the comparison at such an age."""
    if "to_age" in values:
        return {**values, "to_age": values["to_age"] + years}
    return {**values, "end_date": _years_on(values["end_date"], years)}


def _years_on(day: date, years: int) -> date:
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # 29 February
        return day.replace(year=day.year + years, day=28)


def case_answer(case: Case) -> dict[str, Any]:
    """Which assumption is changed, which way and how far."""
    by = case.by if case.what in _IN_YEARS else fraction(case.by)
    return {"assumption": case.what, "change": case.change, "by": by}


_IN_YEARS = (_DRAWN, _LIFE)

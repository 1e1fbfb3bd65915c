"""The winter fuel payment: the qualifying week against published ones, and who has which amount."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from service.figures.tables import load_state_pension_ages
from service.law.ages import birthday
from service.law.state_pension import reached_on
from service.law.winter_fuel import payment_named, qualifies, qualifying_week_ends

AGES = load_state_pension_ages()


@pytest.mark.parametrize(
    # GOV.UK, Winter Fuel Payment, for 2025 to 2026: the week of 15 to 21 September 2025. The others by the calendar.
    ("year", "ends"),
    [
        (2025, date(2025, 9, 21)),
        (2026, date(2026, 9, 27)),
        (2027, date(2027, 9, 26)),
        (2028, date(2028, 9, 24)),
        (2029, date(2029, 9, 23)),
        (2030, date(2030, 9, 22)),
    ],
)
def test_the_qualifying_week(year: int, ends: date) -> None:
    assert qualifying_week_ends(year) == ends


@pytest.mark.parametrize("year", range(2025, 2060))
def test_it_begins_on_the_third_monday(year: int) -> None:
    """SI 2024/869 reg.1(4)."""
    begins = qualifying_week_ends(year) - timedelta(days=6)
    assert begins.weekday() == 0
    mondays = [day for day in range(1, begins.day + 1) if date(year, 9, day).weekday() == 0]
    assert (begins.month, len(mondays)) == (9, 3)


@pytest.mark.parametrize(
    # The last day of birth that qualifies: GOV.UK for 2025 to 2026, 21 September 1959 and, for 80, 21 September 1945. The
    # others are counted by hand from the table of State Pension ages.
    ("year", "born", "born_80"),
    [
        (2025, date(1959, 9, 21), date(1945, 9, 21)),
        (2026, date(1960, 6, 27), date(1946, 9, 27)),
        (2027, date(1960, 12, 26), date(1947, 9, 26)),
        (2028, date(1961, 9, 24), date(1948, 9, 24)),
    ],
)
def test_the_last_to_qualify(year: int, born: date, born_80: date) -> None:
    ends = qualifying_week_ends(year)
    assert qualifies(reached_on(born, AGES), ends)
    assert not qualifies(reached_on(born + timedelta(days=1), AGES), ends)
    assert birthday(born_80, 80) == ends


def test_those_without_a_day_reached_it_long_ago() -> None:
    assert qualifies(None, date(2025, 9, 21))


@pytest.mark.parametrize(
    # SI 2000/729 reg.2, the model of SI 2025/969: 200 and 300 alone; 100 and 100, 100 and 200, 150 and 150 together.
    ("older", "partner_older", "scotland", "name"),
    [
        (False, None, False, "payment"),
        (True, None, False, "payment_from_higher_age"),
        (False, False, False, "shared_payment"),
        (False, True, False, "shared_payment"),
        (True, False, False, "shared_payment_older_of_two"),
        (True, True, False, "shared_payment_from_higher_age"),
        (False, None, True, "scottish_payment"),
        (True, None, True, "scottish_payment_from_higher_age"),
        (False, False, True, "scottish_shared_payment"),
        (True, True, True, "scottish_shared_payment_from_higher_age"),
    ],
)
def test_the_amount(older: bool, partner_older: bool | None, scotland: bool, name: str) -> None:
    assert payment_named(older, partner_older, scotland) == f"winter_fuel.{name}"


@pytest.mark.parametrize("older", [False, True])
def test_a_scottish_couple_on_either_side_of_80_is_not_held(older: bool) -> None:
    assert payment_named(older, not older, True) is None

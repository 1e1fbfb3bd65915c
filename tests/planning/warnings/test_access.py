"""Too young, or old enough: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, found_in, request, w
from tests.planning.warnings.pairs import DRAWN, Case, Pair, either_side


def born(day: str) -> Case:
    return request(DRAWN, date_of_birth=day)


def several(*payments: tuple[str, float, str]) -> Case:
    """Payments from 100,000 to someone of 53, who is 57 on 1 May 2030."""
    held = {"uncrystallised": 100_000, "drawdown": 0}
    return request(*(w(*payment) for payment in payments), date_of_birth="1973-05-01", pension=held)


CASES: dict[str, list[Pair]] = {
    # Finance Act 2004 s.279: 55; Finance Act 2022 s.10: 57 from 6 April 2028.
    "below_minimum_pension_age": [
        (born("1971-09-02"), born("1971-09-01")),
        (
            request(w("drawdown", 1_000, "2020-09-01"), date="2020-06-01", date_of_birth="1965-09-02"),
            request(w("drawdown", 1_000, "2020-09-01"), date="2020-06-01", date_of_birth="1965-09-01"),
        ),
        # Caught between: 56 on 5 April 2028, and 56 still on 6 April, when it is 57.
        (
            request(w("ufpls", 1_000, "2028-04-06"), date_of_birth="1972-01-01"),
            request(w("ufpls", 1_000, "2028-04-05"), date_of_birth="1972-01-01"),
        ),
        (
            request(w("pcls", 1_000, "2028-09-01"), date_of_birth="1971-09-02"),
            request(w("pcls", 1_000, "2028-09-01"), date_of_birth="1971-09-01"),
        ),
        # Drawdown may have begun under the lower age by whoever reached it on 5 April 2028, and by nobody younger.
        (
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1973-04-06"),
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1973-04-05"),
        ),
        # Finance Act 2004 s.165, pension rule 1: the ill-health condition stands in the place of the age.
        (born("1971-09-02"), request(DRAWN, date_of_birth="1971-09-02", ill_health="unable_to_work")),
        (born("1971-09-02"), request(DRAWN, date_of_birth="1971-09-02", ill_health="life_expectancy_under_a_year")),
        (born("1976-09-01"), request(DRAWN, date_of_birth="1976-09-01", pension={"protected_pension_age": 50})),
    ],
    "access_closes_again": [
        # 57 on 7 April 2028, and on 6 April 2028.
        (born("1971-04-07"), born("1971-04-06")),
        (born("1971-04-07"), request(DRAWN, date_of_birth="1971-04-07", pension={"protected_pension_age": 55})),
        # What is in drawdown counts as well: of 1,000 all of it is drawn, or all but a penny.
        (
            request(DRAWN, date_of_birth="1971-04-07", pension={"uncrystallised": 0, "drawdown": 1_000.01}),
            request(DRAWN, date_of_birth="1971-04-07", pension={"uncrystallised": 0, "drawdown": 1_000}),
        ),
        (
            request(w("drawdown", 1_000, "2028-04-05"), date_of_birth="1971-04-07"),
            request(w("drawdown", 1_000, "2028-04-07"), date_of_birth="1971-04-07"),
        ),
    ],
    "protected_pension_age_relied_on": [
        # 54 the day before, and 55; 49 is below the protected age as well.
        (
            request(DRAWN, date_of_birth="1971-09-02", pension={"protected_pension_age": 50}),
            request(DRAWN, date_of_birth="1971-09-01", pension={"protected_pension_age": 50}),
        ),
        (
            request(DRAWN, date_of_birth="1976-09-01", pension={"protected_pension_age": 50}),
            request(DRAWN, date_of_birth="1976-09-02", pension={"protected_pension_age": 50}),
        ),
        # 56 on a day on which the age is 57.
        (
            request(
                w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-02", pension={"protected_pension_age": 55}
            ),
            request(
                w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-01", pension={"protected_pension_age": 55}
            ),
        ),
        (
            request(
                w("drawdown", 1_000, "2028-04-06"), date_of_birth="1972-01-01", pension={"protected_pension_age": 55}
            ),
            request(
                w("drawdown", 1_000, "2028-04-05"), date_of_birth="1972-01-01", pension={"protected_pension_age": 55}
            ),
        ),
        (
            request(DRAWN, date_of_birth="1976-09-01", pension={"protected_pension_age": 50}),
            request(w("drawdown", 0), date_of_birth="1976-09-01", pension={"protected_pension_age": 50}),
        ),
    ],
    # Finance Act 2004 s.165 against what HMRC allowed in 2010 (a professional journal of 4 January 2010): unsettled for 2028.
    "drawdown_under_new_minimum_pension_age": [
        (
            request(w("drawdown", 1_000, "2028-04-06"), date_of_birth="1973-04-05", flexibly_accessed=True),
            request(w("drawdown", 1_000, "2028-04-05"), date_of_birth="1973-04-05", flexibly_accessed=True),
        ),
        (
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1973-04-05"),
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1973-04-06"),
        ),
        # 56 on the day, and 57.
        (
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-02"),
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-01"),
        ),
        (
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-02"),
            request(w("ufpls", 1_000, "2028-09-01"), date_of_birth="1971-09-02"),
        ),
        (
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-02"),
            request(
                w("drawdown", 1_000, "2028-09-01"), date_of_birth="1971-09-02", pension={"protected_pension_age": 55}
            ),
        ),
    ],
    # Finance Act 2004 Sch.36 paras 21-23ZB. Under 57, which is the age from 6 April 2028.
    "protected_pension_age_lost": [
        (
            request(w("pcls", 1_000), date_of_birth="1974-01-01", pension={"protected_pension_age": 50, "drawdown": 0}),
            request(
                w("pcls", 50_000), date_of_birth="1974-01-01", pension={"protected_pension_age": 50, "drawdown": 0}
            ),
        ),
        (
            request(pension={"protected_pension_age": 55, "transfer_planned": True}, date_of_birth="1970-01-01"),
            request(pension={"protected_pension_age": 55}, date_of_birth="1970-01-01"),
        ),
        (
            request(pension={"protected_pension_age": 56, "transfer_planned": True}, date_of_birth="1970-01-01"),
            request(pension={"protected_pension_age": 57, "transfer_planned": True}, date_of_birth="1970-01-01"),
        ),
        # 57 on 6 April 2026, and the day after.
        (
            request(pension={"protected_pension_age": 55, "transfer_planned": True}, date_of_birth="1969-04-07"),
            request(pension={"protected_pension_age": 55, "transfer_planned": True}, date_of_birth="1969-04-06"),
        ),
    ],
    "unauthorised_payment_charges": [
        (born("1971-09-02"), born("1971-09-01")),
        (born("1971-09-02"), request(DRAWN, date_of_birth="1971-09-02", ill_health="unable_to_work")),
        (
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1973-04-06"),
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1973-04-05"),
        ),
        (several(("ufpls", 20_000, "2026-07-01")), several(("ufpls", 20_000, "2030-05-01"))),
    ],
    "ill_health_route": [
        (born("1971-09-02"), born("1971-09-01")),
        (born("1971-09-02"), request(DRAWN, date_of_birth="1971-09-02", ill_health="none")),
        # Somebody old enough may have a serious ill-health lump sum of what is uncrystallised.
        (
            request(DRAWN, ill_health="life_expectancy_under_a_year", pension={"uncrystallised": 0.01}),
            request(DRAWN, ill_health="life_expectancy_under_a_year", pension={"uncrystallised": 0}),
        ),
        (
            request(ill_health="life_expectancy_under_a_year"),
            request(ill_health="unable_to_work"),
        ),
        (
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1973-04-05", ill_health="unable_to_work"),
            request(w("drawdown", 1_000, "2028-09-01"), date_of_birth="1973-04-05"),
        ),
    ],
    # Taxation of Pensions Act 2014: from 6 April 2015. 55 on 5 April 2015, and a day later.
    "capped_drawdown": [
        (
            request(DRAWN, date_of_birth="1960-04-05", flexibly_accessed=None),
            request(DRAWN, date_of_birth="1960-04-06", flexibly_accessed=None),
        ),
        (
            request(DRAWN, date_of_birth="1960-04-05", flexibly_accessed=None),
            request(DRAWN, date_of_birth="1960-04-05", flexibly_accessed=False),
        ),
        (
            request(DRAWN, date_of_birth="1960-04-05", flexibly_accessed=None),
            request(w("ufpls", 1_000), date_of_birth="1960-04-05", flexibly_accessed=None),
        ),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


DYING = {"ill_health": "life_expectancy_under_a_year"}


@pytest.mark.parametrize("ill_health", ["unable_to_work", "life_expectancy_under_a_year"])
def test_an_ill_client_is_told_what_is_open_and_of_no_charge(ill_health: str) -> None:
    """Finance Act 2004 s.165 rule 1, Sch.28 para 1, Sch.29 para 4: one check, and nothing refused or charged for the age."""
    found = by_code(
        request(w("ufpls", 100_000), date_of_birth="1976-01-01", ill_health=ill_health, pension={"drawdown": 0})
    )
    assert [code for code, one in found.items() if one.effect == "not_permitted"] == []
    assert "unauthorised_payment_charges" not in found
    told = found["ill_health_route"]
    assert told.effect == "check"
    assert not {"unauthorised", "wait", "Wait"} & set(told.detail.replace(".", " ").split())


def test_what_a_serious_ill_health_lump_sum_is_taxed_at() -> None:
    """ITEPA 2003 s.637C: none under 75 up to the allowance left, and all of it is income from 75 on."""
    young = by_code(request(date_of_birth="1976-01-01", **DYING))["ill_health_route"]
    assert young.money == {"lump_sum_and_death_benefit_allowance_left": 107_310_000}
    assert "tax free up to the lump sum and death benefit allowance left, £1,073,100." in young.detail
    # 75 on the first day of the tax year, within it, and on the day after its last.
    first, within, after = (
        by_code(request(date_of_birth=day, **DYING))["ill_health_route"].detail
        for day in ("1951-04-06", "1951-04-07", "1952-04-06")
    )
    assert "From age 75 this lump sum is taxed as income." in first
    assert "tax free" not in first
    assert "From 7 April 2026 it is taxed as income." in within
    assert "taxed as income" not in after


def test_running_drawdown_is_neither_refused_nor_waved_through() -> None:
    body = request(
        w("drawdown", 10_000, "2028-09-01"),
        date_of_birth="1972-06-01",
        flexibly_accessed=True,
        pension={"uncrystallised": 0, "drawdown": 100_000},
    )
    found = by_code(body)
    told = found["drawdown_under_new_minimum_pension_age"]
    assert [one.code for one in found.values() if one.effect == "not_permitted"] == []
    assert "HMRC has not confirmed this for 2028" in told.detail
    assert "ill_health_route" not in found


def test_unauthorised_payments_of_twelve_months_add_up_for_the_surcharge() -> None:
    """20% of 100,000 and 25% of 80,000 in five months: 55% of 40,000 (FA 2004 s.210, PTM134400)."""
    two = several(("ufpls", 20_000, "2026-07-01"), ("ufpls", 20_000, "2026-11-01"))
    (told,) = [one for one in found_in(two) if one.code == "unauthorised_payment_charges"]
    assert told.money == {"unauthorised_payment": 4_000_000, "tax_charges": 2_200_000}
    assert told.cost == 2_200_000
    assert "£40,000 is unauthorised, in 2 payments in the 12 months from 1 July 2026" in told.detail
    # 20% of 100,000 and 10% of 80,000: 11,200 and 4,200.
    (told,) = [
        one
        for one in found_in(several(("ufpls", 20_000, "2026-07-01"), ("ufpls", 8_000, "2027-06-30")))
        if one.code == "unauthorised_payment_charges"
    ]
    assert told.money["tax_charges"] == 1_540_000
    # Twelve months and a day apart each is by itself.
    apart = found_in(several(("ufpls", 20_000, "2026-07-01"), ("ufpls", 8_000, "2027-07-01")))
    assert [one.cost for one in apart if one.code == "unauthorised_payment_charges"] == [800_000, 320_000]


def test_each_pension_has_its_own_unauthorised_payments() -> None:
    body = several(("ufpls", 20_000, "2026-07-01"), ("ufpls", 20_000, "2026-11-01"))
    body["household"]["people"][0]["pensions"].append({"uncrystallised": 100_000, "drawdown": 0})
    for pension, withdrawal in enumerate(body["withdrawals"]):
        withdrawal["pension"] = pension
    told = [one for one in found_in(body) if one.code == "unauthorised_payment_charges"]
    assert [(one.pension, one.cost) for one in told] == [(0, 800_000), (1, 800_000)]


@pytest.mark.parametrize("ill_health", ["life_expectancy_under_a_year", "unable_to_work"])
def test_who_is_ill_hears_first_what_is_open(ill_health: str) -> None:
    """FA 2004 s.165 rule 1, Sch.28 para 1 and Sch.29 para 4: before any tax band, and whatever else is told."""
    born = "1976-03-01"
    found = found_in(request(w("ufpls", 100_000), date_of_birth=born, ill_health=ill_health))
    assert found[0].code == "ill_health_route"
    assert {"higher_rate_entered"} <= {one.code for one in found[1:]}
    # Where nobody said that there is any, what is not permitted stands first.
    assert found_in(request(w("ufpls", 100_000), date_of_birth=born))[0].code == "below_minimum_pension_age"

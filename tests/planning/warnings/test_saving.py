"""Allowances for saving: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, found_in, income, request, saved, w
from tests.planning.warnings.pairs import DRAWN, LUMP, YEARS, Case, Pair, drawn, either_side

WORKS = {"income": income(employment=30_000)}
NOTHING_PAID_IN: Case = {"contributions": [], "saves_in_other_schemes": False}


def at_source(amount: float, day: str = "2026-12-01") -> Case:
    """A contribution with relief at source."""
    return saved(amount, day, relief="relief_at_source")


UFPLS = w("ufpls", 40_000)
TAX_FREE = w("pcls", 7_500.01)

CASES: dict[str, list[Pair]] = {
    "money_purchase_annual_allowance_triggered": [
        (request(w("ufpls", 1)), request(w("pcls", 1))),
        (request(w("ufpls", 1)), request(w("small_pot", 1))),
        (request(DRAWN), request(DRAWN, flexibly_accessed=True)),
        (request(w("pcls_and_drawdown", 4)), request()),
        (request(DRAWN, contributions=[]), request(DRAWN, contributions=[], saves_in_other_schemes=False)),
        # s.188(3)(a): no relief from 75 on, so that the allowance limits only what an employer pays.
        (
            request(DRAWN, date_of_birth="1951-09-02", contributions=[saved(1)]),
            request(DRAWN, date_of_birth="1951-09-01", contributions=[saved(1)]),
        ),
        # Pensions Act 1995 Sch.4 (from memory): State Pension age on 6 September 2026 or on 5 August 2026; retired from then on.
        (request(DRAWN, date_of_birth="1960-06-06"), request(DRAWN, date_of_birth="1960-06-05")),
        (request(DRAWN, date_of_birth="1960-06-05", **WORKS), request(DRAWN, date_of_birth="1960-06-05")),
        (request(DRAWN, date_of_birth="1960-06-05", contributions=[]), request(DRAWN, date_of_birth="1960-06-05")),
        (request(DRAWN), request(DRAWN, ill_health="life_expectancy_under_a_year")),
        # 55 on the day or a day later: an unauthorised payment is no flexible access (s.227G).
        (request(UFPLS, date_of_birth="1971-09-01"), request(UFPLS, date_of_birth="1971-09-02")),
        (
            request(DRAWN, date_of_birth="1951-09-01", contributions=[saved(1, payer="employer")]),
            request(DRAWN, date_of_birth="1951-09-01", contributions=[saved(1)]),
        ),
        # Pensions Act 2008 s.1(1)(c) (from memory): from 75 on no employer has to pay in.
        (
            request(DRAWN, date_of_birth="1951-09-02", **WORKS),
            request(DRAWN, date_of_birth="1951-09-01", **WORKS),
        ),
        (
            request(DRAWN, date_of_birth="1951-09-01", saves_in_other_schemes=True, **WORKS),
            request(DRAWN, date_of_birth="1951-09-01", saves_in_other_schemes=False, **WORKS),
        ),
    ],
    "later_contributions_limited": [
        (request(DRAWN, **NOTHING_PAID_IN), request(DRAWN, **(NOTHING_PAID_IN | {"contributions": [saved(1)]}))),
        (request(DRAWN, **NOTHING_PAID_IN), request(DRAWN, contributions=[])),
        (request(DRAWN, **NOTHING_PAID_IN), request(LUMP, **NOTHING_PAID_IN)),
        (
            request(DRAWN, date_of_birth="1951-09-02", **NOTHING_PAID_IN),
            request(DRAWN, date_of_birth="1951-09-01", **NOTHING_PAID_IN),
        ),
    ],
    # Finance Act 2004 s.190: the earnings, or 3,600; s.188(3)(a): nothing from 75 on.
    "contribution_relief_limited": [
        (request(contributions=[at_source(3_600.01)]), request(contributions=[at_source(3_600)])),
        (request(contributions=[at_source(30_000.01)], **WORKS), request(contributions=[at_source(30_000)], **WORKS)),
        (
            request(contributions=[at_source(3_601)], income=income(state_pension=9_000)),
            request(contributions=[at_source(3_601)], income=income(self_employment=9_000)),
        ),
        *(
            (
                request(contributions=[saved(100, relief=relief)], date_of_birth="1951-12-01", **WORKS),
                request(contributions=[saved(100, relief=relief)], date_of_birth="1951-12-02", **WORKS),
            )
            for relief in ("relief_at_source", "net_pay")
        ),
        (
            request(contributions=[at_source(1_000, "2026-09-01")], date_of_birth="1950-12-01"),
            request(contributions=[saved(1_000, payer="employer")], date_of_birth="1950-12-01"),
        ),
        # Some of it is paid before the birthday.
        (
            request(contributions=[at_source(1_000, "2026-09-01"), at_source(1)], date_of_birth="1951-12-01"),
            request(contributions=[at_source(1_000, "2026-09-01")], date_of_birth="1951-12-01"),
        ),
    ],
    "relief_method_not_given": [
        (
            request(contributions=[saved(5_000, saving="defined_benefit")], income=income(employment=50_271)),
            request(contributions=[saved(5_000, saving="defined_benefit")], income=income(employment=50_270)),
        ),
        *(
            (
                request(contributions=[saved(5_000, saving="defined_benefit")], income=income(employment=60_000)),
                request(
                    contributions=[saved(5_000, saving="defined_benefit", **known)], income=income(employment=60_000)
                ),
            )
            for known in ({"relief": "net_pay"}, {"relief": "none"}, {"payer": "employer"})
        ),
    ],
    "flexible_access_not_given": [
        (request(flexibly_accessed=None), request(flexibly_accessed=False)),
        (request(flexibly_accessed=None), request(flexibly_accessed=None, pension={"drawdown": 0})),
        (
            request(flexibly_accessed=None, contributions=[]),
            request(flexibly_accessed=None, **NOTHING_PAID_IN),
        ),
        # 74 and 75 at the end of the tax year.
        (
            request(flexibly_accessed=None, date_of_birth="1952-04-06"),
            request(flexibly_accessed=None, date_of_birth="1952-04-05"),
        ),
        (
            request(flexibly_accessed=None, pension={"drawdown": 0}, contributions=[saved(1)]),
            request(
                flexibly_accessed=None, pension={"drawdown": 0}, contributions=[saved(1, saving="defined_benefit")]
            ),
        ),
    ],
    # Finance Act 2004 s.227ZA: 4,000 to 2022-23, 10,000 since (PTM056540).
    "contributions_above_money_purchase_annual_allowance": [
        *(
            (
                drawn(year, 1_000, contributions=[saved(limit + 0.01, f"20{year[5:]}-01-01")]),
                drawn(year, 1_000, contributions=[saved(limit, f"20{year[5:]}-01-01")]),
            )
            for year, limit in zip(YEARS, (4_000, 10_000, 10_000, 10_000), strict=True)
        ),
        # Saving before the first flexible access is not counted.
        (
            request(DRAWN, contributions=[saved(20_000, "2026-09-02")]),
            request(DRAWN, contributions=[saved(20_000, "2026-09-01")]),
        ),
        (
            request(contributions=[saved(20_000, "2026-09-01")], flexibly_accessed=True),
            request(contributions=[saved(20_000, "2026-09-01")]),
        ),
        (
            request(DRAWN, contributions=[saved(20_000)]),
            request(DRAWN, contributions=[saved(20_000, saving="defined_benefit")]),
        ),
        # s.227ZA(1)(c): only where the alternative amount is the larger. 58,000 and 14,000 are 12,000 above by either test.
        (
            request(DRAWN, contributions=[saved(45_000, "2026-07-01"), saved(14_000)], carry_forward=0),
            request(DRAWN, contributions=[saved(58_000, "2026-07-01"), saved(14_000)], carry_forward=0),
        ),
        # What is paid in from 75 on is no relievable contribution (s.233(1), from memory); an employer's counts.
        (
            request(
                flexibly_accessed=True, date_of_birth="1950-01-01", contributions=[saved(20_000, payer="employer")]
            ),
            request(flexibly_accessed=True, date_of_birth="1950-01-01", contributions=[saved(20_000)]),
        ),
    ],
    # Finance Act 2004 s.228ZA, by the tests of an open tax and benefit model: 260,003 and 200,001 leave 59,999.
    "annual_allowance_tapered": [
        (
            request(w("drawdown", 60_003), income=income(employment=200_000), contributions=[saved(1_000)]),
            request(w("drawdown", 60_001), income=income(employment=200_000), contributions=[saved(1_000)]),
        ),
        # 2020-21: above 240,000 of adjusted income.
        (
            drawn("2020-21", 40_002, income=income(employment=200_000), contributions=[saved(1, "2021-01-01")]),
            drawn("2020-21", 40_001, income=income(employment=200_000), contributions=[saved(1, "2021-01-01")]),
        ),
        (
            request(w("drawdown", 60_003), income=income(employment=200_000), contributions=[saved(1_000)]),
            request(w("drawdown", 60_003), income=income(employment=200_000), contributions=[]),
        ),
        # What is paid in by net pay is out of the income and back in adjusted income (s.228ZA(4), from memory): 260,002.
        (
            request(
                w("drawdown", 50_002),
                income=income(employment=200_000),
                contributions=[saved(10_000, relief="net_pay")],
            ),
            request(w("drawdown", 50_002), income=income(employment=200_000), contributions=[saved(10_000)]),
        ),
    ],
    "annual_allowance_exceeded": [
        (
            request(contributions=[saved(60_000.01)], carry_forward=0),
            request(contributions=[saved(60_000)], carry_forward=0),
        ),
        (
            request(contributions=[saved(70_000.01)], carry_forward=10_000),
            request(contributions=[saved(70_000)], carry_forward=10_000),
        ),
        # 40,000 to 2022-23.
        (
            request(date="2020-06-01", contributions=[saved(40_000.01, "2020-07-01")], carry_forward=0),
            request(date="2020-06-01", contributions=[saved(40_000, "2020-07-01")], carry_forward=0),
        ),
        # The same model's: 210,000 of pay and 80,000 from the employer leave 45,000.
        (
            request(
                contributions=[saved(80_000, payer="employer")], carry_forward=34_999, income=income(employment=210_000)
            ),
            request(
                contributions=[saved(80_000, payer="employer")], carry_forward=35_000, income=income(employment=210_000)
            ),
        ),
    ],
    "carry_forward_decides": [
        (request(contributions=[saved(60_000.01)]), request(contributions=[saved(60_000)])),
        # It cannot cover what is above the money purchase annual allowance.
        (request(contributions=[saved(70_000)]), request(contributions=[saved(70_000)], flexibly_accessed=True)),
        (request(contributions=[saved(70_000)]), request(contributions=[saved(70_000)], carry_forward=10_000)),
    ],
    # s.227B: 60,000 less 10,000, and only where more than 10,000 is paid into money purchase saving.
    "defined_benefit_saving_above_alternative_allowance": [
        (
            request(DRAWN, contributions=[saved(10_001), saved(50_000.01, saving="defined_benefit")]),
            request(DRAWN, contributions=[saved(10_001), saved(50_000, saving="defined_benefit")]),
        ),
        (
            request(DRAWN, contributions=[saved(10_000.01), saved(55_000, saving="defined_benefit")]),
            request(DRAWN, contributions=[saved(10_000), saved(55_000, saving="defined_benefit")]),
        ),
        # s.227F(4): what is paid in up to the first access counts here.
        (
            request(DRAWN, contributions=[saved(50_000.01, "2026-09-01"), saved(10_001)]),
            request(DRAWN, contributions=[saved(50_000, "2026-09-01"), saved(10_001)]),
        ),
        # With carry forward known, the test of all saving tells the charge.
        (
            request(DRAWN, contributions=[saved(10_001), saved(55_000, saving="defined_benefit")]),
            request(DRAWN, contributions=[saved(10_001), saved(55_000, saving="defined_benefit")], carry_forward=0),
        ),
    ],
    "contributions_not_given": [
        (request(TAX_FREE, **WORKS), request(TAX_FREE, contributions=[], **WORKS)),
        (request(TAX_FREE, **WORKS), request(TAX_FREE)),
        (request(TAX_FREE, **WORKS), request(w("pcls", 7_500), **WORKS)),
        # PTM133810 (from memory): a UFPLS cannot be recycled; what it does to contributions is told by itself.
        (request(TAX_FREE, **WORKS), request(w("ufpls", 40_000), **WORKS)),
        (
            request(TAX_FREE, date_of_birth="1971-09-01", **WORKS),
            request(TAX_FREE, date_of_birth="1971-09-02", **WORKS),
        ),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


TELLS: list[Pair] = [
    (request(DRAWN, **WORKS), request(DRAWN)),
    (request(DRAWN, saves_in_other_schemes=True), request(DRAWN, saves_in_other_schemes=False, **WORKS)),
    (request(DRAWN, contributions=[saved(1)]), request(DRAWN, contributions=[])),
    (request(DRAWN, contributions=[{"yearly": 1, "relief": "relief_at_source"}]), request(DRAWN)),
    (request(DRAWN, **WORKS), request(w("pcls", 1_000), **WORKS)),
    (
        request(UFPLS, date_of_birth="1971-09-01", **WORKS),
        request(UFPLS, date_of_birth="1971-09-02", **WORKS),
    ),
    (request(DRAWN, **WORKS), request(DRAWN, contributions=[], **WORKS)),
    (request(DRAWN, contributions=[], saves_in_other_schemes=True), request(DRAWN, contributions=[])),
    (
        request(DRAWN, date_of_birth="1951-09-02", **WORKS),
        request(DRAWN, date_of_birth="1951-09-01", **WORKS, contributions=[]),
    ),
]
"""Requests with the duty to tell other schemes, and without (SI 2006/567 reg.14ZB)."""


@pytest.mark.parametrize(("inside", "outside"), TELLS)
def test_the_duty_to_tell_other_schemes(inside: Case, outside: Case) -> None:
    def tells(body: Case) -> bool:
        found = by_code(body).get("money_purchase_annual_allowance_triggered")
        return found is not None and "must be told within 91 days" in found.detail

    assert tells(inside)
    assert not tells(outside)


def test_of_two_people_each_is_named_once_in_what_they_must_tell() -> None:
    body = request(DRAWN, partner={"date_of_birth": "1960-01-01"}, **WORKS)
    body["household"]["people"][0]["name"] = "Wren"
    detail = by_code(body)["money_purchase_annual_allowance_triggered"].detail
    assert "Any other scheme that Wren pays into, now or later, must be told within 91 days" in detail


CHARGED = ("contributions_above_money_purchase_annual_allowance", "annual_allowance_exceeded")


@pytest.mark.parametrize(
    ("money_purchase", "more", "carried", "code", "excess", "charge"),
    [
        # 97,500 of income, 70,000 after the access: 60,000 on top, 40,210 of it at 40% and 19,790 at 45%, by hand.
        (saved(70_000, payer="employer"), [], 0, CHARGED[0], 60_000, 24_989.50),
        # 12,000 and 55,000: 2,000 and 5,000 above, or 7,000 in all.
        (saved(12_000), [saved(55_000, saving="defined_benefit")], 0, CHARGED[1], 7_000, 2_800),
        # 40,000 carried forward: 90,000 is left for 80,000 (s.227B(2)).
        (saved(12_000), [saved(80_000, saving="defined_benefit")], 40_000, CHARGED[0], 2_000, 800),
        # 45,000 before the access and 14,000 after: 59,000 is within 60,000, and 14,000 not within 10,000.
        (saved(14_000), [saved(45_000, "2026-07-01")], 0, CHARGED[0], 4_000, 1_600),
        (saved(14_000), [saved(58_000, "2026-07-01")], 0, CHARGED[1], 12_000, 4_800),
    ],
)
def test_one_charge_on_the_default_or_the_alternative_amount(
    money_purchase: Case, more: list[Case], carried: float, code: str, excess: float, charge: float
) -> None:
    """Finance Act 2004 ss.227ZA and 227B, by hand; a UFPLS of 30,000 beside pay of 75,000 in 2026-27."""
    body = request(
        w("ufpls", 30_000),
        income=income(employment=75_000),
        contributions=[money_purchase, *more],
        carry_forward=carried,
    )
    told = [one for one in found_in(body) if "annual_allowance_charge" in one.money]
    assert [one.code for one in told] == [code]
    assert told[0].money["annual_allowance_charge"] == told[0].cost == charge * 100
    above = (
        "above_money_purchase_annual_allowance" if code == CHARGED[0] else "above_annual_allowance_and_carry_forward"
    )
    assert told[0].money[above] == excess * 100


def test_what_is_certain_of_the_charge_without_carry_forward_known() -> None:
    """800 is due whatever is carried forward, as that never covers money purchase saving above 10,000; 2,800 without any."""
    body = request(
        w("ufpls", 30_000),
        income=income(employment=75_000),
        contributions=[saved(12_000), saved(55_000, saving="defined_benefit")],
    )
    found = by_code(body)
    told = found["contributions_above_money_purchase_annual_allowance"]
    assert (told.money["annual_allowance_charge"], told.cost) == (80_000, 80_000)
    assert told.money["annual_allowance_charge_without_carry_forward"] == 280_000
    assert "carry_forward_decides" not in found
    assert found["defined_benefit_saving_above_alternative_allowance"].cost == 0


def test_what_a_client_of_76_hears_of_a_contribution() -> None:
    found = by_code(request(DRAWN, date_of_birth="1950-01-01", contributions=[at_source(20_000)]))
    told = found["contribution_relief_limited"]
    assert told.detail == (
        "Contributions paid from age 75 on get no tax relief. £20,000 is to be paid into your pensions in 2026-27. The scheme "
        "cannot claim the basic-rate relief of £4,000."
    )
    assert not {"contributions_above_money_purchase_annual_allowance", "annual_allowance_exceeded"} & set(found)

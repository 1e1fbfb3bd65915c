"""What a scheme gives up or guards against: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, request, w
from tests.planning.warnings.pairs import DRAWN, HELD, LUMP, Case, Pair, either_side

PROTECTED = {"uncrystallised": 200_000, "drawdown": 0, "protected_tax_free_share": 0.4}
KNOWN = {"safeguarded_benefits": 0}
RED = {"uncrystallised": 200_000, "transfer_flag": "red"}


def holding(uncrystallised: float) -> dict[str, object]:
    """A pension with nothing in drawdown that is to be transferred."""
    return {"uncrystallised": uncrystallised, "drawdown": 0, "transfer_planned": True}


CASES: dict[str, list[Pair]] = {
    # Welfare Reform and Pensions Act 1999 s.11: rights under an approved pension arrangement are not in a bankrupt's estate
    # (from memory).
    "creditors_can_reach_cash": [
        (request(w("ufpls", 1_000), estate={"debts": 0.01}), request(w("ufpls", 1_000), estate={"debts": 0})),
        (request(w("ufpls", 1_000), estate={"debts": 5_000}), request(estate={"debts": 5_000})),
    ],
    # Pension Schemes Act 2015 s.48 and SI 2015/742 reg.5: no check where it is "£30,000 or less". A guaranteed annuity rate is a
    # safeguarded benefit; without a value the funds not yet accessed stand for it.
    "advice_required_for_safeguarded_benefits": [
        (
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True, "uncrystallised": 30_000.01}),
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True, "uncrystallised": 30_000}),
        ),
        (
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True, "safeguarded_benefits": 30_000.01}),
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True, "safeguarded_benefits": 30_000}),
        ),
        (
            request(w("pcls", 1), pension={"guaranteed_annuity_rate": True}),
            request(w("pcls", 1), pension={"guaranteed_annuity_rate": False}),
        ),
        (
            request(w("ufpls", 1), pension={"safeguarded_benefits": 30_000.01}),
            request(w("ufpls", 1), pension={"safeguarded_benefits": 30_000}),
        ),
        (
            request(w("ufpls", 1), pension={"safeguarded_benefits": 40_000}),
            request(w("drawdown", 1), pension={"safeguarded_benefits": 40_000}),
        ),
        (
            request(pension={"safeguarded_benefits": 40_000, "transfer_planned": True}),
            request(pension={"safeguarded_benefits": 40_000, "transfer_planned": False}),
        ),
    ],
    "guaranteed_annuity_rate_lost": [
        (
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True}),
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": False}),
        ),
        (
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True}),
            request(w("drawdown", 1), pension={"guaranteed_annuity_rate": True}),
        ),
        # Nothing is lost on a pension that holds nothing.
        (
            request(pension={"guaranteed_annuity_rate": True, **holding(0.01)}),
            request(pension={"guaranteed_annuity_rate": True, **holding(0)}),
        ),
    ],
    # Finance Act 2004 Sch.36 para 31(3): all pensions of the scheme on the same date.
    "protected_lump_sum_lost": [
        (
            request(w("ufpls", 100), pension={"protected_tax_free_share": 0.2501}),
            request(w("ufpls", 100), pension={"protected_tax_free_share": 0.25}),
        ),
        # 80,000 is all of it; less is another lump sum, with or without drawdown of the rest.
        (request(w("pcls", 20_000), pension=PROTECTED), request(w("pcls", 80_000), pension=PROTECTED)),
        (request(w("pcls", 79_999.99), pension=PROTECTED), request(w("pcls", 80_000), pension=PROTECTED)),
        (
            request(w("pcls_and_drawdown", 199_999.99), pension=PROTECTED),
            request(w("pcls_and_drawdown", 200_000), pension=PROTECTED),
        ),
        (
            request(w("ufpls", 200_000), pension=PROTECTED),
            request(w("pcls_and_drawdown", 200_000), pension=PROTECTED),
        ),
        (
            request(pension={**PROTECTED, "transfer_planned": True}),
            request(pension={**PROTECTED, "transfer_planned": False}),
        ),
    ],
    "exit_charge": [
        (request(DRAWN, pension={"exit_charge": 0.01}), request(DRAWN, pension={"exit_charge": 0})),
        (request(DRAWN, pension={"exit_charge": 50}), request(pension={"exit_charge": 50})),
        (request(pension={"exit_charge": 50, **holding(0.01)}), request(pension={"exit_charge": 50, **holding(0)})),
    ],
    "employer_contributions_lost": [
        (
            request(
                w("ufpls", 9_999.01), pension={"uncrystallised": 10_000, "drawdown": 0}, employer_contributions=900
            ),
            request(w("ufpls", 9_999), pension={"uncrystallised": 10_000, "drawdown": 0}, employer_contributions=900),
        ),
        (
            request(pension={"transfer_planned": True}, employer_contributions=900),
            request(employer_contributions=900),
        ),
    ],
    "pension_features_not_given": [
        (request(w("ufpls", 30_000.01)), request(w("ufpls", 30_000))),
        (request(w("ufpls", 40_000)), request(w("ufpls", 40_000), pension=KNOWN)),
    ],
    # SI 2021/1237: from 30 November 2021.
    "transfer_red_flag": [
        (request(pension=RED), request(pension={"transfer_flag": "amber"})),
        (request(pension=RED, date="2021-11-30"), request(pension=RED, date="2021-11-29")),
    ],
    "transfer_amber_flag": [
        (request(pension={"transfer_flag": "amber"}), request(pension={"transfer_planned": True})),
        (
            request(pension={"transfer_flag": "amber"}, date="2021-11-30"),
            request(pension={"transfer_flag": "amber"}, date="2021-11-29"),
        ),
    ],
    "unexpected_contact": [(request(unexpected_contact=True), request(unexpected_contact=False))],
    "guidance_appointment": [
        (
            request(LUMP, pension=HELD, date_of_birth="1976-06-01", guidance_taken=False),
            request(LUMP, pension=HELD, date_of_birth="1976-06-02", guidance_taken=False),
        ),
        # Where it was not said, the notice tells of it.
        (request(LUMP, pension=HELD, guidance_taken=False), request(LUMP, pension=HELD)),
        (request(LUMP, pension=HELD, guidance_taken=False), request(LUMP, pension=HELD, guidance_taken=True)),
        (
            request(LUMP, pension=HELD, guidance_taken=False),
            request(LUMP, pension=HELD, guidance_taken=False, regulated_adviser=True),
        ),
        (
            request(LUMP, pension=HELD, guidance_taken=False),
            request(LUMP, pension={**HELD, "drawdown": 0.01}, guidance_taken=False),
        ),
    ],
    "take_regulated_advice": [
        (
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True, "uncrystallised": 30_000}),
            request(
                w("ufpls", 1),
                pension={"guaranteed_annuity_rate": True, "uncrystallised": 30_000},
                regulated_adviser=True,
            ),
        ),
        # Above 30,000 the law asks for advice, which says it already.
        (
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True, "uncrystallised": 30_000}),
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True, "uncrystallised": 30_000.01}),
        ),
        (
            request(w("ufpls", 1), pension={"safeguarded_benefits": 0.01}),
            request(w("ufpls", 1), pension={"safeguarded_benefits": 0}),
        ),
        (
            request(w("ufpls", 1), pension={"protected_tax_free_share": 0.26}),
            request(w("ufpls", 1), pension={"protected_tax_free_share": 0.25}),
        ),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


@pytest.mark.parametrize(
    ("withdrawal", "lost"),
    [
        # 40% of 200,000 is 80,000, a quarter 50,000: 30,000 is lost by whatever is not all of it on one day.
        (w("pcls", 20_000), 3_000_000),
        (w("ufpls", 10_000), 3_000_000),
        (w("ufpls", 200_000), 3_000_000),
        (w("pcls_and_drawdown", 50_000), 3_000_000),
        (w("pcls", 70_000), 1_000_000),
        (w("pcls", 80_000), None),
    ],
)
def test_the_tax_free_cash_that_is_lost_with_a_protected_lump_sum(withdrawal: Case, lost: int | None) -> None:
    """Finance Act 2004 Sch.36 paras 31-34. It is no tax, so it stands before no tax as a cost."""
    found = by_code(request(withdrawal, pension=PROTECTED))
    assert "lump_sum_above_permitted_maximum" not in found
    told = found.get("protected_lump_sum_lost")
    assert (told and told.money["tax_free_cash_lost"]) == lost
    assert told is None or (told.cost, told.severity) == (0, "lasting")


def test_an_exit_charge_is_measured_against_its_limit() -> None:
    """FSMA 2000 s.137FBB and PS16/24: 1% of 100,000 from the minimum pension age, in personal schemes."""

    def said(charge: float, **more: object) -> str:
        pension = {"uncrystallised": 0, "drawdown": 100_000, "exit_charge": charge, **more}
        return by_code(request(DRAWN, pension=pension, date_of_birth="1966-01-01"))["exit_charge"].detail

    assert (
        "5% of it. From the minimum pension age a personal pension can usually charge at most 1%, here £1,000."
        in said(5_000)
    )
    assert "at most" not in said(1_000)
    assert "at most" in said(1_000.01)
    assert "at most" not in said(5_000, scheme_kind="occupational")
    young = request(
        pension={"uncrystallised": 100_000, "drawdown": 0, "exit_charge": 5_000, "transfer_planned": True},
        date_of_birth="1980-01-01",
    )
    assert "at most" not in by_code(young)["exit_charge"].detail

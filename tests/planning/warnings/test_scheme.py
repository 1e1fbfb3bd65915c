"""What a scheme gives up or guards against: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, request, w
from tests.planning.warnings.pairs import DRAWN, HELD, LUMP, Case, Pair, either_side

KNOWN = {"safeguarded_benefits": 0}
RED = {"uncrystallised": 200_000, "transfer_flag": "red"}


def holding(uncrystallised: float) -> dict[str, object]:
    """A pension with nothing in drawdown that is to be transferred."""
    return {"uncrystallised": uncrystallised, "drawdown": 0, "transfer_planned": True}


CASES: dict[str, list[Pair]] = {
    # Pension Schemes Act 2015 s.48 and SI 2015/742: more than 30,000, from memory.
    "advice_required_for_safeguarded_benefits": [
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
    "protected_lump_sum_lost": [
        (
            request(w("ufpls", 100), pension={"protected_tax_free_share": 0.2501}),
            request(w("ufpls", 100), pension={"protected_tax_free_share": 0.25}),
        ),
        (
            request(w("ufpls", 100), pension={"protected_tax_free_share": 0.3}),
            request(w("pcls", 100), pension={"protected_tax_free_share": 0.3}),
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
            request(LUMP, pension=HELD, date_of_birth="1976-06-01"),
            request(LUMP, pension=HELD, date_of_birth="1976-06-02"),
        ),
        (request(LUMP, pension=HELD), request(LUMP, pension=HELD, guidance_taken=True)),
        (request(LUMP, pension=HELD), request(LUMP, pension=HELD, regulated_adviser=True)),
        (request(LUMP, pension=HELD), request(LUMP, pension={**HELD, "drawdown": 0.01})),
    ],
    "take_regulated_advice": [
        (
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True}),
            request(w("ufpls", 1), pension={"guaranteed_annuity_rate": True}, regulated_adviser=True),
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

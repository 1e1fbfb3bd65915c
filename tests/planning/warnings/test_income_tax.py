"""The tax of a year: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

import pytest

from tests.planning.warning_requests import by_code, found_in, income, request, w
from tests.planning.warnings.pairs import YEARS, Case, Pair, drawn, either_side


def entered(nation: str, ends: dict[str, int]) -> list[Pair]:
    """A band begins at this total income in each tax year: a penny more enters it."""
    return [
        (
            drawn(year, end - 9_999.99, tax_residence=nation, income=income(employment=10_000)),
            drawn(year, end - 10_000, tax_residence=nation, income=income(employment=10_000)),
        )
        for year, end in ends.items()
    ]


CASES: dict[str, list[Pair]] = {
    "higher_rate_entered": [
        # Finance Act 2019 s.5, Finance Act 2021 s.5: 50,000 and 50,270 of total income with a full allowance.
        *entered("england", {"2020-21": 50_000, "2023-24": 50_270, "2026-27": 50_270, "2027-28": 50_270}),
        # gov.scot: 43,430 in 2020-21, 43,662 since.
        *entered("scotland", {"2020-21": 43_430, "2026-27": 43_662}),
        # Not where other income is there already.
        (
            drawn("2026-27", 1_000, income=income(employment=50_270)),
            drawn("2026-27", 1_000, income=income(employment=50_271)),
        ),
    ],
    "advanced_rate_entered": [
        # gov.scot: 62,430 of taxable income from 2024-25, 75,000 of total income.
        *entered("scotland", {"2026-27": 75_000, "2027-28": 75_000}),
        (
            drawn("2026-27", 70_000, tax_residence="scotland", income=income(employment=10_000)),
            drawn("2023-24", 70_000, tax_residence="scotland", income=income(employment=10_000)),
        ),
    ],
    # Income Tax Act 2007 s.10: 150,000 to 2022-23, 125,140 since.
    "additional_rate_entered": entered(
        "wales", {"2020-21": 150_000, "2023-24": 125_140, "2026-27": 125_140, "2027-28": 125_140}
    ),
    "top_rate_entered": entered(
        "scotland", {"2020-21": 150_000, "2023-24": 125_140, "2026-27": 125_140, "2027-28": 125_140}
    ),
    # Income Tax Act 2007 s.35(2)-(3): a pound for every two over 100,000, what is left up to the pound.
    "personal_allowance_withdrawn": [
        (
            drawn(year, 40_002, income=income(employment=60_000)),
            drawn(year, 40_001.99, income=income(employment=60_000)),
        )
        for year in YEARS
    ],
    # ITA 2007 ss.423-424: 20% of 2,500 is covered by 20% of (12,000 + 3,070 - 12,570), and not by a penny less.
    "gift_aid_not_covered": [
        (
            drawn("2026-27", 3_069.99, income=income(state_pension=12_000), gift_aid_donations=2_500),
            drawn("2026-27", 3_070, income=income(state_pension=12_000), gift_aid_donations=2_500),
        ),
    ],
    # ITA 2007 ss.8, 13A: salary of 12,570 takes the allowance, so that 10,000 more of dividends than the nil rate lies in the
    # basic band (37,700); the withdrawal lifts a pound and a bit of it over the limit, at 35.75% in place of 10.75%.
    "dividends_taxed_higher": [
        (
            drawn("2026-27", 27_204, income=income(employment=12_570, dividends=10_500)),
            drawn("2026-27", 27_203, income=income(employment=12_570, dividends=10_500)),
        ),
        (
            drawn("2023-24", 20_000, income=income(dividends=45_000)),
            drawn("2023-24", 20_000, income=income(dividends=0)),
        ),
        (
            drawn("2026-27", 30_000, tax_residence="scotland", income=income(dividends=45_000)),
            drawn("2026-27", 30_000, tax_residence="scotland", income=income(dividends=500)),
        ),
    ],
    # ss.7, 12: 18,000 of interest is within allowance, starting rate (5,000) and savings allowance (1,000): 18,570. A pound over
    # that bears 20%, and so do five.
    "savings_taxed_higher": [
        (
            drawn("2026-27", 575, income=income(savings_interest=18_000)),
            drawn("2026-27", 574.9, income=income(savings_interest=18_000)),
        ),
        # s.12B: a savings allowance of 1,000 within the basic rate, 500 above.
        *(
            (
                drawn(year, higher - 10_999.99, income=income(employment=10_000, savings_interest=1_000)),
                drawn(year, higher - 11_000, income=income(employment=10_000, savings_interest=1_000)),
            )
            for year, higher in zip(YEARS, (50_000, 50_270, 50_270, 50_270), strict=True)
        ),
        (
            drawn("2026-27", 50_000, income=income(employment=10_000, savings_interest=505)),
            drawn("2026-27", 50_000, income=income(employment=10_000, savings_interest=500)),
        ),
    ],
    # s.11CA: 42% in place of 22% above the basic limit, from 2027-28; five pounds of it is a pound.
    "property_taxed_higher": [
        (
            drawn("2027-28", 17_705, income=income(employment=12_570, property_income=20_000)),
            drawn("2027-28", 17_704.9, income=income(employment=12_570, property_income=20_000)),
        ),
        (
            drawn("2027-28", 30_000, income=income(employment=12_570, property_income=20_000)),
            drawn("2026-27", 30_000, income=income(employment=12_570, property_income=20_000)),
        ),
        (
            drawn("2027-28", 30_000, income=income(employment=12_570, property_income=20_000)),
            drawn(
                "2027-28", 30_000, tax_residence="scotland", income=income(employment=12_570, property_income=20_000)
            ),
        ),
    ],
    # s.12B: at 50,270 the savings allowance of 1,000 becomes 500, which costs 100 or more; fifty pounds are our choice.
    "income_just_below_a_tax_step": [
        (
            drawn("2026-27", 36_651, income=income(employment=12_570, savings_interest=1_000)),
            drawn("2026-27", 36_650, income=income(employment=12_570, savings_interest=1_000)),
        ),
        (
            drawn("2026-27", 36_700, income=income(employment=12_570, savings_interest=1_000)),
            drawn("2026-27", 36_701, income=income(employment=12_570, savings_interest=1_000)),
        ),
        # s.55B: the marriage allowance, 252.
        (
            drawn("2026-27", 37_700, income=income(employment=12_570), marriage_allowance="receives"),
            drawn("2026-27", 37_700, income=income(employment=12_570)),
        ),
    ],
    # s.55B.
    "marriage_allowance_lost": [
        (
            drawn(year, higher - 29_999.99, income=income(employment=30_000), marriage_allowance="receives"),
            drawn(year, higher - 30_000, income=income(employment=30_000), marriage_allowance="receives"),
        )
        for year, higher in zip(YEARS, (50_000, 50_270, 50_270, 50_270), strict=True)
    ],
    "marriage_allowance_not_available": [
        # The giver's allowance is 1,260 smaller.
        (
            drawn("2026-27", 19_010.01, income=income(employment=30_000), marriage_allowance="gives"),
            drawn("2026-27", 19_010, income=income(employment=30_000), marriage_allowance="gives"),
        )
    ],
    # ITEPA 2003 s.681C: a point for every 100 above 50,000 to 2023-24, for every 200 above 60,000 since.
    "child_benefit_charge": [
        (
            drawn(year, threshold - 29_900 + extra, income=income(employment=30_000), child_benefit=2_000),
            drawn(year, threshold - 29_900 + extra - 0.01, income=income(employment=30_000), child_benefit=2_000),
        )
        for year, threshold, extra in (
            ("2020-21", 50_000, 0),
            ("2023-24", 50_000, 0),
            ("2026-27", 60_000, 100),
            ("2027-28", 60_000, 100),
        )
    ],
    "child_benefit_charge_falls_on_partner": [
        (
            request(
                child_benefit=2_000,
                income=income(employment=61_000),
                partner={
                    "pension": {"uncrystallised": 0, "drawdown": 100_000},
                    "withdrawals": [w("drawdown", amount)],
                    "income": income(employment=60_000),
                },
            ),
            request(
                child_benefit=2_000,
                income=income(employment=61_000),
                partner={
                    "pension": {"uncrystallised": 0, "drawdown": 100_000},
                    "withdrawals": [w("drawdown", 1_000)],
                    "income": income(employment=60_000),
                },
            ),
        )
        for amount in (1_000.01,)
    ],
    # SI 2015/448 reg.15: 100,000.
    "tax_free_childcare_lost": [
        (
            drawn(year, 40_000.01, income=income(employment=60_000), tax_free_childcare=2_000),
            drawn(year, 40_000, income=income(employment=60_000), tax_free_childcare=2_000),
        )
        for year in YEARS
    ]
    + [
        (
            drawn("2026-27", 1, income=income(employment=100_000), tax_free_childcare=2_000),
            drawn("2026-27", 1, income=income(employment=100_000.01), tax_free_childcare=2_000),
        ),
        # The limit is that of each parent and of their partner: once one is above it, nothing more is lost.
        (
            drawn(
                "2026-27",
                1,
                income=income(employment=100_000),
                partner={"income": income(employment=50_000), "tax_free_childcare": 2_000},
            ),
            drawn(
                "2026-27",
                1,
                income=income(employment=100_000),
                partner={"income": income(employment=101_000), "tax_free_childcare": 2_000},
            ),
        ),
        (
            drawn("2026-27", 1, income=income(employment=100_000), tax_free_childcare=2_000, tax_residence="wales"),
            drawn("2026-27", 1, income=income(employment=100_000), tax_free_childcare=0, tax_residence="wales"),
        ),
    ],
    "family_facts_not_given": [
        # SI 2015/448 (from memory): Tax-Free Childcare is for people in work.
        (
            drawn("2026-27", 10_000, income=income(employment=95_000)),
            drawn("2026-27", 10_000, income=income(annuity=95_000)),
        ),
        # State Pension age on 6 May 2027 or on 5 April 2027.
        (
            drawn("2026-27", 40_000, income=income(annuity=30_000), date_of_birth="1960-10-06"),
            drawn("2026-27", 40_000, income=income(annuity=30_000), date_of_birth="1960-10-05"),
        ),
        (
            drawn("2026-27", 40_000, income=income(annuity=30_000), date_of_birth="1960-10-05", children=1),
            drawn("2026-27", 40_000, income=income(annuity=30_000), date_of_birth="1960-10-05"),
        ),
        (
            drawn("2026-27", 30_000.01, income=income(employment=30_000)),
            drawn("2026-27", 30_000, income=income(employment=30_000)),
        ),
        (
            drawn("2023-24", 20_000.01, income=income(employment=30_000)),
            drawn("2023-24", 20_000, income=income(employment=30_000)),
        ),
        (
            drawn("2026-27", 40_000, income=income(employment=30_000)),
            drawn("2026-27", 40_000, income=income(employment=30_000), children=0),
        ),
        (
            drawn("2026-27", 40_000, income=income(employment=30_000), children=2),
            drawn("2026-27", 40_000, income=income(employment=30_000), children=2, child_benefit=0),
        ),
        (
            drawn("2026-27", 40_000, income=income(employment=70_000), children=2, child_benefit=2_000),
            drawn(
                "2026-27",
                40_000,
                income=income(employment=70_000),
                children=2,
                child_benefit=2_000,
                tax_free_childcare=0,
            ),
        ),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


@pytest.mark.parametrize(("nation", "told"), [("england", True), ("wales", False)])
def test_funded_hours_end_in_england(nation: str, told: bool) -> None:
    """SI 2022/1134 regs 14-15."""
    case = drawn("2026-27", 1, income=income(employment=100_000), tax_free_childcare=2_000, tax_residence=nation)
    assert ("Funded childcare hours" in by_code(case)["tax_free_childcare_lost"].detail) is told


BELOW_THE_LIMIT = 37_700
"""What lies within the basic rate of 2026-27 (ITA 2007 s.10) on top of a salary that takes the personal allowance."""


@pytest.mark.parametrize(
    ("interest", "dividends", "amount", "marriage_allowance", "lost"),
    [
        (1_000, 0, BELOW_THE_LIMIT - 1_000, "none", "the savings allowance would fall."),
        (0, 0, BELOW_THE_LIMIT, "receives", "the marriage allowance would be lost."),
        # The first 500 of interest above the limit bears the nil rate, which ends no marriage allowance.
        (1_000, 0, BELOW_THE_LIMIT - 1_000, "receives", "the savings allowance would fall."),
        # So many dividends bear the upper rate at once, whatever income the personal allowance is set against (s.25(2)).
        (
            1_000,
            30_000,
            BELOW_THE_LIMIT - 31_000,
            "receives",
            "the savings allowance would fall and the marriage allowance would be lost.",
        ),
        # So little interest loses nothing by the smaller savings allowance; 20 pounds further the marriage allowance ends.
        (20, 0, BELOW_THE_LIMIT - 20, "receives", "the marriage allowance would be lost."),
    ],
)
def test_each_relief_that_is_lost_at_the_step_is_named(
    interest: int, dividends: int, amount: int, marriage_allowance: str, lost: str
) -> None:
    """ITA 2007 ss.12A, 12B, 13A, 25, 55B."""
    case = drawn(
        "2026-27",
        amount,
        income=income(employment=12_570, savings_interest=interest, dividends=dividends),
        marriage_allowance=marriage_allowance,
    )
    assert f"at once: {lost}" in by_code(case)["income_just_below_a_tax_step"].detail


def test_childcare_is_lost_once() -> None:
    """Where both of a couple go above the limit in one tax year."""
    crossing = {"income": income(employment=100_000), "tax_free_childcare": 2_000}
    case = drawn(
        "2026-27",
        1,
        **crossing,
        partner={**crossing, "pension": {"uncrystallised": 0, "drawdown": 10}, "withdrawals": [w("drawdown", 1)]},
    )
    lost = [(one.person, one.cost) for one in found_in(case) if one.code == "tax_free_childcare_lost"]
    assert lost == [(0, 200_000)]


DISPLACED = [
    # Dividends of 2026-27 bear 10.75% and 35.75% beyond 500: 24,730 of 45,000 lie above the basic rate limit of 37,700.
    ({"dividends": 45_000}, 30_000, "england", {"dividends_taxed_higher": 753_377}),
    # An owner-director: 21,800 of the dividends move to 35.75%.
    ({"employment": 12_570, "dividends": 37_000}, 22_500, "england", {"dividends_taxed_higher": 545_000}),
    # Savings and dividends keep the bands of the rest of the United Kingdom (s.16, Scotland Act 1998 s.80C).
    ({"employment": 12_570, "dividends": 37_000}, 22_500, "scotland", {"dividends_taxed_higher": 545_000}),
    # The personal allowance goes to the pension: 5,000 at the starting rate and 1,000 free, 12,000 at 20%.
    ({"savings_interest": 18_000}, 12_570, "england", {"savings_taxed_higher": 240_000}),
    # 200 without, 600 with: 200 is that of the smaller savings allowance, 200 that of the higher rate on the rest.
    (
        {"employment": 40_000, "savings_interest": 2_000},
        20_000,
        "england",
        {"savings_taxed_higher": 40_000},
    ),
]
"""Income, a withdrawal, the nation, and the costs told: worked by hand from Income Tax Act 2007 ss.8, 12-13B."""


@pytest.mark.parametrize(("other", "amount", "nation", "expected"), DISPLACED)
def test_what_is_displaced_costs_the_tax_on_it_with_the_withdrawal_less_without(
    other: dict[str, int], amount: int, nation: str, expected: dict[str, int]
) -> None:
    found = by_code(drawn("2026-27", amount, tax_residence=nation, income=income(**other)))
    codes = ("savings_taxed_higher", "dividends_taxed_higher")
    assert {code: found[code].cost for code in codes if code in found} == expected


def test_bands_that_are_entered_together_are_one_warning() -> None:
    """From 30,000 to 180,000, with no personal allowance left: 87,440 between 37,700 and 125,140 bear 40% in place of 20%, and
    54,860 above bear 45%. By hand (Income Tax Act 2007 ss.10, 35)."""
    found = by_code(drawn("2026-27", 150_000, income=income(employment=30_000)))
    assert "higher_rate_entered" not in found
    told = found["additional_rate_entered"]
    assert told.money["taxed_at_higher_rate"] == 8_744_000
    assert told.money["taxed_in_the_band"] == 5_486_000
    assert told.cost == (8_744_000 * 20 + 5_486_000 * 25) // 100
    assert "withdrawals is taxed at 40% and £54,860 at 45%, instead of 20%." in told.detail


FAMILY = "family_facts_not_given"


def test_children_are_asked_for_once() -> None:
    """Two tax years above 60,000 (ITEPA 2003 s.681B), the second above 100,000 too (SI 2015/448 reg.15): the second asks for what
    the first did not."""
    twice = [w("drawdown", 20_000), w("drawdown", 20_000, "2027-09-01")]
    asked = [one for one in found_in(request(*twice, income=income(employment=50_000))) if one.code == FAMILY]
    assert [one.tax_year for one in asked] == ["2026-27"]
    higher = [w("drawdown", 20_000), w("drawdown", 60_000, "2027-09-01")]
    asked = [one for one in found_in(request(*higher, income=income(employment=50_000))) if one.code == FAMILY]
    assert [(one.tax_year, "Tax-Free Childcare" in one.detail) for one in asked] == [
        ("2026-27", False),
        ("2027-28", True),
    ]
    assert "child benefit" not in asked[1].detail


def test_who_lives_abroad_is_not_asked_for_child_benefit() -> None:
    """Child benefit is for whoever is in Great Britain (Social Security Contributions and Benefits Act 1992 s.146)."""
    assert FAMILY in by_code(request(w("drawdown", 80_000)))
    assert FAMILY not in by_code(request(w("drawdown", 80_000), uk_resident=False))

"""What is left at death: a case just inside each warning and one just outside, for each regime it spans."""

from __future__ import annotations

from typing import Any

import pytest

from tests.planning.warning_requests import by_code, found_in, request, w
from tests.planning.warnings.pairs import A_DAY_IN, DRAWN, HELD, LATER, NO_FUND, YEARS, Case, Pair, either_side

PARTNER = {"date_of_birth": "1962-06-01"}


def estate(value: float, **more: bool | float | str) -> dict[str, Any]:
    return {
        "home": value,
        "home_to_descendants": False,
        "nil_rate_band_brought_forward": 0,
        "residence_nil_rate_band_brought_forward": 0,
        "first_death": "to_beneficiaries",
        **more,
    }


def leaves(
    value: float, year: str = "2026-27", /, *withdrawals: Any, pension: Any = HELD, **more: bool | float | str
) -> Case:
    """An estate beside a pension, in a tax year."""
    return request(*withdrawals, date=A_DAY_IN[year], pension=pension, estate=estate(value, **more))


def unknown(value: float, *missing: str) -> Case:
    """An estate with some facts left out."""
    whole = leaves(value, pension=NO_FUND)
    for name in missing:
        del whole["household"]["estate"][name]
    return whole


def beside(whole: Case) -> Case:
    """The same with a second person."""
    more = request(partner=PARTNER)["household"]["people"][1]
    return {**whole, "household": {**whole["household"], "people": [*whole["household"]["people"], more]}}


CASES: dict[str, list[Pair]] = {
    # Inheritance Tax Act 1984 Sch.1: 325,000. A lump sum of 10,000 adds that much before 6 April 2027.
    "withdrawal_enters_the_estate": [
        (
            leaves(315_000.01, year, w("pcls", 10_000, LATER[year])),
            leaves(315_000, year, w("pcls", 10_000, LATER[year])),
        )
        for year in YEARS[:3]
    ]
    + [
        # Twice the band, and with residence bands of 175,000.
        (
            leaves(
                640_000.01,
                "2026-27",
                w("pcls", 10_000),
                nil_rate_band_brought_forward=1,
                residence_nil_rate_band_brought_forward=1,
            ),
            leaves(
                640_000,
                "2026-27",
                w("pcls", 10_000),
                nil_rate_band_brought_forward=1,
                residence_nil_rate_band_brought_forward=1,
            ),
        ),
        (
            leaves(490_000.01, "2026-27", w("pcls", 10_000), home_to_descendants=True),
            leaves(490_000, "2026-27", w("pcls", 10_000), home_to_descendants=True),
        ),
        (
            leaves(400_000, "2026-27", w("pcls", 10_000, "2027-04-05")),
            leaves(400_000, "2026-27", w("pcls", 10_000, "2027-04-06")),
        ),
        # The largest bands are 1,000,000; of facts that are not given it tells a range.
        (
            request(w("pcls", 10_000), estate={"home": 990_000.01}),
            request(w("pcls", 10_000), estate={"home": 990_000}),
        ),
    ],
    # Finance Act 2026 s.71: deaths on or after 6 April 2027.
    "pension_counts_in_the_estate": [
        (leaves(225_000.01, "2027-28"), leaves(225_000, "2027-28")),
        (
            request(date="2027-04-06", pension=HELD, estate=estate(300_000)),
            request(date="2027-04-05", pension=HELD, estate=estate(300_000)),
        ),
        (leaves(300_000, "2027-28"), leaves(300_000, "2027-28", first_death="to_spouse")),
        # Over 75: both taxes are told.
        (
            request(date="2027-06-01", date_of_birth="1950-01-01", pension=HELD, estate=estate(225_000.01)),
            request(date="2027-06-01", date_of_birth="1950-01-01", pension=HELD, estate=estate(225_000)),
        ),
    ],
    "pension_counts_later": [
        (leaves(225_000.01), leaves(225_000)),
        (leaves(300_000, "2020-21"), leaves(300_000, "2027-28")),
        (leaves(300_000), leaves(300_000, pension=NO_FUND)),
        # What is drawn takes the estate over its bands already, and is told with it.
        (leaves(225_000.01), leaves(325_000, "2026-27", w("pcls", 10_000))),
    ],
    "spouse_exemption_postpones": [
        # The survivor has both nil-rate bands (s.8A), and with a home for descendants both residence bands (s.8G).
        (leaves(650_000.01, first_death="to_spouse"), leaves(650_000, first_death="to_spouse")),
        (leaves(550_000.01, "2027-28", first_death="to_spouse"), leaves(550_000, "2027-28", first_death="to_spouse")),
        (
            leaves(1_000_000.01, first_death="to_spouse", home_to_descendants=True),
            leaves(1_000_000, first_death="to_spouse", home_to_descendants=True),
        ),
        (leaves(700_000, first_death="to_spouse"), leaves(700_000)),
        (
            request(estate={"home": 650_000.01, "first_death": "to_spouse"}),
            request(estate={"home": 650_000, "first_death": "to_spouse"}),
        ),
        # Two who are not married (s.18).
        (
            request(estate=estate(900_000, first_death="to_spouse"), partner=PARTNER),
            request(estate=estate(900_000, first_death="to_spouse", spouses=False), partner=PARTNER),
        ),
        # So has the second of a couple to die.
        (
            request(estate=estate(650_000.01, first_death="to_spouse"), partner=PARTNER, pension=NO_FUND),
            request(estate=estate(650_000, first_death="to_spouse"), partner=PARTNER, pension=NO_FUND),
        ),
    ],
    "spouse_exemption_not_given": [
        (unknown(325_000.01, "first_death"), unknown(325_000, "first_death")),
        (unknown(400_000, "first_death"), unknown(400_000)),
        # A couple's estate is that of the second to die.
        (unknown(900_000, "first_death"), beside(unknown(900_000, "first_death"))),
    ],
    "estate_facts_decide": [
        (unknown(325_000.01, "home_to_descendants"), unknown(325_000, "home_to_descendants")),
        (unknown(500_000, "home_to_descendants"), unknown(500_000.01, "home_to_descendants")),
        (unknown(650_000, "nil_rate_band_brought_forward"), unknown(650_000.01, "nil_rate_band_brought_forward")),
    ],
    # Inheritance Tax Act 1984 s.8D(5): 2,000,000.
    "residence_band_tapered": [
        (leaves(2_000_000.02, home_to_descendants=True), leaves(2_000_000, home_to_descendants=True)),
        (leaves(1_900_000.02, "2027-28", home_to_descendants=True), leaves(1_900_000.02, home_to_descendants=True)),
        (leaves(2_000_000.02, home_to_descendants=True), leaves(2_000_000.02)),
        # Each of a couple who leave all to others has a threshold of their own.
        (
            request(estate=estate(2_000_000.02, home_to_descendants=True), pension=NO_FUND),
            request(estate=estate(2_000_000.02, home_to_descendants=True), pension=NO_FUND, partner=PARTNER),
        ),
        # With a spouse who takes it all, less is left to bring forward (s.8G; HMRC IHTM46044).
        (
            leaves(2_000_000.02, home_to_descendants=True, first_death="to_spouse"),
            leaves(2_000_000, home_to_descendants=True, first_death="to_spouse"),
        ),
    ],
    # Inheritance Tax Act 1984 ss.3A(4), 7 and 19 (from memory): 3,000 a year is exempt.
    "gifts_within_seven_years": [
        (request(gifts_planned=3_000.01), request(gifts_planned=3_000)),
        (
            request(gifts_planned=50_000, pension=NO_FUND, estate=estate(325_000.01)),
            request(gifts_planned=50_000, pension=NO_FUND, estate=estate(325_000)),
        ),
    ],
    "estate_not_given": [
        (
            request(DRAWN, pension={"uncrystallised": 300_000, "drawdown": 26_000.01}),
            request(DRAWN, pension={"uncrystallised": 300_000, "drawdown": 26_000}),
        ),
        (
            request(pension=NO_FUND, cash=100_000, isa={"value": 225_000.01}),
            request(pension=NO_FUND, cash=100_000, isa={"value": 225_000}),
        ),
        (request(), request(estate={"home": 0})),
    ],
    # ITEPA 2003 ss.637H-637M: 75 on the day of the death, here today, 1 June 2026.
    "beneficiaries_pay_income_tax": [
        (request(date_of_birth="1951-06-01"), request(date_of_birth="1951-06-02")),
        (request(date_of_birth="1950-01-01"), request(date_of_birth="1950-01-01", pension=NO_FUND)),
    ],
    "beneficiaries_pay_income_tax_soon": [
        (request(date_of_birth="1952-06-01"), request(date_of_birth="1952-06-02")),
        (request(date_of_birth="1951-06-02"), request(date_of_birth="1951-06-01")),
        # 75 in the tax year of a later withdrawal.
        (
            request(w("drawdown", 1_000, "2027-09-01"), date_of_birth="1953-04-05"),
            request(w("drawdown", 1_000, "2027-09-01"), date_of_birth="1953-04-06"),
        ),
    ],
    "nominations_to_review": [
        (request(pension={"nomination": "none"}), request(pension={"nomination": "made"})),
        (
            request(date="2027-04-06", pension={"nomination": "made", "nomination_reviewed_on": "2027-04-05"}),
            request(date="2027-04-06", pension={"nomination": "made", "nomination_reviewed_on": "2027-04-06"}),
        ),
        (
            request(date="2027-04-06", pension={"nomination": "made", "nomination_reviewed_on": "2020-01-01"}),
            request(date="2027-04-05", pension={"nomination": "made", "nomination_reviewed_on": "2020-01-01"}),
        ),
    ],
    # Two years from the day the scheme knew.
    "two_year_window_running": [
        (
            request(inherited_pension={"scheme_knew_on": "2024-06-02", "died_before_75": True}),
            request(inherited_pension={"scheme_knew_on": "2024-06-01", "died_before_75": True}),
        ),
        (
            request(inherited_pension={"scheme_knew_on": "2026-01-01", "died_before_75": True}),
            request(inherited_pension={"scheme_knew_on": "2026-01-01", "died_before_75": False}),
        ),
    ],
    "two_year_window_passed": [
        (
            request(inherited_pension={"scheme_knew_on": "2024-06-01", "died_before_75": True}),
            request(inherited_pension={"scheme_knew_on": "2024-06-02", "died_before_75": True}),
        ),
    ],
}


@pytest.mark.parametrize(("code", "inside", "outside"), either_side(CASES))
def test_just_inside_and_just_outside(code: str, inside: Case, outside: Case) -> None:
    assert code in by_code(inside)
    assert code not in by_code(outside)


def test_what_decides_comes_before_what_counts_later() -> None:
    whole = leaves(450_000)
    del whole["household"]["estate"]["home_to_descendants"]
    found = [warning.code for warning in found_in(whole)]
    assert found.index("estate_facts_decide") < found.index("pension_counts_later")


def test_who_inherits_is_asked_once() -> None:
    """What counts later, and what is drawn, say themselves that a spouse is exempt (Inheritance Tax Act 1984 s.18)."""
    for whole in (leaves(450_000), leaves(450_000, "2026-27", w("pcls", 10_000)), leaves(450_000, "2027-28")):
        del whole["household"]["estate"]["first_death"]
        found = [warning for warning in found_in(whole) if "spouse or civil partner" in warning.detail]
        assert len(found) == 1, [warning.code for warning in found]


def test_what_is_drawn_tells_of_the_pension_left() -> None:
    """10,000 drawn and 90,000 left beside 400,000: 500,000 in all from 6 April 2027 (Finance Act 2026 s.66)."""
    whole = leaves(400_000, "2026-27", w("pcls", 10_000), pension={"uncrystallised": 100_000, "drawdown": 0})
    found = by_code(whole)
    assert "pension_counts_later" not in found
    assert found["withdrawal_enters_the_estate"].money["unused_pensions"] == 9_000_000
    assert "The £90,000 left would bring the estate to £500,000." in found["withdrawal_enters_the_estate"].detail


# Inheritance tax and then income tax


def test_both_taxes_on_a_pension() -> None:
    """A pension of 300,000 above bands that are used up, whose beneficiaries bear all the tax: 120,000 of
    inheritance tax, and income tax on the 180,000 that it leaves (Income Tax (Earnings and Pensions) Act 2003 s.567B). At 20%,
    40% and 45% that is 36,000, 72,000 and 81,000, so that 156,000, 192,000 and 201,000 go in all: 52%, 64% and 67%."""
    pension = {"uncrystallised": 300_000, "drawdown": 0}
    case = leaves(325_000, "2027-28", pension=pension)
    case["household"]["people"][0]["date_of_birth"] = "1950-01-01"
    found = by_code(case)
    counts, taxed = found["pension_counts_in_the_estate"], found["beneficiaries_pay_income_tax"]
    assert counts.money["extra_inheritance_tax"] == 120_000_00
    assert [counts.rates[f"lost_by_{name}_rate_taxpayer"] for name in ("basic", "higher", "additional")] == [
        in_all * 10_000 // 300_000 for in_all in (156_000, 192_000, 201_000)
    ]
    assert "20%, 40% or 45% would lose 52%, 64% or 67%" in counts.detail
    assert "Inheritance tax that they bear on it is deducted first." in taxed.detail


@pytest.mark.parametrize(("born", "told"), [("1953-04-05", True), ("1953-04-06", False)])
def test_both_taxes_are_told_from_75(born: str, told: bool) -> None:
    """Under 75, what is paid within two years is usually free of income tax; 75 is reached by 5 April 2028, or is not."""
    case = leaves(325_000, "2027-28")
    case["household"]["people"][0]["date_of_birth"] = born
    counts = by_code(case)["pension_counts_in_the_estate"]
    assert ("income tax" in counts.detail) == told
    assert bool({name for name in counts.rates if name.startswith("lost_by")}) == told


def test_what_the_survivor_has_after_the_taper_of_the_first_estate() -> None:
    """2,100,000 is 100,000 over: the first leaves 125,000 of a residence band of 175,000, the survivor has 175,000 and that, less
    50,000 once more. With nil-rate bands of 650,000 these are 900,000 (Inheritance Tax Act 1984 ss.8D(5), 8G)."""
    found = by_code(leaves(2_100_000, first_death="to_spouse", home_to_descendants=True, pension=NO_FUND))
    assert found["spouse_exemption_postpones"].money["tax_free_bands"] == 900_000_00
    lost = found["residence_band_tapered"]
    assert (lost.effect, lost.cost, lost.money["residence_band_lost"]) == ("check", 0, 50_000_00)
    assert "extra_inheritance_tax" not in lost.money
    assert "£0" not in lost.detail


def test_before_6_april_2027_income_tax_is_alone() -> None:
    found = by_code(request(date_of_birth="1950-01-01"))["beneficiaries_pay_income_tax"]
    assert "nheritance tax" not in found.detail
    assert not found.rates


def test_the_pension_counts_for_the_taper_too() -> None:
    """1,900,000 and a pension of 500,000 leave nothing of a residence band of 175,000 (Inheritance Tax Act 1984 s.8D(5))."""
    case = leaves(1_900_000, home_to_descendants=True, pension={"uncrystallised": 500_000, "drawdown": 0})
    assert by_code(case)["pension_counts_later"].money["tax_free_bands"] == 325_000_00


# What depends on a death, and on facts that are not given


def test_a_death_before_6_april_2027_is_said_to_be_one_and_is_to_be_checked() -> None:
    found = by_code(leaves(400_000, "2026-27", w("pcls", 10_000)))["withdrawal_enters_the_estate"]
    assert (found.effect, found.severity) == ("check", "on_death")
    assert found.detail.startswith("If you die before 6 April 2027,")


def test_of_facts_not_given_it_tells_the_range() -> None:
    """Of 1,200,000, 200,000 to 875,000 are above the bands, of the 300,000 of pension all of the 300,000 at the most: 80,000 to
    120,000 at 40% (Inheritance Tax Act 1984 ss.8A, 8D-8G and Sch.1)."""
    whole = leaves(900_000, "2027-28", pension={"uncrystallised": 300_000, "drawdown": 0})
    whole["household"]["estate"] = {"home": 900_000}
    found = by_code(whole)["pension_counts_in_the_estate"]
    assert found.money["extra_inheritance_tax"] == 80_000_00
    assert found.money["largest_extra_inheritance_tax"] == 120_000_00
    for words in (
        "If none of it passes to a spouse or civil partner, the funds would add between £80,000 and £120,000",
        "whether a home passes to descendants",
        "whether a spouse who has died left unused bands",
        "We were not told.",
    ):
        assert words in found.detail


def test_where_all_is_given_it_tells_one_amount() -> None:
    """Of 500,000, 175,000 are above the band, and the pension of 100,000 adds 40,000 of the tax of 70,000."""
    found = by_code(leaves(400_000, "2027-28"))["pension_counts_in_the_estate"]
    assert "The funds would add £40,000 of inheritance tax, 40%." in found.detail
    assert "largest_extra_inheritance_tax" not in found.money


@pytest.mark.parametrize(
    # Inheritance Tax Act 1984 ss.3A(4), 7(1): what is given in the seven years before a death uses the band first. 300,000
    # and a pension of 100,000 are 75,000 above 325,000, which is 30,000 of tax; the pension can add 40,000 at the most.
    ("gifts", "tax"),
    [
        ([], 30_000),
        ([("2022-03-01", 20_000)], 38_000),
        ([("2022-03-01", 10_000), ("2024-03-01", 10_000)], 38_000),
        ([("2022-03-01", 60_000)], 40_000),
        # Seven years are over on 1 June 2027, the day of the request.
        ([("2020-06-01", 20_000)], 30_000),
        ([("2020-06-02", 20_000)], 38_000),
    ],
)
def test_gifts_of_seven_years_use_the_band(gifts: list[tuple[str, float]], tax: int) -> None:
    whole = leaves(300_000, "2027-28", pension={"uncrystallised": 100_000, "drawdown": 0})
    whole["household"]["estate"]["lifetime_gifts"] = [{"date": day, "amount": amount} for day, amount in gifts]
    found = by_code(whole)["pension_counts_in_the_estate"]
    assert found.money["extra_inheritance_tax"] == tax * 100
    assert "Gifts" not in found.detail


def test_gifts_that_were_not_told_of_are_named_where_they_could_matter() -> None:
    told = "Gifts in the 7 years before death can raise this; we were not told of any."
    for outside, said in ((300_000, True), (400_000, False)):
        whole = leaves(outside, "2027-28", pension={"uncrystallised": 100_000, "drawdown": 0})
        assert (told in by_code(whole)["pension_counts_in_the_estate"].detail) == said


def test_what_passes_to_charity_is_said_not_to_be_counted() -> None:
    """Inheritance Tax Act 1984 s.23: gifts to charities are exempt."""
    told = "What passes to charity is exempt, which is not counted here."
    for share, said in ((0.1, True), (0, False)):
        found = by_code(leaves(400_000, "2027-28", charity_share=share))["pension_counts_in_the_estate"]
        assert (told in found.detail) == said


@pytest.mark.parametrize(
    # Two of a couple who leave all to others have 325,000 each; what one gave uses no more than their own. Of 660,000 and a
    # pension of 100,000, 110,000 are above 650,000.
    ("gifts", "bands"),
    [([], 650_000), ([(400_000, 0)], 325_000), ([(200_000, 0), (200_000, 1)], 250_000)],
)
def test_the_gifts_of_each_of_a_couple(gifts: list[tuple[float, int]], bands: int) -> None:
    facts = {
        "other_assets": 660_000,
        "first_death": "to_beneficiaries",
        "lifetime_gifts": [{"date": "2025-01-01", "amount": amount, "person": giver} for amount, giver in gifts],
    }
    found = by_code(
        request(date="2027-06-01", estate=facts, partner=PARTNER, pension=HELD | {"uncrystallised": 100_000})
    )["pension_counts_in_the_estate"]
    assert found.money["tax_free_bands"] == bands * 100
    assert "Each person is taken to own half of everything, pensions included." in found.detail


@pytest.mark.parametrize("home", [700_000, 990_000])
def test_a_couple_has_the_bands_of_both(home: float) -> None:
    """Two nil-rate and two residence bands are 1,000,000, whoever inherits first (ss.8A, 8G)."""
    facts = {"home": home, "home_to_descendants": True}
    found = by_code(
        request(date="2027-06-01", estate=facts, partner=PARTNER, pension={"uncrystallised": 9_000, "drawdown": 0})
    )
    assert not {"pension_counts_in_the_estate", "spouse_exemption_not_given", "estate_facts_decide"} & set(found)


@pytest.mark.parametrize(
    # Twice 325,000 and twice 175,000. The second to die of a couple leaves 2,100,000 with the pension, so that 50,000 of the
    # residence bands are lost; where each leaves 1,050,000 to others, nothing is (s.8D(5)). Amounts in pounds.
    ("first_death", "bands"),
    [(None, 950_000), ("to_beneficiaries", 1_000_000)],
)
def test_the_taper_of_a_couple(first_death: str | None, bands: int) -> None:
    facts = {"home": 2_000_000, "home_to_descendants": True, **({"first_death": first_death} if first_death else {})}
    found = by_code(
        request(date="2027-06-01", estate=facts, partner=PARTNER, pension=HELD | {"uncrystallised": 100_000})
    )
    assert found["pension_counts_in_the_estate"].money["tax_free_bands"] == bands * 100


def test_the_last_day_of_the_two_years() -> None:
    """Known on 10 May 2024: the two years begin with that day (ITEPA 2003 s.646B as first made) and end on 9 May 2026."""
    inherited = {"scheme_knew_on": "2024-05-10", "died_before_75": True}
    running = by_code(request(date="2026-05-09", inherited_pension=inherited))["two_year_window_running"]
    passed = by_code(request(date="2026-05-10", inherited_pension=inherited))["two_year_window_passed"]
    assert "by 9 May 2026" in running.detail
    assert "Days left: 1." in running.detail
    assert "ended on 9 May 2026" in passed.detail

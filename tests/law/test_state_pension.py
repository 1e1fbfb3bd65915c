"""State Pension age by date of birth, against the table of the Acts typed again; which State Pension; its yearly rate."""

from __future__ import annotations

from calendar import monthrange
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.figures.loader import load_tax_years
from service.figures.tables import load_state_pension_ages
from service.law.ages import birthday
from service.law.state_pension import full_yearly, reached_on, row_for, which

AGES = load_state_pension_ages()
YEARS = load_tax_years()
births = st.dates(date(1940, 1, 1), date(2020, 12, 31))

# First and last day of birth, and the day on which each of the two reaches State Pension age. The births and the ages or
# days are those of the Pensions Act 1995 Sch.4, as the government's State Pension age timetables give them; where the
# table gives an age, the two days are counted from it by hand. Of the specified days, the first and the last of each run
# of months were read and the others follow from memory of the same timetables: one every two months.
TABLE = [
    # Pensions Act 2011 s.1: specified days
    ("1953-12-06", "1954-01-05", "2019-03-06", "2019-03-06"),
    ("1954-01-06", "1954-02-05", "2019-05-06", "2019-05-06"),
    ("1954-02-06", "1954-03-05", "2019-07-06", "2019-07-06"),
    ("1954-03-06", "1954-04-05", "2019-09-06", "2019-09-06"),
    ("1954-04-06", "1954-05-05", "2019-11-06", "2019-11-06"),
    ("1954-05-06", "1954-06-05", "2020-01-06", "2020-01-06"),
    ("1954-06-06", "1954-07-05", "2020-03-06", "2020-03-06"),
    ("1954-07-06", "1954-08-05", "2020-05-06", "2020-05-06"),
    ("1954-08-06", "1954-09-05", "2020-07-06", "2020-07-06"),
    ("1954-09-06", "1954-10-05", "2020-09-06", "2020-09-06"),
    # 66
    ("1954-10-06", "1960-04-05", "2020-10-06", "2026-04-05"),
    # Pensions Act 2014 s.26: 66 and 1 to 11 months
    ("1960-04-06", "1960-05-05", "2026-05-06", "2026-06-05"),
    ("1960-05-06", "1960-06-05", "2026-07-06", "2026-08-05"),
    ("1960-06-06", "1960-07-05", "2026-09-06", "2026-10-05"),
    ("1960-07-06", "1960-08-05", "2026-11-06", "2026-12-05"),
    ("1960-08-06", "1960-09-05", "2027-01-06", "2027-02-05"),
    ("1960-09-06", "1960-10-05", "2027-03-06", "2027-04-05"),
    ("1960-10-06", "1960-11-05", "2027-05-06", "2027-06-05"),
    ("1960-11-06", "1960-12-05", "2027-07-06", "2027-08-05"),
    ("1960-12-06", "1961-01-05", "2027-09-06", "2027-10-05"),
    ("1961-01-06", "1961-02-05", "2027-11-06", "2027-12-05"),
    ("1961-02-06", "1961-03-05", "2028-01-06", "2028-02-05"),
    # 67
    ("1961-03-06", "1977-04-05", "2028-03-06", "2044-04-05"),
    # Pensions Act 2007, amended by Pensions Act 2014 s.26: specified days
    ("1977-04-06", "1977-05-05", "2044-05-06", "2044-05-06"),
    ("1977-05-06", "1977-06-05", "2044-07-06", "2044-07-06"),
    ("1977-06-06", "1977-07-05", "2044-09-06", "2044-09-06"),
    ("1977-07-06", "1977-08-05", "2044-11-06", "2044-11-06"),
    ("1977-08-06", "1977-09-05", "2045-01-06", "2045-01-06"),
    ("1977-09-06", "1977-10-05", "2045-03-06", "2045-03-06"),
    ("1977-10-06", "1977-11-05", "2045-05-06", "2045-05-06"),
    ("1977-11-06", "1977-12-05", "2045-07-06", "2045-07-06"),
    ("1977-12-06", "1978-01-05", "2045-09-06", "2045-09-06"),
    ("1978-01-06", "1978-02-05", "2045-11-06", "2045-11-06"),
    ("1978-02-06", "1978-03-05", "2046-01-06", "2046-01-06"),
    ("1978-03-06", "1978-04-05", "2046-03-06", "2046-03-06"),
    # 68
    ("1978-04-06", "2000-12-31", "2046-04-06", "2068-12-31"),
]


@pytest.mark.parametrize(("first", "last", "first_reached", "last_reached"), TABLE)
def test_both_ends_of_every_row(first: str, last: str, first_reached: str, last_reached: str) -> None:
    assert reached_on(date.fromisoformat(first), AGES) == date.fromisoformat(first_reached)
    assert reached_on(date.fromisoformat(last), AGES) == date.fromisoformat(last_reached)


def test_the_table_has_these_rows_and_one_for_earlier_births() -> None:
    rows = [(row.born_from, row.born_to) for row in AGES.rows]
    typed = [(date.fromisoformat(first), date.fromisoformat(last)) for first, last, _, _ in TABLE]
    assert rows == [(None, date(1953, 12, 5)), *typed[:-1], (typed[-1][0], None)]


@pytest.mark.parametrize("born", [date(1900, 1, 1), date(1950, 4, 6), date(1953, 12, 5)])
def test_born_before_6_december_1953_says_no_day(born: date) -> None:
    # Pensions Act 1995 Sch.4: a man then reached it at 65, a woman by 6 November 2018 (from memory), both before the first
    # tax year with figures.
    assert reached_on(born, AGES) is None
    assert row_for(born, AGES).reached_before == date(2019, 4, 6) == min(year.start for year in YEARS.values())


@pytest.mark.parametrize(
    ("born", "reached"),
    [
        # The three births at the end of a month that the government's State Pension age timetable decides by name.
        ("1960-07-31", "2026-11-30"),
        ("1960-12-31", "2027-09-30"),
        ("1961-01-31", "2027-11-30"),
        # The days about them, by the same rule.
        ("1960-07-30", "2026-11-30"),
        ("1960-08-01", "2026-12-01"),
        ("1960-12-30", "2027-09-30"),
        ("1961-01-01", "2027-10-01"),
        # A month end that meets a month as long or longer.
        ("1960-05-31", "2026-07-31"),
        ("1960-08-31", "2027-01-31"),
        ("1960-10-31", "2027-05-31"),
        ("1960-04-30", "2026-05-30"),
        ("1961-02-28", "2028-01-28"),
    ],
)
def test_ages_in_months_from_the_end_of_a_month(born: str, reached: str) -> None:
    assert reached_on(date.fromisoformat(born), AGES) == date.fromisoformat(reached)


@pytest.mark.parametrize(
    ("born", "reached"),
    [("1956-02-29", "2022-03-01"), ("1964-02-29", "2031-03-01"), ("1980-02-29", "2048-02-29")],
)
def test_born_on_29_february(born: str, reached: str) -> None:
    # Common practice, from memory; no published table for these births was seen.
    assert reached_on(date.fromisoformat(born), AGES) == date.fromisoformat(reached)


@settings(max_examples=300)
@given(births, births)
def test_who_is_born_later_reaches_it_no_earlier(one: date, other: date) -> None:
    earlier, later = (reached_on(born, AGES) or date.min for born in sorted((one, other)))
    assert earlier <= later


def test_from_day_to_day_nobody_born_later_reaches_it_earlier() -> None:
    days = [date(1953, 12, 6) + timedelta(days=number) for number in range(10_000)]
    assert days[-1] > date(1978, 4, 6)
    reached = [reached_on(day, AGES) for day in days]
    for (born, next_born), (first, second) in zip(pairwise(days), pairwise(reached), strict=True):
        assert first is not None
        assert second is not None
        assert first <= second, (born, next_born)
        # The rise is by months, so no day of birth costs more than two months and a day against the day before.
        assert second - first <= timedelta(days=63), (born, next_born)


@settings(max_examples=300)
@example(date(1960, 7, 31))
@example(date(1960, 2, 29))
@given(st.dates(date(1953, 12, 6), date(2020, 12, 31)))
def test_it_is_reached_from_65_to_68(born: date) -> None:
    reached = reached_on(born, AGES)
    assert reached is not None
    assert birthday(born, 65) < reached <= birthday(born, 68)
    age = row_for(born, AGES).age
    if age is not None:
        # The day of the same number, or the last of its month; 1 March is the day after a missing 29 February.
        last = monthrange(reached.year, reached.month)[1]
        assert reached.day in (born.day, last) or (born.month, born.day, reached.day) == (2, 29, 1)


@pytest.mark.parametrize(
    ("born", "expected"),
    [
        # Pensions Act 2014 s.1: the new State Pension for who reaches State Pension age on or after 6 April 2016: men born
        # from 6 April 1951, at 65, and women born from 6 April 1953 (Pensions Act 1995 Sch.4).
        ("1930-01-01", "basic"),
        ("1951-04-05", "basic"),
        ("1951-04-06", None),
        ("1953-04-05", None),
        ("1953-04-06", "new"),
        ("1978-04-06", "new"),
    ],
)
def test_which_state_pension(born: str, expected: str | None) -> None:
    assert which(date.fromisoformat(born), AGES) == expected


def test_the_births_between_are_those_whose_sex_decides() -> None:
    # A man reached it at 65 (Pensions Act 1995 Sch.4), so that the first man with the new State Pension is the first
    # whose 65th birthday is not before 6 April 2016.
    assert birthday(AGES.basic_for_all_born_before, 65) == AGES.new_from == date(2016, 4, 6)


@pytest.mark.parametrize(
    ("year", "new", "basic"),
    [
        # 52 times the weekly rates of House of Commons Library CBP-8458 and SN05649, worked out by hand, in pence.
        ("2019-20", 876_720, 671_840),  # 168.60 and 129.20 a week
        ("2025-26", 1_197_300, 917_540),  # 230.25 and 176.45 a week
        # Written statement of 26 November 2025
        ("2026-27", 1_254_760, 961_480),  # 241.30 and 184.90 a week
    ],
)
def test_the_full_rate_of_a_year(year: str, new: int, basic: int) -> None:
    assert full_yearly(YEARS[year], "new") == new
    assert full_yearly(YEARS[year], "basic") == basic


@pytest.mark.parametrize(
    ("born", "doubtful"),
    [("1950-01-01", True), ("1954-10-05", False), ("1960-05-31", False), ("1975-01-01", True), ("1978-04-06", True)],
)
def test_a_row_says_what_is_doubtful_about_it(born: str, doubtful: bool) -> None:
    authority = row_for(date.fromisoformat(born), AGES).authority
    assert authority.standing == "enacted"
    assert authority.source.startswith("Pensions Act 1995 Sch.4")
    assert (authority.caveat is not None) is doubtful


def test_the_rise_to_68_is_law_and_under_review() -> None:
    assert "The government is reviewing when State Pension age rises to 68." in (AGES.rows[-1].authority.caveat or "")

"""The tables beside the tax years: every kind of fault is refused by name, and what the service's own files hold."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from service.figures.loader import KEYS, FiguresError, load_tax_years
from service.figures.tables import TABLES, load_law_as_of, load_rising_with_prices, load_state_pension_ages

AGES, RISING, READ = "state_pension_age.toml", "rising_with_prices.toml", "law_as_of.toml"
LOADERS: dict[str, Callable[[Path], Any]] = {
    AGES: load_state_pension_ages,
    RISING: load_rising_with_prices,
    READ: load_law_as_of,
}
YEARS = load_tax_years()
LAST = list(YEARS.values())[-1]
WITH_66 = "    { from = 1954-10-06, to = 1960-04-05, age_years = 66 },\n"
WITH_66_AND_1 = "    { from = 1960-04-06, to = 1960-05-05, age_years = 66, age_months = 1 },\n"
FIRST_DAY = "{ from = 1953-12-06, to = 1954-01-05, day = 2019-03-06 }"
SECOND_GROUP = (
    'source = "Pensions Act 1995 Sch.4, amended by Pensions Act 2011 s.1"\nstanding = "enacted"\nrows = [\n    '
    + FIRST_DAY
)
SCOTLAND = 'limits = ["starter_rate", "basic_rate", "intermediate_rate"]'
PERSONAL_ALLOWANCE = "[income_tax.personal_allowance]\nup_to_next = 10\n"
MARRIAGE = 'tenth_of = "income_tax.personal_allowance"\n'


def planted(folder: Path, name: str, old: str, new: str) -> Path:
    """A copy of one of the files with ``new`` where ``old`` first stands, which it must."""
    path = Path(shutil.copy(TABLES / name, folder))
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")
    return path


def faults_of(path: Path) -> tuple[str, ...]:
    with pytest.raises(FiguresError) as caught:
        LOADERS[path.name](path)
    assert str(caught.value) == "\n".join(caught.value.faults)
    return caught.value.faults


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        pytest.param(
            "[new_state_pension]",
            'author = "someone"\n[new_state_pension]',
            "the file: author is not a known part of this file",
            id="unknown-at-the-top",
        ),
        pytest.param(
            "reached_from = 2016-04-06\n", "", "new_state_pension: reached_from is missing", id="no-first-day-of-new"
        ),
        pytest.param(
            "reached_from = 2016-04-06\n",
            "reached_from = 2016-04-06\ncolour = 3\n",
            "new_state_pension: colour is not a known part of it",
            id="unknown-part-of-new",
        ),
        pytest.param(
            "reached_from = 2016-04-06",
            'reached_from = "2016-04-06"',
            "new_state_pension: reached_from must be a day such as 2026-04-06, without quotes, not '2016-04-06'",
            id="day-in-quotes",
        ),
        pytest.param(
            "born_before = 1951-04-06",
            "born_before = 1953-04-07",
            "new_state_pension: basic_for_all_born_before must not be after new_for_all_born_from, nor that after reached_from",
            id="both-pensions-for-one-birth",
        ),
        pytest.param(
            'source = "Pensions Act 2014 s.1; Pensions Act 1995 Sch.4"\n',
            "",
            "new_state_pension: source is missing",
            id="no-source-of-new",
        ),
        pytest.param(
            SECOND_GROUP,
            SECOND_GROUP.replace('"Pensions Act 1995 Sch.4, amended by Pensions Act 2011 s.1"', '" "'),
            "ages: group 2: source must be a text that is not empty",
            id="empty-source",
        ),
        pytest.param(
            SECOND_GROUP,
            SECOND_GROUP.replace("enacted", "likely"),
            "ages: group 2: standing must be one of enacted, announced, assumed, not 'likely'",
            id="unknown-standing",
        ),
        pytest.param(
            SECOND_GROUP,
            SECOND_GROUP.replace("enacted", "assumed"),
            "ages: group 2: caveat is missing: what is assumed must say what is not set",
            id="assumed-without-a-caveat",
        ),
        pytest.param(
            SECOND_GROUP,
            SECOND_GROUP.replace("rows =", "sex = 1\nrows ="),
            "ages: group 2: sex is not a known part of a group",
            id="unknown-part-of-a-group",
        ),
        pytest.param(
            "rows = [{ to = 1953-12-05, reached_before = 2019-04-06 }]",
            "rows = []",
            "ages: group 1: rows must be a list of rows",
            id="no-rows",
        ),
        pytest.param(
            FIRST_DAY, "7", "ages: group 2, row 1: must be a table with from, to, and a day or an age", id="no-table"
        ),
        pytest.param(
            "day = 2019-03-06 }",
            "day = 2019-03-06, sex = 1 }",
            "ages: group 2, row 1: sex is not a known part of a row",
            id="unknown-part-of-a-row",
        ),
        pytest.param(
            "from = 1953-12-06",
            "from = 1953-12-06T00:00:00",
            "ages: group 2, row 1: from must be a day such as 2026-04-06, without quotes, "
            "not datetime.datetime(1953, 12, 6, 0, 0)",
            id="day-with-a-time",
        ),
        pytest.param(
            ", day = 2019-03-06 }",
            " }",
            "ages: group 2, row 1: must have exactly one of day, age_years and reached_before",
            id="neither-day-nor-age",
        ),
        pytest.param(
            "day = 2019-03-06",
            "day = 2019-03-06, age_years = 65",
            "ages: group 2, row 1: must have exactly one of day, age_years and reached_before",
            id="day-and-age",
        ),
        pytest.param(
            "day = 2019-03-06",
            "day = 2019-03-06, age_months = 5",
            "ages: group 2, row 1: age_months needs age_years",
            id="months-without-years",
        ),
        pytest.param("to = 1954-01-05", "to = 1953-12-05", "ages: group 2, row 1: to is before from", id="backwards"),
        pytest.param(
            "day = 2019-03-06",
            "day = 1954-01-05",
            "ages: group 2, row 1: day must be after the births",
            id="day-before-the-births",
        ),
        pytest.param(
            "age_years = 66 }",
            "age_years = 66.5 }",
            "ages: group 2, row 11: age_years must be a whole number of years from 1 to 119, not Decimal('66.5')",
            id="years-not-whole",
        ),
        pytest.param(
            "age_years = 66 }",
            "age_years = true }",
            "ages: group 2, row 11: age_years must be a whole number of years from 1 to 119, not True",
            id="years-true",
        ),
        pytest.param(
            "age_months = 11",
            "age_months = 12",
            "ages: group 3, row 11: age_months must be a whole number of months from 0 to 11, not 12",
            id="twelve-months",
        ),
        pytest.param(
            "{ to = 1953-12-05,",
            "{ from = 1900-01-01, to = 1953-12-05,",
            "ages: row 1 of all: the first row must not have from",
            id="first-row-begins",
        ),
        pytest.param(
            "age_years = 68 }",
            "to = 2050-01-01, age_years = 68 }",
            "ages: row 37 of all: the last row, and only the last, goes without to",
            id="last-row-ends",
        ),
        pytest.param(
            "from = 1960-04-06",
            "from = 1960-04-07",
            "ages: row 13 of all: from must be the day after the row before ends",
            id="gap",
        ),
        pytest.param(
            "from = 1960-04-06",
            "from = 1960-04-05",
            "ages: row 13 of all: from must be the day after the row before ends",
            id="overlap",
        ),
        pytest.param(
            WITH_66_AND_1,
            "",
            "ages: row 13 of all: from must be the day after the row before ends",
            id="row-left-out",
        ),
        pytest.param(
            "age_years = 66 }",
            "reached_before = 2019-04-06 }",
            "ages: row 12 of all: only the first row may have reached_before",
            id="no-day-in-the-middle",
        ),
        pytest.param(
            "age_months = 2 }",
            "age_months = 1 }",
            "ages: row 14 of all: the age is not above the one before: the rows are out of order",
            id="age-does-not-rise",
        ),
        pytest.param(
            "day = 2019-05-06",
            "day = 2019-03-06",
            "ages: row 3 of all: the day is not after the one before: the rows are out of order",
            id="day-does-not-move",
        ),
    ],
)
def test_faulty_ages_are_refused(tmp_path: Path, old: str, new: str, fault: str) -> None:
    assert faults_of(planted(tmp_path, AGES, old, new)) == (f"{AGES}: {fault}",)


def test_a_file_of_ages_without_its_parts_is_refused(tmp_path: Path) -> None:
    path = tmp_path / AGES
    path.write_text("", "utf-8")
    assert faults_of(path) == (
        f"{AGES}: ages: must be a list of groups of rows",
        f"{AGES}: new_state_pension: must be a table with reached_from, basic_for_all_born_before, "
        "new_for_all_born_from, source and standing",
    )
    path.write_text("ages = [7]", "utf-8")
    assert f"{AGES}: ages: group 1: must be a table with source, standing and rows" in faults_of(path)


def test_all_faults_of_the_ages_are_told_at_once(tmp_path: Path) -> None:
    path = planted(tmp_path, AGES, "age_years = 66 }", "age_years = 0 }")
    text = path.read_text("utf-8").replace("age_months = 11", "age_months = -1").replace("reached_from", "from")
    path.write_text(text, "utf-8")
    assert faults_of(path) == (
        f"{AGES}: ages: group 2, row 11: age_years must be a whole number of years from 1 to 119, not 0",
        f"{AGES}: ages: group 3, row 11: age_months must be a whole number of months from 0 to 11, not -1",
        f"{AGES}: new_state_pension: from is not a known part of it",
        f"{AGES}: new_state_pension: reached_from is missing",
    )


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        pytest.param(
            "stands_until_changed = [",
            'author = "someone"\nstands_until_changed = [',
            "author: is not a known part of this file",
            id="unknown-at-the-top",
        ),
        pytest.param(
            "stands_until_changed = [",
            "stands_until_changed = [7,",
            "stands_until_changed: must be a list of figures by dotted name",
            id="not-a-name",
        ),
        pytest.param(
            "stands_until_changed = [",
            'stands_until_changed = ["isa.limit",',
            "stands_until_changed: isa.limit is not a known figure",
            id="unknown-figure-that-stands",
        ),
        pytest.param(
            "stands_until_changed = [",
            'stands_until_changed = ["inheritance_tax.rate",',
            "stands_until_changed: a figure stands here twice",
            id="stands-twice",
        ),
        pytest.param(
            "stands_until_changed = [",
            'stands_until_changed = ["income_tax.personal_allowance",',
            "income_tax.personal_allowance: cannot both rise and stand until changed",
            id="rises-and-stands",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            f"[income_tax.allowance]\nup_to_next = 10\n\n{PERSONAL_ALLOWANCE}",
            "income_tax.allowance: is not a known figure",
            id="unknown-figure",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            f"[payroll.emergency_code]\nup_to_next = 10\n\n{PERSONAL_ALLOWANCE}",
            "payroll.emergency_code: is a figure of the kind code, which cannot rise with prices",
            id="kind-that-cannot-rise",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            f"[isa]\nsubscription_limit = 10\n\n{PERSONAL_ALLOWANCE}",
            "isa.subscription_limit: must be a table with up_to_next, source and standing",
            id="not-a-table",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            PERSONAL_ALLOWANCE + "colour = 3\n",
            "income_tax.personal_allowance: colour is not a known part of a rise",
            id="unknown-part",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            "[income_tax.personal_allowance]\n",
            "income_tax.personal_allowance: up_to_next must be a whole number of pounds from 1, not None",
            id="no-rounding",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            PERSONAL_ALLOWANCE.replace("10", "0"),
            "income_tax.personal_allowance: up_to_next must be a whole number of pounds from 1, not 0",
            id="rounding-to-nothing",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            PERSONAL_ALLOWANCE.replace("10", "10.5"),
            "income_tax.personal_allowance: up_to_next must be a whole number of pounds from 1, not Decimal('10.5')",
            id="rounding-not-whole",
        ),
        pytest.param(
            'source = "Income Tax Act 2007 s.57"\n',
            "",
            "income_tax.personal_allowance: source is missing",
            id="no-source",
        ),
        pytest.param(
            'standing = "enacted"\n',
            "",
            "income_tax.personal_allowance: standing must be one of enacted, announced, assumed, not None",
            id="no-standing",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            PERSONAL_ALLOWANCE + 'limits = ["basic_rate"]\n',
            "income_tax.personal_allowance: limits is for bands, and this is an amount",
            id="limits-of-an-amount",
        ),
        pytest.param(
            SCOTLAND + "\n",
            "",
            "income_tax.bands_scotland: limits must be some of starter_rate, basic_rate, intermediate_rate, "
            "higher_rate, in this order, not None",
            id="bands-without-limits",
        ),
        pytest.param(
            SCOTLAND,
            'limits = ["basic_rate", "starter_rate"]',
            "income_tax.bands_scotland: limits must be some of starter_rate, basic_rate, intermediate_rate, "
            "higher_rate, in this order, not ['basic_rate', 'starter_rate']",
            id="limits-out-of-order",
        ),
        pytest.param(
            SCOTLAND,
            'limits = ["top_rate"]',
            "income_tax.bands_scotland: limits must be some of starter_rate, basic_rate, intermediate_rate, "
            "higher_rate, in this order, not ['top_rate']",
            id="limit-of-the-last-band",
        ),
        pytest.param(
            SCOTLAND,
            SCOTLAND + '\ntenth_of = "income_tax.personal_allowance"',
            "income_tax.bands_scotland: tenth_of must name an amount of which another amount is a tenth",
            id="bands-as-a-tenth",
        ),
        pytest.param(
            MARRIAGE,
            "tenth_of = 10\n",
            "income_tax.marriage_allowance: tenth_of must name an amount of which another amount is a tenth",
            id="tenth-of-a-number",
        ),
        pytest.param(
            MARRIAGE,
            'tenth_of = "income_tax.dividend_allowance"\n',
            "income_tax.marriage_allowance: tenth_of: income_tax.dividend_allowance is not an amount that rises by itself",
            id="tenth-of-what-does-not-rise",
        ),
        pytest.param(
            MARRIAGE,
            'tenth_of = "income_tax.bands_england"\n',
            "income_tax.marriage_allowance: tenth_of: income_tax.bands_england is not an amount that rises by itself",
            id="tenth-of-bands",
        ),
        pytest.param(
            MARRIAGE,
            'tenth_of = "income_tax.marriage_allowance"\n',
            "income_tax.marriage_allowance: tenth_of: income_tax.marriage_allowance is not an amount that rises by itself",
            id="tenth-of-itself",
        ),
        pytest.param(
            '["dividend_ordinary_rate"]',
            '["dividend_ordinary_rate", "dividend_upper_rate"]',
            "income_tax.dividend_bands: the limits do not rise as those of income_tax.bands_england do",
            id="other-limits-than-the-uk-bands",
        ),
        pytest.param(
            '["property_basic_rate"]\nup_to_next = 100',
            '["property_basic_rate"]\nup_to_next = 10',
            "income_tax.property_bands: the limits do not rise as those of income_tax.bands_england do",
            id="other-rounding-than-the-uk-bands",
        ),
        pytest.param(
            '[income_tax.savings_bands]\nlimits = ["savings_basic_rate"]\nup_to_next = 100\n'
            'source = "Income Tax Act 2007 s.21"\nstanding = "enacted"\n',
            "",
            "income_tax.savings_bands: the limits do not rise as those of income_tax.bands_england do",
            id="uk-bands-rise-alone",
        ),
    ],
)
def test_faulty_rises_are_refused(tmp_path: Path, old: str, new: str, fault: str) -> None:
    assert faults_of(planted(tmp_path, RISING, old, new)) == (f"{RISING}: {fault}",)


def test_all_faults_of_the_rises_are_told_at_once(tmp_path: Path) -> None:
    path = planted(tmp_path, RISING, PERSONAL_ALLOWANCE, PERSONAL_ALLOWANCE.replace("10", "-10"))
    text = path.read_text("utf-8").replace(SCOTLAND, "limits = []").replace('"inheritance_tax.rate"', '"tax.rate"')
    path.write_text(text, "utf-8")
    assert faults_of(path) == (
        f"{RISING}: stands_until_changed: tax.rate is not a known figure",
        f"{RISING}: income_tax.personal_allowance: up_to_next must be a whole number of pounds from 1, not -10",
        f"{RISING}: income_tax.bands_scotland: limits must be some of starter_rate, basic_rate, intermediate_rate, "
        "higher_rate, in this order, not []",
    )


@pytest.mark.parametrize("name", LOADERS)
@pytest.mark.parametrize("content", [b"ages = ", b"ages = '\xff'", b"[a]\n[a]\n"])
def test_file_that_is_not_toml_is_refused(tmp_path: Path, name: str, content: bytes) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    (fault,) = faults_of(path)
    assert fault.startswith(f"{name}: not a TOML file: ")


@pytest.mark.parametrize("name", LOADERS)
def test_the_version_follows_from_what_a_table_says_alone(tmp_path: Path, name: str) -> None:
    load, path = LOADERS[name], Path(shutil.copy(TABLES / name, tmp_path))
    version = load(TABLES / name).version
    assert re.fullmatch("f[0-9a-f]{12}", version)
    # Neither a comment nor what ends a line says anything.
    path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n") + b"# A comment.\r\n")
    assert load(path).version == version
    assert load(planted(tmp_path, name, 'source = "', 'source = "Also: ')).version != version


def test_these_are_the_only_tables_and_no_tax_years() -> None:
    assert {path.name for path in TABLES.iterdir()} == set(LOADERS)
    assert not any("table" in name or "_" in name for name in YEARS)


def test_what_rises_and_how() -> None:
    # Income Tax Act 2007 s.57 (allowances, up to 10 pounds), s.21 (basic rate limit up to 100, starting rate limit up to
    # 10) and s.55B(5); Scotland: an assumption of our own. Pence.
    rises = load_rising_with_prices().rises
    assert {name: (rise.limits, rise.up_to_next) for name, rise in rises.items()} == {
        "income_tax.personal_allowance": ((), 1_000),
        "income_tax.blind_persons_allowance": ((), 1_000),
        "income_tax.marriage_allowance": ((), 1_000),
        "income_tax.bands_england": (("basic_rate",), 10_000),
        "income_tax.bands_northern_ireland": (("basic_rate",), 10_000),
        "income_tax.bands_wales": (("basic_rate",), 10_000),
        "income_tax.savings_bands": (("savings_basic_rate",), 10_000),
        "income_tax.dividend_bands": (("dividend_ordinary_rate",), 10_000),
        "income_tax.property_bands": (("property_basic_rate",), 10_000),
        "income_tax.starting_rate_for_savings_limit": ((), 1_000),
        "income_tax.bands_scotland": (("starter_rate", "basic_rate", "intermediate_rate"), 100),
    }
    assert {name: rise.tenth_of for name, rise in rises.items() if rise.tenth_of} == {
        "income_tax.marriage_allowance": "income_tax.personal_allowance"
    }
    assert {name for name, rise in rises.items() if rise.authority.standing != "enacted"} == {
        "income_tax.bands_scotland"
    }


def test_only_what_is_enacted_and_known_stands() -> None:
    rising = load_rising_with_prices()
    assert rising.stands <= set(KEYS)
    assert {name: LAST.figures[name].standing for name in rising.stands} == dict.fromkeys(rising.stands, "enacted")
    # Set for a time: Finance Act 2026 ss.9, 10 and 72 to 5 April 2031; HMRC newsletter 19 to the same day.
    for name in ("income_tax.personal_allowance", "inheritance_tax.nil_rate_band", "isa.subscription_limit"):
        assert name not in rising.stands


def test_how_far_the_reading_of_the_law_goes() -> None:
    # The draft regulations on sharing information, as on that day: no text that was read for a figure is newer.
    assert load_law_as_of().day == date(2026, 5, 18)


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("day = 2026-05-18\n", "", "day is missing"),
        (
            "day = 2026-05-18",
            'day = "2026-05-18"',
            "day must be a day such as 2026-04-06, without quotes, not '2026-05-18'",
        ),
        ("source = ", "sources = ", "source is missing"),
        ("source = ", 'source = ""\nnote = ', "source must be a text that is not empty"),
    ],
)
def test_a_fault_in_how_far_the_reading_goes_is_refused(tmp_path: Path, old: str, new: str, fault: str) -> None:
    assert f"{READ}: the file: {fault}" in faults_of(planted(tmp_path, READ, old, new))


def test_caveats_are_sentences() -> None:
    ages = load_state_pension_ages()
    authorities = [row.authority for row in ages.rows] + [ages.new_authority]
    authorities += [rise.authority for rise in load_rising_with_prices().rises.values()]
    caveats = [authority.caveat for authority in authorities if authority.caveat is not None]
    assert caveats
    for caveat in caveats:
        assert caveat[0].isupper(), caveat
        assert caveat.endswith("."), caveat


def test_the_first_row_ends_before_the_first_tax_year() -> None:
    first = load_state_pension_ages().rows[0]
    assert first.born_from is None
    assert first.born_to == date(1953, 12, 5)
    assert first.reached_before == next(iter(YEARS.values())).start

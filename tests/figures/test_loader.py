"""The loader refuses every kind of faulty file by name, and takes a new tax year without a line of code."""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping
from datetime import date
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from service.figures import tax_years
from service.figures.loader import (
    FOLDER,
    KEYS,
    Band,
    Figure,
    FiguresError,
    TaxYearFigures,
    load_tax_years,
    years_version,
)
from service.figures.printing import whole_year, year_to_come

YEARS = load_tax_years()
PERSONAL_ALLOWANCE = "[income_tax.personal_allowance]\nvalue = 12570\n"
ENGLISH_BANDS = """\
[income_tax.bands_england]
value = [
    { name = "basic_rate", rate = 0.2, up_to = 37700 },
    { name = "higher_rate", rate = 0.4, up_to = 125140 },
    { name = "additional_rate", rate = 0.45 },
]
"""
HIGHER_BAND = '{ name = "higher_rate", rate = 0.4, up_to = 125140 }'


def copy_of(folder: Path, year: str = "2026-27", name: str | None = None) -> Path:
    """A file that states all of a year's figures, as a first year's does, in ``folder``, as ``name``."""
    path = folder / f"{name or year}.toml"
    path.write_text(whole_year(YEARS[year]), "utf-8")
    return path


def copies(folder: Path) -> None:
    """The service's own files, in ``folder``."""
    for path in FOLDER.glob("*.toml"):
        shutil.copy(path, folder)


def loaded(path: Path) -> TaxYearFigures:
    """The tax year of a file, from its folder."""
    return load_tax_years(path.parent)[path.stem]


def plant(path: Path, old: str, new: str) -> None:
    """Put ``new`` where ``old`` first stands, which it must."""
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), "utf-8")


def faults_of(path: Path) -> tuple[str, ...]:
    with pytest.raises(FiguresError) as caught:
        load_tax_years(path.parent)
    assert str(caught.value) == "\n".join(caught.value.faults)
    return caught.value.faults


def replaced(old: str, new: str) -> str:
    """The English bands with one piece changed."""
    assert old in ENGLISH_BANDS
    return ENGLISH_BANDS.replace(old, new)


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        pytest.param(
            PERSONAL_ALLOWANCE,
            f"[income_tax.personal_alowance]\nvalue = 1\n\n{PERSONAL_ALLOWANCE}",
            "income_tax.personal_alowance: is not a known figure",
            id="unknown-figure",
        ),
        pytest.param(
            "[isa.subscription_limit]",
            "[pensions.annual_allowance]\nvalue = 1\n\n[isa.subscription_limit]",
            "pensions.annual_allowance: is not a known figure",
            id="unknown-section",
        ),
        pytest.param(
            'tax_year = "2026-27"',
            'tax_year = "2026-27"\nauthor = "someone"',
            "author: is not a known section",
            id="unknown-entry-at-the-top",
        ),
        pytest.param(
            "[isa.subscription_limit]",
            '[income_tax.property_bands]\nvalue = 1\nsource = "none"\nstanding = "enacted"\n\n[isa.subscription_limit]',
            "income_tax.property_bands: is not a figure of 2026-27",
            id="figure-of-other-years",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            PERSONAL_ALLOWANCE + "colour = 3\n",
            "income_tax.personal_allowance: colour is not a known part of a figure",
            id="unknown-part",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            "[income_tax.personal_allowance]\n",
            "income_tax.personal_allowance: value is missing",
            id="no-value",
        ),
        pytest.param(
            'source = "Finance Act 2021 s.5 as amended by Finance Act 2023 s.5"\n',
            "",
            "income_tax.personal_allowance: source is missing",
            id="no-source",
        ),
        pytest.param(
            'source = "Finance Act 2021 s.5 as amended by Finance Act 2023 s.5"\n',
            'source = " "\n',
            "income_tax.personal_allowance: source must be a text that is not empty",
            id="empty-source",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            PERSONAL_ALLOWANCE + 'caveat = ""\n',
            "income_tax.personal_allowance: caveat must be a text that is not empty",
            id="empty-caveat",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            PERSONAL_ALLOWANCE + "note = 7\n",
            "income_tax.personal_allowance: note must be a text that is not empty",
            id="note-not-a-text",
        ),
        pytest.param(
            'standing = "enacted"',
            'standing = "likely"',
            "income_tax.personal_allowance: standing must be one of enacted, announced, assumed, not 'likely'",
            id="unknown-standing",
        ),
        pytest.param(
            'standing = "enacted"\n',
            "",
            "income_tax.personal_allowance: standing must be one of enacted, announced, assumed, not None",
            id="no-standing",
        ),
        pytest.param(
            'standing = "enacted"',
            'standing = "assumed"',
            "income_tax.personal_allowance: caveat is missing: what is assumed must say what is not set",
            id="assumed-without-a-caveat",
        ),
        pytest.param(
            'standing = "enacted"',
            'standing = "announced"',
            "income_tax.personal_allowance: caveat is missing: what is announced must say what is not law",
            id="announced-without-a-caveat",
        ),
        pytest.param(
            PERSONAL_ALLOWANCE,
            PERSONAL_ALLOWANCE + 'evidence = ""\n',
            "income_tax.personal_allowance: evidence must be a text that is not empty",
            id="empty-evidence",
        ),
        pytest.param(
            "value = 12570",
            'value = "12570"',
            "income_tax.personal_allowance: must be an amount of money, not '12570'",
            id="money-in-quotes",
        ),
        pytest.param(
            "value = 12570",
            "value = true",
            "income_tax.personal_allowance: must be an amount of money, not True",
            id="money-true",
        ),
        pytest.param(
            "value = 12570",
            "value = nan",
            "income_tax.personal_allowance: must be an amount of money, not Decimal('NaN')",
            id="money-nan",
        ),
        pytest.param(
            "value = 12570",
            "value = inf",
            "income_tax.personal_allowance: must be an amount of money, not Decimal('Infinity')",
            id="money-infinite",
        ),
        pytest.param(
            "value = 12570",
            "value = -12570",
            "income_tax.personal_allowance: must not be negative, and -12570 is",
            id="money-negative",
        ),
        pytest.param(
            "value = 12570",
            "value = 12570.005",
            "income_tax.personal_allowance: 12570.005 has more than 2 decimals",
            id="money-below-a-penny",
        ),
        pytest.param(
            "value = 0.36",
            "value = 0.36005",
            "inheritance_tax.charity_rate: 0.36005 has more than 4 decimals",
            id="rate-below-a-basis-point",
        ),
        pytest.param(
            "value = 0.36",
            "value = -0.36",
            "inheritance_tax.charity_rate: must not be negative, and -0.36 is",
            id="rate-negative",
        ),
        pytest.param(
            "value = 0.36",
            "value = 36",
            "inheritance_tax.charity_rate: a rate is a fraction, 0.2 for 20%, and 36 is more than 1",
            id="rate-in-percent",
        ),
        pytest.param(
            "value = 0.36",
            'value = "0.36"',
            "inheritance_tax.charity_rate: must be a rate, not '0.36'",
            id="rate-in-quotes",
        ),
        pytest.param(
            "value = 55",
            "value = 55.5",
            "pension.minimum_pension_age: must be a whole number, not Decimal('55.5')",
            id="count-not-whole",
        ),
        pytest.param(
            "value = 55",
            "value = -55",
            "pension.minimum_pension_age: must not be negative, and -55 is",
            id="count-negative",
        ),
        pytest.param(
            'value = "most_favourable"',
            'value = "best"',
            "income_tax.allowance_order: must be one of most_favourable, other_income_first, not 'best'",
            id="unknown-word",
        ),
        pytest.param(
            'value = "1257L"',
            'value = "L1257"',
            "payroll.emergency_code: must be a code such as 1257L, not 'L1257'",
            id="not-a-tax-code",
        ),
        pytest.param("{ BR = 0.2,", "{", "payroll.flat_rate_codes: BR is missing", id="code-missing"),
        pytest.param(
            "{ BR = 0.2,",
            "{ BR = 0.2, XX = 0.2,",
            "payroll.flat_rate_codes: XX is not a tax code with one rate",
            id="unknown-code",
        ),
        pytest.param(
            "{ BR = 0.2,",
            "{ BR = 20,",
            "payroll.flat_rate_codes: BR: a rate is a fraction, 0.2 for 20%, and 20 is more than 1",
            id="code-rate-in-percent",
        ),
    ],
)
def test_faulty_figure_is_refused(tmp_path: Path, old: str, new: str, fault: str) -> None:
    path = copy_of(tmp_path)
    plant(path, old, new)
    assert faults_of(path) == (f"2026-27.toml: {fault}",)


@pytest.mark.parametrize(
    ("new", "fault"),
    [
        pytest.param(
            replaced("37700", "125140"),
            "band 2: up_to is not above the band before: the bands are out of order",
            id="equal-limits",
        ),
        pytest.param(
            replaced("37700", "130000"),
            "band 2: up_to is not above the band before: the bands are out of order",
            id="limits-out-of-order",
        ),
        pytest.param(
            replaced("37700", "0"),
            "band 1: up_to is not above the band before: the bands are out of order",
            id="first-band-empty",
        ),
        pytest.param(
            replaced(", up_to = 125140", ""),
            "band 2: up_to is missing, and only the last band goes without",
            id="no-limit-in-the-middle",
        ),
        pytest.param(
            replaced("0.45 }", "0.45, up_to = 900000 }"),
            "band 3: the last band must not have up_to",
            id="limit-on-the-last-band",
        ),
        pytest.param(
            replaced("37700", "37700.001"),
            "band 1: up_to: 37700.001 has more than 2 decimals",
            id="limit-below-a-penny",
        ),
        pytest.param(
            replaced("37700", "-37700"), "band 1: up_to: must not be negative, and -37700 is", id="limit-negative"
        ),
        pytest.param(
            replaced("rate = 0.4,", "rate = 40,"),
            "band 2: rate: a rate is a fraction, 0.2 for 20%, and 40 is more than 1",
            id="band-rate-in-percent",
        ),
        pytest.param(
            replaced("rate = 0.4,", "rate = 0.40001,"),
            "band 2: rate: 0.40001 has more than 4 decimals",
            id="band-rate-below-a-basis-point",
        ),
        pytest.param(replaced(" rate = 0.4,", ""), "band 2: rate is missing", id="band-without-rate"),
        pytest.param(replaced('name = "higher_rate", ', ""), "band 2: name is missing", id="band-without-name"),
        pytest.param(
            replaced('"higher_rate"', '"Higher rate"'),
            "band 2: name must be lower-case words joined by _, not 'Higher rate'",
            id="band-name-spelt-wrong",
        ),
        pytest.param(
            replaced("rate = 0.4,", "rate = 0.4, from = 1,"),
            "band 2: from is not a known part of a band",
            id="unknown-part-of-a-band",
        ),
        pytest.param(
            replaced(HIGHER_BAND, "7"),
            "band 2: must be a table with name, rate and, but for the last band, up_to",
            id="band-not-a-table",
        ),
        pytest.param(replaced('"higher_rate"', '"basic_rate"'), "two bands have the same name", id="name-twice"),
        pytest.param(
            replaced('"higher_rate"', '"upper_rate"'),
            "there must be these bands in this order: basic_rate, higher_rate, additional_rate",
            id="band-renamed",
        ),
        pytest.param("[income_tax.bands_england]\nvalue = []\n", "must be a list of bands", id="no-bands"),
        pytest.param("[income_tax.bands_england]\nvalue = 0.2\n", "must be a list of bands", id="not-a-list"),
    ],
)
def test_faulty_bands_are_refused(tmp_path: Path, new: str, fault: str) -> None:
    path = copy_of(tmp_path)
    plant(path, ENGLISH_BANDS, new)
    assert faults_of(path) == (f"2026-27.toml: income_tax.bands_england: {fault}",)


@pytest.mark.parametrize(
    ("bands", "first_band"),
    [
        ("savings_bands", '{ name = "savings_basic_rate", rate = 0.22, up_to = '),
        ("dividend_bands", '{ name = "dividend_ordinary_rate", rate = 0.1075, up_to = '),
        ("property_bands", '{ name = "property_basic_rate", rate = 0.22, up_to = '),
    ],
)
def test_limits_other_than_the_uk_ones_are_refused(tmp_path: Path, bands: str, first_band: str) -> None:
    path = copy_of(tmp_path, "2027-28")
    plant(path, f"{first_band}37700", f"{first_band}37500")
    assert faults_of(path) == (
        f"2027-28.toml: income_tax.{bands}: the limits are not those of income_tax.bands_england",
    )


@pytest.mark.parametrize("figure", [name for name, key in KEYS.items() if key.belongs_to("2026-27")])
def test_missing_figure_is_refused(tmp_path: Path, figure: str) -> None:
    path = copy_of(tmp_path)
    before, heading, rest = path.read_text("utf-8").partition(f"[{figure}]\n")
    assert heading
    _, following, after = rest.partition("\n[")
    path.write_text(before + following.lstrip("\n") + after, "utf-8")
    assert faults_of(path) == (f"2026-27.toml: {figure}: is missing",)


def test_figure_that_is_not_a_table_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "2026-27.toml"
    path.write_text('tax_year = "2026-27"\n[isa]\nsubscription_limit = 20000\n', "utf-8")
    assert "2026-27.toml: isa.subscription_limit: must be a table with value, source and standing" in faults_of(path)


def test_all_faults_of_a_file_are_told_at_once(tmp_path: Path) -> None:
    path = copy_of(tmp_path)
    plant(path, "value = 12570", "value = -1")
    plant(path, "value = 0.36", "value = 36")
    plant(path, 'standing = "enacted"', 'standing = "likely"')
    assert faults_of(path) == (
        "2026-27.toml: income_tax.personal_allowance: standing must be one of enacted, announced, assumed, not 'likely'",
        "2026-27.toml: income_tax.personal_allowance: must not be negative, and -1 is",
        "2026-27.toml: inheritance_tax.charity_rate: a rate is a fraction, 0.2 for 20%, and 36 is more than 1",
    )


def test_all_faulty_files_of_a_folder_are_told_at_once(tmp_path: Path) -> None:
    for year in ("2025-26", "2026-27"):
        plant(copy_of(tmp_path, year), "value = 12570", "value = -1")
    with pytest.raises(FiguresError) as caught:
        load_tax_years(tmp_path)
    assert caught.value.faults == tuple(
        f"{year}.toml: income_tax.personal_allowance: must not be negative, and -1 is"
        for year in ("2025-26", "2026-27")
    )


def test_file_named_for_another_year_is_refused(tmp_path: Path) -> None:
    path = copy_of(tmp_path, "2028-29", name="2029-30")
    assert faults_of(path) == ("2029-30.toml: tax_year: must be \"2029-30\" as the file's name is, not '2028-29'",)


@pytest.mark.parametrize("new", ['"2025-12-01"', "2025", "2025-12-01T00:00:00", "true"])
def test_a_day_that_is_no_day_is_refused(tmp_path: Path, new: str) -> None:
    path = copy_of(tmp_path, "2025-26")
    plant(path, "value = 2025-12-01", f"value = {new}")
    (fault,) = faults_of(path)
    assert fault.startswith("2025-26.toml: deposit_protection.changes_on: must be a day such as 2026-04-06")


@pytest.mark.parametrize("name", ["2026-28", "2026-2027", "rates", "26-27", "٢٠٢٦-٢٧"])
def test_file_name_that_is_no_tax_year_is_refused(tmp_path: Path, name: str) -> None:
    path = copy_of(tmp_path, name=name)
    plant(path, 'tax_year = "2026-27"', f'tax_year = "{name}"')
    assert faults_of(path) == (f"{name}.toml: the file's name is not a tax year such as 2026-27",)


@pytest.mark.parametrize("content", [b"tax_year = ", b"tax_year = '\xff'", b"[a]\n[a]\n"])
def test_file_that_is_not_toml_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "2026-27.toml"
    path.write_bytes(content)
    (fault,) = faults_of(path)
    assert fault.startswith("2026-27.toml: not a TOML file: ")


def test_folder_without_figures_is_refused(tmp_path: Path) -> None:
    with pytest.raises(FiguresError, match="there is no file of figures here"):
        load_tax_years(tmp_path)


def test_new_tax_year_needs_only_a_file(tmp_path: Path) -> None:
    copies(tmp_path)
    new = tmp_path / "2031-32.toml"
    new.write_text(year_to_come(YEARS["2030-31"]), "utf-8")
    plant(new, '    "income_tax.personal_allowance",\n', "")
    with new.open("a", encoding="utf-8") as file:
        file.write(
            '[income_tax.personal_allowance]\nvalue = 13000.50\nsource = "An Act of ours"\nstanding = "enacted"\n'
        )
    years = load_tax_years(tmp_path)
    assert list(years) == [*YEARS, "2031-32"]
    assert years["2031-32"].money("income_tax.personal_allowance") == 1_300_050
    assert years["2031-32"].figures["inheritance_tax.rate"] == YEARS["2030-31"].figures["inheritance_tax.rate"]
    assert (years["2031-32"].start, years["2031-32"].end) == (date(2031, 4, 6), date(2032, 4, 5))
    assert years_version(years) != years_version(YEARS)


def test_new_band_of_a_nation_needs_no_code(tmp_path: Path) -> None:
    path = copy_of(tmp_path)
    band = '{ name = "middle_rate", rate = 0.3, up_to = 50000 }'
    plant(path, '    { name = "higher_rate", rate = 0.42', f'    {band},\n    {{ name = "higher_rate", rate = 0.42')
    assert Band("middle_rate", 3_000, 5_000_000) in loaded(path).bands("income_tax.bands_scotland")


def test_next_century_follows_on(tmp_path: Path) -> None:
    path = copy_of(tmp_path, "2030-31", name="2099-00")
    plant(path, 'tax_year = "2030-31"', 'tax_year = "2099-00"')
    assert loaded(path).end == date(2100, 4, 5)


def test_years_are_in_order_without_gaps() -> None:
    years = load_tax_years()
    assert list(years) == sorted(years)
    starts = [year.start.year for year in years.values()]
    assert starts == list(range(2019, 2019 + len(years)))
    assert all(name == year.name for name, year in years.items())


def test_amounts_become_pence_and_rates_basis_points() -> None:
    year = YEARS["2026-27"]
    assert year.money("state_pension.new_full_weekly") == 24_130
    assert year.money("income_tax.personal_allowance") == 1_257_000
    assert year.rate("inheritance_tax.charity_rate") == 3_600
    assert year.count("pension.minimum_pension_age") == 55
    assert year.text("payroll.emergency_code") == "1257L"
    assert year.text("income_tax.allowance_order") == "most_favourable"
    assert year.rates("payroll.flat_rate_codes")["SD3"] == 4_800
    assert year.bands("income_tax.dividend_bands") == (
        Band("dividend_ordinary_rate", 1_075, 3_770_000),
        Band("dividend_upper_rate", 3_575, 12_514_000),
        Band("dividend_additional_rate", 3_935, None),
    )
    assert (year.start, year.end) == (date(2026, 4, 6), date(2027, 4, 5))


def test_every_value_is_exact() -> None:
    def numbers(figure: Figure) -> list[object]:
        if isinstance(figure.value, tuple):
            return [number for band in figure.value for number in (band.rate, band.up_to) if number is not None]
        return list(figure.value.values()) if isinstance(figure.value, Mapping) else [figure.value]

    found = [
        (type(number), figure.kind)
        for year in load_tax_years().values()
        for figure in year.figures.values()
        for number in numbers(figure)
    ]
    assert {kind for _, kind in found} == {key.kind for key in KEYS.values()}
    types = {"text": str, "code": str, "date": date}
    assert all(of is types.get(kind, int) for of, kind in found)


def test_look_up_of_the_wrong_kind_or_of_nothing_fails() -> None:
    year = YEARS["2026-27"]
    with pytest.raises(TypeError, match=r"pension.tax_free_fraction is rate, not money"):
        year.money("pension.tax_free_fraction")
    with pytest.raises(KeyError):
        year.bands("income_tax.property_bands")
    assert not year.has("income_tax.property_bands")
    assert year.has("income_tax.savings_bands")


def test_what_is_loaded_cannot_be_changed() -> None:
    years = load_tax_years()
    year = years["2026-27"]
    mappings: list[Any] = [years, year.figures, year.rates("payroll.flat_rate_codes")]
    for mapping in mappings:
        with pytest.raises(TypeError):
            mapping["BR"] = 0


@pytest.mark.parametrize(
    ("figure", "standing", "expected"),
    [
        ("income_tax.dividend_allowance", "announced", "announced"),
        ("payroll.emergency_code", "assumed", "assumed"),
        ("pension.small_pot_limit", "announced", "announced"),
        ("isa.subscription_limit", "assumed", "enacted"),
        ("state_pension.new_full_weekly", "assumed", "enacted"),
    ],
)
def test_status_of_a_year_is_its_weakest(tmp_path: Path, figure: str, standing: str, expected: str) -> None:
    path = copy_of(tmp_path)
    assert loaded(path).standing == "enacted"
    before, heading, after = path.read_text("utf-8").partition(f"[{figure}]\n")
    table, following, rest = after.partition("\n[")
    kept = [line for line in table.splitlines() if line.startswith(("value", "source"))]
    changed = "\n".join([*kept, f'standing = "{standing}"', 'caveat = "Changed for a test."', ""])
    path.write_text(before + heading + changed + following + rest, "utf-8")
    assert loaded(path).standing == expected


def test_assumed_outweighs_announced(tmp_path: Path) -> None:
    path = copy_of(tmp_path)
    plant(path, 'standing = "enacted"', 'standing = "assumed"\ncaveat = "Changed for a test."')
    plant(path, 'standing = "enacted"', 'standing = "announced"\ncaveat = "Changed for a test."')
    assert loaded(path).standing == "assumed"


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("value = 12570", "value = 12571"),
        ("rate = 0.2, up_to", "rate = 0.21, up_to"),
        ("BR = 0.2", "BR = 0.21"),
        ('source = "Finance Act 2023 s.7"', 'source = "Finance Act 2023 s.8"'),
        ('standing = "enacted"', 'standing = "announced"\ncaveat = "Changed for a test."'),
        ('evidence = "', 'evidence = "Not '),
        ('caveat = "', 'caveat = "Not '),
        ('note = "A tenth', 'note = "About a tenth'),
        ('\nnote = "A tenth of the personal allowance, up to the next 10 pounds."', ""),
    ],
)
def test_version_changes_with_anything_that_a_figure_says(tmp_path: Path, old: str, new: str) -> None:
    path = copy_of(tmp_path)
    plant(path, old, new)
    assert loaded(path).version != YEARS["2026-27"].version


def test_version_follows_from_the_figures_alone(tmp_path: Path) -> None:
    """Neither a comment nor the file that states a figure makes another version."""
    path = copy_of(tmp_path)
    assert {figure.stated_in for figure in loaded(path).figures.values()} == {"2026-27"}
    assert {figure.stated_in for figure in YEARS["2026-27"].figures.values()} > {"2019-20", "2026-27"}
    original = YEARS["2026-27"].version
    assert loaded(path).version == original
    plant(path, "tax_year =", "# A comment.\ntax_year =")
    assert loaded(path).version == original
    assert re.fullmatch("f[0-9a-f]{12}", original)


def test_version_changes_in_every_year_that_takes_a_figure_from_a_file(tmp_path: Path) -> None:
    copies(tmp_path)
    dividend_allowance = "[income_tax.dividend_allowance]\nvalue = "
    plant(tmp_path / "2023-24.toml", f"{dividend_allowance}1000", f"{dividend_allowance}1001")
    changed = load_tax_years(tmp_path)
    assert [name for name in YEARS if changed[name].version != YEARS[name].version] == ["2023-24"]
    plant(tmp_path / "2024-25.toml", f"{dividend_allowance}500", f"{dividend_allowance}501")
    changed = load_tax_years(tmp_path)
    assert [name for name in YEARS if changed[name].version != YEARS[name].version] == [
        name for name in YEARS if name >= "2023-24"
    ]


def test_version_of_all_years_changes_with_any_of_them(tmp_path: Path) -> None:
    unchanged = years_version(YEARS)
    copies(tmp_path)
    assert years_version(load_tax_years(tmp_path)) == unchanged
    for path in FOLDER.glob("*.toml"):
        plant(tmp_path / path.name, 'source = "', 'source = "A')
        assert years_version(load_tax_years(tmp_path)) != unchanged
        shutil.copy(path, tmp_path)


def test_evidence_caveat_and_note_are_kept() -> None:
    year = YEARS["2027-28"]
    limit = year.figures["isa.cash_limit_under_65"]
    assert limit.caveat is not None
    assert limit.caveat.startswith("The cash ISA limit for people under 65 was announced")
    assert limit.evidence is not None
    assert limit.evidence.startswith("HMRC's newsletter 19 read:")
    assert limit.note == "Inside the subscription limit; from age 65 the whole subscription limit."
    assert year.figures["income_tax.personal_allowance"].caveat is None
    assert year.figures["income_tax.personal_allowance"].note is None


def a_year_after_another(folder: Path) -> Path:
    """The service's file of 2027-28 after one that states all of 2026-27."""
    copy_of(folder, "2026-27")
    return Path(shutil.copy(FOLDER / "2027-28.toml", folder))


def test_what_is_unchanged_is_that_of_the_year_before(tmp_path: Path) -> None:
    year = loaded(a_year_after_another(tmp_path))
    before = load_tax_years(tmp_path)["2026-27"].figures["inheritance_tax.rate"]
    assert year.figures["inheritance_tax.rate"] == before
    assert before.stated_in == "2026-27"
    assert year.figures["isa.subscription_limit"].stated_in == "2027-28"
    assert year.version == YEARS["2027-28"].version


def test_an_unchanged_figure_names_its_own_tax_year() -> None:
    name = "student_loan.plan_1_threshold"
    for of in ("2027-28", "2028-29", "2029-30", "2030-31"):
        figure = YEARS[of].figures[name]
        assert (figure.caveat, figure.stated_in) == (
            f"The student loan thresholds for {of} are not yet set; the last known ones are used.",
            "2027-28",
        )
    for year in YEARS.values():
        assert not any("{" in f"{one.source}{one.evidence}{one.caveat}{one.note}" for one in year.figures.values())


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        pytest.param(
            '    "inheritance_tax.rate",\n',
            "",
            "inheritance_tax.rate: is missing: it is neither stated nor said to be unchanged",
            id="neither-stated-nor-unchanged",
        ),
        pytest.param(
            '    "inheritance_tax.rate",\n',
            '    "inheritance_tax.rate",\n    "isa.subscription_limit",\n',
            "isa.subscription_limit: is stated and said to be unchanged as well",
            id="stated-and-unchanged",
        ),
        pytest.param(
            '    "inheritance_tax.rate",\n',
            '    "inheritance_tax.rate",\n    "inheritance_tax.rate",\n',
            "unchanged: inheritance_tax.rate stands here twice",
            id="twice",
        ),
        pytest.param(
            '    "inheritance_tax.rate",\n',
            '    "inheritance_tax.rate",\n    "inheritance_tax.rates",\n',
            "unchanged: inheritance_tax.rates is not a known figure",
            id="unknown",
        ),
        pytest.param(
            '    "inheritance_tax.rate",\n',
            '    "inheritance_tax.rate",\n    "pension.lifetime_allowance",\n',
            "unchanged: pension.lifetime_allowance is not a figure of 2027-28",
            id="of-other-years",
        ),
        pytest.param(
            "[income_tax.property_bands]\n",
            '[income_tax.property_bands]\nunchanged = ["isa.subscription_limit"]\n',
            "income_tax.property_bands: unchanged is not a known part of a figure",
            id="below-a-heading",
        ),
        pytest.param(
            "loan thresholds for {tax_year} are",
            "The threshold for {year} is",
            "student_loan.plan_1_threshold: caveat: what stands in braces can only be {tax_year}",
            id="other-words-in-braces",
        ),
        pytest.param(
            "loan thresholds for {tax_year} are",
            "loan thresholds for {tax_year are",
            "student_loan.plan_1_threshold: caveat: what stands in braces can only be {tax_year}",
            id="brace-left-open",
        ),
    ],
)
def test_faulty_change_is_refused(tmp_path: Path, old: str, new: str, fault: str) -> None:
    path = a_year_after_another(tmp_path)
    plant(path, old, new)
    assert faults_of(path) == (f"2027-28.toml: {fault}",)


@pytest.mark.parametrize("figure", [name for name, key in KEYS.items() if key.belongs_to("2027-28")])
def test_a_figure_that_a_later_year_leaves_out_is_refused(tmp_path: Path, figure: str) -> None:
    path = a_year_after_another(tmp_path)
    text = path.read_text("utf-8")
    before, heading, rest = text.partition(f"[{figure}]\n")
    left = before + "[" + rest.partition("\n[")[2] if heading else text.replace(f'    "{figure}",\n', "")
    assert left != text
    path.write_text(left.removesuffix("["), "utf-8")
    assert faults_of(path) == (f"2027-28.toml: {figure}: is missing: it is neither stated nor said to be unchanged",)


def test_a_new_figure_cannot_be_unchanged(tmp_path: Path) -> None:
    path = a_year_after_another(tmp_path)
    before, _, rest = path.read_text("utf-8").partition("[income_tax.property_bands]\n")
    path.write_text(before + "[" + rest.partition("\n[")[2], "utf-8")
    plant(path, '    "inheritance_tax.rate",\n', '    "income_tax.property_bands",\n    "inheritance_tax.rate",\n')
    assert faults_of(path) == (
        "2027-28.toml: unchanged: income_tax.property_bands is not a figure of 2026-27, so it must be stated",
    )


@pytest.mark.parametrize("listed", ['"isa.subscription_limit"', "[7]", "{}", '["isa.subscription_limit", true]'])
def test_a_list_of_what_is_unchanged_that_is_none_is_refused(tmp_path: Path, listed: str) -> None:
    path = copy_of(tmp_path)
    plant(path, 'tax_year = "2026-27"', f'tax_year = "2026-27"\nunchanged = {listed}')
    assert faults_of(path) == ("2026-27.toml: unchanged: must be a list of figures by dotted name",)


def test_nothing_is_unchanged_in_the_first_year(tmp_path: Path) -> None:
    path = Path(shutil.copy(FOLDER / "2027-28.toml", tmp_path))
    assert faults_of(path) == (
        "2027-28.toml: unchanged: must not be in the first year's file, which states every figure",
    )


def test_a_year_that_does_not_follow_the_one_before_is_refused(tmp_path: Path) -> None:
    copy_of(tmp_path, "2027-28")
    path = Path(shutil.copy(FOLDER / "2029-30.toml", tmp_path))
    assert faults_of(path) == ("2029-30.toml: tax_year: is not the one after 2027-28, which is the file before this",)


def test_a_fault_is_told_of_the_file_that_states_it_alone(tmp_path: Path) -> None:
    path = a_year_after_another(tmp_path)
    plant(tmp_path / "2026-27.toml", "value = 12570", "value = -12570")
    plant(path, "value = 12000", "value = -12000")
    assert '    "income_tax.personal_allowance",\n' in path.read_text("utf-8")
    assert faults_of(path) == (
        "2026-27.toml: income_tax.personal_allowance: must not be negative, and -12570 is",
        "2027-28.toml: isa.cash_limit_under_65: must not be negative, and -12000 is",
    )


def test_limits_that_a_later_year_changes_for_some_bands_only_are_refused(tmp_path: Path) -> None:
    copies(tmp_path)
    path = tmp_path / "2030-31.toml"
    plant(path, '    "income_tax.bands_england",\n', "")
    text = path.read_text("utf-8") + ENGLISH_BANDS.replace("37700", "40000") + 'source = "Ours"\nstanding = "enacted"\n'
    path.write_text(text, "utf-8")
    assert faults_of(path) == tuple(
        f"2030-31.toml: income_tax.{bands}: the limits are not those of income_tax.bands_england"
        for bands in ("savings_bands", "dividend_bands", "property_bands")
    )
    # The years after it, which say that nothing has changed, are not told of again.
    (tmp_path / "2031-32.toml").write_text(year_to_come(YEARS["2030-31"]), "utf-8")
    assert len(faults_of(path)) == 3


def test_a_file_that_is_not_toml_ends_the_reading(tmp_path: Path) -> None:
    copies(tmp_path)
    (tmp_path / "2026-27.toml").write_bytes(b"tax_year = ")
    plant(tmp_path / "2019-20.toml", "value = 12500", "value = -12500")
    first, second = faults_of(tmp_path / "2026-27.toml")
    assert first == "2019-20.toml: income_tax.personal_allowance: must not be negative, and -12500 is"
    assert second.startswith("2026-27.toml: not a TOML file: ")


def test_every_figure_is_said_once() -> None:
    """What a file states is new, or not what the year before says in the words of this one."""
    for before, year in pairwise(YEARS.values()):
        for name, figure in year.figures.items():
            if not before.has(name) or figure.stated_in != year.name:
                continue
            other = before.figures[name]
            says, said = (
                (
                    one.value,
                    one.standing,
                    *(str(text).replace(of.name, "") for text in (one.source, one.evidence, one.caveat, one.note)),
                )
                for one, of in ((figure, year), (other, before))
            )
            assert says != said, (year.name, name)
        assert tax_years.following(before.name) == year.name

"""Sets of proposed figures: what they change and how long, and every fault of one by file and key. The sets are invented here."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from service.figures.loader import FiguresError, load_tax_years, years_version
from service.figures.proposals import ProposedLaw, first_day, load_proposals
from service.figures.tables import load_rising_with_prices
from service.law.rulebook import rule_book_under
from tests.later_years import later_year

YEARS = load_tax_years()
RISING = load_rising_with_prices()
NAME = "a-set"
ABOUT = 'title = "a change"\nsource = "invented"\n'
ALLOWANCE, THRESHOLD = "income_tax.personal_allowance", "income_tax.child_benefit_charge_threshold"
EXAMPLES = Path(__file__).parents[2] / "examples" / "laws"


def entry(name: str, value: object, standing: str = "proposed", more: str = "") -> str:
    """A figure as a file has it."""
    return f'\n[{name}]\nvalue = {value}\nsource = "invented"\nstanding = "{standing}"\n{more}'


def write(folder: Path, name: str = NAME, about: str = ABOUT, **years: str) -> Path:
    """A set in ``folder``; each year by its name with _ for -, such as y2027_28."""
    (folder / name).mkdir()
    (folder / name / "law.toml").write_text(about, "utf-8")
    for key, text in years.items():
        year = key.removeprefix("y").replace("_", "-")
        (folder / name / f"{year}.toml").write_text(f'tax_year = "{year}"\n{text}', "utf-8")
    return folder


def law_of(folder: Path) -> ProposedLaw:
    (law,) = load_proposals(folder, YEARS).values()
    return law


def faults_of(folder: Path) -> tuple[str, ...]:
    with pytest.raises(FiguresError) as caught:
        load_proposals(folder, YEARS)
    return caught.value.faults


def test_a_figure_stands_until_the_known_one_changes_and_nothing_else_does(tmp_path: Path) -> None:
    law = law_of(write(tmp_path, y2027_28=entry(THRESHOLD, 70000)))
    assert list(law.years) == list(YEARS)
    for name, year in law.years.items():
        changed = {key for key, figure in year.figures.items() if figure != YEARS[name].figures[key]}
        assert changed == ({THRESHOLD} if name >= "2027-28" else set())
        assert (year.version == YEARS[name].version) == (name < "2027-28")
    assert [found.tax_year for found in law.differences] == ["2027-28", "2028-29", "2029-30", "2030-31"]
    assert {(found.known.value, found.proposed.value) for found in law.differences} == {(6_000_000, 7_000_000)}
    assert first_day(law) == "2027-04-06"


def test_words_say_that_it_is_a_proposal_in_every_year(tmp_path: Path) -> None:
    more = 'caveat = "The threshold for {tax_year} may differ."\n'
    law = law_of(write(tmp_path, y2027_28=entry(THRESHOLD, 70000, more=more)))
    for name in ("2027-28", "2030-31"):
        figure = law.years[name].figures[THRESHOLD]
        assert figure.standing == law.years[name].standing == "proposed"
        assert figure.caveat == (
            f"For {name} this is a proposal and not law: a change. The threshold for {name} may differ."
        )


def test_where_the_known_figure_changes_the_set_has_to_say_what_is_proposed(tmp_path: Path) -> None:
    # The thresholds change in 2024-25 (Finance (No. 2) Act 2024 s.5).
    folder = write(tmp_path, y2022_23=entry(THRESHOLD, 55000))
    assert faults_of(folder) == (
        f"{NAME}/2022-23.toml: {THRESHOLD}: the known figure changes in 2024-25: state in 2024-25.toml what is proposed from "
        "then on, or name it in as_known there",
    )
    (folder / NAME / "2024-25.toml").write_text(f'tax_year = "2024-25"\nas_known = ["{THRESHOLD}"]\n', "utf-8")
    law = law_of(folder)
    assert [found.tax_year for found in law.differences] == ["2022-23", "2023-24"]
    (folder / NAME / "2024-25.toml").write_text('tax_year = "2024-25"\n' + entry(THRESHOLD, 65000), "utf-8")
    assert [law_of(folder).years[year].money(THRESHOLD) for year in ("2021-22", "2023-24", "2024-25", "2030-31")] == [
        5_000_000,
        5_500_000,
        6_500_000,
        6_500_000,
    ]


def test_a_figure_that_a_later_year_has_no_longer_ends_with_it(tmp_path: Path) -> None:
    law = law_of(write(tmp_path, y2025_26=entry("care.scotland_lower_capital", 20000)))
    assert [found.tax_year for found in law.differences] == ["2025-26"]
    assert not law.years["2026-27"].has("care.scotland_lower_capital")


def test_a_set_that_repeats_the_law_as_known_differs_in_nothing(tmp_path: Path) -> None:
    law = law_of(write(tmp_path, y2027_28=entry(ALLOWANCE, 12570)))
    assert law.differences == ()
    assert years_version(law.years) != years_version(YEARS)


def test_the_years_after_the_last_follow_the_rule_of_the_known_figure(tmp_path: Path) -> None:
    # The allowance rises with prices, up to the next 10 pounds (Income Tax Act 2007 s.57); the threshold stands.
    law = law_of(write(tmp_path, y2027_28=entry(ALLOWANCE, 13000) + entry(THRESHOLD, 70000)))
    last, known = law.years["2030-31"], YEARS["2030-31"]
    for rise in (None, Fraction(21, 20)):
        year, plain = (later_year(each, "2033-34", rise, RISING) for each in (last, known))
        assert year.money(ALLOWANCE) == (1_300_000 if rise is None else 1_365_000)
        assert plain.money(ALLOWANCE) == (1_257_000 if rise is None else 1_320_000)
        assert year.money(THRESHOLD) == 7_000_000
        assert (year.standing, plain.standing) == ("proposed", "assumed")
        for name in (ALLOWANCE, THRESHOLD):
            assert year.figures[name].standing == "proposed"
            assert "this is a proposal and not law: a change." in str(year.figures[name].caveat)
        others = [key for key in year.figures if key not in (ALLOWANCE, THRESHOLD, "income_tax.marriage_allowance")]
        assert all(year.figures[key] == plain.figures[key] for key in others)


def test_rules_follow_the_figures_and_versions_follow_what_is_said(tmp_path: Path) -> None:
    folder = write(tmp_path, y2027_28=entry("pension.minimum_pension_age", 60))
    faults = faults_of(folder)
    assert "pension.minimum_pension_age: the known figure changes in 2028-29" in faults[0]
    (folder / NAME / "2028-29.toml").write_text(
        'tax_year = "2028-29"\n' + entry("pension.minimum_pension_age", 60), "utf-8"
    )
    book = rule_book_under(law_of(folder))
    change = book.years["2026-27"].next_minimum_pension_age
    assert change is not None
    assert (change[0].isoformat(), change[1]) == ("2027-04-06", 60)
    (folder / NAME / "law.toml").write_text(ABOUT.replace("a change", "another"), "utf-8")
    assert rule_book_under(law_of(folder)).figures_version != book.figures_version


BANDS = (
    '[{ name = "basic_rate", rate = 0.2, up_to = 40000 }, { name = "higher_rate", rate = 0.4, up_to = 125140 }, '
    '{ name = "additional_rate", rate = 0.45 }]'
)


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (entry(ALLOWANCE, -1), f"{ALLOWANCE}: must not be negative, and -1 is"),
        (entry(ALLOWANCE, 12570.005), f"{ALLOWANCE}: 12570.005 has more than 2 decimals"),
        (entry(ALLOWANCE, 200000000), f"{ALLOWANCE}: no figure is more than 100 million pounds, and 200000000 is"),
        (entry(ALLOWANCE, '"much"'), f"{ALLOWANCE}: must be an amount of money, not 'much'"),
        (
            entry("inheritance_tax.rate", 40),
            "inheritance_tax.rate: a rate is a fraction, 0.2 for 20%, and 40 is more than 1",
        ),
        (
            entry("income_tax.child_benefit_charge_step", 0),
            "income_tax.child_benefit_charge_step: must be more than 0, not 0",
        ),
        (
            entry("pension.tax_free_fraction", 1),
            "pension.tax_free_fraction: must be more than 0 and less than 1, not 1",
        ),
        (entry("income_tax.personal_alowance", 13000), "income_tax.personal_alowance: is not a known figure"),
        (entry("pension.lifetime_allowance", 1073100), "pension.lifetime_allowance: is not a figure of 2027-28"),
        (entry(ALLOWANCE, 13000, "enacted"), f"{ALLOWANCE}: standing must be proposed, not 'enacted'"),
        (f'[{ALLOWANCE}]\nvalue = 13000\nstanding = "proposed"', f"{ALLOWANCE}: source is missing"),
        (
            entry("income_tax.bands_england", BANDS),
            "income_tax.savings_bands: the limits are not those of income_tax.bands_england",
        ),
        (
            'unchanged = ["isa.subscription_limit"]',
            "unchanged: is not for proposed figures: what a file does not state is as known",
        ),
        (
            'as_known = ["isa.subscription_limit"]' + entry(ALLOWANCE, 13000),
            "as_known: isa.subscription_limit is as known already",
        ),
        ('as_known = "isa.subscription_limit"', "as_known: must be a list of figures by dotted name"),
        ("", "the file: states no figure"),
        ("personal_allowance = 1", "personal_allowance: is not a known section"),
    ],
)
def test_each_fault_names_file_and_key(tmp_path: Path, text: str, fault: str) -> None:
    faults = faults_of(write(tmp_path, y2027_28=text))
    assert f"{NAME}/2027-28.toml: {fault}" in faults


def test_a_year_that_is_not_held(tmp_path: Path) -> None:
    assert faults_of(write(tmp_path, y2035_36=entry(ALLOWANCE, 13000)))[0] == (
        f"{NAME}/2035-36.toml: tax_year: 2035-36 is not a tax year that is held: 2019-20 to 2030-31 are"
    )


def test_a_file_of_another_year_or_of_none(tmp_path: Path) -> None:
    folder = write(tmp_path, y2027_28=entry(ALLOWANCE, 13000))
    path = folder / NAME / "2027-28.toml"
    path.write_text(path.read_text("utf-8").replace('"2027-28"', '"2026-27"'), "utf-8")
    assert faults_of(folder) == (
        f"{NAME}/2027-28.toml: tax_year: must be \"2027-28\" as the file's name is, not '2026-27'",
    )
    path.write_text("tax_year = ", "utf-8")
    (fault,) = faults_of(folder)
    assert fault.startswith(f"{NAME}/2027-28.toml: not a TOML file: ")
    path.unlink()
    (folder / NAME / "Budget.toml").write_text('tax_year = "2027-28"\n', "utf-8")
    assert faults_of(folder)[0].startswith(f"{NAME}/Budget.toml: tax_year: Budget is not a tax year that is held")


@pytest.mark.parametrize(
    ("about", "fault"),
    [
        ('title = "a change"\n', "source: is missing"),
        ('source = "invented"\n', "title: is missing"),
        (ABOUT + "day = 2026-11-25\n", "the file: day is not a known part of this file"),
        ('title = " "\nsource = "invented"\n', "the file: title must be a text that is not empty"),
        (
            f'title = "{"x" * 101}"\nsource = "invented"\n',
            "title: must be at most 100 characters, as it stands in sentences",
        ),
    ],
)
def test_what_a_set_says_of_itself(tmp_path: Path, about: str, fault: str) -> None:
    assert faults_of(write(tmp_path, about=about, y2027_28=entry(ALLOWANCE, 13000))) == (f"{NAME}/law.toml: {fault}",)


@pytest.mark.parametrize("name", ["known", "A-Set", "a_set", "-a", "a" * 41])
def test_a_name_that_cannot_be_asked_for(tmp_path: Path, name: str) -> None:
    (fault,) = faults_of(write(tmp_path, name=name, y2027_28=entry(ALLOWANCE, 13000)))
    assert fault.startswith(f"{name}: cannot be a law's name")


def test_folders_that_hold_no_sets(tmp_path: Path) -> None:
    assert faults_of(tmp_path / "nowhere") == (f"{tmp_path / 'nowhere'}: there is no such folder of proposed figures",)
    assert faults_of(tmp_path) == (f"{tmp_path}: there is no set of proposed figures here",)
    (tmp_path / ".mounted").mkdir()
    (tmp_path / "2027-28.toml").write_text('tax_year = "2027-28"\n', "utf-8")
    (fault,) = faults_of(tmp_path)
    assert fault.startswith("2027-28.toml: is a file; each set of proposed figures is a folder")
    (tmp_path / "2027-28.toml").unlink()
    (tmp_path / "empty").mkdir()
    (tmp_path / "empty" / "law.toml").write_text(ABOUT, "utf-8")
    assert faults_of(tmp_path) == ("empty: no file of a tax year, such as 2027-28.toml, says what changes",)
    (tmp_path / "empty" / "law.toml").unlink()
    assert (
        faults_of(tmp_path)[0] == "empty/law.toml: title: is missing: each set needs this file, with title and source"
    )


def test_all_faults_of_all_sets_are_told_at_once(tmp_path: Path) -> None:
    write(tmp_path, name="one", y2027_28=entry(ALLOWANCE, -1))
    write(tmp_path, name="two", y2027_28=entry("isa.limit", 1))
    assert faults_of(tmp_path) == (
        f"one/2027-28.toml: {ALLOWANCE}: must not be negative, and -1 is",
        "two/2027-28.toml: isa.limit: is not a known figure",
    )


def test_nothing_is_proposed_in_the_law_as_known() -> None:
    assert not any(figure.standing == "proposed" for year in YEARS.values() for figure in year.figures.values())


def test_the_sets_of_the_examples() -> None:
    laws = load_proposals(EXAMPLES, YEARS)
    replayed = laws["child-benefit-2024"].differences
    # From 2024-25 on it is the law as known: so the set says what that year's figures do (Finance (No. 2) Act 2024 s.5).
    assert [(found.tax_year, found.proposed.value) for found in replayed] == [
        ("2023-24", YEARS["2024-25"].money(found.known.name)) for found in replayed
    ]
    assert len(replayed) == 2
    invented = laws["invented-basic-rate-22"]
    assert {found.tax_year for found in invented.differences} == {"2027-28", "2028-29", "2029-30", "2030-31"}
    assert {found.known.name for found in invented.differences} == {
        ALLOWANCE,
        "income_tax.marriage_allowance",
        "income_tax.bands_england",
        "income_tax.bands_northern_ireland",
        "income_tax.bands_wales",
        "payroll.emergency_code",
        "payroll.flat_rate_codes",
    }

"""Everything that leaves the service in words: for clients, in short plain sentences, and without notes of our own.

Of warnings, the texts are those of every case of the topics, of quotes and of plans; of plans and comparisons, also the
published answers.
"""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from service import planning
from service.figures.tables import load_rising_with_prices, load_state_pension_ages
from service.law.lump_sums import Pension
from service.planning.disclosure import (
    caveats_of,
    caveats_over_years,
    check_notice,
    notice,
    plan_notice,
)
from service.planning.timing.circumstances import timing_warnings
from service.planning.timing.options import SPENDING_ONLY, Option
from service.planning.warnings.registry import CATALOGUE
from service.planning.warnings.warning import ClientWarning
from tests.households import BOOK
from tests.later_years import later_year
from tests.planning import test_schedule_warnings as of_plans
from tests.planning import test_timing as of_timing
from tests.planning import test_warnings as of_quotes
from tests.planning.warning_requests import found_in, heard_in, income, request, saved, w
from tests.planning.warnings.every_topic import CASES

PLANNING = Path(planning.__file__).parent
ANSWERS = Path(__file__).parents[3] / "openapi" / "examples" / "answers"
OURS = ("memory", "not read", "were not read", "seen ", "in doubt", "it seems", "data set", "given and decides")
"""What only whoever keeps the figures would say, in small letters."""
MOST_WORDS, MOST_WORDS_OF_A_TITLE, MOST_WORDS_ON_AVERAGE = 25, 8, 18
HIGHEST_GRADE, HIGHEST_GRADE_ON_AVERAGE = 12, 7
"""School years, by the formula of ``grade``. A reader's age is about five years more: 12 on average, and 17 for a single text,
most of whose long words are the law's own terms."""


_IN_2027 = {"date": "2027-06-01"}
_LARGE = {
    "home": 2_300_000,
    "home_to_descendants": True,
    "nil_rate_band_brought_forward": 1,
    "residence_nil_rate_band_brought_forward": 1,
}
_PROMISES = {
    "guaranteed_annuity_rate": True,
    "safeguarded_benefits": 50_000,
    "protected_tax_free_share": 0.4,
    "transfer_flag": "amber",
    "nomination": "none",
    "exit_charge": 3_000,
}
_DYING = {"ill_health": "life_expectancy_under_a_year"}
BRANCHES = [
    request(w("drawdown", 50_000), estate={"home": 900_000}),
    request(w("drawdown", 50_000), estate={"home": 1_300_000}),
    request(w("drawdown", 50_000, "2027-09-01"), estate={"home": 900_000}, **_IN_2027),
    request(w("drawdown", 50_000, "2027-09-01"), estate={**_LARGE, "first_death": "to_spouse"}, **_IN_2027),
    request(w("drawdown", 50_000, "2027-09-01"), estate=_LARGE, **_IN_2027),
    request(w("drawdown", 150_000), date_of_birth="1980-01-01", ill_health="unable_to_work"),
    request(w("ufpls", 150_000), date_of_birth="1980-01-01", ill_health="life_expectancy_under_a_year"),
    request(w("drawdown", 150_000), date_of_birth="1980-01-01", partner={"date_of_birth": "1962-06-01"}),
    request(
        w("drawdown", 150_000), income=income(employment=250_000), contributions=[saved(60_000)], carry_forward=5_000
    ),
    request(pension=_PROMISES, employer_contributions=3_000),
    request(pension={**_PROMISES, "safeguarded_benefits": 0}),
    request(w("drawdown", 5_000), pension={"exit_charge": 0.5}),
    request(w("drawdown", 5_000), pension={"exit_charge": 9_000}),
    request(w("pcls", 70_000), pension={"uncrystallised": 200_000, "drawdown": 0, "protected_tax_free_share": 0.4}),
    request(w("pcls", 90_000), pension={"protected_tax_free_share": 0.4}),
    request(w("small_pot", 4_000), pension={"uncrystallised": 4_000, "drawdown": 0, "protected_tax_free_share": 0.4}),
    request(w("drawdown", 5_000, "2028-09-01"), date_of_birth="1972-06-01", flexibly_accessed=True),
    request(w("drawdown", 5_000), date_of_birth="1971-06-01", pension={"uncrystallised": 0}),
    request(w("ufpls", 20_000), w("ufpls", 40_000, "2026-12-01"), date_of_birth="1980-01-01", pension={"drawdown": 0}),
    request(date_of_birth="1951-04-06", **_DYING),
    request(date_of_birth="1951-04-07", **_DYING),
    request(date="2021-06-01", **_DYING),
    request(w("drawdown", 5_000), date_of_birth="1980-01-01", pension={"uncrystallised": 0}, **_DYING),
    request(w("ufpls", 5_000, "2021-09-01"), date="2021-06-01", date_of_birth="1940-01-01", lifetime_allowance_used=1),
    request(w("ufpls", 5_000, "2021-09-01"), date="2021-06-01", date_of_birth="1950-01-01", lifetime_allowance_used=1),
    request(w("pcls", 60_000), protected_lump_sum_and_death_benefit_allowance=5_000),
    request(
        w("ufpls", 20_000, "2026-07-01"),
        w("ufpls", 20_000, "2026-11-01"),
        date_of_birth="1973-05-01",
        pension={"uncrystallised": 100_000, "drawdown": 0},
    ),
    request(
        w("pcls", 30_000), contributions=[saved(45_000)], usual_contributions=5_000, contribution_increase_planned=True
    ),
    request(
        w("drawdown", 5_000, "2027-09-01"),
        pension={"nomination": "made", "nomination_reviewed_on": "2020-01-01"},
        **_IN_2027,
    ),
]
"""Requests that bring the other forms of a warning's text."""


def sentences(text: str) -> list[str]:
    """The sentences of a text; a point inside an amount ends none."""
    return re.split(r"(?<=[.?!])\s+(?=[A-Z£\d])", text)


def syllables(word: str) -> int:
    """The syllables of a word, by its groups of vowels; an e that is not spoken at its end does not count."""
    letters = re.sub(r"[^a-z]", "", word.lower())
    count = len(re.findall(r"[aeiouy]+", letters))
    silent = count > 1 and re.search(r"[^aeiouyl]e$|[^aeiouytd]ed$|[^aeiouysxzcg]es$", letters) is not None
    return max(1, count - silent)


def grade(text: str) -> float:
    """The Flesch-Kincaid grade level: 0.39 times the words of a sentence and 11.8 times the syllables of a word, less 15.59
    (J. P. Kincaid and others, Research Branch Report 8-75, US Naval Air Station Memphis, 1975; from memory)."""
    words = [word for word in text.split() if re.search(r"\w", word)]
    spoken = sum(syllables(word) for word in words)
    return 0.39 * len(words) / len(sentences(text)) + 11.8 * spoken / len(words) - 15.59


@cache
def every_warning() -> tuple[ClientWarning, ...]:
    """The warnings of every case of the topics, of quotes, of plans and of lump sum timing."""
    found = [warning for pairs in CASES.values() for pair in pairs for case in pair for warning in found_in(case)]
    found += [warning for branch in BRANCHES for warning in found_in(branch)]
    found += [warning for branch in BRANCHES for warning in heard_in(branch) if warning.missing_facts]
    for quotes in of_quotes.CASES.values():
        found += [warning for pair in quotes for case in pair for warning in of_quotes.asked(**case).values()]
    for plans in of_plans.CASES.values():
        found += [warning for inside, _, _ in plans for warning in of_plans.found_in(inside).values()]
    no_cash = of_timing.person(pension=Pension(0, 5_000_000))
    found += timing_warnings(of_timing.asked(no_cash, options=(Option("all_now", SPENDING_ONLY),)))
    return tuple(found)


@cache
def warned() -> tuple[tuple[str, str, tuple[str, ...]], ...]:
    """Code, text and sources of every warning in every case; a caveat is a text of its own."""
    told = {
        (warning.code, text, warning.sources)
        for warning in every_warning()
        for text in (warning.detail, *warning.caveats)
    }
    for answer in published():
        for found in answer.get("warnings", ()):
            told |= {
                (found["code"], text, tuple(found["sources"])) for text in (found["detail"], *found.get("caveats", ()))
            }
    return tuple(sorted(told))


@cache
def published() -> tuple[dict[str, Any], ...]:
    """The answers of the agreement that are one object."""
    documents = [json.loads(path.read_text("utf-8")) for path in sorted(ANSWERS.glob("*.json"))]
    return tuple(document for document in documents if isinstance(document, dict))


def of_figures() -> Iterator[str]:
    """What is said of figures that are not law, or not certain, in each tax year and in plans that run on after the last."""
    years = {name: rules.figures for name, rules in BOOK.years.items()}
    last = list(years.values())[-1]
    rising = load_rising_with_prices()
    for figures in (*years.values(), later_year(last, "2034-35", None, rising)):
        yield from (caveat.sentence for caveat in caveats_of(figures).values())
        yield from (caveat.sentence for caveat in caveats_over_years([(figures, set(figures.figures))]))
    for row in load_state_pension_ages().rows:
        if row.authority.caveat is not None:
            yield row.authority.caveat


def of_answers() -> Iterator[str]:
    """Notices, summaries and caveats."""
    for rules in BOOK.years.values():
        yield notice(rules.figures, BOOK.law_as_of)
        yield plan_notice(rules.figures, BOOK.law_as_of)
        yield check_notice(rules.figures, BOOK.law_as_of, 50)
    yield plan_notice(None, BOOK.law_as_of)
    yield check_notice(None, BOOK.law_as_of, 50)
    yield from {warning.in_notice for warning in every_warning() if warning.in_notice}
    for answer in published():
        yield from answer.get("summary", ())
        yield from (each["caveat"] for each in answer.get("rules", {}).get("caveats", ()))


def faults() -> Iterator[str]:
    """The sentences of faults as they stand in the source, an X for what is filled in; where there are two, each by itself."""
    for path in PLANNING.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Fault" and len(node.args) == 3:
                said = node.args[2]
                for each in (said.body, said.orelse) if isinstance(said, ast.IfExp) else (said,):
                    yield "".join(_plain(part) for part in ast.walk(each))


def _plain(node: ast.AST) -> str:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    return "X" if isinstance(node, ast.FormattedValue) else ""


def wrong_with(text: str) -> list[str]:
    """What a client's text must not have in it."""
    low = text.lower()
    found = [words for words in OURS if words in low]
    found += re.findall(r"\d{4}-\d{2}-\d{2}", text)
    found += re.findall(r"\b[a-z]+(?:_[a-z0-9]+)+\b", text)
    found += [sentence for sentence in sentences(text) if len(sentence.split()) > MOST_WORDS]
    return found


def test_warnings_speak_to_clients() -> None:
    told = warned()
    assert {code for code, _, _ in told} == set(CATALOGUE)
    assert [(code, wrong) for code, detail, _ in told for wrong in wrong_with(detail)] == []


NAMED = re.compile(r"\b(?:[Yy]ou|[Yy]our|[Tt]he first person|[Tt]he second person)\b")
"""Whom a text about one person names; one that names nobody begins with "The second person:" where there are two."""


def test_a_text_stays_short_where_it_has_to_begin_with_the_person() -> None:
    of_one = {one.detail for one in every_warning() if one.person is not None and not NAMED.search(one.detail)}
    assert of_one
    assert [wrong for text in of_one for wrong in wrong_with(f"The second person: {text}")] == []


def test_the_usual_sentence_is_short() -> None:
    lengths = [len(sentence.split()) for _, detail, _ in warned() for sentence in sentences(detail)]
    assert sum(lengths) / len(lengths) < MOST_WORDS_ON_AVERAGE


def test_texts_can_be_read_at_the_age_of_twelve_and_none_is_hard() -> None:
    texts = {text for _, text, _ in warned()} | {*of_figures(), *of_answers()}
    grades = {text: grade(text) for text in texts}
    assert sum(grades.values()) / len(grades) < HIGHEST_GRADE_ON_AVERAGE
    assert [(round(found, 1), text) for text, found in grades.items() if found > HIGHEST_GRADE] == []


@pytest.mark.parametrize(
    ("word", "count"),
    # Counted by ear.
    [
        ("tax", 1),
        ("used", 1),
        ("scheme", 1),
        ("pension", 2),
        ("income", 2),
        ("charges", 2),
        ("allowance", 3),
        ("inheritance", 4),
    ],
)
def test_syllables_are_counted(word: str, count: int) -> None:
    assert syllables(word) == count


def test_a_hard_text_is_found() -> None:
    hard = (
        "Notwithstanding uncrystallised arrangements, individuals' beneficiaries' entitlements necessarily predecease."
    )
    assert grade(hard) > HIGHEST_GRADE > grade("You can take the money now, but some of it is taxed.")


STEERING = re.compile(
    r"(?:Apply|Claim|Do not|Draw|Give|Keep (?:it|that)|Leave|Move|Pay|Put|Spread|Subscribe|Take|Transfer|Use|Wait|Withdraw)\b"
)
"""How a sentence begins that tells a client what to do with their money. To ask, to check and to keep a record is open to all."""


def test_no_warning_tells_a_client_what_to_do_with_their_money() -> None:
    told = {sentence for _, text, _ in warned() for sentence in sentences(text)}
    assert [sentence for sentence in told if STEERING.match(sentence)] == []
    assert STEERING.match("Do not apply for one.")
    assert STEERING.match("Take the money on or after that day.")


@pytest.mark.parametrize(
    # SI 2018/1396 reg.2 inserts reg.21B in SI 2003/2426 (calls on pensions); FSMA 2000 s.137FBB came by the Bank of England and
    # Financial Services Act 2016; SI 1998/1870 reg.5DDB is on flexible accounts, reg.5D on the additional permitted subscription;
    # FA 2004 Sch.36 para 31(3) asks for all of a scheme's pensions on one day; TMA 1970 s.59A is on payments on account.
    ("code", "cites"),
    [
        ("unexpected_contact", "SI 2018/1396"),
        ("exit_charge", "s.137FBB"),
        ("isa_flexibility_not_given", "reg.5DDB"),
        ("flexible_isa_replacement", "reg.5DDB"),
        ("protected_lump_sum_lost", "Sch.36 para"),
        ("advice_required_for_safeguarded_benefits", "s.48"),
        ("payments_on_account", "s.59A"),
        ("winter_fuel_payment_repaid", "s.681I"),
    ],
)
def test_a_warning_cites_the_provision_that_it_rests_on(code: str, cites: str) -> None:
    assert any(cites in source for source in CATALOGUE[code].sources), CATALOGUE[code].sources


def test_no_warning_cites_what_it_does_not_rest_on() -> None:
    cited = {source for entry in CATALOGUE.values() for source in entry.sources}
    assert [source for source in cited if re.search(r"2018/1269|137FBA|s\.1011", source)] == []


def test_sources_are_plain_citations() -> None:
    sources = {source for _, _, cited in warned() for source in cited}
    assert [source for source in sources if any(words in source.lower() for words in OURS)] == []


@pytest.mark.parametrize("code", CATALOGUE)
def test_the_catalogue_speaks_to_clients(code: str) -> None:
    entry = CATALOGUE[code]
    assert len(entry.title.split()) <= MOST_WORDS_OF_A_TITLE
    assert not entry.title.endswith(".")
    assert wrong_with(entry.title) == []
    assert wrong_with(entry.applies_when) == []


def test_figures_and_answers_speak_to_clients() -> None:
    texts = [*of_figures(), *of_answers()]
    assert len(texts) > len(BOOK.years)
    assert [wrong for text in texts for wrong in wrong_with(text)] == []


def test_faults_are_short_and_say_nothing_of_how_figures_were_found() -> None:
    told = list(faults())
    assert told
    for text in told:
        assert not any(words in text.lower() for words in OURS), text
        assert all(len(sentence.split()) <= MOST_WORDS for sentence in sentences(text)), text


SERVICE = PLANNING.parent
NOTES = (
    "from memory",
    "was not read",
    "were not read",
    "not verified",
    "seen only",
    "a data set",
    "in doubt:",
    "it seems",
)
"""How something is known, which the figures' evidence and the tests say, and nothing else."""


def test_code_and_pages_state_the_rule_and_not_how_it_is_known() -> None:
    found = []
    for path in (*SERVICE.rglob("*.py"), *SERVICE.rglob("*.md")):
        text = " ".join(path.read_text("utf-8").lower().split())
        found += [(path.name, words) for words in NOTES if words in text]
    assert found == []


@pytest.mark.parametrize(
    "text",
    [
        "This amount is from memory.",
        "Pay by 2027-04-05.",
        "Look at lump_sum_allowance_used.",
        "A word " * 13 + "ends this.",
    ],
)
def test_what_must_not_be_said_is_found(text: str) -> None:
    assert wrong_with(text)
    assert not wrong_with("Pay by 5 April 2027, in 2026-27, at most £1,234.50.")

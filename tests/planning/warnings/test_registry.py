"""The catalogue and the rules of all topics: what the catalogue says, that nothing is missing, and which answers run a rule."""

from __future__ import annotations

import ast
import inspect
import pkgutil
import re
from collections.abc import Iterator
from datetime import date
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from marshmallow import Schema

from service import planning
from service.planning import warnings
from service.planning.warnings.registry import CATALOGUE, TOPICS, run_in
from service.planning.warnings.topic import Entry, Only, Rule, Rules, Topic, first_day_with
from service.planning.warnings.warning import EFFECTS, SEVERITIES
from service.schemas.shared import ObjectList, StrictNested
from tests.households import BOOK
from tests.planning import test_schedule_warnings as of_plans
from tests.planning import test_warnings as of_quotes
from tests.planning.warning_requests import SCHEMA, found_in, income, request, w
from tests.planning.warnings.every_topic import CASES
from tests.planning.warnings.pairs import Case

PLANNING = Path(planning.__file__).parent
MODULES = [import_module(f"{warnings.__name__}.{found.name}") for found in pkgutil.iter_modules(warnings.__path__)]
OF_TOPICS = [module for module in MODULES if isinstance(getattr(module, "TOPIC", None), Topic)]


def rules_of(topic: Topic) -> list[Rule[Any]]:
    """All rules of a topic, whatever they look at."""
    return [rule for rules in vars(topic).values() if isinstance(rules, Rules) for rule in rules.rules]


def named() -> Iterator[str]:
    """The codes by which the planning layer takes an entry from the catalogue."""
    for path in PLANNING.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.Subscript) and getattr(node.value, "id", "") == "CATALOGUE":
                assert isinstance(node.slice, ast.Constant)
                yield str(node.slice.value)


def asserted(kind: type[ast.cmpop]) -> set[str]:
    """The words that some test of the planning layer asserts to be in, or not in, something."""
    return {
        node.left.value
        for path in Path(__file__).parents[1].rglob("test_*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Compare) and isinstance(node.left, ast.Constant) and isinstance(node.ops[0], kind)
    }


YEARS = {name: rules.figures for name, rules in BOOK.years.items()}


def days_of(entry: Entry) -> tuple[date | None, date | None]:
    """The first and the last day of the law that a warning is about."""
    return entry.since and entry.since(YEARS), entry.until and entry.until(YEARS)


def in_force(entry: Entry, day: date) -> bool:
    """Whether the law that a warning is about runs on a day."""
    since, until = days_of(entry)
    return (since is None or since <= day) and (until is None or day <= until)


def test_every_warning_is_in_the_catalogue_and_nothing_else() -> None:
    assert {id(module.TOPIC) for module in OF_TOPICS} == {id(topic) for topic in TOPICS}
    assert len(OF_TOPICS) == len(TOPICS)
    # One code means one thing: no entry stands in the place of another.
    assert [entry.code for topic in TOPICS for entry in topic.entries] == list(CATALOGUE)
    assert 0 < len(set(named())) == len(set(named()) & set(CATALOGUE))


def test_every_warning_has_its_pair() -> None:
    """In a table of pairs, or by a test that asserts both that it is told and that it is not."""
    in_tables = set(CASES) | set(of_quotes.CASES) | set(of_plans.CASES)
    assert in_tables <= set(CATALOGUE)
    assert set(CATALOGUE) - in_tables <= asserted(ast.In) & asserted(ast.NotIn)
    assert all(pairs for pairs in CASES.values())


@pytest.mark.parametrize("module", OF_TOPICS, ids=lambda module: module.__name__.rpartition(".")[2])
def test_every_rule_is_used(module: ModuleType) -> None:
    """Whatever a topic's module offers is a rule, and named by its code."""
    public = {
        name: function
        for name, function in inspect.getmembers(module, inspect.isroutine)
        if function.__module__ == module.__name__ and not name.startswith("_")
    }
    rules = rules_of(module.TOPIC)
    assert {rule.entry.code: rule.find for rule in rules} == public
    assert sorted(rule.entry.code for rule in rules) == sorted(entry.code for entry in module.TOPIC.entries)


def test_what_every_answer_runs_comes_first_in_the_order_of_the_catalogue() -> None:
    rules = Topic().of_a_year

    def add(code: str, only: Only | None = None, after: str | None = None) -> None:
        rules(code, "check", code, code, facts=(), sources=(), only=only, after=after)(lambda _, entry: ())

    def run(answer: Only | None) -> str:
        return "".join(entry.code for _, entry in run_in(answer, rules.rules))

    for code, only in (("a", None), ("b", "with_facts"), ("c", "in_a_plan"), ("d", None)):
        add(code, only)
    assert (run(None), run("in_a_plan"), run("with_facts")) == ("ad", "adc", "adb")
    add("e", after="a")
    add("f", "with_facts", after="b")
    assert (run(None), run("in_a_plan"), run("with_facts")) == ("aed", "aedc", "aedbf")


@pytest.mark.parametrize("name", BOOK.years)
def test_every_band_above_the_basic_rates_is_told(name: str) -> None:
    for taxed in BOOK.years[name].income_tax.values():
        above = taxed.scales.lower.names[taxed.scales.last_basic_band + 1 :]
        assert {f"{band}_entered" for band in above} <= set(CATALOGUE)


@pytest.mark.parametrize("code", CATALOGUE)
def test_an_entry_says_everything(code: str) -> None:
    entry = CATALOGUE[code]
    assert re.fullmatch(r"[a-z][a-z0-9_]*", code)
    assert entry.effect in EFFECTS
    assert entry.title
    assert not entry.title.endswith(".")
    assert entry.applies_when.endswith(".")
    assert entry.facts
    assert entry.sources
    assert all(source.strip() for source in entry.sources)
    since, until = days_of(entry)
    assert (since is None) == (entry.since is None)
    assert (until is None) == (entry.until is None)
    assert since is None or until is None or since <= until
    # Amounts stand in the figures.
    assert "£" not in entry.applies_when
    assert not re.search(r"\d,\d", entry.applies_when)


ONLY_ELSEWHERE = {"payroll.code", "payroll.month", "payroll.pay_to_date", "aim"}
"""Fields that only a quote or a plan has."""


def names_of(schema: Schema, before: str = "") -> Iterator[str]:
    """The names of a request's fields as the catalogue writes them: those of a person without the person."""
    for name, field in schema.load_fields.items():
        whole = before + (field.data_key or name)
        yield whole
        inner = field.inner if isinstance(field, ObjectList) else field
        if isinstance(inner, StrictNested):
            yield from names_of(inner.schema, "" if whole in ("household", "people") else f"{whole}.")


def test_every_fact_of_the_catalogue_is_a_field_and_every_field_a_fact() -> None:
    facts = {fact for entry in CATALOGUE.values() for fact in entry.facts}
    fields = set(names_of(SCHEMA))
    assert facts - fields == ONLY_ELSEWHERE
    # What no entry names by itself: the containers, what is named as a whole, and what all tax rests on.
    unnamed = fields - facts
    named_within = {name for name in unnamed if any(fact.startswith(f"{name}.") for fact in facts)}
    inside_named = {name for name in unnamed if name.rpartition(".")[0] in facts}
    assert unnamed - named_within - inside_named == {
        "household",
        "people",
        "blind_persons_allowance",
        "law",
        "compare_law",
        "withdrawals.person",
        "withdrawals.pension",
        # What only other operations look at, and names.
        "minimum_cash",
        "withdrawal_cap",
        "already_this_tax_year",
        "already_this_tax_year.income",
        "already_this_tax_year.income.amount",
        "already_this_tax_year.income.kind",
        "already_this_tax_year.taxable_withdrawals",
        "already_this_tax_year.tax_free_withdrawals",
        "name",
        "pensions.name",
        "pensions.growth",
        "pensions.small_pot_in",
        "pensions.yearly_charge",
        "estate.home_given_up.residence_nil_rate_band",
        "estate.home_given_up.rest_to_descendants",
        "estate.home_given_up.value",
    }


@pytest.mark.parametrize(("code", "inside"), [(code, inside) for code, pairs in CASES.items() for inside, _ in pairs])
def test_a_warning_is_told_only_while_its_law_runs(code: str, inside: Case) -> None:
    for warning in found_in(inside):
        assert warning.tax_year is not None
        first, entry = int(warning.tax_year[:4]), CATALOGUE[warning.code]
        assert in_force(entry, date(first, 4, 6)) or in_force(entry, date(first + 1, 4, 5))


def test_a_day_of_a_figure_that_there_is_not_is_refused() -> None:
    with pytest.raises(ValueError, match="no tax year has"):
        first_day_with("pension.lump_sum_allowence")(YEARS)


def test_dates_of_the_catalogue() -> None:
    """A day before, on, and after."""
    counts, enters = CATALOGUE["pension_counts_in_the_estate"], CATALOGUE["withdrawal_enters_the_estate"]
    assert not in_force(counts, date(2027, 4, 5))
    assert in_force(counts, date(2027, 4, 6))
    assert in_force(enters, date(2027, 4, 5))
    assert not in_force(enters, date(2027, 4, 6))


def test_warnings_stand_by_effect_then_severity_then_amount() -> None:
    for case in (case for pairs in CASES.values() for pair in pairs for case in pair):
        found = [one for one in found_in(case) if not one.first]
        places = [(EFFECTS.index(one.effect), SEVERITIES.index(one.severity), -one.cost) for one in found]
        assert places == sorted(places)
        assert all(one.severity == CATALOGUE[one.code].severity for one in found)


def test_support_that_ends_comes_before_larger_amounts_and_a_guarantee_before_both() -> None:
    case = request(
        w("ufpls", 60_000),
        benefits={"universal_credit": True},
        pension={"guaranteed_annuity_rate": True},
        income=income(employment=20_000),
    )
    costs = [one.code for one in found_in(case) if one.effect == "costs"]
    assert costs.index("guaranteed_annuity_rate_lost") < costs.index("universal_credit_ends")
    assert costs.index("universal_credit_ends") < costs.index("higher_rate_entered")


def test_what_depends_on_a_death_comes_last_of_what_to_check() -> None:
    case = request(w("drawdown", 60_000), estate={"home": 1_900_000}, income=income(employment=20_000))
    checks = [one for one in found_in(case) if one.effect == "check"]
    kinds = [one.severity for one in checks]
    assert {"on_death", "amount"} <= set(kinds)
    assert kinds == sorted(kinds, key=SEVERITIES.index)
    assert max(one.cost for one in checks) == next(
        one.cost for one in checks if one.code == "withdrawal_enters_the_estate"
    )

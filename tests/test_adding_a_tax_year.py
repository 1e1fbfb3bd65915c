"""A new tax year is one new file of figures: it is loaded, has its rules and answers, without a line of code."""

from __future__ import annotations

import re
import shutil
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from service.figures.loader import FOLDER, load_tax_years
from service.figures.printing import year_to_come
from service.law.income_tax import NATIONS
from service.law.lump_sums import METHODS, Pension
from service.law.rulebook import RuleBook, TaxYearRules, rule_book
from service.planning.disclosure import notice
from service.planning.household import INCOME_KINDS, Income, Person
from service.planning.quote.caveats import touched_by
from service.planning.quote.chart import chart
from service.planning.quote.circumstances import warnings_for
from service.planning.quote.quote import Question, Quote, Withdrawal, quote
from service.planning.quote.working import working
from tests.households import BOOK, YEARS, amounts

LAST, NEW = "2030-31", "2031-32"


def book_with_a_new_year(folder: Path, changes: Mapping[str, int] | None = None) -> RuleBook:
    """The service's own years and one more, as the last is but for some figures, by name and value."""
    for path in FOLDER.glob("*.toml"):
        shutil.copy(path, folder)
    text = year_to_come(load_tax_years()[LAST])
    for name, value in (changes or {}).items():
        unchanged = f'    "{name}",\n'
        assert text.count(unchanged) == 1
        text = text.replace(unchanged, "") + f'\n[{name}]\nvalue = {value}\nsource = "Ours"\nstanding = "enacted"\n'
    (folder / f"{NEW}.toml").write_text(text, "utf-8")
    return rule_book(load_tax_years(folder))


@cache
def longer_book() -> RuleBook:
    """The years with 2031-32, in which nothing has changed."""
    with TemporaryDirectory() as folder:
        return book_with_a_new_year(Path(folder))


def test_the_last_year_is_the_last() -> None:
    assert YEARS[-1] == LAST


def test_the_new_year_is_there() -> None:
    book = longer_book()
    assert tuple(book.years) == (*YEARS, NEW)
    assert book.figures_version != BOOK.figures_version
    figures = book.years[NEW].figures
    assert (figures.name, figures.start, figures.end) == (NEW, date(2031, 4, 6), date(2032, 4, 5))


def test_its_rules_are_those_of_its_file() -> None:
    book = longer_book()

    def without_name(rules: TaxYearRules) -> TaxYearRules:
        return replace(rules, figures=BOOK.years[LAST].figures)

    assert without_name(book.years[NEW]) == without_name(book.years[LAST])
    assert {name: rules for name, rules in book.years.items() if name != NEW} == dict(BOOK.years)


def fields_of(value: Any) -> dict[str, Any]:
    """The fields of a frozen record by name."""
    return {name: getattr(value, name) for name in type(value).__annotations__}


def amounts_of(answer: Quote) -> dict[str, Any]:
    """An answer without the tax year's name, rules and version, and with the days of a claim counted from its end; what is made
    only when asked for is asked for."""
    payroll, end = answer.payroll, answer.rules.figures.end.year
    reason = re.sub(r"(?<=April )\d{4}", lambda year: f"{int(year[0]) - end:+}", payroll.reclaim.reason)
    fields = fields_of(answer) | {
        "payroll": payroll._replace(reclaim=payroll.reclaim._replace(reason=reason)),
        "curve": answer.curve_once(),
        "marginal_rate": answer.marginal_rate,
        "slices": answer.slices,
    }
    made_later = ("asked", "curve_once", "payroll_once")
    return {name: value for name, value in fields.items() if name not in ("question", "rules", *made_later)}


@st.composite
def questions(draw: Any) -> Question:
    """A question of the last year that is always allowed."""
    person = Person(
        date(1960, 6, 1),
        draw(st.sampled_from(NATIONS)),
        tuple(draw(st.lists(st.builds(Income, st.sampled_from(INCOME_KINDS), amounts(90_000)), max_size=3))),
        marriage_allowance=draw(st.sampled_from(("none", "gives", "receives"))),
        child_benefit=draw(st.sampled_from((0, 225_160))),
    )
    method = draw(st.sampled_from(METHODS))
    most = 1_000_000 if method == "small_pot" else 20_000_000
    amount = draw(st.one_of(st.just(most), amounts(10_000)))
    asked = draw(st.sampled_from(("amount", "net_wanted")))
    withdrawal = Withdrawal(method, **{asked: min(amount, 500_000) if asked == "net_wanted" else amount})
    return Question(LAST, person, Pension(100_000_000, drawdown=30_000_000), withdrawal)


@settings(max_examples=80, deadline=None)
@given(question=questions())
def test_it_answers_as_the_year_it_was_made_from(question: Question) -> None:
    book = longer_book()
    old, new = quote(question, book), quote(question._replace(tax_year=NEW), book)
    assert amounts_of(new) == amounts_of(old)
    assert amounts_of(quote(question, BOOK)) == amounts_of(old)
    assert (new.question.tax_year, new.rules) == (NEW, book.years[NEW])
    assert chart(new) == chart(old)
    assert [warning.code for warning in warnings_for(new)] == [warning.code for warning in warnings_for(old)]
    renamed = [
        {name: str(value).replace(NEW, LAST) for name, value in fields_of(step).items()} for step in working(new)
    ]
    assert renamed == [{name: str(value) for name, value in fields_of(step).items()} for step in working(old)]
    assert list(touched_by(new)) == list(touched_by(old))
    assert notice(new.rules.figures, book.law_as_of).replace(NEW, LAST) == notice(old.rules.figures, book.law_as_of)


def test_what_its_file_changes_changes_its_answers_alone(tmp_path: Path) -> None:
    """A personal allowance of 20,000 and a pension age of 58: figures of our own."""
    book = book_with_a_new_year(tmp_path, {"income_tax.personal_allowance": 20_000, "pension.minimum_pension_age": 58})
    question = Question(
        LAST, Person(date(1960, 6, 1), "england"), Pension(0, drawdown=2_500_000), Withdrawal("drawdown", 2_500_000)
    )
    # 25,000 less 12,570, and less 20,000, at 20%.
    assert quote(question, book).on_withdrawal == 248_600
    assert quote(question._replace(tax_year=NEW), book).on_withdrawal == 100_000
    assert book.years[NEW].minimum_pension_age == 58
    # The next change of the age after the years with 57 is now known to all of them; earlier years keep theirs.
    assert book.years[LAST].next_minimum_pension_age == (date(2031, 4, 6), 58)
    assert book.years["2027-28"].next_minimum_pension_age == (date(2028, 4, 6), 57)

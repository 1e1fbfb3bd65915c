"""What the rules cost without HTTP: one evaluation, a tax curve, a quote; and how often a gross-up asks the rules."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any
from unittest.mock import patch

from service.law.income_tax import TaxpayerYear, liability, taxpayer_year
from service.planning.curve.tax_curve import tax_curve
from service.planning.curve.tax_function import TaxFunction
from service.planning.faults import RuleViolation
from service.planning.quote.asked import question_of
from service.planning.quote.gross_up import least_gross
from service.planning.quote.quote import Question, Withdrawal, quote
from tests.benchmarks.households import net_wanted
from tests.benchmarks.processes import EXAMPLES, MeasurementError
from tests.benchmarks.questions import BOOK, question
from tests.benchmarks.report import Goal, Part, progress, table
from tests.benchmarks.sizes import Sizes
from tests.invented_requests import JsonObject

MOST_EVALUATIONS = 15
_SHARE_OF_SECONDS = 0.1
_STEPS = ("liability", "tax_curve", "quote")


@dataclass(frozen=True, slots=True)
class Case:
    """A question with what it takes to ask the rules about it: the person's year and the taxable withdrawal, pence."""

    question: Question
    year: TaxpayerYear
    taxable: int


def measure(sizes: Sizes) -> Part:
    """Times of the example requests and of random households, and the evaluations of their gross-ups."""
    timed, counted = sizes.timed_households, sizes.counted_households
    plain, with_savings = (_permitted(counted, with_savings=either) for either in (False, True))
    groups = {each.stem: _cases([of_one_year(json.loads(each.read_bytes()))]) for each in EXAMPLES}
    for name, questions in (("without savings", plain[:timed]), ("with savings", with_savings[:timed])):
        groups[f"{timed} households {name}, net wanted"] = _cases(questions)
        groups[f"the same, amount given ({name})"] = _cases([_with_amount(each) for each in questions])
    times = _times(groups, sizes.rounds, sizes.seconds * _SHARE_OF_SECONDS)
    time_rows = [
        (name, *(f"{times[name, step]:,.1f}" for step in _STEPS), f"{_evaluations(cases):.0f}")
        for name, cases in groups.items()
    ]
    count_rows, goals = [], []
    for name, questions in (("without savings and dividends", plain), ("with savings or dividends", with_savings)):
        progress(f"rules: evaluations {name}")
        counts = sorted(gross_up_evaluations(each) for each in questions)
        within = sum(count <= MOST_EVALUATIONS for count in counts) / len(counts)
        p95 = counts[(len(counts) - 1) * 95 // 100]
        count_rows.append((name, f"{median(counts):g}", str(p95), str(counts[-1]), f"{within:.1%}"))
        goals.append(Goal(f"evaluations per gross-up {name}, median", median(counts), MOST_EVALUATIONS))
        goals.append(Goal(f"evaluations per gross-up {name}, most", counts[-1], MOST_EVALUATIONS))
    text = [
        f"Rules: microseconds of processor time, medians of {sizes.rounds} rounds. The last column is the median number of "
        "evaluations in a quote.",
        table(("case", *(f"{step} us" for step in _STEPS), "evaluations"), time_rows),
        f"Evaluations of the rules per gross-up, {counted:,} households each (what the quote asks beyond it is left out).",
        table(("households", "median", "p95", "most", f"at most {MOST_EVALUATIONS}"), count_rows),
    ]
    return Part("\n\n".join(text), tuple(goals))


def gross_up_evaluations(asked: Question) -> int:
    """How often a quote calls ``liability`` until its gross is found, repeated calls included.

    MeasurementError where the quote's own count is another one.
    """
    calls, calls_when_found = 0, 0

    def counting_liability(*arguments: Any) -> Any:
        nonlocal calls
        calls += 1
        return liability(*arguments)

    def noting_least_gross(*arguments: Any) -> Any:
        nonlocal calls_when_found
        found = least_gross(*arguments)
        calls_when_found = calls
        return found

    # The functions are replaced where they are asked: in the module of the year that is asked, and in that of the quote.
    with (
        patch.object(sys.modules[TaxFunction.__module__], "liability", counting_liability),
        patch.object(sys.modules[quote.__module__], "least_gross", noting_least_gross),
    ):
        answer = quote(asked, BOOK)
    if not 0 < calls_when_found <= calls or calls != answer.evaluations:
        raise MeasurementError(f"{calls} evaluations were counted where the quote says {answer.evaluations}")
    return calls_when_found


def of_one_year(request: JsonObject) -> Question:
    """What a request for a quote asks about its tax year."""
    return question_of(question("withdrawal-tax", request), BOOK)


def _permitted(count: int, *, with_savings: bool) -> list[Question]:
    """The first so many questions for the gross of a wanted net that the rules allow."""
    found: list[Question] = []
    requests = net_wanted(with_savings=with_savings)
    while len(found) < count:
        asked = of_one_year(next(requests))
        try:
            quote(asked, BOOK)
        except RuleViolation:
            continue
        found.append(asked)
    return found


def _with_amount(asked: Question) -> Question:
    gross = quote(asked, BOOK).payment.gross
    return asked._replace(withdrawal=Withdrawal(asked.withdrawal.method, amount=gross))


def _cases(questions: Sequence[Question]) -> list[Case]:
    cases = []
    for each in questions:
        person = each.person
        rules = BOOK.years[each.tax_year].income_tax[person.tax_residence]
        cases.append(Case(each, taxpayer_year(person.taxpayer(), rules), quote(each, BOOK).payment.taxable))
    return cases


def _evaluations(cases: list[Case]) -> float:
    return median(quote(case.question, BOOK).evaluations for case in cases)


def _times(groups: dict[str, list[Case]], rounds: int, seconds: float) -> dict[tuple[str, str], float]:
    """Microseconds for each case, by group and step; ``seconds`` is spent on each in each round."""
    steps: dict[str, Callable[[Case], object]] = {
        "liability": lambda case: liability(case.year, case.taxable),
        "tax_curve": lambda case: tax_curve(TaxFunction(case.year), case.taxable),
        "quote": lambda case: quote(case.question, BOOK),
    }
    found: dict[tuple[str, str], list[float]] = {(name, step): [] for name in groups for step in steps}
    for number in range(rounds):
        progress(f"rules: round {number + 1}")
        for name, cases in groups.items():
            for step, function in steps.items():
                found[name, step].append(_microseconds(function, cases, seconds))
    return {key: median(values) for key, values in found.items()}


def _microseconds(function: Callable[[Case], object], cases: list[Case], seconds: float) -> float:
    """Processor time for each case, over as many whole passes as ``seconds`` allow and at least one."""
    passes, begun = 0, time.process_time()
    while True:
        # Reading the processor clock costs about as much as one evaluation, so it is read once in a hundred cases.
        for _ in range(max(1, 100 // len(cases))):
            for case in cases:
                function(case)
            passes += 1
        spent = time.process_time() - begun
        if spent >= seconds:
            return spent * 1_000_000 / (passes * len(cases))

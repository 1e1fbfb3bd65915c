"""What is otherwise under another law, in sentences: the main amounts of an answer, and how many warnings come or go.

An answer has the amounts of its own question alone, so which of them are told follows from what is there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from service.law.units import POUND
from service.planning.wording import option_in_words, rounded_pounds, starting

_MAIN = (
    (("income_tax", "on_withdrawal"), "the tax that the withdrawal adds to the year"),
    (("net_after_tax",), "what is kept after the year's tax"),
    (("payroll", "paid_out"), "what the provider pays out"),
    (("steady_income", "amount"), "the yearly income"),
    (("totals", "wealth_after_tax"), "what the plan leaves after tax"),
    (("totals", "income_tax"), "the income tax inside the plan"),
    (("proof", "beneficiaries_receive"), "what beneficiaries receive"),
)
"""Where the main amounts of an answer stand, and what they are."""

_BEST = ("ranking", "wealth_after_tax")
"""Where options are ranked by what they leave."""


def sentences(document: Mapping[str, Any], other: Mapping[str, Any], proposed: str | None) -> list[str]:
    """What the ``other`` answer has otherwise, by the law that is ``proposed`` under this title, or by the law as known."""
    under, verb = ("Under the law as known", "is") if proposed is None else ("Under the proposal", "would be")
    first = f"The proposal is: {proposed}. It is not law." if proposed else ""
    said = [
        *_amounts(document, other, verb),
        *_best_option(document, other, proposed=proposed is not None),
        *_warnings(document, other, proposed=proposed is not None),
    ]
    if not said:
        told = any(_at(document, path) is not None for path in (*(path for path, _ in _MAIN), _BEST))
        said = [f"{'the main amounts and ' * told}the points to check {'would be' if proposed else 'are'} the same"]
    said[0] = f"{under}, {said[0]}"
    return [*([first] if first else []), *(f"{starting(sentence)}." for sentence in said)]


def _amounts(document: Mapping[str, Any], other: Mapping[str, Any], verb: str) -> Iterator[str]:
    for path, words in _MAIN:
        one, beside = _at(document, path), _at(other, path)
        if one is not None and beside is not None and one != beside:
            yield f"{words} {verb} {_money(beside)}, {_more(beside - one)}"


def _best_option(document: Mapping[str, Any], other: Mapping[str, Any], *, proposed: bool) -> Iterator[str]:
    """Which of several options leaves the most, and how much."""
    best, beside = (next(iter(_at(each, _BEST) or ()), None) for each in (document, other))
    if best is None or beside is None or best == beside:
        return
    leaves, still = ("would leave", "would still leave") if proposed else ("leaves", "still leaves")
    which, amount = option_in_words(beside["option"]), _money(beside["amount"])
    if best["option"] != beside["option"]:
        yield f"{which} {leaves} the most after tax, {amount}, and not {option_in_words(best['option'])}"
    else:
        yield f"{which} {still} the most after tax, {amount}, {_more(beside['amount'] - best['amount'])}"


def _warnings(document: Mapping[str, Any], other: Mapping[str, Any], *, proposed: bool) -> Iterator[str]:
    codes = [Counter(warning["code"] for warning in each["warnings"]) for each in (document, other)]
    changes = ((codes[1] - codes[0]).total(), "new"), ((codes[0] - codes[1]).total(), "gone")
    told = [
        f"{count} {'would be' if proposed else 'is' if count == 1 else 'are'} {how}" for count, how in changes if count
    ]
    if told:
        yield f"of the points to check, {' and '.join(told)}"


def _at(document: Mapping[str, Any], path: tuple[str, ...]) -> Any:
    """What stands at a place; None where there is nothing."""
    found: Any = document
    for key in path:
        found = found.get(key) if isinstance(found, dict) else None
    return found


def _money(amount: float) -> str:
    return rounded_pounds(round(amount * POUND))


def _more(difference: float) -> str:
    return f"{_money(abs(difference))} {'more' if difference > 0 else 'less'}"

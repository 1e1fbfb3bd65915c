"""Search for the valid request of an operation that costs the service the most work.

    python -m tests.costliest OPERATION --seconds N [--limit 5] [--seed 1] [--keep 10] [--begin-with FILE ...] [--always JSON]

OPERATION is withdrawal-tax, allowance-schedule, lump-sum-timing or warnings. The search begins with the operation's requests
in examples/requests, with those of FILEs (JSON) and with invented ones, and changes the costliest again and again: amounts
and days are moved, items are added to lists, parts are taken over from other requests, years and people are added. What
costs most is kept. It does so several times from the beginning, and then once from the best of all. Cost is processor time,
measured in a process of its own (``tests.asking``) that is ended where a request takes more than the limit, in seconds: such a
request is a find, and the search goes on. ``--always '{"search": {"effort": "quick"}, "markets": null}'`` puts these fields into
every request, and leaves out those that are null.

It prints one JSON object: how many were tried and answered, and the worst of them, the worst first, each with its seconds, the
lengths of request and answer, and the request; and under ``failed`` requests at which the service failed. The same seed
changes requests in the same ways, but what is kept depends on measured times. tests/benchmarks/costly keeps the worst finds.
"""

from __future__ import annotations

import argparse
import copy
import json
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

from tests import invented_requests
from tests.asking import TOP, Asked, Asker
from tests.invented_requests import EDGES, JsonObject

_POOL = 24
_MOST_ENDED = 6
_BEGINNINGS = 4
_FRESH = 0.1
_WORDS_FROM = 400
_LARGEST = 100_000_000
_Path = tuple[str | int, ...]


class Operation(NamedTuple):
    """How requests of an operation are invented, the queries they may come with, and what of a request makes more work: a
    place, and the value to put there."""

    invented: Callable[[Random], JsonObject]
    queries: tuple[str, ...]
    more: tuple[tuple[_Path, Any], ...]
    marks: frozenset[str]
    """Keys by which an example is known to be of this operation."""


def _many(item: JsonObject, count: int) -> list[JsonObject]:
    """An item many times, each with an amount of its own and, where it has a day, one after that of the one before."""
    found = []
    for number in range(count):
        one = {
            key: value + number if key in ("amount", "yearly", "uncrystallised") else value
            for key, value in item.items()
        }
        if "date" in item:
            one["date"] = (date.fromisoformat(item["date"]) + timedelta(days=17 * number)).isoformat()
        found.append(one)
    return found


_SCENARIOS = {
    "low": {"pension_growth": 0.01, "isa_growth": 0.06, "cash_interest": 0.05},
    "middle": {"pension_growth": 0.04, "isa_growth": 0.03, "cash_interest": 0.04},
    "high": {"pension_growth": 0.07, "isa_growth": 0.06, "cash_interest": 0.02},
}
_FIRST: _Path = ("household", "people", 0)
_SECOND: _Path = ("household", "people", 1)
_GIVES, _RECEIVES = ((*_FIRST, "marriage_allowance"), "gives"), ((*_SECOND, "marriage_allowance"), "receives")
_AS_BEST = (((*_FIRST, "marriage_allowance"), "as_best"), ((*_SECOND, "marriage_allowance"), "as_best"))
_APART = [{"uncrystallised": 90_000, "drawdown": 20_000, "growth": round(0.02 + 0.004 * k, 3)} for k in range(5)]
_ESTATE = {"home": 900_000, "home_to_descendants": True, "charity_share": 0.1}
_VARYING = {"pension_growth": 0.1, "isa_growth": 0.1, "price_inflation": 0.01}
_MARKETS = {"source": "random", "seed": 1, "volatility": _VARYING}

OPERATIONS = {
    "withdrawal-tax": Operation(
        invented_requests.withdrawal,
        ("", "?include=curve", "?include=working,curve"),
        (
            ((*_FIRST, "child_benefit"), 100_000),
            ((*_FIRST, "marriage_allowance"), "receives"),
            (
                (*_FIRST, "income"),
                [{"kind": "dividends", "amount": 90_000}, {"kind": "savings_interest", "amount": 5_000}],
            ),
            ((*_FIRST, "pensions", 0, "uncrystallised"), 5_000_000),
        ),
        frozenset({"withdrawal"}),
    ),
    "allowance-schedule": Operation(
        invented_requests.plan,
        ("",),
        (
            (("aim", "goal"), "most_after_tax"),
            (("aim", "goal"), "steady_income"),
            (("aim", "goal"), "most_to_beneficiaries"),
            (("household", "estate"), _ESTATE),
            (("sensitivity",), {}),
            (("markets",), _MARKETS),
            ((*_FIRST, "pensions"), _APART),
            ((*_SECOND, "pensions"), _APART),
            *_AS_BEST,
            (("assumptions", "scenarios"), _SCENARIOS),
            (("search",), {"effort": "thorough"}),
            (("end_date",), "2084-04-05"),
            (("assumptions", "cash_interest"), 0.05),
            _GIVES,
            _RECEIVES,
        ),
        frozenset({"aim", "end_date"}),
    ),
    "lump-sum-timing": Operation(
        invented_requests.timing,
        ("",),
        (
            (("to_age",), 110),
            (("assumptions", "scenarios"), _SCENARIOS),
            (("break_even_growth",), {"low": -0.1, "high": 0.2}),
            (("household", "estate"), _ESTATE),
            (("sensitivity",), {}),
            (("markets",), _MARKETS),
            *_AS_BEST,
            (("options",), [{"lump_sums": "phased", "yearly": yearly} for yearly in range(4_000, 44_000, 4_000)]),
            (("deaths",), [{"person": 0, "age": age} for age in range(80, 90)]),
            (("aim", "goal"), "higher_rate_band"),
            _GIVES,
            _RECEIVES,
        ),
        frozenset({"options"}),
    ),
    "warnings": Operation(
        invented_requests.warnings,
        ("",),
        (
            ((*_FIRST, "child_benefit"), 100_000),
            (("withdrawals",), _many({"person": 0, "method": "ufpls", "amount": 30_000, "date": "2026-10-01"}, 100)),
            (("withdrawals",), _many({"person": 1, "method": "drawdown", "amount": 30_000, "date": "2027-10-01"}, 100)),
            ((*_FIRST, "contributions"), _many({"yearly": 4_000, "relief": "relief_at_source"}, 100)),
            ((*_SECOND, "contributions"), _many({"yearly": 4_000, "payer": "employer"}, 100)),
            (("isa_subscriptions",), _many({"person": 1, "amount": 4_000, "date": "2026-10-01"}, 100)),
            ((*_FIRST, "pensions", 0, "uncrystallised"), 9_000_000),
            ((*_SECOND, "pensions", 0, "drawdown"), 9_000_000),
            ((*_FIRST, "pensions"), _many({"uncrystallised": 100_000}, 20)),
            _GIVES,
            _RECEIVES,
        ),
        frozenset({"date"}),
    ),
}


class Candidate(NamedTuple):
    """A request with the query it is sent with."""

    query: str
    request: JsonObject


class Find(NamedTuple):
    """A candidate and what it cost."""

    candidate: Candidate
    cost: Asked


class Changer:
    """Changes requests of one operation at random, mostly toward more work."""

    def __init__(self, operation: Operation, seeds: list[JsonObject], random: Random) -> None:
        self._operation, self._random = operation, random
        self._words: defaultdict[str, set[str]] = defaultdict(set)
        for request in (*seeds, *(operation.invented(random) for _ in range(_WORDS_FROM))):
            for path, value in _leaves(request):
                if isinstance(value, str) and not _is_day(value):
                    self._words[_name(path)].add(value)

    def fresh(self) -> Candidate:
        """An invented request."""
        return Candidate(self._random.choice(self._operation.queries), self._operation.invented(self._random))

    def changed(self, parent: Candidate, others: list[Candidate]) -> Candidate:
        """A candidate with a few things changed; parts may come from others."""
        request = copy.deepcopy(parent.request)
        for _ in range(self._random.choice((1, 1, 2, 3, 5))):
            self._random.choice((self._leaf, self._leaf, self._list, self._more, self._part))(request, others)
        keep = self._random.random() < 0.9
        return Candidate(parent.query if keep else self._random.choice(self._operation.queries), request)

    def _leaf(self, request: JsonObject, _: list[Candidate]) -> None:
        """Another amount, day or word in the place of one."""
        path, value = self._random.choice(list(_leaves(request)))
        _put(request, path, self._other(_name(path), value))

    def _other(self, name: str, value: Any) -> Any:
        random = self._random
        if isinstance(value, bool):
            return not value
        if isinstance(value, str) and _is_day(value):
            days = random.choice((1, -1, 365, -365, random.randint(-4_000, 8_000)))
            try:
                return (date.fromisoformat(value) + timedelta(days=days)).isoformat()
            except OverflowError:
                return value
        if isinstance(value, str):
            return random.choice(sorted(self._words[name])) if self._words[name] else value
        if -1 < value < 1.5:  # a rate or a share, or nothing
            return random.choice((0, 1, round(random.uniform(-0.1, 0.2), 4), round(random.random(), 4), value))
        if value <= 120:  # an age, or a small amount
            return value + random.choice((-10, -1, 1, 10))
        edge = random.choice(EDGES) + random.choice((0, 0.01, -0.01, 1, -1, 100, -100))
        scaled = value * random.choice((0.5, 0.9, 0.99, 1.01, 1.1, 2, 10))
        return min(max(round(random.choice((edge, scaled, value + 0.01)), 2), 0), _LARGEST)

    def _list(self, request: JsonObject, others: list[Candidate]) -> None:
        """An item more in a list, mostly; seldom one fewer."""
        lists = [value for _, value in _nodes(request) if isinstance(value, list) and value]
        if not lists:
            self._part(request, others)
            return
        chosen = self._random.choice(lists)
        if self._random.random() < 0.2:
            chosen.remove(self._random.choice(chosen))
            return
        for _ in range(self._random.choice((1, 1, 3, 20))):
            item = copy.deepcopy(self._random.choice(chosen))
            if isinstance(item, dict) and item:
                path, value = self._random.choice(list(_leaves(item)))
                _put(item, path, self._other(_name(path), value))
            chosen.append(item)

    def _more(self, request: JsonObject, _: list[Candidate]) -> None:
        """Something that is known to make work."""
        path, value = self._random.choice(self._operation.more)
        _put(request, path, copy.deepcopy(value))

    def _part(self, request: JsonObject, others: list[Candidate]) -> None:
        """A part of another request in the same place."""
        known = bool(others) and self._random.random() < 0.5
        donor = self._random.choice(others).request if known else self._operation.invented(self._random)
        path, value = self._random.choice(list(_nodes(donor)))
        _put(request, path, copy.deepcopy(value))


def search(
    operation: Operation,
    url: str,
    seeds: list[JsonObject],
    *,
    seconds: float,
    limit: float,
    random: Random,
    always: JsonObject,
) -> dict[str, Any]:
    """Search for a while; the worst finds, and how many were tried and answered. ``always`` is a part of every request, but
    for its fields that are None, which no request has."""
    changer = Changer(operation, seeds, random)
    best: list[Find] = []
    ended: list[Find] = []
    failed: list[Find] = []
    tried = answered = stopped = 0
    begun = time.monotonic()
    with Asker(limit) as asker:
        for number in range(1, _BEGINNINGS + 2):
            pool = list(best) if number > _BEGINNINGS else []
            waiting = (
                [Candidate(query, request) for request in seeds for query in operation.queries] if number == 1 else []
            )
            while time.monotonic() - begun < seconds * number / (_BEGINNINGS + 1):
                query, request = waiting.pop() if waiting else _next(changer, pool, random)
                asked = {key: value for key, value in {**request, **always}.items() if value is not None}
                candidate = Candidate(query, asked)
                cost = asker.ask(url + candidate.query, candidate.request)
                tried += 1
                if cost.status is None:
                    stopped += 1
                    ended.append(Find(candidate, cost))
                    # Of those that are too much, the shortest say most.
                    ended.sort(key=lambda find: len(json.dumps(find.candidate.request)))
                    del ended[_MOST_ENDED:]
                elif cost.status == 200:
                    answered += 1
                    pool = _costliest([*pool, Find(candidate, cost)])
                elif cost.status >= 500:
                    failed = [*failed, Find(candidate, cost)][:_MOST_ENDED]
            best = _costliest([*best, *(find for find in pool if find not in best)])
    return {
        "tried": tried,
        "answered": answered,
        "ended": stopped,
        "failed": [_told(find) for find in failed],
        "worst": [_told(find) for find in (*ended, *best)],
    }


def _costliest(finds: list[Find]) -> list[Find]:
    return sorted(finds, key=lambda find: -find.cost.seconds)[:_POOL]


def _next(changer: Changer, pool: list[Find], random: Random) -> Candidate:
    if not pool or random.random() < _FRESH:
        return changer.fresh()
    parents = [find.candidate for find in pool]
    # The costlier, the likelier.
    return changer.changed(parents[int(len(parents) * random.random() ** 2)], parents)


def _told(find: Find) -> dict[str, Any]:
    seconds, status, length = find.cost
    return {
        "seconds": seconds,
        "ended": status is None,
        "request_bytes": len(json.dumps(find.candidate.request)),
        "answer_bytes": length,
        "query": find.candidate.query,
        "request": find.candidate.request,
    }


def _nodes(node: Any, path: _Path = ()) -> Iterator[tuple[_Path, Any]]:
    """Every value inside a document with its place; not the document itself."""
    inside = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in inside:
        here = (*path, key)
        yield here, value
        yield from _nodes(value, here)


def _leaves(node: Any) -> Iterator[tuple[_Path, Any]]:
    return ((path, value) for path, value in _nodes(node) if not isinstance(value, dict | list))


def _put(document: Any, path: _Path, value: Any) -> None:
    """Put a value at a place, making the objects on the way; nothing where a list has no such item."""
    *way, last = path
    for key in way:
        if isinstance(document, list):
            if not isinstance(key, int) or key >= len(document):
                return
            document = document[key]
        elif isinstance(document, dict):
            document = document.setdefault(key, {})
    if isinstance(document, list) and isinstance(last, int):
        document[last : last + 1] = [value]
    elif isinstance(document, dict) and isinstance(last, str):
        document[last] = value


def _name(path: _Path) -> str:
    return next((key for key in reversed(path) if isinstance(key, str)), "")


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def seeds_of(operation: Operation, files: list[Path]) -> list[JsonObject]:
    """The requests of an operation among the examples, and those in files."""
    examples = sorted((TOP / "examples" / "requests").glob("*.json"))
    found = [json.loads(path.read_text("utf-8")) for path in examples]
    return [
        *(request for request in found if operation.marks <= request.keys()),
        *(json.loads(path.read_text("utf-8")) for path in files),
    ]


def main() -> int:
    """Search as the command line says, and print what was found."""
    parser = argparse.ArgumentParser(prog="python -m tests.costliest", description="Search for the costliest requests.")
    parser.add_argument("operation", choices=OPERATIONS)
    parser.add_argument(
        "--begin-with", nargs="*", default=[], type=Path, metavar="FILE", help="more requests to change"
    )
    parser.add_argument("--seconds", type=float, default=60.0, help="how long to search (60)")
    parser.add_argument("--always", type=json.loads, default={}, metavar="JSON", help="fields of every request")
    parser.add_argument("--limit", type=float, default=5.0, help="processor seconds that a request may take (5)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=int, default=10, help="finds to print (10)")
    options = parser.parse_args()
    operation = OPERATIONS[options.operation]
    found = search(
        operation,
        f"/v1/{options.operation}",
        seeds_of(operation, options.begin_with),
        seconds=options.seconds,
        limit=options.limit,
        random=Random(options.seed),
        always=options.always,
    )
    found["worst"] = found["worst"][: options.keep]
    about = {"operation": options.operation, "seed": options.seed, "limit": options.limit}
    sys.stdout.write(json.dumps({**about, **found}, indent=2) + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())

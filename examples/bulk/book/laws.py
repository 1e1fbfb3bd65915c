"""The same client under two laws: who gains, who loses, by how much, and which warnings come or go."""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import msgspec

from book.sending import StopError, versions_differ
from book.sheets import RECORD

KNOWN = "known"
"""The service's name for the law as known."""
EDGES = (1_00, 100_00, 500_00, 1_000_00, 5_000_00)
"""Where one group of gains ends and the next begins, in pence; those of losses are the same."""
GROUPS = 2 * len(EDGES) + 1

Measure = tuple[str, float]
"""What is measured, and how much of it there is in pounds."""
TAX = "tax on the withdrawal"
"""The one measure of which less is better."""


def _of_a_quote(answer: Mapping[str, Any]) -> Measure:
    return TAX, answer["withdrawal"]["gross"] - answer["net_after_tax"]


def _of_a_plan(answer: Mapping[str, Any]) -> Measure:
    if "steady_income" in answer:
        return "steady income a year", answer["steady_income"]["amount"]
    return "wealth after tax at the end", answer["totals"]["wealth_after_tax"]


def _of_a_comparison(answer: Mapping[str, Any]) -> Measure | None:
    order = answer["ranking"]["wealth_after_tax"]
    return ("wealth after tax of the option that leaves the most", order[0]["amount"]) if order else None


MEASURES: Mapping[str, Callable[[Mapping[str, Any]], Measure | None]] = {
    "withdrawal-tax": _of_a_quote,
    "allowance-schedule": _of_a_plan,
    "lump-sum-timing": _of_a_comparison,
    "warnings": lambda answer: None,
}
"""What a client gains or loses by, of each operation; None where only warnings are compared."""


class Effect(NamedTuple):
    """One client's answers under two laws. Money in pence; ``measure`` is empty where there is no amount. ``came`` and ``gone``
    are codes of warnings, a code for each time that it comes or goes; ``versions`` are those of the rules of both answers."""

    record: int
    id: str
    measure: str
    before: int
    after: int
    came: tuple[str, ...]
    gone: tuple[str, ...]
    versions: tuple[str, str]

    @property
    def gain(self) -> int:
        """How much better off the client is under the second law; worse off, if negative."""
        return self.before - self.after if self.measure == TAX else self.after - self.before


@dataclass(frozen=True, slots=True)
class Laws:
    """Two laws, by their names at the service, for one operation."""

    before: str
    after: str
    largest: int
    operation: str

    def columns(self) -> list[tuple[str, str]]:
        """The columns of the file of changes."""
        amounts = [f"amount_{law.replace('-', '_')}" for law in (self.before, self.after)]
        words = [("measure", "text"), *((name, "money") for name in (*amounts, "gain"))]
        return [*RECORD, *words, ("warnings_come", "text"), ("warnings_go", "text")]

    def row(self, change: Effect) -> list[Any]:
        """One change under those columns."""
        money = [amount / 100 if change.measure else None for amount in (change.before, change.after, change.gain)]
        words = [" ".join(codes) or None for codes in (change.came, change.gone)]
        return [change.record, change.id, change.measure or None, *money, *words]

    def change(self, record: int, key: str, before: msgspec.Raw, after: msgspec.Raw) -> Effect:
        """The change between two results, as JSON."""
        first, second = msgspec.json.decode(before), msgspec.json.decode(after)
        measures = [MEASURES[self.operation](answer) for answer in (first, second)]
        name, amounts = "", (0, 0)
        if measures[0] is not None and measures[1] is not None:
            name = measures[0][0]
            amounts = (round(measures[0][1] * 100), round(measures[1][1] * 100))
        codes = [Counter(warning["code"] for warning in answer["warnings"]) for answer in (first, second)]
        came, gone = codes[1] - codes[0], codes[0] - codes[1]
        versions = (first["rules"]["version"], second["rules"]["version"])
        return Effect(
            record, key, name, *amounts, tuple(sorted(came.elements())), tuple(sorted(gone.elements())), versions
        )

    def counted(self, changes: Sequence[Effect]) -> dict[str, Any]:
        """What the changes of a chunk come to."""
        measures: dict[str, dict[str, Any]] = {}
        for effect in changes:
            if effect.measure:
                of = measures.setdefault(effect.measure, {"groups": [0] * GROUPS, "gained": 0, "lost": 0})
                of["groups"][group_of(effect.gain)] += 1
                of["gained"] += max(0, effect.gain)
                of["lost"] += max(0, -effect.gain)
        return {
            "compared": len(changes),
            "measures": measures,
            "come": Counter(code for effect in changes for code in effect.came),
            "go": Counter(code for effect in changes for code in effect.gone),
            "versions": sorted({effect.versions for effect in changes}),
            "largest": _largest(changes, self.largest),
        }

    def summed(self, counted: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        """What those of all chunks come to. StopError where a law was not the same all the time."""
        versions = sorted({tuple(pair) for part in counted for pair in part["versions"]})
        if len(versions) > 1:
            first, second = next((pair[0], pair[1]) for pair in zip(*versions, strict=True) if len(set(pair)) > 1)
            raise StopError(versions_differ(first, second))
        found = (Effect(*effect) for part in counted for effect in part["largest"])
        return {
            "laws": [self.before, self.after],
            "rules_versions": list(versions[0]) if versions else [],
            "compared": sum(part["compared"] for part in counted),
            "measures": [self._measure(name, counted) for name in _names(counted)],
            "warnings_come": _added(part["come"] for part in counted),
            "warnings_go": _added(part["go"] for part in counted),
            "largest": [
                {
                    "record": effect.record,
                    "id": effect.id,
                    "measure": effect.measure,
                    "amounts": [effect.before / 100, effect.after / 100],
                    "gain": effect.gain / 100,
                }
                for effect in _largest(found, self.largest)
            ],
        }

    def _measure(self, name: str, counted: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        parts = [part["measures"][name] for part in counted if name in part["measures"]]
        groups = [sum(numbers) for numbers in zip(*(part["groups"] for part in parts), strict=True)]
        middle = len(EDGES)
        return {
            "measure": name,
            "compared": sum(groups),
            "gain": sum(groups[middle + 1 :]),
            "lose": sum(groups[:middle]),
            "unchanged": groups[middle],
            "gained": sum(part["gained"] for part in parts) / 100,
            "lost": sum(part["lost"] for part in parts) / 100,
            "groups": [{"group": words_of(group), "clients": number} for group, number in enumerate(groups)],
        }

    def told(self, summed: Mapping[str, Any], file: str) -> list[str]:
        """The same as lines of text."""
        lines = [f"  {summed['compared']:,} clients under {self.before} and under {self.after}; each in {file}"]
        for of in summed["measures"]:
            lines += [
                f"  {of['measure']}: {of['gain']:,} gain £{of['gained']:,.2f} in all, {of['lose']:,} lose £{of['lost']:,.2f}, "
                f"{of['unchanged']:,} are within £1"
            ]
        for words, key in (("come", "warnings_come"), ("go", "warnings_go")):
            lines += [f"  {number:>9,} {words}: {code}" for code, number in summed[key].items()]
        lines += ["", f"  {'record':>9}  {'id':<24}{self.before[:15]:>16}{self.after[:15]:>16}{'gain':>16}"]
        for effect in summed["largest"]:
            first, second = effect["amounts"]
            lines.append(
                f"  {effect['record']:>9}  {effect['id']:<24}{first:>16,.2f}{second:>16,.2f}{effect['gain']:>+16,.2f}"
            )
        return lines


def group_of(gain: int) -> int:
    """The group of a gain in pence: the middle one is of those within a pound, those before it lose, the largest loss first."""
    size = sum(abs(gain) >= edge for edge in EDGES)
    return len(EDGES) + (size if gain > 0 else -size)


def words_of(group: int) -> str:
    """A group in words."""
    size = abs(group - len(EDGES))
    if size == 0:
        return "less than £1 either way"
    what = "gain" if group > len(EDGES) else "lose"
    low = EDGES[size - 1] // 100
    return f"{what} £{low:,} or more" if size == len(EDGES) else f"{what} £{low:,} to less than £{EDGES[size] // 100:,}"


def _names(counted: Sequence[Mapping[str, Any]]) -> list[str]:
    return sorted({name for part in counted for name in part["measures"]})


def _added(counts: Iterable[Mapping[str, int]]) -> dict[str, int]:
    """Counts by code, added up, the most frequent first."""
    total: Counter[str] = Counter()
    for each in counts:
        total.update(each)
    return dict(sorted(total.items(), key=lambda item: (-item[1], item[0])))


def _largest(effects: Iterable[Effect], most: int) -> list[Effect]:
    """The effects that are worth most, either way, the largest first; in the order of the book where they are equal."""
    changed = (effect for effect in effects if effect.gain)
    return heapq.nsmallest(most, changed, key=lambda effect: (-abs(effect.gain), effect.record))

"""The same client twice: in two tax years, or under two laws (``laws.py``).

What every comparison can do, and that of tax years."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple, Protocol

import msgspec

from book.sheets import RECORD


class Comparison(Protocol):
    """What is compared between two answers to each client."""

    @property
    def before(self) -> str:
        """The name of the first."""

    @property
    def after(self) -> str:
        """The name of the second."""

    def columns(self) -> list[tuple[str, str]]:
        """The columns of the file of changes."""

    def row(self, change: Any) -> list[Any]:
        """One change under those columns."""

    def change(self, record: int, key: str, before: msgspec.Raw, after: msgspec.Raw) -> Any:
        """The change between two results, as JSON."""

    def counted(self, changes: Sequence[Any]) -> dict[str, Any]:
        """What the changes of a chunk come to, as JSON."""

    def summed(self, counted: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        """What those of all chunks come to."""

    def told(self, summed: Mapping[str, Any], file: str) -> list[str]:
        """The same as lines of text; ``file`` has every change."""


class _Withdrawal(msgspec.Struct):
    gross: float


class _Measured(msgspec.Struct):
    """The fields of a result that a change is measured by."""

    withdrawal: _Withdrawal
    net_after_tax: float


_READ = msgspec.json.Decoder(_Measured)


class Change(NamedTuple):
    """One client's answers in two tax years. Money in pence; ``cost`` is what of the withdrawal is lost to tax."""

    record: int
    id: str
    gross_before: int
    gross_after: int
    net_before: int
    net_after: int

    @property
    def cost_before(self) -> int:
        """Tax, and the charges beside it, in the first year."""
        return self.gross_before - self.net_before

    @property
    def cost_after(self) -> int:
        """Tax, and the charges beside it, in the second year."""
        return self.gross_after - self.net_after

    @property
    def by(self) -> int:
        """How much more the withdrawal costs in the second year; less, if negative."""
        return self.cost_after - self.cost_before


@dataclass(frozen=True, slots=True)
class TaxYears:
    """Two tax years under one law."""

    before: str
    after: str
    largest: int

    def columns(self) -> list[tuple[str, str]]:
        """The columns of the file of changes."""
        measured = [
            f"{what}_{year}" for what in ("gross", "net_after_tax", "tax") for year in (self.before, self.after)
        ]
        return [*RECORD, *((name.replace("-", "_"), "money") for name in measured), ("change_in_tax", "money")]

    def row(self, change: Change) -> list[Any]:
        """One change under those columns."""
        pence = (
            change.gross_before,
            change.gross_after,
            change.net_before,
            change.net_after,
            change.cost_before,
            change.cost_after,
            change.by,
        )
        return [change.record, change.id, *(amount / 100 for amount in pence)]

    def change(self, record: int, key: str, before: msgspec.Raw, after: msgspec.Raw) -> Change:
        """The change between two results, as JSON."""
        first, second = _READ.decode(before), _READ.decode(after)
        amounts = (first.withdrawal.gross, second.withdrawal.gross, first.net_after_tax, second.net_after_tax)
        return Change(record, key, *(round(amount * 100) for amount in amounts))

    def counted(self, changes: Sequence[Change]) -> dict[str, Any]:
        """What the changes of a chunk come to."""
        return {
            "compared": len(changes),
            "changed": sum(bool(change.by) for change in changes),
            "change_in_tax": sum(change.by for change in changes),
            "largest": largest(changes, self.largest),
        }

    def summed(self, counted: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
        """What those of all chunks come to."""
        found = (Change(*change) for part in counted for change in part["largest"])
        return {
            "compared": sum(part["compared"] for part in counted),
            "changed": sum(part["changed"] for part in counted),
            "change_in_tax": sum(part["change_in_tax"] for part in counted) / 100,
            "largest": [
                {
                    "record": change.record,
                    "id": change.id,
                    "tax": [change.cost_before / 100, change.cost_after / 100],
                    "change_in_tax": change.by / 100,
                }
                for change in largest(found, self.largest)
            ],
        }

    def told(self, summed: Mapping[str, Any], file: str) -> list[str]:
        """The same as lines of text."""
        lines = [
            f"  {summed['changed']:,} of {summed['compared']:,} answers change in tax, by £{summed['change_in_tax']:,.2f} "
            f"in all; each in {file}",
            "",
            f"  {'record':>9}  {'id':<24}{'tax ' + self.before:>16}{'tax ' + self.after:>16}{'change':>16}",
        ]
        for change in summed["largest"]:
            first, second = change["tax"]
            lines.append(
                f"  {change['record']:>9}  {change['id']:<24}{first:>16,.2f}{second:>16,.2f}"
                f"{change['change_in_tax']:>+16,.2f}"
            )
        return lines


def largest(changes: Iterable[Change], most: int) -> list[Change]:
    """The changes that are worth most, either way, the largest first; in the order of the book where they are equal."""
    changed = (found for found in changes if found.by)
    return heapq.nsmallest(most, changed, key=lambda found: (-abs(found.by), found.record))

"""The same client in two tax years: what the difference is worth, and whose is the largest."""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from typing import Any, NamedTuple

import msgspec

from book.sheets import RECORD


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


def columns(before: str, after: str) -> list[tuple[str, str]]:
    """The columns of the file of changes, for two tax years."""
    measured = [f"{what}_{year}" for what in ("gross", "net_after_tax", "tax") for year in (before, after)]
    return [*RECORD, *((name.replace("-", "_"), "money") for name in measured), ("change_in_tax", "money")]


def row(change: Change) -> list[Any]:
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


def change(record: int, key: str, before: msgspec.Raw, after: msgspec.Raw) -> Change:
    """The change between two results, as JSON."""
    first, second = _READ.decode(before), _READ.decode(after)
    amounts = (first.withdrawal.gross, second.withdrawal.gross, first.net_after_tax, second.net_after_tax)
    return Change(record, key, *(round(amount * 100) for amount in amounts))


def largest(changes: Iterable[Change], most: int) -> list[Change]:
    """The changes that are worth most, either way, the largest first; in the order of the book where they are equal."""
    changed = (found for found in changes if found.by)
    return heapq.nsmallest(most, changed, key=lambda found: (-abs(found.by), found.record))

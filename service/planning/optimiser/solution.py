"""What an optimum of the relaxation says."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from service.planning.optimiser.claims import Claim
from service.planning.optimiser.last_day import Misjudged
from service.planning.optimiser.tax_cells import CellTax


class MixedClaims(NamedTuple):
    """What it would cost at the plan's end if a cell were under the one claim that is the best for what everybody has there."""

    cell: int
    best: Claim
    cost: float


class Solution(NamedTuple):
    """An optimum of the relaxation: its wealth, pounds, and the values of the columns.

    ``shares`` are the weights of each period's cells. ``fractional``: what each period with several cells would lose at
    the plan's end if it were taxed as one. ``mixed_claims``: what each period with one cell and several claims to the marriage
    allowance would lose under the best of them. ``order_violations``: by person, the periods in which funds are drawn without
    a tax-free part before the allowance is used up. ``misjudged`` is what the last day is worth less. ``small_pots``: of each
    open small pot the share that is taken in each period, and as None the share that is not.
    """

    wealth: float
    values: Sequence[float]
    shares: list[list[float]]
    cell_taxes: list[CellTax]
    fractional: dict[int, float]
    mixed_claims: dict[int, MixedClaims]
    order_violations: dict[int, list[int]]
    misjudged: Misjudged
    small_pots: tuple[Mapping[int | None, float], ...] = ()


class Amounts(NamedTuple):
    """What a solution does. Pounds by person and period: taxable withdrawals, drawdown drawn, cash held, and what is
    spent before the last day of the cash of the period before, of the draws from uncrystallised funds (gross) and of those from
    drawdown funds; by period: subscribed, from ISAs, and what of it is spent before the last day."""

    withdrawn: list[list[float]]
    drawdown: list[list[float]]
    cash: list[list[float]]
    early_cash: list[list[float]]
    early_uncrystallised: list[list[float]]
    early_drawdown: list[list[float]]
    subscribed: list[float]
    from_isas: list[float]
    early_from_isas: list[float]


class TaxedLeft(NamedTuple):
    """What a solution leaves in pensions that would bear tax, pounds, and the solution as values of columns and duals of rows."""

    pounds: float
    values: Sequence[float]
    duals: Sequence[float]


def heaviest(shares: Sequence[float]) -> int:
    """The cell with the largest share."""
    return max(range(len(shares)), key=lambda cell: shares[cell])

"""Nodes of the tree: what branching constrains."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from service.planning.optimiser.last_day import Box


class DrawOrder(NamedTuple):
    """Branching constraints on a person: uncrystallised funds are not drawn without a tax-free part before one period, and
    the tax-free allowance is used up by another (None: it need not be)."""

    not_before: int = 0
    used_by: int | None = None


class ActiveCells(NamedTuple):
    """A branching constraint on a period: the cells that may have weight, of those ``known`` when it was made. A later
    cell is active if the one it was split from is."""

    cells: frozenset[int]
    known: int


class CellCount(NamedTuple):
    """A branching constraint on a group of cells of many periods (``Relaxation.group_apart``): in a plan each has weight one or
    none, and at least ``least`` and at most ``most`` of them have one."""

    group: int
    least: int
    most: int


class Node(NamedTuple):
    """A node of the tree: branching constraints by period, by person, on the last day, on each open small pot, and on groups of
    cells. Of a small pot they are the choices that are left: positions of periods, and None for none of them; all where
    ``small_pots`` is empty."""

    active_cells: Mapping[int, ActiveCells]
    draw_orders: Mapping[int, DrawOrder]
    box: Box | None = None
    small_pots: tuple[frozenset[int | None], ...] = ()
    cell_counts: tuple[CellCount, ...] = ()

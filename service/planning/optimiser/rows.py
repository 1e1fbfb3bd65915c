"""What the relaxation remembers of its program: which rows and columns are a cell's, a person's, a pension's."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from service.law.income_tax import MarriageAllowance
from service.planning.optimiser.claims import Claim
from service.planning.optimiser.tax_surface import Region, TaxPoint
from service.planning.projection.small_pots import OpenSmallPot


class Group(NamedTuple):
    """A row that counts the weight of cells, and those cells: their periods and places."""

    row: int
    members: set[tuple[int, int]]


@dataclass(slots=True)
class PersonInCell:
    """One person's rows and columns in a cell: rows of the points' weights, income, savings, and of the cash that may be spent
    before the last day; columns of points, columns of draws by their kind, and of that cash;
    ``early``: those of the draws that are spent before the last day. ``admitted``: the columns of the points that are in the
    region. ``claims``: the row and the sign of each part in a claim to the marriage allowance."""

    weights: int = -1
    income: int = -1
    savings: int = -1
    cash_before: int | None = None
    spent_before: int | None = None
    columns: dict[TaxPoint, int] = field(default_factory=dict)
    admitted: set[int] = field(default_factory=set)
    draws: dict[str, list[int]] = field(default_factory=dict)
    early: dict[str, list[int]] = field(default_factory=dict)
    claims: dict[MarriageAllowance, tuple[int, float]] = field(default_factory=dict)


@dataclass(slots=True)
class Cell:
    """A cell of a period, split from another but for the first: each person's region, the row of its cash, and columns.

    ``from_isas_limit``: the row that limits what is taken out of ISAs, where anything may be; ``kept``: that of the minimum of
    cash; ``spare_cash``: that of the opening cash above it, which may be spent. ``before``: the row of what is spent before the
    last day, and where that gains by it the row that limits it. ``claims``: the claims to the marriage allowance that it may be
    under.
    """

    period: int
    parent: int | None
    regions: list[Region]
    cash: int
    share: int
    members: list[PersonInCell]
    claims: tuple[Claim, ...] = ()
    subscribed: int = -1
    from_isas: list[int] = field(default_factory=list)
    from_isas_limit: int | None = None
    kept: int | None = None
    spare_cash: int | None = None
    before: list[int] = field(default_factory=list)


class PotRows(NamedTuple):
    """A pot in the model: its uncrystallised funds and the growth of a pound, both to the end, rows of its funds, the kinds of
    draws that are of use, and rows by period of what may be drawn of uncrystallised funds while more is still paid in."""

    uncrystallised: float
    after: list[float]
    funds: int
    income_funds: int
    kinds: list[str]
    so_far: dict[int, int]


class SmallPotRows(NamedTuple):
    """A pension that may be taken as a small pot: the rows of its pot, the row of the share that is taken so, and columns of that
    by period."""

    of: OpenSmallPot
    pot: PotRows
    share: int
    columns: dict[int, list[int]]


class PensionInModel(NamedTuple):
    """A person's pensions in the model: what is left of the tax-free allowance, the tax-free share, the row of the allowance, and
    the pots; one where all pensions count as one. ``uses_up``: the allowance may be used up, and draws without a tax-free part
    be of use from then on. ``used`` are rows of what is used by the end of a period, made when a node first needs them."""

    tax_free_left: float
    share: float
    allowance: int
    uses_up: bool
    used: dict[int, int]
    pots: list[PotRows]

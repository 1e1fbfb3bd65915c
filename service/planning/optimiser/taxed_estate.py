"""What beneficiaries receive, in the linear program: the estate less inheritance tax and their income tax, nowhere too little.

The tax is taken as a function of two sums, both linear in what a plan leaves: the *estate* that is charged, and the pension
money that is *taxed* as beneficiaries' income. Inheritance tax is a line of stretches over the estate. It comes off pension
money before income tax, in proportion, so the taxed part is multiplied by a function of the estate: that is neither convex nor
concave. In a box of both sums it is replaced by the lower convex hull of points, and boxes are halved. README.md in this folder
has the proof.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from service.planning.optimiser.last_day import Box, Misjudged, PensionRows
from service.planning.optimiser.lp import INF, Entries, LinearProgram
from service.planning.optimiser.tolerances import UNIT_POUNDS

_PIECES = 16
"""Into how many pieces the curved part of a box is cut: at the root of the search the points are then within some hundred pounds
of the tax, and by four times less with each halving."""

_NARROWEST_POUNDS = 1.0
"""No box is halved that is narrower in both ways."""

_NOT_AT_AN_EDGE = 0.1
"""A box is halved at the optimum, or at least so far from its edges, as a share of its width."""


class Stretch(NamedTuple):
    """Inheritance tax from an estate of ``low`` pounds on: ``rate`` of the estate less ``less`` pounds. Pension money bears at
    most ``average_rate`` of itself less ``average_less`` divided by the estate."""

    low: float
    rate: float
    less: float
    average_rate: float
    average_less: float

    def tax(self, estate: float) -> float:
        """The inheritance tax."""
        return self.rate * estate - self.less

    def kept(self, estate: float) -> float:
        """What inheritance tax leaves of a pound of pension money, at the least."""
        return 1.0 - self.average_rate + (self.average_less / estate if self.average_less else 0.0)


class AboveAllowance(NamedTuple):
    """Only what is above a person's lump sum and death benefit allowance is taxed: that ``person``, and the pounds that are
    left of the allowance before anything is taken tax free."""

    person: int
    allowance: float


class ForCharity(NamedTuple):
    """Gifts to charity earn the lower rate of inheritance tax where so much of ISAs and cash and of pensions, and ``besides`` in
    pounds, come to nothing or more. ``otherwise`` is the tax where they do not."""

    of_money: float
    of_pensions: float
    besides: float
    otherwise: tuple[Stretch, ...]


class TaxedEstate(NamedTuple):
    """What there is besides the plan's money, and how everything is taxed; pounds and shares.

    ``share`` of ISAs and cash counts, the rest goes to charity. ``besides`` is the rest of the estate after debts and charity,
    which may be below nothing: then up to ``unpaid`` of the debts is not paid, of one estate all that ISAs and cash do not
    cover. ``pensions_count``: whether pensions are in the estate. ``stretches`` are the inheritance tax, at the least, and
    ``charity`` says where it is more.
    ``income_tax_rate`` is what beneficiaries pay on pension money, of which by person the uncrystallised and the drawdown
    funds are ``taxed``, and of that what is ``above`` an allowance.
    """

    share: float
    besides: float
    unpaid: float
    one_estate: bool
    pensions_count: bool
    stretches: tuple[Stretch, ...]
    charity: ForCharity | None
    income_tax_rate: float
    taxed: tuple[tuple[bool, bool], ...]
    above: AboveAllowance | None
    largest: Box

    def stretches_in(self, box: Box) -> tuple[Stretch, ...]:
        """The inheritance tax in a box, at the least."""
        if box.lower_rate is False and self.charity is not None:
            return self.charity.otherwise
        return self.stretches


class _Point(NamedTuple):
    """A point of a box: the estate and the money taxed as income, the inheritance tax, and what it leaves of the taxed money;
    pounds, to a thousandth of a penny."""

    estate: float
    taxed: float
    inheritance_tax: float
    after: float


class TaxedEstateModel:
    """The columns and rows of the last day in one program."""

    def __init__(self, facts: TaxedEstate, lp: LinearProgram) -> None:
        """All boxes are admitted."""
        self._facts, self._lp = facts, lp
        self.at_risk: list[int] = []
        self._money: list[int] = []
        self._box = facts.largest
        self._weights = lp.add_row(1.0, 1.0)
        self._estate = lp.add_row(-facts.besides / UNIT_POUNDS, -facts.besides / UNIT_POUNDS)
        self._taxed = lp.add_row(0.0, 0.0)
        # The rest of the estate is worth as much whatever is done, but the bound counts it.
        lp.add_column([], objective=facts.besides / UNIT_POUNDS, low=1.0, high=1.0)
        self._debts: int | None = None
        if facts.unpaid:
            self._debts = lp.add_row(-INF, INF)
            high = facts.unpaid / UNIT_POUNDS
            self._unpaid = lp.add_column([(self._estate, 1.0), (self._debts, 1.0)], objective=1.0, high=high)
        self._charity: int | None = None if facts.charity is None else lp.add_row(-INF, INF)
        self._above: int | None = None
        self._income_tax: int | None = None
        self._allowance: int | None = None
        if facts.above is not None:
            self._above = lp.add_row(0.0, INF)
            self._income_tax = lp.add_column([(self._above, 1.0)], objective=-1.0)
        self._columns: dict[_Point, int] = {}
        self._admitted: set[int] = set()
        self.restrict(None)

    def add_money(self, entries: Entries) -> int:
        """ISAs and cash are in the estate, less what goes to charity."""
        share = self._facts.share
        rows = [(self._estate, share)]
        rows += [] if self._debts is None else [(self._debts, share)]
        rows += (
            []
            if self._charity is None or self._facts.charity is None
            else [(self._charity, self._facts.charity.of_money)]
        )
        self._money.append(self._lp.add_column([*entries, *rows], objective=share))
        return self._money[-1]

    def add_pension(self, person: int, rows: PensionRows) -> None:
        """What is left in a pension, and where only what is above an allowance is taxed how much of that is left."""
        facts = self._facts
        uncrystallised, drawdown = facts.taxed[person]
        kinds = [(row, uncrystallised) for row in rows.funds] + [(row, drawdown) for row in rows.income_funds]
        for row, taxed in kinds:
            entries = [(row, 1.0), (self._taxed, 1.0 if taxed else 0.0)]
            if facts.pensions_count:
                entries.append((self._estate, 1.0))
            if self._charity is not None and facts.charity is not None:
                entries.append((self._charity, facts.charity.of_pensions))
            self.at_risk.append(self._lp.add_column(entries, objective=1.0))
        if facts.above is not None and facts.above.person == person and self._above is not None:
            # Of the allowance there is what would be left with no more tax-free cash, and what of that cash is not taken.
            least = max(0.0, facts.above.allowance / UNIT_POUNDS - rows.lump_sum - rows.tax_free_left)
            rate = facts.income_tax_rate
            self._lp.bound_row(rows.allowance, -INF, rows.most_tax_free + least)
            entries = [(self._above, rate), (rows.allowance, 1.0)]
            self._allowance = self._lp.add_column(entries, low=least, high=least + rows.most_tax_free)

    def restrict(self, box: Box | None) -> None:
        """Admit the points of a box."""
        self._box = box or self._facts.largest
        if self._debts is not None:
            # Either the rest of the estate pays all debts, or everything in it goes into them.
            high = self._facts.unpaid / UNIT_POUNDS
            self._lp.bound_row(
                self._debts, -INF if self._box.unpaid is None else high, high if self._box.unpaid else INF
            )
            self._lp.bound_columns({self._unpaid: (0.0, 0.0 if self._box.unpaid is False else high)})
        if self._charity is not None and self._facts.charity is not None:
            least = -self._facts.charity.besides / UNIT_POUNDS
            lower = self._box.lower_rate
            self._lp.bound_row(self._charity, least if lower else -INF, least if lower is False else INF)
        rate = self._facts.income_tax_rate
        wanted = set()
        for point in _points(self._facts, self._box):
            if point not in self._columns:
                estate, taxed, inheritance_tax, after = (amount / UNIT_POUNDS for amount in point)
                entries = [(self._weights, 1.0), (self._estate, -estate), (self._taxed, -taxed)]
                if self._above is None:
                    worth = -inheritance_tax - rate * after
                else:
                    worth = -inheritance_tax
                    entries.append((self._above, -rate * after))
                self._columns[point] = self._lp.add_column(entries, objective=worth)
                self._admitted.add(self._columns[point])
            wanted.add(self._columns[point])
        bounds = dict.fromkeys(sorted(wanted - self._admitted), (0.0, INF))
        self._lp.bound_columns(bounds | dict.fromkeys(sorted(self._admitted - wanted), (0.0, 0.0)))
        self._admitted = wanted

    def misjudged(self, values: Sequence[float]) -> Misjudged:
        """The tax by the formulas less that of the points, and the box halved where the optimum is."""
        facts, box = self._facts, self._box
        estate = taxed = inheritance_tax = after = 0.0
        for point, column in self._columns.items():
            weight = values[column]
            if weight > 0:
                estate += weight * point.estate
                taxed += weight * point.taxed
                inheritance_tax += weight * point.inheritance_tax
                after += weight * point.after
        stretch = _at(facts.stretches_in(box), estate)
        lacking = stretch.tax(estate) - inheritance_tax
        if self._income_tax is None:
            missing = facts.income_tax_rate * (taxed * stretch.kept(estate) - after)
        else:
            left = 0.0 if self._allowance is None else values[self._allowance] * UNIT_POUNDS
            due = facts.income_tax_rate * max(0.0, taxed * stretch.kept(estate) - left)
            missing = due - values[self._income_tax] * UNIT_POUNDS
        pounds = lacking + missing
        forgiven, undertaxed = self._forgiven(values), self._undertaxed(values, estate)
        if undertaxed > max(pounds, forgiven):
            return Misjudged(undertaxed, (box._replace(lower_rate=False), box._replace(lower_rate=True)))
        if forgiven > pounds:
            return Misjudged(forgiven, (box._replace(unpaid=False), box._replace(unpaid=True)))
        return Misjudged(pounds, _halves(box, facts.largest, estate, taxed, by_estate=lacking > missing))

    def _forgiven(self, values: Sequence[float]) -> float:
        """The pounds of debts that an optimum leaves unpaid though there is money for them."""
        facts = self._facts
        if self._debts is None or self._box.unpaid is not None or not facts.one_estate:
            return 0.0
        money = facts.share * sum(values[column] for column in self._money)
        return UNIT_POUNDS * min(values[self._unpaid], money)

    def _undertaxed(self, values: Sequence[float], estate: float) -> float:
        """The pounds of inheritance tax that the lower rate takes off an optimum whose gifts to charity do not earn it."""
        charity = self._facts.charity
        if charity is None or self._box.lower_rate is not None:
            return 0.0
        money, pensions = (sum(values[column] for column in columns) for columns in (self._money, self.at_risk))
        earned = UNIT_POUNDS * (charity.of_money * money + charity.of_pensions * pensions) + charity.besides
        if earned >= 0:
            return 0.0
        return _at(charity.otherwise, estate).tax(estate) - _at(self._facts.stretches, estate).tax(estate)


def _at(stretches: Sequence[Stretch], estate: float) -> Stretch:
    """The stretch that an estate is in."""
    return stretches[max(0, bisect_right([each.low for each in stretches], estate) - 1)]


def _halves(box: Box, largest: Box, estate: float, taxed: float, *, by_estate: bool) -> tuple[Box, ...]:
    """A box in two: by the estate, or by whichever is the wider against all there can be."""
    low, high, taxed_low, taxed_high, *_ = box
    wide, taxed_wide = high - low, taxed_high - taxed_low
    if max(wide, taxed_wide) < _NARROWEST_POUNDS:
        return ()
    whole, taxed_whole = largest.estate_high - largest.estate_low, largest.taxed_high - largest.taxed_low
    relative = taxed_wide / taxed_whole if taxed_whole else 0.0
    if taxed_wide < _NARROWEST_POUNDS or (
        wide >= _NARROWEST_POUNDS and (by_estate or wide / max(whole, 1.0) >= relative)
    ):
        at = _inside(estate, low, high)
        return box._replace(estate_high=at), box._replace(estate_low=at)
    at = _inside(taxed, taxed_low, taxed_high)
    return box._replace(taxed_high=at), box._replace(taxed_low=at)


def _inside(value: float, low: float, high: float) -> float:
    """A place to halve at, to the penny."""
    margin = _NOT_AT_AN_EDGE * (high - low)
    return round(min(max(value, low + margin), high - margin), 2)


def _points(facts: TaxedEstate, box: Box) -> Iterator[_Point]:
    """The points whose hull is nowhere above the tax in a box."""
    taxes = (box.taxed_low, box.taxed_high) if box.taxed_high > box.taxed_low else (box.taxed_low,)
    for estate, inheritance_tax, kept in _over_estates(facts, box):
        for taxed in taxes:
            yield _Point(estate, taxed, round(inheritance_tax, 5), round(taxed * kept, 5))


def _over_estates(facts: TaxedEstate, box: Box) -> Iterator[tuple[float, float, float]]:
    """Estates of a box with their tax and what it leaves of a pound of pension money: ends, bends, and where the curve of the
    latter is cut into pieces the points at which the tangents of a piece meet, which are nowhere above it."""
    low, high = box.estate_low, box.estate_high
    stretches = facts.stretches_in(box)
    ends = [*(each.low for each in stretches[1:]), INF]
    for stretch, end in zip(stretches, ends, strict=True):
        start, stop = max(low, stretch.low), min(high, end)
        if start > stop or (start == stop and start < high):
            continue
        yield start, stretch.tax(start), stretch.kept(start)
        curved = stretch.average_less > 0 and facts.income_tax_rate > 0 and box.taxed_high > 0 and start > 0
        if curved:
            ratio = (stop / start) ** (1 / _PIECES)
            for first, last in pairwise(start * ratio**piece for piece in range(_PIECES + 1)):
                meet = 2 * first * last / (first + last)
                yield meet, stretch.tax(meet), 1.0 - stretch.average_rate + 2 * stretch.average_less / (first + last)
                yield last, stretch.tax(last), stretch.kept(last)
        elif stop > start:
            yield stop, stretch.tax(stop), stretch.kept(stop)

"""The year's tax as a function of one variable, the taxable withdrawal.

Everything else about the person's year is fixed, so the tax is made of straight pieces with a few steps. The curve is
read off the one implementation of the rules (``liability``): the points where a piece may end follow from the figures,
the rules are asked at those points, and where savings or dividends leave a choice of set-off they are asked where lines
from both sides meet.

That choice makes the tax, as the withdrawal grows, the least of many lines. The points at which such a line itself can get
steeper follow from the figures too; between them rates only fall. So one amount more on the line from end to end, or the
same set-off at both ends, shows that a piece is straight; and where the lines from both ends meet on the curve, there
is its only bend.

Two things the statute does are kept exactly. Where the personal allowance is withdrawn it falls by whole pounds, so the
tax is a fine staircase: such a piece knows its stairs. The child benefit charge moves in whole percentage points: each
is a step.

Tax is in ten-thousandths of a penny here (pence times basis points), amounts in pence.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple

from service.law import child_benefit, rounding
from service.law.income_tax import IncomeTaxRules, Liability, Taxpayer, YearOf, liability, year_of
from service.law.set_off import Scales, plain_order_is_best

STAIR = 2 * rounding.POUND  # two pounds of income take one pound of personal allowance (ITA 2007 s.35(2))
BEYOND = 1_000 * rounding.POUND  # how far past the asked amount the last piece is followed
_SHARED_TO = 500_000 * rounding.POUND
_SHARED_CURVES = 256
_PENNY = rounding.PENNY
_CHARGE = ("child_benefit_charge",)
_NO_STEP = (10**15, 0)  # more than anybody can withdraw


class Piece(NamedTuple):
    """A straight piece of the curve, a staircase, or (``start`` = ``end``) a step.

    ``rate`` is basis points, None for a step. On a staircase ``rate`` runs along the stairs' feet, ``tread_rate``
    along one tread, and ``foot`` is any amount at which a stair begins. ``exact`` is False on a stair that holds a
    bend, where only the ends are the rules' own.
    """

    start: int
    end: int
    tax_start: int
    tax_end: int
    rate: int | None
    because: tuple[str, ...]
    tread_rate: int = 0
    foot: int | None = None
    exact: bool = True

    @property
    def is_charge_step(self) -> bool:
        """Whether this is a step of the child benefit charge, which is there once its amount is reached; every other
        step comes only after its amount."""
        return self.because == _CHARGE

    def tax_at(self, amount: int) -> int:
        """Tax at an amount within the piece, in ten-thousandths of a penny."""
        if amount == self.end or self.rate is None:
            return self.tax_end
        if self.foot is None:
            if self.end - self.start == 1:
                return self.tax_start
            return self.tax_start + (amount - self.start) * self.rate
        return self._on_stairs(amount) - self._on_stairs(self.start) + self.tax_start

    def _on_stairs(self, amount: int) -> int:
        assert self.foot is not None
        assert self.rate is not None
        tread = (amount - self.foot) % STAIR
        return (amount - self.foot - tread) * self.rate + tread * self.tread_rate

    def continues_through(self, before: Piece, after: Piece) -> bool:
        """Whether this staircase, laid over two neighbouring pieces, agrees with both at their ends and last pennies."""
        assert self.foot is not None
        height = self._on_stairs(self.end) - self._on_stairs(self.start)
        checks = (before.end - 1, before.end, after.end - 1)
        return self.tax_start + height == self.tax_end and all(
            self.tax_at(at) == (before if at < before.end else after).tax_at(at) for at in checks if at >= self.start
        )

    @property
    def stair_height(self) -> int:
        """By how much the tax may lie below the straight line through the stairs' feet, pence, rounded up."""
        if self.foot is None or self.rate is None:
            return 0
        height = -(-(self.rate - self.tread_rate) * STAIR // _PENNY)
        return height if self.exact else height + rounding.POUND


@dataclass(frozen=True, slots=True)
class TaxCurve:
    """The pieces in order, from a taxable withdrawal of nothing. Tax includes the child benefit charge."""

    pieces: tuple[Piece, ...]

    def piece_from(self, amount: int) -> Piece:
        """The piece on which the next penny after ``amount`` lies."""
        for piece in self.pieces:
            if piece.start <= amount < piece.end:
                return piece
        return self.pieces[-1]

    def tax_at(self, amount: int) -> int:
        """Tax at an amount, in ten-thousandths of a penny. A step that begins after ``amount`` is left out."""
        tax = self.pieces[0].tax_start
        for piece in self.pieces:
            if piece.start > amount or (piece.start == piece.end == amount and not piece.is_charge_step):
                break
            tax = piece.tax_at(min(amount, piece.end))
        return tax


class TaxedYear:
    """A taxpayer's year, asked for its liability at single taxable withdrawals: each amount once, and counted."""

    def __init__(self, year: YearOf) -> None:
        self.year = year
        self._known: dict[int, Liability] = {}

    def __call__(self, amount: int) -> Liability:
        """The year's liability with a taxable withdrawal of ``amount`` pence."""
        try:
            return self._known[amount]
        except KeyError:
            answer = self._known[amount] = liability(self.year, amount)
            return answer

    def asked_between(self, start: int, end: int) -> int:
        """An amount strictly between two that are more than a penny apart: one asked before, if there is one."""
        for amount in self._known:
            if start < amount < end:
                return amount
        return start + 1

    @property
    def evaluations(self) -> int:
        """How often the rules have been asked."""
        return len(self._known)


def corners(rules: TaxedYear, to: int) -> list[int]:
    """Where the curve may bend, from 0 to beyond ``to``: taxable withdrawals in pence, without the bends that only the
    choice of set-off makes. A step comes right after a corner; those of the child benefit charge are not among them."""
    return _points(rules.year, rules, _taper(rules.year, rules), to)


def tax_curve(rules: TaxedYear, to: int) -> TaxCurve:
    """The curve over taxable withdrawals from 0 to at least ``to`` pence."""
    return TaxCurve(tuple(pieces_to(rules, to)))


def pieces_to(rules: TaxedYear, to: int) -> Iterator[Piece]:
    """The curve's pieces, each made only when it is asked for."""
    if rules.year.taxpayer.child_benefit:
        return _with_child_benefit_steps(rules, _income_tax_pieces(rules, to))
    return _income_tax_pieces(rules, to)


def _income_tax_pieces(rules: TaxedYear, to: int) -> Iterator[Piece]:
    """The pieces without the child benefit charge."""
    taxpayer = rules.year.taxpayer
    end = taxpayer.other_income + to + BEYOND
    if end <= _SHARED_TO and _has_other_income_only(taxpayer):
        return _stretch(_shared_pieces(rules.year.rules, taxpayer.blind), taxpayer.other_income, end)
    return _own_pieces(rules, to)


def _has_other_income_only(taxpayer: Taxpayer) -> bool:
    """Whether other income and the withdrawal, which count alike, are all there is, but for child benefit."""
    return (
        not taxpayer.property_income
        and not taxpayer.savings
        and not taxpayer.dividends
        and not taxpayer.relief_at_source
        and not taxpayer.gift_aid
        and taxpayer.marriage_allowance == "none"
    )


@lru_cache(maxsize=_SHARED_CURVES)
def _shared_pieces(rules: IncomeTaxRules, blind: bool) -> tuple[Piece, ...]:
    """The curve of someone without any income: that of everybody with other income only is a stretch of it."""
    nobody = Taxpayer(rules.nation, blind=blind)
    return tuple(_own_pieces(TaxedYear(year_of(nobody, rules)), _SHARED_TO))


def _stretch(pieces: tuple[Piece, ...], start: int, end: int) -> Iterator[Piece]:
    """The pieces from ``start`` to ``end``, counted from ``start`` on."""
    for piece in pieces:
        first, last, tax_first, tax_last, rate, because, tread_rate, foot, exact = piece
        if first >= end:
            return
        if last > start:
            if first < start:
                first, tax_first = start, piece.tax_at(start)
            if last > end:
                last, tax_last = end, piece.tax_at(end)
            moved_foot = None if foot is None else foot - start
            yield Piece(first - start, last - start, tax_first, tax_last, rate, because, tread_rate, moved_foot, exact)


def _own_pieces(rules: TaxedYear, to: int) -> Iterator[Piece]:
    """The pieces read off the rules for this taxpayer alone."""
    year = rules.year
    first, last = taper = _taper(year, rules)
    before = rules(0)
    for start, end in pairwise(_points(year, rules, taper, to)):
        after = rules(end)
        if first <= start < last or _lost(before, after) or _set_off_may_bend(year, before, after):
            yield from _between(rules, start, end, taper)
        else:
            yield _line(year, start, end, before, after)
        before = after


def _taper(year: YearOf, rules: TaxedYear) -> tuple[int, int]:
    """The taxable withdrawals between which the personal allowance is withdrawn; the first may be negative."""
    adjusted = rules(0).net_income - year.taxpayer.relief_at_source - year.taxpayer.gift_aid
    first = year.rules.taper_threshold - adjusted
    return first, first + 2 * year.rules.personal_allowance


def _points(year: YearOf, rules: TaxedYear, taper: tuple[int, int], to: int) -> list[int]:
    """Where the slope may change: each height of the stack at each level that matters to it, turned into a withdrawal.

    A height is a fixed sum plus the withdrawal less the allowances. While the allowance is withdrawn it rises three
    pounds for two, and the stair that holds the change is marked off on both sides.
    """
    taxpayer, its_rules, scales = year
    beyond = to + BEYOND
    first, last = taper
    points = {0, beyond}
    points.update([x for x in taper if 0 < x < beyond])
    full = its_rules.personal_allowance + rules(0).blind_persons_allowance
    levels = _levels(taxpayer, its_rules, scales)
    if taxpayer.marriage_allowance != "none" and (taxpayer.savings or taxpayer.dividends):
        levels.append((taxpayer.income, tuple(_most_taxed_at_basic_rates(taxpayer, scales))))
    if taxpayer.marriage_allowance == "gives":
        levels += [(fixed + its_rules.marriage_allowance, at) for fixed, at in levels]
    for fixed, at in levels:
        rise = full - fixed
        for level in at:
            before = rise + level
            if before > first:
                if first < beyond:
                    points.update([x for x in _reached_late(before, first, last) if 0 < x < beyond])
            elif 0 < before < beyond:
                points.add(before)
    return sorted(points)


def _most_taxed_at_basic_rates(taxpayer: Taxpayer, scales: Scales) -> set[int]:
    """Totals up to which the marriage allowance can stay open: whatever lies above the basic limit is inside its nil rate.

    Savings and dividends may fill their nil rates or be less. A Scottish taxpayer's other income reaches its own limit
    before the UK one, and all savings may lie between the two.
    """
    savings, dividends, nil_dividends = taxpayer.savings, taxpayer.dividends, scales.dividend_allowance
    uk_limit, own_limit = scales.savings.limits[0], scales.lower.limits[scales.last_basic_band]
    tops = {uk_limit + nil + top for nil in scales.savings_allowances for top in (0, nil_dividends)}
    tops.update(uk_limit + min(savings, nil) + min(dividends, nil_dividends) for nil in scales.savings_allowances)
    if own_limit < uk_limit:
        tops.add(own_limit + savings + min(dividends, nil_dividends))
    return tops


def _levels(taxpayer: Taxpayer, its_rules: IncomeTaxRules, scales: Scales) -> list[tuple[int, tuple[int, ...]]]:
    """Pairs of a height's fixed sum and the levels at which its passing may change the slope; pence."""
    other, held = taxpayer.other_income, taxpayer.property_income
    savings, dividends = taxpayer.savings, taxpayer.dividends
    uk_limits = scales.savings.limits
    everything = taxpayer.income
    levels: list[tuple[int, tuple[int, ...]]] = [
        (everything, (0, *uk_limits)),
        (other + held, (0, *scales.lower.limits)),
    ]
    if its_rules.other_income_first and held:
        levels.append((other, (0, *scales.lower.limits)))
        levels.append((other + held, scales.property.limits if scales.property else ()))
    nil_dividends = scales.dividend_allowance
    if savings or dividends:
        levels.append((other + held, uk_limits))
        levels.append((other + held + savings, uk_limits))
    if savings <= scales.savings_allowances[1] and dividends <= nil_dividends:
        # All inside the nil rates, until the highest UK band takes the savings allowance away.
        return levels
    # Where savings end to be free of tax, for each savings allowance, and where dividends above them do. A smaller
    # allowance than the first matters there only to a stack that reaches a higher band from so low down.
    full_nil = scales.starting_rate_limit + scales.savings_allowances[0]
    nil_savings = tuple(
        scales.starting_rate_limit + allowance
        for allowance, floor in zip(scales.savings_allowances, scales.savings.floors, strict=True)
        if full_nil + savings + dividends >= floor
    )
    if savings:
        levels.append((other + held, (scales.starting_rate_limit,)))
        levels.append((other + held + savings, (0, *nil_savings)))
        levels.append((everything, (savings, *nil_savings)))
    if dividends:
        levels.append((other + held + savings, (0, *(limit - nil_dividends for limit in uk_limits))))
        levels.append((everything, (nil_dividends, savings + nil_dividends)))
    if savings and dividends:
        levels.append((everything, tuple(top + nil_dividends for top in nil_savings)))
    return levels


def _reached_late(before: int, first: int, last: int) -> tuple[int, ...]:
    """The withdrawals at which a height comes to a level that the full allowance would have let it reach at ``before``.

    While the allowance is withdrawn the height rises by three halves of the withdrawal, so the level is reached sooner;
    the stair on which it is reached is marked off. Once the allowance is gone the height runs ahead by its amount.
    """
    after = before - (last - first) // 2
    if after >= last:
        return (after,)
    stair = first + (before - first) * 2 // 3 // STAIR * STAIR
    return stair, stair + STAIR


def _between(rules: TaxedYear, start: int, end: int, taper: tuple[int, int]) -> Iterable[Piece]:
    """The pieces from one point to the next: steps right after ``start`` first, then straight pieces."""
    first, last = taper
    if first <= start < last:
        if _stairs_are_even(rules, start, end, first):
            return (_even_stairs(rules, start, end, first),)
        return _joined(list(_stairs(rules, start, end, first)))
    if _lost(rules(start), rules(end)):
        return _with_step(rules, start, end, taper)
    return _straight(rules, start, end)


def _with_step(rules: TaxedYear, start: int, end: int, taper: tuple[int, int]) -> Iterator[Piece]:
    """The pieces between two points where reliefs are lost: just past ``start``, or else where halving finds it."""
    tax_start, tax_end = rules(start).income_tax, rules(end).income_tax
    lost = _lost(rules(start), rules(end))
    if end - start == 1:
        yield Piece(start, start, tax_start, tax_end, None, lost)
        yield Piece(start, end, tax_end, tax_end, 0, _because(rules(start), rules(end), rules.year, False))
        return
    just_after = rules(start + 1)
    if _lost(just_after, rules(end)):
        middle = _where_lost(rules, start, end)
        yield from _between(rules, start, middle, taper)
        yield from _between(rules, middle, end, taper)
        return
    rest = _straight(rules, start + 1, end)
    tax_after = just_after.income_tax - (rest[0].rate or 0)
    if tax_after != tax_start:
        yield Piece(start, start, tax_start, tax_after, None, lost)
    yield rest[0]._replace(start=start, tax_start=tax_after)
    yield from rest[1:]


def _straight(rules: TaxedYear, start: int, end: int) -> list[Piece]:
    """Straight pieces from ``start`` to ``end``, cut where the set-off bends the line between."""
    before, after = rules(start), rules(end)
    if end - start == 1 or not _set_off_may_bend(rules.year, before, after):
        return [_line(rules.year, start, end, before, after)]
    cuts = [start, *_bends(rules, start, end), end]
    return [_line(rules.year, at, to, rules(at), rules(to)) for at, to in pairwise(cuts)]


def _line(year: YearOf, start: int, end: int, before: Liability, after: Liability) -> Piece:
    """A straight piece from one point to another."""
    rate = (after.income_tax - before.income_tax) // (end - start)
    return Piece(start, end, before.income_tax, after.income_tax, rate, _because(before, after, year, False))


def _bends(rules: TaxedYear, start: int, end: int) -> list[int]:
    """Where the choice of set-off bends the line strictly between two neighbouring points."""
    steeper = _may_get_steeper(rules.year, rules(start), rules(end))
    if steeper is None:
        return _found_bends(rules, start, end, falling=False)
    if not steeper:
        return _found_bends(rules, start, end, falling=True)
    cuts = [start]
    for at in (*steeper, end):
        cuts += _found_bends(rules, cuts[-1], at, falling=True)
        cuts.append(at)
    return [
        at
        for last, at, following in zip(cuts, cuts[1:], cuts[2:], strict=False)
        if not _in_line(rules, last, at, following)
    ]


def _found_bends(rules: TaxedYear, start: int, end: int, *, falling: bool) -> list[int]:
    """The bends strictly between two points: where the lines from both ends meet, and so on with what is left on either
    side until it is straight. ``falling``: the rate is known only to fall from one point to the other."""
    length, before, after = end - start, rules(start), rules(end)
    if length == 1 or (
        _on_one_course(rules.year.scales, before, after)
        if falling
        else not _set_off_may_bend(rules.year, before, after)
    ):
        return []
    probes = (rules.asked_between(start, end),) if falling else (start + 1, start + length * 5 // 13, end - 1)
    if all(_in_line(rules, start, probe, end) for probe in probes):
        return []
    bend = _bend(rules, start, end)
    return [
        *_found_bends(rules, start, bend, falling=falling),
        bend,
        *_found_bends(rules, bend, end, falling=falling),
    ]


def _in_line(rules: TaxedYear, start: int, between: int, end: int) -> bool:
    """Whether the tax at three amounts lies on one line."""
    tax = rules(between).income_tax
    into, out_of = tax - rules(start).income_tax, rules(end).income_tax - tax
    return into * (end - between) == out_of * (between - start)


def _on_one_course(scales: Scales, before: Liability, after: Liability) -> bool:
    """Whether one and the same set-off is best at both ends of a stretch of falling rates: then it is so all along.

    It is the same where each height of the stack stands still or moves with the withdrawal. What it costs between the ends
    is never above their line, as long as no nil rate comes past a limit; and the least tax, whose rates fall, never below.
    """
    stands_or_moves = (0, after.net_income - before.net_income)
    uk, nil_dividends = scales.savings, scales.dividend_allowance
    return (
        after.lower - before.lower in stands_or_moves
        and after.savings - before.savings in stands_or_moves
        and after.savings_nil_to - before.savings_nil_to in stands_or_moves
        and uk.band(after.savings_nil_to) == uk.band(before.savings_nil_to)
        and uk.band(after.savings + nil_dividends) == uk.band(before.savings + nil_dividends)
    )


def _may_get_steeper(year: YearOf, before: Liability, after: Liability) -> list[int] | None:
    """Where the choice of set-off may make the line steeper strictly between two neighbouring points; None if not known.

    As the withdrawal grows, the limits of what may be chosen stand still or move with it, and so do the lines on which a
    stack costs more to one side than to the other (see ``set_off``). As long as the best stack can keep to those it lies
    on, forward and back, the rate does not rise. So it rises only where a height held by a limit meets one that moves: a
    limit, the layer of savings above it (all of them, what is in their allowance, or what no allowance can reach) and the
    dividends above that (likewise) just make up the total. It is not known where a reduction leaves no tax.
    """
    taxpayer, its_rules, scales = year
    if before.marriage_allowance_open and before.marriage_allowance_reduction < scales.reduction:
        return None
    savings, dividends = taxpayer.savings, taxpayer.dividends
    below, allowances = before.net_income - savings - dividends, before.allowances
    free_savings = min(savings, after.savings_allowance)
    free_dividends = min(dividends, scales.dividend_allowance)
    limits = {*(scales.property or scales.lower).limits}
    layers, tops = {savings, free_savings}, {dividends, free_dividends}
    if its_rules.other_income_first:
        held = taxpayer.property_income
        if below - held >= allowances:
            return []
        limits.update((0, held))
    else:
        if below < allowances:
            limits.add(0)
        layers.add(max(savings - allowances, free_savings))
        tops.add(max(dividends - allowances, free_dividends))
    widths = {layer + top for layer in layers for top in tops}
    if not its_rules.other_income_first:
        widths.add(savings + dividends - allowances)
    totals = {limit + width for limit in limits for width in widths}
    if savings > free_savings:
        totals.update([limit + top for limit in scales.savings.limits for top in tops])
    moved = after.net_income - after.taxable - taxpayer.income
    return sorted([total + moved for total in totals if before.taxable < total < after.taxable])


def _set_off_may_bend(year: YearOf, before: Liability, after: Liability) -> bool:
    """Whether the choice of set-off may bend the line between two neighbouring points.

    Without savings and dividends there is no choice; where the plain order is best its bends are among the points. (The
    marriage allowance reduction, limited to the tax there is, may bend it too where it is not the same at both ends.)
    """
    taxpayer, its_rules, scales = year
    if before.marriage_allowance_reduction != after.marriage_allowance_reduction:
        return True
    savings, dividends = taxpayer.savings, taxpayer.dividends
    if savings == 0 and dividends == 0:
        return False
    below_savings = before.net_income - savings - dividends - before.allowances
    return not plain_order_is_best(
        scales,
        scales.savings.band(after.taxable),
        max(0, below_savings),
        taxpayer.property_income if its_rules.other_income_first else after.net_income - savings - dividends,
        savings,
        dividends,
    )


def _bend(rules: TaxedYear, start: int, end: int) -> int:
    """A point strictly between at which to cut: where the lines from both ends meet, or the middle if they do not."""
    from_start = rules(start + 1).income_tax - rules(start).income_tax
    into_end = rules(end).income_tax - rules(end - 1).income_tax
    if from_start != into_end:
        gap = rules(end).income_tax - rules(start).income_tax - into_end * (end - start)
        meeting = start + gap // (from_start - into_end)
        for point in (meeting, meeting + 1):
            on_first = rules(start).income_tax + from_start * (point - start)
            if start < point < end and rules(point).income_tax == on_first:
                return point
        if start < meeting < end:
            return meeting
    return (start + end) // 2


def _stairs_are_even(rules: TaxedYear, start: int, end: int, first: int) -> bool:
    """Whether every stair between two neighbouring points is like the next: where the allowances take nothing but other
    income away and their set-off leaves no choice, all heights of the stack rise together and pass no level."""
    before, after = rules(start), rules(end)
    foot = start + (first - start) % STAIR
    return (
        end - foot >= 2 * STAIR
        and rules.year.taxpayer.other_income + start >= before.allowances
        and not _lost(before, after)
        and not _set_off_may_bend(rules.year, before, after)
    )


def _even_stairs(rules: TaxedYear, start: int, end: int, first: int) -> Piece:
    """A staircase of even stairs from ``start`` to ``end``, wherever on its stairs these are."""
    foot = start + (first - start) % STAIR
    head = end - (end - start) % STAIR
    on_tread = start if start + 1 != foot else foot
    before, after = rules(start), rules(end)
    rate = (rules(head).income_tax - before.income_tax) // (head - start)
    tread_rate = rules(on_tread + 1).income_tax - rules(on_tread).income_tax
    because = _because(before, after, rules.year, True)
    return Piece(start, end, before.income_tax, after.income_tax, rate, because, tread_rate, foot)


def _stairs(rules: TaxedYear, start: int, end: int, first: int) -> Iterator[Piece]:
    """The staircase from ``start`` to ``end``. Stairs begin every two pounds from ``first``."""
    foot = start + (first - start) % STAIR
    if foot >= end:
        yield _one_stair(rules, start, end, first)
        return
    if foot > start:
        yield _one_stair(rules, start, foot, first)
        yield from _stairs(rules, foot, end, first)
        return
    whole = (end - start) // STAIR
    head = start + whole * STAIR
    if head < end and whole:
        yield from _stairs(rules, start, head, first)
        yield _one_stair(rules, head, end, first)
        return
    if whole <= 1:
        yield _one_stair(rules, start, end, first)
        return
    lost = _lost(rules(start), rules(end))
    tax_start, tax_end = rules(start).income_tax, rules(end).income_tax
    rate, uneven = divmod(tax_end - tax_start, end - start)
    tread = rules(start + 1).income_tax - tax_start
    regular = not uneven and not lost
    if regular and (rules.year.taxpayer.savings or rules.year.taxpayer.dividends):
        middle = start + whole * 5 // 13 * STAIR
        probes = ((start + STAIR, 0), (middle, STAIR - 1), (end - STAIR, 0), (end, -1))
        regular = all(
            rules(x + off).income_tax
            == tax_start + (x - start - (STAIR if off < 0 else 0)) * rate + (off % STAIR) * tread
            for x, off in probes
        )
    if not regular:
        middle = _stair_to_cut(rules, start, end)
        yield from _stairs(rules, start, middle, first)
        yield from _stairs(rules, middle, end, first)
        return
    yield Piece(
        start, end, tax_start, tax_end, rate, _because(rules(start), rules(end), rules.year, True), tread, start
    )


def _joined(pieces: list[Piece]) -> list[Piece]:
    """Part of a stair before or after a staircase, joined to it where it is simply more of the same."""
    joined = pieces[:1]
    for piece in pieces[1:]:
        before = joined[-1]
        stairs = piece if piece.foot is not None and piece.end - piece.start > STAIR else before
        if stairs.foot is not None and stairs.exact and stairs.end - stairs.start > STAIR and stairs.rate is not None:
            whole = stairs._replace(
                start=before.start, end=piece.end, tax_start=before.tax_start, tax_end=piece.tax_end
            )
            if before.exact and piece.exact and whole.continues_through(before, piece):
                joined[-1] = whole
                continue
        joined.append(piece)
    return joined


def _stair_to_cut(rules: TaxedYear, start: int, end: int) -> int:
    """The stair's foot at which to cut an uneven staircase: near where the lines from both ends meet, else the middle."""
    whole = (end - start) // STAIR
    from_start = rules(start + STAIR).income_tax - rules(start).income_tax
    into_end = rules(end).income_tax - rules(end - STAIR).income_tax
    if from_start != into_end:
        gap = rules(end).income_tax - rules(start).income_tax - into_end * whole
        stairs = gap // (from_start - into_end)
        for count in (stairs, stairs + 1):
            if 0 < count < whole and rules(start + count * STAIR).income_tax == (
                rules(start).income_tax + from_start * count
            ):
                return start + count * STAIR
    return start + whole // 2 * STAIR


def _one_stair(rules: TaxedYear, start: int, end: int, first: int) -> Piece:
    """Part of a stair, or one whole stair, as a piece of its own."""
    tax_start, tax_end = rules(start).income_tax, rules(end).income_tax
    tread = rules(start + 1).income_tax - tax_start if end - start > 1 else 0
    ends_on_foot = (end - first) % STAIR == 0
    exact = rules(end - 1).income_tax == tax_start + (end - 1 - start) * tread
    if not ends_on_foot and exact:
        return Piece(start, end, tax_start, tax_end, tread, _because(rules(start), rules(end), rules.year, True))
    length = end - start
    rate = (tax_end - tax_start) // length
    return Piece(
        start, end, tax_start, tax_end, rate, _because(rules(start), rules(end), rules.year, True), tread, start, exact
    )


def _lost(before: Liability, after: Liability) -> tuple[str, ...]:
    """Which reliefs that come and go all at once differ between two points.

    More income takes them away, but for one corner: dividends lifted into their nil rate by the choice of set-off can
    open the marriage allowance again.
    """
    savings_allowance = after.savings_allowance != before.savings_allowance
    marriage_allowance = before.marriage_allowance_open != after.marriage_allowance_open
    if savings_allowance and marriage_allowance:
        return ("personal_savings_allowance", "marriage_allowance")
    if savings_allowance:
        return ("personal_savings_allowance",)
    return ("marriage_allowance",) if marriage_allowance else ()


def _where_lost(rules: TaxedYear, start: int, end: int) -> int:
    """The last penny before the first relief is lost, found by halving."""
    low, high = start + 1, end
    while high - low > 1:
        middle = (low + high) // 2
        if _lost(rules(low), rules(middle)):
            high = middle
        else:
            low = middle
    return low


def _because(before: Liability, after: Liability, year: YearOf, tapered: bool) -> tuple[str, ...]:
    """The rules at work between two points."""
    if after.taxable == 0 and after.lower == 0:
        return ("personal_allowance", "blind_persons_allowance") if year.taxpayer.blind else ("personal_allowance",)
    scales = year.scales
    own_rates = scales.property is not None
    reasons = []
    if own_rates and after.floor > before.floor:
        reasons.append(scales.lower.names[scales.lower.band(after.floor)])
    elif after.lower > before.lower and not (own_rates and year.rules.other_income_first):
        reasons.append(scales.lower.names[scales.lower.band(after.lower)])
    moved = not reasons
    if moved:
        reasons.append("personal_allowance_moved_from_other_kinds_of_income")
    if tapered:
        reasons.append("personal_allowance_taper")
    if not moved:
        if after.savings_tax > before.savings_tax:
            starting_rate = before.lower < scales.starting_rate_limit
            reasons.append("starting_rate_for_savings_used_up" if starting_rate else "savings_taxed_higher")
        if after.dividend_tax > before.dividend_tax:
            reasons.append("dividends_taxed_higher")
    if after.marriage_allowance_reduction > before.marriage_allowance_reduction:
        reasons.append("marriage_allowance")
    return tuple(reasons)


def _with_child_benefit_steps(rules: TaxedYear, pieces: Iterable[Piece]) -> Iterator[Piece]:
    """The pieces with the child benefit charge added: constant between its steps, a step at each percentage point."""
    steps = _charge_steps(rules)
    at, next_charge = next(steps, _NO_STEP)
    charge = rules(0).child_benefit_charge * _PENNY
    for piece in pieces:
        start, end, tax_start, tax_end, rate, because, tread_rate, foot, exact = piece
        while at <= end and start < end:
            if at > start:
                tax_at = piece.tax_at(at)
                yield Piece(start, at, tax_start + charge, tax_at + charge, rate, because, tread_rate, foot, exact)
                start, tax_start = at, tax_at
            if next_charge > charge:
                yield Piece(at, at, tax_start + charge, tax_start + next_charge, None, _CHARGE)
                charge = next_charge
            at, next_charge = next(steps, _NO_STEP)
        if end > start or rate is None:
            yield Piece(start, end, tax_start + charge, tax_end + charge, rate, because, tread_rate, foot, exact)


def _charge_steps(rules: TaxedYear) -> Iterator[tuple[int, int]]:
    """The taxable withdrawals, after none, at which the child benefit charge rises by a percentage point, and to what."""
    taxpayer, its_rules = rules.year.taxpayer, rules.year.rules
    threshold, width = its_rules.child_benefit_threshold, its_rules.child_benefit_step
    adjusted = rules(0).net_income - taxpayer.relief_at_source - taxpayer.gift_aid
    for point in range(child_benefit.charge_percentage(adjusted, threshold, width) + 1, 101):
        reached = threshold + point * width
        charge = child_benefit.charge(reached, taxpayer.child_benefit, threshold, width)
        yield reached - adjusted, charge * _PENNY

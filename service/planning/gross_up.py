"""The least gross withdrawal that leaves at least a wanted net amount, to the penny.

Net is not monotone in gross: it falls at each step of the tax curve and saws up the staircase where the personal
allowance is withdrawn. So the curve's pieces are walked in order, and the first that reaches the wanted net is searched;
the rules then decide at the penny.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from service.law import rounding
from service.planning.tax_curve import STAIR, Piece, TaxCurve


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked: ``net`` pence, from at most ``most`` gross. ``split`` turns a gross amount into its taxable part
    and any lifetime allowance charge; ``on_withdrawal`` is the year's extra tax on a taxable amount, by the rules."""

    net: int
    most: int
    split: Callable[[int], tuple[int, int]]
    on_withdrawal: Callable[[int], int]


@dataclass(frozen=True, slots=True)
class GrossUp:
    """The least gross, or None with the most net that can be had."""

    gross: int | None
    most_net: int


def least_gross(wanted: Wanted, curve: TaxCurve) -> GrossUp:
    """The least gross amount, in pence, that leaves at least ``wanted.net``."""
    tax_without = rounding.years_tax_to_the_penny(curve.pieces[0].tax_start)
    most_net = 0
    lowest = 0
    pieces = curve.pieces
    for index, piece in enumerate(pieces):
        if piece.rate is None:
            continue
        following = pieces[index + 1] if index + 1 < len(pieces) else None
        # A child benefit step is reached at the piece's own end; every other step comes after it.
        reached = following is not None and following.rate is None and "child_benefit_charge" in following.because
        last = piece.end - 1 if reached else piece.end

        def net(gross: int, piece: Piece = piece) -> int:
            taxable, charge = wanted.split(gross)
            tax = rounding.years_tax_to_the_penny(piece.tax_at(max(taxable, piece.start)))
            return gross - charge - (tax - tax_without)

        def within(gross: int, last: int = last) -> bool:
            return wanted.split(gross)[0] <= last

        highest = _largest(lowest, wanted.most, within)
        if highest is None:
            continue
        if piece.foot is None:
            best = net(highest)
            found = _smallest(lowest, highest, lambda gross: net(gross) >= wanted.net) if best >= wanted.net else None
        else:
            best, found = _on_stairs(wanted, piece, lowest, highest, net)
        most_net = max(most_net, best)
        if found is not None:
            return GrossUp(_settled(wanted, found), most_net)
        if highest >= wanted.most:
            break
        lowest = highest + 1
    return GrossUp(None, most_net)


def _on_stairs(
    wanted: Wanted, piece: Piece, lowest: int, highest: int, net: Callable[[int], int]
) -> tuple[int, int | None]:
    """The best net on a staircase, and the least gross that reaches the wanted net. Each stair's best is at its end,
    and the ends rise from stair to stair."""
    assert piece.foot is not None
    foot = piece.foot
    if not piece.exact:
        nets = {gross: _net_by_rules(wanted, gross) for gross in range(lowest, highest + 1)}
        reached = [gross for gross, value in nets.items() if value >= wanted.net]
        return max(nets.values()), min(reached, default=None)
    first, last = (wanted.split(gross)[0] - foot for gross in (lowest, highest))

    def end_of(stair: int) -> int:
        end = _largest(lowest, highest, lambda gross: (wanted.split(gross)[0] - foot) // STAIR <= stair)
        assert end is not None
        return end

    stairs = (first // STAIR, last // STAIR)
    # The last stair may be cut short, so the one before it may end higher.
    best = max(net(end_of(stair)) for stair in {stairs[1], max(stairs[0], stairs[1] - 1)})
    if best < wanted.net:
        return best, None
    stair = _smallest(stairs[0], stairs[1], lambda number: net(end_of(number)) >= wanted.net or number == stairs[1])
    end = end_of(stair)
    start = lowest if stair == stairs[0] else end_of(stair - 1) + 1
    return best, _smallest(start, end, lambda gross: net(gross) >= wanted.net)


def _settled(wanted: Wanted, gross: int) -> int:
    """The penny the rules themselves give, from one that the curve gives."""
    while gross > 0 and _net_by_rules(wanted, gross - 1) >= wanted.net:
        gross -= 1
    while _net_by_rules(wanted, gross) < wanted.net and gross < wanted.most:
        gross += 1
    return gross


def _net_by_rules(wanted: Wanted, gross: int) -> int:
    taxable, charge = wanted.split(gross)
    return gross - charge - wanted.on_withdrawal(taxable)


def _largest(low: int, high: int, holds: Callable[[int], bool]) -> int | None:
    """The largest number from ``low`` to ``high`` for which ``holds``, which holds up to some number and not after."""
    if low > high or not holds(low):
        return None
    if holds(high):
        return high
    while high - low > 1:
        middle = (low + high) // 2
        if holds(middle):
            low = middle
        else:
            high = middle
    return low


def _smallest(low: int, high: int, holds: Callable[[int], bool]) -> int:
    """The smallest number from ``low`` to ``high`` for which ``holds``, which holds at ``high`` and from some number on."""
    while low < high:
        middle = (low + high) // 2
        if holds(middle):
            high = middle
        else:
            low = middle + 1
    return low

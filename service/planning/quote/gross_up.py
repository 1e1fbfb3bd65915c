"""The least gross withdrawal that leaves at least a wanted net amount, to the penny.

Net is not monotone in gross: it falls at each step of the tax curve and saws up the staircase where the personal
allowance is withdrawn. So the curve's pieces are walked in order, and the first that reaches the wanted net is searched;
the rules then decide at the penny.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import chain, pairwise

from service.law import rounding
from service.law.lump_sums import Split
from service.law.units import Pence
from service.law.value import Value
from service.planning.curve.piece import STAIR, Piece
from service.planning.search import least_reaching


class Wanted(Value, frozen=True):
    """What is asked: ``net`` pence, from at most ``most`` gross. ``split`` turns a gross amount into its taxable part
    and any lifetime allowance charge, ``gross_within`` turns that round where it can be; ``tax_without`` is the
    year's tax without the withdrawal, ``on_withdrawal`` the extra tax on a taxable amount, both by the rules.
    ``may_be_charged``: there is child benefit."""

    net: Pence
    most: Pence
    split: Callable[[Pence], Split]
    tax_without: Pence
    on_withdrawal: Callable[[Pence], Pence]
    gross_within: Callable[[Pence], Pence] | None
    may_be_charged: bool


class GrossUp(Value, frozen=True):
    """The least gross, or None with the most net that can be had."""

    gross: Pence | None
    most_net: Pence


def least_gross(wanted: Wanted, pieces: Iterable[Piece]) -> GrossUp:
    """The least gross amount, in pence, that leaves at least ``wanted.net``.

    ``pieces`` are those of the tax curve, in order; no more of them are taken than the answer needs.
    """
    most_net = 0
    lowest = 0
    for piece, last in _without_steps(pieces, wanted.may_be_charged):

        def net(gross: Pence, piece: Piece = piece) -> Pence:
            taxable, charge, *_ = wanted.split(gross)
            at = taxable if taxable > piece.start else piece.start
            tax = rounding.years_tax_to_the_penny(piece.tax_at(at))
            return gross - charge - (tax - wanted.tax_without)

        highest = _last_within(wanted, lowest, last)
        if highest is None:
            continue
        if piece.exact and piece.stairs is None:
            best = net(highest)
            found = least_reaching(net, wanted.net, lowest, highest, best) if best >= wanted.net else None
        else:
            best, found = _on_stairs(wanted, piece, lowest, highest, net)
        if best > most_net:
            most_net = best
        if found is not None:
            return GrossUp(_settled(wanted, found), most_net)
        if highest >= wanted.most:
            break
        lowest = highest + 1
    return GrossUp(None, most_net)


def _without_steps(pieces: Iterable[Piece], may_be_charged: bool) -> Iterator[tuple[Piece, Pence]]:
    """The pieces that are no steps, each with the last taxable amount that is taxed by it. A step of the child benefit charge is
    reached at the end of the piece before it, so that with child benefit the next piece is looked at. Every other step comes
    after it."""
    if not may_be_charged:
        yield from ((piece, piece.end) for piece in pieces if piece.rate is not None)
        return
    for piece, following in pairwise(chain(pieces, (None,))):
        if piece is not None and piece.rate is not None:
            reached = following is not None and following.is_charge_step
            yield piece, piece.end - 1 if reached else piece.end


def _on_stairs(
    wanted: Wanted, piece: Piece, lowest: Pence, highest: Pence, net: Callable[[Pence], Pence]
) -> tuple[Pence, Pence | None]:
    """The best net on a staircase, and the least gross that reaches the wanted net. Each stair's best is at its end,
    and the ends rise from stair to stair."""
    if not piece.exact:
        return _on_a_bent_stair(wanted, piece, lowest, highest)
    assert piece.stairs is not None
    foot = piece.stairs.foot

    def end_of(stair: int) -> Pence:
        end = _last_within(wanted, lowest, foot + (stair + 1) * STAIR - 1)
        assert end is not None
        return min(end, highest)

    first, last = ((wanted.split(gross)[0] - foot) // STAIR for gross in (lowest, highest))
    # The last stair may be cut short, so the one before it may end higher.
    at_last = net(end_of(last))
    before_last = net(end_of(last - 1)) if last > first else at_last
    best = max(at_last, before_last)
    if best < wanted.net:
        return best, None
    stair, at_its_end = last, at_last
    if last > first and before_last >= wanted.net:
        stair = least_reaching(lambda number: net(end_of(number)), wanted.net, first, last - 1, before_last)
        at_its_end = net(end_of(stair))
    start = lowest if stair == first else end_of(stair - 1) + 1
    return best, least_reaching(net, wanted.net, start, end_of(stair), at_its_end)


def _on_a_bent_stair(wanted: Wanted, piece: Piece, lowest: Pence, highest: Pence) -> tuple[Pence, Pence | None]:
    """The best net on a stair that holds a bend, and the least gross that reaches the wanted net, by the rules.

    On the stair itself the allowance stands still and no relief is lost, so more never leaves less and halving finds it. Its
    end is where the next stair begins, and looked at apart.
    """

    def net(gross: Pence) -> Pence:
        return _net_by_rules(wanted, gross)

    top = _last_within(wanted, lowest, piece.end - 1)
    end = lowest - 1 if top is None else min(top, highest)
    best = 0
    for first, last in ((lowest, end), (end + 1, highest)):
        if first <= last:
            best = max(best, net(last))
            if best >= wanted.net:
                return best, least_reaching(net, wanted.net, first, last, best)
    return best, None


def _settled(wanted: Wanted, gross: Pence) -> Pence:
    """The penny the rules themselves give, from one that the curve gives."""
    while gross > 0 and _net_by_rules(wanted, gross - 1) >= wanted.net:
        gross -= 1
    while _net_by_rules(wanted, gross) < wanted.net and gross < wanted.most:
        gross += 1
    return gross


def _net_by_rules(wanted: Wanted, gross: Pence) -> Pence:
    taxable, charge, *_ = wanted.split(gross)
    return gross - charge - wanted.on_withdrawal(taxable)


def _last_within(wanted: Wanted, lowest: Pence, taxable: Pence) -> Pence | None:
    """The largest gross from ``lowest`` on whose taxable part is at most ``taxable``; None if not even ``lowest``'s is."""
    if wanted.gross_within is not None:
        gross = wanted.gross_within(taxable)
        if gross > wanted.most:
            gross = wanted.most
        return gross if gross >= lowest else None

    def taxable_of(gross: Pence) -> Pence:
        return wanted.split(gross)[0]

    if lowest > wanted.most or taxable_of(lowest) > taxable:
        return None
    of_most = taxable_of(wanted.most)
    if of_most <= taxable:
        return wanted.most
    return least_reaching(taxable_of, taxable + 1, lowest, wanted.most, of_most) - 1

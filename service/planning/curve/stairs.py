"""Where the personal allowance is withdrawn it falls by whole pounds, so the tax is a fine staircase (ITA 2007 s.35(2)-(3))."""

from __future__ import annotations

from collections.abc import Iterator

from service.law.units import Pence
from service.planning.curve.bends import set_off_may_bend, where_lines_meet
from service.planning.curve.piece import STAIR, Piece, Stairs
from service.planning.curve.reasons import last_before_loss, reasons, reliefs_lost
from service.planning.curve.tax_function import TaxFunction


def staircase(rules: TaxFunction, start: Pence, end: Pence, first: Pence) -> list[Piece]:
    """The pieces between two neighbouring points of the taper, whose stairs begin every two pounds from ``first``."""
    if _stairs_are_even(rules, start, end, first):
        return [_even_stairs(rules, start, end, first)]
    return _joined(list(_stairs(rules, start, end, first)))


def _stairs_are_even(rules: TaxFunction, start: Pence, end: Pence, first: Pence) -> bool:
    """Whether every stair between two neighbouring points is like the next: where the allowances take nothing but other
    income away and their set-off leaves no choice, all heights of the stack rise together and pass no level."""
    before, after = rules(start), rules(end)
    foot = start + (first - start) % STAIR
    return (
        end - foot >= 2 * STAIR
        and rules.year.taxpayer.other_income + start >= before.allowances
        and not reliefs_lost(before, after)
        and not set_off_may_bend(rules.year, before, after)
    )


def _even_stairs(rules: TaxFunction, start: Pence, end: Pence, first: Pence) -> Piece:
    """A staircase of even stairs from ``start`` to ``end``, wherever on its stairs these are."""
    foot = start + (first - start) % STAIR
    head = end - (end - start) % STAIR
    on_tread = start if start + 1 != foot else foot
    before, after = rules(start), rules(end)
    rise = (rules(head).income_tax - before.income_tax) // ((head - start) // STAIR)
    tread_rate = rules(on_tread + 1).income_tax - rules(on_tread).income_tax
    because = reasons(before, after, rules.year, True)
    stairs = Stairs(foot, STAIR, rise - STAIR * tread_rate)
    return Piece(start, end, before.income_tax, after.income_tax, tread_rate, because, stairs)


def _stairs(rules: TaxFunction, start: Pence, end: Pence, first: Pence) -> Iterator[Piece]:
    """The staircase from ``start`` to ``end``. Stairs begin every two pounds from ``first``."""
    foot = start + (first - start) % STAIR
    if foot >= end:
        yield from _one_stair(rules, start, end, first)
        return
    if foot > start:
        yield from _one_stair(rules, start, foot, first)
        yield from _stairs(rules, foot, end, first)
        return
    whole = (end - start) // STAIR
    head = start + whole * STAIR
    if head < end and whole:
        yield from _stairs(rules, start, head, first)
        yield from _one_stair(rules, head, end, first)
        return
    if whole <= 1:
        yield from _one_stair(rules, start, end, first)
        return
    lost = reliefs_lost(rules(start), rules(end))
    tax_start, tax_end = rules(start).income_tax, rules(end).income_tax
    rise, uneven = divmod(tax_end - tax_start, whole)
    tread = rules(start + 1).income_tax - tax_start
    regular = not uneven and not lost
    if regular and (rules.year.taxpayer.savings or rules.year.taxpayer.dividends):
        middle = start + whole * 5 // 13 * STAIR
        probes = ((start + STAIR, 0), (middle, STAIR - 1), (end - STAIR, 0), (end, -1))
        regular = all(
            rules(x + off).income_tax
            == tax_start + ((x - start) // STAIR - (1 if off < 0 else 0)) * rise + (off % STAIR) * tread
            for x, off in probes
        )
    if not regular:
        middle = _stair_to_cut(rules, start, end)
        yield from _stairs(rules, start, middle, first)
        yield from _stairs(rules, middle, end, first)
        return
    because = reasons(rules(start), rules(end), rules.year, True)
    yield Piece(start, end, tax_start, tax_end, tread, because, Stairs(start, STAIR, rise - STAIR * tread))


def _joined(pieces: list[Piece]) -> list[Piece]:
    """Part of a stair before or after a staircase, joined to it where it is simply more of the same."""
    joined = pieces[:1]
    for piece in pieces[1:]:
        before = joined[-1]
        longer = piece if piece.stairs is not None and piece.end - piece.start > STAIR else before
        if longer.stairs is not None and longer.exact and longer.end - longer.start > STAIR:
            whole = longer._replace(
                start=before.start, end=piece.end, tax_start=before.tax_start, tax_end=piece.tax_end
            )
            if before.exact and piece.exact and whole.continues_through(before, piece):
                joined[-1] = whole
                continue
        joined.append(piece)
    return joined


def _stair_to_cut(rules: TaxFunction, start: Pence, end: Pence) -> Pence:
    """The stair's foot at which to cut an uneven staircase: near where the lines from both ends meet, else the middle."""
    meeting, on_the_curve = where_lines_meet(rules, start, end, STAIR)
    return meeting if on_the_curve else start + (end - start) // STAIR // 2 * STAIR


def _one_stair(rules: TaxFunction, start: Pence, end: Pence, first: Pence) -> Iterator[Piece]:
    """Part of a stair, or one whole stair, as a piece of its own; cut where a relief is lost on it."""
    before, after = rules(start), rules(end)
    if reliefs_lost(before, after) and end - start > 1:
        kept = last_before_loss(rules, start, end)
        for at, to in ((start, kept), (kept, kept + 1), (kept + 1, end)):
            if at < to:
                yield from _one_stair(rules, at, to, first)
        return
    tax_start, tax_end, length = before.income_tax, after.income_tax, end - start
    because = reasons(before, after, rules.year, True)
    tread = rules(start + 1).income_tax - tax_start if length > 1 else 0
    last_penny = rules(end - 1).income_tax
    exact = last_penny == tax_start + (length - 1) * tread
    if (end - first) % STAIR == 0:
        stairs = Stairs(end, STAIR, max(0, tax_end - last_penny - tread))
        yield Piece(start, end, tax_start, tax_end, tread, because, stairs, exact)
    else:
        rate = tread if exact else (tax_end - tax_start) // length
        yield Piece(start, end, tax_start, tax_end, rate, because, None, exact)

"""Income tax that must cover gifts under Gift Aid, on top of the pieces without that (ITA 2007 ss.423-425).

The year's tax is then never less than the tax treated as deducted from the gifts, so the curve is flat until the tax of the
income itself comes to that.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from service.law.units import TaxUnits
from service.planning.curve.piece import Piece
from service.planning.search import first_where

COVERED = ("gift_aid",)
"""The reason of a piece along which more income adds nothing, because the gifts have to be covered anyway."""


def at_least(covered: TaxUnits, pieces: Iterable[Piece]) -> Iterator[Piece]:
    """The pieces, nowhere below the tax to be covered."""
    for piece in pieces:
        if min(piece.tax_start, piece.tax_end) >= covered:
            yield piece
        elif piece.start == piece.end:
            if piece.tax_end > covered or piece.tax_start > covered:
                yield piece._replace(tax_start=max(piece.tax_start, covered), tax_end=max(piece.tax_end, covered))
        elif max(piece.tax_start, piece.tax_end) <= covered:
            yield _flat(piece, covered)
        elif piece.exact:
            yield from _parted(piece, covered)
        else:
            yield _between_its_ends(piece, covered)


def _parted(piece: Piece, covered: TaxUnits) -> Iterator[Piece]:
    """A piece that passes the tax to be covered: flat before or after that, and a penny's piece where it passes within one."""
    rises = piece.tax_end > piece.tax_start
    past = first_where(lambda amount: (piece.tax_at(amount) > covered) == rises, piece.start, piece.end)
    touches = past - 1 if rises else past
    cuts = (touches,) if piece.tax_at(touches) == covered else (past - 1, past)
    rest: tuple[Piece, ...] = (piece,)
    for at in cuts:
        rest = (*rest[:-1], *rest[-1].cut_at(at))
    for part in rest:
        if max(part.tax_start, part.tax_end) <= covered:
            yield _flat(part, covered)
        elif min(part.tax_start, part.tax_end) < covered:
            yield _between_its_ends(part, covered)
        else:
            yield part


def _flat(piece: Piece, covered: TaxUnits) -> Piece:
    return piece._replace(tax_start=covered, tax_end=covered, rate=0, because=COVERED, stairs=None, exact=True)


def _between_its_ends(piece: Piece, covered: TaxUnits) -> Piece:
    start, end = max(piece.tax_start, covered), max(piece.tax_end, covered)
    return piece._replace(tax_start=start, tax_end=end, rate=(end - start) // (piece.end - piece.start), stairs=None)

"""Amounts, rates and people as a sentence tells them."""

from __future__ import annotations

from service.law.units import BasisPoints, Pence


def pounds(pence: Pence) -> str:
    """Money for people: £1,234.56, or £1,234 when there are no pence."""
    if pence < 0:
        return f"-{pounds(-pence)}"
    whole, rest = pence // 100, pence % 100
    return f"£{whole:,}.{rest:02d}" if rest else f"£{whole:,}"


def per_cent(rate: BasisPoints) -> str:
    """A rate for people: 8.75%, or 20% when there are no decimals."""
    whole, rest = divmod(rate, 100)
    return f"{whole}.{rest:02d}".rstrip("0") + "%" if rest else f"{whole}%"


def who(i: int, of: int) -> str:
    """Person ``i`` of a household as the start of a sentence names them."""
    return "This person" if of == 1 else ("The first person", "The second person")[i]

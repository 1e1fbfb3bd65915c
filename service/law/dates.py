"""How a sentence names a day or a month."""

from __future__ import annotations

from datetime import date

from service.law.kept import kept


@kept(1024)
def day_month_year(day: date) -> str:
    """A day for people: 6 April 2027."""
    return f"{day.day} {day:%B %Y}"


def month_year(day: date) -> str:
    """The month of a day for people: April 2027."""
    return f"{day:%B %Y}"

"""What a whole number stands for. Every amount and rate of the service is an ``int`` in one of these units, so it is exact.

The names are aliases: they tell a reader and cost nothing. Sums and differences stay in a unit; pence times basis points are
tax units, and ``rounding`` turns those back into pence.
"""

from __future__ import annotations

Pence = int
"""Money."""

BasisPoints = int
"""A rate or a share: 20% is 2,000. Rates of growth a year as well."""

TaxUnits = int
"""Tax that is not rounded yet: ten-thousandths of a penny, pence times basis points."""

MillionthShare = int
"""A share of a nil-rate band: ten-thousandths of a per cent, because HMRC takes them to four decimals."""

Years = int
"""An age, or a number of years, in whole years."""

POUND: Pence = 100

WHOLE: BasisPoints = 10_000
"""All of something: a share of one, a rate of 100%."""

PENNY: TaxUnits = 10_000
"""A penny of tax."""

"""The charges on unauthorised payments, by hand from Finance Act 2004 ss.208-210 and HMRC's PTM134400."""

from __future__ import annotations

from datetime import date

import pytest

from service.law.unauthorised_payments import UnauthorisedPayment, reference_periods

QUARTER, CHARGE, SURCHARGE = 2_500, 4_000, 1_500
FIRST, FOUR_MONTHS_ON = date(2026, 7, 1), date(2026, 11, 1)


def periods(*payments: tuple[date | None, int, int]) -> list[tuple[int, bool, int]]:
    """How many payments each reference period has, whether they are surcharged, and the charges in pounds."""
    made = [UnauthorisedPayment(day, amount * 100, rights * 100) for day, amount, rights in payments]
    found = reference_periods(made, QUARTER)
    return [(len(one.payments), one.surcharged, one.charges(CHARGE, SURCHARGE) // 100) for one in found]


@pytest.mark.parametrize(
    ("payments", "found"),
    [
        ([(FIRST, 24_999, 100_000)], [(1, False, 9_999)]),
        ([(FIRST, 25_000, 100_000)], [(1, True, 13_750)]),
        ([(None, 25_000, 100_000)], [(1, True, 13_750)]),
        # 20% and 10% of what is then left: both are surcharged, 11,200 and 4,200.
        ([(FIRST, 20_000, 100_000), (FOUR_MONTHS_ON, 8_000, 80_000)], [(2, True, 15_400)]),
        ([(FIRST, 20_000, 100_000), (FOUR_MONTHS_ON, 20_000, 80_000)], [(2, True, 22_000)]),
        ([(FIRST, 10_000, 100_000), (FOUR_MONTHS_ON, 9_000, 90_000)], [(2, False, 7_600)]),
        # Twelve months, and no longer.
        ([(FIRST, 20_000, 100_000), (date(2027, 6, 30), 8_000, 80_000)], [(2, True, 15_400)]),
        ([(FIRST, 20_000, 100_000), (date(2027, 7, 1), 8_000, 80_000)], [(1, False, 8_000), (1, False, 3_200)]),
        # A period ends with the day on which the threshold is reached (s.210, from memory): what follows begins another.
        (
            [(FIRST, 25_000, 100_000), (FIRST, 750, 75_000), (FOUR_MONTHS_ON, 7_425, 74_250)],
            [(2, True, 14_162), (1, False, 2_970)],
        ),
    ],
)
def test_charges_by_reference_periods(
    payments: list[tuple[date | None, int, int]], found: list[tuple[int, bool, int]]
) -> None:
    assert periods(*payments) == found

"""Every rounding the law names, each once, with its source. All amounts are pence unless a name says otherwise."""

POUND = 100
TEN_POUNDS = 1_000
PENNY = 10_000  # in ten-thousandths of a penny


def up_to_the_pound(pence: int) -> int:
    """Up to the next whole pound: the tapered personal allowance (ITA 2007 s.35(3))."""
    return -(-pence // POUND) * POUND


def down_to_the_pound(pence: int) -> int:
    """Down to the whole pound: child benefit and its charge (ITEPA 2003 s.681C); PAYE taxable pay (HMRC routine 4.3.2)."""
    return pence // POUND * POUND


def up_to_ten_pounds(pence: int) -> int:
    """Up to the next ten pounds: the transferable marriage allowance (ITA 2007 s.55B(5))."""
    return -(-pence // TEN_POUNDS) * TEN_POUNDS


def years_tax_to_the_penny(ten_thousandths: int) -> int:
    """The year's tax to the nearest penny, half a penny up.

    No statutory rule was found; tax returns work to the penny (common practice, from memory).
    """
    return (ten_thousandths + PENNY // 2) // PENNY


def down_to_the_penny(ten_thousandths: int) -> int:
    """Down to the penny: PAYE tax (HMRC routine 4.4), and a quarter that must not exceed 25% (FA 2004 Sch.29)."""
    return ten_thousandths // PENNY

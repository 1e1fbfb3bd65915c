"""The winter fuel payment and, in Scotland, the Pension Age Winter Heating Payment: who qualifies for which amount.

SI 2025/969 for England and Wales, in the form of SI 2024/869 and SI 2000/729; the Scottish regulations have the same week.
"""

from __future__ import annotations

from datetime import date, timedelta

from service.law.kept import kept

_MONDAY, _WEEK = 0, 7


@kept(256)
def qualifying_week_ends(year: int) -> date:
    """The last day of the qualifying week: that of the third Monday in September (SI 2024/869 reg.1(4)). ``year`` is the
    calendar year in which the tax year begins."""
    first = date(year, 9, 1)
    to_monday = (_MONDAY - first.weekday()) % _WEEK
    return first + timedelta(days=to_monday + 2 * _WEEK + _WEEK - 1)


def qualifies(state_pension_from: date | None, week_ends: date) -> bool:
    """Whether State Pension age is reached in or before the qualifying week (SI 2024/869 reg.2); None if long before."""
    return state_pension_from is None or state_pension_from <= week_ends


def payment_named(higher_age: bool, partner_of_higher_age: bool | None, scotland: bool) -> str | None:
    """The figure with one person's amount, where no benefit is received that changes it (SI 2000/729 reg.2).

    ``higher_age``: 80 is reached in or before the qualifying week. ``partner_of_higher_age`` says the same of a partner who
    qualifies too, None where there is none. None is answered where the amount is not held: a Scottish couple on either side
    of 80.
    """
    if partner_of_higher_age is None:
        name = "payment_from_higher_age" if higher_age else "payment"
    elif higher_age and partner_of_higher_age:
        name = "shared_payment_from_higher_age"
    elif scotland and higher_age != partner_of_higher_age:
        return None
    else:
        name = "shared_payment_older_of_two" if higher_age else "shared_payment"
    return f"winter_fuel.{'scottish_' if scotland else ''}{name}"

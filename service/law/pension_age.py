"""Normal minimum pension age (Finance Act 2004 s.279; 57 from 6 April 2028, Finance Act 2022 s.10)."""

from __future__ import annotations

from datetime import date

from service.law.ages import age_on, birthday
from service.law.units import Years


def access_age(
    date_of_birth: date, minimum_pension_age: Years, following: tuple[date, Years] | None, protected: Years | None
) -> tuple[Years, date]:
    """The age from which benefits may be taken, and the day it is reached; ``following`` is the day and age of a change.

    Someone who reaches the minimum age only after it has gone up waits for the higher one.
    """
    age = protected or minimum_pension_age
    reached = birthday(date_of_birth, age)
    if protected is None and following is not None and reached >= following[0]:
        return following[1], birthday(date_of_birth, following[1])
    return age, reached


def may_take_benefits(date_of_birth: date, day: date, minimum_pension_age: Years, protected: Years | None) -> bool:
    """Whether pension benefits may be taken on a day: from the minimum age of that day's tax year, or a protected one."""
    return age_on(date_of_birth, day) >= (protected or minimum_pension_age)


def may_have_begun(date_of_birth: date, earlier: tuple[date, Years] | None) -> bool:
    """Whether somebody reached the minimum age before it last rose, so that drawdown may have begun under it; ``earlier`` is the
    day of the rise and the age before."""
    return earlier is not None and birthday(date_of_birth, earlier[1]) < earlier[0]

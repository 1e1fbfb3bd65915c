"""Birthdays and ages."""

from __future__ import annotations

from datetime import date

from service.law.units import Years


def birthday(date_of_birth: date, age: Years) -> date:
    """The day an age is reached. Born on 29 February: 1 March in other years, as is common practice (our choice)."""
    try:
        return date_of_birth.replace(year=date_of_birth.year + age)
    except ValueError:
        return date(date_of_birth.year + age, 3, 1)


def age_on(date_of_birth: date, day: date) -> Years:
    """Whole years of age on a day."""
    # Someone born on 29 February is older from 1 March in other years, as ``birthday`` has it.
    before_birthday = (day.month, day.day) < (date_of_birth.month, date_of_birth.day)
    return day.year - date_of_birth.year - before_birthday

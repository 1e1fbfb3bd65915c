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
    years, month, born_in = day.year - date_of_birth.year, day.month, date_of_birth.month
    before_birthday = month < born_in or (month == born_in and day.day < date_of_birth.day)
    return years - 1 if before_birthday else years

"""Normal minimum pension age (Finance Act 2004 s.279; 57 from 6 April 2028, Finance Act 2022 s.10)."""

from __future__ import annotations

from datetime import date


def birthday(date_of_birth: date, age: int) -> date:
    """The day an age is reached. Born on 29 February: 1 March in other years (common practice, from memory)."""
    try:
        return date_of_birth.replace(year=date_of_birth.year + age)
    except ValueError:
        return date(date_of_birth.year + age, 3, 1)


def age_on(date_of_birth: date, day: date) -> int:
    """Whole years of age on a day."""
    age = day.year - date_of_birth.year
    return age if birthday(date_of_birth, age) <= day else age - 1

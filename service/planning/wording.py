"""Amounts, rates, days and people as a sentence tells them."""

from __future__ import annotations

from collections.abc import Sequence

from service.law.units import POUND, BasisPoints, Pence

_PENCE_TOLD_BELOW: Pence = 100 * POUND
_PENNIES = ("", *(f".{pennies:02d}" for pennies in range(1, 100)))
"""What is told of each number of pence."""
_THREE_DIGITS = tuple(f"{number:03d}" for number in range(1_000))


def pounds(pence: Pence) -> str:
    """Money for people: £1,234.56, or £1,234 when there are no pence."""
    if pence < 0:
        return f"-{pounds(-pence)}"
    whole, pennies = pence // 100, _PENNIES[pence % 100]
    if whole < 1_000:
        return f"£{whole}{pennies}"
    if whole < 1_000_000:
        # By hand, because it is what is told most often, and Python's own commas take twice as long.
        return f"£{whole // 1_000},{_THREE_DIGITS[whole % 1_000]}{pennies}"
    return f"£{whole:,}{pennies}"


def rounded_pounds(pence: Pence) -> str:
    """The same to the nearest pound from £100 up, half up, where the pence tell a reader nothing."""
    return pounds(pence if abs(pence) < _PENCE_TOLD_BELOW else (pence + 50) // 100 * 100)


def per_cent(rate: BasisPoints) -> str:
    """A rate for people: 8.75%, or 20% when there are no decimals."""
    whole, rest = divmod(rate, 100)
    return f"{whole}.{rest:02d}".rstrip("0") + "%" if rest else f"{whole}%"


def starting(words: str) -> str:
    """Words as the start of a sentence."""
    return words[0].upper() + words[1:]


def listed(words: Sequence[str], last: str = "and") -> str:
    """One, two and three."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def counted(number: int, one: str, many: str) -> str:
    """How many, with the word for one or for many."""
    return f"{number:,} {one if number == 1 else many}"


ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
"""The places of options, which the answer counts from 0 and people from 1."""


def option_in_words(position: int) -> str:
    """An option by its place, inside a sentence."""
    return f"the {ORDINALS[position]} option"


def lump_sums_in_words(how: str, age: int | None = None, yearly: Pence | None = None) -> str:
    """A way to take the tax-free cash: at an ``age``, or in stages of so much a year, where that is asked for."""
    if how == "phased" and yearly is not None:
        return f"tax-free cash in stages of {pounds(yearly)} a year"
    return {
        "all_now": "all tax-free cash now",
        "phased": "tax-free cash in stages that fit the ISA allowance",
        "with_each_withdrawal": "a quarter tax free with each withdrawal",
        "at_age": f"all tax-free cash at {age}",
        "never": "no tax-free cash",
    }[how]


def income_in_words(goal: str) -> str:
    """What is drawn from a pension besides lump sums, to stand after "and" or a comma."""
    return "only spending is drawn" if goal == "spending_only" else f"income fills the {goal.replace('_', ' ')}"


YOU = "You"
"""One person alone, as the start of a sentence: whoever reads the answer, or whoever it is about."""


NAMELESS = (YOU, "The first person", "The second person")
"""What stands for people without a name, as the start of a sentence."""


def who(i: int, of: int, name: str | None = None) -> str:
    """Person ``i`` of a household as the start of a sentence names them: of two by name, where it was given."""
    return YOU if of == 1 else name or NAMELESS[1 + i]


def inside(person: str) -> str:
    """A person as ``who`` names them, inside a sentence: you, the first person, or the name."""
    return person.lower() if person in NAMELESS else person

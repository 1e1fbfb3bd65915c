"""What the fields of one object say together: rules of its shape that no field can judge alone.

A schema lists its own in ``rules``. Both readers ask them of the object as it was sent, so they cannot disagree.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

SCHEMA = "_schema"
"""marshmallow's name for the object itself, beside those of its fields."""


class Said(NamedTuple):
    """A fault's code and its sentence."""

    code: str
    detail: str


class Rule(ABC):
    """A rule of one object."""

    @property
    @abstractmethod
    def names(self) -> tuple[str, ...]:
        """The fields that it is about, as requests name them."""

    @abstractmethod
    def faults(self, given: Mapping[str, Any]) -> Iterable[tuple[str, Said]]:
        """What in an object breaks the rule: a field or SCHEMA, and what is said of it. A rule that nearly every request meets is
        no generator, since to make one takes longer than to see that nothing is wrong."""


@dataclass(frozen=True)
class OneOfTwo(Rule):
    """Either of two fields is given, and only one of them. A note says what a field means."""

    first: str
    second: str
    first_note: str = ""
    second_note: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        return self.first, self.second

    def faults(self, given: Mapping[str, Any]) -> Iterable[tuple[str, Said]]:
        if (self.first in given) != (self.second in given):
            return ()
        which = "both were given" if self.first in given else "neither was given"
        either = f"either `{self.first}`{self.first_note} or `{self.second}`{self.second_note}"
        return ((SCHEMA, Said("one-of-two", f"Give {either}: {which}.")),)


@dataclass(frozen=True)
class NotBoth(Rule):
    """Two fields say the same in different ways, so only one of them is given."""

    first: str
    second: str

    @property
    def names(self) -> tuple[str, ...]:
        return self.first, self.second

    def faults(self, given: Mapping[str, Any]) -> Iterator[tuple[str, Said]]:
        if self.first in given and self.second in given:
            yield SCHEMA, Said("one-of-two", f"Give either `{self.first}` or `{self.second}`: both were given.")


@dataclass(frozen=True)
class Needs(Rule):
    """Where a field has a certain value, another one is needed; ``note`` says more of that."""

    key: str
    word: str
    needed: str
    note: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        return self.key, self.needed

    def faults(self, given: Mapping[str, Any]) -> Iterator[tuple[str, Said]]:
        if given.get(self.key) == self.word and self.needed not in given:
            yield (
                self.needed,
                Said("missing", f'This field is required where `{self.key}` is "{self.word}"{self.note}.'),
            )


@dataclass(frozen=True)
class OnlyWith(Rule):
    """A field is given only where another one has a certain value."""

    name: str
    key: str
    word: str

    @property
    def names(self) -> tuple[str, ...]:
        return self.name, self.key

    def faults(self, given: Mapping[str, Any]) -> Iterable[tuple[str, Said]]:
        if self.name in given and isinstance(other := given.get(self.key), str) and other != self.word:
            said = Said("only-with", f'Leave this out: it counts only where `{self.key}` is "{self.word}".')
            return ((self.name, said),)
        return ()


@dataclass(frozen=True)
class Together(Rule):
    """Two fields are given both, or in their place a third one; that not all three are is said by another rule."""

    first: str
    second: str
    instead: str

    @property
    def names(self) -> tuple[str, ...]:
        return self.first, self.second, self.instead

    def faults(self, given: Mapping[str, Any]) -> Iterator[tuple[str, Said]]:
        if self.first in given and self.second not in given and self.instead not in given:
            yield self.second, Said("missing", f"This field is required with `{self.first}`.")
        if self.second in given and self.first not in given and self.instead in given:
            yield self.second, Said("only-with", f"Leave this out: it counts only with `{self.first}`.")

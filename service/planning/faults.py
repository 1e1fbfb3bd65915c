"""What cannot be computed, and why: the one exception of the planning layer."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a request: where (path of keys and indexes), a short code, and a sentence for people."""

    path: tuple[str | int, ...]
    code: str
    detail: str


class RuleViolation(Exception):
    """A request that is well formed but asks for what the rules do not allow. ``permitted`` is the figure that would
    be allowed, in pence, where there is one."""

    def __init__(self, faults: tuple[Fault, ...], permitted: int | None = None) -> None:
        super().__init__("; ".join(fault.code for fault in faults))
        self.faults = faults
        self.permitted = permitted

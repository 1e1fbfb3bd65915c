"""How many requests of a kind the workers of one service answer at the same time."""

from __future__ import annotations

import fcntl
import os
import struct
from collections.abc import Iterable

_LOCK = struct.Struct("hhqqi0q")


class Slots:
    """Numbered slots that processes forked after it was made share.

    Each slot is one byte of a file without a name, locked by the process that has taken it. The system gives the locks
    of a process up when it ends, however it ends, so that no slot is ever lost. A process has at most one slot.
    """

    def __init__(self) -> None:
        self._file = os.memfd_create("slots")  # in memory: there may be no folder to write to

    def take(self, wanted: Iterable[int]) -> int | None:
        """The first of the slots wanted that is free, and now is taken; None where there is none."""
        for slot in wanted:
            try:
                fcntl.lockf(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB, 1, slot)
            except OSError:
                continue
            return slot
        return None

    def is_free(self, slot: int) -> bool:
        """Whether no other process has taken a slot. It is only looked at, since taking it for a moment could have somebody
        else refused. Linux' form of a lock."""
        asked = _LOCK.pack(fcntl.F_WRLCK, os.SEEK_SET, slot, 1, 0)
        kind: int = _LOCK.unpack(fcntl.fcntl(self._file, fcntl.F_GETLK, asked))[0]
        return kind == fcntl.F_UNLCK

    def give_back(self, slot: int) -> None:
        """Free a slot that this process has taken."""
        fcntl.lockf(self._file, fcntl.LOCK_UN, 1, slot)

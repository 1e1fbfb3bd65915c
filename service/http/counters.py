"""Counters of requests that all workers share, as a storage of the package that keeps rates."""

from __future__ import annotations

import fcntl
import mmap
import struct
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path

from limits.storage import Storage

_COUNTER = struct.Struct("=qd")
"""How often, and until when, in seconds since 1970."""


class SharedCounters(Storage):
    """One counter for each name, in memory that processes forked later share. Names are all known at the start.

    A counter is changed under a lock on a file without a name, which the system gives up for a process that dies.
    """

    STORAGE_SCHEME = None

    def __init__(self, names: Iterable[str]) -> None:
        super().__init__()
        self._places = {name: number * _COUNTER.size for number, name in enumerate(names)}
        self._memory = mmap.mmap(-1, max(1, len(self._places) * _COUNTER.size))
        self._lock, name = tempfile.mkstemp()
        Path(name).unlink()

    @property
    def base_exceptions(self) -> type[Exception]:
        """What may go wrong in the storage itself."""
        return OSError

    def incr(self, key: str, expiry: int, amount: int = 1) -> int:
        """Count, and give the count of the time that runs; a new time of ``expiry`` seconds begins where the last has passed."""
        place, now = self._places[key], time.time()
        fcntl.lockf(self._lock, fcntl.LOCK_EX)
        try:
            count, until = _COUNTER.unpack_from(self._memory, place)
            # A clock that was set back must not lengthen the time.
            if not now < until <= now + expiry:
                count, until = 0, now + expiry
            _COUNTER.pack_into(self._memory, place, count + amount, until)
        finally:
            fcntl.lockf(self._lock, fcntl.LOCK_UN)
        return int(count + amount)

    def get(self, key: str) -> int:
        """How often it was counted in the time that runs."""
        count, until = _COUNTER.unpack_from(self._memory, self._places[key])
        return int(count) if time.time() < until else 0

    def get_expiry(self, key: str) -> float:
        """When the time that runs ends, in seconds since 1970."""
        return float(_COUNTER.unpack_from(self._memory, self._places[key])[1])

    def check(self) -> bool:
        """Whether it can count."""
        return True

    def reset(self) -> int:
        """Begin anew; gives the number of counters."""
        self._memory[:] = bytes(len(self._memory))
        return len(self._places)

    def clear(self, key: str) -> None:
        """Begin one counter anew."""
        _COUNTER.pack_into(self._memory, self._places[key], 0, 0.0)

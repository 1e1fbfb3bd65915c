"""What the person who runs the service may choose, read once from the environment.

Every name begins with `SERVICE_`. A value that cannot be used, or a name that is not known, stops the start:
a misspelt setting that is quietly ignored is found out much later, and in production.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from typing import TypeVar

from service.logs import LOG_FORMATS

PREFIX = "SERVICE_"
LOG_LEVELS = ("debug", "info", "warning", "error", "critical")

DEFAULT_BIND = ("127.0.0.1", 8000)
DEFAULT_TIMEOUT_SECONDS = 30
DEFAULT_MAX_BODY_BYTES = 65_536
DEFAULT_BULK_MAX_RECORDS = 10_000
DEFAULT_BULK_MAX_BYTES = 16_777_216
DEFAULT_LOG_LEVEL = "info"
DEFAULT_LOG_FORMAT = "text"
MAX_WORKERS = 64

# A name or an IPv4 address, or an IPv6 address in square brackets; then a colon and the port.
_BIND = re.compile(r"(?:\[(?P<bracketed>[0-9A-Fa-f:.]+)\]|(?P<plain>[A-Za-z0-9._-]+)):(?P<port>[0-9]{1,5})")
_DIGITS = re.compile(r"[0-9]{1,12}")
_ORIGIN = re.compile(r"https?://[A-Za-z0-9.-]+(:[0-9]{1,5})?")

_Value = TypeVar("_Value")


class SettingsError(ValueError):
    """The environment holds settings that cannot be used; `faults` has one phrase for each of them."""

    def __init__(self, faults: tuple[str, ...]) -> None:
        super().__init__("; ".join(faults))
        self.faults = faults


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings of one running service.

    host             name or address to listen on (SERVICE_BIND, the part before the last colon)
    port             TCP port; 0 asks the system for a free one (SERVICE_BIND, the part after the last colon)
    workers          number of worker processes (SERVICE_WORKERS)
    timeout_seconds  a worker silent for longer than this is replaced (SERVICE_TIMEOUT)
    max_body_bytes   the largest request body that is accepted, and the longest line of a bulk (SERVICE_MAX_BODY_BYTES)
    heavy_at_once    how many requests that take long are answered at the same time, bulk ones included (SERVICE_HEAVY_AT_ONCE)
    bulk_at_once     how many of these may be bulk requests (SERVICE_BULK_AT_ONCE)
    bulk_max_records the most records in a bulk request (SERVICE_BULK_MAX_RECORDS)
    bulk_max_bytes   the largest body of a bulk request, packed and unpacked (SERVICE_BULK_MAX_BYTES)
    log_level        one of LOG_LEVELS (SERVICE_LOG_LEVEL)
    log_format       one of LOG_FORMATS (SERVICE_LOG_FORMAT)
    keys_file        the file of keys, one of which every caller needs; None where none is asked for (SERVICE_KEYS_FILE)
    callers_checked  a gateway in front checks who calls (SERVICE_CALLERS_CHECKED)
    metrics          whether numbers are kept and told at /metrics (SERVICE_METRICS)
    cors_origins     origins whose pages may call from a browser (SERVICE_CORS_ORIGINS)
    figures          the folder of proposed law beside the law as known; None where there is none (SERVICE_FIGURES)
    behind_proxy     whether a proxy stands in front, without which only this machine may be listened to (SERVICE_BEHIND_PROXY)
    """

    host: str
    port: int
    workers: int
    timeout_seconds: int
    max_body_bytes: int
    heavy_at_once: int
    bulk_at_once: int
    bulk_max_records: int
    bulk_max_bytes: int
    log_level: str
    log_format: str = DEFAULT_LOG_FORMAT
    keys_file: Path | None = None
    callers_checked: bool = False
    metrics: bool = False
    cors_origins: tuple[str, ...] = ()
    behind_proxy: bool = False
    figures: Path | None = None

    @classmethod
    def from_environment(cls, environ: Mapping[str, str]) -> Settings:
        """Read the settings from `environ` (normally `os.environ`); names without the prefix are ignored.

        Raises SettingsError, naming every fault at once.
        """
        reader = _Reader(environ)
        host, port = reader.read("SERVICE_BIND", DEFAULT_BIND, _address)
        workers = reader.read("SERVICE_WORKERS", default_workers(), _whole_number(1, MAX_WORKERS))
        heavy_at_once = reader.read("SERVICE_HEAVY_AT_ONCE", most_heavy(workers), _whole_number(1, MAX_WORKERS - 1))
        settings = cls(
            host=host,
            port=port,
            workers=workers,
            timeout_seconds=reader.read("SERVICE_TIMEOUT", DEFAULT_TIMEOUT_SECONDS, _whole_number(1, 3_600)),
            max_body_bytes=reader.read(
                "SERVICE_MAX_BODY_BYTES", DEFAULT_MAX_BODY_BYTES, _whole_number(1_024, 16_777_216)
            ),
            heavy_at_once=heavy_at_once,
            bulk_at_once=reader.read("SERVICE_BULK_AT_ONCE", heavy_at_once, _whole_number(1, MAX_WORKERS - 1)),
            bulk_max_records=reader.read(
                "SERVICE_BULK_MAX_RECORDS", DEFAULT_BULK_MAX_RECORDS, _whole_number(1, 1_000_000)
            ),
            bulk_max_bytes=reader.read(
                "SERVICE_BULK_MAX_BYTES", DEFAULT_BULK_MAX_BYTES, _whole_number(1_024, 1_073_741_824)
            ),
            log_level=reader.read("SERVICE_LOG_LEVEL", DEFAULT_LOG_LEVEL, _one_of(LOG_LEVELS)),
            log_format=reader.read("SERVICE_LOG_FORMAT", DEFAULT_LOG_FORMAT, _one_of(LOG_FORMATS)),
            keys_file=reader.read("SERVICE_KEYS_FILE", None, _path_of("the path of a file")),
            callers_checked=reader.read("SERVICE_CALLERS_CHECKED", False, _yes_or_no),
            metrics=reader.read("SERVICE_METRICS", False, _yes_or_no),
            cors_origins=reader.read("SERVICE_CORS_ORIGINS", (), _origins),
            behind_proxy=reader.read("SERVICE_BEHIND_PROXY", False, _yes_or_no),
            figures=reader.read("SERVICE_FIGURES", None, _path_of("the path of a folder")),
        )
        reader.require(
            settings.keys_file is not None or settings.callers_checked or _is_of_this_machine(host),
            f"SERVICE_BIND {host} can be reached from other machines, so nobody would check who calls: set SERVICE_KEYS_FILE, "
            "or SERVICE_CALLERS_CHECKED=yes if a gateway in front does",
        )
        reader.require(
            settings.heavy_at_once <= most_heavy(workers),
            f"SERVICE_HEAVY_AT_ONCE must be {_some_left(workers)}, not {settings.heavy_at_once}",
        )
        reader.require(
            settings.bulk_at_once <= settings.heavy_at_once,
            f"SERVICE_BULK_AT_ONCE must be at most SERVICE_HEAVY_AT_ONCE, {settings.heavy_at_once}, "
            f"not {settings.bulk_at_once}",
        )
        reader.require(
            settings.max_body_bytes <= settings.bulk_max_bytes,
            f"SERVICE_BULK_MAX_BYTES must be at least SERVICE_MAX_BODY_BYTES, {settings.max_body_bytes}, "
            f"not {settings.bulk_max_bytes}",
        )
        reader.require(
            settings.behind_proxy or _is_of_this_machine(host),
            f"SERVICE_BIND, {host}, can be reached from other machines, which is for a proxy alone: it keeps slow clients away. "
            "Where one stands in front, set SERVICE_BEHIND_PROXY=yes; otherwise bind to 127.0.0.1",
        )
        reader.refuse_faults_and_unknown_names()
        return settings

    @classmethod
    def for_tests(cls) -> Settings:
        """The defaults whatever the environment says, but on any free port and with one worker."""
        return cls(
            host=DEFAULT_BIND[0],
            port=0,
            workers=1,
            timeout_seconds=DEFAULT_TIMEOUT_SECONDS,
            max_body_bytes=DEFAULT_MAX_BODY_BYTES,
            heavy_at_once=most_heavy(1),
            bulk_at_once=most_heavy(1),
            bulk_max_records=DEFAULT_BULK_MAX_RECORDS,
            bulk_max_bytes=DEFAULT_BULK_MAX_BYTES,
            log_level=DEFAULT_LOG_LEVEL,
            behind_proxy=False,
        )


def _is_of_this_machine(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ip_address(host).is_loopback
    except ValueError:
        return False  # a name may be anything


def default_workers() -> int:
    """One worker for each processor this process may use and one more, but at most MAX_WORKERS.

    A calculation keeps its processor busy, so many more workers than processors gain nothing; the one that is over
    answers quotes, warnings and health checks while work that takes long keeps the others busy. A limit given as a share of
    processor time (the CPU quota of a container) does not show here: where there is one, set SERVICE_WORKERS.
    """
    granted = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(granted + 1, MAX_WORKERS)


def most_heavy(workers: int) -> int:
    """How many requests that take long may be answered at the same time so that one worker is always left for everything else;
    a worker that is alone has to take them as well."""
    return max(1, workers - 1)


def _some_left(workers: int) -> str:
    if workers == 1:
        return "1 where there is one worker"
    return f"less than SERVICE_WORKERS, so that one of {workers} is left for everything else"


class _Reader:
    """Reads settings one by one and gathers the faults, so that all of them can be told at once."""

    def __init__(self, environ: Mapping[str, str]) -> None:
        self._given = {name: value for name, value in environ.items() if name.startswith(PREFIX)}
        self._known: list[str] = []
        self._faults: list[str] = []
        self._disagreements: list[str] = []

    def read(self, name: str, default: _Value, convert: Callable[[str], _Value]) -> _Value:
        """The converted value of `name`; the default when it is not set, or is faulty."""
        self._known.append(name)
        if name not in self._given:
            return default
        try:
            return convert(self._given[name])
        except ValueError as fault:
            self._faults.append(f"{name} must be {fault}, not {self._given[name]!r}")
            return default

    def require(self, holds: bool, fault: str) -> None:
        """Note a fault where settings do not go together; whatever is faulty by itself has been noted already."""
        if not holds and not self._faults:
            self._disagreements.append(fault)

    def refuse_faults_and_unknown_names(self) -> None:
        """Raise SettingsError when a value was faulty, values do not go together, or a name with the prefix was never read."""
        unknown = sorted(set(self._given) - set(self._known))
        faults = [*self._faults, *self._disagreements, *(f"{name} is not a known setting" for name in unknown)]
        if faults:
            raise SettingsError(tuple(faults))


# Each converter raises ValueError with the phrase that completes "must be ...".


def _address(text: str) -> tuple[str, int]:
    match = _BIND.fullmatch(text)
    if match is None or int(match["port"]) > 65_535:
        raise ValueError("HOST:PORT with a port from 0 to 65535")
    return match["bracketed"] or match["plain"], int(match["port"])


def _whole_number(least: int, most: int) -> Callable[[str], int]:
    def convert(text: str) -> int:
        if not _DIGITS.fullmatch(text) or not least <= int(text) <= most:
            raise ValueError(f"a whole number from {least} to {most}")
        return int(text)

    return convert


def _path_of(what: str) -> Callable[[str], Path | None]:
    def convert(text: str) -> Path:
        if not text:
            raise ValueError(what)
        return Path(text)

    return convert


def _yes_or_no(text: str) -> bool:
    if text not in ("yes", "no"):
        raise ValueError("yes or no")
    return text == "yes"


def _origins(text: str) -> tuple[str, ...]:
    origins = tuple(each.strip() for each in text.split(","))
    if not all(_ORIGIN.fullmatch(each) for each in origins):
        raise ValueError("origins such as https://portal.example, with commas between them")
    return origins


def _one_of(words: tuple[str, ...]) -> Callable[[str], str]:
    def convert(text: str) -> str:
        if text not in words:
            raise ValueError(f"one of {', '.join(words)}")
        return text

    return convert

"""The log: one form for all that the service and its server say.

As ``text`` it is for people who watch, on the standard error output, and has no line for a request that went well. As ``json`` it
is on the standard output, each line one JSON object, and every request has one. Nothing that a caller sent is in either: of an
exception only its kind and the places in the code are told, because its own words may repeat a value.
"""

from __future__ import annotations

import logging
import os
import sys
import traceback
from datetime import UTC, datetime
from functools import cache
from types import TracebackType
from typing import Any

LOG_FORMATS = ("text", "json")


def places(kind: type[BaseException] | None, trace: TracebackType | None) -> str:
    """The kind of an exception and where it came from, without its words."""
    name = "" if kind is None else f"{kind.__module__}.{kind.__qualname__}"
    frames = [f"{frame.filename}:{frame.lineno} in {frame.name}" for frame in traceback.extract_tb(trace)]
    return "\n".join([*frames, name])


class _WithoutWords(logging.Formatter):
    def formatException(self, ei: Any) -> str:
        return places(ei[0], ei[2])


class Text(_WithoutWords):
    """A line for people."""

    def __init__(self) -> None:
        super().__init__("[%(asctime)s] [%(process)d] [%(levelname)s] %(message)s", "%Y-%m-%d %H:%M:%S %z")


def configuration(form: str, level: str) -> dict[str, Any]:
    """The configuration of Python's logging for a form (one of LOG_FORMATS) and a level."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"line": {"()": f"service.logs.{'json_lines' if form == 'json' else 'Text'}"}},
        "handlers": {
            "out": {"()": f"service.logs.{'output_alone' if form == 'json' else 'errors'}", "formatter": "line"}
        },
        "root": {"level": level.upper(), "handlers": ["out"]},
        "loggers": {
            "gunicorn.error": {"level": level.upper(), "handlers": ["out"], "propagate": False},
            "gunicorn.access": {"level": "CRITICAL", "handlers": [], "propagate": False},
            "service.requests": {"level": level.upper() if form == "json" else "WARNING"},
        },
    }


def json_lines() -> logging.Formatter:
    """A formatter whose lines are JSON objects: time, level, message, and what the line is about."""
    from pythonjsonlogger.json import JsonFormatter

    class Lines(JsonFormatter):
        def formatException(self, ei: Any) -> str:
            return places(ei[0], ei[2])

        def add_fields(self, log_data: dict[str, Any], record: logging.LogRecord, message_dict: dict[str, Any]) -> None:
            super().add_fields(log_data, record, message_dict)
            for empty in [name for name, value in log_data.items() if value is None]:
                del log_data[empty]
            log_data["time"] = datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")
            log_data["level"] = record.levelname.lower()
            log_data["process"] = record.process

    return Lines("%(message)s")


def errors() -> logging.Handler:
    """The handler that writes to the standard error output."""
    return logging.StreamHandler(sys.stderr)


@cache
def output_alone() -> logging.Handler:
    """The handler that has the standard output for itself: what libraries print there goes nowhere from now on, so that every
    line is one of the log."""
    stream = os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8", buffering=1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, sys.stdout.fileno())
    os.close(nowhere)
    return logging.StreamHandler(stream)

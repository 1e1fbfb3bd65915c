"""POST /v1/bulk/{operation}: many records in one request, as lines of JSON in and out.

The body is read whole, bounded, before the answer begins, since many clients send all of a request before they read any
of the answer. Only then is a place for heavy work taken, before anything is unpacked or counted. The answer streams in blocks:
one line for each record in the order of the records, and a last line that says so, by which a stream that was cut is known.
"""

from __future__ import annotations

import logging
import time
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from io import BytesIO
from itertools import islice
from typing import Any

from flask import Blueprint, Response, current_app, request
from marshmallow import ValidationError

from service.http.access import most_records
from service.http.body import BYTE_ORDER_MARK, NOT_QUICKLY, checked, quickly, read_ndjson_body, strict, unpacked
from service.http.calculation import Calculation, never
from service.http.fields import wanted_in_bulk
from service.http.heavy import Client, Host, Places, host_of, refuse_the_absent, within_limits
from service.http.metrics import Metrics
from service.http.negotiation import require_accepted
from service.http.problems import ProblemError, failure_document, nearest_of, violation_document, with_faults
from service.http.provider import append_line
from service.planning.faults import Fault, RuleViolation
from service.schemas.bulk import RecordSchema
from service.schemas.parts import Parts
from service.schemas.problems import faults_of
from service.schemas.quick import quick_reader
from service.schemas.rules import Versions

MEDIA_TYPE = "application/x-ndjson"
BLOCK_BYTES = 65_536
# How long an answer may hold back lines that are ready, and how often it says that the worker still works.
BLOCK_SECONDS = 1.0
TOGETHER = 32
"""Records that take each step together where a calculation has small ones: the code and the data of one step then stay in the
processor's caches. A few times as many no longer fit."""
LINES_FOR_A_RECORD = 2
_BLANKS = b" \t\r\n"
_FASTEST = 1
_GZIP = 31  # zlib's way of asking for gzip with the largest window

_A_LIST = "The line holds a list, and must hold one record. Send each record on a line of its own, without [ and ] around them."

_SCHEMA = RecordSchema()
RECORD_READER = quick_reader(_SCHEMA)


@dataclass(frozen=True, slots=True)
class Bounds:
    """``body_bytes`` as sent and as unpacked."""

    line_bytes: int
    body_bytes: int
    records: int


def blueprint(
    calculations: Mapping[str, Calculation[Any]],
    versions: Versions,
    bounds: Bounds,
    places: Places,
    metrics: Metrics | None = None,
) -> Blueprint:
    """The resource, for a table of calculations by name; each request needs one of the places."""
    routes = Blueprint("bulk", __name__)

    @routes.post("/v1/bulk/<operation>")
    def bulk(operation: str) -> Response:
        if operation not in calculations:
            raise ProblemError(
                "not-found",
                f"There is no such operation. Known: {', '.join(calculations)}.{nearest_of(operation, calculations)}",
            )
        calculation = calculations[operation]
        require_accepted(MEDIA_TYPE)
        wanted = wanted_in_bulk(operation, calculation.offered)
        sent = read_ndjson_body(bounds.body_bytes)
        with ExitStack() as held:
            host = host_of(current_app)
            held.enter_context(places.bulk(host))
            client = Client(request.environ)
            refuse_the_absent(client)
            body = unpacked(sent, bounds.body_bytes)
            most = most_records(bounds.records)
            _refuse_too_many(body, most, "this key may send" if most < bounds.records else "this service accepts")
            log = current_app.logger
            lines = Lines(calculation, versions, wanted, request.path, bounds.line_bytes, log, host, metrics)
            held_all = held.pop_all()
            # Given back with the last record, not with the last byte: who has read the answer may send the next request.
            answers = _and_then(lines.answers(body, client.has_left), held_all.close)
            blocks = in_blocks(answers, host.still_working if host else _nothing)
            headers = {"Cache-Control": "no-store", "Rules-Version": versions.rules, "Vary": "Accept-Encoding"}
            if request.accept_encodings["gzip"]:
                blocks = packed(blocks)
                headers["Content-Encoding"] = "gzip"
            response = Response(blocks, 200, headers, content_type=MEDIA_TYPE)
            response.call_on_close(held_all.close)  # where the answer was cut
        return response

    return routes


class Lines:
    """The answer to one bulk request, document by document. Where there is a host, heavy records keep to its limits."""

    def __init__(
        self,
        calculation: Calculation[Any],
        versions: Versions,
        wanted: Parts,
        path: str,
        longest: int,
        log: logging.Logger,
        host: Host | None = None,
        metrics: Metrics | None = None,
    ) -> None:
        self._calculation, self._versions, self._wanted, self._path = calculation, versions, wanted, path
        self._longest, self._log, self._host, self._metrics = longest, log, host, metrics
        self._steps = calculation.steps or (calculation.answer,)
        self._together = TOGETHER if calculation.steps else 1

    def answers(self, body: bytes, has_left: Callable[[], bool] = never) -> Iterator[dict[str, Any]]:
        """One document for each record of the body, then the one that ends the answer; each is to be a line. Once whoever asked
        has left, no more records are answered, and the last document is missing as in any answer that was cut."""
        records = failed = 0
        lines = records_of(body)
        steps: list[Callable[[_Record], None]] = [self._read, *(partial(self._take, step) for step in self._steps)]
        while some := [_Record(number, line) for number, line in islice(lines, self._together)]:
            if has_left():
                return
            for step in steps:
                for record in some:
                    if record.problem is None:
                        self._try(step, record)
            for record in some:
                records += 1
                failed += record.problem is not None
                if self._metrics is not None and record.problem is None:
                    self._metrics.answer(record.made)
                yield record.answer(self._wanted)
        if self._metrics is not None:
            self._metrics.records(self._calculation.name, records - failed, failed)
        yield {
            "end": True,
            "records": records,
            "succeeded": records - failed,
            "failed": failed,
            "rules_version": self._versions.rules,
            "software_version": self._versions.software,
        }

    def _try(self, step: Callable[[_Record], None], record: _Record) -> None:
        """One step for one record. Whatever goes wrong is told there and touches no other record."""
        try:
            step(record)
        except RuleViolation as violation:
            record.problem = violation_document(violation, self._calculation.path)
        except RecordError as error:
            record.name, record.problem = error.name or record.name, error.problem.document(self._path)
        except ProblemError as error:
            record.problem = error.document(self._calculation.path)
        except Exception:
            self._log.exception("A record of %s could not be answered", self._path)
            record.problem = failure_document(self._calculation.path)

    def _read(self, record: _Record) -> None:
        """The first step: the question."""
        if len(record.line) > self._longest:
            raise RecordError(_too_long(self._longest))
        try:
            read = RECORD_READER(quickly(record.line))
            record.name = {"id": read["id"]}
            record.made = self._calculation.build(self._calculation.quick(read["request"]))
        except NOT_QUICKLY:
            read = self._record(record.line)
            record.name = {"id": read["id"]}
            record.made = checked(read["request"], self._calculation.schema, self._calculation.build)
        record.heavy = self._calculation.is_heavy(record.made)

    def _take(self, step: Callable[[Any, Parts], Any], record: _Record) -> None:
        """One of the steps of the answer."""
        if record.heavy:
            record.made = within_limits(self._host, partial(step, record.made, self._wanted))
        else:
            record.made = step(record.made, self._wanted)

    def _record(self, line: bytes) -> dict[str, Any]:
        """A line's record by the strict reader and marshmallow. RecordError saying why it is none."""
        try:
            document = strict(line, "line")
            if isinstance(document, list):
                raise with_faults("invalid-record", (Fault((), "not-an-object", _A_LIST),))
            record: dict[str, Any] = _SCHEMA.load(document)
        except ProblemError as error:
            raise RecordError(error) from None
        except ValidationError as error:
            known = error.valid_data if isinstance(error.valid_data, dict) else {}
            raise RecordError(
                with_faults("invalid-record", faults_of(error, _SCHEMA)),
                {"id": known["id"]} if "id" in known else None,
            ) from None
        return record


class _Record:
    """A record on its way to its answer. ``made`` is what the last step made of it: in the end the result; ``name`` is the
    number of its line, from 1, until its own name has been read. ``heavy``: its answer takes long. ``problem`` is what went
    wrong."""

    __slots__ = ("heavy", "line", "made", "name", "problem")

    def __init__(self, number: int, line: bytes) -> None:
        self.line = line
        self.name: dict[str, Any] = {"line": number}
        self.made: Any = None
        self.heavy = False
        self.problem: dict[str, Any] | None = None

    def answer(self, wanted: Parts) -> dict[str, Any]:
        """The document of its line, with the parts wanted of a result."""
        if self.problem is None:
            return {**self.name, "status": 200, "result": wanted.chosen(self.made)}
        return {**self.name, "status": self.problem["status"], "problem": self.problem}


class RecordError(Exception):
    """A line that is no record, with the record's name where that much could be read."""

    def __init__(self, problem: ProblemError, name: dict[str, Any] | None = None) -> None:
        super().__init__(problem.code)
        self.problem, self.name = problem, name


def records_of(body: bytes) -> Iterator[tuple[int, bytes]]:
    """The lines of a body that are not blank, with their numbers from 1. A byte order mark before the first is no part
    of it (RFC 8259 section 8.1)."""
    lines = BytesIO(body)
    if body.startswith(BYTE_ORDER_MARK):
        lines.seek(len(BYTE_ORDER_MARK))
    for number, line in enumerate(lines, 1):
        record = line.strip(_BLANKS)
        if record:
            yield number, record


def _and_then(answers: Iterable[dict[str, Any]], last: Callable[[], None]) -> Iterator[dict[str, Any]]:
    yield from answers
    last()


def in_blocks(answers: Iterable[dict[str, Any]], still_working: Callable[[], None]) -> Iterator[bytes]:
    """Documents as lines, in blocks none of which is held back for long."""
    block = bytearray()
    since = time.monotonic()
    for answer in answers:
        append_line(block, answer)
        if len(block) >= BLOCK_BYTES or time.monotonic() - since >= BLOCK_SECONDS:
            still_working()
            yield bytes(block)
            block.clear()
            since = time.monotonic()
    yield bytes(block)


def packed(blocks: Iterable[bytes]) -> Iterator[bytes]:
    """Blocks as one gzip stream (RFC 1952)."""
    packer = zlib.compressobj(_FASTEST, wbits=_GZIP)
    for block in blocks:
        some = packer.compress(block)
        if some:
            yield some
    yield packer.flush()


def _refuse_too_many(body: bytes, most: int, who_says_so: str) -> None:
    """ProblemError 400 for a body without records, 413 for one with more than ``most``, or with so many lines, blank ones
    among them, that only counting them would be work."""
    lines = body.count(b"\n")
    if lines > LINES_FOR_A_RECORD * most:
        raise ProblemError(
            "body-too-large",
            f"The body holds more than {LINES_FOR_A_RECORD * most:,} lines, twice as many as the {most:,} records "
            f"{who_says_so}. Leave blank lines out, or send the records in several requests.",
        )
    if next(records_of(body), None) is None:
        raise ProblemError("unreadable-json", "The body holds no record; one JSON object on each line is expected.")
    # Where there are no more lines than that, none needs to be looked at.
    if lines >= most and sum(1 for _ in islice(records_of(body), most + 1)) > most:
        raise ProblemError(
            "body-too-large",
            f"The body holds more than the {most:,} records {who_says_so}. Send them in several requests.",
        )


def _too_long(longest: int) -> ProblemError:
    return ProblemError("body-too-large", f"The line is longer than the {longest:,} bytes this service accepts.")


def _nothing() -> None:
    """No server waits to hear that the work goes on."""

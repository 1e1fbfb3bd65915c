"""What a bulk request costs beside JSON itself, and what it does to memory and to single quotes."""

from __future__ import annotations

import gc
import http.client
import json
import logging
import os
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import msgspec

from service import is_compiled
from service.http.body import quickly
from service.http.bulk import RECORD_READER, Lines, in_blocks
from service.http.fields import ANSWER_FIELDS, included
from service.http.provider import encode
from service.planning.quote.asked import question_of
from service.planning.quote.quote import quote
from service.schemas.parts import parts_of
from tests.benchmarks import books
from tests.benchmarks.load import HOST
from tests.benchmarks.processes import EXAMPLES, MeasurementError, Server, ask, post, put_load, service
from tests.benchmarks.questions import BOOK, CALCULATIONS, VERSIONS
from tests.benchmarks.report import Goal, Part, progress, table
from tests.benchmarks.sizes import Sizes

LEAST_SHARES = {"interpreted": 0.15, "compiled": 0.27}
AIM_SHARE = 0.5
MOST_TIMES_SLOWER_WHEN_BAD = 25
MOST_TIMES_FOR_TWO = 1.2
MOST_GROWTH_MB = 100
MOST_TIMES_P99 = 10
PATH = "/v1/bulk/withdrawal-tax"
SIX_FIELDS = (
    "withdrawal.gross",
    "withdrawal.tax_free",
    "withdrawal.taxable",
    "income_tax.on_withdrawal",
    "net_after_tax",
    "pension_after",
)
_FEW = 2
_PATIENCE_SECONDS = 30
_PAUSE_SECONDS = 0.01
_BYTES_IN_MB = 1_000_000


def measure(sizes: Sizes) -> Part:
    """In this process, without HTTP, and then over HTTP."""
    parts = [_beside_json(sizes.rounds, sizes.timed_records), _over_http(sizes)]
    return Part("\n\n".join(part.text for part in parts), tuple(goal for part in parts for goal in part.goals))


def _beside_json(rounds: int, timed: int) -> Part:
    """Microseconds of processor time for each record; the limit and the service take turns."""
    calculation = CALCULATIONS["withdrawal-tax"]
    wanted = included(calculation.offered)
    lines = Lines(calculation, VERSIONS, wanted, PATH, 65_536, logging.getLogger())
    body, bad = books.lines(timed), books.bad_lines(timed)

    def blocks(text: bytes) -> Iterator[bytes]:
        return in_blocks(lines.answers(text), lambda: None)

    answer = b"".join(blocks(body))
    if b'"succeeded":%d,"failed":0,' % timed not in answer[-200:]:
        raise MeasurementError("a record of the invented book was not answered")
    decode, dump = msgspec.json.Decoder().decode, msgspec.json.Encoder().encode
    sent, received = body.splitlines(), answer.splitlines()
    documents = [decode(line) for line in received]
    taken = [RECORD_READER(quickly(line)) for line in sent]
    values = [calculation.quick(record["request"]) for record in taken]
    questions = [calculation.build(each) for each in values]
    of_one_year = [question_of(each, BOOK) for each in questions]
    answers = [calculation.answer(each, wanted) for each in questions]

    def of_each(function: Callable[[Any], object], values: Iterable[Any]) -> Callable[[], None]:
        def run() -> None:
            for value in values:
                function(value)

        return run

    def fewer(fields: Iterable[str]) -> Callable[[], object]:
        parts = parts_of(fields, ANSWER_FIELDS["withdrawal-tax"])
        narrow = Lines(calculation, VERSIONS, parts, PATH, 65_536, logging.getLogger())
        return lambda: deque(in_blocks(narrow.answers(body), lambda: None), maxlen=0)

    steps: dict[str, Callable[[], object]] = {
        "limit, read narrowly: parse each line in": of_each(decode, sent),
        "limit, read narrowly: dump each line out": of_each(dump, documents),
        "limit, read widely: parse and dump each line, in and out": of_each(
            lambda line: dump(decode(line)), (*sent, *received)
        ),
        "bulk, all good": lambda: deque(blocks(body), maxlen=0),
        "bulk, all bad": lambda: deque(blocks(bad), maxlen=0),
        "bulk, six fields": fewer(SIX_FIELDS),
        "bulk, six fields with payroll": fewer((*SIX_FIELDS[:-2], "payroll.tax_deducted", "payroll.paid_out")),
        "bulk, six fields and the codes of warnings": fewer((*SIX_FIELDS, "warnings.code")),
        "of which: JSON in": of_each(lambda line: RECORD_READER(quickly(line)), sent),
        "of which: validation": of_each(lambda record: calculation.build(calculation.quick(record["request"])), taken),
        "of which: rules": of_each(lambda each: quote(each, BOOK), of_one_year),
        "of which: rules, warnings and answer": of_each(lambda each: calculation.answer(each, wanted), questions),
        "of which: JSON out": of_each(encode, answers),
    }
    # A worker holds no such lists of documents, so the collector of garbage shall not go through them.
    gc.collect()
    gc.freeze()
    found: dict[str, list[float]] = {name: [] for name in steps}
    for number in range(rounds):
        progress(f"bulk: round {number + 1}")
        for name, step in steps.items():
            begun = time.process_time()
            step()
            found[name].append((time.process_time() - begun) * 1_000_000 / timed)
    # What else the machine does can only add to a time, so the least of the rounds is the nearest to the truth.
    least = {name: min(values) for name, values in found.items()}
    both_ways, good, all_bad = list(least.values())[2:5]
    wide_share, slower = both_ways / good, all_bad / good
    how = "compiled" if is_compiled() else "interpreted"
    text = (
        f"Bulk: microseconds of processor time for each of {timed:,} records, the least of {rounds} rounds in turns; law "
        f"and planning run {how}; "
        f"{len(body) / timed:.0f} bytes in and {len(answer) / timed:.0f} out for each record. The goal is of the "
        "limit read widely.\n\n"
    )
    goals = (
        Goal("bulk, share of the limit read widely", wide_share, LEAST_SHARES[how], at_least=True, aim=AIM_SHARE),
        Goal("bulk, all bad to all good", slower, MOST_TIMES_SLOWER_WHEN_BAD),
    )
    rows = [(name, f"{value:,.1f}") for name, value in least.items()]
    return Part(text + table(("what", "us a record"), rows), goals)


@dataclass(frozen=True, slots=True)
class Sent:
    """What came of sending a book in chunks: seconds, processor seconds of the workers, records, and the largest private
    memory of a worker meanwhile."""

    seconds: float
    cpu_seconds: float
    records: int
    peak_bytes: int


@dataclass(frozen=True, slots=True)
class Chunk:
    """The body of a bulk request, and how many records it has."""

    body: bytes
    records: int


def _over_http(sizes: Sizes) -> Part:
    workers = (os.cpu_count() or 1) + 1
    chunk, seconds = Chunk(books.lines(sizes.chunk), sizes.chunk), sizes.seconds
    request = post(EXAMPLES[0].read_bytes())
    with service(workers) as server:
        server.await_workers()
        reply = ask(server.port, request)
        for _ in range(workers):
            _send(server.port, chunk, 1)
        before = max(server.private_bytes())
        progress("bulk: one client, then two")
        alone = _clients(server, chunk, chunks=sizes.records // sizes.chunk, clients=1)
        both = _clients(server, chunk, chunks=sizes.records // sizes.chunk, clients=2)
        progress("bulk: single quotes beside it")
        quiet = put_load(server.port, request, reply, seconds=seconds, connections=_FEW)
        stop = threading.Event()
        busy = threading.Thread(target=_until, args=(stop, server.port, chunk))
        busy.start()
        try:
            beside = put_load(server.port, request, reply, seconds=3 * seconds, connections=_FEW)
        finally:
            stop.set()
            busy.join()
    growth = (max(alone.peak_bytes, both.peak_bytes) - before) / _BYTES_IN_MB
    rows = [
        (
            name,
            f"{sent.records:,}",
            f"{sent.records / sent.seconds:,.0f}",
            f"{sent.seconds:.1f}",
            f"{sent.cpu_seconds * 1_000_000 / sent.records:.0f}",
        )
        for name, sent in (("one client", alone), ("two clients", both))
    ]
    text = (
        f"Bulk over HTTP: {workers} workers, chunks of {sizes.chunk:,} records, as many from each client. A worker's private "
        f"memory grew by at most {growth:.1f} MB, from {before / _BYTES_IN_MB:.1f} MB after one chunk each.\n\n"
        + table(("who sends", "records", "records/s", "seconds", "server us a record"), rows)
        + f"\n\nSingle quotes, {_FEW} at a time: p50 {quiet.p50 * 1_000:.1f} ms and p99 {quiet.p99 * 1_000:.1f} ms when quiet, "
        f"p50 {beside.p50 * 1_000:.1f} ms and p99 {beside.p99 * 1_000:.1f} ms while a bulk is under way."
    )
    goals = (
        Goal("bulk, two at once to one", both.seconds / alone.seconds, MOST_TIMES_FOR_TWO),
        Goal("bulk, growth of a worker's memory", growth, MOST_GROWTH_MB, " MB"),
        Goal("single quotes beside a bulk, p99 to quiet p99", beside.p99 / quiet.p99, MOST_TIMES_P99),
    )
    return Part(text, goals)


def _clients(server: Server, chunk: Chunk, *, chunks: int, clients: int) -> Sent:
    """Have each client send as many chunks, one after the other, while the workers' memory is watched."""
    failures: list[BaseException] = []

    def send() -> None:
        try:
            _send(server.port, chunk, chunks)
        except (OSError, MeasurementError) as error:
            failures.append(error)

    threads = [threading.Thread(target=send) for _ in range(clients)]
    begun, cpu_before, peak = time.perf_counter(), server.cpu_seconds(), 0
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        peak = max(peak, *server.private_bytes())
        threads[0].join(0.2)
    seconds = time.perf_counter() - begun
    if failures:
        raise MeasurementError(f"a bulk failed: {failures[0]}")
    return Sent(seconds, server.cpu_seconds() - cpu_before, clients * chunks * chunk.records, peak)


def _send(port: int, chunk: Chunk, times: int) -> None:
    """Send a chunk so many times, again where the service is busy: it may not have noticed yet that the answer before was
    taken. MeasurementError unless each answer accounts for every record."""
    for _ in range(times):
        until = time.perf_counter() + _PATIENCE_SECONDS
        while (status := _sent(port, chunk)) == http.client.SERVICE_UNAVAILABLE and time.perf_counter() < until:
            time.sleep(_PAUSE_SECONDS)
        if status != http.client.OK:
            raise MeasurementError(f"a bulk was answered with {status}")


def _sent(port: int, chunk: Chunk) -> int:
    """The status of one answer. MeasurementError where a 200 does not account for every record."""
    connection = http.client.HTTPConnection(HOST, port, timeout=600)
    try:
        connection.request("POST", PATH, chunk.body, {"Content-Type": "application/x-ndjson"})
        response = connection.getresponse()
        tail = b""
        while some := response.read(1_048_576):
            tail = (tail + some)[-200:]
    finally:
        connection.close()
    last = tail.splitlines()[-1]
    if response.status == http.client.OK and json.loads(last)["succeeded"] != chunk.records:
        raise MeasurementError(f"a bulk ended with {last[:100]!r}")
    return response.status


def _until(stop: threading.Event, port: int, chunk: Chunk) -> None:
    while not stop.is_set():
        _send(port, chunk, 1)

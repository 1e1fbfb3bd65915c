"""Records to the service and their answers back: nothing is believed before all of it has been checked."""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import Any, NamedTuple

import msgspec
import requests

CONNECT_SECONDS = 10
ANSWER_SECONDS = 300
"""How long to wait for the next bytes of an answer."""
BLOCK_BYTES = 65_536
MOST_BYTES = 8_000_000
"""In one request. A service that is sent far too much may hang up before it can say so."""
BUSY = frozenset({429, 503})
TRY_AGAIN_AFTER = BUSY | {500, 502, 504}
FIRST_PAUSE_SECONDS = 0.5
LONGEST_PAUSE_SECONDS = 30.0
PATIENCE_SECONDS = 300.0
QUIET_SECONDS = 60.0
"""A busy service is nothing to tell of until no answer has come for so long."""
MOST_CUTS = 2
"""How often an answer may fail to come whole, from a service that is well, before the same lines are sent in halves."""
MOST_UNANSWERED = 5
"""So many records in a row that the service does not answer even alone, and it is the service that is to blame."""
ONE_MORE_AFTER = 20
"""Once the service has said that it is busy: so many answers in a row, and one more request at once is tried."""


class Line(NamedTuple):
    """One record as it is sent; the id is None where the service may not be able to read it."""

    id: str | int | None
    bytes: bytes


class Answer(NamedTuple):
    """One record's answer: ``content`` is the result where the status is 200, else the problem, as JSON."""

    status: int
    content: msgspec.Raw
    line: bytes


class _Reply(msgspec.Struct):
    """A line of an answer. What is in its result or problem is read by those who need it."""

    status: int
    id: str | int | None = None
    line: int | None = None
    result: msgspec.Raw = msgspec.Raw()
    problem: msgspec.Raw = msgspec.Raw()


_REPLY = msgspec.json.Decoder(_Reply)


class Answers(NamedTuple):
    """The answers to some lines, in their order, and the version of the rules that gave them."""

    answers: list[Answer]
    rules_version: str | None


class StopError(Exception):
    """The run cannot go on; the message is for the person who runs the script."""


class StoppedError(Exception):
    """Somebody asked the run to stop while a request waited to be tried again."""


class CutShortError(Exception):
    """An answer is not whole, or does not belong to what was asked."""


class _TryAgainError(Exception):
    """This try failed; the next may not. ``pause`` is what the service asked for, in seconds."""

    def __init__(self, reason: str, pause: float | None = None) -> None:
        super().__init__(reason)
        self.pause = pause


class _BusyError(_TryAgainError):
    """The service has as much to do as it takes at once."""


class _TooLargeError(Exception):
    """The service takes fewer records or bytes at once; holds its problem."""

    def __init__(self, problem: dict[str, Any]) -> None:
        super().__init__()
        self.problem = problem


class Gate:
    """Lets requests through, as many at once as the service takes: it begins with one, opens with each answer until the
    service first says that it is busy, and from then on opens seldom and closes a little whenever it hears so again."""

    def __init__(self, most: int) -> None:
        self._most, self.open = most, 1
        self._inside = self._in_a_row = 0
        self._answers_to_open = 1
        self._changed = threading.Condition()

    @contextmanager
    def passed(self) -> Iterator[None]:
        """Waits for a place and holds it."""
        with self._changed:
            self._changed.wait_for(lambda: self._inside < self.open)
            self._inside += 1
        try:
            yield
        finally:
            with self._changed:
                self._inside -= 1
                self._changed.notify_all()

    def narrow(self) -> None:
        """One fewer from now on, though always one."""
        with self._changed:
            self.open, self._in_a_row = max(1, self.open - 1), 0
            self._answers_to_open = ONE_MORE_AFTER

    def answered(self) -> None:
        """An answer came; after many in a row the gate opens a little."""
        with self._changed:
            self._in_a_row += 1
            if self._in_a_row >= self._answers_to_open and self.open < self._most:
                self.open, self._in_a_row = self.open + 1, 0
                self._changed.notify_all()


class Sender:
    """Sends lines to one operation of a service; may be used by several threads at once.

    Of the results it asks for ``fields`` alone, or for all of them where none is named. At most ``at_once`` requests are under
    way. ``note`` is told, in a sentence, why something is tried again; that the service is busy only once no answer has come for
    QUIET_SECONDS, or with ``verbose``. Setting ``stop`` ends every wait with StoppedError. A run is given up when no part of an
    answer has come for ``patience`` seconds, and no good health either.
    """

    def __init__(
        self,
        service: str,
        operation: str,
        fields: Sequence[str] = (),
        *,
        at_once: int,
        stop: threading.Event,
        note: Callable[[str], None],
        patience: float = PATIENCE_SECONDS,
        verbose: bool = False,
        key: str | None = None,
    ) -> None:
        self._key = key
        self._url = f"{service.rstrip('/')}/v1/bulk/{operation}"
        self._query = f"fields={','.join(fields)}" if fields else None
        self._health = f"{service.rstrip('/')}/health/ready"
        self._stop, self._note, self._patience, self._verbose = stop, note, patience, verbose
        self._gate = Gate(at_once)
        self._last_heard = time.monotonic()
        self._unanswered_in_a_row = 0
        self._of_thread = threading.local()

    def send(self, lines: Sequence[Line]) -> Answers:
        """The answers to the lines. StopError where the service refuses the request, or patience ends.

        Lines that are too many at once are sent in halves; one that is too large alone is answered with the problem. So are
        lines whose answer is cut off again and again although the service is well: in the end the line that is to blame is alone,
        and has a problem that says so.
        """
        if not lines:
            return Answers([], None)
        if len(lines) > 1 and sum(len(line.bytes) for line in lines) > MOST_BYTES:
            return self._in_halves(lines)
        failed = cut = 0
        while not self._stop.is_set():
            try:
                with self._gate.passed():
                    if self._stop.is_set():
                        break
                    body, rules_version = self._asked(lines)
                answers = Answers(checked(body, lines), rules_version)
            except _TooLargeError as error:
                if len(lines) == 1:
                    return Answers([Answer(413, msgspec.Raw(msgspec.json.encode(error.problem)), b"")], None)
                return self._in_halves(lines)
            except (_TryAgainError, CutShortError) as error:
                failed += 1
                cut += not isinstance(error, _BusyError) and self._is_well()
                if cut < MOST_CUTS:
                    self._wait(error, failed)
                elif len(lines) == 1:
                    return Answers([self._blamed(error)], None)
                else:
                    self._note(f"{error}; sending {len(lines):,} records in halves")
                    return self._in_halves(lines)
            else:
                self._gate.answered()
                self._unanswered_in_a_row = 0
                return answers
        raise StoppedError

    def _wait(self, error: Exception, failed: int) -> None:
        """Wait before the next try. StopError where patience has ended."""
        silent = time.monotonic() - self._last_heard
        if silent > self._patience:
            raise StopError(f"{error}; no answer for {silent:.0f} s")
        pause = pause_before(failed, error.pause if isinstance(error, _TryAgainError) else None)
        if self._verbose or silent > QUIET_SECONDS or not isinstance(error, _BusyError):
            self._note(f"{error}; trying again in {pause:.1f} s")
        self._stop.wait(pause)

    def _blamed(self, error: Exception) -> Answer:
        """Our own answer for a line that the service does not answer even alone. StopError where it answers no line at all."""
        self._unanswered_in_a_row += 1
        if self._unanswered_in_a_row > MOST_UNANSWERED:
            raise StopError(f"{error}; {MOST_UNANSWERED} records in a row were not answered even alone")
        problem = {
            "title": "The service does not answer this record",
            "status": 500,
            "detail": f"Sent alone, it was not answered {MOST_CUTS} times, while the service was well. The last time: {error}.",
            "code": "no-answer",
            "errors": [],
        }
        return Answer(500, msgspec.Raw(msgspec.json.encode(problem)), b"")

    def _is_well(self) -> bool:
        """Whether the service answers at all, so that it is not to blame for what did not come back."""
        try:
            with self._session().get(self._health, timeout=CONNECT_SECONDS, headers={"Accept": "*/*"}) as response:
                if response.status_code != 200:
                    return False
        except requests.RequestException:
            return False
        # Heard of: it is the records that take so long, and they are to be found, however short the patience is.
        self._last_heard = time.monotonic()
        return True

    def _in_halves(self, lines: Sequence[Line]) -> Answers:
        middle = len(lines) // 2
        first, second = self.send(lines[:middle]), self.send(lines[middle:])
        if first.rules_version and second.rules_version and first.rules_version != second.rules_version:
            raise StopError(versions_differ(first.rules_version, second.rules_version))
        return Answers([*first.answers, *second.answers], first.rules_version or second.rules_version)

    def _asked(self, lines: Sequence[Line]) -> tuple[bytes, str | None]:
        """The whole body of the answer to one request, and the version of the rules behind it."""
        try:
            with self._session().post(
                self._url,
                params=self._query,
                data=b"".join(line.bytes + b"\n" for line in lines),
                headers={"Content-Type": "application/x-ndjson"},
                timeout=(CONNECT_SECONDS, ANSWER_SECONDS),
                allow_redirects=False,
                stream=True,
            ) as response:
                self._refuse(response)
                blocks = []
                for block in response.iter_content(BLOCK_BYTES):
                    self._last_heard = time.monotonic()
                    blocks.append(block)
                return b"".join(blocks), response.headers.get("Rules-Version")
        except (requests.ConnectionError, requests.Timeout, requests.exceptions.ChunkedEncodingError) as error:
            raise _TryAgainError(f"The connection to {self._url} failed ({type(error).__name__})") from None
        except requests.RequestException as error:
            raise StopError(f"{self._url} cannot be called: {error}") from None

    def _refuse(self, response: requests.Response) -> None:
        """Raise for every status but 200: what can be tried again, what is too large, and what stops the run."""
        if response.status_code in TRY_AGAIN_AFTER:
            asked = retry_after(response.headers.get("Retry-After"), datetime.now(UTC))
            reason = f"The service answered {response.status_code}"
            if response.status_code in BUSY:
                self._gate.narrow()
                raise _BusyError(reason, asked)
            raise _TryAgainError(reason, asked)
        if response.status_code == 413:
            raise _TooLargeError(problem_of(response))
        if response.status_code != 200:
            problem = problem_of(response)
            raise StopError(f"the service answered {response.status_code}: {problem['title']}. {_details(problem)}")

    def _session(self) -> requests.Session:
        if not hasattr(self._of_thread, "session"):
            session = requests.Session()
            session.headers["Accept"] = "application/x-ndjson"
            # Between neighbouring machines, packing an answer costs more than sending it as it is.
            session.headers["Accept-Encoding"] = "identity"
            if self._key is not None:
                session.headers["Authorization"] = f"Bearer {self._key}"
            self._of_thread.session = session
        found: requests.Session = self._of_thread.session
        return found


def checked(body: bytes, lines: Sequence[Line]) -> list[Answer]:
    """The answers in a body. CutShortError unless there is one for each line, in order, and a right last line."""
    answers, right = list[Answer](), False
    try:
        *received, last = body.splitlines()
        for number, (asked, line) in enumerate(zip(lines, received, strict=True), 1):
            reply = _REPLY.decode(line)
            content = reply.result if reply.status == 200 else reply.problem
            answers.append(Answer(reply.status, content, line))
            if not bytes(content) or not _belongs(reply, number, asked):
                raise CutShortError("The answers are not those to the records, or not in their order")
        succeeded = sum(answer.status == 200 for answer in answers)
        end = {"end": True, "records": len(lines), "succeeded": succeeded, "failed": len(lines) - succeeded}
        told = msgspec.json.decode(last)
        right = body.endswith(b"\n") and isinstance(told, dict) and end.items() <= told.items()
    except (msgspec.DecodeError, ValueError):
        right = False
    if not right:
        raise CutShortError("The answer was cut short or does not add up")
    return answers


def _belongs(reply: _Reply, number: int, asked: Line) -> bool:
    """Whether an answer is that of a line. One to a line that could not be read has its number in place of an id."""
    if reply.id is None:
        return reply.line == number
    return asked.id is None or reply.id == asked.id


def retry_after(header: str | None, now: datetime) -> float | None:
    """The pause that a Retry-After header asks for: seconds, or until a date (RFC 9110 section 10.2.3)."""
    if header is None:
        return None
    text = header.strip()
    if text.isascii() and text.isdigit():
        return float(text)
    try:
        until = parsedate_to_datetime(text)
    except ValueError:
        return None
    return max(0.0, ((until if until.tzinfo else until.replace(tzinfo=UTC)) - now).total_seconds())


def pause_before(failed: int, asked: float | None) -> float:
    """Seconds to wait after so many failed tries: what was asked for and a little, else twice as long each time.

    Both are scattered, so that many requests that wait do not come back at the same moment.
    """
    if asked is not None:
        return asked + random.uniform(0.0, FIRST_PAUSE_SECONDS)
    return min(LONGEST_PAUSE_SECONDS, FIRST_PAUSE_SECONDS * 2.0 ** min(failed - 1, 10)) * random.uniform(0.5, 1.0)


def problem_of(response: requests.Response) -> dict[str, Any]:
    """The problem in an answer (RFC 9457); one with the status alone where something else answered."""
    try:
        problem = response.json()
    except ValueError:
        problem = None
    plain = {"title": response.reason or "No reason given", "detail": "", "status": response.status_code, "errors": []}
    return {**plain, **problem} if isinstance(problem, dict) else plain


def _details(problem: dict[str, Any]) -> str:
    """What a problem says, and each of its faults. Whoever stands between may have written it."""
    faults = problem["errors"] if isinstance(problem["errors"], list) else []
    told = [fault.get("detail") for fault in faults if isinstance(fault, dict)]
    return " ".join(map(str, filter(None, [problem["detail"], *told])))


def versions_differ(first: str, second: str) -> str:
    """What to say when two answers come from different rules."""
    return (
        f"the rules changed during the run, from version {first} to {second}, and results of two versions are not mixed; "
        "once every part of the service runs the same version, start again with --start-over"
    )

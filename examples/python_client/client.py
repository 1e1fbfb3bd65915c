"""A client for programs: every question typed, sent again where that can help, with one deadline, and problems as exceptions.

    client = Client("http://127.0.0.1:8000")
    answer = client.withdrawal_tax(request)

The types are those of agreement.py, which is made from the agreement. An answer is the JSON as it came, so a later version's new
keys are in it too. Sending again is always safe: the service stores nothing, and the same request has the same answer.
"""

from __future__ import annotations

import json
import random
import time
from collections.abc import Callable, Mapping
from typing import Any, cast

import requests

from agreement import (
    AllowanceScheduleAnswer,
    AllowanceScheduleRequest,
    Figure,
    LumpSumTimingAnswer,
    LumpSumTimingRequest,
    Problem,
    ProblemError,
    WarningsAnswer,
    WarningsRequest,
    WithdrawalTaxAnswer,
    WithdrawalTaxRequest,
)

CONNECT_SECONDS = 5.0
LEAST_SECONDS = 0.05
"""For a try: a pause may take longer than it should on a busy machine, and there is no timeout of nothing."""
LONGEST_PAUSE_SECONDS = 10.0
"""Between two tries, where the service names no time itself."""
SEND_AGAIN = frozenset({408, 429, 502, 503, 504})
"""The statuses after which the same request may be answered: too slow, too many, a proxy's, busy."""
SEND_ONCE_MORE = 500
"""The status of a fault of the service."""


class NoAnswerError(Exception):
    """No answer came by the deadline. The message says why the last try failed."""


class RefusedError(Exception):
    """The service says why there is no answer; ``problem`` is what it says (RFC 9457)."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(f"{problem['title']}: {problem['detail']}")
        self.problem = problem

    @property
    def faults(self) -> list[ProblemError]:
        """Every fault that was found, each with its place in the request."""
        return self.problem["errors"]


class InvalidRequestError(RefusedError):
    """The request itself is wrong. A programmer has to correct it."""


class RuleViolationError(RefusedError):
    """The law or the pension does not allow it. Tell the person who asked."""

    @property
    def permitted(self) -> float | None:
        """The pounds that would be allowed instead, where there is such an amount."""
        return self.problem.get("permitted")


_KINDS = {"invalid-request": InvalidRequestError, "rule-violation": RuleViolationError}


class Client:
    """Asks one service. ``deadline`` is the most seconds that a call may take, with all its tries and pauses; ``key`` is sent
    where the service asks for one. Each thread needs a client of its own.

    Each call raises RefusedError where the service refuses, and NoAnswerError where no answer comes in time."""

    def __init__(
        self, service: str = "http://127.0.0.1:8000", *, key: str | None = None, deadline: float = 60.0
    ) -> None:
        self._service, self._deadline, self._session = service.rstrip("/"), deadline, requests.Session()
        if key:
            self._session.headers["Authorization"] = f"Bearer {key}"

    def withdrawal_tax(self, request: WithdrawalTaxRequest, *include: str) -> WithdrawalTaxAnswer:
        """What one withdrawal costs in tax, and what arrives. ``include`` names parts to add, such as charts."""
        return cast(WithdrawalTaxAnswer, self._asked("withdrawal-tax", request, include))

    def allowance_schedule(self, request: AllowanceScheduleRequest, *include: str) -> AllowanceScheduleAnswer:
        """A plan over tax years."""
        return cast(AllowanceScheduleAnswer, self._asked("allowance-schedule", request, include))

    def lump_sum_timing(self, request: LumpSumTimingRequest, *include: str) -> LumpSumTimingAnswer:
        """Ways to time the tax-free lump sum, side by side."""
        return cast(LumpSumTimingAnswer, self._asked("lump-sum-timing", request, include))

    def warnings(self, request: WarningsRequest) -> WarningsAnswer:
        """What is not permitted, what has a cost, what to check."""
        return cast(WarningsAnswer, self._asked("warnings", request))

    def figures(self, tax_year: str) -> list[Figure]:
        """The figures of a tax year such as 2026-27, each with its source."""
        return cast("list[Figure]", self._answer("GET", f"/v1/tax-years/{tax_year}").json()["figures"])

    def in_bulk(
        self, operation: str, records: Mapping[str, Mapping[str, Any]], fields: str = ""
    ) -> dict[str, dict[str, Any] | RefusedError]:
        """The result of each record, or why it has none, by the names that you give the records. ``operation`` is such as
        withdrawal-tax, and ``fields`` names the parts of a result that are wanted, with commas between. Give some thousand at
        once; the script of examples/bulk sends a whole book."""
        answer = self._answer(
            "POST",
            f"/v1/bulk/{operation}",
            is_whole=_has_its_end,
            params={"fields": fields} if fields else None,
            data="\n".join(json.dumps({"id": name, "request": request}) for name, request in records.items()),
            headers={"Content-Type": "application/x-ndjson"},
        )
        lines = map(json.loads, answer.content.splitlines()[:-1])
        return {
            name: line["result"] if "result" in line else _refused(line["problem"])
            for name, line in zip(records, lines, strict=True)
        }

    def _asked(self, operation: str, request: Mapping[str, Any], include: tuple[str, ...] = ()) -> Any:
        params = {"include": ",".join(include)} if include else None
        return self._answer("POST", f"/v1/{operation}", params=params, json=request).json()

    def _answer(
        self, method: str, path: str, is_whole: Callable[[requests.Response], bool] = lambda _: True, **sent: Any
    ) -> requests.Response:
        """An answer with status 200, after as many tries as the deadline has room for."""
        end, tries, own_faults = time.monotonic() + self._deadline, 0, 0
        while True:
            tries, left, pause = tries + 1, max(LEAST_SECONDS, end - time.monotonic()), None
            try:
                answer = self._session.request(
                    method, self._service + path, timeout=(min(CONNECT_SECONDS, left), left), **sent
                )
                own_faults += answer.status_code == SEND_ONCE_MORE
                if answer.status_code == requests.codes.ok:
                    if is_whole(answer):
                        return answer
                    why = "the answer was cut short"
                elif answer.status_code in SEND_AGAIN or own_faults == 1:
                    why, pause = f"status {answer.status_code}", _named_pause(answer)
                else:
                    raise _refusal(answer)
            except (requests.ConnectionError, requests.Timeout, requests.exceptions.ChunkedEncodingError) as error:
                why = f"the connection failed ({type(error).__name__})"
            pause = _own_pause(tries) if pause is None else pause
            if time.monotonic() + pause >= end:
                raise NoAnswerError(f"No answer to {path} within {self._deadline:g} seconds: {why}.")
            time.sleep(pause)


def _named_pause(answer: requests.Response) -> float | None:
    """The seconds that the service asks to wait for, where it does."""
    named = answer.headers.get("Retry-After", "")
    return float(named) if named.isdecimal() else None


def _own_pause(tries: int) -> float:
    """Longer after each try, and never quite the same, so that many callers do not come back together."""
    return min(LONGEST_PAUSE_SECONDS, 0.25 * 2.0**tries) * random.uniform(0.5, 1)


def _has_its_end(answer: requests.Response) -> bool:
    """Whether an answer in bulk is whole: its last line says so."""
    *_, last = answer.content.splitlines() or [b""]
    return last.startswith(b'{"end":')


def _refusal(answer: requests.Response) -> RefusedError:
    if answer.headers.get("Content-Type", "").startswith("application/problem+json"):
        return _refused(answer.json())
    return RefusedError(
        {
            "type": "about:blank",
            "title": f"Status {answer.status_code}",
            "status": answer.status_code,
            "detail": "This is no answer of the service. Something in front of it refuses, or the address is not its own.",
            "code": "not-of-the-service",
            "errors": [],
        }
    )


def _refused(problem: Problem) -> RefusedError:
    return _KINDS.get(problem["code"], RefusedError)(problem)

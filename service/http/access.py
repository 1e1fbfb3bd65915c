"""Who may call: keys, what each may ask for, and how much of it at a time.

A key comes as ``Authorization: Bearer KEY``. Nothing is asked of health checks, the agreement, its page and the pages of
problems. Bounds hold over all workers: requests under way are slots (``slots.py``), which the system frees when a worker dies,
and rates are counted in memory that the workers share.
"""

from __future__ import annotations

import time
from collections.abc import Mapping
from typing import TYPE_CHECKING

from flask import Flask, Response, g, request

from service.http.heavy import is_begun_again
from service.http.keys import METRICS, Key, found
from service.http.problems import ProblemError
from service.http.slots import Slots

if TYPE_CHECKING:
    from limits import RateLimitItem
    from limits.strategies import FixedWindowRateLimiter

_OPEN = ("/health/", "/problems/", "/docs", "/openapi.yaml")
_BULK = "/v1/bulk/"
_SCHEME = "Bearer "
_SLOTS_OF_A_KEY = 64
KEY_NAME = "service.key_name"
"""The key of the environment under which the name of the caller's key stands."""
RETRY_AFTER_SECONDS = 1


class Access:
    """The keys of a service and their bounds, made before the workers part. ``paths``: the operation of each path."""

    def __init__(self, keys: tuple[Key, ...], paths: Mapping[str, str]) -> None:
        self._keys, self._paths = keys, paths
        self._numbers = {key.name: number for number, key in enumerate(keys)}
        self._under_way = Slots()
        self._limiter, self._rates = _rates(keys)

    def register(self, app: Flask) -> None:
        """Ask every request of the application for its key."""
        app.before_request(self._check)
        app.after_request(self._let_go)
        app.teardown_request(self._let_go_unanswered)

    def _check(self) -> None:
        """ProblemError 401, 403 or 429 for a request that may not be answered."""
        path = request.path
        if request.method == "OPTIONS" or path.startswith(_OPEN):
            return
        key = self._key_sent()
        g.key = key
        request.environ[KEY_NAME] = key.name
        self._refuse_what_is_not_offered(key, path)
        if not is_begun_again(request.environ):
            self._count(key)
        if key.at_once is not None:
            first = self._numbers[key.name] * _SLOTS_OF_A_KEY
            slot = self._under_way.take(range(first, first + key.at_once))
            if slot is None:
                raise _too_many(
                    f"This key may have {key.at_once} requests under way at a time, and has them.", RETRY_AFTER_SECONDS
                )
            g.slot = slot

    def _key_sent(self) -> Key:
        sent = request.headers.get("Authorization", "")
        key = found(self._keys, sent[len(_SCHEME) :]) if sent.startswith(_SCHEME) else None
        if key is None:
            raise ProblemError(
                "key-needed",
                "The key is not known." if sent else "Send your key in the header Authorization, as Bearer KEY.",
            )
        return key

    def _refuse_what_is_not_offered(self, key: Key, path: str) -> None:
        if path == "/metrics":
            operation: str | None = METRICS
        elif path.startswith(_BULK):
            operation = path.removeprefix(_BULK)
            if key.bulk_max_records == 0:
                raise ProblemError("not-allowed", "This key may not send bulk requests.")
            if operation not in self._paths.values():
                return  # there is no such operation, which is told as for everybody else
        else:
            operation = self._paths.get(path)
        if operation is not None and operation not in key.operations:
            raise ProblemError("not-allowed", f"This key may not ask for {operation}.")

    def _count(self, key: Key) -> None:
        item = self._rates.get(key.name)
        if item is None or self._limiter is None or self._limiter.hit(item, key.name):
            return
        reset = self._limiter.get_window_stats(item, key.name).reset_time
        wait = max(1, round(reset - time.time()))
        most, _, unit = str(key.rate).partition("/")
        raise _too_many(f"This key may send {most} requests a {unit}, and has sent them.", wait)

    def _let_go(self, response: Response) -> Response:
        """Free the slot of the request once its answer has been sent."""
        slot = g.pop("slot", None)
        if slot is not None:
            response.call_on_close(lambda: self._under_way.give_back(slot))
        return response

    def _let_go_unanswered(self, _: BaseException | None) -> None:
        """Free the slot of a request that ends without an answer, as one does that is put off."""
        slot = g.pop("slot", None)
        if slot is not None:
            self._under_way.give_back(slot)


def most_records(of_the_service: int) -> int:
    """The most records that the caller may send in one bulk request."""
    key: Key | None = g.get("key")
    if key is None or key.bulk_max_records is None:
        return of_the_service
    return min(of_the_service, key.bulk_max_records)


def _too_many(detail: str, retry_after: int) -> ProblemError:
    return ProblemError("too-many-requests", detail, retry_after=retry_after)


def _rates(keys: tuple[Key, ...]) -> tuple[FixedWindowRateLimiter | None, dict[str, RateLimitItem]]:
    """What counts the requests of the keys that have a rate, and their rates by name; nothing is loaded where none has."""
    limited = {key.name: key.rate for key in keys if key.rate is not None}
    if not limited:
        return None, {}
    from limits import parse
    from limits.strategies import FixedWindowRateLimiter

    from service.http.counters import SharedCounters

    items = {name: parse(rate) for name, rate in limited.items()}
    counters = SharedCounters([item.key_for(name) for name, item in items.items()])
    return FixedWindowRateLimiter(counters), items

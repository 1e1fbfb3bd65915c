"""The service as it is run, once for all tests of this folder, and its answers to the calls."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from .calls import CALLS
from .serving import Reply, later_version, service


@pytest.fixture(scope="package")
def url() -> Iterator[str]:
    """The URL of the service."""
    with service() as found:
        yield found


@pytest.fixture(scope="package")
def answers(url: str) -> list[Reply]:
    """The service's answers to the calls, in their order."""
    return [call.made(url) for call in CALLS]


@pytest.fixture(scope="package")
def later_url(answers: list[Reply]) -> Iterator[str]:
    """The URL of a later version of the service, which knows the answers to the calls."""

    def answer_of(path: str, body: Any) -> Reply:
        [found] = [
            reply
            for call, reply in zip(CALLS, answers, strict=True)
            if (call.path.format(**call.in_path), bool(call.query), call.body)
            == (path.partition("?")[0], "?" in path, body)
        ]
        return found

    with later_version(answer_of) as found:
        yield found

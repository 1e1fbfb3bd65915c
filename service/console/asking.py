"""The service asked inside this process: the same application that a server runs, with no server and no network."""

from __future__ import annotations

from typing import Any, NamedTuple

from werkzeug.test import Client

from service import create_app
from service.settings import Settings


class Answer(NamedTuple):
    """An answer: its status, its JSON as it was sent, and the same read."""

    status: int
    content: bytes
    document: dict[str, Any]

    @property
    def is_problem(self) -> bool:
        """Whether it says why there is no answer."""
        return self.status != 200


class Service:
    """The application, made once. Settings of the environment are for servers, and are not looked at."""

    def __init__(self) -> None:
        self._client = Client(create_app(Settings.from_environment({})))

    def post(self, path: str, request: bytes) -> Answer:
        """The answer to a request in JSON."""
        return self._answer("POST", path, data=request, content_type="application/json")

    def get(self, path: str) -> Answer:
        """What stands at a path."""
        return self._answer("GET", path)

    def _answer(self, method: str, path: str, **request: Any) -> Answer:
        response = self._client.open(path, method=method, **request)
        return Answer(response.status_code, response.data, response.get_json())

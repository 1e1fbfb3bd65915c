"""The service asked inside this process: the same application that a server runs, with no server and no network."""

from __future__ import annotations

import os
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


FIGURES = "SERVICE_FIGURES"
"""The one setting that changes answers: the folder of proposed law."""


class Service:
    """The application, made once. Of the settings in the environment only the folder of proposed law is looked at: the others are
    for servers. SettingsError and FiguresError where that folder cannot be used."""

    def __init__(self) -> None:
        settings = {name: value for name, value in os.environ.items() if name == FIGURES}
        self._client = Client(create_app(Settings.from_environment(settings)))

    def post(self, path: str, request: bytes) -> Answer:
        """The answer to a request in JSON."""
        return self._answer("POST", path, data=request, content_type="application/json")

    def get(self, path: str) -> Answer:
        """What stands at a path."""
        return self._answer("GET", path)

    def _answer(self, method: str, path: str, **request: Any) -> Answer:
        response = self._client.open(path, method=method, **request)
        return Answer(response.status_code, response.data, response.get_json())

"""The application under test, once for all tests: it keeps nothing between calls.

With ``--long-way`` no application made by a test has the short way of plain requests (``service/http/plain.py``), so that the
same tests ask the framework alone.
"""

from __future__ import annotations

from functools import partial

import pytest
from flask import Flask
from flask.testing import FlaskClient

import service
from service.settings import Settings


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long-way", action="store_true", help="ask the framework alone, also for plain single requests")


def pytest_configure(config: pytest.Config) -> None:
    if config.getoption("--long-way"):
        vars(service)["create_app"] = partial(service.create_app, plainly=False)  # before any test takes it from there


@pytest.fixture(scope="session")
def app() -> Flask:
    return service.create_app(Settings.for_tests())


@pytest.fixture(scope="session")
def client(app: Flask) -> FlaskClient:
    return app.test_client()

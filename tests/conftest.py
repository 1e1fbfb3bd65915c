"""The application under test, once for all tests: it keeps nothing between calls."""

from __future__ import annotations

import pytest
from flask import Flask
from flask.testing import FlaskClient

from service import create_app
from service.settings import Settings


@pytest.fixture(scope="session")
def app() -> Flask:
    return create_app(Settings.for_tests())


@pytest.fixture(scope="session")
def client(app: Flask) -> FlaskClient:
    return app.test_client()

"""What the published examples are put to."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from flask.testing import FlaskClient

from service import create_app
from service.figures.loader import TaxYear, load_tax_years
from service.settings import Settings


@pytest.fixture(scope="session")
def client() -> FlaskClient:
    """A client of the whole service, without a server."""
    return create_app(Settings.for_tests()).test_client()


@pytest.fixture(scope="session")
def years() -> Mapping[str, TaxYear]:
    """The figures of every tax year that the service holds."""
    return load_tax_years()

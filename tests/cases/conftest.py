"""What the published examples are put to."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from service.figures.loader import TaxYearFigures, load_tax_years


@pytest.fixture(scope="session")
def years() -> Mapping[str, TaxYearFigures]:
    """The figures of every tax year that the service holds."""
    return load_tax_years()

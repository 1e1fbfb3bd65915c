"""The cases of all topics."""

from __future__ import annotations

from tests.planning.warnings import (
    test_access,
    test_benefits,
    test_collection,
    test_death,
    test_income_tax,
    test_isas,
    test_lump_sums,
    test_not_yet_law,
    test_recycling,
    test_saving,
    test_scheme,
    test_spending,
)
from tests.planning.warnings.pairs import Pair

CASES: dict[str, list[Pair]] = {
    **test_access.CASES,
    **test_saving.CASES,
    **test_lump_sums.CASES,
    **test_recycling.CASES,
    **test_income_tax.CASES,
    **test_collection.CASES,
    **test_not_yet_law.CASES,
    **test_spending.CASES,
    **test_isas.CASES,
    **test_death.CASES,
    **test_benefits.CASES,
    **test_scheme.CASES,
}

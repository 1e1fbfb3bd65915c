"""Every fault at its smallest costs no more requests than it may."""

from __future__ import annotations

import pytest

from tests.faults.faults import FAULTS, SMALLEST, NotPossibleError


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault(name: str) -> None:
    try:
        outcome = FAULTS[name](SMALLEST)
    except NotPossibleError as reason:
        pytest.skip(str(reason))
    assert outcome.is_good, outcome

"""Where a region of income and savings is cut."""

from __future__ import annotations

import pytest

from service.planning.optimiser.partitioning import _spread


@pytest.mark.parametrize(("amounts", "apart"), [([], 0), ([7], 0), ([3, -2, 9], 11)])
def test_amounts_lie_so_far_apart(amounts: list[int], apart: int) -> None:
    assert _spread(amounts) == apart

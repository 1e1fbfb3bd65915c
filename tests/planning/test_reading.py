"""Reading an optimum: what the values of its columns say."""

from __future__ import annotations

import pytest

from service.planning.optimiser.reading import _by_claim
from service.planning.optimiser.tax_surface import TaxPoint


def test_a_small_cell_is_the_mean_of_its_points() -> None:
    """The solver keeps rows to 1e-7, which is a hundred thousandth of a cell of weight 0.01: divided by that, 49,000 pounds of
    savings would be 45 pence short, and the tax of such amounts is not that of the points."""
    points = [TaxPoint(679_545, 4_930_911, 8_169.52), TaxPoint(1_582_000, 4_930_911, 11_959.83)]
    made_of = [(points[0], 0.005), (points[1], 0.0049999)]
    ((_, part, own),) = _by_claim(made_of, 0.01)
    assert part == pytest.approx(0.0099999, abs=1e-12)
    assert sum(point.savings * weight for point, weight in own) / part == pytest.approx(4_930_911, abs=1e-3)


def test_what_has_no_end_goes_with_the_heaviest_claim() -> None:
    """And where there is nothing else, with the cell."""
    given, none = TaxPoint(1, 0, 0.0, claim="gives"), TaxPoint(2, 0, 0.0)
    endless = TaxPoint(0, 100, 0.45, endless=True)
    found = {claim: (part, own) for claim, part, own in _by_claim([(given, 0.25), (none, 0.75), (endless, 3.0)], 1.0)}
    assert found == {"gives": (0.25, [(given, 0.25)]), "none": (0.75, [(none, 0.75), (endless, 3.0)])}
    assert list(_by_claim([(endless, 3.0)], 1.0)) == [("none", 1.0, [(endless, 3.0)])]

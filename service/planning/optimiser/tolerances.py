"""The tolerances and limits that several modules of the search share, each with its unit in its name and its reason.

What a single place needs stands there, named in the same way.
"""

from __future__ import annotations

UNIT_POUNDS = 1_000.0
"""The unit of money inside the linear program: amounts of plans are then from a thousandth to some thousands. In pounds the
solver's tolerance of 1e-7 comes near to the precision of its sums, and it loses its way ten times as often."""

PENNY_POUNDS = 0.01
"""The smallest amount of the rules, in the model's pounds: a step of the tax begins this much beyond its corner."""

NIL_WEIGHT_SHARE = 1e-7
"""A weight or a cell's share this small is the solver's rounding (its own feasibility tolerance is 1e-7). Were it larger,
cells that are part of a mixture would be taken as absent; smaller, noise would be divided by."""

WHOLE_SHARE_SHORTFALL = 1e-5
"""A period whose largest cell has all but this share is not fractional: a hundred thousandth of a year's money is pence,
which the rounding to a plan settles. Were it larger, mixtures would be taken for plans."""

NEXT_TO_NOTHING_GAIN_POUNDS_PER_POUND = 1e-7
"""Holding cash pays if a pound held gains more than this at the plan's end: the solver's tolerance for reduced costs."""

LEFT_IN_PENSION_POUNDS_PER_POUND = 2e-7
"""What a pound left in a pension is worth more at the end than it is: of plans as good, the one that draws less. A million
pounds left are worth 20 pence more by it."""

SOONER_POUNDS_PER_POUND = 1e-5
"""What a pound of a small pot is worth more at most if it is taken sooner: of tax years that come to the same, the first one. A
pot of 10,000 pounds is worth ten pence more by it, which the bound counts as well."""

EXACT_TAX_POUNDS = 0.30
"""A hull this near below the tax is the tax: the taper's whole pounds explain as much. Were it smaller, cells would be
partitioned at stairs."""

ABOVE_TAX_POUNDS = 0.03
"""By how much a hull may be above the tax: its points are whole pence, where lines cross between them."""

TAX_STEP_POUNDS = 1.0
"""More tax than this on one penny, or on one stair of the taper beyond what its rate explains, is a step of the tax."""

CHECKED_SHARE = 0.001
"""A cell's weight, a part of 1, below which its tax is not compared with the surface: points have weights that are right to the
solver's tolerance of 0.0000001, which divided by a weight of that size makes incomes that nobody has."""

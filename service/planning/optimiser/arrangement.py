"""The lines on which one person's tax may bend or step, over income below savings and savings: known from the figures.

In a cell of this arrangement of lines the tax is the least of several linear functions, so it is concave there, and a
convex function that is nowhere above it at the cell's corners is nowhere above it in the cell. That is the proof that the
convex hull of the tax at all corners of the arrangement is nowhere above the tax.

Why the lines are complete. Taxable income is a stack (``service.law.set_off``): ``lower`` at the top of what is below the
savings, ``savings`` at the top of those, ``total`` at the top of the dividends. With ``A`` the allowances, ``X`` all
income below savings and ``S`` savings, ``total = X + S + dividends - A``. The taxpayer chooses how far the allowances
relieve each layer; the least tax is found where two of these meet (see that module):

    lower          at  0, X, X - A, a limit of its scale, or the starting rate's limit
    savings        at  a limit of a scale, the starting rate's limit and the savings allowance, or the total less what is
                       left of the dividends: all of them, what is above the dividend allowance, or none
    between them   S, S - A, a savings allowance, or nothing

Each such choice is a linear function of ``X`` and ``S`` and so is its tax, but where a third of these meets the two, where
two of a kind meet, or where the total comes to a limit: those are the lines. Which choice is best may change between them,
but the least of linear functions is concave. Where the allowances are tapered away ``A`` itself is linear in ``X + S``
(see ``tax_surface``), and lines have slopes of their own. From 2027-28 the allowances go to other income first: there is
no choice above them, and below them ``X`` is property alone and ``A`` what other income leaves of the allowances.

All amounts are pence.
"""

from __future__ import annotations

from typing import NamedTuple

from service.law.income_tax import IncomeTaxRules, Taxpayer, TaxpayerYear
from service.law.units import POUND

FAR_PENCE = 10**12
"""More than anybody has."""


class Line(NamedTuple):
    """Where ``of_income`` times the income below savings and ``of_savings`` times the savings come to an amount, as far as
    both together are from ``total_low`` to ``total_high`` and the income is no more than ``income_high``."""

    of_income: int
    of_savings: int
    amount: int
    total_low: int = -FAR_PENCE
    total_high: int = FAR_PENCE
    income_high: int = FAR_PENCE


class Taper(NamedTuple):
    """The totals of income below savings and savings between which the personal allowance is withdrawn, as a straight
    line through the feet of the stairs: it begins a stair later than the law's, and is nowhere below that."""

    first: int
    last: int
    full: int

    def allowance(self, total: int) -> int:
        """The personal allowance at a total; half a penny up."""
        return min(self.full, max(0, (2 * self.full - (total - self.first) + 1) // 2))


def taper_of(taxpayer: Taxpayer, rules: IncomeTaxRules) -> Taper:
    """The taper for a taxpayer with property, dividends and reliefs."""
    beside = taxpayer.property_income + taxpayer.dividends - taxpayer.relief_at_source - taxpayer.gift_aid
    # A stair of the law's is two pounds of income and a pound of allowance, and its foot is where it begins.
    first = rules.taper_threshold - beside + 2 * POUND
    return Taper(first, first + 2 * rules.personal_allowance, rules.personal_allowance)


class Arrangement:
    """All lines for one taxpayer, of whom neither other income nor savings count.

    ``allowances``: what they come to before the taper; with and without what is given to a partner.
    """

    def __init__(self, year: TaxpayerYear, taper: Taper) -> None:
        """No lines yet."""
        self.year, self.taper = year, taper
        self.lines: set[Line] = set()
        taxpayer, rules = year.taxpayer, year.rules
        most = rules.personal_allowance + (rules.blind_persons_allowance if taxpayer.blind else 0)
        given = min(rules.marriage_allowance, rules.personal_allowance)
        self.allowances = (most, most - given) if taxpayer.marriage_allowance == "gives" else (most,)

    def add(
        self,
        of_income: int,
        of_savings: int,
        of_allowance: int,
        amount: int,
        within: tuple[int, int] = (-FAR_PENCE, FAR_PENCE),
        income_high: int = FAR_PENCE,
    ) -> None:
        """The lines on which ``of_income`` times income, ``of_savings`` times savings and ``of_allowance`` times the
        allowances (0 or -1) come to an amount: one below the taper, one in it, one above."""
        low, high = within
        if of_allowance == 0:
            self._add(of_income, of_savings, amount, low, high, income_high)
            return
        first, last, full = self.taper
        for most in self.allowances:
            if low <= first:
                self._add(of_income, of_savings, amount + most, low, first if first < high else high, income_high)
            if low <= last and first <= high:
                # There A = most - (total - first) / 2; twice the equation has whole coefficients.
                twice = 2 * amount + 2 * most + first
                start, end = (first if first > low else low), (last if last < high else high)
                self._add(2 * of_income + 1, 2 * of_savings + 1, twice, start, end, income_high)
            if last <= high:
                self._add(of_income, of_savings, amount + most - full, last if last > low else low, high, income_high)

    def _add(self, of_income: int, of_savings: int, amount: int, low: int, high: int, income_high: int) -> None:
        if amount < 0 or low > high:
            return
        if of_income == of_savings:
            if not of_income:
                return  # the allowances stand still
            amount //= of_income
            if low <= amount <= high:
                self.lines.add(Line(1, 1, amount, -FAR_PENCE, FAR_PENCE, income_high))
            return
        self.lines.add(Line(of_income, of_savings, amount, low, high, income_high))

    def total_at(self, taxable: int) -> tuple[int, int]:
        """Between which totals of income below savings and savings the taxable total comes to an amount."""
        taxpayer = self.year.taxpayer
        beside = taxpayer.property_income + taxpayer.dividends
        found = []
        for most in self.allowances:
            below = taxable + most - beside
            if below > self.taper.first:
                below = max(self.taper.first, (2 * (taxable + most - beside) + self.taper.first) // 3)
                if below > self.taper.last:
                    below = taxable + most - self.taper.full - beside
            found.append(below)
        return min(found), max(found)


_ANY = (-FAR_PENCE, FAR_PENCE)


def open_to(year: TaxpayerYear, taper: Taper) -> int:
    """A total of income below savings and savings up to which whoever gives a marriage allowance may surely do so: all
    taxable income is below the rates that rule it out."""
    scales = year.scales
    limit = min(scales.savings.limits[0], scales.lower.limits[scales.last_basic_band])
    return Arrangement(year, taper).total_at(limit)[0]


def may_be_open_to(year: TaxpayerYear, taper: Taper) -> int:
    """A total of income below savings and savings above which nobody may give or receive a marriage allowance: above the rates
    that rule it out there is no more than savings and dividends in their nil rates."""
    scales = year.scales
    limit = max(scales.savings.limits[0], scales.lower.limits[scales.last_basic_band])
    nil = scales.savings_allowances[0] + scales.dividend_allowance
    return Arrangement(year, taper).total_at(limit + nil)[1]


def charge_bends(taxpayer: Taxpayer, rules: IncomeTaxRules) -> tuple[int, int]:
    """Where a line below the steps of the child benefit charge begins and ends: pence above the charge's threshold."""
    step, benefit = rules.child_benefit_step, taxpayer.child_benefit // POUND
    last = 100 * step - 1
    return min(last, step + 99 * step // benefit - 1) if benefit else last, last


class _Form(NamedTuple):
    """A height of the stack, or a difference of two: so many times the income below savings, the savings, and the
    allowances (0 or -1), and an amount. ``income_high``: up to which income it is there."""

    of_income: int
    of_savings: int
    of_allowance: int
    more: int
    income_high: int = FAR_PENCE

    def at(self, found: Arrangement, amount: int, within: tuple[int, int] = _ANY) -> None:
        """Add the lines on which it comes to an amount."""
        found.add(self.of_income, self.of_savings, self.of_allowance, amount - self.more, within, self.income_high)


class _Heights(NamedTuple):
    """The heights that move: what is below the savings with the allowances taken off and without, the savings with them
    taken off and without, and what ends at the top of the savings likewise."""

    lower_relieved: _Form
    lower_whole: _Form | None
    layer_whole: _Form
    layer_relieved: _Form
    total: _Form
    total_whole: _Form


def lines_of(year: TaxpayerYear, taper: Taper) -> tuple[Line, ...]:
    """All lines of a taxpayer's year, in order."""
    taxpayer, rules, scales = year.taxpayer, year.rules, year.scales
    beside = taxpayer.property_income + taxpayer.dividends
    found = Arrangement(year, taper)
    for total in _limits_of_total(year, taper):
        found.add(1, 1, 0, total)
    for limit in (*_limits_of_taxable_total(year), *scales.dividends.limits):
        found.add(1, 1, -1, limit - beside)
    if rules.other_income_first:
        _add_unchosen(found)
        if beside:
            _add_chosen(found, _below_other_income(found))
    else:
        _add_chosen(found, _anywhere(found))
    return tuple(sorted(found.lines))


def bends_of_other_income(year: TaxpayerYear, taper: Taper) -> tuple[int, ...]:
    """The incomes, pence, at which the tax of somebody without property, dividends and savings may bend or step, in order: the
    stack has one layer, so its top is at a limit of its scale, or of the total."""
    found = Arrangement(year, taper)
    limits = {*_limits_of_taxable_total(year), *year.scales.lower.limits}
    crossed = (income for limit in limits for income in found.total_at(limit))
    return tuple(sorted({*_limits_of_total(year, taper), *crossed}))


def _limits_of_total(year: TaxpayerYear, taper: Taper) -> tuple[int, ...]:
    """Totals of income below savings and savings that alone decide: the ends of the taper and of the child benefit charge's rise,
    and where somebody may no longer give a marriage allowance."""
    taxpayer, rules = year.taxpayer, year.rules
    found = [taper.first, taper.last]
    if taxpayer.child_benefit:
        beside = taxpayer.property_income + taxpayer.dividends
        charged_from = rules.child_benefit_threshold - (beside - taxpayer.relief_at_source - taxpayer.gift_aid)
        found += (charged_from + over for over in charge_bends(taxpayer, rules))
    if taxpayer.marriage_allowance == "gives":
        # A penny further the allowance may be lost to the partner, and the own tax less.
        given_to = open_to(year, taper)
        found += given_to, given_to + 1
    return tuple(found)


def _limits_of_taxable_total(year: TaxpayerYear) -> tuple[int, ...]:
    """Where the taxable total ends a band of savings, or begins."""
    return (0, *year.scales.savings.limits)


def _anywhere(found: Arrangement) -> _Heights:
    """To 2026-27: all allowances may relieve any layer."""
    held = found.year.taxpayer.property_income
    return _Heights(
        _Form(1, 0, -1, held),
        _Form(1, 0, 0, held),
        _Form(0, 1, 0, 0),
        _Form(0, 1, -1, 0),
        _Form(1, 1, -1, held),
        _Form(1, 1, 0, held),
    )


def _below_other_income(found: Arrangement) -> _Heights:
    """From 2027-28, where other income is less than the allowances: ``X`` is property, and ``A`` the rest of them."""
    held = found.year.taxpayer.property_income
    most = max(found.allowances)
    return _Heights(
        _Form(1, 0, -1, held, most),
        None,
        _Form(0, 1, 0, 0, most),
        _Form(1, 1, -1, 0, most),
        _Form(1, 1, -1, held, most),
        _Form(0, 1, 0, held, most),
    )


def _add_unchosen(found: Arrangement) -> None:
    """From 2027-28, above the allowances: each layer is what it is."""
    taxpayer, scales = found.year.taxpayer, found.year.scales
    held, start = taxpayer.property_income, scales.starting_rate_limit
    lower = _Form(1, 0, -1, 0)
    for limit in (0, *scales.lower.limits):
        lower.at(found, limit)
    for limit in (*(scales.property or scales.lower).limits, start):
        lower.at(found, limit - held)
    for limit in scales.savings.limits:
        found.add(1, 1, -1, limit - held)
    for band, allowance in enumerate(scales.savings_allowances):
        within = _totals_of_band(found, band)
        found.add(0, 1, 0, allowance, within)
        found.add(1, 1, -1, start + allowance - held, within)


def _totals_of_band(found: Arrangement, band: int) -> tuple[int, int]:
    """The totals at which the whole stack ends in a UK band."""
    scales = found.year.scales
    low = found.total_at(scales.savings.floors[band])[0] if band else -FAR_PENCE
    limits = scales.savings.limits
    return low, found.total_at(limits[band])[1] if band < len(limits) else FAR_PENCE


def _add_chosen(found: Arrangement, heights: _Heights) -> None:
    """Where allowances may relieve any layer: every meeting of three of the lines that the least tax lies on."""
    taxpayer, scales = found.year.taxpayer, found.year.scales
    dividends, nil = taxpayer.dividends, scales.dividend_allowance
    start = scales.starting_rate_limit
    lows = sorted({0, start, *scales.lower.limits, *(scales.property.limits if scales.property else ())})
    if heights.lower_whole is None:
        lows = [low for low in lows if low < max(1, taxpayer.property_income)]
    tops = [0]  # what of the dividends, less all of them, stays above the savings
    if dividends and (dividends > nil or scales.reduction):
        tops.append(-dividends)
    if dividends > nil:
        tops.append(nil - dividends)
    limits = sorted({*scales.savings.limits, *scales.dividends.limits})
    lower, whole, layer, layer_left, total, total_whole = heights

    def at_height(height: int, within: tuple[int, int]) -> None:
        """The savings end at a fixed height."""
        total.at(found, height, within)
        total_whole.at(found, height, within)
        lower.at(found, height, within)
        if whole:
            whole.at(found, height, within)
        for low in lows:
            layer.at(found, height - low, within)
            layer_left.at(found, height - low, within)
        for top in tops:
            total.at(found, height + top, within)

    for limit in limits:
        at_height(limit, _ANY)
    for top in tops:
        layer.at(found, top)
        layer_left.at(found, top)
        for low in lows:
            lower.at(found, low + top)
            total.at(found, low + top)
            if whole:
                whole.at(found, low + top)
        if whole and top:
            _Form(0, 0, -1, 0).at(found, top)
    for low in lows:
        total_whole.at(found, low)
    for band, allowance in enumerate(scales.savings_allowances):
        within = _totals_of_band(found, band)
        at_height(start + allowance, within)
        for limit in limits:
            lower.at(found, limit - allowance, within)
            if whole:
                whole.at(found, limit - allowance, within)
        for top in tops:
            layer.at(found, allowance + top, within)
            layer_left.at(found, allowance + top, within)
            for low in lows:
                total.at(found, low + allowance + top, within)
        for low in lows:
            total_whole.at(found, low + allowance, within)

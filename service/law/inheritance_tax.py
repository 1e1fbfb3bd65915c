"""Inheritance tax on a death: what the estate is, the bands, the rate, and what a survivor may bring forward.

Inheritance Tax Act 1984 ss.4, 7, 8A, 8D-8M, 18, 23 and Sch.1A; its s.150A, which makes unused pension money part of the
estate, is by Finance Act 2026 ss.66-71 for deaths on or after 6 April 2027. All amounts are pence. A share of a band is in
ten-thousandths of a per cent (600,000 is 60%), because HMRC takes such shares to four decimals (IHTM43020).

Not computed: the tax on the lifetime gifts themselves and its taper relief (s.7(4)), business and agricultural relief,
quick succession relief, the limit of the exemption for a spouse who is not a long-term UK resident (s.18(2)), grossing up
where gifts free of tax meet an exempt residue (s.38), and for the charity rate (Sch.1A) jointly owned and settled property,
which are components of an estate of their own.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date
from typing import NamedTuple

from service.figures.loader import TaxYearFigures
from service.law.ages import birthday
from service.law.rounding import down_to_the_penny
from service.law.units import WHOLE, BasisPoints, MillionthShare, Pence

WHOLE_BAND = 1_000_000  # ten-thousandths of a per cent in a whole band


@dataclass(frozen=True, slots=True)
class InheritanceTaxRules:
    """The figures for a death in one tax year. ``charity_least_share`` is the share of the baseline that earns the
    ``charity_rate``; gifts of the ``gift_years`` before the death count; ``unused_pensions_in_estate`` is true for deaths
    on or after 6 April 2027."""

    nil_rate_band: Pence
    residence_nil_rate_band: Pence
    residence_taper_threshold: Pence
    rate: BasisPoints
    charity_rate: BasisPoints
    charity_least_share: BasisPoints
    gift_years: int
    unused_pensions_in_estate: bool


@dataclass(frozen=True, slots=True)
class FormerHome:
    """A home given up on or after 8 July 2015 that may earn a downsizing addition (ss.8FA-8FE).

    ``value`` is that of the interest on the day it was given up, and ``residence_nil_rate_band_then`` the full residence
    nil-rate band for a death on that day, 100,000 pounds for a day before 6 April 2017. ``other_to_descendants`` is what
    of the free estate passes to descendants besides the home; that pension money does not count is our reading.
    ``present_home_exempt`` is the part of the home in the estate that passes to a spouse or charity.
    ValueError for an amount below nought, or no band.
    """

    value: Pence
    residence_nil_rate_band_then: Pence
    other_to_descendants: Pence
    present_home_exempt: Pence = 0

    def __post_init__(self) -> None:
        if min(self.value, self.other_to_descendants, self.present_home_exempt) < 0:
            raise ValueError("no amount of a former home may be negative")
        if self.residence_nil_rate_band_then <= 0:
            raise ValueError("the residence nil-rate band of the day the former home was given up must be positive")


@dataclass(frozen=True, slots=True)
class Estate:
    """What a person leaves, and to whom.

    The free estate is ``isa``, ``cash``, ``other`` and ``home`` (net of what is charged on it) less ``liabilities``;
    ``pension`` is unused pension money. ``home_to_descendants`` is the part of the home that children, grandchildren and
    their spouses inherit (s.8K). ``to_spouse`` and ``to_charity`` are exempt amounts of the free estate, ``pension_to_*``
    of the pension. ``lifetime_gifts`` are the chargeable transfers of the seven years before the death, failed potentially
    exempt ones included, after their exemptions. ``*_brought_forward`` are the shares of a band that earlier deaths of
    spouses left unused, together at most ``WHOLE_BAND``.

    ValueError for an amount below nought, a share over the whole, and parts that are more than what they are parts of.
    """

    isa: Pence = 0
    cash: Pence = 0
    other: Pence = 0
    home: Pence = 0
    liabilities: Pence = 0
    pension: Pence = 0
    home_to_descendants: Pence = 0
    to_spouse: Pence = 0
    to_charity: Pence = 0
    pension_to_spouse: Pence = 0
    pension_to_charity: Pence = 0
    lifetime_gifts: Pence = 0
    nil_rate_band_brought_forward: MillionthShare = 0
    residence_nil_rate_band_brought_forward: MillionthShare = 0
    former_home: FormerHome | None = None

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, int) and value < 0:
                raise ValueError(f"{field.name} must not be negative")
        if max(self.nil_rate_band_brought_forward, self.residence_nil_rate_band_brought_forward) > WHOLE_BAND:
            raise ValueError("no more than one whole band can be brought forward")
        if self.liabilities > self.isa + self.cash + self.other + self.home:
            raise ValueError("liabilities are more than the free estate")
        if self.home_to_descendants > self.home:
            raise ValueError("more of the home goes to descendants than there is")
        exempt = self.to_spouse + self.to_charity
        not_to_descendants = max(0, self.free_estate - self.home_to_descendants)
        if exempt > not_to_descendants:
            raise ValueError("more of the free estate is exempt than does not go to descendants")
        if self.pension_to_spouse + self.pension_to_charity > self.pension:
            raise ValueError("more of the pension is exempt than there is")
        if self.former_home is None:
            return
        if self.former_home.present_home_exempt > min(exempt, self.home - self.home_to_descendants):
            raise ValueError("more of the home is exempt than does not go to descendants")
        if self.former_home.other_to_descendants > not_to_descendants - exempt:
            raise ValueError("more of the free estate goes to descendants than is not exempt")

    @property
    def free_estate(self) -> Pence:
        """All but the pension, after liabilities."""
        return self.isa + self.cash + self.other + self.home - self.liabilities


class ResidenceBand(NamedTuple):
    """The residence nil-rate band step by step: ``default_allowance``, less ``taper``, is ``allowance``; of it
    ``home`` and ``downsizing_addition`` make ``used``, within what is chargeable; ``unused`` may be carried forward.

    ``brought_forward`` is the part of the default allowance that comes from earlier deaths, ``lost_by_downsizing`` what
    a former home would have earned, of which other assets of descendants may win back the addition.
    """

    brought_forward: Pence
    default_allowance: Pence
    taper: Pence
    allowance: Pence
    home: Pence
    lost_by_downsizing: Pence
    downsizing_addition: Pence
    used: Pence
    unused: Pence


class NilRateBand(NamedTuple):
    """The nil-rate band: ``whole`` with what is ``brought_forward``, less what lifetime gifts use, is ``available``.

    ``gifts_above`` is the part of the gifts over the whole band: it bears tax of its own, which is not computed here.
    """

    brought_forward: Pence
    whole: Pence
    used_by_gifts: Pence
    gifts_above: Pence
    available: Pence
    used: Pence
    unused: Pence


class EstateTax(NamedTuple):
    """The tax on a death, step by step.

    ``estate`` is the value before exemptions (E of s.8D), ``pension`` the unused pension money in it; ``chargeable`` is
    ``estate`` less ``exempt``; ``taxable`` is what the bands leave. ``baseline`` and ``donated`` decide the ``rate``.
    ``tax`` = ``tax_on_pension`` + ``tax_on_free_estate``. ``nil_rate_band_unused`` and ``residence_band_unused`` are the
    shares of a band that a surviving spouse may bring forward.
    """

    free_estate: Pence
    pension: Pence
    estate: Pence
    exempt: Pence
    chargeable: Pence
    residence_band: ResidenceBand
    nil_rate_band: NilRateBand
    taxable: Pence
    baseline: Pence
    donated: Pence
    rate: BasisPoints
    tax: Pence
    tax_on_pension: Pence
    tax_on_free_estate: Pence
    nil_rate_band_unused: MillionthShare
    residence_band_unused: MillionthShare


def rules_for(figures: TaxYearFigures) -> InheritanceTaxRules:
    """The rules for a death in one tax year, from its figures."""
    return InheritanceTaxRules(
        nil_rate_band=figures.money("inheritance_tax.nil_rate_band"),
        residence_nil_rate_band=figures.money("inheritance_tax.residence_nil_rate_band"),
        residence_taper_threshold=figures.money("inheritance_tax.residence_taper_threshold"),
        rate=figures.rate("inheritance_tax.rate"),
        charity_rate=figures.rate("inheritance_tax.charity_rate"),
        charity_least_share=figures.rate("inheritance_tax.charity_least_share"),
        gift_years=figures.count("inheritance_tax.gift_years"),
        unused_pensions_in_estate=figures.text("inheritance_tax.unused_pensions_in_estate") == "yes",
    )


def gift_counts(given: date, died: date, rules: InheritanceTaxRules) -> bool:
    """Whether a chargeable gift is one of the seven years before a death (s.7(1)): it is not on its seventh anniversary."""
    return given <= died < birthday(given, rules.gift_years)


def unused_share(unused: Pence, band: Pence) -> MillionthShare:
    """The share of a band that a survivor may bring forward (ss.8A(4), 8G(3)), in ten-thousandths of a per cent.

    At most the whole (IHTM43033), and nothing of nothing. ``band`` is one person's band on the day of the first death.
    HMRC takes four decimals (IHTM43020); that what is beyond them is dropped is our choice.
    """
    return min(WHOLE_BAND, unused * WHOLE_BAND // band) if band else 0


def brought_forward(share: MillionthShare, band: Pence) -> Pence:
    """What a share adds to the survivor's own band (ss.8A(3), 8G(2)), down to the penny: our choice."""
    return share * band // WHOLE_BAND


def tapered(allowance: Pence, estate: Pence, threshold: Pence) -> Pence:
    """The residence allowance after its taper (s.8D(5)): less half of what the estate is over the threshold.

    Half a penny comes off whole: our choice, the section does not round.
    """
    return max(0, allowance - max(0, estate - threshold + 1) // 2)


def lost_by_downsizing(
    former: FormerHome, home: Pence, residence_brought_forward: MillionthShare, allowance: Pence
) -> Pence:
    """The lost relievable amount (s.8FE), down to the penny: our choice.

    The former home as a percentage of the former allowance, at most 100%, less the present home as a percentage of the
    allowance on death; that much of the allowance on death, of which the present home thus takes its own value.
    ``home`` leaves exempt parts out.

    The former allowance is the band of that day and what is brought forward, measured at death, since s.8FE adds to what
    would have been brought forward then the rise to that at death. Only a former home worth more than the present one
    counts (ss.8FA, 8FB).
    """
    former_allowance = former.residence_nil_rate_band_then + residence_brought_forward
    if former.value <= home or not former_allowance:
        return 0
    once = allowance * min(former.value, former_allowance) // former_allowance
    return max(0, once - home)


def residence_band(estate: Estate, value: Pence, chargeable: Pence, rules: InheritanceTaxRules) -> ResidenceBand:
    """The residence nil-rate band (ss.8D-8G), for an estate worth ``value`` of which ``chargeable`` is not exempt.

    It is limited to the home that descendants inherit, with the downsizing addition, and to what is chargeable, which
    debts may leave below the value of the home (s.8E).
    """
    from_earlier = brought_forward(estate.residence_nil_rate_band_brought_forward, rules.residence_nil_rate_band)
    default_allowance = rules.residence_nil_rate_band + from_earlier
    allowance = tapered(default_allowance, value, rules.residence_taper_threshold)
    home = min(estate.home_to_descendants, allowance)
    lost = addition = 0
    former = estate.former_home
    if former is not None:
        lost = lost_by_downsizing(former, estate.home - former.present_home_exempt, from_earlier, allowance)
        addition = min(lost, former.other_to_descendants)
    used = min(home + addition, chargeable)
    return ResidenceBand(
        brought_forward=from_earlier,
        default_allowance=default_allowance,
        taper=default_allowance - allowance,
        allowance=allowance,
        home=home,
        lost_by_downsizing=lost,
        downsizing_addition=addition,
        used=used,
        unused=allowance - used,
    )


def nil_rate_band(estate: Estate, charged: Pence, rules: InheritanceTaxRules) -> NilRateBand:
    """The nil-rate band (ss.7, 8A): the gifts of the last seven years use it first, then the part of the estate that is
    ``charged`` after the residence nil-rate band."""
    from_earlier = brought_forward(estate.nil_rate_band_brought_forward, rules.nil_rate_band)
    whole = rules.nil_rate_band + from_earlier
    by_gifts = min(estate.lifetime_gifts, whole)
    available = whole - by_gifts
    used = min(charged, available)
    return NilRateBand(
        brought_forward=from_earlier,
        whole=whole,
        used_by_gifts=by_gifts,
        gifts_above=estate.lifetime_gifts - by_gifts,
        available=available,
        used=used,
        unused=available - used,
    )


def estate_tax(estate: Estate, rules: InheritanceTaxRules) -> EstateTax:
    """The inheritance tax on a death, under the rules of the tax year in which it falls.

    The charity rate: what goes to charity is at least its share of the baseline, which is the chargeable estate and what
    goes to charity less the nil-rate band that is left; the residence nil-rate band does not come off it (Sch.1A paras
    2-5). The estate counts as one component. From 6 April 2027 pension money is in it: s.150A treats it as the member's
    property for all of the Act, and the general component is all that is in no other. That pension money left to charity
    counts towards the share is our reading: s.23(5B) exempts it, and Sch.1A para 4 speaks of s.23(1).

    For the taper (s.8D(5)) the estate is the value before exemptions, pension money included. The tax is dropped to the
    penny, our choice, and the pension bears its share of the chargeable estate by value, to the penny below.
    """
    pension = pension_exempt = pension_donated = 0
    if rules.unused_pensions_in_estate:
        pension = estate.pension
        pension_donated = estate.pension_to_charity
        pension_exempt = estate.pension_to_spouse + pension_donated
    value = estate.free_estate + pension
    exempt = estate.to_spouse + estate.to_charity + pension_exempt
    chargeable = value - exempt
    residence = residence_band(estate, value, chargeable, rules)
    band = nil_rate_band(estate, chargeable - residence.used, rules)
    taxable = chargeable - residence.used - band.used
    donated = estate.to_charity + pension_donated
    baseline = max(0, chargeable - band.available) + donated
    reduced = donated > 0 and donated * WHOLE >= baseline * rules.charity_least_share
    rate = rules.charity_rate if reduced else rules.rate
    tax = down_to_the_penny(taxable * rate)
    on_pension = tax * (pension - pension_exempt) // chargeable if chargeable else 0
    return EstateTax(
        free_estate=estate.free_estate,
        pension=pension,
        estate=value,
        exempt=exempt,
        chargeable=chargeable,
        residence_band=residence,
        nil_rate_band=band,
        taxable=taxable,
        baseline=baseline,
        donated=donated,
        rate=rate,
        tax=tax,
        tax_on_pension=on_pension,
        tax_on_free_estate=tax - on_pension,
        nil_rate_band_unused=unused_share(band.unused, rules.nil_rate_band),
        residence_band_unused=unused_share(residence.unused, rules.residence_nil_rate_band),
    )

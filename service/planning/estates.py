"""What a person leaves on a death and what beneficiaries receive of it, after inheritance tax and their income tax."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from service.law import lump_sums
from service.law.ages import age_on
from service.law.death_benefits import DeathBenefit, Form, Received, received
from service.law.inheritance_tax import Estate, EstateTax, FormerHome, estate_tax, gift_counts
from service.law.isa import additional_permitted_subscription
from service.law.units import WHOLE, BasisPoints, MillionthShare, Pence, Years
from service.planning.faults import Fault, RuleViolation
from service.planning.household import Member
from service.planning.projection.settlement import Holdings
from service.planning.projection.timeline import Period, Timeline, risen

TO_SPOUSE, TO_BENEFICIARIES = "to_spouse", "to_beneficiaries"
BENEFICIARIES_TAX_RATE: BasisPoints = 2_000
"""The income tax rate that beneficiaries are taken to pay on pension money, unless it is given: our choice."""
SHARES_IN_A_RATE = 100  # the law counts shares of a band in hundredths of a basis point


@dataclass(frozen=True, slots=True)
class Gift:
    """A chargeable lifetime gift, or one that death within seven years makes chargeable; ``giver`` is 0 or 1."""

    day: date
    amount: Pence
    giver: int = 0


@dataclass(frozen=True, slots=True)
class HomeGivenUp:
    """A home that was given up on or after 8 July 2015 and may earn a downsizing addition (ss.8FA-8FE): its ``value`` then, and
    the full residence nil-rate band of a death on that day, pence. ``rest_to_descendants``: whether descendants inherit what
    beneficiaries receive of the free estate besides the home there is now; without that there is no addition."""

    value: Pence
    residence_nil_rate_band: Pence
    rest_to_descendants: bool = True


@dataclass(frozen=True, slots=True)
class EstateFacts:
    """What a household owns besides pensions, ISAs and cash, and where it goes. Pence, in the money of the first tax year.

    ``increases`` is how the home and the other assets rise (basis points, or WITH_PRICES); shares are basis points.
    ``charity_share`` is of what the beneficiaries' part of the free estate is besides a home that goes to descendants.
    ``spouses`` is whether two people are married or civil partners: only then can the first death pass free of tax, and only
    then does what it leaves of the bands unused serve the second, whoever inherits (ss.8A, 8G, 18). Of a home given up each
    of two people had their share. ``pension_paid_within_two_years`` counts from when the scheme knew, or could have known, of the
    death; ``pension_to_non_qualifying_person`` is whether trustees, a company or the like receive the pension money.
    """

    home: Pence = 0
    home_to_descendants: bool = False
    other_assets: Pence = 0
    debts: Pence = 0
    increases: BasisPoints | str = 0
    first_person_share: BasisPoints = 5_000
    charity_share: BasisPoints = 0
    gifts: tuple[Gift, ...] = ()
    nil_rate_band_brought_forward: MillionthShare = 0
    residence_nil_rate_band_brought_forward: MillionthShare = 0
    spouses: bool = True
    first_death: str = TO_SPOUSE
    home_given_up: HomeGivenUp | None = None
    pension_paid_as: Form = "lump_sum"
    pension_paid_within_two_years: bool = True
    pension_to_non_qualifying_person: bool = False
    survivor_spending: BasisPoints = WHOLE


class Left(NamedTuple):
    """What one person leaves: the estate with its tax, and where no spouse takes it all what the beneficiaries receive."""

    person: int
    age: Years
    period: Period
    estate: Estate
    tax: EstateTax
    to_spouse: bool
    additional_permitted_subscription: Pence
    pension: Received | None
    to_charity: Pence
    free_estate_net: Pence

    @property
    def day(self) -> date:
        """The day of the death, the last of its period."""
        return self.period.last

    @property
    def pension_in_estate(self) -> bool:
        """Whether unused pension money counts in the estate: for deaths on or after 6 April 2027."""
        return self.period.rules.inheritance_tax.unused_pensions_in_estate

    @property
    def net(self) -> Pence:
        """What beneficiaries receive after all taxes, pence."""
        return self.free_estate_net + (self.pension.net if self.pension else 0)


class Owned(NamedTuple):
    """A person's part of what the household owns besides its money."""

    home: Pence
    other: Pence
    debts: Pence


class Died(NamedTuple):
    """A person on the last day of a period, the day of the death, with what there is and what earlier deaths left unused.
    ``own_share`` is what they had of the household's property before any death, basis points."""

    person: int
    member: Member
    period: Period
    held: Holdings
    owned: Owned
    own_share: BasisPoints
    inherited: Pence = 0
    nil_rate_band: Pence | None = None
    residence_band: Pence | None = None
    to_spouse: bool = False


def left_by(died: Died, facts: EstateFacts, beneficiary_rate: BasisPoints) -> Left:
    day, rules, owned, held = died.period.last, died.period.rules, died.owned, died.held
    age = age_on(died.member.date_of_birth, day)
    assets = held.isa + held.cash + owned.home + owned.other
    free = assets - min(owned.debts, assets)
    to_descendants = min(owned.home, free) if facts.home_to_descendants and not died.to_spouse else 0
    to_charity = 0 if died.to_spouse else (free - to_descendants) * facts.charity_share // WHOLE
    pension = held.pension.uncrystallised + held.pension.drawdown + died.inherited
    earlier = (facts.nil_rate_band_brought_forward, facts.residence_nil_rate_band_brought_forward)
    bands = [
        given * SHARES_IN_A_RATE if own is None else own
        for own, given in zip((died.nil_rate_band, died.residence_band), earlier, strict=True)
    ]
    estate = Estate(
        isa=held.isa,
        cash=held.cash,
        other=owned.other,
        home=owned.home,
        liabilities=assets - free,
        pension=pension,
        home_to_descendants=to_descendants,
        to_spouse=free if died.to_spouse else 0,
        to_charity=to_charity,
        pension_to_spouse=pension if died.to_spouse else 0,
        lifetime_gifts=sum(
            gift.amount
            for gift in facts.gifts
            if gift.giver == died.person and gift_counts(gift.day, day, rules.inheritance_tax)
        ),
        nil_rate_band_brought_forward=bands[0],
        residence_nil_rate_band_brought_forward=bands[1],
        former_home=_former_home(died, facts, free - to_descendants - to_charity),
    )
    tax = estate_tax(estate, rules.inheritance_tax)
    return Left(
        person=died.person,
        age=age,
        period=died.period,
        estate=estate,
        tax=tax,
        to_spouse=died.to_spouse,
        additional_permitted_subscription=additional_permitted_subscription(rules.figures, day, held.isa)
        if died.to_spouse
        else 0,
        pension=None if died.to_spouse else _pension_received(died, pension, age, tax, facts, beneficiary_rate),
        to_charity=to_charity,
        free_estate_net=0 if died.to_spouse else free - to_charity - tax.tax_on_free_estate,
    )


def _former_home(died: Died, facts: EstateFacts, rest: Pence) -> FormerHome | None:
    """The person's part of a home given up, as inheritance tax sees it; ``rest`` is what beneficiaries receive of the free
    estate besides a home that goes to descendants."""
    given_up = facts.home_given_up
    if given_up is None or died.to_spouse:
        return None
    return FormerHome(
        value=given_up.value * died.own_share // WHOLE,
        residence_nil_rate_band_then=given_up.residence_nil_rate_band,
        other_to_descendants=rest if given_up.rest_to_descendants else 0,
    )


def _pension_received(
    died: Died, amount: Pence, age: Years, tax: EstateTax, facts: EstateFacts, beneficiary_rate: BasisPoints
) -> Received:
    """The pension money that beneficiaries receive."""
    rules = died.period.rules
    left = lump_sums.available(died.held.pension, rules.lump_sums)
    benefit = DeathBenefit(
        amount=amount,
        form=facts.pension_paid_as,
        member_age=age,
        within_two_years=facts.pension_paid_within_two_years,
        inheritance_tax=tax.tax_on_pension,
        qualifying=not facts.pension_to_non_qualifying_person,
        already_in_drawdown=died.held.pension.drawdown + died.inherited,
    )
    try:
        return received(benefit, beneficiary_rate, rules.death_benefits, left)
    except ValueError as error:
        raise RuleViolation(
            (Fault(("deaths",), "lifetime-allowance-on-death", f"{str(error).capitalize()}."),)
        ) from None


def after_inheriting(holdings: Sequence[Holdings], died: int, left: Left) -> tuple[Holdings, Pence]:
    """What the survivor holds, and pension money inherited free of income tax.

    ISAs pass with the additional permitted subscription and use no ISA allowance. Pension money of someone who died at 75 or
    over is drawn as the survivor's taxed income, like drawdown funds.
    """
    own, other = holdings[1 - died], holdings[died]
    if not left.to_spouse:
        return own, 0
    pot = other.pension.uncrystallised + other.pension.drawdown
    taxed = pot if left.age >= left.period.rules.death_benefits.taxed_from_age else 0
    return (
        own._replace(
            pension=own.pension._replace(drawdown=own.pension.drawdown + taxed),
            isa=own.isa + other.isa,
            cash=own.cash + other.cash,
        ),
        pot - taxed,
    )


def shares(facts: EstateFacts) -> tuple[BasisPoints, BasisPoints]:
    return facts.first_person_share, WHOLE - facts.first_person_share


def owned(facts: EstateFacts, until: Timeline, share: BasisPoints) -> Owned:
    """A share of the household's property on the last day, down to the penny."""
    period = until.periods[-1]
    home, other = (
        risen(amount, facts.increases, period) * share // WHOLE for amount in (facts.home, facts.other_assets)
    )
    return Owned(home, other, facts.debts * share // WHOLE)


def estate_faults(estate: EstateFacts, *, couple: bool) -> Iterator[Fault]:
    """What in the facts of an estate cannot be."""
    if couple and not estate.spouses and estate.first_death == TO_SPOUSE:
        yield Fault(
            ("household", "estate", "first_death"),
            "not-spouses",
            "Only spouses and civil partners inherit free of inheritance tax: give `to_beneficiaries`, or leave it out.",
        )
    if estate.home_given_up is not None and estate.home_given_up.residence_nil_rate_band == 0:
        yield Fault(
            ("household", "estate", "home_given_up", "residence_nil_rate_band"),
            "no-band",
            "Give the full residence nil-rate band of the day on which the home was given up: 100000 for a day before 6 April "
            "2017.",
        )
    if estate.pension_to_non_qualifying_person and estate.pension_paid_as != "lump_sum":
        yield Fault(
            ("household", "estate", "pension_paid_as"),
            "lump-sum-only",
            "Trustees, companies and other non-qualifying persons can only be paid a lump sum: give `lump_sum`, or leave it out.",
        )
    if couple:
        for name in ("nil_rate_band_brought_forward", "residence_nil_rate_band_brought_forward"):
            if getattr(estate, name):
                yield Fault(
                    ("household", "estate", name),
                    "bands-of-one-person",
                    "Bands left unused by an earlier death can be given for one person only; for a couple the second death "
                    "uses what the first leaves.",
                )


def touched_by_death(left: Left, facts: EstateFacts) -> Iterator[str]:
    """The names of the figures that the tax on a death rests on."""
    yield from ("inheritance_tax.nil_rate_band", "inheritance_tax.rate", "inheritance_tax.unused_pensions_in_estate")
    if left.estate.home_to_descendants:
        yield from ("inheritance_tax.residence_nil_rate_band", "inheritance_tax.residence_taper_threshold")
    if left.to_charity:
        yield from ("inheritance_tax.charity_rate", "inheritance_tax.charity_least_share")
    if left.pension is not None and left.pension.allowance_used:
        yield "pension.lump_sum_and_death_benefit_allowance"
    if facts.pension_to_non_qualifying_person and left.pension and left.pension.income_tax:
        yield "pension.special_lump_sum_death_benefits_charge"

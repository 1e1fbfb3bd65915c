"""What the adviser knows of a person: the inputs every question shares. Money in pence a year, gross."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Literal, NamedTuple, get_args

from service.law.ages import birthday
from service.law.contributions import ReliefRules, relieved_at_source
from service.law.income_tax import MarriageAllowance, Nation, Taxpayer
from service.law.lump_sums import Pension
from service.law.rounding import half_up
from service.law.units import WHOLE, BasisPoints, Pence, Years
from service.law.value import Value

IncomeKind = Literal[
    "employment",
    "self_employment",
    "state_pension",
    "defined_benefit_pension",
    "annuity",
    "other_taxable",
    "property_income",
    "savings_interest",
    "dividends",
]

INCOME_KINDS: tuple[IncomeKind, ...] = get_args(IncomeKind)

EARNINGS: tuple[IncomeKind, ...] = ("employment", "self_employment")
"""The kinds of income that count as relevant UK earnings (FA 2004 s.189(2)): pensions, rent, interest and dividends do not."""

Payer = Literal["self", "employer", "third_party"]
"""Who pays a pension contribution."""

ReliefMethod = Literal["relief_at_source", "net_pay", "none"]
"""How a contribution that is not an employer's has its tax relief (FA 2004 ss.192-194): the scheme claims the basic rate, pay is
taxed after it, or not at all."""

RELIEVED: tuple[ReliefMethod, ...] = ("relief_at_source", "net_pay")
"""The methods by which a person's own contribution has its relief."""

Saving = Literal["money_purchase", "defined_benefit"]
"""What a contribution counts as for the annual allowances."""

Path = tuple[str | int, ...]
"""A place in a request: keys and indexes."""

PEOPLE: Path = ("household", "people")
"""The place of the people in every request."""

LumpSums = Literal["with_each_withdrawal", "all_now", "never", "separately"]
"""How a plan takes tax-free cash: a quarter of each withdrawal, all of it at the first chance, not at all, or at times that
something else decides; with "separately" withdrawals come from drawdown funds first, and with their tax-free part from the
rest."""

MarriageClaim = Literal["none", "gives", "receives", "as_best"]
"""What a person says of the marriage allowance: what is claimed in every tax year, or, of both people of a couple, that a plan
chooses for each tax year whichever leaves the two the least tax."""

MARRIAGE_CLAIMS: tuple[MarriageClaim, ...] = get_args(MarriageClaim)

Thresholds = Literal["frozen", "prices"]
"""What the tax thresholds do after the last tax year with figures: stand still, or rise with prices where the Acts say so."""

SpendingMet = Literal["start", "evenly", "end"]
"""When in a year spending is met: on its first day, evenly over it, or on its last."""

HALVES_NOT_GROWN: Mapping[SpendingMet, int] = {"start": 2, "evenly": 1, "end": 0}
"""How many halves of a year's growth is missed, on average, by money that is spent in the year."""


YearlyRate = BasisPoints | Fraction
"""Growth a year in basis points; a rate that was solved for need not be a whole number of them."""


class Income(NamedTuple):
    """One income of the tax year asked about."""

    kind: IncomeKind
    amount: Pence


class Person(Value, frozen=True):
    """A person in the tax year asked about. Reliefs are gross; ``relief_at_source_contributions`` is what of ``paid_at_source``
    has relief. ``taxed_pay`` goes into a pension without relief; it is part of the income."""

    date_of_birth: date
    tax_residence: Nation
    income: tuple[Income, ...] = ()
    relief_at_source_contributions: Pence = 0
    gift_aid_donations: Pence = 0
    marriage_allowance: MarriageAllowance = "none"
    blind_persons_allowance: bool = False
    child_benefit: Pence = 0
    paid_at_source: Pence = 0
    taxed_pay: Pence = 0

    def income_of(self, kind: IncomeKind) -> Pence:
        """All income of one kind."""
        total = 0
        for income in self.income:
            if income.kind == kind:
                total += income.amount
        return total

    def taxpayer(self) -> Taxpayer:
        """The person as the income tax rules see them."""
        return taxpayer_of(self, self.income, self.relief_at_source_contributions)


WITH_PRICES = "prices"
"""An amount that rises with prices each 6 April."""


class DatedIncome(Value, frozen=True):
    """An income as a household's record gives it: ``amount`` is a year's, in the money of the tax year that a question is about
    or, in a plan, of its first.

    ``first`` and ``last`` are days, None where it has always run or runs on. ``share_of_full_rate`` (basis points)
    stands in place of the amount of a State Pension. ``increases`` is basis points a year, or WITH_PRICES.
    """

    kind: IncomeKind
    amount: Pence | None = None
    share_of_full_rate: BasisPoints | None = None
    first: date | None = None
    last: date | None = None
    increases: BasisPoints | str = 0


class Already(Value, frozen=True):
    """What a person had in the tax year before the day that a question starts from, and does not run on: incomes, and what of
    withdrawals from pensions was taxable and tax free. It is in none of the balances but as it was used."""

    income: tuple[Income, ...] = ()
    taxable_withdrawals: Pence = 0
    tax_free_withdrawals: Pence = 0

    @property
    def withdrawn(self) -> Pence:
        """All that was withdrawn."""
        return self.taxable_withdrawals + self.tax_free_withdrawals

    @property
    def is_nothing(self) -> bool:
        """Whether it comes to nothing."""
        return not self.withdrawn and not any(income.amount for income in self.income)

    @property
    def taxed(self) -> tuple[Income, ...]:
        """What counts in the year's income."""
        drawn = (Income("other_taxable", self.taxable_withdrawals),) if self.taxable_withdrawals else ()
        return (*self.income, *drawn)


NOTHING_YET = Already()
"""Nothing was had before."""


class Contribution(Value, frozen=True):
    """A pension contribution, gross: ``amount`` on a ``day``, or ``yearly`` from ``first`` to ``last`` (days; None where it has
    always run or runs on). For a defined benefit pension it is the pension input amount.

    ``pension`` is the place of the person's pension that it goes into. Where it is None, plans count it for tax alone.
    """

    payer: Payer = "self"
    relief: ReliefMethod | None = None
    saving: Saving = "money_purchase"
    amount: Pence = 0
    day: date | None = None
    yearly: Pence = 0
    first: date | None = None
    last: date | None = None
    pension: int | None = None

    def between(self, start: date, end: date) -> Pence:
        """What of it falls into a tax year, by its first and last day: of a yearly one the share of its days; pence, half up."""
        if self.day is not None:
            return self.amount if start <= self.day <= end else 0
        if self.first is None and self.last is None:
            return self.yearly
        begins = start if self.first is None else max(start, self.first)
        ends = end if self.last is None else min(end, self.last)
        return half_up(self.yearly * max(0, (ends - begins).days + 1), (end - start).days + 1)

    def within(self, first: date, last: date) -> Contribution:
        """The part of it that is paid between two days."""
        if self.day is not None:
            return self if first <= self.day <= last else self._replace(amount=0)
        return self._replace(
            first=first if self.first is None else max(first, self.first),
            last=last if self.last is None else min(last, self.last),
        )


class PaidIn(NamedTuple):
    """What goes into a person's pensions between two days of a tax year, gross: the ``amount``, and twice the sum of each
    penny's days until the last of them (``half_days``), over which it grows. ``own`` is what of it is the household's own
    money: not an employer's or another's, not the tax relief that the scheme claims, and not what pay is already without."""

    amount: Pence = 0
    half_days: int = 0
    own: Pence = 0


NOTHING_PAID_IN = PaidIn()
"""Nothing goes in."""


def paid_in(
    member: Member,
    relief: Relief,
    first: date,
    last: date,
    start: date,
    end: date,
    basic_rate: BasisPoints,
    places: Collection[int] | None = None,
) -> PaidIn:
    """What goes into a person's pensions, or into those at some ``places``, between two days of a tax year, which has the
    ``relief`` on all contributions. The scheme claims the basic rate of what has relief at source (Finance Act 2004 s.192)."""
    amount = half_days = own = 0
    for one in member.contributions:
        if one.pension is None or (places is not None and one.pension not in places):
            continue
        gross = one.within(first, last).between(start, end)
        if not gross:
            continue
        from_day = one.day or max(first, one.first or first)
        to_day = one.day or min(last, one.last or last)
        amount += gross
        half_days += gross * (2 * last.toordinal() - from_day.toordinal() - to_day.toordinal())
        if one.payer == "self" and one.relief != "net_pay":
            own += gross
            if one.relief == "relief_at_source":
                own -= half_up(gross * relief.relief_at_source * basic_rate, relief.paid_at_source * WHOLE)
    return PaidIn(amount, half_days, own)


class Relief(NamedTuple):
    """A person's contributions of a tax year, gross: what is ``paid_at_source``, what of it has ``relief_at_source``, and the
    ``taxed_pay`` that goes into a pension as if by net pay but has no relief."""

    paid_at_source: Pence = 0
    relief_at_source: Pence = 0
    taxed_pay: Pence = 0


def relief_of(
    member: Member, incomes: Iterable[tuple[IncomeKind, int]], start: date, end: date, rules: ReliefRules
) -> Relief:
    """The relief on a person's contributions in a tax year, by its first and last day, beside the year's incomes (kind and
    pence), which are after net pay contributions. What is paid once the age for relief is reached has none."""
    reached = birthday(member.date_of_birth, rules.ends_at_age)
    paid = under_age = net_pay = taxed_pay = 0
    for one in member.contributions:
        if one.relief in RELIEVED:
            amount = one.between(start, end)
            relieved = amount if reached > end else one.within(start, reached - timedelta(days=1)).between(start, end)
            if one.relief == "net_pay":
                net_pay += relieved
                taxed_pay += amount - relieved
            else:
                paid += amount
                under_age += relieved
    earnings = taxed_pay
    for kind, amount in incomes:
        if kind in EARNINGS:
            earnings += amount
    return Relief(paid, relieved_at_source(under_age, net_pay, earnings, rules), taxed_pay)


def taxed_pay_between(member: Member, first: date, last: date, start: date, end: date, rules: ReliefRules) -> Pence:
    """What of a tax year's ``taxed_pay`` is paid between two days of it."""
    reached = birthday(member.date_of_birth, rules.ends_at_age)
    return sum(
        one.within(max(first, reached), last).between(start, end)
        for one in member.contributions
        if one.relief == "net_pay"
    )


AS_BEST: Literal["as_best"] = "as_best"
"""In place of a tax year: a plan chooses the one in which a small pot is taken, or none."""


class PensionHeld(Value, frozen=True):
    """One of a person's money purchase pensions: its funds in pence, and the terms that a plan looks at. ``growth`` is a yearly
    rate, the one assumed of all where the pension has none of its own, before the ``yearly_charge``, which is basis points of
    what is held. ``small_pot_in`` is the tax year in which it is asked to be taken whole as a small pot lump sum, or
    ``AS_BEST``."""

    uncrystallised: Pence
    drawdown: Pence = 0
    protected_pension_age: Years | None = None
    growth: YearlyRate = 0
    yearly_charge: BasisPoints = 0
    protected_tax_free_share: BasisPoints | None = None
    scheme_kind: str | None = None
    small_pot_in: str | None = None

    @property
    def held(self) -> Pence:
        """All that is in it."""
        return self.uncrystallised + self.drawdown


Terms = tuple[Years | None, YearlyRate, BasisPoints]
"""A pension's protected age, its growth before the yearly charge, and that charge."""


class SmallPot(NamedTuple):
    """A pension that a plan takes whole as a small pot lump sum (SI 2009/1171 regs 11, 11A and 12) on the last day of a
    ``tax_year``: its ``place`` among the person's pensions, and what it holds at the start."""

    place: int
    tax_year: str
    pension: PensionHeld


class Pot(NamedTuple):
    """Pensions of one person that a plan counts as one, because they may be drawn from the same age and grow alike: their
    ``places`` among the person's pensions, what they hold together in pence, and their terms as in ``PensionHeld``."""

    places: tuple[int, ...]
    uncrystallised: Pence
    drawdown: Pence
    protected_pension_age: Years | None
    growth: YearlyRate
    yearly_charge: BasisPoints


def after_charge(growth: YearlyRate, charge: BasisPoints) -> YearlyRate:
    """A yearly growth, exactly, once a yearly charge is taken from what has grown."""
    left = Fraction((WHOLE + growth) * (WHOLE - charge), WHOLE) - WHOLE
    return int(left) if left.denominator == 1 else left


def yearly_charge(people: Iterable[Member]) -> BasisPoints:
    """The yearly charge of a household's pensions, where all of them have the same."""
    return next((held.yearly_charge for one in people for held in one.pensions if held.held), 0)


def terms_of(held: PensionHeld | Pot) -> Terms:
    """What has to be the same for two pensions to count as one in a plan."""
    return held.protected_pension_age, held.growth, held.yearly_charge


class Isa(Value, frozen=True):
    """A person's ISAs. ``cash_isa``: new money goes into a cash ISA, which has a limit of its own from 2027-28."""

    value: Pence = 0
    subscribed_this_year: Pence = 0
    cash_isa: bool = False


class SavingFacts(NamedTuple):
    """What the recycling rule looks at (Finance Act 2004 Sch.29 para 3A): gross contributions by anybody as ``paid_in`` by tax
    year, what is ``usual`` in one, whether a rise was ``planned``, and the lump sums of the 12 months before. None is not
    known; pence."""

    paid_in: Mapping[str, Pence]
    usual: Pence | None
    planned: bool | None
    lump_sums_before: Pence


class Member(Value, frozen=True):
    """A person as a household's record gives them, with what they hold. Gift Aid donations are gross and the same each year.

    ``pension`` has the funds of all ``pensions`` together, with what is used of the person's allowances. It counts as not yet
    flexibly accessed where that is not known. ``withdrawal_cap`` is the most that a plan may draw in a tax year, gross, besides
    lump sums taken by themselves. ``carry_forward`` is unused annual allowance of the three tax years before.
    ``small_pots`` are those that a plan has set apart: ``pension`` is without them, and they are empty among ``pensions``.
    ``open_small_pots`` are the places of pensions that may be taken as small pots in a tax year that a plan chooses; until then
    they are drawn as any other.
    """

    date_of_birth: date
    tax_residence: Nation
    pension: Pension
    isa: Isa = Isa()
    cash: Pence = 0
    income: tuple[DatedIncome, ...] = ()
    contributions: tuple[Contribution, ...] = ()
    gift_aid_donations: Pence = 0
    marriage_allowance: MarriageClaim = "none"
    blind_persons_allowance: bool = False
    child_benefit: Pence = 0
    pensions: tuple[PensionHeld, ...] = ()
    name: str | None = None
    flexible_access_known: bool = True
    tax_free_received_before_6_april_2024: Pence | None = None
    small_pots_taken: int | None = None
    withdrawal_cap: Pence | None = None
    already: Already = NOTHING_YET
    carry_forward: Pence = 0
    usual_contributions: Pence | None = None
    contribution_increase_planned: bool | None = None
    lump_sums_in_last_12_months: Pence = 0
    uk_resident: bool | None = None
    small_pots: tuple[SmallPot, ...] = ()
    open_small_pots: tuple[int, ...] = ()

    @property
    def standing_claim(self) -> MarriageAllowance:
        """The marriage allowance that is claimed whatever a plan does: none where it chooses."""
        return "none" if self.marriage_allowance == "as_best" else self.marriage_allowance

    @property
    def pays_in(self) -> bool:
        """Whether it is said of any contribution which pension it goes into."""
        return any(one.pension is not None for one in self.contributions)

    @property
    def contributions_in_plans(self) -> tuple[Contribution, ...]:
        """The contributions that a plan counts: those into one of the pensions, and those with relief at source, for the tax."""
        return tuple(
            one
            for one in self.contributions
            if one.saving == "money_purchase" and (one.pension is not None or one.relief == "relief_at_source")
        )

    @property
    def counting(self) -> tuple[PensionHeld, ...]:
        """The pensions whose terms matter: with something in them, or into which contributions go."""
        paid_into = {one.pension for one in self.contributions}
        return tuple(held for place, held in enumerate(self.pensions) if held.held or place in paid_into)

    @property
    def pots(self) -> tuple[Pot, ...]:
        """The pensions in pots, in the order of the record; empty where all of them count as one. A pension with nothing in it,
        into which nothing is paid, goes with the first. One whose tax year as a small pot is left open is always by itself."""
        if len(self.pensions) < 2:
            return ()
        paid_into = {one.pension for one in self.contributions}
        together: dict[tuple[Terms, int | None], list[int]] = {}
        empty = []
        for place in self.places_drawn:
            held = self.pensions[place]
            if held.held or place in paid_into:
                alone = place if place in self.open_small_pots else None
                together.setdefault((terms_of(held), alone), []).append(place)
            else:
                empty.append(place)
        if len(together) < 2:
            return ()
        next(iter(together.values())).extend(empty)
        return tuple(
            Pot(
                tuple(sorted(own)),
                sum(self.pensions[place].uncrystallised for place in own),
                sum(self.pensions[place].drawdown for place in own),
                *of_all,
            )
            for (of_all, _), own in together.items()
        )

    @property
    def held_by_pot(self) -> tuple[Pence, ...]:
        """What each pot holds; one amount where all pensions count as one."""
        pots = self.pots
        return tuple(pot.uncrystallised + pot.drawdown for pot in pots) or (
            self.pension.uncrystallised + self.pension.drawdown,
        )

    @property
    def places_drawn(self) -> tuple[int, ...]:
        """The places of the pensions that a plan draws as it chooses: all but small pots."""
        apart = {pot.place for pot in self.small_pots}
        return tuple(place for place in range(len(self.pensions)) if place not in apart)

    @property
    def all_pensions(self) -> Pence:
        """What all pensions hold, small pots too."""
        return self.pension.uncrystallised + self.pension.drawdown + sum(pot.pension.held for pot in self.small_pots)

    def cap_in(self, position: int) -> Pence | None:
        """The cap on what a plan draws in a period: what was withdrawn before in the first tax year counts towards it."""
        if position or self.withdrawal_cap is None:
            return self.withdrawal_cap
        return max(0, self.withdrawal_cap - self.already.withdrawn)

    @property
    def protected_tax_free_share(self) -> BasisPoints:
        """The largest share that any of the pensions protects as tax-free cash; 0 where none was given."""
        return max((held.protected_tax_free_share or 0 for held in self.pensions), default=0)

    @property
    def earlier_access_matters(self) -> bool:
        """Whether it was not said if income was taken flexibly before, of somebody who may have: there are drawdown funds, or
        something is paid into money purchase pensions, or something taxable was withdrawn."""
        if self.flexible_access_known:
            return False
        pays_in = any(one.saving == "money_purchase" for one in self.contributions)
        return self.pension.drawdown > 0 or pays_in or self.already.taxable_withdrawals > 0

    def one_pension(self, place: int) -> Pension:
        """One of the pensions, with what is used of the person's allowances."""
        own = self.pensions[place]
        return self.pension._replace(
            uncrystallised=own.uncrystallised,
            drawdown=own.drawdown,
            protected_pension_age=own.protected_pension_age,
            protected_tax_free_share=own.protected_tax_free_share or 0,
        )


def small_pots_apart(member: Member) -> Member:
    """A person as a plan sees them: each pension that is to be taken as a small pot in a named tax year is set apart from those
    that it draws, and those whose tax year it chooses are known."""
    asked = {place: held.small_pot_in for place, held in enumerate(member.pensions) if held.small_pot_in is not None}
    named = {place: tax_year for place, tax_year in asked.items() if tax_year != AS_BEST}
    left_open = tuple(place for place in asked if place not in named and member.pensions[place].held)
    return set_apart(member, named)._replace(open_small_pots=left_open) if asked else member


def set_apart(member: Member, named: Mapping[int, str]) -> Member:
    """The same person, with the pensions at some places set apart as small pots, each with the tax year in which it is taken."""
    if not named:
        return member
    apart = (
        *member.small_pots,
        *(SmallPot(place, tax_year, member.pensions[place]) for place, tax_year in named.items()),
    )
    places = {pot.place for pot in apart}
    drawn = [held for place, held in enumerate(member.pensions) if place not in places]
    pension = member.pension.holding(sum(held.uncrystallised for held in drawn), sum(held.drawdown for held in drawn))
    age = next((held.protected_pension_age for held in drawn if held.held), None)
    return member._replace(
        pension=pension._replace(protected_pension_age=age),
        pensions=tuple(
            held._replace(uncrystallised=0, drawdown=0) if place in places else held
            for place, held in enumerate(member.pensions)
        ),
        small_pots=tuple(sorted(apart, key=lambda pot: pot.place)),
        open_small_pots=tuple(place for place in member.open_small_pots if place not in places),
    )


class Spending(Value, frozen=True):
    """What the household spends a year, in the money of the plan's first tax year; see ``DatedIncome``."""

    amount: Pence
    first: date | None = None
    last: date | None = None
    increases: BasisPoints | str = 0


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What a plan takes for granted. Rates in basis points a year. ``price_rises`` are those of each tax year from that of the
    household's money on, where they are not all ``price_inflation``.

    ``pension_growths`` are those of each person's pensions, where they differ; ``pension_growth`` is then the first person's.
    ``pot_growths`` are, by person, those of each of their pots, where one person's differ; nothing for somebody who has no pots.
    ``small_pot_growth`` is that of all small pots before their charge, None where each has its own.

    What stays in a pension at the end counts after tax: at a flat rate, or, where that is None, as drawn evenly over so many
    years (``projection/remaining_pension.py``).
    """

    pension_growth: YearlyRate = 0
    isa_growth: YearlyRate = 0
    cash_interest: YearlyRate = 0
    price_inflation: BasisPoints = 0
    thresholds_after_freeze: Thresholds = "frozen"
    tax_rate_on_remaining_pension: BasisPoints | None = None
    spending_met: SpendingMet = "evenly"
    remaining_pension_drawn_over: Years = 20
    price_rises: tuple[BasisPoints, ...] = ()
    pension_growths: tuple[YearlyRate, ...] = ()
    pot_growths: tuple[tuple[YearlyRate, ...], ...] = ()
    small_pot_growth: YearlyRate | None = None

    def with_rates(self, pension: YearlyRate, isa: YearlyRate, cash: YearlyRate) -> Assumptions:
        """The same with other growth of pensions and ISAs and other interest. Written out, because every year of every course of
        markets needs it."""
        return Assumptions(
            pension,
            isa,
            cash,
            self.price_inflation,
            self.thresholds_after_freeze,
            self.tax_rate_on_remaining_pension,
            self.spending_met,
            self.remaining_pension_drawn_over,
            self.price_rises,
            self.pension_growths,
            self.pot_growths,
            self.small_pot_growth,
        )

    def of_small_pot(self, pot: SmallPot) -> YearlyRate:
        """The growth of a small pot after its charge."""
        growth = pot.pension.growth if self.small_pot_growth is None else self.small_pot_growth
        return after_charge(growth, pot.pension.yearly_charge)

    @property
    def growths_differ(self) -> bool:
        """Whether not all pensions grow alike."""
        return bool(self.pension_growths or self.pot_growths)

    def growth_of(self, person: int) -> YearlyRate:
        """The growth of a person's pensions; of several pots, that of the first."""
        return self.pension_growths[person] if self.pension_growths else self.pension_growth

    def growths_of(self, person: int, pots: int) -> tuple[YearlyRate, ...]:
        """The growth of each of a person's ``pots``; one growth where there are none."""
        own = self.pot_growths[person] if self.pot_growths else ()
        return own or (self.growth_of(person),) * max(1, pots)


@dataclass(frozen=True, slots=True)
class Household:
    """One or two people with their spending, from one day to another.

    ``money_of`` is a day of the tax year in whose money yearly amounts are given, the first one where it is None.
    ``minimum_cash`` is kept outside ISAs at the end of every tax year.
    """

    start: date
    end: date
    people: tuple[Member, ...]
    spending: tuple[Spending, ...] = ()
    lump_sums: LumpSums = "with_each_withdrawal"
    assumptions: Assumptions = Assumptions()
    money_of: date | None = None
    minimum_cash: Pence = 0

    def assuming(self, assumptions: Assumptions) -> Household:
        """The same with other assumptions; written out like ``Assumptions.with_rates``."""
        return Household(
            self.start,
            self.end,
            self.people,
            self.spending,
            self.lump_sums,
            assumptions,
            self.money_of,
            self.minimum_cash,
        )

    def caps_in(self, position: int) -> Sequence[Pence | None]:
        """Everybody's cap on what a plan draws in a period; empty where nobody has one."""
        for member in self.people:
            if member.withdrawal_cap is not None:
                return [member.cap_in(position) for member in self.people]
        return ()

    @property
    def claims_as_best(self) -> bool:
        """Whether the marriage allowance is claimed in each tax year as leaves both people together the least tax."""
        return len(self.people) > 1 and self.people[0].marriage_allowance == "as_best"


def taxpayer_of(
    person: Person | Member, incomes: Iterable[tuple[IncomeKind, int]], relief_at_source_contributions: Pence
) -> Taxpayer:
    """A person with the incomes (kind and pence) and contributions of one tax year as the income tax rules see them."""
    other_income = property_income = savings = dividends = 0
    for kind, amount in incomes:
        if kind == "property_income":
            property_income += amount
        elif kind == "savings_interest":
            savings += amount
        elif kind == "dividends":
            dividends += amount
        else:
            other_income += amount
    return Taxpayer(
        nation=person.tax_residence,
        other_income=other_income,
        property_income=property_income,
        savings=savings,
        dividends=dividends,
        relief_at_source=relief_at_source_contributions,
        gift_aid=person.gift_aid_donations,
        blind=person.blind_persons_allowance,
        marriage_allowance=person.marriage_allowance if isinstance(person, Person) else person.standing_claim,
        child_benefit=person.child_benefit,
    )

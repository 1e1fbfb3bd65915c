"""What is held, and how it moved."""

from __future__ import annotations

from datetime import date, timedelta
from typing import NamedTuple

from service.law.lump_sums import Pension
from service.law.units import Pence
from service.planning.household import Member
from service.planning.projection.pots import Funds
from service.planning.projection.settlement import PersonRecord, Settled
from service.planning.projection.timeline import Period, SmallPotPeriod


class Balance(NamedTuple):
    """What a person holds in one place over a period: opening + growth + paid_in - paid_out = closing. Pence."""

    opening: Pence
    growth: Pence
    paid_in: Pence
    paid_out: Pence
    closing: Pence


class Withdrawal(NamedTuple):
    """What is drawn from a pension on the last day of a period, and how it divides; a lump sum that is taken by itself is
    not in it. Pence."""

    gross: Pence
    tax_free: Pence
    taxable: Pence
    from_uncrystallised: Pence
    from_drawdown: Pence


class MoneyPurchaseAllowance(NamedTuple):
    """The money purchase annual allowance of one person: whether it ``applies`` after some time, and whether that time
    ``triggered`` it. ``amount`` is pence a tax year, None where years differ. Where it was triggered, ``first_day`` is the
    first on which contributions are tested against it, and ``tax_year`` that of the first flexible access."""

    applies: bool
    triggered: bool
    amount: Pence | None = None
    first_day: date | None = None
    tax_year: str | None = None


def lump_sum(record: PersonRecord) -> Pence:
    """The one lump sum of "all_now", in the period in which it is taken."""
    return 0 if record.opened.lump_sum is None else record.opened.lump_sum.gross


def withdrawal(record: PersonRecord) -> Withdrawal:
    """What a person draws in a period besides a lump sum."""
    by_itself = lump_sum(record)
    gross = record.gross - by_itself
    from_drawdown = record.opened.pension.drawdown - record.not_grown.drawdown - record.after.pension.drawdown
    return Withdrawal(gross, record.tax_free - by_itself, record.taxable, gross - from_drawdown, from_drawdown)


class Part(NamedTuple):
    """What is told of pensions that count as one: their ``places`` among the person's, how they moved over a period, what is
    drawn on its last day, and what they consist of then. ``small_pot``: it is one that is taken whole. ``lump_sum`` is what of
    one on the first day comes from them, None where that is not told apart."""

    places: tuple[int, ...]
    balance: Balance
    withdrawal: Withdrawal
    after: Funds
    small_pot: bool = False
    lump_sum: Pence | None = None


def parts(
    member: Member,
    record: PersonRecord,
    balance: Balance,
    drawn: Withdrawal,
    before_lump_sum: tuple[Funds, ...] | None = None,
) -> tuple[Part, ...]:
    """A person's period pension by pension: those in one pot are told together. They add up to ``balance``, which is that of all
    pensions, and to ``drawn``, which is without small pots, with those. ``before_lump_sum``: what the pots held before a lump sum
    of the period's first day, where one may have been taken."""
    small = tuple(_small_pot_told(pot) for pot in record.opened.year.small_pots)
    if not small:
        return _drawn_parts(member, record, balance, drawn, before_lump_sum)
    others = Balance(
        *(whole - sum(each) for whole, *each in zip(balance, *(one.balance for one in small), strict=True))
    )
    both = (*small, *_drawn_parts(member, record, others, drawn, before_lump_sum))
    return tuple(sorted(both, key=lambda part: part.places))


def _small_pot_told(pot: SmallPotPeriod) -> Part:
    """A small pot in a period."""
    return Part(
        (pot.place,),
        Balance(pot.opening, pot.growth, 0, pot.gross, pot.closing),
        Withdrawal(pot.gross, pot.tax_free, pot.taxable, pot.gross, 0),
        Funds(pot.closing),
        small_pot=True,
    )


def _drawn_parts(
    member: Member,
    record: PersonRecord,
    balance: Balance,
    drawn: Withdrawal,
    before_lump_sum: tuple[Funds, ...] | None,
) -> tuple[Part, ...]:
    """The same of the pensions that a plan draws as it chooses."""
    after = record.after
    if not member.places_drawn:
        return ()
    if not after.pots:
        whole = Funds(after.pension.uncrystallised, after.pension.drawdown)
        return (Part(member.places_drawn, balance, drawn, whole),)
    found = []
    from_uncrystallised = tax_free = 0
    opened = record.opened
    for k, pot in enumerate(member.pots):
        before, grown, held = opened.before.pots[k], opened.pots[k], after.pots[k]
        opening = sum(before if before_lump_sum is None else before_lump_sum[k])
        unearned, paid_in = record.pots_not_grown[k], opened.year.pots[k].paid_in.amount
        uncrystallised = grown.uncrystallised - unearned.uncrystallised - held.uncrystallised
        drawdown = grown.drawdown - unearned.drawdown - held.drawdown
        # Of the tax-free money each pot has the share of what is drawn from it, to the penny in all.
        from_uncrystallised += uncrystallised
        all_so_far = drawn.tax_free * from_uncrystallised // drawn.from_uncrystallised if from_uncrystallised else 0
        of_this, tax_free = all_so_far - tax_free, all_so_far
        gross = uncrystallised + drawdown
        growth = opened.pot_growth[k] - sum(unearned)
        moved = Balance(opening, growth, paid_in, opening + growth + paid_in - sum(held), sum(held))
        found.append(
            Part(
                pot.places,
                moved,
                Withdrawal(gross, of_this, gross - of_this, uncrystallised, drawdown),
                held,
                lump_sum=None if before_lump_sum is None else opening - sum(before),
            )
        )
    return tuple(found)


def money_purchase_allowance(period: Period, before: Pension, after: Pension) -> MoneyPurchaseAllowance:
    """A person's money purchase annual allowance after a period: the first flexible access is on its last day, and
    contributions after it are tested (Finance Act 2004 ss.227ZA-227G)."""
    amount = period.rules.money_purchase_annual_allowance
    if before.flexibly_accessed or not after.flexibly_accessed:
        return MoneyPurchaseAllowance(after.flexibly_accessed, False, amount)
    return MoneyPurchaseAllowance(True, True, amount, period.last + timedelta(days=1), period.name)


def pension_held(year: Settled) -> Pence:
    """What all pensions hold at the end of a period, pence."""
    held = 0
    for record in year.people:
        pension = record.after.pension
        held += pension.uncrystallised + pension.drawdown
        for pot in record.opened.year.small_pots:
            held += pot.closing
    return held


def isa_held(year: Settled) -> Pence:
    """What all ISAs hold at the end of a period, pence."""
    return sum([record.after.isa for record in year.people])


def cash_held(year: Settled) -> Pence:
    """The cash outside ISAs at the end of a period, pence."""
    return sum([record.after.cash for record in year.people])

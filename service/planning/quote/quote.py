"""One withdrawal, one person, one tax year: what leaves the pension, what it costs, what arrives and what comes back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from functools import partial
from itertools import pairwise
from typing import NamedTuple

from service.law import annual_allowance, income_tax, lump_sums, payroll, rounding
from service.law.ages import age_on
from service.law.income_tax import Liability, Taxpayer, TaxpayerYear, basic_rate_band_unused
from service.law.lump_sums import Allowances, LumpSumRules, Method, Payment, Pension
from service.law.rulebook import RuleBook, TaxYearRules
from service.law.units import POUND, BasisPoints, Pence
from service.law.value import Value
from service.planning.curve.piece import Piece
from service.planning.curve.tax_curve import TaxCurve, pieces_to, tax_curve
from service.planning.curve.tax_function import TaxFunction
from service.planning.faults import Fault, RuleViolation, no_such_allowance_yet
from service.planning.household import PEOPLE, Path, Person, SavingFacts
from service.planning.once import Once
from service.planning.payroll import PayrollFacts, PayrollOutcome, payroll_outcome
from service.planning.quote.gross_up import Wanted, least_gross
from service.planning.wording import YOU, listed, pounds

_MORE = 100 * POUND
"""How much more of a taxable withdrawal the marginal rate is told of. A hundred pounds are 10,000 pence, so the extra tax in
pence is the rate in basis points."""


class Withdrawal(Value, frozen=True):
    """A withdrawal asked for: exactly one of ``amount`` (gross) and ``net_wanted`` should be given; pence."""

    method: Method
    amount: Pence | None = None
    net_wanted: Pence | None = None
    day: date | None = None


class Question(Value, frozen=True):
    """What is asked about one pension of one person in one tax year. ``person_place`` is the person's place in the household,
    ``pension_place`` the pension's among theirs; ``who`` names the person at the start of a sentence. ``earlier_access_matters``:
    it was not said whether income was taken flexibly before, and it matters. ``partner_born`` is the date of birth of the other
    of a couple; all other facts from there on are as in ``PersonFacts``."""

    tax_year: str
    person: Person
    pension: Pension
    withdrawal: Withdrawal
    payroll: PayrollFacts | None = None
    person_place: int = 0
    pension_place: int = 0
    who: str = YOU
    earlier_access_matters: bool = False
    tax_free_received: Pence | None = None
    small_pots_taken: int | None = None
    scheme_kind: str | None = None
    partner_born: date | None = None
    saving: SavingFacts | None = None
    lives_abroad: bool = False

    @property
    def person_path(self) -> Path:
        """The person's place in the request."""
        return (*PEOPLE, self.person_place)

    @property
    def pension_path(self) -> Path:
        """The pension's place in the request."""
        return (*PEOPLE, self.person_place, "pensions", self.pension_place)


class Slice(Value, frozen=True):
    """Part of the taxable withdrawal taxed at one rate (basis points), or a step (``rate`` None). Pence.

    On a staircase the tax also jumps by ``stair_height`` or a little more at every ``stair_width``, which is 0 elsewhere.
    """

    start: Pence
    end: Pence
    rate: BasisPoints | None
    tax: Pence
    because: tuple[str, ...]
    stair_width: Pence = 0
    stair_height: Pence = 0


class LifetimeAllowanceTest(NamedTuple):
    """What a crystallisation used of the lifetime allowance (to 2023-24). Pence."""

    standard: Pence
    available_before: Pence
    used_by_this: Pence
    available_after: Pence


class Quote(Value, frozen=True):
    """The whole answer. Money in pence; ``without`` and ``with_it`` are the year's tax before and after. What only some callers
    look at, and takes longer than the rest, is made when it is first asked for.

    ``lump_sum_rules`` are the tax year's for the person's age on the day. ``money_purchase_from`` is the day from which
    contributions count against the money purchase annual allowance, where this withdrawal brings it in and its day is known.
    """

    question: Question
    rules: TaxYearRules
    lump_sum_rules: LumpSumRules
    asked: TaxFunction
    payment: Payment
    left_before: Allowances
    without: Liability
    with_it: Liability
    on_withdrawal: Pence
    net_after_tax: Pence
    curve_once: Once[TaxCurve]
    payroll_once: Once[PayrollOutcome]
    money_purchase_applies: bool
    money_purchase_triggered: bool
    money_purchase_from: date | None
    personal_allowance_unused: Pence
    basic_rate_band_unused: Pence
    lifetime_allowance: LifetimeAllowanceTest | None
    lump_sum_allowance_after: Pence | None
    death_benefit_allowance_after: Pence | None
    uncrystallised_after: Pence
    drawdown_after: Pence

    @property
    def year(self) -> TaxpayerYear:
        """The person's year without the withdrawal."""
        return self.asked.year

    @property
    def taxpayer(self) -> Taxpayer:
        """The person as the income tax rules see them."""
        return self.asked.year.taxpayer

    @property
    def marginal_rate(self) -> BasisPoints:
        """What the next hundred pounds of taxable withdrawal would cost, steps and staircases included."""
        return _total_at(self.payment.taxable + _MORE, self.curve_once(), self.asked) - self.with_it.total

    @property
    def slices(self) -> tuple[Slice, ...]:
        """The taxable part, cut where its rate changes."""
        return slices(self.curve_once(), self.payment.taxable)

    @property
    def payroll(self) -> PayrollOutcome:
        """What payroll takes."""
        return self.payroll_once()

    @property
    def evaluations(self) -> int:
        """How often the rules have been asked so far."""
        return self.asked.evaluations


def quote(question: Question, book: RuleBook) -> Quote:
    """Answer a question. RuleViolation where it asks for what the rules do not allow."""
    rules = book.years[question.tax_year]
    of_age = _lump_sum_rules(question, rules)
    left = lump_sums.available(question.pension, of_age)
    most = lump_sums.most_permitted(question.withdrawal.method, question.pension, of_age, left)
    _refuse_what_cannot_be(question, rules, left, most)
    year = _year(question, rules)
    gross, curve = _gross(question, rules, of_age, left, most, year)
    payment = lump_sums.take(question.withdrawal.method, gross, question.pension, of_age, left)
    without, with_it = year(0), year(payment.taxable)
    on_withdrawal = with_it.total - without.total
    uncrystallised, drawdown = lump_sums.pension_after(question.pension, payment)
    outcome = partial(
        payroll_outcome,
        question.withdrawal.method,
        payment,
        question.payroll,
        rules,
        person=question.person,
        tax_before=without.total,
        tax_after=with_it.total,
        emptied=uncrystallised + drawdown == 0,
        uk_resident=not question.lives_abroad,
    )
    accessed = question.pension.flexibly_accessed
    flexible = annual_allowance.triggered_by(question.withdrawal.method, payment)
    triggered = flexible and not accessed
    day = question.withdrawal.day
    # The first fields by position, in the order of the class: see ``service/law/value.py``.
    return Quote(
        question,
        rules,
        of_age,
        year,
        payment,
        left,
        without,
        with_it,
        on_withdrawal,
        gross - payment.charge - on_withdrawal,
        Once(partial(tax_curve, year, payment.taxable, every_point=False), curve),
        Once(outcome),
        accessed or flexible,
        triggered,
        money_purchase_from=annual_allowance.applies_from(day) if triggered and day is not None else None,
        personal_allowance_unused=_or_nothing(with_it.allowances - with_it.net_income),
        basic_rate_band_unused=basic_rate_band_unused(year.year, with_it),
        lifetime_allowance=_lifetime_allowance_test(question, of_age, left, payment),
        lump_sum_allowance_after=_left_of(left.lump_sum_allowance, question, payment),
        death_benefit_allowance_after=_left_of(left.lump_sum_and_death_benefit_allowance, question, payment),
        uncrystallised_after=uncrystallised,
        drawdown_after=drawdown,
    )


def _lump_sum_rules(question: Question, rules: TaxYearRules) -> LumpSumRules:
    """The tax year's lump sum rules for the person's age on the day. Without a day it is that of the year's first day, so that
    a charge is not left out which may be due."""
    day = question.withdrawal.day or rules.figures.start
    return lump_sums.at_age(rules.lump_sums, age_on(question.person.date_of_birth, day))


def _year(question: Question, rules: TaxYearRules) -> TaxFunction:
    """The person's year without the withdrawal, ready to be asked."""
    person = question.person
    return TaxFunction(income_tax.taxpayer_year(person.taxpayer(), rules.income_tax[person.tax_residence]))


def _total_at(taxable: Pence, curve: TaxCurve, year: TaxFunction) -> Pence:
    """The year's tax with a taxable withdrawal: read off the curve inside a piece that is exact, which is quicker, or else by
    the rules."""
    for piece in curve.pieces:
        if piece.start < taxable < piece.end and piece.exact:
            return rounding.years_tax_to_the_penny(piece.tax_at(taxable))
    return year(taxable).total


def slices(curve: TaxCurve, taxable: Pence) -> tuple[Slice, ...]:
    """The taxable withdrawal cut along the curve. Each slice's tax is a difference of rounded tax, so they add up."""
    cut: list[Slice] = []
    so_far = rounding.years_tax_to_the_penny(curve.pieces[0].tax_start)
    carried: Pence | None = None
    for piece, following in pairwise((*curve.pieces, None)):
        assert piece is not None
        start, end, rate, because = piece.start, piece.end, piece.rate, piece.because
        if start >= taxable and not (start == taxable and rate is None and piece.is_charge_step):
            break
        tax_end = piece.tax_end
        if end > taxable:
            end, tax_end = taxable, piece.tax_at(taxable)
        elif end - start == 1 and end < taxable and following is not None and following.rate is not None:
            # A bend that falls between two pennies: the penny goes with the slice that follows, and so do several in a row.
            carried = start if carried is None else carried
            continue
        if carried is not None:
            start, carried = carried, None
        tax_to_end = rounding.years_tax_to_the_penny(tax_end)
        tax = tax_to_end - so_far
        so_far = tax_to_end
        width = height = 0
        if piece.stairs is not None:
            width, height = piece.stairs.width, piece.stairs.least_height
        last = cut[-1] if cut else None
        if (
            last is not None
            and rate is not None
            and last.rate == rate
            and last.because == because
            and last.stair_width == width
            and last.stair_height == height
        ):
            cut[-1] = last._replace(end=end, tax=last.tax + tax)
        else:
            cut.append(Slice(start, end, rate, tax, because, width, height))
    return tuple(cut)


def _refuse_what_cannot_be(question: Question, rules: TaxYearRules, left: Allowances, most: Pence) -> None:
    """Everything that cannot be, all at once, but for a net amount that is out of reach: that takes a search."""
    faults: list[Fault] = []
    permitted: Pence | None = None
    asked, pension, person, figures = question.withdrawal, question.pension, question.person, rules.figures
    if asked.day is not None and not figures.start <= asked.day <= figures.end:
        faults.append(
            Fault(
                ("withdrawal", "date"),
                "outside-tax-year",
                f"`date` {asked.day.isoformat()} is not in {figures.name}, which runs from "
                f"{figures.start.isoformat()} to {figures.end.isoformat()}.",
            )
        )
    if person.date_of_birth > (asked.day or figures.end):
        faults.append(
            Fault(
                (*question.person_path, "date_of_birth"),
                "not-yet-born",
                f"`date_of_birth`, {person.date_of_birth.isoformat()}, is after the withdrawal's `date`, {asked.day.isoformat()}."
                if asked.day is not None
                else f"`date_of_birth`, {person.date_of_birth.isoformat()}, is after the end of {figures.name}, "
                f"{figures.end.isoformat()}.",
            )
        )
    faults += no_such_allowance_yet(pension, rules, question.person_path)
    if question.payroll is not None:
        code = payroll.parse_code(question.payroll.code)
        if not payroll.is_in_use(rules.payroll, code):
            faults.append(
                Fault(
                    ("payroll", "code"),
                    "code-not-in-use",
                    f"The code {code.text} does not exist in {figures.name}.",
                )
            )
    if asked.amount is not None and asked.amount > most:
        fault, permitted = _too_much(question, rules, left, most)
        faults.append(fault)
    if faults:
        raise RuleViolation(tuple(faults), permitted)


def _gross(
    question: Question, rules: TaxYearRules, of_age: LumpSumRules, left: Allowances, most: Pence, year: TaxFunction
) -> tuple[Pence, TaxCurve | None]:
    """The gross withdrawal in pence, and the tax curve if it took one to find it that can be shown."""
    asked = question.withdrawal
    if asked.amount is not None:
        return asked.amount, None
    assert asked.net_wanted is not None
    net_wanted = asked.net_wanted

    # A protected lump sum is had with the last penny alone, so all before it are searched without.
    pension = question.pension
    whole = lump_sums.comes_with_the_last_penny(asked.method, pension, of_age, left)
    if whole:
        pension, most = pension._replace(protected_tax_free_share=0), most - 1
    split = lump_sums.splitter(asked.method, pension, of_age, left)

    def on_withdrawal(taxable: Pence) -> Pence:
        return year(taxable).total - year(0).total

    within = lump_sums.gross_within(asked.method, pension, of_age, left)
    has_child_benefit = year.year.taxpayer.child_benefit > 0
    wanted = Wanted(net_wanted, most, split, year(0).total, on_withdrawal, within, has_child_benefit)
    followed: list[Piece] = []

    def pieces() -> Iterator[Piece]:
        for piece in pieces_to(year, split(most)[0]):
            followed.append(piece)
            yield piece

    found = least_gross(wanted, pieces())
    if found.gross is None and whole:
        most += 1
        taxable, charge, *_ = lump_sums.splitter(asked.method, question.pension, of_age, left)(most)
        net = most - charge - on_withdrawal(taxable)
        if net >= net_wanted:
            return most, None
        found = found._replace(most_net=max(found.most_net, net))
    if found.gross is None and most == 0:
        raise RuleViolation((_nothing_there(question, left, ("withdrawal", "net_wanted")),))
    if found.gross is None:
        raise RuleViolation(
            (
                Fault(
                    ("withdrawal", "net_wanted"),
                    "net-wanted-out-of-reach",
                    f"This method leaves at most {pounds(found.most_net)} after tax in {rules.figures.name}, from "
                    f"{pounds(most)} before tax.",
                ),
            ),
            found.most_net or None,
        )
    # With child benefit the charge was searched in steps, and is shown as a staircase.
    can_be_shown = followed[-1].end > split(found.gross)[0] and not has_child_benefit
    return found.gross, TaxCurve(tuple(followed)) if can_be_shown else None


def _too_much(question: Question, rules: TaxYearRules, left: Allowances, most: Pence) -> tuple[Fault, Pence | None]:
    """Why the amount is more than the method can pay, and the figure that would be permitted where there is one."""
    where = ("withdrawal", "amount")
    pension, method = question.pension, question.withdrawal.method
    limit, held = rules.lump_sums.small_pot_limit, pension.uncrystallised + pension.drawdown
    if method == "small_pot" and held > limit:
        # A small pot is taken whole, so no smaller amount would do.
        return Fault(
            where,
            "small-pot-over-limit",
            f"This pension holds {pounds(held)}, more than the {pounds(limit)} that a small pot may hold."
            f"{_other_methods(pension)}",
        ), None
    if most == 0:
        return _nothing_there(question, left, where), None
    permitted = f"At most {pounds(most)} can be taken."
    if method == "pcls":
        allowance = "lifetime allowance" if left.lifetime_allowance is not None else "lump sum allowances"
        is_cut = left.tax_free < lump_sums.quarter(pension.uncrystallised, rules.lump_sums)
        limited_by = f"by the {allowance} left" if is_cut else "to a quarter of the uncrystallised funds"
        if most > left.tax_free or most > lump_sums.quarter(pension.uncrystallised, rules.lump_sums):
            limited_by = "to the share of the uncrystallised funds that the scheme protects"
        elif pension.protected_tax_free_share > rules.lump_sums.tax_free_rate and pension.drawdown:
            limited_by += ", because some of this pension is in drawdown already"
        return Fault(
            where, "over-permitted-maximum", f"The tax-free lump sum is limited {limited_by}. {permitted}"
        ), most
    holding = {"drawdown": "drawdown funds hold", "small_pot": "pension holds"}.get(method, "uncrystallised funds hold")
    return Fault(where, "more-than-the-pot", f"The amount is more than the {holding}. {permitted}"), most


def _nothing_there(question: Question, left: Allowances, where: tuple[str, ...]) -> Fault:
    """Why a method can pay nothing at all."""
    pension, method = question.pension, question.withdrawal.method
    if method == "drawdown":
        why = "None of this pension is in drawdown. If some of it is, give that as the pension's `drawdown`."
    elif method == "small_pot":
        why = "This pension holds nothing."
    elif pension.uncrystallised == 0:
        why = "This pension has no uncrystallised funds."
    elif method == "ufpls":
        why = "Nothing is left of the lifetime allowance, and from age 75 nothing can then be paid as a UFPLS."
        return Fault(where, "more-than-the-pot", f"{why} Use `pcls_and_drawdown`.")
    elif left.tax_free == 0:
        allowance = "lifetime allowance" if left.lifetime_allowance is not None else "lump sum allowances"
        why = f"Nothing is left of the {allowance}, so there is no tax-free lump sum."
    else:
        why = "A quarter of this pension is less than a penny."
    return Fault(where, "more-than-the-pot", why + _other_methods(pension))


def _other_methods(pension: Pension) -> str:
    """A sentence that names the methods that can pay from what a pension holds; nothing where it holds nothing."""
    names = ["ufpls", "pcls_and_drawdown"] if pension.uncrystallised else []
    names += ["drawdown"] if pension.drawdown else []
    return f" Use {listed([f'`{name}`' for name in names], 'or')}." if names else ""


def _left_of(allowance: Pence | None, question: Question, payment: Payment) -> Pence | None:
    """An allowance after the payment's tax-free part, where that part counts against it."""
    if allowance is None or not lump_sums.uses_allowances(question.withdrawal.method):
        return allowance
    return _or_nothing(allowance - payment.tax_free)


def _or_nothing(amount: Pence) -> Pence:
    """An amount, or nothing where it is negative."""
    return amount if amount > 0 else 0


def _lifetime_allowance_test(
    question: Question, rules: LumpSumRules, left: Allowances, payment: Payment
) -> LifetimeAllowanceTest | None:
    """The test of FA 2004 s.216, benefit crystallisation events 1 and 6, for the years that had it; none from 75 on."""
    if left.lifetime_allowance is None or not rules.tested:
        return None
    used = min(payment.crystallised, left.lifetime_allowance)
    return LifetimeAllowanceTest(
        standard=lump_sums.personal_lifetime_allowance(question.pension, rules),
        available_before=left.lifetime_allowance,
        used_by_this=used,
        available_after=left.lifetime_allowance - used,
    )

"""The types of the agreement, made by `python -m tests.clients.made`. Do not change this file by hand."""

from __future__ import annotations

from typing import Any, Literal, NotRequired, TypeAlias, TypedDict

TaxYear: TypeAlias = str
"""
A tax year, from 6 April of the first year to 5 April of the second. `GET /v1/tax-years` lists the years that have figures,
now 2019-20 to 2030-31. Later ones will be added.

"""


Money: TypeAlias = float
"""
Pounds, at most two decimals.
"""


MoneyAnswer: TypeAlias = float
"""
Pounds, at most two decimals, never below nil.
"""


SignedMoneyAnswer: TypeAlias = float
"""
Pounds, at most two decimals; may be below nil.
"""


Rate: TypeAlias = float
"""
A fraction; 0.2 is 20 per cent.
"""


RulesVersion: TypeAlias = str
"""
Identifies the rules: the figures, and the code that works out and words answers. The same request under the same version
gives the same bytes. It changes whenever a figure or that code changes. It begins with a letter, so that no spreadsheet
takes it for a number.

"""


FiguresVersion: TypeAlias = str
"""
Identifies the figures. It changes whenever a value, source, standing, caveat or other text of a figure changes. It begins
with a letter.

"""


SoftwareVersion: TypeAlias = str
"""
The release of the service; the same as `info.version` of this document.
"""


LawName: TypeAlias = str
"""
The law to answer by. `known` is the law as known; the other names are those of proposed laws that the operator of the
service has put beside it, if any. `GET /v1/tax-years` lists them under `laws`. A name that is not held is refused, with the
names that are. Left out, `known`.

"""


SummaryItem: TypeAlias = str


class ComparedLawImpossible(TypedDict):
    """
    That what is asked cannot be, or is not allowed, under the law of `compare_law`.
    """

    name: LawName
    title: NotRequired[str]
    """
    What is proposed. Left out if it is the law as known.
    """
    outcome: Literal['impossible']
    """
    That there is no answer under that law.
    """
    reason: str
    """
    Why.
    """


class ComparedAmounts(TypedDict):
    """
    An amount under two laws.
    """

    value: float
    """
    The amount as the answer has it.
    """
    compared: float
    """
    The amount under the other law.
    """
    difference: float
    """
    How much more it is under the other law; less, if negative.
    """


class LawDifferenceOfAnswer(TypedDict):
    """
    A number of the answer under two laws.
    """

    pointer: str
    """
    Where it stands in the answer, such as `#/totals/wealth_after_tax`.
    """
    value: float
    """
    The number as the answer has it.
    """
    compared: float
    """
    The number under the other law.
    """
    difference: float
    """
    How much more it is under the other law; less, if negative.
    """


class FigureCaveat(TypedDict):
    """
    The caveat on one figure.
    """

    figure: str
    """
    The figure's name in `GET /v1/tax-years/{tax_year}`, or `state_pension.age` for the table of State Pension age, which
    belongs to no tax year.

    """
    caveat: str
    """
    One plain sentence, or two, that a client may read.
    """


Day: TypeAlias = str
"""
A calendar day, not before 1900-01-01.
"""


Nation: TypeAlias = Literal['england', 'northern_ireland', 'scotland', 'wales']
"""
The nation whose rates of income tax apply to earnings, pensions and other income that is neither savings nor dividends.
"""


IncomeKind: TypeAlias = Literal['employment', 'self_employment', 'state_pension', 'defined_benefit_pension', 'annuity', 'other_taxable', 'property_income', 'savings_interest', 'dividends']
"""
The kind of income. Savings, dividends and (from 2027-28) property have rates of their own, and the form for a reclaim
depends on whether there is pay or a pension.

"""


MarriageAllowance: TypeAlias = Literal['none', 'gives', 'receives', 'as_best']
"""
Whether a tenth of the personal allowance is transferred between spouses or civil partners: this person
`gives` it, `receives` it, or neither. Two people with `estate.spouses` false cannot claim it: a request that says both is refused.

`as_best`, said by both of a couple: plans and lump sum timing choose in each tax year, by that year's incomes. They take
what leaves the two together the least tax: no claim, or either of them giving. A quote and `POST /v1/warnings` refuse it,
since they look at what is claimed. It is also refused where one of the two was born before 6 April 1935: they may have the
married couple's allowance instead.

"""


Standing: TypeAlias = Literal['enacted', 'announced', 'assumed', 'proposed']
"""
The weakest standing among the figures used: `enacted` is law; `announced` was published by government but
is not known to be law; `assumed` is not set or not published, and the last known value is used; `proposed` is part of a
proposed law, and is in no answer but those to a request with `law`.

"""


Name: TypeAlias = str
"""
A name, on one line, without spaces at its ends.
"""


Contribution = TypedDict(
    'Contribution',
    {
        'amount': NotRequired[Money],
        'date': NotRequired[Day],
        'yearly': NotRequired[Money],
        'from': NotRequired[Day],
        'to': NotRequired[Day],
        'payer': NotRequired[Literal['self', 'employer', 'third_party']],
        'relief': NotRequired[Literal['relief_at_source', 'net_pay', 'none']],
        'saving': NotRequired[Literal['money_purchase', 'defined_benefit']],
        'pension': NotRequired[int],
    },
)


class IncomeHad(TypedDict):
    """
    An income that was had earlier in the tax year and has ended.
    """

    kind: IncomeKind
    amount: Money
    """
    What was had of it in the tax year, before tax.
    """


class Isa(TypedDict):
    """
    A person's ISAs. Left out, there are none.
    """

    value: NotRequired[Money]
    """
    What all of them are worth together. Left out, nothing.
    """
    subscribed_this_year: NotRequired[Money]
    """
    What was paid in so far, in the tax year of a plan's first day or of the date of a warnings request. It uses up part of
    the ISA allowance. Left out, nothing.

    """
    cash_subscribed_this_year: NotRequired[Money]
    """
    How much of `subscribed_this_year` went into cash ISAs, which have a lower limit from 2027-28 for people under 65. Left
    out, it is not known. Plans count all of `subscribed_this_year` against the limit that they use.

    """
    withdrawn_this_year: NotRequired[Money]
    """
    What was taken out so far in that tax year. Left out, nothing.
    """
    cash_isa: NotRequired[bool]
    """
    Whether new money of a plan goes into a cash ISA, which has a lower limit from 2027-28 for those under 65. Plans use that
    limit up to and including the tax year of the 65th birthday. It grows by `isa_growth` all the same. Left out, no.

    """
    flexible: NotRequired[bool]
    """
    Whether money taken out can be put back without using the limit. Left out, it is not known.
    """


class Benefits(TypedDict):
    """
    Benefits and support received. Left out as a whole, it is not known; those left out of it are not received.
    """

    universal_credit: NotRequired[bool]
    """
    Universal Credit.
    """
    pension_credit: NotRequired[bool]
    """
    Pension Credit.
    """
    housing_benefit: NotRequired[bool]
    """
    Housing Benefit.
    """
    council_tax_support: NotRequired[bool]
    """
    Council tax support or reduction.
    """
    care_support: NotRequired[bool]
    """
    Help with the cost of care, from the council or, in Northern Ireland, the health and social care trust.
    """
    new_style_employment_and_support_allowance: NotRequired[bool]
    """
    New-style or contributory Employment and Support Allowance, which depends on pension income.
    """
    new_style_jobseekers_allowance: NotRequired[bool]
    """
    New-style or contributory Jobseeker's Allowance, which depends on pension income.
    """


class StudentLoans(TypedDict):
    """
    Student loans not yet repaid, by repayment plan. Left out, none are looked at.
    """

    plan_1: NotRequired[bool]
    """
    Plan 1.
    """
    plan_2: NotRequired[bool]
    """
    Plan 2.
    """
    plan_4: NotRequired[bool]
    """
    Plan 4, Scotland.
    """
    plan_5: NotRequired[bool]
    """
    Plan 5.
    """
    postgraduate: NotRequired[bool]
    """
    A postgraduate loan.
    """


class InheritedPension(TypedDict):
    """
    A pension inherited from someone. Left out, there is none.
    """

    scheme_knew_on: Day
    """
    The day on which its scheme first knew, or could have known, of the death.
    """
    died_before_75: bool
    """
    Whether the member died before age 75.
    """


class HomeGivenUp(TypedDict):
    """
    A home that was sold, given away or left for a smaller one on or after 8 July 2015. A downsizing addition may make up for the
    residence nil-rate band lost by this. For a couple's home, `first_person_share` gives each person's share.

    """

    value: Money
    """
    What the whole home was worth when it was given up, after any mortgage on it.
    """
    residence_nil_rate_band: Money
    """
    The full residence nil-rate band for a death on that day: 100,000 pounds for a day before 6 April 2017, 175,000 from 6
    April 2020.

    """
    rest_to_descendants: NotRequired[bool]
    """
    Whether children, grandchildren or their spouses inherit what beneficiaries receive, apart from pensions and the home held
    on the day of death. If not, there is no addition. Left out, yes.

    """


PersonPlace: TypeAlias = int
"""
Which person of the household; 0 is the first. It may be left out where there is only one.
"""


PensionPlace: TypeAlias = int
"""
Which of the person's pensions; 0 is the first. It may be left out where there is only one.
"""


GrowthRate: TypeAlias = float
"""
A yearly rate of growth as a fraction; 0.025 is 2.5%. It may have eight decimals, so that you can ask again with a rate from
`break_evens`.

"""


YearlyRate: TypeAlias = float
"""
A yearly rate as a fraction, at most four decimals; 0.025 is 2.5%.
"""


YearlyInterest: TypeAlias = float
"""
A yearly rate of interest as a fraction, at most four decimals; 0.025 is 2.5%.
"""


Share: TypeAlias = float
"""
A share or a rate from 0 to 1 as a fraction, at most four decimals; 0.25 is a quarter.
"""


Method: TypeAlias = Literal['pcls', 'pcls_and_drawdown', 'ufpls', 'drawdown', 'small_pot']
"""
- `pcls`: a pension commencement lump sum, the tax-free cash alone; three times as much goes to drawdown.
- `pcls_and_drawdown`: both halves at once, tax-free cash and the drawdown that goes with it, paid out together.
- `ufpls`: an uncrystallised funds pension lump sum; a quarter is tax free and the rest is taxable.
- `drawdown`: income from funds already in drawdown, all taxable.
- `small_pot`: a small lump sum that empties a pot of up to £10,000.

"""


WithdrawalDate: TypeAlias = Day
"""
The day of payment, within the tax year. Without it, a warning says what depends on the day, such as the minimum pension
age.

"""


TaxCode: TypeAlias = str
"""
A tax code as HMRC issues it, without a week 1 or month 1 mark, such as 1257L, S1257L, K475 or 0T.
"""


TaxMonth: TypeAlias = int
"""
The tax month of the payment; month 1 is 6 April to 5 May. Needed on the cumulative basis, not used on the
month 1 basis.

"""


PayToDate: TypeAlias = Money
"""
Taxable pay already paid in the year under this code, before this payment. It must be part of `income` as well. Not used
on the month 1 basis.

"""


TaxToDate: TypeAlias = Money
"""
Tax already deducted in the year under this code, before this payment. Not used on the month 1 basis.
"""


class PlannedWithdrawal(TypedDict):
    """
    A planned withdrawal.
    """

    person: NotRequired[PersonPlace]
    pension: NotRequired[PensionPlace]
    method: Method
    amount: Money
    """
    The gross payment, tax-free and taxable parts together.
    """
    date: Day
    """
    The day of payment, not before the `date` of the request.
    """


class IsaSubscription(TypedDict):
    """
    A planned ISA subscription.
    """

    person: NotRequired[PersonPlace]
    amount: Money
    """
    What is to be paid in.
    """
    date: Day
    """
    The day, not before the `date` of the request.
    """
    cash_isa: NotRequired[bool]
    """
    Whether it goes into a cash ISA. Left out, no.
    """


Goal: TypeAlias = Literal['personal_allowance', 'basic_rate_band', 'higher_rate_band', 'most_after_tax', 'steady_income', 'most_to_beneficiaries']
"""
- `personal_allowance`: each draws, each tax year, the most that adds no tax.
- `basic_rate_band`: each draws up to the top of the basic rate band; in Scotland, to where the higher rate begins.
- `higher_rate_band`: each draws up to the top of the higher rate band.
- `most_after_tax`: leaves the most wealth after tax on the last day. It may pay more income tax than another plan.
- `steady_income`: pays the highest level income after tax, in whole pounds, from the first day to the last, besides any
  `spending`. It is in the money of the first tax year and rises with prices. Of the plans that pay it, the one that
  leaves the most. For an income that lasts to an age, let the plan end there.
- `most_to_beneficiaries`: leaves the most to beneficiaries if everybody died on the last day, the first person first. That is
  after inheritance tax and their income tax at `beneficiary_tax_rate`. `household.estate` is needed, and may be empty. Of a
  couple, both are taken to live until the last day. What the survivor of an earlier death should do is not planned.

"""


LumpSums: TypeAlias = Literal['with_each_withdrawal', 'all_now', 'never']
"""
How tax-free cash is taken from uncrystallised funds. Left out, `with_each_withdrawal`.

- `with_each_withdrawal`: a quarter of each withdrawal is tax free (uncrystallised funds pension lump sums).
- `all_now`: all of it at once, in the first tax year in which it may be taken; the rest moves to drawdown and is taxable.
- `never`: none is taken; all withdrawals are taxable.

"""


class Search(TypedDict):
    """
    How to search for the plan that leaves the most, pays the highest income or leaves the most to beneficiaries. It has no effect on the other goals.

    """

    effort: NotRequired[Literal['quick', 'standard', 'thorough']]
    """
    How much work the search may take, scenarios included. Left out, `standard`. The work is counted in steps of the
    calculation, not in time, so the same request has the same answer. When the work is used up, the answer is the best
    plan found so far, with its bound. `quick` usually takes less than half a second, `standard` about a second or two at
    most, and `thorough` up to ten, on a machine like the one the service was measured on.

    """


class RemainingPensionTax(TypedDict):
    """
    Tax on the pension left at the end, beyond its tax-free part. It stands for tax on later withdrawals, or tax that those who
    inherit it pay. Exactly one of `drawn_over_years` and `rate` is needed.

    Drawn over so many years, the same amount is drawn in each, on top of the person's income in the plan's last tax year and taxed
    by that year's rates. Interest on the plan's cash, growth in those years and later law are left out. Where the personal
    allowance is withdrawn, the tax is a little too low.

    """

    drawn_over_years: NotRequired[int]
    """
    Over how many years it is drawn.
    """
    rate: NotRequired[Share]
    """
    A flat tax rate.
    """


class Scenario(TypedDict):
    """
    The assumptions that differ; what is left out stays as in the plan.
    """

    pension_growth: NotRequired[GrowthRate]
    """
    Growth of all pensions a year, in place of their own, before any `yearly_charge`.
    """
    isa_growth: NotRequired[GrowthRate]
    """
    Growth of the ISAs a year, after charges.
    """
    cash_interest: NotRequired[YearlyInterest]
    """
    Interest a year on cash outside ISAs, before tax.
    """


class SensitivityAsked(TypedDict):
    """
    How far each assumption goes up and down, one at a time, to see how much turns on it. An empty object takes the steps below.
    A plan is planned anew for each case, always with quick effort, and a comparison carries its options out anew: about ten
    plans or comparisons in all. A step of 0 changes nothing: both cases are then as assumed, and charts leave them out. Of the
    two for the tax on what is left in the pension, only the one that the request's assumptions use can be given. Left out,
    nothing is changed.

    """

    growth: NotRequired[float]
    """
    By how much pensions and ISAs grow more or less a year, as a fraction. If it is not given, the step is 0.01.
    """
    price_inflation: NotRequired[float]
    """
    By how much prices rise more or less a year, as a fraction. If it is not given, the step is 0.01.
    """
    tax_rate_on_remaining_pension: NotRequired[float]
    """
    The step of a flat rate on what is left, as a fraction. If it is not given, the step is 0.05.
    """
    drawn_over_years: NotRequired[int]
    """
    The step of the years over which what is left counts as drawn. If it is not given, the step is 5.
    """
    length_of_life: NotRequired[int]
    """
    By how many years the plan ends later or earlier, or the age of a comparison. If it is not given, the step is 5.
    """


Stage: TypeAlias = Literal['isa_allowance'] | Money
"""
How large a stage of `phased` is, for the household: as much as fits into both ISA allowances after the cash already held
(`isa_allowance`), or an amount a year. Without it, a stage is `isa_allowance`. Not for other options.

"""


class IncomePlan(TypedDict):
    """
    What is drawn from the pension besides lump sums. An option without an `aim` of its own uses that of the request. Without
    either, the goal is `personal_allowance`.

    """

    goal: Literal['personal_allowance', 'basic_rate_band', 'higher_rate_band', 'spending_only']
    """
    - `personal_allowance`: each draws, each 5 April, the most that adds no tax.
    - `basic_rate_band`: each draws up to the top of the basic rate band; in Scotland, to where the higher rate begins.
    - `higher_rate_band`: each draws up to the top of the higher rate band.
    - `spending_only`: nothing is drawn beyond what spending needs after cash and ISAs.

    In all, more is drawn where spending needs it.

    """


class DeathAsked(TypedDict):
    """
    A death, and for a couple the age at which the other then dies. Both birthdays must fall within the years, the survivor's
    after the first death.

    """

    person: NotRequired[PersonPlace]
    age: int
    """
    The age on whose birthday the person dies.
    """
    survivor_age: NotRequired[int]
    """
    The age on whose birthday the other of a couple dies. Left out, the survivor is assumed to die on the last day.

    """


class GrowthRange(TypedDict):
    """
    The range of pension growth in which to look for break-evens; `low` must be below `high`. Left out, 0 and 0.1. Where pensions
    grow differently, it is their growth on average, by what each holds at the start.

    """

    low: YearlyRate
    """
    The lowest rate.
    """
    high: YearlyRate
    """
    The highest rate.
    """


Notice: TypeAlias = str
"""
A short notice to show with the numbers. It says that this is an illustration and not advice, which figures are not
yet law, that changes after `rules.law_as_of` are not included, and who to check with before acting.

"""


class WithdrawalParts(TypedDict):
    """
    How the payment divides: `gross` is `tax_free`, `taxable` and any `taxed_as_excess` together.

    """

    person: int
    """
    Whose withdrawal it is; 0 is the first person of the request.
    """
    pension: int
    """
    Which of this person's pensions it is from; 0 is the first.
    """
    method: Method
    gross: MoneyAnswer
    """
    The whole payment before tax.
    """
    tax_free: MoneyAnswer
    """
    The part on which no income tax is due.
    """
    taxable: MoneyAnswer
    """
    The part that is taxed as pension income of the year.
    """
    taxed_as_excess: NotRequired[MoneyAnswer]
    """
    The part on which the lifetime allowance charge is due instead; only where there is one.
    """


Because: TypeAlias = list[str]
"""
The rules that cause this rate, such as `personal_allowance`, `basic_rate` or `personal_allowance_taper`.
"""


class Staircase(TypedDict):
    """
    Present where the law counts in whole pounds or per cents, so that the tax rises at `rate` and also jumps at regular
    intervals: where the personal allowance is withdrawn, and where the child benefit charge rises.

    """

    every: MoneyAnswer
    """
    Pounds of taxable withdrawal from one jump to the next.
    """
    by: MoneyAnswer
    """
    Pounds of tax that a jump adds. The child benefit charge is rounded to whole pounds: there some jumps are a pound
    higher.

    """


class LifetimeAllowance(TypedDict):
    """
    The test against the lifetime allowance; only for tax years to 2023-24, and only before the 75th birthday.

    """

    standard: MoneyAnswer
    """
    The standard lifetime allowance of the year.
    """
    available_before: MoneyAnswer
    """
    What was left of it before this withdrawal.
    """
    used_by_this: MoneyAnswer
    """
    What this withdrawal uses.
    """
    available_after: MoneyAnswer
    """
    What is left of it afterwards.
    """
    excess: MoneyAnswer
    """
    What is crystallised beyond it.
    """
    charge: MoneyAnswer
    """
    The lifetime allowance charge on the excess.
    """
    charge_rate: Rate
    """
    The rate of that charge; 0 where there is none.
    """


class Reclaim(TypedDict):
    """
    How to reclaim tax that was deducted in excess.
    """

    form: Literal['P55', 'P53Z', 'P50Z', 'P53', 'none']
    """
    The HMRC form to reclaim the excess within the tax year. It is `none` where `over_deducted` is nil, where later
    payments or HMRC correct it, and with a K code. The service does not know today's date. Once the tax year is over, no
    form applies any more, and `reason` says until when HMRC can be asked.

    """
    reason: str
    """
    Why that form, or why none, and until when a claim can be made.
    """


MoneyPurchaseAnnualAllowance = TypedDict(
    'MoneyPurchaseAnnualAllowance',
    {
        'applies': bool,
        'triggered': bool,
        'amount': MoneyAnswer,
        'from': NotRequired[Day],
    },
)


class PensionAfter(TypedDict):
    """
    The pension just after the withdrawal.
    """

    uncrystallised: MoneyAnswer
    """
    Funds from which no benefit has been taken.
    """
    drawdown: MoneyAnswer
    """
    Funds in drawdown.
    """


class CurvePoint(TypedDict):
    """
    A point where a rate changes, or where the split into tax-free and taxable parts changes.
    """

    gross: MoneyAnswer
    """
    The whole payment before tax.
    """
    tax_free: MoneyAnswer
    """
    The part of it on which no income tax is due.
    """
    taxable: MoneyAnswer
    """
    The part of it that is taxed as pension income of the year.
    """
    taxed_as_excess: NotRequired[MoneyAnswer]
    """
    The part of it on which the lifetime allowance charge is due instead; only where there is one.
    """
    lifetime_allowance_charge: NotRequired[MoneyAnswer]
    """
    The lifetime allowance charge on it; only with `taxed_as_excess`.
    """
    tax: SignedMoneyAnswer
    """
    What this payment adds to the year's tax.
    """
    net: SignedMoneyAnswer
    """
    What is left of it after `tax` and `lifetime_allowance_charge`.
    """
    rate: NotRequired[Rate]
    """
    The tax on each taxable pound from here to the next point; on a staircase, between two jumps. Left out at a step,
    where nothing more is taxable, and on the last point.

    """
    because: Because
    average_rate: NotRequired[float]
    """
    The rate of the straight line from here to the next point, as a fraction of the taxable part to four decimals; only
    with a `staircase`.

    """
    staircase: NotRequired[Staircase]


Scalar: TypeAlias = float | str | bool
"""
A number, a text or a truth value.
"""


Option1: TypeAlias = int


Source: TypeAlias = str


Caveat: TypeAlias = str


class WarningCounts(TypedDict):
    """
    How many warnings there are of each effect.

    """

    not_permitted: int
    """
    How many things are not permitted.
    """
    costs: int
    """
    How many cost something.
    """
    check: int
    """
    How many are to be checked.
    """


Fact: TypeAlias = str


class WarningFigure(TypedDict):
    """
    A figure that a warning may have.

    """

    name: str
    """
    Its name in the `figures` of a warning.
    """
    unit: Literal['pounds', 'fraction', 'days', 'years', 'age', 'month', 'count']
    """
    `pounds` and pence; a `fraction`, 0.2 for 20%; whole `days` or `years`; an `age` in whole years; a `month` of the
    tax year from 1 to 12, where month 1 is 6 April to 5 May; a `count` of what the name says.

    """


class FirstYear(TypedDict):
    """
    One person's first tax year.
    """

    withdrawn: MoneyAnswer
    """
    Taken from pensions, before tax, lump sums included.
    """
    tax_free: MoneyAnswer
    """
    The part of it that is tax free.
    """
    isa_subscription: MoneyAnswer
    """
    Paid into ISAs.
    """


class CaseImpossible(TypedDict):
    """
    It cannot be carried out.
    """

    outcome: Literal['impossible']
    """
    It cannot be carried out.
    """
    reason: str
    """
    Why not.
    """


CaseAssumption: TypeAlias = Literal['growth', 'price_inflation', 'tax_rate_on_remaining_pension', 'drawn_over_years', 'length_of_life']
"""
The assumption that is changed, by its name in the request's `sensitivity`.
"""


CaseChange: TypeAlias = Literal['up', 'down']
"""
Which way.
"""


CaseStep: TypeAlias = float
"""
How far: a fraction, or years for `drawn_over_years` and `length_of_life`. Less than the step asked for where a limit is
reached, such as a rate of nil.

"""


class PlanAim(TypedDict):
    """
    What the plan aims at.
    """

    goal: Literal['personal_allowance', 'basic_rate_band', 'higher_rate_band', 'most_after_tax', 'steady_income', 'most_to_beneficiaries']
    """
    - `personal_allowance`: each draws, each tax year, the most that adds no tax.
    - `basic_rate_band`: each draws up to the top of the basic rate band; in Scotland, to where the higher rate
      begins.
    - `higher_rate_band`: each draws up to the top of the higher rate band.
    - `most_after_tax`: maximises wealth after tax on the last day. It may pay more income tax than another plan.
    - `steady_income`: pays the highest level income after tax, in whole pounds, from the first day to the last, besides any
      `spending`. It is in the money of the first tax year and rises with prices. Of the plans that pay it, the one that
      leaves the most. For an income that lasts to an age, let the plan end there.
    - `most_to_beneficiaries`: leaves the most to beneficiaries if everybody died on the last day, the first person first, after
      inheritance tax and their income tax at `beneficiary_tax_rate`.

    """


class PlanEstateImpossible(TypedDict):
    """
    It cannot be computed.
    """

    outcome: Literal['impossible']
    """
    It cannot be computed.
    """
    reason: str
    """
    Why.
    """


class RemainingPensionTaxUsed(TypedDict):
    """
    The tax assumed on the pension left at the end, beyond its tax-free part: as drawn evenly over so many years, or at a flat
    rate. One of the two is there.

    """

    drawn_over_years: NotRequired[int]
    """
    Over how many years it is drawn, on top of the income of the plan's last tax year.
    """
    rate: NotRequired[Rate]
    """
    A flat tax rate.
    """


class Person1(TypedDict):
    """
    What one person holds.
    """

    in_pensions: MoneyAnswer
    in_isas: MoneyAnswer
    in_cash: MoneyAnswer


class Household1(TypedDict):
    """
    What everybody holds.
    """

    in_pensions: MoneyAnswer
    in_isas: MoneyAnswer
    in_cash: MoneyAnswer
    wealth_before_tax: MoneyAnswer


class PlanStart(TypedDict):
    """
    What there is on the first day, before anything moves; the row of a chart or table before the first tax year.
    """

    date: str
    """
    The first day.
    """
    people: list[Person1]
    """
    Each person, in the order of the request.
    """
    household: Household1
    """
    What everybody holds.
    """


PlanEventCode: TypeAlias = str
"""
What happens. The list may grow; show the `detail` of a code that you do not know.
"""


PlanStepCode: TypeAlias = str
"""
What is to be done. The list may grow; show `title` and `detail` of a code that you do not know.
"""


PlanReasonCode: TypeAlias = str
"""
The list may grow; show the `detail` of a code that you do not know.

- `fills_personal_allowance`, `adds_no_tax`: more would be taxed, and this is not.
- `stops_at_` a band: the withdrawal ends where that band begins.
- `stops_where_`, `stops_at_the_child_benefit_charge`: it ends where more would be taxed higher for another reason.
- `stays_below_a_tax_step`, `just_below_a_tax_step`: a little more income would lose a relief all at once.
- `draws_for_spending`: cash and ISAs are used up, and this pays the rest of the year's spending.
- `drawn_ahead_of_spending`: a later year's spending will use cash and ISAs up, and more drawn then would be taxed higher.
- `drawn_now_comes_to_more`, `left_for_later`, `left_in_the_pension`, `same_either_way`: £100 drawn now against the
  same £100 drawn later or left, by what they come to at the end.
- `reaches_the_cap`: the most that `withdrawal_cap` lets a plan draw.
- `waits_for_contributions`: income would bring in the money purchase annual allowance while more than that is paid in.
- `fits_the_isa_allowance`, `uses_the_isa_allowance`, `waits_for_the_isa_allowance`, `isa_pays_for_spending`: about ISAs.
- `takes_all_tax_free_cash`, `uses_up_the_pension`, `uses_up_what_is_unlocked`, `pension_used_up`, `pension_locked`,
  `other_income_fills_the_band`, `lifetime_allowance_used`: what the pension or the aim allows.
- `found_by_search`: no single limit sets the amount.
- `takes_a_small_pot`: what a small pot pays in its tax year, and why in this one.
- `gives_marriage_allowance`: what this takes off the other person's tax, where `marriage_allowance` is `as_best`.

"""


class PlanReason(TypedDict):
    """
    Why a person draws, or pays in, what the plan says. It is read off the settled year and given only where it holds there: a
    plan is said to stop where the tax rises only if the next £100 are taxed more than the last. So plans of every aim have
    their reasons in the same way.

    """

    code: PlanReasonCode
    detail: str
    """
    The reason in plain sentences, with its figures.
    """


class SpentDuringYear(TypedDict):
    """
    What this person's money pays before the last day, towards the spending of both, and so misses growth: half of the
    year's where spending is met evenly. Nil where `spending_met` is `end`.

    """

    from_cash: MoneyAnswer
    """
    Cash of the year before, with its interest.
    """
    from_pension: MoneyAnswer
    """
    Of this year's withdrawals, before tax.
    """
    from_isas: MoneyAnswer
    """
    Of this year's ISA withdrawals.
    """


class ContributionsPaidIn(TypedDict):
    """
    What is paid into this person's pensions inside the plan. Left out where nothing is.
    """

    paid_in: MoneyAnswer
    """
    All of it, gross. It is the `paid_in` of the pensions.
    """
    own_money: MoneyAnswer
    """
    What of it comes from the household's income, cash and ISAs: without what employers and others pay, the relief that
    the scheme claims, and net pay contributions.

    """


AgeOnTheLastDay: TypeAlias = int
"""
This person's age in whole years on the last day, `to`.
"""


WhichPension: TypeAlias = int
"""
Which of the person's pensions, by its place in the request, from 0.
"""


PutTogether: TypeAlias = list[WhichPension]
"""
The places of the person's other pensions that are added to this one. Amounts are those of all of them. Left out where there
is only one.

"""


class PlanWithdrawal(TypedDict):
    """
    What is drawn from one pension on the last day, and how it divides. A lump sum taken by itself is not included; `lump_sum`
    has it. This is so in a plan and in a comparison of lump sum timing.

    """

    pension: WhichPension
    together_with: NotRequired[PutTogether]
    gross: MoneyAnswer
    """
    Before tax; it excludes `lump_sum`.
    """
    tax_free: MoneyAnswer
    """
    The part on which no income tax is due.
    """
    taxable: MoneyAnswer
    """
    The part that is taxed as pension income.
    """
    from_uncrystallised: MoneyAnswer
    """
    What came from funds from which no benefit had been taken.
    """
    from_drawdown: MoneyAnswer
    """
    What came from drawdown funds.
    """
    small_pot: NotRequired[bool]
    """
    True where the pension is taken whole as a small pot. Its tax-free part uses no allowance, and no cap counts it. Left out of
    all other withdrawals.

    """


MoneyPurchaseAllowanceOfYears = TypedDict(
    'MoneyPurchaseAllowanceOfYears',
    {
        'applies': bool,
        'triggered': bool,
        'amount': NotRequired[MoneyAnswer],
        'from': NotRequired[str],
        'tax_year': NotRequired[str],
    },
)


class PersonalAllowanceUse(TypedDict):
    """
    The personal allowance of the tax year, a blind person's allowance included, after any taper and without what is
    given to a spouse.

    """

    used: MoneyAnswer
    """
    The income that it covers.
    """
    unused: MoneyAnswer
    """
    The part that no income uses; it is lost.
    """


class MarriageAllowanceUse(TypedDict):
    """
    What this person gives or receives of the marriage allowance in the tax year, as far as it has an effect. Both are nil where it
    is not claimed, or income rules it out.

    """

    given: MoneyAnswer
    """
    What of this person's personal allowance is given to the other.
    """
    taken_off_tax: MoneyAnswer
    """
    What is taken off this person's tax because the other gives.
    """


class BasicRateBandLeft(TypedDict):
    """
    The basic rate band; in Scotland, all bands below the higher rate.
    """

    unused: MoneyAnswer
    """
    How much more pension income fits below a higher rate.
    """


class IsaAllowance(TypedDict):
    """
    The ISA allowance, which is the subscription limit of the tax year.
    """

    limit: MoneyAnswer
    """
    The most that may be subscribed; that for cash ISAs where new money goes there.
    """
    used: MoneyAnswer
    """
    What is subscribed, with what was subscribed before the plan.
    """
    unused: MoneyAnswer
    """
    What is left of it at the end of the tax year.
    """


class TaxFreeLumpSums(TypedDict):
    """
    Tax-free money from the pension, within the lump sum allowances or, before 6 April 2024, the lifetime allowance.

    """

    used: MoneyAnswer
    """
    Taken tax free in this tax year, by lump sums and with withdrawals.
    """
    left: MoneyAnswer
    """
    What the allowances leave to be taken tax free after this tax year, whatever the pension then holds.
    """
    available: NotRequired[MoneyAnswer]
    """
    The most that can still be taken tax free from what is not crystallised at the end of this tax year: a quarter of it,
    and no more than `left`. It is 0 where nothing is left uncrystallised.

    """


class PensionBalance(TypedDict):
    """
    One pension. `closing` is `opening`, plus growth and what is paid in, less what is paid out.

    """

    pension: WhichPension
    together_with: NotRequired[PutTogether]
    lump_sum: NotRequired[MoneyAnswer]
    """
    In lump sum timing, what of the person's `lump_sum` on the first day comes from this pension. Only where the person's pensions
    are told apart.

    """
    opening: MoneyAnswer
    """
    On the first day, before anything moves.
    """
    growth: SignedMoneyAnswer
    """
    At the assumed rate; where a lump sum is taken on the first day, on what is left.
    """
    paid_in: MoneyAnswer
    """
    The contributions that say which pension they go into.
    """
    paid_out: MoneyAnswer
    """
    The withdrawal and any lump sum taken by itself.
    """
    closing: MoneyAnswer
    """
    At the end of the last day; `uncrystallised` and `drawdown` together.
    """
    uncrystallised: MoneyAnswer
    """
    Funds from which no benefit has been taken, at the end of the last day.
    """
    drawdown: MoneyAnswer
    """
    Funds in drawdown, at the end of the last day.
    """


class IsaBalance(TypedDict):
    """
    The ISAs. `closing` is `opening`, plus growth and what is paid in, less what is paid out.
    """

    opening: MoneyAnswer
    """
    On the first day, before anything moves.
    """
    growth: SignedMoneyAnswer
    """
    At the assumed rate; where money is subscribed on the first day, on that too.
    """
    paid_in: MoneyAnswer
    """
    Subscribed; the same as `isa_subscription`.
    """
    paid_out: MoneyAnswer
    """
    Taken out on the last day; the same as `isa_withdrawal`.
    """
    closing: MoneyAnswer
    """
    At the end of the last day.
    """


class CashBalance(TypedDict):
    """
    Cash outside ISAs. `closing` is `opening`, plus interest and what is paid in, less what is paid out. Paid in are
    income, any lump sum, the gross withdrawals, and money from ISAs and from the partner. Paid out are income tax,
    spending, own money for contributions, subscriptions and money to the partner.

    """

    opening: MoneyAnswer
    """
    On the first day, before anything moves.
    """
    interest: MoneyAnswer
    """
    At the assumed rate, before tax, on the cash left after the first day.
    """
    paid_in: MoneyAnswer
    """
    All that comes in.
    """
    paid_out: MoneyAnswer
    """
    All that goes out.
    """
    closing: MoneyAnswer
    """
    At the end of the last day.
    """


class HouseholdYear(TypedDict):
    """
    The whole household in one tax year.
    """

    withdrawn: MoneyAnswer
    """
    All that left the pensions, lump sums included, before tax.
    """
    income_tax: SignedMoneyAnswer
    """
    Income tax of this tax year inside the plan.
    """
    income_tax_so_far: SignedMoneyAnswer
    """
    Income tax since the start of the plan.
    """
    isa_subscriptions: MoneyAnswer
    """
    Subscribed to ISAs.
    """
    in_pensions: MoneyAnswer
    """
    All pensions at the end of the year.
    """
    in_isas: MoneyAnswer
    """
    All ISAs at the end of the year.
    """
    in_cash: MoneyAnswer
    """
    All cash outside ISAs at the end of the year.
    """
    wealth_before_tax: MoneyAnswer
    """
    Pensions + ISAs + cash at the end of the year, before future tax.
    """
    wealth_before_tax_in_prices_of_start: MoneyAnswer
    """
    Pensions + ISAs + cash at the end of the year, before future tax, in prices of `start_date`.
    """


class WealthAtFlatRate(TypedDict):
    rate: Rate
    """
    The flat rate.
    """
    wealth_after_tax: MoneyAnswer


class PlanTotals(TypedDict):
    """
    The totals of the plan.
    """

    withdrawn: MoneyAnswer
    """
    All that left the pensions, lump sums included, before tax.
    """
    tax_free: MoneyAnswer
    """
    The part of it that was tax free.
    """
    taxable: MoneyAnswer
    """
    The part of it that was taxable.
    """
    income_tax: SignedMoneyAnswer
    """
    All income tax inside the plan.
    """
    isa_subscriptions: MoneyAnswer
    """
    Subscribed to ISAs.
    """
    spent: MoneyAnswer
    """
    Spent.
    """
    in_pensions: MoneyAnswer
    """
    All pensions on the last day.
    """
    in_isas: MoneyAnswer
    """
    All ISAs on the last day.
    """
    in_cash: MoneyAnswer
    """
    All cash outside ISAs on the last day.
    """
    tax_assumed_on_remaining_pension: MoneyAnswer
    """
    The tax assumed on what is left in pensions; see `assumptions.tax_on_remaining_pension`.
    """
    wealth_after_tax: MoneyAnswer
    """
    ISAs + cash + for each pension: what could still be taken tax free, plus the remainder after the tax assumed on it
    (`tax_on_remaining_pension`). On the last day.

    """
    wealth_after_tax_in_prices_of_start: MoneyAnswer
    """
    The same in prices of `start_date`.
    """
    wealth_at_flat_rates: list[WealthAtFlatRate]
    """
    What the plan would leave after tax if all but the tax-free part of what is left in pensions bore a flat rate: 0, 0.2, 0.4
    and 0.45.

    """


PlainPlan: TypeAlias = Literal['pension_left_until_state_pension_age', 'personal_allowance_filled']
"""
- `pension_left_until_state_pension_age`: nobody draws before their State Pension age. From then on, the pension is
  drawn in equal shares for each day to their 90th birthday or, if that is later, to the end of the plan.
- `personal_allowance_filled`: each draws, each tax year, the most that adds no tax.

In both, more is drawn where spending needs it.

"""


class Year(TypedDict):
    """
    The household in one tax year.
    """

    tax_year: str
    """
    The tax year.
    """
    household: HouseholdYear


class PlanComparedYears(TypedDict):
    """
    A simpler plan, tax year by tax year.
    """

    plan: PlainPlan
    years: list[Year]
    """
    The tax years of this plan, in order; empty where it cannot be carried out.
    """


class PlanComparisonFound(TypedDict):
    """
    A simpler plan that can be carried out, and how much more this plan leaves.
    """

    plan: PlainPlan
    outcome: Literal['found']
    """
    Its spending can be met.
    """
    income_tax: SignedMoneyAnswer
    """
    All income tax inside that plan.
    """
    wealth_after_tax: MoneyAnswer
    """
    What that plan leaves.
    """
    wealth_after_tax_in_prices_of_start: MoneyAnswer
    """
    The same in prices of `start_date`.
    """
    gain: SignedMoneyAnswer
    """
    How much more this plan leaves; below nil where it leaves less. The plan that leaves the most may leave less by
    what it gives up, see `equally_good` in `proof`.

    """
    gain_in_prices_of_start: SignedMoneyAnswer
    """
    The same in prices of `start_date`.
    """
    beneficiaries_receive: NotRequired[MoneyAnswer]
    """
    What beneficiaries would receive of that plan, for the goal `most_to_beneficiaries`.

    """
    gain_to_beneficiaries: NotRequired[SignedMoneyAnswer]
    """
    How much more they would receive of this plan, for the goal `most_to_beneficiaries`.
    """


class PlanComparisonImpossible(TypedDict):
    """
    A simpler plan whose spending cannot be met.
    """

    plan: PlainPlan
    outcome: Literal['impossible']
    """
    Its spending cannot be met.
    """
    reason: str
    """
    Why not, in words.
    """


class SteadyIncome(TypedDict):
    """
    The income that the plan pays; only for the goal `steady_income`. It is in every tax year's `spending`.

    """

    amount: MoneyAnswer
    """
    Whole pounds a year after tax, for the whole household, in the money of the plan's first tax year. It rises with prices
    each 6 April.

    """
    bound: MoneyAnswer
    """
    The highest income that is not proven to be out of reach. `leaves_out` in `proof` says what this proof does not include.

    """
    gap: MoneyAnswer
    """
    `bound` less `amount`. 0: one pound a year more cannot be paid throughout. It may be wide where the work of
    `search.effort` is used up.

    """


class EquallyGood(TypedDict):
    """
    How wide the choice is among plans that come to the same. Of those whose wealth after tax is within £1 a tax year of the
    best found, this is the one that leaves the least in pensions that would bear tax, since that tax is not known. Of
    these, it is the one whose withdrawals change the least from year to year. For the goal `most_to_beneficiaries` it is
    what beneficiaries receive that is within £1 a tax year, and all that is left in pensions counts. Left out where the work that
    `search.effort` allows was used up before.

    """

    within: MoneyAnswer
    """
    By how much the wealth after tax of such plans, or what beneficiaries receive of them, may differ.
    """
    given_up: MoneyAnswer
    """
    What the plan taken leaves less than the best found. It is part of `gap`.
    """
    least_left_in_pensions: MoneyAnswer
    """
    What the plan taken leaves in pensions at the end, without the tax-free part; for the goal `most_to_beneficiaries`
    with it.

    """
    most_left_in_pensions: MoneyAnswer
    """
    What another of them leaves, at the most.
    """


class PlanProof(TypedDict):
    """
    How close to the best this plan is; only for the goals `most_after_tax`, `steady_income` and `most_to_beneficiaries`. For
    `steady_income`, of all plans that pay this income. No plan of the same model leaves more than
    `bound`, except for what `leaves_out` says. For most households the gap is nearly nothing. It may be wide where the work
    of `search.effort` is used up, and where much cash is held whose interest is taxed.

    """

    goal: Literal['most_after_tax', 'steady_income', 'most_to_beneficiaries']
    """
    The goal it is about.
    """
    wealth_after_tax: MoneyAnswer
    """
    What this plan leaves; the same as in `totals`.
    """
    beneficiaries_receive: NotRequired[MoneyAnswer]
    """
    What beneficiaries would receive; the same as in `estate_at_the_end`. Only for the goal `most_to_beneficiaries`.

    """
    bound: MoneyAnswer
    """
    The most that any plan could leave; for the goal `most_to_beneficiaries`, the most that beneficiaries could receive of any.

    """
    gap: MoneyAnswer
    """
    How much more than this plan another might leave: `bound` less `wealth_after_tax`, or less `beneficiaries_receive` where that
    is there.

    """
    proven: bool
    """
    true: no plan of this model leaves more than `bound`, except for what `leaves_out` says. false: the search found
    its own bound to be wrong. `bound` is then only an estimate: all that the household has and receives, grown at the
    best rate.

    """
    stopped_by: Literal['gap', 'work_limit', 'search_complete']
    """
    Why the search ended. `gap`: the gap was closed, as far as rounding of the tax to pounds and pennies allows.
    `work_limit`: the work that `search.effort` allows was used up; more might find a better plan or a closer bound.
    `search_complete`: there was nothing left to search; the gap comes from what `leaves_out` says and from
    rounding.

    """
    given_up_at_tax_steps: MoneyAnswer
    """
    Wealth after tax, or money to beneficiaries, that the plan gives up to stay £50 below points at which a relief is lost all at once, at most £20 for
    each withdrawal that is moved. It is part of `gap`. Where staying clear would cost more, the plan ends at such a point,
    and its reason says so.

    """
    leaves_out: str
    """
    What the bound does not include.
    """
    equally_good: NotRequired[EquallyGood]
    """
    How wide the choice is among plans that come to the same. Of those whose wealth after tax is within £1 a tax year of the
    best found, this is the one that leaves the least in pensions that would bear tax, since that tax is not known. Of
    these, it is the one whose withdrawals change the least from year to year. For the goal `most_to_beneficiaries` it is
    what beneficiaries receive that is within £1 a tax year, and all that is left in pensions counts. Left out where the work that
    `search.effort` allows was used up before.

    """


class ScenarioYear(TypedDict):
    """
    One tax year of a scenario; balances are those of the household at its end.
    """

    tax_year: str
    """
    The tax year.
    """
    in_pensions: MoneyAnswer
    """
    All pensions.
    """
    in_isas: MoneyAnswer
    """
    All ISAs.
    """
    in_cash: MoneyAnswer
    """
    All cash outside ISAs.
    """
    income_tax: SignedMoneyAnswer
    """
    Income tax of the tax year inside the plan.
    """


class ScenarioImpossible(TypedDict):
    """
    A scenario in which the spending cannot be met.
    """

    outcome: Literal['impossible']
    """
    The spending cannot be met.
    """
    reason: str
    """
    Why not, in words.
    """


OptionPlace: TypeAlias = int
"""
Which option of the request; 0 is the first.
"""


LumpSumsOfOption: TypeAlias = Literal['all_now', 'phased', 'with_each_withdrawal', 'at_age', 'never']
"""
How the tax-free cash is taken. The description of the operation explains each.
"""


class OptionAim(TypedDict):
    """
    What is drawn from the pension besides lump sums.
    """

    goal: Literal['personal_allowance', 'basic_rate_band', 'higher_rate_band', 'spending_only']
    """
    - `personal_allowance`: each draws, each 5 April, the most that adds no tax.
    - `basic_rate_band`: each draws up to the top of the basic rate band; in Scotland, to where the higher
      rate begins.
    - `higher_rate_band`: each draws up to the top of the higher rate band.
    - `spending_only`: nothing is drawn beyond what spending needs after cash and ISAs.

    In all, more is drawn where spending needs it.

    """


class TaxFreeCashParts(TypedDict):
    """
    How one person receives tax-free cash under an option, and what happens to the rest of it.
    """

    in_lump_sums: MoneyAnswer
    """
    Received as lump sums.
    """
    with_withdrawals: MoneyAnswer
    """
    Received as the tax-free part of withdrawals.
    """
    still_available: MoneyAnswer
    """
    What could still be taken tax free on the last day.
    """
    if_left_to_the_end: MoneyAnswer
    """
    What could be taken tax free on the last day if this pension had been left alone until then.
    """
    forgone: MoneyAnswer
    """
    How far `tax_free_cash` and `still_available` together fall short of that.
    """
    above_allowance: MoneyAnswer
    """
    A quarter of the funds, less what the lump sum allowances permit: tax-free cash lost to the allowances.
    The funds are what was withdrawn from uncrystallised funds and what is uncrystallised on the last day.

    """
    given_up: MoneyAnswer
    """
    The tax-free part that the withdrawals of `never` did not take.
    """
    allowance_used_up_in: NotRequired[str]
    """
    The first tax year at whose end the allowances have nothing left while funds are still uncrystallised.
    Left out where there is none.

    """


class OptionAllowances(TypedDict):
    """
    How much of this person's allowances is used in the whole tax year, and how much is left.
    """

    tax_free_lump_sums: TaxFreeLumpSums
    money_purchase_annual_allowance: MoneyPurchaseAllowanceOfYears


class OptionHouseholdYear(TypedDict):
    """
    The whole household in one tax year of an option.
    """

    income_tax: SignedMoneyAnswer
    """
    Income tax of this tax year within the years.
    """
    income_tax_so_far: SignedMoneyAnswer
    """
    Income tax since the start.
    """
    tax_free_cash_so_far: MoneyAnswer
    """
    Tax-free cash since the start.
    """
    in_cash: MoneyAnswer
    """
    All cash outside ISAs at the end of the year.
    """
    wealth_after_tax: MoneyAnswer
    """
    Wealth after tax at the end, as if all ended then.
    """
    wealth_after_tax_in_prices_of_start: MoneyAnswer
    """
    The same in prices of `start_date`.
    """


WhichPerson: TypeAlias = int
"""
Which person of the request; 0 is the first.
"""


SurvivorAge: TypeAlias = int
"""
The age at which the survivor dies, from the request. If left out, the survivor is assumed to die on the last day.
"""


class DeathImpossible(TypedDict):
    """
    A death after which the survivor's spending cannot be met, or whose taxes the service does not work out.
    """

    person: WhichPerson
    age: int
    """
    The age asked about, at which this person dies.
    """
    survivor_age: NotRequired[SurvivorAge]
    outcome: Literal['impossible']
    """
    It cannot be computed.
    """
    reason: str
    """
    Why not, in words.
    """


SurvivorYears = TypedDict(
    'SurvivorYears',
    {
        'from': str,
        'to': str,
        'income_tax': SignedMoneyAnswer,
    },
)


class EstateOnDeath(TypedDict):
    """
    What there is on the day of the death.
    """

    in_isas: MoneyAnswer
    """
    The person's ISAs.
    """
    in_cash: MoneyAnswer
    """
    The person's cash outside ISAs.
    """
    home: MoneyAnswer
    """
    The person's share of the home.
    """
    other_assets: MoneyAnswer
    """
    The person's share of the other assets.
    """
    debts: MoneyAnswer
    """
    The person's share of the debts, as far as there is something to pay them from.
    """
    free_estate: MoneyAnswer
    """
    All of the above, less the debts.
    """
    unused_pension: MoneyAnswer
    """
    The person's pension, with what is left of one inherited from the spouse.
    """
    pension_in_estate: bool
    """
    Whether unused pension money counts in the estate, as it does from 6 April 2027 on.
    """
    value: MoneyAnswer
    """
    The estate for inheritance tax, before exemptions. The taper of the residence nil-rate band depends on it.
    """
    exempt: MoneyAnswer
    """
    What is exempt because a spouse or a charity receives it.
    """
    chargeable: MoneyAnswer
    """
    What is left of `value` after that.
    """


UnusedShare: TypeAlias = float
"""
What is left, as a share of one person's whole band of that day; at most the whole, six decimals.
"""


class InheritanceTaxParts(TypedDict):
    """
    How the inheritance tax on the estate is worked out, and who bears it.
    """

    taxable: MoneyAnswer
    """
    What is chargeable above both bands.
    """
    rate: Rate
    """
    The rate; the lower one where enough goes to charity.
    """
    on_free_estate: MoneyAnswer
    """
    What the free estate bears.
    """
    on_pension: MoneyAnswer
    """
    What the unused pension bears, its share of what is chargeable.
    """


class PensionMoneyToBeneficiaries(TypedDict):
    """
    Pension money on its way to beneficiaries; taken within two years of the death.
    """

    amount: MoneyAnswer
    """
    What there is.
    """
    inheritance_tax: MoneyAnswer
    """
    The inheritance tax on it.
    """
    tax_free: MoneyAnswer
    """
    The part of the rest that is free of income tax.
    """
    taxable: MoneyAnswer
    """
    The part of the rest that is the beneficiaries' taxable income.
    """
    income_tax: MoneyAnswer
    """
    The tax on that, at `beneficiary_tax_rate`.
    """
    net: MoneyAnswer
    """
    What they keep.
    """


class RankedOption(TypedDict):
    """
    An option in an order.
    """

    option: OptionPlace
    amount: MoneyAnswer
    """
    The amount by which the options are ranked.
    """


class GrowthLookedAt(TypedDict):
    """
    The range of the pension's growth a year that was looked at. Where pensions grow differently, it is the growth on average, by what
    each holds at the start.

    """

    low: Rate
    """
    The lowest growth looked at.
    """
    high: Rate
    """
    The highest growth looked at.
    """
    assumed_on_average: NotRequired[Rate]
    """
    What the pensions are assumed to grow by on average, to eight decimals. Only where they grow differently.
    """


class GrowthBreakEven(TypedDict):
    """
    A growth rate at which one option overtakes another.
    """

    pension_growth: Rate
    """
    The pension's growth a year, to eight decimals. Where pensions grow differently, their growth on average.

    """
    isa_growth: Rate
    """
    The ISAs' growth a year that goes with it.
    """
    above_assumed: NotRequired[Rate]
    """
    By how much the growth of every pension and of the ISAs is above what is assumed for it; negative where it is below.
    Only where pensions grow differently.

    """
    more_below: OptionPlace
    """
    The option that leaves more if growth is slightly lower.
    """
    more_above: OptionPlace
    """
    The option that leaves more if growth is slightly higher.
    """
    difference: SignedMoneyAnswer
    """
    How much more the first of the pair leaves at that growth: within a pound, unless a step of the tax makes one jump
    past the other.

    """


class AgeBreakEven(TypedDict):
    """
    A day from which on another option leaves more.
    """

    age_then: int
    """
    The age of the first person on that day.
    """
    date: str
    """
    The first day on which the other option leaves more.
    """
    more_from_then_on: OptionPlace
    """
    The option that leaves more from then on.
    """
    difference: SignedMoneyAnswer
    """
    How much more the first of the pair leaves on that day.
    """
    difference_the_day_before: SignedMoneyAnswer
    """
    How much more the first of the pair leaves on the day before.
    """


class Volatility(TypedDict):
    """
    How much each rate varies from year to year; needed with `random`. It is the standard deviation of the logarithm of one plus
    the yearly rate. That is lognormal, independent from year to year, and its mean is one plus the rate of `assumptions` (of
    pensions after any `yearly_charge`). Interest below nil counts as nil. Rates are rounded to four decimals. What is left out
    does not vary.

    """

    pension_growth: NotRequired[Share]
    """
    Of pensions.
    """
    isa_growth: NotRequired[Share]
    """
    Of ISAs.
    """
    cash_interest: NotRequired[Share]
    """
    Of interest on cash.
    """
    price_inflation: NotRequired[Share]
    """
    Of the rise in prices.
    """


CorrelationOfTwo: TypeAlias = float
"""
A correlation, at most four decimals.
"""


MarketReturn: TypeAlias = float
"""
A year's growth as a fraction, at most four decimals; -0.125 is a fall of 12.5%.
"""


MarketInterest: TypeAlias = float
"""
A year's interest as a fraction, at most four decimals.
"""


MarketPrices: TypeAlias = float
"""
A year's rise in prices as a fraction, at most four decimals.
"""


OptionPlan: TypeAlias = Literal['personal_allowance', 'basic_rate_band', 'higher_rate_band', 'pension_left_until_state_pension_age']
"""
- `personal_allowance`, `basic_rate_band`, `higher_rate_band`: as the aims of a plan.
- `pension_left_until_state_pension_age`: nothing is drawn before State Pension age unless spending needs it; from then on the
  pension is spread evenly to age 90, or to the end of the plan if that is later.

"""


class ShareOfPaths(TypedDict):
    """
    Some of the paths.
    """

    paths: int
    """
    How many.
    """
    share: float
    """
    Of all paths, as a fraction to four decimals.
    """


class Percentiles(TypedDict):
    """
    Amounts that 5%, 25%, 50%, 75% and 95% of the paths do not exceed, by nearest rank: each is the amount of one of the paths.

    """

    p5: SignedMoneyAnswer
    p25: SignedMoneyAnswer
    p50: SignedMoneyAnswer
    p75: SignedMoneyAnswer
    p95: SignedMoneyAnswer


class Returns(TypedDict):
    """
    Its rates, one for each tax year; those of pensions after any `yearly_charge`.

    """

    pension_growth: list[Rate]
    """
    Growth of pensions.
    """
    isa_growth: list[Rate]
    """
    Growth of ISAs.
    """
    cash_interest: list[Rate]
    """
    Interest on cash.
    """
    price_inflation: list[Rate]
    """
    Rise in prices.
    """


class SpreadOverPaths(TypedDict):
    """
    An amount over all paths.
    """

    lowest: MoneyAnswer
    """
    So much at the least on every path.
    """
    middle: MoneyAnswer
    """
    Half of the paths have no more.
    """
    highest: MoneyAnswer
    """
    So much at the most.
    """
    the_same_on_all: bool
    """
    Whether it is the same on all paths.
    """


class DeathOverPathsFound(TypedDict):
    """
    A death asked about, under an option on all paths.
    """

    person: int
    """
    Who dies first.
    """
    age: int
    """
    The age on that day.
    """
    survivor_age: NotRequired[int]
    """
    The age at which the other then dies, if it was given.
    """
    outcome: Literal['found']
    """
    That it could be worked out on every path.
    """
    spending_met_throughout: ShareOfPaths
    """
    The paths on which spending is met until the last of the deaths.
    """
    beneficiaries_receive: Percentiles
    """
    What beneficiaries receive after all taxes.
    """
    beneficiaries_receive_in_prices_of_start: Percentiles
    """
    The same in prices of `start_date`, by each path's own prices.
    """
    outcome_in_prices_of_start: Percentiles
    """
    The same, less all spending that was not met.
    """
    best_in: ShareOfPaths
    """
    The paths on which no other option has a better outcome for this death. Where two are equally good, both count.
    """
    loss_when_not_best: NotRequired[Percentiles]
    """
    How far the option is behind the best, on the other paths alone. Left out where there are none.
    """
    largest_loss: MoneyAnswer
    """
    The most that it is behind the best on any path.
    """


class DeathOverPathsImpossible(TypedDict):
    """
    A death that cannot be worked out on one of the paths. Options are compared on this death without this one.
    """

    person: int
    """
    Who dies first.
    """
    age: int
    """
    The age on that day.
    """
    survivor_age: NotRequired[int]
    """
    The age at which the other then dies, if it was given.
    """
    outcome: Literal['impossible']
    """
    That it could not be worked out.
    """
    reason: str
    """
    Why.
    """


class ComparedOverPaths(TypedDict):
    """
    One plan on the same paths.
    """

    plan: OptionPlan
    lump_sums: LumpSums
    spending_met_throughout: ShareOfPaths
    """
    The paths on which spending is met in every tax year.
    """
    outcome_in_prices_of_start: Percentiles
    """
    What is left after tax at the end, less all spending that was not met.
    """
    best_in: ShareOfPaths
    """
    The paths on which no other of these plans has a better outcome. Where two are equally good, both count.
    """
    loss_when_not_best: NotRequired[Percentiles]
    """
    How far it is behind the best, on the other paths alone. Left out where there are none.
    """
    largest_loss: MoneyAnswer
    """
    The most that it is behind the best on any path.
    """


PlannedTaxYear: TypeAlias = str
"""
A tax year of the plan, such as `2026-27`.
"""


TextItem: TypeAlias = str


ChartName: TypeAlias = str
"""
- `money`: where the money of a withdrawal goes, from the pension to what is kept.
- `tax_curve`: the tax that a withdrawal of any size adds, with this one on it; left out where none adds any.
- `holdings`: what is held at the end of each tax year of a plan, with what happens in it.
- `draws_and_tax`: what a plan draws from pensions and pays in income tax in each tax year.
- `left_after_tax`: what is left at the end by this plan and by plainer ones, or by each option.
- `held_on_many_courses`: what is held over many courses of markets, in prices of the start: the middle, and where half and nine
  in ten of them lie.
- `options_on_many_courses`: where nine in ten of the outcomes of each option lie over many courses of markets, and how often each
  is the best.
- `sensitivity`: how much turns on each assumption, as bars on each side of what is assumed.
- `over_the_years`: how far each option is from the first, with deaths and with break-evens of age.
- `growth_break_evens`: at what growth two options change places.
- `beneficiaries`: what beneficiaries would receive, for each of the deaths.

"""


FigureName: TypeAlias = str
"""
The group and the name, such as `income_tax.personal_allowance`.
"""


class TaxYearEntry(TypedDict):
    """
    One tax year of the list.
    """

    tax_year: TaxYear
    standing: Standing
    figures_version: FiguresVersion
    """
    The version of this year's figures alone.
    """
    href: str
    """
    Where to read the figures.
    """


class Band(TypedDict):
    """
    One band of a set of rates; bands are in ascending order and the last has no upper limit.
    """

    name: str
    """
    The name of the rate in the Act.
    """
    rate: Rate
    up_to: NotRequired[MoneyAnswer]
    """
    The upper limit, in pounds of taxable income; absent on the last band.
    """


class Liveness(TypedDict):
    """
    The process runs.
    """

    status: Literal['live']


class LongRequests(TypedDict):
    """
    Requests that take long: bulk, plans for the most after tax, long plans and lump sum timing. Where none is free,
    one more gets 503; quotes and warnings are answered all the same.

    """

    at_once: int
    """
    How many are answered at the same time.
    """
    free: int
    """
    How many more could begin now.
    """


class Readiness(TypedDict):
    """
    The service can answer.
    """

    status: Literal['ready']
    rules_version: RulesVersion
    software_version: SoftwareVersion
    tax_years: int
    """
    How many tax years are loaded.
    """
    long_requests: LongRequests
    """
    Requests that take long: bulk, plans for the most after tax, long plans and lump sum timing. Where none is free,
    one more gets 503; quotes and warnings are answered all the same.

    """


RecordId: TypeAlias = str | int
"""
The caller's own name for a record, given back as it came. It need not be unique; nothing is looked up by it.

"""


class Rules1(TypedDict):
    """
    The version, and what else of the rules is named.
    """

    version: RulesVersion


class Result(TypedDict):
    """
    The fields named, each at its place in what the operation alone would answer, and the version of the rules.

    """

    rules: Rules1
    """
    The version, and what else of the rules is named.
    """


class BulkFieldsOfResult(TypedDict):
    """
    A record that was answered, where the request names `fields`.
    """

    id: RecordId
    status: Literal[200]
    result: Result
    """
    The fields named, each at its place in what the operation alone would answer, and the version of the rules.

    """


class BulkEnd(TypedDict):
    """
    The last line. An answer that lacks it was cut off.
    """

    end: Literal[True]
    records: int
    """
    How many lines came before this one, one for each record.
    """
    succeeded: int
    failed: int
    rules_version: RulesVersion
    software_version: SoftwareVersion


ProblemCode: TypeAlias = str
"""
The kind of fault, for programs.
"""


Pointer: TypeAlias = str
"""
A JSON Pointer in URI-fragment form, such as `#/household/people/0/income/0/amount`. `#` alone is the whole body, or a
query parameter, which the detail then names.

"""


class ComparedLawYear(TypedDict):
    """
    A tax year under two laws. What an answer has no amount of is left out.
    """

    tax_year: TaxYear
    withdrawn: NotRequired[ComparedAmounts]
    income_tax: ComparedAmounts
    wealth_before_tax: NotRequired[ComparedAmounts]
    wealth_after_tax: NotRequired[ComparedAmounts]


ProposedLaw = TypedDict(
    'ProposedLaw',
    {
        'name': str,
        'title': str,
        'source': str,
        'from': Day,
    },
)


class Pension(TypedDict):
    """
    A defined contribution pension as it is just before the withdrawal, on the first day of a plan, or on the date of a warnings
    request. It also says what the scheme guarantees, charges and asks for.

    """

    name: NotRequired[Name]
    """
    What you call this pension. It is not used in any calculation.
    """
    uncrystallised: Money
    """
    Funds from which no benefit has been taken.
    """
    drawdown: NotRequired[Money]
    """
    Funds already in flexi-access drawdown; payments from them are wholly taxable. Left out, none.

    """
    protected_pension_age: NotRequired[int]
    """
    The protected pension age, only if the member has one in this scheme. Do not give the normal minimum pension age: it would
    switch off the checks on age.

    """
    protected_tax_free_share: NotRequired[Share]
    """
    The share that may be taken tax free, where the scheme protects more than a quarter. Left out, it is not known. Quotes
    and warnings count it where the whole pension is taken on one day and nothing of it is in drawdown yet: by a `pcls` of
    up to this share, or by `pcls_and_drawdown` of all of it. Plans and lump sum timing use a quarter, and say so.

    """
    safeguarded_benefits: NotRequired[Money]
    """
    What safeguarded benefits in it are worth. Left out, it is not known.
    """
    guaranteed_annuity_rate: NotRequired[bool]
    """
    Whether it has a guaranteed annuity rate. Left out, it is not known.
    """
    exit_charge: NotRequired[Money]
    """
    What the scheme charges for leaving. Left out, it is not known. No amount is reduced by it.
    """
    scheme_kind: NotRequired[Literal['personal', 'occupational']]
    """
    Whether the scheme is a personal or an occupational one. Left out, it is not known.
    """
    transfer_planned: NotRequired[bool]
    """
    Whether it is to be moved to another scheme. Left out, no.
    """
    transfer_flag: NotRequired[Literal['none', 'amber', 'red']]
    """
    The flag that the scheme has raised about a transfer. Left out, `none`.
    """
    nomination: NotRequired[Literal['none', 'made']]
    """
    Whether the scheme holds a nomination for death. Left out, it is not known.
    """
    nomination_reviewed_on: NotRequired[Day]
    """
    When the nomination was last reviewed. Left out, it is not known.
    """
    growth: NotRequired[GrowthRate]
    """
    Growth a year before `yearly_charge`. Left out, it is `pension_growth` of the assumptions. With `markets`, plans and lump
    sum timing need the same growth and charge for all pensions of the household.

    """
    yearly_charge: NotRequired[Share]
    """
    The yearly charge, as a share of the fund. Left out, nothing.
    """
    small_pot_in: NotRequired[str]
    """
    The tax year of a plan, such as `2027-28`, on whose last day inside the plan this pension is taken whole as a small pot lump
    sum. A quarter is tax free and uses no lump sum allowance. The rest is income of the tax year. It is no flexible access, so
    the money purchase annual allowance does not begin to apply. Until then the pension grows by itself, and nothing else is
    drawn from it. When it is taken it may hold at most £10,000. It may have no contributions and nothing in drawdown. At most
    three can come from personal schemes in a lifetime, with `small_pots_taken`; a pension without `scheme_kind` counts as
    personal.

    With `as_best` the plan chooses the tax year, or draws this pension like any other: whatever comes to the most. Of plans
    as good, it takes the small pot. The goals `most_after_tax` and `most_to_beneficiaries` choose. The others take it in the
    first tax year that is possible. `small_pots` in the answer says what was chosen. Not with `all_now`.

    Only `POST /v1/allowance-schedule` uses it, and not with `markets`. All other operations count this pension with the
    others, and lump sum timing draws on it like them. Left out, the plan draws this pension as it chooses.

    """


class AlreadyThisTaxYear(TypedDict):
    """
    What this person had earlier in the tax year and does not go on: incomes that have ended, and withdrawals from pensions. It
    is the tax year asked about, that of a plan's first day, or that of the date of a warnings request. It counts in that
    year's tax. Balances are as they are after it. The tax on it counts as paid. Leave out what is in `income`. A plan that
    starts on 6 April has nothing before it in the tax year. Left out, nothing.

    """

    income: NotRequired[list[IncomeHad]]
    """
    Incomes that have ended, such as pay from a job that was left. Left out, none.
    """
    taxable_withdrawals: NotRequired[Money]
    """
    The taxable part of what was withdrawn from pensions. If it opened flexible access, say so in `flexibly_accessed`. Left
    out, nothing.

    """
    tax_free_withdrawals: NotRequired[Money]
    """
    The tax-free part of the same withdrawals, as far as it uses the lump sum allowance. `lump_sum_allowance_used` includes
    it, and where that is left out it is this amount. Both parts count towards `withdrawal_cap`. Left out, nothing.

    """


class LumpSumAllowances(TypedDict):
    """
    What this person has used of their lump sum allowances, in all pensions together, and what is protected. Left out, nothing.

    """

    lump_sum_allowance_used: NotRequired[Money]
    """
    Tax-free lump sums since 6 April 2024 that count against the lump sum allowance. Left out, none but
    `tax_free_withdrawals`.

    """
    lump_sum_and_death_benefit_allowance_used: NotRequired[Money]
    """
    What counts against the lump sum and death benefit allowance. Left out, the same as `lump_sum_allowance_used`.

    """
    lifetime_allowance_used: NotRequired[Share]
    """
    The share of the lifetime allowance that benefits before 6 April 2024 used: 0.4 for 40%, 1 for all of it or more.
    For tax years to 2023-24, what had been used before this withdrawal. For later years it reduces the lump sum allowances.

    """
    protected_lump_sum_allowance: NotRequired[Money]
    """
    A lump sum allowance above the standard one. Leave it out unless a protection gives it. A lower one is ignored, and a
    warning says so.

    """
    protected_lump_sum_and_death_benefit_allowance: NotRequired[Money]
    """
    A lump sum and death benefit allowance above the standard one. Leave it out unless a protection gives it. A lower one is
    ignored, and a warning says so.

    """
    tax_free_received_before_6_april_2024: NotRequired[Money]
    """
    The tax-free cash actually received with benefits taken before 6 April 2024. Left out, it is not known.

    """


class Circumstances(TypedDict):
    """
    What else is known about a person. Only `POST /v1/warnings` uses it, but for `uk_resident`, which every operation uses, for
    `carry_forward` and `small_pots_taken` in plans, and for what a quote looks at: `small_pots_taken`, and the facts for the recycling rule. What is
    left out is not known, unless its description says otherwise. Where the missing fact matters, a warning with the effect
    `check` says so.

    """

    deposit_firms: NotRequired[int]
    """
    Over how many authorised firms the cash is spread.
    """
    usual_contributions: NotRequired[Money]
    """
    What all payers together pay into pensions in a usual tax year. The recycling rule compares `contributions` with it.

    """
    contribution_increase_planned: NotRequired[bool]
    """
    Whether higher contributions were planned when a tax-free lump sum is taken.
    """
    lump_sums_in_last_12_months: NotRequired[Money]
    """
    Tax-free lump sums taken in the twelve months before the date of the request. Left out, none.
    """
    carry_forward: NotRequired[Money]
    """
    Unused annual allowance of the three tax years before, in all. Plans count it in their first tax year, where they pay
    contributions in.

    """
    saves_in_other_schemes: NotRequired[bool]
    """
    Whether the person pays into another money purchase scheme.
    """
    small_pots_taken: NotRequired[int]
    """
    How many small pots have been taken from personal schemes so far.
    """
    benefits: NotRequired[Benefits]
    gifts_planned: NotRequired[Money]
    """
    How much of the withdrawals is to be given away.
    """
    student_loans: NotRequired[StudentLoans]
    children: NotRequired[int]
    """
    For how many children child benefit or help with childcare may be due.
    """
    tax_free_childcare: NotRequired[Money]
    """
    The government's part of Tax-Free Childcare in a year.
    """
    child_has_maintenance_loan: NotRequired[bool]
    """
    Whether a child has, or will ask for, a student maintenance loan that depends on the parents' income.
    """
    self_assessment: NotRequired[bool]
    """
    Whether the person files a tax return.
    """
    ill_health: NotRequired[Literal['none', 'unable_to_work', 'life_expectancy_under_a_year']]
    """
    Ill-health that may open a pension early.
    """
    uk_resident: NotRequired[bool]
    """
    Whether the person is UK resident for tax. Left out, it follows from `tax_residence`.
    """
    crown_employee_abroad: NotRequired[bool]
    """
    Whether the person is a Crown employee abroad, or the spouse or civil partner of one.
    """
    inherited_pension: NotRequired[InheritedPension]
    guidance_taken: NotRequired[bool]
    """
    Whether the person has had a Pension Wise appointment.
    """
    regulated_adviser: NotRequired[bool]
    """
    Whether an adviser authorised by the FCA advises on this.
    """
    unexpected_contact: NotRequired[bool]
    """
    Whether someone made contact about the pension without being asked.
    """


Increases: TypeAlias = Literal['none', 'prices'] | YearlyRate
"""
How a yearly amount rises each 6 April after the first tax year of a plan: `none`, with `prices` by the assumed inflation, or
by a yearly rate. Left out it is `none`, but `prices` for a State Pension. Quotes and warnings do not increase amounts.

"""


class LifetimeGift(TypedDict):
    """
    A gift that death within seven years makes chargeable, or that was chargeable when it was made.
    """

    date: Day
    """
    The day of the gift. A future gift counts from that day on.
    """
    amount: Money
    """
    The chargeable part, after exemptions. It is not taken out of the household's money.

    """
    person: NotRequired[PersonPlace]


class Withdrawal(TypedDict):
    """
    The payment. Give either `amount`, before tax, or `net_wanted`, after tax.

    """

    person: NotRequired[PersonPlace]
    pension: NotRequired[PensionPlace]
    method: Method
    amount: NotRequired[Money]
    """
    The gross payment, tax-free and taxable parts together. The answer calls it `gross`.
    """
    net_wanted: NotRequired[Money]
    """
    The money wanted after the year's income tax. Payroll's first deduction is often higher than this tax, and is corrected
    later. The answer is the smallest gross payment that leaves at least this much.

    """
    date: NotRequired[WithdrawalDate]


class PayrollMonth1(TypedDict):
    """
    Each payment is taxed on its own, as if it were the first month's pay.
    """

    code: TaxCode
    basis: Literal['month_1']
    """
    Month 1, also called non-cumulative.
    """
    month: NotRequired[TaxMonth]
    pay_to_date: NotRequired[PayToDate]
    tax_to_date: NotRequired[TaxToDate]


class PayrollCumulative(TypedDict):
    """
    The payment is taxed together with what this provider has paid since 6 April.
    """

    code: TaxCode
    basis: Literal['cumulative']
    """
    Cumulative.
    """
    month: TaxMonth
    pay_to_date: NotRequired[PayToDate]
    tax_to_date: NotRequired[TaxToDate]


class Aim(TypedDict):
    """
    What the plan aims at.
    """

    goal: Goal


class Scenarios(TypedDict):
    """
    Up to three other sets of assumptions, each planned anew. Left out, there are none.
    """

    low: NotRequired[Scenario]
    middle: NotRequired[Scenario]
    high: NotRequired[Scenario]


class TimingOption(TypedDict):
    """
    One way of taking the tax-free cash. The description of the operation explains each.
    """

    lump_sums: Literal['all_now', 'phased', 'with_each_withdrawal', 'at_age', 'never']
    """
    - `all_now`: the largest lump sum, at once.
    - `phased`: lump sums in stages, on the first day of each tax year.
    - `with_each_withdrawal`: no lump sum; a quarter of each withdrawal from uncrystallised funds is tax free.
    - `at_age`: the largest lump sum once an age is reached, by each of two at their own.
    - `never`: nothing is taken tax free.

    """
    yearly: NotRequired[Stage]
    age: NotRequired[int]
    """
    The age for `at_age`, which needs it; the lump sum is taken on the next first day of a tax year. Not for other options.

    """
    aim: NotRequired[IncomePlan]


Slice = TypedDict(
    'Slice',
    {
        'from': MoneyAnswer,
        'to': MoneyAnswer,
        'rate': NotRequired[Rate],
        'tax': SignedMoneyAnswer,
        'because': Because,
        'average_rate': NotRequired[float],
        'staircase': NotRequired[Staircase],
    },
)


class PayrollAnswer(TypedDict):
    """
    What payroll deducts from this payment. This affects when tax is paid, not how much is due for the year.

    """

    code: TaxCode
    basis: Literal['month_1', 'cumulative']
    """
    The basis on which the code is used.
    """
    code_assumed: bool
    """
    Whether the code was assumed because the request gave none.
    """
    explanation: str
    """
    Why this code, in one or two sentences.
    """
    tax_deducted: SignedMoneyAnswer
    """
    Tax deducted from this payment. It is below nil where a cumulative code refunds tax; see `refund`.
    """
    refund: MoneyAnswer
    """
    Tax deducted earlier in the year that is paid out with this payment; nil if none.
    """
    paid_out: MoneyAnswer
    """
    What reaches the bank account.
    """
    deducted_in_year: NotRequired[MoneyAnswer]
    """
    What payroll has deducted, to compare with `due_in_year`. With a cumulative code this is `tax_to_date` and the deduction
    from this payment, less a refund. On the month 1 basis it is the deduction from this payment alone. Left out where
    no part of the payment is taxable.

    """
    due_in_year: NotRequired[SignedMoneyAnswer]
    """
    The year's tax on the income that this payroll has to tax. `deducted_in_year` less `due_in_year` is `over_deducted`. If
    that is below nil, the difference is `under_deducted`. Left out where no part of the payment is taxable.

    - `month_1`: what the withdrawal adds to the year's tax.
    - `cumulative`: what `pay_to_date` and this payment together add to the year's tax. Pay to date that is not in
      `income` is counted as well.
    - A K code also collects tax on other income. If it deducts at least what this payment (and the pay to date) adds, and
      no more than the whole tax of the year, all of the deduction is due.
    - Code NT: nothing is due through payroll.

    """
    over_deducted: MoneyAnswer
    """
    What payroll has deducted above the tax due: `deducted_in_year` less `due_in_year`; nil if none. HMRC settles a claim
    for the whole year, so tax not yet paid on other income is taken off the repayment.

    """
    under_deducted: MoneyAnswer
    """
    What payroll has deducted too little: `due_in_year` less `deducted_in_year`; nil if none. `over_deducted` or
    `under_deducted` is always nil. A refund does not count as tax that is due.

    """
    reclaim: Reclaim


class AllowancesRemaining(TypedDict):
    """
    What remains of each allowance after this withdrawal.
    """

    lump_sum_allowance: NotRequired[MoneyAnswer]
    """
    What remains of the lump sum allowance after this withdrawal; from 2024-25.
    """
    lump_sum_and_death_benefit_allowance: NotRequired[MoneyAnswer]
    """
    What remains of the lump sum and death benefit allowance after this withdrawal; from 2024-25.
    """
    personal_allowance: MoneyAnswer
    """
    The part of the year's personal allowance (and blind person's allowance) that no income uses.
    """
    basic_rate_band: MoneyAnswer
    """
    What remains of the basic rate band (Scotland: of the bands up to the intermediate rate). This much more taxable pension
    income would bear no higher rate, in addition to what the remaining personal allowance covers.

    """
    money_purchase_annual_allowance: MoneyPurchaseAnnualAllowance


class Curve(TypedDict):
    """
    The tax on a withdrawal of any size by this method, from nothing to the most that can be taken, as points for a chart; only
    with `include=curve`. Each point has the amounts of a quote for its `gross`. Between two points the amounts follow a straight
    line, or a staircase around it, apart from rounding to the penny. A step is two points a penny apart.

    """

    points: list[CurvePoint]


class WorkingStep(TypedDict):
    """
    One step of the calculation.
    """

    step: str
    """
    A fixed name for programs. New steps may appear. The year's tax is worked out twice: names that end in `_without` are of
    the year without the withdrawal, in `_with` of the year with it. No name comes twice in an answer.

    The payment: `lifetime_allowance_available`, `lump_sum_allowance_available`,
    `lump_sum_and_death_benefit_allowance_available`, `tax_free_part`, `taxable_part`, `lifetime_allowance_charge`.

    The year, each with either ending: `net_income`, `adjusted_net_income`, `personal_allowance`,
    `blind_persons_allowance`, `taxable_income`, `tax_below_savings`, `tax_on_savings`, `tax_on_dividends`,
    `marriage_allowance`, `gift_aid_tax`, `child_benefit_charge`, `income_tax_of_year`.

    The difference and payroll: `tax_on_withdrawal`, `free_pay`, `taxable_pay`, `payroll_deduction`,
    `deduction_less_tax_on_withdrawal`, `over_or_under_deducted`.

    """
    title: str
    """
    The name of the step for people.
    """
    detail: str
    """
    What was done, in words.
    """
    inputs: dict[str, Scalar]
    """
    What went in, by name. Money is in pounds, rates are fractions.
    """
    result: Scalar
    """
    What came out.
    """
    section: str
    """
    The section of the Act, or the published routine, that the step follows.
    """


class MissingFact(TypedDict):
    """
    A fact that was not given and would matter. It has the form of a warning.

    """

    code: str
    """
    A fixed name for programs, listed by `GET /v1/warning-codes`. New codes may appear.
    """
    effect: Literal['check']
    """
    Always `check`, a fact to find out.
    """
    title: str
    """
    A short heading for people.
    """
    detail: str
    """
    Why the fact matters, for people.
    """
    figures: dict[str, float]
    """
    The numbers behind it, by name. Money is in pounds, a rate is a fraction.
    """
    person: NotRequired[int]
    """
    Which person it is about; 0 is the first. Left out where it is about the household.
    """
    pension: NotRequired[int]
    """
    Which of that person's pensions it is about; 0 is the first. Left out where it is not about one pension.
    """
    pointer: Pointer
    """
    Where in the request the fact belongs.
    """
    sources: list[Source]
    """
    The Acts, instruments or pages it is based on.
    """
    standing: Standing
    tax_year: NotRequired[str]
    """
    The tax year that it is about and whose figures it quotes.
    """
    caveats: NotRequired[list[Caveat]]
    """
    What is not certain about the law or the figures behind it. Left out where nothing is uncertain.
    """


WarningCode = TypedDict(
    'WarningCode',
    {
        'code': str,
        'title': str,
        'effect': Literal['not_permitted', 'costs', 'check'],
        'severity': Literal['lasting', 'support', 'amount', 'on_death'],
        'applies_when': str,
        'facts': list[Fact],
        'figures': list[WarningFigure],
        'sources': list[Source],
        'from': NotRequired[Day],
        'to': NotRequired[Day],
    },
)


class PlanCaseFound(TypedDict):
    """
    What a plan comes to.
    """

    outcome: Literal['found']
    """
    The spending can be met.
    """
    wealth_after_tax: MoneyAnswer
    """
    What is left on the last day, after tax.
    """
    wealth_after_tax_in_prices_of_start: MoneyAnswer
    """
    The same in the prices of the first day.
    """
    first_year: list[FirstYear]
    """
    What each person does in the first tax year.
    """
    yearly_income: NotRequired[MoneyAnswer]
    """
    The level income a year that can be paid, for the goal `steady_income`.
    """
    beneficiaries_receive: NotRequired[MoneyAnswer]
    """
    What beneficiaries would receive, for the goal `most_to_beneficiaries`.
    """


class PlanCase(TypedDict):
    """
    The plan with one assumption changed.
    """

    assumption: CaseAssumption
    change: CaseChange
    by: CaseStep
    outcome: Literal['found', 'impossible']
    """
    Whether the spending can be met. If it cannot, there is only a `reason`.
    """
    reason: NotRequired[str]
    """
    Why not.
    """
    wealth_after_tax: NotRequired[MoneyAnswer]
    """
    What is left on the last day, after tax.
    """
    wealth_after_tax_in_prices_of_start: NotRequired[MoneyAnswer]
    """
    The same in the prices of the first day.
    """
    more_wealth: NotRequired[SignedMoneyAnswer]
    """
    How much more that is than as assumed. With another length of life it is left on another day.
    """
    first_year: NotRequired[list[FirstYear]]
    """
    What each person does in the first tax year.
    """
    first_year_changes: NotRequired[bool]
    """
    Whether any amount of the first tax year differs by a pound or more from the plan as assumed.
    """
    yearly_income: NotRequired[MoneyAnswer]
    """
    The level income a year that can be paid, for the goal `steady_income`.
    """
    beneficiaries_receive: NotRequired[MoneyAnswer]
    """
    What beneficiaries would receive, for the goal `most_to_beneficiaries`.
    """
    more_to_beneficiaries: NotRequired[SignedMoneyAnswer]
    """
    How much more that is than as assumed, for the goal `most_to_beneficiaries`.
    """


class Death(TypedDict):
    """
    One death.
    """

    person: WhichPerson
    to_spouse: bool
    """
    Whether all passes to the spouse or civil partner, free of inheritance tax.
    """
    inheritance_tax: MoneyAnswer
    """
    The inheritance tax on this death.
    """


class PlanEstateFound(TypedDict):
    """
    It can be computed.
    """

    outcome: Literal['found']
    """
    It can be computed.
    """
    date: str
    """
    The last day of the plan.
    """
    beneficiaries_receive: MoneyAnswer
    """
    What is left after inheritance tax and the beneficiaries' income tax; what goes to charity is not in it.
    """
    inheritance_tax: MoneyAnswer
    """
    All inheritance tax.
    """
    beneficiaries_income_tax: MoneyAnswer
    """
    Their income tax on pension money.
    """
    beneficiary_tax_rate: Share
    """
    The rate at which that is worked out.
    """
    pension_in_estate: bool
    """
    Whether unused pension money counts in the estate on that day.
    """
    deaths: list[Death]
    """
    Each death, in their order.
    """


class PlanEvent(TypedDict):
    """
    Something that happens on a day of the plan, for a chart or a letter.
    """

    code: PlanEventCode
    date: str
    detail: str
    """
    A sentence for people.
    """
    person: NotRequired[WhichPerson]
    """
    Whom it concerns; left out where it is the household.
    """


class PlanStep(TypedDict):
    """
    Something to be done by a day.
    """

    code: PlanStepCode
    by: str
    """
    The day by which it has to be done. A plan moves all money on the last day of a tax year, so its payments are to be made
    by then.

    """
    title: str
    """
    What is to be done, in a few words that name nobody.
    """
    detail: str
    """
    The same in plain sentences, with its figures.
    """
    basis: Literal['law', 'guidance', 'practice']
    """
    Whether a rule of law, official guidance or common practice alone is behind it.
    """
    sources: list[str]
    """
    The rules or the guidance; empty where it is common practice.
    """
    person: NotRequired[WhichPerson]
    """
    Who does it; left out where it is the household.
    """
    amount: NotRequired[MoneyAnswer]
    """
    The amount concerned, if there is one.
    """
    tax_year: NotRequired[str]
    """
    The tax year that it is about, if there is one.
    """


class GrowthOfPension(TypedDict):
    """
    What one pension grows by a year, or several that are added together.
    """

    person: WhichPerson
    pension: WhichPension
    together_with: NotRequired[PutTogether]
    growth: Rate
    """
    After the yearly charge.
    """


PlanWithdrawals: TypeAlias = list[PlanWithdrawal]
"""
What is drawn from the pensions on the last day; pensions that are added together have one entry. Empty for a person without a
pension.

"""


class PlanAllowances(TypedDict):
    """
    How much of each allowance is used in the whole tax year, and how much is left.
    """

    personal_allowance: PersonalAllowanceUse
    marriage_allowance: MarriageAllowanceUse
    basic_rate_band: BasicRateBandLeft
    isa_allowance: IsaAllowance
    tax_free_lump_sums: TaxFreeLumpSums
    money_purchase_annual_allowance: MoneyPurchaseAllowanceOfYears


PensionBalances: TypeAlias = list[PensionBalance]
"""
How the pensions moved; pensions that are added together have one entry. Empty for a person without a pension.

"""


PlanComparison: TypeAlias = PlanComparisonFound | PlanComparisonImpossible
"""
A simpler plan to compare with.
"""


class PlanSmallPot(TypedDict):
    """
    What became of one pension.
    """

    person: WhichPerson
    pension: WhichPension
    taken_as: Literal['small_pot', 'any_other']
    """
    Whether it is taken whole as a small pot, or drawn like any other pension.
    """
    tax_year: NotRequired[str]
    """
    The tax year in which it is taken as a small pot; left out where it is not.
    """


class TimingCaseFound(TypedDict):
    """
    What the options leave.
    """

    outcome: Literal['found']
    """
    At least one option can be carried out.
    """
    wealth_after_tax: list[RankedOption]
    """
    The options that can be carried out, the one that leaves the most first.
    """


class TimingCase(TypedDict):
    """
    The options with one assumption changed.
    """

    assumption: CaseAssumption
    change: CaseChange
    by: CaseStep
    outcome: Literal['found', 'impossible']
    """
    Whether any option can be carried out. If none can, there is only a `reason`.
    """
    reason: NotRequired[str]
    """
    Why not.
    """
    wealth_after_tax: NotRequired[list[RankedOption]]
    """
    The options that can be carried out, the one that leaves the most first.
    """
    leader_changes: NotRequired[bool]
    """
    Whether another option leaves the most than as assumed.
    """
    first_year_changes: NotRequired[bool]
    """
    Whether the first tax year of the option that leaves the most differs by a pound or more from that of the option that
    leaves the most as assumed.

    """


class TimingAssumptionsUsed(TypedDict):
    """
    All assumptions used, including the defaults.
    """

    pension_growth: Rate
    """
    Growth of the pensions after their charge; the first person's, where two people's differ.
    """
    pension_growths: NotRequired[list[Rate]]
    """
    Growth of each person's pensions after their charge, where they differ; of several that grow differently, of the first.
    Left out where they do not differ.

    """
    growth_by_pension: NotRequired[list[GrowthOfPension]]
    """
    Growth of every pension after its charge, where pensions of one person differ in it.
    """
    isa_growth: Rate
    cash_interest: Rate
    price_inflation: Rate
    thresholds_after_freeze: Literal['frozen', 'prices']
    """
    What happens to allowances and limits after the last tax year with figures.
    """
    tax_on_remaining_pension: RemainingPensionTaxUsed
    tax_rate_on_remaining_pension: NotRequired[Rate]
    """
    The flat rate, where one was assumed.
    """
    spending_met: Literal['start', 'evenly', 'end']
    """
    When in each tax year spending is met.
    """
    beneficiary_tax_rate: Rate
    """
    The beneficiaries' income tax rate on pension money.
    """


class OptionImpossible(TypedDict):
    """
    An option whose spending cannot be met.
    """

    option: OptionPlace
    lump_sums: LumpSumsOfOption
    yearly: NotRequired[Stage]
    """
    The stage of `phased`; only there.
    """
    age: NotRequired[int]
    """
    The age of `at_age`; only there.
    """
    aim: OptionAim
    outcome: Literal['impossible']
    """
    Its spending cannot be met.
    """
    reason: str
    """
    Why not, in words.
    """


class OptionPersonTotals(TypedDict):
    """
    The totals for one person.
    """

    tax_free_cash: MoneyAnswer
    """
    All tax-free cash this person receives; `in_lump_sums` and `with_withdrawals` of its parts together.

    """
    tax_free_cash_parts: TaxFreeCashParts
    income_tax: SignedMoneyAnswer
    """
    This person's income tax.
    """
    interest_on_waiting_cash: MoneyAnswer
    """
    Interest on this person's cash outside ISAs.
    """
    tax_on_interest: SignedMoneyAnswer
    """
    The part of the income tax that this interest adds.
    """
    most_cash_waiting: MoneyAnswer
    """
    The most cash outside ISAs that this person has at the end of any tax year.
    """
    money_purchase_annual_allowance: MoneyPurchaseAllowanceOfYears


class OptionPersonYear(TypedDict):
    """
    One person in one tax year of an option.
    """

    age: AgeOnTheLastDay
    lump_sum: MoneyAnswer
    """
    The tax-free lump sum taken by itself on the first day; it is not in `withdrawals`.
    """
    withdrawals: PlanWithdrawals
    income_received: MoneyAnswer
    """
    Income within the years, before tax, without withdrawals and without interest on waiting cash.
    """
    contributions: NotRequired[ContributionsPaidIn]
    income_tax: SignedMoneyAnswer
    """
    Income tax of the tax year, the high income child benefit charge included, less the share borne by income
    outside the years. It is below nil where a marriage allowance claimed `as_best` saves more than is left, in a tax year that
    is only partly inside them.

    """
    tax_on_interest: SignedMoneyAnswer
    """
    The part of it that the interest on this person's cash outside ISAs adds, after the starting rate for savings and the
    savings allowance. It is below nil where the interest ends a marriage allowance that this person gives.

    """
    isa_subscription: MoneyAnswer
    """
    What is subscribed to this person's ISAs, on the first and on the last day.
    """
    isa_withdrawal: MoneyAnswer
    """
    What is taken from this person's ISAs.
    """
    spent: MoneyAnswer
    """
    This person's part of the spending.
    """
    moved_from_partner: SignedMoneyAnswer
    """
    Money that came from the partner on the two days together; below nil, money that went there. Nil for a
    person alone.

    """
    allowances: OptionAllowances
    pensions: PensionBalances
    isa: IsaBalance
    cash: CashBalance


class ResidenceNilRateBand(TypedDict):
    """
    The residence nil-rate band.
    """

    brought_forward: MoneyAnswer
    """
    What earlier deaths of spouses add.
    """
    taper: MoneyAnswer
    """
    What is lost because the estate is above the threshold.
    """
    available: MoneyAnswer
    """
    The band after that.
    """
    used: MoneyAnswer
    """
    What a home that goes to descendants, and any downsizing addition, use of it.
    """
    lost_by_downsizing: NotRequired[MoneyAnswer]
    """
    Where a home was given up, how much of the band is lost by this.
    """
    downsizing_addition: NotRequired[MoneyAnswer]
    """
    How much of it is given back because descendants inherit other assets.
    """
    unused_share: UnusedShare


class NilRateBand(TypedDict):
    """
    The nil-rate band.
    """

    brought_forward: MoneyAnswer
    """
    What earlier deaths of spouses add.
    """
    used_by_gifts: MoneyAnswer
    """
    What the gifts of the last seven years use first.
    """
    available: MoneyAnswer
    """
    What they leave.
    """
    used: MoneyAnswer
    """
    What the estate uses of it.
    """
    unused_share: UnusedShare


class BeneficiariesReceive(TypedDict):
    """
    What beneficiaries receive on one death.
    """

    from_free_estate: MoneyAnswer
    """
    From the free estate, after its tax and without what goes to charity.
    """
    to_charity: MoneyAnswer
    """
    What goes to charity instead.
    """
    pension_money: PensionMoneyToBeneficiaries
    total: MoneyAnswer
    """
    From the free estate and the pension together, after all taxes.
    """


Ranking: TypeAlias = list[RankedOption]
"""
Options from the best to the worst; equal ones stay in the order of the request, and those that cannot be
carried out are left out.

"""


class GrowthBreakEvens(TypedDict):
    """
    The growth at which one overtakes the other, measured on the last day.
    """

    outcome: Literal['changes', 'never_within_the_range', 'not_computed']
    """
    `changes`: at the rates listed. `never_within_the_range`: the same option leads in the whole range, or they are
    equal. `not_computed`: at some growth in the range one of the two cannot be carried out, or the request asks for
    more than the service works out in one request; the summary then says so.

    """
    changes: list[GrowthBreakEven]
    """
    The rates, lowest first; empty unless the outcome is `changes`.
    """


class AgeBreakEvens(TypedDict):
    """
    The days on which one overtakes the other, as if everything ended on that day.
    """

    outcome: Literal['changes', 'never_within_the_range', 'not_computed']
    """
    `changes`: on the days listed. `never_within_the_range`: the same option leads all the time, or they are equal.
    `not_computed`: the request asks for more than the service works out in one request.

    """
    changes: list[AgeBreakEven]
    """
    The days, in order; empty unless the outcome is `changes`.
    """


class Correlation(TypedDict):
    """
    How the logarithms of two rates move together within a year, with `random`, from -1 to 1. Left out, 0. Together they have to
    make a matrix that is positive semidefinite.

    """

    pension_isa: NotRequired[CorrelationOfTwo]
    pension_cash: NotRequired[CorrelationOfTwo]
    pension_prices: NotRequired[CorrelationOfTwo]
    isa_cash: NotRequired[CorrelationOfTwo]
    isa_prices: NotRequired[CorrelationOfTwo]
    cash_prices: NotRequired[CorrelationOfTwo]


class MarketPath(TypedDict):
    """
    One path: for each tax year of the plan a rate, the first and the last included where only part of them is in the plan. What
    is left out takes the rate of `assumptions` in every tax year.

    """

    pension_growth: NotRequired[list[MarketReturn]]
    """
    Growth of pensions, before any `yearly_charge`.
    """
    isa_growth: NotRequired[list[MarketReturn]]
    """
    Growth of ISAs, after charges.
    """
    cash_interest: NotRequired[list[MarketInterest]]
    """
    Interest on cash, before tax.
    """
    price_inflation: NotRequired[list[MarketPrices]]
    """
    How much prices rise.
    """


class MarketHistory(TypedDict):
    """
    A history of years, all parts of the same years; needed with `history`. Each run of as many years as the plan has tax years is a
    path: the first begins with the first year of the history, the next with the second, and so on. Runs overlap, so these paths are
    not independent of each other. What is left out takes the rate of `assumptions` in every year.

    """

    pension_growth: NotRequired[list[MarketReturn]]
    """
    Growth of pensions, before any `yearly_charge`.
    """
    isa_growth: NotRequired[list[MarketReturn]]
    """
    Growth of ISAs, after charges.
    """
    cash_interest: NotRequired[list[MarketInterest]]
    """
    Interest on cash, before tax.
    """
    price_inflation: NotRequired[list[MarketPrices]]
    """
    How much prices rise.
    """


class ComparedOption(TypedDict):
    """
    A plan to compare with.
    """

    plan: OptionPlan
    lump_sums: NotRequired[Literal['with_each_withdrawal', 'all_now', 'never']]
    """
    How it takes tax-free cash. Left out, as the plan does.
    """


class YearOverPaths(TypedDict):
    """
    A tax year, or the part of it inside the plan, over all paths. Each amount is ranked by itself.
    """

    tax_year: PlannedTaxYear
    to: str
    """
    The last day.
    """
    ages: list[int]
    """
    Everybody's age in whole years on the last day.
    """
    spending_met: ShareOfPaths
    """
    The paths on which spending is met in this tax year and all before it.
    """
    wealth_before_tax: Percentiles
    """
    Pensions, ISAs and cash on the last day, before any tax still to come.
    """
    wealth_before_tax_in_prices_of_start: Percentiles
    """
    The same in prices of `start_date`, by each path's own prices.
    """
    income_after_tax: Percentiles
    """
    Income, interest and all that is drawn from pensions, less the income tax.
    """
    income_tax: Percentiles
    """
    Income tax inside the plan.
    """
    withdrawn: Percentiles
    """
    All that is drawn from pensions, lump sums included.
    """
    beneficiaries_receive: NotRequired[Percentiles]
    """
    What beneficiaries would receive if everybody died on the last day, as in `estate_at_the_end`. Only where that is worked out.

    """


class WorstPath(TypedDict):
    """
    The path on which spending fails first; of several, the one on which most is not met. Where it is met on all, the path that
    leaves the least.

    """

    path: int
    """
    Its place among the paths, from 0.
    """
    first_not_met: NotRequired[PlannedTaxYear]
    """
    The first tax year in which spending is not met. Left out where it is always met.
    """
    ages: NotRequired[list[int]]
    """
    Everybody's age on the last day of that tax year.
    """
    years_not_met: int
    """
    In how many tax years spending is not met.
    """
    not_met_in_prices_of_start: MoneyAnswer
    """
    All spending that is not met.
    """
    left_after_tax: MoneyAnswer
    """
    What is left at the end.
    """
    left_after_tax_in_prices_of_start: MoneyAnswer
    """
    The same in prices of `start_date`.
    """
    returns: Returns
    """
    Its rates, one for each tax year; those of pensions after any `yearly_charge`.

    """


class PersonOverPaths(TypedDict):
    """
    What one person does in it.
    """

    withdrawn: SpreadOverPaths
    """
    Drawn from the pension, lump sums included.
    """
    isa_subscription: SpreadOverPaths
    """
    Paid into ISAs.
    """
    isa_withdrawal: SpreadOverPaths
    """
    Taken out of ISAs.
    """


class OptionYearOverPaths(TypedDict):
    """
    A tax year of an option, or the part of it inside the comparison, over all paths. Each amount is ranked by itself.
    """

    tax_year: PlannedTaxYear
    to: str
    """
    The last day.
    """
    ages: list[int]
    """
    Everybody's age in whole years on the last day.
    """
    spending_met: ShareOfPaths
    """
    The paths on which spending is met in this tax year and all before it.
    """
    wealth_after_tax: Percentiles
    """
    What is left after tax, as if all ended on the last day.
    """
    wealth_after_tax_in_prices_of_start: Percentiles
    """
    The same in prices of `start_date`, by each path's own prices.
    """
    income_tax: Percentiles
    """
    Income tax inside the comparison.
    """


DeathOverPaths: TypeAlias = DeathOverPathsFound | DeathOverPathsImpossible


class Chart(TypedDict):
    """
    A picture in an open grammar, Vega-Lite 6, with its data inside. Any Vega-Lite library draws it: in a page, or as SVG or
    PNG without one. It is 640 pixels wide; set `spec.width` to another number, or to `container` in a page, down to about
    350 pixels. Colours can be told apart by people with any colour vision, and in black and white.

    """

    name: ChartName
    title: str
    """
    The heading of the picture, which also stands in it.
    """
    text: list[TextItem]
    """
    What the picture shows, in a few plain sentences with its numbers: for people who cannot see it, and to stand beside
    it. The specification has them as its `description`.

    """
    spec: dict[str, Any]
    """
    The chart's specification in Vega-Lite 6, whose schema it keeps to. It names no other address to load.
    """


FigureValue: TypeAlias = float | str | list[Band] | dict[str, Rate]
"""
Pounds, a fraction, a whole number such as an age, a word, a day, a list of bands, or rates by tax code.
"""


class Figure(TypedDict):
    """
    One statutory figure.
    """

    name: FigureName
    value: FigureValue
    source: str
    """
    The Act, instrument, resolution or page the figure comes from.
    """
    standing: Standing
    caveat: NotRequired[str]
    """
    What is not law yet, or not certain, about the figure, in a sentence for clients. Left out if there is nothing to say.

    """
    evidence: NotRequired[str]
    """
    How the figure was found, for those who check figures; not meant for clients.
    """
    note: NotRequired[str]
    """
    Anything else worth knowing.
    """


class ProblemError(TypedDict):
    """
    One fault and its place.
    """

    pointer: Pointer
    code: str
    """
    The kind of fault, for programs, such as `missing` or `unknown-field`. New ones may appear.
    """
    detail: str
    """
    What is wrong there, in words.
    """


class Rules(TypedDict):
    """
    The rules used for the answer.
    """

    version: RulesVersion
    figures_version: FiguresVersion
    """
    The version of the figures of all tax years together.
    """
    software_version: SoftwareVersion
    law_as_of: Day
    """
    The date of the newest official text used for the figures. Later changes are not in them.
    """
    standing: Standing
    caveats: list[FigureCaveat]
    """
    What is not law yet, or not certain, about the figures used: one entry for each such figure. In a plan it is the caveat
    of the first tax year in which the figure is least firm. Several figures may have the same sentence; show it once.

    """
    law: NotRequired[ProposedLaw]
    """
    The proposed law that the answer was worked out by. Left out if it is the law as known.
    """


class Option(TypedDict):
    """
    An option's tax years under both laws.
    """

    option: int
    """
    The option's place in the request.
    """
    years: list[ComparedLawYear]
    """
    The household's main amounts in each tax year.
    """


class ComparedLawFound(TypedDict):
    """
    The same question under the law of `compare_law`, and what is otherwise then. Show its notice with it.

    """

    name: LawName
    title: NotRequired[str]
    """
    What is proposed. Left out if it is the law as known.
    """
    outcome: Literal['found']
    """
    That it could be worked out.
    """
    summary: list[SummaryItem]
    """
    The main differences in sentences that a client may read. If the other law is a proposal, the first says which.
    """
    differences: list[LawDifferenceOfAnswer]
    """
    The numbers of the answer that are not the same under that law, in the order of the answer: amounts, and rates where they
    differ. Of `warnings` it is the `amount` of those that both laws have. Left out are `years` (told below), `slices`, `steps`,
    `working`, `curve`, `charts`, and lists that have more or fewer items under that law. For those ask again, with that `law`.

    """
    years: NotRequired[list[ComparedLawYear]]
    """
    The household's main amounts in each tax year under both laws. Only of plans.
    """
    options: NotRequired[list[Option]]
    """
    The same of each option that can be carried out under both laws. Only of lump sum timing.
    """
    warnings_come: list[str]
    """
    The codes of warnings that there are under that law alone, one for each time.
    """
    warnings_go: list[str]
    """
    The codes of warnings that there are not under that law, one for each time.
    """
    rules: Rules
    notice: Notice


Income = TypedDict(
    'Income',
    {
        'kind': IncomeKind,
        'amount': NotRequired[Money],
        'share_of_full_rate': NotRequired[float],
        'from': NotRequired[Day],
        'to': NotRequired[Day],
        'increases': NotRequired[Increases],
    },
)


Spending = TypedDict(
    'Spending',
    {
        'amount': Money,
        'from': NotRequired[Day],
        'to': NotRequired[Day],
        'increases': NotRequired[Increases],
    },
)


class Estate(TypedDict):
    """
    What the household owns besides pensions, ISAs and cash, which are given for each person, and who receives it on a death.
    Amounts are those of the first tax year. Left out, there is no estate in lump sum timing, and for warnings it is not known.

    """

    home: NotRequired[Money]
    """
    What the home is worth after any mortgage on it. Left out, there is no home.
    """
    home_to_descendants: NotRequired[bool]
    """
    Whether children, grandchildren or their spouses inherit the home, which earns the residence nil-rate band. Left out,
    lump sum timing takes it as no; warnings treat it as not known.

    """
    other_assets: NotRequired[Money]
    """
    What everything else is worth, such as investments and belongings. Not pensions, ISAs or cash. Of a business or a farm,
    give what is left after its own relief, which is not worked out. Left out, nothing.

    """
    debts: NotRequired[Money]
    """
    What the household owes, except a mortgage on the home. Debts do not change over the years. Left out, nothing.
    """
    increases: NotRequired[Increases]
    first_person_share: NotRequired[Share]
    """
    The first person's share of home, other assets and debts; the second has the rest. Left out, 0.5.
    """
    charity_share: NotRequired[Share]
    """
    The share that goes to charity. It is a share of what beneficiaries receive, except pensions and a home that goes to
    descendants. Warnings say that it is exempt and do not count it. Left out, 0.

    """
    lifetime_gifts: NotRequired[list[LifetimeGift]]
    """
    Gifts that use up the nil-rate band if death follows within seven years, after exemptions. The tax on the gifts themselves
    is not worked out. Left out, none; warnings then say that they were not told of any.

    """
    nil_rate_band_brought_forward: NotRequired[Share]
    """
    For one person only: the share of a nil-rate band that an earlier death of a spouse or civil partner left unused. Left
    out, lump sum timing takes 0; warnings treat it as not known.

    """
    residence_nil_rate_band_brought_forward: NotRequired[Share]
    """
    For one person only; the same for the residence nil-rate band.
    """
    spouses: NotRequired[bool]
    """
    Whether a couple are spouses or civil partners. Only they inherit from each other free of inheritance tax, and can use
    each other's unused bands, or claim the marriage allowance. Left out, yes.

    """
    first_death: NotRequired[Literal['to_spouse', 'to_beneficiaries']]
    """
    Who receives everything on the first death of a couple, or on the death of one person who is married or in a civil
    partnership. Left out, in lump sum timing it passes to the spouse, or to beneficiaries if the two are not `spouses`. For
    warnings it is then not known. Of a couple, warnings look at what the second to die leaves, with the bands of
    both; of two who are not `spouses`, at half of all for each.

    """
    home_given_up: NotRequired[HomeGivenUp]
    pension_paid_as: NotRequired[Literal['lump_sum', 'drawdown']]
    """
    How beneficiaries take the pension. Where the person died under 75, a lump sum is free of income tax up to the lump sum
    and death benefit allowance that is left, and drawdown without a limit. Left out, `lump_sum`.

    """
    pension_paid_within_two_years: NotRequired[bool]
    """
    Whether beneficiaries are paid, or the money is set aside for their drawdown, within two years of the day on which the
    scheme knew or could have known of the death. Later payments are taxed as income even where the person died under 75,
    except drawdown from funds that were already in drawdown. Left out, yes.

    """
    pension_to_non_qualifying_person: NotRequired[bool]
    """
    Whether trustees, a company or another non-qualifying person receive the pension money. They can only be paid a lump
    sum. The part of it that is not tax free bears a separate charge in place of income tax. Left out, no.

    """
    survivor_spending: NotRequired[Share]
    """
    What the survivor of a couple spends, as a share of the household's spending. Left out, 1.
    """


Payroll: TypeAlias = PayrollMonth1 | PayrollCumulative
"""
The tax code that the provider will use for the payment. If it is left out, the emergency code of the year is assumed on the
month 1 basis (for a small pot, the basic rate), and the answer says so.

"""


class Assumptions(TypedDict):
    """
    What you assume about the future. The service forecasts nothing. Left out, all defaults apply.
    """

    pension_growth: NotRequired[GrowthRate]
    """
    Growth a year of pensions that have no `growth` of their own, before any `yearly_charge`. Left out, 0.

    """
    isa_growth: NotRequired[GrowthRate]
    """
    Growth of the ISAs a year, after charges. Left out, 0.
    """
    cash_interest: NotRequired[YearlyInterest]
    """
    Interest a year on cash outside ISAs, before tax. Left out, 0.
    """
    price_inflation: NotRequired[YearlyRate]
    """
    How much prices rise in a year. Left out, 0.
    """
    thresholds_after_freeze: NotRequired[Literal['frozen', 'prices']]
    """
    What happens to the allowances and limits that the law ties to prices after the last tax year with figures: they stay
    the same, or they rise with prices. Left out, `frozen`.

    """
    tax_on_remaining_pension: NotRequired[RemainingPensionTax]
    """
    How the pension left at the end is taxed, beyond its tax-free part. Left out, as if it were drawn evenly over 20 years.

    """
    tax_rate_on_remaining_pension: NotRequired[Share]
    """
    A short way to give `tax_on_remaining_pension` a `rate`. Give one of the two.

    """
    spending_met: NotRequired[Literal['start', 'evenly', 'end']]
    """
    When in each tax year spending is met. Money that is spent early misses growth. Left out, `evenly`.

    - `start`: on the first day, so it misses all of the year's growth.
    - `evenly`: over the year, so it misses half of the year's growth.
    - `end`: on the last day.

    """
    scenarios: NotRequired[Scenarios]


class IncomeTax(TypedDict):
    """
    Income tax of the year. The child benefit charge and a lost marriage allowance are part of `total` and of
    `on_withdrawal`. `on_other_income` and `on_withdrawal` add up to `total`.

    """

    on_other_income: MoneyAnswer
    """
    The year's tax as it would be without this withdrawal.
    """
    on_withdrawal: SignedMoneyAnswer
    """
    What the withdrawal adds to the year's tax.
    """
    total: MoneyAnswer
    """
    The year's tax with the withdrawal.
    """
    effective_rate: Rate
    """
    The tax on the withdrawal as a fraction of the gross payment, to four decimals: `on_withdrawal` and a lifetime
    allowance charge, if any. It is 0 where nothing is taken.

    """
    marginal_rate: Rate
    """
    The tax on the next £100 of taxable withdrawal, as a fraction: the rise in the year's tax divided by £100. It includes
    steps and staircases within the £100, so it can be above 1 where an allowance is lost all at once, and below 0 where
    one comes back. It is a rate on the taxable part. In a UFPLS with its full tax-free quarter, three quarters of each
    pound are taxable.

    Where the child benefit charge rises in jumps £200 apart, the next £100 may or may not contain a jump. For a larger
    amount the `average_rate` of the slice is then the better figure.

    """
    slices: list[Slice]
    """
    The taxable part, split wherever the rate changes, lowest first. The tax of the slices adds up to `on_withdrawal`, to
    the penny.

    """
    personal_allowance: MoneyAnswer
    """
    The personal allowance left to this person with the withdrawal, before any of it is taken away to cover Gift Aid, which
    `gift_aid_tax` tells.

    """
    child_benefit_charge: MoneyAnswer
    """
    The high income child benefit charge of the year, with the withdrawal.
    """
    marriage_allowance_reduction: MoneyAnswer
    """
    The tax reduction for a received marriage allowance, with the withdrawal.
    """
    gift_aid_tax: MoneyAnswer
    """
    Part of `total`: what the year's tax would otherwise fall short of the basic-rate tax on gifts under Gift Aid, with the
    withdrawal. Capital gains tax could cover it too, but is not known here.

    """


class Warning(TypedDict):
    """
    Something to know before acting. Warnings have this form in every answer, and a code means the same in all of
    them. `GET /v1/warning-codes` lists all codes.

    """

    code: str
    """
    A fixed name for programs. New codes may appear; treat an unknown one by its `effect`.
    """
    effect: Literal['not_permitted', 'costs', 'check']
    """
    `not_permitted`: the scheme may not pay it, or it would be an unauthorised payment. `costs`: it has a
    cost elsewhere. `check`: a fact to find out.

    """
    title: str
    """
    A short heading for people.
    """
    detail: str
    """
    The full text, for people. It does not repeat the `caveats`, and does not say which `options` it is about.

    """
    amount: NotRequired[MoneyAnswer]
    """
    What it costs or what is lost, in pounds, as `detail` explains. Warnings of one effect come in the order of their
    severity (`GET /v1/warning-codes`), and then of this amount, the largest first. A loss each week or month is counted for a year. Left out where no amount is known.

    """
    figures: dict[str, float]
    """
    The numbers behind the warning, by name. `GET /v1/warning-codes` lists the names that each code may have, with
    their units. Money is in pounds, a rate is a fraction.

    """
    person: NotRequired[int]
    """
    Which person it is about; 0 is the first. Left out where it is about the household.
    """
    pension: NotRequired[int]
    """
    Which of that person's pensions it is about; 0 is the first. Left out where it is not about one pension.

    """
    options: NotRequired[list[Option1]]
    """
    In lump sum timing, which options it is about; 0 is the first. Left out where it is about all options that can be
    carried out.

    """
    pointer: Pointer
    """
    The part of the request that the warning is about, whether it was given or left out.
    """
    sources: list[Source]
    """
    The Acts, instruments or pages it is based on.
    """
    standing: Standing
    tax_year: NotRequired[str]
    """
    The tax year that the warning is about and whose figures it quotes; of several, the first.
    """
    caveats: NotRequired[list[Caveat]]
    """
    What is not certain about the law or the figures behind the warning, in words for clients. Left out where
    nothing is uncertain.

    """
    missing_facts: NotRequired[list[MissingFact]]
    """
    What is missing, one by one, where the warning is about facts that were not given (`facts_not_given`, in
    `POST /v1/warnings`). `detail` says all of it, and `missing_facts` of the answer has the same.

    """


class WarningCodes(TypedDict):
    """
    The list of all warnings.

    """

    warning_codes: list[WarningCode]
    """
    Every warning there is, topic by topic.
    """
    rules_version: RulesVersion


PlanCaseOutcome: TypeAlias = PlanCaseFound | CaseImpossible


class AssumptionsUsed(TypedDict):
    """
    All assumptions used, including the defaults.
    """

    pension_growth: Rate
    """
    Growth of the pensions after their charge; the first person's, where two people's differ.
    """
    pension_growths: NotRequired[list[Rate]]
    """
    Growth of each person's pensions after their charge, where they differ; of several that grow differently, of the first.
    Left out where they do not differ.

    """
    growth_by_pension: NotRequired[list[GrowthOfPension]]
    """
    Growth of every pension after its charge, where pensions of one person differ in it.
    """
    isa_growth: Rate
    cash_interest: Rate
    price_inflation: Rate
    thresholds_after_freeze: Literal['frozen', 'prices']
    """
    What happens to allowances and limits after the last tax year with figures.
    """
    tax_on_remaining_pension: RemainingPensionTaxUsed
    tax_rate_on_remaining_pension: NotRequired[Rate]
    """
    The flat rate, where one was assumed.
    """
    spending_met: Literal['start', 'evenly', 'end']
    """
    When in each tax year spending is met.
    """


PlanEstate: TypeAlias = PlanEstateFound | PlanEstateImpossible
"""
What beneficiaries would receive if everybody died on the last day; of a couple the first person first. Lump sum timing has
other days, and what makes up each estate.

"""


class PlanPersonYear(TypedDict):
    """
    One person in one tax year of the plan.
    """

    age: AgeOnTheLastDay
    because: list[PlanReason]
    """
    Why this is drawn and paid in, the withdrawal first. Empty for a person who has no pension and pays nothing into ISAs.

    """
    lump_sum: MoneyAnswer
    """
    The tax-free lump sum that a plan with `lump_sums` as `all_now` takes when it first can; it is not in
    `withdrawals`. Nil in all other years and plans.

    """
    withdrawals: PlanWithdrawals
    income_received: MoneyAnswer
    """
    Income inside the plan, before tax, without withdrawals and without interest on the plan's cash.
    """
    contributions: NotRequired[ContributionsPaidIn]
    interest: MoneyAnswer
    """
    Interest on the plan's cash; it is taxed as savings income.
    """
    income_tax: SignedMoneyAnswer
    """
    Income tax of the tax year, the high income child benefit charge included, less the share borne by income
    outside the plan. It is below nil where a marriage allowance claimed `as_best` saves more than is left, in a tax year that is
    only partly inside the plan.

    """
    isa_subscription: MoneyAnswer
    """
    What is subscribed to this person's ISAs.
    """
    isa_withdrawal: MoneyAnswer
    """
    What is taken from this person's ISAs.
    """
    spent: MoneyAnswer
    """
    This person's part of the spending.
    """
    spent_during_year: SpentDuringYear
    """
    What this person's money pays before the last day, towards the spending of both, and so misses growth: half of the
    year's where spending is met evenly. Nil where `spending_met` is `end`.

    """
    moved_from_partner: SignedMoneyAnswer
    """
    Money that came from the partner; below nil, money that went there. Nil for a person alone.
    """
    allowances: PlanAllowances
    pensions: PensionBalances
    isa: IsaBalance
    cash: CashBalance


class PlanSmallPots(TypedDict):
    """
    What became of pensions with `small_pot_in` as `as_best`.

    """

    chosen: Literal['best', 'first_possible']
    """
    `best`: the plan compared all tax years in which each may be taken, and drawing it like any other pension. `proof` is
    about all of these. `first_possible`: the goal does not compare, and each is taken in the first tax year that is possible.

    """
    pensions: list[PlanSmallPot]
    """
    Each of these pensions, in the order of the request.
    """
    gain: NotRequired[MoneyAnswer]
    """
    How much more this plan leaves than another: one that draws all of these pensions like any other or, where this plan does
    so, one that takes them as small pots. For the goal `most_to_beneficiaries`, how much more beneficiaries receive. Of
    plans within £1 a tax year small pots are taken, so it may be a little below 0. Left out for `first_possible`, where the
    other plan cannot be carried out, and where the work of `search.effort` does not suffice to compare.

    """


class ScenarioFound(TypedDict):
    """
    The plan under other assumptions, in short.
    """

    outcome: Literal['found']
    """
    The spending can be met.
    """
    steady_income: NotRequired[SteadyIncome]
    """
    The income that can be paid under these assumptions, for the goal `steady_income`.
    """
    small_pots: NotRequired[PlanSmallPots]
    """
    What becomes of pensions with `small_pot_in` as `as_best` under these assumptions. Only where there are any.
    """
    beneficiaries_receive: NotRequired[MoneyAnswer]
    """
    What beneficiaries would receive under these assumptions, for the goal `most_to_beneficiaries`.
    """
    totals: PlanTotals
    years: list[ScenarioYear]
    """
    The tax years in order.
    """


TimingCaseOutcome: TypeAlias = TimingCaseFound | CaseImpossible


class OptionTotals(TypedDict):
    """
    The totals of an option, and what the household has on the last day.
    """

    people: list[OptionPersonTotals]
    """
    Each person, in the order of the request.
    """
    tax_free_cash: MoneyAnswer
    """
    All tax-free cash received, by lump sums and with withdrawals.
    """
    withdrawn: MoneyAnswer
    """
    All that left the pensions, lump sums included, before tax.
    """
    income_tax: SignedMoneyAnswer
    """
    All income tax within the years.
    """
    interest_on_waiting_cash: MoneyAnswer
    """
    All interest on cash outside ISAs.
    """
    tax_on_interest: SignedMoneyAnswer
    """
    The part of the income tax that this interest adds, year by year.
    """
    most_cash_waiting: MoneyAnswer
    """
    The most cash outside ISAs at the end of any tax year.
    """
    no_cash_waits_from: NotRequired[str]
    """
    The tax year from which on no cash is held outside ISAs at the end of any tax year. Left out where cash is held to
    the end.

    """
    spent: MoneyAnswer
    """
    All that was spent.
    """
    in_pensions: MoneyAnswer
    """
    All pensions on the last day.
    """
    in_isas: MoneyAnswer
    """
    All ISAs on the last day.
    """
    in_cash: MoneyAnswer
    """
    All cash outside ISAs on the last day.
    """
    wealth_after_tax: MoneyAnswer
    """
    ISAs + cash + for each pension: what could still be taken tax free, plus the remainder after the tax assumed on it
    (`tax_on_remaining_pension`). On the last day.

    """
    wealth_after_tax_in_prices_of_start: MoneyAnswer
    """
    The same in prices of `start_date`.
    """


OptionYear = TypedDict(
    'OptionYear',
    {
        'tax_year': str,
        'from': str,
        'to': str,
        'standing': Standing,
        'people': list[OptionPersonYear],
        'household': OptionHouseholdYear,
    },
)


class EstateLeft(TypedDict):
    """
    What one person leaves, the tax on it step by step, and who receives it. `additional_permitted_subscription`
    is there where it passes to the spouse, `beneficiaries` where it passes to other beneficiaries.

    """

    person: WhichPerson
    age: int
    """
    Their age in whole years.
    """
    date: str
    """
    The day of the death.
    """
    tax_year: str
    """
    The tax year of the death, whose rules apply.
    """
    passes_to: Literal['spouse', 'beneficiaries']
    """
    Who receives it; `spouse` is also a civil partner, `beneficiaries` are others.
    """
    estate: EstateOnDeath
    residence_nil_rate_band: ResidenceNilRateBand
    nil_rate_band: NilRateBand
    inheritance_tax: MoneyAnswer
    """
    The inheritance tax; `on_free_estate` and `on_pension` of its parts together.
    """
    inheritance_tax_parts: InheritanceTaxParts
    additional_permitted_subscription: NotRequired[MoneyAnswer]
    """
    What the spouse may subscribe to ISAs besides the yearly limit.
    """
    beneficiaries: NotRequired[BeneficiariesReceive]


class ScenarioRankings(TypedDict):
    """
    By wealth after tax on the last day, the most first, in each scenario asked for.
    """

    low: NotRequired[Ranking]
    middle: NotRequired[Ranking]
    high: NotRequired[Ranking]


class PairBreakEvens(TypedDict):
    """
    Where one option of a pair overtakes the other.
    """

    options: list[OptionPlace]
    """
    The two, by their places in the request.
    """
    growth: GrowthBreakEvens
    age: AgeBreakEvens


class Markets(TypedDict):
    """
    Many courses of markets, each called a path: what pensions, ISAs, cash and prices do in each tax year of the plan. They are
    yours; the service forecasts nothing. The plan's aim is then applied anew each year on every path, to what there is by then.
    So the aim has to be one that fills a band. The answer's `markets` says how often spending is met and how far outcomes differ.

    `source` says where the paths come from, and which of the other fields are needed.

    - `random`: drawn from `seed`, `volatility` and `correlation`, around the rates of `assumptions`.
    - `given`: your own `paths`.
    - `history`: cut from your own `history`.

    """

    source: Literal['random', 'given', 'history']
    """
    Where the paths come from.
    """
    seed: NotRequired[int]
    """
    Where the random numbers begin; needed with `random`. The same seed has the same paths, and the first of them are the same
    however many follow.

    """
    number_of_paths: NotRequired[int]
    """
    How many paths to draw, with `random`. Left out, 500. The years of all people on all paths of all plans may come to 60,000:
    1,000 paths for a couple over 30 tax years with nothing in `compare`.

    """
    volatility: NotRequired[Volatility]
    correlation: NotRequired[Correlation]
    paths: NotRequired[list[MarketPath]]
    """
    Your own paths; needed with `given`. How many fit is also limited by the size of a body.
    """
    history: NotRequired[MarketHistory]
    compare: NotRequired[list[ComparedOption]]
    """
    Other plans, carried out on the same paths and compared with this one. Left out, there are none.

    """


class CoursesOfMarkets(TypedDict):
    """
    Many courses of markets, each called a path: what pensions, ISAs, cash and prices do in each tax year of the comparison. They
    are yours; the service forecasts nothing. Every option is carried out anew on every path. The answer's `markets` says how
    often each is the best, and how much it loses when it is not.

    `source` says where the paths come from, and which of the other fields are needed.

    - `random`: drawn from `seed`, `volatility` and `correlation`, around the rates of `assumptions`.
    - `given`: your own `paths`.
    - `history`: cut from your own `history`.

    """

    source: Literal['random', 'given', 'history']
    """
    Where the paths come from.
    """
    seed: NotRequired[int]
    """
    Where the random numbers begin; needed with `random`. The same seed has the same paths, and the first of them are the same
    however many follow.

    """
    number_of_paths: NotRequired[int]
    """
    How many paths to draw, with `random`. Left out, 500. The years of all people on all paths, for all options and with those
    of survivors, may come to 60,000: 250 paths for a couple over 30 tax years with four options. A problem says how many fit.

    """
    volatility: NotRequired[Volatility]
    correlation: NotRequired[Correlation]
    paths: NotRequired[list[MarketPath]]
    """
    Your own paths; needed with `given`. How many fit is also limited by the size of a body.
    """
    history: NotRequired[MarketHistory]


class FirstYearOverPaths(TypedDict):
    """
    What is done in one of the first tax years.
    """

    tax_year: PlannedTaxYear
    people: list[PersonOverPaths]
    """
    Each person, in the order of the request.
    """


class OptionOverPaths(TypedDict):
    """
    One option on all paths.
    """

    option: int
    """
    The option's place in the request.
    """
    spending_met_throughout: ShareOfPaths
    """
    The paths on which spending is met, and the minimum of cash kept, in every tax year.
    """
    wealth_after_tax: Percentiles
    """
    As in `totals`, at the end.
    """
    wealth_after_tax_in_prices_of_start: Percentiles
    """
    The same in prices of `start_date`, by each path's own prices.
    """
    outcome_in_prices_of_start: Percentiles
    """
    What is left after tax at the end, less all spending that was not met.
    """
    best_in: ShareOfPaths
    """
    The paths on which no other option has a better outcome. Where two are equally good, both count.
    """
    loss_when_not_best: NotRequired[Percentiles]
    """
    How far it is behind the best, on the other paths alone. Left out where there are none.
    """
    largest_loss: MoneyAnswer
    """
    The most that it is behind the best on any path.
    """
    worst_path: WorstPath
    first_years: list[FirstYearOverPaths]
    """
    What each person does in the first two tax years, over all paths.
    """
    years: list[OptionYearOverPaths]
    """
    The tax years in order.
    """
    deaths: list[DeathOverPaths]
    """
    The deaths asked about, in the order of the request.
    """


Charts: TypeAlias = list[Chart]
"""
The answer as pictures; only with `include=charts`. There are fewer of them where there is less to show. New charts
may be added; draw those that you know by their `name`, or all.

"""


class LawDifference(TypedDict):
    """
    A figure of one tax year in which the two laws differ.
    """

    tax_year: TaxYear
    name: FigureName
    known: FigureValue
    """
    The value by the law as known.
    """
    proposed: FigureValue
    """
    The value that is proposed.
    """
    known_standing: Standing
    """
    How firm the value by the law as known is.
    """
    source: str
    """
    Where the proposed value comes from.
    """


TaxYearFigures = TypedDict(
    'TaxYearFigures',
    {
        'tax_year': TaxYear,
        'from': str,
        'to': str,
        'standing': Standing,
        'figures_version': FiguresVersion,
        'figures': list[Figure],
    },
)


class Problem(TypedDict):
    """
    A fault (RFC 9457).
    """

    type: str
    """
    The kind of fault, as a URI that never changes; it ends in the `code`. A page at this path explains it.
    """
    title: str
    """
    The kind of fault, in words.
    """
    status: int
    """
    The HTTP status, repeated.
    """
    detail: str
    """
    What went wrong this time: the fault after its pointer, such as `#/household/people/0/cash: Must not be null; leave it out.` If there are several, how many and the first one.
    """
    instance: NotRequired[str]
    """
    The path that was asked for, percent-encoded where a URI needs it. Left out where the request could not be read as HTTP.
    """
    code: ProblemCode
    errors: list[ProblemError]
    """
    Every fault found, each with its place; empty where the fault has no place in the body. At most 20 unknown fields are listed; one more entry says how many others there are.
    """
    permitted: NotRequired[float]
    """
    The figure that would be allowed in place of the first amount at fault. Left out where there is no such figure.
    """


ComparedLaw: TypeAlias = ComparedLawFound | ComparedLawImpossible


class Person(TypedDict):
    """
    A person, the facts that their tax depends on, and what they hold.
    """

    name: NotRequired[Name]
    """
    What warnings and summaries call this person if the household has two. It is used only in those texts.
    Give two people different names.

    """
    date_of_birth: Day
    """
    Date of birth, not before 1900-01-01.
    """
    tax_residence: Nation
    income: NotRequired[list[Income]]
    """
    All taxable income, except the withdrawals asked about and the interest that a plan works out. Several entries of one
    kind are added together. Leave out what is not taxable, such as ISA income. Left out, there is none.

    """
    contributions: NotRequired[list[Contribution]]
    """
    Pension contributions, made and planned, each given once. Those with relief at source extend the tax bands, as far as
    they have relief. All of them count towards the annual allowances. An empty list says that there are none; left out, it
    is not known.

    """
    gift_aid_donations: NotRequired[Money]
    """
    Gift Aid donations in each tax year, grossed up: what was given, times 100/80. They change only the tax; a plan does not
    take them from cash. Left out, none.

    """
    marriage_allowance: NotRequired[MarriageAllowance]
    blind_persons_allowance: NotRequired[bool]
    """
    Whether the blind person's allowance is due. Left out, no.
    """
    child_benefit: NotRequired[Money]
    """
    Child benefit received in the year by this person or their partner. Give it only for the partner with the higher adjusted
    net income, who pays the charge. It is not counted as income. Left out, none.

    """
    pensions: NotRequired[list[Pension]]
    """
    The person's defined contribution pensions. Requests and answers number them from 0, in the order of this list.
    Left out, there are none.

    """
    lump_sum_allowances: NotRequired[LumpSumAllowances]
    flexibly_accessed: NotRequired[bool]
    """
    Whether any pension was flexibly accessed before, so that the money purchase annual allowance applies already. Left out,
    it is not known: amounts are worked out as if it were not.

    """
    isa: NotRequired[Isa]
    cash: NotRequired[Money]
    """
    Cash outside ISAs. Left out, none.
    """
    withdrawal_cap: NotRequired[Money]
    """
    The most to withdraw from this person's pensions in a tax year, before tax and with any tax-free part. A lump sum that is
    taken by itself does not count towards it. Left out, there is no cap.

    """
    already_this_tax_year: NotRequired[AlreadyThisTaxYear]
    circumstances: NotRequired[Circumstances]


class WithdrawalTaxAnswer(TypedDict):
    """
    What the withdrawal costs and what arrives.
    """

    tax_year: TaxYear
    rules: Rules
    withdrawal: WithdrawalParts
    income_tax: IncomeTax
    lifetime_allowance: NotRequired[LifetimeAllowance]
    net_after_tax: SignedMoneyAnswer
    """
    The gross payment less what the withdrawal adds to the year's tax (and less a lifetime allowance charge,
    if any). It is below nil where a small payment loses an allowance that is worth more than the payment.

    """
    payroll: PayrollAnswer
    allowances_remaining: AllowancesRemaining
    pension_after: PensionAfter
    curve: NotRequired[Curve]
    warnings: list[Warning]
    """
    What is not permitted, what costs something elsewhere, and what needs checking.
    """
    working: NotRequired[list[WorkingStep]]
    """
    The steps in order; only with `include=working`.
    """
    charts: NotRequired[Charts]
    compared_law: NotRequired[ComparedLaw]
    """
    What is otherwise under another law. Only where the request has `compare_law`.
    """
    notice: Notice


class WarningsAnswer(TypedDict):
    """
    What is not permitted, what has a cost and what to check.

    """

    date: Day
    """
    The date of the request.
    """
    rules: Rules
    warnings: list[Warning]
    """
    What is not permitted first, then costs, then what to check; in each by severity. Before all of them stands what is open
    to somebody of whom ill-health is given.

    """
    missing_facts: list[MissingFact]
    """
    What was not given and would matter: the questions still to ask. They are in the order of warnings. Where one of them
    decides what is permitted, taxed or charged, a warning tells all of them (`facts_not_given`). Otherwise `notice` tells
    them.

    """
    counts: WarningCounts
    compared_law: NotRequired[ComparedLaw]
    """
    What is otherwise under another law. Only where the request has `compare_law`.
    """
    notice: Notice


class PlanSensitivity(TypedDict):
    """
    How much turns on each assumption: the plan again with one of them changed. Only where the request has `sensitivity`. It is
    no forecast of how likely any case is.

    """

    effort: Literal['quick']
    """
    The effort of the search for every plan here, the one as assumed included. So that one may leave a little less than the
    plan of this answer.

    """
    as_assumed: PlanCaseOutcome
    """
    The plan under the assumptions of the request.
    """
    cases: list[PlanCase]
    """
    Two for each assumption, up and then down.
    """


PlanYear = TypedDict(
    'PlanYear',
    {
        'tax_year': str,
        'from': str,
        'to': str,
        'standing': Standing,
        'spending': MoneyAnswer,
        'people': list[PlanPersonYear],
        'household': HouseholdYear,
        'events': list[PlanEvent],
    },
)


ScenarioAnswer: TypeAlias = ScenarioFound | ScenarioImpossible
"""
The plan under other assumptions, or why there is none.
"""


class TimingSensitivity(TypedDict):
    """
    How much turns on each assumption: the options again with one of them changed. Only where the request has `sensitivity`. It
    is no forecast of how likely any case is.

    """

    as_assumed: TimingCaseOutcome
    """
    The options under the assumptions of the request.
    """
    cases: list[TimingCase]
    """
    Two for each assumption, up and then down.
    """


class DeathFound(TypedDict):
    """
    What beneficiaries receive in the end, with the estate on each death.
    """

    person: WhichPerson
    age: int
    """
    The age asked about, at which this person dies.
    """
    survivor_age: NotRequired[SurvivorAge]
    outcome: Literal['found']
    """
    It can be computed.
    """
    beneficiaries_receive: MoneyAnswer
    """
    What beneficiaries receive after inheritance tax and their income tax, on both deaths of a couple together; what
    goes to charity is not in it.

    """
    beneficiaries_receive_in_prices_of_start: MoneyAnswer
    """
    The same in prices of `start_date`, worked back from the day of the last death.
    """
    inheritance_tax: MoneyAnswer
    """
    All inheritance tax.
    """
    beneficiaries_income_tax: MoneyAnswer
    """
    The beneficiaries' income tax on pension money.
    """
    estates: list[EstateLeft]
    """
    What the person asked about leaves and, for a couple, what the survivor then leaves.
    """
    survivor: NotRequired[SurvivorYears]


class OptionRankings(TypedDict):
    """
    The options in order, by each measure.
    """

    wealth_after_tax: Ranking
    """
    By wealth after tax on the last day, the most first.
    """
    income_tax: Ranking
    """
    By all income tax, the least first.
    """
    beneficiaries: list[Ranking]
    """
    By what beneficiaries receive, the most first; one order for each death asked about.
    """
    scenarios: NotRequired[ScenarioRankings]


class BreakEvens(TypedDict):
    """
    Where one option overtakes another in wealth after tax.
    """

    growth: GrowthLookedAt
    pairs: list[PairBreakEvens]
    """
    Every pair of options that can be carried out.
    """


class OverPaths(TypedDict):
    """
    The plan on all paths. On each of them its aim is applied anew each year to what there is, to the penny and by the same rules
    as in `years` above. Where a tax year's spending cannot be met, all that may be drawn is drawn, what there is is spent, and
    the path goes on. The paths are assumptions of whoever asked; nothing is forecast.

    """

    source: Literal['random', 'given', 'history']
    """
    Where the paths come from.
    """
    seed: NotRequired[int]
    """
    The seed, where they are random.
    """
    paths: int
    """
    How many paths there are.
    """
    summary: list[SummaryItem]
    """
    What the paths come to, in a few plain sentences.
    """
    spending_met_throughout: ShareOfPaths
    """
    The paths on which spending is met, and the minimum of cash kept, in every tax year.
    """
    years: list[YearOverPaths]
    """
    The tax years in order.
    """
    wealth_after_tax: Percentiles
    """
    As in `totals`, at the end.
    """
    wealth_after_tax_in_prices_of_start: Percentiles
    """
    The same in prices of `start_date`, by each path's own prices.
    """
    worst_path: WorstPath
    first_years: list[FirstYearOverPaths]
    """
    What each person does in the first two tax years, over all paths.
    """
    compared: NotRequired[list[ComparedOverPaths]]
    """
    The plan itself, and then the plans of `compare` in their order. Their outcomes on a path are compared in money: what is left
    after tax at the end, less all spending that was not met, both in prices of the start. Only where `compare` is given.

    """
    least_regret: NotRequired[int]
    """
    The place in `compared` of the plan with the smallest `largest_loss`. Only where `compare` is given.
    """


class OptionsOverPaths(TypedDict):
    """
    The options on all paths. On each of them every option is carried out anew, to the penny and by the same rules as in `options`
    above. Where a tax year's spending cannot be met, all that may be drawn is drawn, what there is is spent, and the path goes on.
    The paths are assumptions of whoever asked; nothing is forecast.

    Outcomes on a path are compared in money: what is left after tax at the end, less all spending that was not met, both in
    prices of the start.

    """

    source: Literal['random', 'given', 'history']
    """
    Where the paths come from.
    """
    seed: NotRequired[int]
    """
    The seed, where they are random.
    """
    paths: int
    """
    How many paths there are.
    """
    summary: list[SummaryItem]
    """
    What the paths come to, in a few plain sentences.
    """
    options: list[OptionOverPaths]
    """
    The options, in the order of the request; also those that are impossible on the course assumed.
    """
    least_regret: int
    """
    The option with the smallest `largest_loss`; of several the first.
    """


class TaxYearList(TypedDict):
    """
    The tax years the service can answer for.
    """

    tax_years: list[TaxYearEntry]
    """
    Oldest first.
    """
    figures_version: FiguresVersion
    """
    The version of all figures together; the same as `rules.figures_version` of a calculation.
    """
    laws: NotRequired[list[ProposedLaw]]
    """
    The proposed laws that requests can name as `law`. Left out in a list under a proposed law.
    """
    law: NotRequired[ProposedLaw]
    """
    The proposed law of this list. Left out in the list of the law as known.
    """
    differences: NotRequired[list[LawDifference]]
    """
    Under a proposed law, one entry for each tax year and figure in which it has another value than the law as known, oldest
    year first.

    """


class BulkFailure(TypedDict):
    """
    A record that could not be answered.
    """

    id: RecordId
    status: int
    problem: Problem


class BulkUnnamedFailure(TypedDict):
    """
    A line that could not be answered and whose `id` could not be read.
    """

    line: int
    """
    The number of the line in the body, from 1; blank lines count.
    """
    status: int
    problem: Problem


class Household(TypedDict):
    """
    One person, or two who are a couple: the same record for every operation. Each operation checks all of it and uses what it
    needs. The introduction above says which facts each one uses, and what a fact that is left out means.

    """

    people: list[Person]
    """
    One person, or two who share their money, such as spouses or civil partners. Requests, answers and pointers number them:
    0 is the first, 1 the second.

    """
    spending: NotRequired[list[Spending]]
    """
    What the household spends; several entries are added together. Left out, nothing.
    """
    minimum_cash: NotRequired[Money]
    """
    Cash that the household keeps outside ISAs at the end of every tax year, the same amount each year. Less is never left;
    more is drawn for it as for spending. Left out, none.

    """
    estate: NotRequired[Estate]


class WithdrawalTaxRequest(TypedDict):
    """
    One withdrawal by one person from one pension in one tax year.
    """

    household: Household
    tax_year: TaxYear
    withdrawal: Withdrawal
    payroll: NotRequired[Payroll]
    law: NotRequired[LawName]
    compare_law: NotRequired[LawName]
    """
    Another law, to compare with: the answer is still by `law`, and `compared_law` says what differs under this one. Names are
    those of `law`. Left out, nothing is compared.

    """


class WarningsRequest(TypedDict):
    """
    A household on one day, and what it plans.
    """

    household: Household
    date: Day
    """
    The day to which the household's amounts belong, usually today. It must be in a tax year that `GET /v1/tax-years` lists.

    """
    withdrawals: NotRequired[list[PlannedWithdrawal]]
    """
    The withdrawals planned, in any order. Left out, none.
    """
    isa_subscriptions: NotRequired[list[IsaSubscription]]
    """
    The ISA subscriptions planned, in any order. Left out, none.
    """
    law: NotRequired[LawName]
    compare_law: NotRequired[LawName]
    """
    Another law, to compare with: the answer is still by `law`, and `compared_law` says what differs under this one. Names are
    those of `law`. Left out, nothing is compared.

    """


class AllowanceScheduleRequest(TypedDict):
    """
    A household's plan from one day to another.
    """

    household: Household
    start_date: Day
    """
    The first day of the plan, in a tax year that `GET /v1/tax-years` lists. Balances are those of this day.

    """
    end_date: Day
    """
    The last day of the plan, not before the first. At most 60 tax years may be touched.
    """
    aim: Aim
    lump_sums: NotRequired[LumpSums]
    assumptions: NotRequired[Assumptions]
    sensitivity: NotRequired[SensitivityAsked]
    search: NotRequired[Search]
    beneficiary_tax_rate: NotRequired[Share]
    """
    The beneficiaries' income tax rate on pension money that is taxable, for `estate_at_the_end` and the goal
    `most_to_beneficiaries`. One rate is used for all of
    it; a large sum taken at once may reach higher rates. Left out, 0.2.

    """
    law: NotRequired[LawName]
    compare_law: NotRequired[LawName]
    """
    Another law, to compare with: the answer is still by `law`, and `compared_law` says what differs under this one. Names are
    those of `law`. Left out, nothing is compared.

    """
    markets: NotRequired[Markets]
    """
    Many courses of markets on which the plan's aim is carried out besides. Without it there is only the plan.
    """


class LumpSumTimingRequest(TypedDict):
    """
    A household, the ways of taking its tax-free cash, and the deaths to look at.
    """

    household: Household
    start_date: Day
    """
    The first day, in a tax year that `GET /v1/tax-years` lists. Balances are those of this day.

    """
    to_age: int
    """
    The age of the first person at which the comparison ends. This birthday is the last day and must be after the first day.
    At most 60 tax years may be touched.

    """
    options: list[TimingOption]
    """
    The options to compare. Answers number them from 0, in the order of this list.
    """
    aim: NotRequired[IncomePlan]
    deaths: NotRequired[list[DeathAsked]]
    """
    The deaths to look at, each worked out separately. Left out, none.
    """
    beneficiary_tax_rate: NotRequired[Share]
    """
    The beneficiaries' income tax rate on pension money that is taxable. One rate is used for all of it; a large sum taken
    at once may reach higher rates. Left out, 0.2.

    """
    assumptions: NotRequired[Assumptions]
    break_even_growth: NotRequired[GrowthRange]
    sensitivity: NotRequired[SensitivityAsked]
    markets: NotRequired[CoursesOfMarkets]
    """
    Many courses of markets on which all options are carried out besides. Without it there is only the one assumed.
    """
    law: NotRequired[LawName]
    compare_law: NotRequired[LawName]
    """
    Another law, to compare with: the answer is still by `law`, and `compared_law` says what differs under this one. Names are
    those of `law`. Left out, nothing is compared.

    """


class ScenarioAnswers(TypedDict):
    """
    The scenarios asked for, each with a new plan for the same goal. Where plans are searched for, they share a part of the
    work that `search.effort` allows, so a scenario may be some way from the best.

    """

    low: NotRequired[ScenarioAnswer]
    middle: NotRequired[ScenarioAnswer]
    high: NotRequired[ScenarioAnswer]


DeathAnswer: TypeAlias = DeathFound | DeathImpossible
"""
One death under an option, or why it cannot be worked out.
"""


class BulkRecord(TypedDict):
    """
    One line of a bulk request.
    """

    id: RecordId
    request: WithdrawalTaxRequest | AllowanceScheduleRequest | LumpSumTimingRequest | WarningsRequest
    """
    What the operation takes.
    """


class AllowanceScheduleAnswer(TypedDict):
    """
    The plan and what it leaves.
    """

    outcome: Literal['found']
    """
    Always `found`; spending that cannot be met is a problem with status 422.
    """
    aim: PlanAim
    lump_sums: LumpSums
    assumptions: AssumptionsUsed
    summary: list[SummaryItem]
    """
    The plan in a few plain sentences for a portal or a letter: what is drawn in at most three runs of tax years and why,
    what that leaves, how it compares with the simpler plans, what would change it, and at most two points to know besides.
    An item has one, two or three sentences.

    """
    at_start: PlanStart
    years: list[PlanYear]
    """
    The tax years in order; only part of the first and the last may be in the plan.
    """
    totals: PlanTotals
    compared_with: list[PlanComparison]
    """
    Two simpler plans for the same household, always in the same order.
    """
    compared_years: NotRequired[list[PlanComparedYears]]
    """
    The tax years of the plans in `compared_with`, in the same order. Only with `include=compared_years`.

    """
    steps: NotRequired[list[PlanStep]]
    """
    What is to be done in the 24 months from the first day, by day. Only with `include=steps`. With `Accept: text/calendar`
    the answer is these steps alone, as an iCalendar file.

    """
    steady_income: NotRequired[SteadyIncome]
    small_pots: NotRequired[PlanSmallPots]
    """
    What became of pensions with `small_pot_in` as `as_best`. Only where there are any.
    """
    proof: NotRequired[PlanProof]
    scenarios: NotRequired[ScenarioAnswers]
    sensitivity: NotRequired[PlanSensitivity]
    estate_at_the_end: NotRequired[PlanEstate]
    """
    What beneficiaries would receive if everybody died on the last day. Only where `household.estate` is given.

    """
    markets: NotRequired[OverPaths]
    """
    The plan on many courses of markets. Only where `markets` is given.
    """
    rules: Rules
    warnings: list[Warning]
    """
    What has a cost elsewhere and what needs checking; each warning names the first tax year it is about.

    """
    charts: NotRequired[Charts]
    compared_law: NotRequired[ComparedLaw]
    """
    What is otherwise under another law. Only where the request has `compare_law`.
    """
    notice: Notice


class OptionFound(TypedDict):
    """
    An option carried out.
    """

    option: OptionPlace
    lump_sums: LumpSumsOfOption
    yearly: NotRequired[Stage]
    """
    The stage of `phased`; only there.
    """
    age: NotRequired[int]
    """
    The age of `at_age`; only there.
    """
    aim: OptionAim
    outcome: Literal['found']
    """
    Its spending can be met.
    """
    totals: OptionTotals
    years: list[OptionYear]
    """
    The tax years in order; only part of the first and the last may be covered.
    """
    deaths: list[DeathAnswer]
    """
    The deaths asked about, in the order of the request.
    """


OptionAnswer: TypeAlias = OptionFound | OptionImpossible
"""
One option, carried out, or why it cannot be.
"""


LumpSumTimingAnswer = TypedDict(
    'LumpSumTimingAnswer',
    {
        'summary': list[SummaryItem],
        'from': str,
        'to': str,
        'assumptions': TimingAssumptionsUsed,
        'options': list[OptionAnswer],
        'ranking': OptionRankings,
        'break_evens': BreakEvens,
        'sensitivity': NotRequired[TimingSensitivity],
        'markets': NotRequired[OptionsOverPaths],
        'rules': Rules,
        'warnings': list[Warning],
        'charts': NotRequired[Charts],
        'compared_law': NotRequired[ComparedLaw],
        'notice': Notice,
    },
)


class BulkResult(TypedDict):
    """
    A record that was answered.
    """

    id: RecordId
    status: Literal[200]
    result: WithdrawalTaxAnswer | AllowanceScheduleAnswer | LumpSumTimingAnswer | WarningsAnswer
    """
    What the operation alone would answer.
    """


BulkLine: TypeAlias = BulkResult | BulkFieldsOfResult | BulkFailure | BulkUnnamedFailure | BulkEnd
"""
One line of a bulk answer.
"""

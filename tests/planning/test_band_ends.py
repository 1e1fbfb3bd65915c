"""The withdrawal that fills a band where all income counts alike, asked of the rules themselves: a penny more leaves the band."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from service.law.income_tax import NATIONS, IncomeTaxRules, Taxpayer, liability, taxpayer_year
from service.law.lump_sums import Allowances, Pension
from service.planning.curve.tax_curve import has_other_income_only
from service.planning.household import NOTHING_PAID_IN
from service.planning.projection.policies import BANDS, Band, target
from service.planning.projection.settlement import Holdings, Opened
from service.planning.projection.timeline import PersonPeriod
from tests.benchmarks.questions import BOOK

SEED = 20_260_406


def people() -> Iterator[tuple[Taxpayer, IncomeTaxRules]]:
    """Invented people with other income alone, in all tax years and nations."""
    chance = random.Random(SEED)
    tax_years = list(BOOK.years.values())
    while True:
        rules = chance.choice(tax_years).income_tax[chance.choice(NATIONS)]
        income = chance.choice(
            (chance.randint(0, 1_600_000), chance.randint(0, 6_000_000), chance.randint(0, 20_000_000))
        )
        found = Taxpayer(rules.nation, income, blind=chance.random() < 0.1, child_benefit=chance.choice((0, 135_460)))
        assert has_other_income_only(found, rules)
        yield found, rules


def filled(taxpayer: Taxpayer, rules: IncomeTaxRules, band: Band) -> int:
    year = PersonPeriod(taxpayer, rules, 0, 0, True, 0, 0, 0, paid_in=NOTHING_PAID_IN)
    pension = Pension(10**9)
    return target(
        Opened(year, Holdings(pension, 0, 0), pension, 0, None, Allowances(0, None, 0, 0), None, 0, 0, 0), band
    )


@pytest.mark.parametrize("band", BANDS)
def test_a_penny_more_leaves_the_band(band: Band) -> None:
    for _, (taxpayer, rules) in zip(range(2_000), people(), strict=False):
        withdrawal, year = filled(taxpayer, rules, band), taxpayer_year(taxpayer, rules)
        before, at, after = (liability(year, amount) for amount in (0, withdrawal, withdrawal + 1))
        if band == "personal_allowance":
            assert at.income_tax == before.income_tax < after.income_tax
            continue
        scale = rules.scales.lower
        basic = rules.scales.last_basic_band
        limit = scale.limits[basic if band == "basic_rate_band" else scale.names.index("higher_rate")]
        assert after.taxable > limit
        assert at.taxable == limit or (withdrawal == 0 and at.taxable > limit)

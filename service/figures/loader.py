"""Read the dated figures, one TOML file per tax year, and refuse a file in which anything is missing, unknown or wrong.

In a file money is in pounds and a rate is a fraction. Loaded, money is whole pence and a rate whole basis points, both
exact. ``KEYS`` says what the file of each tax year must hold; a new tax year is one new file and no code.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from types import MappingProxyType
from typing import Any

FOLDER = Path(__file__).resolve().parent
"""Where the files of the service itself are."""

STATUSES = ("enacted", "announced", "assumed")
"""The standing of a figure, strongest first.

"enacted": in an Act, an instrument or a resolution. "announced": published by government, not seen as law. "assumed":
not set or not published, so that the last known value is carried forward.
"""

_STATUS_GROUPS = ("income_tax.", "payroll.", "pension.")  # the figures that decide the standing of a whole year
_VERSION_LENGTH = 12
_TAX_YEAR = re.compile(r"([0-9]{4})-([0-9]{2})", re.ASCII)
_NAME = re.compile(r"[a-z][a-z0-9_]*", re.ASCII)
_EMERGENCY_CODE = re.compile(r"[1-9][0-9]{0,3}L", re.ASCII)
_FLAT_RATE_CODE = re.compile(r"[SC]?(?:BR|D[0-9])", re.ASCII)


@dataclass(frozen=True, slots=True)
class Key:
    """What a file must hold under one name.

    ``kind`` is one of: "money" (pounds), "rate" (a fraction), "count" (a whole number), "text" (one of ``words``),
    "code" (an emergency tax code), "date" (a day), "bands" (``words`` are the bands there must be, in this order; others may
    stand between them), "rates" (a rate for each tax code; ``words`` are the codes there must be).
    ``since`` and ``until`` are the first and last tax year that have the figure: it is required in those and refused in
    all others. ``limits_of`` names the bands whose limits these bands share.
    """

    kind: str
    words: tuple[str, ...] = ()
    since: str | None = None
    until: str | None = None
    limits_of: str | None = None

    def belongs_to(self, tax_year: str) -> bool:
        """Whether the tax year, such as "2026-27", has this figure."""
        return (self.since is None or self.since <= tax_year) and (self.until is None or tax_year <= self.until)


_MONEY = Key("money")
_RATE = Key("rate")
_COUNT = Key("count")
_UK_LIMITS = "income_tax.bands_england"
_UK_BANDS = ("basic_rate", "higher_rate", "additional_rate")
_SCOTTISH_BANDS = ("starter_rate", "basic_rate", "intermediate_rate", "higher_rate", "top_rate")
_SAVINGS_BANDS = ("savings_basic_rate", "savings_higher_rate", "savings_additional_rate")
_DIVIDEND_BANDS = ("dividend_ordinary_rate", "dividend_upper_rate", "dividend_additional_rate")
_PROPERTY_BANDS = ("property_basic_rate", "property_higher_rate", "property_additional_rate")
_FLAT_RATE_CODES = ("BR", "D0", "D1", "SBR", "SD0", "SD1", "SD2", "CBR", "CD0", "CD1")
_LUMP_SUM_REGIMES = ("lifetime_allowance_charge", "lifetime_allowance_no_charge", "lump_sum_allowance")

KEYS: Mapping[str, Key] = MappingProxyType(
    {
        "income_tax.personal_allowance": _MONEY,
        "income_tax.personal_allowance_taper_threshold": _MONEY,
        "income_tax.blind_persons_allowance": _MONEY,
        "income_tax.marriage_allowance": _MONEY,
        "income_tax.bands_england": Key("bands", _UK_BANDS),
        "income_tax.bands_northern_ireland": Key("bands", _UK_BANDS),
        "income_tax.bands_wales": Key("bands", _UK_BANDS),
        "income_tax.bands_scotland": Key("bands", _SCOTTISH_BANDS),
        "income_tax.savings_bands": Key("bands", _SAVINGS_BANDS, limits_of=_UK_LIMITS),
        "income_tax.dividend_bands": Key("bands", _DIVIDEND_BANDS, limits_of=_UK_LIMITS),
        "income_tax.property_bands": Key("bands", _PROPERTY_BANDS, since="2027-28", limits_of=_UK_LIMITS),
        "income_tax.starting_rate_for_savings_limit": _MONEY,
        "income_tax.personal_savings_allowance_basic": _MONEY,
        "income_tax.personal_savings_allowance_higher": _MONEY,
        "income_tax.dividend_allowance": _MONEY,
        "income_tax.allowance_order": Key("text", ("most_favourable", "other_income_first")),
        "income_tax.child_benefit_charge_threshold": _MONEY,
        "income_tax.child_benefit_charge_step": _MONEY,
        "payroll.emergency_code": Key("code"),
        "payroll.flat_rate_codes": Key("rates", _FLAT_RATE_CODES),
        "pension.minimum_pension_age": _COUNT,
        "pension.annual_allowance": _MONEY,
        "pension.annual_allowance_threshold_income": _MONEY,
        "pension.annual_allowance_adjusted_income": _MONEY,
        "pension.annual_allowance_tapered_minimum": _MONEY,
        "pension.money_purchase_annual_allowance": _MONEY,
        "pension.small_pot_limit": _MONEY,
        "pension.tax_free_fraction": _RATE,
        "pension.lump_sum_regime": Key("text", _LUMP_SUM_REGIMES),
        "pension.lifetime_allowance": Key("money", until="2023-24"),
        "pension.lifetime_allowance_charge_lump_sum": Key("rate", until="2022-23"),
        "pension.lifetime_allowance_charge_retained": Key("rate", until="2022-23"),
        "pension.lump_sum_allowance": Key("money", since="2024-25"),
        "pension.lump_sum_and_death_benefit_allowance": Key("money", since="2024-25"),
        "pension.standard_lifetime_allowance_before_2024": Key("money", since="2024-25"),
        "pension.special_lump_sum_death_benefits_charge": _RATE,
        "pension.unauthorised_payment_charge": _RATE,
        "pension.unauthorised_payment_surcharge": _RATE,
        "pension.unauthorised_payment_surcharge_share": _RATE,
        "pension.notice_to_other_schemes_days": _COUNT,
        "pension.recycling_lump_sum_limit": _MONEY,
        "pension.recycling_increase_share": _RATE,
        "pension.recycling_window_years": _COUNT,
        "pension.small_pots_from_personal_schemes": _COUNT,
        "pension.safeguarded_benefits_advice_threshold": _MONEY,
        "pension.guidance_age": _COUNT,
        "pension.beneficiaries_taxed_from_age": _COUNT,
        "pension.beneficiaries_window_years": _COUNT,
        "isa.subscription_limit": _MONEY,
        "isa.cash_limit_under_65": _MONEY,
        "inheritance_tax.nil_rate_band": _MONEY,
        "inheritance_tax.residence_nil_rate_band": _MONEY,
        "inheritance_tax.residence_taper_threshold": _MONEY,
        "inheritance_tax.rate": _RATE,
        "inheritance_tax.charity_rate": _RATE,
        "inheritance_tax.charity_least_share": _RATE,
        "inheritance_tax.unused_pensions_in_estate": Key("text", ("no", "yes")),
        "state_pension.new_full_weekly": _MONEY,
        "state_pension.basic_full_weekly": _MONEY,
        "self_assessment.payments_on_account_limit": _MONEY,
        "self_assessment.payments_on_account_share": _RATE,
        "winter_fuel.income_limit": Key("money", since="2025-26"),
        "winter_fuel.payment": Key("money", since="2025-26"),
        "winter_fuel.payment_from_higher_age": Key("money", since="2025-26"),
        "winter_fuel.higher_age": Key("count", since="2025-26"),
        "childcare.income_limit": _MONEY,
        "student_loan.plan_1_threshold": _MONEY,
        "student_loan.plan_2_threshold": _MONEY,
        "student_loan.plan_4_threshold": Key("money", since="2021-22"),
        "student_loan.plan_5_threshold": Key("money", since="2026-27"),
        "student_loan.postgraduate_threshold": _MONEY,
        "student_loan.unearned_income_limit": _MONEY,
        "student_loan.rate": _RATE,
        "student_loan.postgraduate_rate": _RATE,
        "benefits.universal_credit_lower_capital": _MONEY,
        "benefits.universal_credit_upper_capital": _MONEY,
        "benefits.universal_credit_capital_step": _MONEY,
        "benefits.universal_credit_monthly_income": _MONEY,
        "benefits.pension_credit_lower_capital": _MONEY,
        "benefits.pension_credit_capital_step": _MONEY,
        "benefits.pension_credit_weekly_income": _MONEY,
        "care.lower_capital": _MONEY,
        "care.upper_capital": _MONEY,
        "care.capital_step": _MONEY,
        "care.weekly_income": _MONEY,
        "deposit_protection.limit": _MONEY,
        "deposit_protection.later_limit": Key("money", since="2025-26", until="2025-26"),
        "deposit_protection.changes_on": Key("date", since="2025-26", until="2025-26"),
    }
)
"""Every figure by its dotted name, in the order of the files: what it is, and the tax years that have it."""


class FiguresError(ValueError):
    """Files of figures that cannot be used. ``faults`` holds a sentence for each: the file, the key, what is wrong."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("\n".join(faults))
        self.faults = tuple(faults)


@dataclass(frozen=True, slots=True)
class Band:
    """One band: its rate in basis points, its upper limit in pence of taxable income (None for the last band)."""

    name: str
    rate: int
    up_to: int | None


Value = int | str | date | tuple[Band, ...] | Mapping[str, int]
"""Money in pence, a rate in basis points, a count, a word, a day, bands, or basis points by tax code."""


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of one tax year. ``doubt`` is a sentence for the reader of an answer; ``note`` is for the curious."""

    name: str
    value: Value
    source: str
    status: str
    doubt: str | None
    note: str | None

    @property
    def kind(self) -> str:
        """What the value is; see ``Key``."""
        return KEYS[self.name].kind


@dataclass(frozen=True, slots=True)
class TaxYear:
    """One tax year's figures by dotted name, in the order of ``KEYS``.

    ``name`` is such as "2026-27"; ``start`` is its 6 April and ``end`` the 5 April after. ``status`` is the weakest
    standing among the income tax, payroll and pension figures. ``version`` follows from the bytes of the file.
    A look-up raises KeyError for a figure the year does not have and TypeError for one of another kind.
    """

    name: str
    figures: Mapping[str, Figure]
    start: date
    end: date
    status: str
    version: str

    def has(self, name: str) -> bool:
        """Whether the year has this figure."""
        return name in self.figures

    def money(self, name: str) -> int:
        """An amount in pence."""
        amount: int = self._value(name, "money")
        return amount

    def rate(self, name: str) -> int:
        """A rate in basis points."""
        rate: int = self._value(name, "rate")
        return rate

    def count(self, name: str) -> int:
        """A whole number, such as an age in years."""
        count: int = self._value(name, "count")
        return count

    def text(self, name: str) -> str:
        """A word, or an emergency tax code."""
        text: str = self._value(name, "text", "code")
        return text

    def day(self, name: str) -> date:
        """A day."""
        day: date = self._value(name, "date")
        return day

    def bands(self, name: str) -> tuple[Band, ...]:
        """Bands in ascending order."""
        bands: tuple[Band, ...] = self._value(name, "bands")
        return bands

    def rates(self, name: str) -> Mapping[str, int]:
        """Rates in basis points by tax code."""
        rates: Mapping[str, int] = self._value(name, "rates")
        return rates

    def _value(self, name: str, *kinds: str) -> Any:
        figure = self.figures[name]
        if figure.kind not in kinds:
            raise TypeError(f"{name} is {figure.kind}, not {kinds[0]}")
        return figure.value


def load_tax_years(folder: Path = FOLDER) -> Mapping[str, TaxYear]:
    """Every tax year that has a file in ``folder``, oldest first. FiguresError with all faults of all files."""
    years: dict[str, TaxYear] = {}
    faults: list[str] = []
    for path in sorted(folder.glob("*.toml")):
        try:
            year = load_tax_year(path)
        except FiguresError as error:
            faults.extend(error.faults)
        else:
            years[year.name] = year
    if not years and not faults:
        faults.append(f"{folder.name}: there is no file of figures here")
    if faults:
        raise FiguresError(faults)
    return MappingProxyType(years)


def load_tax_year(path: Path) -> TaxYear:
    """One tax year from its file, whose name is the tax year's. FiguresError with all faults of the file."""
    content = path.read_bytes()
    name = path.stem
    try:
        tables = tomllib.loads(content.decode("utf-8"), parse_float=Decimal)
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise FiguresError([f"{path.name}: not a TOML file: {error}"]) from error
    if not _is_tax_year(name):
        raise FiguresError([f"{path.name}: the file's name is not a tax year such as 2026-27"])
    faults = Faults(path.name)
    figures = _figures(tables, name, faults)
    if faults.found:
        raise FiguresError(faults.found)
    first = int(name[:4])
    deciding = (figure.status for figure in figures.values() if figure.name.startswith(_STATUS_GROUPS))
    return TaxYear(
        name=name,
        figures=MappingProxyType(figures),
        start=date(first, 4, 6),
        end=date(first + 1, 4, 5),
        status=max(deciding, key=STATUSES.index),
        version=sha256(content).hexdigest()[:_VERSION_LENGTH],
    )


def rules_version(years: Mapping[str, TaxYear]) -> str:
    """One version for all these tax years together: it changes when any figure of any of them does."""
    versions = "".join(f"{year.name} {year.version}\n" for year in sorted(years.values(), key=lambda year: year.name))
    return sha256(versions.encode("ascii")).hexdigest()[:_VERSION_LENGTH]


@dataclass(frozen=True, slots=True)
class Faults:
    """What is wrong with one file, gathered while it is read."""

    file: str
    found: list[str] = field(default_factory=list)

    def add(self, key: str, fault: str) -> None:
        self.found.append(f"{self.file}: {key}: {fault}")


def _is_tax_year(name: str) -> bool:
    match = _TAX_YEAR.fullmatch(name)
    return match is not None and int(match[2]) == (int(match[1]) + 1) % 100


def _figures(tables: dict[str, Any], tax_year: str, faults: Faults) -> dict[str, Figure]:
    """The figures of a parsed file, with every fault noted; complete only if there are no faults."""
    if tables.get("tax_year") != tax_year:
        faults.add("tax_year", f'must be "{tax_year}" as the file\'s name is, not {tables.get("tax_year")!r}')
    given = dict(_given(tables, faults))
    for name in given:
        if name not in KEYS:
            faults.add(name, "is not a known figure")
        elif not KEYS[name].belongs_to(tax_year):
            faults.add(name, f"is not a figure of {tax_year}")
    figures: dict[str, Figure] = {}
    for name, key in KEYS.items():
        if not key.belongs_to(tax_year):
            continue
        if name not in given:
            faults.add(name, "is missing")
            continue
        figure = _figure(name, key, given[name], faults)
        if figure is not None:
            figures[name] = figure
    _check_shared_limits(figures, faults)
    return figures


def _given(tables: dict[str, Any], faults: Faults) -> Iterator[tuple[str, Any]]:
    """What stands in the sections of a file, by dotted name."""
    for section, content in tables.items():
        if section == "tax_year":
            continue
        if not isinstance(content, dict):
            faults.add(section, "is not a known section")
            continue
        for key, figure in content.items():
            yield f"{section}.{key}", figure


def _figure(name: str, key: Key, table: Any, faults: Faults) -> Figure | None:
    """One figure from its table, or None with its faults noted."""
    before = len(faults.found)
    if not isinstance(table, dict):
        faults.add(name, "must be a table with value, source and status")
        return None
    for part in table:
        if part not in ("value", "source", "status", "doubt", "note"):
            faults.add(name, f"{part} is not a known part of a figure")
    for part in ("source", "doubt", "note"):
        if part in table and not (isinstance(table[part], str) and table[part].strip()):
            faults.add(name, f"{part} must be a text that is not empty")
    if "source" not in table:
        faults.add(name, "source is missing")
    status = table.get("status")
    if status not in STATUSES:
        faults.add(name, f"status must be one of {', '.join(STATUSES)}, not {status!r}")
    if status == "assumed" and "doubt" not in table:
        faults.add(name, "doubt is missing: an assumed figure must say what is not set")
    value: Value | None = None
    if "value" not in table:
        faults.add(name, "value is missing")
    else:
        try:
            value = _READERS[key.kind](table["value"], key)
        except _WrongValueError as error:
            for fault in error.args:
                faults.add(name, fault)
    if value is None or len(faults.found) > before:
        return None
    return Figure(name, value, table["source"], table["status"], table.get("doubt"), table.get("note"))


def _check_shared_limits(figures: Mapping[str, Figure], faults: Faults) -> None:
    """Savings, dividends and property are charged in the bands of ITA 2007 s.10, whatever their rates."""
    for name, figure in figures.items():
        other = KEYS[name].limits_of
        if other is not None and other in figures and _limits(figure.value) != _limits(figures[other].value):
            faults.add(name, f"the limits are not those of {other}")


def _limits(bands: Any) -> list[int | None]:
    return [band.up_to for band in bands]


class _WrongValueError(Exception):
    """A value that cannot be used; the arguments are its faults."""


def _money(value: Any, _: Key) -> int:
    return _scaled(value, 100, "an amount of money", "2 decimals")


def _rate(value: Any, _: Key) -> int:
    basis_points = _scaled(value, 10_000, "a rate", "4 decimals")
    if basis_points > 10_000:
        raise _WrongValueError(f"a rate is a fraction, 0.2 for 20%, and {value} is more than 1")
    return basis_points


def _scaled(value: Any, scale: int, what: str, decimals: str) -> int:
    """``value`` times ``scale`` as an exact whole number."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal) or not Decimal(value).is_finite():
        raise _WrongValueError(f"must be {what}, not {value!r}")
    if value < 0:
        raise _WrongValueError(f"must not be negative, and {value} is")
    numerator, denominator = value.as_integer_ratio()
    scaled, rest = divmod(numerator * scale, denominator)
    if rest:
        raise _WrongValueError(f"{value} has more than {decimals}")
    return scaled


def _count(value: Any, _: Key) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise _WrongValueError(f"must be a whole number, not {value!r}")
    if value < 0:
        raise _WrongValueError(f"must not be negative, and {value} is")
    return value


def _day(value: Any, _: Key) -> date:
    # A TOML date with a time is a datetime, which Python counts as a date.
    if type(value) is not date:
        raise _WrongValueError(f"must be a day such as 2026-04-06, without quotes, not {value!r}")
    return value


def _text(value: Any, key: Key) -> str:
    if value not in key.words:
        raise _WrongValueError(f"must be one of {', '.join(key.words)}, not {value!r}")
    return str(value)


def _code(value: Any, _: Key) -> str:
    if not isinstance(value, str) or not _EMERGENCY_CODE.fullmatch(value):
        raise _WrongValueError(f"must be a code such as 1257L, not {value!r}")
    return value


def _bands(value: Any, key: Key) -> tuple[Band, ...]:
    if not isinstance(value, list) or not value:
        raise _WrongValueError("must be a list of bands")
    faults: list[str] = []
    bands = []
    for position, table in enumerate(value, 1):
        try:
            bands.append(_band(table, key))
        except _WrongValueError as error:
            faults.extend(f"band {position}: {fault}" for fault in error.args)
    if not faults:
        faults.extend(_faults_between(bands, key))
    if faults:
        raise _WrongValueError(*faults)
    return tuple(bands)


def _band(table: Any, key: Key) -> Band:
    if not isinstance(table, dict):
        raise _WrongValueError("must be a table with name, rate and, but for the last band, up_to")
    faults = [f"{part} is not a known part of a band" for part in table if part not in ("name", "rate", "up_to")]
    faults.extend(f"{part} is missing" for part in ("name", "rate") if part not in table)
    name, numbers = table.get("name"), {}
    if "name" in table and not (isinstance(name, str) and _NAME.fullmatch(name)):
        faults.append(f"name must be lower-case words joined by _, not {name!r}")
    for part, read in (("rate", _rate), ("up_to", _money)):
        try:
            if part in table:
                numbers[part] = read(table[part], key)
        except _WrongValueError as error:
            faults.extend(f"{part}: {fault}" for fault in error.args)
    if faults:
        raise _WrongValueError(*faults)
    return Band(str(name), numbers["rate"], numbers.get("up_to"))


def _faults_between(bands: list[Band], key: Key) -> Iterator[str]:
    """What is wrong with bands that are each right by themselves."""
    floor = 0
    for position, band in enumerate(bands[:-1], 1):
        if band.up_to is None:
            yield f"band {position}: up_to is missing, and only the last band goes without"
        elif band.up_to <= floor:
            yield f"band {position}: up_to is not above the band before: the bands are out of order"
        floor = band.up_to or floor
    if bands[-1].up_to is not None:
        yield f"band {len(bands)}: the last band must not have up_to"
    names = [band.name for band in bands]
    if len(set(names)) < len(names):
        yield "two bands have the same name"
    elif [name for name in names if name in key.words] != list(key.words):
        yield f"there must be these bands in this order: {', '.join(key.words)}"


def _rates(value: Any, key: Key) -> Mapping[str, int]:
    if not isinstance(value, dict):
        raise _WrongValueError("must be a table of rates by tax code")
    faults = [f"{code} is missing" for code in key.words if code not in value]
    rates: dict[str, int] = {}
    for code, rate in value.items():
        if not _FLAT_RATE_CODE.fullmatch(code):
            faults.append(f"{code} is not a tax code with one rate")
        try:
            rates[code] = _rate(rate, key)
        except _WrongValueError as error:
            faults.extend(f"{code}: {fault}" for fault in error.args)
    if faults:
        raise _WrongValueError(*faults)
    return MappingProxyType(rates)


_READERS: Mapping[str, Callable[[Any, Key], Value]] = MappingProxyType(
    {
        "money": _money,
        "rate": _rate,
        "count": _count,
        "text": _text,
        "code": _code,
        "date": _day,
        "bands": _bands,
        "rates": _rates,
    }
)

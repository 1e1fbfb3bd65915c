"""The settings: defaults, every name, every kind of fault. The expected values are this project's own decisions."""

from __future__ import annotations

import os
from dataclasses import FrozenInstanceError, fields
from pathlib import Path

import pytest

from service.settings import LOG_LEVELS, MAX_WORKERS, Settings, SettingsError, default_workers, most_heavy

ALL_GIVEN = {
    "SERVICE_BIND": "0.0.0.0:9000",
    "SERVICE_WORKERS": "7",
    "SERVICE_TIMEOUT": "45",
    "SERVICE_MAX_BODY_BYTES": "131072",
    "SERVICE_HEAVY_AT_ONCE": "5",
    "SERVICE_BULK_AT_ONCE": "4",
    "SERVICE_BULK_MAX_RECORDS": "20000",
    "SERVICE_BULK_MAX_BYTES": "33554432",
    "SERVICE_LOG_LEVEL": "warning",
    "SERVICE_LOG_FORMAT": "json",
    "SERVICE_KEYS_FILE": "/run/keys.toml",
    "SERVICE_CALLERS_CHECKED": "yes",
    "SERVICE_METRICS": "yes",
    "SERVICE_CORS_ORIGINS": "https://portal.example, http://localhost:8080",
    "SERVICE_BEHIND_PROXY": "yes",
    "SERVICE_FIGURES": "/etc/proposed-law",
}


def test_an_empty_environment_gives_the_defaults() -> None:
    assert Settings.from_environment({}) == Settings(
        host="127.0.0.1",
        port=8000,
        workers=default_workers(),
        timeout_seconds=30,
        max_body_bytes=65_536,
        heavy_at_once=default_workers() - 1,
        bulk_at_once=default_workers() - 1,
        bulk_max_records=10_000,
        bulk_max_bytes=16_777_216,
        log_level="info",
        behind_proxy=False,
    )


def test_every_setting_can_be_given() -> None:
    assert Settings.from_environment(ALL_GIVEN) == Settings(
        host="0.0.0.0",
        port=9000,
        workers=7,
        timeout_seconds=45,
        max_body_bytes=131_072,
        heavy_at_once=5,
        bulk_at_once=4,
        bulk_max_records=20_000,
        bulk_max_bytes=33_554_432,
        log_level="warning",
        log_format="json",
        keys_file=Path("/run/keys.toml"),
        callers_checked=True,
        metrics=True,
        cors_origins=("https://portal.example", "http://localhost:8080"),
        behind_proxy=True,
        figures=Path("/etc/proposed-law"),
    )


def test_other_names_in_the_environment_are_left_alone() -> None:
    assert Settings.from_environment({"PATH": "/bin", "MY_SERVICE_BIND": "x"}) == Settings.from_environment({})


@pytest.mark.parametrize(
    ("text", "host", "port"),
    [
        ("localhost:0", "localhost", 0),
        ("127.0.0.1:65535", "127.0.0.1", 65_535),
        ("[::1]:8000", "::1", 8000),
        ("[::]:8000", "::", 8000),
        ("pension-desk.internal:80", "pension-desk.internal", 80),
    ],
)
def test_addresses_that_can_be_used(text: str, host: str, port: int) -> None:
    in_front = {"SERVICE_BEHIND_PROXY": "yes", "SERVICE_CALLERS_CHECKED": "yes"}
    settings = Settings.from_environment({"SERVICE_BIND": text, **in_front})
    assert (settings.host, settings.port) == (host, port)


@pytest.mark.parametrize("level", LOG_LEVELS)
def test_every_log_level(level: str) -> None:
    assert Settings.from_environment({"SERVICE_LOG_LEVEL": level}).log_level == level


@pytest.mark.parametrize(
    ("name", "value", "attribute"),
    [
        ("SERVICE_WORKERS", "1", "workers"),
        ("SERVICE_WORKERS", "64", "workers"),
        ("SERVICE_TIMEOUT", "1", "timeout_seconds"),
        ("SERVICE_TIMEOUT", "3600", "timeout_seconds"),
        ("SERVICE_MAX_BODY_BYTES", "1024", "max_body_bytes"),
        ("SERVICE_MAX_BODY_BYTES", "16777216", "max_body_bytes"),
        ("SERVICE_HEAVY_AT_ONCE", "1", "heavy_at_once"),
        ("SERVICE_HEAVY_AT_ONCE", "63", "heavy_at_once"),
        ("SERVICE_BULK_AT_ONCE", "1", "bulk_at_once"),
        ("SERVICE_BULK_AT_ONCE", "63", "bulk_at_once"),
        ("SERVICE_BULK_MAX_RECORDS", "1", "bulk_max_records"),
        ("SERVICE_BULK_MAX_RECORDS", "1000000", "bulk_max_records"),
        ("SERVICE_BULK_MAX_BYTES", "1024", "bulk_max_bytes"),
        ("SERVICE_BULK_MAX_BYTES", "1073741824", "bulk_max_bytes"),
    ],
)
def test_numbers_at_their_bounds(name: str, value: str, attribute: str) -> None:
    # As many workers as there may be, and bulk requests as large, so that each bound can be reached.
    roomy = {"SERVICE_WORKERS": "64", "SERVICE_BULK_MAX_BYTES": "1073741824"}
    narrow = {"SERVICE_MAX_BODY_BYTES": "1024"} if name == "SERVICE_BULK_MAX_BYTES" else {}
    assert getattr(Settings.from_environment({**roomy, **narrow, name: value}), attribute) == int(value)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("SERVICE_BIND", ""),
        ("SERVICE_BIND", "8000"),
        ("SERVICE_BIND", ":8000"),
        ("SERVICE_BIND", "127.0.0.1"),
        ("SERVICE_BIND", "127.0.0.1:"),
        ("SERVICE_BIND", "127.0.0.1:65536"),
        ("SERVICE_BIND", "127.0.0.1:-1"),
        ("SERVICE_BIND", "127.0.0.1:8000\n"),
        ("SERVICE_BIND", "::1:8000"),
        ("SERVICE_BIND", "http://127.0.0.1:8000"),
        ("SERVICE_BIND", "127.0.0.1:\N{ARABIC-INDIC DIGIT EIGHT}0"),
        ("SERVICE_KEYS_FILE", ""),
        ("SERVICE_CALLERS_CHECKED", "true"),
        ("SERVICE_METRICS", "1"),
        ("SERVICE_LOG_FORMAT", "xml"),
        ("SERVICE_CORS_ORIGINS", "*"),
        ("SERVICE_CORS_ORIGINS", "https://portal.example/"),
        ("SERVICE_CORS_ORIGINS", "https://portal.example,"),
        ("SERVICE_WORKERS", ""),
        ("SERVICE_WORKERS", "0"),
        ("SERVICE_WORKERS", "65"),
        ("SERVICE_WORKERS", "2.0"),
        ("SERVICE_WORKERS", " 2"),
        ("SERVICE_WORKERS", "+2"),
        ("SERVICE_WORKERS", "1_0"),
        ("SERVICE_WORKERS", "two"),
        ("SERVICE_WORKERS", "\N{ARABIC-INDIC DIGIT TWO}"),
        ("SERVICE_WORKERS", "9" * 5_000),
        ("SERVICE_TIMEOUT", "0"),
        ("SERVICE_TIMEOUT", "3601"),
        ("SERVICE_TIMEOUT", "30s"),
        ("SERVICE_MAX_BODY_BYTES", "1023"),
        ("SERVICE_MAX_BODY_BYTES", "16777217"),
        ("SERVICE_MAX_BODY_BYTES", "64k"),
        ("SERVICE_HEAVY_AT_ONCE", "0"),
        ("SERVICE_HEAVY_AT_ONCE", "64"),
        ("SERVICE_BULK_AT_ONCE", "0"),
        ("SERVICE_BULK_AT_ONCE", "64"),
        ("SERVICE_BULK_MAX_RECORDS", "0"),
        ("SERVICE_BULK_MAX_RECORDS", "1000001"),
        ("SERVICE_BULK_MAX_BYTES", "1023"),
        ("SERVICE_BULK_MAX_BYTES", "1073741825"),
        ("SERVICE_LOG_LEVEL", ""),
        ("SERVICE_LOG_LEVEL", "INFO"),
        ("SERVICE_LOG_LEVEL", "loud"),
        ("SERVICE_BEHIND_PROXY", ""),
        ("SERVICE_BEHIND_PROXY", "true"),
        ("SERVICE_BEHIND_PROXY", "Yes"),
    ],
)
def test_values_that_cannot_be_used(name: str, value: str) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_environment({name: value})
    (fault,) = caught.value.faults
    assert fault.startswith(f"{name} must be ")
    assert fault.endswith(f", not {value!r}")


@pytest.mark.parametrize("name", ["SERVICE_PORT", "SERVICE_WORKER", "SERVICE_bind", "SERVICE_"])
def test_unknown_names_with_the_prefix_are_refused(name: str) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_environment({name: "1"})
    assert caught.value.faults == (f"{name} is not a known setting",)


def test_all_faults_are_told_at_once_and_on_one_line() -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_environment({"SERVICE_TIMEOUT": "0", "SERVICE_BIND": "x\ny", "SERVICE_COLOUR": "red"})
    assert caught.value.faults == (
        "SERVICE_BIND must be HOST:PORT with a port from 0 to 65535, not 'x\\ny'",
        "SERVICE_TIMEOUT must be a whole number from 1 to 3600, not '0'",
        "SERVICE_COLOUR is not a known setting",
    )
    assert "\n" not in str(caught.value)
    assert all(fault in str(caught.value) for fault in caught.value.faults)


@pytest.mark.parametrize(("processors", "workers"), [(1, 2), (2, 3), (3, 4), (64, 64), (200, MAX_WORKERS)])
def test_workers_follow_the_processors_granted(processors: int, workers: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "sched_getaffinity", lambda process: set(range(processors)), raising=False)
    assert default_workers() == workers


@pytest.mark.parametrize(("workers", "heavy"), [("1", 1), ("2", 1), ("3", 2), ("64", 63)])
def test_one_worker_is_left_for_everything_that_is_quick(workers: str, heavy: int) -> None:
    assert most_heavy(int(workers)) == heavy
    settings = Settings.from_environment({"SERVICE_WORKERS": workers})
    assert settings.heavy_at_once == settings.bulk_at_once == heavy


def test_bulk_requests_may_take_all_places_unless_it_is_said_otherwise() -> None:
    assert Settings.from_environment({"SERVICE_WORKERS": "8", "SERVICE_HEAVY_AT_ONCE": "3"}).bulk_at_once == 3


@pytest.mark.parametrize(
    ("given", "fault"),
    [
        (
            {"SERVICE_WORKERS": "3", "SERVICE_HEAVY_AT_ONCE": "3"},
            "SERVICE_HEAVY_AT_ONCE must be less than SERVICE_WORKERS, so that one of 3 is left for everything else, not 3",
        ),
        (
            {"SERVICE_WORKERS": "1", "SERVICE_HEAVY_AT_ONCE": "2"},
            "SERVICE_HEAVY_AT_ONCE must be 1 where there is one worker, not 2",
        ),
        (
            {"SERVICE_WORKERS": "1", "SERVICE_BULK_AT_ONCE": "63"},
            "SERVICE_BULK_AT_ONCE must be at most SERVICE_HEAVY_AT_ONCE, 1, not 63",
        ),
        (
            {"SERVICE_MAX_BODY_BYTES": "16777216", "SERVICE_BULK_MAX_BYTES": "1024"},
            "SERVICE_BULK_MAX_BYTES must be at least SERVICE_MAX_BODY_BYTES, 16777216, not 1024",
        ),
    ],
)
def test_settings_that_do_not_go_together_stop_the_start(given: dict[str, str], fault: str) -> None:
    with pytest.raises(SettingsError) as caught:
        Settings.from_environment(given)
    assert caught.value.faults == (fault,)


@pytest.mark.parametrize("address", ["127.0.0.1:1", "127.8.8.8:1", "[::1]:1", "localhost:1"])
def test_this_machine_may_be_listened_to_without_a_proxy(address: str) -> None:
    assert not Settings.from_environment({"SERVICE_BIND": address}).behind_proxy


@pytest.mark.parametrize("host", ["0.0.0.0", "10.1.2.3", "[::]", "[fd00::1]", "pension-desk.internal"])
def test_other_machines_are_listened_to_behind_a_proxy_alone(host: str) -> None:
    others = {"SERVICE_BIND": f"{host}:8000", "SERVICE_CALLERS_CHECKED": "yes"}
    for said in ({}, {"SERVICE_BEHIND_PROXY": "no"}):
        with pytest.raises(SettingsError) as caught:
            Settings.from_environment({**others, **said})
        (fault,) = caught.value.faults
        assert fault.startswith(f"SERVICE_BIND, {host.strip('[]')}, can be reached from other machines")
        assert "SERVICE_BEHIND_PROXY=yes" in fault
    assert Settings.from_environment({**others, "SERVICE_BEHIND_PROXY": "yes"}).behind_proxy


def test_settings_for_tests_do_not_depend_on_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    before = Settings.for_tests()
    for name, value in ALL_GIVEN.items():
        monkeypatch.setenv(name, value)
    assert Settings.for_tests() == before
    assert before.max_body_bytes == Settings.from_environment({}).max_body_bytes


def test_settings_cannot_be_changed() -> None:
    settings = Settings.for_tests()
    for field in fields(settings):
        with pytest.raises(FrozenInstanceError):
            setattr(settings, field.name, None)

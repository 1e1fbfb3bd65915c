"""Keys: the file that names them, what each may ask for, and bounds that hold over all workers."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
import requests
from flask.testing import FlaskClient

from service import CALCULATIONS, create_app
from service.http import keys as keys_module
from service.http.counters import SharedCounters
from service.http.keys import KeysError, digest_of, found, read_keys
from service.settings import Settings, SettingsError
from tests.asking import TOP
from tests.test_server import ask, environment, running_service

OPERATIONS = ("withdrawal-tax", "allowance-schedule", "lump-sum-timing", "warnings")
QUOTE = json.loads((TOP / "examples" / "requests" / "first-ufpls.json").read_text("utf-8"))
SECRETS = {"portal": "portal-key", "office": "office-key", "watcher": "watcher-key"}


def entry(name: str, **more: object) -> str:
    """A key's table in the file."""
    fields = {"name": name, "sha256": digest_of(SECRETS.get(name, f"{name}-key")).hex(), **more}
    return "[[keys]]\n" + "".join(f"{field} = {json.dumps(value)}\n" for field, value in fields.items())


def file_of(folder: Path, *entries: str) -> Path:
    """A file of keys."""
    path = folder / "keys.toml"
    path.write_text("\n".join(entries), "utf-8")
    return path


@pytest.fixture
def guarded(tmp_path: Path) -> FlaskClient:
    path = file_of(
        tmp_path,
        entry("portal", operations=["withdrawal-tax"], bulk_max_records=0),
        entry("office", bulk_max_records=2),
        entry("watcher", operations=["metrics"]),
    )
    return create_app(replace(Settings.for_tests(), keys_file=path)).test_client()


def bearer(name: str) -> dict[str, str]:
    """The header that a caller sends."""
    return {"Authorization": f"Bearer {SECRETS[name]}"}


def lines(count: int) -> bytes:
    """A book of quotes."""
    return b"".join(json.dumps({"id": number, "request": QUOTE}).encode() + b"\n" for number in range(count))


@pytest.mark.parametrize(
    "header",
    [None, "", "Bearer", "Bearer ", "Bearer wrong", "bearer portal-key", "Basic portal-key", "portal-key", "Bearer é"],
)
def test_nobody_without_a_key_is_answered(guarded: FlaskClient, header: str | None) -> None:
    answer = guarded.post("/v1/withdrawal-tax", json=QUOTE, headers={} if header is None else {"Authorization": header})
    assert answer.status_code == 401
    assert answer.get_json()["code"] == "key-needed"
    # RFC 9110 section 11.6.1: a 401 has a challenge.
    assert answer.headers["WWW-Authenticate"] == "Bearer"


@pytest.mark.parametrize("path", ["/v1/tax-years", "/v1/warning-codes", "/v1/nothing", "/nothing", "/metrics"])
def test_no_other_path_is_open_either(guarded: FlaskClient, path: str) -> None:
    assert guarded.get(path).status_code == 401


@pytest.mark.parametrize("path", ["/health/live", "/health/ready", "/openapi.yaml", "/docs", "/problems/key-needed"])
def test_what_anybody_may_read(guarded: FlaskClient, path: str) -> None:
    assert guarded.get(path).status_code == 200


def test_a_key_asks_for_what_it_is_for_and_no_more(guarded: FlaskClient) -> None:
    assert guarded.post("/v1/withdrawal-tax", json=QUOTE, headers=bearer("portal")).status_code == 200
    refused = [
        guarded.post("/v1/warnings", json={}, headers=bearer("portal")),
        guarded.post("/v1/bulk/withdrawal-tax", data=lines(1), headers=bearer("portal")),
        guarded.get("/metrics", headers=bearer("portal")),
        guarded.get("/metrics", headers=bearer("office")),
    ]
    assert [(answer.status_code, answer.get_json()["code"]) for answer in refused] == [(403, "not-allowed")] * 4
    assert guarded.get("/v1/tax-years", headers=bearer("portal")).status_code == 200


def test_a_bulk_request_is_as_large_as_the_key_allows(guarded: FlaskClient) -> None:
    kind = {**bearer("office"), "Content-Type": "application/x-ndjson"}
    whole = guarded.post("/v1/bulk/withdrawal-tax", data=lines(2), headers=kind)
    assert whole.status_code == 200
    assert len(whole.data.splitlines()) == 3
    refused = guarded.post("/v1/bulk/withdrawal-tax", data=lines(3), headers=kind)
    assert refused.status_code == 413
    assert refused.get_json()["detail"].startswith("The body holds more than the 2 records this key may send.")


def test_an_unknown_operation_is_told_as_such(guarded: FlaskClient) -> None:
    answer = guarded.post("/v1/bulk/nothing", data=lines(1), headers=bearer("office"))
    assert answer.status_code == 404


def test_a_rate_holds_over_all_workers_and_says_when_to_come_again(tmp_path: Path) -> None:
    path = file_of(tmp_path, entry("portal", rate="12/minute"), entry("office"))
    with running_service(SERVICE_KEYS_FILE=str(path)) as (_, _, port):
        url = f"http://127.0.0.1:{port}/v1/tax-years"
        with ThreadPoolExecutor(6) as clients:
            answers = list(clients.map(lambda _: requests.get(url, headers=bearer("portal"), timeout=20), range(30)))
        statuses = [answer.status_code for answer in answers]
        assert (statuses.count(200), statuses.count(429)) == (12, 18)
        late = next(answer for answer in answers if answer.status_code == 429)
        assert late.json()["code"] == "too-many-requests"
        assert 1 <= int(late.headers["Retry-After"]) <= 60
        assert requests.get(url, headers=bearer("office"), timeout=20).status_code == 200


def test_requests_under_way_are_bounded_and_the_next_is_answered_when_one_ends(tmp_path: Path) -> None:
    path = file_of(tmp_path, entry("portal", at_once=1), entry("office"))
    with running_service(SERVICE_KEYS_FILE=str(path)) as (_, _, port):
        url = f"http://127.0.0.1:{port}/v1/bulk/withdrawal-tax"
        kind = {**bearer("portal"), "Content-Type": "application/x-ndjson"}
        with requests.post(url, data=lines(9_000), headers=kind, timeout=60, stream=True) as book:
            assert book.status_code == 200
            body = book.iter_content(1_000)
            next(body)
            quote = f"http://127.0.0.1:{port}/v1/withdrawal-tax"
            while_busy = requests.post(quote, json=QUOTE, headers=bearer("portal"), timeout=20)
            other = requests.post(quote, json=QUOTE, headers=bearer("office"), timeout=20)
            assert while_busy.status_code == 429
            assert other.status_code == 200
            for _ in body:
                pass
        ends = time.monotonic() + 10
        while requests.post(quote, json=QUOTE, headers=bearer("portal"), timeout=20).status_code != 200:
            assert time.monotonic() < ends
            time.sleep(0.05)


def test_counters_begin_anew_when_their_time_has_passed_and_when_the_clock_was_set_back(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now = [1_000.0]
    monkeypatch.setattr(time, "time", lambda: now[0])
    counters = SharedCounters(["a", "b"])
    assert [counters.incr("a", 10) for _ in range(3)] == [1, 2, 3]
    assert counters.get("b") == 0
    now[0] = 1_009.9
    assert counters.incr("a", 10) == 4
    now[0] = 1_010.0
    assert counters.get("a") == 0
    assert counters.incr("a", 10) == 1
    now[0] = 500.0
    assert counters.incr("a", 10) == 1
    assert counters.get_expiry("a") == 510.0


def test_keys_are_known_by_their_hash_alone() -> None:
    # NIST FIPS 180-4: the hash of "abc" is the standard's own example.
    assert digest_of("abc").hex() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    path_keys = (keys_module.Key("a", digest_of("x"), frozenset(OPERATIONS)),)
    assert found(path_keys, "x") is path_keys[0]
    assert found(path_keys, digest_of("x").hex()) is None


def test_the_command_makes_a_key_that_opens(tmp_path: Path) -> None:
    made = subprocess.run(
        [sys.executable, "-m", "service.http.new_key", "back-office"],
        cwd=TOP,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    secret = made.split("\n\n")[1].strip()
    path = file_of(tmp_path, made[made.index("[[keys]]") :])
    assert secret not in path.read_text("utf-8")
    key = found(read_keys(path, OPERATIONS), secret)
    assert key is not None
    assert (key.name, key.operations) == ("back-office", frozenset(OPERATIONS))


def test_the_operations_of_keys_are_those_there_are(tmp_path: Path) -> None:
    assert len(CALCULATIONS) == len(OPERATIONS)
    assert read_keys(file_of(tmp_path, entry("a")), OPERATIONS)[0].operations == set(OPERATIONS)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "at least one"),
        ("keys = 1", "at least one"),
        ("keys = [1]", "must be a table"),
        ("[[keys]", "is not TOML"),
        (entry("a") + "secret = 1", "unknown field secret"),
        (entry("Über"), "name must be"),
        ('[[keys]]\nname = "a"\nsha256 = "1234"', "sha256 must be"),
        (entry("a", operations=[]), "operations must be"),
        (entry("a", operations=["quotes"]), "operations must be"),
        (entry("a", bulk_max_records=-1), "bulk_max_records must be"),
        (entry("a", at_once=0), "at_once must be"),
        (entry("a", at_once=True), "at_once must be"),
        (entry("a", rate="ten/minute"), "rate must be"),
        (entry("a") + entry("a"), "the same name"),
        (entry("a") + entry("a").replace('"a"', '"b"'), "the same sha256"),
    ],
)
def test_a_faulty_file_of_keys_stops_the_start_with_one_line(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(KeysError, match=said) as caught:
        read_keys(file_of(tmp_path, text), OPERATIONS)
    assert "\n" not in str(caught.value)


def test_a_missing_file_of_keys_is_told_by_the_service(tmp_path: Path) -> None:
    started = subprocess.run(
        [sys.executable, "-m", "service"],
        cwd=TOP,
        env=environment(SERVICE_BIND="127.0.0.1:0", SERVICE_KEYS_FILE=str(tmp_path / "none.toml")),
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert started.returncode == 2
    assert started.stderr.count("\n") == 1
    assert "SERVICE_KEYS_FILE" in started.stderr


@pytest.mark.parametrize("host", ["0.0.0.0", "[::]", "10.0.0.5", "pension-desk.internal"])
def test_where_others_can_call_somebody_must_check_who_does(host: str) -> None:
    with pytest.raises(SettingsError, match="SERVICE_KEYS_FILE"):
        Settings.from_environment({"SERVICE_BIND": f"{host}:8000", "SERVICE_BEHIND_PROXY": "yes"})
    for said in ({"SERVICE_KEYS_FILE": "keys.toml"}, {"SERVICE_CALLERS_CHECKED": "yes"}):
        in_front = {"SERVICE_BIND": f"{host}:8000", "SERVICE_BEHIND_PROXY": "yes"}
        assert Settings.from_environment({**in_front, **said}).port == 8000


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.0.1", "[::1]", "localhost"])
def test_on_this_machine_alone_no_key_is_needed(host: str) -> None:
    assert Settings.from_environment({"SERVICE_BIND": f"{host}:8000"}).keys_file is None


def test_pages_of_the_origins_listed_may_call_and_no_others() -> None:
    # The preflight of the Fetch standard, for a request with a key and a JSON body.
    client = create_app(
        replace(Settings.for_tests(), cors_origins=("https://a.example", "https://b.example"))
    ).test_client()
    asked = {"Access-Control-Request-Method": "POST", "Access-Control-Request-Headers": "authorization,content-type"}
    listed = client.options("/v1/withdrawal-tax", headers={"Origin": "https://b.example", **asked})
    assert listed.headers["Access-Control-Allow-Origin"] == "https://b.example"
    assert {"authorization", "content-type"} <= set(listed.headers["Access-Control-Allow-Headers"].lower().split(", "))
    assert "Origin" in listed.headers["Vary"]
    other = client.options("/v1/withdrawal-tax", headers={"Origin": "https://c.example", **asked})
    assert "Access-Control-Allow-Origin" not in other.headers
    answer = client.post("/v1/withdrawal-tax", json=QUOTE, headers={"Origin": "https://a.example"})
    assert answer.headers["Access-Control-Allow-Origin"] == "https://a.example"
    assert "Rules-Version" in answer.headers["Access-Control-Expose-Headers"]


def test_without_a_list_no_page_may_call(client: FlaskClient) -> None:
    answer = client.post("/v1/withdrawal-tax", json=QUOTE, headers={"Origin": "https://a.example"})
    assert not [name for name, _ in answer.headers if name.startswith("Access-Control")]


def test_a_service_with_keys_is_asked_over_http(tmp_path: Path) -> None:
    path = file_of(tmp_path, entry("portal"))
    with running_service(SERVICE_KEYS_FILE=str(path)) as (_, _, port):
        assert ask(port, "GET", "/health/live")[0] == 200
        assert ask(port, "GET", "/v1/tax-years")[0] == 401
        url = f"http://127.0.0.1:{port}/v1/tax-years"
        assert requests.get(url, headers=bearer("portal"), timeout=20).status_code == 200
    assert os.environ.get("PROMETHEUS_MULTIPROC_DIR") is None

"""Several replicas: the manifests have the fields that Kubernetes publishes, and all files agree with the settings."""

from __future__ import annotations

import copy
import json
import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import kubernetes_validate
import pytest
import yaml

from service.http.heavy import RETRY_AFTER_SECONDS
from service.http.problems import KINDS, document, document_of_status
from service.server import GRACEFUL_TIMEOUT_SECONDS, server_options
from service.settings import DEFAULT_BULK_MAX_BYTES, DEFAULT_MAX_BODY_BYTES, DEFAULT_TIMEOUT_SECONDS, Settings

TOP = Path(__file__).parents[1]
DOCKER = TOP / "docker"
VERSIONS = ("1.34", "1.37")
"""Of Kubernetes: the first that the manifests are for, and the last whose schema is at hand."""
NAMES = {"app.kubernetes.io/name": "pension-to-isa"}


def loaded(name: str) -> Any:
    return yaml.safe_load((DOCKER / name).read_text(encoding="utf-8"))


def manifests() -> dict[str, Any]:
    """The manifests by kind."""
    text = (DOCKER / "kubernetes.yaml").read_text(encoding="utf-8")
    return {document["kind"]: document for document in yaml.safe_load_all(text)}


KINDS_DEPLOYED = ("Deployment", "Service", "HorizontalPodAutoscaler", "PodDisruptionBudget", "NetworkPolicy")


# The schemas come from Kubernetes' published OpenAPI document, by way of the package kubernetes-validate; "strict"
# refuses fields that it does not name.
@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("kind", KINDS_DEPLOYED)
def test_every_field_is_one_that_kubernetes_publishes(kind: str, version: str) -> None:
    assert kubernetes_validate.validate(manifests()[kind], version, strict=True) == version


def test_there_are_no_other_manifests() -> None:
    assert tuple(manifests()) == KINDS_DEPLOYED


@pytest.mark.parametrize("kind", KINDS_DEPLOYED)
def test_a_misspelt_field_would_be_noticed(kind: str) -> None:
    manifest = copy.deepcopy(manifests()[kind])
    manifest["spec"]["selektor"] = {}
    with pytest.raises(kubernetes_validate.ValidationError):
        kubernetes_validate.validate(manifest, VERSIONS[-1], strict=True)


def pod() -> dict[str, Any]:
    found: dict[str, Any] = manifests()["Deployment"]["spec"]["template"]["spec"]
    return found


def container() -> dict[str, Any]:
    (found,) = pod()["containers"]
    assert isinstance(found, dict)
    return found


def sidecar() -> dict[str, Any]:
    """The proxy's container."""
    (found,) = pod()["initContainers"]
    assert isinstance(found, dict)
    return found


def test_everything_selects_the_same_pods() -> None:
    found = manifests()
    spec = found["Deployment"]["spec"]
    assert spec["selector"]["matchLabels"] == NAMES
    assert spec["template"]["metadata"]["labels"] == NAMES
    assert spec["template"]["spec"]["topologySpreadConstraints"][0]["labelSelector"]["matchLabels"] == NAMES
    assert found["Service"]["spec"]["selector"] == NAMES
    assert found["PodDisruptionBudget"]["spec"]["selector"]["matchLabels"] == NAMES
    assert found["NetworkPolicy"]["spec"]["podSelector"]["matchLabels"] == NAMES
    target = found["HorizontalPodAutoscaler"]["spec"]["scaleTargetRef"]
    assert target == {"apiVersion": "apps/v1", "kind": "Deployment", "name": found["Deployment"]["metadata"]["name"]}
    assert "replicas" not in spec
    # With fewer, one that is moved would leave nobody to answer.
    assert (
        found["HorizontalPodAutoscaler"]["spec"]["minReplicas"] > found["PodDisruptionBudget"]["spec"]["maxUnavailable"]
    )


def test_callers_reach_the_proxy_alone() -> None:
    assert sidecar()["ports"] == [{"name": "http", "containerPort": int(directive("listen")[0][0])}]
    assert manifests()["Service"]["spec"]["ports"][0]["targetPort"] == "http"
    policy = manifests()["NetworkPolicy"]["spec"]
    callers, watchers = policy["ingress"]
    assert callers["ports"] == [{"port": "http"}]
    # Whoever reads the numbers reaches the service, and nobody else does: a peer with both selectors is one of both.
    assert watchers["ports"] == [{"port": container()["ports"][0]["name"]}]
    (peer,) = watchers["from"]
    assert set(peer) == {"namespaceSelector", "podSelector"}
    assert all(selector["matchLabels"] for selector in peer.values())
    assert policy["policyTypes"] == ["Ingress", "Egress"]
    assert policy["egress"] == []


def test_the_proxy_lives_longer_than_the_service() -> None:
    assert sidecar()["restartPolicy"] == "Always"


def test_the_autoscaler_counts_what_the_service_uses() -> None:
    (metric,) = manifests()["HorizontalPodAutoscaler"]["spec"]["metrics"]
    assert metric["containerResource"]["container"] == container()["name"]


def test_probes_lead_to_the_service() -> None:
    assert container()["ports"] == [{"name": "service", "containerPort": 8000}]
    offered = yaml.safe_load((TOP / "openapi" / "openapi.yaml").read_text(encoding="utf-8"))["paths"]
    paths = {probe: container()[probe]["httpGet"] for probe in ("startupProbe", "readinessProbe", "livenessProbe")}
    assert {get["port"] for get in paths.values()} == {"service"}
    assert {get["path"] for get in paths.values()} <= set(offered)
    assert paths["readinessProbe"]["path"] == "/health/ready"
    assert paths["livenessProbe"]["path"] == "/health/live"


def test_the_service_replaces_a_hanging_worker_before_kubernetes_replaces_all_of_it() -> None:
    probe = container()["livenessProbe"]
    assert probe["periodSeconds"] * probe["failureThreshold"] > DEFAULT_TIMEOUT_SECONDS


def test_a_pod_has_the_time_to_finish_what_it_answers() -> None:
    pause = container()["lifecycle"]["preStop"]["sleep"]["seconds"]
    assert pod()["terminationGracePeriodSeconds"] > pause + GRACEFUL_TIMEOUT_SECONDS


def test_the_pod_has_as_few_powers_as_can_be() -> None:
    user, group = re.findall(r"^USER (\d+):(\d+)$", (DOCKER / "Dockerfile").read_text(), re.M)[-1]
    assert pod()["securityContext"] == {
        "runAsNonRoot": True,
        "runAsUser": int(user),
        "runAsGroup": int(group),
        "seccompProfile": {"type": "RuntimeDefault"},
    }
    for each in (container(), sidecar()):
        assert each["securityContext"] == {
            "allowPrivilegeEscalation": False,
            "readOnlyRootFilesystem": True,
            "capabilities": {"drop": ["ALL"]},
        }
        assert "memory" in each["resources"]["limits"]
    assert pod()["automountServiceAccountToken"] is False
    assert container()["volumeMounts"] == [
        {"name": "tmp", "mountPath": "/tmp"},
        {"name": "keys", "mountPath": "/etc/pension-to-isa", "readOnly": True},
    ]
    assert [each["mountPath"] for each in sidecar()["volumeMounts"]] == ["/tmp", "/etc/nginx"]
    written = {
        each["name"] for each in (*container()["volumeMounts"], *sidecar()["volumeMounts"]) if not each.get("readOnly")
    }
    assert written == {each["name"] for each in pod()["volumes"] if "emptyDir" in each} == {"tmp", "proxy-tmp"}


def images() -> dict[str, str]:
    """The images that others make, by the name of their variable."""
    lines = (DOCKER / ".env").read_text("utf-8").splitlines()
    return dict(line.split("=", 1) for line in lines if line and not line.startswith("#"))


def entry_of(image: str) -> dict[str, str]:
    """What kustomize is told of an image, with a digest if it has one."""
    tagged, _, digest = image.partition("@")
    name, _, tag = tagged.partition(":")
    return {"name": name, "newTag": tag, **({"digest": digest} if digest else {})}


def test_images_are_named_in_one_place_and_everything_else_follows() -> None:
    python, nginx = images()["PYTHON_IMAGE"], images()["NGINX_IMAGE"]
    dockerfile = (DOCKER / "Dockerfile").read_text("utf-8")
    assert f"\nARG PYTHON_IMAGE={python}\n" in dockerfile
    assert set(re.findall(r"^FROM (\S+)", dockerfile, re.M)) == {"$PYTHON_IMAGE", "tools", "$WHEEL"}
    services = loaded("compose.yaml")["services"]
    assert services["proxy"]["image"].startswith("${NGINX_IMAGE:?")
    assert services["service"]["build"]["args"]["PYTHON_IMAGE"].startswith("${PYTHON_IMAGE:?")
    assert sidecar()["image"] == nginx
    assert loaded("kustomization.yaml")["images"] == [entry_of(container()["image"]), entry_of(nginx)]


def test_one_command_puts_digests_wherever_an_image_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "docker"
    shutil.copytree(DOCKER, folder, ignore=shutil.ignore_patterns("__pycache__"))
    for number in (1, 2):  # filling them in, and taking up newer ones
        engine = tmp_path / "docker-engine" / str(number) / "docker"
        engine.parent.mkdir(parents=True)
        digits = f"sha256:{str(number) * 63}"
        engine.write_text(f'#!/bin/sh\ncase "$*" in *python:*) echo {digits}a;; *nginx:*) echo {digits}b;; esac\n')
        engine.chmod(0o755)
        command = [sys.executable, str(folder / "pin_images.py")]
        here = {"PATH": f"{engine.parent}:/usr/bin:/bin"}
        done = subprocess.run(command, env=here, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        assert done.stdout == f"python:3.11-slim@{digits}a\nnginx:stable-alpine@{digits}b\n"
    monkeypatch.setitem(globals(), "DOCKER", folder)
    assert {each.partition("@")[2] for each in images().values()} == {f"{digits}a", f"{digits}b"}
    test_images_are_named_in_one_place_and_everything_else_follows()
    before = (folder / ".env").read_bytes()
    refused = subprocess.run(
        command, env={"PATH": str(tmp_path / "nothing")}, capture_output=True, text=True, check=False
    )
    assert refused.returncode == 1
    assert refused.stderr == "docker cannot be asked: FileNotFoundError. Nothing was written.\n"
    assert (folder / ".env").read_bytes() == before


# What a row of the table may say instead of naming a test: the risk is of something that this service has not.
HAS_NOT = ("there are no objects", "there are none", "the service opens no connection", "none is consumed")


def test_each_of_the_ten_risks_has_a_test_or_does_not_apply() -> None:
    page = (DOCKER / "SECURITY.md").read_text("utf-8").partition("Security Top 10 of 2023")[2]
    rows = re.findall(r"^\| (\d+) [^|]+\| ([^|]+) \|$", page, re.MULTILINE)
    assert [int(number) for number, _ in rows] == list(range(1, 11))
    for number, here in rows:
        tests = re.findall(r"`(tests/[^`]+)`", here)
        assert tests or here.startswith(HAS_NOT), number
        for name in tests:
            path = TOP / name
            files = [path] if path.is_file() else list(path.glob("test_*.py"))
            assert any("def test_" in each.read_text("utf-8") for each in files) or name == "tests/costliest.py", name


def test_the_image_is_of_this_version() -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert container()["image"] == f"{project['name']}:{project['version']}"


def test_the_pods_proxy_has_the_files_of_every_proxy() -> None:
    kustomization = loaded("kustomization.yaml")
    assert kustomization["resources"] == ["kubernetes.yaml"]
    (made,) = kustomization["configMapGenerator"]
    assert {"name": "proxy", "configMap": {"name": made["name"]}} in pod()["volumes"]
    files = dict(each.split("=") for each in made["files"])
    assert files == {"nginx.conf": "proxy/nginx.conf", "upstream.conf": "proxy/upstream.pod.conf"}
    assert upstream("pod") == [("127.0.0.1:8000", "max_fails=0")]


def settings_of(environment: dict[str, str]) -> Settings:
    """The settings that the service would start with; a name that it does not know stops this test."""
    return Settings.from_environment(environment)


def test_there_is_a_worker_for_each_processor_and_one_more() -> None:
    environment = {variable["name"]: variable["value"] for variable in container()["env"]}
    assert settings_of({**environment, "SERVICE_BIND": "0.0.0.0:8000"}).behind_proxy
    resources = container()["resources"]
    settings = settings_of(environment)
    assert settings.workers == int(resources["requests"]["cpu"]) + 1
    assert settings.heavy_at_once == settings.bulk_at_once == int(resources["requests"]["cpu"])
    assert "cpu" not in resources["limits"]
    replica = loaded("compose.replicas.yaml")["services"]["service"]
    whole = {**loaded("compose.yaml")["services"]["service"]["environment"], **replica["environment"]}
    assert settings_of(whole).workers == int(replica["deploy"]["resources"]["limits"]["cpus"]) + 1


def test_variables_for_other_services_stay_out() -> None:
    # Kubernetes writes them for every Service of the namespace: one called "service" would give SERVICE_PORT.
    assert pod()["enableServiceLinks"] is False
    with pytest.raises(ValueError, match="SERVICE_PORT is not a known setting"):
        settings_of({"SERVICE_PORT": "tcp://10.0.0.1:80"})


def test_replicas_are_a_matter_of_number_and_size() -> None:
    """The rest is that of compose.yaml, over which this file is laid."""
    (name,) = loaded("compose.replicas.yaml")["services"]
    replica = loaded("compose.replicas.yaml")["services"][name]
    assert name == "service"
    assert set(replica) == {"environment", "deploy"}
    assert replica["deploy"]["replicas"] > 1


def test_the_proxy_is_all_that_can_be_reached_and_all_have_few_powers() -> None:
    services = loaded("compose.yaml")["services"]
    assert [name for name, one in services.items() if "ports" in one] == ["proxy"]
    proxy, service = services["proxy"], services["service"]
    assert proxy["ports"] == [f"127.0.0.1:8000:{directive('listen')[0][0]}"]
    assert service["networks"] == ["inside"]
    assert loaded("compose.yaml")["networks"]["inside"] == {"internal": True}
    for one in (proxy, service):
        assert one["read_only"] is True
        assert one["tmpfs"] == ["/tmp"]
        assert one["cap_drop"] == ["ALL"]
        assert one["security_opt"] == ["no-new-privileges:true"]
        assert {"memory", "pids"} <= set(one["deploy"]["resources"]["limits"])
    assert settings_of(service["environment"]).behind_proxy
    for mounted, target in zip(proxy["volumes"], ("nginx.conf", "upstream.conf"), strict=True):
        source, place, mode = mounted.split(":")
        assert (DOCKER / source).is_file()
        assert (place, mode) == (f"/etc/nginx/{target}", "ro")
    assert int(proxy["user"].split(":")[0]) > 0
    assert int(directive("listen")[0][0]) > 1024


def test_the_proxy_writes_to_one_place() -> None:
    """It runs as nobody in particular, so whatever it writes goes to the folder that its command names."""
    assert loaded("compose.yaml")["services"]["proxy"]["command"] == sidecar()["command"]
    command = sidecar()["command"]
    assert command[command.index("-p") + 1] == "/tmp/"
    written = [
        directive(name)[0][0]
        for name in (
            "pid",
            "client_body_temp_path",
            "proxy_temp_path",
            "fastcgi_temp_path",
            "uwsgi_temp_path",
            "scgi_temp_path",
        )
    ]
    assert not [path for path in written if path.startswith("/")]


def test_the_proxy_ends_what_it_has_begun_before_the_service_goes() -> None:
    proxy = loaded("compose.yaml")["services"]["proxy"]
    assert proxy["stop_signal"] == "SIGQUIT"
    assert list(proxy["depends_on"]) == ["service"]
    assert seconds_of(proxy["stop_grace_period"]) > seconds_of(directive("proxy_read_timeout")[0][0])


Directive = tuple[tuple[str, ...], list[Any] | None]
_WORDS = re.compile(r"#[^\n]*|'([^']*)'|\"([^\"]*)\"|([{};])|([^\s{};]+)")


def parsed(text: str) -> list[Directive]:
    """An nginx configuration as directives: their words, and what is in their braces."""
    stack: list[list[Directive]] = [[]]
    words: list[str] = []
    for match in _WORDS.finditer(text):
        single, double, sign, word = match.groups()
        if sign == ";":
            stack[-1].append((tuple(words), None))
            words = []
        elif sign == "{":
            inner: list[Directive] = []
            stack[-1].append((tuple(words), inner))
            stack.append(inner)
            words = []
        elif sign == "}":
            assert not words
            stack.pop()
        elif not match.group().startswith("#"):
            words.append(next(found for found in (single, double, word) if found is not None))
    assert len(stack) == 1
    return stack[0]


def found_in(directives: list[Directive], name: str, within: tuple[str, ...]) -> list[tuple[str, ...]]:
    """The words after every directive of a name, in the blocks that ``within`` names, outermost first."""
    if within:
        blocks = [inner for words, inner in directives if inner is not None and " ".join(words) == within[0]]
        return [words for block in blocks for words in found_in(block, name, within[1:])]
    return [words[1:] for words, _ in directives if words[0] == name]


def directive(name: str) -> list[tuple[str, ...]]:
    """The words after every directive of a name, wherever it stands."""
    places = [(), ("http",), ("http", "server")]
    return [words for place in places for words in found_in(configuration(), name, place)]


def configuration() -> list[Directive]:
    return parsed((DOCKER / "proxy" / "nginx.conf").read_text(encoding="utf-8"))


def upstream(place: str) -> list[tuple[str, ...]]:
    """Where the proxy of a place finds the service."""
    text = (DOCKER / "proxy" / f"upstream.{place}.conf").read_text(encoding="utf-8")
    return found_in(parsed(text), "server", ("upstream service",))


def bytes_of(size: str) -> int:
    """A size as nginx reads it."""
    return int(size[:-1]) * {"k": 1_024, "m": 1_048_576}[size[-1]]


def seconds_of(time: str) -> int:
    assert time.endswith("s")
    return int(time[:-1])


def test_the_proxy_takes_bodies_as_large_as_the_service_does() -> None:
    server = ("http", "server")
    ((single,),) = found_in(configuration(), "client_max_body_size", server)
    ((bulk,),) = found_in(configuration(), "client_max_body_size", (*server, "location /v1/bulk/"))
    ((held,),) = found_in(configuration(), "client_body_buffer_size", server)
    assert bytes_of(single) == bytes_of(held) == DEFAULT_MAX_BODY_BYTES
    assert bytes_of(bulk) == DEFAULT_BULK_MAX_BYTES


def test_the_proxy_waits_longer_than_the_service_lets_a_worker_be_silent() -> None:
    timeout = server_options(Settings.for_tests(), 7)["timeout"]
    assert timeout == DEFAULT_TIMEOUT_SECONDS
    assert timeout < seconds_of(directive("proxy_read_timeout")[0][0]) < 2 * timeout


def test_the_proxy_finds_the_replicas_and_tries_another() -> None:
    service = loaded("compose.yaml")["services"]["service"]
    port = service["environment"]["SERVICE_BIND"].rpartition(":")[2]
    assert upstream("compose") == [(f"service:{port}", "resolve", "max_fails=0")]
    # What a POST has done to a worker it would do to the next: "non_idempotent" would send it there.
    assert set(directive("proxy_next_upstream")[0]) == {"error", "timeout", "http_503"}
    for place in ("location /", "location /v1/bulk/"):
        assert found_in(configuration(), "proxy_pass", ("http", "server", place)) == [("http://service",)]


def test_the_proxy_tells_of_problems_as_the_service_does() -> None:
    told = {words[0]: json.loads(words[1]) for words, _ in blocks_of("map $status $problem")}
    for status, problem in told.items():
        kind = KINDS[problem["code"]]
        assert status in (str(kind.status), "default")
        assert problem == document(problem["code"], problem["detail"])
        if problem["code"] in (
            "bad-request",
            "not-found",
            "request-timeout",
            "uri-too-long",
            "headers-too-large",
            "not-implemented",
        ):
            assert problem == document_of_status(kind.status)
    assert told["default"]["code"] == "busy"
    assert [words[1] for words, _ in blocks_of("map $status $come_again")] == [str(RETRY_AFTER_SECONDS), ""]


def blocks_of(name: str) -> list[Directive]:
    """What stands in a block of the http part."""
    (http,) = [inner for words, inner in configuration() if words == ("http",)]
    assert http is not None
    (found,) = [inner for words, inner in http if " ".join(words) == name]
    assert found is not None
    return found

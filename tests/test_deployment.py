"""Several replicas: the manifests have the fields that Kubernetes publishes, and all files agree with the settings."""

from __future__ import annotations

import copy
import json
import re
import tomllib
from pathlib import Path
from typing import Any

import kubernetes_validate
import pytest
import yaml

from service.http.heavy import RETRY_AFTER_SECONDS
from service.http.problems import KINDS, document
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


KINDS_DEPLOYED = ("Deployment", "Service", "HorizontalPodAutoscaler", "PodDisruptionBudget")


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


def test_everything_selects_the_same_pods() -> None:
    found = manifests()
    spec = found["Deployment"]["spec"]
    assert spec["selector"]["matchLabels"] == NAMES
    assert spec["template"]["metadata"]["labels"] == NAMES
    assert spec["template"]["spec"]["topologySpreadConstraints"][0]["labelSelector"]["matchLabels"] == NAMES
    assert found["Service"]["spec"]["selector"] == NAMES
    assert found["PodDisruptionBudget"]["spec"]["selector"]["matchLabels"] == NAMES
    target = found["HorizontalPodAutoscaler"]["spec"]["scaleTargetRef"]
    assert target == {"apiVersion": "apps/v1", "kind": "Deployment", "name": found["Deployment"]["metadata"]["name"]}
    assert "replicas" not in spec
    # With fewer, one that is moved would leave nobody to answer.
    assert (
        found["HorizontalPodAutoscaler"]["spec"]["minReplicas"] > found["PodDisruptionBudget"]["spec"]["maxUnavailable"]
    )


def test_ports_and_probes_lead_to_the_service() -> None:
    assert container()["ports"] == [{"name": "http", "containerPort": 8000}]
    assert manifests()["Service"]["spec"]["ports"][0]["targetPort"] == "http"
    offered = yaml.safe_load((TOP / "openapi" / "openapi.yaml").read_text(encoding="utf-8"))["paths"]
    paths = {probe: container()[probe]["httpGet"] for probe in ("startupProbe", "readinessProbe", "livenessProbe")}
    assert {get["port"] for get in paths.values()} == {"http"}
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
    assert container()["securityContext"] == {
        "allowPrivilegeEscalation": False,
        "readOnlyRootFilesystem": True,
        "capabilities": {"drop": ["ALL"]},
    }
    assert pod()["automountServiceAccountToken"] is False
    assert container()["volumeMounts"] == [
        {"name": "tmp", "mountPath": "/tmp"},
        {"name": "keys", "mountPath": "/etc/pension-to-isa", "readOnly": True},
    ]
    assert {volume["name"]: list(volume)[1] for volume in pod()["volumes"]} == {"tmp": "emptyDir", "keys": "secret"}


def test_the_image_is_of_this_version() -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert container()["image"] == f"{project['name']}:{project['version']}"


def settings_of(environment: dict[str, str]) -> Settings:
    """The settings that the service would start with; a name that it does not know stops this test."""
    return Settings.from_environment(environment)


def test_there_is_a_worker_for_each_processor_and_one_more() -> None:
    environment = {variable["name"]: variable["value"] for variable in container()["env"]}
    resources = container()["resources"]
    settings = settings_of(environment)
    assert settings.workers == int(resources["requests"]["cpu"]) + 1
    assert settings.heavy_at_once == settings.bulk_at_once == int(resources["requests"]["cpu"])
    assert "cpu" not in resources["limits"]
    replica = loaded("compose.replicas.yaml")["services"]["service"]
    assert settings_of(replica["environment"]).workers == int(replica["deploy"]["resources"]["limits"]["cpus"]) + 1


def test_variables_for_other_services_stay_out() -> None:
    # Kubernetes writes them for every Service of the namespace: one called "service" would give SERVICE_PORT.
    assert pod()["enableServiceLinks"] is False
    with pytest.raises(ValueError, match="SERVICE_PORT is not a known setting"):
        settings_of({"SERVICE_PORT": "tcp://10.0.0.1:80"})


def test_replicas_are_built_and_held_as_the_single_container_is() -> None:
    single = loaded("compose.yaml")["services"]["service"]
    replica = loaded("compose.replicas.yaml")["services"]["service"]
    single.pop("ports")
    assert {name: replica[name] for name in single if name != "environment"} == {
        name: value for name, value in single.items() if name != "environment"
    }
    assert single["environment"].items() <= replica["environment"].items()
    assert set(replica) - set(single) == {"deploy"}
    assert replica["deploy"]["replicas"] > 1


def test_the_proxy_is_all_that_can_be_reached_and_has_few_powers() -> None:
    services = loaded("compose.replicas.yaml")["services"]
    assert [name for name, one in services.items() if "ports" in one] == ["proxy"]
    proxy = services["proxy"]
    assert proxy["ports"] == [f"127.0.0.1:8000:{directive('listen')[0][0]}"]
    for name in ("read_only", "tmpfs", "cap_drop", "security_opt"):
        assert proxy[name] == services["service"][name]
    (mounted,) = proxy["volumes"]
    source, target, mode = mounted.split(":")
    assert (DOCKER / source).is_file()
    assert (target, mode) == ("/etc/nginx/nginx.conf", "ro")
    # It runs as nobody in particular, so whatever it writes goes to the one place where it may.
    written = [
        directive(name)[0][0] for name in ("pid", "client_body_temp_path", "proxy_temp_path", "fastcgi_temp_path")
    ]
    assert all(path.startswith("/tmp/") for path in written)
    assert int(proxy["user"].split(":")[0]) > 0
    assert int(directive("listen")[0][0]) > 1024


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
    places = [(), ("http",), ("http", "upstream service"), ("http", "server")]
    return [words for place in places for words in found_in(configuration(), name, place)]


def configuration() -> list[Directive]:
    return parsed((DOCKER / "proxy" / "nginx.conf").read_text(encoding="utf-8"))


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
    port = loaded("compose.replicas.yaml")["services"]["service"]["environment"]["SERVICE_BIND"].rpartition(":")[2]
    replicas = found_in(configuration(), "server", ("http", "upstream service"))
    assert replicas == [(f"service:{port}", "resolve", "max_fails=0")]
    assert directive("zone")[0][0] == "service"
    assert set(directive("proxy_next_upstream")[0]) == {"error", "http_503", "non_idempotent"}
    for place in ("location /", "location /v1/bulk/"):
        assert found_in(configuration(), "proxy_pass", ("http", "server", place)) == [("http://service",)]


@pytest.mark.parametrize(("place", "code"), [("@too_large", "body-too-large"), ("@unavailable", "busy")])
def test_the_proxy_tells_of_problems_as_the_service_does(place: str, code: str) -> None:
    within = ("http", "server", f"location {place}")
    ((status, body),) = found_in(configuration(), "return", within)
    problem = json.loads(body)
    assert int(status) == KINDS[code].status
    assert problem == document(code, problem["detail"])
    assert found_in(configuration(), "default_type", within) == [("application/problem+json",)]
    headers = {words[0]: words[1] for words in found_in(configuration(), "add_header", within)}
    assert headers["Cache-Control"] == "no-store"
    if code == "busy":
        assert headers["Retry-After"] == str(RETRY_AFTER_SECONDS)

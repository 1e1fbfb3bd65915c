"""What is installed and how it is run: the wheel, its sources, the locked releases, the image and its container."""

from __future__ import annotations

import json
import re
import stat
import subprocess
import sys
import tomllib
import zipfile
from importlib.metadata import metadata, requires
from pathlib import Path
from typing import Any

import pytest
import yaml
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from service import create_app
from service.settings import Settings

TOP = Path(__file__).parents[1]
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))
MADE_BY_TOOLS = {"PKG-INFO", "build", "dist", "uv.lock"}
"""What packaging tools leave in the top folder, and what is added to a source distribution."""
LOCKS = {
    "docker/requirements.lock": PROJECT["project"]["dependencies"],
    "tests/requirements.lock": PROJECT["project"]["dependencies"] + PROJECT["project"]["optional-dependencies"]["test"],
    "docker/build.lock": PROJECT["build-system"]["requires"] + PROJECT["dependency-groups"]["compile"],
}


LICENCES = {
    "0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "MIT", "PSF-2.0", "Zlib",
    "License :: OSI Approved :: BSD License", "License :: OSI Approved :: MIT License",
}  # fmt: skip
"""What the image may hold: licences that ask for no more than that their text stays, by SPDX's names or as classifiers."""


def locked(path: str) -> dict[str, str]:
    """The releases that a lock file names: canonical name to version."""
    text = (TOP / path).read_text(encoding="utf-8")
    return {canonicalize_name(name): version for name, version in re.findall(r"^([\w.-]+)==(\S+) \\$", text, re.M)}


def needed(requirements: list[str]) -> dict[str, list[Requirement]]:
    """All that `requirements` ask for, directly or through what is installed here: name to each demand made of it."""
    found: dict[str, list[Requirement]] = {}
    seen: set[tuple[str, str]] = set()
    waiting = [Requirement(text) for text in requirements]
    while waiting:
        requirement = waiting.pop()
        name = canonicalize_name(requirement.name)
        extras = {extra for extra in ("", *requirement.extras) if (name, extra) not in seen}
        seen |= {(name, extra) for extra in extras}
        for text in requires(name) or []:
            own = Requirement(text)
            if any(own.marker is None or own.marker.evaluate({"extra": extra}) for extra in extras):
                waiting.append(own)
        found.setdefault(name, []).append(requirement)
    return found


@pytest.mark.parametrize("path", LOCKS)
def test_a_lock_names_what_is_needed_and_nothing_else(path: str) -> None:
    assert set(locked(path)) == set(needed(LOCKS[path]))


@pytest.mark.parametrize("path", LOCKS)
def test_locked_releases_are_within_the_ranges_asked_for(path: str) -> None:
    releases = locked(path)
    for name, demands in needed(LOCKS[path]).items():
        for demand in demands:
            assert demand.specifier.contains(releases[name]), f"{name} {releases[name]} is outside {demand}"


@pytest.mark.parametrize("name", locked("docker/requirements.lock"))
def test_the_licence_of_what_the_image_holds_is_allowed(name: str) -> None:
    said = metadata(name)
    expression = said.get("License-Expression")
    classifiers = [each for each in said.get_all("Classifier") or [] if each.startswith("License ::")]
    licences = re.split(r" AND | OR ", expression) if expression else classifiers or [said.get("License")]
    assert licences
    assert set(licences) <= LICENCES


@pytest.mark.parametrize("path", LOCKS)
def test_a_lock_holds_releases_hashes_and_comments_only(path: str) -> None:
    text = (TOP / path).read_text(encoding="utf-8")
    statements = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    for line in statements:
        assert re.fullmatch(r"[\w.-]+==[\w.]+ \\|    --hash=sha256:[0-9a-f]{64}( \\)?", line), line
    # Each release is followed by a hash: a release without one would stop the installation.
    for before, after in zip(statements, [*statements[1:], ""], strict=True):
        assert not before.endswith("\\") or after.startswith("    --hash="), before
    assert "://" not in text


def built(target: str, source: Path, folder: Path) -> Path:
    """The wheel or the sdist of a source tree, which stays as it is."""
    command = [sys.executable, "-m", "hatchling", "build", "--target", target, "--directory", folder]
    subprocess.run(command, cwd=source, capture_output=True, check=True)
    (found,) = folder.iterdir()
    return found


@pytest.fixture(scope="module")
def packed_wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project's wheel."""
    return built("wheel", TOP, tmp_path_factory.mktemp("wheel"))


@pytest.fixture(scope="module")
def wheel(packed_wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project's wheel, unpacked."""
    folder = tmp_path_factory.mktemp("unpacked")
    with zipfile.ZipFile(packed_wheel) as archive:
        archive.extractall(folder)
    return folder


@pytest.fixture(scope="module")
def sources(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The project's source distribution, unpacked."""
    folder = tmp_path_factory.mktemp("sources")
    archive = built("sdist", TOP, tmp_path_factory.mktemp("sdist"))
    subprocess.run(["tar", "-xzf", archive, "-C", folder], check=True)
    (found,) = folder.iterdir()
    return found


def test_the_wheel_holds_every_file_of_the_service_and_the_agreement_and_no_other(wheel: Path) -> None:
    service = {
        path.relative_to(TOP).as_posix()
        for path in (TOP / "service").rglob("*")
        if path.is_file() and path.suffix != ".pyc"
    }
    packed = {path.relative_to(wheel).as_posix() for path in wheel.rglob("*") if path.is_file()}
    # Of the agreement, what is served; the parts it is made from are no business of who installs it.
    agreement = {"openapi/__init__.py", "openapi/openapi.yaml", "openapi/answer_fields.json"}
    assert {name for name in packed if ".dist-info/" not in name} == service | agreement
    assert any(name.startswith("service/figures/") and name.endswith(".toml") for name in packed)


def test_the_unpacked_wheel_serves_the_agreement_and_the_figures(wheel: Path, tmp_path: Path) -> None:
    script = """
import json, service
from service.settings import Settings
client = service.create_app(Settings.for_tests()).test_client()
print(json.dumps({
    "file": service.__file__,
    "agreement": client.get("/openapi.yaml").text,
    "ready": client.get("/health/ready").json,
}))
"""
    answer = subprocess.run(
        [sys.executable, "-P", "-c", script],
        cwd=tmp_path,
        env={"PYTHONPATH": str(wheel), "PYTHONDONTWRITEBYTECODE": "1"},
        capture_output=True,
        text=True,
        check=True,
    )
    told = json.loads(answer.stdout)
    assert told["file"] == str(wheel / "service" / "__init__.py")
    assert told["agreement"] == (TOP / "openapi" / "openapi.yaml").read_text(encoding="utf-8")
    # The versions of rules and software that the checkout names, too.
    assert told["ready"] == create_app(Settings.for_tests()).test_client().get("/health/ready").json
    assert told["ready"]["status"] == "ready"


def test_the_wheel_brings_a_command_that_starts_the_service(wheel: Path) -> None:
    (entry_points,) = wheel.glob("*.dist-info/entry_points.txt")
    assert entry_points.read_text(encoding="utf-8").split() == [
        "[console_scripts]",
        "pension-to-isa",
        "=",
        "service.console.command:main",
    ]


def test_the_command_refuses_arguments_instead_of_passing_over_them() -> None:
    command = [sys.executable, "-m", "service", "--port", "9000"]
    answer = subprocess.run(command, cwd=TOP, capture_output=True, text=True, timeout=30, check=False)
    assert answer.returncode == 2
    assert answer.stdout == ""
    assert answer.stderr == "No such option '--port'. python -m service --help shows how.\n"


def named_in_the_readme() -> set[str]:
    """The files and folders of the project that README.md names."""
    text = (TOP / "README.md").read_text(encoding="utf-8")
    folders = r"(?:docker|examples|openapi|service|tests)/[\w./-]*\w|(?:docker|examples|openapi|service|tests)/"
    return set(re.findall(rf"(?<![\w/.-])(?:{folders}|[A-Z]+\.md)", text))


def test_the_sources_hold_all_that_the_readme_names(sources: Path) -> None:
    named = named_in_the_readme()
    assert {"DEVELOPERS.md", "docker/", "docker/compiled_wheel.py", "examples/requests/first-ufpls.json"} <= named
    assert sorted(name for name in named if not (sources / name).exists()) == []


def test_the_sources_hold_every_file_of_the_project(sources: Path) -> None:
    kept = {".dockerignore", ".gitignore", "DEVELOPERS.md", "README.md", "pyproject.toml"}
    for folder in (".ci", "docker", "examples", "openapi", "service", "tests"):
        files = (path for path in (TOP / folder).rglob("*") if path.is_file() and "__pycache__" not in path.parts)
        kept.update(path.relative_to(TOP).as_posix() for path in files)
    packed = {path.relative_to(sources).as_posix() for path in sources.rglob("*") if path.is_file()}
    assert sorted(kept - packed) == []
    assert (sources / ".ci" / "run").stat().st_mode & stat.S_IXUSR


def test_the_wheel_made_from_the_sources_is_the_same_byte_for_byte(
    sources: Path, packed_wheel: Path, tmp_path: Path
) -> None:
    again = built("wheel", sources, tmp_path)
    assert again.name == packed_wheel.name
    assert again.read_bytes() == packed_wheel.read_bytes()


def test_the_readme_has_commands_to_try_it_to_start_the_service_and_to_test_it() -> None:
    lines = (TOP / "README.md").read_text(encoding="utf-8").splitlines()
    assert [line.rpartition("&& ")[2] for line in lines if "-m venv" in line] == [
        ".venv/bin/pip install '.[record,book]'",
        ".venv/bin/pension-to-isa",
        ".venv/bin/python -m pytest",
    ]


def dockerfile() -> list[tuple[str, str]]:
    """The Dockerfile's instructions in order, each as its word and the rest, continued lines joined."""
    text = (TOP / "docker" / "Dockerfile").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return [(line.split()[0], line.split(maxsplit=1)[1]) for line in "\n".join(lines).replace("\\\n", "").splitlines()]


def last(word: str) -> str:
    """What the last instruction of that word says."""
    return [rest for instruction, rest in dockerfile() if instruction == word][-1]


def compose_service() -> dict[str, Any]:
    """The service itself in the compose file, which has the proxy as well."""
    document = yaml.safe_load((TOP / "docker" / "compose.yaml").read_text(encoding="utf-8"))
    service = document["services"]["service"]
    assert isinstance(service, dict)
    return service


def test_the_image_runs_as_a_numbered_user_that_is_not_root() -> None:
    user, group = last("USER").split(":")
    assert int(user) > 0
    assert int(group) > 0


def test_the_image_starts_the_service_without_a_shell_between() -> None:
    # With a shell between them a stop signal would not reach the service.
    assert json.loads(last("CMD")) == list(PROJECT["project"]["scripts"])


def test_the_image_installs_only_what_is_locked() -> None:
    installs = [
        part
        for word, rest in dockerfile()
        if word == "RUN"
        for part in rest.split("&&")
        if "pip" in part and " install " in part
    ]
    assert len(installs) == 3
    for command in installs:
        assert "--require-hashes" in command or "--no-deps --no-index" in command, command


def test_either_wheel_can_be_chosen_and_no_compiler_is_left_in_the_image() -> None:
    stages = [rest.split(" AS ") for word, rest in dockerfile() if word == "FROM"]
    assert next(rest for word, rest in dockerfile() if word == "ARG") == "WHEEL=compiled"
    assert stages == [
        ["$PYTHON_IMAGE", "tools"],
        ["tools", "plain"],
        ["tools", "compiled"],
        ["$WHEEL", "build"],
        ["$PYTHON_IMAGE"],
    ]
    lasting = (TOP / "docker" / "Dockerfile").read_text(encoding="utf-8").rpartition("FROM ")[2]
    assert "apt-get" not in lasting
    assert [line for line in lasting.splitlines() if line.startswith("COPY")] == ["COPY --from=build /app /app"]


def test_all_that_the_image_copies_is_kept_and_sent_to_the_builder() -> None:
    sent = (TOP / ".dockerignore").read_text(encoding="utf-8").splitlines()
    copies = [rest.split()[:-1] for word, rest in dockerfile() if word == "COPY" and not rest.startswith("--from")]
    for name in (name for names in copies for name in names):
        assert (TOP / name).exists(), name
        assert f"!{name}" in sent, name


def test_the_container_has_as_few_powers_as_can_be() -> None:
    service = compose_service()
    assert service["read_only"] is True
    assert service["tmpfs"] == ["/tmp"]
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert "privileged" not in service
    assert "cap_add" not in service
    assert "user" not in service


def test_the_container_is_built_and_bound_as_the_image_expects() -> None:
    service = compose_service()
    folder = TOP / "docker" / service["build"]["context"]
    assert folder.resolve() == TOP
    assert (folder / service["build"]["dockerfile"]).is_file()
    # Nobody is asked for a key, so the proxy's port must be reachable from this machine alone.
    assert service["environment"] == {
        "SERVICE_BIND": "0.0.0.0:8000",
        "SERVICE_BEHIND_PROXY": "yes",
        "SERVICE_CALLERS_CHECKED": "yes",
        "SERVICE_LOG_FORMAT": "json",
    }
    proxy = yaml.safe_load((TOP / "docker" / "compose.yaml").read_text("utf-8"))["services"]["proxy"]
    assert all(port.startswith("127.0.0.1:") for port in proxy["ports"])
    assert last("ENV") == "SERVICE_BIND=0.0.0.0:8000 SERVICE_BEHIND_PROXY=yes"


def test_image_and_container_check_health_alike() -> None:
    health = last("HEALTHCHECK")
    command = json.loads(health.partition("CMD ")[2])
    assert compose_service()["healthcheck"]["test"] == ["CMD", *command]
    assert command[:2] == ["python", "-c"]
    compile(command[2], "healthcheck", "exec")
    assert "/health/live" in command[2]


def test_the_top_folder_holds_what_it_should_and_no_more() -> None:
    names = {path.name for path in TOP.iterdir() if not path.name.startswith(".") and path.suffix != ".egg-info"}
    assert names - MADE_BY_TOOLS == {
        "DEVELOPERS.md",
        "README.md",
        "docker",
        "examples",
        "openapi",
        "pyproject.toml",
        "service",
        "tests",
    }


def test_the_script_that_runs_every_check_can_be_run() -> None:
    script = TOP / ".ci" / "run"
    assert script.stat().st_mode & stat.S_IXUSR
    subprocess.run(["bash", "-n", str(script)], check=True)

"""Install and start the service in every way it is meant to be installed and started, and compare what it answers.

    python tests/try_installs.py

Needed: hatchling, Linux, and a package registry that pip reaches. Everything is made in a temporary folder, from the source
distribution: README.md's own command, an editable installation, `uv run`, and a wheel with each version of Python that
pyproject.toml names, as far as they are found on this machine (python3.x on the PATH or in ~/.pyenv/versions). The service
is started from folders that hold somebody else's `service` and `openapi`, once as packages and once as plain folders, and
asked whether it is ready, for the agreement, and every example request by every operation. The answers of the first way are
the measure of all others, byte for byte.

One line is printed for each way. Exit status: 0 when each version that was found is right; 1 at the first that is not.
"""

from __future__ import annotations

import http.client
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

TOP = Path(__file__).resolve().parents[1]
COMMAND = "pension-to-isa"
UV = "uv>=0.9,<1"
OPERATIONS = ("withdrawal-tax", "allowance-schedule", "lump-sum-timing", "warnings")
ENVIRONMENT = {
    **{
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("SERVICE_", "PYTHON")) and name != "VIRTUAL_ENV"
    },
    "SERVICE_BIND": "127.0.0.1:0",
    "SERVICE_WORKERS": "2",
    "SERVICE_LOG_LEVEL": "warning",
}

Answers = Mapping[str, bytes]
"""Each answer's status and body, by what was asked."""


class TrialError(Exception):
    """A way to install or to start the service that does not work; the message says how."""


def run(*command: str | Path, cwd: Path = TOP) -> None:
    """Run a command to its end. TrialError, with what it printed, if it fails."""
    done = subprocess.run(command, cwd=cwd, env=ENVIRONMENT, capture_output=True, text=True, check=False)
    if done.returncode:
        raise TrialError(f"{' '.join(map(str, command))} ended with {done.returncode}:\n{done.stdout}{done.stderr}")


@contextmanager
def started(command: Sequence[str | Path], cwd: Path) -> Iterator[int]:
    """The service started by that command in that folder: its port. TrialError unless it starts and stops as it should."""
    with TemporaryDirectory() as folder:
        log = Path(folder) / "log"
        with log.open("w") as errors:
            # A session of its own, so that a shell between is stopped as well.
            process = subprocess.Popen(
                command,
                cwd=cwd,
                env=ENVIRONMENT,
                stdout=subprocess.PIPE,
                stderr=errors,
                text=True,
                start_new_session=True,
            )
        try:
            assert process.stdout is not None
            # What installs it may say something first.
            ready = (re.match(r"Listening on http://127\.0\.0\.1:(\d+), ", line) for line in process.stdout)
            port = next((int(match[1]) for match in ready if match), None)
            if port is None:
                raise TrialError(f"{command} did not start in {cwd}: {log.read_text()}")
            yield port
            os.killpg(process.pid, signal.SIGTERM)
            process.communicate(timeout=20)
            if process.returncode not in (0, -signal.SIGTERM):
                raise TrialError(f"it ended with {process.returncode}, having said {log.read_text()!r}")
        finally:
            if process.poll() is None:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()


def ask(port: int, method: str, path: str, body: bytes | None = None) -> bytes:
    """Status and body of an answer."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    try:
        connection.request(method, path, body=body, headers={"Content-Type": "application/json"})
        response = connection.getresponse()
        return b"%d\n%b" % (response.status, response.read())
    finally:
        connection.close()


def answers(port: int) -> Answers:
    """What the service says of itself, and to each example request by each operation (refusals included)."""
    found = {path: ask(port, "GET", path) for path in ("/health/ready", "/openapi.yaml", "/docs", "/v1/tax-years")}
    for example in sorted((TOP / "examples" / "requests").glob("*.json")):
        for operation in OPERATIONS:
            body = example.read_bytes()
            found[f"{operation} of {example.name}"] = ask(port, "POST", f"/v1/{operation}", body)
    if json.loads(found["/health/ready"].partition(b"\n")[2])["status"] != "ready":
        raise TrialError(f"it is not ready: {found['/health/ready']!r}")
    if found["/openapi.yaml"] != b"200\n" + (TOP / "openapi" / "openapi.yaml").read_bytes():
        raise TrialError("it does not serve the agreement of this checkout")
    quote = found["withdrawal-tax of first-ufpls.json"]
    if not quote.startswith(b"200\n"):
        raise TrialError(f"it does not answer a quote: {quote!r}")
    return found


class Trials:
    """The ways that are tried, one after the other."""

    def __init__(self) -> None:
        self._measure: Answers = {}

    def try_way(self, way: str, starts: Sequence[tuple[Sequence[str | Path], Path]], since: float) -> None:
        """Start the service by each of these commands and folders, and compare. TrialError if anything differs."""
        for command, folder in starts:
            with started(command, folder) as port:
                found = answers(port)
            self._measure = self._measure or found
            for asked, expected in self._measure.items():
                if found[asked] != expected:
                    raise TrialError(f"{way}: {asked} is not what it was before:\n{expected!r}\n{found[asked]!r}")
        seconds = time.monotonic() - since
        sys.stdout.write(
            f"{way}: started {len(starts)} times, {len(self._measure)} answers each, all the same ({seconds:.0f} s)\n"
        )
        sys.stdout.flush()


def somebody_elses(folder: Path, *, packages: bool) -> Path:
    """A folder with another project's `service` and `openapi`: packages that end the process, or plain folders."""
    for name in ("service", "openapi"):
        (folder / name).mkdir(parents=True)
        (folder / name / "__main__.py").write_text("raise SystemExit('another project was started')\n")
        (folder / name / "openapi.yaml").write_text("another project's\n")
        if packages:
            (folder / name / "__init__.py").write_text("raise SystemExit('another project was loaded')\n")
    return folder


def new_environment(python: str | Path, folder: Path) -> Path:
    """A virtual environment's folder of programs."""
    run(python, "-m", "venv", folder)
    return folder / "bin"


def version_of(python: str | Path) -> str:
    """The version that an interpreter says it is, such as 3.12.1; nothing if it cannot be run."""
    say = "import platform; print(platform.python_version())"
    done = subprocess.run([python, "-c", say], env=ENVIRONMENT, capture_output=True, text=True, check=False)
    return done.stdout.strip()


def interpreter(wanted: str) -> str | None:
    """An interpreter of that version (such as 3.12), if there is one on this machine."""
    if version_of(sys.executable).startswith(f"{wanted}."):
        return sys.executable
    on_path = shutil.which(f"python{wanted}")
    kept = sorted((Path.home() / ".pyenv" / "versions").glob(f"{wanted}.*/bin/python"))
    candidates = [*([on_path] if on_path else []), *map(str, kept)]
    return next((each for each in candidates if version_of(each).startswith(f"{wanted}.")), None)


def named_versions() -> list[str]:
    """The versions of Python that pyproject.toml says the service runs on."""
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    found = [re.fullmatch(r"Programming Language :: Python :: (3\.\d+)", each) for each in project["classifiers"]]
    return [each[1] for each in found if each]


def start_command() -> str:
    """README.md's command that installs and starts the service."""
    text = (TOP / "README.md").read_text(encoding="utf-8")
    fenced = [line for block in re.findall(r"^```sh\n(.*?)^```", text, re.M | re.S) for line in block.splitlines()]
    (command,) = [line for line in fenced if "-m venv" in line and line.endswith(COMMAND)]
    return command


def unpacked(sdist: Path, folder: Path) -> Path:
    """The source distribution's one folder, unpacked."""
    folder.mkdir()
    run("tar", "-xzf", sdist, "-C", folder)
    (found,) = folder.iterdir()
    return found


def build(target: str, source: Path, folder: Path) -> Path:
    """A distribution (sdist or wheel) of a source tree."""
    run(sys.executable, "-m", "hatchling", "build", "--target", target, "--directory", folder, cwd=source)
    (built,) = folder.iterdir()
    return built


def try_all(folder: Path) -> None:
    """Every way, in that folder. TrialError at the first that fails."""
    packages = somebody_elses(folder / "packages", packages=True)
    plain = somebody_elses(folder / "plain", packages=False)
    sdist = build("sdist", TOP, folder / "sdist")
    trials = Trials()

    since = time.monotonic()
    tree = unpacked(sdist, folder / "readme")
    trials.try_way("README.md's command, in the source distribution", [(["bash", "-c", start_command()], tree)], since)

    since = time.monotonic()
    tree = unpacked(sdist, folder / "editable")
    programs = new_environment(sys.executable, folder / "editable-environment")
    run(programs / "pip", "install", "--editable", tree)
    starts = [([programs / COMMAND], packages), ([programs / COMMAND], plain)]
    trials.try_way("pip install --editable", starts, since)

    since = time.monotonic()
    tree = unpacked(sdist, folder / "uv")
    programs = new_environment(sys.executable, folder / "uv-environment")
    run(programs / "pip", "install", UV)
    uv = programs / "uv"
    starts = [([uv, "run", COMMAND], tree), ([uv, "run", "--project", tree, COMMAND], packages)]
    trials.try_way("uv run", starts, since)

    wheel = build("wheel", TOP, folder / "wheel")
    for wanted in named_versions():
        since = time.monotonic()
        python = interpreter(wanted)
        if python is None:
            sys.stdout.write(f"wheel, Python {wanted}: NOT TRIED, no such interpreter was found on this machine\n")
            continue
        programs = new_environment(python, folder / f"wheel-{wanted}")
        run(programs / "pip", "install", wheel)
        starts = [
            ([programs / COMMAND], packages),
            ([programs / COMMAND], plain),
            ([programs / "python", "-m", "service"], plain),
        ]
        trials.try_way(f"wheel, Python {version_of(python)}", starts, since)


def main() -> int:
    """Try every way; the exit status."""
    with TemporaryDirectory() as folder:
        try:
            try_all(Path(folder))
        except TrialError as error:
            sys.stderr.write(f"{error}\n")
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Install the tools that these tests need, into a folder of their own.

    python -m tests.clients.tools

Each kind of tools goes by itself: those of pip into .tools/pip, a virtual environment, those of npm into .tools/npm, and
browsers by apt-get, where that is there and may install. What cannot be installed is said, and its tests are skipped; the exit
status is 0 all the same. Versions are those of tools.toml.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

TOP = Path(__file__).parents[2]
FOLDER = TOP / ".tools"
PIP = FOLDER / "pip"
NPM = FOLDER / "npm"
PINS = tomllib.loads(Path(__file__).with_name("tools.toml").read_text("utf-8"))
SECONDS = 600


def pip_program(name: str) -> str:
    """The path of a program that pip installed. The test is skipped if pip's tools are not there."""
    return _program(PIP, "pip", name)


def npm_program(name: str) -> str:
    """The path of a program that npm installed. The test is skipped if npm's tools are not there."""
    return _program(NPM / "node_modules", "npm", name)


def npm_file(*path: str) -> Path:
    """The path of a file of a package that npm installed. The test is skipped if npm's tools are not there."""
    _program(NPM / "node_modules", "npm", path[0])
    return NPM.joinpath("node_modules", *path)


def chromium() -> str:
    """The path of Chromium. The test is skipped if it is not there."""
    return _chromium() or pytest.skip(f"Chromium is not installed; {_how()}")


def firefox() -> str:
    """The path of Firefox. The test is skipped if it is not there."""
    return _firefox() or pytest.skip(f"Firefox is not installed; {_how()}")


def environment() -> dict[str, str]:
    """This process's environment, with the tools' programs first, and with nothing sent to who made them."""
    path = os.pathsep.join((str(PIP / "bin"), str(NPM / "node_modules" / ".bin"), os.environ["PATH"]))
    return {**os.environ, "PATH": path, "REDOCLY_TELEMETRY": "off", "REDOCLY_SUPPRESS_UPDATE_NOTICE": "true"}


def install() -> None:
    """Install what is missing, and say what cannot be."""
    FOLDER.mkdir(exist_ok=True)
    for kind, how in {"pip": _install_pip, "npm": _install_npm, "apt": _install_browsers}.items():
        if _installed(kind):
            continue
        try:
            how()
        except (OSError, subprocess.SubprocessError) as problem:
            said = getattr(problem, "stderr", None) or str(problem)
            sys.stderr.write(f"Not installed, so its tests are skipped: {', '.join(PINS[kind])}.\n{said[-2000:]}\n")
        else:
            _mark(kind).write_text(json.dumps(PINS[kind]), "utf-8")


def _program(folder: Path, kind: str, name: str) -> str:
    if not _installed(kind):
        pytest.skip(f"{kind}'s tools are not installed, or not at the versions of tools.toml; {_how()}")
    return str(folder / ("bin" if kind == "pip" else ".bin") / name)


def _how() -> str:
    return "`python -m tests.clients.tools` installs them"


def _mark(kind: str) -> Path:
    return FOLDER / f"{kind}.json"


def _installed(kind: str) -> bool:
    if kind == "apt":
        return _chromium() is not None and _firefox() is not None
    mark = _mark(kind)
    return mark.is_file() and json.loads(mark.read_text("utf-8")) == PINS[kind]


def _chromium() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


def _firefox() -> str | None:
    return shutil.which("firefox-esr") or shutil.which("firefox")


def _install_pip() -> None:
    shutil.rmtree(PIP, ignore_errors=True)
    _run(sys.executable, "-m", "venv", str(PIP))
    _run(str(PIP / "bin" / "pip"), "install", *(f"{name}=={version}" for name, version in PINS["pip"].items()))


def _install_npm() -> None:
    shutil.rmtree(NPM, ignore_errors=True)
    NPM.mkdir()
    (NPM / "package.json").write_text(json.dumps({"private": True, "dependencies": PINS["npm"]}), "utf-8")
    # No package of these needs its installation scripts.
    _run("npm", "install", "--ignore-scripts", "--no-audit", "--no-fund", "--no-package-lock", "--prefix", str(NPM))


def _install_browsers() -> None:
    _run("apt-get", "update")
    _run("apt-get", "install", "--yes", "--no-install-recommends", *PINS["apt"])


def _run(*command: str) -> None:
    subprocess.run(command, check=True, capture_output=True, text=True, timeout=SECONDS)


if __name__ == "__main__":
    install()

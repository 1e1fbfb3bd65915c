"""What identifies an answer: the release of the software, and the version of the rules, which follows from the figures and
from the code.

The code is that of every layer: its sources as text, which stand beside the machine code of the compiled wheel as well. So a
checkout and whatever is installed from it have one version.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from functools import cache
from hashlib import sha256
from pathlib import Path

import highspy

from service.law.rulebook import RuleBook
from service.schemas.rules import Versions

SOFTWARE_VERSION = "1.4.1"
"""The release, as pyproject.toml has it."""

FOLDER = Path(__file__).resolve().parent
LAYERS = ("figures", "law", "planning", "schemas", "charts", "http")
"""The packages that read requests, and compute and word answers. What stands above them runs the server."""

SOLVER = f"{highspy.HIGHS_VERSION_MAJOR}.{highspy.HIGHS_VERSION_MINOR}.{highspy.HIGHS_VERSION_PATCH}"
"""The release of the solver, which is no code of ours: another could find another plan."""

_VERSION_DIGITS = 12


class SourcesMissingError(Exception):
    """Modules are running whose sources are not there, so that nothing would tell one version of them from another."""


def versions_of(book: RuleBook) -> Versions:
    """The versions that every answer by a rule book names. SourcesMissingError where the code has no version."""
    return Versions(
        rules=rules_version(book.figures_version, code_version()),
        figures=book.figures_version,
        software=SOFTWARE_VERSION,
        law_as_of=book.law_as_of,
        proposed=book.proposed,
    )


def rules_version(figures_version: str, code: str) -> str:
    """The version of the rules, beginning with a letter, so that no program takes it for a number. An answer names the
    software's release, so that belongs to it too."""
    parts = f"{SOFTWARE_VERSION} {SOLVER} {figures_version} {code}"
    return "r" + sha256(parts.encode("ascii")).hexdigest()[:_VERSION_DIGITS]


@cache
def code_version(folder: Path = FOLDER) -> str:
    """The version of the layers' sources in the folder of the package: SHA-256, whatever ends their lines."""
    sources = {path.relative_to(folder).as_posix(): path for layer in LAYERS for path in _sources(folder / layer)}
    missing = sorted(set(_running()) - set(sources))
    if missing:
        raise SourcesMissingError(f"These source files are not in {folder}: {', '.join(missing)}.")
    digest = sha256()
    for name in sorted(sources):
        text = sources[name].read_bytes().replace(b"\r\n", b"\n")
        digest.update(b"%s %d\n%s" % (name.encode("ascii"), len(text), text))
    return digest.hexdigest()


def _sources(folder: Path) -> Iterator[Path]:
    """The source files in a folder and those below it."""
    # Not Path.rglob, which takes ten times as long.
    for where, _, names in os.walk(folder):
        yield from (Path(where, name) for name in names if name.endswith(".py"))


def _running() -> Iterator[str]:
    """The source files of the modules of the layers that have been imported."""
    for name, module in list(sys.modules.items()):
        package, *path = name.split(".")
        if package == "service" and path and path[0] in LAYERS:
            yield "/".join([*path, "__init__"] if hasattr(module, "__path__") else path) + ".py"

"""Builds the wheel of the service with its hot path compiled to machine code.

    python docker/compiled_wheel.py FOLDER

puts ``pension_to_isa-<version>-cp3xx-...whl`` into the folder. It is made of the same source by mypyc (a part of mypy) and
serves the same answers, byte for byte; it only takes less time. It fits the version of Python it was built with, on the
same kind of machine. Needed: a C compiler and the headers of Python. setuptools, which mypyc makes extensions for, and mypy
are fetched into an environment of their own, in the releases that pyproject.toml names; with --no-isolation those that are
installed are used.
"""

from __future__ import annotations

import argparse
import ast
import json
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from tempfile import TemporaryDirectory

TOP = Path(__file__).resolve().parents[1]

LAYERS = ("figures", "law", "planning")

LEFT_OUT = {
    "service/figures/__main__.py",  # run by name, which machine code cannot be
    "service/law/value.py",  # the base of the values, which the compiled ones do without
    "service/planning/optimiser/lp.py",  # the solver's class has no types, and the time goes by in the solver
}
"""What stays as it is of these layers."""

SCHEMAS = (
    "service/schemas/quick.py",
    "service/schemas/quote/answer.py",
    "service/schemas/units.py",
    "service/schemas/warnings.py",
)
"""What is compiled of the schemas. The others are made of marshmallow's classes, and interpreted classes cannot be
compiled in part: neither a strict field nor a schema may inherit from a compiled class."""

SETUP = """\
import shutil
import sys

from mypyc.build import mypycify
from setuptools import find_namespace_packages, setup

extensions = []
if "bdist_wheel" in sys.argv:
    extensions = mypycify({arguments!r}, opt_level="{level}", debug_level="0", group_name="pension_to_isa")
    for extension in extensions:
        # What a compiler warns of in generated code helps nobody, and looking for it takes longer than compiling.
        extension.extra_compile_args.append("-Wno-all")
    # What is compiled has been read by now. The sources that go into the wheel are those of every other: the version of the
    # rules follows from them.
    shutil.copytree("{written}", ".", dirs_exist_ok=True)
setup(
    ext_modules=extensions,
    packages=find_namespace_packages(include=["service*", "openapi"]),
    package_data={{"": ["*"]}},
    exclude_package_data={{"openapi": ["*.md"]}},
)
"""
"""pip runs it three times; only the last time is for the wheel itself. The files are those of the plain wheel."""

BUILD_SYSTEM = """\
[build-system]
requires = {requires}
build-backend = "setuptools.build_meta"

"""

# Where the sources are kept that are compiled otherwise than they are written.
AS_WRITTEN = "as_written"

# What is imported from elsewhere need not be installed where the wheel is built: mypyc takes it as it comes.
MYPY_OPTIONS = ("--follow-imports=silent", "--ignore-missing-imports")

# The compiler's first level: the second takes half as long again, and the answers took no less time with it.
OPTIMISATION = 1


def modules() -> list[str]:
    """The modules that are compiled, as paths from the top folder."""
    found = (
        path.relative_to(TOP).as_posix()
        for layer in LAYERS
        for path in (TOP / "service" / layer).rglob("*.py")
        if path.name != "__init__.py"
    )
    return [*sorted(set(found) - LEFT_OUT), *SCHEMAS]


VALUE_IMPORT = "from service.law.value import Value"
BODY_OF_VALUE = """\
    def __init__(self, {parameters}) -> None:
        {attributes}

    def _replace(self, **changes: Any) -> {name}:
        changed = {name}({changed})
        if changes:
            raise TypeError(f"{name} has no such fields: {{', '.join(changes)}}")
        return changed

    def __eq__(self, other: object) -> bool:
        return isinstance(other, {name}) and {equal}

    def __hash__(self) -> int:
        return hash(({hashed},))
"""


def with_plain_values(text: str) -> str:
    """A module's text with each ``Value`` as a class of its own, whose attributes are ``Final``: those the compiler makes
    and reads many times faster. They are made, copied, compared and hashed alike, and cannot be changed either."""
    lines = text.splitlines()
    for node in reversed(ast.parse(text).body):
        if not isinstance(node, ast.ClassDef) or not any(ast.unparse(base) == "Value" for base in node.bases):
            continue
        fields = [part for part in node.body if isinstance(part, ast.AnnAssign)]
        names = [ast.unparse(field.target) for field in fields]
        body = BODY_OF_VALUE.format(
            name=node.name,
            parameters=", ".join(map(ast.unparse, fields)),
            attributes="\n        ".join(f"self.{name}: Final = {name}" for name in names),
            changed=", ".join(f'changes.pop("{name}", self.{name})' for name in names),
            equal=" and ".join(f"self.{name} == other.{name}" for name in names),
            hashed=", ".join(f"self.{name}" for name in names),
        )
        lines[fields[0].lineno - 1 : fields[-1].end_lineno] = body.splitlines()
        lines[node.lineno - 1] = f"class {node.name}:"
    return "\n".join(lines).replace(VALUE_IMPORT, "from typing import Any, Final") + "\n"


def prepare(source: Path, level: int) -> None:
    """A copy of all that the wheel is made from, with a setup.py beside it that compiles ``modules``."""
    for name in ("service", "openapi"):
        shutil.copytree(TOP / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    for module in modules():
        text = (source / module).read_text(encoding="utf-8")
        if VALUE_IMPORT in text:
            kept = source / AS_WRITTEN / module
            kept.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(source / module, kept)
            (source / module).write_text(with_plain_values(text), encoding="utf-8")
    shutil.copy(TOP / "README.md", source)
    text = (TOP / "pyproject.toml").read_text(encoding="utf-8")
    requires = tomllib.loads(text)["dependency-groups"]["compile"]
    told = BUILD_SYSTEM.format(requires=json.dumps(requires)) + text[text.index("[project]") :]
    (source / "pyproject.toml").write_text(told, encoding="utf-8")
    setup = SETUP.format(arguments=[*MYPY_OPTIONS, *modules()], level=level, written=AS_WRITTEN)
    (source / "setup.py").write_text(setup, encoding="utf-8")


def build(folder: Path, *, isolated: bool, level: int) -> None:
    """The wheel, in ``folder``. CalledProcessError if pip cannot build it, having said why."""
    with TemporaryDirectory() as temporary:
        source = Path(temporary) / "source"
        source.mkdir()
        prepare(source, level)
        options = ["--no-deps", "--wheel-dir", str(folder), *([] if isolated else ["--no-build-isolation"])]
        subprocess.run([sys.executable, "-m", "pip", "wheel", *options, str(source)], check=True)


def main() -> int:
    """Reads the command line and builds."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path, help="where the wheel goes")
    parser.add_argument("--no-isolation", action="store_true", help="use the setuptools and mypy that are installed")
    parser.add_argument(
        "--level", type=int, choices=range(4), default=OPTIMISATION, help="the compiler's optimisation (%(default)s)"
    )
    given = parser.parse_args()
    try:
        build(given.folder.resolve(), isolated=not given.no_isolation, level=given.level)
    except subprocess.CalledProcessError as error:
        return error.returncode
    return 0


if __name__ == "__main__":
    sys.exit(main())

"""Make the types that the clients of examples/ are written with, from the agreement.

    python -m tests.clients.made

writes examples/python_client/agreement.py and examples/typescript_client/agreement.ts. The generators are tools of this folder
(`python -m tests.clients.tools`).
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from pathlib import Path

from . import tools

AGREEMENT = tools.TOP / "openapi" / "openapi.yaml"
HEADER = '"""The types of the agreement, made by `python -m tests.clients.made`. Do not change this file by hand."""'


def python_types(out: Path) -> None:
    """TypedDicts, which need no package: a request is a plain dict, and a checker knows what belongs into it."""
    _run(
        tools.pip_program("datamodel-codegen"),
        *("--input", str(AGREEMENT), "--input-file-type", "openapi", "--output", str(out)),
        *("--output-model-type", "typing.TypedDict", "--target-python-version", "3.11"),
        *("--no-use-closed-typed-dict", "--use-union-operator", "--use-standard-collections"),
        *("--use-schema-description", "--use-field-description", "--enum-field-as-literal", "all"),
        *("--formatters", "builtin", "--disable-timestamp", "--custom-file-header", HEADER),
    )


def typescript_types(out: Path) -> None:
    """Types alone, which leave nothing in the program that is made of them."""
    _run(tools.npm_program("openapi-typescript"), str(AGREEMENT), "--output", str(out))


MADE: dict[Path, Callable[[Path], None]] = {
    tools.TOP / "examples" / "python_client" / "agreement.py": python_types,
    tools.TOP / "examples" / "typescript_client" / "agreement.ts": typescript_types,
}
"""Each file, and what makes it."""


def _run(*command: str) -> None:
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, timeout=tools.SECONDS, env=tools.environment()
    )
    if done.returncode:
        raise RuntimeError(f"{command[0]}:\n{(done.stdout + done.stderr)[-4000:]}")


if __name__ == "__main__":
    for file, make in MADE.items():
        make(file)

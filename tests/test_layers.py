"""The layers of the service: imports point one way, and the law computes with whole numbers alone.

http -> charts -> schemas -> planning -> law -> figures. Charts know an answer's
document and words alone. Planning has floors of its own, and the four products, which stand side by
side on the uppermost, do not know each other. Read from the modules' syntax trees, so that an import inside a function counts
as well.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import service

ROOT = Path(service.__file__).parent
LAYERS = ("http", "charts", "schemas", "planning", "law", "figures")
"""From the outermost in: each may use itself and those after it."""
MODULES = sorted(path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*.py"))
OF_LAYERS = [module for module in MODULES if module.split("/")[0] in LAYERS]
INNER = [module for module in MODULES if module.startswith(("law/", "figures/"))]
OF_WORDS = "service.planning.wording"
"""All that charts use of the rest of the service: they are made from an answer's document alone."""
PRODUCTS = ("quote", "schedule", "timing", "check")
"""The four questions: rooms of planning, and folders of schemas."""
FLOORS = (
    PRODUCTS,
    ("markets",),
    ("estates", "optimiser", "warnings"),
    ("projection",),
    ("curve", "disclosure", "incomes", "marriage_claims", "payroll"),
    ("faults",),
    ("cases", "household", "once", "search", "wording"),
)
"""The rooms of planning, from the uppermost floor down: a room may use those on the floors below its own."""
OUTSIDERS = {
    "http": {
        "flask",
        "flask_cors",
        "flask_swagger_ui",
        "icalendar",
        "limits",
        "marshmallow",
        "msgspec",
        "prometheus_client",
        "werkzeug",
    },
    "charts": set[str](),
    "schemas": {"marshmallow"},
    "planning": {"highspy", "numpy"},
    "law": set[str](),
    "figures": set[str](),
}
"""What each layer may use that is neither the service's own nor Python's."""
CONSOLE_PAGES = ("check", "figures", "layout", "plan", "quote", "reading", "timing", "waiting", "writing")
"""The modules of the console that know an answer's document, a file or a terminal, and nothing of the service."""
CONSOLE = ("__init__", "asking", "command", "filing")
"""Those that join them with the service."""
BASE_OF_VALUES = "law/value.py"
"""The one module of the inner layers that may use msgspec: its classes with named fields have nothing to do with JSON."""
OUTSIDE_WORLD = {
    "asyncio", "http", "io", "locale", "logging", "multiprocessing", "os", "pathlib", "random", "shutil", "socket",
    "sqlite3", "subprocess", "sys", "tempfile", "threading", "time", "urllib",
}  # fmt: skip
"""Modules of Python's own that reach beyond the process, or depend on more than what they are given."""


def tree_of(module: str) -> ast.Module:
    return ast.parse((ROOT / module).read_text("utf-8"), module)


def imported(tree: ast.AST, package: str) -> Iterator[str]:
    """Every module that a tree imports, with its whole name; ``package`` is that of the module itself."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*above, *([node.module] if node.module else [])])
            yield base
            # What is imported from a package may itself be a module.
            yield from (f"{base}.{alias.name}" for alias in node.names)
        elif (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name | ast.Attribute)
            and (node.func.id if isinstance(node.func, ast.Name) else node.func.attr) in ("__import__", "import_module")
        ):
            yield "an import by name at run time"


def package_of(module: str) -> str:
    return ".".join(("service", *module.split("/")[:-1]))


def faults_of(module: str, tree: ast.AST) -> list[str]:
    """What a module of a layer imports and must not."""
    layer = module.split("/")[0]
    inwards = LAYERS[LAYERS.index(layer) :]
    faults = []
    for name in imported(tree, package_of(module)):
        parts = name.split(".")
        if parts[0] == "service":
            # "service" alone is the package that joins the layers, or stands before the name of one.
            if len(parts) > 1 and parts[1] not in inwards:
                faults.append(name)
        elif module == BASE_OF_VALUES and parts[0] == "msgspec":
            continue
        elif parts[0] not in sys.stdlib_module_names and parts[0] not in OUTSIDERS[layer]:
            faults.append(name)
    return faults


def test_every_layer_is_there() -> None:
    assert {module.split("/")[0] for module in OF_LAYERS} == set(LAYERS)
    assert len(OF_LAYERS) > 25
    # What stands above the layers joins or runs them: nothing of it is a rule, a shape or a route.
    assert {module for module in MODULES if module not in OF_LAYERS} == {
        "__init__.py",
        "__main__.py",
        "connections.py",
        *(f"console/{name}.py" for name in (*CONSOLE_PAGES, *CONSOLE)),
        "logs.py",
        "memory.py",
        "record/__init__.py",
        "record/checking.py",
        "record/files.py",
        "record/page.py",
        "record/questions.py",
        "record/words.py",
        "server.py",
        "settings.py",
        "start.py",
        "versions.py",
    }


@pytest.mark.parametrize("module", OF_LAYERS)
def test_imports_point_one_way(module: str) -> None:
    assert faults_of(module, tree_of(module)) == []


def room_of(path: list[str]) -> str:
    """The room of planning that a module's path, from planning on, leads to: a folder, or a module that stands alone."""
    return path[0].removesuffix(".py")


def faults_inside_planning(module: str, tree: ast.Module) -> list[str]:
    """What a module of planning imports from rooms that are not on a floor below its own."""
    floors = {room: floor for floor, rooms in enumerate(FLOORS) for room in rooms}
    own = room_of(module.split("/")[1:])
    used = {name for name in imported(tree, package_of(module)) if name.startswith("service.planning.")}
    rooms = {(name, room_of(name.split(".")[2:])) for name in used}
    # "from service.planning import x" names the room x last; a name inside a room comes with the room before it.
    return sorted(name for name, room in rooms if room != own and floors.get(room, -1) <= floors[own])


IN_PLANNING = [module for module in MODULES if module.startswith("planning/") and module != "planning/__init__.py"]


def test_every_room_of_planning_is_on_a_floor() -> None:
    assert {room_of(module.split("/")[1:]) for module in IN_PLANNING} == {room for floor in FLOORS for room in floor}


@pytest.mark.parametrize("module", IN_PLANNING)
def test_imports_inside_planning_point_downstairs(module: str) -> None:
    assert faults_inside_planning(module, tree_of(module)) == []


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("planning/quote/quote.py", "from service.planning.schedule.schedule import Schedule"),
        ("planning/check/check.py", "from service.planning.quote.quote import Quote"),
        ("planning/projection/timeline.py", "from service.planning.schedule import schedule"),
        ("planning/projection/timeline.py", "from service.planning import timing"),
        ("planning/projection/timeline.py", "from service.planning.warnings.warning import Found"),
        ("planning/warnings/access.py", "from service.planning.optimiser.lp import LP"),
        ("planning/faults.py", "from service.planning.incomes import settled"),
        ("planning/curve/piece.py", "def f():\n    from service.planning.optimiser import lp"),
    ],
)
def test_an_import_upstairs_or_next_door_would_be_noticed(module: str, line: str) -> None:
    assert faults_inside_planning(module, ast.parse(line))


@pytest.mark.parametrize("product", PRODUCTS)
def test_the_products_schemas_do_not_know_each_other(product: str) -> None:
    others = tuple(f"service.schemas.{other}." for other in PRODUCTS if other != product)
    of_product = [module for module in MODULES if module.startswith(f"schemas/{product}/")]
    assert {f"schemas/{product}/request.py", f"schemas/{product}/answer.py"} <= set(of_product)
    for module in of_product:
        names = [f"{name}." for name in imported(tree_of(module), package_of(module))]
        assert [name for name in names if name.startswith(others)] == [], module


@pytest.mark.parametrize("module", [module for module in MODULES if module.startswith("charts/")])
def test_charts_know_documents_and_words_alone(module: str) -> None:
    names = {name for name in imported(tree_of(module), package_of(module)) if name.startswith("service.")}
    assert {name for name in names if not f"{name}.".startswith((f"{OF_WORDS}.", "service.charts."))} <= {
        "service.charts",
        "service.planning",
    }


@pytest.mark.parametrize("module", [module for module in MODULES if module.startswith("record/")])
def test_a_record_uses_words_alone_and_nothing_of_the_web(module: str) -> None:
    names = set(imported(tree_of(module), package_of(module)))
    layers = {name for name in names if name.startswith(tuple(f"service.{layer}" for layer in LAYERS))}
    assert {name for name in layers if not f"{name}.".startswith(f"{OF_WORDS}.")} == set()
    outside = {name.split(".")[0] for name in names} - set(sys.stdlib_module_names) - {"service"}
    assert outside <= {"rfc8785", "vl_convert", "weasyprint"}


@pytest.mark.parametrize("module", CONSOLE_PAGES)
def test_a_page_of_the_console_knows_documents_alone(module: str) -> None:
    names = set(imported(tree_of(f"console/{module}.py"), "service.console"))
    own = tuple(f"service.console.{page}" for page in CONSOLE_PAGES)
    assert {name for name in names if name.startswith("service.") and not name.startswith(own)} <= {"service.console"}
    assert {name.split(".")[0] for name in names} - set(sys.stdlib_module_names) <= {"service"}


@pytest.mark.parametrize("module", INNER)
def test_law_and_figures_know_neither_the_web_nor_json_shapes(module: str) -> None:
    roots = {name.split(".")[0] for name in imported(tree_of(module), package_of(module))}
    assert not roots & {"flask", "marshmallow", "werkzeug", "json"}
    assert "msgspec" not in roots or module == BASE_OF_VALUES


@pytest.mark.parametrize("module", [module for module in MODULES if module.startswith(("law/", "planning/"))])
def test_law_and_planning_neither_read_nor_write_nor_look_at_the_clock(module: str) -> None:
    tree = tree_of(module)
    roots = {name.split(".")[0] for name in imported(tree, package_of(module))}
    assert not roots & OUTSIDE_WORLD
    called = {
        node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
    }
    assert not called & {"open", "print", "input", "today", "now", "utcnow", "read_text", "read_bytes", "getenv"}


def inexact(tree: ast.AST) -> Iterator[str]:
    """Whatever in a tree computes with other numbers than whole ones."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, float | complex):
            yield f"line {node.lineno}: {node.value}"
        elif isinstance(node, ast.BinOp | ast.AugAssign) and isinstance(node.op, ast.Div):
            yield f"line {node.lineno}: true division"
        elif isinstance(node, ast.Name) and node.id in ("float", "Decimal", "Fraction", "round"):
            yield f"line {node.lineno}: {node.id}"
        elif isinstance(node, ast.Attribute) and node.attr in ("Decimal", "Fraction", "truediv"):
            yield f"line {node.lineno}: {node.attr}"


@pytest.mark.parametrize("module", [module for module in MODULES if module.startswith("law/")])
def test_the_law_computes_with_whole_numbers_only(module: str) -> None:
    tree = tree_of(module)
    assert list(inexact(tree)) == []
    roots = {name.split(".")[0] for name in imported(tree, package_of(module))}
    assert not roots & {"decimal", "fractions", "math", "numpy", "statistics", "cmath"}


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("law/scale.py", "from service.planning import faults"),
        ("law/scale.py", "from service import planning"),
        ("law/scale.py", "import service.http.body"),
        ("law/scale.py", "import marshmallow"),
        ("law/scale.py", "import msgspec"),
        ("law/value.py", "import flask"),
        ("law/scale.py", "def f():\n    from flask import g"),
        ("law/scale.py", "from ..planning import faults"),
        ("law/scale.py", "from .. import schemas"),
        ("law/scale.py", "__import__('flask')"),
        ("figures/loader.py", "from service.law.scale import Scale"),
        ("planning/disclosure.py", "from service.schemas.fields import Money"),
        ("planning/disclosure.py", "from service.settings import Settings"),
        ("planning/disclosure.py", "from service import create_app"),
        ("schemas/shared.py", "from service.http.problems import ProblemError"),
        ("schemas/shared.py", "import flask"),
    ],
)
def test_a_wrong_import_would_be_noticed(module: str, line: str) -> None:
    assert faults_of(module, ast.parse(line))


@pytest.mark.parametrize(
    "line", ["x = 0.2", "x = a / b", "x /= 2", "x = float(y)", "x = Decimal('1')", "x = decimal.Decimal(1)", "round(x)"]
)
def test_an_inexact_number_would_be_noticed(line: str) -> None:
    assert list(inexact(ast.parse(line)))


@pytest.mark.parametrize(
    ("module", "line"),
    [
        ("law/scale.py", "from service.figures.loader import TaxYear"),
        ("law/scale.py", "from .rounding import POUND"),
        ("law/scale.py", "from bisect import bisect_left"),
        ("planning/disclosure.py", "from service.law import income_tax"),
        ("schemas/shared.py", "from marshmallow import Schema"),
        ("http/body.py", "import msgspec"),
    ],
)
def test_a_right_import_would_not(module: str, line: str) -> None:
    assert faults_of(module, ast.parse(line)) == []

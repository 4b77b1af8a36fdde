"""The packages import one way only, modules stay short, and everything public says what it is."""

from __future__ import annotations

import ast
import importlib
import inspect
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1] / "src" / "halfsplit"
MODULES = sorted(ROOT.rglob("*.py"))
LAYERS = (
    "quantity",
    "circuit",
    "parts",
    "assembly",
    "faults",
    "diagnosis",
    "bringup",
    "boards",
    "pictures",
    "bench",
    "api",
    "report",
    "web",
    "cli",
)
# Packages off the ladder, and what each may import besides problems, svg and the version.
ASIDE: dict[str, tuple[str, ...]] = {
    "catalogue": (),
    "instruments": ("quantity",),
    "journal": (),
    "problems": (),
    "svg": (),
    "": (),
}
# Faces: they alone may reach for an instrument, as they alone meet the person who holds its probes.
FACES = ("cli", "web")
LONGEST = 400


def _allowed(package: str) -> set[str]:
    """Packages that one in `package` may import."""
    if package in LAYERS:
        found = set(LAYERS[: LAYERS.index(package) + 1])
        found |= {"journal"} if package == "bench" else set()
        found |= {"instruments"} if package in FACES else set()
    else:
        found = {package, *ASIDE[package]}
    return found | {"problems", "svg", ""}


def _guarded(tree: ast.Module) -> set[int]:
    """Ids of nodes under ``if TYPE_CHECKING``: imports for names in annotations only."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING"):
            found |= {id(inner) for line in node.body for inner in ast.walk(line)}
    return found


def _imports(tree: ast.Module, where: str) -> Iterator[tuple[ast.stmt, str]]:
    """Every import of the package, at any depth, as (node, dotted name)."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                base = ".".join([*where.split(".")[: -node.level], *([base] if base else [])])
            names = [f"{base}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("import_module"):
            first = node.args[0] if node.args else None
            names = [str(first.value)] if isinstance(first, ast.Constant) else []
        else:
            continue
        for name in names:
            if name.partition(".")[0] == "halfsplit":
                yield node, name  # type: ignore[misc]


def violations(source: str, where: str) -> list[str]:
    """Imports of the module `where` (dotted, ending in the module's own name) that go up."""
    tree = ast.parse(source)
    package = [*where.split("."), ""][1] if where != "halfsplit.__init__" else ""
    guarded = _guarded(tree)
    found = []
    for node, name in _imports(tree, where):
        steps = name.split(".")
        target = steps[1] if len(steps) > 1 else ""
        if target not in {*LAYERS, *ASIDE}:
            target = ""  # a name of the top package, such as __version__
        faces = package in ("cli", "web")
        types_only = target == "journal" and faces and id(node) in guarded
        if target not in _allowed(package) and not types_only:
            found.append(f"{where}:{node.lineno} imports {name}")
    return found


def _dotted(path: Path) -> str:
    return ".".join(("halfsplit", *path.relative_to(ROOT).with_suffix("").parts))


def test_every_package_has_its_place() -> None:
    there = {p.parent.name for p in ROOT.glob("*/__init__.py")}
    there |= {p.stem for p in ROOT.glob("*.py")} - {"__init__", "__main__"}
    assert there == {*LAYERS, *ASIDE} - {""}


@pytest.mark.parametrize("path", MODULES, ids=_dotted)
def test_imports_go_one_way(path: Path) -> None:
    assert violations(path.read_text(encoding="utf-8"), _dotted(path)) == []


@pytest.mark.parametrize(
    ("where", "source"),
    [
        ("halfsplit.circuit.op", "from halfsplit.parts.base import Part"),
        ("halfsplit.circuit.op", "import halfsplit.assembly.model as m"),
        ("halfsplit.quantity.show", "from halfsplit import circuit"),
        ("halfsplit.parts.base", "def f():\n    from halfsplit.faults import hypotheses"),
        ("halfsplit.parts.kinds.npn", "from ...assembly import file"),
        ("halfsplit.assembly.file", "try:\n    import halfsplit.bench\nexcept ImportError: pass"),
        ("halfsplit.faults.dictionary", "from halfsplit.diagnosis.posterior import Belief"),
        ("halfsplit.diagnosis.groups", "from halfsplit.journal import Journal"),
        ("halfsplit.bench.report", "from halfsplit.cli import show"),
        ("halfsplit.cli.app", "from halfsplit.journal import Journal"),
        ("halfsplit.journal.journal", "from halfsplit.quantity import show"),
        ("halfsplit.catalogue.__init__", "from halfsplit.parts import base"),
        ("halfsplit.problems", "from halfsplit.quantity import parse"),
        ("halfsplit.instruments.hold", "from halfsplit.journal import Journal"),
        ("halfsplit.instruments.scpi_dmm.__init__", "from halfsplit.diagnosis import meters"),
        ("halfsplit.bench.session", "from halfsplit.instruments import Live"),
        ("halfsplit.journal.journal", "import halfsplit.instruments"),
        ("halfsplit.bench.x", "import importlib\nimportlib.import_module('halfsplit.cli.app')"),
        (
            "halfsplit.circuit.op",
            "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import halfsplit.parts.base",
        ),
    ],
)
def test_a_planted_import_is_caught(where: str, source: str) -> None:
    assert len(violations(source, where)) == 1


@pytest.mark.parametrize(
    ("where", "source"),
    [
        ("halfsplit.circuit.op", "from halfsplit.problems import HalfsplitError"),
        ("halfsplit.faults.dictionary", "from halfsplit import __version__"),
        ("halfsplit.bench.session", "from halfsplit.journal import Journal"),
        ("halfsplit.parts.kinds.npn", "from ..base import Part"),
        ("halfsplit.instruments.said", "from halfsplit.quantity import show"),
        ("halfsplit.cli.instruments", "from halfsplit.instruments import Live"),
        (
            "halfsplit.cli.show",
            "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import halfsplit.journal",
        ),
    ],
)
def test_a_rightful_import_is_let_through(where: str, source: str) -> None:
    assert violations(source, where) == []


@pytest.mark.parametrize("path", MODULES, ids=_dotted)
def test_modules_are_short_and_say_what_they_are(path: Path) -> None:
    source = path.read_text(encoding="utf-8")
    assert len(source.splitlines()) <= LONGEST
    assert ast.get_docstring(ast.parse(source)), "no module docstring"


def undocumented(source: str) -> list[str]:
    """Public classes and module-level functions without a docstring."""
    nodes = ast.parse(source).body
    kinds = (ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    public = [n for n in nodes if isinstance(n, kinds) and not n.name.startswith("_")]
    return [n.name for n in public if not ast.get_docstring(n)]


@pytest.mark.parametrize("path", MODULES, ids=_dotted)
def test_public_names_are_documented(path: Path) -> None:
    assert undocumented(path.read_text(encoding="utf-8")) == []


def test_a_bare_function_is_caught() -> None:
    source = '"""Module."""\ndef f(): ...\nclass C: ...\ndef _g(): ...\ndef h():\n    """Says."""\n'
    assert undocumented(source) == ["f", "C"]


@pytest.mark.parametrize("path", MODULES, ids=_dotted)
def test_public_methods_are_documented_here_or_in_their_base(path: Path) -> None:
    module = importlib.import_module(_dotted(path).removesuffix(".__init__"))
    bare = []
    for name, kind in vars(module).items():
        if not inspect.isclass(kind) or kind.__module__ != module.__name__ or name[0] == "_":
            continue
        for member, value in vars(kind).items():
            plain = inspect.isfunction(value) or isinstance(value, (property, staticmethod))
            if plain and member[0] != "_" and not inspect.getdoc(getattr(kind, member)):
                bare.append(f"{name}.{member}")
    assert bare == []

"""The layout of the code, held: layers in order, no cycles, pure engines, declared names, late imports.

Everything is read from the source text with ``ast``; nothing is imported.
"""

from __future__ import annotations

import ast
import graphlib
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import pytest

ROOT: Final = Path(__file__).parent.parent
LAYERS: Final = (
    "standards", "records", "site", "wiring", "circuit", "choose", "rules", "steps", "documents", "cli",
)  # fmt: skip
# Modules of the package itself, outside every layer. `_version` and `unchanging` are below all, `__main__` above all.
BELOW: Final = frozenset({"interop", "interop._version", "interop.unchanging"})
ABOVE: Final = frozenset({"interop.__main__"})

READERS: Final = frozenset({"interop.records.catalog", "interop.site.load"})
READING: Final = frozenset({"open", "read_text", "read_bytes"})
WRITING: Final = frozenset({"print", "input", "write_text", "write_bytes", "mkdir", "unlink", "rename"})
CLOCKS: Final = frozenset({"now", "today", "utcnow", "time", "monotonic", "perf_counter"})
SURROUNDINGS: Final = frozenset({"environ", "getenv", "getcwd"})
NOT_IN_ENGINES: Final = frozenset(
    {"click", "rich", "time", "random", "secrets", "uuid", "locale", "socket", "subprocess", "logging"}
)
HEAVY: Final = frozenset(
    {"networkx", "scipy", "numpy", "typst", "graphviz", "pygraphviz", "pydantic", "jinja2", "segno"}
)


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


SOURCES: Final = {module_name(path): path for path in sorted((ROOT / "interop").rglob("*.py"))}
TREES: Final = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in SOURCES.items()}
ENGINES: Final = [name for name in TREES if name not in BELOW | ABOVE and name.split(".")[1] != "cli"]
COMMANDS: Final = [name for name in TREES if name.split(".")[1:2] == ["cli"]]


def imported_by(node: ast.AST) -> list[str]:
    """Full names that one import statement brings in: ``from a import b`` brings in ``a.b``."""
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        assert node.level == 0, "imports are absolute"
        assert node.module is not None
        return [f"{node.module}.{alias.name}" for alias in node.names]
    return []


def own_module(name: str) -> str:
    """The module of ours that a full name stands in."""
    while name not in SOURCES:
        name, dot, _ = name.rpartition(".")
        assert dot, "not one of our modules"
    return name


def own_imports(module: str) -> set[str]:
    """Modules of ours that a module imports, early or late, its own package's names included."""
    names = (name for node in ast.walk(TREES[module]) for name in imported_by(node))
    return {own_module(name) for name in names if name.split(".")[0] == "interop"}


def rank(module: str) -> int:
    if module in BELOW:
        return -1
    if module in ABOVE:
        return len(LAYERS)
    layer = module.split(".")[1]
    assert layer in LAYERS, f"{module} stands in no layer"
    return LAYERS.index(layer)


def called_names(tree: ast.AST) -> Iterator[tuple[str, int]]:
    """The last name of every call, with its line: ``open`` of ``path.open()`` and of ``open()``."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name):
                yield node.func.id, node.lineno
            elif isinstance(node.func, ast.Attribute):
                yield node.func.attr, node.lineno


def early_imports(body: list[ast.stmt]) -> Iterator[str]:
    """Names imported as soon as the module is: everything outside functions, except for type checking."""
    for node in body:
        yield from imported_by(node)
        if isinstance(node, ast.If) and ast.unparse(node.test).endswith("TYPE_CHECKING"):
            yield from early_imports(node.orelse)
        elif not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            for inner in ("body", "orelse", "finalbody"):
                yield from early_imports(getattr(node, inner, []))
            for handler in getattr(node, "handlers", []):
                yield from early_imports(handler.body)


def test_every_layer_stands() -> None:
    assert {f"interop.{layer}" for layer in LAYERS} <= SOURCES.keys()


@pytest.mark.parametrize("module", TREES)
def test_a_module_imports_only_its_own_layer_and_those_below(module: str) -> None:
    above = {name for name in own_imports(module) if rank(name) > rank(module)}
    assert above == set()


def test_no_import_cycle() -> None:
    graph = {module: own_imports(module) - {module} for module in TREES}
    graphlib.TopologicalSorter(graph).prepare()  # raises CycleError and names the cycle


@pytest.mark.parametrize("module", ENGINES)
def test_an_engine_imports_no_edge(module: str) -> None:
    found = {name.split(".")[0] for node in ast.walk(TREES[module]) for name in imported_by(node)}
    assert found & NOT_IN_ENGINES == set()


@pytest.mark.parametrize("module", ENGINES)
def test_an_engine_is_pure(module: str) -> None:
    """No file, no output, no clock, no surroundings. Package data of documents comes as resources."""
    forbidden = WRITING | CLOCKS | (frozenset() if module in READERS else READING)
    if module.startswith("interop.documents") and imports_resources(module):
        forbidden -= {"read_text", "read_bytes"}
    calls = {(name, line) for name, line in called_names(TREES[module]) if name in forbidden}
    touched = {
        (node.attr, node.lineno)
        for node in ast.walk(TREES[module])
        if isinstance(node, ast.Attribute) and node.attr in SURROUNDINGS
    }
    assert calls | touched == set()


def imports_resources(module: str) -> bool:
    names = {name for node in ast.walk(TREES[module]) for name in imported_by(node)}
    return any(name.startswith("importlib.resources") for name in names) and not any(
        name.startswith("pathlib") for name in names
    )


@pytest.mark.parametrize("module", [name for name, path in SOURCES.items() if path.stem != "__init__"])
def test_a_module_declares_its_names(module: str) -> None:
    declared = [
        node
        for node in TREES[module].body
        if (isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__")
        or (isinstance(node, ast.AnnAssign) and ast.unparse(node.target) == "__all__")
    ]
    assert len(declared) == 1


@pytest.mark.parametrize("module", COMMANDS)
def test_a_command_imports_the_heavy_parts_late(module: str) -> None:
    early = {name.split(".")[0] for name in early_imports(TREES[module].body)}
    assert early & HEAVY == set()

"""How the house is built: which room may know which, what an import costs, and how long a file may get."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from fnmatch import fnmatch
from functools import cache
from pathlib import Path
from shutil import which

import pytest

ROOT = Path(__file__).resolve().parents[1]
SHIPPED = sorted([*(ROOT / "railmodel").rglob("*.py"), *(ROOT / "exporters").rglob("*.py")])

HEAVY = {"cadquery", "OCP", "vtk", "vtkmodules", "trimesh", "scipy.optimize", "ezdxf", "starlette"}
PAGE_LIBRARIES = {"starlette", "uvicorn", "jinja2"}
MAY_NOT_KNOW = {
    # a room, and the rooms it must not know; a name stands for everything below it
    "railmodel.geometry": {
        "railmodel.job", "railmodel.part", "railmodel.frame", "railmodel.units", "railmodel.findings",
    },
    "railmodel.job": {"railmodel.frame"},
    "railmodel.part": {"railmodel.job", "railmodel.frame"},
    "railmodel.bending": {"railmodel.fitting"},
    "railmodel.fitting": {"railmodel.bending"},
    "exporters": {"railmodel.app"},
}  # fmt: skip
LOWER = ("railmodel.geometry", "railmodel.job", "railmodel.part")
UPPER = {"railmodel.bending", "railmodel.fitting", "railmodel.as_bent", "railmodel.loading", "railmodel.checks"}
AT_THE_TOP = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml",
    "railmodel", "exporters", "tests", "demo_jobs",
    ".ci", ".gitignore", ".gitattributes", ".editorconfig",
}  # fmt: skip


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def within(module: str, room: str) -> bool:
    return module == room or module.startswith(room + ".")


NAMES = {name_of(path) for path in SHIPPED}
FACES = {name for name in NAMES if within(name, "railmodel.app")} | {"railmodel.__main__"}
BELOW = {name for name in NAMES if within(name, "railmodel")} - FACES


@cache
def imports(path: Path) -> frozenset[str]:
    """Modules a file imports anywhere, those inside functions and for type checkers included."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports from the root of the package"
            assert node.module is not None
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                found.add(inner if inner in NAMES else node.module)
    return frozenset(found)


def room(name: str) -> set[str]:
    return {module for module in NAMES if within(module, name)}


def trespasses(modules: set[str], forbidden: set[str]) -> list[str]:
    return [
        f"{name_of(path)} imports {module}"
        for path in SHIPPED
        if name_of(path) in modules
        for module in sorted(imports(path))
        if any(within(module, other) for other in forbidden)
    ]


@pytest.mark.parametrize("name", MAY_NOT_KNOW)
def test_a_room_knows_only_the_rooms_below_it(name: str) -> None:
    assert trespasses(room(name), MAY_NOT_KNOW[name]) == []


@pytest.mark.parametrize("name", LOWER)
def test_what_a_rail_is_does_not_know_the_checks_made_on_it(name: str) -> None:
    assert trespasses(room(name), UPPER) == []


def test_nothing_below_the_two_faces_knows_them_or_what_leaves_the_shop() -> None:
    forbidden = {"railmodel.app", "exporters", "cadquery", "OCP", "typer", "rich", *PAGE_LIBRARIES}
    assert trespasses(BELOW, forbidden) == []


def test_the_solid_modeller_is_known_to_exporters_only() -> None:
    assert trespasses(room("railmodel"), {"cadquery", "OCP"}) == []


def test_no_two_modules_import_each_other_in_a_ring() -> None:
    graph = {name_of(path): imports(path) & NAMES for path in SHIPPED}
    done: set[str] = set()

    def walk(name: str, path: tuple[str, ...]) -> Iterator[str]:
        if name in path:
            yield " -> ".join([*path[path.index(name) :], name])
        elif name not in done:
            for other in sorted(graph[name]):
                yield from walk(other, (*path, name))
            done.add(name)

    assert [ring for name in sorted(graph) for ring in walk(name, ())] == []


def loaded_by(code: str) -> set[str]:
    """Names of all modules in a fresh interpreter after running some code."""
    run = [sys.executable, "-c", f"{code}\nimport sys\nprint(*sys.modules)"]
    return set(subprocess.run(run, cwd=ROOT, check=True, capture_output=True, text=True).stdout.split())


@pytest.mark.parametrize("module", ["railmodel", "railmodel.app.cli"])
def test_importing_the_program_loads_nothing_heavy(module: str) -> None:
    assert loaded_by(f"import {module}") & HEAVY == set()


@pytest.mark.parametrize("modules", [BELOW, room("exporters")], ids=["below the faces", "exporters"])
def test_importing_every_module_loads_nothing_heavy(modules: set[str]) -> None:
    assert loaded_by("import " + ", ".join(sorted(modules))) & HEAVY == set()


def length(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


def test_files_are_short_enough_to_read() -> None:
    written = [*SHIPPED, *(ROOT / "tests").rglob("*.py")]
    assert {str(path.relative_to(ROOT)): length(path) for path in written if length(path) > 500} == {}


def test_functions_and_classes_are_short_enough_to_read() -> None:
    too_long = []
    for path in SHIPPED:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                assert node.end_lineno is not None
                if (lines := node.end_lineno - node.lineno + 1) > 60:
                    too_long.append(f"{name_of(path)}.{node.name}: {lines} lines")
            if isinstance(node, ast.ClassDef):
                methods = [child for child in node.body if isinstance(child, ast.FunctionDef) and not is_value(child)]
                if len(methods) > 15:
                    too_long.append(f"{name_of(path)}.{node.name}: {len(methods)} methods")
    assert too_long == []


def is_value(method: ast.FunctionDef) -> bool:
    """Whether it is a property: a value by name, which does not make a class harder to hold in mind."""
    return any(isinstance(mark, ast.Name) and mark.id.endswith("property") for mark in method.decorator_list)


def kept() -> list[str]:
    """Files under version control; where there is no history or no git, what lies at the top and is not ignored."""
    listing = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
    if which("git") and (ROOT / ".git").exists():
        out = subprocess.run(listing, cwd=ROOT, check=True, capture_output=True, text=True).stdout
        return [name for name in out.split("\0") if name]
    ignored = [".git", *(line.rstrip("/") for line in (ROOT / ".gitignore").read_text(encoding="utf-8").split())]
    return [path.name for path in ROOT.iterdir() if not any(fnmatch(path.name, pattern) for pattern in ignored)]


def test_the_top_of_the_repository_holds_only_what_belongs_there() -> None:
    assert {name.split("/")[0] for name in kept()} - AT_THE_TOP == set()


def test_test_files_have_names_of_their_own_and_no_packages() -> None:
    names = [path.name for path in (ROOT / "tests").rglob("*.py") if path.name != "conftest.py"]
    assert sorted(names) == sorted(set(names))
    assert "__init__.py" not in names

"""The layers, the imports between them and the shape of the tree."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "routeplan"

LAYERS = (
    ("errors", "units"),
    ("geodesy", "route", "gpx", "coastline", "exposure"),
    ("forecast", "providers", "sampling", "wind", "waves", "sun", "tide", "thermal"),
    ("propulsion", "leeway", "simulation"),
    ("limits", "windows", "stops", "rules", "provisions", "plan"),
    ("report", "charts", "sheet", "cli"),
)
ORDER = {name: i for i, name in enumerate(n for layer in LAYERS for n in layer)}

# A private module works for one public one and stands in the order just before it.
PRIVATE = {}

MODULE_LINES = 400


def modules():
    return sorted(p for p in PACKAGE.rglob("*.py") if p.name != "__init__.py")


def owner(name):
    return PRIVATE.get(name, name)


def imported(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            if node.module == "routeplan":
                yield from (alias.name for alias in node.names)
            elif node.module.startswith("routeplan."):
                yield node.module.split(".")[1]
        elif isinstance(node, ast.Import):
            for alias in node.names:
                if alias.name.startswith("routeplan."):
                    yield alias.name.split(".")[1]


@pytest.mark.parametrize("path", modules(), ids=lambda p: p.stem)
def test_imports_point_to_earlier_modules(path):
    here = ORDER[owner(path.stem)]
    for other in imported(path):
        if other.startswith("__"):
            continue
        there = ORDER[owner(other)]
        assert there <= here, f"{path.stem} imports {other}, which stands after it"
        if there == here:
            assert other in PRIVATE, f"{path.stem} and {other} share a place in the order"


def test_no_import_cycle():
    graph = {p.stem: set(imported(p)) & {q.stem for q in modules()} for p in modules()}
    done, path = set(), []

    def visit(name):
        assert name not in path, f"import cycle: {' -> '.join([*path, name])}"
        if name in done:
            return
        path.append(name)
        for other in graph[name]:
            visit(other)
        path.pop()
        done.add(name)

    for name in graph:
        visit(name)


@pytest.mark.parametrize("path", modules(), ids=lambda p: p.stem)
def test_public_names_are_declared_and_sorted(path):
    if path.stem.startswith("_"):
        return
    tree = ast.parse(path.read_text(encoding="utf-8"))
    names = None
    for node in tree.body:
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__":
            names = ast.literal_eval(node.value)
    assert names is not None, f"{path.stem} has no __all__"
    assert names == sorted(names)


@pytest.mark.parametrize("path", modules(), ids=lambda p: p.stem)
def test_modules_stay_small(path):
    lines = len(path.read_text(encoding="utf-8").splitlines())
    assert lines <= MODULE_LINES, f"{path.stem} has {lines} lines"


def test_every_module_imports_alone():
    names = [f"routeplan.{p.stem}" for p in modules()]
    for name in names:
        run = subprocess.run(
            [sys.executable, "-W", "error", "-c", f"import {name}"], capture_output=True, text=True
        )
        assert run.returncode == 0, f"{name}: {run.stderr[-2000:]}"


def test_starting_up_loads_nothing_heavy():
    code = "import sys, routeplan.cli; print(' '.join(sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    heavy = {"xarray", "pandas", "geopandas", "matplotlib", "scipy", "cfgrib", "pyogrio", "bokeh"}
    assert not heavy & set(run.stdout.split())


def test_top_level_is_fixed():
    root = PACKAGE.parent
    run = subprocess.run(["git", "ls-files"], cwd=root, capture_output=True, text=True)
    if run.returncode != 0:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in run.stdout.splitlines()}
    allowed = {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "routeplan", "tests", "fixtures", "docs",
    }  # fmt: skip
    assert {name for name in top if not name.startswith(".")} <= allowed


@pytest.mark.parametrize(
    "command",
    [("ruff", "check", "."), ("ruff", "format", "--check", "."), ("mypy",)],
    ids=" ".join,
)
def test_lint_format_and_types(command):
    run = subprocess.run(
        [sys.executable, "-m", *command], cwd=PACKAGE.parent, capture_output=True, text=True
    )
    assert run.returncode == 0, run.stdout[-4000:] + run.stderr[-2000:]

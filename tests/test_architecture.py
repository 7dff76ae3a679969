"""The layers, the imports between them and the shape of the tree."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "routeplan"

LAYERS = (
    ("errors", "units"),
    ("geodesy", "route", "gpx", "coastline", "coastsource", "exposure"),
    ("wind", "forecast", "providers", "sampling", "sun", "thermal"),
    ("propulsion", "simulation", "waves", "leeway"),
    ("limits", "windows", "stops", "rules", "provisions", "plan", "tripfile"),
    ("report", "charts", "sheet", "gis", "page", "cli", "__main__"),
)
ORDER = {name: i for i, name in enumerate(n for layer in LAYERS for n in layer)}
PRESENTATION = {*LAYERS[-1], "_gis", "_html", "_page", "_sheet", "_show"}

MODULE_LINES = 400


def name_of(path):
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


MODULES = {
    name_of(p): p
    for p in sorted(PACKAGE.rglob("*.py"))
    if p.parent != PACKAGE or p.stem != "__init__"
}


def imported(name):
    """Names of the modules of the package that a module imports, wherever in it."""
    tree = ast.parse(MODULES[name].read_text(encoding="utf-8"))
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    inside = {f.removeprefix("routeplan.") for f in found if f.startswith("routeplan.")}
    return (inside & set(MODULES)) - {name}


GRAPH = {name: imported(name) for name in MODULES}


def is_private(name):
    return name.startswith("_") and name != "__main__"


def reached(name):
    """Public modules that a public one imports, itself or through private ones."""
    seen, queue = set(), [name]
    while queue:
        for other in GRAPH[queue.pop()] - seen:
            seen.add(other)
            if is_private(other):
                queue.append(other)
    return {other for other in seen if not is_private(other)}


def test_every_public_module_has_its_place():
    assert {name for name in MODULES if not is_private(name)} == set(ORDER)


@pytest.mark.parametrize("name", ORDER)
def test_imports_point_to_earlier_modules(name):
    later = {other for other in reached(name) if ORDER[other] >= ORDER[name]}
    assert not later, f"{name} reaches {sorted(later)}, which stand after it"


def test_no_import_cycle():
    done, path = set(), []

    def visit(name):
        assert name not in path, f"import cycle: {' -> '.join([*path, name])}"
        if name in done:
            return
        path.append(name)
        for other in GRAPH[name]:
            visit(other)
        path.pop()
        done.add(name)

    for name in GRAPH:
        visit(name)


def test_only_presentation_presents():
    for name, others in GRAPH.items():
        if name.split(".")[0] not in PRESENTATION:
            shown = {other for other in others if other.split(".")[0] in PRESENTATION}
            assert not shown, f"{name} imports {sorted(shown)}"


def rank(name):
    """Constants, then classes, then functions, each by name."""
    return (not name.isupper(), not name[:1].isupper(), name)


@pytest.mark.parametrize("name", [n for n in ORDER if n != "__main__"])
def test_public_names_are_declared_and_sorted(name):
    tree = ast.parse(MODULES[name].read_text(encoding="utf-8"))
    names = None
    for node in tree.body:
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__":
            names = ast.literal_eval(node.value)
    assert names is not None, f"{name} has no __all__"
    assert list(names) == sorted(names, key=rank)


@pytest.mark.parametrize("name", MODULES)
def test_modules_stay_small(name):
    lines = len(MODULES[name].read_text(encoding="utf-8").splitlines())
    assert lines <= MODULE_LINES, f"{name} has {lines} lines"


def test_every_module_imports_alone():
    # One interpreter each takes minutes; a fork each starts from the same empty package.
    code = """
import os, sys, warnings
import numpy, pyproj, numba, xarray, matplotlib.figure, typer, rich.console, scipy.optimize
warnings.simplefilter("error")
for name in sys.argv[1:]:
    if os.fork() == 0:
        try:
            __import__(name)
        except BaseException as error:
            sys.stderr.write(f"{name}: {error!r}\\n")
            sys.stderr.flush()
            os._exit(1)
        os._exit(0)
    if os.wait()[1]:
        sys.exit(1)
"""
    names = [f"routeplan.{name}" for name in MODULES if name != "__main__"]
    run = subprocess.run([sys.executable, "-c", code, *names], capture_output=True, text=True)
    assert run.returncode == 0, run.stderr[-2000:]


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

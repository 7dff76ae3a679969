"""What the quick commands load: libraries for weather, pictures and pages cost them a second."""

import json
import subprocess
import sys

import pytest

SLOW = {
    "astral", "bokeh", "cel", "eccodes", "geopandas", "jinja2", "matplotlib", "netCDF4", "numba",
    "pandas", "pyogrio", "requests", "scipy", "shapely", "starlette", "typst", "uvicorn",
    "xarray", "zarr",
}  # fmt: skip

ROUTE = """<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><rte>
<rtept lat="58.10" lon="11.30"><name>A</name></rtept>
<rtept lat="58.12" lon="11.20"><name>B</name></rtept></rte></gpx>"""

PROGRAM = """
import sys
from routeplan.cli import run
status = run(sys.argv[1:])
loaded = sorted({name.partition(".")[0] for name in sys.modules})
sys.stderr.write(" ".join(loaded))
raise SystemExit(status)
"""


def loaded_by(*arguments):
    run = subprocess.run(
        [sys.executable, "-c", PROGRAM, *arguments], capture_output=True, text=True, timeout=120,
        check=True,
    )  # fmt: skip
    return run.stdout, set(run.stderr.split())


@pytest.mark.parametrize("how", [[], ["--json"], ["--details"]])
def test_legs_load_no_library_they_do_not_need(tmp_path, how):
    route = tmp_path / "route.gpx"
    route.write_text(ROUTE)
    told, loaded = loaded_by("legs", str(route), *how)
    if how == ["--json"]:
        assert len(json.loads(told)["legs"]) == 1
    assert "numpy" in loaded
    assert not loaded & SLOW


def test_help_loads_neither_coast_nor_compiler():
    _, loaded = loaded_by("--help")
    assert not loaded & (SLOW | {"llvmlite"})

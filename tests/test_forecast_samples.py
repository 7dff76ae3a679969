"""Forecast files that nobody here wrote: the samples in the source distributions of packages.

Run by hand, on copies outside the repository:

    pip download --no-deps --no-binary cfgrib,pygrib,... cfgrib pygrib ... -d sdists
    unpack them all into one folder
    ROUTEPLAN_SAMPLES=folder ROUTEPLAN_SAMPLES_TABLE=table.md pytest tests/test_forecast_samples.py

The second variable is optional: the file that the table of results is written to.
"""

import contextlib
import os
import re
import warnings
from pathlib import Path

import numpy as np
import pyproj
import pytest

from routeplan._forecast.derive import derive
from routeplan._forecast.eccodes import load_eccodes
from routeplan._forecast.fields import Meta, RegularGrid, Request, to_si
from routeplan._forecast.grib import read_grib
from routeplan.errors import RouteplanError
from routeplan.forecast import open_forecast, open_forecast_guarded

SAMPLES = os.environ.get("ROUTEPLAN_SAMPLES", "")
SUFFIXES = {".grib", ".grib1", ".grib2", ".grb", ".grb1", ".grb2", ".nc", ".nc4", ".cdf", ".bin"}
pytestmark = [
    pytest.mark.heavy,
    pytest.mark.skipif(not SAMPLES, reason="set ROUTEPLAN_SAMPLES to a folder of sample files"),
]


def sample_files():
    root = Path(SAMPLES)
    seen = set()
    for path in sorted(root.rglob("*")):
        if not path.is_file() or path.suffix.lower() not in SUFFIXES:
            continue
        content = (path.name, path.stat().st_size)
        if content not in seen:  # packages keep several copies of one file
            seen.add(content)
            yield path


def result_of(path, opener=open_forecast):
    """("opened" or "refused", what is in it or why not); any other error goes through."""
    try:
        ds = opener(path)
    except RouteplanError as err:
        text = str(err)
        assert "\n" not in text
        assert str(path) in text
        return "refused", text.replace(f"{path}: ", "")
    sizes = " x ".join(str(n) for n in ds.sizes.values())
    return "opened", f"{sizes}: {', '.join(str(n) for n in ds.data_vars)}"


def test_every_sample_is_opened_or_refused_with_a_reason():
    rows = []
    for path in sample_files():
        outcome, detail = result_of(path)
        package = path.relative_to(SAMPLES).parts[0]
        rows.append(f"| {package} | {path.name} | {outcome} | {_short(detail)} |")
    assert len(rows) > 20
    assert any("| opened |" in row for row in rows)
    target = os.environ.get("ROUTEPLAN_SAMPLES_TABLE")
    if target:
        head = ["| package | file | result | detail |", "|---|---|---|---|"]
        Path(target).write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")


def test_components_in_files_of_their_own():
    """Some packages keep the two components of one wind in two files."""
    pairs = [
        (path, other)
        for path in Path(SAMPLES).rglob("10u*.grib")
        if (other := path.with_name(path.name.replace("10u", "10v"))).is_file()
    ]
    assert pairs
    for pair in pairs:
        ds = open_forecast(pair)
        assert {"eastward_wind", "northward_wind"} <= set(ds.data_vars)
        assert np.isfinite(ds.eastward_wind).all()


def test_values_are_those_that_cfgrib_reads():
    """Every field that is known, on a regular grid, against cfgrib's reading of the same file."""
    cfgrib = pytest.importorskip("cfgrib")
    checked = 0
    for path in sample_files():
        if path.suffix.startswith(".nc") or path.stat().st_size > 1_000_000:
            continue
        try:
            fields, _ = read_grib(path, Request())
        except RouteplanError:
            continue
        fields = [f for f in fields if isinstance(f.grid, RegularGrid) and f.time.size == 1]
        if not fields:
            continue
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            theirs = cfgrib.open_datasets(
                str(path), backend_kwargs={"indexpath": "", "errors": "ignore"}
            )
        for item in fields:
            checked += _compared(item, theirs)
    assert checked > 20


def _compared(item, theirs):
    """1 when a field of ours was found in cfgrib's datasets, and is the same there."""
    for ds in theirs:
        for name in ds.data_vars:
            field = ds[name].squeeze()
            same = field.attrs.get("GRIB_shortName") == item.label
            if not same or field.dims != ("latitude", "longitude") or item.data.shape[1] != 1:
                continue
            x = field.longitude.to_numpy()
            west = item.grid.longitude[0]
            field = field.assign_coords(longitude=west + (x - west + 1e-6) % 360.0 - 1e-6)
            field = field.sortby("latitude").sortby("longitude").to_numpy()
            mine = item.data[0, 0][:, : field.shape[1]]  # a closed grid repeats its first column
            if mine.shape == field.shape and np.nanmax(np.abs(mine - field)) <= 1e-6 * np.nanmax(
                np.abs(field)
            ):
                return 1
    return 0


def _short(detail):
    text = re.sub(r"; needed are .*|; fetch it again", "", detail).replace("|", "/")
    text = text.replace("no 10 m wind in this forecast (it holds ", "no 10 m wind (holds ")
    return text if len(text) <= 160 else text[:157] + "..."


def test_the_guarded_way_says_the_same():
    paths = [p for p in sample_files() if p.stat().st_size < 300_000][::12]
    assert len(paths) > 5
    for path in paths:
        assert result_of(path, open_forecast_guarded) == result_of(path)


def lambert_samples():
    """GRIB files whose first message has winds along the axes of a Lambert grid."""
    eccodes = load_eccodes()
    keys = ("LaDInDegrees", "LoVInDegrees", "Latin1InDegrees", "Latin2InDegrees")
    for path in sample_files():
        if b"GRIB" not in path.read_bytes()[:200]:
            continue
        with path.open("rb") as stream, contextlib.suppress(eccodes.CodesInternalError):
            handle = eccodes.codes_grib_new_from_file(stream)
            if handle is None:
                continue
            kind = eccodes.codes_get(handle, "gridType")
            if kind == "lambert" and eccodes.codes_get(handle, "uvRelativeToGrid"):
                yield path, [eccodes.codes_get_double(handle, key) for key in keys]
            eccodes.codes_release(handle)


def test_grid_relative_winds_of_real_files_against_pyproj():
    """Raw components turned by PROJ's meridian convergence, against ours, at the grid's points."""
    checked = 0
    for path, (lat_0, lon_0, lat_1, lat_2) in lambert_samples():
        fields, _ = read_grib(path, Request())
        best = {f.name: to_si(f) for f in fields if f.name in ("x_wind", "y_wind")}
        if len(best) < 2:
            continue
        x, y = best["x_wind"], best["y_wind"]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            proj = pyproj.Proj(
                f"+proj=lcc +lat_0={lat_0} +lon_0={lon_0} +lat_1={lat_1} +lat_2={lat_2} +R=6371229"
            )
            factors = proj.get_factors(x.grid.longitude, x.grid.latitude)
        turn = np.radians(factors.meridian_convergence)
        east = x.data * np.cos(turn) + y.data * np.sin(turn)
        north = y.data * np.cos(turn) - x.data * np.sin(turn)
        derive(best, Meta(), path)
        assert np.abs(np.degrees(turn)).max() > 5.0
        assert np.nanmax(np.abs(best["eastward_wind"].data - east)) < 0.01
        assert np.nanmax(np.abs(best["northward_wind"].data - north)) < 0.01
        assert np.nanmax(np.abs(x.data - east)) > 0.5  # unturned they differ
        checked += 1
    assert checked >= 1

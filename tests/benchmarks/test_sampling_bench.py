"""Headwind along a route for every launch, against the same with xarray's interp in a loop."""

import importlib.util
import os
import time
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from routeplan.geodesy import inverse
from routeplan.sampling import at_points, sample_series
from routeplan.wind import headwind_crosswind

ROOT = Path(__file__).resolve().parents[2]
PEERS = Path(os.environ.get("ROUTEPLAN_PEERS", ROOT.parent / "shared" / "peers"))
SPEED_MS = 1.5


@pytest.fixture(scope="module")
def baseline():
    path = PEERS / "launch_scan.py"
    if not path.is_file():
        pytest.skip(f"no baseline at {path}; set ROUTEPLAN_PEERS")
    spec = importlib.util.spec_from_file_location("launch_scan", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.launch_scan


@pytest.fixture(scope="module")
def scan():
    """A forecast of five days by the hour, 24 legs of a kilometre or two, 240 launches."""
    rng = np.random.default_rng(1)
    lat, lon = np.arange(57.0, 60.01, 0.25), np.arange(9.0, 13.01, 0.25)
    hours = np.datetime64("2026-06-01", "ns") + np.arange(121) * np.timedelta64(1, "h")
    dims = ("time", "latitude", "longitude")
    shape = (hours.size, lat.size, lon.size)
    names = ("eastward_wind", "northward_wind")
    forecast = xr.Dataset(
        {name: (dims, rng.normal(0, 6, shape)) for name in names},
        {"time": hours, "latitude": lat, "longitude": lon},
    )
    x, y = np.linspace(11.0, 11.3, 25), np.linspace(58.1, 58.4, 25)
    course, length = inverse(x[:-1], y[:-1], x[1:], y[1:])
    middle = (x[:-1] + x[1:]) / 2, (y[:-1] + y[1:]) / 2
    launches = hours[0] + np.arange(240) * np.timedelta64(20, "m")
    return forecast, *middle, course, length, launches


def headwinds(forecast, lon, lat, course, length, launches):
    series = sample_series(forecast, lon, lat, names=["eastward_wind", "northward_wind"])
    enter = np.concatenate([[0.0], np.cumsum(length)[:-1]]) / SPEED_MS
    middle = ((enter + length / SPEED_MS / 2) * 1e9).astype("timedelta64[ns]")
    when = launches[:, np.newaxis] + middle
    u, v = (at_points(field, series.time, when)[:, :, 0] for field in series.values.values())
    return headwind_crosswind(u, v, course)[0]


def best_of(function, runs):
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return min(times)


def test_launch_scan_against_baseline(baseline, scan, record_property):
    mine = headwinds(*scan)
    theirs = baseline(*scan[:5], SPEED_MS, scan[5])
    assert mine.shape == theirs.shape == (240, 24)
    assert np.isfinite(theirs).all()
    assert np.abs(mine - theirs).max() < 1e-9
    fast = best_of(lambda: headwinds(*scan), 5)
    slow = best_of(lambda: baseline(*scan[:5], SPEED_MS, scan[5]), 1)
    record_property("ratio", slow / fast)
    assert slow / fast > 50.0, f"{slow:.3f} s against {fast:.4f} s"


def test_bench_launch_scan(benchmark, scan):
    assert np.isfinite(benchmark(headwinds, *scan)).all()


def test_bench_many_points_and_members(benchmark):
    """A thousand points, ten days by the hour, 31 members."""
    rng = np.random.default_rng(2)
    lat, lon = np.arange(57.0, 59.01, 0.25), np.arange(10.0, 12.01, 0.25)
    hours = np.datetime64("2026-06-01", "ns") + np.arange(240) * np.timedelta64(1, "h")
    dims = ("time", "number", "latitude", "longitude")
    shape = (hours.size, 31, lat.size, lon.size)
    forecast = xr.Dataset(
        {"eastward_wind": (dims, rng.normal(0, 6, shape))},
        {"time": hours, "latitude": lat, "longitude": lon},
    )
    x, y = rng.uniform(10, 12, 1000), rng.uniform(57, 59, 1000)
    series = benchmark.pedantic(sample_series, (forecast, x, y), rounds=1)
    assert series.values["eastward_wind"].shape == (1000, 240, 31)

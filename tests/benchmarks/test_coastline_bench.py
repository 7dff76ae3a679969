"""How fast the coastline answers, beside a baseline of general-purpose libraries.

The baseline, geopandas for distance and shapely for fetch, lies outside the project: in the
folder that ROUTEPLAN_PEERS names, or in `../shared/peers` beside the checkout. It is given its
segments of shoreline for free. Both answer for the same places in the archipelago of Bohuslän.
"""

import importlib
import os
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from routeplan.coastline import Coastline

CHECKOUT = Path(__file__).parents[2]
BOX = (10.9, 57.8, 11.5, 58.6)  # the outer skerries and the open sea before them


def folder_of_peers():
    return Path(os.environ.get("ROUTEPLAN_PEERS", CHECKOUT.parent / "shared" / "peers"))


def peer(name):
    folder = folder_of_peers()
    if not (folder / f"{name}.py").is_file():
        pytest.skip(f"no baseline {name}.py in {folder}; name its folder in ROUTEPLAN_PEERS")
    sys.path.insert(0, str(folder))
    try:
        return getattr(importlib.import_module(name), name)
    finally:
        sys.path.remove(str(folder))


@pytest.fixture(scope="module")
def coast():
    coast = Coastline.default()
    coast.fetch_length([11.0], [58.0], [0.0])  # compiled and mapped
    return coast


def places(count):
    rng = np.random.default_rng(58)
    west, south, east, north = BOX
    return rng.uniform(west, east, count), rng.uniform(south, north, count)


def water_places(coast, count):
    lon, lat = places(10 * count)
    water = np.flatnonzero(~coast.is_land(lon, lat))[:count]
    return lon[water], lat[water]


def segments(coast, margin_lon, margin_lat):
    west, south, east, north = BOX
    box = (west - margin_lon, south - margin_lat, east + margin_lon, north + margin_lat)
    return np.concatenate([np.stack([c[:-1], c[1:]], axis=1) for c in coast.shoreline(*box)])


def timed(function, *args):
    """Answer and best time of up to three runs, fewer if they take long."""
    best, total = np.inf, 0.0
    for _ in range(3):
        start = time.perf_counter()
        answer = function(*args)
        took = time.perf_counter() - start
        best, total = min(best, took), total + took
        if total > 5.0:
            break
    return answer, best


def note(benchmark, baseline_s, at_least):
    """Put the ratio into the report, and require it where times are taken at all."""
    if benchmark.stats is None:
        return
    ratio = baseline_s / benchmark.stats.stats.min
    benchmark.extra_info["times_as_fast_as_baseline"] = round(ratio, 1)
    benchmark.extra_info["baseline_s"] = round(baseline_s, 3)
    assert ratio >= at_least


@pytest.mark.parametrize(
    ("count", "at_least"),
    [
        pytest.param(100, 10, id="100"),
        pytest.param(10_000, 10, id="10,000"),
        pytest.param(1_000_000, 2, id="1,000,000", marks=pytest.mark.heavy),
    ],
)
def test_distance_to_shore(benchmark, coast, count, at_least):
    baseline = peer("shore_distance")
    lon, lat = places(count)
    shores = segments(coast, 0.7, 0.4)
    theirs, baseline_s = timed(baseline, shores, lon, lat)
    ours = benchmark(coast.distance_to_shore, lon, lat)
    # one projection for all places is some centimetres in a kilometre off
    np.testing.assert_allclose(ours, theirs, atol=1.0, rtol=1e-4)
    note(benchmark, baseline_s, at_least)


@pytest.mark.parametrize(
    ("directions", "limit_m"),
    [
        pytest.param(36, 40_000.0, id="36 directions, 40 km"),
        pytest.param(36, 100_000.0, id="36 directions, 100 km"),
        pytest.param(360, 40_000.0, id="360 directions, 40 km", marks=pytest.mark.heavy),
        pytest.param(360, 100_000.0, id="360 directions, 100 km", marks=pytest.mark.heavy),
    ],
)
def test_fetch_length(benchmark, coast, directions, limit_m):
    baseline = peer("fetch_rays")
    lon, lat = water_places(coast, 20)
    bearing = np.arange(0.0, 360.0, 360.0 / directions)
    reach = limit_m / 100_000.0
    shores = segments(coast, 1.8 * reach, 0.95 * reach)
    _, baseline_s = timed(baseline, shores, lon, lat, bearing, limit_m)
    ours = benchmark(coast.fetch_length, lon, lat, bearing, limit_m)
    # only rays from the middle of the baseline's projection are geodesics, so answers are
    # compared for one place at a time; edges are straight there, which may hide a skerry's tip
    for i in range(0, 20, 7):
        theirs = baseline(shores, lon[i : i + 1], lat[i : i + 1], bearing, limit_m)
        close = np.abs(ours[i] - theirs[0]) < 0.5
        assert close.mean() > 0.97
    note(benchmark, baseline_s, 50)


@pytest.mark.parametrize("directions", [36, 360])
@pytest.mark.parametrize("limit_m", [40_000.0, 100_000.0])
def test_rays_a_second(benchmark, coast, directions, limit_m):
    lon, lat = water_places(coast, 1000)
    bearing = np.arange(0.0, 360.0, 360.0 / directions)
    fetch = benchmark(coast.fetch_length, lon, lat, bearing, limit_m)
    assert fetch.shape == (1000, directions)
    assert ((fetch > 0.0) & (fetch <= limit_m)).all()
    if benchmark.stats is None:
        return
    took = []
    for _ in range(5):
        start = time.process_time()
        coast.fetch_length(lon, lat, bearing, limit_m)
        took.append(time.process_time() - start)
    # of processor time, which other work on the machine disturbs less; one core is used
    benchmark.extra_info["rays_per_core_s"] = round(fetch.size / min(took))

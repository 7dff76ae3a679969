"""How fast a launch scan is, beside wind along the route by xarray's interp in a loop.

The baseline lies outside the project: in the folder that ROUTEPLAN_PEERS names, or in
`../shared/peers` beside the checkout. It paddles at constant speed and reads the wind only; the
scan here reads and paddles through wind, sea and current, with the ferry angle held. Times are of
one core (process time), the best of some runs; they are held to the mark only when asked for:

    pytest tests/benchmarks/test_launch_bench.py --benchmark-enable
"""

import importlib.util
import os
import time
import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from passagemaker import days, point_series

from routeplan.geodesy import inverse
from routeplan.limits import Limits
from routeplan.propulsion import craft
from routeplan.sampling import sample_series
from routeplan.simulation import Path as StagePath
from routeplan.simulation import simulate
from routeplan.windows import scan_launches

ROOT = Path(__file__).resolve().parents[2]
PEERS = Path(os.environ.get("ROUTEPLAN_PEERS", ROOT.parent / "shared" / "peers"))
SPEED_MS = 1.5
BOARD = craft("touring board")
WHOLE = {"launches": 240, "steps": 100, "members": 50}


@pytest.fixture(scope="module")
def baseline():
    path = PEERS / "launch_scan.py"
    if not path.is_file():
        pytest.skip(f"no baseline at {path}; set ROUTEPLAN_PEERS")
    spec = importlib.util.spec_from_file_location("launch_scan", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.launch_scan


def best_of(runs, work):
    """Shortest process time of some runs [s], and the last answer."""
    times = []
    for _ in range(runs):
        begun = time.process_time()
        answer = work()
        times.append(time.process_time() - begun)
    return min(times), answer


def forecast_of(members=None, seed=1):
    """Five and a half days by the hour on a quarter of a degree."""
    rng = np.random.default_rng(seed)
    lat, lon = np.arange(57.0, 60.01, 0.25), np.arange(9.0, 13.01, 0.25)
    hours = np.datetime64("2026-06-21", "ns") + np.arange(133) * np.timedelta64(1, "h")
    dims, shape = ("time", "latitude", "longitude"), (hours.size, lat.size, lon.size)
    coords = {"time": hours, "latitude": lat, "longitude": lon}
    if members:
        dims, shape = ("number", *dims), (members, *shape)
        coords["number"] = np.arange(members)

    def field(scale, smooth=6):
        """Smooth in time, as forecasts are."""
        raw = rng.normal(
            0.0, scale * np.sqrt(smooth), (*shape[:-3], shape[-3] + smooth, *shape[-2:])
        )
        total = np.cumsum(raw, axis=-3)
        return (dims, (total[..., smooth:, :, :] - total[..., :-smooth, :, :]) / smooth)

    fields = {"eastward_wind": field(3), "northward_wind": field(3)}
    height = field(0.2)
    fields["sea_surface_wave_significant_height"] = (dims, np.abs(height[1]))
    fields["eastward_sea_water_velocity"] = field(0.1)
    fields["northward_sea_water_velocity"] = field(0.1)
    return xr.Dataset(fields, coords)


def line_of(steps, legs=None):
    """A line of 24 km in the archipelago, cut into steps and legs."""
    x, y = np.linspace(11.0, 11.25, steps + 1), np.linspace(58.1, 58.27, steps + 1)
    course, length = inverse(x[:-1], y[:-1], x[1:], y[1:])
    middle = (x[:-1] + x[1:]) / 2, (y[:-1] + y[1:]) / 2
    leg = np.arange(steps) * (legs or steps) // steps
    return StagePath(*middle, course, length, leg, np.full(steps, 300.0))


def launches_of(count):
    step = np.timedelta64(96 * 3600 // count, "s")
    return np.datetime64("2026-06-21", "ns") + np.arange(count) * step


@pytest.fixture(scope="module")
def ensemble():
    return forecast_of(members=50)


def series_for(ensemble, path, members):
    chosen = ensemble.isel(number=slice(0, members))
    return sample_series(chosen, path.longitude, path.latitude)


on_one_core = pytest.mark.benchmark(timer=time.process_time)


def timed(benchmark, **figures):
    """Shortest time [s] with figures noted beside it; None when nothing is being timed."""
    benchmark.extra_info.update(figures)
    return None if benchmark.stats is None else benchmark.stats.stats.min


@on_one_core
def test_a_scan_of_240_launches_100_steps_and_50_members(benchmark, ensemble):
    path = line_of(100, legs=10)
    series = series_for(ensemble, path, 50)
    launches = launches_of(240)
    simulate(path, series, BOARD, launches[:2])  # compiled
    passage = benchmark.pedantic(simulate, (path, series, BOARD, launches), rounds=5)
    assert np.isfinite(passage.speed_over_ground_ms).mean() > 0.5
    seconds = timed(benchmark)
    if seconds is not None:
        benchmark.extra_info["ns_a_step"] = round(seconds / (240 * 100 * 50) * 1e9)
        assert seconds < 1.0


@on_one_core
def test_a_launch_and_leg_of_a_member_beside_the_baseline(benchmark, baseline, ensemble):
    path = line_of(100)
    series = series_for(ensemble, path, 50)
    launches = launches_of(240)
    simulate(path, series, BOARD, launches[:2])  # compiled
    benchmark.pedantic(simulate, (path, series, BOARD, launches), rounds=5)
    seconds = timed(benchmark)
    if seconds is not None:
        forecast = ensemble.isel(number=0).drop_vars("number")
        slow, _ = best_of(1, lambda: baseline(forecast, *line_args(path), launches))
        ratio = slow / (240 * 100) / (seconds / (240 * 100 * 50))
        benchmark.extra_info.update(baseline_s=round(slow, 2), times_as_fast=round(ratio))
        assert ratio > 200.0


@on_one_core
def test_one_forecast_read_and_paddled_beside_the_baseline(benchmark, baseline, ensemble):
    path = line_of(100)
    forecast = ensemble.isel(number=0).drop_vars("number")
    launches = launches_of(240)

    def read_and_paddle():
        series = sample_series(forecast, path.longitude, path.latitude)
        return simulate(path, series, BOARD, launches)

    read_and_paddle()  # compiled
    benchmark.pedantic(read_and_paddle, rounds=5)
    seconds = timed(benchmark)
    if seconds is not None:
        slow, _ = best_of(1, lambda: baseline(forecast, *line_args(path), launches))
        benchmark.extra_info.update(baseline_s=round(slow, 2), times_as_fast=round(slow / seconds))
        assert slow / seconds > 50.0


def line_args(path):
    return path.longitude, path.latitude, path.course_deg, path.length_m, SPEED_MS


def test_the_same_answer_as_the_baseline(baseline, ensemble):
    path = line_of(100)
    forecast = ensemble.isel(number=0).drop_vars("number")
    launches = launches_of(240)[:120:6]
    expected = baseline(forecast, *line_args(path), launches)
    # A craft that neither wind nor waves touch goes at constant speed, as the baseline does.
    steady = replace(
        craft("sea kayak"), still_water_speed_ms=SPEED_MS, frontal_area_drag_m2=0.0,
        leeway_share=0.0,
    )  # fmt: skip
    wind = forecast[["eastward_wind", "northward_wind"]]
    series = sample_series(wind, path.longitude, path.latitude)
    found = simulate(path, series, steady, launches).headwind_ms[:, :, 0]
    assert np.abs(found - expected).max() < 1e-3


@on_one_core
@pytest.mark.parametrize("name", list(WHOLE))
def test_cost_grows_no_faster_than_each_dimension(benchmark, ensemble, name):
    half = {"launches": 120, "steps": 50, "members": 25}

    def case(launches, steps, members):
        path = line_of(steps, legs=10)
        return path, series_for(ensemble, path, members), BOARD, launches_of(launches)

    small, large = case(**half), case(**{**half, name: WHOLE[name]})
    base, _ = best_of(3, lambda: simulate(*small))
    benchmark.pedantic(simulate, large, rounds=3)
    seconds = timed(benchmark)
    if seconds is not None:
        benchmark.extra_info["times_for_twice_as_many"] = round(seconds / base, 2)
        assert seconds / base < 3.0


@on_one_core
def test_judged_tried_late_and_slow_and_refined(benchmark, ensemble):
    path = line_of(100, legs=10)
    series = series_for(ensemble, path, 50)
    light = days(3.0, 21.0, 6)
    launches = launches_of(240)

    def scan():
        return scan_launches(path, series, BOARD, Limits(), launches, daylight=light)

    found = benchmark.pedantic(scan, rounds=2)
    assert found.verdict.shape == (240,)
    seconds = timed(benchmark)
    if seconds is not None:
        assert seconds < 10.0


def test_memory_stays_near_that_of_its_input_and_output():
    path = line_of(100, legs=10)
    rng = np.random.default_rng(3)
    names = ("eastward_wind", "northward_wind")
    values = {name: rng.normal(0, 3, (100, 133, 50)) for name in names}
    series = point_series(forecast_of().time.to_numpy(), values)
    launches = launches_of(240)
    simulate(path, series, BOARD, launches[:2])
    tracemalloc.start()
    passage = simulate(path, series, BOARD, launches)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    given = sum(v.nbytes for v in values.values())
    notes = (passage.worst, passage.place, passage.when_s, passage.unknown)
    kept = sum(a.nbytes for d in notes for a in d.values())
    assert peak < 2.0 * given + 4.0 * kept, (
        f"{given / 1e6:.0f}, {peak / 1e6:.0f}, {kept / 1e6:.0f} MB"
    )

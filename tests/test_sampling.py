"""Interpolation at points and times, against xarray and scipy, and what it does not know."""

import numpy as np
import pytest
import xarray as xr
from _forecastfiles import hours, wind_fields, winds, write_netcdf
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator

from routeplan.errors import CoverageError, InputError
from routeplan.forecast import open_forecast
from routeplan.geodesy import inverse
from routeplan.sampling import at_times, direction_at_times, land_share, sample_series

LAT, LON = np.arange(57.0, 60.01, 0.25), np.arange(9.0, 13.01, 0.25)
WAVE = "sea_surface_wave_significant_height"


def forecast(values, *, lat=LAT, lon=LON, time=None, members=None):
    """Normalised forecast of {name: (T, E, ny, nx)}."""
    time = hours(next(iter(values.values())).shape[0]) if time is None else time
    dims = ("time", "number", "latitude", "longitude")
    ds = xr.Dataset(
        {name: (dims, v) for name, v in values.items()},
        {"time": time, "latitude": lat, "longitude": lon},
    )
    return ds if members else ds.isel(number=0)


@pytest.fixture
def noisy():
    rng = np.random.default_rng(5)
    shape = (30, 3, LAT.size, LON.size)
    names = ("eastward_wind", "northward_wind")
    return forecast({name: rng.normal(0, 8, shape) for name in names}, members=True)


def test_space_agrees_with_xarray_and_scipy(noisy):
    rng = np.random.default_rng(6)
    lon, lat = rng.uniform(9, 13, 200), rng.uniform(57, 60, 200)
    series = sample_series(noisy, lon, lat)
    at = {"longitude": xr.DataArray(lon, dims="p"), "latitude": xr.DataArray(lat, dims="p")}
    for name in ("eastward_wind", "northward_wind"):
        by_xarray = noisy[name].interp(at).transpose("p", "time", "number").to_numpy()
        assert series.values[name].shape == (200, 30, 3)
        assert np.abs(series.values[name] - by_xarray).max() < 1e-9
        table = noisy[name].transpose("latitude", "longitude", "time", "number").to_numpy()
        by_scipy = RegularGridInterpolator((LAT, LON), table)(np.column_stack([lat, lon]))
        assert np.abs(series.values[name] - by_scipy).max() < 1e-9


def test_space_and_time_together_agree_with_xarray(noisy):
    rng = np.random.default_rng(7)
    lon, lat = rng.uniform(9, 13, 40), rng.uniform(57, 60, 40)
    when = noisy.time.to_numpy()[0] + rng.integers(0, 29 * 3600, (40, 5, 1)) * np.timedelta64(
        1, "s"
    )
    series = sample_series(noisy, lon, lat, names=["eastward_wind"])
    for i in range(40):
        mine = at_times(series.values["eastward_wind"][i], series.time, when[i])
        theirs = noisy.eastward_wind.interp(
            longitude=lon[i], latitude=lat[i], time=xr.DataArray(when[i, :, 0], dims="w")
        )
        assert np.abs(mine - theirs.transpose("w", "number").to_numpy()).max() < 1e-9


@given(st.floats(9.0, 13.0), st.floats(57.0, 60.0), st.floats(-5, 5), st.floats(-5, 5))
@settings(max_examples=50, deadline=None)
def test_a_linear_field_is_reproduced(lon, lat, a, b):
    plane = a * LAT[:, None] + b * LON[None, :]
    ds = forecast({"eastward_wind": plane[None, None]})
    found = sample_series(ds, [lon], [lat]).values["eastward_wind"][0, 0, 0]
    assert found == pytest.approx(a * lat + b * lon, abs=1e-9)


def test_any_longitude_convention_and_the_rim():
    ds = forecast({"eastward_wind": np.broadcast_to(LON, (1, 1, LAT.size, LON.size)).copy()})
    series = sample_series(ds, [9.0, 369.1, -350.0, 13.0], [57.0, 58.0, 58.0, 60.0])
    assert series.inside.all()
    assert series.values["eastward_wind"][:, 0, 0] == pytest.approx([9.0, 9.1, 10.0, 13.0])


def test_a_grid_round_the_earth_has_no_seam(tmp_path):
    lat, lon = np.arange(-80.0, 80.1, 2.0), np.arange(0.0, 360.0, 2.0)
    u, v = winds(hours(2), lat, lon)
    path = write_netcdf(tmp_path / "globe.nc", wind_fields(u, v), hours(2), lat, lon)
    ds = open_forecast(path)
    at = np.array([-180.0, -0.7, 0.0, 0.9, 179.3, 180.0])
    series = sample_series(ds, at, np.full(6, 11.0))
    for i, x in enumerate(at % 360.0):
        low = int(x // 2) % 180
        share = x / 2 - x // 2
        rows = u[:, 0, 45:47].mean(axis=1)  # 11 degrees lies half way between 10 and 12
        expected = rows[:, low] * (1 - share) + rows[:, (low + 1) % 180] * share
        assert series.values["eastward_wind"][i, :, 0] == pytest.approx(expected, abs=1e-9)


def test_outside_the_grid_is_unknown(noisy):
    series = sample_series(noisy, [8.9, 11.0, 11.0, 13.1], [58.0, 56.9, 58.0, 58.0])
    assert series.inside.tolist() == [False, False, True, False]
    assert np.isnan(series.values["eastward_wind"][~series.inside]).all()
    assert np.isfinite(series.values["eastward_wind"][2]).all()
    assert series.reason("eastward_wind", 0) == "outside the forecast's grid"
    assert series.reason("eastward_wind", 2) == ""
    assert series.reason(WAVE, 2) == f"the forecast has no {WAVE}"


def test_an_unknown_cell_counts_only_with_weight():
    values = np.ones((1, 1, LAT.size, LON.size))
    values[0, 0, 4, 4] = np.nan  # 58 N, 10 E
    ds = forecast({"eastward_wind": values})
    lon, lat = [10.0, 10.1, 10.25, 9.75, 9.76], [58.0, 58.1, 58.1, 57.9, 58.1]
    found = sample_series(ds, lon, lat).values["eastward_wind"][:, 0, 0]
    assert np.isnan(found).tolist() == [True, True, False, False, True]
    assert found[[2, 3]] == pytest.approx([1.0, 1.0])


def test_a_masked_sea_cell_is_replaced_by_the_nearest_within_the_limit():
    height = np.broadcast_to(LON, (2, 1, LAT.size, LON.size)).copy()
    height[:, :, :, LON > 11.0] = np.nan  # land in the east
    ds = forecast({WAVE: height, "eastward_wind": np.ones_like(height)})
    lon, lat = np.array([10.1, 11.0, 11.1, 12.0]), np.array([58.0, 58.0, 58.05, 58.0])
    series = sample_series(ds, lon, lat, sea_cell_limit_m=25_000.0)
    assert series.values[WAVE][:2, 0, 0] == pytest.approx([10.1, 11.0])  # interpolated
    assert series.sea_cell_m[WAVE][:2].tolist() == [0.0, 0.0]
    assert series.values[WAVE][2, :, 0].tolist() == [11.0, 11.0]  # the cell at 11 E, 58 N
    expected = float(inverse(11.1, 58.05, 11.0, 58.0)[1])
    assert series.sea_cell_m[WAVE][2] == pytest.approx(expected, abs=0.01)
    assert series.reason(WAVE, 2) == "from the nearest sea cell of the forecast, 8.1 km off"
    assert np.isnan(series.values[WAVE][3]).all()  # 59 km from the nearest
    assert np.isnan(series.sea_cell_m[WAVE][3])
    assert series.reason(WAVE, 3) == "no sea cell of the forecast within 25 km"
    assert "eastward_wind" not in series.sea_cell_m


def test_the_nearest_sea_cell_may_lie_outside_the_points_own_cells():
    height = np.full((1, 1, LAT.size, LON.size), np.nan)
    height[0, 0, 4, 2] = 1.5  # 58 N, 9.5 E
    ds = forecast({WAVE: height})
    series = sample_series(ds, [9.9], [58.1], sea_cell_limit_m=30_000.0)
    assert series.values[WAVE][0, 0, 0] == 1.5
    assert sample_series(ds, [9.9], [58.1], sea_cell_limit_m=20_000.0).values[WAVE].size == 1
    assert np.isnan(sample_series(ds, [9.9], [58.1], sea_cell_limit_m=20_000.0).values[WAVE]).all()


def test_hours_missing_at_sea_stay_unknown():
    height = np.ones((3, 1, LAT.size, LON.size))
    height[0] = np.nan
    series = sample_series(forecast({WAVE: height}), [10.1], [58.1])
    assert np.isnan(series.values[WAVE][0, :, 0]).tolist() == [True, False, False]
    assert series.sea_cell_m[WAVE].tolist() == [0.0]
    assert series.reason(WAVE, 0) == "missing in the forecast at some hours"


def test_directions_are_interpolated_through_north():
    name = "sea_surface_wave_from_direction"
    values = np.where(LON[None, None, None, :] <= 11.0, 350.0, 10.0)
    values = np.broadcast_to(values, (1, 1, LAT.size, LON.size)).copy()
    found = sample_series(forecast({name: values}), [11.125], [58.0]).values[name][0, 0, 0]
    assert (found + 180.0) % 360.0 == pytest.approx(180.0, abs=1e-9)
    when = hours(2)[0] + np.array([0, 30, 60]) * np.timedelta64(1, "m")
    turned = direction_at_times([[350.0], [10.0]], hours(2), when)[:, 0]
    assert (turned + 180.0) % 360.0 == pytest.approx([170.0, 180.0, 190.0], abs=1e-9)


def test_share_of_land_from_the_forecast_or_the_coastline():
    mask = np.zeros((1, 1, LAT.size, LON.size))
    mask[..., LON >= 11.0] = 1.0
    ds = forecast({"land_binary_mask": mask, "eastward_wind": mask})
    assert land_share(ds, [10.0, 10.9, 12.0, 20.0], [58.0] * 4) == pytest.approx(
        [0.0, 0.6, 1.0, np.nan], nan_ok=True
    )
    without = ds.drop_vars("land_binary_mask")
    assert np.isnan(land_share(without, [10.9], [58.0])).all()
    found = land_share(without, [10.9], [58.1], lambda x, y: (x >= 11.0) & (y > 58.1))
    assert found == pytest.approx([0.6 * 0.4])


def test_time_is_linear_and_unknown_outside():
    values = np.array([[0.0, 10.0], [6.0, 4.0], [12.0, 7.0]])
    when = hours(3)[0] + np.array([-1, 0, 30, 60, 90, 120, 121]) * np.timedelta64(1, "m")
    found = at_times(values, hours(3), when)
    assert found[:, 0] == pytest.approx([np.nan, 0, 3, 6, 9, 12, np.nan], nan_ok=True)
    assert found[:, 1] == pytest.approx([np.nan, 10, 7, 4, 5.5, 7, np.nan], nan_ok=True)
    seconds = (when - hours(3)[0]) / np.timedelta64(1, "s")
    by_seconds = at_times(values, [0.0, 3600.0, 7200.0], np.column_stack([seconds, seconds]))
    assert by_seconds == pytest.approx(found, nan_ok=True)


def test_an_unknown_hour_counts_only_with_weight():
    values = np.array([[1.0], [np.nan], [3.0], [5.0]])
    when = np.array([0.0, 0.5, 1.0, 1.5, 2.0, 2.5])
    found = at_times(values, [0.0, 1.0, 2.0, 3.0], when)[:, 0]
    assert found == pytest.approx([1.0, np.nan, np.nan, np.nan, 3.0, 4.0], nan_ok=True)
    assert np.isnan(at_times(values, [0.0, 1.0, 2.0, 3.0], [np.nan])).all()
    nat = np.array([np.datetime64("NaT"), hours(1)[0]])
    assert np.isnan(at_times([[2.0], [4.0]], hours(2), nat)[:, 0]).tolist() == [True, False]


def test_a_single_hour_is_known_only_then():
    found = at_times([[4.0]], hours(1), hours(1)[0] + np.array([-1, 0, 1]) * np.timedelta64(1, "s"))
    assert found[:, 0] == pytest.approx([np.nan, 4.0, np.nan], nan_ok=True)


def test_members_have_their_own_times():
    values = np.array([[0.0, 100.0], [10.0, 200.0]])
    found = at_times(values, [0.0, 10.0], [[5.0, 2.0], [10.0, np.nan]])
    assert found == pytest.approx(np.array([[5.0, 120.0], [10.0, np.nan]]), nan_ok=True)


@pytest.mark.parametrize(
    ("lon", "lat"), [([np.nan], [58.0]), ([10.0, 11.0], [58.0]), ([[10.0]], [[58.0]])]
)
def test_impossible_positions_are_refused(noisy, lon, lat):
    with pytest.raises(InputError, match="allowed are two arrays of one length, finite degrees"):
        sample_series(noisy, lon, lat)


def test_what_the_forecast_lacks_is_said(noisy):
    with pytest.raises(CoverageError, match="the forecast has no visibility_in_air"):
        sample_series(noisy, [10.0], [58.0], names=["visibility_in_air"])


def test_mixed_kinds_of_time_are_refused():
    with pytest.raises(InputError, match="both datetime64 or both seconds"):
        at_times([[1.0], [2.0]], hours(2), [1.0])
    with pytest.raises(InputError, match=r"allowed is \(times, members\)"):
        at_times([1.0, 2.0], [0.0, 1.0], [1.0])

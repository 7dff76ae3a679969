"""Drift: the published figures, and tracks against an independent integration."""

import numpy as np
import pytest
from passagemaker import point_series
from scipy.integrate import solve_ivp

from routeplan.errors import InputError
from routeplan.geodesy import direct, inverse
from routeplan.leeway import (
    BRANCHES,
    WeatherGrid,
    drift_from,
    leeway_object,
    leeway_objects,
    leeway_velocity,
    time_ashore,
    with_drift,
)

START = np.datetime64("2026-06-21T00:00", "ns")
HOUR = np.timedelta64(3600, "s").astype("timedelta64[ns]")


class OpenSea:
    """No land anywhere."""

    def is_land(self, lon, lat):
        return np.zeros(np.broadcast(lon, lat).shape, dtype=bool)

    def distance_to_shore(self, lon, lat):
        return np.full(np.broadcast(lon, lat).shape, 1e6)


class EastCoast:
    """Land east of a meridian."""

    def __init__(self, meridian):
        self.meridian = meridian
        self.looks = 0

    def is_land(self, lon, lat):
        self.looks += np.size(lat)
        return np.asarray(lon) >= self.meridian

    def distance_to_shore(self, lon, lat):
        lon, lat = np.asarray(lon, float), np.asarray(lat, float)
        return inverse(lon, lat, np.full(lon.shape, self.meridian), lat)[1] * 0.999


def weather(u=0.0, v=0.0, cu=None, cv=None, hours=48, members=1):
    """A grid around 11 E 58 N; fields are numbers or functions of (T, y, x) coordinates."""
    time = START + np.arange(hours + 1) * HOUR
    lat, lon = np.linspace(57.0, 59.0, 9), np.linspace(9.0, 13.0, 17)
    t, y, x = np.meshgrid(np.arange(hours + 1.0), lat, lon, indexing="ij")
    columns = []
    for value in (u, v) if cu is None else (u, v, cu, cv):
        field = value(t, y, x) if callable(value) else np.full(t.shape, float(value))
        columns.append(np.broadcast_to(field[..., None], (*t.shape, members)))
    return WeatherGrid(time, lat, lon, np.stack(columns))


# -- the published table ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "at_10", "at_5"),
    # Downwind leeway [cm/s] in winds of 10 and 5 m/s, worked out by hand from the slopes and
    # offsets of Allen and Plourde 1999, CG-D-08-99 (slope x wind + offset).
    [
        ("person in water", 9.60, 4.80),
        ("sea kayak", 22.72, 16.92),
        ("board", 19.30, 9.65),
        ("windsurfer", 27.53, 16.28),
    ],
)
def test_downwind_leeway_at_5_and_10_metres_per_second(key, at_10, at_5):
    it = leeway_object(key)
    for wind, expected in ((10.0, at_10), (5.0, at_5)):
        east, north = leeway_velocity(it, wind, 0.0, "downwind")
        assert 100.0 * east == pytest.approx(expected, abs=1e-9)
        assert north == 0.0


def test_rows_carry_their_source_and_the_printed_figures():
    # Row of the V-hull skiff as printed: 2.87 % + 3.98, right 0.32 % - 2.93, left -0.62 % + 1.03.
    skiff = leeway_object("skiff")
    assert skiff.downwind_slope == pytest.approx(0.0287)
    assert skiff.downwind_offset_ms == pytest.approx(0.0398)
    assert (skiff.right_slope, skiff.right_offset_ms) == pytest.approx((0.0032, -0.0293))
    assert (skiff.left_slope, skiff.left_offset_ms) == pytest.approx((-0.0062, 0.0103))
    assert skiff.left_sd_ms == pytest.approx(0.0305)
    assert all("CG-D-08-99" in it.source for it in leeway_objects().values())


def test_branches_lie_to_the_right_and_left_of_downwind():
    it = leeway_object("board")
    # Wind from the west drives east; right of that is south.
    _, right = leeway_velocity(it, 10.0, 0.0, "right")
    _, left = leeway_velocity(it, 10.0, 0.0, "left")
    assert right == pytest.approx(-0.051)
    assert left == pytest.approx(0.051)
    along, _ = leeway_velocity(it, 10.0, 0.0, "left")
    assert along == pytest.approx(0.193)


def test_offsets_fade_in_light_winds():
    kayak = leeway_object("sea kayak")
    assert leeway_velocity(kayak, 0.0, 0.0, "downwind") == (0.0, 0.0)
    east, _ = leeway_velocity(kayak, 1.5, 0.0, "downwind")
    assert east == pytest.approx(0.0116 * 1.5 + 0.1112 / 2.0)


def test_unknown_wind_is_unknown_leeway():
    for branch in BRANCHES:
        assert np.isnan(leeway_velocity(leeway_object("board"), np.nan, 1.0, branch)).all()


def test_what_is_not_in_the_table():
    with pytest.raises(InputError, match="leeway of 'duck' is not known; allowed are person in"):
        leeway_object("duck")
    with pytest.raises(InputError, match="branch 'up' is unknown; allowed are downwind, right"):
        leeway_velocity(leeway_object("board"), 1.0, 1.0, "up")


# -- tracks -----------------------------------------------------------------------------------


def test_steady_wind_and_current_drift_straight():
    grid = weather(u=8.0, v=0.0, cu=0.1, cv=-0.2)
    drift = drift_from([11.0], [58.0], [START], grid, leeway_object("board"), coast=OpenSea())
    away = inverse(11.0, 58.0, drift.longitude[0, :, 0, -1], drift.latitude[0, :, 0, -1])
    for b, across in enumerate((0.0, -0.0051 * 8.0, 0.0051 * 8.0)):
        east, north = 0.0193 * 8.0 + 0.1, -0.2 + across
        assert away[1][b] == pytest.approx(np.hypot(east, north) * 6 * 3600.0, rel=1e-3)
        assert away[0][b] == pytest.approx(np.degrees(np.arctan2(east, north)) % 360.0, abs=0.1)
    assert drift.known.all()
    assert np.isnan(drift.ashore_s).all()
    assert drift.has_current
    assert drift.offshore_m == pytest.approx(np.full((1, 3, 1), 1e6))


def swirl_u(t, y, _x):
    return 6.0 + 3.0 * np.sin(t / 4.0) + 2.0 * (y - 58.0)


def swirl_v(t, _y, x):
    return -4.0 + 0.7 * t + 1.5 * (x - 11.0)


def rise_cu(t, _y, x):
    return 0.3 * np.cos(t / 2.0) + 0.05 * (x - 11.0)


def rise_cv(t, _y, _x):
    return 0.2 * np.sin(t / 2.0)


@pytest.mark.parametrize("branch", range(3))
def test_track_against_an_independent_integration(branch):
    """scipy solve_ivp to 1e-10 on pyproj geodesics, with the figures written down again."""
    # CG-D-08-99, sea kayak: 1.16 % + 11.12 cm/s downwind, 0.41 % to either side.
    cross = (0.0, 0.0041, -0.0041)[branch]
    grid = weather(swirl_u, swirl_v, rise_cu, rise_cv)

    def linear(function, seconds, lat, lon):
        """The field as the grid holds it: linear between its points and hours."""
        t, ys, xs = seconds / 3600.0, grid.latitude, grid.longitude
        i, j, k = int(t), int((lat - 57.0) / 0.25), int((lon - 9.0) / 0.25)
        total = 0.0
        for di in (0, 1):
            for dj in (0, 1):
                for dk in (0, 1):
                    share = abs(1 - di - (t - i)) * abs(1 - dj - (lat - ys[j]) / 0.25)
                    share *= abs(1 - dk - (lon - xs[k]) / 0.25)
                    total += share * float(function(float(i + di), ys[j + dj], xs[k + dk]))
        return total

    def rate(seconds, place):
        lon, lat = place
        u, v = linear(swirl_u, seconds, lat, lon), linear(swirl_v, seconds, lat, lon)
        wind = np.hypot(u, v)
        along = 0.0116 * wind + 0.1112 * min(wind / 3.0, 1.0)
        across = cross * wind
        east = (along * u + across * v) / wind + linear(rise_cu, seconds, lat, lon)
        north = (along * v - across * u) / wind + linear(rise_cv, seconds, lat, lon)
        course = np.degrees(np.arctan2(east, north))
        there = direct(lon, lat, course, 100.0)
        speed = np.hypot(east, north) / 100.0
        return [(float(there[0]) - lon) * speed, (float(there[1]) - lat) * speed]

    hours = 12.0
    # Kinks of the linear field lie at whole hours: integrate from one to the next.
    place = [11.1, 58.1]
    for hour in range(int(hours)):
        end = (hour * 3600.0, (hour + 1) * 3600.0)
        place = solve_ivp(rate, end, place, rtol=1e-9, atol=1e-11, max_step=600.0).y[:, -1]
    drift = drift_from(
        [11.1], [58.1], [START], grid, leeway_object("sea kayak"), coast=OpenSea(), hours=hours
    )
    x, y = drift.longitude[0, branch, 0, -1], drift.latitude[0, branch, 0, -1]
    way = float(inverse(11.1, 58.1, *place)[1])
    assert way > 3_000.0
    assert float(inverse(x, y, *place)[1]) < 1e-4 * way


def test_halving_the_step_hardly_moves_the_track():
    grid = weather(swirl_u, swirl_v, rise_cu, rise_cv)
    it = leeway_object("board")
    ends = []
    for step in (300.0, 150.0):
        drift = drift_from(
            [11.1], [58.1], [START], grid, it, coast=OpenSea(), hours=12.0, step_s=step
        )
        ends.append((drift.longitude[0, :, 0, -1], drift.latitude[0, :, 0, -1]))
    assert inverse(*ends[0], *ends[1])[1].max() < 1.0


def test_coming_ashore():
    # 1,000 m west of the coast, 0.193 m/s to the east: ashore after 5,181 s.
    shore = EastCoast(float(direct(11.0, 58.0, 90.0, 1_000.0)[0]))
    drift = drift_from(
        [11.0], [58.0], [START], weather(u=10.0), leeway_object("board"), coast=shore
    )
    assert drift.ashore_s[0, :, 0] == pytest.approx(np.full(3, 1_000.0 / 0.193), abs=6.0)
    assert drift.longitude[0, :, 0, -1] == pytest.approx(np.full(3, shore.meridian), abs=2e-5)
    assert (drift.offshore_m == 0.0).all()
    assert drift.known.all()
    # Land is looked for only when it may have been reached.
    assert shore.looks < 200


def test_a_start_on_land_is_ashore_at_once():
    drift = drift_from(
        [11.0], [58.0], [START], weather(u=5.0), leeway_object("board"), coast=EastCoast(10.0)
    )
    assert (drift.ashore_s == 0.0).all()


def test_weather_that_ends_leaves_the_drift_unknown():
    grid = weather(u=5.0, hours=6)
    late = START + 3 * HOUR
    drift = drift_from([11.0], [58.0], [late], grid, leeway_object("board"), coast=OpenSea())
    assert not drift.known.any()
    assert np.isnan(drift.offshore_m).all()
    assert np.isnan(drift.longitude[..., -1]).all()
    short = drift_from(
        [11.0], [58.0], [late], grid, leeway_object("board"), coast=OpenSea(), hours=3.0
    )
    assert short.known.all()


def test_ashore_before_the_weather_ends_is_known():
    grid = weather(u=10.0, hours=4)
    shore = EastCoast(float(direct(11.0, 58.0, 90.0, 1_000.0)[0]))
    drift = drift_from([11.0], [58.0], [START], grid, leeway_object("board"), coast=shore)
    assert drift.known.all()
    assert np.isfinite(drift.ashore_s).all()


def test_outside_the_grid_is_unknown():
    drift = drift_from(
        [20.0], [58.0], [START], weather(u=5.0), leeway_object("board"), coast=OpenSea()
    )
    assert not drift.known.any()


def test_no_current_in_the_forecast_is_said():
    drift = drift_from(
        [11.0], [58.0], [START], weather(u=5.0), leeway_object("board"), coast=OpenSea()
    )
    assert not drift.has_current


def test_members_and_starts_drift_on_their_own():
    grid = weather(u=5.0, members=3)
    fields = grid.fields.copy()
    fields[0, ..., 1] = -5.0
    fields[0, ..., 2] = np.nan
    grid = WeatherGrid(grid.time, grid.latitude, grid.longitude, fields)
    drift = drift_from(
        [11.0, 11.5], [58.0, 58.2], [START, START + 5 * HOUR], grid, leeway_object("board"),
        coast=OpenSea(),
    )  # fmt: skip
    assert drift.longitude.shape == (2, 3, 3, 73)
    assert (drift.longitude[:, 0, 0, -1] > [11.0, 11.5]).all()
    assert (drift.longitude[:, 0, 1, -1] < [11.0, 11.5]).all()
    assert not drift.known[:, :, 2].any()


def test_spread_is_a_standard_deviation_of_the_leeway_for_the_time_adrift():
    # Board, CG-D-08-99: 8.30 cm/s downwind and 6.70 across.
    drift = drift_from(
        [11.0], [58.0], [START], weather(u=5.0), leeway_object("board"), coast=OpenSea(), hours=2.0
    )
    assert drift.spread_m[0, :, 0] == pytest.approx(
        [0.083 * 7_200.0, np.hypot(0.083, 0.067) * 7_200.0, np.hypot(0.083, 0.067) * 7_200.0]
    )


def test_longest_branch_counts_and_unknown_is_not_hidden():
    grid = weather(u=10.0)
    shore = EastCoast(float(direct(11.0, 58.0, 90.0, 1_000.0)[0]))
    it = leeway_object("board")
    near = drift_from([11.0], [58.0], [START], grid, it, coast=shore)
    assert time_ashore(near, 99_999.0)[0, 0] == near.ashore_s.max()
    far = drift_from([11.0], [58.0], [START], grid, it, coast=OpenSea())
    assert time_ashore(far, 99_999.0)[0, 0] == 99_999.0
    lost = drift_from([20.0], [58.0], [START], grid, it, coast=OpenSea())
    assert np.isnan(time_ashore(lost, 99_999.0)[0, 0])


def test_field_of_times_ashore_along_a_path():
    grid = weather(u=10.0, hours=12)
    lon = np.linspace(10.90, 10.99, 10)
    lat = np.full(10, 58.0)
    series = point_series(grid.time, {"eastward_wind": np.zeros((10, 13, 1))})
    found = with_drift(
        series, lon, lat, grid, leeway_object("board"), coast=EastCoast(11.0), hours=4.0, every=1
    ).values["time_ashore_by_drift"]
    assert found.shape == (10, 13, 1)
    metres = inverse(lon, lat, np.full(10, 11.0), lat)[1]
    expected = metres / 0.193
    near = expected < 4 * 3600.0 - 600.0
    assert found[near, 0, 0] == pytest.approx(expected[near], abs=30.0)
    assert (found[expected > 4 * 3600.0, 0, 0] == 8 * 3600.0).all()
    assert np.isnan(found[0, -1, 0])  # nothing is known after the last hour
    sparse = with_drift(
        series, lon, lat, grid, leeway_object("board"), coast=EastCoast(11.0), hours=4.0, every=4
    ).values["time_ashore_by_drift"]
    assert sparse.shape == (10, 13, 1)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"hours": 0.0}, "over 0 h is not followed; allowed is more than 0 to 96 h"),
        ({"hours": np.nan}, "over nan h is not followed"),
        ({"step_s": 0.0}, "steps of 0 s are not usable; allowed is 1 to 3600 s"),
    ],
)
def test_bad_settings(change, message):
    with pytest.raises(InputError, match=message):
        drift_from(
            [11.0], [58.0], [START], weather(), leeway_object("board"), coast=OpenSea(), **change
        )


def test_bad_starts_and_forecasts():
    with pytest.raises(InputError, match="two arrays of one length, finite degrees"):
        drift_from(
            [11.0, 12.0], [58.0], [START], weather(), leeway_object("board"), coast=OpenSea()
        )
    xr = pytest.importorskip("xarray")
    with pytest.raises(InputError, match="has no eastward_wind and northward_wind"):
        WeatherGrid.from_forecast(xr.Dataset())


def test_grid_of_a_forecast_with_members_and_without_current():
    xr = pytest.importorskip("xarray")
    time = (START + np.arange(3) * HOUR).astype("datetime64[ns]")
    coords = {"time": time, "latitude": [57.0, 58.0], "longitude": [10.0, 11.0], "number": [1, 2]}
    dims = ("number", "time", "latitude", "longitude")
    values = np.arange(24.0).reshape(2, 3, 2, 2)
    ds = xr.Dataset(
        {"eastward_wind": (dims, values), "northward_wind": (dims[1:], values[0])}, coords=coords
    )
    grid = WeatherGrid.from_forecast(ds)
    assert grid.members == 2
    assert not grid.has_current
    one = np.ones((1,))
    u, v, cu, _ = grid.at(10.5 * one, 57.5 * one, 1800.0 * one, np.array([1]))
    assert u[0] == pytest.approx(values[1, :2].mean())
    assert v[0] == pytest.approx(values[0, :2].mean())
    assert cu[0] == 0.0

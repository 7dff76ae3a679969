"""Growth curves each against their own source, and the local sea built on one of them."""

import numpy as np
import pytest
from passagemaker import point_series

from routeplan.errors import InputError
from routeplan.waves import (
    WaveSource,
    fetch_toward,
    local_sea,
    steepness,
    wave_growth_cem2003,
    wave_growth_hasselmann1973,
    wave_growth_hasselmann1976,
    wave_growth_lewis1990,
    wave_growth_spm1984,
    with_sea,
)

HOUR = 3600.0
HEIGHT = "sea_surface_wave_significant_height"
FROM = "sea_surface_wave_from_direction"

# Wind [m/s], fetch [m], then Hm0 [m] and Tp [s]. Computed with scientimate 2.0 (MIT,
# parametricwavedeep) with g = 9.81: an implementation of the same equations by other hands.
CEM = [
    (8, 5e3, 0.27710, 1.62107),
    (10, 10e3, 0.50211, 2.21835),
    (12, 15e3, 0.75555, 2.71978),
    (15, 200e3, 3.56573, 7.02507),
    (20, 30e3, 1.93795, 4.17892),
]
SPM = [
    (8, 5e3, 0.33100, 2.23087),
    (10, 10e3, 0.61595, 3.08000),
    (12, 15e3, 0.94402, 3.79937),
    (15, 200e3, 4.53577, 9.87244),
    (20, 30e3, 2.50248, 5.90219),
]
# There the height is that of 1976 and the period that of 1973.
JONSWAP = [
    (8, 5e3, 0.2890, 2.0856),
    (10, 10e3, 0.5108, 2.8282),
    (12, 15e3, 0.7508, 3.4399),
    (15, 200e3, 3.4268, 8.7242),
    (20, 30e3, 1.7696, 5.1442),
]


@pytest.mark.parametrize(("wind", "fetch", "height", "period"), CEM)
def test_coastal_engineering_manual_2003(wind, fetch, height, period):
    found = wave_growth_cem2003(wind, fetch)
    assert found[0] == pytest.approx(height, abs=1e-5)
    assert found[1] == pytest.approx(period, abs=1e-5)


@pytest.mark.parametrize(("wind", "fetch", "height", "period"), SPM)
def test_shore_protection_manual_1984(wind, fetch, height, period):
    found = wave_growth_spm1984(wind, fetch)
    assert found[0] == pytest.approx(height, abs=1e-5)
    assert found[1] == pytest.approx(period, abs=1e-5)


@pytest.mark.parametrize(("wind", "fetch", "height", "period"), JONSWAP)
def test_jonswap_of_1973_and_1976(wind, fetch, height, period):
    assert wave_growth_hasselmann1976(wind, fetch)[0] == pytest.approx(height, abs=5e-5)
    assert wave_growth_hasselmann1973(wind, fetch)[1] == pytest.approx(period, abs=5e-5)


def test_lewis_and_allos_against_the_number_of_the_wafo_toolbox():
    # WAFO, test_getjonswapseastate.m, method "lewis", U = 10 m/s and 10 km; its own tolerance is
    # 1e-10. The gravity is WAFO's at its default latitude.
    height, period = wave_growth_lewis1990(10.0, 10_000.0, gravity_ms2=9.80629386676700)
    assert height == pytest.approx(0.5109333141955266, abs=1e-10)
    assert period == pytest.approx(2.7734701650790741, abs=1e-10)


def test_published_problem_with_the_plain_wind():
    # Kamphuis-type equations H* = 0.0016 F*^0.5 and T* = 0.286 F*^(1/3) with the wind as it is:
    # U = 15 m/s, F = 200 km gives 3.427 m and 9.0 s (homeworksource.com/p/1080568, accessed
    # 2026-11-25). The same curve as of 1984 with the adjusted wind set to 15 m/s.
    wind = (15.0 / 0.71) ** (1.0 / 1.23)
    height, period = wave_growth_spm1984(wind, 200e3)
    assert height == pytest.approx(3.427, abs=5e-4)
    assert period == pytest.approx(9.0, abs=0.02)


@pytest.mark.parametrize(("wind", "fetch", "seconds"), [(10, 10e3, 6505), (8, 5e3, 4491)])
def test_duration_that_a_fetch_needs_as_of_1984(wind, fetch, seconds):
    # g t/UA = 68.8 (g F/UA²)^(2/3), Shore Protection Manual 1984, worked out by hand.
    full, _ = wave_growth_spm1984(wind, fetch)
    just, _ = wave_growth_spm1984(wind, fetch, seconds + 2.0)
    short, _ = wave_growth_spm1984(wind, fetch, 0.9 * seconds)
    assert just == full
    assert short < 0.97 * full


def test_fully_developed_sea_is_the_end():
    # Coastal Engineering Manual 2003: g Hm0/u*² = 211.5.
    friction2 = 10.0**2 * 0.001 * (1.1 + 0.035 * 10.0)
    assert wave_growth_cem2003(10.0, 1e9)[0] == pytest.approx(211.5 * friction2 / 9.81)


def test_calm_and_no_fetch_are_flat():
    for growth in (wave_growth_cem2003, wave_growth_spm1984, wave_growth_lewis1990):
        height, period = growth([0.0, 10.0], [10e3, 0.0])
        assert not height.any()
        assert not period.any()


def test_negative_wind_is_refused():
    with pytest.raises(InputError, match="wind of a growing sea is -1; allowed are 0 and more"):
        wave_growth_cem2003(-1.0, 1e3)


def test_steepness_of_a_known_wave():
    # Deep-water length 1.56 T²: 4 s is 24.98 m long.
    assert steepness(0.5, 4.0) == pytest.approx(0.5 / 24.98, rel=1e-3)
    assert np.isnan(steepness(np.nan, 4.0))
    assert np.isnan(steepness(0.5, np.nan))


def test_fetch_between_spokes():
    rose = np.arange(36.0)[None, :] * 1000.0
    found = fetch_toward(rose, np.array([[0.0, 15.0, 355.0, 360.0, np.nan]]))
    assert found[0, :4] == pytest.approx([0.0, 1500.0, 17500.0, 0.0])
    assert np.isnan(found[0, 4])


def sea_of(speed, source_deg, hours=1.0, fetch=20e3):
    speed, source = np.atleast_1d(speed).astype(float), np.radians(source_deg)
    u = (-speed * np.sin(source))[None, :, None]
    v = (-speed * np.cos(source))[None, :, None]
    seconds = np.arange(speed.size) * hours * HOUR
    return local_sea(u, v, seconds, np.full((1, 36), fetch)).height_m[0, :, 0]


def test_steady_wind_keeps_the_fetch_limited_sea():
    assert sea_of(np.full(12, 8.0), np.full(12, 250.0)) == pytest.approx(
        np.full(12, wave_growth_cem2003(8.0, 20e3)[0])
    )


def test_rising_wind_grows_no_faster_than_the_duration_curve():
    wind = np.array([0.0, 10.0, 10.0, 10.0, 10.0, 10.0])
    found = sea_of(wind, np.full(6, 250.0), hours=0.5)
    for i in range(1, 6):
        assert found[i] == pytest.approx(wave_growth_cem2003(10.0, 20e3, i * HOUR / 2)[0])


def test_falling_wind_leaves_an_old_sea_that_dies():
    found = sea_of(np.array([10.0, *[2.0] * 8]), np.full(9, 250.0))
    assert np.all(np.diff(found) < 0.0)
    assert found[1] > 1.5 * wave_growth_cem2003(2.0, 20e3)[0]


def test_turning_wind_starts_a_new_sea_beside_the_old():
    turned = sea_of(np.full(3, 8.0), np.array([250.0, 250.0, 340.0]), hours=0.5)
    fresh = wave_growth_cem2003(8.0, 20e3, 0.5 * HOUR)[0]
    assert fresh < turned[2] < np.hypot(fresh, turned[1])


def test_unknown_wind_is_an_unknown_sea_and_ends_with_it():
    found = sea_of(np.array([8.0, np.nan, 8.0]), np.full(3, 250.0))
    assert np.isnan(found[1])
    assert found[2] == pytest.approx(wave_growth_cem2003(8.0, 20e3)[0])


def test_local_sea_refuses_other_shapes():
    with pytest.raises(InputError, match=r"fetch roses have shape \(3, 36\)"):
        local_sea(np.ones((2, 4, 1)), np.ones((2, 4, 1)), np.arange(4.0), np.ones((3, 36)))


def series_of(height, source_deg, wind_from=250.0):
    """Two points, three hours: wind 8 m/s and a forecast of waves."""
    shape = (2, 3, 1)
    angle = np.radians(wind_from)
    values = {
        "eastward_wind": np.full(shape, -8.0 * np.sin(angle)),
        "northward_wind": np.full(shape, -8.0 * np.cos(angle)),
    }
    if height is not None:
        values[HEIGHT] = np.full(shape, height)
        values["sea_surface_wave_mean_period"] = np.full(shape, 5.0)
    if source_deg is not None:
        values[FROM] = np.full(shape, source_deg)
    time = np.datetime64("2026-06-01", "ns") + np.arange(3) * np.timedelta64(1, "h")
    return point_series(time, values)


# The first point is open between 230 and 270 degrees, the second lies behind islands.
ROSES = np.full((2, 36), 2e3)
ROSES[0, 23:28] = 100e3


def test_forecast_waves_count_where_they_arrive_and_the_local_sea_in_shelter():
    sea = with_sea(series_of(1.5, 250.0), ROSES)
    assert sea.values[HEIGHT][0] == pytest.approx(np.full((3, 1), 1.5))
    assert (sea.values["wave_source"][0] == WaveSource.FORECAST).all()
    assert sea.values[HEIGHT][1] == pytest.approx(np.full((3, 1), wave_growth_cem2003(8.0, 2e3)[0]))
    assert (sea.values["wave_source"][1] == WaveSource.SHELTER).all()


def test_waves_from_the_closed_side_do_not_count():
    sea = with_sea(series_of(1.5, 90.0), ROSES)
    assert (sea.values["wave_source"] == WaveSource.SHELTER).all()
    bent = with_sea(series_of(1.5, 290.0), ROSES)
    assert (bent.values["wave_source"][0] == WaveSource.FORECAST).all()


def test_without_a_direction_the_widest_fetch_decides():
    sea = with_sea(series_of(1.5, None, wind_from=90.0), ROSES)
    assert (sea.values["wave_source"][0] == WaveSource.FORECAST).all()
    assert (sea.values["wave_source"][1] == WaveSource.SHELTER).all()


def test_without_a_forecast_of_waves_open_points_say_that_swell_is_missing():
    for height in (None, np.nan):
        sea = with_sea(series_of(height, None), ROSES)
        assert (sea.values["wave_source"][0] == WaveSource.NO_SWELL).all()
        assert (sea.values["wave_source"][1] == WaveSource.LOCAL).all()
        assert np.isfinite(sea.values[HEIGHT]).all()


def test_steepness_follows_the_sea_that_counts():
    sea = with_sea(series_of(1.5, 250.0), ROSES).values["sea_surface_wave_steepness"]
    assert sea[0] == pytest.approx(np.full((3, 1), steepness(1.5, 5.0)))
    assert sea[1] == pytest.approx(np.full((3, 1), steepness(*wave_growth_cem2003(8.0, 2e3))))

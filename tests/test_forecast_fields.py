"""Hours, levels, units and quantities of forecast files, as they come out normalised."""

import numpy as np
import pytest
import xarray as xr
from _forecastfiles import (
    FIRST,
    KNOT_MS,
    PACKING,
    dataset,
    hours,
    latlon_keys,
    message,
    wind_fields,
    winds,
    write_grib,
    write_netcdf,
)

from routeplan.errors import InputError
from routeplan.forecast import coverage, open_forecast
from routeplan.sampling import at_times, sample_series

LAT, LON = np.arange(57.0, 59.01, 0.25), np.arange(9.0, 12.01, 0.25)
TIME = hours(7)


# --- times


def test_steps_that_change(tmp_path):
    time = FIRST + np.array([0, 1, 2, 3, 6, 9, 15, 21]) * np.timedelta64(1, "h")
    u, v = winds(time, LAT, LON)
    path = write_netcdf(tmp_path / "f.nc", wind_fields(u, v), time, LAT, LON)
    ds = open_forecast(path)
    assert (ds.time.to_numpy() == time).all()
    found = coverage(ds)
    assert (found.shortest_step_s, found.step_s, found.times) == (3600.0, 21600.0, 8)
    series = sample_series(ds, [10.0], [58.0])
    when = FIRST + np.array([[60 * 12]]) * np.timedelta64(1, "m")
    mine = at_times(series.values["eastward_wind"][0], series.time, when)
    assert mine[0, 0] == pytest.approx((u[5, 0, 4, 4] + u[6, 0, 4, 4]) / 2)


def test_a_single_hour_has_its_time(tmp_path):
    u, v = winds(TIME[3:4], LAT, LON)
    path = write_netcdf(tmp_path / "f.nc", wind_fields(u, v), TIME[3:4], LAT, LON)
    found = coverage(open_forecast(path))
    assert found.first == found.last == TIME[3]
    assert np.isnan(found.step_s)
    scalar = dataset(wind_fields(u, v), TIME[3:4], LAT, LON).isel(time=0)
    scalar.to_netcdf(tmp_path / "scalar.nc")
    assert coverage(open_forecast(tmp_path / "scalar.nc")).first == TIME[3]


def test_run_time_and_steps_make_the_valid_time(tmp_path):
    """The form in which cfgrib hands GRIB to xarray, written to NetCDF."""
    u, v = winds(TIME, LAT, LON)
    ds = dataset(wind_fields(u, v), TIME, LAT, LON).rename(time="step")
    ds = ds.assign_coords(
        step=("step", np.arange(7.0), {"standard_name": "forecast_period", "units": "hours"}),
        time=(
            (),
            0,
            {"standard_name": "forecast_reference_time", "units": "hours since 2026-06-01"},
        ),
    )
    ds.to_netcdf(tmp_path / "f.nc")
    found = open_forecast(tmp_path / "f.nc")
    assert (found.time.to_numpy() == TIME).all()
    assert found.attrs["reference_time"] == "2026-06-01T00:00:00Z"


def test_a_coarser_field_is_brought_to_the_hours_of_the_wind(tmp_path):
    u, v = winds(TIME, LAT, LON)
    wind = write_netcdf(tmp_path / "w.nc", wind_fields(u, v), TIME, LAT, LON)
    height = np.broadcast_to(np.array([1.0, 2.5])[:, None, None, None], (2, 1, LAT.size, LON.size))
    turn = np.broadcast_to(np.array([350.0, 20.0])[:, None, None, None], height.shape)
    fields = {"swh": (height, {"units": "m"}), "mwd": (turn, {"units": "degree"})}
    wave = write_netcdf(tmp_path / "s.nc", fields, TIME[[0, 3]], LAT, LON)
    ds = open_forecast([wind, wave])
    at = ds.isel(latitude=2, longitude=2)
    wanted = [1.0, 1.5, 2.0, 2.5, np.nan, np.nan, np.nan]
    assert at.sea_surface_wave_significant_height.to_numpy() == pytest.approx(wanted, nan_ok=True)
    turned = at.sea_surface_wave_from_direction.to_numpy()
    assert turned == pytest.approx([350.0, 0.0, 10.0, 20.0] + 3 * [np.nan], nan_ok=True)


def test_a_long_gap_in_a_field_stays_unknown(tmp_path):
    time = hours(25)
    u, v = winds(time, LAT, LON)
    wind = write_netcdf(tmp_path / "w.nc", wind_fields(u, v), time, LAT, LON)
    fields = {"swh": (np.ones((3, 1, LAT.size, LON.size)), {"units": "m"})}
    wave = write_netcdf(tmp_path / "s.nc", fields, time[[0, 6, 24]], LAT, LON)
    height = open_forecast([wind, wave]).sea_surface_wave_significant_height[:, 0, 0].to_numpy()
    assert np.isfinite(height[:7]).all()
    assert np.isnan(height[7:24]).all()
    assert height[24] == 1.0


# --- quantities


def other_fields():
    """Every other quantity: short name, units, value in them, normalised name, value in SI."""
    return [
        ("gust", "kt", 20.0, "wind_speed_of_gust", 20.0 * KNOT_MS),
        ("swh", "cm", 150.0, "sea_surface_wave_significant_height", 1.5),
        ("mwp", "s", 5.0, "sea_surface_wave_mean_period", 5.0),
        ("pp1d", "s", 6.0, "sea_surface_wave_period_at_variance_spectral_density_maximum", 6.0),
        ("mwd", "degrees", 200.0, "sea_surface_wave_from_direction", 200.0),
        ("uo", "m s-1", 0.5, "eastward_sea_water_velocity", 0.5),
        ("vo", "cm/s", -20.0, "northward_sea_water_velocity", -0.2),
        ("t2m", "degC", 12.0, "air_temperature", 285.15),
        ("sst", "K", 285.0, "sea_surface_temperature", 285.0),
        ("prate", "mm h-1", 3.6, "precipitation_flux", 0.001),
        ("vis", "km", 8.0, "visibility_in_air", 8000.0),
        ("cape", "J kg**-1", 300.0, "atmosphere_convective_available_potential_energy", 300.0),
        ("msl", "hPa", 1013.25, "air_pressure_at_mean_sea_level", 101325.0),
        ("lsm", "(0 - 1)", 0.25, "land_binary_mask", 0.25),
    ]


@pytest.mark.parametrize(
    ("short", "units", "value", "name", "si"),
    [
        # 1 mile = 1609.344 m, 1 inch = 2.54 cm, exactly: NIST Handbook 44, appendix C, section 4
        ("vis", "miles", 5.0, "visibility_in_air", 8046.72),
        ("gust", "mph", 10.0, "wind_speed_of_gust", 4.4704),
        ("swh", "inches", 20.0, "sea_surface_wave_significant_height", 0.508),
        ("t2m", "degF", 50.0, "air_temperature", 283.15),
    ],
)
def test_units_of_the_foot_and_pound(tmp_path, short, units, value, name, si):
    u, v = winds(TIME, LAT, LON)
    fields = {**wind_fields(u, v), short: (np.full(u.shape, value), {"units": units})}
    ds = open_forecast(write_netcdf(tmp_path / "f.nc", fields, TIME, LAT, LON))
    assert ds[name].to_numpy() == pytest.approx(np.full(ds[name].shape, si), rel=1e-12)


def test_every_quantity_by_its_short_name_and_units(tmp_path):
    u, v = winds(TIME, LAT, LON)
    fields = wind_fields(u, v)
    for short, units, value, _, _ in other_fields():
        fields[short] = (np.full(u.shape, value), {"units": units})
    ds = open_forecast(write_netcdf(tmp_path / "f.nc", fields, TIME, LAT, LON))
    for _, _, _, name, value in other_fields():
        assert ds[name].to_numpy() == pytest.approx(np.full(ds[name].shape, value), rel=1e-9), name
        assert ds[name].attrs["standard_name"] == name
    assert coverage(ds).missing == {}
    assert ds.attrs["notes"] == ""


def test_grib_quantities_of_weather_and_waves(tmp_path):
    u, v = winds(TIME, LAT, LON)
    fields = {"10u": u, "10v": v}
    wanted = {
        "gust": ("wind_speed_of_gust", 14.0),
        "swh": ("sea_surface_wave_significant_height", 1.25),
        "mwp": ("sea_surface_wave_mean_period", 4.5),
        "pp1d": ("sea_surface_wave_period_at_variance_spectral_density_maximum", 6.5),
        "mwd": ("sea_surface_wave_from_direction", 225.0),
        "2t": ("air_temperature", 288.0),
        "prate": ("precipitation_flux", 0.0005),
        "vis": ("visibility_in_air", 9000.0),
        "cape": ("atmosphere_convective_available_potential_energy", 500.0),
        "msl": ("air_pressure_at_mean_sea_level", 101000.0),
    }
    for short, (_, value) in wanted.items():
        fields[short] = np.full(u.shape, value)
    ds = open_forecast(write_grib(tmp_path / "f.grib2", 2, fields, LAT, LON))
    for name, value in wanted.values():
        assert ds[name].to_numpy() == pytest.approx(np.full(ds[name].shape, value), rel=1e-4), name


def test_the_wind_at_ten_metres_is_taken(tmp_path):
    u, v = winds(TIME[:1], LAT, LON)
    keys = {"dataDate": 20260601, "dataTime": 0, "step": 0, **latlon_keys(LAT, LON)}
    out = b""
    for level, factor in ((100, 2.0), (10, 1.0), (80, 3.0)):
        for short, field in (("u", u), ("v", v)):
            height = {"typeOfFirstFixedSurface": 103, "level": level, "shortName": short}
            number = {"parameterCategory": 2, "parameterNumber": 2 if short == "u" else 3}
            height = {"discipline": 0, **number, "typeOfFirstFixedSurface": 103, "level": level}
            out += message(2, keys | height, factor * field[0, 0])
    (tmp_path / "f.grib2").write_bytes(out)
    ds = open_forecast(tmp_path / "f.grib2")
    assert np.abs(ds.eastward_wind.to_numpy()[0] - u[0, 0]).max() < PACKING
    levels = xr.Dataset(
        {
            name: (("time", "height", "lat", "lon"), np.stack([3 * f[:, 0], f[:, 0]], 1), attrs)
            for name, f, attrs in (
                ("u", u, {"standard_name": "eastward_wind", "units": "m/s"}),
                ("v", v, {"standard_name": "northward_wind", "units": "m/s"}),
            )
        },
        {
            "time": TIME[:1],
            "height": ("height", [100.0, 10.0], {"units": "m"}),
            "lat": LAT,
            "lon": LON,
        },
    )
    levels.to_netcdf(tmp_path / "f.nc")
    ds = open_forecast(tmp_path / "f.nc")
    assert np.abs(ds.eastward_wind.to_numpy() - u[:, 0]).max() < 1e-12


def test_a_wind_aloft_is_not_the_wind(tmp_path):
    u, v = winds(TIME, LAT, LON)
    ds = dataset(wind_fields(u, v), TIME, LAT, LON)
    ds = ds.rename(u10="u100", v10="v100").assign_coords(height=((), 100.0, {"units": "m"}))
    ds.to_netcdf(tmp_path / "f.nc")
    with pytest.raises(InputError, match="no 10 m wind in this forecast"):
        open_forecast(tmp_path / "f.nc")


def test_currents_by_their_numbers(tmp_path):
    """ecCodes has no short name for GRIB2's currents (10-1-2 and 10-1-3 of code table 4.2)."""
    u, v = winds(TIME[:1], LAT, LON)
    keys = {"dataDate": 20260601, "dataTime": 0, "step": 0, **latlon_keys(LAT, LON)}
    out = message(2, keys | {"shortName": "10u"}, u[0, 0])
    out += message(2, keys | {"shortName": "10v"}, v[0, 0])
    for number, field in ((2, u), (3, v)):
        place = {"discipline": 10, "parameterCategory": 1, "parameterNumber": number}
        out += message(2, keys | place | {"typeOfFirstFixedSurface": 1}, 0.1 * field[0, 0])
    (tmp_path / "f.grib2").write_bytes(out)
    ds = open_forecast(tmp_path / "f.grib2")
    assert np.abs(ds.eastward_sea_water_velocity.to_numpy()[0] - 0.1 * u[0, 0]).max() < PACKING
    assert np.abs(ds.northward_sea_water_velocity.to_numpy()[0] - 0.1 * v[0, 0]).max() < PACKING


def test_currents_as_speed_and_direction_go_to(tmp_path):
    u, v = winds(TIME, LAT, LON)
    fields = wind_fields(u, v) | {
        "s": (np.full(u.shape, 0.5), {"standard_name": "sea_water_speed", "units": "m s-1"}),
        "d": (
            np.full(u.shape, 90.0),
            {"standard_name": "sea_water_velocity_to_direction", "units": "degree"},
        ),
    }
    ds = open_forecast(write_netcdf(tmp_path / "f.nc", fields, TIME, LAT, LON))
    assert ds.eastward_sea_water_velocity.to_numpy() == pytest.approx(
        np.full(ds.eastward_wind.shape, 0.5)
    )
    assert np.abs(ds.northward_sea_water_velocity.to_numpy()).max() < 1e-12


@pytest.mark.parametrize(
    ("names", "attrs", "coords"),
    [
        (("u", "v"), {}, {"isobaricInhPa": 500.0}),
        (("u", "v"), {}, {"level": 850.0}),
        (("u", "v"), {"GRIB_typeOfLevel": "isobaricInhPa"}, {}),
        (("u100", "v100"), {}, {}),
        (("100u", "100v"), {}, {}),
        (("u", "v"), {"long_name": "100 metre wind component"}, {}),
        (("u", "v"), {}, {"height": 80.0}),
    ],
)
@pytest.mark.parametrize("scalar", [True, False])
def test_winds_on_other_levels_are_not_the_wind(names, attrs, coords, scalar, tmp_path):
    u, v = winds(TIME, LAT, LON)
    fields = {
        name: (values, {"standard_name": standard, "units": "m s-1", **attrs})
        for name, values, standard in zip(
            names, (u, v), ("eastward_wind", "northward_wind"), strict=True
        )
    }
    ds = dataset(fields, TIME, LAT, LON)
    if scalar:
        ds = ds.assign_coords(coords)
    else:
        ds = ds.expand_dims({name: [value] for name, value in coords.items()})
    ds.to_netcdf(tmp_path / "f.nc")
    with pytest.raises(InputError, match=rf"no 10 m wind .*{names[0]}: left out, it"):
        open_forecast(tmp_path / "f.nc")


def test_sums_of_rain_become_rates(tmp_path):
    """Summed from the run's start, as ECMWF does, and from the start of six hours, as NCEP."""
    u, v = winds(hours(10), LAT, LON)
    wind = write_grib(tmp_path / "w.grib2", 2, {"10u": u, "10v": v}, LAT, LON)
    # 1 mm in the first hour, 2 in the second, ...: 3600 s of n/3600 kg m-2 s-1.
    each = np.arange(1, 10.0)
    for reset in (0, 6):
        out = b""
        for end in range(1, 10):
            start = (end - 1) // reset * reset if reset else 0
            keys = {
                "dataDate": 20260601,
                "dataTime": 0,
                "centre": "kwbc",
                **latlon_keys(LAT, LON),
                "productDefinitionTemplateNumber": 8,
                "stepType": "accum",
                "stepRange": f"{start}-{end}",
                "discipline": 0,
                "parameterCategory": 1,
                "parameterNumber": 8,
                "typeOfFirstFixedSurface": 1,
            }
            out += message(2, keys, np.full((LAT.size, LON.size), each[start:end].sum()))
        path = tmp_path / f"rain{reset}.grib2"
        path.write_bytes(out)
        rate = open_forecast([wind, path]).precipitation_flux[:, 0, 0].to_numpy()
        assert np.isnan(rate[0])
        assert rate[1:] * 3600.0 == pytest.approx(each, rel=1e-4)


def test_a_sum_over_an_unknown_interval_is_left_out(tmp_path):
    u, v = winds(TIME, LAT, LON)
    fields = {**wind_fields(u, v), "tp": (np.abs(u), {"units": "mm"})}
    ds = open_forecast(write_netcdf(tmp_path / "f.nc", fields, TIME, LAT, LON))
    assert "precipitation_flux" not in ds
    assert "tp: left out, the file does not say over which interval" in ds.attrs["notes"]


def test_a_sum_with_bounds_becomes_a_rate(tmp_path):
    u, v = winds(TIME, LAT, LON)
    ds = dataset(
        {**wind_fields(u, v), "tp": (np.full(u.shape, 0.0036), {"units": "m"})}, TIME, LAT, LON
    )
    hour = np.timedelta64(1, "h")
    ds["time_bnds"] = (("time", "bnds"), np.column_stack([TIME - hour, TIME]))
    ds.time.attrs["bounds"] = "time_bnds"
    ds.time.encoding["units"] = ds.time_bnds.encoding["units"] = "hours since 2026-05-31"
    ds.to_netcdf(tmp_path / "f.nc")
    rate = open_forecast(tmp_path / "f.nc").precipitation_flux.to_numpy()
    assert rate == pytest.approx(np.full(rate.shape, 0.001))


def test_spreads_and_probabilities_are_not_winds(tmp_path):
    u, v = winds(TIME[:1], LAT, LON)
    keys = {"dataDate": 20260601, "dataTime": 0, "step": 0, **latlon_keys(LAT, LON)}
    spread = {"productDefinitionTemplateNumber": 2, "derivedForecast": 2}
    out = message(2, keys | spread | {"shortName": "10u"}, u[0, 0])
    out += message(2, keys | spread | {"shortName": "10v"}, v[0, 0])
    (tmp_path / "f.grib2").write_bytes(out)
    with pytest.raises(InputError, match="no 10 m wind in this forecast"):
        open_forecast(tmp_path / "f.grib2")


def test_missing_grib_values_are_unknown(tmp_path):
    u, v = winds(TIME, LAT, LON)
    height = np.abs(u)
    height[:, :, :, :5] = np.nan
    path = tmp_path / "f.grib2"
    write_grib(path, 2, {"10u": u, "10v": v}, LAT, LON)
    wave = write_grib(tmp_path / "s.grib2", 2, {"swh": height}, LAT, LON, missing=9999.0)
    found = open_forecast([path, wave]).sea_surface_wave_significant_height.to_numpy()
    assert np.isnan(found[..., :5]).all()
    assert np.abs(found[..., 5:] - height[:, 0, :, 5:]).max() < 0.01


def test_waves_on_another_grid_are_resampled_and_said(tmp_path):
    u, v = winds(TIME, LAT, LON)
    wind = write_netcdf(tmp_path / "w.nc", wind_fields(u, v), TIME, LAT, LON)
    lat, lon = np.arange(56.9, 59.2, 0.1), np.arange(8.9, 12.2, 0.1)
    plane = np.broadcast_to((lat[:, None] - 50) / 5 + lon / 20, (7, 1, lat.size, lon.size))
    turn = np.broadcast_to(np.where(lon < 10.0, 359.0, 1.0), plane.shape)
    fields = {"swh": (plane, {"units": "m"}), "mwd": (turn, {"units": "degree"})}
    wave = write_netcdf(tmp_path / "s.nc", fields, TIME, lat, lon)
    ds = open_forecast([wind, wave])
    wanted = (LAT[:, None] - 50) / 5 + LON / 20
    assert np.abs(ds.sea_surface_wave_significant_height.to_numpy() - wanted).max() < 1e-9
    turned = (ds.sea_surface_wave_from_direction.to_numpy() + 180.0) % 360.0
    assert ((turned > 178.9) & (turned < 181.1)).all()
    assert "swh: resampled to the grid of the wind" in ds.attrs["notes"]

"""Forecasts that cannot be used: each refused with one line that names the file."""

import os
import subprocess
import sys
import time

import numpy as np
import pytest
import xarray as xr
from _forecastfiles import (
    dataset,
    hours,
    latlon_keys,
    message,
    wind_fields,
    winds,
    write_grib,
    write_netcdf,
)

from routeplan._forecast import guard as _forecast_guard
from routeplan.errors import InputError
from routeplan.forecast import inspect_forecast, open_forecast, open_forecast_guarded

LAT, LON = np.arange(57.0, 58.01, 0.25), np.arange(9.0, 10.01, 0.25)
TIME = hours(4)
U, V = winds(TIME, LAT, LON)


def refused(path, match, **kwargs):
    """Open in this process and in one of its own: the same single line, which names the file."""
    with pytest.raises(InputError, match=match) as here:
        open_forecast(path, **kwargs)
    text = str(here.value)
    assert "\n" not in text
    assert str(path) in text
    assert len(text) < 500
    return text


def good(path):
    return write_netcdf(path, wind_fields(U, V), TIME, LAT, LON)


def with_times(path, values, **attrs):
    """A file whose time axis is as given."""
    ds = dataset(wind_fields(U, V), TIME, LAT, LON).drop_vars("time")
    ds["time"] = ("time", np.asarray(values), attrs)
    ds.to_netcdf(path)
    return path


HOURS = {"units": "hours since 2026-06-01"}


def test_missing_file(tmp_path):
    refused(tmp_path / "no.nc", "cannot be opened .No such file or directory.")


def test_directory(tmp_path):
    refused(tmp_path, "is a directory and not a Zarr store; allowed is NetCDF, GRIB1, GRIB2")


def test_unreadable_name():
    with pytest.raises(InputError, match="cannot be opened"):
        open_forecast("a\0b")


@pytest.mark.parametrize(
    ("content", "match"),
    [
        (b"", "is empty; allowed is NetCDF"),
        (b"<!DOCTYPE html><p>503</p>", "is a web page or XML, not a forecast"),
        (b"\x1f\x8b\x08", "is a compressed archive and must be unpacked first"),
        (b"PK\x03\x04", "is a compressed archive"),
        (b"time,u,v\n0,1,2\n", "is not a forecast"),
        (os.urandom(5000).replace(b"GRIB", b"xxxx"), "is not a forecast"),
        (b"GRIB", "damaged GRIB file|no 10 m wind"),
        (b"\x89HDF\r\n\x1a\n" + bytes(200), "damaged NetCDF file"),
        (b"CDF\x01" + bytes(3), "damaged NetCDF file"),
    ],
)
def test_not_a_forecast(content, match, tmp_path):
    path = tmp_path / "f"
    path.write_bytes(content)
    refused(path, match)


def test_no_files_and_too_many():
    with pytest.raises(InputError, match="0 forecast files; allowed are 1 to 1000"):
        open_forecast([])
    with pytest.raises(InputError, match="1001 forecast files"):
        open_forecast(["f"] * 1001)


def test_no_wind(tmp_path):
    fields = {"t2m": (np.full(U.shape, 280.0), {"units": "K"})}
    path = write_netcdf(tmp_path / "f.nc", fields, TIME, LAT, LON)
    refused(path, r"no 10 m wind in this forecast \(it holds t2m\); needed are eastward_wind")


def test_one_component(tmp_path):
    fields = wind_fields(U, V)
    del fields["v10"]
    path = write_netcdf(tmp_path / "f.nc", fields, TIME, LAT, LON)
    refused(path, r"no 10 m wind in this forecast \(it holds u10\)")


@pytest.mark.parametrize("units", ["K", "m", "Pa", "degrees", "m/s2", "knotz", "1"])
def test_wrong_units(units, tmp_path):
    path = write_netcdf(tmp_path / "f.nc", wind_fields(U, V, units), TIME, LAT, LON)
    refused(
        path,
        f"u10 has units '{units}', which is not a speed that is known; allowed: m s-1, kt, km/h",
    )


@pytest.mark.parametrize("name", ["u10", "gust", "swh"])
def test_no_units(name, tmp_path):
    fields = wind_fields(U, V)
    fields["gust"] = (np.abs(U), {"units": "m s-1"})
    fields["swh"] = (np.abs(U), {"units": "m"})
    del fields[name][1]["units"]
    path = write_netcdf(tmp_path / "f.nc", fields, TIME, LAT, LON)
    refused(path, f"{name} has no units attribute; set it .allowed: .* or take the variable out")


def test_units_that_cannot_be_true(tmp_path):
    fields = wind_fields(300.0 + U, V)
    path = write_netcdf(tmp_path / "f.nc", fields, TIME, LAT, LON)
    refused(path, "u10 holds .* m s-1, allowed are -150 to 150: wrong units, or missing values")


def test_an_impossible_other_field_is_left_out_and_said(tmp_path):
    fields = wind_fields(U, V) | {"swh": (np.full(U.shape, 9999.0), {"units": "m"})}
    ds = open_forecast(write_netcdf(tmp_path / "f.nc", fields, TIME, LAT, LON))
    assert "sea_surface_wave_significant_height" not in ds
    assert "swh: left out, swh holds 9999 m, allowed are 0 to 50" in ds.attrs["notes"]


def test_times_not_in_order(tmp_path):
    path = with_times(tmp_path / "f.nc", [0, 2, 1, 3], **HOURS)
    refused(path, "times are not in order .2026-06-01T01:00Z comes too late.; allowed are steps")


def test_times_twice(tmp_path):
    path = with_times(tmp_path / "f.nc", [0, 1, 1, 2], **HOURS)
    refused(path, "time 2026-06-01T01:00Z is given twice; allowed are steps that ascend")


def test_times_missing(tmp_path):
    path = with_times(tmp_path / "f.nc", [0.0, 1.0, np.nan, 2.0], **HOURS)
    refused(path, "time holds no times, or missing ones")


@pytest.mark.parametrize(
    ("values", "attrs", "match"),
    [
        ([0, 1, 2, 3], {}, "u10 has no time coordinate; allowed is one with units"),
        ([0, 1, 2, 3], {"units": "hours since yesterday"}, "times of time cannot be read"),
        (
            [0, 1, 2, 3],
            {"units": "hours since 2026-06-01", "calendar": "360_day"},
            "calendar '360_day'",
        ),
        ([0, 1, 2, 1e15], HOURS, "times of time cannot be read"),
    ],
)
def test_times_that_cannot_be_read(values, attrs, match, tmp_path):
    refused(with_times(tmp_path / "f.nc", values, **attrs), match)


@pytest.mark.parametrize(
    ("lat", "lon", "match"),
    [
        ([57.0, 57.5, 57.25, 58.0, 58.5], LON, "latitudes are not in order"),
        ([57.0, 57.5, 58.0, 58.5, 95.0], LON, "not degrees between -90 and 90"),
        ([57.0, 57.5, np.nan, 58.0, 58.5], LON, "not degrees between -90 and 90"),
        (LAT, [9.0, 9.5, 9.25, 10.0, 10.5], "longitudes are not in order"),
        (LAT, [9.0, 9.5, 1e6, 10.0, 10.5], "grid longitude 1e.06; allowed are -180 to 360"),
    ],
)
def test_grids_that_cannot_be(lat, lon, match, tmp_path):
    path = write_netcdf(tmp_path / "f.nc", wind_fields(U, V), TIME, np.array(lat), np.array(lon))
    refused(path, match)


def test_impossible_requests(tmp_path):
    path = good(tmp_path / "f.nc")
    for bounds in [(0, 5, 1, 4), (0, 0, np.nan, 1), (0, -95, 1, 0), (-200, 0, 200, 1)]:
        with pytest.raises(InputError, match=r"allowed are degrees \(west, south, east, north\)"):
            open_forecast(path, bounds=bounds)
    with pytest.raises(InputError, match="the first not after the last"):
        open_forecast(path, time_range=(TIME[2], TIME[1]))


def test_components_on_different_grids(tmp_path):
    paths = [
        write_netcdf(tmp_path / "u.nc", {"u10": wind_fields(U, V)["u10"]}, TIME, LAT, LON),
        write_netcdf(tmp_path / "v.nc", {"v10": wind_fields(U, V)["v10"]}, TIME, LAT, LON + 0.1),
    ]
    ds = open_forecast(paths)
    assert np.isnan(ds.northward_wind[..., -1]).sum() == 0
    assert np.isnan(ds.northward_wind[..., 0]).all()  # west of the other grid: unknown
    assert "v10: resampled to the grid of the wind" in ds.attrs["notes"]


def test_the_same_hours_from_two_files(tmp_path):
    first, second = good(tmp_path / "a.nc"), good(tmp_path / "b.nc")
    with pytest.raises(InputError, match=r"b.nc: u10 for 2026-06-01T00:00Z is in .*a.nc too"):
        open_forecast([first, second])


def test_the_same_hour_twice_in_grib(tmp_path):
    path = write_grib(tmp_path / "f.grib2", 2, {"10u": U, "10v": V}, LAT, LON)
    path.write_bytes(path.read_bytes() * 2)
    refused(path, "10u is given twice for 2026-06-01T00:00Z; allowed is one model run")


def test_several_runs_in_one_netcdf(tmp_path):
    ds = dataset(wind_fields(U, V), TIME, LAT, LON).rename(time="step").drop_vars("step")
    ds = xr.concat([ds, ds], "run").assign_coords(
        valid_time=(("run", "step"), [[0, 1, 2, 3], [3, 4, 5, 6]], HOURS)
    )
    ds.to_netcdf(tmp_path / "f.nc")
    refused(tmp_path / "f.nc", "valid_time has 2 dimensions; allowed is one model run in a file")


# --- claims of size


def test_a_petabyte_by_its_header(tmp_path):
    netCDF4 = pytest.importorskip("netCDF4")
    path = tmp_path / "f.nc"
    with netCDF4.Dataset(path, "w") as file:
        for name, size in (("time", 1000), ("latitude", 400_000), ("longitude", 400_000)):
            file.createDimension(name, size)
            axis = file.createVariable(name, "f8", (name,), fill_value=False)
            axis[:] = np.linspace(0, 40, size)
        file["time"].units = "hours since 2026-06-01"
        for name in ("eastward_wind", "northward_wind"):
            dims = ("time", "latitude", "longitude")
            chunks = (1, 1000, 1000)
            file.createVariable(name, "f8", dims, chunksizes=chunks, zlib=True).units = "m s-1"
    assert path.stat().st_size < 10_000_000
    started = time.perf_counter()
    refused(path, "GiB of numbers to read; at most 2 GiB are allowed: ask for a smaller box")
    assert time.perf_counter() - started < 10.0


@pytest.mark.parametrize("dim", ["time", "latitude"])
def test_an_endless_axis(dim, tmp_path):
    netCDF4 = pytest.importorskip("netCDF4")
    path = tmp_path / "f.nc"
    with netCDF4.Dataset(path, "w") as file:
        for name in ("time", "latitude", "longitude"):
            file.createDimension(name, 10**13 if name == dim else 4)
            options = {"chunksizes": (1_000_000,)} if name == dim else {}
            file.createVariable(name, "f8", (name,), zlib=True, **options)
        file["time"].units = "hours since 2026-06-01"
        dims = ("time", "latitude", "longitude")
        file.createVariable("u10", "f8", dims, zlib=True, chunksizes=(1, 1, 1)).units = "m s-1"
    refused(path, f"{dim} has 10000000000000 entries; at most 5000000 are allowed")


def test_a_grib_header_that_claims_a_huge_grid(tmp_path):
    keys = {"dataDate": 20260601, "dataTime": 0, "step": 0, "shortName": "10u"}
    content = bytearray(message(2, keys | latlon_keys(LAT, LON), np.ones((5, 5)), bits=0))
    grid = content.index(b"\x03", 16 + 21)  # section 3 after sections 0 and 1
    assert content[grid - 4 : grid] == (72).to_bytes(4, "big")
    start = grid - 4
    content[start + 6 : start + 10] = (2**31).to_bytes(4, "big")  # number of points
    content[start + 30 : start + 34] = (2**16).to_bytes(4, "big")  # Ni
    content[start + 34 : start + 38] = (2**15).to_bytes(4, "big")  # Nj
    path = tmp_path / "f.grib2"
    path.write_bytes(bytes(content))
    refused(path, "a grid of 32768 by 65536 points; at most 50000000 are allowed")


# --- the process of its own


def test_errors_come_back_whole(tmp_path):
    path = write_netcdf(tmp_path / "f.nc", wind_fields(U, V, "K"), TIME, LAT, LON)
    with pytest.raises(InputError, match="u10 has units 'K'") as here:
        open_forecast(path)
    with pytest.raises(InputError, match="u10 has units 'K'") as there:
        open_forecast_guarded(path)
    assert str(here.value) == str(there.value)
    assert here.value.field == there.value.field == "u10"
    assert there.value.path == path


def test_a_crash_of_the_decoder_is_one_line(tmp_path, monkeypatch):
    crash = "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)"
    monkeypatch.setattr(_forecast_guard, "_COMMAND", crash)
    path = good(tmp_path / "f.nc")
    with pytest.raises(InputError, match=r"f.nc: the decoder broke down on it .status -11."):
        open_forecast_guarded(path)


def test_a_decoder_that_never_ends_is_stopped(tmp_path, monkeypatch):
    monkeypatch.setattr(_forecast_guard, "_COMMAND", "import time; time.sleep(60)")
    started = time.perf_counter()
    with pytest.raises(InputError, match=r"reading took more than 0\.3 s and was stopped"):
        open_forecast_guarded(good(tmp_path / "f.nc"), time_limit_s=0.3)
    assert time.perf_counter() - started < 20.0


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="limits of memory need Linux")
def test_a_decoder_that_wants_too_much_memory_is_stopped(tmp_path):
    with pytest.raises(
        InputError, match=r"needs more than 0.098 GiB|cannot be read|too large to read"
    ):
        open_forecast_guarded(good(tmp_path / "f.nc"), memory_limit=100 * 1024**2)


def test_an_unexpected_error_keeps_its_trace(tmp_path, monkeypatch):
    wrong = "import routeplan._forecast.read as r; r.read_forecast = None; " + (
        "from routeplan._forecast.guard import _child; _child()"
    )
    monkeypatch.setattr(_forecast_guard, "_COMMAND", wrong)
    with pytest.raises(InputError, match=r"f\.nc: cannot be read .TypeError: 'NoneType'") as err:
        inspect_forecast(good(tmp_path / "f.nc"))
    assert "Traceback" in str(err.value.__cause__)


def test_nothing_is_written_to_standard_error(tmp_path):
    """ecCodes complains about damaged files on its own; a user must see one line only."""
    path = write_grib(tmp_path / "f.grib2", 2, {"10u": U, "10v": V}, LAT, LON)
    path.write_bytes(path.read_bytes()[:-30])
    code = (
        "import sys; from routeplan.forecast import open_forecast\n"
        "try: open_forecast(sys.argv[1])\n"
        "except ValueError as err: print(err)"
    )
    done = subprocess.run([sys.executable, "-c", code, path], capture_output=True, text=True)
    assert done.stderr == ""
    assert "damaged GRIB file" in done.stdout

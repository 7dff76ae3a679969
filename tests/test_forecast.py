"""One field in every form that is read, the names, levels and units that files use."""

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
    smooth,
    wind_fields,
    winds,
    write_grib,
    write_netcdf,
)

from routeplan.errors import CoverageError, InputError
from routeplan.forecast import (
    OLD_AFTER_S,
    coverage,
    inspect_forecast,
    open_forecast,
    open_forecast_guarded,
)
from routeplan.sampling import sample_series

LAT, LON = np.arange(57.0, 59.01, 0.25), np.arange(9.0, 12.01, 0.25)
TIME = hours(7)
PLACES = np.array([9.0, 9.1, 10.33, 11.99]), np.array([57.0, 58.2, 58.77, 58.99])


def expected():
    """Winds at PLACES by scipy-free bilinear interpolation of the field itself."""
    u, v = winds(TIME, LAT, LON)
    out = []
    for field in (u, v):
        ds = xr.DataArray(
            field[:, 0], dims=("time", "y", "x"), coords={"time": TIME, "y": LAT, "x": LON}
        )
        at = {"x": xr.DataArray(PLACES[0], dims="p"), "y": xr.DataArray(PLACES[1], dims="p")}
        out.append(ds.interp(at).transpose("p", "time").to_numpy())
    return out


def polar(u, v):
    """Speed and the direction the wind comes from."""
    return np.hypot(u, v), (270.0 - np.degrees(np.arctan2(v, u))) % 360.0


def in_netcdf(folder, **kwargs):
    lat, lon = kwargs.pop("lat", LAT), kwargs.pop("lon", LON)
    u, v = winds(TIME, lat, lon)
    return write_netcdf(folder / "f.nc", wind_fields(u, v), TIME, lat, lon, **kwargs)


def netcdf_knots(folder):
    u, v = (c / KNOT_MS for c in winds(TIME, LAT, LON))
    return write_netcdf(folder / "f.nc", wind_fields(u, v, "knots"), TIME, LAT, LON)


def netcdf_polar(folder, unit=1.0, units="m s-1"):
    speed, direction = polar(*winds(TIME, LAT, LON))
    fields = {
        "ws": (speed / unit, {"standard_name": "wind_speed", "units": units}),
        "wd": (direction, {"standard_name": "wind_from_direction", "units": "degree"}),
    }
    return write_netcdf(folder / "f.nc", fields, TIME, LAT, LON)


def netcdf_packed(folder):
    packed = {"dtype": "i4", "scale_factor": 1e-7, "_FillValue": -(2**31)}
    return in_netcdf(folder, encoding={"u10": packed, "v10": packed})


def zarr(folder, **kwargs):
    pytest.importorskip("zarr")
    u, v = winds(TIME, LAT, LON)
    ds = dataset(wind_fields(u, v), TIME, LAT, LON)
    ds.to_zarr(folder / "f.zarr", consolidated=False, **kwargs)
    return folder / "f.zarr"


def grib(folder, edition, **kwargs):
    lat, lon = kwargs.pop("lat", LAT), kwargs.pop("lon", LON)
    u, v = winds(TIME, lat, lon)
    return write_grib(folder / f"f.grib{edition}", edition, {"10u": u, "10v": v}, lat, lon)


def grib_polar(folder, edition):
    speed, direction = polar(*winds(TIME, LAT, LON))
    fields = {"10si": speed, "10wdir": direction}
    if edition == 1:
        fields = {"10si": speed, "wdir": direction}
    return write_grib(folder / f"f.grib{edition}", edition, fields, LAT, LON)


def grib_columns(folder):
    """Scanned by columns, from the south."""
    u, v = winds(TIME, LAT, LON)
    out = []
    for short, field in (("10u", u), ("10v", v)):
        for t in range(TIME.size):
            keys = {"dataDate": 20260601, "dataTime": 0, "step": t, **latlon_keys(LAT, LON)}
            keys |= {"jPointsAreConsecutive": 1, "shortName": short}
            out.append(message(2, keys, field[t, 0].T))
    (folder / "f.grib2").write_bytes(b"".join(out))
    return folder / "f.grib2"


def grib_winding(folder):
    """Every other row scanned backwards."""
    u, v = winds(TIME, LAT[::-1], LON)
    out = []
    for short, field in (("10u", u), ("10v", v)):
        for t in range(TIME.size):
            keys = {"dataDate": 20260601, "dataTime": 0, "step": t, **latlon_keys(LAT[::-1], LON)}
            keys |= {"alternativeRowScanning": 1, "shortName": short}
            table = field[t, 0].copy()
            table[1::2] = table[1::2, ::-1]
            out.append(message(2, keys, table))
    (folder / "f.grib2").write_bytes(b"".join(out))
    return folder / "f.grib2"


def files_by_hour(folder):
    u, v = winds(TIME, LAT, LON)
    paths = []
    for t in range(TIME.size):
        path = folder / f"{t}.nc"
        paths.append(
            write_netcdf(path, wind_fields(u[t : t + 1], v[t : t + 1]), TIME[t : t + 1], LAT, LON)
        )
    return paths[::-1]  # in any order


def files_by_component(folder):
    u, v = winds(TIME, LAT, LON)
    return [
        write_grib(folder / "u.grib2", 2, {"10u": u}, LAT, LON),
        write_grib(folder / "v.grib2", 2, {"10v": v}, LAT, LON),
    ]


FORMS = {
    "netcdf": (in_netcdf, 1e-12),
    "netcdf 3": (lambda f: in_netcdf(f, format="NETCDF3_CLASSIC", engine="netcdf4"), 1e-12),
    "netcdf 3, 64 bit": (lambda f: in_netcdf(f, format="NETCDF3_64BIT"), 1e-12),
    "netcdf packed": (netcdf_packed, 1e-7),
    "netcdf north to south": (lambda f: in_netcdf(f, lat=LAT[::-1]), 1e-12),
    "netcdf east of 360": (lambda f: in_netcdf(f, lon=LON + 360.0), 1e-12),
    "netcdf in knots": (netcdf_knots, 1e-12),
    "netcdf speed and direction": (netcdf_polar, 1e-9),
    "netcdf speed in km/h": (lambda f: netcdf_polar(f, 1 / 3.6, "km/h"), 1e-9),
    "zarr": (zarr, 1e-12),
    "zarr 2": (lambda f: zarr(f, zarr_format=2), 1e-12),
    "grib 1": (lambda f: grib(f, 1), PACKING),
    "grib 2": (lambda f: grib(f, 2), PACKING),
    "grib 1 north to south": (lambda f: grib(f, 1, lat=LAT[::-1]), PACKING),
    "grib 2 north to south": (lambda f: grib(f, 2, lat=LAT[::-1]), PACKING),
    "grib 1 speed and direction": (lambda f: grib_polar(f, 1), 1e-4),
    "grib 2 speed and direction": (lambda f: grib_polar(f, 2), 1e-4),
    "grib 2 by columns": (grib_columns, PACKING),
    "grib 2 winding rows": (grib_winding, PACKING),
    "a file for every hour": (files_by_hour, 1e-12),
    "a file for each component": (files_by_component, PACKING),
}


@pytest.mark.parametrize("form", FORMS)
def test_the_same_wind_from_every_form(form, tmp_path):
    make, tolerance = FORMS[form]
    ds = open_forecast(make(tmp_path))
    assert dict(ds.sizes) == {"time": 7, "latitude": LAT.size, "longitude": LON.size}
    assert ds.latitude.to_numpy() == pytest.approx(LAT)
    assert ds.longitude.to_numpy() == pytest.approx(LON)
    assert ds.time.dtype == np.dtype("datetime64[ns]")
    assert (ds.time.to_numpy() == TIME).all()
    series = sample_series(ds, *PLACES)
    for name, wanted in zip(("eastward_wind", "northward_wind"), expected(), strict=True):
        assert ds[name].attrs["units"] == "m s-1"
        assert np.abs(series.values[name][:, :, 0] - wanted).max() < tolerance


@pytest.mark.parametrize("edition", [0, 1, 2])
def test_the_same_wind_as_members(edition, tmp_path):
    u, v = winds(TIME, LAT, LON, members=4)
    numbers = [0, 1, 2, 5]
    if edition:
        path = write_grib(
            tmp_path / "f.grib", edition, {"10u": u, "10v": v}, LAT, LON, members=numbers
        )
    else:
        path = write_netcdf(tmp_path / "f.nc", wind_fields(u, v), TIME, LAT, LON, members=numbers)
    ds = open_forecast(path)
    assert ds.eastward_wind.dims == ("time", "number", "latitude", "longitude")
    assert ds.number.to_numpy().tolist() == numbers
    assert coverage(ds).members == 4
    assert np.abs(ds.eastward_wind.to_numpy() - u).max() < 2 * PACKING
    assert np.abs(ds.northward_wind.to_numpy() - v).max() < 2 * PACKING


def test_a_file_for_each_member(tmp_path):
    u, v = winds(TIME, LAT, LON, members=3)
    paths = [
        write_grib(
            tmp_path / f"{e}.grib2", 2, {"10u": u[:, [e]], "10v": v[:, [e]]}, LAT, LON, members=[e]
        )
        for e in range(3)
    ]
    ds = open_forecast(paths)
    assert ds.number.to_numpy().tolist() == [0, 1, 2]
    assert np.abs(ds.eastward_wind.to_numpy() - u).max() < 2 * PACKING


def test_what_has_no_members_is_the_same_for_all(tmp_path):
    u, v = winds(TIME, LAT, LON, members=2)
    wind = write_grib(tmp_path / "w.grib2", 2, {"10u": u, "10v": v}, LAT, LON, members=[0, 1])
    wave = write_grib(tmp_path / "s.grib2", 2, {"swh": np.abs(u[:, :1])}, LAT, LON)
    ds = open_forecast([wind, wave])
    height = ds.sea_surface_wave_significant_height
    assert height.sizes["number"] == 2
    assert (height.isel(number=0) == height.isel(number=1)).all()


def test_several_fields_in_one_grib_message(tmp_path):
    """Some centres put both components in one message, repeating only some of its sections."""
    u, v = winds(TIME[:1], LAT, LON)
    keys = {"dataDate": 20260601, "dataTime": 0, "step": 0, **latlon_keys(LAT, LON)}
    first = message(2, keys | {"shortName": "10u"}, u[0, 0])
    second = message(2, keys | {"shortName": "10v"}, v[0, 0])
    sections = b""
    position = 16
    while second[position : position + 4] != b"7777":
        size = int.from_bytes(second[position : position + 4], "big")
        if second[position + 4] >= 4:
            sections += second[position : position + size]
        position += size
    joined = first[:-4] + sections + b"7777"
    joined = joined[:8] + len(joined).to_bytes(8, "big") + joined[16:]
    (tmp_path / "f.grib2").write_bytes(joined)
    ds = open_forecast(tmp_path / "f.grib2")
    assert np.abs(ds.eastward_wind.to_numpy()[0] - u[0, 0]).max() < PACKING
    assert np.abs(ds.northward_wind.to_numpy()[0] - v[0, 0]).max() < PACKING


def test_guarded_is_the_same(tmp_path):
    path = grib(tmp_path, 2)
    box = {"bounds": (9.6, 57.6, 10.4, 58.1), "time_range": (TIME[2], TIME[4])}
    xr.testing.assert_identical(open_forecast(path, **box), open_forecast_guarded(path, **box))


# --- cut to the box and the hours


@pytest.mark.parametrize("form", ["netcdf", "grib 2", "zarr"])
def test_only_the_box_and_the_hours_are_kept(form, tmp_path):
    make, _ = FORMS[form]
    path = make(tmp_path)
    half = np.timedelta64(30, "m")
    ds = open_forecast(
        path, bounds=(10.6, 58.4, 10.7, 58.45), time_range=(TIME[2] + half, TIME[3] + half)
    )
    assert (ds.time.to_numpy() == TIME[2:5]).all()
    assert ds.longitude.to_numpy()[0] < 10.5
    assert ds.longitude.to_numpy()[-1] > 10.75
    assert ds.sizes["longitude"] < LON.size
    assert ds.sizes["latitude"] < LAT.size
    whole = open_forecast(path)
    at = {"time": ds.time, "latitude": ds.latitude, "longitude": ds.longitude}
    xr.testing.assert_allclose(ds, whole.sel(at))


def test_a_file_far_larger_than_memory_is_opened_at_a_box(tmp_path):
    """16 GB by its header, nearly empty on the disk: only the box may be read."""
    netCDF4 = pytest.importorskip("netCDF4")
    path = tmp_path / "large.nc"
    with netCDF4.Dataset(path, "w") as file:
        for name, axis in (
            ("time", np.arange(1000.0)),
            ("latitude", np.linspace(50.0, 60.0, 1000)),
            ("longitude", np.linspace(0.0, 20.0, 1000)),
        ):
            file.createDimension(name, axis.size)
            variable = file.createVariable(name, "f8", (name,))
            variable[:] = axis
        file["time"].units = "hours since 2026-06-01"
        for name, standard in (("u", "eastward_wind"), ("v", "northward_wind")):
            variable = file.createVariable(
                name,
                "f8",
                ("time", "latitude", "longitude"),
                chunksizes=(1, 100, 100),
                zlib=True,
                fill_value=9.0e36,
            )
            variable.units = "m s-1"
            variable.standard_name = standard
            variable[10:12, 490:510, 490:510] = 3.0
    box = (9.95, 54.95, 10.05, 55.05)
    ds = open_forecast(path, bounds=box, time_range=(FIRST + np.timedelta64(10, "h"),) * 2)
    assert ds.eastward_wind.sel(latitude=55.0, longitude=10.0, method="nearest").item() == 3.0
    assert ds.eastward_wind.size < 5000
    with pytest.raises(InputError, match=r"large.nc: 7 GiB of numbers to read; at most 2 GiB"):
        open_forecast(path)


@pytest.mark.parametrize(
    ("bounds", "longitudes"),
    [
        ((-1.0, 57.0, 1.0, 58.0), (-1.0, 1.0)),  # across the seam of a 0..360 grid
        ((179.0, 57.0, -179.0, 58.0), (179.0, 181.0)),  # across the antimeridian
        ((179.0, 57.0, 181.0, 58.0), (179.0, 181.0)),
        ((-75.5, 57.0, -74.5, 58.0), (-75.5, -74.5)),
        ((284.5, 57.0, 285.5, 58.0), (284.5, 285.5)),
    ],
)
@pytest.mark.parametrize("edition", [0, 2])
@pytest.mark.parametrize("west", [0.0, -180.0])
def test_boxes_anywhere_on_a_grid_round_the_earth(bounds, longitudes, edition, west, tmp_path):
    lat, lon = np.arange(55.0, 60.0), west + np.arange(360.0)
    u, v = winds(TIME[:1], lat, lon)
    path = tmp_path / "globe"
    if edition:
        write_grib(path, 2, {"10u": u, "10v": v}, lat, lon)
    else:
        write_netcdf(path, wind_fields(u, v), TIME[:1], lat, lon)
    ds = open_forecast(path, bounds=bounds)
    x = ds.longitude.to_numpy()
    assert (np.diff(x) == 1.0).all()
    assert x[0] <= longitudes[0]
    assert x[-1] >= longitudes[1]
    assert x.size < 12
    wanted, _ = smooth(57.0, (x - west) % 360.0 + west, FIRST)
    assert ds.eastward_wind.sel(latitude=57.0).to_numpy()[0] == pytest.approx(wanted, abs=1e-5)


def test_a_grid_round_the_earth_is_closed(tmp_path):
    lat, lon = np.arange(55.0, 60.0), np.arange(360.0)
    u, v = winds(TIME[:1], lat, lon)
    path = write_netcdf(tmp_path / "globe.nc", wind_fields(u, v), TIME[:1], lat, lon)
    ds = open_forecast(path)
    assert ds.longitude.to_numpy()[[0, -1]].tolist() == [-180.0, 180.0]
    assert (ds.eastward_wind[..., 0] == ds.eastward_wind[..., -1]).all()


def test_a_box_or_hours_outside_are_said(tmp_path):
    path = in_netcdf(tmp_path)
    with pytest.raises(CoverageError, match=r"f.nc: the forecast covers 57.00 to 59.00 north") as e:
        open_forecast(path, bounds=(20.0, 57.0, 21.0, 58.0))
    assert e.value.bounds == (9.0, 57.0, 12.0, 59.0)
    later = (TIME[-1] + np.timedelta64(1, "h"), TIME[-1] + np.timedelta64(9, "h"))
    with pytest.raises(CoverageError, match="runs from 2026-06-01T00:00Z to 2026-06-01T06:00Z"):
        open_forecast(path, time_range=later)
    with pytest.raises(CoverageError, match="the forecast no hours near"):
        open_forecast(path, time_range=(later[0] + np.timedelta64(9, "D"),) * 2)


# --- what it says about itself


def test_attributes_and_coverage(tmp_path):
    attrs = {
        "title": "An invented wind",
        "source": "no model",
        "reference_time": "2026-05-31T18:00:00Z",
        "comment": "Invented for tests.",
        "attribution": "nobody",
        "licence": "CC0",
    }
    ds = open_forecast(in_netcdf(tmp_path, attrs=attrs))
    assert ds.attrs["invented"] == "yes"
    found = coverage(ds)
    assert (found.west, found.south, found.east, found.north) == (9.0, 57.0, 12.0, 59.0)
    assert (found.first, found.last) == (TIME[0], TIME[-1])
    assert found.step_s == 3600.0
    assert found.horizon_s == 6 * 3600.0
    assert found.members == 1
    assert found.variables == ("eastward_wind", "northward_wind")
    assert found.missing["wind_speed_of_gust"] == "gusts unknown: a gust limit cannot be met"
    assert found.reference_time == "2026-05-31T18:00:00Z"
    assert (found.source, found.title, found.invented) == ("no model", "An invented wind", True)
    assert found.spacing_latitude_deg == found.spacing_longitude_deg == 0.25
    assert found.age_s(np.datetime64("2026-06-01T06:00")) == 12 * 3600.0
    assert not found.is_old(np.datetime64("2026-06-01T06:00"))
    assert found.is_old(np.datetime64("2026-06-01T06:01"))
    assert OLD_AFTER_S == 12 * 3600.0


def test_an_unknown_age_counts_as_old(tmp_path):
    found = coverage(open_forecast(in_netcdf(tmp_path)))
    assert found.reference_time == ""
    assert np.isnan(found.age_s(FIRST))
    assert found.is_old(FIRST)


@pytest.mark.parametrize("form", ["netcdf", "grib 2"])
def test_inspection_says_the_same_without_decoding(form, tmp_path):
    path = FORMS[form][0](tmp_path)
    told, known = inspect_forecast(path, guarded=False), coverage(open_forecast(path))
    for name in ("west", "east", "first", "last", "step_s", "variables", "missing", "source"):
        assert getattr(told, name) == getattr(known, name)


def test_coverage_of_a_route(tmp_path):
    found = coverage(open_forecast(in_netcdf(tmp_path)))
    whole = found.of_route([9.5, 370.0], [57.5, 58.5], TIME[1], TIME[5])
    assert whole.complete
    assert whole.reasons == ()
    part = found.of_route([9.5, 12.5], [57.5, 58.5], TIME[0] - 3, TIME[-1] + np.timedelta64(1, "D"))
    assert part.inside.tolist() == [True, False]
    assert not part.complete
    assert part.reasons == (
        "1 of 2 points lie outside the grid (57.00 to 59.00 north, 9.00 to 12.00 east)",
        "nothing before 2026-06-01T00:00Z",
        "nothing after 2026-06-01T06:00Z",
    )
    assert (part.from_time, part.to_time) == (TIME[0], TIME[-1])
    later = found.of_route(
        [9.5], [57.5], TIME[-1] + np.timedelta64(1, "h"), TIME[-1] + np.timedelta64(2, "h")
    )
    assert np.isnat(later.from_time)
    with pytest.raises(InputError, match="allowed are two arrays of one length, not empty"):
        found.of_route([], [])


def test_grib_says_centre_and_run(tmp_path):
    ds = open_forecast(grib(tmp_path, 2))
    assert ds.attrs["reference_time"] == "2026-06-01T00:00:00Z"
    assert "ECMWF" in ds.attrs["source"] or "European Centre" in ds.attrs["source"]


def test_no_index_file_is_left_beside_the_users_file(tmp_path):
    path = grib(tmp_path, 2)
    open_forecast(path)
    assert [p.name for p in tmp_path.iterdir()] == [path.name]

"""Projected, rotated, Gaussian and unstructured grids; winds along a grid's own axes.

The angles are checked against pyproj: the meridian convergence that PROJ works out from the
projection's derivatives, and geodesics on the model's sphere for the rotated pole.
"""

import numpy as np
import pyproj
import pytest
import xarray as xr
from _forecastfiles import FIRST, hours, message, smooth

from routeplan._forecast.fields import RegularGrid
from routeplan._forecast.points import PointGrid, axis_angle
from routeplan._forecast.resample import Resampler
from routeplan.errors import CoverageError, InputError
from routeplan.forecast import coverage, open_forecast
from routeplan.sampling import sample_series

RADIUS = 6371229.0
SPHERE = f"+R={RADIUS}"
LAMBERT = pyproj.Proj(f"+proj=lcc +lat_1=63.3 +lat_2=63.3 +lat_0=63.3 +lon_0=15 {SPHERE}")
POLAR = pyproj.Proj(f"+proj=stere +lat_0=90 +lat_ts=60 +lon_0=10 {SPHERE}")
BOX = (10.5, 57.8, 11.8, 58.8)
TIME = hours(2)


def lambert_grid(step=2500.0, nx=90, ny=110):
    """Positions on a Lambert grid over the Skagerrak, as a regional model has them."""
    x0, y0 = LAMBERT(9.0, 57.2)
    x, y = np.meshgrid(x0 + step * np.arange(nx), y0 + step * np.arange(ny))
    lon, lat = LAMBERT(x, y, inverse=True)
    return x, y, lon, lat


def convergence(proj, lon, lat):
    """Angle of the grid's x axis from east, radians, counter-clockwise, from PROJ."""
    return -np.radians(proj.get_factors(lon, lat).meridian_convergence)


def along_axes(u, v, angle):
    """Components along axes that are turned by an angle from east and north."""
    return u * np.cos(angle) + v * np.sin(angle), v * np.cos(angle) - u * np.sin(angle)


def rotated(rlon, rlat, pole_lon, pole_lat):
    """Latitude and longitude of a rotated grid by PROJ; the pole is the rotated north pole."""
    turn = pyproj.Transformer.from_pipeline(
        f"+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +inv +proj=ob_tran "
        f"+o_proj=longlat +o_lon_p=0 +o_lat_p={pole_lat} +lon_0={pole_lon + 180} {SPHERE} "
        f"+step +proj=unitconvert +xy_in=rad +xy_out=deg"
    )
    return turn.transform(rlon, rlat)


@pytest.mark.parametrize("proj", [LAMBERT, POLAR], ids=["lambert", "polar stereographic"])
def test_angle_of_the_axes_against_proj(proj):
    x0, y0 = proj(3.0, 56.0)
    x, y = np.meshgrid(x0 + 2500.0 * np.arange(200), y0 + 2500.0 * np.arange(150))
    lon, lat = proj(x, y, inverse=True)
    assert np.abs(convergence(proj, lon, lat)).max() > np.radians(3.0)  # something to turn
    assert np.abs(axis_angle(lat, lon) - convergence(proj, lon, lat)).max() < 2e-6


def test_angle_of_a_rotated_grid_against_geodesics():
    rlon, rlat = np.meshgrid(np.arange(-5.0, 5.0, 0.05), np.arange(-3.0, 4.0, 0.05))
    lon, lat = rotated(rlon, rlat, -162.0, 39.25)
    ahead = rotated(rlon + 1e-4, rlat, -162.0, 39.25)
    azimuth, _, _ = pyproj.Geod(f"+a={RADIUS} +b={RADIUS}").inv(lon, lat, *ahead)
    expected = np.radians(90.0 - azimuth)
    assert np.abs(expected).max() > np.radians(3.0)
    assert np.abs(axis_angle(lat, lon) - expected).max() < 5e-6


def lambert_messages(relative, *, winding=False):
    """GRIB2 of the invented wind on the Lambert grid, along its axes or not."""
    x, _, lon, lat = lambert_grid()
    u, v = smooth(lat, lon, FIRST)
    if relative:
        u, v = along_axes(u, v, convergence(LAMBERT, lon, lat))
    keys = {
        "dataDate": 20260601,
        "dataTime": 0,
        "gridType": "lambert",
        "shapeOfTheEarth": 6,
        "Nx": x.shape[1],
        "Ny": x.shape[0],
        "latitudeOfFirstGridPointInDegrees": float(lat[0, 0]),
        "longitudeOfFirstGridPointInDegrees": float(lon[0, 0]),
        "LaDInDegrees": 63.3,
        "LoVInDegrees": 15.0,
        "Latin1InDegrees": 63.3,
        "Latin2InDegrees": 63.3,
        "DxInMetres": 2500,
        "DyInMetres": 2500,
        "jScansPositively": 1,
        "alternativeRowScanning": int(winding),
        "uvRelativeToGrid": int(relative),
        "step": 0,
    }
    out = b""
    for short, field in (("10u", u), ("10v", v)):
        table = field.copy()
        if winding:
            table[1::2] = table[1::2, ::-1]
        out += message(2, keys | {"shortName": short}, table, sample="GRIB2")
    return out


def check_wind(ds, tolerance):
    """The wind at places in the box is the invented one, as far as resampling allows."""
    rng = np.random.default_rng(3)
    lon, lat = rng.uniform(10.6, 11.7, 50), rng.uniform(57.9, 58.7, 50)
    series = sample_series(ds, lon, lat)
    u, v = smooth(lat, lon, FIRST)
    assert np.abs(series.values["eastward_wind"][:, 0, 0] - u).max() < tolerance
    assert np.abs(series.values["northward_wind"][:, 0, 0] - v).max() < tolerance


@pytest.mark.parametrize("winding", [False, True])
@pytest.mark.parametrize("relative", [True, False])
def test_lambert_grib(relative, winding, tmp_path):
    path = tmp_path / "f.grib2"
    path.write_bytes(lambert_messages(relative, winding=winding))
    ds = open_forecast(path, bounds=BOX)
    # Bilinear twice over 2.5 km: the field bends by 1/100 m/s in that; unturned winds would
    # be off by several tenths.
    check_wind(ds, 0.003)
    assert coverage(ds).spacing_latitude_deg == pytest.approx(2.5 / 111.2, rel=0.05)
    assert "resampled" in ds.attrs["notes"]


def test_unturned_winds_would_be_seen(tmp_path):
    """The check above can fail: winds along the axes that claim to be east and north do."""
    right = lambert_messages(True)
    path = _write(tmp_path / "f.grib2", _claim_earth_relative(right))
    with pytest.raises(AssertionError):
        check_wind(open_forecast(path, bounds=BOX), 0.1)


def _write(path, content):
    path.write_bytes(content)
    return path


def _claim_earth_relative(content):
    from routeplan._forecast.eccodes import load_eccodes

    eccodes = load_eccodes()
    out, rest = b"", content
    while rest:
        size = int.from_bytes(rest[8:16], "big")
        handle = eccodes.codes_new_from_message(rest[:size])
        eccodes.codes_set(handle, "uvRelativeToGrid", 0)
        out += eccodes.codes_get_message(handle)
        eccodes.codes_release(handle)
        rest = rest[size:]
    return out


def rotated_axes():
    return np.arange(-5.0, 1.0, 0.05), np.arange(5.0, 9.5, 0.05)


POLE_LON, POLE_LAT = -170.0, 40.0


def test_rotated_grib(tmp_path):
    rlon, rlat = rotated_axes()
    lon, lat = rotated(*np.meshgrid(rlon, rlat), POLE_LON, POLE_LAT)
    angle = axis_angle(lat, lon)
    x, y = along_axes(*smooth(lat, lon, FIRST), angle)
    keys = {
        "dataDate": 20260601,
        "dataTime": 0,
        "gridType": "rotated_ll",
        "Ni": rlon.size,
        "Nj": rlat.size,
        "latitudeOfFirstGridPointInDegrees": float(rlat[0]),
        "longitudeOfFirstGridPointInDegrees": float(rlon[0] % 360.0),
        "latitudeOfLastGridPointInDegrees": float(rlat[-1]),
        "longitudeOfLastGridPointInDegrees": float(rlon[-1] % 360.0),
        "iDirectionIncrementInDegrees": 0.05,
        "jDirectionIncrementInDegrees": 0.05,
        "latitudeOfSouthernPoleInDegrees": -POLE_LAT,
        "longitudeOfSouthernPoleInDegrees": (POLE_LON + 180.0) % 360.0,
        "angleOfRotationInDegrees": 0.0,
        "jScansPositively": 1,
        "uvRelativeToGrid": 1,
        "step": 0,
    }
    out = b"".join(
        message(2, keys | {"shortName": short}, field) for short, field in (("10u", x), ("10v", y))
    )
    ds = open_forecast(_write(tmp_path / "f.grib2", out), bounds=BOX)
    check_wind(ds, 0.01)


def cf_wind(x, y, x_name, y_name, extra):
    """CF dataset of one hour with components along the grid's axes."""
    attrs = {"units": "m s-1", **extra}
    return {
        "wx": (("time", y_name, x_name), x[np.newaxis], {"standard_name": "x_wind", **attrs}),
        "wy": (("time", y_name, x_name), y[np.newaxis], {"standard_name": "y_wind", **attrs}),
    }


@pytest.mark.parametrize(
    "form", ["mapping", "positions", "columns first", "x falling", "y falling"]
)
def test_lambert_netcdf(form, tmp_path):
    x, y, lon, lat = lambert_grid()
    along = along_axes(*smooth(lat, lon, FIRST), convergence(LAMBERT, lon, lat))
    ds = xr.Dataset(
        cf_wind(*along, "x", "y", {"grid_mapping": "crs"}),
        {
            "time": TIME[:1],
            "x": ("x", x[0], {"standard_name": "projection_x_coordinate", "units": "m"}),
            "y": ("y", y[:, 0], {"standard_name": "projection_y_coordinate", "units": "m"}),
        },
    )
    ds["crs"] = (
        (),
        0,
        {
            "grid_mapping_name": "lambert_conformal_conic",
            "standard_parallel": 63.3,
            "latitude_of_projection_origin": 63.3,
            "longitude_of_central_meridian": 15.0,
            "earth_radius": RADIUS,
        },
    )
    if form != "mapping":
        ds = ds.drop_vars("crs").assign_coords(lat=(("y", "x"), lat), lon=(("y", "x"), lon))
        ds.lat.attrs["units"], ds.lon.attrs["units"] = "degrees_north", "degrees_east"
    if form == "columns first":
        ds = ds.transpose("time", "x", "y")
    if form == "x falling":
        ds = ds.isel(x=slice(None, None, -1))
    if form == "y falling":
        ds = ds.isel(y=slice(None, None, -1))
    ds.to_netcdf(tmp_path / "f.nc")
    check_wind(open_forecast(tmp_path / "f.nc", bounds=BOX), 0.003)


def test_rotated_netcdf_by_its_mapping(tmp_path):
    rlon, rlat = rotated_axes()
    lon, lat = rotated(*np.meshgrid(rlon, rlat), POLE_LON, POLE_LAT)
    along = along_axes(*smooth(lat, lon, FIRST), axis_angle(lat, lon))
    ds = xr.Dataset(
        cf_wind(*along, "rlon", "rlat", {"grid_mapping": "pole"}),
        {
            "time": TIME[:1],
            "rlon": ("rlon", rlon, {"standard_name": "grid_longitude", "units": "degrees"}),
            "rlat": ("rlat", rlat, {"standard_name": "grid_latitude", "units": "degrees"}),
        },
    )
    ds["pole"] = (
        (),
        0,
        {
            "grid_mapping_name": "rotated_latitude_longitude",
            "grid_north_pole_latitude": POLE_LAT,
            "grid_north_pole_longitude": POLE_LON,
            "earth_radius": RADIUS,
        },
    )
    ds.to_netcdf(tmp_path / "f.nc")
    check_wind(open_forecast(tmp_path / "f.nc", bounds=BOX), 0.01)


def test_short_names_alone_do_not_say_which_axes(tmp_path):
    _, _, lon, lat = lambert_grid()
    u, v = smooth(lat, lon, FIRST)
    dims = ("time", "y", "x")
    ds = xr.Dataset(
        {
            "u10": (dims, u[np.newaxis], {"units": "m s-1"}),
            "v10": (dims, v[np.newaxis], {"units": "m s-1"}),
        },
        {"time": TIME[:1], "latitude": (("y", "x"), lat), "longitude": (("y", "x"), lon)},
    )
    ds.to_netcdf(tmp_path / "f.nc")
    message = "u10 does not say whether it is along the axes of its projected grid"
    with pytest.raises(InputError, match=message):
        open_forecast(tmp_path / "f.nc", bounds=BOX)
    for name, standard in (("u10", "eastward_wind"), ("v10", "northward_wind")):
        ds[name].attrs["standard_name"] = standard
    ds.to_netcdf(tmp_path / "g.nc")
    check_wind(open_forecast(tmp_path / "g.nc", bounds=BOX), 0.003)


def test_a_regular_grid_given_point_by_point_is_a_regular_grid(tmp_path):
    lat, lon = np.arange(57.0, 60.0, 0.25), np.arange(9.0, 13.0, 0.25)
    u, v = smooth(lat[:, None], lon[None, :], FIRST)
    dims = ("time", "j", "i")
    x, y = np.meshgrid(lon, lat)
    ds = xr.Dataset(
        {
            "u10": (dims, u[np.newaxis], {"units": "m s-1"}),
            "v10": (dims, v[np.newaxis], {"units": "m s-1"}),
        },
        {"time": TIME[:1], "latitude": (("j", "i"), y), "longitude": (("j", "i"), x)},
    )
    ds.to_netcdf(tmp_path / "f.nc")
    found = open_forecast(tmp_path / "f.nc")
    assert np.abs(found.eastward_wind.to_numpy()[0] - u).max() < 1e-12
    assert found.attrs["notes"] == ""


def test_scattered_points(tmp_path):
    rng = np.random.default_rng(2)
    lon, lat = rng.uniform(10.0, 12.3, 20_000), rng.uniform(57.3, 59.3, 20_000)
    u, v = smooth(lat, lon, FIRST)
    ds = xr.Dataset(
        {
            "u10": (("time", "cell"), u[np.newaxis], {"units": "m s-1"}),
            "v10": (("time", "cell"), v[np.newaxis], {"units": "m s-1"}),
        },
        {"time": TIME[:1], "lat": ("cell", lat), "lon": ("cell", lon)},
    )
    for name, standard in (("u10", "eastward_wind"), ("v10", "northward_wind")):
        ds[name].attrs["standard_name"] = standard
    ds.to_netcdf(tmp_path / "f.nc")
    check_wind(open_forecast(tmp_path / "f.nc", bounds=BOX), 0.01)


def gaussian_latitudes(number):
    """Latitudes of a Gaussian grid: arc sines of the roots of a Legendre polynomial."""
    roots, _ = np.polynomial.legendre.leggauss(2 * number)
    return np.degrees(np.arcsin(roots))


@pytest.mark.parametrize("north_first", [True, False])
def test_regular_gaussian(north_first, tmp_path):
    lat, lon = gaussian_latitudes(32), np.arange(0.0, 360.0, 360.0 / 128)
    rows = lat[::-1] if north_first else lat
    u, v = smooth(rows[:, None], lon[None, :], FIRST)
    keys = {"dataDate": 20260601, "dataTime": 0, "step": 0}
    if not north_first:
        keys |= {
            "jScansPositively": 1,
            "latitudeOfFirstGridPointInDegrees": float(rows[0]),
            "latitudeOfLastGridPointInDegrees": float(rows[-1]),
        }
    out = b"".join(
        message(2, keys | {"shortName": short}, field, sample="regular_gg_sfc_grib2")
        for short, field in (("10u", u), ("10v", v))
    )
    ds = open_forecast(_write(tmp_path / "f.grib2", out))
    assert ds.latitude.to_numpy() == pytest.approx(lat, abs=1e-5)
    assert ds.longitude.size == 129
    wanted, _ = smooth(lat[:, None], ds.longitude.to_numpy()[None, :] % 360.0, FIRST)
    assert np.abs(ds.eastward_wind.to_numpy()[0] - wanted).max() < 1e-4


def test_reduced_gaussian(tmp_path):
    from routeplan._forecast.eccodes import load_eccodes

    eccodes = load_eccodes()
    handle = eccodes.codes_grib_new_from_samples("reduced_gg_sfc_grib2")
    lat = eccodes.codes_get_array(handle, "latitudes")
    lon = eccodes.codes_get_array(handle, "longitudes")
    lengths = eccodes.codes_get_array(handle, "pl")
    eccodes.codes_release(handle)
    u, v = smooth(lat, lon, FIRST)
    keys = {"dataDate": 20260601, "dataTime": 0, "step": 0}
    out = b"".join(
        message(2, keys | {"shortName": short}, field, sample="reduced_gg_sfc_grib2")
        for short, field in (("10u", u), ("10v", v))
    )
    path = _write(tmp_path / "f.grib2", out)
    ds = open_forecast(path)
    assert ds.sizes["longitude"] == lengths.max() + 1
    # On the longest rows nothing is interpolated; on the others linearly along the row.
    rows = np.unique(lat)
    for row in (len(rows) // 2, len(rows) // 4, 3):
        here = np.isclose(lat, rows[row])
        x = np.concatenate([lon[here], lon[here][:1] + 360.0])
        line = np.concatenate([u[here], u[here][:1]])
        wanted = np.interp(ds.longitude.to_numpy() % 360.0, x, line)
        assert np.abs(ds.eastward_wind.to_numpy()[0, row] - wanted).max() < 1e-4
    cut = open_forecast(path, bounds=(-2.0, 57.0, 2.0, 59.0))
    at = {"latitude": cut.latitude, "longitude": cut.longitude}
    assert np.allclose(cut.eastward_wind, ds.eastward_wind.sel(at, method="nearest"))


def test_resampling_is_exact_at_the_points_and_knows_its_rim():
    x, y, lon, lat = lambert_grid(nx=30, ny=40)
    grid = PointGrid(lat, lon, None)
    target = RegularGrid(np.sort(lat[5:30:7, 11]), np.sort(lon[17, 3:25:5]))
    values = (3 * x + 2 * y)[np.newaxis, np.newaxis]
    found = Resampler(grid, target).apply(values)[0, 0]
    at = LAMBERT(*np.meshgrid(target.longitude, target.latitude))
    # Linear in x and y, not quite so in degrees within a cell: metres in a million.
    assert np.abs(found - (3 * at[0] + 2 * at[1])).max() < 5.0
    outside = RegularGrid(np.array([50.0, 57.5, 70.0]), np.array([0.0, 9.5, 30.0]))
    known = np.isfinite(Resampler(grid, outside).apply(values)[0, 0])
    assert known.tolist() == [[False] * 3, [False, True, False], [False] * 3]


def test_an_unknown_point_makes_its_neighbourhood_unknown():
    x, _, lon, lat = lambert_grid(nx=30, ny=40)
    values = np.ones((1, 1, *x.shape))
    values[0, 0, 20, 15] = np.nan
    target = RegularGrid(np.linspace(57.3, 57.9, 120), np.linspace(9.1, 10.0, 120))
    found = Resampler(PointGrid(lat, lon, None), target).apply(values)[0, 0]
    apart = np.hypot(
        *(
            LAMBERT(*np.meshgrid(target.longitude, target.latitude))
            - np.array(LAMBERT(lon[20, 15], lat[20, 15]))[:, None, None]
        )
    )
    assert np.isnan(found[apart < 2400.0]).all()
    near = (apart > 2500.0 * np.sqrt(2.0) + 5) & (apart < 20_000.0)
    assert np.isfinite(found[near]).all()


def test_a_box_off_a_projected_grid_is_said(tmp_path):
    path = _write(tmp_path / "f.grib2", lambert_messages(True))
    with pytest.raises(CoverageError, match=r"f.grib2: the forecast covers 57.20 to"):
        open_forecast(path, bounds=(30.0, 57.8, 31.0, 58.8))


def test_a_spectral_or_unknown_grid_is_refused(tmp_path):
    from routeplan._forecast.eccodes import load_eccodes

    eccodes = load_eccodes()
    handle = eccodes.codes_grib_new_from_samples("sh_sfc_grib2")
    eccodes.codes_set(handle, "shortName", "10u")
    content = eccodes.codes_get_message(handle)
    eccodes.codes_release(handle)
    with pytest.raises(InputError, match="grid of type sh; allowed are latitude-longitude"):
        open_forecast(_write(tmp_path / "f.grib2", content))

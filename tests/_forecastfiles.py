"""Small invented forecasts, written in every format that is read."""

import numpy as np
import xarray as xr

from routeplan._forecast.eccodes import load_eccodes

KNOT_MS = 1852.0 / 3600.0
PACKING = 2.0**-23 * 32.0  # 24 bits over the range of the winds, in m/s
FIRST = np.datetime64("2026-06-01T00:00", "ns")


def hours(count, step=1):
    return FIRST + np.arange(count) * np.timedelta64(step, "h")


def smooth(lat, lon, time, member=0):
    """Invented winds that vary in space, time and member; broadcasts. [m/s]"""
    h = (time - FIRST) / np.timedelta64(1, "h")
    phi, lam = np.radians(lat), np.radians(lon)
    u = 6.0 * np.sin(9.0 * phi + 0.2 * h) + 2.0 * np.cos(7.0 * lam) + 0.7 * member
    v = 5.0 * np.cos(8.0 * phi - 0.1 * h) + 2.5 * np.sin(6.0 * lam + 0.05 * h) - 0.4 * member
    return u, v


def winds(time, lat, lon, members=1):
    """Both components, (times, members, rows, columns)."""
    t = time[:, None, None, None]
    e = np.arange(members)[None, :, None, None]
    return smooth(lat[None, None, :, None], lon[None, None, None, :], t, e)


def write_netcdf(path, fields, time, lat, lon, *, attrs=None, members=None, **options):
    """Write fields {name: (values (T, E, ny, nx), attributes)}."""
    dataset(fields, time, lat, lon, attrs=attrs, members=members).to_netcdf(path, **options)
    return path


def dataset(fields, time, lat, lon, *, attrs=None, members=None):
    dims = ("time", "latitude", "longitude")
    if members is not None:
        dims = ("time", "number", "latitude", "longitude")
    variables = {
        name: (dims, values if members is not None else values[:, 0], extra)
        for name, (values, extra) in fields.items()
    }
    coords = {
        "time": ("time", time, {"standard_name": "time"}),
        "latitude": ("latitude", lat, {"units": "degrees_north"}),
        "longitude": ("longitude", lon, {"units": "degrees_east"}),
    }
    if members is not None:
        coords["number"] = ("number", np.asarray(members))
    return xr.Dataset(variables, coords, attrs or {})


def wind_fields(u, v, units="m s-1"):
    """The two components as a file with CF names has them."""
    return {
        "u10": (u, {"standard_name": "eastward_wind", "units": units}),
        "v10": (v, {"standard_name": "northward_wind", "units": units}),
    }


def message(edition, keys, values, sample=None, bits=24, missing=None):
    """One GRIB message as bytes."""
    eccodes = load_eccodes()
    handle = eccodes.codes_grib_new_from_samples(sample or f"regular_ll_sfc_grib{edition}")
    try:
        for key, value in keys.items():
            eccodes.codes_set(handle, key, value)
        if bits is not None:
            eccodes.codes_set(handle, "bitsPerValue", bits)
        values = np.asarray(values, dtype=float)
        if missing is not None:
            eccodes.codes_set(handle, "bitmapPresent", 1)
            eccodes.codes_set(handle, "missingValue", missing)
            values = np.where(np.isnan(values), missing, values)
        eccodes.codes_set_values(handle, values.ravel())
        return eccodes.codes_get_message(handle)
    finally:
        eccodes.codes_release(handle)


def latlon_keys(lat, lon):
    """Grid keys of a regular grid whose rows and columns run as the arrays do."""
    lon = lon % 360.0
    return {
        "Ni": lon.size,
        "Nj": lat.size,
        "latitudeOfFirstGridPointInDegrees": float(lat[0]),
        "latitudeOfLastGridPointInDegrees": float(lat[-1]),
        "longitudeOfFirstGridPointInDegrees": float(lon[0]),
        "longitudeOfLastGridPointInDegrees": float(lon[-1]),
        "iDirectionIncrementInDegrees": abs(float((lon[1] - lon[0] + 180.0) % 360.0 - 180.0)),
        "jDirectionIncrementInDegrees": abs(float(lat[1] - lat[0])),
        "jScansPositively": int(lat[1] > lat[0]),
        "iScansNegatively": 0,
    }


def write_grib(path, edition, fields, lat, lon, *, step_h=1, members=None, missing=None):
    """Write {shortName: (T, E, ny, nx)}, hourly from FIRST."""
    out = []
    for short, values in fields.items():
        for t in range(values.shape[0]):
            for e in range(values.shape[1]):
                keys = {"dataDate": 20260601, "dataTime": 0}
                if members is not None:
                    keys |= _member_keys(edition, members[e])
                keys |= {"step": t * step_h, **latlon_keys(lat, lon), "shortName": short}
                out.append(message(edition, keys, values[t, e], missing=missing))
    path.write_bytes(b"".join(out))
    return path


def _member_keys(edition, number):
    if edition == 2:
        return {"productDefinitionTemplateNumber": 1, "number": number}
    return {"localDefinitionNumber": 1, "type": "pf", "stream": "enfo", "number": number}

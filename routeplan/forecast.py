"""Open forecast grids as one normalised dataset, and say what they cover.

Whatever the file (NetCDF, GRIB1, GRIB2, Zarr), the result has the dimensions `time`,
optionally `number` (ensemble member), `latitude` and `longitude`, all ascending, variables
named by their CF standard name in SI units, and times as datetime64[ns] in UTC. Units are
converted from the file's own attributes, never guessed.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from routeplan._forecast_derive import Normalised, normalise
from routeplan._forecast_fields import Field, Meta, Request
from routeplan._forecast_names import OPTIONAL, QUANTITIES, REQUIRED
from routeplan._forecast_units import SI_UNITS
from routeplan.errors import InputError

if TYPE_CHECKING:
    import xarray as xr

__all__ = ["Coverage", "coverage", "open_forecast"]

_MAGIC = 4096  # a GRIB message may come after a bulletin heading
_FORMATS = "NetCDF, GRIB1, GRIB2 or a Zarr store"


@dataclass(frozen=True, slots=True)
class Coverage:
    """What a normalised forecast covers.

    Bounds in degrees, `step_s` the longest step [s] (nan when there is only one time),
    `members` 1 when there are none, `missing` what the file does not have: name to what that
    costs.
    """

    west: float
    south: float
    east: float
    north: float
    first: np.datetime64
    last: np.datetime64
    step_s: float
    members: int
    variables: tuple[str, ...]
    missing: dict[str, str]
    reference_time: str


def open_forecast(
    path: str | Path,
    *,
    bounds: tuple[float, float, float, float] | None = None,
    time_range: tuple[np.datetime64, np.datetime64] | None = None,
) -> xr.Dataset:
    """Open a forecast file as a normalised dataset.

    Parameters
    ----------
    path
        NetCDF, GRIB1 or GRIB2 file, or Zarr store.
    bounds
        (west, south, east, north) of what is needed; the grid is cut to it, with a cell more
        on every side, before anything is read. West may be greater than east: across the
        antimeridian. [degrees]
    time_range
        First and last time needed, datetime64 UTC; cut likewise.

    Returns
    -------
    xarray.Dataset
        Dimensions time, (number,) latitude, longitude. Attributes: title, source,
        reference_time, attribution, licence, path, invented, notes.

    Raises
    ------
    InputError
        When the file cannot be read, has no wind, or a field's units are missing or wrong.
    CoverageError
        When nothing of the box or of the hours is covered.
    """
    source = Path(path)
    request = _request(bounds, time_range)
    fields, meta = _read(source, request)
    return _dataset(normalise(fields, meta, request, source), source)


def coverage(ds: xr.Dataset) -> Coverage:
    """Say what a normalised forecast covers."""
    time = ds["time"].to_numpy().astype("datetime64[ns]")
    lat, lon = ds["latitude"].to_numpy(), ds["longitude"].to_numpy()
    steps = np.diff(time) / np.timedelta64(1, "s")
    found = tuple(name for name in (*REQUIRED, *OPTIONAL) if name in ds)
    costs = {q.name: q.cost for q in QUANTITIES if q.kept}
    return Coverage(
        west=float(lon[0]),
        south=float(lat[0]),
        east=float(lon[-1]),
        north=float(lat[-1]),
        first=time[0],
        last=time[-1],
        step_s=float(steps.max()) if steps.size else float("nan"),
        members=int(ds.sizes.get("number", 1)),
        variables=found,
        missing={name: costs[name] for name in (*REQUIRED, *OPTIONAL) if name not in ds},
        reference_time=str(ds.attrs.get("reference_time", "")),
    )


def _request(
    bounds: tuple[float, float, float, float] | None,
    time_range: tuple[np.datetime64, np.datetime64] | None,
) -> Request:
    if bounds is not None:
        west, south, east, north = (float(b) for b in bounds)
        if not np.isfinite([west, south, east, north]).all() or south > north:
            msg = f"bounds {bounds}: allowed are finite degrees (west, south, east, north)"
            raise InputError(msg, field="bounds", value=bounds)
        bounds = (west, south, east + 360.0 if east < west else east, north)
    if time_range is not None:
        first, last = (np.datetime64(t, "ns") for t in time_range)
        if np.isnat(first) or np.isnat(last) or first > last:
            msg = f"time range {time_range}: allowed are two times, the first not after the last"
            raise InputError(msg, field="time_range", value=time_range)
        time_range = (first, last)
    return Request(bounds, time_range)


def _read(path: Path, request: Request) -> tuple[list[Field], Meta]:
    """Tell the format by the content, not by the name, and read it."""
    kind = _kind(path)
    if kind == "grib":
        from routeplan._forecast_grib import read_grib

        return read_grib(path, request)
    from routeplan._forecast_netcdf import read_netcdf, read_zarr

    return (read_zarr if kind == "zarr" else read_netcdf)(path, request)


def _kind(path: Path) -> str:
    if path.is_dir():
        if any((path / name).is_file() for name in ("zarr.json", ".zgroup", ".zmetadata")):
            return "zarr"
        msg = f"{path}: is a directory and not a Zarr store; allowed is {_FORMATS}"
        raise InputError(msg, path=path)
    try:
        with path.open("rb") as stream:
            head = stream.read(_MAGIC)
    except OSError as err:
        msg = f"{path}: cannot be opened ({err.strerror}); allowed is {_FORMATS}"
        raise InputError(msg, path=path) from err
    if head.startswith((b"\x89HDF\r\n\x1a\n", b"CDF\x01", b"CDF\x02", b"CDF\x05")):
        return "netcdf"
    if b"GRIB" in head:
        return "grib"
    what = "is empty" if not head else "is not a forecast"
    if head.startswith((b"\x1f\x8b", b"BZh", b"PK\x03\x04", b"\xfd7zXZ")):
        what = "is a compressed archive; unpack it first"
    if head.lstrip()[:1] == b"<":
        what = "is a web page or XML, not a forecast"
    msg = f"{path}: {what}; allowed is {_FORMATS}"
    raise InputError(msg, path=path)


def _dataset(result: Normalised, path: Path) -> xr.Dataset:
    import xarray as xr  # takes a second to import

    members = result.number is not None
    dims = (
        ("time", "number", "latitude", "longitude")
        if members
        else ("time", "latitude", "longitude")
    )
    dimension = {q.name: q.dimension for q in QUANTITIES}
    coords: dict[str, object] = {
        "time": ("time", result.time, {"standard_name": "time"}),
        "latitude": ("latitude", result.grid.latitude, _degrees("latitude", "north")),
        "longitude": ("longitude", result.grid.longitude, _degrees("longitude", "east")),
    }
    if members:
        coords["number"] = ("number", result.number, {"standard_name": "realization"})
    variables = {
        name: (
            dims,
            values if members else values[:, 0],
            {
                "standard_name": name,
                "units": SI_UNITS[dimension[name]],
                "name_in_file": result.labels[name],
            },
        )
        for name, values in result.values.items()
    }
    meta = result.meta
    attrs = {
        "Conventions": "CF-1.8",
        "title": meta.title,
        "source": meta.source,
        "reference_time": meta.reference_time,
        "attribution": meta.attribution,
        "licence": meta.licence,
        "path": str(path),
        "invented": "yes" if meta.invented else "no",
        "notes": "; ".join(meta.notes),
    }
    return xr.Dataset(variables, coords, attrs)


def _degrees(name: str, towards: str) -> dict[str, str]:
    return {"standard_name": name, "units": f"degrees_{towards}"}

"""Open forecast grids as one normalised dataset, and say what they cover.

Whatever the file (NetCDF, GRIB1, GRIB2, Zarr; one or several), the result has the dimensions
`time`, optionally `number` (ensemble member), `latitude` and `longitude`, all ascending,
variables named by their CF standard name in SI units, and times as datetime64[ns] in UTC.
Units are converted from the file's own attributes, never guessed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

# Before anything loads ecCodes: its wheel offers a PROJ library of its own to the whole process,
# and a pyproj that comes after it finds no database and crashes at exit.
import pyproj  # noqa: F401

from routeplan._forecast.coverage import OLD_AFTER_S, Coverage, RouteCoverage, make_coverage
from routeplan._forecast.guard import MEMORY_LIMIT, TIME_LIMIT_S, read_guarded
from routeplan._forecast.names import QUANTITIES
from routeplan._forecast.read import make_request, read_forecast, source_paths
from routeplan._forecast.units import SI_UNITS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import xarray as xr

    from routeplan._forecast.fit import Normalised

    Paths = str | Path | Sequence[str | Path]
    Bounds = tuple[float, float, float, float]
    TimeRange = tuple[np.datetime64, np.datetime64]

__all__ = [
    "MEMORY_LIMIT",
    "OLD_AFTER_S",
    "TIME_LIMIT_S",
    "Coverage",
    "RouteCoverage",
    "coverage",
    "inspect_forecast",
    "open_forecast",
    "open_forecast_guarded",
]


def open_forecast(
    path: Paths, *, bounds: Bounds | None = None, time_range: TimeRange | None = None
) -> xr.Dataset:
    """Open a forecast as a normalised dataset.

    Parameters
    ----------
    path
        NetCDF, GRIB1 or GRIB2 file or Zarr store, or several that make up one forecast.
    bounds
        (west, south, east, north) of what is needed; grids are cut to it, with a cell more on
        every side, before anything is loaded. West may be greater than east: across the
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
        When a file cannot be read, has no wind, or a field's units are missing or wrong.
    CoverageError
        When nothing of the box or of the hours is covered.
    """
    paths = source_paths(path)
    return _dataset(read_forecast(paths, make_request(bounds, time_range)), paths)


def open_forecast_guarded(
    path: Paths,
    *,
    bounds: Bounds | None = None,
    time_range: TimeRange | None = None,
    time_limit_s: float = TIME_LIMIT_S,
    memory_limit: int = MEMORY_LIMIT,
) -> xr.Dataset:
    """Open a forecast that comes from strangers, decoded in a process of its own.

    A file that crashes or stalls the decoding library, or makes it ask for too much memory,
    ends that process only, and is reported as bad input. What comes back are plain arrays.

    Parameters
    ----------
    path, bounds, time_range
        As in `open_forecast`.
    time_limit_s
        Longest time to take. [s]
    memory_limit
        Most memory that the process may use. [bytes]

    Returns
    -------
    xarray.Dataset
        The same as from `open_forecast`.

    Raises
    ------
    InputError, CoverageError
        As `open_forecast`, and when a limit is exceeded.
    """
    paths = source_paths(path)
    request = make_request(bounds, time_range)
    result = read_guarded(paths, request, time_limit_s, memory_limit, _prepare)
    return _dataset(result, paths)


def inspect_forecast(
    path: Paths, *, guarded: bool = True, time_limit_s: float = TIME_LIMIT_S
) -> Coverage:
    """Say what a forecast covers without decoding its fields.

    Parameters
    ----------
    path
        As in `open_forecast`.
    guarded
        Whether to read in a process of its own, as `open_forecast_guarded` does.
    time_limit_s
        Longest time to take. [s]

    Raises
    ------
    InputError
        When a file cannot be read, has no wind, or a field's units are missing or wrong.
    """
    paths, request = source_paths(path), make_request(None, None, values=False)
    if guarded:
        result = read_guarded(paths, request, time_limit_s, MEMORY_LIMIT)
    else:
        result = read_forecast(paths, request)
    members = 1 if result.number is None else result.number.size
    return make_coverage(
        result.time,
        result.grid.latitude,
        result.grid.longitude,
        members,
        result.values,
        _attributes(result, paths),
    )


def coverage(ds: xr.Dataset) -> Coverage:
    """Say what a normalised forecast covers."""
    return make_coverage(
        ds["time"].to_numpy().astype("datetime64[ns]"),
        ds["latitude"].to_numpy(),
        ds["longitude"].to_numpy(),
        int(ds.sizes.get("number", 1)),
        [str(name) for name in ds.data_vars],
        ds.attrs,
    )


def _prepare() -> None:
    """Import what takes a second, while the child process reads."""
    import xarray  # noqa: F401


def _dataset(result: Normalised, paths: tuple[Path, ...]) -> xr.Dataset:
    import xarray as xr  # takes a second to import

    members = result.number is not None
    dims = ("time", "number", "latitude", "longitude")
    coords: dict[str, Any] = {
        "time": ("time", result.time, {"standard_name": "time"}),
        "latitude": ("latitude", result.grid.latitude, _degrees("latitude", "north")),
        "longitude": ("longitude", result.grid.longitude, _degrees("longitude", "east")),
    }
    if members:
        coords["number"] = ("number", result.number, {"standard_name": "realization"})
    units = {q.name: SI_UNITS[q.dimension] for q in QUANTITIES}
    variables = {}
    for name, values in result.values.items():
        assert values is not None
        attrs = {
            "standard_name": name,
            "units": units[name],
            "name_in_file": result.labels[name],
        }
        variables[name] = (
            (dims, values, attrs) if members else (dims[:1] + dims[2:], values[:, 0], attrs)
        )
    return xr.Dataset(variables, coords, _attributes(result, paths))


def _attributes(result: Normalised, paths: tuple[Path, ...]) -> dict[str, str]:
    meta = result.meta
    return {
        "Conventions": "CF-1.8",
        "title": meta.title,
        "source": meta.source,
        "reference_time": meta.reference_time,
        "attribution": meta.attribution,
        "licence": meta.licence,
        "path": ", ".join(str(path) for path in paths),
        "invented": "yes" if meta.invented else "no",
        "notes": "; ".join(meta.notes),
    }


def _degrees(name: str, towards: str) -> dict[str, str]:
    return {"standard_name": name, "units": f"degrees_{towards}"}

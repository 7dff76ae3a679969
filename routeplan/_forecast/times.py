"""Time axis of NetCDF and Zarr variables, decoded by the CF conventions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast.units import time_factor
from routeplan.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    import xarray as xr
    from numpy.typing import NDArray

__all__ = ["TimeAxis", "decode_moment", "read_times"]

_NAMES = ("valid_time", "time")
_MAX_TIMES = 200_000


@dataclass(frozen=True, slots=True, eq=False)
class TimeAxis:
    """Valid times of a variable; `dim` is None when it has only one, without a dimension."""

    dim: Any
    time: NDArray[np.datetime64]
    since: NDArray[np.datetime64] | None = None


def read_times(ds: xr.Dataset, variable: xr.DataArray, path: Path) -> TimeAxis:
    """Find and decode the valid times of a variable.

    Raises
    ------
    InputError
        When there are none, or they are not known, not in order or repeated.
    """
    candidates = []
    for name in ds.variables:
        coordinate = ds[name]
        if not _is_time(name, coordinate) or not set(coordinate.dims) <= set(variable.dims):
            continue
        # A dimension of its own before a scalar, the valid time before the reference time.
        order = _NAMES.index(str(name)) if str(name) in _NAMES else len(_NAMES)
        candidates.append((0 if coordinate.ndim else 1, order, str(name)))
    if not candidates:
        msg = (
            f"{path}: {variable.name} has no time coordinate; allowed is one with units "
            f"such as 'hours since 2026-06-01 00:00'"
        )
        raise InputError(msg, path=path, field="time")
    coordinate = ds[min(candidates)[2]]
    if coordinate.ndim > 1:
        coordinate = coordinate.squeeze()
    if coordinate.ndim > 1:
        msg = (
            f"{path}: {coordinate.name} has {coordinate.ndim} dimensions; "
            f"allowed is one model run in a file"
        )
        raise InputError(msg, path=path, field="time")
    times = _decode(coordinate, path)
    steps = _steps(ds, variable) if not coordinate.ndim else None
    if steps is not None:
        times, dim = times + steps[1], steps[0]
    else:
        dim = coordinate.dims[0] if coordinate.ndim else None
    _check_order(times, path)
    return TimeAxis(dim, times, _bounds(ds, coordinate, path))


def decode_moment(coordinate: xr.DataArray) -> np.datetime64 | None:
    """Decode a single time; None when it cannot be read."""
    try:
        return np.datetime64(_cf(coordinate).ravel()[0], "ns")
    except (ValueError, TypeError, OverflowError, KeyError):
        return None


def _is_time(name: Any, coordinate: xr.DataArray) -> bool:
    if coordinate.attrs.get("standard_name") == "forecast_reference_time":
        # cfgrib writes the run as scalar "time" beside "step": only then is it part of the answer.
        return str(name) == "time"
    since = " since " in str(coordinate.attrs.get("units", "")).lower()
    return since and coordinate.dtype.kind in "iuf" and "bnds" not in str(name)


def _steps(ds: xr.Dataset, variable: xr.DataArray) -> tuple[Any, NDArray[np.timedelta64]] | None:
    """Forecast steps along a dimension, where the time is that of the run."""
    for name in ds.variables:
        step = ds[name]
        if step.ndim != 1 or not set(step.dims) <= set(variable.dims):
            continue
        if step.attrs.get("standard_name") == "forecast_period" or str(name) == "step":
            factor = time_factor(str(step.attrs.get("units", "")))
            if factor is not None:
                seconds = np.asarray(step.to_numpy(), dtype=float) * factor
                return step.dims[0], np.round(seconds * 1e9).astype("timedelta64[ns]")
    return None


def _decode(coordinate: xr.DataArray, path: Path) -> NDArray[np.datetime64]:
    if coordinate.size > _MAX_TIMES:
        msg = f"{path}: {coordinate.size} times; at most {_MAX_TIMES} are allowed"
        raise InputError(msg, path=path, field="time")
    try:
        times = np.atleast_1d(_cf(coordinate))
    except (ValueError, TypeError, OverflowError, KeyError) as err:
        units, calendar = (
            coordinate.attrs.get("units"),
            coordinate.attrs.get("calendar", "standard"),
        )
        msg = (
            f"{path}: times of {coordinate.name} cannot be read (units {units!r}, calendar "
            f"{calendar!r}); allowed are 'hours since 2026-06-01 00:00' in the standard calendar"
        )
        raise InputError(msg, path=path, field="time") from err
    if not times.size or np.isnat(times).any():
        msg = f"{path}: {coordinate.name} holds no times, or missing ones; each step needs its time"
        raise InputError(msg, path=path, field="time")
    return times


def _cf(coordinate: xr.DataArray) -> NDArray[np.datetime64]:
    """Decode a CF time variable; raises what xarray raises."""
    import xarray as xr

    bare = xr.Variable(coordinate.dims, coordinate.to_numpy(), coordinate.attrs)
    decoded = xr.conventions.decode_cf_variable("time", bare, use_cftime=False)
    return np.asarray(decoded.to_numpy()).astype("datetime64[ns]")


def _check_order(times: NDArray[np.datetime64], path: Path) -> None:
    gaps = np.diff(times)
    zero = np.timedelta64(0, "ns")
    if np.unique(times).size != times.size:
        again = np.datetime_as_string(np.sort(times)[:-1][np.diff(np.sort(times)) == zero][0], "m")
        msg = f"{path}: time {again}Z is given twice; allowed are steps that ascend, each once"
        raise InputError(msg, path=path, field="time")
    if gaps.size and gaps.min() < zero:
        at = np.datetime_as_string(times[1:][gaps < zero][0], "m")
        msg = (
            f"{path}: times are not in order ({at}Z comes too late); allowed are steps that ascend"
        )
        raise InputError(msg, path=path, field="time")


def _bounds(ds: xr.Dataset, coordinate: xr.DataArray, path: Path) -> NDArray[np.datetime64] | None:
    """Start of each interval, where the file gives bounds."""
    name = coordinate.attrs.get("bounds")
    if name not in ds.variables or ds[name].ndim != 2 or ds[name].shape[1] != 2:
        return None
    attrs = {k: v for k, v in coordinate.attrs.items() if k in ("units", "calendar")}
    edges = ds[name].isel({ds[name].dims[1]: 0})
    edges.attrs = {**attrs, **edges.attrs}
    return _decode(edges, path)

"""Forecast at points of a route and at times of a passage, members kept.

Space: bilinear on the four grid points around, on vector components. Time: linear. A
direction is never interpolated as a number: it goes through its unit vector. Whatever the
grid does not know (outside its bounds or its hours, a masked cell that would count) is nan,
which callers must treat as unknown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan.errors import CoverageError, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

    import xarray as xr
    from numpy.typing import ArrayLike, NDArray

__all__ = ["PointSeries", "at_times", "sample_series"]

_EDGE_DEG = 1e-9  # a point on the rim of the grid is inside despite rounding


@dataclass(frozen=True, slots=True, eq=False)
class PointSeries:
    """Forecast at n points.

    `values[name]` has shape (points, times, members), float64, SI units of the normalised
    forecast; members is 1 when the forecast has none. nan is unknown. `inside` is False for
    points outside the grid.
    """

    time: NDArray[np.datetime64]
    values: dict[str, NDArray[np.float64]]
    inside: NDArray[np.bool_]


def sample_series(
    ds: xr.Dataset, lon: ArrayLike, lat: ArrayLike, *, names: Sequence[str] | None = None
) -> PointSeries:
    """Interpolate every variable of a normalised forecast to points, bilinearly.

    Parameters
    ----------
    ds
        From `routeplan.forecast.open_forecast`.
    lon, lat
        Points, shape (n,); any longitude convention. [degrees]
    names
        Variables wanted; all gridded ones by default.

    Returns
    -------
    PointSeries

    Raises
    ------
    InputError
        When positions are not finite or of different shapes.
    CoverageError
        When the forecast has no variable of a wanted name.
    """
    x, y = np.atleast_1d(np.asarray(lon, float)), np.atleast_1d(np.asarray(lat, float))
    if x.shape != y.shape or x.ndim != 1 or not (np.isfinite(x).all() and np.isfinite(y).all()):
        msg = "positions to sample: allowed are two arrays of one length, finite degrees"
        raise InputError(msg, field="position")
    wanted = _gridded(ds) if names is None else tuple(names)
    missing = [name for name in wanted if name not in ds]
    if missing:
        msg = f"the forecast has no {', '.join(missing)}"
        raise CoverageError(msg)
    cells = _locate(ds, x, y)
    time = ds["time"].to_numpy().astype("datetime64[ns]")
    values = {name: _interpolate(ds[name], cells, time.size) for name in wanted}
    return PointSeries(time=time, values=values, inside=cells.inside)


def at_times(series_values: ArrayLike, time: ArrayLike, when: ArrayLike) -> NDArray[np.float64]:
    """Interpolate one point's series linearly in time.

    Parameters
    ----------
    series_values
        Shape (T, e): a value for each time and member.
    time
        Shape (T,), strictly ascending: datetime64, or seconds on the same clock as `when`.
    when
        Shape (m, e), (m, 1) or (m,): the times wanted, per member.

    Returns
    -------
    ndarray
        Shape (m, e); nan outside [first, last] and where a value that counts is nan.
    """
    values = np.asarray(series_values, dtype=np.float64)
    clock, wanted = _seconds(np.asarray(time), np.asarray(when))
    if wanted.ndim == 1:
        wanted = wanted[:, np.newaxis]
    shape = np.broadcast_shapes(wanted.shape, (wanted.shape[0], values.shape[1]))
    member = np.broadcast_to(np.arange(values.shape[1]), shape)
    known = (wanted >= clock[0]) & (wanted <= clock[-1])
    before = np.clip(np.searchsorted(clock, wanted, side="right") - 1, 0, max(clock.size - 2, 0))
    after = np.minimum(before + 1, clock.size - 1)
    span = clock[after] - clock[before]
    weight = np.where(span > 0.0, (wanted - clock[before]) / np.where(span > 0.0, span, 1.0), 0.0)
    weight = np.broadcast_to(weight, shape)
    before, after = np.broadcast_to(before, shape), np.broadcast_to(after, shape)
    out = _blend(values[before, member], values[after, member], weight)
    return np.where(known, out, np.nan)


def _seconds(
    time: NDArray[Any], when: NDArray[Any]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if np.issubdtype(time.dtype, np.datetime64) != np.issubdtype(when.dtype, np.datetime64):
        msg = "times of the series and times wanted: allowed are both datetime64 or both seconds"
        raise InputError(msg, field="time")
    if not np.issubdtype(time.dtype, np.datetime64):
        return time.astype(np.float64), when.astype(np.float64)
    origin = time[0]
    unit = np.timedelta64(1, "ns")
    seconds = (when - origin) / unit / 1e9
    return (time - origin) / unit / 1e9, np.where(np.isnat(when), np.nan, seconds)


def _blend(
    first: NDArray[np.float64], second: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Linear blend in which a value of zero weight does not count, not even as nan."""
    low = np.where(weight == 1.0, 0.0, first * (1.0 - weight))
    high = np.where(weight == 0.0, 0.0, second * weight)
    return low + high


@dataclass(frozen=True, slots=True, eq=False)
class _Cells:
    """For each point the four surrounding grid points and their weights."""

    rows: slice
    columns: slice
    corner: NDArray[np.int64]  # (4, n) flat index into the window [rows, columns]
    weight: NDArray[np.float64]  # (4, n)
    inside: NDArray[np.bool_]  # (n,)


def _locate(ds: xr.Dataset, lon: NDArray[np.float64], lat: NDArray[np.float64]) -> _Cells:
    x, y = ds["longitude"].to_numpy().astype(float), ds["latitude"].to_numpy().astype(float)
    # The grid's own convention: the same meridian, counted from its western edge.
    along = x[0] - _EDGE_DEG + (lon - x[0] + _EDGE_DEG) % 360.0
    column, across, inside_x = _bracket(x, along)
    row, up, inside_y = _bracket(y, lat)
    inside = inside_x & inside_y
    rows = slice(int(row.min()), int(row.max()) + 2) if row.size else slice(0, 1)
    columns = slice(int(column.min()), int(column.max()) + 2) if row.size else slice(0, 1)
    height = min(rows.stop, y.size) - rows.start
    width = min(columns.stop, x.size) - columns.start
    low, left = row - rows.start, column - columns.start
    high, right = np.minimum(low + 1, height - 1), np.minimum(left + 1, width - 1)
    corner = np.stack(
        [low * width + left, low * width + right, high * width + left, high * width + right]
    )
    weight = np.stack([(1 - up) * (1 - across), (1 - up) * across, up * (1 - across), up * across])
    return _Cells(rows, columns, corner, weight, inside)


def _bracket(
    axis: NDArray[np.float64], at: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.bool_]]:
    """Index of the grid point below, share of the way to the next, and whether inside."""
    inside = (at >= axis[0] - _EDGE_DEG) & (at <= axis[-1] + _EDGE_DEG)
    clipped = np.clip(at, axis[0], axis[-1])
    index = np.clip(np.searchsorted(axis, clipped, side="right") - 1, 0, max(axis.size - 2, 0))
    if axis.size == 1:
        return index, np.zeros(at.shape), inside
    share = (clipped - axis[index]) / (axis[index + 1] - axis[index])
    return index, share, inside


def _interpolate(field: xr.DataArray, cells: _Cells, times: int) -> NDArray[np.float64]:
    """(points, times, members) of one variable."""
    order = [d for d in ("time", "number", "latitude", "longitude") if d in field.dims]
    window = field.transpose(*order).isel(latitude=cells.rows, longitude=cells.columns)
    data = window.to_numpy().astype(np.float64)
    members = field.sizes.get("number", 1)
    flat = data.reshape(times, members, -1)
    if _is_direction(field):
        radians = np.radians(flat)
        east, north = _gather(np.sin(radians), cells), _gather(np.cos(radians), cells)
        out = np.degrees(np.arctan2(east, north)) % 360.0
    else:
        out = _gather(flat, cells)
    out[:, :, ~cells.inside] = np.nan
    return np.ascontiguousarray(out.transpose(2, 0, 1))


def _gather(flat: NDArray[np.float64], cells: _Cells) -> NDArray[np.float64]:
    out = np.zeros((*flat.shape[:2], cells.inside.size))
    for corner, weight in zip(cells.corner, cells.weight, strict=True):
        part = flat[:, :, corner] * weight
        part[:, :, weight == 0.0] = 0.0  # a neighbour that does not count may be unknown
        out += part
    return out


def _gridded(ds: xr.Dataset) -> tuple[str, ...]:
    space = {"time", "latitude", "longitude"}
    return tuple(str(name) for name, field in ds.data_vars.items() if space <= set(field.dims))


def _is_direction(field: xr.DataArray) -> bool:
    return str(field.name).endswith(("_from_direction", "_to_direction"))

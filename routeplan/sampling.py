"""Forecast at points of a route and at times of a passage, members kept.

Space: bilinear on the four grid points around, on vector components. Time: linear. A
direction is never interpolated as a number: it goes through its unit vector. Waves and
currents are masked over land; where a masked cell would count, the nearest sea cell within a
stated distance is taken instead, and the series says so. Whatever the grid does not know is
nan, which callers must treat as unknown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast.sampling_cells import Cells, gather, locate, nearest_sea
from routeplan.errors import CoverageError, InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import xarray as xr
    from numpy.typing import ArrayLike, NDArray

    IsLand = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.bool_]]

__all__ = [
    "SEA_CELL_LIMIT_M",
    "PointSeries",
    "at_points",
    "at_times",
    "direction_at_times",
    "land_share",
    "sample_series",
]

# About one cell of a global 0.25 degree wave model. Open-sea waves of a cell that far out are
# higher than those in shelter, currents may be anything. Common practice, no source.
SEA_CELL_LIMIT_M = 25_000.0

_LAND = "land_binary_mask"
_MARINE = ("sea_surface_", "eastward_sea_water", "northward_sea_water")


@dataclass(frozen=True, slots=True, eq=False)
class PointSeries:
    """Forecast at n points.

    `values[name]` has shape (points, times, members), float64, SI units of the normalised
    forecast; members is 1 when the forecast has none; nan is unknown. `inside` is False for
    points outside the grid. `sea_cell_m[name]`, for waves and currents, is 0 where they were
    interpolated, the distance [m] to the sea cell used instead, or nan where there was none.
    """

    time: NDArray[np.datetime64]
    values: dict[str, NDArray[np.float64]]
    inside: NDArray[np.bool_]
    sea_cell_m: dict[str, NDArray[np.float64]]
    sea_cell_limit_m: float

    def reason(self, name: str, point: int) -> str:
        """Say why a value at a point is unknown or not what it seems; empty when all is well."""
        if name not in self.values:
            return f"the forecast has no {name}"
        if not self.inside[point]:
            return "outside the forecast's grid"
        distance = float(self.sea_cell_m.get(name, np.zeros(point + 1))[point])
        if np.isnan(distance):
            return f"no sea cell of the forecast within {self.sea_cell_limit_m / 1000:g} km"
        if distance > 0.0:
            return f"from the nearest sea cell of the forecast, {distance / 1000:.1f} km off"
        if np.isnan(self.values[name][point]).any():
            return "missing in the forecast at some hours"
        return ""


def sample_series(
    ds: xr.Dataset,
    lon: ArrayLike,
    lat: ArrayLike,
    *,
    names: Sequence[str] | None = None,
    sea_cell_limit_m: float = SEA_CELL_LIMIT_M,
) -> PointSeries:
    """Interpolate variables of a normalised forecast to points, bilinearly.

    Parameters
    ----------
    ds
        From `routeplan.forecast.open_forecast`.
    lon, lat
        Points, shape (n,); any longitude convention. [degrees]
    names
        Variables wanted; all gridded ones by default.
    sea_cell_limit_m
        How far a sea cell may be that stands in for a masked one. [m]

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
    x, y = _positions(lon, lat)
    wanted = _gridded(ds) if names is None else tuple(names)
    missing = [name for name in wanted if name not in ds]
    if missing:
        msg = f"the forecast has no {', '.join(missing)}"
        raise CoverageError(msg)
    axes = ds["longitude"].to_numpy().astype(float), ds["latitude"].to_numpy().astype(float)
    near, wide = locate(*axes, x, y), None
    values, sea_cell_m = {}, {}
    for name in wanted:
        cells = near
        if name.startswith(_MARINE):
            wide = locate(*axes, x, y, margin_m=sea_cell_limit_m) if wide is None else wide
            cells = wide
        flat = _window(ds[name], cells)
        out = _interpolate(flat, cells, direction=name.endswith("_direction"))
        if cells is wide:
            sea_cell_m[name] = _stand_in(out, flat, cells, (x, y), sea_cell_limit_m)
        out[:, :, ~cells.inside] = np.nan
        values[name] = np.ascontiguousarray(out.transpose(2, 0, 1))
    time = ds["time"].to_numpy().astype("datetime64[ns]")
    return PointSeries(time, values, near.inside, sea_cell_m, float(sea_cell_limit_m))


def land_share(
    ds: xr.Dataset, lon: ArrayLike, lat: ArrayLike, is_land: IsLand | None = None
) -> NDArray[np.float64]:
    """Share of land in the grid cells that the wind at each point is interpolated from.

    A model's wind over a cell that is partly land is too low for the water in it and turned;
    a share above 0 is to be said beside the wind.

    Parameters
    ----------
    ds
        Normalised forecast; its own land mask is used when it has one.
    lon, lat
        Points, shape (n,). [degrees]
    is_land
        Function of lon and lat, such as `Coastline.is_land`, asked for the grid points when
        the forecast has no land mask.

    Returns
    -------
    ndarray
        Shape (n,), 0 to 1; nan when outside the grid or when neither source is there.
    """
    x, y = _positions(lon, lat)
    grid_x = ds["longitude"].to_numpy().astype(float)
    grid_y = ds["latitude"].to_numpy().astype(float)
    cells = locate(grid_x, grid_y, x, y)
    if _LAND in ds:
        flat = _window(ds[_LAND], cells)[:1, :1]
    elif is_land is not None:
        east, north = np.meshgrid(cells.longitude, cells.latitude)
        wrapped = (east.ravel() + 180.0) % 360.0 - 180.0
        flat = np.asarray(is_land(wrapped, north.ravel()), dtype=float)[np.newaxis, np.newaxis]
    else:
        return np.full(x.shape, np.nan)
    share = gather(flat, cells)[0, 0]
    return np.where(cells.inside, share, np.nan)


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

    Raises
    ------
    InputError
        When the two kinds of time differ or shapes do not fit.
    """
    values, wanted = np.asarray(series_values, dtype=np.float64), np.asarray(when)
    if values.ndim != 2:
        msg = f"series of shape {values.shape}: allowed is (times, members)"
        raise InputError(msg, field="series_values")
    if wanted.ndim == 1:
        wanted = wanted[:, np.newaxis]
    return at_points(values[np.newaxis], time, wanted[:, np.newaxis])[:, 0]


def at_points(values: ArrayLike, time: ArrayLike, when: ArrayLike) -> NDArray[np.float64]:
    """Interpolate the series of many points linearly in time, each at its own times.

    Parameters
    ----------
    values
        Shape (n, T, e), as `PointSeries.values` has them.
    time
        Shape (T,), strictly ascending: datetime64, or seconds on the same clock as `when`.
    when
        Shape (m, n) or (m, n, e): for each of m passages the time at each point.

    Returns
    -------
    ndarray
        Shape (m, n, e); nan outside [first, last] and where a value that counts is nan.

    Raises
    ------
    InputError
        When the two kinds of time differ or shapes do not fit.
    """
    table = np.asarray(values, dtype=np.float64)
    clock, wanted = _seconds(np.asarray(time), np.asarray(when))
    if wanted.ndim == 2:
        wanted = wanted[:, :, np.newaxis]
    if table.ndim != 3 or table.shape[1] != clock.size or not clock.size or wanted.ndim != 3:
        msg = (
            f"series of shape {table.shape} at {clock.size} times, wanted {wanted.shape}: allowed "
            f"are (points, times, members) and (passages, points, members)"
        )
        raise InputError(msg, field="values")
    shape = np.broadcast_shapes(wanted.shape, (wanted.shape[0], table.shape[0], table.shape[2]))
    known = (wanted >= clock[0]) & (wanted <= clock[-1])
    before = np.clip(np.searchsorted(clock, wanted, side="right") - 1, 0, max(clock.size - 2, 0))
    after = np.minimum(before + 1, clock.size - 1)
    span = clock[after] - clock[before]
    weight = np.where(span > 0.0, (wanted - clock[before]) / np.where(span > 0.0, span, 1.0), 0.0)
    point = np.arange(table.shape[0])[np.newaxis, :, np.newaxis]
    member = np.arange(table.shape[2])[np.newaxis, np.newaxis, :]
    low, high = table[point, before, member], table[point, after, member]
    # A value of zero weight does not count, not even as unknown.
    out = np.where(weight == 1.0, 0.0, low * (1.0 - weight))
    out = out + np.where(weight == 0.0, 0.0, high * weight)
    return np.broadcast_to(np.where(known, out, np.nan), shape)


def direction_at_times(
    series_values: ArrayLike, time: ArrayLike, when: ArrayLike
) -> NDArray[np.float64]:
    """Interpolate a series of directions in time, through their unit vectors.

    Arguments and errors as in `at_times`; degrees in [0, 360).
    """
    radians = np.radians(np.asarray(series_values, dtype=np.float64))
    east = at_times(np.sin(radians), time, when)
    north = at_times(np.cos(radians), time, when)
    return np.asarray(np.degrees(np.arctan2(east, north)) % 360.0)


def _positions(lon: ArrayLike, lat: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x, y = np.atleast_1d(np.asarray(lon, float)), np.atleast_1d(np.asarray(lat, float))
    if x.shape != y.shape or x.ndim != 1 or not (np.isfinite(x).all() and np.isfinite(y).all()):
        msg = "positions to sample: allowed are two arrays of one length, finite degrees"
        raise InputError(msg, field="position")
    return x, y


def _seconds(
    time: NDArray[Any], when: NDArray[Any]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if np.issubdtype(time.dtype, np.datetime64) != np.issubdtype(when.dtype, np.datetime64):
        msg = "times of the series and times wanted: allowed are both datetime64 or both seconds"
        raise InputError(msg, field="time")
    if not np.issubdtype(time.dtype, np.datetime64):
        return time.astype(np.float64), when.astype(np.float64)
    origin, unit = time[0], np.timedelta64(1, "ns")
    seconds = (when - origin) / unit / 1e9
    return (time - origin) / unit / 1e9, np.where(np.isnat(when), np.nan, seconds)


def _window(field: xr.DataArray, cells: Cells) -> NDArray[np.float64]:
    """Values of the cells' window, (times, members, rows * columns)."""
    order = [d for d in ("time", "number", "latitude", "longitude") if d in field.dims]
    window = field.transpose(*order).isel(latitude=cells.rows, longitude=cells.columns)
    data = window.to_numpy().astype(np.float64, copy=False)
    return data.reshape(field.sizes["time"], field.sizes.get("number", 1), -1)


def _interpolate(
    flat: NDArray[np.float64], cells: Cells, *, direction: bool
) -> NDArray[np.float64]:
    """(times, members, points) of one variable."""
    if not direction:
        return gather(flat, cells)
    radians = np.radians(flat)
    east, north = gather(np.sin(radians), cells), gather(np.cos(radians), cells)
    return np.asarray(np.degrees(np.arctan2(east, north)) % 360.0)


def _stand_in(
    out: NDArray[np.float64],
    flat: NDArray[np.float64],
    cells: Cells,
    points: tuple[NDArray[np.float64], NDArray[np.float64]],
    limit_m: float,
) -> NDArray[np.float64]:
    """Replace, in place, what a masked cell made unknown by the nearest sea cell."""
    sea = np.asarray(np.isfinite(flat).any(axis=(0, 1)))
    masked = ((cells.weight > 0.0) & ~sea[cells.corner]).any(axis=0) & cells.inside
    distance = np.where(cells.inside, 0.0, np.nan)
    which = np.flatnonzero(masked)
    if which.size:
        cell, away = nearest_sea(sea, cells, points[0][which], points[1][which], limit_m)
        distance[which] = away
        out[:, :, which] = np.where(np.isnan(away), np.nan, flat[:, :, cell])
    return distance


def _gridded(ds: xr.Dataset) -> tuple[str, ...]:
    space = {"time", "latitude", "longitude"}
    return tuple(str(name) for name, field in ds.data_vars.items() if space <= set(field.dims))

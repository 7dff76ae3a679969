"""Grids of NetCDF and Zarr variables: found by attributes, cut to the box, read in pieces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast.fields import Cut, RegularGrid, Request, cut_regular
from routeplan._forecast.points import PointCut, PointGrid, axis_angle, cut_points, separable
from routeplan.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    import xarray as xr
    from numpy.typing import NDArray

__all__ = ["Window", "find_window"]

_NAMES = {
    "latitude": ("latitude", "lat", "nav_lat", "xlat"),
    "longitude": ("longitude", "lon", "nav_lon", "xlong"),
}
_UNITS = {
    "latitude": ("degrees_north", "degree_north", "degrees_n", "degree_n"),
    "longitude": ("degrees_east", "degree_east", "degrees_e", "degree_e"),
}
_X_NAMES = ("x", "rlon", "xc", "i", "ni", "nlon", "lon", "longitude", "west_east", "xi_rho", "nx")
_Y_NAMES = ("y", "rlat", "yc", "j", "nj", "nlat", "lat", "latitude", "south_north", "eta_rho", "ny")
_X_STANDARD = ("projection_x_coordinate", "grid_longitude")
_Y_STANDARD = ("projection_y_coordinate", "grid_latitude")
_MAX_POINTS = 50_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """The part of a variable's grid that is wanted, and how to read it."""

    dims: tuple[Any, ...]  # spatial dimensions of the variable, rows before columns
    full_shape: tuple[int, ...]
    cut: Cut | PointCut

    @property
    def grid(self) -> RegularGrid | PointGrid:
        """Grid of the wanted part."""
        return self.cut.grid

    @property
    def size(self) -> int:
        """Number of grid points wanted."""
        return int(np.prod(self.cut.grid.shape))

    def read(
        self, variable: xr.DataArray, time: Any, member: Any, hours: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """Read the wanted part and hours only: (times, members, *grid.shape)."""
        if time is not None:
            variable = variable.isel({time: _covering(hours)})
        read = _read_axes if isinstance(self.cut, Cut) else _read_points
        table = read(self, variable, time, member)
        return table if time is None else table[hours - hours.min(initial=0)]


def find_window(
    ds: xr.Dataset, variable: xr.DataArray, request: Request, path: Path
) -> Window | None:
    """Find the grid of a variable; None when it is not on one.

    Raises
    ------
    InputError
        When the grid cannot be used.
    CoverageError
        When nothing of the box is covered.
    """
    lat, lon = _coordinate(ds, variable, "latitude"), _coordinate(ds, variable, "longitude")
    if lat is None or lon is None:
        projected = _from_projection(ds, variable, path)
        if projected is None:
            return None
        return _curvilinear(ds, variable, *projected, request, path)
    _check_count(lat, path)
    _check_count(lon, path)
    if lat.ndim == 1 and lon.ndim == 1 and lat.dims != lon.dims:
        dims = (lat.dims[0], lon.dims[0])
        cut = cut_regular(_numbers(lat), _numbers(lon), request, path)
        return Window(dims, (lat.size, lon.size), cut)
    if lat.dims != lon.dims:
        lon = lon.transpose(*lat.dims)
    return _curvilinear(ds, variable, _numbers(lat), _numbers(lon), lat.dims, request, path)


def _curvilinear(
    ds: xr.Dataset,
    variable: xr.DataArray,
    lat: NDArray[np.float64],
    lon: NDArray[np.float64],
    dims: tuple[Any, ...],
    request: Request,
    path: Path,
) -> Window:
    """Grid of points; latitudes and longitudes that do repeat make it a regular one."""
    angle = None
    if lat.ndim == 2:
        rows, columns, turn = _orientation(ds, dims)
        if columns is not None and dims.index(columns) == 0:
            lat, lon, dims = lat.T, lon.T, (rows, columns)
        axes = separable(lat, lon) if np.isfinite(lat).all() and np.isfinite(lon).all() else None
        if axes is not None:
            return Window(dims, lat.shape, cut_regular(axes[0], axes[1], request, path))
        if columns is not None:
            angle = axis_angle(lat, lon) + turn
    elif lat.ndim != 1:
        msg = (
            f"{path}: positions of {variable.name} have {lat.ndim} dimensions; allowed are 1 and 2"
        )
        raise InputError(msg, path=path, field=str(variable.name))
    return Window(dims, lat.shape, cut_points(lat, lon, angle, request, path))


def _orientation(ds: xr.Dataset, dims: tuple[Any, ...]) -> tuple[Any, Any, float]:
    """Which of two dimensions is y and which x, and half a turn if x falls along it."""
    for rows, columns in (dims, dims[::-1]):
        if _along(ds, columns, "X", _X_STANDARD, _X_NAMES) and _along(
            ds, rows, "Y", _Y_STANDARD, _Y_NAMES
        ):
            falls = columns in ds.variables and ds[columns].size > 1 and _falls(ds[columns])
            return rows, columns, np.pi if falls else 0.0
    return None, None, 0.0


def _along(
    ds: xr.Dataset, dim: Any, axis: str, standard: tuple[str, ...], names: tuple[str, ...]
) -> bool:
    if dim in ds.variables:
        attrs = ds[dim].attrs
        if attrs.get("standard_name") in standard or attrs.get("axis") == axis:
            return True
    return str(dim).lower() in names


def _falls(axis: xr.DataArray) -> bool:
    values = _numbers(axis)
    return bool(values[-1] < values[0])


def _coordinate(ds: xr.Dataset, variable: xr.DataArray, which: str) -> xr.DataArray | None:
    """Latitude or longitude of a variable, by standard name, then units, then name."""
    best: tuple[int, xr.DataArray] | None = None
    for name in ds.variables:
        other = ds[name]
        if not other.dims or not set(other.dims) <= set(variable.dims) or other.ndim > 2:
            continue
        if other.dtype.kind not in "fiu":
            continue
        if other.attrs.get("standard_name") == which:
            score = 0
        elif str(other.attrs.get("units", "")).lower() in _UNITS[which]:
            score = 1
        elif str(name).lower() in _NAMES[which]:
            score = 2
        else:
            continue
        if best is None or score < best[0]:
            best = (score, other)
    return None if best is None else best[1]


def _from_projection(
    ds: xr.Dataset, variable: xr.DataArray, path: Path
) -> tuple[NDArray[np.float64], NDArray[np.float64], tuple[Any, ...]] | None:
    """Latitude and longitude of every point from the variable's CF grid mapping."""
    mapping = str(variable.attrs.get("grid_mapping", "")).split(":")[0].strip()
    x = _projection_axis(ds, variable, _X_STANDARD)
    y = _projection_axis(ds, variable, _Y_STANDARD)
    if mapping not in ds.variables or x is None or y is None:
        return None
    from pyproj import CRS, Transformer  # only needed for such grids
    from pyproj.exceptions import ProjError

    _check_count(x, path)
    _check_count(y, path)
    if x.size * y.size > _MAX_POINTS:
        msg = f"{path}: a grid of {y.size} by {x.size} points; at most {_MAX_POINTS} are allowed"
        raise InputError(msg, path=path)
    scale = {"km": 1000.0, "m": 1.0}.get(str(x.attrs.get("units", "")).strip())
    if x.attrs.get("standard_name") == "grid_longitude":
        scale = 1.0
    if scale is None:
        msg = f"{path}: {x.name} has units {x.attrs.get('units')!r}; allowed are m and km"
        raise InputError(msg, path=path, field=str(x.name))
    try:
        crs = CRS.from_cf(dict(ds[mapping].attrs))
        # A rotated pole is itself geographic; what it is derived from has the true pole.
        geographic = crs.source_crs if crs.is_geographic and crs.is_derived else crs.geodetic_crs
        turn = Transformer.from_crs(crs, geographic, always_xy=True)
    except (ProjError, KeyError, TypeError, ValueError) as err:
        msg = f"{path}: projection {mapping!r} is not known; allowed are CF grid mappings"
        raise InputError(msg, path=path, field=mapping) from err
    east, north = np.meshgrid(_numbers(x) * scale, _numbers(y) * scale)
    lon, lat = turn.transform(east, north)
    return np.asarray(lat), np.asarray(lon), (y.dims[0], x.dims[0])


def _projection_axis(
    ds: xr.Dataset, variable: xr.DataArray, standard: tuple[str, ...]
) -> xr.DataArray | None:
    for dim in variable.dims:
        if dim in ds.variables and ds[dim].attrs.get("standard_name") in standard:
            return ds[dim]
    return None


def _numbers(coordinate: xr.DataArray) -> NDArray[np.float64]:
    return np.asarray(coordinate.to_numpy(), dtype=np.float64)


def _check_count(coordinate: xr.DataArray, path: Path) -> None:
    if coordinate.size > _MAX_POINTS:
        msg = (
            f"{path}: {coordinate.name} has {coordinate.size} points; "
            f"at most {_MAX_POINTS} are allowed"
        )
        raise InputError(msg, path=path, field=str(coordinate.name))


def _read_axes(
    window: Window, variable: xr.DataArray, time: Any, member: Any
) -> NDArray[np.float64]:
    cut = window.cut
    assert isinstance(cut, Cut)
    rows, columns = window.dims
    part = variable.isel({rows: _covering(cut.rows)})
    pieces = [
        _ordered(part.isel({columns: run}), (time, member, rows, columns))
        for run in _runs(cut.columns)
    ]
    table = np.concatenate(pieces, axis=3)
    return table[:, :, cut.rows - cut.rows.min()]


def _read_points(
    window: Window, variable: xr.DataArray, time: Any, member: Any
) -> NDArray[np.float64]:
    cut = window.cut
    assert isinstance(cut, PointCut)
    box = {
        dim: take if isinstance(take, slice) else _covering(take)
        for dim, take in zip(window.dims, cut.take, strict=True)
    }
    table = _ordered(variable.isel(box), (time, member, *window.dims))
    if isinstance(cut.take[0], slice):
        return table
    return table[:, :, cut.take[0] - cut.take[0].min()]


def _ordered(part: xr.DataArray, dims: tuple[Any, ...]) -> NDArray[np.float64]:
    """Values with the axes times, members, then space; those a variable has not are of one."""
    order = [dim for dim in dims if dim is not None]
    values = np.asarray(part.transpose(*order).to_numpy(), dtype=np.float64)
    for axis, dim in enumerate(dims[:2]):
        if dim is None:
            values = np.expand_dims(values, axis)
    return values


def _covering(index: NDArray[np.int64]) -> slice:
    return slice(0, 0) if not index.size else slice(int(index.min()), int(index.max()) + 1)


def _runs(columns: NDArray[np.int64]) -> list[slice]:
    """Contiguous pieces of a list of columns, which may run backwards or round the Earth."""
    pieces = np.split(columns, np.flatnonzero(np.abs(np.diff(columns)) != 1) + 1)
    runs = []
    for piece in pieces:
        if piece.size > 1 and piece[1] < piece[0]:
            runs.append(slice(int(piece[0]), int(piece[-1]) - 1 if piece[-1] else None, -1))
        else:
            runs.append(slice(int(piece[0]), int(piece[-1]) + 1))
    return runs

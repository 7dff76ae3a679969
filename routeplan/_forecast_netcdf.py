"""NetCDF and Zarr to fields: coordinates found by their attributes, only the box is read."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast_fields import Field, Meta, Request, check_size, cut_regular
from routeplan._forecast_names import Quantity, by_short, by_standard
from routeplan._forecast_times import read_times
from routeplan.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    import xarray as xr
    from numpy.typing import NDArray

    from routeplan._forecast_fields import Cut

__all__ = ["read_netcdf", "read_zarr"]

_LATITUDE = ("latitude", "lat", "nav_lat", "xlat", "y_lat")
_LONGITUDE = ("longitude", "lon", "nav_lon", "xlong", "x_lon")
_MEMBER = ("number", "member", "ensemble", "ens", "realization", "ensemble_member")
_MAX_VARIABLES = 2000


def read_netcdf(path: Path, request: Request) -> tuple[list[Field], Meta]:
    """Read the fields of a NetCDF file that a route can use.

    Raises
    ------
    InputError
        When the file is damaged or its coordinates cannot be used.
    CoverageError
        When nothing of the box is covered.
    """
    return _read(path, request, "netcdf4")


def read_zarr(path: Path, request: Request) -> tuple[list[Field], Meta]:
    """Read the fields of a Zarr store; errors as in `read_netcdf`."""
    return _read(path, request, "zarr")


def _read(path: Path, request: Request, engine: str) -> tuple[list[Field], Meta]:
    import xarray as xr  # takes a second to import

    kind = "NetCDF file" if engine == "netcdf4" else "Zarr store"
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of strangers' attributes; what matters is checked
            options: dict[str, Any] = {"chunks": None} if engine == "zarr" else {}
            with xr.open_dataset(
                path, engine=engine, decode_times=False, decode_timedelta=False, **options
            ) as ds:
                return _fields(ds, path, request)
    except (OSError, RuntimeError, ValueError, TypeError, KeyError, AttributeError) as err:
        if isinstance(err, InputError) or type(err).__module__.startswith("routeplan"):
            raise
        reason = (str(err).strip().splitlines() or [type(err).__name__])[0][:120]
        msg = f"{path}: damaged {kind} or not one ({reason}); fetch it again"
        raise InputError(msg, path=path) from err


def _fields(ds: xr.Dataset, path: Path, request: Request) -> tuple[list[Field], Meta]:
    if len(ds.variables) > _MAX_VARIABLES:
        msg = f"{path}: {len(ds.variables)} variables; at most {_MAX_VARIABLES} are allowed"
        raise InputError(msg, path=path)
    fields = []
    for name in ds.variables:
        variable = ds[name]
        found = _recognise(variable)
        if found is None:
            continue
        field = _field(ds, variable, found, path, request)
        if field is not None:
            fields.append(field)
            check_size(sum(f.data.size for f in fields if f.data is not None), path)
    return fields, _meta(ds)


def _recognise(variable: xr.DataArray) -> tuple[Quantity, int] | None:
    """Quantity of a variable, by standard name before short name; lower rank is surer."""
    if variable.ndim < 2 or variable.dtype.kind not in "fiu":
        return None
    standard = str(variable.attrs.get("standard_name", ""))
    short = by_short(str(variable.name)) or by_short(str(variable.attrs.get("GRIB_shortName", "")))
    by_cf = by_standard(standard)
    if by_cf is None:
        return None if short is None else (short, 1)
    return (by_cf, 0 if short is by_cf else 1)


def _field(
    ds: xr.Dataset,
    variable: xr.DataArray,
    found: tuple[Quantity, int],
    path: Path,
    request: Request,
) -> Field | None:
    quantity, rank = found
    lat, lon = _coordinate(ds, variable, "latitude"), _coordinate(ds, variable, "longitude")
    if lat is None or lon is None or lat.ndim != 1 or lon.ndim != 1:
        return None
    axes = read_times(ds, variable, path)
    member = next((d for d in variable.dims if str(d).lower() in _MEMBER), None)
    keep = {axes.dim, member, lat.dims[0], lon.dims[0]}
    picked = _pick_level(ds, variable, quantity, keep, path)
    if picked is None:
        return None
    wanted = np.flatnonzero(request.wants_time(axes.time))
    cut = cut_regular(lat.to_numpy(), lon.to_numpy(), request, path)
    number = _numbers(ds, member)
    check_size(
        wanted.size
        * (1 if number is None else number.size)
        * cut.grid.latitude.size
        * cut.grid.longitude.size,
        path,
    )
    data = None
    if request.values:
        data = _load(picked, (axes.dim, member, lat.dims[0], lon.dims[0]), wanted, cut)
    return Field(
        name=quantity.name,
        label=str(variable.name),
        units=str(variable.attrs.get("units", "")),
        time=axes.time[wanted],
        number=number,
        grid=cut.grid,
        data=data,
        since=None if axes.since is None else axes.since[wanted],
        rank=rank,
    )


def _coordinate(ds: xr.Dataset, variable: xr.DataArray, which: str) -> xr.DataArray | None:
    """Find the latitude or longitude of a variable by standard name, units or name."""
    names = _LATITUDE if which == "latitude" else _LONGITUDE
    units = "degrees_north" if which == "latitude" else "degrees_east"
    best: tuple[int, xr.DataArray] | None = None
    for name in ds.variables:
        other = ds[name]
        if not other.dims or not set(other.dims) <= set(variable.dims) or other.ndim > 2:
            continue
        if other.attrs.get("standard_name") == which:
            score = 0
        elif str(other.attrs.get("units", "")).replace("degree_", "degrees_") == units:
            score = 1
        elif str(name).lower() in names:
            score = 2
        else:
            continue
        if best is None or score < best[0]:
            best = (score, other)
    return None if best is None else best[1]


def _pick_level(
    ds: xr.Dataset, variable: xr.DataArray, quantity: Quantity, keep: set[Any], path: Path
) -> xr.DataArray | None:
    """Reduce dimensions that are neither space, time nor member to the level that is meant."""
    for dim in [d for d in variable.dims if d not in keep]:
        if variable.sizes[dim] == 1:
            variable = variable.isel({dim: 0})
            continue
        index = _level_index(ds, dim, quantity)
        if index is None:
            msg = (
                f"{path}: {variable.name} has {variable.sizes[dim]} entries along {dim!r} and "
                f"none that is known to be near the surface; allowed is one level or a height in m"
            )
            raise InputError(msg, path=path, field=str(variable.name))
        variable = variable.isel({dim: index})
    height = _scalar_height(variable)
    if quantity.height_m is not None and height is not None and height != quantity.height_m:
        return None
    return variable


def _level_index(ds: xr.Dataset, dim: Any, quantity: Quantity) -> int | None:
    if dim not in ds.variables:
        return None
    axis = ds[dim]
    if str(axis.attrs.get("units", "")).strip().lower() not in ("m", "meter", "meters", "metre"):
        return None
    values = np.abs(np.asarray(axis.to_numpy(), dtype=float))
    target = (
        quantity.height_m if quantity.height_m is not None else (0.0 if quantity.marine else None)
    )
    if target is None:
        return None
    index = int(np.argmin(np.abs(values - target)))
    near = abs(values[index] - target) <= (2.0 if quantity.marine else 0.0)
    return index if near else None


def _scalar_height(variable: xr.DataArray) -> float | None:
    """Height above ground that a scalar coordinate gives, metres."""
    for name, coordinate in variable.coords.items():
        if coordinate.ndim or str(name) not in (
            "height",
            "heightAboveGround",
            "height_above_ground",
        ):
            continue
        value = float(coordinate.to_numpy())
        return value if np.isfinite(value) else None
    return None


def _numbers(ds: xr.Dataset, member: Any) -> NDArray[np.int64] | None:
    if member is None:
        return None
    if member in ds.variables and ds[member].dtype.kind in "iuf":
        values = np.asarray(ds[member].to_numpy(), dtype=float)
        if np.isfinite(values).all() and np.unique(values).size == values.size:
            return values.astype(np.int64)
    return np.arange(ds.sizes[member], dtype=np.int64)


def _load(
    variable: xr.DataArray, dims: tuple[Any, Any, Any, Any], times: NDArray[np.int64], cut: Cut
) -> NDArray[np.float64]:
    """Read the box and hours only: (times, members, rows, columns)."""
    time_dim, member, lat_dim, lon_dim = dims
    selection: dict[Any, slice] = {lat_dim: _covering(cut.rows)}
    if time_dim is not None:
        selection[time_dim] = _covering(times)
    parts = [
        _ordered(variable.isel({**selection, lon_dim: run}), dims) for run in _runs(cut.columns)
    ]
    table = np.concatenate(parts, axis=3)
    table = table[:, :, cut.rows - cut.rows.min()]
    return table if time_dim is None else table[times - times.min()]


def _ordered(part: xr.DataArray, dims: tuple[Any, Any, Any, Any]) -> NDArray[np.float64]:
    order = [d for d in dims if d is not None]
    values = np.asarray(part.transpose(*order).to_numpy(), dtype=np.float64)
    for axis, dim in enumerate(dims[:2]):
        if dim is None:
            values = np.expand_dims(values, axis)
    return values


def _covering(index: NDArray[np.int64]) -> slice:
    return slice(0, 0) if not index.size else slice(int(index.min()), int(index.max()) + 1)


def _runs(columns: NDArray[np.int64]) -> list[slice]:
    """Contiguous pieces of a list of columns, which may run backwards or round the Earth."""
    breaks = np.flatnonzero(np.abs(np.diff(columns)) != 1) + 1
    pieces = np.split(columns, breaks)
    slices = []
    for piece in pieces:
        if piece.size > 1 and piece[1] < piece[0]:
            stop = None if piece[-1] == 0 else int(piece[-1]) - 1
            slices.append(slice(int(piece[0]), stop, -1))
        else:
            slices.append(slice(int(piece[0]), int(piece[-1]) + 1))
    return slices


def _meta(ds: xr.Dataset) -> Meta:
    def text(*names: str) -> str:
        for name in names:
            value = ds.attrs.get(name)
            if isinstance(value, str) and value.strip():
                return " ".join(value.split())[:300]
        return ""

    invented = text("routeplan_invented").lower() in ("yes", "true", "1")
    return Meta(
        source=text("source", "model", "GRIB_centreDescription", "institution"),
        title=text("title"),
        reference_time=_reference(ds),
        attribution=text("attribution", "acknowledgement", "credit"),
        licence=text("licence", "license"),
        invented=invented or "invented" in (text("comment") + text("title")).lower(),
    )


def _reference(ds: xr.Dataset) -> str:
    from routeplan._forecast_times import decode_moment

    for name in ds.variables:
        variable = ds[name]
        if variable.attrs.get("standard_name") == "forecast_reference_time" and variable.size == 1:
            moment = decode_moment(variable)
            if moment is not None:
                return f"{np.datetime_as_string(moment, unit='s')}Z"
    for key in ("reference_time", "forecast_reference_time"):
        value = ds.attrs.get(key)
        if isinstance(value, str):
            try:
                moment = np.datetime64(value.strip().rstrip("Z"), "s")
            except ValueError:
                continue
            return f"{np.datetime_as_string(moment, unit='s')}Z"
    return ""

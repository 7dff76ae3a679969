"""NetCDF and Zarr to fields: what a variable is, its level, its members; only the box is read."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast.fields import GRID_AXES, Field, Meta, Request, check_size, moment_text
from routeplan._forecast.level import pick_level
from routeplan._forecast.names import Quantity, by_short, by_standard
from routeplan._forecast.ncgrid import Window, find_window
from routeplan._forecast.points import PointGrid
from routeplan._forecast.times import TimeAxis, decode_moment, read_times
from routeplan.errors import InputError, RouteplanError

if TYPE_CHECKING:
    from pathlib import Path

    import xarray as xr
    from numpy.typing import NDArray

__all__ = ["read_netcdf", "read_zarr"]

_MEMBER = ("number", "member", "ensemble", "ens", "realization", "ensemble_member", "mbr")
_MAX_VARIABLES = 2000
_MAX_AXIS = 5_000_000  # an axis is read whole to find the box
_WIND = ("eastward_wind", "northward_wind", "x_wind", "y_wind", "wind_speed")


def read_netcdf(path: Path, request: Request) -> tuple[list[Field], Meta]:
    """Read the fields of a NetCDF file that a route can use.

    Raises
    ------
    InputError
        When the file is damaged or its coordinates cannot be used.
    CoverageError
        When nothing of the box is covered.
    """
    return _guarded(path, request, "netcdf4")


def read_zarr(path: Path, request: Request) -> tuple[list[Field], Meta]:
    """Read the fields of a Zarr store; errors as in `read_netcdf`."""
    return _guarded(path, request, "zarr")


def _guarded(path: Path, request: Request, engine: str) -> tuple[list[Field], Meta]:
    """Read, and turn what the libraries raise on a damaged file into one line."""
    import xarray as xr  # takes a second to import

    kind = "NetCDF file" if engine == "netcdf4" else "Zarr store"
    options: dict[str, Any] = {"chunks": None} if engine == "zarr" else {}
    try:
        with warnings.catch_warnings():
            # Libraries warn of strangers' attributes; what matters is checked here.
            warnings.simplefilter("ignore")
            _check_axes(path, engine)
            with xr.open_dataset(
                path, engine=engine, decode_times=False, decode_timedelta=False, **options
            ) as ds:
                return _fields(ds, path, request)
    except (RouteplanError, ImportError):
        raise
    except Exception as err:
        # Whatever a decoder raises on a stranger's bytes is the file's fault.
        reason = (str(err).strip().splitlines() or [type(err).__name__])[0][:120]
        msg = f"{path}: damaged {kind} or not one ({reason}); fetch it again"
        raise InputError(msg, path=path) from err


def _check_axes(path: Path, engine: str) -> None:
    """Refuse what would not fit: xarray reads every axis when it opens a file."""
    if engine == "zarr":
        import zarr

        shapes = [(n, a.shape) for n, a in zarr.open_group(str(path), mode="r").arrays()]
    else:
        import netCDF4

        with netCDF4.Dataset(str(path)) as file:
            shapes = [(name, variable.shape) for name, variable in file.variables.items()]
    if len(shapes) > _MAX_VARIABLES:
        msg = f"{path}: {len(shapes)} variables; at most {_MAX_VARIABLES} are allowed"
        raise InputError(msg, path=path)
    for name, shape in shapes:
        if len(shape) == 1 and shape[0] > _MAX_AXIS:
            msg = f"{path}: {name} has {shape[0]} entries; at most {_MAX_AXIS} are allowed"
            raise InputError(msg, path=path, field=str(name))


def _fields(ds: xr.Dataset, path: Path, request: Request) -> tuple[list[Field], Meta]:
    fields: list[Field] = []
    meta = _meta(ds)
    for name in ds.variables:
        found = _recognise(ds[name])
        if found is None:
            continue
        try:
            item = _field(ds, ds[name], found, path, request, meta)
        except InputError as err:
            if found[0].name in _WIND or err.field != "time":
                raise
            meta.notes.append(f"{name}: left out, its times cannot be used")
            continue
        if item is not None:
            fields.append(item)
            check_size(sum(f.data.size for f in fields if f.data is not None), path)
    return fields, meta


def _recognise(variable: xr.DataArray) -> tuple[Quantity, int] | None:
    """Quantity of a variable, by standard name before short name; a lower rank is surer."""
    if variable.ndim < 1 or variable.dtype.kind not in "fiu":
        return None
    short = by_short(str(variable.attrs.get("GRIB_shortName", ""))) or by_short(str(variable.name))
    standard = by_standard(str(variable.attrs.get("standard_name", "")))
    if standard is None:
        return None if short is None else (short, 1)
    return standard, 0 if short is standard else 1


def _field(
    ds: xr.Dataset,
    variable: xr.DataArray,
    found: tuple[Quantity, int],
    path: Path,
    request: Request,
    meta: Meta,
) -> Field | None:
    quantity, rank = found
    window = find_window(ds, variable, request, path)
    if window is None:
        return None
    hours = _hours(ds, variable, quantity, path)
    member = next((d for d in variable.dims if str(d).lower() in _MEMBER), None)
    picked = pick_level(ds, variable, quantity, {hours.dim, member, *window.dims}, meta)
    if picked is None:
        return None
    wanted = np.arange(hours.time.size)
    if not quantity.static:
        wanted = np.flatnonzero(request.wants_time(hours.time))
    number = _numbers(ds, member)
    check_size(wanted.size * window.size * (1 if number is None else number.size), path)
    data = window.read(picked, hours.dim, member, wanted) if request.values else None
    return Field(
        name=_vector_name(variable, quantity, window, path),
        label=str(variable.name),
        units=str(variable.attrs.get("units", "")),
        time=hours.time[wanted],
        number=number,
        grid=window.grid,
        data=data,
        since=None if hours.since is None else hours.since[wanted],
        rank=rank,
        file=str(path),
    )


def _hours(ds: xr.Dataset, variable: xr.DataArray, quantity: Quantity, path: Path) -> TimeAxis:
    try:
        return read_times(ds, variable, path)
    except InputError:
        if not quantity.static:
            raise
        return TimeAxis(None, np.zeros(1, dtype="datetime64[ns]"))


def _vector_name(variable: xr.DataArray, quantity: Quantity, window: Window, path: Path) -> str:
    """Name of a component, once it is clear against which axes a projected grid gives it."""
    if quantity.name not in GRID_AXES or not isinstance(window.grid, PointGrid):
        return quantity.name
    if variable.attrs.get("standard_name") == quantity.name:
        return quantity.name
    relative = variable.attrs.get("GRIB_uvRelativeToGrid")
    if relative is None:
        axes = GRID_AXES[quantity.name]
        msg = (
            f"{path}: {variable.name} does not say whether it is along the axes of its projected "
            f"grid or east and north; set its standard_name to {axes} or {quantity.name}"
        )
        raise InputError(msg, path=path, field=str(variable.name))
    return GRID_AXES[quantity.name] if int(relative) else quantity.name


def _numbers(ds: xr.Dataset, member: Any) -> NDArray[np.int64] | None:
    if member is None:
        return None
    if member in ds.variables and ds[member].dtype.kind in "iuf":
        values = np.asarray(ds[member].to_numpy(), dtype=float)
        if np.isfinite(values).all() and np.all(np.diff(values) > 0):
            return values.astype(np.int64)
    return np.arange(ds.sizes[member], dtype=np.int64)


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
    """Time of the model run: CF's forecast_reference_time, or a global attribute."""
    for name in ds.variables:
        variable = ds[name]
        if variable.attrs.get("standard_name") == "forecast_reference_time" and variable.size == 1:
            moment = decode_moment(variable)
            if moment is not None and not np.isnat(moment):
                return moment_text(moment)
    for key in ("reference_time", "forecast_reference_time"):
        value = ds.attrs.get(key)
        if isinstance(value, str) and value.strip()[:1].isdigit():  # "now" would be read as now
            try:
                return moment_text(np.datetime64(value.strip().rstrip("Z"), "s"))
            except ValueError:
                continue
    return ""

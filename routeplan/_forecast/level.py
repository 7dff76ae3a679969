"""Which level of a NetCDF variable is the one near the surface, and which are none."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import xarray as xr

    from routeplan._forecast.fields import Meta
    from routeplan._forecast.names import Quantity

__all__ = ["pick_level"]

_METRES = ("m", "meter", "meters", "metre", "metres")
_PRESSURES = ("pa", "hpa", "mbar", "mb", "millibar", "millibars", "kpa")
# Levels that are not a height above ground: of a wind on one of them nothing is known at 10 m.
_ALOFT = ("isobaric", "pressure", "plev", "hybrid", "sigma", "model_level", "potential")
_LEVEL_NAMES = ("level", "lev", "altitude", "height")
_UPPERMOST_M = 2.0  # the first layer of an ocean model lies a metre or two down


def pick_level(
    ds: xr.Dataset, variable: xr.DataArray, quantity: Quantity, keep: set[Any], meta: Meta
) -> xr.DataArray | None:
    """Reduce dimensions that are neither space, time nor member; None when no level is meant."""
    for dim in [d for d in variable.dims if d not in keep]:
        index = 0 if variable.sizes[dim] == 1 else _level_index(ds, dim, quantity)
        if index is None:
            meta.notes.append(
                f"{variable.name}: left out, {variable.sizes[dim]} entries along {dim} and none "
                f"known to be near the surface (allowed: one level, or heights in m)"
            )
            return None
        variable = variable.isel({dim: index})
    why = _aloft(variable, quantity)
    if why:
        meta.notes.append(f"{variable.name}: left out, {why}")
        return None
    return variable


def _level_index(ds: xr.Dataset, dim: Any, quantity: Quantity) -> int | None:
    if dim not in ds.variables or ds[dim].dtype.kind not in "fiu":
        return None
    axis = ds[dim]
    if _units(axis) not in _METRES:
        return None
    values = np.abs(np.asarray(axis.to_numpy(), dtype=float))
    target = 0.0 if quantity.marine else quantity.height_m
    if target is None:
        return None
    index = int(np.argmin(np.abs(values - target)))
    slack = _UPPERMOST_M if quantity.marine else 0.0
    return index if abs(values[index] - target) <= slack else None


def _aloft(variable: xr.DataArray, quantity: Quantity) -> str:
    """Why a variable is not at the height that is meant; empty when nothing says so."""
    if quantity.height_m is None:
        return ""
    named = _named_height(variable)
    if named is not None and named != quantity.height_m:
        return f"it is named as at {named:g} m, needed is {quantity.height_m:g} m"
    level_type = str(variable.attrs.get("GRIB_typeOfLevel", ""))
    if any(word in level_type.lower() for word in _ALOFT):
        return f"its level is of type {level_type}"
    for name, coordinate in variable.coords.items():
        if coordinate.ndim or coordinate.dtype.kind not in "fiu":
            continue
        value = float(coordinate.to_numpy())
        label = f"{name} {coordinate.attrs.get('standard_name', '')}".lower()
        if _units(coordinate) in _PRESSURES or any(word in label for word in _ALOFT):
            return f"it is at {name} {value:g} {coordinate.attrs.get('units', '')}".strip()
        vertical = any(word in label for word in _LEVEL_NAMES)
        if vertical and np.isfinite(value) and value not in (0.0, quantity.height_m):
            return f"it is at {name} {value:g}, needed are {quantity.height_m:g} m above ground"
    return ""


def _named_height(variable: xr.DataArray) -> float | None:
    """Height in metres that a variable's name or long name gives, as in u100 or 100u."""
    name = str(variable.name).lower()
    long_name = str(variable.attrs.get("long_name", "")).lower()
    found = re.fullmatch(r"(?:[uvt]|[uv]grd|ws|wd)_?(\d+)m?(?:aboveground)?", name)
    found = found or re.fullmatch(r"(\d+)[uvt]", name)
    found = found or re.search(r"\b(\d+)[\s_-]?(?:m|met(?:er|re)s?)\b", long_name)
    return None if found is None else float(found.group(1))


def _units(variable: xr.DataArray) -> str:
    return str(variable.attrs.get("units", "")).strip().lower()

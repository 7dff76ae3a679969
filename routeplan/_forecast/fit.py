"""One normalised forecast from fields: the grid, the members and the hours of its wind."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast.derive import derive
from routeplan._forecast.fields import (
    SURFACE_RANK,
    Field,
    Meta,
    RegularGrid,
    Request,
    check_size,
    impossible,
    to_si,
)
from routeplan._forecast.merge import choose, merge_fields
from routeplan._forecast.names import REQUIRED, by_name
from routeplan._forecast.points import lattice
from routeplan._forecast.resample import Resampler
from routeplan.errors import CoverageError, InputError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["Normalised", "normalise"]

_WIND = (*REQUIRED, "x_wind", "y_wind", "wind_speed", "wind_from_direction")
_LONGEST_GAP = np.timedelta64(12, "h")  # between two hours of a field; beyond it is unknown


@dataclass(slots=True, eq=False)
class Normalised:
    """A normalised forecast: values[name] is (times, members, rows, columns), or None."""

    time: NDArray[np.datetime64]
    number: NDArray[np.int64] | None
    grid: RegularGrid
    meta: Meta
    values: dict[str, NDArray[np.float64] | None] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class _Target:
    """The grid of the result, and how to come to it from those of the fields."""

    grid: RegularGrid
    known: list[Resampler] = field(default_factory=list)

    def resampler(self, source: Any) -> Resampler:
        """Weights from a grid, the same for all fields on it."""
        for one in self.known:
            if one.source.same(source):
                return one
        self.known.append(Resampler(source, self.grid))
        return self.known[-1]


def normalise(fields: list[Field], meta: Meta, request: Request, path: Path) -> Normalised:
    """Bring the fields of one forecast to the grid, members and hours of its wind.

    Raises
    ------
    InputError
        When there is no wind or a field cannot be used.
    CoverageError
        When the hours asked for are not covered.
    """
    best = choose(merge_fields(fields), meta)
    best = _in_si(best, meta)
    derive(best, meta, path)
    if best["eastward_wind"].rank >= SURFACE_RANK:
        meta.notes.append("the wind is that of the surface level, taken as the wind at 10 m")
    lead = _trim(best["eastward_wind"], request, path)
    grid = lead.grid
    if not isinstance(grid, RegularGrid):
        grid = lattice(grid, request, path)
        meta.notes.append("the file's grid is resampled to one in latitude and longitude")
    kept = [item for name, item in best.items() if by_name(name).kept]
    members = 1 if lead.number is None else lead.number.size
    check_size(
        len(kept) * lead.time.size * members * grid.latitude.size * grid.longitude.size, path
    )
    result = Normalised(lead.time, lead.number, grid, meta)
    target = _Target(grid)
    for item in kept:
        fitted = _fit(item, lead, target, meta)
        if fitted is not None:
            result.values[item.name] = fitted.data
            result.labels[item.name] = item.label
    return result


def _in_si(best: dict[str, Field], meta: Meta) -> dict[str, Field]:
    """Convert all; impossible values refuse a wind, and leave any other field out."""
    out = {}
    for name, item in best.items():
        converted = to_si(item)
        fault = impossible(converted)
        if fault and name in _WIND:
            msg = f"{item.file}: {fault}"
            raise InputError(msg, path=item.file, field=item.label)
        if fault:
            meta.notes.append(f"{item.label}: left out, {fault}")
        else:
            out[name] = converted
    return out


def _trim(lead: Field, request: Request, path: Path) -> Field:
    """Keep the hours asked for and the step on either side that interpolation needs."""
    if request.time_range is None and lead.time.size:
        return lead
    first, last = request.time_range or (np.datetime64("NaT"), np.datetime64("NaT"))
    if not lead.time.size or last < lead.time[0] or first > lead.time[-1]:
        runs = "no hours near" if not lead.time.size else f"runs from {_iso(lead.time[0])} to "
        runs += "" if not lead.time.size else f"{_iso(lead.time[-1])} and does not reach"
        msg = f"{path}: the forecast {runs} {_iso(first)} to {_iso(last)}"
        covered = (lead.time[0], lead.time[-1]) if lead.time.size else None
        raise CoverageError(msg, time_range=covered)
    low = max(int(np.searchsorted(lead.time, first, side="right")) - 1, 0)
    high = int(np.searchsorted(lead.time, last, side="left")) + 1
    return replace(lead, time=lead.time[low : min(high, lead.time.size)], data=None)


def _iso(time: Any) -> str:
    return f"{np.datetime_as_string(np.datetime64(time).astype('datetime64[ns]'), unit='m')}Z"


def _fit(item: Field, lead: Field, target: _Target, meta: Meta) -> Field | None:
    """Bring one field to the grid, members and hours of the wind."""
    if item.number is not None and lead.number is None:
        meta.notes.append(f"{item.label}: left out, it has members and the wind has none")
        return None
    if item.data is None:
        return item
    data = np.asarray(item.data, dtype=np.float64)
    data = _fit_members(_fit_times(data, item, lead), item, lead)
    if item.grid.same(target.grid):
        return replace(item, data=data)
    if isinstance(item.grid, RegularGrid):
        meta.notes.append(f"{item.label}: resampled to the grid of the wind")
    apply = target.resampler(item.grid).apply
    if item.name.endswith("_direction"):
        east, north = apply(np.sin(np.radians(data))), apply(np.cos(np.radians(data)))
        return replace(item, data=np.degrees(np.arctan2(east, north)) % 360.0)
    return replace(item, data=apply(data))


def _fit_members(data: NDArray[np.float64], item: Field, lead: Field) -> NDArray[np.float64]:
    """Pick the wind's members; what has none is the same for all, a missing one is unknown."""
    if lead.number is None:
        return data
    if item.number is None:
        return np.repeat(data, lead.number.size, axis=1)
    order = np.minimum(np.searchsorted(item.number, lead.number), item.number.size - 1)
    found = item.number[order] == lead.number
    out = data[:, order]
    out[:, ~found] = np.nan
    return out


def _fit_times(data: NDArray[np.float64], item: Field, lead: Field) -> NDArray[np.float64]:
    """Linear between the field's own hours; nan before the first, after the last, in a long gap."""
    if np.array_equal(item.time, lead.time):
        return data
    if by_name(item.name).static:
        return np.repeat(data[:1], lead.time.size, axis=0)
    after = np.clip(np.searchsorted(item.time, lead.time), 0, item.time.size - 1)
    exact = item.time[after] == lead.time
    before = np.where(exact, after, np.maximum(after - 1, 0))
    span = item.time[after] - item.time[before]
    known = (lead.time >= item.time[0]) & (lead.time <= item.time[-1]) & (span <= _LONGEST_GAP)
    length = np.where(exact, 1.0, span / np.timedelta64(1, "s"))
    length = np.where(length > 0.0, length, 1.0)
    share = (lead.time - item.time[before]) / np.timedelta64(1, "s") / length
    share = share.reshape(-1, *[1] * (data.ndim - 1))
    low, high = data[before], data[after]
    if item.name.endswith("_direction"):
        turn = (high - low + 180.0) % 360.0 - 180.0
        out = (low + share * turn) % 360.0
    else:
        out = low * (1.0 - share) + high * share
    out[exact] = data[after[exact]]
    out[~known] = np.nan
    return out

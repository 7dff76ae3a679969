"""From the fields of a file to one normalised forecast: one grid, one time axis, SI."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast_fields import Field, Meta, RegularGrid, Request, to_si
from routeplan._forecast_names import REQUIRED, by_name
from routeplan.errors import CoverageError, InputError
from routeplan.wind import wind_components

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["Normalised", "normalise"]


@dataclass(slots=True, eq=False)
class Normalised:
    """Arrays of a normalised forecast: values[name] is (times, members, rows, columns)."""

    time: NDArray[np.datetime64]
    number: NDArray[np.int64] | None
    grid: RegularGrid
    meta: Meta
    values: dict[str, NDArray[np.float64]] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)


def normalise(fields: list[Field], meta: Meta, request: Request, path: Path) -> Normalised:
    """Bring the fields of one forecast to the grid, members and hours of its wind.

    Raises
    ------
    InputError
        When there is no wind or a field cannot be used.
    CoverageError
        When the hours asked for are not covered.
    """
    best = _best(fields)
    best = {name: to_si(item, path) for name, item in best.items()}
    _derive_wind(best, path)
    _derive_rain(best, meta)
    lead = best["eastward_wind"]
    if not best["northward_wind"].grid.same(lead.grid):
        msg = (
            f"{path}: the two wind components are on different grids; allowed is one grid for both"
        )
        raise InputError(msg, path=path)
    lead = _trim(lead, request, path)
    result = Normalised(lead.time, lead.number, lead.grid, meta)
    for name, item in best.items():
        if by_name(name).kept:
            values = _fit(item, lead, meta, path)
            if values is not None:
                result.values[name] = values
                result.labels[name] = item.label
    return result


def _best(fields: list[Field]) -> dict[str, Field]:
    """Of several fields of one quantity the surest, and of equals the one with most hours."""
    best: dict[str, Field] = {}
    for item in fields:
        have = best.get(item.name)
        if have is None or (item.rank, -item.time.size) < (have.rank, -have.time.size):
            best[item.name] = item
    return best


def _derive_wind(best: dict[str, Field], path: Path) -> None:
    if all(name in best for name in REQUIRED):
        return
    speed, direction = best.get("wind_speed"), best.get("wind_from_direction")
    if speed is None or direction is None:
        found = ", ".join(sorted({item.label for item in best.values()})) or "nothing that is known"
        msg = (
            f"{path}: no 10 m wind in this forecast (it holds {found}); needed are eastward_wind "
            f"and northward_wind, or wind_speed and wind_from_direction"
        )
        raise InputError(msg, path=path, field="eastward_wind")
    if not speed.grid.same(direction.grid) or not np.array_equal(speed.time, direction.time):
        msg = f"{path}: wind speed and direction are on different grids or hours; allowed is one for both"
        raise InputError(msg, path=path)
    u, v = None, None
    if speed.data is not None and direction.data is not None:
        u, v = wind_components(speed.data, direction.data)
    label = f"{speed.label} and {direction.label}"
    best["eastward_wind"] = replace(speed, name="eastward_wind", label=label, data=u)
    best["northward_wind"] = replace(speed, name="northward_wind", label=label, data=v)


def _derive_rain(best: dict[str, Field], meta: Meta) -> None:
    amount = best.get("precipitation_amount")
    if amount is None or "precipitation_flux" in best:
        return
    if amount.since is None:
        meta.notes.append(
            f"{amount.label}: left out, the file does not say over which interval it is summed"
        )
        return
    rate = _rate(amount)
    if rate is not None:
        best["precipitation_flux"] = rate


def _rate(amount: Field) -> Field | None:
    """Mean rate over each interval from amounts summed since the start of theirs."""
    assert amount.since is not None
    length = (amount.time - amount.since) / np.timedelta64(1, "s")
    use = length > 0.0
    if not use.any():
        return None
    item = replace(
        amount,
        name="precipitation_flux",
        units="kg m-2 s-1",
        time=amount.time[use],
        since=amount.since[use],
        data=None if amount.data is None else amount.data[use],
    )
    if item.data is None or item.since is None:
        return item
    time, since, data = item.time, item.since, item.data
    rate = data / length[use][:, np.newaxis, np.newaxis, np.newaxis]
    for i in range(1, time.size):
        if since[i] == since[i - 1]:  # summed from the same start: the difference is the step's
            step = (time[i] - time[i - 1]) / np.timedelta64(1, "s")
            rate[i] = (data[i] - data[i - 1]) / step
    # Packing makes sums fall by a little from one step to the next.
    return replace(item, data=np.where(rate < 0.0, 0.0, rate))


def _trim(lead: Field, request: Request, path: Path) -> Field:
    """Keep the hours asked for and the step on either side that interpolation needs."""
    if not lead.time.size:
        msg = f"{path}: no hours of the forecast lie near the time asked for"
        raise CoverageError(msg, time_range=request.time_range)
    if request.time_range is None:
        return lead
    first, last = request.time_range
    if last < lead.time[0] or first > lead.time[-1]:
        msg = (
            f"{path}: the forecast runs from {_iso(lead.time[0])} to {_iso(lead.time[-1])} and does "
            f"not reach {_iso(first)} to {_iso(last)}"
        )
        raise CoverageError(msg, time_range=(lead.time[0], lead.time[-1]))
    low = max(int(np.searchsorted(lead.time, first, side="right")) - 1, 0)
    high = int(np.searchsorted(lead.time, last, side="left")) + 1
    keep = slice(low, min(high, lead.time.size))
    data = None if lead.data is None else lead.data[keep]
    return replace(lead, time=lead.time[keep], data=data, since=None)


def _iso(time: Any) -> str:
    return f"{np.datetime_as_string(np.datetime64(time, 'ns'), unit='m')}Z"


def _fit(item: Field, lead: Field, meta: Meta, path: Path) -> NDArray[np.float64] | None:
    """Bring one field to the grid, members and hours of the wind."""
    if item.data is None:
        return np.empty((0, 0, 0, 0))
    data = np.asarray(item.data, dtype=np.float64)
    if not item.grid.same(lead.grid):
        meta.notes.append(f"{item.label}: left out, on another grid than the wind")
        return None
    data = _fit_members(data, item, lead, meta)
    return None if data is None else _fit_times(data, item, lead)


def _fit_members(
    data: NDArray[np.float64], item: Field, lead: Field, meta: Meta
) -> NDArray[np.float64] | None:
    if lead.number is None or (item.number is None and data.shape[1] == 1):
        if lead.number is None and data.shape[1] != 1:
            meta.notes.append(f"{item.label}: left out, has members and the wind has none")
            return None
        return np.repeat(data, 1 if lead.number is None else lead.number.size, axis=1)
    assert item.number is not None
    order = np.searchsorted(item.number, lead.number)
    found = order < item.number.size
    found[found] = item.number[order[found]] == lead.number[found]
    out = np.full((data.shape[0], lead.number.size, *data.shape[2:]), np.nan)
    out[:, found] = data[:, order[found]]
    return out


def _fit_times(data: NDArray[np.float64], item: Field, lead: Field) -> NDArray[np.float64]:
    """Linear in time between the field's own hours; nan before the first and after the last."""
    if np.array_equal(item.time, lead.time):
        return data
    after = np.clip(np.searchsorted(item.time, lead.time), 0, item.time.size - 1)
    exact = item.time[after] == lead.time
    before = np.where(exact, after, np.maximum(after - 1, 0))
    inside = (lead.time >= item.time[0]) & (lead.time <= item.time[-1])
    span = (item.time[after] - item.time[before]) / np.timedelta64(1, "s")
    part = (lead.time - item.time[before]) / np.timedelta64(1, "s")
    share = np.where(span > 0.0, part / np.where(span > 0.0, span, 1.0), 0.0)
    share = share[:, np.newaxis, np.newaxis, np.newaxis]
    low, high = data[before], data[after]
    if item.name.endswith("_direction"):
        turn = (high - low + 180.0) % 360.0 - 180.0
        out = (low + share * turn) % 360.0
    else:
        out = low * (1.0 - share) + high * share
    out[exact] = data[after[exact]]
    out[~inside] = np.nan
    return out

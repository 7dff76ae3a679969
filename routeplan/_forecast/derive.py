"""Quantities a file gives in another form: speed and direction, grid axes, sums of rain."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from routeplan._forecast.names import REQUIRED
from routeplan._forecast.points import PointGrid
from routeplan.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from routeplan._forecast.fields import Field, Meta

__all__ = ["derive"]

_WIND_AXES = ("x_wind", "y_wind")
_CURRENT = ("eastward_sea_water_velocity", "northward_sea_water_velocity")
_CURRENT_AXES = ("sea_water_x_velocity", "sea_water_y_velocity")
_HALF_TURN = 180.0


def derive(best: dict[str, Field], meta: Meta, path: Path) -> None:
    """Add wind, current and rain in their normalised form, in place; all in SI already.

    Raises
    ------
    InputError
        When there is no wind in any form.
    """
    _from_axes(best, _WIND_AXES, REQUIRED, meta)
    _from_polar(best, ("wind_speed", "wind_from_direction"), REQUIRED, 0.0, meta)
    _from_axes(best, _CURRENT_AXES, _CURRENT, meta)
    polar = ("sea_water_speed", "sea_water_velocity_to_direction")
    _from_polar(best, polar, _CURRENT, _HALF_TURN, meta)
    if not all(name in best for name in REQUIRED):
        found = ", ".join(sorted({item.label for item in best.values()})) or "nothing that is known"
        why = f"; {'; '.join(meta.notes[:3])}" if meta.notes else ""
        msg = (
            f"{path}: no 10 m wind in this forecast (it holds {found}{why}); needed are "
            f"eastward_wind and northward_wind, or wind_speed and wind_from_direction"
        )
        raise InputError(msg, path=path, field=REQUIRED[0])
    _rain(best, meta)


def _alike(first: Field, second: Field) -> bool:
    one, other = first.number, second.number
    numbers = one is other or (one is not None and other is not None and np.array_equal(one, other))
    return numbers and first.grid.same(second.grid) and np.array_equal(first.time, second.time)


def _from_axes(
    best: dict[str, Field], axes: tuple[str, str], towards: tuple[str, str], meta: Meta
) -> None:
    """Turn components along the grid's axes to eastward and northward ones."""
    if all(name in best for name in towards) or not all(name in best for name in axes):
        return
    x, y = best[axes[0]], best[axes[1]]
    projected = isinstance(x.grid, PointGrid)
    if not _alike(x, y) or (projected and x.grid.angle is None):
        meta.notes.append(
            f"{x.label} and {y.label}: left out, their grid's axes are not known or not the same"
        )
        return
    east, north = x.data, y.data
    if projected and x.data is not None and y.data is not None:
        angle = x.grid.angle
        east = x.data * np.cos(angle) - y.data * np.sin(angle)
        north = x.data * np.sin(angle) + y.data * np.cos(angle)
    best[towards[0]] = replace(x, name=towards[0], data=east)
    best[towards[1]] = replace(y, name=towards[1], data=north)


def _from_polar(
    best: dict[str, Field],
    polar: tuple[str, str],
    towards: tuple[str, str],
    turn_deg: float,
    meta: Meta,
) -> None:
    """Resolve speed and direction; `turn_deg` is 180 for a direction that something goes to."""
    if all(name in best for name in towards) or not all(name in best for name in polar):
        return
    speed, direction = best[polar[0]], best[polar[1]]
    label = f"{speed.label} and {direction.label}"
    if not _alike(speed, direction):
        meta.notes.append(f"{label}: left out, they differ in grid, hours or members")
        return
    east, north = None, None
    if speed.data is not None and direction.data is not None:
        angle = np.radians(direction.data + turn_deg)  # that it comes from
        east, north = -speed.data * np.sin(angle), -speed.data * np.cos(angle)
    best[towards[0]] = replace(speed, name=towards[0], label=label, data=east)
    best[towards[1]] = replace(speed, name=towards[1], label=label, data=north)


def _rain(best: dict[str, Field], meta: Meta) -> None:
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
    """Mean rate over each interval, from amounts summed since the start of theirs."""
    assert amount.since is not None
    second = np.timedelta64(1, "s")
    use = amount.time > amount.since  # the sum at the start of a run is over nothing
    if not use.any():
        return None
    time, since = amount.time[use], amount.since[use]
    begin = since.copy()
    again = np.flatnonzero(since[1:] == since[:-1]) + 1
    begin[again] = time[again - 1]  # summed from the same start: the difference is the step's
    data = None
    if amount.data is not None:
        total = amount.data[use]
        step = total.copy()
        step[again] -= total[again - 1]
        seconds = ((time - begin) / second).reshape(-1, *[1] * (step.ndim - 1))
        # Packing makes sums fall by a little from one step to the next.
        data = np.where(step < 0.0, 0.0, step / seconds)
    return replace(
        amount,
        name="precipitation_flux",
        units="kg m-2 s-1",
        time=time,
        since=begin,
        data=data,
    )

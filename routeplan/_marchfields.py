"""Arrays that go into the march and come out of it, from and to names."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._path import Path
from routeplan.errors import InputError
from routeplan.propulsion import Craft

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries

__all__ = ["COMPUTED", "check", "collect", "driving", "empty", "steps", "watched"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_DRIVE = (
    "eastward_wind",
    "northward_wind",
    "sea_surface_wave_significant_height",
    "",  # wave direction, as a vector
    "",
    "eastward_sea_water_velocity",
    "northward_sea_water_velocity",
)
_WAVE_FROM = "sea_surface_wave_from_direction"
COMPUTED = (
    "wind",
    "headwind",
    "crosswind",
    "wave_height",
    "offshore_wind",
    "opposing_current",
    "current",
)
# Watched as they are: quantity -> (variable of the forecast, 1 where more is worse, else -1)
_WATCHED = {
    "gust": ("wind_speed_of_gust", 1.0),
    "visibility": ("visibility_in_air", -1.0),
    "cape": ("atmosphere_convective_available_potential_energy", 1.0),
    "water_temperature": ("sea_surface_temperature", -1.0),
    "wind_chill": ("wind_chill_temperature", -1.0),
    "steepness": ("sea_surface_wave_steepness", 1.0),
    "wave_source": ("wave_source", 1.0),
}


def check(series: PointSeries, crafts: tuple[Craft, ...], steps: int) -> None:
    if not crafts:
        msg = "at least one craft is needed"
        raise InputError(msg, field="craft")
    for name in _DRIVE[:2]:
        if name not in series.values:
            msg = f"the forecast series has no {name}; it is required"
            raise InputError(msg, field=name)
    for name, values in series.values.items():
        if values.ndim != 3 or values.shape[:2] != (steps, series.time.size):
            msg = (
                f"{name} has shape {values.shape}; needed is ({steps}, {series.time.size}, members)"
            )
            raise InputError(msg, field=name)


def driving(series: PointSeries, steps: int) -> tuple[FloatArray, BoolArray]:
    """Fields that decide the speed, (7, k, T, e), and which of waves, current, direction exist."""
    values = series.values
    members = max(v.shape[2] for v in values.values())
    drive = np.zeros((len(_DRIVE), steps, series.time.size, members))
    for i, name in enumerate(_DRIVE):
        if name in values:
            drive[i] = values[name]
    if _WAVE_FROM in values:
        angle = np.radians(values[_WAVE_FROM])
        drive[3], drive[4] = np.sin(angle), np.cos(angle)
    current = all(name in values for name in _DRIVE[5:7])
    if not current:
        drive[5:7] = 0.0
    return drive, np.array([_DRIVE[2] in values, current, _WAVE_FROM in values])


def watched(series: PointSeries, shape: tuple[int, ...]) -> tuple[tuple[str, ...], FloatArray]:
    """Fields that are only noted, turned so that more is worse, (x, k, T, e)."""
    found = {n: v for n, v in _WATCHED.items() if v[0] in series.values}
    watch = np.zeros((len(found), *shape[1:]))
    for i, (variable, sign) in enumerate(found.values()):
        watch[i] = sign * series.values[variable]
    return tuple(found), watch


def steps(path: Path, beyond_m: float) -> tuple[Any, ...]:
    course = np.radians(path.course_deg)
    if path.shore_bearing_deg is None:
        bearing, far = np.zeros(course.size), np.zeros(course.size)
    else:
        bearing = np.radians(path.shore_bearing_deg)
        far = (path.offshore_m > beyond_m).astype(float)
    return (
        np.ascontiguousarray(path.length_m, dtype=float),
        np.ascontiguousarray(path.leg, dtype=np.int64),
        np.sin(course),
        np.cos(course),
        np.sin(bearing),
        np.cos(bearing),
        far,
    )


def empty(quantities: int, shape: tuple[int, ...]) -> tuple[Any, ...]:
    full = (quantities, *shape)
    return (
        np.full(full, np.nan),
        np.full(full, -1, dtype=np.int32),
        np.full(full, np.nan, dtype=np.float32),
        np.zeros(full, dtype=np.bool_),
    )


def collect(
    names: tuple[str, ...], out: tuple[Any, ...], have: BoolArray
) -> tuple[dict[str, Any], ...]:
    """The four result arrays as dicts by name, without what the series cannot tell."""
    skip = set()
    if not have[0]:
        skip.add("wave_height")
    if not have[1]:
        skip.update(("current", "opposing_current"))
    rows = [(i, n, 1.0) for i, n in enumerate(COMPUTED) if n not in skip]
    rows += [(len(COMPUTED) + i, n, _WATCHED[n][1]) for i, n in enumerate(names)]
    return (
        {n: sign * out[0][i] for i, n, sign in rows},
        {n: out[1][i] for i, n, _ in rows},
        {n: out[2][i] for i, n, _ in rows},
        {n: out[3][i] for i, n, _ in rows},
    )

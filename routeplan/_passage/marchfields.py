"""Arrays that go into the march and come out of it, from and to names."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from routeplan._passage.path import Path
from routeplan.errors import InputError
from routeplan.propulsion import Craft

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries

__all__ = [
    "COMPUTED",
    "check",
    "collect",
    "conditions",
    "driving",
    "empty",
    "kept",
    "steps",
    "variable_of",
    "watched",
]

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
    "drift": ("time_ashore_by_drift", 1.0),
}


def variable_of(quantity: str) -> str:
    """Variable of the forecast that a quantity of a passage comes from."""
    if quantity in _WATCHED:
        return _WATCHED[quantity][0]
    if quantity == "wave_height":
        return _DRIVE[2]
    return _DRIVE[5] if "current" in quantity else _DRIVE[0]


def check(series: PointSeries, crafts: tuple[Craft, ...], steps: int) -> None:
    if not crafts:
        msg = "at least one craft is needed"
        raise InputError(msg, field="craft")
    for name in _DRIVE[:2]:
        if name not in series.values:
            msg = f"the forecast series has no {name}; it is required"
            raise InputError(msg, field=name)
    members = {values.shape[-1] for values in series.values.values()} - {1}
    if len(members) > 1:
        msg = f"fields of the series have {sorted(members)} members; allowed is 1 or one number"
        raise InputError(msg, field="members")
    for name, values in series.values.items():
        if values.ndim != 3 or values.shape[:2] != (steps, series.time.size):
            msg = (
                f"{name} has shape {values.shape}; needed is ({steps}, {series.time.size}, members)"
            )
            raise InputError(msg, field=name)


def driving(series: PointSeries) -> tuple[FloatArray, NDArray[np.int64], BoolArray]:
    """Fields that decide the speed.

    Returns them, (f, k, T, e); which of the seven they are, (f,); and whether there are waves,
    a current and a wave direction, (3,).
    """
    values = series.values
    members = max(v.shape[2] for v in values.values())
    waves, direction = _DRIVE[2] in values, _WAVE_FROM in values
    current = all(name in values for name in _DRIVE[5:7])
    rows = [0, 1, *([2] if waves else []), *([3, 4] if direction else [])]
    rows += [5, 6] if current else []
    drive = np.empty((len(rows), *values[_DRIVE[0]].shape[:2], members))
    for i, row in enumerate(rows):
        if row in (3, 4):
            angle = np.radians(values[_WAVE_FROM])
            drive[i] = np.sin(angle) if row == 3 else np.cos(angle)
        else:
            drive[i] = values[_DRIVE[row]]
    return drive, np.array(rows), np.array([waves, current, direction])


def conditions(
    weather: Mapping[str, ArrayLike], course: ArrayLike
) -> tuple[FloatArray, BoolArray, tuple[int, ...]]:
    """The seven driving fields in one place, (7, n); what there is; and their common shape."""
    given = {name: np.asarray(value, dtype=float) for name, value in weather.items()}
    missing = [name for name in _DRIVE[:2] if name not in given]
    if missing:
        msg = f"the weather has no {missing[0]}; it is required"
        raise InputError(msg, field=missing[0])
    used = [n for n in (*_DRIVE, _WAVE_FROM) if n in given]
    shape = np.broadcast_shapes(np.shape(course), *(given[n].shape for n in used))
    now = np.zeros((len(_DRIVE), int(np.prod(shape))))
    for i, name in enumerate(_DRIVE):
        if name in given:
            now[i] = np.broadcast_to(given[name], shape).ravel()
    direction = _WAVE_FROM in given
    if direction:
        angle = np.radians(np.broadcast_to(given[_WAVE_FROM], shape).ravel())
        now[3], now[4] = np.sin(angle), np.cos(angle)
    current = all(name in given for name in _DRIVE[5:7])
    return now, np.array([_DRIVE[2] in given, current, direction]), shape


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
        far[np.isnan(path.offshore_m)] = np.nan
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
    full = (*shape, quantities)
    return (
        np.full(full, np.nan),
        np.full(full, -1, dtype=np.int32),
        np.full(full, np.nan, dtype=np.float32),
        np.zeros(full, dtype=np.bool_),
    )


def kept(have: BoolArray, path: Path, watched_fields: int) -> NDArray[np.int64]:
    """Rows of the quantities that series and path can tell."""
    absent = [] if have[0] else ["wave_height"]
    absent += ["offshore_wind"] if path.shore_bearing_deg is None else []
    absent += [] if have[1] else ["current", "opposing_current"]
    rows = [i for i, name in enumerate(COMPUTED) if name not in absent]
    return np.array([*rows, *range(len(COMPUTED), len(COMPUTED) + watched_fields)])


def collect(
    names: tuple[str, ...], out: tuple[Any, ...], rows: NDArray[np.int64]
) -> tuple[dict[str, Any], ...]:
    """The four result arrays as dicts by name, for the rows that were kept."""
    every = (*COMPUTED, *names)
    sign = {name: _WATCHED[name][1] for name in names}
    told = [(int(i), every[i]) for i in rows]
    return (
        {n: sign.get(n, 1.0) * out[0][..., i] for i, n in told},
        {n: out[1][..., i] for i, n in told},
        {n: out[2][..., i] for i, n in told},
        {n: out[3][..., i] for i, n in told},
    )

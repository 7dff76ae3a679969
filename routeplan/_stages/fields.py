"""What every step of a line offers at every forecast hour: speed over ground and margin.

A choice of stages paddles each step hundreds of times a day. Speed and margin are therefore worked
out once for each step, forecast hour and member, and the march reads them linearly in time. For
wind, whose speed between two hours is less than the mean of both, that is the cautious side. What
is chosen is then paddled and judged with the full scan.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.limitvalues import LIMIT_FIELDS, ON_PASSAGE
from routeplan._passage.marchfields import COMPUTED
from routeplan.limits import Limits, Verdict
from routeplan.propulsion import AIR_DENSITY_KG_M3, Craft
from routeplan.simulation import Pace, Path, speed_over_ground
from routeplan.waves import WaveSource

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries

__all__ = ["NAMES", "StepFields", "step_fields"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

NAMES = (*ON_PASSAGE, "offshore", "time_on_water", "daylight", "progress", "current", "landing")
"""Names of what can bind a stage; indices into it stand for them."""

_BREEZE_MS = 4.0  # as in the march: lighter winds raise no sea against a current
_CHUNK = 8  # steps whose speeds are worked out together
_THREADS = 2
_WATCHED = {
    "gust": "wind_speed_of_gust",
    "visibility": "visibility_in_air",
    "cape": "atmosphere_convective_available_potential_energy",
    "water_temperature": "sea_surface_temperature",
    "wind_chill": "wind_chill_temperature",
    "steepness": "sea_surface_wave_steepness",
    "drift": "time_ashore_by_drift",
}
_WAVES = "sea_surface_wave_significant_height"
_DRIVING = (
    "eastward_wind",
    "northward_wind",
    _WAVES,
    "sea_surface_wave_from_direction",
    "eastward_sea_water_velocity",
    "northward_sea_water_velocity",
)
_CURRENT = ("eastward_sea_water_velocity", "northward_sea_water_velocity")


@dataclass(frozen=True, slots=True, eq=False)
class StepFields:
    """Steps by forecast hours by members, shape (k, T, e).

    `speed_ms` over ground, 0 without headway, nan unknown; `margin` the smallest share of a limit
    left among those known; `whose` the index into `NAMES` of that limit; `flag` the best verdict
    the data allow. Hours outside `hours` (T,) are not worked out: they are nan and unknown.
    """

    speed_ms: NDArray[np.float32]
    margin: NDArray[np.float32]
    whose: NDArray[np.int8]
    flag: NDArray[np.int8]
    hours: BoolArray
    not_judged: tuple[str, ...]


def step_fields(
    path: Path,
    series: PointSeries,
    crafts: Sequence[Craft],
    limits: Limits,
    pace: Pace,
    *,
    hours: BoolArray,
    coast_error_m: float,
) -> StepFields:
    """Work out speed and margin of every step, at the forecast hours that are wanted."""
    members = max(v.shape[2] for v in series.values.values())
    shape = (path.length_m.size, series.time.size, members)
    out = StepFields(
        np.full(shape, np.nan, dtype=np.float32),
        np.full(shape, np.nan, dtype=np.float32),
        np.zeros(shape, dtype=np.int8),
        np.full(shape, Verdict.UNKNOWN, dtype=np.int8),
        hours,
        _not_judged(path, series, limits),
    )
    paddlers = [_paced(c, pace.factor) for c in crafts]
    chunks = [slice(a, a + _CHUNK) for a in range(0, shape[0], _CHUNK)]
    with ThreadPoolExecutor(_THREADS) as pool:
        speeds = [pool.submit(_speeds, out, path, series, paddlers, chunk) for chunk in chunks]
        offshore = _offshore(path, limits, coast_error_m)
        for k in range(shape[0]):
            _judge_step(out, path, series, limits, k, offshore)
        for done in speeds:
            done.result()
    return out


def _paced(craft: Craft, factor: float) -> Craft:
    """The craft with a paddler who keeps a share of its still-water speed.

    Its hull is the same; its power is what that hull and still air take at that speed.
    """
    if factor == 1.0:
        return craft
    speed = craft.still_water_speed_ms
    air = 0.5 * AIR_DENSITY_KG_M3 * craft.frontal_area_drag_m2
    hull = craft.power_w * craft.paddle_efficiency / speed - air * speed**2
    slower = factor * speed
    thrust = hull * factor**craft.hull_exponent + air * slower**2
    power = thrust * slower / craft.paddle_efficiency
    return replace(craft, still_water_speed_ms=slower, power_w=power)


def _speeds(
    out: StepFields, path: Path, series: PointSeries, crafts: Sequence[Craft], chunk: slice
) -> None:
    """Speed over ground of the slowest craft on some steps, into the fields."""
    weather = {
        name: series.values[name][chunk][:, out.hours] for name in _DRIVING if name in series.values
    }
    course = path.course_deg[chunk][:, None, None]
    speeds = [speed_over_ground(craft, course, weather) for craft in crafts]
    out.speed_ms[chunk, out.hours] = np.min(speeds, axis=0)


def _not_judged(path: Path, series: PointSeries, limits: Limits) -> tuple[str, ...]:
    """Default limits of which the data say nothing; as the judge of a passage has it."""
    told = _told(path, series)
    return tuple(
        name
        for name, (quantity, _, _) in ON_PASSAGE.items()
        if getattr(limits, LIMIT_FIELDS[name]) is not None
        and quantity not in told
        and name not in limits.explicit
    )


def _told(path: Path, series: PointSeries) -> frozenset[str]:
    """Quantities that the data tell."""
    absent = set() if _WAVES in series.values else {"wave_height"}
    absent |= {"offshore_wind"} if path.shore_bearing_deg is None else set()
    current = all(name in series.values for name in _CURRENT)
    absent |= set() if current else {"current", "opposing_current"}
    watched = {name for name, variable in _WATCHED.items() if variable in series.values}
    return frozenset({*COMPUTED, *watched} - absent)


def _judge_step(
    out: StepFields,
    path: Path,
    series: PointSeries,
    limits: Limits,
    k: int,
    offshore: tuple[FloatArray, NDArray[np.int8]],
) -> None:
    """Smallest margin of one step at the wanted hours, whose it is, and what is unknown."""
    weather = {name: values[k, out.hours] for name, values in series.values.items()}
    told = _quantities(path, weather, limits, k)
    shape = np.broadcast_shapes(*(v.shape for v in weather.values()))
    margin, whose = np.full(shape, offshore[0][k]), np.full(shape, NAMES.index("offshore"))
    margin[np.isnan(margin)] = np.inf
    flag = np.full(shape, offshore[1][k])
    for i, (name, (quantity, sense, scale)) in enumerate(ON_PASSAGE.items()):
        limit = getattr(limits, LIMIT_FIELDS[name])
        if limit is None or (quantity not in told and name not in limits.explicit):
            continue
        if quantity not in told:
            flag[:] = Verdict.UNKNOWN
            continue
        left = sense * (limit - told[quantity]) / (scale or max(abs(limit), 1e-9))
        flag[np.isnan(left)] = Verdict.UNKNOWN
        nearer = left < margin
        margin[nearer] = left[nearer]
        whose[nearer] = i
    if limits.wave_height_m is not None:
        _without_swell(weather, limits, flag)
    if "current" in told:
        flag[np.isnan(told["current"])] = Verdict.UNKNOWN
    out.margin[k, out.hours] = margin
    out.whose[k, out.hours] = whose
    out.flag[k, out.hours] = flag


def _without_swell(
    weather: Mapping[str, FloatArray], limits: Limits, flag: NDArray[np.int8]
) -> None:
    """Where swell may come in of which nothing is known, no height is well within."""
    source = weather.get("wave_source")
    if source is None:
        return
    best = Verdict.UNKNOWN if "wave_height" in limits.explicit else Verdict.CLOSE
    open_to_it = np.nan_to_num(source) >= WaveSource.NO_SWELL
    flag[open_to_it] = np.maximum(flag[open_to_it], best)


def _quantities(
    path: Path, weather: Mapping[str, FloatArray], limits: Limits, k: int
) -> dict[str, Any]:
    """What is met on step k, by the names of a passage's quantities."""
    u, v = weather["eastward_wind"], weather["northward_wind"]
    course = np.radians(path.course_deg[k])
    sin, cos = np.sin(course), np.cos(course)
    speed = np.hypot(u, v)
    told: dict[str, Any] = {
        "wind": speed,
        "headwind": -(u * sin + v * cos),
        "crosswind": np.abs(u * cos - v * sin),
    }
    if _WAVES in weather:
        told["wave_height"] = weather[_WAVES]
    if path.shore_bearing_deg is not None:
        to_shore = np.radians(path.shore_bearing_deg[k])
        far = path.offshore_m[k] > limits.offshore_wind_beyond_m
        off = -(u * np.sin(to_shore) + v * np.cos(to_shore)) * far
        told["offshore_wind"] = np.where(np.isnan(path.offshore_m[k]), np.nan, off)
    if all(name in weather for name in _CURRENT):
        cu, cv = (weather[name] for name in _CURRENT)
        with np.errstate(divide="ignore", invalid="ignore"):
            against = -(u * cu + v * cv) / speed
        told["opposing_current"] = np.where(speed > _BREEZE_MS, against, 0.0)
        told["current"] = np.hypot(cu, cv)
    for name, variable in _WATCHED.items():
        if variable in weather:
            told[name] = weather[variable]
    return told


def _offshore(path: Path, limits: Limits, error_m: float) -> tuple[FloatArray, NDArray[np.int8]]:
    """Margin of each step's distance from shore, and the best verdict it allows."""
    steps = path.length_m.size
    if limits.offshore_m is None:
        return np.full(steps, np.inf), np.zeros(steps, dtype=np.int8)
    left = limits.offshore_m - path.offshore_m
    flag = np.where(left >= error_m, Verdict.WITHIN, Verdict.CLOSE)  # close for an unknown error
    flag = np.where(np.isnan(left), Verdict.UNKNOWN, flag)
    return left / limits.offshore_m, flag.astype(np.int8)

"""Facts of a trip, its stages, legs and hours, computed from what was planned.

A fact that nothing is known of is not in `Context.values`; it is never guessed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from routeplan._kit.factlist import FACTS
from routeplan._kit.group import CRAFT_TYPES, Group, check_marks
from routeplan.exposure import LegExposure
from routeplan.geodesy import inverse
from routeplan.route import Route
from routeplan.stops import Stage
from routeplan.sun import CIVIL_ALTITUDE_DEG, sun_altitude
from routeplan.units import ZERO_CELSIUS_K

__all__ = ["Context", "Night", "StageLike", "contexts", "nights_of", "stage_span", "values_during"]

_SUNSET_DEG = -0.833  # centre of the sun when its upper edge sets: 34' refraction, 16' radius
_NAT = np.datetime64("NaT", "ns")
_HOUR = np.timedelta64(1, "h")
_LAST_NIGHT = np.timedelta64(14, "h")  # length of a night whose end is not planned
_SOLAR_S_PER_DEG = 240.0  # Earth turns one degree in four minutes


class StageLike(Protocol):
    """What is asked of a planned stage."""

    @property
    def stage(self) -> Stage: ...
    @property
    def scan(self) -> Any: ...
    @property
    def best(self) -> int | None: ...


@dataclass(frozen=True, slots=True, eq=False)
class Context:
    """Facts that hold at one place of the plan.

    `values` by name of the fact, those of coarser levels among them; `legs` are the numbers of
    the legs it is about, `start` and `end` NaT where no hour is known.
    """

    level: str
    values: Mapping[str, Any]
    stage: int = 0
    legs: tuple[int, ...] = ()
    start: np.datetime64 = _NAT
    end: np.datetime64 = _NAT


@dataclass(frozen=True, slots=True, eq=False)
class Night:
    """Time ashore between two stages: `coldest_k` and `wind_ms` of the forecast, nan unknown."""

    stage: int
    place: str
    begin: np.datetime64
    end: np.datetime64
    count: int
    coldest_k: float
    wind_ms: float


def contexts(
    route: Route,
    exposures: Sequence[LegExposure],
    stages: Sequence[StageLike],
    group: Group,
    speed_ms: float,
) -> tuple[Context, ...]:
    """Facts of the trip, each stage, leg and hour.

    Parameters
    ----------
    route, exposures, stages
        Of a plan. Times are those of each stage's proposed launch; without one they are unknown.
    group : Group
    speed_ms : float
        Still-water speed of the slowest. [m/s]

    Raises
    ------
    InputError
        The group marks a leg that the route does not have.
    """
    check_marks(group, [leg.number for leg in route.legs])
    trip = _trip(route, exposures, stages, group)
    out = [Context("trip", trip, 0, tuple(leg.number for leg in route.legs))]
    for planned in stages:
        of_stage = trip | _known(paddled_h=_paddled_h(planned))
        number = planned.stage.number
        numbers = tuple(leg.number for leg in planned.stage.legs)
        out.append(Context("stage", of_stage, number, numbers))
        for j, leg in enumerate(planned.stage.legs):
            of_leg = of_stage | _leg(exposures[leg.number - 1], planned, j, group, speed_ms)
            begin, end, _ = _passed(planned, j)
            out.append(Context("leg", of_leg, number, (leg.number,), begin, end))
            out += [
                Context("hour", of_leg | values, number, (leg.number,), begin, end)
                for begin, end, values in _hours(exposures[leg.number - 1], planned, j)
            ]
    return tuple(out)


def _known(**values: float) -> dict[str, Any]:
    """Those values that are known and can be."""
    facts = {name: FACTS[name] for name in values}
    return {
        name: float(value)
        for name, value in values.items()
        if math.isfinite(value) and facts[name].low <= value <= facts[name].high
    }


def _trip(
    route: Route,
    exposures: Sequence[LegExposure],
    stages: Sequence[StageLike],
    group: Group,
) -> dict[str, Any]:
    nights = nights_of(stages)
    kinds = {person.craft_kind for person in group.people}
    count = len(group.people)
    values = _known(
        group_size=count,
        nights=sum(n.count for n in nights) if all(n.count for n in nights) else math.nan,
        length_m=route.length_m,
        back_m=_back_m(route),
        portage_m=sum(e.land_m for e in exposures if e.portage),
        help_h=group.help_h,
        coldest_night_c=min((n.coldest_k - ZERO_CELSIUS_K for n in nights), default=math.nan)
        if all(math.isfinite(n.coldest_k) for n in nights)
        else math.nan,
        camp_wind_ms=_strongest(nights),
    )
    values |= {"alone": count == 1, "overnight": bool(nights), **group.flags}
    for kind in ("inflatable", "rigid"):
        if kind in kinds or "" not in kinds:
            values[kind] = kind in kinds
    types = {person.craft_type for person in group.people}
    values |= {t: t in types for t in CRAFT_TYPES if t in types or "" not in types}
    if group.cooking:
        values["cooking"] = group.cooking
    return values


def _back_m(route: Route) -> float:
    """From the end of a route to its start [m]."""
    lon, lat = route.longitude, route.latitude
    return float(inverse(lon[-1], lat[-1], lon[0], lat[0])[1])


def _strongest(nights: Sequence[Night]) -> float:
    """Strongest wind of all nights [m/s]; 0 without a night, nan when one is unknown."""
    winds = [night.wind_ms for night in nights]
    return max(winds, default=0.0) if all(math.isfinite(w) for w in winds) else math.nan


def nights_of(stages: Sequence[StageLike]) -> tuple[Night, ...]:
    """Nights ashore between the stages; `count` 0 where the times are unknown."""
    out = []
    for planned, following in itertools.pairwise(stages):
        begin, end = stage_span(planned)[1], stage_span(following)[0]
        open_end = np.isnat(end)
        until = begin + _LAST_NIGHT if open_end else end
        camp = planned.stage.end
        air = wind = math.nan
        if planned.scan is not None and not np.isnat(begin):
            last = np.array([planned.scan.outing.path.longitude.size - 1])
            air = _extreme(values_during(planned, "air_temperature", last, begin, until), np.min)
            wind = _extreme(_winds(planned, last, begin, until), np.max)
        count = 0
        if not (np.isnat(begin) or open_end):
            shift = np.timedelta64(round(camp.longitude * _SOLAR_S_PER_DEG), "s")
            days = [(t + shift).astype("datetime64[D]") for t in (begin, end)]
            count = int((days[1] - days[0]) / np.timedelta64(1, "D"))
        out.append(Night(planned.stage.number, camp.name, begin, until, count, air, wind))
    return tuple(out)


def stage_span(planned: StageLike) -> tuple[np.datetime64, np.datetime64]:
    """Launch and arrival of the proposed launch; NaT without one."""
    if planned.scan is None or planned.best is None:
        return _NAT, _NAT
    return planned.scan.launch[planned.best], planned.scan.arrive[planned.best]


def _paddled_h(planned: StageLike) -> float:
    launch, arrive = stage_span(planned)
    return float((arrive - launch) / _HOUR) if not np.isnat(arrive - launch) else math.nan


def _extreme(values: NDArray[np.float64], pick: Any) -> float:
    return float(pick(values)) if values.size and np.isfinite(values).all() else math.nan


def values_during(
    planned: StageLike,
    name: str,
    steps: NDArray[np.intp],
    begin: np.datetime64,
    end: np.datetime64,
) -> NDArray[np.float64]:
    """Forecast values at steps of a stage's line at all its times that bracket a span.

    All members; empty when the forecast lacks the variable or does not cover the span.
    """
    series = planned.scan.outing.series
    if name not in series.values or np.isnat(begin) or np.isnat(end):
        return np.empty(0)
    time = series.time
    if begin < time[0] or end > time[-1]:
        return np.empty(0)
    first = int(np.searchsorted(time, begin, side="right")) - 1
    last = int(np.searchsorted(time, end, side="left"))
    return np.asarray(series.values[name][steps, first : last + 1])


def _winds(
    planned: StageLike, steps: NDArray[np.intp], begin: np.datetime64, end: np.datetime64
) -> NDArray[np.float64]:
    east = values_during(planned, "eastward_wind", steps, begin, end)
    north = values_during(planned, "northward_wind", steps, begin, end)
    return np.hypot(east, north) if east.shape == north.shape else np.empty(0)


def _leg(
    exposure: LegExposure, planned: StageLike, j: int, group: Group, speed_ms: float
) -> dict[str, Any]:
    begin, end, steps = _passed(planned, j)
    air = water = wind = wave = np.empty(0)
    if steps.size:
        air = values_during(planned, "air_temperature", steps, begin, end)
        water = values_during(planned, "sea_surface_temperature", steps, begin, end)
        wind = planned.scan.wind_ms[planned.best, j]
        wave = planned.scan.wave_height_m[planned.best, j]
    told = [k for k in (group.water_k, _extreme(water, np.min)) if math.isfinite(k)]
    water_k = min(told, default=math.nan)
    far = _extreme(exposure.offshore_m, np.max)
    values = _known(
        offshore_m=far,
        landing_h=far / speed_ms / 3600.0,
        fetch_m=exposure.longest_fetch[0],
        air_c=_extreme(air, np.min) - ZERO_CELSIUS_K,
        water_c=water_k - ZERO_CELSIUS_K,
        wind_ms=_extreme(np.atleast_1d(wind), np.max),
        wave_height_m=_extreme(np.atleast_1d(wave), np.max),
    )
    for name, mark in group.marks.items():
        values[name] = mark if isinstance(mark, bool) else exposure.number in mark
    return values | {"portage": exposure.portage}


def _passed(planned: StageLike, j: int) -> tuple[np.datetime64, np.datetime64, NDArray[np.intp]]:
    """When leg j of a stage is entered and left, and the steps of the line on it."""
    none = _NAT
    if planned.scan is None or planned.best is None:
        return none, none, np.empty(0, dtype=np.intp)
    scan = planned.scan
    steps = np.flatnonzero(scan.outing.path.leg == j)
    return scan.enter[planned.best, j], scan.leave[planned.best, j], steps


def _hours(
    exposure: LegExposure, planned: StageLike, j: int
) -> Iterator[tuple[np.datetime64, np.datetime64, dict[str, Any]]]:
    """Whole hours of UTC in which a leg is paddled; one without times when they are unknown."""
    begin, end, steps = _passed(planned, j)
    if np.isnat(begin) or np.isnat(end):
        yield _NAT, _NAT, {}
        return
    middle = exposure.longitude.size // 2
    place = float(exposure.longitude[middle]), float(exposure.latitude[middle])
    at = begin
    while True:
        after = min(at.astype("datetime64[h]").astype("datetime64[ns]") + _HOUR, end)
        chill = values_during(planned, "wind_chill_temperature", steps, at, after)
        felt_c = _extreme(chill, np.min) - ZERO_CELSIUS_K
        yield at, after, light(*place, at, after) | _known(wind_chill_c=felt_c)
        at = after
        if at >= end:
            return


def light(lon: float, lat: float, begin: np.datetime64, end: np.datetime64) -> dict[str, Any]:
    """Whether the sun is down and whether it is dark at any minute of a span, ends included."""
    minutes = np.append(np.arange(begin, end, np.timedelta64(1, "m")), end)
    lowest = float(sun_altitude(lon, lat, minutes.astype("datetime64[ns]")).min())
    return {"sun_down": lowest < _SUNSET_DEG, "darkness": lowest < CIVIL_ALTITUDE_DEG}

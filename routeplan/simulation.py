"""Passage along a path for all launch times and forecast members at once.

    path = path_along(legs, coast, step_m=250.0)
    series = sample_series(forecast, path.longitude, path.latitude)
    passage = simulate(path, series, craft("touring board"), launch)      # (m, n, e) arrays

m launch times, n legs, e forecast members, k steps along the path. The march goes step by step:
conditions are taken at the place and the hour one gets there, speed follows from the conditions,
and the hour of the next step from the speed. Wind counts relative to the moving water, the ferry
angle is held against cross current and sideways drift, and a group goes at the pace of its
slowest craft at every step.

A step whose wind is unknown, or that would end after the last forecast time, makes everything
after it unknown. A step that no craft can make headway on ends the passage there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from routeplan._passage.kernels import STUCK, ground_speeds, march
from routeplan._passage.marchfields import (
    COMPUTED,
    check,
    collect,
    conditions,
    driving,
    empty,
    kept,
    steps,
    watched,
)
from routeplan._passage.path import Path, path_along
from routeplan.errors import InputError
from routeplan.propulsion import Craft, craft_row

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries

__all__ = ["MIN_WAY_MS", "Pace", "Passage", "Path", "path_along", "simulate", "speed_over_ground"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
TimeArray = NDArray[np.datetime64]

MIN_WAY_MS = 0.1  # slower over ground than this is no headway (assumption: 360 m in an hour)


@dataclass(frozen=True, slots=True)
class Pace:
    """How the party paddles; the defaults are a steady pace without rests.

    Attributes
    ----------
    factor : float
        Share of each craft's still-water speed that is kept. [-]
    decay_per_h : float
        Share of that speed lost in each hour of paddling after the fresh hours. [1/h]
    fresh_s : float
        Paddling time before the pace begins to fall. [s]
    rest_every_s, rest_s : float
        After this much paddling a rest of this length is taken, holding the place; 0 = none. [s]
    """

    factor: float = 1.0
    decay_per_h: float = 0.0
    fresh_s: float = 0.0
    rest_every_s: float = 0.0
    rest_s: float = 0.0

    def __post_init__(self) -> None:
        ranges = {
            "factor": (0.1, 2.0),
            "decay_per_h": (0.0, 0.5),
            "fresh_s": (0.0, 86400.0),
            "rest_every_s": (0.0, 86400.0),
            "rest_s": (0.0, 86400.0),
        }
        for name, (low, high) in ranges.items():
            value = getattr(self, name)
            if not low <= value <= high:
                msg = f"pace: {name} is {value!r}; allowed is {low:g} to {high:g}"
                raise InputError(msg, field=name, value=value)


@dataclass(frozen=True, slots=True, eq=False)
class Passage:
    """What each launch meets, shape (m launches, n legs, e members) throughout.

    Attributes
    ----------
    launch : array, shape (m,)
        datetime64[ns] UTC.
    enter, leave : array
        datetime64[ns]; NaT where it is unknown or never reached.
    makes_way : array of bool
        False on the leg where the craft cannot make headway (or not hold its course).
    reached : array of bool
        Whether the leg was begun with known conditions and headway so far.
    worst : dict of name to array
        Worst value over the steps of the leg, unknown steps left out (nan when all are): the
        largest of wind, gust, headwind, crosswind, wave_height, offshore_wind, current,
        opposing_current, cape, steepness, and the smallest of visibility, water_temperature,
        wind_chill. SI. Only what the series holds.
    place : dict of name to array of int
        Step of the path where the worst value was met; -1 none.
    when_s : dict of name to array
        Seconds after launch when it was met.
    unknown : dict of name to array of bool
        Whether some step of the leg had no value.
    length_m : array, shape (n,)
        Length of the legs.
    """

    launch: TimeArray
    enter: TimeArray
    leave: TimeArray
    makes_way: BoolArray
    reached: BoolArray
    worst: dict[str, FloatArray]
    place: dict[str, NDArray[np.int32]]
    when_s: dict[str, NDArray[np.float32]]
    unknown: dict[str, BoolArray]
    length_m: FloatArray = field(default_factory=lambda: np.empty(0))

    @property
    def members(self) -> int:
        """Number of forecast members; 1 when there is no ensemble."""
        return int(self.enter.shape[2])

    def quantity(self, name: str) -> FloatArray:
        """Worst value of a quantity; nan everywhere when the series did not hold it."""
        missing = np.full(self.enter.shape, np.nan)
        return self.worst.get(name, missing)

    @property
    def wind_ms(self) -> FloatArray:
        """Strongest wind. [m/s]."""
        return self.quantity("wind")

    @property
    def gust_ms(self) -> FloatArray:
        """Strongest gust. [m/s]."""
        return self.quantity("gust")

    @property
    def headwind_ms(self) -> FloatArray:
        """Strongest wind against the course; negative when it always helps. [m/s]."""
        return self.quantity("headwind")

    @property
    def crosswind_ms(self) -> FloatArray:
        """Strongest wind across the course, either side. [m/s]."""
        return self.quantity("crosswind")

    @property
    def wave_height_m(self) -> FloatArray:
        """Largest significant wave height. [m]."""
        return self.quantity("wave_height")

    @property
    def speed_over_ground_ms(self) -> FloatArray:
        """Mean over the leg, rests included; nan where the leg is not finished. [m/s]."""
        seconds = _seconds_between(self.enter, self.leave)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(self.length_m[None, :, None] / seconds)

    def when(self, name: str) -> TimeArray:
        """Time at which the worst value was met; NaT none."""
        seconds = self.when_s[name].astype(np.float64)
        return _add_seconds(self.launch[:, None, None], seconds)


def simulate(
    path: Path,
    series: PointSeries,
    craft: Craft | Sequence[Craft],
    launch: TimeArray,
    *,
    pace: Pace | None = None,
    offshore_wind_beyond_m: float = np.inf,
) -> Passage:
    """Paddle the path for every launch time and member.

    Parameters
    ----------
    path : Path
    series : PointSeries
        Forecast at the path's points, `values[name]` (k, T, members). Wind components are
        required; gust, waves, current, visibility and others are used when there.
    craft : Craft or sequence of Craft
        A group goes at the pace of its slowest at every step.
    launch : array of datetime64, shape (m,)
        UTC.
    pace : Pace, optional
    offshore_wind_beyond_m : float
        Wind blowing off the nearest shore is noted on steps farther from shore than this. [m]

    Returns
    -------
    Passage

    Raises
    ------
    InputError
        Without wind, without a craft, or when shapes do not fit.

    Notes
    -----
    Second order in the step length: conditions are taken at the middle of the step, whose hour
    comes from the speed over the step before. Speed over ground is
    sqrt(v² - s²) + c with v from the power balance on the heading held, c the current along the
    course, and s = cross current + leeway share x cross wind, which the heading must make good;
    |s| >= v, or a speed below `MIN_WAY_MS`, is no headway.
    """
    crafts = (craft,) if isinstance(craft, Craft) else tuple(craft)
    check(series, crafts, path.length_m.size)
    clock = _seconds_between(series.time[0], series.time)
    start = np.atleast_1d(np.asarray(launch, dtype="datetime64[ns]"))
    start_s = _seconds_between(series.time[0], start)
    drive, rows, have = driving(series)
    names, watch = watched(series, drive.shape)
    told = kept(have, path, len(names))
    shape = (start.size, path.legs, drive.shape[3])
    enter, leave = np.full(shape, np.nan), np.full(shape, np.nan)
    status = np.zeros(shape, dtype=np.int8)
    out = empty(len(COMPUTED) + len(names), shape)
    paddlers = np.stack([craft_row(c) for c in crafts])
    still = np.array([c.still_water_speed_ms for c in crafts])
    march(
        (drive, rows, watch, clock),
        steps(path, offshore_wind_beyond_m),
        start_s,
        (paddlers, still),
        _pace_row(pace or Pace()),
        have,
        told,
        (enter, leave, status),
        out,
    )
    origin = series.time[0]
    noted = collect(names, out, told)
    return Passage(
        launch=start,
        enter=_add_seconds(origin, enter),
        leave=_add_seconds(origin, leave),
        makes_way=status != STUCK,
        reached=np.isfinite(enter),
        worst=noted[0],
        place=noted[1],
        when_s=noted[2],
        unknown=noted[3],
        length_m=path.leg_length_m,
    )


def speed_over_ground(
    craft: Craft, course_deg: ArrayLike, weather: Mapping[str, ArrayLike]
) -> FloatArray:
    """Speed made good on a course in given weather, with the ferry angle held.

    Parameters
    ----------
    craft : Craft
    course_deg : array_like
        [degrees true]
    weather : mapping of CF standard name to array_like
        The two wind components; wave height and direction and the two current components when
        known. Shapes broadcast with the course.

    Returns
    -------
    ndarray
        [m/s]; 0 where no way is made or the course cannot be held, nan where the wind is unknown.
        Unknown sea and current count as none.
    """
    now, have, shape = conditions(weather, course_deg)
    course = np.radians(np.broadcast_to(np.asarray(course_deg, dtype=float), shape)).ravel()
    out = np.empty(course.size)
    ground_speeds(craft_row(craft), course, now, have, out)
    unknown = np.isnan(now[0]) | np.isnan(now[1])
    return np.where(unknown, np.nan, np.where(out >= MIN_WAY_MS, out, 0.0)).reshape(shape)


def _pace_row(pace: Pace) -> FloatArray:
    return np.array(
        [
            pace.factor,
            pace.decay_per_h,
            pace.fresh_s,
            pace.rest_every_s,
            pace.rest_s,
            MIN_WAY_MS,
        ]
    )


def _seconds_between(start: Any, end: Any) -> FloatArray:
    """Seconds from start to end; nan where one is NaT."""
    difference = np.asarray(end - start, dtype="timedelta64[ns]")
    return np.where(np.isnat(difference), np.nan, difference.astype(np.int64) / 1e9)


def _add_seconds(start: Any, seconds: FloatArray) -> TimeArray:
    """Start plus seconds as datetime64[ns]; NaT where they are nan."""
    known = np.isfinite(seconds)
    offset = np.round(np.where(known, seconds, 0.0) * 1e9).astype("timedelta64[ns]")
    return np.where(known, start + offset, np.datetime64("NaT", "ns"))

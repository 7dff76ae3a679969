"""Every stage between any two places, judged for every launch time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.daylight import daylight_slack_h
from routeplan._judge.scandetail import rank_of_share
from routeplan._stages.fields import NAMES, StepFields, step_fields
from routeplan._stages.hops import Hops, StageWishes
from routeplan._stages.placelanding import LandingSea
from routeplan._stages.placeline import Stop
from routeplan.limits import Limits, Verdict
from routeplan.propulsion import Craft
from routeplan.simulation import MIN_WAY_MS, Pace, Path

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries
    from routeplan.sun import DaylightSpells

__all__ = ["SOLAR_S_PER_DEG", "Ground", "stage_hops", "struck"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
TimeArray = NDArray[np.datetime64]

SOLAR_S_PER_DEG = 240.0  # Earth turns one degree in four minutes
_MARKS = tuple(NAMES.index(n) for n in ("time_on_water", "daylight", "landing", "progress"))
_AFTER_DUSK_S = 3600.0  # how long after the last light an arrival is still worked out


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """What stages are chosen on: n places along one line, and the weather along it.

    Attributes
    ----------
    stops : tuple of Stop, length n
        The start, camps in order along the line, the end.
    path : Path
        Whose leg i leads from place i to place i + 1.
    series : PointSeries
        At the steps of the path, with the sea that counts.
    landing : LandingSea
        At the places; only camps and the end are judged by it.
    daylight : tuple of DaylightSpells, length n, or None
        At the places; None is unknown.
    crafts : tuple of Craft
    coast_error_m : float
    pace : Pace
    """

    stops: tuple[Stop, ...]
    path: Path
    series: PointSeries
    landing: LandingSea
    daylight: tuple[DaylightSpells, ...] | None
    crafts: tuple[Craft, ...]
    coast_error_m: float
    pace: Pace


def stage_hops(
    ground: Ground, limits: Limits, wishes: StageWishes, launch: TimeArray
) -> tuple[Hops, tuple[str, ...]]:
    """Judge every stage at every launch; also the default limits that were not judged.

    One march from each place passes all later ones, so n places take n marches.
    """
    count, launches = len(ground.stops), launch.size
    length = _lengths(ground)
    verdict = np.full((count, count, launches), Verdict.BEYOND, dtype=np.int8)
    margin = np.full(verdict.shape, -np.inf)
    whose = np.full(verdict.shape, _MARKS[3], dtype=np.int16)
    arrive = np.full(verdict.shape, np.datetime64("NaT", "ns"))
    starts = [_Start.of(ground, limits, wishes, launch, i) for i in range(count - 1)]
    fields = step_fields(
        ground.path,
        ground.series,
        ground.crafts,
        limits,
        ground.pace,
        hours=_hours(ground, starts),
        coast_error_m=ground.coast_error_m,
    )
    for i, start in enumerate(starts):
        reached = _reached(length[i], wishes, i)
        if not reached or not start.launch_s.size:
            continue
        told = start.walk(ground, fields, limits, reached)
        to = slice(i + 1, i + 1 + reached)
        verdict[i, to, start.which] = told[0].T
        margin[i, to, start.which] = told[1].T
        whose[i, to, start.which] = told[2].T
        arrive[i, to, start.which] = _times(ground.series.time[0], told[3]).T
    unlit = np.ones((count, launches), dtype=bool)
    for i, start in enumerate(starts):
        unlit[i, start.which] = False
    whose[np.broadcast_to(unlit[:, None], whose.shape)] = _MARKS[1]
    hops = Hops(
        launch=launch,
        day_shift=_day_shift(ground),
        verdict=verdict,
        margin=margin,
        arrive=arrive,
        binding=whose,
        names=NAMES,
        length_m=length,
        nights=np.array([stop.place.nights or 1_000_000 for stop in ground.stops]),
        usable=_usable(ground, wishes),
        must=np.array([stop.must for stop in ground.stops]),
    )
    return hops, fields.not_judged


def _day_shift(ground: Ground) -> np.timedelta64:
    return np.timedelta64(round(float(ground.path.longitude[0]) * SOLAR_S_PER_DEG), "s")


def _times(origin: np.datetime64, seconds: FloatArray) -> TimeArray:
    known = np.isfinite(seconds)
    span: Any = np.round(np.where(known, seconds, 0.0) * 1e9).astype("timedelta64[ns]")
    return np.where(known, origin + span, np.datetime64("NaT", "ns"))


def _lengths(ground: Ground) -> FloatArray:
    """Length of every stage with the ways from and to the camps beside the line, (n, n)."""
    along = np.concatenate([[0.0], np.cumsum(ground.path.leg_length_m)])
    off = np.array([stop.off_m for stop in ground.stops])
    between = along[None, :] - along[:, None]
    return np.where(between > 0.0, between + off[:, None] + off[None, :], 0.0)


def _usable(ground: Ground, wishes: StageWishes) -> BoolArray:
    """Places that take the party; the end always does, nobody stays the night there."""
    out = [
        wishes.party is None or stop.place.capacity is None or stop.place.capacity >= wishes.party
        for stop in ground.stops
    ]
    out[-1] = True
    return np.array(out)


def _reached(length: FloatArray, wishes: StageWishes, i: int) -> int:
    """How many places after place i lie within a day's reach."""
    if wishes.reach_m is None:
        return int(length.size - 1 - i)
    within = np.flatnonzero(length[i + 1 :] <= wishes.reach_m)
    return int(within[-1]) + 1 if within.size else 0


def _hours(ground: Ground, starts: Sequence[_Start]) -> BoolArray:
    """Forecast hours that some launch can meet, one before and one after among them."""
    time = ground.series.time
    clock = (time - time[0]) / np.timedelta64(1, "ns") / 1e9
    met = np.zeros(time.size + 1)
    for start in starts:
        first = np.searchsorted(clock, start.launch_s, side="right") - 1
        last = np.searchsorted(clock, start.cutoff_s + 2.0 * _AFTER_DUSK_S, side="left")
        np.add.at(met, np.clip(first, 0, time.size), 1.0)
        np.add.at(met, np.clip(last + 1, 0, time.size), -1.0)
    return np.asarray(np.cumsum(met)[:-1] > 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class _Start:
    """Launches from place i that are worth paddling.

    `which` are their indices, `launch_s` and `cutoff_s` (m,) seconds from the first forecast
    hour, `deadline_s` (p, m) the latest arrival at each later place by daylight.
    """

    i: int
    which: NDArray[np.int64]
    launch_s: FloatArray
    cutoff_s: FloatArray
    deadline_s: FloatArray

    @staticmethod
    def of(
        ground: Ground, limits: Limits, wishes: StageWishes, launch: TimeArray, i: int
    ) -> _Start:
        deadline = _deadlines(ground, limits, launch, i)
        lit = np.isinf(deadline[0]) | np.isnan(deadline[0])
        start_s = (launch - ground.series.time[0]) / np.timedelta64(1, "ns") / 1e9
        lit |= np.max(np.nan_to_num(deadline, nan=-np.inf), axis=0) > start_s
        if ground.daylight is not None and i > 0:
            lit &= struck(ground.daylight[i], launch, wishes.break_camp_s)
        which = np.flatnonzero(lit)
        # An unknown dusk is no end: what comes after it is unknown, not late.
        last = np.max(np.nan_to_num(deadline[:, which], nan=np.inf), axis=0, initial=-np.inf)
        longest = np.inf if limits.time_on_water_s is None else 1.5 * limits.time_on_water_s
        cutoff = np.minimum(last + _AFTER_DUSK_S, start_s[which] + longest)
        return _Start(i, which, start_s[which], cutoff, deadline[:, which])

    def walk(
        self, ground: Ground, fields: StepFields, limits: Limits, places: int
    ) -> tuple[NDArray[Any], ...]:
        """Verdict, margin, binding limit and arrival [s] at the next places, (p, m)."""
        from routeplan._stages import (
            march as _stagemarch,  # numba is slow to load, and not every command paddles
        )

        time = (ground.series.time - ground.series.time[0]) / np.timedelta64(1, "ns") / 1e9
        leg = ground.path.leg
        steps = np.flatnonzero((leg >= self.i) & (leg < self.i + places))
        ends = np.append(np.diff(leg[steps]) > 0, True)
        run = slice(int(steps[0]), int(steps[-1]) + 1)
        later = slice(self.i + 1, self.i + 1 + places)
        members = fields.speed_ms.shape[2]
        off = np.array([stop.off_m for stop in ground.stops])
        still = min(c.still_water_speed_ms for c in ground.crafts) * ground.pace.factor
        state = _new_state(self.launch_s + off[self.i] / still, members, still)
        out = _new_out((places, self.launch_s.size, members))
        _stagemarch.walk(
            (fields.speed_ms[run], fields.margin[run], fields.whose[run], fields.flag[run], time),
            (ground.path.length_m[run], np.where(ends, leg[steps] - self.i, -1), off[later]),
            self.launch_s,
            _pace(ground.pace),
            (
                np.ascontiguousarray(self.deadline_s[:places]),
                np.inf if limits.time_on_water_s is None else float(limits.time_on_water_s),
                limits.close_share,
                self.cutoff_s,
            ),
            _MARKS,
            _landing(ground, later, members),
            state,
            out,
        )
        told = _new_out((places, self.launch_s.size))
        _stagemarch.reduce_members(out, rank_of_share(limits.member_share, members), told)
        return told


def _pace(pace: Pace) -> tuple[float, ...]:
    rest = float(pace.rest_every_s), float(pace.rest_s)
    return (MIN_WAY_MS, *rest, float(pace.decay_per_h), float(pace.fresh_s))


def _landing(ground: Ground, later: slice, members: int) -> tuple[Any, ...]:
    """Margin and flag of the landings, with the members of the line's weather."""
    shape = (later.stop - later.start, ground.series.time.size, members)
    sea = ground.landing
    return (
        np.ascontiguousarray(np.broadcast_to(sea.margin[later], shape)),
        np.ascontiguousarray(np.broadcast_to(sea.flag[later], shape)),
    )


def _new_state(begin_s: FloatArray, members: int, still: float) -> tuple[Any, ...]:
    """Clock, cursor, last speed, time paddled, at the last rest, margin, whose, flag, how."""
    shape = (begin_s.size, members)
    return (
        np.repeat(begin_s[:, None], members, axis=1),
        np.zeros(shape, dtype=np.int64),
        np.full(shape, still),
        np.zeros(shape),
        np.zeros(shape),
        np.full(shape, np.inf),
        np.zeros(shape, dtype=np.int16),
        np.zeros(shape, dtype=np.int8),
        np.zeros(shape, dtype=np.int8),
    )


def _new_out(shape: tuple[int, ...]) -> tuple[Any, ...]:
    return (
        np.full(shape, Verdict.UNKNOWN, dtype=np.int8),
        np.full(shape, np.nan),
        np.full(shape, _MARKS[3], dtype=np.int16),
        np.full(shape, np.nan),
    )


def _deadlines(ground: Ground, limits: Limits, launch: TimeArray, i: int) -> FloatArray:
    """Latest arrival at each later place, seconds from the first forecast hour, (p, m).

    inf where daylight is no limit, nan where it is unknown; before the launch for one in the dark.
    """
    later = len(ground.stops) - 1 - i
    if limits.daylight_margin_s is None:
        return np.full((later, launch.size), np.inf)
    if ground.daylight is None:
        return np.full((later, launch.size), np.nan)
    start_s = (launch - ground.series.time[0]) / np.timedelta64(1, "ns") / 1e9
    here = ground.daylight[i]
    return np.stack(
        [
            start_s
            + 3600.0
            * daylight_slack_h(launch, launch, (here, there), float(limits.daylight_margin_s))
            for there in ground.daylight[i + 1 :]
        ]
    )


def struck(light: DaylightSpells, launch: TimeArray, after_s: float) -> BoolArray:
    """Whether a camp can be struck by each launch: so long after dawn; always in endless light."""
    if not light.start.size:
        return np.zeros(launch.size, dtype=bool)
    after = np.timedelta64(round(after_s * 1e9), "ns")
    spell = np.searchsorted(light.start, launch, side="right") - 1
    dawn = light.start[np.maximum(spell, 0)]
    endless = dawn <= light.first
    return np.asarray((spell >= 0) & (endless | (launch >= dawn + after)))

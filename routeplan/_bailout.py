"""Ways out of a passage: the landing one can reach, and the last moment to go on or turn round."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._findings import duration
from routeplan._launchscan import LaunchScan, Outing
from routeplan._path import Path
from routeplan.errors import InputError
from routeplan.geodesy import direct
from routeplan.limits import Verdict
from routeplan.propulsion import Craft
from routeplan.simulation import speed_over_ground

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries

__all__ = ["Landing", "TurnBack", "landings_under_power", "turn_back_times"]

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

_NAT = np.datetime64("NaT", "ns")


@dataclass(frozen=True, slots=True)
class Landing:
    """The shore that is reached soonest from a place on the way, at the hour one is there.

    `distance_m` and `bearing_deg` lead to it; `time_s` is how long it takes against that hour's
    wind, current and sea, nan when none can be reached or the weather is unknown. `nearest_m` is
    the nearest shore of all, whether it can be reached or not. A place on the shoreline is no
    promise that one can land there.
    """

    leg: int
    longitude: float
    latitude: float
    when: np.datetime64
    distance_m: float
    bearing_deg: float
    landing_longitude: float
    landing_latitude: float
    time_s: float
    nearest_m: float
    text: str


def landings_under_power(
    scan: LaunchScan, i: int, *, every_m: float = 1_000.0, within_m: float = 20_000.0
) -> tuple[Landing, ...]:
    """Soonest landing from places along launch i, about `every_m` apart.

    Straight lines in the directions of the fetch rose are tried, each at the speed over ground
    that the slowest craft makes in it in the weather of the place and hour. Shores farther off
    than `within_m` do not count.

    Raises
    ------
    InputError
        When the path has no fetch roses, or `every_m` is not positive.
    """
    outing = scan.outing
    path = outing.path
    if path.fetch_rose_m is None:
        msg = "landings under power need a path with fetch roses"
        raise InputError(msg, field="fetch_rose_m")
    if not every_m > 0.0:
        msg = f"landings every {every_m:g} m are not possible; allowed is more than 0"
        raise InputError(msg, field="every_m", value=every_m)
    middle = np.cumsum(path.length_m) - path.length_m / 2
    wanted = np.arange(every_m / 2, path.length_m.sum(), every_m)
    steps = np.unique(np.abs(middle[:, None] - wanted[None, :]).argmin(axis=0))
    when = _times_at(scan, i)[steps]
    member = int(scan.detail.member[i])
    rose = path.fetch_rose_m[steps]
    bearing = np.arange(rose.shape[1]) * 360.0 / rose.shape[1]
    speed = _speeds(outing, steps, when, member, bearing)
    with np.errstate(divide="ignore", invalid="ignore"):
        time = np.where((speed > 0.0) & (rose <= within_m), rose / speed, np.inf)
    return tuple(
        _landing(
            scan, int(step), when[j], rose[j], bearing, time[j], bool(np.isnan(speed[j]).all())
        )
        for j, step in enumerate(steps)
    )


def _landing(
    scan: LaunchScan,
    step: int,
    when: np.datetime64,
    rose: FloatArray,
    bearing: FloatArray,
    time: FloatArray,
    unknown: bool,
) -> Landing:
    path = scan.outing.path
    lon, lat = float(path.longitude[step]), float(path.latitude[step])
    leg = int(scan.leg_numbers[path.leg[step]])
    best = int(np.argmin(time))
    reached = bool(np.isfinite(time[best]))
    distance, course = (float(rose[best]), float(bearing[best])) if reached else (np.nan, np.nan)
    there = direct(lon, lat, course, distance) if reached else (np.nan, np.nan)
    nearest = float(rose.min())
    if reached:
        text = (
            f"From leg {leg} the shore reached soonest is {distance:,.0f} m away on "
            f"{course:03.0f}°, {duration(float(time[best]))} of paddling."
        )
    elif unknown:
        text = f"Which shore can be reached from leg {leg} is unknown."
    else:
        text = f"From leg {leg} no shore can be reached against wind, sea and current."
    return Landing(
        leg, lon, lat, when, distance, course, float(there[0]),
        float(there[1]), float(time[best]) if reached else np.nan, nearest, text,
    )  # fmt: skip


def _times_at(scan: LaunchScan, i: int) -> TimeArray:
    """Time at the middle of every step of launch i, even pace within a leg; NaT unknown."""
    path, passage = scan.outing.path, scan.detail.passage
    member = int(scan.detail.member[i])
    enter, leave = passage.enter[i, :, member], passage.leave[i, :, member]
    along = np.cumsum(path.length_m) - path.length_m / 2
    begun = np.concatenate([[0.0], np.cumsum(path.leg_length_m)[:-1]])
    share = (along - begun[path.leg]) / path.leg_length_m[path.leg]
    span = (leave - enter)[path.leg]
    known = ~np.isnat(span)
    nanoseconds = np.where(known, span.astype(np.int64), 0) * share
    part = np.round(nanoseconds).astype("timedelta64[ns]")
    return np.where(known, enter[path.leg] + part, _NAT)


def _speeds(
    outing: Outing, steps: NDArray[np.intp], when: TimeArray, member: int, bearing: FloatArray
) -> FloatArray:
    """Speed over ground on every bearing, (s, b); nan unknown, 0 where no way is made."""
    weather = {
        name: _at(outing.series, name, steps, when, member)[:, None]
        for name in outing.series.values
    }
    crafts = (outing.craft,) if isinstance(outing.craft, Craft) else tuple(outing.craft)
    speed = [speed_over_ground(craft, bearing[None, :], weather) for craft in crafts]
    return np.asarray(np.min(speed, axis=0))


def _at(
    series: PointSeries, name: str, steps: NDArray[np.intp], when: TimeArray, member: int
) -> FloatArray:
    """Value at each step and its time, linear in time (a direction: of the earlier time)."""
    values = series.values[name]
    column = values[steps, :, min(member, values.shape[2] - 1)]
    time = series.time
    known = ~np.isnat(when) & (when >= time[0]) & (when <= time[-1])
    safe = np.where(known, when, time[0])
    low = np.clip(np.searchsorted(time, safe, side="right") - 1, 0, max(time.size - 2, 0))
    high = np.minimum(low + 1, time.size - 1)
    span = np.maximum((time[high] - time[low]).astype(np.int64), 1)
    share = (safe - time[low]).astype(np.int64) / span
    rows = np.arange(steps.size)
    if name.endswith("_direction"):
        return np.where(known, column[rows, low], np.nan)
    blend = np.where(share > 0.0, column[rows, high] * share, 0.0)
    return np.where(
        known, np.where(share < 1.0, column[rows, low] * (1 - share), 0.0) + blend, np.nan
    )


@dataclass(frozen=True, slots=True)
class TurnBack:
    """Until when one may go on from the start of a leg, or turn round there.

    `arrive` is when the launch gets there; `go_on_until` the latest time from then on at which
    going on to the end stays within or close all the while, `turn_round_until` the same for going
    back to where the stage began; NaT where not even at once. `text` says it without clock times.
    """

    leg: int
    longitude: float
    latitude: float
    arrive: np.datetime64
    go_on_until: np.datetime64
    turn_round_until: np.datetime64
    text: str


def turn_back_times(
    scan: LaunchScan, i: int, *, step_s: float = 600.0, horizon_s: float = 12 * 3600.0
) -> tuple[TurnBack, ...]:
    """Turn-back times of launch i at the start of every leg but the first.

    Legs that are never begun are left out. Times are tried every `step_s` up to the horizon; at
    the horizon the true time may be later.
    """
    if not step_s >= 60.0 or not horizon_s >= step_s:
        msg = "turn-back times need a step of 60 s or more and a horizon no shorter than it"
        raise InputError(msg, field="step_s", value=step_s)
    passage, member = scan.detail.passage, int(scan.detail.member[i])
    out = []
    for leg in range(1, scan.outing.path.legs):
        arrive = passage.enter[i, leg, member]
        if np.isnat(arrive):
            break
        tried = arrive + np.arange(0, round(horizon_s) + 1, round(step_s)).astype("timedelta64[s]")
        on = _until(scan, i, _part(scan.outing, leg, back=False), tried)
        back = _until(scan, i, _part(scan.outing, leg, back=True), tried)
        out.append(_turn_back(scan, leg, arrive, on, back))
    return tuple(out)


def _until(scan: LaunchScan, i: int, outing: Outing, tried: TimeArray) -> np.datetime64:
    """Last of the times tried up to which all are good; NaT when the first is not."""
    part = outing.scan(tried.astype("datetime64[ns]"), robust=False)
    good = part.verdict <= Verdict.CLOSE
    longest = scan.detail.limits.time_on_water_s
    if longest is not None:
        spent = (part.arrive - scan.launch[i]) / np.timedelta64(1, "s")
        good &= spent <= longest
    bad = np.flatnonzero(~good)
    count = int(bad[0]) if bad.size else good.size
    return np.datetime64(part.launch[count - 1], "ns") if count else _NAT


def _part(outing: Outing, leg: int, *, back: bool) -> Outing:
    """The outing from the start of a leg to the end, or back from there to its start."""
    steps: Any = np.flatnonzero(outing.path.leg < leg if back else outing.path.leg >= leg)
    steps = steps[::-1] if back else steps
    series = outing.series
    values = {name: value[steps] for name, value in series.values.items()}
    light = outing.daylight
    if light is not None and back:
        light = (light[0], light[0])
    return replace(
        outing,
        path=_line(outing.path, steps, back),
        series=replace(series, values=values, inside=series.inside[steps]),
        # The hours since the true launch are counted by the caller.
        limits=replace(outing.limits, time_on_water_s=None),
        daylight=light,
        numbers=outing.numbers[:leg][::-1] if back else outing.numbers[leg:],
    )


def _line(path: Path, steps: NDArray[np.intp], back: bool) -> Path:
    legs = path.leg[steps]
    bearing, rose = path.shore_bearing_deg, path.fetch_rose_m
    return Path(
        longitude=path.longitude[steps],
        latitude=path.latitude[steps],
        course_deg=(path.course_deg[steps] + (180.0 if back else 0.0)) % 360.0,
        length_m=path.length_m[steps],
        leg=legs.max() - legs if back else legs - legs.min(),
        offshore_m=path.offshore_m[steps],
        shore_bearing_deg=None if bearing is None else bearing[steps],
        fetch_rose_m=None if rose is None else rose[steps],
    )


def _turn_back(
    scan: LaunchScan, leg: int, arrive: np.datetime64, on: np.datetime64, back: np.datetime64
) -> TurnBack:
    path = scan.outing.path
    first = int(np.flatnonzero(path.leg == leg)[0])
    number = int(scan.leg_numbers[leg])
    texts = []
    for until, words in ((on, "going on"), (back, "turning round")):
        if np.isnat(until):
            texts.append(f"{words} is not good on arrival")
        elif until == arrive:
            texts.append(f"{words} is good on arrival, with no time to spare")
        else:
            spare = float((until - arrive) / np.timedelta64(1, "s"))
            texts.append(f"{words} stays good for {duration(spare)} after arrival")
    text = f"At the start of leg {number} {'; '.join(texts)}."
    return TurnBack(
        number,
        float(path.longitude[first]),
        float(path.latitude[first]),
        arrive,
        on,
        back,
        text,
    )

"""From places along a launch, at the hours one is there: the landing in reach, and the drift."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.findings import duration
from routeplan._judge.launchscan import LaunchScan, Outing
from routeplan._passage.path import Path
from routeplan.errors import InputError
from routeplan.geodesy import direct
from routeplan.leeway import Drift, LeewayObject, Shore, WeatherGrid, drift_from
from routeplan.propulsion import Craft
from routeplan.simulation import speed_over_ground

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries

__all__ = [
    "Adrift",
    "Landing",
    "drift_along",
    "landings_under_power",
    "places_every",
    "times_there",
]

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
    steps = places_every(path, every_m)
    when = times_there(scan, i)[steps]
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


def times_there(scan: LaunchScan, i: int) -> TimeArray:
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
class Adrift:
    """What becomes of somebody without propulsion at a place on the way, at the hour there.

    `ashore_first_s` and `ashore_last_s` are the shortest and the longest time until ashore of the
    three branches, nan where one is still afloat at the end; `offshore_m` is then the farthest
    from shore. `known` is False where wind or current are not known all the while.
    """

    leg: int
    longitude: float
    latitude: float
    when: np.datetime64
    ashore_first_s: float
    ashore_last_s: float
    offshore_m: float
    known: bool
    text: str


def drift_along(
    scan: LaunchScan,
    i: int,
    weather: WeatherGrid,
    it: LeewayObject,
    *,
    coast: Shore,
    hours: float = 6.0,
    every_m: float = 2_000.0,
) -> tuple[tuple[Adrift, ...], Drift]:
    """Drift from places along launch i at the hours one is there, and its tracks.

    Places that are never reached are left out. With members the one that launch i is told from
    counts for the words; the tracks have all.
    """
    steps = places_every(scan.outing.path, every_m)
    when = times_there(scan, i)[steps]
    steps, when = steps[~np.isnat(when)], when[~np.isnat(when)]
    path = scan.outing.path
    drift = drift_from(
        path.longitude[steps], path.latitude[steps], when, weather, it, coast=coast, hours=hours
    )
    member = min(int(scan.detail.member[i]), weather.members - 1)
    out = []
    for j, step in enumerate(steps):
        ashore = drift.ashore_s[j, :, member]
        known = bool(drift.known[j, :, member].all())
        afloat = bool(np.isnan(ashore).any())
        leg = int(scan.leg_numbers[path.leg[step]])
        first = float(np.fmin.reduce(ashore))
        last = np.nan if afloat else float(ashore.max())
        far = float(np.fmax.reduce(drift.offshore_m[j, :, member])) if afloat else 0.0
        text = _adrift_text(leg, it, hours, (first, last, far if known else np.nan))
        out.append(
            Adrift(
                leg, float(path.longitude[step]), float(path.latitude[step]), when[j],
                first, last, far, known, text,
            )
        )  # fmt: skip
    return tuple(out), drift


def _adrift_text(
    leg: int, it: LeewayObject, hours: float, times: tuple[float, float, float]
) -> str:
    first, last, far = times
    begin = f"Adrift from leg {leg} ({it.description})"
    if np.isnan(far):
        return f"{begin}: where to is unknown."
    if np.isnan(last):
        some = "" if np.isnan(first) else f" ashore after {duration(first)} at the earliest, or"
        return f"{begin}:{some} still afloat after {hours:g} h, up to {far:,.0f} m from shore."
    if duration(first) == duration(last):
        return f"{begin}: ashore after {duration(last)}."
    return f"{begin}: ashore after {duration(first)} to {duration(last)}."


def places_every(path: Path, every_m: float) -> NDArray[np.intp]:
    """Steps about `every_m` apart."""
    if not every_m > 0.0:
        msg = f"places every {every_m:g} m are not possible; allowed is more than 0"
        raise InputError(msg, field="every_m", value=every_m)
    middle = np.cumsum(path.length_m) - path.length_m / 2
    wanted = np.arange(min(every_m, path.length_m.sum()) / 2, path.length_m.sum(), every_m)
    return np.unique(np.abs(middle[:, None] - wanted[None, :]).argmin(axis=0))

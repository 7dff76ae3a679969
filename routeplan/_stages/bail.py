"""Ways out along a stage: the shore on each side, the places ahead and behind, what commits."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from routeplan._stages.place import Place
from routeplan._stages.placeline import Stop, places_on_line
from routeplan.errors import InputError
from routeplan.exposure import DIRECTIONS_DEG
from routeplan.simulation import speed_over_ground

if TYPE_CHECKING:
    from routeplan.coastline import Coastline
    from routeplan.propulsion import Craft
    from routeplan.route import Route
    from routeplan.sampling import PointSeries

__all__ = ["Bailout", "ShoreSide", "bailouts"]

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

_SIDE_DEG = 80.0  # how far ahead and astern of abeam a shore still lies on that side
_ENDS = ("camp", "landing", "road", "ferry")


@dataclass(frozen=True, slots=True)
class ShoreSide:
    """The shore soonest reached on one side; nan where there is none or it cannot be reached.

    `distance_m`, `bearing_deg` [degrees true], `time_s` of paddling in the weather of the hour.
    `known` is False where that weather is not.
    """

    distance_m: float
    bearing_deg: float
    time_s: float
    known: bool


@dataclass(frozen=True, slots=True)
class Bailout:
    """Ways out of a stretch.

    Attributes
    ----------
    begin_m, end_m : float
        The stretch, along the route; the rest is told of its middle [m].
    longitude, latitude : float
    when : datetime64
        When one is there; NaT unknown.
    port, starboard : ShoreSide
        Left and right of the course. A place on the shoreline, no promise that one can land.
    ahead, behind : Stop or None
        The user's next camp, landing, road or ferry on the line, ahead and behind; None without.
    no_landing : str
        Name of the user's stretch without landing that this one lies on; "" for none.
    commits : bool
        No shore is reached within the time given, on neither side, or the weather is unknown, or
        the user says that one cannot land.
    """

    begin_m: float
    end_m: float
    longitude: float
    latitude: float
    when: np.datetime64
    port: ShoreSide
    starboard: ShoreSide
    ahead: Stop | None
    behind: Stop | None
    no_landing: str
    commits: bool


def bailouts(
    route: Route,
    coast: Coastline,
    series: PointSeries,
    crafts: Sequence[Craft],
    when: TimeArray,
    at: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
    places: Sequence[Place] = (),
    *,
    member: int = 0,
    commit_s: float = 1_800.0,
    reach_m: float = 20_000.0,
) -> tuple[Bailout, ...]:
    """Ways out at points along a route.

    Parameters
    ----------
    route : Route
        On whose line the places lie.
    coast : Coastline
    series : PointSeries
        Forecast at the points.
    crafts : sequence of Craft
        The slowest of them counts.
    when : array of datetime64, shape (k,)
        When one is at each point, UTC; NaT makes the times to shore unknown.
    at : (longitude, latitude, course_deg, along_m), each (k,)
        The points, the course there [degrees true], how far along the route [m]. A stretch
        reaches half-way to the points on both sides.
    places : sequence of Place
        The user's; roads and ferries are only those among them.
    member : int
        Of the forecast.
    commit_s : float
        A stretch commits when no shore is reached within this time. [s]
    reach_m : float
        How far a shore is looked for. [m]
    """
    lon, lat, course, along = at
    if not (len(crafts) and commit_s > 0.0 and lon.size == when.size > 0):
        msg = "ways out need a craft, a time to commit above 0, and a time for each point"
        raise InputError(msg, field="bailouts")
    rose = coast.fetch_length(lon, lat, DIRECTIONS_DEG, reach_m)
    speed = _speeds(series, crafts, when, member)
    with np.errstate(divide="ignore", invalid="ignore"):
        time = np.where(rose < reach_m, rose / speed, np.inf)
    time = np.where(np.isnan(speed), np.nan, np.where(speed > 0.0, time, np.inf))
    stops = [s for s in places_on_line(route, places) if s.place.kind in _ENDS]
    shut = _no_landing(route, places)
    edges = np.concatenate([[along[0]], (along[1:] + along[:-1]) / 2.0, [along[-1]]])
    out = []
    for i in range(lon.size):
        sides = [_side(rose[i], time[i], course[i], turn) for turn in (-90.0, 90.0)]
        name = next((n for n, a, b in shut if a <= along[i] <= b), "")
        soonest = min((s.time_s for s in sides if np.isfinite(s.time_s)), default=np.inf)
        out.append(
            Bailout(
                begin_m=float(edges[i]),
                end_m=float(edges[i + 1]),
                longitude=float(lon[i]),
                latitude=float(lat[i]),
                when=when[i],
                port=sides[0],
                starboard=sides[1],
                ahead=next((s for s in stops if s.along_m > along[i]), None),
                behind=next((s for s in reversed(stops) if s.along_m <= along[i]), None),
                no_landing=name,
                commits=bool(name) or not soonest <= commit_s,
            )
        )
    return tuple(out)


def _side(rose: FloatArray, time: FloatArray, course: float, turn: float) -> ShoreSide:
    """Soonest shore on one side; `turn` from the course to abeam [degrees]."""
    off = (DIRECTIONS_DEG - course - turn + 180.0) % 360.0 - 180.0
    here = np.abs(off) <= _SIDE_DEG
    known = bool(np.isfinite(time[here]).any() or not np.isnan(time[here]).all())
    soonest = np.where(here & np.isfinite(time), time, np.inf)
    i = int(soonest.argmin())
    if not np.isfinite(soonest[i]):
        return ShoreSide(np.nan, np.nan, np.nan, known)
    return ShoreSide(float(rose[i]), float(DIRECTIONS_DEG[i]), float(time[i]), known)


def _speeds(
    series: PointSeries, crafts: Sequence[Craft], when: TimeArray, member: int
) -> FloatArray:
    """Speed over ground on every bearing at each point and its time, (k, 36)."""
    from routeplan.sampling import at_points

    weather = {}
    for name, values in series.values.items():
        one = values[:, :, [min(member, values.shape[2] - 1)]]
        parts = [one]
        if name.endswith("_direction"):
            parts = [np.sin(np.radians(one)), np.cos(np.radians(one))]
        read = [at_points(part, series.time, when[None, :])[0] for part in parts]
        weather[name] = read[0] if len(read) == 1 else np.degrees(np.arctan2(*read)) % 360.0
    speeds = [speed_over_ground(craft, DIRECTIONS_DEG[None, :], weather) for craft in crafts]
    return np.asarray(np.min(speeds, axis=0))


def _no_landing(route: Route, places: Sequence[Place]) -> list[tuple[str, float, float]]:
    """Stretches of the line on which the user says one cannot land: name, from, to [m]."""
    out = []
    for place in places:
        if place.kind != "no landing" or place.end is None:
            continue
        other = Place(place.end[1], place.end[0], place.name, place.kind)
        ends = [places_on_line(route, [end]) for end in (place, other)]
        for one, two in itertools.product(*ends):
            first, last = sorted((one.along_m, two.along_m))
            out.append((place.called, first, last))
    return out

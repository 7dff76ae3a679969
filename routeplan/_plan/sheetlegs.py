"""Legs as the deck needs them: courses, times, until when to turn back, and where to land."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from routeplan._line.tracksplit import simplify
from routeplan.geodesy import inverse
from routeplan.limits import Verdict
from routeplan.route import Waypoint
from routeplan.stops import kind_of

if TYPE_CHECKING:
    from routeplan.coastline import Coastline
    from routeplan.exposure import LegExposure
    from routeplan.route import Leg, Route
    from routeplan.stops import DayStage, Place, Stage
    from routeplan.windows import Landing, LaunchScan, LaunchWindow, TurnBack

__all__ = ["SheetLeg", "StageLike", "WayOut", "named_landings", "sheet_legs"]

_NAT = np.datetime64("NaT", "ns")
_KINDS = ("camp", "landing", "road", "ferry")
_STRAIGHT_M = (60.0, 120.0)  # the second where the first leaves more pieces than one can follow
_MOST_PIECES = 6
_TRIED = 4  # landings looked at for a leg, nearest first
_NEAR_SHORE_M = 300.0  # land this close to a landing is the landing itself; of a coastline's error


class StageLike(Protocol):
    """A stage of a plan, with its launches where there is a forecast."""

    @property
    def stage(self) -> Stage: ...
    @property
    def scan(self) -> LaunchScan | None: ...
    @property
    def windows(self) -> tuple[LaunchWindow, ...]: ...
    @property
    def best(self) -> int | None: ...
    @property
    def day(self) -> DayStage | None: ...
    @property
    def turn_back(self) -> tuple[TurnBack, ...] | None: ...
    @property
    def landings(self) -> tuple[Landing, ...] | None: ...


@dataclass(frozen=True, slots=True)
class WayOut:
    """Where to land from the worst place of a leg.

    Attributes
    ----------
    name : str
        "" for a shore that has none.
    longitude, latitude : float
    bearing_deg, distance_m : float
        From the leg's `worst_longitude`, `worst_latitude`; nan unknown. [degrees true, m]
    time_s : float
        Of paddling, in the weather of the hour; nan unknown or not worked out. [s]
    over_land : bool
        Whether the straight line to it meets land on the way.
    """

    name: str
    longitude: float
    latitude: float
    bearing_deg: float
    distance_m: float
    time_s: float = np.nan
    over_land: bool = False


@dataclass(frozen=True, slots=True)
class SheetLeg:
    """One leg.

    Attributes
    ----------
    number : int
        On the route.
    start, end : Waypoint
    length_m, course_deg : float
        Along it, and from its start straight to its end. [m, degrees true]
    courses : tuple of (course_deg, length_m)
        Of its pieces, straight to within `_STRAIGHT_M`: more than one where it bends.
    enter, leave : datetime64
        Planned; NaT unknown.
    go_on_until, turn_round_until : datetime64
        Latest times at its start for going on to the end and for going back to where the stage
        began; NaT where not even on arrival, or not known.
    has_turn_back : bool
        Whether those were worked out: never for the first leg of a stage, which is the launch.
    offshore_max_m : float
    verdict : Verdict
        At the launch; unknown without one.
    worst_at_m, worst_longitude, worst_latitude : float
        The place of the leg that is worst off, from which the ways out are told.
    shore : WayOut or None
        The shore soonest reached, or where the launch does not get there the nearest; None when
        none can be reached or it is not known.
    shore_text : str
        With a launch: the same in a sentence, without clock times.
    landing : WayOut or None
        The user's nearest named landing, with a straight line over water if there is one.
    land_m : float
        Of the leg that lies on land. [m]
    """

    number: int
    start: Waypoint
    end: Waypoint
    length_m: float
    course_deg: float
    courses: tuple[tuple[float, float], ...]
    enter: np.datetime64
    leave: np.datetime64
    go_on_until: np.datetime64
    turn_round_until: np.datetime64
    has_turn_back: bool
    offshore_max_m: float
    verdict: Verdict
    worst_at_m: float
    worst_longitude: float
    worst_latitude: float
    shore: WayOut | None
    shore_text: str
    landing: WayOut | None
    land_m: float = 0.0


def named_landings(route: Route, places: Sequence[Place]) -> tuple[Waypoint, ...]:
    """Places with a name at which the user says one lands: both ends of the route among them."""
    found = [
        point
        for point in (*route.points, *route.waypoints)
        if point.name and kind_of(point) in _KINDS
    ]
    found += [end for end in (route.points[0], route.points[-1]) if end.name]
    found += [
        Waypoint(place.latitude, place.longitude, place.name)
        for place in places
        if place.name and place.kind in _KINDS
    ]
    once = {(p.name, round(p.latitude, 4), round(p.longitude, 4)): p for p in reversed(found)}
    return tuple(reversed(once.values()))


def sheet_legs(
    plan: StageLike,
    exposures: Mapping[int, LegExposure],
    landings: Sequence[Waypoint],
    coast: Coastline,
) -> tuple[SheetLeg, ...]:
    """Legs of a stage at the launch proposed, or as the coastline alone tells them."""
    turns = {turn.leg: turn for turn in plan.turn_back or ()}
    shores = {shore.leg: shore for shore in plan.landings or ()}
    return tuple(
        _leg(plan, i, leg, exposures[leg.number], (turns.get(leg.number), shores.get(leg.number)),
             landings, coast)
        for i, leg in enumerate(plan.stage.legs)
    )  # fmt: skip


def _leg(
    plan: StageLike,
    i: int,
    leg: Leg,
    exposure: LegExposure,
    told: tuple[TurnBack | None, Landing | None],
    landings: Sequence[Waypoint],
    coast: Coastline,
) -> SheetLeg:
    turn, shore = told
    enter, leave, verdict = _passed(plan, i)
    k = _worst(exposure, shore)
    here = float(exposure.longitude[k]), float(exposure.latitude[k])
    return SheetLeg(
        number=leg.number,
        start=leg.start,
        end=leg.end,
        length_m=leg.length_m,
        course_deg=leg.course_deg,
        courses=_courses(leg),
        enter=enter,
        leave=leave,
        go_on_until=_NAT if turn is None else turn.go_on_until,
        turn_round_until=_NAT if turn is None else turn.turn_round_until,
        has_turn_back=turn is not None,
        offshore_max_m=exposure.offshore_max_m,
        verdict=verdict,
        worst_at_m=float(exposure.distance_m[k]),
        worst_longitude=here[0],
        worst_latitude=here[1],
        shore=_nearest_shore(exposure, k) if shore is None else _soonest_shore(shore),
        shore_text="" if shore is None else shore.text,
        landing=_landing(here, landings, coast),
        land_m=exposure.land_m,
    )


def _courses(leg: Leg) -> tuple[tuple[float, float], ...]:
    """Course and length of the pieces of a leg: to steer by where it bends."""
    lon, lat = leg.longitude, leg.latitude
    for within_m in _STRAIGHT_M:
        kept = simplify(lon, lat, within_m)
        if len(kept) - 1 <= _MOST_PIECES:
            break
    course, length = inverse(lon[kept[:-1]], lat[kept[:-1]], lon[kept[1:]], lat[kept[1:]])
    return tuple(zip(course.tolist(), length.tolist(), strict=True))


def _passed(plan: StageLike, i: int) -> tuple[np.datetime64, np.datetime64, Verdict]:
    """When the launch enters and leaves leg i of the stage, and its verdict there."""
    scan, best = plan.scan, plan.best
    if scan is None or best is None:
        return _NAT, _NAT, Verdict.UNKNOWN
    enter: np.datetime64 = scan.enter[best, i]
    leave: np.datetime64 = scan.leave[best, i]
    return enter, leave, Verdict(int(scan.leg_verdict[best, i]))


def _worst(exposure: LegExposure, shore: Landing | None) -> int:
    """Sample of the leg at its worst place: of the launch, else the farthest from shore."""
    if shore is None:
        at = exposure.offshore_max_at_m
        if not np.isfinite(at):
            return int(exposure.distance_m.size // 2)
        return int(np.argmin(np.abs(exposure.distance_m - at)))
    _, away = inverse(shore.longitude, shore.latitude, exposure.longitude, exposure.latitude)
    return int(np.argmin(away))


def _soonest_shore(shore: Landing | None) -> WayOut | None:
    if shore is None or not np.isfinite(shore.time_s):
        return None
    return WayOut(
        "", shore.landing_longitude, shore.landing_latitude, shore.bearing_deg,
        shore.distance_m, shore.time_s,
    )  # fmt: skip


def _nearest_shore(exposure: LegExposure, k: int) -> WayOut | None:
    distance, bearing = float(exposure.offshore_m[k]), float(exposure.shore_bearing_deg[k])
    if not (np.isfinite(distance) and np.isfinite(bearing)):
        return None
    return WayOut("", np.nan, np.nan, bearing, distance)


def _landing(
    here: tuple[float, float], landings: Sequence[Waypoint], coast: Coastline
) -> WayOut | None:
    """The nearest landing to which a straight line keeps to water, or else the nearest."""
    if not landings:
        return None
    lon = np.array([point.longitude for point in landings])
    lat = np.array([point.latitude for point in landings])
    bearing, distance = inverse(here[0], here[1], lon, lat)
    order = np.argsort(distance)[:_TRIED]
    dry = (not _over_land(here, landings[j], float(distance[j]), coast) for j in order)
    clear = next((int(j) for j, free in zip(order, dry, strict=True) if free), None)
    j = int(order[0]) if clear is None else clear
    point = landings[j]
    return WayOut(
        point.name, point.longitude, point.latitude, float(bearing[j]), float(distance[j]),
        over_land=clear is None,
    )  # fmt: skip


def _over_land(
    here: tuple[float, float], point: Waypoint, distance_m: float, coast: Coastline
) -> bool:
    """Whether the straight line meets land before the shore that the landing is on."""
    if distance_m <= _NEAR_SHORE_M:
        return False
    crossed = coast.crosses_land([here[0], point.longitude], [here[1], point.latitude])
    return any(enter < distance_m - _NEAR_SHORE_M for enter, _ in crossed)

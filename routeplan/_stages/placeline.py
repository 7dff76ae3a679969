"""Places against the line of a route: where it passes them, how far off, what the detour costs.

Public through `stops`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from routeplan._line.polyline import Polyline
from routeplan._line.waypoint import Waypoint, is_camp
from routeplan._stages.place import Place
from routeplan.errors import InputError
from routeplan.geodesy import FloatArray, inverse, path_length
from routeplan.route import Leg, Route

__all__ = ["Stop", "camps_on_line", "cut_line", "places_on_line", "staged_route"]

SAME_SPOT_M = 25.0  # two camps nearer than this are one (assumption: a tent site's width)
_SAME_KNOT_M = 1.0
_NEAR_M = 50.0
_FAR_M = 1_000_000.0


@dataclass(frozen=True, slots=True)
class Stop:
    """A place where the line passes it.

    `along_m` is how far along the line, `off_m` how far beside it [m]. `must` marks one that no
    plan may pass by.
    """

    place: Place
    along_m: float
    off_m: float = 0.0
    must: bool = False

    @property
    def detour_m(self) -> float:
        """What calling there adds to the way: out from the line and back [m]."""
        return 2.0 * self.off_m


def places_on_line(
    route: Route, places: Sequence[Place], *, off_line_m: float = 2_000.0
) -> tuple[Stop, ...]:
    """Where a route passes places, in order along it; places farther off are left out.

    A place that the line passes twice is there twice.
    """
    line = Polyline(route.longitude, route.latitude)
    lon = np.array([place.longitude for place in places], dtype=float)
    lat = np.array([place.latitude for place in places], dtype=float)
    stops = []
    for i, passes in enumerate(line.passes(lon, lat, off_line_m)):
        if passes:
            # Passes are told apart by four times the distance looked at: look no farther than need.
            within = max(1.2 * min(off for _, off in passes), _NEAR_M)
            near = line.passes(lon[i : i + 1], lat[i : i + 1], within)[0]
            stops += [Stop(places[i], along, off) for along, off in near]
    return tuple(sorted(stops, key=lambda stop: (stop.along_m, stop.off_m)))


def camps_on_line(
    route: Route, places: Sequence[Place], *, off_line_m: float = 2_000.0, needed: bool = True
) -> tuple[Stop, ...]:
    """Camps to choose from, between the two ends of the route, in order along it.

    `needed` says whether there must be one.

    Raises
    ------
    InputError
        In one line: no camp among the places, one farther than `off_line_m` from the line, or
        two at one spot.
    """
    camps = [place for place in places if place.kind == "camp"]
    if not camps and needed:
        msg = f"none of {len(places)} places is a camp; at least one is needed to stay a night"
        raise InputError(msg, field="places", value=len(places))
    stops = places_on_line(route, camps, off_line_m=off_line_m)
    near = {id(stop.place) for stop in stops}
    for camp in camps:
        if id(camp) not in near:
            msg = (
                f"{camp.called} lies {_distance(route, camp)} off the line; allowed are "
                f"{off_line_m / 1000:g} km"
            )
            raise InputError(msg, field="off_line_m", value=off_line_m)
    for one, other in itertools.combinations(camps, 2):
        _, apart = inverse(one.longitude, one.latitude, other.longitude, other.latitude)
        if float(apart) < SAME_SPOT_M:
            msg = (
                f"{one.called} and {other.called} are at one spot, {float(apart):.0f} m apart; "
                f"camps must be {SAME_SPOT_M:g} m apart or more"
            )
            raise InputError(msg, field="places", value=other.name)
    length = route.length_m
    return tuple(s for s in stops if _SAME_KNOT_M < s.along_m < length - _SAME_KNOT_M)


def _distance(route: Route, place: Place) -> str:
    line = Polyline(route.longitude, route.latitude)
    passes = line.passes(np.array([place.longitude]), np.array([place.latitude]), _FAR_M)[0]
    if not passes:
        return f"more than {_FAR_M / 1000:,.0f} km"
    return f"{min(off for _, off in passes) / 1000.0:,.1f} km"


def cut_line(route: Route, along_m: Sequence[float]) -> tuple[Leg, ...]:
    """Legs between neighbouring positions along the line, numbered from 1 [m from its start]."""
    line = Polyline(route.longitude, route.latitude)
    return tuple(
        _leg(line, begin, end, number)
        for number, (begin, end) in enumerate(itertools.pairwise(along_m), start=1)
    )


def _leg(line: Polyline, begin: float, end: float, number: int) -> Leg:
    first, last = line.locate(begin), line.locate(end)
    lon, lat = line.part(begin, end)
    lon = np.concatenate([[first[0]], lon, [last[0]]])
    lat = np.concatenate([[first[1]], lat, [last[1]]])
    course, _ = inverse(*first, *last)
    return Leg(
        number,
        Waypoint(first[1], first[0]),
        Waypoint(last[1], last[0]),
        lon,
        lat,
        path_length(lon, lat),
        float(course),
        1,
    )


def staged_route(route: Route, stops: Sequence[Stop]) -> Route:
    """The route with a stage ending at each of the stops and nowhere else.

    Legs stay cut where they were, and are cut at the stops. A stop beside the line stands at the
    place where the line passes it.
    """
    knots = _knots(route, stops)
    legs, stage = [], 1
    ends = {round(stop.along_m, 3) for stop in stops}
    cut = cut_line(route, [along for along, _ in knots])
    for leg, (_, start), (along, end) in zip(cut, knots[:-1], knots[1:], strict=True):
        legs.append(
            replace(
                leg,
                start=start,
                end=end,
                longitude=_fixed(leg.longitude),
                latitude=_fixed(leg.latitude),
                stage=stage,
            )
        )
        stage += round(along, 3) in ends
    # A stop at the very end begins no stage.
    last = legs[-1].stage
    return replace(route, legs=tuple(replace(leg, stage=min(leg.stage, last)) for leg in legs))


def _knots(route: Route, stops: Sequence[Stop]) -> list[tuple[float, Waypoint]]:
    """Positions where legs begin and end, with their points; a stop takes the place of a point."""
    line = Polyline(route.longitude, route.latitude)
    along = np.concatenate([[0.0], np.cumsum([leg.length_m for leg in route.legs])])
    along *= line.length_m / along[-1]
    knots = [(round(stop.along_m, 3), _camp_at(line, stop)) for stop in stops]
    taken = np.array([at for at, _ in knots])
    for at, point in zip(along, route.points, strict=True):
        if not taken.size or np.abs(taken - at).min() > _SAME_KNOT_M:
            knots.append((float(at), _plain(point)))
    return sorted(knots, key=lambda knot: knot[0])


def _camp_at(line: Polyline, stop: Stop) -> Waypoint:
    lon, lat = line.locate(stop.along_m)
    return Waypoint(lat, lon, stop.place.called, kind="camp", note=stop.place.note)


def _plain(point: Waypoint) -> Waypoint:
    """A camp that is not stayed at is a point like others."""
    return replace(point, kind="landing", symbol="") if is_camp(point) else point


def _fixed(values: FloatArray) -> FloatArray:
    copy = np.array(values, dtype=float)
    copy.setflags(write=False)
    return copy

"""Lines made of a line: there and back, only as far as a place, from a place on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from routeplan._line.polyline import Polyline
from routeplan._line.waypoint import Waypoint
from routeplan._stages.place import Place
from routeplan._stages.placeline import Stop, places_on_line
from routeplan.errors import InputError
from routeplan.route import Leg, Route, route_from_points

__all__ = [
    "part_of_route",
    "places_ahead",
    "position_on_route",
    "rest_of_route",
    "there_and_back",
]

_FAR_M = 1_000_000.0
_BESIDE_M = 5_000.0  # how far from the line waypoints still belong to a rest of it
_LEAST_M = 100.0  # a rest of a route shorter than this is no trip


def there_and_back(route: Route, turn_m: float | None = None) -> Route:
    """The route out and the same way back, by default from its end.

    Parameters
    ----------
    route : Route
    turn_m : float, optional
        Where to turn round, from the start. [m]

    Raises
    ------
    InputError
        A turn that is not on the route.
    """
    out = route if turn_m is None else part_of_route(route, 0.0, turn_m)
    back = out.reversed()
    count, stages = len(out.legs), out.legs[-1].stage
    legs = [
        replace(leg, number=leg.number + count, stage=leg.stage + stages - 1) for leg in back.legs
    ]
    return replace(out, name=f"{route.name}, there and back".strip(", "), legs=(*out.legs, *legs))


def part_of_route(route: Route, begin_m: float, end_m: float | None = None) -> Route:
    """The part of a route between two positions along it, by default to its end [m].

    Raises
    ------
    InputError
        Positions that are not on the route, in the wrong order, or less than 100 m apart.
    """
    length = route.length_m
    end_m = length if end_m is None else end_m
    if not 0.0 <= begin_m <= end_m - _LEAST_M or not end_m <= length + 1.0:
        msg = (
            f"the part of the route from {begin_m:.0f} m to {end_m:.0f} m cannot be made; the "
            f"route is {length:.0f} m long, and a part at least {_LEAST_M:g} m"
        )
        raise InputError(msg, field="part", value=(begin_m, end_m))
    line = Polyline(route.longitude, route.latitude)
    points = [_named(line, begin_m, _point_at(route, begin_m) or "here")]
    at = 0.0
    for leg in route.legs:
        points += _inside(line, leg, at, begin_m, min(end_m, length))
        at += leg.length_m
    points.append(_named(line, min(end_m, length), _point_at(route, end_m) or "turning point"))
    return route_from_points(
        points, name=route.name, waypoints=(), source=route.source, notes=route.notes
    )


def rest_of_route(route: Route, begin_m: float) -> Route:
    """The route from a position along it on [m], with the waypoints that lie ahead and a note."""
    line = Polyline(route.longitude, route.latitude)
    lon = np.array([waypoint.longitude for waypoint in route.waypoints])
    lat = np.array([waypoint.latitude for waypoint in route.waypoints])
    passes = line.passes(lon, lat, _BESIDE_M) if lon.size else []
    ahead = tuple(
        waypoint
        for waypoint, near in zip(route.waypoints, passes, strict=True)
        if any(along > begin_m + 1.0 for along, _ in near)
    )
    note = (
        f"planned is the rest of the route, from {begin_m / 1000:.1f} km along it; the way to the "
        "line and what was paddled earlier that day are not counted"
    )
    rest = part_of_route(route, begin_m)
    return replace(rest, waypoints=ahead, notes=(*rest.notes, note), origin=route.origin)


def _inside(line: Polyline, leg: Leg, at: float, begin: float, end: float) -> list[Waypoint]:
    """Points of a leg strictly between two positions: those that shape it, then its end."""
    first, last = max(at, begin), min(at + leg.length_m, end)
    if first >= last:
        return []
    lon, lat = line.part(first, last)
    points = [Waypoint(float(y), float(x), kind="shape") for x, y in zip(lon, lat, strict=True)]
    if begin + 1.0 < at + leg.length_m < end - 1.0:
        points.append(leg.end)
    return points


def _named(line: Polyline, along_m: float, name: str) -> Waypoint:
    lon, lat = line.locate(along_m)
    return Waypoint(lat, lon, name)


def _point_at(route: Route, along_m: float) -> str:
    """Name of the route's point at a position; "" where it has none."""
    along = np.concatenate([[0.0], np.cumsum([leg.length_m for leg in route.legs])])
    nearest = int(np.abs(along - along_m).argmin())
    return route.points[nearest].name if abs(along[nearest] - along_m) <= 1.0 else ""


def position_on_route(
    route: Route, longitude: float, latitude: float, *, off_line_m: float = 5_000.0
) -> float:
    """How far along a route a position is, by the nearest point of the line [m].

    Of a line that passes the position more than once the last pass that is as near counts.

    Raises
    ------
    InputError
        A position that cannot be, or farther from the line than `off_line_m` [m].
    """
    Waypoint(latitude, longitude)
    line = Polyline(route.longitude, route.latitude)
    passes = line.passes(np.array([longitude]), np.array([latitude]), _FAR_M)[0]
    off = min((off for _, off in passes), default=np.inf)
    if off > off_line_m:
        msg = (
            f"the position {latitude:.4f} N, {longitude:.4f} E lies {off / 1000:,.1f} km off the "
            f"line; allowed are {off_line_m / 1000:g} km"
        )
        raise InputError(msg, field="position", value=(longitude, latitude))
    near = line.passes(np.array([longitude]), np.array([latitude]), max(1.05 * off, 20.0))[0]
    return max(along for along, _ in near)


def places_ahead(
    route: Route, places: Sequence[Place], begin_m: float, *, off_line_m: float = 2_000.0
) -> tuple[Place, ...]:
    """Places that the line passes after a position along it [m], each once."""
    ahead: list[Stop] = [
        stop
        for stop in places_on_line(route, places, off_line_m=off_line_m)
        if stop.along_m > begin_m + 1.0
    ]
    kept = {id(stop.place): stop.place for stop in ahead}
    return tuple(kept.values())

"""Routes as values: waypoints, legs between named points, stages between camps.

Every piece of a leg is a geodesic on WGS84; longitudes stay in [-180, 180] and may jump from
179.9 to -179.9 where a leg crosses the antimeridian. Build routes with `route_from_points`
or `route_from_track`, which check what they are given; a finished `Route` is immutable.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from routeplan._line.nodes import Node, TrackOptions, nodes_of_points, nodes_of_track
from routeplan._line.polyline import Polyline, bounds_of_line
from routeplan._line.waypoint import Waypoint, is_camp
from routeplan.errors import InputError
from routeplan.geodesy import FloatArray, interpolate, inverse, path_length

__all__ = [
    "Leg",
    "LegSamples",
    "Route",
    "Waypoint",
    "is_camp",
    "route_from_points",
    "route_from_track",
]

_MAX_LEGS = 2_000
_MAX_LENGTH_M = 20_000_000.0  # half-way round Earth: longer means wrong coordinates


@dataclass(frozen=True, slots=True, eq=False)
class LegSamples:
    """Points along a leg, both ends included.

    `longitude`, `latitude` (k,) [degrees]; `distance_m` (k,) from the start of the leg [m];
    `course_deg` (k,) the course there in the direction of travel [degrees true], at a vertex
    that of the piece which begins there.
    """

    longitude: FloatArray
    latitude: FloatArray
    distance_m: FloatArray
    course_deg: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Leg:
    """A part of a route between two named points.

    `number` counts from 1 over the whole route, `stage` counts outings from 1.
    `longitude`, `latitude` (m,) are the vertices, m >= 2 [degrees]; `length_m` is the length
    along them and `course_deg` the course of the geodesic from start to end at the start, in
    [0, 360) [degrees true].
    """

    number: int
    start: Waypoint
    end: Waypoint
    longitude: FloatArray
    latitude: FloatArray
    length_m: float
    course_deg: float
    stage: int

    def sample(self, spacing_m: float) -> LegSamples:
        """Place points along the leg, at every vertex and at most `spacing_m` apart.

        Raises
        ------
        InputError
            If the spacing is not a finite number above 0.
        """
        pieces = [
            interpolate(*ends, spacing_m)
            for ends in zip(
                self.longitude[:-1],
                self.latitude[:-1],
                self.longitude[1:],
                self.latitude[1:],
                strict=True,
            )
        ]
        begun = np.cumsum([0.0] + [piece[2][-1] for piece in pieces[:-1]])
        last = len(pieces) - 1
        columns = []
        for column in range(4):
            # A piece's last point is the next one's first; only the very last is kept.
            parts = [p[column] if i == last else p[column][:-1] for i, p in enumerate(pieces)]
            if column == 2:
                parts = [part + shift for part, shift in zip(parts, begun, strict=True)]
            columns.append(np.concatenate(parts))
        return LegSamples(*columns)


@dataclass(frozen=True, slots=True, eq=False)
class Route:
    """Legs in order, with the places of the same file and what was tolerated on reading.

    `origin` is "route" or "track"; `source` names the file; `notes` are sentences for people.
    """

    name: str
    legs: tuple[Leg, ...]
    waypoints: tuple[Waypoint, ...] = ()
    source: str = ""
    origin: str = "route"
    notes: tuple[str, ...] = ()

    @property
    def length_m(self) -> float:
        """Length of all legs. [m]."""
        return float(sum(leg.length_m for leg in self.legs))

    @property
    def longitude(self) -> FloatArray:
        """Longitudes of all vertices, the shared ends of legs once. [degrees]."""
        return np.concatenate(
            [leg.longitude[:-1] for leg in self.legs] + [self.legs[-1].longitude[-1:]]
        )

    @property
    def latitude(self) -> FloatArray:
        """Latitudes of all vertices, the shared ends of legs once. [degrees]."""
        return np.concatenate(
            [leg.latitude[:-1] for leg in self.legs] + [self.legs[-1].latitude[-1:]]
        )

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north of the line. [degrees].

        West is greater than east when the route crosses the antimeridian: (179.0, ..., -179.0)
        is two degrees wide. A line over a pole spans -180..180.
        """
        return bounds_of_line(self.longitude, self.latitude)

    @property
    def points(self) -> tuple[Waypoint, ...]:
        """The named points where legs begin and end, in order."""
        return (self.legs[0].start, *(leg.end for leg in self.legs))

    @property
    def stages(self) -> tuple[tuple[Leg, ...], ...]:
        """Legs of each outing, in order."""
        count = self.legs[-1].stage
        return tuple(
            tuple(leg for leg in self.legs if leg.stage == stage) for stage in range(1, count + 1)
        )

    @property
    def camps(self) -> tuple[Waypoint, ...]:
        """Camps on the route in order, those at its two ends among them."""
        return tuple(point for point in self.points if is_camp(point))

    def reversed(self) -> Route:
        """Turn the route round: the same line, legs and stages counted anew."""
        count, stages = len(self.legs), self.legs[-1].stage
        legs = [
            replace(
                leg,
                number=count + 1 - leg.number,
                start=leg.end,
                end=leg.start,
                longitude=_fixed(leg.longitude[::-1]),
                latitude=_fixed(leg.latitude[::-1]),
                course_deg=float(
                    inverse(leg.longitude[-1], leg.latitude[-1], leg.longitude[0], leg.latitude[0])[
                        0
                    ]
                ),
                stage=stages + 1 - leg.stage,
            )
            for leg in reversed(self.legs)
        ]
        return replace(self, legs=tuple(legs))


def route_from_points(
    points: Sequence[Waypoint],
    *,
    name: str = "",
    waypoints: Sequence[Waypoint] = (),
    source: str = "",
    notes: Sequence[str] = (),
    camp_m: float = 250.0,
) -> Route:
    """Make a route whose legs run between the named points.

    Unnamed points shape the leg they lie on. When no point but the two ends is named, every
    point begins a leg, unless its `kind` is "shape". A camp among the points ends a stage; so
    does a camp among `waypoints` that lies near the line, at the nearest point of the line.

    Parameters
    ----------
    points : sequence of Waypoint
        The line, in order. Points within 0.1 m of the one before are dropped with a note.
    name, source : str
        What the route is called, and where it comes from.
    waypoints : sequence of Waypoint
        Places beside the route.
    notes : sequence of str
        What was tolerated so far.
    camp_m : float
        How near the line a camp of `waypoints` must be. [m]

    Returns
    -------
    Route

    Raises
    ------
    InputError
        If fewer than two points differ, or there are more than 2,000 legs or 20,000 km.
    """
    line, nodes, found = nodes_of_points(points, waypoints, camp_m)
    return _assemble(line, nodes, name, waypoints, source, "route", (*notes, *found))


def route_from_track(
    segments: Sequence[FloatArray],
    waypoints: Sequence[Waypoint] = (),
    *,
    name: str = "",
    source: str = "",
    notes: Sequence[str] = (),
    max_leg_m: float = 5_000.0,
    tolerance_m: float = 50.0,
    min_turn_deg: float = 30.0,
    landmark_m: float = 250.0,
    min_leg_m: float = 500.0,
) -> Route:
    """Make a route from a recorded or drawn track.

    The track is simplified along geodesics, then cut where it passes a landmark, where its
    course changes, and where a leg would become too long. A landmark names its cut; the other
    cuts are called "point 2" and so on. Landmarks are all of `waypoints`; camps go first where
    two lie close together.

    Parameters
    ----------
    segments : sequence of (n, 2) array
        Longitude and latitude of each point. [degrees] Several segments are joined in order
        by geodesics, and the gaps noted.
    waypoints : sequence of Waypoint
        Places beside the track.
    name, source, notes
        As in `route_from_points`.
    max_leg_m : float
        Longest leg. [m]
    tolerance_m : float
        Largest distance of a dropped point from the simplified line. [m]
    min_turn_deg : float
        Change of course that begins a new leg. [degrees]
    landmark_m : float
        How near the line a landmark must be, and how far apart two must be along it. [m]
    min_leg_m : float
        A change of course begins no leg nearer than this to another cut. [m]

    Returns
    -------
    Route

    Raises
    ------
    InputError
        If fewer than two points differ, a position cannot be used, or there are more than
        20,000 turning points, 2,000 legs or 20,000 km.
    """
    options = TrackOptions(max_leg_m, tolerance_m, min_turn_deg, landmark_m, min_leg_m)
    line, nodes, found = nodes_of_track(segments, waypoints, options)
    return _assemble(line, nodes, name, waypoints, source, "track", (*notes, *found))


def _assemble(
    line: Polyline,
    nodes: Sequence[Node],
    name: str,
    waypoints: Sequence[Waypoint],
    source: str,
    origin: str,
    notes: Sequence[str],
) -> Route:
    """Legs between neighbouring nodes; a camp that is not the end begins a new stage."""
    if len(nodes) - 1 > _MAX_LEGS:
        msg = (
            f"{len(nodes) - 1} legs are too many, at most {_MAX_LEGS} are allowed; "
            "name only the points where a leg should begin"
        )
        raise InputError(msg, field="legs", value=len(nodes) - 1)
    if line.length_m > _MAX_LENGTH_M:
        msg = (
            f"a length of {line.length_m / 1000:.0f} km is too long, at most "
            f"{_MAX_LENGTH_M / 1000:.0f} km are allowed; are the coordinates right?"
        )
        raise InputError(msg, field="length_m", value=line.length_m)
    legs: list[Leg] = []
    stage = 1
    for number, (begin, end) in enumerate(itertools.pairwise(nodes), start=1):
        legs.append(_leg(line, begin, end, number, stage))
        stage += is_camp(end.point)
    return Route(name, tuple(legs), tuple(waypoints), source, origin, tuple(notes))


def _leg(line: Polyline, begin: Node, end: Node, number: int, stage: int) -> Leg:
    start, stop = begin.point, end.point
    lon, lat = line.part(begin.along_m, end.along_m)
    lon = np.concatenate([[start.longitude], lon, [stop.longitude]])
    lat = np.concatenate([[start.latitude], lat, [stop.latitude]])
    course, _ = inverse(lon[0], lat[0], lon[-1], lat[-1])
    return Leg(
        number, start, stop, _fixed(lon), _fixed(lat), path_length(lon, lat), float(course), stage
    )


def _fixed(values: FloatArray) -> FloatArray:
    """Copy an array into one that nobody can write to."""
    copy = np.array(values, dtype=float)
    copy.setflags(write=False)
    return copy

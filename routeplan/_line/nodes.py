"""Where legs begin and end: the nodes of a route, from its points or from a track.

Plumbing of `route`.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from routeplan._line.polyline import SAME_M, Polyline, distinct
from routeplan._line.tracksplit import MAX_VERTICES, course_cuts, equal_cuts, simplify
from routeplan._line.waypoint import Waypoint, is_camp
from routeplan.errors import InputError
from routeplan.geodesy import FloatArray, inverse, path_length

__all__ = ["SHAPE", "Node", "TrackOptions", "nodes_of_points", "nodes_of_track"]

_LOOP_SHARE = 0.05  # a leg whose ends lie nearer together than this share of its length
SHAPE = "shape"  # the kind of a point that only shapes a leg
_TOO_FEW = "has only one point; at least two different points are needed"
_NO_LENGTH = "has no length, all its {count} points are the same; two different ones are needed"


@dataclass(frozen=True, slots=True)
class Node:
    """A place on the line where a leg begins or ends; the point lies exactly there."""

    along_m: float
    point: Waypoint


@dataclass(frozen=True, slots=True)
class TrackOptions:
    """How a track is cut; see `route_from_track`."""

    max_leg_m: float
    tolerance_m: float
    min_turn_deg: float
    landmark_m: float
    min_leg_m: float

    def __post_init__(self) -> None:
        for field in self.__slots__:
            value = getattr(self, field)
            if not (np.isfinite(value) and value > 0.0):
                msg = f"{field} {value} is not allowed; it must be a finite number above 0"
                raise InputError(msg, field=field, value=value)


def nodes_of_points(
    points: Sequence[Waypoint], waypoints: Sequence[Waypoint], camp_m: float
) -> tuple[Polyline, list[Node], list[str]]:
    """Line, nodes and notes of a route given by its points."""
    if len(points) < 2:
        msg = f"the route {_TOO_FEW}" if points else "the route has no points"
        raise InputError(msg, field="points", value=len(points))
    if len(points) > MAX_VERTICES:
        msg = f"the route has {len(points)} points; at most {MAX_VERTICES} are allowed"
        raise InputError(msg, field="points", value=len(points))
    merged = _merge_duplicates(points)
    if len(merged) < 2:
        msg = f"the route {_NO_LENGTH.format(count=len(points))}"
        raise InputError(msg, field="points", value=len(points))
    notes = _duplicate_note(len(points) - len(merged))
    line = Polyline(
        np.array([point.longitude for _, point in merged]),
        np.array([point.latitude for _, point in merged]),
    )
    begins = _leg_begins([point for _, point in merged])
    nodes = [Node(float(line.along_m[index]), merged[index][1]) for index in begins]
    # A turning point may be the nearest one to a camp, and a camp passed out and back makes a
    # new loop.
    nodes = _with_camps(line, _open_loops(line, nodes), waypoints, camp_m)
    names = {float(line.along_m[index]): f"point {merged[index][0]}" for index in begins}
    nodes = [_called(node, names.get(node.along_m, "camp")) for node in nodes]
    return line, _open_loops(line, nodes), notes


def nodes_of_track(
    segments: Sequence[FloatArray], waypoints: Sequence[Waypoint], options: TrackOptions
) -> tuple[Polyline, list[Node], list[str]]:
    """Line, nodes and notes of a track."""
    filled = [np.asarray(segment, dtype=float) for segment in segments if len(segment)]
    count = sum(len(segment) for segment in filled)
    if count < 2:
        msg = f"the track {_TOO_FEW}" if count else "the track has no points"
        raise InputError(msg, field="points", value=count)
    lon, lat = np.concatenate(filled).T
    _check_longitudes(lon)
    kept = distinct(lon, lat)
    if len(kept) < 2:
        msg = f"the track {_NO_LENGTH.format(count=count)}"
        raise InputError(msg, field="points", value=count)
    notes = _duplicate_note(count - len(kept)) + _gap_note(filled)
    corners = kept[simplify(lon[kept], lat[kept], options.tolerance_m)]
    line = Polyline(lon[corners], lat[corners])
    if len(corners) < len(kept):
        notes.append(
            f"track of {len(kept)} points simplified to {len(corners)} "
            f"within {options.tolerance_m:g} m"
        )
    return line, _open_loops(line, _track_nodes(line, waypoints, options)), notes


def _merge_duplicates(points: Sequence[Waypoint]) -> list[tuple[int, Waypoint]]:
    """Points without repeats, with their number in the file; a repeat's name is kept."""
    kept = distinct(
        np.array([point.longitude for point in points]),
        np.array([point.latitude for point in points]),
    )
    ends = [*kept[1:], len(points)]
    merged = []
    for begin, end in zip(kept, ends, strict=True):
        same = points[begin:end]
        first = same[0]
        name = next((point.name for point in same if point.name), "")
        camp = next((point for point in same if is_camp(point)), first)
        merged.append(
            (int(begin) + 1, replace(first, name=name, kind=camp.kind, symbol=camp.symbol))
        )
    return merged


def _leg_begins(points: Sequence[Waypoint]) -> list[int]:
    """Find the points where legs begin or end."""
    last = len(points) - 1
    inner = [i for i in range(1, last) if points[i].name or is_camp(points[i])]
    if not inner:
        inner = [i for i in range(1, last) if points[i].kind != SHAPE]
    return [0, *inner, last]


def _with_camps(
    line: Polyline, nodes: list[Node], waypoints: Sequence[Waypoint], camp_m: float
) -> list[Node]:
    """Nodes with the camps near the line: an own node near one becomes it, else a new one."""
    nodes = list(nodes)
    found = _passes(line, filter(is_camp, waypoints), camp_m)
    for camp, along, _ in sorted(found, key=lambda near: near[2]):
        if any(_same_camp(node, camp, along, camp_m) for node in nodes):
            continue
        nearest = min(range(len(nodes)), key=lambda i: abs(nodes[i].along_m - along))
        if abs(nodes[nearest].along_m - along) <= camp_m:
            nodes[nearest] = _as_camp(nodes[nearest], camp)
        else:
            nodes.append(_node_at(line, along, camp))
            nodes.sort(key=lambda node: node.along_m)
    return nodes


def _passes(
    line: Polyline, places: Iterable[Waypoint], within_m: float
) -> list[tuple[Waypoint, float, float]]:
    """Places that the line passes, each with the position along it and the distance."""
    near = list(places)
    found = line.passes(
        np.array([place.longitude for place in near], dtype=float),
        np.array([place.latitude for place in near], dtype=float),
        within_m,
    )
    return [
        (place, along, distance)
        for place, passes in zip(near, found, strict=True)
        for along, distance in passes
    ]


def _same_camp(node: Node, camp: Waypoint, along_m: float, within_m: float) -> bool:
    """Whether a node serves for a camp: one near it, or of its name a little farther along."""
    same_name = camp.name != "" and node.point.name.casefold() == camp.name.casefold()
    reach = 4.0 * within_m if same_name else within_m
    return is_camp(node.point) and abs(node.along_m - along_m) <= reach


def _as_camp(node: Node, camp: Waypoint) -> Node:
    """Turn a node near a camp into one; it keeps its own name and gains the camp's."""
    own, name = node.point.name, camp.name
    if own:
        known = name.casefold() in own.casefold()
        name = own if known else f"{own} ({name})"
    return Node(node.along_m, replace(node.point, name=name, kind="camp", symbol=camp.symbol))


def _track_nodes(
    line: Polyline, waypoints: Sequence[Waypoint], options: TrackOptions
) -> list[Node]:
    landmarks = _landmark_cuts(line, waypoints, options.landmark_m)
    fixed = sorted({0.0, line.length_m, *landmarks})
    cuts = set(fixed)
    for start, end in itertools.pairwise(fixed):
        turns = course_cuts(line, start, end, options.min_turn_deg, options.min_leg_m)
        bounds = [start, *turns, end]
        cuts.update(turns)
        for begin, stop in itertools.pairwise(bounds):
            cuts.update(equal_cuts(begin, stop, options.max_leg_m))
    nodes = [_node_at(line, along, landmarks.get(along)) for along in sorted(cuts)]
    return [_called(node, f"point {number}") for number, node in enumerate(nodes, start=1)]


def _landmark_cuts(
    line: Polyline, waypoints: Sequence[Waypoint], within_m: float
) -> dict[float, Waypoint]:
    """Positions along the line that landmarks name; camps first, then the nearest."""
    named = (place for place in waypoints if place.name or is_camp(place))
    found = _passes(line, named, within_m)
    cuts: dict[float, Waypoint] = {}
    for place, along, _ in sorted(found, key=lambda near: (not is_camp(near[0]), near[2], near[1])):
        # Near an end of the line the landmark names the end.
        end = 0.0 if along < line.length_m / 2.0 else line.length_m
        snapped = end if abs(along - end) <= within_m else along
        if all(abs(snapped - other) > within_m for other in cuts):
            cuts[snapped] = place
    return cuts


def _node_at(line: Polyline, along_m: float, place: Waypoint | None) -> Node:
    """Make a node on the line, with the words of a place beside it."""
    lon, lat = line.locate(along_m)
    if place is None:
        return Node(along_m, Waypoint(lat, lon))
    return Node(along_m, replace(place, latitude=lat, longitude=lon, elevation_m=None))


def _open_loops(line: Polyline, nodes: list[Node]) -> list[Node]:
    """Cut legs that return to where they began at their farthest vertex.

    From start to end of such a leg there is no course, or one that says nothing.
    """
    opened = [nodes[0]]
    for node in nodes[1:]:
        before = opened[-1]
        start = before.point.longitude, before.point.latitude
        lon, lat = line.part(before.along_m, node.along_m)
        _, apart = inverse(*start, node.point.longitude, node.point.latitude)
        if len(lon) and apart < _LOOP_SHARE * (node.along_m - before.along_m):
            far = int(np.argmax(inverse(*start, lon, lat)[1]))
            first = int(np.searchsorted(line.along_m, before.along_m + SAME_M / 2, side="right"))
            turning = Waypoint(float(lat[far]), float(lon[far]), name="turning point")
            opened.append(Node(float(line.along_m[first + far]), turning))
        opened.append(node)
    return opened


def _called(node: Node, name: str) -> Node:
    return node if node.point.name else Node(node.along_m, replace(node.point, name=name))


def _check_longitudes(lon: FloatArray) -> None:
    """Latitudes and nan are refused by the geodesy; longitudes there may lie in any turn."""
    bad = ~(np.abs(lon) <= 180.0)
    if bad.any():
        value = float(lon[bad][0])
        msg = f"longitude {value} is outside -180..180"
        raise InputError(msg, field="longitude", value=value)


def _duplicate_note(count: int) -> list[str]:
    if not count:
        return []
    return [f"{count} duplicate point{'s' if count > 1 else ''} dropped"]


def _gap_note(segments: Sequence[FloatArray]) -> list[str]:
    """One note on the gaps of more than a metre between segments."""
    gaps = [
        path_length([before[-1][0], after[0][0]], [before[-1][1], after[0][1]])
        for before, after in itertools.pairwise(segments)
    ]
    wide = [gap for gap in gaps if gap > 1.0]
    if not wide:
        return []
    if len(wide) == 1:
        return [f"a gap of {wide[0]:.0f} m between track segments joined by a straight line"]
    return [
        f"{len(wide)} gaps between track segments joined by straight lines, "
        f"the longest {max(wide):.0f} m"
    ]

"""Simplifying a recorded track and choosing where its legs begin. Plumbing of `route`."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from routeplan._line.polyline import Polyline
from routeplan.errors import InputError
from routeplan.geodesy import FloatArray, cartesian, inverse

__all__ = ["MAX_VERTICES", "course_cuts", "equal_cuts", "simplify"]

MAX_VERTICES = 20_000  # of one line: beyond it every later step would crawl
_CHUNK = 2_000  # points simplified at once; bounds the work on a track made to be slow
_THIN_SHARE = 0.1  # of the tolerance is spent on dropping points next to each other


def simplify(lon: FloatArray, lat: FloatArray, tolerance_m: float) -> npt.NDArray[np.intp]:
    """Choose the points of a track that keep its shape.

    Ramer-Douglas-Peucker on the ellipsoid: the distance of a point from the geodesic between
    two kept points is taken from the plane through both that holds the ellipsoid's normal
    halfway, in Cartesian coordinates, hence right at every latitude and across the
    antimeridian. That plane leaves the geodesic by less than 1 m up to 500 km.

    Parameters
    ----------
    lon, lat : (n,) array, n >= 2
        Points of the track. [degrees]
    tolerance_m : float
        No dropped point lies farther than this from the simplified line. [m]

    Returns
    -------
    (k,) array of int
        Indices of the kept points, the ends among them.

    Raises
    ------
    InputError
        If more than 20,000 points remain.

    References
    ----------
    D. H. Douglas and T. K. Peucker, "Algorithms for the reduction of the number of points
    required to represent a digitized line or its caricature", Cartographica 10(2), 1973,
    doi:10.3138/FM57-6770-U75U-7727.
    """
    kept = _thin(cartesian(lon, lat), _THIN_SHARE * tolerance_m)
    place = cartesian(lon[kept], lat[kept])
    normal = _normals(lon[kept], lat[kept])
    keep = np.zeros(len(kept), dtype=bool)
    for first in range(0, len(kept) - 1, _CHUNK):
        last = min(first + _CHUNK, len(kept) - 1)
        _mark(place, normal, keep, first, last, (1.0 - _THIN_SHARE) * tolerance_m)
        if np.count_nonzero(keep) > MAX_VERTICES:
            msg = (
                f"the track still has more than {MAX_VERTICES} turning points after "
                f"simplification to {tolerance_m:g} m; split it into shorter tracks"
            )
            raise InputError(msg, field="track")
    return kept[keep]


def course_cuts(
    line: Polyline, start_m: float, end_m: float, min_turn_deg: float, min_leg_m: float
) -> list[float]:
    """Positions where the course leaves that of the leg so far, between two given cuts.

    The course ahead of a vertex is compared with the course from the beginning of the leg to
    it, so that many small turns in one direction count as the change they add up to.

    Returns
    -------
    list of float
        Positions along the line, ascending, none within `min_leg_m` of another cut. [m]
    """
    lon, lat = line.longitude, line.latitude
    cuts: list[float] = []
    begin_m, begin = start_m, line.locate(start_m)
    for vertex in range(1, len(lon) - 1):
        here = float(line.along_m[vertex])
        if here - begin_m < min_leg_m or end_m - here < min_leg_m:
            continue
        so_far = float(inverse(lon[vertex], lat[vertex], *begin)[0]) - 180.0
        turn = abs((float(line.pieces[0][vertex]) - so_far + 180.0) % 360.0 - 180.0)
        if turn >= min_turn_deg:
            cuts.append(here)
            begin_m, begin = here, (float(lon[vertex]), float(lat[vertex]))
    return cuts


def equal_cuts(start_m: float, end_m: float, max_leg_m: float) -> list[float]:
    """Positions that divide a stretch into the fewest equal parts of at most `max_leg_m`. [m]."""
    parts = int(np.ceil((end_m - start_m) / max_leg_m - 1e-9))
    return [float(cut) for cut in np.linspace(start_m, end_m, max(parts, 1) + 1)[1:-1]]


def _thin(place: FloatArray, spacing_m: float) -> npt.NDArray[np.intp]:
    """Drop points nearer than `spacing_m` to the last kept one; both ends stay."""
    rows = place.tolist()
    kept = [0]
    x, y, z = rows[0]
    limit = spacing_m * spacing_m
    for index, (a, b, c) in enumerate(rows[1:-1], start=1):
        if (a - x) ** 2 + (b - y) ** 2 + (c - z) ** 2 > limit:
            kept.append(index)
            x, y, z = a, b, c
    kept.append(len(rows) - 1)
    return np.asarray(kept, dtype=np.intp)


def _normals(lon: FloatArray, lat: FloatArray) -> FloatArray:
    """Give the unit normals of the ellipsoid, (n, 3)."""
    lam, phi = np.radians(lon), np.radians(lat)
    return np.stack([np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)], axis=-1)


def _mark(
    place: FloatArray,
    normal: FloatArray,
    keep: npt.NDArray[np.bool_],
    first: int,
    last: int,
    tolerance_m: float,
) -> None:
    """Mark in `keep` the points between two indices that the shape needs."""
    keep[[first, last]] = True
    stack = [(first, last)]
    while stack:
        begin, end = stack.pop()
        if end - begin < 2:
            continue
        up = normal[begin] + normal[end]
        away = _distances(place[begin + 1 : end], place[begin], place[end], up)
        farthest = int(np.argmax(away))
        if away[farthest] > tolerance_m:
            middle = begin + 1 + farthest
            keep[middle] = True
            stack += [(begin, middle), (middle, end)]


def _distances(
    points: FloatArray, start: FloatArray, end: FloatArray, up: FloatArray
) -> FloatArray:
    """Distance of points from the geodesic between two others, past its ends from the ends."""
    offset = points - start
    chord = end - start
    length = float(np.linalg.norm(chord))
    across = np.cross(chord, up)
    width = float(np.linalg.norm(across))
    from_start: FloatArray = np.linalg.norm(offset, axis=1)
    if length < 1.0 or width < 1e-6 * length:  # a closed loop, or ends on opposite sides of Earth
        return from_start
    lateral = np.abs(offset @ (across / width))
    along = offset @ (chord / length)
    from_end = np.linalg.norm(points - end, axis=1)
    past = np.where(along > length, from_end, lateral)
    return np.asarray(np.where(along < 0.0, from_start, past))

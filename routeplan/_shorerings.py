"""Rings of shoreline, and the edges of them that really are shoreline, on the ellipsoid.

A ring or chain is a row of points, each edge straight in longitude and latitude (OGC simple
features). Here its points become Earth-centred, Earth-fixed coordinates (ECEF) at height zero in
whole units of 1/256 m, where the antimeridian and the poles are places like any other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = [
    "EQUATOR_M",
    "FLATTENING",
    "UNITS_PER_M",
    "Rings",
    "Strokes",
    "clockwise",
    "ecef",
    "strokes",
]

EQUATOR_M = 6_378_137.0  # WGS84 semi-major axis a, exact (NGA.STND.0036)
FLATTENING = 1.0 / 298.257223563  # WGS84, exact (NGA.STND.0036)
UNITS_PER_M = 256  # the whole Earth fits in 32-bit integers: 6378137 * 256 < 2**31
_MAX_CHORD_M = 1000.0  # sagitta of a chord of 1 km: 2 cm
_MAX_BEND = 100.0  # the tangent of the latitude 64 km from a pole
_CHUNK = 1 << 20

IntArray = npt.NDArray[np.int32]


@dataclass(frozen=True, slots=True, eq=False)
class Rings:
    """Rings or open chains of longitude and latitude [degrees].

    lonlat : (n, 2) points; offsets : (r + 1,) where each ring begins and ends; a ring repeats
    its first point at its end.
    level : (r,) how deep a ring lies: 1 land, 2 lake in it, 3 island in that, 4 pond on that.
    turned : (r,) True where the points must be read backwards to have land on the left.
    """

    lonlat: npt.NDArray[np.floating]
    offsets: npt.NDArray[np.int64]
    level: npt.NDArray[np.int8]
    turned: npt.NDArray[np.bool_]

    @property
    def water(self) -> npt.NDArray[np.bool_]:
        """Which rings hold water."""
        return np.asarray(self.level % 2 == 0, np.bool_)


@dataclass(frozen=True, slots=True, eq=False)
class Strokes:
    """Points in shoreline order and which of them are joined.

    xyz : (n, 3) int32 ECEF [1/256 m]; joined : (n,) True where a shoreline edge runs from point
    i to point i + 1, with land on its left.
    """

    xyz: IntArray
    joined: npt.NDArray[np.bool_]


def clockwise(
    lonlat: npt.NDArray[np.floating], offsets: npt.NDArray[np.int64]
) -> npt.NDArray[np.bool_]:
    """Which rings run clockwise in longitude and latitude."""
    twice_area = np.zeros(len(offsets) - 1)
    ring = 0
    while ring < len(offsets) - 1:
        after = int(np.searchsorted(offsets, offsets[ring] + _CHUNK, side="right")) - 1
        after = max(after, ring + 1)
        here = offsets[ring : after + 1] - offsets[ring]
        points = np.asarray(lonlat[offsets[ring] : offsets[after]], np.float64)
        points = points - np.repeat(points[here[:-1]], np.diff(here), axis=0)
        x, y = points.T
        # the product from the end of one ring to the start of the next is zero
        cross = np.zeros(len(points))
        cross[:-1] = x[:-1] * y[1:] - x[1:] * y[:-1]
        twice_area[ring:after] = np.add.reduceat(cross, here[:-1])
        ring = after
    return np.asarray(twice_area < 0.0)


def ecef(lonlat: npt.NDArray[np.floating]) -> IntArray:
    """Turn (n, 2) longitude and latitude [degrees] into (n, 3) ECEF [1/256 m], height zero."""
    out = np.empty((len(lonlat), 3), np.int32)
    squared = FLATTENING * (2.0 - FLATTENING)
    for first in range(0, len(lonlat), _CHUNK):
        lon, lat = np.radians(np.asarray(lonlat[first : first + _CHUNK], np.float64)).T
        sin_lat, cos_lat = np.sin(lat), np.cos(lat)
        prime = EQUATOR_M * UNITS_PER_M / np.sqrt(1.0 - squared * sin_lat * sin_lat)
        part = out[first : first + _CHUNK]
        ring = prime * cos_lat
        part[:, 0] = np.rint(ring * np.cos(lon))
        part[:, 1] = np.rint(ring * np.sin(lon))
        part[:, 2] = np.rint(prime * (1.0 - squared) * sin_lat)
    return out


def strokes(rings: Rings) -> Strokes:
    """Orient the rings, leave out edges that are not shoreline and cut long ones."""
    xyz = ecef(rings.lonlat)
    order = _reversal(rings)
    if order is not None:
        where, source = order
        xyz[where] = xyz[source]
    joined = np.ones(len(xyz), np.bool_)
    joined[rings.offsets[1:] - 1] = False
    joined[:-1] &= (xyz[1:] != xyz[:-1]).any(axis=1)
    _drop_cancelling(xyz, joined)
    return _cut_long(rings, xyz, joined)


def _reversal(rings: Rings) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]] | None:
    """Where points of turned rings lie, and from where they come when those rings turn round."""
    turned = np.flatnonzero(rings.turned)
    if not turned.size:
        return None
    first, last = rings.offsets[turned], rings.offsets[turned + 1]
    count = last - first
    mirror = np.repeat(first + last - 1, count)
    where = np.arange(count.sum()) + np.repeat(first - (np.cumsum(count) - count), count)
    return where, mirror - where


def _drop_cancelling(xyz: IntArray, joined: npt.NDArray[np.bool_]) -> None:
    """Unjoin edges that are there in both directions: they have the same on both sides.

    Such are all cuts that a source makes through land or water: along the antimeridian, along
    Greenwich to the pole in Antarctica, and where a lake that is a wide river mouth touches the
    coast. Nothing need be known about where a source cuts.
    """
    edge = np.flatnonzero(joined)
    key = _point_keys(xyz)
    low, high = key[edge], key[edge + 1]
    # the sum does not tell a -> b from b -> a
    both = low + high
    ordered = np.sort(both)
    twice = ordered[1:][ordered[1:] == ordered[:-1]]
    if not twice.size:
        return
    place = np.searchsorted(twice, both)
    place[place == len(twice)] = 0
    some = edge[twice[place] == both]
    balance: dict[tuple[bytes, bytes], list[int]] = {}
    for i in some.tolist():
        ends = xyz[i].tobytes(), xyz[i + 1].tobytes()
        opposite = balance.get((ends[1], ends[0]))
        if opposite:
            joined[[i, opposite.pop()]] = False
        else:
            balance.setdefault(ends, []).append(i)


def _point_keys(xyz: IntArray) -> npt.NDArray[np.uint64]:
    """Scramble each point into 64 bits."""
    key = xyz[:, 0].astype(np.uint32).astype(np.uint64)
    for axis in (1, 2):
        key *= np.uint64(0x9E3779B97F4A7C15)
        key ^= key >> np.uint64(32)
        key += xyz[:, axis].astype(np.uint32)
    key *= np.uint64(0xD6E8FEB86659FD93)
    key ^= key >> np.uint64(29)
    return key


def _cut_long(rings: Rings, xyz: IntArray, joined: npt.NDArray[np.bool_]) -> Strokes:
    """Cut edges so that chords stay within a few centimetres of the edge.

    A chord of length L sags L^2 / 8R below the ellipsoid, and an edge straight in longitude and
    latitude bends from it sideways by at most about L^2 tan(latitude) / 8R.
    """
    step = np.diff(xyz, axis=0).astype(np.float32)
    length = np.sqrt((step * step).sum(axis=1)) / np.float32(UNITS_PER_M)
    latitude = np.arcsin(np.clip(xyz[:-1, 2] / (EQUATOR_M * UNITS_PER_M), -1.0, 1.0))
    bend = np.sqrt(np.clip(np.abs(np.tan(latitude)), 1.0, _MAX_BEND)).astype(np.float32)
    pieces = np.ceil(length * bend / np.float32(_MAX_CHORD_M)).astype(np.int64)
    long = np.flatnonzero(joined[:-1] & (pieces > 1))
    if not long.size:
        return Strokes(xyz, joined)
    added = pieces[long] - 1
    at = np.repeat(long, added)
    share = (np.arange(added.sum()) - np.repeat(np.cumsum(added) - added, added) + 1.0) / np.repeat(
        pieces[long], added
    )
    start, end = _ends(rings, at)
    between = ecef(start + (end - start) * share[:, None])
    return Strokes(np.insert(xyz, at + 1, between, axis=0), np.insert(joined, at + 1, True))


def _ends(
    rings: Rings, edge: npt.NDArray[np.int64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Longitude and latitude of both ends of edges, which are numbered as after orientation."""
    ring = np.searchsorted(rings.offsets, edge, side="right") - 1
    turned = rings.turned[ring]
    mirror = rings.offsets[ring] + rings.offsets[ring + 1] - 1
    first = np.where(turned, mirror - edge, edge)
    second = np.where(turned, mirror - edge - 1, edge + 1)
    return rings.lonlat[first].astype(np.float64), rings.lonlat[second].astype(np.float64)

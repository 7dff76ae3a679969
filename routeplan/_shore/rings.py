"""Rings of shoreline, and the edges of them that really are shoreline, on the ellipsoid.

A ring or chain is a row of points, each edge straight in longitude and latitude (OGC simple
features). Here its points become Earth-centred, Earth-fixed coordinates (ECEF) at height zero in
whole units of 1/256 m, where the antimeridian and the poles are places like any other.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
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
    "in_chunks",
    "strokes",
]

EQUATOR_M = 6_378_137.0  # WGS84 semi-major axis a, exact (NGA.STND.0036)
FLATTENING = 1.0 / 298.257223563  # WGS84, exact (NGA.STND.0036)
UNITS_PER_M = 256  # the whole Earth fits in 32-bit integers: 6378137 * 256 < 2**31
_MAX_CHORD_M = 1000.0  # sagitta of a chord of 1 km: 2 cm
_LARGEST_BEND = 10.0  # root of the tangent of latitude: 64 km from a pole
_FACTORS = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)
_CHUNK = 1 << 16
_THREADS = 2

IntArray = npt.NDArray[np.int32]
IndexArray = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]


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
    turned: Flags


@dataclass(frozen=True, slots=True, eq=False)
class Strokes:
    """Points, their order along the shoreline and which of them are joined.

    xyz : (3, n) int32 ECEF [1/256 m]; sequence : (m,) int32 numbers of points; joined : (m,)
    True where a shoreline edge runs on to the next point of the sequence, land on its right.
    """

    xyz: IntArray
    sequence: IntArray
    joined: Flags


def clockwise(lonlat: npt.NDArray[np.floating], offsets: npt.NDArray[np.int64]) -> Flags:
    """Which rings run clockwise in longitude and latitude."""
    twice_area = np.zeros(len(offsets) - 1)
    ring = 0
    while ring < len(offsets) - 1:
        after = int(np.searchsorted(offsets, offsets[ring] + _CHUNK, side="right")) - 1
        after = max(after, ring + 1)
        here = offsets[ring : after + 1] - offsets[ring]
        part = lonlat[offsets[ring] : offsets[after]]
        # from each ring's own first point, so that small rings far from zero keep their digits
        x, y = (
            part[:, k].astype(np.float64) - np.repeat(part[here[:-1], k], np.diff(here))
            for k in (0, 1)
        )
        # the product from the end of one ring to the start of the next is zero
        cross = np.zeros(len(x))
        cross[:-1] = x[:-1] * y[1:] - x[1:] * y[:-1]
        twice_area[ring:after] = np.add.reduceat(cross, here[:-1])
        ring = after
    return np.asarray(twice_area < 0.0)


def ecef(lonlat: npt.NDArray[np.floating]) -> IntArray:
    """Turn (n, 2) longitude and latitude [degrees] into (3, n) ECEF [1/256 m], height zero."""
    out = np.empty((3, len(lonlat)), np.int32)
    squared = FLATTENING * (2.0 - FLATTENING)

    def fill(first: int, last: int) -> None:
        part = lonlat[first:last]
        lon, lat = (np.radians(part[:, k].astype(np.float64)) for k in (0, 1))
        sin_lat = np.sin(lat)
        prime = EQUATOR_M * UNITS_PER_M / np.sqrt(1.0 - squared * sin_lat * sin_lat)
        here = out[:, first:last]
        here[2] = np.rint(prime * (1.0 - squared) * sin_lat)
        prime *= np.cos(lat)
        here[0] = np.rint(prime * np.cos(lon))
        here[1] = np.rint(prime * np.sin(lon))

    in_chunks(len(lonlat), fill)
    return out


def strokes(rings: Rings) -> Strokes:
    """Orient the rings, leave out edges that are not shoreline and cut long ones."""
    xyz = ecef(rings.lonlat)
    where, source = _reversal(rings)
    if len(where):
        xyz[:, where] = xyz[:, source]
    joined = np.ones(xyz.shape[1], np.bool_)
    joined[rings.offsets[1:] - 1] = False
    same = (xyz[0, 1:] == xyz[0, :-1]) & (xyz[1, 1:] == xyz[1, :-1])
    joined[:-1] &= ~(same & (xyz[2, 1:] == xyz[2, :-1]))
    _drop_cancelling(xyz, joined)
    return _cut_long(rings, xyz, joined)


def in_chunks(count: int, work: Callable[[int, int], None], size: int = _CHUNK) -> None:
    """Call `work(first, last)` on parts of 0..count; numpy lets two run at once."""
    firsts = range(0, count, size)
    with ThreadPoolExecutor(_THREADS) as pool:
        list(pool.map(lambda first: work(first, min(count, first + size)), firsts))


def _reversal(rings: Rings) -> tuple[IndexArray, IndexArray]:
    """Where points lie whose rings have land on the left, and whence they come turned round.

    Land on the right is what the index wants: GSHHG and shapefiles
    run that way, so that little must be moved.
    """
    left = np.flatnonzero(~rings.turned)
    first, last = rings.offsets[left], rings.offsets[left + 1]
    count = last - first
    mirror = np.repeat(first + last - 1, count)
    where = np.arange(count.sum()) + np.repeat(first - (np.cumsum(count) - count), count)
    return where, mirror - where


def _drop_cancelling(xyz: IntArray, joined: Flags) -> None:
    """Unjoin edges that are there in both directions: they have the same on both sides.

    Such are all cuts that a source makes through land or water: along the antimeridian, along
    Greenwich to the pole in Antarctica, and where a lake that is a wide river mouth touches the
    coast. Nothing need be known about where a source cuts.
    """
    balance: dict[tuple[bytes, bytes], list[int]] = {}
    for i in _perhaps_twice(xyz, joined).tolist():
        ends = xyz[:, i].tobytes(), xyz[:, i + 1].tobytes()
        opposite = balance.get((ends[1], ends[0]))
        if opposite:
            joined[[i, opposite.pop()]] = False
        else:
            balance.setdefault(ends, []).append(i)


def _perhaps_twice(xyz: IntArray, joined: Flags) -> IndexArray:
    """Edges that share a number made of both ends, in either direction, with another edge."""
    number = np.empty(xyz.shape[1] - 1, np.uint64)

    def fill(first: int, last: int) -> None:
        mixed = np.zeros(last - first + 1, np.uint64)
        for row, factor in zip(xyz, _FACTORS, strict=True):
            mixed += row[first : last + 1].astype(np.uint64) * np.uint64(factor)
        # a -> b and b -> a have the same sum
        np.add(mixed[:-1], mixed[1:], out=number[first:last])

    in_chunks(len(number), fill)
    ordered = np.sort(number)
    twice = ordered[1:][ordered[1:] == ordered[:-1]]
    # most edges are told apart by a few bits, which is faster than to look for them all
    seen = np.zeros(1 << 16, np.bool_)
    seen[twice >> np.uint64(48)] = True
    maybe = joined[:-1].copy()

    def rule_out(first: int, last: int) -> None:
        maybe[first:last] &= seen[number[first:last] >> np.uint64(48)]

    in_chunks(len(number), rule_out)
    edge = np.flatnonzero(maybe)
    return edge[np.isin(number[edge], twice)]


def _cut_long(rings: Rings, xyz: IntArray, joined: Flags) -> Strokes:
    """Cut edges so that chords stay within a few centimetres of the edge.

    A chord of length L sags L^2 / 8R below the ellipsoid, and an edge straight in longitude and
    latitude bends from it sideways by at most about L^2 tan(latitude) / 8R.
    """
    long, pieces = _long_edges(xyz, joined)
    added = pieces - 1
    at = np.repeat(long, added)
    nth = np.arange(added.sum()) - np.repeat(np.cumsum(added) - added, added) + 1.0
    start, end = _ends(rings, at)
    between = ecef(start + (end - start) * (nth / np.repeat(pieces, added))[:, None])
    count = xyz.shape[1]
    numbers = np.arange(count, count + len(at), dtype=np.int32)
    sequence = np.insert(np.arange(count, dtype=np.int32), at + 1, numbers)
    return Strokes(
        np.concatenate([xyz, between], axis=1), sequence, np.insert(joined, at + 1, True)
    )


def _long_edges(xyz: IntArray, joined: Flags) -> tuple[IndexArray, IndexArray]:
    """Edges to cut, and into how many pieces."""
    pieces = np.ones(xyz.shape[1] - 1, np.int32)

    def measure(first: int, last: int) -> None:
        x, y, z = (row[first : last + 1].astype(np.float32) for row in xyz)
        squared = sum(
            (row[first + 1 : last + 1] - row[first:last]).astype(np.float32) ** 2 for row in xyz
        )
        tangent = np.abs(z) / np.maximum(np.sqrt(x * x + y * y), np.float32(1.0))
        bend = np.clip(tangent[:-1], 1.0, _LARGEST_BEND**2)
        steps = np.sqrt(squared * bend) / np.float32(_MAX_CHORD_M * UNITS_PER_M)
        pieces[first:last] = np.ceil(np.where(joined[first:last], steps, 1.0))

    in_chunks(len(pieces), measure)
    long = np.flatnonzero(pieces > 1)
    return long, pieces[long].astype(np.int64)


def _ends(
    rings: Rings, edge: npt.NDArray[np.int64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Longitude and latitude of both ends of edges, which are numbered as after orientation."""
    ring = np.searchsorted(rings.offsets, edge, side="right") - 1
    turned = ~rings.turned[ring]
    mirror = rings.offsets[ring] + rings.offsets[ring + 1] - 1
    first = np.where(turned, mirror - edge, edge)
    second = np.where(turned, mirror - edge - 1, edge + 1)
    return rings.lonlat[first].astype(np.float64), rings.lonlat[second].astype(np.float64)

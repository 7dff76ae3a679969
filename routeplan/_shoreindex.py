"""The index of shoreline edges: short runs of edges, in a tree of bounding spheres.

Edges in shoreline order are cut into runs of at most 16; runs are sorted along a Hilbert curve
on the faces of a cube around the Earth; eight neighbours share a bounding sphere, eight such
spheres a larger one, and so on. All in ECEF coordinates, so that the antimeridian and the poles
need no special care and no projection is chosen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from routeplan._shorerings import UNITS_PER_M, Strokes

__all__ = ["FAN", "RUN_EDGES", "ShoreIndex", "build_index"]

FAN = 8
RUN_EDGES = 16
_MARGIN_M = 4.0  # covers rounding of sphere centres and of queries to 32-bit floats
_HILBERT_BITS = 20


@dataclass(frozen=True, slots=True, eq=False)
class ShoreIndex:
    """Arrays of the index; all are read-only, in memory or mapped from a file.

    points : (3 p,) int32 ECEF [1/256 m]; run i holds the points first[i] to first[i + 1], first
    all x, then all y, then all z, beginning at 3 * first[i].
    first : (runs + 1,) int64.
    spheres : (blocks, 4, 8) float32, x, y, z and radius [m] of eight spheres, the radius
    negative where there is none; the last block is the root.
    child : (blocks,) int64, the block under the first sphere of a block (the next spheres have
    the blocks that follow), or the number of the first run minus the number of runs where the
    spheres hold runs (so that it is negative).
    """

    points: npt.NDArray[np.int32]
    first: npt.NDArray[np.int64]
    spheres: npt.NDArray[np.float32]
    child: npt.NDArray[np.int64]

    @property
    def arrays(
        self,
    ) -> tuple[
        npt.NDArray[np.int32],
        npt.NDArray[np.int64],
        npt.NDArray[np.float32],
        npt.NDArray[np.int64],
    ]:
        """The arrays in the order in which the kernels take them."""
        return self.points, self.first, self.spheres, self.child


def build_index(strokes: Strokes) -> ShoreIndex:
    """Sort the edges of `strokes` into an index."""
    start, edges = _runs(strokes.joined)
    order = np.argsort(_hilbert(strokes.xyz[start + edges // 2]), kind="stable")
    start, count = start[order], edges[order] + 1
    first = np.concatenate([[0], np.cumsum(count)])
    inner = np.arange(first[-1]) - np.repeat(first[:-1], count)
    gathered = strokes.xyz[np.repeat(start, count) + inner]
    points = np.empty(3 * len(gathered), np.int32)
    base = 3 * np.repeat(first[:-1], count) + inner
    for axis in range(3):
        points[base + axis * np.repeat(count, count)] = gathered[:, axis]
    centre, radius = _run_spheres(gathered, first)
    spheres, child = _tree(centre, radius)
    for array in (points, first, spheres, child):
        array.flags.writeable = False
    return ShoreIndex(points, first, spheres, child)


def _runs(joined: npt.NDArray[np.bool_]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    """First point and number of edges of each run, of nearly equal length along a stretch."""
    change = np.diff(joined.astype(np.int8), prepend=0, append=0)
    begin, end = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    length = end - begin
    runs = -(-length // RUN_EDGES)
    which = np.arange(runs.sum()) - np.repeat(np.cumsum(runs) - runs, runs)
    length, parts = np.repeat(length, runs), np.repeat(runs, runs)
    low, high = which * length // parts, (which + 1) * length // parts
    return np.repeat(begin, runs) + low, high - low


def _hilbert(xyz: npt.NDArray[np.int32]) -> npt.NDArray[np.int64]:
    """Position of points along a Hilbert curve on the six faces of a cube around the Earth."""
    p = xyz.astype(np.float64)
    axis = np.abs(p).argmax(axis=1)
    rows = np.arange(len(p))
    main = p[rows, axis]
    scale = (1 << _HILBERT_BITS) - 1
    # the arc tangent makes cells of about equal size
    flat = [
        ((np.arctan2(p[rows, (axis + k) % 3], np.abs(main)) / np.pi * 2.0 + 0.5) * scale)
        for k in (1, 2)
    ]
    x, y = (np.clip(f, 0, scale).astype(np.int64) for f in flat)
    place = np.zeros(len(p), np.int64)
    side = 1 << (_HILBERT_BITS - 1)
    while side:
        right, up = (x & side) > 0, (y & side) > 0
        place += side * side * ((3 * right) ^ up)
        # turn the quadrant so that the curve joins up
        flip = ~up & right
        x, y = np.where(flip, scale - x, x), np.where(flip, scale - y, y)
        x, y = np.where(up, x, y), np.where(up, y, x)
        side >>= 1
    return np.asarray(((2 * axis + (main < 0)) << (2 * _HILBERT_BITS)) + place)


def _run_spheres(
    gathered: npt.NDArray[np.int32], first: npt.NDArray[np.int64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Bounding sphere of each run [m]; a chord lies in the sphere that holds its ends."""
    low = np.minimum.reduceat(gathered, first[:-1])
    high = np.maximum.reduceat(gathered, first[:-1])
    centre = (low.astype(np.float64) + high) / (2 * UNITS_PER_M)
    away = gathered / UNITS_PER_M - np.repeat(centre, np.diff(first), axis=0)
    squared = np.maximum.reduceat((away * away).sum(axis=1), first[:-1])
    return centre, np.sqrt(squared)


def _tree(
    centre: npt.NDArray[np.float64], radius: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.int64]]:
    """Pack spheres of runs into blocks of eight, level by level up to one root block."""
    runs = len(centre)
    blocks = [_pack(centre, radius)]
    child = [np.arange(len(blocks[0]), dtype=np.int64) * FAN - runs]
    span, below = FAN, 0
    while len(blocks[-1]) > 1:
        starts = np.arange(0, runs, span)
        low = np.minimum.reduceat(centre - radius[:, None], starts)
        high = np.maximum.reduceat(centre + radius[:, None], starts)
        middle = (low + high) / 2
        which = np.arange(runs) // span
        reach = np.linalg.norm(centre - middle[which], axis=1) + radius
        blocks.append(_pack(middle, np.maximum.reduceat(reach, starts)))
        child.append(below + np.arange(len(blocks[-1]), dtype=np.int64) * FAN)
        below += len(blocks[-2])
        span *= FAN
    return np.concatenate(blocks), np.concatenate(child)


def _pack(
    centre: npt.NDArray[np.float64], radius: npt.NDArray[np.float64]
) -> npt.NDArray[np.float32]:
    """Put spheres into blocks of eight as 32-bit floats, rounded outward."""
    count = -(-len(centre) // FAN)
    flat = np.zeros((count * FAN, 4), np.float32)
    flat[:, 3] = -1.0
    flat[: len(centre), :3] = centre
    flat[: len(centre), 3] = radius * (1.0 + 1e-6) + _MARGIN_M
    return np.ascontiguousarray(flat.reshape(count, FAN, 4).transpose(0, 2, 1))

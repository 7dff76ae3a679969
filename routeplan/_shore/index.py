"""The index of shoreline edges: short runs of edges, in a tree of bounding spheres.

Edges in shoreline order are cut into runs of at most 16. Runs are sorted so that eight
neighbours, their eight neighbourhoods and so on are compact: halves along the longest side, over
and over. Eight runs share a bounding sphere, eight such spheres a larger one, up to one root.
All in ECEF coordinates, so that the antimeridian and the poles need no special care and no
projection is chosen.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from routeplan._shore.rings import UNITS_PER_M, Strokes, in_chunks
from routeplan.errors import InputError

__all__ = ["FAN", "RUN_EDGES", "ShoreIndex", "build_index"]

FAN = 8
RUN_EDGES = 16
_MARGIN_M = 4.0  # covers rounding of sphere centres and of queries to 32-bit floats
_CHUNK_RUNS = 1 << 14
_BATCH = 512  # runs; below this all neighbourhoods are halved at once

IntArray = npt.NDArray[np.int64]
FloatArray = npt.NDArray[np.float64]


class ShoreIndex(NamedTuple):
    """Arrays of the index; all are read-only, in memory or mapped from a file.

    x, y, z : (p,) int32 ECEF [1/256 m]; run i holds the points first[i] to first[i + 1].
    first : (runs + 1,) int64.
    spheres : (32 blocks,) float32; each block holds eight x, eight y, eight z and eight radii
    [m], the radius negative where there is no sphere; the last block is the root.
    child : (blocks,) int64, the block under the first sphere of a block (the next spheres have
    the blocks that follow), or the number of the first run minus the number of runs where the
    spheres hold runs (so that it is negative).
    """

    x: npt.NDArray[np.int32]
    y: npt.NDArray[np.int32]
    z: npt.NDArray[np.int32]
    first: IntArray
    spheres: npt.NDArray[np.float32]
    child: IntArray


def build_index(strokes: Strokes) -> ShoreIndex:
    """Sort the edges of `strokes` into an index.

    Raises
    ------
    InputError
        If there is no edge at all.
    """
    if not strokes.joined.any():
        msg = "coastline: has no shoreline: its polygons or lines have no extent"
        raise InputError(msg, field="coastline")
    start, edges = _runs(strokes.joined)
    order = _compact_order(strokes.xyz[:, strokes.sequence[start + edges // 2]])
    start, count = start[order], edges[order] + 1
    first = np.concatenate([[0], np.cumsum(count)])
    points = tuple(np.empty(first[-1], np.int32) for _ in range(3))
    centre, radius = np.empty((len(count), 3)), np.empty(len(count))

    def fill(low: int, high: int) -> None:
        begin, end = first[low], first[high]
        place = np.repeat(start[low:high] - first[low:high], count[low:high])
        source = strokes.sequence[place + np.arange(begin, end)]
        here = [np.take(row, source) for row in strokes.xyz]
        for whole, part in zip(points, here, strict=True):
            whole[begin:end] = part
        centre[low:high], radius[low:high] = _run_spheres(here, first[low : high + 1] - begin)

    in_chunks(len(count), fill, _CHUNK_RUNS)
    spheres, child = _tree(centre, radius)
    arrays = (*points, first, spheres, child)
    for array in arrays:
        array.flags.writeable = False
    return ShoreIndex(*arrays)


def _runs(joined: npt.NDArray[np.bool_]) -> tuple[IntArray, IntArray]:
    """First point and number of edges of each run, of nearly equal length along a stretch."""
    change = np.diff(joined.view(np.int8), prepend=0, append=0)
    begin, end = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    length = end - begin
    runs = -(-length // RUN_EDGES)
    which = np.arange(runs.sum()) - np.repeat(np.cumsum(runs) - runs, runs)
    length, parts = np.repeat(length, runs), np.repeat(runs, runs)
    low, high = which * length // parts, (which + 1) * length // parts
    return np.repeat(begin, runs) + low, high - low


def _compact_order(xyz: npt.NDArray[np.int32]) -> IntArray:
    """Order of (3, n) points in which aligned rows of 8, 64, 512 and so on are compact."""
    count = xyz.shape[1]
    order = np.arange(count)
    todo = [(0, count)]
    while todo:
        first, last = todo.pop()
        size = last - first
        if size <= _BATCH:
            continue
        # halves are whole numbers of the largest neighbourhoods that fit
        unit = _BATCH
        while unit * FAN < size:
            unit *= FAN
        half = (-(-size // unit) + 1) // 2 * unit
        here = order[first:last]
        points = xyz[:, here]
        longest = int(np.argmax(points.max(axis=1).astype(np.int64) - points.min(axis=1)))
        order[first:last] = here[np.argpartition(points[longest], half - 1)]
        todo += [(first, first + half), (first + half, last)]
    return _order_within(xyz, order)


def _order_within(xyz: npt.NDArray[np.int32], order: IntArray) -> IntArray:
    """Halve all neighbourhoods of 512 at once, and again down to 8."""
    count = len(order)
    padded = np.full(-(-count // _BATCH) * _BATCH, -1)
    padded[:count] = order
    size = _BATCH
    while size > FAN:
        rows = padded.reshape(-1, size)
        absent = rows < 0
        points = xyz[:, np.where(absent, rows[:, :1], rows)].astype(np.float32)
        longest = np.argmax(points.max(axis=2) - points.min(axis=2), axis=0)
        along = np.take_along_axis(points, longest[None, :, None], axis=0)[0]
        along[absent] = np.inf
        padded = np.take_along_axis(rows, np.argsort(along, axis=1), axis=1).ravel()
        size //= 2
        padded = padded[: -(-count // size) * size]  # a row of no runs is no row
    return padded[padded >= 0]


def _run_spheres(
    points: list[npt.NDArray[np.int32]], first: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Bounding sphere of each run [m]; a chord lies in the sphere that holds its ends."""
    count = np.diff(first)
    centre = np.empty((len(count), 3))
    squared = np.zeros(first[-1], np.float32)
    for axis, row in enumerate(points):
        low, high = np.minimum.reduceat(row, first[:-1]), np.maximum.reduceat(row, first[:-1])
        middle = low + (high - low) // 2
        away = (row - np.repeat(middle, count)).astype(np.float32)
        squared += away * away
        centre[:, axis] = middle / UNITS_PER_M
    reach = np.maximum.reduceat(squared, first[:-1]).astype(np.float64)
    return centre, np.sqrt(reach) / UNITS_PER_M


def _tree(
    centre: FloatArray, radius: FloatArray
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
    return np.concatenate(blocks).ravel(), np.concatenate(child)


def _pack(centre: FloatArray, radius: FloatArray) -> npt.NDArray[np.float32]:
    """Put spheres into blocks of eight as 32-bit floats, rounded outward."""
    count = -(-len(centre) // FAN)
    flat = np.zeros((count * FAN, 4), np.float32)
    flat[:, 3] = -1.0
    flat[: len(centre), :3] = centre
    flat[: len(centre), 3] = radius * (1.0 + 1e-6) + _MARGIN_M
    return np.ascontiguousarray(flat.reshape(count, FAN, 4).transpose(0, 2, 1))

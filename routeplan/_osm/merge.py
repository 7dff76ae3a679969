"""One shoreline of two sources: a finer one inside a box, another one outside.

The land of the merged coast is the finer source's land inside the box and the other's outside.
Its shoreline is the finer source's inside, the other's outside, and along the sides of the box
the stretches where one has land and the other water: seams, where the two do not meet exactly.
So distance, land and fetch of the two sources follow from one index and never contradict.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from routeplan._osm.land import LandMap
from routeplan._osm.rings import clip_edges
from routeplan._shore.coastbox import Box, on_one_side
from routeplan._shore.maps import RingTable
from routeplan._shore.rings import Rings

__all__ = ["chains_of", "merged_rings", "outside_pieces", "rings_of"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
LandTest = Callable[[FloatArray, FloatArray], npt.NDArray[np.bool_]]


def merged_rings(fine: LandMap, coarse: RingTable, is_land: LandTest, region: Box) -> Rings:
    """Open chains and rings of the merged shoreline in a region around the finer source's box.

    Parameters
    ----------
    fine : LandMap
        The finer source.
    coarse : RingTable
        Rings of the other one.
    is_land : callable
        Land of the other one, by longitude and latitude.
    region : Box
        What to take of the other one; it holds the finer source's box.
    """
    box = fine.box
    chains = fine.chains()
    crossings: list[float] = []
    away: list[Rings] = []
    for part in region.parts:
        numbers = coarse.touching(part)
        bounds = coarse.bounds[numbers]
        turn = _turns(bounds, box)
        bounds = bounds + turn[:, None] * (1, 0, 1, 0)
        whole = _within(coarse.bounds[numbers], part) & (bounds[:, 2] - bounds[:, 0] < 180.0)
        inside = whole & _within(bounds, (box.west, box.south, box.east, box.north))
        apart = (bounds[:, :2] > (box.east, box.north)).any(axis=1)
        apart |= (bounds[:, 2:] < (box.west, box.south)).any(axis=1)
        away.append(_gathered(coarse.rings, numbers[whole & apart], turn[whole & apart]))
        for i in np.flatnonzero(~inside & ~(whole & apart)).tolist():
            for chain in chains_of(coarse, numbers[i], part, box):
                for piece in outside_pieces(chain, box):
                    chains.append(piece)
                    crossings += [box.place(end) for end in piece[[0, -1]] if _on_side(end, box)]
    chains += _seams(fine, np.array(crossings, dtype=float), is_land)
    return _joined([rings_of(chains), *away])


def _turns(bounds: FloatArray, box: Box) -> FloatArray:
    """What to add to the longitudes of rings, whole turns, to have them where the box is."""
    middle = (box.west + box.east) / 2.0
    return np.asarray(-360.0 * np.round(((bounds[:, 0] + bounds[:, 2]) / 2.0 - middle) / 360.0))


def _within(bounds: FloatArray, part: tuple[float, float, float, float]) -> npt.NDArray[np.bool_]:
    """Which bounds (r, 4) lie inside a part of the map and touch none of its sides."""
    low, high = bounds[:, :2] > part[:2], bounds[:, 2:] < part[2:]
    return np.asarray(low.all(axis=1) & high.all(axis=1))


def _gathered(rings: Rings, numbers: IntArray, turn: FloatArray) -> Rings:
    """Take some rings of many, moved east by `turn`."""
    first = rings.offsets[numbers]
    lengths = rings.offsets[numbers + 1] - first
    offsets = np.concatenate([[0], np.cumsum(lengths)])
    source = np.arange(offsets[-1]) + np.repeat(first - offsets[:-1], lengths)
    lonlat = rings.lonlat[source].astype(np.float64)
    lonlat[:, 0] += np.repeat(turn, lengths)
    return Rings(lonlat, offsets, np.ones(len(numbers), np.int8), rings.turned[numbers])


def rings_of(chains: list[FloatArray]) -> Rings:
    """Chains with land on the left as `Rings`."""
    lengths = np.array([len(chain) for chain in chains], dtype=np.int64)
    return Rings(
        lonlat=np.concatenate(chains) if chains else np.empty((0, 2)),
        offsets=np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64),
        level=np.ones(len(chains), np.int8),
        turned=np.zeros(len(chains), np.bool_),
    )


def _joined(parts: list[Rings]) -> Rings:
    starts = np.cumsum([0, *(len(part.lonlat) for part in parts)])
    offsets = [part.offsets[1:] + start for part, start in zip(parts, starts[:-1], strict=True)]
    return Rings(
        lonlat=np.concatenate([part.lonlat for part in parts]),
        offsets=np.concatenate([[0], *offsets]).astype(np.int64),
        level=np.concatenate([part.level for part in parts]),
        turned=np.concatenate([part.turned for part in parts]),
    )


def _on_side(point: FloatArray, box: Box) -> bool:
    return bool(box.inside(point[0], point[1]) and not box.strictly_inside(point[None, :])[0])


def chains_of(
    table: RingTable, number: int, part: tuple[float, float, float, float], box: Box
) -> list[FloatArray]:
    """Edges of a ring that meet a part of the region, land on the left, where the box is.

    Without those on the antimeridian or through a pole, which only close rings there.
    """
    first, last = table.rings.offsets[number], table.rings.offsets[number + 1]
    lonlat = table.rings.lonlat[first:last]
    edges = np.arange(len(lonlat) - 1)
    for axis in (1, 0):  # a continent has a million edges: few are left after the first
        low, high = part[axis], part[axis + 2]
        start, end = lonlat[edges, axis], lonlat[edges + 1, axis]
        edges = edges[~((start < low) & (end < low) | (start > high) & (end > high))]
    start, end = (np.asarray(lonlat[edges + i], np.float64) for i in (0, 1))
    poles = (np.abs(start[:, 1]) == 90.0) | (np.abs(end[:, 1]) == 90.0)
    edges = edges[~on_one_side(Box(-180.0, -90.0, 180.0, 90.0), start, end) & ~poles]
    chains = []
    for run in np.split(edges, np.flatnonzero(np.diff(edges) != 1) + 1):
        if len(run):
            points = np.asarray(lonlat[run[0] : run[-1] + 2], np.float64)
            points = points[::-1] if table.rings.turned[number] else points
            chains.extend(_moved_to(points, box))
    return chains


def _moved_to(chain: FloatArray, box: Box) -> list[FloatArray]:
    """A chain in the turns in which it lies nearest to the box, cut where the turn changes."""
    turn = box.unrolled(chain[:, 0]) - chain[:, 0]
    cuts = np.flatnonzero(np.abs(np.diff(turn)) > 180.0) + 1
    runs = np.split(np.arange(len(chain)), cuts)
    bridges = [np.array([cut - 1, cut]) for cut in cuts]
    return [
        chain[run] + (np.round(turn[run[0]] / 360.0) * 360.0, 0.0)
        for run in [*runs, *bridges]
        if len(run) > 1
    ]


def outside_pieces(chain: FloatArray, box: Box) -> list[FloatArray]:
    """Cut a chain (n, 2) at the box: its pieces outside, with ends exactly on the sides."""
    start, end, enters, leaves = clip_edges(chain, box)
    met = leaves > enters
    met[met] &= ~on_one_side(box, start[met], end[met])
    edges = np.flatnonzero(met)
    if not len(edges):
        return [chain]
    pieces = [np.vstack([chain[: edges[0] + 1], start[edges[0]]])]
    for before, after in pairwise(edges.tolist()):
        if after == before + 1 and leaves[before] == 1.0 and enters[after] == 0.0:
            continue
        pieces.append(np.vstack([end[before], chain[before + 1 : after + 1], start[after]]))
    pieces.append(np.vstack([end[edges[-1]], chain[edges[-1] + 1 :]]))
    kept = [piece[np.append(True, (np.diff(piece, axis=0) != 0.0).any(axis=1))] for piece in pieces]
    return [piece for piece in kept if len(piece) > 1]


def _seams(fine: LandMap, crossings: FloatArray, is_land: LandTest) -> list[FloatArray]:
    """Stretches of the sides with land on one side of them only, land on the left."""
    box = fine.box
    spans = fine.land_along_sides()
    marks = np.unique(np.concatenate([np.arange(5.0), crossings, spans.ravel() % 4.0]))
    middle = (marks[:-1] + marks[1:]) / 2.0
    spots = box.at(middle)
    inside = np.zeros(len(middle), bool)
    for first, last in spans:
        inside |= (middle > first) & (middle < last)
    outside = is_land(spots[:, 0], spots[:, 1])
    step = inside.astype(np.int8) - outside.astype(np.int8)
    ends = box.at(marks)
    seams = []
    for i in np.flatnonzero(step).tolist():
        edge = ends[i : i + 2]
        seams.append(edge if step[i] > 0 else edge[::-1])
    return seams

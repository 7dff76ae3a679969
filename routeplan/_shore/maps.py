"""Shoreline and land inside a box, for maps, in the source's own points."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from routeplan._shore.rings import Rings
from routeplan.errors import InputError

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["RingTable", "boxes", "land_in_box", "ring_table", "shoreline_in_box"]

FloatArray = npt.NDArray[np.float64]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class RingTable:
    """Rings and the box of each: bounds (r, 4) west, south, east, north [degrees]."""

    rings: Rings
    bounds: FloatArray

    def touching(self, box: Box) -> npt.NDArray[np.int64]:
        """Numbers of the rings whose box meets `box`, all in one turn of longitude."""
        west, south, east, north = box
        b = self.bounds
        meets = (b[:, 0] < east) & (b[:, 2] > west) & (b[:, 1] <= north) & (b[:, 3] >= south)
        return np.flatnonzero(meets)

    def points(self, ring: int) -> FloatArray:
        """Points of a ring, as its source has them."""
        first, last = self.rings.offsets[ring], self.rings.offsets[ring + 1]
        return np.asarray(self.rings.lonlat[first:last], np.float64)


def ring_table(rings: Rings) -> RingTable:
    """Put the box of each ring beside it."""
    starts = rings.offsets[:-1]
    if not len(starts):
        return RingTable(rings, np.empty((0, 4)))
    low = np.minimum.reduceat(rings.lonlat, starts)
    high = np.maximum.reduceat(rings.lonlat, starts)
    return RingTable(rings, np.hstack([low, high]).astype(np.float64))


def boxes(
    table: RingTable, west: float, south: float, east: float, north: float
) -> list[tuple[Box, float]]:
    """Where to look for rings in a box: boxes, and what to add to longitudes found there.

    With west > east the box crosses the antimeridian; longitudes then run on beyond 180.
    """
    sides = np.array([west, south, east, north], float)
    if not np.isfinite(sides).all() or not -90.0 <= south < north <= 90.0 or west == east:
        msg = (
            f"box {west:g}, {south:g}, {east:g}, {north:g}: west, south, east, north [degrees] "
            "must be finite, south below north, both within -90 to 90, west unlike east"
        )
        raise InputError(msg, field="box", value=(west, south, east, north))
    width = 360.0 if abs(east - west) >= 360.0 else float((east - west) % 360.0)
    end = west + width
    first = math.ceil((west - table.bounds[:, 2].max()) / 360.0)
    last = math.floor((end - table.bounds[:, 0].min()) / 360.0)
    turns = [360.0 * k for k in range(first, last + 1)]
    return [((west - turn, south, end - turn, north), turn) for turn in turns]


def shoreline_in_box(
    table: RingTable, west: float, south: float, east: float, north: float
) -> list[FloatArray]:
    """Chains (n, 2) of shoreline whose edges meet the box, uncut."""
    chains = []
    for box, shift in boxes(table, west, south, east, north):
        for ring in table.touching(box):
            points = table.points(int(ring))
            keep = _edges_in(points, box) & ~_seam(points)
            change = np.diff(keep.astype(np.int8), prepend=0, append=0)
            begins, ends = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
            for begin, end in zip(begins, ends, strict=True):
                chains.append(_shifted(points[begin : end + 1], shift))
    return chains


def _shifted(points: FloatArray, by: float) -> FloatArray:
    """Points with their longitudes moved by whole turns."""
    return np.asarray(points + np.array([by, 0.0]), np.float64)


def _edges_in(points: FloatArray, box: Box) -> npt.NDArray[np.bool_]:
    """Which edges have a box that meets `box`."""
    west, south, east, north = box
    low, high = np.minimum(points[:-1], points[1:]), np.maximum(points[:-1], points[1:])
    inside = (low <= (east, north)) & (high >= (west, south))
    return np.asarray(inside.all(axis=1))


def _seam(points: FloatArray) -> npt.NDArray[np.bool_]:
    """Which edges only close a ring along the antimeridian or by way of a pole."""
    edge = np.abs(points[:-1, 0]) == 180.0
    edge &= points[:-1, 0] == points[1:, 0]
    pole = np.abs(points[:, 1]) == 90.0
    return np.asarray(edge | pole[:-1] | pole[1:])


def land_in_box(
    table: RingTable, west: float, south: float, east: float, north: float
) -> list[Polygon]:
    """Land inside the box as shapely polygons: lakes are holes, islands in them land again."""
    import shapely  # only maps need it

    pieces: list[Polygon] = []
    turns = 0
    for box, shift in boxes(table, west, south, east, north):
        numbers = table.touching(box)
        level = table.rings.level[numbers]
        dry: list[Polygon] = []
        for depth in range(1, int(level.max(initial=0)) + 1):
            part = _clipped(table, numbers[level == depth], box)
            if depth % 2:
                dry.extend(part)
            elif part:
                dry = _without(dry, shapely.union_all(part))
        pieces.extend(shapely.transform(dry, partial(_shifted, by=shift)).tolist())
        turns += bool(dry)
    if turns > 1:  # heal the cut along the antimeridian
        pieces = list(_polygons(shapely.union_all(pieces)))
    return pieces


def _clipped(table: RingTable, numbers: npt.NDArray[np.int64], box: Box) -> list[Polygon]:
    """Areas of rings, cut to the box."""
    import shapely

    west, south, east, north = box
    areas: list[Polygon] = []
    for number in numbers:
        w, s, e, n = table.bounds[number]
        area: Any = shapely.Polygon(table.points(int(number)))
        if not (w >= west and e <= east and s >= south and n <= north):
            area = shapely.clip_by_rect(area, west, south, east, north)
        areas.extend(_polygons(area))
    return areas


def _without(dry: list[Polygon], lakes: Any) -> list[Polygon]:
    """Land less lakes."""
    import shapely

    land = np.array(dry, dtype=object)
    wet = shapely.intersects(land, lakes) if len(land) else np.zeros(0, bool)
    kept: list[Polygon] = land[~wet].tolist()
    for area in shapely.difference(land[wet], lakes):
        kept.extend(_polygons(area))
    return kept


def _polygons(area: Any) -> list[Polygon]:
    """Polygons of a geometry, repaired where they cross themselves."""
    import shapely

    if not shapely.is_valid(area):
        area = shapely.make_valid(area)
    parts = shapely.get_parts(shapely.get_parts(area))
    found: list[Polygon] = []
    found.extend(p for p in parts if p.geom_type == "Polygon" and p.area > 0.0)
    return found

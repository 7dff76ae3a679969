"""Water areas of a box: lakes and stretches of river from ways and multipolygon relations.

Ways of a relation join at their ends in either direction, and inside an odd number of its rings
is water (wiki.openstreetmap.org/wiki/Relation:multipolygon, accessed 2026-11-25); the roles
"outer" and "inner" say the same and are not needed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from routeplan._osm.rings import GAP_M, signed_area, where
from routeplan._shore.coastbox import Box
from routeplan.errors import CoverageError
from routeplan.geodesy import inverse

if TYPE_CHECKING:
    from shapely import Geometry

__all__ = ["SPECK_DEG2", "Ring", "WaterArea", "areas_only", "box_area", "parents", "water_union"]

FloatArray = npt.NDArray[np.float64]

SPECK_DEG2 = 1e-13
"""About 10 cm by 10 cm [square degrees]: what rounding leaves of areas that meet."""

_SMALL_M = 300.0  # a broken lake of this size is left out with a note; own choice


@dataclass(frozen=True, slots=True)
class WaterArea:
    """One lake or stretch of river: its outline in pieces, as they come; `name` for messages."""

    name: str
    ways: tuple[FloatArray, ...]


class Ring:
    """A closed ring: points, signed area [square degrees] and shape, repaired if need be."""

    __slots__ = ("area", "mainland", "points", "shape", "valid")

    def __init__(self, points: FloatArray, *, mainland: bool = False) -> None:
        import shapely

        self.points = points
        self.mainland = mainland
        self.area = signed_area(points)
        self.shape: Geometry = shapely.Polygon(points)
        self.valid = bool(shapely.is_valid(self.shape))
        if not self.valid:
            self.shape = areas_only(shapely.make_valid(self.shape))


def areas_only(shape: Geometry) -> Geometry:
    """The polygons of a shape, without points, lines and specks."""
    import shapely

    parts = shapely.get_parts(shapely.get_parts(shape))
    kept = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > SPECK_DEG2)]
    return shapely.MultiPolygon(kept.tolist())


def box_area(box: Box) -> Geometry:
    """The box as a polygon."""
    import shapely

    return shapely.Polygon(box.corners)


def parents(rings: Sequence[Ring]) -> list[int]:
    """The smallest ring around each ring, -1 where there is none."""
    import shapely

    if not rings:
        return []
    size = np.abs([ring.area for ring in rings])
    # of two equal ones the first is the outer
    rank = np.lexsort((np.arange(len(rings)), -size)).argsort()
    shapes = [ring.shape for ring in rings]
    inner, outer = shapely.STRtree(shapes).query(shapely.point_on_surface(shapes), "within")
    around = [-1] * len(rings)
    for child, candidate in zip(inner.tolist(), outer.tolist(), strict=True):
        if rank[candidate] < rank[child]:
            best = around[child]
            if best < 0 or rank[candidate] > rank[best]:
                around[child] = candidate
    return around


def water_union(water: Sequence[WaterArea], box: Box, notes: list[str]) -> Geometry:
    """All water areas in the box as one shape; edges between two of them disappear.

    Raises
    ------
    CoverageError
        If the outline of a large area does not close.
    """
    import shapely

    found = [_shape(area, box, notes) for area in water if _near(area, box)]
    shapes = np.array([shape for shape in found if shape is not None], dtype=object)
    if not len(shapes):
        return shapely.Polygon()
    frame = box_area(box)
    shapely.prepare(frame)
    over = ~shapely.covers(frame, shapes)
    shapes[over] = shapely.intersection(shapes[over], frame)
    return areas_only(shapely.union_all(shapes))


def _near(area: WaterArea, box: Box) -> bool:
    points = np.concatenate(area.ways)
    low, high = points.min(axis=0), points.max(axis=0)
    return bool((low <= (box.east, box.north)).all() and (high >= (box.west, box.south)).all())


def _shape(area: WaterArea, box: Box, notes: list[str]) -> Geometry | None:
    """Shape of one area; None where there is none, or a small one is broken."""
    import shapely

    rings, open_end = _closed(area)
    if open_end is not None:
        points = np.concatenate(area.ways)
        _, size = inverse(*points.min(axis=0), *points.max(axis=0))
        if size > _SMALL_M:
            msg = (
                f"{area.name} is broken: its outline does not close at {where(open_end)}; what "
                "is water would be a guess. Take a box without it, or try again when it is mended"
            )
            raise CoverageError(msg, bounds=box.bounds)
        notes.append(f"{area.name}, {float(size):.0f} m across, does not close; left out")
        return None
    if not rings:
        return None
    if len(rings) == 1:
        return Ring(rings[0]).shape
    shapes = [Ring(ring) for ring in rings]
    depths = _depths(parents(shapes))
    whole: Any = shapely.MultiPolygon()
    for level in range(max(depths) + 1):
        part = shapely.union_all(
            [s.shape for s, d in zip(shapes, depths, strict=True) if d == level]
        )
        whole = shapely.difference(whole, part) if level % 2 else shapely.union(whole, part)
    return areas_only(whole)


def _depths(around: list[int]) -> list[int]:
    depths = []
    for i in range(len(around)):
        outer, level = around[i], 0
        while outer >= 0:
            outer, level = around[outer], level + 1
        depths.append(level)
    return depths


class _Ends:
    """Loose ways by the places at which they begin and end."""

    def __init__(self, ways: list[FloatArray]) -> None:
        self.ways = dict(enumerate(ways))
        self._at: dict[tuple[float, float], list[int]] = {}
        for number, way in self.ways.items():
            for end in (way[0], way[-1]):
                self._at.setdefault((float(end[0]), float(end[1])), []).append(number)

    def take(self, place: FloatArray, home: FloatArray) -> FloatArray | None:
        """The way that goes on from `place`; `home` alone closes a ring; None: there is none."""
        here = [n for n in self._at.get((float(place[0]), float(place[1])), ()) if n in self.ways]
        if here:
            way = self.ways.pop(here[0])
            return way if (way[0] == place).all() else way[::-1]
        spots = [home, *(way[end] for way in self.ways.values() for end in (0, -1))]
        lon, lat = np.array(spots).T
        _, gap = inverse(place[0], place[1], lon, lat)
        best = int(np.argmin(gap))
        if gap[best] > GAP_M:
            return None
        if best == 0:
            return home[None, :]
        number, turned = list(self.ways)[(best - 1) // 2], (best - 1) % 2
        way = self.ways.pop(number)
        return way[::-1] if turned else way


def _closed(area: WaterArea) -> tuple[list[FloatArray], FloatArray | None]:
    """Closed rings of the ways, and an end that finds no other, if there is one."""
    kept = [way for way in area.ways if len(way) > 1]
    rings = [way for way in kept if (way[0] == way[-1]).all()]
    ends = _Ends([way for way in kept if (way[0] != way[-1]).any()])
    while ends.ways:
        parts = [ends.ways.pop(next(iter(ends.ways)))]
        home = parts[0][0]
        while (parts[-1][-1] != home).any():
            more = ends.take(parts[-1][-1], home)
            if more is None:
                return rings, parts[-1][-1]
            parts.append(more)
        rings.append(np.vstack(parts))
    return [ring for ring in rings if len(ring) > 3], None

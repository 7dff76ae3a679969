"""Land of a box from its coast and its water areas, as polygons whose invented edges are known.

Water areas (lakes, wide rivers) are taken out of the land all at once: an edge between two of
them, or between a river and the sea, has water on both sides then and disappears.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from routeplan._osm.rings import coast_rings, signed_area
from routeplan._osm.water import (
    SPECK_DEG2,
    Ring,
    WaterArea,
    areas_only,
    box_area,
    parents,
    water_union,
)
from routeplan._shore.coastbox import Box, on_one_side
from routeplan.errors import CoverageError

if TYPE_CHECKING:
    from shapely import Geometry, Polygon

__all__ = ["Background", "LandMap", "land_map"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_ON_SIDE_DEG = 1e-9  # rounding of overlays; a tenth of a millimetre
_SNAPS = 3  # repairing what snapping spoilt can move a point again
_PROBES = 40  # by as many, over the box, where another coastline decides what it is
_CLEAR_SHARE = 0.8  # of the probes must agree; own choice


@dataclass(frozen=True, slots=True)
class Background:
    """Another coastline that decides where no coast in the box does: its name and `is_land`."""

    name: str
    is_land: Callable[[FloatArray, FloatArray], npt.NDArray[np.bool_]]


@dataclass(frozen=True, slots=True, eq=False)
class LandMap:
    """Land of a box as polygons.

    Attributes
    ----------
    box : Box
    lonlat : (n, 2) array
        Points of all rings, each ring closed, land on the left. [degrees]
    offsets : (r + 1,) array
        Where each ring begins and ends.
    polygon : (r,) array
        The polygon each ring belongs to; its first ring is the outer one, the others holes.
    notes : tuple of str
        What was put right or left out on the way.
    """

    box: Box
    lonlat: FloatArray
    offsets: IntArray
    polygon: IntArray
    notes: tuple[str, ...] = ()

    @property
    def invented(self) -> npt.NDArray[np.bool_]:
        """(n,) True where the edge from a point to the next only follows a side of the box."""
        along = np.zeros(len(self.lonlat), bool)
        along[:-1] = on_one_side(self.box, self.lonlat[:-1], self.lonlat[1:])
        along[self.offsets[1:] - 1] = False
        return along

    def chains(self) -> list[FloatArray]:
        """Shoreline: rings and open chains (k, 2), land on the left, without invented edges."""
        shore = ~self.invented
        shore[self.offsets[1:] - 1] = False
        change = np.diff(shore.astype(np.int8), prepend=0, append=0)
        begins, ends = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
        return [self.lonlat[b : e + 1] for b, e in zip(begins, ends, strict=True)]

    def land_along_sides(self) -> FloatArray:
        """Stretches (k, 2) of the sides with land inside, as positions on the boundary."""
        spans = []
        for i in np.flatnonzero(self.invented).tolist():
            start, end = self.box.place(self.lonlat[i]), self.box.place(self.lonlat[i + 1])
            spans.append((start, end if end > start else end + 4.0))
        return np.array(spans, dtype=float).reshape(-1, 2)

    def polygons(self) -> list[Polygon]:
        """Return the land as shapely polygons."""
        import shapely

        groups: dict[int, list[FloatArray]] = {}
        for ring, number in enumerate(self.polygon.tolist()):
            points = self.lonlat[self.offsets[ring] : self.offsets[ring + 1]]
            groups.setdefault(number, []).append(points)
        return [shapely.Polygon(rings[0], rings[1:]) for rings in groups.values()]


def land_map(
    coast: Sequence[FloatArray],
    water: Sequence[WaterArea],
    box: Box,
    background: Background | None = None,
) -> LandMap:
    """Assemble the land of a box.

    Parameters
    ----------
    coast : sequence of (k, 2) arrays
        Coastline ways, unrolled to the box, land on the left. [degrees]
    water : sequence of WaterArea
        Lakes and wide rivers, unrolled to the box.
    box : Box
    background : Background, optional
        Where the coast leaves open what the box is; without it that is refused.

    Raises
    ------
    CoverageError
        Where the data are broken so that land would be a guess.
    """
    import shapely

    mainland, closed, notes = coast_rings(coast, box)
    wet = water_union(water, box, notes)
    rings = [*(Ring(r, mainland=True) for r in mainland), *(Ring(r) for r in closed)]
    rings = [ring for ring in rings if shapely.area(ring.shape) > SPECK_DEG2]
    crossed = sum(not ring.valid for ring in rings)
    if crossed:
        notes.append(
            f"rings of the coastline that cross or touch themselves, taken apart: {crossed}"
        )
    rings = _without_reverses(rings, notes)
    around = parents(rings)
    outside = _outside(rings, around, wet, box, background, notes)
    land, islands = _land(rings, around, box, outside, notes)
    dry = shapely.difference(land, wet)
    if islands:
        dry = shapely.union_all([dry, *_lake_islands(islands, wet)])
    return _as_map(dry, box, tuple(notes))


def _without_reverses(rings: list[Ring], notes: list[str]) -> list[Ring]:
    """Drop clockwise rings that repeat a counter-clockwise one: land, not a sea in all of it."""
    land = {_corners(ring) for ring in rings if ring.area > 0.0}
    kept = [ring for ring in rings if ring.area > 0.0 or _corners(ring) not in land]
    if len(kept) < len(rings):
        twice = len(rings) - len(kept)
        notes.append(f"rings of coastline drawn in both directions, kept as land: {twice}")
    return kept


def _corners(ring: Ring) -> tuple[int, bytes]:
    """The points of a ring whatever its direction and start."""
    points = ring.points[:-1]
    return len(points), points[np.lexsort(points.T)].tobytes()


def _outside(
    rings: list[Ring],
    around: list[int],
    wet: Geometry,
    box: Box,
    background: Background | None,
    notes: list[str],
) -> bool:
    """Whether what lies outside all rings is land.

    Islands drawn as coastline in a lake look like islands in the sea, a known mistake in the
    data; so where nothing but rings tells, the other coastline is heard.
    """
    import shapely

    if any(ring.mainland for ring in rings):
        return False  # the mainland's own rings say where land is
    open_to = {ring.area < 0.0 for ring, outer in zip(rings, around, strict=True) if outer < 0}
    derived = open_to.pop() if len(open_to) == 1 else None
    if derived is not None and background is None:
        return derived
    why = "rings of coastline, but none that meets its sides, lie" if rings else "no coastline lies"
    if background is None:
        if shapely.covers(wet, box_area(box)):
            return True
        msg = f"{why} in the box: whether it is land or sea cannot be told"
        raise CoverageError(msg, bounds=box.bounds)
    share = _land_share(rings, wet, box, background)
    if max(share, 1.0 - share) < _CLEAR_SHARE:
        if derived is not None:
            return derived
        msg = (
            f"{why} in the box, but by {background.name} {share:.0%} of it is land: the sources "
            "contradict each other and what is land would be a guess. Take a larger box"
        )
        raise CoverageError(msg, bounds=box.bounds)
    land = share > 0.5
    if land != derived:
        words = "land, but for the water areas" if land else "sea"
        notes.append(f"{why} in the box; that the rest is {words}, is taken from {background.name}")
    return land


def _land_share(rings: list[Ring], wet: Geometry, box: Box, background: Background) -> float:
    """Share of land, by another coastline, of the box outside its rings and water areas."""
    import shapely

    steps = (np.arange(_PROBES) + 0.5) / _PROBES
    lon, lat = np.meshgrid(
        box.west + steps * (box.east - box.west), box.south + steps * (box.north - box.south)
    )
    known = shapely.union_all([wet, *(ring.shape for ring in rings)])
    shapely.prepare(known)
    free = ~shapely.contains_xy(known, lon, lat)
    if not free.any():
        return 1.0  # all of it is in a lake, and what is around a lake is land
    return float(np.mean(background.is_land(lon[free], lat[free])))


def _land(
    rings: list[Ring], around: list[int], box: Box, outside: bool, notes: list[str]
) -> tuple[Geometry, list[Ring]]:
    """Land less the seas in it, and rings of land where the coast has land already."""
    import shapely

    is_land = {-1: outside}
    cut_from = {-1: -1}  # the ring whose area a sea inside is taken from
    holes: dict[int, list[Geometry]] = {}
    solid: list[int] = []
    islands: list[Ring] = []
    # from the largest inwards; equal ones keep their order, as in `parents`
    for i in sorted(range(len(rings)), key=lambda i: -abs(rings[i].area)):
        outer = around[i]
        is_land[i] = not (is_land[outer] and rings[i].area < 0.0)
        cut_from[i] = cut_from[outer] if is_land[outer] else i
        if not is_land[i]:
            holes.setdefault(cut_from[outer], []).append(rings[i].shape)
        elif is_land[outer]:
            islands.append(rings[i])
        else:
            solid.append(i)
    turned = sum(rings[i].area < 0.0 for i in solid)
    if turned:
        notes.append(f"rings of coastline in the sea, clockwise by mistake, kept as land: {turned}")
    pieces = [_less(rings[i].shape, holes.get(i, [])) for i in solid]
    if outside:
        pieces.append(_less(box_area(box), holes.get(-1, [])))
    return shapely.union_all(pieces), islands


def _less(area: Geometry, holes: list[Geometry]) -> Geometry:
    import shapely

    return shapely.difference(area, shapely.union_all(holes)) if holes else area


def _lake_islands(islands: list[Ring], wet: Geometry) -> list[Geometry]:
    """Islands drawn as coastline in a lake whose area does not leave them out.

    Only what lies wholly in water is one; elsewhere the ring adds nothing to the land. Ponds on
    such an island are lost, for they cannot be told from the lake around it.
    """
    import shapely

    shapely.prepare(wet)
    return [ring.shape for ring in islands if shapely.covers(wet, ring.shape)]


def _as_map(dry: Geometry, box: Box, notes: tuple[str, ...]) -> LandMap:
    import shapely

    rings: list[FloatArray] = []
    polygon: list[int] = []
    for number, part in enumerate(shapely.get_parts(_on_sides(areas_only(dry), box))):
        for hole, ring in enumerate(shapely.get_rings(part)):
            points = shapely.get_coordinates(ring)
            points = points[np.append(True, (np.diff(points, axis=0) != 0.0).any(axis=1))]
            clockwise = signed_area(points) < 0.0
            rings.append(points if clockwise == (hole > 0) else points[::-1])
            polygon.append(number)
    offsets = np.concatenate([[0], np.cumsum([len(ring) for ring in rings])])
    lonlat = np.concatenate(rings) if rings else np.empty((0, 2))
    return LandMap(box, lonlat, offsets.astype(np.int64), np.array(polygon, np.int64), notes)


def _on_sides(dry: Geometry, box: Box) -> Geometry:
    """The land with what rounding put beside a side of the box exactly on it."""
    import shapely

    for _ in range(_SNAPS):
        dry = shapely.transform(dry, lambda points: _snapped(points, box))
        if shapely.is_valid(dry):
            break
        dry = areas_only(shapely.make_valid(dry))
    return dry


def _snapped(points: FloatArray, box: Box) -> FloatArray:
    snapped = points.copy()
    for axis, value in ((0, box.west), (0, box.east), (1, box.south), (1, box.north)):
        column = snapped[:, axis]
        column[np.abs(column - value) < _ON_SIDE_DEG] = value
    return snapped

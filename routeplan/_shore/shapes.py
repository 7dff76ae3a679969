"""Turn polygons and lines of a layer into rings of shoreline."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from routeplan._shore.file import Layer
from routeplan._shore.rings import Rings, clockwise
from routeplan.errors import InputError

__all__ = ["Shapes", "shapes_of"]

FloatArray = npt.NDArray[np.float64]
Geometries = npt.NDArray[np.object_]

_STEP_M = 500.0  # to which edges that are straight in a projection are cut before it is undone


@dataclass(frozen=True, slots=True, eq=False)
class Shapes:
    """Rings of a layer, whether they tell land from water, and what was done to them."""

    rings: Rings
    knows_land: bool
    notes: tuple[str, ...]


def shapes_of(layer: Layer) -> Shapes:
    """Rings of the land polygons of a layer, or of its lines where it has no polygons.

    Raises
    ------
    InputError
        If the layer has neither, or its polygons cannot be repaired.
    """
    import shapely  # only files need it

    parts = shapely.get_parts(shapely.get_parts(layer.geometries))
    kind = shapely.get_type_id(parts)
    areas, lines = parts[kind == 3], parts[(kind == 1) | (kind == 2)]
    notes = list(layer.notes)
    if len(areas):
        land = _land(layer, areas, notes)
    elif len(lines):
        chains, ends = _merged(lines)
        if len(ends):
            notes.append(
                f"lines with {len(ends)} open ends: distances and fetch only, land is not known"
            )
            rings = _rings(layer, _coordinates(chains), np.ones(len(chains), np.int8))
            return Shapes(rings, False, tuple(notes))
        land = _polygons(shapely.build_area(shapely.multilinestrings(chains.tolist())))
        notes.append("closed lines taken as shores of land")
    else:
        msg = f"{layer.path}: layer {layer.name} has no polygons or lines"
        raise InputError(msg, path=layer.path)
    points, level = _outlines(land)
    return Shapes(_rings(layer, points, level), True, tuple(notes))


def _land(layer: Layer, areas: Geometries, notes: list[str]) -> Geometries:
    """Polygons that do not touch each other and do not cross themselves."""
    import shapely

    bad = np.flatnonzero(~shapely.is_valid(areas))
    if bad.size:
        why = shapely.is_valid_reason(areas[bad[0]])
        mended = _polygons(shapely.make_valid(areas[bad]))
        areas = np.concatenate([np.delete(areas, bad), mended])
        notes.append(f"{bad.size} invalid polygons repaired")
        if not len(areas):
            msg = f"{layer.path}: no polygon has an area; first fault: {why}"
            raise InputError(msg, path=layer.path)
    touching = _touching(areas)
    if touching.size:
        joined = _polygons(shapely.union_all(areas[touching]))
        areas = np.concatenate([np.delete(areas, touching), joined])
    return areas


def _touching(areas: Geometries) -> npt.NDArray[np.int64]:
    """Numbers of the polygons that meet another one."""
    import shapely

    one, other = shapely.STRtree(areas).query(areas)
    one, other = one[one < other], other[one < other]
    count = shapely.get_num_coordinates(areas)
    swap = count[one] < count[other]
    large, small = np.where(swap, other, one), np.where(swap, one, other)
    # A continent among thousands of islands: the larger of two is prepared, once.
    shapely.prepare(areas[np.unique(large)])
    met = shapely.intersects(areas[large], areas[small])
    return np.unique(np.concatenate([large[met], small[met]]))


def _polygons(shapes: Any) -> Geometries:
    """All polygons in geometries, also those in collections."""
    import shapely

    parts = np.atleast_1d(shapes)
    for _ in range(3):
        parts = shapely.get_parts(parts)
    found = parts[(shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 0.0)]
    return np.asarray(found, dtype=object)


def _merged(lines: Geometries) -> tuple[Geometries, FloatArray]:
    """Lines joined where two end in one point; and the ends that stay open."""
    import shapely

    merged = shapely.line_merge(shapely.multilinestrings(lines.tolist()))
    chains = shapely.get_parts(merged)
    chains = chains[shapely.get_num_points(chains) > 1]
    loose = chains[~shapely.is_closed(chains)]
    ends = [shapely.get_coordinates(shapely.get_point(loose, i)) for i in (0, -1)]
    return chains, np.concatenate(ends)


def _coordinates(lines: Geometries) -> list[FloatArray]:
    import shapely

    return [shapely.get_coordinates(line) for line in lines]


def _outlines(land: Geometries) -> tuple[list[FloatArray], npt.NDArray[np.int8]]:
    """Outlines of polygons, and the level of each."""
    import shapely

    outer: Any = shapely.polygons(shapely.get_exterior_ring(land))
    holed = np.flatnonzero(shapely.get_num_interior_rings(land) > 0)
    within = np.zeros(len(land), np.int64)
    if holed.size:
        inner = shapely.point_on_surface(land)
        # The polygons ask for the points: what asks is prepared, once.
        _, one = shapely.STRtree(inner).query(outer[holed], predicate="contains")
        np.add.at(within, one, 1)
        within[holed] -= 1  # each is in itself
    points: list[FloatArray] = []
    level: list[int] = []
    for area, depth in zip(land, within.tolist(), strict=True):
        rings = [area.exterior, *area.interiors]
        for i, ring in enumerate(rings):
            points.append(shapely.get_coordinates(ring))
            level.append(1 + 2 * depth + (i > 0))
    return points, np.array(level, np.int8)


def _rings(layer: Layer, points: list[FloatArray], level: npt.NDArray[np.int8]) -> Rings:
    """Rows of points in the layer's CRS as rings of longitude and latitude."""
    rows = _split_seam([_closed_over_pole(row) for row in _to_degrees(layer, points)])
    offsets = np.concatenate([[0], np.cumsum([len(row) for row in rows])]).astype(np.int64)
    lonlat = np.concatenate(rows)
    return Rings(lonlat, offsets, level, clockwise(lonlat, offsets) != (level % 2 == 0))


def _to_degrees(layer: Layer, points: list[FloatArray]) -> list[FloatArray]:
    """WGS84 longitude and latitude [degrees]; longitudes run on where they cross 180."""
    import shapely
    from pyproj import Transformer

    crs = layer.crs
    if not crs.is_geographic:
        step = _STEP_M / crs.axis_info[0].unit_conversion_factor
        points = [
            shapely.get_coordinates(shapely.segmentize(shapely.linestrings(row), step))
            for row in points
        ]
    convert = Transformer.from_crs(crs, 4326, always_xy=True)
    whole = np.concatenate(points)
    lon, lat = convert.transform(whole[:, 0], whole[:, 1])
    flat = np.column_stack([lon, lat])
    if not np.isfinite(flat).all():
        msg = f"{layer.path}: has coordinates outside the area of its CRS, {crs.name}"
        raise InputError(msg, path=layer.path)
    rows = np.split(flat, np.cumsum([len(row) for row in points])[:-1])
    if crs.is_geographic:
        return rows
    return [np.column_stack([np.unwrap(r[:, 0], period=360.0), r[:, 1]]) for r in rows]


def _closed_over_pole(row: FloatArray) -> FloatArray:
    """Close a ring around a pole by way of the pole, there and back along one meridian."""
    turn = row[-1, 0] - row[0, 0]
    if abs(abs(turn) - 360.0) > 1e-6 or row[-1, 1] != row[0, 1]:
        return row
    pole = 90.0 if row[:, 1].mean() > 0.0 else -90.0
    first = row[0, 0]
    tail = np.array([[first + 360.0 * np.sign(turn), pole], [first, pole], row[0]])
    return np.concatenate([row[:-1], [[first + 360.0 * np.sign(turn), row[0, 1]]], tail])


def _split_seam(rows: list[FloatArray]) -> list[FloatArray]:
    """Give edges on the antimeridian the points of the edges on its other side.

    So that the two sides of a cut through land cancel edge by edge.
    """
    whole = np.concatenate(rows)
    seam = np.unique(whole[np.abs(whole[:, 0]) == 180.0, 1])
    if not seam.size:
        return rows
    return [_with_points(row, seam) for row in rows]


def _with_points(row: FloatArray, seam: FloatArray) -> FloatArray:
    """Insert points of given latitudes into the edges of a row on the antimeridian."""
    on = (np.abs(row[:-1, 0]) == 180.0) & (row[:-1, 0] == row[1:, 0])
    at: list[int] = []
    new: list[FloatArray] = []
    for i in np.flatnonzero(on).tolist():
        start, end = row[i, 1], row[i + 1, 1]
        between = seam[(seam > min(start, end)) & (seam < max(start, end))]
        between = between if start < end else between[::-1]
        at += [i + 1] * len(between)
        new.append(np.column_stack([np.full(len(between), row[i, 0]), between]))
    return np.insert(row, at, np.concatenate(new), axis=0) if at else row

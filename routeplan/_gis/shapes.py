"""Lines and areas in [-180, 180], cut where they cross the antimeridian."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from numpy.typing import ArrayLike

if TYPE_CHECKING:
    from collections.abc import Iterable

    from shapely import LineString, Polygon
    from shapely.geometry.base import BaseGeometry

__all__ = ["areas", "line", "point"]

_TURN = 360.0


def point(longitude: float, latitude: float) -> BaseGeometry | None:
    """A point; None where the position is not known."""
    import shapely  # the modules here are loaded only where a file or a frame is asked for

    if not (np.isfinite(longitude) and np.isfinite(latitude)):
        return None
    return shapely.Point(longitude, latitude)


def line(longitude: ArrayLike, latitude: ArrayLike) -> BaseGeometry | None:
    """A LineString, or a MultiLineString cut at 180°; None with fewer than two points.

    Of two neighbouring points the second is taken to lie less than half a turn from the first.
    """
    import shapely

    lon, lat = np.asarray(longitude, float), np.asarray(latitude, float)
    if lon.size < 2:
        return None
    along = np.unwrap(lon, period=_TURN)
    turns = _turns(along)
    if turns == (0,):  # its points as they are, to the last bit
        return shapely.LineString(np.column_stack([lon, lat]))
    return _one(_cut(shapely.LineString(np.column_stack([along, lat])), turns, "LineString"))


def areas(polygons: Iterable[BaseGeometry]) -> list[BaseGeometry]:
    """Polygons whose longitudes may run on beyond 180°, each cut there and turned back.

    Outer rings run counter-clockwise and holes clockwise, as RFC 7946, section 3.1.6, has it.
    """
    from shapely.geometry.polygon import orient

    found: list[BaseGeometry] = []
    for polygon in polygons:
        west, _, east, _ = polygon.bounds
        pieces = _cut(polygon, _turns(np.array([west, east])), "Polygon")
        found.extend(orient(cast("Polygon", piece)) for piece in pieces)
    return found


def _turns(longitude: Any) -> tuple[int, ...]:
    """Turns of 360° that longitudes reach into; 0 alone where none leaves [-180, 180]."""
    low, high = float(longitude.min()), float(longitude.max())
    if low >= -180.0 and high <= 180.0:
        return (0,)
    first = int(np.floor((low + 180.0) / _TURN))
    last = int(np.ceil((high - 180.0) / _TURN))
    return tuple(range(first, max(first, last) + 1))


def _cut(shape: BaseGeometry, turns: tuple[int, ...], kind: str) -> list[BaseGeometry]:
    """Pieces of one kind, those of every turn moved into [-180, 180]."""
    import shapely

    if turns == (0,):
        return [shape]
    pieces: list[BaseGeometry] = []
    for turn in turns:
        west = _TURN * turn - 180.0
        part = shapely.intersection(shape, shapely.box(west, -90.0, west + _TURN, 90.0))
        # Clipped once more, because moving by whole turns may round an end over the edge.
        moved = shapely.transform(part, partial(_moved, by=_TURN * turn))
        pieces += [p for p in shapely.get_parts(moved) if p.geom_type == kind and not p.is_empty]
    return pieces


def _moved(coordinates: Any, by: float) -> Any:
    coordinates = np.array(coordinates, float)
    coordinates[:, 0] = np.clip(coordinates[:, 0] - by, -180.0, 180.0)
    return coordinates


def _one(pieces: list[BaseGeometry]) -> BaseGeometry | None:
    import shapely

    if len(pieces) == 1:
        return pieces[0]
    return shapely.MultiLineString(cast("list[LineString]", pieces)) if pieces else None

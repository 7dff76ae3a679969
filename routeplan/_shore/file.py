"""Read shoreline from any layer that OGR reads, only what lies in a box."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from routeplan.errors import CoverageError, InputError

if TYPE_CHECKING:
    from pyproj import CRS

__all__ = ["Layer", "read_layer"]

Bounds = tuple[float, float, float, float]

_MAX_FEATURES = 5_000_000
_MAX_POINTS = 60_000_000
_HINT = "give `bounds` around the route, or a smaller file"


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """Geometries of one layer in its own CRS, and what had to be assumed."""

    path: Path
    name: str
    geometries: npt.NDArray[np.object_]
    crs: CRS
    notes: tuple[str, ...]


def read_layer(path: Path, bounds: Bounds | None, layer: str | int | None) -> Layer:
    """Read the geometries of one layer that meet `bounds` (west, south, east, north) [degrees].

    Raises
    ------
    InputError
        If the file cannot be read, has no layer or several to choose from, or lies outside the
        range of its CRS.
    CoverageError
        If nothing in the layer meets the bounds.
    """
    import pyogrio  # only files need it

    name = _layer_name(path, layer)
    try:
        info = pyogrio.read_info(path, layer=name, force_total_bounds=False)
        crs, notes = _crs(path, info.get("crs"))
        boxes: list[Bounds | None] = [None]
        if bounds is not None:
            boxes = _layer_boxes(crs, bounds)
        shapes = _read(path, name, boxes)
        if bounds is not None and crs.is_geographic:
            shapes = _with_other_side(path, name, boxes, shapes)
    except (pyogrio.errors.DataSourceError, pyogrio.errors.DataLayerError) as fault:
        msg = f"{path}: cannot be read as a layer of polygons or lines: {_one_line(fault)}"
        raise InputError(msg, path=path) from fault
    _check(path, shapes, crs, bounds, bool(notes))
    return Layer(path, name, shapes, crs, notes)


def _layer_name(path: Path, layer: str | int | None) -> str:
    """Name of the layer to read; there must be one to choose."""
    import pyogrio

    if not path.exists():
        msg = f"{path}: no such file"
        raise InputError(msg, path=path)
    try:
        found = [(str(n), kind) for n, kind in pyogrio.list_layers(path)]
    except pyogrio.errors.DataSourceError as fault:
        msg = f"{path}: not a file of polygons or lines that OGR reads: {_one_line(fault)}"
        raise InputError(msg, path=path) from fault
    names = [n for n, kind in found if kind is not None and "Point" not in str(kind)]
    if isinstance(layer, int) and 0 <= layer < len(found):
        return found[layer][0]
    if layer is not None and layer in [n for n, _ in found]:
        return str(layer)
    if layer is None and len(names) == 1:
        return names[0]
    if layer is None and not names:
        msg = f"{path}: has no polygons or lines"
        raise InputError(msg, path=path)
    listed = ", ".join(n for n, _ in found[:20]) or "none"
    wanted = "choose one with `layer`" if layer is None else f"there is no layer {layer!r}"
    msg = f"{path}: {wanted}; layers: {listed}"
    raise InputError(msg, path=path, field="layer", value=layer)


def _crs(path: Path, stated: str | None) -> tuple[CRS, tuple[str, ...]]:
    """CRS of the layer; WGS84 longitude and latitude are assumed where none is stated."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if stated is None:
        return CRS.from_epsg(4326), ("CRS not stated, taken as WGS84 longitude and latitude",)
    try:
        return CRS.from_user_input(stated), ()
    except CRSError as fault:
        msg = f"{path}: its CRS is not one that PROJ knows: {_one_line(fault)}"
        raise InputError(msg, path=path) from fault


def _layer_boxes(crs: CRS, bounds: Bounds) -> list[Bounds | None]:
    """Boxes in the CRS of the layer that hold the bounds; two across the antimeridian."""
    from pyproj import Transformer

    west, south, east, north = bounds
    if not all(map(math.isfinite, bounds)) or not -90.0 <= south < north <= 90.0 or west == east:
        msg = (
            f"bounds {bounds}: west, south, east, north [degrees] must be finite, south below "
            "north, both within -90 to 90, west unlike east"
        )
        raise InputError(msg, field="bounds", value=bounds)
    if abs(east - west) >= 360.0:
        west, east = -180.0, 180.0
    west, east = (math.remainder(side, 360.0) for side in (west, east))
    parts = [(west, east)] if west < east else [(west, 180.0), (-180.0, east)]
    if crs.is_geographic:  # longitudes may also run from 0 to 360
        turned = [(w + 360.0, e + 360.0) for w, e in parts if w < 0.0]
        return [(w, south, e, north) for w, e in parts + turned]
    convert = Transformer.from_crs(4326, crs, always_xy=True)
    boxes: list[Bounds | None] = []
    for w, e in parts:
        box = convert.transform_bounds(w, south, e, north, densify_pts=51)
        if all(map(math.isfinite, box)):
            boxes.append(box)
    if not boxes:
        msg = f"bounds {bounds} lie outside the area of the layer's CRS, {crs.name}"
        raise CoverageError(msg, bounds=bounds)
    return boxes


def _read(path: Path, name: str, boxes: list[Bounds | None]) -> npt.NDArray[np.object_]:
    """Geometries that meet one of the boxes, each once."""
    import pyogrio
    import shapely

    found: dict[int, Any] = {}
    for box in boxes:
        _, fids, wkb, _ = pyogrio.raw.read(
            path, layer=name, bbox=box, columns=[], force_2d=True, return_fids=True,
            max_features=_MAX_FEATURES,
        )  # fmt: skip
        if len(wkb) >= _MAX_FEATURES:
            msg = f"{path}: more than {_MAX_FEATURES:,} features; {_HINT}"
            raise InputError(msg, path=path)
        found.update(zip(fids.tolist(), wkb.tolist(), strict=True))
    try:
        with np.errstate(invalid="ignore"):  # what is not finite is refused below
            shapes = shapely.from_wkb(np.array([w for w in found.values() if w], dtype=object))
    except shapely.errors.GEOSException as fault:
        msg = f"{path}: has a geometry that cannot be read: {_one_line(fault)}"
        raise InputError(msg, path=path) from fault
    return np.atleast_1d(shapes)


def _with_other_side(
    path: Path, name: str, boxes: list[Bounds | None], shapes: npt.NDArray[np.object_]
) -> npt.NDArray[np.object_]:
    """Also what meets geometries across the antimeridian: it shows that a cut is only a cut."""
    import shapely

    points = shapely.get_coordinates(shapes)
    seam = points[np.abs(points[:, 0]) == 180.0]
    if not len(seam):
        return shapes
    south, north = float(seam[:, 1].min()), float(seam[:, 1].max())
    both = [(side, south, side, north) for side in (-180.0, 180.0)]
    return _read(path, name, [*boxes, *both])


def _check(
    path: Path,
    shapes: npt.NDArray[np.object_],
    crs: CRS,
    bounds: Bounds | None,
    assumed: bool,
) -> None:
    """Refuse what cannot be shoreline."""
    import shapely

    count = int(shapely.get_num_coordinates(shapes).sum())
    if not count:
        if bounds is None:
            msg = f"{path}: has no polygons or lines"
            raise InputError(msg, path=path)
        msg = f"{path}: nothing within {bounds} (west, south, east, north)"
        raise CoverageError(msg, bounds=bounds)
    if count > _MAX_POINTS:
        msg = f"{path}: {count:,} points, more than {_MAX_POINTS:,}; {_HINT}"
        raise InputError(msg, path=path)
    points = shapely.get_coordinates(shapes)
    if not np.isfinite(points).all():
        msg = f"{path}: has coordinates that are not finite numbers"
        raise InputError(msg, path=path)
    if crs.is_geographic and (np.abs(points) > (540.0, 90.0)).any():
        what = "states no CRS and" if assumed else f"is in {crs.name} but"
        msg = f"{path}: {what} has coordinates outside longitude and latitude; state its CRS"
        raise InputError(msg, path=path, field="crs")


def _one_line(fault: Exception) -> str:
    return " ".join(str(fault).split())[:300]

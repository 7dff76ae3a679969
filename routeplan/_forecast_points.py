"""Grids whose points have a latitude and a longitude each: projected, rotated, unstructured.

They are brought to a latitude-longitude grid of about their own spacing by linear
interpolation on the Delaunay triangles of the points in the box. Vectors given along such a
grid's own axes are turned by the angle of its x axis against east, which is measured from the
points themselves, so that any projection is served alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast_fields import RegularGrid, Request, check_size, no_overlap
from routeplan.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = [
    "PointCut",
    "PointGrid",
    "axis_angle",
    "cut_points",
    "lattice",
    "resample",
    "separable",
]

_MARGIN_CELLS = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class PointGrid:
    """Points in degrees; `angle` is that of the grid's x axis from east, radians, or None."""

    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    angle: NDArray[np.float64] | None

    @property
    def shape(self) -> tuple[int, ...]:
        """Number of points, as a shape."""
        return (self.latitude.size,)

    def same(self, other: Any) -> bool:
        """Whether another grid has the same points."""
        return (
            isinstance(other, PointGrid)
            and self.shape == other.shape
            and bool(np.allclose(self.latitude, other.latitude, rtol=0, atol=1e-5))
            and bool(np.allclose(self.longitude, other.longitude, rtol=0, atol=1e-5))
        )


@dataclass(frozen=True, slots=True, eq=False)
class PointCut:
    """Flat indices of the points that a box needs, and the grid that they make."""

    index: NDArray[np.int64]
    grid: PointGrid


def axis_angle(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> NDArray[np.float64]:
    """Angle of the direction of growing columns, counter-clockwise from east, in radians.

    Parameters
    ----------
    lat, lon
        Shape (rows, columns). [degrees]

    Notes
    -----
    The chord between the neighbours of a point, as vectors in space, resolved along east and
    north there. Second order in the spacing, at the rim too.
    """
    phi, lam = np.radians(lat), np.radians(lon)
    place = np.stack([np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)])
    along = np.empty_like(place)
    along[:, :, 1:-1] = place[:, :, 2:] - place[:, :, :-2]
    # At the rim a parabola through three points keeps the second order.
    along[:, :, 0] = 4.0 * place[:, :, 1] - 3.0 * place[:, :, 0] - place[:, :, 2]
    along[:, :, -1] = 3.0 * place[:, :, -1] - 4.0 * place[:, :, -2] + place[:, :, -3]
    east = np.stack([-np.sin(lam), np.cos(lam), np.zeros_like(lam)])
    north = np.stack([-np.sin(phi) * np.cos(lam), -np.sin(phi) * np.sin(lam), np.cos(phi)])
    return np.asarray(np.arctan2((along * north).sum(axis=0), (along * east).sum(axis=0)))


def separable(
    lat: NDArray[np.float64], lon: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """Axes of a grid given point by point, if a row has one latitude, a column one longitude."""
    turned = (lon - lon[:1] + 180.0) % 360.0 - 180.0
    if np.ptp(lat, axis=1).max() > 1e-4 or np.ptp(turned, axis=0).max() > 1e-4:
        return None
    return lat[:, 0], lon[0]


def cut_points(
    lat: NDArray[np.float64],
    lon: NDArray[np.float64],
    angle: NDArray[np.float64] | None,
    request: Request,
    path: Path,
) -> PointCut:
    """Select the points within a box and a few cells around it.

    Raises
    ------
    InputError
        When positions are not degrees.
    CoverageError
        When the box and the grid have nothing in common.
    """
    y, x = np.asarray(lat, float).ravel(), np.asarray(lon, float).ravel()
    known = np.isfinite(y) & np.isfinite(x)
    if known.sum() < 3 or np.abs(y[known]).max() > 90.0001 or np.abs(x[known]).max() > 720.0:
        msg = f"{path}: grid positions are not degrees; allowed are -90..90 and -180..360"
        raise InputError(msg, path=path, field="latitude")
    centre = _centre(x[known]) if request.bounds is None else _middle(request.bounds)
    x = centre - 180.0 + (x - centre + 180.0) % 360.0
    if request.bounds is not None:
        west, south, east, north = request.bounds
        pad_y = _MARGIN_CELLS * _spacing(y[known], x[known])
        pad_x = pad_y / max(np.cos(np.radians(max(abs(south), abs(north)))), 0.05)
        inside = known & (y >= south - pad_y) & (y <= north + pad_y)
        inside &= (x >= west - pad_x) & (x <= east + pad_x)
        if inside.sum() < 3:
            raise no_overlap(np.sort(y[known]), np.sort(x[known]), request.bounds, path)
        known = inside
    index = np.flatnonzero(known)
    turned = None if angle is None else angle.ravel()[index]
    return PointCut(index, PointGrid(y[index], x[index], turned))


def lattice(grid: PointGrid, request: Request, path: Path) -> RegularGrid:
    """Choose a latitude-longitude grid of about the spacing of the points, over the same area."""
    step_y = _spacing(grid.latitude, grid.longitude)
    step_x = step_y / max(np.cos(np.radians(np.abs(grid.latitude).max())), 0.05)
    west, east = float(grid.longitude.min()), float(grid.longitude.max())
    south, north = float(grid.latitude.min()), float(grid.latitude.max())
    if request.bounds is not None:
        west, east = max(west, request.bounds[0] - step_x), min(east, request.bounds[2] + step_x)
        south, north = (
            max(south, request.bounds[1] - step_y),
            min(north, request.bounds[3] + step_y),
        )
    rows = max(int(np.ceil((north - south) / step_y)) + 1, 2)
    columns = max(int(np.ceil((east - west) / step_x)) + 1, 2)
    check_size(rows * columns, path)
    return RegularGrid(np.linspace(south, north, rows), np.linspace(west, east, columns))


def resample(
    data: NDArray[np.float64], source: RegularGrid | PointGrid, target: RegularGrid
) -> NDArray[np.float64]:
    """Bring (times, members, *source.shape) to (times, members, *target.shape).

    Linear; nan outside the source and where a point that counts is nan.
    """
    corner, weight = (
        _bilinear(source, target) if isinstance(source, RegularGrid) else _triangles(source, target)
    )
    flat = data.reshape(*data.shape[:2], -1)
    out = np.zeros((*flat.shape[:2], corner.shape[1]))
    for index, share in zip(corner, weight, strict=True):
        part = flat[:, :, index] * share
        part[:, :, share == 0.0] = 0.0
        out += part
    out[:, :, np.isnan(weight).any(axis=0)] = np.nan
    return out.reshape(*data.shape[:2], *target.shape)


def _bilinear(
    source: RegularGrid, target: RegularGrid
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    row, up = _axis_weights(source.latitude, target.latitude)
    shift = np.round((target.longitude.mean() - source.longitude.mean()) / 360.0) * 360.0
    column, across = _axis_weights(source.longitude + shift, target.longitude)
    width = source.longitude.size
    right, high = np.minimum(column + 1, width - 1), np.minimum(row + 1, source.latitude.size - 1)
    corner = [np.add.outer(r * width, c).ravel() for r in (row, high) for c in (column, right)]
    weight = [np.outer(u, a).ravel() for u in (1.0 - up, up) for a in (1.0 - across, across)]
    return np.stack(corner), np.stack(weight)


def _axis_weights(
    axis: NDArray[np.float64], at: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    index = np.clip(np.searchsorted(axis, at, side="right") - 1, 0, max(axis.size - 2, 0))
    if axis.size == 1:
        return index, np.where(np.abs(at - axis[0]) < 1e-6, 0.0, np.nan)
    share = (at - axis[index]) / (axis[index + 1] - axis[index])
    near = np.where(np.abs(share - np.round(share)) < 1e-9, np.round(share), share)
    return index, np.where((near >= 0.0) & (near <= 1.0), near, np.nan)


def _triangles(
    source: PointGrid, target: RegularGrid
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    from scipy.spatial import Delaunay, QhullError  # only needed for such grids

    shrink = np.cos(np.radians(source.latitude.mean()))
    nodes = np.column_stack([source.longitude * shrink, source.latitude])
    x, y = np.meshgrid(target.longitude * shrink, target.latitude)
    at = np.column_stack([x.ravel(), y.ravel()])
    try:
        mesh = Delaunay(nodes)
    except QhullError as err:
        msg = "grid points lie on one line; allowed is a grid that covers an area"
        raise InputError(msg, field="grid") from err
    found = mesh.find_simplex(at)
    inverse = mesh.transform[found]
    part = np.einsum("nij,nj->ni", inverse[:, :2], at - inverse[:, 2])
    weight = np.column_stack([part, 1.0 - part.sum(axis=1)])
    weight[np.abs(weight) < 1e-9] = 0.0
    weight[found < 0] = np.nan
    return mesh.simplices[found].T.astype(np.int64), weight.T


def _spacing(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> float:
    """Mean spacing of points from the area that they cover, in degrees of latitude."""
    from scipy.spatial import ConvexHull, QhullError

    shrink = max(np.cos(np.radians(np.abs(lat).mean())), 0.05)
    try:
        area = ConvexHull(np.column_stack([lon * shrink, lat])).volume
    except QhullError as err:
        msg = "grid points lie on one line; allowed is a grid that covers an area"
        raise InputError(msg, field="grid") from err
    return float(np.sqrt(area / lat.size))


def _centre(lon: NDArray[np.float64]) -> float:
    """Middle of the longitudes, wherever the seam is."""
    lam = np.radians(lon)
    return float(np.degrees(np.arctan2(np.sin(lam).mean(), np.cos(lam).mean())))


def _middle(bounds: tuple[float, float, float, float]) -> float:
    return (bounds[0] + bounds[2]) / 2.0

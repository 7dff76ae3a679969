"""Linear interpolation of whole grids to a latitude-longitude grid.

From rows and columns bilinear in the source's own row and column numbers; from scattered
points linear on their Delaunay triangles. A target point outside the source is unknown, and
so is one that needs an unknown value.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from routeplan._forecast.fields import RegularGrid
from routeplan._forecast.points import PointGrid
from routeplan.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Weights = tuple[NDArray[np.int64], NDArray[np.float64]]  # (corners, targets) each

__all__ = ["Resampler"]

_NEWTON_STEPS = 12
_EDGE = 1e-6  # of a cell: a target on the rim is inside despite rounding


class Resampler:
    """Interpolation from one grid to another, its weights worked out once."""

    def __init__(self, source: RegularGrid | PointGrid, target: RegularGrid) -> None:
        self.source, self.target = source, target
        if isinstance(source, RegularGrid):
            self._corner, self._weight = _regular(source, target)
        elif source.latitude.ndim == 2:
            self._corner, self._weight = _curvilinear(source, target)
        else:
            self._corner, self._weight = _scattered(source, target)

    def apply(self, data: NDArray[np.float64]) -> NDArray[np.float64]:
        """Bring (times, members, *source.shape) to (times, members, *target.shape)."""
        flat = data.reshape(*data.shape[:2], -1)
        out = np.zeros((*flat.shape[:2], self._corner.shape[1]))
        for index, share in zip(self._corner, self._weight, strict=True):
            part = flat[:, :, index] * share
            part[:, :, share == 0.0] = 0.0  # a neighbour that does not count may be unknown
            out += part
        out[:, :, np.isnan(self._weight).any(axis=0)] = np.nan
        return out.reshape(*data.shape[:2], *self.target.shape)


def _regular(source: RegularGrid, target: RegularGrid) -> Weights:
    shift = np.round((target.longitude.mean() - source.longitude.mean()) / 360.0) * 360.0
    row = _position(source.latitude, target.latitude)
    column = _position(source.longitude + shift, target.longitude)
    rows, columns = np.meshgrid(row, column, indexing="ij")
    return _corners(rows.ravel(), columns.ravel(), source.shape)


def _position(axis: NDArray[np.float64], at: NDArray[np.float64]) -> NDArray[np.float64]:
    """Fractional index of values along an ascending axis; nan outside."""
    index = np.interp(at, axis, np.arange(axis.size), left=np.nan, right=np.nan)
    return np.where(np.abs(at - axis[0]) < 1e-9, 0.0, index)


def _corners(
    row: NDArray[np.float64], column: NDArray[np.float64], shape: tuple[int, ...]
) -> Weights:
    """The four corners of the cell that fractional rows and columns lie in, bilinear weights."""
    height, width = shape
    row, column = _snap(row, height), _snap(column, width)
    low = np.clip(np.nan_to_num(np.floor(row)), 0, max(height - 2, 0)).astype(np.int64)
    left = np.clip(np.nan_to_num(np.floor(column)), 0, max(width - 2, 0)).astype(np.int64)
    high, right = np.minimum(low + 1, height - 1), np.minimum(left + 1, width - 1)
    up, across = row - low, column - left
    corner = [r * width + c for r in (low, high) for c in (left, right)]
    weight = [u * a for u in (1.0 - up, up) for a in (1.0 - across, across)]
    return np.stack(corner), np.stack(weight)


def _snap(position: NDArray[np.float64], size: int) -> NDArray[np.float64]:
    """Whole numbers where rounding alone keeps them apart; nan outside the axis."""
    whole = np.round(position)
    position = np.where(np.abs(position - whole) < _EDGE, whole, position)
    return np.where((position >= 0.0) & (position <= size - 1.0), position, np.nan)


def _curvilinear(source: PointGrid, target: RegularGrid) -> Weights:
    """Find each target's row and column by Newton's method, from its nearest point on."""
    from scipy.spatial import cKDTree  # only needed for such grids

    lat, lon = (a.ravel() for a in np.meshgrid(target.latitude, target.longitude, indexing="ij"))
    height, width = source.shape
    if min(height, width) < 2:
        msg = f"a projected grid of {height} by {width} points; allowed are 2 by 2 and more"
        raise InputError(msg, field="grid")
    known = np.flatnonzero(np.isfinite(source.latitude) & np.isfinite(source.longitude))
    tree = cKDTree(_vectors(source.latitude.flat[known], source.longitude.flat[known]))
    nearest = known[tree.query(_vectors(lat, lon))[1]]
    row, column = (i.astype(np.float64) for i in np.divmod(nearest, width))
    shrink = np.maximum(np.cos(np.radians(lat)), 1e-6)
    for _ in range(_NEWTON_STEPS):
        low = np.clip(np.floor(row), 0, height - 2).astype(np.int64)
        left = np.clip(np.floor(column), 0, width - 2).astype(np.int64)
        x, y = _offsets(source, low, left, lon, lat, shrink)
        u, v = row - low, column - left
        east, north = _blend(x, u, v), _blend(y, u, v)
        along = [_slope(z, u) for z in (x, y)]
        upward = [_slope(z.transpose(1, 0, 2), v) for z in (x, y)]
        area = along[0] * upward[1] - along[1] * upward[0]
        with np.errstate(divide="ignore", invalid="ignore"):
            column = column - (east * upward[1] - north * upward[0]) / area
            row = row - (along[0] * north - along[1] * east) / area
        row, column = np.clip(row, -1.0, height), np.clip(column, -1.0, width)
    return _corners(row, column, source.shape)


def _offsets(
    source: PointGrid,
    low: NDArray[np.int64],
    left: NDArray[np.int64],
    lon: NDArray[np.float64],
    lat: NDArray[np.float64],
    shrink: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Degrees east and north from each target to the corners of its cell, (2, 2, targets)."""
    rows = np.stack([low, low + 1])[:, np.newaxis]
    columns = np.stack([left, left + 1])[np.newaxis, :]
    east = (source.longitude[rows, columns] - lon + 180.0) % 360.0 - 180.0
    return east * shrink, source.latitude[rows, columns] - lat


def _blend(
    z: NDArray[np.float64], u: NDArray[np.float64], v: NDArray[np.float64]
) -> NDArray[np.float64]:
    low = z[0, 0] * (1 - v) + z[0, 1] * v
    high = z[1, 0] * (1 - v) + z[1, 1] * v
    return np.asarray(low * (1 - u) + high * u)


def _slope(z: NDArray[np.float64], share: NDArray[np.float64]) -> NDArray[np.float64]:
    """Derivative along the second axis, at a share of the way along the first."""
    slope = (z[0, 1] - z[0, 0]) * (1 - share) + (z[1, 1] - z[1, 0]) * share
    return np.asarray(slope)


def _vectors(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> NDArray[np.float64]:
    phi, lam = np.radians(lat), np.radians(lon)
    return np.column_stack([np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)])


def _scattered(source: PointGrid, target: RegularGrid) -> Weights:
    from scipy.spatial import ConvexHull, Delaunay, QhullError  # only needed for such grids

    shrink = np.cos(np.radians(source.latitude.mean()))
    nodes = np.column_stack([source.longitude * shrink, source.latitude])
    lat, lon = (a.ravel() for a in np.meshgrid(target.latitude, target.longitude, indexing="ij"))
    at = np.column_stack([lon * shrink, lat])
    try:
        mesh, hull = Delaunay(nodes), ConvexHull(nodes)
    except QhullError as err:
        msg = "grid points lie on one line; allowed is a grid that covers an area"
        raise InputError(msg, field="grid") from err
    # The mesh is searched as a whole for every point outside it: leave those out first.
    inside = (at @ hull.equations[:, :2].T + hull.equations[:, 2] <= 1e-9).all(axis=1)
    found = np.full(at.shape[0], -1)
    found[inside] = mesh.find_simplex(at[inside])
    inverse = mesh.transform[found]
    part = np.einsum("nij,nj->ni", inverse[:, :2], at - inverse[:, 2])
    weight = np.column_stack([part, 1.0 - part.sum(axis=1)])
    weight[np.abs(weight) < _EDGE] = 0.0
    weight[found < 0] = np.nan
    return mesh.simplices[found].T.astype(np.int64), weight.T

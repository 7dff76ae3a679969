"""Which grid cells surround a point, with what weight, and which sea cell is nearest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from routeplan.geodesy import inverse

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Cells", "gather", "locate", "nearest_sea"]

_EDGE_DEG = 1e-9  # a point on the rim of the grid is inside despite rounding
_METRES_PER_DEGREE = 110_574.0  # of latitude where it is shortest, at the equator (WGS84)


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """For each of n points the four surrounding grid points, in a window of the grid."""

    rows: slice
    columns: slice
    latitude: NDArray[np.float64]  # of the window
    longitude: NDArray[np.float64]
    corner: NDArray[np.int64]  # (4, n) flat index into the window
    weight: NDArray[np.float64]  # (4, n)
    inside: NDArray[np.bool_]  # (n,)


def locate(
    grid_x: NDArray[np.float64],
    grid_y: NDArray[np.float64],
    lon: NDArray[np.float64],
    lat: NDArray[np.float64],
    *,
    margin_m: float = 0.0,
) -> Cells:
    """Find the cells of points; the window is the smallest that holds them and a margin."""
    # The grid's own convention: the same meridian, counted from its western edge.
    along = grid_x[0] - _EDGE_DEG + (lon - grid_x[0] + _EDGE_DEG) % 360.0
    column, across, inside_x = _bracket(grid_x, along)
    row, up, inside_y = _bracket(grid_y, lat)
    pad_y = margin_m / _METRES_PER_DEGREE
    widest = np.cos(np.radians(min(np.abs(lat).max(initial=0.0) + pad_y, 89.0)))
    rows = _extent(grid_y, row, pad_y)
    columns = _extent(grid_x, column, pad_y / widest)
    height, width = rows.stop - rows.start, columns.stop - columns.start
    low, left = row - rows.start, column - columns.start
    high, right = np.minimum(low + 1, height - 1), np.minimum(left + 1, width - 1)
    return Cells(
        rows,
        columns,
        grid_y[rows],
        grid_x[columns],
        np.stack([r * width + c for r in (low, high) for c in (left, right)]),
        np.stack([u * a for u in (1.0 - up, up) for a in (1.0 - across, across)]),
        inside_x & inside_y,
    )


def gather(flat: NDArray[np.float64], cells: Cells) -> NDArray[np.float64]:
    """Weighted sum of the corners: (times, members, cells) to (times, members, points)."""
    out = np.zeros((*flat.shape[:2], cells.inside.size))
    for corner, weight in zip(cells.corner, cells.weight, strict=True):
        part = flat[:, :, corner] * weight
        part[:, :, weight == 0.0] = 0.0  # a neighbour that does not count may be unknown
        out += part
    return out


def nearest_sea(
    sea: NDArray[np.bool_],
    cells: Cells,
    lon: NDArray[np.float64],
    lat: NDArray[np.float64],
    limit_m: float,
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Flat index of the nearest sea cell of each point and its distance, nan beyond the limit."""
    from scipy.spatial import cKDTree  # slow to import, only needed beside masked cells

    index = np.flatnonzero(sea)
    if not index.size:
        return np.zeros(lon.size, dtype=np.int64), np.full(lon.size, np.nan)
    row, column = np.divmod(index, cells.longitude.size)
    x, y = cells.longitude[column], cells.latitude[row]
    found = index[cKDTree(_vectors(x, y)).query(_vectors(lon, lat))[1]]
    row, column = np.divmod(found, cells.longitude.size)
    wrapped = (cells.longitude[column] + 180.0) % 360.0 - 180.0
    _, distance = inverse((lon + 180.0) % 360.0 - 180.0, lat, wrapped, cells.latitude[row])
    return found, np.where(distance <= limit_m, distance, np.nan)


def _bracket(
    axis: NDArray[np.float64], at: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.bool_]]:
    """Index of the grid point below, share of the way to the next, and whether inside."""
    inside = (at >= axis[0] - _EDGE_DEG) & (at <= axis[-1] + _EDGE_DEG)
    clipped = np.clip(at, axis[0], axis[-1])
    index = np.clip(np.searchsorted(axis, clipped, side="right") - 1, 0, max(axis.size - 2, 0))
    if axis.size == 1:
        return index, np.zeros(at.shape), inside
    share = (clipped - axis[index]) / (axis[index + 1] - axis[index])
    return index, share, inside


def _extent(axis: NDArray[np.float64], index: NDArray[np.int64], margin: float) -> slice:
    """Slice of an axis that holds the given cells and a margin in its own units."""
    if not index.size:
        return slice(0, 1)
    low, high = int(index.min()), min(int(index.max()) + 1, axis.size - 1)
    if margin > 0.0:
        low = min(low, int(np.searchsorted(axis, axis[low] - margin)))
        high = max(high, int(np.searchsorted(axis, axis[high] + margin, side="right")) - 1)
    return slice(low, high + 1)


def _vectors(lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.float64]:
    phi, lam = np.radians(lat), np.radians(lon)
    return np.column_stack([np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)])

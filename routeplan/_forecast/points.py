"""Grids whose points have a latitude and a longitude each: projected, rotated, unstructured.

They are resampled to a latitude-longitude grid of about their own spacing. Vectors given along
such a grid's own axes are turned by the angle of its x axis against east, which is measured
from the points themselves, so that any projection is served alike.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast.fields import RegularGrid, Request, check_size, no_overlap
from routeplan.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["PointCut", "PointGrid", "axis_angle", "cut_points", "lattice", "separable"]

_MARGIN_CELLS = 3.0
_MAX_SCATTERED = 500_000  # points without rows and columns are slow to put into triangles


@dataclass(frozen=True, slots=True, eq=False)
class PointGrid:
    """Points in degrees, in rows and columns (2-d) or scattered (1-d).

    `angle` is that of the grid's x axis from east, radians, or None where it is not known.
    """

    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]
    angle: NDArray[np.float64] | None

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the arrays of points."""
        return self.latitude.shape

    def same(self, other: Any) -> bool:
        """Whether another grid has the same points."""
        return (
            isinstance(other, PointGrid)
            and self.shape == other.shape
            and bool(np.allclose(self.latitude, other.latitude, rtol=0, atol=1e-5, equal_nan=True))
            and bool(
                np.allclose(self.longitude, other.longitude, rtol=0, atol=1e-5, equal_nan=True)
            )
        )


@dataclass(frozen=True, slots=True, eq=False)
class PointCut:
    """Index of the points that a box needs (slices of rows and columns, or a list), their grid."""

    take: tuple[Any, ...]
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
    y, x = np.asarray(lat, float), np.asarray(lon, float)
    known = np.isfinite(y) & np.isfinite(x)
    if known.sum() < 4 or np.abs(y[known]).max() > 90.0001 or np.abs(x[known]).max() > 720.0:
        msg = f"{path}: grid positions are not degrees; allowed are -90..90 and -180..360"
        raise InputError(msg, path=path, field="latitude")
    centre = _centre(x[known])
    if request.bounds is not None:
        centre = (request.bounds[0] + request.bounds[2]) / 2.0
    x = centre - 180.0 + (x - centre + 180.0) % 360.0
    inside = known
    if request.bounds is not None:
        inside = known & _within(y, x, request.bounds)
        if not inside.any():
            raise no_overlap(np.sort(y[known]), np.sort(x[known]), request.bounds, path)
    take: tuple[Any, ...] = (np.flatnonzero(inside),)
    if y.ndim == 2:
        take = tuple(slice(int(i.min()), int(i.max()) + 1) for i in np.nonzero(inside))
    elif take[0].size > _MAX_SCATTERED:
        msg = (
            f"{path}: {take[0].size} scattered grid points; at most {_MAX_SCATTERED} are allowed: "
            f"ask for a smaller box"
        )
        raise InputError(msg, path=path)
    return PointCut(take, PointGrid(y[take], x[take], None if angle is None else angle[take]))


def lattice(grid: PointGrid, request: Request, path: Path) -> RegularGrid:
    """Choose a latitude-longitude grid of about the spacing of the points, over the same area."""
    known = np.isfinite(grid.latitude) & np.isfinite(grid.longitude)
    lat, lon = grid.latitude[known], grid.longitude[known]
    step_y = _spacing(grid.latitude, grid.longitude)
    step_x = step_y / _shrink(np.abs(lat).max())
    west, east, south, north = lon.min(), lon.max(), lat.min(), lat.max()
    if request.bounds is not None:
        west, east = max(west, request.bounds[0] - step_x), min(east, request.bounds[2] + step_x)
        south = max(south, request.bounds[1] - step_y)
        north = min(north, request.bounds[3] + step_y)
    rows = max(int(np.ceil((north - south) / step_y)) + 1, 2)
    columns = max(int(np.ceil((east - west) / step_x)) + 1, 2)
    check_size(rows * columns, path)
    return RegularGrid(np.linspace(south, north, rows), np.linspace(west, east, columns))


def _within(
    lat: NDArray[np.float64], lon: NDArray[np.float64], bounds: tuple[float, float, float, float]
) -> NDArray[np.bool_]:
    west, south, east, north = bounds
    pad_y = _MARGIN_CELLS * _spacing(lat, lon)
    pad_x = pad_y / _shrink(max(abs(south), abs(north)))
    inside = (lat >= south - pad_y) & (lat <= north + pad_y)
    return np.asarray(inside & (lon >= west - pad_x) & (lon <= east + pad_x))


def _spacing(lat: NDArray[np.float64], lon: NDArray[np.float64]) -> float:
    """Typical spacing of points, in degrees of latitude."""
    shrink = np.cos(np.radians(lat))
    if lat.ndim == 2:
        steps = []
        for axis in (0, 1):
            east = (np.diff(lon, axis=axis) + 180.0) % 360.0 - 180.0
            east = east * np.delete(shrink, -1, axis=axis)
            steps.append(np.hypot(east, np.diff(lat, axis=axis)).ravel())
        together = np.concatenate(steps)
        together = together[together > 0.0]
        return float(np.median(together)) if together.size else 1.0
    known = np.isfinite(lat) & np.isfinite(lon)
    area = np.ptp(lat[known]) * np.ptp(lon[known]) * shrink[known].mean()
    return max(float(np.sqrt(area / known.sum())), 1e-4)


def _shrink(lat: float) -> float:
    return max(float(np.cos(np.radians(lat))), 0.05)


def _centre(lon: NDArray[np.float64]) -> float:
    """Middle of the longitudes, wherever the seam is."""
    lam = np.radians(lon)
    return float(np.degrees(np.arctan2(np.sin(lam).mean(), np.cos(lam).mean())))

"""Grids of GRIB messages: axes, scanning order, and the part that is wanted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from routeplan._forecast.eccodes import load_eccodes
from routeplan._forecast.fields import RegularGrid, Request, cut_regular
from routeplan._forecast.points import PointGrid, axis_angle, cut_points, separable
from routeplan.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    Pick = Callable[[NDArray[np.float64]], NDArray[np.float64]]

__all__ = ["GribGrid", "grib_grid"]

_MAX_POINTS = 50_000_000  # of one message; a header of a few bytes can claim any number
_MAX_ROW = 20_000
_MISSING = 1e34
_REGULAR = ("regular_ll", "regular_gg")
_PROJECTED = (
    "albers",
    "lambert",
    "lambert_azimuthal_equal_area",
    "mercator",
    "polar_stereographic",
    "rotated_gg",
    "rotated_ll",
)


@dataclass(frozen=True, slots=True, eq=False)
class GribGrid:
    """How to read the wanted part of every message on one grid."""

    cut: RegularGrid | PointGrid
    count: int  # values that a message must have
    along_grid: bool  # whether "along the grid's axes" differs from "east and north"
    pick: Pick

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the part that is kept."""
        return self.cut.shape

    @property
    def size(self) -> int:
        """Number of grid points kept."""
        return int(np.prod(self.shape))

    def relative(self, handle: int) -> bool:
        """Whether a vector of this message must be turned to point east and north."""
        return self.along_grid and bool(_number(handle, "uvRelativeToGrid"))

    def values(self, handle: int, path: Path) -> NDArray[np.float64]:
        """Decode a message and keep the wanted part; missing is nan."""
        eccodes = load_eccodes()

        claimed = _number(handle, "numberOfPoints") or _number(handle, "numberOfDataPoints")
        if claimed != self.count:
            msg = f"{path}: damaged GRIB file ({claimed} values on a grid of {self.count} points)"
            raise InputError(msg, path=path)
        eccodes.codes_set(handle, "missingValue", _MISSING)
        raw = np.array(eccodes.codes_get_values(handle), dtype=np.float64)
        if raw.size != self.count:
            msg = f"{path}: damaged GRIB file ({raw.size} values on a grid of {self.count} points)"
            raise InputError(msg, path=path)
        raw[raw == _MISSING] = np.nan
        return self.pick(raw)


def grib_grid(handle: int, request: Request, path: Path) -> GribGrid:
    """Read the grid of a message.

    Raises
    ------
    InputError
        When it is of a kind that cannot be used, or claims too many points.
    """
    kind = _text(handle, "gridType")
    if kind in ("reduced_gg", "reduced_ll"):
        return _reduced(handle, request, path)
    if kind not in _REGULAR + _PROJECTED:
        msg = (
            f"{path}: grid of type {kind}; allowed are latitude-longitude, Gaussian, Lambert, "
            f"Mercator, polar stereographic and rotated grids"
        )
        raise InputError(msg, path=path, field="gridType", value=kind)
    columns = _number(handle, "Ni") or _number(handle, "Nx")
    rows = _number(handle, "Nj") or _number(handle, "Ny")
    if rows <= 0 or columns <= 0 or rows * columns > _MAX_POINTS:
        msg = f"{path}: a grid of {rows} by {columns} points; at most {_MAX_POINTS} are allowed"
        raise InputError(msg, path=path)
    make = _regular if kind in _REGULAR else _projected
    return make(handle, (rows, columns), request, path)


def _regular(handle: int, shape: tuple[int, int], request: Request, path: Path) -> GribGrid:
    lat, lon = _axes(handle, shape)
    window = cut_regular(lat, lon, request, path)
    table, take = _table(handle, shape), np.ix_(window.rows, window.columns)
    return GribGrid(window.grid, shape[0] * shape[1], False, lambda raw: table(raw)[take])


def _projected(handle: int, shape: tuple[int, int], request: Request, path: Path) -> GribGrid:
    eccodes = load_eccodes()

    if _number(handle, "iScansNegatively") or _number(handle, "jPointsAreConsecutive"):
        msg = f"{path}: projected grid scanned from the east or by columns; allowed is west to east"
        raise InputError(msg, path=path, field="scanningMode")
    count = shape[0] * shape[1]
    if (_number(handle, "numberOfPoints") or _number(handle, "numberOfDataPoints")) != count:
        msg = f"{path}: damaged GRIB file (a grid of {shape[0]} by {shape[1]} points is not full)"
        raise InputError(msg, path=path)
    lat = np.asarray(eccodes.codes_get_array(handle, "latitudes"), dtype=float).reshape(shape)
    lon = np.asarray(eccodes.codes_get_array(handle, "longitudes"), dtype=float).reshape(shape)
    table = _table(handle, shape)
    axes = separable(lat, lon)
    if axes is not None:
        window = cut_regular(axes[0], axes[1], request, path)
        take = np.ix_(window.rows, window.columns)
        return GribGrid(window.grid, count, False, lambda raw: table(raw)[take])
    points = cut_points(lat, lon, axis_angle(lat, lon), request, path)
    return GribGrid(points.grid, count, True, lambda raw: table(raw)[points.take])


def _reduced(handle: int, request: Request, path: Path) -> GribGrid:
    """Rows of different lengths: each is interpolated to the longest, which is periodic."""
    eccodes = load_eccodes()

    count = _number(handle, "numberOfPoints") or _number(handle, "numberOfDataPoints")
    if count > _MAX_POINTS:
        msg = f"{path}: a grid of {count} points; at most {_MAX_POINTS} are allowed"
        raise InputError(msg, path=path)
    lengths = np.asarray(eccodes.codes_get_array(handle, "pl"), dtype=np.int64)
    whole = lengths.sum() == count and lengths.min() > 0
    if not whole or _text(handle, "gridType") != "reduced_gg":
        lat = np.asarray(eccodes.codes_get_array(handle, "latitudes"), dtype=float)
        lon = np.asarray(eccodes.codes_get_array(handle, "longitudes"), dtype=float)
        points = cut_points(lat, lon, None, request, path)
        return GribGrid(points.grid, lat.size, False, lambda raw: raw[points.take])
    lat = np.sort(np.asarray(eccodes.codes_get_array(handle, "distinctLatitudes"), dtype=float))
    if lat.size != lengths.size or lengths.max() > _MAX_ROW:
        msg = f"{path}: damaged GRIB file (rows of a reduced grid do not add up); fetch it again"
        raise InputError(msg, path=path)
    first = float(eccodes.codes_get_double(handle, "longitudeOfFirstGridPointInDegrees"))
    lon = first + np.arange(lengths.max()) * 360.0 / lengths.max()
    window = cut_regular(lat[::-1], lon, request, path)
    starts = np.concatenate([[0], np.cumsum(lengths)[:-1]])

    def pick(raw: NDArray[np.float64]) -> NDArray[np.float64]:
        out = np.empty(window.grid.shape)
        for i, row in enumerate(window.rows):
            length = int(lengths[row])
            values = raw[starts[row] : starts[row] + length]
            at = (lon[window.columns] - first) % 360.0 * length / 360.0
            low = np.floor(at + 1e-9).astype(np.int64)
            share = np.where(at - low < 1e-9, 0.0, at - low)
            after = np.where(share == 0.0, 0.0, values[(low + 1) % length] * share)
            out[i] = values[low % length] * (1.0 - share) + after
        return out

    return GribGrid(window.grid, count, False, pick)


def _axes(handle: int, shape: tuple[int, int]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Latitudes and longitudes in the order in which the message has them."""
    eccodes = load_eccodes()

    def degrees(key: str) -> float:
        return float(eccodes.codes_get_double(handle, key + "GridPointInDegrees"))

    rows, columns = shape
    first, last = degrees("longitudeOfFirst"), degrees("longitudeOfLast")
    if _number(handle, "iScansNegatively"):
        lon = first - np.linspace(0.0, (first - last) % 360.0, columns)
    else:
        lon = first + np.linspace(0.0, (last - first) % 360.0, columns)
    if _text(handle, "gridType") == "regular_ll":
        return np.linspace(degrees("latitudeOfFirst"), degrees("latitudeOfLast"), rows), lon
    lat = np.sort(np.asarray(eccodes.codes_get_array(handle, "distinctLatitudes"), dtype=float))
    return (lat if _number(handle, "jScansPositively") else lat[::-1]), lon


def _table(handle: int, shape: tuple[int, int]) -> Pick:
    """Arrange values of a message as rows and columns, whatever the order they come in."""
    winding = bool(_number(handle, "alternativeRowScanning"))
    by_columns = bool(_number(handle, "jPointsAreConsecutive"))

    def arrange(raw: NDArray[np.float64]) -> NDArray[np.float64]:
        table = raw.reshape(shape[::-1] if by_columns else shape)
        if winding:
            table = table.copy()
            table[1::2] = table[1::2, ::-1]
        return table.T if by_columns else table

    return arrange


def _number(handle: int, key: str) -> int:
    eccodes = load_eccodes()

    try:
        return int(eccodes.codes_get_long(handle, key))
    except eccodes.KeyValueNotFoundError:
        return 0


def _text(handle: int, key: str) -> str:
    eccodes = load_eccodes()

    try:
        return str(eccodes.codes_get_string(handle, key))
    except eccodes.KeyValueNotFoundError:
        return "unknown"

"""Grids of GRIB messages: axes, scanning order, and the part that is wanted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast_fields import Cut, Request, cut_regular
from routeplan.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["GribGrid", "grib_grid"]

_MAX_POINTS = 50_000_000  # of one message; a header of a few bytes can claim any number
_MISSING = 1e34
_REGULAR = ("regular_ll", "regular_gg")


@dataclass(frozen=True, slots=True, eq=False)
class GribGrid:
    """How to read the wanted part of every message on one grid."""

    kind: str
    full_shape: tuple[int, int]
    boustrophedon: bool
    by_columns: bool
    window: Cut
    cut: Any

    @property
    def shape(self) -> tuple[int, ...]:
        """Shape of the part that is kept."""
        return tuple(self.cut.shape)

    @property
    def size(self) -> int:
        """Number of grid points kept."""
        return int(np.prod(self.shape))

    def relative(self, handle: int) -> bool:
        """Whether a vector on this grid is given along the grid's own axes."""
        if self.kind in _REGULAR:
            return False  # the same thing here
        return bool(_number(handle, "uvRelativeToGrid"))

    def values(self, handle: int, path: Path) -> NDArray[np.float64]:
        """Decode a message and keep the wanted part; missing is nan."""
        import eccodes

        eccodes.codes_set(handle, "missingValue", _MISSING)
        raw = np.asarray(eccodes.codes_get_values(handle), dtype=np.float64)
        if raw.size != self.full_shape[0] * self.full_shape[1]:
            msg = f"{path}: damaged GRIB file ({raw.size} values on another size of grid)"
            raise InputError(msg, path=path)
        raw[raw == _MISSING] = np.nan
        table = _arrange(raw, self.full_shape, self.boustrophedon, self.by_columns)
        return table[np.ix_(self.window.rows, self.window.columns)]


def grib_grid(handle: int, request: Request, path: Path) -> GribGrid:
    """Read the grid of a message.

    Raises
    ------
    InputError
        When it is of a kind that cannot be used, or claims too many points.
    """
    kind = _text(handle, "gridType")
    if kind not in _REGULAR:
        msg = f"{path}: grid of type {kind}; allowed are latitude-longitude and Gaussian grids"
        raise InputError(msg, path=path, field="gridType", value=kind)
    columns, rows = _number(handle, "Ni"), _number(handle, "Nj")
    if not (0 < rows * columns <= _MAX_POINTS) or rows < 0:
        msg = f"{path}: a grid of {rows} by {columns} points; at most {_MAX_POINTS} are allowed"
        raise InputError(msg, path=path)
    lat, lon = _axes(handle, kind, rows, columns)
    window = cut_regular(lat, lon, request, path)
    return GribGrid(
        kind,
        (rows, columns),
        bool(_number(handle, "alternativeRowScanning")),
        bool(_number(handle, "jPointsAreConsecutive")),
        window,
        window.grid,
    )


def _axes(
    handle: int, kind: str, rows: int, columns: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Latitudes and longitudes in the order in which the message has them."""
    import eccodes

    def degrees(key: str) -> float:
        return float(eccodes.codes_get_double(handle, key + "GridPointInDegrees"))

    first, last = degrees("longitudeOfFirst"), degrees("longitudeOfLast")
    if _number(handle, "iScansNegatively"):
        lon = first - np.linspace(0.0, (first - last) % 360.0, columns)
    else:
        lon = first + np.linspace(0.0, (last - first) % 360.0, columns)
    if kind == "regular_ll":
        return np.linspace(degrees("latitudeOfFirst"), degrees("latitudeOfLast"), rows), lon
    lat = np.sort(np.asarray(eccodes.codes_get_array(handle, "distinctLatitudes"), dtype=float))
    return (lat if _number(handle, "jScansPositively") else lat[::-1]), lon


def _arrange(
    raw: NDArray[np.float64], shape: tuple[int, int], boustrophedon: bool, by_columns: bool
) -> NDArray[np.float64]:
    """Values of a message as rows and columns."""
    table = raw.reshape(shape[::-1] if by_columns else shape)
    if boustrophedon:
        table = table.copy()
        table[1::2] = table[1::2, ::-1]
    return table.T if by_columns else table


def _number(handle: int, key: str) -> int:
    import eccodes

    try:
        return int(eccodes.codes_get_long(handle, key))
    except eccodes.KeyValueNotFoundError:
        return 0


def _text(handle: int, key: str) -> str:
    import eccodes

    try:
        return str(eccodes.codes_get_string(handle, key))
    except eccodes.KeyValueNotFoundError:
        return "unknown"

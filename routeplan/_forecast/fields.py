"""What readers hand on: fields already cut to the box and hours asked for, with their grid."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast.names import by_name
from routeplan._forecast.units import SI_UNITS, allowed_spellings, si_factor
from routeplan.errors import CoverageError, InputError

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = [
    "GRID_AXES",
    "MAX_BYTES",
    "SURFACE_RANK",
    "Cut",
    "Field",
    "Meta",
    "RegularGrid",
    "Request",
    "check_size",
    "cut_regular",
    "impossible",
    "moment_text",
    "no_overlap",
    "to_si",
]

MAX_BYTES = 2 * 1024**3  # of numbers after cutting; a header can claim anything
# Components along a projected grid's own axes, by what they become when turned.
GRID_AXES = {
    "eastward_wind": "x_wind",
    "northward_wind": "y_wind",
    "eastward_sea_water_velocity": "sea_water_x_velocity",
    "northward_sea_water_velocity": "sea_water_y_velocity",
}
SURFACE_RANK = 10  # of a wind whose level is only called "surface"
_PAD_TIME = np.timedelta64(24, "h")


@dataclass(frozen=True, slots=True)
class Request:
    """Which part of a file is wanted. `bounds` is (west, south, east, north) [degrees]."""

    bounds: tuple[float, float, float, float] | None = None
    time_range: tuple[np.datetime64, np.datetime64] | None = None
    values: bool = True  # False: only what there is, no numbers

    def wants_time(self, times: NDArray[np.datetime64]) -> NDArray[np.bool_]:
        """Times within a day of those asked for: steps on either side are needed to interpolate."""
        if self.time_range is None:
            return np.ones(times.shape, dtype=bool)
        first, last = self.time_range
        return np.asarray((times >= first - _PAD_TIME) & (times <= last + _PAD_TIME))


@dataclass(frozen=True, slots=True, eq=False)
class RegularGrid:
    """Axes of a latitude-longitude grid in degrees, both ascending, after cutting."""

    latitude: NDArray[np.float64]
    longitude: NDArray[np.float64]

    @property
    def shape(self) -> tuple[int, ...]:
        """Rows and columns."""
        return (self.latitude.size, self.longitude.size)

    def same(self, other: Any) -> bool:
        """Whether another grid has the same points."""
        return (
            isinstance(other, RegularGrid)
            and self.shape == other.shape
            and bool(np.allclose(self.latitude, other.latitude, rtol=0, atol=1e-6))
            and bool(np.allclose(self.longitude, other.longitude, rtol=0, atol=1e-6))
        )


@dataclass(frozen=True, slots=True, eq=False)
class Cut:
    """Rows and columns of a file's grid, in the order that makes the axes ascend."""

    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    grid: RegularGrid


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """One quantity on one grid; `data` is (times, members, *grid.shape) or None if not asked."""

    name: str  # of the quantity
    label: str  # as the file calls it, for messages
    units: str
    time: NDArray[np.datetime64]
    number: NDArray[np.int64] | None
    grid: Any
    data: NDArray[np.float64] | None
    since: NDArray[np.datetime64] | None = None  # start of each interval of an amount
    rank: int = 0  # lower is preferred when a file has several of one quantity
    file: str = ""


@dataclass(slots=True)
class Meta:
    """What a file says about itself."""

    source: str = ""
    title: str = ""
    reference_time: str = ""
    attribution: str = ""
    licence: str = ""
    invented: bool = False
    notes: list[str] = field(default_factory=list)


def cut_regular(
    latitude: NDArray[np.float64], longitude: NDArray[np.float64], request: Request, path: Path
) -> Cut:
    """Select the rows and columns that a box needs, one cell more on every side.

    A grid that goes round the Earth is opened at the box, wherever its own seam is, and
    closed by repeating its first column when no box is asked for.

    Raises
    ------
    InputError
        When an axis is not monotonic or holds impossible degrees.
    CoverageError
        When the box and the grid have nothing in common.
    """
    lat, lon = np.asarray(latitude, float), np.asarray(longitude, float)
    _check_axes(lat, lon, path)
    rows = np.arange(lat.size) if lat.size < 2 or lat[1] > lat[0] else np.arange(lat.size)[::-1]
    columns = np.arange(lon.size)
    unrolled = lon[0] + np.cumsum(np.concatenate([[0.0], (np.diff(lon) + 180.0) % 360.0 - 180.0]))
    if lon.size > 1 and unrolled[1] < unrolled[0]:
        columns, unrolled = columns[::-1], unrolled[::-1]
    if np.any(np.diff(unrolled) <= 0.0):
        msg = f"{path}: longitudes are not in order; allowed is a grid whose columns ascend"
        raise InputError(msg, path=path, field="longitude")
    columns, unrolled = _open_at(columns, unrolled, request)
    lat = lat[rows]
    if request.bounds is not None:
        west, south, east, north = request.bounds
        keep_y, keep_x = _span(lat, south, north), _span(unrolled, west, east)
        if keep_y is None or keep_x is None:
            raise no_overlap(lat, unrolled, request.bounds, path)
        rows, lat = rows[keep_y], lat[keep_y]
        columns, unrolled = columns[keep_x], unrolled[keep_x]
    return Cut(rows, columns, RegularGrid(lat, unrolled))


def _check_axes(lat: NDArray[np.float64], lon: NDArray[np.float64], path: Path) -> None:
    if not lat.size or not lon.size:
        msg = f"{path}: the grid has no points"
        raise InputError(msg, path=path)
    if not (np.isfinite(lat).all() and np.isfinite(lon).all()) or np.abs(lat).max() > 90.0001:
        msg = (
            f"{path}: grid latitudes or longitudes are not degrees between -90 and 90, -180 and 360"
        )
        raise InputError(msg, path=path, field="latitude")
    if np.abs(lon).max() > 720.0:
        msg = (
            f"{path}: grid longitude {lon[np.abs(lon).argmax()]:g}; allowed are -180 to 360 degrees"
        )
        raise InputError(msg, path=path, field="longitude")
    step = np.diff(lat)
    if step.size and not (np.all(step > 0.0) or np.all(step < 0.0)):
        msg = f"{path}: latitudes are not in order; allowed is a grid whose rows ascend or descend"
        raise InputError(msg, path=path, field="latitude")


def _open_at(
    columns: NDArray[np.int64], lon: NDArray[np.float64], request: Request
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Shift whole turns so that the axis starts near -180, or just west of the box."""
    if lon.size < 2:
        target = -180.0 if request.bounds is None else request.bounds[0] - 180.0
        return columns, target + (lon - target) % 360.0
    step = float(np.median(np.diff(lon)))
    closed = lon[-1] - lon[0] > 360.0 - 1.5 * step
    if closed and lon[-1] - lon[0] > 360.0 - 0.5 * step:  # the file repeats its first column
        columns, lon = columns[:-1], lon[:-1]
    if not closed:
        centre = 0.0 if request.bounds is None else (request.bounds[0] + request.bounds[2]) / 2
        turn = np.round((centre - (lon[0] + lon[-1]) / 2) / 360.0) * 360.0
        return columns, lon + turn
    start = -180.0 if request.bounds is None else request.bounds[0] - 2.0 * step
    wrapped = start + (lon - start) % 360.0
    order = np.argsort(wrapped, kind="stable")
    columns, lon = columns[order], wrapped[order]
    return np.append(columns, columns[0]), np.append(lon, lon[0] + 360.0)


def _span(axis: NDArray[np.float64], low: float, high: float) -> slice | None:
    """Slice of an ascending axis that brackets [low, high], one point more on each side."""
    if axis.size == 0 or high < axis[0] - 1e-9 or low > axis[-1] + 1e-9:
        return None
    first = int(np.searchsorted(axis, low, side="right")) - 2
    last = int(np.searchsorted(axis, high, side="left")) + 2
    return slice(max(first, 0), min(last, axis.size))


def no_overlap(
    lat: NDArray[np.float64],
    lon: NDArray[np.float64],
    bounds: tuple[float, float, float, float],
    path: Path,
) -> CoverageError:
    """Make the error for a box outside the grid; `lat` and `lon` ascend."""
    west, south, east, north = bounds
    msg = (
        f"{path}: the forecast covers {lat[0]:.2f} to {lat[-1]:.2f} north, {lon[0]:.2f} to "
        f"{lon[-1]:.2f} east and nothing of the route's {south:.2f} to {north:.2f} north, "
        f"{west:.2f} to {east:.2f} east"
    )
    return CoverageError(msg, bounds=(float(lon[0]), float(lat[0]), float(lon[-1]), float(lat[-1])))


def moment_text(moment: np.datetime64) -> str:
    """ISO 8601 with Z, to the second."""
    return f"{np.datetime_as_string(moment, unit='s')}Z"


def check_size(count: int, path: Path) -> None:
    """Refuse what would not fit before reading it.

    Raises
    ------
    InputError
        When `count` numbers are more than MAX_BYTES.
    """
    if count * 8 > MAX_BYTES:
        msg = (
            f"{path}: {count * 8 / 1024**3:,.0f} GiB of numbers to read; at most "
            f"{MAX_BYTES / 1024**3:.0f} GiB are allowed: ask for a smaller box or fewer hours"
        )
        raise InputError(msg, path=path)


def to_si(item: Field) -> Field:
    """Convert a field's values by its units attribute.

    Raises
    ------
    InputError
        When units are missing, unknown or of another kind.
    """
    quantity, path = by_name(item.name), item.file
    allowed = allowed_spellings(quantity.dimension)
    if not item.units.strip():
        msg = (
            f"{path}: {item.label} has no units attribute; set it (allowed: {allowed}) "
            f"or take the variable out of the file"
        )
        raise InputError(msg, path=path, field=item.label)
    rule = si_factor(quantity.dimension, item.units)
    if rule is None:
        msg = (
            f"{path}: {item.label} has units {item.units!r}, which is not a "
            f"{quantity.dimension} that is known; allowed: {allowed}"
        )
        raise InputError(msg, path=path, field=item.label, value=item.units)
    units = SI_UNITS[quantity.dimension]
    if item.data is None:
        return replace(item, units=units)
    data = item.data if rule == (1.0, 0.0) else item.data * rule[0] + rule[1]
    return replace(item, units=units, data=data)


def impossible(item: Field) -> str:
    """Say which value of a field in SI cannot be; empty when all can."""
    if item.data is None:
        return ""
    quantity = by_name(item.name)
    low, high = quantity.allowed
    wrong = (item.data < low) | (item.data > high)
    if not wrong.any():
        return ""
    return (
        f"{item.label} holds {float(item.data[wrong].flat[0]):g} {item.units}, allowed are {low:g} "
        f"to {high:g}: wrong units, or missing values that are not marked as such"
    )

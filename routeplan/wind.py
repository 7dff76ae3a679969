"""Wind: components, speed, the direction it comes from, and the Beaufort scale.

Wind direction is where the wind comes *from*, degrees clockwise from true north. The
eastward component u is positive towards the east, the northward component v towards the
north, so that a westerly has u > 0.

References
----------
World Meteorological Organization, Manual on Codes (WMO-No. 306), code table 1100, for the
Beaufort bounds in knots and in m/s at 10 m above open flat ground. The knots are those of the
Met Office's table as well.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from routeplan.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

__all__ = [
    "BEAUFORT_LOWER_KN",
    "BEAUFORT_LOWER_MS",
    "beaufort",
    "beaufort_knots",
    "from_direction",
    "headwind_crosswind",
    "wind_components",
    "wind_direction",
    "wind_speed",
]

# Lower bound of forces 1 to 12. The published bounds in m/s are to one decimal (force 4 is
# 5.5 to 7.9), those in knots whole; each table is used in its own unit.
BEAUFORT_LOWER_MS = (0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7)
BEAUFORT_LOWER_KN = (1.0, 4.0, 7.0, 11.0, 17.0, 22.0, 28.0, 34.0, 41.0, 48.0, 56.0, 64.0)


def wind_speed(eastward: ArrayLike, northward: ArrayLike) -> NDArray[np.float64]:
    """Speed from the two components, in m/s."""
    u, v = np.asarray(eastward, dtype=float), np.asarray(northward, dtype=float)
    return np.asarray(np.hypot(u, v))


def from_direction(eastward: ArrayLike, northward: ArrayLike) -> NDArray[np.float64]:
    """Direction a vector comes from, degrees true in [0, 360).

    A vector of zero length has no direction: nan.
    """
    u, v = np.asarray(eastward, dtype=float), np.asarray(northward, dtype=float)
    angle = np.degrees(np.arctan2(-u, -v)) % 360.0
    # The modulo of a tiny negative angle rounds up to 360 itself.
    angle = np.where(angle >= 360.0, 0.0, angle)
    return np.where((u == 0.0) & (v == 0.0), np.nan, angle)


def wind_direction(eastward: ArrayLike, northward: ArrayLike) -> NDArray[np.float64]:
    """Direction the wind comes from, degrees true in [0, 360); calm is nan."""
    return from_direction(eastward, northward)


def wind_components(
    speed: ArrayLike, direction: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Eastward and northward component of a wind from a direction.

    Parameters
    ----------
    speed
        [m/s], not negative.
    direction
        Direction the wind comes from. [degrees true]

    Returns
    -------
    tuple of ndarray
        eastward, northward. [m/s]

    Raises
    ------
    InputError
        When a speed is negative.
    """
    magnitude = np.asarray(speed, dtype=float)
    if np.any(magnitude < 0.0):
        msg = f"wind speed {np.nanmin(magnitude):g} m/s: allowed are 0 and more"
        raise InputError(msg, field="speed")
    angle = np.radians(np.asarray(direction, dtype=float))
    return -magnitude * np.sin(angle), -magnitude * np.cos(angle)


def headwind_crosswind(
    eastward: ArrayLike, northward: ArrayLike, course_deg: ArrayLike
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Wind along and across a course.

    Parameters
    ----------
    eastward, northward
        Wind. [m/s]
    course_deg
        Course made good. [degrees true]

    Returns
    -------
    tuple of ndarray
        headwind, positive against the course, negative from behind; crosswind, positive from
        the right (starboard) hand. [m/s]
    """
    u, v = np.asarray(eastward, dtype=float), np.asarray(northward, dtype=float)
    course = np.radians(np.asarray(course_deg, dtype=float))
    ahead = -(u * np.sin(course) + v * np.cos(course))
    across = -(u * np.cos(course) - v * np.sin(course))
    return ahead, across


def beaufort(speed: ArrayLike) -> NDArray[np.int64]:
    """Beaufort force of a wind speed in m/s; -1 where the speed is unknown (nan).

    The published table has one decimal and gaps between its rows (5.4 to 5.5), so the speed
    is rounded to one decimal first, halves up, as an observer's reading would be.
    """
    rounded = np.floor(np.asarray(speed, dtype=float) * 10.0 + 0.5 + 1e-9) / 10.0
    return _force(rounded, BEAUFORT_LOWER_MS)


def beaufort_knots(speed_kn: ArrayLike) -> NDArray[np.int64]:
    """Beaufort force of a wind speed in knots, rounded to whole knots; -1 where unknown."""
    rounded = np.floor(np.asarray(speed_kn, dtype=float) + 0.5)
    return _force(rounded, BEAUFORT_LOWER_KN)


def _force(speed: NDArray[np.float64], lower: tuple[float, ...]) -> NDArray[np.int64]:
    if np.any(speed < 0.0):
        msg = f"wind speed {np.nanmin(speed):g}: allowed are 0 and more"
        raise InputError(msg, field="speed")
    # A hair below each bound, so that a binary fraction such as 10.8 cannot fall short of it.
    force = np.searchsorted(np.asarray(lower) - 1e-6, speed, side="right")
    return np.where(np.isnan(speed), -1, force)

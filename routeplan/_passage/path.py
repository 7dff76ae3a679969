"""The line of one stage cut into steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from routeplan.errors import InputError
from routeplan.exposure import DIRECTIONS_DEG
from routeplan.geodesy import direct

if TYPE_CHECKING:
    from routeplan.coastline import Coastline
    from routeplan.route import Leg

__all__ = ["Path", "path_along"]

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """The line of one stage cut into steps.

    Attributes
    ----------
    longitude, latitude : array, shape (k,)
        Middle of each step. [degrees]
    course_deg, length_m : array, shape (k,)
        Course there [degrees true] and length of the step [m].
    leg : array of int, shape (k,)
        Leg of each step, from 0 within the stage, never falling.
    offshore_m : array, shape (k,)
        Distance to the nearest shore; nan unknown. [m]
    shore_bearing_deg : array, shape (k,), or None
        Direction to the nearest shore [degrees true]; for wind off the land.
    fetch_rose_m : array, shape (k, s), or None
        Fetch in s directions from north clockwise; for the local sea. [m]
    leg_land_m : array, shape (n,), or None
        Longest stretch on land of each leg that is no portage; None where not known. [m]
    """

    longitude: FloatArray
    latitude: FloatArray
    course_deg: FloatArray
    length_m: FloatArray
    leg: NDArray[np.int64]
    offshore_m: FloatArray
    shore_bearing_deg: FloatArray | None = None
    fetch_rose_m: FloatArray | None = None
    leg_land_m: FloatArray | None = None

    def __post_init__(self) -> None:
        sizes = {np.size(getattr(self, name)) for name in _PATH_ARRAYS}
        legs = np.diff(np.asarray(self.leg))
        if len(sizes) != 1 or 0 in sizes:
            msg = "a path needs arrays of one length, at least one step"
            raise InputError(msg, field="path")
        if self.leg[0] != 0 or np.any(legs < 0) or np.any(legs > 1):
            msg = "the legs of a path are numbered from 0 without gaps, in order"
            raise InputError(msg, field="leg")
        finite = np.isfinite([self.longitude, self.latitude, self.course_deg, self.length_m]).all()
        if not finite or np.any(np.asarray(self.length_m) <= 0):
            msg = "steps of a path have finite places and courses and are longer than 0 m"
            raise InputError(msg, field="length_m")

    @property
    def legs(self) -> int:
        """Number of legs."""
        return int(self.leg[-1]) + 1

    @property
    def leg_length_m(self) -> FloatArray:
        """Length of each leg [m], shape (n,)."""
        return np.asarray(np.bincount(self.leg, weights=self.length_m), dtype=np.float64)

    @property
    def leg_offshore_m(self) -> FloatArray:
        """Largest distance from shore on each leg [m], shape (n,); nan where none is known."""
        out = np.full(self.legs, -np.inf)
        np.maximum.at(out, self.leg, np.where(np.isnan(self.offshore_m), -np.inf, self.offshore_m))
        return np.where(np.isinf(out), np.nan, out)


_PATH_ARRAYS = ("longitude", "latitude", "course_deg", "length_m", "leg", "offshore_m")


def path_along(
    legs: Sequence[Leg], coast: Coastline | None = None, *, step_m: float = 250.0
) -> Path:
    """Cut the legs of a stage into steps of at most `step_m`.

    Distances from shore, bearings to it and fetch roses come from `coast`; without one distances
    are unknown (nan) and the others None.
    """
    samples = [leg.sample(step_m) for leg in legs]
    length = [np.diff(s.distance_m) for s in samples]
    keep = [step > 0 for step in length]
    start_lon, start_lat, course = (
        np.concatenate([getattr(s, name)[:-1][k] for s, k in zip(samples, keep, strict=True)])
        for name in ("longitude", "latitude", "course_deg")
    )
    steps = np.concatenate([step[k] for step, k in zip(length, keep, strict=True)])
    number = np.concatenate([np.full(int(k.sum()), i) for i, k in enumerate(keep)]).astype(np.int64)
    lon, lat = direct(start_lon, start_lat, course, steps / 2)
    if coast is None:
        return Path(lon, lat, course, steps, number, np.full(steps.size, np.nan))
    shore = coast.nearest_shore(lon, lat)
    offshore = np.where(coast.is_land(lon, lat), 0.0, shore.distance_m)
    roses = coast.fetch_length(lon, lat, DIRECTIONS_DEG)
    return Path(lon, lat, course, steps, number, offshore, shore.bearing_deg, roses)

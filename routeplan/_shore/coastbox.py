"""The box of a local coast source: a stretch of longitude and latitude, and its boundary.

Longitudes are unrolled: a box across the antimeridian runs from 179 to 181, never from 179 to
-179, and positions are brought into the turn in which they lie nearest to the box. Positions
along the boundary are numbers from 0 to 4, counter-clockwise from the south-west corner: 0 to 1
the south side, 1 to 2 the east side, 2 to 3 the north side, 3 to 4 the west side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from routeplan.errors import InputError

__all__ = ["Box", "box_of_bounds", "on_one_side"]

FloatArray = npt.NDArray[np.float64]

_SMALLEST_RADIUS_M = 6_335_439.0  # of curvature on WGS84: the meridian's at the equator
_LARGEST_RADIUS_M = 6_399_594.0  # at the poles


@dataclass(frozen=True, slots=True)
class Box:
    """West <= east <= west + 360 and south <= north [degrees]; west in [-180, 180)."""

    west: float
    south: float
    east: float
    north: float

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north with longitudes in -180..180, so east may be below west."""
        east = self.east - 360.0 if self.east > 180.0 else self.east
        return self.west, self.south, east, self.north

    @property
    def parts(self) -> tuple[tuple[float, float, float, float], ...]:
        """The box in one piece, or in two where it crosses the antimeridian."""
        if self.east <= 180.0:
            return ((self.west, self.south, self.east, self.north),)
        return (
            (self.west, self.south, 180.0, self.north),
            (-180.0, self.south, self.east - 360.0, self.north),
        )

    @property
    def corners(self) -> FloatArray:
        """The four corners (4, 2), counter-clockwise from the south-west."""
        w, s, e, n = self.west, self.south, self.east, self.north
        return np.array([[w, s], [e, s], [e, n], [w, n]])

    def unrolled(self, lon: FloatArray) -> FloatArray:
        """Longitudes in the turn in which they lie nearest to the middle of the box."""
        low = (self.west + self.east) / 2.0 - 180.0
        return np.asarray(lon - 360.0 * np.floor((lon - low) / 360.0), dtype=float)

    def inside(self, lon: FloatArray, lat: FloatArray) -> npt.NDArray[np.bool_]:
        """Whether unrolled positions lie in the box, its sides included."""
        within = (lon >= self.west) & (lon <= self.east)
        result: npt.NDArray[np.bool_] = within & (lat >= self.south) & (lat <= self.north)
        return result

    def strictly_inside(self, lonlat: FloatArray) -> npt.NDArray[np.bool_]:
        """Whether unrolled positions (n, 2) lie in the box and on none of its sides."""
        lon, lat = lonlat[:, 0], lonlat[:, 1]
        within = (lon > self.west) & (lon < self.east)
        result: npt.NDArray[np.bool_] = within & (lat > self.south) & (lat < self.north)
        return result

    def place(self, point: FloatArray) -> float:
        """Position along the boundary, in [0, 4), of a point that lies exactly on it."""
        lon, lat = float(point[0]), float(point[1])
        across = (lon - self.west) / (self.east - self.west)
        up = (lat - self.south) / (self.north - self.south)
        if lat == self.south and lon < self.east:
            return across
        if lon == self.east and lat < self.north:
            return 1.0 + up
        if lat == self.north and lon > self.west:
            return 3.0 - across
        return (4.0 - up) % 4.0

    def at(self, place: FloatArray) -> FloatArray:
        """Points (n, 2) at positions along the boundary."""
        side = np.floor(place).astype(np.int64)
        share = (place - side)[:, None]
        start, end = self.corners[side % 4], self.corners[(side + 1) % 4]
        return np.asarray(np.where(share == 0.0, start, start + share * (end - start)))

    def corners_between(self, start: float, end: float) -> FloatArray:
        """Corners (k, 2) passed on the way counter-clockwise from one position to another.

        Equal positions are one whole turn apart.
        """
        if end <= start:
            end += 4.0
        first, last = int(np.floor(start)) + 1, int(np.ceil(end)) - 1
        return np.asarray(self.corners[np.arange(first, last + 1) % 4])

    def grown(self, margin_m: float) -> Box:
        """A box whose sides lie at least `margin_m` [m] outside those of this one.

        Where it would hold a pole it takes in all longitudes; the latitude ends at 90.
        """
        angle = margin_m / _SMALLEST_RADIUS_M
        up = float(np.degrees(angle))
        south, north = max(-90.0, self.south - up), min(90.0, self.north + up)
        widest = np.cos(np.radians(max(abs(south), abs(north))))
        sine = np.sin(min(angle, np.pi / 2.0))
        aside = 180.0 if sine >= widest else float(np.degrees(np.arcsin(sine / widest)))
        west, east = self.west - aside, self.east + aside
        if east - west >= 360.0:
            west, east = -180.0, 180.0
        elif west < -180.0:
            west, east = west + 360.0, east + 360.0
        return Box(west, south, east, north)

    def reach_m(self, lon: FloatArray, lat: FloatArray) -> FloatArray:
        """Lower bound of the distance [m] from positions to the outside of the box; 0 outside.

        A pole that is a side of the box has no outside behind it, and a box all round the Earth
        has no eastern or western side.
        """
        turned = self.unrolled(lon)
        up = np.full(np.shape(turned), np.inf)
        for limit, side in ((self.south, -1.0), (self.north, 1.0)):
            if abs(limit) < 90.0:
                up = np.minimum(up, np.radians((limit - lat) * side))
        reach = up * _SMALLEST_RADIUS_M
        if self.east - self.west < 360.0:
            aside = np.minimum(turned - self.west, self.east - turned)
            # the great circle at right angles to the meridian is the shortest way to it
            sine = np.sin(np.radians(np.clip(aside, 0.0, 90.0))) * np.cos(np.radians(lat))
            # reduced and geographic latitude differ by less than this allowance
            reach = np.minimum(reach, 0.99 * np.arcsin(sine) * _SMALLEST_RADIUS_M)
        return np.asarray(np.where(self.inside(turned, lat), np.maximum(reach, 0.0), 0.0))

    @property
    def area_m2(self) -> float:
        """Upper bound of the area [m^2]."""
        south, north = np.radians([self.south, self.north])
        width = np.radians(self.east - self.west)
        return float(width * (np.sin(north) - np.sin(south)) * _LARGEST_RADIUS_M**2)


def box_of_bounds(bounds: tuple[float, float, float, float]) -> Box:
    """Make a box of west, south, east, north [degrees]; west above east crosses 180.

    A box without width or height is taken: a route may run straight along a meridian.

    Raises
    ------
    InputError
        If a number is not finite or out of range, or south lies above north.
    """
    west, south, east, north = (float(value) for value in bounds)
    for name, value, limit in (
        ("west", west, 180.0),
        ("south", south, 90.0),
        ("east", east, 180.0),
        ("north", north, 90.0),
    ):
        if not abs(value) <= limit:
            msg = f"box: {name} {value} is outside {-limit:g}..{limit:g}"
            raise InputError(msg, field=name, value=value)
    if south > north:
        msg = f"box: south {south} is above north {north} (order: west,south,east,north)"
        raise InputError(msg, field="box", value=bounds)
    if west == 180.0:
        west, east = -180.0, (-180.0 if east == 180.0 else east)
    if east < west:
        east += 360.0
    return Box(west, south, east, north)


def on_one_side(box: Box, start: FloatArray, end: FloatArray) -> npt.NDArray[np.bool_]:
    """Whether edges, from (n, 2) to (n, 2), run along a side of the box."""
    result = np.zeros(len(start), bool)
    for axis, value in ((0, box.west), (0, box.east), (1, box.south), (1, box.north)):
        result |= (start[:, axis] == value) & (end[:, axis] == value)
    return result

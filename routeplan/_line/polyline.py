"""Geometry of a polyline of geodesics: where a point passes it, positions along it, parts of it.

Plumbing of `route`. Positions along the line are metres from its first vertex.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from routeplan.geodesy import (
    FloatArray,
    cartesian,
    direct,
    direct_course,
    inverse,
    normalise_longitude,
)

__all__ = ["SAME_M", "Polyline", "bounds_of_line", "distinct"]

_LEAST_RADIUS_M = 6.33e6  # below every radius of curvature of WGS84
SAME_M = 0.1  # nearer than this is one point: the seventh decimal of a degree is 11 mm


@dataclass(frozen=True, eq=False)
class Polyline:
    """Vertices joined by geodesics; no two neighbours coincide."""

    longitude: FloatArray
    latitude: FloatArray

    @cached_property
    def pieces(self) -> tuple[FloatArray, FloatArray]:
        """Course at the start [degrees true] and length [m] of each piece, (m - 1,)."""
        lon, lat = self.longitude, self.latitude
        return inverse(lon[:-1], lat[:-1], lon[1:], lat[1:])

    @cached_property
    def along_m(self) -> FloatArray:
        """Position along the line of each vertex, (m,). [m]."""
        return np.concatenate([[0.0], np.cumsum(self.pieces[1])])

    @property
    def length_m(self) -> float:
        """Length of the whole line. [m]."""
        return float(self.along_m[-1])

    @cached_property
    def _chords(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Starts, chords and squared chord lengths of the pieces."""
        ends = cartesian(self.longitude, self.latitude)
        chord = np.diff(ends, axis=0)
        return ends[:-1], chord, np.einsum("ij,ij->i", chord, chord)

    def locate(self, along_m: float) -> tuple[float, float]:
        """Longitude and latitude at a position along the line. [degrees]."""
        nearest = int(np.argmin(np.abs(self.along_m - along_m)))
        if abs(float(self.along_m[nearest]) - along_m) < SAME_M / 2:
            return float(self.longitude[nearest]), float(self.latitude[nearest])
        piece = int(np.searchsorted(self.along_m, along_m, side="right")) - 1
        piece = min(max(piece, 0), len(self.longitude) - 2)
        course, _ = self.pieces
        lon, lat = direct(
            self.longitude[piece],
            self.latitude[piece],
            course[piece],
            along_m - self.along_m[piece],
        )
        return float(lon), float(lat)

    def part(self, start_m: float, end_m: float) -> tuple[FloatArray, FloatArray]:
        """Vertices strictly between two positions along the line, (k,) each. [degrees]."""
        inside = (self.along_m > start_m + SAME_M / 2) & (self.along_m < end_m - SAME_M / 2)
        return self.longitude[inside], self.latitude[inside]

    def passes(
        self, lon: FloatArray, lat: FloatArray, within_m: float
    ) -> list[list[tuple[float, float]]]:
        """Where the line passes each of some points nearer than `within_m`.

        Passes less than four times `within_m` apart along the line count as one, so that a
        line that wanders along the edge of the circle is not counted twice.

        Returns
        -------
        list of list of (along_m, distance_m)
            For each point the nearest position of each pass, in order along the line.
        """
        near = [self._near_pieces(point, within_m) for point in cartesian(lon, lat)]
        owner = np.repeat(np.arange(len(near)), [len(pieces) for pieces in near])
        if not len(owner):
            return [[] for _ in near]
        along, distance = self._nearest(np.concatenate(near), lon[owner], lat[owner])
        found: list[list[tuple[float, float]]] = [[] for _ in near]
        for index in np.flatnonzero(distance <= within_m):
            passes = found[owner[index]]
            here = float(along[index]), float(distance[index])
            if not passes or here[0] - passes[-1][0] >= 4.0 * within_m:
                passes.append(here)
            elif here[1] < passes[-1][1]:
                passes[-1] = here
        return found

    def _near_pieces(self, point: FloatArray, within_m: float) -> npt.NDArray[np.intp]:
        """Pieces whose straight chord comes near enough to be worth the exact question."""
        start, chord, squared = self._chords
        to_point = point - start
        share = np.clip(np.einsum("ij,ij->i", to_point, chord) / squared, 0.0, 1.0)
        distance = np.linalg.norm(to_point - share[:, None] * chord, axis=1)
        # A chord runs through Earth, below its geodesic by this much half-way.
        sag = _LEAST_RADIUS_M - np.sqrt(np.maximum(_LEAST_RADIUS_M**2 - squared / 4.0, 0.0))
        return np.flatnonzero(distance <= within_m + sag + 1.0)

    def _nearest(
        self, piece: npt.NDArray[np.intp], lon: FloatArray, lat: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Position along the line and distance of the point of each piece nearest to a point."""
        course, length = (values[piece] for values in self.pieces)
        start = self.longitude[piece], self.latitude[piece]
        away, distance = inverse(*start, lon, lat)
        along = distance * np.cos(np.radians(away - course))
        # Each step projects onto the line again from there and removes most of the error that
        # the curvature of Earth left: metres at 30 km beside a line of 150 km, then nothing.
        for _ in range(2):
            along = np.clip(along, 0.0, length)
            here_lon, here_lat, onward = direct_course(*start, course, along)
            away, distance = inverse(here_lon, here_lat, lon, lat)
            along = along + distance * np.cos(np.radians(away - onward))
        along = np.clip(along, 0.0, length)
        _, distance = inverse(*direct(*start, course, along), lon, lat)
        return self.along_m[piece] + along, distance


def distinct(lon: FloatArray, lat: FloatArray) -> npt.NDArray[np.intp]:
    """Find the points farther than `SAME_M` from the last kept one before them."""
    rows = cartesian(lon, lat).tolist()
    kept = [0]
    x, y, z = rows[0]
    for index, (a, b, c) in enumerate(rows):
        if (a - x) ** 2 + (b - y) ** 2 + (c - z) ** 2 > SAME_M**2:
            kept.append(index)
            x, y, z = a, b, c
    return np.asarray(kept, dtype=np.intp)


def bounds_of_line(lon: FloatArray, lat: FloatArray) -> tuple[float, float, float, float]:
    """West, south, east, north of a polyline of geodesics; west > east over the antimeridian."""
    south, north = float(np.min(lat)), float(np.max(lat))
    ahead, _ = inverse(lon[:-1], lat[:-1], lon[1:], lat[1:])
    back, _ = inverse(lon[1:], lat[1:], lon[:-1], lat[:-1])
    arrival = np.radians(back + 180.0)
    ahead = np.radians(ahead)
    # Where a geodesic turns from northward to southward, it reaches beyond both its ends:
    # Clairaut's constant cos(reduced latitude) sin(azimuth) gives the latitude there.
    top = _vertex_latitude(lat[:-1], ahead)
    over = (np.cos(ahead) > 0.0) & (np.cos(arrival) < 0.0)
    under = (np.cos(ahead) < 0.0) & (np.cos(arrival) > 0.0)
    north = max(north, *top[over].tolist()) if over.any() else north
    south = min(south, *(-top[under]).tolist()) if under.any() else south
    steps = normalise_longitude(np.diff(lon))
    unrolled = lon[0] + np.concatenate([[0.0], np.cumsum(steps)])
    west, east = float(np.min(unrolled)), float(np.max(unrolled))
    if east - west >= 360.0 or max(north, -south) > 89.99:
        return -180.0, south, 180.0, north
    if west >= -180.0 and east <= 180.0:
        return west, south, east, north
    west, east = (float(normalise_longitude(edge)) for edge in (west, east))
    return west, south, east, north


def _vertex_latitude(lat: FloatArray, azimuth: FloatArray) -> FloatArray:
    """Highest latitude of the geodesics through points on azimuths [radians]. [degrees]."""
    axis_ratio = 1.0 - 1.0 / 298.257223563  # b / a of WGS84
    reduced = np.arctan(axis_ratio * np.tan(np.radians(lat)))
    highest = np.arccos(np.clip(np.cos(reduced) * np.abs(np.sin(azimuth)), 0.0, 1.0))
    return np.asarray(np.degrees(np.arctan(np.tan(highest) / axis_ratio)))

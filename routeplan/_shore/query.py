"""Answers of the shoreline index for checked positions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from routeplan._shore.index import ShoreIndex
from routeplan._shore.kernels import farther, fetch, nearest
from routeplan.errors import InputError
from routeplan.geodesy import direct, inverse

__all__ = ["Places", "as_places", "fetch_of", "land_of", "nearest_of"]

FloatArray = npt.NDArray[np.float64]

# Below this the nearest by chord is the nearest by geodesic within 2 mm: arcs over one chord c
# differ by at most c^3 / 24 (1 / Rmin^2 - 1 / Rmax^2).
_FAR_M = 50_000.0
_MANY = 2_000  # places, from which sorting them pays
_IN_ROW = 3.0
_LEAP_M = 150_000.0  # a normal section of this length keeps within 5 cm of the geodesic


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Checked flat positions and the shape they came in."""

    lon: FloatArray
    lat: FloatArray
    shape: tuple[int, ...]


def as_places(lon: npt.ArrayLike, lat: npt.ArrayLike) -> Places:
    """Check positions; longitudes are brought to -180..180 so that a full turn changes nothing."""
    try:
        east, north = np.broadcast_arrays(np.asarray(lon, np.float64), np.asarray(lat, np.float64))
    except (TypeError, ValueError) as fault:
        msg = f"lon and lat must be numbers of one shape [degrees]: {fault}"
        raise InputError(msg, field="lon, lat") from fault
    if np.isinf(east).any() or (np.abs(north) > 90.0).any():
        bad = np.flatnonzero(np.isinf(east) | (np.abs(north) > 90.0))[0]
        msg = (
            f"position {bad + 1}: longitude {east.flat[bad]:g}, latitude {north.flat[bad]:g}: "
            "longitude must be finite and latitude within -90 to 90 degrees"
        )
        raise InputError(msg, field="lon, lat", value=(east.flat[bad], north.flat[bad]))
    turned = np.remainder(east.ravel() + 180.0, 360.0) - 180.0
    turned = np.where(np.abs(east.ravel()) <= 180.0, east.ravel(), turned)
    return Places(np.ascontiguousarray(turned), np.array(north, np.float64).ravel(), east.shape)


def _round_trip(places: Places) -> npt.NDArray[np.int64]:
    """Order of many places in which neighbours follow each other: rows to and fro."""
    count = len(places.lon)
    known = ~np.isnan(places.lon + places.lat)
    if count < _MANY or not known.any():
        return np.arange(count)
    x, y = ((v - v[known].min()) / (np.ptp(v[known]) + 1e-9) for v in (places.lon, places.lat))
    row = np.floor(y * math.sqrt(count) / _IN_ROW)
    return np.argsort(row + np.where(row % 2.0 == 0.0, x, 1.0 - x) * 0.999)


def _by_chord(
    index: ShoreIndex, places: Places, order: npt.NDArray[np.int64], *, land: bool
) -> tuple[FloatArray, npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    out = np.empty((len(places.lon), 4))
    runs = np.zeros(len(places.lon), np.int64)
    dry = np.zeros(len(places.lon), np.bool_)
    nearest(index, order, places.lon, places.lat, land, out, runs, dry)
    return out, runs, dry


def nearest_of(index: ShoreIndex, places: Places) -> FloatArray:
    """Distance, longitude, latitude, bearing of the nearest shore (n, 4)."""
    order = _round_trip(places)
    out, runs, _ = _by_chord(index, places, order, land=False)
    far = order[out[order, 0] > _FAR_M]
    if far.size:
        refined = out[far]
        farther(index, places.lon[far], places.lat[far], runs[far], refined)
        out[far] = refined
    lost = np.isnan(out[:, 0]) & ~np.isnan(places.lon + places.lat)
    if lost.any():  # close to the antipode, where the iteration for geodesics does not settle
        ends = out[lost, 1], out[lost, 2]
        out[lost, 3], out[lost, 0] = inverse(places.lon[lost], places.lat[lost], *ends)
    return out


def land_of(index: ShoreIndex, places: Places) -> npt.NDArray[np.bool_]:
    """Which places are on land (n,); nan is not."""
    return _by_chord(index, places, _round_trip(places), land=True)[2]


def fetch_of(
    index: ShoreIndex, places: Places, azimuth: FloatArray, limit: float, *, land: bool
) -> FloatArray:
    """Way to the first shoreline from n places along azimuths (1, k), (n, k); 0 on land."""
    shape = (len(places.lon), azimuth.shape[1])
    out = np.empty(shape)
    first_leap = min(limit, _LEAP_M)
    fetch(index, places.lon, places.lat, azimuth, first_leap, out)
    if land:
        dry = land_of(index, places)
        out[dry] = np.where(np.isnan(out[dry]), np.nan, 0.0)
    done = first_leap
    while done < limit and np.isinf(out).any():
        row, column = np.nonzero(np.isinf(out))
        lon, lat, ahead = _leap(places, azimuth, row, column, done)
        leap = min(limit - done, _LEAP_M)
        more = np.empty((len(row), 1))
        fetch(index, lon, lat, ahead[:, None], leap, more)
        out[row, column] = done + more[:, 0]
        done += leap
    out[np.isinf(out)] = limit
    return out


def _leap(
    places: Places,
    azimuth: FloatArray,
    row: npt.NDArray[np.int64],
    column: npt.NDArray[np.int64],
    done: float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Where rays are after `done` metres, and their course there."""
    start = places.lon[row], places.lat[row]
    lon, lat = direct(*start, azimuth[0, column], done)
    back, _ = inverse(lon, lat, *start)
    return lon, lat, np.asarray((back + 180.0) % 360.0)

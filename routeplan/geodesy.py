"""Distances and directions on the WGS84 ellipsoid.

Longitudes come before latitudes, both in degrees; azimuths are degrees true, clockwise from
north, in [0, 360); distances are metres along the geodesic. Longitudes may lie in any turn
(190 is -170); results are in [-180, 180).

The engine is `pyproj.Geod`, PROJ's copy of Karney's algorithms, exact to some nanometres.

References
----------
C. F. F. Karney, "Algorithms for geodesics", J. Geodesy 87, 43-55, 2013,
doi:10.1007/s00190-012-0578-z.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from pyproj import Geod

from routeplan.errors import InputError

__all__ = [
    "cartesian",
    "direct",
    "direct_course",
    "interpolate",
    "inverse",
    "normalise_longitude",
    "path_length",
]

FloatArray = npt.NDArray[np.float64]

_GEOD = Geod(ellps="WGS84")
_MAX_POINTS = 10_000_000  # of one interpolation: a bad spacing must not fill the memory


def inverse(
    lon1: npt.ArrayLike, lat1: npt.ArrayLike, lon2: npt.ArrayLike, lat2: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Azimuth at the first point and distance of the geodesic between two points.

    Parameters
    ----------
    lon1, lat1, lon2, lat2 : array-like, broadcast against each other
        Positions. [degrees]

    Returns
    -------
    azimuth_deg : array
        Course on which the geodesic leaves the first point, in [0, 360). [degrees true]
        Between coincident points no course exists; 0 is given by convention.
    distance_m : array
        Length of the geodesic. [m]

    Raises
    ------
    InputError
        If a value is not finite, or a latitude lies outside -90..90.

    Examples
    --------
    >>> azimuth, distance = inverse(11.2, 58.4, 11.2, 58.5)
    >>> print(f"{azimuth:.1f} {distance:.1f}")
    0.0 11138.6
    """
    start_lon, start_lat, end_lon, end_lat = np.broadcast_arrays(
        _finite("longitude", lon1), _latitude(lat1), _finite("longitude", lon2), _latitude(lat2)
    )
    shape = start_lon.shape
    ahead, _, length = _GEOD.inv(_flat(start_lon), _flat(start_lat), _flat(end_lon), _flat(end_lat))
    distance = np.asarray(length, dtype=float)
    azimuth = np.where(distance == 0.0, 0.0, _turn(np.asarray(ahead, dtype=float)))
    return _shaped(azimuth, shape), _shaped(distance, shape)


def direct(
    lon: npt.ArrayLike, lat: npt.ArrayLike, azimuth_deg: npt.ArrayLike, distance_m: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Position reached from a point on a course after a distance along the geodesic.

    Parameters
    ----------
    lon, lat : array-like
        Start. [degrees]
    azimuth_deg : array-like
        Course at the start. [degrees true]
    distance_m : array-like
        Length of the geodesic; negative goes backwards. [m]

    Returns
    -------
    lon, lat : array
        End, longitude in [-180, 180). [degrees]

    Raises
    ------
    InputError
        If a value is not finite, or a latitude lies outside -90..90.
    """
    end_lon, end_lat, _ = direct_course(lon, lat, azimuth_deg, distance_m)
    return end_lon, end_lat


def direct_course(
    lon: npt.ArrayLike, lat: npt.ArrayLike, azimuth_deg: npt.ArrayLike, distance_m: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Position as `direct` gives it, and the course on which the geodesic arrives there.

    Parameters
    ----------
    lon, lat, azimuth_deg, distance_m : array-like
        As for `direct`.

    Returns
    -------
    lon, lat : array
        End, longitude in [-180, 180). [degrees]
    course_deg : array
        Azimuth of the geodesic at the end, in the direction of travel, in [0, 360).
        [degrees true]

    Raises
    ------
    InputError
        If a value is not finite, or a latitude lies outside -90..90.
    """
    start_lon, start_lat, azimuth, distance = np.broadcast_arrays(
        _finite("longitude", lon),
        _latitude(lat),
        _finite("azimuth", azimuth_deg),
        _finite("distance", distance_m),
    )
    shape = start_lon.shape
    end_lon, end_lat, back = _GEOD.fwd(
        _flat(start_lon), _flat(start_lat), _flat(azimuth), _flat(distance)
    )
    return (
        _shaped(normalise_longitude(end_lon), shape),
        _shaped(np.asarray(end_lat, dtype=float), shape),
        _shaped(_turn(np.asarray(back, dtype=float) + 180.0), shape),
    )


def interpolate(
    lon1: float, lat1: float, lon2: float, lat2: float, spacing_m: float
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Evenly spaced points along one geodesic, both ends included.

    Parameters
    ----------
    lon1, lat1, lon2, lat2 : float
        Ends. [degrees]
    spacing_m : float
        Largest distance between neighbouring points, > 0. [m]

    Returns
    -------
    lon, lat : (k,) array, k >= 2
        Positions, longitude in [-180, 180). [degrees]
    distance_m : (k,) array
        Distance from the first end. [m]
    course_deg : (k,) array
        Azimuth of the geodesic at each point, in the direction of travel, in [0, 360).
        [degrees true]

    Raises
    ------
    InputError
        If a position or the spacing cannot be used, or more than ten million points result.
    """
    azimuth, length = inverse(lon1, lat1, lon2, lat2)
    pieces = _piece_count(float(length), spacing_m)
    distance = np.linspace(0.0, float(length), pieces + 1)
    lon, lat, course = direct_course(lon1, lat1, azimuth, distance)
    # The ends are the user's own points, to the last bit.
    lon[0], lat[0] = normalise_longitude(lon1), lat1
    lon[-1], lat[-1] = normalise_longitude(lon2), lat2
    course[0] = azimuth
    return lon, lat, distance, course


def path_length(lon: npt.ArrayLike, lat: npt.ArrayLike) -> float:
    """Length of a polyline of geodesics.

    Parameters
    ----------
    lon, lat : (m,) array-like
        Vertices. [degrees]

    Returns
    -------
    float
        Sum over the pieces; 0 with fewer than two vertices. [m]

    Raises
    ------
    InputError
        If a value is not finite, or a latitude lies outside -90..90.
    """
    lons, lats = np.ravel(_finite("longitude", lon)), np.ravel(_latitude(lat))
    _, pieces = inverse(lons[:-1], lats[:-1], lons[1:], lats[1:])
    return float(np.sum(pieces))


def normalise_longitude(lon: npt.ArrayLike) -> FloatArray:
    """Bring longitudes into [-180, 180). [degrees].

    Raises
    ------
    InputError
        If a value is not finite.
    """
    values = _finite("longitude", lon)
    inside = (values >= -180.0) & (values < 180.0)
    wrapped = np.mod(values + 180.0, 360.0) - 180.0
    # A value just below -180 rounds up to the excluded end.
    wrapped = np.where(wrapped >= 180.0, -180.0, wrapped)
    return _shaped(np.where(inside, values, wrapped), values.shape)


def cartesian(lon: npt.ArrayLike, lat: npt.ArrayLike) -> FloatArray:
    """Earth-centred, Earth-fixed coordinates of points on the ellipsoid.

    The straight chord between two such points is shorter than the geodesic by about
    s^3 / (24 R^2), 0.1 m at 50 km, and knows neither poles nor an antimeridian.

    Parameters
    ----------
    lon, lat : (...) array-like
        Positions. [degrees]

    Returns
    -------
    (..., 3) array
        x towards 0 E on the equator, y towards 90 E, z towards the north pole. [m]

    Raises
    ------
    InputError
        If a value is not finite, or a latitude lies outside -90..90.
    """
    lam, phi = np.broadcast_arrays(
        np.radians(_finite("longitude", lon)), np.radians(_latitude(lat))
    )
    normal = _GEOD.a / np.sqrt(1.0 - _GEOD.es * np.sin(phi) ** 2)
    across = normal * np.cos(phi)
    polar = normal * (1.0 - _GEOD.es) * np.sin(phi)
    return np.stack([across * np.cos(lam), across * np.sin(lam), polar], axis=-1)


def _piece_count(length_m: float, spacing_m: float) -> int:
    if not (np.isfinite(spacing_m) and spacing_m > 0.0):
        msg = f"spacing {spacing_m} m is not allowed; it must be a finite number above 0"
        raise InputError(msg, field="spacing_m", value=spacing_m)
    # Rounding in the length must not add a piece when it is a whole number of spacings.
    pieces = np.ceil(length_m / spacing_m - 1e-9)
    if pieces > _MAX_POINTS:
        msg = (
            f"spacing {spacing_m} m over {length_m:.0f} m gives {pieces:.0f} points; "
            f"at most {_MAX_POINTS} are allowed"
        )
        raise InputError(msg, field="spacing_m", value=spacing_m)
    return max(1, int(pieces))


def _finite(field: str, values: npt.ArrayLike) -> FloatArray:
    try:
        array = np.asarray(values, dtype=float)
    except (TypeError, ValueError) as error:
        msg = f"{field} is not a number; decimal degrees or metres are allowed"
        raise InputError(msg, field=field) from error
    bad = ~np.isfinite(array)
    if bad.any():
        value = float(array[bad][0])
        msg = f"{field} {value} is not a finite number"
        raise InputError(msg, field=field, value=value)
    return array


def _latitude(values: npt.ArrayLike) -> FloatArray:
    array = _finite("latitude", values)
    bad = np.abs(array) > 90.0
    if bad.any():
        value = float(array[bad][0])
        msg = f"latitude {value} is outside -90..90"
        raise InputError(msg, field="latitude", value=value)
    return array


def _turn(azimuth: FloatArray) -> FloatArray:
    """Azimuths in [0, 360); a tiny negative one must not round to 360."""
    wrapped = np.mod(azimuth, 360.0)
    return np.where(wrapped >= 360.0, 0.0, wrapped)


def _flat(values: FloatArray) -> FloatArray:
    return np.ascontiguousarray(values).ravel()


def _shaped(values: Any, shape: tuple[int, ...]) -> FloatArray:
    """Back in the caller's shape; plain numbers (np.float64) for plain numbers."""
    result: FloatArray = np.reshape(values, shape)[()]
    return result

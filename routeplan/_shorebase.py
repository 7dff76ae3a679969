"""Compiled pieces that the shoreline kernels share.

Lengths are ECEF metres unless said otherwise; points of the index are in 1/256 m.
"""

# numba infers the types of compiled functions from their arguments
# ruff: noqa: ANN001, ANN202
# mypy: disable-error-code="no-untyped-def, no-untyped-call"

from __future__ import annotations

import math
from typing import Any

import numba
import numpy as np

from routeplan._shoreindex import FAN
from routeplan._shorerings import EQUATOR_M, FLATTENING

__all__ = ["E2", "INF32", "STACK", "compiled", "frame", "geographic", "push", "vincenty"]

E2 = FLATTENING * (2.0 - FLATTENING)
STACK = 128  # 7 pushed on each of at most 12 levels, and 8
INF32 = np.float32(np.inf)
_A = EQUATOR_M
_B = EQUATOR_M * (1.0 - FLATTENING)
_F = FLATTENING


def compiled(function: Any) -> Any:
    """Compile with the cache on disk where there is a place for it, else in memory only."""
    try:
        return numba.njit(cache=True, nogil=True)(function)
    except RuntimeError:  # neither the package folder nor the user's cache can be written
        return numba.njit(nogil=True)(function)


@compiled
def frame(lon, lat, out):
    """Position, up, east and north of a place on the ellipsoid into out (12,)."""
    sin_lon, cos_lon = math.sin(math.radians(lon)), math.cos(math.radians(lon))
    sin_lat, cos_lat = math.sin(math.radians(lat)), math.cos(math.radians(lat))
    prime = _A / math.sqrt(1.0 - E2 * sin_lat * sin_lat)
    out[0] = prime * cos_lat * cos_lon
    out[1] = prime * cos_lat * sin_lon
    out[2] = prime * (1.0 - E2) * sin_lat
    out[3] = cos_lat * cos_lon
    out[4] = cos_lat * sin_lon
    out[5] = sin_lat
    out[6] = -sin_lon
    out[7] = cos_lon
    out[8] = 0.0
    out[9] = -sin_lat * cos_lon
    out[10] = -sin_lat * sin_lon
    out[11] = cos_lat
    return prime


@compiled
def push(keys, child, runs, stack_key, stack_id, top):
    """Put the spheres that count on the stack, the nearest on top."""
    base = top
    leaf = child < 0
    for j in range(FAN):
        key = keys[j]
        if key < INF32:
            place = top
            while place > base and stack_key[place - 1] < key:
                stack_key[place] = stack_key[place - 1]
                stack_id[place] = stack_id[place - 1]
                place -= 1
            stack_key[place] = key
            stack_id[place] = -(child + runs + j) - 1 if leaf else child + j
            top += 1
    return top


@compiled
def geographic(x, y, z):
    """Longitude and latitude [degrees] of a point on the ellipsoid (height within metres)."""
    lat = math.atan2(z, (1.0 - E2) * math.sqrt(x * x + y * y))
    return math.degrees(math.atan2(y, x)), math.degrees(lat)


@compiled
def vincenty(lon1, lat1, lon2, lat2):
    """Geodesic distance [m] and azimuth [degrees, 0 to 360) by Vincenty's inverse formula.

    Vincenty, T. (1975), Direct and inverse solutions of geodesics on the ellipsoid with
    application of nested equations, Survey Review 23(176), 88-93. Good to 0.1 mm; the distance
    is nan where the iteration does not settle, which happens near the antipode only.
    """
    reduced1 = math.atan((1.0 - _F) * math.tan(math.radians(lat1)))
    reduced2 = math.atan((1.0 - _F) * math.tan(math.radians(lat2)))
    s1, c1 = math.sin(reduced1), math.cos(reduced1)
    s2, c2 = math.sin(reduced2), math.cos(reduced2)
    longitude = math.radians(lon2 - lon1)
    lam = longitude
    for _ in range(60):
        sl, cl = math.sin(lam), math.cos(lam)
        east = c2 * sl
        north = c1 * s2 - s1 * c2 * cl
        sin_sigma = math.sqrt(east * east + north * north)
        if sin_sigma == 0.0:
            return 0.0, 0.0
        cos_sigma = s1 * s2 + c1 * c2 * cl
        sigma = math.atan2(sin_sigma, cos_sigma)
        sin_alpha = c1 * c2 * sl / sin_sigma
        cos2 = 1.0 - sin_alpha * sin_alpha
        middle = cos_sigma - 2.0 * s1 * s2 / cos2 if cos2 > 1e-15 else 0.0
        c = _F / 16.0 * cos2 * (4.0 + _F * (4.0 - 3.0 * cos2))
        before = lam
        inner = middle + c * cos_sigma * (2.0 * middle * middle - 1.0)
        lam = longitude + (1.0 - c) * _F * sin_alpha * (sigma + c * sin_sigma * inner)
        if abs(lam - before) < 1e-12:
            u2 = cos2 * (_A * _A - _B * _B) / (_B * _B)
            big_a = 1.0 + u2 / 16384.0 * (4096.0 + u2 * (-768.0 + u2 * (320.0 - 175.0 * u2)))
            big_b = u2 / 1024.0 * (256.0 + u2 * (-128.0 + u2 * (74.0 - 47.0 * u2)))
            m2 = middle * middle
            tail = big_b / 6.0 * middle * (4.0 * sin_sigma * sin_sigma - 3.0) * (4.0 * m2 - 3.0)
            turn = middle + big_b / 4.0 * (cos_sigma * (2.0 * m2 - 1.0) - tail)
            distance = _B * big_a * (sigma - big_b * sin_sigma * turn)
            return distance, math.degrees(math.atan2(east, north)) % 360.0
    return math.nan, math.nan

"""Compiled search for the nearest shore by geodesic, where it is far away."""

# numba infers the types of compiled functions; scratch space comes whole, used or not
# ruff: noqa: ANN001, ANN202, ARG001
# mypy: disable-error-code="no-untyped-def, no-untyped-call"

from __future__ import annotations

import math

import numpy as np

from routeplan._kernel.jit import part
from routeplan._shore.base import Shore, frame, geographic, push
from routeplan._shore.nearest import edge_distances, near_block, on_edge
from routeplan._shore.rings import EQUATOR_M, FLATTENING, UNITS_PER_M

__all__ = ["farther"]

_A = EQUATOR_M
_B = EQUATOR_M * (1.0 - FLATTENING)
_F = FLATTENING
_UNIT = 1.0 / UNITS_PER_M
_FLATTEST_M = EQUATOR_M / (1.0 - FLATTENING)  # radius of curvature at the poles, the largest


@part()
def _vincenty(lon1, lat1, lon2, lat2):
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


@part()
def _cut(distance):
    """Chord beyond which no arc is shorter than `distance`.

    An arc over a chord c is at least 2 R asin(c / 2 R) with the largest radius of curvature R.
    """
    angle = 0.5 * distance / _FLATTEST_M
    if angle > 0.5 * math.pi:
        angle = 0.5 * math.pi
    return 2.0 * _FLATTEST_M * math.sin(angle) + 1.0


def farther(
    x, y, z, first, spheres, child, runs, root, fan,
    keys, stack_key, stack_node, sides, shares, ray, f, m, t, a, b,
    places, lon, lat, run, out,
):  # fmt: skip
    """Nearest shore by geodesic among all whose chord could make them that, into out (n, 4).

    run (n,) and out (n, 4) come from `nearest`. The distance is nan close to the antipode of the
    shore, where the longitude and latitude of the nearest by chord are left.
    """
    index = Shore(x, y, z, first, spheres, child, runs, root, fan)
    for i in range(places):
        frame(lon[i], lat[i], f)
        distance, azimuth = _vincenty(lon[i], lat[i], out[4 * i + 1], out[4 * i + 2])
        out[4 * i], out[4 * i + 3] = distance, azimuth
        if math.isnan(distance):
            continue
        cut = _cut(distance)
        stack_key[0], stack_node[0] = np.float32(0.0), root
        stack_key[1], stack_node[1] = np.float32(0.0), -run[i] - 1
        top = 2
        while top:
            top -= 1
            node = stack_node[top]
            if stack_key[top] > cut:
                continue
            if node >= 0:
                near_block(spheres, node, f, cut, keys, fan)
                top = push(keys, child[node], runs, stack_key, stack_node, top)
                continue
            begin = first[-node - 1]
            n = first[-node] - begin
            edge_distances(index, begin, n, f, sides, shares)
            for j in range(n - 1):
                if math.sqrt(sides[j]) * _UNIT < cut:
                    on_edge(index, begin + j, shares[j], a)
                    lon2, lat2 = geographic(a[0], a[1], a[2])
                    s, direction = _vincenty(lon[i], lat[i], lon2, lat2)
                    if s < out[4 * i]:
                        out[4 * i], out[4 * i + 1], out[4 * i + 2], out[4 * i + 3] = (
                            s,
                            lon2,
                            lat2,
                            direction,
                        )
                        cut = _cut(s)

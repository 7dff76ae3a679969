"""Compiled search for the nearest shoreline edge, and the side of it on which a place lies."""

# numba infers the types of compiled functions from their arguments
# ruff: noqa: ANN001, ANN202
# mypy: disable-error-code="no-untyped-def, no-untyped-call"

from __future__ import annotations

import math

import numpy as np

from routeplan._shorebase import E2, INF32, compiled, frame, geographic, push, vincenty
from routeplan._shorerays import first_hit, workspace
from routeplan._shorerings import EQUATOR_M, FLATTENING, UNITS_PER_M

__all__ = ["nearest"]

_UNIT = 1.0 / UNITS_PER_M
# Below this the nearest by chord is the nearest by geodesic within 2 mm: arcs of one chord c
# differ by at most c^3 / 24 (1 / Rmin^2 - 1 / Rmax^2).
_FAR_M = 50_000.0
_FLATTEST_M = EQUATOR_M / (1.0 - FLATTENING)  # radius of curvature at the poles, the largest
_BEYOND_M = 5_000_000.0  # farther from all shoreline than any place with water or land around it
_NEAR_TIE = 1e-6


@compiled
def _near_block(block, o, best, keys):
    """Lower bound of the distance to each of eight spheres; inf where beyond `best`."""
    ox, oy, oz = np.float32(o[0]), np.float32(o[1]), np.float32(o[2])
    cut = np.float32(best)
    for j in range(block.shape[1]):
        dx = block[0, j] - ox
        dy = block[1, j] - oy
        dz = block[2, j] - oz
        r = block[3, j]
        bound = np.float32(math.sqrt(dx * dx + dy * dy + dz * dz)) - r
        keys[j] = bound if (bound <= cut) & (r >= np.float32(0.0)) else INF32


@compiled
def _edge_distances(points, begin, n, o, squares, shares):
    """Squared distance [1/256 m] to each edge of a run, and where on the edge it is met."""
    ox, oy, oz = o[0] * UNITS_PER_M, o[1] * UNITS_PER_M, o[2] * UNITS_PER_M
    for j in range(n - 1):
        i = begin + j
        ax = float(points[i]) - ox
        ay = float(points[i + n]) - oy
        az = float(points[i + 2 * n]) - oz
        ex = float(points[i + 1]) - ox - ax
        ey = float(points[i + n + 1]) - oy - ay
        ez = float(points[i + 2 * n + 1]) - oz - az
        share = -(ax * ex + ay * ey + az * ez) / (ex * ex + ey * ey + ez * ez)
        share = min(1.0, max(0.0, share))
        qx, qy, qz = ax + share * ex, ay + share * ey, az + share * ez
        squares[j] = qx * qx + qy * qy + qz * qz
        shares[j] = share


@compiled
def _on_edge(points, begin, n, j, share, q):
    """Write the point at `share` of edge j of a run into q [m]."""
    for axis in range(3):
        i = begin + axis * n + j
        q[axis] = (points[i] + share * (points[i + 1] - points[i])) * _UNIT


@compiled
def _by_chord(points, first, spheres, child, o, run, work, scratch):
    """Nearest edge by chord, beginning with the guess `run`: run, edge, share, chord [m]."""
    keys, stack_key, stack_id, _ = work
    squares, shares = scratch
    runs = len(first) - 1
    best, square, edge, share = np.inf, np.inf, 0, 0.0
    stack_key[0], stack_id[0] = np.float32(0.0), len(child) - 1
    stack_key[1], stack_id[1] = np.float32(0.0), -run - 1
    top = 2
    while top:
        top -= 1
        if stack_key[top] > best:
            continue
        node = stack_id[top]
        if node >= 0:
            _near_block(spheres[node], o, best, keys)
            top = push(keys, child[node], runs, stack_key, stack_id, top)
            continue
        here = -node - 1
        n = first[here + 1] - first[here]
        _edge_distances(points, 3 * first[here], n, o, squares, shares)
        for j in range(n - 1):
            if squares[j] < square:
                square, run, edge, share = squares[j], here, j, shares[j]
                best = math.sqrt(square) * _UNIT
    return run, edge, share, best


@compiled
def _by_geodesic(points, first, spheres, child, lon, lat, o, start, work, scratch, q):
    """Nearest edge by geodesic among all whose chord could make them that.

    An arc over a chord c is at least 2 R asin(c / 2 R) with the largest radius of curvature R
    on the ellipsoid. `start` is (run, edge, share); returns run, edge, share, distance, azimuth.
    """
    keys, stack_key, stack_id, _ = work
    squares, shares = scratch
    runs = len(first) - 1
    run, edge, share = start
    _on_edge(points, 3 * first[run], first[run + 1] - first[run], edge, share, q)
    lon2, lat2 = geographic(q[0], q[1], q[2])
    distance, azimuth = vincenty(lon, lat, lon2, lat2)
    if math.isnan(distance):
        return run, edge, share, distance, azimuth
    cut = 2.0 * _FLATTEST_M * math.sin(0.5 * distance / _FLATTEST_M) + 1.0
    stack_key[0], stack_id[0] = np.float32(0.0), len(child) - 1
    top = 1
    while top:
        top -= 1
        if stack_key[top] > cut:
            continue
        node = stack_id[top]
        if node >= 0:
            _near_block(spheres[node], o, cut, keys)
            top = push(keys, child[node], runs, stack_key, stack_id, top)
            continue
        here = -node - 1
        begin, n = 3 * first[here], first[here + 1] - first[here]
        _edge_distances(points, begin, n, o, squares, shares)
        for j in range(n - 1):
            if math.sqrt(squares[j]) * _UNIT < cut:
                _on_edge(points, begin, n, j, shares[j], q)
                lon2, lat2 = geographic(q[0], q[1], q[2])
                s, direction = vincenty(lon, lat, lon2, lat2)
                if s < distance:
                    distance, azimuth, run, edge, share = s, direction, here, j, shares[j]
                    cut = 2.0 * _FLATTEST_M * math.sin(0.5 * distance / _FLATTEST_M) + 1.0
    return run, edge, share, distance, azimuth


@compiled
def _on_land(points, first, spheres, child, f, begin, n, edge, share, work):
    """Whether a place lies on the left, the landward side, of the shoreline nearest to it.

    Where the nearest point is inside an edge, the side of the edge tells. Where it is an end of
    edges, the first edge that a ray to the middle of one of them crosses tells, which needs no
    knowledge of how edges join there.
    """
    a = np.empty(3)
    b = np.empty(3)
    _on_edge(points, begin, n, edge, 0.0, a)
    _on_edge(points, begin, n, edge, 1.0, b)
    if 0.0 < share < 1.0:
        for axis in range(3):
            a[axis] -= f[axis]
            b[axis] -= f[axis]
        cross = f[3] * (a[1] * b[2] - a[2] * b[1])
        cross += f[4] * (a[2] * b[0] - a[0] * b[2])
        cross += f[5] * (a[0] * b[1] - a[1] * b[0])
        return cross >= 0.0
    m = np.empty(3)
    t = np.empty(3)
    for aim in (0.5, 0.30901, 0.71317, 0.11803, 0.93171):
        east, north = 0.0, 0.0
        for axis in range(3):
            d = a[axis] + aim * (b[axis] - a[axis]) - f[axis]
            east += d * f[6 + axis]
            north += d * f[9 + axis]
        reach = math.hypot(east, north)
        for axis in range(3):
            t[axis] = (east * f[6 + axis] + north * f[9 + axis]) / reach
            m[axis] = (east * f[9 + axis] - north * f[6 + axis]) / reach
        limit = reach * (1.0 + _NEAR_TIE) + _NEAR_TIE
        _, into = first_hit(points, first, spheres, child, f, m, t, limit, work)
        if into != 0:
            return into < 0
    return False


@compiled
def nearest(points, first, spheres, child, lon, lat, want_land, out, land):
    """Distance, longitude, latitude, bearing of the nearest shore into out (n, 4); land (n,)."""
    work = workspace()
    scratch = (np.empty(len(work[3])), np.empty(len(work[3])))
    f, q = np.empty(12), np.empty(3)
    run = 0
    for i in range(len(lon)):
        land[i] = False
        if math.isnan(lon[i]) or math.isnan(lat[i]):
            out[i, :] = math.nan
            continue
        prime = frame(lon[i], lat[i], f)
        run, edge, share, chord = _by_chord(points, first, spheres, child, f, run, work, scratch)
        if chord > _FAR_M:
            run, edge, share, distance, azimuth = _by_geodesic(
                points,
                first,
                spheres,
                child,
                lon[i],
                lat[i],
                f,
                (run, edge, share),
                work,
                scratch,
                q,
            )
        begin, n = 3 * first[run], first[run + 1] - first[run]
        _on_edge(points, begin, n, edge, share, q)
        if chord <= _FAR_M:
            east, north = 0.0, 0.0
            for axis in range(3):
                east += (q[axis] - f[axis]) * f[6 + axis]
                north += (q[axis] - f[axis]) * f[9 + axis]
            azimuth = math.degrees(math.atan2(east, north)) % 360.0
            s, c = math.sin(math.radians(azimuth)), math.cos(math.radians(azimuth))
            meridian = prime * (1.0 - E2) / (1.0 - E2 * f[5] * f[5])
            radius = 1.0 / (c * c / meridian + s * s / prime)
            distance = 2.0 * radius * math.asin(0.5 * chord / radius)
        out[i, 0], out[i, 3] = distance, azimuth
        out[i, 1], out[i, 2] = geographic(q[0], q[1], q[2])
        if want_land and chord < _BEYOND_M:
            land[i] = _on_land(points, first, spheres, child, f, begin, n, edge, share, work)

"""Compiled search for the first shoreline edge along rays.

A ray is a half-plane: it holds the place it starts from, the vertical there and its direction.
Blocks of spheres are tested eight at a time in 32-bit floats, which vectorises; the spheres are
widened for it. Edges are tested in 64-bit floats; a point on the plane counts as on its left,
so that a ray through a point that two edges share meets exactly one of them.
"""

# numba infers the types of compiled functions from their arguments
# ruff: noqa: ANN001, ANN202
# mypy: disable-error-code="no-untyped-def, no-untyped-call"

from __future__ import annotations

import math

import numpy as np

from routeplan._shorebase import E2, INF32, STACK, compiled, frame, push
from routeplan._shoreindex import FAN, RUN_EDGES
from routeplan._shorerings import EQUATOR_M, UNITS_PER_M

__all__ = ["crossings", "fetch", "first_hit", "workspace"]

_UNIT = 1.0 / UNITS_PER_M
_TIGHTEST_M = EQUATOR_M * (1.0 - E2)  # smallest radius of curvature: the meridian's, equator


@compiled
def workspace():
    """Scratch arrays of `first_hit`."""
    return (
        np.empty(FAN, np.float32),
        np.empty(STACK, np.float32),
        np.empty(STACK, np.int64),
        np.empty(RUN_EDGES + 1, np.float64),
    )


@compiled
def _ray_block(block, o, m, t, limit, keys):
    """Lower bound of the way along the ray to each of eight spheres; inf where it misses."""
    ox, oy, oz = np.float32(o[0]), np.float32(o[1]), np.float32(o[2])
    mx, my, mz = np.float32(m[0]), np.float32(m[1]), np.float32(m[2])
    tx, ty, tz = np.float32(t[0]), np.float32(t[1]), np.float32(t[2])
    # a way of R sin(a) along the tangent is a chord of 2 R sin(a / 2)
    sine = min(1.0, limit / _TIGHTEST_M)
    lim = np.float32(_TIGHTEST_M * math.sqrt(2.0 - 2.0 * math.sqrt(1.0 - sine * sine)))
    for j in range(block.shape[1]):
        dx = block[0, j] - ox
        dy = block[1, j] - oy
        dz = block[2, j] - oz
        r = block[3, j]
        side = abs(mx * dx + my * dy + mz * dz)
        along = tx * dx + ty * dy + tz * dz
        far = dx * dx + dy * dy + dz * dz
        reach = lim + r
        hit = (side <= r) & (along >= -r) & (far <= reach * reach)
        keys[j] = along - r if hit else INF32


@compiled
def _sides(points, begin, n, m, mo, sides):
    """How far to the left of the plane each point of a run lies [1/256 m]."""
    for j in range(n):
        x = float(points[begin + j])
        y = float(points[begin + n + j])
        z = float(points[begin + 2 * n + j])
        sides[j] = m[0] * x + m[1] * y + m[2] * z - mo


@compiled
def _way(points, i, n, a, b, o, t):
    """Way along the ray to where the edge from point i, with sides a and b, meets the plane."""
    u = a / (a - b)
    along = 0.0
    for axis in range(3):
        start = points[i + axis * n]
        along += t[axis] * ((start + u * (points[i + axis * n + 1] - start)) * _UNIT - o[axis])
    return along


@compiled
def _ray_run(points, begin, n, o, m, t, mo, best, sides):
    """First crossing of the ray with a run before `best`: way, and +1 onto land, -1 off it."""
    _sides(points, begin, n, m, mo, sides)
    into = 0
    for j in range(n - 1):
        a, b = sides[j], sides[j + 1]
        if (a >= 0.0) != (b >= 0.0):
            along = _way(points, begin + j, n, a, b, o, t)
            if 0.0 <= along < best:
                best = along
                into = 1 if b < 0.0 else -1
    return best, into


@compiled
def first_hit(points, first, spheres, child, o, m, t, limit, work):
    """Way [m] to the first shoreline before `limit`: way, and +1 onto land, -1 off it, 0 none."""
    keys, stack_key, stack_id, sides = work
    runs = len(first) - 1
    best = limit
    into = 0
    mo = (m[0] * o[0] + m[1] * o[1] + m[2] * o[2]) * UNITS_PER_M
    stack_key[0] = -INF32
    stack_id[0] = len(child) - 1
    top = 1
    while top:
        top -= 1
        if stack_key[top] > best:
            continue
        node = stack_id[top]
        if node >= 0:
            _ray_block(spheres[node], o, m, t, best, keys)
            top = push(keys, child[node], runs, stack_key, stack_id, top)
        else:
            run = -node - 1
            best, turn = _ray_run(
                points, 3 * first[run], first[run + 1] - first[run], o, m, t, mo, best, sides
            )
            if turn:
                into = turn
    return best, into


@compiled
def aim(f, azimuth, t, m):
    """Direction t and leftward normal m of the ray at `azimuth`; radius of curvature there."""
    s, c = math.sin(math.radians(azimuth)), math.cos(math.radians(azimuth))
    for axis in range(3):
        t[axis] = s * f[6 + axis] + c * f[9 + axis]
        m[axis] = s * f[9 + axis] - c * f[6 + axis]
    # Euler's formula for the curvature of a normal section
    bend = 1.0 - E2 * f[5] * f[5]
    prime = EQUATOR_M / math.sqrt(bend)
    return 1.0 / (c * c * bend / (prime * (1.0 - E2)) + s * s / prime)


@compiled
def fetch(points, first, spheres, child, lon, lat, azimuth, limit, out):
    """Way to the first shoreline from n places along k azimuths each, at most `limit` [m].

    azimuth is (1, k) or (n, k) [degrees], limit (n, k) [m], out (n, k). A ray without a hit
    gives inf. Ways up to a few hundred kilometres: on them the arc of radius R over the
    sine R sin(s / R) is the geodesic within centimetres.
    """
    work = workspace()
    f, m, t = np.empty(12), np.empty(3), np.empty(3)
    for i in range(len(lon)):
        frame(lon[i], lat[i], f)
        row = min(i, len(azimuth) - 1)
        for k in range(azimuth.shape[1]):
            if math.isnan(azimuth[row, k] + lon[i] + lat[i] + limit[i, k]):
                out[i, k] = math.nan
                continue
            radius = aim(f, azimuth[row, k], t, m)
            reach = radius * math.sin(limit[i, k] / radius)
            along, into = first_hit(points, first, spheres, child, f, m, t, reach, work)
            out[i, k] = radius * math.asin(along / radius) if into != 0 else math.inf


@compiled
def crossings(points, first, spheres, child, lon, lat, azimuth, limit, way, turn):
    """All shoreline along one ray: ways [m] and +1 (onto land) or -1 (off it); their number.

    Where there are more than `way` and `turn` hold, only the number is right.
    """
    keys, stack_key, stack_id, sides = workspace()
    f, m, t = np.empty(12), np.empty(3), np.empty(3)
    frame(lon, lat, f)
    radius = aim(f, azimuth, t, m)
    reach = radius * math.sin(limit / radius)
    mo = (m[0] * f[0] + m[1] * f[1] + m[2] * f[2]) * UNITS_PER_M
    runs = len(first) - 1
    found = 0
    stack_key[0], stack_id[0] = np.float32(0.0), len(child) - 1
    top = 1
    while top:
        top -= 1
        node = stack_id[top]
        if node >= 0:
            _ray_block(spheres[node], f, m, t, reach, keys)
            top = push(keys, child[node], runs, stack_key, stack_id, top)
            continue
        run = -node - 1
        begin, n = 3 * first[run], first[run + 1] - first[run]
        _sides(points, begin, n, m, mo, sides)
        for j in range(n - 1):
            if (sides[j] >= 0.0) != (sides[j + 1] >= 0.0):
                along = _way(points, begin + j, n, sides[j], sides[j + 1], f, t)
                if 0.0 <= along <= reach:
                    if found < len(way):
                        way[found] = radius * math.asin(along / radius)
                        turn[found] = 1 if sides[j + 1] < 0.0 else -1
                    found += 1
    return found

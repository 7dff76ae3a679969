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

from routeplan._kernel.jit import part
from routeplan._shore.base import BLOCK, E2, EIGHT, INF32, Shore, Work, frame, push
from routeplan._shore.rings import EQUATOR_M, UNITS_PER_M

__all__ = ["crossings", "fetch", "first_hit"]

_UNIT = 1.0 / UNITS_PER_M
_TIGHTEST_M = EQUATOR_M * (1.0 - E2)  # smallest radius of curvature: the meridian's, equator


@part()
def _load(ray, o, m, t):
    """Round a ray to 32-bit floats."""
    for axis in range(3):
        ray[axis] = np.float32(o[axis])
        ray[axis + 3] = np.float32(m[axis])
        ray[axis + 6] = np.float32(t[axis])


@part()
def _chord(along):
    """Longest chord to what is `along` metres ahead: R sin(a) ahead are 2 R sin(a / 2)."""
    sine = along / _TIGHTEST_M
    if sine > 1.0:
        sine = 1.0
    return np.float32(_TIGHTEST_M * math.sqrt(2.0 - 2.0 * math.sqrt(1.0 - sine * sine)))


@part()
def _ray_block(spheres, node, ray, keys, fan):
    """Lower bound of the way along the ray to each of eight spheres; inf where it misses."""
    ox, oy, oz, mx, my = ray[0], ray[1], ray[2], ray[3], ray[4]
    mz, tx, ty, tz, longest = ray[5], ray[6], ray[7], ray[8], ray[9]
    at_x = np.uint64(node) * BLOCK
    at_y = at_x + EIGHT
    at_z = at_y + EIGHT
    at_r = at_z + EIGHT
    for j in range(np.uint64(fan)):
        dx = spheres[at_x + j] - ox
        dy = spheres[at_y + j] - oy
        dz = spheres[at_z + j] - oz
        r = spheres[at_r + j]
        aside = abs(mx * dx + my * dy + mz * dz)
        along = tx * dx + ty * dy + tz * dz
        away = dx * dx + dy * dy + dz * dz
        reach = longest + r
        meets = (aside <= r) & (along >= -r) & (away <= reach * reach)
        keys[j] = along - r if meets else INF32


@part()
def _sides(index, begin, n, m, mo, sides):
    """How far to the left of the plane each of n points lies [1/256 m]."""
    at = np.uint64(begin)
    mx, my, mz = m[0], m[1], m[2]
    for j in range(np.uint64(n)):
        i = at + j
        sides[j] = mx * index.x[i] + my * index.y[i] + mz * index.z[i] - mo


@part()
def _way(index, i, a, b, o, t):
    """Way along the ray to where the edge from point i, with sides a and b, meets the plane."""
    u = a / (a - b)
    x = (index.x[i] + u * (index.x[i + 1] - index.x[i])) * _UNIT - o[0]
    y = (index.y[i] + u * (index.y[i + 1] - index.y[i])) * _UNIT - o[1]
    z = (index.z[i] + u * (index.z[i + 1] - index.z[i])) * _UNIT - o[2]
    return t[0] * x + t[1] * y + t[2] * z


@part()
def first_hit(index, work, limit):
    """Way [m] to the first shoreline before `limit`, and +1 onto land, -1 off it or 0 for none.

    The ray is that of `work`: from the place f, with m on its left and t ahead.
    """
    o, m, t, ray, sides = work.f, work.m, work.t, work.ray, work.sides
    keys, stack_key, stack_node = work.keys, work.stack_key, work.stack_node
    runs = index.runs
    into = 0
    mo = (m[0] * o[0] + m[1] * o[1] + m[2] * o[2]) * UNITS_PER_M
    _load(ray, o, m, t)
    ray[9] = _chord(limit)
    stack_key[0], stack_node[0] = -INF32, index.root
    top = 1
    while top:
        top -= 1
        node = stack_node[top]
        if stack_key[top] > limit:
            continue
        if node >= 0:
            _ray_block(index.spheres, node, ray, keys, index.fan)
            top = push(keys, index.child[node], runs, stack_key, stack_node, top)
            continue
        begin = index.first[-node - 1]
        n = index.first[-node] - begin
        _sides(index, begin, n, m, mo, sides)
        for j in range(n - 1):
            if (sides[j] >= 0.0) != (sides[j + 1] >= 0.0):
                along = _way(index, begin + j, sides[j], sides[j + 1], o, t)
                if 0.0 <= along < limit:
                    limit = along
                    into = 1 if sides[j] < 0.0 else -1
                    ray[9] = _chord(limit)
    return limit, into


@part()
def _aim(work, azimuth):
    """Set direction t and leftward normal m of the ray at `azimuth`; its radius of curvature."""
    f, m, t = work.f, work.m, work.t
    s, c = math.sin(math.radians(azimuth)), math.cos(math.radians(azimuth))
    for axis in range(3):
        t[axis] = s * f[6 + axis] + c * f[9 + axis]
        m[axis] = s * f[9 + axis] - c * f[6 + axis]
    # Euler's formula for the curvature of a normal section
    bend = 1.0 - E2 * f[5] * f[5]
    prime = EQUATOR_M / math.sqrt(bend)
    return 1.0 / (c * c * bend / (prime * (1.0 - E2)) + s * s / prime)


def fetch(
    x, y, z, first, spheres, child, runs, root, fan,
    keys, stack_key, stack_node, sides, shares, ray, f, m, t, a, b,
    places, rows, bearings, lon, lat, azimuth, limit, out,
):  # fmt: skip
    """Way to the first shoreline from n places along k azimuths each, at most `limit` [m].

    azimuth is (1, k) or (n, k) [degrees], out (n, k). A ray without a hit gives inf. For ways
    up to a few hundred kilometres: on them the arc of radius R over the sine R sin(s / R) is
    the geodesic within centimetres.
    """
    index = Shore(x, y, z, first, spheres, child, runs, root, fan)
    work = Work(keys, stack_key, stack_node, sides, shares, ray, f, m, t, a, b)
    for i in range(places):
        frame(lon[i], lat[i], f)
        row = i * bearings if i < rows else (rows - 1) * bearings
        for k in range(bearings):
            course = azimuth[row + k]
            if math.isnan(course + lon[i] + lat[i]):
                out[i * bearings + k] = math.nan
                continue
            radius = _aim(work, course)
            reach = radius * math.sin(limit / radius)
            along, into = first_hit(index, work, reach)
            way = radius * math.asin(along / radius) if into != 0 else math.inf
            out[i * bearings + k] = way


def crossings(
    x, y, z, first, spheres, child, runs, root, fan,
    keys, stack_key, stack_node, sides, shares, ray, f, m, t, a, b,
    lon, lat, azimuth, limit, room, way, turn, count,
):  # fmt: skip
    """All shoreline along one ray: ways [m] and +1 (onto land) or -1 (off it); their number.

    Where there are more than there is room for in `way` and `turn`, only the number is right.
    """
    index = Shore(x, y, z, first, spheres, child, runs, root, fan)
    work = Work(keys, stack_key, stack_node, sides, shares, ray, f, m, t, a, b)
    frame(lon, lat, f)
    radius = _aim(work, azimuth)
    reach = radius * math.sin(limit / radius)
    mo = (m[0] * f[0] + m[1] * f[1] + m[2] * f[2]) * UNITS_PER_M
    _load(ray, f, m, t)
    ray[9] = _chord(reach)
    found = 0
    stack_key[0], stack_node[0] = -INF32, root
    top = 1
    while top:
        top -= 1
        node = stack_node[top]
        if node >= 0:
            _ray_block(spheres, node, ray, keys, fan)
            top = push(keys, child[node], runs, stack_key, stack_node, top)
            continue
        begin = first[-node - 1]
        n = first[-node] - begin
        _sides(index, begin, n, m, mo, sides)
        for j in range(n - 1):
            if (sides[j] >= 0.0) != (sides[j + 1] >= 0.0):
                along = _way(index, begin + j, sides[j], sides[j + 1], f, t)
                if 0.0 <= along <= reach:
                    if found < room:
                        way[found] = radius * math.asin(along / radius)
                        turn[found] = 1 if sides[j] < 0.0 else -1
                    found += 1
    count[0] = found

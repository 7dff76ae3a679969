"""Compiled search for the nearest shoreline edge, and the side of it on which a place lies."""

# numba infers the types of compiled functions from their arguments
# ruff: noqa: ANN001, ANN202
# mypy: disable-error-code="no-untyped-def, no-untyped-call"

from __future__ import annotations

import math

import numpy as np

from routeplan._kernel.jit import part
from routeplan._shore.base import (
    BLOCK,
    E2,
    EIGHT,
    INF32,
    Shore,
    Work,
    frame,
    geographic,
    push,
)
from routeplan._shore.rays import first_hit
from routeplan._shore.rings import EQUATOR_M, UNITS_PER_M

__all__ = ["edge_distances", "near_block", "nearest", "on_edge"]

_UNIT = 1.0 / UNITS_PER_M
_BEYOND_M = 5_000_000.0  # farther from all shoreline than any place with water or land around it
_NEAR_TIE = 1e-6
_GOLDEN = 0.61803  # a step round the edge that comes near to no place twice


@part()
def near_block(spheres, node, o, best, keys, fan):
    """Lower bound of the distance to each of eight spheres; inf where beyond `best`."""
    ox, oy, oz = np.float32(o[0]), np.float32(o[1]), np.float32(o[2])
    cut = np.float32(best)
    at_x = np.uint64(node) * BLOCK
    at_y = at_x + EIGHT
    at_z = at_y + EIGHT
    at_r = at_z + EIGHT
    for j in range(np.uint64(fan)):
        dx = spheres[at_x + j] - ox
        dy = spheres[at_y + j] - oy
        dz = spheres[at_z + j] - oz
        r = spheres[at_r + j]
        bound = np.float32(math.sqrt(dx * dx + dy * dy + dz * dz)) - r
        keys[j] = bound if (bound <= cut) & (r >= np.float32(0.0)) else INF32


@part()
def edge_distances(index, begin, n, o, squares, shares):
    """Squared distance [1/256 m] to each edge of n points, and where on the edge it is met."""
    ox, oy, oz = o[0] * UNITS_PER_M, o[1] * UNITS_PER_M, o[2] * UNITS_PER_M
    at = np.uint64(begin)
    for j in range(np.uint64(n - 1)):
        i = at + j
        k = i + np.uint64(1)
        ax, ay, az = index.x[i] - ox, index.y[i] - oy, index.z[i] - oz
        ex, ey, ez = index.x[k] - ox - ax, index.y[k] - oy - ay, index.z[k] - oz - az
        share = -(ax * ex + ay * ey + az * ez) / (ex * ex + ey * ey + ez * ez)
        share = 0.0 if share < 0.0 else share
        share = 1.0 if share > 1.0 else share
        qx, qy, qz = ax + share * ex, ay + share * ey, az + share * ez
        squares[j] = qx * qx + qy * qy + qz * qz
        shares[j] = share


@part()
def on_edge(index, i, share, q):
    """Write the point at `share` of the edge from point i into q [m]."""
    q[0] = (index.x[i] + share * (index.x[i + 1] - index.x[i])) * _UNIT
    q[1] = (index.y[i] + share * (index.y[i + 1] - index.y[i])) * _UNIT
    q[2] = (index.z[i] + share * (index.z[i + 1] - index.z[i])) * _UNIT


@part()
def _by_chord(index, work, run):
    """Nearest edge by chord, beginning with the guess `run`: run, its point, share, chord [m]."""
    keys, stack_key, stack_node = work.keys, work.stack_key, work.stack_node
    f, squares, shares = work.f, work.sides, work.shares
    runs = index.runs
    best, square, point, share = np.inf, np.inf, 0, 0.0
    stack_key[0], stack_node[0] = np.float32(0.0), index.root
    stack_key[1], stack_node[1] = np.float32(0.0), -run - 1
    top = 2
    while top:
        top -= 1
        node = stack_node[top]
        if stack_key[top] > best:
            continue
        if node >= 0:
            near_block(index.spheres, node, f, best, keys, index.fan)
            top = push(keys, index.child[node], runs, stack_key, stack_node, top)
            continue
        begin = index.first[-node - 1]
        n = index.first[-node] - begin
        edge_distances(index, begin, n, f, squares, shares)
        for j in range(n - 1):
            if squares[j] < square:
                square, run, point, share = squares[j], -node - 1, begin + j, shares[j]
                best = math.sqrt(square) * _UNIT
    return run, point, share, best


@part()
def _on_land(index, work, point, share):
    """Whether a place lies on the right, the landward side, of the shoreline nearest to it.

    Where the nearest point is inside an edge, the side of the edge tells. Where it is an end of
    edges, the first edge that a ray to the middle of one of them crosses tells, which needs no
    knowledge of how edges join there.
    """
    f, a, b, m, t = work.f, work.a, work.b, work.m, work.t
    on_edge(index, point, 0.0, a)
    on_edge(index, point, 1.0, b)
    for axis in range(3):
        a[axis] -= f[axis]
        b[axis] -= f[axis]
    if 0.0 < share < 1.0:
        cross = f[3] * (a[1] * b[2] - a[2] * b[1])
        cross += f[4] * (a[2] * b[0] - a[0] * b[2])
        cross += f[5] * (a[0] * b[1] - a[1] * b[0])
        return cross <= 0.0
    aim = 0.5
    for _ in range(5):
        east, north = 0.0, 0.0
        for axis in range(3):
            d = a[axis] + aim * (b[axis] - a[axis])
            east += d * f[6 + axis]
            north += d * f[9 + axis]
        reach = math.hypot(east, north)
        for axis in range(3):
            t[axis] = (east * f[6 + axis] + north * f[9 + axis]) / reach
            m[axis] = (east * f[9 + axis] - north * f[6 + axis]) / reach
        _, into = first_hit(index, work, reach * (1.0 + _NEAR_TIE) + _NEAR_TIE)
        if into != 0:
            return into < 0
        aim += _GOLDEN
        if aim > 1.0:
            aim -= 1.0
    return False


@part()
def _arc(f, east, north, chord):
    """Geodesic over a chord, and its azimuth, by the curvature of the normal section."""
    azimuth = math.atan2(east, north)
    s, c = math.sin(azimuth), math.cos(azimuth)
    bend = 1.0 - E2 * f[5] * f[5]
    prime = EQUATOR_M / math.sqrt(bend)
    radius = 1.0 / (c * c * bend / (prime * (1.0 - E2)) + s * s / prime)
    half = 0.5 * chord / radius
    if half > 1.0:
        half = 1.0
    return 2.0 * radius * math.asin(half), math.degrees(azimuth) % 360.0


def nearest(
    x, y, z, first, spheres, child, runs, root, fan,
    keys, stack_key, stack_node, sides, shares, ray, f, m, t, a, b,
    places, order, lon, lat, want_land, out, found, land,
):  # fmt: skip
    """Nearest shore by chord: distance, longitude, latitude, bearing into out (n, 4).

    found (n,) receives the run it is on, land (n,) whether the place is on land. `order` (n,) is
    the order in which to go, best from neighbour to neighbour. Good to millimetres for
    distances up to some tens of kilometres.
    """
    index = Shore(x, y, z, first, spheres, child, runs, root, fan)
    work = Work(keys, stack_key, stack_node, sides, shares, ray, f, m, t, a, b)
    run = 0
    for step in range(places):
        i = order[step]
        land[i] = 0
        if math.isnan(lon[i]) or math.isnan(lat[i]):
            for column in range(4):
                out[4 * i + column] = math.nan
            continue
        frame(lon[i], lat[i], f)
        run, point, share, chord = _by_chord(index, work, run)
        found[i] = run
        on_edge(index, point, share, a)
        out[4 * i + 1], out[4 * i + 2] = geographic(a[0], a[1], a[2])
        east, north = 0.0, 0.0
        for axis in range(3):
            east += (a[axis] - f[axis]) * f[6 + axis]
            north += (a[axis] - f[axis]) * f[9 + axis]
        out[4 * i], out[4 * i + 3] = _arc(f, east, north, chord)
        if want_land and chord < _BEYOND_M and _on_land(index, work, point, share):
            land[i] = 1

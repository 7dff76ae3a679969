"""Compiled pieces that the shoreline kernels share.

Lengths are ECEF metres unless said otherwise; points of the index are in 1/256 m. Loops that
should vectorise count with unsigned integers, which numba does not check for being negative.

Arrays are pointers here: nothing knows their length, and nothing checks an index.
"""

# numba infers the types of compiled functions from their arguments
# ruff: noqa: ANN001, ANN202
# mypy: disable-error-code="no-untyped-def, no-untyped-call"

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from routeplan._kernel.jit import part
from routeplan._shore.index import FAN
from routeplan._shore.rings import EQUATOR_M, FLATTENING

__all__ = [
    "BLOCK",
    "E2",
    "EIGHT",
    "INF32",
    "Shore",
    "Work",
    "frame",
    "geographic",
    "push",
]

E2 = FLATTENING * (2.0 - FLATTENING)
INF32 = np.float32(np.inf)
BLOCK = np.uint64(4 * FAN)
EIGHT = np.uint64(FAN)


class Shore(NamedTuple):
    """The index as kernels see it: pointers to its arrays, and what they cannot tell."""

    x: Any
    y: Any
    z: Any
    first: Any
    spheres: Any
    child: Any
    runs: Any  # how many there are
    root: Any  # number of the block to begin with
    fan: Any  # spheres in a block; known only when it runs, so that loops are vectorised first


class Work(NamedTuple):
    """Scratch space of the kernels, which allocate nothing."""

    keys: Any  # (8,) float32, of a block
    stack_key: Any  # (128,) float32
    stack_node: Any  # (128,) int64
    sides: Any  # (17,) float64, of a run, as the next
    shares: Any
    ray: Any  # (10,) float32: place, left, ahead, longest chord
    f: Any  # (12,) float64: a place, and up, east and north there
    m: Any  # (3,) float64, as the next: left and ahead of a ray, points
    t: Any
    a: Any
    b: Any


@part()
def frame(lon, lat, out):
    """Position, up, east and north of a place on the ellipsoid into out (12,)."""
    sin_lon, cos_lon = math.sin(math.radians(lon)), math.cos(math.radians(lon))
    sin_lat, cos_lat = math.sin(math.radians(lat)), math.cos(math.radians(lat))
    prime = EQUATOR_M / math.sqrt(1.0 - E2 * sin_lat * sin_lat)
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


@part()
def geographic(x, y, z):
    """Longitude and latitude [degrees] of a point on the ellipsoid (height within metres)."""
    lat = math.atan2(z, (1.0 - E2) * math.sqrt(x * x + y * y))
    return math.degrees(math.atan2(y, x)), math.degrees(lat)


@part()
def push(keys, child, runs, stack_key, stack_node, top):
    """Put the spheres that count on the stack, the nearest on top.

    A node of the stack is the number of a block, or of a run as -run - 1.
    """
    base = top
    for j in range(FAN):
        key = keys[j]
        if key < INF32:
            place = top
            while place > base and stack_key[place - 1] < key:
                stack_key[place] = stack_key[place - 1]
                stack_node[place] = stack_node[place - 1]
                place -= 1
            stack_key[place] = key
            stack_node[place] = child + j if child >= 0 else -(child + runs + j) - 1
            top += 1
    return top

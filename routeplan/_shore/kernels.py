"""The shoreline kernels as the rest of the package calls them, loaded when first used."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from routeplan._kernel.kernels import Kernels
from routeplan._shore.index import FAN, RUN_EDGES, ShoreIndex

__all__ = ["COMPILED", "crossings", "farther", "fetch", "nearest"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_STACK = 128  # 7 pushed on each of at most 12 levels, and 8
_SHORE = "i4* i4* i4* i8* f4* i8* i8 i8 i8 "
_WORK = "f4* f4* i8* f8* f8* f4* f8* f8* f8* f8* f8* "
_COMMON = _SHORE + _WORK

_RAYS = Kernels(
    "routeplan._shore.rays",
    {
        "fetch": _COMMON + "i8 i8 i8 f8* f8* f8* f8 f8*",
        "crossings": _COMMON + "f8 f8 f8 f8 i8 f8* i8* i8*",
    },
)
_NEAREST = Kernels(
    "routeplan._shore.nearest", {"nearest": _COMMON + "i8 i8* f8* f8* i8 f8* i8* u1*"}
)
_FAR = Kernels("routeplan._shore.far", {"farther": _COMMON + "i8 f8* f8* i8* f8*"})

COMPILED = (_RAYS, _NEAREST)
"""Kernels that every question about a coast near by needs."""


def _common(index: ShoreIndex) -> tuple[object, ...]:
    """The index as kernels take it, and scratch space for one call."""
    run = RUN_EDGES + 1
    return (
        *index,
        len(index.first) - 1,
        len(index.child) - 1,
        FAN,
        np.empty(FAN, np.float32),
        np.empty(_STACK, np.float32),
        np.empty(_STACK, np.int64),
        np.empty(run),
        np.empty(run),
        np.empty(10, np.float32),
        np.empty(12),
        *(np.empty(3) for _ in range(4)),
    )


def fetch(
    index: ShoreIndex,
    lon: FloatArray,
    lat: FloatArray,
    azimuth: FloatArray,
    limit: float,
    out: FloatArray,
) -> None:
    """Way to the first shoreline from n places along azimuths (1, k) or (n, k) into out (n, k).

    At most `limit` [m]; a ray without a hit gives inf.
    """
    rows, bearings = azimuth.shape
    place = lon, lat, np.ascontiguousarray(azimuth)
    _RAYS("fetch", *_common(index), len(lon), rows, bearings, *place, limit, out)


def crossings(
    index: ShoreIndex,
    lon: float,
    lat: float,
    azimuth: float,
    limit: float,
    way: FloatArray,
    turn: IntArray,
) -> int:
    """All shoreline along one ray: ways [m] and +1 (onto land) or -1 (off it); their number.

    Where there are more than `way` and `turn` hold, only the number is right.
    """
    count = np.zeros(1, np.int64)
    ray = float(lon), float(lat), float(azimuth), float(limit)
    _RAYS("crossings", *_common(index), *ray, len(way), way, turn, count)
    return int(count[0])


def nearest(
    index: ShoreIndex,
    order: IntArray,
    lon: FloatArray,
    lat: FloatArray,
    want_land: bool,
    out: FloatArray,
    runs: IntArray,
    land: npt.NDArray[np.bool_],
) -> None:
    """Nearest shore by chord: distance, longitude, latitude, bearing into out (n, 4).

    runs (n,) receives the run it is on, land (n,) whether the place is on land. `order` (n,) is
    the order in which to go, best from neighbour to neighbour. Good to millimetres for
    distances up to some tens of kilometres.
    """
    _NEAREST(
        "nearest",
        *_common(index),
        len(order),
        order,
        lon,
        lat,
        int(want_land),
        out,
        runs,
        land.view(np.uint8),
    )


def farther(
    index: ShoreIndex, lon: FloatArray, lat: FloatArray, runs: IntArray, out: FloatArray
) -> None:
    """Nearest shore by geodesic among all whose chord could make them that, into out (n, 4).

    runs (n,) and out come from `nearest`. The distance is nan close to the antipode of the
    shore, where the longitude and latitude of the nearest by chord are left.
    """
    _FAR("farther", *_common(index), len(lon), lon, lat, runs, out)

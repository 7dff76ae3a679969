"""Where a line of geodesics runs over land."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from routeplan._shore.index import ShoreIndex
from routeplan._shore.kernels import crossings
from routeplan.geodesy import interpolate

__all__ = ["crossed_intervals"]

FloatArray = npt.NDArray[np.float64]
LandTest = Callable[[FloatArray, FloatArray], npt.NDArray[np.bool_]]

_PIECE_M = 50_000.0  # a normal section of this length keeps within 2 mm of the geodesic
_JOIN_M = 0.05  # intervals this close are one, cut where pieces of the line meet


def crossed_intervals(
    index: ShoreIndex, lon: FloatArray, lat: FloatArray, is_land: LandTest | None
) -> list[tuple[float, float]]:
    """Intervals over land along a line [m]; without `is_land`, crossings of no length."""
    lons, lats, courses, begins, lengths = _pieces(lon, lat)
    starts = begins.tolist()
    dry = None if is_land is None else is_land(lons, lats)
    intervals: list[tuple[float, float]] = []
    for i, length in enumerate(lengths.tolist()):
        way, turn = _hits(index, lons[i], lats[i], courses[i], length)
        if dry is None:
            intervals.extend((starts[i] + s, starts[i] + s) for s in way.tolist())
            continue
        for enter, leave in _dry_parts(way, turn, bool(dry[i]), length):
            _append(intervals, starts[i] + enter, starts[i] + leave)
    return intervals


def _pieces(lon: FloatArray, lat: FloatArray) -> tuple[FloatArray, ...]:
    """Cut the line: longitude, latitude, course, distance along the line, length of pieces."""
    rows: list[FloatArray] = []
    done = 0.0
    for k in range(len(lon) - 1):
        if lon[k] == lon[k + 1] and lat[k] == lat[k + 1]:
            continue
        x, y, way, course = interpolate(lon[k], lat[k], lon[k + 1], lat[k + 1], _PIECE_M)
        rows.append(np.stack([x[:-1], y[:-1], course[:-1], done + way[:-1], np.diff(way)]))
        done += float(way[-1])
    table = np.hstack(rows) if rows else np.empty((5, 0))
    return tuple(table)


def _hits(
    index: ShoreIndex, lon: float, lat: float, course: float, length: float
) -> tuple[FloatArray, npt.NDArray[np.int64]]:
    """Every shoreline along one piece, sorted: way [m], and +1 onto land or -1 off it."""
    room = 256
    while True:
        way, turn = np.empty(room), np.empty(room, np.int64)
        found = crossings(index, lon, lat, course, length, way, turn)
        if found <= room:
            break
        room = found
    order = np.argsort(way[:found], kind="stable")
    return way[:found][order], turn[:found][order]


def _dry_parts(
    way: FloatArray, turn: npt.NDArray[np.int64], dry: bool, length: float
) -> list[tuple[float, float]]:
    """Parts of a piece that are on land; areas that overlap count as one."""
    parts = []
    depth, enter = (1, 0.0) if dry else (0, 0.0)
    for s, step in zip(way.tolist(), turn.tolist(), strict=True):
        before = depth
        depth = max(0, depth + step)
        if before == 0 and depth == 1:
            enter = s
        elif before == 1 and depth == 0:
            parts.append((enter, s))
    if depth:
        parts.append((enter, length))
    return parts


def _append(intervals: list[tuple[float, float]], enter: float, leave: float) -> None:
    """Add an interval, joined to the last where they meet."""
    if intervals and enter - intervals[-1][1] <= _JOIN_M:
        intervals[-1] = (intervals[-1][0], leave)
    elif leave > enter:
        intervals.append((enter, leave))

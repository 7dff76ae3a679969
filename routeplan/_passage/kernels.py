"""The kernels of a passage as the rest of the package calls them, loaded when first used."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from routeplan._kernel.kernels import Kernels

__all__ = ["COMPILED", "STUCK", "ground_speeds", "march", "speeds"]

FloatArray = NDArray[np.float64]

STUCK = 2
"""Status of a launch that makes no way on a leg."""

_DRIVING = 7
_STATE = "f8* i8* f8* f8* f8* f8* f8* f8* "

_MARCH = Kernels(
    "routeplan._passage.march",
    {
        "march": "f8* i8* i8 f8* i8 f8* i8 i8 i8 "
        "f8* i8* f8* f8* f8* f8* f8* "
        "f8* i8 i8 f8* f8* i8 f8* u1* " + _STATE + "f8* f8* u1* "
        "f8* i4* f4* u1* i8 i8* i8",
        "ground_speeds": "f8* i8 f8* f8* f8* u1* f8* f8*",
    },
)
_POWER = Kernels("routeplan._passage.power", {"speeds": "f8* i8 f8* f8* f8* f8* f8*"})

COMPILED = (_MARCH,)
"""Kernels that every passage needs."""


def march(
    fields: tuple[Any, ...],
    steps: tuple[Any, ...],
    launch: FloatArray,
    party: tuple[FloatArray, FloatArray],
    pace: FloatArray,
    have: NDArray[np.bool_],
    kept: NDArray[np.int64],
    times: tuple[Any, ...],
    out: tuple[Any, ...],
) -> None:
    """Paddle every launch and member along the path.

    fields = (drive (f, k, T, e), rows (f,) which driving fields they are, watch (x, k, T, e),
    time (T,) [s]); steps = (length, leg, course sin, course cos, shore sin, shore cos, far)
    arrays (k,); launch (m,) [s]; party = (crafts (c, 10), still-water speeds (c,)); pace (6,);
    have which of waves, current, wave direction exist (3,); kept which quantities are told.
    Filled in place: times = (enter, leave [s], status) (m, n, e), out = (worst, place, when,
    unknown) (m, n, e, q).
    """
    drive, rows, watch, time = fields
    crafts, still = party
    worst, place, when, unknown = out
    _, count, hours, members = drive.shape
    _MARCH(
        "march",
        *(drive, rows, len(rows), watch, len(watch), time, count, hours, members),
        *steps,
        *(launch, launch.size, worst.shape[1], crafts, still, still.size, pace),
        have.view(np.uint8),
        *_state(launch.size, members, still, float(pace[0])),
        np.zeros(_DRIVING),
        np.zeros(worst.shape[3]),
        *(times[0], times[1], times[2].view(np.uint8)),
        *(worst, place, when, unknown.view(np.uint8), worst.shape[3], kept, kept.size),
    )


def ground_speeds(
    craft: FloatArray,
    course_rad: FloatArray,
    weather: FloatArray,
    have: NDArray[np.bool_],
    out: FloatArray,
) -> None:
    """Speed over ground of a craft (10,) in weather (7, n) on courses (n,), into out (n,).

    nan where the wind is unknown or the course cannot be held.
    """
    course = np.sin(course_rad), np.cos(course_rad)
    room = np.empty(_DRIVING)
    _MARCH("ground_speeds", craft, out.size, *course, weather, have.view(np.uint8), room, out)


def speeds(
    craft: FloatArray,
    headwind: FloatArray,
    crosswind: FloatArray,
    height: FloatArray,
    cos_angle: FloatArray,
) -> FloatArray:
    """Speed through the water of a craft (10,) for flat arrays of one length; nan in, nan out."""
    out = np.empty(headwind.size)
    _POWER("speeds", craft, out.size, headwind, crosswind, height, cos_angle, out)
    return out


def _state(launches: int, members: int, still: FloatArray, factor: float) -> tuple[Any, ...]:
    """Clock [s], cursor in time, time paddled and at the last rest [s], last speed, guesses."""
    shape = (launches, members)
    return (
        np.empty(shape),
        np.zeros(shape, dtype=np.int64),
        np.zeros(shape),
        np.zeros(shape),
        np.full(shape, factor * still.min()),
        np.zeros((*shape, still.size, 2)),
    )

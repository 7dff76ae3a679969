"""Compiled power balance of one paddler: the only place where speed is solved for.

Only read where it is compiled; `kernels` calls it. Arrays are pointers here.

A craft is a row of numbers, in the order of the constants below; `propulsion.craft_row` makes it.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from routeplan._kernel.jit import part

__all__ = [
    "power_at_pace",
    "row_of",
    "slip_speed",
    "speed_of_slip",
    "speeds",
    "top_slip",
    "wave_factor",
]

# Columns of a craft row
POWER, SLIP_K, HULL_A, HULL_N, AIR_B, LEEWAY, LOSS_HEAD, LOSS_BEAM, LOSS_FOLLOW, TOP_SLIP = range(
    10
)
COLUMNS = 10


_TOLERANCE = 1e-4  # of the slip, relative; the last Newton step squares it
_MAX_TURNS = 60


@part()
def row_of(crafts: Any, c: int) -> Any:
    """Row c of the crafts as plain numbers."""
    i = c * COLUMNS
    return (
        crafts[i], crafts[i + 1], crafts[i + 2], crafts[i + 3], crafts[i + 4],
        crafts[i + 5], crafts[i + 6], crafts[i + 7], crafts[i + 8], crafts[i + 9],
    )  # fmt: skip


@part()
def top_slip(craft: Any, power: float) -> Any:
    """Slip of the blade when the craft stands still [m/s], where the thrust is largest."""
    if power == craft[POWER]:
        return craft[TOP_SLIP]
    if power < 0.0:
        return 0.0
    return (power / craft[SLIP_K]) ** (1.0 / 3.0)


@part()
def slip_speed(
    craft: Any, power: float, top: float, headwind: float, crosswind: float, guess: float
) -> Any:
    """Slip w of the blade [m/s] at which the thrust carries hull and air drag; 0 if none does.

    Thrust is k w², speed v = P / (k w²) - w. Thrust grows with w and drag falls, so the root is
    unique; Newton inside a shrinking bracket finds it. `top` is the largest slip; `guess` 0 = none.
    """
    k, b = craft[SLIP_K], craft[AIR_B]
    hull_a, hull_n = craft[HULL_A], craft[HULL_N]
    high = top
    if not high > 0.0:
        return 0.0
    cross2 = crosswind * crosswind
    if k * high * high <= b * math.sqrt(headwind * headwind + cross2) * headwind:
        return 0.0
    low = 0.0
    w = guess if 0.0 < guess < high else 0.7 * high
    for _ in range(_MAX_TURNS):
        inverse = 1.0 / w
        thrust = k * w * w
        push = power / k * inverse * inverse  # v + w
        v = push - w
        head = headwind + v
        apparent = math.sqrt(head * head + cross2)
        hull = hull_a * v
        if hull_n != 2.0:
            hull *= v ** (hull_n - 2.0)
        excess = thrust - hull * v - b * apparent * head
        if excess > 0.0:
            high = w
        else:
            low = w
        air_slope = b * (apparent + head * head / apparent) if apparent > 0.0 else 0.0
        slope = 2.0 * k * w + (hull_n * hull + air_slope) * (2.0 * push * inverse + 1.0)
        step = excess / slope
        w -= step
        if not low <= w <= high:
            w = 0.5 * (low + high)
        elif abs(step) < _TOLERANCE * w:
            break
    return w


@part()
def speed_of_slip(craft: Any, power: float, slip: float) -> Any:
    """Speed through the water that belongs to a slip [m/s]."""
    if slip <= 0.0:
        return 0.0
    v = power / (craft[SLIP_K] * slip * slip) - slip
    return 0.0 if v < 0.0 else v


@part()
def wave_factor(craft: Any, height: float, cos_angle: float) -> Any:
    """Share of the speed left in waves of a height [m]; cos_angle 1 = from ahead, -1 astern."""
    head, beam, follow = craft[LOSS_HEAD], craft[LOSS_BEAM], craft[LOSS_FOLLOW]
    loss = beam + 0.5 * (head - follow) * cos_angle
    loss += (0.5 * (head + follow) - beam) * cos_angle * cos_angle
    left = 1.0 - loss * height
    return 0.0 if left < 0.0 else left


@part()
def power_at_pace(craft: Any, pace: float, still_speed: float) -> Any:
    """Power [W] that drives the craft at `pace` times its still-water speed in still air."""
    v = pace * still_speed
    if v <= 0.0:
        return 0.0
    thrust = craft[HULL_A] * v ** craft[HULL_N] + craft[AIR_B] * v * v
    return thrust * (v + math.sqrt(thrust / craft[SLIP_K]))


def speeds(
    crafts: Any, count: int, headwind: Any, crosswind: Any, height: Any, cos_angle: Any, out: Any
) -> None:
    """Speed of the first of the crafts for each of `count` values; nan in, nan out."""
    craft = row_of(crafts, 0)
    for i in range(count):
        if not (
            math.isfinite(headwind[i])
            and math.isfinite(crosswind[i])
            and math.isfinite(height[i])
            and math.isfinite(cos_angle[i])
        ):
            out[i] = np.nan
            continue
        slip = slip_speed(craft, craft[POWER], craft[TOP_SLIP], headwind[i], crosswind[i], 0.0)
        v = speed_of_slip(craft, craft[POWER], slip)
        out[i] = v * wave_factor(craft, height[i], cos_angle[i])

"""Compiled march along a path: all launches and members step by step.

Imported lazily by `simulation`. Steps are the outer loop and members the inner one, so that the
slab of the forecast that a step needs is read once, in order.

Status of a (launch, member) on a leg: UNDER_WAY, LOST (the wind is unknown from here), STUCK (no
way made) or ENDED (stuck on a leg before).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from routeplan._passage.power import (
    LEEWAY,
    POWER,
    compiled,
    part,
    power_at_pace,
    row_of,
    slip_speed,
    speed_of_slip,
    top_slip,
    wave_factor,
)

__all__ = ["STUCK", "ground_speeds", "march", "new_state", "new_work"]

UNDER_WAY, LOST, STUCK, ENDED = range(4)

# Driving fields, rows of `drive`
U, V, HEIGHT, WAVE_EAST, WAVE_NORTH, CURRENT_EAST, CURRENT_NORTH = range(7)
DRIVING = 7
# Quantities worked out on the way, the first rows of `worst`; the watched fields follow
WIND, HEAD, CROSS, WAVES, OFFSHORE_WIND, AGAINST, CURRENT = range(7)
COMPUTED = 7
BREEZE_MS = 4.0  # assumption: lighter winds raise no sea against a current
# Columns of `pace`
FACTOR, DECAY, FRESH_S, REST_EVERY_S, REST_S, MIN_WAY = range(6)

LONGEST_S = 300.0  # no stretch is paddled longer than this on one look at the weather

_FERRY_TURNS = 60  # two do as a rule; more where a cross wind is almost too much
_FERRY_TOLERANCE = 1e-4  # of the sine of the ferry angle


@part("always")
def _between(slab: Any, f: int, i: int, member: int, share: float) -> Any:
    """Linear in time; a neighbour that does not count may be unknown."""
    if share == 0.0:
        return slab[f, i, member]
    if share == 1.0:
        return slab[f, i + 1, member]
    return slab[f, i, member] * (1.0 - share) + slab[f, i + 1, member] * share


@part()
def _over_ground(
    craft: Any, power: float, air: Any, wave: Any, stream: Any, slip: float, sin_b: float
) -> Any:
    """Speed made good along the course with the ferry angle held; nan if it cannot be held.

    air, stream = (along, right) [m/s]; wave = (height, along, right); the angle is counted to
    the right. The search starts from slip and sine of the angle of the step before, and returns
    those of this one beside the speed.
    """
    need = -(stream[1] + craft[LEEWAY] * air[1])
    if need == 0.0:
        sin_b = 0.0
    cos_b = math.sqrt(1.0 - sin_b * sin_b)
    top = top_slip(craft, power)
    for _ in range(_FERRY_TURNS):
        along = air[0] * cos_b + air[1] * sin_b
        across = air[1] * cos_b - air[0] * sin_b
        slip = slip_speed(craft, power, top, -along, across, slip)
        v = speed_of_slip(craft, power, slip)
        if wave[0] > 0.0:
            v *= wave_factor(craft, wave[0], wave[1] * cos_b + wave[2] * sin_b)
        if abs(need) >= v:
            return np.nan, slip, 0.0
        turned = need / v
        if abs(turned - sin_b) < _FERRY_TOLERANCE:
            return math.sqrt(v * v - need * need) + stream[0], slip, turned
        sin_b, cos_b = turned, math.sqrt(1.0 - turned * turned)
    return np.nan, slip, 0.0  # turning up always costs more than it gains: it cannot be held


@part("always")
def _pace_power(craft: Any, still: float, pace: Any, paddled_s: float) -> Any:
    factor = pace[FACTOR]
    if pace[DECAY] > 0.0 and paddled_s > pace[FRESH_S]:
        factor *= (1.0 - pace[DECAY]) ** ((paddled_s - pace[FRESH_S]) / 3600.0)
    if factor == 1.0:
        return craft[POWER]
    return power_at_pace(craft, factor, still)


@part("always")
def _slowest(
    party: Any, pace: Any, state: Any, m: int, e: int, air: Any, wave: Any, stream: Any
) -> Any:
    """Speed over ground of the slowest craft; nan as soon as one cannot hold the course."""
    crafts, still = party
    paddled, guess = state[2][m, e], state[5]
    slowest = np.inf
    for c in range(crafts.shape[0]):
        craft = row_of(crafts, c)
        power = _pace_power(craft, still[c], pace, paddled)
        sog, slip, sin_b = _over_ground(
            craft, power, air, wave, stream, guess[m, e, c, 0], guess[m, e, c, 1]
        )
        guess[m, e, c, 0], guess[m, e, c, 1] = slip, sin_b
        if math.isnan(sog):
            return np.nan
        slowest = min(slowest, sog)
    return slowest


@part("always")
def _frame(now: Any, course: Any, have: Any) -> Any:
    """Air, wave and stream in the frame of the course (along, right); unknown sea counts as none.

    A sea or current that is unknown is flagged elsewhere; here it must not stop the clock.
    """
    cu, cv = 0.0, 0.0
    if have[1] and math.isfinite(now[CURRENT_EAST]) and math.isfinite(now[CURRENT_NORTH]):
        cu, cv = now[CURRENT_EAST], now[CURRENT_NORTH]
    u, v = now[U] - cu, now[V] - cv
    sin_c, cos_c = course[0], course[1]
    air = (u * sin_c + v * cos_c, u * cos_c - v * sin_c)
    stream = (cu * sin_c + cv * cos_c, cu * cos_c - cv * sin_c)
    if not (have[0] and now[HEIGHT] > 0.0):
        return air, (0.0, 0.0, 0.0), stream
    east, north = now[WAVE_EAST], now[WAVE_NORTH]
    norm = math.sqrt(east * east + north * north)
    if not (have[2] and norm > 0.0):  # without a direction, waves run with the wind
        east, north = -now[U], -now[V]
        norm = math.sqrt(east * east + north * north)
    if norm > 0.0:
        along, right = east * sin_c + north * cos_c, east * cos_c - north * sin_c
        return air, (now[HEIGHT], along / norm, right / norm), stream
    return air, (now[HEIGHT], 0.0, 0.0), stream


@part("always")
def _work_out(now: Any, course: Any, shore: Any, values: Any) -> None:
    """Wind, its parts, waves, wind off the land and wind against the current."""
    u, v = now[U], now[V]
    speed = math.sqrt(u * u + v * v)
    values[WIND] = speed
    values[HEAD] = -(u * course[0] + v * course[1])
    values[CROSS] = abs(u * course[1] - v * course[0])
    values[WAVES] = now[HEIGHT]
    # Only far enough out does a wind off the land matter; elsewhere it counts as none.
    values[OFFSHORE_WIND] = -(u * shore[0] + v * shore[1]) * shore[2]
    cu, cv = now[CURRENT_EAST], now[CURRENT_NORTH]
    values[CURRENT] = math.sqrt(cu * cu + cv * cv)
    # Below a moderate breeze a current against the wind raises no sea worth a word.
    values[AGAINST] = -(u * cu + v * cv) / speed if speed > BREEZE_MS else 0.0


@part("always")
def _note(values: Any, kept: Any, cell: Any, k: int, since: float, out: Any) -> None:
    """Keep the largest value of a leg with its place and time, or that one is unknown."""
    m, leg, e = cell
    worst, place, when, unknown = out
    for i in range(kept.size):
        q = kept[i]
        value = values[q]
        if math.isnan(value):
            unknown[m, leg, e, q] = True
        elif not value <= worst[m, leg, e, q]:
            worst[m, leg, e, q] = value
            place[m, leg, e, q] = k
            when[m, leg, e, q] = since


@part("always")
def _bracket(time: Any, cursor: Any, when: float, m: int, e: int) -> Any:
    """Move the cursor to the interval of `when`; return the share of it, nan outside."""
    if not (when >= time[0] and when <= time[-1]):
        return np.nan
    i = cursor[m, e]
    while i < time.size - 2 and time[i + 1] <= when:
        i += 1
    cursor[m, e] = i
    if time.size == 1:
        return 0.0
    return (when - time[i]) / (time[i + 1] - time[i])


@part("always")
def _rest(pace: Any, state: Any, m: int, e: int) -> None:
    """Rest when one is due, before going on: none after the last step."""
    clock, paddled, rested = state[0], state[2], state[3]
    if pace[REST_EVERY_S] > 0.0 and paddled[m, e] - rested[m, e] >= pace[REST_EVERY_S]:
        clock[m, e] += pace[REST_S]
        rested[m, e] = paddled[m, e]


@part("always")
def _sample(fields: Any, when: float, state: Any, m: int, e: int, now: Any, noted: Any) -> Any:
    """Read all fields at a time; False where the wind is unknown."""
    drive, rows, watch, time = fields
    cursor = state[1]
    share = _bracket(time, cursor, when, m, e)
    if math.isnan(share):
        return False
    i = cursor[m, e]
    for f in range(rows.size):
        now[rows[f]] = _between(drive, f, i, e, share)
    for x in range(watch.shape[0]):
        noted[COMPUTED + x] = _between(watch, x, i, e, share)
    return math.isfinite(now[U]) and math.isfinite(now[V])


@part("always")
def _step(
    fields: Any, frame: Any, k: int, cell: Any, launch: float, party: Any, pace: Any, have: Any,
    state: Any, work: Any, out: Any,
) -> Any:  # fmt: skip
    """One step of one launch and member: sample, note, paddle; returns the status after it."""
    time = fields[3]
    course, shore, length = frame
    m, _, e = cell
    clock, paddled, last_speed = state[0], state[2], state[4]
    now, noted, kept = work
    left = length
    while left > 0.0:
        _rest(pace, state, m, e)
        # The middle of what comes, by the speed so far: second order in the step.
        middle = clock[m, e] + 0.5 * min(left / last_speed[m, e], LONGEST_S)
        if clock[m, e] < time[0] or not _sample(fields, middle, state, m, e, now, noted):
            return LOST
        _work_out(now, course, shore, noted)
        _note(noted, kept, cell, k, middle - launch, out)
        air, wave, stream = _frame(now, course, have)
        sog = _slowest(party, pace, state, m, e, air, wave, stream)
        if not sog >= pace[MIN_WAY]:
            return STUCK
        step_s = left / sog
        if step_s > LONGEST_S:  # slow going: look at the weather again on the way
            step_s = LONGEST_S
        left = left - step_s * sog if step_s == LONGEST_S else 0.0
        if clock[m, e] + step_s > time[-1]:  # it ends beyond what is known
            return LOST
        clock[m, e] += step_s
        paddled[m, e] += step_s
        last_speed[m, e] = sog
    return UNDER_WAY


@part("always")
def _begin(k: int, m: int, n: int, e: int, launch: Any, clock: Any, times: Any) -> None:
    """Begin a leg where the one before ended."""
    enter, _, status = times
    if k == 0:
        clock[m, e] = launch[m]
    else:
        before = status[m, n - 1, e]
        status[m, n, e] = ENDED if before == STUCK else before
    enter[m, n, e] = clock[m, e]


def new_state(launches: int, members: int, still: Any, factor: float) -> tuple[Any, ...]:
    """Clock [s], cursor in time, time paddled and at the last rest [s], last speed, guesses.

    Made outside the compiled code, whose making of arrays takes long to compile.
    """
    shape = (launches, members)
    return (
        np.empty(shape),
        np.zeros(shape, dtype=np.int64),
        np.zeros(shape),
        np.zeros(shape),
        np.full(shape, factor * still.min()),
        np.zeros((*shape, still.size, 2)),
    )


def new_work(watched: int, kept: Any) -> tuple[Any, ...]:
    """Room for the driving fields and the noted quantities of one step, and which are noted."""
    return np.zeros(DRIVING), np.zeros(COMPUTED + watched), kept


@compiled
def march(
    fields: Any, steps: Any, launch: Any, party: Any, pace: Any, have: Any, state: Any, work: Any,
    times: Any, out: Any,
) -> None:  # fmt: skip
    """Paddle every launch and member along the path.

    fields = (drive (f, k, T, e), rows (f,) which driving fields they are, watch (x, k, T, e),
    time (T,) [s]); steps = (length, leg, course sin, course cos, shore sin, shore cos, far)
    arrays (k,); launch (m,) [s]; party = (crafts (c, 10), still-water speeds (c,)); pace (6,);
    have which of waves, current, wave direction exist (3,); state and work of `new_state` and
    `new_work`. Filled in place: times = (enter, leave [s], status) (m, n, e), out = (worst,
    place, when, unknown) (m, n, e, q).
    """
    drive, rows, watch, time = fields
    length, leg, sin_c, cos_c, shore_e, shore_n, far = steps
    _, leave, status = times
    clock = state[0]
    launches, members = clock.shape
    for k in range(length.size):
        frame = ((sin_c[k], cos_c[k]), (shore_e[k], shore_n[k], far[k]), length[k])
        here = (drive[:, k], rows, watch[:, k], time)
        n = leg[k]
        first = k == 0 or n != leg[k - 1]
        for m in range(launches):
            for e in range(members):
                if first:
                    _begin(k, m, n, e, launch, clock, times)
                if status[m, n, e] == UNDER_WAY:
                    cell = (m, n, e)
                    status[m, n, e] = _step(
                        here, frame, k, cell, launch[m], party, pace, have, state, work, out
                    )
                if status[m, n, e] != UNDER_WAY:
                    clock[m, e] = np.nan
                    # Of the leg on which one is stuck, what was met is known.
                    if status[m, n, e] != STUCK:
                        for q in range(out[3].shape[3]):
                            out[3][m, n, e, q] = True
                leave[m, n, e] = clock[m, e]


@compiled
def ground_speeds(crafts: Any, course: Any, now: Any, have: Any, out: Any) -> None:
    """Speed over ground of the first craft in `now` (7, n) on courses (sin, cos) (2, n).

    Into out (n,); nan where the wind is unknown or the course cannot be held.
    """
    craft = row_of(crafts, 0)
    point = np.zeros(DRIVING)
    for i in range(out.size):
        for f in range(DRIVING):
            point[f] = now[f, i]
        if math.isnan(point[U]) or math.isnan(point[V]):
            out[i] = np.nan
            continue
        air, wave, stream = _frame(point, (course[0, i], course[1, i]), have)
        out[i] = _over_ground(craft, craft[POWER], air, wave, stream, 0.0, 0.0)[0]

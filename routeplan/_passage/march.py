"""Compiled march along a path: all launches and members step by step.

Only read where it is compiled; `kernels` calls it. Steps are the outer loop and members the inner
one, so that the slab of the forecast that a step needs is read once, in order. Arrays are
pointers here, and indices into them are counted by hand.

Status of a (launch, member) on a leg: UNDER_WAY, LOST (the wind is unknown from here), STUCK (no
way made) or ENDED (stuck on a leg before).
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from routeplan._kernel.jit import part
from routeplan._passage.power import (
    LEEWAY,
    POWER,
    power_at_pace,
    row_of,
    slip_speed,
    speed_of_slip,
    top_slip,
    wave_factor,
)

__all__ = ["ground_speeds", "march"]

UNDER_WAY, LOST, STUCK, ENDED = range(4)

# Driving fields, rows of `drive`
U, V, HEIGHT, WAVE_EAST, WAVE_NORTH, CURRENT_EAST, CURRENT_NORTH = range(7)
DRIVING = 7
# Quantities worked out on the way, the first rows of `worst`; the watched fields follow
WIND, HEAD, CROSS, WAVES, OFFSHORE_WIND, AGAINST, CURRENT = range(7)
COMPUTED = 7
BREEZE_MS = 4.0  # assumption: lighter winds raise no sea against a current
# Values of `pace`
FACTOR, DECAY, FRESH_S, REST_EVERY_S, REST_S, MIN_WAY = range(6)

LONGEST_S = 300.0  # no stretch is paddled longer than this on one look at the weather

_FERRY_TURNS = 60  # two do as a rule; more where a cross wind is almost too much
_FERRY_TOLERANCE = 1e-4  # of the sine of the ferry angle


class Fields(NamedTuple):
    """What is known of the weather: pointers, and how long they are."""

    drive: Any  # (f, k, T, e)
    rows: Any  # (f,) which of the driving fields they are
    driving: Any  # f
    watch: Any  # (x, k, T, e)
    watched: Any  # x
    time: Any  # (T,) [s]
    steps: Any  # k
    hours: Any  # T
    members: Any  # e


class State(NamedTuple):
    """How far each launch and member (m, e) has come."""

    clock: Any  # [s]
    cursor: Any  # hour of the forecast
    paddled: Any  # [s]
    rested: Any  # time paddled at the last rest [s]
    last_speed: Any  # [m/s]
    guess: Any  # (m, e, c, 2) slip, and sine of the ferry angle
    now: Any  # (7,) driving fields of one step
    noted: Any  # (q,) quantities of one step


class Told(NamedTuple):
    """The worst of each leg (m, n, e, q), where and when, and what was unknown on it."""

    worst: Any
    place: Any
    when: Any
    unknown: Any
    quantities: Any  # q
    kept: Any  # which of them are told
    told: Any  # how many


@part()
def _between(slab: Any, at: int, step: int, share: float) -> Any:
    """Linear in time; a neighbour that does not count may be unknown."""
    if share == 0.0:
        return slab[at]
    if share == 1.0:
        return slab[at + step]
    return slab[at] * (1.0 - share) + slab[at + step] * share


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


@part()
def _pace_power(craft: Any, still: float, pace: Any, paddled_s: float) -> Any:
    factor = pace[FACTOR]
    if pace[DECAY] > 0.0 and paddled_s > pace[FRESH_S]:
        factor *= (1.0 - pace[DECAY]) ** ((paddled_s - pace[FRESH_S]) / 3600.0)
    if factor == 1.0:
        return craft[POWER]
    return power_at_pace(craft, factor, still)


@part()
def _slowest(party: Any, pace: Any, state: Any, cell: int, air: Any, wave: Any, stream: Any) -> Any:
    """Speed over ground of the slowest craft; nan as soon as one cannot hold the course."""
    crafts, still, count = party
    paddled, guess = state.paddled[cell], state.guess
    slowest = np.inf
    for c in range(count):
        craft = row_of(crafts, c)
        power = _pace_power(craft, still[c], pace, paddled)
        at = 2 * (cell * count + c)
        sog, slip, sin_b = _over_ground(craft, power, air, wave, stream, guess[at], guess[at + 1])
        guess[at], guess[at + 1] = slip, sin_b
        if math.isnan(sog):
            return np.nan
        if sog < slowest:
            slowest = sog
    return slowest


@part()
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


@part()
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


@part()
def _note(told: Any, values: Any, row: int, k: int, since: float) -> None:
    """Keep the largest value of a leg with its place and time, or that one is unknown."""
    for i in range(told.told):
        q = told.kept[i]
        value = values[q]
        if math.isnan(value):
            told.unknown[row + q] = 1
        elif not value <= told.worst[row + q]:
            told.worst[row + q] = value
            told.place[row + q] = k
            told.when[row + q] = since


@part()
def _bracket(fields: Any, cursor: Any, when: float, cell: int) -> Any:
    """Move the cursor to the interval of `when`; return the share of it, nan outside."""
    time, hours = fields.time, fields.hours
    if not (when >= time[0] and when <= time[hours - 1]):
        return np.nan
    i = cursor[cell]
    while i < hours - 2 and time[i + 1] <= when:
        i += 1
    cursor[cell] = i
    if hours == 1:
        return 0.0
    return (when - time[i]) / (time[i + 1] - time[i])


@part()
def _rest(pace: Any, state: Any, cell: int) -> None:
    """Rest when one is due, before going on: none after the last step."""
    paddled, rested = state.paddled[cell], state.rested
    if pace[REST_EVERY_S] > 0.0 and paddled - rested[cell] >= pace[REST_EVERY_S]:
        state.clock[cell] += pace[REST_S]
        rested[cell] = paddled


@part()
def _sample(fields: Any, k: int, when: float, state: Any, cell: int, e: int) -> Any:
    """Read all fields at a time; False where the wind is unknown."""
    now, noted = state.now, state.noted
    share = _bracket(fields, state.cursor, when, cell)
    if math.isnan(share):
        return False
    step = fields.hours * fields.members
    begin = k * step + state.cursor[cell] * fields.members + e
    for f in range(fields.driving):
        at = begin + f * fields.steps * step
        now[fields.rows[f]] = _between(fields.drive, at, fields.members, share)
    for x in range(fields.watched):
        at = begin + x * fields.steps * step
        noted[COMPUTED + x] = _between(fields.watch, at, fields.members, share)
    return math.isfinite(now[U]) and math.isfinite(now[V])


@part()
def _step(
    fields: Any, frame: Any, k: int, cell: int, e: int, row: int, launch: float, party: Any,
    pace: Any, have: Any, state: Any, told: Any,
) -> Any:  # fmt: skip
    """One step of one launch and member: sample, note, paddle; returns the status after it."""
    first, last = fields.time[0], fields.time[fields.hours - 1]
    course, shore, length = frame
    clock, last_speed = state.clock, state.last_speed
    left = length
    while left > 0.0:
        _rest(pace, state, cell)
        # The middle of what comes, by the speed so far: second order in the step.
        ahead = left / last_speed[cell]
        middle = clock[cell] + 0.5 * (ahead if ahead < LONGEST_S else LONGEST_S)
        if clock[cell] < first or not _sample(fields, k, middle, state, cell, e):
            return LOST
        _work_out(state.now, course, shore, state.noted)
        _note(told, state.noted, row, k, middle - launch)
        air, wave, stream = _frame(state.now, course, have)
        sog = _slowest(party, pace, state, cell, air, wave, stream)
        if not sog >= pace[MIN_WAY]:
            return STUCK
        step_s = left / sog
        if step_s > LONGEST_S:  # slow going: look at the weather again on the way
            step_s = LONGEST_S
        left = left - step_s * sog if step_s == LONGEST_S else 0.0
        if clock[cell] + step_s > last:  # it ends beyond what is known
            return LOST
        clock[cell] += step_s
        state.paddled[cell] += step_s
        last_speed[cell] = sog
    return UNDER_WAY


@part()
def _begin(
    k: int, launch: float, at: int, before: int, clock: Any, cell: int, enter: Any, status: Any
) -> None:
    """Begin a leg where the one before ended."""
    if k == 0:
        clock[cell] = launch
    else:
        status[at] = ENDED if status[before] == STUCK else status[before]
    enter[at] = clock[cell]


def march(
    drive: Any, rows: Any, driving: int, watch: Any, watched: int, time: Any, steps: int,
    hours: int, members: int,
    length: Any, leg: Any, sin_c: Any, cos_c: Any, shore_e: Any, shore_n: Any, far: Any,
    launch: Any, launches: int, legs: int, crafts: Any, still: Any, count: int, pace: Any,
    have: Any,
    clock: Any, cursor: Any, paddled: Any, rested: Any, last_speed: Any, guess: Any, now: Any,
    noted: Any,
    enter: Any, leave: Any, status: Any,
    worst: Any, place: Any, when: Any, unknown: Any, quantities: int, kept: Any, tell: int,
) -> None:  # fmt: skip
    """Paddle every launch and member along the path; `kernels.march` says what is what."""
    fields = Fields(drive, rows, driving, watch, watched, time, steps, hours, members)
    state = State(clock, cursor, paddled, rested, last_speed, guess, now, noted)
    told = Told(worst, place, when, unknown, quantities, kept, tell)
    party = (crafts, still, count)
    for k in range(steps):
        frame = ((sin_c[k], cos_c[k]), (shore_e[k], shore_n[k], far[k]), length[k])
        n = leg[k]
        first = k == 0 or n != leg[k - 1]
        for m in range(launches):
            for e in range(members):
                cell = m * members + e
                at = (m * legs + n) * members + e
                row = at * quantities
                if first:
                    _begin(k, launch[m], at, at - members, clock, cell, enter, status)
                if status[at] == UNDER_WAY:
                    status[at] = _step(
                        fields, frame, k, cell, e, row, launch[m], party, pace, have, state, told
                    )
                if status[at] != UNDER_WAY:
                    clock[cell] = np.nan
                    # Of the leg on which one is stuck, what was met is known.
                    if status[at] != STUCK:
                        for q in range(quantities):
                            unknown[row + q] = 1
                leave[at] = clock[cell]


def ground_speeds(
    crafts: Any, count: int, sin_c: Any, cos_c: Any, weather: Any, have: Any, point: Any, out: Any
) -> None:
    """Speed over ground of the first craft in `weather` (7, n) on n courses, into out (n,).

    nan where the wind is unknown or the course cannot be held. `point` is room for (7,).
    """
    craft = row_of(crafts, 0)
    for i in range(count):
        for f in range(DRIVING):
            point[f] = weather[f * count + i]
        if math.isnan(point[U]) or math.isnan(point[V]):
            out[i] = np.nan
            continue
        air, wave, stream = _frame(point, (sin_c[i], cos_c[i]), have)
        out[i] = _over_ground(craft, craft[POWER], air, wave, stream, 0.0, 0.0)[0]

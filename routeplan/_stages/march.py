"""Compiled march from one place over all later ones: every launch and member at once.

Imported lazily. Speed and margin of each step, hour and member are given (`fields`); the
arrival at each place on the way falls out of one march. Arrays are handed to functions one by one
and outside the loops over launches and members: taking them out of tuples there costs more than
the paddling.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from routeplan._kernel.jit import compiled, part

__all__ = ["reduce_members", "walk"]

UNDER_WAY, LOST, STUCK, LATE, HOPELESS = range(5)
CLOSE, UNKNOWN, BEYOND = 1, 2, 3
_LONGEST_S = 900.0  # no stretch is paddled longer than this on one look at the weather
_HOPELESS = -1.0  # a margin below this will not be looked at further: twice the limit
_ROUNDING = 1e-6


@part("always")
def _mix(low: Any, high: Any, share: float) -> Any:
    """Linear; a neighbour that does not count may be unknown."""
    if share == 0.0:
        return low
    return low * (1.0 - share) + high * share


@part("always")
def _interval(time: Any, i: Any, when: float) -> Any:
    """Interval of a time within the forecast, from interval i on."""
    while i < time.size - 2 and time[i + 1] <= when:
        i += 1
    return i


@part("always")
def _pause(paddled: float, rested: float, every: float, rest: float) -> Any:
    """Rest that is due, and the time paddled at the last rest."""
    if every > 0.0 and paddled - rested >= every:
        return rest, paddled
    return 0.0, rested


@part("always")
def _tired(way: float, paddled: float, decay: float, fresh: float) -> Any:
    if decay > 0.0 and paddled > fresh:
        return way * (1.0 - decay) ** ((paddled - fresh) / 3600.0)
    return way


@part("always")
def _outcome(clock: float, cutoff: float, least: float, how: Any) -> Any:
    """How a step went, when nothing else stopped it."""
    if how == UNDER_WAY and clock > cutoff:
        return LATE
    if how == UNDER_WAY and least < _HOPELESS:
        return HOPELESS
    return how


@part()
def _advance(
    length: float, speed: Any, margin: Any, whose: Any, flag: Any, time: Any, span: Any,
    pace: Any, cutoff: Any, clock: Any, cursor: Any, last: Any, paddled: Any, rested: Any,
    least: Any, who: Any, worst: Any, how: Any,
) -> None:  # fmt: skip
    """Paddle one step with every launch and member that is under way."""
    min_way, every, rest, decay, fresh = pace
    launches, members = clock.shape
    for m in range(launches):
        for e in range(members):
            if how[m, e] != UNDER_WAY:
                continue
            left, now, way, done, result = length, clock[m, e], last[m, e], paddled[m, e], 0
            low, i = least[m, e], cursor[m, e]
            while left > 0.0:
                wait, rested[m, e] = _pause(done, rested[m, e], every, rest)
                now += wait
                # The middle of what comes, by the speed so far: second order in the step.
                middle = now + 0.5 * min(left / way, _LONGEST_S)
                if not (middle >= time[0] and middle <= time[-1]):
                    result = LOST
                    break
                i = _interval(time, i, middle)
                share = (middle - time[i]) * span[i]
                after = min(i + 1, time.size - 1)
                here = _mix(margin[i, e], margin[after, e], share)
                who[m, e] = whose[i, e] if here < low else who[m, e]
                low = here if here < low else low
                worst[m, e] = max(worst[m, e], flag[i, e])
                worst[m, e] = max(worst[m, e], flag[after, e]) if share > 0.0 else worst[m, e]
                found = _mix(speed[i, e], speed[after, e], share)
                found = _tired(found, done, decay, fresh)
                if not found >= min_way:
                    result = LOST if math.isnan(found) else STUCK
                    break
                way = found
                spent = min(left / way, _LONGEST_S)
                left = left - spent * way if spent == _LONGEST_S else 0.0
                now += spent
                done += spent
            result = LOST if now > time[-1] and result == UNDER_WAY else result
            clock[m, e], last[m, e], paddled[m, e] = now, way, done
            least[m, e], cursor[m, e] = low, i
            how[m, e] = _outcome(now, cutoff[m], low, result)


@part("always")
def _grade(margin: float, flag: int, close: float) -> Any:
    if margin < -_ROUNDING:
        return BEYOND
    return max(flag, CLOSE if margin < close else 0)


@part("always")
def _by_time(
    margin: float, name: Any, spent: float, deadline: float, when: float, longest: float,
    marks: Any,
) -> Any:  # fmt: skip
    """Margin and limit with the hours on the water and the dusk among them."""
    if longest < np.inf and (longest - spent) / longest < margin:
        margin, name = (longest - spent) / longest, marks[0]
    dusk = (deadline - when) / max(spent, 3600.0)
    if dusk < margin:
        margin, name = dusk, marks[1]
    return margin, name


@part()
def _land(
    beside: float, launch: Any, deadline: Any, longest: float, close: float, marks: Any,
    shore: Any, shore_flag: Any, time: Any, span: Any, clock: Any, cursor: Any, last: Any,
    least: Any, who: Any, worst: Any, how: Any, verdict: Any, margins: Any, whose: Any,
    arrive: Any,
) -> None:  # fmt: skip
    """Judge the arrival at one place: hours on the water, dusk, and the landing."""
    launches, members = clock.shape
    for m in range(launches):
        for e in range(members):
            if how[m, e] != UNDER_WAY:
                continue
            when = clock[m, e] + beside / last[m, e]
            margin, name = _by_time(
                least[m, e], who[m, e], when - launch[m], deadline[m], when, longest, marks
            )
            flag = max(worst[m, e], UNKNOWN) if math.isnan(deadline[m]) else worst[m, e]
            there = np.nan
            if when <= time[-1]:
                i = _interval(time, cursor[m, e], when)
                share = (when - time[i]) * span[i]
                after = min(i + 1, time.size - 1)
                there = _mix(shore[i, e], shore[after, e], share)
                flag = max(flag, shore_flag[i, e])
                flag = max(flag, shore_flag[after, e]) if share > 0.0 else flag
            flag = max(flag, UNKNOWN) if math.isnan(there) else flag
            if there < margin:
                margin, name = there, marks[2]
            verdict[m, e], margins[m, e] = _grade(margin, flag, close), margin
            whose[m, e], arrive[m, e] = name, when


@part()
def _not_reached(
    launch: Any, deadline: Any, longest: float, marks: Any, clock: Any, least: Any, who: Any,
    how: Any, verdict: Any, margins: Any, whose: Any, arrive: Any,
) -> None:  # fmt: skip
    """Judge one place for those that never got there; their margins are what they are at best."""
    launches, members = clock.shape
    for m in range(launches):
        for e in range(members):
            if how[m, e] == UNDER_WAY or not math.isnan(arrive[m, e]):
                continue
            margin, name = least[m, e], who[m, e]
            if how[m, e] == STUCK:
                margin, name = min(margin, -1.0), marks[3]
            elif how[m, e] == LATE:
                spent = clock[m, e] - launch[m]
                margin, name = _by_time(
                    margin, name, spent, deadline[m], clock[m, e], longest, marks
                )
            if margin < -_ROUNDING:
                verdict[m, e], margins[m, e], whose[m, e] = BEYOND, margin, name
            else:
                verdict[m, e], margins[m, e], whose[m, e] = UNKNOWN, np.nan, marks[3]


@compiled
def walk(
    fields: Any, line: Any, launch: Any, pace: Any, ends: Any, marks: Any, landing: Any,
    state: Any, out: Any,
) -> None:  # fmt: skip
    """March from the first step over all places.

    fields = (speed, margin, whose, flag (k, T, e), time (T,) [s]); line = (length (k,) [m], place
    that a step ends at (k,), -1 for none, how far each place is beside the line (p,) [m]); launch
    (m,) [s]; pace = (least speed [m/s], paddling time between rests, rest [s], share of speed lost
    an hour, after so long [s]); ends = (latest arrival by daylight (p, m) [s], inf none; longest
    time on the water [s]; close share; time after which nobody paddles on (m,) [s]); marks =
    indices of hours, daylight, landing, progress; landing = (margin, flag (p, T, e)); state =
    (clock, cursor, last speed, time paddled, that at the last rest, least margin, whose, flag, how
    it went) (m, e). Filled in place: out = (verdict, margin, whose, arrive [s]) (p, m, e).
    """
    speed, margin, whose, flag, time = fields
    length, place, beside = line
    deadline, longest, close, cutoff = ends
    clock, cursor, last, paddled, rested, least, who, worst, how = state
    span = np.ones(time.size)
    for i in range(time.size - 1):
        span[i] = 1.0 / (time[i + 1] - time[i])
    for k in range(length.size):
        _advance(
            length[k], speed[k], margin[k], whose[k], flag[k], time, span, pace, cutoff, clock,
            cursor, last, paddled, rested, least, who, worst, how,
        )  # fmt: skip
        j = place[k]
        if j >= 0:
            _land(
                beside[j], launch, deadline[j], longest, close, marks, landing[0][j],
                landing[1][j], time, span, clock, cursor, last, least, who, worst, how,
                out[0][j], out[1][j], out[2][j], out[3][j],
            )  # fmt: skip
    for j in range(beside.size):
        _not_reached(
            launch, deadline[j], longest, marks, clock, least, who, how, out[0][j], out[1][j],
            out[2][j], out[3][j],
        )  # fmt: skip


@compiled
def reduce_members(out: Any, rank: int, told: Any) -> None:
    """Of each place and launch the member at a rank from the best, and the median arrival.

    out as of `walk` (p, m, e); told = (verdict, margin, whose, arrive) (p, m), filled in place.
    """
    verdict, margins, whose, arrive = out
    verdicts, least, names, arrivals = told
    places, launches, members = verdict.shape
    key = np.empty(members)
    when = np.empty(members)
    for j in range(places):
        for m in range(launches):
            known = 0
            for e in range(members):
                left = margins[j, m, e]
                left = 0.0 if math.isnan(left) else min(max(left, -400.0), 400.0)
                key[e] = verdict[j, m, e] * 1000.0 - left
                if not math.isnan(arrive[j, m, e]):
                    when[known] = arrive[j, m, e]
                    known += 1
            e = np.argsort(key, kind="mergesort")[rank]
            unknown = verdict[j, m, e] == UNKNOWN
            verdicts[j, m], names[j, m] = verdict[j, m, e], whose[j, m, e]
            least[j, m] = np.nan if unknown else margins[j, m, e]
            arrivals[j, m] = np.nan
            if 2 * known >= members:
                ordered = np.sort(when[:known])
                arrivals[j, m] = 0.5 * (ordered[(known - 1) // 2] + ordered[known // 2])

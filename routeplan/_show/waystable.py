"""Ways out of the launch proposed, in the words of a trip leader: a few lines for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from routeplan._show.wording import Clock, degrees, duration, kilometres, metres, position

if TYPE_CHECKING:
    from routeplan._plan.bail import LegDrift
    from routeplan.plan import StagePlan
    from routeplan.windows import Landing, TurnBack

__all__ = ["committing_legs", "soonest_turn", "turn_places", "ways_lines"]

_MOST_LEGS = 2  # told in full: the others are in the document
_HORIZON = np.timedelta64(12, "h")  # turn-back times are looked for no later than this


def committing_legs(stage: StagePlan) -> list[int]:
    """Numbers of the legs farther from shore than the notice, the farthest first.

    The farthest leg alone where none is.
    """
    scan, best = stage.scan, stage.best
    if scan is None or best is None:
        return []
    far = np.nan_to_num(scan.offshore_m[best], nan=np.inf)
    order = np.argsort(-far, kind="stable")
    beyond = order[far[order] > scan.outing.limits.offshore_notice_m]
    return [int(n) for n in scan.leg_numbers[beyond if beyond.size else order[:1]]]


def soonest_turn(stages: Sequence[StagePlan], clock: Clock) -> str:
    """The turn-back time that leaves least to spare in a trip; "" where none is near."""
    near = []
    for stage in stages:
        scan, best = stage.scan, stage.best
        if scan is not None and best is not None and stage.turn_back:
            turn = min(stage.turn_back, key=lambda it: _spare(it.go_on_until, it.arrive))
            near.append((_spare(turn.go_on_until, turn.arrive), turn, stage, scan.launch[best]))
    if not near:
        return ""
    spare, turn, stage, launch = min(near, key=lambda it: it[0])
    where = f"leg {turn.leg} of stage {stage.stage.number}"
    if spare < 0.0:
        return f"before {where}: going on from its start is not good"
    if spare >= _HORIZON / np.timedelta64(1, "s"):
        return ""
    when = _time(turn.go_on_until, launch, clock)
    on = "" if " on " in when else f" on {clock.short_day(launch)}"
    return f"if {where} is not begun by {when}{on}"


def ways_lines(stage: StagePlan, clock: Clock) -> list[str]:
    """Sentences on turning back, on a breakdown and on landings; none without a launch."""
    scan, best = stage.scan, stage.best
    if scan is None or best is None or stage.drift is None or stage.landings is None:
        return []
    committing = committing_legs(stage)
    told = sorted(committing[:_MOST_LEGS])
    launch = scan.launch[best]
    lines = [_turn_back(stage.turn_back or (), told, launch, clock)]
    for leg in told:
        drift = [d for d in stage.drift if d.worst.leg == leg]
        landing = next((x for x in stage.landings if x.leg == leg), None)
        lines.append(f"{_breakdown(leg, drift, launch, clock)} {_landing(landing)}".strip())
    more = len(committing) - len(told)
    if more:
        lines.append(
            f"{more} other leg{'' if more == 1 else 's'} lead{'s' if more == 1 else ''} more than "
            f"{metres(scan.outing.limits.offshore_notice_m)} out: "
            f"plan.json tells of {'it' if more == 1 else 'them'}."
        )
    return [line for line in lines if line]


def _turn_back(
    turns: Sequence[TurnBack], told: Sequence[int], launch: np.datetime64, clock: Clock
) -> str:
    """By when to be at the start of the legs told, or else of the one with least time to spare."""
    return " ".join(_turn_back_at(turn, launch, clock) for turn in _chosen(turns, told))


def _chosen(turns: Sequence[TurnBack], told: Sequence[int]) -> list[TurnBack]:
    chosen = [turn for turn in turns if turn.leg in told]
    if turns and not chosen:
        chosen = [min(turns, key=lambda turn: _spare(turn.go_on_until, turn.arrive))]
    return chosen


def turn_places(stage: StagePlan) -> str:
    """Where the legs begin that the turn-back times are told of, in words; "" without any."""
    names = {leg.number: leg.start.name for leg in stage.stage.legs}
    told = sorted(committing_legs(stage)[:_MOST_LEGS])
    begins = [
        f"leg {turn.leg} begins at {names[turn.leg]}"
        for turn in _chosen(stage.turn_back or (), told)
        if names.get(turn.leg)
    ]
    return ", ".join(begins)


def _turn_back_at(turn: TurnBack, launch: np.datetime64, clock: Clock) -> str:
    on = _until(turn.go_on_until, turn.arrive, launch, clock)
    back = _until(turn.turn_round_until, turn.arrive, launch, clock)
    if not on:
        way = f"the way back is good until {back}" if back else "nor is the way back"
        return f"Going on from the start of leg {turn.leg} is not good; {way}."
    if not back:
        return f"From the start of leg {turn.leg} only going on is good, until {on}."
    if turn.turn_round_until < turn.go_on_until:
        return (
            f"At the start of leg {turn.leg} turning back is good until {back}, going on until "
            f"{on}."
        )
    return (
        f"Turn back if you get to leg {turn.leg} later than {on}; the way back is good until "
        f"{back}."
    )


def _spare(until: np.datetime64, arrive: np.datetime64) -> float:
    return -1.0 if np.isnat(until) else float((until - arrive) / np.timedelta64(1, "s"))


def _until(until: np.datetime64, arrive: np.datetime64, launch: np.datetime64, clock: Clock) -> str:
    """Local time, "" for never; the last time that was looked at may be too early."""
    if np.isnat(until):
        return ""
    return _time(until, launch, clock) + (" at least" if until - arrive >= _HORIZON else "")


def _time(when: np.datetime64, launch: np.datetime64, clock: Clock) -> str:
    text = f"{clock.time(when)} {clock.abbreviation(when)}"
    if clock.short_day(when) != clock.short_day(launch):
        text += f" on {clock.short_day(when)}"
    return text


def _breakdown(leg: int, drift: Sequence[LegDrift], launch: np.datetime64, clock: Clock) -> str:
    if not drift:
        return f"If something breaks on leg {leg}: where you would drift to is unknown."
    when = _time(drift[0].worst.when, launch, clock)
    begin = f"If something breaks on leg {leg} at {when}:"
    means = "" if drift[0].has_current else " by the wind alone, as no current is known"
    if all(d.worst.known and np.isnan(d.worst.ashore_first_s) for d in drift):
        out = ", ".join(f"{_far(d.worst.offshore_m)} from shore {_who(d)}" for d in drift)
        return f"{begin} after {drift[0].hours:g} h you still drift{means}, {out}."
    fates = "; ".join(f"{_who(d)} {_fate(d)}" for d in drift)
    return f"{begin} you drift{means}: {fates}."


def _who(it: LegDrift) -> str:
    return "in the water" if it.who == "in the water" else f"on the {it.it.key}"


def _fate(it: LegDrift) -> str:
    """What becomes of who drifts: ashore when and where, or how far out."""
    worst = it.worst
    if not worst.known:
        return "it is unknown where to"
    out = f"still adrift {_far(worst.offshore_m)} from shore after {it.hours:g} h"
    if np.isnan(worst.ashore_first_s):
        return out
    first = duration(worst.ashore_first_s)
    if np.isnan(worst.ashore_last_s):
        return f"ashore after {first} at best, or {out}"
    where = position(it.ashore_longitude, it.ashore_latitude)
    last = duration(worst.ashore_last_s)
    return f"ashore near {where} after {first if first == last else f'{first} to {last}'}"


def _landing(landing: Landing | None) -> str:
    if landing is None:
        return ""
    if np.isnan(landing.time_s):
        return landing.text
    return (
        f"Nearest landing if you can still paddle, at worst: {duration(landing.time_s)} for "
        f"{_far(landing.distance_m)} on {degrees(landing.bearing_deg)}."
    )


def _far(length_m: float) -> str:
    return metres(length_m) if length_m < 950.0 else kilometres(length_m, "km")

"""The places of a plan: where it launches, sleeps, turns back and lands, with their times."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from routeplan._show.wording import plain
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.plan import Plan, StagePlan
    from routeplan.stops import Bailout, Stop
    from routeplan.windows import Landing, TurnBack

__all__ = ["NAT", "PlanPoint", "plan_points"]

NAT = np.datetime64("NaT", "ns")
_NO_PROMISE = "A place on the shoreline, not a promise that one can land."
_TEXT = 500


@dataclass(frozen=True, slots=True)
class PlanPoint:
    """A place of a plan.

    `role` is "launch", "night", "end", "turn-back", "bail-out", "no bail-out" (the place on the
    way from which no shore is reached, or it is unknown), "way out" (the user's own place on the
    line where one can leave it) or "place" (any other of the user's). `when` is when one is
    there, of a bail-out when one is at the place on the way from which it is told. Times are
    UTC, NaT unknown; distance [m] and time [s] lead to a bail-out, nan unknown.
    """

    role: str
    name: str
    longitude: float
    latitude: float
    stage: int | None = None
    leg: int | None = None
    kind: str = ""
    when: np.datetime64 = NAT
    first_launch: np.datetime64 = NAT
    last_launch: np.datetime64 = NAT
    go_on_until: np.datetime64 = NAT
    turn_round_until: np.datetime64 = NAT
    distance_m: float = np.nan
    time_s: float = np.nan
    text: str = ""


def plan_points(plan: Plan) -> tuple[PlanPoint, ...]:
    """Places of a plan in the order of its stages, the user's other places last."""
    points: list[PlanPoint] = []
    for stage in plan.stages:
        points += _ends(stage, last=stage is plan.stages[-1])
        points += [_turn_back(stage.stage.number, it) for it in stage.turn_back or ()]
        points += [_landing(stage.stage.number, it) for it in stage.landings or ()]
    ways = list(_ways_out(plan))
    points += ways
    told = {(p.name, p.longitude, p.latitude) for p in ways}
    for place in plan.trip.places:
        if (plain(place.called, _TEXT), place.longitude, place.latitude) not in told:
            points.append(
                PlanPoint(
                    "place",
                    plain(place.called, _TEXT),
                    place.longitude,
                    place.latitude,
                    kind=place.kind,
                    text=plain(place.note, _TEXT),
                )
            )
    return tuple(points)


def _ends(stage: StagePlan, *, last: bool) -> Iterator[PlanPoint]:
    it, day = stage.stage, stage.day
    good = day is not None and day.verdict <= Verdict.CLOSE
    start, end = it.start, it.end
    yield PlanPoint(
        "launch",
        plain(start.name, _TEXT),
        start.longitude,
        start.latitude,
        it.number,
        it.legs[0].number,
        kind=plain(start.kind, _TEXT),
        when=NAT if day is None else day.launch,
        first_launch=day.first_launch if day is not None and good else NAT,
        last_launch=day.last_launch if day is not None and good else NAT,
        text=_launch_text(stage),
    )
    yield PlanPoint(
        "end" if last else "night",
        plain(end.name, _TEXT),
        end.longitude,
        end.latitude,
        it.number,
        it.legs[-1].number,
        kind=plain(end.kind, _TEXT),
        when=NAT if day is None else day.arrive,
    )


def _launch_text(stage: StagePlan) -> str:
    """How the proposed launch stands; that there is none, or that nothing was asked."""
    day = stage.day
    if stage.scan is None or day is None:
        return "No forecast was given, so no launch is proposed."
    if np.isnat(day.launch):
        return f"No launch is proposed: {day.verdict.word}."
    return f"{'Picked by you; v' if day.picked else 'V'}erdict: {day.verdict.word}."


def _turn_back(stage: int, it: TurnBack) -> PlanPoint:
    return PlanPoint(
        "turn-back",
        f"leg {it.leg}",
        it.longitude,
        it.latitude,
        stage,
        it.leg,
        when=it.arrive,
        go_on_until=it.go_on_until,
        turn_round_until=it.turn_round_until,
        text=plain(it.text, _TEXT),
    )


def _landing(stage: int, it: Landing) -> PlanPoint:
    """The shore reached soonest; none, or unknown, is told at the place on the way."""
    reached = bool(np.isfinite(it.time_s))
    return PlanPoint(
        "bail-out" if reached else "no bail-out",
        f"leg {it.leg}",
        it.landing_longitude if reached else it.longitude,
        it.landing_latitude if reached else it.latitude,
        stage,
        it.leg,
        when=it.when,
        distance_m=it.distance_m,
        time_s=it.time_s,
        text=plain(it.text, _TEXT) + (f" {_NO_PROMISE}" if reached else ""),
    )


def _ways_out(plan: Plan) -> Iterator[PlanPoint]:
    """The user's places on the line at which it can be left, each once."""
    from routeplan._plan.stretches import stage_bailouts

    seen: set[tuple[str, float, float]] = set()
    for stage in plan.stages:
        for way in stage_bailouts(plan, stage) or ():
            for stop in _stops(way):
                place = stop.place
                key = (place.called, place.longitude, place.latitude)
                if key in seen:
                    continue
                seen.add(key)
                yield PlanPoint(
                    "way out",
                    plain(place.called, _TEXT),
                    place.longitude,
                    place.latitude,
                    stage.stage.number,
                    kind=place.kind,
                    text=plain(place.note, _TEXT),
                )


def _stops(way: Bailout) -> list[Stop]:
    return [stop for stop in (way.behind, way.ahead) if stop is not None]

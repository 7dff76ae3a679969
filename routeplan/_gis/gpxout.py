"""A plan as GPX: the route, the user's waypoints, and the places of the plan with their times."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from routeplan._gis.points import PlanPoint, plan_points
from routeplan._line.gpxparse import MAX_WAYPOINTS, clean_text, parse_gpx
from routeplan._line.gpxwrite import About, gpx_document
from routeplan._show.values import utc
from routeplan._show.wording import Clock, plain
from routeplan.errors import InputError
from routeplan.route import Waypoint, is_camp, route_from_points

if TYPE_CHECKING:
    from routeplan.plan import Plan
    from routeplan.route import Route

__all__ = ["PLANNED", "plan_gpx"]

PLANNED = "planned "
"""How the type of a waypoint begins that a plan has added; none of these words makes a camp."""

_INVENTED = "INVENTED DATA: not for use on the water."

# How names of added waypoints begin: never with a word that makes a camp of them.
_NAMES = {
    "launch": "Launch {stage}",
    "night": "Night {stage}",
    "end": "End",
    "turn-back": "Turn-back",
    "bail-out": "Bail-out",
    "no bail-out": "No bail-out",
    "way out": "Way out",
}


def plan_gpx(plan: Plan) -> bytes:
    """See `routeplan.gis.plan_gpx`."""
    clock = Clock(plan.zone)
    added = [_waypoint(p, clock) for p in plan_points(plan) if _is_told(p)][:MAX_WAYPOINTS]
    own = [w for w in plan.route.waypoints if not w.kind.startswith(PLANNED)]
    kept = own[: MAX_WAYPOINTS - len(added)]
    about = _about(plan, len(own) - len(kept))
    content = gpx_document(plan.route, [*kept, *added], about)
    if _reads_back(plan.route, content):
        return content
    return gpx_document(plan.route, [*map(_no_camp, kept), *added], about)


def _about(plan: Plan, left_out: int) -> About:
    return About(
        name=plain(plan.trip.title, 120) or plan.route.name,
        description=" ".join(_description(plan, left_out)),
        time="" if plan.trip.now is None else utc(plan.trip.now) or "",
        route=_INVENTED if plan.invented else "",
    )


def _description(plan: Plan, left_out: int) -> Iterator[str]:
    if plan.invented:
        yield _INVENTED
    if left_out:
        yield f"{left_out} waypoints of the route's file are left out, over {MAX_WAYPOINTS} in all."
    yield from plan.warnings
    yield from plan.cautions
    for source in plan.sources:
        yield f"{source.kind.capitalize()}: {source.name}. {source.attribution}".strip()


def _is_told(point: PlanPoint) -> bool:
    """Whether a place can be written: the user's others are waypoints already, if any."""
    known = bool(np.isfinite(point.longitude) and np.isfinite(point.latitude))
    return known and point.role in _NAMES


def _waypoint(point: PlanPoint, clock: Clock) -> Waypoint:
    head = _NAMES[point.role].format(stage=point.stage)
    # As it will be read: no longer name is.
    name = clean_text(f"{head}: {point.name}" if point.name else head)
    return Waypoint(
        point.latitude,
        point.longitude,
        name,
        f"{PLANNED}{point.role}",
        note=plain(" ".join(filter(None, _words(point, clock))), 480),
    )


def _words(point: PlanPoint, clock: Clock) -> Iterator[str]:
    if point.role == "launch":
        if not np.isnat(point.when):
            yield f"Launch {_time(point.when, clock)}."
        if not np.isnat(point.first_launch):
            span = f"{_time(point.first_launch, clock)} and {_time(point.last_launch, clock)}"
            yield f"Good between {span}."
    elif point.role == "turn-back":
        yield f"There {_time(point.when, clock)}."
        yield f"Go on until {_until(point.go_on_until, clock)};"
        yield f"turn round until {_until(point.turn_round_until, clock)}."
    elif point.role.endswith("bail-out"):
        yield f"On leg {point.leg} {_time(point.when, clock)}."
    elif point.role in ("night", "end"):
        yield f"Arrive {_time(point.when, clock)}."
    elif point.kind:
        yield f"{point.kind.capitalize()}."
    yield point.text


def _time(when: np.datetime64, clock: Clock) -> str:
    """Local time with its zone, and UTC; unknown in a word."""
    return "unknown" if np.isnat(when) else f"{clock.moment(when)} ({utc(when)})"


def _until(when: np.datetime64, clock: Clock) -> str:
    return "not even on arrival" if np.isnat(when) else _time(when, clock)


def _reads_back(route: Route, content: bytes) -> bool:
    """Whether legs and stages are read back as they are, with the waypoints beside them."""
    parsed = parse_gpx(content, Path(route.source or "route.gpx"))
    try:
        again = route_from_points(parsed.routes[0].points, waypoints=parsed.waypoints)
    except InputError:
        return False
    return _cut(again) == _cut(route)


def _cut(route: Route) -> list[tuple[float, str, bool, int]]:
    """Where a route is cut: its points as they are read, and the stage that begins there."""
    stages = [*(leg.stage for leg in route.legs), 0]
    return [
        (point.latitude, clean_text(point.name), is_camp(point), stage)
        for point, stage in zip(route.points, stages, strict=True)
    ]


def _no_camp(waypoint: Waypoint) -> Waypoint:
    """The waypoint; of a camp at which this plan does not sleep, under words that end no stage."""
    if not is_camp(waypoint):
        return waypoint
    name = clean_text(f"Not slept at: {waypoint.name}")
    return replace(waypoint, name=name, kind="place passed", symbol="")

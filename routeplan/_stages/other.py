"""Other plans than the cheapest, different in kind: other camps, other days, another way round."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._stages.choice import Alternative, Itinerary, Setting, told
from routeplan._stages.hops import Hops, StageWishes
from routeplan._stages.place import Place
from routeplan._stages.placeline import Stop, staged_route
from routeplan._stages.plan import StageTable, stage_table
from routeplan._stages.routes import places_ahead, position_on_route, rest_of_route, there_and_back
from routeplan._stages.search import Choice, cheapest
from routeplan.errors import InputError

if TYPE_CHECKING:
    import xarray as xr

    from routeplan.route import Route

__all__ = [
    "Alternative",
    "other_plans",
    "other_trips",
    "plans_beside",
    "replan",
    "rest_of_trip",
]


def other_plans(table: StageTable) -> tuple[Alternative, ...]:
    """Plans for the same line that use other camps or other days.

    Each is the cheapest under one condition: one camp of the best plan is not used (the cheapest
    of these), the group is home a day earlier, it starts a day later. Conditions that leave no
    plan, and plans that are there already, are left out.
    """
    return plans_beside(table.hops, table.ground, table.wishes)


def plans_beside(
    hops: Hops,
    setting: Setting,
    wishes: StageWishes,
    *,
    led: Callable[[Choice], Choice] | None = None,
) -> tuple[Alternative, ...]:
    """`other_plans` of stages however they were judged.

    `led` puts launches that a leader would take into a choice, on its days; with it the stages
    are said to be judged in full.
    """
    best = cheapest(hops, wishes)
    if best is None:
        return ()
    days = _days(hops, best)
    tried: list[tuple[str, Choice | None]] = [("other camps", _without_a_camp(hops, wishes, best))]
    tried.append(("earlier home", cheapest(hops, wishes, last_day=days[-1] - 1)))
    tried.append(("later start", cheapest(hops, wishes, first_day=days[0] + 1)))
    seen = {(best.places, days)}
    out = []
    for kind, choice in tried:
        if choice is None or (choice.places, _days(hops, choice)) in seen:
            continue
        seen.add((choice.places, _days(hops, choice)))
        plan, instead_of = (
            told(hops, setting, wishes, one if led is None else led(one)) for one in (choice, best)
        )
        out.append(Alternative(kind, _compared(kind, plan, instead_of), plan, led is not None))
    return tuple(out)


def _days(hops: Hops, choice: Choice) -> tuple[int, ...]:
    """Days of the launches, and of the arrival at the end."""
    end = hops.arrive[choice.places[-2], choice.places[-1], choice.launches[-1]]
    when = np.append(hops.launch[list(choice.launches)], end)
    return tuple(int(d) for d in hops.day(when))


def _without_a_camp(hops: Hops, wishes: StageWishes, best: Choice) -> Choice | None:
    found = []
    for camp in best.places[1:-1]:
        if hops.must[camp]:
            continue
        banned = np.zeros(hops.verdict.shape, dtype=bool)
        banned[:, camp] = True
        choice = cheapest(hops, wishes, banned=banned)
        if choice is not None:
            found.append(choice)
    return min(found, key=lambda choice: choice.cost, default=None)


def _in_hand(left: float, best: float) -> str:
    """Margins of two plans, cut to whole per cent as they are told elsewhere."""
    if not (np.isfinite(left) and np.isfinite(best)):
        return "how much in hand is unknown"
    shares = [math.floor(100.0 * share + 1e-9) for share in (left, best)]
    if shares[0] == shares[1]:
        return "as much in hand"
    return f"{shares[0]} % in hand instead of {shares[1]} %"


def _compared(kind: str, plan: Itinerary, best: Itinerary) -> str:
    """What another plan does, and what it gives up or gains against the best one."""
    camps = [stage.end.place.called for stage in plan.stages[:-1]]
    nights = f"nights at {', '.join(camps)}" if camps else "no night on the way"
    parts = [f"{kind[0].upper()}{kind[1:]}: {nights}"]
    more = plan.days - best.days
    if more:
        parts.append(
            f"{abs(more)} day{'s' if abs(more) > 1 else ''} {'more' if more > 0 else 'less'}"
        )
    margins = [min((s.margin for s in it.stages), default=np.nan) for it in (plan, best)]
    parts.append(_in_hand(*margins))
    return ", ".join(parts) + "."


def other_trips(
    route: Route,
    places: Sequence[Place],
    forecast: xr.Dataset,
    *,
    round_trip: bool = False,
    **words: Any,
) -> tuple[Alternative, ...]:
    """The same water another way: the other direction, out and back to each camp.

    Parameters
    ----------
    route, places, forecast
        As for `choose_stages`, whose other arguments are taken too.
    round_trip : bool
        Whether to go to the end of the route and back as well.

    Returns
    -------
    tuple of Alternative
        Those of which at least a part can be paddled. "turn round" ends where it began, for every
        camp that is not passed twice anyway, nearest first. Without camps each is one stage.
    """
    wishes = words.get("wishes") or StageWishes()
    lines: list[tuple[str, str, Route]] = [
        ("other direction", f"from {route.points[-1].name or 'the end'}", route.reversed())
    ]
    if round_trip:
        lines.append(("round trip", "to the end and back", there_and_back(route)))
    for stop in _turns(route, places, wishes):
        lines.append(("turn round", f"at {stop.place.called}", there_and_back(route, stop.along_m)))
    out = []
    for kind, where, line in lines:
        near = places_ahead(line, [p for p in places if p.kind == "camp"], 0.0)
        try:
            plan = stage_table(line, near, forecast, need_camps=False, **words).best()
        except InputError as error:
            if error.field != "reach_m":
                raise
            continue  # this way round a day's reach is too short; the others may still do
        if plan.choice is not None:
            out.append(Alternative(kind, _told_trip(kind, where, plan), plan))
    return tuple(out)


def _turns(route: Route, places: Sequence[Place], wishes: StageWishes) -> list[Stop]:
    from routeplan._stages.placeline import camps_on_line

    camps = camps_on_line(route, places, off_line_m=wishes.off_line_m, needed=False)
    return [stop for stop in camps if stop.along_m >= 200.0]


def _told_trip(kind: str, where: str, plan: Itinerary) -> str:
    days = f"{plan.days} day{'s' if plan.days != 1 else ''}"
    how = "not all of it is good"
    if plan.complete:
        left = 100 * min(stage.margin for stage in plan.stages)
        how = f"{plan.length_m / 1000:.0f} km, {days}, {left:.0f} % in hand"
    return f"{kind[0].upper()}{kind[1:]} {where}: {how}."


def replan(
    route: Route,
    places: Sequence[Place],
    forecast: xr.Dataset,
    *,
    longitude: float,
    latitude: float,
    when: np.datetime64,
    wishes: StageWishes | None = None,
    off_line_m: float = 5_000.0,
    **words: Any,
) -> Itinerary:
    """Plan the rest of a trip from where and when the group is, with a newer forecast.

    Parameters
    ----------
    route, places, forecast
        As for `choose_stages`, whose other arguments are taken too. The route is the whole one.
    longitude, latitude : float
        Where the group is, for example the last point of its track. [degrees]
    when : datetime64
        Earliest next launch, UTC.
    off_line_m : float
        How far from the line the group may be; it is taken to begin at the line. [m]

    Raises
    ------
    InputError
        As `choose_stages`, and for a position too far off the line or at its end.

    Notes
    -----
    Hours paddled earlier on that day are not counted. With no camp left ahead the rest is one
    stage.
    """
    rest, ahead, wanted = rest_of_trip(
        route,
        [place for place in places if place.kind == "camp"],
        longitude=longitude,
        latitude=latitude,
        when=when,
        wishes=wishes,
        off_line_m=off_line_m,
    )
    return stage_table(rest, ahead, forecast, wishes=wanted, need_camps=False, **words).best()


def rest_of_trip(
    route: Route,
    places: Sequence[Place],
    *,
    longitude: float,
    latitude: float,
    when: np.datetime64,
    wishes: StageWishes | None = None,
    off_line_m: float = 5_000.0,
) -> tuple[Route, tuple[Place, ...], StageWishes]:
    """What `replan` plans: the route from the group on, the places left, the wishes from now on.

    Arguments and errors are those of `replan`. Camps behind are left out, other places kept. Where
    camps were given, those of the route count no more than before, even if none is left ahead.
    """
    wanted = wishes or StageWishes()
    at = position_on_route(route, longitude, latitude, off_line_m=off_line_m)
    if at > route.length_m - 100.0:
        msg = "the position is at the end of the route; nothing is left to plan"
        raise InputError(msg, field="position", value=(longitude, latitude))
    rest = rest_of_route(route, at)
    camps = [place for place in places if place.kind == "camp"]
    ahead = places_ahead(route, camps, at, off_line_m=wanted.off_line_m)
    if camps and not ahead:
        rest = staged_route(rest, ())
    left = (*ahead, *(place for place in places if place.kind != "camp"))
    return rest, left, replace(wanted, depart=np.datetime64(when.astype("datetime64[ns]"), "ns"))

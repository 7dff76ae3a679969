"""Where a plan sleeps, on which day each of its stages goes, and at which launch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from routeplan._plan.others import Asked, others_of
from routeplan._stages.picked import days_with_picks
from routeplan._stages.placelanding import landing_sea
from routeplan._stages.placeline import Stop
from routeplan._stages.scans import GivenStages, days_of_stages, stops_of
from routeplan.stops import (
    DayStage,
    Itinerary,
    Place,
    Stage,
    StageWishes,
    stage_table,
    staged_route,
)

if TYPE_CHECKING:
    from routeplan.coastline import Coastline
    from routeplan.route import Route
    from routeplan.sun import DaylightSpells
    from routeplan.windows import LaunchScan

__all__ = ["launch_index", "plan_days", "route_with_camps"]


def plan_days(
    trip: Asked,
    stages: Sequence[Stage],
    scans: Sequence[LaunchScan],
    daylight: Sequence[tuple[DaylightSpells, DaylightSpells]],
    coast: Coastline,
) -> Itinerary:
    """Days and launches of the stages, with the landings where they end."""
    assert trip.forecast is not None  # there are no scans without one
    points = [stages[0].start, *(stage.end for stage in stages)]
    along = np.concatenate([[0.0], np.cumsum([stage.length_m for stage in stages])])
    given = stops_of(points, [float(a) for a in along])
    stops = tuple(_with_attributes(stop, trip.places) for stop in given)
    landing = landing_sea(
        [stop.place for stop in stops],
        coast,
        trip.forecast,
        wave_m=trip.wishes.landing_wave_m,
        wind_ms=trip.wishes.landing_wind_ms,
        close_share=trip.limits.close_share,
    )
    light = (daylight[0][0], *(end for _, end in daylight))
    stages_given = GivenStages(stops, tuple(scans), light, landing)
    if trip.picked:
        days = days_with_picks(stages_given, trip.wishes, trip.picked)
    else:
        days = days_of_stages(stages_given, trip.wishes)
    wishes = _from_now(trip.wishes, trip.now, trip.forecast["time"].to_numpy()[-1])
    return replace(days, others=others_of(trip, stages_given, wishes, coast))


def _with_attributes(stop: Stop, places: Sequence[Place]) -> Stop:
    """What the user knows of a camp: that of the place of its name."""
    known = (p for p in places if p.kind == "camp" and p.called == stop.place.name)
    place = next(known, None) if stop.must else None
    return stop if place is None else replace(stop, place=place)


def launch_index(scan: LaunchScan, day: DayStage) -> int | None:
    """Index of a stage's launch in its scan; None when there is none."""
    if np.isnat(day.launch):
        return None
    return int(np.searchsorted(scan.launch, day.launch))


def route_with_camps(trip: Asked, coast: Coastline) -> Route:
    """The route with stages that end at camps chosen from the trip's places; as it is without.

    What stands against the rest, where no choice reaches the end, becomes a note of the route.
    """
    if trip.forecast is None or not any(place.kind == "camp" for place in trip.places):
        return trip.route
    table = stage_table(
        trip.route,
        trip.places,
        trip.forecast,
        coast=coast,
        crafts=trip.crafts,
        limits=trip.limits,
        wishes=_from_now(trip.wishes, trip.now, trip.forecast["time"].to_numpy()[-1]),
        pace=trip.pace,
        launch_step_s=trip.launch_step_s,
    )
    best = table.best()
    camps = [
        stage.end
        for stage in best.stages
        if stage.end.place.kind == "camp" and not np.isnat(stage.launch)
    ]
    route = staged_route(trip.route, camps)
    return replace(route, notes=(*route.notes, *best.texts))


def _from_now(wishes: StageWishes, now: np.datetime64 | None, last: np.datetime64) -> StageWishes:
    """Wishes with no launch before the time of asking, as long as the forecast is not over."""
    if now is None or now > last or (wishes.depart is not None and wishes.depart >= now):
        return wishes
    return replace(wishes, depart=now)

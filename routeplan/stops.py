"""Outings: a route is paddled from camp to camp, one stage an outing."""

from __future__ import annotations

from dataclasses import dataclass

from routeplan._stages.bail import Bailout, ShoreSide, bailouts
from routeplan._stages.choice import Alternative, DayStage, Itinerary
from routeplan._stages.hops import Hops, StageWeights, StageWishes
from routeplan._stages.other import other_plans, other_trips, replan, rest_of_trip
from routeplan._stages.place import KINDS, Place, kind_of, places_of_waypoints
from routeplan._stages.placefile import read_places
from routeplan._stages.placelanding import LandingState
from routeplan._stages.placeline import Stop, camps_on_line, places_on_line, staged_route
from routeplan._stages.plan import StageTable, choose_stages, stage_table
from routeplan._stages.routes import part_of_route, position_on_route, there_and_back
from routeplan.route import Leg, Route, Waypoint

__all__ = [
    "KINDS",
    "Alternative",
    "Bailout",
    "DayStage",
    "Hops",
    "Itinerary",
    "LandingState",
    "Place",
    "ShoreSide",
    "Stage",
    "StageTable",
    "StageWeights",
    "StageWishes",
    "Stop",
    "bailouts",
    "camps_on_line",
    "choose_stages",
    "kind_of",
    "other_plans",
    "other_trips",
    "part_of_route",
    "places_of_waypoints",
    "places_on_line",
    "position_on_route",
    "read_places",
    "replan",
    "rest_of_trip",
    "stage_table",
    "staged_route",
    "stages_of",
    "there_and_back",
]


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """The legs between two nights ashore; a route without camps is one stage.

    `number` counts from 1, `length_m` is along the legs [m].
    """

    number: int
    legs: tuple[Leg, ...]

    @property
    def start(self) -> Waypoint:
        """Where the group launches."""
        return self.legs[0].start

    @property
    def end(self) -> Waypoint:
        """Where the group lands for the night, or for good."""
        return self.legs[-1].end

    @property
    def length_m(self) -> float:
        """Length along the legs [m]."""
        return float(sum(leg.length_m for leg in self.legs))


def stages_of(route: Route) -> tuple[Stage, ...]:
    """Stages of a route in order, cut at the camps that lie on it."""
    return tuple(Stage(number, legs) for number, legs in enumerate(route.stages, start=1))

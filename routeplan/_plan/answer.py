"""What a plan answers. Public through `plan`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from routeplan._kit.plan import KitPlan
    from routeplan._plan.ashore import TripSheet
    from routeplan._plan.bail import LegDrift
    from routeplan._plan.sources import Source
    from routeplan._plan.trip import Trip
    from routeplan.coastline import Coastline
    from routeplan.coastsource import OffshoreComparison
    from routeplan.exposure import LegExposure
    from routeplan.forecast import Coverage
    from routeplan.limits import Verdict
    from routeplan.route import Route
    from routeplan.simulation import Path
    from routeplan.stops import DayStage, Itinerary, Stage
    from routeplan.sun import DaylightSpells
    from routeplan.windows import Landing, LaunchScan, LaunchWindow, TurnBack

__all__ = ["Plan", "StagePlan"]


@dataclass(frozen=True, slots=True, eq=False)
class StagePlan:
    """One outing: its line and, with a forecast, its launches and windows.

    `best` is the index into `scan.launch` of the launch proposed, None when none is good. Stages
    follow each other: each is proposed after a night ashore at the end of the one before, as
    `day` tells it. `daylight` is that at the start. `turn_back`, `landings` and `drift` are those
    of the launch proposed, by leg (see `routeplan.windows`); None without one.
    """

    stage: Stage
    path: Path | None = None
    scan: LaunchScan | None = None
    windows: tuple[LaunchWindow, ...] = ()
    best: int | None = None
    daylight: DaylightSpells | None = None
    day: DayStage | None = None
    turn_back: tuple[TurnBack, ...] | None = None
    landings: tuple[Landing, ...] | None = None
    drift: tuple[LegDrift, ...] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """The answer.

    `flags[i]`, `leg_notes[i]`, `offshore_verdicts[i]` and `comparisons[i]` belong to
    `route.legs[i]` and `exposures[i]`; a comparison is there where the coastline is joined of a
    finer and the default one. `sheet` is what is left ashore and lies on the deck; None of legs
    alone. `warnings` are sentences on what weakens the whole answer: show
    them first.
    """

    trip: Trip
    coast: Coastline
    exposures: tuple[LegExposure, ...]
    flags: tuple[tuple[str, ...], ...]
    leg_notes: tuple[tuple[str, ...], ...]
    offshore_verdicts: tuple[Verdict, ...]
    comparisons: tuple[OffshoreComparison | None, ...]
    stages: tuple[StagePlan, ...]
    coverage: Coverage | None
    zone: str
    warnings: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[Source, ...]
    invented: bool
    itinerary: Itinerary | None = None
    kit: KitPlan | None = None
    sheet: TripSheet | None = None

    @property
    def route(self) -> Route:
        """The route that was planned."""
        return self.trip.route

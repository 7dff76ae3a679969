"""On which day and at which launch each stage of a plan goes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from routeplan._placelanding import landing_sea
from routeplan._stagescans import GivenStages, days_of_stages, stops_of
from routeplan.limits import Limits
from routeplan.stops import DayStage, Itinerary, Stage, StageWishes

if TYPE_CHECKING:
    import xarray as xr

    from routeplan.coastline import Coastline
    from routeplan.sun import DaylightSpells
    from routeplan.windows import LaunchScan

__all__ = ["launch_index", "plan_days"]


def plan_days(
    stages: Sequence[Stage],
    scans: Sequence[LaunchScan],
    daylight: Sequence[tuple[DaylightSpells, DaylightSpells]],
    coast: Coastline,
    forecast: xr.Dataset,
    limits: Limits,
    wishes: StageWishes,
) -> Itinerary:
    """Days and launches of the stages, with the landings where they end."""
    points = [stages[0].start, *(stage.end for stage in stages)]
    along = np.concatenate([[0.0], np.cumsum([stage.length_m for stage in stages])])
    stops = stops_of(points, [float(a) for a in along])
    landing = landing_sea(
        [stop.place for stop in stops],
        coast,
        forecast,
        wave_m=wishes.landing_wave_m,
        wind_ms=wishes.landing_wind_ms,
        close_share=limits.close_share,
    )
    light = (daylight[0][0], *(end for _, end in daylight))
    return days_of_stages(GivenStages(stops, tuple(scans), light, landing), wishes)


def launch_index(scan: LaunchScan, day: DayStage) -> int | None:
    """Index of a stage's launch in its scan; None when there is none."""
    if np.isnat(day.launch):
        return None
    return int(np.searchsorted(scan.launch, day.launch))

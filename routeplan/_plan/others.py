"""What else could be done with the days of a trip: other camps, other days, another way round."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Protocol

from routeplan._stages.scans import GivenStages, other_days, place_of
from routeplan.geodesy import inverse
from routeplan.stops import Alternative, Place, StageWishes, other_plans, other_trips, stage_table

if TYPE_CHECKING:
    import numpy as np
    import xarray as xr

    from routeplan.coastline import Coastline
    from routeplan.limits import Limits
    from routeplan.propulsion import Craft
    from routeplan.route import Route
    from routeplan.simulation import Pace

__all__ = ["Asked", "others_of"]

_SAME_SPOT_M = 100.0


class Asked(Protocol):
    """The part of a trip that decides its days; see `routeplan.plan.Trip`."""

    @property
    def route(self) -> Route: ...
    @property
    def forecast(self) -> xr.Dataset | None: ...
    @property
    def limits(self) -> Limits: ...
    @property
    def crafts(self) -> tuple[Craft, ...]: ...
    @property
    def pace(self) -> Pace | None: ...
    @property
    def wishes(self) -> StageWishes: ...
    @property
    def places(self) -> tuple[Place, ...]: ...
    @property
    def launch_step_s(self) -> float: ...
    @property
    def now(self) -> np.datetime64 | None: ...
    @property
    def picked(self) -> Mapping[int, np.datetime64]: ...


def others_of(
    trip: Asked, given: GivenStages, wishes: StageWishes, coast: Coastline
) -> tuple[Alternative, ...]:
    """Plans that differ in kind from that of the stages given, and other trips if wished.

    With camps to choose from, the plans are those of the choice; else the same stages on other
    days. `wishes` has no launch before the time of asking.
    """
    assert trip.forecast is not None  # there are no stages to compare with without one
    words: dict[str, Any] = {
        "coast": coast,
        "crafts": trip.crafts,
        "limits": trip.limits,
        "wishes": wishes,
        "pace": trip.pace,
        "launch_step_s": trip.launch_step_s,
    }
    camps = tuple(place for place in trip.places if place.kind == "camp")
    if camps:
        found = other_plans(stage_table(trip.route, camps, trip.forecast, **words))
    else:
        found = other_days(given, wishes)
        camps = _camps_of(trip.route)
    if wishes.other_trips:
        found += other_trips(trip.route, camps, trip.forecast, round_trip=True, **words)
    return found


def _camps_of(route: Route) -> tuple[Place, ...]:
    """Camps of a route, one that it passes twice once."""
    camps: list[Place] = []
    for point in route.camps:
        apart = [
            float(inverse(c.longitude, c.latitude, point.longitude, point.latitude)[1])
            for c in camps
        ]
        if min(apart, default=_SAME_SPOT_M) >= _SAME_SPOT_M:
            camps.append(place_of(point, "camp"))
    return tuple(camps)

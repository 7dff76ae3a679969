"""The kit of a trip that names a group, and what else its group says of the trip."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from routeplan.units import ZERO_CELSIUS_K

if TYPE_CHECKING:
    import xarray as xr

    from routeplan._kit.facts import StageLike
    from routeplan._kit.plan import KitPlan
    from routeplan._plan.trip import Trip
    from routeplan.exposure import LegExposure

__all__ = ["check_kit", "kit_of", "with_own_water"]

_WATER = "sea_surface_temperature"


def check_kit(trip: Trip) -> None:
    """Refuse early what no plan of the trip can use: marks on legs that its route lacks.

    Raises
    ------
    InputError
    """
    if trip.group is None:
        return
    from routeplan._kit.group import check_marks  # legs alone need none of it

    check_marks(trip.group, [leg.number for leg in trip.route.legs])


def with_own_water(trip: Trip) -> Trip:
    """The trip with the group's water temperature where its forecast has none, and a note of it.

    Only where a limit is set on it: nothing else of the forecast needs it.
    """
    if trip.forecast is None or trip.group is None or trip.limits.water_temperature_k is None:
        return trip
    own_k = trip.group.water_k
    forecast = trip.forecast
    if not math.isfinite(own_k) or not _lacks_water(forecast):
        return trip
    import xarray as xr  # slow to load; there is a forecast, so it is loaded already

    own = xr.full_like(forecast["eastward_wind"], own_k)
    own.attrs = {"standard_name": _WATER, "units": "K", "long_name": "given by the group"}
    water = forecast[_WATER].fillna(own_k) if _WATER in forecast else own
    note = (
        f"The forecast has no water temperature{' at some places' if _WATER in forecast else ''}: "
        f"the group's {own_k - ZERO_CELSIUS_K:.0f} °C is held against the limit there."
    )
    route = replace(trip.route, notes=(*trip.route.notes, note))
    return replace(trip, forecast=forecast.assign({_WATER: water}), route=route)


def _lacks_water(forecast: xr.Dataset) -> bool:
    return _WATER not in forecast or bool(forecast[_WATER].isnull().any())


def kit_of(
    trip: Trip, exposures: Sequence[LegExposure], stages: Sequence[StageLike]
) -> KitPlan | None:
    """Kit of a trip; None when it names no group."""
    if trip.group is None:
        return None
    from routeplan._kit.plan import plan_kit  # the sun's library loads here, `legs` needs none

    return plan_kit(
        trip.group, trip.kit_rules, trip.route, exposures, stages, trip.slowest, trip.crafts
    )

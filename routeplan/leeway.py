"""Drift without propulsion: where wind and current carry a board, a boat or a person.

    weather = WeatherGrid.from_forecast(forecast)
    drift = drift_from(lon, lat, when, weather, leeway_object("board"), coast=coast, hours=6.0)
    drift.ashore_s                 # (p, 3, e) seconds until ashore, nan if not within the hours

A drifting object moves with the current and, relative to it, downwind and to one side of the
wind. Which side cannot be foretold, so three branches are followed: straight downwind, to the
right and to the left of it. How far they spread further is told beside them.

References
----------
A. A. Allen and J. V. Plourde, "Review of leeway: field experiments and implementation", US Coast
Guard Research and Development Center, report CG-D-08-99, 1999. The figures are in
`routeplan/data/leeway.csv`, each with its source.
"""

from __future__ import annotations

from routeplan._drift.drifting import Drift, Shore, drift_from, time_ashore, with_drift
from routeplan._drift.leewaytable import (
    BRANCHES,
    LeewayObject,
    leeway_object,
    leeway_objects,
    leeway_velocity,
)
from routeplan._drift.weathergrid import WeatherGrid

__all__ = [
    "BRANCHES",
    "Drift",
    "LeewayObject",
    "Shore",
    "WeatherGrid",
    "drift_from",
    "leeway_object",
    "leeway_objects",
    "leeway_velocity",
    "time_ashore",
    "with_drift",
]

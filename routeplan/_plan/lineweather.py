"""The weather along a stage, hour by hour: what whoever is late or early would meet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from routeplan.wind import wind_speed

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries
    from routeplan.windows import LaunchScan

__all__ = ["LineWeather", "line_weather"]

FloatArray = NDArray[np.float64]

_GUST = "wind_speed_of_gust"
_WAVES = "sea_surface_wave_significant_height"


@dataclass(frozen=True, slots=True, eq=False)
class LineWeather:
    """Worst of the line at each time of the forecast, wherever on it one may be; arrays (t,).

    With members the median of them. A time at which some part of the line is unknown is nan, and
    so is everything that the forecast does not tell.
    """

    time: NDArray[np.datetime64]
    wind_ms: FloatArray
    gust_ms: FloatArray
    wave_height_m: FloatArray


def line_weather(scan: LaunchScan) -> LineWeather:
    """Weather along the line of a scan, by the series that its launches were paddled in."""
    series = scan.outing.series
    east, north = series.values["eastward_wind"], series.values["northward_wind"]
    return LineWeather(
        series.time,
        _worst(wind_speed(east, north)),
        _named(series, _GUST),
        _named(series, _WAVES),
    )


def _named(series: PointSeries, name: str) -> FloatArray:
    values = series.values.get(name)
    return np.full(series.time.size, np.nan) if values is None else _worst(values)


def _worst(values: FloatArray) -> FloatArray:
    """Largest over the points, then the median of the members: (p, t, e) -> (t,)."""
    return np.asarray(np.median(values.max(axis=0), axis=-1))

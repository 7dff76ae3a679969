"""Made-up paths and forecast series for the tests of paddling and judging."""

from types import SimpleNamespace

import numpy as np

from routeplan.sampling import PointSeries
from routeplan.simulation import Path

START = np.datetime64("2026-06-21T00:00", "ns")
HOUR = np.timedelta64(3600, "s").astype("timedelta64[ns]")
MINUTE = np.timedelta64(60, "s").astype("timedelta64[ns]")

U, V = "eastward_wind", "northward_wind"
GUST = "wind_speed_of_gust"
HEIGHT = "sea_surface_wave_significant_height"
CURRENT_U, CURRENT_V = "eastward_sea_water_velocity", "northward_sea_water_velocity"


def point_series(time, values):
    """A series whose points are all inside and whose sea cells are their own."""
    points = next(iter(values.values())).shape[0]
    return PointSeries(
        time=time.astype("datetime64[ns]"),
        values=values,
        inside=np.ones(points, dtype=bool),
        sea_cell_m={},
        sea_cell_limit_m=25_000.0,
    )


def straight(length_m=10_800.0, *, steps=40, legs=4, course_deg=0.0, offshore_m=300.0, **more):
    """A path of equal steps and legs on one course."""
    ones = np.ones(steps)
    along = (np.arange(steps) + 0.5) * length_m / steps / 111_000.0
    offshore = np.broadcast_to(offshore_m, (steps,)).astype(float)
    return Path(
        longitude=11.0 + along * np.sin(np.radians(course_deg)),
        latitude=58.0 + along * np.cos(np.radians(course_deg)),
        course_deg=course_deg * ones,
        length_m=length_m / steps * ones,
        leg=np.arange(steps) * legs // steps,
        offshore_m=offshore,
        **more,
    )


def series(path, *, hours=72, step=HOUR, members=1, **fields):
    """A forecast at the path's points; a field is a number, (T,), (T, e) or (k, T, e)."""
    count = hours * HOUR // step + 1
    shape = (path.length_m.size, int(count), members)
    names = {"u": U, "v": V, "gust": GUST, "height": HEIGHT, "cu": CURRENT_U, "cv": CURRENT_V}
    values = {}
    for name, value in {"u": 0.0, "v": 0.0, **fields}.items():
        value = np.asarray(value, dtype=float)
        if value.ndim == 1:
            value = value[:, None]
        values[names.get(name, name)] = np.broadcast_to(value, shape).copy()
    time = START + np.arange(count) * step
    return point_series(time, values)


def launches(first=6, last=18, step=30):
    """Launch times from hour to hour of the first day, a step of minutes apart."""
    count = (last - first) * 60 // step + 1
    return START + first * HOUR + np.arange(count) * step * MINUTE


def spells(*pairs, first=-24, last=120):
    """Daylight between pairs of hours from the start."""
    pairs = np.array(pairs, dtype=float).reshape(-1, 2)
    hour = np.round(pairs * 3600.0).astype("timedelta64[s]").astype("timedelta64[ns]")
    return SimpleNamespace(
        start=START + hour[:, 0],
        end=START + hour[:, 1],
        first=START + first * HOUR,
        last=START + last * HOUR,
    )


def days(dawn=3.0, dusk=21.0, count=4):
    """Daylight from dawn to dusk on every day, the same at both ends of a stage."""
    light = spells(*[(24.0 * d + dawn, 24.0 * d + dusk) for d in range(-1, count)])
    return light, light


ALWAYS_LIGHT = (spells((-24.0, 120.0)), spells((-24.0, 120.0)))

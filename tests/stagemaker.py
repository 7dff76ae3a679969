"""Made-up routes and weather for the tests of trips of several days."""

import numpy as np
import xarray as xr

from routeplan.geodesy import direct
from routeplan.route import Waypoint, route_from_points

MIDNIGHT = np.datetime64("2026-06-21T00:00", "ns")
HOUR = np.timedelta64(1, "h").astype("timedelta64[ns]")


def forecast(u=0.0, v=0.0, *, hours=24, wave=0.0, members=None):
    """An hourly grid around 10 E on the equator; u, v are a value or one for each hour (and more).

    Values by place are given as (T, 3, 3), by member as (e, T).
    """
    time = MIDNIGHT + np.arange(hours + 1) * HOUR
    shape = (time.size, 3, 3)

    def grid(value):
        value = np.asarray(value, dtype=float)
        if members is None:
            value = value[:, None, None] if value.ndim == 1 else value
            return ("time", "latitude", "longitude"), np.broadcast_to(value, shape).copy()
        value = value[:, :, None, None] if value.ndim == 2 else value
        dims = ("number", "time", "latitude", "longitude")
        return dims, np.broadcast_to(value, (members, *shape)).copy()

    fields = {"eastward_wind": u, "northward_wind": v}
    if wave is not None:
        fields["sea_surface_wave_significant_height"] = wave
    return xr.Dataset(
        {name: grid(value) for name, value in fields.items()},
        coords={
            "time": time,
            "latitude": [-1.0, 0.0, 1.0],
            "longitude": [9.0, 10.0, 11.0],
        },
        attrs={"path": "made.nc"},
    )


def north_route(length_m, *, offshore_m=0.0, camps=()):
    """Due north along 10 E from the equator, or so far west of it; camps at metres along it."""
    west, _ = direct(10.0, 0.0, 270.0, offshore_m)
    points = []
    for along, name, kind in (
        (0.0, "start", ""),
        *((along, f"at {along / 1000:g} km", "camp") for along in camps),
        (length_m, "end", ""),
    ):
        lon, lat = direct(west, 0.0, 0.0, along)
        points.append(Waypoint(float(lat), float(lon), name, kind))
    return route_from_points(points, name="north")

"""Rings of land for made-up coasts."""

import numpy as np

from routeplan.geodesy import direct


def rectangle(lon, lat, *, west_m, south_m, east_m, north_m, step_m=500.0):
    """Ring around a place, its sides densified along geodesics so that they are straight."""

    def corner(x, y):
        a = direct(lon, lat, 90.0, x)
        return direct(a[0], a[1], 0.0, y)

    corners = [
        corner(-west_m, -south_m),
        corner(east_m, -south_m),
        corner(east_m, north_m),
        corner(-west_m, north_m),
    ]
    ring = []
    for (lon1, lat1), (lon2, lat2) in zip(corners, corners[1:] + corners[:1], strict=True):
        count = max(2, int((west_m + east_m + south_m + north_m) / step_m))
        for share in np.linspace(0, 1, count, endpoint=False):
            ring.append([float(lon1 + share * (lon2 - lon1)), float(lat1 + share * (lat2 - lat1))])
    return [*ring, ring[0]]

"""Small coasts that tests share, all invented."""

import json

import numpy as np
import pytest

from routeplan.coastline import Coastline
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


@pytest.fixture(scope="session", autouse=True)
def _no_coasts_of_ones_own(tmp_path_factory):
    """Keep coasts that somebody has got on this machine out of the tests."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ROUTEPLAN_DATA_DIR", str(tmp_path_factory.mktemp("data")))
        yield


@pytest.fixture(scope="session")
def coast_from_rings(tmp_path_factory):
    """Build a coastline from rings of land, through a GeoJSON file as a user would."""

    def build(*rings, nominal_error_m=1.0):
        path = tmp_path_factory.mktemp("coast") / "land.geojson"
        features = [
            {
                "type": "Feature",
                "properties": {},
                "geometry": {"type": "Polygon", "coordinates": [ring]},
            }
            for ring in rings
        ]
        path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
        return Coastline.from_file(path, nominal_error_m=nominal_error_m)

    return build


@pytest.fixture(scope="session")
def straight_coast(coast_from_rings):
    """Land on the east side of a shore that runs 40 km north-south through 10 E, 0 N."""
    return coast_from_rings(
        rectangle(10.0, 0.0, west_m=0.0, south_m=20_000, east_m=20_000, north_m=20_000)
    )

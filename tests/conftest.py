"""Small coasts that tests share, all invented."""

import json

import pytest
from coastmaker import rectangle

from routeplan.coastline import Coastline


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

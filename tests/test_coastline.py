"""What the coastline says at places whose answer is known."""

import numpy as np
import pytest

from routeplan.coastline import Coastline
from routeplan.errors import InputError


@pytest.fixture(scope="module")
def coast():
    return Coastline.default()


# Plain geography: places far inside their kind.
LAND = {
    "Kansas": (-98.5, 38.5),
    "Bohemia": (14.5, 49.9),
    "Chukotka, west of the antimeridian": (179.0, 67.5),
    "Chukotka, east of the antimeridian": (-179.0, 67.5),
    "Chukotka, on the antimeridian": (180.0, 67.5),
    "Chukotka, on the antimeridian, other name": (-180.0, 67.5),
    "Antarctica on Greenwich": (0.0, -80.0),
    "South Pole": (12.0, -90.0),
    "Manitoulin Island in Lake Huron": (-82.2, 45.7),
    "Taveuni, Fiji": (-179.98, -16.85),
}
WATER = {
    "Skagerrak": (10.0, 58.0),
    "Lake Huron": (-82.5, 44.8),
    "Vänern": (13.4, 58.7),
    "Gulf of Guinea": (0.0, 0.0),
    "Bering Sea on the antimeridian": (180.0, 60.0),
    "North Pole": (77.0, 90.0),
    "Pacific": (-140.0, -30.0),
}


@pytest.mark.parametrize("name", LAND)
def test_land_is_land(coast, name):
    assert coast.is_land(*LAND[name])


@pytest.mark.parametrize("name", WATER)
def test_water_is_water(coast, name):
    assert not coast.is_land(*WATER[name])


def test_the_shapes_of_answers_are_those_of_the_places(coast):
    assert coast.distance_to_shore(11.0, 58.0).shape == ()
    assert coast.distance_to_shore([11.0, 11.1], 58.0).shape == (2,)
    assert coast.is_land(np.full((2, 3), 11.0), np.full((2, 3), 58.0)).shape == (2, 3)
    assert coast.fetch_length([11.0, 11.1], [58.0, 58.0], np.arange(0, 360, 10)).shape == (2, 36)
    assert coast.fetch_length([], [], [0.0]).shape == (0, 1)


def test_nan_stays_nan_and_a_bad_latitude_is_refused(coast):
    assert np.isnan(coast.distance_to_shore([np.nan, 11.0], [58.0, np.nan])).all()
    assert np.isnan(coast.fetch_length([np.nan], [58.0], [0.0, 90.0])).all()
    with pytest.raises(InputError, match="within -90 to 90"):
        coast.distance_to_shore([11.0], [95.0])
    with pytest.raises(InputError, match="neither land nor water"):
        coast.is_land([np.nan], [58.0])
    with pytest.raises(InputError, match="limit_m"):
        coast.fetch_length([11.0], [58.0], [0.0], limit_m=-1.0)


def test_fetch_stops_at_the_shore_and_at_the_limit(coast):
    # Skagerrak: Jutland lies to the south within 100 km, open water to the south-west
    fetch = coast.fetch_length([9.5], [57.9], [180.0, 250.0], limit_m=100_000.0)[0]
    assert 50_000 < fetch[0] < 99_000
    assert fetch[1] == 100_000.0
    assert (coast.fetch_length([14.5], [49.9], [0.0, 90.0]) == 0.0).all()

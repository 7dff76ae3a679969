"""The default coastline against a few hundred places of other open sources.

Sources, in `fixtures/coast/other_sources.csv` with their licences, accessed 2026-11-25:
OpenStreetMap's land (© OpenStreetMap contributors, ODbL 1.0) as packed in roaring-landmask 0.11.0,
https://github.com/gauteh/roaring-landmask; NOAA's GLOBE 1.0 as packed in global-land-mask 1.0.0
(MIT), https://github.com/toddkarin/global-land-mask. What 200,000 places say is in
`docs/validation/coastline.md`; the bounds here are a fifth to a third above its figures.
"""

from pathlib import Path

import numpy as np
import pytest

from routeplan.coastline import Coastline

FILE = Path(__file__).parents[1] / "fixtures" / "coast" / "other_sources.csv"
LIMIT_M = 1_000.0
MEDIAN_M = {  # largest median difference of distance from shore
    "Bohuslän": 250.0,
    "Archipelago Sea": 130.0,
    "Dalmatia": 120.0,
    "British Columbia": 120.0,
}


@pytest.fixture(scope="module")
def places():
    with FILE.open(encoding="utf-8") as lines:
        rows = [line.rstrip("\n").split(",") for line in lines if not line.startswith("#")]
    columns = dict(zip(rows[0], zip(*rows[1:], strict=True), strict=True))
    where = np.array(columns.pop("where"))
    return {"where": where, **{name: np.array(column, float) for name, column in columns.items()}}


@pytest.fixture(scope="module")
def coast():
    return Coastline.default()


def of(places, name):
    here = places["where"] == name
    return {key: column[here] for key, column in places.items()}


def offshore(coast, at, east_deg=0.0):
    lon, lat = at["lon"] + east_deg, at["lat"]
    return np.where(coast.is_land(lon, lat), 0.0, coast.distance_to_shore(lon, lat))


def offshore_there(at):
    return np.where(at["osm_land"] == 1, 0.0, at["osm_shore_m"])


@pytest.mark.parametrize("name", MEDIAN_M)
def test_distances_from_shore_are_those_of_openstreetmap(coast, places, name):
    at = of(places, name)
    assert len(at["lon"]) == 150
    difference = np.abs(offshore(coast, at) - offshore_there(at))
    assert np.median(difference) < MEDIAN_M[name]
    assert np.percentile(difference, 90) < 1_500.0


@pytest.mark.parametrize("name", MEDIAN_M)
def test_a_coastline_a_mile_to_the_side_would_be_noticed(coast, places, name):
    at = of(places, name)
    moved = offshore(coast, at, east_deg=1_852.0 / (111_320.0 * np.cos(np.radians(at["lat"][0]))))
    assert np.median(np.abs(moved - offshore_there(at))) > MEDIAN_M[name]


def test_few_places_are_said_to_be_nearer_than_the_limit_and_are_not(coast, places):
    near, wrong = 0, 0
    for name in MEDIAN_M:
        at = of(places, name)
        within = offshore(coast, at) <= LIMIT_M
        near += np.sum(within)
        wrong += np.sum(within & (offshore_there(at) > LIMIT_M))
    assert near > 250
    assert wrong / near < 0.05


@pytest.mark.parametrize("source", ["osm_land", "globe_land"])
def test_land_and_water_within_20_km_of_shores_of_the_earth(coast, places, source):
    at = of(places, "Earth")
    ours = coast.is_land(at["lon"], at["lat"])
    shore = coast.distance_to_shore(at["lon"], at["lat"])
    same = ours == (at[source] == 1)
    assert len(same) == 300
    assert 0.3 < ours.mean() < 0.8
    assert same.mean() > 0.93
    # Lakes, which the others do not hold, and little else.
    assert same[(shore > 2_000.0) & ours].mean() > 0.98

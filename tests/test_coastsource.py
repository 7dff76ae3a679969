"""Local coast sources: got from a server on this machine, kept, chosen, joined, compared."""

import io
import json
import math
import os
import zipfile

import numpy as np
import pytest
import shapely
from _coasts import coast_of, islands
from _overpass_server import OsmDatabase
from _servers import Fault, FaultyServer, Resource
from pyproj import Geod

from routeplan import coastsource
from routeplan._download.fetcher import Fetcher
from routeplan._osm import store as _coaststore
from routeplan._osm.combined import CombinedCoastline
from routeplan._osm.land import Background, land_map
from routeplan._shore.coastbox import Box
from routeplan.coastsource import (
    coast_for,
    compare_offshore,
    data_dir,
    get_source,
    list_sources,
    preferred_source,
    read_source,
)
from routeplan.errors import CoverageError, DownloadError, InputError
from routeplan.route import Waypoint, route_from_points

BOUNDS = (10.0, 0.0, 10.2, 0.2)
GEOD = Geod(ellps="WGS84")


def square(west, south, side):
    east, north = west + side, south + side
    return [(west, south), (east, south), (east, north), (west, north), (west, south)]


@pytest.fixture(scope="module")
def elsewhere():
    """A coast with land nowhere near the boxes: the sea of the tests."""
    return coast_of(shapely.box(60.0, 40.0, 61.0, 41.0))


@pytest.fixture
def database():
    """One island, one mainland in the east of the box with a river and a lake in it."""
    osm = OsmDatabase()
    island = square(10.02, 0.02, 0.03)
    osm.coast(island[:3])
    osm.coast(island[2:])
    osm.coast([(10.1, 1.0), (10.1, 0.11), (10.1, 0.1), (10.1, -1.0)])  # land in the east
    osm.way(
        [(10.1, 0.11), (10.1, 0.1), (10.12, 0.1), (10.12, 0.11), (10.1, 0.11)],
        natural="water",
        water="river",
    )
    outer = osm.way([(10.12, 0.11), (10.12, 0.1), (10.12, 0.08), (10.16, 0.08)])
    rest = osm.way([(10.16, 0.08), (10.16, 0.13), (10.12, 0.13), (10.12, 0.11)])
    holm = osm.way(square(10.13, 0.1, 0.01))
    osm.lake([outer, rest], [holm], name="Long Water")
    return osm


@pytest.fixture
def server(database, monkeypatch):
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    with FaultyServer(find=database.find) as running:
        yield running
    assert running.errors == []


@pytest.fixture
def got(server, elsewhere, tmp_path, monkeypatch):
    """Get the source of `BOUNDS` from the server."""
    monkeypatch.setenv("ROUTEPLAN_DATA_DIR", str(tmp_path / "data"))
    waits = []

    def get(bounds=BOUNDS, **more):
        offline = more.pop("offline", False)
        with Fetcher(
            tmp_path / "cache", offline=offline, pause_s=0.0, retries=2, sleep=waits.append
        ) as fetcher:
            settings = {"margin_m": 0.0, "server": f"{server.url}/api", "coarse": elsewhere}
            return get_source(bounds, fetcher=fetcher, offline=offline, **{**settings, **more})

    get.waits = waits
    return get


# --- getting


def test_source_says_what_it_is(got, server):
    source = got(name="bay")
    about = source.about
    assert source.path == data_dir() / "bay.coast.npz"
    assert about.date == "2026-11-20T06:00:00Z"
    assert about.licence == "ODbL 1.0"
    assert "© OpenStreetMap contributors" in about.attribution
    assert about.server == f"{server.url}/api"
    assert about.fetched.startswith("20")
    assert about.points > 10
    assert len(about.sha256) == 64
    assert source.bounds == pytest.approx(BOUNDS, abs=1e-6)
    assert math.isnan(source.nominal_error_m)
    assert "data of 2026-11-20" in source.words
    assert list_sources() == ((source,), ())


def test_request_is_one_post_of_the_query(got, server, database):
    got()
    (request,) = server.requests
    assert (request.method, request.path, request.status) == ("POST", "/api", 200)
    assert request.headers["user-agent"].startswith("routeplan/")
    assert "(-0.00000005,9.99999995,0.20000005,10.20000005)" in database.asked[0]


def test_land_water_and_island_are_told_apart(got, elsewhere):
    got(name="bay")
    coast = read_source("bay", coarse=elsewhere)
    places = {
        (10.03, 0.03): True,  # island
        (10.08, 0.05): False,  # sea
        (10.18, 0.05): True,  # mainland
        (10.11, 0.105): False,  # river
        (10.15, 0.09): False,  # lake
        (10.135, 0.105): True,  # island in the lake
    }
    lon, lat = np.array(list(places)).T
    assert coast.is_land(lon, lat).tolist() == list(places.values())
    # from the sea eastwards up the river and over the lake to its island
    _, _, far = GEOD.inv(10.09, 0.105, 10.13, 0.105)
    assert coast.fetch_length(10.09, 0.105, 90.0)[0, 0] == pytest.approx(far, abs=0.5)
    # in the river the nearest shore is its bank, not its ends
    _, _, bank = GEOD.inv(10.11, 0.105, 10.11, 0.11)
    assert coast.distance_to_shore(10.11, 0.105) == pytest.approx(bank, abs=0.5)


def test_what_is_stated_goes_on(got, elsewhere):
    got(name="bay", nominal_error_m=25.0)
    coast = read_source("bay", coarse=elsewhere)
    assert coast.nominal_error_m == 25.0
    assert "© OpenStreetMap contributors, ODbL 1.0" in coast.attribution
    assert coast.source.startswith("OpenStreetMap coast bay, data of 2026-11-20, in the box ")
    assert coast.source.endswith("beyond it test")


def test_box_across_the_antimeridian(got, database, elsewhere):
    west = [(179.95, 0.0), (180.0, 0.0), (180.0, 0.05), (179.95, 0.05), (179.95, 0.0)]
    east = [(-180.0, 0.0), (-179.95, 0.0), (-179.95, 0.05), (-180.0, 0.05), (-180.0, 0.0)]
    database.coast(west)
    database.coast(east)
    source = got((179.9, -0.1, -179.9, 0.1), name="line")
    assert source.bounds == pytest.approx((179.9, -0.1, -179.9, 0.1), abs=1e-6)
    coast = read_source("line", coarse=elsewhere)
    assert coast.is_land([180.0, -180.0, 179.97, -179.97], [0.02] * 4).all()
    assert not coast.is_land([179.93, -179.93], [0.02] * 2).any()
    _, _, far = GEOD.inv(180.0, 0.025, 180.0, 0.05)
    assert coast.distance_to_shore(180.0, 0.025) == pytest.approx(far, abs=0.5)
    assert source.covers((179.92, -0.05, -179.92, 0.05), 1_000.0)
    assert not source.covers((179.92, -0.05, -179.89, 0.05))


def test_box_without_coast_is_decided_by_the_other_coastline(got, elsewhere):
    source = got((20.0, 0.0, 20.1, 0.1), name="sea")
    assert source.about.points == 0
    assert "sea, is taken from test" in source.about.notes[0]
    coast = read_source("sea", coarse=elsewhere)
    assert not coast.is_land(20.05, 0.05)
    assert coast.distance_to_shore(20.05, 0.05) == elsewhere.distance_to_shore(20.05, 0.05)
    inland = got((60.4, 40.4, 60.5, 40.5), name="land")
    assert "land, but for the water areas, is taken from test" in inland.about.notes[0]
    assert read_source("land", coarse=elsewhere).is_land(60.45, 40.45)


def test_broken_coast_is_refused_and_nothing_kept(got, database):
    database.absent.add(database.node(10.05, 0.05))
    with pytest.raises(CoverageError, match="the coastline is broken at"):
        got()
    assert list_sources() == ((), ())


def test_broken_coast_outside_the_box_does_not_matter(got, database):
    line = [(10.1, 1.0), (10.1, 0.9), (10.1, 0.8), (10.1, 0.11), (10.1, 0.1), (10.1, -1.0)]
    database.ways.clear()
    database.relations.clear()
    database.coast(line)
    database.absent.add(database.node(10.1, 0.9))
    source = got()
    assert source.about.notes == ("ways that name nodes which are not there, split at them: 1",)


# --- a server that fails


@pytest.mark.parametrize("status", [429, 504, 503])
def test_busy_server_is_asked_again_later(got, server, status):
    server.faults = [Fault("status", status=status), Fault("status", status=status)]
    assert got().about.points > 10
    assert [request.status for request in server.requests] == [status, status, 200]
    assert len(got.waits) == 2


def test_wait_that_the_server_asks_for_is_kept(got, server):
    server.faults = [Fault("status", status=429, headers=(("Retry-After", "37"),))]
    got()
    assert got.waits == [37.0]


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (Fault("status", status=429), "HTTP status 429"),
        (Fault("status", status=504), "HTTP status 504"),
        (Fault("status", status=400), "HTTP status 400"),
        (Fault("html"), "HTML page instead of data"),
        (Fault("cut", at=700), "connection (cut|failed)"),
        (Fault("refuse"), "hung up without an answer"),
    ],
)
def test_failing_server_is_one_clear_error(got, server, fault, words):
    server.faults = [fault] * 9
    with pytest.raises(DownloadError, match=words) as caught:
        got()
    assert "\n" not in str(caught.value)
    assert "127.0.0.1/api" in str(caught.value)
    assert list_sources() == ((), ())
    server.faults = []
    assert got().about.points > 10


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b'<?xml version="1.0"?><osm><note>busy</note></osm>', "not readable as JSON"),
        (b"", "nothing|not readable"),
        (b'{"elements": [', "not readable as JSON"),
        (b'{"elements": [], "remark": "runtime error: Query timed out"}', "sent a part only"),
        (b'{"elements": [{"type": "node", "id": 1, "lat": 91, "lon": 0}]}', "node 1: position"),
    ],
)
def test_bad_answer_is_refused_and_not_cached(got, server, database, body, words):
    server.find = lambda _request: Resource(body)
    with pytest.raises(DownloadError, match=words):
        got()
    assert list_sources() == ((), ())
    with pytest.raises(DownloadError, match="not in the cache"):
        got(offline=True)
    server.find = database.find
    assert got().about.points > 10


def test_huge_answer_is_refused(got, monkeypatch):
    monkeypatch.setattr("routeplan._osm.overpass.MAX_BYTES", 500)
    with pytest.raises(DownloadError, match="than the 500 bytes allowed"):
        got()


def test_offline_takes_only_what_is_there(got, server):
    with pytest.raises(DownloadError, match="not in the cache, and downloads are off"):
        got(offline=True)
    assert server.requests == []
    source = got(name="bay")
    assert len(server.requests) == 1
    assert got(name="bay", offline=True) == source
    source.path.unlink()
    again = got(name="bay", offline=True)  # from the answer in the cache
    assert again.about.sha256 == source.about.sha256
    assert len(server.requests) == 1


def test_fresh_source_is_not_got_again_unless_forced(got, server, database):
    first = got(name="bay")
    assert got(name="bay") == first
    assert len(server.requests) == 1
    database.date = "2026-11-24T06:00:00Z"
    second = got(name="bay", force=True)
    assert len(server.requests) == 2
    assert second.about.date == "2026-11-24T06:00:00Z"
    assert list_sources()[0] == (second,)


def test_same_name_for_another_box_is_got_anew(got, server):
    got(name="bay")
    other = got((10.0, 0.0, 10.2, 0.15), name="bay")
    assert len(server.requests) == 2
    assert other.bounds[3] == pytest.approx(0.15, abs=1e-6)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"bounds": (0.0, 40.0, 10.0, 50.0)}, r"at most 40,000 km² are fetched at once"),
        ({"bounds": (10.0, math.nan, 10.2, 0.2)}, "south nan is outside"),
        ({"margin_m": -1.0}, "margin_m -1.0"),
        ({"margin_m": math.inf}, "margin_m inf"),
        ({"name": "../bay"}, "small letters"),
        ({"name": "Bay"}, "small letters"),
        ({"nominal_error_m": -5.0}, "nominal_error_m -5.0"),
        ({"server": "ftp://127.0.0.1/api"}, "not an address of http or https"),
    ],
)
def test_bad_arguments_are_refused_before_anything_is_sent(got, server, change, words):
    with pytest.raises(InputError, match=words):
        got(**change)
    assert server.requests == []


def test_margin_reaches_around_the_bounds(got):
    source = got((10.05, 0.05, 10.15, 0.15), margin_m=4_000.0)
    west, south, east, north = source.bounds
    _, _, aside = GEOD.inv([10.05, 10.15], [0.05, 0.05], [west, east], [0.05, 0.05])
    _, _, up = GEOD.inv([10.05, 10.05], [0.05, 0.15], [10.05, 10.05], [south, north])
    assert np.min([aside, up]) >= 4_000.0
    assert np.max([aside, up]) < 4_100.0


@pytest.mark.parametrize("bounds", [(10.05, 0.02, 10.05, 0.15), (10.02, 0.05, 10.15, 0.05)])
def test_route_along_a_meridian_or_parallel_has_surroundings(got, bounds):
    source = got(bounds, margin_m=3_000.0)
    assert source.covers(bounds, 2_900.0)
    assert source.about.points > 3


# --- keeping and choosing


def test_folder_is_named_by_the_environment(tmp_path, monkeypatch):
    monkeypatch.setenv("ROUTEPLAN_DATA_DIR", str(tmp_path))
    assert data_dir() == tmp_path / "coast"
    assert list_sources() == ((), ())
    monkeypatch.delenv("ROUTEPLAN_DATA_DIR")
    assert data_dir().name == "coast"
    assert "routeplan" in str(data_dir())


def test_file_gives_back_what_was_written(got):
    source = got(name="bay")
    about, land = _coaststore.load(source.path)
    assert about == source.about
    assert land.box == source.box
    assert _coaststore.digest(land) == about.sha256


def test_writing_fails_in_one_line(tmp_path, got):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        got(folder=tmp_path / "file" / "coast")


def test_failed_write_leaves_the_old_source(got, database, monkeypatch):
    source = got(name="bay")
    before = source.path.read_bytes()
    database.date = "2026-11-24T06:00:00Z"

    def full(_handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises((InputError, DownloadError), match="No space left"):
        got(name="bay", force=True)
    assert source.path.read_bytes() == before
    assert [path.name for path in source.path.parent.iterdir()] == ["bay.coast.npz"]


def rewritten(path, **changes):
    """The file with some members changed: bytes, or a function of the array."""
    with np.load(path) as file:
        arrays = {name: file[name] for name in file.files}
    for name, change in changes.items():
        arrays[name] = change(arrays[name])
    content = io.BytesIO()
    np.savez_compressed(content, **arrays)
    path.write_bytes(content.getvalue())


def about_with(**changes):
    def change(raw):
        words = {**json.loads(raw.tobytes()), **changes}
        return np.frombuffer(json.dumps(words).encode(), np.uint8)

    return change


def moved(array):
    return array + 1e-9


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"lonlat": moved}, "checksum"),
        ({"lonlat": lambda a: a.astype("<f4")}, "another kind"),
        ({"lonlat": lambda a: a[:, :1]}, "another shape"),
        ({"lonlat": lambda a: np.where(a == a[3], np.nan, a)}, "no positions"),
        ({"lonlat": lambda a: a * 100.0}, "no positions"),
        ({"offsets": lambda a: a[::-1].copy()}, "do not fit"),
        ({"offsets": lambda a: a[:-1]}, "do not fit"),
        ({"polygon": lambda _: np.array([{}], object)}, "allow_pickle"),
        ({"about": about_with(format=99)}, "another version"),
        ({"about": about_with(box=[0, 0, math.inf, 1])}, "description"),
        ({"about": about_with(box=[0, 0, 1])}, "description"),
        ({"about": about_with(sha256=None)}, "description"),
        ({"about": about_with(nominal_error_m=-1)}, "description"),
        ({"about": about_with(extra=1)}, "description"),
        ({"about": lambda a: a[:-5]}, "description"),
    ],
)
def test_damaged_source_is_refused_in_one_line(got, changes, words):
    source = got(name="bay")
    rewritten(source.path, **changes)
    with pytest.raises(InputError, match=words) as caught:
        read_source("bay")
    assert str(source.path) in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04 no archive", b"x" * 1000])
def test_file_that_is_no_source_is_told_by_the_list(got, content, caplog):
    source = got(name="bay")
    bad = source.path.with_name("aaa.coast.npz")
    bad.write_bytes(content)
    sources, (fault,) = list_sources()
    assert sources == (source,)
    assert fault.startswith(f"{bad}: not a usable coast source")
    assert preferred_source((10.05, 0.05, 10.06, 0.06)) == source
    assert "aaa.coast.npz" in caplog.text


def test_archive_that_unpacks_to_too_much_is_refused(got):
    source = got(name="bay")
    with zipfile.ZipFile(source.path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("about.npy", b"\0" * 2_000_000)
    with pytest.raises(InputError, match="larger than"):
        read_source("bay")


def test_cut_file_is_refused(got):
    source = got(name="bay")
    whole = source.path.read_bytes()
    for length in range(0, len(whole), 211):
        source.path.write_bytes(whole[:length])
        with pytest.raises(InputError, match="not a usable coast source"):
            read_source("bay")


def test_unknown_name_is_refused(tmp_path):
    with pytest.raises(InputError, match="no such coast source"):
        read_source("nowhere", folder=tmp_path)


def test_newest_source_that_covers_is_preferred(got, database):
    old = got(name="old")
    database.date = "2026-11-24T06:00:00Z"
    new = got((10.0, 0.0, 10.1, 0.1), name="new")
    assert list_sources()[0] == (new, old)
    assert preferred_source((10.02, 0.02, 10.05, 0.05)) == new
    assert preferred_source((10.02, 0.02, 10.15, 0.05)) == old
    assert preferred_source((10.02, 0.02, 10.095, 0.05)) == old  # too near the new one's side
    assert preferred_source((10.02, 0.02, 10.095, 0.05), margin_m=0.0) == new
    assert preferred_source((10.02, 0.02, 10.3, 0.05)) is None
    assert preferred_source((-180.0, 0.02, 180.0, 0.05)) is None
    for along in ((10.05, 0.02, 10.05, 0.05), (10.02, 0.05, 10.05, 0.05), (10.05, 0.05) * 2):
        assert preferred_source(along) == new


def test_route_gets_the_local_source_or_the_default(got):
    got(name="bay")
    assert isinstance(coast_for((10.02, 0.02, 10.05, 0.05)), CombinedCoastline)
    assert not isinstance(coast_for((20.0, 0.0, 20.1, 0.1)), CombinedCoastline)


# --- two sources as one coastline


BOX = Box(10.00001, -0.24999, 10.50001, 0.25001)
FRAME = shapely.box(BOX.west, BOX.south, BOX.east, BOX.north)


@pytest.fixture(scope="module")
def both():
    """Fine and coarse islands that know nothing of each other; joined, and as one by shapely."""
    rng = np.random.default_rng(11)
    rings, fine = islands(rng, 9.95, -0.3, 10.55, 0.3, 40, 0.05)
    _, coarse = islands(rng, 8.5, -1.5, 12.0, 1.5, 90, 0.2)
    sea = Background("sea", lambda lon, _lat: np.zeros(np.shape(lon), bool))
    land = land_map(rings, [], BOX, sea)
    expected = shapely.union(
        shapely.intersection(shapely.union_all(fine), FRAME),
        shapely.difference(shapely.union_all(coarse), FRAME),
    )
    other = coast_of(shapely.union_all(coarse), nominal_error_m=500.0)
    combined = CombinedCoastline(land, other, source="fine", attribution="them")
    return combined, expected, coast_of(expected), other


def test_combined_land_is_fine_inside_and_coarse_outside(both):
    combined, expected, _, _ = both
    rng = np.random.default_rng(5)
    lon, lat = rng.uniform(9.5, 11.0, 10_000), rng.uniform(-0.7, 0.7, 10_000)
    by_shapely = shapely.contains_xy(expected, lon, lat)
    assert 0.1 < by_shapely.mean() < 0.9
    assert (combined.is_land(lon, lat) == by_shapely).all()


def test_combined_distance_is_that_of_the_joined_land_by_brute_force(both):
    combined, expected, _, _ = both
    rng = np.random.default_rng(6)
    lon, lat = rng.uniform(9.9, 10.6, 60), rng.uniform(-0.35, 0.35, 60)
    edges = shapely.boundary(shapely.intersection(expected, shapely.box(9.4, -0.8, 11.1, 0.8)))
    shore = shapely.get_coordinates(shapely.segmentize(edges, 1e-4))
    for x, y, found in zip(lon, lat, combined.distance_to_shore(lon, lat), strict=True):
        away = np.hypot(*(shore - (x, y)).T)
        near = shore[away < away.min() * 1.02 + 1e-4]  # degrees differ by 1 % here
        assert away.min() < 0.4  # nearer than the cut
        _, _, far = GEOD.inv(np.full(len(near), x), np.full(len(near), y), *near.T)
        # points 11 m apart: at a distance d the nearest is less than 5.6^2 / 2d too far
        assert far.min() - 5.6 <= found <= far.min() + 0.01


def test_combined_fetch_and_crossings_are_those_of_the_joined_land(both):
    combined, _, joined, _ = both
    rng = np.random.default_rng(7)
    lon, lat = rng.uniform(9.8, 10.7, 400), rng.uniform(-0.45, 0.45, 400)
    bearing = np.arange(0.0, 360.0, 10.0)
    found = combined.fetch_length(lon, lat, bearing, 60_000.0)
    expected = joined.fetch_length(lon, lat, bearing, 60_000.0)
    assert (found < 60_000.0).mean() > 0.5
    assert np.max(np.abs(found - expected)) < 0.1
    line = [9.7, 10.2, 10.4, 10.8], [-0.3, 0.1, 0.0, 0.3]
    crossed = np.array(combined.crosses_land(*line))
    assert len(crossed) > 3
    assert np.max(np.abs(crossed - np.array(joined.crosses_land(*line)))) < 0.1


def test_fetch_leaves_the_box_with_the_coarse_source(both):
    combined, expected, _, _ = both
    shore = shapely.boundary(expected)
    compared = 0
    for lon in np.linspace(10.01, 10.49, 25):
        ray = shapely.LineString([(lon, 0.24), (lon, 1.9)])
        hits = shapely.get_coordinates(shapely.intersection(ray, shore))[:, 1]
        if hits.size and hits.min() > BOX.north + 0.01:
            _, _, far = GEOD.inv(lon, 0.24, lon, hits.min())
            found = combined.fetch_length(lon, 0.24, 0.0, 400_000.0)[0, 0]
            assert found == pytest.approx(far, abs=0.5)
            compared += 1
    assert compared > 5


def test_unknown_places_stay_unknown(both):
    combined, *_ = both
    assert np.isnan(combined.distance_to_shore([np.nan, 10.2], [0.0, np.nan])).all()
    assert np.isnan(combined.fetch_length([np.nan], [0.0], [0.0, 90.0])).all()
    with pytest.raises(InputError, match="neither land nor water"):
        combined.is_land([np.nan], [0.0])
    with pytest.raises(InputError, match="latitude"):
        combined.distance_to_shore([10.0], [91.0])


def test_far_places_are_the_coarse_sources_own(both):
    combined, _, _, other = both
    lon, lat = np.array([40.0, -70.0]), np.array([10.0, 40.0])
    assert (combined.distance_to_shore(lon, lat) == other.distance_to_shore(lon, lat)).all()
    assert (combined.is_land(lon, lat) == other.is_land(lon, lat)).all()
    bearing = [0.0, 120.0]
    assert (combined.fetch_length(lon, lat, bearing) == other.fetch_length(lon, lat, bearing)).all()
    line = [40.0, 41.0], [10.0, 11.0]
    assert combined.crosses_land(*line) == other.crosses_land(*line)


def test_one_place_gives_one_value(both):
    combined, *_ = both
    assert np.shape(combined.distance_to_shore(10.2, 0.1)) == ()
    assert np.shape(combined.is_land(10.2, 0.1)) == ()
    assert combined.fetch_length(10.2, 0.1, [0.0, 90.0]).shape == (1, 2)
    here = combined.distance_to_shore(10.2, 0.1)
    for turns in (-2, -1, 1, 2):
        again = combined.distance_to_shore(10.2 + 360.0 * turns, 0.1)
        assert again == pytest.approx(here, abs=1e-3)


def test_open_sea_around_the_box_is_measured_to_the_far_shore(elsewhere):
    box = Box(20.0, 0.0, 20.1, 0.1)
    islet = [np.array(square(20.04, 0.04, 0.01))]
    sea = Background("sea", lambda lon, _lat: np.zeros(np.shape(lon), bool))
    combined = CombinedCoastline(
        land_map(islet, [], box, sea), elsewhere, source="fine", attribution=""
    )
    _, _, far = GEOD.inv(20.06, 0.045, 20.05, 0.045)
    assert combined.distance_to_shore(20.06, 0.045) == pytest.approx(far, abs=0.1)
    assert combined.fetch_length(20.06, 0.045, 270.0, 3_000_000.0)[0, 0] == pytest.approx(
        far, abs=0.1
    )
    assert combined.fetch_length(20.06, 0.045, 90.0, 3_000_000.0)[0, 0] == 3_000_000.0
    empty = CombinedCoastline(land_map([], [], box, sea), elsewhere, source="", attribution="")
    lon, lat = [20.05, 59.0], [0.05, 40.5]
    assert (empty.distance_to_shore(lon, lat) == elsewhere.distance_to_shore(lon, lat)).all()


@pytest.mark.parametrize("shore_east", [22.0, 60.0])
def test_shore_that_only_the_coarse_source_has_in_the_box_does_not_count(shore_east):
    box = Box(20.0, 0.0, 20.2, 0.2)
    sea = Background("sea", lambda lon, _lat: np.zeros(np.shape(lon), bool))
    rock, shore = shapely.box(20.08, 0.08, 20.12, 0.12), shapely.box(shore_east, -1, 61.0, 1)
    coarse = coast_of(shapely.union(rock, shore))
    assert coarse.is_land(20.1, 0.1)
    combined = CombinedCoastline(land_map([], [], box, sea), coarse, source="", attribution="")
    assert not combined.is_land(20.1, 0.1)
    assert combined.fetch_length(20.1, 0.05, 0.0, 50_000.0)[0, 0] == 50_000.0
    assert combined.crosses_land([20.1, 20.1], [0.05, 0.15]) == []
    assert combined.land_polygons(20.0, 0.0, 20.2, 0.2) == []
    assert combined.shoreline(20.0, 0.0, 20.2, 0.2) == []
    found = float(combined.distance_to_shore(20.1, 0.1))
    if shore_east == 22.0:
        _, _, far = GEOD.inv(20.1, 0.1, 22.0, 0.1)
        assert found == pytest.approx(far, abs=0.5)
    else:  # beyond what is merged the coarse source knows only the rock: unknown
        assert math.isnan(found)


def test_limit_beyond_what_is_merged_is_the_longer_fetch():
    """A ray that only the coarse source stops inside the box goes on as open."""
    box = Box(20.0, 0.0, 20.2, 0.2)
    sea = Background("sea", lambda lon, _lat: np.zeros(np.shape(lon), bool))
    coarse = coast_of(shapely.box(20.08, 0.08, 20.12, 0.12))
    combined = CombinedCoastline(land_map([], [], box, sea), coarse, source="", attribution="")
    assert combined.fetch_length(20.1, 0.05, 0.0, 2_000_000.0)[0, 0] == 2_000_000.0


def test_maps_show_the_joined_land(both):
    combined, expected, _, _ = both
    frame = (9.8, -0.4, 10.7, 0.4)
    drawn = shapely.union_all(combined.land_polygons(*frame))
    wanted = shapely.intersection(expected, shapely.box(*frame))
    assert shapely.symmetric_difference(drawn, wanted).area < 1e-9
    shore = shapely.boundary(expected)
    for chain in combined.shoreline(*frame):
        assert shapely.distance(shapely.points(chain), shore).max() < 1e-6


# --- two sources, one answer


def test_verdicts_of_two_coastlines_are_compared_leg_by_leg():
    coarse = coast_of(shapely.box(9.9, 0.0, 10.0, 0.1))
    fine = coast_of(
        shapely.union(shapely.box(9.9, 0.0, 10.0, 0.1), shapely.box(10.015, 0.04, 10.02, 0.06))
    )
    points = [Waypoint(0.02, 10.005, "a"), Waypoint(0.04, 10.012, "b"), Waypoint(0.06, 10.012, "c")]
    route = route_from_points(points, name="r")
    first, second = compare_offshore(route, coarse, fine, 1_000.0)
    assert (first.leg, first.coarse_verdict, second.leg) == (1, "beyond", 2)
    assert second.coarse_max_m == pytest.approx(1_335.8, abs=1.0)
    assert second.coarse_verdict == "beyond"
    assert second.fine_verdict == "within"
    assert second.differs
    assert second.largest_difference_m == pytest.approx(-1_001.9, abs=2.0)
    assert (second.longitude, second.limit_m) == (pytest.approx(10.012), 1_000.0)
    (same,) = compare_offshore(route, coarse, coarse, 1_000.0)[:1]
    assert not same.differs
    assert same.largest_difference_m == 0.0


def test_points_are_compared_as_one_leg_and_unknown_is_never_within(both):
    combined, _, _, other = both
    (found,) = compare_offshore(([10.2, np.nan], [0.1, 0.1]), other, combined, 1e7)
    assert (found.coarse_verdict, found.fine_verdict) == ("unknown", "unknown")
    assert math.isnan(found.coarse_max_m)
    (found,) = compare_offshore(([10.2, np.nan], [0.1, 0.1]), other, combined, 1e-3)
    assert "within" not in (found.coarse_verdict, found.fine_verdict)
    for limit in (0.0, -5.0, np.nan):
        with pytest.raises(InputError, match="above 0 m"):
            compare_offshore(([10.2], [0.1]), other, combined, limit)


def test_distance_on_land_is_none(both):
    combined, expected, _, _ = both
    spot = shapely.point_on_surface(shapely.intersection(expected, FRAME))
    (found,) = compare_offshore(([spot.x], [spot.y]), combined, combined, 10.0)
    assert found.fine_max_m == 0.0
    assert found.fine_verdict == "within"


def test_public_names_are_there():
    assert all(hasattr(coastsource, name) for name in coastsource.__all__)

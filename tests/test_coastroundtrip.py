"""The default coastline, dressed up as a database of ways, comes back as it was.

Real coasts go the whole way: cut into ways, served by the protocol, joined, kept, read, joined
with the coast beyond the box. What comes out is compared with the default coastline itself.
"""

import copy
import json

import numpy as np
import pytest
import shapely
from _overpass_server import OsmDatabase
from _servers import FaultyServer

from routeplan._download.fetcher import Fetcher
from routeplan._osm.land import Background, land_map
from routeplan._osm.merge import chains_of
from routeplan._osm.overpass import query, read_answer
from routeplan._shore.coastbox import Box
from routeplan.coastline import Coastline
from routeplan.coastsource import get_source, read_source
from routeplan.errors import CoverageError

SMALL = 20_000  # points of a ring that is taken whole
BEARINGS = np.arange(0.0, 360.0, 15.0)


@pytest.fixture(scope="module")
def default():
    return Coastline.default()


def database_of(coast, bounds, rng):
    """Ways and relations of a coastline around a box."""
    osm = OsmDatabase()
    table = coast._table
    west, south, east, north = bounds
    region = Box(west, south, east if east > west else east + 360.0, north).grown(20_000.0)
    lakes = {}
    for part in region.parts:
        for number in table.touching(part).tolist():
            points = table.points(number)
            level = int(table.rings.level[number])
            if level in (1, 5):
                for chain in chains_of(table, number, part, region):
                    chain[:, 0] = (chain[:, 0] + 180.0) % 360.0 - 180.0
                    _add_coast(osm, chain, rng)
            elif len(points) < SMALL:
                lakes[number] = (level, points)
    _add_lakes(osm, lakes, rng)
    return osm


def _add_coast(osm, chain, rng):
    first = 0
    while first < len(chain) - 1:
        last = min(len(chain) - 1, first + int(rng.integers(2, 400)))
        osm.coast(chain[first : last + 1].tolist())
        first = last


def _add_lakes(osm, lakes, rng):
    outer = [(number, points) for number, (level, points) in lakes.items() if level == 2]
    tree = shapely.STRtree([shapely.Polygon(points) for _, points in outer])
    islands = {number: [] for number, _ in outer}
    for level, points in lakes.values():
        if level == 3:
            spot = shapely.point_on_surface(shapely.Polygon(points))
            for found in tree.query(spot, "within")[:1]:
                islands[outer[found][0]].append(osm.way(points.tolist()))
        elif level == 4:
            osm.way(points.tolist(), natural="water")
    for number, points in outer:
        half = len(points) // 2
        if islands[number] or rng.random() < 0.5:
            ways = [osm.way(points[: half + 1].tolist()), osm.way(points[half:][::-1].tolist())]
            osm.lake(ways, islands[number])
        else:
            osm.way(points.tolist(), natural="water", water="lake")


@pytest.mark.parametrize(
    "bounds",
    [
        (11.2, 58.2, 11.6, 58.5),  # archipelago
        (6.0, 60.8, 7.0, 61.2),  # fjord
        (27.9, 61.7, 28.9, 62.2),  # lakes with islands, no coast
        (179.0, -17.1, -179.8, -16.4),  # antimeridian
        (15.0, 78.1, 16.0, 78.4),  # beyond 78 N
    ],
    ids=["archipelago", "fjord", "lakes", "antimeridian", "arctic"],
)
def test_real_coast_comes_back(default, bounds, tmp_path, monkeypatch):
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    rng = np.random.default_rng(1)
    osm = database_of(default, bounds, rng)
    with FaultyServer(find=osm.find) as server, Fetcher(tmp_path, pause_s=0.0) as fetcher:
        source = get_source(
            bounds, margin_m=0.0, server=server.url, fetcher=fetcher, folder=tmp_path
        )
    assert server.errors == []
    assert source.about.points > 300
    coast = read_source(source, coarse=default)
    box = source.box
    lon = rng.uniform(box.west - 0.1, box.east + 0.1, 4_000)
    lat = rng.uniform(box.south - 0.05, box.north + 0.05, 4_000)
    land = default.is_land(lon, lat)
    assert 0.02 < land.mean() < 0.98
    # coordinates rounded to seven decimals move by up to 8 mm
    off = np.abs(coast.distance_to_shore(lon, lat) - default.distance_to_shore(lon, lat))
    assert off.max() < 0.03
    assert (coast.is_land(lon, lat) == land)[off < default.distance_to_shore(lon, lat)].all()
    some = slice(0, 1_000)
    fetch = coast.fetch_length(lon[some], lat[some], BEARINGS)
    apart = np.abs(fetch - default.fetch_length(lon[some], lat[some], BEARINGS))
    # a ray along a shore may just miss or just meet it
    assert np.mean(apart > 0.5) < 1e-3


def test_spoilt_answers_give_sound_land_or_a_refusal(default):
    """Nodes moved, ways cut, turned, shuffled, repeated, retagged or left out at random."""
    box = Box(11.30000005, 58.20000005, 11.50000005, 58.35000005)
    osm = database_of(default, box.bounds, np.random.default_rng(0))
    text = query(box)
    request = type("Request", (), {"body": f"data={text.replace(';', '%3B')}".encode()})
    sound = json.loads(osm.find(request).content)
    other = Background("default", default.is_land)
    refused = []
    for seed in range(120):
        spoilt = _spoilt(sound, np.random.default_rng(seed))
        try:
            answer = read_answer(json.dumps(spoilt).encode(), box)
            land = land_map(answer.coast, answer.water, box, other)
        except (ValueError, CoverageError) as error:
            refused.append(str(error))
            continue
        parts = land.polygons()
        assert all(part.is_valid and part.exterior.is_ccw for part in parts)
        assert sum(part.area for part in parts) == pytest.approx(shapely.union_all(parts).area)
    assert 10 < len(refused) < 110
    assert not any("\n" in words for words in refused)


def _spoilt(sound, rng):
    spoilt = copy.deepcopy(sound)
    elements = spoilt["elements"]
    ways = [element for element in elements if element["type"] == "way"]
    nodes = [element for element in elements if element["type"] == "node"]
    for _ in range(int(rng.integers(1, 5))):
        way, node = ways[rng.integers(len(ways))], nodes[rng.integers(len(nodes))]
        refs = way["nodes"]
        cut = int(rng.integers(len(refs) + 1))
        kind = int(rng.integers(8))
        if kind == 0 and way in elements:
            elements.remove(way)
        elif kind == 1 and node in elements:
            elements.remove(node)
        elif kind == 2:
            node["lat"] += float(rng.normal()) * 0.1
        elif kind == 3:
            elements.append(copy.deepcopy(way))
        elif kind == 4 and "tags" in way:
            way["tags"]["natural"] = str(rng.choice(["coastline", "water", "bay"]))
        else:
            way["nodes"] = {
                5: refs[::-1],
                6: refs[:cut],
                7: [int(ref) for ref in rng.permutation(refs)],
            }.get(kind, refs + refs[:cut])
    return spoilt

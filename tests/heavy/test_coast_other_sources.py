"""The default coastline against other open shoreline; the figures of docs/validation/coastline.md.

    pip install roaring-landmask==0.11.0 global-land-mask==1.0.0
    pytest -m heavy -s tests/heavy/test_coast_other_sources.py

The tables are printed in Markdown. Two more files are read where ROUTEPLAN_GEO_MAPS names a
folder that holds them, unpacked from the npm registry:

    npm pack @geo-maps/earth-coastlines-10m @geo-maps/countries-coastline-1m
    for f in *.tgz; do d=${f#geo-maps-}; d=${d%-0.6.0.tgz}; mkdir $d
        tar xzf $f -C $d --strip-components=1; done

Sources, accessed 2026-11-25:

- roaring-landmask 0.11.0 (MIT; https://github.com/gauteh/roaring-landmask): polygons of land of
  GSHHG, and of OpenStreetMap (© OpenStreetMap contributors, ODbL 1.0), the latter simplified, by
  default of its script by up to 0.0005 degrees.
- global-land-mask 1.0.0 (MIT; https://github.com/toddkarin/global-land-mask): cells of half a
  minute, from NOAA's elevation model GLOBE 1.0.
- @geo-maps 0.6.0 (OpenStreetMap of 2017 without its small islands, ODbL 1.0;
  https://github.com/simonepri/geo-maps).
"""

import itertools
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pyogrio
import pytest
import shapely
from _coasts import coast_of

from routeplan._shore import gshhg
from routeplan.coastline import Coastline

pytestmark = pytest.mark.heavy

SEED = 20261125
LIMIT_M = 1_000.0
NOMINAL_M = 500.0
CLASSES_M = (0.0, 500.0, 1_000.0, 2_000.0, 5_000.0, np.inf)
ARCHIPELAGOS = {  # west, south, east, north
    "Bohuslän": (10.9, 57.7, 11.9, 59.1),
    "Archipelago Sea": (21.0, 59.7, 23.0, 60.6),
    "Dalmatia": (14.5, 42.8, 17.0, 44.3),
    "British Columbia": (-127.5, 50.0, -124.5, 51.2),
}


@pytest.fixture(scope="module")
def coast():
    return Coastline.default()


@pytest.fixture(scope="module")
def roaring():
    return pytest.importorskip("roaring_landmask", reason="needs roaring-landmask")


@pytest.fixture(scope="module")
def globe():
    package = pytest.importorskip("global_land_mask", reason="needs global-land-mask")
    return package.globe


@pytest.fixture(scope="module")
def osm(roaring):
    """OpenStreetMap's land: polygons, and the coastline made of them."""
    whole = shapely.from_wkb(roaring.Shapes.wkb(roaring.LandmaskProvider.Osm))
    parts = shapely.get_parts(whole)
    return SimpleNamespace(parts=parts, coast=coast_of(parts))


@pytest.fixture(scope="module")
def places(coast):
    """100,000 places on the whole Earth and 100,000 within 20 km of a shore, all of equal area."""
    rng = np.random.default_rng(SEED)
    near = [np.empty((2, 0))]
    while sum(rows.shape[1] for rows in near) < 100_000:
        lon, lat = on_the_sphere(rng, 500_000, (-180.0, -90.0, 180.0, 90.0))
        kept = coast.distance_to_shore(lon, lat) < 20_000.0
        near.append(np.stack([lon[kept], lat[kept]]))
    anywhere = np.stack(on_the_sphere(rng, 100_000, (-180.0, -90.0, 180.0, 90.0)))
    found = {"anywhere": anywhere, "near": np.concatenate(near, axis=1)[:, :100_000]}
    return {name: described(coast, *lonlat) for name, lonlat in found.items()}


def on_the_sphere(rng, count, box):
    west, south, east, north = box
    sines = rng.uniform(np.sin(np.radians(south)), np.sin(np.radians(north)), count)
    return rng.uniform(west, east, count), np.degrees(np.arcsin(sines))


def described(coast, lon, lat):
    return SimpleNamespace(
        lon=lon, lat=lat, land=coast.is_land(lon, lat), shore_m=coast.distance_to_shore(lon, lat)
    )


def off_the_cut(lon):
    """Not about the antimeridian: land is cut there, unlike points on the two sides of the cut.

    `Coastline.from_file` mends that, the way of building a coastline here does not.
    """
    return np.abs(lon) < 179.0


def table(title, *heads):
    sys.stdout.write(f"\n\n{title}\n\n| {' | '.join(heads)} |\n|{'---|' * len(heads)}\n")


def row(*cells):
    sys.stdout.write(f"| {' | '.join(str(cell) for cell in cells)} |\n")


def share(flags):
    return f"{100.0 * np.mean(flags):.2f} %" if len(flags) else "-"


def quantiles(values, *of):
    return [f"{value:,.0f}" for value in np.percentile(values, of)]


# Land and water ------------------------------------------------------------------------------


def kinds(at, inland):
    """Where to look for the reason of a disagreement; each place is of one kind."""
    antarctica = at.lat < -60.0
    caspian = (at.lon > 46.0) & (at.lon < 55.0) & (at.lat > 36.0) & (at.lat < 47.5)
    lake = ~at.land & inland & ~antarctica & ~caspian
    rest = ~antarctica & ~caspian & ~lake
    return {"Antarctica": antarctica, "Caspian": caspian, "lake or river": lake, "rest": rest}


@pytest.fixture(scope="module")
def land_of_others(roaring, globe, places):
    """What three other sources say at the places."""
    said = {}
    for name, at in places.items():
        lat, lon = at.lat, at.lon
        said[name] = {"GLOBE": globe.is_land(lat, lon)}
    for label, provider in (
        ("GSHHG", roaring.LandmaskProvider.Gshhg),
        ("OpenStreetMap", roaring.LandmaskProvider.Osm),
    ):
        shapes = roaring.Shapes.new(provider)  # its raster, asked first elsewhere, drops islets
        for name, at in places.items():
            said[name][label] = np.asarray(shapes.contains_many(at.lon, at.lat))
    return said


def test_land_by_openstreetmap_is_what_geos_makes_of_its_polygons(osm, places, land_of_others):
    for name, at in places.items():
        ours = osm.coast.is_land(at.lon, at.lat)
        differs = ours != land_of_others[name]["OpenStreetMap"]
        assert np.sum(differs & off_the_cut(at.lon)) == 0


def test_land_and_water_are_those_of_other_sources(places, land_of_others):
    table("Land and water", "places", "source", "agree", "kind", "places", "agree", "w/l", "l/w")
    agreed = {}
    for name, at in places.items():
        inland = land_of_others[name]["GSHHG"]  # the outlines of land, lakes and all
        for label, other in land_of_others[name].items():
            same = other == at.land
            for kind, here in kinds(at, inland).items():
                agreed[name, label, kind] = same[here].mean()
                missed = [np.sum(~same & here & (at.land == land)) for land in (False, True)]
                row(name, label, share(same), kind, here.sum(), share(same[here]), *missed)
    # The same data: our geometry and that of GEOS must not differ at a single place.
    assert agreed["anywhere", "GSHHG", "rest"] == agreed["near", "GSHHG", "rest"] == 1.0
    for label in ("GLOBE", "OpenStreetMap"):
        assert agreed["anywhere", label, "rest"] > 0.998
        assert agreed["near", label, "rest"] > 0.98


def test_disagreement_about_land_fades_with_distance_from_shore(places, land_of_others):
    table("Without lakes, Caspian, Antarctica", "places", "source", *map(str, CLASSES_M[:-1]))
    for name, at in places.items():
        rest = kinds(at, land_of_others[name]["GSHHG"])["rest"]
        for label, other in land_of_others[name].items():
            same, numbers = [], []
            for low, high in itertools.pairwise(CLASSES_M):
                here = rest & (at.shore_m >= low) & (at.shore_m < high)
                same.append((other == at.land)[here].mean())
                numbers.append(here.sum())
            pairs = zip(same, numbers, strict=True)
            row(name, label, *(f"{100 * agreed:.2f} % of {count}" for agreed, count in pairs))
            if label != "GSHHG":
                assert same[0] < same[1] < same[2]  # at the shore they differ, or it is one source
                assert same[0] > 0.7
                assert min(same[2:]) > 0.96


# Distance ------------------------------------------------------------------------------------


def filled(coast, box):
    """Outlines of land in a box: the sea is what is outside of all of them."""
    land = coast.land_polygons(*box)
    outlines = shapely.polygons([shapely.get_exterior_ring(part) for part in land])
    shapely.prepare(outlines)
    inner = shapely.point_on_surface(outlines)
    one, other = shapely.STRtree(inner).query(outlines, predicate="contains")
    return np.delete(outlines, np.unique(other[one != other]))


def sea_places(coast, box, count):
    """Places of equal area at sea, up to 10 km from shore by the default."""
    rng = np.random.default_rng(SEED)
    west, south, east, north = box
    land = filled(coast, (west - 0.3, south - 0.2, east + 0.3, north + 0.2))
    found = np.empty((2, 0))
    while found.shape[1] < count:
        lon, lat = on_the_sphere(rng, 4 * count, box)
        _, inside = shapely.STRtree(shapely.points(lon, lat)).query(land, predicate="contains")
        sea = np.ones(len(lon), bool)
        sea[inside] = False
        sea[sea] = coast.distance_to_shore(lon[sea], lat[sea]) <= 10_000.0
        found = np.concatenate([found, np.stack([lon[sea], lat[sea]])], axis=1)
    return found[:, :count]


def offshore(coast, lon, lat):
    """Distance from shore as legs have it: 0 on land [m]."""
    return np.where(coast.is_land(lon, lat), 0.0, coast.distance_to_shore(lon, lat))


DISTANCE_HEADS = (
    "where", "places", "land there", "there less here", "abs 50", "abs 90", "abs 99",
    "within 1,000 m here", "of these beyond there", "and not `close`",
    "of those beyond here within there",
)  # fmt: skip


def compared(label, ours_m, there_m):
    """One row of the table of distances; shares of verdicts at 1,000 m that differ."""
    difference = there_m - ours_m
    within = ours_m <= LIMIT_M
    nearer = there_m[within] > LIMIT_M
    unflagged = nearer & (ours_m[within] + NOMINAL_M <= LIMIT_M)
    middle, *large = np.percentile(np.abs(difference), (50, 90, 99))
    row(
        label, len(ours_m), share(there_m == 0.0), f"{np.median(difference):,.0f}",
        f"{middle:,.0f}", *(f"{value:,.0f}" for value in large),
        share(within), share(nearer), share(unflagged), share(there_m[~within] <= LIMIT_M),
    )  # fmt: skip
    return SimpleNamespace(median_m=middle, nearer=nearer.mean(), unflagged=unflagged.mean())


def test_distances_in_archipelagos_are_those_of_openstreetmap(coast, osm):
    table("Distance from shore", *DISTANCE_HEADS)
    for name, box in ARCHIPELAGOS.items():
        lon, lat = sea_places(coast, box, 10_000)
        found = compared(name, offshore(coast, lon, lat), offshore(osm.coast, lon, lat))
        assert found.median_m < 250.0
        assert found.nearer < 0.1
        assert found.unflagged < 0.01


def test_distances_anywhere_are_those_of_openstreetmap(coast, osm, places, land_of_others):
    at = places["near"]
    sea = ~at.land & ~land_of_others["near"]["GSHHG"] & (at.lat > -60.0) & (at.shore_m < 10_000.0)
    sea &= off_the_cut(at.lon)
    sea &= np.abs(at.lon) < 179.9  # where OpenStreetMap's land is cut
    table("Distance from shore anywhere", *DISTANCE_HEADS)
    for label, here in regions(at).items():
        lon, lat = at.lon[sea & here], at.lat[sea & here]
        found = compared(label, offshore(coast, lon, lat), offshore(osm.coast, lon, lat))
        assert found.median_m < 350.0
        assert found.unflagged < 0.1


def regions(at):
    """Boxes that say only roughly where a place is."""
    north, lon = (at.lat >= 25.0) & (at.lat < 60.0), at.lon
    found = {
        "Europe, 25 N to 60 N, 15 W to 45 E": north & (lon > -15.0) & (lon < 45.0),
        "North America, 25 N to 60 N, 170 W to 50 W": north & (lon > -170.0) & (lon < -50.0),
        "north of 60 N": at.lat >= 60.0,
        "25 S to 25 N": np.abs(at.lat) < 25.0,
        "60 S to 25 S": (at.lat >= -60.0) & (at.lat < -25.0),
    }
    return {**found, "all north of 60 S": at.lat >= -60.0}


# Shoreline to shoreline ----------------------------------------------------------------------


def vertices_in(outlines, box):
    """Vertices of outlines inside a box, without those where the box cuts them."""
    west, south, east, north = np.array(box) + np.array([1, 1, -1, -1]) * 1e-6
    lon, lat = shapely.get_coordinates(outlines).T
    inside = (lon > west) & (lon < east) & (lat > south) & (lat < north)
    return lon[inside], lat[inside]


def test_shorelines_in_archipelagos_lie_where_openstreetmap_has_them(coast, osm):
    table("Shoreline to shoreline", "where", "from", "vertices", "50", "90", "99", "beyond 500 m")
    table_of_islands = []
    tree = shapely.STRtree(osm.parts)
    for name, box in ARCHIPELAGOS.items():
        ours = filled(coast, box)
        theirs = osm.parts[tree.query(shapely.box(*box))]
        outlines = shapely.get_exterior_ring(theirs)
        lon, lat = vertices_in(ours, box)
        there = osm.coast.distance_to_shore(lon, lat)
        row(name, "default", len(lon), *quantiles(there, 50, 90, 99), share(there > NOMINAL_M))
        assert np.mean(there <= NOMINAL_M) > 0.98
        lon, lat = vertices_in(outlines, box)
        back = coast.distance_to_shore(lon, lat)
        row(name, "OSM", len(lon), *quantiles(back, 50, 90, 99), share(back > NOMINAL_M))
        table_of_islands.append((name, *islands(ours, theirs, box)))
    table("Islands", "where", "default", "OSM", "OSM without default", "largest of these m²")
    for cells in table_of_islands:
        row(*cells)


def islands(ours, theirs, box):
    """Numbers of islands in a box, and of those of the other source that the default lacks."""
    frame = shapely.box(*box)
    shapely.prepare(frame)
    small = theirs[shapely.contains_properly(frame, theirs)]
    met, _ = shapely.STRtree(small).query(ours, predicate="intersects")[::-1]
    missing = np.delete(small, np.unique(met))
    largest = 0.0
    for part in missing[np.argsort(-shapely.area(missing))[:50]]:
        squeeze = np.cos(np.radians(part.centroid.y))
        largest = max(largest, part.area * squeeze * 111_200.0**2)
    own = shapely.contains_properly(frame, ours).sum()
    return own, len(small), len(missing), f"{largest:,.0f}"


def along(rng, lonlat, offsets, count):
    """Places on rings, of equal length of shoreline."""
    start, end = lonlat[:-1].astype(float), lonlat[1:].astype(float)
    real = np.ones(len(start), bool)
    real[np.asarray(offsets[1:-1]) - 1] = False  # from one ring to the next
    squeeze = np.cos(np.radians((start[:, 1] + end[:, 1]) / 2.0))
    length = np.hypot((end[:, 0] - start[:, 0]) * squeeze, end[:, 1] - start[:, 1])
    real &= off_the_cut(start[:, 0]) & off_the_cut(end[:, 0]) & (start[:, 1] > -60.0)
    weight = np.where(real, length, 0.0)
    edge = rng.choice(len(start), count, p=weight / weight.sum())
    part = rng.uniform(0.0, 1.0, (count, 1))
    return (start[edge] + part * (end[edge] - start[edge])).T


def test_most_of_the_shoreline_lies_within_the_nominal_error(coast, osm):
    """The specification of World Vector Shoreline asks for 90 % within 500 m (from memory)."""
    rng = np.random.default_rng(SEED)
    rings = gshhg.read_rings(*gshhg.data_files())
    land = np.repeat(rings.level == 1, np.diff(rings.offsets))
    sizes = np.diff(rings.offsets)[rings.level == 1]
    own = along(rng, rings.lonlat[land], np.concatenate([[0], np.cumsum(sizes)]), 100_000)
    outlines = shapely.get_exterior_ring(osm.parts)
    sizes = shapely.get_num_coordinates(outlines)
    points = shapely.get_coordinates(outlines)
    theirs = along(rng, points, np.concatenate([[0], np.cumsum(sizes)]), 100_000)
    heads = ("from", "where", "n", "50", "90", "99", "beyond 500 m", "on land there", "rest beyond")
    table("Shoreline to shoreline anywhere", *heads)
    for name, (lon, lat), other in (("default", own, osm.coast), ("OSM", theirs, coast)):
        away, inland = other.distance_to_shore(lon, lat), other.is_land(lon, lat)
        for label, here in regions(SimpleNamespace(lon=lon, lat=lat)).items():
            beyond = away > NOMINAL_M
            row(
                name, label, here.sum(), *quantiles(away[here], 50, 90, 99), share(beyond[here]),
                share((beyond & inland)[here]), share(beyond[here & ~inland]),
            )  # fmt: skip
            if name == "default":
                assert np.mean(beyond[here]) < 0.3


# Reading another file ------------------------------------------------------------------------

READ = """
import pathlib, re, sys, time
from routeplan.coastline import Coastline
start = time.perf_counter()
coast = Coastline.from_file(sys.argv[1], bounds=(10.4, 57.4, 12.4, 59.4))
seconds = time.perf_counter() - start
# Linux. What getrusage gives starts from the parent's peak.
peak_kb = re.search(r"VmHWM:\\s+(\\d+) kB", pathlib.Path("/proc/self/status").read_text())[1]
print(seconds, time.process_time(), int(peak_kb) / 1e3)
print(*coast.distance_to_shore([11.0, 11.2, 11.1], [58.3, 58.0, 58.7]))
"""
READ_HEADS = ("file", "MB", "s", "CPU s", "peak MB")


def read_in_a_process(path, label, timeout_s):
    run = subprocess.run(
        [sys.executable, "-c", READ, str(path)],
        capture_output=True, text=True, timeout=timeout_s, check=True,
    )  # fmt: skip
    figures, distances = run.stdout.splitlines()
    seconds, cpu_s, peak_mb = map(float, figures.split())
    size_mb = path.stat().st_size / 1e6
    row(label, f"{size_mb:.0f}", f"{seconds:.1f}", f"{cpu_s:.1f}", f"{peak_mb:.0f}")
    at = np.array(distances.split(), float)
    return SimpleNamespace(seconds=seconds, cpu_s=cpu_s, peak_mb=peak_mb, at=at)


def written(parts, path):
    """Polygons in a FlatGeobuf."""
    pyogrio.raw.write(
        path, geometry=shapely.to_wkb(parts), field_data=[], fields=[], crs="EPSG:4326",
        geometry_type="Polygon", driver="FlatGeobuf",
    )  # fmt: skip
    return path


@pytest.fixture(scope="module")
def osm_file(osm, tmp_path_factory):
    """OpenStreetMap's land as one would have it: a file of the whole Earth."""
    return written(osm.parts, tmp_path_factory.mktemp("osm") / "land.fgb")


def maps_of_2017(name):
    folder = os.environ.get("ROUTEPLAN_GEO_MAPS")
    path = Path(folder or ".") / name / "map.geo.json"
    if not folder or not path.exists():
        pytest.skip(f"needs @geo-maps/{name} in the folder that ROUTEPLAN_GEO_MAPS names")
    return path


def test_a_file_of_the_whole_earth_is_read_in_a_box_in_seconds(osm, osm_file):
    table("Coastline.from_file", *READ_HEADS)
    read = read_in_a_process(osm_file, "all", 120.0)
    assert read.peak_mb < 1_000.0
    assert read.cpu_s < 30.0
    there = osm.coast.distance_to_shore([11.0, 11.2, 11.1], [58.3, 58.0, 58.7])
    np.testing.assert_allclose(read.at, there, atol=0.01)


def test_islands_of_a_file_of_the_whole_earth_are_read_in_a_box_in_seconds(osm, tmp_path):
    table("Coastline.from_file, islands", *READ_HEADS)
    small = osm.parts[shapely.get_num_coordinates(osm.parts) < 10_000]
    path = written(small, tmp_path / "islands.fgb")
    read = read_in_a_process(path, "islands", 120.0)
    assert read.peak_mb < 1_000.0
    assert read.cpu_s < 30.0


@pytest.mark.parametrize("name", ["countries-coastline-1m", "earth-coastlines-10m"])
def test_a_geojson_of_the_whole_earth_is_read_in_a_box(name):
    path = maps_of_2017(name)
    table("Coastline.from_file, GeoJSON", *READ_HEADS)
    assert read_in_a_process(path, name, 150.0).peak_mb < 6_000.0


def test_an_older_generalised_source_lies_where_the_default_does(coast):
    """OpenStreetMap of 2017 without small islands: no judge of distances, but of position."""
    path = maps_of_2017("earth-coastlines-10m")
    shapes = shapely.from_geojson(path.read_text())
    parts = shapely.get_parts(shapely.get_parts(shapes))
    other = coast_of(parts)
    tree = shapely.STRtree(parts)
    table("To and from @geo-maps", "where", "from", "islands", "vertices", "50", "90", "99")
    for name, box in ARCHIPELAGOS.items():
        ours, theirs = filled(coast, box), parts[tree.query(shapely.box(*box))]
        away = other.distance_to_shore(*vertices_in(ours, box))
        row(name, "default", len(ours), len(away), *quantiles(away, 50, 90, 99))
        away = coast.distance_to_shore(*vertices_in(shapely.get_exterior_ring(theirs), box))
        row(name, "@geo-maps", len(theirs), len(away), *quantiles(away, 50, 90, 99))
        assert np.median(away) < 150.0

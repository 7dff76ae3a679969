"""Coastlines from the user's own files: formats, reference systems, faults."""

import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import Geod, Transformer

from routeplan.coastline import Coastline
from routeplan.errors import CoverageError, InputError

ISLAND = shapely.box(10.0, 58.0, 10.2, 58.1)
FAR_ISLAND = shapely.box(20.0, 58.0, 20.2, 58.1)
NORTH_M = Geod(ellps="WGS84").line_length([10.1, 10.1], [58.1, 58.15])
DEGREE_M = NORTH_M / 0.05


@pytest.fixture
def write(tmp_path):
    def write(*shapes, name="coast.gpkg", crs="EPSG:4326", kind="Polygon", layer="coast", **more):
        path = tmp_path / name
        layer_name = {"layer": layer} if name.endswith("gpkg") else {}
        pyogrio.raw.write(
            path,
            shapely.to_wkb(np.array(shapes, dtype=object)),
            field_data=[],
            fields=[],
            crs=crs,
            geometry_type=kind,
            **layer_name,
            **more,
        )
        return path

    return write


def north_of_island(coast):
    """A place 0.05 degrees north of the island's north side."""
    return coast.distance_to_shore(10.1, 58.15)


@pytest.mark.parametrize("name", ["coast.gpkg", "coast.shp", "coast.geojson", "coast.fgb"])
def test_formats_give_one_answer(write, name):
    coast = Coastline.from_file(write(ISLAND, name=name), nominal_error_m=20.0)
    assert north_of_island(coast) == pytest.approx(NORTH_M, abs=1.0)
    assert coast.is_land(10.1, 58.05)
    assert not coast.is_land(10.1, 58.15)
    assert coast.nominal_error_m == 20.0
    assert coast.knows_land
    assert name in coast.source


@pytest.mark.parametrize("crs", ["EPSG:3006", "EPSG:3857", "EPSG:5513", "EPSG:3413"])
def test_projected_layers_keep_their_shores(write, crs):
    # 5513 has axes to the south and west, 3413 is polar stereographic
    convert = Transformer.from_crs(4326, crs, always_xy=True).transform
    dense = shapely.segmentize(ISLAND, 0.001)
    projected = shapely.transform(dense, lambda p: np.column_stack(convert(p[:, 0], p[:, 1])))
    coast = Coastline.from_file(write(projected, crs=crs, name="coast.gpkg"))
    assert north_of_island(coast) == pytest.approx(NORTH_M, abs=1.0)
    assert coast.is_land(10.1, 58.05)
    assert not coast.is_land(10.1, 58.15)


def test_error_of_position_is_unknown_unless_given(write):
    path = write(ISLAND)
    assert np.isnan(Coastline.from_file(path).nominal_error_m)
    with pytest.raises(InputError, match="nominal_error_m"):
        Coastline.from_file(path, nominal_error_m=-1.0)


def test_holes_are_lakes_and_islands_in_them_land(write):
    lake = shapely.box(10.05, 58.02, 10.15, 58.08)
    islet = shapely.box(10.09, 58.04, 10.11, 58.06)
    pond = shapely.box(10.098, 58.048, 10.102, 58.052)
    coast = Coastline.from_file(write(ISLAND.difference(lake), islet.difference(pond)))
    lon, lat = [10.02, 10.07, 10.095, 10.1, 10.3], [58.05] * 5
    np.testing.assert_array_equal(coast.is_land(lon, lat), [True, False, True, False, False])
    area = sum(p.area for p in coast.land_polygons(9.9, 57.9, 10.4, 58.2))
    assert area == pytest.approx(0.02 - 0.006 + 0.0004 - 0.000016, rel=1e-9)


def test_sides_where_tiles_touch_or_overlap_are_not_shore(write):
    west, east = shapely.box(10.0, 58.0, 10.1, 58.1), shapely.box(10.1, 58.0, 10.2, 58.1)
    north = shapely.box(10.0, 58.09, 10.2, 58.12)
    coast = Coastline.from_file(write(west, east, north))
    assert coast.distance_to_shore(10.1, 58.06) == pytest.approx(
        coast.distance_to_shore(10.09, 58.06), rel=0.2
    )
    assert coast.distance_to_shore(10.1, 58.06) > 5_000
    assert coast.crosses_land([10.1, 10.1], [57.9, 58.2]) == [
        (pytest.approx(0.1 * DEGREE_M, abs=10), pytest.approx(0.22 * DEGREE_M, abs=10))
    ]


def test_polygons_that_cross_themselves_are_repaired_and_told(write):
    bow_tie = shapely.Polygon([(10, 58), (10.2, 58.1), (10.2, 58), (10, 58.1)])
    coast = Coastline.from_file(write(bow_tie))
    assert "1 invalid polygons repaired" in coast.source
    assert coast.is_land(10.02, 58.05)
    assert coast.is_land(10.18, 58.05)
    assert not coast.is_land(10.1, 58.09)


def test_closed_lines_are_shores_of_land(write):
    path = write(ISLAND.exterior, shapely.box(10.05, 58.02, 10.15, 58.08).exterior,
                 kind="LineString")  # fmt: skip
    coast = Coastline.from_file(path)
    assert coast.knows_land
    assert coast.is_land(10.02, 58.05)
    assert not coast.is_land(10.1, 58.05)


def test_chains_that_join_to_a_ring_tell_land(write):
    a = shapely.LineString([(10, 58), (10.2, 58), (10.2, 58.1)])
    b = shapely.LineString([(10, 58), (10, 58.1), (10.2, 58.1)])
    assert Coastline.from_file(write(a, b, kind="LineString")).is_land(10.1, 58.05)


def test_open_lines_give_distance_and_fetch_but_no_land(write):
    shore = shapely.LineString([(10.0, 58.1), (10.2, 58.1)])
    coast = Coastline.from_file(write(shore, kind="LineString"))
    assert not coast.knows_land
    assert "2 open ends" in coast.source
    assert north_of_island(coast) == pytest.approx(NORTH_M, abs=1.0)
    fetch = coast.fetch_length(10.1, 58.15, [0.0, 180.0], limit_m=50_000.0)[0]
    assert fetch == pytest.approx([50_000.0, NORTH_M], abs=1.0)
    with pytest.raises(InputError, match="do not tell land from water"):
        coast.is_land(10.1, 58.15)
    with pytest.raises(InputError, match="do not tell land from water"):
        coast.land_polygons(10, 58, 11, 59)
    crossed = coast.crosses_land([10.1, 10.1], [58.15, 58.05])
    assert crossed == [(pytest.approx(NORTH_M, abs=1.0),) * 2]


def test_only_what_meets_the_bounds_is_read(write):
    path = write(ISLAND, FAR_ISLAND)
    near = Coastline.from_file(path, bounds=(9.0, 57.0, 11.0, 59.0))
    assert near.distance_to_shore(20.1, 58.05) > 500_000
    assert Coastline.from_file(path).distance_to_shore(20.1, 58.05) < 6_000
    with pytest.raises(CoverageError, match="nothing within") as caught:
        Coastline.from_file(path, bounds=(0.0, 0.0, 1.0, 1.0))
    assert caught.value.bounds == (0.0, 0.0, 1.0, 1.0)
    with pytest.raises(InputError, match="south below"):
        Coastline.from_file(path, bounds=(9.0, 59.0, 11.0, 57.0))


def test_bounds_are_carried_into_the_layers_own_system(write):
    convert = Transformer.from_crs(4326, 3006, always_xy=True).transform
    shapes = [
        shapely.transform(s, lambda p: np.column_stack(convert(p[:, 0], p[:, 1])))
        for s in (ISLAND, FAR_ISLAND)
    ]
    coast = Coastline.from_file(write(*shapes, crs="EPSG:3006"), bounds=(19.0, 57.0, 21.0, 59.0))
    assert coast.is_land(20.1, 58.05)
    assert not coast.is_land(10.1, 58.05)


def test_a_cut_at_the_antimeridian_is_no_shore(write):
    # the eastern half has a point on the cut that the western half lacks
    west = shapely.Polygon([(179, -17), (180, -17), (180, -16), (179, -16)])
    east = shapely.Polygon([(-180, -17), (-179, -17), (-179, -16), (-180, -16), (-180, -16.4)])
    for bounds in (None, (178.0, -18.0, 179.9, -15.0), (179.5, -18.0, -179.5, -15.0)):
        coast = Coastline.from_file(write(west, east), bounds=bounds)
        assert coast.is_land([180.0, -180.0, 179.99, -179.99], [-16.5] * 4).all()
        assert coast.distance_to_shore(180.0, -16.5) > 50_000
        assert (coast.distance_to_shore([179.99, -179.99], -16.5) > 50_000).all()
        (land,) = coast.land_polygons(178.0, -18.0, -178.0, -15.0)
        assert land.bounds == (179.0, -17.0, 181.0, -16.0)


def test_land_around_a_pole_in_a_polar_projection(write):
    # a circle of 1,000 km true to scale at 71 S, so about 80.8 S
    circle = shapely.Point(0, 0).buffer(1_000_000.0, quad_segs=256)
    coast = Coastline.from_file(write(circle, crs="EPSG:3031"))
    assert coast.is_land([0.0, 90.0, 180.0, -90.0, 45.0], [-90.0, -85.0, -82.0, -82.0, -81.5]).all()
    assert not coast.is_land([0.0, 90.0, 180.0], [-75.0, -80.0, -60.0]).any()
    around = coast.distance_to_shore(np.arange(-180.0, 181.0, 7.5), -85.0)
    assert np.ptp(around) < 40.0  # the circle is a polygon of 1,024 sides


def test_a_layer_without_reference_system_is_taken_as_degrees_if_it_can_be(write):
    with pytest.warns(UserWarning, match="crs"):
        path = write(ISLAND, crs=None)
    assert "CRS not stated" in Coastline.from_file(path).source
    with pytest.warns(UserWarning, match="crs"):
        path = write(shapely.box(600_000, 6_400_000, 610_000, 6_410_000), crs=None, name="b.gpkg")
    with pytest.raises(InputError, match="states no CRS"):
        Coastline.from_file(path)


def test_one_of_several_layers_must_be_chosen(write):
    write(ISLAND)
    path = write(FAR_ISLAND, layer="second", append=False)
    with pytest.raises(InputError, match="choose one with `layer`; layers: coast, second"):
        Coastline.from_file(path)
    assert Coastline.from_file(path, layer="second").is_land(20.1, 58.05)
    assert Coastline.from_file(path, layer=0).is_land(10.1, 58.05)
    with pytest.raises(InputError, match="no layer 'third'"):
        Coastline.from_file(path, layer="third")


@pytest.mark.parametrize(
    ("content", "complaint"),
    [
        (b"", "not a file of polygons or lines"),
        (b"not a map at all", "not a file of polygons or lines"),
        (b'{"type": "FeatureCollection", "features": []}', "no polygons or lines|layers: none"),
        (b'{"type":"Point","coordinates":[1,2]}', "no polygons or lines|layers: none"),
        (b'{"type":"Polygon","coordinates":[[[0,0],[1,1],[0,0]]]}', "no polygon|no shoreline"),
        (b'{"type":"Polygon","coordinates":[[[0,0],[1,NaN],[1,1],[0,0]]]}', "finite|not a file"),
        (b'{"type":"Polygon","coordinates":[[[0,0],[900,0],[900,9],[0,0]]]}', "outside longitude"),
    ],
)
def test_faulty_files_are_refused_in_one_line(tmp_path, content, complaint):
    path = tmp_path / "coast.geojson"
    path.write_bytes(content)
    with pytest.raises(InputError, match=complaint) as caught:
        Coastline.from_file(path)
    assert "\n" not in str(caught.value)
    assert str(path) in str(caught.value) or "no shoreline" in str(caught.value)


def test_missing_files_and_folders_are_refused(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        Coastline.from_file(tmp_path / "none.gpkg")
    with pytest.raises(InputError, match=r"not a file|cannot be read|layers"):
        Coastline.from_file(tmp_path)


def test_a_truncated_file_is_refused(write):
    path = write(ISLAND, name="coast.shp")
    whole = path.read_bytes()
    path.write_bytes(whole[:110])
    with pytest.raises(InputError, match=r"coast\.shp"):
        Coastline.from_file(path)

"""Coastline ways and water areas to land: hand-made cases, and shapely as an oracle.

The rule of direction, land on the left and water on the right of a way, is that of
wiki.openstreetmap.org/wiki/Tag:natural=coastline (accessed 2026-11-25).
"""

import numpy as np
import pytest
import shapely
from _coasts import coast_of, in_ways, islands, star

from routeplan._osm.land import Background, land_map
from routeplan._osm.rings import clip_chain, coast_rings, join_edges, signed_area
from routeplan._osm.water import WaterArea
from routeplan._shore.coastbox import Box, box_of_bounds
from routeplan.errors import CoverageError, InputError

BOX = Box(0.0, 0.0, 10.0, 10.0)
METRE = 1.0 / 110_576.0  # of latitude near the equator, in degrees
SEA = Background("the other one", lambda lon, _lat: np.zeros(np.shape(lon), bool))
LAND = Background("the other one", lambda lon, _lat: np.ones(np.shape(lon), bool))


def way(*points):
    return np.array(points, dtype=float)


def closed(*points):
    return way(*points, points[0])


def square(west, south, side):
    east, north = west + side, south + side
    return closed((west, south), (east, south), (east, north), (west, north))


def land_of(ways, water=(), box=BOX, background=None):
    return land_map(ways, water, box, background)


def whole(land):
    return shapely.union_all(land.polygons())


def same(land, expected):
    return shapely.symmetric_difference(whole(land), expected).area < 1e-12


def shore_edges(land):
    return sum(len(chain) - 1 for chain in land.chains())


# --- the coast alone


def test_island_is_land():
    land = land_of([square(2, 3, 4)])
    assert same(land, shapely.box(2, 3, 6, 7))
    assert shore_edges(land) == 4
    assert not land.invented.any()


def test_clockwise_ring_in_land_is_a_sea():
    land = land_of([square(2, 3, 4)[::-1]])
    assert same(land, shapely.box(0, 0, 10, 10) - shapely.box(2, 3, 6, 7))
    assert shore_edges(land) == 4
    assert land.invented.sum() == 4


def test_peninsula_is_closed_along_the_box():
    land = land_of([way((6, -1), (6, 5), (3, 5), (3, -1))])
    assert same(land, shapely.box(3, 0, 6, 5))
    assert shore_edges(land) == 3
    (chain,) = land.chains()
    assert chain.tolist() == [[6, 0], [6, 5], [3, 5], [3, 0]]


def test_peninsula_of_water_is_a_fjord():
    land = land_of([way((3, -1), (3, 5), (6, 5), (6, -1))])
    assert same(land, shapely.box(0, 0, 10, 10) - shapely.box(3, 0, 6, 5))
    assert shore_edges(land) == 3


def test_strait_between_two_mainlands():
    west, east = way((3, -1), (3, 11)), way((7, 11), (7, -1))
    land = land_of([west, east])
    assert same(land, shapely.union(shapely.box(0, 0, 3, 10), shapely.box(7, 0, 10, 10)))
    assert shore_edges(land) == 2


def test_isthmus_between_two_seas():
    land = land_of([way((3, 11), (3, -1)), way((7, -1), (7, 11))])
    assert same(land, shapely.box(3, 0, 7, 10))


def test_chain_that_leaves_and_comes_back():
    land = land_of([way((2, -1), (2, 4), (-2, 4), (-2, 6), (2, 6), (2, 11))])
    left = shapely.union(shapely.box(0, 0, 2, 4), shapely.box(0, 6, 2, 10))
    assert same(land, left)
    assert len(land.chains()) == 2


def test_one_chain_across_a_corner():
    land = land_of([way((-1, 8), (2, 11))])
    assert whole(land).area == pytest.approx(0.5, abs=1e-12)
    assert same(land, shapely.Polygon([(0, 9), (1, 10), (0, 10)]))
    other = land_of([way((2, 11), (-1, 8))])
    assert whole(other).area == pytest.approx(99.5, abs=1e-12)


def test_ring_that_touches_a_corner_from_inside():
    land = land_of([closed((0, 0), (4, 1), (1, 4))])
    assert same(land, shapely.Polygon([(0, 0), (4, 1), (1, 4)]))
    assert shore_edges(land) == 3


def test_ring_that_touches_a_corner_from_outside_is_nothing():
    land = land_of([closed((0, 0), (-4, -1), (-1, -4)), square(4, 4, 1)])
    assert same(land, shapely.box(4, 4, 5, 5))


def test_ring_with_a_side_on_the_side_of_the_box():
    land = land_of([square(0, 3, 2)])
    assert same(land, shapely.box(0, 3, 2, 5))
    assert shore_edges(land) == 3
    assert land.invented.sum() == 1


def test_box_inside_an_island():
    land = land_of([square(-5, -5, 30)], background=LAND)
    assert same(land, shapely.box(0, 0, 10, 10))
    assert land.chains() == []
    assert "no coastline lies in the box" in land.notes[0]
    assert "taken from the other one" in land.notes[0]


def test_box_in_a_bay_without_coast():
    land = land_of([], background=SEA)
    assert land.polygons() == []
    assert "is sea" in land.notes[0]


def test_box_without_coast_is_refused_where_nothing_decides():
    with pytest.raises(CoverageError, match="whether it is land or sea cannot be told"):
        land_of([])


def test_box_without_coast_is_refused_where_the_other_source_has_coast():
    half = Background("the other one", lambda lon, _lat: lon > 5.0)
    with pytest.raises(CoverageError, match="by the other one 50% of it is land"):
        land_of([], background=half)


def test_sea_on_an_island_with_an_island_in_it():
    rings = [square(1, 1, 8), square(2, 2, 6)[::-1], square(3, 3, 4)]
    land = land_of(rings)
    expected = shapely.box(1, 1, 9, 9) - shapely.box(2, 2, 8, 8) | shapely.box(3, 3, 7, 7)
    assert same(land, expected)
    assert shore_edges(land) == 12


def test_sea_in_the_mainland():
    land = land_of([way((5, -1), (5, 11)), square(1, 1, 2)[::-1]])
    assert same(land, shapely.box(0, 0, 5, 10) - shapely.box(1, 1, 3, 3))


def test_island_drawn_the_wrong_way_round_stays_land():
    land = land_of([square(1, 1, 3), square(6, 6, 2)[::-1]], background=SEA)
    assert same(land, shapely.box(1, 1, 4, 4) | shapely.box(6, 6, 8, 8))
    assert any("clockwise by mistake" in note for note in land.notes)


def test_islands_of_a_lake_drawn_as_coast_do_not_flood_the_land_around():
    lake = WaterArea("lake", (square(3, 3, 4),))
    land = land_of([square(4, 4, 1)], [lake], background=LAND)
    assert same(land, shapely.box(0, 0, 10, 10) - shapely.box(3, 3, 7, 7) | shapely.box(4, 4, 5, 5))
    assert any("taken from the other one" in note for note in land.notes)


def test_same_ring_in_both_directions_is_land():
    again = np.roll(square(2, 2, 3)[:-1], 1, axis=0)[::-1]
    land = land_of([square(2, 2, 3), np.vstack([again, again[:1]])], background=SEA)
    assert same(land, shapely.box(2, 2, 5, 5))
    assert any("both directions" in note for note in land.notes)


# --- joining


def test_ways_join_whatever_their_order():
    ring = star(np.random.default_rng(3), 5.0, 5.0, 3.0, 30)
    ways = [ring[10:21], ring[0:11], ring[20:31]]
    land = land_of(ways)
    assert same(land, shapely.Polygon(ring))


def test_duplicate_ways_count_once():
    ring = square(2, 2, 3)
    land = land_of([ring[:3], ring[2:], ring[:4]])
    assert same(land, shapely.box(2, 2, 5, 5))
    assert any("drawn twice" in note for note in land.notes)


def test_small_gap_is_closed_and_said():
    gap = 10 * METRE
    land = land_of([way((2, 2), (5, 2), (5, 5), (2, 5), (2, 2 + gap))])
    assert same(land, shapely.box(2, 2, 5, 5))
    assert "gap of 10.0 m" in land.notes[0]
    assert "2.00009N 2.00000E" in land.notes[0]


def test_wide_gap_is_refused_with_its_place():
    gap = 100 * METRE
    with pytest.raises(CoverageError, match=r"broken at 2\.00090N 2\.00000E.*begins 100 m away"):
        land_of([way((2, 2), (5, 2), (5, 5), (2, 5), (2, 2 + gap))])


def test_mainland_that_ends_in_the_box_is_refused():
    with pytest.raises(CoverageError, match=r"broken at 5\.00000N 3\.00000E.*nothing joins"):
        land_of([way((3, -1), (3, 5)), way((7, 11), (7, -1))])
    with pytest.raises(CoverageError, match="what is land would be a guess"):
        land_of([way((3, 5), (3, 11)), square(7, 7, 1)])


def test_broken_ends_outside_the_box_do_not_matter():
    land = land_of([way((6, -3), (6, 5), (3, 5), (3, -2)), way((20, 20), (30, 30))])
    assert same(land, shapely.box(3, 0, 6, 5))


def test_coast_that_contradicts_itself_at_the_sides_is_refused():
    with pytest.raises(CoverageError, match="contradicts itself at the side of the box"):
        land_of([way((3, -1), (3, 11)), way((7, -1), (7, 11))])


def test_rings_that_touch_in_a_point_stay_two():
    first = closed((2, 2), (4, 2), (4, 4))
    second = closed((4, 4), (6, 4), (6, 6))
    land = land_of([first, second])
    assert same(land, shapely.Polygon(first) | shapely.Polygon(second))
    assert len(land.polygons()) == 2


def test_ring_that_crosses_itself_is_taken_apart():
    bow = closed((2, 2), (6, 6), (6, 2), (2, 6))
    land = land_of([bow, square(8, 8, 1)], background=SEA)
    assert whole(land).area == pytest.approx(8.0 + 1.0)
    assert any("cross or touch themselves" in note for note in land.notes)


def test_way_there_and_back_is_no_land():
    land = land_of([way((2, 2), (4, 4), (2, 2)), square(6, 6, 1)])
    assert same(land, shapely.box(6, 6, 7, 7))


def test_a_leap_round_the_far_side_of_the_earth_is_no_coast():
    land = land_of([way((-170, 5), (170, 6)), square(6, 6, 1)])
    assert same(land, shapely.box(6, 6, 7, 7))


def test_halves_of_an_island_closed_on_the_antimeridian_are_one():
    box = Box(179.0, -1.0, 181.0, 1.0)
    west = closed((179.5, -0.5), (180.0, -0.5), (180.0, 0.5), (179.5, 0.5))
    east = closed((180.0, -0.5), (180.5, -0.5), (180.5, 0.5), (180.0, 0.5))
    land = land_of([west, east], box=box)
    assert same(land, shapely.box(179.5, -0.5, 180.5, 0.5))
    assert sum(shapely.LineString(chain).length for chain in land.chains()) == pytest.approx(4.0)


def test_mainland_cut_on_the_antimeridian_is_one():
    box = Box(179.0, -1.0, 181.0, 1.0)
    west = closed((178.0, -2.0), (180.0, -2.0), (180.0, 0.5), (178.0, 0.5))
    east = closed((180.0, -2.0), (182.0, -2.0), (182.0, 0.5), (180.0, 0.5))
    land = land_of([west, east], box=box)
    assert same(land, shapely.box(179.0, -1.0, 181.0, 0.5))
    assert sum(np.ptp(chain[:, 0]) for chain in land.chains()) == pytest.approx(2.0)


def test_cutting_is_exact_and_the_same_both_ways():
    rng = np.random.default_rng(8)
    box = Box(0.1, 0.2, 0.7, 0.9)
    chain = rng.uniform(-0.5, 1.5, (400, 2))
    there, back = clip_chain(chain, box), clip_chain(chain[::-1], box)
    ends = np.array([piece[[0, -1]] for piece in there]).reshape(-1, 2)
    on_side = np.isin(ends[:, 0], (box.west, box.east)) | np.isin(
        ends[:, 1], (box.south, box.north)
    )
    assert on_side[1:-1].all()
    for piece in there:
        assert (piece >= (box.west, box.south)).all()
        assert (piece <= (box.east, box.north)).all()
    key = sorted(tuple(map(tuple, piece)) for piece in there)
    assert key == sorted(tuple(map(tuple, piece[::-1])) for piece in back)
    length = sum(np.hypot(*np.diff(piece, axis=0).T).sum() for piece in there)
    by_shapely = shapely.LineString(chain).intersection(shapely.box(0.1, 0.2, 0.7, 0.9)).length
    assert length == pytest.approx(by_shapely, rel=1e-12)


def test_edges_far_from_the_box_are_left_out():
    ring = star(np.random.default_rng(1), 5.0, 5.0, 300.0, 3000)
    chains, _ = join_edges([ring], BOX)
    assert sum(len(chain) for chain in chains) < 300


# --- water areas


def test_lake_with_island_with_pond_from_many_ways():
    outer = [way((8, 2), (8, 8)), way((2, 2), (8, 2)), way((2, 8), (8, 8)), way((2, 2), (2, 8))]
    inner = [way((3, 3), (7, 3), (7, 7)), way((3, 3), (3, 7), (7, 7))]
    lake = WaterArea("lake", (*outer, *inner))
    pond = WaterArea("pond", (square(4, 4, 2),))
    land = land_of([], [lake, pond], background=LAND)
    expected = shapely.box(0, 0, 10, 10) - shapely.box(2, 2, 8, 8) | shapely.box(3, 3, 7, 7)
    assert same(land, expected - shapely.box(4, 4, 6, 6))
    assert shore_edges(land) == 12


def test_box_wholly_in_a_lake_is_water():
    lake = WaterArea("lake", (square(-5, -5, 30),))
    land = land_of([], [lake])
    assert land.polygons() == []
    assert land.chains() == []


def test_river_areas_join_sea_and_lake_without_edges_across():
    coast = way((5, -1), (5, 4), (5, 6), (5, 11))  # land in the west
    lower = WaterArea("lower", (closed((5, 4), (5, 6), (3, 6), (3, 4)),))
    upper = WaterArea("upper", (closed((3, 4), (3, 6), (1, 6), (1, 4)),))
    lake = WaterArea("lake", (closed((1, 3), (1, 4), (1, 6), (1, 7), (0.5, 7), (0.5, 3)),))
    land = land_of([coast], [lower, upper, lake])
    expected = shapely.box(0, 0, 5, 10) - shapely.box(1, 4, 5, 6) - shapely.box(0.5, 3, 1, 7)
    assert same(land, expected)
    for chain in land.chains():  # no shore across the river at 5 E or 3 E
        middle = (chain[:-1] + chain[1:]) / 2.0
        assert not (np.isin(middle[:, 0], (3.0, 5.0)) & (np.abs(middle[:, 1] - 5.0) < 0.9)).any()


def test_lake_cut_by_the_box_has_no_shore_there():
    lake = WaterArea("lake", (square(8, 4, 5),))
    land = land_of([], [lake], background=LAND)
    assert same(land, shapely.box(0, 0, 10, 10) - shapely.box(8, 4, 13, 9))
    assert shore_edges(land) == 3


def test_broken_lake_is_refused_and_a_broken_pond_left_out():
    half = WaterArea("water area Tarn (relation 7)", (way((3, 3), (6, 3), (6, 6)),))
    with pytest.raises(CoverageError, match=r"Tarn \(relation 7\) is broken.*does not close"):
        land_of([], [half], background=LAND)
    side = 100 * METRE
    pond = WaterArea("pond", (way((3, 3), (3 + side, 3), (3 + side, 3 + side)),))
    land = land_of([], [pond], background=LAND)
    assert same(land, shapely.box(0, 0, 10, 10))
    assert any("does not close; left out" in note for note in land.notes)


def test_island_of_the_coast_in_a_river_mouth_is_kept():
    coast = way((5, -1), (5, 11))
    islet = square(3.9, 4.9, 0.2)
    river = WaterArea("river", (closed((5, 4), (5, 6), (3, 6), (3, 4)),))
    land = land_of([coast, islet], [river])
    assert same(land, shapely.box(0, 0, 5, 10) - shapely.box(3, 4, 5, 6) | shapely.Polygon(islet))


def test_lake_rings_close_over_a_small_gap_only():
    gap = 5 * METRE
    lake = WaterArea("lake", (way((3, 3), (6, 3), (6, 6)), way((6, 6 + gap), (3, 6), (3, 3 + gap))))
    land = land_of([], [lake], background=LAND)
    assert whole(land).area == pytest.approx(91.0, abs=1e-3)


# --- an independent oracle


@pytest.mark.parametrize("seed", range(12))
def test_random_islands_cut_by_a_box_are_shapelys(seed):
    rng = np.random.default_rng(seed)
    box = Box(10.0, 58.0, 11.0, 58.5)
    rings, shapes = islands(rng, 9.9, 57.9, 11.1, 58.6, 25, 0.25)
    land = land_of(in_ways(rng, rings), box=box, background=SEA)
    expected = shapely.intersection(shapely.union_all(shapes), shapely.box(10.0, 58.0, 11.0, 58.5))
    assert same(land, expected)
    assert not any("drawn twice" in note for note in land.notes)
    # every stretch of shoreline is one of the islands' own
    shore = shapely.union_all([shapely.boundary(shape) for shape in shapes])
    for chain in land.chains():
        middle = shapely.points((chain[:-1] + chain[1:]) / 2.0)
        assert shapely.distance(middle, shore).max() < 1e-9


def test_is_land_of_10000_points_is_shapelys():
    rng = np.random.default_rng(77)
    box = Box(10.0, 58.0, 11.0, 58.5)
    rings, shapes = islands(rng, 9.9, 57.9, 11.1, 58.6, 60, 0.2)
    land = land_of(in_ways(rng, rings), box=box, background=SEA)
    lon, lat = rng.uniform(10.0, 11.0, 10_000), rng.uniform(58.0, 58.5, 10_000)
    expected = shapely.contains_xy(shapely.union_all(shapes), lon, lat)
    assert 0.1 < expected.mean() < 0.9
    assert (coast_of(whole(land)).is_land(lon, lat) == expected).all()


def test_rings_of_the_mainland_are_counter_clockwise():
    rng = np.random.default_rng(4)
    rings, _ = islands(rng, -1, -1, 11, 11, 20, 3.0)
    mainland, inner, _ = coast_rings(in_ways(rng, rings), BOX)
    assert mainland
    assert inner
    assert all(signed_area(ring) > 0.0 for ring in [*mainland, *inner])


# --- the box


def test_box_of_bounds_crosses_the_antimeridian():
    box = box_of_bounds((179.0, -1.0, -179.0, 1.0))
    assert (box.west, box.east) == (179.0, 181.0)
    assert box.bounds == (179.0, -1.0, -179.0, 1.0)
    assert box.parts == ((179.0, -1.0, 180.0, 1.0), (-180.0, -1.0, -179.0, 1.0))


@pytest.mark.parametrize(
    ("bounds", "words"),
    [
        ((np.nan, 0, 1, 1), "west nan is outside"),
        ((0, 2, 1, 1), r"south 2\.0 is above north 1\.0"),
        ((0, 0, 200, 1), "east 200.0 is outside -180..180"),
        ((0, 0, 1, np.inf), "north inf is outside -90..90"),
    ],
)
def test_box_of_bounds_refuses(bounds, words):
    with pytest.raises(InputError, match=words):
        box_of_bounds(bounds)


def test_positions_along_the_sides():
    box = Box(0.0, 0.0, 4.0, 2.0)
    places = np.array([0.0, 0.25, 1.0, 1.5, 2.0, 2.75, 3.0, 3.5])
    points = box.at(places)
    assert points.tolist() == [[0, 0], [1, 0], [4, 0], [4, 1], [4, 2], [1, 2], [0, 2], [0, 1]]
    assert [box.place(point) for point in points] == places.tolist()
    assert box.corners_between(0.5, 2.5).tolist() == [[4, 0], [4, 2]]
    assert box.corners_between(3.5, 0.5).tolist() == [[0, 0]]
    assert box.corners_between(0.6, 0.5).tolist() == [[4, 0], [4, 2], [0, 2], [0, 0]]

"""Legs, stages and the cutting of tracks."""

import dataclasses
import itertools

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from routeplan._line.nodes import SHAPE
from routeplan.errors import InputError
from routeplan.geodesy import direct, interpolate, inverse, path_length
from routeplan.route import (
    Waypoint,
    is_camp,
    route_from_points,
    route_from_track,
)


def at(lon, lat, name="", **words):
    return Waypoint(lat, lon, name, **words)


def names(route):
    return [point.name for point in route.points]


def stages(route):
    return [leg.stage for leg in route.legs]


def places_along(course, steps, lon=11.0, lat=58.0):
    """Longitude and latitude of points on one geodesic at distances from its start."""
    return np.column_stack(direct(lon, lat, course, np.asarray(steps, dtype=float)))


def track(*turns, lon=11.0, lat=58.0, step=50.0):
    """A track of straight parts: (course, length) each, a point every `step` metres."""
    rows = [(lon, lat)]
    for course, length in turns:
        along = np.arange(step, length + step / 2, step)
        rows += [tuple(row) for row in places_along(course, along, *rows[-1])]
    return np.array(rows)


# --- waypoints -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lon", "lat", "words"),
    [
        (11, 90.5, r"latitude 90\.5 is outside -90\.\.90"),
        (11, -91, r"latitude -91 is outside"),
        (11, float("nan"), r"latitude nan is outside"),
        (180.5, 58, r"longitude 180\.5 is outside -180\.\.180"),
        (349, 58, r"longitude 349 is outside -180\.\.180"),
        (float("nan"), 58, r"longitude nan is outside"),
        (float("inf"), 58, r"longitude inf is outside"),
    ],
)
def test_waypoint_refuses_a_position_off_the_globe(lon, lat, words):
    with pytest.raises(InputError, match=words):
        at(lon, lat)


def test_waypoint_names_itself_when_refused():
    with pytest.raises(InputError, match=r"latitude 91 of 'Skerry' is outside"):
        at(11, 91, "Skerry")


@pytest.mark.parametrize(
    "words",
    [
        {"kind": "camp"},
        {"kind": "Campsite"},
        {"symbol": "Campground"},
        {"symbol": "wind shelter"},
        {"kind": "BIVOUAC"},
        {"name": "Camp 2"},
        {"name": "camp: outer skerry"},
        {"name": "Camp"},
    ],
)
def test_camps_are_known_by_type_symbol_or_name(words):
    assert is_camp(at(11, 58, **words))


@pytest.mark.parametrize(
    "words",
    [
        {},
        {"name": "Campbell Point"},
        {"name": "Old camp"},
        {"kind": "no camp"},
        {"kind": "harbour"},
        {"symbol": "encampment"},
        {"note": "camp"},
    ],
)
def test_other_places_are_no_camps(words):
    assert not is_camp(at(11, 58, **words))


# --- routes from points ----------------------------------------------------------------------


def test_legs_run_between_named_points_and_keep_the_shape_between():
    route = route_from_points(
        [at(11, 58, "Quay"), at(11.02, 58.01), at(11.03, 58), at(11.05, 58, "Sound"),
         at(11.1, 58.02, "Beach")],
        name="Out",
    )  # fmt: skip
    assert names(route) == ["Quay", "Sound", "Beach"]
    assert [leg.number for leg in route.legs] == [1, 2]
    first = route.legs[0]
    assert first.longitude.tolist() == [11, 11.02, 11.03, 11.05]
    # The independent implementation measures the same along the vertices.
    expected = sum(
        Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)["s12"]
        for (lon1, lat1), (lon2, lat2) in itertools.pairwise(
            zip(first.longitude, first.latitude, strict=True)
        )
    )
    assert first.length_m == pytest.approx(expected, abs=1e-6)
    assert first.course_deg == pytest.approx(Geodesic.WGS84.Inverse(58, 11, 58, 11.05)["azi1"])
    assert route.length_m == pytest.approx(path_length(route.longitude, route.latitude))
    assert route.longitude.tolist() == [11, 11.02, 11.03, 11.05, 11.1]


def test_every_point_begins_a_leg_when_none_between_the_ends_is_named():
    points = [at(11, 58, "Quay"), at(11.1, 58), at(11.2, 58), at(11.3, 58, "Beach")]
    assert names(route_from_points(points)) == ["Quay", "point 2", "point 3", "Beach"]


def test_points_marked_as_shape_begin_no_leg():
    points = [at(11, 58), at(11.1, 58, kind=SHAPE), at(11.2, 58)]
    route = route_from_points(points)
    assert names(route) == ["point 1", "point 3"]
    assert len(route.legs[0].longitude) == 3


def test_duplicate_points_are_dropped_with_a_note_and_names_and_camps_survive():
    points = [at(11, 58), at(11, 58, "Quay"), at(11.1, 58, "Isle"),
              at(11.1, 58, kind="camp"), at(11.1, 58), at(11.2, 58, "Beach")]  # fmt: skip
    route = route_from_points(points)
    assert names(route) == ["Quay", "Isle", "Beach"]
    assert stages(route) == [1, 2]
    assert route.notes == ("3 duplicate points dropped",)
    assert all(leg.length_m > 0 for leg in route.legs)


def test_points_are_numbered_as_in_the_file_after_duplicates():
    points = [at(11, 58), at(11, 58), at(11.1, 58), at(11.2, 58)]
    assert names(route_from_points(points)) == ["point 1", "point 3", "point 4"]


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([], r"the route has no points"),
        ([at(11, 58)], r"only one point; at least two different points are needed"),
        ([at(11, 58, "A"), at(11, 58, "B")], r"has no length, all its 2 points are the same"),
        ([at(180, 10), at(-180, 10)], r"has no length"),
    ],
)
def test_routes_without_length_are_refused(points, words):
    with pytest.raises(InputError, match=words):
        route_from_points(points)


def test_too_many_legs_are_refused_with_advice():
    points = [at(i / 1000, 0) for i in range(2_002)]
    with pytest.raises(InputError, match=r"2001 legs are too many, at most 2000.*name only"):
        route_from_points(points)
    route_from_points(points[:-1])


def test_too_many_points_are_refused():
    with pytest.raises(InputError, match=r"20001 points; at most 20000 are allowed"):
        route_from_points([at(i / 1000, 0) for i in range(20_001)])


def test_a_route_longer_than_half_way_round_earth_is_refused():
    with pytest.raises(InputError, match=r"20038 km is too long, at most 20000 km.*coordinates"):
        route_from_points([at(0, 0), at(90, 0, "b"), at(180, 0)])


def test_a_loop_without_named_points_between_is_cut_at_its_far_end():
    points = [at(11, 58, "Quay"), at(11.02, 58.0), at(11.03, 58.02), at(11, 58, "Quay"),
              at(11, 57.9, "Beach")]  # fmt: skip
    route = route_from_points(points)
    assert names(route) == ["Quay", "turning point", "Quay", "Beach"]
    assert (route.points[1].longitude, route.points[1].latitude) == (11.03, 58.02)
    assert route.length_m == pytest.approx(path_length([11, 11.02, 11.03, 11, 11],
                                                       [58, 58, 58.02, 58, 57.9]))  # fmt: skip


def test_a_camp_passed_out_and_back_makes_no_leg_without_a_course():
    points = [at(11, 58, "Quay"), at(11.2, 58, kind=SHAPE), at(11.01, 58, "Beach")]
    camp = at(11.1, 58.0001, "Otter", kind="camp")
    route = route_from_points(points, waypoints=[camp])
    assert names(route) == ["Quay", "Otter", "turning point", "Otter", "Beach"]
    assert stages(route) == [1, 2, 2, 3]
    assert [leg.course_deg for leg in route.legs] == pytest.approx([90, 90, 270, 270], abs=0.2)


def test_legs_cannot_be_changed():
    route = route_from_points([at(11, 58), at(11.1, 58)])
    with pytest.raises(ValueError, match="read-only"):
        route.legs[0].longitude[0] = 12
    with pytest.raises(dataclasses.FrozenInstanceError):
        route.name = "other"


def test_a_leg_across_the_antimeridian_is_short():
    route = route_from_points([at(179.9, -17), at(-179.9, -17)])
    assert route.length_m == pytest.approx(Geodesic.WGS84.Inverse(-17, 179.9, -17, 180.1)["s12"])
    assert route.legs[0].course_deg == pytest.approx(90, abs=0.1)


# --- bounds ----------------------------------------------------------------------------------


def test_bounds_of_a_plain_route():
    route = route_from_points([at(11, 58), at(11.2, 57.9), at(10.9, 57.8)])
    west, south, east, north = route.bounds
    assert (west, south, east) == (10.9, 57.8, 11.2)
    assert north == 58


@pytest.mark.parametrize("lons", [(179.9, -179.9), (-179.9, 179.9)])
def test_bounds_across_the_antimeridian_have_west_above_east(lons):
    route = route_from_points([at(lons[0], -17), at(lons[1], -17.1)])
    west, _, east, _ = route.bounds
    assert (west, east) == pytest.approx((179.9, -179.9))


def test_bounds_that_touch_the_antimeridian_do_not_cross_it():
    west, _, east, _ = route_from_points([at(179, -17), at(180, -17)]).bounds
    assert (west, east) == (179, 180)


@pytest.mark.parametrize("sign", [1, -1])
def test_bounds_hold_the_bulge_of_a_long_leg_towards_the_pole(sign):
    route = route_from_points([at(-10, 60 * sign), at(10, 60 * sign)])
    _, lat, _, _ = interpolate(-10, 60 * sign, 10, 60 * sign, 1_000)
    _, south, _, north = route.bounds
    bulge, flat = (north, south) if sign > 0 else (south, north)
    assert flat == 60 * sign
    assert bulge == pytest.approx(sign * abs(lat).max(), abs=1e-6)
    assert abs(bulge) > 60.3


def test_bounds_over_a_pole_span_all_longitudes():
    west, _, east, north = route_from_points([at(10, 89.5), at(-170, 89.5)]).bounds
    assert (west, east) == (-180, 180)
    assert north == pytest.approx(90)


# --- samples ---------------------------------------------------------------------------------


def test_samples_hold_vertices_spacing_and_courses():
    points = [at(11, 58, "a"), at(11.05, 58.0), at(11.05, 58.05), at(11.1, 58.1, "b"),
              at(11.2, 58.1, "c")]  # fmt: skip
    leg = route_from_points(points).legs[0]
    samples = leg.sample(300.0)
    steps = np.diff(samples.distance_m)
    assert samples.distance_m[0] == 0
    assert samples.distance_m[-1] == pytest.approx(leg.length_m, abs=1e-6)
    assert (steps > 0).all()
    assert steps.max() <= 300 + 1e-6
    assert path_length(samples.longitude, samples.latitude) == pytest.approx(leg.length_m)
    places = set(zip(samples.longitude, samples.latitude, strict=True))
    assert places.issuperset(zip(leg.longitude, leg.latitude, strict=True))
    # At a vertex the course is that of the piece which begins there.
    expected, _ = inverse(samples.longitude[:-1], samples.latitude[:-1],
                          samples.longitude[1:], samples.latitude[1:])  # fmt: skip
    assert samples.course_deg[:-1] == pytest.approx(expected, abs=1e-5)
    assert samples.course_deg[-1] == pytest.approx(expected[-1], abs=0.01)


def test_samples_refuse_a_spacing_that_is_none():
    leg = route_from_points([at(11, 58), at(11.1, 58)]).legs[0]
    with pytest.raises(InputError, match="spacing nan m is not allowed"):
        leg.sample(float("nan"))


# --- camps and stages ------------------------------------------------------------------------


def test_a_camp_among_the_points_ends_a_stage():
    points = [at(11, 58, "Quay"), at(11.1, 58, "Isle", kind="camp"), at(11.2, 58, "Sound"),
              at(11.3, 58, symbol="Campground"), at(11.4, 58, "Beach", kind="camp")]  # fmt: skip
    route = route_from_points(points)
    assert stages(route) == [1, 2, 2, 3]
    assert [[leg.number for leg in stage] for stage in route.stages] == [[1], [2, 3], [4]]
    assert [camp.name for camp in route.camps] == ["Isle", "point 4", "Beach"]


def test_a_camp_beside_the_line_cuts_it_at_the_nearest_point():
    points = [at(11, 58, "Quay"), at(11.2, 58, "Beach")]
    camp = at(11.08, 58.002, "Otter Camp", kind="camp")  # 223 m north of the line
    route = route_from_points(points, waypoints=[camp])
    assert names(route) == ["Quay", "Otter Camp", "Beach"]
    assert stages(route) == [1, 2]
    cut = route.camps[0]
    assert route.length_m == pytest.approx(float(inverse(11, 58, 11.2, 58)[1]), abs=1e-6)
    # Brute force: no place on the line, every 10 cm, is nearer to the camp than the cut.
    lon, lat, _, _ = interpolate(11, 58, 11.2, 58, 0.1)
    nearest = inverse(lon, lat, camp.longitude, camp.latitude)[1].min()
    away = inverse(cut.longitude, cut.latitude, camp.longitude, camp.latitude)[1]
    assert away == pytest.approx(nearest, abs=1e-3)
    assert route.waypoints == (camp,)


@pytest.mark.parametrize(("offset_m", "count"), [(249, 2), (251, 1)])
def test_a_camp_farther_than_250_m_from_the_line_is_not_on_it(offset_m, count):
    lon, lat = direct(11.0, 58.05, 90, offset_m)
    route = route_from_points(
        [at(11, 58, "Quay"), at(11, 58.1, "Beach")],
        waypoints=[at(float(lon), float(lat), "Otter", kind="camp")],
    )
    assert len(route.stages) == count


def test_a_camp_beside_a_point_of_the_route_becomes_that_point():
    points = [at(11, 58, "Quay"), at(11.1, 58, "Landing"), at(11.2, 58, "Beach")]
    route = route_from_points(points, waypoints=[at(11.102, 58.001, "Otter", kind="camp")])
    assert names(route) == ["Quay", "Landing (Otter)", "Beach"]
    assert stages(route) == [1, 2]
    assert route.points[1].longitude == 11.1


def test_a_camp_named_like_the_point_beside_it_is_not_named_twice():
    points = [at(11, 58, "Quay"), at(11.1, 58, "otter landing"), at(11.2, 58, "Beach")]
    route = route_from_points(points, waypoints=[at(11.102, 58.001, "Otter", kind="camp")])
    assert names(route)[1] == "otter landing"


def test_a_camp_gives_its_name_to_an_unnamed_point():
    points = [at(11, 58), at(11.1, 58), at(11.2, 58)]
    route = route_from_points(points, waypoints=[at(11.1, 58.001, "Otter", kind="camp")])
    assert names(route) == ["point 1", "Otter", "point 3"]


def test_a_camp_on_the_line_and_beside_it_under_one_name_is_one_camp():
    points = [at(11, 58, "Quay"), at(11.1, 58, "Otter", kind="camp"), at(11.2, 58, "Beach")]
    route = route_from_points(points, waypoints=[at(11.11, 58.001, "Otter", kind="camp")])
    assert names(route) == ["Quay", "Otter", "Beach"]


def test_unnamed_camps_are_not_taken_for_each_other():
    points = [at(11, 58, "Quay"), at(11.1, 58, kind="camp"), at(11.2, 58, "Beach")]
    route = route_from_points(points, waypoints=[at(11.11, 58.001, kind="camp")])
    assert names(route) == ["Quay", "point 2", "camp", "Beach"]


def test_of_camps_close_together_the_nearest_to_the_line_is_the_stop():
    points = [at(11, 58, "Quay"), at(11.2, 58, "Beach")]
    camps = [at(11.1, 58.002, "Far", kind="camp"), at(11.102, 58.0005, "Near", kind="camp")]
    route = route_from_points(points, waypoints=camps)
    assert names(route) == ["Quay", "Near", "Beach"]


def test_landmarks_that_are_no_camps_do_not_cut_a_route_of_points():
    points = [at(11, 58, "Quay"), at(11.2, 58, "Beach")]
    route = route_from_points(points, waypoints=[at(11.1, 58, "Lighthouse")])
    assert names(route) == ["Quay", "Beach"]


def test_a_camp_beside_a_leg_across_the_antimeridian_is_found():
    route = route_from_points(
        [at(179.9, -17, "a"), at(-179.9, -17, "b")],
        waypoints=[at(-179.97, -17.001, "Reef", kind="camp")],
    )
    assert names(route) == ["a", "Reef", "b"]
    assert route.points[1].longitude == pytest.approx(-179.97, abs=1e-4)


def test_a_camp_beside_a_leg_of_thousands_of_kilometres_is_found():
    lon, lat = direct(0, 50, 300, 2_500_000)
    end = direct(0, 50, 300, 5_000_000)
    camp = direct(lon, lat, inverse(lon, lat, *end)[0] + 90, 200)
    route = route_from_points(
        [at(0, 50, "a"), at(float(end[0]), float(end[1]), "b")],
        waypoints=[at(float(camp[0]), float(camp[1]), "Isle", kind="camp")],
    )
    assert names(route) == ["a", "Isle", "b"]
    assert route.legs[0].length_m == pytest.approx(2_500_000, abs=0.01)


def test_the_nearest_place_is_right_far_from_the_line_too():
    end = direct(0, 65, 50, 300_000)
    camp = direct(*direct(0, 65, 50, 200_000), 150, 30_000)
    route = route_from_points(
        [at(0, 65, "a"), at(float(end[0]), float(end[1]), "b")],
        waypoints=[at(float(camp[0]), float(camp[1]), "Isle", kind="camp")],
        camp_m=40_000.0,
    )
    # Brute force, a place on the line every metre.
    lon, lat, along, _ = interpolate(0, 65, *end, 1.0)
    nearest = along[np.argmin(inverse(lon, lat, *camp)[1])]
    assert route.legs[0].length_m == pytest.approx(nearest, abs=0.6)


# --- reversing -------------------------------------------------------------------------------


def test_reversed_route_counts_legs_and_stages_anew():
    points = [at(11, 58, "Quay"), at(11.1, 58, "Isle", kind="camp"), at(11.15, 58.02),
              at(11.2, 58, "Sound"), at(11.4, 58, "Beach")]  # fmt: skip
    route = route_from_points(points)
    back = route.reversed()
    assert names(back) == ["Beach", "Sound", "Isle", "Quay"]
    assert [leg.number for leg in back.legs] == [1, 2, 3]
    assert stages(route) == [1, 2, 2]
    assert stages(back) == [1, 1, 2]
    assert back.longitude.tolist() == route.longitude[::-1].tolist()
    assert back.legs[0].course_deg == pytest.approx(
        Geodesic.WGS84.Inverse(58, 11.4, 58, 11.2)["azi1"] % 360
    )


positions = st.tuples(st.floats(-180, 180), st.floats(-89, 89))
near_positions = st.tuples(st.floats(10, 12), st.floats(57, 59))


@st.composite
def routes(draw):
    places = draw(st.lists(near_positions, min_size=2, max_size=12, unique=True))
    words = st.sampled_from(["", "", "Sound", "Camp 1", "Isle"])
    shift = draw(st.sampled_from([0.0, 169.0]))  # some of them across the antimeridian
    points = [at((lon + shift + 180) % 360 - 180, lat, draw(words)) for lon, lat in places]
    _, apart = inverse(points[0].longitude, points[0].latitude,
                       [p.longitude for p in points], [p.latitude for p in points])  # fmt: skip
    if apart.max() < 1:
        points.append(at(12.5, 57, "far"))
    return route_from_points(points, name="any")


@settings(max_examples=100, deadline=None)
@given(routes())
def test_reversing_keeps_length_and_twice_is_the_same(route):
    back = route.reversed()
    assert back.length_m == pytest.approx(route.length_m, abs=1e-5)
    again = back.reversed()
    assert [dataclasses.astuple(point) for point in again.points] == [
        dataclasses.astuple(point) for point in route.points
    ]
    assert stages(again) == stages(route)
    for leg, same in zip(route.legs, again.legs, strict=True):
        assert same.course_deg == pytest.approx(leg.course_deg, abs=1e-9)


@settings(max_examples=100, deadline=None)
@given(routes())
def test_legs_join_and_none_is_empty(route):
    for before, after in itertools.pairwise(route.legs):
        assert before.end == after.start
        assert (before.longitude[-1], before.latitude[-1]) == (
            after.longitude[0],
            after.latitude[0],
        )
    for leg in route.legs:
        assert leg.length_m > 0.05
        assert 0 <= leg.course_deg < 360
        assert inverse(leg.longitude[0], leg.latitude[0],
                       leg.longitude[-1], leg.latitude[-1])[1] > 0  # fmt: skip


# --- tracks ----------------------------------------------------------------------------------


def farthest_from_line(points, route, spacing_m=2.0):
    """Largest distance of points from the route, by brute force with places close together."""
    samples = [leg.sample(spacing_m) for leg in route.legs]
    lon = np.concatenate([sample.longitude for sample in samples])
    lat = np.concatenate([sample.latitude for sample in samples])
    return max(inverse(lon, lat, *point)[1].min() for point in points)


@pytest.mark.parametrize(
    ("lon", "lat"),
    [(11, 0), (11, 58), (11, 80), (11, 89.7), (11, -65), (179.99, -17), (-179.98, 71)],
)
def test_simplified_track_stays_within_the_tolerance_everywhere_on_earth(lon, lat):
    # A winding line laid out in metres, so that it has the same shape at every latitude.
    along = np.arange(0, 6_000, 40.0)
    aside = 150 * np.sin(along / 400) + 30 * np.sin(along / 90)
    row = np.array(
        [
            direct(*direct(lon, lat, 75, a), 345, s) if s else direct(lon, lat, 75, a)
            for a, s in zip(along, aside, strict=True)
        ]
    )
    route = route_from_track([row], tolerance_m=25.0)
    assert farthest_from_line(row, route) <= 25.0 + 0.01
    assert 6 <= len(route.longitude) <= len(row) / 3


def test_points_of_one_geodesic_are_one_piece():
    lon, lat, _, _ = interpolate(11, 70, 16, 71, 1_000)
    route = route_from_track([np.column_stack([lon, lat])], tolerance_m=5.0, max_leg_m=1e6)
    assert len(route.legs) == 1
    assert len(route.longitude) == 2


@pytest.mark.parametrize("turns", [[(90, 3_000), (270, 1_000)], [(270, 1_000), (90, 3_000)]])
def test_a_way_out_and_back_on_one_line_keeps_its_turning_point(turns):
    row = track(*turns)
    route = route_from_track([row])
    assert farthest_from_line(row, route) <= 50.01
    assert route.length_m == pytest.approx(4_000, abs=1)


def test_points_of_a_parallel_far_north_are_no_straight_line():
    # Over 190 km at 70 N the parallel leaves the geodesic by s^2 tan(lat) / (8 R), 2 km.
    row = np.column_stack([np.linspace(11, 16, 200), np.full(200, 70.0)])
    route = route_from_track([row], tolerance_m=50.0, max_leg_m=1e6)
    assert len(route.longitude) > 4
    # 20 m to either side of the nearest place add 4 m to 50 m at most.
    assert farthest_from_line(row[::10], route, spacing_m=40.0) <= 54


def test_simplification_does_not_depend_on_the_meridian():
    base = track((90, 3_000), (30, 2_000), (120, 4_000), lon=10.0, lat=-17.0)
    moved = np.add(base, [169.97, 0])
    moved[:, 0] = (moved[:, 0] + 180) % 360 - 180
    assert np.ptp(moved[:, 0]) > 359  # it crosses the antimeridian
    one, other = route_from_track([base]), route_from_track([moved])
    assert [leg.length_m for leg in one.legs] == pytest.approx(
        [leg.length_m for leg in other.legs], abs=1e-5
    )
    assert one.latitude == pytest.approx(other.latitude)


def test_a_track_is_cut_where_the_course_changes():
    route = route_from_track([track((90, 2_000), (0, 3_000), (45, 1_500))])
    assert [round(leg.length_m) for leg in route.legs] == pytest.approx([2_000, 3_000, 1_500])
    assert [leg.course_deg for leg in route.legs] == pytest.approx([90, 0, 45], abs=0.5)
    assert names(route) == ["point 1", "point 2", "point 3", "point 4"]
    assert route.origin == "track"


@pytest.mark.parametrize(("turn", "count"), [(28, 1), (32, 2)])
def test_only_a_change_of_course_of_30_degrees_begins_a_leg(turn, count):
    route = route_from_track([track((90, 2_000), (90 - turn, 2_000))])
    assert len(route.legs) == count


def test_small_turns_add_up_to_a_change_of_course():
    turns = [(course, 400) for course in range(0, 180, 12)]
    route = route_from_track([track(*turns)], max_leg_m=50_000, tolerance_m=10)
    assert len(route.legs) == 3  # after five of them, each of 12 degrees
    for leg in route.legs:
        samples = leg.sample(100)
        apart = abs((samples.course_deg - leg.course_deg + 180) % 360 - 180)
        assert apart.max() < 45


def test_a_change_of_course_begins_no_leg_shorter_than_the_least():
    route = route_from_track([track((90, 2_000), (0, 300), (90, 2_000))])
    assert min(leg.length_m for leg in route.legs) >= 500


def test_a_long_straight_track_is_cut_into_equal_legs():
    route = route_from_track([track((90, 12_000))])
    assert [leg.length_m for leg in route.legs] == pytest.approx([4_000] * 3, abs=0.01)


def test_no_leg_of_a_track_is_longer_than_allowed():
    row = track((80, 7_100), (20, 5_001), (110, 16_000))
    route = route_from_track([row], max_leg_m=5_000)
    assert max(leg.length_m for leg in route.legs) <= 5_000 + 1e-6


def test_landmarks_name_the_cuts():
    row = track((90, 4_000), (0, 4_000))
    knob = places_along(90, [2_000])[0] + [0, 0.001]
    corner = places_along(90, [4_000])[0] + [0.001, 0]
    far = places_along(90, [3_000])[0] + [0, 0.01]
    route = route_from_track(
        [row],
        [at(*knob, "Knob"), at(*corner, "Corner"), at(*far, "Far"), at(11, 58.001, "Quay")],
    )
    assert names(route) == ["Quay", "Knob", "Corner", "point 4"]
    assert [leg.length_m for leg in route.legs] == pytest.approx([2_000, 2_000, 4_000], abs=70)


def test_of_two_landmarks_close_together_the_camp_goes_first():
    row = track((90, 8_000))
    spot, beside = places_along(90, [4_000, 4_100])
    route = route_from_track([row], [at(*spot, "Knob"), at(*beside, "Otter", kind="camp")])
    assert names(route) == ["point 1", "Otter", "point 3"]
    assert stages(route) == [1, 2]


def test_a_track_that_passes_a_landmark_twice_is_cut_twice():
    row = track((90, 4_000), (270, 4_000))
    knob = places_along(90, [1_500])[0]
    route = route_from_track([row], [at(*knob, "Knob")])
    assert names(route) == ["point 1", "Knob", "point 3", "Knob", "point 5"]


def test_wandering_beside_a_camp_is_one_stop():
    row = track((90, 3_000), (0, 350), (180, 350), (90, 3_000))
    camp = places_along(90, [3_000])[0]
    route = route_from_track([row], [at(*camp, "Otter", kind="camp")])
    assert len(route.stages) == 2


def test_segments_are_joined_and_the_gap_noted():
    row = track((90, 6_000))
    route = route_from_track([row[:50], row[:0], row[60:]])
    assert route.length_m == pytest.approx(6_000, abs=0.01)
    assert "a gap of 550 m between track segments joined by a straight line" in route.notes


def test_several_gaps_are_one_note():
    row = track((90, 6_000))
    route = route_from_track([row[:20], row[30:50], row[70:]])
    assert any("2 gaps between track segments" in note for note in route.notes)
    assert any("the longest 1050 m" in note for note in route.notes)


def test_what_was_dropped_is_noted():
    row = np.repeat(track((90, 3_000)), 2, axis=0)
    route = route_from_track([row])
    assert route.notes == (
        "61 duplicate points dropped",
        "track of 61 points simplified to 2 within 50 m",
    )


def test_a_closed_loop_of_a_track_has_courses():
    angle = np.linspace(0, 2 * np.pi, 200)
    row = np.column_stack([11 + 0.005 * np.cos(angle), 58 + 0.003 * np.sin(angle)])
    row[-1] = row[0]
    route = route_from_track([row], max_leg_m=1e6, min_turn_deg=400)
    assert names(route) == ["point 1", "turning point", "point 2"]
    assert all(leg.length_m > 500 for leg in route.legs)


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([], r"the track has no points"),
        ([np.empty((0, 2))], r"the track has no points"),
        ([[(11, 58)]], r"the track has only one point"),
        ([[(11, 58)] * 5], r"all its 5 points are the same"),
        ([[(11, 58), (181, 58)]], r"longitude 181\.0 is outside -180\.\.180"),
        ([[(11, 58), (float("nan"), 58)]], r"longitude nan is outside -180\.\.180"),
        ([[(11, 58), (12, 95)]], r"latitude 95\.0 is outside -90\.\.90"),
        ([[(11, 58), (12, float("nan"))]], r"latitude nan is not a finite number"),
    ],
)
def test_tracks_that_cannot_be_used_are_refused(rows, words):
    with pytest.raises(InputError, match=words):
        route_from_track(rows)


def test_a_track_that_stays_crooked_is_refused():
    row = np.random.default_rng(1).uniform([11, 58], [11.01, 58.01], (60_000, 2))
    with pytest.raises(InputError, match=r"more than 20000 turning points.*shorter tracks"):
        route_from_track([row])


@pytest.mark.parametrize("field", ["max_leg_m", "tolerance_m", "min_turn_deg", "landmark_m"])
@pytest.mark.parametrize("value", [0, -1, float("nan")])
def test_options_that_make_no_sense_are_refused(field, value):
    with pytest.raises(InputError, match=f"{field} .* must be a finite number above 0"):
        route_from_track([track((90, 1_000))], **{field: value})

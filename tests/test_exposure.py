"""Legs against small coasts whose answers are known by construction."""

import numpy as np
import pytest

from routeplan._plan.legflags import leg_flags, offshore_verdict
from routeplan.coastline import Coastline
from routeplan.errors import InputError
from routeplan.exposure import (
    DIRECTIONS_DEG,
    is_portage,
    length_beyond,
    mean_along,
    route_exposure,
    stretches_beyond,
)
from routeplan.geodesy import direct
from routeplan.limits import Limits, Verdict
from routeplan.route import Waypoint, route_from_points


def parallel_leg(offshore_m, *, south_m=-2_000.0, north_m=2_000.0):
    """A leg northward, a set distance west of the shore at 10 E on the equator."""
    lon, _ = direct(10.0, 0.0, 270.0, offshore_m)
    ends = [direct(lon, 0.0, 0.0, y) for y in (south_m, north_m)]
    return route_from_points(
        [Waypoint(float(lat), float(x), name) for (x, lat), name in zip(ends, "AB", strict=True)],
        name="parallel",
    )


# The distance of 1,000 m from shore beyond which a leg is pointed out is common practice of the
# trade and has no published source.
@pytest.mark.parametrize(("offshore_m", "flagged"), [(990.0, False), (1_010.0, True)])
def test_threshold_of_1000_m_from_shore(straight_coast, offshore_m, flagged):
    (leg,) = route_exposure(parallel_leg(offshore_m), straight_coast, limit_m=1_000.0)
    assert leg.offshore_max_m == pytest.approx(offshore_m, abs=0.5)
    assert bool(leg_flags(leg, Limits(), 1.0)) is flagged
    assert (leg.beyond_limit_m > 0) is flagged
    wanted = Verdict.BEYOND if flagged else Verdict.WITHIN
    assert offshore_verdict(leg, Limits(), 1.0) is wanted


def test_margin_inside_the_coastline_error_is_close(straight_coast):
    (leg,) = route_exposure(parallel_leg(700.0), straight_coast)
    assert offshore_verdict(leg, Limits(), 299.0) is Verdict.WITHIN
    assert offshore_verdict(leg, Limits(), 301.0) is Verdict.CLOSE
    assert offshore_verdict(leg, Limits(), np.nan) is Verdict.CLOSE


def test_parallel_leg_has_constant_distance_and_its_length_beyond(straight_coast):
    route = parallel_leg(1_500.0)
    (leg,) = route_exposure(route, straight_coast, limit_m=1_000.0)
    assert leg.offshore_mean_m == pytest.approx(1_500.0, abs=0.5)
    assert leg.beyond_limit_m == pytest.approx(route.length_m, abs=0.01)
    assert np.diff(leg.distance_m).max() <= 100.0
    assert leg.nearest.bearing_deg == pytest.approx(90.0, abs=0.01)
    assert leg.nearest.longitude == pytest.approx(10.0, abs=1e-5)


def test_leg_away_from_shore_is_beyond_from_the_limit_on(straight_coast):
    start, end = direct(10.0, 0.0, 270.0, 100.0), direct(10.0, 0.0, 270.0, 3_100.0)
    route = route_from_points(
        [Waypoint(float(start[1]), float(start[0]), "shore"), Waypoint(0.0, float(end[0]), "sea")],
        name="out",
    )
    (leg,) = route_exposure(route, straight_coast, limit_m=1_000.0)
    assert leg.beyond_limit_m == pytest.approx(2_100.0, abs=1.0)
    assert leg.offshore_mean_m == pytest.approx(1_600.0, abs=1.0)
    assert leg.offshore_max_at_m == pytest.approx(3_000.0, abs=0.01)


def test_fetch_is_open_to_the_west_and_short_to_the_east(straight_coast):
    (leg,) = route_exposure(parallel_leg(1_500.0), straight_coast, fetch_limit_m=50_000.0)
    assert leg.fetch_m[DIRECTIONS_DEG == 90.0][0] == pytest.approx(1_500.0, abs=0.5)
    assert leg.fetch_m[DIRECTIONS_DEG == 60.0][0] == pytest.approx(1_500 / np.cos(np.pi / 6), abs=2)
    assert leg.fetch_m[DIRECTIONS_DEG == 270.0][0] == 50_000.0
    assert leg.longest_fetch[0] == 50_000.0


def test_land_crossed_is_told_with_where(straight_coast):
    begin, end = direct(10.0, 0.0, 270.0, 500.0), direct(10.0, 0.0, 90.0, 1_500.0)
    route = route_from_points(
        [Waypoint(0.0, float(begin[0]), "sea"), Waypoint(0.0, float(end[0]), "inland")], name="in"
    )
    (leg,) = route_exposure(route, straight_coast)
    assert leg.land == (pytest.approx((500.0, 2_000.0), abs=0.5),)
    assert leg.offshore_m[-1] == 0.0
    (words,) = leg_flags(leg, Limits(), 1.0)
    assert words.startswith("crosses land for 1.5 km (from its start: 500 m to 2.0 km)")
    (words,) = leg_flags(leg, Limits(), 5_000.0)
    assert words.endswith("less than the coastline's nominal error of 5,000 m")
    assert not leg.portage


def test_limit_above_the_notice_still_points_the_leg_out(straight_coast):
    limits = Limits(offshore_m=3_000.0)
    (leg,) = route_exposure(parallel_leg(1_500.0), straight_coast, limit_m=3_000.0)
    (words,) = leg_flags(leg, limits, 1.0)
    assert words == (
        "open crossing: more than 1,000 m from shore for 4.0 km, 1.5 km at the farthest"
    )
    assert leg.beyond_limit_m == 0.0


def test_no_distance_limit_is_no_verdict_against_it(straight_coast):
    (leg,) = route_exposure(parallel_leg(1_500.0), straight_coast)
    assert offshore_verdict(leg, Limits(offshore_m=None), np.nan) is Verdict.WITHIN
    assert leg.beyond_limit_m == 0.0


def test_reversed_route_has_the_same_exposure(straight_coast):
    route = parallel_leg(800.0)
    there = route_exposure(route, straight_coast)[0]
    back = route_exposure(route.reversed(), straight_coast)[0]
    assert back.offshore_mean_m == pytest.approx(there.offshore_mean_m, abs=1e-3)
    assert back.fetch_m == pytest.approx(there.fetch_m, abs=0.5)


def test_spacing_must_be_positive(straight_coast):
    with pytest.raises(InputError, match="more than 0"):
        route_exposure(parallel_leg(800.0), straight_coast, spacing_m=0.0)


def test_length_beyond_cuts_between_samples():
    at = np.array([0.0, 100.0, 200.0, 300.0])
    assert length_beyond(at, np.array([0.0, 100.0, 100.0, 0.0]), 50.0) == pytest.approx(200.0)
    assert length_beyond(at, np.array([60.0, 60.0, 60.0, 60.0]), 50.0) == pytest.approx(300.0)
    assert length_beyond(at, np.array([50.0, 50.0, 50.0, 50.0]), 50.0) == 0.0
    assert mean_along(at, np.array([0.0, 100.0, 100.0, 0.0])) == pytest.approx(200.0 / 3)


def test_default_coast_knows_a_southern_lake():
    # Lake Taupo, New Zealand (38.8 S): a lake is water and its shore counts.
    coast = Coastline.default()
    route = route_from_points(
        [Waypoint(-38.80, 175.85, "west"), Waypoint(-38.80, 175.95, "east")], name="lake"
    )
    (leg,) = route_exposure(route, coast)
    assert not leg.crosses_land
    assert 3_000 < leg.offshore_max_m < 15_000
    assert leg.longest_fetch[0] < 45_000  # the lake is some 46 km long


def test_stretches_add_up_to_the_length_beyond():
    at = np.linspace(0, 5_000, 51)
    rng = np.random.default_rng(7)
    for _ in range(50):
        value = rng.uniform(0, 2_000, at.size)
        stretches = stretches_beyond(at, value, 1_000.0)
        total = sum(end - begin for begin, end in stretches)
        assert total == pytest.approx(length_beyond(at, value, 1_000.0))
        assert all(begin < end for begin, end in stretches)


def test_wind_off_the_land_is_offshore(straight_coast):
    (leg,) = route_exposure(parallel_leg(500.0), straight_coast)
    assert leg.wind_side[DIRECTIONS_DEG == 90.0][0] == pytest.approx([0, 0, 1])
    assert leg.wind_side[DIRECTIONS_DEG == 270.0][0] == pytest.approx([1, 0, 0])
    assert leg.wind_side[DIRECTIONS_DEG == 0.0][0] == pytest.approx([0, 1, 0])


def test_effective_fetch_off_a_straight_shore(straight_coast):
    # By hand, wind from the shore at 1,000 m: every radial is 1,000 / cos(a), so that
    # F = sum(1,000) / sum(cos a) = 15,000 / 13.5109.
    (leg,) = route_exposure(parallel_leg(1_000.0), straight_coast)
    east = leg.effective_fetch_m[DIRECTIONS_DEG == 90.0][0]
    assert east == pytest.approx(15_000 / 13.5109, rel=1e-3)


def test_winds_off_a_straight_shore_are_told_as_a_sector(straight_coast):
    (leg,) = route_exposure(parallel_leg(1_500.0), straight_coast)
    # The shore lies due east: winds from within 45 degrees of east blow off it.
    assert leg.offshore_winds() == ((50.0, 130.0),)
    assert leg.open_downwind_m(50.0, 130.0) == leg.fetch_limit_m
    assert leg.open_downwind_m(270.0, 270.0) == pytest.approx(1_500.0, abs=1.0)
    length, direction = leg.longest_effective_fetch
    assert length == pytest.approx(leg.fetch_limit_m)
    assert 180.0 < direction < 360.0


def test_length_and_stretches_with_an_unknown_sample():
    at = np.array([0.0, 100.0, 200.0, 300.0])
    value = np.array([0.0, 500.0, np.nan, 500.0])
    assert np.isnan(length_beyond(at, value, 1_000.0))
    # What is unknown is taken as far, up to the nearest samples that are known.
    assert stretches_beyond(at, value, 1_000.0) == (pytest.approx((100.0, 300.0), abs=1e-6),)
    value[2] = 1_500.0
    assert length_beyond(at, value, 1_000.0) == pytest.approx(100.0)
    assert stretches_beyond(at, value, 1_000.0) == (pytest.approx((150.0, 250.0)),)


@pytest.mark.parametrize(
    ("kind", "symbol", "marked"),
    [
        ("portage", "", True),
        ("Portage (rough)", "", True),
        ("", "PORTAGE", True),
        ("no portage", "", False),
        ("landing", "camp", False),
        ("portages", "", False),
    ],
)
def test_a_portage_is_told_by_type_or_symbol(kind, symbol, marked):
    assert is_portage(Waypoint(0.0, 0.0, "portage", kind, symbol)) is marked

"""What is said of a leg: flags, notes and the verdict on its distance from shore."""

from dataclasses import replace

import numpy as np
import pytest

from routeplan._plan.legflags import leg_flags, leg_notes, offshore_verdict
from routeplan.coastsource import OffshoreComparison
from routeplan.exposure import route_exposure
from routeplan.geodesy import direct
from routeplan.limits import Limits, Verdict
from routeplan.route import Waypoint, route_from_points


def inland_leg(kind=""):
    """From 500 m west of the straight shore to 1,500 m inland."""
    begin, end = direct(10.0, 0.0, 270.0, 500.0), direct(10.0, 0.0, 90.0, 1_500.0)
    points = [Waypoint(0.0, float(begin[0]), "sea", kind), Waypoint(0.0, float(end[0]), "inland")]
    return route_from_points(points, name="in")


def compared(coarse_m, fine_m, limit_m=1_000.0):
    def verdict(value):
        if np.isnan(value):
            return "unknown"
        return "beyond" if value > limit_m else "within"

    return OffshoreComparison(
        1,
        limit_m,
        coarse_m,
        fine_m,
        verdict(coarse_m),
        verdict(fine_m),
        fine_m - coarse_m,
        1.0,
        2.0,
    )


@pytest.fixture
def far_leg(straight_coast):
    lon, _ = direct(10.0, 0.0, 270.0, 1_500.0)
    ends = [direct(lon, 0.0, 0.0, y) for y in (-1_000.0, 1_000.0)]
    points = [Waypoint(float(y), float(x), n) for (x, y), n in zip(ends, "ab", strict=True)]
    (leg,) = route_exposure(route_from_points(points), straight_coast, limit_m=1_000.0)
    return leg


def test_land_on_a_portage_is_a_carry_and_no_warning(straight_coast):
    (leg,) = route_exposure(inland_leg("Portage"), straight_coast)
    assert leg.portage
    assert leg.crosses_land
    assert leg_flags(leg, Limits(), 1.0) == ()
    assert leg_notes(leg) == ("carry of 1.5 km over land (from its start: 500 m to 2.0 km)",)


def test_land_without_a_portage_is_a_warning_and_no_carry(straight_coast):
    (leg,) = route_exposure(inland_leg(), straight_coast)
    assert leg_flags(leg, Limits(), 1.0)[0].startswith("crosses land for 1.5 km")
    assert leg_notes(leg) == ()


def test_a_portage_without_land_is_said(far_leg):
    (words,) = leg_notes(replace(far_leg, portage=True))
    assert "no land" in words


def test_many_stretches_of_land_are_counted(far_leg):
    land = tuple((100.0 * i, 100.0 * i + 50.0) for i in range(6))
    (_, words) = leg_flags(replace(far_leg, land=land), Limits(), 1.0)
    assert "300 m to 350 m and 2 more stretches" in words


def test_coastlines_that_differ_say_so_with_both_figures(far_leg):
    flags = leg_flags(far_leg, Limits(), 1.0, comparison=compared(940.0, 1_500.0))
    assert flags[-1] == (
        "the coastlines differ on the limit of 1,000 m from shore: by the default coastline "
        "within, at most 940 m; by the finer one beyond, at most 1.5 km"
    )
    assert len(leg_flags(far_leg, Limits(), 1.0, comparison=compared(1_200.0, 1_500.0))) == 1
    unknown = leg_flags(far_leg, Limits(), 1.0, comparison=compared(np.nan, 1_500.0))
    assert "by the default coastline unknown, at most unknown; by the finer one" in unknown[-1]
    free = leg_flags(far_leg, Limits(offshore_m=None), 1.0, comparison=compared(940.0, 1_500.0))
    assert free[-1].startswith("the coastlines differ on a distance of 1,000 m from shore")


def test_unknown_distance_is_flagged_and_never_within(far_leg):
    part = far_leg.offshore_m * 0.1
    part[3] = np.nan
    leg = replace(far_leg, offshore_m=part, offshore_max_m=np.nan, beyond_limit_m=np.nan)
    assert leg_flags(leg, Limits(), 1.0) == ("the distance from shore is unknown on part of it",)
    assert offshore_verdict(leg, Limits(), 1.0) is Verdict.UNKNOWN


def test_beyond_is_not_softened_by_what_is_unknown(far_leg):
    part = far_leg.offshore_m.copy()
    part[3] = np.nan
    leg = replace(far_leg, offshore_m=part, offshore_max_m=np.nan, beyond_limit_m=np.nan)
    assert offshore_verdict(leg, Limits(), 1.0) is Verdict.BEYOND
    assert leg_flags(leg, Limits(), 1.0) == (
        "beyond the limit of 1,000 m from shore, 1.5 km at the farthest",
        "the distance from shore is unknown on part of it",
    )

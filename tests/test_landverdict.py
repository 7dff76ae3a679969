"""A line over land is no passage, whatever the weather."""

import numpy as np
import pytest
from test_plan import BOARD, forecast

from routeplan.geodesy import direct
from routeplan.limits import Limits, Verdict
from routeplan.plan import Trip, plan_trip
from routeplan.route import Waypoint, route_from_points


def over_the_shore(coast, inland_m, *, kind=""):
    """A leg that runs from 600 m off a straight shore to a way inland."""
    ends = [direct(10.0, 0.0, 270.0, 600.0), direct(10.0, 0.0, 90.0, inland_m)]
    points = [
        Waypoint(float(lat), float(lon), name, kind)
        for (lon, lat), name in zip(ends, ("water", "inland"), strict=True)
    ]
    trip = Trip(
        route=route_from_points(points, name="in"),
        coast=coast,
        forecast=forecast(),
        limits=Limits(offshore_m=None),
        craft=BOARD,
    )
    return plan_trip(trip).stages[0]


@pytest.mark.parametrize(
    ("error_m", "inland_m", "verdict"),
    [
        (100.0, 90.0, Verdict.CLOSE),
        (100.0, 110.0, Verdict.BEYOND),
        (np.nan, 90.0, Verdict.CLOSE),
        (np.nan, 110.0, Verdict.BEYOND),
    ],
)
def test_land_beyond_the_error_of_the_coastline_cannot_be_paddled(
    straight_coast, monkeypatch, error_m, inland_m, verdict
):
    monkeypatch.setattr(straight_coast, "nominal_error_m", error_m)
    stage = over_the_shore(straight_coast, inland_m)
    noon = 24
    assert Verdict(stage.scan.verdict[noon]) is verdict
    assert stage.scan.binding[noon] == "land"
    assert "crosses land on leg 1" in stage.scan.reasons(noon)[0]
    assert (stage.best is None) is (verdict is Verdict.BEYOND)
    assert stage.scan.verdict.min() == verdict


def test_a_portage_is_no_land_in_the_way(straight_coast):
    stage = over_the_shore(straight_coast, 300.0, kind="portage")
    assert Verdict(stage.scan.verdict[24]) is Verdict.WITHIN


def test_water_all_the_way_is_not_told(straight_coast):
    lon, _ = direct(10.0, 0.0, 270.0, 300.0)
    ends = [direct(lon, 0.0, 0.0, y) for y in (-500.0, 500.0)]
    route = route_from_points(
        [Waypoint(float(y), float(x), n) for (x, y), n in zip(ends, "ab", strict=True)], name="n"
    )
    stage = plan_trip(
        Trip(route=route, coast=straight_coast, forecast=forecast(), craft=BOARD)
    ).stages[0]
    assert Verdict(stage.scan.verdict[24]) is Verdict.WITHIN
    assert not [f for f in stage.scan.findings(24) if f.limit == "land"]

"""A line that lies on land looks like no line on water, on every map."""

import numpy as np
import pytest
from coastmaker import rectangle
from stagemaker import north_route

from routeplan._html.mapdata import map_document
from routeplan._show.mapframe import frame_of, land_stretches
from routeplan._show.wording import Clock
from routeplan.charts import map_figure
from routeplan.plan import Trip, plan_trip
from routeplan.report import report_html


@pytest.fixture(scope="module")
def crossing(coast_from_rings):
    """Six kilometres north, of which the third and fourth lie on an island."""
    island = rectangle(10.0, 0.0, west_m=1_000, south_m=-2_000, east_m=1_000, north_m=4_000)
    return plan_trip(Trip(north_route(6_000.0), coast=coast_from_rings(island)))


@pytest.fixture(scope="module")
def afloat(coast_from_rings):
    island = rectangle(10.0, 0.0, west_m=-500, south_m=0, east_m=2_000, north_m=4_000)
    return plan_trip(Trip(north_route(6_000.0), coast=coast_from_rings(island)))


def test_the_stretch_is_where_the_land_is(crossing):
    frame = frame_of(crossing)
    (stretch,) = land_stretches(frame, crossing.exposures[0])
    length_m = np.hypot(*np.diff(stretch, axis=0).T).sum()
    assert length_m == pytest.approx(2_000.0, rel=0.01)
    whole = frame.y(crossing.exposures[0].latitude)
    assert stretch[0, 1] - whole[0] == pytest.approx(2_000.0, rel=0.01)


def test_the_map_of_the_report_has_it(crossing, afloat):
    (leg,) = map_document(crossing, Clock("UTC"))["legs"]
    ((xs, ys),) = leg["land"]
    assert len(xs) == len(ys)
    assert ys[-1] - ys[0] == pytest.approx(2_000, abs=20)
    assert map_document(afloat, Clock("UTC"))["legs"][0]["land"] == []
    words = "the line lies on land."
    assert words in report_html(crossing)
    assert words not in report_html(afloat)


def test_the_picture_has_it_and_its_key(crossing, afloat):
    key = "black with white dashes: over land"

    def keys(plan):
        return [text.get_text() for axes in map_figure(plan).axes for text in axes.texts]

    assert key in keys(crossing)
    assert key not in keys(afloat)

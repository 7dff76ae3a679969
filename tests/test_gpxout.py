"""A plan as GPX: valid, read back as the same route, its waypoints cutting nothing."""

import re
from dataclasses import replace
from functools import cache
from xml.etree import ElementTree

import numpy as np
import pytest
from _gpxschema import schema_errors
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from planmaker import demo_plan
from stagemaker import MIDNIGHT, forecast, north_route

from routeplan._line.gpxparse import clean_text
from routeplan.errors import InputError
from routeplan.geodesy import direct, inverse
from routeplan.gis import plan_gpx
from routeplan.gpx import read_gpx, write_gpx
from routeplan.plan import Trip, plan_trip
from routeplan.route import Waypoint, is_camp, route_from_points, route_from_track
from routeplan.stops import Place, places_of_waypoints

NS = {"g": "http://www.topografix.com/GPX/1/1"}


def read(content, tmp_path):
    (tmp_path / "plan.gpx").write_bytes(content)
    return read_gpx(tmp_path / "plan.gpx")


def assert_same_route(one, other):
    assert other.name == clean_text(one.name)
    assert [(clean_text(p.name), is_camp(p)) for p in one.points] == [
        (p.name, is_camp(p)) for p in other.points
    ]
    for leg, again in zip(one.legs, other.legs, strict=True):
        # The same meridian has two names.
        apart = (again.longitude - leg.longitude + 180.0) % 360.0 - 180.0
        assert np.abs(apart).max() <= 1e-9
        assert np.abs(again.latitude - leg.latitude).max() <= 1e-9
        assert again.stage == leg.stage


def waypoints(content):
    """Name to description and type of the waypoints of a file."""
    root = ElementTree.fromstring(content)
    return {
        w.findtext("g:name", "", NS): (w.findtext("g:desc", "", NS), w.findtext("g:type", "", NS))
        for w in root.findall("g:wpt", NS)
    }


# --- the schema of the tests can tell -----------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "valid"),
    [
        ('<wpt lat="58" lon="11"><ele>1</ele><name>a</name><sym>b</sym></wpt>', True),
        ('<wpt lat="58" lon="11"><name>a</name><ele>1</ele></wpt>', False),  # the wrong order
        ('<wpt lat="58" lon="180"/>', False),  # longitudes end before 180
        ('<wpt lat="90.5" lon="0"/>', False),
        ('<wpt lat="1e1" lon="0"/>', False),  # xsd:decimal has no exponent
        ('<rte><rtept lat="1" lon="1"/></rte><wpt lat="1" lon="1"/>', False),
        ('<wpt lat="1" lon="1"><colour>red</colour></wpt>', False),
        ('<wpt lat="1" lon="1"><time>yesterday</time></wpt>', False),
        (
            "<metadata><name>a</name><desc>b</desc><time>2026-07-13T06:00:00Z</time></metadata>",
            True,
        ),
        ("<metadata><time>2026-07-13T06:00:00Z</time><name>a</name></metadata>", False),
    ],
)
def test_the_schema_tells_good_from_bad(body, valid):
    text = f'<gpx version="1.1" creator="t" xmlns="{NS["g"]}">{body}</gpx>'
    assert (schema_errors(text.encode()) == []) is valid
    assert schema_errors(text.replace('version="1.1"', 'version="1.0"').encode())


# --- the demo -----------------------------------------------------------------------------------


def test_the_demo_is_valid_and_reads_back_as_the_same_route(tmp_path):
    plan = demo_plan()
    content = plan_gpx(plan)
    assert schema_errors(content) == []
    again = read(content, tmp_path)
    assert_same_route(plan.route, again)
    assert len(again.stages) == 3
    assert [camp.name for camp in again.camps] == ["Camp 1", "Camp 2"]


def test_the_demo_has_its_places_with_times_in_both_zones():
    plan, found = demo_plan(), waypoints(plan_gpx(demo_plan()))
    first = plan.stages[0]
    desc, kind = found["Launch 1: Start landing"]
    assert kind == "planned launch"
    # 06:00 UTC is 08:00 in Sweden in July (CEST = UTC + 2 h).
    assert "08:00 CEST (2026-07-13T06:00:00Z)" in desc
    assert found["Night 1: Camp 1"][0].startswith("Arrive Mon 13 Jul 10:34 CEST (2026-07-13T08:34")
    for turn in first.turn_back:
        desc, kind = found[f"Turn-back: leg {turn.leg}"]
        assert kind == "planned turn-back"
        for when in (turn.arrive, turn.go_on_until, turn.turn_round_until):
            assert f"{np.datetime_as_string(when, unit='s')}Z" in desc
    for stage in plan.stages:
        for landing in stage.landings:
            desc, kind = found[f"Bail-out: leg {landing.leg}"]
            assert kind == "planned bail-out"
            assert "not a promise that one can land" in desc
    assert {"Water near the start", "Landing, west skerry"} <= set(found)


def test_the_file_says_that_it_is_invented_and_what_it_rests_on():
    root = ElementTree.fromstring(plan_gpx(demo_plan()))
    desc = root.findtext("g:metadata/g:desc", "", NS)
    assert desc.startswith("INVENTED DATA")
    assert all(caution in desc for caution in demo_plan().cautions)
    assert "GSHHG" in desc
    assert root.findtext("g:metadata/g:time", "", NS) == "2026-07-13T06:00:00Z"
    assert root.findtext("g:rte/g:desc", "", NS).startswith("INVENTED DATA")


def test_what_a_plan_added_is_no_camp_no_landing_and_is_not_added_twice(tmp_path):
    plan = demo_plan()
    again = read(plan_gpx(plan), tmp_path)
    added = [w for w in again.waypoints if w.kind.startswith("planned ")]
    # A launch and an end of each of 3 stages, a landing of each of 13 legs, a turn-back point of
    # each leg but the first of its stage.
    assert len(added) == 2 * 3 + 13 + 10
    assert not any(is_camp(w) for w in added)
    assert places_of_waypoints(added) == ()
    later = replace(plan, trip=replace(plan.trip, route=again))
    assert waypoints(plan_gpx(later)) == waypoints(plan_gpx(plan))


# --- other plans --------------------------------------------------------------------------------


@cache
def far_coast():
    from routeplan.coastline import Coastline

    return Coastline.default()


def test_a_plan_without_a_forecast_has_its_route_and_says_so(tmp_path):
    route = read_gpx_of_demo()
    plan = plan_trip(Trip(route, coast=far_coast()))
    content = plan_gpx(plan)
    assert schema_errors(content) == []
    assert_same_route(route, read(content, tmp_path))
    assert "No forecast was given" in waypoints(content)["Launch 1: Start landing"][0]


def read_gpx_of_demo():
    from routeplan._demo.files import demo_files

    return read_gpx(demo_files().route)


def test_a_shore_that_cannot_be_reached_is_told_where_one_is(tmp_path):
    plan = demo_plan()
    stage = plan.stages[0]
    lost = replace(
        stage.landings[0],
        landing_longitude=np.nan,
        landing_latitude=np.nan,
        time_s=np.nan,
        text="From leg 1 no shore can be reached against wind, sea and current.",
    )
    changed = replace(stage, landings=(lost,))
    content = plan_gpx(replace(plan, stages=(changed, *plan.stages[1:])))
    desc, kind = waypoints(content)["No bail-out: leg 1"]
    assert kind == "planned no bail-out"
    assert "no shore can be reached" in desc
    assert "promise" not in desc
    assert_same_route(plan.route, read(content, tmp_path))


def test_camps_chosen_among_places_and_camps_passed_by(straight_coast, tmp_path):
    """The file's camp at 5 km is passed by, that of the places at 10 km is slept at."""
    route = north_route(20_000.0, offshore_m=300.0)
    lon, lat = (route.longitude[0], direct(route.longitude[0], 0.0, 0.0, 5_000.0)[1])
    passed = Waypoint(float(lat), float(lon), "Camp Otter", "camp")
    route = replace(route, waypoints=(passed,))
    camp = Place(float(direct(lon, 0.0, 0.0, 10_000.0)[1]), float(lon), "Camp Seal", "camp")
    plan = plan_trip(
        Trip(
            route,
            coast=straight_coast,
            forecast=forecast(hours=72),
            places=(camp,),
            now=MIDNIGHT,
            zone="UTC",
            wishes=replace(Trip(route).wishes, reach_m=12_000.0),
        )
    )
    assert len(plan.route.stages) == 2
    content = plan_gpx(plan)
    assert schema_errors(content) == []
    again = read(content, tmp_path)
    assert_same_route(plan.route, again)
    assert [camp.name for camp in again.camps] == ["Camp Seal"]
    assert waypoints(content)["Not slept at: Camp Otter"][1] == "place passed"


def test_the_antimeridian_itself_is_written_as_the_schema_wants(tmp_path):
    route = route_from_points([Waypoint(0.0, 179.9, "a"), Waypoint(0.1, 180.0, "b")], name="x")
    write_gpx(route, tmp_path / "w.gpx")
    content = (tmp_path / "w.gpx").read_bytes()
    assert b'lon="-180"' in content
    assert schema_errors(content) == []
    assert_same_route(route, read_gpx(tmp_path / "w.gpx"))


# --- as properties ------------------------------------------------------------------------------

HOSTILE = [
    "<script>alert(1)</script>", "]]>", "&amp;&#0;", '"/><wpt lat="0" lon="0"/>', "Camp & <b>",
    "camp: \u202egnol", "a\x00\x1b[31mb", "\ud800", "\ufffe", "x" * 400, "  ", "no camp",
    "日本 بيت", "Bail-out: leg 1", "shape",
]  # fmt: skip
# Cleaned: control codes may otherwise hide the word camp in a name that was no camp's.
names = (st.text(max_size=20) | st.sampled_from(HOSTILE)).map(clean_text)
kinds = st.sampled_from(["", "", "camp", "harbour", "planned night", "no camp", "shelter"])


@st.composite
def routes(draw):
    """A route anywhere on Earth and places up to 300 m beside it, with hostile names."""
    middle = draw(st.floats(-180, 180)), draw(st.floats(-80, 80))
    spread = st.tuples(st.floats(-0.1, 0.1), st.floats(-0.1, 0.1))
    line = [
        Waypoint(middle[1] + up, (middle[0] + along + 180) % 360 - 180, draw(names), draw(kinds))
        for along, up in draw(st.lists(spread, min_size=2, max_size=6))
    ]
    beside = []
    for _ in range(draw(st.integers(0, 3))):
        piece = draw(st.integers(0, len(line) - 2))
        ends = [(point.longitude, point.latitude) for point in line[piece : piece + 2]]
        course, length = inverse(*ends[0], *ends[1])
        foot = direct(*ends[0], course, length * draw(st.floats(0, 1)))
        lon, lat = direct(*foot, course + 90, draw(st.floats(-300, 300)))
        beside.append(Waypoint(float(lat), float(lon), draw(names), draw(kinds)))
    used = draw(st.booleans())  # whether the route was cut at the camps beside it
    try:
        route = route_from_points(
            line, name=draw(names.filter(bool)), waypoints=beside if used else ()
        )
    except InputError:
        assume(False)  # no length
    return replace(route, waypoints=tuple(beside))


@settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(routes(), names)
def test_any_plan_is_valid_and_reads_back_as_the_same_route(tmp_path, route, title):
    content = plan_gpx(plan_on(route, title))
    assert schema_errors(content) == []
    assert_same_route(route, read(content, tmp_path))


def plan_on(route, title=""):
    """The demo's plan with another route under it, cut into the stages of that."""
    plan = demo_plan()
    stages = tuple(
        replace(sp, stage=replace(sp.stage, legs=legs))
        for sp, legs in zip(plan.stages, route.stages, strict=False)
    )
    # Bail-outs and turn-back points of the demo, but on this line, to be in its way.
    here = {"longitude": float(route.longitude[0]), "latitude": float(route.latitude[0])}
    there = {f"landing_{name}": value for name, value in here.items()}
    stages = tuple(
        replace(
            sp,
            turn_back=tuple(replace(it, **here) for it in sp.turn_back),
            landings=tuple(replace(it, **here, **there) for it in sp.landings),
            best=None,
            scan=None,
        )
        for sp in stages
    )
    trip = replace(plan.trip, route=route, title=title, forecast=None)
    return replace(plan, trip=trip, stages=stages, coverage=None)


def test_a_track_cut_into_legs_reads_back(tmp_path):
    row = [(11 + i / 500, 58 + 0.01 * (i % 20 > 10)) for i in range(100)]
    landmark = Waypoint(58.001, 11.05, "Otter", kind="camp")
    route = route_from_track([row], [landmark, Waypoint(58.0, 11.02, "Quay")], name="Log")
    assert len(route.stages) == 2
    content = plan_gpx(plan_on(route))
    assert schema_errors(content) == []
    assert_same_route(route, read(content, tmp_path))


def test_hostile_text_stays_text():
    hostile = '"/><wpt lat="0" lon="0"><name>x</name></wpt> \x1b[31m\u202e'
    route = route_from_points([Waypoint(58, 11, hostile), Waypoint(58.1, 11, "b")], name=hostile)
    content = plan_gpx(plan_on(route, hostile))
    assert schema_errors(content) == []
    text = content.decode()
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert not re.search('<wpt lat="0" lon="0"', text)

"""What the contact ashore is told: the user's table, and the facts of the plan."""

import math
import tomllib
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from coastmaker import rectangle
from geographiclib.geodesic import Geodesic
from planmaker import demo_plan

from routeplan._plan.ashore import Ashore, ashore_from, read_ashore, sheet_of
from routeplan._plan.sheetlegs import named_landings, sheet_legs
from routeplan.errors import InputError
from routeplan.exposure import route_exposure
from routeplan.limits import Verdict
from routeplan.plan import StagePlan, Trip, plan_trip
from routeplan.route import Waypoint, route_from_points
from routeplan.rules import read_group
from routeplan.stops import stages_of

FULL = """\
# who is told
[ashore]
contact = "Karin Lind"
contact_phone = "+46 70 174 06 05"
emergency_phone = 112
emergency_service = "Sea rescue"
people = ["Åsa", "Bo"]
call_sign = "SC 1234"
mmsi = "265 000 000"
beacon = "on Bo"
vehicle = "white van"
vehicle_at = "car park"
note = "tents: green"
call_in = "30 min"
alarm = "90 min"

[ashore.phones]
"Åsa" = "+46 70 174 06 11"

[ashore.colours]
Bo = "board, orange"

[ashore.medical]
Bo = "asthma"
"""


def parsed(text):
    return ashore_from(tomllib.loads(text)["ashore"], "trip.toml", text)


def told(plan, ashore=None, **changes):
    """The sheet of a plan for another table of the user's."""
    trip = replace(plan.trip, ashore=ashore, **changes)
    return sheet_of(trip, plan.stages, plan.exposures, coast=plan.coast, kit=plan.kit)


def seconds(when):
    return float((when - np.datetime64(0, "ns")) / np.timedelta64(1, "s"))


def test_a_full_table_is_read():
    read = parsed(FULL)
    assert read == Ashore(
        contact="Karin Lind",
        contact_phone="+46 70 174 06 05",
        emergency_phone="112",
        emergency_service="Sea rescue",
        people=("Åsa", "Bo"),
        phones={"Åsa": "+46 70 174 06 11"},
        colours={"Bo": "board, orange"},
        medical={"Bo": "asthma"},
        call_sign="SC 1234",
        mmsi="265000000",
        beacon="on Bo",
        vehicle="white van",
        vehicle_at="car park",
        note="tents: green",
        call_in_s=1800.0,
        alarm_s=5400.0,
    )


def test_nothing_is_filled_in_for_the_user():
    read = parsed("[ashore]\n")
    assert read == Ashore()
    assert (read.emergency_phone, read.contact, read.people) == ("", "", ())
    assert (read.call_in_s, read.alarm_s) == (3600.0, 7200.0)


def test_a_group_file_may_hold_the_table(tmp_path):
    path = tmp_path / "group.toml"
    path.write_text('[[person]]\nname = "Bo"\n\n[ashore]\ncontact = "K"\n', encoding="utf-8")
    assert read_group(path).people[0].name == "Bo"
    found = read_ashore(path)
    assert found is not None
    assert found.contact == "K"
    path.write_text('[[person]]\nname = "Bo"\n', encoding="utf-8")
    assert read_ashore(path) is None


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('contact = "Karin Lind"', 'contacts = "K"', "trip.toml:3: ashore: contacts is not known"),
        ('contact = "Karin Lind"', 'contact = ""', "trip.toml:3: ashore: contact must be a text"),
        ('contact = "Karin Lind"', "contact = 7", "trip.toml:3: ashore: contact must be a text"),
        ('contact = "Karin Lind"', f'contact = "{"x" * 201}"', "has 201 characters; allowed"),
        ("= 112", "= 46701740605", "trip.toml:5: ashore: emergency_phone must be in quotes"),
        ("= 112", "= -112", "emergency_phone must be in quotes"),
        ("= 112", "= true", "emergency_phone must be a text"),
        ("= 112", '= "call them"', "emergency_phone is 'call them'; allowed is a number"),
        ("= 112", f'= "{"1" * 41}"', "allowed is a number of up to 40 characters"),
        ('"265 000 000"', '"26500000"', "trip.toml:9: ashore: mmsi is '26500000'; allowed are"),
        ('"265 000 000"', '"２65000000"', "mmsi is '２65000000'; allowed are nine figures"),
        ('["Åsa", "Bo"]', '["Bo", "Bo"]', "people names somebody twice"),
        ('["Åsa", "Bo"]', '[["Bo"]]', "people must be a text or a list of texts"),
        ('["Åsa", "Bo"]', '["Åsa"]', "Bo is nobody of people; allowed are Åsa"),
        ('"30 min"', "30", "trip.toml:14: ashore: call_in 30 has no unit"),
        ('"30 min"', '"25 h"', "call_in is '25 h'; allowed is 0 s to 1 d"),
        ('"90 min"', '"-1 h"', "alarm is '-1 h'; allowed is 0 s to 3 d"),
        ('"90 min"', '"nan h"', "alarm"),
        ('"+46 70 174 06 11"', '"nobody"', "trip.toml:18: ashore.phones: Åsa is 'nobody'; allowed"),
        ('"+46 70 174 06 11"', "[]", "trip.toml:18: ashore.phones: Åsa must be a text"),
        ('Bo = "asthma"', '" " = "asthma"', "is no name; allowed are 1 to 200 characters"),
    ],
)
def test_what_is_wrong_is_said_in_one_line(old, new, said):
    text = FULL.replace(old, new, 1)
    assert text != FULL
    with pytest.raises(InputError) as caught:
        parsed(text)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("text", ["ashore = 3\n", "[[ashore]]\n[[ashore]]\n", "ashore = []\n"])
def test_the_table_must_be_one(text):
    with pytest.raises(InputError, match=r"trip\.toml:1: ashore: ashore must be one table"):
        ashore_from(tomllib.loads(text)["ashore"], "trip.toml", text)


def test_tables_by_name_must_be_tables_and_not_without_end():
    with pytest.raises(InputError, match="phones must be a table"):
        parsed('[ashore]\nphones = "12"\n')
    many = "[ashore.colours]\n" + "".join(f'p{i} = "red"\n' for i in range(101))
    with pytest.raises(InputError, match="colours has 101 names; allowed are 100"):
        parsed(many)


def test_call_in_and_alarm_follow_the_arrival_on_full_five_minutes():
    plan = demo_plan()
    sheet = told(plan, Ashore(call_in_s=1800.0, alarm_s=5400.0))
    assert len(sheet.stages) == 3
    for stage, source in zip(sheet.stages, plan.stages, strict=True):
        arrive = datetime.fromtimestamp(seconds(source.day.arrive), UTC)
        for got, after in ((stage.call_in, 1800), (stage.alarm, 7200)):
            least = arrive + timedelta(seconds=after)
            late = seconds(got) - least.timestamp()
            assert 0.0 <= late < 300.0
            assert seconds(got) % 300.0 == 0.0
        assert stage.launch == source.day.launch
        assert stage.first_launch <= stage.launch <= stage.last_launch
        assert 0.0 <= seconds(stage.latest_alarm) - seconds(stage.latest_arrival) - 7200.0 < 300.0
        assert stage.latest_alarm >= stage.alarm
    assert sheet.alarm == sheet.stages[-1].alarm
    assert sheet.first_launch == plan.stages[0].day.launch
    assert [stage.ends_at_camp for stage in sheet.stages] == [True, True, False]


def test_without_a_launch_no_time_is_invented():
    plan = demo_plan()
    stages = [StagePlan(stage.stage) for stage in plan.stages]
    sheet = sheet_of(plan.trip, stages, plan.exposures, coast=plan.coast)
    for stage in sheet.stages:
        times = (
            stage.launch, stage.arrive, stage.first_launch, stage.last_launch, stage.last_light,
            stage.latest_arrival, stage.call_in, stage.alarm, stage.latest_alarm,
        )  # fmt: skip
        assert all(np.isnat(time) for time in times)
        assert stage.verdict is Verdict.UNKNOWN
        assert not stage.is_timed
        for leg in stage.legs:
            assert np.isnat(leg.enter)
            assert np.isnat(leg.go_on_until)
            assert leg.verdict is Verdict.UNKNOWN
            assert not leg.has_turn_back
            assert leg.shore is not None  # the coastline alone tells the nearest
    assert np.isnat(sheet.alarm)
    assert np.isnat(sheet.first_launch)


def test_an_arrival_that_is_unknown_gives_no_alarm():
    plan = demo_plan()
    first = plan.stages[0]
    lost = replace(first, day=replace(first.day, arrive=np.datetime64("NaT", "ns")))
    sheet = sheet_of(
        plan.trip, (lost, *plan.stages[1:]), plan.exposures, coast=plan.coast
    ).stages[0]  # fmt: skip
    assert not np.isnat(sheet.launch)
    assert np.isnat(sheet.call_in)
    assert np.isnat(sheet.alarm)
    assert not sheet.is_timed


def test_people_are_those_of_the_group_and_nobody_else(tmp_path):
    plan = demo_plan()
    path = tmp_path / "group.toml"
    path.write_text('[[person]]\nname = "Bo"\n[[person]]\nname = "Åsa"\n', encoding="utf-8")
    group = read_group(path)
    sheet = told(plan, Ashore(colours={"Bo": "red"}, phones={"Åsa": "12"}), group=group)
    assert [(p.name, p.colours, p.phone) for p in sheet.people] == [
        ("Bo", "red", ""),
        ("Åsa", "", "12"),
    ]
    with pytest.raises(InputError, match="ashore: 'Bob' is not in the group; allowed are Bo, Åsa"):
        told(plan, Ashore(medical={"Bob": "x"}), group=group)


def test_without_a_group_the_names_given_count():
    plan = demo_plan()
    assert told(plan).people == ()
    named = told(plan, Ashore(people=("A", "B"), colours={"B": "red"}))
    assert [(p.name, p.colours) for p in named.people] == [("A", ""), ("B", "red")]
    found = told(plan, Ashore(colours={"B": "red"}, phones={"C": "12"}))
    assert [p.name for p in found.people] == ["B", "C"]


def test_ways_out_agree_with_another_library():
    """Against GeographicLib's Python port (Karney 2013), which the package does not use."""
    for stage in told(demo_plan()).stages:
        for leg in stage.legs:
            assert leg.landing is not None
            line = Geodesic.WGS84.Inverse(
                leg.worst_latitude, leg.worst_longitude, leg.landing.latitude, leg.landing.longitude
            )
            assert leg.landing.distance_m == pytest.approx(line["s12"], abs=0.01)
            assert leg.landing.bearing_deg == pytest.approx(line["azi1"] % 360.0, abs=1e-3)


def test_pieces_of_a_bent_leg_lead_to_its_end():
    """Dead reckoning by the pieces, by GeographicLib, ends where the leg does."""
    bent = 0
    for stage in told(demo_plan()).stages:
        for leg in stage.legs:
            lat, lon = leg.start.latitude, leg.start.longitude
            for course, length in leg.courses:
                there = Geodesic.WGS84.Direct(lat, lon, course, length)
                lat, lon = there["lat2"], there["lon2"]
            off = Geodesic.WGS84.Inverse(lat, lon, leg.end.latitude, leg.end.longitude)["s12"]
            assert off < 1.0
            along = sum(length for _, length in leg.courses)
            assert 0.97 * leg.length_m < along <= leg.length_m * (1 + 1e-9)
            bent += len(leg.courses) > 1
    assert bent > 0


@pytest.fixture(scope="module")
def island_route(coast_from_rings):
    """A line north along 10 E: west of it a landing behind an island, farther off a free one."""
    coast = coast_from_rings(
        rectangle(9.98, 0.02, west_m=500, south_m=3_000, east_m=500, north_m=3_000),
        rectangle(9.80, 0.02, west_m=5_000, south_m=20_000, east_m=5_000, north_m=20_000),
    )
    route = route_from_points(
        [Waypoint(0.0, 10.0, "south"), Waypoint(0.04, 10.0, "north")],
        waypoints=[
            Waypoint(0.02, 9.9745, "behind the island", kind="landing"),
            Waypoint(0.022, 10.05, "free", kind="landing"),
        ],
    )
    return coast, route


def test_a_landing_behind_land_is_passed_over(island_route):
    coast, route = island_route
    exposures = route_exposure(route, coast)
    landings = named_landings(route, ())
    assert [point.name for point in landings] == ["behind the island", "free", "south", "north"]
    stage = StagePlan(stages_of(route)[0])
    middle = replace(exposures[0], offshore_max_at_m=exposures[0].distance_m[-1] / 2)
    hidden = [point for point in landings if point.name == "behind the island"]
    both = [point for point in landings if point.name not in ("south", "north")]
    (leg,) = sheet_legs(stage, {1: middle}, both, coast)
    assert (leg.landing.name, leg.landing.over_land) == ("free", False)
    (leg,) = sheet_legs(stage, {1: middle}, hidden, coast)
    assert (leg.landing.name, leg.landing.over_land) == ("behind the island", True)
    (leg,) = sheet_legs(stage, {1: middle}, (), coast)
    assert leg.landing is None


def test_a_plan_without_weather_has_a_sheet_when_somebody_is_told(island_route):
    coast, route = island_route
    assert plan_trip(Trip(route, coast=coast)).sheet is None
    sheet = plan_trip(Trip(route, coast=coast, ashore=Ashore(contact="K"))).sheet
    assert sheet is not None
    assert sheet.ashore.contact == "K"
    assert np.isnat(sheet.stages[0].alarm)
    assert math.isfinite(sheet.stages[0].legs[0].shore.distance_m)

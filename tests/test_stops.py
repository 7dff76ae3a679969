"""Trips of several days: camps, days and launches chosen, and what they are told with."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from stagemaker import HOUR, MIDNIGHT, forecast, north_route

from routeplan._demo.files import demo_files
from routeplan.cli import run
from routeplan.errors import InputError
from routeplan.forecast import open_forecast
from routeplan.geodesy import direct
from routeplan.gpx import read_gpx
from routeplan.limits import Limits, Verdict, read_limits
from routeplan.plan import Trip, plan_trip
from routeplan.propulsion import craft
from routeplan.report import plan_document
from routeplan.simulation import Pace, path_along
from routeplan.stops import (
    Place,
    StageWeights,
    StageWishes,
    bailouts,
    choose_stages,
    other_plans,
    other_trips,
    part_of_route,
    position_on_route,
    replan,
    stage_table,
    stages_of,
    there_and_back,
)
from routeplan.windows import scan_launches

BOARD = craft("touring board", still_water_speed_ms=1.5)
LIMITS = Limits(offshore_m=None, wave_height_m=None, wind_ms=6.0, headwind_ms=None)
LINE_M = 300.0  # how far west of the coast the line runs


def camp(along_m, east_m=0.0, **more):
    """A camp so far along the line and so far east of it."""
    lon, lat = direct(10.0, 0.0, 270.0, LINE_M - east_m)
    lon, lat = direct(lon, lat, 0.0, along_m)
    name = more.pop("name", f"camp {along_m / 1000:g}")
    return Place(float(lat), float(lon), name, **more)


def choose(coast, ds, places, *, length_m=19_000.0, limits=LIMITS, table=False, **wishes):
    wishes = StageWishes(**{"reach_m": 12_000.0, "break_camp_s": 0.0, **wishes})
    return (stage_table if table else choose_stages)(
        north_route(length_m, offshore_m=LINE_M),
        places,
        ds,
        coast=coast,
        crafts=(BOARD,),
        limits=limits,
        wishes=wishes,
    )


def names(it):
    return [stage.end.place.name for stage in it.stages]


def test_fair_days_give_one_stage_a_day(straight_coast):
    it = choose(straight_coast, forecast(hours=72), [camp(10_000.0, note="ask at the farm")])
    assert it.complete
    assert names(it) == ["camp 10", "end"]
    assert (it.days, it.days_ashore, it.texts) == (2, 0, ())
    first, second = it.stages
    spent = (first.arrive - first.launch) / np.timedelta64(1, "s")
    assert spent == pytest.approx(10_000.0 / 1.5, rel=1e-3)
    assert first.note == "ask at the farm"
    assert second.launch - first.arrive >= 8 * HOUR
    # Civil dusk at 0 N, 10 W of nothing but 10 E, on 21 June: half a day after dawn and 22 min.
    assert np.datetime64("2026-06-21T17:40") < first.last_light < np.datetime64("2026-06-21T18:00")
    assert first.first_launch <= first.launch <= first.last_launch


def test_a_blow_on_the_second_day_costs_that_day(straight_coast):
    wind = np.zeros(97)
    wind[24:48] = -9.0  # off the land, so that no landing is hurt
    it = choose(straight_coast, forecast(u=wind, hours=96), [camp(10_000.0)])
    assert it.complete
    assert (it.days, it.days_ashore) == (3, 1)
    assert [stage.days_ashore for stage in it.stages] == [0, 1]
    assert it.stages[1].ashore_by == "wind"
    assert it.stages[1].launch >= MIDNIGHT + 47 * HOUR


def test_camp_open_to_the_wind_at_arrival_is_passed_over(straight_coast):
    """The camp on the line is open to the west, the sheltered one makes a detour of 400 m."""
    places = [
        camp(9_500.0, name="open", open_deg=((225.0, 315.0),)),
        camp(9_000.0, name="sheltered", east_m=200.0),
    ]
    words = {"length_m": 20_000.0, "landing_wind_ms": 2.0, "weights": StageWeights(spare=0.0)}
    for wind, expected in ((1.0, "open"), (3.0, "sheltered")):
        it = choose(straight_coast, forecast(u=wind, hours=72), places, **words)
        assert it.complete
        assert names(it)[0] == expected
        assert it.stages[0].landing.verdict is Verdict.WITHIN
        assert it.stages[0].landing.wind_from_deg == pytest.approx(270.0)
    blocked = choose(straight_coast, forecast(u=3.0, hours=72), places[:1], **words)
    assert not blocked.complete
    assert "the sea at the landing misses the limit by 50 % of it" in blocked.texts[-1]


def test_arrival_margin_moved_by_an_hour_changes_the_camp(straight_coast):
    """It blows until 13:15 and dusk is at 17:48: 4 h 33 min for 14 km or, with a detour, 9.2 km.

    Still air takes 2 h 36 min for the one and 1 h 42 min for the other. A margin of 1 h 20 min
    leaves 3 h 13 min, one an hour larger 2 h 13 min, which is enough for the near camp alone.
    """
    wind = np.full(97, -9.0)
    wind[14:] = 0.0
    near, far = camp(9_000.0, east_m=200.0), camp(14_000.0)
    words = {"length_m": 27_500.0, "reach_m": 19_000.0, "depart": MIDNIGHT + 13 * HOUR}
    chosen = []
    for margin_s in (4_800.0, 8_400.0):
        it = choose(
            straight_coast, forecast(u=wind, hours=96), [near, far],
            limits=replace(LIMITS, daylight_margin_s=margin_s),
            weights=StageWeights(margin=0.0, spare=0.0), **words,
        )  # fmt: skip
        assert it.complete
        assert it.days == 2
        first = it.stages[0]
        assert first.last_light - first.arrive >= np.timedelta64(int(margin_s), "s")
        chosen.append(names(it)[0])
    assert chosen == ["camp 14", "camp 9"]


def test_nearest_miss_and_its_reason_where_there_is_no_plan(straight_coast):
    it = choose(straight_coast, forecast(u=-6.6, hours=72), [camp(10_000.0)])
    assert not it.complete
    assert it.stages[0].verdict is Verdict.UNKNOWN  # later days may do; nobody knows them
    assert np.isnat(it.stages[0].judged_from)  # but its first day is in this forecast
    assert it.texts[-1] == (
        "Nearest to good is a launch from start to camp 10: wind misses the limit by 10 % of it."
    )
    before = choose(
        straight_coast, forecast(u=-6.6, hours=72), [camp(10_000.0)], home_by=MIDNIGHT + 40 * HOUR
    )
    assert before.stages[0].verdict is Verdict.BEYOND


def test_home_by_alone_stands_against_a_plan(straight_coast):
    it = choose(straight_coast, forecast(hours=72), [camp(10_000.0)], home_by=MIDNIGHT + 20 * HOUR)
    assert not it.complete
    assert "Only the time to be home by stands against a plan" in it.texts[0]
    assert names(it) == ["camp 10", "end"]


def test_days_beyond_the_forecast_are_unknown_and_say_when_they_can_be_judged(straight_coast):
    it = choose(straight_coast, forecast(hours=24), [camp(10_000.0)])
    first, second = it.stages
    assert first.verdict is Verdict.WITHIN
    assert second.verdict is Verdict.UNKNOWN
    assert np.isnat(second.launch)
    # The second day ends at midnight of local solar time, 40 minutes before that of UTC; a
    # forecast of a day reaches it when it begins a day earlier.
    known_from = MIDNIGHT + 24 * HOUR - np.timedelta64(40, "m")
    assert abs(second.judged_from - known_from) <= np.timedelta64(1, "s")
    assert "The forecast ends before a launch from camp 10 on a later day." in it.texts[0]


def test_missing_wind_is_never_good(straight_coast):
    wind = np.zeros(73)
    wind[24:48] = np.nan
    it = choose(straight_coast, forecast(u=wind, hours=72), [camp(10_000.0)])
    days = [(stage.launch - MIDNIGHT) // (24 * HOUR) for stage in it.stages]
    assert days == [0, 2]
    assert it.stages[1].ashore_by == "unknown weather"
    gone = choose(straight_coast, forecast(u=np.nan, hours=72), [camp(10_000.0)])
    assert not gone.complete
    assert all(stage.verdict is Verdict.UNKNOWN for stage in gone.stages)


def test_nights_capacity_and_time_to_break_camp(straight_coast):
    wind = np.zeros(121)
    wind[24:48] = -9.0
    ds = forecast(u=wind, hours=120)
    one, two = camp(9_000.0, nights=1), camp(10_000.0, capacity=4)
    assert names(choose(straight_coast, ds, [one, two], depart=MIDNIGHT))[0] == "camp 10"
    it = choose(straight_coast, ds, [one, two], party=5)
    assert names(it)[0] == "camp 9"
    assert it.stages[0].launch >= MIDNIGHT + 24 * HOUR  # so that one night is enough
    late = choose(straight_coast, forecast(hours=72), [camp(10_000.0)], break_camp_s=7_200.0)
    dawn = np.datetime64("2026-06-22T04:55", "ns")  # civil, near the equator at 10 E
    assert late.stages[1].first_launch >= dawn + 2 * HOUR


def test_rests_and_detours_take_time(straight_coast):
    ds, place = forecast(hours=72), camp(10_000.0, east_m=200.0)
    it = choose(straight_coast, ds, [place])
    spent = (it.stages[0].arrive - it.stages[0].launch) / np.timedelta64(1, "s")
    assert spent == pytest.approx(10_200.0 / 1.5, rel=1e-3)
    assert it.stages[0].length_m == pytest.approx(10_200.0, abs=2.0)
    rested = choose_stages(
        north_route(19_000.0, offshore_m=LINE_M), [place], ds, coast=straight_coast,
        crafts=(BOARD,), limits=LIMITS, wishes=StageWishes(break_camp_s=0.0, reach_m=12_000.0),
        pace=Pace(rest_every_s=3_600.0, rest_s=900.0),
    )  # fmt: skip
    longer = (rested.stages[0].arrive - rested.stages[0].launch) / np.timedelta64(1, "s")
    assert longer == pytest.approx(spent + 900.0, abs=2.0)


@pytest.mark.parametrize(
    ("wishes", "message"),
    [
        ({"reach_m": 5_000.0}, r"a day's reach of 5\.0 km is shorter than any stage from start"),
        ({"home_by": MIDNIGHT - HOUR}, r"home by .* lies before the forecast, which runs from"),
        (
            {"depart": MIDNIGHT + 9 * HOUR, "home_by": MIDNIGHT + 8 * HOUR},
            r"home by 2026-06-21T08:00Z is not after the departure 2026-06-21T09:00Z",
        ),
        ({"night_s": -1.0}, r"a shortest night of -1 s is not allowed; allowed is 0 s to 1 d"),
        ({"party": 0}, r"a party of 0 is not allowed"),
    ],
)
def test_bad_wishes_get_one_line(straight_coast, wishes, message):
    with pytest.raises(InputError, match=message) as caught:
        choose(straight_coast, forecast(hours=48), [camp(10_000.0)], **wishes)
    assert "\n" not in str(caught.value)


def test_bad_weights_get_one_line():
    with pytest.raises(InputError, match=r"weight day -1\.0 is not allowed; allowed is 0 to 1e9"):
        StageWeights(day=-1.0)
    with pytest.raises(InputError, match=r"steps of 0\.01 to 1 up to 0 to 1, not in steps of 0"):
        StageWeights(step=0.0)


# -- against the full scan -----------------------------------------------------------------------


@pytest.mark.parametrize("members", [None, 5])
def test_table_agrees_with_the_full_scan(straight_coast, members):
    """The march over hourly speeds and margins against the scan that judges every step."""
    rng = np.random.default_rng(3)
    hours = np.arange(73)
    swing = 3.0 + 2.5 * np.sin(hours / 7.0)
    u = -swing if members is None else -swing + rng.normal(0, 0.6, (members, 73))
    v = 1.5 * np.cos(hours / 5.0) + 0.0 * u
    ds = forecast(u=u, v=v, hours=72, members=members)
    limits = replace(LIMITS, time_on_water_s=8 * 3600.0, headwind_ms=4.0)
    table = choose(
        straight_coast, ds, [camp(10_000.0)], limits=limits, table=True, landing_wave_m=20.0
    )
    from routeplan.sampling import sample_series

    route = north_route(10_000.0, offshore_m=LINE_M)
    path = path_along(route.legs, straight_coast)
    series = sample_series(ds, path.longitude, path.latitude)
    hops, light = table.hops, table.ground.daylight
    scan = scan_launches(
        path, series, BOARD, limits, hops.launch, daylight=(light[0], light[1]), robust=False,
        refine_s=None, coast_error_m=1.0,
    )  # fmt: skip
    good = scan.verdict <= Verdict.CLOSE
    table_good = hops.verdict[0, 1] <= Verdict.CLOSE
    assert good.sum() > 40
    assert (good == table_good).mean() > 0.97
    assert not (table_good & (scan.margin < -0.03)).any()
    both = good & table_good
    apart = (hops.arrive[0, 1] - scan.arrive)[both] / np.timedelta64(1, "s")
    assert np.abs(apart).max() < 90.0
    assert np.abs(hops.margin[0, 1] - scan.margin)[both].max() < 0.03


# -- properties of the whole ----------------------------------------------------------------------

WIDER = {
    "wind_ms": 8.0,
    "gust_ms": 12.0,
    "headwind_ms": 7.0,
    "crosswind_ms": 9.0,
    "wave_height_m": 1.0,
    "offshore_m": 900.0,
    "time_on_water_s": 6 * 3600.0,
    "daylight_margin_s": 0.0,
}
NARROW = Limits(
    wind_ms=5.5, gust_ms=8.0, headwind_ms=4.0, crosswind_ms=6.0, wave_height_m=0.5,
    offshore_m=500.0, time_on_water_s=3.5 * 3600.0, daylight_margin_s=3_600.0,
)  # fmt: skip


@pytest.fixture(scope="module")
def restless():
    """Four days of wind that comes and goes, with gusts and waves that follow it."""
    hours = np.arange(97)
    rng = np.random.default_rng(8)
    u = -1.5 + 2.0 * np.sin(hours / 9.0) + rng.normal(0.0, 0.4, 97)
    v = 2.0 * np.cos(hours / 6.0) + rng.normal(0.0, 0.4, 97)
    ds = forecast(u=u, v=v, hours=96, wave=0.06 * np.hypot(u, v))
    return ds.assign(wind_speed_of_gust=1.3 * np.hypot(ds.eastward_wind, ds.northward_wind))


def cost(coast, ds, limits, places):
    words = {"length_m": 18_000.0, "reach_m": 11_000.0, "limits": limits}
    it = choose(coast, ds, places, **words)
    return it.cost if it.complete else np.inf


@pytest.mark.parametrize("name", WIDER)
def test_widening_any_limit_never_makes_the_plan_worse(straight_coast, restless, name):
    places = [camp(7_500.0), camp(9_000.0), camp(10_500.0)]
    narrow = cost(straight_coast, restless, NARROW, places)
    assert np.isfinite(narrow)
    wider = cost(straight_coast, restless, replace(NARROW, **{name: WIDER[name]}), places)
    assert wider <= narrow + 1e-9
    none = cost(straight_coast, restless, replace(NARROW, **{name: None}), places)
    assert none <= wider + 1e-9


def test_one_more_camp_never_makes_the_plan_worse(straight_coast, restless):
    """Steps of the line are cut anew at every camp, which may move a margin by a hair."""
    beside = camp(9_500.0, east_m=250.0)  # a detour of half a kilometre
    places = [beside, *(camp(along) for along in (8_000.0, 10_000.0, 9_000.0, 3_000.0))]
    costs = [cost(straight_coast, restless, NARROW, places[:n]) for n in range(1, 6)]
    assert np.isfinite(costs[-1])
    assert all(more <= fewer + 1e-5 for fewer, more in itertools.pairwise(costs))
    assert costs[-1] < costs[0] - 1e-4


# -- the demo ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo():
    files = demo_files()
    route = read_gpx(files.route)
    places = [Place(c.latitude, c.longitude, c.name) for c in route.camps]
    ds = open_forecast(files.forecast_netcdf, bounds=route.bounds)
    return route, places, ds, read_limits(files.limits)


def demo_choice(demo, ds):
    route, places, _, limits = demo
    return choose_stages(route, places, ds, limits=limits, wishes=StageWishes(reach_m=21_000.0))


def test_demo_is_three_stages_with_two_camps(demo):
    it = demo_choice(demo, demo[2])
    assert it.complete
    assert names(it) == ["Camp 1", "Camp 2", "End landing"]
    for stage in it.stages:
        assert stage.verdict is Verdict.WITHIN
        assert stage.first_launch <= stage.launch <= stage.last_launch
        assert stage.arrive < stage.last_light - HOUR  # the demo's limit of daylight
        assert stage.margin > 0.1
        assert stage.binding
        assert stage.landing.verdict is Verdict.WITHIN
        assert np.isfinite([stage.landing.fetch_m, stage.landing.wave_height_m]).all()
    # The blow of the 15th keeps the group ashore for that day.
    assert [str(stage.launch)[:10] for stage in it.stages] == [
        "2026-07-13",
        "2026-07-14",
        "2026-07-16",
    ]
    assert (it.days, it.days_ashore) == (4, 1)


def test_demo_blow_moved_onto_the_crossing_day_costs_that_day(demo):
    """The weather of the 15th a day earlier, on the day of the crossing from camp 1 to camp 2."""
    ds = demo[2]
    moved = ds.isel(time=slice(24, None))
    moved = moved.assign_coords(time=moved["time"] - np.timedelta64(24, "h"))
    it = demo_choice(demo, moved)
    days = [str(stage.launch)[:10] for stage in it.stages]
    assert days[0] == "2026-07-13"
    assert days[1] > "2026-07-14"
    assert it.stages[1].days_ashore == 1
    assert it.stages[1].ashore_by in ("wind", "gust", "no headway", "wave height")
    assert it.stages[1].start.place.name == "Camp 1"


# -- other plans ---------------------------------------------------------------------------------


def test_alternatives_differ_in_kind(straight_coast):
    wind = np.zeros(121)
    wind[30:36] = -5.0  # a breeze within the limit on the second morning costs margin
    table = choose(
        straight_coast, forecast(u=wind, hours=120), [camp(9_000.0), camp(10_000.0)], table=True
    )
    best = table.best()
    others = other_plans(table)
    assert [other.kind for other in others] == ["other camps", "later start"]
    camps, later = (other.itinerary for other in others)
    assert names(camps)[0] != names(best)[0]
    assert later.stages[0].launch.astype("M8[D]") > best.stages[0].launch.astype("M8[D]")
    assert all(other.itinerary.cost >= best.cost for other in others)
    assert others[0].text.startswith("Other camps: nights at camp ")


def test_home_a_day_earlier_costs_margin(straight_coast):
    """A breeze of 5.5 m/s leaves 8 % of the limit of 6: waiting a day is the better plan."""
    wind = np.zeros(121)
    wind[24:48] = -5.5
    table = choose(straight_coast, forecast(u=wind, hours=120), [camp(10_000.0)], table=True)
    assert table.best().days == 3
    earlier = next(other for other in other_plans(table) if other.kind == "earlier home")
    assert earlier.itinerary.days == 2
    assert earlier.itinerary.stages[1].verdict is Verdict.CLOSE
    assert "1 day less, 8 % in hand instead of" in earlier.text


def test_other_direction_round_trip_and_turning_round(straight_coast):
    found = other_trips(
        north_route(19_000.0, offshore_m=LINE_M), [camp(8_000.0), camp(11_000.0)],
        forecast(hours=120), coast=straight_coast, crafts=(BOARD,), limits=LIMITS,
        wishes=StageWishes(reach_m=17_000.0, break_camp_s=0.0), round_trip=True,
    )  # fmt: skip
    assert [(a.kind, a.itinerary.complete) for a in found] == [
        ("other direction", True),
        ("round trip", True),
        ("turn round", True),
        ("turn round", True),
    ]
    other, both, _, turned = (a.itinerary for a in found)
    assert other.stages[0].start.place.name == "end"
    assert names(other)[-1] == "start"
    assert both.length_m == pytest.approx(38_000.0, abs=20.0)
    assert names(both)[-1] == "start"
    assert turned.length_m == pytest.approx(22_000.0, abs=20.0)
    assert names(turned)[-1] == "start"


def test_rest_is_planned_from_where_and_when_the_group_is(straight_coast):
    route = north_route(28_000.0, offshore_m=LINE_M)
    lon, lat = (float(v) for v in direct(route.longitude[0], 0.0, 0.0, 6_000.0)[:2])
    places = [camp(4_000.0), camp(10_000.0), camp(17_500.0)]
    words = {
        "coast": straight_coast, "crafts": (BOARD,), "limits": LIMITS,
        "wishes": StageWishes(reach_m=12_000.0, break_camp_s=0.0),
    }  # fmt: skip
    when = MIDNIGHT + 11 * HOUR
    it = replan(route, places, forecast(hours=96), longitude=lon, latitude=lat, when=when, **words)
    assert it.complete
    assert it.stages[0].launch >= when
    assert names(it) == ["camp 17.5", "end"]
    assert it.length_m == pytest.approx(22_000.0, abs=5.0)
    last = replan(
        route, places, forecast(hours=96), longitude=float(route.longitude[-1]),
        latitude=lat + 0.16, when=when, **words,
    )  # fmt: skip
    assert names(last) == ["end"]  # no camp is left ahead
    with pytest.raises(InputError, match=r"lies .* km off the line; allowed are 5 km"):
        replan(route, places, forecast(), longitude=lon + 1.0, latitude=lat, when=when, **words)
    with pytest.raises(InputError, match="at the end of the route; nothing is left to plan"):
        replan(
            route, places, forecast(), longitude=float(route.longitude[-1]),
            latitude=float(route.latitude[-1]), when=when, **words,
        )  # fmt: skip


# -- ways out -------------------------------------------------------------------------------------


def ways_out(coast, ds, places=(), *, when=MIDNIGHT + 12 * HOUR, **words):
    """At two points 6 km apart on the line due north, 300 m west of a coast."""
    from routeplan.sampling import sample_series

    route = north_route(20_000.0, offshore_m=LINE_M)
    along = np.array([4_000.0, 10_000.0])
    lon, lat = direct(route.longitude[0], 0.0, 0.0, along)
    series = sample_series(ds, lon, lat)
    hours = np.full(2, when)
    points = (np.asarray(lon), np.asarray(lat), np.zeros(2), along)
    return bailouts(route, coast, series, (BOARD,), hours, points, places, **words)


def test_ways_out_on_each_side_by_hand(straight_coast):
    """Still air: the shore is abeam to starboard, 300 m at 1.5 m/s; to port there is open sea."""
    one, two = ways_out(straight_coast, forecast())
    assert one.starboard.bearing_deg == pytest.approx(90.0)
    assert one.starboard.distance_m == pytest.approx(LINE_M, abs=1.0)
    assert one.starboard.time_s == pytest.approx(LINE_M / 1.5, rel=0.01)
    assert np.isnan(one.port.time_s)
    assert one.port.known
    assert not one.commits
    assert (one.begin_m, one.end_m, two.begin_m) == pytest.approx((4_000.0, 7_000.0, 7_000.0))


def test_wind_off_the_land_makes_a_stretch_commit(straight_coast):
    calm, blown = (ways_out(straight_coast, forecast(u=u))[0] for u in (0.0, -6.0))
    assert blown.starboard.time_s > 1.5 * calm.starboard.time_s
    assert not blown.commits
    gale = ways_out(straight_coast, forecast(u=-25.0))[0]
    assert np.isnan(gale.starboard.time_s)
    assert gale.commits
    assert ways_out(straight_coast, forecast(), commit_s=100.0)[0].commits


def test_unknown_weather_commits(straight_coast):
    for ds, when in ((forecast(u=np.nan), MIDNIGHT), (forecast(), np.datetime64("NaT", "ns"))):
        way = ways_out(straight_coast, ds, when=when)[0]
        assert way.commits
        assert not way.starboard.known


def test_users_places_ahead_and_behind_and_stretches_without_landing(straight_coast):
    cliffs = camp(9_000.0, name="cliffs", kind="no landing")
    far = camp(12_000.0)
    cliffs = replace(cliffs, end=(far.longitude, far.latitude))
    places = [camp(2_000.0, kind="landing"), camp(6_000.0, kind="road"), cliffs,
              camp(5_000.0, kind="water")]  # fmt: skip
    one, two = ways_out(straight_coast, forecast(), places)
    assert (one.behind.place.kind, one.ahead.place.kind) == ("landing", "road")
    assert (two.behind.place.kind, two.ahead) == ("road", None)
    assert (one.no_landing, two.no_landing) == ("", "cliffs")
    assert (one.commits, two.commits) == (False, True)


def test_parts_of_a_route():
    route = north_route(30_000.0, camps=(10_000.0, 18_000.0))
    part = part_of_route(route, 12_000.0)
    assert part.length_m == pytest.approx(18_000.0, abs=0.1)
    assert [point.name for point in part.points] == ["here", "at 18 km", "end"]
    back = there_and_back(route, 10_000.0)
    assert [point.name for point in back.points] == ["start", "at 10 km", "start"]
    assert back.length_m == pytest.approx(20_000.0, abs=0.1)
    assert [leg.number for leg in back.legs] == [1, 2]
    assert position_on_route(route, 10.0, 0.0) == pytest.approx(0.0, abs=0.1)
    for begin, end in ((5_000.0, 5_050.0), (-1.0, None), (0.0, 31_000.0)):
        with pytest.raises(InputError, match="cannot be made; the route is 30000 m long"):
            part_of_route(route, begin, end)


# -- through the plan -----------------------------------------------------------------------------


def planned(coast, ds, places=(), *, camps=(), **wishes):
    wishes = StageWishes(**{"break_camp_s": 0.0, "reach_m": 12_000.0, **wishes})
    route = north_route(19_000.0, offshore_m=LINE_M, camps=camps)
    trip = Trip(
        route, coast=coast, forecast=ds, limits=LIMITS, craft=BOARD, wishes=wishes,
        places=tuple(places),
    )  # fmt: skip
    return plan_trip(trip)


def test_plan_sleeps_at_the_camps_chosen_from_the_users_places(straight_coast):
    places = [camp(4_000.0), camp(9_500.0, note="ask first"), camp(9_500.0, kind="water")]
    plan = planned(straight_coast, forecast(hours=72), places)
    assert [leg.stage for leg in plan.route.legs] == [1, 2]
    assert [stage.stage.end.name for stage in plan.stages] == ["camp 9.5", "end"]
    assert plan.itinerary.complete
    for stage in plan.stages:
        assert stage.scan.launch[stage.best] == stage.day.launch
        assert stage.scan.arrive[stage.best] == stage.day.arrive
    assert plan.stages[0].day.note == "ask first"


def test_plan_waits_where_it_blows_and_says_so(straight_coast):
    wind = np.zeros(97)
    wind[24:48] = -9.0
    plan = planned(straight_coast, forecast(u=wind, hours=96), camps=(9_500.0,))
    assert [stage.day.days_ashore for stage in plan.stages] == [0, 1]
    assert plan.stages[1].day.ashore_by == "wind"
    document = plan_document(plan)
    assert (document["itinerary"]["days"], document["itinerary"]["days_ashore"]) == (3, 1)
    second = document["stages"][1]
    assert second["launch"] >= "2026-06-22T23:00:00Z"
    assert second["last_light"][:10] == second["arrive"][:10]
    assert second["landing"]["verdict"] == "within"
    assert second["ashore_by"] == "wind"


def test_plan_says_what_it_cannot_know(straight_coast):
    plan = planned(straight_coast, forecast(hours=22), camps=(9_500.0,))
    first, second = plan_document(plan)["stages"]
    assert first["verdict"] == "within"
    assert (second["launch"], second["verdict"]) == (None, "unknown")
    assert second["judged_from"] is not None
    assert not plan.itinerary.complete
    assert plan.itinerary.texts


def test_the_nearest_miss_is_told_once_and_by_the_stage_it_is_of(straight_coast):
    plan = planned(straight_coast, forecast(u=-9.0, hours=72), camps=(9_500.0,))
    assert plan.itinerary.texts == ("No launch from start is known to be good: see stage 1.",)
    document = plan_document(plan)
    assert document["stages"][0]["nearest_miss"]
    assert document["stages"][0]["judged_from"] is None
    alone = planned(straight_coast, forecast(u=-9.0, hours=72), camps=())
    assert alone.itinerary.texts == ()  # the stage is the trip


def test_launches_that_are_unknown_say_what_is_missing(straight_coast):
    wind = np.zeros(97)
    wind[23:] = np.nan
    it = choose(straight_coast, forecast(u=wind, hours=96), [camp(10_000.0)])
    assert it.texts[0] == (
        "Some launches from camp 10 are unknown: the forecast ends or has a gap before they arrive."
    )


def test_command_line_takes_places_and_says_in_one_line_what_is_wrong(tmp_path, capsys):
    files = demo_files()
    places = tmp_path / "camps.csv"
    places.write_text("name,type,lon,lat\nBay,camp,11.2038,58.5955\nFar,camp,12.5,58.5\n")
    words = ["windows", str(files.route), "--forecast", str(files.forecast_netcdf)]
    for options, message in (
        (["--places", str(places)], "Far lies "),
        (["--reach", "9"], "--reach"),
        (["--home-by", "tomorrow"], "--home-by: 'tomorrow' is no time with a zone"),
        (["--places", str(tmp_path / "none.csv")], "none.csv: cannot be read: No such file"),
        (
            ["--depart", "2026-07-14T06:00Z", "--home-by", "2026-07-13T06:00Z"],
            "the end of a trip lies after its start",
        ),
    ):
        assert run([*words, *options]) == 2
        told = capsys.readouterr()
        assert told.out == ""
        assert message in told.err
        assert told.err.count("\n") == 1


# -- stages that the route itself has -------------------------------------------------------------


def test_camps_on_the_line_cut_it_into_stages():
    stages = stages_of(north_route(30_000.0, camps=(10_000.0, 18_000.0)))
    assert [stage.number for stage in stages] == [1, 2, 3]
    assert [round(stage.length_m) for stage in stages] == [10_000, 8_000, 12_000]
    assert stages[0].end.name == stages[1].start.name

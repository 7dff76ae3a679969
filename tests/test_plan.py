"""The whole main job through the facade, against cases worked by hand."""

import numpy as np
import pytest
import xarray as xr
from planmaker import demo_plan

from routeplan.errors import CoverageError, InputError
from routeplan.geodesy import direct
from routeplan.limits import Limits, Verdict
from routeplan.plan import Trip, plan_trip
from routeplan.propulsion import craft
from routeplan.route import Waypoint, route_from_points
from routeplan.simulation import Pace

NOON = np.datetime64("2026-06-21T12:00", "ns")
HOUR = np.timedelta64(1, "h")
BOARD = craft("touring board", still_water_speed_ms=1.5)


def forecast(u=0.0, v=0.0, *, hours=24, west=9.0, start=NOON - 12 * HOUR, **more):
    """An hourly grid around 10 E on the equator with the same values everywhere."""
    time = start + np.arange(hours + 1) * HOUR
    shape = (time.size, 3, 3)

    def grid(value):
        field = np.empty(shape)
        field[:] = np.reshape(value, (-1, 1, 1)) if np.ndim(value) else value
        return ("time", "latitude", "longitude"), field

    waves = {"sea_surface_wave_significant_height": 0.0}
    fields = {"eastward_wind": u, "northward_wind": v, **waves, **more}
    return xr.Dataset(
        {name: grid(value) for name, value in fields.items()},
        coords={
            "time": time.astype("datetime64[ns]"),
            "latitude": [-1.0, 0.0, 1.0],
            "longitude": [west, west + 1.0, west + 2.0],
        },
        attrs={"path": "made.nc"},
    )


def northward(length_m=6_000.0, offshore_m=300.0, camps=()):
    lon, _ = direct(10.0, 0.0, 270.0, offshore_m)
    points = []
    for share, name, kind in ((0.0, "start", ""), *camps, (1.0, "end", "")):
        x, y = direct(lon, 0.0, 0.0, (share - 0.5) * length_m)
        points.append(Waypoint(float(y), float(x), name, kind))
    return route_from_points(points, name="north")


def plan(coast, ds, *, limits=None, **route):
    return plan_trip(
        Trip(
            route=northward(**route),
            coast=coast,
            forecast=ds,
            limits=limits or Limits(),
            craft=BOARD,
        )
    )


def at(scan, when):
    return int(np.flatnonzero(scan.launch == when)[0])


def test_still_air_takes_length_over_speed(straight_coast):
    p = plan(straight_coast, forecast())
    scan = p.stages[0].scan
    i = at(scan, NOON)
    spent = (scan.arrive[i] - scan.launch[i]) / np.timedelta64(1, "s")
    assert spent == pytest.approx(p.route.length_m / 1.5, rel=1e-3)
    assert Verdict(scan.verdict[i]) is Verdict.WITHIN


def test_headwind_slows_and_tailwind_hastens(straight_coast):
    arrivals = [
        plan(straight_coast, forecast(v=v)).stages[0].scan.arrive[24] for v in (-4.0, 0.0, 4.0)
    ]
    assert arrivals[0] > arrivals[1] > arrivals[2]


def passage_s(coast, **how):
    trip = Trip(northward(), coast=coast, forecast=forecast(v=-3.0), **how)
    scan = plan_trip(trip).stages[0].scan
    i = at(scan, NOON)
    return float((scan.arrive[i] - scan.launch[i]) / np.timedelta64(1, "s"))


def test_a_group_goes_at_its_slowest_whatever_the_order(straight_coast):
    kayak = craft("sea kayak", still_water_speed_ms=2.0)
    alone = passage_s(straight_coast, craft=BOARD)
    assert passage_s(straight_coast, craft=kayak) < alone
    for group in ([kayak, BOARD], (BOARD, kayak)):
        assert passage_s(straight_coast, craft=group) == pytest.approx(alone, rel=1e-6)
        assert Trip(northward(), craft=group).slowest is BOARD
    with pytest.raises(InputError, match="at least one craft"):
        plan_trip(Trip(northward(), coast=straight_coast, craft=()))


def test_rests_make_the_passage_longer_by_their_sum(straight_coast):
    steady = passage_s(straight_coast, craft=BOARD)
    rests = passage_s(straight_coast, craft=BOARD, pace=Pace(rest_every_s=1_800.0, rest_s=600.0))
    count = int(steady // 1_800.0)
    assert count >= 2
    assert rests - steady == pytest.approx(600.0 * count, abs=30.0)


def test_limit_of_drift_is_judged_by_the_wind(straight_coast):
    """700 m off, 4 m/s onto the shore: a board drifts 1.93 % of it (CG-D-08-99), 9,067 s."""

    def judged(u, hours):
        limits = Limits(drift_s=hours * 3600.0)
        scan = plan(straight_coast, forecast(u=u), limits=limits, offshore_m=700.0).stages[0].scan
        i = at(scan, NOON)
        found = next(f for f in scan.findings(i) if f.limit == "drift")
        return found, Verdict(scan.verdict[i])

    onshore, verdict = judged(4.0, 4.0)
    assert onshore.value == pytest.approx(700.0 / (0.0193 * 4.0), rel=0.01)
    assert verdict is Verdict.WITHIN
    assert judged(4.0, 2.0)[0].verdict is Verdict.BEYOND
    offshore, verdict = judged(-4.0, 4.0)
    assert offshore.verdict is verdict is Verdict.BEYOND
    ends = plan(
        straight_coast, forecast(u=4.0, hours=14), limits=Limits(drift_s=4 * 3600.0),
        offshore_m=700.0,
    ).stages[0].scan  # fmt: skip
    assert Verdict(ends.verdict[at(ends, NOON)]) is Verdict.UNKNOWN


def test_proposed_launch_tells_its_ways_out(straight_coast):
    """Off a straight coast in 4 m/s from the sea everything is worked by hand."""
    camps = ((0.5, "half", ""),)
    stage = plan(straight_coast, forecast(u=4.0), offshore_m=700.0, camps=camps).stages[0]
    scan, best = stage.scan, stage.best
    (turn,) = stage.turn_back
    assert turn.leg == 2
    assert abs(turn.arrive - scan.enter[best, 1]) < np.timedelta64(1, "ms")
    assert turn.go_on_until > turn.arrive
    assert [it.leg for it in stage.landings] == [1, 2]
    for landing in stage.landings:
        assert landing.distance_m == pytest.approx(700.0, rel=0.02)
        assert landing.bearing_deg == pytest.approx(90.0, abs=10.0)
        assert landing.time_s < 700.0 / 1.5  # the wind helps
    for who, share in (("on the craft", 0.0193), ("in the water", 0.0096)):
        told = [d for d in stage.drift if d.who == who]
        assert [d.worst.leg for d in told] == [1, 2]
        for it in told:
            needed = 700.0 / (share * 4.0)
            if needed <= it.hours * 3600.0:
                assert it.worst.ashore_last_s == pytest.approx(needed, rel=0.01)
                assert it.ashore_longitude == pytest.approx(10.0, abs=1e-4)
            else:
                left = 700.0 - share * 4.0 * it.hours * 3600.0
                assert it.worst.offshore_m == pytest.approx(left, rel=0.02)
    none = plan(straight_coast, forecast(), offshore_m=1_010.0).stages[0]
    assert none.best is None
    assert none.turn_back is none.landings is none.drift is None


def test_strong_wind_is_beyond_and_named(straight_coast):
    scan = plan(straight_coast, forecast(v=10.0)).stages[0].scan
    i = at(scan, NOON)
    assert Verdict(scan.verdict[i]) is Verdict.BEYOND
    assert scan.binding[i] == "wind"
    assert "wind" in scan.reasons(i)[0].lower()


def test_launch_that_outlasts_the_forecast_is_unknown(straight_coast):
    ds = forecast(hours=13)  # ends an hour after noon; the passage takes 67 minutes
    scan = plan(straight_coast, ds).stages[0].scan
    assert Verdict(scan.verdict[at(scan, NOON - HOUR)]) is Verdict.WITHIN
    assert Verdict(scan.verdict[at(scan, NOON)]) is Verdict.UNKNOWN
    assert scan.launch[-1] == ds.time.values[-1]
    assert not (scan.verdict[scan.launch > NOON] <= Verdict.CLOSE).any()


def test_gap_in_the_forecast_is_unknown_and_beyond_stays_beyond(straight_coast):
    gusts = np.full(25, 3.0)
    gusts[14] = np.nan
    scan = plan(straight_coast, forecast(wind_speed_of_gust=gusts)).stages[0].scan
    assert Verdict(scan.verdict[at(scan, NOON)]) is Verdict.UNKNOWN
    scan = plan(straight_coast, forecast(v=10.0, wind_speed_of_gust=gusts)).stages[0].scan
    assert Verdict(scan.verdict[at(scan, NOON)]) is Verdict.BEYOND


def test_forecast_elsewhere_is_refused_by_name(straight_coast):
    with pytest.raises(CoverageError, match=r"made\.nc: the grid covers 40 to 42 E"):
        plan(straight_coast, forecast(west=40.0))


def test_forecast_over_half_the_route_is_unknown_never_good(straight_coast):
    ds = forecast().sel(latitude=slice(-1.0, 0.0))  # covers the southern half only
    scan = plan(straight_coast, ds).stages[0].scan
    assert (scan.verdict >= Verdict.UNKNOWN).all()
    assert plan(straight_coast, ds).stages[0].windows == ()


def test_limit_set_without_data_is_unknown_default_is_named(straight_coast):
    ds = forecast()
    scan = plan(straight_coast, ds).stages[0].scan
    assert "gust" in scan.not_judged
    mine = Limits(gust_ms=8.0, explicit=frozenset({"gust"}))
    scan = plan(straight_coast, ds, limits=mine).stages[0].scan
    assert Verdict(scan.verdict[at(scan, NOON)]) is Verdict.UNKNOWN
    assert scan.binding[at(scan, NOON)] == "gust"


def test_distance_from_shore_binds_every_launch(straight_coast):
    p = plan(straight_coast, forecast(), offshore_m=1_010.0)
    scan = p.stages[0].scan
    assert (scan.verdict == Verdict.BEYOND).all()
    assert scan.binding[at(scan, NOON)] == "offshore"
    assert p.stages[0].best is None
    assert p.flags[0][0].startswith("beyond the limit of 1,000 m from shore for 6.0 km")


def test_arrival_is_before_civil_dusk_with_the_margin(straight_coast):
    scan = plan(straight_coast, forecast()).stages[0].scan
    # Civil dusk at 10 E on the equator near the solstice is some 23 minutes after sunset at
    # 18:05 local mean time plus the equation of time; only the order is checked here.
    good = scan.launch[scan.verdict <= Verdict.CLOSE]
    late = at(scan, NOON + 6 * HOUR)
    assert scan.binding[late] == "daylight"
    assert good.max() < NOON + 5 * HOUR
    assert Verdict(scan.verdict[0]) is Verdict.BEYOND  # midnight


def test_camps_make_stages_each_after_a_night(straight_coast):
    ds = forecast(hours=72)
    p = plan(straight_coast, ds, length_m=12_000.0, camps=((0.5, "Camp 1", "camp"),))
    assert [s.stage.number for s in p.stages] == [1, 2]
    first, second = p.stages
    assert first.stage.end.name == second.stage.start.name == "Camp 1"
    assert first.stage.length_m == pytest.approx(6_000.0, abs=1.0)
    ashore = first.scan.arrive[first.best]
    assert second.scan.launch[second.best] - ashore > np.timedelta64(8, "h")
    assert {w.stage for w in second.windows} == {2}


def test_steps_keep_the_farthest_distance_of_the_leg(straight_coast):
    p = plan(straight_coast, forecast(), offshore_m=700.0)
    assert p.stages[0].path.offshore_m.max() == p.exposures[0].offshore_max_m


def test_steps_carry_the_fetch_that_makes_the_sea(straight_coast):
    """Wind off the sea raises more sea than wind off the land, 700 m away."""
    calm = forecast().drop_vars("sea_surface_wave_significant_height")
    stage = plan(straight_coast, calm, offshore_m=700.0).stages[0]
    rose = stage.path.fetch_rose_m
    assert rose.shape == (stage.path.length_m.size, 36)
    land, sea = rose.min(axis=1), rose.max(axis=1)
    np.testing.assert_allclose(land, 700.0, rtol=0.02)
    assert (sea > 20.0 * land).all()
    heights = []
    for u in (4.0, -4.0):
        ds = forecast(u=u).drop_vars("sea_surface_wave_significant_height")
        heights.append(plan(straight_coast, ds, offshore_m=700.0).stages[0].scan.wave_height_m[24])
    assert min(h[0] for h in heights) > 0.0
    assert max(heights)[0] > 3.0 * min(heights)[0]


def test_route_on_land_is_refused(straight_coast):
    with pytest.raises(InputError, match="whole route lies on land"):
        plan(straight_coast, None, offshore_m=-2_000.0)


def test_without_a_forecast_there_are_legs_only(straight_coast):
    p = plan(straight_coast, None)
    assert p.coverage is None
    assert p.stages[0].scan is None
    assert p.zone.startswith(("Africa/", "Etc/"))


def test_sources_state_their_error(straight_coast):
    p = plan(straight_coast, forecast())
    assert [s.kind for s in p.sources] == ["coastline", "forecast"]
    assert p.sources[0].error == "1 m"


def test_launch_step_is_checked(straight_coast):
    with pytest.raises(InputError, match="1 minute to 1 day"):
        plan_trip(
            Trip(
                route=northward(),
                coast=straight_coast,
                forecast=forecast(),
                launch_step_s=5.0,
            )
        )


def test_launches_before_the_time_of_asking_are_not_tried(straight_coast):
    def launches(now):
        trip = Trip(northward(), coast=straight_coast, forecast=forecast(), craft=BOARD, now=now)
        answer = plan_trip(trip)
        return answer.stages[0].scan.launch, answer.warnings

    every, _ = launches(None)
    later, warned = launches(NOON + np.timedelta64(10, "m"))
    assert later[0] == NOON + np.timedelta64(30, "m")
    assert later.tolist() == every[every > NOON].tolist()
    assert [w for w in warned if "past" in w] == []
    over, warned = launches(NOON + 100 * HOUR)  # then all are shown, and it is said
    assert over.tolist() == every.tolist()
    assert "past" in warned[-1]


def test_an_old_forecast_is_a_warning_and_its_age_is_told(straight_coast):
    ds = forecast()
    ds.attrs |= {
        "reference_time": "2026-06-21T00:00:00Z",
        "source": "a model",
        "attribution": "somebody",
        "licence": "CC BY 4.0",
    }
    trip = Trip(northward(), coast=straight_coast, forecast=ds, craft=BOARD, now=NOON + HOUR)
    answer = plan_trip(trip)
    assert answer.warnings[0].startswith("The forecast is old: its run began 13 h before now")
    source = answer.sources[1]
    assert (source.kind, source.name, source.attribution) == ("forecast", "a model", "somebody")
    assert (source.licence, source.date) == ("CC BY 4.0", "2026-06-21T00:00:00Z")
    assert source.age_s == 13 * 3600.0
    unknown = plan(straight_coast, forecast())
    assert unknown.warnings == ()
    assert unknown.sources[1].age_s is None


def test_a_carry_is_no_flag_and_its_time_is_said_to_be_missing(straight_coast):
    points = []
    for east, name, kind in ((-3_000.0, "a", ""), (-500.0, "b", "portage"), (400.0, "c", "")):
        lon, _ = direct(10.0, 0.0, 90.0, east)
        points.append(Waypoint(0.0, float(lon), name, kind))
    route = route_from_points(points)
    answer = plan_trip(Trip(route, coast=straight_coast, forecast=forecast(), craft=BOARD))
    assert answer.leg_notes[0] == ()
    assert answer.leg_notes[1] == ("carry of 400 m over land (from its start: 500 m to 900 m)",)
    assert answer.flags[1] == ()
    assert any("carry on leg 2 as if it were paddled" in note for note in answer.notes)
    legs_only = plan_trip(Trip(route, coast=straight_coast))
    assert not any("as if it were paddled" in note for note in legs_only.notes)


def test_windows_are_told_before_the_rest_is_worked_out():
    told = []
    before = demo_plan()
    plan = plan_trip(before.trip, known=lambda zone, stages: told.append((zone, stages)))
    ((zone, stages),) = told
    assert zone == plan.zone
    for early, late in zip(stages, plan.stages, strict=True):
        assert early.windows == late.windows
        assert (early.best, early.day) == (late.best, late.day)
        assert early.drift is None
        assert late.drift is not None

"""Passages against cases worked by hand, and properties of the march."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from passagemaker import HOUR, MINUTE, START, U, V, launches, series, straight

from routeplan.errors import InputError
from routeplan.geodesy import direct
from routeplan.propulsion import craft, speed_through_water
from routeplan.route import Waypoint, route_from_points
from routeplan.simulation import MIN_WAY_MS, Pace, path_along, simulate

BOARD = craft("touring board", still_water_speed_ms=1.5)
PLAIN = craft("touring board", still_water_speed_ms=1.5, leeway_share=0.0)
KAYAK = craft("sea kayak")
EIGHT = START + 8 * HOUR
WAVES_FROM = "sea_surface_wave_from_direction"


def seconds(passage):
    """Duration of the whole passage, (m, e)."""
    span = passage.leave[:, -1, :] - passage.launch[:, None]
    return np.where(np.isnat(span), np.nan, span.astype("timedelta64[ns]").astype(float) / 1e9)


def test_still_air_takes_length_over_speed():
    path = straight(10_800.0)
    passage = simulate(path, series(path), BOARD, [EIGHT])
    assert seconds(passage)[0, 0] == pytest.approx(10_800.0 / 1.5, rel=1e-3)
    assert passage.speed_over_ground_ms[0, :, 0] == pytest.approx(np.full(4, 1.5), rel=1e-3)
    assert passage.enter[0, 0, 0] == EIGHT
    assert np.array_equal(passage.enter[0, 1:, 0], passage.leave[0, :-1, 0])


@pytest.mark.parametrize("wind", [4.0, -4.0])
def test_uniform_head_and_tail_wind(wind):
    path = straight(10_800.0, course_deg=0.0)
    passage = simulate(path, series(path, v=-wind), PLAIN, [EIGHT])
    speed = float(speed_through_water(PLAIN, wind))
    assert seconds(passage)[0, 0] == pytest.approx(10_800.0 / speed, rel=1e-3)
    assert passage.headwind_ms[0, :, 0] == pytest.approx(np.full(4, wind))
    assert passage.crosswind_ms[0, :, 0] == pytest.approx(np.zeros(4), abs=1e-9)
    assert passage.wind_ms[0, :, 0] == pytest.approx(np.full(4, 4.0))


@pytest.mark.parametrize("cross", [0.5, -0.9])
def test_uniform_cross_current_by_the_triangle(cross):
    # The heading makes good the current; what is left of 1.5 m/s runs along the course.
    path = straight(10_800.0, course_deg=0.0)
    still = replace(PLAIN, frontal_area_drag_m2=0.0)
    passage = simulate(path, series(path, cu=cross, cv=0.0), still, [EIGHT])
    made_good = np.sqrt(1.5**2 - cross**2)
    assert seconds(passage)[0, 0] == pytest.approx(10_800.0 / made_good, rel=1e-3)


@pytest.mark.parametrize("along", [0.6, -0.6])
def test_current_along_the_course_adds_to_the_speed(along):
    path = straight(10_800.0, course_deg=90.0)
    still = replace(PLAIN, frontal_area_drag_m2=0.0)
    passage = simulate(path, series(path, cu=along, cv=0.0), still, [EIGHT])
    assert seconds(passage)[0, 0] == pytest.approx(10_800.0 / (1.5 + along), rel=1e-3)


def test_wind_that_runs_with_the_water_is_still_air():
    # On water that moves with the wind there is no air to push against.
    path = straight(10_800.0, course_deg=90.0)
    passage = simulate(path, series(path, u=0.8, cu=0.8, cv=0.0), PLAIN, [EIGHT])
    assert seconds(passage)[0, 0] == pytest.approx(10_800.0 / (1.5 + 0.8), rel=1e-3)


def test_sideways_drift_is_made_good_by_the_heading():
    # Cross wind 6 m/s from the left pushes to the right; the heading bears left by asin(s / v)
    # with s the drift share of it, and that brings the wind a little ahead.
    path = straight(10_800.0, course_deg=0.0)
    passage = simulate(path, series(path, u=6.0), BOARD, [EIGHT])
    drift = BOARD.leeway_share * 6.0
    beta = 0.0
    for _ in range(20):
        v = float(speed_through_water(BOARD, 6.0 * np.sin(beta), 6.0 * np.cos(beta)))
        beta = np.arcsin(drift / v)
    assert seconds(passage)[0, 0] == pytest.approx(10_800.0 / (v * np.cos(beta)), rel=1e-3)


def test_cross_current_faster_than_the_craft_is_no_headway():
    path = straight(course_deg=0.0)
    passage = simulate(path, series(path, cu=1.6, cv=0.0), BOARD, [EIGHT])
    assert not passage.makes_way[0, 0, 0]
    assert np.isnat(passage.leave[0]).all()


def test_headwind_beyond_the_largest_thrust_is_no_headway():
    path = straight(course_deg=0.0)
    passage = simulate(path, series(path, v=-15.0), BOARD, [EIGHT])
    assert passage.makes_way[0, :, 0].tolist() == [False, True, True, True]
    assert passage.reached[0, :, 0].tolist() == [True, False, False, False]
    assert passage.wind_ms[0, 0, 0] == pytest.approx(15.0)
    assert np.isnan(passage.wind_ms[0, 1:, 0]).all()
    assert passage.unknown["wind"][0, 1:, 0].all()


def test_hardly_any_headway_counts_as_none():
    slow = craft("touring board", still_water_speed_ms=0.2)
    path = straight(1_000.0, course_deg=0.0)
    passage = simulate(path, series(path, cu=0.0, cv=-0.2 + 0.9 * MIN_WAY_MS), slow, [EIGHT])
    assert not passage.makes_way[0, 0, 0]


def test_wind_that_turns_halfway():
    # 10.8 km north with 4 m/s astern until 09:00 and ahead from then on, turning within a minute.
    path = straight(10_800.0, steps=400, course_deg=0.0)
    v = np.where(np.arange(24 * 60 + 1) <= 9 * 60, 4.0, -4.0)
    passage = simulate(path, series(path, hours=24, step=MINUTE, v=v), PLAIN, [EIGHT])
    fast, slow = speed_through_water(PLAIN, [-4.0, 4.0])
    turn = 3_630.0  # the middle of the minute of turning
    left = 10_800.0 - fast * turn
    assert seconds(passage)[0, 0] == pytest.approx(turn + left / slow, rel=1e-3)


def test_the_hour_of_a_step_is_that_of_getting_there():
    # A wind that rises by 1 m/s an hour from 00:00: the wind met tells when each leg was paddled.
    path = straight(21_600.0, steps=144, course_deg=0.0)
    across = np.arange(25.0)
    passage = simulate(path, series(path, hours=24, u=across), PLAIN, [START + 2 * HOUR])
    when = (passage.leave[0, :, 0] - START) / HOUR
    # The strongest wind of a leg is that of its last step, half a step before its end.
    half_step = 75.0 / passage.speed_over_ground_ms[0, :, 0] / 3600.0
    assert passage.wind_ms[0, :, 0] == pytest.approx(when - half_step, rel=2e-3)
    assert passage.place["wind"][0, :, 0].tolist() == [35, 71, 107, 143]
    assert (passage.when("wind")[0, :, 0] - START) / HOUR == pytest.approx(
        when - half_step, rel=2e-3
    )


def test_forecast_that_ends_on_the_way_is_unknown_from_there():
    path = straight(10_800.0)  # 7,200 s in still air; the forecast ends after 5,400 s
    passage = simulate(path, series(path, hours=24), BOARD, [START + 22 * HOUR + 30 * MINUTE])
    assert not np.isnat(passage.leave[0, :3, 0]).any()
    assert np.isnat(passage.leave[0, 3, 0])
    assert passage.unknown["wind"][0, :, 0].tolist() == [False, False, False, True]
    assert passage.makes_way.all()


def test_arrival_on_the_last_forecast_time_is_known():
    path = straight(5_400.0)
    exact = simulate(path, series(path, hours=9), BOARD, [EIGHT - MINUTE])
    late = simulate(path, series(path, hours=9), BOARD, [EIGHT + MINUTE])
    assert not np.isnat(exact.leave).any()
    assert np.isnat(late.leave[0, -1, 0])


def test_launch_outside_the_forecast_is_unknown():
    path = straight()
    times = [START - MINUTE, START + 73 * HOUR]
    passage = simulate(path, series(path), BOARD, times)
    assert passage.unknown["wind"].all()
    assert np.isnat(passage.leave).all()


def test_wind_unknown_at_a_place_is_unknown_from_there_on():
    path = straight()
    forecast = series(path)
    forecast.values[U][20:] = np.nan
    passage = simulate(path, forecast, BOARD, [EIGHT])
    assert not passage.unknown["wind"][0, :2].any()
    assert passage.unknown["wind"][0, 2:].all()


def test_unknown_gust_waves_and_current_do_not_stop_the_clock():
    path = straight()
    forecast = series(path, gust=8.0, height=0.2, cu=0.0, cv=0.0)
    for name in forecast.values:
        if name not in (U, V):
            forecast.values[name][12] = np.nan
    passage = simulate(path, forecast, BOARD, [EIGHT])
    assert not np.isnat(passage.leave).any()
    for quantity in ("gust", "wave_height", "current"):
        assert passage.unknown[quantity][0, :, 0].tolist() == [False, True, False, False]
    assert passage.gust_ms[0, :, 0] == pytest.approx(np.full(4, 8.0))


def test_neighbour_hour_without_weight_may_be_unknown():
    path = straight(300.0, steps=1, legs=1)
    forecast = series(path, u=np.array([3.0, 4.0, *[np.nan] * 71]))
    step_s = 300.0 / 1.5
    passage = simulate(path, forecast, BOARD, [START])
    assert passage.wind_ms[0, 0, 0] == pytest.approx(3.0 + 0.5 * step_s / 3600.0, rel=1e-3)
    assert simulate(path, forecast, BOARD, [START + HOUR]).unknown["wind"].all()


def test_what_the_forecast_lacks_is_not_there():
    path = straight()
    passage = simulate(path, series(path), BOARD, [EIGHT])
    assert sorted(passage.worst) == ["crosswind", "headwind", "wind"]
    assert np.isnan(passage.gust_ms).all()


def test_smallest_is_worst_for_visibility():
    path = straight()
    visibility = np.linspace(20_000.0, 1_000.0, 40)[:, None, None]
    passage = simulate(path, series(path, visibility_in_air=visibility), BOARD, [EIGHT])
    assert passage.worst["visibility"][0, 3, 0] == pytest.approx(1_000.0)
    assert passage.place["visibility"][0, 3, 0] == 39


def test_wind_off_the_land_counts_only_far_out():
    offshore = np.where(np.arange(40) < 20, 300.0, 2_000.0)
    path = straight(course_deg=0.0, offshore_m=offshore, shore_bearing_deg=np.full(40, 90.0))
    # Shore to the east: an easterly wind blows off it.
    passage = simulate(path, series(path, u=-5.0), BOARD, [EIGHT], offshore_wind_beyond_m=500.0)
    assert passage.worst["offshore_wind"][0, :, 0] == pytest.approx([0.0, 0.0, 5.0, 5.0])
    onto = simulate(path, series(path, u=5.0), BOARD, [EIGHT], offshore_wind_beyond_m=500.0)
    assert onto.worst["offshore_wind"][0, 2, 0] == pytest.approx(-5.0)
    hidden = replace(path, shore_bearing_deg=None)
    assert "offshore_wind" not in simulate(hidden, series(path), BOARD, [EIGHT]).worst


def test_current_against_the_wind_counts_from_a_moderate_breeze():
    path = straight(course_deg=0.0)
    fresh = simulate(path, series(path, v=6.0, cu=0.0, cv=-0.7), BOARD, [EIGHT])
    light = simulate(path, series(path, v=3.0, cu=0.0, cv=-0.7), BOARD, [EIGHT])
    assert fresh.worst["opposing_current"][0, 0, 0] == pytest.approx(0.7)
    assert light.worst["opposing_current"][0, 0, 0] == 0.0


@pytest.mark.parametrize(("source", "loss"), [(0.0, 0.20), (90.0, 0.15), (180.0, 0.10)])
def test_waves_slow_by_height_and_direction(source, loss):
    path = straight(10_800.0, course_deg=0.0)
    forecast = series(path, height=0.5, **{WAVES_FROM: source})
    taken = seconds(simulate(path, forecast, PLAIN, [EIGHT]))[0, 0]
    assert taken == pytest.approx(10_800.0 / (1.5 * (1.0 - 0.5 * loss)), rel=1e-3)


def test_waves_without_a_direction_run_with_the_wind():
    path = straight(10_800.0, course_deg=0.0)
    given_from = series(path, v=-3.0, height=0.5, **{WAVES_FROM: 0.0})
    without = series(path, v=-3.0, height=0.5)
    one = seconds(simulate(path, given_from, PLAIN, [EIGHT]))
    assert seconds(simulate(path, without, PLAIN, [EIGHT])) == pytest.approx(one, rel=1e-6)


def test_group_goes_at_the_pace_of_its_slowest_at_every_step():
    # The board is slower against the wind, the canoe of this test is slower with it.
    slow_canoe = craft("open canoe", still_water_speed_ms=1.35)
    path = straight(10_800.0, steps=40, course_deg=0.0)
    v = np.where(np.arange(40) < 20, -7.0, 7.0)[:, None, None]
    forecast = series(path, v=v)
    each = [simulate(path, forecast, it, [EIGHT]) for it in (BOARD, slow_canoe)]
    legs = np.max([seconds_by_leg(p) for p in each], axis=0)
    group = simulate(path, forecast, [BOARD, slow_canoe], [EIGHT])
    assert seconds_by_leg(group) == pytest.approx(legs, rel=1e-3)
    assert np.argmax([seconds_by_leg(p)[0] for p in each]) != np.argmax(
        [seconds_by_leg(p)[3] for p in each]
    )


def seconds_by_leg(passage):
    return (passage.leave - passage.enter)[0, :, 0].astype("timedelta64[ns]").astype(float) / 1e9


def test_rests_are_taken_on_the_way_and_not_at_the_end():
    path = straight(10_800.0, steps=400)
    pace = Pace(rest_every_s=3_600.0, rest_s=600.0)
    passage = simulate(path, series(path), BOARD, [EIGHT], pace=pace)
    assert seconds(passage)[0, 0] == pytest.approx(7_200.0 + 600.0, rel=1e-3)


def test_pace_that_falls_with_the_hours():
    # 1.5 m/s for an hour, then 10 % less in each further hour: the distance of 2 h is
    # 1.5 x (1 + (1 - 0.9) / -ln 0.9) h = 10,525 m.
    length = 1.5 * 3600.0 * (1.0 + 0.1 / -np.log(0.9))
    path = straight(length, steps=400)
    still = replace(PLAIN, frontal_area_drag_m2=0.0)
    pace = Pace(decay_per_h=0.1, fresh_s=3_600.0)
    assert seconds(simulate(path, series(path), still, [EIGHT], pace=pace))[0, 0] == pytest.approx(
        7_200.0, rel=1e-3
    )


def test_slower_pace_is_slower_by_its_share_in_still_water():
    path = straight(10_800.0)
    passage = simulate(path, series(path), BOARD, [EIGHT], pace=Pace(factor=0.8))
    assert seconds(passage)[0, 0] == pytest.approx(10_800.0 / 1.2, rel=1e-3)


def test_each_member_paddles_through_its_own_weather():
    path = straight()
    v = np.broadcast_to([0.0, -4.0, 4.0], (73, 3))
    together = simulate(path, series(path, members=3, v=v), BOARD, launches())
    for e, wind in enumerate([0.0, -4.0, 4.0]):
        alone = simulate(path, series(path, v=wind), BOARD, launches())
        assert np.array_equal(together.leave[:, :, e], alone.leave[:, :, 0])


def test_a_field_without_members_serves_them_all():
    path = straight()
    forecast = series(path, members=3, v=np.broadcast_to([0.0, -4.0, 4.0], (73, 3)))
    forecast.values["wind_speed_of_gust"] = np.full((40, 73, 1), 9.0)
    passage = simulate(path, forecast, BOARD, [EIGHT])
    assert passage.gust_ms == pytest.approx(np.full((1, 4, 3), 9.0))


def test_path_along_a_route_keeps_its_length_and_legs():
    lon, lat = 11.0, 58.0
    points = [Waypoint(lat, lon, "A")]
    for name, course, distance in (("B", 30.0, 3_210.0), ("C", 100.0, 1_480.0)):
        lon, lat = (float(x) for x in direct(lon, lat, course, distance))
        points.append(Waypoint(lat, lon, name))
    route = route_from_points(points)
    path = path_along(route.legs, step_m=200.0)
    assert path.leg_length_m == pytest.approx([3_210.0, 1_480.0], abs=0.01)
    assert path.length_m.max() <= 200.0
    assert path.course_deg[0] == pytest.approx(30.0, abs=0.01)
    assert np.isnan(path.offshore_m).all()
    taken = seconds(simulate(path, series(path), BOARD, [EIGHT]))[0, 0]
    assert taken == pytest.approx(4_690.0 / 1.5, rel=1e-3)


# -- properties -------------------------------------------------------------------------------


def weather(path, seed, members=1, strong=5.0):
    """Smooth random wind, waves and current, some of them against the paddler."""
    rng = np.random.default_rng(seed)
    hours, points = 72, path.length_m.size

    def field(scale):
        knots = rng.normal(0.0, scale, (4, hours // 6 + 2, members))
        x, t = np.linspace(0, 2.999, points), np.arange(hours + 1) / 6.0
        i, j = x.astype(int), t.astype(int)
        fx, ft = (x - i)[:, None, None], (t - j)[None, :, None]
        low = knots[i][:, j] * (1 - ft) + knots[i][:, j + 1] * ft
        high = knots[i + 1][:, j] * (1 - ft) + knots[i + 1][:, j + 1] * ft
        return low * (1 - fx) + high * fx

    return series(
        path,
        members=members,
        u=field(strong),
        v=field(strong),
        height=np.abs(field(0.3)),
        cu=field(0.2),
        cv=field(0.2),
    )


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_splitting_a_leg_in_two_changes_nothing_much(seed):
    one, two = straight(16_000.0, steps=64, legs=4), straight(16_000.0, steps=64, legs=8)
    forecast = weather(one, seed)
    a, b = (seconds(simulate(p, forecast, KAYAK, launches())) for p in (one, two))
    assert np.array_equal(np.isnan(a), np.isnan(b))
    assert np.nanmax(np.abs(a / b - 1.0), initial=0.0) < 0.01


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000))
def test_halving_the_step_changes_arrivals_by_less_than_a_hundredth(seed):
    coarse, fine = straight(16_000.0, steps=64), straight(16_000.0, steps=128)
    dense = weather(straight(16_000.0, steps=128), seed)
    # The coarse path reads the same field at its own places: the mean of two neighbours.
    thin = replace(
        dense,
        values={n: 0.5 * (x[0::2] + x[1::2]) for n, x in dense.values.items()},
        inside=dense.inside[::2],
    )
    passages = [simulate(p, s, KAYAK, launches()) for p, s in ((coarse, thin), (fine, dense))]
    a, b = (seconds(p) for p in passages)
    # Where hardly any way is made, a hair of wind decides how long that lasts: such passages, with
    # headwinds that leave this kayak less than half its speed, are another matter.
    strongest = np.max([p.headwind_ms.max(axis=1) for p in passages], axis=0)
    both = (strongest < 7.0) & np.isfinite(a) & np.isfinite(b)
    assert np.max(np.abs(a[both] / b[both] - 1.0), initial=0.0) < 0.01


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.1, 4.0))
def test_more_following_wind_never_slows_a_passage(seed, more):
    path = straight(16_000.0, steps=64, course_deg=0.0)
    rng = np.random.default_rng(seed)
    u, v = rng.normal(0, 4), rng.normal(0, 4)
    less = seconds(simulate(path, series(path, u=u, v=v), PLAIN, [EIGHT]))
    gain = seconds(simulate(path, series(path, u=u, v=v + more), PLAIN, [EIGHT]))
    assert np.isnan(less[0, 0]) or gain[0, 0] <= less[0, 0] * (1 + 1e-4)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_order_of_launches_and_members_is_nothing(seed):
    path = straight(16_000.0, steps=32)
    forecast = weather(path, seed, members=4)
    flipped = replace(
        forecast, values={n: v[:, :, ::-1].copy() for n, v in forecast.values.items()}
    )
    a = simulate(path, forecast, BOARD, launches())
    b = simulate(path, flipped, BOARD, launches()[::-1])
    assert np.array_equal(a.leave, b.leave[::-1, :, ::-1], equal_nan=True)
    for name, values in a.worst.items():
        assert np.array_equal(values, b.worst[name][::-1, :, ::-1], equal_nan=True)


# -- bad input --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"length_m": np.zeros(40)}, "longer than 0 m"),
        ({"course_deg": np.full(40, np.nan)}, "finite places and courses"),
        ({"leg": np.arange(40) // 10 + 1}, "numbered from 0 without gaps"),
        ({"leg": np.arange(40) // 10 * 2}, "numbered from 0 without gaps"),
        ({"offshore_m": np.zeros(3)}, "arrays of one length"),
    ],
)
def test_bad_paths(change, message):
    with pytest.raises(InputError, match=message):
        replace(straight(), **change)


def test_bad_series_and_craft():
    path = straight()
    forecast = series(path)
    with pytest.raises(InputError, match="at least one craft"):
        simulate(path, forecast, [], [EIGHT])
    with pytest.raises(InputError, match="no northward_wind; it is required"):
        simulate(path, replace(forecast, values={U: forecast.values[U]}), BOARD, [EIGHT])
    short = replace(forecast, values={**forecast.values, U: forecast.values[U][:3]})
    with pytest.raises(InputError, match=r"has shape \(3, 73, 1\); needed is \(40, 73"):
        simulate(path, short, BOARD, [EIGHT])
    mixed = replace(forecast, values={U: np.zeros((40, 73, 2)), V: np.zeros((40, 73, 3))})
    with pytest.raises(InputError, match=r"have \[2, 3\] members; allowed is 1 or one number"):
        simulate(path, mixed, BOARD, [EIGHT])


@pytest.mark.parametrize("change", [{"factor": 0.0}, {"decay_per_h": 0.9}, {"rest_s": np.nan}])
def test_bad_pace(change):
    with pytest.raises(InputError, match=r"pace: .* allowed is"):
        Pace(**change)

"""Landings under power and turn-back times against cases worked by hand."""

from dataclasses import replace

import numpy as np
import pytest
from passagemaker import ALWAYS_LIGHT, HOUR, MINUTE, START, U, V, days, launches, series, straight

from routeplan.errors import InputError
from routeplan.geodesy import direct, inverse
from routeplan.leeway import WeatherGrid, leeway_object
from routeplan.limits import Limits, Verdict
from routeplan.propulsion import craft, speed_through_water
from routeplan.simulation import speed_over_ground
from routeplan.windows import (
    drift_along,
    landings_under_power,
    scan_launches,
    turn_back_times,
)

BOARD = craft("touring board", still_water_speed_ms=1.5)
PLAIN = craft(
    "touring board",
    still_water_speed_ms=1.5,
    leeway_share=0.0,
    loss_head_per_m=0.0,
    loss_beam_per_m=0.0,
    loss_follow_per_m=0.0,
)
NOTHING = Limits(
    **dict.fromkeys(
        ("wind_ms", "gust_ms", "headwind_ms", "wave_height_m", "offshore_m", "daylight_margin_s")
    ),
    visibility_m=None,
    cape_j_kg=None,
    opposing_current_ms=None,
)
WIND = replace(NOTHING, wind_ms=6.0)
NAT = np.datetime64("NaT", "ns")


def scanned(path, forecast, limits=NOTHING, launch=None, daylight=ALWAYS_LIGHT, who=PLAIN):
    times = launches() if launch is None else launch
    return scan_launches(path, forecast, who, limits, times, daylight=daylight, robust=False)


# -- speed over ground ------------------------------------------------------------------------


def test_speed_over_ground_by_the_triangle_and_its_ends():
    still = replace(PLAIN, frontal_area_drag_m2=0.0)
    current = {
        U: 0.0,
        V: 0.0,
        "eastward_sea_water_velocity": 0.5,
        "northward_sea_water_velocity": 0.0,
    }
    found = speed_over_ground(still, [0.0, 90.0, 180.0, 270.0], current)
    across = np.sqrt(1.5**2 - 0.5**2)
    assert found == pytest.approx([across, 2.0, across, 1.0])
    assert speed_over_ground(BOARD, 0.0, {U: 0.0, V: -15.0}) == 0.0
    assert np.isnan(speed_over_ground(BOARD, 0.0, {U: np.nan, V: 0.0}))
    assert speed_over_ground(BOARD, np.zeros((2, 1)), {U: np.zeros(3), V: 0.0}).shape == (2, 3)
    with pytest.raises(InputError, match="no northward_wind; it is required"):
        speed_over_ground(BOARD, 0.0, {U: 0.0})


# -- landings ---------------------------------------------------------------------------------


def roses(**metres):
    """A rose of 36 directions, far shores but where said (n, e, s, w) [m]."""
    rose = np.full(36, 90_000.0)
    for name, value in metres.items():
        rose[{"n": 0, "e": 9, "s": 18, "w": 27}[name]] = value
    return np.broadcast_to(rose, (40, 36)).copy()


def test_the_nearest_shore_is_not_the_soonest_against_the_wind():
    # Shore 900 m to the north against 8 m/s, 1,500 m to the south with it.
    path = straight(fetch_rose_m=roses(n=900.0, s=1_500.0), course_deg=90.0)
    scan = scanned(path, series(path, v=-8.0))
    found = landings_under_power(scan, 4)
    with_wind, against = speed_through_water(PLAIN, [-8.0, 8.0])
    assert 900.0 / against > 1_500.0 / with_wind
    assert len(found) == 11  # 10.8 km, one about every km
    for landing in found:
        assert landing.bearing_deg == 180.0
        assert landing.distance_m == 1_500.0
        assert landing.nearest_m == 900.0
        assert landing.time_s == pytest.approx(1_500.0 / with_wind, rel=1e-4)
        away = inverse(
            landing.longitude, landing.latitude, landing.landing_longitude, landing.landing_latitude
        )
        assert float(away[1]) == pytest.approx(1_500.0, abs=0.01)
    assert found[0].leg == 1
    assert found[-1].leg == 4
    assert found[0].text == (
        "From leg 1 the shore reached soonest is 1,500 m away on 180°, 12 min of paddling."
    )
    when = [(x.when - scan.launch[4]) / MINUTE for x in found]
    total = (scan.arrive[4] - scan.launch[4]) / MINUTE
    assert when[0] == pytest.approx(total * 500 / 10_800, abs=2.0)
    assert np.all(np.diff(when) > 0)


def test_the_weather_of_the_hour_decides():
    # The wind turns from south to north at 09:00: before, the northern shore is the sooner one.
    v = np.where(np.arange(73) <= 9, 8.0, -8.0)
    path = straight(fetch_rose_m=roses(n=1_200.0, s=1_200.0), course_deg=90.0)
    scan = scanned(path, series(path, v=v), launch=[START + 8 * HOUR])
    found = landings_under_power(scan, 0, every_m=500.0)
    for landing in found:
        hour = (landing.when - START) / HOUR
        if hour < 9.4 or hour > 9.6:
            assert landing.bearing_deg == (0.0 if hour < 9.5 else 180.0)


def test_no_shore_can_be_reached():
    # The board stops at about 9 m/s of headwind; here the only shore lies to windward.
    path = straight(fetch_rose_m=roses(n=800.0), course_deg=180.0)
    scan = scanned(path, series(path, v=-11.0))
    landing = landings_under_power(scan, 0)[0]
    assert np.isnan(landing.time_s)
    assert landing.nearest_m == 800.0
    assert landing.text == "From leg 1 no shore can be reached against wind, sea and current."


def test_unknown_weather_and_missing_roses():
    path = straight(fetch_rose_m=roses(n=900.0))
    forecast = series(path)
    forecast.values[U][20:] = np.nan
    found = landings_under_power(scanned(path, forecast), 0)
    assert np.isfinite(found[0].time_s)
    assert found[-1].text == "Which shore can be reached from leg 4 is unknown."
    with pytest.raises(InputError, match="need a path with fetch roses"):
        landings_under_power(scanned(straight(), series(straight())), 0)
    with pytest.raises(InputError, match="places every 0 m"):
        landings_under_power(scanned(path, series(path)), 0, every_m=0.0)


def test_a_group_lands_at_the_pace_of_its_slowest():
    path = straight(fetch_rose_m=roses(n=900.0))
    fast = replace(PLAIN, still_water_speed_ms=1.9)
    scan = scanned(path, series(path), who=(fast, PLAIN))
    assert landings_under_power(scan, 0)[0].time_s == pytest.approx(600.0, rel=1e-4)


# -- adrift -----------------------------------------------------------------------------------


class EastCoast:
    """Land from a distance east of the path on."""

    def __init__(self, metres):
        self.meridian = float(direct(11.0, 58.05, 90.0, metres)[0])

    def is_land(self, lon, lat):
        assert np.size(lon) == np.size(lat)
        return np.asarray(lon) >= self.meridian

    def distance_to_shore(self, lon, lat):
        lon, lat = np.asarray(lon, float), np.asarray(lat, float)
        return inverse(lon, lat, np.full(lon.shape, self.meridian), lat)[1]


def grid(u, hours=72):
    time = START + np.arange(hours + 1) * HOUR
    fields = np.zeros((2, hours + 1, 2, 2, 1))
    fields[0] = u
    return WeatherGrid(time, np.array([57.0, 59.0]), np.array([10.0, 12.0]), fields)


def test_drift_from_where_one_is_when_one_is_there():
    path = straight(course_deg=0.0)
    scan = scanned(path, series(path, u=5.0), launch=[START + 8 * HOUR])
    found, drift = drift_along(
        scan, 0, grid(5.0), leeway_object("board"), coast=EastCoast(700.0), every_m=3_600.0
    )
    assert [x.leg for x in found] == [1, 2, 4]
    assert drift.longitude.shape[:3] == (3, 3, 1)
    # Downwind 1.93 % of 5 m/s over 700 m; the side branches are as fast to the east.
    for it in found:
        assert it.known
        assert it.ashore_last_s == pytest.approx(700.0 / (0.0193 * 5.0), rel=0.01)
    assert found[0].text in (
        "Adrift from leg 1 (surf board with a person): ashore after 2 h 00 min to 2 h 01 min.",
        "Adrift from leg 1 (surf board with a person): ashore after 2 h 01 min.",
    )
    assert (found[1].when - scan.launch[0]) / HOUR == pytest.approx(
        5_400.0 / 10_800.0 * 2.0, rel=0.05
    )


def test_drift_that_stays_afloat_or_is_unknown():
    path = straight(course_deg=0.0)
    scan = scanned(path, series(path, u=5.0), launch=[START + 8 * HOUR])
    board = leeway_object("board")
    out, _ = drift_along(scan, 0, grid(-5.0), board, coast=EastCoast(700.0), hours=2.0)
    assert np.isnan(out[0].ashore_last_s)
    assert out[0].offshore_m == pytest.approx(700.0 + 0.0193 * 5.0 * 7_200.0, rel=0.01)
    assert "still afloat after 2 h, up to 1,39" in out[0].text
    lost, _ = drift_along(scan, 0, grid(-5.0, hours=9), board, coast=EastCoast(700.0))
    assert not lost[0].known
    assert lost[0].text.endswith("where to is unknown.")
    with pytest.raises(InputError, match="places every -1 m are not possible"):
        drift_along(scan, 0, grid(1.0), board, coast=EastCoast(700.0), every_m=-1.0)


def test_a_limit_on_drift_takes_the_longest_way_ashore():
    path = straight(course_deg=0.0)
    forecast = series(path, u=5.0, time_ashore_by_drift=2.5 * 3_600.0)
    for hours, verdict, words in (
        (3.0, Verdict.WITHIN, "ashore after 2 h 30 min at the latest; the limit is 3 h 00 min."),
        (2.0, Verdict.BEYOND, "ashore after 2 h 30 min, beyond the limit of 2 h 00 min."),
        (1.0, Verdict.BEYOND, "one would not be ashore within the limit of 1 h 00 min."),
    ):
        scan = scanned(path, forecast, replace(NOTHING, drift_s=hours * 3_600.0))
        finding = next(f for f in scan.findings(0) if f.limit == "drift")
        assert finding.verdict == verdict
        assert finding.text.endswith(words)


# -- turning back -----------------------------------------------------------------------------


def test_a_front_sets_the_last_moment():
    # Wind 3 m/s until 12:00, then 9 within the hour: 6 m/s are passed at 12:30.
    u = np.interp(np.arange(73), [0, 12, 13, 72], [3.0, 3.0, 9.0, 9.0])
    path = straight(10_800.0, steps=80)
    scan = scanned(path, series(path, u=u), WIND, launch=[START + 8 * HOUR])
    found = turn_back_times(scan, 0, step_s=300.0)
    assert [x.leg for x in found] == [2, 3, 4]
    leg_h = 2_700.0 / float(scan.speed_over_ground_ms[0, 0]) / 3_600.0
    for legs, it in enumerate(found, start=1):
        arrive = (it.arrive - START) / HOUR
        assert arrive == pytest.approx(8.0 + legs * leg_h, abs=0.02)
        on = (it.go_on_until - START) / HOUR
        back = (it.turn_round_until - START) / HOUR
        assert on == pytest.approx(12.5 - (4 - legs) * leg_h, abs=6 / 60)
        assert back == pytest.approx(12.5 - legs * leg_h, abs=6 / 60)
    assert found[0].text.startswith("At the start of leg 2 going on stays good for 2 h ")
    assert "; turning round stays good for 3 h " in found[0].text


def test_what_stays_good_to_the_horizon_may_do_so_longer():
    path = straight(10_800.0)
    scan = scanned(path, series(path), WIND, launch=[START + 8 * HOUR])
    it = turn_back_times(scan, 0, horizon_s=3_600.0)[0]
    assert it.go_on_until - it.arrive == HOUR
    assert it.text == (
        "At the start of leg 2 going on stays good for 1 h 00 min and more after arrival; turning "
        "round stays good for 1 h 00 min and more after arrival."
    )


def test_nothing_is_good_any_more():
    # The wind passes the limit at 08:40 for good: at the start of leg 3 neither way is open.
    u = np.interp(np.arange(73), [0, 8, 9, 72], [3.0, 3.0, 7.5, 7.5])
    path = straight(10_800.0)
    scan = scanned(path, series(path, u=u), WIND, launch=[START + 8 * HOUR])
    assert scan.verdict[0] == Verdict.BEYOND
    second = turn_back_times(scan, 0)[1]
    assert np.isnat(second.go_on_until)
    assert np.isnat(second.turn_round_until)
    assert second.text == (
        "At the start of leg 3 going on is not good on arrival; turning round is not good on "
        "arrival."
    )


def test_headwind_on_the_way_back_counts():
    # 6 m/s astern is a headwind home, beyond what is accepted.
    limits = replace(NOTHING, headwind_ms=5.0)
    path = straight(10_800.0, course_deg=0.0)
    scan = scanned(path, series(path, v=6.0), limits, launch=[START + 8 * HOUR])
    first = turn_back_times(scan, 0)[0]
    assert not np.isnat(first.go_on_until)
    assert np.isnat(first.turn_round_until)


def test_dusk_is_that_of_where_one_goes():
    limits = replace(NOTHING, daylight_margin_s=0.0)
    path = straight(10_800.0)
    light = (days(6.0, 20.0)[0], days(6.0, 13.5)[0])
    scan = scanned(path, series(path), limits, launch=[START + 8 * HOUR], daylight=light)
    last = turn_back_times(scan, 0)[-1]
    assert (last.go_on_until - START) / HOUR == pytest.approx(13.0, abs=0.2)
    assert (last.turn_round_until - START) / HOUR == pytest.approx(18.5, abs=0.2)


def test_time_on_the_water_counts_from_the_true_launch():
    limits = replace(NOTHING, time_on_water_s=3 * 3_600.0)
    path = straight(10_800.0)
    scan = scanned(path, series(path), limits, launch=[START + 8 * HOUR])
    first = turn_back_times(scan, 0)[0]
    # 1.5 h are left to the end, 0.5 h back: until 09:30 and 10:30.
    assert (first.go_on_until - START) / HOUR == pytest.approx(9.5, abs=0.17)
    assert (first.turn_round_until - START) / HOUR == pytest.approx(10.5, abs=0.17)


def test_legs_that_are_never_begun_are_left_out():
    path = straight(10_800.0)
    forecast = series(path)
    forecast.values[V][15] = -15.0
    scan = scanned(path, forecast, launch=[START + 8 * HOUR])
    assert [x.leg for x in turn_back_times(scan, 0)] == [2]


@pytest.mark.parametrize("settings", [{"step_s": 1.0}, {"step_s": 600.0, "horizon_s": 60.0}])
def test_bad_steps(settings):
    path = straight()
    with pytest.raises(InputError, match="step of 60 s or more"):
        turn_back_times(scanned(path, series(path)), 0, **settings)

"""Launch scans and windows against cases worked by hand, and their properties."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from passagemaker import (
    ALWAYS_LIGHT,
    CURRENT_U,
    CURRENT_V,
    HEIGHT,
    HOUR,
    MINUTE,
    START,
    U,
    V,
    days,
    launches,
    series,
    straight,
)

from routeplan._judge.findings import show_needed, show_pair
from routeplan.errors import InputError
from routeplan.limits import LIMIT_FIELDS, Limits, Verdict
from routeplan.propulsion import craft
from routeplan.simulation import Pace
from routeplan.units import KNOT_MS
from routeplan.waves import wave_growth_cem2003
from routeplan.windows import (
    find_windows,
    nearest_miss,
    propose_launch,
    scan_launches,
    why_launch,
)

BOARD = craft("touring board", still_water_speed_ms=1.5)
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


def scanned(limits=WIND, *, path=None, launch=None, daylight=ALWAYS_LIGHT, forecast=None, **more):
    path = straight() if path is None else path
    fields = {k: more.pop(k) for k in list(more) if k not in OPTIONS}
    forecast = series(path, **fields) if forecast is None else forecast
    times = launches() if launch is None else launch
    return scan_launches(path, forecast, BOARD, limits, times, daylight=daylight, **more)


OPTIONS = ("stage", "leg_numbers", "coast_error_m", "pace", "robust", "refine_s")


def hourly(values, hours=72):
    """An hourly series from pairs (hour, value), linear between them."""
    at, value = zip(*values, strict=True)
    return np.interp(np.arange(hours + 1), at, value)


# -- shapes and the single launch -------------------------------------------------------------


def test_a_calm_day_is_within_all_day():
    scan = scanned(stage=3, leg_numbers=(7, 8, 9, 10))
    assert scan.stage == 3
    assert scan.leg_numbers.tolist() == [7, 8, 9, 10]
    assert scan.launch.shape == scan.arrive.shape == scan.verdict.shape == (25,)
    assert scan.leg_verdict.shape == scan.wind_ms.shape == scan.enter.shape == (25, 4)
    assert not scan.verdict.any()
    assert (scan.binding == "").all()
    assert (scan.margin == 1.0).all()
    assert (scan.margin_limit == "wind").all()
    assert scan.share_within is None
    assert scan.members == 1
    assert scan.robust.all()
    assert scan.fine is None
    assert scan.offshore_m == pytest.approx(np.full((25, 4), 300.0))
    arrive = (scan.arrive - scan.launch).astype("timedelta64[s]").astype(int)
    assert arrive == pytest.approx(np.full(25, 7_200), abs=8)


def test_the_worst_limit_binds_and_comes_first():
    limits = replace(NOTHING, wind_ms=6.0, gust_ms=8.0, headwind_ms=5.0)
    scan = scanned(limits, u=0.0, v=-7.0, gust=7.5)
    assert (scan.verdict == Verdict.BEYOND).all()
    assert (scan.binding == "headwind").all()
    assert scan.margin == pytest.approx(np.full(25, -0.4))
    found = scan.findings(0)
    assert [f.limit for f in found] == ["headwind", "wind", "gust"]
    assert [f.verdict for f in found] == [Verdict.BEYOND, Verdict.BEYOND, Verdict.CLOSE]
    assert found[0].value == pytest.approx(7.0)
    assert found[0].limit_value == 5.0
    assert found[0].unit == "m/s"
    assert scan.reasons(0) == (
        "Headwind reaches 14 kn on leg 1, 4 kn beyond the limit of 9.7 kn.",
        "Wind reaches 14 kn on leg 1, 2 kn beyond the limit of 11.7 kn.",
        "Gusts reach 15 kn on leg 1, close to the limit of 15.6 kn.",
    )


def test_a_finding_tells_where_and_when():
    path = straight()
    forecast = series(path)
    forecast.values[U][25] = 6.5
    scan = scanned(path=path, forecast=forecast)
    finding = scan.findings(4)[0]
    assert finding.leg == 3
    assert finding.longitude == path.longitude[25]
    assert finding.latitude == path.latitude[25]
    # Step 25 of 40 of a passage of two hours, its middle.
    assert (finding.when - scan.launch[4]) / MINUTE == pytest.approx(25.5 / 40 * 120, abs=1.0)


def test_reasons_of_a_good_launch_name_what_is_nearest():
    limits = replace(NOTHING, wind_ms=6.0, gust_ms=12.0)
    scan = scanned(limits, u=4.0, gust=6.0)
    assert scan.reasons(0) == ("Wind reaches 8 kn at worst, on leg 1; the limit is 11.7 kn.",)


def test_what_the_forecast_lacks_is_named_with_leg_and_hour():
    path = straight(steps=40, legs=4)
    height = np.full(73, 0.2)
    height[14:20] = np.nan  # from 14:00; the passage takes two hours, a leg half an hour
    scan = scanned(replace(NOTHING, gust_ms=9.0), path=path, gust=np.where(height > 0, 5.0, np.nan))
    i = int(np.flatnonzero(scan.launch == START + 12 * HOUR)[0])
    finding = scan.findings(i)[0]
    assert finding.text == (
        "The forecast has no gusts on leg 3, so the limit of 17.5 kn cannot be judged."
    )
    assert finding.verdict is Verdict.UNKNOWN
    # 13:00: what comes after it needs the value of 14:00 as well.
    assert abs(finding.when - (START + 13 * HOUR)) < MINUTE
    late = int(np.flatnonzero(scan.launch == START + 14 * HOUR)[0])
    assert scan.findings(late)[0].leg == 1
    assert scan.findings(late)[0].when == START + 14 * HOUR


def test_a_quantity_that_the_forecast_has_nowhere_is_named():
    limits = replace(NOTHING, visibility_m=2000.0, explicit=frozenset({"visibility"}))
    finding = scanned(limits).findings(0)[0]
    assert finding.text == (
        "The forecast has no visibility at all, so the limit of 2.0 km cannot be judged."
    )
    assert finding.when is None


def test_a_passage_that_a_gap_stops_says_what_is_missing_from_when():
    path = straight()
    wind = np.full(73, 3.0)
    wind[14:20] = np.nan
    scan = scanned(path=path, u=wind)
    i = int(np.flatnonzero(scan.launch == START + 12 * HOUR)[0])
    finding = scan.findings(i)[0]
    assert (finding.limit, finding.verdict) == ("progress", Verdict.UNKNOWN)
    assert finding.text == "The forecast has no wind on leg 2: what follows is unknown."
    assert abs(finding.when - (START + 13 * HOUR)) < MINUTE


@pytest.mark.parametrize(
    ("value", "limit", "words"),
    [
        (0.62, 0.6, ("0.62 m", "0.6 m")),
        (0.604, 0.6, ("just over 0.6 m", "0.6 m")),
        (0.596, 0.6, ("just under 0.6 m", "0.6 m")),
        (0.58, 0.6, ("0.58 m", "0.6 m")),
        (0.5, 0.6, ("0.5 m", "0.6 m")),
        (0.6, 0.6, ("0.6 m", "0.6 m")),
        (0.67, 0.6, ("0.7 m", "0.6 m")),
    ],
)
def test_a_value_and_its_limit_never_look_alike_unless_they_are(value, limit, words):
    assert show_pair(value, limit, "m")[:2] == words


@given(st.floats(0.0, 60.0), st.floats(0.0, 60.0))
def test_the_figures_shown_stand_as_the_true_ones_do(value, limit):
    shown, bound, decimals = show_pair(value, limit, "kn")
    if decimals is None:
        assert shown == f"just {'over' if value > limit else 'under'} {bound}"
        assert abs(value - limit) < 0.1 * KNOT_MS
    else:
        told = float(shown.split()[0]) - float(bound.split()[0])
        assert np.sign(told) == np.sign(value - limit)


@pytest.mark.parametrize(
    ("limit", "needed", "value", "words"),
    [
        ("wave_height", 0.612, 0.6, "0.62 m"),
        ("wave_height", 0.6000001, 0.6, "0.61 m"),
        ("wind", 12.01 * KNOT_MS, 12.0 * KNOT_MS, "12.1 kn"),
        ("visibility", 1_899.0, 2_000.0, "1.89 km"),
        ("offshore", 1_200.2, 1_000.0, "1,201 m"),
        ("time_on_water", 7_230.0, 7_200.0, "2 h 01 min"),
    ],
)
def test_what_a_limit_would_have_to_be_is_rounded_so_that_it_is_enough(limit, needed, value, words):
    assert show_needed(limit, needed, value) == words


def test_sentences_hold_no_clock_time():
    limits = replace(Limits(), time_on_water_s=3_600.0, explicit=frozenset({"gust"}))
    scan = scanned(limits, daylight=days(10.0, 12.0), u=7.0, v=-6.0)
    for i in range(scan.launch.size):
        for text in scan.reasons(i):
            assert ":" not in text.replace("dark on leg", "") or "dark" in text
            assert text.endswith(".")
            assert "nan" not in text


# -- windows ----------------------------------------------------------------------------------


def test_a_front_closes_a_window_to_five_minutes():
    # Wind 3 m/s until 12:00, then rising by 6 m/s an hour: 6 m/s at 12:30. 10.8 km across the
    # wind take a little over two hours; the last launch arrives by 12:30.
    u = hourly([(0, 3.0), (12, 3.0), (13, 9.0), (72, 9.0)])
    path = straight(10_800.0, steps=200)
    scan = scanned(path=path, u=u)
    windows = find_windows(scan)
    assert windows[0].verdict is Verdict.WITHIN
    end = windows[-1]
    assert end.closed_by == "wind"
    # The same launch times one by one, every minute: the last that is good.
    dense = scanned(path=path, u=u, launch=launches(9, 12, 1), refine_s=None, robust=False)
    last = dense.launch[dense.verdict <= Verdict.CLOSE][-1]
    assert np.timedelta64(0, "ns") <= last - end.last_launch < 5 * MINUTE
    arrive = dense.arrive[dense.verdict <= Verdict.CLOSE][-1]
    assert abs((arrive - START) / HOUR - 12.5) < 0.03
    assert abs((end.latest_arrival - START) / HOUR - 12.5) < 6 / 60


def test_close_and_within_are_windows_of_their_own():
    u = hourly([(0, 3.0), (10, 3.0), (20, 8.0), (72, 8.0)])
    scan = scanned(u=u)
    within, close = find_windows(scan)
    assert (within.verdict, close.verdict) == (Verdict.WITHIN, Verdict.CLOSE)
    assert within.opened_by == "forecast start"
    assert within.closed_by == "wind"
    assert close.opened_by == "wind"
    assert close.closed_by == "wind"
    assert within.last_launch < close.first_launch
    assert close.first_launch - within.last_launch <= 5 * MINUTE
    assert 0.0 <= close.margin < 0.1 <= within.margin
    assert within.margin_limit == "wind"


def test_the_edge_of_the_forecast_closes_a_window():
    path = straight()
    scan = scanned(path=path, launch=launches(60, 74), forecast=series(path, hours=72))
    (window,) = find_windows(scan)
    assert window.opened_by == "forecast start"
    assert window.closed_by == "forecast end"
    assert abs((window.last_launch - START) / HOUR - 70.0) < 6 / 60
    assert (scan.verdict[scan.launch > START + 70 * HOUR] == Verdict.UNKNOWN).all()
    assert np.isnan(scan.margin[-1])
    assert scan.binding[-1] == "progress"
    (why,) = scan.reasons(scan.launch.size - 1)
    assert why == "The forecast ends while on leg 1: what follows is unknown."
    assert scan.findings(scan.launch.size - 1)[0].when == START + 72 * HOUR


def test_a_gap_in_the_forecast_breaks_a_window():
    path = straight()
    forecast = series(path)
    forecast.values[V][:, 12] = np.nan
    first, second = find_windows(scanned(path=path, forecast=forecast))
    assert first.closed_by == second.opened_by == "unknown"


def test_daylight_opens_and_closes_the_day():
    limits = replace(NOTHING, daylight_margin_s=1_800.0)
    scan = scanned(limits, daylight=days(7.0, 16.0), launch=launches(0, 24))
    windows = find_windows(scan)
    assert windows[0].first_launch == START + 7 * HOUR
    assert windows[0].opened_by == "daylight"
    assert windows[-1].closed_by == "daylight"
    # Dusk 16:00 less 30 min less two hours on the water.
    assert abs((windows[-1].last_launch - START) / HOUR - 13.5) <= 5 / 60 + 0.01
    assert "It is dark on leg 1: 7 h 00 min from civil daylight." in scan.reasons(0)
    earlier_dusk = scanned(limits, daylight=days(7.0, 15.9), launch=launches(0, 24))
    assert earlier_dusk.reasons(27) == (
        "Only 23 min of civil daylight would be left on leg 4; the margin wanted is 30 min.",
    )


def test_robust_launches_stand_a_delay_and_a_slower_pace():
    limits = replace(NOTHING, daylight_margin_s=0.0, delay_s=3_600.0, slower_share=0.2)
    scan = scanned(limits, daylight=days(6.0, 16.0))
    good = scan.verdict <= Verdict.CLOSE
    # Two hours become 2.5 slower, and leaving an hour late that must still end by 16:00.
    latest = START + 12 * HOUR + 30 * MINUTE
    assert np.array_equal(scan.robust, good & (scan.launch <= latest))
    windows = find_windows(scan)
    assert windows[0].robust_first == windows[0].first_launch
    assert latest - 5 * MINUTE <= windows[0].robust_last <= latest
    plain = scanned(limits, daylight=days(6.0, 16.0), robust=False)
    assert plain.robust is None
    assert np.isnat(find_windows(plain)[0].robust_first)


def test_refining_is_the_users():
    u = hourly([(0, 3.0), (12, 3.0), (13, 9.0), (72, 9.0)])
    coarse = find_windows(scanned(u=u, refine_s=None))[-1].last_launch
    fine = find_windows(scanned(u=u, refine_s=60.0))[-1].last_launch
    assert coarse <= fine < coarse + 30 * MINUTE
    with pytest.raises(InputError, match="refined to steps of 60 s or more, not 1 s"):
        scanned(refine_s=1.0)


# -- best launch, nearest miss ----------------------------------------------------------------


def test_the_launch_with_the_most_in_hand_is_proposed():
    u = hourly([(0, 8.0), (12, 3.2), (13, 3.2), (20, 8.0), (72, 8.0)])
    scan = scanned(u=u)
    best = propose_launch(scan)
    assert START + 10 * HOUR < scan.launch[best] <= START + 12 * HOUR
    assert scan.margin[best] >= scan.margin.max() - 0.05
    why = why_launch(scan, best)
    assert why.startswith("It is within the limits, with ")
    assert "in hand against its tightest limit, wind, and it stays good" in why
    assert "when you leave 30 min later and paddle 15 % slower." in why
    after = scan.launch > START + 14 * HOUR
    assert scan.launch[propose_launch(scan, after)] > START + 14 * HOUR


# The path lies at 11 degrees east, where the sun is 44 min ahead of UTC: 06:00 by it is 05:16.
@pytest.mark.parametrize(
    ("first", "last", "hour"),
    [(0, 18, 5.5), (6, 18, 6.0), (2, 5, 5.0), (14, 20, 14.0)],
    ids=["all day", "from six", "all before", "afternoon"],
)
def test_of_equal_launches_the_first_at_a_civil_hour_is_proposed(first, last, hour):
    scan = scanned(u=2.0, launch=launches(first, last))
    assert scan.launch[propose_launch(scan)] == START + round(hour * 60) * MINUTE


def test_half_of_every_limit_in_hand_is_enough_to_go():
    # Calm all day and calmer still in the evening: nobody waits until 18:00 for that.
    u = hourly([(0, 2.5), (16, 2.5), (18, 0.5), (72, 0.5)])
    assert scanned(u=u).launch[0] == START + 6 * HOUR
    assert propose_launch(scanned(u=u)) == 0
    windy = hourly([(0, 4.5), (16, 4.5), (18, 0.5), (72, 0.5)])
    assert propose_launch(scanned(u=windy)) > 20  # it is worth waiting for less than half


def test_waiting_for_a_civil_hour_never_costs_margin_nor_a_day():
    # Calm until 04:00 and again from 18:00: the evening is no equal to wait for.
    u = hourly([(0, 3.2), (4, 3.2), (5, 5.0), (15, 5.0), (18, 3.2), (72, 3.2)])
    scan = scanned(u=u, launch=launches(0, 22))
    best = propose_launch(scan)
    assert scan.launch[best] == START + 2 * HOUR  # two hours on the water
    assert scan.margin[best] > scan.margin.max() - 0.05
    evening = scanned(u=2.0, launch=launches(21, 32))
    assert evening.launch[propose_launch(evening)] == START + 21 * HOUR  # not the next morning


def test_the_reason_tells_how_far_the_equals_of_a_launch_reach():
    scan = scanned(u=2.0)  # 06:00 to 18:00
    assert why_launch(scan, 0).endswith(
        "Leaving up to 12 h 00 min later keeps about as much in hand."
    )
    assert why_launch(scan, 8).endswith(
        "Leaving up to 4 h 00 min earlier or 8 h 00 min later keeps about as much in hand."
    )
    falling = scanned(u=hourly([(5, 5.9), (13, 0.0), (72, 0.0)]), launch=launches(6, 9))
    assert "Leaving up to" not in why_launch(falling, falling.launch.size - 1)


def test_a_launch_that_stands_delay_goes_before_one_that_does_not():
    limits = replace(NOTHING, wind_ms=6.0, daylight_margin_s=0.0)
    u = hourly([(0, 5.0), (8, 5.0), (12, 2.0), (72, 2.0)])
    scan = scanned(limits, u=u, daylight=days(6.0, 14.5))
    best = propose_launch(scan)
    assert scan.robust[best]
    assert scan.launch[best] < scan.launch[scan.verdict <= Verdict.CLOSE][-1]


def test_nothing_good_nothing_proposed():
    scan = scanned(u=8.0)
    assert propose_launch(scan) is None
    assert find_windows(scan) == ()
    assert why_launch(scan, 0) == "This launch is beyond; nothing speaks for it."
    assert nearest_miss(scanned(u=1.0)) is None


def test_the_nearest_miss_names_the_one_limit_that_stands_against_it():
    u = hourly([(0, 9.0), (12, 6.5), (13, 6.5), (24, 9.0), (72, 9.0)])
    scan = scanned(replace(NOTHING, wind_ms=6.0, gust_ms=20.0), u=u, gust=12.0)
    miss = nearest_miss(scan)
    assert miss.limit == "wind"
    assert miss.needed == pytest.approx(scan.wind_ms[miss.i].max())
    assert miss.needed == pytest.approx(scan.wind_ms.max(axis=1).min())
    assert miss.texts[0] == (
        "Only the limit on wind stands against the nearest launch: it needs 13.0 kn where the "
        "limit is 11.7 kn."
    )
    eased = replace(scan.detail.limits, wind_ms=miss.needed)
    again = scanned(eased, u=u, gust=12.0)
    assert again.verdict[miss.i] <= Verdict.CLOSE


def test_a_shorter_trip_that_would_be_good():
    path = straight()
    forecast = series(path)
    forecast.values[U][25:] = 9.0
    miss = nearest_miss(scanned(path=path, forecast=forecast, leg_numbers=(3, 4, 5, 6)))
    assert miss.legs == 2
    assert "A shorter trip, as far as the end of leg 4, would be good." in miss.texts


def test_two_limits_beyond_are_no_single_one():
    miss = nearest_miss(scanned(replace(WIND, gust_ms=8.0), u=7.0, gust=9.0))
    assert (miss.i, miss.limit, miss.legs) == (None, "", 0)
    assert miss.texts == ("No single limit and no shorter trip would open a launch.",)


# -- members ----------------------------------------------------------------------------------


def members_of(winds):
    return np.broadcast_to(np.asarray(winds, dtype=float), (73, len(winds)))


@pytest.mark.parametrize(
    ("beyond", "verdict"), [(0, Verdict.WITHIN), (5, Verdict.WITHIN), (6, Verdict.BEYOND)]
)
def test_the_verdict_is_what_nine_tenths_of_the_members_reach(beyond, verdict):
    winds = np.array([2.0] * (50 - beyond) + [8.0] * beyond)
    scan = scanned(u=members_of(winds), forecast=None, members=50)
    assert (scan.verdict == verdict).all()
    assert scan.members == 50
    assert scan.share_within == pytest.approx(np.full(25, (50 - beyond) / 50))
    said = f"{50 - beyond} of 50 forecast members stay within the limits."
    assert scan.reasons(0)[0] == said


def test_the_share_asked_for_is_the_users():
    winds = [2.0] * 38 + [8.0] * 12
    for share, verdict in ((0.76, Verdict.WITHIN), (0.78, Verdict.BEYOND)):
        scan = scanned(replace(WIND, member_share=share), u=members_of(winds), members=50)
        assert (scan.verdict == verdict).all()
    assert "38 of 50" in scan.reasons(0)[0]


def test_findings_are_of_a_member_that_fits_the_verdict():
    winds = np.linspace(2.0, 9.0, 10)
    scan = scanned(u=members_of(winds), members=10)
    assert scan.binding[0] == "wind"
    assert scan.findings(0)[0].verdict == scan.verdict[0]
    # Nine of ten members are needed, so the ninth by strength decides.
    assert scan.findings(0)[0].value == pytest.approx(winds[8])
    assert scan.wind_ms[0] == pytest.approx(np.full(4, np.median(winds)))


def test_a_member_with_an_unknown_does_not_count_as_within():
    path = straight()
    forecast = series(path, members=10, u=members_of([2.0] * 10))
    forecast.values[U][20:, :, 8:] = np.nan
    scan = scanned(path=path, forecast=forecast)
    assert scan.share_within == pytest.approx(np.full(25, 0.8))
    assert (scan.verdict == Verdict.UNKNOWN).all()


# -- the sea ----------------------------------------------------------------------------------


def test_the_sea_in_shelter_is_the_local_one_and_says_so():
    path = straight(fetch_rose_m=np.full((40, 36), 2_000.0))
    limits = replace(NOTHING, wave_height_m=0.2)
    scan = scanned(limits, path=path, u=-6.0, height=1.5)
    assert scan.wave_height_m == pytest.approx(
        np.full((25, 4), wave_growth_cem2003(6.0, 2_000.0)[0])
    )
    assert scan.reasons(0) == (
        "Waves reach 0.1 m at worst, on leg 1 (local wind sea); the limit is 0.2 m.",
    )
    rougher = scanned(replace(limits, wave_height_m=1.0), path=replace(
        path, fetch_rose_m=np.full((40, 36), 6_000.0)), u=-10.0, height=1.5)  # fmt: skip
    assert "(local wind sea, steep)" in rougher.reasons(0)[0]


def test_each_leg_says_which_sea_it_was_judged_by():
    rose = np.full((40, 36), 2_000.0)
    rose[20:] = 60_000.0
    path = straight(fetch_rose_m=rose)
    scan = scanned(replace(NOTHING, wave_height_m=2.0), path=path, u=-6.0, height=0.8)
    assert scan.wave_source[0].tolist() == [2, 2, 1, 1]
    assert scanned(NOTHING, u=-6.0, height=0.8).wave_source[0].tolist() == [0, 0, 0, 0]


def test_a_wave_from_a_far_cell_and_a_gap_say_so():
    path = straight(fetch_rose_m=np.full((40, 36), 60_000.0))
    forecast = series(path, u=-6.0, height=0.8, cu=0.1, cv=0.0)
    for name in (HEIGHT, CURRENT_U, CURRENT_V):
        forecast.sea_cell_m[name] = np.full(40, 3_200.0)
    forecast.sea_cell_m[CURRENT_U][30:] = np.nan
    forecast.values[CURRENT_U][30:] = np.nan
    scan = scanned(replace(NOTHING, wave_height_m=2.0), path=path, forecast=forecast)
    texts = {f.limit: f.text for f in scan.findings(0)}
    assert "(from the nearest sea cell of the forecast, 3.2 km off)" in texts["wave_height"]
    assert texts["current"] == (
        "The current is unknown on leg 4 (no sea cell of the forecast within 25 km); it was taken "
        "as none for the speed."
    )


def test_without_swell_the_best_there_is_is_close():
    path = straight(fetch_rose_m=np.full((40, 36), 60_000.0))
    scan = scanned(replace(NOTHING, wave_height_m=1.5), path=path, u=-3.0)
    assert (scan.verdict == Verdict.CLOSE).all()
    assert scan.not_judged == ("swell",)
    assert "swell from outside is not in the forecast" in scan.reasons(0)[0]


def test_wind_chill_comes_from_the_air_temperature():
    # -5 °C and 50 km/h give -15 °C by the formula of 2001 (see the tests of thermal).
    limits = replace(NOTHING, wind_chill_k=263.15)
    scan = scanned(limits, u=50 / 3.6, air_temperature=268.15)
    assert scan.findings(0)[0].limit in ("wind_chill", "progress")
    chill = next(f for f in scan.findings(0) if f.limit == "wind_chill")
    assert chill.value == pytest.approx(273.15 - 14.96, abs=0.01)
    assert chill.verdict is Verdict.BEYOND
    assert chill.text == "Wind chill falls to -15 °C on leg 1, 5 °C beyond the limit of -10 °C."


# -- properties -------------------------------------------------------------------------------


def random_scan(seed, limits, *, members=1, keep=None):
    rng = np.random.default_rng(seed)
    path = straight(8_000.0, steps=12, legs=3)

    def field(scale, centre=0.0):
        knots = rng.normal(centre, scale, (1, 14, members))
        t = np.arange(73) / 6.0
        i = np.minimum(t.astype(int), 12)
        share = (t - i)[None, :, None]
        whole = np.broadcast_to(
            knots[:, i] * (1 - share) + knots[:, i + 1] * share, (12, 73, members)
        )
        return whole if keep is None else whole[:, :, :keep]

    fields = {
        "u": field(4),
        "v": field(4),
        "gust": np.abs(field(2, 8)),
        "height": np.abs(field(0.3)),
    }
    count = members if keep is None else keep
    forecast = series(path, members=count, **fields)
    return scan_launches(
        path, forecast, BOARD, limits, launches(0, 20, 60), daylight=days(4.0, 20.0),
        coast_error_m=10.0, robust=False, refine_s=None,
    )  # fmt: skip


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 10_000),
    st.sampled_from(["wind", "gust", "headwind", "wave_height", "offshore", "daylight"]),
    st.floats(0.3, 1.0),
)
def test_a_stricter_limit_never_opens_a_launch(seed, name, share):
    loose = Limits()
    value = getattr(loose, LIMIT_FIELDS[name])
    tight = value / share if name == "daylight" else value * share
    strict = random_scan(seed, replace(loose, **{LIMIT_FIELDS[name]: tight}))
    assert np.all(strict.verdict >= random_scan(seed, loose).verdict)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.integers(2, 9))
def test_adding_a_member_that_is_beyond_never_raises_the_share(seed, members):
    limits = replace(Limits(), visibility_m=None, cape_j_kg=None, opposing_current_ms=None)
    many = random_scan(seed, limits, members=members)
    fewer = random_scan(seed, limits, members=members, keep=members - 1)
    last = many.detail.judged.verdict[..., -1].max(axis=(1, 2)) > Verdict.CLOSE
    share = fewer.share_within
    if share is None:  # one member alone
        share = (fewer.verdict <= Verdict.CLOSE).astype(float)
    assert np.all(many.share_within[last] <= share[last] + 1e-12)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000), st.floats(0.2, 1.0), st.floats(0.0, 0.8))
def test_asking_for_more_members_never_opens_a_launch(seed, share, less):
    limits = replace(Limits(), visibility_m=None, cape_j_kg=None, opposing_current_ms=None)
    more = random_scan(seed, replace(limits, member_share=share), members=6)
    fewer = random_scan(seed, replace(limits, member_share=max(share * less, 0.01)), members=6)
    assert np.all(more.verdict >= fewer.verdict)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10_000))
def test_windows_hold_the_good_launches_and_no_others(seed):
    scan = random_scan(
        seed, replace(Limits(), visibility_m=None, cape_j_kg=None, opposing_current_ms=None)
    )
    inside = np.zeros(scan.launch.size, dtype=bool)
    for window in find_windows(scan):
        run = (scan.launch >= window.first_launch) & (scan.launch <= window.last_launch)
        assert (scan.verdict[run] == window.verdict).all()
        assert window.margin == scan.margin[run].min()
        assert window.latest_arrival == scan.arrive[run].max()
        assert not (inside & run).any()
        inside |= run
    assert np.array_equal(inside, scan.verdict <= Verdict.CLOSE)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000))
def test_a_verdict_is_its_worst_finding(seed):
    scan = random_scan(seed, Limits())
    for i in range(0, scan.launch.size, 5):
        found = scan.findings(i)
        worst = max((f.verdict for f in found), default=Verdict.WITHIN)
        assert worst == scan.verdict[i]
        if worst > Verdict.WITHIN:
            assert found[0].verdict == worst
            assert scan.binding[i] == found[0].limit


# -- bad input --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "times", [[START, START], [START + HOUR, START], [START, NAT]], ids=["twice", "back", "unknown"]
)
def test_launch_times_must_ascend(times):
    with pytest.raises(InputError, match="launch times must be known and ascending"):
        scanned(launch=np.array(times))


def test_a_slow_party_is_slower():
    slow = scanned(pace=Pace(factor=0.8))
    assert (slow.arrive > scanned().arrive).all()


def test_no_launches_no_windows():
    scan = scanned(launch=np.empty(0, dtype="datetime64[ns]"))
    assert find_windows(scan) == ()
    assert propose_launch(scan) is None
    assert nearest_miss(scan) is None

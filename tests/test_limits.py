"""The user's limits, their file, and verdicts against them."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from passagemaker import ALWAYS_LIGHT, HOUR, START, V, days, series, spells, straight

from routeplan._judge.limitnotes import limit_notes
from routeplan.errors import InputError
from routeplan.limits import LIMIT_FIELDS, Limits, Verdict, judge, quantity_of, read_limits
from routeplan.propulsion import craft
from routeplan.simulation import simulate
from routeplan.units import KNOT_MS

BOARD = craft("touring board", still_water_speed_ms=1.5)
EIGHT = START + 8 * HOUR
NOTHING = Limits(
    **dict.fromkeys(
        ("wind_ms", "gust_ms", "headwind_ms", "wave_height_m", "offshore_m", "daylight_margin_s")
    ),
    visibility_m=None,
    cape_j_kg=None,
    opposing_current_ms=None,
)


def judged(limits, *, path=None, launch=EIGHT, daylight=ALWAYS_LIGHT, coast_error_m=0.0, **fields):
    """Verdicts (n, L) and margins of one launch of one member, by name of the limit."""
    path = straight() if path is None else path
    forecast = fields.pop("forecast", None) or series(path, **fields)
    passage = simulate(
        path, forecast, BOARD, [launch], offshore_wind_beyond_m=limits.offshore_wind_beyond_m
    )
    found = judge(passage, path, limits, daylight=daylight, coast_error_m=coast_error_m)
    verdict = {n: found.verdict[0, :, i, 0].tolist() for i, n in enumerate(found.names)}
    margin = {n: found.margin[0, :, i, 0] for i, n in enumerate(found.names)}
    return verdict, margin, found.not_judged


def test_order_of_verdicts():
    assert Verdict.WITHIN < Verdict.CLOSE < Verdict.UNKNOWN < Verdict.BEYOND
    assert [v.word for v in Verdict] == ["within", "close", "unknown", "beyond"]


@pytest.mark.parametrize(
    ("wind", "verdict"),
    [(4.49, 0), (4.51, 1), (5.0, 1), (5.0 + 1e-5, 3), (6.0, 3)],
)
def test_a_value_on_the_limit_holds_and_a_tenth_below_it_is_close(wind, verdict):
    limits = replace(NOTHING, wind_ms=5.0)
    found, margin, _ = judged(limits, u=wind)
    assert found["wind"] == [verdict] * 4
    assert margin["wind"] == pytest.approx(np.full(4, (5.0 - wind) / 5.0), abs=1e-6)


def test_share_that_counts_as_close_is_the_users():
    assert judged(replace(NOTHING, wind_ms=5.0, close_share=0.4), u=3.5)[0]["wind"] == [1] * 4


@pytest.mark.parametrize(
    ("name", "limit", "weather", "verdict"),
    [
        ("gust", 8.0, {"gust": 8.1}, 3),
        ("headwind", 4.0, {"v": -4.1}, 3),
        ("headwind", 4.0, {"v": 4.1}, 0),
        ("crosswind", 4.0, {"u": 4.1}, 3),
        ("crosswind", 4.0, {"u": -4.1}, 3),
        ("wave_height", 0.5, {"height": 0.51}, 3),
        ("opposing_current", 0.5, {"v": 5.0, "cu": 0.0, "cv": -0.6}, 3),
        ("visibility", 2_000.0, {"visibility_in_air": 1_900.0}, 3),
        ("visibility", 2_000.0, {"visibility_in_air": 2_100.0}, 1),
        ("cape", 500.0, {"atmosphere_convective_available_potential_energy": 600.0}, 3),
        ("water_temperature", 285.0, {"sea_surface_temperature": 284.0}, 3),
        ("water_temperature", 285.0, {"sea_surface_temperature": 285.5}, 1),
        ("wind_chill", 270.0, {"wind_chill_temperature": 275.0}, 0),
        ("wave_steepness", 0.05, {"sea_surface_wave_steepness": 0.06}, 3),
    ],
)
def test_each_limit_on_the_weather(name, limit, weather, verdict):
    limits = replace(NOTHING, **{LIMIT_FIELDS[name]: limit})
    assert judged(limits, **weather)[0][name] == [verdict] * 4


def test_wind_off_the_land_far_out():
    path = straight(
        offshore_m=np.where(np.arange(40) < 20, 300.0, 900.0), shore_bearing_deg=np.full(40, 90.0)
    )
    limits = replace(NOTHING, offshore_wind_ms=4.0, offshore_wind_beyond_m=500.0)
    assert judged(limits, path=path, u=-4.1)[0]["offshore_wind"] == [0, 0, 3, 3]
    assert judged(limits, path=path, u=4.1)[0]["offshore_wind"] == [0, 0, 0, 0]


def test_wind_off_the_land_is_unknown_without_a_shore():
    limits = replace(NOTHING, offshore_wind_ms=4.0, explicit=frozenset({"offshore_wind"}))
    assert judged(limits)[0]["offshore_wind"] == [2] * 4


# -- unknown ----------------------------------------------------------------------------------


def test_default_limit_without_data_is_not_judged_and_said():
    found, _, not_judged = judged(Limits())
    assert not_judged == ("gust", "wave_height", "opposing_current", "visibility", "cape")
    assert sorted(found) == ["daylight", "headwind", "offshore", "progress", "wind"]


def test_a_limit_the_user_set_is_unknown_without_data():
    found, _, not_judged = judged(replace(Limits(), explicit=frozenset({"gust"})))
    assert found["gust"] == [2] * 4
    assert "gust" not in not_judged


def test_unknown_at_one_place_is_not_hidden_by_the_others():
    path = straight()
    forecast = series(path, gust=5.0)
    forecast.values["wind_speed_of_gust"][15] = np.nan
    found, margin, _ = judged(replace(NOTHING, gust_ms=8.0), path=path, forecast=forecast)
    assert found["gust"] == [0, 2, 0, 0]
    assert np.isnan(margin["gust"][1])


def test_beyond_at_one_place_is_not_softened_by_unknown_at_another():
    path = straight()
    forecast = series(path, gust=5.0)
    forecast.values["wind_speed_of_gust"][15] = np.nan
    forecast.values["wind_speed_of_gust"][16] = 9.0
    assert judged(replace(NOTHING, gust_ms=8.0), path=path, forecast=forecast)[0]["gust"][1] == 3


def test_a_passage_that_outlasts_the_forecast_is_unknown():
    found, _, _ = judged(replace(NOTHING, wind_ms=5.0), launch=START + 71 * HOUR)
    assert found["progress"] == [0, 0, 2, 2] or found["progress"] == [0, 2, 2, 2]
    assert found["wind"] == found["progress"]


def test_current_that_is_unknown_somewhere_makes_the_launch_unknown():
    path = straight()
    forecast = series(path, cu=0.1, cv=0.0)
    forecast.values["eastward_sea_water_velocity"][35] = np.nan
    found, _, _ = judged(NOTHING, path=path, forecast=forecast)
    assert found["current"] == [0, 0, 0, 2]


def test_no_headway_is_beyond_and_what_follows_is_unknown():
    path = straight()
    forecast = series(path, v=-3.0)
    forecast.values[V][15] = -15.0
    found, _, _ = judged(replace(NOTHING, wind_ms=5.0), path=path, forecast=forecast)
    assert found["progress"] == [0, 3, 2, 2]
    assert found["wind"] == [0, 3, 2, 2]


# -- swell ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("explicit", "height", "verdict"),
    [(False, 0.2, 1), (True, 0.2, 2), (False, 0.9, 3), (True, 0.9, 3)],
)
def test_a_height_without_swell_is_a_lower_bound(explicit, height, verdict):
    limits = replace(
        NOTHING, wave_height_m=0.6, explicit=frozenset({"wave_height"} if explicit else ())
    )
    found, _, not_judged = judged(limits, height=height, wave_source=4.0)
    assert found["wave_height"] == [verdict] * 4
    assert not_judged == ("swell",)


def test_a_sheltered_local_sea_is_whole():
    found, _, not_judged = judged(replace(NOTHING, wave_height_m=0.6), height=0.2, wave_source=3.0)
    assert found["wave_height"] == [0] * 4
    assert not_judged == ()


# -- distance from shore ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("offshore", "error", "verdict"),
    [
        (700.0, 50.0, 0),
        (890.0, 50.0, 0),
        (910.0, 50.0, 1),  # less than a tenth of the limit is left
        (890.0, 120.0, 1),  # nearer to the limit than the coastline is exact
        (700.0, np.nan, 1),  # how exact the coastline is, nobody says
        (1_000.0, 0.0, 1),
        (1_010.0, 50.0, 3),
        (np.nan, 50.0, 2),
    ],
)
def test_distance_from_shore(offshore, error, verdict):
    # The threshold of 1,000 m is common practice, no source.
    path = straight(offshore_m=offshore)
    limits = replace(NOTHING, offshore_m=1_000.0)
    assert judged(limits, path=path, coast_error_m=error)[0]["offshore"] == [verdict] * 4


def test_one_step_too_far_out_decides_its_leg_even_beside_an_unknown_one():
    offshore = np.full(40, 300.0)
    offshore[[13, 14]] = [1_200.0, np.nan]
    path = straight(offshore_m=offshore)
    limits = replace(NOTHING, offshore_m=1_000.0)
    assert judged(limits, path=path, coast_error_m=1.0)[0]["offshore"] == [0, 3, 0, 0]


# -- time and daylight ------------------------------------------------------------------------


def test_time_on_the_water_counts_from_the_launch():
    # Legs end 30, 60, 90 and 120 minutes after the launch.
    limits = replace(NOTHING, time_on_water_s=95.0 * 60.0)
    assert judged(limits)[0]["time_on_water"] == [0, 0, 1, 3]


@pytest.mark.parametrize(
    ("dusk_after_arrival_min", "verdict"), [(29, 3), (31, 1), (41, 1), (43, 0), (-1, 3)]
)
def test_arrival_before_dusk_less_the_margin(dusk_after_arrival_min, verdict):
    # Two hours on the water: less than 12 minutes beyond the margin of 30 are close.
    dusk = 10.0 + dusk_after_arrival_min / 60.0
    limits = replace(NOTHING, daylight_margin_s=1_800.0)
    found, margin, _ = judged(limits, daylight=days(3.0, dusk))
    assert found["daylight"][-1] == verdict
    assert margin["daylight"][-1] == pytest.approx((dusk_after_arrival_min - 30) / 120, abs=1e-3)


@pytest.mark.parametrize(("dawn", "verdict"), [(8.0 - 1e-3, 0), (8.01, 3)])
def test_launch_at_or_after_dawn(dawn, verdict):
    limits = replace(NOTHING, daylight_margin_s=1_800.0)
    found, _, _ = judged(limits, daylight=days(dawn, 21.0))
    assert found["daylight"][0] == verdict
    assert max(found["daylight"][1:]) == 0


def test_dusk_is_that_of_the_end_and_dawn_that_of_the_start():
    limits = replace(NOTHING, daylight_margin_s=0.0)
    early_end = (days(7.0, 21.0)[0], days(6.0, 9.9)[0])
    assert judged(limits, daylight=early_end)[0]["daylight"][-1] == 3
    late_start = (days(8.5, 21.0)[0], days(6.0, 21.0)[0])
    assert judged(limits, daylight=late_start)[0]["daylight"][0] == 3


def test_night_between_two_days_is_never_in_daylight():
    # 24 km from 20:00 take until past midnight and, with a rest, into the next day.
    path = straight(60_000.0, legs=1)
    limits = replace(NOTHING, daylight_margin_s=0.0)
    found, _, _ = judged(limits, path=path, launch=START + 20 * HOUR, daylight=days(5.0, 21.0))
    assert found["daylight"] == [3]


def test_polar_day_never_binds_and_polar_night_always_does():
    limits = replace(NOTHING, daylight_margin_s=7_200.0)
    assert judged(limits, daylight=ALWAYS_LIGHT)[0]["daylight"] == [0] * 4
    assert judged(limits, daylight=ALWAYS_LIGHT, launch=START)[0]["daylight"] == [0] * 4
    night = (spells(), spells())
    assert judged(limits, daylight=night)[0]["daylight"] == [3] * 4


def test_daylight_that_is_not_known_is_unknown():
    assert judged(replace(NOTHING, daylight_margin_s=0.0), daylight=None)[0]["daylight"] == [2] * 4


# -- properties -------------------------------------------------------------------------------


@given(
    st.floats(0.5, 15.0),
    st.floats(0.0, 14.0),
    st.floats(0.0, 1.0),
    st.sampled_from(["wind", "headwind", "gust", "crosswind"]),
)
def test_a_stricter_limit_is_never_kinder(limit, wind, share, name):
    path = straight(4_000.0, steps=4, legs=2)
    forecast = series(path, hours=24, u=0.3 * wind, v=-0.7 * wind, gust=1.4 * wind)
    field = LIMIT_FIELDS[name]
    loose = judged(replace(NOTHING, **{field: limit}), path=path, forecast=forecast)[0][name]
    tight = judged(replace(NOTHING, **{field: limit * share}), path=path, forecast=forecast)[0][
        name
    ]
    assert all(t >= v for t, v in zip(tight, loose, strict=True))


# -- the file ---------------------------------------------------------------------------------


def written(tmp_path, text, name="limits.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_of_limits(tmp_path):
    path = written(
        tmp_path,
        """
        [limits]
        wind = "15 kn"
        offshore = "2 km"
        daylight = "45 min"
        gust = "none"
        wind_chill = "-10 °C"
        wave_steepness = "5 %"
        member_share = "80 %"
        """,
    )
    limits = read_limits(path)
    assert limits.wind_ms == pytest.approx(15 * KNOT_MS)
    assert limits.offshore_m == 2_000.0
    assert limits.daylight_margin_s == 2_700.0
    assert limits.gust_ms is None
    assert limits.wind_chill_k == pytest.approx(263.15)
    assert limits.wave_steepness == pytest.approx(0.05)
    assert limits.member_share == pytest.approx(0.8)
    assert limits.headwind_ms == Limits().headwind_ms
    assert limits.explicit == {
        "wind", "offshore", "daylight", "gust", "wind_chill", "wave_steepness", "member_share",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("[limits]\nwind = 12\n", "[limits] wind: 12 has no unit"),
        ('[limits]\nwind = "12"\n', "[limits] wind: '12': the unit is missing"),
        ('[limits]\nwind = "12 m"\n', "the unit 'm' is no wind speed"),
        (
            '[limits]\nwind = "900 kn"\n',
            "is out of range; allowed is 0 to 60 m/s (117 kn)",
        ),
        ('[limits]\nwind = "-1 kn"\n', "is out of range"),
        ('[limits]\ndrift = "5 min"\n', 'allowed is 10 min to 2 d or "none"'),
        ('[limits]\noffshore = "0 m"\n', 'allowed is 1 m to 1,000 km or "none"'),
        ('[limits]\nwater_temperature = "60 °C"\n', 'allowed is -5 °C to 40 °C or "none"'),
        ('[limits]\nslower = "90 %"\n', "allowed is 0 % to 80 %"),
        ('[limits]\nopposing_current = "1 Bft"\n', "Beaufort measures the wind alone"),
        ('[limits]\nwind = "4.5 Bft"\n', "a whole force from 0 to 11"),
        ('[limits]\nwid = "12 kn"\n', "'wid' is no limit; allowed are wind, gust"),
        ('[limits]\nclose_share = "none"\n', "'none' is not a number"),
        ("[limits]\nwind = [1]\n", "[1] has no unit"),
        ("[other]\n", "there is no table [limits]"),
        ("", "there is no table [limits]"),
        ("limits = 3\n", "there is no table [limits]"),
        ("[limits\n", "not a TOML file"),
        ("x = " + "[" * 5000 + "]" * 5000, "not a TOML file"),
        ("x = " + "9" * 5000, "not a TOML file (a whole number has too many digits)"),
        ("#" * 70_000, "larger than 64 kB"),
    ],
)
def test_bad_files_say_where_and_what_is_allowed(tmp_path, text, message):
    path = written(tmp_path, text)
    with pytest.raises(InputError, match=r"limits\.toml: .*") as caught:
        read_limits(path)
    assert message in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.path == path


def test_files_that_are_not_there(tmp_path):
    with pytest.raises(InputError, match=r"nothing\.toml: no such file or directory; allowed is"):
        read_limits(tmp_path / "nothing.toml")
    with pytest.raises(InputError, match=r"is a directory; allowed is a TOML file"):
        read_limits(tmp_path)


def test_not_text(tmp_path):
    path = tmp_path / "limits.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not a TOML file"):
        read_limits(path)


def test_a_byte_order_mark_is_no_harm(tmp_path):
    path = tmp_path / "limits.toml"
    path.write_bytes(b'\xef\xbb\xbf[limits]\nwind = "10 kn"\n')
    assert read_limits(path).wind_ms == pytest.approx(10 * KNOT_MS)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"wind_ms": np.nan}, "limit wind: nan is not allowed; allowed is 0 to 60 m/s"),
        ({"close_share": None}, "limit close_share: None is not allowed"),
        ({"explicit": frozenset({"luck"})}, "limits luck do not exist"),
    ],
)
def test_bad_values_from_a_program(changes, message):
    with pytest.raises(InputError, match=message):
        Limits(**changes)


def test_every_limit_has_a_key_and_every_key_a_field():
    names = {f.name for f in fields(Limits)}
    assert set(LIMIT_FIELDS.values()) == names - {"explicit"}
    assert quantity_of("wind") == "wind"
    assert quantity_of("daylight") is None
    assert np.isnan(Limits().value("crosswind"))
    assert Limits().value("offshore") == 1_000.0


# -- limits that others make idle ---------------------------------------------------------------


def test_limits_that_others_make_idle_are_told():
    assert limit_notes(Limits()) == ()
    assert limit_notes(NOTHING) == ()
    wide = Limits(wind_ms=20.0 * KNOT_MS, explicit=frozenset({"wind"}))
    assert limit_notes(wide) == (
        "The limit of gusts (17 kn, the default) is below that of wind (20 kn): gusts are never "
        "below the wind, so the limit of gusts decides alone.",
    )
    odd = replace(
        NOTHING,
        wind_ms=12.0 * KNOT_MS,
        headwind_ms=14.0 * KNOT_MS,
        crosswind_ms=12.0 * KNOT_MS,
        offshore_wind_ms=8.0 * KNOT_MS,
        offshore_wind_beyond_m=2_000.0,
        offshore_m=1_500.0,
        explicit=frozenset({"headwind", "offshore", "offshore_wind_beyond"}),
    )
    assert limit_notes(odd) == (
        "The limit of headwind (14 kn) is above that of wind (12 kn, the default) and never "
        "decides: headwind is a part of the wind.",
        "The limit of wind off the land counts from 2,000 m off, where distance from shore "
        "(1,500 m) is beyond already: set offshore_wind_beyond lower.",
    )

"""Daylight against published tables, and the cases where the sun does not set or rise."""

import datetime as dt

import numpy as np
import pytest

from routeplan.errors import InputError
from routeplan.sun import (
    HORIZON_ALTITUDE_DEG,
    civil_dawn,
    civil_daylight,
    civil_dusk,
    daylight_spells,
    sun_altitude,
)

MINUTE = np.timedelta64(60, "s")


def utc(text):
    return np.datetime64(text, "ns")


def local(text, hours):
    return utc(text) - np.timedelta64(int(hours * 60), "m")


# Tables rounded to the minute: within 60 s. London 51.5 N 0.13333 W, 2015: web almanac in the
# tests of astral 3.2 (github.com/sffjunkie/astral, accessed 2026-11-25).
LONDON = (-0.13333, 51.5)
LONDON_EVENTS = [
    ("dawn", "2015-12-01T07:04"),
    ("rise", "2015-12-01T07:43"),
    ("set", "2015-12-01T15:55"),
    ("dusk", "2015-12-01T16:34"),
    ("dawn", "2015-12-25T07:25"),
    ("set", "2015-12-25T15:55"),
    ("dusk", "2015-12-25T16:36"),
    ("rise", "2015-01-01T08:06"),
    ("set", "2015-01-01T16:01"),
]
# United States Naval Observatory tables in the tests of pvlib 0.16.1 (accessed 2026-11-25):
# longitude, latitude, hours east of UTC, rise, set.
USNO = [
    (-105.0, 39.0, -7, "2015-01-02T07:19", "2015-01-02T16:49"),
    (-105.0, 39.0, -7, "2015-04-02T05:43", "2015-04-02T18:24"),
    (-105.0, 39.0, -7, "2015-08-02T05:01", "2015-08-02T19:10"),
    (-105.0, 39.0, -7, "2015-12-02T07:01", "2015-12-02T16:38"),
    (116.383, 39.917, 8, "2015-01-02T07:36", "2015-01-02T17:00"),
    (116.383, 39.917, 8, "2015-04-02T05:58", "2015-04-02T18:39"),
    (116.383, 39.917, 8, "2015-08-02T05:13", "2015-08-02T19:28"),
    (116.383, 39.917, 8, "2015-12-02T07:17", "2015-12-02T16:50"),
]
# NREL/TP-560-34302 (Reda and Andreas 2004, revised 2008), worked example of appendix A.5 and
# tables, as in pvlib 0.16.1: to the second, at 0.5667 degrees of refraction.
SPA = [
    (0.0, -35.0, 0, "1996-07-05T07:08:15", "1996-07-05T17:01:04"),
    (0.0, -35.0, 0, "2004-12-04T04:38:57", "2004-12-04T19:02:02"),
    (0.0, 35.0, 0, "1994-01-02T07:08:12", "1994-01-02T16:59:55"),
]


def rise_and_set(lon, lat, middle):
    half = np.timedelta64(12, "h")
    spells = daylight_spells(lon, lat, middle - half, middle + half, HORIZON_ALTITUDE_DEG)
    index = int(np.searchsorted(spells.start, middle)) - 1
    return spells.start[index], spells.end[index]


@pytest.mark.parametrize(("event", "expected"), LONDON_EVENTS)
def test_london_almanac(event, expected):
    day = np.datetime64(expected[:10])
    if event == "dawn":
        found = civil_dawn(*LONDON, day)
    elif event == "dusk":
        found = civil_dusk(*LONDON, day)
    else:
        rise, fall = rise_and_set(*LONDON, utc(f"{expected[:10]}T12:00"))
        found = rise if event == "rise" else fall
    assert abs(found - utc(expected)) <= MINUTE


@pytest.mark.parametrize(("lon", "lat", "zone", "rises", "sets"), USNO + SPA)
def test_published_sunrise_and_sunset(lon, lat, zone, rises, sets):
    middle = local(f"{rises[:10]}T12:00", zone)
    rise, fall = rise_and_set(lon, lat, middle)
    assert abs(rise - local(rises, zone)) <= MINUTE
    assert abs(fall - local(sets, zone)) <= MINUTE


def test_altitude_of_the_published_example():
    # NREL/TP-560-34302 A.5: topocentric zenith 50.11162 with refraction at 820 mbar and 11 C;
    # refraction there is about 0.01 degree.
    altitude = sun_altitude(-105.1786, 39.742476, np.array([utc("2003-10-17T19:30:30")]))
    assert 90.0 - altitude[0] == pytest.approx(50.11162, abs=0.03)


def test_sunrise_and_sunset_of_the_published_example():
    # The example prints sunrise 06:12:43 and sunset 17:20:19 (UTC-7) for 2003-10-17. Its
    # sunset is that within the UT day 17, 00:20:19 UT: the local evening of the 16th.
    rise, _ = rise_and_set(-105.1786, 39.742476, local("2003-10-17T12:00", -7))
    _, fall = rise_and_set(-105.1786, 39.742476, local("2003-10-16T12:00", -7))
    assert abs(rise - local("2003-10-17T06:12:43", -7)) <= MINUTE / 6
    assert abs(fall - utc("2003-10-17T00:20:19")) <= MINUTE / 6


def test_no_sunset_at_tromso_in_june():
    # astral 3.2, test_norway: 2019-06-05 at Tromso has no sunset.
    lon, lat = 18.95532, 69.6492
    first, last = utc("2019-06-05"), utc("2019-06-06")
    spells = civil_daylight(lon, lat, first, last)
    assert spells.start.tolist() == [utc("2019-06-04").item()]
    assert spells.end.tolist() == [utc("2019-06-07").item()]
    assert np.isnat(civil_dusk(lon, lat, dt.date(2019, 6, 5)))
    assert np.isnat(civil_dawn(lon, lat, dt.date(2019, 6, 5)))
    assert spells.is_light(np.array([first, last])).all()


def test_polar_night_has_no_daylight():
    # At 85 N in December the sun stays some 18 degrees below the horizon: 90 - 85 - 23.4.
    spells = civil_daylight(20.0, 85.0, utc("2026-12-20"), utc("2026-12-22"))
    assert spells.start.size == 0
    assert spells.end.size == 0
    assert not spells.is_light(np.array([utc("2026-12-21T12:00")])).any()
    assert np.isnat(civil_dusk(20.0, 85.0, np.datetime64("2026-12-21")))


def test_tromso_in_december_has_twilight_but_no_sunrise():
    # 90 - 69.65 - 23.44 = -3.1 at noon: civil twilight, no sun.
    lon, lat = 18.95532, 69.6492
    day = daylight_spells(lon, lat, utc("2026-12-21"), utc("2026-12-22"), HORIZON_ALTITUDE_DEG)
    assert day.start.size == 0
    assert civil_dawn(lon, lat, np.datetime64("2026-12-21")) < utc("2026-12-21T10:44")
    assert civil_dusk(lon, lat, np.datetime64("2026-12-21")) > utc("2026-12-21T10:44")


def test_dusk_after_midnight_utc_belongs_to_the_local_day():
    # Vancouver in June: civil dusk about 05:05 UTC on the following calendar day.
    dusk = civil_dusk(-123.1, 49.25, np.datetime64("2026-06-20"))
    assert utc("2026-06-21T04:30") < dusk < utc("2026-06-21T05:30")


def test_spells_cover_a_day_before_and_after():
    spells = civil_daylight(11.3, 58.3, utc("2026-06-10T06:00"), utc("2026-06-12T06:00"))
    assert spells.first == utc("2026-06-09T06:00")
    assert spells.last == utc("2026-06-13T06:00")
    assert spells.start[0] == spells.first  # light already
    assert (spells.start < spells.end).all()
    assert (spells.start[1:] > spells.end[:-1]).all()
    nights = (spells.start[1:] - spells.end[:-1]) / np.timedelta64(1, "h")
    assert nights == pytest.approx(3.1, abs=0.3)


def test_is_light_outside_what_was_looked_at_is_dark():
    spells = daylight_spells(11.3, 58.3, utc("2026-06-10T10:00"), utc("2026-06-10T12:00"))
    when = np.array([utc("2026-06-10T11:00"), utc("2026-06-10T13:00"), np.datetime64("NaT")])
    assert spells.is_light(when).tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("lon", "lat", "first", "last", "message"),
    [
        (np.nan, 50.0, "2026-01-01", "2026-01-02", "place lon nan, lat 50"),
        (0.0, 91.0, "2026-01-01", "2026-01-02", "allowed are -180..180 and -90..90 degrees"),
        (0.0, 50.0, "2026-01-02", "2026-01-01", "at most 400 days apart"),
        (0.0, 50.0, "2026-01-01", "2029-01-01", "at most 400 days apart"),
        (0.0, 50.0, "NaT", "2029-01-01", "at most 400 days apart"),
    ],
)
def test_impossible_input_is_refused(lon, lat, first, last, message):
    with pytest.raises(InputError, match=message):
        daylight_spells(lon, lat, utc(first), utc(last))


def test_what_is_kept_of_a_light_cannot_be_changed_and_is_its_own():
    when = utc("2026-06-01T00:00"), utc("2026-06-03T00:00")
    first = daylight_spells(10.0, 50.0, *when)
    with pytest.raises(ValueError, match="read-only"):
        first.start[0] = utc("2000-01-01T00:00")
    assert daylight_spells(10.0, 50.0, *when) is first
    assert daylight_spells(10.5, 50.0, *when).start[0] < first.start[0]
    assert daylight_spells(10.0, 50.0, *when, altitude_deg=0.0).start[0] > first.start[0]

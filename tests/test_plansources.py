"""Sources, the age of a forecast and what is warned of."""

import numpy as np
import pytest

from routeplan._forecast.coverage import make_coverage
from routeplan._plan.sources import (
    CAUTIONS,
    COAST_CAUTION,
    coast_source,
    forecast_age_s,
    forecast_warnings,
)
from routeplan._show.sourcewords import moment_of
from routeplan.forecast import OLD_AFTER_S
from routeplan.plan import Trip, plan_trip
from routeplan.route import Waypoint, route_from_points

NOON = np.datetime64("2026-06-21T12:00", "ns")
HOUR = np.timedelta64(1, "h")


def covered(run="2026-06-21T06:00:00Z", hours=48):
    time = NOON + np.arange(-6, hours - 5) * HOUR
    axis = np.array([0.0, 1.0])
    return make_coverage(time, axis, axis, 1, (), {"reference_time": run})


def test_a_fresh_forecast_is_not_warned_of():
    assert forecast_warnings(covered(), NOON, OLD_AFTER_S) == ()
    assert forecast_age_s(covered(), NOON) == 6 * 3600.0


def test_an_old_forecast_is_warned_of_beyond_the_stated_age():
    assert forecast_warnings(covered(), NOON + 6 * HOUR, OLD_AFTER_S) == ()
    (words,) = forecast_warnings(covered(), NOON + 7 * HOUR, OLD_AFTER_S)
    assert words.startswith(
        "The forecast is old: its run began 13 h before now, more than the 12 h"
    )
    assert forecast_warnings(covered(), NOON + 7 * HOUR, 24 * 3600.0) == ()


def test_an_unknown_age_is_warned_of():
    for run in ("", "yesterday", "NaT", "now", "today"):
        assert forecast_age_s(covered(run), NOON) is None
        (words,) = forecast_warnings(covered(run), NOON, OLD_AFTER_S)
        assert "does not say when it was made" in words


def test_without_a_time_of_asking_nothing_is_said():
    assert forecast_warnings(covered(), None, OLD_AFTER_S) == ()
    assert forecast_age_s(covered(), None) is None


def test_a_forecast_from_the_future_or_that_is_over_is_warned_of():
    (words,) = forecast_warnings(covered(), NOON - 12 * HOUR, OLD_AFTER_S)
    assert "dated after now" in words
    _, over = forecast_warnings(covered(), NOON + 100 * HOUR, OLD_AFTER_S)
    assert "lie in the past" in over


def test_default_age_is_that_of_the_forecast_module():
    route = route_from_points([Waypoint(0.0, 0.0, "a"), Waypoint(0.1, 0.0, "b")])
    assert Trip(route).old_after_s == OLD_AFTER_S


def test_the_caution_on_islands_is_one_of_the_cautions_and_has_its_figures(straight_coast):
    assert COAST_CAUTION in CAUTIONS
    for figure in ("60 to 130 m", "170 to 550 m", "0.4 to 5.2 km"):
        assert figure in COAST_CAUTION
    route = route_from_points([Waypoint(0.0, 9.99, "a"), Waypoint(0.01, 9.99, "b")])
    assert COAST_CAUTION in plan_trip(Trip(route, coast=straight_coast)).cautions


def test_source_of_a_coast_without_a_stated_error(coast_from_rings):
    ring = [[10.0, 0.0], [10.1, 0.0], [10.1, 0.1], [10.0, 0.0]]
    source = coast_source(coast_from_rings(ring, nominal_error_m=None), None, NOON)
    assert source.error == "not stated by the source"
    assert source.age_s is None
    assert source.date == ""


@pytest.mark.parametrize(
    "text", ["", "now", "today", "NaT", "1066-10-14", "99999-01-01", "2026-13-01"]
)
def test_texts_that_are_no_times_of_ours_are_none(text):
    assert moment_of(text) is None


def test_a_time_is_read_with_its_z():
    assert moment_of("2026-06-21T12:00:00Z") == NOON


@pytest.mark.parametrize(("hours", "words"), [(71, "71 h"), (80, "3 days")])
def test_ages_are_told_in_hours_then_days(hours, words):
    assert words in forecast_warnings(covered(), NOON + (hours - 6) * HOUR, OLD_AFTER_S)[0]

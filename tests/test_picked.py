"""Launches that the user picks: taken as they are, told as they are."""

from dataclasses import replace

import numpy as np
import pytest
from coastmaker import rectangle
from planmaker import demo_plan
from stagemaker import HOUR, MIDNIGHT, forecast, north_route

from routeplan.errors import InputError
from routeplan.limits import Verdict
from routeplan.plan import Trip, plan_trip

STEP = np.timedelta64(30, "m")


def with_verdict(stage, verdict):
    """A launch of a stage with a verdict and a known arrival."""
    among = (stage.scan.verdict == verdict) & ~np.isnat(stage.scan.arrive)
    return stage.scan.launch[among][0]


def planned(picked):
    return plan_trip(replace(demo_plan().trip, picked=picked))


def test_the_launch_picked_is_taken_and_the_rest_planned_around_it():
    before = demo_plan()
    wanted = before.stages[1].day.launch + 2 * STEP
    after = planned({2: wanted})
    day = after.stages[1].day
    assert day.launch == wanted
    assert after.stages[1].scan.launch[after.stages[1].best] == wanted
    assert [stage.day.picked for stage in after.stages] == [False, True, False]
    assert after.stages[0].day.launch == before.stages[0].day.launch
    assert after.stages[2].day.launch >= day.arrive
    assert day.verdict == before.stages[1].scan.verdict[after.stages[1].best]
    assert after.itinerary.complete


def test_a_launch_beyond_the_limits_is_told_as_beyond():
    stage = demo_plan().stages[0]
    wanted = with_verdict(stage, Verdict.BEYOND)
    plan = planned({1: wanted})
    day = plan.stages[0].day
    assert (day.launch, day.verdict, day.picked) == (wanted, Verdict.BEYOND, True)
    assert day.binding
    assert not plan.itinerary.complete
    assert "The launch picked for stage 1 is beyond by the limits." in plan.itinerary.texts


def test_a_launch_whose_arrival_is_unknown_stays_unknown():
    stage = demo_plan().stages[2]
    wanted = stage.scan.launch[-1]
    assert stage.scan.verdict[-1] == Verdict.UNKNOWN
    plan = planned({3: wanted})
    assert plan.stages[2].day.launch == wanted
    assert plan.stages[2].day.verdict is Verdict.UNKNOWN
    assert not plan.itinerary.complete


def test_a_time_between_two_launches_is_moved_to_the_nearest():
    launch = demo_plan().stages[1].day.launch
    plan = planned({2: launch + np.timedelta64(10, "m")})
    assert plan.stages[1].day.launch == launch


@pytest.mark.parametrize(
    ("number", "shift", "words"),
    [
        (4, np.timedelta64(0, "h"), "the trip has stages 1 to 3"),
        (1, np.timedelta64(30, "D"), "was not tried: allowed are"),
        (1, np.timedelta64("NaT"), "was not tried"),
    ],
)
def test_what_cannot_be_picked_is_refused(number, shift, words):
    launch = demo_plan().stages[0].day.launch
    with pytest.raises(InputError, match=words):
        planned({number: launch + shift})


def test_a_stage_is_not_launched_before_the_night_after_the_one_before():
    first = demo_plan().stages[0].day.launch
    with pytest.raises(InputError, match="stage 1 and the night after it last until"):
        planned({1: first, 2: first + STEP})


def test_a_route_of_one_stage_takes_the_pick_as_well(coast_from_rings):
    land = rectangle(10.0, 0.0, west_m=-500, south_m=20_000, east_m=5_000, north_m=20_000)
    trip = Trip(
        north_route(6_000.0, offshore_m=200.0),
        coast=coast_from_rings(land),
        forecast=forecast(2.0, hours=30),
        picked={1: MIDNIGHT + 9 * HOUR},
    )
    (stage,) = plan_trip(trip).stages
    assert stage.day.launch == MIDNIGHT + 9 * HOUR
    assert stage.day.picked
    assert stage.day.verdict == stage.scan.verdict[stage.best] == Verdict.WITHIN

"""The sentences that answer for a stage and its day."""

from dataclasses import replace

import numpy as np
from planmaker import NOW, demo_plan

from routeplan._show.answers import stage_answer
from routeplan._show.wording import Clock
from routeplan.coastline import Coastline
from routeplan.limits import Verdict
from routeplan.plan import plan_trip

STOCKHOLM = Clock("Europe/Stockholm")
NAT = np.datetime64("NaT", "ns")


def stage_where(**changes):
    """The demo's second stage with its day or windows changed."""
    stage = demo_plan().stages[1]
    day = {k: changes.pop(k) for k in list(changes) if k in ("judged_from", "launch", "picked")}
    return replace(stage, day=replace(stage.day, **day), **changes)


def test_a_stage_that_fits_no_day_never_shows_its_windows_as_the_answer():
    lines = stage_answer(stage_where(best=None, launch=NAT), STOCKHOLM)
    assert lines[0].startswith("No launch is proposed: no good one fits what comes before it")
    assert lines[1].startswith("Taken alone: launch between")
    assert not any(line.startswith("Proposed") for line in lines)


def test_a_day_that_no_forecast_reaches_yet_is_told_only_where_a_later_one_may():
    ahead = np.datetime64("2026-07-20T22:00", "ns")
    words = stage_answer(stage_where(best=None, launch=NAT, judged_from=ahead), STOCKHOLM, now=NOW)
    assert words[-2] == (
        "This forecast ends too early to name its day: one that begins on Tue 21 July, 00:00 CEST "
        "or later may reach it."
    )
    past = stage_where(best=None, launch=NAT, judged_from=NOW - np.timedelta64(1, "h"))
    assert stage_answer(past, STOCKHOLM, now=NOW)[-2] == (
        "This forecast ends too early to name its day: get a newer one."
    )
    none = stage_answer(stage_where(best=None, launch=NAT), STOCKHOLM, now=NOW)
    assert not any("forecast ends too early" in line for line in none)


def test_a_picked_launch_outside_every_window_says_what_stands_against_it():
    scan = demo_plan().stages[1].scan
    bad = int(np.flatnonzero(scan.verdict == Verdict.BEYOND)[0])
    lines = stage_answer(stage_where(best=bad, picked=True), STOCKHOLM)
    assert lines[0].startswith(f"Picked: {STOCKHOLM.time(scan.launch[bad])} on ")
    assert "which is beyond. " in lines[0]
    assert scan.findings(bad)[0].text.rstrip(".") in lines[0]
    good = stage_answer(stage_where(picked=True), STOCKHOLM)
    assert any(line.startswith("Picked: 07:30. It is within") for line in good)


def test_a_launch_close_by_the_coastline_alone_says_so():
    plan = demo_plan()
    coast = Coastline.default()
    exact = plan_trip(
        replace(plan.trip, limits=replace(plan.trip.limits, offshore_m=3_450.0), coast=coast)
    )
    text = " ".join(stage_answer(exact.stages[1], STOCKHOLM))
    assert "Why close: The line is 3,010 m from shore on leg 6, nearer to the limit" in text
    assert "Only the error of the coastline makes it close: a finer one may settle it." in text
    gusts = next(w for w in plan.stages[1].windows if w.closed_by == "gust" and w.verdict == 1)
    close = stage_answer(stage_where(windows=(gusts,), best=None), STOCKHOLM)
    assert not any("error of the coastline" in line for line in close)


def test_unknown_launches_are_told_with_what_is_missing_from_when():
    plan = demo_plan()
    trip = replace(plan.trip, forecast=plan.trip.forecast.isel(time=slice(0, 3)))
    (first, *_) = plan_trip(trip).stages
    lines = stage_answer(first, STOCKHOLM)
    assert lines[0] == (
        "Unknown: no launch of this stage can be judged by this forecast. Launch at Mon 13 Jul "
        "08:00 CEST: the forecast ends while on leg 4: what follows is unknown (from Mon 13 Jul "
        "10:00 CEST)."
    )

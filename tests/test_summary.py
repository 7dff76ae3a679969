"""The answer in short, above everything else."""

from dataclasses import replace
from pathlib import Path

import numpy as np
from planmaker import demo_plan

from routeplan._show.answers import stage_answer
from routeplan._show.summary import summary_rows
from routeplan._show.wording import Clock
from routeplan.limits import Limits, Verdict
from routeplan.plan import plan_trip

STOCKHOLM = Clock("Europe/Stockholm")


def rows(plan, files=None):
    return dict(summary_rows(plan, STOCKHOLM, files))


def test_each_stage_has_its_verdict_launch_window_and_arrival():
    plan = demo_plan()
    told = rows(plan)
    for stage in plan.stages:
        words = told[f"Stage {stage.stage.number}"]
        launch, arrive = stage.scan.launch[stage.best], stage.scan.arrive[stage.best]
        assert words.startswith(f"WITHIN: launch {STOCKHOLM.moment(launch)}, good any time ")
        assert f", at {stage.stage.end.name} {STOCKHOLM.time(arrive)}" in words
    assert told["Stage 3"].endswith("after 1 day ashore.")
    assert list(told) == ["Stage 1", "Stage 2", "Stage 3", "Tightest", "Turn back", "Missing"]


def test_the_tightest_limit_is_that_of_the_launches_proposed():
    plan = demo_plan()
    least = min(float(s.scan.margin[s.best]) for s in plan.stages)
    assert rows(plan)["Tightest"] == (
        f"distance from shore: {int(100 * least)} % of the limit left (stage 2, leg 6)."
    )


def test_what_turns_back_is_the_time_with_least_to_spare_and_what_one_meets():
    words = rows(demo_plan())["Turn back"]
    turns = [(t.go_on_until - t.arrive, t) for s in demo_plan().stages for t in s.turn_back]
    turn = min(turns, key=lambda it: it[0])[1]
    assert f"if leg {turn.leg} of stage 2 is not begun by" in words
    assert STOCKHOLM.time(turn.go_on_until) in words
    assert words.endswith(
        "when you meet wind over 14 kn, gusts over 20 kn, waves over 0.7 m or visibility under "
        "2.0 km."
    )
    wind = Limits(**dict.fromkeys(("gust_ms", "wave_height_m", "visibility_m")), wind_ms=7.0)
    only = replace(demo_plan(), trip=replace(demo_plan().trip, limits=wind))
    assert rows(only)["Turn back"].endswith("; when you meet wind over 13.6 kn.")


def test_what_is_missing_is_never_left_out():
    assert rows(demo_plan())["Missing"] == (
        "not judged, as the forecast has nothing on it: current against wind, thunder (CAPE), "
        "visibility."
    )
    stages = tuple(
        replace(s, scan=replace(s.scan, not_judged=()), best=None if n == 1 else s.best)
        for n, s in enumerate(demo_plan().stages)
    )
    assert rows(replace(demo_plan(), stages=stages))["Missing"] == "a launch for stage 2."
    judged = tuple(replace(s, scan=replace(s.scan, not_judged=())) for s in demo_plan().stages)
    assert rows(replace(demo_plan(), stages=judged))["Missing"] == (
        "nothing: every limit set was judged."
    )


def test_no_launch_is_said_in_capitals_with_its_kind():
    plan = demo_plan()

    def first(verdict, **changes):
        scan = plan.stages[0].scan
        scan = replace(scan, verdict=np.full(scan.verdict.shape, verdict, np.int8))
        return replace(plan.stages[0], best=None, scan=scan, **changes)

    kinds = {
        "UNKNOWN: no launch can be judged": first(Verdict.UNKNOWN, windows=()),
        "NO LAUNCH is within the limits.": first(Verdict.BEYOND, windows=()),
        "NO LAUNCH fits what comes before": first(Verdict.WITHIN),
    }
    for words, stage in kinds.items():
        told = rows(replace(plan, stages=(stage,)))
        assert told["Stage 1"].startswith(words)
        assert "Tightest" not in told
        assert "Turn back" not in told


def test_what_no_weather_mends_is_said_with_the_leg():
    plan = demo_plan()
    near = plan_trip(replace(plan.trip, limits=replace(plan.trip.limits, offshore_m=2_500.0)))
    assert rows(near)["Stage 2"] == (
        "NO LAUNCH, whatever the weather. The line is 3,010 m from shore on leg 6, 510 m beyond "
        "the limit of 2,500 m."
    )
    lines = stage_answer(near.stages[1], STOCKHOLM)
    assert lines[1].startswith("At every launch: the line is 3,010 m from shore on leg 6, 510 m")
    assert rows(near)["Missing"].endswith("a launch for stages 2, 3.")


def test_a_picked_launch_beyond_the_limits_is_called_beyond():
    plan = demo_plan()
    scan = plan.stages[1].scan
    bad = int(np.flatnonzero((scan.verdict == Verdict.BEYOND) & np.isfinite(scan.margin))[0])
    picked = plan_trip(replace(plan.trip, picked={2: scan.launch[bad]}))
    told = rows(picked)
    assert told["Stage 2"].startswith("BEYOND: picked launch ")
    assert "good any time" not in told["Stage 2"]
    assert "beyond by" in told["Tightest"]


def test_files_are_told_where_they_are():
    assert "--out DIR" in rows(demo_plan(), ())["Files"]
    files = [Path("out/map.png"), Path("out/plan.json"), Path("trip.gpkg")]
    assert rows(demo_plan(), files)["Files"] == "in out: map.png, plan.json; in .: trip.gpkg."

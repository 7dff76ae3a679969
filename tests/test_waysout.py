"""Ways out of the launch proposed: in the document and in the words for a trip leader."""

import io
import json
import re
from dataclasses import replace

import numpy as np
import pytest
from planmaker import demo_plan, with_scan
from rich.console import Console

from routeplan._show.waystable import committing_legs, ways_lines
from routeplan._show.wording import Clock
from routeplan.report import document_text, plan_document, render_plan

CLOCK = Clock("Europe/Stockholm")
NAT = np.datetime64("NaT", "ns")
MINUTE = np.timedelta64(1, "m")


@pytest.fixture(scope="module")
def stages():
    return json.loads(document_text(plan_document(demo_plan())))["stages"]


def test_document_tells_every_leg_of_the_launch(stages):
    for told, stage in zip(stages, demo_plan().stages, strict=True):
        numbers = [leg.number for leg in stage.stage.legs]
        assert [it["leg"] for it in told["turn_back"]] == numbers[1:]
        assert [it["leg"] for it in told["landings"]] == numbers
        for who in ("on the craft", "in the water"):
            assert [it["leg"] for it in told["drift"] if it["who"] == who] == numbers
        for it in told["turn_back"]:
            assert it["arrive"] <= it["go_on_until"]
        for it in (*told["landings"], *told["drift"]):
            assert told["launch"] <= it["when"] <= told["arrive"]
            assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", it["when"])
        for it in told["landings"]:
            assert it["nearest_m"] <= it["distance_m"]
            # No paddler is faster than this, and none of these is stopped.
            assert 0.3 < it["distance_m"] / it["time_s"] < 3.0


def test_without_a_launch_there_are_no_ways_out():
    plan = with_scan(demo_plan())
    bare = replace(plan.stages[0], turn_back=None, landings=None, drift=None)
    told = plan_document(replace(plan, stages=(bare,)))["stages"][0]
    assert [told[key] for key in ("turn_back", "landings", "drift")] == [None] * 3
    assert ways_lines(bare, CLOCK) == []


def test_committing_legs_are_those_beyond_the_notice_farthest_first():
    for stage in demo_plan().stages:
        far = dict(zip(stage.scan.leg_numbers.tolist(), stage.scan.offshore_m[0], strict=True))
        told = committing_legs(stage)
        beyond = [leg for leg in far if far[leg] > 1_000.0]
        assert told == sorted(beyond, key=lambda leg, far=far: -far[leg]) or not beyond
        assert told[0] == max(far, key=far.get)


def test_lines_are_few_and_say_local_times_with_their_zone():
    plan = demo_plan()
    for stage in plan.stages:
        out = io.StringIO()
        lines = ways_lines(stage, CLOCK)
        assert 2 <= len(lines) <= 4
        assert len([line for line in lines if line.startswith("If something breaks on leg")]) <= 2
        for time in re.findall(r"\d\d:\d\d(.{5})", " ".join(lines)):
            assert time == " CEST"
        turn = next(t for t in stage.turn_back if f"leg {t.leg}" in lines[0])
        assert f"{CLOCK.time(turn.go_on_until)} CEST" in lines[0]
    render_plan(plan, Console(file=out, width=80))
    text = out.getvalue()
    assert text.count("If something breaks on leg") >= len(plan.stages)
    assert max(len(line) for line in text.splitlines()) <= 80


def changed(stage, **how):
    """The stage told of its farthest leg alone, whose turn-back, landing or drift is changed."""
    leg = committing_legs(stage)[0]
    return replace(
        stage,
        turn_back=tuple(replace(t, **how.get("turn", {})) for t in stage.turn_back if t.leg == leg),
        landings=tuple(
            replace(x, **how.get("landing", {})) for x in stage.landings if x.leg == leg
        ),
        drift=tuple(
            replace(d, **how.get("leg_drift", {}), worst=replace(d.worst, **how.get("drift", {})))
            for d in stage.drift
            if d.worst.leg == leg
        ),
    )


@pytest.mark.parametrize(
    ("on", "back", "words"),
    [
        (30, 60, "Turn back if you get to leg 4 later than "),
        (60, 30, "At the start of leg 4 turning back is good until "),
        (None, 30, "Going on from the start of leg 4 is not good; the way back is good until "),
        (None, None, "Going on from the start of leg 4 is not good; nor is the way back."),
        (30, None, "From the start of leg 4 only going on is good, until "),
        (720, 720, " at least"),
    ],
)
def test_turn_back_in_words(on, back, words):
    stage = demo_plan().stages[0]
    arrive = next(t.arrive for t in stage.turn_back if t.leg == 4)
    until = [NAT if minutes is None else arrive + minutes * MINUTE for minutes in (on, back)]
    told = changed(stage, turn={"go_on_until": until[0], "turn_round_until": until[1]})
    assert words in ways_lines(told, CLOCK)[0]


@pytest.mark.parametrize(
    ("drift", "leg_drift", "words"),
    [
        (
            {"known": False},
            {},
            "as no current is known: on the board it is unknown where to",
        ),
        ({}, {"has_current": True}, "after 3 h you still drift, 865 m from shore"),
        (
            {"ashore_first_s": 1_800.0, "ashore_last_s": 5_400.0},
            {"ashore_longitude": 11.2, "ashore_latitude": 58.6},
            "ashore near 58° 36.000′ N 011° 12.000′ E after 30 min to 90 min",
        ),
        (
            {"ashore_first_s": 1_800.0},
            {},
            "after 30 min at best, or still adrift 865 m from shore",
        ),
    ],
)
def test_drift_in_words(drift, leg_drift, words):
    stage = demo_plan().stages[0]
    told = ways_lines(changed(stage, drift=drift, leg_drift=leg_drift), CLOCK)
    assert words in told[1]


def test_no_landing_in_reach_is_said():
    text = "From leg 4 no shore can be reached against wind, sea and current."
    landing = {"time_s": np.nan, "text": text}
    told = ways_lines(changed(demo_plan().stages[0], landing=landing), CLOCK)
    assert text in told[1]

"""The kit of planned trips: facts, warmth and the demo's list."""

import functools
import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from planmaker import demo_plan, legs_plan

import routeplan
from routeplan._kit.group import check_marks
from routeplan._kit.plan import plan_kit
from routeplan._kit.warmth import mat_r_wanted, warmth
from routeplan.errors import InputError
from routeplan.limits import Verdict
from routeplan.rules import FACTS, Group, Night, Person, nights_of, read_group, trip_facts

C = 273.15
DEMO_GROUP = Path(routeplan.__file__).parent / "data" / "demo" / "invented_group.toml"


@functools.cache
def demo_group():
    return read_group(DEMO_GROUP)


@functools.cache
def demo_kit():
    plan = demo_plan()
    return plan_kit(demo_group(), None, plan.route, plan.exposures, plan.stages, plan.trip.craft)


def facts_of(plan, group):
    return trip_facts(plan.route, plan.exposures, plan.stages, group, 1.4)


# --- facts --------------------------------------------------------------------------------------


def test_facts_are_of_the_listed_kinds_and_ranges():
    kinds = {"number": float, "boolean": bool, "text": str}
    for context in facts_of(demo_plan(), demo_group()):
        for name, value in context.values.items():
            fact = FACTS[name]
            assert type(value) is kinds[fact.kind], name
            if fact.kind == "number":
                assert fact.low <= value <= fact.high


def test_facts_agree_with_the_plan():
    plan = demo_plan()
    facts = facts_of(plan, demo_group())
    trip = facts[0].values
    assert trip["group_size"] == 4.0
    assert trip["length_m"] == pytest.approx(plan.route.length_m)
    for context in facts:
        if context.level == "leg":
            exposure = plan.exposures[context.legs[0] - 1]
            assert context.values["offshore_m"] == exposure.offshore_m.max()
            assert context.values["landing_h"] == pytest.approx(
                exposure.offshore_m.max() / 1.4 / 3600.0
            )
    air = [c.values["air_c"] for c in facts if c.level == "leg"]
    series = plan.stages[0].scan.outing.series.values["air_temperature"] - C
    assert all(series.min() - 5.0 < value < series.max() + 5.0 for value in air)


def test_hours_of_a_leg_join_and_cover_it():
    plan = demo_plan()
    facts = facts_of(plan, demo_group())
    for planned in plan.stages:
        for j, leg in enumerate(planned.stage.legs):
            spans = [c for c in facts if c.level == "hour" and c.legs == (leg.number,)]
            assert spans[0].start == planned.scan.enter[planned.best, j]
            assert spans[-1].end == planned.scan.leave[planned.best, j]
            for one, other in itertools.pairwise(spans):
                assert one.end == other.start
                assert one.end == one.end.astype("datetime64[h]")


def test_marks_by_leg_and_what_is_not_marked_is_unknown():
    group = replace(demo_group(), marks={"traffic_area": (2, 3), "moving_water": False})
    for context in facts_of(demo_plan(), group):
        if context.level == "leg":
            assert context.values["traffic_area"] is (context.legs[0] in (2, 3))
            assert context.values["moving_water"] is False
            assert "phone_coverage" not in context.values


def test_a_mark_on_a_leg_that_is_not_there_is_refused(tmp_path):
    path = tmp_path / "own_group.toml"
    marks = "[group]\nmoving_water = [1, 15]\nphone_coverage = [3, 16, 99]\n"
    path.write_text(f'{marks}[[person]]\nname = "A"\n', encoding="utf-8")
    group = read_group(path)
    plan = demo_plan()
    last = len(plan.route.legs)
    check_marks(group, range(1, 100))
    words = (
        rf"own_group.toml:3: group: phone_coverage names leg 16, 99, .*allowed are legs 1 to {last}"
    )
    with pytest.raises(InputError, match=words) as caught:
        facts_of(plan, replace(group, marks={**group.marks, "moving_water": (1, last)}))
    assert "\n" not in str(caught.value)
    with pytest.raises(InputError, match=f"moving_water names leg {last + 1}, which"):
        facts_of(plan, replace(group, marks={"moving_water": (last, last + 1)}))


def test_without_a_forecast_what_depends_on_it_is_unknown():
    plan = legs_plan("no forecast")
    facts = facts_of(plan, Group((Person("A"),)))
    known = set().union(*(context.values for context in facts))
    assert not known & {
        "nights", "coldest_night_c", "paddled_h", "air_c", "water_c", "wind_ms", "wind_chill_c",
        "wave_height_m", "sun_down", "darkness", "inflatable", "rigid", "help_h", "cooking",
    }  # fmt: skip
    assert facts[0].values["alone"] is True
    assert facts[0].values["overnight"] is True  # the route has camps
    hours = [c for c in facts if c.level == "hour"]
    assert len(hours) == len(plan.route.legs)
    assert all(np.isnat(c.start) for c in hours)


def test_no_night_and_one_night():
    plan = demo_plan()
    assert nights_of(plan.stages[:1]) == ()
    (night,) = nights_of(plan.stages[:2])
    assert night.count >= 1
    assert night.begin == plan.stages[0].scan.arrive[plan.stages[0].best]
    assert night.end == plan.stages[1].scan.launch[plan.stages[1].best]
    series = plan.stages[0].scan.outing.series
    during = (series.time >= night.begin) & (series.time <= night.end)
    coldest = series.values["air_temperature"][-1, during].min()
    assert night.coldest_k <= coldest + 1e-9


def test_a_missing_value_makes_the_night_unknown():
    plan = demo_plan()
    stage = plan.stages[0]
    series = stage.scan.outing.series
    values = dict(series.values)
    values["air_temperature"] = values["air_temperature"].copy()
    night = nights_of(plan.stages)[0]
    at = int(np.searchsorted(series.time, night.begin)) + 1
    values["air_temperature"][-1, at] = np.nan
    outing = replace(stage.scan.outing, series=replace(series, values=values))
    broken = (replace(stage, scan=replace(stage.scan, outing=outing)), *plan.stages[1:])
    assert math.isnan(nights_of(broken)[0].coldest_k)
    facts = trip_facts(plan.route, plan.exposures, broken, demo_group(), 1.4)
    assert "coldest_night_c" not in facts[0].values


# --- warmth -------------------------------------------------------------------------------------


def one_night(coldest_k):
    t = np.datetime64("2026-07-13", "ns")
    return Night(1, "camp", t, t, 1, coldest_k, 0.0)


@pytest.mark.parametrize(
    ("coldest_c", "verdict"),
    [(4.0, Verdict.WITHIN), (3.99, Verdict.CLOSE), (-1.0, Verdict.CLOSE), (-1.01, Verdict.BEYOND),
     (math.nan, Verdict.UNKNOWN)],
)  # fmt: skip
def test_bag_by_comfort_and_limit(coldest_c, verdict):
    """Comfort: standard woman, relaxed, not cold; limit: standard man, curled up, not shivering.

    ISO 23537-1 as quoted by needlesports.com and Wikipedia "EN 13537" (accessed 2026-11-25).
    """
    person = Person("A", bag_comfort_k=4.0 + C, bag_limit_k=-1.0 + C, mat_r=9.0)
    (found,) = warmth(Group((person,)), [one_night(coldest_c + C)])
    assert found.verdict == verdict


def test_an_unknown_bag_or_mat_is_never_warm_enough():
    for person in (
        Person("A", mat_r=9.0),
        Person("A", bag_comfort_k=C, bag_limit_k=C - 5.0),
        Person("A", bag_limit_k=C - 5.0, mat_r=9.0),
    ):
        (found,) = warmth(Group((person,)), [one_night(5.0 + C)])
        assert found.verdict == Verdict.UNKNOWN


def test_mats():
    """Common practice, no source."""
    wanted = [mat_r_wanted(c + C) for c in (10.0, 9.9, 0.0, -0.1, -10.0, -10.1)]
    assert wanted == [1.5, 3.0, 3.0, 4.5, 4.5, 6.0]
    thin = Person("A", bag_comfort_k=C - 9.0, bag_limit_k=C - 12.0, mat_r=2.9)
    (found,) = warmth(Group((thin,)), [one_night(5.0 + C)])
    assert found.verdict == Verdict.CLOSE
    assert "R 3 is usual" in found.words


# --- the demo's list ----------------------------------------------------------------------------


def test_the_demo_group_packs_everything_and_totals_add_up():
    kit = demo_kit()
    assert kit.packing.fits is True
    carried = sum(load.mass_kg for load in kit.packing.bags)
    people = sum(p.mass_kg for p in kit.group.people)
    water = kit.provisions.carried_l.expected
    assert sum(kit.packing.load_kg.values()) == pytest.approx(
        people + water + carried + _worn_kg(kit), abs=1e-6
    )
    fuel_in_canisters = next(x.quantity for x in kit.lines if "gas" in x.item) * 0.230
    assert kit.load_kg.expected == pytest.approx(
        sum(kit.packing.load_kg.values()) - people
        - fuel_in_canisters + kit.provisions.fuel_g.expected / 1000.0,
        abs=1e-6,
    )  # fmt: skip


def _worn_kg(kit):
    from routeplan.rules import default_rules

    items = default_rules()
    return sum(
        line.quantity * items.item(line.item).mass_kg
        for line in kit.lines
        if (line.action == "wear" and line.where == "whole trip")
        or (line.action in ("wear", "carry") and items.item(line.item).reach == "worn")
    )


def test_every_line_of_the_demo_has_a_reason_and_somebody_who_carries_it():
    kit = demo_kit()
    for line, owners in zip(kit.lines, kit.owners, strict=True):
        assert line.reasons
        assert line.sources
        assert line.notes == () or "at hand" in line.notes[0], line
        if line.action in ("wear", "carry"):
            assert len(owners) == line.quantity, line.item
        else:
            assert owners == ()


def test_the_demo_has_what_nobody_would_leave_without():
    items = " | ".join(line.item for line in demo_kit().lines)
    for word in ("craft with", "leash",
                 "buoyancy aid", "phone", "VHF", "beacon", "light", "first-aid", "tent",
                 "sleeping bag", "mat", "stove", "pot", "gas", "food", "drinking water", "filter",
                 "lighter", "matches", "pump", "fin for centre", "fin for slide", "paddle",
                 "repair", "power bank", "map", "compass", "sun cream", "fleece", "toilet",
                 "head torch", "mug", "knife", "medicines"):  # fmt: skip
        assert word in items, word


def test_beacon_and_radio_of_the_demo_are_with_two_people():
    kit = demo_kit()
    who = {line.item: set(own) for line, own in zip(kit.lines, kit.owners, strict=True)}
    assert who["beacon"]
    assert who["VHF radio"]
    assert not who["beacon"] & who["VHF radio"]


def test_the_demo_says_where_and_when_flotation_is_worn():
    kit = demo_kit()
    lines = {line.item: line for line in kit.lines}
    far = [e.number for e in demo_plan().exposures if e.offshore_max_m > 1000.0]
    assert set(lines["buoyancy aid"].legs) >= set(far)
    assert lines["buoyancy aid"].where.startswith("legs ")
    assert (lines["fleece"].set, lines["water shoes"].set) == ("dry", "paddling")
    assert "at hand on the rest of the trip" in lines["buoyancy aid"].notes
    hours = {leg for leg, _, _ in lines["buoyancy aid"].spans}
    assert hours == set(lines["buoyancy aid"].legs)


def test_nobody_known_and_no_forecast_still_gives_a_list_with_notes():
    plan = legs_plan("bare")
    kit = plan_kit(
        Group((Person("A"),)), None, plan.route, plan.exposures, plan.stages, plan.trip.craft
    )
    assert kit.packing is None
    assert math.isnan(kit.load_kg.expected)
    assert math.isnan(kit.provisions.energy_kcal.expected)
    worn = {line.item for line in kit.lines if line.action == "wear"}
    assert {"quick-release waist leash", "buoyancy aid", "dry suit with warm layer"} <= worn
    assert not {"leash, ankle or calf", "wetsuit"} & worn
    assert any("no proposed launch" in note for note in kit.notes)
    assert all(w.verdict == Verdict.UNKNOWN for w in kit.warmth)


def test_portage_is_carried_in_loads_of_at_most_20_kg():
    """20 kg at a time is common practice without a source."""
    plan = demo_plan()
    first = replace(plan.exposures[0], portage=True, land=((0.0, 300.0),))
    exposures = (first, *plan.exposures[1:])
    kit = plan_kit(demo_group(), None, plan.route, exposures, plan.stages, plan.trip.craft)
    assert len(kit.carries) == 4
    for carry, person in zip(kit.carries, kit.group.people, strict=True):
        load = kit.packing.load_kg[person.name] - person.mass_kg
        assert carry.length_m == 300.0
        assert carry.mass_kg <= 20.0
        assert carry.mass_kg * (carry.carries - 1) == pytest.approx(load)
        assert carry.walked_m == 300.0 * (2 * carry.carries - 1)
    assert any("carrying strap" in line.item for line in kit.lines)

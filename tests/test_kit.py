"""The kit of planned trips: facts, warmth and the demo's list."""

import functools
import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from planmaker import demo_plan, legs_plan

import routeplan
from routeplan._kit.group import check_marks
from routeplan._kit.packfit import fair_shares
from routeplan._kit.plan import plan_kit
from routeplan._kit.warmth import mat_r_wanted, warmth
from routeplan._plan.kit import with_own_water
from routeplan.errors import InputError
from routeplan.limits import Verdict
from routeplan.plan import plan_trip
from routeplan.propulsion import craft
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
        "board", "kayak", "canoe", "camp_wind_ms",
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
    assert kit.packing.homeless == ()
    for one in kit.packing.crafts:
        own = [load for load in kit.packing.bags if load.bag.owner == one.owner]
        assert one.carried_kg == pytest.approx(
            sum(load.mass_kg for load in own) + sum(item.mass_kg for item in one.worn), abs=1e-9
        )
    carried = sum(one.carried_kg for one in kit.packing.crafts)
    assert kit.load_kg.expected == pytest.approx(carried, abs=1e-9)
    assert kit.load_kg.low < kit.load_kg.expected < kit.load_kg.high


def test_the_water_that_is_carried_is_in_bags_and_bottles():
    kit = demo_kit()
    needed = kit.provisions.carried_l.expected
    carried = sum(one.water_kg for one in kit.packing.crafts)
    assert needed <= carried + 1e-9 < needed + 0.02  # rounded up to 10 g
    size = kit.group.container_l
    for load in kit.packing.bags:
        for item in load.items:
            if item.water_kg:
                assert item.water_kg <= (1.0 if "bottle" in item.name else size) + 1e-9
                assert item.volume_m3 * 1e3 > item.water_kg  # it has room for what it holds


def test_pieces_packed_are_the_pieces_of_the_list():
    kit = demo_kit()
    for line, who in zip(kit.lines, kit.owners, strict=True):
        if line.action in ("wear", "carry"):
            packed = kit.packing.owners_of(line.item)
            assert sorted(packed) == sorted(who)
            assert len(packed) == line.quantity, line.item
    names = {line.item for line in kit.lines}
    assert {item.name for load in kit.packing.bags for item in load.items} <= names


def test_the_lightest_carries_least_and_nobody_much_more_than_their_share():
    kit = demo_kit()
    mass = {p.name: p.mass_kg for p in kit.group.people}
    carried = {one.owner: one.carried_kg for one in kit.packing.crafts}
    assert sorted(carried, key=carried.get) == sorted(mass, key=mass.get)
    shares = fair_shares(mass, {p.name: p.capacity_kg for p in kit.group.people})
    even = [carried[name] / share for name, share in shares.items()]
    assert max(even) < 1.02 * min(even)


@pytest.mark.parametrize("container_l", [1.0, 2.5, 10.0])
def test_canisters_and_containers_are_whole_and_hold_what_is_needed(container_l):
    plan = demo_plan()
    group = replace(demo_group(), container_l=container_l, canister_g=100.0)
    kit = plan_kit(group, None, plan.route, plan.exposures, plan.stages, plan.trip.craft)
    lines = {line.item: line for line in kit.lines}
    gas = lines["gas canister, 100 g"].quantity
    assert gas == math.ceil(kit.provisions.fuel_g.high / 100.0)
    containers = lines[f"water container, {container_l:g} L"].quantity
    need = kit.provisions.carried_l.expected - 4.0  # four bottles of a litre
    assert containers == math.ceil(round(need, 2) / container_l)


def test_a_place_to_refill_counts_within_its_distance():
    plan, group = demo_plan(), demo_group()
    off = {}
    for within in (151.0, 152.0, 1745.0, 1746.0):
        kit = plan_kit(
            replace(group, refill_within_m=within), None, plan.route, plan.exposures, plan.stages,
            plan.trip.craft,
        )  # fmt: skip
        off[within] = [r.name for r in kit.provisions.refills], kit.provisions
    start, across = "Water near the start", "Water across from camp 2"
    assert [names for names, _ in off.values()] == [
        [], [start], [start], [start, across]]  # fmt: skip
    near, far = off[1745.0][1], off[1746.0][1]
    assert near.carried_l.expected > far.carried_l.expected
    assert [r.name for r in near.left_out] == [across]
    assert any(note.startswith(f"{across}: 1,745 m off the line, more than") for note in near.notes)
    (refill,) = (r for r in far.refills if r.name == across)
    assert refill.detour_m == 2.0 * refill.off_m
    told = f"{across}: 1,745 m off the line, so {refill.detour_m:,.0f} m there and back"
    assert any(note.startswith(told) for note in far.notes)
    assert not any(start in note for note in far.notes)  # a short way is in the table alone


def test_unknown_bodies_still_get_food_on_the_list():
    plan = legs_plan("bare")
    kit = plan_kit(
        Group((Person("A"),)), None, plan.route, plan.exposures, plan.stages, plan.trip.craft
    )
    food = next(line for line in kit.lines if line.item == "day's pack of food")
    assert food.quantity == kit.provisions.days
    assert food.notes == ("how much is unknown",)


def test_a_kayak_group_gets_the_kit_of_kayaks():
    plan = demo_plan()
    people = tuple(replace(p, craft_type="", fin_system="") for p in demo_group().people)
    group = replace(demo_group(), people=people)
    kit = plan_kit(group, None, plan.route, plan.exposures, plan.stages, craft("sea kayak"))
    items = {line.item: line for line in kit.lines}
    assert items["spraydeck"].quantity == 4
    assert not {"leash, ankle or calf", "board with its fins", "spare leash"} & set(items)
    assert not any("fin" in line.item.split() for line in kit.lines)
    assert not any("fin system" in note for note in kit.notes)
    mixed = replace(group, people=(replace(people[0], craft_type="canoe"), *people[1:]))
    kit = plan_kit(mixed, None, plan.route, plan.exposures, plan.stages, craft("sea kayak"))
    who = {line.item: set(own) for line, own in zip(kit.lines, kit.owners, strict=True)}
    assert who["bailer and sponge"] == {"A"}
    assert who["spraydeck"] == {"B", "C", "D"}


def test_a_crew_of_unlike_craft_that_does_not_say_who_has_which_gets_notes():
    plan = demo_plan()
    people = tuple(replace(p, craft_type="") for p in demo_group().people)
    kit = plan_kit(
        replace(demo_group(), people=people), None, plan.route, plan.exposures, plan.stages,
        craft("sea kayak"), (craft("touring board"),),
    )  # fmt: skip
    items = {line.item: line for line in kit.lines}
    for item in ("spraydeck", "leash, ankle or calf", "bailer and sponge"):
        assert any("unknown type" in note for note in items[item].notes)


# --- what the group says of the whole plan ------------------------------------------------------


def with_water_limit(celsius, group, forecast=None):
    trip = demo_plan().trip
    limits = replace(
        trip.limits,
        water_temperature_k=celsius + C,
        explicit=trip.limits.explicit | {"water_temperature"},
    )
    return plan_trip(replace(trip, limits=limits, group=group, forecast=forecast or trip.forecast))


@pytest.mark.parametrize(
    ("limit_c", "verdict"), [(12.0, Verdict.WITHIN), (16.5, Verdict.CLOSE), (17.5, Verdict.BEYOND)]
)
def test_the_groups_water_is_held_against_the_limit_where_the_forecast_has_none(limit_c, verdict):
    plan = with_water_limit(limit_c, demo_group())  # 17 °C
    best = np.bincount(plan.stages[0].scan.verdict.astype(int), minlength=4)
    assert best[verdict] > 0
    assert not best[: min(verdict, Verdict.UNKNOWN)].any()  # past the forecast it is unknown
    (note,) = [note for note in plan.notes if "water temperature" in note]
    assert note == (
        "The forecast has no water temperature: the group's 17 °C is held against the limit there."
    )


def test_without_a_groups_water_the_limit_stays_unknown():
    plan = with_water_limit(12.0, replace(demo_group(), water_k=math.nan))
    found = {Verdict(v) for v in plan.stages[0].scan.verdict}
    assert found == {Verdict.UNKNOWN, Verdict.BEYOND}
    assert not any("water temperature" in note for note in plan.notes)


def test_a_forecast_that_has_water_temperature_keeps_it():
    forecast = demo_plan().trip.forecast
    warm = forecast["air_temperature"] * 0.0 + 20.0 + C
    warm.attrs = {}
    for gaps, words in ((False, ""), (True, "at some places")):
        water = warm.where(warm["latitude"] > 58.6) if gaps else warm
        trip = replace(demo_plan().trip, forecast=forecast.assign(sea_surface_temperature=water))
        trip = replace(
            trip, group=demo_group(), limits=replace(trip.limits, water_temperature_k=15.0 + C)
        )
        filled = with_own_water(trip)
        values = filled.forecast["sea_surface_temperature"].to_numpy()
        assert set(np.unique(values)) == ({17.0 + C, 20.0 + C} if gaps else {20.0 + C})
        added = filled.route.notes[len(trip.route.notes) :]
        assert len(added) == gaps
        assert all(words in note for note in added)


def test_the_colder_of_forecast_and_group_is_the_water_of_the_rules():
    plan = demo_plan()
    stage = plan.stages[0]
    series = stage.scan.outing.series
    values = dict(series.values)
    values["sea_surface_temperature"] = np.full_like(values["air_temperature"], 14.0 + C)
    outing = replace(stage.scan.outing, series=replace(series, values=values))
    cold = (replace(stage, scan=replace(stage.scan, outing=outing)), *plan.stages[1:])
    for own_c, seen in ((17.0, 14.0), (12.0, 12.0), (math.nan, 14.0)):
        group = replace(demo_group(), water_k=own_c + C)
        facts = trip_facts(plan.route, plan.exposures, cold, group, 1.4)
        first = next(context for context in facts if context.level == "leg")
        assert first.values["water_c"] == pytest.approx(seen)


def test_marks_on_legs_that_are_not_there_are_refused_before_the_legs_are_measured():
    group = replace(demo_group(), marks={"traffic_area": (2, 99)}, where={})
    told = []
    with pytest.raises(InputError, match="traffic_area names leg 99, which the route does not"):
        plan_trip(
            replace(demo_plan().trip, group=group),
            progress=lambda words, share: told.append((words, share)),
        )
    assert told == [("reading the coastline", 0.0)]


def test_wind_at_the_camp_and_the_way_back():
    plan = demo_plan()
    facts = facts_of(plan, demo_group())[0].values
    winds = [night.wind_ms for night in nights_of(plan.stages)]
    assert facts["camp_wind_ms"] == max(winds)
    route = plan.route
    way = Geodesic.WGS84.Inverse(
        route.latitude[0], route.longitude[0], route.latitude[-1], route.longitude[-1]
    )
    assert facts["back_m"] == pytest.approx(way["s12"], abs=1e-3)
    assert (
        facts_of(replace(plan, stages=plan.stages[:1]), demo_group())[0].values["camp_wind_ms"]
        == 0.0
    )


def test_every_line_of_the_demo_has_a_reason_and_somebody_who_carries_it():
    kit = demo_kit()
    for line, owners in zip(kit.lines, kit.owners, strict=True):
        assert line.reasons
        assert line.sources
        assert line.notes == () or "within reach" in line.notes[0], line
        assert len(set(line.reasons)) == len(line.reasons)
        if line.action in ("wear", "carry"):
            assert len(owners) == line.quantity, line.item
        else:
            assert owners == ()


def test_the_demo_has_what_nobody_would_leave_without():
    """Common practice, no source: read through day, night, cooking, hygiene, rain, repair, help."""
    items = " | ".join(line.item for line in demo_kit().lines if line.action in ("wear", "carry"))
    for word in ("board with", "leash", "paddle", "buoyancy aid", "whistle", "phone", "VHF",
                 "beacon", "flares", "light", "first-aid", "blister", "tow line", "shelter",
                 "knife", "chart", "compass", "watch", "trip sheet", "sun cream", "sun hat",
                 "sun glasses", "paddling jacket", "dry warm layer", "water bottle", "snacks",
                 "spare leash", "fin for centre", "fin for slide", "two-part paddle", "repair",
                 "patches", "pump", "power bank", "batteries", "straps", "tie the craft down",
                 "tent", "tarp", "sleeping bag", "mat", "dry trousers", "fleece", "rain jacket",
                 "rain trousers", "camp shoes", "warm hat", "head torch", "lighter", "matches",
                 "stove", "pot", "gas", "mug", "sponge", "filter", "tablets", "toilet", "trowel",
                 "wash bag", "towel", "insect", "medicines", "rubbish", "money", "food",
                 "water container"):  # fmt: skip
        assert word in items, word
    do = " | ".join(line.item for line in demo_kit().lines if line.action == "do")
    for word in ("with somebody ashore", "Call in ashore", "Brief everybody", "a radio call",
                 "getting back on", "again in the morning", "Lay the craft flat",
                 "Ask everybody", "get back to the start"):  # fmt: skip
        assert word in do, word
    lines = {line.item for line in demo_kit().lines}
    assert not any("kayak" in item or "spraydeck" in item for item in lines)


def test_ways_to_call_of_the_demo_are_with_different_people():
    kit = demo_kit()
    who = {line.item: set(own) for line, own in zip(kit.lines, kit.owners, strict=True)}
    assert who["beacon"]
    assert who["VHF radio"]
    assert not who["beacon"] & who["VHF radio"]
    assert not who["red hand flares, or a light for SOS"] & (who["beacon"] | who["VHF radio"])


def test_the_demo_says_where_and_when_flotation_is_worn():
    kit = demo_kit()
    lines = {line.item: line for line in kit.lines}
    far = [e.number for e in demo_plan().exposures if e.offshore_max_m > 1000.0]
    assert set(lines["buoyancy aid"].legs) >= set(far)
    assert lines["buoyancy aid"].where.startswith("legs ")
    assert (lines["fleece"].set, lines["water shoes"].set) == ("dry", "paddling")
    assert "within reach on the rest of the trip" in lines["buoyancy aid"].notes[0]
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

"""The kit in the document and on the terminal."""

import functools
import io
import json
import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
from planmaker import demo_plan
from rich.console import Console
from test_kit import demo_kit

from routeplan._demo.files import demo_files, demo_group_file
from routeplan._html.kitfacts import kit_facts
from routeplan._show.kitdocument import kit_documents
from routeplan._show.kittable import night_words, render_kit, who_words
from routeplan._show.page import Page
from routeplan._show.wording import Clock
from routeplan.cli import run
from routeplan.limits import Verdict
from routeplan.report import document_text, plan_document, render_plan, report_parts
from routeplan.rules import read_group, read_rules


@functools.cache
def document():
    return json.loads(document_text(plan_document(replace(demo_plan(), kit=demo_kit()))))


def rendered(kit, width=100):
    out = io.StringIO()
    console = Console(file=out, width=width, color_system=None)
    render_kit(Page(console), kit, Clock("Europe/Stockholm"))
    return out.getvalue()


def test_a_plan_without_a_group_has_no_kit():
    assert kit_documents(None) == {}
    assert rendered(None) == ""
    assert demo_plan().kit is None
    assert "kit" not in plan_document(demo_plan())


def test_every_line_of_the_kit_is_in_the_document():
    lines = document()["kit"]
    assert len(lines) == len(demo_kit().lines)
    for line in lines:
        assert {"item", "quantity", "per", "where", "reasons"} <= line.keys()
        assert line["per"] in ("person", "group", "board", "kayak", "canoe")
        assert line["set"] in ("paddling", "dry", None)
        assert line["reasons"]
        assert all(hour["start"].endswith("Z") for hour in line["hours"])


def test_provisions_stand_within_their_range():
    found = document()["provisions"]
    for name in ("water_l", "energy_kcal", "fuel_g", "load_kg", "food_kg", "carried_l"):
        assert found["range"][name]["low"] <= found[name] <= found["range"][name]["high"]


def test_bags_add_up_in_the_document():
    packing = document()["packing"]
    assert packing["fits"] is True
    for bag in packing["bags"]:
        assert bag["used_l"] <= bag["room_l"]
    crafts = {craft["owner"]: craft for craft in packing["crafts"]}
    assert set(crafts) == {"A", "B", "C", "D"}
    assert all(c["load_kg"] <= c["capacity_kg"] for c in crafts.values())
    assert all(night["verdict"] == "within" for night in packing["nights"])


def close(figures, total):
    """Figures of two decimals add up to a total of two decimals."""
    return round(sum(figures), 2) == round(total, 2)


def test_everything_in_the_document_adds_up():
    """Bags and water and what is worn are what each carries; all of them are the load."""
    found = document()
    packing, people = found["packing"], found["packing"]["crafts"]
    assert packing["homeless"] == []
    for bag in packing["bags"]:
        for key, name in (("mass_kg", "mass_kg"), ("water_kg", "water_kg"), ("volume_l", "used_l")):
            assert close([thing[key] for thing in bag["things"]], bag[name]), bag["bag"]
        assert sum(thing["quantity"] for thing in bag["things"]) == len(bag["items"])
    for one in people:
        own = [bag for bag in packing["bags"] if bag["owner"] == one["owner"]]
        assert close([bag["water_kg"] for bag in own], one["water_kg"])
        assert close([bag["mass_kg"] - bag["water_kg"] for bag in own], one["bags_kg"])
        assert close([thing["mass_kg"] for thing in one["worn"]], one["worn_kg"])
        assert close([one["bags_kg"], one["water_kg"], one["worn_kg"]], one["carried_kg"])
        assert close([one["person_kg"], one["carried_kg"]], one["load_kg"])
        assert close([one["load_kg"], one["left_kg"]], one["capacity_kg"])
    for name in ("bags_kg", "water_kg", "worn_kg", "carried_kg"):
        assert close([one[name] for one in people], packing["total"][name])
    provisions = found["provisions"]
    assert provisions["load_kg"] == packing["total"]["carried_kg"]
    assert provisions["carried_l"] == pytest.approx(packing["total"]["water_kg"], abs=0.06)


def test_shared_things_and_ones_own_are_all_that_is_in_the_bags():
    found = document()
    packing = found["packing"]
    pieces = [thing for bag in packing["bags"] for thing in bag["things"]]
    pieces += [thing for one in packing["crafts"] for thing in one["worn"]]
    shared = sum(thing["mass_kg"] for thing in pieces if thing["shared"])
    own = sum(thing["mass_kg"] for thing in pieces if not thing["shared"])
    assert shared > 0.0
    assert close([shared, own], packing["total"]["carried_kg"])
    for line in found["kit"]:
        if line["action"] not in ("wear", "carry"):
            continue
        many = [thing for thing in pieces if thing["item"] == line["item"]]
        assert sum(thing["quantity"] for thing in many) == line["quantity"] == len(line["who"])
        assert all(thing["shared"] is (line["per"] == "group" or len(set(line["who"])) < 4)
                   for thing in many if thing not in packing["crafts"][0]["worn"])  # fmt: skip
    listed = {line["item"] for line in found["kit"]}
    assert {thing["item"] for thing in pieces} <= listed


def test_places_to_refill_tell_the_way_there():
    found = document()["provisions"]
    for refill in (*found["refills"], *found["refills_left_out"]):
        assert abs(refill["detour_m"] - 2 * refill["off_m"]) <= 1.0  # each rounded to 1 m
    assert len(found["refills"]) == 2
    assert found["refills_left_out"] == []


def test_what_is_unknown_is_null():
    kit = demo_kit()
    nobody = replace(
        kit.provisions, energy_kcal=replace(kit.provisions.energy_kcal, high=float("nan"))
    )
    found = kit_documents(replace(kit, provisions=nobody, packing=None))
    assert found["provisions"]["range"]["energy_kcal"]["high"] is None
    assert found["packing"] is None
    assert "unknown" in rendered(replace(kit, provisions=nobody))


@pytest.mark.parametrize("width", [40, 80, 200])
def test_the_terminal_shows_boxes_reasons_bags_and_totals(width):
    text = " ".join(rendered(demo_kit(), width).split())
    lower = text.lower()
    for line in demo_kit().lines:
        assert line.item.rstrip(".") in text
        for reason in line.reasons:
            assert reason.rstrip(".").lower() in lower
    for words in ("[ ]", "Wear", "Carry", "Bags", "Water, food, fuel", "Camp 1", "main bag of A"):
        assert words in text


def test_the_terminal_sums_what_each_carries():
    text = " ".join(rendered(demo_kit(), 200).split())
    total = 0.0
    for one in demo_kit().packing.crafts:
        found = re.search(
            rf"{one.owner}: bags ([\d.]+) \+ drinking water ([\d.]+) \+ worn ([\d.]+) = "
            r"([\d.]+) kg; with the paddler ([\d.]+) kg, stated capacity (\d+) kg\.",
            text,
        )
        bags, water, worn, carried, load, _ = map(float, found.groups())
        assert close([bags, water, worn], carried)
        assert close([carried, one.person_kg], load)
        total += carried
        of_one = text[found.end() :].split(" with the paddler ")[0]
        own = [b for b in demo_kit().packing.bags if b.bag.owner == one.owner]
        room = r", [\d.]+ of [\d.]+ L(, ([\d.]+) kg)?( \+ ([\d.]+) kg of water)?"
        told = [re.search(f"{b.bag.name}{room}", of_one) for b in own]
        assert close([float(t[2] or 0) for t in told], bags)
        assert close([float(t[4] or 0) for t in told], water)
    every = re.search(
        r"All: bags [\d.]+ \+ drinking water [\d.]+ \+ worn [\d.]+ = ([\d.]+) kg", text
    )
    assert close([total], float(every[1]))


def test_the_report_tells_bags_and_sums_in_the_words_of_the_terminal():
    text = " ".join(rendered(demo_kit(), 200).split())
    found = kit_facts(demo_kit(), Clock("Europe/Stockholm"))
    assert [person["name"] for person in found["people"]] == list("ABCD")
    for person in found["people"]:
        assert f"{person['name']}: {person['sum']}" in text
        assert person["bags"][0]["name"].startswith("worn or in hand, ")
        assert sum("kg of water" in bag["name"] for bag in person["bags"]) >= 2
        for bag in person["bags"]:
            assert f"{bag['name']}: {bag['holds']}" in text
    assert found["all"] in text
    assert found["nights"]
    assert all(night in text for night in found["nights"])
    section = report_parts(replace(demo_plan(), kit=demo_kit())).fragments["rp-kit"]
    shown = " ".join(unescape(re.sub(r"<[^>]+>", " ", section)).split())
    for words in (found["all"], *(bag["holds"] for p in found["people"] for bag in p["bags"])):
        assert words in shown


def test_people_of_one_unknown_night_are_told_together():
    kit = demo_kit()
    cold = [replace(w, verdict=Verdict.UNKNOWN, words="bag unknown") for w in kit.warmth[:2]]
    told = night_words(replace(kit, warmth=tuple(cold)))
    assert told == [f"{cold[0].place}, A, B: unknown; bag unknown"]


@pytest.mark.parametrize(
    ("who", "people", "words"),
    [(("A", "B"), 2, "1 each"), (("A", "B") * 4, 2, "4 each"), (("C", "A", "C"), 3, "1 A, 2 C"),
     (("A", "A", "B"), 2, "2 A, 1 B"), (("A", "C"), 3, "A, C"), (("A", "A"), 1, ""), ((), 3, "")],
)  # fmt: skip
def test_who_has_things_is_told_shortly(who, people, words):
    assert who_words(who, people) == words


def test_an_empty_bag_is_told_to_be_empty():
    kit = demo_kit()
    bags = tuple(
        replace(b, items=(), mass_kg=0.0, used_m3=0.0) if b.bag.name == "extra bag of A" else b
        for b in kit.packing.bags
    )
    text = " ".join(rendered(replace(kit, packing=replace(kit.packing, bags=bags)), 200).split())
    assert "extra bag of A, 0.0 of 18.0 L: empty" in text


def test_the_same_reason_is_told_once():
    text = " ".join(rendered(demo_kit(), 200).split())
    text = text[text.index(" Carry ") : text.index(" Do ")]
    for line in demo_kit().lines:
        if line.action == "carry":
            assert text.lower().count("; ".join(line.reasons).lower()) == 1, line.item


def test_the_nights_tell_whose_bag_is_meant():
    kit = demo_kit()
    poorest = max(kit.group.people, key=lambda p: p.bag_comfort_k)
    text = " ".join(rendered(kit, 200).split())
    assert (
        f"comfort of the bag {poorest.bag_comfort_k - 273.15:.0f} °C of {poorest.name}, "
        "the least warm" in text
    )
    cold = [replace(w, verdict=Verdict.CLOSE, words=f"words of {w.person}") for w in kit.warmth]
    text = " ".join(rendered(replace(kit, warmth=tuple(cold)), 200).split())
    for person in kit.group.people:
        assert f", {person.name}: close; words of {person.name}" in text


def test_what_does_not_fit_is_told():
    kit = demo_kit()
    problem = "the main bag takes 1 L and would have to take 2 L"
    text = rendered(replace(kit, packing=replace(kit.packing, problems=(problem,), fits=False)))
    assert f"does not fit: {problem}" in text


def test_the_whole_plan_is_rendered_with_its_kit():
    out = io.StringIO()
    render_plan(replace(demo_plan(), kit=demo_kit()), Console(file=out, width=100))
    assert "buoyancy aid" in out.getvalue()


def test_the_demo_group_has_four_people_without_names():
    group = read_group(demo_group_file())
    assert [len(person.name) for person in group.people] == [1, 1, 1, 1]
    assert "INVENTED" in demo_group_file().read_text(encoding="utf-8")


def test_the_documented_files_can_be_read(tmp_path):
    docs = Path(__file__).parent.parent / "docs" / "kit.md"
    people, rules = re.findall(r"```toml\n(.*?)```", docs.read_text(encoding="utf-8"), re.DOTALL)
    (tmp_path / "group.toml").write_text(people, encoding="utf-8")
    (tmp_path / "rules.toml").write_text(rules, encoding="utf-8")
    assert len([line for line in people.splitlines() if line]) == 10
    assert read_group(tmp_path / "group.toml").people[0].craft_type == "board"
    found = read_rules(tmp_path / "rules.toml").rules
    assert [rule.name for rule in found].count("VHF radio") == 2


def test_windows_takes_a_group_and_own_rules(tmp_path, capsys):
    files = demo_files()
    rules = tmp_path / "own.toml"
    rules.write_text(
        '[[rule]]\nname = "flag"\nwhen = "offshore_m > 1000"\ncarry = "flag"\nwhy = "be seen"\n'
        '[[rule]]\nname = "whistle"\noff = true\n'
    )
    base = ["windows", str(files.route), "--forecast", str(files.forecast_netcdf), "--json"]
    assert run([*base, "--group", str(demo_group_file()), "--rules", str(rules)]) == 0
    items = {line["item"]: line for line in json.loads(capsys.readouterr().out)["kit"]}
    assert items["flag"]["where"].startswith("leg")
    assert items["flag"]["sources"] == ["the user's own"]
    assert "whistle" not in items


def test_bad_kit_files_end_in_one_line(tmp_path, capsys):
    files = demo_files()
    base = ["windows", str(files.route), "--forecast", str(files.forecast_netcdf)]
    bad = tmp_path / "bad.toml"
    bad.write_text('[[rule]]\nname = "x"\nwhen = "ofshore_m > 1"\ncarry = "y"\nwhy = "z"\n')
    for extra, words in (
        (["--rules", str(bad)], "--rules: needs --group FILE"),
        (["--group", str(demo_group_file()), "--rules", str(bad)], "bad.toml:3: rule 'x'"),
        (["--group", str(bad)], "'rule' is not known; allowed are tables group, person"),
    ):
        assert run([*base, *extra]) == 2
        out, err = capsys.readouterr()
        assert out == ""
        assert words in err
        assert err.count("\n") == 1

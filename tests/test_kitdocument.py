"""The kit in the document and on the terminal."""

import functools
import io
import json
from dataclasses import replace

import pytest
from planmaker import demo_plan
from rich.console import Console
from test_kit import demo_kit

from routeplan._demo.files import demo_files, demo_group_file
from routeplan._show.kitdocument import kit_documents
from routeplan._show.kittable import render_kit
from routeplan._show.page import Page
from routeplan._show.wording import Clock
from routeplan.cli import run
from routeplan.limits import Verdict
from routeplan.report import document_text, plan_document, render_plan
from routeplan.rules import read_group


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
        assert line["per"] in ("person", "group")
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
    for line in demo_kit().lines:
        assert line.item.rstrip(".") in text
        assert line.reasons[0].rstrip(".") in text
    for words in ("[ ]", "Wear", "Carry", "Bags", "Water, food, fuel", "Camp 1", "main bag of A"):
        assert words in text


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

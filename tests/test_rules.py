"""Rules: their language, their files, what they say, and the default set on both sides of it."""

import itertools
import re
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from routeplan._kit.facts import light
from routeplan.errors import InputError
from routeplan.rules import (
    FACTS,
    LEVELS,
    ConditionError,
    Context,
    RuleSet,
    apply_rules,
    check_condition,
    default_rules,
    leg_words,
    read_rules,
)

NO_SOURCE = "common practice, no source"


def rules_file(tmp_path, text, name="own.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def one_rule(when, **more):
    lines = ["[[rule]]", 'name = "r"', f"when = '{when}'", 'carry = ["thing"]', 'why = "because"']
    return "\n".join([*lines, *(f"{k} = {v}" for k, v in more.items())]) + "\n"


def applied(name, values):
    """Lines of one default rule at one context of every level it is asked at."""
    ways = tuple(rule for rule in default_rules().rules if rule.name == name)
    at = [Context(level, values, 1, () if level == "trip" else (1,))
          for level in LEVELS if any(rule.level == level for rule in ways)]  # fmt: skip
    return apply_rules(RuleSet(ways, {}), at, 4)


# --- the language ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "facts"),
    [
        ("true", ()),
        ("alone || darkness || offshore_m > 1000.0", ("alone", "darkness", "offshore_m")),
        ("offshore_m >= 1000 && !(nights == 0)", ("offshore_m", "nights")),
        ("cooking in ['dried', 'fresh']", ("cooking",)),
        ("offshore_m / 2.0 > 500.0 + fetch_m * 0.1", ("offshore_m", "fetch_m")),
        ("nights > 1 ? alone : led", ("nights", "alone", "led")),
        ("air_c < -5.0", ("air_c",)),
    ],
)
def test_what_the_language_allows(text, facts):
    assert check_condition(text).facts == facts


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        (3, "is int"),
        ("offshore > 1", "'offshore', which is no fact; allowed are group_size, alone"),
        ("offshore_m", "gives no truth value"),
        ("alone > 1", "compares boolean with integer"),
        ("cooking > 'dried'", "compares text with text by '>'"),
        ("cooking == 'raw'", "allowed are none, dried, wet pouch, fresh"),
        ("offshore_m / 2 > 1", "write 2.0"),
        ("alone &&", "ends where"),
        ("alone alone", "where it should end"),
        ("(alone", "where '\\)' is needed"),
        ("alone && 1", "gives '&&' integer"),
        ("!offshore_m", "gives '!' double"),
        ("nights in [alone]", "more than plain numbers"),
        ("alone ? 1 : 'a'", "both must be of one kind"),
        ("offshore_m > 5.0 && offshore_m < 3.0", "never true"),
        ("nights > 0 && nights < 1", "never true"),
        ("group_size > 100", "never true.*group_size 1 to 100"),
        ("alone && !alone", "never true"),
        ("false", "never true"),
        ("air_c < -60.5", "never true"),
    ],
)
def test_what_is_wrong_is_said(text, words):
    with pytest.raises(ConditionError, match=words):
        check_condition(text)


def nested_map(depth):
    """The macros that took seconds when they were run: refused before they run."""
    ten = "[0,1,2,3,4,5,6,7,8,9]"
    inner = "0"
    for i in range(depth):
        inner = f"{ten}.map(x{i}, {inner})"
    return f"{inner} == []"


@pytest.mark.parametrize(
    "text",
    [
        nested_map(6),
        nested_map(1),
        "[1].all(x, x > 0)",
        "has(alone)",
        "size('a') > 0",
        "matches('aaaa', '(a+)+$')",
        "(" * 400 + "alone" + ")" * 400,
        "(" * 50 + "alone" + ")" * 50,
        "!" * 499 + "x",
        "!" * 100 + "alone",
        "-" * 100 + "1.0 > 0.0",
        "true ? true : " * 30 + "true",
        "'" + "a" * 1_000_000 + "' == 'b'",
        "'" + "a" * 200 + "' == 'b'",
        "'a' + 'a' == 'aa'",
        "1 + " * 10_000 + "1 > 0",
        "99999999999999999999 > 1",
        "1e999 > 0.0",
        "alone\x00",
        "alone // comment",
        "__import__('os') == 1",
        "alone.real",
        "{'a': 1} == {}",
        "[alone] == [alone]",
        "b'x' == b'x'",
        "ɑlone",
    ],
    ids=range(26),
)
def test_hostile_conditions_are_refused_at_once(text):
    begun = time.perf_counter()
    with pytest.raises(ConditionError) as caught:
        check_condition(text)
    assert time.perf_counter() - begun < 0.5
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 1_000


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="ab 01.<>=!&|()[]?:+-*/'\"\n", max_size=60) | st.text(max_size=40))
def test_any_text_is_a_condition_or_one_line(text):
    message = ""
    try:
        check_condition(text)
    except ConditionError as error:
        message = str(error)
    assert "\n" not in message


def test_many_facts_at_once_end_in_time():
    text = " && ".join(
        f"{name} > {fact.low:.1f}" for name, fact in FACTS.items() if fact.kind == "number"
    )
    begun = time.perf_counter()
    check_condition(text)
    assert time.perf_counter() - begun < 2.0


# --- files ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("\n\n" + one_rule("offshor_m > 1"), r"own.toml:5: rule 'r': when uses 'offshor_m'"),
        (one_rule("alone > 1"), r"own.toml:3: .*compares boolean"),
        (one_rule("alone && !alone"), r"own.toml:3: .*never true"),
        (one_rule("alone") + "wood = 1\n", r"own.toml:6: .*wood is not known; allowed are name"),
        (one_rule("alone", quantity=0), r"own.toml:6: .*quantity is 0; allowed is a number from 1"),
        (one_rule("alone", quantity=1.5), r"own.toml:6: .*allowed is a whole number"),
        (one_rule("alone", unknown='"no"'), r"own.toml:6: .*allowed are apply, skip"),
        (one_rule("alone", per='"boat"'),
         r"own.toml:6: .*allowed are person, group, board, kayak, canoe"),
        ('[[rule]]\nname = "r"\nwhen = ["alone", "led"]\nwhy = ["a"]\ncarry = "x"\n',
         r"own.toml:3: rule 'r': when has 2 conditions for 1 reasons; allowed are 1 to 8"),
        ('[[rule]]\nname = "r"\nwhen = []\nwhy = "w"\ncarry = "x"\n', "has 0 conditions"),
        ('[[rule]]\nname = "r"\nwhen = ["alone", 3]\nwhy = ["a", "b"]\ncarry = "x"\n',
         r"own.toml:3: rule 'r': when is int"),
        ('[[item]]\nname = "x"\nholds = "31 L"\n', r"own.toml:3: .*holds"),
        (one_rule("alone") * 2, r"own.toml:7: .*there twice"),
        ('[[rule]]\nname = "r"\nwhen = "alone"\nwhy = "w"\n', r"own.toml:2: .*does nothing"),
        ('[[rule]]\nname = "r"\ncarry = "x"\nwhy = "w"\n', r"own.toml:1: .*when is missing"),
        ("[rules]\n", "'rules' is not known; allowed are tables rule, item"),
        ("rule = 3\n", "must be tables"),
        ("[[rule\n", "not a TOML file"),
        ("a = " + "[" * 5_000, "not a TOML file"),
        ("#" * 300_000, "larger than 256 kB"),
        ("[[rule]]\n" * 501, "501 tables .*allowed are 500"),
        ('[[item]]\nname = "x"\nmass = "2"\n', r"own.toml:3: item 'x': mass .*unit is missing"),
        ('[[item]]\nname = "x"\nreach = "far"\n', r"own.toml:3: .*allowed are worn, quick"),
    ],
)  # fmt: skip
def test_a_bad_file_is_refused_with_its_line(tmp_path, text, words):
    with pytest.raises(InputError, match=words) as caught:
        read_rules(rules_file(tmp_path, text))
    assert "\n" not in str(caught.value)


def test_a_rule_that_is_to_go_must_be_there(tmp_path):
    own_rules = read_rules(rules_file(tmp_path, '[[rule]]\nname = "wistle"\noff = true\n'))
    with pytest.raises(InputError, match=r"own.toml:1: rule 'wistle': .*are whistle") as got:
        default_rules().merged(own_rules)
    assert "\n" not in str(got.value)


def test_a_file_that_is_not_there_or_not_text(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_rules(tmp_path / "no.toml")
    (tmp_path / "b.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="not a TOML file"):
        read_rules(tmp_path / "b.toml")


def test_own_rules_and_items_override_by_name(tmp_path):
    own = read_rules(
        rules_file(
            tmp_path,
            '[[rule]]\nname = "whistle"\noff = true\n'
            '[[rule]]\nname = "beacon"\nwhen = "true"\ncarry = "two beacons"\nwhy = "mine"\n'
            '[[rule]]\nname = "flag"\nwhen = "true"\ncarry = "flag"\nwhy = "to be seen"\n'
            '[[item]]\nname = "knife"\nmass = "50 g"\nvolume = "0.1 L"\n',
        )
    )
    merged = default_rules().merged(own)
    rules = {rule.name: rule for rule in merged.rules}
    assert "whistle" not in rules
    assert rules["beacon"].carry == ("two beacons",)
    assert rules["beacon"].source == "the user's own"
    assert "flag" in rules
    assert merged.item("knife").mass_kg == pytest.approx(0.05)
    assert np.isnan(merged.item("flag").mass_kg)


# --- what rules say ---------------------------------------------------------------------------


def contexts(offshore):
    """One stage of legs with these distances from shore."""
    legs = tuple(range(1, len(offshore) + 1))
    trip = {"alone": False, "group_size": 4.0}
    yield Context("trip", trip, 0, legs)
    yield Context("stage", trip, 1, legs)
    for leg, far in zip(legs, offshore, strict=True):
        values = trip if far is None else trip | {"offshore_m": far}
        yield Context("leg", values, 1, (leg,))


def own(tmp_path, when, **more):
    return read_rules(rules_file(tmp_path, one_rule(when, **more)))


def test_the_list_says_where(tmp_path):
    rules = own(tmp_path, "offshore_m > 1000.0")
    at = tuple(contexts([10.0, 900.0, 1001.0, 2000.0, 1500.0, 1000.0]))
    (line,) = apply_rules(rules, at, 4)
    assert (line.where, line.legs, line.quantity) == ("legs 3 to 5", (3, 4, 5), 4)
    assert line.notes == ()


def test_what_helps_in_distress_is_carried_all_the_way(tmp_path):
    text = one_rule("offshore_m > 1000.0") + '[[item]]\nname = "thing"\ndistress = true\n'
    rules = read_rules(rules_file(tmp_path, text))
    (line,) = apply_rules(rules, tuple(contexts([10.0, 1001.0, 2000.0])), 4)
    assert (line.where, line.legs) == ("whole trip", ())
    assert line.reasons == ("because (legs 2 and 3)", "carried all the way")
    lighter = '[[item]]\nname = "thing"\nmass = "1 kg"\n'
    item = rules.merged(read_rules(rules_file(tmp_path, lighter, "two.toml"))).item("thing")
    assert (item.mass_kg, item.distress) == (1.0, True)


def test_the_default_radio_is_for_the_whole_trip():
    trip = {"traffic_area": False, "phone_coverage": True}
    at = [Context("leg", trip | {"offshore_m": far}, 1, (leg,))
          for leg, far in ((1, 50.0), (2, 1500.0))]  # fmt: skip
    line = next(x for x in apply_rules(default_rules(), at, 2) if x.item == "VHF radio")
    assert (line.where, line.legs, line.notes) == ("whole trip", (), ())
    assert line.reasons[0].endswith("(leg 2)")
    assert line.reasons[1:] == ("carried all the way",)


def ways(tmp_path, *pairs, **more):
    """A rule with several conditions, each with its reason."""
    when, why = zip(*pairs, strict=True)
    lines = ["[[rule]]", 'name = "r"', f"when = {list(when)}", f"why = {list(why)}",
             'carry = ["thing"]', *(f"{k} = {v}" for k, v in more.items())]  # fmt: skip
    return read_rules(rules_file(tmp_path, "\n".join(lines) + "\n"))


def test_each_condition_of_a_rule_tells_its_own_reason_where_it_holds(tmp_path):
    rules = ways(tmp_path, ("alone", "one"), ("offshore_m > 1000.0", "far"),
                 ("offshore_m > 1900.0", "very far"))  # fmt: skip
    (line,) = apply_rules(rules, tuple(contexts([10.0, 1500.0, 2000.0])), 4)
    assert (line.where, line.rules, line.quantity) == ("legs 2 and 3", ("r",), 4)
    assert line.reasons == ("far (legs 2 and 3)", "very far (leg 3)")
    (line,) = apply_rules(rules, tuple(contexts([10.0, 1500.0])), 4)
    assert line.reasons == ("far",)  # the only one: the line says where
    assert apply_rules(rules, tuple(contexts([10.0])), 4) == ()


def test_what_is_unknown_says_nothing_where_another_condition_surely_holds(tmp_path):
    rules = ways(tmp_path, ("!alone", "many"), ("offshore_m > 1000.0", "far"))
    (line,) = apply_rules(rules, tuple(contexts([10.0, None])), 4)
    assert (line.where, line.reasons, line.notes) == ("whole trip", ("many",), ())
    rules = ways(tmp_path, ("fetch_m > 1.0", "open"), ("offshore_m > 1000.0", "far"))
    at = [Context("leg", {"offshore_m": 1500.0}, 1, (1,)), Context("leg", {}, 1, (2,))]
    (line,) = apply_rules(rules, at, 4)  # nobody knows the fetch of either leg
    assert line.reasons == ("open", "far")
    assert "unknown: fetch_m" in line.notes[0]
    (line,) = apply_rules(rules, at[:1], 4)
    assert (line.reasons, line.notes) == (("far",), ())


def test_a_rule_of_several_conditions_is_replaced_and_taken_away_as_one(tmp_path):
    base = ways(tmp_path, ("alone", "one"), ("led", "two"))
    assert [rule.why for rule in base.rules] == ["one", "two"]
    assert len(base.merged(own(tmp_path, "overnight")).rules) == 1
    off = read_rules(rules_file(tmp_path, '[[rule]]\nname = "r"\noff = true\n'))
    assert base.merged(off).rules == ()


@pytest.mark.parametrize(
    ("crafts", "quantity", "notes"),
    [
        ((), 4, ()),
        (("kayak", "board", "canoe", "kayak"), 2, ()),
        (("board", "board", "board", "canoe"), 0, ()),
        (
            ("kayak", "", "board", "board"), 2,
            ("the craft of 1 is of unknown type and may be a kayak",),
        ),
    ],
)  # fmt: skip
def test_what_is_per_kayak_is_for_those_in_kayaks(tmp_path, crafts, quantity, notes):
    rules = own(tmp_path, "true", per='"kayak"', do='["Roll."]')
    lines = apply_rules(rules, tuple(contexts([1.0])), 4, crafts)
    assert [line.quantity for line in lines] == ([quantity, 1] if quantity else [])
    assert all(line.notes == notes for line in lines)


@pytest.mark.parametrize(
    ("crafts", "has", "lacks"),
    [
        (["board"] * 2, {"leash, ankle or calf", "board with its fins"},
         {"spraydeck", "bailer and sponge"}),
        (["kayak"] * 2, {"spraydeck", "kayak pump or sponge", "paddle float"},
         {"leash, ankle or calf", "board with its fins", "bailer and sponge"}),
        (["canoe"] * 2, {"bailer and sponge", "two lines for bow and stern"},
         {"leash, ankle or calf", "spraydeck"}),
        (["", "kayak"], {"leash, ankle or calf", "spraydeck", "bailer and sponge"}, set()),
    ],
)  # fmt: skip
def test_boards_kayaks_and_canoes_have_kit_of_their_own(crafts, has, lacks):
    at = [Context(level, {"moving_water": False}, 1, (1,)) for level in LEVELS]
    items = {line.item for line in apply_rules(default_rules(), at, 2, crafts)}
    assert has <= items
    assert not lacks & items


def test_an_unknown_fact_makes_the_rule_apply_with_a_note(tmp_path):
    rules = own(tmp_path, "offshore_m > 1000.0")
    (line,) = apply_rules(rules, tuple(contexts([10.0, None])), 1)
    assert line.where == "leg 2"
    assert "unknown: offshore_m" in line.notes[0]
    (line,) = apply_rules(own(tmp_path, "water_c < 10.0"), tuple(contexts([1.0])), 1)
    assert "unknown: water_c" in line.notes[0]


@pytest.mark.parametrize(
    ("when", "applies"),
    [
        ("alone && offshore_m > 1000.0", False),  # decided by what is known
        ("offshore_m > 1000.0 && alone", False),
        ("offshore_m > 1000.0 || !alone", True),
        ("offshore_m > 1000.0 || alone", None),
        ("!(offshore_m > 1000.0)", None),
        ("offshore_m == offshore_m", None),
        ("offshore_m in [1.0]", None),
        ("(offshore_m > 1.0 ? 1.0 : 2.0) > 0.0", None),
    ],
)
def test_unknown_operands(tmp_path, when, applies):
    lines = apply_rules(own(tmp_path, when), tuple(contexts([None])), 1)
    assert bool(lines) is (applies is not False)
    if lines:
        assert bool(lines[0].notes) is (applies is None)


def test_a_rule_that_cannot_be_worked_out_applies_with_a_note(tmp_path):
    rules = own(tmp_path, "offshore_m / 0.0 > 1.0 || 1 / 0 > 1")
    (line,) = apply_rules(rules, tuple(contexts([0.0])), 1)
    assert "cannot be worked out" in line.notes[0]


def test_quantities(tmp_path):
    at = tuple(contexts([1.0]))
    assert apply_rules(own(tmp_path, "true", quantity=2), at, 3)[0].quantity == 6
    assert apply_rules(own(tmp_path, "true", quantity=2, per='"group"'), at, 3)[0].quantity == 2
    assert apply_rules(own(tmp_path, "true", shared_by=2), at, 3)[0].quantity == 2


def test_the_same_thing_of_two_rules_is_one_line(tmp_path):
    text = one_rule("alone || offshore_m > 5.0") + one_rule("true").replace('"r"', '"s"')
    (line,) = apply_rules(read_rules(rules_file(tmp_path, text)), tuple(contexts([1.0, 9.0])), 2)
    assert (line.where, line.rules, line.quantity) == ("whole trip", ("r", "s"), 2)


@pytest.mark.parametrize(
    ("legs", "words"),
    [([2], "leg 2"), ([1, 2], "legs 1 and 2"), ([3, 4, 5], "legs 3 to 5"),
     ([1, 3, 4, 5, 9], "legs 1, 3 to 5 and 9")],
)  # fmt: skip
def test_leg_words(legs, words):
    assert leg_words(legs) == words


# --- the default set ----------------------------------------------------------------------------

# name: (facts on which it holds, facts one step away on which it does not). Every threshold is
# common practice without a source, but for rule 25 of COLREG 1972 ("light at night").
CALM = {
    "alone": False, "darkness": False, "offshore_m": 1.0, "moving_water": False, "water_c": 18.0,
}  # fmt: skip
NEAR = {"alone": False, "offshore_m": 1.0, "help_h": 0.5}
ALONE = {"alone": False, "overnight": False, "length_m": 1.0}
DAY = {"board": True, "overnight": False, "length_m": 1.0}
BOTH_SIDES = {
    "leash": [({"moving_water": False}, {"moving_water": True})],
    "leash on moving water": [({"moving_water": True}, {"moving_water": False})],
    "flotation worn": [
        (CALM | {"offshore_m": 1001.0}, CALM | {"offshore_m": 999.0}),
        (CALM | {"offshore_m": 1000.001}, CALM | {"offshore_m": 1000.0}),
        (CALM | {"alone": True}, CALM),
        (CALM | {"darkness": True}, CALM),
        (CALM | {"moving_water": True}, CALM),
        (CALM | {"water_c": 14.9}, CALM | {"water_c": 15.0}),
    ],
    "flotation level": [
        ({"alone": True, "offshore_m": 1001.0}, {"alone": True, "offshore_m": 999.0}),
        ({"alone": True, "offshore_m": 1001.0}, {"alone": False, "offshore_m": 1001.0}),
    ],
    "VHF radio": [
        (
            {"traffic_area": True, "phone_coverage": True, "offshore_m": 1.0},
            {"traffic_area": False, "phone_coverage": True, "offshore_m": 1.0},
        ),
        (
            {"traffic_area": False, "phone_coverage": False, "offshore_m": 1.0},
            {"traffic_area": False, "phone_coverage": True, "offshore_m": 1.0},
        ),
        (
            {"traffic_area": False, "phone_coverage": True, "offshore_m": 1001.0},
            {"traffic_area": False, "phone_coverage": True, "offshore_m": 1000.0},
        ),
    ],
    "beacon": [
        ({"alone": True, "led": False}, {"alone": False, "led": False}),
        ({"alone": False, "led": True}, {"alone": False, "led": False}),
    ],
    "ways to call apart": [({"group_size": 2.0}, {"group_size": 1.0})],
    "satellite messenger": [
        ({"phone_coverage": False, "help_h": 2.01}, {"phone_coverage": False, "help_h": 2.0}),
        ({"phone_coverage": False, "help_h": 3.0}, {"phone_coverage": True, "help_h": 3.0}),
    ],
    "light at night": [({"sun_down": True}, {"sun_down": False})],
    "tow line": [({"group_size": 2.0}, {"group_size": 1.0})],
    "people asked": [({"group_size": 2.0}, {"group_size": 1.0})],
    "briefing": [({"group_size": 2.0}, {"group_size": 1.0})],
    "moving water": [({"moving_water": True}, {"moving_water": False})],
    "throw line": [
        ({"moving_water": True, "group_size": 2.0}, {"moving_water": False, "group_size": 2.0}),
        ({"moving_water": True, "group_size": 2.0}, {"moving_water": True, "group_size": 1.0}),
    ],
    "helped back on the craft": [({"group_size": 2.0}, {"group_size": 1.0})],
    "seen in traffic": [({"traffic_area": True}, {"traffic_area": False})],
    "together in traffic": [
        ({"traffic_area": True, "group_size": 2.0}, {"traffic_area": True, "group_size": 1.0}),
        ({"traffic_area": True, "group_size": 2.0}, {"traffic_area": False, "group_size": 2.0}),
    ],
    "light in reserve": [
        (ALONE | {"length_m": 10001.0}, ALONE | {"length_m": 10000.0}),
        (ALONE | {"overnight": True}, ALONE),
        (ALONE | {"alone": True}, ALONE),
    ],
    "distress signal to be seen": [
        (NEAR | {"alone": True}, NEAR),
        (NEAR | {"offshore_m": 1001.0}, NEAR | {"offshore_m": 999.0}),
        (NEAR | {"offshore_m": 1000.001}, NEAR | {"offshore_m": 1000.0}),
        (NEAR | {"help_h": 1.01}, NEAR | {"help_h": 1.0}),
    ],
    "hands and feet": [
        ({"overnight": False, "length_m": 10001.0}, {"overnight": False, "length_m": 10000.0}),
        ({"overnight": True, "length_m": 1.0}, {"overnight": False, "length_m": 1.0}),
    ],
    "spare fin": [
        (DAY | {"length_m": 10001.0}, DAY | {"length_m": 10000.0}),
        (DAY | {"overnight": True}, DAY),
        (DAY | {"overnight": True}, DAY | {"overnight": True, "board": False}),
    ],
    "spare leash": [
        ({"board": True, "overnight": True}, {"board": True, "overnight": False}),
        ({"board": True, "overnight": True}, {"board": False, "overnight": True}),
    ],
    "wind at the camp": [
        ({"overnight": True, "camp_wind_ms": 8.01}, {"overnight": True, "camp_wind_ms": 8.0}),
        ({"overnight": True, "camp_wind_ms": 9.0}, {"overnight": False, "camp_wind_ms": 9.0}),
    ],
    "way back": [({"back_m": 1001.0}, {"back_m": 1000.0})],
    "paddling clothes": [({"water_c": 10.0}, {"water_c": 9.9})],
    "wetsuit": [
        ({"water_c": 14.9}, {"water_c": 15.0}),
        ({"water_c": 10.0}, {"water_c": 9.9}),
    ],
    "dress for the water": [({"water_c": 14.9}, {"water_c": 15.0})],
    "dry suit": [({"water_c": 9.9}, {"water_c": 10.0})],
    "warm paddling layer": [({"air_c": 11.9}, {"air_c": 12.0})],
    "cold hands and head": [({"wind_chill_c": 4.9}, {"wind_chill_c": 5.0})],
    "spare paddle": [
        ({"overnight": False, "length_m": 10001.0}, {"overnight": False, "length_m": 10000.0}),
        ({"overnight": True, "length_m": 1.0}, {"overnight": False, "length_m": 1.0}),
    ],
    "repair kit": [
        ({"overnight": False, "length_m": 10001.0}, {"overnight": False, "length_m": 10000.0}),
        ({"overnight": True, "length_m": 1.0}, {"overnight": False, "length_m": 1.0}),
    ],
    "patches": [({"inflatable": True}, {"inflatable": False})],
    "pump": [({"inflatable": True}, {"inflatable": False})],
    "spare pump": [
        ({"inflatable": True, "overnight": True}, {"inflatable": True, "overnight": False}),
        ({"inflatable": True, "overnight": True}, {"inflatable": False, "overnight": True}),
    ],
    "cart or straps": [({"portage_m": 201.0}, {"portage_m": 200.0})],
    "warm jacket": [
        (
            {"overnight": True, "coldest_night_c": 11.9},
            {"overnight": True, "coldest_night_c": 12.0},
        ),
        ({"overnight": True, "coldest_night_c": 5.0}, {"overnight": False}),
    ],
    "insects": [
        ({"overnight": True, "coldest_night_c": 5.0}, {"overnight": True, "coldest_night_c": 4.9}),
        ({"overnight": True, "coldest_night_c": 9.0}, {"overnight": False}),
    ],
    "cold camp": [
        ({"overnight": True, "coldest_night_c": 2.9}, {"overnight": True, "coldest_night_c": 3.0}),
        ({"overnight": True, "coldest_night_c": 2.0}, {"overnight": False}),
    ],
    "no fire": [
        ({"overnight": True, "fires_allowed": False}, {"overnight": True, "fires_allowed": True}),
        ({"overnight": True, "fires_allowed": False}, {"overnight": False}),
    ],
    "second pot": [
        (
            {"overnight": True, "group_size": 4.0, "cooking": "dried"},
            {"overnight": True, "group_size": 3.0, "cooking": "dried"},
        ),
        (
            {"overnight": True, "group_size": 4.0, "cooking": "dried"},
            {"overnight": True, "group_size": 4.0, "cooking": "none"},
        ),
        ({"overnight": True, "group_size": 4.0, "cooking": "dried"}, {"overnight": False}),
    ],
    "fresh cooking": [
        ({"overnight": True, "cooking": "fresh"}, {"overnight": True, "cooking": "dried"}),
        ({"overnight": True, "cooking": "fresh"}, {"overnight": False, "cooking": "fresh"}),
    ],
    "abroad": [({"abroad": True}, {"abroad": False})],
    "radio abroad": [({"abroad": True}, {"abroad": False})],
    "flying": [({"flying": True}, {"flying": False})],
    "batteries and gas cylinders on board": [({"flying": True}, {"flying": False})],
}
for _name in ("spare power", "tent", "tarp", "sleep", "dry set", "head torch", "fire two ways",
              "eating", "water treatment", "toilet", "personal", "spare batteries", "warm hat",
              "load on deck", "tied down", "allowed there"):  # fmt: skip
    BOTH_SIDES[_name] = [({"overnight": True}, {"overnight": False})]
for _name in ("stove", "dishes", "gas that fits"):
    BOTH_SIDES[_name] = [
        ({"overnight": True, "cooking": "dried"}, {"overnight": False, "cooking": "dried"}),
        ({"overnight": True, "cooking": "dried"}, {"overnight": True, "cooking": "none"}),
    ]
ALWAYS = {
    "flotation at hand", "phone", "craft and paddle",
    "whistle", "emergency bag", "knife", "map and compass",
    "trip left ashore", "forecast on the day", "shoes", "sun", "wind jacket",
    "spare dry layer", "water bottle", "rubbish", "money and papers", "board", "kayak", "canoe",
    "watch", "calls checked", "line on the phone", "check in ashore", "trip sheet",
    "back on the craft", "medicines", "first aid",
}  # fmt: skip


def test_every_default_rule_is_tested_on_both_sides_or_holds_always():
    rules = default_rules().rules
    assert {rule.name for rule in rules} == set(BOTH_SIDES) | ALWAYS
    assert all(rule.when.text == "true" for rule in rules if rule.name in ALWAYS)
    assert all(rule.when.text != "true" for rule in rules if rule.name in BOTH_SIDES)


@pytest.mark.parametrize(
    ("name", "inside", "outside"),
    [(name, *pair) for name, pairs in BOTH_SIDES.items() for pair in pairs],
)
def test_both_sides_of_a_default_rule(name, inside, outside):
    lines = applied(name, inside)
    assert lines
    assert not any(line.notes for line in lines)
    assert applied(name, outside) == ()


def holds(condition, values):
    """Whether a condition holds by its own, with the facts it needs all known."""
    if not set(condition.facts) <= set(values):
        return None
    return condition.program().execute({name: values[name] for name in condition.facts})


def test_every_condition_of_the_default_rules_is_crossed_by_a_pair():
    for rule in default_rules().rules:
        if rule.name in BOTH_SIDES:
            assert any(
                holds(rule.when, inside) is True and holds(rule.when, outside) is False
                for inside, outside in BOTH_SIDES[rule.name]
            ), (rule.name, rule.when.text)


def carried(people, **facts):
    """How many of each thing the default rules say to carry on one leg."""
    at = [Context(level, {"group_size": float(people), **facts}, 1, (1,)) for level in LEVELS]
    return {line.item: line.quantity for line in apply_rules(default_rules(), at, people)
            if line.action == "carry"}  # fmt: skip


def test_a_patch_never_comes_without_a_pump():
    day = carried(1, inflatable=True, overnight=False)
    night = carried(1, inflatable=True, overnight=True)
    assert (day["patches, glue and valve key"], day["pump"]) == (1, 1)
    assert (night["patches, glue and valve key"], night["pump"]) == (1, 2)
    assert "pump" not in carried(1, inflatable=False, overnight=True)


@pytest.mark.parametrize(("people", "stoves"), [(1, 1), (4, 1), (5, 2), (8, 2), (9, 3)])
def test_one_stove_and_pot_for_each_four(people, stoves):
    found = carried(people, overnight=True, cooking="dried")
    assert (found["stove with windscreen"], found["pot with lid, 2 L"]) == (stoves, stoves)


@pytest.mark.parametrize(
    "name", ["stove with windscreen", "emergency shelter bag", "tent for two, with pegs", "pump"]
)
def test_of_what_there_are_several_not_all_are_with_one(name):
    assert default_rules().item(name).apart


LEFT_TO_ANOTHER = {"leash", "paddling clothes", "wetsuit"}


def worn(**facts):
    """What the default rules say to wear on one leg."""
    at = [Context(level, facts, 1, (1,)) for level in LEVELS]
    return {line.item: line for line in apply_rules(default_rules(), at, 1)
            if line.action == "wear"}  # fmt: skip


@pytest.mark.parametrize(
    ("facts", "water_c", "suit"),
    [
        (CALM, 15.0, {"paddling clothes, quick-drying, long sleeves"}),
        (CALM, 12.0, {"paddling clothes, quick-drying, long sleeves", "wetsuit"}),
        (CALM, 9.9, {"dry suit with warm layer"}),
        (CALM, None, {"dry suit with warm layer"}),
    ],
)
def test_a_dry_suit_is_worn_in_place_of_the_others(facts, water_c, suit):
    known = {name: value for name, value in facts.items() if name != "water_c"}
    found = worn(**known) if water_c is None else worn(**known, water_c=water_c)
    clothes = "paddling clothes, quick-drying, long sleeves"
    suits = {clothes, "wetsuit", "dry suit with warm layer"}
    assert suits & set(found) == suit
    assert ("buoyancy aid" in found) is (water_c is None or water_c < 15.0)
    for item in ("buoyancy aid", "dry suit with warm layer"):
        if water_c is None:
            assert "unknown: water_c" in found[item].notes[0]


@pytest.mark.parametrize(
    ("moving", "leash"),
    [(False, "leash, ankle or calf"), (True, "quick-release waist leash"),
     (None, "quick-release waist leash")],
)  # fmt: skip
def test_one_leash_and_never_the_ankle_where_the_water_may_move(moving, leash):
    found = worn(**({} if moving is None else {"moving_water": moving}))
    assert [item for item in found if "leash" in item] == [leash]
    assert bool(found[leash].notes) is (moving is None)


def test_a_rule_that_is_skipped_when_unknown_still_tells_what_it_cannot_work_out(tmp_path):
    rules = own(tmp_path, "offshore_m / 0.0 > 1.0 || 1 / 0 > 1", unknown='"skip"')
    assert apply_rules(rules, tuple(contexts([None])), 1) == ()
    (line,) = apply_rules(rules, tuple(contexts([0.0])), 1)
    assert "cannot be worked out" in line.notes[0]


@pytest.mark.parametrize("name", sorted(BOTH_SIDES))
def test_a_default_rule_applies_when_nothing_is_known(name):
    lines = applied(name, {})
    assert bool(lines) is (name not in LEFT_TO_ANOTHER)
    assert all(any("unknown" in note for note in line.notes) for line in lines)


def test_default_rules_have_reasons_sources_and_items():
    rules = default_rules()
    for rule in rules.rules:
        assert rule.why
        assert NO_SOURCE in rule.source or any(
            word in rule.source for word in ("COLREG", "ISO", "ITU", "IATA")
        )
        for name in (*rule.wear, *rule.carry):
            assert np.isfinite(rules.item(name).mass_kg), name
            assert np.isfinite(rules.item(name).volume_m3), name
    used = {n for rule in rules.rules for n in (*rule.wear, *rule.carry)}
    assert used == set(rules.items)
    assert all(item.source == "invented figure" for item in rules.items.values())


def test_what_needs_training_or_a_licence_says_so():
    needs = {rule.name for rule in default_rules().rules if rule.needs}
    assert needs >= {"VHF radio", "beacon", "first aid", "leash on moving water", "tow line",
                     "map and compass", "dry suit"}  # fmt: skip


def test_published_words_in_the_default_set():
    """COLREG 1972 rule 25(d)(ii): electric torch or lighted lantern showing a white light, ready.

    ecolregs.com; channel 16 is 156.800 MHz: ITU RR appendix 18, ofcom.org.uk RA264;
    a hand flare showing a red light and SOS by any method are signals of COLREG 1972 annex IV:
    hawsepipe.net/rr/ANNEX_IV.htm; levels 50, 100, 150, 275: titles and scopes of ISO 12402-5,
    -4, -3, -2 (all accessed 2026-11-25).
    """
    rules = {rule.name: rule for rule in default_rules().rules}
    assert "25(d)(ii)" in rules["light at night"].source
    assert "white light" in rules["light at night"].why
    assert "channel 16, 156.800 MHz" in rules["VHF radio"].why
    signal = rules["distress signal to be seen"]
    assert "annex IV for hand flares showing a red light and for SOS" in signal.source
    assert signal.carry == ("red hand flares, or a light for SOS",)
    assert "level 50 (ISO 12402-5" in rules["flotation at hand"].why
    for words in ("100 (ISO 12402-4)", "150 (12402-3)", "275 (12402-2)"):
        assert words in rules["flotation level"].why


def test_last_minute_of_light():
    """On either side of sunset and of civil dusk, as `routeplan.sun` has them.

    The sun is down when its centre is 0.833° below the horizon (34' refraction, 16' radius: US
    Naval Observatory, Rise, Set, and Twilight Definitions, from memory), dark at 6° below.
    """
    from routeplan.sun import daylight_spells

    lon, lat, minute = 11.2, 58.6, np.timedelta64(1, "m")
    day = np.datetime64("2026-09-10T00:00", "ns")
    for name, altitude in (("sun_down", -0.833), ("darkness", -6.0)):
        spells = daylight_spells(lon, lat, day, day + np.timedelta64(24, "h"), altitude)
        dusk = spells.end[0]
        before = light(lon, lat, dusk - 30 * minute, dusk - minute)
        after = light(lon, lat, dusk - 30 * minute, dusk + minute)
        assert (before[name], after[name]) == (False, True)


def test_facts_are_documented_and_levels_are_ordered():
    assert {fact.level for fact in FACTS.values()} == set(LEVELS)
    assert {fact.kind for fact in FACTS.values()} == {"number", "boolean", "text"}
    for name, fact in FACTS.items():
        assert fact.words
        assert fact.name == name
        assert (fact.low < fact.high) is (fact.kind == "number")
        assert bool(fact.choices) is (fact.kind == "text")


def test_the_finest_fact_sets_the_level(tmp_path):
    for (name, level), low in itertools.product(
        (("nights", "trip"), ("paddled_h", "stage"), ("offshore_m", "leg")), ("0.5",)
    ):
        rule = own(tmp_path, f"alone || {name} > {low}").rules[0]
        assert rule.level == level
    assert own(tmp_path, "nights > 1 && darkness").rules[0].level == "hour"


def test_the_documented_facts_are_the_facts():
    text = (Path(__file__).parent.parent / "docs" / "kit.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\w+)` \| (\w+) \| (\w+)", text, flags=re.MULTILINE)
    assert rows == [(fact.name, fact.level, fact.kind) for fact in FACTS.values()]


def test_rules_that_take_too_long_are_stopped(tmp_path, monkeypatch):
    monkeypatch.setattr("routeplan._kit.apply._SECONDS", -1.0)
    with pytest.raises(InputError, match=r"own.toml:1: rule 'r': the rules take more than -1 s"):
        apply_rules(own(tmp_path, "offshore_m > 5.0"), tuple(contexts([1.0])), 1)


def test_the_default_rules_are_asked_of_many_hours_in_time():
    trip = {"alone": False, "overnight": True, "moving_water": False}
    many = tuple(
        Context("hour", trip | {"offshore_m": float(i), "darkness": i % 2 == 0}, 1, (1,))
        for i in range(20_000)
    )
    begun = time.process_time()
    assert apply_rules(default_rules(), many, 4)
    assert time.process_time() - begun < 10.0

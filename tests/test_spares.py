"""A group's spares against brute force, and what is said when nothing fits."""

import itertools
import math

import numpy as np
import pytest

from routeplan.errors import InputError
from routeplan.rules import Group, Person, Spare, balance, choose_spares, default_spares, read_group

BAG = '[[bag]]\nname = "b"\nowner = "A"\nvolume = "9 L"\nkind = "main"\n'
SYSTEMS = ("box", "slide", "screw")


def person(name, system="", paddle=math.nan):
    return Person(name, fin_system=system, paddle_m=paddle)


def random_group(rng):
    people = tuple(
        person(
            f"p{i}",
            str(rng.choice(SYSTEMS)),
            float(np.round(rng.uniform(1.7, 2.2), 2)),
        )
        for i in range(rng.integers(1, 6))
    )
    spares = []
    for i in range(rng.integers(1, 9)):
        mass = float(np.round(rng.uniform(0.1, 1.0), 3))
        if rng.random() < 0.4:
            fits = tuple(str(s) for s in rng.choice(SYSTEMS, rng.integers(1, 3), replace=False))
            spares.append(Spare(f"s{i}", mass, fits))
        else:
            low = float(np.round(rng.uniform(1.6, 2.1), 2))
            spares.append(Spare(f"s{i}", mass, (), low, low + float(rng.uniform(0.0, 0.3))))
    return Group(people, spares=tuple(spares), paddle_tolerance_m=0.05)


def served(spare, needs, tolerance):
    """Needs that a spare meets, worked out here without the code under test."""
    out = set()
    for key, (what, value) in needs.items():
        if what == "fin" and spare.fits and value in spare.fits:
            out.add(key)
        if what == "paddle" and not spare.fits:
            near = min(max(value, spare.shortest_m), spare.longest_m)
            if abs(value - near) <= tolerance + 1e-9:
                out.add(key)
    return out


def brute_force(group):
    """(fewest, lightest of these, needs that nothing meets)."""
    needs = {}
    for p in group.people:
        needs[p.name, "fin"] = ("fin", p.fin_system)
        needs[p.name, "paddle"] = ("paddle", p.paddle_m)
    meets = [served(s, needs, group.paddle_tolerance_m) for s in group.spares]
    able = set().union(*meets)
    for count in range(len(group.spares) + 1):
        masses = [
            sum(group.spares[i].mass_kg for i in pick)
            for pick in itertools.combinations(range(len(group.spares)), count)
            if set().union(*(meets[i] for i in pick)) >= able
        ]
        if masses:
            return count, min(masses), len(needs) - len(able)
    raise AssertionError


def least_load(masses, loads):
    """Smallest possible load of the most loaded, by trying every way to hand things out."""
    best = math.inf
    for who in itertools.product(range(len(loads)), repeat=len(masses)):
        final = list(loads)
        for mass, i in zip(masses, who, strict=True):
            final[i] += mass
        best = min(best, max(final))
    return best


def test_spares_equal_brute_force_on_300_groups():
    rng = np.random.default_rng(20261125)
    partly = 0
    for _ in range(300):
        group = random_group(rng)
        loads = {p.name: float(rng.uniform(10.0, 12.0)) for p in group.people}
        choice = choose_spares(group, loads)
        count, mass, missing = brute_force(group)
        assert len(choice.chosen) == count
        assert sum(c.spare.mass_kg for c in choice.chosen) == pytest.approx(mass, abs=1e-6)
        assert len(choice.uncovered) == missing
        masses = [c.spare.mass_kg for c in choice.chosen]
        assert choice.heaviest_kg == pytest.approx(
            least_load(masses, list(loads.values())), abs=1e-6
        )
        carried = dict(loads)
        for c in choice.chosen:
            carried[c.carrier] += c.spare.mass_kg
        assert max(carried.values()) == pytest.approx(choice.heaviest_kg, abs=1e-9)
        partly += missing > 0
    assert 20 < partly < 280  # both kinds of group were among them


def test_a_worked_group():
    """Two fin systems, paddles of 1.90 to 2.10 m, 10 cm tolerance: two fins and one paddle."""
    group = Group(
        (person("A", "box", 1.90), person("B", "slide", 2.00), person("C", "box", 2.10)),
        paddle_tolerance_m=0.10,
    )
    choice = choose_spares(group)
    assert sorted(c.spare.name for c in choice.chosen) == [
        "spare fin, box", "spare fin, slide", "spare paddle, 2.00 m",
    ]  # fmt: skip
    paddle = next(c for c in choice.chosen if c.spare.is_paddle)
    assert paddle.serves == ("A", "B", "C")
    assert "within 10 cm of the paddles of A, B, C" in paddle.reason
    assert " kg" not in paddle.reason  # no load that is not everything on the craft
    just_less = Group(group.people, paddle_tolerance_m=0.0999)
    assert sum(c.spare.is_paddle for c in choose_spares(just_less).chosen) == 3


def test_what_no_spare_meets_is_said():
    group = Group(
        (person("A", "box", 2.5), person("B")),
        spares=(Spare("fin", 0.1, ("slide",)), Spare("paddle", 0.8, (), 1.7, 2.1)),
    )
    choice = choose_spares(group)
    assert choice.chosen == ()
    assert choice.uncovered == (
        "no spare fin fits box, which A has",
        "no spare paddle comes near the 2.50 m of A",
    )
    assert [text[:26] for text in choice.unknown] == [
        "the fin system of B is unk", "the paddle length of B is ",
    ]  # fmt: skip


def test_default_spares_name_every_system_and_length_once():
    group = Group((person("A", "box", 2.0), person("B", "box", 2.0), person("C", "slide", 2.1)))
    assert [s.name for s in default_spares(group)] == [
        "spare fin, box", "spare fin, slide", "spare paddle, 2.00 m", "spare paddle, 2.10 m",
    ]  # fmt: skip


def test_a_paddle_serves_its_own_type_of_craft_alone():
    """A kayaker has no use for a single blade, however long it is."""
    people = (Person("K", craft_type="kayak", paddle_m=2.2),
              Person("B", craft_type="board", paddle_m=2.15),
              Person("C", craft_type="board", paddle_m=2.2))  # fmt: skip
    chosen = choose_spares(Group(people)).chosen
    assert {(c.spare.name, c.serves) for c in chosen if "kayak" in c.spare.name} == {
        ("spare paddle, kayak, 2.20 m", ("K",))
    }
    assert sorted(name for c in chosen for name in c.serves) == ["B", "C", "K"]
    blade = Spare("blade", 0.8, (), 2.1, 2.3, "board")
    own = choose_spares(Group(people, spares=(blade,)))
    assert [c.serves for c in own.chosen] == [("B", "C")]
    assert own.uncovered == ("no spare paddle for a kayak comes near the 2.20 m of K",)
    untold = choose_spares(Group(people, spares=(Spare("any", 0.8, (), 2.1, 2.3),)))
    assert len(untold.uncovered) == 3
    alike = Group(people[1:], spares=(Spare("any", 0.8, (), 2.1, 2.3),))
    assert [c.serves for c in choose_spares(alike).chosen] == [("B", "C")]


def test_people_of_whom_the_same_is_unknown_are_named_together():
    (fins, paddles) = choose_spares(Group((person("A"), person("B")))).unknown
    assert fins == "the fin system of A, B is unknown, so no spare is chosen for it"
    assert paddles == "the paddle length of A, B is unknown, so no spare covers it"


def test_balance_of_nothing_and_of_one():
    assert balance([], [3.0, 5.0]) == ([], 5.0)
    assert balance([1.0], [3.0, 5.0]) == ([0], 5.0)


def test_too_many_spares_are_refused():
    spares = tuple(Spare(f"s{i}", 0.1, ("box",)) for i in range(401))
    with pytest.raises(InputError, match="401 spares for 1 people; allowed are 400"):
        choose_spares(Group((person("A", "box", 2.0),), spares=spares))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "0 people; allowed are 1 to 100"),
        ('[[person]]\nname = "A"\nmass = "5 kg"\n', r"g.toml:3: person 'A': mass .*allowed is 20"),
        ('[[person]]\nname = "A"\n[[person]]\nname = "A"\n', r"g.toml:2: .*there twice"),
        ('[[person]]\nname = "A"\nsex = "x"\n', "allowed are female, male"),
        ('[[person]]\nname = "A"\n[[bag]]\nname = "b"\nowner = "Z"\nkind = "day"\nvolume = "1 L"\n',
         r"g.toml:5: bag 'b': owner is 'Z'; allowed are A"),
        ('[[person]]\nname = "A"\n[[bag]]\nname = "b"\nowner = "A"\nkind = "day"\n',
         "volume is missing"),
        ('[[person]]\nname = "A"\nbag_comfort = "0 °C"\nbag_limit = "5 °C"\n', "is warmer than"),
        ('[group]\nmoving_water = ["a"]\n[[person]]\nname = "A"\n', "list of leg numbers"),
        ('[[person]]\nname = "A"\ncraft_type = "raft"\n', ":3: .*allowed are board, kayak, canoe$"),
        ('[group]\nhelp = "500 h"\n[[person]]\nname = "A"\n', ":2: .*allowed is 0 s to 10 d$"),
        ('[[person]]\nname = "A"\n' + 2 * BAG, ":9: bag 'b': name is there twice for A"),
        ('[[person]]\nname = "A"\n' + BAG.replace("9 L", "9000 L"),
         ":6: bag 'b': volume is '9000 L'; allowed is 0.1 L to 1,000 L$"),
        ('[group]\nled = 1\n[[person]]\nname = "A"\n', "allowed are true and false"),
        ('[[person]]\nname = "A"\n[[spare]]\nname = "s"\n', "fits is missing"),
    ],
)  # fmt: skip
def test_a_bad_group_is_refused(tmp_path, text, words):
    path = tmp_path / "g.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=words) as caught:
        read_group(path)
    assert "\n" not in str(caught.value)

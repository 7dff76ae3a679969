"""Packing against trying everything, and what is said when things do not fit."""

import itertools
import math

import numpy as np
import pytest

from routeplan._kit.packfit import PackItem, fair_shares, pack
from routeplan.errors import InputError
from routeplan.rules import Bag

L = 1e-3
FILL = 0.9  # share of a bag's volume that packs; common practice, no source


def bag(name="bag", owner="A", kind="main", litres=10.0):
    return Bag(name, owner, kind, litres / FILL * L)


def thing(name, litres, kg=1.0, owner="A", reach="main", apart="", water=0.0):
    return PackItem(name, owner, kg, litres * L, reach, water, apart)


def packed(items, bags, people=None, capacity=None):
    owners = sorted({b.owner for b in bags})
    return pack(
        items,
        bags,
        people or dict.fromkeys(owners, 70.0),
        capacity or dict.fromkeys(owners, 150.0),
    )


def test_everything_is_packed_once_and_totals_add_up():
    items = [thing(f"t{i}", 1.0 + i, 0.5 * i) for i in range(4)]
    found = packed(items, [bag()])
    assert found.fits is True
    assert sorted(i.name for load in found.bags for i in load.items) == ["t0", "t1", "t2", "t3"]
    assert found.bags[0].used_m3 == pytest.approx(10.0 * L)
    assert found.load_kg["A"] == pytest.approx(70.0 + 3.0)


def test_an_infeasible_set_says_what_and_by_how_much():
    found = packed([thing("tent", 8.0), thing("bag", 4.5), thing("mug", 0.4)], [bag(litres=10.0)])
    assert found.fits is False
    (problem,) = found.problems
    assert problem == (
        "bag (A) takes 10.0 L, its things need 12.9 L: find 2.9 L of room elsewhere, for example "
        "for bag"
    )
    assert found.bags[0].over_m3 == pytest.approx(2.9 * L)


@pytest.mark.parametrize(("litres", "fits"), [(9.0, True), (0.1, False)])
def test_beacon_and_radio_go_to_two_people_even_where_one_has_the_room(litres, fits):
    names = ("beacon", "VHF radio")
    things = [thing(name, 0.4, 0.2, "", "quick", "calls") for name in names]
    bags = [bag("a", "A", "quick", 9.0), bag("b", "B", "quick", litres)]
    found = packed(things, bags, {"A": 50.0, "B": 120.0}, {"A": 150.0, "B": 121.0})
    assert [len(load.items) for load in found.bags] == [1, 1]
    assert found.fits is fits
    alike = [thing(name, 0.4, 0.2, "", "quick") for name in names]
    assert [len(load.items) for load in packed(
        alike, bags, {"A": 50.0, "B": 120.0}, {"A": 150.0, "B": 121.0}).bags] == [2, 0]  # fmt: skip


def test_things_apart_are_spread_over_those_who_can_have_them():
    bags = [bag(owner, owner, litres=50.0) for owner in "AB"]
    gas = [thing("gas", 1.0, 0.4, "", apart="gas") for _ in range(5)]
    light = packed(gas, bags, {"A": 40.0, "B": 120.0}, {"A": 300.0, "B": 300.0})
    assert sorted(len(load.items) for load in light.bags) == [2, 3]
    only = [bag("a", "A", "day"), bag("b", "B", "quick", 1.0)]
    fire = [thing("lighter", 0.1, 0.1, "", "day", "fire"), thing("pot", 9.0, 1.0, "A", "day")]
    assert packed(fire, only).fits is True


@pytest.mark.parametrize("radios", [1, 2])
def test_beacon_and_radio_go_together_where_there_are_too_few_people(radios):
    names = ("beacon", *["VHF radio"] * radios)
    things = [thing(name, 0.4, 0.2, "", "quick", "calls") for name in names]
    bags = [bag(owner, owner, "quick", 9.0) for owner in "AB"[:radios]]
    found = packed(things, bags)
    assert found.fits is True
    assert sum(len(load.items) for load in found.bags) == 1 + radios


def test_a_litre_less_and_a_litre_more():
    items = [thing("a", 6.0), thing("b", 4.0)]
    assert packed(items, [bag(litres=10.0)]).fits is True
    short = packed(items, [bag(litres=9.9)])
    assert short.fits is False
    assert "find 0.1 L of room elsewhere" in short.problems[0]
    bare = packed([thing("map, with compass", 5.0), thing("b", 5.02)], [bag(litres=10.0)])
    assert bare.problems == (
        "bag (A) takes 10.00 L, its things need 10.02 L: find 0.02 L of room elsewhere, for "
        "example for map, with compass",
    )


def test_a_thing_without_a_bag_is_named():
    found = packed([thing("phone", 0.3, reach="quick")], [bag()])
    assert found.fits is False
    assert found.problems == ("no bag of A for phone: 0.3 L in a bag of kind quick",)


def test_things_without_a_bag_are_named_together():
    things = [thing("phone", 0.3, reach="quick"), thing("knife", 0.1, reach="quick"),
              thing("map", 0.2, owner="", reach="quick")]  # fmt: skip
    found = packed(things, [bag()])
    assert found.problems == (
        "no bag of A for phone; knife: 0.4 L in a bag of kind quick",
        "no bag for map: 0.2 L in a bag of kind quick",
    )
    assert found.homeless_kg == 3.0
    assert found.load_kg == {"A": 70.0}


def test_what_does_not_fit_is_shared_out_all_the_same():
    bags = [bag("a", "A", litres=20.0), bag("b", "B", litres=20.0), bag("q", "A", "quick", 0.1)]
    things = [thing(f"x{i}", 1.0, 1.0, "") for i in range(20)]
    found = packed([*things, thing("phone", 0.3, reach="quick")], bags)
    assert found.fits is False
    assert [problem[:5] for problem in found.problems] == ["q (A)"]
    assert [round(one.carried_kg) for one in found.crafts] in ([10, 11], [11, 10])


def test_own_things_stay_with_their_owner_and_shared_ones_move():
    bags = [bag("a", "A", litres=5.0), bag("b", "B", litres=5.0)]
    found = packed([thing("own", 5.0), thing("shared", 5.0, owner="")], bags)
    assert found.fits is True
    assert [load.items[0].name for load in found.bags] == ["own", "shared"]


def test_what_must_be_within_reach_is_never_in_the_main_bag():
    bags = [bag("m", kind="main", litres=50.0), bag("q", kind="quick", litres=2.0),
            bag("d", kind="day", litres=5.0)]  # fmt: skip
    items = [thing("radio", 1.0, reach="quick"), thing("kit", 2.0, reach="day"), thing("pot", 3.0)]
    found = packed(items, bags)
    where = {i.name: load.bag.name for load in found.bags for i in load.items}
    assert where == {"radio": "q", "kit": "d", "pot": "m"}


def test_a_craft_that_carries_too_much_says_by_how_much():
    found = packed([thing("a", 1.0, 5.0)], [bag()], {"A": 97.5}, {"A": 100.0})
    assert found.fits is False
    assert found.problems == (
        "the craft of A carries 102.5 kg, 2.5 kg more than its stated 100 kg",
    )
    assert packed([thing("a", 1.0, 2.5)], [bag()], {"A": 97.5}, {"A": 100.0}).fits is True


def test_the_unknown_never_fits():
    unknown_mass = packed([thing("x", 1.0, math.nan)], [bag()])
    assert unknown_mass.fits is None
    assert unknown_mass.unknown == ("mass or volume of x is unknown and counted as 0",)
    assert packed([thing("x", 1.0)], [bag()], {"A": math.nan}).fits is None
    assert packed([thing("x", 1.0)], [bag()], None, {"A": math.nan}).fits is None
    over = packed([thing("x", 99.0, math.nan)], [bag()])
    assert over.fits is False  # what is known is over already


def test_least_room_missing_equals_trying_everything():
    rng = np.random.default_rng(7)
    for _ in range(60):
        bags = [bag(f"b{j}", "AB"[j % 2], litres=float(rng.uniform(1, 8))) for j in range(3)]
        items = [
            thing(f"t{i}", float(rng.uniform(0.5, 5)), owner=str(rng.choice(["", "A", "B"])))
            for i in range(rng.integers(1, 7))
        ]
        allowed = [[j for j, b in enumerate(bags) if i.owner in ("", b.owner)] for i in items]
        least = min(
            sum(
                max(0.0, sum(i.volume_m3 for i, w in zip(items, who, strict=True) if w == j)
                    - b.volume_m3 * FILL)
                for j, b in enumerate(bags)
            )
            for who in itertools.product(*allowed)
        )  # fmt: skip
        found = packed(items, bags)
        assert found.proved
        assert sum(load.over_m3 for load in found.bags) == pytest.approx(least, abs=2e-9)
        assert found.fits is (least < 1e-8)


def test_shared_things_go_to_whom_they_weigh_least_on():
    bags = [bag("a", "A", litres=90.0), bag("b", "B", litres=90.0)]
    shared = [thing(f"x{i}", 1.0, 1.0, owner="") for i in range(30)]
    people, capacity = {"A": 60.0, "B": 90.0}, {"A": 200.0, "B": 230.0}
    found = packed(shared, bags, people, capacity)
    carried = {craft.owner: craft.carried_kg for craft in found.crafts}
    assert carried == {"A": pytest.approx(13.0), "B": pytest.approx(17.0)}  # as 0.8 to 1
    found = packed(shared, bags, people, {"A": 200.0, "B": 130.0})
    carried = {craft.owner: craft.carried_kg for craft in found.crafts}
    assert carried["B"] < carried["A"]  # the craft has less room left


def test_fair_shares():
    """The smaller of body mass and capacity left, each to its mean: common practice, no source."""
    assert fair_shares({"A": 60.0, "B": 90.0}, {"A": 160.0, "B": 190.0}) == {
        "A": pytest.approx(0.8), "B": pytest.approx(1.0),
    }  # fmt: skip
    assert fair_shares({"A": 60.0, "B": 90.0}, {"A": 100.0, "B": 190.0})["A"] == pytest.approx(
        40.0 / 70.0
    )
    unknown = fair_shares({"A": math.nan, "B": 90.0}, {"A": math.nan, "B": math.nan})
    assert unknown == {"A": 1.0, "B": 1.0}
    assert fair_shares({"A": 90.0}, {"A": 80.0})["A"] == 1.0  # too heavy already: the only one


def test_the_fairest_of_all_ways_to_share():
    """The largest load over its fair share is within 0.5 % of the least of trying everything."""
    rng = np.random.default_rng(11)
    for _ in range(20):
        people = {name: float(rng.uniform(50, 100)) for name in "ABC"}
        capacity = {name: float(rng.uniform(150, 200)) for name in "ABC"}
        bags = [bag(name, name, litres=100.0) for name in "ABC"]
        items = [thing(f"t{i}", 1.0, float(rng.uniform(0.5, 8.0)), "") for i in range(6)]
        shares = fair_shares(people, capacity)

        def largest(who, items=items, shares=shares):
            sums = dict.fromkeys("ABC", 0.0)
            for item, name in zip(items, who, strict=True):
                sums[name] += item.mass_kg
            return max(sums[name] / shares[name] for name in sums)

        least = min(largest(who) for who in itertools.product("ABC", repeat=6))
        found = packed(items, bags, people, capacity)
        got = max(craft.carried_kg / shares[craft.owner] for craft in found.crafts)
        assert got == pytest.approx(least, rel=0.0051)


def test_water_is_in_bags_with_room_and_counted_apart():
    bags = [bag("e", kind="extra", litres=11.0), bag("m", kind="main", litres=20.0)]
    water = [thing("container", 5.25, 5.1, "", "water", water=5.0) for _ in range(4)]
    found = packed([*water, thing("tent", 8.0, 2.0)], bags)
    assert found.fits is True
    assert [load.water_kg for load in found.bags] == [10.0, 10.0]
    (craft,) = found.crafts
    assert (craft.water_kg, craft.bags_kg, craft.worn_kg) == (20.0, pytest.approx(2.4), 0.0)
    assert craft.carried_kg == pytest.approx(22.4)
    more = packed([*water, *water, thing("tent", 8.0, 2.0)], bags)
    assert more.fits is False
    assert "container" in more.problems[0]


def test_what_is_worn_is_on_nobodys_bag_but_counts():
    found = packed([thing("shoes", 3.0, 0.6, reach="worn"), thing("pot", 1.0, 0.5)], [bag()])
    (craft,) = found.crafts
    assert ([item.name for item in craft.worn], craft.worn_kg) == (["shoes"], 0.6)
    assert craft.load_kg == pytest.approx(71.1)
    assert craft.left_kg == pytest.approx(78.9)
    assert found.owners_of("shoes") == ("A",)


def test_too_many_things_are_refused():
    with pytest.raises(InputError, match="2,001 different things to pack; allowed are 2,000"):
        packed([thing(f"x{i}", 1.0) for i in range(2_001)], [bag()])
    with pytest.raises(InputError, match="50,001 pieces to pack; allowed are 50,000"):
        packed([thing("x", 1.0)] * 50_001, [bag()])


def test_many_alike_are_packed_at_once():
    containers = [thing("container", 5.0, 5.0, "", "water", water=4.9)] * 3_000
    bags = [bag(owner, owner, litres=8_000.0) for owner in "AB"]
    found = packed(containers, bags, capacity={"A": 1e5, "B": 1e5})
    assert found.fits is True
    assert [len(load.items) for load in found.bags] == [1_500, 1_500]

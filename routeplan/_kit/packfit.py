"""Things packed into bags on craft: what fits, what does not and by how much."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from routeplan._kit.group import Bag
from routeplan.errors import InputError

__all__ = ["BagLoad", "PackItem", "Packing", "pack"]

FloatArray = NDArray[np.float64]
_Row = tuple[FloatArray, float, float]  # coefficients, least, most

# In which bags a thing may go by where it has to be; the first are within reach on the water.
_ALLOWED = {
    "quick": ("quick",),
    "day": ("day", "quick"),
    "main": ("main", "extra", "day"),
    "deck": ("deck",),
}
_FILL = 0.9  # share of a bag's volume that packs, the rest is folds; assumption, no source
_LITRE = 1e-3
_OVER_L_KG = 1.0  # a kilogram over a craft's capacity counts as a litre too little room
_APART = ("beacon", "VHF radio")  # whoever drifts off alone must not have every way to call
_NOTHING = 1e-6  # litres or kilograms that count as none
_UNTIDY = 2e-3  # weight of a thing in a bag of another kind beside the largest share of load
_SECONDS = 10.0
_MAX_ITEMS = 2_000


@dataclass(frozen=True, slots=True)
class PackItem:
    """One thing to pack: `owner` a person, or "" for what anybody may carry."""

    name: str
    owner: str
    mass_kg: float
    volume_m3: float
    reach: str


@dataclass(frozen=True, slots=True)
class BagLoad:
    """A packed bag: its things, mass [kg], volume used and room for things [m³]."""

    bag: Bag
    items: tuple[PackItem, ...]
    mass_kg: float
    used_m3: float
    room_m3: float

    @property
    def over_m3(self) -> float:
        """How much more room it would need [m³]; 0 when all fits."""
        return max(0.0, self.used_m3 - self.room_m3)


@dataclass(frozen=True, slots=True)
class Packing:
    """Where everything goes.

    `fits` is None when a mass, a volume or a capacity is unknown and nothing known is over.
    `problems` are sentences on what does not fit and by how much, `unknown` on what is not known.
    `load_kg` by person is all on the craft, the person included; nan unknown. `proved` says
    whether no other packing needs less room.
    """

    bags: tuple[BagLoad, ...]
    homeless: tuple[PackItem, ...]
    load_kg: Mapping[str, float]
    fits: bool | None
    problems: tuple[str, ...]
    unknown: tuple[str, ...]
    proved: bool


def pack(
    items: Sequence[PackItem],
    bags: Sequence[Bag],
    fixed_kg: Mapping[str, float],
    capacity_kg: Mapping[str, float],
) -> Packing:
    """Pack things so that the least room is missing, and then evenly.

    An integer program: every thing goes into one bag that suits its reach, that of its owner or,
    for shared things, of anybody. Shared beacons and radios go to one person each where there are
    people enough. Room that is missing in bags and kilograms over the capacity
    of craft are made as small as can be; then the load that is largest as a share of its
    capacity.

    Parameters
    ----------
    items : sequence of PackItem
        Those of unknown mass or volume count as 0 and are named.
    bags : sequence of Bag
        Nine tenths of their volume can be used (assumption).
    fixed_kg : mapping
        On each craft already: the person, what is worn, water; nan unknown. [kg]
    capacity_kg : mapping
        What each craft may carry in all; nan unknown. [kg]

    Raises
    ------
    InputError
        More things than can be packed.
    """
    if len(items) > _MAX_ITEMS:
        msg = f"{len(items):,} things to pack; allowed are {_MAX_ITEMS:,}"
        raise InputError(msg, field="items", value=len(items))
    worn = [item for item in items if item.reach == "worn"]
    loose = [item for item in items if item.reach != "worn"]
    pairs = [
        (i, j)
        for i, item in enumerate(loose)
        for j, bag in enumerate(bags)
        if bag.kind in _ALLOWED[item.reach] and item.owner in ("", bag.owner)
    ]
    housed = {i for i, _ in pairs}
    homeless = tuple(item for i, item in enumerate(loose) if i not in housed)
    base = {
        name: kg + sum(_number(item.mass_kg) for item in worn if item.owner == name)
        for name, kg in fixed_kg.items()
    }
    where, proved = _solve(loose, bags, pairs, base, capacity_kg)
    loads = tuple(
        _bag_load(bag, [loose[i] for i, k in where.items() if k == j]) for j, bag in enumerate(bags)
    )
    return _packing(items, loads, homeless, base, capacity_kg, proved)


def _number(value: float) -> float:
    return value if math.isfinite(value) else 0.0


def _solve(
    items: Sequence[PackItem],
    bags: Sequence[Bag],
    pairs: Sequence[tuple[int, int]],
    base: Mapping[str, float],
    capacity_kg: Mapping[str, float],
) -> tuple[dict[int, int], bool]:
    """Bag of each thing that has one, and whether no other packing needs less room.

    Columns: which pair, litres missing in each bag, kilograms over on each craft, largest share.
    """
    if not pairs:
        return {}, True
    people = [name for name in base if math.isfinite(capacity_kg.get(name, math.nan))]
    x, slack = len(pairs), len(bags)
    width = x + slack + len(people) + 1
    rows = [
        *_once(pairs, width),
        *_rooms(items, bags, pairs, width),
        *_limits(items, bags, pairs, {n: (_number(base[n]), capacity_kg[n]) for n in people}),
        *_apart(items, bags, pairs, width),
    ]
    least = np.zeros(width)  # room missing, before anything else
    least[x : x + slack] = 1.0
    least[x + slack : -1] = _OVER_L_KG
    found = _best(least, x, rows, np.inf)
    if found.status == 0 and found.fun < _NOTHING:
        even = np.zeros(width)
        even[-1] = 1.0
        even[:x] = [_UNTIDY * (_ALLOWED[items[i].reach][0] != bags[j].kind) for i, j in pairs]
        better = _best(even, x, rows, _NOTHING)
        return _chosen(found if better.x is None else better, pairs), True
    return _chosen(found, pairs), bool(found.status == 0)


def _once(pairs: Sequence[tuple[int, int]], width: int) -> Iterator[_Row]:
    """Every thing goes into one bag."""
    for i in sorted({i for i, _ in pairs}):
        once = np.zeros(width)
        once[[k for k, (a, _) in enumerate(pairs) if a == i]] = 1.0
        yield once, 1.0, 1.0


def _apart(
    items: Sequence[PackItem], bags: Sequence[Bag], pairs: Sequence[tuple[int, int]], width: int
) -> Iterator[_Row]:
    """Nobody has both a shared beacon and a shared radio, where there are people enough."""
    of = [(k, i, bags[j].owner) for k, (i, j) in enumerate(pairs)]
    shared = [(k, i, who) for k, i, who in of if items[i].name in _APART and not items[i].owner]
    owners = dict.fromkeys(who for _, _, who in shared)
    things = {i for _, i, _ in shared}
    if len({items[i].name for i in things}) < len(_APART) or len(things) > len(owners):
        return
    if len({items[i].reach for i in things}) > 1:  # fewer people may be able to have one of them
        return
    for owner in owners:
        both = np.zeros(width)
        both[[k for k, _, who in shared if who == owner]] = 1.0
        yield both, -np.inf, 1.0


def _rooms(
    items: Sequence[PackItem], bags: Sequence[Bag], pairs: Sequence[tuple[int, int]], width: int
) -> Iterator[_Row]:
    """What goes into a bag is at most its room and what is missing [L]."""
    for j, bag in enumerate(bags):
        room = np.zeros(width)
        for k, (i, b) in enumerate(pairs):
            if b == j:
                room[k] = _number(items[i].volume_m3) / _LITRE
        room[len(pairs) + j] = -1.0
        yield room, -np.inf, bag.volume_m3 * _FILL / _LITRE


def _limits(
    items: Sequence[PackItem],
    bags: Sequence[Bag],
    pairs: Sequence[tuple[int, int]],
    crafts: Mapping[str, tuple[float, float]],
) -> Iterator[_Row]:
    """What a craft carries is at most its capacity and what is over; shares of it at most one."""
    first = len(pairs) + len(bags)
    for p, (name, (base, capacity)) in enumerate(crafts.items()):
        limit, share = np.zeros(first + len(crafts) + 1), np.zeros(first + len(crafts) + 1)
        for k, (i, j) in enumerate(pairs):
            if bags[j].owner == name:
                limit[k] = _number(items[i].mass_kg)
        share[: len(pairs)] = limit[: len(pairs)] / capacity
        limit[first + p] = -1.0
        share[-1] = -1.0
        yield limit, -np.inf, capacity - base
        yield share, -np.inf, -base / capacity


def _best(cost: FloatArray, pairs: int, rows: Sequence[_Row], missing: float) -> Any:
    """Least of a cost with at most so much room missing in any bag or craft."""
    from scipy.optimize import Bounds, LinearConstraint, milp  # slow to load

    columns, low, high = (np.array(part) for part in zip(*rows, strict=True))
    top = np.full(cost.size, missing)
    top[:pairs] = 1.0
    top[-1] = np.inf
    kinds = np.zeros(cost.size)
    kinds[:pairs] = 1.0
    return milp(
        cost,
        integrality=kinds,
        bounds=Bounds(0.0, top),
        constraints=LinearConstraint(columns, low, high),
        options={"time_limit": _SECONDS, "mip_rel_gap": 0.02 if missing < 1.0 else 0.0},
    )


def _chosen(found: Any, pairs: Sequence[tuple[int, int]]) -> dict[int, int]:
    if found.x is None:
        msg = f"the bags could not be packed in {_SECONDS:g} s; give fewer things or larger bags"
        raise InputError(msg, field="bag")
    return {i: j for (i, j), value in zip(pairs, found.x, strict=False) if value > 0.5}


def _bag_load(bag: Bag, items: Sequence[PackItem]) -> BagLoad:
    return BagLoad(
        bag,
        tuple(items),
        sum(_number(item.mass_kg) for item in items),
        sum(_number(item.volume_m3) for item in items),
        bag.volume_m3 * _FILL,
    )


def _packing(
    items: Sequence[PackItem],
    loads: tuple[BagLoad, ...],
    homeless: tuple[PackItem, ...],
    base: Mapping[str, float],
    capacity_kg: Mapping[str, float],
    proved: bool,
) -> Packing:
    load_kg = {
        name: kg + sum(load.mass_kg for load in loads if load.bag.owner == name)
        for name, kg in base.items()
    }
    problems = [_bag_problem(load) for load in loads if load.over_m3 > _NOTHING * _LITRE]
    problems += [
        f"no bag for {item.name}{f' of {item.owner}' if item.owner else ''}: "
        f"{_number(item.volume_m3) / _LITRE:.1f} L {_reach_words(item)}"
        for item in homeless
    ]
    unknown = sorted(
        {
            f"mass or volume of {item.name} is unknown and counted as 0"
            for item in items
            if not math.isfinite(item.mass_kg + item.volume_m3)
        }
    )
    if not proved:
        unknown.append("the search was stopped in time: another packing may need less room")
    for name, load in load_kg.items():
        capacity = capacity_kg.get(name, math.nan)
        if load > capacity:
            problems.append(
                f"the craft of {name} carries {load:.1f} kg, {load - capacity:.1f} kg more than "
                f"its stated {capacity:g} kg"
            )
        elif not math.isfinite(load + capacity):
            unknown.append(f"load or capacity of the craft of {name} is unknown")
    fits = False if problems else None if unknown else True
    return Packing(loads, homeless, load_kg, fits, tuple(problems), tuple(unknown), proved)


def _reach_words(item: PackItem) -> str:
    return f"in a bag of kind {' or '.join(_ALLOWED[item.reach])}"


def _bag_problem(load: BagLoad) -> str:
    """How much room is missing, and the fewest things that make up for it."""
    out: list[str] = []
    left = load.over_m3
    for item in sorted(load.items, key=lambda it: _number(it.volume_m3), reverse=True):
        if left <= 0.0:
            break
        rest = [i for i in load.items if i.name not in out and _number(i.volume_m3) >= left]
        pick = min(rest, key=lambda it: it.volume_m3) if rest else item
        out.append(pick.name)
        left -= _number(pick.volume_m3)
    return (
        f"{load.bag.name} ({load.bag.owner}) takes {load.room_m3 / _LITRE:.1f} L and would have to "
        f"take {load.used_m3 / _LITRE:.1f} L: {load.over_m3 / _LITRE:.1f} L too much, for example "
        f"{', '.join(out)}"
    )

"""Things packed into bags on craft: the least room missing, then a fair share for everybody."""

from __future__ import annotations

import functools
import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from routeplan._kit.group import Bag
from routeplan._kit.packed import ALLOWED, BagLoad, Packing, PackItem, known, packing_of
from routeplan.errors import InputError

__all__ = ["BagLoad", "PackItem", "Packing", "fair_shares", "pack"]

FloatArray = NDArray[np.float64]
_Row = tuple[FloatArray, float, float]  # coefficients, least, most

_FILL = 0.9  # share of a bag's volume that packs, the rest is folds; assumption, no source
_LITRE = 1e-3
_OVER_L_KG = 1.0  # a kilogram over a craft's capacity counts as a litre too little room
_NOTHING = 1e-6  # litres or kilograms that count as none
_UNTIDY_KG = 0.05  # what each step to a less fitting kind of bag counts, as load of the fullest
_EVEN = 0.005  # the largest share is the least possible within this share of it
_SECONDS = 10.0
_MAX_THINGS, _MAX_PIECES = 2_000, 50_000


@dataclass(frozen=True, slots=True)
class _Problem:
    """What is packed: different things, how many of each, and which bag each may go into.

    `pairs` are the columns: (thing, bag). `base_kg` is on each craft already, with the person;
    `worn_kg` without; `shares` as of `fair_shares`.
    """

    things: tuple[PackItem, ...]
    counts: tuple[int, ...]
    bags: tuple[Bag, ...]
    pairs: tuple[tuple[int, int], ...]
    base_kg: Mapping[str, float]
    worn_kg: Mapping[str, float]
    capacity_kg: Mapping[str, float]
    shares: Mapping[str, float]

    @property
    def limited(self) -> list[str]:
        """People of whom the capacity of the craft is known."""
        return [n for n in self.base_kg if math.isfinite(self.capacity_kg.get(n, math.nan))]

    @property
    def width(self) -> int:
        """Columns: pairs, litres missing in each bag, kilograms over on crafts, largest load."""
        return len(self.pairs) + len(self.bags) + len(self.limited) + 1


def pack(
    items: Sequence[PackItem],
    bags: Sequence[Bag],
    people_kg: Mapping[str, float],
    capacity_kg: Mapping[str, float],
) -> Packing:
    """Pack things so that the least room is missing, and then with a fair share for everybody.

    An integer program: every thing goes into one bag that suits its reach, that of its owner or,
    for shared things, of anybody; shared things that belong apart go to different people as far
    as there are people. Room that is missing in bags and kilograms over the capacity of craft are
    made as small as can be; then what people carry as a share of `fair_shares`, for the one with
    the largest, to within 0.5 %.

    Parameters
    ----------
    items : sequence of PackItem
        Those of unknown mass or volume count as 0 and are named.
    bags : sequence of Bag
        Nine tenths of their volume can be used (assumption).
    people_kg : mapping
        Body mass of everybody; nan unknown. [kg]
    capacity_kg : mapping
        What each craft may carry in all; nan unknown. [kg]

    Raises
    ------
    InputError
        More things than can be packed.
    """
    for many, most, what in (
        (len(set(items)), _MAX_THINGS, "different things"),
        (len(items), _MAX_PIECES, "pieces"),
    ):
        if many > most:
            msg = f"{many:,} {what} to pack; allowed are {most:,}"
            raise InputError(msg, field="items", value=many)
    return _packed(tuple(items), tuple(bags), *map(_pairs, (people_kg, capacity_kg)))


def _pairs(table: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    return tuple(table.items())


@functools.lru_cache(maxsize=32)  # a plan whose limits change packs the same things again
def _packed(
    items: tuple[PackItem, ...],
    bags: tuple[Bag, ...],
    people: tuple[tuple[str, float], ...],
    capacity: tuple[tuple[str, float], ...],
) -> Packing:
    people_kg, capacity_kg = dict(people), dict(capacity)
    problem = _problem(items, bags, people_kg, capacity_kg)
    housed = {i for i, _ in problem.pairs}
    homeless = tuple(
        thing
        for i, thing in enumerate(problem.things)
        if i not in housed
        for _ in range(problem.counts[i])
    )
    where, proved = _solve(problem)
    loads = tuple(
        _bag_load(
            bag,
            [problem.things[i] for (i, k), n in where.items() if k == j for _ in range(n)],
        )
        for j, bag in enumerate(bags)
    )
    return packing_of(items, loads, homeless, people_kg, capacity_kg, proved=proved)


def fair_shares(
    people_kg: Mapping[str, float], capacity_kg: Mapping[str, float]
) -> dict[str, float]:
    """How much each can carry against the others: 1 for the mean.

    The smaller of body mass against the mean and capacity left on the craft against the mean, so
    that neither the lightest nor the smallest craft is overloaded; what is unknown counts as the
    mean. Common practice, no source.
    """
    left = {
        name: max(1.0, capacity_kg.get(name, math.nan) - kg)
        if math.isfinite(capacity_kg.get(name, math.nan) - kg)
        else math.nan
        for name, kg in people_kg.items()
    }
    mass, room = _against_mean(people_kg), _against_mean(left)
    return {name: min(mass[name], room[name]) for name in people_kg}


def _against_mean(values: Mapping[str, float]) -> dict[str, float]:
    told = [value for value in values.values() if math.isfinite(value) and value > 0.0]
    mean = math.fsum(told) / len(told) if told else 1.0
    return {n: v / mean if math.isfinite(v) and v > 0.0 else 1.0 for n, v in values.items()}


def _problem(
    items: Sequence[PackItem],
    bags: tuple[Bag, ...],
    people_kg: Mapping[str, float],
    capacity_kg: Mapping[str, float],
) -> _Problem:
    # Like things are one column each: without that the search would try them in every order.
    loose = Counter(item for item in items if item.reach != "worn")
    things = tuple(loose)
    worn = {
        name: math.fsum(
            known(item.mass_kg) for item in items if item.reach == "worn" and item.owner == name
        )
        for name in people_kg
    }
    pairs = tuple(
        (i, j)
        for i, item in enumerate(things)
        for j, bag in enumerate(bags)
        if bag.kind in ALLOWED[item.reach] and item.owner in ("", bag.owner)
    )
    return _Problem(
        things,
        tuple(loose.values()),
        bags,
        pairs,
        {name: known(kg) + worn[name] for name, kg in people_kg.items()},
        worn,
        capacity_kg,
        fair_shares(people_kg, capacity_kg),
    )


def _solve(problem: _Problem) -> tuple[dict[tuple[int, int], int], bool]:
    """How many of each thing go into each bag, and whether no other packing needs less room."""
    x, bags = len(problem.pairs), len(problem.bags)
    if not x:
        return {}, True
    rows = [
        *_all_packed(problem),
        *_rooms(problem),
        *_capacities(problem),
        *_loads(problem),
        *_apart(problem),
    ]
    least = np.zeros(problem.width)  # room missing, before anything else
    least[x : x + bags] = 1.0
    least[x + bags : -1] = _OVER_L_KG
    found = _best(problem, least, rows, 0.0)
    if found.status != 0:
        return _chosen(found, problem), False
    even = np.zeros(problem.width)
    even[-1] = 1.0
    even[:x] = [
        _UNTIDY_KG * ALLOWED[problem.things[i].reach].index(problem.bags[j].kind)
        for i, j in problem.pairs
    ]
    no_more = (least, -np.inf, found.fun + _NOTHING)
    better = _best(problem, even, [*rows, no_more], _EVEN)
    return _chosen(found if better.x is None else better, problem), True


def _all_packed(problem: _Problem) -> Iterator[_Row]:
    """Every thing goes into a bag."""
    for i in sorted({i for i, _ in problem.pairs}):
        row = np.zeros(problem.width)
        row[[k for k, (a, _) in enumerate(problem.pairs) if a == i]] = 1.0
        yield row, problem.counts[i], problem.counts[i]


def _rooms(problem: _Problem) -> Iterator[_Row]:
    """What goes into a bag is at most its room and what is missing [L]."""
    for j, bag in enumerate(problem.bags):
        row = np.zeros(problem.width)
        for k, (i, b) in enumerate(problem.pairs):
            if b == j:
                row[k] = known(problem.things[i].volume_m3) / _LITRE
        row[len(problem.pairs) + j] = -1.0
        yield row, -np.inf, bag.volume_m3 * _FILL / _LITRE


def _packed_kg(problem: _Problem, name: str) -> FloatArray:
    """Mass of what goes into the bags of a person, as a row."""
    row = np.zeros(problem.width)
    for k, (i, j) in enumerate(problem.pairs):
        if problem.bags[j].owner == name:
            row[k] = known(problem.things[i].mass_kg)
    return row


def _capacities(problem: _Problem) -> Iterator[_Row]:
    """What a craft carries is at most its capacity and what is over [kg]."""
    for p, name in enumerate(problem.limited):
        row = _packed_kg(problem, name)
        row[len(problem.pairs) + len(problem.bags) + p] = -1.0
        yield row, -np.inf, problem.capacity_kg[name] - problem.base_kg[name]


def _loads(problem: _Problem) -> Iterator[_Row]:
    """What anybody carries, over their fair share, is at most the largest."""
    for name, share in problem.shares.items():
        row = _packed_kg(problem, name) / share
        row[-1] = -1.0
        yield row, -np.inf, -problem.worn_kg[name] / share


def _apart(problem: _Problem) -> Iterator[_Row]:
    """Shared things of one kind are spread over as many people as can have them."""
    shared = {i: t.apart for i, t in enumerate(problem.things) if t.apart and not t.owner}
    for kind in dict.fromkeys(shared.values()):
        owners = {
            i: frozenset(problem.bags[j].owner for a, j in problem.pairs if a == i)
            for i, of in shared.items()
            if of == kind
        }
        if len(set(owners.values())) != 1:  # not everybody can have each of them
            continue
        people = next(iter(owners.values()))
        most = math.ceil(sum(problem.counts[i] for i in owners) / max(1, len(people)))
        for owner in sorted(people):
            row = np.zeros(problem.width)
            for k, (i, j) in enumerate(problem.pairs):
                row[k] = float(i in owners and problem.bags[j].owner == owner)
            yield row, -np.inf, most


def _best(problem: _Problem, cost: FloatArray, rows: Sequence[_Row], within: float) -> Any:
    """Least of a cost, to within a share of it."""
    from scipy.optimize import Bounds, LinearConstraint, milp  # slow to load

    columns, low, high = (np.array(part) for part in zip(*rows, strict=True))
    x = len(problem.pairs)
    top = np.full(problem.width, np.inf)
    top[:x] = [problem.counts[i] for i, _ in problem.pairs]
    kinds = np.zeros(problem.width)
    kinds[:x] = 1.0
    return milp(
        cost,
        integrality=kinds,
        bounds=Bounds(0.0, top),
        constraints=LinearConstraint(columns, low, high),
        options={"time_limit": _SECONDS, "mip_rel_gap": within},
    )


def _chosen(found: Any, problem: _Problem) -> dict[tuple[int, int], int]:
    if found.x is None:
        msg = f"the bags could not be packed in {_SECONDS:g} s; give fewer things or larger bags"
        raise InputError(msg, field="bag")
    return {pair: round(n) for pair, n in zip(problem.pairs, found.x, strict=False) if n > 0.5}


def _bag_load(bag: Bag, items: Sequence[PackItem]) -> BagLoad:
    return BagLoad(
        bag,
        tuple(items),
        math.fsum(known(item.mass_kg) for item in items),
        math.fsum(known(item.volume_m3) for item in items),
        bag.volume_m3 * _FILL,
    )

"""Things, packed bags and loaded craft as values, and what is said where they do not fit."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from routeplan._kit.group import Bag

__all__ = ["ALLOWED", "BagLoad", "CraftLoad", "PackItem", "Packing", "known", "packing_of"]

# In which bags a thing may go by where it has to be; the first suits best. Those of "quick" and
# "day" are within reach on the water.
ALLOWED: Mapping[str, tuple[str, ...]] = {
    "quick": ("quick",),
    "day": ("day", "quick"),
    "main": ("main", "extra", "day"),
    "deck": ("deck", "day"),
    "water": ("extra", "main", "deck", "day"),
}
_LITRE = 1e-3
_NOTHING_M3 = 1e-9
_SEEN_M3 = 0.1e-3  # shows in tenths of a litre


@dataclass(frozen=True, slots=True)
class PackItem:
    """One thing to pack: `owner` a person, or "" for what anybody may carry.

    `reach` is where it has to be: "worn" or a key of `ALLOWED`. `water_kg` of `mass_kg` is
    drinking water. Shared things of one `apart` go to different people.
    """

    name: str
    owner: str
    mass_kg: float
    volume_m3: float
    reach: str
    water_kg: float = 0.0
    apart: str = ""


@dataclass(frozen=True, slots=True)
class BagLoad:
    """A packed bag: its things, mass with water [kg], volume used and room for things [m³]."""

    bag: Bag
    items: tuple[PackItem, ...]
    mass_kg: float
    used_m3: float
    room_m3: float

    @property
    def over_m3(self) -> float:
        """How much more room it would need [m³]; 0 when all fits."""
        return max(0.0, self.used_m3 - self.room_m3)

    @property
    def water_kg(self) -> float:
        """Drinking water in it [kg]."""
        return math.fsum(item.water_kg for item in self.items)

    @property
    def dry_kg(self) -> float:
        """Everything in it but the drinking water [kg]."""
        return self.mass_kg - self.water_kg


@dataclass(frozen=True, slots=True)
class CraftLoad:
    """What one person takes: bags without water, drinking water, worn or in hand [kg].

    `worn` are the things worn or in hand; `person_kg`, `capacity_kg` nan where unknown.
    """

    owner: str
    person_kg: float
    capacity_kg: float
    worn: tuple[PackItem, ...]
    bags_kg: float
    water_kg: float
    worn_kg: float

    @property
    def carried_kg(self) -> float:
        """Everything but the person [kg]."""
        return self.bags_kg + self.water_kg + self.worn_kg

    @property
    def load_kg(self) -> float:
        """Everything on the craft, the person included [kg]."""
        return self.person_kg + self.carried_kg

    @property
    def left_kg(self) -> float:
        """Stated capacity that is left; negative when it is not enough [kg]."""
        return self.capacity_kg - self.load_kg


@dataclass(frozen=True, slots=True)
class Packing:
    """Where everything goes.

    `fits` is None when a mass, a volume or a capacity is unknown and nothing known is over.
    `problems` are sentences on what does not fit and by how much, `unknown` on what is not known.
    `homeless` things found no bag. `proved` says whether no other packing needs less room.
    """

    bags: tuple[BagLoad, ...]
    crafts: tuple[CraftLoad, ...]
    homeless: tuple[PackItem, ...]
    fits: bool | None
    problems: tuple[str, ...]
    unknown: tuple[str, ...]
    proved: bool

    @property
    def homeless_kg(self) -> float:
        """Mass of the things without a bag, which no load counts [kg]."""
        return math.fsum(known(item.mass_kg) for item in self.homeless)

    @property
    def load_kg(self) -> dict[str, float]:
        """All on each craft by name, the person included [kg]; nan unknown."""
        return {craft.owner: craft.load_kg for craft in self.crafts}

    def owners_of(self, name: str) -> tuple[str, ...]:
        """Who has the things of a name, one name a piece."""
        worn = [craft.owner for craft in self.crafts for item in craft.worn if item.name == name]
        packed = [load.bag.owner for load in self.bags for i in load.items if i.name == name]
        return (*worn, *packed)


def known(value: float) -> float:
    """The value; 0 for one that is not known."""
    return value if math.isfinite(value) else 0.0


def packing_of(
    items: Sequence[PackItem],
    loads: tuple[BagLoad, ...],
    homeless: tuple[PackItem, ...],
    people_kg: Mapping[str, float],
    capacity_kg: Mapping[str, float],
    *,
    proved: bool,
) -> Packing:
    """What was packed, with what does not fit and what is not known."""
    crafts = tuple(
        _craft(name, kg, capacity_kg.get(name, math.nan), items, loads)
        for name, kg in people_kg.items()
    )
    problems = [_bag_problem(load) for load in loads if load.over_m3 > _NOTHING_M3]
    problems += _homeless_problems(homeless)
    problems += [_craft_problem(craft) for craft in crafts if craft.left_kg < -1e-9]
    unknown = sorted(
        {
            f"mass or volume of {item.name} is unknown and counted as 0"
            for item in items
            if not math.isfinite(item.mass_kg + item.volume_m3)
        }
    )
    if not proved:
        unknown.append("the search was stopped in time: another packing may need less room")
    unknown += [
        f"load or capacity of the craft of {craft.owner} is unknown"
        for craft in crafts
        if not math.isfinite(craft.left_kg)
    ]
    fits = False if problems else None if unknown else True
    return Packing(loads, crafts, homeless, fits, tuple(problems), tuple(unknown), proved)


def _craft(
    name: str,
    person_kg: float,
    capacity_kg: float,
    items: Sequence[PackItem],
    loads: Sequence[BagLoad],
) -> CraftLoad:
    own = [load for load in loads if load.bag.owner == name]
    worn = tuple(item for item in items if item.reach == "worn" and item.owner == name)
    return CraftLoad(
        name,
        person_kg,
        capacity_kg,
        worn,
        math.fsum(load.dry_kg for load in own),
        math.fsum(load.water_kg for load in own),
        math.fsum(known(item.mass_kg) for item in worn),
    )


def _homeless_problems(homeless: Sequence[PackItem]) -> list[str]:
    """One sentence for what one person has that wants one kind of bag."""
    alike: dict[tuple[str, str], list[PackItem]] = {}
    for item in homeless:
        alike.setdefault((item.owner, item.reach), []).append(item)
    return [
        f"no bag{f' of {owner}' if owner else ''} for {'; '.join(item.name for item in items)}: "
        f"{math.fsum(known(item.volume_m3) for item in items) / _LITRE:.1f} L in a bag of kind "
        f"{' or '.join(ALLOWED[reach])}"
        for (owner, reach), items in alike.items()
    ]


def _craft_problem(craft: CraftLoad) -> str:
    return (
        f"the craft of {craft.owner} carries {craft.load_kg:.1f} kg, {-craft.left_kg:.1f} kg more "
        f"than its stated {craft.capacity_kg:g} kg"
    )


def _bag_problem(load: BagLoad) -> str:
    """How much room is missing, and the fewest things that make up for it."""
    out: list[PackItem] = []
    left = load.over_m3
    rest = sorted(load.items, key=lambda item: known(item.volume_m3), reverse=True)
    while left > 0.0 and rest:
        enough = [item for item in rest if known(item.volume_m3) >= left]
        pick = enough[-1] if enough else rest[0]
        rest.remove(pick)
        out.append(pick)
        left -= known(pick.volume_m3)
    digits = 1 if load.over_m3 >= _SEEN_M3 else 2
    takes, used, over = (
        f"{volume / _LITRE:.{digits}f} L" for volume in (load.room_m3, load.used_m3, load.over_m3)
    )
    # What to leave is not for this program to say: among the things may be the drinking water.
    return (
        f"{load.bag.name} ({load.bag.owner}) takes {takes}, its things need {used}: find {over} of "
        f"room elsewhere, for example for {'; '.join(item.name for item in out)}"
    )

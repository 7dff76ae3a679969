"""The group: people, their craft and bags, and what the user marks on the route."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from routeplan._kit.file import Entry, KitFile, read_kit_file
from routeplan.errors import InputError
from routeplan.units import ZERO_CELSIUS_K

__all__ = [
    "BAG_KINDS",
    "CRAFT_TYPES",
    "Bag",
    "Group",
    "Person",
    "Spare",
    "check_marks",
    "group_of",
    "read_group",
]

BAG_KINDS = ("quick", "day", "main", "extra", "deck")
CRAFT_TYPES = ("board", "kayak", "canoe")
_MARKS = ("moving_water", "traffic_area", "phone_coverage")
_FLAGS = ("led", "abroad", "flying", "fires_allowed")
_GROUP_KEYS = (*_MARKS, *_FLAGS, "cooking", "help", "water_temperature", "reserve",
               "water_reserve", "water_container", "refill_within", "paddle_tolerance",
               "canister")  # fmt: skip
_PERSON_KEYS = ("name", "sex", "mass", "height", "age", "craft", "craft_type", "craft_capacity",
                "fin_system", "paddle", "bag_comfort", "bag_limit", "mat_r")  # fmt: skip
_MANY = 5  # wrong legs named in a message
_COLD, _WARM = ZERO_CELSIUS_K - 60.0, ZERO_CELSIUS_K + 40.0


@dataclass(frozen=True, slots=True)
class Person:
    """One of the group with craft, paddle and bed; nan is unknown.

    `sex` is "female" or "male", as the equations of Mifflin and St Jeor need it; "" unknown.
    `craft_kind` is "inflatable" or "rigid", `craft_type` one of `CRAFT_TYPES`, `capacity_kg` what
    the craft may carry in all, the person included, as its maker states it. `bag_comfort_k`,
    `bag_limit_k` by ISO 23537-1.
    """

    name: str
    sex: str = ""
    mass_kg: float = math.nan
    height_m: float = math.nan
    age: float = math.nan
    craft_kind: str = ""
    craft_type: str = ""
    capacity_kg: float = math.nan
    fin_system: str = ""
    paddle_m: float = math.nan
    bag_comfort_k: float = math.nan
    bag_limit_k: float = math.nan
    mat_r: float = math.nan


@dataclass(frozen=True, slots=True)
class Bag:
    """A bag on somebody's craft: `kind` of `BAG_KINDS`, `volume_m3` when closed."""

    name: str
    owner: str
    kind: str
    volume_m3: float


@dataclass(frozen=True, slots=True)
class Spare:
    """A spare that could be taken along: a fin for some systems, or a paddle with its lengths.

    `craft_type` says for which craft a paddle is made: a board has one long blade, a kayak two.
    """

    name: str
    mass_kg: float
    fits: tuple[str, ...] = ()
    shortest_m: float = math.nan
    longest_m: float = math.nan
    craft_type: str = ""

    @property
    def is_paddle(self) -> bool:
        """Whether it is a paddle."""
        return not self.fits


@dataclass(frozen=True, slots=True)
class Group:
    """Everything about the group that kit and provisions depend on.

    `marks` says for "moving_water", "traffic_area" and "phone_coverage" whether they hold: true
    or false everywhere, or the numbers of the legs where they do; a mark that is not there is
    unknown, as are `flags` that are not there. `help_h` [h] and `water_k` [K] may be nan.
    `where` says of each mark where it was read: file and line.
    `water_reserve` is a share on top, `paddle_tolerance_m` how far a spare may be off [m].
    `container_l` is what one container of drinking water holds [L], `canister_g` the gas in one
    canister [g]. A place to refill counts up to `refill_within_m` from the line [m].
    """

    people: tuple[Person, ...]
    bags: tuple[Bag, ...] = ()
    spares: tuple[Spare, ...] = ()
    marks: dict[str, bool | tuple[int, ...]] = field(default_factory=dict)
    flags: dict[str, bool] = field(default_factory=dict)
    cooking: str = ""
    help_h: float = math.nan
    water_k: float = math.nan
    water_reserve: float = 0.25
    food_reserve: float = 0.2
    paddle_tolerance_m: float = 0.1
    container_l: float = 5.0
    canister_g: float = 230.0
    refill_within_m: float = 500.0
    where: dict[str, str] = field(default_factory=dict)

    def bags_of(self, name: str) -> tuple[Bag, ...]:
        """Bags of a person."""
        return tuple(bag for bag in self.bags if bag.owner == name)


def read_group(path: str | Path) -> Group:
    """Read a group from a TOML file: `[group]`, `[[person]]`, `[[bag]]`, `[[spare]]`.

    A table `[ashore]` is for the trip sheet and passed over here.

    Raises
    ------
    InputError
        In one line: file, line, what is wrong, what is allowed.
    """
    return group_of(read_kit_file(path, ("group", "person", "bag", "spare", "ashore")))


def group_of(file: KitFile) -> Group:
    """The group of a file that is read already; see `read_group`."""
    people = tuple(_person(entry) for entry in file.entries("person"))
    if not 1 <= len(people) <= 100:
        msg = f"{file.path}: {len(people)} people; allowed are 1 to 100 tables [[person]]"
        raise InputError(msg, field="person", path=file.path)
    names = [person.name for person in people]
    for entry, name in zip(file.entries("person"), names, strict=True):
        if names.count(name) > 1:
            entry.fail("name", "is there twice; a name is allowed once")
    bags = tuple(_bag(entry, names) for entry in file.entries("bag"))
    seen: set[tuple[str, str]] = set()
    for entry, bag in zip(file.entries("bag"), bags, strict=True):
        if (bag.owner, bag.name) in seen:
            entry.fail("name", f"is there twice for {bag.owner}; a name is allowed once")
        seen.add((bag.owner, bag.name))
    spares = tuple(_spare(entry) for entry in file.entries("spare"))
    return _group(file, people, bags, spares)


def check_marks(group: Group, legs: Sequence[int]) -> None:
    """Refuse marks on legs that the route does not have.

    Raises
    ------
    InputError
        In one line: file and line, the legs that are not there, those allowed.
    """
    for name, mark in group.marks.items():
        wrong = () if isinstance(mark, bool) else sorted(set(mark) - set(legs))
        if wrong:
            more = ", ..." if len(wrong) > _MANY else ""
            msg = (
                f"{group.where.get(name, 'group')}: {name} names leg "
                f"{', '.join(map(str, wrong[:_MANY]))}{more}, which the route does not have; "
                f"allowed are legs {min(legs)} to {max(legs)}"
            )
            raise InputError(msg, field=name, value=mark)


def _group(
    file: KitFile, people: tuple[Person, ...], bags: tuple[Bag, ...], spares: tuple[Spare, ...]
) -> Group:
    entries = file.entries("group")
    if not entries:
        return Group(people, bags, spares)
    entry = entries[0]
    entry.check_keys(_GROUP_KEYS)
    flags = {name: entry.flag(name) for name in _FLAGS}
    marked = [name for name in _MARKS if name in entry.table]
    return Group(
        people,
        bags,
        spares,
        marks={name: _mark(entry, name) for name in marked},
        flags={name: value for name, value in flags.items() if value is not None},
        cooking=_cooking(entry),
        help_h=entry.quantity("help", "time", 0.0, 864_000.0) / 3600.0,
        water_k=entry.quantity("water_temperature", "temperature", ZERO_CELSIUS_K - 2.0, _WARM),
        water_reserve=entry.quantity("water_reserve", "share", 0.0, 3.0, 0.25),
        food_reserve=entry.quantity("reserve", "share", 0.0, 3.0, 0.2),
        paddle_tolerance_m=entry.quantity("paddle_tolerance", "length", 0.0, 0.5, 0.1),
        container_l=entry.quantity("water_container", "volume", 0.5e-3, 0.03, 0.005) * 1e3,
        canister_g=entry.quantity("canister", "mass", 0.05, 1.0, 0.23) * 1e3,
        refill_within_m=entry.quantity("refill_within", "length", 0.0, 2_000.0, 500.0),
        where={n: f"{file.path}:{file.line_of(n, entry.line)}: group" for n in marked},
    )


def _cooking(entry: Entry) -> str:
    if "cooking" not in entry.table:
        return ""
    return entry.choice("cooking", ("none", "dried", "wet pouch", "fresh"))


def _mark(entry: Entry, name: str) -> bool | tuple[int, ...]:
    value = entry.table[name]
    if isinstance(value, bool):
        return value
    legs = value if isinstance(value, list) else [None]
    if not all(isinstance(n, int) and not isinstance(n, bool) and 0 < n < 10_000 for n in legs):
        entry.fail(name, "must be true, false or a list of leg numbers such as [4, 5]")
    return tuple(legs)


def _person(entry: Entry) -> Person:
    entry.check_keys(_PERSON_KEYS)
    person = Person(
        name=entry.text("name"),
        sex=entry.choice("sex", ("", "female", "male"), ""),
        mass_kg=entry.quantity("mass", "mass", 20.0, 300.0),
        height_m=entry.quantity("height", "length", 0.8, 2.6),
        age=entry.number("age", 5, 110) if "age" in entry.table else math.nan,
        craft_kind=entry.choice("craft", ("", "inflatable", "rigid"), ""),
        craft_type=entry.choice("craft_type", ("", *CRAFT_TYPES), ""),
        capacity_kg=entry.quantity("craft_capacity", "mass", 20.0, 1000.0),
        fin_system=entry.text("fin_system", ""),
        paddle_m=entry.quantity("paddle", "length", 0.8, 3.0),
        bag_comfort_k=entry.quantity("bag_comfort", "temperature", _COLD, _WARM),
        bag_limit_k=entry.quantity("bag_limit", "temperature", _COLD, _WARM),
        mat_r=entry.number("mat_r", 0, 20) if "mat_r" in entry.table else math.nan,
    )
    if person.bag_limit_k > person.bag_comfort_k:
        entry.fail("bag_limit", "is warmer than bag_comfort; the limit is the colder of the two")
    return person


def _bag(entry: Entry, names: list[str]) -> Bag:
    entry.check_keys(("name", "owner", "kind", "volume"))
    if "volume" not in entry.table:
        entry.fail("volume", 'is missing; give it as "35 L"')
    return Bag(
        entry.text("name"),
        entry.choice("owner", names),
        entry.choice("kind", BAG_KINDS),
        entry.quantity("volume", "volume", 0.0001, 1.0),
    )


def _spare(entry: Entry) -> Spare:
    entry.check_keys(("name", "mass", "fits", "shortest", "longest", "craft_type"))
    fits = entry.texts("fits")
    if not fits and not {"shortest", "longest"} <= entry.table.keys():
        entry.fail("fits", "is missing; give fin systems, or shortest and longest of a paddle")
    spare = Spare(
        entry.text("name"),
        entry.quantity("mass", "mass", 0.0, 50.0, 0.0),
        fits,
        entry.quantity("shortest", "length", 0.5, 3.0),
        entry.quantity("longest", "length", 0.5, 3.0),
        entry.choice("craft_type", ("", *CRAFT_TYPES), ""),
    )
    if spare.longest_m < spare.shortest_m:
        entry.fail("longest", "is less than shortest")
    return spare

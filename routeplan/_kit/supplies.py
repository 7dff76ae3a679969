"""Water, food and fuel as things to pack, and their lines of the list."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from routeplan._kit.amounts import Range
from routeplan._kit.apply import KitLine
from routeplan._kit.group import Group
from routeplan._kit.packed import PackItem, known
from routeplan.provisions import Provisions

__all__ = ["Supplies", "grid", "supplies_of"]

_SNACKS = 0.15  # share of a day's food that is eaten on the water; assumption, no source
_SNACK, _FOOD = "day's pack of snacks", "day's pack of food"
# Soft containers and screw canisters: invented round figures, near what such things weigh.
_CONTAINER_KG_L, _CONTAINER_L_L = 0.02, 1.05
_CANISTER_TARE_KG, _CANISTER_L = (0.06, 0.35e-3), (0.3, 3.5e-3)  # and for each gram of gas
_GRID = 100.0  # masses and volumes are counted in hundredths of a kilogram and a litre
_NO_SOURCE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Supplies:
    """Lines of the list, things to pack, and what these weigh beside the kit: low to high [kg]."""

    lines: tuple[KitLine, ...]
    things: tuple[PackItem, ...]
    load_kg: Range


def grid(value: float) -> float:
    """A mass [kg] or volume [L] in hundredths, rounded up, so that sums are seen to be right."""
    return math.ceil(value * _GRID - 1e-6) / _GRID if math.isfinite(value) else value


def supplies_of(needs: Provisions, group: Group, kit: Sequence[PackItem]) -> Supplies:
    """Drinking water in containers, food by the day and gas.

    Parameters
    ----------
    needs : Provisions
    group : Group
    kit : sequence of PackItem
        Everything else; what holds water already is filled (`water_kg`).
    """
    in_bottles = math.fsum(thing.water_kg for thing in kit)
    water = tuple(_water(needs, group, in_bottles))
    food = tuple(_food(needs))
    gas = tuple(_gas(needs, group))
    lines = (
        *_water_lines(needs, group, water, in_bottles),
        *_food_lines(needs, group),
        *_gas_lines(needs, group, gas),
    )
    things = (*water, *food, *gas)
    mass = math.fsum(thing.mass_kg for thing in things)
    spread = _spread(needs.carried_l) + _spread(needs.food_kg)
    return Supplies(lines, things, Range(mass, mass, mass) + spread)


def _spread(amount: Range) -> Range:
    """How far low and high are from the expected figure."""
    return Range(amount.low - amount.expected, 0.0, amount.high - amount.expected)


def _water(needs: Provisions, group: Group, in_bottles: float) -> Iterator[PackItem]:
    """Containers for the most water between two refills, all filled alike to 10 g."""
    left = round((grid(needs.carried_l.expected) - in_bottles) * _GRID)
    if left <= 0:
        return
    count = math.ceil(left / _GRID / group.container_l - 1e-9)
    tare = grid(_CONTAINER_KG_L * group.container_l)
    volume = grid(_CONTAINER_L_L * group.container_l) * 1e-3
    for n in range(count):
        water = (left // count + (n < left % count)) / _GRID
        yield PackItem(_container(group), "", water + tare, volume, "water", water)


def _container(group: Group) -> str:
    return f"water container, {group.container_l:g} L"


def _food(needs: Provisions) -> Iterator[PackItem]:
    """For everybody and every day: snacks, those of the first day within reach, and the rest."""
    for demand in needs.people:
        kg, litres = demand.food_kg.expected / needs.days, demand.food_l / needs.days
        for day in range(needs.days):
            for name, share in ((_SNACK, _SNACKS), (_FOOD, 1.0 - _SNACKS)):
                reach = "quick" if name == _SNACK and day == 0 else "main"
                volume = grid(litres * share) * 1e-3
                yield PackItem(name, demand.name, grid(kg * share), volume, reach)


def _gas(needs: Provisions, group: Group) -> Iterator[PackItem]:
    """Whole canisters that hold the high figure."""
    high = known(needs.fuel_g.high)
    fixed, more = _CANISTER_TARE_KG
    mass = grid(fixed + (more + 1e-3) * group.canister_g)
    volume = grid(_CANISTER_L[0] + _CANISTER_L[1] * group.canister_g) * 1e-3
    for _ in range(math.ceil(high / group.canister_g - 1e-9)):
        yield PackItem(
            f"gas canister, {group.canister_g:g} g", "", mass, volume, "main", apart="gas"
        )


def _water_lines(
    needs: Provisions, group: Group, water: Sequence[PackItem], in_bottles: float
) -> Iterator[KitLine]:
    if not water:
        return
    carried = needs.carried_l
    bottles = f", {in_bottles:.0f} L of it in bottles" if in_bottles else ""
    yield _line(
        _container(group),
        len(water),
        "group",
        f"{carried.expected:.0f} L ({carried.low:.0f} to {carried.high:.0f}) is the most between "
        f"two places to refill, {group.water_reserve:.0%} reserve in it{bottles}",
    )


def _food_lines(needs: Provisions, group: Group) -> Iterator[KitLine]:
    people = len(needs.people)
    kcal = needs.energy_kcal.expected / people / needs.days
    unknown = () if math.isfinite(kcal) else ("how much is unknown",)
    for name, share in ((_FOOD, 1.0 - _SNACKS), (_SNACK, _SNACKS)):
        amount = f"{kcal * share:,.0f} kcal a person and day on average"
        words = "" if unknown else f"{amount}; the packs hold {group.food_reserve:.0%} more"
        why = {
            _FOOD: "to eat ashore",
            _SNACK: "to eat on the water, those of the day within reach",
        }[name]
        line = _line(name, people * needs.days, "person", f"{why}{': ' if words else ''}{words}")
        yield replace(line, each=needs.days, notes=unknown)


def _gas_lines(needs: Provisions, group: Group, gas: Sequence[PackItem]) -> Iterator[KitLine]:
    if not gas:
        return
    fuel = needs.fuel_g
    yield _line(
        gas[0].name,
        len(gas),
        "group",
        f"{fuel.expected:,.0f} g ({fuel.low:,.0f} to {fuel.high:,.0f}) heat "
        f"{needs.heated_l.expected:.0f} L of water, {group.food_reserve:.0%} reserve in it: whole "
        "canisters for the high figure",
    )


def _line(item: str, quantity: int, per: str, why: str) -> KitLine:
    return KitLine(
        action="carry",
        item=item,
        quantity=quantity,
        each=quantity,
        per=per,
        where="whole trip",
        legs=(),
        spans=(),
        reasons=(why,),
        notes=(),
        needs=(),
        sources=(_NO_SOURCE,),
        rules=("provisions",),
    )

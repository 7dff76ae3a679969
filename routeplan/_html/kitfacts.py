"""The kit for a template: lines by what is to be done, bags by person, amounts, nights."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from routeplan._show.kittable import (
    all_words,
    bag_words,
    craft_words,
    listed,
    night_words,
    who_words,
)
from routeplan._show.wording import UNKNOWN, Clock, number

if TYPE_CHECKING:
    from routeplan._kit.apply import KitLine
    from routeplan._kit.packed import Packing
    from routeplan._kit.plan import KitPlan

__all__ = ["kit_facts"]

_HEADINGS = {"wear": "Wear", "carry": "Carry", "do": "Do", "avoid": "Avoid"}
_MANY = 3  # hours told one by one


def kit_facts(kit: KitPlan | None, clock: Clock) -> dict[str, Any] | None:
    """Everything of the kit; None without a group."""
    if kit is None:
        return None
    return {
        "groups": [
            {"heading": heading, "lines": _lines(kit, action, clock)}
            for action, heading in _HEADINGS.items()
            if any(line.action == action for line in kit.lines)
        ],
        "people": [] if kit.packing is None else _people(kit.packing),
        "all": "" if kit.packing is None else all_words(kit.packing),
        "problems": [] if kit.packing is None else list(kit.packing.problems),
        "unknown": [] if kit.packing is None else list(kit.packing.unknown),
        "carries": [
            f"{c.person} carries {c.length_m:.0f} m over land in {c.carries} goes, the craft one "
            f"of them, {c.mass_kg:.0f} kg each, {c.walked_m:.0f} m on foot"
            for c in kit.carries
        ],
        "amounts": _amounts(kit),
        "refills": [
            f"{r.name} at {r.along_m / 1000:.1f} km ({r.off_m:,.0f} m off the line)"
            for r in kit.provisions.refills
        ],
        "notes": list(kit.notes),
        "nights": night_words(kit),
    }


def _lines(kit: KitPlan, action: str, clock: Clock) -> list[dict[str, Any]]:
    everybody = len(kit.group.people)
    return [
        {
            "item": line.item.rstrip("."),
            "quantity": line.quantity if action in ("wear", "carry") else None,
            "who": who_words(who, everybody),
            "set": line.set,
            "where": "" if line.where == "whole trip" else line.where,
            "when": _when(line, clock),
            "reasons": "; ".join(line.reasons),
            "notes": [*line.notes, *(f"needs: {need}" for need in line.needs)],
        }
        for line, who in zip(kit.lines, kit.owners, strict=True)
        if line.action == action
    ]


def _when(line: KitLine, clock: Clock) -> str:
    """Hours it holds in, one leg's joined to the next one's."""
    spans: list[list[Any]] = []
    if line.where == "whole trip":
        return ""
    for _, start, end in line.spans:
        if spans and spans[-1][1] == start:
            spans[-1][1] = end
        else:
            spans.append([start, end])
    told = [f"{clock.moment(start)} to {clock.time(end)}" for start, end in spans[:_MANY]]
    return "; ".join(told) + (" and later" if len(spans) > _MANY else "")


def _people(packing: Packing) -> list[dict[str, Any]]:
    """Of each person the sum, what is worn, and the bags: in the words of the terminal."""
    found = []
    for craft in packing.crafts:
        bags = [bag_words(bag) for bag in packing.bags if bag.bag.owner == craft.owner]
        if craft.worn:
            bags.insert(0, (f"worn or in hand, {craft.worn_kg:.2f} kg", listed(craft.worn)))
        found.append(
            {
                "name": craft.owner,
                "sum": craft_words(craft).removeprefix(f"{craft.owner}: "),
                "bags": [{"name": name, "holds": things} for name, things in bags],
            }
        )
    return found


def _amounts(kit: KitPlan) -> list[dict[str, str]]:
    found = kit.provisions
    rows = (
        ("water, whole trip, L", found.water_l),
        ("water carried at one time, L", found.carried_l),
        ("energy, kcal", found.energy_kcal),
        ("food, kg", found.food_kg),
        ("fuel, g", found.fuel_g),
        ("load without people, kg", kit.load_kg),
    )
    return [
        {
            "name": name,
            "low": _figure(amount.low),
            "expected": _figure(amount.expected),
            "high": _figure(amount.high),
        }
        for name, amount in rows
    ]


def _figure(value: float) -> str:
    if value != value:
        return UNKNOWN
    return number(value, 1 if value < 20.0 else 0)

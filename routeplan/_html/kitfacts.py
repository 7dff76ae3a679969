"""The kit for a template: lines by what is to be done, bags by person, amounts, nights."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

from routeplan._show.kittable import who_words
from routeplan._show.wording import UNKNOWN, Clock, number
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan._kit.apply import KitLine
    from routeplan._kit.plan import KitPlan

__all__ = ["kit_facts"]

_HEADINGS = {"wear": "Wear", "carry": "Carry", "do": "Do", "avoid": "Avoid"}
_MANY = 3  # hours told one by one
_LITRES = 1000.0


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
        "people": [] if kit.packing is None else _people(kit),
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
        "nights": _nights(kit),
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


def _people(kit: KitPlan) -> list[dict[str, Any]]:
    assert kit.packing is not None
    return [
        {
            "name": person.name,
            "load": number(kit.packing.load_kg[person.name], 0, "kg"),
            "capacity": number(person.capacity_kg, 0, "kg"),
            "bags": [
                {
                    "name": bag.bag.name,
                    "room": f"{number(bag.used_m3 * _LITRES)} of {number(bag.room_m3 * _LITRES)} L",
                    "mass": number(bag.mass_kg, 1, "kg"),
                    "items": [
                        f"{n} {name}" if n > 1 else name
                        for name, n in Counter(item.name for item in bag.items).items()
                    ],
                }
                for bag in kit.packing.bags
                if bag.bag.owner == person.name and bag.items
            ],
        }
        for person in kit.group.people
    ]


def _nights(kit: KitPlan) -> list[str]:
    """Of each night everybody in one sentence where all are warm enough, else who is worst off."""
    told = []
    for place in dict.fromkeys(w.place for w in kit.warmth):
        found = [w for w in kit.warmth if w.place == place]
        worst = Verdict(max(w.verdict for w in found))
        if worst is Verdict.WITHIN:
            poorest = min(found, key=lambda w: w.margin_k)
            of = f" of {poorest.person}, the least warm" if len(found) > 1 else ""
            told.append(f"{place}, everybody: {worst.word}; {poorest.words}{of}")
            continue
        told += [
            f"{place}, {w.person}: {worst.word}; {w.words}" for w in found if w.verdict == worst
        ]
    return told


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

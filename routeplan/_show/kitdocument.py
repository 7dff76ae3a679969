"""The kit of a plan as values of its document; `docs/json.md` describes every key."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from routeplan._show.values import rounded, text, texts, utc
from routeplan.units import to_celsius

if TYPE_CHECKING:
    from collections.abc import Sequence

    from routeplan._kit.amounts import Range
    from routeplan._kit.apply import KitLine
    from routeplan._kit.packed import BagLoad, CraftLoad, Packing, PackItem
    from routeplan._kit.plan import KitPlan
    from routeplan.provisions import Refill

__all__ = ["kit_documents"]

_LITRES = 1000.0
_AMOUNTS = (("water_l", 1), ("carried_l", 1), ("energy_kcal", 0), ("food_kg", 2), ("fuel_g", 0))
_SUMS = ("bags_kg", "water_kg", "worn_kg", "carried_kg")


def kit_documents(kit: KitPlan | None) -> dict[str, Any]:
    """Keys `kit`, `provisions` and `packing`; none for a trip without a group."""
    if kit is None:
        return {}
    return {
        "kit": [_line(line, who) for line, who in zip(kit.lines, kit.owners, strict=True)],
        "provisions": _provisions(kit),
        "packing": None if kit.packing is None else _packing(kit, kit.packing),
    }


def _line(line: KitLine, who: tuple[str, ...]) -> dict[str, Any]:
    return {
        "item": text(line.item),
        "action": line.action,
        "quantity": line.quantity,
        "per": line.per,
        "where": line.where,
        "legs": list(line.legs),
        "hours": [
            {"leg": leg, "start": utc(start), "end": utc(end)} for leg, start, end in line.spans
        ],
        "who": texts(who),
        "reasons": texts(line.reasons),
        "notes": texts(line.notes),
        "needs": texts(line.needs),
        "sources": texts(line.sources),
        "rules": texts(line.rules),
        "set": line.set or None,
    }


def _provisions(kit: KitPlan) -> dict[str, Any]:
    found = kit.provisions
    amounts: list[tuple[str, Range, int]] = [
        (name, getattr(found, name), digits) for name, digits in _AMOUNTS
    ]
    amounts.append(("load_kg", kit.load_kg, 2))
    return {
        **{name: rounded(amount.expected, digits) for name, amount, digits in amounts},
        "range": {
            name: {"low": rounded(amount.low, digits), "high": rounded(amount.high, digits)}
            for name, amount, digits in amounts
        },
        "days": found.days,
        "refills": [_refill(refill) for refill in found.refills],
        "refills_left_out": [_refill(refill) for refill in found.left_out],
        "notes": texts(kit.notes),
    }


def _refill(refill: Refill) -> dict[str, Any]:
    return {
        "name": text(refill.name),
        "along_m": rounded(refill.along_m, 0),
        "off_m": rounded(refill.off_m, 0),
        "detour_m": rounded(refill.detour_m, 0),
    }


def _packing(kit: KitPlan, packing: Packing) -> dict[str, Any]:
    return {
        "fits": packing.fits,
        "problems": texts(packing.problems),
        "unknown": texts(packing.unknown),
        "bags": [_bag(load) for load in packing.bags],
        "homeless": _things(packing.homeless),
        "homeless_kg": rounded(packing.homeless_kg, 2),
        "crafts": [_craft(craft) for craft in packing.crafts],
        "total": {
            name: rounded(sum(getattr(craft, name) for craft in packing.crafts), 2)
            for name in _SUMS
        },
        "carries": [
            {
                "owner": text(carry.person),
                "length_m": rounded(carry.length_m, 0),
                "carries": carry.carries,
                "mass_kg": rounded(carry.mass_kg, 1),
                "walked_m": rounded(carry.walked_m, 0),
            }
            for carry in kit.carries
        ],
        "nights": [
            {
                "person": text(warm.person),
                "place": text(warm.place),
                "coldest_c": rounded(to_celsius(warm.coldest_k), 1),
                "verdict": warm.verdict.word,
                "why": text(warm.words),
            }
            for warm in kit.warmth
        ],
    }


def _craft(craft: CraftLoad) -> dict[str, Any]:
    return {
        "owner": text(craft.owner),
        "worn": _things(craft.worn),
        **{name: rounded(getattr(craft, name), 2) for name in _SUMS},
        "person_kg": rounded(craft.person_kg, 2),
        "load_kg": rounded(craft.load_kg, 2),
        "capacity_kg": rounded(craft.capacity_kg, 2),
        "left_kg": rounded(craft.left_kg, 2),
    }


def _bag(load: BagLoad) -> dict[str, Any]:
    return {
        "bag": text(load.bag.name),
        "owner": text(load.bag.owner),
        "kind": load.bag.kind,
        "items": texts(item.name for item in load.items),
        "things": _things(load.items),
        "mass_kg": rounded(load.mass_kg, 2),
        "water_kg": rounded(load.water_kg, 2),
        "used_l": rounded(load.used_m3 * _LITRES, 2),
        "room_l": rounded(load.room_m3 * _LITRES, 2),
    }


def _things(items: Sequence[PackItem]) -> list[dict[str, Any]]:
    """Things of one name together: how many, and the mass and volume of all of them."""
    by_name: dict[str, list[PackItem]] = {}
    for item in items:
        by_name.setdefault(item.name, []).append(item)
    return [
        {
            "item": text(name),
            "quantity": len(like),
            "shared": not like[0].owner,
            "mass_kg": rounded(sum(item.mass_kg for item in like), 2),
            "water_kg": rounded(sum(item.water_kg for item in like), 2),
            "volume_l": rounded(sum(item.volume_m3 for item in like) * _LITRES, 2),
        }
        for name, like in by_name.items()
    ]

"""The kit of a plan as values of its document; `docs/json.md` describes every key."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from routeplan._show.values import rounded, text, texts, utc
from routeplan.units import to_celsius

if TYPE_CHECKING:
    from routeplan._kit.amounts import Range
    from routeplan._kit.apply import KitLine
    from routeplan._kit.packfit import BagLoad, Packing
    from routeplan._kit.plan import KitPlan

__all__ = ["kit_documents"]

_LITRES = 1000.0
_AMOUNTS = (("water_l", 1), ("carried_l", 1), ("energy_kcal", 0), ("food_kg", 2), ("fuel_g", 0))


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
    amounts.append(("load_kg", kit.load_kg, 1))
    return {
        **{name: rounded(amount.expected, digits) for name, amount, digits in amounts},
        "range": {
            name: {"low": rounded(amount.low, digits), "high": rounded(amount.high, digits)}
            for name, amount, digits in amounts
        },
        "days": found.days,
        "refills": [
            {
                "name": text(refill.name),
                "along_m": rounded(refill.along_m, 0),
                "off_m": rounded(refill.off_m, 0),
            }
            for refill in found.refills
        ],
        "notes": texts(kit.notes),
    }


def _packing(kit: KitPlan, packing: Packing) -> dict[str, Any]:
    return {
        "fits": packing.fits,
        "problems": texts(packing.problems),
        "unknown": texts(packing.unknown),
        "bags": [_bag(load) for load in packing.bags],
        "crafts": [
            {
                "owner": text(person.name),
                "load_kg": rounded(packing.load_kg[person.name], 1),
                "capacity_kg": rounded(person.capacity_kg, 1),
            }
            for person in kit.group.people
        ],
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


def _bag(load: BagLoad) -> dict[str, Any]:
    return {
        "bag": text(load.bag.name),
        "owner": text(load.bag.owner),
        "kind": load.bag.kind,
        "items": texts(item.name for item in load.items),
        "mass_kg": rounded(load.mass_kg, 2),
        "used_l": rounded(load.used_m3 * _LITRES, 1),
        "room_l": rounded(load.room_m3 * _LITRES, 1),
    }

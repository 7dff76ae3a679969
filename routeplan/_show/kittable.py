"""The kit of a plan as text: what to wear and carry, by bag, with boxes to tick."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from routeplan._show.wording import Clock
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np

    from routeplan._kit.amounts import Range
    from routeplan._kit.apply import KitLine
    from routeplan._kit.packed import BagLoad, CraftLoad, Packing, PackItem
    from routeplan._kit.plan import KitPlan
    from routeplan._show.page import Page

__all__ = [
    "all_words",
    "bag_words",
    "craft_words",
    "listed",
    "night_words",
    "render_kit",
    "who_words",
]

_HEADINGS = {"wear": "Wear", "carry": "Carry", "do": "Do", "avoid": "Avoid"}
_MANY = 3  # hours told one by one


def render_kit(page: Page, kit: KitPlan | None, clock: Clock) -> None:
    """Print the kit; nothing for a trip without a group."""
    if kit is None:
        return
    _lines(page, kit, clock)
    if kit.packing is not None:
        _bags(page, kit, kit.packing)
    _provisions(page, kit)
    _nights(page, kit)


def _lines(page: Page, kit: KitPlan, clock: Clock) -> None:
    for action, heading in _HEADINGS.items():
        groups: dict[tuple[str, str], list[str]] = {}
        for line, who in zip(kit.lines, kit.owners, strict=True):
            if line.action == action:
                key = _where(line, clock), _why(line)
                groups.setdefault(key, []).append(_thing(line, who, kit))
        if not groups:
            continue
        page.heading(heading)
        for (where, why), things in groups.items():
            if len(things) == 1:
                between = ":" if action in ("wear", "carry") else "."
                page.item("[ ]", f"{things[0]}{where}{between} {_begun(why, between)}")
                continue
            head = f"{where.removeprefix(', ')}: {why}" if where else why
            page.item("-", f"{_begun(head).rstrip('.')}:")
            for thing in things:
                page.item("[ ]", thing, indent=4)


def _begun(words: str, after: str = ".") -> str:
    """Words as they stand after a full stop, or as they are."""
    return words[:1].upper() + words[1:] if after == "." else words


def _thing(line: KitLine, who: tuple[str, ...], kit: KitPlan) -> str:
    """A thing, how many and who has it: "4 knife (1 each)", "5 gas canister (1 A, 1 B, 3 C)"."""
    words = line.item.rstrip(".")
    if line.action not in ("wear", "carry"):
        return words
    shown = who_words(who, len(kit.group.people))
    return f"{line.quantity} {words}" + (f" ({shown})" if shown else "")


def who_words(who: Sequence[str], people: int) -> str:
    """Who has things, one name a piece: "1 each", "A, C", "1 A, 3 C"; empty for one person."""
    many = Counter(who)
    alike = set(many.values())
    if people == 1:
        return ""
    if len(many) == people and len(alike) == 1:
        return f"{alike.pop()} each"
    single = alike == {1}
    return ", ".join(name if single else f"{n} {name}" for name, n in sorted(many.items()))


def _where(line: KitLine, clock: Clock) -> str:
    """Set of clothes, and where and when it holds if not on the whole trip."""
    words = f", {line.set} set" if line.set else ""
    if line.where == "whole trip":
        return words
    spans = _joined(line)
    times = [f"{clock.moment(start)} to {clock.time(end)}" for start, end in spans[:_MANY]]
    more = " and later" if len(spans) > _MANY else ""
    told = f" ({'; '.join(times)}{more})" if times else ""
    return f"{words}, {'worn on ' if line.action == 'wear' else ''}{line.where}{told}"


def _why(line: KitLine) -> str:
    words = "; ".join(line.reasons)
    for note in (*line.notes, *(f"needs: {need}" for need in line.needs)):
        words += f". {_begun(note)}"
    return words.rstrip(".") + "."


def _joined(line: KitLine) -> list[tuple[np.datetime64, np.datetime64]]:
    """Spans of time, one leg's joined to the next one's."""
    out: list[tuple[np.datetime64, np.datetime64]] = []
    for _, start, end in line.spans:
        if out and out[-1][1] == start:
            out[-1] = (out[-1][0], end)
        else:
            out.append((start, end))
    return out


def _bags(page: Page, kit: KitPlan, packing: Packing) -> None:
    page.heading("Bags")
    for problem in packing.problems:
        page.item("!", f"does not fit: {problem}")
    for unknown in packing.unknown:
        page.item("?", unknown)
    for craft in packing.crafts:
        page.line(craft_words(craft), indent=2)
        if craft.worn:
            worn = f"worn or in hand, {craft.worn_kg:.2f} kg: {listed(craft.worn)}"
            page.item("[ ]", worn, indent=4)
        for bag in (b for b in packing.bags if b.bag.owner == craft.owner):
            page.item("[ ]", ": ".join(bag_words(bag)), indent=4)
    page.line(all_words(packing), indent=2)
    for carry in kit.carries:
        page.item(
            "-",
            f"{carry.person} carries {carry.length_m:.0f} m over land in {carry.carries} goes, the "
            f"craft one of them, {carry.mass_kg:.0f} kg each, {carry.walked_m:.0f} m on foot",
        )


def all_words(packing: Packing) -> str:
    """What all carry together, and what has no bag."""
    everybody = packing.crafts
    return (
        f"All: bags {sum(c.bags_kg for c in everybody):.2f} + drinking water "
        f"{sum(c.water_kg for c in everybody):.2f} + worn {sum(c.worn_kg for c in everybody):.2f} "
        f"= {sum(c.carried_kg for c in everybody):.2f} kg"
        f"{f'; {packing.homeless_kg:.2f} kg without a bag' if packing.homeless else ''}."
    )


def craft_words(craft: CraftLoad) -> str:
    """What one person carries: bags + drinking water + worn = total."""
    parts = (
        f"{craft.owner}: bags {craft.bags_kg:.2f} + drinking water {craft.water_kg:.2f} + worn "
        f"{craft.worn_kg:.2f} = {craft.carried_kg:.2f} kg"
    )
    if craft.load_kg != craft.load_kg:
        return f"{parts}; body mass unknown."
    stated = f"{craft.capacity_kg:g} kg" if craft.capacity_kg == craft.capacity_kg else "unknown"
    return f"{parts}; with the paddler {craft.load_kg:.2f} kg, stated capacity {stated}."


def bag_words(bag: BagLoad) -> tuple[str, str]:
    """A bag with its room and mass, water apart, and the things in it."""
    room = f"{bag.used_m3 * 1000:.1f} of {bag.room_m3 * 1000:.1f} L"
    if not bag.items:
        return f"{bag.bag.name}, {room}", "empty"
    water = f" + {bag.water_kg:.2f} kg of water" if bag.water_kg else ""
    return f"{bag.bag.name}, {room}, {bag.dry_kg:.2f} kg{water}", listed(bag.items)


def listed(items: Sequence[PackItem]) -> str:
    """Things one after the other, how many where there are several of a name."""
    many = Counter(item.name for item in items)
    return "; ".join(f"{n} {name}" if n > 1 else name for name, n in many.items())


def _provisions(page: Page, kit: KitPlan) -> None:
    page.heading("Water, food, fuel")
    found = kit.provisions
    table = page.table(
        ("for all", "left"), ("low", "right"), ("expected", "right"), ("high", "right")
    )
    rows: tuple[tuple[str, Range], ...] = (
        ("water, whole trip, L", found.water_l),
        ("water carried at one time, L", found.carried_l),
        ("energy, kcal", found.energy_kcal),
        ("food, kg", found.food_kg),
        ("fuel, g", found.fuel_g),
        ("load without people, kg", kit.load_kg),
    )
    for name, amount in rows:
        shown = (_figure(v) for v in (amount.low, amount.expected, amount.high))
        page.row(table, name, *shown)
    page.show(table)
    if found.refills:
        places = ", ".join(
            f"{r.name} at {r.along_m / 1000:.1f} km ({r.off_m:,.0f} m off the line)"
            for r in found.refills
        )
        page.line(f"Places to refill that were counted on: {places}.", indent=2)
    for note in kit.notes:
        page.item("-", note)


def _figure(value: float) -> str:
    if value != value:
        return "unknown"
    return f"{value:,.1f}" if value < 20.0 else f"{value:,.0f}"


def _nights(page: Page, kit: KitPlan) -> None:
    if not kit.warmth:
        return
    page.heading("Nights")
    for words in night_words(kit):
        page.item("-", words)


def night_words(kit: KitPlan) -> list[str]:
    """Of each night everybody in one sentence where all are warm enough, else who is worst off."""
    told = []
    for place in dict.fromkeys(w.place for w in kit.warmth):
        found = [w for w in kit.warmth if w.place == place]
        worst = Verdict(max(w.verdict for w in found))
        if worst is Verdict.WITHIN:
            poorest = min(found, key=lambda w: w.margin_k)  # its comfort stands for all the others
            of = f" of {poorest.person}, the least warm" if len(found) > 1 else ""
            told.append(f"{place}, everybody: {worst.word}; {poorest.words}{of}")
            continue
        alike: dict[str, list[str]] = {}
        for w in found:
            if w.verdict == worst:
                alike.setdefault(w.words, []).append(w.person)
        told += [
            f"{place}, {', '.join(who)}: {worst.word}; {words}" for words, who in alike.items()
        ]
    return told

"""The kit of a plan as text: what to wear and carry, by bag, with boxes to tick."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from routeplan._show.wording import Clock
from routeplan.limits import Verdict

if TYPE_CHECKING:
    import numpy as np

    from routeplan._kit.amounts import Range
    from routeplan._kit.apply import KitLine
    from routeplan._kit.packfit import Packing
    from routeplan._kit.plan import KitPlan
    from routeplan._show.page import Page

__all__ = ["render_kit"]

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
    everybody = len(kit.group.people)
    for action, heading in _HEADINGS.items():
        chosen = [
            (line, who)
            for line, who in zip(kit.lines, kit.owners, strict=True)
            if line.action == action
        ]
        if not chosen:
            continue
        page.heading(heading)
        for line, who in chosen:
            page.item("[ ]", _words(line, who, everybody, clock))


def _words(line: KitLine, who: tuple[str, ...], everybody: int, clock: Clock) -> str:
    words = line.item.rstrip(".")
    if line.action in ("wear", "carry"):
        shown = "each" if len(set(who)) == everybody == line.quantity else ", ".join(who)
        words = f"{line.quantity} {words}" + (f" ({shown})" if shown else "")
    if line.set:
        words += f", {line.set} set"
    if line.where != "whole trip":
        words += f", {line.where}"
        spans = _joined(line)
        times = [f"{clock.moment(start)} to {clock.time(end)}" for start, end in spans[:_MANY]]
        more = " and later" if len(spans) > _MANY else ""
        words += f", {'; '.join(times)}{more}" if times else ""
    words += f": {'; '.join(line.reasons)}"
    for note in (*line.notes, *(f"needs: {need}" for need in line.needs)):
        words += f". {note[:1].upper()}{note[1:]}"
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
    for person in kit.group.people:
        load, capacity = packing.load_kg[person.name], person.capacity_kg
        page.line(
            f"{person.name}: {load:.0f} kg on the craft with the paddler and the drinking water, "
            f"stated capacity {capacity:.0f} kg.",
            indent=2,
        )
        for bag in (b for b in packing.bags if b.bag.owner == person.name and b.items):
            items = Counter(item.name for item in bag.items)
            listed = ", ".join(f"{n} {name}" if n > 1 else name for name, n in items.items())
            room = f"{bag.used_m3 * 1000:.0f} of {bag.room_m3 * 1000:.0f} L"
            page.item("[ ]", f"{bag.bag.name}, {room}, {bag.mass_kg:.1f} kg: {listed}", indent=4)
    for carry in kit.carries:
        page.item(
            "-",
            f"{carry.person} carries {carry.length_m:.0f} m over land in {carry.carries} goes, the "
            f"craft one of them, {carry.mass_kg:.0f} kg each, {carry.walked_m:.0f} m on foot",
        )


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
    for place in dict.fromkeys(w.place for w in kit.warmth):
        found = [w for w in kit.warmth if w.place == place]
        worst = Verdict(max(w.verdict for w in found))
        if worst == Verdict.WITHIN:
            poorest = min(found, key=lambda w: w.margin_k)  # its comfort stands for all the others
            of = f" of {poorest.person}, the least warm" if len(found) > 1 else ""
            page.item("-", f"{place}, everybody: {worst.word}; {poorest.words}{of}")
            continue
        for told in (w for w in found if w.verdict == worst):
            page.item("-", f"{place}, {told.person}: {worst.word}; {told.words}")

"""The kit of a planned trip: rules, spares, warmth, provisions and load together."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from routeplan._kit.amounts import Range
from routeplan._kit.apply import KitLine, apply_rules
from routeplan._kit.facts import (
    Context,
    Night,
    StageLike,
    contexts,
    nights_of,
    stage_span,
    values_during,
)
from routeplan._kit.group import Group
from routeplan._kit.packed import known
from routeplan._kit.packfit import Packing, PackItem, pack
from routeplan._kit.rules import RuleSet, default_rules
from routeplan._kit.spares import SpareChoice, choose_spares
from routeplan._kit.supplies import Supplies, grid, supplies_of
from routeplan._kit.warmth import Warmth, warmth
from routeplan.exposure import LegExposure
from routeplan.provisions import Outing, Provisions, Refill, provisions_for
from routeplan.route import Route
from routeplan.stops import places_of_waypoints, places_on_line

if TYPE_CHECKING:
    from routeplan.propulsion import Craft

__all__ = ["Carry", "KitPlan", "plan_kit"]

_CARRY_KG = 20.0  # what one carries at a time over land; common practice, no source
_WATER_KG_L = 1.0
_WALKING_MS = 1.0  # loaded, over land; assumption
_SPARES = {"spare fin": False, "spare paddle": True}
_TYPES = {"touring board": "board", "inflatable board": "board", "sea kayak": "kayak",
          "open canoe": "canoe"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Carry:
    """Carrying over land: metres, carries of each person, mass of each carry [kg], way [m]."""

    person: str
    length_m: float
    carries: int
    mass_kg: float
    walked_m: float


@dataclass(frozen=True, slots=True)
class KitPlan:
    """What to wear and carry, what it weighs and where it goes.

    `owners[i]` are the people who carry `lines[i]`: everybody's names for one each, the packer's
    choice for shared things, nobody for sentences. `load_kg` is what all carry together without
    themselves: kit, food, fuel and the most water between two refills.
    """

    group: Group
    lines: tuple[KitLine, ...]
    owners: tuple[tuple[str, ...], ...]
    facts: tuple[Context, ...]
    nights: tuple[Night, ...]
    spares: SpareChoice
    warmth: tuple[Warmth, ...]
    provisions: Provisions
    packing: Packing | None
    carries: tuple[Carry, ...]
    load_kg: Range
    notes: tuple[str, ...]


def plan_kit(
    group: Group,
    rules: RuleSet | None,
    route: Route,
    exposures: Sequence[LegExposure],
    stages: Sequence[StageLike],
    craft: Craft,
    others: Sequence[Craft] = (),
) -> KitPlan:
    """Work out the kit of a planned trip; `rules` are put over the default set.

    `craft` is the slowest, `others` the rest: where all are of one type, so is the craft of
    everybody who does not say.
    """
    group = _with_types(group, (craft, *others))
    every = default_rules() if rules is None else default_rules().merged(rules)
    facts = contexts(route, exposures, stages, group, craft.still_water_speed_ms)
    nights = nights_of(stages)
    asked = apply_rules(every, facts, len(group.people), [p.craft_type for p in group.people])
    outings = _outings(stages, exposures, nights, craft.still_water_speed_ms)
    needs = provisions_for(group, outings, nights, _refills(route), posture=craft.posture)
    spares = choose_spares(group, _supplies(needs))
    lines = tuple(_with_spares(asked, spares))
    kit = _filled(tuple(_things(lines, every, group, spares)), every, needs)
    supplies = supplies_of(needs, group, kit)
    things, lines = (*kit, *supplies.things), (*lines, *supplies.lines)
    packing = _packed(group, things)
    spares = _handed_out(spares, packing)
    return KitPlan(
        group=group,
        lines=lines,
        owners=tuple(_owners(line, group, packing, spares) for line in lines),
        facts=facts,
        nights=nights,
        spares=spares,
        warmth=warmth(group, nights),
        provisions=needs,
        packing=packing,
        carries=_carries(exposures, packing),
        load_kg=_load(kit, supplies),
        notes=_notes(needs, things, stages, spares),
    )


def _with_types(group: Group, crafts: Sequence[Craft]) -> Group:
    types = {_TYPES.get(it.name, "board" if it.posture == "standing" else "") for it in crafts}
    one = types.pop() if len(types) == 1 else ""
    people = tuple(replace(p, craft_type=p.craft_type or one) for p in group.people)
    return replace(group, people=people)


def _supplies(needs: Provisions) -> dict[str, float]:
    """Food and water on each craft, as far as they are known [kg]."""
    loads = {d.name: (d.food_kg.expected, d.carried_l.expected * _WATER_KG_L) for d in needs.people}
    return {name: sum(kg for kg in load if math.isfinite(kg)) for name, load in loads.items()}


def _outings(
    stages: Sequence[StageLike],
    exposures: Sequence[LegExposure],
    nights: Sequence[Night],
    speed_ms: float,
) -> tuple[Outing, ...]:
    out, begin_m = [], 0.0
    for i, planned in enumerate(stages):
        length_m = planned.stage.length_m
        launch, arrive = stage_span(planned)
        hours = float((arrive - launch) / np.timedelta64(1, "h"))
        if not math.isfinite(hours):
            hours = length_m / speed_ms / 3600.0
        carried_m = sum(
            exposures[leg.number - 1].land_m
            for leg in planned.stage.legs
            if exposures[leg.number - 1].portage
        )
        portage_h = min(hours, carried_m / _WALKING_MS / 3600.0)
        days = max(1, nights[i].count) if i < len(nights) else 1
        end_m = begin_m + length_m
        out.append(Outing(hours, portage_h, _warmest(planned), days, begin_m, end_m))
        begin_m = end_m
    return tuple(out)


def _warmest(planned: StageLike) -> float:
    launch, arrive = stage_span(planned)
    if planned.scan is None or np.isnat(launch) or np.isnat(arrive):
        return math.nan
    steps = np.arange(planned.scan.outing.path.longitude.size)
    air = values_during(planned, "air_temperature", steps, launch, arrive)
    return float(air.max()) if air.size and np.isfinite(air).all() else math.nan


def _refills(route: Route) -> tuple[Refill, ...]:
    water = [p for p in places_of_waypoints(route.waypoints) if p.kind == "water"]
    stops = places_on_line(route, water) if water else ()
    return tuple(Refill(s.place.called, s.along_m, s.off_m) for s in stops)


def _with_spares(lines: Sequence[KitLine], spares: SpareChoice) -> Iterator[KitLine]:
    """Lines with the spares that were chosen in place of any spare."""
    for line in lines:
        paddle = _SPARES.get(line.item)
        chosen = [c for c in spares.chosen if c.spare.is_paddle is paddle]
        if line.action != "carry" or paddle is None:
            yield line
            continue
        word = "paddle" if paddle else "fin"
        notes = tuple(n for n in (*spares.uncovered, *spares.unknown) if word in n)
        if not chosen:
            yield replace(line, notes=(*line.notes, *notes))
        for c in chosen:
            yield replace(
                line, item=c.spare.name, quantity=1, each=1, per="group",
                reasons=(*line.reasons, c.reason), notes=(*line.notes, *notes),
            )  # fmt: skip


def _things(
    lines: Sequence[KitLine], rules: RuleSet, group: Group, spares: SpareChoice
) -> Iterator[PackItem]:
    """Every thing of the list by itself, with whose it is."""
    chosen = {c.spare.name: c.spare for c in spares.chosen}
    for line in lines:
        if line.action not in ("wear", "carry"):
            continue
        if line.item in chosen:
            spare = chosen[line.item]
            like = rules.item("spare paddle" if spare.is_paddle else "spare fin")
            item = replace(like, mass_kg=spare.mass_kg)
        else:
            item = rules.item(line.item)
        always = line.action == "wear" and line.where == "whole trip"
        reach = "worn" if always else item.reach
        for i, owner in enumerate(_personal(line, group) or [""] * line.quantity):
            if reach == "worn" and not owner:  # somebody has it on
                owner = group.people[i % len(group.people)].name
            yield PackItem(
                line.item,
                owner,
                grid(item.mass_kg),
                grid(item.volume_m3 * 1e3) * 1e-3,
                reach,
                apart=item.apart,
            )


def _filled(kit: tuple[PackItem, ...], rules: RuleSet, needs: Provisions) -> tuple[PackItem, ...]:
    """Bottles and the like filled with the water that is carried, at most what they hold."""
    left = grid(needs.carried_l.expected)
    out = []
    for thing in kit:
        water = min(rules.item(thing.name).holds_l, left) * _WATER_KG_L
        left -= water / _WATER_KG_L
        out.append(replace(thing, mass_kg=thing.mass_kg + water, water_kg=water))
    return tuple(out)


def _personal(line: KitLine, group: Group) -> list[str]:
    """Owners of what people have for themselves, one name a piece; empty for shared things."""
    people = [p for p in group.people if line.per == "person" or p.craft_type in (line.per, "")]
    if line.per == "group" or line.quantity != line.each * len(people):
        return []
    return [person.name for person in people for _ in range(line.each)]


def _packed(group: Group, things: tuple[PackItem, ...]) -> Packing | None:
    if not group.bags:
        return None
    return pack(
        things,
        group.bags,
        {p.name: p.mass_kg for p in group.people},
        {p.name: p.capacity_kg for p in group.people},
    )


def _handed_out(spares: SpareChoice, packing: Packing | None) -> SpareChoice:
    """Spares with those who have them in their bags: all the rest of the load is in that too."""
    if packing is None:
        return spares
    chosen = tuple(
        replace(c, carrier=next(iter(packing.owners_of(c.spare.name)), c.carrier))
        for c in spares.chosen
    )
    heaviest = max(craft.carried_kg for craft in packing.crafts)
    return replace(spares, chosen=chosen, heaviest_kg=heaviest)


def _owners(
    line: KitLine, group: Group, packing: Packing | None, spares: SpareChoice
) -> tuple[str, ...]:
    """Who has the things of a line, one name a piece."""
    if line.action not in ("wear", "carry"):
        return ()
    own = _personal(line, group)
    if own:
        return tuple(own)
    if packing is not None:
        return packing.owners_of(line.item)
    return tuple(c.carrier for c in spares.chosen if c.spare.name == line.item)


def _carries(exposures: Sequence[LegExposure], packing: Packing | None) -> tuple[Carry, ...]:
    """The carries of a portage: so many that none weighs more than 20 kg, the craft one more."""
    length = sum(e.land_m for e in exposures if e.portage)
    if not length or packing is None:
        return ()
    out = []
    for craft in packing.crafts:
        count = max(1, math.ceil(craft.carried_kg / _CARRY_KG))
        walked = length * (2 * (count + 1) - 1)
        out.append(Carry(craft.owner, length, count + 1, craft.carried_kg / count, walked))
    return tuple(out)


def _load(kit: Sequence[PackItem], supplies: Supplies) -> Range:
    """Mass of everything but the people: the low and high figures are those of provisions."""
    mass = math.fsum(known(thing.mass_kg) for thing in kit)
    return Range(mass, mass, mass) + supplies.load_kg


def _notes(
    needs: Provisions,
    things: Sequence[PackItem],
    stages: Sequence[StageLike],
    spares: SpareChoice,
) -> tuple[str, ...]:
    notes = list(needs.notes)
    if any(np.isnat(stage_span(planned)[1]) for planned in stages):
        notes.append(
            "a stage has no proposed launch: its hours are those in still water, its day one"
        )
    unknown = sorted({t.name for t in things if not math.isfinite(t.mass_kg)})
    if unknown:
        notes.append(f"mass unknown and counted as 0: {', '.join(unknown)}")
    return (*notes, *spares.uncovered, *spares.unknown)

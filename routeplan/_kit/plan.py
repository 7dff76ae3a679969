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
from routeplan._kit.packfit import Packing, PackItem, pack
from routeplan._kit.rules import RuleSet, default_rules
from routeplan._kit.spares import SpareChoice, choose_spares
from routeplan._kit.warmth import Warmth, warmth
from routeplan.exposure import LegExposure
from routeplan.provisions import Outing, Provisions, Refill, provisions_for
from routeplan.route import Route
from routeplan.stops import places_of_waypoints, places_on_line

if TYPE_CHECKING:
    from routeplan.propulsion import Craft

__all__ = ["Carry", "KitPlan", "plan_kit"]

_CANISTER_G, _CANISTER_KG, _CANISTER_M3 = 230.0, 0.38, 1.1e-3  # a usual size; no source
_CARRY_KG = 20.0  # what one carries at a time over land; common practice, no source
_WATER_KG_L = 1.0
_WALKING_MS = 1.0  # loaded, over land; assumption
_SPARES = {"spare fin": False, "spare paddle": True}
_NO_SOURCE = "common practice, no source"


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
) -> KitPlan:
    """Work out the kit of a planned trip; `rules` are put over the default set."""
    every = default_rules() if rules is None else default_rules().merged(rules)
    facts = contexts(route, exposures, stages, group, craft.still_water_speed_ms)
    nights = nights_of(stages)
    asked = apply_rules(every, facts, len(group.people))
    needs = provisions_for(
        group,
        _outings(stages, exposures, nights, craft.still_water_speed_ms),
        nights,
        _refills(route),
        posture=craft.posture,
    )
    spares = choose_spares(group, _supplies(needs))
    lines = (*_with_spares(asked, spares), *_provision_lines(needs, group))
    things = tuple(_things(lines, every, group, spares, needs))
    packing = _packed(group, things, needs)
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
        carries=_carries(group, exposures, packing),
        load_kg=_load(things, needs),
        notes=_notes(needs, things, stages, spares),
    )


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


def _provision_lines(needs: Provisions, group: Group) -> Iterator[KitLine]:
    people = len(group.people)
    carried = needs.carried_l
    if math.isfinite(carried.expected):
        each = math.ceil(carried.expected / people)
        yield _provision(
            f"drinking water in containers, {each} L", people, "person",
            f"at most {carried.expected:.0f} L ({carried.low:.0f} to {carried.high:.0f}) for all "
            f"between two places to refill, {group.water_reserve:.0%} reserve in it",
        )  # fmt: skip
    if math.isfinite(needs.food_kg.expected):
        yield _provision(
            f"food for {needs.days} day{'s' if needs.days > 1 else ''}", people, "person",
            f"{needs.energy_kcal.expected:,.0f} kcal for all, {group.food_reserve:.0%} reserve on "
            "top; allergies asked for",
        )  # fmt: skip
    canisters = _canisters(needs)
    if canisters:
        yield _provision(
            "gas canister, 230 g", canisters, "group",
            f"{needs.fuel_g.expected:.0f} g ({needs.fuel_g.low:.0f} to {needs.fuel_g.high:.0f}) "
            f"heat {needs.heated_l.expected:.0f} L of water, {group.food_reserve:.0%} reserve",
        )  # fmt: skip


def _provision(item: str, quantity: int, per: str, why: str) -> KitLine:
    return KitLine(
        action="carry",
        item=item,
        quantity=quantity,
        each=1 if per == "person" else quantity,
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


def _canisters(needs: Provisions) -> int:
    fuel = needs.fuel_g.expected
    return math.ceil(fuel / _CANISTER_G) if math.isfinite(fuel) and fuel > 0.0 else 0


def _things(
    lines: Sequence[KitLine],
    rules: RuleSet,
    group: Group,
    spares: SpareChoice,
    needs: Provisions,
) -> Iterator[PackItem]:
    """Every thing by itself, with whose it is."""
    carriers = {c.spare.name: c for c in spares.chosen}
    for line in lines:
        if line.action not in ("wear", "carry") or line.rules == ("provisions",):
            continue
        if line.item in carriers:
            c = carriers[line.item]
            like = rules.item("spare paddle" if c.spare.is_paddle else "spare fin")
            yield PackItem(line.item, c.carrier, c.spare.mass_kg, like.volume_m3, like.reach)
            continue
        item = rules.item(line.item)
        always = line.action == "wear" and line.where == "whole trip"
        reach = "worn" if always else item.reach
        owners = _personal(line, group) or [""] * line.quantity
        for owner in owners:
            yield PackItem(line.item, owner, item.mass_kg, item.volume_m3, reach)
    for demand in needs.people:
        for day in range(1, needs.days + 1):
            yield PackItem(
                f"food, day {day}", demand.name, demand.food_kg.expected / needs.days,
                demand.food_l / needs.days * 1e-3, "main",
            )  # fmt: skip
    for _ in range(_canisters(needs)):
        yield PackItem("gas canister, 230 g", "", _CANISTER_KG, _CANISTER_M3, "main")


def _personal(line: KitLine, group: Group) -> list[str]:
    """Owners of what everybody has for themselves; empty for shared things."""
    if line.per != "person" or line.quantity != line.each * len(group.people):
        return []
    return [person.name for person in group.people for _ in range(line.each)]


def _packed(group: Group, things: tuple[PackItem, ...], needs: Provisions) -> Packing | None:
    if not group.bags:
        return None
    water = {d.name: d.carried_l.expected * _WATER_KG_L for d in needs.people}
    return pack(
        things,
        group.bags,
        {p.name: p.mass_kg + water[p.name] for p in group.people},
        {p.name: p.capacity_kg for p in group.people},
    )


def _owners(
    line: KitLine, group: Group, packing: Packing | None, spares: SpareChoice
) -> tuple[str, ...]:
    if line.action not in ("wear", "carry"):
        return ()
    carrier = next((c.carrier for c in spares.chosen if c.spare.name == line.item), None)
    if carrier is not None:
        return (carrier,)
    own = _personal(line, group)
    if own or packing is None:
        return tuple(dict.fromkeys(own))
    return tuple(load.bag.owner for load in packing.bags for i in load.items if i.name == line.item)


def _carries(
    group: Group, exposures: Sequence[LegExposure], packing: Packing | None
) -> tuple[Carry, ...]:
    """The carries of a portage: so many that none weighs more than 20 kg, the craft one more."""
    length = sum(e.land_m for e in exposures if e.portage)
    if not length or packing is None:
        return ()
    out = []
    for person in group.people:
        load = packing.load_kg[person.name] - person.mass_kg
        if not math.isfinite(load):
            continue
        count = max(1, math.ceil(load / _CARRY_KG))
        walked = length * (2 * (count + 1) - 1)
        out.append(Carry(person.name, length, count + 1, load / count, walked))
    return tuple(out)


def _load(things: Sequence[PackItem], needs: Provisions) -> Range:
    """Mass of everything but the people: the low and high figures are those of provisions."""
    food = ("food, day", "gas canister")
    kit = sum(t.mass_kg for t in things if math.isfinite(t.mass_kg) and not t.name.startswith(food))
    tare = _canisters(needs) * (_CANISTER_KG - _CANISTER_G * 1e-3)
    water, fuel = needs.carried_l, needs.fuel_g.times(1e-3, 1e-3, 1e-3)
    return Range(kit + tare, kit + tare, kit + tare) + water + needs.food_kg + fuel


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

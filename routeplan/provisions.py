"""Water, food and fuel for a group from hours, effort, temperature and nights.

Every amount is a `Range`: low, expected, high. Formulas and sources are those of the functions
`resting_energy_mifflin1990`, `activity_energy`, `drinking_water`, `heat_to_boil`, `fuel_mass`.
What is marked "assumption" is common practice without a source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from routeplan._kit.amounts import (
    HEAT_OF_BUTANE_J_KG,
    LONGER,
    MET,
    Range,
    activity_energy,
    drinking_water,
    fuel_mass,
    heat_to_boil,
    resting_energy_mifflin1990,
)
from routeplan._kit.facts import Night
from routeplan._kit.group import Group, Person
from routeplan.units import ZERO_CELSIUS_K

__all__ = [
    "COOKING",
    "HEAT_OF_BUTANE_J_KG",
    "MET",
    "Demand",
    "Outing",
    "Provisions",
    "Range",
    "Refill",
    "activity_energy",
    "drinking_water",
    "fuel_mass",
    "heat_to_boil",
    "provisions_for",
    "resting_energy_mifflin1990",
]

_EFFICIENCY = (0.60, 0.50, 0.40)  # share of heat that reaches the water; assumption, no source
_WIND_FACTOR = ((1.0, 1.1, 1.3), (1.0, 1.2, 1.6))  # calm, windy camp, with a screen; assumption
_WINDY_MS = 5.0
_DETOUR_M = 500.0  # a longer way to water is told
_SLEEP_H, _CAMP_H = 8.0, 3.0  # hours of a day asleep, and setting up, cooking, packing; assumption


@dataclass(frozen=True, slots=True)
class _Style:
    """A way of cooking: water in food and water heated a day [L], food [kcal/kg, L/kg]."""

    water_l: tuple[float, float, float]
    heated_l: tuple[float, float, float]
    kcal_kg: tuple[float, float, float]
    l_kg: float
    simmer: float  # heat for keeping warm as a share of that for boiling


# All assumptions, common practice without a source.
COOKING: Mapping[str, _Style] = MappingProxyType(
    {
        "none": _Style((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), (4000.0, 3200.0, 2600.0), 1.8, 0.0),
        "dried": _Style((0.8, 1.0, 1.4), (1.0, 1.4, 1.8), (4500.0, 4000.0, 3500.0), 2.2, 0.0),
        "wet pouch": _Style((0.2, 0.3, 0.5), (0.8, 1.0, 1.4), (1800.0, 1500.0, 1300.0), 1.3, 0.0),
        "fresh": _Style((0.5, 0.8, 1.2), (1.0, 1.3, 1.8), (2000.0, 1600.0, 1200.0), 1.8, 0.3),
    }
)
_CLEANING_L = (0.3, 0.5, 1.0)  # a person and day, the rest with sea water; assumption


_NONE = Range(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Outing:
    """One stage as provisions see it.

    `hours` on the water and `portage_h` of it carrying [h]; `air_k` the warmest air expected
    [K], nan unknown; `days` from this launch to the next one; `begin_m`, `end_m` along the route.
    """

    hours: float
    portage_h: float
    air_k: float
    days: int
    begin_m: float
    end_m: float


@dataclass(frozen=True, slots=True)
class Refill:
    """A place to refill water: where the line passes it and how far beside the line it is [m]."""

    name: str
    along_m: float
    off_m: float

    @property
    def detour_m(self) -> float:
        """What fetching water there adds to the way: out from the line and back [m]."""
        return 2.0 * self.off_m


@dataclass(frozen=True, slots=True)
class Demand:
    """What one person needs for the trip: drink and cooking water [L], energy [kcal], food [kg]."""

    name: str
    water_l: Range
    energy_kcal: Range
    food_kg: Range
    food_l: float
    carried_l: Range


@dataclass(frozen=True, slots=True)
class Provisions:
    """What the group needs.

    `water_l` for the whole trip with the reserve; `carried_l` the most between two refills, which
    is what has to be carried at one time; `energy_kcal` without the reserve; `food_kg`, `fuel_g`
    with it. `refills` are the places counted on, `left_out` those too far off the line, `notes`
    what was assumed or is unknown.
    """

    people: tuple[Demand, ...]
    water_l: Range
    carried_l: Range
    energy_kcal: Range
    food_kg: Range
    fuel_g: Range
    heated_l: Range
    refills: tuple[Refill, ...]
    left_out: tuple[Refill, ...]
    days: int
    notes: tuple[str, ...]


def provisions_for(
    group: Group,
    outings: Sequence[Outing],
    nights: Sequence[Night],
    refills: Sequence[Refill],
    *,
    posture: str,
) -> Provisions:
    """Water, food and fuel of a group.

    Parameters
    ----------
    group : Group
    outings : sequence of Outing
        One a stage, in order.
    nights : sequence of Night
        Between the stages.
    refills : sequence of Refill
        In order along the line; the start counts as one, and none that lies farther off the line
        than the group wants.
    posture : str
        Of the paddlers: "standing", "kneeling", "sitting".
    """
    styles = [COOKING[group.cooking]] if group.cooking else list(COOKING.values())
    days = sum(outing.days for outing in outings)
    near = tuple(refill for refill in refills if refill.off_m <= group.refill_within_m)
    far = tuple(refill for refill in refills if refill not in near)
    people = tuple(
        _demand(person, group, outings, near, styles, posture) for person in group.people
    )
    heated = _heated(styles).times(*(days * len(people),) * 3)
    return Provisions(
        people=people,
        water_l=_sum([p.water_l for p in people]),
        carried_l=_sum([p.carried_l for p in people]),
        energy_kcal=_sum([p.energy_kcal for p in people]),
        food_kg=_sum([p.food_kg for p in people]),
        fuel_g=_fuel(group, heated, nights, styles),
        heated_l=heated,
        refills=near,
        left_out=far,
        days=days,
        notes=(*_notes(group, outings, nights), *_refill_notes(group, near, far)),
    )


def _sum(many: Sequence[Range]) -> Range:
    total = _NONE
    for one in many:
        total = total + one
    return total


def _demand(
    person: Person,
    group: Group,
    outings: Sequence[Outing],
    refills: Sequence[Refill],
    styles: Sequence[_Style],
    posture: str,
) -> Demand:
    energy = _sum([_energy(person, outing, posture) for outing in outings])
    reserve = 1.0 + group.food_reserve
    densest = [max(s.kcal_kg[i] for s in styles) for i in range(3)]
    lightest = [min(s.kcal_kg[i] for s in styles) for i in range(3)]
    per_kg = (densest[0], lightest[1], lightest[2])
    food = energy.times(*(reserve / kcal for kcal in per_kg))
    share = 1.0 + group.water_reserve
    parts = [_water(person, outing, styles).times(share, share, share) for outing in outings]
    return Demand(
        person.name,
        _sum(parts),
        energy,
        food,
        food.expected * max(s.l_kg for s in styles),
        _between_refills(parts, outings, refills),
    )


def _energy(person: Person, outing: Outing, posture: str) -> Range:
    resting = resting_energy_mifflin1990(person.mass_kg, person.height_m, person.age, person.sex)
    figures = []
    for i in range(3):
        hours = outing.hours * LONGER[i]
        left = max(0.0, outing.days * (24.0 - _SLEEP_H - _CAMP_H) - hours)
        spent = (
            (MET[posture][i], hours - outing.portage_h),
            (MET["portage"][i], outing.portage_h),
            (MET["camp"][i], outing.days * _CAMP_H),
            (MET["rest"][i], left),
            (MET["sleep"][i], outing.days * _SLEEP_H),
        )
        figures.append(sum(activity_energy(met, h, resting) for met, h in spent))
    return Range(*figures)


def _water(person: Person, outing: Outing, styles: Sequence[_Style]) -> Range:
    drunk = drinking_water(person.sex, outing.days, outing.hours, outing.air_k)
    pick = (min, max, max)
    cooked = [
        outing.days * (pick[i](s.water_l[i] for s in styles) + _CLEANING_L[i]) for i in range(3)
    ]
    return drunk + Range(*cooked)


def _between_refills(
    parts: Sequence[Range], outings: Sequence[Outing], refills: Sequence[Refill]
) -> Range:
    """The most that is used between two refills: what has to be carried at one time.

    A stage's water is used at its end, where the camp is: the careful way to count.
    """
    fills = sorted({0.0, *(refill.along_m for refill in refills)})
    sums = dict.fromkeys(fills, _NONE)
    for part, outing in zip(parts, outings, strict=True):
        last = max(along for along in fills if along <= outing.end_m)
        sums[last] = sums[last] + part
    return Range(*(max(getattr(s, f) for s in sums.values()) for f in ("low", "expected", "high")))


def _heated(styles: Sequence[_Style]) -> Range:
    pick = (min, max, max)
    return Range(*(pick[i](s.heated_l[i] for s in styles) for i in range(3)))


def _fuel(group: Group, heated: Range, nights: Sequence[Night], styles: Sequence[_Style]) -> Range:
    """Fuel for the water heated, with the reserve [g]."""
    cold = group.water_k
    from_k = [max(cold, ZERO_CELSIUS_K)] * 3 if math.isfinite(cold) else [288.15, 283.15, 278.15]
    windy = not all(night.wind_ms <= _WINDY_MS for night in nights)
    simmer = 1.0 + max(s.simmer for s in styles)
    litres = (heated.low, heated.expected, heated.high)
    return Range(
        *(
            1000.0
            * fuel_mass(heat_to_boil(litres[i], from_k[i]), _EFFICIENCY[i])
            * _WIND_FACTOR[windy][i]
            * simmer
            * (1.0 + group.food_reserve)
            for i in range(3)
        )
    )


def _notes(group: Group, outings: Sequence[Outing], nights: Sequence[Night]) -> list[str]:
    notes = []
    for person in group.people:
        needed = (person.mass_kg, person.height_m, person.age)
        if not (person.sex and all(math.isfinite(v) for v in needed)):
            notes.append(
                f"energy and food of {person.name} are unknown: they need mass, height, age, sex"
            )
    if not group.cooking:
        notes.append("how the group cooks is unknown: the heaviest way is counted")
    if not math.isfinite(group.water_k):
        notes.append("water temperature unknown: 15, 10 and 5 °C are taken for heating")
    if not all(math.isfinite(outing.air_k) for outing in outings):
        notes.append("air temperature under way unknown: 20 °C, for the high figure 30 °C")
    if not all(math.isfinite(night.wind_ms) for night in nights):
        notes.append("wind at a camp unknown: a windy one is taken for fuel")
    if any(night.coldest_k < ZERO_CELSIUS_K for night in nights):
        notes.append("butane does not boil off below -0.5 °C: take a mixture for the cold")
    return notes


def _refill_notes(group: Group, near: Sequence[Refill], far: Sequence[Refill]) -> list[str]:
    notes = [
        f"{refill.name}: {refill.off_m:,.0f} m off the line, so {refill.detour_m:,.0f} m there and "
        "back, which no hours count"
        for refill in near
        if refill.detour_m > _DETOUR_M
    ]
    return notes + [
        f"{refill.name}: {refill.off_m:,.0f} m off the line, more than the "
        f"{group.refill_within_m:,.0f} m of refill_within, so no water is counted on there"
        for refill in far
    ]

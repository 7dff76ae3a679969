"""Water, food and fuel for a group from hours, effort, temperature and nights.

Every amount is a `Range`: low, expected, high.

References
----------
[1] Mifflin, St Jeor et al. 1990, Am J Clin Nutr 51(2):241: resting energy.
[2] Ainsworth et al. 2011, Compendium of Physical Activities: MET by activity.
[3] Willmott, Sayers and Brickley 2020, Eur J Sport Sci 20(8):1023: MET of standing paddling.
[4] EFSA Journal 2010;8(3):1459: adequate intake of water 2.0 (women), 2.5 L/d (men), 95th
    percentile 3.1 and 4.0, moderate temperature; about 80 % of it from drinks.
[5] ACSM 2007 (Sawka et al.), position stand on exercise and fluid replacement: 0.4 to 0.8 L/h to
    start from (figure from memory).
[6] Net heat of combustion of n-butane 45.72 MJ/kg, propane 46.34 MJ/kg, gas at 25 °C, from heats
    of formation (package `chemicals` 1.5.2).
What is marked "assumption" below is common practice without a source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from routeplan._facts import Night
from routeplan._kitgroup import Group, Person
from routeplan.errors import InputError
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

HEAT_OF_BUTANE_J_KG = 45.72e6  # net, gas at 25 °C [6]
_WATER_J_KG_K = 4186.0  # specific heat of water at 15 °C
_BOIL_K = ZERO_CELSIUS_K + 100.0
_EFFICIENCY = (0.60, 0.50, 0.40)  # share of heat that reaches the water; assumption, no source
_WIND_FACTOR = ((1.0, 1.1, 1.3), (1.0, 1.2, 1.6))  # calm, windy camp, with a screen; assumption
_WINDY_MS = 5.0
_LONGER = (1.0, 1.0, 1.25)  # how much longer the days on the water may turn out; assumption
_SLEEP_H, _CAMP_H = 8.0, 3.0  # hours of a day asleep, and setting up, cooking, packing; assumption
_DRINKS = 0.8  # share of the total water that is drunk [4]
_WATER_AI_L = {"female": 2.0, "male": 2.5}  # [4]
_WATER_P95_L = {"female": 3.1, "male": 4.0}  # [4]
_PADDLING_L_H = (0.4, 0.6, 0.8)  # [5]; the middle is an assumption
_HOT_L_H_K = 0.02  # more for each kelvin above 20 °C; assumption
_HOT_C = 20.0

MET: Mapping[str, tuple[float, float, float]] = MappingProxyType(
    {
        "standing": (3.5, 4.6, 6.0),  # field at 20 and 30 strokes a minute [3]; 18225 [2]
        "kneeling": (3.5, 5.0, 5.8),  # 18070, 18100, 18050 [2]
        "sitting": (3.5, 5.0, 5.8),  # 18070, 18100, 18050 [2]
        "portage": (6.0, 7.0, 8.0),  # 18030 is 7.0 [2]; the spread an assumption
        "camp": (2.0, 2.5, 3.5),  # assumption
        "rest": (1.3, 1.4, 1.6),  # assumption
        "sleep": (0.95, 0.95, 0.95),  # 07030 [2], from memory
    }
)


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


@dataclass(frozen=True, slots=True)
class Range:
    """An amount: low, expected, high; nan unknown."""

    low: float
    expected: float
    high: float

    def __add__(self, other: Range) -> Range:
        return Range(self.low + other.low, self.expected + other.expected, self.high + other.high)

    def times(self, low: float, expected: float, high: float) -> Range:
        """Each figure times a factor of its own."""
        return Range(self.low * low, self.expected * expected, self.high * high)


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
    with it. `refills` are the places counted on, `notes` what was assumed or is unknown.
    """

    people: tuple[Demand, ...]
    water_l: Range
    carried_l: Range
    energy_kcal: Range
    food_kg: Range
    fuel_g: Range
    heated_l: Range
    refills: tuple[Refill, ...]
    days: int
    notes: tuple[str, ...]


def resting_energy_mifflin1990(mass_kg: float, height_m: float, age: float, sex: str) -> float:
    """Resting energy of a day.

    Parameters
    ----------
    mass_kg, height_m, age : float
        [kg], [m], [years]
    sex : str
        "female" or "male"; anything else gives nan.

    Returns
    -------
    float
        [kcal/d]; nan where an input is unknown.

    Notes
    -----
    10 W + 6.25 H - 5 A + 5 (men) or - 161 (women), W in kg, H in cm, A in years. [1]_ Fitted to
    adults of 19 to 78 years.
    """
    shift = {"male": 5.0, "female": -161.0}.get(sex, math.nan)
    return 10.0 * mass_kg + 6.25 * height_m * 100.0 - 5.0 * age + shift


def activity_energy(met: float, hours: float, resting_kcal_d: float) -> float:
    """Energy of an activity, resting included: MET times hours times the hourly resting energy.

    Returns
    -------
    float
        [kcal]
    """
    return met * hours * resting_kcal_d / 24.0


def drinking_water(sex: str, days: float, hours: float, air_k: float) -> Range:
    """Water to drink, without that in food and for cooking.

    Parameters
    ----------
    sex : str
        "female", "male"; "" counts between both and up to the larger.
    days, hours : float
        Days, and hours of paddling in them.
    air_k : float
        Air temperature while paddling; nan is taken as 20 °C, for the high figure as 30 °C. [K]

    Returns
    -------
    Range
        [L]

    Notes
    -----
    Four fifths of the adequate intake of total water, for the high figure of its 95th percentile
    [4]_; 0.4, 0.6 and 0.8 L an hour of paddling [5]_ and 0.02 L/h more for each kelvin above
    20 °C (assumption).
    """
    sexes = [sex] if sex in _WATER_AI_L else list(_WATER_AI_L)
    intake = [_WATER_AI_L[s] * _DRINKS for s in sexes]
    most = max(_WATER_P95_L[s] for s in sexes) * _DRINKS
    known = math.isfinite(air_k)
    air = [air_k - ZERO_CELSIUS_K] * 3 if known else [_HOT_C, _HOT_C, 30.0]
    hot = [_HOT_L_H_K * max(0.0, c - _HOT_C) for c in air]
    daily = (min(intake), sum(intake) / len(intake), most)
    return Range(
        *(
            days * day + hours * longer * (rate + more)
            for day, rate, more, longer in zip(daily, _PADDLING_L_H, hot, _LONGER, strict=True)
        )
    )


def heat_to_boil(water_kg: float, from_k: float) -> float:
    """Heat that brings water to 100 °C.

    Parameters
    ----------
    water_kg, from_k : float
        [kg], [K]

    Returns
    -------
    float
        [J]

    Notes
    -----
    m c (373.15 K - T) with c = 4186 J/(kg K), within 0.1 % of the enthalpy between 0 and 100 °C.
    Ice is not melted.

    Raises
    ------
    InputError
        Below freezing or above boiling.
    """
    if not ZERO_CELSIUS_K - 3.0 <= from_k <= _BOIL_K:
        msg = f"water of {from_k:g} K cannot be heated to boil; allowed is 270.15 to 373.15 K"
        raise InputError(msg, field="from_k", value=from_k)
    return water_kg * _WATER_J_KG_K * (_BOIL_K - from_k)


def fuel_mass(
    heat_j: float, efficiency: float, *, heat_of_combustion_j_kg: float = HEAT_OF_BUTANE_J_KG
) -> float:
    """Fuel that gives a heat to the water at a stove's efficiency [kg].

    Raises
    ------
    InputError
        An efficiency that is not above 0 and at most 1.
    """
    if not 0.0 < efficiency <= 1.0:
        msg = f"stove efficiency {efficiency:g} is not allowed; allowed is above 0, at most 1"
        raise InputError(msg, field="efficiency", value=efficiency)
    return heat_j / efficiency / heat_of_combustion_j_kg


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
        In order along the line; the start counts as one.
    posture : str
        Of the paddlers: "standing", "kneeling", "sitting".
    """
    styles = [COOKING[group.cooking]] if group.cooking else list(COOKING.values())
    days = sum(outing.days for outing in outings)
    people = tuple(
        _demand(person, group, outings, refills, styles, posture) for person in group.people
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
        refills=tuple(refills),
        days=days,
        notes=tuple(_notes(group, outings, nights)),
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
        hours = outing.hours * _LONGER[i]
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

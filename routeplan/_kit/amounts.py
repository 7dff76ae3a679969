"""Amounts from hours, effort and temperature: energy, water, heat and fuel.

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
What is marked "assumption" is common practice without a source.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from routeplan.errors import InputError
from routeplan.units import ZERO_CELSIUS_K

__all__ = [
    "HEAT_OF_BUTANE_J_KG",
    "LONGER",
    "MET",
    "Range",
    "activity_energy",
    "drinking_water",
    "fuel_mass",
    "heat_to_boil",
    "resting_energy_mifflin1990",
]

HEAT_OF_BUTANE_J_KG = 45.72e6  # net, gas at 25 °C [6]
_WATER_J_KG_K = 4186.0  # specific heat of water at 15 °C
_BOIL_K = ZERO_CELSIUS_K + 100.0
LONGER = (1.0, 1.0, 1.25)  # how much longer the days on the water may turn out; assumption
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
            for day, rate, more, longer in zip(daily, _PADDLING_L_H, hot, LONGER, strict=True)
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

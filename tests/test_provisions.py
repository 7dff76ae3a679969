"""Provisions against published figures, and amounts that add up."""

import math

import numpy as np
import pytest

from routeplan._kit.amounts import LONGER
from routeplan._kit.facts import Night
from routeplan.errors import InputError
from routeplan.provisions import (
    COOKING,
    HEAT_OF_BUTANE_J_KG,
    MET,
    Outing,
    Refill,
    activity_energy,
    drinking_water,
    fuel_mass,
    heat_to_boil,
    provisions_for,
    resting_energy_mifflin1990,
)
from routeplan.rules import Group, Person

C = 273.15
A = Person("A", "male", 80.0, 1.80, 30.0)
B = Person("B", "female", 60.0, 1.65, 40.0)


def test_mifflin_worked_figures():
    """Man of 80 kg, 180 cm, 30 years: 1780 kcal/d (ntro.it.com, accessed 2026-11-25).

    Woman of 68 kg, 178 cm, 25 years: 1508 by the unrounded coefficients 9.99, 6.25, 4.92
    (caloriedietoverview.blogspot.com, the same day); the rounded ones give 1506.5.
    """
    assert resting_energy_mifflin1990(80.0, 1.80, 30.0, "male") == pytest.approx(1780.0)
    woman = resting_energy_mifflin1990(68.0, 1.78, 25.0, "female")
    assert woman == pytest.approx(1508.0, abs=2.0)
    assert woman == pytest.approx(1506.5)
    assert math.isnan(resting_energy_mifflin1990(68.0, 1.78, 25.0, ""))


def test_compendium_mets():
    """Compendium of Physical Activities 2011: 18225 paddle boarding standing 6.0, 18070 pleasure
    3.5, 18100 kayaking moderate 5.0, 18050 canoeing moderate 5.8, 18030 portaging 7.0
    (andyreagan/compendium-of-physical-activity, data/water_activities.html, 2026-11-25).

    Field METs of standing paddling at 20 and 30 strokes a minute 3.5 and 4.6: Willmott, Sayers
    and Brickley 2020, doi 10.1080/17461391.2019.1695955 (abstract).
    """
    assert MET["standing"] == (3.5, 4.6, 6.0)
    assert MET["sitting"] == (3.5, 5.0, 5.8)
    assert MET["portage"][1] == 7.0


def test_energy_of_paddling_is_near_the_measured():
    """6.3 kcal/min were measured afloat at 4.6 MET and 70.5 kg (Willmott et al. 2020, abstract).

    A MET of resting energy leaves out the work-day of the body: within a third of it.
    """
    resting = resting_energy_mifflin1990(70.5, 1.75, 30.0, "male")
    assert activity_energy(4.6, 1.0 / 60.0, resting) == pytest.approx(6.3, rel=0.33)


def test_one_met_is_about_a_kilocalorie_per_kilogram_and_hour():
    """1 MET is 3.5 ml O2/kg/min, about 1 kcal/kg/h (from memory)."""
    resting = resting_energy_mifflin1990(80.0, 1.80, 30.0, "male")
    assert activity_energy(1.0, 1.0, resting) == pytest.approx(80.0, rel=0.1)


def test_drinking_water_guidance():
    """EFSA Journal 2010;8(3):1459, abstract: total 2.0 and 2.5 L/d, about 80 % as drinks, so 1.6
    and 2.0; 95th percentile 3.1 and 4.0 (PMC4473081 table 1). ACSM 2007: 0.4 to 0.8 L/h (from
    memory), within its sweat losses of 0.5 to 2.0 L/h.
    """
    woman = drinking_water("female", 1.0, 0.0, 15.0 + C)
    man = drinking_water("male", 1.0, 0.0, 15.0 + C)
    assert (woman.low, woman.expected) == (pytest.approx(1.6), pytest.approx(1.6))
    assert (man.expected, man.high) == (pytest.approx(2.0), pytest.approx(3.2))
    assert woman.high == pytest.approx(3.1 * 0.8)
    hour = drinking_water("male", 0.0, 1.0, 15.0 + C)
    assert (hour.low, hour.high / LONGER[2]) == (pytest.approx(0.4), pytest.approx(0.8))
    hot = drinking_water("male", 0.0, 1.0, 35.0 + C)
    assert 0.5 <= hot.expected <= 2.0
    assert hot.expected > hour.expected


def test_water_for_people_and_air_unknown_spans_the_known():
    unknown = drinking_water("", 2.0, 5.0, math.nan)
    for sex in ("female", "male"):
        known = drinking_water(sex, 2.0, 5.0, 20.0 + C)
        assert unknown.low <= known.low + 1e-9
        assert unknown.high >= known.high - 1e-9


def test_heat_of_water():
    """1 kg from 15 to 100 °C: 355.8 kJ with 4.186 kJ/kg/K; 355.88 by CoolProp 8.0 to 373.1 K."""
    assert heat_to_boil(1.0, 15.0 + C) == pytest.approx(355.8e3, rel=1e-4)
    assert heat_to_boil(1.0, 15.0 + C) == pytest.approx(355.88e3, rel=1e-3)
    assert heat_to_boil(2.0, 100.0 + C) == 0.0
    with pytest.raises(InputError, match=r"cannot be heated"):
        heat_to_boil(1.0, 250.0)
    with pytest.raises(InputError, match="cannot be heated"):
        heat_to_boil(1.0, math.nan)


def test_heat_of_combustion_and_fuel():
    """Net 45.72 MJ/kg of n-butane, 46.34 of propane (heats of formation, PyPI chemicals 1.5.2).

    A litre from 15 to 100 °C at 50 %: 15.6 g of butane. The gross figures less the heat of the
    steam: 2877.2 kJ/mol - 5 x 44.0 over 58.12 g/mol.
    """
    assert HEAT_OF_BUTANE_J_KG == 45.72e6
    assert pytest.approx(HEAT_OF_BUTANE_J_KG, rel=1e-3) == (2877.2 - 5 * 44.0) / 58.12 * 1e6
    assert fuel_mass(heat_to_boil(1.0, 15.0 + C), 0.5) == pytest.approx(15.6e-3, abs=5e-5)
    for efficiency in (0.0, -1.0, 1.1, math.nan):
        with pytest.raises(InputError, match="allowed is above 0"):
            fuel_mass(1.0, efficiency)


def outing(hours=5.0, days=1, begin=0.0, end=10_000.0, portage=0.0):
    return Outing(hours, portage, 15.0 + C, days, begin, end)


def night(wind=2.0, coldest=10.0 + C):
    t = np.datetime64("2026-07-13", "ns")
    return Night(1, "camp", t, t, 1, coldest, wind)


def needs(group, outings=None, nights=None, refills=()):
    outings, nights = outings or [outing()], nights or [night()]
    return provisions_for(group, outings, nights, refills, posture="standing")


def group(**changes):
    values = {"cooking": "dried", "water_k": 10.0 + C} | changes
    return Group((A, B), **values)


def test_low_expected_high_are_in_order_and_people_add_up():
    found = needs(group(), [outing(days=2), outing(begin=10_000.0, end=20_000.0)])
    for name in ("water_l", "energy_kcal", "food_kg", "fuel_g", "carried_l"):
        amount = getattr(found, name)
        assert 0.0 < amount.low < amount.expected < amount.high
    for name in ("water_l", "energy_kcal", "food_kg"):
        total = sum(getattr(person, name).expected for person in found.people)
        assert getattr(found, name).expected == pytest.approx(total)
    assert found.days == 3


def test_a_worked_day():
    """A man of 1780 kcal/d: 5 h at 4.6 MET, 3 h at 2.5, 8 h at 1.4, 8 h at 0.95, by hand."""
    found = needs(Group((A,), cooking="dried", water_k=10.0 + C))
    met_hours = 5 * 4.6 + 3 * 2.5 + 8 * 1.4 + 8 * 0.95
    assert found.energy_kcal.expected == pytest.approx(1780.0 / 24.0 * met_hours)
    assert found.food_kg.expected == pytest.approx(1.2 * found.energy_kcal.expected / 4000.0)
    water = 1.25 * (2.0 + 5 * 0.6 + 1.0 + 0.5)
    assert found.water_l.expected == pytest.approx(water)
    grams = 1000.0 * fuel_mass(1.4 * 4186.0 * 90.0, 0.5) * 1.1 * 1.2
    assert found.fuel_g.expected == pytest.approx(grams)


def test_more_of_everything_needs_more():
    base = needs(group())
    assert needs(group(), [outing(hours=8.0)]).energy_kcal.expected > base.energy_kcal.expected
    assert needs(group(), [outing(days=2)]).fuel_g.expected == pytest.approx(
        2.0 * base.fuel_g.expected
    )
    assert needs(group(), nights=[night(wind=9.0)]).fuel_g.expected > base.fuel_g.expected
    assert needs(group(water_k=2.0 + C)).fuel_g.expected > base.fuel_g.expected
    assert needs(group(), [outing(portage=1.0)]).energy_kcal.expected > base.energy_kcal.expected


@pytest.mark.parametrize("style", sorted(COOKING))
def test_every_style_of_cooking(style):
    found = needs(group(cooking=style))
    assert found.food_kg.expected > 0.0
    assert (found.fuel_g.expected > 0.0) is (style != "none")


def test_unknown_cooking_counts_the_heaviest():
    unknown = needs(group(cooking=""))
    for style in COOKING:
        known = needs(group(cooking=style))
        assert unknown.food_kg.expected >= known.food_kg.expected
        assert unknown.fuel_g.expected >= known.fuel_g.expected
        assert unknown.water_l.expected >= known.water_l.expected
    assert any("heaviest way" in note for note in unknown.notes)


def test_a_person_who_is_not_known_makes_energy_unknown():
    found = needs(Group((A, Person("Z")), cooking="dried"))
    assert math.isnan(found.energy_kcal.expected)
    assert math.isnan(found.food_kg.expected)
    assert math.isfinite(found.water_l.expected)
    assert any("of Z are unknown" in note for note in found.notes)


def test_unknown_wind_counts_as_windy_and_says_so():
    found = needs(group(), nights=[night(wind=math.nan)])
    assert found.fuel_g.expected == needs(group(), nights=[night(wind=9.0)]).fuel_g.expected
    assert any("wind at a camp unknown" in note for note in found.notes)


def test_cold_nights_warn_of_butane():
    """n-butane boils at 272.66 K, -0.5 °C (CoolProp)."""
    assert any("-0.5" in note for note in needs(group(), nights=[night(coldest=C - 2.0)]).notes)
    assert needs(group(), nights=[night(coldest=C + 2.0)]).notes == ()


def test_water_carried_is_the_most_between_refills():
    outings = [outing(end=10_000.0), outing(begin=10_000.0, end=20_000.0),
               outing(begin=20_000.0, end=30_000.0)]  # fmt: skip
    none = needs(group(), outings)
    assert none.carried_l.expected == pytest.approx(none.water_l.expected)
    after_first = needs(group(), outings, refills=[Refill("spring", 10_500.0, 50.0)])
    assert after_first.carried_l.expected == pytest.approx(none.water_l.expected * 2 / 3)
    at_camps = [Refill("a", 10_001.0, 0.0), Refill("b", 20_001.0, 0.0)]
    each = needs(group(), outings, refills=at_camps)
    assert each.carried_l.expected == pytest.approx(none.water_l.expected / 3)


def test_reserves_are_shares_on_top():
    assert needs(group(water_reserve=0.0)).water_l.expected * 1.25 == pytest.approx(
        needs(group()).water_l.expected
    )
    plain, more = needs(group(food_reserve=0.0)), needs(group(food_reserve=0.5))
    assert more.food_kg.expected == pytest.approx(1.5 * plain.food_kg.expected)
    assert more.energy_kcal == plain.energy_kcal

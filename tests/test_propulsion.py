"""Speed from the power balance: its own balance, its limits, and published bands."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeplan.errors import InputError
from routeplan.propulsion import (
    AIR_DENSITY_KG_M3,
    CRAFTS,
    Craft,
    craft,
    craft_row,
    speed_against_wind,
    speed_through_water,
)
from routeplan.units import KNOT_MS, MILE_M

MPH_MS = MILE_M / 3600.0
BOARD, KAYAK = craft("touring board"), craft("sea kayak")


@pytest.mark.parametrize("name", list(CRAFTS))
def test_still_water_speed_in_still_air(name):
    it = craft(name)
    assert speed_through_water(it, 0.0) == pytest.approx(it.still_water_speed_ms, rel=1e-6)


@pytest.mark.parametrize(("head", "cross"), [(0.0, 0.0), (5.0, 0.0), (-6.0, 0.0), (3.0, 7.0)])
def test_power_balances_by_the_written_equations(head, cross):
    """Equations (1) and (2) of the module, written down again."""
    v = float(speed_through_water(KAYAK, head, cross))
    v0, eta = KAYAK.still_water_speed_ms, KAYAK.paddle_efficiency
    at_v0 = KAYAK.power_w * eta / v0
    k = at_v0 / (v0 * (1 - eta) / eta) ** 2
    area = 0.5 * AIR_DENSITY_KG_M3 * KAYAK.frontal_area_drag_m2
    a = (at_v0 - area * v0**2) / v0**KAYAK.hull_exponent
    drag = a * v**KAYAK.hull_exponent + area * math.hypot(head + v, cross) * (head + v)
    assert drag * (v + math.sqrt(drag / k)) == pytest.approx(KAYAK.power_w, rel=1e-5)


def test_wind_force_on_a_standing_person():
    # 0.5 x 1.225 x 0.84 m² x (7.2 m/s)² = 26.7 N at 14 kn: CdA of Hoerner 1965 as quoted at
    # physics.stackexchange.com/questions/41934, the force worked out by hand.
    row = craft_row(BOARD)
    assert row[4] * 7.2**2 == pytest.approx(26.7, abs=0.05)


# -- sanity bands: published experience, not exact tests -------------------------------------


@pytest.mark.parametrize("name", ["touring board", "open canoe", "inflatable board"])
def test_loss_in_a_headwind_of_8_to_12_mph_is_about_a_third(name):
    # "8-12 mph: a third slower", outdoors.org (Appalachian Mountain Club), accessed 2026-11-25.
    left = speed_against_wind(craft(name), [8 * MPH_MS, 12 * MPH_MS], [0.0])[0]
    left = left / craft(name).still_water_speed_ms
    assert left[0] > 2 / 3 > left[1]


@pytest.mark.parametrize("name", ["touring board", "open canoe", "inflatable board"])
def test_loss_in_a_headwind_of_13_to_18_mph_is_half_or_more(name):
    # "13-18 mph: half or more", the same source; at the middle of the band.
    it = craft(name)
    assert speed_through_water(it, 15.5 * MPH_MS) / it.still_water_speed_ms <= 0.5


def test_kayak_in_a_headwind_of_20_and_25_knots():
    # Burke, Kayak Navigation, as quoted at forums.paddling.com 26677, accessed 2026-11-25: a
    # wind of 20 kn leaves 1.5 kn, and in 25 kn many make no way.
    at20, at25 = speed_through_water(KAYAK, [20 * KNOT_MS, 25 * KNOT_MS]) / KNOT_MS
    assert 0.5 <= at20 <= 2.0
    assert at25 <= 0.5


def test_kayak_holds_station_in_14_knots_for_the_effort_of_3_knots():
    # The same source: to hold against 14 kn takes the effort of 3 kn in calm. Thrust is compared.
    row = craft_row(KAYAK)
    in_wind = row[4] * (14 * KNOT_MS) ** 2
    v = 3 * KNOT_MS
    in_calm = row[2] * v ** row[3] + row[4] * v**2
    assert 0.5 < in_wind / in_calm < 2.0


def test_kayak_drag_lies_between_the_published_extremes():
    # 3.87 N at 3 kn for a loaded single in calm (nspn.org topic 5359) and about 22 N for the
    # average paddler over a long distance (iska.ie 520, anecdotal); both accessed 2026-11-25.
    row = craft_row(KAYAK)
    v = 3 * KNOT_MS
    assert 3.87 <= row[2] * v ** row[3] <= 22.0


@pytest.mark.parametrize("name", list(CRAFTS))
def test_power_is_that_of_a_steady_human(name):
    # A fit adult gives 50 to 150 W for an hour, a labourer 75 W over a day (piglix "Human power",
    # princeton.edu/~maelabs/hpt, accessed 2026-11-25); touring takes less. A canoe carries two.
    people = 2 if name == "open canoe" else 1
    assert 20.0 <= craft(name).power_w / people <= 75.0


# -- properties -------------------------------------------------------------------------------

WINDS = st.floats(-15.0, 15.0)
NAMES = st.sampled_from(sorted(CRAFTS))


@given(NAMES, WINDS, WINDS, st.floats(0.0, 5.0))
def test_more_following_wind_never_slows(name, head, cross, more):
    it = craft(name)
    slow, fast = speed_through_water(it, [head, head - more], cross)
    assert fast >= slow - 1e-4


@given(NAMES, WINDS, WINDS, st.floats(0.0, 3.0), st.floats(0.0, 180.0))
def test_waves_never_help_and_the_sign_of_the_side_is_nothing(name, head, cross, height, angle):
    it = craft(name)
    flat = speed_through_water(it, head, cross)
    rough = speed_through_water(it, head, cross, height, angle)
    assert 0.0 <= rough <= flat
    assert speed_through_water(it, head, -cross) == pytest.approx(flat, abs=1e-6)


def test_head_seas_cost_more_than_following_ones():
    head, beam, follow = speed_through_water(KAYAK, 0.0, 0.0, 0.5, [0.0, 90.0, 180.0])
    assert head < beam < follow < KAYAK.still_water_speed_ms
    assert head == pytest.approx(KAYAK.still_water_speed_ms * (1 - 0.5 * 0.15), rel=1e-6)
    assert beam == pytest.approx(KAYAK.still_water_speed_ms * (1 - 0.5 * 0.10), rel=1e-6)


def test_no_way_is_an_answer_and_unknown_stays_unknown():
    speed = speed_through_water(BOARD, [25.0, np.nan, 3.0], [0.0, 0.0, np.nan])
    assert speed[0] == 0.0
    assert np.isnan(speed[1:]).all()


def test_shapes_broadcast():
    out = speed_through_water(BOARD, np.zeros((3, 1)), np.ones((1, 4)))
    assert out.shape == (3, 4)
    assert speed_through_water(BOARD, 1.0).shape == ()
    assert speed_against_wind(BOARD, np.arange(5.0), [0.0, 180.0]).shape == (2, 5)


# -- choosing a craft -------------------------------------------------------------------------


def test_a_new_posture_brings_its_own_air_drag():
    assert craft("touring board", posture="kneeling").frontal_area_drag_m2 == 0.55
    kept = craft("touring board", posture="kneeling", frontal_area_drag_m2=0.7)
    assert kept.frontal_area_drag_m2 == 0.7


def test_what_the_user_gives_is_no_assumption():
    assert "still_water_speed_ms" in BOARD.assumptions
    assert (
        "still_water_speed_ms" not in craft("touring board", still_water_speed_ms=1.5).assumptions
    )


@pytest.mark.parametrize(
    ("name", "changes", "message"),
    [
        ("raft", {}, "craft 'raft' is unknown; allowed are touring board, inflatable board"),
        ("sea kayak", {"colour": 1}, "a craft has no 'colour'; allowed are still_water_speed_ms"),
        ("sea kayak", {"posture": "lying"}, "posture 'lying' is unknown; allowed are standing"),
        ("sea kayak", {"power_w": math.nan}, "power_w is nan; allowed is 5 to 500"),
        ("sea kayak", {"still_water_speed_ms": 20.0}, "still water of 20 m/s; allowed is 0.2 to 5"),
        ("sea kayak", {"still_water_speed_ms": "fast"}, "is 'fast'; allowed is 0.2 to 5"),
        (
            "touring board",
            {"still_water_speed_ms": 4.5, "power_w": 20.0},
            "20 W do not reach 4.5 m/s against still air alone",
        ),
    ],
)
def test_bad_craft(name, changes, message):
    with pytest.raises(InputError, match=r"allowed|give a lower speed") as caught:
        craft(name, **changes)
    assert message in str(caught.value)


def test_a_craft_of_ones_own():
    own = Craft("own", still_water_speed_ms=1.6, posture="sitting", frontal_area_drag_m2=0.4)
    assert speed_through_water(own, 0.0) == pytest.approx(1.6, rel=1e-6)

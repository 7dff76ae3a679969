"""Wind components, direction and the Beaufort scale."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from routeplan.errors import InputError
from routeplan.wind import (
    BEAUFORT_LOWER_KN,
    beaufort,
    beaufort_knots,
    headwind_crosswind,
    wind_components,
    wind_direction,
    wind_speed,
)

# Beaufort scale. Knots: Met Office table, transcribed at
# infotextmanuscripts.org/clio/clio-numbers-12-beaufort-2.html. m/s: the WMO scale, transcribed
# at vsail4u.com (page on wind). Both accessed 2026-11-25.
BEAUFORT_MS = [
    (0, 0.0, 0.2),
    (1, 0.3, 1.5),
    (2, 1.6, 3.3),
    (3, 3.4, 5.4),
    (4, 5.5, 7.9),
    (5, 8.0, 10.7),
    (6, 10.8, 13.8),
    (7, 13.9, 17.1),
    (8, 17.2, 20.7),
    (9, 20.8, 24.4),
    (10, 24.5, 28.4),
    (11, 28.5, 32.6),
    (12, 32.7, 80.0),
]
BEAUFORT_KN = [
    (0, 0, 0),
    (1, 1, 3),
    (2, 4, 6),
    (3, 7, 10),
    (4, 11, 16),
    (5, 17, 21),
    (6, 22, 27),
    (7, 28, 33),
    (8, 34, 40),
    (9, 41, 47),
    (10, 48, 55),
    (11, 56, 63),
    (12, 64, 100),
]


@pytest.mark.parametrize(("force", "low", "high"), BEAUFORT_MS)
def test_beaufort_bounds_in_metres_per_second(force, low, high):
    assert beaufort([low, high]).tolist() == [force, force]


@pytest.mark.parametrize(("force", "low", "high"), BEAUFORT_KN)
def test_beaufort_bounds_in_knots(force, low, high):
    assert beaufort_knots([low, high]).tolist() == [force, force]


def test_beaufort_has_no_gap_between_rows_and_knows_unknown():
    # 5.44 reads as 5.4 (force 3), 5.45 as 5.5 (force 4); the table has nothing between.
    assert beaufort([5.44, 5.45]).tolist() == [3, 4]
    assert beaufort(np.nan).tolist() == -1
    assert len(BEAUFORT_LOWER_KN) == 12


def test_negative_speed_is_refused():
    with pytest.raises(InputError, match=r"wind speed -1: allowed are 0 and more"):
        beaufort([3.0, -1.0])
    with pytest.raises(InputError, match=r"wind speed -1 m/s: allowed are 0 and more"):
        wind_components([-1.0], [90.0])


def test_components_follow_the_published_convention():
    # MetPy's test of wind_components (github.com/Unidata/MetPy, accessed 2026-11-25): 4 mph from
    # 90 gives u = -4, v = 0; from 180 u = 0, v = +; from 45 u = v = -4 / sqrt(2).
    u, v = wind_components([4.0, 4.0, 4.0], [90.0, 180.0, 45.0])
    assert u == pytest.approx([-4.0, 0.0, -4.0 / np.sqrt(2.0)], abs=1e-12)
    assert v == pytest.approx([0.0, 4.0, -4.0 / np.sqrt(2.0)], abs=1e-12)


def test_direction_is_where_the_wind_comes_from():
    # A westerly blows towards the east.
    assert wind_direction([5.0, 0.0, -5.0, 0.0], [0.0, -5.0, 0.0, 5.0]).tolist() == [
        270.0,
        0.0,
        90.0,
        180.0,
    ]
    assert np.isnan(wind_direction(0.0, 0.0))


@given(
    st.floats(0.01, 100.0),
    st.floats(0.0, 360.0, exclude_max=True),
)
def test_speed_and_direction_survive_components(speed, direction):
    u, v = wind_components(speed, direction)
    assert float(wind_speed(u, v)) == pytest.approx(speed, rel=1e-12)
    turned = (float(wind_direction(u, v)) - direction + 180.0) % 360.0 - 180.0
    assert turned == pytest.approx(0.0, abs=1e-9)
    assert 0.0 <= float(wind_direction(u, v)) < 360.0


def test_headwind_and_crosswind():
    # Paddling north into a northerly of 6; then a wind from the east is on the right hand.
    head, cross = headwind_crosswind([0.0, -6.0, 0.0], [-6.0, 0.0, 6.0], 0.0)
    assert head == pytest.approx([6.0, 0.0, -6.0])
    assert cross == pytest.approx([0.0, 6.0, 0.0])
    head, cross = headwind_crosswind(0.0, -6.0, 90.0)  # east, a northerly on the left hand
    assert float(head) == pytest.approx(0.0, abs=1e-12)
    assert float(cross) == pytest.approx(-6.0)

"""Effective fetch and the side a wind blows from."""

import numpy as np
import pytest

from routeplan._shore.rose import RADIALS_DEG, effective_fetch_saville1954, sectors, wind_sides


def test_equal_radials_give_their_length():
    assert effective_fetch_saville1954(np.full((2, 180), 7_000.0)) == pytest.approx(7_000.0)


def test_weights_add_up_as_published():
    # Sum of the fifteen cosines, 13.5109 (computed; printed tables round it to 13.512, from
    # memory): one radial of that length at 0 degrees alone gives 1.
    radials = np.zeros(180)
    radials[0] = 13.5109
    fetch = effective_fetch_saville1954(radials)
    assert fetch[0] == pytest.approx(1.0, abs=1e-5)
    assert fetch[9] == 0.0  # 90 degrees off


def test_a_gap_counts_by_its_width():
    # Open between 350 and 10 degrees, else shore at 1 km. By hand: radials at -6, 0, 6 degrees
    # are open, so F = (1 * (13.5109 - 2.9890) + 50 * 2.9890) / 13.5109 km.
    open_ = np.minimum(RADIALS_DEG, 360 - RADIALS_DEG) <= 10
    fetch = effective_fetch_saville1954(np.where(open_, 50_000.0, 1_000.0))
    assert fetch[0] == pytest.approx(1_000 * (10.5219 + 50 * 2.9890) / 13.5109, abs=1.0)


def test_effective_fetch_never_exceeds_the_longest_radial():
    rng = np.random.default_rng(4)
    radials = rng.uniform(0, 1e5, (50, 180))
    fetch = effective_fetch_saville1954(radials)
    assert (fetch <= radials.max(axis=1)[:, None]).all()
    assert (fetch >= radials.min(axis=1)[:, None]).all()


def test_sides_of_a_shore_in_the_east():
    at = np.array([0.0, 100.0, 300.0])
    sides = wind_sides(at, np.full(3, 90.0), np.array([270.0, 90.0, 0.0, 226.0, 224.0]))
    assert sides[0] == pytest.approx([1, 0, 0])  # a west wind blows onto it
    assert sides[1] == pytest.approx([0, 0, 1])
    assert sides[2] == pytest.approx([0, 1, 0])
    assert sides[3] == pytest.approx([1, 0, 0])
    assert sides[4] == pytest.approx([0, 1, 0])


def test_sides_are_shares_by_length():
    at = np.array([0.0, 100.0, 200.0, 400.0])
    bearing = np.array([90.0, 90.0, 270.0, 270.0])
    sides = wind_sides(at, bearing, np.array([270.0]))
    assert sides[0] == pytest.approx([150 / 400, 0, 250 / 400])


def test_side_of_an_unknown_shore_is_unknown():
    sides = wind_sides(np.array([0.0, 100.0]), np.array([90.0, np.nan]), np.array([0.0, 90.0]))
    assert np.isnan(sides).all()


@pytest.mark.parametrize(
    ("chosen", "found"),
    [
        ("........", ()),
        ("..##....", ((90.0, 135.0),)),
        ("#......#", ((315.0, 0.0),)),  # round past north
        ("##.#..##", ((135.0, 135.0), (270.0, 45.0))),
        ("########", ((0.0, 315.0),)),
    ],
)
def test_sectors_are_runs_of_directions(chosen, found):
    flags = np.array([mark == "#" for mark in chosen])
    assert sectors(flags, np.arange(0.0, 360.0, 45.0)) == found

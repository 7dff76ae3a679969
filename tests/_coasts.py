"""Invented coasts for tests of coast sources."""

import itertools

import numpy as np
import shapely

from routeplan._osm.merge import rings_of
from routeplan._shore.index import build_index
from routeplan._shore.maps import ring_table
from routeplan._shore.rings import strokes
from routeplan.coastline import Coastline


def star(rng, lon, lat, radius, count):
    """Closed ring around a place, counter-clockwise, of points with seven decimals."""
    angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, count))
    reach = radius * rng.uniform(0.4, 1.0, count)
    ring = np.c_[lon + reach * np.cos(angle), lat + reach * np.sin(angle)].round(7)
    return np.vstack([ring, ring[:1]])


def islands(rng, west, south, east, north, count, largest):
    """Up to `count` star-shaped islands about a box that do not touch each other."""
    rings, shapes = [], []
    for _ in range(count * 10):
        lon, lat = rng.uniform(west, east), rng.uniform(south, north)
        ring = star(rng, lon, lat, rng.uniform(largest / 10, largest), int(rng.integers(3, 40)))
        shape = shapely.Polygon(ring)
        good = shape.is_valid and shape.exterior.is_ccw
        if good and not any(shape.intersects(other) for other in shapes):
            rings.append(ring)
            shapes.append(shape)
        if len(rings) == count:
            break
    return rings, shapes


def in_ways(rng, rings):
    """Cut rings into one to four ways each, all of them in any order."""
    ways = []
    for ring in rings:
        cuts = np.unique([0, *rng.integers(0, len(ring) - 1, rng.integers(1, 4)), len(ring) - 1])
        ways += [ring[a : b + 1] for a, b in itertools.pairwise(cuts)]
    return [ways[i] for i in rng.permutation(len(ways))]


def coast_of(land, **words):
    """Coastline of shapely land, by the project's own index."""
    chains = []
    for part in shapely.get_parts(shapely.get_parts(land)):
        for number, ring in enumerate(shapely.get_rings(part)):
            points = shapely.get_coordinates(ring)
            ccw = shapely.is_ccw(ring)
            chains.append(points if ccw == (number == 0) else points[::-1])
    rings = rings_of(chains)
    return Coastline(build_index(strokes(rings)), ring_table(rings), source="test", **words)

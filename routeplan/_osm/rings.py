"""From loose coastline ways to the rings of land in a box.

OpenStreetMap draws its coast as ways that join end to end, with the land on the left and the
water on the right of their direction (wiki.openstreetmap.org/wiki/Tag:natural=coastline,
accessed 2026-11-25). Land here is what is not ocean: lakes come later, from their own areas.

The edges of all ways are joined point to point into chains, the chains cut at the box, and what
is left open closed along its sides: from where a chain leaves the box, counter-clockwise to
where the next one enters, is land. Entries and exits must alternate on the way round; where they
do not, or where a chain ends inside the box, what is land would be a guess, and is refused.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from routeplan._shore.coastbox import Box, on_one_side
from routeplan.errors import CoverageError
from routeplan.geodesy import inverse

__all__ = ["GAP_M", "clip_chain", "clip_edges", "coast_rings", "join_edges", "signed_area", "where"]

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

GAP_M = 30.0
"""Ends of ways nearer to each other than this are joined by a straight line [m]; own choice."""

_STEPS = 1e7  # OpenStreetMap keeps seven decimals of a degree
_HALF_TURN = 180.0


def where(point: FloatArray) -> str:
    """Words for a position."""
    lon = (float(point[0]) + 180.0) % 360.0 - 180.0
    lat = float(point[1])
    return f"{abs(lat):.5f}{'N' if lat >= 0 else 'S'} {abs(lon):.5f}{'E' if lon >= 0 else 'W'}"


def signed_area(ring: FloatArray) -> float:
    """Area of a closed ring (n, 2) in square degrees; positive when counter-clockwise."""
    x, y = (ring - ring[0]).T
    return float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) / 2.0)


def coast_rings(
    ways: Sequence[FloatArray], box: Box
) -> tuple[list[FloatArray], list[FloatArray], list[str]]:
    """Rings of coast in a box.

    Parameters
    ----------
    ways : sequence of (k, 2) arrays
        Longitude (unrolled to the box) and latitude [degrees]; land on the left.
    box : Box

    Returns
    -------
    mainland : list of (n, 2) arrays
        Closed counter-clockwise rings of land that use the sides of the box.
    rings : list of (n, 2) arrays
        Rings that close inside the box, in the direction of their ways.
    notes : list of str
        What was put right.

    Raises
    ------
    CoverageError
        Where the coast is broken inside the box, or contradicts itself at its sides.
    """
    chains, notes = join_edges(ways, box)
    rings: list[FloatArray] = []
    pieces: list[FloatArray] = []
    for chain in chains:
        for piece in clip_chain(chain, box):
            if (piece[0] != piece[-1]).any():
                pieces.append(piece)
            elif len(piece) > 3:  # there and back is no ring
                rings.append(piece)
    return _close_along_box(pieces, box), rings, notes


@dataclass(slots=True)
class _Edges:
    """Edges between numbered points: `start[i]` to `end[i]`; `points` (n, 2)."""

    points: FloatArray
    start: IntArray
    end: IntArray


def join_edges(ways: Sequence[FloatArray], box: Box) -> tuple[list[FloatArray], list[str]]:
    """Chains of all edges that meet the box; closed ones repeat their first point.

    Points are the same where they have the same coordinates, so that ways join whether or not
    they share the node. Edges that are there twice count once, and those on the antimeridian,
    which close rings there on both sides, not at all where they are there in both directions.
    """
    edges = _edges_near(ways, box)
    notes = _drop_repeats(edges)
    notes += _bridge_gaps(edges, box)
    return _follow(edges, _successors(edges)), notes


def _edges_near(ways: Sequence[FloatArray], box: Box) -> _Edges:
    kept = [way for way in ways if len(way) > 1]
    if not kept:
        return _Edges(np.empty((0, 2)), np.empty(0, np.int64), np.empty(0, np.int64))
    points = np.concatenate(kept)
    lasts = np.cumsum([len(way) for way in kept]) - 1
    a = np.delete(np.arange(len(points)), lasts)
    b = a + 1
    low, high = np.minimum(points[a], points[b]), np.maximum(points[a], points[b])
    near = (low <= (box.east, box.north)).all(axis=1) & (high >= (box.west, box.south)).all(axis=1)
    near &= high[:, 0] - low[:, 0] < _HALF_TURN  # a leap round the far side of the Earth
    a, b = a[near], b[near]
    middle = (box.west + box.east) / 2.0
    steps = np.rint((points - (middle, 0.0)) * _STEPS).astype(np.int64)
    key = steps[:, 0] * (1 << 31) + steps[:, 1]
    used = np.concatenate([a, b])
    _, first, number = np.unique(key[used], return_index=True, return_inverse=True)
    start, end = number[: len(a)], number[len(a) :]
    moved = start != end
    return _Edges(points[used[first]], start[moved], end[moved])


def _drop_repeats(edges: _Edges) -> list[str]:
    count = np.int64(len(edges.points))
    code = edges.start * count + edges.end
    _, first = np.unique(code, return_index=True)
    repeats = len(code) - len(first)
    keep = np.sort(first)
    start, end = edges.start[keep], edges.end[keep]
    lon = edges.points[:, 0]
    seam = (np.abs(lon[start]) == _HALF_TURN) & (lon[start] == lon[end])
    both = seam & np.isin(end * count + start, code[keep][seam])
    edges.start, edges.end = start[~both], end[~both]
    return [f"{repeats} edges of the coastline are drawn twice; used once"] if repeats else []


def _loose_ends(edges: _Edges) -> tuple[IntArray, IntArray]:
    """Points at which chains end, and at which chains begin; as often as they do."""
    count = len(edges.points)
    excess = np.bincount(edges.end, minlength=count) - np.bincount(edges.start, minlength=count)
    ends = np.repeat(np.arange(count), np.maximum(excess, 0))
    begins = np.repeat(np.arange(count), np.maximum(-excess, 0))
    return ends, begins


def _bridge_gaps(edges: _Edges, box: Box) -> list[str]:
    """Join ends inside the box over short gaps; refuse where one is left."""
    ends, begins = (loose[box.strictly_inside(edges.points[loose])] for loose in _loose_ends(edges))
    notes = []
    added: list[tuple[int, int]] = []
    free = list(begins)
    for end in ends.tolist():
        gap, begin = _nearest(edges.points, end, free)
        if gap > GAP_M:
            raise _broken(edges.points[end], gap)
        free.remove(begin)
        added.append((end, begin))
        notes.append(
            f"a gap of {gap:.1f} m in the coastline at {where(edges.points[end])} "
            "is closed by a straight line"
        )
    if free:
        raise _broken(edges.points[free[0]], np.inf)
    if added:
        extra = np.array(added, np.int64)
        edges.start = np.concatenate([edges.start, extra[:, 0]])
        edges.end = np.concatenate([edges.end, extra[:, 1]])
    return notes


def _nearest(points: FloatArray, place: int, candidates: list[int]) -> tuple[float, int]:
    if not candidates:
        return np.inf, -1
    lon, lat = points[place]
    _, away = inverse(lon, lat, points[candidates, 0], points[candidates, 1])
    best = int(np.argmin(away))
    return float(away[best]), candidates[best]


def _broken(point: FloatArray, gap: float) -> CoverageError:
    far = f"the next begins {gap:,.0f} m away" if np.isfinite(gap) else "nothing joins it"
    msg = (
        f"the coastline is broken at {where(point)}: a way ends there and {far}; what is land "
        "would be a guess. Take a box without this place, or try again when it is mended"
    )
    return CoverageError(msg)


def _successors(edges: _Edges) -> IntArray:
    """The edge that follows each edge, -1 where none does."""
    count, total = len(edges.points), len(edges.start)
    incoming = np.bincount(edges.end, minlength=count)
    outgoing = np.bincount(edges.start, minlength=count)
    leaving = np.full(count, -1)
    leaving[edges.start] = np.arange(total)
    simple = (incoming == 1) & (outgoing == 1)
    follows = np.where(simple[edges.end], leaving[edges.end], -1)
    busy = np.flatnonzero(~simple & (incoming > 0) & (outgoing > 0))
    if len(busy):
        at = np.isin(edges.end, busy) | np.isin(edges.start, busy)
        some = np.flatnonzero(at)
        for point in busy.tolist():
            _match_at(edges, some, point, follows)
    return np.asarray(follows, np.int64)


def _match_at(edges: _Edges, some: IntArray, point: int, follows: IntArray) -> None:
    """Pair edges where several meet: each goes on by the sharpest turn to the left.

    With land on the left that gives rings which touch at the point and do not cross.
    """
    into = some[edges.end[some] == point]
    out = some[edges.start[some] == point].tolist()
    for edge in into.tolist():
        if not out:
            return
        ahead = edges.points[point] - edges.points[edges.start[edge]]
        turns = [_turn(ahead, edges.points[edges.end[o]] - edges.points[point]) for o in out]
        follows[edge] = out.pop(int(np.argmax(turns)))


def _turn(before: FloatArray, after: FloatArray) -> float:
    """Angle from one direction to another, to the left, in (-pi, pi); straight back is least."""
    cross = before[0] * after[1] - before[1] * after[0]
    along = float(before @ after)
    if cross == 0.0 and along < 0.0:
        return -np.pi
    return float(np.arctan2(cross, along))


def _follow(edges: _Edges, follows: IntArray) -> list[FloatArray]:
    """Chains from each edge that nothing leads to, then the rings that are left."""
    after = follows.tolist()
    led_to = np.zeros(len(after), bool)
    led_to[follows[follows >= 0]] = True
    seen = bytearray(len(after))
    heads = [*np.flatnonzero(~led_to).tolist(), *range(len(after))]
    chains = []
    for head in heads:
        if seen[head]:
            continue
        run = []
        edge = head
        while edge >= 0 and not seen[edge]:
            seen[edge] = 1
            run.append(edge)
            edge = after[edge]
        numbers = np.append(edges.start[run], edges.end[run[-1]])
        chains.append(edges.points[numbers])
    return chains


def clip_chain(chain: FloatArray, box: Box) -> list[FloatArray]:
    """Cut a chain (n, 2) at the box: its pieces inside, with ends exactly on the sides.

    Edges along a side count as outside. A ring that stays inside comes back closed.
    """
    if box.strictly_inside(chain).all():
        return [chain]
    start, end, enters, leaves = clip_edges(chain, box)
    met = leaves > enters
    met[met] &= ~on_one_side(box, start[met], end[met])
    edges = np.flatnonzero(met)
    if not len(edges):
        return []
    joined = (np.diff(edges) == 1) & (leaves[edges[:-1]] == 1.0) & (enters[edges[1:]] == 0.0)
    runs = np.split(edges, np.flatnonzero(~joined) + 1)
    pieces = [np.vstack([start[run], end[run[-1]]]) for run in runs]
    round_again = (chain[0] == chain[-1]).all() and edges[0] == 0 and edges[-1] == len(chain) - 2
    if round_again and enters[0] == 0.0 and leaves[-1] == 1.0 and len(pieces) > 1:
        pieces[0] = np.vstack([pieces.pop()[:-1], pieces[0]])
    return pieces


def clip_edges(
    chain: FloatArray, box: Box
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Ends of each edge cut to the closed box, and where on the edge they are, 0 to 1.

    An edge is cut at the same points whichever way it runs.
    """
    first, last = chain[:-1], chain[1:]
    swap = (last[:, 0] < first[:, 0]) | ((last[:, 0] == first[:, 0]) & (last[:, 1] < first[:, 1]))
    a, b = np.where(swap[:, None], last, first), np.where(swap[:, None], first, last)
    enters, leaves = np.zeros(len(a)), np.ones(len(a))
    start, end = a.copy(), b.copy()
    step = b - a
    for axis, value, sign in (
        (0, box.west, 1.0),
        (0, box.east, -1.0),
        (1, box.south, 1.0),
        (1, box.north, -1.0),
    ):
        before, after = (a[:, axis] - value) * sign, (b[:, axis] - value) * sign
        leaves[(before < 0.0) & (after < 0.0)] = -1.0
        for cut, where_cut, better, spot in (
            ((before < 0.0) & (after >= 0.0), enters, np.greater, start),
            ((before >= 0.0) & (after < 0.0), leaves, np.less, end),
        ):
            share = np.zeros(len(a))
            np.divide(before, before - after, out=share, where=cut)
            cut &= better(share, where_cut)
            where_cut[cut] = share[cut]
            spot[cut] = a[cut] + step[cut] * share[cut, None]
            spot[cut, axis] = value
    turned = swap[:, None]
    return (
        np.where(turned, end, start),
        np.where(turned, start, end),
        np.where(swap, 1.0 - leaves, enters),
        np.where(swap, 1.0 - enters, leaves),
    )


def _close_along_box(pieces: list[FloatArray], box: Box) -> list[FloatArray]:
    """Rings of the pieces and of the sides of the box, land on the left."""
    if not pieces:
        return []
    entry = np.array([box.place(piece[0]) for piece in pieces])
    leave = np.array([box.place(piece[-1]) for piece in pieces])
    follower = _next_entries(pieces, entry, leave)
    rings = []
    done = np.zeros(len(pieces), bool)
    for head in range(len(pieces)):
        parts: list[FloatArray] = []
        here = head
        while not done[here]:
            done[here] = True
            after = follower[here]
            parts += [pieces[here], box.corners_between(leave[here], entry[after])]
            here = after
        if parts:
            ring = np.vstack([*parts, parts[0][:1]])
            rings.append(ring[np.append(True, (np.diff(ring, axis=0) != 0.0).any(axis=1))])
    return rings


def _next_entries(pieces: list[FloatArray], entry: FloatArray, leave: FloatArray) -> list[int]:
    """The piece that enters next after each exit, going round counter-clockwise.

    Where an exit and an entry are at one place, their order is the one that alternates.
    """
    count = len(pieces)
    place = np.concatenate([leave, entry])
    for tie in (1, -1):
        kind = np.repeat([0, tie], count)
        order = np.lexsort((kind, place))
        exits = order < count
        if (exits != np.roll(exits, 1)).all():
            after = np.roll(order, -1)
            follower = np.empty(count, np.int64)
            follower[order[exits]] = after[exits] - count
            return [int(number) for number in follower]
    first = int(np.flatnonzero(exits == np.roll(exits, -1))[0])
    pair = order[[first, (first + 1) % (2 * count)]]
    spots = [pieces[p][-1] if p < count else pieces[p - count][0] for p in pair.tolist()]
    side = "land" if exits[first] else "water"
    msg = (
        f"the coastline contradicts itself at the side of the box between {where(spots[0])} and "
        f"{where(spots[1])}: by one way {side} begins there that by the other has begun already. "
        "Take a slightly larger or smaller box"
    )
    raise CoverageError(msg)

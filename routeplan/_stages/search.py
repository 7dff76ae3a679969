"""The cheapest plan of several days: shortest path over place, launch and night.

For each level of margin, from the largest down, only stages with at least that margin are looked
at. Backwards from the end, the cheapest way home of each launch from each place is the cheapest
stage plus the cheapest launch that may follow it: after the night, on a later day, within the
nights that one may stay. The level's own cost is added at last; since the cost of a level falls
with the margin and the cheapest way can only get cheaper with more stages to choose from, the
cheapest over the levels is the cheapest of all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routeplan._stages.hops import Hops, StageWishes, hop_costs

__all__ = ["Choice", "cheapest"]

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Choice:
    """The stages of a plan: `places` has one more than `launches`; `cost` as `StageWeights`."""

    cost: float
    level: float
    places: tuple[int, ...]
    launches: tuple[int, ...]


def cheapest(
    hops: Hops,
    wishes: StageWishes,
    *,
    end: int | None = None,
    banned: NDArray[np.bool_] | None = None,
    last_day: int | None = None,
    first_day: int | None = None,
) -> Choice | None:
    """The plan that costs least; None when there is none.

    Parameters
    ----------
    hops, wishes
    end : int, optional
        Place where the plan ends; the last by default.
    banned : array of bool, shape (n, n, m), optional
        Stages not to be used.
    last_day, first_day : int, optional
        Latest day of arrival at the end, earliest day of the first launch; see `Hops.day`.

    Notes
    -----
    Of plans that cost the same, the one whose first launch is earliest, then whose first stop is
    nearest, and so on.
    """
    search = _Search.of(hops, wishes, hops.places - 1 if end is None else end, banned)
    search = search.within(first_day, last_day)
    best: Choice | None = None
    for level in search.levels():
        fixed = wishes.weights.margin * (1.0 - level)
        if best is not None and fixed >= best.cost:
            continue
        found = search.solve(level)
        if found is not None and (best is None or found.cost < best.cost):
            best = found
    return best


@dataclass(frozen=True, slots=True, eq=False)
class _Search:
    """What does not depend on the level.

    `good`, `cost`, `level` (n, n, m); `begin`, `stop` (n, n, m): the launches that may follow are
    begin <= t < stop; `days` (n, n, m) the day number of arrival from the first; `start` (m,)
    which launches may be the first.
    """

    hops: Hops
    wishes: StageWishes
    end: int
    good: NDArray[np.bool_]
    cost: FloatArray
    level: FloatArray
    begin: IntArray
    stop: IntArray
    days: IntArray
    start: NDArray[np.bool_]
    day0: int

    @staticmethod
    def of(hops: Hops, wishes: StageWishes, end: int, banned: NDArray[np.bool_] | None) -> _Search:
        good = hops.good()
        if banned is not None:
            good &= ~banned
        depart = hops.launch[0] if wishes.depart is None else wishes.depart
        if wishes.home_by is not None and end == hops.places - 1:
            good[:, end] &= hops.arrive[:, end] <= wishes.home_by
        arrive = np.where(good, hops.arrive, hops.launch[0])
        day = hops.day(hops.launch)
        arrived = hops.day(arrive)
        night = np.timedelta64(round(wishes.night_s * 1e9), "ns")
        begin = np.maximum(
            np.searchsorted(hops.launch, arrive + night, side="left"),
            np.searchsorted(day, arrived, side="right"),
        )
        last = arrived + hops.nights[None, :, None]
        day0 = int(hops.day(np.array([depart]))[0])
        return _Search(
            hops,
            wishes,
            end,
            good,
            hop_costs(hops, wishes.weights),
            wishes.weights.level(hops.margin),
            begin,
            np.searchsorted(day, last, side="right"),
            arrived - day0 + 1,
            hops.launch >= depart,
            day0,
        )

    def within(self, first_day: int | None, last_day: int | None) -> _Search:
        """The search with bounds on the day of the first launch and that of arrival."""
        if last_day is not None:
            self.good[:, self.end] &= self.days[:, self.end] <= last_day - self.day0 + 1
        if first_day is not None:
            self.start[:] &= self.hops.day(self.hops.launch) >= first_day
        return self

    def levels(self) -> list[float]:
        """Levels of margin that occur among good stages, from the largest down."""
        return sorted(set(self.level[self.good].tolist()), reverse=True)

    def solve(self, level: float) -> Choice | None:
        """Cheapest plan of stages of at least this level."""
        places, launches = self.end + 1, self.hops.launch.size
        value = np.full((places, launches), np.inf)
        following = np.full((places, launches), -1)
        allowed = self.good & (self.level >= level)
        ahead: dict[int, _Minimum] = {}
        for i in range(self.end - 1, -1, -1):
            for j in range(i + 1, places):
                at = np.flatnonzero(allowed[i, j])
                if not at.size:
                    continue
                total = self.cost[i, j, at] + self._onward(i, j, at, value, ahead)
                better = total < value[i, at]
                value[i, at[better]] = total[better]
                following[i, at[better]] = j
        first = np.where(self.start, value[0], np.inf)
        if not np.isfinite(first.min()):
            return None
        cost = float(first.min()) + self.wishes.weights.margin * (1.0 - level)
        return self._traced(cost, level, int(first.argmin()), value, following)

    def _onward(
        self, i: int, j: int, at: IntArray, value: FloatArray, ahead: dict[int, _Minimum]
    ) -> FloatArray:
        """Cost from the arrival at place j on: the days at the end, the best launch before it."""
        if j == self.end:
            return np.asarray(self.wishes.weights.day * self.days[i, j, at], dtype=float)
        if j not in ahead:
            ahead[j] = _Minimum.of(value[j])
        return ahead[j].between(self.begin[i, j, at], self.stop[i, j, at])

    def _traced(
        self, cost: float, level: float, t: int, value: FloatArray, following: IntArray
    ) -> Choice:
        places, launches = [0], [t]
        while (j := int(following[places[-1], launches[-1]])) != self.end:
            i, t = places[-1], launches[-1]
            begin, stop = int(self.begin[i, j, t]), int(self.stop[i, j, t])
            places.append(j)
            launches.append(begin + int(value[j, begin:stop].argmin()))
        return Choice(cost, level, (*places, self.end), tuple(launches))


@dataclass(frozen=True, slots=True, eq=False)
class _Minimum:
    """Smallest value of any run of an array in two looks, from minima over runs of 1, 2, 4, 8."""

    rows: FloatArray

    @staticmethod
    def of(value: FloatArray) -> _Minimum:
        rows = [value]
        width = 1
        while 2 * width <= value.size:
            last = rows[-1]
            shifted = np.concatenate([last[width:], np.full(width, np.inf)])
            rows.append(np.minimum(last, shifted))
            width *= 2
        return _Minimum(np.stack(rows))

    def between(self, begin: IntArray, stop: IntArray) -> FloatArray:
        """Minimum over begin <= t < stop; infinite for an empty run."""
        size = self.rows.shape[1]
        stop = np.minimum(stop, size)
        width = stop - begin
        row = np.zeros(width.shape, dtype=np.int64)
        some = width > 0
        row[some] = np.frexp(width[some].astype(float))[1] - 1
        left = self.rows[row, np.minimum(begin, size - 1)]
        right = self.rows[row, np.clip(stop - (1 << row), 0, size - 1)]
        return np.where(some, np.minimum(left, right), np.inf)

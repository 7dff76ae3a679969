"""The time axis of the launch chart, in hours from the first launch."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from routeplan._show.wording import Clock

__all__ = ["LaunchAxis", "hour_step"]

_HOUR = np.timedelta64(3_600_000_000_000, "ns")
_QUARTER = np.timedelta64(15 * 60, "s")  # zones differ from UTC by whole quarters of an hour


def hour_step(span_h: float) -> int:
    """Hours between ticks for a time span; 24 stands for none but the days."""
    for longest, step in ((30.0, 1), (60.0, 3), (150.0, 6), (300.0, 12)):
        if span_h <= longest:
            return step
    return 24


@dataclass(frozen=True, slots=True)
class LaunchAxis:
    """Launch times (m,) UTC, the local clock, and the width of the axis [inch]."""

    launch: NDArray[np.datetime64]
    clock: Clock
    width_in: float

    def x(self, when: np.datetime64) -> float:
        """Hours from the first launch."""
        return float((when - self.launch[0]) / _HOUR)

    @property
    def half_step(self) -> float:
        """Half the time between launches [h]; half an hour for a single launch."""
        return self.x(self.launch[1]) / 2 if self.launch.size > 1 else 0.5

    @property
    def limits(self) -> tuple[float, float]:
        """Left and right end: half a step beyond the launches."""
        return -self.half_step, self.x(self.launch[-1]) + self.half_step

    @property
    def span_h(self) -> float:
        """Length of the axis [h]."""
        return self.limits[1] - self.limits[0]

    @property
    def inch(self) -> float:
        """Hours to an inch of the axis."""
        return self.span_h / self.width_in

    def span(self, begin: int, end: int) -> tuple[float, float]:
        """Left and right edge of the launches `begin` to `end` (exclusive)."""
        return self.x(self.launch[begin]) - self.half_step, (
            self.x(self.launch[end - 1]) + self.half_step
        )

    def dark(
        self, start: NDArray[np.datetime64], end: NDArray[np.datetime64]
    ) -> list[tuple[float, float]]:
        """Spans of the axis outside spells of light from `start` to `end` (s,)."""
        left, right = self.limits
        edges = [left, *(e for s in zip(start, end, strict=True) for e in map(self.x, s)), right]
        spans = zip(edges[::2], edges[1::2], strict=True)
        return [(max(a, left), min(b, right)) for a, b in spans if max(a, left) < min(b, right)]

    def days(self) -> list[tuple[float, float, str]]:
        """Left edge, right edge and name of each local day."""
        left, right = self.limits
        full = self._hours()
        changes = pairwise(full)
        starts = [left, *(x for (_, a), (x, b) in changes if a.date() != b.date()), right]
        if full and full[0][1].hour == 0:
            starts.insert(1, full[0][0])
        edges = pairwise(starts)
        return [
            (a, b, self.clock.short_day(self._when((a + b) / 2))) for a, b in edges if b - a > 1e-9
        ]

    def hours(self, step: int) -> list[tuple[float, str]]:
        """Place and text of ticks at local hours that `step` divides."""
        return [(x, f"{local:%H}") for x, local in self._hours() if local.hour % step == 0]

    def _when(self, x: float) -> np.datetime64:
        return np.datetime64(self.launch[0] + np.timedelta64(round(x * 3.6e12), "ns"), "ns")

    def _hours(self) -> list[tuple[float, datetime]]:
        """Place and local time of every full local hour on the axis."""
        left, right = self.limits
        quarter = int(_QUARTER / np.timedelta64(1, "s"))
        first = int(self._when(left).astype("datetime64[s]").astype("int64")) // quarter + 1
        last = int(self._when(right).astype("datetime64[s]").astype("int64")) // quarter
        found = []
        for count in range(first, last + 1):
            when = np.datetime64(count * quarter, "s").astype("datetime64[ns]")
            local = self.clock.local(when)
            if local.minute == 0:
                found.append((self.x(when), local))
        return found

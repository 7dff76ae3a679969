"""What a forecast covers, in space, time and variables, and how old it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from routeplan._forecast.names import OPTIONAL, QUANTITIES, REQUIRED
from routeplan.errors import InputError
from routeplan.units import HOUR_S

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from numpy.typing import ArrayLike, NDArray

__all__ = ["OLD_AFTER_S", "Coverage", "RouteCoverage", "make_coverage"]

# Global models run every 6 or 12 h: after this age there is a newer run to be had. Common
# practice, no source.
OLD_AFTER_S = 12.0 * HOUR_S

_COSTS = {q.name: q.cost for q in QUANTITIES}
# Either period of the waves serves; a lack of one is only said when the other is missing too.
_PERIODS = (
    "sea_surface_wave_mean_period",
    "sea_surface_wave_period_at_variance_spectral_density_maximum",
)


@dataclass(frozen=True, slots=True, eq=False)
class RouteCoverage:
    """How much of a route and of a span of time a forecast covers.

    `inside` is True for points on the grid; `from_time` and `to_time` bound the hours that
    are covered (NaT when none are), `reasons` says in words what is not.
    """

    inside: NDArray[np.bool_]
    from_time: np.datetime64
    to_time: np.datetime64
    complete: bool
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Coverage:
    """What a normalised forecast covers.

    Bounds and spacing in degrees, `step_s` the longest and `shortest_step_s` the shortest
    step [s] (nan when there is one time only), `members` 1 when there are none. `missing`
    maps what the file does not have to what that costs. `reference_time` is the time of the
    model run, ISO 8601, or empty when the file does not say.
    """

    west: float
    south: float
    east: float
    north: float
    first: np.datetime64
    last: np.datetime64
    step_s: float
    members: int
    variables: tuple[str, ...]
    missing: dict[str, str]
    reference_time: str
    shortest_step_s: float = float("nan")
    times: int = 0
    spacing_latitude_deg: float = float("nan")
    spacing_longitude_deg: float = float("nan")
    source: str = ""
    title: str = ""
    attribution: str = ""
    licence: str = ""
    invented: bool = False
    notes: tuple[str, ...] = ()

    @property
    def horizon_s(self) -> float:
        """Length of the time covered, in seconds."""
        return float((self.last - self.first) / np.timedelta64(1, "s"))

    def age_s(self, now: np.datetime64) -> float:
        """Seconds since the model run; nan when the file does not say when that was."""
        if not self.reference_time:
            return float("nan")
        run = np.datetime64(self.reference_time.rstrip("Z"), "s")
        return float((np.datetime64(now).astype("datetime64[s]") - run) / np.timedelta64(1, "s"))

    def is_old(self, now: np.datetime64, limit_s: float = OLD_AFTER_S) -> bool:
        """Whether the run is older than a limit. An unknown age counts as old."""
        return not self.age_s(now) <= limit_s

    def of_route(
        self,
        lon: ArrayLike,
        lat: ArrayLike,
        first: np.datetime64 | None = None,
        last: np.datetime64 | None = None,
    ) -> RouteCoverage:
        """Say which points of a route, and which part of a span of time, are covered.

        Parameters
        ----------
        lon, lat
            Points, shape (n,). [degrees]
        first, last
            Span that is asked about; the whole forecast by default.

        Raises
        ------
        InputError
            When the arrays differ in shape or are empty.
        """
        x, y = np.atleast_1d(np.asarray(lon, float)), np.atleast_1d(np.asarray(lat, float))
        if x.shape != y.shape or not x.size:
            msg = "points to cover: allowed are two arrays of one length, not empty"
            raise InputError(msg, field="position")
        along = self.west + (x - self.west + 1e-9) % 360.0 - 1e-9
        inside = (along <= self.east + 1e-9) & (y >= self.south - 1e-9) & (y <= self.north + 1e-9)
        start = self.first if first is None else np.datetime64(first).astype("datetime64[ns]")
        end = self.last if last is None else np.datetime64(last).astype("datetime64[ns]")
        low, high = max(start, self.first), min(end, self.last)
        reasons = self._reasons(inside, start, end)
        if low > high:
            low = high = np.datetime64("NaT", "ns")
        return RouteCoverage(inside, low, high, not reasons, tuple(reasons))

    def _reasons(
        self, inside: NDArray[np.bool_], start: np.datetime64, end: np.datetime64
    ) -> list[str]:
        reasons = []
        outside = int((~inside).sum())
        if outside:
            reasons.append(
                f"{outside} of {inside.size} points lie outside the grid ({self.south:.2f} to "
                f"{self.north:.2f} north, {self.west:.2f} to {self.east:.2f} east)"
            )
        if start < self.first:
            reasons.append(f"nothing before {_iso(self.first)}")
        if end > self.last:
            reasons.append(f"nothing after {_iso(self.last)}")
        return reasons


def make_coverage(
    time: NDArray[np.datetime64],
    latitude: NDArray[np.float64],
    longitude: NDArray[np.float64],
    members: int,
    names: Iterable[str],
    attrs: Mapping[str, object],
) -> Coverage:
    """Collect what there is to say from the axes, names and attributes of a forecast."""
    have = set(names)
    steps = np.diff(time) / np.timedelta64(1, "s")
    lacking = [name for name in (*REQUIRED, *OPTIONAL) if name not in have]
    if have & set(_PERIODS):
        lacking = [name for name in lacking if name not in _PERIODS]
    return Coverage(
        west=float(longitude[0]),
        south=float(latitude[0]),
        east=float(longitude[-1]),
        north=float(latitude[-1]),
        first=time[0],
        last=time[-1],
        step_s=float(steps.max()) if steps.size else float("nan"),
        members=members,
        variables=tuple(name for name in (*REQUIRED, *OPTIONAL) if name in have),
        missing={name: _COSTS[name] for name in lacking},
        reference_time=str(attrs.get("reference_time", "")),
        shortest_step_s=float(steps.min()) if steps.size else float("nan"),
        times=int(time.size),
        spacing_latitude_deg=_spacing(latitude),
        spacing_longitude_deg=_spacing(longitude),
        source=str(attrs.get("source", "")),
        title=str(attrs.get("title", "")),
        attribution=str(attrs.get("attribution", "")),
        licence=str(attrs.get("licence", "")),
        invented=attrs.get("invented") == "yes",
        notes=tuple(note for note in str(attrs.get("notes", "")).split("; ") if note),
    )


def _spacing(axis: NDArray[np.float64]) -> float:
    return float(np.median(np.diff(axis))) if axis.size > 1 else float("nan")


def _iso(time: np.datetime64) -> str:
    return f"{np.datetime_as_string(time, unit='m')}Z"

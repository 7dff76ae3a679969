"""Launch windows: every launch judged, good ones joined.

    scan = scan_launches(
        path, series, craft, limits, launch,
        stage=1, leg_numbers=(1, 2, 3), daylight=(spells_start, spells_end), coast_error_m=50.0,
    )
    windows = find_windows(scan)
    scan.reasons(i)                     # sentences on launch i, worst first
    i = propose_launch(scan)            # and why_launch(scan, i)
    nearest_miss(scan)                  # what would open one, where none is good
    turn_back_times(scan, i)            # until when to go on or turn round
    landings_under_power(scan, i)       # soonest shore from along the way
    drift_along(scan, i, weather, ...)  # and where one drifts to without propulsion

With an ensemble the verdict of a launch is the one that at least `Limits.member_share` of the
members reach; its findings are told of the member at that place, so that they fit the verdict.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.advice import (
    NearestMiss,
    close_by_coastline,
    nearest_miss,
    propose_launch,
    why_launch,
)
from routeplan._judge.bailout import Adrift, Landing, drift_along, landings_under_power
from routeplan._judge.findings import Finding
from routeplan._judge.launchscan import LaunchScan, Outing
from routeplan._judge.turnback import TurnBack, turn_back_times
from routeplan.errors import InputError
from routeplan.limits import Limits, Verdict
from routeplan.propulsion import Craft
from routeplan.simulation import Pace, Path
from routeplan.thermal import wind_chill_msc2001
from routeplan.waves import with_sea
from routeplan.wind import wind_speed

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries
    from routeplan.sun import DaylightSpells

__all__ = [
    "Adrift",
    "Finding",
    "Landing",
    "LaunchScan",
    "LaunchWindow",
    "NearestMiss",
    "TurnBack",
    "close_by_coastline",
    "drift_along",
    "find_windows",
    "landings_under_power",
    "nearest_miss",
    "propose_launch",
    "scan_launches",
    "turn_back_times",
    "why_launch",
]

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]


@dataclass(frozen=True, slots=True)
class LaunchWindow:
    """A run of launches with one good verdict.

    `margin` is the smallest over its launches and `margin_limit` whose it is. `opened_by` and
    `closed_by` name the limit that binds just before and just after, or "forecast start",
    "forecast end", "unknown". `robust_first` to `robust_last` is its longest run of launches that
    stay good late and slow; NaT when there is none or it was not tried.
    """

    stage: int
    verdict: Verdict
    first_launch: np.datetime64
    last_launch: np.datetime64
    latest_arrival: np.datetime64
    margin: float
    margin_limit: str
    opened_by: str
    closed_by: str
    robust_first: np.datetime64
    robust_last: np.datetime64


def scan_launches(
    path: Path,
    series: PointSeries,
    craft: Craft | Sequence[Craft],
    limits: Limits,
    launch: TimeArray,
    *,
    daylight: tuple[DaylightSpells, DaylightSpells] | None,
    stage: int = 1,
    leg_numbers: Sequence[int] | None = None,
    coast_error_m: float = np.nan,
    pace: Pace | None = None,
    robust: bool = True,
    refine_s: float | None = 300.0,
) -> LaunchScan:
    """Paddle one stage at every launch time and judge it.

    Parameters
    ----------
    path, series, craft, pace
        As for `routeplan.simulation.simulate`. With `path.fetch_rose_m` the sea is chosen by
        `routeplan.waves.with_sea`; with an air temperature wind chill is added.
    limits : Limits
    launch : array of datetime64, shape (m,)
        UTC, ascending.
    daylight : (DaylightSpells, DaylightSpells), or None
        Civil daylight at the start and at the end of the stage; None makes daylight unknown.
    stage : int
        Number of the outing.
    leg_numbers : sequence of int, optional
        Numbers of the legs on the route; 1 to n by default.
    coast_error_m : float
        Nominal error of the coastline; nan unknown. [m]
    robust : bool
        Whether to try each good launch late and slow as well.
    refine_s : float, optional
        Step of the launches tried between two whose verdicts differ; None tries none. [s]

    Raises
    ------
    InputError
        When the series has no wind, shapes do not fit, or launches are not ascending.
    """
    times = np.atleast_1d(np.asarray(launch, dtype="datetime64[ns]"))
    if np.any(np.isnat(times)) or np.any(np.diff(times) <= np.timedelta64(0, "ns")):
        msg = "launch times must be known and ascending, each only once"
        raise InputError(msg, field="launch")
    numbers = np.arange(1, path.legs + 1) if leg_numbers is None else np.asarray(leg_numbers)
    outing = Outing(
        path=path,
        series=_completed(series, path),
        craft=craft,
        limits=limits,
        daylight=daylight,
        stage=stage,
        numbers=numbers.astype(np.int64),
        coast_error_m=coast_error_m,
        pace=pace or Pace(),
    )
    scan = outing.scan(times, robust=robust)
    between = _between(scan, refine_s)
    if not between.size:
        return scan
    return replace(scan, fine=outing.scan(between, robust=robust))


def _completed(series: PointSeries, path: Path) -> PointSeries:
    """Series with the sea that counts and the wind chill."""
    values = dict(series.values)
    wind = "eastward_wind", "northward_wind"
    if not all(name in values for name in wind):
        return series  # the simulation says so in its own words
    if "air_temperature" in values:
        speed = wind_speed(values[wind[0]], values[wind[1]])
        values["wind_chill_temperature"] = wind_chill_msc2001(values["air_temperature"], speed)
    series = replace(series, values=values)
    return series if path.fetch_rose_m is None else with_sea(series, path.fetch_rose_m)


def _between(scan: LaunchScan, refine_s: float | None) -> TimeArray:
    """Launch times between two neighbours of which one is good and the other another verdict."""
    if refine_s is None or scan.launch.size < 2:
        return np.empty(0, dtype="datetime64[ns]")
    if not refine_s >= 60.0:
        msg = f"launches are refined to steps of 60 s or more, not {refine_s:g} s"
        raise InputError(msg, field="refine_s", value=refine_s)
    step = np.timedelta64(round(refine_s * 1e9), "ns")
    good = scan.verdict <= Verdict.CLOSE
    edges = np.flatnonzero((scan.verdict[1:] != scan.verdict[:-1]) & (good[1:] | good[:-1]))
    parts = [np.arange(scan.launch[i] + step, scan.launch[i + 1], step) for i in edges]
    return np.concatenate(parts) if parts else np.empty(0, dtype="datetime64[ns]")


def find_windows(scan: LaunchScan) -> tuple[LaunchWindow, ...]:
    """Runs of launches with one good verdict, in order; unknown or beyond breaks a run."""
    if not scan.launch.size:
        return ()
    rows = _Rows.of(scan)
    change = np.flatnonzero(np.diff(rows.verdict)) + 1
    begins = np.concatenate([[0], change])
    ends = np.concatenate([change, [rows.launch.size]])
    good = rows.verdict[begins] <= Verdict.CLOSE
    return tuple(
        rows.window(scan.stage, int(b), int(e) - 1)
        for b, e in zip(begins[good], ends[good], strict=True)
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Rows:
    """Launches of a scan and those between them, in order of time."""

    launch: TimeArray
    arrive: TimeArray
    verdict: NDArray[np.int8]
    binding: NDArray[np.str_]
    margin: FloatArray
    margin_limit: NDArray[np.str_]
    robust: NDArray[np.bool_]

    @staticmethod
    def of(scan: LaunchScan) -> _Rows:
        parts = [scan] if scan.fine is None else [scan, scan.fine]
        order = np.argsort(np.concatenate([p.launch for p in parts]), kind="stable")
        robust = [np.zeros(p.launch.size, bool) if p.robust is None else p.robust for p in parts]
        names = ("launch", "arrive", "verdict", "binding", "margin", "margin_limit")
        columns = {n: np.concatenate([getattr(p, n) for p in parts])[order] for n in names}
        return _Rows(**columns, robust=np.concatenate(robust)[order])

    def window(self, stage: int, first: int, last: int) -> LaunchWindow:
        """Window of the launches first to last."""
        run = slice(first, last + 1)
        tightest = first + int(np.argmin(self.margin[run]))
        robust_first, robust_last = self._longest_robust(first, last)
        return LaunchWindow(
            stage=stage,
            verdict=Verdict(int(self.verdict[first])),
            first_launch=self.launch[first],
            last_launch=self.launch[last],
            latest_arrival=self.arrive[run].max(),
            margin=float(self.margin[tightest]),
            margin_limit=str(self.margin_limit[tightest]),
            opened_by=self._edge(first, -1),
            closed_by=self._edge(last, 1),
            robust_first=robust_first,
            robust_last=robust_last,
        )

    def _longest_robust(self, first: int, last: int) -> tuple[np.datetime64, np.datetime64]:
        """First and last launch of the longest robust run; NaT when there is none."""
        flags = np.concatenate([[False], self.robust[first : last + 1], [False]])
        begins = np.flatnonzero(~flags[:-1] & flags[1:]) + first
        ends = np.flatnonzero(flags[:-1] & ~flags[1:]) + first - 1
        if not begins.size:
            return np.datetime64("NaT", "ns"), np.datetime64("NaT", "ns")
        longest = int(np.argmax(self.launch[ends] - self.launch[begins]))
        return self.launch[begins[longest]], self.launch[ends[longest]]

    def _edge(self, i: int, step: int) -> str:
        """What ends a run at launch i on the side of step."""
        outside = "forecast start" if step < 0 else "forecast end"
        j = i + step
        if not 0 <= j < self.launch.size:
            return outside
        if self.verdict[j] == Verdict.UNKNOWN:
            beyond = self.verdict[:i] if step < 0 else self.verdict[i + 1 :]
            return outside if np.all(beyond == Verdict.UNKNOWN) else "unknown"
        return str(self.binding[j]) or str(self.binding[i])

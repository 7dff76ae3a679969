"""Launch windows: every launch judged, good ones joined.

    scan = scan_launches(
        path, series, craft, limits, launch,
        stage=1, leg_numbers=(1, 2, 3), daylight=(spells_start, spells_end), coast_error_m=50.0,
    )
    windows = find_windows(scan)
    scan.reasons(i)                     # sentences on launch i, worst first

With an ensemble the verdict of a launch is the one that at least `Limits.member_share` of the
members reach; its findings are told of the member at that place, so that they fit the verdict.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._findings import Finding
from routeplan._scandetail import Detail, member_at_share, rank_of_share
from routeplan.limits import Limits, Verdict, judge
from routeplan.propulsion import Craft
from routeplan.simulation import Pace, Path, simulate

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries
    from routeplan.sun import DaylightSpells

__all__ = [
    "Finding",
    "LaunchScan",
    "LaunchWindow",
    "find_windows",
    "propose_launch",
    "scan_launches",
]

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

_EQUAL_MARGIN = 0.02  # shares of a limit that differ by less are no reason to wait


@dataclass(frozen=True, slots=True, eq=False)
class LaunchScan:
    """Every launch of one stage: m launches, n legs.

    Attributes
    ----------
    stage : int
    leg_numbers : array of int, shape (n,)
        Numbers of the legs on the route.
    launch, arrive : array, shape (m,)
        datetime64[ns] UTC; arrive NaT unknown. With members the median of those known.
    verdict : array of int8, shape (m,)
        `Verdict` values.
    binding : array of str, shape (m,)
        Limit that decides the verdict; "" when within.
    margin, margin_limit : array, shape (m,)
        Smallest share of a limit that is left, negative beyond, nan unknown; and whose it is.
    share_within : array, shape (m,), or None
        With members: share of them within or close. A member with an unknown does not count.
    members : int
        1 when there is no ensemble.
    leg_verdict : array of int8, shape (m, n)
    enter, leave : array, shape (m, n)
        datetime64[ns].
    wind_ms, gust_ms, headwind_ms, crosswind_ms, wave_height_m, speed_over_ground_ms : (m, n)
        Worst of the leg (speed: mean); with members the median of them. nan unknown.
    offshore_m : array, shape (m, n)
        Largest distance from shore of the leg.
    not_judged : tuple of str
        Default limits the forecast says nothing about.
    detail : Detail
        What findings are told from.
    """

    stage: int
    leg_numbers: NDArray[np.int64]
    launch: TimeArray
    arrive: TimeArray
    verdict: NDArray[np.int8]
    binding: NDArray[np.str_]
    margin: FloatArray
    margin_limit: NDArray[np.str_]
    share_within: FloatArray | None
    members: int
    leg_verdict: NDArray[np.int8]
    enter: TimeArray
    leave: TimeArray
    wind_ms: FloatArray
    gust_ms: FloatArray
    headwind_ms: FloatArray
    crosswind_ms: FloatArray
    wave_height_m: FloatArray
    offshore_m: FloatArray
    speed_over_ground_ms: FloatArray
    not_judged: tuple[str, ...]
    detail: Detail

    def findings(self, i: int) -> tuple[Finding, ...]:
        """How launch i stands against every limit that was judged, worst first."""
        return self.detail.findings(i)

    def reasons(self, i: int) -> tuple[str, ...]:
        """Sentences on launch i, worst first: what is not within, else what is nearest to it."""
        return self.detail.reasons(i)


@dataclass(frozen=True, slots=True)
class LaunchWindow:
    """A run of launches with one good verdict.

    `margin` is the smallest over its launches and `margin_limit` whose it is. `opened_by` and
    `closed_by` name the limit that binds just before and just after, or "forecast start",
    "forecast end", "unknown".
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
) -> LaunchScan:
    """Paddle one stage at every launch time and judge it.

    Parameters
    ----------
    path, series, craft, pace
        As for `routeplan.simulation.simulate`.
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

    Raises
    ------
    InputError
        When the series has no wind or shapes do not fit.
    """
    passage = simulate(
        path,
        series,
        craft,
        launch,
        pace=pace,
        offshore_wind_beyond_m=limits.offshore_wind_beyond_m,
    )
    judged = judge(passage, path, limits, daylight=daylight, coast_error_m=coast_error_m)
    numbers = np.arange(1, path.legs + 1) if leg_numbers is None else np.asarray(leg_numbers)
    of_member = judged.verdict.max(axis=(1, 2))
    margins = np.fmin.reduce(judged.margin, axis=(1, 2))
    member = member_at_share(of_member, margins, limits.member_share)
    detail = Detail(passage, judged, path, limits, numbers, member, coast_error_m)
    legs = np.sort(judged.verdict.max(axis=2), axis=2)
    rank = rank_of_share(limits.member_share, passage.members)
    binding, margin, margin_limit = detail.binding()
    ensemble = passage.members > 1
    return LaunchScan(
        stage=stage,
        leg_numbers=numbers.astype(np.int64),
        launch=passage.launch,
        arrive=_median_time(passage.leave[:, -1, :]),
        verdict=np.take_along_axis(of_member, member[:, None], axis=1)[:, 0],
        binding=binding,
        margin=margin,
        margin_limit=margin_limit,
        share_within=(of_member <= Verdict.CLOSE).mean(axis=1) if ensemble else None,
        members=passage.members,
        leg_verdict=legs[:, :, rank],
        enter=_median_time(passage.enter),
        leave=_median_time(passage.leave),
        wind_ms=_median(passage.wind_ms),
        gust_ms=_median(passage.gust_ms),
        headwind_ms=_median(passage.headwind_ms),
        crosswind_ms=_median(passage.crosswind_ms),
        wave_height_m=_median(passage.wave_height_m),
        offshore_m=np.broadcast_to(path.leg_offshore_m, passage.enter.shape[:2]),
        speed_over_ground_ms=_median(passage.speed_over_ground_ms),
        not_judged=judged.not_judged,
        detail=detail,
    )


def find_windows(scan: LaunchScan) -> tuple[LaunchWindow, ...]:
    """Runs of launches with one good verdict, in order; unknown or beyond breaks a run."""
    if not scan.launch.size:
        return ()
    change = np.flatnonzero(np.diff(scan.verdict)) + 1
    begins = np.concatenate([[0], change])
    ends = np.concatenate([change, [scan.launch.size]])
    good = scan.verdict[begins] <= Verdict.CLOSE
    return tuple(
        _window(scan, int(b), int(e) - 1) for b, e in zip(begins[good], ends[good], strict=True)
    )


def propose_launch(scan: LaunchScan, among: NDArray[np.bool_] | None = None) -> int | None:
    """Index of the launch to propose; None when none is within or close.

    Of the best verdict there is, the launch with the most in hand against its tightest limit;
    among those that come within `_EQUAL_MARGIN` of it, the earliest. `among` (m,) says which
    launches may be proposed; all by default.
    """
    good = scan.verdict <= Verdict.CLOSE
    if among is not None:
        good &= among
    if not good.any():
        return None
    good &= scan.verdict == scan.verdict[good].min()
    margin = np.where(good & np.isfinite(scan.margin), scan.margin, -np.inf)
    return int(np.argmax(good & (margin >= margin.max() - _EQUAL_MARGIN)))


def _window(scan: LaunchScan, first: int, last: int) -> LaunchWindow:
    run = slice(first, last + 1)
    tightest = first + int(np.argmin(scan.margin[run]))
    return LaunchWindow(
        stage=scan.stage,
        verdict=Verdict(int(scan.verdict[first])),
        first_launch=scan.launch[first],
        last_launch=scan.launch[last],
        latest_arrival=scan.arrive[run].max(),
        margin=float(scan.margin[tightest]),
        margin_limit=str(scan.margin_limit[tightest]),
        opened_by=_edge(scan, first, -1),
        closed_by=_edge(scan, last, 1),
    )


def _edge(scan: LaunchScan, i: int, step: int) -> str:
    """What ends a run at launch i on the side of step."""
    outside = "forecast start" if step < 0 else "forecast end"
    j = i + step
    if not 0 <= j < scan.launch.size:
        return outside
    if scan.verdict[j] == Verdict.UNKNOWN:
        beyond = scan.verdict[:i] if step < 0 else scan.verdict[i + 1 :]
        return outside if np.all(beyond == Verdict.UNKNOWN) else "unknown"
    return str(scan.binding[j]) or str(scan.binding[i])


def _median(values: FloatArray) -> FloatArray:
    """Median over members of those known; nan where fewer than half are."""
    if values.shape[-1] == 1:
        return values[..., 0]
    known = np.isfinite(values)
    enough = 2 * known.sum(axis=-1) >= values.shape[-1]
    ordered = np.sort(np.where(known, values, np.inf), axis=-1)
    count = np.maximum(known.sum(axis=-1), 1)
    low = np.take_along_axis(ordered, ((count - 1) // 2)[..., None], axis=-1)[..., 0]
    high = np.take_along_axis(ordered, (count // 2)[..., None], axis=-1)[..., 0]
    middle = np.where(enough, low, np.nan) + np.where(enough, high, np.nan)
    return np.asarray(middle / 2.0)


def _median_time(times: TimeArray) -> TimeArray:
    origin = np.datetime64("1970-01-01", "ns")
    seconds = np.where(np.isnat(times), np.nan, (times - origin).astype(np.int64) / 1e9)
    middle = np.asarray(_median(seconds))
    known = np.isfinite(middle)
    span: Any = np.round(np.where(known, middle, 0.0) * 1e3).astype("timedelta64[ms]")
    return np.where(known, origin + span, np.datetime64("NaT", "ns")).astype("datetime64[ns]")

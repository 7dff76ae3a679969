"""One stage paddled at every launch time and judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.findings import Finding
from routeplan._judge.scandetail import Detail, member_at_share, rank_of_share
from routeplan.limits import Judgement, Limits, Verdict, judge
from routeplan.propulsion import Craft
from routeplan.simulation import Pace, Passage, Path, simulate

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries
    from routeplan.sun import DaylightSpells

__all__ = ["LaunchScan", "Outing"]

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]


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
    wave_source : array of int8, shape (m, n)
        `routeplan.waves.WaveSource` of the wave height, the one that says least on the leg; 0
        where it is not known or was not chosen.
    not_judged : tuple of str
        Default limits the forecast says nothing about.
    robust : array of bool, shape (m,), or None
        Whether the launch stays within or close when the party is slower by
        `Limits.slower_share`, both on time and `Limits.delay_s` late. None: not tried.
    fine : LaunchScan, or None
        Launches between the others, where the verdict changes, so that windows end to the minute.
    outing : Outing
        What was paddled: path, weather, craft and limits.
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
    wave_source: NDArray[np.int8]
    speed_over_ground_ms: FloatArray
    not_judged: tuple[str, ...]
    robust: NDArray[np.bool_] | None
    fine: LaunchScan | None
    outing: Outing
    detail: Detail

    def findings(self, i: int) -> tuple[Finding, ...]:
        """How launch i stands against every limit that was judged, worst first."""
        return self.detail.findings(i)

    def legs_told(self) -> tuple[NDArray[np.str_], FloatArray]:
        """Limit that decides each leg of each launch, "" when within, and its smallest margin.

        Shape (m, n) each; they fit `leg_verdict`. The margin is nan when unknown.
        """
        return self.detail.legs_told()

    def telling(self, i: int) -> tuple[Finding, ...]:
        """Findings of launch i that its reasons are: not within, else the nearest to its limit."""
        return self.detail.telling(i)

    def reasons(self, i: int) -> tuple[str, ...]:
        """Sentences on launch i, worst first: what is not within, else what is nearest to it."""
        return self.detail.reasons(i)


@dataclass(frozen=True, slots=True, eq=False)
class Outing:
    """Everything a stage is judged by, save the launch time."""

    path: Path
    series: PointSeries
    craft: Craft | Sequence[Craft]
    limits: Limits
    daylight: tuple[DaylightSpells, DaylightSpells] | None
    stage: int
    numbers: NDArray[np.int64]
    coast_error_m: float
    pace: Pace

    def scan(self, launch: TimeArray, *, robust: bool) -> LaunchScan:
        """Paddle and judge every launch."""
        passage, judged = self._judged(launch, self.pace)
        of_member = judged.verdict.max(axis=(1, 2))
        margins = np.fmin.reduce(judged.margin, axis=(1, 2))
        member = member_at_share(of_member, margins, self.limits.member_share)
        detail = Detail(
            passage=passage,
            judged=judged,
            path=self.path,
            limits=self.limits,
            numbers=self.numbers,
            member=member,
            coast_error_m=self.coast_error_m,
            series=self.series,
        )
        verdict = np.take_along_axis(of_member, member[:, None], axis=1)[:, 0]
        return LaunchScan(
            stage=self.stage,
            leg_numbers=self.numbers,
            launch=passage.launch,
            verdict=verdict,
            share_within=_share_within(of_member),
            members=passage.members,
            not_judged=judged.not_judged,
            robust=self._robust(passage.launch, verdict <= Verdict.CLOSE) if robust else None,
            fine=None,
            outing=self,
            detail=detail,
            **detail.told(),
            **_by_leg(passage, judged, self.path, self.limits),
        )

    def _judged(self, launch: TimeArray, pace: Pace) -> tuple[Passage, Judgement]:
        passage = simulate(
            self.path,
            self.series,
            self.craft,
            launch,
            pace=pace,
            offshore_wind_beyond_m=self.limits.offshore_wind_beyond_m,
        )
        judged = judge(
            passage,
            self.path,
            self.limits,
            daylight=self.daylight,
            coast_error_m=self.coast_error_m,
        )
        return passage, judged

    def _robust(self, launch: TimeArray, good: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Whether good launches stay good for a slower party, on time and late."""
        out = np.zeros(launch.size, dtype=bool)
        if not good.any():
            return out
        slower = replace(self.pace, factor=self.pace.factor * (1.0 - self.limits.slower_share))
        late = np.timedelta64(round(self.limits.delay_s * 1e9), "ns")
        tried = np.concatenate([launch[good], launch[good] + late])
        _, judged = self._judged(tried, slower)
        ranked = np.sort(judged.verdict.max(axis=(1, 2)), axis=1)
        verdict = ranked[:, rank_of_share(self.limits.member_share, ranked.shape[1])]
        out[good] = (verdict.reshape(2, -1) <= Verdict.CLOSE).all(axis=0)
        return out


def _share_within(of_member: NDArray[np.int8]) -> FloatArray | None:
    if of_member.shape[1] == 1:
        return None
    return np.asarray((of_member <= Verdict.CLOSE).mean(axis=1))


def _wave_source(passage: Passage) -> NDArray[np.int8]:
    source = np.nan_to_num(passage.quantity("wave_source")).max(axis=-1)
    return np.asarray(np.ceil(source - 1e-6), dtype=np.int8)


def _by_leg(passage: Passage, judged: Judgement, path: Path, limits: Limits) -> dict[str, Any]:
    """Fields of a scan by leg."""
    legs = np.sort(judged.verdict.max(axis=2), axis=2)
    return {
        "arrive": _median_time(passage.leave[:, -1, :]),
        "leg_verdict": legs[:, :, rank_of_share(limits.member_share, passage.members)],
        "enter": _median_time(passage.enter),
        "leave": _median_time(passage.leave),
        "wind_ms": _median(passage.wind_ms),
        "gust_ms": _median(passage.gust_ms),
        "headwind_ms": _median(passage.headwind_ms),
        "crosswind_ms": _median(passage.crosswind_ms),
        "wave_height_m": _median(passage.wave_height_m),
        "wave_source": _wave_source(passage),
        "offshore_m": np.broadcast_to(path.leg_offshore_m, passage.enter.shape[:2]),
        "speed_over_ground_ms": _median(passage.speed_over_ground_ms),
    }


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

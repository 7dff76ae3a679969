"""Which launch to propose and why, and what stands between a trip and a window."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.findings import duration, limit_words, show_limit, show_needed
from routeplan._judge.launchscan import LaunchScan
from routeplan.limits import Verdict

__all__ = ["NearestMiss", "close_by_coastline", "nearest_miss", "propose_launch", "why_launch"]

# Assumptions: a tenth more or less of what is in hand is less than a forecast knows, and with half
# of every limit in hand there is nothing to wait for.
_EQUAL_SHARE = 0.9
_ENOUGH_MARGIN = 0.5
# Nobody gets up in the night for nothing. Local mean solar time, some seven o'clock by summer
# clocks; common practice, no source.
_CIVIL_H = 6
_SOLAR_S_PER_DEG = 240.0  # the sun takes 24 h for 360 degrees
# Not of the user's taste, or (drift) not followed far enough to say how much would do
_NEVER_EASED = ("land", "progress", "current", "daylight", "drift")


def propose_launch(scan: LaunchScan, among: NDArray[np.bool_] | None = None) -> int | None:
    """Index of the launch to propose; None when none is within or close.

    Of the best verdict there is, a launch that stays good when it is late and slow goes first;
    then the one with the most in hand against its tightest limit, of which no more than
    `_ENOUGH_MARGIN` counts. Those that have `_EQUAL_SHARE` of that in hand are its equals: of
    their first run without a break, on one day, it is the first at 06:00 by the sun or later, and
    the last where all of the run are before that.
    `among` (m,) says which launches may be proposed; all by default.
    """
    good = scan.verdict <= Verdict.CLOSE
    if among is not None:
        good &= among
    if not good.any():
        return None
    good &= scan.verdict == scan.verdict[good].min()
    if scan.robust is not None and (good & scan.robust).any():
        good &= scan.robust
    margin = np.where(good & np.isfinite(scan.margin), scan.margin, -np.inf)
    margin = np.minimum(margin, _ENOUGH_MARGIN)
    equal = good & (margin >= _EQUAL_SHARE * max(margin.max(), 0.0))
    return _at_a_civil_hour(scan, equal)


def _at_a_civil_hour(scan: LaunchScan, equal: NDArray[np.bool_]) -> int:
    """The launch to take from the first run of equals."""
    solar = _solar(scan)
    day = solar.astype("datetime64[D]")
    first = int(np.argmax(equal))
    other = np.flatnonzero(~(equal & (day == day[first]))[first:])
    end = first + int(other[0]) if other.size else equal.size
    civil = day[first] + np.timedelta64(_CIVIL_H, "h")
    return min(first + int(np.searchsorted(solar[first:end], civil)), end - 1)


def _solar(scan: LaunchScan) -> NDArray[np.datetime64]:
    """Launches in the local mean solar time of where the stage starts."""
    shift = round(float(scan.outing.path.longitude[0]) * _SOLAR_S_PER_DEG)
    return scan.launch + np.timedelta64(shift, "s")


def why_launch(scan: LaunchScan, i: int) -> str:
    """What speaks for launch i: a sentence, and one on how far its equals reach if it has any."""
    verdict = Verdict(int(scan.verdict[i]))
    if verdict > Verdict.CLOSE:
        return f"This launch is {verdict.word}; nothing speaks for it."
    limits = scan.detail.limits
    words = "within the limits" if verdict is Verdict.WITHIN else "good, though close to a limit"
    parts = [f"It is {words}"]
    if np.isfinite(scan.margin[i]):
        tightest = limit_words(str(scan.margin_limit[i]))
        parts.append(
            f"with {math.floor(100.0 * scan.margin[i] + 1e-9)} % in hand against its tightest "
            f"limit, {tightest}"
        )
    if scan.robust is not None:
        late, slow = duration(limits.delay_s), f"{100.0 * limits.slower_share:.0f} %"
        stays = "stays good" if scan.robust[i] else "does not stay good"
        parts.append(f"and it {stays} when you leave {late} later and paddle {slow} slower")
    if scan.share_within is not None:
        count = round(float(scan.share_within[i]) * scan.members)
        parts.append(f"{count} of {scan.members} forecast members agree")
    return " ".join([", ".join(parts) + ".", *_as_good(scan, i)])


def _as_good(scan: LaunchScan, i: int) -> list[str]:
    """How much earlier and later one may leave with as much in hand, without a break."""
    equal = (scan.verdict == scan.verdict[i]) & (scan.margin >= _EQUAL_SHARE * scan.margin[i])
    if scan.robust is not None:
        equal &= scan.robust >= scan.robust[i]
    if not equal[i]:  # nothing is known of what is left
        return []
    before, after = np.flatnonzero(~equal[:i]), np.flatnonzero(~equal[i:])
    first = int(before[-1]) + 1 if before.size else 0
    last = i + int(after[0]) - 1 if after.size else equal.size - 1
    spans = []
    for at, word in ((first, "earlier"), (last, "later")):
        span_s = abs(float((scan.launch[at] - scan.launch[i]) / np.timedelta64(1, "s")))
        if at != i:
            spans.append(f"{duration(span_s)} {word}")
    return [f"Leaving up to {' or '.join(spans)} keeps about as much in hand."] if spans else []


def close_by_coastline(scan: LaunchScan, i: int) -> bool:
    """Whether launch i is only close because nobody knows exactly where the shore lies.

    With a coastline free of error it would be within every limit.
    """
    share = scan.detail.limits.close_share
    near = [f for f in scan.findings(i) if f.verdict is Verdict.CLOSE]
    of_coast = [f.limit == "land" or (f.limit == "offshore" and f.margin >= share) for f in near]
    return int(scan.verdict[i]) == Verdict.CLOSE and bool(near) and all(of_coast)


@dataclass(frozen=True, slots=True)
class NearestMiss:
    """What would open a launch where none is good.

    `i` is the launch; `limit` the one limit that alone stands against it, which would have to be
    `needed` instead of `limit_value` (SI), or "" when no single limit does. `legs` is how many
    legs from the start are good at `shorter_i`, 0 when none; `texts` says both.
    """

    i: int | None
    limit: str
    limit_value: float
    needed: float
    shorter_i: int | None
    legs: int
    texts: tuple[str, ...]


def nearest_miss(scan: LaunchScan) -> NearestMiss | None:
    """Nearest miss of a scan without a good launch; None when there is a good one.

    Only launches on which nothing is unknown count. The limit of daylight, and headway, are never
    proposed to be eased; those of the user's choice are, as a question of how much, not as advice
    to do so.
    """
    if not scan.launch.size or scan.verdict.min() <= Verdict.CLOSE:
        return None
    i, limit, needed = _single_limit(scan)
    legs, shorter = _shorter(scan)
    texts = []
    value = scan.detail.limits.value(limit) if limit else np.nan
    if limit:
        texts.append(
            f"Only the limit on {limit_words(limit)} stands against the nearest launch: it needs "
            f"{show_needed(limit, needed, value)} where the limit is {show_limit(limit, value)}."
        )
    if legs:
        numbers = scan.leg_numbers[:legs]
        last = f"leg {numbers[-1]}" if legs > 1 else f"leg {numbers[0]} alone"
        texts.append(f"A shorter trip, as far as the end of {last}, would be good.")
    if not texts:
        texts.append("No single limit and no shorter trip would open a launch.")
    return NearestMiss(i, limit, value, needed, shorter, legs, tuple(texts))


def _single_limit(scan: LaunchScan) -> tuple[int | None, str, float]:
    """Launch on which one limit alone is beyond, by the least; its name and the value needed."""
    judged = scan.detail.judged
    index = np.arange(scan.launch.size), slice(None), slice(None), scan.detail.member
    worst = judged.verdict[index].max(axis=1)  # (m, L)
    beyond = worst == Verdict.BEYOND
    alone = (beyond.sum(axis=1) == 1) & ~(worst == Verdict.UNKNOWN).any(axis=1)
    eased = np.array([name not in _NEVER_EASED for name in judged.names])
    alone &= (beyond & eased).any(axis=1)
    if not alone.any():
        return None, "", np.nan
    margin = np.where(beyond & alone[:, None], judged.margin[index].min(axis=1), -np.inf)
    i, row = np.unravel_index(int(np.argmax(margin)), margin.shape)
    name = judged.names[int(row)]
    finding = next(f for f in scan.findings(int(i)) if f.limit == name)
    return int(i), name, finding.value


def _shorter(scan: LaunchScan) -> tuple[int, int | None]:
    """Most legs from the start that are good at one launch, and that launch."""
    good = np.minimum.accumulate(scan.leg_verdict <= Verdict.CLOSE, axis=1).sum(axis=1)
    most = int(good.max())
    return (most, int(np.argmax(good))) if most else (0, None)

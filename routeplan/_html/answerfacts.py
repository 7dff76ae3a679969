"""What the first screen says of each stage, and what is told further down; nothing is computed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._html.scandata import LETTERS
from routeplan._show.answers import chosen_window, limit_words, stage_answer
from routeplan._show.waystable import turn_places, ways_lines
from routeplan._show.wording import UNKNOWN, Clock, knots, percent
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.plan import Plan, StagePlan
    from routeplan.route import Waypoint
    from routeplan.windows import LaunchScan, LaunchWindow

__all__ = [
    "StageFacts",
    "headwind",
    "in_hand",
    "leg_rows",
    "not_judged",
    "stage_facts",
    "verdict_words",
    "window_rows",
]

_WORDS = {
    Verdict.WITHIN: "within every limit judged",
    Verdict.CLOSE: "close to a limit",
    Verdict.UNKNOWN: "unknown",
    Verdict.BEYOND: "beyond a limit",
}


def verdict_words(verdict: Verdict) -> dict[str, str]:
    """A verdict for a template: its word, letter and short sentence."""
    return {"word": verdict.word, "letter": LETTERS[verdict], "words": _WORDS[verdict]}


@dataclass(frozen=True, slots=True)
class StageFacts:
    """One stage for the templates.

    `launch` and `arrive` are of the launch proposed or picked, NaT without one; `window` is the
    one it lies in; `members` says how many of an ensemble agree. `turn_back` are sentences, the
    most important first, `turn_places` where their legs begin; `sentences` everything that is told
    of the window.
    """

    number: int
    start: Waypoint
    end: Waypoint
    length_m: float
    verdict: dict[str, str]
    picked: bool
    launch: np.datetime64
    arrive: np.datetime64
    last_light: np.datetime64
    in_hand: str
    robust: bool
    members: str
    window: dict[str, Any] | None
    headline: str
    turn_back: tuple[str, ...]
    turn_places: str
    sentences: tuple[str, ...]
    windows: tuple[dict[str, Any], ...]
    legs: tuple[dict[str, Any], ...]
    asked: bool


def stage_facts(stage: StagePlan, clock: Clock, now: np.datetime64 | None = None) -> StageFacts:
    """Facts of one stage."""
    what, scan, day = stage.stage, stage.scan, stage.day
    sentences = stage_answer(stage, clock, now=now)
    nat = np.datetime64("NaT", "ns")
    launch = scan.launch[stage.best] if scan is not None and stage.best is not None else nat
    chosen = None if stage.best is None else day  # a day without a launch has no verdict of its own
    verdict = _without_launch(scan) if chosen is None else Verdict(chosen.verdict)
    window = _around(stage)
    return StageFacts(
        number=what.number,
        start=what.start,
        end=what.end,
        length_m=what.length_m,
        verdict=verdict_words(verdict),
        picked=bool(day is not None and day.picked),
        launch=launch,
        arrive=nat if day is None else day.arrive,
        last_light=nat if day is None else day.last_light,
        in_hand="" if day is None else _in_hand(day.margin, day.binding),
        robust=_is_robust(scan, stage.best),
        members=_members(scan, stage.best),
        window=None if window is None else _window(window, clock),
        headline=sentences[0] if sentences else "",
        turn_back=tuple(ways_lines(stage, clock)),
        turn_places=turn_places(stage),
        sentences=tuple(sentences),
        windows=tuple(window_rows(stage, clock)),
        legs=tuple(leg_rows(scan, stage.best)),
        asked=scan is not None,
    )


def _without_launch(scan: LaunchScan | None) -> Verdict:
    """Beyond where every launch of the forecast is; else something about them is not known."""
    if scan is not None and scan.verdict.size and (scan.verdict == Verdict.BEYOND).all():
        return Verdict.BEYOND
    return Verdict.UNKNOWN


def _around(stage: StagePlan) -> LaunchWindow | None:
    """The window that the launch lies in; windows of a stage without a launch are no answer."""
    window = chosen_window(stage)
    if window is None or stage.scan is None or stage.best is None:
        return None
    launch = stage.scan.launch[stage.best]
    return window if window.first_launch <= launch <= window.last_launch else None


def _in_hand(margin: float, limit: str) -> str:
    if not np.isfinite(margin):
        return ""
    words = "in hand against" if margin >= 0.0 else "over the limit of"
    return f"{percent(abs(margin))} {words} {limit_words(limit)}"


def in_hand(margin: float) -> str:
    """A margin for a table: what is left, or by how much it is over."""
    return f"{percent(-margin)} over" if margin < 0.0 else percent(margin)


def headwind(speed_ms: float) -> str:
    """Headwind in knots; wind from behind is told as such."""
    words = knots(abs(speed_ms))
    return f"{words} behind" if speed_ms < 0.0 and words not in ("0", UNKNOWN) else words


def _is_robust(scan: LaunchScan | None, best: int | None) -> bool:
    return bool(
        scan is not None and best is not None and scan.robust is not None and scan.robust[best]
    )


def _members(scan: LaunchScan | None, best: int | None) -> str:
    """How many members of the forecast a launch is good in; "" where there is one only."""
    if scan is None or best is None or scan.share_within is None:
        return ""
    return f"{percent(float(scan.share_within[best]))} of {scan.members} forecast members"


def _window(window: LaunchWindow, clock: Clock) -> dict[str, Any]:
    first, last = window.first_launch, window.last_launch
    return {
        "one_day": clock.short_day(first) == clock.short_day(last),
        "first": window.first_launch,
        "last": window.last_launch,
        "by": window.latest_arrival,
        "verdict": verdict_words(Verdict(window.verdict)),
        "margin": percent(window.margin),
        "tightest": limit_words(window.margin_limit),
        "opens": limit_words(window.opened_by),
        "closes": limit_words(window.closed_by),
        "robust_first": window.robust_first,
        "robust_last": window.robust_last,
    }


def window_rows(stage: StagePlan, clock: Clock) -> Iterator[dict[str, Any]]:
    """Every window of a stage."""
    return (_window(window, clock) for window in stage.windows)


def leg_rows(scan: LaunchScan | None, i: int | None) -> Iterator[dict[str, Any]]:
    """The legs of one launch."""
    if scan is None or i is None:
        return
    binding, margin = scan.legs_told()
    for j, number in enumerate(scan.leg_numbers.tolist()):
        yield {
            "number": number,
            "enter": scan.enter[i, j],
            "leave": scan.leave[i, j],
            "wind_ms": scan.wind_ms[i, j],
            "gust_ms": scan.gust_ms[i, j],
            "headwind_ms": scan.headwind_ms[i, j],
            "wave_height_m": scan.wave_height_m[i, j],
            "speed_ms": scan.speed_over_ground_ms[i, j],
            "verdict": verdict_words(Verdict(int(scan.leg_verdict[i, j]))),
            "limit": limit_words(str(binding[i, j])) if binding[i, j] else "",
            "margin": in_hand(margin[i, j]),
        }


def not_judged(plan: Plan) -> list[str]:
    """Limits that the forecast says nothing about, in words."""
    names = {n for s in plan.stages if s.scan is not None for n in s.scan.not_judged}
    return sorted(limit_words(name) for name in names)

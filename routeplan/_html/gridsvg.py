"""Launch time against leg as runs of one verdict, for a template to draw and a script to read."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._html.answerfacts import verdict_words
from routeplan._show.answers import limit_words, window_launches
from routeplan._show.launchaxis import LaunchAxis, hour_step
from routeplan._show.wording import Clock, plain
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.plan import StagePlan
    from routeplan.windows import LaunchScan

__all__ = ["grid_facts"]

LEFT, WIDTH, RIGHT = 190.0, 810.0, 12.0
_TOP, _ROW, _TOTAL = 26.0, 24.0, 30.0
_LETTER_FROM = 9.0  # a run narrower than this has no room for its letter
_EM = 6.4  # width of a letter of a word, on the wide side


@dataclass(frozen=True, slots=True)
class _Row:
    y: float
    height: float
    label: str
    runs: list[dict[str, Any]]
    leg: int | None


def grid_facts(at: int, stage: StagePlan, clock: Clock) -> dict[str, Any] | None:
    """Rows of runs with their place on a drawing 1012 wide; None without launches.

    `at` is the place of the stage among all.
    """
    scan = stage.scan
    if scan is None or scan.launch.size < 2:
        return None
    axis = LaunchAxis(scan.launch, clock, 8.1)
    low, high = axis.limits
    scale = WIDTH / (high - low)

    def x(value: float) -> float:
        return round(LEFT + (value - low) * scale, 1)

    rows = [_total(scan, axis, x, clock)]
    y = _TOP + _TOTAL
    for j, leg in enumerate(stage.stage.legs):
        label = plain(f"{leg.number}  {leg.start.name} – {leg.end.name}", 32)
        words = f"leg {leg.number}"
        runs = _runs(scan.leg_verdict[:, j], None, words, scan, axis, x, clock)
        rows.append(_Row(y, _ROW, label, runs, leg.number))
        y += _ROW
    dark = [] if stage.daylight is None else axis.dark(stage.daylight.start, stage.daylight.end)
    return {
        "at": at,
        "left": LEFT,
        "width": WIDTH,
        "height": round(y + 42.0, 1),
        "bottom": y,
        "top": _TOP,
        "rows": rows,
        "nights": [{"x": x(a), "w": round((b - a) * scale, 1)} for a, b in dark],
        "hours": [{"x": x(v), "text": t} for v, t in axis.hours(hour_step(axis.span_h))],
        "days": [
            {"x": x(a), "mid": x((a + b) / 2), "text": name if (b - a) * scale > 60 else ""}
            for a, b, name in axis.days()
        ],
        "windows": [
            {
                "x": x(axis.x(w.first_launch)),
                "w": round(max((axis.x(w.last_launch) - axis.x(w.first_launch)) * scale, 2.0), 1),
                "close": w.verdict != Verdict.WITHIN,
                "words": f"{clock.short_day(w.first_launch)} {window_launches(w, clock)}, "
                f"{Verdict(w.verdict).word}",
            }
            for w in stage.windows
        ],
        "proposed": None if stage.best is None else x(axis.x(scan.launch[stage.best])),
        "steps": [x(axis.x(launch)) for launch in scan.launch],
    }


def _total(scan: LaunchScan, axis: LaunchAxis, x: Any, clock: Clock) -> _Row:
    runs = _runs(scan.verdict, scan.binding, "whole stage", scan, axis, x, clock)
    return _Row(_TOP, _TOTAL - 4.0, "whole stage: what binds", runs, None)


def _runs(
    verdicts: NDArray[np.int8],
    binding: NDArray[np.str_] | None,
    what: str,
    scan: LaunchScan,
    axis: LaunchAxis,
    x: Any,
    clock: Clock,
) -> list[dict[str, Any]]:
    keys = verdicts.astype(str) if binding is None else np.char.add(verdicts.astype(str), binding)
    change = np.flatnonzero(keys[1:] != keys[:-1]) + 1
    out = []
    for begin, end in pairwise([0, *change.tolist(), len(keys)]):
        verdict = Verdict(int(verdicts[begin]))
        left, right = axis.span(begin, end)
        width = x(right) - x(left)
        limit = limit_words(str(binding[begin])) if binding is not None else ""
        shown = verdict_words(verdict)
        first, last = scan.launch[begin], scan.launch[end - 1]
        out.append(
            {
                "x": x(left),
                "w": round(width, 1),
                "first": first,
                "last": last,
                "limit": limit,
                "verdict": shown,
                "text": _fitting(
                    limit or (shown["word"] if binding is not None else ""), shown["letter"], width
                ),
                "title": f"{what}, launches {clock.short_day(first)} {clock.time(first)} to "
                f"{clock.short_day(last)} {clock.time(last)}: {shown['word']}"
                + (f", {limit}" if limit else ""),
            }
        )
    return out


def _fitting(words: str, letter: str, width: float) -> str:
    if words and len(words) * _EM + 4.0 < width:
        return words
    return letter if width >= _LETTER_FROM else ""

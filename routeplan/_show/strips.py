"""Launches condensed to a strip of marks, one row a day: readable without colour."""

from __future__ import annotations

import math
from datetime import datetime
from typing import TYPE_CHECKING

from routeplan._show.answers import limit_words
from routeplan._show.wording import LIMIT_LETTERS, Clock, duration
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.windows import LaunchScan

__all__ = ["launch_mark", "strip_legend", "strip_rows"]

_MARKS = {Verdict.WITHIN: "#", Verdict.CLOSE: "+", Verdict.UNKNOWN: "?"}
_OTHER = "b"  # beyond a limit that has no letter of its own
_NONE = " "  # no launch was tried then
_LABEL = 12  # width of "Tue 14 Jul  "
_DAY_MIN = 1_440
_FULL = 48  # marks a day at most, where the terminal is wide enough


def launch_mark(verdict: Verdict, binding: str) -> str:
    """One character for a launch; beyond a limit, the limit's letter."""
    return _MARKS.get(verdict) or LIMIT_LETTERS.get(binding, _OTHER)


def strip_rows(scan: LaunchScan, clock: Clock, width: int) -> list[str]:
    """A ruler and one row for each part of a day that fits the width.

    Where clocks go back, two launches share a mark: the worse one is shown.
    """
    step = _step_min(scan)
    hours = _hours_in_row(step, max(width - _LABEL, 12))
    cells = math.ceil(hours * 60 / step - 1e-9)
    wide = max(1, min(_FULL, width - _LABEL) * hours // 24 // cells) if hours == 24 else 1
    rows: dict[tuple[str, int], list[tuple[Verdict, str]]] = {}
    for launch, value, binding in zip(scan.launch, scan.verdict, scan.binding, strict=True):
        local = clock.local(launch)
        verdict = Verdict(int(value))
        part, cell = _place(local, step, hours)
        row = rows.setdefault((clock.short_day(launch), part), [(Verdict.WITHIN, _NONE)] * cells)
        if row[cell][1] == _NONE or verdict > row[cell][0]:
            row[cell] = (verdict, launch_mark(verdict, str(binding)))
    lines = []
    ruler = None
    for (day, part), row in rows.items():
        wanted = _ruler(part * hours, hours, cells * wide)
        if wanted != ruler:
            ruler = wanted
            lines.append(" " * _LABEL + ruler)
        lines.append(day.ljust(_LABEL) + "".join(mark * wide for _, mark in row).rstrip())
    return lines


def strip_legend(scan: LaunchScan) -> str:
    """What the marks of a strip mean, for those that are in it."""
    words = {"#": "within", "+": "close", "?": "unknown"}
    seen: dict[str, str] = {}
    for value, binding in zip(scan.verdict.tolist(), scan.binding.tolist(), strict=True):
        mark = launch_mark(Verdict(value), binding)
        seen.setdefault(mark, words.get(mark) or limit_words(binding))
    marks = [f"{m}={seen[m]}" for m in "#+?" if m in seen]
    bad = [f"{m}={w}" for m, w in sorted(seen.items()) if m not in "#+?"]
    if bad:
        marks.append(f"beyond: {', '.join(bad)}")
    return f"One mark a launch, every {duration(60 * _step_min(scan))}. {', '.join(marks)}."


def _step_min(scan: LaunchScan) -> float:
    if scan.launch.size < 2:
        return 60.0
    step = (scan.launch[1] - scan.launch[0]).astype("timedelta64[s]").astype(int)
    return max(float(step) / 60.0, 1.0 / 60.0)


def _hours_in_row(step_min: float, room: int) -> int:
    for hours in (24, 12, 8, 6, 4, 3, 2, 1):
        if math.ceil(hours * 60 / step_min - 1e-9) <= room:
            return hours
    return 1


def _place(local: datetime, step_min: float, hours: int) -> tuple[int, int]:
    """Part of the day and mark within it."""
    minute = local.hour * 60 + local.minute + local.second / 60
    part = int(minute // (hours * 60))
    return part, int((minute - part * hours * 60) / step_min + 1e-6)


def _ruler(first_hour: int, hours: int, width: int) -> str:
    """Hours of the day over the marks they belong to."""
    line = [" "] * (width + 2)
    used = -1
    for hour in range(hours):
        at = round(hour / hours * width)
        if hour % max(1, hours // 8) == 0 and at > used:
            line[at : at + 2] = f"{first_hour + hour:02d}"
            used = at + 2
    return "".join(line).rstrip()

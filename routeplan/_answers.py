"""The answer first: for each stage when to launch, why, and what closes the window."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from routeplan._wording import LIMIT_WORDS, Clock, percent
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.plan import StagePlan
    from routeplan.windows import Finding, LaunchScan, LaunchWindow

__all__ = ["chosen_window", "limit_words", "stage_answer", "window_launches"]


def limit_words(name: str) -> str:
    """The name of a limit for people."""
    return LIMIT_WORDS.get(name, name.replace("_", " "))


def chosen_window(stage: StagePlan) -> LaunchWindow | None:
    """The window to tell first: the one with the proposed launch, or else the first."""
    if stage.scan is not None and stage.best is not None:
        proposed = stage.scan.launch[stage.best]
        for window in stage.windows:
            if window.first_launch <= proposed <= window.last_launch:
                return window
    return stage.windows[0] if stage.windows else None


def stage_answer(stage: StagePlan, clock: Clock) -> list[str]:
    """Sentences for one stage, the most important first."""
    scan = stage.scan
    if scan is None or not scan.launch.size:
        return []
    window = chosen_window(stage)
    if window is None:
        return _no_window(stage, scan, clock)
    lines = [_when(window, clock), _why(window, scan, stage, clock)]
    lines += _edges(window, scan, clock)
    others = len(stage.windows) - 1
    if others:
        lines.append(f"{others} other window{'s' if others > 1 else ''}: see the table of windows.")
    return lines


def window_launches(window: LaunchWindow, clock: Clock) -> str:
    """First and last launch, `07:30–10:00`, with the day of the last if it is another."""
    first, last = window.first_launch, window.last_launch
    if first == last:
        return clock.time(first)
    text = f"{clock.time(first)}–{clock.time(last)}"
    if clock.local(first).date() != clock.local(last).date():
        text += f" {clock.local(last):%a}"
    return text


def _when(window: LaunchWindow, clock: Clock) -> str:
    first, last = window.first_launch, window.last_launch
    zone = clock.abbreviation(first)
    if first == last:
        span = f"at {clock.time(first)} on {clock.day(first)} ({zone})"
    elif clock.local(first).date() == clock.local(last).date():
        span = f"between {clock.time(first)} and {clock.time(last)} on {clock.day(first)} ({zone})"
    else:
        span = (
            f"between {clock.time(first)} on {clock.day(first)} and {clock.time(last)} on "
            f"{clock.day(last)} ({zone})"
        )
    by = clock.time(window.latest_arrival)
    if clock.short_day(window.latest_arrival) != clock.short_day(last):
        by = f"{by} on {clock.day(window.latest_arrival)}"
    return f"Launch {span}; ashore by {by} at the latest."


def _why(window: LaunchWindow, scan: LaunchScan, stage: StagePlan, clock: Clock) -> str:
    margin = f"{percent(window.margin)} to the limit of {limit_words(window.margin_limit)}"
    if window.verdict == Verdict.WITHIN:
        text = f"Within every limit judged; the narrowest margin is {margin}."
    else:
        text = f"Close to a limit: the narrowest margin is {margin}."
    if stage.best is not None:
        proposed = scan.launch[stage.best]
        if window.first_launch <= proposed <= window.last_launch:
            text += f" Proposed launch: {clock.time(proposed)}."
    return text


def _edges(window: LaunchWindow, scan: LaunchScan, clock: Clock) -> list[str]:
    """What opens and what closes the window, from the launches just outside it."""
    before = int(np.searchsorted(scan.launch, window.first_launch)) - 1
    after = int(np.searchsorted(scan.launch, window.last_launch)) + 1
    opens = _edge("Opens", window.opened_by, before, scan, clock)
    closes = _edge("Closes", window.closed_by, after, scan, clock)
    return [opens, closes]


def _edge(word: str, cause: str, index: int, scan: LaunchScan, clock: Clock) -> str:
    why = f"{word} with the {cause}." if "forecast" in cause else f"{word} by {limit_words(cause)}."
    if not 0 <= index < scan.launch.size:
        return why
    findings = scan.findings(index)
    if not findings:
        return why
    return f"{why} Launch at {clock.time(scan.launch[index])}: {finding_words(findings[0], clock)}"


def finding_words(finding: Finding, clock: Clock) -> str:
    """A finding's sentence with its local time."""
    text = finding.text.rstrip(".")
    if finding.when is not None and not np.isnat(finding.when):
        text += f" ({clock.moment(finding.when)})"
    return text + "."


def _no_window(stage: StagePlan, scan: LaunchScan, clock: Clock) -> list[str]:
    known = scan.verdict != Verdict.UNKNOWN
    if not known.any():
        lines = ["Unknown: the forecast says nothing for any launch of this stage."]
    else:
        lines = ["No launch of this forecast is within the limits."]
    binding = Counter(str(name) for name in scan.binding[scan.verdict == Verdict.BEYOND])
    if binding:
        shares = ", ".join(f"{limit_words(name)} {count}" for name, count in binding.most_common())
        lines.append(
            f"Of {scan.launch.size} launches tried, what stands against how many: {shares}."
        )
    if not known.all():
        lines.append(f"{int((~known).sum())} of {scan.launch.size} launches are unknown.")
    if stage.best is not None:
        lines.append(f"Least bad: {clock.moment(scan.launch[stage.best])}.")
    elif scan.launch.size:
        first = scan.findings(0)
        if first:
            lines.append(f"First launch: {finding_words(first[0], clock)}")
    return lines

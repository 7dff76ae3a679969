"""The answer first: for each stage when to launch, why, and what closes the window."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np

from routeplan._show.daywords import day_words
from routeplan._show.wording import LIMIT_WORDS, Clock, percent
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.plan import StagePlan
    from routeplan.windows import Finding, LaunchScan, LaunchWindow

    _Tried = tuple[LaunchScan, int]

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
    day = [] if stage.day is None else day_words(stage.day, clock)
    if window is None:
        return [*_no_window(scan), *day]
    lines = [_when(window, clock), *_why(window, scan, stage, clock)]
    lines += [*_edges(window, scan, clock), *day]
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


def _why(window: LaunchWindow, scan: LaunchScan, stage: StagePlan, clock: Clock) -> list[str]:
    from routeplan.windows import why_launch  # loads what `legs` must not wait for

    margin = f"{percent(window.margin)} to the limit of {limit_words(window.margin_limit)}"
    if window.verdict == Verdict.WITHIN:
        lines = [f"All of it is within every limit judged; the narrowest margin is {margin}."]
    else:
        lines = [f"All of it is close to a limit: the narrowest margin is {margin}."]
    if not np.isnat(window.robust_first):
        lines[0] += f" Robust from {clock.time(window.robust_first)}"
        lines[0] += f" to {clock.time(window.robust_last)}."
    if stage.best is not None:
        proposed = clock.time(scan.launch[stage.best])
        lines.append(f"Proposed: {proposed}. {why_launch(scan, stage.best)}")
    return lines


def _edges(window: LaunchWindow, scan: LaunchScan, clock: Clock) -> list[str]:
    """What opens and what closes the window, from the launches outside it."""
    tried = _in_order(scan)
    before = [at for at in reversed(tried) if _launch(at) < window.first_launch]
    after = [at for at in tried if _launch(at) > window.last_launch]
    return [
        _edge(("Opens", "last", "before"), window.first_launch, window.opened_by, before, clock),
        _edge(("Closes", "first", "after"), window.last_launch, window.closed_by, after, clock),
    ]


def _in_order(scan: LaunchScan) -> list[_Tried]:
    """Every launch tried, those between the launches of the scan among them."""
    scans = [scan] if scan.fine is None else [scan, scan.fine]
    return sorted(((s, i) for s in scans for i in range(s.launch.size)), key=_launch)


def _launch(at: _Tried) -> np.datetime64:
    launch: np.datetime64 = at[0].launch[at[1]]
    return launch


def _verdict(at: _Tried) -> Verdict:
    return Verdict(int(at[0].verdict[at[1]]))


def _edge(
    words: tuple[str, str, str],
    edge: np.datetime64,
    cause: str,
    outside: list[_Tried],
    clock: Clock,
) -> str:
    """What ends a window on one side: the launch next to it, and the next that is not good."""
    word, which, side = words
    if "forecast" in cause:
        why = f"{word} with the {cause}."
    elif cause == "unknown":
        why = f"{word} where the forecast has a gap."
    else:
        why = f"{word} by {limit_words(cause)}."
    if not outside:
        return why
    if _verdict(outside[0]) > Verdict.CLOSE:
        return f"{why} Launch at {_told(outside[0], edge, clock)}"
    # Another good window touches this one: say where launches stop being good at all.
    if _verdict(outside[0]) is Verdict.CLOSE:
        why += f" Launch at {_told(outside[0], edge, clock, ' is only close')}"
    bad = next((at for at in outside if _verdict(at) > Verdict.CLOSE), None)
    if bad is None:
        return f"{why} Every launch {side} it is good as well."
    return f"{why} The {which} one {side} it that is not good is at {_told(bad, edge, clock)}"


def _told(at: _Tried, edge: np.datetime64, clock: Clock, words: str = "") -> str:
    """Time of a launch and what stands worst with it."""
    scan, i = at
    when = clock.time(_launch(at))
    if clock.short_day(_launch(at)) != clock.short_day(edge):
        when += f" on {clock.short_day(_launch(at))}"
    findings = scan.findings(i)
    return f"{when}{words}" + (f": {finding_words(findings[0], clock)}" if findings else ".")


def finding_words(finding: Finding, clock: Clock) -> str:
    """A finding's sentence with its local time."""
    text = finding.text.rstrip(".")
    if finding.when is not None and not np.isnat(finding.when):
        text += f" ({clock.moment(finding.when)})"
    return text + "."


def _no_window(scan: LaunchScan) -> list[str]:
    from routeplan.windows import nearest_miss

    known = scan.verdict != Verdict.UNKNOWN
    if not known.any():
        return ["Unknown: the forecast says nothing for any launch of this stage."]
    lines = ["No launch of this forecast is within the limits."]
    binding = Counter(str(name) for name in scan.binding[scan.verdict == Verdict.BEYOND])
    if binding:
        counted = ", ".join(f"{limit_words(name)} {count}" for name, count in binding.most_common())
        lines.append(f"What stands against how many of {scan.launch.size} launches: {counted}.")
    if not known.all():
        lines.append(f"{int((~known).sum())} of {scan.launch.size} launches are unknown.")
    miss = nearest_miss(scan)
    if miss is not None:
        lines += miss.texts
    return lines

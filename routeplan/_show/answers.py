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

_NONE_FITS = (
    "No launch is proposed: no good one fits what comes before it and what you asked for. Its "
    "windows below are judged each by itself."
)

__all__ = [
    "chosen_window",
    "finding_words",
    "limit_words",
    "stage_answer",
    "whatever_the_weather",
    "window_launches",
]


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


def stage_answer(stage: StagePlan, clock: Clock, *, now: np.datetime64 | None = None) -> list[str]:
    """Sentences for one stage, the most important first; `now` is the time of asking."""
    scan = stage.scan
    if scan is None or not scan.launch.size:
        return []
    window = chosen_window(stage)
    day = [] if stage.day is None else day_words(stage.day, clock, now=now)
    if window is None:
        return [*_picked(stage, clock), *_no_window(scan, clock), *day]
    edges = _edges(window, scan, clock)
    if _proposed_in(window, scan, stage):
        lines = [_when(window, clock), *_why(window, scan, clock), _proposal(stage, clock), *edges]
    else:
        first = _picked(stage, clock) or [_NONE_FITS]
        lines = [*first, f"Taken alone: {_lower(_when(window, clock))}"]
        lines += [*_why(window, scan, clock), *edges]
    others = len(stage.windows) - 1
    more = f"{others} other window{'s' if others > 1 else ''}: see the table below."
    return [*lines, *day, *([more] if others else [])]


def _proposed_in(window: LaunchWindow, scan: LaunchScan, stage: StagePlan) -> bool:
    if stage.best is None:
        return False
    return bool(window.first_launch <= scan.launch[stage.best] <= window.last_launch)


def _proposal(stage: StagePlan, clock: Clock) -> str:
    from routeplan.windows import why_launch  # loads what `legs` must not wait for

    scan, best = stage.scan, stage.best
    assert scan is not None
    assert best is not None
    word = "Picked" if _is_picked(stage) else "Proposed"
    return f"{word}: {clock.time(scan.launch[best])}. {why_launch(scan, best)}"


def _picked(stage: StagePlan, clock: Clock) -> list[str]:
    """What stands against a launch that the user picked outside every window."""
    scan, best = stage.scan, stage.best
    if scan is None or best is None:
        return []
    launch = scan.launch[best]
    when = f"{clock.time(launch)} on {clock.day(launch)} ({clock.abbreviation(launch)})"
    verdict = Verdict(int(scan.verdict[best]))
    against = " ".join(finding_words(f, clock) for f in scan.findings(best) if f.verdict is verdict)
    return [f"Picked: {when}, which is {verdict.word}. {against}".strip()]


def _is_picked(stage: StagePlan) -> bool:
    return stage.day is not None and stage.day.picked


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


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


def _why(window: LaunchWindow, scan: LaunchScan, clock: Clock) -> list[str]:
    """How good the launches of a window are, and why not better."""
    margin = f"{percent(window.margin)} of the limit of {limit_words(window.margin_limit)}"
    if window.verdict == Verdict.WITHIN:
        lines = [f"All of it is within every limit judged; at the tightest {margin} is left."]
    else:
        lines = [f"All of it is only close; at the tightest {margin} is left."]
    if not np.isnat(window.robust_first):
        first, last = clock.time(window.robust_first), clock.time(window.robust_last)
        span = f"from {first} to {last}" if first != last else f"at {first} only"
        lines[0] += f" Robust {span}."
    if window.verdict == Verdict.CLOSE:
        lines.append(_close_by(window, scan, clock))
    return lines


def _close_by(window: LaunchWindow, scan: LaunchScan, clock: Clock) -> str:
    """What makes the launches of a window no better than close, told of its first one."""
    from routeplan.windows import close_by_coastline

    tried, i = next(at for at in _in_order(scan) if _launch(at) >= window.first_launch)
    words = finding_words(tried.findings(i)[0], clock)
    if close_by_coastline(tried, i):
        words += " Only the error of the coastline makes it close: a finer one may settle it."
    return f"Why close: {words}"


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
    """A finding's sentence with its local time; what is unknown with that from when it is."""
    text = finding.text.rstrip(".")
    if finding.when is not None and not np.isnat(finding.when):
        since = "from " if finding.verdict is Verdict.UNKNOWN else ""
        text += f" ({since}{clock.moment(finding.when)})"
    return text + "."


def _no_window(scan: LaunchScan, clock: Clock) -> list[str]:
    from routeplan.windows import nearest_miss

    known = scan.verdict != Verdict.UNKNOWN
    if not known.any():
        why = _first_unknown(scan, clock)
        return [f"Unknown: no launch of this stage can be judged by this forecast. {why}".strip()]
    surely = "" if known.all() else "known to be "
    lines = [f"No launch of this forecast is {surely}within the limits."]
    lines += [f"At every launch: {_lower(words)}" for words in whatever_the_weather(scan)]
    binding = Counter(str(name) for name in scan.binding[scan.verdict == Verdict.BEYOND])
    if binding:
        counted = ", ".join(f"{limit_words(name)} {count}" for name, count in binding.most_common())
        lines.append(f"What stands against how many of {scan.launch.size} launches: {counted}.")
    if not known.all():
        count = int((~known).sum())
        counted = f"{count} of {scan.launch.size} launches {'are' if count > 1 else 'is'} unknown"
        lines.append(f"{counted}. {_first_unknown(scan, clock)}".strip())
    miss = nearest_miss(scan)
    if miss is not None:
        lines += miss.texts
    return lines


def whatever_the_weather(scan: LaunchScan) -> list[str]:
    """What stands against every launch of a stage, as it lies in the line and not in the hour."""
    first = np.flatnonzero(scan.verdict == Verdict.BEYOND)[:1]
    found = [f for i in first for f in scan.findings(int(i))]
    fixed = ("land", "offshore")
    return [f.text for f in found if f.limit in fixed and f.verdict is Verdict.BEYOND]


def _first_unknown(scan: LaunchScan, clock: Clock) -> str:
    """What is missing for the first launch that is unknown."""
    i = int(np.argmax(scan.verdict == Verdict.UNKNOWN))
    missing = [f for f in scan.findings(i) if f.verdict is Verdict.UNKNOWN]
    if not missing:
        return ""
    words = _lower(finding_words(missing[0], clock))
    return f"Launch at {clock.moment(scan.launch[i])}: {words}"

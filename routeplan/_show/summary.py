"""The answer in a few lines: each stage, what is tightest, what turns one back, what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from routeplan._show.answers import (
    chosen_window,
    limit_words,
    whatever_the_weather,
    window_launches,
)
from routeplan._show.waystable import soonest_turn
from routeplan._show.wording import Clock, percent, plain
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.limits import Limits
    from routeplan.plan import Plan, StagePlan

__all__ = ["felt_limits", "summary_rows"]

# Limits that one sees or hears passed on the water, whatever the forecast said.
_FELT = ("wind", "gust", "wave_height", "visibility")
_MOST_FILES = 12


def summary_rows(
    plan: Plan, clock: Clock, files: Sequence[Path] | None = None
) -> list[tuple[str, str]]:
    """Rows of a heading and a sentence; `files` were written, None where nobody asks for any."""
    rows = [(f"Stage {it.stage.number}", _stage(it, clock)) for it in plan.stages]
    rows += [("Tightest", _tightest(plan)), ("Turn back", _turn_back(plan, clock))]
    rows += [("Missing", _missing(plan)), ("Files", _files(files))]
    return [(head, words) for head, words in rows if words]


def _stage(it: StagePlan, clock: Clock) -> str:
    scan = it.scan
    if scan is None or not scan.launch.size:
        return "UNKNOWN: the forecast has no time to launch."
    if it.best is None:
        return _no_launch(it)
    launch, verdict = scan.launch[it.best], Verdict(int(scan.verdict[it.best]))
    picked = "picked " if it.day is not None and it.day.picked else ""
    words = f"{verdict.word.upper()}: {picked}launch {clock.moment(launch)}"
    window = chosen_window(it)
    if window is not None and window.first_launch <= launch <= window.last_launch:
        words += f", good any time {window_launches(window, clock)}"
    arrive = scan.arrive[it.best]
    if not np.isnat(arrive):
        same = clock.short_day(arrive) == clock.short_day(launch)
        when = clock.time(arrive) if same else f"{clock.short_day(arrive)} {clock.time(arrive)}"
        words += f", at {it.stage.end.name or 'the end'} {when}"
    ashore = 0 if it.day is None else it.day.days_ashore
    if ashore:
        words += f", after {ashore} day{'s' if ashore > 1 else ''} ashore"
    return f"{words}."


def _no_launch(it: StagePlan) -> str:
    scan = it.scan
    assert scan is not None
    if it.windows:
        return "NO LAUNCH fits what comes before it and what you asked for."
    fixed = whatever_the_weather(scan)
    if fixed:
        return f"NO LAUNCH, whatever the weather. {' '.join(fixed)}"
    if (scan.verdict == Verdict.UNKNOWN).all():
        return "UNKNOWN: no launch can be judged by this forecast."
    if (scan.verdict == Verdict.UNKNOWN).any():
        return "NO LAUNCH is known to be within the limits; some are unknown."
    return "NO LAUNCH is within the limits."


def _tightest(plan: Plan) -> str:
    """The least that any launch proposed leaves of a limit."""
    found = []
    for it in plan.stages:
        if it.scan is not None and it.best is not None and np.isfinite(it.scan.margin[it.best]):
            found.append((float(it.scan.margin[it.best]), it))
    if not found:
        return ""
    margin, it = min(found, key=lambda pair: pair[0])
    assert it.scan is not None
    assert it.best is not None
    name = str(it.scan.margin_limit[it.best])
    leg = next((f.leg for f in it.scan.findings(it.best) if f.limit == name), None)
    where = f"stage {it.stage.number}" + ("" if leg is None else f", leg {leg}")
    if margin < 0.0:
        return f"{limit_words(name)}: beyond by {percent(-margin)} of the limit ({where})."
    return f"{limit_words(name)}: {percent(margin)} of the limit left ({where})."


def _turn_back(plan: Plan, clock: Clock) -> str:
    """The turn-back time with least to spare, and the limits that hold on the water as well."""
    if not any(it.best is not None for it in plan.stages):
        return ""
    turn, felt = soonest_turn(plan.stages, clock), felt_limits(plan.trip.limits)
    return "; ".join([*([turn] if turn else []), *([f"when {felt}"] if felt else [])]) + "."


def felt_limits(limits: Limits, names: Sequence[str] = _FELT) -> str:
    """What one meets on the water beyond the limits of those names that are set; "" for none."""
    from routeplan._judge.findings import show_limit

    felt = [
        f"{limit_words(name)} {'under' if name == 'visibility' else 'over'} "
        f"{show_limit(name, limits.value(name))}"
        for name in names
        if np.isfinite(limits.value(name))
    ]
    if not felt:
        return ""
    return f"you meet {', '.join(felt[:-1])}{' or ' if felt[1:] else ''}{felt[-1]}"


def _missing(plan: Plan) -> str:
    names = {n for it in plan.stages if it.scan is not None for n in it.scan.not_judged}
    parts = []
    if names:
        words = ", ".join(sorted(limit_words(name) for name in names))
        parts.append(f"not judged, as the forecast has nothing on it: {words}")
    open_ = [str(it.stage.number) for it in plan.stages if it.scan is not None and it.best is None]
    if open_ and len(open_) < len(plan.stages):
        parts.append(f"a launch for stage{'s' if len(open_) > 1 else ''} {', '.join(open_)}")
    unknown = _unknown(plan)
    if unknown:
        parts.append(f"unknown, so that launches are not good: {', '.join(unknown)}")
    return f"{'; '.join(parts)}." if parts else "nothing: every limit set was judged."


def _unknown(plan: Plan) -> list[str]:
    """What makes launches unknown in the stages without one."""
    found: dict[str, None] = {}
    for it in plan.stages:
        if it.scan is None or it.best is not None:
            continue
        unknown = it.scan.verdict == Verdict.UNKNOWN
        names = it.scan.binding[unknown].tolist()
        # The last launches of every forecast outlast it; that is no reason while others do not.
        found |= dict.fromkeys(n for n in names if n != "progress" or unknown.all())
    return ["weather until arrival" if n == "progress" else limit_words(n) for n in found if n]


def _files(files: Sequence[Path] | None) -> str:
    if files is None:
        return ""
    if not files:
        return "none written; --out DIR writes the map, the charts, the sheet and all figures."
    folders = dict.fromkeys(path.parent for path in files)
    parts = []
    for folder in folders:
        names = [plain(path.name) for path in files if path.parent == folder]
        more = f" and {len(names) - _MOST_FILES} more" if len(names) > _MOST_FILES else ""
        parts.append(f"in {plain(folder)}: {', '.join(names[:_MOST_FILES])}{more}")
    return f"{'; '.join(parts)}."

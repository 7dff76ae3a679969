"""Launch time against leg: verdicts, the limit that binds, windows, night."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._show.answers import window_launches
from routeplan._show.canvas import INK, MARGIN_IN, QUIET, foot, heading, look, put, text_width
from routeplan._show.launchaxis import LaunchAxis, hour_step
from routeplan._show.mapside import source_lines
from routeplan._show.wording import LIMIT_LETTERS, LIMIT_WORDS, Clock, kilometres, plain
from routeplan.errors import InputError
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from routeplan.plan import Plan, StagePlan
    from routeplan.sun import DaylightSpells
    from routeplan.windows import LaunchScan

__all__ = ["launches_figure"]

_Cell = tuple[float, float, float, float, Verdict]  # left, right, middle, height

# Verdict: fill, hatch, hatch colour, letter, letter colour. The fills go from light to dark as
# the verdict gets worse, so they keep their order in grey; unknown is white and crossed.
_LOOKS: dict[Verdict, tuple[str, str, str, str, str]] = {
    Verdict.WITHIN: ("#d8e219", "", "#d8e219", "W", INK),
    Verdict.CLOSE: ("#35a885", "....", "#0f4a3c", "C", INK),
    Verdict.BEYOND: ("#46226b", "////", "#7d66a0", "B", "white"),
    Verdict.UNKNOWN: ("#ffffff", "xxx", "#9aa0a6", "?", INK),
}
_MEANING = {
    Verdict.WITHIN: "within all limits",
    Verdict.CLOSE: "close to a limit",
    Verdict.BEYOND: "beyond a limit",
    Verdict.UNKNOWN: "unknown (no data)",
}
_NIGHT = "#8d959d"
_WIDTH_IN, _LEFT_IN, _RIGHT_IN = 13.5, 2.75, 0.35
_TOP_IN = 1.26
_BRACKET_IN, _OUTING_IN, _PANEL_TITLE_IN, _TICKS_IN = 0.34, 0.30, 0.42, 0.40
_LEG_IN, _LEG_MIN_IN, _LEGS_MAX_IN = 0.25, 0.15, 9.0
_FILLED = 0.78  # share of a row that its cells fill; the night shows in the rest


def launches_figure(plan: Plan) -> Figure:
    """Draw the launches of every stage.

    Raises
    ------
    InputError
        If the plan has no launches, having had no forecast.
    """
    from matplotlib.figure import Figure  # heavy: only when a picture is asked for

    stages = [(s, s.scan) for s in plan.stages if s.scan is not None and s.scan.launch.size]
    if not stages:
        msg = "there are no launches to draw: a picture of launches needs a forecast"
        raise InputError(msg, field="forecast")
    notes = source_lines(plan, _WIDTH_IN - 2 * MARGIN_IN)
    clock = Clock(plan.zone)
    tall = [_panel_height(scan) for _, scan in stages]
    bottom = 0.3 + 0.155 * len(notes)
    height = _TOP_IN + sum(t + _PANEL_TITLE_IN + _TICKS_IN for t in tall) + bottom
    with look():
        figure = Figure(figsize=(_WIDTH_IN, height), facecolor="white")
        first = stages[0][1].launch[0]
        subtitle = (
            "Every launch time tried, against the legs of its stage. "
            f"Launch times are local: {clock.heading(first)}."
        )
        name = plan.route.name or "route"
        heading(figure, plan, f"Launches: {name}, {_dates(clock, stages)}", subtitle)
        beyond = [scan.binding[scan.verdict == Verdict.BEYOND].tolist() for _, scan in stages]
        night = any(_daylight(stage) is not None for stage, _ in stages)
        names = sorted({name for names in beyond for name in names})
        _legend(figure, height, names, night=night)
        y = height - _TOP_IN
        for (stage, scan), panel in zip(stages, tall, strict=True):
            y -= _PANEL_TITLE_IN + panel
            axes = figure.add_axes(
                (
                    _LEFT_IN / _WIDTH_IN,
                    y / height,
                    1 - (_LEFT_IN + _RIGHT_IN) / _WIDTH_IN,
                    panel / height,
                )
            )
            _draw_stage(axes, stage, scan, clock, panel)
            y -= _TICKS_IN
        foot(figure, notes)
    return figure


def _daylight(stage: StagePlan) -> DaylightSpells | None:
    """Civil daylight at the start of a stage, where the plan keeps it."""
    return getattr(stage, "daylight", None)


def _dates(clock: Clock, stages: list[tuple[StagePlan, LaunchScan]]) -> str:
    first, last = stages[0][1].launch[0], stages[0][1].launch[-1]
    if clock.date(first) == clock.date(last):
        return clock.date(first)
    return f"{clock.date(first)} – {clock.date(last)}"


def _row_height(scan: LaunchScan) -> float:
    return float(np.clip(_LEGS_MAX_IN / scan.leg_numbers.size, _LEG_MIN_IN, _LEG_IN))


def _panel_height(scan: LaunchScan) -> float:
    return _BRACKET_IN + _OUTING_IN + scan.leg_numbers.size * _row_height(scan) + 0.05


def _legend(figure: Figure, height: float, binding: list[str], *, night: bool) -> None:
    from matplotlib.patches import Rectangle

    axes = figure.add_axes((0.0, (height - _TOP_IN) / height, 1.0, 0.42 / height))
    axes.set_axis_off()
    axes.set_xlim(0.0, _WIDTH_IN)
    axes.set_ylim(0.0, 0.42)
    x = MARGIN_IN
    for verdict, (fill, hatch, ink, letter, letter_ink) in _LOOKS.items():
        axes.add_patch(Rectangle((x, 0.08), 0.42, 0.22, fc=fill, ec=ink, hatch=hatch, lw=0))
        axes.add_patch(Rectangle((x, 0.08), 0.42, 0.22, fc="none", ec=INK, lw=0.6))
        _letter(axes, x + 0.21, 0.19, letter, letter_ink, fill, 8)
        x = _legend_words(axes, x, _MEANING[verdict])
    if night:
        axes.add_patch(Rectangle((x, 0.08), 0.42, 0.22, fc=_NIGHT, ec=INK, lw=0.6))
        x = _legend_words(axes, x, "night at the start")
    axes.plot([x, x, x + 0.42, x + 0.42], [0.1, 0.24, 0.24, 0.1], color=INK, lw=1.8)
    x = _legend_words(axes, x, "window (dashed: close)")
    axes.plot([x + 0.3], [0.19], marker="v", ms=7, color=INK)
    _legend_words(axes, x, "proposed launch")
    letters = ", ".join(f"{LIMIT_LETTERS.get(k, 'b')} {LIMIT_WORDS.get(k, k)}" for k in binding)
    if letters:
        put(
            figure, MARGIN_IN / _WIDTH_IN, (height - _TOP_IN - 0.02) / height,
            f"What binds, in the row of the whole stage where words do not fit: {letters}.",
            fontsize=7, color=QUIET, va="center",
        )  # fmt: skip


def _legend_words(axes: Axes, x: float, words: str) -> float:
    """Write the meaning of the sign at x; give the place of the next sign."""
    put(axes, x + 0.5, 0.19, words, fontsize=8, va="center")
    return x + 0.74 + text_width(words) * 8 / 72


def _draw_stage(
    axes: Axes, stage_plan: StagePlan, scan: LaunchScan, clock: Clock, panel_in: float
) -> None:
    stage = stage_plan.stage
    axis = LaunchAxis(scan.launch, clock, _WIDTH_IN - _LEFT_IN - _RIGHT_IN)
    axes.set_xlim(*axis.limits)
    axes.set_ylim(panel_in, 0.0)
    axes.set_facecolor("#fbfbf8")
    daylight = _daylight(stage_plan)
    if daylight is not None:
        for begin, end in axis.dark(daylight.start, daylight.end):
            axes.axvspan(begin, end, fc=_NIGHT, lw=0, zorder=0.4)
    title = f"Stage {stage.number}: {stage.start.name} – {stage.end.name}"
    put(
        axes, axis.limits[0], -0.12, f"{plain(title, 90)}, {kilometres(stage.length_m, 'km')}",
        fontsize=10, fontweight="bold", va="bottom",
    )  # fmt: skip
    if scan.not_judged:
        missing = ", ".join(LIMIT_WORDS.get(name, name) for name in scan.not_judged)
        put(
            axes, axis.limits[1], -0.12, f"not judged, as the forecast has no data: {missing}",
            fontsize=8, fontweight="bold", color="#8a1c00", va="bottom", ha="right",
        )  # fmt: skip
    cells = _draw_outing(axes, axis, scan)
    row = _row_height(scan)
    top = _BRACKET_IN + _OUTING_IN
    ticks = [(_BRACKET_IN + _OUTING_IN / 2, "whole stage, and what binds")]
    for i, leg in enumerate(stage.legs):
        cells += _draw_runs(axes, axis, scan.leg_verdict[:, i], top + i * row, row)
        label = f"{leg.number}  {leg.start.name} – {leg.end.name}"
        ticks.append((top + (i + 0.5) * row, _shortened(label)))
    _draw_cells(axes, cells)
    _draw_windows(axes, axis, stage_plan, clock)
    _set_ticks(axes, axis, ticks, row)


def _shortened(label: str) -> str:
    label = plain(label)
    while text_width(label) * 7.5 / 72 > _LEFT_IN - MARGIN_IN - 0.12 and len(label) > 4:
        label = label[:-2].rstrip() + "…"
    return label


def _set_ticks(axes: Axes, axis: LaunchAxis, rows: list[tuple[float, str]], row_in: float) -> None:
    axes.set_yticks([])
    for i, (y, label) in enumerate(rows):
        put(
            axes, axis.limits[0] - axis.inch * 0.08, y, label, ha="right", va="center",
            fontsize=7.5 if row_in > 0.18 else 6, fontweight="bold" if i == 0 else "normal",
        )  # fmt: skip
    days, hours = axis.days(), axis.hours(hour_step(axis.span_h))
    axes.set_xticks([x for x, _ in hours], [text for _, text in hours], fontsize=7)
    axes.tick_params(axis="x", length=3, pad=2)
    for begin, end, name in days:
        axes.axvline(begin, color=INK, lw=0.9, zorder=4)
        if (end - begin) / axis.inch > 0.6:
            bottom = axes.get_ylim()[0]
            put(
                axes, (begin + end) / 2, bottom + 0.24, name, ha="center", va="top", fontsize=8,
                fontweight="bold",
            )  # fmt: skip


def _runs(values: NDArray[Any]) -> list[tuple[int, int]]:
    """Begin and end (exclusive) of each run of equal values."""
    change = np.flatnonzero(values[1:] != values[:-1]) + 1
    edges = [0, *change.tolist(), len(values)]
    return list(pairwise(edges))


def _draw_runs(
    axes: Axes, axis: LaunchAxis, verdicts: NDArray[np.int8], top: float, height: float
) -> list[_Cell]:
    """Letters of the cells of one leg, and the cells, which are drawn together."""
    cells = []
    for begin, end in _runs(verdicts):
        verdict = Verdict(int(verdicts[begin]))
        left, right = axis.span(begin, end)
        middle = top + height / 2
        cells.append((left, right, middle, height * _FILLED, verdict))
        if (right - left) / axis.inch > 0.13:
            fill, _, _, letter, ink = _LOOKS[verdict]
            _letter(axes, (left + right) / 2, middle, letter, ink, fill, 7)
    return cells


def _draw_cells(axes: Axes, cells: Sequence[_Cell]) -> None:
    """All cells of a stage: a collection for each verdict is drawn sooner than a patch for each."""
    from matplotlib.collections import PolyCollection

    for verdict, (fill, hatch, ink, _, _) in _LOOKS.items():
        corners = [
            [(x0, y - high / 2), (x1, y - high / 2), (x1, y + high / 2), (x0, y + high / 2)]
            for x0, x1, y, high, seen in cells
            if seen is verdict
        ]
        shape: Any = {"closed": True, "snap": True}
        axes.add_collection(
            PolyCollection(corners, fc=fill, ec=ink, hatch=hatch or None, lw=0, zorder=2, **shape),
            autolim=False,
        )
        axes.add_collection(
            PolyCollection(corners, fc="none", ec="white", lw=0.8, zorder=3, **shape), autolim=False
        )


def _letter(axes: Axes, x: float, y: float, text: str, ink: str, ground: str, size: float) -> None:
    from matplotlib.patheffects import withStroke

    put(
        axes, x, y, text, ha="center", va="center", fontsize=size, color=ink, fontweight="bold",
        path_effects=[withStroke(linewidth=2.2, foreground=ground)], zorder=5, clip_on=True,
    )  # fmt: skip


def _draw_outing(axes: Axes, axis: LaunchAxis, scan: LaunchScan) -> list[_Cell]:
    """The whole stage: its cells, and in words or a letter the limit that binds."""
    cells = []
    middle = _BRACKET_IN + _OUTING_IN / 2
    keys = np.array([f"{v}:{b}" for v, b in zip(scan.verdict, scan.binding, strict=True)])
    for begin, end in _runs(keys):
        verdict, binding = Verdict(int(scan.verdict[begin])), str(scan.binding[begin])
        left, right = axis.span(begin, end)
        cells.append((left, right, middle, _OUTING_IN * 0.86, verdict))
        fill, _, _, letter, ink = _LOOKS[verdict]
        words = LIMIT_WORDS.get(binding, binding) if binding else verdict.word
        if verdict is Verdict.UNKNOWN:
            words = "unknown"
        room = (right - left) / axis.inch
        if text_width(words) * 7.5 / 72 + 0.06 < room:
            _letter(axes, (left + right) / 2, middle, words, ink, fill, 7)
        elif room > 0.1:
            short = LIMIT_LETTERS.get(binding, letter) if verdict is Verdict.BEYOND else letter
            _letter(axes, (left + right) / 2, middle, short, ink, fill, 7)
    return cells


def _draw_windows(axes: Axes, axis: LaunchAxis, stage_plan: StagePlan, clock: Clock) -> None:
    """A bracket over each window with its first and last launch; the proposed one marked."""
    if stage_plan.best is not None:
        at = axis.x(axis.launch[stage_plan.best])
        axes.plot([at], [0.255], marker="v", ms=8, color=INK, mec="white", mew=0.7, zorder=7)
    labels = []
    for window in stage_plan.windows:
        left, right = axis.x(window.first_launch), axis.x(window.last_launch)
        if right - left < 0.03 * axis.inch:  # a single launch is seen all the same
            left, right = left - 0.02 * axis.inch, right + 0.02 * axis.inch
        dashed = window.verdict != Verdict.WITHIN
        axes.plot(
            [left, left, right, right], [_BRACKET_IN - 0.02, 0.235, 0.235, _BRACKET_IN - 0.02],
            color=INK, lw=1.8, ls=(0, (2, 1)) if dashed else "-", zorder=6,
            solid_joinstyle="miter",
        )  # fmt: skip
        labels.append((dashed, left - right, (left + right) / 2, window_launches(window, clock)))
    _write_without_overlap(axes, axis, [label[2:] for label in sorted(labels)])


def _write_without_overlap(axes: Axes, axis: LaunchAxis, labels: list[tuple[float, str]]) -> None:
    """Write the labels in order of weight; one that would cover another is left out."""
    used: list[tuple[float, float]] = []
    for middle, text in labels:
        half = text_width(text) * 7.0 / 72 * axis.inch * 0.58  # bold is wider
        centre = min(max(middle, axis.limits[0] + half), axis.limits[1] - half)
        if any(centre - half < end and centre + half > begin for begin, end in used):
            continue
        put(
            axes, centre, 0.115, text, ha="center", va="center", fontsize=7, fontweight="bold",
            zorder=6,
        )  # fmt: skip
        used.append((centre - half, centre + half))

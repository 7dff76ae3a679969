"""Beside the map: what its colours and marks mean, its legs in words, its sources."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from routeplan._plan.sources import COAST_CAUTION
from routeplan._show.canvas import FOOT_SIZE, INK, QUIET, number_badge, put, wrapped
from routeplan._show.sourcewords import comparison_words, forecast_words, source_words
from routeplan._show.wording import Clock, kilometres, metres, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import Normalize
    from matplotlib.figure import Figure

    from routeplan.plan import Plan

__all__ = ["SIDE_IN", "draw_side", "source_lines"]

SIDE_IN = 3.75
_GAP_IN = 0.25
_LINE_IN = 0.155
_HINTED = 0.94


def source_lines(plan: Plan, width_in: float) -> list[str]:
    """What stands under a picture, wrapped: warnings, sources, times, what the coast may lack."""
    clock = Clock(plan.zone)
    lines = [f"WARNING: {warning}" for warning in plan.warnings]
    lines += [_capital(source_words(source)) for source in plan.sources]
    lines += [_capital(words) for words in [comparison_words(plan)] if words]
    if plan.coverage is not None:
        lines.append(forecast_words(plan, clock))
    lines.append(COAST_CAUTION)
    if plan.trip.now is not None:
        now = plan.trip.now
        lines.append(f"Made on {clock.dated(now)}. Zone: {clock.heading(now)}")
    else:
        lines.append(f"Zone: {plan.zone}")
    if plan.invented:
        lines[-1] += ". The route or the weather of this picture is invented."
    room = width_in * _HINTED  # small letters are drawn on whole pixels
    return [row for line in lines for row in wrapped(line, room, FOOT_SIZE)]


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def draw_side(figure: Figure, axes: Axes, plan: Plan, scale: Normalize) -> None:
    """Colour bar, marks and the legs in words, right of the map."""
    width, height = figure.get_size_inches()
    box = axes.get_position()
    side = figure.add_axes(
        (box.x1 + _GAP_IN / width, box.y0, (SIDE_IN - 2 * _GAP_IN) / width, box.height)
    )
    tall = box.height * height
    side.set_axis_off()
    side.set_xlim(0.0, SIDE_IN - 2 * _GAP_IN)
    side.set_ylim(-tall, 0.0)
    _colour_bar(figure, side, plan, scale)
    y = _marks(side, plan, -0.72)
    _legs(side, plan, y - 0.12, -tall)


def _colour_bar(figure: Figure, side: Axes, plan: Plan, scale: Normalize) -> None:
    from matplotlib.cm import ScalarMappable

    height = figure.get_figheight()
    box = side.get_position()
    place = figure.add_axes((box.x0, box.y1 - 0.36 / height, box.width, 0.13 / height))
    bar = figure.colorbar(ScalarMappable(scale, "cividis_r"), cax=place, orientation="horizontal")
    bar.ax.tick_params(labelsize=7, length=2.5)
    bar.ax.xaxis.set_major_formatter(lambda value, _: f"{value / 1000:g}")
    bar.ax.axvline(plan.trip.limits.offshore_notice_m, color="white", lw=2.6)
    bar.ax.axvline(plan.trip.limits.offshore_notice_m, color=INK, lw=1.2)
    put(
        side, 0.0, -0.02, "Distance from shore, km (wider: farther)",
        fontsize=8, fontweight="bold", va="top",
    )  # fmt: skip


def _marks(side: Axes, plan: Plan, y: float) -> float:
    notice = f"{number(plan.trip.limits.offshore_notice_m)} m"
    side.plot([0.02, 0.42], [y, y], color=INK, lw=5.5, solid_capstyle="butt")
    side.plot([0.02, 0.42], [y, y], color="#3d5a80", lw=4.0, solid_capstyle="butt")
    for at in (0.07, 0.17, 0.27, 0.37):
        side.plot([at, at], [y - 0.075, y + 0.075], color=INK, lw=1.3)
    put(side, 0.55, y, f"cross strokes: more than {notice} from shore", fontsize=7.5, va="center")
    y -= 0.21
    if any(exposure.crosses_land for exposure in plan.exposures):
        side.plot([0.02, 0.42], [y, y], color=INK, lw=5.5, solid_capstyle="butt")
        side.plot([0.02, 0.42], [y, y], color="white", lw=2.4, ls=(0, (1.2, 1.2)))
        put(side, 0.55, y, "black with white dashes: over land", fontsize=7.5, va="center")
        y -= 0.21
    number_badge(side, 0.12, y, 1, flagged=False, size=6.0)
    number_badge(side, 0.34, y, 2, flagged=True, size=6.0)
    put(side, 0.55, y, "leg; black: flagged, see below", fontsize=7.5, va="center")
    y -= 0.21
    for x, mark in ((0.12, "s"), (0.34, "^")):
        side.plot([x], [y], marker=mark, ms=7, mfc="white", mec=INK, mew=1.4)
    put(side, 0.55, y, "square: start or finish; triangle: camp", fontsize=7.5, va="center")
    return y - 0.2


def _legs(side: Axes, plan: Plan, y: float, bottom: float) -> None:
    """One entry a leg, the flagged ones first to be kept when room runs out."""
    put(side, 0.0, y, "Legs", fontsize=8, fontweight="bold", va="top")
    y -= 0.2
    entries = [
        (leg, flags, _leg_lines(plan, i, flags))
        for i, (leg, flags) in enumerate(zip(plan.route.legs, plan.flags, strict=True))
    ]
    kept = _that_fit(entries, y - bottom)
    for leg, flags, lines in kept:
        number_badge(side, 0.12, y - 0.07, leg.number, flagged=bool(flags), size=6.0)
        for row, line in enumerate(lines):
            put(
                side, 0.32, y - row * _LINE_IN, line, fontsize=7.5, va="top",
                color=INK if row == 0 or flags else QUIET,
            )  # fmt: skip
        y -= len(lines) * _LINE_IN + 0.075
    if len(kept) < len(entries):
        put(
            side, 0.32, y, f"and {len(entries) - len(kept)} more: see the table of legs",
            fontsize=7, va="top", style="italic",
        )  # fmt: skip


def _leg_lines(plan: Plan, index: int, flags: tuple[str, ...]) -> list[str]:
    leg, exposure = plan.route.legs[index], plan.exposures[index]
    room = SIDE_IN - 2 * _GAP_IN - 0.32
    names = wrapped(f"{leg.start.name} – {leg.end.name}", room, 7.5)
    if len(names) > 2:
        names = [names[0], names[1][:-1] + "…"]
    if not flags:
        farthest = metres(exposure.offshore_max_m)
        facts = [f"{kilometres(leg.length_m, 'km')}, at most {farthest} from shore"]
        return [*names, *wrapped("; ".join([*facts, *plan.leg_notes[index]]), room, 7.5)]
    told = (*flags, *plan.leg_notes[index])
    return [*names, *wrapped(f"{kilometres(leg.length_m, 'km')}: {'; '.join(told)}", room, 7.5)]


def _that_fit(entries: list[Any], room_in: float) -> list[Any]:
    """The entries to show, in order: all, or the flagged ones first as far as room goes."""
    cost = [len(lines) * _LINE_IN + 0.075 for _, _, lines in entries]
    if sum(cost) <= room_in:
        return entries
    left = room_in - _LINE_IN
    keep = set()
    for i in sorted(range(len(entries)), key=lambda i: (not entries[i][1], i)):
        if cost[i] > left:
            break
        keep.add(i)
        left -= cost[i]
    return [entry for i, entry in enumerate(entries) if i in keep]

"""Names, marks and leg numbers on the map."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from routeplan._show.canvas import INK, number_badge, put, text_box
from routeplan._show.labels import Box, LabelField

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from routeplan.plan import Plan

__all__ = ["Frame", "draw_names", "draw_numbers", "free_room"]


class Frame(Protocol):
    """Longitude and latitude to the map's x and y."""

    def x(self, lon: Any) -> NDArray[np.float64]: ...

    def y(self, lat: Any) -> NDArray[np.float64]: ...


def free_room(axes: Axes, lines: list[NDArray[np.float64]]) -> LabelField:
    """The free room on a map with lines of points (k, 2) in its own x and y."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    figure = axes.get_figure(root=True)
    assert figure is not None  # the axes were made from one
    FigureCanvasAgg(figure)  # knows the size of text
    axes.apply_aspect()
    box = axes.bbox
    inside: Box = (box.x0 + 4, box.y0 + 4, box.x1 - 4, box.y1 - 4)
    return LabelField(inside, axes.transData.transform(np.concatenate(lines)))


def draw_numbers(axes: Axes, frame: Frame, plan: Plan, room: LabelField) -> None:
    """The number of each leg on the leg, black where the leg is flagged."""
    for exposure, flags in zip(plan.exposures, plan.flags, strict=True):
        points = np.column_stack([frame.x(exposure.longitude), frame.y(exposure.latitude)])
        pixels = axes.transData.transform(points)
        half = 9.0 + 2.5 * len(str(exposure.number))
        best, least = 0, math.inf
        for share in (0.5, 0.42, 0.58, 0.34, 0.66, 0.25, 0.75, 0.15, 0.85):
            i = int(np.searchsorted(exposure.distance_m, share * exposure.distance_m[-1]))
            x, y = pixels[i]
            cost = _hidden(room, (x - half, y - half, x + half, y + half))
            if cost < least - 1e-9:
                best, least = i, cost
        x, y = pixels[best]
        room.take((x - half, y - half, x + half, y + half), 2.0)
        at = points[best]
        number_badge(axes, at[0], at[1], exposure.number, flagged=bool(flags))


def _hidden(room: LabelField, box: Box) -> float:
    """What a badge would hide: other marks, not the line it belongs to."""
    return LabelField(room.bounds, np.empty((0, 2)), room.taken).covered(box)


def draw_names(axes: Axes, frame: Frame, plan: Plan, room: LabelField) -> None:
    """Ends and camps always, other places between legs where there is room."""
    from matplotlib.patheffects import withStroke

    route = plan.route
    camps = {(c.longitude, c.latitude): c for c in route.camps}
    ends = {(w.longitude, w.latitude): w for w in (route.legs[0].start, route.legs[-1].end)}
    others = {(leg.start.longitude, leg.start.latitude): leg.start for leg in route.legs}
    wanted = [(at, w, True) for at, w in {**ends, **camps}.items()]
    wanted += [(at, w, False) for at, w in others.items() if at not in camps and at not in ends]
    for at, _, important in wanted:
        _mark(axes, frame, at, camp=at in camps, important=important)
        x, y = axes.transData.transform((float(frame.x(at[0])), float(frame.y(at[1]))))
        room.take((x - 8, y - 8, x + 8, y + 8))
    for at, place, important in wanted:
        x, y = float(frame.x(at[0])), float(frame.y(at[1]))
        text = put(
            axes, x, y, place.name[:40], fontsize=8.5 if important else 7, zorder=11,
            fontweight="bold" if important else "normal", style="normal" if important else "italic",
            path_effects=[withStroke(linewidth=2.6, foreground="white")], ha="left", va="bottom",
        )  # fmt: skip
        _settle(axes, text, (x, y), room, important=important)


def _mark(
    axes: Axes, frame: Frame, at: tuple[float, float], *, camp: bool, important: bool
) -> None:
    shape, size = ("^", 9.5) if camp else ("s", 7.5) if important else ("o", 3.6)
    axes.plot(
        [float(frame.x(at[0]))], [float(frame.y(at[1]))], marker=shape, markersize=size,
        mfc="white", mec=INK, mew=1.5 if important else 0.9, zorder=8, clip_on=False,
    )  # fmt: skip


def _settle(
    axes: Axes, text: Any, at: tuple[float, float], room: LabelField, *, important: bool
) -> None:
    """Move a name to the best free place; a name of little weight is left out without one."""
    figure = axes.get_figure(root=True)
    assert figure is not None  # it was made from one
    left, bottom, right, top = text_box(text, figure)
    x, y = axes.transData.transform(at)
    spot = room.place(x, y, right - left, top - bottom, 13.0 if important else 9.0)
    if not important and spot.covered > 0.05:
        text.remove()
        return
    text.set_position(axes.transData.inverted().transform((spot.x, spot.y)))
    room.take((spot.x, spot.y, spot.x + right - left, spot.y + top - bottom), 2.0)
    if spot.reach > 25.0:
        tip = axes.transData.inverted().transform(
            (
                min(max(x, spot.x), spot.x + right - left),
                min(max(y, spot.y), spot.y + top - bottom),
            )
        )
        axes.plot([at[0], tip[0]], [at[1], tip[1]], color=INK, lw=0.7, zorder=7.5)

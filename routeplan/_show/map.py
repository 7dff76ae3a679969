"""The map: coast, legs by distance from shore, flagged legs, camps and ends."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._show.canvas import INK, MARGIN_IN, foot, heading, look, put
from routeplan._show.labels import LabelField
from routeplan._show.mapframe import (
    Frame,
    degrees_minutes,
    frame_of,
    land_box,
    land_stretches,
    tick_minutes,
    ticks,
)
from routeplan._show.mapnames import draw_names, draw_numbers, free_room
from routeplan._show.mapside import SIDE_IN, draw_side, source_lines
from routeplan._show.wording import kilometres

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import Normalize
    from matplotlib.figure import Figure

    from routeplan.exposure import LegExposure
    from routeplan.plan import Plan

__all__ = ["map_figure"]

_WATER = "#eef4f7"
_LAND = "#d8d3c8"
_SHORE = "#8b857a"
_MAP_WIDTH_IN = 8.2
_TOP_IN = 0.85
_LEFT_IN = 0.75
_TIE_GAP_PT, _TIE_HALF_PT = 6.5, 6.8


def map_figure(plan: Plan) -> Figure:
    """Draw the map of a plan."""
    from matplotlib.figure import Figure  # heavy: only when a picture is asked for

    with look():
        frame = frame_of(plan)
        shape = (frame.box[3] - frame.box[1]) / (frame.box[2] - frame.box[0])
        notes = source_lines(plan, _LEFT_IN + _MAP_WIDTH_IN + SIDE_IN - 2 * MARGIN_IN)
        bottom = 0.42 + 0.155 * len(notes)
        size = (_LEFT_IN + _MAP_WIDTH_IN + SIDE_IN, _TOP_IN + _MAP_WIDTH_IN * shape + bottom)
        figure = Figure(figsize=size, facecolor="white")
        axes = figure.add_axes(
            (
                _LEFT_IN / size[0],
                bottom / size[1],
                _MAP_WIDTH_IN / size[0],
                _MAP_WIDTH_IN * shape / size[1],
            )
        )
        _set_axes(axes, frame)
        _draw_land(axes, frame, plan)
        scale = _colours(plan)
        _draw_legs(axes, frame, plan, scale)
        room = free_room(axes, [_points(frame, e) for e in plan.exposures])
        draw_numbers(axes, frame, plan, room)
        _draw_scale(axes, frame, room)
        draw_names(axes, frame, plan, room)
        subtitle = (
            f"{kilometres(plan.route.length_m, 'km')} in {_count(len(plan.route.legs), 'leg')}, "
            f"{_count(len(plan.stages), 'stage')}. Legs are coloured by distance from shore."
        )
        heading(figure, plan, f"Map: {plan.route.name or 'route'}", subtitle)
        draw_side(figure, axes, plan, scale)
        foot(figure, notes)
    return figure


def _count(many: int, what: str) -> str:
    return f"{many} {what}" + ("" if many == 1 else "s")


def _set_axes(axes: Axes, frame: Frame) -> None:
    left, bottom, right, top = frame.box
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    axes.set_aspect("equal")
    axes.set_facecolor(_WATER)
    step = tick_minutes((frame.lat(top) - frame.lat(bottom)) * 60)
    lats = ticks(frame.lat(bottom), frame.lat(top), step)
    axes.set_yticks(frame.y(lats), [degrees_minutes(v, "NS") for v in lats])
    step = tick_minutes((frame.lon(right) - frame.lon(left)) * 60)
    lons = ticks(frame.lon(left), frame.lon(right), step)
    axes.set_xticks(frame.x(lons), [degrees_minutes((v + 180) % 360 - 180, "EW") for v in lons])
    axes.tick_params(labelsize=7, direction="out", length=3)
    axes.grid(color="#b9c6ce", linewidth=0.4, zorder=0.5)
    for label in axes.get_yticklabels():
        label.set_rotation(90)
        label.set_verticalalignment("center")


def _draw_land(axes: Axes, frame: Frame, plan: Plan) -> None:
    """Land filled, or the bare shoreline where the source does not tell land from water."""
    from matplotlib.collections import LineCollection, PathCollection
    from matplotlib.path import Path

    box = land_box(frame)
    if not plan.coast.knows_land:
        chains = [_on_map(frame, chain) for chain in plan.coast.shoreline(*box)]
        axes.add_collection(
            LineCollection(chains, colors=_SHORE, linewidths=0.9, zorder=1), autolim=False
        )
        return
    outlines = []
    for land in plan.coast.land_polygons(*box):
        rings = [_on_map(frame, ring.coords) for ring in (land.exterior, *land.interiors)]
        outlines.append(Path.make_compound_path(*(Path(ring, closed=True) for ring in rings)))
    axes.add_collection(
        PathCollection(outlines, facecolors=_LAND, edgecolors=_SHORE, linewidths=0.45, zorder=1),
        autolim=False,
    )


def _on_map(frame: Frame, places: Any) -> NDArray[np.float64]:
    lonlat = np.asarray(places)
    return np.column_stack([frame.x(lonlat[:, 0]), frame.y(lonlat[:, 1])])


def _colours(plan: Plan) -> Normalize:
    """Distance from shore to colour: from 0 to twice the notice at least."""
    from matplotlib.colors import Normalize

    farthest = [e.offshore_max_m for e in plan.exposures if math.isfinite(e.offshore_max_m)]
    return Normalize(0.0, max([2 * plan.trip.limits.offshore_notice_m, *farthest]))


def _points(frame: Frame, exposure: LegExposure) -> NDArray[np.float64]:
    """The samples of a leg on the map, shape (k, 2)."""
    return np.column_stack([frame.x(exposure.longitude), frame.y(exposure.latitude)])


def _draw_legs(axes: Axes, frame: Frame, plan: Plan, scale: Normalize) -> None:
    from matplotlib.collections import LineCollection

    for exposure in plan.exposures:
        points = _points(frame, exposure)
        pieces: Any = np.stack([points[:-1], points[1:]], axis=1)
        far = np.maximum(exposure.offshore_m[:-1], exposure.offshore_m[1:])
        width = 2.6 + 2.6 * np.nan_to_num(scale(far).filled(0.0)).clip(0, 1)
        ties = _ties(points, exposure, axes)
        if ties:
            axes.add_collection(
                LineCollection(ties, colors=INK, linewidths=1.3, zorder=3), autolim=False
            )
        casing = LineCollection(pieces, colors=INK, linewidths=width + 1.6, zorder=4)
        line = LineCollection(
            pieces, array=far, cmap="cividis_r", norm=scale, linewidths=width, zorder=5
        )
        unknown = LineCollection(
            pieces[~np.isfinite(far)], colors="white", linewidths=2.0, linestyles=":", zorder=6
        )
        for drawn in (casing, line, unknown):
            drawn.set_capstyle("round")
            axes.add_collection(drawn, autolim=False)
        _draw_over_land(axes, land_stretches(frame, exposure))


def _draw_over_land(axes: Axes, stretches: list[NDArray[np.float64]]) -> None:
    """Where the line lies on land it is black with white dashes, which no distance is."""
    from matplotlib.collections import LineCollection

    for color, width, dashes in ((INK, 6.0, "-"), ("white", 2.6, (0, (1.2, 1.2)))):
        axes.add_collection(
            LineCollection(stretches, colors=color, linewidths=width, linestyles=dashes, zorder=7),
            autolim=False,
        )


def _ties(
    points: NDArray[np.float64], exposure: LegExposure, axes: Axes
) -> list[NDArray[np.float64]]:
    """Short strokes across the line, evenly spaced along the stretches far from shore."""
    left, right = axes.get_xlim()
    point = (right - left) / (_MAP_WIDTH_IN * 72.0)
    drawn = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    ties = []
    for stretch in exposure.far_stretches:
        begin, end = np.interp(stretch, exposure.distance_m, drawn)
        count = max(1, round((end - begin) / (_TIE_GAP_PT * point)))
        for at in begin + (np.arange(count) + 0.5) * (end - begin) / count:
            i = int(np.clip(np.searchsorted(drawn, at) - 1, 0, len(points) - 2))
            course = (points[i + 1] - points[i]) / max(drawn[i + 1] - drawn[i], 1e-9)
            middle = points[i] + course * (at - drawn[i])
            across = np.array([-course[1], course[0]]) * point * _TIE_HALF_PT
            ties.append(np.array([middle - across, middle + across]))
    return ties


def _draw_scale(axes: Axes, frame: Frame, room: LabelField) -> None:
    """Scale bar and north arrow, in the corner where they hide least."""
    left, bottom, right, top = frame.box
    length = _round_length((right - left) / 4)
    wide, high = length + 0.09 * (right - left), 0.075 * (right - left)
    gap = 0.02 * (right - left)
    corners = [
        (x, y) for y in (bottom + gap, top - gap - high) for x in (left + gap, right - gap - wide)
    ]
    boxes = [axes.transData.transform([(x, y), (x + wide, y + high)]).ravel() for x, y in corners]
    costs = [room.covered(tuple(box)) for box in boxes]
    pick = int(np.argmin(costs))
    room.take(tuple(boxes[pick]))
    x, y = corners[pick]
    axes.add_patch(_panel(x, y, wide, high))
    base = y + 0.3 * high
    start = x + 0.03 * (right - left)
    for i in range(4):
        axes.fill_between(
            [start + i * length / 4, start + (i + 1) * length / 4], base, base + 0.16 * high,
            fc=INK if i % 2 == 0 else "white", ec=INK, lw=0.8, zorder=10.5,
        )  # fmt: skip
    for share in (0.0, 0.5, 1.0):
        label = f"{share * length / 1000:g}" + (" km" if share == 1.0 else "")
        put(
            axes, start + share * length, base + 0.3 * high, label,
            fontsize=7, ha="center", va="bottom", zorder=10.5,
        )  # fmt: skip
    arrow = x + wide - 0.022 * (right - left)
    axes.annotate(
        "", xy=(arrow, y + 0.72 * high), xytext=(arrow, y + 0.12 * high), zorder=10.5,
        arrowprops={"arrowstyle": "-|>", "color": INK, "lw": 1.4},
    )  # fmt: skip
    put(
        axes, arrow, y + 0.7 * high, "N", fontsize=7.5, fontweight="bold", ha="center",
        va="bottom", zorder=10.5,
    )  # fmt: skip


def _panel(x: float, y: float, width: float, height: float) -> Any:
    from matplotlib.patches import Rectangle

    return Rectangle((x, y), width, height, fc="white", ec=INK, lw=0.6, alpha=0.88, zorder=10)


def _round_length(length_m: float) -> float:
    """The largest of 1, 2, 4 times a power of ten that is not longer."""
    power = 10.0 ** math.floor(math.log10(length_m))
    return max(step * power for step in (1, 2, 4) if step * power <= length_m)

"""Small maps of the stages, in black and white, as SVG in millimetres."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._sheet.card import CARD_STAGES
from routeplan._show.mapframe import Frame, degrees_minutes, land_box, tick_minutes, ticks

if TYPE_CHECKING:
    from routeplan._plan.ashore import SheetStage, TripSheet
    from routeplan.exposure import LegExposure
    from routeplan.plan import Plan

__all__ = ["stage_map", "stage_maps"]

_WIDTH_MM = 132.0
_LOW_MM, _HIGH_MM = 60.0, 84.0  # heights of a map, for a line that runs east-west, and any other
_WIDE = 1.6  # width over height of a line that counts as running east-west

_EDGE_MM = 4.5  # for the figures of the ticks
_ROUTE_MARGIN = 0.12  # of the route's size, kept free around it
_LEAST_M = 1_500.0  # a map shows at least this much across
_LAND, _SHORE = "#c9c9c9", "#5a5a5a"


def stage_maps(plan: Plan, sheet: TripSheet) -> dict[str, str]:
    """SVG of every stage by the name of its picture."""
    by_leg = {e.number: e for e in plan.exposures}
    return {
        f"map{stage.number}": stage_map(plan, stage, [by_leg[leg.number] for leg in stage.legs])
        for stage in sheet.stages[:CARD_STAGES]
    }


def stage_map(plan: Plan, stage: SheetStage, exposures: list[LegExposure]) -> str:
    """SVG of one stage: coast, line, numbers of its legs, ways out, ticks, scale."""
    sketch = _Sketch(_frame(exposures))
    _draw_land(sketch, plan)
    for leg in stage.legs:
        _draw_way_out(sketch, leg)
    lines = [np.column_stack([e.longitude, e.latitude]) for e in exposures]
    for width, colour in ((1.9, "white"), (0.9, "black")):
        for line in lines:
            sketch.line(line, f'fill="none" stroke="{colour}" stroke-width="{width}" '
                              'stroke-linecap="round" stroke-linejoin="round"')  # fmt: skip
    _draw_ends(sketch, stage)
    _draw_numbers(sketch, exposures)
    return sketch.svg()


class _Sketch:
    """Pieces of a drawing over a frame, x to the right and y down in mm."""

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        left, bottom, right, self._top = frame.box
        self._left = left
        self.scale = (_WIDTH_MM - _EDGE_MM) / (right - left)  # mm a metre
        self.size = (_WIDTH_MM, (self._top - bottom) * self.scale + _EDGE_MM)
        self.pieces: list[str] = []

    def places(self, lonlat: Any) -> NDArray[np.float64]:
        """Longitude and latitude (n, 2) to mm."""
        there = np.asarray(lonlat, dtype=float)
        x = (self.frame.x(there[:, 0]) - self._left) * self.scale + _EDGE_MM
        y = (self._top - self.frame.y(there[:, 1])) * self.scale
        return np.column_stack([x, y])

    def line(self, lonlat: Any, how: str) -> None:
        points = " ".join(f"{x:.2f},{y:.2f}" for x, y in self.places(lonlat))
        self.pieces.append(f'<polyline points="{points}" {how}/>')

    def text(self, x: float, y: float, words: str, size: float, how: str = "") -> None:
        self.pieces.append(f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" {how}>{words}</text>')

    def svg(self) -> str:
        width, height = self.size
        inner = f'x="{_EDGE_MM}" y="0" width="{width - _EDGE_MM}" height="{height - _EDGE_MM:.2f}"'
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height:.2f}" '
            f'width="{width}mm" height="{height:.2f}mm" font-family="DejaVu Sans">'
            f'<clipPath id="inside"><rect {inner}/></clipPath>'
            f'<g clip-path="url(#inside)">{"".join(self.pieces)}</g>'
            f'<rect {inner} fill="none" stroke="black" stroke-width="0.3"/>'
            f"{''.join(_ticks(self))}{''.join(_scale(self))}</svg>"
        )


def _frame(exposures: list[LegExposure]) -> Frame:
    """A frame of the map's shape around the line."""
    lon = np.concatenate([e.longitude for e in exposures])
    lat = np.concatenate([e.latitude for e in exposures])
    first = Frame(float(lon[0]), 0.0)
    east = first.x(lon)
    middle = first.lon(float(east.min() + east.max()) / 2)
    frame = Frame(middle, float(np.clip((lat.min() + lat.max()) / 2, -84.0, 84.0)))
    x, y = frame.x(lon), frame.y(lat)
    high = _LOW_MM if np.ptp(x) > _WIDE * np.ptp(y) else _HIGH_MM
    shape = (high - _EDGE_MM) / (_WIDTH_MM - _EDGE_MM)
    pad = 1.0 + 2.0 * _ROUTE_MARGIN
    width = max(float(np.ptp(x)) * pad, float(np.ptp(y)) * pad / shape, _LEAST_M)
    mid = (float(x.min() + x.max()) / 2, float(y.min() + y.max()) / 2)
    half = width / 2, width * shape / 2
    box = (mid[0] - half[0], mid[1] - half[1], mid[0] + half[0], mid[1] + half[1])
    return Frame(frame.longitude, frame.latitude, box)


def _draw_land(sketch: _Sketch, plan: Plan) -> None:
    """Land in grey, or the bare shoreline where the source does not tell land from water."""
    box = land_box(sketch.frame)
    if not plan.coast.knows_land:
        for chain in plan.coast.shoreline(*box):
            sketch.line(chain, f'fill="none" stroke="{_SHORE}" stroke-width="0.3"')
        return
    for land in plan.coast.land_polygons(*box):
        rings = []
        for ring in (land.exterior, *land.interiors):
            there = _thinned(sketch.places(np.asarray(ring.coords)[:, :2]))
            rings.append("M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in there) + "Z")
        sketch.pieces.append(
            f'<path d="{"".join(rings)}" fill="{_LAND}" stroke="{_SHORE}" stroke-width="0.2" '
            'fill-rule="evenodd"/>'
        )


def _thinned(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points that lie at least a tenth of a millimetre from the one before."""
    steps = np.floor(np.cumsum(np.hypot(*np.diff(points, axis=0).T)) / 0.1)
    keep = np.concatenate([[True], np.diff(np.concatenate([[0.0], steps])) > 0])
    return points[keep] if keep.sum() >= 3 else points


def _draw_way_out(sketch: _Sketch, leg: Any) -> None:
    """A dashed line from the worst place of a leg to where one lands."""
    way = leg.landing if leg.landing is not None and not leg.landing.over_land else leg.shore
    if way is None or not np.isfinite(way.longitude):
        return
    ends = [(leg.worst_longitude, leg.worst_latitude), (way.longitude, way.latitude)]
    sketch.line(ends, 'stroke="black" stroke-width="0.35" stroke-dasharray="1.2 0.9"')
    x, y = sketch.places(ends)[1]
    sketch.pieces.append(
        f'<path d="M{x:.2f} {y - 1.1:.2f}l1.1 1.9h-2.2Z" fill="white" stroke="black" '
        'stroke-width="0.35"/>'
    )


def _draw_ends(sketch: _Sketch, stage: SheetStage) -> None:
    ends = [(p.longitude, p.latitude) for p in (stage.start, stage.end)]
    (x, y), (u, v) = sketch.places(ends)
    sketch.pieces.append(
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.6" fill="white" stroke="black" '
        f'stroke-width="0.7"/><rect x="{u - 1.5:.2f}" y="{v - 1.5:.2f}" width="3" height="3" '
        'fill="black" stroke="white" stroke-width="0.3"/>'
    )


def _draw_numbers(sketch: _Sketch, exposures: list[LegExposure]) -> None:
    for exposure in exposures:
        half = exposure.distance_m[-1] / 2
        lon = np.interp(half, exposure.distance_m, np.unwrap(exposure.longitude, period=360.0))
        lat = np.interp(half, exposure.distance_m, exposure.latitude)
        ((x, y),) = sketch.places([(lon, lat)])
        radius = 2.3 if exposure.number < 100 else 3.0
        sketch.pieces.append(
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{radius}" fill="white" stroke="black" '
            'stroke-width="0.35"/>'
        )
        sketch.text(
            x, y + 1.05, str(exposure.number), 2.9, 'text-anchor="middle" font-weight="bold"'
        )


def _ticks(sketch: _Sketch) -> list[str]:
    """Minutes along the left and the lower edge."""
    frame, (width, height) = sketch.frame, sketch.size
    left, bottom, right, top = frame.box
    out = _Sketch(frame)
    step = tick_minutes((frame.lat(top) - frame.lat(bottom)) * 60)
    for lat in ticks(frame.lat(bottom), frame.lat(top), step):
        ((_, y),) = out.places([(frame.longitude, lat)])
        if 8.0 < y < height - _EDGE_MM - 8.0:
            out.pieces.append(
                f'<path d="M{_EDGE_MM} {y:.2f}h1.5" stroke="black" stroke-width="0.3"/>'
            )
            turned = f'text-anchor="middle" transform="translate(3.4 {y:.2f}) rotate(-90)"'
            out.text(0, 0, degrees_minutes(float(lat), "NS"), 2.2, turned)
    step = tick_minutes((frame.lon(right) - frame.lon(left)) * 60)
    for lon in ticks(frame.lon(left), frame.lon(right), step):
        ((x, _),) = out.places([(lon, frame.latitude)])
        if _EDGE_MM + 8.0 < x < width - 8.0:
            y = height - _EDGE_MM
            out.pieces.append(
                f'<path d="M{x:.2f} {y:.2f}v-1.5" stroke="black" stroke-width="0.3"/>'
            )
            shown = (float(lon) + 180.0) % 360.0 - 180.0
            out.text(x, y + 3.2, degrees_minutes(shown, "EW"), 2.2, 'text-anchor="middle"')
    return out.pieces


def _scale(sketch: _Sketch) -> list[str]:
    """Scale bar and north in the lower right corner."""
    width, height = sketch.size
    metres = _round_length(0.25 * (width - _EDGE_MM) / sketch.scale)
    bar = metres * sketch.scale
    x, y = width - bar - 9.0, height - _EDGE_MM - 3.0
    label = f"{metres / 1000:g} km" if metres >= 1000 else f"{metres:g} m"
    return [
        f'<rect x="{x - 2:.2f}" y="{y - 6:.2f}" width="{bar + 10:.2f}" height="8" fill="white" '
        'stroke="black" stroke-width="0.2"/>',
        f'<path d="M{x:.2f} {y - 1.2:.2f}v1.2h{bar:.2f}v-1.2" fill="none" stroke="black" '
        'stroke-width="0.5"/>',
        f'<text x="{x + bar / 2:.2f}" y="{y - 1.6:.2f}" font-size="2.6" '
        f'text-anchor="middle">{label}</text>',
        f'<path d="M{x + bar + 4:.2f} {y - 4.6:.2f}l1.3 4.6h-2.6Z" fill="black"/>',
        f'<text x="{x + bar + 4:.2f}" y="{y + 1.6:.2f}" font-size="2" font-weight="bold" '
        'text-anchor="middle">N</text>',
    ]


def _round_length(length_m: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not longer."""
    power = 10.0 ** math.floor(math.log10(length_m))
    return max(step * power for step in (1.0, 2.0, 5.0) if step * power <= length_m)

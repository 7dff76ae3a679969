"""The ground of a map: where places lie on paper or screen, its box, the ticks of its edge."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._show.labels import Box

if TYPE_CHECKING:
    from routeplan.exposure import LegExposure
    from routeplan.plan import Plan

__all__ = [
    "Frame",
    "degrees_minutes",
    "frame_of",
    "land_box",
    "land_stretches",
    "tick_minutes",
    "ticks",
]

_EARTH_RADIUS_M = 6_371_008.8  # mean radius of WGS84 (2a + b) / 3; for drawing only
_MAX_LATITUDE = 85.0
_SHAPES = (0.72, 1.3)  # least and largest height of the map over its width


@dataclass(frozen=True, slots=True)
class Frame:
    """Mercator about the middle of the route: shapes are right, north is up, x and y in m there.

    Longitudes are taken relative to `longitude`, so a route across 180° is drawn in one piece.
    """

    longitude: float
    latitude: float
    box: Box = (0.0, 0.0, 1.0, 1.0)

    def x(self, lon: Any) -> NDArray[np.float64]:
        east = (np.asarray(lon, dtype=float) - self.longitude + 180.0) % 360.0 - 180.0
        return np.asarray(np.radians(east) * self._radius)

    def y(self, lat: Any) -> NDArray[np.float64]:
        north = np.clip(np.asarray(lat, dtype=float), -_MAX_LATITUDE, _MAX_LATITUDE)
        shift = np.arcsinh(np.tan(np.radians(self.latitude)))
        return np.asarray((np.arcsinh(np.tan(np.radians(north))) - shift) * self._radius)

    def lon(self, x: float) -> float:
        return self.longitude + math.degrees(x / self._radius)

    def lat(self, y: float) -> float:
        shift = math.asinh(math.tan(math.radians(self.latitude)))
        return math.degrees(math.atan(math.sinh(y / self._radius + shift)))

    @property
    def _radius(self) -> float:
        return _EARTH_RADIUS_M * math.cos(math.radians(self.latitude))


def frame_of(plan: Plan) -> Frame:
    lon, lat = np.asarray(plan.route.longitude), np.asarray(plan.route.latitude)
    first = Frame(float(lon[0]), 0.0)
    east = first.x(lon)
    middle = first.lon(float(east.min() + east.max()) / 2)
    centre = float(np.clip((lat.min() + lat.max()) / 2, -_MAX_LATITUDE, _MAX_LATITUDE))
    frame = Frame(middle, centre)
    x, y = frame.x(lon), frame.y(lat)
    pad = max(0.09 * max(np.ptp(x), np.ptp(y)), 800.0)
    width, height = np.ptp(x) + 2 * pad, np.ptp(y) + 2 * pad
    width = max(width, height / _SHAPES[1])
    height = max(height, width * _SHAPES[0])
    mid_x, mid_y = (x.min() + x.max()) / 2, (y.min() + y.max()) / 2
    return Frame(
        middle,
        centre,
        (
            float(mid_x - width / 2),
            float(mid_y - height / 2),
            float(mid_x + width / 2),
            float(mid_y + height / 2),
        ),
    )


def tick_minutes(span: float) -> float:
    """Minutes of arc between ticks: about five over the span."""
    for step in (0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600):
        if span / step <= 8:
            return step
    return 1800.0


def ticks(low: float, high: float, step_min: float) -> NDArray[np.float64]:
    first, last = math.ceil(low * 60 / step_min), math.floor(high * 60 / step_min)
    return np.arange(first, last + 1) * step_min / 60


def degrees_minutes(value: float, signs: str) -> str:
    tenths = round(abs(value) * 600)
    minutes = tenths % 600 / 10
    shown = f"{minutes:02.0f}" if tenths % 10 == 0 else f"{minutes:04.1f}"
    return f"{tenths // 600}°{shown}′{signs[int(value < 0)]}"


def land_box(frame: Frame) -> Box:
    """West, south, east, north of the map and a little more: cut edges stay outside it."""
    left, bottom, right, top = frame.box
    pad = 0.06 * (right - left)
    west, east = frame.lon(left - pad), frame.lon(right + pad)
    south, north = frame.lat(bottom - pad), frame.lat(top + pad)
    if east - west >= 350.0:
        return -180.0, south, 180.0, north
    return (west + 180) % 360 - 180, south, (east + 180) % 360 - 180, north


def land_stretches(frame: Frame, exposure: LegExposure) -> list[NDArray[np.float64]]:
    """The stretches of a leg that lie on land, on the map, each of shape (k, 2)."""
    x, y, along = frame.x(exposure.longitude), frame.y(exposure.latitude), exposure.distance_m
    out = []
    for enter, leave in exposure.land:
        at = np.concatenate([[enter], along[(along > enter) & (along < leave)], [leave]])
        out.append(np.column_stack([np.interp(at, along, x), np.interp(at, along, y)]))
    return out

"""What a map draws, in metres east and north of its middle: coast, legs, places, ways out."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._plan.stretches import stage_bailouts
from routeplan._show.mapframe import (
    Frame,
    degrees_minutes,
    frame_of,
    land_box,
    land_stretches,
    tick_minutes,
    ticks,
)
from routeplan._show.wording import Clock, degrees, duration, metres, plain, position

if TYPE_CHECKING:
    from routeplan._plan.bail import LegDrift
    from routeplan.exposure import LegExposure
    from routeplan.plan import Plan, StagePlan
    from routeplan.route import Leg, Waypoint
    from routeplan.stops import Bailout, ShoreSide
    from routeplan.windows import Landing

__all__ = ["map_document"]

_ROOM = 1.0  # half a width of what can be panned to, of the longer side of the map
_VERTICES = 24_000  # of a coast; one with more is thinned to what a screen can show
_LEAST = 3  # points of a ring or line; an islet that has fewer is not drawn

Rings = list[list[list[int]]]


def map_document(plan: Plan, clock: Clock) -> dict[str, Any]:
    """Everything on the map; x and y in whole metres.

    `ground` is the same for plans whose maps differ in the ways out only.
    """
    frame = frame_of(plan)
    wide = _wider(frame)
    ground = {
        "box": [round(v) for v in frame.box],
        "bounds": [round(v) for v in wide.box],
        **_coast(plan, wide),
        "grid": _graticule(frame),
        "legs": [
            _leg(frame, leg, exposure)
            for leg, exposure in zip(plan.route.legs, plan.exposures, strict=True)
        ],
        "places": _places(frame, plan),
        "notice_m": plan.trip.limits.offshore_notice_m,
        "far_m": _farthest(plan),
    }
    return {
        "ground": hashlib.sha256(json.dumps(ground).encode()).hexdigest()[:16],
        **ground,
        "stages": [_ways(frame, plan, stage, clock) for stage in plan.stages],
    }


def _wider(frame: Frame) -> Frame:
    """The frame with room on every side, for screens of another shape than the map."""
    left, bottom, right, top = frame.box
    reach = _ROOM * max(right - left, top - bottom)
    x, y = (left + right) / 2, (bottom + top) / 2
    return replace(frame, box=(x - reach, y - reach, x + reach, y + reach))


def _farthest(plan: Plan) -> float:
    far = [e.offshore_max_m for e in plan.exposures if math.isfinite(e.offshore_max_m)]
    return float(max([2 * plan.trip.limits.offshore_notice_m, *far]))


def _xy(frame: Frame, lon: Any, lat: Any) -> tuple[list[int], list[int]]:
    x, y = frame.x(lon), frame.y(lat)
    return np.round(x).astype(int).tolist(), np.round(y).astype(int).tolist()


def _spot(frame: Frame, lon: float, lat: float) -> list[int] | None:
    if not (math.isfinite(lon) and math.isfinite(lat)):
        return None
    return [round(float(frame.x(lon))), round(float(frame.y(lat)))]


def _coast(plan: Plan, frame: Frame) -> dict[str, Any]:
    """Rings of land, the first of each the outer one; or shorelines that enclose nothing.

    `step_m` is how far they may be off the coastline, 0 as it is. A ring is flat, x and y in
    turn: the first point, then steps from each to the next.
    """
    box = land_box(frame)
    if not plan.coast.knows_land:
        lines = [np.asarray(chain) for chain in plan.coast.shoreline(*box)]
        shore, step_m = _thinned(frame, [[line] for line in lines])
        return {"land": [], "shore": shore, "step_m": round(step_m, 1)}
    rings = [
        [np.asarray(ring.coords) for ring in (land.exterior, *land.interiors)]
        for land in plan.coast.land_polygons(*box)
    ]
    thinned, step_m = _thinned(frame, rings)
    return {"land": thinned, "shore": [], "step_m": round(step_m, 1)}


def _thinned(frame: Frame, lands: list[list[NDArray[np.float64]]]) -> tuple[Rings, float]:
    """Rings in whole metres; simplified, and without what is smaller, where they are too many."""
    import shapely

    of = np.repeat(np.arange(len(lands)), [len(rings) for rings in lands])
    drawn = [
        np.column_stack([frame.x(r[:, 0]), frame.y(r[:, 1])]) for rings in lands for r in rings
    ]
    lines, step_m = _lines(drawn), 0.0
    while shapely.get_num_coordinates(lines).sum() > _VERTICES:
        step_m = 2.0 * step_m or (frame.box[2] - frame.box[0]) / 8_000.0
        west, south, east, north = shapely.bounds(lines).T
        kept = np.maximum(east - west, north - south) >= 2.0 * step_m
        lines, of = shapely.simplify(lines[kept], step_m, preserve_topology=False), of[kept]
    out: dict[int, list[list[int]]] = {}
    for k, line in zip(of.tolist(), lines, strict=True):
        points = shapely.get_coordinates(line)
        if len(points) >= _LEAST:
            out.setdefault(k, []).append(_steps(points))
    return list(out.values()), step_m


def _lines(rings: list[NDArray[np.float64]]) -> NDArray[Any]:
    import shapely

    return np.asarray([shapely.linestrings(ring) for ring in rings], dtype=object)


def _steps(points: NDArray[np.float64]) -> list[int]:
    """The first point, then steps from each to the next; points that fall together are one."""
    whole = np.round(points).astype(np.int64)
    steps = np.diff(whole, axis=0)
    kept = steps[np.any(steps != 0, axis=1)]
    return [int(v) for v in np.concatenate([whole[:1], kept]).ravel()]


def _graticule(frame: Frame) -> dict[str, Any]:
    left, bottom, right, top = frame.box
    step_y = tick_minutes((frame.lat(top) - frame.lat(bottom)) * 60)
    step_x = tick_minutes((frame.lon(right) - frame.lon(left)) * 60)
    lats = ticks(frame.lat(bottom), frame.lat(top), step_y)
    lons = ticks(frame.lon(left), frame.lon(right), step_x)
    return {
        "x": np.round(frame.x(lons)).astype(int).tolist(),
        "y": np.round(frame.y(lats)).astype(int).tolist(),
        "east": [degrees_minutes((v + 180) % 360 - 180, "EW") for v in lons],
        "north": [degrees_minutes(v, "NS") for v in lats],
    }


def _leg(frame: Frame, leg: Leg, exposure: LegExposure) -> dict[str, Any]:
    x, y = _xy(frame, exposure.longitude, exposure.latitude)
    shore = [None if not math.isfinite(v) else round(v) for v in exposure.offshore_m.tolist()]
    along = np.round(exposure.distance_m).astype(int).tolist()
    return {
        "number": leg.number,
        "x": x,
        "y": y,
        "shore_m": shore,
        "along_m": along,
        "far": [[round(a), round(b)] for a, b in exposure.far_stretches],
        "land": [
            np.round(stretch).astype(int).T.tolist() for stretch in land_stretches(frame, exposure)
        ],
    }


def _places(frame: Frame, plan: Plan) -> list[dict[str, Any]]:
    """Ends of legs by name; ends of stages are camps, the first and last start and finish."""
    legs = plan.route.legs
    ends = {leg.number for stage in plan.stages for leg in stage.stage.legs[-1:]}
    found = [_place(frame, legs[0].start, "start")]
    for leg in legs[:-1]:
        found.append(_place(frame, leg.end, "camp" if leg.number in ends else "turn"))
    found.append(_place(frame, legs[-1].end, "finish"))
    for stop in plan.trip.places:
        spot = _spot(frame, stop.longitude, stop.latitude)
        found.append({"at": spot, "name": plain(stop.called), "kind": stop.kind, "where": ""})
    return found


def _place(frame: Frame, it: Waypoint, kind: str) -> dict[str, Any]:
    return {
        "at": _spot(frame, it.longitude, it.latitude),
        "name": plain(it.name),
        "kind": kind,
        "where": position(it.longitude, it.latitude),
    }


def _ways(frame: Frame, plan: Plan, stage: StagePlan, clock: Clock) -> dict[str, Any]:
    """Ways out of the launch proposed of a stage."""
    return {
        "landings": [_landing(frame, it, clock) for it in stage.landings or ()],
        "drift": [_drift(frame, it, clock) for it in stage.drift or ()],
        "bailouts": [_bailout(frame, it, clock) for it in stage_bailouts(plan, stage) or ()],
    }


def _landing(frame: Frame, it: Landing, clock: Clock) -> dict[str, Any]:
    return {
        "leg": it.leg,
        "from": _spot(frame, it.longitude, it.latitude),
        "to": _spot(frame, it.landing_longitude, it.landing_latitude),
        "words": f"{clock.moment(it.when)}: {plain(it.text)}",
    }


def _drift(frame: Frame, it: LegDrift, clock: Clock) -> dict[str, Any]:
    tracks = [_xy(frame, _every(track.longitude), _every(track.latitude)) for track in it.tracks]
    return {
        "leg": it.worst.leg,
        "who": it.who,
        "tracks": [{"x": x, "y": y} for x, y in tracks if len(x) > 1],
        "words": f"{clock.moment(it.worst.when)}, {it.who}: {plain(it.worst.text)}",
    }


def _every(track: NDArray[np.float64]) -> NDArray[np.float64]:
    """Every third position of a track, and the last."""
    return np.concatenate([track[:-1:3], track[-1:]])


def _bailout(frame: Frame, it: Bailout, clock: Clock) -> dict[str, Any]:
    words = f"{clock.moment(it.when)}: port {_side(it.port)}; starboard {_side(it.starboard)}"
    for way, stop in (("ahead", it.ahead), ("behind", it.behind)):
        if stop is not None:
            words += f"; {way} {plain(stop.place.called)}"
    return {
        "at": _spot(frame, it.longitude, it.latitude),
        "commits": it.commits,
        "words": words + ("; commits" if it.commits else ""),
    }


def _side(it: ShoreSide) -> str:
    if not it.known:
        return "unknown"
    if not math.isfinite(it.time_s):
        return "no shore in reach"
    return f"{metres(it.distance_m)} on {degrees(it.bearing_deg)}, {duration(it.time_s)}"

"""Layers of a plan as GeoDataFrames on WGS84 (EPSG:4326), longitude before latitude."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._gis.fields import fields_of
from routeplan._gis.points import plan_points
from routeplan._gis.shapes import areas, line, point
from routeplan._show.values import text
from routeplan.limits import Verdict

if TYPE_CHECKING:
    import geopandas as gpd

    from routeplan._plan.bail import LegDrift
    from routeplan.plan import Plan, StagePlan

__all__ = ["LAYERS", "coast_frame", "drift_frame", "frame_of", "legs_frame", "places_frame"]

LAYERS = ("legs", "places", "drift", "coast")

_CRS = "EPSG:4326"
_TIMES = frozenset(
    {
        "enter", "leave", "when", "first_launch", "last_launch", "go_on_until",
        "turn_round_until",
    }
)  # fmt: skip
_COUNTS = frozenset({"leg", "number", "stage"})
_FLAGS = frozenset({"crosses_land", "portage", "known", "current_known"})
_AT_LAUNCH = (
    "wind_ms", "gust_ms", "headwind_ms", "crosswind_ms", "wave_height_m", "speed_over_ground_ms",
)  # fmt: skip
_BESIDE_DEG = 0.05  # of coast beside the route, and a fifth of its size more


def legs_frame(plan: Plan) -> gpd.GeoDataFrame:
    """See `routeplan.gis.legs_frame`."""
    at_launch = dict(_launched(plan.stages))
    rows, shapes = [], []
    for i, (leg, exposure) in enumerate(zip(plan.route.legs, plan.exposures, strict=True)):
        shapes.append(line(exposure.longitude, exposure.latitude))
        rows.append(
            {
                "number": leg.number,
                "stage": leg.stage,
                "from": text(leg.start.name),
                "to": text(leg.end.name),
                "length_m": leg.length_m,
                "course_deg": leg.course_deg,
                "offshore_max_m": exposure.offshore_max_m,
                "offshore_mean_m": exposure.offshore_mean_m,
                "beyond_offshore_limit_m": exposure.beyond_limit_m,
                "offshore_verdict": plan.offshore_verdicts[i].word,
                "crosses_land": bool(exposure.crosses_land),
                "portage": bool(exposure.portage),
                "flags": text(" ".join(plan.flags[i])),
                **at_launch.get(leg.number, {}),
            }
        )
    return frame_of("legs", rows, shapes)


def _launched(stages: Iterable[StagePlan]) -> Iterator[tuple[int, dict[str, Any]]]:
    """What each leg meets at the launch proposed, by its number."""
    for stage in stages:
        scan, i = stage.scan, stage.best
        if scan is None or i is None:
            continue
        for j, number in enumerate(scan.leg_numbers.tolist()):
            yield (
                number,
                {
                    "enter": scan.enter[i, j],
                    "leave": scan.leave[i, j],
                    "verdict": Verdict(int(scan.leg_verdict[i, j])).word,
                    **{name: float(getattr(scan, name)[i, j]) for name in _AT_LAUNCH},
                },
            )


def places_frame(plan: Plan) -> gpd.GeoDataFrame:
    """See `routeplan.gis.places_frame`."""
    found = plan_points(plan)
    names = [field.name for field in fields_of("places")]
    rows = [{name: getattr(it, name) for name in names} for it in found]
    return frame_of("places", rows, [point(it.longitude, it.latitude) for it in found])


def drift_frame(plan: Plan) -> gpd.GeoDataFrame:
    """See `routeplan.gis.drift_frame`."""
    rows, shapes = [], []
    for stage in plan.stages:
        for drift in stage.drift or ():
            for row, shape in _branches(stage.stage.number, drift):
                rows.append(row)
                shapes.append(shape)
    return frame_of("drift", rows, shapes)


def _branches(stage: int, it: LegDrift) -> Iterator[tuple[dict[str, Any], Any]]:
    for track in it.tracks:
        end_s = float(track.seconds[-1]) if track.seconds.size else np.nan
        followed = np.isfinite(track.ashore_s) or end_s >= it.hours * 3600.0
        row = {
            "stage": stage,
            "leg": it.worst.leg,
            "who": it.who,
            "leeway_of": text(it.it.description),
            "branch": track.branch,
            "when": it.worst.when,
            "hours_h": it.hours,
            "end_s": end_s,
            "ashore_s": track.ashore_s,
            "known": bool(followed),
            "current_known": it.has_current,
            "text": text(it.worst.text),
        }
        yield row, line(track.longitude, track.latitude)


def coast_frame(plan: Plan) -> gpd.GeoDataFrame:
    """See `routeplan.gis.coast_frame`."""
    box = _around(plan.route.bounds)
    shapes = areas(plan.coast.land_polygons(*box))
    row = {
        "kind": "land",
        "source": text(plan.coast.source),
        "nominal_error_m": plan.coast.nominal_error_m,
    }
    return frame_of("coast", [row] * len(shapes), shapes)


def _around(bounds: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    """The box of the route with room beside it; west above east where it crosses 180°."""
    west, south, east, north = bounds
    width = 360.0 if east - west >= 360.0 else (east - west) % 360.0  # all round at a pole
    up = _BESIDE_DEG + 0.2 * (north - south)
    stretch = max(np.cos(np.radians(max(abs(south), abs(north)))), 0.01)
    aside = _BESIDE_DEG / stretch + 0.2 * width
    low, high = max(south - up, -90.0), min(north + up, 90.0)
    if width + 2.0 * aside >= 360.0:
        return -180.0, low, 180.0, high
    return _turned(west - aside), low, _turned(east + aside), high


def _turned(longitude: float) -> float:
    return (longitude + 180.0) % 360.0 - 180.0


def frame_of(layer: str, rows: Sequence[dict[str, Any]], shapes: Sequence[Any]) -> gpd.GeoDataFrame:
    """A frame with every column of the layer in its order and of its type, also when empty."""
    import geopandas as gpd

    columns = {
        field.name: _column(field.name, bool(field.unit), [row.get(field.name) for row in rows])
        for field in fields_of(layer)
    }
    return gpd.GeoDataFrame(columns, geometry=gpd.GeoSeries(list(shapes), crs=_CRS), crs=_CRS)


def _column(name: str, is_quantity: bool, values: list[Any]) -> Any:
    import pandas as pd

    if name in _TIMES:
        nat = np.datetime64("NaT", "ns")
        times = np.array([nat if value is None else value for value in values], "datetime64[ns]")
        return pd.Series(times, dtype="datetime64[ns]").dt.tz_localize("UTC")
    if name in _COUNTS:
        return pd.Series(values, dtype="Int64")
    if name in _FLAGS:
        return pd.Series(values, dtype=bool)
    if is_quantity:
        return pd.Series([np.nan if v is None else float(v) for v in values], dtype=float)
    return pd.Series(
        [None if value in (None, "") else str(value) for value in values], dtype=object
    )

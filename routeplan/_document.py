"""A plan as one JSON document; `docs/json.md` describes every key.

Units are suffixes of the keys, times ISO 8601 with Z; what is not known is null, never nan.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan import __version__
from routeplan._wording import plain
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.exposure import LegExposure
    from routeplan.forecast import Coverage
    from routeplan.plan import Plan, StagePlan
    from routeplan.route import Leg, Waypoint
    from routeplan.windows import Finding, LaunchScan, LaunchWindow

__all__ = ["coverage_document", "legs_document", "plan_document", "rounded", "texts", "utc"]

_TEXT = 1_000  # no text in a document is longer

# What a leg of a launch says, with the decimals that mean something.
_LEG_COLUMNS = (
    ("wind_ms", 2),
    ("gust_ms", 2),
    ("headwind_ms", 2),
    ("crosswind_ms", 2),
    ("wave_height_m", 2),
    ("offshore_m", 0),
    ("speed_over_ground_ms", 2),
)


def legs_document(plan: Plan, files: Sequence[Path] = ()) -> dict[str, Any]:
    """The document of a plan without launches."""
    coast = plan.coast
    return {
        "routeplan": __version__,
        "invented": bool(plan.invented),
        "cautions": texts(plan.cautions),
        "sources": [
            {
                "kind": _text(s.kind),
                "name": _text(s.name),
                "attribution": _text(s.attribution),
                "error": _text(s.error),
            }
            for s in plan.sources
        ],
        "notes": texts(plan.notes),
        "title": _text(plan.trip.title),
        "zone": plan.zone,
        "now": None if plan.trip.now is None else utc(plan.trip.now),
        "route": {
            "name": _text(plan.route.name),
            "source": _text(plan.route.source),
            "origin": plan.route.origin,
            "length_m": rounded(plan.route.length_m, 1),
            "camps": [_place(camp) for camp in plan.route.camps],
        },
        "coast": {
            "source": _text(coast.source),
            "attribution": _text(coast.attribution),
            "nominal_error_m": rounded(coast.nominal_error_m, 1),
        },
        "limits": _limits(plan),
        "legs": [
            _leg(leg, exposure, flags, verdict)
            for leg, exposure, flags, verdict in zip(
                plan.route.legs, plan.exposures, plan.flags, plan.offshore_verdicts, strict=True
            )
        ],
        "stages": [_stage(stage) for stage in plan.stages],
        "files": [str(path) for path in files],
    }


def plan_document(plan: Plan, files: Sequence[Path] = ()) -> dict[str, Any]:
    """The document of a plan with its launches and windows."""
    document = legs_document(plan, files)
    if plan.coverage is not None:
        document["forecast"] = coverage_document(plan.coverage)
    document["craft"] = {
        "name": plan.trip.craft.name,
        "still_water_speed_ms": rounded(plan.trip.craft.still_water_speed_ms, 3),
        "posture": plan.trip.craft.posture,
    }
    document["launch_step_s"] = rounded(plan.trip.launch_step_s, 0)
    scans = [(stage, stage.scan) for stage in plan.stages if stage.scan is not None]
    document["not_judged"] = sorted({name for _, scan in scans for name in scan.not_judged})
    document["launches"] = [launch for _, scan in scans for launch in _launches(scan)]
    document["windows"] = [_window(window) for stage, _ in scans for window in stage.windows]
    return document


def coverage_document(coverage: Coverage) -> dict[str, Any]:
    """What a forecast covers."""
    return {
        "west_deg": rounded(coverage.west, 5),
        "south_deg": rounded(coverage.south, 5),
        "east_deg": rounded(coverage.east, 5),
        "north_deg": rounded(coverage.north, 5),
        "first": utc(coverage.first),
        "last": utc(coverage.last),
        "step_s": rounded(coverage.step_s, 0),
        "members": int(coverage.members),
        "variables": list(coverage.variables),
        "missing": {name: _text(why) for name, why in coverage.missing.items()},
        "reference_time": _text(coverage.reference_time) or None,
    }


def rounded(value: Any, digits: int) -> float | None:
    """A float of so many decimals; None for what is missing, nan or infinite."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0


def utc(when: np.datetime64) -> str | None:
    """ISO 8601 with Z to the second; None for NaT."""
    return None if np.isnat(when) else f"{np.datetime_as_string(when, unit='s')}Z"


def _text(words: object) -> str:
    return plain(words, _TEXT)


def texts(many: Iterable[object]) -> list[str]:
    """Clean lines."""
    return [_text(words) for words in many]


def _place(place: Waypoint) -> dict[str, Any]:
    return {
        "name": _text(place.name),
        "latitude_deg": rounded(place.latitude, 6),
        "longitude_deg": rounded(place.longitude, 6),
    }


def _limits(plan: Plan) -> dict[str, Any]:
    limits = plan.trip.limits
    values = {f.name: getattr(limits, f.name) for f in fields(limits) if f.name != "explicit"}
    out: dict[str, Any] = {name: rounded(value, 4) for name, value in values.items()}
    out["explicit"] = sorted(limits.explicit)
    return out


def _leg(leg: Leg, exposure: LegExposure, flags: Sequence[str], verdict: Verdict) -> dict[str, Any]:
    fetch, direction = exposure.longest_fetch
    nearest = exposure.nearest
    return {
        "number": leg.number,
        "stage": leg.stage,
        "from": _text(leg.start.name),
        "to": _text(leg.end.name),
        "length_m": rounded(leg.length_m, 1),
        "course_deg": rounded(leg.course_deg, 2),
        "offshore_max_m": rounded(exposure.offshore_max_m, 1),
        "offshore_max_at_m": rounded(exposure.offshore_max_at_m, 1),
        "offshore_mean_m": rounded(exposure.offshore_mean_m, 1),
        "beyond_offshore_limit_m": rounded(exposure.beyond_limit_m, 1),
        "beyond_offshore_notice_m": rounded(exposure.beyond_notice_m, 1),
        "far_stretches": _stretches(exposure.far_stretches),
        "offshore_verdict": Verdict(verdict).word,
        "crosses_land": bool(exposure.crosses_land),
        "land": _stretches(exposure.land),
        "nearest_landing": {
            "latitude_deg": rounded(nearest.latitude, 6),
            "longitude_deg": rounded(nearest.longitude, 6),
            "distance_m": rounded(nearest.distance_m, 1),
            "bearing_deg": rounded(nearest.bearing_deg, 1),
            "at_m": rounded(nearest.at_m, 1),
        },
        "longest_fetch_m": rounded(fetch, 0),
        "longest_fetch_from_deg": rounded(direction, 1),
        "fetch_m": [rounded(length, 0) for length in exposure.fetch_m],
        "effective_fetch_m": [rounded(length, 0) for length in exposure.effective_fetch_m],
        "fetch_limit_m": rounded(exposure.fetch_limit_m, 0),
        "start": _place(leg.start),
        "end": _place(leg.end),
        "flags": texts(flags),
    }


def _stretches(spans: Iterable[tuple[float, float]]) -> list[dict[str, Any]]:
    return [{"enter_m": rounded(a, 1), "leave_m": rounded(b, 1)} for a, b in spans]


def _stage(plan: StagePlan) -> dict[str, Any]:
    stage, scan, best = plan.stage, plan.scan, plan.best
    out: dict[str, Any] = {
        "stage": stage.number,
        "from": _text(stage.start.name),
        "to": _text(stage.end.name),
        "length_m": rounded(stage.length_m, 1),
    }
    if scan is not None:
        from routeplan.windows import nearest_miss, why_launch  # `legs` must not wait for it

        out["launch"] = utc(scan.launch[best]) if best is not None else None
        out["arrive"] = utc(scan.arrive[best]) if best is not None else None
        out["verdict"] = Verdict(int(scan.verdict[best])).word if best is not None else None
        out["why"] = why_launch(scan, best) if best is not None else None
        miss = nearest_miss(scan)
        out["nearest_miss"] = [] if miss is None else texts(miss.texts)
        out["binding"] = (str(scan.binding[best]) or None) if best is not None else None
    return out


def _launches(scan: LaunchScan) -> Iterator[dict[str, Any]]:
    columns = [(name, _columns(getattr(scan, name), digits)) for name, digits in _LEG_COLUMNS]
    enter, leave = _times(scan.enter), _times(scan.leave)
    verdicts = [[Verdict(v).word for v in row] for row in scan.leg_verdict.tolist()]
    numbers = [int(number) for number in scan.leg_numbers]
    launch, arrive = _times(scan.launch), _times(scan.arrive)
    for i in range(scan.launch.size):
        legs = [
            {
                "leg": number,
                "enter": enter[i][j],
                "leave": leave[i][j],
                **{name: values[i][j] for name, values in columns},
                "verdict": verdicts[i][j],
            }
            for j, number in enumerate(numbers)
        ]
        yield {
            "stage": scan.stage,
            "launch": launch[i],
            "arrive": arrive[i],
            "verdict": Verdict(int(scan.verdict[i])).word,
            "binding": str(scan.binding[i]) or None,
            "margin": rounded(scan.margin[i], 4),
            "margin_limit": str(scan.margin_limit[i]) or None,
            "robust": None if scan.robust is None else bool(scan.robust[i]),
            "share_within": None if scan.share_within is None else rounded(scan.share_within[i], 4),
            "reasons": texts(scan.reasons(i)),
            "findings": [_finding(finding) for finding in scan.findings(i)],
            "legs": legs,
        }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "limit": finding.limit,
        "verdict": finding.verdict.word,
        "value": rounded(finding.value, 4),
        "limit_value": rounded(finding.limit_value, 4),
        "unit": finding.unit,
        "margin": rounded(finding.margin, 4),
        "leg": finding.leg,
        "when": None if finding.when is None else utc(finding.when),
        "longitude_deg": rounded(finding.longitude, 6),
        "latitude_deg": rounded(finding.latitude, 6),
    }


def _columns(values: NDArray[np.float64], digits: int) -> list[list[float | None]]:
    return [[rounded(value, digits) for value in row] for row in values.tolist()]


def _times(times: NDArray[np.datetime64]) -> Any:
    texts = np.char.add(np.datetime_as_string(times, unit="s"), "Z").astype(object)
    texts[np.isnat(times)] = None
    return texts.tolist()


def _window(window: LaunchWindow) -> dict[str, Any]:
    return {
        "stage": window.stage,
        "verdict": Verdict(window.verdict).word,
        "first_launch": utc(window.first_launch),
        "last_launch": utc(window.last_launch),
        "latest_arrival": utc(window.latest_arrival),
        "margin": rounded(window.margin, 4),
        "margin_limit": window.margin_limit or None,
        "opened_by": window.opened_by,
        "closed_by": window.closed_by,
        "robust_first": utc(window.robust_first),
        "robust_last": utc(window.robust_last),
    }

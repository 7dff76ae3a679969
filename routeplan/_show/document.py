"""A plan as one JSON document; `docs/json.md` describes every key.

Units are suffixes of the keys, times ISO 8601 with Z; what is not known is null, never nan.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan import __version__
from routeplan._sheet.document import sheet_document
from routeplan._show.daydocument import day_document, itinerary_document
from routeplan._show.kitdocument import kit_documents
from routeplan._show.legdocument import leg_documents
from routeplan._show.values import place, rounded, text, texts, utc
from routeplan._show.waysdocument import (
    bailout_documents,
    craft_document,
    pace_document,
    ways_documents,
)
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.forecast import Coverage
    from routeplan.plan import Plan, Source, StagePlan
    from routeplan.windows import Finding, LaunchScan, LaunchWindow

__all__ = [
    "coverage_document",
    "legs_document",
    "plan_document",
    "rounded",
    "source_documents",
    "texts",
    "utc",
]

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
    return {
        "routeplan": __version__,
        "invented": bool(plan.invented),
        "cautions": texts(plan.cautions),
        "sources": source_documents(plan),
        "warnings": texts(plan.warnings),
        "notes": texts(plan.notes),
        "title": text(plan.trip.title),
        "zone": plan.zone,
        "now": None if plan.trip.now is None else utc(plan.trip.now),
        "route": {
            "name": text(plan.route.name),
            "source": text(plan.route.source),
            "origin": plan.route.origin,
            "length_m": rounded(plan.route.length_m, 1),
            "camps": [place(camp) for camp in plan.route.camps],
        },
        "coast": _coast(plan),
        "limits": _limits(plan),
        "legs": leg_documents(plan),
        "stages": [_stage(stage, plan) for stage in plan.stages],
        "files": [str(path) for path in files],
    }


def plan_document(plan: Plan, files: Sequence[Path] = ()) -> dict[str, Any]:
    """The document of a plan with its launches and windows."""
    document = legs_document(plan, files)
    if plan.coverage is not None:
        document["forecast"] = coverage_document(
            plan.coverage, plan.trip.now, plan.trip.old_after_s
        )
    document["craft"] = craft_document(plan.trip.slowest)
    document["crafts"] = [craft_document(craft) for craft in plan.trip.crafts]
    document["pace"] = pace_document(plan.trip.pace)
    document["launch_step_s"] = rounded(plan.trip.launch_step_s, 0)
    if plan.itinerary is not None:
        document["itinerary"] = itinerary_document(plan.itinerary, plan.trip.wishes)
    scans = [(stage, stage.scan) for stage in plan.stages if stage.scan is not None]
    document["not_judged"] = sorted({name for _, scan in scans for name in scan.not_judged})
    document["launches"] = [launch for _, scan in scans for launch in _launches(scan)]
    document["windows"] = [_window(window) for stage, _ in scans for window in stage.windows]
    document.update(kit_documents(plan.kit))
    document["sheet"] = None if plan.sheet is None else sheet_document(plan.sheet)
    return document


def coverage_document(
    coverage: Coverage, now: np.datetime64 | None, old_after_s: float
) -> dict[str, Any]:
    """What a forecast covers, and how old it is."""
    age_s = None if now is None else rounded(coverage.age_s(now), 0)
    return {
        "west_deg": rounded(coverage.west, 5),
        "south_deg": rounded(coverage.south, 5),
        "east_deg": rounded(coverage.east, 5),
        "north_deg": rounded(coverage.north, 5),
        "first": utc(coverage.first),
        "last": utc(coverage.last),
        "horizon_s": rounded(coverage.horizon_s, 0),
        "times": coverage.times,
        "step_s": rounded(coverage.step_s, 0),
        "shortest_step_s": rounded(coverage.shortest_step_s, 0),
        "spacing_latitude_deg": rounded(coverage.spacing_latitude_deg, 5),
        "spacing_longitude_deg": rounded(coverage.spacing_longitude_deg, 5),
        "members": int(coverage.members),
        "variables": list(coverage.variables),
        "missing": {name: text(why) for name, why in coverage.missing.items()},
        "notes": texts(coverage.notes),
        "reference_time": text(coverage.reference_time) or None,
        "age_s": age_s,
        "old_after_s": rounded(old_after_s, 0),
        "old": None if age_s is None else age_s > old_after_s,
    }


def source_documents(plan: Plan) -> list[dict[str, Any]]:
    """Where the data of a plan come from."""
    return [_source(source) for source in plan.sources]


def _source(source: Source) -> dict[str, Any]:
    return {
        "kind": text(source.kind),
        "name": text(source.name),
        "attribution": text(source.attribution),
        "licence": text(source.licence),
        "date": text(source.date) or None,
        "age_s": rounded(source.age_s, 0),
        "error": text(source.error),
    }


def _coast(plan: Plan) -> dict[str, Any]:
    coast, compared = plan.coast, None
    found = next((c for c in plan.comparisons if c is not None), None)
    other = getattr(coast, "coarse", None)
    if found is not None and other is not None:
        compared = {
            "source": text(other.source),
            "nominal_error_m": rounded(other.nominal_error_m, 1),
            "limit_m": rounded(found.limit_m, 1),
            "legs_that_differ": [c.leg for c in plan.comparisons if c is not None and c.differs],
        }
    return {
        "source": text(coast.source),
        "attribution": text(coast.attribution),
        "nominal_error_m": rounded(coast.nominal_error_m, 1),
        "compared_with": compared,
    }


def _limits(plan: Plan) -> dict[str, Any]:
    limits = plan.trip.limits
    values = {f.name: getattr(limits, f.name) for f in fields(limits) if f.name != "explicit"}
    out: dict[str, Any] = {name: rounded(value, 4) for name, value in values.items()}
    out["explicit"] = sorted(limits.explicit)
    return out


def _stage(it: StagePlan, plan: Plan) -> dict[str, Any]:
    stage, scan, best = it.stage, it.scan, it.best
    out: dict[str, Any] = {
        "stage": stage.number,
        "from": text(stage.start.name),
        "to": text(stage.end.name),
        "length_m": rounded(stage.length_m, 1),
    }
    if scan is not None:
        from routeplan._plan.stretches import stage_bailouts
        from routeplan.windows import nearest_miss, why_launch  # `legs` must not wait for it

        out |= day_document(it.day)
        out["why"] = why_launch(scan, best) if best is not None else None
        miss = nearest_miss(scan)
        out["nearest_miss"] = [] if miss is None else texts(miss.texts)
        out |= ways_documents(it)
        out["bailouts"] = bailout_documents(stage_bailouts(plan, it))
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
    words = np.char.add(np.datetime_as_string(times, unit="s"), "Z").astype(object)
    words[np.isnat(times)] = None
    return words.tolist()


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

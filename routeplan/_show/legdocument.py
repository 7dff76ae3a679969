"""The legs of a plan as values of its document; `docs/json.md` describes every key."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from routeplan._show.values import place, rounded, text, texts
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.coastsource import OffshoreComparison
    from routeplan.exposure import LegExposure
    from routeplan.plan import Plan
    from routeplan.route import Leg

__all__ = ["leg_documents"]


def leg_documents(plan: Plan) -> list[dict[str, Any]]:
    """One entry a leg."""
    return [
        {
            **_line(leg),
            **_shore(exposure, Verdict(verdict)),
            "compared": None if comparison is None else _compared(comparison),
            **_fetch(exposure),
            **_winds(exposure),
            "start": place(leg.start),
            "end": place(leg.end),
            "notes": texts(notes),
            "flags": texts(flags),
        }
        for leg, exposure, verdict, comparison, notes, flags in zip(
            plan.route.legs,
            plan.exposures,
            plan.offshore_verdicts,
            plan.comparisons,
            plan.leg_notes,
            plan.flags,
            strict=True,
        )
    ]


def _line(leg: Leg) -> dict[str, Any]:
    return {
        "number": leg.number,
        "stage": leg.stage,
        "from": text(leg.start.name),
        "to": text(leg.end.name),
        "length_m": rounded(leg.length_m, 1),
        "course_deg": rounded(leg.course_deg, 2),
    }


def _shore(exposure: LegExposure, verdict: Verdict) -> dict[str, Any]:
    nearest = exposure.nearest
    return {
        "offshore_max_m": rounded(exposure.offshore_max_m, 1),
        "offshore_max_at_m": rounded(exposure.offshore_max_at_m, 1),
        "offshore_mean_m": rounded(exposure.offshore_mean_m, 1),
        "beyond_offshore_limit_m": rounded(exposure.beyond_limit_m, 1),
        "beyond_offshore_notice_m": rounded(exposure.beyond_notice_m, 1),
        "far_stretches": _stretches(exposure.far_stretches),
        "offshore_verdict": verdict.word,
        "crosses_land": bool(exposure.crosses_land),
        "land": _stretches(exposure.land),
        "portage": exposure.portage,
        "nearest_landing": {
            "latitude_deg": rounded(nearest.latitude, 6),
            "longitude_deg": rounded(nearest.longitude, 6),
            "distance_m": rounded(nearest.distance_m, 1),
            "bearing_deg": rounded(nearest.bearing_deg, 1),
            "at_m": rounded(nearest.at_m, 1),
        },
    }


def _compared(comparison: OffshoreComparison) -> dict[str, Any]:
    return {
        "differs": comparison.differs,
        "default_verdict": comparison.coarse_verdict,
        "default_offshore_max_m": rounded(comparison.coarse_max_m, 1),
        "finer_verdict": comparison.fine_verdict,
        "finer_offshore_max_m": rounded(comparison.fine_max_m, 1),
        "largest_difference_m": rounded(comparison.largest_difference_m, 1),
        "latitude_deg": rounded(comparison.latitude, 6),
        "longitude_deg": rounded(comparison.longitude, 6),
    }


def _fetch(exposure: LegExposure) -> dict[str, Any]:
    (fetch, direction), effective = exposure.longest_fetch, exposure.longest_effective_fetch
    return {
        "longest_fetch_m": rounded(fetch, 0),
        "longest_fetch_from_deg": rounded(direction, 1),
        "fetch_m": [rounded(length, 0) for length in exposure.fetch_m],
        "longest_effective_fetch_m": rounded(effective[0], 0),
        "longest_effective_fetch_from_deg": rounded(effective[1], 1),
        "effective_fetch_m": [rounded(length, 0) for length in exposure.effective_fetch_m],
        "fetch_limit_m": rounded(exposure.fetch_limit_m, 0),
    }


def _winds(exposure: LegExposure) -> dict[str, Any]:
    return {
        "onshore_wind_share": [rounded(share, 3) for share in exposure.wind_side[:, 0]],
        "offshore_wind_share": [rounded(share, 3) for share in exposure.wind_side[:, 2]],
        "offshore_winds": [
            {
                "first_deg": rounded(first, 1),
                "last_deg": rounded(last, 1),
                "open_downwind_m": rounded(exposure.open_downwind_m(first, last), 0),
            }
            for first, last in exposure.offshore_winds()
        ],
    }


def _stretches(spans: Iterable[tuple[float, float]]) -> list[dict[str, Any]]:
    return [{"enter_m": rounded(a, 1), "leave_m": rounded(b, 1)} for a, b in spans]

"""The days of a plan for a document: what each stage says of its day, and the trip as a whole."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._show.values import rounded, text, texts, utc
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.stops import Alternative, DayStage, Itinerary, StageWishes

__all__ = ["day_document", "itinerary_document"]


_KEYS = (
    "launch",
    "arrive",
    "first_launch",
    "last_launch",
    "last_light",
    "verdict",
    "binding",
    "margin",
    "margin_limit",
    "days_ashore",
    "ashore_by",
    "landing",
    "note",
    "judged_from",
    "picked",
)


def day_document(day: DayStage | None) -> dict[str, Any]:
    """What `stages[]` says of a stage's day; all null for none."""
    if day is None:
        return dict.fromkeys(_KEYS)
    landing = day.landing
    return {
        "launch": utc(day.launch),
        "arrive": utc(day.arrive),
        "first_launch": utc(day.first_launch),
        "last_launch": utc(day.last_launch),
        "last_light": utc(day.last_light),
        "verdict": day.verdict.word,
        "binding": None if day.verdict is Verdict.WITHIN else day.binding or None,
        "margin": rounded(day.margin, 4),
        "margin_limit": day.binding or None,
        "days_ashore": day.days_ashore,
        "ashore_by": day.ashore_by or None,
        "landing": {
            "wind_ms": rounded(landing.wind_ms, 2),
            "wind_from_deg": rounded(landing.wind_from_deg, 1),
            "fetch_m": rounded(landing.fetch_m, 0),
            "wave_height_m": rounded(landing.wave_height_m, 2),
            "margin": rounded(landing.margin, 4),
            "verdict": landing.verdict.word,
        },
        "note": text(day.note) or None,
        "judged_from": utc(day.judged_from),
        "picked": day.picked,
    }


def itinerary_document(plan: Itinerary, wishes: StageWishes) -> dict[str, Any]:
    """The trip as a whole, and by which weights its days were chosen."""
    weights = wishes.weights
    return {
        "complete": plan.complete,
        "days": plan.days,
        "days_ashore": plan.days_ashore,
        "length_m": rounded(plan.length_m, 1),
        "texts": texts(plan.texts),
        "others": [_other_document(other) for other in plan.others],
        "depart": None if wishes.depart is None else utc(wishes.depart),
        "home_by": None if wishes.home_by is None else utc(wishes.home_by),
        "night_s": rounded(wishes.night_s, 0),
        "break_camp_s": rounded(wishes.break_camp_s, 0),
        "landing_wave_m": rounded(wishes.landing_wave_m, 2),
        "landing_wind_ms": rounded(wishes.landing_wind_ms, 2),
        "weights": {
            name: rounded(getattr(weights, name), 6)
            for name in ("margin", "day", "km", "spare", "step", "enough")
        },
    }


def _other_document(other: Alternative) -> dict[str, Any]:
    """A plan that differs in kind, with its stages."""
    plan = other.itinerary
    known = [stage.margin for stage in plan.stages]
    return {
        "kind": other.kind,
        "text": text(other.text),
        "judged_in_full": other.in_full,
        "complete": plan.complete,
        "verdict": max((stage.verdict for stage in plan.stages), default=Verdict.UNKNOWN).word,
        "margin": rounded(min(known), 4) if known and np.isfinite(known).all() else None,
        "days": plan.days,
        "days_ashore": plan.days_ashore,
        "length_m": rounded(plan.length_m, 1),
        "texts": texts(plan.texts),
        "stages": [
            {
                "stage": stage.number,
                "from": text(stage.start.place.called),
                "to": text(stage.end.place.called),
                "length_m": rounded(stage.length_m, 1),
                **day_document(stage),
            }
            for stage in plan.stages
        ],
    }

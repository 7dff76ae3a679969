"""Legs and limits for templates and scripts."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from routeplan._judge.findings import show_limit
from routeplan._show.legdetails import leg_details
from routeplan._show.wording import kilometres, plain
from routeplan.limits import LIMIT_FIELDS
from routeplan.units import KNOT_MS

if TYPE_CHECKING:
    from routeplan.limits import Limits
    from routeplan.plan import Plan

__all__ = ["leg_facts", "limit_facts", "limits_document", "rose_documents"]

# Not limits but how they are used
_HOW = ("offshore_wind_beyond", "offshore_notice", "close_share", "member_share", "delay", "slower")


def limit_facts(limits: Limits) -> list[dict[str, str]]:
    """Every limit that is set, with its value in words."""
    return [
        {
            "name": name,
            "value": show_limit(name, limits.value(name)),
            "whose": "yours" if name in limits.explicit else "default",
        }
        for name in LIMIT_FIELDS
        if name not in _HOW and math.isfinite(limits.value(name))
    ]


def limits_document(limits: Limits) -> dict[str, float | None]:
    """Limits that are drawn: tenths of a knot, cm, minutes."""
    scales = {
        "wind": 10.0 / KNOT_MS,
        "gust": 10.0 / KNOT_MS,
        "headwind": 10.0 / KNOT_MS,
        "wave_height": 100.0,
        "daylight": 1.0 / 60.0,
    }
    return {
        name: None if math.isnan(limits.value(name)) else round(limits.value(name) * scale, 2)
        for name, scale in scales.items()
    }


def leg_facts(plan: Plan) -> Iterator[dict[str, Any]]:
    """Legs with what is told of them without a forecast."""
    for leg, exposure, flags, notes in zip(
        plan.route.legs, plan.exposures, plan.flags, plan.leg_notes, strict=True
    ):
        fetch, direction = exposure.longest_fetch
        capped = "≥" if fetch >= exposure.fetch_limit_m else ""
        yield {
            "leg": leg,
            "exposure": exposure,
            "fetch": f"{capped}{kilometres(fetch)}",
            "fetch_from": direction,
            "flags": flags,
            "notes": notes,
        }


def rose_documents(plan: Plan) -> list[dict[str, Any]]:
    """Legs by number: names, figures and the fetch rose in metres."""
    return [
        {
            "number": leg.number,
            "stage": leg.stage,
            "from": plain(leg.start.name),
            "to": plain(leg.end.name),
            "length_m": round(leg.length_m),
            "course": round(leg.course_deg) % 360,
            "max_m": _whole(exposure.offshore_max_m),
            "mean_m": _whole(exposure.offshore_mean_m),
            "fetch_m": [_whole(v) for v in exposure.fetch_m.tolist()],
            "capped_m": round(exposure.fetch_limit_m),
            "off": [_percent(v) for v in exposure.wind_side[:, 2].tolist()],
            "on": [_percent(v) for v in exposure.wind_side[:, 0].tolist()],
            "flags": [plain(flag) for flag in flags],
            "details": plain(details),
        }
        for leg, exposure, flags, details in zip(
            plan.route.legs, plan.exposures, plan.flags, leg_details(plan), strict=True
        )
    ]


def _whole(value: float) -> int | None:
    return round(value) if math.isfinite(value) else None


def _percent(share: float) -> int | None:
    return math.floor(share * 100.0) if math.isfinite(share) else None

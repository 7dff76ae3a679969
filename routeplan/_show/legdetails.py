"""What a leg commits one to beyond the table, one paragraph a leg."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from routeplan._show.wording import compass_point, kilometres, metres, number

if TYPE_CHECKING:
    from routeplan.exposure import LegExposure
    from routeplan.plan import Plan

__all__ = ["leg_details", "sector_words"]


def leg_details(plan: Plan) -> list[str]:
    """Effective fetch, winds off the land, stretches far from shore and the nearest shore."""
    notice = number(plan.trip.limits.offshore_notice_m)
    return [
        "; ".join([_fetch(e), _offshore(e), *_far(e, notice), _nearest(e)]) for e in plan.exposures
    ]


def sector_words(first_deg: float, last_deg: float) -> str:
    """A sector of directions by points of the compass, `NE to E`."""
    first, last = compass_point(first_deg), compass_point(last_deg)
    narrow = (last_deg - first_deg) % 360.0 < 180.0
    return first if first == last and narrow else f"{first} to {last}"


def _fetch(exposure: LegExposure) -> str:
    length, direction = exposure.longest_effective_fetch
    more = "≥" if length >= exposure.fetch_limit_m else ""
    return f"effective fetch {more}{kilometres(length, 'km')} from {compass_point(direction)}"


def _offshore(exposure: LegExposure) -> str:
    if np.isnan(exposure.wind_side).any():
        return "winds off the land: unknown"
    found = exposure.offshore_winds()
    if not found:
        return "winds off the land: none on most of it"
    return "winds off the land: " + ", ".join(_sector(exposure, *sector) for sector in found)


def _sector(exposure: LegExposure, first: float, last: float) -> str:
    length = exposure.open_downwind_m(first, last)
    more = "≥" if length >= exposure.fetch_limit_m else ""
    return f"{sector_words(first, last)} (open downwind {more}{kilometres(length, 'km')})"


def _far(exposure: LegExposure, notice: str) -> list[str]:
    if not exposure.far_stretches:
        return []
    spans = ", ".join(f"{_at(begin)} to {_at(end)}" for begin, end in exposure.far_stretches[:4])
    rest = len(exposure.far_stretches) - 4
    return [f"no shore within {notice} m from {spans}" + (f" and {rest} more" if rest > 0 else "")]


def _nearest(exposure: LegExposure) -> str:
    nearest = exposure.nearest
    where = f"{compass_point(nearest.bearing_deg)} at {_at(nearest.at_m)}"
    return f"nearest shore {metres(nearest.distance_m)} {where}"


def _at(along_m: float) -> str:
    return kilometres(along_m, "km")

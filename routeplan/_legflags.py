"""What is worth knowing about a leg before any forecast is read, in words."""

from __future__ import annotations

import numpy as np

from routeplan.exposure import LegExposure
from routeplan.limits import Limits, Verdict

__all__ = ["leg_flags", "offshore_verdict"]


def offshore_verdict(exposure: LegExposure, limits: Limits, coast_error_m: float) -> Verdict:
    """Judge a leg's distance from shore against the limit, within the coastline's error.

    A leg inside the limit by less than the error of the coastline is `CLOSE`; so is any leg
    where that error is not known (nan).
    """
    if limits.offshore_m is None:
        return Verdict.WITHIN
    if not np.isfinite(exposure.offshore_max_m):
        return Verdict.UNKNOWN
    margin = limits.offshore_m - exposure.offshore_max_m
    if margin < 0:
        return Verdict.BEYOND
    return Verdict.WITHIN if margin >= coast_error_m else Verdict.CLOSE


def leg_flags(
    exposure: LegExposure, limits: Limits, coast_error_m: float, *, portage: bool = False
) -> tuple[str, ...]:
    """Sentences about a leg that a leader must not overlook; empty when there are none."""
    flags = []
    farthest = _km(exposure.offshore_max_m)
    limit = limits.offshore_m
    if limit is not None and exposure.offshore_max_m > limit:
        flags.append(
            f"beyond the limit of {limit:,.0f} m from shore for {_km(exposure.beyond_limit_m)}, "
            f"at most {farthest}"
        )
    elif exposure.offshore_max_m > limits.offshore_notice_m:
        flags.append(
            f"open crossing: more than {limits.offshore_notice_m:,.0f} m from shore "
            f"for {_km(exposure.beyond_notice_m)}, at most {farthest}"
        )
    if exposure.crosses_land and not portage:
        flags.append(_land_words(exposure, coast_error_m))
    return tuple(flags)


def _land_words(exposure: LegExposure, coast_error_m: float) -> str:
    where = ", ".join(f"{_km(enter)} to {_km(leave)}" for enter, leave in exposure.land[:4])
    more = f" and {len(exposure.land) - 4} more stretches" if len(exposure.land) > 4 else ""
    words = f"crosses land for {_km(exposure.land_m)} (from its start: {where}{more})"
    longest = max(leave - enter for enter, leave in exposure.land)
    if longest < coast_error_m:
        words += f", less than the coastline's nominal error of {coast_error_m:,.0f} m"
    return words


def _km(length_m: float) -> str:
    return f"{length_m:,.0f} m" if length_m < 1_000 else f"{length_m / 1_000:.1f} km"

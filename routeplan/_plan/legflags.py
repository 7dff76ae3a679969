"""What is worth knowing about a leg before any forecast is read, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from routeplan.exposure import LegExposure
from routeplan.limits import Limits, Verdict

if TYPE_CHECKING:
    from routeplan.coastsource import OffshoreComparison

__all__ = ["flags_of", "leg_flags", "leg_notes", "offshore_verdict"]

_STRETCHES = 4  # stretches of land told one by one


def offshore_verdict(exposure: LegExposure, limits: Limits, coast_error_m: float) -> Verdict:
    """Judge a leg's distance from shore against the limit, within the coastline's error.

    A leg inside the limit by less than the error of the coastline is `CLOSE`; so is any leg
    where that error is not known (nan). One that is beyond somewhere is `BEYOND`, whatever is
    unknown elsewhere on it.
    """
    if limits.offshore_m is None:
        return Verdict.WITHIN
    if np.any(exposure.offshore_m > limits.offshore_m):
        return Verdict.BEYOND
    if not np.isfinite(exposure.offshore_max_m):
        return Verdict.UNKNOWN
    margin = limits.offshore_m - exposure.offshore_max_m
    return Verdict.WITHIN if margin >= coast_error_m else Verdict.CLOSE


def leg_flags(
    exposure: LegExposure,
    limits: Limits,
    coast_error_m: float,
    *,
    comparison: OffshoreComparison | None = None,
) -> tuple[str, ...]:
    """Sentences about a leg that a leader must not overlook; empty when there are none.

    Land on a leg that begins with a portage is none of them, see `leg_notes`.
    """
    flags = [*_offshore_words(exposure, limits)]
    if not np.isfinite(exposure.offshore_max_m):
        flags.append("the distance from shore is unknown on part of it")
    if comparison is not None and comparison.differs:
        flags.append(_comparison_words(comparison, limits))
    if exposure.crosses_land and not exposure.portage:
        flags.append(_land_words(exposure, coast_error_m))
    return tuple(flags)


def flags_of(
    exposures: Sequence[LegExposure],
    limits: Limits,
    coast_error_m: float,
    comparisons: Sequence[OffshoreComparison | None],
) -> tuple[tuple[str, ...], ...]:
    """Flags of every leg, as `leg_flags`."""
    return tuple(
        leg_flags(exposure, limits, coast_error_m, comparison=comparison)
        for exposure, comparison in zip(exposures, comparisons, strict=True)
    )


def leg_notes(exposure: LegExposure) -> tuple[str, ...]:
    """Sentences about a leg that are no warning: what is carried over land."""
    if not exposure.portage:
        return ()
    if not exposure.crosses_land:
        return ("a carry is marked at its start, but the coastline has no land on it",)
    return (f"carry of {_km(exposure.land_m)} over land ({_land_places(exposure)})",)


def _offshore_words(exposure: LegExposure, limits: Limits) -> list[str]:
    known = exposure.offshore_m[np.isfinite(exposure.offshore_m)]
    farthest = float(known.max()) if known.size else np.nan
    limit, notice = limits.offshore_m, limits.offshore_notice_m
    if limit is not None and farthest > limit:
        length, what = exposure.beyond_limit_m, f"beyond the limit of {limit:,.0f} m from shore"
    elif farthest > notice:
        length = exposure.beyond_notice_m
        what = f"open crossing: more than {notice:,.0f} m from shore"
    else:
        return []
    for_ = f" for {_km(length)}" if np.isfinite(length) else ""
    return [f"{what}{for_}, {_km(farthest)} at the farthest"]


def _comparison_words(comparison: OffshoreComparison, limits: Limits) -> str:
    what = "a distance" if limits.offshore_m is None else "the limit"
    return (
        f"the coastlines differ on {what} of {comparison.limit_m:,.0f} m from shore: by the "
        f"default coastline {comparison.coarse_verdict}, at most {_km(comparison.coarse_max_m)}; "
        f"by the finer one {comparison.fine_verdict}, at most {_km(comparison.fine_max_m)}"
    )


def _land_words(exposure: LegExposure, coast_error_m: float) -> str:
    words = f"crosses land for {_km(exposure.land_m)} ({_land_places(exposure)})"
    longest = max(leave - enter for enter, leave in exposure.land)
    if longest < coast_error_m:
        each = "each " if len(exposure.land) > 1 else ""
        words += f", {each}less than the coastline's nominal error of {coast_error_m:,.0f} m"
    return words


def _land_places(exposure: LegExposure) -> str:
    where = ", ".join(
        f"{_km(enter)} to {_km(leave)}" for enter, leave in exposure.land[:_STRETCHES]
    )
    rest = len(exposure.land) - _STRETCHES
    return f"from its start: {where}" + (f" and {rest} more stretches" if rest > 0 else "")


def _km(length_m: float) -> str:
    if not np.isfinite(length_m):
        return "unknown"
    return f"{length_m:,.0f} m" if length_m < 1_000 else f"{length_m / 1_000:.1f} km"

"""Sources and the forecast's age in words, the same in the terminal and under pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from routeplan._show.wording import Clock, duration

if TYPE_CHECKING:
    from routeplan.plan import Plan, Source

__all__ = ["age_words", "comparison_words", "forecast_words", "moment_of", "source_words"]

_EARLIEST, _LATEST = np.datetime64("1700", "s"), np.datetime64("2200", "s")


def source_words(source: Source) -> str:
    """One line on a source: what, how exact, from when, whose."""
    parts = [f"{source.kind}: {source.name}", f"error: {source.error}"]
    if source.date:
        age = "" if source.age_s is None else f", {age_words(source.age_s)}"
        parts.append(f"{'run' if source.kind == 'forecast' else 'data'} of {source.date}{age}")
    parts.append(source.attribution)
    if source.licence and source.licence not in source.attribution:
        parts.append(f"licence: {source.licence}")
    return "; ".join(part for part in parts if part)


def comparison_words(plan: Plan) -> str:
    """Whether the default coastline and the finer one agree; empty where there is one only."""
    compared = [c for c in plan.comparisons if c is not None]
    other = getattr(plan.coast, "coarse", None)
    if not compared or other is None:
        return ""
    words = f"coastline compared with {other.source} on {compared[0].limit_m:,.0f} m from shore"
    legs = [str(c.leg) for c in compared if c.differs]
    if not legs:
        return f"{words}: the same verdict on every leg"
    return f"{words}: another verdict on leg{'s' if len(legs) > 1 else ''} {', '.join(legs)}"


def forecast_words(plan: Plan, clock: Clock) -> str:
    """A sentence on the times of the forecast: which run, how old, from when to when."""
    covered = plan.coverage
    if covered is None:
        return ""
    source = next((s for s in plan.sources if s.kind == "forecast"), None)
    run = moment_of(covered.reference_time)
    words = "Forecast"
    if run is not None:
        words += f" of the run of {clock.moment(run)}"
        if source is not None and source.age_s is not None:
            words += f", {age_words(source.age_s)},"
    return f"{words} for {clock.moment(covered.first)} to {clock.dated(covered.last)}."


def age_words(age_s: float) -> str:
    """An age, `18 h old`."""
    return f"{duration(age_s)} old" if age_s >= 0.0 else "dated in the future"


def moment_of(text: str) -> np.datetime64 | None:
    """A moment in ISO 8601 with Z; None for any other text and for times far from ours."""
    if not text[:1].isdigit():  # numpy reads "now" and "today" as well
        return None
    try:
        moment = np.datetime64(text.removesuffix("Z"), "s")
    except ValueError:
        return None
    return moment.astype("datetime64[ns]") if _EARLIEST < moment < _LATEST else None

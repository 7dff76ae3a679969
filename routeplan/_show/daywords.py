"""The day of a stage in words: days ashore before it, the landing, the light, what stands ahead."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from routeplan._show.wording import Clock, percent
from routeplan.limits import Verdict
from routeplan.units import to_knots

if TYPE_CHECKING:
    from routeplan.stops import DayStage, Itinerary, LandingState

__all__ = ["day_words", "itinerary_words", "other_words"]

_LANDINGS = {
    Verdict.WITHIN: "sheltered enough",
    Verdict.CLOSE: "near your limit or open to swell that nobody knows",
    Verdict.BEYOND: "too rough by your limits",
}
_TRIPS = ("other direction", "round trip", "turn round")


def day_words(day: DayStage, clock: Clock, *, now: np.datetime64 | None = None) -> list[str]:
    """Sentences on the day of one stage; `now` is the time of asking."""
    lines = []
    if day.days_ashore:
        count = f"{day.days_ashore} day{'s' if day.days_ashore > 1 else ''}"
        lines.append(f"{count} ashore at {day.start.place.called} before it: {day.ashore_by}.")
    if np.isnat(day.launch):
        return [*lines, *_ahead(day, clock, now)]
    arrival = f"Arrival at {day.end.place.called} at {clock.time(day.arrive)}"
    if not np.isnat(day.last_light):
        spare = int((day.last_light - day.arrive) / np.timedelta64(1, "m"))
        arrival += f", {spare // 60} h {spare % 60:02d} min before the last light"
    lines.append(f"{arrival}; {_landing(day.landing)}")
    if day.binding == "landing":
        lines.append(f"The landing leaves {percent(day.margin)} of its limit.")
    if day.note:
        lines.append(f"Your note on {day.end.place.called}: {day.note}. Local rules come first.")
    return lines


def _ahead(day: DayStage, clock: Clock, now: np.datetime64 | None) -> list[str]:
    """From when on a forecast reaches a stage that lies beyond this one."""
    if np.isnat(day.judged_from):
        return []
    if now is not None and day.judged_from <= now:
        return ["This forecast ends too early to name its day: get a newer one."]
    when = f"{clock.day(day.judged_from)}, {clock.time(day.judged_from)}"
    return [
        "This forecast ends too early to name its day: one that begins on "
        f"{when} {clock.abbreviation(day.judged_from)} or later may reach it."
    ]


def _landing(state: LandingState) -> str:
    if state.verdict is Verdict.UNKNOWN:
        return "how sheltered the landing is then is unknown."
    wind = f"wind {to_knots(state.wind_ms):.0f} kn"
    if np.isfinite(state.wind_from_deg):
        wind += f" from {state.wind_from_deg:03.0f}° over {state.fetch_m / 1000:.1f} km of water"
    waves = f"waves of {state.wave_height_m:.1f} m" if np.isfinite(state.wave_height_m) else ""
    return (
        f"the landing then: {', '.join(filter(None, (wind, waves)))}, {_LANDINGS[state.verdict]}."
    )


def itinerary_words(plan: Itinerary) -> list[str]:
    """Sentences on a trip of several stages; none on one of a single stage that is complete."""
    if len(plan.stages) < 2 and plan.complete:
        return []
    if len(plan.stages) < 2:
        return [*plan.texts]
    if not plan.complete:
        known = sum(not np.isnat(stage.launch) for stage in plan.stages)
        return [f"{known} of {len(plan.stages)} stages can be planned.", *plan.texts]
    ashore = f", {plan.days_ashore} of them ashore" if plan.days_ashore else ""
    days = f"{plan.days} day{'s' if plan.days > 1 else ''}"
    return [f"The trip takes {days}, counted from the first you could launch on{ashore}."]


def other_words(plan: Itinerary, clock: Clock, *, trips: bool = False) -> list[str]:
    """A sentence on each plan that differs in kind; `trips` says whether others were asked for."""
    lines = []
    for other in plan.others:
        first = other.itinerary.stages[0].launch
        how = "Instead" if other.in_full else "Instead, judged roughly"
        lines.append(f"{how}: {other.text} First launch {clock.moment(first)}.")
    if trips and not any(other.kind in _TRIPS for other in plan.others):
        lines.append("No other way round begins with a good launch within this forecast.")
    return lines

"""The interactive report: one document, or its sections and data for a page that swaps them."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache, partial
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._html.answerfacts import headwind, not_judged, stage_facts
from routeplan._html.assets import SCRIPTS, STYLES, Assets
from routeplan._html.gridsvg import grid_facts
from routeplan._html.kitfacts import kit_facts
from routeplan._html.legfacts import leg_facts, limit_facts, limits_document, rose_documents
from routeplan._html.mapdata import map_document
from routeplan._html.mapsvg import map_facts
from routeplan._html.scandata import stage_document
from routeplan._html.times import time_tag, zone_document
from routeplan._show.answers import limit_words
from routeplan._show.daywords import itinerary_words, other_words
from routeplan._show.page import INVENTED
from routeplan._show.sourcewords import age_words, comparison_words, forecast_words
from routeplan._show.summary import felt_limits
from routeplan._show.wording import (
    Clock,
    compass_point,
    degrees,
    kilometres,
    knots,
    metres,
    number,
    plain,
    position,
)

if TYPE_CHECKING:
    from jinja2 import Environment

    from routeplan.plan import Plan

__all__ = ["SECTIONS", "ReportParts", "build_parts", "build_report"]

_FELT = (
    "wind", "gust", "headwind", "crosswind", "offshore_wind", "wave_height", "visibility",
)  # fmt: skip
SECTIONS = (
    "rp-head",
    "rp-answer",
    "rp-bar",
    "rp-choose",
    "rp-map",
    "rp-grid",
    "rp-day",
    "rp-rose",
    "rp-stages",
    "rp-kit",
    "rp-provisions",
    "rp-sources",
    "rp-cautions",
)
"""Element ids of the sections, in order; `templates/` has one file for each."""


@dataclass(frozen=True, slots=True)
class ReportParts:
    """A report in parts: inner HTML of each section by its element id, and the data behind it."""

    fragments: dict[str, str]
    data: dict[str, Any]


def build_parts(plan: Plan) -> ReportParts:
    """Sections and data of a plan."""
    environment, clock = _templates(), Clock(plan.zone)
    data = _data(plan, clock)
    facts = _facts(plan, clock, data)
    fragments = {
        name: environment.get_template(f"{name}.html").render(facts).strip() for name in SECTIONS
    }
    return ReportParts(fragments, data)


def build_report(
    plan: Plan, *, controls: str = "", assets: str | None = None, nonce: str | None = None
) -> str:
    """The whole document."""
    from markupsafe import Markup

    parts = build_parts(plan)
    environment = _templates()
    data = script_safe(parts.data)
    return environment.get_template("report.html").render(
        fragments={name: Markup(html) for name, html in parts.fragments.items()},
        controls=Markup(controls),
        data=Markup(data),
        title=_title(plan),
        launches=any(stage.scan is not None for stage in plan.stages),
        assets=Assets.of(assets, nonce, data),
        styles=STYLES,
        scripts=SCRIPTS,
    )


def script_safe(data: dict[str, Any]) -> str:
    """JSON that cannot end the script element it stands in, nor begin a comment there."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    for char in "<>&\u2028\u2029":
        text = text.replace(char, f"\\u{ord(char):04x}")
    return text


def _title(plan: Plan) -> str:
    return plain(plan.trip.title or plan.route.name or "Route")


@cache
def _templates() -> Environment:
    """Templates, compiled once."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("routeplan._html"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_shown,
    )
    environment.filters |= {
        "compass": compass_point,
        "course": degrees,
        "headwind": headwind,
        "km": kilometres,
        "knots": knots,
        "limit": limit_words,
        "metres": metres,
        "number": number,
        "plain": plain,
        "position": lambda it: position(it.longitude, it.latitude),
    }
    return environment


def _time(clock: Clock, when: np.datetime64, how: str = "time") -> Any:
    return time_tag(when, clock, how)


def _shown(value: Any) -> Any:
    """Text without control and direction characters, whoever wrote it."""
    return plain(value, 2_000) if type(value) is str else value


def _data(plan: Plan, clock: Clock) -> dict[str, Any]:
    times = [s.scan.outing.series.time for s in plan.stages if s.scan is not None]
    zone = {"name": plan.zone, "heading": plan.zone, "spans": []}
    if times:
        zone = zone_document(clock, min(t[0] for t in times), max(t[-1] for t in times))
    return {
        "invented": plan.invented,
        "title": _title(plan),
        "zone": zone,
        "limits": limits_document(plan.trip.limits),
        "legs": rose_documents(plan),
        "stages": [stage_document(stage) for stage in plan.stages],
        "map": map_document(plan, clock),
    }


def _facts(plan: Plan, clock: Clock, data: dict[str, Any]) -> dict[str, Any]:
    itinerary: list[str] = []
    if plan.itinerary is not None:
        itinerary = list(itinerary_words(plan.itinerary))
        itinerary += other_words(plan.itinerary, clock, trips=plan.trip.wishes.other_trips)
    covered = plan.coverage
    return {
        "plan": plan,
        "t": partial(_time, clock),
        "title": _title(plan),
        "invented": INVENTED if plan.invented else "",
        "forecast": forecast_words(plan, clock),
        "zone": "" if covered is None else clock.heading(covered.first),
        "zones_differ": covered is not None
        and clock.abbreviation(covered.first) != clock.abbreviation(covered.last),
        "itinerary": itinerary,
        "stages": [stage_facts(stage, clock, plan.trip.now) for stage in plan.stages],
        "grids": [grid_facts(i, stage, clock) for i, stage in enumerate(plan.stages)],
        "not_judged": not_judged(plan),
        "limits": limit_facts(plan.trip.limits),
        "felt": felt_limits(plan.trip.limits, _FELT),
        "legs": list(leg_facts(plan)),
        "map": map_facts(plan, data["map"]),
        "kit": kit_facts(plan.kit, clock),
        "age": age_words,
        "compared": comparison_words(plan),
        "launches": any(stage.scan is not None for stage in plan.stages),
    }

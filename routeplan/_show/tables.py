"""A plan as text for a terminal of any width: the answer first, the sources last."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from routeplan._show.answers import limit_words, stage_answer, window_launches
from routeplan._show.daywords import itinerary_words, other_words
from routeplan._show.kittable import render_kit
from routeplan._show.legdetails import leg_details
from routeplan._show.page import INVENTED, Page
from routeplan._show.sourcewords import comparison_words, forecast_words, source_words
from routeplan._show.strips import strip_legend, strip_rows
from routeplan._show.summary import summary_rows
from routeplan._show.waystable import ways_lines
from routeplan._show.wording import (
    Clock,
    compass_point,
    degrees,
    kilometres,
    number,
    percent,
)
from routeplan.limits import Verdict

if TYPE_CHECKING:
    import numpy as np
    from rich.console import Console

    from routeplan.plan import Plan, StagePlan

__all__ = ["render_legs", "render_plan"]

_VERDICT_STYLE = {
    Verdict.WITHIN: "bold",
    Verdict.CLOSE: "",
    Verdict.UNKNOWN: "dim",
    Verdict.BEYOND: "",
}


def render_plan(plan: Plan, console: Console, files: Sequence[Path] | None = None) -> None:
    """Print a plan with launches: the answer in short, then stage by stage, then the rest.

    `files` were written with it; None where nobody asks for any.
    """
    page, clock = Page(console), Clock(plan.zone)
    _title(page, plan)
    page.heading("In short")
    page.pairs(summary_rows(plan, clock, files))
    page.line()
    _forecast(page, plan, clock)
    if plan.itinerary is not None:
        trips = plan.trip.wishes.other_trips
        others = other_words(plan.itinerary, clock, trips=trips)
        for sentence in (*itinerary_words(plan.itinerary), *others):
            page.line(sentence)
    for stage in plan.stages:
        _stage(page, stage, clock, plan.trip.now)
    _not_judged(page, plan)
    _legs(page, plan)
    render_kit(page, plan.kit, clock)
    _end(page, plan, clock)


def render_legs(plan: Plan, console: Console, *, details: bool = False) -> None:
    """Print a plan's legs alone; with details, a paragraph on each beside the table."""
    page, clock = Page(console), Clock(plan.zone)
    _title(page, plan)
    _legs(page, plan)
    if details:
        page.heading("Details")
        for leg, words in zip(plan.route.legs, leg_details(plan), strict=True):
            page.item(f"leg {leg.number}:", words)
        page.line(
            "Effective fetch is weighted over the directions around the wind's; winds off the "
            "land blow off the nearest shore on half of the leg or more.",
            "dim",
            indent=2,
        )
    _end(page, plan, clock)


def _title(page: Page, plan: Plan) -> None:
    route = plan.route
    title = plan.trip.title or route.name or "Route"
    if plan.invented:
        page.line(INVENTED, "bold reverse")
    page.line(title, "bold")
    stages, legs = len(plan.stages), len(route.legs)
    counted = f"{legs} leg{'' if legs == 1 else 's'}"
    if stages > 1:
        counted += f" and {stages} stages from camp to camp"
    page.line(f"{kilometres(route.length_m, 'km')} in {counted}.")
    for warning in plan.warnings:
        page.line(f"WARNING: {warning}", "bold")


def _forecast(page: Page, plan: Plan, clock: Clock) -> None:
    coverage = plan.coverage
    if coverage is not None:
        first, last = coverage.first, coverage.last
        page.line(f"{forecast_words(plan, clock)} Times are local: {clock.heading(first)}.")
        if clock.abbreviation(first) != clock.abbreviation(last):
            page.line(
                f"The clocks change from {clock.abbreviation(first)} to "
                f"{clock.abbreviation(last)} within this forecast.",
                "bold",
            )


def _stage(page: Page, stage: StagePlan, clock: Clock, now: np.datetime64 | None) -> None:
    what = stage.stage
    page.heading(
        f"Stage {what.number}: {what.start.name} – {what.end.name}, "
        f"{kilometres(what.length_m, 'km')}"
    )
    for i, sentence in enumerate(stage_answer(stage, clock, now=now)):
        page.line(sentence, "bold" if i == 0 else "", indent=2)
    scan = stage.scan
    if scan is None or not scan.launch.size:
        return
    page.line()
    for row in strip_rows(scan, clock, page.console.width - 2):
        page.raw(row, indent=2)
    page.line(strip_legend(scan), indent=2)
    if stage.windows:
        page.line()
        _windows(page, stage, clock)
    lines = ways_lines(stage, clock)
    if lines:
        page.line()
    for line in lines:
        page.item("-", line)


def _windows(page: Page, stage: StagePlan, clock: Clock) -> None:
    table = page.table(
        ("day", "left"), ("launch", "left"), ("ashore", "left"), ("verdict", "left"),
        ("margin", "right"), ("tightest", "wrap"), ("opens", "wrap"), ("closes", "wrap"),
    )  # fmt: skip
    for window in stage.windows:
        arrival = clock.time(window.latest_arrival)
        if clock.short_day(window.latest_arrival) != clock.short_day(window.last_launch):
            arrival += f" {clock.local(window.latest_arrival):%a}"
        page.row(
            table,
            clock.short_day(window.first_launch),
            window_launches(window, clock),
            arrival,
            Verdict(window.verdict).word,
            percent(window.margin),
            limit_words(window.margin_limit),
            limit_words(window.opened_by),
            limit_words(window.closed_by),
            style=_VERDICT_STYLE[Verdict(window.verdict)],
        )
    page.show(table)


def _not_judged(page: Page, plan: Plan) -> None:
    names = {n for s in plan.stages if s.scan is not None for n in s.scan.not_judged}
    if names:
        page.console.print()
        words = ", ".join(sorted(limit_words(name) for name in names))
        page.line(f"NOT JUDGED, as the forecast has no data for it: {words}.", "bold")


def _legs(page: Page, plan: Plan) -> None:
    notice = plan.trip.limits.offshore_notice_m
    page.heading("Legs")
    table = page.table(
        ("leg", "right"), ("from – to", "wrap"), ("km", "right"), ("course", "right"),
        ("max m", "right"), ("mean m", "right"), (f">{number(notice)} m", "right"),
        ("open km", "left"),
    )  # fmt: skip
    for leg, exposure, flags in zip(plan.route.legs, plan.exposures, plan.flags, strict=True):
        fetch, direction = exposure.longest_fetch
        more = "≥" if fetch >= exposure.fetch_limit_m else ""
        page.row(
            table,
            f"{leg.number}{'!' if flags else ' '}",
            f"{leg.start.name} – {leg.end.name}",
            kilometres(leg.length_m),
            degrees(leg.course_deg),
            number(exposure.offshore_max_m),
            number(exposure.offshore_mean_m),
            number(exposure.beyond_notice_m),
            f"{compass_point(direction)} {more}{kilometres(fetch)}",
        )
    page.show(table)
    page.line(
        "Course in degrees true; largest and mean distance from shore; metres of the leg farther "
        f"from shore than {number(notice)} m; longest fetch, and where its wind comes from.",
        "dim",
        indent=2,
    )
    for leg, flags, notes in zip(plan.route.legs, plan.flags, plan.leg_notes, strict=True):
        for flag in flags:
            page.item(f"! leg {leg.number}:", flag)
        for note in notes:
            page.item(f"  leg {leg.number}:", note)


def _end(page: Page, plan: Plan, clock: Clock) -> None:
    if plan.notes:
        page.heading("Notes")
        for note in plan.notes:
            page.item("-", note)
    page.heading("Sources")
    for source in plan.sources:
        page.item("-", source_words(source))
    if compared := comparison_words(plan):
        page.item("-", compared)
    now = plan.trip.now
    if now is not None:
        page.item("-", f"worked out on {clock.dated(now)}")
    page.heading("Cautions")
    for caution in plan.cautions:
        page.item("-", caution)
    if plan.invented:
        page.line(INVENTED, "bold reverse")

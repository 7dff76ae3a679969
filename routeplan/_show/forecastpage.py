"""What a forecast file covers, as text and as a document."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan import __version__
from routeplan._show.document import coverage_document
from routeplan._show.sourcewords import age_words, moment_of
from routeplan._show.values import text, texts, utc
from routeplan._show.wording import Clock, duration, number

if TYPE_CHECKING:
    import xarray as xr
    from rich.console import Console

    from routeplan._show.page import Page
    from routeplan.forecast import Coverage
    from routeplan.route import Route

__all__ = ["ForecastFacts", "facts_of", "forecast_document", "render_forecast"]


@dataclass(frozen=True, slots=True)
class ForecastFacts:
    """What is to be said of a forecast.

    Attributes
    ----------
    covered : Coverage
    path : str
        Of the file.
    route : Route, optional
        Whose coverage is told.
    along : xarray.Dataset, optional
        The forecast about the route; without it only the grid's box is looked at.
    now : datetime64, optional
        Time of asking.
    old_after_s : float, optional
        Age from which it is called old [s]; 12 hours by default.
    """

    covered: Coverage
    path: str = ""
    route: Route | None = None
    along: xr.Dataset | None = None
    now: np.datetime64 | None = None
    old_after_s: float | None = None

    @property
    def warnings(self) -> tuple[str, ...]:
        """That it is old, or over."""
        from routeplan._plan.sources import forecast_warnings

        return forecast_warnings(self.covered, self.now, self.limit_s)

    @property
    def limit_s(self) -> float:
        """Age from which it is called old [s]."""
        from routeplan.forecast import OLD_AFTER_S

        return OLD_AFTER_S if self.old_after_s is None else self.old_after_s

    @property
    def points(self) -> tuple[int, int, int | None]:
        """Points of the route, how many lie off the grid, and how many of the others lack wind."""
        if self.route is None:
            return 0, 0, None
        lon, lat = self.route.longitude, self.route.latitude
        inside = self.covered.of_route(lon, lat).inside
        if self.along is None or not inside.any():
            return inside.size, int((~inside).sum()), None
        from routeplan.sampling import sample_series

        wind = "eastward_wind", "northward_wind"
        series = sample_series(self.along, lon[inside], lat[inside], names=wind)
        gaps = [np.isnan(series.values[name]).any(axis=(1, 2)) for name in wind]
        return inside.size, int((~inside).sum()), int((gaps[0] | gaps[1]).sum())


def facts_of(data: xr.Dataset, route: Route | None = None) -> ForecastFacts:
    """Facts of a forecast that is open, without a time of asking."""
    from routeplan.forecast import coverage

    return ForecastFacts(coverage(data), str(data.attrs.get("path", "")), route, data)


def forecast_document(facts: ForecastFacts) -> dict[str, Any]:
    """What a forecast covers; with a route, how many of its points lie on the grid."""
    covered = facts.covered
    document: dict[str, Any] = {
        "routeplan": __version__,
        "invented": covered.invented,
        "warnings": texts(facts.warnings),
        "now": None if facts.now is None else utc(facts.now),
        "forecast": {
            "title": text(covered.title),
            "source": text(covered.source),
            "attribution": text(covered.attribution),
            "licence": text(covered.licence),
            "path": text(facts.path),
            **coverage_document(covered, facts.now, facts.limit_s),
        },
    }
    if facts.route is not None:
        total, outside, gaps = facts.points
        document["route"] = {
            "name": text(facts.route.name),
            "points": total,
            "points_off_grid": outside,
            "points_without_wind": gaps,
        }
    return document


def render_forecast(facts: ForecastFacts, console: Console) -> None:
    """Print what a forecast covers, times in UTC."""
    from routeplan._show.page import INVENTED, Page

    page, covered = Page(console), facts.covered
    if covered.invented:
        page.line(INVENTED, "bold reverse")
    page.line(covered.title or facts.path or "Forecast", "bold")
    for warning in facts.warnings:
        page.line(f"WARNING: {warning}", "bold")
    table = page.table(("", "left"), ("", "wrap"))
    table.show_header = False
    for name, words in _rows(facts):
        page.row(table, name, words)
    page.show(table)
    page.heading("Holds")
    for name in covered.variables:
        page.item("-", name)
    if covered.missing:
        page.heading("Lacks")
        for name, cost in covered.missing.items():
            page.item("-", f"{name}: {cost}")
    if covered.notes:
        page.heading("Notes")
        for note in covered.notes:
            page.item("-", note)
    if facts.route is not None:
        _route(page, facts)


def _rows(facts: ForecastFacts) -> list[tuple[str, str]]:
    covered, clock = facts.covered, Clock("UTC")
    return [
        (
            "times",
            f"{clock.moment(covered.first)} to {clock.dated(covered.last)}{_steps(covered)}",
        ),
        ("run of", _run(facts)),
        ("hours ahead", _ahead(facts)),
        ("latitude", f"{number(covered.south, 3)}° to {number(covered.north, 3)}°"),
        ("longitude", f"{number(covered.west, 3)}° to {number(covered.east, 3)}°"),
        (
            "grid",
            f"{number(covered.spacing_latitude_deg, 3)}° by "
            f"{number(covered.spacing_longitude_deg, 3)}° of longitude",
        ),
        ("members", str(covered.members)),
        ("source", covered.source or "not stated"),
        ("attribution", covered.attribution or "not stated"),
        ("licence", covered.licence or "not stated"),
        ("path", facts.path or "not stated"),
    ]


def _steps(covered: Coverage) -> str:
    longest, shortest = covered.step_s, covered.shortest_step_s
    if not longest > 0.0:
        return ""
    if longest == shortest:
        return f", every {duration(longest)}"
    return f", every {duration(shortest)} to {duration(longest)}"


def _run(facts: ForecastFacts) -> str:
    run = moment_of(facts.covered.reference_time)
    if run is None:
        return "not stated"
    words = Clock("UTC").moment(run)
    if facts.now is not None:
        words += f", {age_words(facts.covered.age_s(facts.now))}"
    return words


def _ahead(facts: ForecastFacts) -> str:
    if facts.now is None:
        return duration(facts.covered.horizon_s)
    left = float((facts.covered.last - facts.now) / np.timedelta64(1, "s"))
    return f"{duration(left)} from now" if left > 0.0 else "none: the forecast is over"


def _route(page: Page, facts: ForecastFacts) -> None:
    assert facts.route is not None
    total, outside, gaps = facts.points
    page.heading(f"Route {facts.route.name}")
    if outside:
        page.line(f"{outside} of {total} points of the route lie off the grid.", "bold", 2)
    else:
        page.line(f"All {total} points of the route lie on the grid.", indent=2)
    if gaps:
        page.line(f"{gaps} of its points have no wind at some hours.", "bold", 2)
    elif gaps == 0 and not outside:
        page.line("There is wind at all of them, at all hours.", indent=2)

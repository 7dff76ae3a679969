"""What a forecast file covers, as text and as a document."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from routeplan import __version__
from routeplan._document import coverage_document
from routeplan._wording import Clock, duration, number, plain

if TYPE_CHECKING:
    import xarray as xr
    from rich.console import Console

    from routeplan.route import Route

__all__ = ["forecast_document", "render_forecast"]

_ATTRIBUTES = ("title", "source", "attribution", "licence", "path")


def forecast_document(data: xr.Dataset, route: Route | None = None) -> dict[str, Any]:
    """What a forecast covers; with a route, how many of its points lie on the grid."""
    from routeplan.forecast import coverage

    document: dict[str, Any] = {
        "routeplan": __version__,
        "invented": data.attrs.get("invented") == "yes",
        "forecast": {
            **{name: plain(data.attrs.get(name, ""), 1_000) for name in _ATTRIBUTES},
            **coverage_document(coverage(data)),
        },
    }
    if route is not None:
        total, outside = _points(data, route)
        document["route"] = {
            "name": plain(route.name),
            "points": total,
            "points_off_grid": outside,
        }
    return document


def render_forecast(data: xr.Dataset, console: Console, route: Route | None = None) -> None:
    """Print what a forecast covers, times in UTC."""
    from routeplan._page import INVENTED, Page
    from routeplan.forecast import coverage

    page, clock, covered = Page(console), Clock("UTC"), coverage(data)
    if data.attrs.get("invented") == "yes":
        page.line(INVENTED, "bold reverse")
    page.line(data.attrs.get("title") or data.attrs.get("path") or "Forecast", "bold")
    table = page.table(("", "left"), ("", "wrap"))
    table.show_header = False
    step = f", at most {duration(covered.step_s)} apart" if covered.step_s > 0 else ""
    rows = [
        ("times", f"{clock.moment(covered.first)} to {clock.moment(covered.last)}{step}"),
        ("run of", covered.reference_time or "not stated"),
        ("latitude", f"{number(covered.south, 3)}° to {number(covered.north, 3)}°"),
        ("longitude", f"{number(covered.west, 3)}° to {number(covered.east, 3)}°"),
        ("members", str(covered.members)),
        *((name, data.attrs.get(name) or "not stated") for name in _ATTRIBUTES[1:]),
    ]
    for name, words in rows:
        page.row(table, name, words)
    page.show(table)
    page.heading("Holds")
    for name in covered.variables:
        page.item("-", name)
    if covered.missing:
        page.heading("Lacks")
        for name, cost in covered.missing.items():
            page.item("-", f"{name}: {cost}")
    if route is not None:
        total, outside = _points(data, route)
        page.heading(f"Route {route.name}")
        if outside:
            page.line(f"{outside} of {total} points of the route lie off the grid.", "bold", 2)
        else:
            page.line(f"All {total} points of the route lie on the grid.", indent=2)


def _points(data: xr.Dataset, route: Route) -> tuple[int, int]:
    """Points of the route, and how many of them the grid does not reach."""
    from routeplan.sampling import sample_series

    inside = sample_series(data, route.longitude, route.latitude, names=("eastward_wind",)).inside
    return int(inside.size), int((~inside).sum())

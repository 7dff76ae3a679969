"""A plan in words for people and as a document for programs. Nothing is computed here.

document = plan_document(plan)          # a dict of plain values; docs/json.md has the keys
sys.stdout.write(document_text(document))
render_plan(plan, rich.console.Console())
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from routeplan._show.document import legs_document, plan_document

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import xarray as xr
    from rich.console import Console

    from routeplan._html.build import ReportParts
    from routeplan.plan import Plan
    from routeplan.route import Route

__all__ = [
    "document_text",
    "forecast_document",
    "legs_document",
    "plan_document",
    "render_forecast",
    "render_legs",
    "render_plan",
    "report_assets",
    "report_html",
    "report_parts",
]


def document_text(document: dict[str, Any]) -> str:
    """A document as JSON text that ends in a line feed.

    Raises
    ------
    ValueError
        If nan or infinity has got into it: what is unknown must be null.
    """
    members = (f"{_json(key)}: {_value_text(value)}" for key, value in document.items())
    return "{\n" + ",\n".join(members) + "\n}\n"


def _value_text(value: Any) -> str:
    """A value on one line, but a list of objects with one object to a line."""
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return "[\n" + ",\n".join(map(_json, value)) + "\n]"
    return _json(value)


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def render_plan(plan: Plan, console: Console, files: Sequence[Path] | None = None) -> None:
    """Print a plan: the answer in short, each stage in full, then what that rests on.

    `files` are those written with it, told at the top; None says nothing of files.
    """
    from routeplan._show import tables as _tables  # rich loads here, for those who want text only

    _tables.render_plan(plan, console, files)


def render_legs(plan: Plan, console: Console, *, details: bool = False) -> None:
    """Print the legs of a plan alone: no forecast is needed.

    With `details` a paragraph on each leg follows: effective fetch, winds that blow off the
    land, stretches far from shore and the nearest shore.
    """
    from routeplan._show import tables as _tables

    _tables.render_legs(plan, console, details=details)


def forecast_document(data: xr.Dataset, route: Route | None = None) -> dict[str, Any]:
    """What a forecast covers; with a route, how many of its points lie on the grid."""
    from routeplan._show import forecastpage as _forecastpage

    return _forecastpage.forecast_document(_forecastpage.facts_of(data, route))


def render_forecast(data: xr.Dataset, console: Console, route: Route | None = None) -> None:
    """Print what a forecast covers, in UTC, and whether a route lies on its grid."""
    from routeplan._show import forecastpage as _forecastpage

    _forecastpage.render_forecast(_forecastpage.facts_of(data, route), console)


def report_html(
    plan: Plan, *, controls: str = "", assets: str | None = None, nonce: str | None = None
) -> str:
    """The interactive report as one HTML document; `docs/report.md` describes it.

    Parameters
    ----------
    plan : Plan
    controls : str
        HTML of your own that is put after the answer as it is: whoever gives it vouches for it.
    assets : str, optional
        Where a server has the files of `report_assets`, such as "/static/"; None puts everything
        into the document, which then opens without a network.
    nonce : str, optional
        Of every style and script, for the policy of whoever serves the document. Without one the
        document states its own policy in a meta element.
    """
    from routeplan._html import build as _build  # jinja2 loads here, for those who want a page

    return _build.build_report(plan, controls=controls, assets=assets, nonce=nonce)


def report_parts(plan: Plan) -> ReportParts:
    """The report in parts: inner HTML of each section by its element id, and its data.

    `window.routeplanReport.update({fragments, data})` in the report swaps them in place.
    """
    from routeplan._html import build as _build

    return _build.build_parts(plan)


def report_assets() -> dict[str, Path]:
    """Styles and scripts of the report by the names under which it asks a server for them."""
    from routeplan._html import assets as _assets

    return _assets.asset_files()

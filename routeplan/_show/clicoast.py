"""`routeplan coast`: finer coastlines for the surroundings of a route."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, Any

import typer

from routeplan._show.clioptions import (
    BoxText,
    JsonFlag,
    Offline,
    RouteOption,
    Select,
    quantity,
    surroundings,
)
from routeplan._show.console import emit_document, emit_text, progress_line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.console import Console

    from routeplan._show.page import Page
    from routeplan.coastsource import CoastSource

__all__ = ["app"]

app = typer.Typer(help="Get finer coastlines, and list them.", rich_markup_mode=None)


@app.callback()
def _coast() -> None:
    """Get finer coastlines, and list them."""


@app.command("get")
def get(
    route: RouteOption = None,
    box: BoxText = None,
    select: Select = None,
    margin: Annotated[
        str, typer.Option("--margin", metavar='"10 km"', help="How far to go beyond it.")
    ] = "10 km",
    name: Annotated[
        str | None, typer.Option("--name", metavar="NAME", help="Name to keep it under.")
    ] = None,
    server: Annotated[
        str | None,
        typer.Option("--server", metavar="URL", help="Server that speaks the Overpass protocol."),
    ] = None,
    error: Annotated[
        str | None,
        typer.Option(
            "--error", metavar='"50 m"', help="Error of position to assume; else unknown."
        ),
    ] = None,
    offline: Offline = False,
    force: Annotated[
        bool, typer.Option("--force", help="Ask the server again whatever is there.")
    ] = False,
    json: JsonFlag = False,
) -> None:
    """Download the OpenStreetMap coast around a route; plans there then prefer it."""
    from routeplan import coastsource

    bounds = surroundings(route, box, select)
    margin_m = quantity("--margin", margin, "length", least=0.0)
    error_m = math.nan if error is None else quantity("--error", error, "length", least=0.0)
    with progress_line() as tell:

        def progress(done: int, total: int | None) -> None:
            assert tell is not None
            tell(f"fetching the coast, {done / 1e6:.1f} MB", done / total if total else None)

        source = coastsource.get_source(
            bounds,
            margin_m=margin_m,
            name=name,
            server=coastsource.DEFAULT_SERVER if server is None else server,
            offline=offline,
            force=force,
            nominal_error_m=error_m,
            progress=None if tell is None else progress,
        )
    if json:
        emit_document(_document([source]))
        return
    emit_text(lambda console: _render([source], (), console))


@app.command("list")
def list_(json: JsonFlag = False) -> None:
    """List the coastlines that were got, newest data first."""
    from routeplan import coastsource

    sources, faults = coastsource.list_sources()
    if json:
        emit_document(_document(sources, faults))
        return
    emit_text(lambda console: _render(sources, faults, console))


def _document(sources: Sequence[CoastSource], faults: Sequence[str] = ()) -> dict[str, Any]:
    from routeplan import __version__
    from routeplan._plan.sources import COAST_CAUTION
    from routeplan._show.values import texts

    return {
        "routeplan": __version__,
        "cautions": texts([COAST_CAUTION]),
        "coasts": [_entry(source) for source in sources],
        "faults": texts(faults),
    }


def _entry(source: CoastSource) -> dict[str, Any]:
    from routeplan._show.values import rounded, text, texts

    about = source.about
    west, south, east, north = source.bounds
    return {
        "name": text(about.name),
        "date": text(about.date) or None,
        "fetched": text(about.fetched) or None,
        "server": text(about.server),
        "licence": text(about.licence),
        "attribution": text(about.attribution),
        "nominal_error_m": rounded(source.nominal_error_m, 1),
        "west_deg": rounded(west, 5),
        "south_deg": rounded(south, 5),
        "east_deg": rounded(east, 5),
        "north_deg": rounded(north, 5),
        "points": about.points,
        "notes": texts(about.notes),
        "path": str(source.path),
    }


def _render(sources: Sequence[CoastSource], faults: Sequence[str], console: Console) -> None:
    from routeplan._plan.sources import COAST_CAUTION
    from routeplan._show.page import Page

    page = Page(console)
    for source in sources:
        _describe(page, source)
    if not sources:
        page.line("There is no coastline but the default one; `routeplan coast get` gets one.")
    for fault in faults:
        page.item("!", fault, indent=0)
    page.line(COAST_CAUTION, "dim")


def _describe(page: Page, source: CoastSource) -> None:
    about = source.about
    page.line(source.words, "bold")
    error = about.nominal_error_m
    page.item("-", f"error: {'unknown' if error is None else f'{error:,.0f} m, as given'}")
    page.item("-", f"{about.points:,} points of shoreline, fetched {about.fetched}")
    page.item("-", about.attribution)
    for note in about.notes:
        page.item("-", note)
    page.item("-", f"kept in {source.path}")

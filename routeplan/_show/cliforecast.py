"""`routeplan forecast`: get forecasts, look into files; and how commands open one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from routeplan._provider.given import beside, open_given
from routeplan._show.clioptions import (
    BoxText,
    Force,
    JsonFlag,
    Offline,
    OldAfter,
    RouteOption,
    Select,
    moment,
    now,
    quantity,
    route_of,
    surroundings,
)
from routeplan._show.console import Tell, emit_document, emit_text, progress_line
from routeplan.errors import CoverageError, InputError

if TYPE_CHECKING:
    import numpy as np
    import xarray as xr

    from routeplan._show.clioptions import Bounds
    from routeplan.providers import DownloadedForecast
    from routeplan.route import Route

__all__ = ["BaseUrl", "Hours", "Members", "Wanted", "app", "fetch", "fetching"]

_MOST_HOURS = 384.0  # the longest of the services reaches 16 days

app = typer.Typer(help="Get forecasts, and look into files.", rich_markup_mode=None)

Hours = Annotated[float, typer.Option("--hours", metavar="N", help="How many hours are needed.")]
Members = Annotated[bool, typer.Option("--members", help="All members of the ensemble.")]
BaseUrl = Annotated[
    str | None,
    typer.Option("--base-url", metavar="URL", help="Another server of the same kind."),
]


@app.callback()
def _forecast() -> None:
    """Get forecasts, and look into files."""


@app.command("get")
def get(
    provider: Annotated[
        str, typer.Option("--provider", metavar="NAME", help="Which service: gfs, gefs, ecmwf.")
    ],
    route: RouteOption = None,
    box: BoxText = None,
    select: Select = None,
    start: Annotated[
        str | None,
        typer.Option("--start", metavar="TIME", help="2026-07-14T06:00Z; now by default."),
    ] = None,
    hours: Hours = 72.0,
    members: Members = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="Copy it there as well.")
    ] = None,
    offline: Offline = False,
    base_url: BaseUrl = None,
    old_after: OldAfter = "12 h",
    force: Force = False,
    json: JsonFlag = False,
) -> None:
    """Download an open forecast for the surroundings of a route, no more than is needed."""
    from routeplan._show import forecastgot as _forecastgot
    from routeplan._show.outputs import check_outputs, write_outputs

    bounds = surroundings(route, box, select)
    old_after_s = quantity("--old-after", old_after, "time", least=0.0)
    begin = moment("--start", start)
    targets = () if out is None else (out, out.with_name(f"{out.name}.json"))
    check_outputs(targets, overwrite=force)
    found = fetch(Wanted(provider, hours, members, offline, base_url), bounds, begin)
    if targets:
        contents = dict(zip(targets, (found.paths[0], found.sidecar), strict=True))
        write_outputs(contents, overwrite=force)
    got = _forecastgot.Got(found, targets or found.paths, now(), old_after_s)
    if json:
        emit_document(_forecastgot.got_document(got))
        return
    emit_text(lambda console: _forecastgot.render_got(got, console))


@app.command("show")
def show(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="NetCDF, GRIB or Zarr forecast.")],
    route: Annotated[
        Path | None, typer.Option("--route", metavar="GPX", help="Say whether it covers a route.")
    ] = None,
    select: Select = None,
    old_after: OldAfter = "12 h",
    json: JsonFlag = False,
) -> None:
    """Say what a forecast file covers, how old it is, and what it lacks."""
    from routeplan._show import forecastpage as _forecastpage
    from routeplan.forecast import inspect_forecast

    old_after_s = quantity("--old-after", old_after, "time", least=0.0)
    line = None if route is None else route_of(route, select)
    facts = _forecastpage.ForecastFacts(
        replace(inspect_forecast(file), **beside(file)),
        str(file),
        line,
        None if line is None else _along(file, line),
        now(),
        old_after_s,
    )
    if json:
        emit_document(_forecastpage.forecast_document(facts))
        return
    emit_text(lambda console: _forecastpage.render_forecast(facts, console))


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which forecast is to be fetched."""

    provider: str
    hours: float
    members: bool
    offline: bool
    base_url: str | None


def fetch(wanted: Wanted, bounds: Bounds, begin: np.datetime64) -> DownloadedForecast:
    """Fetch a forecast, telling how far it is where a person is looking."""
    import numpy as np

    from routeplan.providers import get_forecast

    if not 1.0 <= wanted.hours <= _MOST_HOURS:
        msg = f"--hours: {wanted.hours:g} is not allowed; allowed are 1 to {_MOST_HOURS:g}"
        raise InputError(msg, field="--hours", value=wanted.hours)
    with progress_line() as tell:
        return get_forecast(
            wanted.provider,
            bounds=bounds,
            start=begin,
            end=begin + np.timedelta64(round(wanted.hours * 3600.0), "s"),
            members=wanted.members,
            offline=wanted.offline,
            base_url=wanted.base_url,
            now=now(),
            progress=fetching(tell),
        )


def fetching(tell: Tell | None) -> Callable[[str, int, int], None] | None:
    """How a download tells of itself; None where nobody is looking."""
    if tell is None:
        return None

    def progress(what: str, done: int, total: int) -> None:
        tell(f"fetching {what}", done / total if total else None)

    return progress


def _along(path: Path, line: Route) -> xr.Dataset | None:
    """The forecast about a route; None where it does not reach it."""
    try:
        return open_given(path, line.bounds)
    except CoverageError:
        return None

"""The command line: read, plan, render. Everything it says comes from a `Plan`.

Exit status: 0 computed, whatever the verdict; 2 input, coverage or usage, one line on standard
error and nothing on standard output; 1 a bug; 130 interrupted.
"""

from __future__ import annotations

import contextlib
import logging
import os
import sys
import traceback
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from routeplan import __version__
from routeplan._provider.given import open_given
from routeplan._show import clicoast as _clicoast
from routeplan._show import cliforecast as _cliforecast
from routeplan._show import clipage as _clipage
from routeplan._show.clidays import (
    At,
    Depart,
    HomeBy,
    Others,
    Party,
    PlacesFile,
    Position,
    Reach,
    days_settings,
    rest_settings,
)
from routeplan._show.cliforecast import BaseUrl, Hours, Members, Wanted, fetch, fetching
from routeplan._show.clikit import GroupFile, RulesFile, kit_settings
from routeplan._show.clioptions import (
    CoastError,
    CoastFile,
    Force,
    JsonFlag,
    LimitsFile,
    Offline,
    OldAfter,
    OutDirectory,
    RouteFile,
    Select,
    check_png,
    craft_of,
    limits_of,
    named,
    now,
    own_coast,
    quantity,
    route_of,
)
from routeplan._show.console import (
    emit_document,
    emit_text,
    plan_with_progress,
    progress_line,
    write,
)
from routeplan._show.delivery import GisFile, check_targets, deliver, write_legs
from routeplan._show.wording import Clock, fit, plain
from routeplan.errors import InputError, RouteplanError

if TYPE_CHECKING:
    import xarray as xr

    from routeplan.route import Route

__all__ = ["main", "run"]

_INTERRUPTED = 130  # 128 + SIGINT, as shells have it

# What is logged on the way is in a plan's notes; it would only spoil standard error.
logging.getLogger("routeplan").addHandler(logging.NullHandler())

app = typer.Typer(
    help="Trip planning for paddlers: what a route commits you to and when to launch.",
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
app.add_typer(_cliforecast.app, name="forecast")
app.add_typer(_clicoast.app, name="coast")
app.command("page")(_clipage.page)


def main() -> None:
    """Run the command line and leave with its exit status."""
    sys.stdout = sys.stdout or Path(os.devnull).open("w")  # noqa: SIM115 - closed by the shell
    sys.stderr = sys.stderr or sys.stdout
    if not sys.warnoptions:  # what matters for the trip is said in the plan's notes
        warnings.simplefilter("ignore")
    raise SystemExit(run(sys.argv[1:]))


def run(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit status."""
    try:
        command = typer.main.get_command(app)
        code = command.main(list(arguments), prog_name="routeplan", standalone_mode=False)
        sys.stdout.flush()
    except RouteplanError as error:
        return _fail(str(error))
    except BrokenPipeError:
        _forget_output()
    except (KeyboardInterrupt, typer.Abort):
        return _INTERRUPTED
    except Exception as error:
        if hasattr(error, "format_message"):  # how the option parser tells a usage error
            return _fail(_usage(error))
        _fail(f"this is a bug in routeplan {__version__}: {type(error).__name__}: {error}")
        traceback.print_exc()
        return 1
    else:
        return code if isinstance(code, int) else 0
    return 0


def _fail(message: str) -> int:
    line = fit(f"routeplan: {plain(message, 1_500)}", sys.stderr.encoding or "ascii")
    with contextlib.suppress(OSError):  # nobody is listening
        sys.stderr.write(line + "\n")
        sys.stderr.flush()
    return 2


def _usage(error: Any) -> str:
    """A usage error on one line, with what is allowed at that place."""
    message = str(error.format_message())
    context = getattr(error, "ctx", None)
    if context is None:
        return message
    command = context.command
    names = sorted(getattr(command, "commands", {}))
    if names:
        return f"{message} Allowed: {', '.join(names)} (see {context.command_path} --help)"
    options = [max(p.opts, key=len) for p in command.params if p.param_type_name == "option"]
    if hasattr(error, "possibilities"):  # an option that there is not
        message += f"; allowed: {', '.join(options)}"
    return f"{message} (see {context.command_path} --help)"


def _forget_output() -> None:
    """Let the rest of the output go nowhere once its reader has left."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _version(wanted: bool) -> None:
    if wanted:
        write(f"routeplan {__version__}\n", "utf-8")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Trip planning for paddlers: what a route commits you to and when to launch."""


@app.command()
def demo(
    out: OutDirectory = None, gis: GisFile = None, json: JsonFlag = False, force: Force = False
) -> None:
    """Plan the built-in, invented trip: the whole job."""
    from routeplan._plan.compiling import compile_ahead

    compile_ahead()
    from routeplan._demo.builtin import demo_trip

    targets = check_targets(out, gis, force)
    deliver(plan_with_progress(demo_trip()), targets, json=json)


@app.command()
def legs(
    route: RouteFile,
    select: Select = None,
    limits: LimitsFile = None,
    coast: CoastFile = None,
    coast_error: CoastError = None,
    details: Annotated[
        bool, typer.Option("--details", help="More on each leg: fetch, winds off the land.")
    ] = False,
    json: JsonFlag = False,
    map_file: Annotated[
        Path | None, typer.Option("--map", metavar="FILE.png", help="Draw a map there.")
    ] = None,
    gis: GisFile = None,
    force: Force = False,
) -> None:
    """Say what each leg commits you to: length, course, distance from shore, fetch, land."""
    from routeplan.plan import Trip

    if map_file is not None:
        check_png(map_file, force)
    check_targets(None, gis, force)
    line = route_of(route, select)
    trip = Trip(line, coast=own_coast(coast, coast_error), limits=limits_of(limits), now=now())
    plan = plan_with_progress(trip)
    written = write_legs(plan, map_file, gis, overwrite=force)
    from routeplan.report import legs_document, render_legs

    if json:
        emit_document(legs_document(plan, written))
    else:
        emit_text(lambda console: render_legs(plan, console, details=details))


@app.command()
def trip(
    file: Annotated[Path, typer.Argument(metavar="TRIP.toml", help="Your trip, see docs/trip.md.")],
    out: OutDirectory = None,
    gis: GisFile = None,
    offline: Offline = False,
    base_url: BaseUrl = None,
    json: JsonFlag = False,
    force: Force = False,
) -> None:
    """Plan a trip from its file: everything."""
    from routeplan._plan.compiling import compile_ahead

    targets = check_targets(out, gis, force)
    compile_ahead()
    from routeplan.tripfile import read_trip

    with progress_line() as tell:
        asked = read_trip(
            file, now=now(), offline=offline, base_url=base_url, progress=fetching(tell)
        )
    deliver(plan_with_progress(asked), targets, json=json)


@app.command()
def windows(
    route: RouteFile,
    forecast: Annotated[
        Path | None,
        typer.Option("--forecast", metavar="FILE", help="NetCDF, GRIB or Zarr forecast."),
    ] = None,
    get: Annotated[
        str | None,
        typer.Option("--get", metavar="NAME", help="Or get it: gfs, gefs, ecmwf."),
    ] = None,
    hours: Hours = 72.0,
    members: Members = False,
    offline: Offline = False,
    base_url: BaseUrl = None,
    old_after: OldAfter = "12 h",
    limits: LimitsFile = None,
    select: Select = None,
    coast: CoastFile = None,
    coast_error: CoastError = None,
    craft: Annotated[
        str, typer.Option("--craft", metavar="NAME", help="What the slowest paddles.")
    ] = "touring board",
    speed: Annotated[
        str | None,
        typer.Option("--speed", metavar='"6 km/h"', help="Its loaded speed in still water."),
    ] = None,
    step: Annotated[
        str, typer.Option("--step", metavar='"30 min"', help="Time between launches tried.")
    ] = "30 min",
    zone: Annotated[
        str | None,
        typer.Option("--zone", metavar="NAME", help="Zone of local times, Europe/Stockholm."),
    ] = None,
    places: PlacesFile = None,
    reach: Reach = None,
    depart: Depart = None,
    home_by: HomeBy = None,
    party: Party = None,
    position: Position = None,
    at: At = None,
    others: Others = False,
    group: GroupFile = None,
    rules: RulesFile = None,
    json: JsonFlag = False,
    out: OutDirectory = None,
    gis: GisFile = None,
    force: Force = False,
) -> None:
    """Say when you can launch, what closes the window, and how sure that is."""
    from routeplan._plan.compiling import compile_ahead

    targets = check_targets(out, gis, force)
    compile_ahead()
    from routeplan.plan import Trip

    if zone is not None:
        with named("--zone"):
            Clock(zone)
    wanted = None if get is None else Wanted(get, hours, members, offline, base_url)
    settings: dict[str, Any] = {
        "craft": craft_of(craft, speed),
        "launch_step_s": quantity("--step", step, "time", least=60.0, most=86_400.0),
        "old_after_s": quantity("--old-after", old_after, "time", least=0.0),
        "limits": limits_of(limits),
        **kit_settings(group, rules),
    }
    days = days_settings(places, reach, depart, home_by, party, others)
    line, days = rest_settings(route_of(route, select), days, position, at)
    trip = Trip(
        line,
        coast=own_coast(coast, coast_error),
        forecast=_forecast_of(line, forecast, wanted),
        zone=zone,
        now=now(),
        **settings,
        **days,
    )
    deliver(plan_with_progress(trip), targets, json=json)


def _forecast_of(line: Route, path: Path | None, wanted: Wanted | None) -> xr.Dataset:
    """The forecast of a file, or one that is fetched."""
    if (path is None) == (wanted is None):
        msg = "either --forecast FILE or --get NAME is needed, and only one of them"
        raise InputError(msg, field="--forecast")
    if wanted is not None:
        path = fetch(wanted, line.bounds, now()).paths[0]
    assert path is not None
    return open_given(path, line.bounds)


if __name__ == "__main__":
    main()

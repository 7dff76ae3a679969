"""Options that commands share, and how their values are read."""

from __future__ import annotations

import contextlib
import datetime
import math
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from routeplan._show.outputs import check_outputs
from routeplan._show.wording import plain
from routeplan.errors import InputError
from routeplan.units import parse_quantity, range_words

if TYPE_CHECKING:
    import numpy as np

    from routeplan.coastline import Coastline
    from routeplan.limits import Limits
    from routeplan.propulsion import Craft
    from routeplan.route import Route

__all__ = [
    "BoxText",
    "CoastError",
    "CoastFile",
    "Force",
    "JsonFlag",
    "LimitsFile",
    "Offline",
    "OldAfter",
    "OutDirectory",
    "RouteFile",
    "RouteOption",
    "Select",
    "check_png",
    "craft_of",
    "limits_of",
    "moment",
    "named",
    "now",
    "own_coast",
    "quantity",
    "route_of",
    "surroundings",
]

Bounds = tuple[float, float, float, float]

RouteFile = Annotated[Path, typer.Argument(metavar="ROUTE.gpx", help="GPX file with the route.")]
RouteOption = Annotated[
    Path | None, typer.Option("--route", metavar="GPX", help="Around this route.")
]
BoxText = Annotated[
    str | None,
    typer.Option("--box", metavar="W,S,E,N", help="Or around this box, in degrees."),
]
Select = Annotated[
    str | None,
    typer.Option("--select", metavar="NAME|NUMBER", help="Which route or track of the file."),
]
LimitsFile = Annotated[
    Path | None, typer.Option("--limits", metavar="FILE", help="Your limits, TOML.")
]
CoastFile = Annotated[
    Path | None,
    typer.Option(
        "--coast",
        metavar="FILE",
        help="Coastline of your own; default: one got by `coast get`, or else GSHHG.",
    ),
]
CoastError = Annotated[
    float | None,
    typer.Option("--coast-error", metavar="M", help="Nominal error of that coastline, metres."),
]
JsonFlag = Annotated[bool, typer.Option("--json", help="One JSON document on standard output.")]
Force = Annotated[bool, typer.Option("--force", help="Overwrite files that exist.")]
Offline = Annotated[
    bool, typer.Option("--offline", help="Take only what has been downloaded before.")
]
OldAfter = Annotated[
    str,
    typer.Option("--old-after", metavar='"12 h"', help="Age from which a forecast is old."),
]
OutDirectory = Annotated[
    Path | None, typer.Option("--out", metavar="DIR", help="Write pictures and the plan there.")
]


def route_of(path: Path, select: str | None) -> Route:
    """Read the route of a file, chosen by name or number."""
    from routeplan.gpx import read_gpx

    chosen = int(select) if select is not None and select.isdecimal() else select
    return read_gpx(path, select=chosen)


def surroundings(route: Path | None, box: str | None, select: str | None) -> Bounds:
    """West, south, east, north of the route or the box; exactly one of them must be given."""
    if (route is None) == (box is None):
        msg = "either --route GPX or --box W,S,E,N is needed, and only one of them"
        raise InputError(msg, field="--box")
    if route is not None:
        return route_of(route, select).bounds
    assert box is not None
    parts = box.split(",")
    try:
        west, south, east, north = (float(part) for part in parts)
    except ValueError:
        msg = f"--box: {plain(box, 60)!r} is not W,S,E,N: four numbers in degrees, commas between"
        raise InputError(msg, field="--box", value=box) from None
    good = abs(west) <= 180.0 and abs(east) <= 180.0 and -90.0 <= south <= north <= 90.0
    if not good:
        msg = (
            f"--box: {plain(box, 60)!r} is no box; allowed are west and east in -180..180 (west "
            "above east crosses 180) and south not above north in -90..90"
        )
        raise InputError(msg, field="--box", value=box)
    return west, south, east, north


def limits_of(path: Path | None) -> Limits:
    """The user's limits, or the default ones."""
    from routeplan.limits import Limits, read_limits

    return Limits() if path is None else read_limits(path)


def own_coast(path: Path | None, error_m: float | None) -> Coastline | None:
    """Coastline of a file of the user's; None without one."""
    if path is None:
        if error_m is not None:
            msg = "--coast-error: needs --coast FILE; the error of the default coastline is known"
            raise InputError(msg, field="--coast-error", value=error_m)
        return None
    if error_m is not None and not 0.0 <= error_m <= 100_000.0:
        msg = f"--coast-error: {error_m} m is not allowed; allowed are 0 to 100,000 m"
        raise InputError(msg, field="--coast-error", value=error_m)
    from routeplan.coastline import Coastline

    return Coastline.from_file(path, nominal_error_m=error_m)


def quantity(
    option: str, text: str, dimension: str, *, least: float = -math.inf, most: float = math.inf
) -> float:
    """A quantity with its unit, in SI, from `least` to `most`."""
    with named(option):
        value = parse_quantity(text, dimension)
    if not least <= value <= most:
        allowed = range_words(least, most, dimension)
        msg = f"{option}: {plain(text, 60)!r} is out of range; allowed is {allowed}"
        raise InputError(msg, field=option, value=text)
    return value


@contextlib.contextmanager
def named(*options: str, **of_field: str) -> Iterator[None]:
    """Begin what is refused inside with the option that it came from.

    That is the one of the field refused (`reach_m="--reach"`), or else the first of `options`.
    """
    try:
        yield
    except InputError as error:
        option = of_field.get(error.field or "", options[0] if options else "")
        if not option:
            raise
        msg = f"{option}: {error}"
        raise InputError(msg, field=option, value=error.value) from None


def craft_of(name: str, speed: str | None) -> Craft:
    """The craft of that name, with the user's own speed in still water."""
    from routeplan.propulsion import craft

    with named("--craft"):
        it = craft(name)
    if speed is None:
        return it
    value = quantity("--speed", speed, "speed")
    with named("--speed"):
        return craft(name, still_water_speed_ms=value)


def now() -> np.datetime64:
    """The present, UTC."""
    import numpy as np

    return np.datetime64("now", "ns")


def moment(option: str, text: str | None) -> np.datetime64:
    """A time in ISO 8601 with its zone, as UTC; the present for None."""
    import numpy as np

    if text is None:
        return now()
    try:
        when = datetime.datetime.fromisoformat(text)
        if when.tzinfo is None:
            raise ValueError
        utc = when.astimezone(datetime.UTC).replace(tzinfo=None)
        if not 1900 <= utc.year <= 2200:  # in nanoseconds, years before 1678 come round as others
            raise ValueError
    except (ValueError, OverflowError):
        msg = (
            f"{option}: {plain(text, 60)!r} is no time with a zone; allowed are times such as "
            "2026-07-14T06:00Z or 2026-07-14T08:00+02:00"
        )
        raise InputError(msg, field=option, value=text) from None
    return np.datetime64(utc, "ns")


def check_png(path: Path, force: bool) -> None:
    """Refuse a path that no picture can be written to."""
    if path.suffix.lower() != ".png":
        msg = f"--map: {plain(path)} does not end in .png; a PNG picture is what is drawn"
        raise InputError(msg, field="--map", path=path)
    check_outputs([path], overwrite=force)

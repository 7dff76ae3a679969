"""Options for trips of several days, and how their values are read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from routeplan._show.clioptions import moment, named, quantity
from routeplan._show.wording import plain
from routeplan.errors import InputError

if TYPE_CHECKING:
    from routeplan.route import Route

__all__ = [
    "At",
    "Depart",
    "HomeBy",
    "Others",
    "Party",
    "PlacesFile",
    "Position",
    "Reach",
    "days_settings",
    "rest_settings",
]

PlacesFile = Annotated[
    Path | None,
    typer.Option(
        "--places", metavar="FILE", help="Camps to choose from: GPX, CSV, GeoJSON or OGR layer."
    ),
]
Reach = Annotated[
    str | None, typer.Option("--reach", metavar='"25 km"', help="Longest stage of a day.")
]
Depart = Annotated[
    str | None, typer.Option("--depart", metavar="TIME", help="Earliest first launch, with zone.")
]
HomeBy = Annotated[
    str | None, typer.Option("--home-by", metavar="TIME", help="When to be home by, with zone.")
]
Party = Annotated[
    int | None, typer.Option("--party", metavar="N", help="How many sleep at a camp.")
]
Position = Annotated[
    str | None,
    typer.Option("--from", metavar="LAT,LON", help="Plan the rest of the route from there."),
]
At = Annotated[
    str | None,
    typer.Option("--at", metavar="TIME", help="When the group is there, with zone; default: now."),
]
Others = Annotated[
    bool,
    typer.Option("--others", help="Also: the other way round, there and back, turning at a camp."),
]


def days_settings(
    places: Path | None,
    reach: str | None,
    depart: str | None,
    home_by: str | None,
    party: int | None,
    others: bool = False,
) -> dict[str, Any]:
    """What a trip is told of its days."""
    from routeplan.stops import StageWishes, read_places

    given: dict[str, Any] = {
        "reach_m": None if reach is None else quantity("--reach", reach, "length"),
        "depart": None if depart is None else moment("--depart", depart),
        "home_by": None if home_by is None else moment("--home-by", home_by),
    }
    found = () if places is None else read_places(places)
    with named(reach_m="--reach", party="--party", home_by="--home-by"):
        wishes = StageWishes(**given, party=party, other_trips=others)
    return {"places": found, "wishes": wishes}


def rest_settings(
    route: Route, days: dict[str, Any], position: str | None, at: str | None
) -> tuple[Route, dict[str, Any]]:
    """The route and its days from where and when the group is; as they are without `--from`."""
    from routeplan.stops import rest_of_trip

    if position is None:
        if at is not None:
            msg = "--at: needs --from LAT,LON, where the group is at that time"
            raise InputError(msg, field="--at", value=at)
        return route, days
    if days["wishes"].depart is not None:
        msg = "--depart: not with --from; --at TIME says from when the rest can be launched"
        raise InputError(msg, field="--depart")
    if days["wishes"].other_trips:
        msg = "--others: not with --from; a group on its way cannot begin at the other end"
        raise InputError(msg, field="--others")
    when = moment("--at", at)
    latitude, longitude = _position(position)
    with named("--from"):
        rest, places, wishes = rest_of_trip(
            route,
            days["places"],
            longitude=longitude,
            latitude=latitude,
            when=when,
            wishes=days["wishes"],
        )
    return rest, {**days, "places": places, "wishes": wishes}


def _position(text: str) -> tuple[float, float]:
    try:
        latitude, longitude = (float(part) for part in text.split(","))
    except ValueError:
        msg = f"--from: {plain(text, 60)!r} is not LAT,LON: two numbers in degrees, a comma between"
        raise InputError(msg, field="--from", value=text) from None
    return latitude, longitude

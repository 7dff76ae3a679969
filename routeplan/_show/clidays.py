"""Options for trips of several days, and how their values are read."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from routeplan._show.clioptions import moment, quantity

__all__ = ["Depart", "HomeBy", "Party", "PlacesFile", "Reach", "days_settings"]

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


def days_settings(
    places: Path | None,
    reach: str | None,
    depart: str | None,
    home_by: str | None,
    party: int | None,
) -> dict[str, Any]:
    """What a trip is told of its days."""
    from routeplan.stops import StageWishes, read_places

    return {
        "places": () if places is None else read_places(places),
        "wishes": StageWishes(
            reach_m=None if reach is None else quantity("--reach", reach, "length"),
            depart=None if depart is None else moment("--depart", depart),
            home_by=None if home_by is None else moment("--home-by", home_by),
            party=party,
        ),
    }

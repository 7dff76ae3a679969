"""A trip as a TOML file: the route, the forecast, and everything it is judged by.

    trip = read_trip("trip.toml", now=np.datetime64("now"))
    plan = plan_trip(trip)

`docs/trip.md` has every table and key with an example.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._kit.file import Entry, KitFile, read_kit_file
from routeplan._trip.entries import one, path_of, position_of, time_of
from routeplan._trip.parts import (
    coast_of,
    crafts_of,
    limits_of,
    pace_of,
    picked_of,
    places_of,
    trip_of,
    wishes_of,
)
from routeplan.errors import InputError
from routeplan.gpx import read_gpx
from routeplan.plan import Trip
from routeplan.stops import rest_of_trip

if TYPE_CHECKING:
    import xarray as xr

    from routeplan.route import Route

__all__ = ["read_trip"]

_KINDS = ("trip", "route", "forecast", "coast", "limits", "craft", "pace", "wishes", "places",
          "group", "person", "bag", "spare", "rules", "ashore", "picked")  # fmt: skip
_INLINE = ("person", "bag", "spare")  # of a group that stands in the trip's file
_HOURS = (1.0, 384.0)  # the longest of the services reaches 16 days

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class _Fetching:
    """How a forecast is got, where the file names a service."""

    now: np.datetime64
    offline: bool
    base_url: str | None
    progress: Progress | None


def read_trip(
    path: str | Path,
    *,
    now: np.datetime64 | None = None,
    offline: bool = False,
    base_url: str | None = None,
    progress: Progress | None = None,
) -> Trip:
    """Read a trip and everything that its file names.

    Parameters
    ----------
    path : str or Path
        At most 256 kB. The files it names lie in its folder or below.
    now : datetime64, optional
        Time of asking, UTC: see `Trip.now`. A forecast is got from then on, from the present when
        None.
    offline, base_url, progress
        As for `routeplan.providers.get_forecast`, where the file names a service.

    Returns
    -------
    Trip

    Raises
    ------
    InputError
        In one line: file, line, what is wrong, what is allowed; also of the files it names.
    CoverageError, DownloadError
        A forecast that does not touch the route, or cannot be got.
    """
    file = read_kit_file(path, _KINDS)
    settings = {
        **trip_of(file),
        "limits": limits_of(file),
        "craft": crafts_of(file),
        "pace": pace_of(file),
        "picked": picked_of(file),
        **_kit(file),
        "ashore": _ashore(file),
    }
    route, places, wishes = _route(file)
    begin = np.datetime64("now", "ns") if now is None else now
    return Trip(
        route,
        coast=coast_of(file),
        forecast=_forecast(file, route, _Fetching(begin, offline, base_url, progress)),
        places=places,
        wishes=wishes,
        now=now,
        **settings,
    )


def _required(file: KitFile, kind: str, how: str) -> Entry:
    entry = one(file, kind)
    if entry is None:
        msg = f"{file.path}: there is no table [{kind}]; a trip needs one: {how}"
        raise InputError(msg, field=kind, path=file.path)
    return entry


def _route(file: KitFile) -> tuple[Route, Any, Any]:
    """The route, or the rest of it from where the group is, with places and wishes."""
    entry = _required(file, "route", 'file = "route.gpx"')
    entry.check_keys(("file", "select", "from", "at"))
    if "at" in entry.table and "from" not in entry.table:
        entry.fail("at", 'needs from = "LAT, LON", where the group is at that time')
    select = entry.table.get("select")
    if select is not None and (isinstance(select, bool) or not isinstance(select, (str, int))):
        entry.fail("select", "must be the name or the number of a route or track of the file")
    route = read_gpx(path_of(entry), select=select)
    places, wishes = places_of(file), wishes_of(file)
    key = "from"
    if key not in entry.table:
        return route, places, wishes
    when = time_of(entry, "at")
    if when is None:
        entry.fail("at", "is missing; say when the group is there")
    if wishes.depart is not None or wishes.other_trips:
        entry.fail("from", "cannot stand with depart or others; at says from when the rest goes")
    longitude, latitude = position_of(entry, "from")
    try:
        return rest_of_trip(
            route, places, longitude=longitude, latitude=latitude, when=when, wishes=wishes
        )
    except InputError as error:
        why = f"cannot be used: {error}"
        raise entry.error(key, why) from None


def _forecast(file: KitFile, route: Route, how: _Fetching) -> xr.Dataset:
    from routeplan._provider.given import open_given

    entry = _required(file, "forecast", 'file = "forecast.nc", or get = "gfs"')
    entry.check_keys(("file", "get", "hours", "members"))
    if ("file" in entry.table) == ("get" in entry.table):
        entry.fail("file", "or get is needed, and only one of them")
    if "file" in entry.table:
        for key in ("hours", "members"):
            if key in entry.table:
                entry.fail(key, "goes with get; a file has what it has")
        return open_given(path_of(entry), route.bounds)
    from routeplan.providers import PROVIDERS, get_forecast  # loads the means to fetch

    found = get_forecast(
        entry.choice("get", tuple(PROVIDERS)),
        bounds=route.bounds,
        start=how.now,
        end=how.now + np.timedelta64(round(_hours(entry) * 3600.0), "s"),
        members=bool(entry.flag("members")),
        offline=how.offline,
        base_url=how.base_url,
        now=how.now,
        progress=how.progress,
    )
    return open_given(found.paths[0], route.bounds)


def _hours(entry: Entry) -> float:
    low, high = (hours * 3600.0 for hours in _HOURS)
    return entry.quantity("hours", "time", low, high, 72.0 * 3600.0) / 3600.0


def _kit(file: KitFile) -> dict[str, Any]:
    """The group, of a file or in this one, and the user's rules."""
    group, rules = one(file, "group"), one(file, "rules")
    inline = [kind for kind in _INLINE if kind in file.tables]
    if group is None and not inline:
        if rules is not None:
            rules.fail("file", "needs a table [group]; rules are asked for a group")
        return {}
    from routeplan._kit.group import group_of
    from routeplan.rules import read_group, read_rules

    own = None
    if rules is not None:
        rules.check_keys(("file",))
        own = read_rules(path_of(rules))
    if group is not None and "file" in group.table:
        others = [*inline, *(key for key in group.table if key != "file")]
        if others:
            group.fail("file", f"cannot stand beside {others[0][:60]}; give the file, or the group")
        return {"group": read_group(path_of(group)), "kit_rules": own}
    tables = {kind: file.tables[kind] for kind in ("group", *_INLINE) if kind in file.tables}
    return {"group": group_of(KitFile(file.path, file.lines, tables)), "kit_rules": own}


def _ashore(file: KitFile) -> Any:
    """Who is told ashore: [ashore] of this file, or else of the group's."""
    from routeplan._plan.ashoretable import ashore_from, read_ashore

    if one(file, "ashore") is not None:
        return ashore_from(file.tables["ashore"], file.path, "\n".join(file.lines))
    group = one(file, "group")
    if group is not None and "file" in group.table:
        return read_ashore(path_of(group))
    return None

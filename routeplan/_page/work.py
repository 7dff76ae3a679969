"""What a worker does for its trip: read the files, plan, write the answer and the files out.

The working directory is that of the trip and all names are relative to it, so that no message
and no document tells of this machine's directories.
"""

from __future__ import annotations

import functools
import json
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._page.config import FILES
from routeplan._page.deliver import deliver, render, windows_words, write_answer
from routeplan._page.form import LIMIT_ROWS, Settings
from routeplan._page.quantity import ashore_of, ashore_texts, craft_of, limits_of, quantity
from routeplan._show.wording import plain
from routeplan.errors import GPXError, InputError

if TYPE_CHECKING:
    import xarray as xr

    from routeplan.plan import Ashore, Plan, Trip
    from routeplan.route import Route

__all__ = ["Work"]

_MOST_LISTED = 200
_DECODE_S = 60.0
_DECODE_BYTES = 3_000_000_000

Progress = Callable[[str, float | None], None]


class Work:
    """The trip of one directory, with what was read for it before."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._plan: Plan | None = None
        self._planned: str = ""
        self._forecast: tuple[str, xr.Dataset | None] = ("", None)

    def warm_up(self) -> None:
        """Do all that can be done before any trip is known."""
        # Decoders and what writes the files out are used later, but loaded once for all.
        import netCDF4  # noqa: F401

        import routeplan.charts
        import routeplan.providers  # noqa: F401

        order = {"source": "demo", "names": {}, "settings": Settings().order()}
        self._answer(order, _silent)
        assert self._plan is not None
        for name in ("page.html", "parts.json"):
            render(self._plan, {"name": name, "slot": "", "nonce": "x"})

    def do(self, job: dict[str, Any], progress: Progress) -> dict[str, Any]:
        """Do a job: "plan" writes the answer into a directory, "file" one file out."""
        if job["do"] == "file":
            plan, _ = self._answer(job, progress)
            return {"bytes": deliver(plan, job, self._folder / job["out"])}
        try:
            plan, settings = self._answer(job, progress)
        except GPXError as error:
            if error.field != "select":
                raise
            return {"choose": _choices()}
        facts = write_answer(plan, job, self._folder / job["out"])
        return {
            "limits": settings.limits,
            "explicit": sorted(settings.explicit),
            "ashore": settings.ashore,
            **facts,
        }

    def _answer(self, job: dict[str, Any], progress: Progress) -> tuple[Plan, Settings]:
        """The plan for these settings, made anew unless it is the last one."""
        from routeplan.plan import plan_trip

        settings = _settings(job)
        key = json.dumps([job["source"], settings.order()], sort_keys=True)
        if self._plan is None or self._planned != key:
            self._plan = None  # it is large, and there need not be two
            trip = self._trip(job, settings, progress)
            self._plan = plan_trip(
                trip,
                progress=progress,
                known=lambda zone, stages: progress(windows_words(zone, stages), None),
            )
            self._planned = key
        return self._plan, settings

    def _trip(self, job: dict[str, Any], settings: Settings, progress: Progress) -> Trip:
        from routeplan.plan import Trip

        own: dict[str, Any] = {
            "limits": limits_of(settings),
            "craft": craft_of(settings),
            "launch_step_s": quantity("Time between launches tried", settings.step, "time"),
            "picked": {
                number: np.datetime64(when.removesuffix("Z"), "ns")
                for number, when in settings.picked.items()
            },
        }
        own["ashore"] = ashore_of(settings, _ashore_file(job))
        if job["source"] == "demo":
            return replace(_demo(), **own)
        progress("reading the route", None)
        route = _route(job, settings.select)
        progress("reading the forecast", None)
        return Trip(
            route,
            forecast=self._read_forecast(job, route, progress),
            now=np.datetime64(job["now"], "ns"),
            **_kit(job),
            **own,
        )

    def _read_forecast(
        self, job: dict[str, Any], route: Route, progress: Progress
    ) -> xr.Dataset | None:
        """The forecast about the route, decoded once as long as the route stays the same."""
        key = json.dumps([job.get("get"), route.bounds])
        if self._forecast[0] != key:
            self._forecast = ("", None)
            self._forecast = (key, _forecast(job, route, progress))
        return self._forecast[1]


def _silent(*_: object) -> None:
    """Take no notice."""


@functools.cache
def _demo() -> Trip:
    """The built-in trip, read once and shared by all who look at it."""
    from routeplan._demo.builtin import demo_trip

    trip = demo_trip()
    assert trip.forecast is not None
    named = Path(trip.forecast.attrs["path"]).name
    return replace(
        trip,
        route=replace(trip.route, source=Path(trip.route.source).name),
        forecast=trip.forecast.assign_attrs(path=named),
    )


def _settings(job: dict[str, Any]) -> Settings:
    """The settings of a job; limits that nobody has read yet are read from the file, if any."""
    given = dict(job["settings"])
    given["picked"] = {int(number): when for number, when in given["picked"].items()}
    given["explicit"] = frozenset(given["explicit"])
    settings = Settings(**given)
    if settings.limits is not None:
        return settings
    settings = replace(settings, ashore=ashore_texts(_ashore_file(job)))
    table = _limit_texts(job)
    limits = {row.name: table.get(row.name, row.default) for row in LIMIT_ROWS}
    return replace(settings, limits=limits, explicit=frozenset(table))


def _ashore_file(job: dict[str, Any]) -> Ashore | None:
    """What the file of the group says of who is told ashore."""
    from routeplan._plan.ashoretable import read_ashore

    if job["source"] == "demo":
        from routeplan._demo.files import demo_group_file

        return read_ashore(demo_group_file())
    return read_ashore(Path(FILES["group"].stored)) if "group" in job["names"] else None


def _limit_texts(job: dict[str, Any]) -> dict[str, str]:
    """Texts of the limits in the trip's file, empty for "none"; nothing without a file."""
    from routeplan.limits import read_limits

    if job["source"] == "demo":
        from routeplan._demo.files import demo_files

        path = demo_files().limits
    elif "limits" in job["names"]:
        path = Path(FILES["limits"].stored)
    else:
        return {}
    read_limits(path)  # refuses what cannot be used
    table = tomllib.loads(path.read_text("utf-8-sig"))["limits"]
    return {name: "" if _is_none(text) else str(text) for name, text in table.items()}


def _is_none(text: str) -> bool:
    return text.strip().lower() == "none"


def _choices() -> list[str]:
    """Names of the routes of the trip's file."""
    from routeplan.gpx import list_routes

    return [plain(name, 100) for name in list_routes(FILES["route"].stored)[:_MOST_LISTED]]


def _route(job: dict[str, Any], select: int | None) -> Route:
    """The route of the file; one without a name is called as the user called the file."""
    from routeplan.gpx import read_gpx

    stored = Path(FILES["route"].stored)
    route = read_gpx(stored, select=select)
    own = plain(job["names"]["route"], 100)
    name = Path(own).stem if route.name == stored.stem else route.name
    return replace(route, name=name, source=own)


def _forecast(job: dict[str, Any], route: Route, progress: Progress) -> xr.Dataset | None:
    from routeplan.forecast import open_forecast_guarded

    limits: dict[str, Any] = {"time_limit_s": _DECODE_S, "memory_limit": _DECODE_BYTES}
    if job.get("get"):
        return _fetched(job, route, progress, limits)
    if "forecast" not in job["names"]:
        return None
    data = open_forecast_guarded(FILES["forecast"].stored, bounds=route.bounds, **limits)
    return data.assign_attrs(path=plain(job["names"]["forecast"], 100))


def _fetched(
    job: dict[str, Any], route: Route, progress: Progress, limits: dict[str, Any]
) -> xr.Dataset:
    """A forecast from a service, with its licence."""
    from routeplan.forecast import open_forecast_guarded
    from routeplan.providers import get_forecast

    wanted = job["get"]
    hours = quantity("Hours of forecast", wanted["hours"], "time") / 3600.0
    if not 1.0 <= hours <= 384.0:
        msg = f"Hours of forecast: {hours:g} is not allowed; allowed are 1 to 384"
        raise InputError(msg, field="hours")

    def tell(what: str, done: int, total: int) -> None:
        progress(f"fetching {what}", done / total if total else None)

    begin = np.datetime64(job["now"], "s")
    found = get_forecast(
        wanted["provider"],
        bounds=route.bounds,
        start=begin,
        end=begin + np.timedelta64(round(hours * 3600.0), "s"),
        members=bool(wanted["members"]),
        progress=tell,
    )
    progress("reading the forecast", None)
    data = open_forecast_guarded(found.paths, bounds=route.bounds, **limits)
    return data.assign_attrs(
        path=f"{found.provider} forecast",
        source=found.title,
        reference_time=f"{found.run}Z",
        attribution=found.attribution,
        licence=found.licence,
    )


def _kit(job: dict[str, Any]) -> dict[str, Any]:
    from routeplan.rules import read_group, read_rules

    names = job["names"]
    if "group" not in names:
        if "rules" in names:
            msg = "kit rules are asked for a group: send the file of the group as well"
            raise InputError(msg, field="rules")
        return {}
    rules = read_rules(Path(FILES["rules"].stored)) if "rules" in names else None
    return {"group": read_group(Path(FILES["group"].stored)), "kit_rules": rules}

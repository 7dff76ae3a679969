"""Camps, days and launch times chosen for a route. Public through `stops`."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from routeplan._stages.ahead import itinerary
from routeplan._stages.choice import Itinerary
from routeplan._stages.grid import Ground, stage_hops
from routeplan._stages.hops import Hops, StageWishes
from routeplan._stages.place import Place
from routeplan._stages.placelanding import landing_sea
from routeplan._stages.placeline import Stop, camps_on_line, cut_line
from routeplan.errors import InputError
from routeplan.limits import Limits
from routeplan.propulsion import Craft, craft
from routeplan.simulation import Pace, Path, path_along
from routeplan.thermal import wind_chill_msc2001
from routeplan.waves import with_sea
from routeplan.wind import wind_speed

if TYPE_CHECKING:
    import xarray as xr

    from routeplan.coastline import Coastline
    from routeplan.route import Route
    from routeplan.sampling import PointSeries
    from routeplan.sun import DaylightSpells

__all__ = ["StageTable", "choose_stages", "stage_table"]

TimeArray = NDArray[np.datetime64]

_MOST_PLACES = 200


@dataclass(frozen=True, slots=True, eq=False)
class StageTable:
    """Every stage of a route judged; what a choice is made from.

    `ground` holds places, line and weather, `hops` the stages, `not_judged` the default limits of
    which the forecast says nothing, `run` the beginning of the forecast.
    """

    ground: Ground
    hops: Hops
    wishes: StageWishes
    limits: Limits
    not_judged: tuple[str, ...]
    run: np.datetime64

    def best(self) -> Itinerary:
        """The cheapest plan, or how far one comes and why not farther."""
        return itinerary(self.hops, self.ground, self.wishes, self.run)


def choose_stages(
    route: Route,
    places: Sequence[Place],
    forecast: xr.Dataset,
    *,
    coast: Coastline | None = None,
    crafts: Sequence[Craft] = (),
    limits: Limits | None = None,
    wishes: StageWishes | None = None,
    pace: Pace | None = None,
    launch_step_s: float = 900.0,
) -> Itinerary:
    """Choose where to sleep, on which days to go and when to launch.

    Parameters
    ----------
    route : Route
        Its line is used; camps on it are no more than others unless they are among `places`.
    places : sequence of Place
        Camps to choose from; other kinds are left alone.
    forecast : xarray.Dataset
        As `routeplan.forecast.open_forecast` gives it.
    coast : Coastline, optional
        The default one when None.
    crafts : sequence of Craft
        The group; a touring board when empty.
    limits, wishes, pace : optional
        Defaults of their classes when None.
    launch_step_s : float
        Time between the launches tried. [s]

    Returns
    -------
    Itinerary

    Raises
    ------
    InputError
        In one line: no camp, one too far from the line, two at one spot, a day's reach shorter
        than the stage it would take, or an end before the start.

    Notes
    -----
    The plan is the cheapest by `StageWeights` over all camps, days and launches tried. Each
    stage is paddled in steps of a kilometre, with speed and margin read linearly between forecast
    hours; `routeplan.plan` paddles and judges the stages once more in full. Nobody looks at the
    weather on the ways between the line and camps beside it.
    """
    return stage_table(
        route,
        places,
        forecast,
        coast=coast,
        crafts=crafts,
        limits=limits,
        wishes=wishes,
        pace=pace,
        launch_step_s=launch_step_s,
    ).best()


def stage_table(
    route: Route,
    places: Sequence[Place],
    forecast: xr.Dataset,
    *,
    coast: Coastline | None = None,
    crafts: Sequence[Craft] = (),
    limits: Limits | None = None,
    wishes: StageWishes | None = None,
    pace: Pace | None = None,
    launch_step_s: float = 900.0,
    step_m: float = 1_000.0,
    need_camps: bool = True,
) -> StageTable:
    """Judge every stage there could be; see `choose_stages`.

    `step_m` is that of the path [m]; `need_camps` says whether there must be a camp.
    """
    limits, wishes = limits or Limits(), wishes or StageWishes()
    camps = camps_on_line(route, places, off_line_m=wishes.off_line_m, needed=need_camps)
    stops = (_end(route, first=True), *camps, _end(route, first=False))
    _check(stops, wishes)
    ground = _ground(
        route,
        stops,
        forecast,
        coast,
        tuple(crafts) or (craft("touring board"),),
        limits,
        wishes,
        pace or Pace(),
        step_m,
    )
    launch = _launches(ground.series.time, launch_step_s)
    _check_times(launch, wishes)
    hops, not_judged = stage_hops(ground, limits, wishes, launch)
    return StageTable(ground, hops, wishes, limits, not_judged, ground.series.time[0])


def _end(route: Route, *, first: bool) -> Stop:
    point = route.points[0 if first else -1]
    name = point.name or ("start" if first else "end")
    place = Place(point.latitude, point.longitude, name, "landing", note=point.note)
    return Stop(place, 0.0 if first else route.length_m)


def _check(stops: Sequence[Stop], wishes: StageWishes) -> None:
    """Refuse what no weather can make a plan of."""
    if len(stops) > _MOST_PLACES:
        msg = f"{len(stops)} places to stop at are too many, at most {_MOST_PLACES} are allowed"
        raise InputError(msg, field="places", value=len(stops))
    taking = [
        stop
        for stop in stops[1:-1]
        if wishes.party is None
        or stop.place.capacity is None
        or stop.place.capacity >= wishes.party
    ]
    on_way = [stops[0], *taking, stops[-1]]
    for here, there in itertools.pairwise(on_way):
        length = there.along_m - here.along_m + here.off_m + there.off_m
        if wishes.reach_m is not None and length > wishes.reach_m:
            msg = (
                f"a day's reach of {wishes.reach_m / 1000:.1f} km is shorter than any stage from "
                f"{here.place.called}: to {there.place.called} it is {length / 1000:.1f} km"
            )
            raise InputError(msg, field="reach_m", value=wishes.reach_m)


def _launches(time: TimeArray, step_s: float) -> TimeArray:
    if not 60.0 <= step_s <= 86_400.0:
        msg = f"launch step {step_s:g} s is not usable: allowed are 1 minute to 1 day"
        raise InputError(msg, field="launch_step_s", value=step_s)
    step = np.timedelta64(round(step_s), "s")
    return np.arange(time[0], time[-1] + np.timedelta64(1, "s"), step).astype("datetime64[ns]")


def _check_times(launch: TimeArray, wishes: StageWishes) -> None:
    first, last = (np.datetime_as_string(when, unit="m") for when in (launch[0], launch[-1]))
    if wishes.home_by is not None and wishes.home_by <= launch[0]:
        by = np.datetime_as_string(wishes.home_by, unit="m")
        msg = f"home by {by}Z lies before the forecast, which runs from {first}Z to {last}Z"
        raise InputError(msg, field="home_by", value=wishes.home_by)


def _ground(
    route: Route,
    stops: tuple[Stop, ...],
    forecast: xr.Dataset,
    coast: Coastline | None,
    crafts: tuple[Craft, ...],
    limits: Limits,
    wishes: StageWishes,
    pace: Pace,
    step_m: float,
) -> Ground:
    """Line, weather and light of a choice."""
    from routeplan.coastline import Coastline
    from routeplan.sampling import sample_series  # needs xarray, which legs must not wait for

    shore = coast if coast is not None else Coastline.default()
    length = route.length_m
    legs = cut_line(route, [min(stop.along_m, length) for stop in stops])
    path = path_along(legs, shore, step_m=step_m)
    series = _completed(sample_series(forecast, path.longitude, path.latitude), path)
    landing = landing_sea(
        [stop.place for stop in stops],
        shore,
        forecast,
        wave_m=wishes.landing_wave_m,
        wind_ms=wishes.landing_wind_ms,
        close_share=limits.close_share,
    )
    return Ground(
        stops,
        replace(path, fetch_rose_m=None),
        series,
        landing,
        _daylight(stops, series.time) if limits.daylight_margin_s is not None else None,
        crafts,
        shore.nominal_error_m,
        pace,
    )


def _completed(series: PointSeries, path: Path) -> PointSeries:
    """Series with the sea that counts and the wind chill, as a scan of launches has it."""
    values = dict(series.values)
    if "air_temperature" in values:
        speed = wind_speed(values["eastward_wind"], values["northward_wind"])
        values["wind_chill_temperature"] = wind_chill_msc2001(values["air_temperature"], speed)
    series = replace(series, values=values)
    return series if path.fetch_rose_m is None else with_sea(series, path.fetch_rose_m)


def _daylight(stops: Sequence[Stop], time: TimeArray) -> tuple[DaylightSpells, ...]:
    """Civil daylight at every place through the forecast."""
    from routeplan.sun import civil_daylight  # astral is slow to load

    return tuple(
        civil_daylight(stop.place.longitude, stop.place.latitude, time[0], time[-1])
        for stop in stops
    )

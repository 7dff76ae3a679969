"""The one facade: `plan_trip(Trip) -> Plan`.

The command line, the page and notebooks all call this and get the same answer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.limitnotes import limit_notes
from routeplan._plan.answer import Plan, StagePlan
from routeplan._plan.ashoretable import Ashore
from routeplan._plan.coast import ChosenCoast, choose_coast, compare_coasts
from routeplan._plan.compiling import compile_ahead
from routeplan._plan.days import launch_index, plan_days, route_with_camps
from routeplan._plan.kit import check_kit, kit_of, with_own_water
from routeplan._plan.legflags import flags_of, leg_notes, offshore_verdict
from routeplan._plan.sources import (
    CAUTIONS,
    Source,
    coast_source,
    coverage_notes,
    forecast_source,
    forecast_warnings,
    portage_notes,
)
from routeplan._plan.trip import Trip
from routeplan.coastline import Coastline
from routeplan.errors import CoverageError, InputError
from routeplan.exposure import LegExposure, route_exposure
from routeplan.route import Route
from routeplan.stops import Itinerary, Stage, stages_of

if TYPE_CHECKING:
    import xarray as xr

    from routeplan._kit.plan import KitPlan
    from routeplan._plan.ashore import TripSheet
    from routeplan.forecast import Coverage
    from routeplan.leeway import WeatherGrid
    from routeplan.sun import DaylightSpells
    from routeplan.windows import LaunchScan

__all__ = ["CAUTIONS", "Ashore", "Plan", "Source", "StagePlan", "Trip", "plan_trip"]

Progress = Callable[[str, float], None]
Known = Callable[[str, tuple[StagePlan, ...]], None]


def plan_trip(trip: Trip, *, progress: Progress | None = None, known: Known | None = None) -> Plan:
    """Answer a trip.

    Parameters
    ----------
    trip : Trip
    progress : callable, optional
        Called with a few words and the share done, 0 to 1.
    known : callable, optional
        Called with the zone and the stages as soon as their windows and launches are known, before
        ways out, kit and sheet are worked out. Not called without a forecast.

    Raises
    ------
    InputError
        If the whole route lies on land, or a setting of the trip cannot be used.
    CoverageError
        If the forecast touches the route nowhere.
    """
    if not trip.crafts:
        msg = "a trip needs at least one craft"
        raise InputError(msg, field="craft")
    tell = progress or _silent
    compile_ahead(passages=trip.forecast is not None)
    tell("reading the coastline", 0.0)
    chosen = choose_coast(trip.coast, trip.route)
    coast, error_m = chosen.coast, chosen.coast.nominal_error_m
    trip = with_own_water(trip)
    trip = replace(trip, route=route_with_camps(trip, coast))
    check_kit(trip)
    tell("measuring the legs", 0.2)
    exposures = route_exposure(
        trip.route,
        coast,
        spacing_m=trip.spacing_m,
        notice_m=trip.limits.offshore_notice_m,
        limit_m=np.inf if trip.limits.offshore_m is None else trip.limits.offshore_m,
    )
    _refuse_dry_route(trip.route, exposures)
    comparisons = compare_coasts(trip.route, coast, trip.limits, trip.spacing_m)
    zone = trip.zone or _zone_at(trip.route)
    stages, coverage, itinerary = _stages(
        trip, coast, exposures, tell, (lambda stages: known(zone, stages)) if known else _silent
    )
    kit = kit_of(trip, exposures, stages)
    sheet = _sheet(trip, stages, exposures, coast, kit)
    tell("done", 1.0)
    return Plan(
        trip=trip,
        coast=coast,
        exposures=exposures,
        flags=flags_of(exposures, trip.limits, error_m, comparisons),
        leg_notes=tuple(leg_notes(e) for e in exposures),
        offshore_verdicts=tuple(offshore_verdict(e, trip.limits, error_m) for e in exposures),
        comparisons=comparisons,
        stages=stages,
        coverage=coverage,
        zone=zone,
        warnings=forecast_warnings(coverage, trip.now, trip.old_after_s),
        notes=_notes(trip, chosen, exposures, coverage),
        cautions=CAUTIONS,
        sources=_sources(trip, chosen, coverage),
        invented=trip.invented or _is_invented(trip.forecast),
        kit=kit,
        itinerary=itinerary,
        sheet=sheet,
    )


def _silent(*_: object) -> None:
    """Take no notice."""


def _sheet(
    trip: Trip,
    stages: tuple[StagePlan, ...],
    exposures: tuple[LegExposure, ...],
    coast: Coastline,
    kit: KitPlan | None,
) -> TripSheet | None:
    """What is left ashore, where there is a weather to plan by or somebody to leave it with."""
    if trip.forecast is None and trip.ashore is None:
        return None
    from routeplan._plan.ashore import sheet_of  # legs alone need none of it

    return sheet_of(trip, stages, exposures, coast=coast, kit=kit)


def _refuse_dry_route(route: Route, exposures: tuple[LegExposure, ...]) -> None:
    if all(e.land_m >= 0.999 * leg.length_m for leg, e in zip(route.legs, exposures, strict=True)):
        msg = (
            f"{route.source or 'the route'}: the whole route lies on land by this coastline; "
            "check longitude and latitude, or give a coastline that shows this water"
        )
        raise InputError(msg, field="route", path=route.source or None)


def _stages(
    trip: Trip,
    coast: Coastline,
    exposures: tuple[LegExposure, ...],
    tell: Progress,
    known: Callable[[tuple[StagePlan, ...]], None],
) -> tuple[tuple[StagePlan, ...], Coverage | None, Itinerary | None]:
    stages = stages_of(trip.route)
    if trip.forecast is None:
        return tuple(StagePlan(stage) for stage in stages), None, None
    # Reading and scanning forecasts needs xarray, which legs alone must not wait for.
    from routeplan.forecast import coverage
    from routeplan.leeway import WeatherGrid
    from routeplan.windows import find_windows

    covered = coverage(trip.forecast)
    launch = _launch_times(covered, trip.launch_step_s, trip.now)
    out: list[StagePlan] = []
    scans: list[LaunchScan] = []
    light = [_daylight(stage, launch) for stage in stages]
    weather = WeatherGrid.from_forecast(trip.forecast)
    for stage, daylight in zip(stages, light, strict=True):
        tell(f"paddling stage {stage.number} of {len(stages)}", 0.4 + 0.6 * len(out) / len(stages))
        scan = _scan_of(trip, stage, coast, exposures, launch, daylight, weather)
        scans.append(scan)
        path, windows = scan.outing.path, find_windows(scan)
        out.append(StagePlan(stage, path, scan, windows, daylight=daylight[0]))
    if not any(np.isfinite(scan.wind_ms).any() for scan in scans):
        msg = _not_covered(trip, covered)
        raise CoverageError(msg, bounds=(covered.west, covered.south, covered.east, covered.north))
    days = plan_days(trip, stages, scans, light, coast)
    timed = tuple(
        replace(sp, best=launch_index(scan, day), day=day)
        for sp, scan, day in zip(out, scans, days.stages, strict=True)
    )
    known(timed)
    told = tuple(_with_ways_out(stage, trip, coast, weather) for stage in timed)
    return told, covered, days


def _with_ways_out(
    stage: StagePlan, trip: Trip, coast: Coastline, weather: WeatherGrid
) -> StagePlan:
    """The stage with the ways out of its proposed launch, if there is one."""
    from routeplan._plan.bail import ways_out

    if stage.scan is None or stage.best is None:
        return stage
    ways = ways_out(stage.scan, stage.best, weather, trip.crafts, coast=coast)
    return replace(stage, turn_back=ways.turn_back, landings=ways.landings, drift=ways.drift)


def _scan_of(
    trip: Trip,
    stage: Stage,
    coast: Coastline,
    exposures: tuple[LegExposure, ...],
    launch: NDArray[Any],
    daylight: tuple[DaylightSpells, DaylightSpells],
    weather: WeatherGrid,
) -> LaunchScan:
    from routeplan._plan.bail import series_adrift
    from routeplan._plan.path import path_of
    from routeplan.sampling import sample_series
    from routeplan.windows import scan_launches

    assert trip.forecast is not None
    path = path_of(stage, exposures)
    series = sample_series(trip.forecast, path.longitude, path.latitude)
    if trip.limits.drift_s is not None:
        limit_s = trip.limits.drift_s
        series = series_adrift(series, path, weather, trip.crafts, coast=coast, limit_s=limit_s)
    return scan_launches(
        path,
        series,
        trip.crafts,
        trip.limits,
        launch,
        daylight=daylight,
        stage=stage.number,
        leg_numbers=[leg.number for leg in stage.legs],
        coast_error_m=coast.nominal_error_m,
        pace=trip.pace,
    )


def _daylight(stage: Stage, launch: NDArray[Any]) -> tuple[DaylightSpells, DaylightSpells]:
    """Civil daylight where a stage starts and where it ends."""
    from routeplan.sun import civil_daylight

    start, end = stage.start, stage.end
    return (
        civil_daylight(start.longitude, start.latitude, launch[0], launch[-1]),
        civil_daylight(end.longitude, end.latitude, launch[0], launch[-1]),
    )


def _launch_times(covered: Coverage, step_s: float, now: np.datetime64 | None) -> NDArray[Any]:
    """Launches over the forecast from now on; all of them when it is over already."""
    if not 60.0 <= step_s <= 86_400.0:
        msg = f"launch step {step_s:g} s is not usable: allowed are 1 minute to 1 day"
        raise InputError(msg, field="launch_step_s", value=step_s)
    step = np.timedelta64(round(step_s), "s")
    launch = np.arange(covered.first, covered.last + np.timedelta64(1, "s"), step)
    launch = launch.astype("datetime64[ns]")
    if now is None or not (launch >= now).any():
        return launch
    return launch[launch >= now]


def _zone_at(route: Route) -> str:
    """IANA zone at the start of the route."""
    import tzfpy

    return tzfpy.get_tz(float(route.longitude[0]), float(route.latitude[0])) or "UTC"


def _not_covered(trip: Trip, covered: Coverage) -> str:
    west, south, east, north = trip.route.bounds
    name = trip.forecast.attrs.get("path", "") if trip.forecast is not None else ""
    return (
        f"{name or 'the forecast'}: the grid covers {covered.west:g} to {covered.east:g} E, "
        f"{covered.south:g} to {covered.north:g} N and gives no wind anywhere on the route "
        f"({west:.2f} to {east:.2f} E, {south:.2f} to {north:.2f} N)"
    )


def _is_invented(forecast: xr.Dataset | None) -> bool:
    return forecast is not None and forecast.attrs.get("invented") == "yes"


def _notes(
    trip: Trip,
    chosen: ChosenCoast,
    exposures: tuple[LegExposure, ...],
    covered: Coverage | None,
) -> tuple[str, ...]:
    carried = () if covered is None else portage_notes(exposures)
    asked = limit_notes(trip.limits)
    return (*trip.route.notes, *asked, *chosen.notes, *carried, *coverage_notes(covered))


def _sources(trip: Trip, chosen: ChosenCoast, covered: Coverage | None) -> tuple[Source, ...]:
    coast = coast_source(chosen.coast, chosen.source, trip.now)
    if trip.forecast is None or covered is None:
        return (coast,)
    return coast, forecast_source(trip.forecast, covered, trip.now)

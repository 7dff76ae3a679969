"""The one facade: `plan_trip(Trip) -> Plan`.

The command line, the page and notebooks all call this and get the same answer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._legflags import leg_flags, offshore_verdict
from routeplan.coastline import Coastline
from routeplan.errors import CoverageError, InputError
from routeplan.exposure import LegExposure, route_exposure
from routeplan.limits import Limits, Verdict
from routeplan.propulsion import Craft, craft
from routeplan.route import Route
from routeplan.stops import Stage, stages_of

if TYPE_CHECKING:
    import xarray as xr

    from routeplan.forecast import Coverage
    from routeplan.simulation import Path
    from routeplan.sun import DaylightSpells
    from routeplan.windows import LaunchScan, LaunchWindow

__all__ = ["CAUTIONS", "Plan", "Source", "StagePlan", "Trip", "plan_trip"]

FloatArray = NDArray[np.float64]
Progress = Callable[[str, float], None]

CAUTIONS = (
    "This is a calculation from a forecast and a coastline that both have errors; it is no "
    "permission and no guarantee. The decision to launch, and to turn back, stays with you.",
    "Local rules, notices, warnings of the coastguard and weather service, and the advice of "
    "licensed guides come first.",
    "The coastline may lack small islands, rocks and shoals, and knows no depth, surf, current, "
    "traffic or right to land.",
    "Look at the water before you launch, carry a means to call for help, and leave the plan "
    "with someone ashore.",
)

_MISSED = (  # variables whose absence a leader must hear of; `forecast show` lists the rest
    "wind_speed_of_gust",
    "sea_surface_wave_significant_height",
    "eastward_sea_water_velocity",
)
_SOLAR_S_PER_DEG = 240.0  # Earth turns one degree in four minutes
_NIGHT = np.timedelta64(8, "h")  # least time ashore between two outings
_PATH_STEPS = 2  # samples of the exposure taken together into one step of the passage


@dataclass(frozen=True, slots=True, eq=False)
class Trip:
    """What is asked: a route and everything it is judged by.

    Attributes
    ----------
    route : Route
    coast : Coastline, optional
        The default coastline when None.
    forecast : xarray.Dataset, optional
        As `open_forecast` gives it. Without one the plan has legs only.
    limits : Limits
    craft : Craft
        The group's slowest.
    launch_step_s : float
        Time between the launches that are tried [s].
    zone : str, optional
        IANA name of the zone for local times; looked up from the start when None.
    title : str
    now : datetime64, optional
        Time of asking, for the forecast's age; unknown when None.
    spacing_m : float
        Largest distance between samples along a leg [m].
    invented : bool
        Whether route or weather is made up, which every output then says.
    """

    route: Route
    coast: Coastline | None = None
    forecast: xr.Dataset | None = None
    limits: Limits = field(default_factory=Limits)
    craft: Craft = field(default_factory=lambda: craft("touring board"))
    launch_step_s: float = 1_800.0
    zone: str | None = None
    title: str = ""
    now: np.datetime64 | None = None
    spacing_m: float = 100.0
    invented: bool = False


@dataclass(frozen=True, slots=True)
class Source:
    """Where data came from.

    `error` states the nominal error in words; "not stated by the source" when there is none.
    """

    kind: str
    name: str
    attribution: str
    error: str


@dataclass(frozen=True, slots=True, eq=False)
class StagePlan:
    """One outing: its line and, with a forecast, its launches and windows.

    `best` is the index into `scan.launch` of the launch proposed, None when none is good. Stages
    follow each other: each is proposed after a night ashore at the end of the one before.
    `daylight` is that at the start.
    """

    stage: Stage
    path: Path | None = None
    scan: LaunchScan | None = None
    windows: tuple[LaunchWindow, ...] = ()
    best: int | None = None
    daylight: DaylightSpells | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """The answer.

    `flags[i]` and `offshore_verdicts[i]` belong to `route.legs[i]` and `exposures[i]`.
    """

    trip: Trip
    coast: Coastline
    exposures: tuple[LegExposure, ...]
    flags: tuple[tuple[str, ...], ...]
    offshore_verdicts: tuple[Verdict, ...]
    stages: tuple[StagePlan, ...]
    coverage: Coverage | None
    zone: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    sources: tuple[Source, ...]
    invented: bool

    @property
    def route(self) -> Route:
        """The route that was planned."""
        return self.trip.route


def plan_trip(trip: Trip, *, progress: Progress | None = None) -> Plan:
    """Answer a trip.

    Parameters
    ----------
    trip : Trip
    progress : callable, optional
        Called with a few words and the share done, 0 to 1.

    Raises
    ------
    InputError
        If the whole route lies on land, or a setting of the trip cannot be used.
    CoverageError
        If the forecast touches the route nowhere.
    """
    tell = progress or _silent
    tell("reading the coastline", 0.0)
    coast = trip.coast if trip.coast is not None else Coastline.default()
    tell("measuring the legs", 0.2)
    exposures = route_exposure(
        trip.route,
        coast,
        spacing_m=trip.spacing_m,
        notice_m=trip.limits.offshore_notice_m,
        limit_m=np.inf if trip.limits.offshore_m is None else trip.limits.offshore_m,
    )
    _refuse_dry_route(trip.route, exposures)
    stages, coverage = _stages(trip, coast, exposures, tell)
    tell("done", 1.0)
    return Plan(
        trip=trip,
        coast=coast,
        exposures=exposures,
        flags=tuple(leg_flags(e, trip.limits, coast.nominal_error_m) for e in exposures),
        offshore_verdicts=tuple(
            offshore_verdict(e, trip.limits, coast.nominal_error_m) for e in exposures
        ),
        stages=stages,
        coverage=coverage,
        zone=trip.zone or _zone_at(trip.route),
        notes=_notes(trip, coverage),
        cautions=CAUTIONS,
        sources=_sources(trip, coast, coverage),
        invented=trip.invented or _is_invented(trip.forecast),
    )


def _silent(words: str, share: float) -> None:
    """Take no notice."""


def _refuse_dry_route(route: Route, exposures: tuple[LegExposure, ...]) -> None:
    if all(e.land_m >= 0.999 * leg.length_m for leg, e in zip(route.legs, exposures, strict=True)):
        msg = (
            f"{route.source or 'the route'}: the whole route lies on land by this coastline; "
            "check longitude and latitude, or give a coastline that shows this water"
        )
        raise InputError(msg, field="route", path=route.source or None)


def _stages(
    trip: Trip, coast: Coastline, exposures: tuple[LegExposure, ...], tell: Progress
) -> tuple[tuple[StagePlan, ...], Coverage | None]:
    stages = stages_of(trip.route)
    if trip.forecast is None:
        return tuple(StagePlan(stage) for stage in stages), None
    # Reading and scanning forecasts needs xarray, which legs alone must not wait for.
    from routeplan.forecast import coverage
    from routeplan.sampling import sample_series
    from routeplan.waves import with_sea
    from routeplan.windows import find_windows, scan_launches

    covered = coverage(trip.forecast)
    launch = _launch_times(covered.first, covered.last, trip.launch_step_s)
    out: list[StagePlan] = []
    ashore = np.datetime64("NaT", "ns")
    for stage in stages:
        tell(f"paddling stage {stage.number} of {len(stages)}", 0.4 + 0.6 * len(out) / len(stages))
        path = _path_of(stage, exposures)
        series = with_sea(
            sample_series(trip.forecast, path.longitude, path.latitude),
            _roses_along(stage, exposures),
        )
        daylight = _daylight(stage, launch)
        scan = scan_launches(
            path,
            series,
            trip.craft,
            trip.limits,
            launch,
            daylight=daylight,
            stage=stage.number,
            leg_numbers=[leg.number for leg in stage.legs],
            coast_error_m=coast.nominal_error_m,
        )
        best = _propose(scan, ashore)
        if best is not None:
            ashore = scan.arrive[best]
        out.append(StagePlan(stage, path, scan, find_windows(scan), best, daylight[0]))
    if not any(sp.scan is not None and np.isfinite(sp.scan.wind_ms).any() for sp in out):
        msg = _not_covered(trip, covered)
        raise CoverageError(msg, bounds=(covered.west, covered.south, covered.east, covered.north))
    return tuple(out), covered


def _daylight(stage: Stage, launch: NDArray[Any]) -> tuple[DaylightSpells, DaylightSpells]:
    """Civil daylight where a stage starts and where it ends."""
    from routeplan.sun import civil_daylight

    start, end = stage.start, stage.end
    return (
        civil_daylight(start.longitude, start.latitude, launch[0], launch[-1]),
        civil_daylight(end.longitude, end.latitude, launch[0], launch[-1]),
    )


def _roses_along(stage: Stage, exposures: tuple[LegExposure, ...]) -> FloatArray:
    """Fetch rose of every step of a stage: that of the nearest place on its leg that has one."""
    out = []
    for leg in stage.legs:
        e = exposures[leg.number - 1]
        _, middle, _ = _steps(e)
        nearest = np.abs(e.rose_at_m - e.distance_m[middle][:, None]).argmin(axis=1)
        out.append(e.rose_m[nearest])
    return np.concatenate(out)


def _steps(e: LegExposure) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    """Samples at the begin, the middle and the end of the steps of a leg."""
    last = e.distance_m.size - 1
    begin = np.arange(0, last, _PATH_STEPS)
    end = np.minimum(begin + _PATH_STEPS, last)
    return begin, (begin + end) // 2, end


def _propose(scan: LaunchScan, ashore: np.datetime64) -> int | None:
    """Index of the launch to propose after a night ashore: of the first day with a good one.

    `ashore` is when the outing before ends, NaT for none. A day that has a launch within the
    limits goes before an earlier one that is only close. Days are of mean solar time at the
    start, which tells evening from morning in any zone.
    """
    from routeplan.windows import propose_launch

    shift = np.timedelta64(round(scan.detail.path.longitude[0] * _SOLAR_S_PER_DEG), "s")
    day = (scan.launch + shift).astype("datetime64[D]")
    rested = np.ones(scan.launch.size, dtype=bool)
    if not np.isnat(ashore):
        rested = (day > (ashore + shift).astype("datetime64[D]")) & (scan.launch >= ashore + _NIGHT)
    for worst in (Verdict.WITHIN, Verdict.CLOSE):
        good = rested & (scan.verdict <= worst)
        if good.any():
            return propose_launch(scan, good & (day == day[good][0]))
    return None


def _launch_times(first: np.datetime64, last: np.datetime64, step_s: float) -> NDArray[Any]:
    if not 60.0 <= step_s <= 86_400.0:
        msg = f"launch step {step_s:g} s is not usable: allowed are 1 minute to 1 day"
        raise InputError(msg, field="launch_step_s", value=step_s)
    step = np.timedelta64(round(step_s), "s")
    return np.arange(first, last + np.timedelta64(1, "s"), step).astype("datetime64[ns]")


def _path_of(stage: Stage, exposures: tuple[LegExposure, ...]) -> Path:
    """Join samples of the exposure into steps that keep the farthest distance from shore."""
    from routeplan.simulation import Path

    columns = []
    for i, leg in enumerate(stage.legs):
        e = exposures[leg.number - 1]
        begin, middle, end = _steps(e)
        offshore = [e.offshore_m[a : b + 1].max() for a, b in zip(begin, end, strict=True)]
        columns.append(
            (
                e.longitude[middle],
                e.latitude[middle],
                e.course_deg[middle],
                e.distance_m[end] - e.distance_m[begin],
                np.full(begin.size, i, dtype=np.int64),
                np.asarray(offshore),
                e.shore_bearing_deg[middle],
            )
        )
    return Path(*(np.concatenate(column) for column in zip(*columns, strict=True)))


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


def _notes(trip: Trip, covered: Coverage | None) -> tuple[str, ...]:
    notes = list(trip.route.notes)
    if covered is not None:
        notes.extend(
            f"The forecast lacks {name}: {cost}." for name, cost in covered.missing.items()
        )
    return tuple(notes)


def _sources(trip: Trip, coast: Coastline, covered: Coverage | None) -> tuple[Source, ...]:
    error = coast.nominal_error_m
    out = [
        Source(
            "coastline",
            coast.source,
            coast.attribution,
            f"{error:,.0f} m" if np.isfinite(error) else "not stated by the source",
        )
    ]
    if trip.forecast is not None and covered is not None:
        attrs = trip.forecast.attrs
        out.append(
            Source(
                "forecast",
                str(attrs.get("source") or attrs.get("title") or attrs.get("path") or "unnamed"),
                str(attrs.get("attribution", "")),
                "not stated by the source",
            )
        )
    return tuple(out)

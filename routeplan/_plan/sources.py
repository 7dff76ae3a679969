"""What a plan rests on: its sources with their age, its notes, warnings and cautions."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from routeplan.coastsource import CombinedCoastline
from routeplan.units import HOUR_S

if TYPE_CHECKING:
    import xarray as xr

    from routeplan.coastline import Coastline
    from routeplan.coastsource import CoastSource
    from routeplan.exposure import LegExposure
    from routeplan.forecast import Coverage

__all__ = [
    "CAUTIONS",
    "COAST_CAUTION",
    "Source",
    "age_warnings",
    "coast_source",
    "coverage_notes",
    "forecast_age_s",
    "forecast_source",
    "forecast_warnings",
    "portage_notes",
]

COAST_CAUTION = (
    "Small islands may be missing from the coastline, so distance from shore and fetch may be "
    "overstated, and rocks are not shown; in four archipelagos two open coastlines lie 60 to "
    "130 m apart in the median, 170 to 550 m at the 90th percentile and 0.4 to 5.2 km at the 99th."
)
"""What every output says of the coastline; figures measured between two open sources."""

CAUTIONS = (
    "This is a calculation from a forecast and a coastline that both have errors; it is no "
    "permission and no guarantee. The decision to launch, and to turn back, stays with you.",
    "Local rules, notices, warnings of the coastguard and weather service, and the advice of "
    "licensed guides come first.",
    COAST_CAUTION,
    "The coastline knows no depth, shoals, surf, current, traffic or right to land.",
    "Look at the water before you launch, carry a means to call for help, and leave the plan "
    "with someone ashore.",
)

_NOT_STATED = "not stated by the source"


@dataclass(frozen=True, slots=True)
class Source:
    """Where data came from.

    Attributes
    ----------
    kind : str
        "coastline" or "forecast".
    name, attribution : str
        What it is, and what its licence wants named.
    error : str
        Nominal error in words; "not stated by the source" when there is none.
    licence : str
        Empty where the attribution names it or nothing is known.
    date : str
        Of the data, or of the model run: ISO 8601 with Z, empty where it is not stated.
    age_s : float, optional
        From that date to the time of asking [s]; None where either is unknown.
    """

    kind: str
    name: str
    attribution: str
    error: str
    licence: str = ""
    date: str = ""
    age_s: float | None = None


def coast_source(coast: Coastline, local: CoastSource | None, now: np.datetime64 | None) -> Source:
    """Source of a coastline; `local` is the file it is from, where it is from one."""
    error = _metres(coast.nominal_error_m)
    if isinstance(coast, CombinedCoastline):
        error = f"{error} inside the box, {_metres(coast.coarse.nominal_error_m)} beyond it"
    about = None if local is None else local.about
    return Source(
        "coastline",
        coast.source,
        coast.attribution,
        error,
        licence="" if about is None else about.licence,
        date="" if about is None else about.date,
        age_s=None if about is None else _age_s(about.date, now),
    )


def forecast_source(data: xr.Dataset, covered: Coverage, now: np.datetime64 | None) -> Source:
    """Source of a forecast."""
    attrs = data.attrs
    return Source(
        "forecast",
        str(attrs.get("source") or attrs.get("title") or attrs.get("path") or "unnamed"),
        str(attrs.get("attribution", "")),
        _NOT_STATED,
        licence=str(attrs.get("licence", "")),
        date=covered.reference_time,
        age_s=forecast_age_s(covered, now),
    )


def forecast_age_s(covered: Coverage, now: np.datetime64 | None) -> float | None:
    """Time from the model run to the time of asking [s]; None where either is unknown."""
    return _age_s(covered.reference_time, now)


def forecast_warnings(
    covered: Coverage | None, now: np.datetime64 | None, old_after_s: float
) -> tuple[str, ...]:
    """Sentences on a forecast that is old, of unknown age or over; none without `now`."""
    if covered is None or now is None:
        return ()
    over = "The forecast is over: all its launches lie in the past."
    return (
        *age_warnings(forecast_age_s(covered, now), old_after_s),
        *((over,) if covered.last < now else ()),
    )


def age_warnings(age_s: float | None, old_after_s: float) -> tuple[str, ...]:
    """Sentences on a forecast whose age [s] is too high, impossible or not known (None)."""
    if age_s is None:
        return ("The forecast does not say when it was made: it may be old.",)
    if age_s < 0.0:
        return ("The forecast is dated after now: look at the clock of this computer.",)
    if age_s <= old_after_s:
        return ()
    return (
        f"The forecast is old: its run began {_hours(age_s)} before now, more than the "
        f"{_hours(old_after_s)} that count as fresh. Get a newer one.",
    )


_MISSED = (
    "wind_speed_of_gust",
    "sea_surface_wave_significant_height",
    "eastward_sea_water_velocity",
    "air_temperature",
)


def coverage_notes(covered: Coverage | None) -> tuple[str, ...]:
    """What the forecast lacks that a leader must hear of, and what was done to read it.

    What no limit could be judged for is told as such, and `forecast show` lists the rest.
    """
    if covered is None:
        return ()
    costs = dict.fromkeys(covered.missing[name] for name in _MISSED if name in covered.missing)
    return (*(f"Not in the forecast: {cost}." for cost in costs), *covered.notes)


def portage_notes(exposures: Iterable[LegExposure]) -> tuple[str, ...]:
    """That the time of carries is not reckoned, where there are any."""
    legs = [str(e.number) for e in exposures if e.portage and e.crosses_land]
    if not legs:
        return ()
    many = "s" if len(legs) > 1 else ""
    return (
        f"Passage times take the carry on leg{many} {', '.join(legs)} as if it were paddled: "
        "add what carrying takes longer.",
    )


def _metres(error_m: float) -> str:
    return f"{error_m:,.0f} m" if np.isfinite(error_m) else _NOT_STATED


def _age_s(date: str, now: np.datetime64 | None) -> float | None:
    if now is None or not date[:1].isdigit():  # numpy reads "now" and "today" as well
        return None
    try:
        age = now.astype("datetime64[s]") - np.datetime64(date.removesuffix("Z"), "s")
    except ValueError:
        return None
    seconds = age / np.timedelta64(1, "s")
    return float(seconds) if np.isfinite(seconds) else None


def _hours(seconds: float) -> str:
    hours = seconds / HOUR_S
    return f"{hours:.0f} h" if hours < 72.0 else f"{hours / 24.0:.0f} days"

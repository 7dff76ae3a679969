"""Daylight: the spells in which the sun's centre stands above -6 degrees (civil twilight).

The sun's position comes from the equations of the NOAA solar calculator, for whole arrays of
times at once. The rising and setting times are found here as zero crossings of the altitude along
the time axis instead of one event per calendar day, so that a dusk after midnight, a sun that
never sets and a sun that never rises need no special case.

References
----------
United States Naval Observatory, "Rise, Set, and Twilight Definitions": civil twilight ends
when the centre of the sun is geometrically 6 degrees below the horizon; sunrise and sunset
are at -0.833 degrees (34' of refraction and 16' of semidiameter).

NOAA Global Monitoring Laboratory, Solar Calculation Details,
gml.noaa.gov/grad/solcalc/calcdetails.html (the equations from memory; the tests hold them against
the implementation in astral and against published tables).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from routeplan.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = [
    "CIVIL_ALTITUDE_DEG",
    "HORIZON_ALTITUDE_DEG",
    "DaylightSpells",
    "civil_dawn",
    "civil_daylight",
    "civil_dusk",
    "daylight_spells",
    "sun_altitude",
]

CIVIL_ALTITUDE_DEG = -6.0
HORIZON_ALTITUDE_DEG = -0.8333

_STEP_S = 600  # a spell of light shorter than this may be missed: dark is the safe side
_DAY = np.timedelta64(1, "D")
_HALF_DAY = np.timedelta64(12, "h")
_MAX_DAYS = 400
_DAY_US = 86_400_000_000
_J2000_US = 946_728_000_000_000  # noon of 2000-01-01, in microseconds of Unix time


@dataclass(frozen=True, slots=True, eq=False)
class DaylightSpells:
    """Spells of light as matching arrays `start`, `end`, datetime64[ns] UTC, shape (s,).

    `first` and `last` bound what was looked at: a spell that begins at `first` or ends at
    `last` goes on beyond it. No spell at all is polar night; one spell over everything is a
    sun that never goes below the altitude.
    """

    start: NDArray[np.datetime64]
    end: NDArray[np.datetime64]
    first: np.datetime64
    last: np.datetime64

    def is_light(self, when: NDArray[np.datetime64]) -> NDArray[np.bool_]:
        """Whether each time lies in a spell; False outside [first, last] and for NaT."""
        when = np.asarray(when, dtype="datetime64[ns]")
        index = np.searchsorted(self.start, when, side="right") - 1
        inside = (index >= 0) & (when >= self.first) & (when <= self.last)
        if not self.start.size:
            return np.zeros(when.shape, dtype=bool)
        return np.asarray(inside & (when <= self.end[np.maximum(index, 0)]))


def sun_altitude(lon: float, lat: float, when: NDArray[np.datetime64]) -> NDArray[np.float64]:
    """Geometric altitude of the sun's centre, without refraction.

    Parameters
    ----------
    lon, lat
        Place. [degrees east, north]
    when
        Times, datetime64 UTC, any shape.

    Returns
    -------
    ndarray
        Altitude. [degrees]
    """
    _check_place(lon, lat)
    times = np.asarray(when, dtype="datetime64[us]").astype(np.int64)
    declination, equation_min = _sun((times - _J2000_US) / (36525.0 * _DAY_US))
    solar_min = (times % _DAY_US) / 60e6 + equation_min + 4.0 * lon
    hour_angle = np.radians(solar_min / 4.0 - 180.0)
    phi = np.radians(lat)
    sine = np.sin(phi) * np.sin(declination)
    sine += np.cos(phi) * np.cos(declination) * np.cos(hour_angle)
    return np.asarray(np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0))))


def _sun(t: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Declination [rad] and equation of time [min], t in Julian centuries from J2000.0.

    Equations of the NOAA solar calculator, after Meeus, Astronomical Algorithms, chapters 25 and
    28, with the lower accuracy of 0.01 degrees.
    """
    mean_longitude = np.radians(280.46646 + t * (36000.76983 + t * 0.0003032))
    anomaly = np.radians(357.52911 + t * (35999.05029 - 0.0001537 * t))
    eccentricity = 0.016708634 - t * (0.000042037 + 0.0000001267 * t)
    centre = np.sin(anomaly) * (1.914602 - t * (0.004817 + 0.000014 * t))
    centre += np.sin(2.0 * anomaly) * (0.019993 - 0.000101 * t) + np.sin(3.0 * anomaly) * 0.000289
    node = np.radians(125.04 - 1934.136 * t)
    apparent = mean_longitude + np.radians(centre - 0.00569 - 0.00478 * np.sin(node))
    seconds = 21.448 - t * (46.8150 + t * (0.00059 - t * 0.001813))
    obliquity = np.radians(23.0 + (26.0 + seconds / 60.0) / 60.0 + 0.00256 * np.cos(node))
    declination = np.arcsin(np.sin(obliquity) * np.sin(apparent))
    y = np.tan(obliquity / 2.0) ** 2
    equation = y * np.sin(2.0 * mean_longitude) - 2.0 * eccentricity * np.sin(anomaly)
    equation += 4.0 * eccentricity * y * np.sin(anomaly) * np.cos(2.0 * mean_longitude)
    equation -= 0.5 * y * y * np.sin(4.0 * mean_longitude)
    equation -= 1.25 * eccentricity**2 * np.sin(2.0 * anomaly)
    return declination, 4.0 * np.degrees(equation)


def daylight_spells(
    lon: float,
    lat: float,
    first: np.datetime64,
    last: np.datetime64,
    altitude_deg: float = CIVIL_ALTITUDE_DEG,
) -> DaylightSpells:
    """Spells in [first, last] during which the sun's centre stands above an altitude.

    Parameters
    ----------
    lon, lat
        Place. [degrees east, north]
    first, last
        Times, datetime64 UTC, at most 400 days apart.
    altitude_deg
        Geometric altitude of the centre: -6 civil twilight, -0.8333 sunrise and sunset.

    Raises
    ------
    InputError
        When the place or the times cannot be used.
    """
    start, stop = _ns(first), _ns(last)
    if np.isnat(start) or np.isnat(stop) or stop < start or stop - start > _MAX_DAYS * _DAY:
        msg = (
            f"daylight from {first} to {last}: allowed are two times at most {_MAX_DAYS} days apart"
        )
        raise InputError(msg, field="time", value=(first, last))
    count = int((stop - start) / np.timedelta64(_STEP_S, "s")) + 1
    grid = start + np.arange(count) * np.timedelta64(_STEP_S, "s")
    if grid[-1] < stop:
        grid = np.append(grid, stop)
    above = sun_altitude(lon, lat, grid) > altitude_deg
    change = np.flatnonzero(above[1:] != above[:-1])
    moments = _crossings(lon, lat, grid[change], grid[change + 1], altitude_deg)
    rising = above[change + 1]
    begin = np.concatenate([grid[:1][above[:1]], moments[rising]])
    end = np.concatenate([moments[~rising], grid[-1:][above[-1:]]])
    return DaylightSpells(start=begin, end=end, first=start, last=stop)


def civil_daylight(
    lon: float, lat: float, first: np.datetime64, last: np.datetime64
) -> DaylightSpells:
    """Spells of civil daylight covering [first - 1 day, last + 1 day].

    Parameters and errors as in `daylight_spells`.
    """
    start, stop = _ns(first), _ns(last)
    return daylight_spells(lon, lat, start - _DAY, stop + _DAY)


def civil_dusk(lon: float, lat: float, date: dt.date | np.datetime64) -> np.datetime64:
    """End of civil twilight in the half day after local solar noon of a date.

    `date` is the calendar day by local mean solar time. NaT when the sun stays above -6
    degrees until the following solar midnight, or is never above it that day.

    Returns
    -------
    datetime64[ns]
        UTC; may fall on the next calendar day.
    """
    noon = _solar_noon(lon, date)
    spells = daylight_spells(lon, lat, noon, noon + _HALF_DAY)
    if not spells.end.size or spells.end[0] == spells.last:
        return np.datetime64("NaT", "ns")
    return _ns(spells.end[0])


def civil_dawn(lon: float, lat: float, date: dt.date | np.datetime64) -> np.datetime64:
    """Beginning of civil twilight in the half day before local solar noon of a date.

    NaT as in `civil_dusk`, the other way round.
    """
    noon = _solar_noon(lon, date)
    spells = daylight_spells(lon, lat, noon - _HALF_DAY, noon)
    if not spells.start.size or spells.start[-1] == spells.first:
        return np.datetime64("NaT", "ns")
    return _ns(spells.start[-1])


def _solar_noon(lon: float, date: dt.date | np.datetime64) -> np.datetime64:
    _check_place(lon, 0.0)
    midnight = np.datetime64(date).astype("datetime64[D]").astype("datetime64[ns]")
    # True noon wanders by up to 16 minutes about mean noon (equation of time). Twilight so
    # close to noon or midnight is a sun that grazes the limit, where minutes mean little.
    offset_s = int((12.0 - lon / 15.0) * 3600.0)
    return _ns(midnight + np.timedelta64(offset_s, "s"))


def _ns(time: np.datetime64) -> np.datetime64:
    moment: np.datetime64 = np.datetime64(time).astype("datetime64[ns]")
    return moment


def _check_place(lon: float, lat: float) -> None:
    if not (np.isfinite(lon) and np.isfinite(lat) and abs(lat) <= 90.0 and abs(lon) <= 360.0):
        msg = f"place lon {lon}, lat {lat}: allowed are -180..180 and -90..90 degrees"
        raise InputError(msg, field="position", value=(lon, lat))


def _crossings(
    lon: float,
    lat: float,
    low: NDArray[np.datetime64],
    high: NDArray[np.datetime64],
    altitude_deg: float,
) -> NDArray[np.datetime64]:
    """Bisect each bracket to under a second."""
    low, high = low.copy(), high.copy()
    below_first = sun_altitude(lon, lat, low) <= altitude_deg
    for _ in range(int(np.ceil(np.log2(_STEP_S)))):
        middle = low + (high - low) // 2
        same_side = (sun_altitude(lon, lat, middle) <= altitude_deg) == below_first
        low = np.where(same_side, middle, low)
        high = np.where(same_side, high, middle)
    return np.asarray(low + (high - low) // 2)

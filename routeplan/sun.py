"""Daylight: the spells in which the sun's centre stands above -6 degrees (civil twilight).

The sun's position comes from astral (NOAA solar calculator equations). The rising and setting
times are found here as zero crossings of the altitude along the time axis instead of one
event per calendar day, so that a dusk after midnight, a sun that never sets and a sun that
never rises need no special case.

References
----------
United States Naval Observatory, "Rise, Set, and Twilight Definitions": civil twilight ends
when the centre of the sun is geometrically 6 degrees below the horizon; sunrise and sunset
are at -0.833 degrees (34' of refraction and 16' of semidiameter).
"""

from __future__ import annotations

import datetime as dt
import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from astral import Observer
from astral.sun import elevation

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
    observer = _observer(lon, lat)
    times = np.asarray(when, dtype="datetime64[us]")
    out = np.fromiter(
        (
            elevation(observer, moment.replace(tzinfo=dt.UTC), with_refraction=False)
            for moment in times.ravel().tolist()
        ),
        dtype=np.float64,
        count=times.size,
    )
    return out.reshape(times.shape)


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
    return _spells(float(lon), float(lat), start, stop, float(altitude_deg))


@functools.lru_cache(maxsize=512)  # a plan that changes a limit asks for the same light again
def _spells(
    lon: float, lat: float, start: np.datetime64, stop: np.datetime64, altitude_deg: float
) -> DaylightSpells:
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
    for shared in (begin, end):
        shared.setflags(write=False)
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
    _observer(lon, 0.0)
    midnight = np.datetime64(date).astype("datetime64[D]").astype("datetime64[ns]")
    # True noon wanders by up to 16 minutes about mean noon (equation of time). Twilight so
    # close to noon or midnight is a sun that grazes the limit, where minutes mean little.
    offset_s = int((12.0 - lon / 15.0) * 3600.0)
    return _ns(midnight + np.timedelta64(offset_s, "s"))


def _ns(time: np.datetime64) -> np.datetime64:
    moment: np.datetime64 = np.datetime64(time).astype("datetime64[ns]")
    return moment


def _observer(lon: float, lat: float) -> Observer:
    if not (np.isfinite(lon) and np.isfinite(lat) and abs(lat) <= 90.0 and abs(lon) <= 360.0):
        msg = f"place lon {lon}, lat {lat}: allowed are -180..180 and -90..90 degrees"
        raise InputError(msg, field="position", value=(lon, lat))
    return Observer(latitude=float(lat), longitude=float(lon), elevation=0.0)


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

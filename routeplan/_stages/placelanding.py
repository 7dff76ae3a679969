"""How sheltered a landing is, hour by hour: from the coastline's fetch, the wind and the sea."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from routeplan._judge.scandetail import member_at_share
from routeplan._sea.localsea import fetch_toward
from routeplan._stages.place import Place
from routeplan.exposure import DIRECTIONS_DEG
from routeplan.geodesy import direct
from routeplan.limits import Verdict
from routeplan.waves import WaveSource, with_sea
from routeplan.wind import wind_direction, wind_speed

if TYPE_CHECKING:
    import xarray as xr

    from routeplan.coastline import Coastline

__all__ = ["LandingSea", "LandingState", "landing_sea"]

FloatArray = NDArray[np.float64]

_OFF_SHORE_M = 40.0  # how far before the shore the water of a landing is looked at
_HEIGHT = "sea_surface_wave_significant_height"


@dataclass(frozen=True, slots=True)
class LandingState:
    """A landing at one time.

    `wind_from_deg` [degrees true] and `wind_ms`; `fetch_m` over water toward that wind;
    `wave_height_m` significant, just off the landing. nan unknown. `margin` is what is left of
    the limits on landing as a share of them, negative beyond.
    """

    wind_ms: float
    wind_from_deg: float
    fetch_m: float
    wave_height_m: float
    margin: float
    verdict: Verdict


@dataclass(frozen=True, slots=True, eq=False)
class LandingSea:
    """Wind and sea off places: p places, T times, e members.

    `margin` and `flag` (p, T, e) are held against the limits on landing: share that is left (nan
    unknown), and the best verdict that the data allow.
    """

    time: NDArray[np.datetime64]
    wind_ms: FloatArray
    wind_from_deg: FloatArray
    fetch_m: FloatArray
    wave_height_m: FloatArray
    margin: FloatArray
    flag: NDArray[np.int8]
    close_share: float

    def state(self, place: int, when: np.datetime64) -> LandingState:
        """The landing at a time, that of the nearest forecast hour; of members the median."""
        if np.isnat(when) or not self.time[0] <= when <= self.time[-1]:
            return LandingState(np.nan, np.nan, np.nan, np.nan, np.nan, Verdict.UNKNOWN)
        i = int(np.abs(self.time - when).argmin())
        margins = self.margin[place, i]
        member = int(np.argsort(margins, kind="stable")[(margins.size - 1) // 2])
        margin = float(margins[member])
        return LandingState(
            float(self.wind_ms[place, i, member]),
            float(self.wind_from_deg[place, i, member]),
            float(self.fetch_m[place, i, member]),
            float(self.wave_height_m[place, i, member]),
            margin,
            self._verdict(margin, int(self.flag[place, i, member])),
        )

    def judged(
        self, place: int, when: NDArray[np.datetime64], share: float
    ) -> tuple[NDArray[np.int8], FloatArray]:
        """Verdict and margin of a landing at times (m,): the worse of the hours on both sides.

        With members those that at least `share` of them reach; unknown and nan outside the
        forecast.
        """
        known = ~np.isnat(when) & (when >= self.time[0]) & (when <= self.time[-1])
        last = self.time.size - 1
        after = np.searchsorted(self.time, np.where(known, when, self.time[0]), side="left")
        hours = np.stack([np.maximum(after - 1, 0), np.minimum(after, last)])
        margin = self.margin[place][hours].min(axis=0)  # nan stays
        flag = self.flag[place][hours].max(axis=0)
        graded = np.where(margin < self.close_share, Verdict.CLOSE, Verdict.WITHIN)
        graded = np.maximum(graded, flag)
        graded = np.where(np.isnan(margin), Verdict.UNKNOWN, graded)
        graded = np.where(margin < 0.0, Verdict.BEYOND, graded)
        member = member_at_share(graded.astype(np.int8), margin, share)[:, None]
        verdict = np.take_along_axis(graded, member, axis=1)[:, 0]
        left = np.take_along_axis(margin, member, axis=1)[:, 0]
        return (
            np.where(known, verdict, Verdict.UNKNOWN).astype(np.int8),
            np.where(known & (verdict != Verdict.UNKNOWN), left, np.nan),
        )

    def _verdict(self, margin: float, flag: int) -> Verdict:
        if np.isnan(margin):
            return Verdict.UNKNOWN
        graded = Verdict.CLOSE if margin < self.close_share else Verdict.WITHIN
        return Verdict.BEYOND if margin < 0.0 else Verdict(max(graded, flag))


def landing_sea(
    places: Sequence[Place],
    coast: Coastline,
    forecast: xr.Dataset,
    *,
    wave_m: float,
    wind_ms: float,
    close_share: float,
) -> LandingSea:
    """Wind and sea off each landing through the whole forecast.

    Parameters
    ----------
    places : sequence of Place
    coast : Coastline
    forecast : xarray.Dataset
        As `routeplan.forecast.open_forecast` gives it.
    wave_m : float
        Largest significant wave height to land in. [m]
    wind_ms : float
        Strongest wind from a sector that the user calls open. [m/s]
    close_share : float
        A margin smaller than this is close.

    Notes
    -----
    The sea is that of `routeplan.waves.with_sea`, `_OFF_SHORE_M` off the shoreline nearest to the
    place. Surf, which rises on a shoal, is not computed.
    """
    from routeplan.sampling import sample_series  # needs xarray, which legs must not wait for

    lon, lat = _water(places, coast)
    roses = coast.fetch_length(lon, lat, DIRECTIONS_DEG)
    series = with_sea(sample_series(forecast, lon, lat), roses)
    u, v = series.values["eastward_wind"], series.values["northward_wind"]
    speed, source = wind_speed(u, v), wind_direction(u, v)
    height = series.values[_HEIGHT]
    margin = (wave_m - height) / wave_m
    margin = np.where(np.isnan(speed), np.nan, margin)
    for i, place in enumerate(places):
        if place.open_deg:
            bound = (wind_ms - speed[i]) / wind_ms
            margin[i] = np.where(_open(place, source[i]), np.minimum(margin[i], bound), margin[i])
    unswelled = series.values["wave_source"] >= WaveSource.NO_SWELL
    flag = np.where(unswelled, Verdict.CLOSE, Verdict.WITHIN)
    flag = np.where(np.isnan(margin), Verdict.UNKNOWN, flag).astype(np.int8)
    return LandingSea(
        series.time, speed, source, fetch_toward(roses, source), height, margin, flag, close_share
    )


def _open(place: Place, source_deg: FloatArray) -> NDArray[np.bool_]:
    """Whether the wind comes from an open sector of the place; also where it has no direction."""
    inside = np.zeros(source_deg.shape, dtype=bool)
    for first, last in place.open_deg:
        width = last - first if last - first == 360.0 else (last - first) % 360.0
        inside |= (source_deg - first) % 360.0 <= width
    return inside


def _water(places: Sequence[Place], coast: Coastline) -> tuple[FloatArray, FloatArray]:
    """A point on the water off each place.

    A landing is marked on the beach as often as before it, and from land there is no fetch.
    """
    lon = np.array([place.longitude for place in places], dtype=float)
    lat = np.array([place.latitude for place in places], dtype=float)
    shore = coast.nearest_shore(lon, lat)
    dry = coast.is_land(lon, lat)
    near = ~dry & (shore.distance_m < _OFF_SHORE_M)
    # From land over the nearest shore and on; from water at the very shore away from it.
    bearing = np.where(dry, shore.bearing_deg, (shore.bearing_deg + 180.0) % 360.0)
    away = np.where(dry, shore.distance_m + _OFF_SHORE_M, _OFF_SHORE_M - shore.distance_m)
    moved = direct(lon, lat, bearing, np.where(dry | near, away, 0.0))
    good = (dry | near) & ~coast.is_land(*moved[:2])
    return np.where(good, moved[0], lon), np.where(good, moved[1], lat)

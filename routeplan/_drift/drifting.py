"""Drift followed in time until it comes ashore."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from routeplan._drift.leewaytable import BRANCHES, LeewayObject, leeway_of_branches
from routeplan._drift.weathergrid import WeatherGrid
from routeplan.errors import InputError

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries

__all__ = ["Drift", "Shore", "drift_from", "time_ashore", "with_drift"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STEP_S = 300.0
_HALVINGS = 6  # of the step in which one comes ashore: 5 s
_MAX_HOURS = 96.0
_WGS84_A, _WGS84_E2 = 6378137.0, 6.69437999014e-3  # WGS84 (NIMA TR8350.2)


class Shore(Protocol):
    """What a drift asks of a coastline."""

    def is_land(self, lon: ArrayLike, lat: ArrayLike) -> BoolArray:
        """Whether points are land."""

    def distance_to_shore(self, lon: ArrayLike, lat: ArrayLike) -> FloatArray:
        """Distance to the nearest shore [m]."""


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """Drift of p starts, three branches and e forecast members.

    Attributes
    ----------
    time_s : array, shape (s,)
        Seconds after each start of the positions kept.
    longitude, latitude : array, shape (p, 3, e, s)
        Tracks by branch ("downwind", "right", "left"); they stay where they come ashore, and are
        nan from where wind or current are unknown. [degrees]
    ashore_s : array, shape (p, 3, e)
        Seconds until ashore; nan when still afloat at the end or unknown.
    known : array of bool, shape (p, 3, e)
        Whether weather was known until ashore, or to the end.
    offshore_m : array, shape (p, 3, e)
        Distance from shore at the end, 0 ashore; nan unknown. [m]
    spread_m : array, shape (p, 3, e)
        How far off one standard deviation of the leeway puts the last position, if the deviation
        lasts. [m]
    has_current : bool
        Whether there was a current in the forecast.
    """

    time_s: FloatArray
    longitude: FloatArray
    latitude: FloatArray
    ashore_s: FloatArray
    known: BoolArray
    offshore_m: FloatArray
    spread_m: FloatArray
    has_current: bool


def drift_from(
    lon: ArrayLike,
    lat: ArrayLike,
    when: NDArray[np.datetime64],
    weather: WeatherGrid,
    it: LeewayObject,
    *,
    coast: Shore,
    hours: float = 6.0,
    step_s: float = STEP_S,
    keep_every: int = 1,
) -> Drift:
    """Follow the drift from places and times.

    Parameters
    ----------
    lon, lat : array_like, shape (p,)
        Starts. [degrees]
    when : array of datetime64, shape (p,)
        Time of each start, UTC.
    weather : WeatherGrid
    it : LeewayObject
    coast : Shore
        A `routeplan.coastline.Coastline`, or anything with its `is_land`, `distance_to_shore`.
    hours : float
        How long to follow, at most 96. [h]
    step_s : float
        Time step; land narrower than the drift in it may be passed over. [s]
    keep_every : int
        Keep every so many positions of the tracks.

    Raises
    ------
    InputError
        When the starts cannot be used, or hours or step are out of range.

    Notes
    -----
    Midpoint rule on the ellipsoid; velocity is current plus leeway in the wind at place and time.
    Land is looked for only when the drift since the last look could have reached it.
    """
    starts = _starts(lon, lat, when, hours, step_s)
    shape = (starts[0].size, len(BRANCHES), weather.members)
    x, y = (np.broadcast_to(a[:, None, None], shape).copy() for a in starts[:2])
    clock = np.broadcast_to(weather.seconds(starts[2])[:, None, None], shape)
    afloat = _Afloat(weather, it, coast, shape)
    afloat.look(x, y, np.zeros(shape), None)
    count = int(np.ceil(hours * 3600.0 / step_s))
    kept = [(0.0, x.copy(), y.copy())]
    for i in range(count):
        dt = min(step_s, hours * 3600.0 - i * step_s)
        x, y = afloat.step(x, y, clock + i * step_s, dt, i * step_s)
        if (i + 1) % keep_every == 0 or i + 1 == count:
            kept.append((i * step_s + dt, x.copy(), y.copy()))
    times, lons, lats = zip(*kept, strict=True)
    drifted = np.where(np.isnan(afloat.ashore), times[-1], afloat.ashore)
    last = coast.distance_to_shore(*(np.nan_to_num(a).ravel() for a in (x, y))).reshape(shape)
    last = np.where(np.isfinite(afloat.ashore), 0.0, np.where(np.isnan(x), np.nan, last))
    return Drift(
        time_s=np.array(times),
        longitude=np.stack(lons, axis=-1),
        latitude=np.stack(lats, axis=-1),
        ashore_s=afloat.ashore,
        known=np.isfinite(afloat.ashore) | np.isfinite(x),
        offshore_m=last,
        spread_m=_sd(it)[None, :, None] * drifted,
        has_current=weather.has_current,
    )


def time_ashore(drift: Drift, horizon_s: float) -> FloatArray:
    """Longest time until ashore over the branches, shape (p, e).

    `horizon_s` stands for "not ashore within the time followed"; nan where a branch is unknown.
    """
    time = np.where(np.isnan(drift.ashore_s), horizon_s, drift.ashore_s)
    return np.where(drift.known.all(axis=1), time.max(axis=1), np.nan)


def with_drift(
    series: PointSeries,
    lon: FloatArray,
    lat: FloatArray,
    weather: WeatherGrid,
    it: LeewayObject,
    *,
    coast: Shore,
    hours: float,
    every: int = 4,
) -> PointSeries:
    """Series with the time until ashore by drift at every point and hour.

    Added as `time_ashore_by_drift` [s], (k, T, members): the longest of the branches, twice the
    hours followed when one is not ashore by then. Every so many points are followed and serve
    their neighbours.
    """
    points = np.arange(lon.size)
    followed = np.unique(np.append(points[every // 2 :: every], points[-1]))
    times = series.time
    here, now = np.repeat(followed, times.size), np.tile(times, followed.size)
    drift = drift_from(
        lon[here], lat[here], now, weather, it, coast=coast, hours=hours, keep_every=10_000
    )
    field = time_ashore(drift, 2.0 * hours * 3600.0).reshape(followed.size, times.size, -1)
    nearest = np.abs(points[:, None] - followed[None, :]).argmin(axis=1)
    return replace(series, values={**series.values, "time_ashore_by_drift": field[nearest]})


def _starts(
    lon: ArrayLike, lat: ArrayLike, when: NDArray[np.datetime64], hours: float, step_s: float
) -> tuple[FloatArray, FloatArray, NDArray[np.datetime64]]:
    x, y = np.atleast_1d(np.asarray(lon, float)), np.atleast_1d(np.asarray(lat, float))
    times = np.broadcast_to(np.asarray(when, dtype="datetime64[ns]"), x.shape)
    if x.shape != y.shape or x.ndim != 1 or not (np.isfinite(x).all() and np.isfinite(y).all()):
        msg = "starts of a drift: allowed are two arrays of one length, finite degrees"
        raise InputError(msg, field="position")
    if not 0.0 < hours <= _MAX_HOURS:
        msg = (
            f"a drift over {hours:g} h is not followed; allowed is more than 0 to {_MAX_HOURS:g} h"
        )
        raise InputError(msg, field="hours", value=hours)
    if not 1.0 <= step_s <= 3600.0:
        msg = f"drift steps of {step_s:g} s are not usable; allowed is 1 to 3600 s"
        raise InputError(msg, field="step_s", value=step_s)
    return x, y, times


def _sd(it: LeewayObject) -> FloatArray:
    cross = (0.0, it.right_sd_ms, it.left_sd_ms)
    return np.array([np.hypot(it.downwind_sd_ms, c) for c in cross])


class _Afloat:
    """What drifts: who is ashore, and how far the shore was when last looked at."""

    def __init__(
        self, weather: WeatherGrid, it: LeewayObject, coast: Shore, shape: tuple[int, ...]
    ) -> None:
        self.weather, self.it, self.coast = weather, it, coast
        self.member = np.broadcast_to(np.arange(shape[2]), shape)
        self.ashore = np.full(shape, np.nan)
        self.reach = np.zeros(shape)  # drift that cannot come ashore yet [m]

    def velocity(
        self, x: FloatArray, y: FloatArray, clock: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Velocity over ground of every branch [m/s]."""
        u, v, cu, cv = self.weather.at(x, y, clock, self.member)
        east, north = leeway_of_branches(self.it, u, v)
        return cu + east, cv + north

    def step(
        self, x: FloatArray, y: FloatArray, clock: FloatArray, dt: float, since: float
    ) -> tuple[FloatArray, FloatArray]:
        """Positions after dt; those ashore stay."""
        east, north = self.velocity(x, y, clock)
        half = _moved(x, y, east * dt / 2.0, north * dt / 2.0)
        east, north = self.velocity(*half, clock + dt / 2.0)
        onto = _moved(x, y, east * dt, north * dt)
        moving = np.isnan(self.ashore)
        new_x, new_y = np.where(moving, onto[0], x), np.where(moving, onto[1], y)
        self.reach = self.reach - np.hypot(east, north) * dt
        self.look(new_x, new_y, np.full(x.shape, since), (x, y, dt))
        return new_x, new_y

    def look(
        self,
        x: FloatArray,
        y: FloatArray,
        since: FloatArray,
        before: tuple[FloatArray, FloatArray, float] | None,
    ) -> None:
        """Look for land where it may have been reached; move those on it back to the shore."""
        due = np.isnan(self.ashore) & np.isfinite(x) & ~(self.reach > 0.0)
        if not due.any():
            return
        land = np.zeros(x.shape, dtype=bool)
        land[due] = self.coast.is_land(x[due], y[due])
        water = due & ~land
        if water.any():
            self.reach[water] = self.coast.distance_to_shore(x[water], y[water])
        if not land.any():
            return
        if before is None:
            self.ashore[land] = 0.0
            return
        start_x, start_y, dt = before
        share = self._shore(start_x[land], start_y[land], x[land], y[land])
        x[land] = start_x[land] + share * (x[land] - start_x[land])
        y[land] = start_y[land] + share * (y[land] - start_y[land])
        self.ashore[land] = since[land] + share * dt

    def _shore(self, x0: FloatArray, y0: FloatArray, x1: FloatArray, y1: FloatArray) -> FloatArray:
        """Share of a step at which it reaches land, by halving."""
        low, high = np.zeros(x0.shape), np.ones(x0.shape)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            land = self.coast.is_land(x0 + middle * (x1 - x0), y0 + middle * (y1 - y0))
            high = np.where(land, middle, high)
            low = np.where(land, low, middle)
        return high


def _moved(
    x: FloatArray, y: FloatArray, east_m: FloatArray, north_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Position after a short way on the ellipsoid, by its radii of curvature."""
    latitude = np.radians(y)
    w = np.sqrt(1.0 - _WGS84_E2 * np.sin(latitude) ** 2)
    meridian, prime = _WGS84_A * (1.0 - _WGS84_E2) / w**3, _WGS84_A / w
    parallel = prime * np.maximum(np.cos(latitude), 1e-9)
    return x + np.degrees(east_m / parallel), y + np.degrees(north_m / meridian)

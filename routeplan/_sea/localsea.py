"""Wind sea at points, hour by hour, from the wind so far and the fetch toward it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from routeplan._sea.growth import GRAVITY_MS2, duration_of_cem2003, wave_growth_cem2003
from routeplan.errors import InputError
from routeplan.wind import wind_direction, wind_speed

__all__ = ["LocalSea", "fetch_toward", "local_sea"]

FloatArray = NDArray[np.float64]

_CLEAR_SHORTEST_S = 600.0
_CLEAR_LONGEST_S = 6 * 3600.0


def fetch_toward(rose_m: FloatArray, direction_deg: FloatArray) -> FloatArray:
    """Fetch toward a direction, between the spokes of a rose linearly.

    Parameters
    ----------
    rose_m : ndarray, shape (k, s)
        Fetch in s directions, evenly spaced from north clockwise. [m]
    direction_deg : ndarray, shape (k, ...)
        Where wind or waves come from. [degrees true]

    Returns
    -------
    ndarray, shape (k, ...)
        [m]; nan where the direction is.
    """
    spokes = rose_m.shape[1]
    known = np.isfinite(direction_deg)
    place = np.where(known, direction_deg, 0.0) % 360.0 * spokes / 360.0
    low = np.floor(place).astype(int)
    share = place - low
    point = np.arange(rose_m.shape[0]).reshape(-1, *[1] * (direction_deg.ndim - 1))
    near = rose_m[point, low % spokes]
    far = rose_m[point, (low + 1) % spokes]
    return np.where(known, near * (1.0 - share) + far * share, np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class LocalSea:
    """Wind sea at points, hours and members: height_m Hm0 and period_s Tp, shape (k, T, e)."""

    height_m: FloatArray
    period_s: FloatArray


def local_sea(
    eastward: FloatArray, northward: FloatArray, seconds: FloatArray, rose_m: FloatArray
) -> LocalSea:
    """Wind sea hour by hour from the wind so far and the fetch toward it.

    Parameters
    ----------
    eastward, northward : ndarray, shape (k, T, e)
        Wind at k points. [m/s]
    seconds : ndarray, shape (T,)
        Times, ascending. [s]
    rose_m : ndarray, shape (k, s)
        Fetch rose of each point; see `fetch_toward`. [m]

    Returns
    -------
    LocalSea
        nan where the wind is unknown.

    Raises
    ------
    InputError
        When shapes do not fit.

    Notes
    -----
    Growth is that of `wave_growth_cem2003`. From one time to the next the energy that runs with
    the new wind is put on the growth curve at the duration that would have raised it, and grows
    from there with the new wind and fetch; energy that exceeds what wind and fetch can hold, or
    that ran across the new wind (the share 1 - cos² of the turn, all of it beyond 90 degrees),
    becomes an old sea. Old sea dies away with the time its group velocity g Tp/4π needs to leave
    the fetch, 10 minutes to 6 hours (assumption). Heights add as squares. Before the first hour
    the wind is taken to have blown always as in that hour, which is the rougher assumption.
    """
    if eastward.shape != northward.shape or eastward.ndim != 3:
        msg = "wind for a local sea needs two arrays of one shape (points, times, members)"
        raise InputError(msg, field="wind")
    if rose_m.ndim != 2 or rose_m.shape[0] != eastward.shape[0]:
        msg = f"fetch roses have shape {rose_m.shape}; needed is ({eastward.shape[0]}, directions)"
        raise InputError(msg, field="rose_m")
    speed, source = wind_speed(eastward, northward), wind_direction(eastward, northward)
    fetch = fetch_toward(rose_m, np.where(np.isnan(source), 0.0, source))
    height, period = np.empty(speed.shape), np.empty(speed.shape)
    most = wave_growth_cem2003(speed, fetch)  # what the wind of each hour raises in the end
    settled = [
        _Sea.settled(most[0][:, i], most[1][:, i], fetch[:, i], source[:, i])
        for i in range(seconds.size)
    ]
    state = settled[0]
    height[:, 0], period[:, 0] = state.total
    for i in range(1, seconds.size):
        dt = float(seconds[i] - seconds[i - 1])
        state = state.later(settled[i], speed[:, i], dt)
        height[:, i], period[:, i] = state.total
    return LocalSea(height, period)


@dataclass(frozen=True, slots=True, eq=False)
class _Sea:
    """Heights squared of the sea under the wind and of the old sea, (k, e)."""

    young: FloatArray
    old: FloatArray
    young_period: FloatArray
    old_period: FloatArray
    source: FloatArray
    fetch: FloatArray

    @staticmethod
    def settled(
        height: FloatArray, period: FloatArray, fetch: FloatArray, source: FloatArray
    ) -> _Sea:
        """Sea of a wind that has always blown, from its height and period."""
        nothing = np.zeros(height.shape)
        return _Sea(height**2, nothing, period, nothing, source, fetch)

    @property
    def total(self) -> tuple[FloatArray, FloatArray]:
        """Height, and the period of the larger part."""
        period = np.where(self.young >= self.old, self.young_period, self.old_period)
        height = np.sqrt(self.young + self.old)
        return height, np.where(np.isnan(height), np.nan, period)

    def later(self, new: _Sea, speed: FloatArray, dt: float) -> _Sea:
        """Sea after dt seconds with the wind that would in the end raise the sea `new`."""
        turn = np.radians(new.source - self.source)
        along = np.where(np.isnan(turn), 1.0, np.maximum(np.cos(turn), 0.0) ** 2)
        carried = self.young * along
        held = np.minimum(carried, new.young)
        height, period = wave_growth_cem2003(
            speed, new.fetch, duration_of_cem2003(speed, held) + dt
        )
        shed = self.young - held
        old_period = np.where(shed > self.old, self.young_period, self.old_period)
        group = np.maximum(GRAVITY_MS2 * old_period / (4.0 * np.pi), 1e-3)
        leaves = np.clip(self.fetch / group, _CLEAR_SHORTEST_S, _CLEAR_LONGEST_S)
        old = (self.old + shed) * np.exp(-dt / leaves)
        # After a gap in the wind: as if the new wind had always blown.
        gap = np.isnan(self.young) | np.isnan(self.old)
        return _Sea(
            young=np.where(gap, new.young, height**2),
            old=np.where(gap, 0.0, old),
            young_period=np.where(gap, new.young_period, period),
            old_period=np.where(gap, 0.0, old_period),
            source=new.source,
            fetch=new.fetch,
        )

"""Which sea counts where: the forecast's waves in the open, the local wind sea in shelter."""

from __future__ import annotations

from dataclasses import replace
from enum import IntEnum
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from routeplan._sea.growth import steepness
from routeplan._sea.localsea import LocalSea, fetch_toward, local_sea
from routeplan.wind import wind_direction

if TYPE_CHECKING:
    from routeplan.sampling import PointSeries

__all__ = ["OPEN_FETCH_M", "WaveSource", "with_sea"]

FloatArray = NDArray[np.float64]

OPEN_FETCH_M = 20_000.0  # assumption: waves of the open sea arrive only over at least this much
_BEND_DEG = (-30.0, -20.0, -10.0, 0.0, 10.0, 20.0, 30.0)  # assumption: how far they bend round

_HEIGHT = "sea_surface_wave_significant_height"
_FROM = "sea_surface_wave_from_direction"
_PERIODS = (  # the peak period first: steepness is meant for it
    "sea_surface_wave_period_at_variance_spectral_density_maximum",
    "sea_surface_wave_mean_period",
)


class WaveSource(IntEnum):
    """Where a wave height comes from; the larger says less."""

    FORECAST = 1
    SHELTER = 2  # local sea: the forecast's waves cannot get in here
    LOCAL = 3  # local sea, complete: no forecast of waves, and no open sea for swell to come from
    NO_SWELL = 4  # local sea only, where swell could come in: a lower bound


def with_sea(
    series: PointSeries, rose_m: FloatArray, *, open_fetch_m: float = OPEN_FETCH_M
) -> PointSeries:
    """Series with one sea at every point and hour, and where each comes from.

    Parameters
    ----------
    series : PointSeries
        Wind is needed; waves are used where the forecast has them.
    rose_m : ndarray, shape (k, s)
        Fetch rose of each point, s directions from north clockwise. [m]
    open_fetch_m : float
        Waves of the open sea arrive where the fetch toward them, within 30 degrees either side,
        is at least this long. [m]

    Returns
    -------
    PointSeries
        With wave height, direction, `sea_surface_wave_steepness` and `wave_source` (`WaveSource`)
        replaced or added. nan where neither sea is known.

    Notes
    -----
    The forecast's waves count where they can arrive: by their direction, or over the longest
    fetch where the forecast tells none. Elsewhere, and where the forecast has no value (its grid
    calls it land), the local wind sea counts. `NO_SWELL` marks points open to swell of which
    nothing is known.
    """
    values = series.values
    u, v = values["eastward_wind"], values["northward_wind"]
    seconds = (series.time - series.time[0]) / np.timedelta64(1, "ns") / 1e9
    local = local_sea(u, v, seconds, rose_m)
    unknown = np.full((1, 1, 1), np.nan)
    given = np.broadcast_to(values.get(_HEIGHT, unknown), u.shape)
    source_deg = np.broadcast_to(values.get(_FROM, unknown), u.shape)
    arrives = _arrives(rose_m, source_deg, open_fetch_m)
    use = np.isfinite(given) & arrives
    wide = rose_m.max(axis=1)[:, None, None] >= open_fetch_m
    otherwise = np.where(
        np.isfinite(given),
        float(WaveSource.SHELTER),
        np.where(wide, float(WaveSource.NO_SWELL), float(WaveSource.LOCAL)),
    )
    wind_from = np.where(np.isnan(wind_direction(u, v)), 0.0, wind_direction(u, v))
    own_from = np.where(np.isfinite(source_deg), source_deg, wind_from)
    return replace(
        series,
        values={
            **values,
            _HEIGHT: np.where(use, given, local.height_m),
            _FROM: np.where(use, own_from, wind_from),
            "sea_surface_wave_steepness": _steepness(series, use, given, local),
            "wave_source": np.where(use, float(WaveSource.FORECAST), otherwise),
        },
    )


def _arrives(rose_m: FloatArray, source_deg: FloatArray, open_fetch_m: float) -> NDArray[np.bool_]:
    """Whether waves from a direction reach each point; by the widest spoke without one."""
    longest = np.maximum.reduce([fetch_toward(rose_m, source_deg + turn) for turn in _BEND_DEG])
    widest = rose_m.max(axis=1)[:, None, None]
    return np.asarray(np.where(np.isnan(longest), widest, longest) >= open_fetch_m)


def _steepness(
    series: PointSeries, use: NDArray[np.bool_], given: FloatArray, local: LocalSea
) -> FloatArray:
    """Steepness of the sea that counts; nan where the forecast gives no period."""
    unknown = np.full((1, 1, 1), np.nan)
    periods = [series.values[name] for name in _PERIODS if name in series.values]
    period = np.broadcast_to(periods[0] if periods else unknown, given.shape)
    own = steepness(given, period)
    return np.where(use, own, steepness(local.height_m, local.period_s))

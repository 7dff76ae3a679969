"""Growth curves of the wind sea, each under the name of its source.

References
----------
[1] US Army Corps of Engineers, Coastal Engineering Manual, EM 1110-2-1100, part II chapter 2,
    2003, equations II-2-36 to II-2-38.
[2] US Army Corps of Engineers, Shore Protection Manual, 4th ed., 1984, chapter 3.
[3] K. Hasselmann et al., "Measurements of wind-wave growth and swell decay during the Joint North
    Sea Wave Project (JONSWAP)", Dt. Hydrogr. Z. Reihe A 8 (12), 1973.
[4] K. Hasselmann, D. B. Ross, P. Müller and W. Sell, "A parametric wave prediction model",
    J. Phys. Oceanogr. 6, 200-228, 1976.
[5] A. W. Lewis and R. N. Allos, "JONSWAP's parameters: sorting out inconsistencies", Ocean
    Engng 17 (4), 409-415, 1990.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from routeplan.errors import InputError

__all__ = [
    "GRAVITY_MS2",
    "duration_of_cem2003",
    "steepness",
    "wave_growth_cem2003",
    "wave_growth_hasselmann1973",
    "wave_growth_hasselmann1976",
    "wave_growth_lewis1990",
    "wave_growth_spm1984",
]

FloatArray = NDArray[np.float64]

GRAVITY_MS2 = 9.81  # as the growth curves' sources round it

_CALM_MS = 0.1  # below this the sea is taken as flat: the curves divide by the wind


def wave_growth_cem2003(
    wind_ms: ArrayLike, fetch_m: ArrayLike, duration_s: ArrayLike = np.inf
) -> tuple[FloatArray, FloatArray]:
    """Height and period by the Coastal Engineering Manual of 2003.

    Parameters
    ----------
    wind_ms : array_like
        Wind at 10 m over water. [m/s]
    fetch_m : array_like
        Straight-line fetch; the manual advises against effective fetches. [m]
    duration_s : array_like
        How long the wind has blown; infinite by default. [s]

    Returns
    -------
    height, period : ndarray
        Hm0 [m] and Tp [s], broadcast shape; 0 in a calm or without fetch.

    Notes
    -----
    With u* = U sqrt(CD), CD = 0.001 (1.1 + 0.035 U) and X the lesser of the fetch and the fetch
    equivalent to the duration, g X/u*² = 5.23e-3 (g t/u*)^1.5:

        g Hm0/u*² = 0.0413 (g X/u*²)^0.5,   at most 211.5
        g Tp/u*   = 0.651 (g X/u*²)^(1/3),  at most 239.8                          [1]_
    """
    wind, fetch, duration = _inputs(wind_ms, fetch_m, duration_s)
    friction = wind * np.sqrt(0.001 * (1.1 + 0.035 * wind))
    blown = GRAVITY_MS2 * np.minimum(duration, 1e9) / friction
    x = np.minimum(GRAVITY_MS2 * fetch / friction**2, 5.23e-3 * blown**1.5)
    height = np.minimum(0.0413 * np.sqrt(x), 211.5) * friction**2 / GRAVITY_MS2
    period = np.minimum(0.651 * np.cbrt(x), 239.8) * friction / GRAVITY_MS2
    return _calm(wind_ms, fetch_m, height), _calm(wind_ms, fetch_m, period)


def wave_growth_spm1984(
    wind_ms: ArrayLike, fetch_m: ArrayLike, duration_s: ArrayLike = np.inf
) -> tuple[FloatArray, FloatArray]:
    """Height and period by the Shore Protection Manual of 1984, deep water.

    Parameters and results as in `wave_growth_cem2003`.

    Notes
    -----
    With the adjusted wind UA = 0.71 U^1.23 and F the lesser of the fetch and the one that
    g t/UA = 68.8 (g F/UA²)^(2/3) gives for the duration:

        g Hm0/UA² = 1.6e-3 (g F/UA²)^0.5,   at most 0.2433
        g Tp/UA   = 0.2857 (g F/UA²)^(1/3), at most 8.134                          [2]_
    """
    wind, fetch, duration = _inputs(wind_ms, fetch_m, duration_s)
    adjusted = 0.71 * wind**1.23
    blown = GRAVITY_MS2 * np.minimum(duration, 1e9) / adjusted
    x = np.minimum(GRAVITY_MS2 * fetch / adjusted**2, (blown / 68.8) ** 1.5)
    height = np.minimum(1.6e-3 * np.sqrt(x), 0.2433) * adjusted**2 / GRAVITY_MS2
    period = np.minimum(0.2857 * np.cbrt(x), 8.134) * adjusted / GRAVITY_MS2
    return _calm(wind_ms, fetch_m, height), _calm(wind_ms, fetch_m, period)


def wave_growth_hasselmann1973(
    wind_ms: ArrayLike, fetch_m: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Height and period by JONSWAP, fetch-limited, as of 1973.

    Notes
    -----
    With z = g F/U²: energy g² m0/U⁴ = 9.91e-8 z^1.1, peak frequency U fp/g = 3.5 z^-0.33,
    Hm0 = 4 sqrt(m0). [3]_
    """
    z, wind = _scaled(wind_ms, fetch_m)
    return _jonswap(wind_ms, fetch_m, wind, 9.91e-8 * z**1.1, 3.5 * z**-0.33)


def wave_growth_hasselmann1976(
    wind_ms: ArrayLike, fetch_m: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Height and period by JONSWAP, fetch-limited, as revised in 1976.

    Notes
    -----
    With z = g F/U²: energy g² m0/U⁴ = 1.6e-7 z, peak frequency U fp/g = 2.84 z^-0.3. [4]_
    """
    z, wind = _scaled(wind_ms, fetch_m)
    return _jonswap(wind_ms, fetch_m, wind, 1.6e-7 * z, 2.84 * z**-0.3)


def wave_growth_lewis1990(
    wind_ms: ArrayLike, fetch_m: ArrayLike, *, gravity_ms2: float = GRAVITY_MS2
) -> tuple[FloatArray, FloatArray]:
    """Height and period by JONSWAP, fetch-limited, with consistent parameters.

    Notes
    -----
    With z = g F/U²: A = 0.074 z^-0.22, U fp/g = 3.57 z^-0.33, energy 3.512e-4 A (U fp/g)^-4
    z^-0.1. [5]_
    """
    z, wind = _scaled(wind_ms, fetch_m, gravity_ms2)
    frequency = 3.57 * z**-0.33
    energy = 3.512e-4 * 0.074 * z**-0.22 * frequency**-4.0 * z**-0.1
    return _jonswap(wind_ms, fetch_m, wind, energy, frequency, gravity_ms2)


def duration_of_cem2003(speed: FloatArray, height2: FloatArray) -> FloatArray:
    """Duration for which a wind raises a height, `wave_growth_cem2003` turned round [s]."""
    wind = np.maximum(np.nan_to_num(speed), _CALM_MS)
    friction = wind * np.sqrt(0.001 * (1.1 + 0.035 * wind))
    x = (GRAVITY_MS2 * np.sqrt(height2) / friction**2 / 0.0413) ** 2
    return np.asarray((x / 5.23e-3) ** (2.0 / 3.0) * friction / GRAVITY_MS2)


def steepness(height_m: ArrayLike, period_s: ArrayLike) -> FloatArray:
    """Significant height over the deep-water length of the peak, Hm0 / (g Tp² / 2π). [-]."""
    height, period = np.asarray(height_m, dtype=float), np.asarray(period_s, dtype=float)
    length = GRAVITY_MS2 * period**2 / (2.0 * np.pi)
    ratio = height / np.where(length == 0.0, 1.0, length)
    return np.asarray(np.where(length == 0.0, 0.0 * height, ratio))


def _inputs(
    wind_ms: ArrayLike, fetch_m: ArrayLike, duration_s: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    wind, fetch, duration = (np.asarray(a, dtype=float) for a in (wind_ms, fetch_m, duration_s))
    for name, values in (("wind", wind), ("fetch", fetch), ("duration", duration)):
        if np.any(values < 0.0):
            msg = f"{name} of a growing sea is {np.nanmin(values):g}; allowed are 0 and more"
            raise InputError(msg, field=name)
    return np.maximum(wind, _CALM_MS), fetch, duration


def _scaled(
    wind_ms: ArrayLike, fetch_m: ArrayLike, gravity: float = GRAVITY_MS2
) -> tuple[FloatArray, FloatArray]:
    wind, fetch, _ = _inputs(wind_ms, fetch_m, 0.0)
    return np.maximum(gravity * fetch / wind**2, 1e-9), wind


def _jonswap(
    wind_ms: ArrayLike,
    fetch_m: ArrayLike,
    wind: FloatArray,
    energy: FloatArray,
    frequency: FloatArray,
    gravity: float = GRAVITY_MS2,
) -> tuple[FloatArray, FloatArray]:
    height = 4.0 * np.sqrt(energy) * wind**2 / gravity
    period = wind / (frequency * gravity)
    return _calm(wind_ms, fetch_m, height), _calm(wind_ms, fetch_m, period)


def _calm(wind_ms: ArrayLike, fetch_m: ArrayLike, value: FloatArray) -> FloatArray:
    """No sea in a calm or without fetch."""
    flat = (np.asarray(wind_ms) < _CALM_MS) | (np.asarray(fetch_m) <= 0.0)
    return np.where(flat, 0.0, value)

"""Cold: how wind makes cold air feel.

References
----------
[1] National Weather Service, "Wind chill chart", index of 2001.
[2] Meteorological Service of Canada, wind chill index of 2001, the same as t_WC of ISO 11079:2007.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from routeplan.units import MILE_M, ZERO_CELSIUS_K

__all__ = ["wind_chill_msc2001", "wind_chill_nws2001"]

FloatArray = NDArray[np.float64]

_WARM_K = ZERO_CELSIUS_K + 10.0  # 50 °F
_STILL_MSC_MS = 4.8 / 3.6
_STILL_NWS_MS = 3.0 * MILE_M / 3600.0


def wind_chill_msc2001(temperature_k: ArrayLike, wind_ms: ArrayLike) -> FloatArray:
    """Wind chill temperature, metric form.

    Parameters
    ----------
    temperature_k : array_like
        Air temperature. [K]
    wind_ms : array_like
        Wind at 10 m. [m/s]

    Returns
    -------
    ndarray
        [K]; the air temperature itself above 10 °C or below 4.8 km/h, where the index is not
        defined; nan where an input is.

    Notes
    -----
    t_WC = 13.12 + 0.6215 T - 11.37 V^0.16 + 0.3965 T V^0.16, T in °C, V in km/h. [2]_
    """
    kelvin, wind = np.asarray(temperature_k, dtype=float), np.asarray(wind_ms, dtype=float)
    celsius = kelvin - ZERO_CELSIUS_K
    power = np.maximum(wind * 3.6, 0.0) ** 0.16
    felt = 13.12 + 0.6215 * celsius - 11.37 * power + 0.3965 * celsius * power
    return _where_defined(kelvin, wind, felt + ZERO_CELSIUS_K, _STILL_MSC_MS)


def wind_chill_nws2001(temperature_k: ArrayLike, wind_ms: ArrayLike) -> FloatArray:
    """Wind chill temperature, with the coefficients in °F and mph.

    Parameters and results as in `wind_chill_msc2001`; the two differ by rounded coefficients.

    Notes
    -----
    35.74 + 0.6215 T - 35.75 V^0.16 + 0.4275 T V^0.16, T in °F up to 50, V in mph above 3. [1]_
    """
    kelvin, wind = np.asarray(temperature_k, dtype=float), np.asarray(wind_ms, dtype=float)
    fahrenheit = (kelvin - ZERO_CELSIUS_K) * 1.8 + 32.0
    power = np.maximum(wind * 3600.0 / MILE_M, 0.0) ** 0.16
    felt = 35.74 + 0.6215 * fahrenheit - 35.75 * power + 0.4275 * fahrenheit * power
    return _where_defined(kelvin, wind, (felt - 32.0) / 1.8 + ZERO_CELSIUS_K, _STILL_NWS_MS)


def _where_defined(
    kelvin: FloatArray, wind: FloatArray, felt: FloatArray, still_ms: float
) -> FloatArray:
    outside = (kelvin > _WARM_K) | (wind <= still_ms)
    return np.where(np.isnan(kelvin) | np.isnan(wind), np.nan, np.where(outside, kelvin, felt))

"""Local wind sea: how high the wind of the hours before raises it over the fetch toward it.

Growth curves stand side by side under the name of their source and are never mixed: they differ
by 20 to 40 %, and each is right only together with its own wind measure and period.

    height, period = wave_growth_cem2003(wind_ms=10.0, fetch_m=10_000.0)
    sea = local_sea(eastward, northward, seconds, fetch_rose_m)       # hour by hour
    series = with_sea(series, fetch_rose_m)       # forecast waves where open, else the local sea

Heights are Hm0 and periods peak periods, deep water. A local sea holds no swell from outside.
"""

from __future__ import annotations

from routeplan._sea.growth import (
    GRAVITY_MS2,
    steepness,
    wave_growth_cem2003,
    wave_growth_hasselmann1973,
    wave_growth_hasselmann1976,
    wave_growth_lewis1990,
    wave_growth_spm1984,
)
from routeplan._sea.localsea import LocalSea, fetch_toward, local_sea
from routeplan._sea.seachoice import OPEN_FETCH_M, WaveSource, with_sea

__all__ = [
    "GRAVITY_MS2",
    "OPEN_FETCH_M",
    "LocalSea",
    "WaveSource",
    "fetch_toward",
    "local_sea",
    "steepness",
    "wave_growth_cem2003",
    "wave_growth_hasselmann1973",
    "wave_growth_hasselmann1976",
    "wave_growth_lewis1990",
    "wave_growth_spm1984",
    "with_sea",
]

"""The forecast services: where they are, what they ask for, which hours they have."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from routeplan._provider.base import Service
from routeplan._provider.ecmwf import ECMWF, ecmwf_ensemble_steps, ecmwf_steps
from routeplan._provider.nomads import GEFS, GFS, gefs_steps, gfs_steps

__all__ = ["PROVIDERS", "Provider"]

_NOMADS = "https://nomads.ncep.noaa.gov"

# The server shuts out who asks more than 120 times a minute (as told to users, April 2021:
# gradsusr.org, 2021-04-27).
_NOMADS_PAUSE_S = 0.6

# National Weather Service, www.weather.gov/disclaimer (accessed 2026-11-25): in the public
# domain, free for any lawful purpose, not to be claimed as one's own, and no endorsement implied.
_NOAA_LICENCE = "public domain (United States Government work)"
_NOAA_LICENCE_URL = "https://www.weather.gov/disclaimer"

# The wording is ECMWF's own, which it asks for: "ECMWF open data: real-time forecasts",
# confluence.ecmwf.int/display/DAC (accessed 2026-11-25).
_ECMWF_ATTRIBUTION = (
    "Copyright © {year} European Centre for Medium-Range Weather Forecasts (ECMWF). "
    "Source www.ecmwf.int. This data is published under a Creative Commons Attribution 4.0 "
    "International (CC BY 4.0) licence, https://creativecommons.org/licenses/by/4.0/. "
    "ECMWF does not accept any liability whatsoever for any error or omission in the data, their "
    "availability, or for any loss or damage arising from their use. "
    "Modified: fields were selected and cut to an area."
)


@dataclass(frozen=True, slots=True)
class Provider:
    """A forecast service.

    `variable` is the environment variable that replaces `base_url`. `steps` and `member_steps`
    give the forecast hours of a run by its hour of the day (UTC), for a single forecast and for
    the ensemble; `numbers` are the ensemble's members (empty: it has none), `single_number` the
    one that stands for a single forecast where files are per member. `lag_s` is the time after
    a run's hour before which none of it is out [s], `pause_s` the least time between two
    requests [s].
    """

    name: str
    title: str
    documentation: str
    base_url: str
    variable: str
    licence: str
    licence_url: str
    attribution: str
    service: Service
    steps: Callable[[int], Sequence[int]]
    member_steps: Callable[[int], Sequence[int]]
    numbers: tuple[int, ...]
    single_number: tuple[int, ...]
    lag_s: float
    pause_s: float


_ALL = (
    Provider(
        name="gfs",
        title="NOAA GFS 0.25° with GFS-Wave 0.25°",
        documentation="https://www.nco.ncep.noaa.gov/pmb/products/gfs/",
        base_url=_NOMADS,
        variable="ROUTEPLAN_GFS_URL",
        licence=_NOAA_LICENCE,
        licence_url=_NOAA_LICENCE_URL,
        attribution="Data: NOAA/NWS/NCEP, Global Forecast System (GFS, GFS-Wave), from NOMADS.",
        service=GFS,
        steps=gfs_steps,
        member_steps=gfs_steps,
        numbers=(),
        single_number=(),
        lag_s=3.0 * 3600,
        pause_s=_NOMADS_PAUSE_S,
    ),
    Provider(
        name="gefs",
        title="NOAA GEFS 0.25° with GEFS-Wave 0.25°",
        documentation="https://www.nco.ncep.noaa.gov/pmb/products/gens/",
        base_url=_NOMADS,
        variable="ROUTEPLAN_GEFS_URL",
        licence=_NOAA_LICENCE,
        licence_url=_NOAA_LICENCE_URL,
        attribution="Data: NOAA/NWS/NCEP, Global Ensemble Forecast System (GEFS), from NOMADS.",
        service=GEFS,
        steps=gefs_steps,
        member_steps=gefs_steps,
        numbers=tuple(range(31)),
        single_number=(0,),
        lag_s=3.5 * 3600,
        pause_s=_NOMADS_PAUSE_S,
    ),
    Provider(
        name="ecmwf",
        title="ECMWF IFS open data 0.25° with ECMWF waves",
        documentation="https://confluence.ecmwf.int/display/DAC",
        base_url="https://data.ecmwf.int/forecasts",
        variable="ROUTEPLAN_ECMWF_URL",
        licence="CC BY 4.0",
        licence_url="https://creativecommons.org/licenses/by/4.0/",
        attribution=_ECMWF_ATTRIBUTION,
        service=ECMWF,
        steps=ecmwf_steps,
        member_steps=ecmwf_ensemble_steps,
        numbers=tuple(range(1, 51)),
        single_number=(),
        lag_s=5.0 * 3600,
        pause_s=0.1,
    ),
)

PROVIDERS: Mapping[str, Provider] = MappingProxyType({p.name: p for p in _ALL})

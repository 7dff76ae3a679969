"""What the user accepts, and the words for how something stands against it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from pathlib import Path as FilePath
from types import MappingProxyType
from typing import Any

import numpy as np

from routeplan._judge.limitsfile import Key, read_table, table_values
from routeplan.errors import InputError
from routeplan.units import KNOT_MS

__all__ = [
    "LIMIT_FIELDS",
    "ON_PASSAGE",
    "UNITS_SI",
    "Limits",
    "Verdict",
    "limits_of_table",
    "quantity_of",
    "read_limits",
]


class Verdict(IntEnum):
    """How something stands against a limit; the larger is the worse."""

    WITHIN = 0
    CLOSE = 1
    UNKNOWN = 2
    BEYOND = 3

    @property
    def word(self) -> str:
        """The verdict in a word: "within", "close", "unknown", "beyond"."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Limits:
    """What the user accepts; None sets no such limit.

    The defaults are cautious figures of common practice for loaded boards and kayaks on open
    coasts; they have no published source. Whoever leads the trip sets their own.

    Attributes
    ----------
    wind_ms, gust_ms, headwind_ms, crosswind_ms : float or None
        Mean wind, gust, wind against and across the course. [m/s]
    offshore_wind_ms, offshore_wind_beyond_m : float or None, float
        Wind blowing off the nearest shore while farther from it than the second. [m/s], [m]
    wave_height_m, wave_steepness : float or None
        Significant height [m]; height over deep-water wave length [-].
    opposing_current_ms : float or None
        Current running against the wind. [m/s]
    offshore_m : float or None
        Distance from shore. [m]
    time_on_water_s : float or None
        From launch to arrival. [s]
    daylight_margin_s : float or None
        Time kept between arrival and civil dusk. [s]
    drift_s : float or None
        Longest time until ashore when adrift, from anywhere on the way. [s]
    visibility_m, cape_j_kg : float or None
        Least visibility [m]; convective available potential energy, for thunder [J/kg].
    wind_chill_k, water_temperature_k : float or None
        Least temperatures. [K]
    offshore_notice_m : float
        Legs farther out are flagged in words even where the limit allows more. [m]
    close_share : float
        A margin smaller than this share of the limit is close. [-]
    member_share : float
        With an ensemble: share of members that must reach a verdict. [-]
    delay_s, slower_share : float
        A robust launch stays good when it leaves this much later, and when the party is slower
        by this share. [s], [-]
    explicit : frozenset of str
        Names of the limits the user set. A limit that is set and cannot be judged is unknown; a
        default one is listed as not judged.
    """

    wind_ms: float | None = 12.0 * KNOT_MS
    gust_ms: float | None = 17.0 * KNOT_MS
    headwind_ms: float | None = 10.0 * KNOT_MS
    crosswind_ms: float | None = None
    offshore_wind_ms: float | None = None
    offshore_wind_beyond_m: float = 500.0
    wave_height_m: float | None = 0.6
    wave_steepness: float | None = None
    opposing_current_ms: float | None = 1.0 * KNOT_MS
    offshore_m: float | None = 1000.0
    time_on_water_s: float | None = None
    daylight_margin_s: float | None = 1800.0
    drift_s: float | None = None
    visibility_m: float | None = 2000.0
    cape_j_kg: float | None = 1000.0
    wind_chill_k: float | None = None
    water_temperature_k: float | None = None
    offshore_notice_m: float = 1000.0
    close_share: float = 0.1
    member_share: float = 0.9
    delay_s: float = 1800.0
    slower_share: float = 0.15
    explicit: frozenset[str] = field(default_factory=frozenset)

    def __post_init__(self) -> None:
        for key in _KEYS.values():
            value = getattr(self, key.field)
            if value is None and key.optional:
                continue
            if value is None or not key.low <= value <= key.high:
                msg = f"limit {key.name}: {value!r} is not allowed; allowed is {key.range_words}"
                raise InputError(msg, field=key.name, value=value)
        unknown = self.explicit - set(_KEYS)
        if unknown:
            msg = f"limits {', '.join(sorted(unknown))} do not exist; there are {', '.join(_KEYS)}"
            raise InputError(msg, field="explicit")

    def value(self, name: str) -> float:
        """Value of a limit by its name, SI; nan where none is set or it has no figure."""
        key = _KEYS.get(name)
        value = None if key is None else getattr(self, key.field)
        return np.nan if value is None else float(value)


_KEYS: Mapping[str, Key] = MappingProxyType(
    {
        key.name: key
        for key in (
            Key("wind", "wind_ms", "wind speed", 0.0, 60.0),
            Key("gust", "gust_ms", "wind speed", 0.0, 80.0),
            Key("headwind", "headwind_ms", "wind speed", 0.0, 60.0),
            Key("crosswind", "crosswind_ms", "wind speed", 0.0, 60.0),
            Key("offshore_wind", "offshore_wind_ms", "wind speed", 0.0, 60.0),
            Key("offshore_wind_beyond", "offshore_wind_beyond_m", "length", 0.0, 1e6, False),
            Key("wave_height", "wave_height_m", "length", 0.0, 20.0),
            Key("wave_steepness", "wave_steepness", "share", 0.001, 0.2),
            Key("opposing_current", "opposing_current_ms", "speed", 0.0, 10.0),
            Key("offshore", "offshore_m", "length", 1.0, 1e6),
            Key("time_on_water", "time_on_water_s", "time", 60.0, 5 * 86400.0),
            Key("daylight", "daylight_margin_s", "time", 0.0, 43200.0),
            Key("drift", "drift_s", "time", 600.0, 48 * 3600.0),
            Key("visibility", "visibility_m", "length", 1.0, 1e5),
            Key("cape", "cape_j_kg", "specific energy", 0.0, 1e4),
            Key("wind_chill", "wind_chill_k", "temperature", 173.15, 313.15),
            Key("water_temperature", "water_temperature_k", "temperature", 268.15, 313.15),
            Key("offshore_notice", "offshore_notice_m", "length", 0.0, 1e6, False),
            Key("close_share", "close_share", "share", 0.0, 0.9, False),
            Key("member_share", "member_share", "share", 0.01, 1.0, False),
            Key("delay", "delay_s", "time", 0.0, 86400.0, False),
            Key("slower", "slower_share", "share", 0.0, 0.8, False),
        )
    }
)

# Limits on a quantity of the passage: name -> (quantity, 1 where more is worse, scale or None).
# A temperature has no share of itself; ten degrees stand for the whole.
ON_PASSAGE: Mapping[str, tuple[str, float, float | None]] = MappingProxyType(
    {
        "wind": ("wind", 1.0, None),
        "gust": ("gust", 1.0, None),
        "headwind": ("headwind", 1.0, None),
        "crosswind": ("crosswind", 1.0, None),
        "offshore_wind": ("offshore_wind", 1.0, None),
        "wave_height": ("wave_height", 1.0, None),
        "wave_steepness": ("steepness", 1.0, None),
        "opposing_current": ("opposing_current", 1.0, None),
        "drift": ("drift", 1.0, None),
        "visibility": ("visibility", -1.0, None),
        "cape": ("cape", 1.0, None),
        "wind_chill": ("wind_chill", -1.0, 10.0),
        "water_temperature": ("water_temperature", -1.0, 10.0),
    }
)


UNITS_SI: Mapping[str, str] = MappingProxyType(
    {
        **{name: "m/s" for name, key in _KEYS.items() if "speed" in key.dimension},
        **{name: "m" for name, key in _KEYS.items() if key.dimension == "length"},
        **{name: "s" for name, key in _KEYS.items() if key.dimension == "time"},
        **{name: "K" for name, key in _KEYS.items() if key.dimension == "temperature"},
        "cape": "J/kg",
        "wave_steepness": "1",
        "land": "m",
        "progress": "",
        "current": "",
    }
)


LIMIT_FIELDS: Mapping[str, str] = MappingProxyType({n: key.field for n, key in _KEYS.items()})
"""Name of a limit, as in files and findings, to its field of `Limits`."""


def quantity_of(limit: str) -> str | None:
    """Quantity of a passage that a limit is held against; None where it is another thing."""
    return ON_PASSAGE[limit][0] if limit in ON_PASSAGE else None


def read_limits(path: str | FilePath) -> Limits:
    """Read the table [limits] of a TOML file.

    Every value is a text with its unit, or "none" for no such limit:

        [limits]
        wind = "12 kn"          # or "4 Bft": the fastest wind of that force
        offshore = "1500 m"
        daylight = "45 min"     # margin before civil dusk
        gust = "none"

    Keys: wind, gust, headwind, crosswind, offshore_wind, offshore_wind_beyond, wave_height,
    wave_steepness, opposing_current, offshore, time_on_water, daylight, drift, visibility, cape,
    wind_chill, water_temperature, offshore_notice, close_share, member_share, delay, slower.

    Raises
    ------
    InputError
        A file that cannot be read, is larger than 64 kB or no TOML, an unknown key, a bare
        number, a unit of another kind, or a value out of range: one line naming file and key.
    """
    return Limits(**read_table(path, _KEYS))


def limits_of_table(path: FilePath, table: Mapping[str, Any]) -> Limits:
    """Limits of a table [limits] that is parsed already; see `read_limits`."""
    return Limits(**table_values(path, table, _KEYS))

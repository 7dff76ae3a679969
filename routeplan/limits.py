"""The user's limits, and what each launch is judged to be against them.

    limits = read_limits("limits.toml")                       # or Limits(wind_ms=5.0)
    judgement = judge(passage, path, limits, daylight=(spells_start, spells_end), ...)

Verdicts are ordered within < close < unknown < beyond and the worst wins: something unknown is
never hidden by something good, and beyond is never softened by something unknown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from routeplan._daylight import daylight_slack_h, hours
from routeplan._limitsfile import Key, read_table
from routeplan.errors import InputError
from routeplan.simulation import Passage, Path
from routeplan.units import KNOT_MS

if TYPE_CHECKING:
    from pathlib import Path as FilePath

    from routeplan.sun import DaylightSpells

__all__ = ["UNITS_SI", "Judgement", "Limits", "Verdict", "judge", "quantity_of", "read_limits"]

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


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
    opposing_current_ms: float | None = None
    offshore_m: float | None = 1000.0
    time_on_water_s: float | None = None
    daylight_margin_s: float | None = 1800.0
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
            Key("wind", "wind_ms", "speed", 0.0, 60.0),
            Key("gust", "gust_ms", "speed", 0.0, 80.0),
            Key("headwind", "headwind_ms", "speed", 0.0, 60.0),
            Key("crosswind", "crosswind_ms", "speed", 0.0, 60.0),
            Key("offshore_wind", "offshore_wind_ms", "speed", 0.0, 60.0),
            Key("offshore_wind_beyond", "offshore_wind_beyond_m", "length", 0.0, 1e6, False),
            Key("wave_height", "wave_height_m", "length", 0.0, 20.0),
            Key("wave_steepness", "wave_steepness", "share", 0.001, 0.2),
            Key("opposing_current", "opposing_current_ms", "speed", 0.0, 10.0),
            Key("offshore", "offshore_m", "length", 1.0, 1e6),
            Key("time_on_water", "time_on_water_s", "time", 60.0, 5 * 86400.0),
            Key("daylight", "daylight_margin_s", "time", 0.0, 43200.0),
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
_ON_PASSAGE: Mapping[str, tuple[str, float, float | None]] = MappingProxyType(
    {
        "wind": ("wind", 1.0, None),
        "gust": ("gust", 1.0, None),
        "headwind": ("headwind", 1.0, None),
        "crosswind": ("crosswind", 1.0, None),
        "offshore_wind": ("offshore_wind", 1.0, None),
        "wave_height": ("wave_height", 1.0, None),
        "wave_steepness": ("steepness", 1.0, None),
        "opposing_current": ("opposing_current", 1.0, None),
        "visibility": ("visibility", -1.0, None),
        "cape": ("cape", 1.0, None),
        "wind_chill": ("wind_chill", -1.0, 10.0),
        "water_temperature": ("water_temperature", -1.0, 10.0),
    }
)


UNITS_SI: Mapping[str, str] = MappingProxyType(
    {
        **{name: "m/s" for name, key in _KEYS.items() if key.dimension == "speed"},
        **{name: "m" for name, key in _KEYS.items() if key.dimension == "length"},
        **{name: "s" for name, key in _KEYS.items() if key.dimension == "time"},
        **{name: "K" for name, key in _KEYS.items() if key.dimension == "temperature"},
        "cape": "J/kg",
        "wave_steepness": "1",
        "progress": "",
        "current": "",
    }
)


def quantity_of(limit: str) -> str | None:
    """Quantity of a passage that a limit is held against; None where it is another thing."""
    return _ON_PASSAGE[limit][0] if limit in _ON_PASSAGE else None


def read_limits(path: str | FilePath) -> Limits:
    """Read the table [limits] of a TOML file.

    Every value is a text with its unit, or "none" for no such limit:

        [limits]
        wind = "12 kn"
        offshore = "1500 m"
        daylight = "45 min"     # margin before civil dusk
        gust = "none"

    Keys: wind, gust, headwind, crosswind, offshore_wind, offshore_wind_beyond, wave_height,
    wave_steepness, opposing_current, offshore, time_on_water, daylight, visibility, cape,
    wind_chill, water_temperature, offshore_notice, close_share, member_share, delay, slower.

    Raises
    ------
    InputError
        A file that cannot be read, is larger than 64 kB or no TOML, an unknown key, a bare
        number, a unit of another kind, or a value out of range: one line naming file and key.
    """
    return Limits(**read_table(path, _KEYS))


@dataclass(frozen=True, slots=True, eq=False)
class Judgement:
    """Verdict and margin of each limit: shape (m launches, n legs, L limits, e members).

    `margin` is the share of the limit that is left, negative when beyond, nan when unknown.
    `not_judged` names default limits the data say nothing about.
    """

    names: tuple[str, ...]
    verdict: NDArray[np.int8]
    margin: NDArray[np.float32]
    not_judged: tuple[str, ...]


def judge(
    passage: Passage,
    path: Path,
    limits: Limits,
    *,
    daylight: tuple[DaylightSpells, DaylightSpells] | None,
    coast_error_m: float = np.nan,
) -> Judgement:
    """Hold every leg of every launch and member against the limits.

    Parameters
    ----------
    passage, path, limits
    daylight : (DaylightSpells, DaylightSpells), or None
        Civil daylight at the start and at the end of the stage. None: not known.
    coast_error_m : float
        Nominal error of the coastline; nan unknown, which makes every distance close. [m]

    Notes
    -----
    A value on the limit is within it. A leg is in daylight when it is entered after civil dawn at
    the start and left the margin before civil dusk at the end of the stage, in one spell; time
    margins are shares of the time on the water, at least an hour. Polar day never binds.
    """
    rows: dict[str, tuple[NDArray[np.int8], FloatArray]] = {}
    skipped = []
    for name, (quantity, sense, scale) in _ON_PASSAGE.items():
        limit = getattr(limits, _KEYS[name].field)
        if limit is None:
            continue
        if quantity in passage.worst:
            value, missing = passage.worst[quantity], passage.unknown[quantity]
            margin = sense * (limit - value) / (scale or max(abs(limit), 1e-9))
            rows[name] = _grade(margin, missing, limits.close_share)
        elif name in limits.explicit:
            rows[name] = _all_unknown(passage.enter.shape)
        else:
            skipped.append(name)
    if limits.offshore_m is not None:
        rows["offshore"] = _offshore(passage, path, limits, coast_error_m)
    if limits.time_on_water_s is not None:
        rows["time_on_water"] = _time_on_water(passage, limits)
    if limits.daylight_margin_s is not None:
        rows["daylight"] = _daylight(passage, limits, daylight)
    rows["progress"] = _progress(passage)
    if "current" in passage.unknown:
        rows["current"] = _known(passage.unknown["current"])
    return Judgement(
        names=tuple(rows),
        verdict=np.stack([v for v, _ in rows.values()], axis=2),
        margin=np.stack([g.astype(np.float32) for _, g in rows.values()], axis=2),
        not_judged=tuple(skipped),
    )


def _grade(
    margin: FloatArray, missing: BoolArray, close: float
) -> tuple[NDArray[np.int8], FloatArray]:
    """Verdicts of margins; one value beyond stays beyond even if others are missing."""
    verdict = np.where(margin < close, Verdict.CLOSE, Verdict.WITHIN)
    verdict = np.where(missing | np.isnan(margin), Verdict.UNKNOWN, verdict)
    verdict = np.where(margin < 0.0, Verdict.BEYOND, verdict)
    return verdict.astype(np.int8), np.where(verdict == Verdict.UNKNOWN, np.nan, margin)


def _all_unknown(shape: tuple[int, ...]) -> tuple[NDArray[np.int8], FloatArray]:
    return np.full(shape, Verdict.UNKNOWN, dtype=np.int8), np.full(shape, np.nan)


def _known(unknown: BoolArray) -> tuple[NDArray[np.int8], FloatArray]:
    verdict = np.where(unknown, Verdict.UNKNOWN, Verdict.WITHIN).astype(np.int8)
    return verdict, np.where(unknown, np.nan, np.inf)


def _progress(passage: Passage) -> tuple[NDArray[np.int8], FloatArray]:
    """Beyond where no headway is made, unknown where the leg is never finished otherwise."""
    unfinished = np.isnat(passage.leave)
    verdict = np.where(unfinished, Verdict.UNKNOWN, Verdict.WITHIN)
    verdict = np.where(passage.makes_way, verdict, Verdict.BEYOND)
    margin = np.where(unfinished, np.nan, np.inf)
    return verdict.astype(np.int8), np.where(passage.makes_way, margin, -1.0)


def _offshore(
    passage: Passage, path: Path, limits: Limits, error_m: float
) -> tuple[NDArray[np.int8], FloatArray]:
    limit = float(limits.offshore_m or 0.0)
    missing = np.zeros(path.legs, dtype=bool)
    np.logical_or.at(missing, path.leg, np.isnan(path.offshore_m))
    left = limit - path.leg_offshore_m
    verdict, margin = _grade(left / limit, missing, limits.close_share)
    exact = left >= error_m  # False for an unknown error
    verdict[(verdict == Verdict.WITHIN) & ~exact] = Verdict.CLOSE
    shape = passage.enter.shape
    return (
        np.broadcast_to(verdict[None, :, None], shape),
        np.broadcast_to(margin[None, :, None], shape),
    )


def _time_on_water(passage: Passage, limits: Limits) -> tuple[NDArray[np.int8], FloatArray]:
    limit = float(limits.time_on_water_s or 0.0)
    spent = hours(passage.leave - passage.launch[:, None, None]) * 3600.0
    return _grade((limit - spent) / limit, np.isnan(spent), limits.close_share)


def _daylight(
    passage: Passage, limits: Limits, daylight: tuple[DaylightSpells, DaylightSpells] | None
) -> tuple[NDArray[np.int8], FloatArray]:
    shape = passage.enter.shape
    if daylight is None:
        return _all_unknown(shape)
    margin_s = float(limits.daylight_margin_s or 0.0)
    slack_h = daylight_slack_h(passage.enter, passage.leave, daylight, margin_s)
    spent_h = hours(passage.leave - passage.launch[:, None, None])
    margin = slack_h / np.maximum(np.where(np.isnan(spent_h), 1.0, spent_h), 1.0)
    verdict, margin = _grade(margin, np.isnan(slack_h), limits.close_share)
    return verdict, margin

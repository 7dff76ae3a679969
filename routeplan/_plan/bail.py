"""Ways out of the launch proposed: turn-back times, landings in reach, and where one drifts.

Worked out for that one launch only; of each leg the place that is worst off is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np
from numpy.typing import NDArray

from routeplan.leeway import BRANCHES, LeewayObject, WeatherGrid, leeway_object, with_drift
from routeplan.windows import (
    Adrift,
    Landing,
    LaunchScan,
    TurnBack,
    drift_along,
    landings_under_power,
    turn_back_times,
)

if TYPE_CHECKING:
    from routeplan.leeway import Drift, Shore
    from routeplan.propulsion import Craft
    from routeplan.sampling import PointSeries
    from routeplan.simulation import Path

__all__ = [
    "DRIFT_HOURS",
    "DriftTrack",
    "LegDrift",
    "WaysOut",
    "drifting_objects",
    "series_adrift",
    "ways_out",
]

DRIFT_HOURS = 3.0  # common practice, no source: by then help should be on its way
_MOST_PLACES = 60  # of a stage, so that a long one costs no more than this
_TURN_STEP_S = 900.0
_IN_WATER = "person in water"

# Leeway of the craft; any other craft is taken to drift as a board with a person (assumption).
_LEEWAY_OF = {"sea kayak": "sea kayak", "open canoe": "skiff"}

_Place = TypeVar("_Place", Landing, Adrift)


@dataclass(frozen=True, slots=True, eq=False)
class DriftTrack:
    """Where one branch of a drift goes, from where it begins until ashore or the end.

    `branch` is "downwind", "right" or "left" of the wind. `seconds`, `longitude`, `latitude` (k,)
    are time since the begin [s] and position [degrees], as far as wind and current are known;
    `ashore_s` is when it comes ashore [s], nan when still afloat or unknown.
    """

    branch: str
    seconds: NDArray[np.float64]
    longitude: NDArray[np.float64]
    latitude: NDArray[np.float64]
    ashore_s: float


@dataclass(frozen=True, slots=True)
class LegDrift:
    """Drift from the place of a leg that is worst off, at the hour one is there.

    Attributes
    ----------
    who : str
        "on the craft" or "in the water".
    it : LeewayObject
        As what it is taken to drift.
    hours : float
        How long it was followed. [h]
    worst : Adrift
        The branch that is longest adrift counts; see `routeplan.windows.Adrift`.
    ashore_longitude, ashore_latitude : float
        Where the branch that is ashore first ends; nan when none is. [degrees]
    has_current : bool
        Whether the forecast tells the current.
    tracks : tuple of DriftTrack
        The three branches.
    """

    who: str
    it: LeewayObject
    hours: float
    worst: Adrift
    ashore_longitude: float
    ashore_latitude: float
    has_current: bool
    tracks: tuple[DriftTrack, ...] = ()


@dataclass(frozen=True, slots=True)
class WaysOut:
    """Turn-back times, landings and drift of one launch; a leg that is never begun has none."""

    turn_back: tuple[TurnBack, ...]
    landings: tuple[Landing, ...]
    drift: tuple[LegDrift, ...]


def drifting_objects(crafts: Sequence[Craft]) -> tuple[LeewayObject, ...]:
    """As what the crafts drift, each once."""
    keys = dict.fromkeys(_LEEWAY_OF.get(craft.name, "board") for craft in crafts)
    return tuple(leeway_object(key) for key in keys)


def series_adrift(
    series: PointSeries,
    path: Path,
    weather: WeatherGrid,
    crafts: Sequence[Craft],
    *,
    coast: Shore,
    limit_s: float,
) -> PointSeries:
    """Series with the time until ashore by drift, of the craft that takes longest.

    A drift is followed for as long as the limit allows.
    """
    name = "time_ashore_by_drift"
    parts = [
        with_drift(
            series, path.longitude, path.latitude, weather, it, coast=coast, hours=limit_s / 3600.0
        )
        for it in drifting_objects(crafts)
    ]
    longest = np.maximum.reduce([part.values[name] for part in parts])  # unknown stays unknown
    return replace(series, values={**series.values, name: longest})


def ways_out(
    scan: LaunchScan,
    i: int,
    weather: WeatherGrid,
    crafts: Sequence[Craft],
    *,
    coast: Shore,
    hours: float = DRIFT_HOURS,
) -> WaysOut:
    """Ways out of launch i of a scan, leg by leg.

    With members those of the member that the launch is told from.
    """
    every_m = _spacing(scan.outing.path)
    landings = landings_under_power(scan, i, every_m=every_m)
    member = min(int(scan.detail.member[i]), weather.members - 1)
    alone = replace(weather, fields=weather.fields[..., member : member + 1])
    drift: list[LegDrift] = []
    adrift = [("on the craft", it) for it in drifting_objects(crafts)]
    for who, it in (*adrift, ("in the water", leeway_object(_IN_WATER))):
        places, tracks = drift_along(scan, i, alone, it, coast=coast, hours=hours, every_m=every_m)
        drift += [_leg_drift(who, it, hours, places, tracks, j) for j in _worst(places, _adrift)]
    return WaysOut(
        turn_back=turn_back_times(scan, i, step_s=_TURN_STEP_S),
        landings=tuple(
            landings[j] for j in _worst(landings, _far) if not np.isnat(landings[j].when)
        ),
        drift=tuple(sorted(drift, key=lambda d: d.worst.leg)),
    )


def _spacing(path: Path) -> float:
    """Distance between the places tried: some on every leg, and not too many on a long stage."""
    wanted = min(max(float(path.leg_length_m.min()) / 2.0, 200.0), 1_000.0)
    return max(wanted, float(path.length_m.sum()) / _MOST_PLACES)


def _worst(places: Sequence[_Place], rank: Callable[[_Place], tuple[float, ...]]) -> list[int]:
    """Index of the worst place of each leg."""
    worst: dict[int, int] = {}
    for j, place in enumerate(places):
        if place.leg not in worst or rank(place) > rank(places[worst[place.leg]]):
            worst[place.leg] = j
    return list(worst.values())


def _far(landing: Landing) -> tuple[float, ...]:
    """Order of landings: not to be reached or not known is worst."""
    lost = bool(np.isnan(landing.time_s))
    return float(lost), landing.nearest_m if lost else landing.time_s


def _adrift(place: Adrift) -> tuple[float, ...]:
    """Order of drifts: unknown, then the farthest out at the end, then the longest adrift."""
    afloat = bool(np.isnan(place.ashore_last_s))
    out = place.offshore_m if afloat else place.ashore_last_s
    return float(not place.known), float(afloat), float(np.nan_to_num(out))


def _leg_drift(
    who: str, it: LeewayObject, hours: float, places: Sequence[Adrift], tracks: Drift, j: int
) -> LegDrift:
    ashore = _first_ashore(tracks, j)
    lon = lat = np.nan
    if ashore is not None:
        lon = float(tracks.longitude[j, ashore, 0, -1])
        lat = float(tracks.latitude[j, ashore, 0, -1])
    branches = tuple(_track(tracks, j, b, branch) for b, branch in enumerate(BRANCHES))
    return LegDrift(who, it, hours, places[j], lon, lat, tracks.has_current, branches)


def _track(tracks: Drift, j: int, b: int, branch: str) -> DriftTrack:
    """Branch b of the drift from start j, cut where it is ashore or no longer known."""
    lon, lat, seconds = tracks.longitude[j, b, 0], tracks.latitude[j, b, 0], tracks.time_s
    ashore = float(tracks.ashore_s[j, b, 0])
    if np.isfinite(ashore):  # positions stand still from then on: the first of them is the last
        last = min(int(np.searchsorted(seconds, ashore)), seconds.size - 1)
        seconds = np.append(seconds[:last], ashore)
        lon, lat = lon[: last + 1], lat[: last + 1]
    known = np.isfinite(lon) & np.isfinite(lat)
    return DriftTrack(branch, seconds[known], lon[known], lat[known], ashore)


def _first_ashore(tracks: Drift, j: int) -> int | None:
    """Branch from start j that is ashore first; None when none is."""
    seconds = tracks.ashore_s[j, :, 0]
    return None if np.isnan(seconds).all() else int(np.nanargmin(seconds))

"""How exposed each leg is, from the coastline alone: distance from shore, fetch, land.

Every figure is on the WGS84 ellipsoid. Fetch directions are the ones the wind comes *from*,
degrees clockwise from true north.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from routeplan._shore.rose import RADIALS_DEG, effective_fetch_saville1954, sectors, wind_sides
from routeplan.coastline import Coastline, NearestShore
from routeplan.errors import InputError
from routeplan.route import Leg, LegSamples, Route, Waypoint

__all__ = [
    "DIRECTIONS_DEG",
    "LegExposure",
    "NearestLanding",
    "is_portage",
    "length_beyond",
    "mean_along",
    "route_exposure",
    "stretches_beyond",
]

FloatArray = NDArray[np.float64]

DIRECTIONS_DEG: FloatArray = np.arange(0.0, 360.0, 10.0)
"""The 36 directions of a fetch rose [degrees true, from]."""

_ROSE_SPACING_M = 1_000.0
_FAR_M = 1e12  # stands for an unknown distance where stretches far from shore are cut


@dataclass(frozen=True, slots=True)
class NearestLanding:
    """The shore nearest to a leg: a place on the shoreline, not a promise that one can land.

    `at_m` is where on the leg it is nearest, `bearing_deg` the direction to it from there.
    """

    longitude: float
    latitude: float
    distance_m: float
    bearing_deg: float
    at_m: float


@dataclass(frozen=True, slots=True, eq=False)
class LegExposure:
    """One leg against the coast.

    Attributes
    ----------
    longitude, latitude, distance_m, course_deg : arrays, shape (k,)
        Samples along the leg, both ends included; distance from its start [m] and the
        course there [degrees true].
    offshore_m : array, shape (k,)
        Distance to the nearest shoreline at each sample [m]; 0 on land.
    shore_bearing_deg : array, shape (k,)
        Bearing of that shoreline from the sample [degrees true].
    offshore_max_m, offshore_mean_m : float
        Largest sample, and mean by length.
    offshore_max_at_m : float
        Where on the leg the largest sample is [m from its start].
    beyond_notice_m, beyond_limit_m : float
        Metres of the leg farther from shore than the notice and than the limit; nan where a
        sample is unknown.
    rose_at_m : array, shape (p,)
        Where on the leg the fetch roses were taken [m from its start].
    rose_m : array, shape (p, 36)
        Fetch by direction at those places [m], cut at the fetch limit.
    fetch_m : array, shape (36,)
        The leg's fetch rose: the longest over those places [m].
    effective_rose_m : array, shape (p, 36)
        Effective fetch at those places (Saville 1954, see `effective_fetch_saville1954`) [m].
    effective_fetch_m : array, shape (36,)
        The longest of them over the leg [m].
    wind_side : array, shape (36, 3)
        Shares of the leg's length on which wind from each direction blows onshore, along the
        shore and offshore, by the bearing of the nearest shore (see `wind_sides`).
    far_stretches : tuple of (begin_m, end_m)
        Stretches with no shore known within the notice distance [m from the leg's start].
    land : tuple of (enter_m, leave_m)
        Stretches of the leg that lie on land [m from its start].
    portage : bool
        Whether the leg begins at a place marked as a portage: its land is carried over.
    """

    number: int
    longitude: FloatArray
    latitude: FloatArray
    distance_m: FloatArray
    course_deg: FloatArray
    offshore_m: FloatArray
    shore_bearing_deg: FloatArray
    offshore_max_m: float
    offshore_mean_m: float
    offshore_max_at_m: float
    beyond_notice_m: float
    beyond_limit_m: float
    rose_at_m: FloatArray
    rose_m: FloatArray
    fetch_m: FloatArray
    effective_rose_m: FloatArray
    effective_fetch_m: FloatArray
    fetch_limit_m: float
    wind_side: FloatArray
    far_stretches: tuple[tuple[float, float], ...]
    nearest: NearestLanding
    land: tuple[tuple[float, float], ...]
    portage: bool = False

    @property
    def crosses_land(self) -> bool:
        """Whether any stretch of the leg lies on land."""
        return bool(self.land)

    @property
    def land_m(self) -> float:
        """Metres of the leg on land."""
        return float(sum(leave - enter for enter, leave in self.land))

    @property
    def longest_fetch(self) -> tuple[float, float]:
        """(fetch [m], direction it comes from [degrees true]) of the most open direction."""
        widest = int(np.argmax(self.fetch_m))
        return float(self.fetch_m[widest]), float(DIRECTIONS_DEG[widest])

    @property
    def longest_effective_fetch(self) -> tuple[float, float]:
        """(effective fetch [m], direction it comes from [degrees true]), as `longest_fetch`."""
        widest = int(np.argmax(self.effective_fetch_m))
        return float(self.effective_fetch_m[widest]), float(DIRECTIONS_DEG[widest])

    def offshore_winds(self, share: float = 0.5) -> tuple[tuple[float, float], ...]:
        """Sectors (first, last) of directions [degrees true, from] that blow off the land.

        Those count whose wind blows offshore on at least `share` of the leg's length; a sector
        runs clockwise and may pass north. Empty when there is none, or the shore is unknown.
        """
        return sectors(self.wind_side[:, 2] >= share, DIRECTIONS_DEG)

    def open_downwind_m(self, begin_deg: float, end_deg: float) -> float:
        """Longest open water downwind of the leg for winds from a sector of directions [m]."""
        inside = (DIRECTIONS_DEG - begin_deg) % 360.0 <= (end_deg - begin_deg) % 360.0
        return float(np.roll(self.fetch_m, DIRECTIONS_DEG.size // 2)[inside].max())


def is_portage(waypoint: Waypoint) -> bool:
    """Whether a place is marked as the start of a carry over land, by its type or symbol.

    It has the word portage there, in any case, and neither "no" nor "not" beside it.
    """
    words = [set(re.findall(r"\w+", text.casefold())) for text in (waypoint.kind, waypoint.symbol)]
    return any("portage" in found and not found & {"no", "not"} for found in words)


def length_beyond(distance_m: FloatArray, value_m: FloatArray, limit_m: float) -> float:
    """Length of a line on which a sampled value exceeds a limit [m].

    The value is taken as linear between samples at `distance_m` (k,), so a stretch that
    begins between two samples counts from where it begins. nan where a sample is unknown.
    """
    if np.isnan(value_m).any():
        return float("nan")
    step = np.diff(distance_m)
    low = np.minimum(value_m[:-1], value_m[1:])
    high = np.maximum(value_m[:-1], value_m[1:])
    rise = high - low
    partly = np.divide(high - limit_m, rise, out=(high > limit_m).astype(float), where=rise > 0)
    return float(np.sum(step * np.clip(partly, 0.0, 1.0)))


def stretches_beyond(
    distance_m: FloatArray, value_m: FloatArray, limit_m: float
) -> tuple[tuple[float, float], ...]:
    """Stretches (begin, end) of a line on which a sampled value exceeds a limit [m].

    The value is taken as linear between samples, as in `length_beyond`, so the lengths of the
    stretches add up to what that gives. What is unknown counts as beyond, as far as the nearest
    sample that is known.
    """
    value_m = np.where(np.isnan(value_m), _FAR_M, value_m)
    over = value_m > limit_m
    change = np.flatnonzero(over[1:] != over[:-1])
    rise = value_m[change + 1] - value_m[change]
    share = (limit_m - value_m[change]) / rise
    cuts = distance_m[change] + share * (distance_m[change + 1] - distance_m[change])
    edges = [
        *([float(distance_m[0])] if over[0] else []),
        *(float(cut) for cut in cuts),
        *([float(distance_m[-1])] if over[-1] else []),
    ]
    return tuple(zip(edges[::2], edges[1::2], strict=True))


def mean_along(distance_m: FloatArray, value_m: FloatArray) -> float:
    """Mean by length of a value sampled at `distance_m` (k,), linear between samples."""
    length = distance_m[-1] - distance_m[0]
    if length <= 0:
        return float(value_m[0])
    return float(np.trapezoid(value_m, distance_m) / length)


def route_exposure(
    route: Route,
    coast: Coastline,
    *,
    spacing_m: float = 100.0,
    notice_m: float = 1_000.0,
    limit_m: float = np.inf,
    fetch_limit_m: float = 100_000.0,
) -> tuple[LegExposure, ...]:
    """Exposure of every leg of a route.

    All samples of all legs go to the coastline in one call, so the cost is that of the
    points and not of the legs.

    Parameters
    ----------
    spacing_m : float
        Largest distance between samples [m]. Distance to shore changes by at most the
        distance moved, so the true maximum is at most half a spacing above the sampled one.
    notice_m, limit_m : float
        Distances from shore beyond which metres are counted [m].
    fetch_limit_m : float
        Length at which fetch is cut [m].

    Raises
    ------
    InputError
        If `spacing_m` is not positive.
    """
    if not spacing_m > 0:
        msg = f"spacing {spacing_m} m along a leg is not usable: it must be more than 0"
        raise InputError(msg, field="spacing_m", value=spacing_m)
    samples = [leg.sample(spacing_m) for leg in route.legs]
    picks = [_rose_samples(s.distance_m) for s in samples]
    longitude = np.concatenate([s.longitude for s in samples])
    latitude = np.concatenate([s.latitude for s in samples])
    shore = _split_shore(coast.nearest_shore(longitude, latitude), samples)
    on_land = _split(coast.is_land(longitude, latitude), [s.distance_m.size for s in samples])
    roses = _split(
        coast.fetch_length(
            np.concatenate([s.longitude[pick] for s, pick in zip(samples, picks, strict=True)]),
            np.concatenate([s.latitude[pick] for s, pick in zip(samples, picks, strict=True)]),
            RADIALS_DEG,
            fetch_limit_m,
        ),
        [pick.size for pick in picks],
    )
    return tuple(
        _leg_exposure(
            leg,
            samples[i],
            offshore_m=np.where(on_land[i], 0.0, shore[i].distance_m),
            shore=shore[i],
            rose_at_m=samples[i].distance_m[picks[i]],
            radials_m=roses[i],
            land=tuple(coast.crosses_land(leg.longitude, leg.latitude)),
            notice_m=notice_m,
            limit_m=limit_m,
            fetch_limit_m=fetch_limit_m,
        )
        for i, leg in enumerate(route.legs)
    )


def _leg_exposure(
    leg: Leg,
    samples: LegSamples,
    *,
    offshore_m: FloatArray,
    shore: NearestShore,
    rose_at_m: FloatArray,
    radials_m: FloatArray,
    land: tuple[tuple[float, float], ...],
    notice_m: float,
    limit_m: float,
    fetch_limit_m: float,
) -> LegExposure:
    farthest = int(np.argmax(offshore_m))
    rose_m, effective_m = (
        radials_m[:, :: RADIALS_DEG.size // DIRECTIONS_DEG.size],
        (effective_fetch_saville1954(radials_m)),
    )
    return LegExposure(
        number=leg.number,
        longitude=samples.longitude,
        latitude=samples.latitude,
        distance_m=samples.distance_m,
        course_deg=samples.course_deg,
        offshore_m=offshore_m,
        shore_bearing_deg=shore.bearing_deg,
        offshore_max_m=float(offshore_m[farthest]),
        offshore_mean_m=mean_along(samples.distance_m, offshore_m),
        offshore_max_at_m=float(samples.distance_m[farthest]),
        beyond_notice_m=length_beyond(samples.distance_m, offshore_m, notice_m),
        beyond_limit_m=length_beyond(samples.distance_m, offshore_m, limit_m),
        rose_at_m=rose_at_m,
        rose_m=rose_m,
        fetch_m=rose_m.max(axis=0),
        effective_rose_m=effective_m,
        effective_fetch_m=effective_m.max(axis=0),
        fetch_limit_m=fetch_limit_m,
        wind_side=wind_sides(samples.distance_m, shore.bearing_deg, DIRECTIONS_DEG),
        far_stretches=stretches_beyond(samples.distance_m, offshore_m, notice_m),
        nearest=_nearest_landing(samples, shore),
        land=land,
        portage=is_portage(leg.start),
    )


def _split(values: NDArray[Any], sizes: list[int]) -> list[NDArray[Any]]:
    return np.split(values, np.cumsum(sizes)[:-1])


def _split_shore(shore: NearestShore, samples: list[LegSamples]) -> list[NearestShore]:
    sizes = [s.distance_m.size for s in samples]
    columns = (shore.distance_m, shore.longitude, shore.latitude, shore.bearing_deg)
    return [
        NearestShore(*parts)
        for parts in zip(*(_split(column, sizes) for column in columns), strict=True)
    ]


def _nearest_landing(samples: LegSamples, shore: NearestShore) -> NearestLanding:
    closest = int(np.argmin(np.nan_to_num(shore.distance_m, nan=np.inf)))
    return NearestLanding(
        longitude=float(shore.longitude[closest]),
        latitude=float(shore.latitude[closest]),
        distance_m=float(shore.distance_m[closest]),
        bearing_deg=float(shore.bearing_deg[closest]),
        at_m=float(samples.distance_m[closest]),
    )


def _rose_samples(distance_m: FloatArray) -> NDArray[np.intp]:
    """Indices of samples about 1 km apart, both ends included."""
    count = max(2, int(np.ceil(distance_m[-1] / _ROSE_SPACING_M)) + 1)
    wanted = np.linspace(0.0, distance_m[-1], count)
    return np.unique(np.searchsorted(distance_m, wanted).clip(0, distance_m.size - 1))

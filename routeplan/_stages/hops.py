"""Every day's trip that there could be, and what a plan of several days costs."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from routeplan.errors import InputError
from routeplan.limits import Verdict
from routeplan.units import quantity_words, range_words

__all__ = ["Hops", "StageWeights", "StageWishes", "hop_costs"]

FloatArray = NDArray[np.float64]
TimeArray = NDArray[np.datetime64]

_ROUNDING = 1e-9

# Field of the wishes: what it is, the least and the most allowed in SI, its dimension.
_RANGES = {
    "reach_m": ("a longest stage", 100.0, 1e6, "length"),
    "night_s": ("a shortest night", 0.0, 86_400.0, "time"),
    "break_camp_s": ("a time to break camp", 0.0, 43_200.0, "time"),
    "party": ("a party", 1, 10_000, ""),
    "landing_wave_m": ("a wave to land in", 0.05, 20.0, "length"),
    "landing_wind_ms": ("a wind to land in", 0.5, 60.0, "speed"),
    "off_line_m": ("a distance off the line", 1.0, 20_000.0, "length"),
}


@dataclass(frozen=True, slots=True)
class StageWeights:
    """What a plan of several days costs; the smallest cost is the best plan.

    cost = margin (1 - M) + day D + km L + spare sum(1 - m)

    m is the margin of a stage, from 0 to 1; M that of the plan: its smallest m, counted up to
    `enough` and rounded down to a multiple of `step`. D is the number of days from the first on
    which the group could launch to the one it arrives on, days ashore among them; L the length in
    km, detours to the camps among it. With the defaults margin goes first, then days, then length,
    and what is left of the margins of single stages decides between equals.

    Attributes
    ----------
    margin, day, km, spare : float
        Weights, none negative.
    step, enough : float
        Shares of a limit.
    """

    margin: float = 1_000.0
    day: float = 1.0
    km: float = 0.001
    spare: float = 1e-5
    step: float = 0.1
    enough: float = 0.2

    def __post_init__(self) -> None:
        for name in ("margin", "day", "km", "spare"):
            value = getattr(self, name)
            if not 0.0 <= value <= 1e9:
                msg = f"weight {name} {value} is not allowed; allowed is 0 to 1e9"
                raise InputError(msg, field=name, value=value)
        if not (0.01 <= self.step <= 1.0 and 0.0 <= self.enough <= 1.0):
            msg = (
                "margins count in steps of 0.01 to 1 up to 0 to 1, "
                f"not in steps of {self.step} up to {self.enough}"
            )
            raise InputError(msg, field="step", value=self.step)

    def level(self, margin: FloatArray) -> FloatArray:
        """Margins counted up to `enough`, rounded down to steps; nan counts as 0."""
        known = np.clip(np.nan_to_num(margin, nan=0.0), 0.0, self.enough)
        return np.asarray(np.floor(known / self.step + _ROUNDING) * self.step)


@dataclass(frozen=True, slots=True)
class StageWishes:
    """What a group wants of its days, beside its limits.

    Attributes
    ----------
    depart : datetime64, optional
        Earliest first launch, UTC; the first launch tried when None.
    home_by : datetime64, optional
        When the group must have arrived at the end, UTC.
    reach_m : float, optional
        Longest stage. [m]
    night_s : float
        Shortest time ashore between two stages; the next is launched on a later day. [s]
    break_camp_s : float
        Time from civil dawn to the first launch from a camp. [s]
    party : int, optional
        How many sleep at a camp.
    landing_wave_m : float
        Largest significant wave height to land in at a camp. [m]
    landing_wind_ms : float
        Strongest wind from a sector the user calls open, to land in. [m/s]
    off_line_m : float
        How far from the line a camp may lie. [m]
    other_trips : bool
        Whether a plan also tells of the same water another way; see `routeplan.stops.other_trips`.
    weights : StageWeights

    Notes
    -----
    The defaults are common practice and have no source.
    """

    depart: np.datetime64 | None = None
    home_by: np.datetime64 | None = None
    reach_m: float | None = None
    night_s: float = 8 * 3600.0
    break_camp_s: float = 3600.0
    party: int | None = None
    landing_wave_m: float = 0.5
    landing_wind_ms: float = 5.0
    off_line_m: float = 2_000.0
    other_trips: bool = False
    weights: StageWeights = field(default_factory=StageWeights)

    def __post_init__(self) -> None:
        for name, (words, low, high, dimension) in _RANGES.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                allowed = range_words(low, high, dimension)
                shown = quantity_words(value, dimension)
                msg = f"{words} of {shown} is not allowed; allowed is {allowed}"
                raise InputError(msg, field=name, value=value)
        if self.home_by is not None and self.depart is not None and self.home_by <= self.depart:
            msg = (
                f"home by {_minute(self.home_by)} is not after the departure {_minute(self.depart)}"
                "; the end of a trip lies after its start"
            )
            raise InputError(msg, field="home_by", value=self.home_by)


def _minute(when: np.datetime64) -> str:
    return f"{np.datetime_as_string(when, unit='m')}Z"


@dataclass(frozen=True, slots=True, eq=False)
class Hops:
    """Every stage there could be: from each of n places to each later one at m launch times.

    Place 0 is the start, n - 1 the end, those between are camps in order along the line.

    Attributes
    ----------
    launch : array, shape (m,)
        datetime64[ns] UTC, ascending.
    day_shift : timedelta64
        Added to a time it gives the local mean solar time, whose dates are the days.
    verdict : array of int8, shape (n, n, m)
        `Verdict` values from place (first) to place (second); beyond where there is no stage.
    margin : array, shape (n, n, m)
        Smallest share of a limit left; negative beyond, nan unknown.
    arrive : array, shape (n, n, m)
        datetime64[ns]; NaT unknown or never.
    binding : array of int, shape (n, n, m)
        Index into `names`: the limit that is nearest, or beyond by most.
    names : tuple of str
    length_m : array, shape (n, n)
        Of the stage, detours among it [m].
    nights : array of int, shape (n,)
        Most nights in a row at each place.
    usable : array of bool, shape (n,)
        Whether a stage may end there.
    must : array of bool, shape (n,)
        Whether every plan stops there.
    """

    launch: TimeArray
    day_shift: np.timedelta64
    verdict: NDArray[np.int8]
    margin: FloatArray
    arrive: TimeArray
    binding: NDArray[np.int16]
    names: tuple[str, ...]
    length_m: FloatArray
    nights: NDArray[np.int64]
    usable: NDArray[np.bool_]
    must: NDArray[np.bool_]

    @property
    def places(self) -> int:
        """Number of places, start and end among them."""
        return int(self.length_m.shape[0])

    def day(self, when: TimeArray) -> NDArray[np.int64]:
        """Number of the local solar day of times; that of NaT says nothing."""
        return np.asarray((when + self.day_shift).astype("datetime64[D]").astype(np.int64))

    def good(self) -> NDArray[np.bool_]:
        """Whether each stage may be part of a plan, (n, n, m)."""
        out = (self.verdict <= Verdict.CLOSE) & ~np.isnat(self.arrive)
        out &= self.usable[None, :, None]
        passed = np.concatenate([[0], np.cumsum(self.must)])
        between = passed[None, :-1] - passed[1:, None]  # must-stops strictly between two places
        return np.asarray(out & (between <= 0)[:, :, None])


def hop_costs(hops: Hops, weights: StageWeights) -> FloatArray:
    """Part of the cost that each stage adds by itself, (n, n, m): its length and its spare."""
    spare = 1.0 - np.clip(np.nan_to_num(hops.margin, nan=0.0), 0.0, 1.0)
    return np.asarray(weights.km * hops.length_m[:, :, None] / 1000.0 + weights.spare * spare)

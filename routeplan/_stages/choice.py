"""A chosen plan of several days, told stage by stage."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from routeplan._stages.hops import Hops, StageWishes
from routeplan._stages.placelanding import LandingSea, LandingState
from routeplan._stages.placeline import Stop
from routeplan._stages.search import Choice
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan.sun import DaylightSpells

__all__ = [
    "NAT",
    "UNKNOWN_LANDING",
    "Alternative",
    "DayStage",
    "Itinerary",
    "Setting",
    "departure",
    "limit_words",
    "stage_told",
    "told",
]

NAT = np.datetime64("NaT", "ns")
UNKNOWN_LANDING = LandingState(np.nan, np.nan, np.nan, np.nan, np.nan, Verdict.UNKNOWN)
_REASONS = {
    "progress": "no headway",
    "daylight": "daylight",
    "time_on_water": "hours on the water",
    "landing": "the sea at the landing",
    "offshore": "distance from shore",
    "cape": "thunder energy (CAPE)",
}


class Setting(Protocol):
    """What a plan is told from, besides the stages: the places, their light and their landings."""

    @property
    def stops(self) -> tuple[Stop, ...]: ...
    @property
    def daylight(self) -> tuple[DaylightSpells, ...] | None: ...
    @property
    def landing(self) -> LandingSea | None: ...


@dataclass(frozen=True, slots=True)
class DayStage:
    """One stage of a plan of several days.

    Attributes
    ----------
    number : int
        From 1.
    start, end : Stop
    length_m : float
        Ways between the line and camps beside it among it [m].
    launch, arrive : datetime64
        UTC; NaT for a stage ahead that cannot be judged yet.
    first_launch, last_launch : datetime64
        Good launches around the proposed one, without a break.
    last_light : datetime64
        Civil dusk at the end on that day; NaT unknown or in endless light.
    verdict : Verdict
    margin : float
        Smallest share of a limit left; nan unknown.
    binding : str
        The limit it belongs to.
    days_ashore : int
        Days without a launch before this stage.
    ashore_by : str
        What stood against a launch on those days; "" without such days.
    landing : LandingState
        The landing at the end at the hour of arrival.
    judged_from : datetime64
        When a forecast of the same length could cover a stage that is unknown; NaT otherwise.
    picked : bool
        Whether the user picked the launch, whatever its verdict.
    """

    number: int
    start: Stop
    end: Stop
    length_m: float
    launch: np.datetime64
    arrive: np.datetime64
    first_launch: np.datetime64
    last_launch: np.datetime64
    last_light: np.datetime64
    verdict: Verdict
    margin: float
    binding: str
    days_ashore: int
    ashore_by: str
    landing: LandingState
    judged_from: np.datetime64 = NAT
    picked: bool = False

    @property
    def note(self) -> str:
        """The user's own note on the place where it ends: repeated, not judged."""
        return self.end.place.note


@dataclass(frozen=True, slots=True)
class Itinerary:
    """A plan of several days.

    Attributes
    ----------
    stages : tuple of DayStage
        In order. Those at the end may be unknown (`verdict`), never the ones before.
    cost : float
        As `StageWeights` has it, of the part that is known; inf when nothing is.
    days, days_ashore : int
        From the first day on which the group could launch to arrival, and of these without a
        launch; of the part that is known.
    length_m : float
    complete : bool
        Whether all of it is known and good.
    texts : tuple of str
        Sentences on what stands against the rest; empty when complete. Without clock times.
    others : tuple of Alternative
        Plans that differ in kind, where they were looked for.
    """

    stages: tuple[DayStage, ...]
    cost: float
    days: int
    days_ashore: int
    length_m: float
    complete: bool
    texts: tuple[str, ...]
    choice: Choice | None = None
    others: tuple[Alternative, ...] = ()


@dataclass(frozen=True, slots=True)
class Alternative:
    """A plan that differs in kind from the best one.

    `kind` is one of "other camps", "earlier home", "later start", "other direction", "round
    trip", "turn round"; `text` says what is different and what that costs, without clock times.
    `in_full` says whether its stages were paddled and judged in full, or in steps as
    `choose_stages` has them.
    """

    kind: str
    text: str
    itinerary: Itinerary
    in_full: bool = False


def departure(hops: Hops, wishes: StageWishes) -> np.datetime64:
    """When the group could launch first."""
    first = hops.launch[0] if wishes.depart is None else wishes.depart
    return np.datetime64(first.astype("datetime64[ns]"), "ns")


def told(hops: Hops, setting: Setting, wishes: StageWishes, choice: Choice) -> Itinerary:
    """A choice stage by stage."""
    stages = []
    depart = departure(hops, wishes)
    ashore = depart
    for n, t in enumerate(choice.launches):
        i, j = choice.places[n], choice.places[n + 1]
        stages.append(stage_told(hops, setting, (n, i, j, t), ashore))
        ashore = stages[-1].arrive
    days = hops.day(np.array([depart, ashore], dtype="datetime64[ns]"))
    return Itinerary(
        stages=tuple(stages),
        cost=choice.cost,
        days=int(days[1] - days[0]) + 1,
        days_ashore=sum(stage.days_ashore for stage in stages),
        length_m=sum(stage.length_m for stage in stages),
        complete=choice.places[-1] == hops.places - 1,
        texts=(),
        choice=choice,
    )


def stage_told(
    hops: Hops, setting: Setting, at: tuple[int, int, int, int], ashore: np.datetime64
) -> DayStage:
    """Stage n, counted from 0, from place i to place j at launch t, after coming ashore."""
    n, i, j, t = at
    launch, arrive = hops.launch[t], hops.arrive[i, j, t]
    run = _run(hops.verdict[i, j] <= Verdict.CLOSE, hops.day(hops.launch), t)
    first, last = (int(d) for d in hops.day(np.array([ashore, launch])))
    # The day one arrives on is none ashore, the one before the first launch may be.
    lost = range(first + (n > 0), last)
    landing = setting.landing
    return DayStage(
        number=n + 1,
        start=setting.stops[i],
        end=setting.stops[j],
        length_m=float(hops.length_m[i, j]),
        launch=launch,
        arrive=arrive,
        first_launch=hops.launch[run[0]],
        last_launch=hops.launch[run[1]],
        last_light=_last_light(setting, j, arrive),
        verdict=Verdict(int(hops.verdict[i, j, t])),
        margin=float(hops.margin[i, j, t]),
        binding=hops.names[hops.binding[i, j, t]],
        days_ashore=len(lost),
        ashore_by=_standing_against(hops, i, j, lost),
        landing=UNKNOWN_LANDING if landing is None else landing.state(j, arrive),
    )


def _run(good: NDArray[np.bool_], day: NDArray[np.int64], t: int) -> tuple[int, int]:
    """First and last launch of the good ones of one day around launch t."""
    first = last = t
    while first > 0 and good[first - 1] and day[first - 1] == day[t]:
        first -= 1
    while last < good.size - 1 and good[last + 1] and day[last + 1] == day[t]:
        last += 1
    return first, last


def _last_light(setting: Setting, place: int, when: np.datetime64) -> np.datetime64:
    """Civil dusk at a place that ends the light of a time; NaT unknown or endless."""
    if setting.daylight is None or np.isnat(when):
        return NAT
    light = setting.daylight[place]
    spell = int(np.searchsorted(light.start, when, side="right")) - 1
    if spell < 0 or light.end[spell] >= light.last:
        return NAT
    return np.datetime64(light.end[spell], "ns")


def _standing_against(hops: Hops, i: int, j: int, days: range) -> str:
    """What stands against a launch on each of some days, each reason once."""
    reasons = [_reason(hops, i, j, hops.day(hops.launch) == day) for day in days]
    return ", ".join(dict.fromkeys(reasons))


def _reason(hops: Hops, i: int, j: int, on: NDArray[np.bool_]) -> str:
    """The limit that most often stands against the launches of a day."""
    bad = on & (hops.verdict[i, j] > Verdict.CLOSE)
    if (on & ~bad).any():
        return "a better day later"
    # At night it is dark on every day; that is no reason for a day ashore.
    lit = bad & (hops.binding[i, j] != hops.names.index("daylight"))
    bad = lit if lit.any() else bad
    if not bad.any() or (hops.verdict[i, j, bad] == Verdict.UNKNOWN).all():
        return "unknown weather"
    counted = Counter(hops.names[b] for b in hops.binding[i, j, bad])
    return limit_words(counted.most_common(1)[0][0])


def limit_words(name: str) -> str:
    """A limit in words for people."""
    return _REASONS.get(name, name.replace("_", " "))

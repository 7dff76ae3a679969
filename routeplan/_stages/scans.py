"""Days and launches for stages that are given, from the full scan of each.

A route with camps on it is paddled from camp to camp; what is left to choose is when.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from routeplan._stages.ahead import itinerary
from routeplan._stages.choice import Alternative, Itinerary, told
from routeplan._stages.fields import NAMES
from routeplan._stages.grid import SOLAR_S_PER_DEG, struck
from routeplan._stages.hops import Hops, StageWishes
from routeplan._stages.other import plans_beside
from routeplan._stages.place import Place
from routeplan._stages.placelanding import LandingSea
from routeplan._stages.placeline import Stop
from routeplan._stages.search import Choice
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan._judge.launchscan import LaunchScan
    from routeplan.route import Waypoint
    from routeplan.sun import DaylightSpells

__all__ = [
    "GivenStages",
    "days_of_stages",
    "hops_of",
    "other_days",
    "place_of",
    "proposed",
    "stops_of",
]

TimeArray = NDArray[np.datetime64]


@dataclass(frozen=True, slots=True, eq=False)
class GivenStages:
    """Stages that follow each other: s scans, s + 1 places with their light and landings."""

    stops: tuple[Stop, ...]
    scans: tuple[LaunchScan, ...]
    daylight: tuple[DaylightSpells, ...] | None
    landing: LandingSea | None

    def tells_miss(self, place: int) -> bool:
        """Whether no launch of the stage from a place is good, so that its scan says why."""
        verdict = self.scans[place].verdict
        return bool((verdict > Verdict.CLOSE).all() and (verdict == Verdict.BEYOND).any())


def place_of(point: Waypoint, kind: str) -> Place:
    """Place of a route's own point, with the user's note."""
    return Place(point.latitude, point.longitude, point.name, kind, note=point.note)


def stops_of(points: Sequence[Waypoint], along_m: Sequence[float]) -> tuple[Stop, ...]:
    """Stops of a route's stages: the start, the camps, none of which is passed by, the end."""
    last = len(points) - 1
    return tuple(
        Stop(place_of(point, "camp" if 0 < i < last else "landing"), along, 0.0, must=0 < i < last)
        for i, (point, along) in enumerate(zip(points, along_m, strict=True))
    )


def days_of_stages(given: GivenStages, wishes: StageWishes) -> Itinerary:
    """Day and launch of every stage: the cheapest plan by `StageWeights`.

    Within the day of a stage the launch is the one that `propose_launch` takes among those that
    leave the night before and after it. A stage alone goes on the first day with a launch within
    the limits, or else with one that is close: waiting for a better day is the user's choice.
    """
    hops = hops_of(given, wishes)
    run = hops.launch[0]
    if len(given.scans) == 1:
        return _alone(given, hops, wishes, run)
    found = itinerary(hops, given, wishes, run, tells_miss=given.tells_miss)
    if found.choice is None:
        return found
    launches = proposed(given, hops, wishes, found.choice)
    better = told(hops, given, wishes, replace(found.choice, launches=launches))
    rest = found.stages[len(better.stages) :]
    return replace(found, stages=(*better.stages, *rest), choice=better.choice)


def other_days(given: GivenStages, wishes: StageWishes) -> tuple[Alternative, ...]:
    """The same stages on other days; none of a stage alone, whose windows tell them."""
    if len(given.scans) == 1:
        return ()
    hops = hops_of(given, wishes)

    def led(choice: Choice) -> Choice:
        return replace(choice, launches=proposed(given, hops, wishes, choice))

    return plans_beside(hops, given, wishes, led=led)


def _alone(given: GivenStages, hops: Hops, wishes: StageWishes, run: np.datetime64) -> Itinerary:
    """The one stage of a route without camps."""
    from routeplan._judge.advice import propose_launch

    may = hops.good()[0, 1]
    if wishes.depart is not None:
        may &= hops.launch >= wishes.depart
    if wishes.home_by is not None:
        may &= hops.arrive[0, 1] <= wishes.home_by
    day = hops.day(hops.launch)
    for worst in (Verdict.WITHIN, Verdict.CLOSE):
        good = may & (hops.verdict[0, 1] <= worst)
        if good.any():
            best = propose_launch(given.scans[0], good & (day == day[good][0]))
            if best is not None:
                level = float(wishes.weights.level(hops.margin[0, 1, best]))
                return told(hops, given, wishes, Choice(np.nan, level, (0, 1), (best,)))
    return itinerary(hops, given, wishes, run, tells_miss=given.tells_miss)


def proposed(
    given: GivenStages, hops: Hops, wishes: StageWishes, choice: Choice
) -> tuple[int, ...]:
    """Launches on the days of a choice as a leader would take them."""
    from routeplan._judge.advice import propose_launch

    night = np.timedelta64(round(wishes.night_s * 1e9), "ns")
    day, good = hops.day(hops.launch), hops.good()
    launches = list(choice.launches)
    ready = hops.launch[0] if wishes.depart is None else wishes.depart
    for n, t in enumerate(choice.launches):
        arrive = hops.arrive[n, n + 1]
        among = good[n, n + 1] & (day == day[t]) & (hops.launch >= ready)
        among &= hops.day(np.where(np.isnat(arrive), hops.launch, arrive)) == hops.day(arrive)[t]
        if n + 1 < len(launches):
            among &= arrive + night <= hops.launch[launches[n + 1]]
        elif wishes.home_by is not None and n + 1 == hops.places - 1:
            among &= arrive <= wishes.home_by
        best = propose_launch(given.scans[n], among)
        launches[n] = t if best is None else best
        ready = arrive[launches[n]] + night
    return tuple(launches)


def hops_of(given: GivenStages, wishes: StageWishes) -> Hops:
    """The scans as stages between neighbouring places."""
    launch = given.scans[0].launch
    count = len(given.stops)
    shape = (count, count, launch.size)
    names = tuple(dict.fromkeys([*NAMES, *(str(n) for s in given.scans for n in _whose(s))]))
    verdict = np.full(shape, Verdict.BEYOND, dtype=np.int8)
    margin = np.full(shape, -np.inf)
    arrive = np.full(shape, np.datetime64("NaT", "ns"))
    binding = np.full(shape, names.index("progress"), dtype=np.int16)
    length = np.zeros((count, count))
    for i, scan in enumerate(given.scans):
        length[i, i + 1] = given.stops[i + 1].along_m - given.stops[i].along_m
        worst, least = scan.verdict.copy(), scan.margin.copy()
        whose = np.array([names.index(str(n)) for n in _whose(scan)])
        if given.landing is not None:
            shore, left = given.landing.judged(i + 1, scan.arrive, scan.detail.limits.member_share)
            whose = np.where((left < least) | (shore > worst), names.index("landing"), whose)
            worst, least = np.maximum(worst, shore), np.fmin(least, left)
        if given.daylight is not None and i > 0:
            early = ~struck(given.daylight[i], launch, wishes.break_camp_s)
            whose = np.where(early, names.index("daylight"), whose)
            worst = np.where(early, np.int8(Verdict.BEYOND), worst)
        verdict[i, i + 1], margin[i, i + 1], arrive[i, i + 1] = worst, least, scan.arrive
        binding[i, i + 1] = whose
    return Hops(
        launch=launch,
        day_shift=_day_shift(given),
        verdict=verdict,
        margin=margin,
        arrive=arrive,
        binding=binding,
        names=names,
        length_m=length,
        nights=np.array([stop.place.nights or 1_000_000 for stop in given.stops]),
        usable=np.ones(count, dtype=bool),
        must=np.array([stop.must for stop in given.stops]),
    )


def _whose(scan: LaunchScan) -> NDArray[np.str_]:
    """The limit that decides each launch, or that is nearest where it is within."""
    decides = np.where(scan.binding == "", scan.margin_limit, scan.binding)
    return np.where(decides == "", "progress", decides)


def _day_shift(given: GivenStages) -> np.timedelta64:
    return np.timedelta64(round(given.stops[0].place.longitude * SOLAR_S_PER_DEG), "s")

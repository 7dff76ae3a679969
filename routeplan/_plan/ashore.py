"""What is left with the contact ashore, and what lies on the deck: facts of a plan in order.

    ashore = read_ashore("group.toml")                  # or ashore_from(table, path, text)
    sheet = sheet_of(trip, stages, exposures, coast=coast, kit=kit)

Times that the plan does not know stay NaT, and nothing is proposed in their place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from routeplan._plan.ashoretable import Ashore, ashore_from, read_ashore
from routeplan._plan.sheetlegs import SheetLeg, StageLike, WayOut, named_landings, sheet_legs
from routeplan.errors import InputError
from routeplan.limits import Verdict
from routeplan.route import Waypoint

if TYPE_CHECKING:
    from routeplan._kit.group import Group
    from routeplan._kit.plan import KitPlan
    from routeplan.coastline import Coastline
    from routeplan.exposure import LegExposure
    from routeplan.propulsion import Craft
    from routeplan.route import Route
    from routeplan.stops import Place
    from routeplan.windows import LaunchWindow

__all__ = [
    "Ashore",
    "OnBoard",
    "SheetLeg",
    "SheetStage",
    "TripSheet",
    "WayOut",
    "ashore_from",
    "read_ashore",
    "sheet_of",
]

_NAT = np.datetime64("NaT", "ns")
_EPOCH = np.datetime64(0, "ns")
_FULL_S = 300  # call-in and alarm are told on full five minutes
_MOST_NAMES = 5  # in a message

# Words of a thing by which a group calls for help or is found. Common practice, no source.
_SIGNALS = frozenset(
    {"vhf", "radio", "beacon", "plb", "epirb", "phone", "satellite", "messenger", "flare", "flares",
     "smoke", "light", "mirror"}
)  # fmt: skip


class _TripLike(Protocol):
    @property
    def route(self) -> Route: ...
    @property
    def crafts(self) -> tuple[Craft, ...]: ...
    @property
    def places(self) -> tuple[Place, ...]: ...
    @property
    def group(self) -> Group | None: ...
    @property
    def ashore(self) -> Ashore | None: ...


@dataclass(frozen=True, slots=True)
class OnBoard:
    """One of the group; "" is not given. `colours` is craft and colours in the user's words."""

    name: str
    colours: str = ""
    phone: str = ""
    medical: str = ""


@dataclass(frozen=True, slots=True)
class SheetStage:
    """One outing.

    Attributes
    ----------
    number : int
    start, end : Waypoint
    length_m : float
    ends_at_camp : bool
        Whether a night follows.
    launch, arrive : datetime64
        Proposed, or picked by the user; NaT when there is none.
    picked : bool
        Whether the user picked it.
    first_launch, last_launch, latest_arrival : datetime64
        Of the window around the launch; NaT without one.
    last_light : datetime64
        Civil dusk at the end; NaT unknown or in endless light.
    verdict : Verdict
        Unknown without a forecast.
    binding : str
        Limit that decides a verdict that is not within; "" otherwise.
    call_in, alarm : datetime64
        By when the group calls, and when without a call the alarm is raised, for the launch
        above, on full five minutes. A later launch moves both by as much.
    latest_alarm : datetime64
        The alarm for a launch at the end of the window.
    days_ashore : int
        Days without a launch before it, on which no call is due.
    legs : tuple of SheetLeg
    """

    number: int
    start: Waypoint
    end: Waypoint
    length_m: float
    ends_at_camp: bool
    launch: np.datetime64
    arrive: np.datetime64
    picked: bool
    first_launch: np.datetime64
    last_launch: np.datetime64
    latest_arrival: np.datetime64
    last_light: np.datetime64
    verdict: Verdict
    binding: str
    call_in: np.datetime64
    alarm: np.datetime64
    latest_alarm: np.datetime64
    days_ashore: int
    legs: tuple[SheetLeg, ...]

    @property
    def is_timed(self) -> bool:
        """Whether launch and arrival are known."""
        return not (np.isnat(self.launch) or np.isnat(self.arrive))


@dataclass(frozen=True, slots=True)
class TripSheet:
    """Everything for the contact ashore and for the deck.

    Attributes
    ----------
    ashore : Ashore
        As the user gave it; empty when not given.
    people : tuple of OnBoard
        Empty when nobody is named.
    craft : tuple of str
        Kinds of craft, each once.
    signals : tuple of (thing, who carries it)
        By which the group calls for help or is found; of the kit.
    stages : tuple of SheetStage
    first_launch, alarm : datetime64
        Of the whole trip: first launch; alarm of the last stage, NaT when that is not timed.
    """

    ashore: Ashore
    people: tuple[OnBoard, ...]
    craft: tuple[str, ...]
    signals: tuple[tuple[str, tuple[str, ...]], ...]
    stages: tuple[SheetStage, ...]
    first_launch: np.datetime64
    alarm: np.datetime64


def sheet_of(
    trip: _TripLike,
    stages: Sequence[StageLike],
    exposures: Sequence[LegExposure],
    *,
    coast: Coastline,
    kit: KitPlan | None = None,
) -> TripSheet:
    """Facts for the contact ashore and for the deck.

    Parameters
    ----------
    trip : Trip
    stages : sequence of StageLike
    exposures : sequence of LegExposure
        Of the legs of `trip.route`, in order.
    coast : Coastline
        To which named landings straight lines keep to water.
    kit : KitPlan, optional

    Raises
    ------
    InputError
        When `trip.ashore` names somebody who is not in the group.
    """
    told = trip.ashore or Ashore()
    landings = named_landings(trip.route, trip.places)
    by_leg = {leg.number: e for leg, e in zip(trip.route.legs, exposures, strict=True)}
    last = stages[-1].stage.number
    out = tuple(
        _stage(
            stage,
            told,
            legs=sheet_legs(stage, by_leg, landings, coast),
            last=stage.stage.number == last,
        )
        for stage in stages
    )
    return TripSheet(
        ashore=told,
        people=_people(told, trip.group),
        craft=tuple(dict.fromkeys(craft.name for craft in trip.crafts)),
        signals=_signals(kit),
        stages=out,
        first_launch=next((s.launch for s in out if not np.isnat(s.launch)), _NAT),
        alarm=out[-1].alarm,
    )


def _stage(plan: StageLike, told: Ashore, *, legs: tuple[SheetLeg, ...], last: bool) -> SheetStage:
    stage, day = plan.stage, plan.day
    launch, arrive = (_NAT, _NAT) if day is None else (day.launch, day.arrive)
    window = _window(plan)
    latest = _NAT if window is None else window.latest_arrival
    verdict = Verdict.UNKNOWN if day is None else day.verdict
    return SheetStage(
        number=stage.number,
        start=stage.start,
        end=stage.end,
        length_m=stage.length_m,
        ends_at_camp=not last,
        launch=launch,
        arrive=arrive,
        picked=day is not None and day.picked,
        first_launch=_NAT if window is None else window.first_launch,
        last_launch=_NAT if window is None else window.last_launch,
        latest_arrival=latest,
        last_light=_NAT if day is None else day.last_light,
        verdict=verdict,
        binding="" if day is None or verdict is Verdict.WITHIN else day.binding,
        call_in=_after(arrive, told.call_in_s),
        alarm=_after(arrive, told.call_in_s + told.alarm_s),
        latest_alarm=_after(latest, told.call_in_s + told.alarm_s),
        days_ashore=0 if day is None else day.days_ashore,
        legs=legs,
    )


def _window(plan: StageLike) -> LaunchWindow | None:
    """The window that the launch lies in."""
    if plan.day is None or np.isnat(plan.day.launch):
        return None
    launch = plan.day.launch
    return next((w for w in plan.windows if w.first_launch <= launch <= w.last_launch), None)


def _after(when: np.datetime64, seconds: float) -> np.datetime64:
    """A time so much later, on the next full five minutes; NaT stays NaT."""
    if np.isnat(when):
        return _NAT
    step = np.timedelta64(_FULL_S, "s")
    late = when - _EPOCH + np.timedelta64(round(seconds), "s")
    later: np.datetime64 = _EPOCH - (-late // step) * step
    return later


def _people(told: Ashore, group: Group | None) -> tuple[OnBoard, ...]:
    named = dict.fromkeys((*told.people, *told.colours, *told.phones, *told.medical))
    names = tuple(named)
    if group is not None:
        names = tuple(" ".join(person.name.split()) for person in group.people)
        strange = [name for name in named if name not in names]
        if strange:
            msg = (
                f"ashore: {strange[0]!r} is not in the group; allowed are "
                f"{', '.join(names[:_MOST_NAMES])}{', ...' if len(names) > _MOST_NAMES else ''}"
            )
            raise InputError(msg, field="ashore", value=strange[0])
    elif told.people:
        names = told.people
    return tuple(
        OnBoard(
            name,
            told.colours.get(name, ""),
            told.phones.get(name, ""),
            told.medical.get(name, ""),
        )
        for name in names
    )


def _signals(kit: KitPlan | None) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Things to call for help or to be found by, and who carries them."""
    if kit is None:
        return ()
    out: dict[str, tuple[str, ...]] = {}
    for line, owners in zip(kit.lines, kit.owners, strict=True):
        words = set(line.item.casefold().replace(",", " ").split())
        if line.action in ("carry", "wear") and words & _SIGNALS:
            out[line.item] = owners
    return tuple(out.items())

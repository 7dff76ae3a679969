"""The words of the sheet: what the contact ashore reads, the same as text and on paper.

Values that are not known become `UNKNOWN`; what the user did not give stays "", and the page puts a
line to write on in its place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from routeplan._show.wording import (
    LIMIT_WORDS,
    UNKNOWN,
    Clock,
    kilometres,
    plain,
    position,
)
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan._plan.ashore import Ashore, OnBoard, SheetStage, TripSheet
    from routeplan.plan import Plan
    from routeplan.route import Waypoint

__all__ = [
    "INVENTED",
    "NOT_PLANNED",
    "RESCUE",
    "PersonWords",
    "PointWords",
    "SheetWords",
    "StageWords",
    "place_name",
    "sheet_words",
    "stage_name",
    "time_words",
    "verdict_words",
]

INVENTED = "INVENTED DATA: not for use on the water"
RESCUE = "local emergency service / coast guard"
NOT_PLANNED = "not planned"
_NAME, _LONG = 80, 240  # characters of a name and of anything else
_MOST_POINTS = 500

CAUTIONS = (
    "Local rules, the rescue service and its instructions come first.",
    "Times are worked out from a forecast; they are no guarantee. Agree on them before the start.",
)


@dataclass(frozen=True, slots=True)
class StageWords:
    """One outing; times are local, `NOT_PLANNED` where nothing is proposed."""

    number: int
    planned: bool
    start: str
    end: str
    length: str
    day: str
    zone: str
    launch: str
    launch_utc: str
    arrive: str
    arrive_utc: str
    call_in: str
    call_in_utc: str
    alarm: str
    alarm_utc: str
    window: str
    latest_alarm: str
    last_light: str
    before: str
    verdict: str
    good: bool


@dataclass(frozen=True, slots=True)
class PointWords:
    """A place of the line: where a stage begins, or the end of a leg."""

    stage: int
    label: str
    name: str
    position: str
    course: str
    length: str
    when: str
    camp: bool


@dataclass(frozen=True, slots=True)
class PersonWords:
    """One of the group."""

    name: str
    colours: str
    phone: str
    medical: str


@dataclass(frozen=True, slots=True)
class SheetWords:
    """Everything that stands on the sheet."""

    title: str
    invented: bool
    warnings: tuple[str, ...]
    times: str
    contact: str
    contact_phone: str
    emergency_phone: str
    emergency_service: str
    group: str
    steps: tuple[tuple[str, str], ...]
    say: str
    stages: tuple[StageWords, ...]
    later: str
    people: tuple[PersonWords, ...]
    signals: str
    call_sign: str
    mmsi: str
    beacon: str
    vehicle: str
    vehicle_at: str
    note: str
    route: tuple[PointWords, ...]
    cautions: tuple[str, ...]
    made: str


def sheet_words(plan: Plan, sheet: TripSheet) -> SheetWords:
    """Words of a sheet."""
    clock, told = Clock(plan.zone), sheet.ashore
    stages = tuple(_stage(stage, clock) for stage in sheet.stages)
    return SheetWords(
        title=plain(plan.trip.title or plan.route.name or "Trip", _LONG),
        invented=plan.invented,
        warnings=tuple(plain(words, _LONG) for words in plan.warnings),
        times=_times(sheet, clock),
        contact=plain(told.contact, _NAME),
        contact_phone=plain(told.contact_phone, _NAME),
        emergency_phone=plain(told.emergency_phone, _NAME),
        emergency_service=plain(told.emergency_service, _NAME) or RESCUE,
        group=_group(sheet),
        steps=_steps(told, stages),
        say=_say(sheet, stages),
        stages=stages,
        later=_later(told),
        people=tuple(_person(person) for person in sheet.people),
        signals=_signals(sheet),
        call_sign=plain(told.call_sign, _NAME),
        mmsi=plain(told.mmsi, _NAME),
        beacon=plain(told.beacon, _NAME),
        vehicle=plain(told.vehicle, _LONG),
        vehicle_at=plain(told.vehicle_at, _LONG),
        note=plain(told.note, _LONG),
        route=_route(sheet, clock),
        cautions=CAUTIONS,
        made=_made(plan, clock),
    )


def place_name(point: Waypoint) -> str:
    """Name of a place, or its position."""
    return plain(point.name, _NAME) or position(point.longitude, point.latitude)


def stage_name(stage: SheetStage) -> str:
    """Where a stage leads from and to."""
    return f"{place_name(stage.start)} – {place_name(stage.end)}"


def verdict_words(verdict: Verdict, binding: str) -> str:
    """A verdict in capitals, with the limit that decides it."""
    word = verdict.word.upper()
    return f"{word}: {plain(LIMIT_WORDS.get(binding, binding), _NAME)}" if binding else word


def _utc(when: np.datetime64) -> str:
    return UNKNOWN if np.isnat(when) else f"{Clock('UTC').time(when)}Z"


def time_words(clock: Clock, when: np.datetime64, day: np.datetime64) -> str:
    """A time of day, with the day where that is another one."""
    if np.isnat(when) or np.isnat(day) or clock.day(when) == clock.day(day):
        return clock.time(when)
    return f"{clock.time(when)} {clock.short_day(when)}"


def _stage(stage: SheetStage, clock: Clock) -> StageWords:
    day = stage.launch
    times = {
        "launch": stage.launch,
        "arrive": stage.arrive,
        "call_in": stage.call_in,
        "alarm": stage.alarm,
    }
    known = not np.isnat(day)
    words = {name: time_words(clock, when, day) if known else NOT_PLANNED
             for name, when in times.items()}  # fmt: skip
    words |= {f"{name}_utc": _utc(when) if known else "" for name, when in times.items()}
    return StageWords(
        number=stage.number,
        planned=known,
        start=place_name(stage.start),
        end=place_name(stage.end),
        length=kilometres(stage.length_m, "km"),
        day=clock.day(day) if known else NOT_PLANNED,
        zone=clock.abbreviation(day) if known else "",
        window=_window(stage, clock),
        latest_alarm=""
        if np.isnat(stage.latest_alarm)
        else time_words(clock, stage.latest_alarm, day),
        last_light="" if np.isnat(stage.last_light) else time_words(clock, stage.last_light, day),
        before=_days_ashore(stage),
        verdict=_verdict(stage),
        good=stage.verdict <= Verdict.CLOSE and known,
        **words,
    )


def _window(stage: SheetStage, clock: Clock) -> str:
    if np.isnat(stage.first_launch):
        return ""
    first = time_words(clock, stage.first_launch, stage.launch)
    last = time_words(clock, stage.last_launch, stage.launch)
    arrive = time_words(clock, stage.latest_arrival, stage.launch)
    return f"launch {first} to {last}, ashore by {arrive}"


def _days_ashore(stage: SheetStage) -> str:
    if not stage.days_ashore:
        return ""
    count = f"{stage.days_ashore} day{'s' if stage.days_ashore > 1 else ''}"
    return f"{count} ashore before it: no call due then"


def _verdict(stage: SheetStage) -> str:
    if np.isnat(stage.launch):
        return "no launch proposed: write the times in"
    words = verdict_words(stage.verdict, stage.binding)
    words = f"{words}; launch picked by the group" if stage.picked else words
    return words if stage.is_timed else f"{words}; arrival unknown: write the times in"


def _times(sheet: TripSheet, clock: Clock) -> str:
    if np.isnat(sheet.first_launch):
        return f"Zone of the start: {clock.zone}. Z: UTC."
    day = clock.date(sheet.first_launch)
    return f"From {day}. Times: {clock.heading(sheet.first_launch)}; Z: UTC."


def _group(sheet: TripSheet) -> str:
    count = len(sheet.people)
    who = f"{count} {'person' if count == 1 else 'people'}" if count else ""
    craft = ", ".join(plain(name, _NAME) for name in sheet.craft)
    return f"{who}, craft: {craft}" if who else f"craft: {craft}"


def _steps(told: Ashore, stages: tuple[StageWords, ...]) -> tuple[tuple[str, str], ...]:
    """What to do: a few words that are seen first, and the rest."""
    done = "After each stage" if len(stages) > 1 else "When they are ashore"
    service = plain(told.emergency_service, _NAME) or "the rescue service"
    return (
        (f"{done} they call you", "before the time under CALL BY."),
        ("No call?", "Call their phones, again and again. Ask others who may have heard."),
        (
            "Still nothing at ALARM?",
            f"Call {service} at once. Do not wait for daylight, do not set out yourself. Read out "
            "SAY. Keep your phone free and do what they tell you.",
        ),
        ("They turn up after all?", f"Tell {service} at once."),
    )


def _say(sheet: TripSheet, stages: tuple[StageWords, ...]) -> str:
    """What to tell the rescue service, in words that can be read out."""
    group = _group(sheet) if sheet.people else f"____ people, {_group(sheet)}"
    begin = f"A group of paddlers is overdue: {group}."
    if len(stages) > 1:
        return (
            f"{begin} They launched stage ____ of the table at ____ and should be ashore since "
            "____. I last heard from them at ____. I have names, phones, colours of the craft and "
            "the positions of their route on paper."
        )
    one = stages[0]
    launched = f"at {one.launch} on {one.day}" if one.planned else "at ____"
    due = one.arrive if one.planned else "____"
    return (
        f"{begin} They launched at {one.start} {launched} for {one.end} and should be ashore since "
        f"{due}. I last heard from them at ____. I have names, phones, colours of the craft and "
        "the positions of their route on paper."
    )


def _later(told: Ashore) -> str:
    call, alarm = _span(told.call_in_s), _span(told.call_in_s + told.alarm_s)
    return (
        "They tell you before they launch at another time or on another day; write it down: "
        f"CALL BY is {call}, ALARM {alarm} after the new arrival. If they could not tell you, "
        "the times above stand."
    )


def _span(seconds: float) -> str:
    """Hours and minutes, `1 h`, `1 h 30 min`."""
    hours, minutes = divmod(round(seconds / 60.0), 60)
    parts = [f"{hours} h"] if hours else []
    parts += [f"{minutes} min"] if minutes or not hours else []
    return " ".join(parts)


def _person(person: OnBoard) -> PersonWords:
    return PersonWords(
        plain(person.name, _LONG),
        plain(person.colours, _LONG),
        plain(person.phone, _NAME),
        plain(person.medical, _LONG),
    )


def _signals(sheet: TripSheet) -> str:
    everybody = {person.name for person in sheet.people}
    parts = []
    for thing, owners in sheet.signals:
        who = "each" if set(owners) == everybody else ", ".join(plain(n, _NAME) for n in owners)
        parts.append(f"{plain(thing, _NAME)} ({who})" if who else plain(thing, _NAME))
    return "; ".join(parts)


def _route(sheet: TripSheet, clock: Clock) -> tuple[PointWords, ...]:
    """Places of the line in order; what goes on beyond many pages is counted."""
    points = [point for stage in sheet.stages for point in _points(stage, clock)]
    more = len(points) - _MOST_POINTS
    if more <= 0:
        return tuple(points)
    rest = PointWords(0, "…", f"{more} more places: see route.gpx", "", "", "", UNKNOWN, False)
    return (*points[:_MOST_POINTS], rest)


def _points(stage: SheetStage, clock: Clock) -> list[PointWords]:
    """Start of a stage and the end of each of its legs."""
    start = stage.start
    points = [
        PointWords(
            stage.number, "start", plain(start.name, _NAME),
            position(start.longitude, start.latitude), "", "", clock.time(stage.launch), False,
        )
    ]  # fmt: skip
    for leg in stage.legs:
        last = leg is stage.legs[-1]
        points.append(
            PointWords(
                stage.number,
                str(leg.number),
                plain(leg.end.name, _NAME),
                position(leg.end.longitude, leg.end.latitude),
                f"{round(leg.course_deg) % 360:03d}°",
                kilometres(leg.length_m),
                clock.time(leg.leave),
                last and stage.ends_at_camp,
            )
        )
    return points


def _made(plan: Plan, clock: Clock) -> str:
    from routeplan import __version__

    words = f"routeplan {__version__}"
    for source in plan.sources:
        if source.kind == "forecast" and source.date:
            words += f", from a forecast of {plain(source.date, _NAME)}"
    if plan.trip.now is not None:
        words += f", made {clock.date(plan.trip.now)} {clock.time(plan.trip.now)}"
    return words

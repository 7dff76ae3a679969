"""The words of the card for the deck: few, large, in the order of the day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from routeplan._sheet.words import RESCUE, place_name, stage_name, time_words, verdict_words
from routeplan._show.wording import UNKNOWN, Clock, duration, kilometres, metres, plain
from routeplan.limits import Verdict

if TYPE_CHECKING:
    from routeplan._plan.ashore import SheetLeg, SheetStage, TripSheet, WayOut
    from routeplan.plan import Plan

__all__ = ["CARD_STAGES", "CardLeg", "CardStage", "CardWords", "card_words"]

CARD_STAGES = 30
"""Stages that a card shows; further ones are counted."""

_NAME, _LONG = 60, 160
_MOST_LEGS = 40  # of a stage


@dataclass(frozen=True, slots=True)
class CardLeg:
    """One leg; `on` and `back` are "" where they were not worked out."""

    number: int
    to: str
    course: str
    length: str
    enter: str
    leave: str
    verdict: str
    far: str
    bends: str
    on: str
    back: str
    out: str


@dataclass(frozen=True, slots=True)
class CardStage:
    """One page: `boxes` are (label, time or UNKNOWN) in a row."""

    number: int
    picture: str
    head: str
    day: str
    length: str
    boxes: tuple[tuple[str, str], ...]
    verdict: str
    legs: tuple[CardLeg, ...]
    more: str


@dataclass(frozen=True, slots=True)
class CardWords:
    """Everything that stands on the card."""

    title: str
    invented: bool
    warnings: tuple[str, ...]
    emergency_phone: str
    emergency_service: str
    contact: str
    contact_phone: str
    call_sign: str
    stages: tuple[CardStage, ...]
    more: str


def card_words(plan: Plan, sheet: TripSheet) -> CardWords:
    """Words of a card."""
    clock, told = Clock(plan.zone), sheet.ashore
    notice_m = plan.trip.limits.offshore_notice_m
    many = len(sheet.stages)
    return CardWords(
        title=plain(plan.trip.title or plan.route.name or "Trip", _NAME),
        invented=plan.invented,
        warnings=tuple(plain(words, _LONG) for words in plan.warnings),
        emergency_phone=plain(told.emergency_phone, _NAME),
        emergency_service=plain(told.emergency_service, _NAME) or RESCUE,
        contact=plain(told.contact, _NAME),
        contact_phone=plain(told.contact_phone, _NAME),
        call_sign=plain(told.call_sign, _NAME),
        stages=tuple(_stage(s, many, clock, notice_m) for s in sheet.stages[:CARD_STAGES]),
        more=""
        if many <= CARD_STAGES
        else f"{many - CARD_STAGES} more stages are not on this card",
    )


def _zone(stage: SheetStage, clock: Clock) -> str:
    name, offset = clock.abbreviation(stage.launch), f"UTC{clock.offset(stage.launch)}"
    return name if name in (offset, "UTC") else f"{name} ({offset})"


def _stage(stage: SheetStage, many: int, clock: Clock, notice_m: float) -> CardStage:
    known = not np.isnat(stage.launch)
    many_legs = len(stage.legs)
    head = stage_name(stage)
    return CardStage(
        number=stage.number,
        picture=f"map{stage.number}",
        head=f"{stage.number}/{many}  {head}" if many > 1 else head,
        day=f"{clock.day(stage.launch)} {_zone(stage, clock)}" if known else "",
        length=kilometres(stage.length_m, "km"),
        boxes=(
            ("launch", time_words(clock, stage.launch, stage.launch)),
            ("latest launch", time_words(clock, stage.last_launch, stage.launch)),
            ("ashore", time_words(clock, stage.arrive, stage.launch)),
            ("last light", time_words(clock, stage.last_light, stage.launch)),
            ("call by", time_words(clock, stage.call_in, stage.launch)),
            ("alarm", time_words(clock, stage.alarm, stage.launch)),
        ),
        verdict=_verdict(stage),
        legs=tuple(_leg(leg, clock, notice_m) for leg in stage.legs[:_MOST_LEGS]),
        more=""
        if many_legs <= _MOST_LEGS
        else f"{many_legs - _MOST_LEGS} more legs: see the sheet",
    )


def _verdict(stage: SheetStage) -> str:
    if np.isnat(stage.launch):
        return "NOT PLANNED: no launch is proposed; write the times in"
    if stage.verdict is Verdict.WITHIN:
        return ""
    words = verdict_words(stage.verdict, stage.binding)
    return f"{words} (launch picked by the group)" if stage.picked else words


def _leg(leg: SheetLeg, clock: Clock, notice_m: float) -> CardLeg:
    timed = not np.isnat(leg.enter)
    return CardLeg(
        number=leg.number,
        to=place_name(leg.end),
        course=_course(leg),
        length=kilometres(leg.length_m, "km"),
        enter="" if not timed else clock.time(leg.enter),
        leave="" if not timed else clock.time(leg.leave),
        verdict="" if leg.verdict is Verdict.WITHIN or not timed else leg.verdict.word.upper(),
        far=_far(leg, notice_m),
        bends=_bends(leg),
        on=_until(leg, leg.go_on_until, clock),
        back=_until(leg, leg.turn_round_until, clock),
        out=_out(leg),
    )


def _course(leg: SheetLeg) -> str:
    """The course to steer; of the leg as a whole, marked, where it bends."""
    mark = "" if len(leg.courses) == 1 else "~"
    return f"{mark}{_bearing(leg.course_deg)}"


def _bends(leg: SheetLeg) -> str:
    if len(leg.courses) == 1:
        return ""
    return ", ".join(f"{_bearing(course)} {metres(length)}" for course, length in leg.courses)


def _far(leg: SheetLeg, notice_m: float) -> str:
    if not np.isfinite(leg.offshore_max_m):
        return "distance from shore unknown"
    words = [f"{metres(leg.land_m)} ON LAND"] if leg.land_m > 0.0 else []
    words += [f"{metres(leg.offshore_max_m)} out"] if leg.offshore_max_m > notice_m else []
    return " · ".join(words)


def _until(leg: SheetLeg, when: np.datetime64, clock: Clock) -> str:
    """Latest time at the start of a leg; "no" where not even on arrival."""
    if not leg.has_turn_back:
        return ""
    return "no" if np.isnat(when) else clock.time(when)


def _out(leg: SheetLeg) -> str:
    """Ways to land from the worst place."""
    ways = [_way(way, name) for way, name in ((leg.shore, "shore"), (leg.landing, "")) if way]
    if leg.shore is None:
        ways.insert(0, plain(leg.shore_text, _LONG) or "nearest shore unknown")
    return f"from {kilometres(leg.worst_at_m, 'km')}: {'; '.join(ways)}"


def _way(way: WayOut, name: str) -> str:
    text = f"{name or plain(way.name, _NAME)} {_bearing(way.bearing_deg)} {metres(way.distance_m)}"
    if np.isfinite(way.time_s):
        text += f" {duration(way.time_s)}"
    return f"{text} (land between)" if way.over_land else text


def _bearing(angle: float) -> str:
    return f"{round(angle) % 360:03d}°" if np.isfinite(angle) else UNKNOWN

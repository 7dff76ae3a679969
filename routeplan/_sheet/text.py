"""The sheet as text: for a message, a screen reader, or a printer without pictures."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Iterable

from routeplan._sheet.words import NOT_PLANNED, PersonWords, SheetWords, StageWords
from routeplan._show.wording import UNKNOWN

__all__ = ["text_of"]

_WIDTH = 78
_LINE = "_" * 24  # to write on
_SHORT = "_" * 8


def text_of(words: SheetWords) -> str:
    """A sheet as text, in lines of at most 78 characters where words allow it."""
    lines = [*_top(words), "", *_steps(words), "", *_stages(words), "", *_wrap("SAY: " + words.say)]
    lines += ["", *_people(words), "", *_found(words), "", *_route(words), ""]
    for caution in words.cautions:
        lines += _wrap(caution)
    lines += _wrap(words.made)
    return "\n".join(lines) + "\n"


def _top(words: SheetWords) -> list[str]:
    lines = ["** INVENTED DATA: not for use on the water **"] if words.invented else []
    lines += ["TRIP SHEET: stays with the contact ashore", *_wrap(words.title)]
    for warning in words.warnings:
        lines += _wrap(f"WARNING: {warning}")
    return lines


def _steps(words: SheetWords) -> list[str]:
    number = _whole(words.emergency_phone) or f"{_LINE} (write it in before they leave)"
    lines = [
        *_wrap(f"AT ALARM CALL: {words.emergency_service}: {number}"),
        *_wrap(f"Contact ashore: {words.contact or _LINE}, {_whole(words.contact_phone) or _LINE}"),
        "",
    ]
    for i, (head, rest) in enumerate(words.steps, 1):
        lines += _wrap(f"{i}. {head} {rest}", "   ")
    return lines


def _stages(words: SheetWords) -> list[str]:
    lines: list[str] = []
    for stage in words.stages:
        lines += [*_stage(stage), ""]
    return [*lines, *_wrap(words.times), *_wrap(words.later)]


def _stage(stage: StageWords) -> list[str]:
    day = f"{stage.day} {stage.zone}".rstrip() if stage.planned else f"day {_SHORT}"
    lines = _wrap(f"Stage {stage.number}: {stage.start} – {stage.end}, {stage.length}")
    lines += _wrap(f"{day}: {stage.verdict}", "  ", "  ")
    lines += [
        f"  launch  {_timed(stage.launch, stage.launch_utc)}   "
        f"ashore {_timed(stage.arrive, stage.arrive_utc)}",
        f"  CALL BY {_timed(stage.call_in, stage.call_in_utc)}   "
        f"ALARM  {_timed(stage.alarm, stage.alarm_utc)}",
    ]
    more = [
        stage.window,
        f"last light {stage.last_light}" if stage.last_light else "",
        stage.before,
    ]
    if any(more):
        lines += _wrap("; ".join(filter(None, more)) + ".", "  ", "  ")
    return [*lines, f"  launched {_SHORT}   called {_SHORT}"]


def _timed(time: str, utc: str) -> str:
    return _SHORT if time in (UNKNOWN, NOT_PLANNED) else f"{time} ({utc})"


def _people(words: SheetWords) -> list[str]:
    lines = [*_wrap(f"PEOPLE: {words.group}")]
    people = words.people or tuple(PersonWords("", "", "", "") for _ in range(4))
    for i, person in enumerate(people, 1):
        parts = [
            person.name or _LINE,
            f"craft and colours: {person.colours or _LINE}",
            f"phone: {_whole(person.phone) or _LINE}",
        ]
        parts += [f"medical: {person.medical}"] if person.medical else []
        lines += _wrap(f"{i}. {'; '.join(parts)}", "   ")
    return lines


def _found(words: SheetWords) -> list[str]:
    facts = (
        ("VHF call sign", words.call_sign),
        ("MMSI", words.mmsi),
        ("Beacon", words.beacon),
        ("Vehicle", words.vehicle),
        ("stands at", words.vehicle_at),
        ("Note", words.note),
    )
    lines = ["HOW THEY CALL AND ARE SEEN; WHAT STANDS ASHORE"]
    for name, value in facts:
        lines += _wrap(f"{name}: {value or _LINE}", "   ")
    return lines + (_wrap(f"They carry: {words.signals}.", "   ") if words.signals else [])


def _route(words: SheetWords) -> list[str]:
    lines = ["ROUTE: positions WGS84, courses true, times of the launch planned"]
    for point in words.route:
        name = point.name or "(no name)"
        when = "" if point.when == UNKNOWN else f"  {point.when}"
        if point.label == "start":
            lines += _wrap(f"Stage {point.stage} from {name}", "     ")
        else:
            night = " (night)" if point.camp else ""
            lines += _wrap(f"{point.label:>3}. {name}{night}", "     ")
        way = f"  {point.course} true, {point.length} km" if point.course else ""
        lines.append(f"     {point.position}{way}{when}")
    return lines


def _whole(number: str) -> str:
    """A number that stays on one line."""
    return number.replace(" ", "\N{NO-BREAK SPACE}")


def _wrap(text: str, later: str = "", first: str = "") -> list[str]:
    """Lines of at most 78 columns; letters of double width count twice."""
    wide = sum(unicodedata.east_asian_width(char) in "WF" for char in text)
    room = _WIDTH if not wide else max(_WIDTH * len(text) // (len(text) + wide), 20)
    lines: Iterable[str] = textwrap.wrap(
        text, room, initial_indent=first, subsequent_indent=later, break_on_hyphens=False
    )
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]

"""The sheet for programs: plain values, times in UTC."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from routeplan._show.values import place, rounded, text, utc

if TYPE_CHECKING:
    from routeplan._plan.ashore import Ashore, SheetLeg, SheetStage, TripSheet, WayOut

__all__ = ["sheet_document"]

_GIVEN = (
    "contact", "contact_phone", "emergency_phone", "emergency_service", "call_sign", "mmsi",
    "beacon", "vehicle", "vehicle_at", "note",
)  # fmt: skip


def sheet_document(sheet: TripSheet) -> dict[str, Any]:
    """A sheet as plain values."""
    return {
        **_given(sheet.ashore),
        "people": [
            {
                "name": text(person.name),
                "colours": text(person.colours) or None,
                "phone": text(person.phone) or None,
                "medical": text(person.medical) or None,
            }
            for person in sheet.people
        ],
        "craft": [text(name) for name in sheet.craft],
        "signals": [
            {"item": text(thing), "who": [text(name) for name in who]}
            for thing, who in sheet.signals
        ],
        "first_launch": utc(sheet.first_launch),
        "alarm": utc(sheet.alarm),
        "stages": [_stage(stage) for stage in sheet.stages],
    }


def _given(told: Ashore) -> dict[str, Any]:
    words = {name: text(getattr(told, name)) or None for name in _GIVEN}
    return {
        **words,
        "call_in_s": rounded(told.call_in_s, 0),
        "alarm_s": rounded(told.alarm_s, 0),
    }


def _stage(stage: SheetStage) -> dict[str, Any]:
    return {
        "stage": stage.number,
        "launch": utc(stage.launch),
        "arrive": utc(stage.arrive),
        "picked": stage.picked,
        "first_launch": utc(stage.first_launch),
        "last_launch": utc(stage.last_launch),
        "latest_arrival": utc(stage.latest_arrival),
        "last_light": utc(stage.last_light),
        "verdict": stage.verdict.word,
        "binding": stage.binding or None,
        "days_ashore": stage.days_ashore,
        "call_in": utc(stage.call_in),
        "alarm": utc(stage.alarm),
        "latest_alarm": utc(stage.latest_alarm),
        "legs": [_leg(leg) for leg in stage.legs],
    }


def _leg(leg: SheetLeg) -> dict[str, Any]:
    return {
        "leg": leg.number,
        "start": place(leg.start),
        "end": place(leg.end),
        "length_m": rounded(leg.length_m, 1),
        "course_deg": rounded(leg.course_deg, 1),
        "pieces": [
            {"course_deg": rounded(course, 1), "length_m": rounded(length, 1)}
            for course, length in leg.courses
        ],
        "enter": utc(leg.enter),
        "leave": utc(leg.leave),
        "go_on_until": utc(leg.go_on_until),
        "turn_round_until": utc(leg.turn_round_until),
        "offshore_max_m": rounded(leg.offshore_max_m, 0),
        "verdict": leg.verdict.word,
        "worst_at_m": rounded(leg.worst_at_m, 0),
        "worst_longitude_deg": rounded(leg.worst_longitude, 6),
        "worst_latitude_deg": rounded(leg.worst_latitude, 6),
        "shore": _way(leg.shore),
        "landing": _way(leg.landing),
    }


def _way(way: WayOut | None) -> dict[str, Any] | None:
    if way is None:
        return None
    return {
        "name": text(way.name) or None,
        "longitude_deg": rounded(way.longitude, 6),
        "latitude_deg": rounded(way.latitude, 6),
        "bearing_deg": rounded(way.bearing_deg, 1),
        "distance_m": rounded(way.distance_m, 0),
        "time_s": rounded(way.time_s, 0),
        "over_land": way.over_land,
    }

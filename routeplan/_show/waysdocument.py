"""The party and its ways out of a launch, for the document of a plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from routeplan._show.values import rounded, text, utc

if TYPE_CHECKING:
    from routeplan._plan.bail import LegDrift
    from routeplan.plan import StagePlan
    from routeplan.propulsion import Craft
    from routeplan.simulation import Pace
    from routeplan.stops import Bailout, ShoreSide, Stop
    from routeplan.windows import Landing, TurnBack

__all__ = ["bailout_documents", "craft_document", "pace_document", "ways_documents"]


def craft_document(craft: Craft) -> dict[str, Any]:
    """A craft in a few words."""
    return {
        "name": text(craft.name),
        "still_water_speed_ms": rounded(craft.still_water_speed_ms, 3),
        "posture": craft.posture,
    }


def pace_document(pace: Pace | None) -> dict[str, Any] | None:
    """How the party paddles; None for steadily and without rests."""
    return None if pace is None else {name: rounded(v, 4) for name, v in asdict(pace).items()}


def ways_documents(stage: StagePlan) -> dict[str, Any]:
    """Turn-back times, landings and drift of the launch proposed; null where there is none."""
    turns, landings, drift = stage.turn_back, stage.landings, stage.drift
    return {
        "turn_back": None if turns is None else [_turn_back(it) for it in turns],
        "landings": None if landings is None else [_landing(it) for it in landings],
        "drift": None if drift is None else [_drift(it) for it in drift],
    }


def _turn_back(it: TurnBack) -> dict[str, Any]:
    return {
        "leg": it.leg,
        "longitude_deg": rounded(it.longitude, 6),
        "latitude_deg": rounded(it.latitude, 6),
        "arrive": utc(it.arrive),
        "go_on_until": utc(it.go_on_until),
        "turn_round_until": utc(it.turn_round_until),
        "text": text(it.text),
    }


def _landing(it: Landing) -> dict[str, Any]:
    return {
        "leg": it.leg,
        "longitude_deg": rounded(it.longitude, 6),
        "latitude_deg": rounded(it.latitude, 6),
        "when": utc(it.when),
        "distance_m": rounded(it.distance_m, 0),
        "bearing_deg": rounded(it.bearing_deg, 0),
        "landing_longitude_deg": rounded(it.landing_longitude, 6),
        "landing_latitude_deg": rounded(it.landing_latitude, 6),
        "time_s": rounded(it.time_s, 0),
        "nearest_m": rounded(it.nearest_m, 0),
        "text": text(it.text),
    }


def _drift(it: LegDrift) -> dict[str, Any]:
    worst = it.worst
    return {
        "leg": worst.leg,
        "who": it.who,
        "leeway_of": text(it.it.description),
        "hours_h": rounded(it.hours, 2),
        "longitude_deg": rounded(worst.longitude, 6),
        "latitude_deg": rounded(worst.latitude, 6),
        "when": utc(worst.when),
        "known": worst.known,
        "ashore_first_s": rounded(worst.ashore_first_s, 0),
        "ashore_last_s": rounded(worst.ashore_last_s, 0),
        "ashore_longitude_deg": rounded(it.ashore_longitude, 6),
        "ashore_latitude_deg": rounded(it.ashore_latitude, 6),
        "offshore_m": rounded(worst.offshore_m, 0),
        "current_known": it.has_current,
        "text": text(worst.text),
    }


def bailout_documents(ways: Sequence[Bailout] | None) -> list[dict[str, Any]] | None:
    """Ways out of every stretch; None without a launch."""
    if ways is None:
        return None
    return [
        {
            "begin_m": rounded(it.begin_m, 0),
            "end_m": rounded(it.end_m, 0),
            "longitude_deg": rounded(it.longitude, 6),
            "latitude_deg": rounded(it.latitude, 6),
            "when": utc(it.when),
            "port": _side(it.port),
            "starboard": _side(it.starboard),
            "ahead": _stop(it.ahead),
            "behind": _stop(it.behind),
            "no_landing": text(it.no_landing) or None,
            "commits": it.commits,
        }
        for it in ways
    ]


def _side(it: ShoreSide) -> dict[str, Any]:
    return {
        "distance_m": rounded(it.distance_m, 0),
        "bearing_deg": rounded(it.bearing_deg, 0),
        "time_s": rounded(it.time_s, 0),
        "known": it.known,
    }


def _stop(it: Stop | None) -> dict[str, Any] | None:
    if it is None:
        return None
    return {
        "name": text(it.place.called),
        "kind": it.place.kind,
        "along_m": rounded(it.along_m, 0),
        "off_m": rounded(it.off_m, 0),
    }

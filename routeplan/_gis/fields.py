"""What the columns of the layers mean: one row for each, with its unit."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["FIELDS", "Field", "fields_of"]


@dataclass(frozen=True, slots=True)
class Field:
    """A column of a layer; `unit` is "" for words, counts, flags and times (UTC)."""

    layer: str
    name: str
    unit: str
    meaning: str


def _layer(layer: str, *rows: tuple[str, str, str]) -> tuple[Field, ...]:
    return tuple(Field(layer, *row) for row in rows)


_PROPOSED = "at the launch proposed; empty without one"

FIELDS: tuple[Field, ...] = (
    *_layer(
        "legs",
        ("number", "", "of the leg on the route, from 1"),
        ("stage", "", "outing it belongs to, from 1"),
        ("from", "", "name of its start"),
        ("to", "", "name of its end"),
        ("length_m", "m", "length along the leg, geodesic on WGS84"),
        ("course_deg", "degrees true", "of the geodesic from start to end, at the start"),
        ("offshore_max_m", "m", "largest distance from shore"),
        ("offshore_mean_m", "m", "mean distance from shore along the leg"),
        ("beyond_offshore_limit_m", "m", "metres of the leg farther from shore than the limit"),
        ("offshore_verdict", "", "distance from shore against the limit, within coast's error"),
        ("crosses_land", "", "whether it runs over land"),
        ("portage", "", "whether its start is marked as a portage"),
        ("flags", "", "what a leader must not overlook"),
        ("enter", "", f"time on entering, UTC, {_PROPOSED}"),
        ("leave", "", f"time on leaving, UTC, {_PROPOSED}"),
        ("verdict", "", f"within, close, unknown or beyond, {_PROPOSED}"),
        ("wind_ms", "m/s", f"strongest mean wind met on it at 10 m, {_PROPOSED}"),
        ("gust_ms", "m/s", f"strongest gust, {_PROPOSED}"),
        ("headwind_ms", "m/s", f"strongest wind against the course, {_PROPOSED}"),
        ("crosswind_ms", "m/s", f"strongest wind across the course, {_PROPOSED}"),
        ("wave_height_m", "m", f"largest significant wave height, {_PROPOSED}"),
        ("speed_over_ground_ms", "m/s", f"mean speed over ground, {_PROPOSED}"),
    ),
    *_layer(
        "places",
        ("role", "", "launch, night, end, turn-back, bail-out, no bail-out, way out or place"),
        ("name", "", "name of the place, or the leg it belongs to"),
        ("kind", "", "what the user's file calls it"),
        ("stage", "", "outing, from 1"),
        ("leg", "", "number of the leg, from 1"),
        ("when", "", "when one is there, UTC; of a bail-out: on the way, where it is told from"),
        ("first_launch", "", "first of the good launches around the one proposed, UTC"),
        ("last_launch", "", "last of the good launches around the one proposed, UTC"),
        ("go_on_until", "", "latest time to go on to the end, UTC; empty: not even on arrival"),
        ("turn_round_until", "", "latest time to go back, UTC; empty: not even on arrival"),
        ("distance_m", "m", "from the place on the way to the bail-out"),
        ("time_s", "s", "of paddling to the bail-out in that hour's weather"),
        ("text", "", "in a sentence"),
    ),
    *_layer(
        "drift",
        ("stage", "", "outing, from 1"),
        ("leg", "", "leg on which the drift begins, from its worst place"),
        ("who", "", "on the craft, or in the water"),
        ("leeway_of", "", "as what it is taken to drift (Allen and Plourde 1999)"),
        ("branch", "", "downwind, or right or left of the wind"),
        ("when", "", "when it begins, UTC"),
        ("hours_h", "h", "how long it was followed"),
        ("end_s", "s", "from the begin to the end of the line"),
        ("ashore_s", "s", "from the begin until ashore; empty: still afloat, or unknown"),
        ("known", "", "whether wind and current are known until ashore, or to the end"),
        ("current_known", "", "whether the forecast tells the current; else wind alone drives it"),
        ("text", "", "of all branches, in a sentence"),
    ),
    *_layer(
        "coast",
        ("kind", "", "land; lakes are holes"),
        ("source", "", "where the coastline is from"),
        ("nominal_error_m", "m", "of the source, as documented; empty: its source states none"),
    ),
)


def fields_of(layer: str) -> tuple[Field, ...]:
    """Columns of a layer, in order."""
    return tuple(field for field in FIELDS if field.layer == layer)

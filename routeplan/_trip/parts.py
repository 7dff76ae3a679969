"""What the tables of a trip's file stand for: limits, craft, pace, wishes, places, kit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from routeplan._judge.limitvalues import limits_of_table
from routeplan._kit.file import Entry, KitFile
from routeplan._trip.entries import one, path_of, time_of
from routeplan.errors import InputError
from routeplan.limits import Limits, read_limits
from routeplan.propulsion import CRAFTS, POSTURE_DRAG_AREA_M2, Craft, craft
from routeplan.stops import KINDS, StageWishes, read_places

if TYPE_CHECKING:
    from routeplan.coastline import Coastline
    from routeplan.simulation import Pace
    from routeplan.stops import Place

__all__ = ["coast_of", "crafts_of", "limits_of", "pace_of", "picked_of", "places_of", "trip_of",
           "wishes_of"]  # fmt: skip

_MOST_CRAFT = 20
_MOST_STAGES = 2_000


def trip_of(file: KitFile) -> dict[str, Any]:
    """Title, zone, step between launches, age from which a forecast is old: [trip]."""
    entry = one(file, "trip")
    if entry is None:
        return {}
    entry.check_keys(("title", "zone", "launch_step", "old_after"))
    zone = entry.text("zone", "")
    if zone:
        try:
            ZoneInfo(zone)
        except (KeyError, ValueError, OSError):
            entry.fail("zone", f"is {zone[:60]!r}; allowed are names such as Europe/Stockholm, UTC")
    return {
        "title": entry.text("title", ""),
        "zone": zone or None,
        "launch_step_s": entry.quantity("launch_step", "time", 60.0, 86_400.0, 1_800.0),
        "old_after_s": entry.quantity("old_after", "time", 0.0, 30 * 86_400.0, 12 * 3_600.0),
    }


def limits_of(file: KitFile) -> Limits:
    """The limits: [limits] with a file, or with the limits themselves."""
    entry = one(file, "limits")
    if entry is None:
        return Limits()
    if "file" not in entry.table:
        try:
            return limits_of_table(file.path, entry.table)
        except InputError as error:
            line = file.line_of(error.field or "", entry.line)
            msg = str(error).replace(f"{file.path}:", f"{file.path}:{line}:", 1)
            raise InputError(msg, field=error.field, value=error.value, path=file.path) from None
    _alone(entry, "file")
    return read_limits(path_of(entry))


def coast_of(file: KitFile) -> Coastline | None:
    """A coastline of the user's: [coast] with a file and its error."""
    entry = one(file, "coast")
    if entry is None:
        return None
    entry.check_keys(("file", "error"))
    from routeplan.coastline import Coastline

    error_m = entry.quantity("error", "length", 0.0, 100_000.0)
    return Coastline.from_file(
        path_of(entry), nominal_error_m=None if np.isnan(error_m) else error_m
    )


def crafts_of(file: KitFile) -> tuple[Craft, ...]:
    """The craft of the group: tables [[craft]], a touring board without any."""
    entries = file.entries("craft")
    if len(entries) > _MOST_CRAFT:
        entries[_MOST_CRAFT].fail("craft", f"is one too many; allowed are {_MOST_CRAFT}")
    return tuple(_craft(entry) for entry in entries) or (craft("touring board"),)


def _craft(entry: Entry) -> Craft:
    entry.check_keys(("name", "speed", "posture"))
    changes: dict[str, Any] = {}
    if "speed" in entry.table:
        changes["still_water_speed_ms"] = entry.quantity("speed", "speed", 0.2, 5.0)
    if "posture" in entry.table:
        changes["posture"] = entry.choice("posture", tuple(POSTURE_DRAG_AREA_M2))
    try:
        return craft(entry.choice("name", tuple(CRAFTS)), **changes)
    except InputError as error:  # a speed that its power does not give
        raise entry.error(error.field or "name", f"cannot be: {error}") from None


def pace_of(file: KitFile) -> Pace | None:
    """Rests, and a pace that falls with the hours: [pace]."""
    entry = one(file, "pace")
    if entry is None:
        return None
    entry.check_keys(("factor", "decay_per_hour", "fresh", "rest_every", "rest"))
    from routeplan.simulation import Pace

    return Pace(
        factor=entry.quantity("factor", "share", 0.1, 2.0, 1.0),
        decay_per_h=entry.quantity("decay_per_hour", "share", 0.0, 0.5, 0.0),
        fresh_s=entry.quantity("fresh", "time", 0.0, 86_400.0, 0.0),
        rest_every_s=entry.quantity("rest_every", "time", 0.0, 86_400.0, 0.0),
        rest_s=entry.quantity("rest", "time", 0.0, 86_400.0, 0.0),
    )


def wishes_of(file: KitFile) -> StageWishes:
    """What the group wants of its days: [wishes]."""
    entry, usual = one(file, "wishes"), StageWishes()
    if entry is None:
        return usual
    entry.check_keys(
        ("depart", "home_by", "reach", "night", "break_camp", "party", "landing_wave",
         "landing_wind", "off_line", "others")
    )  # fmt: skip
    reach_m = entry.quantity("reach", "length", 100.0, 1e6)
    return StageWishes(
        depart=time_of(entry, "depart"),
        home_by=time_of(entry, "home_by"),
        reach_m=None if np.isnan(reach_m) else reach_m,
        night_s=entry.quantity("night", "time", 0.0, 86_400.0, usual.night_s),
        break_camp_s=entry.quantity("break_camp", "time", 0.0, 43_200.0, usual.break_camp_s),
        party=_party(entry),
        landing_wave_m=entry.quantity("landing_wave", "length", 0.05, 20.0, usual.landing_wave_m),
        landing_wind_ms=entry.quantity("landing_wind", "speed", 0.5, 60.0, usual.landing_wind_ms),
        off_line_m=entry.quantity("off_line", "length", 1.0, 20_000.0, usual.off_line_m),
        other_trips=bool(entry.flag("others")),
    )


def _party(entry: Entry) -> int | None:
    if "party" not in entry.table:
        return None
    value = entry.number("party", 1, 10_000)
    if value != int(value):
        entry.fail("party", f"is {value:g}; allowed is a whole number of people")
    return int(value)


def places_of(file: KitFile) -> tuple[Place, ...]:
    """Places to choose from: [places] with a file, and how to read it."""
    entry = one(file, "places")
    if entry is None:
        return ()
    entry.check_keys(("file", "kind", "layer", "prefixes"))
    prefixes = entry.table.get("prefixes", {})
    good = isinstance(prefixes, Mapping) and all(v in KINDS for v in map(str, prefixes.values()))
    if not good or len(prefixes) > 100:
        entry.fail("prefixes", f'must be a table such as {{ "C " = "camp" }}: {", ".join(KINDS)}')
    return read_places(
        path_of(entry),
        prefixes={str(name): str(kind) for name, kind in prefixes.items()} or None,
        kind=entry.choice("kind", KINDS) if "kind" in entry.table else None,
        layer=entry.text("layer") if "layer" in entry.table else None,
    )


def picked_of(file: KitFile) -> dict[int, np.datetime64]:
    """Launches that the user picked: [picked], number of the stage to time."""
    entry = one(file, "picked")
    picked: dict[int, np.datetime64] = {}
    for key in entry.table if entry is not None else ():
        assert entry is not None
        if not (key.isascii() and key.isdecimal() and 1 <= int(key[:9]) <= _MOST_STAGES):
            entry.fail(key[:60], "is no number of a stage; allowed are 1 and up")
        when = time_of(entry, key)
        assert when is not None
        picked[int(key)] = when
    return picked


def _alone(entry: Entry, key: str) -> None:
    """Refuse other keys beside one that says all."""
    others = [name for name in entry.table if name != key]
    if others:
        entry.fail(others[0][:60], f"cannot stand beside {key}; give the file, or the keys here")

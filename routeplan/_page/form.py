"""The fields a trip can be changed by: read from a form, shown in a form, sent to a worker.

Values stay the texts that people wrote ("12 kn"); a worker turns them into SI.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from routeplan.errors import InputError

__all__ = [
    "ASHORE_ROWS",
    "CRAFT_NAMES",
    "LIMIT_ROWS",
    "UNIT_CHOICES",
    "LimitRow",
    "Settings",
    "split_quantity",
]

_LONGEST = 60
CRAFT_NAMES = ("touring board", "inflatable board", "sea kayak", "open canoe")
UNIT_CHOICES: Mapping[str, tuple[str, ...]] = {
    "wind speed": ("kn", "m/s", "km/h", "Bft"),
    "speed": ("kn", "m/s", "km/h"),
    "length": ("m", "km", "nm", "ft"),
    "time": ("min", "h"),
    "temperature": ("°C", "°F"),
    "share": ("%",),
    "specific energy": ("J/kg",),
}


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One limit in the form: its name, label, kind of unit and default, and whether it is common.

    `needed` ones cannot be left empty.
    """

    name: str
    label: str
    kind: str
    default: str
    common: bool = False
    needed: bool = False


LIMIT_ROWS = (
    LimitRow("wind", "Wind, at most", "wind speed", "12 kn", common=True),
    LimitRow("gust", "Gusts, at most", "wind speed", "17 kn", common=True),
    LimitRow("headwind", "Headwind, at most", "wind speed", "10 kn", common=True),
    LimitRow("wave_height", "Waves, at most", "length", "0.6 m", common=True),
    LimitRow("offshore", "Distance from shore, at most", "length", "1000 m", common=True),
    LimitRow("daylight", "Daylight left on arrival, at least", "time", "30 min", common=True),
    LimitRow("time_on_water", "Time on the water, at most", "time", "", common=True),
    LimitRow("crosswind", "Crosswind, at most", "wind speed", ""),
    LimitRow("offshore_wind", "Wind off the land, at most", "wind speed", ""),
    LimitRow(
        "offshore_wind_beyond", "… counted when farther from shore than", "length", "500 m",
        needed=True,
    ),
    LimitRow("wave_steepness", "Steepness of waves, at most", "share", ""),
    LimitRow("opposing_current", "Current against the wind, at most", "speed", "1 kn"),
    LimitRow("drift", "Adrift, ashore again within", "time", ""),
    LimitRow("visibility", "Visibility, at least", "length", "2000 m"),
    LimitRow("cape", "Thunder (CAPE), at most", "specific energy", "1000 J/kg"),
    LimitRow("wind_chill", "Wind chill, at least", "temperature", ""),
    LimitRow("water_temperature", "Water temperature, at least", "temperature", ""),
    LimitRow("offshore_notice", "Say so when farther from shore than", "length", "1000 m",
             needed=True),
    LimitRow("close_share", "Close means nearer to a limit than", "share", "10 %", needed=True),
    LimitRow("member_share", "Share of forecast members that must agree", "share", "90 %",
             needed=True),
    LimitRow("delay", "Still good when launching later by", "time", "30 min", needed=True),
    LimitRow("slower", "Still good when slower by", "share", "15 %", needed=True),
)  # fmt: skip
ASHORE_ROWS = (
    ("contact", "Who keeps the sheet"),
    ("contact_phone", "That person's phone"),
    ("emergency_service", "Whom to call in an emergency"),
    ("emergency_phone", "Emergency number"),
    ("call_in", "You call after arriving, within"),
    ("alarm", "Without a call, alarm after another"),
    ("vehicle", "Vehicle"),
    ("vehicle_at", "Where it stands"),
    ("call_sign", "Call sign"),
    ("mmsi", "MMSI"),
    ("beacon", "Beacon"),
    ("note", "Anything else"),
)
"""What the sheet for the contact ashore is told: name of the field, and its label."""
_QUANTITY = re.compile(r"\s*([+-]?[0-9.,eE+-]*)\s*(.*?)\s*", re.DOTALL)
_LAUNCH = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(:[0-9]{2})?Z")


def split_quantity(text: str) -> tuple[str, str]:
    """Number and unit of a text, as far as they are there: "12 kn" gives "12" and "kn".

    A text without a number keeps its words in the place of the number ("plenty kn" gives "plenty"
    and "kn"): shown as an empty field it would switch the limit off with the next change.
    """
    found = _QUANTITY.fullmatch(text)
    if found is not None and (found[1] or not found[2]):
        return found[1], found[2]
    words, _, unit = text.strip().rpartition(" ")
    return (words.strip(), unit) if words.strip() else (unit, "")


@dataclass(frozen=True, slots=True)
class Settings:
    """What of a trip can be changed after its files are there.

    `limits` and `ashore` are None until a worker has read them from a file, if any. `explicit`
    are those that the user set; `picked` the launches picked by number of the stage, ISO 8601
    with Z.
    """

    limits: Mapping[str, str] | None = None
    explicit: frozenset[str] = frozenset()
    craft: str = CRAFT_NAMES[0]
    speed: str = ""
    step: str = "30 min"
    select: int | None = None
    picked: Mapping[int, str] = field(default_factory=dict)
    ashore: Mapping[str, str] | None = None

    def order(self) -> dict[str, Any]:
        """The same as plain values, for a worker."""
        return {
            "limits": None if self.limits is None else dict(self.limits),
            "explicit": sorted(self.explicit),
            "craft": self.craft,
            "speed": self.speed,
            "step": self.step,
            "select": self.select,
            "ashore": None if self.ashore is None else dict(self.ashore),
            "picked": {str(number): when for number, when in self.picked.items()},
        }

    def changed(self, fields: Mapping[str, str]) -> Settings:
        """These settings with what a form says; what it does not mention stays.

        Raises
        ------
        InputError
            If a text is too long or a choice is none of those offered.
        """
        return replace(
            self,
            **_limits(self, fields),
            craft=_craft(fields.get("craft", self.craft)),
            speed=_joined(fields, "speed", self.speed),
            step=_joined(fields, "step", self.step) or "30 min",
            select=_select(fields.get("select"), self.select),
            picked=_picked(fields, self.picked),
            ashore=_ashore(fields, self.ashore),
        )


def _limits(before: Settings, fields: Mapping[str, str]) -> dict[str, Any]:
    if before.limits is None or not any(name.startswith("limit_") for name in fields):
        return {}
    limits, explicit = dict(before.limits), set(before.explicit)
    for row in LIMIT_ROWS:
        text = _joined(fields, f"limit_{row.name}", limits.get(row.name, ""))
        if row.needed and not text:
            msg = f"{row.label}: cannot be left empty; the default is {row.default}"
            raise InputError(msg, field=row.name)
        if text != limits.get(row.name, ""):
            explicit.add(row.name)
        limits[row.name] = text
    return {"limits": limits, "explicit": frozenset(explicit)}


def _joined(fields: Mapping[str, str], name: str, before: str) -> str:
    """Number and unit from their two fields as one text; empty without a number."""
    if name not in fields:
        return before
    number = _short(fields[name]).strip().replace(",", ".")
    unit = _short(fields.get(f"{name}_unit", "")).strip()
    return f"{number} {unit}".strip() if number else ""


def _craft(name: str) -> str:
    if name not in CRAFT_NAMES:
        msg = f"craft {_short(name)!r} is unknown; allowed are {', '.join(CRAFT_NAMES)}"
        raise InputError(msg, field="craft")
    return name


def _select(text: str | None, before: int | None) -> int | None:
    if text is None:
        return before
    if not re.fullmatch("[0-9]{1,6}", text):
        msg = f"route {_short(text)!r} is not one of the list"
        raise InputError(msg, field="select")
    return int(text)


def _picked(fields: Mapping[str, str], before: Mapping[int, str]) -> dict[int, str]:
    """Launches from fields `launch_1`, `launch_2`; an empty one leaves the choice to the plan."""
    picked = dict(before)
    for name, text in fields.items():
        number = name.removeprefix("launch_")
        if number == name or not re.fullmatch("[1-9][0-9]{0,2}", number):
            continue
        if text and not _is_time(text):
            msg = f"launch {_short(text)!r} is no time; allowed are times such as 2026-07-14T06:00Z"
            raise InputError(msg, field=name)
        picked.pop(int(number), None)
        if text:
            picked[int(number)] = text
    return picked


def _is_time(text: str) -> bool:
    """Whether it is a time of the calendar, of the years that nanoseconds can hold."""
    if not _LAUNCH.fullmatch(text):
        return False
    try:
        seconds = ":%S" if text.count(":") > 1 else ""
        when = datetime.strptime(text, f"%Y-%m-%dT%H:%M{seconds}%z")
    except ValueError:
        return False
    return 1678 <= when.year <= 2261


def _ashore(
    fields: Mapping[str, str], before: Mapping[str, str] | None
) -> Mapping[str, str] | None:
    """Texts of the fields `ashore_contact` and so on; a worker looks at what they say."""
    if before is None:
        return None
    return {
        name: " ".join(fields.get(f"ashore_{name}", before.get(name, "")).split())
        for name, _ in ASHORE_ROWS
    }


def _short(text: str) -> str:
    if len(text) > _LONGEST:
        msg = f"{text[:_LONGEST]!r}…: too long; allowed are {_LONGEST} characters"
        raise InputError(msg)
    return text

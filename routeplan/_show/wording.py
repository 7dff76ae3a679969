"""Words and figures for people: clean text, local time, rounded numbers.

Nothing is worked out here. Values come in SI and UTC and leave as text.
"""

from __future__ import annotations

import math
import unicodedata
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from routeplan.errors import InputError
from routeplan.units import HOUR_S, KNOT_MS

__all__ = [
    "LIMIT_LETTERS",
    "LIMIT_WORDS",
    "UNKNOWN",
    "Clock",
    "compass_point",
    "degrees",
    "duration",
    "fit",
    "kilometres",
    "knots",
    "metres",
    "number",
    "percent",
    "plain",
    "position",
]

UNKNOWN = "?"
"""What stands for a value that is not known, in tables and pictures."""

LIMIT_WORDS = {
    "wind": "wind",
    "gust": "gusts",
    "headwind": "headwind",
    "crosswind": "crosswind",
    "offshore_wind": "wind off the land",
    "wave_height": "waves",
    "wave_steepness": "steep waves",
    "opposing_current": "current against wind",
    "offshore": "distance from shore",
    "land": "land in the way",
    "time_on_water": "hours on the water",
    "daylight": "daylight",
    "drift": "drift",
    "visibility": "visibility",
    "cape": "thunder (CAPE)",
    "wind_chill": "wind chill",
    "water_temperature": "water temperature",
    "current": "current",
    "progress": "no headway",
}
"""Names of limits for people; a name that is missing here is shown as it stands."""

LIMIT_LETTERS = {
    "wind": "w",
    "gust": "g",
    "headwind": "h",
    "crosswind": "x",
    "offshore_wind": "f",
    "wave_height": "s",
    "wave_steepness": "e",
    "opposing_current": "u",
    "offshore": "o",
    "land": "l",
    "time_on_water": "t",
    "daylight": "d",
    "drift": "r",
    "visibility": "v",
    "cape": "z",
    "wind_chill": "c",
    "water_temperature": "k",
    "current": "n",
    "progress": "p",
}
"""One letter for each limit, for strips and cells too narrow for words (s: state of the sea)."""

_POINTS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")

# What a terminal without these characters shows instead; all of one width, so that columns
# stay aligned.
_SUBSTITUTES = str.maketrans(
    {
        "→": ">", "–": "-", "—": "-", "−": "-", "·": "-", "°": " ", "′": "'", "×": "x",
        "…": ".", "≥": ">", "≤": "<", "█": "#", "▒": "~", "’": "'", "‘": "'", "“": '"', "”": '"',
        "ß": "s", "æ": "a", "Æ": "A", "ø": "o", "Ø": "O", "ð": "d", "Ð": "D", "þ": "t", "ł": "l",
        "Ł": "L", "đ": "d", "\u00a0": " ", "\u202f": " ",
    }
)  # fmt: skip

# Control, format (direction overrides), surrogate, private and unassigned characters, line
# and paragraph separators: none of them may reach a terminal from a stranger's file.
_UNPRINTABLE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
_MAX_MARKS = 4  # combining marks on one letter: more only paint over the lines around


def plain(text: object, limit: int = 300) -> str:
    """Text that is safe to show on one line.

    Control and direction characters are removed, any white space becomes one blank, and
    text longer than `limit` is cut, marked by an ellipsis.
    """
    kept = []
    marks = 0
    for char in str(text)[: 4 * limit]:
        if char.isspace():
            char = " "
        kind = unicodedata.category(char)
        marks = marks + 1 if kind in {"Mn", "Me"} else 0
        if kind not in _UNPRINTABLE and marks <= _MAX_MARKS:
            kept.append(char)
    words = " ".join("".join(kept).split())
    return words if len(words) <= limit else words[: limit - 1].rstrip() + "…"


def fit(text: str, encoding: str) -> str:
    """Text in characters that an encoding has; others become their nearest plain form."""
    return "".join(char if _has(encoding, char) else _nearest(char) for char in text)


def _has(encoding: str, char: str) -> bool:
    try:
        char.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return char.isascii()
    return True


def _nearest(char: str) -> str:
    decomposed = unicodedata.normalize("NFKD", char.translate(_SUBSTITUTES))
    letters = "".join(c for c in decomposed if not unicodedata.combining(c))
    return letters.encode("ascii", errors="replace").decode("ascii")


def number(value: float | None, digits: int = 0, unit: str = "") -> str:
    """A rounded figure with thousands set apart, or the mark for unknown."""
    if value is None or not math.isfinite(value):
        return UNKNOWN
    rounded = round(value, digits) + 0.0  # no minus before a zero
    text = f"{rounded:,.{digits}f}"
    return f"{text} {unit}" if unit else text


def kilometres(length_m: float, unit: str = "") -> str:
    """A length in km: one decimal below 100 km."""
    return number(length_m / 1_000.0, 1 if abs(length_m) < 99_950.0 else 0, unit)


def metres(length_m: float) -> str:
    """A length in m below 1 km and in km above."""
    return number(length_m, 0, "m") if abs(length_m) < 999.5 else kilometres(length_m, "km")


def knots(speed_ms: float) -> str:
    """A speed in knots to the nearest whole one."""
    return number(speed_ms / KNOT_MS)


def degrees(angle_deg: float) -> str:
    """A direction as three figures, 000 to 359."""
    return f"{round(angle_deg) % 360:03d}°" if math.isfinite(angle_deg) else UNKNOWN


def compass_point(angle_deg: float) -> str:
    """The nearest of the eight points of the compass."""
    return _POINTS[round(angle_deg / 45.0) % 8] if math.isfinite(angle_deg) else UNKNOWN


def percent(share: float | None) -> str:
    """A share of one as whole per cent, cut towards zero so that 99.9 never reads 100."""
    if share is None or not math.isfinite(share):
        return UNKNOWN
    return f"{math.trunc(share * 100.0 + math.copysign(1e-9, share))} %"


def duration(seconds: float) -> str:
    """A time span in minutes below 2 hours, in hours below 3 days, in days above."""
    if not math.isfinite(seconds):
        return UNKNOWN
    if abs(seconds) < 2 * HOUR_S:
        return number(seconds / 60.0, 0, "min")
    if abs(seconds) < 72 * HOUR_S:
        return number(seconds / HOUR_S, 1, "h").replace(".0 ", " ")
    return number(seconds / (24 * HOUR_S), 1, "days").replace(".0 ", " ")


def position(longitude: float, latitude: float) -> str:
    """A place in degrees and decimal minutes, as charts and hand-held receivers show it."""
    if not (math.isfinite(longitude) and math.isfinite(latitude)):
        return UNKNOWN
    return f"{_angle(latitude, 'NS', 2)} {_angle(longitude, 'EW', 3)}"


def _angle(value: float, signs: str, width: int) -> str:
    whole = round(abs(value) * 60_000)  # thousandths of a minute, so that 59.9996 carries over
    return f"{whole // 60_000:0{width}d}° {whole % 60_000 / 1_000:06.3f}′ {signs[int(value < 0)]}"


@dataclass(frozen=True, slots=True)
class Clock:
    """Local time of one zone, from UTC datetime64.

    Raises
    ------
    InputError
        If `zone` is not the name of a time zone.
    """

    zone: str
    _info: ZoneInfo = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        try:
            info = ZoneInfo(self.zone)
        except (KeyError, ValueError, OSError):
            msg = (
                f"time zone {plain(self.zone, 60)!r} is not known: allowed are names such as "
                "Europe/Stockholm, America/Vancouver or UTC"
            )
            raise InputError(msg, field="zone", value=self.zone) from None
        object.__setattr__(self, "_info", info)

    def local(self, when: np.datetime64) -> datetime:
        """The local time, aware of its zone."""
        return _utc(when).astimezone(self._info)

    def time(self, when: np.datetime64) -> str:
        """Hours and minutes, `07:30`."""
        return UNKNOWN if np.isnat(when) else f"{self.local(when):%H:%M}"

    def day(self, when: np.datetime64) -> str:
        """Day with the month in full, `Tue 14 July`."""
        return UNKNOWN if np.isnat(when) else self._day(when, "%B")

    def short_day(self, when: np.datetime64) -> str:
        """Day for tables, `Tue 14 Jul`."""
        return UNKNOWN if np.isnat(when) else self._day(when, "%b")

    def moment(self, when: np.datetime64) -> str:
        """Day, time and zone, `Tue 14 Jul 07:30 CEST`."""
        if np.isnat(when):
            return UNKNOWN
        return f"{self.short_day(when)} {self.time(when)} {self.abbreviation(when)}"

    def dated(self, when: np.datetime64) -> str:
        """Day with the year, time and zone, `Tue 14 Jul 2026, 07:30 CEST`."""
        if np.isnat(when):
            return UNKNOWN
        year = self.local(when).year
        return f"{self.short_day(when)} {year}, {self.time(when)} {self.abbreviation(when)}"

    def date(self, when: np.datetime64) -> str:
        """Calendar day with the year, `14 Jul 2026`."""
        local = self.local(when)
        return f"{local.day} {local:%b %Y}"

    def abbreviation(self, when: np.datetime64) -> str:
        """What the zone calls its time then, `CEST`; `UTC-03:00` where it has no name."""
        local = self.local(when)
        name = local.tzname() or ""
        return name if name.isalpha() else f"UTC{self.offset(when)}"

    def offset(self, when: np.datetime64) -> str:
        """Hours and minutes ahead of UTC, `+02:00`."""
        shift = self.local(when).utcoffset() or timedelta()
        minutes = round(shift.total_seconds() / 60)
        return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"

    def heading(self, when: np.datetime64) -> str:
        """The zone in full, `Europe/Stockholm (CEST, UTC+02:00)`."""
        name, offset = self.abbreviation(when), f"UTC{self.offset(when)}"
        if self.zone == name:
            return name
        return f"{self.zone} ({offset})" if name == offset else f"{self.zone} ({name}, {offset})"

    def _day(self, when: np.datetime64, month: str) -> str:
        local = self.local(when)
        return f"{local:%a} {local.day} {local:{month}}"


def _utc(when: np.datetime64) -> datetime:
    seconds = when.astype("datetime64[s]").astype("int64")
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=int(seconds))

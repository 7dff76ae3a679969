"""Places along a water: where one can land, sleep, fetch water, and where one cannot.

Public through `stops`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from routeplan._line.waypoint import Waypoint, is_camp
from routeplan.errors import InputError

__all__ = ["KINDS", "Place", "kind_of", "place_with", "places_of_waypoints"]

KINDS = ("camp", "landing", "water", "portage", "no landing", "road", "ferry")
"""What a place can be; only these are read, others are no places to this package."""

_WORDS: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "portage": frozenset({"portage"}),
        "ferry": frozenset({"ferry"}),
        "landing": frozenset(
            {"landing", "beach", "slipway", "ramp", "harbour", "harbor", "marina", "jetty", "pier"}
        ),
        "water": frozenset({"water", "spring", "tap"}),
        "road": frozenset({"road", "parking"}),
    }
)
_DENIALS = frozenset({"no", "not", "non"})
_MOST_NOTE = 500
_MOST_SECTORS = 12
_PAIR = re.compile(r"\s*(capacity|nights|open)\s*=\s*([^;]*?)\s*", re.IGNORECASE)
_SECTOR = re.compile(r"\s*(\d+(?:\.\d+)?)\s*-\s*(\d+(?:\.\d+)?)\s*")


@dataclass(frozen=True, slots=True)
class Place:
    """A place of the user's; nothing here says that landing or camping is allowed.

    Attributes
    ----------
    latitude, longitude : float
        WGS84 [degrees]; of a stretch its first end.
    name : str
    kind : str
        One of `KINDS`.
    capacity : int or None
        How many people it takes; None not known.
    nights : int or None
        How many nights in a row one stays at most; None: no such rule.
    open_deg : tuple of (float, float)
        Sectors of wind direction, clockwise from the first to the second, from which the landing
        is open by what the user knows [degrees true, from].
    note : str
        The user's own words on permission and the like, repeated, never judged.
    end : (longitude, latitude) or None
        Other end of a portage or of a stretch without landing [degrees].

    Raises
    ------
    InputError
        A position, kind, capacity, number of nights or sector that cannot be.
    """

    latitude: float
    longitude: float
    name: str = ""
    kind: str = "camp"
    capacity: int | None = None
    nights: int | None = None
    open_deg: tuple[tuple[float, float], ...] = ()
    note: str = ""
    end: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        Waypoint(self.latitude, self.longitude, self.name)
        if self.end is not None:
            Waypoint(self.end[1], self.end[0], self.name)
        if self.kind not in KINDS:
            msg = f"{self.called}: kind {self.kind!r} is not known; there are {', '.join(KINDS)}"
            raise InputError(msg, field="kind", value=self.kind)
        for field in ("capacity", "nights"):
            value = getattr(self, field)
            if value is not None and not 1 <= value <= 10_000:
                msg = f"{self.called}: {field} {value} is not allowed; allowed is 1 to 10000"
                raise InputError(msg, field=field, value=value)
        bearings = [bearing for sector in self.open_deg for bearing in sector]
        if not all(0.0 <= bearing <= 360.0 for bearing in bearings):
            msg = f"{self.called}: open sectors {self.open_deg} are not within 0 to 360 degrees"
            raise InputError(msg, field="open_deg", value=self.open_deg)

    @property
    def called(self) -> str:
        """The name, or kind and position of a place without one."""
        return self.name or f"{self.kind} at {self.latitude:.4f} N, {self.longitude:.4f} E"

    def is_open_to(self, direction_deg: float) -> bool:
        """Whether a direction [degrees true, from] lies in an open sector; nan in none."""
        return any(
            (direction_deg - first) % 360.0 <= (last - first) % 360.0
            or (last - first == 360.0 and math.isfinite(direction_deg))
            for first, last in self.open_deg
        )


def kind_of(waypoint: Waypoint, prefixes: Mapping[str, str] | None = None) -> str | None:
    """What a waypoint is, by the user's name prefixes, then its type, symbol and name.

    Parameters
    ----------
    waypoint : Waypoint
    prefixes : mapping of str to str, optional
        Beginning of a name, any case, to a kind of `KINDS`; the longest that fits counts.

    Returns
    -------
    str or None
        A kind of `KINDS`; None for a waypoint that is no place of these.

    Raises
    ------
    InputError
        A prefix that is empty or stands for a kind that does not exist.
    """
    for prefix in sorted(_checked(prefixes or {}), key=len, reverse=True):
        if waypoint.name.casefold().startswith(prefix.casefold()):
            return (prefixes or {})[prefix]
    for words in (waypoint.kind, waypoint.symbol):
        kind = _kind_of_words(words)
        if kind is not None:
            return kind
    return "camp" if is_camp(waypoint) else None


def _checked(prefixes: Mapping[str, str]) -> Mapping[str, str]:
    for prefix, kind in prefixes.items():
        if not prefix.strip() or kind not in KINDS:
            msg = f"name prefix {prefix!r} for {kind!r}: needed is a text for {', '.join(KINDS)}"
            raise InputError(msg, field="prefixes", value=prefix)
    return prefixes


def _kind_of_words(words: str) -> str | None:
    found = re.findall(r"[^\W_]+", words.casefold())
    if found in (["nolanding"], ["no", "landing"]) or "nolanding" in found:
        return "no landing"
    if set(found) & _DENIALS:
        return None
    if is_camp(Waypoint(0.0, 0.0, kind=words)):
        return "camp"
    return next((kind for kind, known in _WORDS.items() if known & set(found)), None)


def places_of_waypoints(
    waypoints: Iterable[Waypoint], prefixes: Mapping[str, str] | None = None
) -> tuple[Place, ...]:
    """Places among waypoints; see `kind_of`.

    A note may hold `capacity=6; nights=1; open=180-270, 300-20` before or after the user's own
    words. Two waypoints of one name that are both portages, or both stretches without landing,
    are the two ends of one.

    Raises
    ------
    InputError
        In one line with the waypoint's name, when an attribute cannot be read.
    """
    found: list[Place] = []
    for waypoint in waypoints:
        kind = kind_of(waypoint, prefixes)
        if kind is None:
            continue
        attributes, note = _attributes(waypoint)
        bare = Place(waypoint.latitude, waypoint.longitude, waypoint.name, kind, note=note)
        place = place_with(bare, attributes)
        other = _other_end(found, place)
        if other is None:
            found.append(place)
        else:
            found[other] = replace(found[other], end=(place.longitude, place.latitude))
    return tuple(found)


def _other_end(found: list[Place], place: Place) -> int | None:
    """Index of the place that this one is the far end of."""
    if place.kind not in ("portage", "no landing") or not place.name:
        return None
    for i, known in enumerate(found):
        if (known.kind, known.name) == (place.kind, place.name) and known.end is None:
            return i
    return None


def _attributes(waypoint: Waypoint) -> tuple[dict[str, str], str]:
    """Attributes in a note, and what is left of it."""
    attributes, words = {}, []
    for part in waypoint.note.split(";"):
        match = _PAIR.fullmatch(part)
        if match is None:
            words.append(part.strip())
        else:
            attributes[match.group(1).casefold()] = match.group(2)
    return attributes, "; ".join(filter(None, words))


def place_with(bare: Place, attributes: Mapping[str, object]) -> Place:
    """The place with capacity, nights, open sectors and note as read from a file.

    Raises
    ------
    InputError
        In one line with the place's name, when one cannot be read.
    """
    note = attributes.get("note", bare.note)
    return replace(
        bare,
        capacity=_count(bare, attributes, "capacity"),
        nights=_count(bare, attributes, "nights"),
        open_deg=_sectors(bare, attributes.get("open")),
        note="" if _blank(note) else " ".join(str(note).split())[:_MOST_NOTE],
    )


def _blank(value: object) -> bool:
    empty = value is None or (isinstance(value, float) and math.isnan(value))
    return empty or str(value).strip() in ("", "<NA>", "NaT")


def _count(bare: Place, attributes: Mapping[str, object], field: str) -> int | None:
    value = attributes.get(field)
    if _blank(value):
        return None
    try:
        number = float(str(value))
        whole = int(number)
    except (ValueError, OverflowError):
        whole, number = 0, math.nan
    if whole != number or not 1 <= whole <= 10_000:
        shown = str(value)[:40]
        msg = f"{bare.called}: {field} {shown!r} is no whole number from 1 to 10000"
        raise InputError(msg, field=field, value=shown)
    return whole


def _sectors(bare: Place, text: object) -> tuple[tuple[float, float], ...]:
    if _blank(text):
        return ()
    parts = str(text)[:200].split(",")
    matches = [_SECTOR.fullmatch(part) for part in parts]
    if len(parts) > _MOST_SECTORS or not all(matches):
        msg = (
            f"{bare.called}: open sectors {str(text)[:40]!r} cannot be read; allowed are pairs of "
            f'degrees such as "180-270, 300-20", at most {_MOST_SECTORS}'
        )
        raise InputError(msg, field="open", value=str(text)[:40])
    return tuple((float(m.group(1)), float(m.group(2))) for m in matches if m is not None)

"""A place with a name, and whether one can sleep there. Public through `route`."""

from __future__ import annotations

import re
from dataclasses import dataclass

from routeplan.errors import InputError

__all__ = ["Waypoint", "is_camp"]

_CAMP_WORDS = frozenset({"camp", "campsite", "campground", "bivouac", "shelter"})
_DENIALS = frozenset({"no", "not"})


@dataclass(frozen=True, slots=True)
class Waypoint:
    """A place; `kind` and `symbol` are free words, in GPX `<type>` and `<sym>`.

    Raises
    ------
    InputError
        If the latitude lies outside -90..90 or the longitude outside -180..180, or is nan.
    """

    latitude: float
    longitude: float
    name: str = ""
    kind: str = ""
    symbol: str = ""
    elevation_m: float | None = None
    note: str = ""

    def __post_init__(self) -> None:
        # Written so that nan fails the comparison.
        if not -90.0 <= self.latitude <= 90.0:
            msg = f"latitude {self.latitude}{self._called()} is outside -90..90"
            raise InputError(msg, field="latitude", value=self.latitude)
        if not -180.0 <= self.longitude <= 180.0:
            msg = f"longitude {self.longitude}{self._called()} is outside -180..180"
            raise InputError(msg, field="longitude", value=self.longitude)

    def _called(self) -> str:
        return f" of {self.name!r}" if self.name else ""


def is_camp(waypoint: Waypoint) -> bool:
    """Whether a waypoint is a place to sleep, by its type, symbol or name.

    A camp has the word camp, campsite, campground, bivouac or shelter in its type or symbol
    (and neither "no" nor "not" beside it), or a name that begins with "camp " or "camp:".
    Case does not matter.
    """
    name = waypoint.name.casefold().strip()
    if name == "camp" or name.startswith(("camp ", "camp:")):
        return True
    for words in (waypoint.kind, waypoint.symbol):
        found = set(re.findall(r"\w+", words.casefold()))
        if found & _CAMP_WORDS and not found & _DENIALS:
            return True
    return False

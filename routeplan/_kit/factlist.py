"""The facts that kit rules may use: name, kind, unit, what each is and where it comes from.

A fact belongs to a level: the whole trip, a stage, a leg, or an hour of a leg. A rule is asked at
the finest level among its facts. Every number is a CEL double: write 1000.0 in arithmetic;
comparisons take 1000 as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["FACTS", "LEVELS", "Fact", "finest_level"]

LEVELS = ("trip", "stage", "leg", "hour")


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact: `kind` is "number", "boolean" or "text"; `low` to `high` what a number can be.

    `choices` are the texts that a text fact can be; `whole` marks a number that counts things.
    """

    name: str
    kind: str
    level: str
    unit: str
    words: str
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str, ...] = ()
    whole: bool = False


def _number(
    name: str, level: str, unit: str, words: str, span: tuple[float, float], whole: bool = False
) -> Fact:
    return Fact(name, "number", level, unit, words, *span, whole=whole)


def _yes(name: str, level: str, words: str) -> Fact:
    return Fact(name, "boolean", level, "", words)


_ALL = (
    _number("group_size", "trip", "people", "people in the group", (1, 100), True),
    _yes("alone", "trip", "one person only"),
    _yes("led", "trip", "somebody leads others; the user says"),
    _number(
        "nights", "trip", "nights", "nights ashore, weather-bound ones included", (0, 60), True
    ),
    _yes("overnight", "trip", "at least one night ashore"),
    _number("length_m", "trip", "m", "length of the route", (0, 2e7)),
    _number("back_m", "trip", "m", "from the end of the route to its start", (0, 2.1e7)),
    _number("portage_m", "trip", "m", "carried over land, on legs marked as portage", (0, 1e6)),
    _yes("inflatable", "trip", "any craft of the group is inflatable"),
    _yes("rigid", "trip", "any craft of the group is rigid"),
    _yes("board", "trip", "any craft of the group is a board"),
    _yes("kayak", "trip", "any craft of the group is a kayak"),
    _yes("canoe", "trip", "any craft of the group is a canoe"),
    _number("coldest_night_c", "trip", "°C", "coldest forecast air of any night ashore", (-60, 50)),
    _number("camp_wind_ms", "trip", "m/s", "strongest mean wind of any time ashore", (0, 60)),
    _number("help_h", "trip", "h", "until help reaches the group; the user says", (0, 240)),
    _yes("abroad", "trip", "in another country; the user says"),
    _yes("flying", "trip", "the group travels by air; the user says"),
    _yes("fires_allowed", "trip", "open fires are allowed; the user says"),
    Fact(
        "cooking",
        "text",
        "trip",
        "",
        "how the group cooks; the user says",
        choices=("none", "dried", "wet pouch", "fresh"),
    ),
    _number("paddled_h", "stage", "h", "on the water, launch to arrival", (0, 240)),
    _number("offshore_m", "leg", "m", "largest distance from shore on the leg", (0, 5e6)),
    _number("landing_h", "leg", "h", "to the nearest shore at still-water speed", (0, 1000)),
    _number("fetch_m", "leg", "m", "longest open water of any direction", (0, 1e5)),
    _number("air_c", "leg", "°C", "coldest forecast air met on the leg", (-60, 50)),
    _number("water_c", "leg", "°C", "water, the colder of forecast and the user's", (-2, 40)),
    _number("wind_ms", "leg", "m/s", "strongest mean wind met on the leg", (0, 60)),
    _number("wave_height_m", "leg", "m", "highest significant wave height met", (0, 20)),
    _yes("moving_water", "leg", "river, rapid or strong tidal stream; the user marks it"),
    _yes("traffic_area", "leg", "fairway, harbour or ferry route; the user marks it"),
    _yes("phone_coverage", "leg", "a telephone works there; the user marks it"),
    _yes("portage", "leg", "the leg is carried over land"),
    _yes("sun_down", "hour", "the sun's upper edge is below the horizon at some minute"),
    _yes("darkness", "hour", "after civil dusk or before civil dawn at some minute"),
    _number("wind_chill_c", "hour", "°C", "lowest wind chill in the hour", (-90, 50)),
)

FACTS: Mapping[str, Fact] = MappingProxyType({fact.name: fact for fact in _ALL})


def finest_level(names: tuple[str, ...]) -> str:
    """The finest level among facts; the trip for none."""
    return max((FACTS[name].level for name in names), key=LEVELS.index, default="trip")

"""The group of the demo scenario: four invented people, their craft and bags, as a TOML file."""

from __future__ import annotations

from collections.abc import Iterator

__all__ = ["group_text"]

_HEAD = """\
# INVENTED people, craft and bags of the demo: four without names, not a recommendation.

[group]
led = true
abroad = false
flying = false
fires_allowed = false
cooking = "dried"
help = "1.5 h"
moving_water = false
traffic_area = [2, 3, 11, 12]      # legs on the fairway
phone_coverage = true
water_temperature = "17 °C"
water_reserve = "25 %"
water_container = "5 L"
refill_within = "2 km"             # they paddle so far out of their way for water, and back
reserve = "20 %"                   # food and fuel on top
paddle_tolerance = "0.08 m"
"""

_PERSON = ("name", "sex", "mass", "height", "age", "craft", "craft_type", "craft_capacity",
           "fin_system", "paddle", "bag_comfort", "bag_limit", "mat_r")  # fmt: skip
_RIGID = ("rigid", "board")
_INFLATABLE = ("inflatable", "board")
_PEOPLE = (
    ("A", "female", "62 kg", "1.68 m", 34, *_RIGID, "140 kg", "centre box", "2.02 m", "4 °C",
     "-1 °C", 3.2),
    ("B", "male", "81 kg", "1.82 m", 41, *_RIGID, "160 kg", "centre box", "2.16 m", "3 °C",
     "-3 °C", 3.2),
    ("C", "female", "70 kg", "1.74 m", 29, *_INFLATABLE, "150 kg", "slide-in", "2.08 m", "6 °C",
     "1 °C", 2.5),
    ("D", "male", "88 kg", "1.86 m", 52, *_INFLATABLE, "170 kg", "slide-in", "2.20 m", "5 °C",
     "0 °C", 2.5),
)  # fmt: skip
_BAGS = (
    ("hip or deck pouch", "quick", "5 L"),
    ("day bag", "day", "20 L"),
    ("main bag", "main", "60 L"),
    ("extra bag", "extra", "20 L"),
    ("under the deck net", "deck", "15 L"),
)
_SPARES: tuple[dict[str, object], ...] = (
    {"name": "fin for centre boxes", "mass": "0.2 kg", "fits": ["centre box"]},
    {"name": "fin for slide-in boxes", "mass": "0.15 kg", "fits": ["slide-in"]},
    {"name": "four-part paddle, adjustable", "mass": "0.9 kg", "shortest": "1.70 m",
     "longest": "2.15 m"},
    {"name": "two-part paddle, long", "mass": "0.8 kg", "shortest": "2.10 m", "longest": "2.20 m"},
)  # fmt: skip


# No numbers: they are the user's to fill in, and an invented one may be somebody's.
_ASHORE = """\
[ashore]                           # for the sheet that is left with somebody, INVENTED
contact = "somebody ashore"
vehicle = "silver van"
vehicle_at = "at the start landing"
note = "tents: green; tarp: orange"

[ashore.colours]
A = "board, yellow deck, white hull"
B = "board, all white, red stripe"
C = "inflatable board, blue"
D = "inflatable board, orange"
"""


def group_text() -> str:
    """Text of the group's file."""
    tables = [_HEAD]
    tables += [_table("person", dict(zip(_PERSON, person, strict=True))) for person in _PEOPLE]
    tables += [_table("bag", bag) for bag in _bags()]
    tables += [_table("spare", spare) for spare in _SPARES]
    tables.append(_ASHORE)
    return "\n".join(tables)


def _bags() -> Iterator[dict[str, object]]:
    for owner, *_ in _PEOPLE:
        for name, kind, volume in _BAGS:
            yield {"name": f"{name} of {owner}", "owner": owner, "kind": kind, "volume": volume}


def _table(kind: str, values: dict[str, object]) -> str:
    lines = [f"{key} = {_value(value)}" for key, value in values.items()]
    return "\n".join([f"[[{kind}]]", *lines]) + "\n"


def _value(value: object) -> str:
    if isinstance(value, list):
        return f"[{', '.join(_value(one) for one in value)}]"
    return f'"{value}"' if isinstance(value, str) else str(value)

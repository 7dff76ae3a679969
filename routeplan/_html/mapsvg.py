"""The map as a drawing that needs no script: for print and wherever scripts do not run."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from markupsafe import Markup

    from routeplan.plan import Plan

__all__ = ["map_facts"]

_WIDTH = 1000.0


def map_facts(plan: Plan, drawn: dict[str, Any]) -> dict[str, Any]:
    """Paths and places on a drawing 1000 wide, from what the script draws."""
    from markupsafe import Markup  # comes with jinja2, which `legs` must not wait for

    left, bottom, right, top = drawn["box"]
    scale = _WIDTH / (right - left)

    def at(x: float, y: float) -> tuple[float, float]:
        return round((x - left) * scale, 1), round((top - y) * scale, 1)

    def path(xs: list[int], ys: list[int]) -> Markup:
        points = "L".join("{:g} {:g}".format(*at(x, y)) for x, y in zip(xs, ys, strict=True))
        return Markup("M" + points)

    empty = Markup()
    box = drawn["box"]
    land = empty.join(path(x, y) + "Z" for x, y in _within(drawn["land"], box))
    shore = empty.join(path(x, y) for x, y in _within(drawn["shore"], box))
    length_m = _round_length((right - left) / 4)
    return {
        "height": round((top - bottom) * scale, 1),
        "land": land,
        "shore": shore,
        "step_m": drawn["step_m"],
        "knows_land": plan.coast.knows_land,
        "legs": [
            {
                "number": leg["number"],
                "path": path(leg["x"], leg["y"]),
                "mid": at(leg["x"][len(leg["x"]) // 2], leg["y"][len(leg["y"]) // 2]),
                "far": bool(leg["far"]),
                "land": empty.join(path(x, y) for x, y in leg["land"]),
            }
            for leg in drawn["legs"]
        ],
        "places": [{**place, "xy": at(*place["at"])} for place in drawn["places"] if place["at"]],
        "ways": [
            {"number": stage.stage.number, **ways}
            for stage, ways in zip(plan.stages, drawn["stages"], strict=True)
        ],
        "bar": round(length_m * scale, 1),
        "bar_km": f"{length_m / 1000:g}",
    }


def _within(lands: list[list[list[int]]], box: list[int]) -> Iterator[tuple[list[int], list[int]]]:
    """Rings that may show in the box."""
    left, bottom, right, top = box
    for rings in lands:
        for ring in rings:
            xs, ys = _absolute(ring)
            if min(xs) <= right and max(xs) >= left and min(ys) <= top and max(ys) >= bottom:
                yield xs, ys


def _absolute(ring: list[int]) -> tuple[list[int], list[int]]:
    xs, ys = [], []
    x = y = 0
    for dx, dy in zip(ring[::2], ring[1::2], strict=True):
        x, y = x + dx, y + dy
        xs.append(x)
        ys.append(y)
    return xs, ys


def _round_length(length_m: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is not longer."""
    power = 10.0 ** math.floor(math.log10(length_m))
    return max(step * power for step in (1, 2, 5) if step * power <= length_m)

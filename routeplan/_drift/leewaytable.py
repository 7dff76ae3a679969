"""Published leeway of drifting objects, and the velocity it gives."""

from __future__ import annotations

import csv
import functools
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from routeplan.errors import InputError

__all__ = [
    "BRANCHES",
    "LeewayObject",
    "leeway_object",
    "leeway_objects",
    "leeway_of_branches",
    "leeway_velocity",
]

FloatArray = NDArray[np.float64]

BRANCHES = ("downwind", "right", "left")

_LIGHT_MS = 3.0  # assumption: below this wind the offsets fade to nothing at a calm


@dataclass(frozen=True, slots=True)
class LeewayObject:
    """Leeway of one class of object: slopes as shares of the wind, offsets and spreads in m/s.

    Right and left are the crosswind parts of the branches to the right and to the left of the
    direction the wind blows to; leftward speeds are negative. `sd` is the standard deviation
    about the regression.
    """

    key: str
    description: str
    downwind_slope: float
    downwind_offset_ms: float
    downwind_sd_ms: float
    right_slope: float
    right_offset_ms: float
    right_sd_ms: float
    left_slope: float
    left_offset_ms: float
    left_sd_ms: float
    source: str


@functools.cache
def leeway_objects() -> Mapping[str, LeewayObject]:
    """All objects of the table by key."""
    text = resources.files("routeplan").joinpath("data/leeway.csv").read_text(encoding="utf-8")
    out = {}
    for row in csv.DictReader(text.splitlines()):
        figures = {}
        for branch in ("downwind", "right", "left"):
            figures[f"{branch}_slope"] = float(row[f"{branch}_slope_percent"]) / 100.0
            figures[f"{branch}_offset_ms"] = float(row[f"{branch}_offset_cm_s"]) / 100.0
            figures[f"{branch}_sd_ms"] = float(row[f"{branch}_sd_cm_s"]) / 100.0
        key = row["key"]
        out[key] = LeewayObject(key, row["description"], source=row["source"], **figures)
    return MappingProxyType(out)


def leeway_object(key: str) -> LeewayObject:
    """Object of the table by its key.

    Raises
    ------
    InputError
        When there is none; the message lists them.
    """
    found = leeway_objects()
    if key not in found:
        msg = f"leeway of {key!r} is not known; allowed are {', '.join(found)}"
        raise InputError(msg, field="leeway", value=key)
    return found[key]


def leeway_velocity(
    it: LeewayObject, eastward: ArrayLike, northward: ArrayLike, branch: str
) -> tuple[FloatArray, FloatArray]:
    """Velocity through the water of a drifting object.

    Parameters
    ----------
    it : LeewayObject
    eastward, northward : array_like
        Wind at 10 m. [m/s]
    branch : str
        "downwind", "right" or "left".

    Returns
    -------
    eastward, northward : ndarray
        [m/s]; nan where the wind is.

    Notes
    -----
    Downwind and crosswind speeds are slope x wind + offset, linear regressions of field
    experiments in winds of some 3 to 20 m/s (CG-D-08-99). Their offsets are an artefact in light
    winds, so they fade linearly to nothing below 3 m/s (assumption). The downwind branch has no
    crosswind part.
    """
    if branch not in BRANCHES:
        msg = f"drift branch {branch!r} is unknown; allowed are {', '.join(BRANCHES)}"
        raise InputError(msg, field="branch", value=branch)
    u, v = np.asarray(eastward, dtype=float), np.asarray(northward, dtype=float)
    slope, offset_ms = _crosswind(it)
    b = BRANCHES.index(branch)
    return _leeway(it, u, v, slope[b], offset_ms[b])


def leeway_of_branches(
    it: LeewayObject, eastward: FloatArray, northward: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Velocity through the water in winds (p, 3, e) of the three branches, as `BRANCHES`."""
    slope, offset_ms = (column[None, :, None] for column in _crosswind(it))
    return _leeway(it, eastward, northward, slope, offset_ms)


def _crosswind(it: LeewayObject) -> tuple[FloatArray, FloatArray]:
    """Slope and offset of the crosswind part by branch; the downwind branch has none."""
    slope = np.array([0.0, it.right_slope, it.left_slope])
    return slope, np.array([0.0, it.right_offset_ms, it.left_offset_ms])


def _leeway(
    it: LeewayObject, u: FloatArray, v: FloatArray, slope: Any, offset_ms: Any
) -> tuple[FloatArray, FloatArray]:
    wind = np.hypot(u, v)
    fade = np.minimum(wind / _LIGHT_MS, 1.0)
    along = it.downwind_slope * wind + it.downwind_offset_ms * fade
    across = slope * wind + offset_ms * fade
    still = wind == 0.0
    east, north = u / np.where(still, 1.0, wind), v / np.where(still, 1.0, wind)
    return along * east + across * north, along * north - across * east

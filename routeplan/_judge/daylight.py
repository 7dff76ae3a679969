"""How much daylight a leg leaves before dusk."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from routeplan.sun import DaylightSpells

__all__ = ["POLAR_NIGHT_H", "daylight_slack_h", "hours"]

FloatArray = NDArray[np.float64]

POLAR_NIGHT_H = -12.0  # stands for "no light at all": half a day short


def hours(difference: Any) -> FloatArray:
    """Hours of a timedelta; nan for NaT."""
    span = np.asarray(difference, dtype="timedelta64[ns]")
    return np.where(np.isnat(span), np.nan, span.astype(np.int64) / 3.6e12)


def daylight_slack_h(
    enter: NDArray[np.datetime64],
    leave: NDArray[np.datetime64],
    daylight: tuple[DaylightSpells, DaylightSpells],
    margin_s: float,
) -> FloatArray:
    """Hours to spare between leaving and civil dusk less the margin.

    `daylight` is that at the start and at the end of the stage. For a leg entered in the dark the
    hours to the nearest light count instead, negative, and the margin comes on top; polar night
    is `POLAR_NIGHT_H`, unknown times nan. In light that goes on beyond what was looked at there
    is no dusk to keep a margin from.
    """
    start, end = daylight
    if not (start.start.size and end.start.size):
        return np.where(np.isnat(enter) | np.isnat(leave), np.nan, POLAR_NIGHT_H)
    spell = np.clip(np.searchsorted(start.start, enter, side="right") - 1, 0, None)
    lit = (enter >= start.start[spell]) & (enter <= start.end[spell])
    dusk, endless = _dusk_of(start, end)
    margin = np.timedelta64(round(margin_s * 1e9), "ns")
    slack = hours(np.where(endless[spell], dusk[spell], dusk[spell] - margin) - leave)
    following = np.minimum(spell + 1, start.start.size - 1)
    gaps = [start.start[spell] - enter, enter - start.end[spell], start.start[following] - enter]
    gaps_h = [np.where(hours(gap) > 0.0, hours(gap), np.inf) for gap in gaps]
    nearest = np.minimum(np.minimum(gaps_h[0], gaps_h[1]), gaps_h[2])
    slack = np.where(lit, slack, -nearest - margin_s / 3600.0)
    return np.where(np.isnat(enter) | np.isnat(leave), np.nan, slack)


def _dusk_of(start: DaylightSpells, end: DaylightSpells) -> tuple[Any, NDArray[np.bool_]]:
    """For each spell of light at the start the dusk at the end of the stage that closes it.

    It is the spell there that holds the middle of this one: the two places are near each other.
    """
    middle = start.start + (start.end - start.start) // 2
    index = np.clip(np.searchsorted(end.start, middle, side="right") - 1, 0, None)
    same = (middle >= end.start[index]) & (middle <= end.end[index])
    # No such spell: light at the start only, so it is dark there before one arrives.
    dusk = np.where(same, end.end[index], start.start)
    return dusk, same & (dusk >= end.last)

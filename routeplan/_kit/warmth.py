"""Whether bags and mats are warm enough for the coldest hour of each night.

By ISO 23537-1 the comfort temperature is that at which a standard woman in a relaxed posture just
does not feel cold, the limit that at which a standard man, curled up, is just in balance. The
extreme temperature is one of survival, and no night is planned on it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from routeplan._kit.facts import Night
from routeplan._kit.group import Group, Person
from routeplan.limits import Verdict
from routeplan.units import ZERO_CELSIUS_K

__all__ = ["Warmth", "mat_r_wanted", "warmth"]

# Thermal resistance of the mat by the coldest air [°C, m²K/W as R-value]; assumption, no source.
_MAT_R = ((10.0, 1.5), (0.0, 3.0), (-10.0, 4.5))
_MAT_R_COLDEST = 6.0


@dataclass(frozen=True, slots=True)
class Warmth:
    """One person on one night: `margin_k` is how far the night stays above the comfort [K]."""

    person: str
    place: str
    coldest_k: float
    margin_k: float
    verdict: Verdict
    words: str


def warmth(group: Group, nights: Sequence[Night]) -> tuple[Warmth, ...]:
    """Everybody on every night."""
    return tuple(_warmth(person, night) for night in nights for person in group.people)


def mat_r_wanted(coldest_k: float) -> float:
    """R-value of a mat for a night; common practice, no source; nan unknown."""
    if not math.isfinite(coldest_k):
        return math.nan
    coldest_c = coldest_k - ZERO_CELSIUS_K
    return next((r for least, r in _MAT_R if coldest_c >= least), _MAT_R_COLDEST)


def _warmth(person: Person, night: Night) -> Warmth:
    verdict, words = _bag(person, night)
    wanted = mat_r_wanted(night.coldest_k)
    if not math.isfinite(person.mat_r):
        verdict = max(verdict, Verdict.UNKNOWN)
        words += "; R-value of the mat unknown"
    elif person.mat_r < wanted:
        verdict = max(verdict, Verdict.CLOSE)
        words += f"; a mat of R {wanted:g} is usual, this one has {person.mat_r:g}"
    margin = night.coldest_k - person.bag_comfort_k
    return Warmth(person.name, night.place, night.coldest_k, margin, verdict, words)


def _bag(person: Person, night: Night) -> tuple[Verdict, str]:
    comfort, limit, coldest = person.bag_comfort_k, person.bag_limit_k, night.coldest_k
    if not math.isfinite(coldest):
        return Verdict.UNKNOWN, "the coldest hour is unknown"
    told = f"coldest hour {coldest - ZERO_CELSIUS_K:.0f} °C"
    if coldest >= comfort:
        return Verdict.WITHIN, f"{told}, comfort of the bag {comfort - ZERO_CELSIUS_K:.0f} °C"
    if coldest < limit:
        return Verdict.BEYOND, f"{told}, below the bag's limit of {limit - ZERO_CELSIUS_K:.0f} °C"
    if math.isfinite(comfort + limit):
        return Verdict.CLOSE, (
            f"{told}, between comfort {comfort - ZERO_CELSIUS_K:.0f} °C and limit "
            f"{limit - ZERO_CELSIUS_K:.0f} °C"
        )
    return Verdict.UNKNOWN, f"{told}; comfort or limit of the bag unknown"

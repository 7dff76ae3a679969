"""Limits that are allowed but do not mean what one may think they do."""

from __future__ import annotations

from routeplan._judge.findings import limit_words, show_limit
from routeplan._judge.limitvalues import Limits

__all__ = ["limit_notes"]

# A wind from one side is never more than the wind itself.
_PARTS = ("headwind", "crosswind", "offshore_wind")


def limit_notes(limits: Limits) -> tuple[str, ...]:
    """Sentences on limits that others make idle; empty where each can decide something."""
    notes = []
    if limits.value("gust") < limits.value("wind"):  # nan, where one is not set, never is
        notes.append(
            f"The limit of gusts ({_shown(limits, 'gust')}) is below that of wind "
            f"({_shown(limits, 'wind')}): gusts are never below the wind, so the limit of gusts "
            "decides alone."
        )
    if limits.wind_ms is not None:
        for name in _PARTS:
            value = limits.value(name)
            if value > limits.wind_ms:
                notes.append(
                    f"The limit of {limit_words(name)} ({_shown(limits, name)}) is above that of "
                    f"wind ({_shown(limits, 'wind')}) and never decides: {limit_words(name)} is a "
                    "part of the wind."
                )
    far, beyond = limits.offshore_m, limits.offshore_wind_beyond_m
    if limits.offshore_wind_ms is not None and far is not None and beyond >= far:
        notes.append(
            f"The limit of wind off the land counts from {_shown(limits, 'offshore_wind_beyond')} "
            f"off, where distance from shore ({_shown(limits, 'offshore')}) is beyond already: "
            "set offshore_wind_beyond lower."
        )
    return tuple(notes)


def _shown(limits: Limits, name: str) -> str:
    own = "" if name in limits.explicit else ", the default"
    return f"{show_limit(name, limits.value(name))}{own}"

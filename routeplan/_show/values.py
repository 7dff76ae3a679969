"""Values of a document: rounded numbers, times in UTC, clean text, places."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._show.wording import plain

if TYPE_CHECKING:
    from routeplan.route import Waypoint

__all__ = ["place", "rounded", "text", "texts", "utc"]

_TEXT = 1_000  # no text in a document is longer


def rounded(value: Any, digits: int) -> float | None:
    """A float of so many decimals; None for what is missing, nan or infinite."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0


def utc(when: np.datetime64) -> str | None:
    """ISO 8601 with Z to the second; None for NaT."""
    return None if np.isnat(when) else f"{np.datetime_as_string(when, unit='s')}Z"


def text(words: object) -> str:
    """One clean line."""
    return plain(words, _TEXT)


def texts(many: Iterable[object]) -> list[str]:
    """Clean lines."""
    return [text(words) for words in many]


def place(waypoint: Waypoint) -> dict[str, Any]:
    """A named place."""
    return {
        "name": text(waypoint.name),
        "latitude_deg": rounded(waypoint.latitude, 6),
        "longitude_deg": rounded(waypoint.longitude, 6),
    }

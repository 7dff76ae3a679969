"""Local times for a page: marked up with UTC, and as spans of a zone that a script can use."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from routeplan._show.wording import UNKNOWN, Clock

if TYPE_CHECKING:
    from markupsafe import Markup

__all__ = ["minutes_of", "time_tag", "zone_document"]

_HOUR = np.timedelta64(1, "h")


def minutes_of(times: NDArray[np.datetime64]) -> list[int | None]:
    """Minutes since 1970 UTC, rounded; None for NaT."""
    whole = np.round(times.astype("datetime64[s]").astype(np.int64) / 60.0)
    known = ~np.isnat(times)
    return [int(v) if k else None for v, k in zip(whole.tolist(), known.tolist(), strict=True)]


def time_tag(when: np.datetime64 | None, clock: Clock, how: str = "time") -> Markup:
    """A local time as a `time` element that tells UTC on hover.

    `how` is the name of a method of the clock: `time`, `day`, `short_day`, `moment`.
    """
    from markupsafe import Markup  # comes with jinja2, which `legs` must not wait for

    if when is None or np.isnat(when):
        return Markup("<span>{}</span>").format(UNKNOWN)
    utc = np.datetime_as_string(when, unit="m")
    shown = getattr(clock, how)(when)
    return Markup('<time datetime="{}Z" title="{} UTC">{}</time>').format(
        utc, utc.replace("T", " "), shown
    )


def zone_document(clock: Clock, first: np.datetime64, last: np.datetime64) -> dict[str, Any]:
    """Name of the zone, and from which minute on its clocks are how far ahead of UTC.

    Clocks are looked at every hour: all zones change theirs on a full quarter of an hour, and
    those within the span of a plan on a full hour.
    """
    spans: list[list[Any]] = []
    start = (first - 48 * _HOUR).astype("datetime64[h]").astype("datetime64[ns]")
    for hour in np.arange(start, last + 96 * _HOUR, _HOUR):
        shift = clock.local(hour).utcoffset()
        ahead = 0 if shift is None else round(shift.total_seconds() / 60)
        if not spans or spans[-1][1] != ahead or spans[-1][2] != clock.abbreviation(hour):
            spans.append([minutes_of(hour[None])[0], ahead, clock.abbreviation(hour)])
    return {"name": clock.zone, "heading": clock.heading(first), "spans": spans}

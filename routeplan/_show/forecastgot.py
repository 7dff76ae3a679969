"""What was downloaded of a forecast, as text and as a document."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan import __version__
from routeplan._plan.sources import age_warnings
from routeplan._show.sourcewords import age_words
from routeplan._show.values import rounded, text, texts, utc
from routeplan._show.wording import Clock, number

if TYPE_CHECKING:
    from rich.console import Console

    from routeplan.providers import DownloadedForecast

__all__ = ["Got", "got_document", "render_got"]


@dataclass(frozen=True, slots=True)
class Got:
    """A forecast, the files it is in, the time of asking and the age that is old [s]."""

    forecast: DownloadedForecast
    files: tuple[Path, ...]
    now: np.datetime64
    old_after_s: float

    @property
    def age_s(self) -> float:
        """Age of the run [s]."""
        return float((self.now - self.forecast.run) / np.timedelta64(1, "s"))

    @property
    def warnings(self) -> tuple[str, ...]:
        """That it is old."""
        return age_warnings(self.age_s, self.old_after_s)


def got_document(got: Got) -> dict[str, Any]:
    """What was downloaded."""
    found = got.forecast
    west, south, east, north = found.box
    return {
        "routeplan": __version__,
        "warnings": texts(got.warnings),
        "notes": texts(found.notes),
        "now": utc(got.now),
        "download": {
            "provider": text(found.provider),
            "source": text(found.title),
            "attribution": text(found.attribution),
            "licence": text(found.licence),
            "licence_url": text(found.licence_url),
            "reference_time": utc(found.run),
            "age_s": rounded(got.age_s, 0),
            "old_after_s": rounded(got.old_after_s, 0),
            "old": got.age_s > got.old_after_s,
            "first": utc(found.first),
            "last": utc(found.last),
            "west_deg": rounded(west, 5),
            "south_deg": rounded(south, 5),
            "east_deg": rounded(east, 5),
            "north_deg": rounded(north, 5),
            "members": max(1, len(found.members)),
            "fields_missing": {text(name): count for name, count in found.missing.items()},
            "from_cache": not found.fetched,
            "bytes_received": found.bytes_received,
        },
        "files": [str(path) for path in got.files],
    }


def render_got(got: Got, console: Console) -> None:
    """Print what was downloaded, times in UTC."""
    from routeplan._show.page import Page

    page, clock, found = Page(console), Clock("UTC"), got.forecast
    page.line(f"{found.title}, run of {clock.moment(found.run)}, {age_words(got.age_s)}", "bold")
    for warning in got.warnings:
        page.line(f"WARNING: {warning}", "bold")
    west, south, east, north = found.box
    members = f", {len(found.members)} members" if len(found.members) > 1 else ""
    page.item("-", f"{clock.moment(found.first)} to {clock.moment(found.last)}{members}")
    page.item(
        "-",
        f"{number(south, 2)}° to {number(north, 2)}° north, "
        f"{number(west, 2)}° to {number(east, 2)}° east",
    )
    page.item(
        "-",
        f"fetched {found.bytes_received / 1e6:.1f} MB"
        if found.fetched
        else "it was there already: nothing fetched",
    )
    for note in found.notes:
        page.item("-", note)
    page.item("-", found.attribution)
    page.item("-", f"licence: {found.licence}, {found.licence_url}")
    for path in got.files:
        page.item("-", f"kept in {path}")

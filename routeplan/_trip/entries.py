"""Tables of a trip's file: one of a kind, times, places on Earth, files below its folder."""

from __future__ import annotations

import datetime
import unicodedata
from pathlib import Path, PurePosixPath, PureWindowsPath

import numpy as np

from routeplan._kit.file import Entry, KitFile

__all__ = ["one", "path_of", "position_of", "time_of"]

_TIMES = "times with a zone such as 2026-07-14T06:00:00Z or 2026-07-14T08:00:00+02:00"


def one(file: KitFile, kind: str) -> Entry | None:
    """The only table of a kind; None without one.

    Raises
    ------
    InputError
        When there are several.
    """
    found = file.entries(kind)
    if len(found) > 1:
        found[1].fail(kind, "is there twice; one table is allowed")
    return found[0] if found else None


def path_of(entry: Entry, key: str = "file") -> Path:
    """A file beside or below the trip's file.

    A trip may come from a stranger, so it names nothing outside its folder: no device, no network
    place, nothing that a library would fetch.

    Raises
    ------
    InputError
    """
    text = entry.text(key)
    posix, windows = PurePosixPath(text), PureWindowsPath(text)
    outside = (
        posix.is_absolute() or windows.anchor or windows.drive or ".." in (*posix.parts,
                                                                           *windows.parts)
    )  # fmt: skip
    if outside or any(unicodedata.category(c)[0] == "C" for c in text):
        entry.fail(
            key,
            f"is {text[:60]!r}; allowed are files in the folder of the trip's file or below it",
        )
    return entry.file.path.parent / text


def time_of(entry: Entry, key: str) -> np.datetime64 | None:
    """A time with its zone, as UTC; None when the key is not there.

    Raises
    ------
    InputError
    """
    value = entry.table.get(key)
    if value is None:
        return None
    when = value
    if isinstance(value, str):
        try:
            when = datetime.datetime.fromisoformat(value)
        except ValueError:
            when = None
    try:
        if not isinstance(when, datetime.datetime) or when.tzinfo is None:
            raise ValueError
        utc = when.astimezone(datetime.UTC).replace(tzinfo=None)
        if not 1900 <= utc.year <= 2200:  # in nanoseconds, years before 1678 come round as others
            raise ValueError
    except (ValueError, OverflowError):
        entry.fail(key, f"is {str(value)[:60]!r}; allowed are {_TIMES}")
    return np.datetime64(utc, "ns")


def position_of(entry: Entry, key: str) -> tuple[float, float]:
    """Longitude and latitude of a text "LAT, LON".

    Raises
    ------
    InputError
    """
    text = entry.text(key)
    try:
        latitude, longitude = (float(part) for part in text.split(","))
    except ValueError:
        latitude = longitude = np.nan
    if not (abs(latitude) <= 90.0 and abs(longitude) <= 180.0):
        entry.fail(key, f'is {text[:60]!r}; allowed is "LAT, LON" in degrees, "58.61, 11.2"')
    return longitude, latitude

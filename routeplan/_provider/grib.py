"""What is in a GRIB edition 2 file, read from its headers alone.

Downloaded files come from outside: their headers are read here in plain Python, with every
length checked, before a decoder gets to see them. Octet numbers are those of the WMO Manual on
Codes (WMO-No. 306), FM 92 GRIB, section 1, grid template 3.0 and product templates 4.0, 4.1,
4.8 and 4.11.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from routeplan._download.checks import grib_messages

__all__ = ["GribField", "GribMessage", "read_messages"]

_UNIT_S = {0: 60, 1: 3600, 2: 86400, 10: 3 * 3600, 11: 6 * 3600, 12: 12 * 3600, 13: 1}
_MEMBER_TEMPLATES = frozenset({1, 11})
_END_OCTET = {8: 35, 11: 38}  # of the interval that the value is of
_MAX_SECTIONS = 1000
_MAX_LEAD_S = 10_000 * 3600
_HEADER_BYTES = 128  # of a section; what is read here stands before


@dataclass(frozen=True, slots=True)
class GribField:
    """One field of a message.

    `reference` is the run, `valid` the time the value is for, the end of the interval for a
    value over an interval (`interval`). `member` is None for a single forecast. `box` is (west,
    south, east, north) in degrees, east >= west, of a regular latitude-longitude grid, else None.
    """

    discipline: int
    category: int
    number: int
    level_type: int
    level: float
    reference: np.datetime64
    valid: np.datetime64
    member: int | None
    interval: bool
    box: tuple[float, float, float, float] | None


@dataclass(frozen=True, slots=True)
class GribMessage:
    """Where a message stands in its file [bytes], and its fields."""

    offset: int
    length: int
    fields: tuple[GribField, ...]


def read_messages(path: Path) -> list[GribMessage]:
    """Read the headers of all messages of a file.

    Raises
    ------
    ValueError
        Where the file is not whole GRIB edition 2, or a header cannot be right.
    """
    messages = []
    with path.open("rb") as handle:
        for offset, length in grib_messages(path):
            fields = tuple(_read_fields(handle, offset, length))
            messages.append(GribMessage(offset, length, fields))
    return messages


def _read_fields(handle: BinaryIO, offset: int, length: int) -> Iterator[GribField]:
    handle.seek(offset)
    start = handle.read(16)
    if start[7] != 2:
        msg = f"GRIB edition {start[7]} at byte {offset}, 2 expected"
        raise ValueError(msg)
    discipline = start[6]
    reference = box = None
    for number, section in _sections(handle, offset + 16, offset + length - 4):
        if number == 1:
            reference = _time(section, 13)
        elif number == 3:
            box = _box(section)
        elif number == 4:
            if reference is None:
                msg = f"GRIB message at byte {offset} has no reference time"
                raise ValueError(msg)
            yield _field(discipline, reference, box, section)


def _sections(handle: BinaryIO, offset: int, end: int) -> Iterator[tuple[int, bytes]]:
    for _ in range(_MAX_SECTIONS):
        if offset == end:
            return
        handle.seek(offset)
        head = handle.read(_HEADER_BYTES)
        length = int.from_bytes(head[:4], "big")
        if len(head) < 5 or length < 5 or offset + length > end:
            msg = f"GRIB section at byte {offset} does not fit its message"
            raise ValueError(msg)
        yield head[4], head[:length]
        offset += length
    msg = f"more than {_MAX_SECTIONS} sections in a GRIB message"
    raise ValueError(msg)


def _field(
    discipline: int,
    reference: np.datetime64,
    box: tuple[float, float, float, float] | None,
    section: bytes,
) -> GribField:
    template = _whole(section, 8, 2)
    end_octet = _END_OCTET.get(template)
    lead = _whole(section, 19, 4) * _UNIT_S.get(_whole(section, 18, 1), _MAX_LEAD_S + 1)
    if lead > _MAX_LEAD_S:
        msg = "GRIB forecast time is in a unit or of a size that makes no sense"
        raise ValueError(msg)
    instant = reference + np.timedelta64(lead, "s")
    return GribField(
        discipline=discipline,
        category=_whole(section, 10, 1),
        number=_whole(section, 11, 1),
        level_type=_whole(section, 23, 1),
        level=_level(section),
        reference=reference,
        valid=instant if end_octet is None else _time(section, end_octet),
        member=_whole(section, 36, 1) if template in _MEMBER_TEMPLATES else None,
        interval=end_octet is not None,
        box=box,
    )


def _level(section: bytes) -> float:
    scale, value = _whole(section, 24, 1), _whole(section, 25, 4)
    if scale == 0xFF or value == 0xFFFFFFFF:  # missing: a surface without a value
        return 0.0
    power = -(scale & 0x7F) if scale & 0x80 else scale
    return float(value) / 10.0**power


def _box(section: bytes) -> tuple[float, float, float, float] | None:
    regular = _whole(section, 13, 2) == 0
    if not regular or _whole(section, 39, 4) not in (0, 0xFFFFFFFF):
        return None
    south, north = sorted((_signed(section, 47), _signed(section, 56)))
    west, east = _signed(section, 51), _signed(section, 60)
    return west, south, east if east >= west else east + 360.0, north


def _whole(section: bytes, octet: int, size: int) -> int:
    piece = section[octet - 1 : octet - 1 + size]
    if len(piece) < size:
        msg = f"GRIB section {section[4]} ends before octet {octet}"
        raise ValueError(msg)
    return int.from_bytes(piece, "big")


def _signed(section: bytes, octet: int) -> float:
    raw = _whole(section, octet, 4)  # the first bit is the sign
    return (-(raw & 0x7FFFFFFF) if raw & 0x80000000 else raw) / 1e6


def _time(section: bytes, octet: int) -> np.datetime64:
    year = _whole(section, octet, 2)
    month, day, hour, minute, second = (_whole(section, octet + 2 + i, 1) for i in range(5))
    try:
        when = datetime.datetime(year, month, day, hour, minute, second, tzinfo=datetime.UTC)
    except ValueError:
        msg = f"GRIB time {year}-{month}-{day} {hour}:{minute}:{second} does not exist"
        raise ValueError(msg) from None
    return np.datetime64(when.replace(tzinfo=None), "s")

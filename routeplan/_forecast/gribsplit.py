"""GRIB2 messages that hold several fields, taken apart into one message for each.

Such a message repeats its sections 2 to 7, 3 to 7 or 4 to 7 (WMO Manual on Codes, FM 92 GRIB
edition 2). The decoding library can follow that only with state kept for the whole process,
which has crashed; taking the sections apart needs none.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

from routeplan.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["split_fields"]

_START = 16  # length of section 0
_END = b"7777"
_FIRST, _LOCAL, _BITMAP, _DATA = 1, 2, 6, 7
_SAME_BITMAP = 254  # "the bitmap given before in this message"
_MAX_FIELDS = 10_000


def split_fields(message: bytes, path: Path) -> list[bytes]:
    """Messages of one field each; the message itself when it has only one.

    Raises
    ------
    InputError
        When the lengths of the sections do not add up.
    """
    kept: dict[int, bytes] = {}
    bitmap = b""
    fields: list[bytes] = []
    position = _START
    while message[position : position + 4] != _END:
        size, number = _section(message, position, path)
        section = message[position : position + size]
        position += size
        if number <= _LOCAL:
            kept.pop(_LOCAL, None)
        kept[number] = section
        if number == _BITMAP:
            if section[5] != _SAME_BITMAP:
                bitmap = section
            elif bitmap:
                kept[_BITMAP] = bitmap
        if number == _DATA:
            fields.append(_assemble(message, kept))
            if len(fields) > _MAX_FIELDS:
                raise _damaged(path)
    return [message] if len(fields) == 1 else fields


def _section(message: bytes, position: int, path: Path) -> tuple[int, int]:
    if position + 5 > len(message):
        raise _damaged(path)
    size, number = struct.unpack_from(">IB", message, position)
    if size < 5 or position + size > len(message) or not _FIRST <= number <= _DATA:
        raise _damaged(path)
    if number == _BITMAP and size < 6:
        raise _damaged(path)
    return size, number


def _assemble(message: bytes, kept: dict[int, bytes]) -> bytes:
    body = b"".join(kept[number] for number in sorted(kept))
    total = _START + len(body) + len(_END)
    return message[:8] + struct.pack(">Q", total) + body + _END


def _damaged(path: Path) -> InputError:
    msg = f"{path}: damaged GRIB file (sections of a message do not add up); fetch it again"
    return InputError(msg, path=path)

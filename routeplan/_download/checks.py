"""Is a downloaded file what it should be? Looked at by content, never by what a server says."""

from __future__ import annotations

import json
import os
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

__all__ = ["PAGE", "content_fault", "grib_messages", "one_line"]

PAGE = "the server sent an HTML page instead of data"

_HEAD = 2048
_TITLE = re.compile(rb"<title[^>]*>(.{0,300}?)</title", re.IGNORECASE | re.DOTALL)
_MAX_MESSAGES = 100_000


def one_line(text: str, limit: int = 160) -> str:
    """Return foreign text as one short line without control characters."""
    clean = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return clean if len(clean) <= limit else clean[: limit - 1] + "…"


def content_fault(path: Path, expect: str) -> str:
    """Say what is wrong with the content of a file, or "" when nothing is.

    Parameters
    ----------
    expect : {"grib", "json", "zip", "text", "any"}
        "any" only refuses an HTML page.
    """
    with path.open("rb") as handle:
        head = handle.read(_HEAD)
    if not head and expect != "any":
        return "the server sent nothing"
    page = _page_fault(head)
    if page:
        return page
    check = _CHECKS.get(expect)
    return check(path) if check else ""


def _page_fault(head: bytes) -> str:
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if not (start.startswith((b"<!doctype html", b"<html")) or b"<html" in start[:512]):
        return ""
    title = _TITLE.search(head)
    words = one_line(title[1].decode("utf-8", "replace"), 80) if title else ""
    return PAGE + (f" ({words})" if words else "")


def _grib_fault(path: Path) -> str:
    try:
        count = sum(1 for _ in grib_messages(path))
    except ValueError as error:
        return str(error)
    return "" if count else "no GRIB message in it"


def grib_messages(path: Path) -> Iterator[tuple[int, int]]:
    """Yield offset and length [bytes] of each GRIB message, which must fill the file.

    The section lengths inside a message are not looked at: only its indicator, its total
    length and its end mark (WMO Manual on Codes, FM 92 GRIB, sections 0 and 8).

    Raises
    ------
    ValueError
        Where the file is cut or something else than GRIB stands.
    """
    size = path.stat().st_size
    with path.open("rb") as handle:
        offset = count = 0
        while offset < size:
            length = _message_length(handle, offset, size)
            yield offset, length
            offset += length
            count += 1
            if count > _MAX_MESSAGES:
                msg = f"more than {_MAX_MESSAGES} GRIB messages"
                raise ValueError(msg)


def _message_length(handle: BinaryIO, offset: int, size: int) -> int:
    handle.seek(offset)
    start = handle.read(16)
    if len(start) < 16 or start[:4] != b"GRIB" or start[7] not in (1, 2):
        msg = f"not GRIB at byte {offset}"
        raise ValueError(msg)
    length = int.from_bytes(start[8:16] if start[7] == 2 else start[4:7], "big")
    if length < 20 or offset + length > size:
        msg = f"GRIB message at byte {offset} is cut: {length} bytes stated, {size - offset} there"
        raise ValueError(msg)
    handle.seek(offset + length - 4, os.SEEK_SET)
    if handle.read(4) != b"7777":
        msg = f"GRIB message at byte {offset} has no end mark"
        raise ValueError(msg)
    return length


def _json_fault(path: Path) -> str:
    try:
        json.loads(path.read_bytes())
    except (ValueError, RecursionError) as error:
        return f"not readable as JSON ({one_line(str(error), 80)})"
    return ""


def _text_fault(path: Path) -> str:
    try:
        text = path.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        return f"not UTF-8 text (byte {error.start})"
    return "not text: it has zero bytes" if "\0" in text else ""


def _zip_fault(path: Path) -> str:
    return "" if zipfile.is_zipfile(path) else "not a whole ZIP archive"


_CHECKS = {"grib": _grib_fault, "json": _json_fault, "text": _text_fault, "zip": _zip_fault}

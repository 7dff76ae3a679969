"""Read a form while it comes in, and stop as soon as it breaks a limit.

What the sender says of sizes is not believed, its file names go no further than a text to show,
and files go to disk piece by piece under names of ours.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import time
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from python_multipart.exceptions import FormParserError
from python_multipart.multipart import MultipartParser, parse_options_header
from starlette.requests import Request

from routeplan._page.config import FILES, PageConfig
from routeplan._page.store import FullError

if TYPE_CHECKING:
    from python_multipart.multipart import MultipartCallbacks

__all__ = ["Form", "RefusedError", "read_form"]

_MOST_PARTS = 120
_MOST_PART_HEADERS = 6
_MOST_HEADER_BYTES = 2_000  # of one part together
_MOST_FIELD_BYTES = 2_000
_MOST_PLAIN_BYTES = 100_000  # of a form that brings no files
_PATIENCE_S = 10.0  # before a slow sender is called slow


class RefusedError(Exception):
    """A request that is not taken: its HTTP status, and why on one line."""

    def __init__(self, status: int, message: str) -> None:
        super().__init__(message)
        self.status = status


@dataclass
class Form:
    """Fields as texts, and the names of the files that came, by kind."""

    fields: dict[str, str] = field(default_factory=dict)
    names: dict[str, str] = field(default_factory=dict)


async def read_form(
    request: Request,
    config: PageConfig,
    allow: Callable[[str], bool],
    folder: Path | None = None,
    reserve: Callable[[int], None] | None = None,
) -> Form:
    """Read a multipart form; files go into `folder`, or are refused where there is none.

    `allow` is asked about the field "token", which must come before any file; `reserve` is told
    of bytes before they are written.

    Raises
    ------
    RefusedError
        400 malformed or too many parts, 403 no valid token, 408 too slow, 413 too large, 415
        another kind of content, 507 no space.
    """
    most = _MOST_PLAIN_BYTES if folder is None else config.request_bytes
    _check_length(request.headers.get("content-length"), most)
    reading = _Reading(config, allow, folder, reserve)
    try:
        parser = MultipartParser(_boundary(request), reading.callbacks())
        async for piece in _pieces(request, config, most):
            parser.write(piece)
        parser.finalize()
    except FormParserError:
        raise RefusedError(400, "the form cannot be read: it is damaged or cut off") from None
    except FullError as error:
        raise RefusedError(507, str(error)) from None
    except OSError as error:
        raise RefusedError(507, f"a file cannot be kept: {error.strerror}") from None
    finally:
        reading.close()
    if not reading.ended:
        raise RefusedError(400, "the form cannot be read: it is cut off")
    if not reading.allowed:
        raise RefusedError(403, "the form is too old or not ours: open the page anew")
    return reading.form


def _check_length(stated: str | None, most: int) -> None:
    """Refuse at once what says itself that it is too large; what says nothing is counted."""
    if stated is not None and (not stated.isdecimal() or len(stated) > 15 or int(stated) > most):
        raise RefusedError(413, f"too large: allowed are {most // 1_000_000 or 0.1} MB together")


def _boundary(request: Request) -> bytes:
    kind, options = parse_options_header(request.headers.get("content-type"))
    if kind != b"multipart/form-data" or not options.get(b"boundary"):
        raise RefusedError(415, "a form is needed (multipart/form-data)")
    return options[b"boundary"]


async def _pieces(request: Request, config: PageConfig, most: int) -> AsyncIterator[bytes]:
    """The body as it comes, as long as it comes fast enough and does not get too large."""
    begun, count = time.monotonic(), 0
    stream = request.stream()
    while True:
        try:
            async with asyncio.timeout(config.idle_s):
                piece = await anext(stream, None)
        except TimeoutError:
            raise RefusedError(408, "nothing more came: send it again") from None
        if piece is None:
            return
        count += len(piece)
        took = time.monotonic() - begun
        if count > most:
            raise RefusedError(413, f"too large: allowed are {most // 1_000_000} MB together")
        slow = took > _PATIENCE_S and count < config.slow_bytes_s * took
        if slow or took > config.upload_s:
            raise RefusedError(408, "it came too slowly: send it again")
        yield piece


class _Reading:
    """What the parser calls while a form comes in."""

    def __init__(
        self,
        config: PageConfig,
        allow: Callable[[str], bool],
        folder: Path | None,
        reserve: Callable[[int], None] | None,
    ) -> None:
        self.form = Form()
        self.allowed = self.ended = False
        self._config, self._allow, self._folder = config, allow, folder
        self._reserve = reserve or (lambda _: None)
        self._parts = self._headers = self._header_bytes = self._bytes = 0
        self._header = self._value = self._disposition = b""
        self._name, self._kind = "", ""
        self._text = b""
        self._file: BinaryIO | None = None

    def callbacks(self) -> MultipartCallbacks:
        """By the names that the parser has for them."""
        return {
            "on_part_begin": self._part_begin,
            "on_header_field": self._header_field,
            "on_header_value": self._header_value,
            "on_header_end": self._header_end,
            "on_headers_finished": self._headers_finished,
            "on_part_data": self._part_data,
            "on_part_end": self._part_end,
            "on_end": self._end,
        }

    def close(self) -> None:
        if self._file is not None:
            with contextlib.suppress(OSError):
                self._file.close()

    def _part_begin(self) -> None:
        self._parts += 1
        self._headers = self._header_bytes = self._bytes = 0
        self._header = self._value = self._disposition = self._text = b""
        self._kind = ""
        if self._parts > _MOST_PARTS:
            raise RefusedError(400, f"too many fields: allowed are {_MOST_PARTS}")

    def _header_field(self, data: bytes, start: int, end: int) -> None:
        self._count_header(end - start)
        self._header += data[start:end]

    def _header_value(self, data: bytes, start: int, end: int) -> None:
        self._count_header(end - start)
        self._value += data[start:end]

    def _count_header(self, count: int) -> None:
        self._header_bytes += count
        if self._header_bytes > _MOST_HEADER_BYTES or self._headers > _MOST_PART_HEADERS:
            raise RefusedError(400, "the head of a field is too long")

    def _header_end(self) -> None:
        self._headers += 1
        if self._header.lower() == b"content-disposition":
            self._disposition = self._value
        self._header = self._value = b""

    def _headers_finished(self) -> None:
        _, options = parse_options_header(self._disposition)
        self._name = options.get(b"name", b"").decode("utf-8", "replace")
        if b"filename" in options:
            self._begin_file(options[b"filename"].decode("utf-8", "replace"))

    def _begin_file(self, called: str) -> None:
        if self._folder is None or self._name not in FILES:
            raise RefusedError(400, "there is a file where none is asked for")
        if not self.allowed:
            raise RefusedError(403, "the form is too old or not ours: open the page anew")
        if self._name in self.form.names:
            raise RefusedError(400, f"there are two files for the {FILES[self._name].words}")
        self._kind = self._name
        self._name = called[:500]

    def _part_data(self, data: bytes, start: int, end: int) -> None:
        self._bytes += end - start
        if self._kind:
            self._file_data(data[start:end])
        elif self._bytes > _MOST_FIELD_BYTES:
            raise RefusedError(413, f"a field is too long: allowed are {_MOST_FIELD_BYTES} bytes")
        else:
            self._text += data[start:end]

    def _file_data(self, piece: bytes) -> None:
        most = self._config.most_bytes(self._kind)
        if self._bytes > most:
            words, size = FILES[self._kind].words, most / 1_000_000
            raise RefusedError(413, f"the file of the {words} is too large: allowed are {size} MB")
        self._reserve(len(piece))
        if self._file is None:
            assert self._folder is not None
            path = self._folder / FILES[self._kind].stored
            self._file = os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb")
            self.form.names[self._kind] = self._name
        self._file.write(piece)

    def _part_end(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None
        elif not self._kind and self._name:  # a file field left empty has no bytes and no file
            self.form.fields[self._name] = self._text.decode("utf-8", "replace")
            if self._name == "token":
                self.allowed = self._allow(self.form.fields["token"])

    def _end(self) -> None:
        self.ended = True

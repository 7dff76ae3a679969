"""One HTTP request for one cache file: what to ask, what the answer is worth, its bytes.

Ranges, validators and conditional ranges are those of RFC 9110 sections 8.8, 13.1.5 and 14.
"""

from __future__ import annotations

import datetime
import email.utils
import hashlib
import json
import re
import time
import urllib.parse
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from routeplan._download.cache import Part
from routeplan._download.checks import one_line
from routeplan.errors import DownloadError

if TYPE_CHECKING:
    import requests

__all__ = ["Job", "Passing", "ReadPlan", "read_plan", "request_headers", "retry_after_s"]

_CONTENT_RANGE = re.compile(r"bytes (\d+)-(\d+)/(\d+|\*)")
_PASSING_STATUS = frozenset({408, 425, 429, 500, 502, 503, 504})


@dataclass(frozen=True, slots=True)
class Job:
    """One file to fetch; see `Fetcher.get` for the fields."""

    url: str
    name: str
    params: Mapping[str, str] | None = None
    data: str | Mapping[str, str] | None = None
    headers: Mapping[str, str] = field(default_factory=dict)
    byte_range: tuple[int, int] | None = None
    expect: str = "any"
    sha256: str = ""
    max_age_s: float | None = None
    max_bytes: int | None = None
    check: Callable[[Path], str] | None = None

    @property
    def key(self) -> str:
        """What makes two requests the same, as a hash."""
        params = sorted((self.params or {}).items())
        data = self.data if isinstance(self.data, str) else sorted((self.data or {}).items())
        asked = json.dumps([self.url, params, data, self.byte_range])
        return hashlib.sha256(asked.encode()).hexdigest()

    @property
    def where(self) -> str:
        """Host and path, for messages."""
        parts = urllib.parse.urlsplit(self.url)
        return one_line(f"{parts.hostname}{parts.path}", 200)


class Passing(Exception):
    """A failure that another attempt may not meet."""

    def __init__(
        self,
        reason: str,
        *,
        status: int | None = None,
        retry_after_s: float | None = None,
        content: bool = False,
    ) -> None:
        super().__init__(reason)
        self.reason = reason
        self.status = status
        self.retry_after_s = retry_after_s
        self.content = content  # the server delivered, but not what was asked for


@dataclass(frozen=True, slots=True)
class ReadPlan:
    """How to read a body: bytes to pass over, bytes wanted (None: to its end), and how it ends."""

    skip: int
    want: int | None
    kept: int  # bytes already there that this body goes on from
    framed: bool  # the protocol itself says where the body ends


def request_headers(job: Job, part: Part, kept: int, agent: str) -> dict[str, str]:
    """Return the headers; with `kept` bytes there, those that ask for the rest."""
    headers = {"User-Agent": agent, "Accept-Encoding": "identity", **job.headers}
    first, last = job.byte_range or (0, None)
    if kept or job.byte_range:
        headers["Range"] = f"bytes={first + kept}-{'' if last is None else last}"
    if kept:
        headers["If-Range"] = part.validator
    return headers


def read_plan(response: requests.Response, job: Job, part: Part, kept: int) -> ReadPlan:
    """Judge status and headers; start the part anew where the answer does not go on from it.

    Raises
    ------
    Passing
        When another attempt may go better.
    DownloadError
        When it will not.
    """
    status = response.status_code
    if status == 206:
        return _partial_plan(response, job, part, kept)
    if status == 200:
        return _whole_plan(response, job, part)
    if status == 416 and kept:
        if job.byte_range is None and response.headers.get("Content-Range") == f"bytes */{kept}":
            return ReadPlan(skip=0, want=0, kept=kept, framed=True)  # nothing is missing
        part.drop()
        msg = "the file changed on the server"
        raise Passing(msg, status=status)
    reason = f"HTTP status {status}" + (f" {one_line(response.reason)}" if response.reason else "")
    if status in _PASSING_STATUS:
        wait = retry_after_s(response.headers.get("Retry-After"))
        raise Passing(reason, status=status, retry_after_s=wait)
    msg = f"{job.where}: {reason}"
    raise DownloadError(msg, url=job.url, status=status)


def _partial_plan(response: requests.Response, job: Job, part: Part, kept: int) -> ReadPlan:
    found = _CONTENT_RANGE.fullmatch(response.headers.get("Content-Range", "").strip())
    first, last = job.byte_range or (0, None)
    if not found or int(found[1]) != first + kept or int(found[2]) < int(found[1]):
        part.drop()
        msg = "the server sent another byte range than asked"
        raise Passing(msg, status=206, content=True)
    end = int(found[2])
    want = end - int(found[1]) + 1
    if last is not None and end != last:
        part.drop()
        msg = f"the file on the server ends before byte {last}"
        raise Passing(msg, status=206, content=True)
    if kept and not _same_version(response, part.validator):
        part.drop()
        msg = "the file changed on the server"
        raise Passing(msg, status=206)
    if not kept:
        part.begin(_validator(response), want)
    return ReadPlan(skip=0, want=want, kept=kept, framed=True)


def _whole_plan(response: requests.Response, job: Job, part: Part) -> ReadPlan:
    length = _content_length(response)
    framed = length is not None or response.headers.get("Transfer-Encoding", "") == "chunked"
    if response.headers.get("Content-Encoding", "identity").lower() != "identity":
        part.begin("", None)  # lengths and ranges would count packed bytes
        return ReadPlan(skip=0, want=None, kept=0, framed=framed)
    if job.byte_range is None:
        part.begin(_validator(response) if job.data is None else "", length)
        return ReadPlan(skip=0, want=length, kept=0, framed=framed)
    first, last = job.byte_range  # the server takes no ranges: pass over what stands before
    if length is not None and length <= last:
        part.drop()
        msg = f"the file on the server ends before byte {last}"
        raise Passing(msg, status=200, content=True)
    part.begin("", last - first + 1)
    return ReadPlan(skip=first, want=last - first + 1, kept=0, framed=True)


def _content_length(response: requests.Response) -> int | None:
    text = response.headers.get("Content-Length", "").strip()
    return int(text) if text.isascii() and text.isdigit() else None


def _validator(response: requests.Response) -> str:
    """Return what If-Range may carry: a strong entity tag, else the date of last change."""
    tag = response.headers.get("ETag", "").strip()
    if tag.startswith('"'):
        return tag
    if response.headers.get("Content-Encoding"):
        return ""
    return response.headers.get("Last-Modified", "").strip()


def _same_version(response: requests.Response, validator: str) -> bool:
    header = "ETag" if validator.startswith('"') else "Last-Modified"
    return response.headers.get(header, validator).strip() == validator


def retry_after_s(value: str | None) -> float | None:
    """Read a Retry-After header, seconds or an HTTP date (RFC 9110 section 10.2.3) [s]."""
    if not value:
        return None
    text = value.strip()
    if text.isascii() and text.isdigit():
        return float(text[:9])
    try:
        when = email.utils.parsedate_to_datetime(text)
    except ValueError:
        return None
    if when.tzinfo is None:
        when = when.replace(tzinfo=datetime.UTC)
    return max(0.0, when.timestamp() - time.time())

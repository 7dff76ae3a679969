"""What the page allows: sizes, counts, times. One place, so that they can be read and tried."""

from __future__ import annotations

import os
from dataclasses import dataclass, field

__all__ = ["FILES", "FileKind", "PageConfig"]

_KB, _MB, _GB = 1_000, 1_000_000, 1_000_000_000


@dataclass(frozen=True, slots=True)
class FileKind:
    """A file that may be sent: the name it gets on disk, what it is called, its largest size."""

    stored: str
    words: str
    most_bytes: int


FILES = {
    "route": FileKind("route.gpx", "route", 20 * _MB),
    "forecast": FileKind("forecast.bin", "forecast", 512 * _MB),
    "group": FileKind("group.toml", "group", 64 * _KB),
    "rules": FileKind("rules.toml", "kit rules", 256 * _KB),
    "limits": FileKind("limits.toml", "limits", 64 * _KB),
}


def _cores() -> int:
    return max(1, min(4, os.cpu_count() or 1))


@dataclass(frozen=True, slots=True)
class PageConfig:
    """Settings of one server.

    Attributes
    ----------
    address, port
        Where it listens; loopback only.
    keep_s
        A trip that nobody has looked at for so long is removed with its files. [s]
    workers
        How many trips are planned at the same time.
    warm_workers
        How many trips keep a process of their own between changes; the others get a new one.
    file_bytes
        Other largest sizes than those of `FILES`, by kind. [bytes]
    trip_bytes, disk_bytes
        The most that one trip, and all of them, may take on disk. [bytes]
    trips, waiting
        How many trips there may be, and how many of them may wait for their turn.
    connections
        How many connections may be open.
    head_s, idle_s, upload_s
        The longest to wait for a whole request head, for more of an upload, for all of it. [s]
    slow_bytes_s
        An upload slower than this, after ten seconds, is given up. [bytes/s]
    plan_s, fetch_s
        The longest that planning, and fetching a forecast, may take. [s]
    memory_bytes
        Address space of a process that plans, and of one that decodes. [bytes]
    """

    address: str = "127.0.0.1"
    port: int = 8420
    keep_s: float = 4 * 3600.0
    workers: int = field(default_factory=_cores)
    warm_workers: int = 12
    file_bytes: dict[str, int] = field(default_factory=dict)
    trip_bytes: int = 700 * _MB
    disk_bytes: int = 4 * _GB
    trips: int = 200
    waiting: int = 60
    connections: int = 256
    head_s: float = 10.0
    idle_s: float = 15.0
    upload_s: float = 900.0
    slow_bytes_s: float = 10_000.0
    plan_s: float = 120.0
    fetch_s: float = 900.0
    memory_bytes: int = 4 * _GB

    def most_bytes(self, kind: str) -> int:
        """Bytes of the largest file of a kind."""
        return self.file_bytes.get(kind, FILES[kind].most_bytes)

    @property
    def request_bytes(self) -> int:
        """The largest request: every file, the other fields, and what is between them."""
        return sum(self.most_bytes(kind) for kind in FILES) + 100 * _KB

"""The trips of one server, each in a private directory that goes with it."""

from __future__ import annotations

import contextlib
import fcntl
import os
import secrets
import shutil
import stat
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from routeplan._page.config import PageConfig
from routeplan._page.form import Settings
from routeplan._page.pool import Worker

__all__ = ["FullError", "Room", "Store", "is_plain_file"]

_PREFIX = "routeplan-page-"
_LOCK = "lock"
_BUSY_S = 900.0  # a trip looked at so recently does not make way for another


class FullError(Exception):
    """There is no room: too many trips, or too much on disk. The message is for people."""


@dataclass(eq=False)
class Room:
    """One trip: what was sent, what is set, what is being done, and the last answer.

    `state` is "waiting", "working", "choose", "ready" or "failed"; `version` counts its changes,
    `answer` the answers, 0 before the first. `names` are the names of the files as people called
    them: text, never a path. `slot` and `nonce` are marks in pages that workers write, replaced
    before anybody sees them: nobody can have put them into a name beforehand.
    """

    key: str
    folder: Path
    source: str = "files"
    names: dict[str, str] = field(default_factory=dict)
    get: dict[str, Any] | None = None
    settings: Settings = field(default_factory=Settings)
    now: str = ""
    used: float = field(default_factory=time.monotonic)
    bytes: int = 0
    state: str = "waiting"
    version: int = 0
    words: str = ""
    share: float | None = None
    error: str = ""
    choices: list[str] = field(default_factory=list)
    answer: int = 0
    answered: Settings | None = None
    facts: dict[str, Any] = field(default_factory=dict)
    slot: str = field(default_factory=lambda: f"slot-{secrets.token_hex(16)}")
    nonce: str = field(default_factory=lambda: secrets.token_hex(16))
    took_s: float = 0.0
    worker: Worker | None = None
    job: int = 0

    @property
    def busy(self) -> bool:
        """Whether an answer is on its way."""
        return self.state in {"waiting", "working"}

    def set(self, state: str, words: str = "", share: float | None = None) -> None:
        """Say what is going on."""
        self.state, self.words, self.share = state, words, share
        self.version += 1

    def directory(self, answer: int) -> Path:
        """Where the files of an answer are."""
        return self.folder / f"answer-{answer}"


class Store:
    """All trips. What does not fit is refused; what nobody looks at is removed."""

    def __init__(self, config: PageConfig) -> None:
        self.config = config
        self.evict: Callable[[Room], None] = self.remove  # the desk ends the worker as well
        self.rooms: dict[str, Room] = {}
        remove_left_behind()
        self.folder = Path(tempfile.mkdtemp(prefix=_PREFIX))  # readable by its owner alone
        self._lock: int | None = _locked(self.folder / _LOCK)

    def new_room(self) -> Room:
        """Make room for a trip.

        Raises
        ------
        FullError
            If there are as many as there may be and all of them were looked at just now.
        """
        if len(self.rooms) >= self.config.trips:
            oldest = min(self.rooms.values(), key=lambda room: room.used)
            if oldest.busy or time.monotonic() - oldest.used < _BUSY_S:
                msg = "there are as many trips open as there may be: try again in some minutes"
                raise FullError(msg)
            self.evict(oldest)
        key = secrets.token_urlsafe(32)
        folder = self.folder / secrets.token_hex(16)
        folder.mkdir(mode=0o700)
        room = self.rooms[key] = Room(key, folder)
        return room

    def find(self, key: str) -> Room | None:
        """The trip of a key, which counts as looked at."""
        room = self.rooms.get(key)
        if room is not None:
            room.used = time.monotonic()
        return room

    def reserve(self, room: Room, count: int) -> None:
        """Count bytes that are about to be written.

        Raises
        ------
        FullError
            If the trip, or all of them, would take too much.
        """
        if room.bytes + count > self.config.trip_bytes:
            msg = f"a trip may take {self.config.trip_bytes // 1_000_000} MB: send less"
            raise FullError(msg)
        if sum(one.bytes for one in self.rooms.values()) + count > self.config.disk_bytes:
            msg = "the page has no more space for files: try again later"
            raise FullError(msg)
        room.bytes += count

    def measure(self, room: Room) -> None:
        """Count what is there, with what workers wrote."""
        room.bytes = _size(room.folder)

    def remove(self, room: Room) -> None:
        """Forget a trip and its files; its worker must have been ended."""
        self.rooms.pop(room.key, None)
        _remove(room.folder)

    def expired(self) -> list[Room]:
        """Trips that nobody has looked at for the stated time."""
        before = time.monotonic() - self.config.keep_s
        return [room for room in self.rooms.values() if room.used < before]

    def close(self) -> None:
        """Remove everything."""
        self.rooms.clear()
        _remove(self.folder)
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None


def remove_left_behind() -> None:
    """Remove directories of servers that ended without doing so: nobody holds their lock."""
    for folder in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*"):
        with contextlib.suppress(OSError):
            if folder.is_symlink() or folder.stat().st_uid != os.getuid():
                continue
            lock = os.open(folder / _LOCK, os.O_RDWR | os.O_NOFOLLOW)
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
                shutil.rmtree(folder, ignore_errors=True)
            finally:
                os.close(lock)


def _locked(path: Path) -> int:
    lock = os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
    fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    return lock


def is_plain_file(path: Path) -> bool:
    """Whether a file of an answer is one, and no link or pipe that a worker was made to put there.

    Its directory must not be a link either.
    """
    with contextlib.suppress(OSError):
        own = stat.S_ISDIR(path.parent.lstat().st_mode)
        return own and stat.S_ISREG(path.lstat().st_mode)
    return False


def _remove(folder: Path) -> None:
    """Remove a directory as far as that can be done."""
    with contextlib.suppress(OSError):
        _flatten(folder)
    shutil.rmtree(folder, ignore_errors=True)


def _flatten(folder: Path) -> None:
    """Bring directories that lie deep to the top.

    They may be nested deeper than a path can be long, or than `rmtree` can follow.
    """
    left = _directories(folder)
    while left:
        for inner in _directories(left.pop()):
            left.append(inner.rename(folder / secrets.token_hex(16)))


def _directories(folder: Path) -> list[Path]:
    with os.scandir(folder) as entries:
        return [Path(entry.path) for entry in entries if entry.is_dir(follow_symlinks=False)]


def _size(folder: Path) -> int:
    total, left = 0, [str(folder)]
    while left:  # not recursive: it may be nested deeply
        with contextlib.suppress(OSError), os.scandir(left.pop()) as entries:
            for entry in entries:
                total += entry.stat(follow_symlinks=False).st_size
                if entry.is_dir(follow_symlinks=False):
                    left.append(entry.path)
    return total

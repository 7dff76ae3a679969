"""The download cache on disk: where it is, locks between processes, unfinished files."""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from routeplan.errors import DownloadError, InputError

__all__ = ["Part", "cache_dir", "cache_path", "locked", "replace_whole", "write_whole"]

_PIECE = re.compile(r"[A-Za-z0-9_+-][A-Za-z0-9._+-]{0,119}")
_POLL_S = 0.05


def cache_dir() -> Path:
    """Return the directory in which downloads are kept; it may not exist yet.

    The environment variable ``ROUTEPLAN_CACHE_DIR`` stands before the system's usual place.
    """
    named = os.environ.get("ROUTEPLAN_CACHE_DIR", "").strip()
    if named:
        return Path(named).expanduser().absolute()
    import platformdirs

    return Path(platformdirs.user_cache_dir("routeplan", appauthor=False))


def cache_path(root: Path, name: str) -> Path:
    """Return the file for a cache name: pieces joined by ``/``, none of which can lead out.

    Raises
    ------
    InputError
        If a piece has other characters than letters, digits and ``. _ + -``, or starts with
        a dot, or ends like the cache's own working files.
    """
    pieces = name.split("/")
    good = all(_PIECE.fullmatch(p) for p in pieces) and not name.endswith((".part", ".lock"))
    if not good:
        msg = f"cache name {name!r} cannot be used: letters, digits and . _ + - between slashes"
        raise InputError(msg, field="name", value=name)
    return root.joinpath(*pieces)


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that it is there whole or not at all, even through a crash."""
    part = path.with_name(f".{path.name[:100]}.{secrets.token_hex(6)}.tmp")
    try:
        with part.open("xb") as handle:
            handle.write(content)
            handle.flush()
            os.fsync(handle.fileno())
        replace_whole(part, path)
    finally:
        part.unlink(missing_ok=True)


def replace_whole(part: Path, path: Path) -> None:
    """Move a finished file, already synced, to its place, and sync the directory entry."""
    part.replace(path)
    if os.name == "posix":  # elsewhere a directory cannot be opened
        handle = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def locked(path: Path, *, wait_s: float) -> Iterator[None]:
    """Hold the lock of a cache file; other processes and threads wait.

    The system lets go of the lock when its holder ends, however it ends.

    Raises
    ------
    DownloadError
        If another holder has not let go after `wait_s` [s].
    """
    lock = path.with_name(f"{path.name}.lock")
    handle = _take(lock, path, time.monotonic() + wait_s)
    try:
        yield
    finally:
        with contextlib.suppress(OSError):  # a system that keeps open files in place
            lock.unlink()
        os.close(handle)


def _take(lock: Path, path: Path, end: float) -> int:
    while True:
        handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o666)
        try:
            if _try_lock(handle) and _still_there(handle, lock):
                return handle
        except BaseException:
            os.close(handle)
            raise
        os.close(handle)
        if time.monotonic() > end:
            msg = f"{path.name}: another process is still fetching this file; try again later"
            raise DownloadError(msg)
        time.sleep(_POLL_S)


def _still_there(handle: int, lock: Path) -> bool:
    # The holder before may have removed the file between our opening and our locking it.
    try:
        return os.path.samestat(os.fstat(handle), lock.stat())
    except FileNotFoundError:
        return False


def _try_lock(handle: int) -> bool:
    if sys.platform == "win32":
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True
    import fcntl

    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


@dataclass(slots=True)
class Part:
    """An unfinished file beside its target, with what is needed to go on with it.

    The bytes are in ``NAME.part``; ``NAME.part.json`` says of which request and which version
    of the resource they are. Without that the bytes are worth nothing and are dropped.
    """

    target: Path
    key: str
    validator: str = ""
    total: int | None = None

    @property
    def data(self) -> Path:
        """The file that holds the bytes so far."""
        return self.target.with_name(f"{self.target.name}.part")

    @property
    def meta(self) -> Path:
        """The file that says what the bytes belong to."""
        return self.target.with_name(f"{self.target.name}.part.json")

    def load(self) -> int:
        """Return how many bytes can be kept [bytes]; drop what cannot be gone on with."""
        try:
            found: Any = json.loads(self.meta.read_text(encoding="utf-8"))
            size = self.data.stat().st_size
            same = found["key"] == self.key and isinstance(found["validator"], str)
            total = found["total"]
            good = same and found["validator"] and (total is None or size <= int(total))
        except (OSError, ValueError, KeyError, TypeError):
            good = False
        if not good:
            self.drop()
            return 0
        self.validator, self.total = found["validator"], total
        return size

    def begin(self, validator: str, total: int | None) -> None:
        """Start from nothing, for a version of the resource that `validator` names."""
        self.drop()
        self.data.touch()
        self.validator, self.total = validator, total
        if validator:
            content = {"key": self.key, "validator": validator, "total": total}
            write_whole(self.meta, json.dumps(content).encode())

    def drop(self) -> None:
        """Forget the bytes."""
        self.meta.unlink(missing_ok=True)  # first: bytes without it are never trusted
        self.data.unlink(missing_ok=True)
        self.validator, self.total = "", None

    def finish(self) -> None:
        """Put the whole file in its place."""
        with self.data.open("rb+") as handle:
            os.fsync(handle.fileno())
        replace_whole(self.data, self.target)
        self.meta.unlink(missing_ok=True)

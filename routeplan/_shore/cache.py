"""The index of the default shoreline on disk: built once, mapped from then on.

The folder is named after the data's contents, so that data or programs of different versions
do not disturb each other. It is written beside its place and renamed, so that another process
sees all of it or nothing; whoever comes second uses the first one's. Where the cache cannot be
written the index stays in memory.
"""

from __future__ import annotations

import contextlib
import hashlib
import logging
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

from routeplan._download.cache import cache_dir
from routeplan._shore.index import ShoreIndex, build_index
from routeplan._shore.maps import RingTable, ring_table
from routeplan._shore.rings import Rings, strokes

__all__ = ["load"]

_VERSION = 3  # of the format; raise it when an array changes its meaning
_TABLE = ("offsets", "level", "turned", "bounds")
_log = logging.getLogger(__name__)


def load(
    points: Path,
    meta: Path,
    read: Callable[[Path, Path], Rings],
) -> tuple[ShoreIndex, RingTable]:
    """Map the index of the two data files, or build it and leave it for the next time."""
    root = cache_dir()
    place = root / f"coastline-{_VERSION}-{_contents(root, (points, meta))}"
    if place.is_dir():
        try:
            return _map(place, points)
        except (OSError, ValueError, EOFError) as fault:
            _log.warning("rebuilding the coastline index %s: %s", place, fault)
            shutil.rmtree(place, ignore_errors=True)
    rings = read(points, meta)
    index, table = build_index(strokes(rings)), ring_table(rings)
    try:
        _write(place, index, table)
        return _map(place, points)
    except (OSError, ValueError) as fault:
        _log.info("coastline index kept in memory: %s", fault)
        return index, table


def _contents(root: Path, files: tuple[Path, ...]) -> str:
    """Digest of the files' contents, remembered by their path, size and time of change."""
    seen = hashlib.sha256()
    for file in files:
        status = file.stat()
        seen.update(f"{file.resolve()}|{status.st_size}|{status.st_mtime_ns}|".encode())
    note = root / f"seen-{seen.hexdigest()[:20]}"
    with contextlib.suppress(OSError):
        known = note.read_text("ascii", errors="replace")
        if len(known) == 20 and known.isalnum():
            return known
    digest = hashlib.sha256()
    for file in files:
        with file.open("rb") as stream:
            digest.update(hashlib.file_digest(stream, "sha256").digest())
    known = digest.hexdigest()[:20]
    with contextlib.suppress(OSError):
        root.mkdir(parents=True, exist_ok=True)
        half = note.with_name(f"{note.name}.{os.getpid()}")
        half.write_text(known, "ascii")
        half.replace(note)
    return known


def _map(place: Path, points: Path) -> tuple[ShoreIndex, RingTable]:
    """Map the arrays of a cache folder; only pages that are used are read."""
    mapped = {
        name: np.load(place / f"{name}.npy", mmap_mode="r")
        for name in (*ShoreIndex._fields, *_TABLE)
    }
    index = ShoreIndex(**{name: np.asarray(mapped[name]) for name in ShoreIndex._fields})
    if len(index.x) != index.first[-1] or len(index.spheres) != 32 * len(index.child):
        msg = "arrays do not belong together"
        raise ValueError(msg)
    lonlat = np.memmap(points, dtype="<f4", mode="r").reshape(-1, 2)
    rings = Rings(lonlat, *(np.asarray(mapped[name]) for name in _TABLE[:3]))
    if int(rings.offsets[-1]) != len(lonlat):
        msg = "table of rings does not belong to the data"
        raise ValueError(msg)
    return index, RingTable(rings, np.asarray(mapped["bounds"]))


def _write(place: Path, index: ShoreIndex, table: RingTable) -> None:
    """Write the arrays beside `place` and put them there at once."""
    place.parent.mkdir(parents=True, exist_ok=True)
    draft = Path(tempfile.mkdtemp(prefix=".draft-", dir=place.parent))
    try:
        for name in ShoreIndex._fields:
            np.save(draft / f"{name}.npy", getattr(index, name))
        for name in _TABLE[:3]:
            np.save(draft / f"{name}.npy", getattr(table.rings, name))
        np.save(draft / "bounds.npy", table.bounds)
        with contextlib.suppress(OSError):  # another process was first
            draft.rename(place)
    finally:
        shutil.rmtree(draft, ignore_errors=True)

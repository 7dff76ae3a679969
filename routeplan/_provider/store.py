"""Forecasts in the cache: one GRIB2 file each, and a JSON file that says what it is."""

from __future__ import annotations

import contextlib
import datetime
import hashlib
import json
import os
import shutil
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import routeplan
from routeplan._download.cache import replace_whole, write_whole
from routeplan._provider.base import Ask, Bounds, Part
from routeplan._provider.catalogue import Provider
from routeplan._provider.grib import GribField, GribMessage, read_messages

__all__ = [
    "FORMAT",
    "DownloadedForecast",
    "join",
    "prune",
    "read_stored",
    "sidecar_path",
    "store",
    "stored",
]

FORMAT = 1  # of file and sidecar; another number makes stored forecasts unknown
_KEEP_S = 30 * 86400.0


@dataclass(frozen=True, slots=True)
class DownloadedForecast:
    """A forecast in the cache.

    `paths` are the GRIB files (one, so far), `sidecar` the JSON file beside it. `run`, `first`
    and `last` are UTC, `box` is (west, south, east, north) in degrees. `missing` maps a variable
    to how many of its fields the service did not have, out of steps times members; `notes` says
    what else the user should know. `fetched` is False when all of it was in the cache.
    """

    provider: str
    title: str
    paths: tuple[Path, ...]
    sidecar: Path
    run: np.datetime64
    first: np.datetime64
    last: np.datetime64
    box: Bounds
    members: tuple[int, ...]
    licence: str
    licence_url: str
    attribution: str
    missing: Mapping[str, int]
    notes: tuple[str, ...] = ()
    fetched: bool = False
    bytes_received: int = 0


def sidecar_path(path: Path) -> Path:
    """Return the place of the JSON file of a GRIB file."""
    return path.with_name(f"{path.name}.json")


def join(pieces: Sequence[Path], parts: Sequence[Part], target: Path) -> None:
    """Put the messages of the pieces that hold a field of the parts into one file, in order."""
    fields = [field for part in parts for field in part.fields]

    def wanted(message: GribMessage) -> bool:
        return any(field.matches(found) for field in fields for found in message.fields)

    with target.open("wb") as writer:
        for piece in pieces:
            with piece.open("rb") as reader:
                for message in read_messages(piece):
                    if wanted(message):
                        reader.seek(message.offset)
                        writer.write(reader.read(message.length))


def store(joined: Path, target: Path, provider: Provider, ask: Ask, parts: Sequence[Part]) -> None:
    """Put a joined file in its place, its sidecar first: one without the other is no forecast."""
    about = _about(joined, provider, ask, parts)
    write_whole(sidecar_path(target), json.dumps(about, indent=1, ensure_ascii=False).encode())
    with joined.open("rb+") as handle:
        os.fsync(handle.fileno())
    replace_whole(joined, target)


def _about(joined: Path, provider: Provider, ask: Ask, parts: Sequence[Part]) -> dict[str, Any]:
    found = [f for message in read_messages(joined) for f in message.fields]
    times = [f.valid for f in found]
    year = str(ask.run.astype("datetime64[Y]"))
    with joined.open("rb") as handle:
        checksum = hashlib.file_digest(handle, "sha256").hexdigest()
    return {
        "format": FORMAT,
        "provider": provider.name,
        "source": provider.title,
        "documentation": provider.documentation,
        "licence": provider.licence,
        "licence_url": provider.licence_url,
        "attribution": provider.attribution.format(year=year),
        "run": f"{ask.run}Z",
        "first": f"{min(times)}Z",
        "last": f"{max(times)}Z",
        "request": {
            "base_url": ask.base_url,
            "bounds_deg": ask.bounds,
            "box_deg": ask.box,
            "steps_h": ask.steps_h,
            "members": ask.members,
        },
        "missing": _missing(found, ask, parts),
        "fetched_at": datetime.datetime.now(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        "written_by": f"routeplan {routeplan.__version__}",
        "bytes": joined.stat().st_size,
        "sha256": checksum,
    }


def _missing(found: Sequence[GribField], ask: Ask, parts: Sequence[Part]) -> dict[str, int]:
    expected = len(ask.steps_h) * max(1, len(ask.members))
    fields = [field for part in parts for field in part.fields]
    have = Counter(field.name for field in fields for one in found if field.matches(one))
    return {f.name: expected - have[f.name] for f in fields if have[f.name] < expected}


def read_stored(path: Path) -> DownloadedForecast | None:
    """Return the forecast of a GRIB file, or None unless file and sidecar are there and agree."""
    sidecar = sidecar_path(path)
    try:
        about: Any = json.loads(sidecar.read_text(encoding="utf-8"))
        with path.open("rb") as handle:
            same = hashlib.file_digest(handle, "sha256").hexdigest() == about["sha256"]
        if about["format"] != FORMAT or not same:
            return None
        west, south, east, north = (float(b) for b in about["request"]["box_deg"])
        return DownloadedForecast(
            provider=str(about["provider"]),
            title=str(about["source"]),
            paths=(path,),
            sidecar=sidecar,
            run=_time(about["run"]),
            first=_time(about["first"]),
            last=_time(about["last"]),
            box=(west, south, east, north),
            members=tuple(int(m) for m in about["request"]["members"]),
            licence=str(about["licence"]),
            licence_url=str(about["licence_url"]),
            attribution=str(about["attribution"]),
            missing={str(k): int(v) for k, v in about["missing"].items()},
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def _time(text: Any) -> np.datetime64:
    return np.datetime64(str(text).removesuffix("Z"), "s")


def stored(folder: Path) -> list[DownloadedForecast]:
    """Return all forecasts in a directory of the cache."""
    found = (read_stored(path) for path in sorted(folder.glob("*.grib2")))
    return [one for one in found if one is not None]


def prune(folder: Path) -> None:
    """Remove forecasts, and remains of downloads never ended, that are a month old."""
    old = time.time() - _KEEP_S
    for path in folder.iterdir():
        with contextlib.suppress(OSError):  # in use, or gone already
            if path.stat().st_mtime > old:
                continue
            if path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink()

"""Local coast sources on disk: one file each, whole or not at all, checked when read.

A file is a ZIP of arrays (NumPy's npz): the rings of a `LandMap` and, under `about`, a JSON text
that says what they are. Files may come from strangers: sizes, shapes and the checksum are looked
at before anything is used, and nothing in them is ever executed.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
import os
import re
import zipfile
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from routeplan._download.cache import write_whole
from routeplan._download.checks import one_line
from routeplan._osm.land import LandMap
from routeplan._shore.coastbox import Box
from routeplan.errors import InputError

__all__ = ["About", "data_dir", "digest", "found", "load", "path_of", "read_about", "save"]

_FORMAT = 1  # raise it when the meaning of an array or a key changes
_SUFFIX = ".coast.npz"
_NAME = re.compile(r"[a-z0-9][a-z0-9._-]{0,63}")
_MAX_BYTES = 512 * 1024 * 1024
_MAX_ABOUT = 1024 * 1024
_ARRAYS = {"lonlat": "<f8", "offsets": "<i8", "polygon": "<i8"}


@dataclass(frozen=True, slots=True)
class About:
    """What a source is: the keys of the JSON text in its file.

    box : west, south, east, north [degrees], east beyond 180 where it crosses the antimeridian;
    date : of the data, ISO 8601 with Z, "" where unknown; fetched : when they were downloaded;
    nominal_error_m : None where unknown [m]; points : of shoreline; sha256 : of the arrays.
    """

    name: str
    box: tuple[float, float, float, float]
    date: str
    fetched: str
    server: str
    licence: str
    attribution: str
    nominal_error_m: float | None
    notes: tuple[str, ...]
    points: int
    sha256: str


def data_dir() -> Path:
    """Directory of the local coast sources; it may not exist yet.

    The environment variable ``ROUTEPLAN_DATA_DIR`` stands before the system's usual place.
    """
    named = os.environ.get("ROUTEPLAN_DATA_DIR", "").strip()
    if named:
        return Path(named).expanduser().absolute() / "coast"
    import platformdirs

    return Path(platformdirs.user_data_dir("routeplan", appauthor=False)) / "coast"


def path_of(name: str, folder: Path) -> Path:
    """File of a source.

    Raises
    ------
    InputError
        If the name has other characters than small letters, digits and ``. _ -``.
    """
    if not _NAME.fullmatch(name):
        msg = (
            f"name {one_line(name, 80)!r} of a coast source: at most 64 small letters, digits "
            "and . _ - are allowed, a letter or digit first"
        )
        raise InputError(msg, field="name", value=name)
    return folder / f"{name}{_SUFFIX}"


def digest(land: LandMap) -> str:
    """Checksum of the arrays."""
    total = hashlib.sha256()
    for name, kind in _ARRAYS.items():
        total.update(np.ascontiguousarray(getattr(land, name), dtype=kind).tobytes())
    return total.hexdigest()


def save(about: About, land: LandMap, folder: Path) -> Path:
    """Write a source, over one of the same name.

    Raises
    ------
    InputError
        If the directory cannot be written.
    """
    path = path_of(about.name, folder)
    words = json.dumps({"format": _FORMAT, **asdict(about)}, ensure_ascii=False, allow_nan=False)
    content = io.BytesIO()
    np.savez_compressed(
        content,
        about=np.frombuffer(words.encode(), np.uint8),
        lonlat=land.lonlat.astype("<f8"),
        offsets=land.offsets.astype("<i8"),
        polygon=land.polygon.astype("<i8"),
    )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_whole(path, content.getvalue())
    except OSError as error:
        msg = f"{path}: cannot be written ({error.strerror or error})"
        raise InputError(msg, path=path) from error
    return path


def found(folder: Path) -> list[Path]:
    """Files of all sources in a directory."""
    return sorted(folder.glob(f"*{_SUFFIX}")) if folder.is_dir() else []


def read_about(path: Path) -> About:
    """Read what a source is, without its arrays.

    Raises
    ------
    InputError
        If the file is not a source.
    """
    return _about(_members(path, ("about",))["about"], path)


def load(path: Path) -> tuple[About, LandMap]:
    """Read a source.

    Raises
    ------
    InputError
        If the file is not a source, or damaged.
    """
    arrays = _members(path, ("about", *_ARRAYS))
    about = _about(arrays["about"], path)
    lonlat, offsets, polygon = (arrays[name] for name in _ARRAYS)
    fault = _fault(lonlat, offsets, polygon)
    if not fault:
        land = LandMap(Box(*about.box), lonlat, offsets, polygon, about.notes)
        fault = "" if digest(land) == about.sha256 else "its checksum is not the stated one"
    if fault:
        raise _damaged(path, fault)
    return about, land


def _members(path: Path, names: tuple[str, ...]) -> dict[str, npt.NDArray[Any]]:
    try:
        with zipfile.ZipFile(path) as archive:
            sizes = {entry.filename: entry.file_size for entry in archive.infolist()}
        if sum(sizes.values()) > _MAX_BYTES or sizes.get("about.npy", 0) > _MAX_ABOUT:
            raise _damaged(path, f"larger than the {_MAX_BYTES} bytes allowed")
        with np.load(path, allow_pickle=False) as file:
            return {name: file[name] for name in names}
    except FileNotFoundError as error:
        msg = f"{path}: no such coast source"
        raise InputError(msg, path=path) from error
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, MemoryError) as error:
        if isinstance(error, InputError):
            raise
        raise _damaged(path, one_line(str(error), 100)) from error


def _about(raw: npt.NDArray[Any], path: Path) -> About:
    try:
        document = json.loads(raw.astype(np.uint8).tobytes())
        if document.pop("format") != _FORMAT:
            raise _damaged(path, "written by another version")
        about = About(
            **{
                **document,
                "box": tuple(float(side) for side in document["box"]),
                "notes": tuple(str(note) for note in document["notes"]),
            }
        )
        west, south, east, north = about.box
        box_fits = -180.0 <= west < 180.0 and west < east <= west + 360.0
        box_fits &= -90.0 <= south < north <= 90.0
        texts = (about.name, about.date, about.fetched, about.licence, about.attribution)
        error = about.nominal_error_m
        known = error is None or (math.isfinite(error) and error >= 0.0)
        if not (
            box_fits and known and all(isinstance(text, str) for text in (*texts, about.sha256))
        ):
            raise _damaged(path, "its description is not one")
    except InputError:
        raise
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise _damaged(path, one_line(f"its description: {error}", 100)) from error
    return about


def _fault(lonlat: npt.NDArray[Any], offsets: npt.NDArray[Any], polygon: npt.NDArray[Any]) -> str:
    kinds = [array.dtype.str for array in (lonlat, offsets, polygon)]
    if kinds != list(_ARRAYS.values()):
        return "its arrays are of another kind"
    if lonlat.ndim != 2 or lonlat.shape[1:] != (2,) or offsets.ndim != 1 or polygon.ndim != 1:
        return "its arrays have another shape"
    steps = np.diff(offsets)
    whole = len(offsets) == len(polygon) + 1 and offsets[0] == 0 and offsets[-1] == len(lonlat)
    if not whole or (steps < 4).any():
        return "its rings do not fit its points"
    if not np.isfinite(lonlat).all() or (np.abs(lonlat) > (540.0, 90.0)).any():
        return "it has points that are no positions"
    return ""


def _damaged(path: Path, fault: str) -> InputError:
    msg = f"{path}: not a usable coast source ({fault}); get it again"
    return InputError(msg, path=path)

"""GRIB1 and GRIB2 to fields, message by message through ecCodes.

One pass over the file: a message that is not wanted (another quantity, level or hour) is never
decoded, and of one that is, only the box is kept. No index file is written beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from routeplan._forecast.eccodes import load_eccodes, quiet
from routeplan._forecast.fields import (
    GRID_AXES,
    Field,
    Meta,
    Request,
    check_size,
    moment_text,
)
from routeplan._forecast.gribgrid import GribGrid, grib_grid
from routeplan._forecast.gribnames import get_key, recognise
from routeplan._forecast.gribsplit import split_fields
from routeplan.errors import InputError, RouteplanError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

__all__ = ["read_grib"]

_MAX_MESSAGES = 200_000


@dataclass(frozen=True, slots=True)
class _Key:
    """Messages that belong to one field."""

    name: str
    label: str
    units: str
    rank: int
    grid: str


@dataclass(slots=True, eq=False)
class _Piece:
    grid: GribGrid
    since: dict[np.datetime64, np.datetime64] = field(default_factory=dict)
    data: dict[tuple[np.datetime64, int], NDArray[np.float64] | None] = field(default_factory=dict)


@dataclass(slots=True, eq=False)
class _Scan:
    """State of one pass over a file."""

    path: Path
    request: Request
    pieces: dict[_Key, _Piece] = field(default_factory=dict)
    grids: dict[str, GribGrid] = field(default_factory=dict)
    references: set[np.datetime64] = field(default_factory=set)
    source: str = ""


def read_grib(path: Path, request: Request) -> tuple[list[Field], Meta]:
    """Read the fields of a GRIB file that a route can use.

    Raises
    ------
    InputError
        When the file is damaged, holds one field twice or more than is allowed.
    CoverageError
        When nothing of the box is covered.
    """
    scan = _Scan(path, request)
    with quiet() as eccodes:
        try:
            for handle in _messages(path):
                _take(handle, scan)
        except RouteplanError:
            raise
        except (eccodes.CodesInternalError, OSError, ValueError, OverflowError) as err:
            msg = f"{path}: damaged GRIB file ({_reason(err)}); fetch it again"
            raise InputError(msg, path=path) from err
    meta = Meta(source=scan.source)
    if scan.references:
        meta.reference_time = moment_text(min(scan.references))
    return [_field(key, piece, scan) for key, piece in scan.pieces.items()], meta


def _messages(path: Path) -> Iterator[int]:
    """Yield handles of the fields, each released after use; a message may hold several."""
    eccodes = load_eccodes()

    count = 0
    with path.open("rb") as stream:
        while (handle := eccodes.codes_grib_new_from_file(stream)) is not None:
            try:
                if int(get_key(handle, "edition", 0)) == 2:
                    parts = split_fields(eccodes.codes_get_message(handle), path)
                else:
                    parts = []
                if len(parts) < 2:
                    yield handle
            finally:
                eccodes.codes_release(handle)
            count += max(len(parts), 1)
            if count > _MAX_MESSAGES:
                msg = f"{path}: more than {_MAX_MESSAGES} GRIB messages; split the file"
                raise InputError(msg, path=path)
            for part in parts if len(parts) > 1 else ():
                handle = eccodes.codes_new_from_message(part)
                try:
                    yield handle
                finally:
                    eccodes.codes_release(handle)


def _take(handle: int, scan: _Scan) -> None:
    """Add one message to the pieces if it is wanted."""
    found = recognise(handle)
    if found is None:
        return
    quantity = found.quantity
    reference, since, valid = _times(handle, scan.path)
    if not (quantity.static or scan.request.wants_time(np.array([valid]))[0]):
        return
    digest = f"{get_key(handle, 'edition', 0)} {get_key(handle, 'md5GridSection', '')}"
    if digest not in scan.grids:
        scan.grids[digest] = grib_grid(handle, scan.request, scan.path)
    grid = scan.grids[digest]
    name = GRID_AXES.get(quantity.name, quantity.name) if grid.relative(handle) else quantity.name
    short = found.label
    key = _Key(name, short, found.units, found.rank, digest)
    piece = scan.pieces.setdefault(key, _Piece(grid))
    at = (valid, int(get_key(handle, "number", -1)))
    if at in piece.data:
        if since == valid:
            msg = (
                f"{scan.path}: {short} is given twice for "
                f"{np.datetime_as_string(valid, unit='m')}Z; allowed is one model run in a file"
            )
            raise InputError(msg, path=scan.path, field=short)
        if since <= piece.since[valid]:
            return  # sums and means come over several intervals: the shortest says most
    scan.references.add(reference)
    scan.source = scan.source or _source(handle)
    piece.since[valid] = since
    check_size(sum(len(p.data) * p.grid.size for p in scan.pieces.values()), scan.path)
    piece.data[at] = grid.values(handle, scan.path) if scan.request.values else None


def _times(handle: int, path: Path) -> tuple[np.datetime64, np.datetime64, np.datetime64]:
    """Reference time, start of the interval (valid time for an instant) and valid time."""
    eccodes = load_eccodes()

    reference = _moment(get_key(handle, "dataDate", 0), get_key(handle, "dataTime", 0), path)
    eccodes.codes_set(handle, "stepUnits", "s")
    start = np.timedelta64(int(eccodes.codes_get_long(handle, "startStep")), "s")
    end = np.timedelta64(int(eccodes.codes_get_long(handle, "endStep")), "s")
    return reference, reference + start, reference + end


def _moment(date: Any, time: Any, path: Path) -> np.datetime64:
    day, minutes = int(date), int(time)
    try:
        text = f"{day // 10000:04d}-{day // 100 % 100:02d}-{day % 100:02d}"
        text += f"T{minutes // 100:02d}:{minutes % 100:02d}"
        return np.datetime64(text, "ns")
    except ValueError as err:
        msg = f"{path}: damaged GRIB file (date {day}, time {minutes}); fetch it again"
        raise InputError(msg, path=path) from err


def _field(key: _Key, piece: _Piece, scan: _Scan) -> Field:
    """Stack the messages of a field; a member or hour that is not there is nan."""
    times = np.array(sorted({time for time, _ in piece.data}), dtype="datetime64[ns]")
    numbers = np.array(sorted({number for _, number in piece.data}), dtype=np.int64)
    since = np.array([piece.since[time] for time in times], dtype="datetime64[ns]")
    data = None
    if scan.request.values:
        data = np.full((times.size, numbers.size, *piece.grid.shape), np.nan)
        for i, time in enumerate(times):
            for j, number in enumerate(numbers):
                part = piece.data.get((time, int(number)))
                if part is not None:
                    data[i, j] = part
    return Field(
        name=key.name,
        label=key.label,
        units=key.units,
        time=times,
        number=None if numbers.size == 1 and numbers[0] < 0 else numbers,
        grid=piece.grid.cut,
        file=str(scan.path),
        data=data,
        since=since,
        rank=key.rank,
    )


def _source(handle: int) -> str:
    centre = str(get_key(handle, "centreDescription", "")) or str(get_key(handle, "centre", ""))
    process = get_key(handle, "generatingProcessIdentifier", None)
    return centre if process is None else f"{centre}, generating process {process}"


def _reason(err: Exception) -> str:
    return str(err).strip().rstrip(".").splitlines()[0][:100] or type(err).__name__

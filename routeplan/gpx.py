"""Reading and writing GPX.

Read are GPX 1.1 and 1.0: routes, tracks and waypoints with names, types and symbols, in every
encoding that expat knows. Elevations, times and extensions are tolerated. Written is GPX 1.1.

The files come from strangers, so size, depth and counts are limited, document type
declarations are refused, and each complaint names its line. General GPX libraries keep no
line numbers and build the whole document first, hence the small reader in `_line.gpxparse`.

References
----------
GPX 1.1 schema, https://www.topografix.com/GPX/1/1/gpx.xsd; GPX 1.0 schema,
https://www.topografix.com/GPX/1/0/gpx.xsd.
"""

from __future__ import annotations

import os
import re
import secrets
from dataclasses import replace
from pathlib import Path

import numpy as np

from routeplan._line.gpxparse import ParsedGPX, ParsedLine, clean_text, parse_gpx, shown
from routeplan._line.gpxwrite import gpx_document
from routeplan.errors import GPXError, InputError
from routeplan.route import Route, route_from_points, route_from_track

__all__ = ["list_routes", "read_gpx", "write_gpx"]

_MAX_BYTES = 50_000_000
_MAX_LISTED = 20
_TIMES_NOT_USED = (
    "The times in the {} are not used: launches and speed come from this plan, not from the file."
)


def read_gpx(path: str | Path, *, select: str | int | None = None) -> Route:
    """Read one route or track of a GPX file.

    Parameters
    ----------
    path : str or Path
        The file, at most 50 MB.
    select : str, int or None
        Which one, when the file holds several: its name (exact, else without regard to case)
        or its number from 1, routes first, then tracks, as `list_routes` counts.

    Returns
    -------
    Route
        With all waypoints of the file. Legs run between named route points; a track is
        simplified and cut (`route_from_track`); camps on or near the line end stages.

    Raises
    ------
    GPXError
        In one line, if the file cannot be read, is not GPX, breaks a limit, holds a position
        that cannot be used or no line of some length, or leaves open which line is meant.
    """
    path = Path(path)
    parsed = parse_gpx(_read_bytes(path), path)
    chosen = _choose(_lines(parsed, path), select, path)
    name = chosen.name
    notes = (_TIMES_NOT_USED.format(chosen.origin),) if chosen.timed else ()
    try:
        if chosen.origin == "route":
            return route_from_points(
                chosen.points,
                name=name,
                waypoints=parsed.waypoints,
                source=str(path),
                notes=notes,
            )
        segments = [np.array(segment) for segment in chosen.segments if segment]
        return route_from_track(
            segments, parsed.waypoints, name=name, source=str(path), notes=notes
        )
    except InputError as error:
        msg = f"{shown(path)}, line {chosen.line}: {error}"
        raise GPXError(
            msg, path=path, line=chosen.line, field=error.field, value=error.value
        ) from error


def list_routes(path: str | Path) -> tuple[str, ...]:
    """Names of the routes, then of the tracks of a GPX file, in its order.

    Those without points are left out; one without a name is called "route 1" or "track 2" by
    its place in this list.

    Raises
    ------
    GPXError
        If the file cannot be read, is not GPX, breaks a limit, or holds no route or track.
    """
    path = Path(path)
    return tuple(line.name for line in _lines(parse_gpx(_read_bytes(path), path), path))


def write_gpx(route: Route, path: str | Path, *, overwrite: bool = False) -> None:
    """Write a route with its waypoints as GPX 1.1.

    It is written as a `<rte>` whatever it came from: named points where legs begin, unnamed
    points of the type "shape" between them. `read_gpx` gives the same legs and stages back.
    The file appears whole or not at all.

    Raises
    ------
    GPXError
        If the file is there already and `overwrite` is false, or it cannot be written.
    """
    path = Path(path)
    if path.is_dir():
        msg = f"{shown(path)} is a directory; a file name is needed"
        raise GPXError(msg, path=path)
    if os.path.lexists(path) and not overwrite:
        msg = f"{shown(path)} is there already and was not overwritten; allow it or rename"
        raise GPXError(msg, path=path)
    content = gpx_document(route)
    spare = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        try:
            with spare.open("xb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            spare.replace(path)
        finally:
            spare.unlink(missing_ok=True)
    except OSError as error:
        msg = f"{shown(path)} cannot be written: {error.strerror}"
        raise GPXError(msg, path=path) from error


def _read_bytes(path: Path) -> bytes:
    try:
        if path.is_dir():
            reason = "is a directory; a GPX file is needed"
        elif not path.exists():
            reason = "does not exist; a GPX file is needed"
        elif not path.is_file():
            reason = "is not a regular file; a GPX file is needed"
        else:
            with path.open("rb") as file:
                data = file.read(_MAX_BYTES + 1)
            if len(data) <= _MAX_BYTES:
                return data
            reason = f"is larger than {_MAX_BYTES // 1_000_000} MB, which is not allowed"
    except (OSError, ValueError) as error:  # ValueError: a name no file can have
        reason = f"cannot be read: {getattr(error, 'strerror', None) or error}"
    msg = f"{shown(path)} {reason}"
    raise GPXError(msg, path=path)


def _lines(parsed: ParsedGPX, path: Path) -> list[ParsedLine]:
    """Routes, then tracks, each with a name."""
    lines = [*parsed.routes, *parsed.tracks]
    if not lines:
        count = len(parsed.waypoints)
        found = f"only {count} waypoint{'s' if count > 1 else ''}" if count else "no points at all"
        msg = f"{shown(path)} holds no route or track with points, {found}; one is needed"
        raise GPXError(msg, path=path)
    if len(lines) == 1 and not lines[0].name:
        lines[0].name = parsed.name or clean_text(path.stem)
    return [
        line if line.name else replace(line, name=f"{line.origin} {number}")
        for number, line in enumerate(lines, start=1)
    ]


def _choose(lines: list[ParsedLine], select: str | int | None, path: Path) -> ParsedLine:
    if select is None:
        if len(lines) == 1:
            return lines[0]
        msg = f"{shown(path)} holds {len(lines)} routes and tracks; {_choices(lines)}"
        raise GPXError(msg, path=path, field="select")
    if isinstance(select, str):
        for named in (
            [line for line in lines if line.name == select],
            [line for line in lines if line.name.casefold() == select.strip().casefold()],
        ):
            if len(named) == 1:
                return named[0]
            if named:
                msg = (
                    f"{shown(path)} holds {len(named)} routes or tracks called "
                    f"{clean_text(select)!r}; {_choices(lines)}"
                )
                raise GPXError(msg, path=path, field="select", value=select)
    number = str(select).strip()
    # Few digits, and ASCII ones: int() would take more than people mean.
    if re.fullmatch("[0-9]{1,6}", number) and 1 <= int(number) <= len(lines):
        return lines[int(number) - 1]
    msg = f"{shown(path)} holds no route or track {clean_text(str(select))!r}; {_choices(lines)}"
    raise GPXError(msg, path=path, field="select", value=select)


def _choices(lines: list[ParsedLine]) -> str:
    listed = ", ".join(
        f'{number} "{line.name}" ({line.origin}, {line.count} points)'
        for number, line in enumerate(lines[:_MAX_LISTED], start=1)
    )
    more = f", and {len(lines) - _MAX_LISTED} more" if len(lines) > _MAX_LISTED else ""
    return f"choose one by number or name: {listed}{more}"

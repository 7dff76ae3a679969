"""One or several forecast files to one normalised forecast, as plain arrays."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from routeplan._forecast.fields import Field, Meta, Request
from routeplan._forecast.fit import Normalised, normalise
from routeplan._forecast.merge import merge_meta
from routeplan.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Sequence

__all__ = ["FORMATS", "make_request", "read_forecast", "source_paths"]

FORMATS = "NetCDF, GRIB1, GRIB2 or a Zarr store"
_MAGIC = 4096  # a GRIB message may come after a bulletin heading
_MAX_FILES = 1000


def source_paths(path: str | Path | Sequence[str | Path]) -> tuple[Path, ...]:
    """Paths of one or several files of one forecast.

    Raises
    ------
    InputError
        When there are none or too many.
    """
    paths = (path,) if isinstance(path, str | Path) else tuple(path)
    if not 0 < len(paths) <= _MAX_FILES:
        msg = f"{len(paths)} forecast files; allowed are 1 to {_MAX_FILES}"
        raise InputError(msg, field="path")
    return tuple(Path(one) for one in paths)


def make_request(
    bounds: tuple[float, float, float, float] | None,
    time_range: tuple[np.datetime64, np.datetime64] | None,
    *,
    values: bool = True,
) -> Request:
    """Check what a caller asks for.

    Raises
    ------
    InputError
        When bounds or times are impossible.
    """
    if bounds is not None:
        west, south, east, north = (float(b) for b in bounds)
        known = np.isfinite([west, south, east, north]).all()
        if not known or south > north or max(abs(south), abs(north)) > 90.0 or east - west > 360.0:
            msg = f"bounds {bounds}: allowed are degrees (west, south, east, north)"
            raise InputError(msg, field="bounds", value=bounds)
        bounds = (west, south, east + 360.0 if east < west else east, north)
    if time_range is not None:
        first, last = (np.datetime64(t).astype("datetime64[ns]") for t in time_range)
        if np.isnat(first) or np.isnat(last) or first > last:
            msg = f"time range {time_range}: allowed are two times, the first not after the last"
            raise InputError(msg, field="time_range", value=time_range)
        time_range = (first, last)
    return Request(bounds, time_range, values)


def read_forecast(paths: tuple[Path, ...], request: Request) -> Normalised:
    """Read the files, put them together and normalise.

    Raises
    ------
    InputError, CoverageError
        As `routeplan.forecast.open_forecast`.
    """
    fields: list[Field] = []
    parts: list[Meta] = []
    for path in paths:
        found, meta = _read(path, request)
        fields.extend(found)
        parts.append(meta)
    several = f" and {len(paths) - 1} more" if len(paths) > 1 else ""
    return normalise(fields, merge_meta(parts), request, Path(f"{paths[0]}{several}"))


def _read(path: Path, request: Request) -> tuple[list[Field], Meta]:
    """Tell the format by the content, not by the name, and read it."""
    kind = _kind(path)
    try:
        if kind == "grib":
            from routeplan._forecast.grib import read_grib

            fields, meta = read_grib(path, request)
            meta.invented = _labelled_invented(path)
            return fields, meta
        from routeplan._forecast.netcdf import read_netcdf, read_zarr

        return (read_zarr if kind == "zarr" else read_netcdf)(path, request)
    except MemoryError as err:
        msg = f"{path}: too large to read; ask for a smaller box or fewer hours"
        raise InputError(msg, path=path) from err
    except ImportError as err:
        msg = f"{path}: reading this format needs the package {err.name}; install it with pip"
        raise InputError(msg, path=path) from err


def _kind(path: Path) -> str:
    if path.is_dir():
        if any((path / name).is_file() for name in ("zarr.json", ".zgroup", ".zmetadata")):
            return "zarr"
        msg = f"{path}: is a directory and not a Zarr store; allowed is {FORMATS}"
        raise InputError(msg, path=path)
    try:
        with path.open("rb") as stream:
            head = stream.read(_MAGIC)
    except (OSError, ValueError) as err:
        reason = getattr(err, "strerror", None) or str(err)
        msg = f"{path}: cannot be opened ({reason}); allowed is {FORMATS}"
        raise InputError(msg, path=path) from err
    if head.startswith((b"\x89HDF\r\n\x1a\n", b"CDF\x01", b"CDF\x02", b"CDF\x05")):
        return "netcdf"
    if b"GRIB" in head:
        return "grib"
    msg = f"{path}: {_what(head)}; allowed is {FORMATS}"
    raise InputError(msg, path=path)


def _labelled_invented(path: Path) -> bool:
    """Whether the first GRIB2 message says INVENTED in its local use section, as the demo's do.

    Section 1 begins at octet 17 with its length; a section 2, if any, comes next.
    """
    with path.open("rb") as stream:
        head = stream.read(_MAGIC)
    message = head[head.find(b"GRIB") :]
    at = 16 + int.from_bytes(message[16:20], "big")
    local = message[at : at + int.from_bytes(message[at : at + 4], "big")]
    return message[7:8] == b"\x02" and local[4:5] == b"\x02" and b"INVENTED" in local


def _what(head: bytes) -> str:
    if not head:
        return "is empty"
    if head.startswith((b"\x1f\x8b", b"BZh", b"PK\x03\x04", b"\xfd7zXZ")):
        return "is a compressed archive and must be unpacked first"
    if head.lstrip()[:1] == b"<":
        return "is a web page or XML, not a forecast"
    return "is not a forecast"

"""Cut a box out of GRIB fields on regular latitude-longitude grids; run as a process of its own.

``python -m routeplan._provider.crop IN OUT WEST SOUTH EAST NORTH``, degrees, east >= west. Exit
status 1 and one line on standard error when it cannot be done.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np

__all__ = ["crop_file", "main"]

_MEMORY_BYTES = 4 * 2**30
_MAX_POINTS = 20_000_000
_EDGE_DEG = 1e-4


def crop_file(source: Path, target: Path, box: tuple[float, float, float, float]) -> int:
    """Write each field of a GRIB file cut to a box, and return how many there were.

    Values are packed anew with as many bits as before over their now smaller range.

    Raises
    ------
    ValueError
        For a grid that is not a regular latitude-longitude one, or that misses the box.
    """
    import eccodes  # heavy, and foreign code: only ever loaded in this process

    count = 0
    with source.open("rb") as reader, target.open("wb") as writer:
        while (handle := eccodes.codes_grib_new_from_file(reader)) is not None:
            try:
                _crop(eccodes, handle, box)
                eccodes.codes_write(handle, writer)
            finally:
                eccodes.codes_release(handle)
            count += 1
    return count


def _crop(eccodes: Any, handle: Any, box: tuple[float, float, float, float]) -> None:
    def get(key: str) -> Any:
        return eccodes.codes_get(handle, key)

    west, south, east, north = box
    across, down = get("Ni"), get("Nj")
    plain = get("gridType") == "regular_ll" and not get("iScansNegatively")
    if not plain or get("jPointsAreConsecutive") or not 0 < across * down <= _MAX_POINTS:
        msg = f"a grid of type {get('gridType')}, {across} x {down}, cannot be cut"
        raise ValueError(msg)
    lat = np.linspace(
        get("latitudeOfFirstGridPointInDegrees"), get("latitudeOfLastGridPointInDegrees"), down
    )
    lon = get("longitudeOfFirstGridPointInDegrees") + np.arange(across) * get(
        "iDirectionIncrementInDegrees"
    )
    rows = np.flatnonzero((lat >= south - _EDGE_DEG) & (lat <= north + _EDGE_DEG))
    east_of = (lon - west + _EDGE_DEG) % 360.0  # of the western edge, as much too far as allowed
    columns = np.argsort(east_of, kind="stable")
    columns = columns[east_of[columns] <= east - west + 2 * _EDGE_DEG]
    if rows.size < 2 or columns.size < 2:
        msg = "the grid does not reach into the box"
        raise ValueError(msg)
    values = eccodes.codes_get_values(handle).reshape(down, across)[np.ix_(rows, columns)]
    for key, value in (
        ("Ni", columns.size),
        ("Nj", rows.size),
        ("latitudeOfFirstGridPointInDegrees", lat[rows[0]]),
        ("latitudeOfLastGridPointInDegrees", lat[rows[-1]]),
        ("longitudeOfFirstGridPointInDegrees", lon[columns[0]] % 360.0),
        ("longitudeOfLastGridPointInDegrees", lon[columns[-1]] % 360.0),
    ):
        eccodes.codes_set(handle, key, value.item() if hasattr(value, "item") else value)
    eccodes.codes_set_values(handle, np.ascontiguousarray(values).ravel())


def main(arguments: list[str]) -> int:
    """Do the work of the process and return its exit status."""
    _limit_memory()
    source, target, *edges = arguments
    west, south, east, north = (float(e) for e in edges)
    try:
        count = crop_file(Path(source), Path(target), (west, south, east, north))
    except Exception as error:  # whatever the decoder raises becomes the one line
        sys.stderr.write(f"{type(error).__name__}: {error}\n")
        return 1
    return 0 if count else 1


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # a system without it
        return
    resource.setrlimit(resource.RLIMIT_AS, (_MEMORY_BYTES, _MEMORY_BYTES))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

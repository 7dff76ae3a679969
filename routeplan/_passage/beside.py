"""Compile the march in a process of its own while the coastline is read.

The first passage on a machine costs some seconds of compiling, and so does the first look at the
coastline. Two processes do both at once; numba keeps what each compiles on disk. A small mark in
the cache folder says that it was done for this version of the code, so that it happens once.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

import numpy as np

from routeplan._download.cache import cache_dir

__all__ = ["compile_beside"]

_PACKAGE_ROOT = str(Path(__file__).resolve().parents[2])
_LONGEST_S = 120.0
_CODE = (
    "import sys; sys.path.insert(0, sys.argv[1]);"
    "from routeplan._passage.beside import compile_here; compile_here()"
)


def compile_beside() -> Callable[[], None]:
    """Begin to compile if this was not done before; the result waits for the end of it."""
    mark = _mark()
    if mark.exists() or (os.cpu_count() or 1) < 2:
        return _nothing_to_wait_for
    try:
        child = subprocess.Popen(
            [sys.executable, "-c", _CODE, _PACKAGE_ROOT],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except OSError:  # no process to be had: the march is compiled when it is needed
        return _nothing_to_wait_for

    def wait() -> None:
        try:
            child.wait(_LONGEST_S)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()

    return wait


def compile_here() -> None:
    """Paddle two short steps, and ask for a speed, which compiles both for their types."""
    from routeplan.propulsion import craft
    from routeplan.sampling import PointSeries
    from routeplan.simulation import Path as Line
    from routeplan.simulation import simulate, speed_over_ground

    two = np.zeros(2)
    line = Line(two, two, two, np.full(2, 100.0), np.zeros(2, dtype=np.int64), two, two)
    time = np.datetime64("2000-01-01", "ns") + np.arange(3) * np.timedelta64(1, "h")
    names = ("eastward_wind", "northward_wind", "wind_speed_of_gust")
    series = PointSeries(
        time=time,
        values={name: np.zeros((2, 3, 1)) for name in names},
        inside=np.ones(2, dtype=bool),
        sea_cell_m={},
        sea_cell_limit_m=0.0,
    )
    board = craft("touring board")
    simulate(line, series, board, time[:1])
    speed_over_ground(board, two, dict.fromkeys(names[:2], two))
    mark = _mark()
    with contextlib.suppress(OSError):  # a cache that cannot be written is no harm
        mark.parent.mkdir(parents=True, exist_ok=True)
        mark.touch()


def _mark() -> Path:
    """Mark of this code, this Python and this numba."""
    here = Path(__file__).parent
    changed = max((here / name).stat().st_mtime_ns for name in ("march.py", "power.py"))
    tag = f"{sys.implementation.cache_tag}-{version('numba')}-{changed:x}"
    return cache_dir() / f"march-{tag}.compiled"


def _nothing_to_wait_for() -> None:
    """Return at once."""
